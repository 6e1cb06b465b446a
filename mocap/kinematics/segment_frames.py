"""Axes of every body segment after the ISB: x forward, y up along the bone, z to the subject's right.

The same axes serve both sides: z points to the subject's right, which is lateral on the right limb and medial on the
left one. Angles become anatomically equal in `joint_angles`, which mirrors the left side.

References
----------
Wu G et al. (2002) J Biomech 35:543-548 (pelvis, thigh, shank, foot); Wu G et al. (2005) J Biomech 38:981-992 (thorax,
upper arm, forearm, hand).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, angle_between, unit

#: Between these bends of a knee or an elbow the flexion axis passes over from the neighbouring segment's to the normal
#: of the limb's own plane: an error of 1 cm in the leg's centres turns that normal by some 20 deg at a bend of 10 deg,
#: by 6 deg at 30 deg. [rad] This project's default.
STRAIGHT, BENT = np.radians(10.0), np.radians(30.0)

_DOWN = np.array([0.0, -1.0, 0.0])


def segment_frames(
    centres: Mapping[str, FloatArray],
    lateral: Mapping[str, FloatArray] | None = None,
    axes: Mapping[str, FloatArray] | None = None,
    head_forward: FloatArray | None = None,
    *,
    sides: tuple[str, str] = ("l", "r"),
) -> dict[str, FloatArray]:
    """Orientation of every segment, from markers where they show it, else from the joint centres alone.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres by name as in `Body.centres`. [m]
    lateral : mapping of str to ndarray, shape (F, 3), optional
        Unit directions along the flexion axes to the subject's right, by joint: `l_knee`, `r_ankle`, `l_elbow`,
        `r_wrist` ... A joint that is given counts with its gaps.
    axes : mapping of str to ndarray, shape (F, 3, 3), optional
        World from segment by `pelvis`, `thorax`, `head`, where markers show them; taken over as they are.
    head_forward : ndarray, shape (F, 3), optional
        Unit direction of the face.
    sides : tuple of 2 str
        Prefixes of the left and the right side: ``("l", "r")`` in the lab frame, ``("front", "back")`` in the hitting
        frame, in which every hitter is right-handed.

    Returns
    -------
    dict of str to ndarray, shape (F, 3, 3)
        World from segment, columns x, y, z, right-handed: `pelvis`, `thorax`, `head`, and with a side's prefix
        `thigh`, `shank`, `foot`, `upper_arm`, `forearm`, `hand`. NaN where a point is missing that the segment needs.

    Notes
    -----
    From the joint centres alone:

    - pelvis: z along the line of the hips, y toward the middle of the shoulders. Turn and obliquity are those of the
      hips; the tilt is only that of the trunk's line. thorax: z along the line of the shoulders, y along pelvis-neck.
    - thigh, shank: y along the bone, z along the knee's flexion axis: the normal of the plane hip-knee-ankle beyond
      `BENT`, whose sign is known as a knee bends one way; below `STRAIGHT` the normal of the foot's direction and the
      shank, with which a straight leg turns up to the torsion of the shank, or the pelvis's z where no foot is seen; a
      smooth mixture in between.
    - foot: x from heel to ball, y toward the ankle. The ankle is so low over that line that 1 cm of error to the side
      rolls the foot by 10 deg: where markers show the ankle's axis, z lies along it instead, as gait laboratories have
      it, and the ankle's inversion is then zero by construction.
    - upper arm: y along the bone, z likewise normal to the plane shoulder-elbow-wrist; for a straight arm the thorax's
      z, carried along by the shortest rotation from the hanging arm to the arm as it is.
    - forearm: y along the bone, z along the wrist's axis; without it along the elbow's axis, as if the forearm were
      supinated: its roll is then not seen, and the pronation found from these axes is zero by construction.
    - hand: y along the bone, z as the forearm's.
    - head: x along the face, y toward the vertex.
    """
    points = _Points(centres, lateral or {})
    frames = _midline(points, axes or {}, head_forward, sides)
    for side in sides:
        frames |= _leg(points, side, frames["pelvis"])
        frames |= _arm(points, side, frames["thorax"])
    return frames


def _midline(
    points: _Points, given: Mapping[str, FloatArray], head_forward: FloatArray | None, sides: tuple[str, str]
) -> dict[str, FloatArray]:
    """Axes of pelvis, thorax and head: those that markers show, else from the joint centres."""
    return {
        "pelvis": given["pelvis"] if "pelvis" in given else _pelvis(points, sides),
        "thorax": given["thorax"] if "thorax" in given else _thorax(points, sides),
        "head": given["head"] if "head" in given else _head(points, head_forward),
    }


def axes_from(first: FloatArray, toward: FloatArray, order: str) -> FloatArray:
    """Right-handed axes from one exact direction and one that fixes the turn about it.

    Parameters
    ----------
    first : ndarray, shape (..., 3)
        Direction of the first axis of `order`.
    toward : ndarray, shape (..., 3)
        The second axis of `order` is its part perpendicular to `first`.
    order : str
        Two of ``xyz``, e.g. ``"yz"``.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        World from segment, columns x, y, z. NaN where the two directions are parallel or missing.
    """
    main = unit(first)
    minor = unit(across(toward, main))
    third = np.cross(main, minor) if order in ("xy", "yz", "zx") else np.cross(minor, main)
    (last,) = set("xyz") - set(order)
    column = {order[0]: main, order[1]: minor, last: third}
    return np.stack([column[name] for name in "xyz"], axis=-1)


class _Points:
    """Joint centres and axes by name; what is missing reads as NaN."""

    def __init__(self, centres: Mapping[str, FloatArray], lateral: Mapping[str, FloatArray]) -> None:
        self._centres, self._lateral = centres, lateral
        self._nan = np.full_like(next(iter(centres.values())), np.nan)

    def __getitem__(self, name: str) -> FloatArray:
        return self._centres.get(name, self._nan)

    def first(self, *names: str) -> FloatArray:
        """The first of the named points that was seen at all."""
        return next((self[name] for name in names if np.isfinite(self[name]).any()), self._nan)

    def lateral(self, joint: str) -> FloatArray | None:
        """Flexion axis of a joint as markers show it, None where they never do."""
        axis = self._lateral.get(joint)
        return axis if axis is not None and np.isfinite(axis).any() else None


def _pelvis(points: _Points, sides: tuple[str, str]) -> FloatArray:
    left, right = (points[f"{side}_hip"] for side in sides)
    return axes_from(right - left, _mid_shoulders(points, sides) - (left + right) / 2, "zy")


def _thorax(points: _Points, sides: tuple[str, str]) -> FloatArray:
    hips = (points[f"{sides[0]}_hip"] + points[f"{sides[1]}_hip"]) / 2
    across_shoulders = points[f"{sides[1]}_shoulder"] - points[f"{sides[0]}_shoulder"]
    return axes_from(across_shoulders, _mid_shoulders(points, sides) - hips, "zy")


def _mid_shoulders(points: _Points, sides: tuple[str, str]) -> FloatArray:
    return (points[f"{sides[0]}_shoulder"] + points[f"{sides[1]}_shoulder"]) / 2


def _head(points: _Points, forward: FloatArray | None) -> FloatArray:
    up = points.first("head_top", "head") - points["neck"]
    return axes_from(np.full_like(up, np.nan) if forward is None else forward, up, "xy")


def _leg(points: _Points, side: str, pelvis: FloatArray) -> dict[str, FloatArray]:
    hip, knee, ankle, heel = (points[f"{side}_{joint}"] for joint in ("hip", "knee", "ankle", "heel"))
    sole = points.first(f"{side}_ball", f"{side}_toe") - heel
    knee_axis, ankle_axis = points.lateral(f"{side}_knee"), points.lateral(f"{side}_ankle")
    if knee_axis is None:
        ahead = unit(np.cross(sole, knee - ankle))
        straight = np.where(np.isfinite(ahead), ahead, pelvis[..., 2])
        # Flexion carries the shank backward, so that shank x thigh points to the right.
        knee_axis = _flexion_axis(ankle - knee, knee - hip, straight)
    return {
        f"{side}_thigh": axes_from(hip - knee, knee_axis, "yz"),
        f"{side}_shank": axes_from(knee - ankle, knee_axis if ankle_axis is None else ankle_axis, "yz"),
        f"{side}_foot": axes_from(sole, ankle - heel, "xy")
        if ankle_axis is None
        else axes_from(sole, ankle_axis, "xz"),
    }


def _arm(points: _Points, side: str, thorax: FloatArray) -> dict[str, FloatArray]:
    shoulder, elbow, wrist, hand = (points[f"{side}_{joint}"] for joint in ("shoulder", "elbow", "wrist", "hand"))
    elbow_axis = points.lateral(f"{side}_elbow")
    if elbow_axis is None:
        straight = _carried_along(thorax, elbow - shoulder)
        # Flexion carries the forearm forward, so that upper arm x forearm points to the right.
        elbow_axis = _flexion_axis(elbow - shoulder, wrist - elbow, straight)
    upper_arm = axes_from(shoulder - elbow, elbow_axis, "yz")
    wrist_axis = points.lateral(f"{side}_wrist")
    forearm = axes_from(elbow - wrist, upper_arm[..., 2] if wrist_axis is None else wrist_axis, "yz")
    return {
        f"{side}_upper_arm": upper_arm,
        f"{side}_forearm": forearm,
        f"{side}_hand": axes_from(wrist - hand, forearm[..., 2], "yz"),
    }


def _flexion_axis(first: FloatArray, second: FloatArray, straight: FloatArray) -> FloatArray:
    """Axis of a hinge between two bones: first x second when bent, `straight` when not, mixed in between.

    The cross product has the hinge's sense by itself, as the joint bends one way only. The mixing share is the smooth
    step 3 s^2 - 2 s^3, so that neither the axis nor its rate jumps.
    """
    first, second = unit(first), unit(second)
    bend = angle_between(first, second)
    share = np.clip((bend - STRAIGHT) / (BENT - STRAIGHT), 0.0, 1.0)[..., None]
    share = share**2 * (3.0 - 2.0 * share)
    normal = np.where(share > 0, np.cross(first, second), 0.0)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), np.sin(STRAIGHT))
    # Beyond the mixing range the neighbour is not needed, and may be missing.
    neighbour = np.where(share < 1, unit(across(straight, first)), 0.0)
    axis: FloatArray = share * normal + (1.0 - share) * neighbour
    return axis


def _carried_along(thorax: FloatArray, arm: FloatArray) -> FloatArray:
    """The thorax's z after the shortest rotation that takes the hanging arm to the arm as it is.

    Rodrigues's formula for the rotation from unit vector a to b: v + (a x b) x v + (a x b) x ((a x b) x v)/(1 + a.b).
    """
    local = unit(np.squeeze(np.swapaxes(thorax, -1, -2) @ arm[..., None], axis=-1))
    # For the arm straight up every such rotation is as short; the limit taken keeps the axis finite there.
    turned = np.cross(_DOWN, local)
    z = np.array([0.0, 0.0, 1.0])
    first = np.cross(turned, z)
    carried = z + first + np.cross(turned, first) / np.maximum(1.0 + local @ _DOWN, 1e-9)[..., None]
    axis: FloatArray = np.squeeze(thorax @ carried[..., None], axis=-1)
    return axis
