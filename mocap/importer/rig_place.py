"""Where calibrated cameras stand in the cage: floor and heading from points of known place.

Either the known points that at least two cameras see are triangulated and laid on their measured places by a rotation
and a shift, or one camera's place is known and the others follow. The start is the rotation of least squares by
singular values (K. S. Arun, T. S. Huang, S. D. Blostein (1987), IEEE Trans. Pattern Anal. 9:698-700); Gauss-Newton
steps then weigh every point by its own covariance, as a point is known less well along the lines of sight than across.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.importer import pose
from mocap.importer.calibration_error import moved_world
from mocap.importer.camera import Camera
from mocap.importer.triangulation import triangulate

#: Fewest known points; they must not lie in a line, or thinner than the share of their length.
FEWEST, LINE_SHARE = 3, 0.02
STEPS = 10
#: A heading less sure than this is worth a word. This project's default. [deg]
HEADING_SD_DEG = 1.0
#: Size by the cameras over the measured size, less one, that is worth a word, and that is refused. This project's
#: default.
SCALE_TOLERANCE, WORST_SCALE = 0.02, 0.2
#: Points that lie farther off than this are none of the cage's. This project's default. [m]
FARTHEST_M = 0.10


@dataclass(frozen=True, eq=False)
class Aligned:
    """Cameras in the axes of the known points.

    Attributes
    ----------
    cameras : tuple of Camera
    off : ndarray, shape (N, 3)
        Found minus measured places; NaN where fewer than two cameras saw one. [m]
    covariance : ndarray, shape (6, 6)
        Of a small rotation of all cameras about the middle of the points and a shift, cage axes, from the pixels' noise
        at the known points. [rad], [m]
    scale : float
        Size of the points' arrangement by the cameras over its measured size. [-]
    notes : tuple of str
    """

    cameras: tuple[Camera, ...]
    off: FloatArray
    covariance: FloatArray
    scale: float
    notes: tuple[str, ...]


def align_to_points(
    cameras: Sequence[Camera],
    pixels: npt.ArrayLike,
    places: npt.ArrayLike,
    *,
    names: Sequence[str] | None = None,
    sd_px: float = 1.0,
) -> Aligned:
    """Move cameras that stand rightly to each other into the axes of known points.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    pixels : array-like, shape (C, N, 2)
        NaN where a camera does not see one. [px]
    places : array-like, shape (N, 3)
        z up. [m]
    names : sequence of str, optional
        For messages.
    sd_px : float
        [px]

    Returns
    -------
    Aligned

    Raises
    ------
    InputError
        Fewer than three points that two cameras see, all in a line, mirrored, or of another arrangement.
    """
    seen, known = np.asarray(pixels, dtype=np.float64), np.asarray(places, dtype=np.float64)
    labels = list(names) if names is not None else [f"point {i + 1}" for i in range(len(known))]
    located = triangulate(cameras, seen, np.full(seen.shape[:-1], sd_px))
    there = np.isfinite(located.points).all(axis=1)
    if there.sum() < FEWEST:
        raise InputError(f"two cameras see {int(there.sum())} known points, {FEWEST} are needed; mark more of them")
    extents = pose.spread(known[there])
    if extents[1] < LINE_SHARE * extents[0]:
        raise InputError("all known points that two cameras see lie in one line; add some beside it")
    found, measured = located.points[there], known[there]
    turn, shift, covariance = _weighted(*_rigid(found, measured), found, measured, located.covariance[there])
    moved = tuple(moved_world(camera, turn, shift) for camera in cameras)
    off = located.points @ turn.T + shift - known
    scale, scale_sd, shape = _scale(off[there], measured, turn @ located.covariance[there] @ turn.T)
    _judge(moved, found, measured, shape, [labels[i] for i in np.flatnonzero(there)])
    outsized = f"the known points come out {scale:.3f} times as large as measured; check the wand's length"
    if abs(scale - 1.0) > WORST_SCALE + 3.0 * scale_sd:
        raise InputError(f"{outsized}, and the unit of the points")
    notes = []
    heading = float(np.degrees(np.sqrt(covariance[2, 2])))
    if heading > HEADING_SD_DEG:
        notes.append(
            f"the known points show the heading to {heading:.1f} deg only; mark some farther apart too, such as the"
            " corners of the batter's boxes"
        )
    if abs(scale - 1.0) > max(SCALE_TOLERANCE, 3.0 * scale_sd):
        notes.append(outsized)
    return Aligned(moved, off, covariance, scale, tuple(notes))


def move_to(cameras: Sequence[Camera], placed: Camera, which: int = 0) -> tuple[Camera, ...]:
    """Move cameras together, so that one of them stands where it was placed.

    Parameters
    ----------
    cameras : sequence of Camera
    placed : Camera
        The camera `which`, in the wanted axes.
    which : int

    Returns
    -------
    tuple of Camera
    """
    own = cameras[which]
    turn = placed.rotation.T @ own.rotation
    shift = placed.rotation.T @ (own.translation - placed.translation)
    return tuple(moved_world(camera, turn, shift) for camera in cameras)


def _rigid(found: FloatArray, known: FloatArray, *, mirror: bool = False) -> tuple[FloatArray, FloatArray]:
    """Rotation (or reflection) and shift that lay found places on known ones."""
    from_middle, to_middle = found.mean(axis=0), known.mean(axis=0)
    left, _, right = np.linalg.svd((known - to_middle).T @ (found - from_middle))
    sign = np.sign(np.linalg.det(left @ right)) * (-1.0 if mirror else 1.0)
    turn = left @ np.diag([1.0, 1.0, sign]) @ right
    return turn, to_middle - turn @ from_middle


def _weighted(
    turn: FloatArray, shift: FloatArray, found: FloatArray, known: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rotation and shift of least distances in units of each point's covariance (N, 3, 3), and theirs (6, 6)."""
    middle = known.mean(axis=0)
    for _ in range(STEPS):
        placed = found @ turn.T + shift
        weights = np.linalg.inv(turn @ covariance @ turn.T)
        slopes = np.concatenate(
            [-pose.cross_matrix(placed - middle), np.broadcast_to(np.eye(3), (len(placed), 3, 3))], axis=2
        )
        normal = np.einsum("nik,nij,njl->kl", slopes, weights, slopes)
        step = np.linalg.solve(normal, np.einsum("nik,nij,nj->k", slopes, weights, known - placed))
        small = pose.rotations(step[:3])
        turn, shift = small @ turn, small @ (shift - middle) + middle + step[3:]
    return turn, shift, np.linalg.inv(normal)


def _scale(off: FloatArray, known: FloatArray, covariance: FloatArray) -> tuple[float, float, FloatArray]:
    """Size of the found arrangement over the known one, its standard deviation, and what it leaves of `off`."""
    away = known - known.mean(axis=0)
    whole = np.broadcast_to(np.eye(3), (len(known), 3, 3))
    slopes = np.concatenate([away[..., None], -pose.cross_matrix(away), whole], axis=2)
    weighted = np.linalg.inv(covariance) @ slopes
    inverse = np.linalg.inv(np.einsum("nik,nil->kl", slopes, weighted))
    step = inverse @ np.einsum("nik,ni->k", weighted, off)
    return 1.0 + float(step[0]), float(np.sqrt(inverse[0, 0])), off - slopes @ step


def _judge(
    cameras: Sequence[Camera],
    found: FloatArray,
    known: FloatArray,
    off: FloatArray,
    names: Sequence[str],
) -> None:
    """Refuse points that are arranged otherwise; `off` is what is left without an error of size."""
    far = np.linalg.norm(off, axis=1)
    turn, shift = _rigid(found, known, mirror=True)
    mirrored = np.linalg.norm(found @ turn.T + shift - known, axis=1)
    under = [
        camera.name or f"camera {i + 1}" for i, camera in enumerate(cameras) if camera.centre[2] < known[:, 2].min()
    ]
    if (far.max() > FARTHEST_M and 3.0 * mirrored.max() < far.max()) or len(under) == len(cameras):
        raise InputError(
            "the known points fit only when mirrored, or the cameras would stand under the floor: left and right are"
            " exchanged in the names of the points, or the pictures are mirrored"
        )
    if far.max() > FARTHEST_M:
        worst = int(np.argmax(far))
        raise InputError(
            f"{names[worst]} lies {far[worst]:.2f} m from its measured place; check the points' names and places"
            " in metres"
        )
