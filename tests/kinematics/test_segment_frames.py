"""Frames of a skeleton whose true axes are known, as its joint centres and its markers show them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.geometry import angle_between
from mocap.kinematics.segment_frames import axes_from, segment_frames

FRAMES = 200
MIDLINE, LIMBS = ("pelvis", "thorax", "head"), ("thigh", "shank", "foot", "upper_arm", "forearm", "hand")


def posed(
    knee_deg: np.ndarray,
    elbow_deg: np.ndarray,
    *,
    hip_rotation_deg: float = 0.0,
    seed: int = 0,
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Joint centres and the true frames behind them, the body turning and leaning in the lab.

    The feet turn with the shanks; the hips are turned inward by `hip_rotation_deg`.
    """
    frames = len(knee_deg)
    rng = np.random.default_rng(seed)
    start, rate = rng.uniform(-np.pi, np.pi, 3), rng.normal(0.0, 1.0, 3)
    pelvis = Rotation.from_rotvec(start + np.linspace(0.0, 1.0, frames)[:, None] * rate)
    axes = {"pelvis": pelvis, "thorax": pelvis * Rotation.from_euler("Y", 10, degrees=True)}
    axes["head"] = axes["thorax"] * Rotation.from_euler("Y", 20, degrees=True)
    origin = rng.normal(size=(frames, 3)) * 0.01
    centres = {"pelvis": origin, "neck": origin + pelvis.apply([0.0, 0.5, 0.0])}
    centres["head"] = centres["neck"] + axes["head"].apply([0.0, 0.2, 0.0])
    centres["head_top"] = centres["neck"] + axes["head"].apply([0.0, 0.35, 0.0])
    for side, right in (("l", -1.0), ("r", 1.0)):
        thigh = pelvis * Rotation.from_euler("ZXY", [35, -8 * right, hip_rotation_deg * right], degrees=True)
        shank = thigh * Rotation.from_euler("Z", -knee_deg[:, None], degrees=True)
        foot = shank * Rotation.from_euler("Z", 12, degrees=True)
        upper = axes["thorax"] * Rotation.from_euler("YXY", [50 * right, -60 * right, -30 * right], degrees=True)
        fore = upper * Rotation.from_euler("Z", elbow_deg[:, None], degrees=True)
        hip, shoulder = origin + pelvis.apply([0.0, 0.0, 0.1 * right]), axes["thorax"].apply([0.0, 0.0, 0.18 * right])
        shoulder = centres["neck"] + shoulder
        knee, elbow = hip + thigh.apply([0.0, -0.42, 0.0]), shoulder + upper.apply([0.0, -0.3, 0.0])
        ankle, wrist = knee + shank.apply([0.0, -0.4, 0.0]), elbow + fore.apply([0.0, -0.26, 0.0])
        heel = ankle + foot.apply([-0.05, -0.07, 0.0])
        places = {"hip": hip, "knee": knee, "ankle": ankle, "heel": heel, "ball": heel + foot.apply([0.18, 0.0, 0.0])}
        places |= {"shoulder": shoulder, "elbow": elbow, "wrist": wrist, "hand": wrist + fore.apply([0.0, -0.08, 0.0])}
        centres |= {f"{side}_{name}": path for name, path in places.items()}
        limbs = {"thigh": thigh, "shank": shank, "foot": foot, "upper_arm": upper, "forearm": fore, "hand": fore}
        axes |= {f"{side}_{name}": turn for name, turn in limbs.items()}
    return centres, {name: np.broadcast_to(turn.as_matrix(), (frames, 3, 3)) for name, turn in axes.items()}


def off_deg(found: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Angle of the rotation between two sets of frames. [deg]"""
    return np.degrees(Rotation.from_matrix(np.swapaxes(true, 1, 2) @ found).magnitude())


def test_a_bent_body_is_recovered_from_joint_centres_alone() -> None:
    centres, true = posed(np.linspace(30, 120, FRAMES), np.linspace(140, 30, FRAMES), hip_rotation_deg=40.0)
    found = segment_frames(centres, head_forward=true["head"][:, :, 0])
    assert set(found) == {*MIDLINE, *(f"{side}_{name}" for side in "lr" for name in LIMBS)}
    for name, axes in found.items():
        assert off_deg(axes, true[name]).max() < 1e-5, name


def test_all_frames_are_right_handed_and_orthonormal_even_with_noise_and_straight_limbs() -> None:
    centres, true = posed(np.linspace(-6, 40, FRAMES), np.linspace(-8, 60, FRAMES))
    rng = np.random.default_rng(1)
    noisy = {name: path + rng.normal(0.0, 0.005, path.shape) for name, path in centres.items()}
    for name, axes in segment_frames(noisy, head_forward=true["head"][:, :, 0]).items():
        assert np.swapaxes(axes, 1, 2) @ axes == pytest.approx(np.broadcast_to(np.eye(3), axes.shape), abs=1e-12), name
        assert np.linalg.det(axes) == pytest.approx(1.0), name


@pytest.mark.parametrize("seed", range(4))
def test_a_limb_that_goes_through_straight_never_flips(seed: int) -> None:
    """Knee and elbow swing from bent through straight into a little hyperextension and back, with noise."""
    bend = 25.0 + 35.0 * np.cos(np.linspace(0.0, 4.0 * np.pi, FRAMES))
    assert bend.min() < -9.0
    centres, true = posed(bend, bend, hip_rotation_deg=30.0, seed=seed)
    rng = np.random.default_rng(seed)
    noisy = {name: path + rng.normal(0.0, 0.003, path.shape) for name, path in centres.items()}
    found = segment_frames(noisy)
    for side in "lr":
        for name in ("thigh", "shank"):
            assert off_deg(found[f"{side}_{name}"], true[f"{side}_{name}"]).max() < 12.0, name
        # The arm's reference is only a guess, yet the axis keeps to the right side and moves smoothly.
        z = found[f"{side}_upper_arm"][:, :, 2]
        assert np.degrees(angle_between(z[1:], z[:-1])).max() < 30.0
        assert np.degrees(angle_between(z, true[f"{side}_upper_arm"][:, :, 2])).max() < 90.0


def test_the_mixing_of_the_flexion_axis_is_continuous() -> None:
    bend = np.linspace(0.0, 40.0, 4001)
    centres, _ = posed(bend, bend, hip_rotation_deg=30.0)
    still = {name: path - centres["pelvis"] for name, path in centres.items()}
    pelvis = posed(bend, bend)[1]["pelvis"]
    found = segment_frames(still)
    for name in ("l_thigh", "r_shank", "l_upper_arm", "r_forearm"):
        local = np.swapaxes(pelvis, 1, 2) @ found[name]
        assert off_deg(local[1:], local[:-1]).max() < 0.2, name


def test_axes_seen_by_markers_are_taken() -> None:
    bend = np.linspace(-5, 60, FRAMES)
    centres, true = posed(bend, bend, hip_rotation_deg=50.0)
    turn = Rotation.from_euler("Y", 70, degrees=True).as_matrix()
    forearm = {side: true[f"{side}_forearm"] @ turn for side in "lr"}
    joints = {"knee": "thigh", "ankle": "shank", "elbow": "upper_arm"}
    lateral = {f"{s}_{joint}": true[f"{s}_{name}"][:, :, 2] for s in "lr" for joint, name in joints.items()}
    lateral |= {f"{s}_wrist": forearm[s][:, :, 2] for s in "lr"}
    given = {"pelvis": true["pelvis"] @ turn, "thorax": true["thorax"], "head": true["head"]}
    found = segment_frames(centres, lateral, given)
    assert found["pelvis"] is given["pelvis"]
    for side in "lr":
        for name in ("thigh", "shank", "upper_arm"):
            assert off_deg(found[f"{side}_{name}"], true[f"{side}_{name}"]).max() < 1e-5, name
        assert off_deg(found[f"{side}_forearm"], forearm[side]).max() < 1e-5
        assert off_deg(found[f"{side}_hand"], forearm[side]).max() < 1e-5


def test_an_ankle_beside_the_line_of_the_foot_rolls_it_only_where_nothing_else_shows_its_axis() -> None:
    bend = np.full(5, 40.0)
    centres, true = posed(bend, bend)
    aside = centres | {"r_ankle": centres["r_ankle"] + 0.02 * true["r_foot"][:, :, 2]}
    # The ankle stands 7 cm over the line from heel to ball.
    assert off_deg(segment_frames(aside)["r_foot"], true["r_foot"]) == pytest.approx(np.degrees(np.arctan2(0.02, 0.07)))
    shown = segment_frames(aside, {"r_ankle": true["r_shank"][:, :, 2]})
    assert off_deg(shown["r_foot"], true["r_foot"]).max() < 1e-5


def test_a_straight_leg_without_a_foot_takes_the_pelvis_axis() -> None:
    straight = np.zeros(20)
    centres, true = posed(straight, straight)
    for side in "lr":
        for name in ("heel", "ball"):
            del centres[f"{side}_{name}"]
    found = segment_frames(centres)
    assert np.isnan(found["l_foot"]).all()
    assert off_deg(found["r_thigh"], true["r_thigh"]).max() < 6.0  # 8 deg of abduction, 35 of flexion


def test_the_straight_arm_takes_the_thorax_axis_by_the_shortest_way() -> None:
    straight = np.zeros(3)
    centres, true = posed(straight, straight)
    z_of = {"down": [0.0, 0.0, 1.0], "forward": [0.0, 0.0, 1.0], "out": [0.0, 1.0, 0.0]}
    for name, arm in {"down": [0.0, -1.0, 0.0], "forward": [1.0, 0.0, 0.0], "out": [0.0, 0.0, 1.0]}.items():
        way = true["thorax"] @ np.array(arm)
        moved = centres | {"r_elbow": centres["r_shoulder"] + 0.3 * way, "r_wrist": centres["r_shoulder"] + 0.56 * way}
        z = segment_frames(moved)["r_upper_arm"][:, :, 2]
        assert z == pytest.approx(true["thorax"] @ np.array(z_of[name]), abs=1e-9), name
    up = true["thorax"] @ np.array([0.0, 1.0, 0.0])
    raised = centres | {"r_elbow": centres["r_shoulder"] + 0.3 * up, "r_wrist": centres["r_shoulder"] + 0.56 * up}
    assert np.isfinite(segment_frames(raised)["r_upper_arm"]).all()


def test_missing_points_leave_only_their_segments_without_a_frame() -> None:
    bend = np.full(10, 60.0)
    centres, true = posed(bend, bend)
    centres["l_wrist"] = centres["l_wrist"].copy()
    centres["l_wrist"][4] = np.nan
    del centres["r_ball"]
    found = segment_frames(centres, head_forward=true["head"][:, :, 0])
    gone = {name: np.isnan(axes).any(axis=(1, 2)) for name, axes in found.items()}
    for name in ("l_forearm", "l_upper_arm", "l_hand"):
        assert gone[name].tolist() == [frame == 4 for frame in range(10)], name
    assert gone["r_foot"].all()
    others = set(found) - {"l_forearm", "l_upper_arm", "l_hand", "r_foot"}
    assert not any(gone[name].any() for name in others)
    assert np.isnan(segment_frames(centres)["head"]).all()


def test_sides_may_be_front_and_back() -> None:
    bend = np.linspace(20, 80, 10)
    centres, true = posed(bend, bend)
    sides = {"l_": "front_", "r_": "back_"}
    renamed = {sides.get(n[:2], n[:2]) + n[2:]: path for n, path in centres.items()}
    found = segment_frames(renamed, sides=("front", "back"))
    plain = segment_frames(centres)
    for ours, theirs in (("front_thigh", "l_thigh"), ("back_forearm", "r_forearm"), ("pelvis", "pelvis")):
        assert found[ours] == pytest.approx(plain[theirs])
    assert off_deg(found["pelvis"], true["pelvis"]).max() < 1e-5


@pytest.mark.parametrize("order", ["xy", "xz", "yx", "yz", "zx", "zy"])
def test_axes_from_two_directions(order: str) -> None:
    rng = np.random.default_rng(2)
    first, toward = rng.normal(size=(2, 30, 3))
    axes = axes_from(first, toward, order)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    main, minor = axes[:, :, "xyz".index(order[0])], axes[:, :, "xyz".index(order[1])]
    assert angle_between(main, first) == pytest.approx(0.0, abs=1e-7)
    assert (np.sum(minor * toward, axis=1) > 0).all()
    assert np.isnan(axes_from(np.zeros_like(first), toward, order)).all()
