"""What the errors of a calibration do to points in space: to the first order, the same in every frame.

A camera that stands a little elsewhere than its file says moves every place that it helps to find. The place X is where
the weighted residuals are least, so that a small change d of a camera's parameters moves it by

    -(sum over cameras A' W A)^-1 A' W B d

with A and B the slopes of what the camera sees, by the place and by its own parameters (the implicit function theorem
on the normal equations; R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., section 5.2). Errors of the
distortion are not carried, nor what errors of two cameras have in common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import CALIBRATED, Camera
from mocap.importer.pose import cross_matrix, ray_slopes

#: A share of a covariance's greatest variance below which a direction is taken as exact.
EXACT_SHARE = 1e-12


def common_errors(cameras: Sequence[Camera], points: FloatArray, sd_px: npt.ArrayLike = 1.0) -> FloatArray:
    """How far each independent error of the calibration moves points.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        With the covariances of their parameters; one without is taken as exact.
    points : ndarray, shape (..., 3)
        World axes; NaN where missing. [m]
    sd_px : array-like, broadcast to (C, ...)
        Of each camera's pixels; only their ratios count. Infinite where a camera does not see a point. [px]

    Returns
    -------
    ndarray, shape (..., 3, K)
        For one standard deviation of each of the K errors: their products summed over K are the covariance that the
        calibration adds. NaN where a point is missing. [m]
    """
    weights = 1.0 / np.broadcast_to(np.asarray(sd_px, dtype=np.float64), (len(cameras), *points.shape[:-1])) ** 2
    normal = np.zeros((*points.shape, 3))
    pulled = []
    for camera, weight in zip(cameras, weights, strict=True):
        by_place, by_camera = _slopes(camera, points)
        weighed = weight[..., None, None] * np.swapaxes(by_place, -1, -2)
        normal += weighed @ by_place
        roots = _roots(camera.covariance)
        if roots.shape[1]:
            pulled.append(weighed @ by_camera @ roots)
    if not pulled:
        return np.zeros((*points.shape, 0))
    there = np.asarray(np.isfinite(normal).all(axis=(-1, -2)))
    solved = np.linalg.solve(np.where(there[..., None, None], normal, np.eye(3)), -np.concatenate(pulled, axis=-1))
    return np.where(there[..., None, None], solved, np.nan)


def with_lens_error(slopes: FloatArray, pose_covariance: FloatArray, lens_covariance: FloatArray) -> FloatArray:
    """Covariance of all parameters of a camera that was placed with a lens that itself errs.

    Parameters
    ----------
    slopes : ndarray, shape (6, 3)
        By how much the pose that was found moves with the lens's log focal length and principal point.
    pose_covariance : ndarray, shape (6, 6)
        With the lens exact.
    lens_covariance : ndarray, shape (3, 3)

    Returns
    -------
    ndarray, shape (9, 9)
    """
    both = np.zeros((CALIBRATED, CALIBRATED))
    both[:6, :6] = pose_covariance + slopes @ lens_covariance @ slopes.T
    both[:6, 6:] = slopes @ lens_covariance
    both[6:, :6], both[6:, 6:] = both[:6, 6:].T, lens_covariance
    return both


def moved_world(camera: Camera, turn: FloatArray, shift: FloatArray) -> Camera:
    """The camera, with its covariance, after the world's places X became turn X + shift."""
    rotation = camera.rotation @ turn.T
    # The new translation is the old one less rotation times shift, and turns with the rotation's error.
    change = np.eye(CALIBRATED)
    change[3:6, :3] = cross_matrix(rotation @ shift)
    return replace(
        camera,
        rotation=rotation,
        translation=camera.translation - rotation @ shift,
        covariance=change @ camera.covariance @ change.T,
    )


def pixel_slopes(camera: Camera, points: FloatArray) -> FloatArray:
    """Slopes of what a camera sees of points (..., 3) by its own parameters, shape (..., 2, 9)."""
    return _slopes(camera, points)[1]


def _slopes(camera: Camera, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes of pixels by the place (..., 2, 3) and by the camera's parameters (..., 2, 9)."""
    turned = points @ camera.rotation.T
    places = turned + camera.translation
    depth = np.where(places[..., 2] > 0.0, places[..., 2], np.nan)
    ideal = places[..., :2] / depth[..., None]
    along = ray_slopes(camera, ideal, depth)
    centred = camera.distort(ideal) @ camera.matrix[:2, :2].T
    shifted = np.broadcast_to(np.eye(2), (*along.shape[:-1], 2))
    by_camera = np.concatenate([-along @ cross_matrix(turned), along, centred[..., None], shifted], axis=-1)
    return along @ camera.rotation, by_camera


def _roots(covariance: FloatArray) -> FloatArray:
    """A matrix whose product with its transpose is the covariance, as narrow as can be, shape (9, K)."""
    # Metres, radians and pixels differ by orders of magnitude: each is brought to its own size first.
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    size = np.where(sd > 0.0, sd, 1.0)
    values, axes = np.linalg.eigh(covariance / np.outer(size, size))
    kept = values > EXACT_SHARE * max(float(values[-1]), 1.0)
    return np.asarray(size[:, None] * axes[:, kept] * np.sqrt(values[kept]), dtype=np.float64)
