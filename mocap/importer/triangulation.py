"""Points from several cameras: linear start, maximum-likelihood refinement, covariance, all points at once.

A camera that sees a point at pixel m with covariance s^2 I bounds it by (m - project(X)) / s. The place X that makes
the sum of squares over all cameras least is the maximum-likelihood one, and the inverse of its normal matrix the
Cramer-Rao bound, which it reaches for small noise (R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed.,
sections 12.2 to 12.5 and appendix 6; R. Hartley, P. Sturm (1997), Comput. Vis. Image Underst. 68:146-157).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import Camera

#: Points worked on at a time: their arrays stay in the processor's cache.
CHUNK = 4096
#: Newton's steps end when no point moves farther than this. [m]
STILL_M = 1e-8
MOST_STEPS = 12

#: The six different entries of a symmetric 3 x 3 matrix, in the order in which they are kept.
_ENTRIES = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


@dataclass(frozen=True)
class Located:
    """Where points are, and how surely.

    Attributes
    ----------
    points : ndarray, shape (..., 3)
        World axes; NaN where fewer than two cameras saw one, or from one line of sight. [m]
    covariance : ndarray, shape (..., 3, 3)
        From the pixels' noise alone; what errors of the calibration add is in `calibration_error`. [m^2]
    residuals : ndarray, shape (C, ..., 2)
        Seen minus projected, per camera; NaN where it was not used. [px]
    misfit : ndarray, shape (...)
        Sum of the squared residuals over their variances: chi-squared with `freedom` degrees of freedom where the
        stated noise is right. [-]
    freedom : ndarray of int, shape (...)
        Two per camera used, less three.
    """

    points: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    misfit: FloatArray
    freedom: npt.NDArray[np.int64]


def triangulate(cameras: Sequence[Camera], pixels: npt.ArrayLike, sd_px: npt.ArrayLike) -> Located:
    """Most likely places of points from what cameras saw.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    pixels : array-like, shape (C, ..., 2)
        As each camera's picture shows them, distorted; NaN where it does not. [px]
    sd_px : array-like, shape (C, ...)
        Standard deviation per axis of each. [px]

    Returns
    -------
    Located
    """
    seen = np.asarray(pixels, dtype=np.float64)
    shape = seen.shape[1:-1]
    flat = seen.reshape(len(cameras), -1, 2)
    weights = _weights(flat, np.broadcast_to(np.asarray(sd_px, dtype=np.float64), seen.shape[:-1]))
    rays = np.stack([camera.normalise(own) for camera, own in zip(cameras, flat, strict=True)])
    weights = np.where(np.isfinite(rays).all(axis=-1), weights, 0.0)
    start = intersect(cameras, rays, weights)
    n = flat.shape[1]
    points, entries = np.full((n, 3), np.nan), np.full((6, n), np.nan)
    for first in range(0, n, CHUNK):
        now = slice(first, first + CHUNK)
        points[now], entries[:, now] = _refined(cameras, flat[:, now], weights[:, now], start[now])
    used = (weights > 0.0) & np.isfinite(points[:, 0])
    residuals = np.stack([own - camera.project(points) for camera, own in zip(cameras, flat, strict=True)])
    residuals = np.where(used[..., None], residuals, np.nan)
    misfit = np.nansum(residuals**2 * weights[..., None] ** 2, axis=(0, 2))
    return Located(
        points.reshape(*shape, 3),
        _symmetric(_inverse(entries)).reshape(*shape, 3, 3),
        residuals.reshape(seen.shape),
        np.where(np.isfinite(points[:, 0]), misfit, np.nan).reshape(shape),
        np.maximum(2 * used.sum(axis=0) - 3, 0).reshape(shape),
    )


def intersect(cameras: Sequence[Camera], rays: FloatArray, weights: FloatArray) -> FloatArray:
    """Places nearest to the cameras' rays, by linear least squares: a start for `triangulate`.

    Each ray (a, b) of a camera with axes r1, r2, r3 and translation t gives two linear equations in the place X,
    (r1 - a r3) X = a t3 - t1 and (r2 - b r3) X = b t3 - t2, solved in metres; the homogeneous solution would depend on
    where the world's origin lies.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    rays : ndarray, shape (C, N, 2)
        As `Camera.normalise` gives them.
    weights : ndarray, shape (C, N)
        Zero where the camera did not see the point.

    Returns
    -------
    ndarray, shape (N, 3)
        NaN where the rays do not meet in one place. [m]
    """
    n = rays.shape[1]
    points = np.empty((n, 3))
    for first in range(0, n, CHUNK):
        now = slice(first, first + CHUNK)
        size = rays[:, now].shape[1]
        matrix, vector = np.zeros((6, size)), np.zeros((3, size))
        for camera, own, weight in zip(cameras, rays[:, now], weights[:, now], strict=True):
            (r1, r2, r3), (t1, t2, t3) = camera.rotation, camera.translation
            square = (weight * camera.matrix[0, 0]) ** 2
            for ray, row, shift in ((own[:, 0], r1, t1), (own[:, 1], r2, t2)):
                ray = np.where(square > 0.0, ray, 0.0)
                line = [row[k] - ray * r3[k] for k in range(3)]
                _add(matrix, vector, line, ray * t3 - shift, square)
        points[now] = _solved(matrix, vector).T
    return points


def _weights(flat: FloatArray, sd_px: FloatArray) -> FloatArray:
    """One over the standard deviation; zero where there is nothing, or where one camera alone saw the point."""
    sd = sd_px.reshape(len(flat), -1)
    there = np.isfinite(flat).all(axis=-1) & (sd > 0.0) & np.isfinite(sd)
    there &= there.sum(axis=0) >= 2
    return np.where(there, 1.0 / np.where(there, sd, 1.0), 0.0)


def _refined(
    cameras: Sequence[Camera], pixels: FloatArray, weights: FloatArray, start: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Gauss-Newton steps from a start; places (N, 3) and the normal matrix's six entries there (6, N)."""
    points = start.T.copy()
    for _ in range(MOST_STEPS):
        matrix, vector = normal_equations(cameras, pixels, weights, points)
        step = _solved(matrix, vector)
        points += step
        if not (np.abs(step) > STILL_M).any():
            break
    matrix, _ = normal_equations(cameras, pixels, weights, points)
    return points.T, np.where(np.isfinite(points[0]), matrix, np.nan)


def normal_equations(
    cameras: Sequence[Camera], pixels: FloatArray, weights: FloatArray, points: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Normal matrix (6, N) and right side (3, N) of the linearised least squares at places (3, N)."""
    size = points.shape[1]
    matrix, vector = np.zeros((6, size)), np.zeros((3, size))
    for camera, own, weight in zip(cameras, pixels, weights, strict=True):
        square = weight * weight
        residual, gradients = projected(camera, own, points)
        for axis in range(2):
            off = np.where(square > 0.0, residual[axis], 0.0)
            _add(matrix, vector, gradients[axis], off, square)
    return matrix, vector


def projected(
    camera: Camera, pixels: FloatArray, points: FloatArray
) -> tuple[tuple[FloatArray, FloatArray], tuple[list[FloatArray], list[FloatArray]]]:
    """What a camera saw (N, 2) less what it should see of places (3, N), and how that moves with them.

    Returns
    -------
    residual : two ndarrays, shape (N,)
        Along u and v. [px]
    gradients : two lists of three ndarrays, shape (N,)
        Of u and of v, along x, y and z. [px/m]
    """
    rotation, translation = camera.rotation, camera.translation
    x, y, z = (row @ points + shift for row, shift in zip(rotation, translation, strict=True))
    z = np.where(z > 0.0, z, np.nan)
    a, b = x / z, y / z
    (fx, skew, cx), (_, fy, cy) = camera.matrix[0], camera.matrix[1]
    bent_a, bent_b = a, b
    aa, ab, bb = np.ones_like(a), np.zeros_like(a), np.ones_like(a)
    if camera.distortion.any():
        ideal = np.stack([a, b], axis=-1)
        aa, ab, bb = camera.bending(ideal)
        bent_a, bent_b = np.moveaxis(camera.distort(ideal), -1, 0)
    residual = (pixels[:, 0] - (fx * bent_a + skew * bent_b + cx), pixels[:, 1] - (fy * bent_b + cy))
    # u moves with the ideal ray by (fx aa + skew ab, fx ab + skew bb), v by (fy ab, fy bb).
    ua, ub, va, vb = (fx * aa + skew * ab) / z, (fx * ab + skew * bb) / z, fy * ab / z, fy * bb / z
    toward = [(rotation[0, k] - a * rotation[2, k], rotation[1, k] - b * rotation[2, k]) for k in range(3)]
    along_u = [ua * da + ub * db for da, db in toward]
    along_v = [va * da + vb * db for da, db in toward]
    return residual, (along_u, along_v)


def _add(
    matrix: FloatArray, vector: FloatArray, line: Sequence[FloatArray], right: FloatArray, square: FloatArray
) -> None:
    """Add one weighted equation per point to normal equations in place; what weighs nothing adds nothing."""
    weighted = [square * part for part in line]
    for place, (i, j) in enumerate(_ENTRIES):
        matrix[place] += np.where(square > 0.0, weighted[i] * line[j], 0.0)
    for k in range(3):
        vector[k] += np.where(square > 0.0, weighted[k] * right, 0.0)


def _cofactors(entries: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Adjugate (6, N) and determinant (N,) of symmetric matrices; NaN where one cannot be inverted."""
    xx, xy, xz, yy, yz, zz = entries
    adjugate = np.stack(
        [
            yy * zz - yz * yz,
            xz * yz - xy * zz,
            xy * yz - xz * yy,
            xx * zz - xz * xz,
            xy * xz - xx * yz,
            xx * yy - xy * xy,
        ]
    )
    determinant = xx * adjugate[0] + xy * adjugate[1] + xz * adjugate[2]
    scale = (xx + yy + zz) ** 3
    return adjugate, np.where(determinant > 1e-12 * scale, determinant, np.nan)


def _solved(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Solutions (3, N) of symmetric systems (6, N), (3, N)."""
    (xx, xy, xz, yy, yz, zz), determinant = _cofactors(matrix)
    x, y, z = vector
    return np.stack([xx * x + xy * y + xz * z, xy * x + yy * y + yz * z, xz * x + yz * y + zz * z]) / determinant


def _inverse(entries: FloatArray) -> FloatArray:
    adjugate, determinant = _cofactors(entries)
    return adjugate / determinant


def _symmetric(entries: FloatArray) -> FloatArray:
    """Whole matrices (N, 3, 3) of six entries (6, N)."""
    xx, xy, xz, yy, yz, zz = entries
    return np.stack([xx, xy, xz, xy, yy, yz, xz, yz, zz], axis=-1).reshape(-1, 3, 3)
