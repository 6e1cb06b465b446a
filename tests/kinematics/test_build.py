"""The hitting frame: whichever lab, side and units, the same swing comes out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import mocap
from mocap.kinematics.measuring import measure
from mocap.swing import POINTS

HITTER = mocap.Hitter(height_m=1.80)


def turned(degrees: float, shift: tuple[float, float, float], up: str = "z") -> np.ndarray:
    matrix = np.eye(4)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    matrix[:3, :3] = [[c, -s, 0], [s, c, 0], [0, 0, 1]]
    if up == "y":
        matrix[:3, :3] = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]]) @ matrix[:3, :3]
    if up == "-z":
        matrix[:3, :3] = np.diag([1, -1, -1]) @ matrix[:3, :3]
    matrix[:3, 3] = shift
    return matrix


@pytest.mark.parametrize(
    "lab",
    [
        turned(0, (0, 0, 0)),
        turned(137, (2.0, -3.0, 0.0)),
        turned(40, (1.0, 0.0, 2.0), "y"),
        turned(10, (0, 0, 0), "-z"),
    ],
)
def test_the_lab_does_not_matter(posed, make_capture, lab: np.ndarray) -> None:
    plate = tuple(lab[:3, 3])
    setup = mocap.Setup(pitcher=tuple(lab[:3, :3] @ [1.0, 0.0, 0.0]), plate=plate)
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz, lab_from_hitting=lab), HITTER, setup)
    straight = mocap.build_swing(
        make_capture(posed.points, posed.rate_hz), HITTER, mocap.Setup(pitcher=(1, 0, 0), plate=(0, 0, 0))
    )
    assert swing.points == pytest.approx(straight.points, abs=1e-9, nan_ok=True)
    assert swing.com == pytest.approx(straight.com, abs=1e-9)
    back = swing.points @ swing.lab_from_hitting[:3, :3].T + swing.lab_from_hitting[:3, 3]
    again = straight.points @ lab[:3, :3].T + lab[:3, 3]
    assert back == pytest.approx(again, abs=1e-9)


def test_a_left_handed_hitter_compares_as_right_handed(posed, make_capture) -> None:
    setup = mocap.Setup(pitcher=(1, 0, 0), plate=(0, 0, 0))
    right = mocap.build_swing(make_capture(posed.points, posed.rate_hz), HITTER, setup)
    left = mocap.build_swing(make_capture(posed.points, posed.rate_hz, bats="left"), HITTER, setup)
    assert (right.hitter.bats, left.hitter.bats) == ("right", "left")
    assert left.mirrored
    assert left.points == pytest.approx(right.points, abs=1e-9)
    assert np.linalg.det(left.lab_from_hitting[:3, :3]) == pytest.approx(-1.0)
    ours, theirs = measure(right).measures, measure(left).measures
    for name, found in ours.items():
        if isinstance(found.value, float):
            assert theirs[name].value == pytest.approx(found.value, abs=1e-9), name


def test_the_direction_from_the_feet_is_stated_and_uncertain(posed, make_capture) -> None:
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz, lab_from_hitting=turned(70, (0, 0, 0))), HITTER)
    assert "estimated from the feet" in swing.heading_method
    assert swing.heading_sd_rad == pytest.approx(np.radians(8.0))
    plant = swing.index("plant")
    line = (swing["front_heel"] + swing["front_ball"] - swing["back_heel"] - swing["back_ball"])[plant]
    assert np.degrees(np.arctan2(line[1], line[0])) == pytest.approx(0.0, abs=1e-6)
    assert not swing.plate_known


def test_height_is_estimated_with_its_error_when_not_given(posed, make_capture) -> None:
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz))
    assert abs(swing.height_m - 1.80) < 2 * swing.height_sd_m
    assert any("height not given" in note for note in swing.notes)


def test_short_gaps_are_filled_and_long_ones_stay(posed, make_capture) -> None:
    points = posed.points.copy()
    knee = POINTS.index("front_knee")
    points[100:110, knee] = np.nan
    points[300:340, knee] = np.nan
    swing = mocap.build_swing(make_capture(points, posed.rate_hz), HITTER)
    whole = mocap.build_swing(make_capture(posed.points, posed.rate_hz), HITTER)
    assert swing["front_knee"][100:110] == pytest.approx(whole["front_knee"][100:110], abs=0.003)
    assert np.isnan(swing["front_knee"][305:335]).all()
    assert any("10 samples filled by a spline" in note for note in swing.notes)


def test_a_side_that_contradicts_the_turn_is_refused(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    assert mocap.build_swing(capture, mocap.Hitter(height_m=1.8, bats="right")).notes == ()
    with pytest.raises(mocap.MocapError, match="bats left is given, but shoulders and hips turn as a right-handed"):
        mocap.build_swing(capture, mocap.Hitter(height_m=1.8, bats="left"))


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"height_m": 18}, "give metres"),
        ({"height_m": 180}, "give metres"),
        ({"height_m": 0.5}, "outside 0.9 to 2.4"),
        ({"mass_kg": 800}, "mass 800 kg"),
        ({"bats": "both"}, "give right or left"),
    ],
)
def test_impossible_hitters_are_refused(values: dict, message: str) -> None:
    with pytest.raises(mocap.MocapError, match=message):
        mocap.Hitter(**values)


def test_a_handle_point_stands_for_a_missing_knob(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    labels = tuple("BAT_HANDLE" if label == "BAT_KNOB" else label for label in capture.labels)
    swing = mocap.build_swing(replace(capture, labels=labels), HITTER)
    assert swing.has("bat_knob", "bat_barrel")
    assert any("handle" in note for note in swing.notes)


@pytest.mark.parametrize("seed", range(12))
def test_any_pattern_of_gaps_gives_findings_or_a_clear_error(posed, make_capture, seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = posed.points.copy()
    for _ in range(8):
        start = rng.integers(0, len(points) - 60)
        points[start : start + rng.integers(5, 60), rng.integers(0, len(POINTS))] = np.nan
    points[rng.random(points.shape[:2]) < 0.03 * (seed % 3)] = np.nan
    found, message = {}, ""
    try:
        swing = mocap.build_swing(make_capture(points, posed.rate_hz), HITTER)
        found = measure(swing).measures
        mocap.compare(swing, mocap.load_reference())
    except mocap.MocapError as error:
        message = str(error)
    assert bool(found) or bool(message)
    assert "\n" not in message
    assert all((entry.value is None) == bool(entry.why) for entry in found.values())


def test_a_body_that_ends_at_the_ankles_stands_on_the_floor(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz, leave_out=("heel", "ball", "toe", "bat"))
    swing = mocap.build_swing(capture, HITTER)
    # Drillis & Contini's ankle height of .039 of stature against the posed body's own.
    assert swing["back_ankle"][0, 2] == pytest.approx(posed["back_ankle"][0, 2], abs=0.02)
    assert swing.index("plant") == pytest.approx(posed.moments["plant"] * posed.rate_hz, abs=6)


def test_filled_samples_are_marked_and_told(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    points = capture.points.copy()
    plant = round(posed.moments["plant"] * posed.rate_hz)
    points[plant - 4 : plant + 5, capture.labels.index("L_KNEE")] = np.nan
    swing = mocap.build_swing(replace(capture, points=points), HITTER)
    column = POINTS.index("front_knee")
    assert swing.filled[plant - 4 : plant + 5, column].all()
    assert swing.filled[:, column].sum() == 9
    assert any("at plant" in note and "front knee" in note for note in swing.notes)


def test_axes_of_a_mirrored_hitter_are_those_of_a_right_handed_one(posed, make_capture) -> None:
    right = mocap.build_swing(make_capture(posed.points, posed.rate_hz), HITTER)
    left = mocap.build_swing(make_capture(posed.points, posed.rate_hz, bats="left"), HITTER)
    assert set(right.frames) == set(left.frames)
    for name, rotation in right.frames.items():
        np.testing.assert_allclose(left.frames[name], rotation, atol=2e-3, err_msg=name)
        assert (np.linalg.det(rotation) > 0.999).all()
    hips = right["back_hip"] - right["front_hip"]
    # A right-handed hitter's right is his back side.
    along = np.sum(right.frames["pelvis"][..., 2] * hips, axis=1) / np.linalg.norm(hips, axis=1)
    assert along.min() > 0.99


def test_the_model_s_choices_reach_the_swing(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    with_choice = {
        choice: mocap.build_swing(capture, mocap.Hitter(height_m=1.80, mass_kg=80.0), mocap.Setup(model=model))
        for choice, model in {
            "plain": mocap.BodyModel(),
            "winter": mocap.BodyModel(inertia="winter"),
            "bat": mocap.BodyModel(bat_kg=0.9),
            "soft": mocap.BodyModel(cutoff_hz=3.0),
        }.items()
    }
    plain = with_choice["plain"]
    # Winter's trunk is heavier and higher.
    assert 0.01 < np.median(with_choice["winter"].com[:, 2] - plain.com[:, 2]) < 0.04
    hands = (plain["front_hand"] + plain["back_hand"]) / 2
    expected = plain.com + 0.9 / 80.9 * (hands - plain.com)
    np.testing.assert_allclose(with_choice["bat"].com, expected, atol=1e-9)
    fastest = {
        name: np.linalg.norm(np.diff(with_choice[name]["front_wrist"], axis=0), axis=1).max()
        for name in ("plain", "soft")
    }
    assert fastest["soft"] < 0.8 * fastest["plain"]
