"""Where a camera stands, from points of known place: linear starts and a least-squares refinement, many at once.

A *pose* is the rotation and translation of `Camera`. Every function takes one set of points and pixels and B sets of
weights, so that all ways of leaving points out are fitted together.

Sources: Y. I. Abdel-Aziz, H. M. Karara (1971) *Direct linear transformation from comparator coordinates into object
space coordinates in close-range photogrammetry*; R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., algorithm
7.1 (normalised direct linear transformation), section 8.1.1 (plane to picture) and appendix 6 (Levenberg-Marquardt);
G. Schweighofer, A. Pinz (2006), IEEE Trans. Pattern Anal. 28:2024-2030 (the second pose that explains a flat target).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import Camera

#: How far a lens that was not calibrated may have its axis from the middle of the picture, as a standard deviation over
#: the picture's width. This project's default.
PRINCIPAL_SHARE = 0.02
#: The refinement ends when the cost falls by less than this share.
SETTLED = 1e-12
MOST_STEPS = 60


@dataclass(frozen=True)
class Poses:
    """B poses of one camera and what they leave.

    Attributes
    ----------
    rotation : ndarray, shape (B, 3, 3)
    translation : ndarray, shape (B, 3)
        [m]
    scale : ndarray, shape (B,)
        Focal length over the one of the lens; one where the lens is known. [-]
    shift : ndarray, shape (B, 2)
        Principal point less the one of the lens. [px]
    cost : ndarray, shape (B,)
        Weighted sum of squared residuals (and of the shift over its standard deviation); inf where a point lies behind
        the camera. [-]
    normal : ndarray, shape (B, K, K)
        Normal matrix of rotation vector (camera axes), translation, and with a free lens log focal length and shift;
        K is 6 or 9. Its inverse is the covariance where the weights are one over the variances.
    residuals : ndarray, shape (B, N, 2)
        Seen minus projected, of every point. [px]
    """

    rotation: FloatArray
    translation: FloatArray
    scale: FloatArray
    shift: FloatArray
    cost: FloatArray
    normal: FloatArray
    residuals: FloatArray

    def camera(self, lens: Camera, which: int = 0) -> Camera:
        """One of them as a camera."""
        matrix = np.array(lens.matrix)
        matrix[:2, :2] *= self.scale[which]
        matrix[:2, 2] += self.shift[which]
        return replace(lens, matrix=matrix, rotation=self.rotation[which], translation=self.translation[which])


def direct_linear_transform(points: npt.ArrayLike, pixels: npt.ArrayLike, weights: npt.ArrayLike = 1.0) -> FloatArray:
    """3 x 4 matrices that take places to pixels, by linear least squares on normalised coordinates.

    Parameters
    ----------
    points : array-like, shape (N, 3)
        At least six, not all in one plane. Any unit.
    pixels : array-like, shape (N, 2)
        Freed of distortion. [px]
    weights : array-like, shape (..., N)
        Of each point's two equations; zero leaves it out.

    Returns
    -------
    ndarray, shape (..., 3, 4)
        Of positive determinant of the left part, so that depths of points in front are positive; any scale.
    """
    places, seen = np.asarray(points, dtype=np.float64), np.asarray(pixels, dtype=np.float64)
    to_places, to_seen = _normalising(places), _normalising(seen)
    X, x = _homogeneous(places) @ to_places.T, _homogeneous(seen) @ to_seen.T
    rows = np.zeros((len(X), 2, 12))
    rows[:, 0, 0:4], rows[:, 1, 4:8] = X, X
    rows[:, 0, 8:12], rows[:, 1, 8:12] = -x[:, :1] * X, -x[:, 1:2] * X
    solved = _least(rows, np.broadcast_to(weights, (*np.shape(weights)[:-1], len(X)))).reshape(
        *np.shape(weights)[:-1], 3, 4
    )
    projection = np.linalg.inv(to_seen) @ solved @ to_places
    sign = np.sign(np.linalg.det(projection[..., :3]))
    return projection * np.where(sign == 0, 1.0, sign)[..., None, None]


def linear_poses(points: FloatArray, rays: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Poses from points in space, for a known lens.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        [m]
    rays : ndarray, shape (N, 2)
        As `Camera.normalise` gives them.
    weights : ndarray, shape (B, N)

    Returns
    -------
    rotation (B, 3, 3), translation (B, 3)
    """
    projection = direct_linear_transform(points, rays, weights)
    left, sizes, right = np.linalg.svd(projection[..., :3])
    scale = sizes.mean(axis=-1)
    return left @ right, projection[..., 3] / np.maximum(scale, 1e-300)[..., None]


def planar_poses(points: FloatArray, rays: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both poses that explain points near one plane, for a known lens.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        What sticks out of their plane is not used. [m]
    rays : ndarray, shape (N, 2)
    weights : ndarray, shape (B, N)

    Returns
    -------
    rotation (2 B, 3, 3), translation (2 B, 3)
        First those of the linear solution, then those tilted the other way.
    """
    middle = points.mean(axis=0)
    axes = np.linalg.svd(points - middle, full_matrices=False)[2]
    axes[2] *= np.sign(np.linalg.det(axes))  # rows: the plane's axes and its normal, right-handed
    flat = (points - middle) @ axes[:2].T
    to_flat, to_rays = _normalising(flat), _normalising(rays)
    X, x = _homogeneous(flat) @ to_flat.T, _homogeneous(rays) @ to_rays.T
    rows = np.zeros((len(X), 2, 9))
    rows[:, 0, 0:3], rows[:, 1, 3:6] = X, X
    rows[:, 0, 6:9], rows[:, 1, 6:9] = -x[:, :1] * X, -x[:, 1:2] * X
    plane = np.linalg.inv(to_rays) @ _least(rows, weights).reshape(len(weights), 3, 3) @ to_flat
    # Columns: the plane's first and second axis in camera axes, and its middle, all times one unknown scale.
    plane *= np.where(plane[:, 2, 2] < 0, -1.0, 1.0)[:, None, None]
    scale = np.sqrt(np.linalg.norm(plane[..., 0], axis=-1) * np.linalg.norm(plane[..., 1], axis=-1))
    plane /= np.maximum(scale, 1e-300)[:, None, None]
    first, second, centre = plane[..., 0], plane[..., 1], plane[..., 2]
    left, _, right = np.linalg.svd(np.stack([first, second, np.cross(first, second)], axis=-1))
    turned = left @ right
    both = np.concatenate([turned, _tilted_back(turned, centre)])
    rotation = both @ axes
    return rotation, np.concatenate([centre, centre]) - rotation @ middle


def refine(
    lens: Camera,
    start: tuple[FloatArray, FloatArray],
    points: FloatArray,
    pixels: FloatArray,
    weights: FloatArray,
    *,
    free_lens: bool = False,
) -> Poses:
    """Poses of least weighted reprojection error, by Levenberg-Marquardt with the analytic Jacobian.

    Parameters
    ----------
    lens : Camera
        Its place is not used.
    start : rotation (B, 3, 3) and translation (B, 3)
    points : ndarray, shape (N, 3)
        [m]
    pixels : ndarray, shape (N, 2)
        Distorted, as seen. [px]
    weights : ndarray, shape (B, N)
        One over the variance per axis; zero leaves a point out. [1/px^2]
    free_lens : bool
        Whether focal length and principal point are found too, the latter with `PRINCIPAL_SHARE`.

    Returns
    -------
    Poses
    """
    count = len(weights)
    state = (start[0], start[1], np.ones(count), np.zeros((count, 2)))
    cost, normal, gradient, residuals = _evaluate(lens, state, points, pixels, weights, free_lens)
    damping = np.full(count, 1e-3)
    for _ in range(MOST_STEPS):
        diagonal = np.einsum("bii->bi", normal)
        damped = normal + (damping[:, None] * diagonal + 1e-12)[..., None] * np.eye(normal.shape[1])
        step = np.linalg.solve(damped, gradient[..., None])[..., 0]
        tried = _stepped(state, step)
        found = _evaluate(lens, tried, points, pixels, weights, free_lens)
        better = found[0] < cost
        with np.errstate(invalid="ignore"):  # behind the camera before and after
            settled = (np.abs(cost - found[0]) <= SETTLED * cost) | (damping > 1e12)
        state = tuple(_chosen(better, new, old) for new, old in zip(tried, state, strict=True))  # type: ignore[assignment]
        cost, normal, gradient, residuals = (
            _chosen(better, new, old) for new, old in zip(found, (cost, normal, gradient, residuals), strict=True)
        )
        damping = np.where(better, np.maximum(damping * 0.1, 1e-12), damping * 10.0)
        if settled.all():
            break
    return Poses(*state, cost, normal, residuals)


def spread(points: FloatArray) -> FloatArray:
    """Root mean square extents of points along their principal axes, largest first, shape (3,). [m]"""
    off = points - points.mean(axis=0)
    return np.linalg.svd(off, compute_uv=False, full_matrices=False) / np.sqrt(len(points))


def rotations(vectors: FloatArray) -> FloatArray:
    """Rotation matrices of rotation vectors, shape (..., 3) to (..., 3, 3) (O. Rodrigues 1840). [rad]"""
    angle = np.linalg.norm(vectors, axis=-1)[..., None, None]
    cross = cross_matrix(vectors)
    # sin(a) / a and (1 - cos(a)) / a^2, both even where the angle is zero.
    return np.eye(3) + np.sinc(angle / np.pi) * cross + 0.5 * np.sinc(0.5 * angle / np.pi) ** 2 * (cross @ cross)


def cross_matrix(vectors: FloatArray) -> FloatArray:
    """Matrices [v] with [v] w = v x w, shape (..., 3) to (..., 3, 3)."""
    x, y, z = np.moveaxis(np.asarray(vectors, dtype=np.float64), -1, 0)
    zero = np.zeros_like(x)
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(*x.shape, 3, 3)


def ray_slopes(lens: Camera, ideal: FloatArray, depth: FloatArray) -> FloatArray:
    """Derivative of pixels by places in camera axes, shape (..., 2, 3), at rays (..., 2) and depths (...). [px/m]"""
    aa, ab, bb = lens.bending(ideal)
    bending = np.stack([aa, ab, ab, bb], axis=-1).reshape(*aa.shape, 2, 2)
    toward = np.zeros((*aa.shape, 2, 3))
    toward[..., 0, 0] = toward[..., 1, 1] = 1.0
    toward[..., 2] = -ideal
    return lens.matrix[:2, :2] @ bending @ (toward / depth[..., None, None])


def _evaluate(
    lens: Camera,
    state: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    points: FloatArray,
    pixels: FloatArray,
    weights: FloatArray,
    free_lens: bool,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Cost (B,), normal matrix (B, K, K), negative half gradient (B, K) and residuals (B, N, 2)."""
    rotation, translation, scale, shift = state
    turned = points @ np.swapaxes(rotation, -1, -2)
    places = turned + translation[:, None]
    depth = places[..., 2]
    behind = ((depth <= 1e-6) & (weights > 0)).any(axis=1)
    depth = np.where(depth > 1e-6, depth, 1.0)
    ideal = places[..., :2] / depth[..., None]
    centred = (lens.distort(ideal) @ lens.matrix[:2, :2].T) * scale[:, None, None]
    residuals = pixels - (centred + lens.matrix[:2, 2] + shift[:, None])
    slopes = ray_slopes(lens, ideal, depth) * scale[:, None, None, None]
    jacobian = np.concatenate([-slopes @ cross_matrix(turned), slopes], axis=-1)
    if free_lens:
        unit = np.broadcast_to(np.eye(2), (*centred.shape[:2], 2, 2))
        jacobian = np.concatenate([jacobian, centred[..., None], unit], axis=-1)
    weighted = jacobian * weights[..., None, None]
    normal = np.einsum("bnik,bnil->bkl", weighted, jacobian)
    gradient = np.einsum("bnik,bni->bk", weighted, residuals)
    cost = np.einsum("bn,bni->b", weights, residuals**2)
    if free_lens:
        tie = (PRINCIPAL_SHARE * lens.size[0]) ** -2
        normal[:, 7, 7] += tie
        normal[:, 8, 8] += tie
        gradient[:, 7:] -= tie * shift
        cost += tie * (shift**2).sum(axis=1)
    return np.where(behind | ~np.isfinite(cost), np.inf, cost), normal, gradient, residuals


def _stepped(
    state: tuple[FloatArray, FloatArray, FloatArray, FloatArray], step: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    rotation, translation, scale, shift = state
    # A full turn or a focal length a hundred times as long is no step but a blunder of a singular system.
    turn = rotations(np.clip(step[:, :3], -1.0, 1.0))
    if step.shape[1] > 6:
        scale, shift = scale * np.exp(np.clip(step[:, 6], -1.0, 1.0)), shift + step[:, 7:]
    return turn @ rotation, translation + step[:, 3:6], scale, shift


def _chosen(better: npt.NDArray[np.bool_], new: FloatArray, old: FloatArray) -> FloatArray:
    return np.where(better.reshape(-1, *[1] * (new.ndim - 1)), new, old)


def _homogeneous(places: FloatArray) -> FloatArray:
    return np.column_stack([places, np.ones(len(places))])


def _normalising(places: FloatArray) -> FloatArray:
    """Similarity after which the mean is zero and the mean square per axis one, homogeneous."""
    middle = places.mean(axis=0)
    size = np.sqrt(((places - middle) ** 2).mean())
    similarity = np.eye(places.shape[1] + 1)
    similarity[:-1, :-1] /= size
    similarity[:-1, -1] = -middle / size
    return similarity


def _least(rows: FloatArray, weights: FloatArray) -> FloatArray:
    """Unit vectors (..., K) that make the weighted rows (N, 2, K) least; exact to the roots of rounding."""
    scaled = rows * np.sqrt(np.asarray(weights))[..., None, None]
    stacked = scaled.reshape(*scaled.shape[:-3], -1, rows.shape[-1])
    return np.linalg.svd(stacked, full_matrices=stacked.shape[-2] < rows.shape[-1])[2][..., -1, :]


def _tilted_back(rotation: FloatArray, centre: FloatArray) -> FloatArray:
    """The poses of a plane whose normal is mirrored at the line of sight to its middle, shape (B, 3, 3)."""
    normal = rotation[..., 2]
    sight = centre / np.linalg.norm(centre, axis=-1, keepdims=True)
    normal = normal * np.where((normal * sight).sum(axis=-1, keepdims=True) < 0, -1.0, 1.0)
    axis = np.cross(normal, sight)
    sine = np.linalg.norm(axis, axis=-1, keepdims=True)
    angle = np.arctan2(sine, (normal * sight).sum(axis=-1, keepdims=True))
    return rotations(axis / np.maximum(sine, 1e-12) * 2.0 * angle) @ rotation
