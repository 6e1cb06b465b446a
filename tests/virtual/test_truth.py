"""What is said to be true of an invented hitter, against other ways to the same number."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation, RotationSpline

from mocap.kinematics.measuring import REGISTRY
from mocap.reference.parameters import SwingParameters
from mocap.swing import MOMENTS, POINTS
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.measures_truth import TRUE_MEASURES, measures_of
from mocap.virtual.motion import Motion
from mocap.virtual.truth import Truth, truth_of

RATE = 240.0


def hitter_of(height_m: float = 1.80, mass_kg: float = 82.0, **more: object) -> VirtualHitter:
    swing = SwingParameters(height_m=height_m)
    swing = replace(swing, barrel=replace(swing.barrel, impact_loss=0.35))
    return VirtualHitter("h", "", swing, mass_kg, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def truth() -> Truth:
    return truth_of(hitter_of(), RATE)


@pytest.fixture(scope="module")
def motion(truth: Truth) -> Motion:
    return truth.motion


@pytest.fixture(scope="module")
def fine(motion: Motion) -> np.ndarray:
    """Times 0.2 ms apart around the turn, well before the blow."""
    return np.arange(-0.05, motion.moments["contact"] - 1e-3, 2e-4)


def start(motion: Motion) -> float:
    return motion.hitter.parameters.timing.start


# ------------------------------------------------------------------ points, mass, derivatives


def test_points_are_the_posed_ones_at_the_frames(truth: Truth) -> None:
    frame = 100
    there = truth.motion.points(frame / RATE + start(truth.motion))
    assert truth.points.shape[1:] == (len(POINTS), 3)
    for name in POINTS:
        assert truth[name][frame] == pytest.approx(there[name][0], abs=1e-12)


@pytest.mark.parametrize(("sex", "height"), [("male", 1.80), ("female", 1.70)])
def test_masses_agree_with_the_published_table(project_root: Path, sex: str, height: float) -> None:
    motion = Motion.of(hitter_of(height, 70.0, sex=sex))
    table = tomllib.loads((project_root / "assets/tables/segment_inertia_de_leva.toml").read_text())["segments"]
    time = np.array([-0.5, 0.0, 0.1])
    points, total, moment = motion.points(time), 0.0, np.zeros((3, 3))
    for name, row in table.items():
        sides = [""] if name in ("head", "trunk") else ["front_", "back_"]
        for side in sides:
            first, second = points[side + row["from"]], points[side + row["to"]]
            total += row[sex]["mass"]
            moment += row[sex]["mass"] * ((1.0 - row[sex]["centre"]) * first + row[sex]["centre"] * second)
    assert total == pytest.approx(1.0, abs=2e-4)  # the printed columns add up to 0.9999 and 1.0001
    assert motion.centre_of_mass(time) == pytest.approx(moment / total, abs=1e-12)


def test_a_child_has_a_childs_masses() -> None:
    motion = Motion.of(hitter_of(1.32, 30.0, level="youth"))
    shares = {row.name: row.mass * (2 if row.paired else 1) for row in motion.table}
    adult = {row.name: row.mass * (2 if row.paired else 1) for row in Motion.of(hitter_of()).table}
    assert sum(shares.values()) == pytest.approx(1.0, abs=0.01)
    assert shares["head"] > 1.5 * adult["head"]


def test_bat_moves_the_centre_of_mass_toward_the_hands(motion: Motion) -> None:
    time = np.array([0.0])
    with_bat = replace(motion, bat_kg=0.9).centre_of_mass(time)
    points = motion.points(time)
    hands = (points["front_hand"] + points["back_hand"]) / 2
    expected = (82.0 * motion.centre_of_mass(time) + 0.9 * hands) / 82.9
    assert with_bat == pytest.approx(expected, abs=1e-12)


def test_velocity_and_acceleration_are_derivatives_of_the_path(truth: Truth, fine: np.ndarray) -> None:
    spline = CubicSpline(fine, truth.motion.centre_of_mass(fine))
    frames = (truth.time_s + start(truth.motion) > fine[20]) & (truth.time_s + start(truth.motion) < fine[-20])
    when = truth.time_s[frames] + start(truth.motion)
    assert truth.com_velocity[frames] == pytest.approx(spline(when, 1), abs=1e-6)
    assert truth.com_acceleration[frames] == pytest.approx(spline(when, 2), abs=2e-3)


def test_turning_is_the_derivative_of_the_axes(truth: Truth, fine: np.ndarray) -> None:
    frames = truth.motion.frames(fine)
    chosen = (truth.time_s + start(truth.motion) > fine[20]) & (truth.time_s + start(truth.motion) < fine[-20])
    when = truth.time_s[chosen] + start(truth.motion)
    assert {"pelvis", "thorax", "front_thigh", "back_forearm"} <= set(truth.angular_velocity)
    for name in truth.frames:
        spline = RotationSpline(fine, Rotation.from_matrix(frames[name]))
        # scipy gives the rate in the axes of the segment.
        world = spline(when).apply(spline(when, 1))
        assert truth.angular_velocity[name][chosen] == pytest.approx(world, abs=2e-3), name


def test_axes_are_the_isbs(truth: Truth) -> None:
    for name, rotation in truth.frames.items():
        assert np.linalg.det(rotation) == pytest.approx(1.0, abs=1e-9), name
    pelvis = truth.frames["pelvis"]
    right = truth["back_hip"] - truth["front_hip"]
    assert np.einsum("fi,fi->f", pelvis[..., 2], right) == pytest.approx(np.linalg.norm(right, axis=1))
    assert (pelvis[..., 1, 1] > 0.0).all() or (pelvis[..., 2, 1] > 0.7).all()


# ------------------------------------------------------------------ moments, measures


def test_moments_meet_their_definitions(truth: Truth) -> None:
    motion, moments = truth.motion, truth.motion.moments
    assert tuple(moments) == MOMENTS
    assert dict(truth.moments) == pytest.approx({n: t - start(motion) for n, t in moments.items()})
    assert motion.forces(np.zeros(1)).front[0, 2] == pytest.approx(0.1 * 82.0 * 9.80665, abs=1e-6)
    at_level = {n: p[0] for n, p in motion.points(moments["level"]).items()}
    hands = (at_level["front_hand"] + at_level["back_hand"])[0]
    assert hands == pytest.approx((at_level["pelvis"] + at_level["neck"])[0], abs=1e-5)
    for moment, point in (("toe_touch", "front_ball"), ("foot_flat", "front_heel")):
        settled = motion.points(0.12)[point][0, 2]
        assert motion.points(moments[moment])[point][0, 2] - settled == pytest.approx(0.005, abs=1e-5)


def test_elbows_are_straightest_at_extension(motion: Motion) -> None:
    def bend(when: float) -> float:
        points = motion.points(when)
        return sum(
            float(
                np.arccos(
                    np.dot(*(v / np.linalg.norm(v) for v in (points[f"{s}_elbow"][0] - points[f"{s}_shoulder"][0],
                                                             points[f"{s}_wrist"][0] - points[f"{s}_elbow"][0])))
                )
            )
            for s in ("front", "back")
        )  # fmt: skip

    least = bend(motion.moments["extension"])
    assert all(bend(motion.moments["extension"] + off) >= least for off in (-0.03, -0.002, 0.002, 0.03))


def test_every_registered_measure_has_a_truth(truth: Truth) -> None:
    assert set(TRUE_MEASURES) == set(REGISTRY)
    for name, value in truth.measures.items():
        assert isinstance(value, str) == (REGISTRY[name].unit == ""), name
        assert isinstance(value, str) or np.isfinite(value), name


def test_measures_are_what_the_hitter_was_made_from(truth: Truth) -> None:
    p, found = truth.hitter.parameters, truth.measures
    made_of = {
        "back_share": p.landing.back_share,
        "foot_open": p.landing.foot_open_deg,
        "pelvis_open": p.landing.pelvis_open_deg,
        "trunk_open": p.landing.trunk_open_deg,
        "hip_shoulder_separation": p.landing.pelvis_open_deg - p.landing.trunk_open_deg,
        "front_knee_flexion": p.landing.front_knee_flexion_deg,
        "front_leg_at_contact": p.turn.front_knee_flexion_at_contact_deg,
        "stride_length": p.stride.length,
        "stride_direction": p.stride.direction_deg,
        "attack_angle": p.barrel.attack_deg,
        "plane_match": p.barrel.attack_deg - 8.0,
        "contact_depth": p.barrel.contact_depth * p.height_m,
    }
    # The bat is aimed with differences over 0.2 ms.
    assert {name: found[name] for name in made_of} == pytest.approx(made_of, abs=2e-3)
    assert found["bat_position"] == "tilted"


def test_moments_may_be_moved(motion: Motion) -> None:
    moved = measures_of(motion, {"plant": -0.010})
    points = motion.points(-0.010)
    stride = (points["front_ankle"] - points["back_ankle"])[0]
    assert moved["stride_length"] == pytest.approx(np.hypot(*stride[:2]) / 1.80)


def test_hitting_zone_is_as_long_as_the_path_between_its_ends(truth: Truth) -> None:
    path, spot = truth.hitting_zone, truth.motion.points(truth.motion.moments["contact"])
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).sum() == pytest.approx(
        truth.measures["hitting_zone"], abs=1e-4
    )
    bat = spot["bat_barrel"][0] - spot["bat_knob"][0]
    ball = spot["bat_barrel"][0] - 0.15 * bat / np.linalg.norm(bat)
    over = path[:, 2] - ball[2] - np.tan(np.radians(8.0)) * (path[:, 0] - ball[0])
    reach = (9.125 / np.pi + 2.61) / 2 * 0.0254
    assert np.abs(over).max() <= reach + 1e-6
    assert (np.diff(path[:, 0]) > 0).all()
    # It ends where the barrel leaves the pitch's line, or turns back.
    assert abs(over[0]) == pytest.approx(reach, abs=1e-6)


# ------------------------------------------------------------------ outside checks


def test_sweet_spot_moves_as_a_point_of_a_rigid_bat(truth: Truth, fine: np.ndarray) -> None:
    """Velocity = that of the knob + angular velocity x lever, with scipy's splines for both."""
    points = truth.motion.points(fine)
    bat = points["bat_barrel"] - points["bat_knob"]
    length = float(np.linalg.norm(bat[0]))
    along = bat / length
    side = np.cross(along, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    turn = RotationSpline(fine, Rotation.from_matrix(np.stack([along, side, np.cross(along, side)], axis=2)))
    knob = CubicSpline(fine, points["bat_knob"])
    frames = (truth.time_s + start(truth.motion) > fine[20]) & (truth.time_s + start(truth.motion) < fine[-20])
    when = truth.time_s[frames] + start(truth.motion)
    lever = turn(when).apply([length - 0.15, 0.0, 0.0])
    rigid = knob(when, 1) + np.cross(turn(when).apply(turn(when, 1)), lever)
    assert frames.sum() > 40
    assert truth.sweet_spot_velocity[frames] == pytest.approx(rigid, abs=1e-3)
    assert np.linalg.norm(rigid, axis=1).max() > 20.0


def test_sweet_spot_speed_agrees_with_pinocchio(truth: Truth) -> None:
    """A chain thorax - upper arm - forearm - hand - bat of ball joints, driven by its joints' angular velocities."""
    pin = pytest.importorskip("pinocchio", reason="pinocchio (`pin`) is not installed")
    # The last frame before the blow.
    contact = int(np.ceil(truth.moments["contact"] * RATE - 1e-6)) - 1
    chain = ["thorax", "back_upper_arm", "back_forearm", "back_hand", "bat"]
    places = [truth[name] for name in ("neck", "back_shoulder", "back_elbow", "back_wrist", "back_hand")]
    axis = truth["bat_barrel"] - truth["bat_knob"]
    rotation, spin = dict(truth.frames), dict(truth.angular_velocity)
    rotation["bat"], spin["bat"] = bat_axes(truth)
    speeds = []
    for frame in range(contact - 20, contact + 1):
        model, parent = pin.Model(), 0
        q, v = [], []
        for depth, name in enumerate(chain):
            above = rotation[chain[depth - 1]][frame] if depth else np.eye(3)
            origin = places[depth][frame]
            mount = above.T @ (origin - places[depth - 1][frame]) if depth else np.zeros(3)
            joint = pin.JointModelSpherical() if depth else pin.JointModelFreeFlyer()
            parent = model.addJoint(parent, joint, pin.SE3(np.eye(3), mount), name)
            own = rotation[name][frame]
            relative = spin[name][frame] - (spin[chain[depth - 1]][frame] if depth else 0.0)
            if not depth:
                velocity = CubicSpline(truth.time_s, truth["neck"])(truth.time_s[frame], 1)
                q += list(origin)
                v += list(own.T @ velocity)
            q += list(pin.Quaternion(above.T @ own).coeffs())
            v += list(own.T @ relative)
        data = model.createData()
        pin.forwardKinematics(model, data, np.array(q), np.array(v))
        spot = truth["bat_barrel"][frame] - 0.15 * axis[frame] / np.linalg.norm(axis[frame])
        at_bat = pin.getVelocity(model, data, parent, pin.LOCAL_WORLD_ALIGNED)
        speeds.append(np.linalg.norm(at_bat.linear + np.cross(at_bat.angular, spot - data.oMi[parent].translation)))
    exact = np.linalg.norm(truth.sweet_spot_velocity[contact - 20 : contact + 1], axis=1)
    assert speeds == pytest.approx(exact, rel=1e-6)


def bat_axes(truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """Axes of the bat without roll about itself, and their angular velocity by a spline through 4 kHz samples."""
    time = truth.time_s + start(truth.motion)
    dense = np.arange(time[0], time[-1], 2.5e-4)

    def axes(when: np.ndarray) -> np.ndarray:
        points = truth.motion.points(when)
        along = points["bat_barrel"] - points["bat_knob"]
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        side = np.cross(along, [0.0, 1.0, 0.0])
        side /= np.linalg.norm(side, axis=1, keepdims=True)
        return np.stack([along, side, np.cross(along, side)], axis=2)

    spline = RotationSpline(dense, Rotation.from_matrix(axes(dense)))
    inside = np.clip(time, dense[0], dense[-1])
    return axes(time), spline(inside).apply(spline(inside, 1))


def test_extension_reach_is_the_integral_of_the_speed_toward_the_pitcher(motion: Motion) -> None:
    h = 1e-5

    def toward(when: float) -> float:
        x = []
        for off in (-h, h):
            points = motion.points(when + off)
            bat = points["bat_barrel"][0] - points["bat_knob"][0]
            x.append((points["bat_barrel"][0] - 0.15 * bat / np.linalg.norm(bat))[0])
        return (x[1] - x[0]) / (2 * h)

    length = quad(toward, motion.moments["contact"], motion.moments["extension"], epsabs=1e-7, limit=200)[0]
    assert measures_of(motion)["extension_reach"] == pytest.approx(length, abs=1e-6)
