"""Bone by bone: how the rest figure's trunk, head, limbs and bat are carried to the joint centres of a frame."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.renderer.rig import (
    FLEX,
    NECK_LEAN,
    NECK_TURN,
    SIDES,
    SPINE_STEPS,
    Motion,
    Proportions,
    columns,
    complete,
    part_way,
    ramp,
    rest_points,
    turn_between,
)

Points = dict[str, FloatArray]
UP = np.array([0.0, 0.0, 1.0])


def bone_motions(points: FloatArray, head_forward: FloatArray | None, size: Proportions) -> FloatArray:
    """Motion of every bone of `BONES` from the rest figure to each frame.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        In the order of `mocap.swing.POINTS`. [m]
    head_forward : ndarray, shape (F, 3), or None
        Direction of the face; NaN or None: turned from the chest toward the pitcher as far as a neck can.
    size : Proportions

    Returns
    -------
    ndarray, shape (F, B, 3, 4)
        NaN for bones whose joints are missing in that frame.
    """
    return move_bones(points, head_forward, size).matrix


def move_bones(points: FloatArray, head_forward: FloatArray | None, size: Proportions) -> Motion:
    """The same as `bone_motions`, with what each bone is fixed by and stretched along."""
    now, rest = complete(points, size.height), rest_points(size)
    motion = Motion(len(points))
    pelvis, chest = _trunk(motion, now, rest, size)
    _head(motion, now, rest, chest, head_forward)
    for i, side in enumerate(SIDES):
        for joint in (
            "ball",
            "toe",
        ):  # points of a shod foot's top, or noise, can lie below where the sole lets them be
            place = now[f"{side}_{joint}"]
            place[:, 2] = np.maximum(place[:, 2], size.ball_height[i])
        shank_turn = _leg(motion, now, rest, side, pelvis)
        _foot(motion, now, rest, side, shank_turn)
        _arm(motion, now, rest, side, chest)
    _bat(motion, now, size)
    return motion


def _trunk(motion: Motion, now: Points, rest: Points, size: Proportions) -> tuple[FloatArray, FloatArray]:
    """Spine bones: twist from the hip line to the shoulder line, and a curve that leaves both at right angles."""
    line = now["neck"] - now["pelvis"]
    along = unit(line)

    def frame(right: FloatArray, up: FloatArray) -> FloatArray:
        x = unit(right)
        z = unit(across(up, x))
        return columns(x, np.cross(z, x), z)

    # Hip centres do not show the pelvis' tilt: it takes about half of the trunk's lean.
    pelvis = frame(now["back_hip"] - now["front_hip"], along + 0.8 * UP)
    chest = frame(now["back_shoulder"] - now["front_shoulder"], along)
    length = np.linalg.norm(line, axis=-1, keepdims=True)
    stretch = np.clip(length[:, 0] / size.trunk, 0.75, 1.3)
    for k in range(SPINE_STEPS):
        t = k / (SPINE_STEPS - 1)
        # Cubic Hermite curve; end slopes are the pelvis' and the chest's own up.
        curve = (
            (2 * t**3 - 3 * t**2 + 1) * now["pelvis"]
            + (t**3 - 2 * t**2 + t) * length * pelvis[..., 2]
            + (3 * t**2 - 2 * t**3) * now["neck"]
            + (t**3 - t**2) * length * chest[..., 2]
        )
        start = t * rest["neck"][0]
        motion.add(f"spine{k}", part_way(pelvis, chest, t), start, curve, UP, stretch)
    return pelvis, chest


def _head(motion: Motion, now: Points, rest: Points, chest: FloatArray, head_forward: FloatArray | None) -> None:
    up = unit(now["head_top"] - now["head"])
    forward = _face(up, chest, head_forward)
    y = unit(forward)
    z = unit(across(up, y))
    turn = columns(np.cross(y, z), y, z)
    gap, rest_gap = now["head"] - now["neck"], (rest["head"] - rest["neck"])[0]
    for k, bone in ((1, "neck1"), (2, "neck2")):
        at = k / 3
        motion.add(bone, part_way(chest, turn, at), rest["neck"][0] + at * rest_gap, now["neck"] + at * gap)
    motion.add("head", turn, rest["head"][0], now["head"])


def _face(up: FloatArray, chest: FloatArray, given: FloatArray | None) -> FloatArray:
    """Direction of the face: as given, else from the chest toward the pitcher within the neck's range."""
    ahead = unit(across(chest[..., 1], up))
    side = np.cross(up, ahead)
    pitcher = np.array([1.0, 0.0, 0.0])
    angle = np.clip(np.arctan2(side @ pitcher, ahead @ pitcher), -NECK_TURN, NECK_TURN)[:, None]
    face = np.cos(angle) * ahead + np.sin(angle) * side
    # The line from the shoulders through the skull leans forward when a person looks straight ahead.
    face = np.cos(NECK_LEAN) * face + np.sin(NECK_LEAN) * up
    if given is None:
        return np.asarray(face)
    return np.where(np.isfinite(given).all(axis=-1, keepdims=True), given, face)


def _limb(
    now: Points, rest: Points, names: tuple[str, str, str], parent: FloatArray, sign: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rotations of a two-bone limb from rest: upper bone without twist, upper bone with it, lower bone.

    `sign` is +1 where the lower bone folds behind the upper one (knee), -1 where it folds in front (elbow).
    """
    (a, b), (a0, b0) = ((unit(p[names[1]] - p[names[0]]), unit(p[names[2]] - p[names[1]])) for p in (now, rest))
    swing = turn_between(np.einsum("fij,j->fi", parent, a0[0]), a) @ parent
    hinge0 = unit(sign * np.cross(a0, b0))
    normal = sign * np.cross(a, b)
    bend = np.linalg.norm(normal, axis=-1, keepdims=True)
    carried = np.einsum("fij,j->fi", swing, hinge0[0])
    # A straight limb shows no hinge: the one carried along from the trunk takes over.
    hinge = unit(across(ramp(bend, 0.0, FLEX) * normal / np.maximum(bend, 1e-9) + 0.15 * carried, a))
    low_hinge = unit(across(hinge, b))
    upper0, lower0 = columns(hinge0, np.cross(a0, hinge0), a0), columns(hinge0, np.cross(b0, hinge0), b0)
    upper = columns(hinge, np.cross(a, hinge), a) @ np.swapaxes(upper0, -1, -2)
    lower = columns(low_hinge, np.cross(b, low_hinge), b) @ np.swapaxes(lower0, -1, -2)
    return swing, upper, lower


def _chain(
    motion: Motion,
    now: Points,
    rest: Points,
    joints: tuple[str, str, str],
    bones: tuple[str, str, str, str],
    turns: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
) -> None:
    """Bones of a limb: helpers at root and hinge, the upper bone in three steps of twist, the lower bone."""
    root, hinge, end = joints
    parent, swing, upper, lower = turns
    root_name, upper_name, hinge_name, lower_name = bones

    def stretch(start: str, stop: str) -> tuple[FloatArray, FloatArray]:
        rest_line = (rest[stop] - rest[start])[0]
        scale = np.linalg.norm(now[stop] - now[start], axis=-1) / np.linalg.norm(rest_line)
        return unit(rest_line), np.clip(scale, 0.7, 1.4)

    for k in (1, 2):
        motion.add(f"{root_name}{k}", part_way(parent, swing, k / 3), rest[root][0], now[root])
        motion.add(f"{hinge_name}{k}", part_way(upper, lower, k / 3), rest[hinge][0], now[hinge])
    axis, scale = stretch(root, hinge)
    for k in range(3):
        motion.add(f"{upper_name}{k}", part_way(swing, upper, k / 2), rest[root][0], now[root], axis, scale)
    axis, scale = stretch(hinge, end)
    motion.add(lower_name, lower, rest[hinge][0], now[hinge], axis, scale)


def _leg(motion: Motion, now: Points, rest: Points, side: str, pelvis: FloatArray) -> FloatArray:
    hip, knee, ankle = (f"{side}_{n}" for n in ("hip", "knee", "ankle"))
    swing, thigh, shank = _limb(now, rest, (hip, knee, ankle), pelvis, 1.0)
    bones = (f"{side}_hip", f"{side}_thigh", f"{side}_knee", f"{side}_shank")
    _chain(motion, now, rest, (hip, knee, ankle), bones, (pelvis, swing, thigh, shank))
    return shank


def _foot(motion: Motion, now: Points, rest: Points, side: str, shank: FloatArray) -> None:
    """Hind foot about the ankle, toes about the ball; the foot's sideways axis is level unless it stands on end."""
    ankle, ball, toe = (now[f"{side}_{n}"] for n in ("ankle", "ball", "toe"))
    ankle0, ball0, toe0 = (rest[f"{side}_{n}"][0] for n in ("ankle", "ball", "toe"))
    level = np.cross(toe - ankle, UP)
    # Rest feet point along y, their sideways axis is x; the shank carries it along when the foot stands on end.
    carried = shank[..., 0]
    weight = ramp(np.linalg.norm(level, axis=-1, keepdims=True), 0.0, 0.08)
    right = unit(weight * unit(np.nan_to_num(level) + 1e-6 * carried) + (1.0 - weight) * carried)

    def frame(line: FloatArray) -> FloatArray:
        y = unit(line)
        x = unit(across(right, y))
        return columns(x, y, np.cross(x, y))

    def turn(line: FloatArray, line0: FloatArray) -> FloatArray:
        y0 = unit(line0)
        x0 = np.array([1.0, 0.0, 0.0])
        return frame(line) @ columns(x0, y0, np.cross(x0, y0)).T

    hind, toes = turn(ball - ankle, ball0 - ankle0), turn(toe - ball, toe0 - ball0)
    motion.add(f"{side}_foot", hind, ankle0, ankle)
    motion.add(f"{side}_instep", part_way(hind, toes, 0.5), ball0, ball)
    motion.add(f"{side}_toes", toes, ball0, ball)


def _arm(motion: Motion, now: Points, rest: Points, side: str, chest: FloatArray) -> None:
    shoulder, elbow, wrist = (f"{side}_{n}" for n in ("shoulder", "elbow", "wrist"))
    motion.add(f"{side}_girdle", chest, rest[shoulder][0], now[shoulder])
    swing, upper, fore = _limb(now, rest, (shoulder, elbow, wrist), chest, -1.0)
    bones = (f"{side}_shoulder", f"{side}_upper", f"{side}_elbow", f"{side}_fore")
    _chain(motion, now, rest, (shoulder, elbow, wrist), bones, (chest, swing, upper, fore))
    _hand(motion, now, rest, side, fore)


def _hand(motion: Motion, now: Points, rest: Points, side: str, fore: FloatArray) -> None:
    """The fist: its own rest axes are x toward the thumb along the handle, z from wrist to grip, origin the grip.

    With a bat the grip is the point of the handle nearest to the hand; with none the line between two near hands is the
    handle, and where they are far apart the thumb points along the bent arm's plane.
    """
    wrist, hand = now[f"{side}_wrist"], now[f"{side}_hand"]
    between = now["back_hand"] - now["front_hand"]
    gap = np.linalg.norm(between, axis=-1, keepdims=True)
    near = np.nan_to_num(ramp(gap, 0.01, 0.05) * (1.0 - ramp(gap, 0.18, 0.30)))
    forearm0 = unit(rest[f"{side}_wrist"] - rest[f"{side}_elbow"])
    upper0 = rest[f"{side}_shoulder"] - rest[f"{side}_elbow"]
    thumb = np.einsum("fij,j->fi", fore, unit(across(upper0, forearm0))[0])
    handle = near * np.nan_to_num(unit(between)) + (1.0 - near) * thumb
    barrel = unit(now["bat_barrel"] - now["bat_knob"])
    off = hand - now["bat_knob"]
    on_bat = now["bat_knob"] + np.clip(np.sum(off * barrel, axis=-1, keepdims=True), 0.05, 0.40) * barrel
    holds = np.linalg.norm(hand - on_bat, axis=-1, keepdims=True) < 0.15
    grip = np.where(holds, on_bat, hand)
    x = unit(np.where(holds, barrel, handle))
    z = unit(grip - wrist)
    x = unit(across(x, z) + 1e-6 * thumb)
    turn = columns(x, np.cross(z, x), z)
    palm = np.linalg.norm(rest[f"{side}_hand"] - rest[f"{side}_wrist"])
    stretch = np.clip(np.linalg.norm(grip - wrist, axis=-1) / palm, 0.6, 1.8)
    motion.add(f"{side}_hand", turn, np.zeros(3), grip, UP, stretch)


def _bat(motion: Motion, now: Points, size: Proportions) -> None:
    """The bat: rest axis z from the knob's end at the origin."""
    line = now["bat_barrel"] - now["bat_knob"]
    z = unit(line)
    # Any sideways axis does for a solid of revolution; the world axis farthest from the bat is never parallel to it.
    helper = np.eye(3)[np.argmin(np.abs(np.nan_to_num(z)), axis=-1)]
    x = unit(np.cross(helper, z))
    stretch = np.linalg.norm(line, axis=-1) / size.bat
    motion.add("bat", columns(x, np.cross(z, x), z), np.zeros(3), now["bat_knob"], UP, stretch)
