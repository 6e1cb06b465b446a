"""Completing a set of points that already are joint centres: head, hands and feet that were not among them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.foot_points import complete_foot
from mocap.kinematics.geometry import unit
from mocap.kinematics.limb_centres import HAND_PER_FOREARM
from mocap.kinematics.stature import height_from_segments

#: Head centre to vertex, and base of the skull to head centre, shares of standing height: half of the head's height
#: of .130 (Drillis & Contini 1966). This project's default.
VERTEX_ABOVE_HEAD, HEAD_ABOVE_SKULL_BASE = 0.07, 0.065
#: Joint centres that may be among the points.
LIMB_JOINTS = ("hip", "knee", "ankle", "heel", "ball", "toe", "shoulder", "elbow", "wrist", "hand")


def body_from_centres(found: Mapping[str, FloatArray], up: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
    """Joint centres and the direction of the face from the points that were given.

    Parameters
    ----------
    found : mapping of str to ndarray, shape (F, 3)
        By canonical name; hips must be there. [m]
    up : ndarray, shape (3,)
        The lab's vertical.

    Returns
    -------
    (centres, head_forward)
        Name to shape (F, 3) [m]; unit direction, shape (F, 3), NaN where neither nose nor eyes show it.
    """
    named = {f"{side}_{joint}" for side in "lr" for joint in LIMB_JOINTS} | {"head", "head_top"}
    centres = {name: path for name, path in found.items() if name in named}
    nan = np.full_like(found["l_hip"], np.nan)
    legs = {f"{side}_{joint}" for side in "lr" for joint in ("knee", "ankle")}
    height = height_from_segments(centres)[0] if legs <= set(centres) else float("nan")
    neck = (centres.get("l_shoulder", nan) + centres.get("r_shoulder", nan)) / 2
    _complete_head(centres, found, neck, height)
    for side in "lr":
        wrist, elbow = centres.get(f"{side}_wrist", nan), centres.get(f"{side}_elbow", nan)
        centres.setdefault(f"{side}_hand", wrist + HAND_PER_FOREARM * (wrist - elbow))
        if f"{side}_ankle" in centres:
            complete_foot(centres, side, up, height)
    return centres, _face(found, centres.get("head", nan))


def _complete_head(
    centres: dict[str, FloatArray], found: Mapping[str, FloatArray], neck: FloatArray, height_m: float
) -> None:
    """Head centre between the ears, or over the base of the skull; vertex above it along the neck."""
    if "head" not in centres:
        if {"l_ear", "r_ear"} <= set(found):
            centres["head"] = (found["l_ear"] + found["r_ear"]) / 2
        elif "skull_base" in found and "head_top" in centres:
            centres["head"] = (found["skull_base"] + centres["head_top"]) / 2
        elif "skull_base" in found:
            base = found["skull_base"]
            centres["head"] = base + HEAD_ABOVE_SKULL_BASE * height_m * unit(base - neck)
        else:
            return
    if "head_top" not in centres:
        centres["head_top"] = centres["head"] + VERTEX_ABOVE_HEAD * height_m * unit(centres["head"] - neck)


def _face(found: Mapping[str, FloatArray], head: FloatArray) -> FloatArray:
    """Where the face points: from between the ears to between the eyes (the level of both), else to the nose."""
    eyes = {"l_eye", "r_eye"} <= set(found)
    if eyes and ({"l_ear", "r_ear"} <= set(found) or "nose" not in found):
        return unit((found["l_eye"] + found["r_eye"]) / 2 - head)
    return unit(found["nose"] - head) if "nose" in found else np.full_like(head, np.nan)
