"""Bundle adjustment of cameras and a waved wand: all poses and both ends in every frame, by sparse least squares.

What each camera sees of an end, and the known length between the ends, are fitted together. A frame's six unknowns meet
only the cameras' and each other, so they are eliminated frame by frame (the Schur complement), and the system that is
left is as small as the cameras are few. Sources: B. Triggs, P. McLauchlan, R. Hartley, A. Fitzgibbon (2000) *Bundle
adjustment - a modern synthesis*; R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., appendix 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.importer.camera import Camera
from mocap.importer.pose import cross_matrix, ray_slopes, rotations

MOST_STEPS = 100
SETTLED = 1e-10
#: Unknowns of a camera: rotation vector in its axes, translation, log focal length.
PER_CAMERA = 7


@dataclass(frozen=True)
class Rig:
    """Poses of C cameras, factors on their focal lengths, and the ends of the wand in F frames.

    Attributes
    ----------
    rotation (C, 3, 3), translation (C, 3), scale (C,), ends (F, 2, 3) : ndarray
        In the first camera's axes. [m]
    """

    rotation: FloatArray
    translation: FloatArray
    scale: FloatArray
    ends: FloatArray

    def moved(self, cameras: FloatArray, ends: FloatArray) -> Rig:
        """After small steps of the cameras (C, 7) and the ends (F, 2, 3)."""
        return Rig(
            rotations(np.clip(cameras[:, :3], -1.0, 1.0)) @ self.rotation,
            self.translation + cameras[:, 3:6],
            self.scale * np.exp(np.clip(cameras[:, 6], -1.0, 1.0)),
            self.ends + ends,
        )


@dataclass(frozen=True)
class Problem:
    """What a rig is fitted to.

    Attributes
    ----------
    lenses : sequence of Camera, length C
    pixels : ndarray, shape (C, F, 2, 2)
        Camera, frame, end, (u, v); anything finite where the weight is zero. [px]
    weights : ndarray, shape (C, F, 2)
        One over the variance per axis. [1/px^2]
    length_m : float
        Of the wand. [m]
    length_weight : ndarray, shape (F,)
        One over its variance; zero in frames that are not used. [1/m^2]
    free_focal : bool
        Whether each camera's focal length is found too.
    """

    lenses: Sequence[Camera]
    pixels: FloatArray
    weights: FloatArray
    length_m: float
    length_weight: FloatArray
    free_focal: bool

    @property
    def free(self) -> list[int]:
        """Which of the cameras' unknowns (numbered through) are found: the first camera's axes are the world's."""
        every = range(PER_CAMERA * len(self.lenses))
        return [k for k in every if (k >= PER_CAMERA or k == 6) and (self.free_focal or k % PER_CAMERA != 6)]


@dataclass(frozen=True)
class _Linear:
    """A problem linearised about a rig: cost, residuals, and the blocks of the normal equations."""

    cost: float
    residuals: FloatArray  # (C, F, 2, 2)
    across: FloatArray  # (K, K), cameras
    across_right: FloatArray  # (K,)
    mixed: FloatArray  # (F, K, 6)
    own: FloatArray  # (F, 6, 6), ends
    own_right: FloatArray  # (F, 6)


def adjust(rig: Rig, problem: Problem) -> tuple[Rig, FloatArray, FloatArray]:
    """Rig of least squares, by Levenberg-Marquardt.

    Parameters
    ----------
    rig : Rig
        Start.
    problem : Problem

    Returns
    -------
    rig : Rig
    covariance : ndarray, shape (7 C, 7 C)
        Of the cameras' unknowns; zero for those that are not found.
    residuals : ndarray, shape (C, F, 2, 2)
        Seen minus projected. [px]
    """
    now, damping = _linearised(rig, problem), 1e-4
    for _ in range(MOST_STEPS):
        cameras, ends = _step(now, problem, damping)
        tried = rig.moved(cameras, ends)
        after = _linearised(tried, problem)
        settled = abs(now.cost - after.cost) <= SETTLED * max(now.cost, 1e-12)
        if after.cost < now.cost:
            rig, now, damping = tried, after, max(damping * 0.1, 1e-12)
        else:
            damping *= 10.0
        if settled or damping > 1e12:
            break
    reduced, _ = _reduced(now, 0.0)
    free = problem.free
    covariance = np.zeros_like(reduced)
    covariance[np.ix_(free, free)] = np.linalg.inv(reduced[np.ix_(free, free)])
    return rig, covariance, now.residuals


def _linearised(rig: Rig, problem: Problem) -> _Linear:
    count, frames = len(problem.lenses), len(rig.ends)
    total = PER_CAMERA * count
    residuals = np.empty_like(problem.pixels)
    across, across_right = np.zeros((total, total)), np.zeros(total)
    mixed, own, own_right = np.zeros((frames, total, 6)), np.zeros((frames, 6, 6)), np.zeros((frames, 6))
    cost = 0.0
    for c, lens in enumerate(problem.lenses):
        weight = problem.weights[c]
        turned = rig.ends @ rig.rotation[c].T
        places = turned + rig.translation[c]
        depth = places[..., 2]
        if ((depth <= 1e-6) & (weight > 0)).any():
            cost = np.inf
        depth = np.where(depth > 1e-6, depth, 1.0)
        ideal = places[..., :2] / depth[..., None]
        centred = rig.scale[c] * (lens.distort(ideal) @ lens.matrix[:2, :2].T)
        residuals[c] = problem.pixels[c] - centred - lens.matrix[:2, 2]
        slopes = rig.scale[c] * ray_slopes(lens, ideal, depth)
        by_camera = np.concatenate([-slopes @ cross_matrix(turned), slopes, centred[..., None]], axis=-1)
        by_place = slopes @ rig.rotation[c]
        weighted = by_camera * weight[..., None, None]
        block = slice(PER_CAMERA * c, PER_CAMERA * (c + 1))
        across[block, block] = np.einsum("feik,feil->kl", weighted, by_camera)
        across_right[block] = np.einsum("feik,fei->k", weighted, residuals[c])
        for end in range(2):
            part = slice(3 * end, 3 * end + 3)
            mixed[:, block, part] = np.einsum("fik,fil->fkl", weighted[:, end], by_place[:, end])
            place = by_place[:, end] * weight[:, end, None, None]
            own[:, part, part] += np.einsum("fik,fil->fkl", place, by_place[:, end])
            own_right[:, part] += np.einsum("fik,fi->fk", place, residuals[c, :, end])
        cost += float((weight[..., None] * residuals[c] ** 2).sum())
    cost += _add_length(rig, problem, own, own_right)
    return _Linear(cost if np.isfinite(cost) else np.inf, residuals, across, across_right, mixed, own, own_right)


def _add_length(rig: Rig, problem: Problem, own: FloatArray, own_right: FloatArray) -> float:
    """Add the known length to the frames' blocks in place; returns its cost."""
    between = rig.ends[:, 1] - rig.ends[:, 0]
    length = np.maximum(np.linalg.norm(between, axis=1), 1e-9)
    row = np.concatenate([-between, between], axis=1) / length[:, None]
    off = problem.length_m - length
    own += problem.length_weight[:, None, None] * row[:, :, None] * row[:, None, :]
    own_right += (problem.length_weight * off)[:, None] * row
    return float((problem.length_weight * off**2).sum())


def _reduced(now: _Linear, damping: float) -> tuple[FloatArray, FloatArray]:
    """The cameras' system after the frames are eliminated, and mixed block times the frames' inverse (F, K, 6)."""
    own = now.own + _diagonal(now.own, damping)
    through = now.mixed @ np.linalg.inv(own)
    across = now.across + damping * np.diag(np.diag(now.across))
    return across - np.einsum("fik,fjk->ij", through, now.mixed), through


def _step(now: _Linear, problem: Problem, damping: float) -> tuple[FloatArray, FloatArray]:
    """Steps of the cameras (C, 7) and the ends (F, 2, 3)."""
    reduced, through = _reduced(now, damping)
    right = now.across_right - np.einsum("fik,fk->i", through, now.own_right)
    free = problem.free
    cameras = np.zeros(len(reduced))
    cameras[free] = np.linalg.solve(reduced[np.ix_(free, free)], right[free])
    own = now.own + _diagonal(now.own, damping)
    ends = np.linalg.solve(own, (now.own_right - np.einsum("fik,i->fk", now.mixed, cameras))[..., None])
    return cameras.reshape(-1, PER_CAMERA), ends.reshape(-1, 2, 3)


def _diagonal(own: FloatArray, damping: float) -> FloatArray:
    """What damping adds to the frames' blocks; a trace of it always, so that an unseen end stays where it is."""
    return (damping * np.einsum("fii->fi", own) + 1e-9)[..., None] * np.eye(6)
