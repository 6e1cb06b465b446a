"""How strongly each path of a swing is smoothed, and the segments' axes smoothed like their points."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.cutoff import chosen_cutoffs
from mocap.kinematics.filtering import lowpass
from mocap.kinematics.geometry import across, unit

#: The point at the far end of each segment, without a side: a segment is smoothed as that point is.
FAR_END = {
    "pelvis": "pelvis",
    "thorax": "neck",
    "head": "head",
    "clavicle": "shoulder",
    "upper_arm": "elbow",
    "forearm": "wrist",
    "hand": "hand",
    "thigh": "knee",
    "shank": "ankle",
    "foot": "ball",
    "toes": "toe",
}


def cutoffs_of(paths: Mapping[str, FloatArray], rate_hz: float, given_hz: float | None) -> dict[str, float]:
    """Cut-off of the low-pass for each point by name: the given one, or chosen by residual analysis. [Hz]"""
    if given_hz is not None:
        return dict.fromkeys(paths, given_hz)
    chosen = chosen_cutoffs(np.stack(list(paths.values()), axis=1), list(paths), rate_hz)
    return {name: float(cutoff) for name, cutoff in zip(paths, chosen, strict=True)}


def smooth_frames(
    frames: Mapping[str, FloatArray], rate_hz: float, cutoffs_hz: Mapping[str, float]
) -> dict[str, FloatArray]:
    """Axes of segments, low-passed like the points at their far ends.

    Parameters
    ----------
    frames : mapping of str to ndarray, shape (F, 3, 3)
        World from segment.
    rate_hz : float
        [Hz]
    cutoffs_hz : mapping of str to float
        By the point's name. [Hz]

    Returns
    -------
    dict of str to ndarray, shape (F, 3, 3)

    Notes
    -----
    The axes are filtered as paths on the unit sphere and made square again, the long axis (y) first.
    """
    smooth = {}
    for name, rotation in frames.items():
        side = next((s for s in ("front_", "back_") if name.startswith(s)), "")
        end = FAR_END[name.removeprefix(side)]
        cutoff = cutoffs_hz[end if end in ("pelvis", "neck", "head") else side + end]
        filtered = lowpass(rotation, rate_hz, cutoff)
        y = unit(filtered[..., 1])
        z = unit(across(filtered[..., 2], y))
        smooth[name] = np.stack([np.cross(y, z), y, z], axis=-1)
    return smooth
