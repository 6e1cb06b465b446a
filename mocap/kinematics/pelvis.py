"""The pelvis from its markers: axes, size, and whether it is seen often enough."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.geometry import unit

#: Share of the frames with a body in which the pelvis must be seen, and below which it is noted. This project's
#: defaults: under half, a swing has more guessed than measured turn.
LEAST_SEEN, WELL_SEEN = 0.5, 0.9


@dataclass(frozen=True)
class Pelvis:
    """The pelvis as its markers show it.

    Attributes
    ----------
    axes : ndarray, shape (F, 3, 3)
        World from pelvis, columns x (forward), y (up), z (right).
    origin : ndarray, shape (F, 3)
        Midway between the two ASIS markers. [m]
    back : ndarray, shape (F, 3)
        Midway between the two PSIS markers, or the sacrum marker. [m]
    width_m, depth_m : float
        Between the ASIS markers, and from their middle to `back`, medians. [m]
    """

    axes: FloatArray
    origin: FloatArray
    back: FloatArray
    width_m: float
    depth_m: float


def pelvis_from(marker: Mapping[str, FloatArray], source: str) -> Pelvis:
    """The pelvis from ASIS and PSIS or sacrum markers; all of one kind must be there.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        By canonical name. [m]
    source : str
        Name of the recording.

    Raises
    ------
    InputError
        The markers are never seen all at once.
    """
    left, right = marker["l_asis"], marker["r_asis"]
    back = (marker["l_psis"] + marker["r_psis"]) / 2 if {"l_psis", "r_psis"} <= set(marker) else marker["sacrum"]
    origin = (left + right) / 2
    axes = pelvis_axes(left, right, back)
    whole = np.isfinite(axes[:, 0, 0])
    if not whole.any():
        raise InputError(f"{source}: the pelvis cannot be placed: its markers are never seen all at once")
    width, depth = (float(np.median(np.linalg.norm(span[whole], axis=1))) for span in (right - left, origin - back))
    return Pelvis(axes, origin, back, width, depth)


def pelvis_axes(left_asis: FloatArray, right_asis: FloatArray, mid_psis: FloatArray) -> FloatArray:
    """Pelvis axes after the ISB: z to the right through the ASIS, x forward in the ASIS-PSIS plane, y up.

    Parameters
    ----------
    left_asis, right_asis, mid_psis : ndarray, shape (..., 3)
        [m]

    Returns
    -------
    ndarray, shape (..., 3, 3)
        World from pelvis, columns x, y, z.

    References
    ----------
    Wu G et al. (2002) J Biomech 35:543-548.
    """
    z = unit(right_asis - left_asis)
    forward = (left_asis + right_asis) / 2 - mid_psis
    y = unit(np.cross(z, forward))
    return np.stack([np.cross(y, z), y, z], axis=-1)


def check_pelvis_seen(hips: FloatArray, others: Mapping[str, FloatArray], source: str) -> list[str]:
    """Refuse a pelvis that is seen in under half of the frames, note one that is often lost.

    Parameters
    ----------
    hips : ndarray, shape (F, 3)
        Midway between the hip centres, NaN where they cannot be placed. [m]
    others : mapping of str to ndarray, shape (F, 3)
        Points of the body; frames in which none of them is seen do not count. [m]
    source : str
        Name of the recording.

    Returns
    -------
    list of str
        Notes.

    Raises
    ------
    InputError
        Seen in under half of the frames.
    """
    present = np.logical_or.reduce([np.isfinite(path[:, 0]) for path in others.values()])
    seen = np.isfinite(hips).all(axis=1) & present
    share = float(seen.sum() / max(present.sum(), 1))
    where = f"the pelvis is seen in {100 * share:.0f} % of the frames"
    if share < LEAST_SEEN:
        raise InputError(
            f"{source}: {where} ({int(seen.sum())} of {int(present.sum())}): hips, turn and centre of mass cannot be"
            " followed; fill its markers' gaps, or record again with the pelvis in view"
        )
    return [f"{where}: where it is not, hips, legs and centre of mass are missing"] if share < WELL_SEEN else []
