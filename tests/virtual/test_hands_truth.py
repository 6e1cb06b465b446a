"""What is said to be true of hands and face, against other ways to the same number, and recovered from markers."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

import mocap
from mocap.kinematics import hands
from mocap.kinematics.measuring import measure
from mocap.kinematics.readings import readings
from mocap.kinematics.registry import REGISTRY
from mocap.reference.parameters import SwingParameters
from mocap.swing import Swing
from mocap.virtual.flaws import FLAWS
from mocap.virtual.hitter import VirtualHitter, random_hitter
from mocap.virtual.lab import TWO_PLATES, Lab
from mocap.virtual.measures_truth import measures_of
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record
from mocap.virtual.skin import body_frames, joints_of

LAB = Lab(37.0, (1.30, -0.80, 0.0), TWO_PLATES)
RATE = 240.0
LEVELS = ("adult", "college", "youth")
#: A palm that faces up or down by less than this says little of which way it faces. [-] Sine of 3 deg.
CLEAR = 0.05


class Seen(NamedTuple):
    motion: Motion
    exact: dict[str, float | str]
    swing: Swing


@pytest.fixture(scope="module")
def motion() -> Motion:
    return Motion.of(VirtualHitter("h", "", SwingParameters(height_m=1.80), 82.0))


@pytest.fixture(scope="module")
def recorded() -> list[Seen]:
    """Eight random hitters with gait markers and no flaw in the recording, moments set to the nearest frames."""
    rng = np.random.default_rng(77)
    drawn = [random_hitter(rng, level=LEVELS[number % 3]) for number in range(8)]
    return [seen(replace(hitter, bats=("right", "left")[number % 2])) for number, hitter in enumerate(drawn)]


def seen(hitter: VirtualHitter) -> Seen:
    motion = Motion.of(hitter)
    start = motion.hitter.parameters.timing.start
    frames = {name: round((when - start) * RATE) for name, when in motion.moments.items()}
    capture = record(hitter, LAB, markers="conventional_gait", rate_hz=RATE, noise_m=0.0)
    setup = mocap.Setup(pitcher=tuple(LAB.rotation[:, 0]), moments=frames)
    swing = mocap.build_swing(capture, mocap.Hitter(bats=hitter.bats), setup)
    return Seen(motion, measures_of(motion, {n: i / RATE + start for n, i in frames.items()}), swing)


def taken(swing: Swing, name: str) -> float | str:
    entry = REGISTRY[name]
    assert entry.missing(swing) == ""
    value = entry.function(readings(swing, -8.0))[0]
    return str(value) if isinstance(value, str) else float(value)


def hands_of(motion: Motion, time: np.ndarray) -> np.ndarray:
    points = motion.points(time)
    return (points["front_hand"] + points["back_hand"]) / 2


# ------------------------------------------------------------------ the truth, another way


def test_hands_inside_is_the_height_of_a_triangle(motion: Motion) -> None:
    """Twice the area of body, ball and hands over the distance from body to ball (Heron), at its greatest."""
    level, contact = motion.moments["level"], motion.moments["contact"]
    at = {name: path[0] for name, path in motion.points(np.array([contact])).items()}
    bat = at["bat_barrel"] - at["bat_knob"]
    ball = (at["bat_barrel"] - 0.15 * bat / np.linalg.norm(bat))[:2]
    body = (at["pelvis"] + at["neck"])[:2] / 2
    path = hands_of(motion, np.linspace(level, contact, 4001))[:, :2]
    a = np.linalg.norm(path - ball, axis=1)
    b = np.linalg.norm(path - body, axis=1)
    c = np.linalg.norm(ball - body)
    s = (a + b + c) / 2
    away = 2 * np.sqrt(s * (s - a) * (s - b) * (s - c)) / c
    # At level the hands are nearer to the catcher than the line, at contact past it.
    crossed = int(np.argmin(away))
    assert 0 < crossed < 4000
    assert measures_of(motion)["hands_inside"] == pytest.approx(away[:crossed].max(), abs=1e-6)


def test_a_long_path_goes_farther_outside_and_farther_from_the_shoulder(motion: Motion) -> None:
    short = measures_of(motion)
    long = measures_of(Motion.of(replace(motion.hitter, parameters=FLAWS["long_path"](motion.hitter.parameters, 1.0))))
    assert long["hands_inside"] > short["hands_inside"] + 0.01  # type: ignore[operator]
    assert long["hands_reach"] > short["hands_reach"] + 0.02  # type: ignore[operator]


def test_lag_is_the_angle_to_the_splines_velocity(motion: Motion) -> None:
    level = motion.moments["level"]
    time = level + np.arange(-50, 51) * 2e-4
    velocity = CubicSpline(time, hands_of(motion, time))(level, 1)
    points = motion.points(np.array([level]))
    bat = (points["bat_barrel"] - points["bat_knob"])[0]
    cosine = bat @ velocity / (np.linalg.norm(bat) * np.linalg.norm(velocity))
    assert measures_of(motion)["bat_lag"] == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-4)


def test_elbow_is_at_the_body_line_when_it_is_said_to_be(motion: Motion) -> None:
    when = motion.moments["level"] + measures_of(motion)["short_swing_time"]  # type: ignore[operator]
    points = {name: path[:, 0] for name, path in motion.points(when + np.array([-0.002, 0.0, 0.002])).items()}
    ahead = points["back_elbow"] - (points["pelvis"] + points["neck"]) / 2
    assert ahead[1] == pytest.approx(0.0, abs=1e-7)
    assert ahead[0] < 0.0 < ahead[2]


def test_reach_is_the_greatest_of_many(motion: Motion) -> None:
    time = np.linspace(0.0, motion.moments["level"], 20001)
    shoulder = motion.points(time)["back_shoulder"]
    greatest = np.linalg.norm(hands_of(motion, time) - shoulder, axis=1).max()
    assert measures_of(motion)["hands_reach"] == pytest.approx(greatest / 1.80, abs=1e-9)


def test_face_and_palms_are_those_of_the_head_and_hands_that_carry_the_markers(recorded: list[Seen]) -> None:
    for motion, _, _ in recorded:
        time = np.linspace(motion.moments["contact"], motion.moments["extension"], 201)
        frames = body_frames(joints_of(motion.points(time)), motion.hitter.parameters)
        exact = measures_of(motion)
        head = frames["head"][0, :, 0]
        assert exact["head_pitch"] == pytest.approx(-np.degrees(np.arctan2(head[2], np.hypot(head[0], head[1]))))
        right = (frames["l_hand"][:, 2, 0] < 0.0) & (frames["r_hand"][:, 2, 0] > 0.0)
        said = exact["palms"]
        assert right[0] == (said != hands.ROLLED)
        assert right.all() == (said == hands.KEPT)


def test_moments_may_be_moved(motion: Motion) -> None:
    later = motion.moments["level"] + 0.005
    moved, exact = measures_of(motion, {"level": later}), measures_of(motion)
    assert moved["short_swing_time"] == pytest.approx(exact["short_swing_time"] - 0.005, abs=1e-9)  # type: ignore[operator]
    assert moved["hands_inside"] < exact["hands_inside"]  # type: ignore[operator]
    assert moved["head_pitch"] == exact["head_pitch"]


# ------------------------------------------------------------------ recovered from markers

#: Greatest error from gait markers without noise, and why.
FROM_MARKERS = {
    "hands_inside": (3e-4, "skeleton and filter move a place by some 0.1 mm"),
    "bat_lag": (0.2, "the rate of a cubic through four frames, of hands that the filter has smoothed"),
    "short_swing_time": (1e-4, "0.1 mm at 3 m/s"),
    "hands_reach": (1e-4, "as hands_inside"),
    "head_pitch": (0.01, "the head's markers move with the skull; the direction is theirs"),
}


@pytest.mark.parametrize("name", FROM_MARKERS)
def test_numbers_come_back(recorded: list[Seen], name: str) -> None:
    off = [abs(taken(case.swing, name) - case.exact[name]) for case in recorded]  # type: ignore[operator]
    assert max(off) <= FROM_MARKERS[name][0], off


def test_palms_come_back(recorded: list[Seen]) -> None:
    compared = []
    for case in recorded:
        assert case.swing.palms_seen
        if margin(case) > CLEAR:
            compared.append(case.exact["palms"])
            assert taken(case.swing, "palms") == case.exact["palms"]
    assert len(compared) >= 4
    assert len(set(compared)) >= 2


def margin(case: Seen) -> float:
    """How clearly the palms face one way where the words are decided: at contact, and at their worst after it."""
    swing = case.swing
    first, last = swing.index("contact"), swing.index("extension")
    assert first is not None
    assert last is not None
    right = np.minimum(
        swing.frames["back_hand"][first : last + 1, 2, 0], -swing.frames["front_hand"][first : last + 1, 2, 0]
    )
    return float(min(abs(right[0]), abs(right.min())))


def test_errors_of_the_face_are_within_what_is_said(recorded: list[Seen]) -> None:
    found = measure(recorded[0].swing, count=64)
    pitch = found.measures["head_pitch"]
    assert isinstance(pitch.value, float)
    assert pitch.sd is not None
    # A band set by eye, 3 deg about each axis, and the noise of the moment.
    assert 2.0 < pitch.sd < 4.5
    palms = found.measures["palms"]
    assert sum(palms.shares.values()) == pytest.approx(1.0)
    assert palms.shares[str(palms.value)] > 0.3


def test_joint_centres_show_neither_face_nor_palms(motion: Motion) -> None:
    capture = record(motion.hitter, LAB, markers="joint_centres", noise_m=0.0)
    swing = mocap.build_swing(capture, None, mocap.Setup(pitcher=tuple(LAB.rotation[:, 0])))
    found = measure(swing, count=0).measures
    assert found["head_pitch"].value is None
    assert found["head_pitch"].why == "the recorded points do not show the face"
    assert found["palms"].value is None
    assert found["palms"].why == "the hands' points do not show which way the palms face"
