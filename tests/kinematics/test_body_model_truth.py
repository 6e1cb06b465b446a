"""The body model against swings whose joint centres are known: other bodies, sets, sides and labs, noise and faults."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from mocap.capture import Capture, FloatArray
from mocap.kinematics.build import build_swing
from mocap.kinematics.geometry import across, flexion, heading, unit
from mocap.kinematics.landing import knee_flexion, pelvis_open, stride_length, trunk_open
from mocap.kinematics.readings import readings
from mocap.kinematics.skeleton import Skeleton, fit_skeleton
from mocap.reference.parameters import Barrel, SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.swing import Hitter, Setup, Swing

Paths = dict[str, FloatArray]
#: Height [m], rate [Hz], and whether the bat meets a ball: a child, and a tall hitter.
BODIES = {"child": (1.30, 120.0, 0.0), "tall": (1.95, 240.0, 0.22)}
JOINTS = tuple(f"{side}_{joint}" for side in "lr" for joint in ("hip", "knee", "ankle", "shoulder", "elbow", "wrist"))


@cache
def body(name: str) -> PosedSwing:
    height, rate, loss = BODIES[name]
    return pose_swing(SwingParameters(height_m=height, barrel=Barrel(impact_loss=loss)), rate)


def joints_of(posed: PosedSwing) -> Paths:
    """By left and right: a right-handed hitter's left side is the front one."""
    return {
        name.replace("front_", "l_", 1) if name.startswith("front") else name.replace("back_", "r_", 1): posed[name]
        for name in posed.names
    }


def square(vector: FloatArray, axis: FloatArray) -> FloatArray:
    return unit(across(vector, unit(axis)))


def trunk_axes(joint: Paths) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Right along the shoulders, up, and forward."""
    right = unit(joint["r_shoulder"] - joint["l_shoulder"])
    up = square(joint["neck"] - joint["pelvis"], right)
    return right, up, np.cross(up, right)


def given_centres(joint: Paths) -> Paths:
    return {name.upper(): path for name, path in joint.items() if name not in ("pelvis", "neck")}


def animated_skeleton(joint: Paths) -> Paths:
    """Joints by the names of bones; hips and lowest spine turn with the pelvis, neck and collars with the trunk."""
    right, up, _ = trunk_axes(joint)
    over = square(joint["neck"] - joint["pelvis"], joint["r_hip"] - joint["l_hip"])
    size = np.linalg.norm(joint["head_top"] - joint["head"], axis=1, keepdims=True)
    points = {
        "Hips": joint["pelvis"] + 0.4 * size * over,
        "Spine": joint["pelvis"] + size * over,
        "Neck": joint["neck"] + 0.3 * size * up,
        "Head": joint["head"] - 0.9 * size * unit(joint["head"] - joint["neck"]),
        "HeadEnd": joint["head_top"],
    }
    for side, word, sign in (("l", "Left", -1.0), ("r", "Right", 1.0)):
        named = {"UpLeg": "hip", "Leg": "knee", "Foot": "ankle", "ToeBase": "ball", "ToeEnd": "toe"}
        named |= {"Arm": "shoulder", "ForeArm": "elbow", "Hand": "wrist", "HandEnd": "hand"}
        points |= {word + bone: joint[f"{side}_{name}"] for bone, name in named.items()}
        points[word + "Shoulder"] = joint["neck"] + sign * 0.2 * size * right
    return points | {"BAT_KNOB": joint["bat_knob"], "BAT_BARREL": joint["bat_barrel"]}


def keypoints(joint: Paths) -> Paths:
    """The order of 17 points, which ends at the ankles, by words."""
    right, up, forward = trunk_axes(joint)
    size = np.linalg.norm(joint["head_top"] - joint["head"], axis=1, keepdims=True)
    points = {"nose": joint["head"] + 0.8 * size * forward}
    for side, word, sign in (("l", "left", -1.0), ("r", "right", 1.0)):
        points[f"{word} ear"] = joint["head"] + sign * 0.6 * size * right
        points[f"{word} eye"] = joint["head"] + 0.7 * size * forward + sign * 0.25 * size * right + 0.15 * size * up
        for name in ("hip", "knee", "ankle", "shoulder", "elbow", "wrist"):
            points[f"{word} {name}"] = joint[f"{side}_{name}"]
    return points | {"BAT_KNOB": joint["bat_knob"], "BAT_BARREL": joint["bat_barrel"]}


SETS: dict[str, Callable[[Paths], Paths]] = {
    "centres": given_centres,
    "skeleton": animated_skeleton,
    "keypoints": keypoints,
}


def recorded(points: Paths, rate_hz: float, *, noise_m: float = 0.0, seed: int = 0) -> Capture:
    path = np.stack(list(points.values()), axis=1)
    path = path + np.random.default_rng(seed).normal(0.0, 1.0, path.shape) * noise_m
    return Capture("truth.c3d", tuple(points), path, rate_hz, np.zeros(path.shape[:2]))


def mirrored(capture: Capture) -> Capture:
    """The recording of the same swing from the other side of the plate."""
    pairs = (("L_", "R_"), ("Left", "Right"), ("left ", "right "))
    other = {}
    for label in capture.labels:
        swaps = [(a, b) for pair in pairs for a, b in (pair, pair[::-1]) if label.startswith(a)]
        other[label] = swaps[0][1] + label.removeprefix(swaps[0][0]) if swaps else label
    order = [capture.labels.index(other[label]) for label in capture.labels]
    return replace(capture, points=capture.points[:, order] * np.array([1.0, -1.0, 1.0]))


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


def off(skeleton: Skeleton, joint: Paths, name: str) -> float:
    """Root mean square of one joint centre's error per axis. [m]"""
    return rms(skeleton.centres[name] - joint[name])


def angle_of(centres: Paths, names: tuple[str, str, str]) -> FloatArray:
    return np.degrees(flexion(*(centres[name] for name in names)))


@pytest.mark.parametrize("who", BODIES)
@pytest.mark.parametrize("kind", SETS)
def test_joints_and_bends_of_any_body_by_any_set(kind: str, who: str) -> None:
    joint = joints_of(body(who))
    skeleton = fit_skeleton(recorded(SETS[kind](joint), body(who).rate_hz, noise_m=0.002))
    for name in JOINTS:
        # One skeleton for all frames lessens the noise; its simple trunk may add a little at a tall keypoint shoulder.
        assert off(skeleton, joint, name) < 1.2 * 0.002, name
    for side in "lr":
        for bend in (
            (f"{side}_hip", f"{side}_knee", f"{side}_ankle"),
            (f"{side}_shoulder", f"{side}_elbow", f"{side}_wrist"),
        ):
            assert rms(angle_of(skeleton.centres, bend) - angle_of(joint, bend)) < 1.5
    for line in ("hip", "shoulder"):
        found, true = (heading(c[f"r_{line}"] - c[f"l_{line}"]) for c in (skeleton.centres, joint))
        assert np.degrees(rms(np.angle(np.exp(1j * (found - true))))) < 1.5


@pytest.mark.parametrize("kind", SETS)
def test_neither_side_nor_lab_nor_order_of_labels_matters(kind: str) -> None:
    posed = body("tall")
    capture = recorded(SETS[kind](joints_of(posed)), posed.rate_hz, noise_m=0.002)
    hitter = Hitter(height_m=1.95)
    swing = build_swing(capture, hitter, Setup(pitcher=(1.0, 0.0, 0.0)))
    order = np.random.default_rng(4).permutation(len(capture.labels))
    shuffled = replace(capture, labels=tuple(capture.labels[i] for i in order), points=capture.points[:, order])
    y_up = replace(capture, points=capture.points[..., [0, 2, 1]] * np.array([1.0, 1.0, -1.0]))
    for other, bats in ((mirrored(capture), "left"), (shuffled, "right"), (y_up, "right")):
        same = build_swing(other, hitter, Setup(pitcher=(1.0, 0.0, 0.0)))
        assert same.hitter.bats == bats
        np.testing.assert_allclose(same.points, swing.points, atol=1e-6)
        np.testing.assert_allclose(same.com, swing.com, atol=1e-6)
        assert {name: m.index for name, m in same.moments.items()} == {n: m.index for n, m in swing.moments.items()}
        for name, axes in swing.frames.items():
            np.testing.assert_allclose(same.frames[name], axes, atol=1e-4, err_msg=name)


def test_gaps_and_spikes_move_the_other_joints_by_no_more_than_noise() -> None:
    posed = body("tall")
    joint = joints_of(posed)
    clean = recorded(given_centres(joint), posed.rate_hz, noise_m=0.002)
    rng = np.random.default_rng(2)
    points = clean.points.copy()
    for column in range(len(clean.labels)):
        start = int(rng.integers(10, clean.n_frames - 20))
        points[start : start + 6, column] = np.nan
    lost = clean.labels.index("R_ELBOW")
    points[200:260, lost] = np.nan
    points[120, clean.labels.index("L_KNEE")] += [0.25, -0.1, 0.2]
    skeleton = fit_skeleton(replace(clean, points=points))
    for name in JOINTS:
        seen = ~skeleton.filled[name]
        assert rms((skeleton.centres[name] - joint[name])[seen]) < 0.0025, name
        found = np.isfinite(skeleton.centres[name]).all(axis=1)
        # Filled by its neighbours or by the skeleton, a centre is not measured, but no stranger to the body either.
        assert np.linalg.norm(skeleton.centres[name] - joint[name], axis=1)[found].max() < 0.06, name
    assert skeleton.filled["l_knee"][120]
    assert skeleton.filled["r_elbow"][200:260].any() or np.isnan(skeleton.centres["r_elbow"][200:260, 0]).any()


def true_posture(posed: PosedSwing, when_s: float) -> dict[str, float]:
    """Measures at one instant, straight from the posed joints between the two nearest samples."""
    at = when_s * posed.rate_hz
    low = int(at)
    share = at - low
    place = {name: (1 - share) * posed[name][low] + share * posed[name][low + 1] for name in posed.names}

    def open_deg(part: str) -> float:
        return float(np.degrees(heading(place[f"front_{part}"] - place[f"back_{part}"])))

    step = place["front_ankle"] - place["back_ankle"]
    bend = flexion(place["front_hip"], place["front_knee"], place["front_ankle"])
    return {
        "pelvis_open": open_deg("hip"),
        "trunk_open": open_deg("shoulder"),
        "stride_length": float(np.linalg.norm(step[:2])) / posed.parameters.height_m,
        "front_knee_flexion": float(np.degrees(bend)),
    }


@pytest.mark.parametrize("kind", SETS)
def test_the_posture_at_a_given_frame_is_that_of_the_posed_body(kind: str) -> None:
    posed = body("tall")
    frame = round(posed.moments["plant"] * posed.rate_hz)
    setup = Setup(pitcher=(1.0, 0.0, 0.0), moments={"plant": frame})
    capture = recorded(SETS[kind](joints_of(posed)), posed.rate_hz, noise_m=0.001)
    swing: Swing = build_swing(mirrored(capture), Hitter(height_m=1.95), setup)
    true = true_posture(posed, frame / posed.rate_hz)
    read = readings(swing, 0.0)
    assert pelvis_open(read)[0] == pytest.approx(true["pelvis_open"], abs=1.0)
    assert trunk_open(read)[0] == pytest.approx(true["trunk_open"], abs=1.0)
    assert stride_length(read)[0] == pytest.approx(true["stride_length"], abs=0.004)
    assert knee_flexion(read, "front", "plant")[0] == pytest.approx(true["front_knee_flexion"], abs=1.5)
