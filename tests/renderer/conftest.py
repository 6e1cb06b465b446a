"""One swing with a bat, compared and measured once; one scene built once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

import mocap
from mocap.comparison import Comparison
from mocap.errors import RenderError
from mocap.findings import Findings
from mocap.reference.compare import with_pose_distance
from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.renderer.layers import check_can_draw
from mocap.renderer.scene import Scene
from mocap.swing import Hitter, Setup
from mocap.virtual.flaws import FLAWS


@dataclass(frozen=True)
class Shown:
    comparison: Comparison
    findings: Findings
    scene: Scene


@pytest.fixture(scope="session")
def shown(posed: PosedSwing, make_capture) -> Shown:
    swing = mocap.build_swing(
        make_capture(posed.points, posed.rate_hz), Hitter("Hitter 1", 1.80, bats="right"), Setup()
    )
    comparison = mocap.compare(swing, mocap.load_reference("standard"))
    findings = with_pose_distance(mocap.measure(swing), comparison, limits=None)
    return Shown(comparison, findings, Scene(comparison, findings))


@pytest.fixture(scope="session")
def left_handed(shown: Shown) -> Shown:
    """The same swing, of a hitter who bats left: stored alike, shown mirrored."""
    hitter = replace(shown.comparison.swing.hitter, bats="left")
    comparison = replace(shown.comparison, swing=replace(shown.comparison.swing, hitter=hitter))
    findings = replace(shown.findings, hitter=hitter)
    return Shown(comparison, findings, Scene(comparison, findings))


@pytest.fixture(scope="session")
def faulty(make_capture) -> Shown:
    """A hitter who opens too early, and is off in several numbers at foot-plant."""
    posed = pose_swing(FLAWS["opens_early"](SwingParameters(height_m=1.80), 1.0), 240.0)
    capture = make_capture(posed.points, posed.rate_hz)
    swing = mocap.build_swing(capture, Hitter("Hitter 2", 1.80, bats="right"), Setup())
    comparison = mocap.compare(swing, mocap.load_reference("standard"))
    findings = with_pose_distance(mocap.measure(swing), comparison, limits=None)
    return Shown(comparison, findings, Scene(comparison, findings))


@pytest.fixture(scope="session")
def can_draw() -> None:
    try:
        check_can_draw()
    except RenderError as error:
        pytest.skip(str(error))
