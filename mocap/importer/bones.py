"""Bones of constant length, and the bat: which there are, and places that agree with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray

#: How much the distance between two joints, as found in pictures, wavers about the bone's length. Default. [m]
BONE_SD_M = 0.005
#: Gauss-Newton steps of the bones.
BONE_ROUNDS = 4
#: Bones of constant length between named points, without sides, and the bat.
LIMB_BONES = (("hip", "knee"), ("knee", "ankle"), ("shoulder", "elbow"), ("elbow", "wrist"))
BAT = ("bat_knob", "bat_barrel")
#: A length needs so many frames.
FEWEST_FRAMES = 5

BoolArray = npt.NDArray[np.bool_]


def bones_of(names: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """Places in `names` of the two ends of every bone whose ends are there, the bat among them."""
    pairs = [(f"{side}_{a}", f"{side}_{b}") for side in "lr" for a, b in LIMB_BONES]
    return tuple((names.index(a), names.index(b)) for a, b in [*pairs, BAT] if a in names and b in names)


def hold_bones(
    points: FloatArray, covariance: FloatArray, bones: Sequence[tuple[int, int]]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places that also agree with constant bone lengths, frame by frame.

    Parameters
    ----------
    points, covariance : ndarray, shape (F, P, 3), (F, P, 3, 3)
        [m], [m^2]
    bones : sequence of (int, int)

    Returns
    -------
    points, covariance : as given
    lengths : ndarray, shape (B,)
        [m]

    Notes
    -----
    With places x0 of covariance C, lengths z and their slopes H at x, each step goes to
    x0 + C H' (H C H' + S)^-1 (z - h(x) - H (x0 - x)): the iterated Kalman update, which is Gauss-Newton on the sum of
    squares (B. M. Bell, F. W. Cathey (1993), IEEE Trans. Autom. Control 38:294-297).
    """
    ends = np.array(bones)
    own, local = np.unique(ends, return_inverse=True)
    first, second = local.reshape(ends.shape).T
    start, spread = points[:, own], np.nan_to_num(covariance[:, own])
    known: BoolArray = np.asarray(np.isfinite(start).all(axis=2))
    held: BoolArray = known[:, first] & known[:, second]
    start = np.nan_to_num(start)
    lengths, variance = _lengths(start, spread, first, second, held)
    held &= np.isfinite(lengths)
    wanted, number = np.nan_to_num(lengths), np.arange(len(ends))
    now = start
    for _ in range(BONE_ROUNDS):
        apart = now[:, first] - now[:, second]
        length = np.linalg.norm(apart, axis=2)
        along = np.where(held[..., None], apart / np.maximum(length, 1e-9)[..., None], 0.0)
        slopes = np.zeros((len(now), len(ends), len(own), 3))
        slopes[:, number, first], slopes[:, number, second] = along, -along
        weighed = np.einsum("fpij,fbpj->fbpi", spread, slopes)
        total = np.einsum("fbpi,fcpi->fbc", slopes, weighed) + np.diag(np.nan_to_num(variance, nan=1.0))
        off = np.where(held, wanted - length, 0.0) - np.einsum("fbpi,fpi->fb", slopes, start - now)
        solved = np.linalg.solve(total, off[..., None])[..., 0]
        now = start + np.einsum("fbpi,fb->fpi", weighed, solved)
    less = np.einsum("fbpi,fbc,fcpj->fpij", weighed, np.linalg.inv(total), weighed, optimize=True)
    points, covariance = points.copy(), covariance.copy()
    points[:, own] = np.where(known[..., None], now, np.nan)
    covariance[:, own] = np.where(known[..., None, None], spread - less, np.nan)
    return points, covariance, lengths


def _lengths(
    start: FloatArray, spread: FloatArray, first: FloatArray, second: FloatArray, held: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Median length of each bone over the half of the frames that know it best, and the variance to hold it with."""
    apart = start[:, first] - start[:, second]
    length = np.linalg.norm(apart, axis=2)
    along = apart / np.maximum(length, 1e-9)[..., None]
    doubt = np.einsum("fbi,fbij,fbj->fb", along, spread[:, first] + spread[:, second], along)
    lengths, variance = np.full(len(first), np.nan), np.full(len(first), np.nan)
    for bone in np.flatnonzero(held.sum(axis=0) >= FEWEST_FRAMES):
        there = held[:, bone]
        good = there & (doubt[:, bone] <= np.median(doubt[there, bone]))
        lengths[bone] = np.median(length[good, bone])
        variance[bone] = BONE_SD_M**2
    return lengths, variance
