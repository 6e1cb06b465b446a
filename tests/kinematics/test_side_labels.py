"""Left and right labels that contradict the body."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture, FloatArray
from mocap.kinematics.marker_sets import identify
from mocap.kinematics.side_labels import doubtful_sides
from mocap.reference.posed import PosedSwing

UP = np.array([0.0, 0.0, 1.0])


def exchanged(found: dict[str, FloatArray], *names: str) -> dict[str, FloatArray]:
    other = {f"{a}_{name}": found[f"{b}_{name}"] for name in names for a, b in ("lr", "rl")}
    return {**found, **other}


@pytest.fixture(params=["right", "left"])
def found(
    request: pytest.FixtureRequest, posed: PosedSwing, make_capture: Callable[..., Capture]
) -> dict[str, FloatArray]:
    return identify(make_capture(posed.points, posed.rate_hz, bats=request.param, noise_m=0.002))[1]


def test_right_labels_are_not_doubted(found: dict[str, FloatArray]) -> None:
    assert doubtful_sides(found, UP) == []


def test_the_whole_body_exchanged(found: dict[str, FloatArray]) -> None:
    (line,) = doubtful_sides(exchanged(found, *(name[2:] for name in found if name.startswith("l_"))), UP)
    assert "on the whole body" in line


@pytest.mark.parametrize(
    "names", [("shoulder",), ("knee",), ("elbow", "wrist", "hand"), ("ankle", "heel", "ball", "toe")]
)
def test_some_pairs_exchanged(found: dict[str, FloatArray], names: tuple[str, ...]) -> None:
    (line,) = doubtful_sides(exchanged(found, *names), UP)
    listed = line.split("left and right ")[1].split(" look exchanged")[0].replace(" and ", ", ").split(", ")
    assert sorted(listed) == sorted(names)


def test_toes_that_point_backward(found: dict[str, FloatArray]) -> None:
    turned = dict(found)
    for side in "lr":
        turned[f"{side}_heel"], turned[f"{side}_toe"] = found[f"{side}_toe"], found[f"{side}_heel"]
    (line,) = doubtful_sides(turned, UP)
    assert "feet point backward" in line


def test_walkers_and_swingers_of_a_real_lab_are_not_doubted(shared_data: Path) -> None:
    for name in ("real_swing.c3d", "c3d/full_body_gait.c3d"):
        points = identify(mocap.read(shared_data / name))[1]
        assert doubtful_sides(points, UP) == []
        pairs = [label[2:] for label in points if label.startswith("l_")]
        (line,) = doubtful_sides(exchanged(points, *pairs), UP)
        assert "on the whole body" in line
