"""Heel, ball and toe that were not recorded, on feet whose true points are known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import mocap
from mocap.kinematics.foot_points import (
    ANKLE_FROM_HEEL,
    ANKLE_HEIGHT,
    BALL_FALL,
    FOOT_POINT_HEIGHT,
    TOE_FALL,
    complete_foot,
)
from mocap.kinematics.joint_centres import body_from_cleaned

HEIGHT = 1.80
UP = np.array([0.0, 0.0, 1.0])
HEEL = np.array([-ANKLE_FROM_HEEL, 0.0, FOOT_POINT_HEIGHT - ANKLE_HEIGHT]) * HEIGHT
Points = dict[str, np.ndarray]


def foot(pitch_deg: np.ndarray, lean_deg: float, bend_deg: float = 20.0, fall: float = BALL_FALL) -> Points:
    """A foot that faces +x and turns heel up about the line across it, under a shank that leans sideways over it.

    Heel as the constants have it from the ankle, so that a flat foot's answer is exact; ball 13 cm from the ankle.
    """
    turn = Rotation.from_euler("y", pitch_deg[:, None], degrees=True)
    front = 0.13 * np.array([np.cos(fall), 0.0, -np.sin(fall)])
    ankle = np.tile([0.0, 0.0, 0.3], (len(pitch_deg), 1))
    # Past a bend of the ankle the shank goes along with the foot.
    forward = np.maximum(bend_deg, pitch_deg - 40.0)
    shank = Rotation.from_euler("xy", np.stack([np.full_like(forward, lean_deg), forward], axis=1), degrees=True)
    return {
        "l_knee": ankle + 0.44 * shank.apply(UP),
        "l_ankle": ankle,
        "l_front": ankle + turn.apply(front),
        "l_heel": ankle + turn.apply(HEEL),
    }


def heel_of(points: Points, *, front: str = "ball", up: np.ndarray = UP) -> np.ndarray:
    centres = {"l_knee": points["l_knee"], "l_ankle": points["l_ankle"], f"l_{front}": points["l_front"]}
    complete_foot(centres, "l", up, HEIGHT)
    return centres["l_heel"]


def test_a_heel_in_the_shanks_plane_is_exact_however_the_foot_points() -> None:
    points = foot(np.linspace(-20.0, 110.0, 261), 0.0)
    assert heel_of(points) == pytest.approx(points["l_heel"], abs=1e-12)


def test_it_does_not_matter_which_way_is_up() -> None:
    points = foot(np.linspace(0.0, 100.0, 51), 12.0)
    turn = Rotation.from_euler("xz", [90.0, 35.0], degrees=True)
    turned = {name: turn.apply(path) for name, path in points.items()}
    assert heel_of(turned, up=turn.apply(UP)) == pytest.approx(turn.apply(heel_of(points)), abs=1e-12)


@pytest.mark.parametrize("lean_deg", [-25.0, -10.0, 10.0, 25.0])
def test_a_flat_foot_stays_flat_under_a_leg_that_leans_sideways(lean_deg: float) -> None:
    points = foot(np.linspace(-5.0, 20.0, 26), lean_deg)
    off = heel_of(points) - points["l_heel"]
    assert np.linalg.norm(off, axis=1).max() < 0.006
    assert np.abs(off[:, 2]).max() < 0.003


@pytest.mark.parametrize("lean_deg", [-30.0, -15.0, 15.0, 30.0])
def test_nothing_jumps_where_the_foot_tips_beyond_the_vertical(lean_deg: float) -> None:
    points = foot(np.linspace(-10.0, 120.0, 1301), lean_deg)
    heel, true = (np.linalg.norm(np.diff(path, axis=0), axis=1) for path in (heel_of(points), points["l_heel"]))
    # A tenth of a degree moves the true heel by 0.1 mm; while the side is handed over, a few times that.
    assert (heel / true).max() < 4.0
    assert np.linalg.norm(heel_of(points) - points["l_heel"], axis=1).max() < 0.06


def test_noise_where_the_foot_points_straight_down_stays_noise() -> None:
    rng = np.random.default_rng(11)
    points = foot(np.full(4000, 90.0 - np.degrees(BALL_FALL)), 0.0)
    noisy = {name: path + rng.normal(0.0, 0.005, path.shape) for name, path in points.items()}
    off = heel_of(noisy) - points["l_heel"]
    # The heel lies 8 cm behind the line ankle -> ball of 13 cm, whose plane with the shank is 32 deg narrow.
    assert np.sqrt((off**2).mean(axis=0)).max() < 3.0 * 0.005


def test_without_a_knee_the_vertical_decides() -> None:
    points = foot(np.linspace(0.0, 60.0, 61), 20.0)
    without = {**points, "l_knee": np.full_like(points["l_knee"], np.nan)}
    assert heel_of(without) == pytest.approx(points["l_heel"], abs=1e-12)
    centres = {"l_ankle": points["l_ankle"], "l_ball": points["l_front"]}
    complete_foot(centres, "l", UP, HEIGHT)
    assert centres["l_heel"] == pytest.approx(points["l_heel"], abs=1e-12)


def test_a_toe_alone_gives_heel_and_ball() -> None:
    points = foot(np.linspace(0.0, 30.0, 31), 0.0, fall=TOE_FALL)
    centres = {"l_knee": points["l_knee"], "l_ankle": points["l_ankle"], "l_toe": points["l_front"]}
    complete_foot(centres, "l", UP, HEIGHT)
    assert centres["l_heel"] == pytest.approx(points["l_heel"], abs=1e-12)
    from_heel = (np.linalg.norm(centres[name] - centres["l_heel"], axis=1) for name in ("l_ball", "l_toe"))
    ball, toe = from_heel
    assert ball / toe == pytest.approx(0.72)


def test_a_point_that_was_recorded_is_never_replaced() -> None:
    points = foot(np.linspace(0.0, 30.0, 31), 0.0)
    centres = {"l_ankle": points["l_ankle"], "l_heel": points["l_heel"]}
    complete_foot(centres, "l", UP, HEIGHT)
    assert centres["l_heel"] is points["l_heel"]
    assert np.isnan(centres["l_ball"]).all()
    assert np.isnan(centres["l_toe"]).all()
    given = {"l_ankle": points["l_ankle"], "l_heel": points["l_heel"], "l_ball": points["l_front"]}
    complete_foot(given, "l", UP, HEIGHT)
    line = (given["l_toe"] - given["l_heel"]) / np.linalg.norm(given["l_toe"] - given["l_heel"], axis=1, keepdims=True)
    ball = points["l_front"] - points["l_heel"]
    assert line == pytest.approx(ball / np.linalg.norm(ball, axis=1, keepdims=True))


@pytest.mark.parametrize("gone", [("HEEL",), ("HEEL", "TOE")])
def test_the_heels_of_a_posed_swing_come_back(posed, make_capture, truth: Points, gone: tuple[str, ...]) -> None:
    capture = make_capture(posed.points, posed.rate_hz, leave_out=tuple(name.lower() for name in gone))
    body = body_from_cleaned(capture)
    step = {}
    for side in "lr":
        heel, true = body.centres[f"{side}_heel"], truth[f"{side}_heel"]
        assert np.linalg.norm(heel - true, axis=1).max() < 0.030
        # In the stance the soles are flat.
        assert np.abs((heel - true)[:24, 2]).max() < 0.008
        step[side] = np.abs(
            np.linalg.norm(np.diff(heel, axis=0), axis=1) - np.linalg.norm(np.diff(true, axis=0), axis=1)
        )
    assert step["l"].max() < 0.001
    assert step["r"].max() < 0.004


def test_the_back_heel_of_a_real_swing_does_not_swing_round(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "real_swing.c3d")
    body = body_from_cleaned(capture)
    step = {
        name: np.linalg.norm(np.diff(body.centres[f"r_{name}"], axis=0), axis=1) for name in ("heel", "ball", "ankle")
    }
    # Frames in which the foot points straight down and ball and ankle all but stand still.
    assert max(step["ball"][196:212].max(), step["ankle"][196:212].max()) < 0.0015
    assert step["heel"][196:212].max() < 0.0025
    floor = min(np.nanmin(body.centres[f"{side}_ball"][:48, 2]) for side in "lr")
    for side in "lr":
        assert 0.0 <= body.centres[f"{side}_heel"][:48, 2].mean() - floor + 0.012 * 1.75 < 0.04
