"""How two cameras of known lenses stand to each other, from points that both saw: the essential matrix.

Rays x (first camera) and x' (second), freed of distortion, of one point satisfy x'^T E x = 0 with E = [t] R. Sources:
H. C. Longuet-Higgins (1981), Nature 293:133-135; R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., algorithm
11.1 (normalised eight points), section 9.6.2 (the four poses) and equation 11.9 (Sampson's distance).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.pose import cross_matrix, rotations

#: Size and number of the samples tried for a start that most points agree with, and how many of them are refined. Of
#: samples of eight points one in ten is clean when one in four points is wrong.
SAMPLE, SAMPLES, STARTS = 8, 300, 5
#: Steps of the refinement.
ROUNDS = 40
#: Turns a median of absolute normal deviates into their standard deviation.
MAD_TO_SD = 1.4826
#: Cauchy's weight function keeps 95 % efficiency for normal errors with this many standard deviations (P. J. Huber,
#: *Robust Statistics*, and the textbooks after it; from memory).
CAUCHY = 2.385


def relative_pose(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pose of the second camera in the first's axes, its distance set to one.

    Parameters
    ----------
    first, second : ndarray, shape (N, 2)
        Rays (x / z, y / z) toward the same points, as `Camera.normalise` gives them; some may be wrong.

    Returns
    -------
    rotation : ndarray, shape (3, 3)
        Second camera's axes from the first's.
    translation : ndarray, shape (3,)
        The first camera in the second's axes; a unit vector.
    distance : ndarray, shape (N,)
        Sampson's distance of every pair. [-]

    Notes
    -----
    Starts are, of many samples of eight points, those of least median distance (P. J. Rousseeuw 1984). Each is refined
    on all points in the five unknowns that a pose has, weighted by Cauchy's function; the best of them is taken.
    """
    draw = np.random.default_rng(0)
    picks = np.stack([draw.permutation(len(first))[:SAMPLE] for _ in range(SAMPLES)])
    weights = np.zeros((SAMPLES, len(first)))
    np.put_along_axis(weights, picks, 1.0, axis=1)
    tried = essential_matrix(first, second, weights)
    medians = np.median(np.abs(sampson(tried, first, second)), axis=1)
    found = []
    for essential in tried[np.argsort(medians)[:STARTS]]:
        distance = np.abs(sampson(essential, first, second))
        close = distance <= np.median(distance)
        rotation, translation = _refined(*_in_front(essential, first[close], second[close]), first, second)
        distance = sampson(cross_matrix(translation) @ rotation, first, second)
        found.append((float(np.median(np.abs(distance))), rotation, translation, distance))
    _, rotation, translation, distance = min(found, key=lambda fit: fit[0])
    return rotation, translation, distance


def _refined(
    rotation: FloatArray, translation: FloatArray, first: FloatArray, second: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Gauss-Newton steps of the robust sum of squared distances.

    With p = R x the algebraic error y . (t x p) grows by w . (p x (y x t)) for a small turn w, and by d . (p x y) for a
    small shift d, which is kept square to t.
    """
    y = _homogeneous(second)
    for _ in range(ROUNDS):
        distance = sampson(cross_matrix(translation) @ rotation, first, second)
        scale = max(MAD_TO_SD * float(np.median(np.abs(distance))), 1e-12)
        p = _homogeneous(first) @ rotation.T
        algebraic = (np.cross(translation, p) * y).sum(axis=1)
        # Sampson's denominator changes little and is taken as constant within a step.
        size = np.divide(algebraic, distance, out=np.ones_like(distance), where=np.abs(distance) > 1e-15)
        across = np.linalg.svd(translation[None])[2][1:]
        slopes = np.hstack([np.cross(p, np.cross(y, translation)), np.cross(p, y) @ across.T]) / size[:, None]
        weighted = slopes / (1.0 + (distance / (CAUCHY * scale)) ** 2)[:, None]
        step = np.linalg.lstsq(weighted.T @ slopes, -weighted.T @ distance, rcond=1e-10)[0]
        rotation = rotations(np.clip(step[:3], -0.3, 0.3)) @ rotation
        translation = translation + step[3:] @ across
        translation = translation / np.linalg.norm(translation)
        if np.abs(step).max() < 1e-10:
            break
    return rotation, translation


def essential_matrix(first: FloatArray, second: FloatArray, weights: npt.ArrayLike) -> FloatArray:
    """Matrices of least weighted algebraic error on normalised rays, made essential: two singular values 1, one 0.

    Parameters
    ----------
    first, second : ndarray, shape (N, 2)
    weights : array-like, shape (..., N)

    Returns
    -------
    ndarray, shape (..., 3, 3)
    """
    x, to_x = _normalised(first)
    y, to_y = _normalised(second)
    rows = (y[:, :, None] * x[:, None, :]).reshape(len(x), 9) * np.sqrt(np.asarray(weights))[..., None]
    solved = np.linalg.eigh(np.swapaxes(rows, -1, -2) @ rows)[1][..., 0]
    left, _, right = np.linalg.svd(to_y.T @ solved.reshape(*solved.shape[:-1], 3, 3) @ to_x)
    return left @ np.diag([1.0, 1.0, 0.0]) @ right


def sampson(essential: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
    """Signed distance of pairs of rays from meeting, to the first order, shape (..., N). [-]"""
    x, y = _homogeneous(first), _homogeneous(second)
    lines, back = x @ np.swapaxes(essential, -1, -2), y @ essential
    algebraic = (lines * y).sum(axis=-1)
    square = lines[..., 0] ** 2 + lines[..., 1] ** 2 + back[..., 0] ** 2 + back[..., 1] ** 2
    return algebraic / np.sqrt(np.maximum(square, 1e-300))


def _in_front(essential: FloatArray, first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Of the four poses that an essential matrix allows, the one with most points in front of both cameras."""
    left, _, right = np.linalg.svd(essential)
    left, right = left * np.linalg.det(left), right * np.linalg.det(right)
    quarter = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    best, most = (np.eye(3), left[:, 2]), -1
    for rotation in (left @ quarter @ right, left @ quarter.T @ right):
        for translation in (left[:, 2], -left[:, 2]):
            count = _count_in_front(rotation, translation, first, second)
            if count > most:
                best, most = (rotation, translation), count
    return best


def _count_in_front(rotation: FloatArray, translation: FloatArray, first: FloatArray, second: FloatArray) -> int:
    """How many points lie in front of both cameras."""
    # Depths a and b with a R x + t = b y, by least squares.
    x, y = _homogeneous(first) @ rotation.T, _homogeneous(second)
    xx, xy, yy = (x * x).sum(axis=1), (x * y).sum(axis=1), (y * y).sum(axis=1)
    xt, yt = x @ translation, y @ translation
    determinant = xx * yy - xy * xy
    return int((((xy * yt - yy * xt) * determinant > 0) & ((xx * yt - xy * xt) * determinant > 0)).sum())


def _homogeneous(rays: FloatArray) -> FloatArray:
    return np.column_stack([rays, np.ones(len(rays))])


def _normalised(rays: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rays moved and scaled to mean zero and mean square one, homogeneous, and the similarity that did it."""
    middle = np.median(rays, axis=0)
    size = max(float(np.median(np.abs(rays - middle))), 1e-12)
    similarity = np.array([[1.0 / size, 0.0, -middle[0] / size], [0.0, 1.0 / size, -middle[1] / size], [0, 0, 1.0]])
    return _homogeneous(rays) @ similarity.T, similarity
