"""Markers put on a posed body, so that the joint centres they must lead to are known."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from mocap.capture import Capture
from mocap.reference.posed import PosedSwing
from mocap.virtual.skin import MarkerKind, body_frames, joints_of, marker_table, place

Markers = dict[str, np.ndarray]


def capture_of(markers: Mapping[str, np.ndarray], rate_hz: float = 240.0, **more: object) -> Capture:
    points = np.stack(list(markers.values()), axis=1)
    return Capture("markers.c3d", tuple(markers), points, rate_hz, np.zeros(points.shape[:2]), **more)


def joints_of_posed(posed: PosedSwing) -> Markers:
    """Points of the posed swing by left and right: a right-handed hitter's left side is the front one."""
    return joints_of({name: posed[name] for name in posed.names})


def markers_on(posed: PosedSwing, kind: MarkerKind) -> Markers:
    """Paths of the markers of a set on a right-handed hitter, without movement of the skin."""
    joint = joints_of_posed(posed)
    table = marker_table(kind, joint, posed.parameters.height_m)
    paths = place(table, joint, body_frames(joint, posed.parameters))
    return {marker.label: paths[:, column] for column, marker in enumerate(table)}


@pytest.fixture(scope="session")
def gait_markers(posed: PosedSwing) -> Markers:
    """The conventional set on a right-handed hitter, with knob and barrel of his bat."""
    return markers_on(posed, "conventional_gait")


@pytest.fixture(scope="session")
def cluster_markers(posed: PosedSwing) -> Markers:
    """The cluster set on a right-handed hitter: lateral and medial markers, and plates of four on the limbs."""
    return {label: path for label, path in markers_on(posed, "cluster").items() if not label.startswith("BAT")}


@pytest.fixture(scope="session")
def as_capture() -> Callable[..., Capture]:
    """Make a recording of paths by label."""
    return capture_of


@pytest.fixture(scope="session")
def truth(posed: PosedSwing) -> Markers:
    """Joint centres of the posed swing by left and right."""
    return joints_of_posed(posed)
