"""The rigid motion that carries a cluster of points from a reference onto each frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray

#: Points whose spread across their longest direction is below this share of the spread along it count as lying on a
#: line: noise of 1 mm over 10 cm would turn the cluster about that line by half a radian. This project's default.
LINE = 0.02


@dataclass(frozen=True)
class RigidFit:
    """Pose of a rigid cluster in each frame: point = rotation @ reference + translation.

    Attributes
    ----------
    rotation : ndarray, shape (F, 3, 3)
        World from reference, determinant +1. NaN where fewer than three points are seen or they lie on a line. [-]
    translation : ndarray, shape (F, 3)
        [m]
    residual_m : ndarray, shape (F,)
        Root mean square distance of the seen points from their fitted places, weighted as the fit. [m]
    seen : ndarray of int, shape (F,)
        Points that took part.
    """

    rotation: FloatArray
    translation: FloatArray
    residual_m: FloatArray
    seen: np.ndarray[tuple[int], np.dtype[np.int64]]

    def place(self, local: FloatArray) -> FloatArray:
        """Carry reference points of shape (3,) or (P, 3) into the world, shape (F, 3) or (F, P, 3). [m]"""
        local = np.asarray(local, dtype=np.float64)
        if local.ndim == 1:
            return self.rotation @ local + self.translation
        return local @ np.swapaxes(self.rotation, -1, -2) + self.translation[:, None, :]


def fit_rigid(reference: FloatArray, points: FloatArray, weights: FloatArray | None = None) -> RigidFit:
    """Least-squares rotation and translation from a reference cluster to each frame.

    Parameters
    ----------
    reference : array-like, shape (P, 3)
        Points in the body; a point with NaN takes no part. [m]
    points : array-like, shape (F, P, 3)
        The same points as seen, missing ones NaN; each frame is fitted by those that it has. [m]
    weights : array-like, shape (P,), optional
        How much each point counts, e.g. the inverse of its variance; all alike where not given.

    Returns
    -------
    RigidFit

    Raises
    ------
    ValueError
        The shapes do not belong together, or a weight is negative or not finite.

    Notes
    -----
    Minimises sum_i w_i |R a_i + d - b_i|^2. With the dispersion C = sum_i w_i (b_i - b)(a_i - a)' about the weighted
    means a, b and its decomposition C = U S V', the rotation is R = U diag(1, 1, det(U V')) V' and d = b - R a. The
    third factor keeps a cluster in one plane, or a noisy one, from being reflected.

    The singular values of C are the squared spreads of the cluster along its principal directions; where the square
    root of the second is below `LINE` of the first, the turn about the line is not determined and the frame is NaN.

    References
    ----------
    Soderkvist I, Wedin PA (1993) J Biomech 26:1473-1477.
    """
    reference, points = np.asarray(reference, dtype=np.float64), np.asarray(points, dtype=np.float64)
    if reference.ndim != 2 or reference.shape[1] != 3 or points.ndim != 3 or points.shape[1:] != reference.shape:
        raise ValueError(f"reference must be (P, 3) and points (F, P, 3), got {reference.shape} and {points.shape}")
    weights = np.ones(len(reference)) if weights is None else np.asarray(weights, dtype=np.float64)
    if weights.shape != (len(reference),) or not (np.isfinite(weights) & (weights >= 0)).all():
        raise ValueError(f"weights must be {len(reference)} finite numbers of at least 0")
    usable = np.isfinite(points).all(axis=2) & (np.isfinite(reference).all(axis=1) & (weights > 0))
    seen = usable.sum(axis=1)
    weight = usable * (weights / max(weights.max(initial=0.0), np.finfo(float).tiny))
    total = np.where(seen > 0, weight.sum(axis=1), np.nan)
    a, b = np.where(np.isfinite(reference), reference, 0.0), np.where(usable[:, :, None], points, 0.0)
    mean_a, mean_b = weight @ a / total[:, None], (weight[:, None, :] @ b)[:, 0] / total[:, None]
    da, db = a - mean_a[:, None, :], b - mean_b[:, None, :]
    weighted = np.where(usable[:, :, None], weight[:, :, None] * db, 0.0)
    dispersion = np.swapaxes(weighted, 1, 2) @ np.where(usable[:, :, None], da, 0.0)
    u, spread, vt = np.linalg.svd(dispersion)
    # det(U V') is +-1, and the third column of U carries it.
    u[:, :, 2] *= np.sign(np.linalg.det(u @ vt))[:, None]
    rotation = u @ vt
    rotation[(seen < 3) | (spread[:, 1] <= LINE**2 * spread[:, 0])] = np.nan
    translation = mean_b - (rotation @ mean_a[:, :, None])[:, :, 0]
    misfit = db - da @ np.swapaxes(rotation, 1, 2)
    squares = np.sum(np.where(usable, weight * np.sum(misfit**2, axis=2), 0.0), axis=1)
    residual = np.where(np.isfinite(translation[:, 0]), np.sqrt(squares / total), np.nan)
    return RigidFit(rotation, translation, residual, seen)
