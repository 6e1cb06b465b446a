"""Moments of posed swings whose times are known exactly, and what happens when there is no swing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import mocap
from mocap.errors import DetectionError, InputError, OptionError
from mocap.kinematics.foot_moments import _touch_near
from mocap.kinematics.geometry import unit
from mocap.kinematics.moments import SPEED_BREAK, USUAL_DEPTH
from mocap.swing import MOMENTS, POINTS

#: How far a moment may be from the exact one. [s] Foot moments by points are published to be known to 5 to 18 ms.
WITHIN = {
    "stance": 0.06,
    "lift": 0.05,
    "toe_touch": 0.03,
    "plant": 0.02,
    "foot_flat": 0.03,
    "level": 0.008,
    "extension": 0.02,
    "finish": 0.03,
}


@pytest.mark.parametrize("rate", [120.0, 240.0, 480.0])
def test_moments_of_a_noisy_recording(posed, make_capture, rate: float) -> None:
    from mocap.reference.posed import pose_swing

    sampled = pose_swing(posed.parameters, rate)
    swing = mocap.build_swing(make_capture(sampled.points, rate, noise_m=0.001), mocap.Hitter(height_m=1.80))
    for name, within in WITHIN.items():
        found = swing.moments[name]
        assert found.time_s == pytest.approx(sampled.moments[name], abs=within), name
        assert found.index == round(found.time_s * rate)
        assert found.sd_s > 0
    assert [n for n in MOMENTS if swing.moments[n].index is None] == []


def test_moments_come_in_order(posed, make_capture) -> None:
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz))
    indices = [swing.moments[name].index for name in MOMENTS]
    assert indices == sorted(indices)


@pytest.mark.parametrize("rate", [120.0, 240.0, 500.0])
def test_contact_is_seen_in_the_barrel_when_a_ball_takes_its_speed(posed, make_capture, rate: float) -> None:
    from mocap.reference.posed import pose_swing

    parameters = replace(posed.parameters, barrel=replace(posed.parameters.barrel, impact_loss=0.25))
    sampled = pose_swing(parameters, rate)
    swing = mocap.build_swing(make_capture(sampled.points, rate, noise_m=0.001), mocap.Hitter(height_m=1.80))
    contact = swing.moments["contact"]
    assert contact.method == SPEED_BREAK
    assert contact.time_s == pytest.approx(sampled.moments["contact"], abs=0.003 + 0.5 / rate)
    # The barrel is posed to have 30 m/s at contact, and a little more just before; the blow must not smear that.
    fine = pose_swing(parameters, 4800.0)
    spot = fine["bat_barrel"] + 0.15 * unit(fine["bat_knob"] - fine["bat_barrel"])
    fastest = 4800.0 * np.linalg.norm(np.diff(spot, axis=0), axis=1).max()
    assert fastest == pytest.approx(30.0, abs=0.7)
    speed = mocap.measure(swing).measures["bat_speed"]
    assert speed.value == pytest.approx(fastest, abs=2.0 * speed.sd)
    assert speed.sd < 1.4


@pytest.mark.parametrize("rate", [120.0, 240.0, 500.0])
def test_noise_is_no_blow(posed, make_capture, rate: float) -> None:
    from mocap.reference.posed import pose_swing

    sampled = pose_swing(posed.parameters, rate)
    swing = mocap.build_swing(make_capture(sampled.points, rate, noise_m=0.001), mocap.Hitter(height_m=1.80))
    assert swing.moments["contact"].method == USUAL_DEPTH


def test_the_usual_depth_is_that_of_the_pitch(posed, make_capture) -> None:
    """A barrel that meets no ball is taken to be at contact where it passes the depth for the pitch's place."""
    spot = posed["bat_barrel"] + 0.15 * (posed["bat_knob"] - posed["bat_barrel"]) / np.linalg.norm(
        posed["bat_knob"] - posed["bat_barrel"], axis=1, keepdims=True
    )
    ahead = spot[:, 0] - posed["front_ankle"][:, 0]
    contact = round(posed.moments["contact"] * posed.rate_hz)
    near = slice(contact - round(0.03 * posed.rate_hz), contact + round(0.03 * posed.rate_hz))
    assert (np.diff(ahead[near]) > 0.0).all()
    time = np.arange(len(ahead)) / posed.rate_hz
    capture = make_capture(posed.points, posed.rate_hz)
    # Depth and how far it may be off, as decided for each place. [m]
    for location, depth, off in (
        ("inside", 0.20, 0.10),
        ("middle", 0.10, 0.10),
        ("away", -0.02, 0.10),
        (None, 0.10, 0.15),
    ):
        setup = mocap.Setup(pitcher=(1.0, 0.0, 0.0), pitch_location=location)
        found = mocap.build_swing(capture, mocap.Hitter(height_m=1.80), setup).moments["contact"]
        there = float(np.interp(depth, ahead[near], time[near]))
        pace = float(np.interp(there, time[1:], np.diff(ahead))) * posed.rate_hz
        assert found.method == USUAL_DEPTH
        assert found.time_s == pytest.approx(there, abs=0.0005)
        assert found.sd_s == pytest.approx(off / pace, rel=0.05)


def test_without_a_bat_contact_is_estimated_and_says_so(posed, make_capture) -> None:
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz, leave_out=("bat",)))
    contact = swing.moments["contact"]
    assert "no bat" in contact.method
    assert contact.sd_s >= 0.02
    assert contact.time_s == pytest.approx(posed.moments["contact"], abs=0.02)


def test_a_hand_set_moment_is_kept(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    swing = mocap.build_swing(capture, setup=mocap.Setup(moments={"plant": 200, "contact": 262}))
    assert (swing.moments["plant"].index, swing.moments["contact"].index) == (200, 262)
    assert swing.moments["plant"].method == "set by hand"


def test_a_hand_set_moment_outside_the_recording_is_refused(posed, make_capture) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    with pytest.raises(OptionError, match="plant is set to frame 99999"):
        mocap.build_swing(capture, setup=mocap.Setup(moments={"plant": 99999}))
    with pytest.raises(OptionError, match="'strike' is not known"):
        mocap.Setup(moments={"strike": 3})


def test_no_swing_no_moments(posed, make_capture) -> None:
    standing = np.repeat(posed.points[:1], 300, axis=0)
    with pytest.raises(DetectionError, match="no front-foot landing"):
        mocap.build_swing(make_capture(standing, 240.0))


def test_without_a_stride_the_position_is_judged_where_the_hips_begin_to_turn(posed, make_capture) -> None:
    points = posed.points.copy()
    plant = round(posed.moments["plant"] * posed.rate_hz)
    for name in ("ankle", "heel", "ball", "toe", "knee"):
        column = POINTS.index(f"front_{name}")
        points[:, column] = points[plant, column]
    # He stands still at first, hands and all.
    still = round(posed.moments["stance"] * posed.rate_hz)
    points[:still] = points[still]
    moments = mocap.build_swing(make_capture(points, posed.rate_hz, noise_m=0.001)).moments
    assert moments["plant"].method == "no stride: the hips begin to turn"
    hips = np.unwrap(np.arctan2(*(posed["front_hip"] - posed["back_hip"])[:, 1::-1].T))
    rate = np.gradient(hips, 1.0 / posed.rate_hz)
    peak = int(np.argmax(rate))
    begins = np.flatnonzero(rate[:peak] < 0.3 * rate[peak])[-1] / posed.rate_hz
    assert moments["plant"].time_s == pytest.approx(begins, abs=0.02)
    for name in ("lift", "toe_touch", "foot_flat"):
        assert moments[name].why == "the front foot does not stride"
    assert moments["stance"].time_s < moments["plant"].time_s
    assert moments["contact"].time_s == pytest.approx(posed.moments["contact"], abs=0.01)


def test_plates_decide_the_landing_where_they_are(posed, make_capture) -> None:
    from mocap.capture import ForcePlate

    capture = make_capture(posed.points, posed.rate_hz)
    plant, weight, frames = round(posed.moments["plant"] * posed.rate_hz), 80 * 9.80665, len(posed.points)
    time = np.arange(frames) / posed.rate_hz
    # The front foot's load rises from nothing 20 ms after the posed landing: 10 % of body weight at +23 ms.
    front = np.clip((time - time[plant] - 0.020) / 0.030, 0, 1) * weight
    plates = []
    for side, load in (("front", front), ("back", weight - front)):
        ball = posed[f"{side}_ball"][plant]
        plates.append(
            ForcePlate(
                plate_type=2,
                corners=ball * [1, 1, 0] + np.array([[0.3, 0.3, 0], [-0.3, 0.3, 0], [-0.3, -0.3, 0], [0.3, -0.3, 0]]),
                force=np.stack([0 * load, 0 * load, load], axis=1),
                moment=np.zeros((frames, 3)),
                centre_of_pressure=np.where(load[:, None] > 20, ball * [1, 1, 0], np.nan),
                rate_hz=posed.rate_hz,
            )
        )
    swing = mocap.build_swing(replace(capture, plates=tuple(plates)), mocap.Hitter(height_m=1.80, mass_kg=80.0))
    assert "force plate" in swing.moments["plant"].method
    assert swing.moments["plant"].time_s == pytest.approx(time[plant] + 0.020 + 0.1 * 0.030, abs=0.5 / posed.rate_hz)
    assert swing.forces is not None
    assert swing.forces.front[:, 2] == pytest.approx(front)


def test_the_real_swing_needs_no_help(shared_data: Path) -> None:
    swing = mocap.build_swing(mocap.read(shared_data / "real_swing.c3d"))
    assert swing.hitter.bats == "right"
    # Read off the raw paths by eye: the front ball comes down to its resting height in frames 97 to 100, the ankle's
    # speed falls from 1.35 m/s (frame 96) to 0.35 m/s (105); the foot leaves the floor in frames 52 to 57; the
    # shoulders turn fastest in frame 114 and are at rest in frame 172.
    assert 97 <= swing.moments["plant"].index <= 105
    assert 50 <= swing.moments["lift"].index <= 58
    assert 112 <= swing.moments["contact"].index <= 126
    assert 165 <= swing.moments["finish"].index <= 178


def test_a_walk_is_no_swing(shared_data: Path) -> None:
    with pytest.raises(DetectionError, match="no front-foot landing"):
        mocap.build_swing(mocap.read(shared_data / "c3d" / "full_body_gait.c3d"))


def test_points_of_unknown_names_are_refused(shared_data: Path) -> None:
    with pytest.raises(InputError, match="no usable points"):
        mocap.build_swing(mocap.read(shared_data / "c3d" / "cube_one_frame.c3d"))


@pytest.mark.parametrize("bat", [True, False], ids=["bat", "no bat"])
def test_a_swing_that_is_held_back_has_no_contact(posed, make_capture, bat: bool) -> None:
    """Time slows down to a stop from a tenth of a second before contact on."""
    from scipy.interpolate import CubicSpline

    rate = posed.rate_hz
    time = np.arange(len(posed.points)) / rate
    turning_back = posed.moments["contact"] - 0.10
    late = np.maximum(time - turning_back, 0.0)
    slowed = np.where(late > 0.0, turning_back + 0.03 * (1.0 - np.exp(-late / 0.03)), time)
    points = CubicSpline(time, posed.points)(slowed)
    capture = make_capture(points, rate, noise_m=0.001, leave_out=() if bat else ("bat",))
    swing = mocap.build_swing(capture, mocap.Hitter(height_m=1.80))
    assert swing.moments["contact"].index is None
    assert swing.moments["contact"].why.startswith("the swing was held back")
    assert swing.moments["plant"].time_s == pytest.approx(posed.moments["plant"], abs=0.02)
    measures = mocap.measure(swing).measures
    assert "held back" in measures["axis_tilt"].why
    assert measures["back_share"].value is not None


def test_a_ball_tells_contact_where_it_is_recorded(posed, make_capture) -> None:
    """Off a tee, in a lab that lies otherwise than the hitting frame."""
    turn = np.array([[0.0, -1.0, 0.0, 2.0], [1.0, 0.0, 0.0, -1.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    capture = make_capture(posed.points, posed.rate_hz, lab_from_hitting=turn, noise_m=0.001)
    time = np.arange(len(posed.points)) / posed.rate_hz
    contact = posed.moments["contact"]
    frame = round(contact * posed.rate_hz)
    spot = posed["bat_barrel"][frame] + 0.18 * (posed["bat_knob"][frame] - posed["bat_barrel"][frame])
    flown = np.maximum(time - contact - 0.0005, 0.0)[:, None] * np.array([38.0, 0.0, 8.0])
    ball = (spot + flown) @ turn[:3, :3].T + turn[:3, 3]
    with_ball = replace(
        capture,
        labels=(*capture.labels, "Ball"),
        points=np.concatenate([capture.points, ball[:, None]], axis=1),
        residuals=np.concatenate([capture.residuals, np.zeros((len(ball), 1))], axis=1),
        cameras=np.zeros((0, 0), dtype=np.uint8),
    )
    found = mocap.build_swing(with_ball, mocap.Hitter(height_m=1.80)).moments["contact"]
    assert found.method == "ball changes its velocity"
    assert found.time_s == pytest.approx(contact, abs=0.0005)


@pytest.mark.parametrize("ball_later_s", [0.0, 0.03], ids=["flat", "heel first"])
@pytest.mark.parametrize("rate", [120.0, 240.0])
def test_a_foot_may_land_flat_or_on_its_heel(posed, make_capture, rate: float, ball_later_s: float) -> None:
    """The whole sole comes down as the toes of the posed foot do, or its forefoot a little later."""
    from mocap.reference.posed import pose_swing

    sampled = pose_swing(posed.parameters, rate)
    plant = sampled.moments["plant"]
    points, time = sampled.points.copy(), np.arange(len(sampled.points)) / rate
    rests = (time > plant + 0.06) & (time < plant + 0.10)
    ball = sampled["front_ball"][:, 2]
    height = ball - np.median(ball[rests])
    near = (time > plant - 0.25) & (time < plant + 0.12)
    for name, later in (("heel", 0.0), ("ankle", 0.0), ("ball", ball_later_s), ("toe", ball_later_s)):
        column = POINTS.index(f"front_{name}")
        rest = np.median(points[rests, column, 2])
        points[near, column, 2] = rest + np.interp(time[near] - later, time, height)
    moments = mocap.build_swing(make_capture(points, rate, noise_m=0.001), mocap.Hitter(height_m=1.80)).moments
    assert moments["plant"].time_s == pytest.approx(plant, abs=0.006)
    # Flat within 5 mm: the posed toes are so at `toe_touch`.
    flat = max(sampled.moments["toe_touch"] + ball_later_s, moments["plant"].time_s)
    assert moments["foot_flat"].time_s == pytest.approx(flat, abs=0.008)


def test_a_heel_that_is_out_of_sight_where_it_rests_tells_no_landing() -> None:
    """Of a sole that hardly comes down, parts are followed to where they rest; the heel is not seen there."""
    rate, landing = 240.0, 100
    glide = np.zeros((200, 3))
    glide[:, 0] = np.minimum(np.arange(200) - landing, 0) * 1.5 / rate
    glide += np.random.default_rng(3).normal(0.0, 0.002, glide.shape)
    heel = glide.copy()
    heel[landing:] = np.nan
    paths = SimpleNamespace(rate_hz=rate, frames=lambda seconds: round(seconds * rate))
    sharp = {"blur_s": lambda _: 0.0, "slow_of": lambda _: np.zeros(200)}
    foot = SimpleNamespace(paths=paths, speed=np.zeros(200), sole={"heel": heel, "forefoot": glide}, **sharp)
    assert _touch_near(foot, landing).frame == pytest.approx(landing, abs=3.0)
