"""How well points from several cameras agree with what each camera saw: per camera, per point, and over time.

The reprojection error is the distance in a picture between where a point was found and where the place in space that
all cameras together gave lands. Two cameras share what they contradict each other by, so that each shows about half of
it, and neither shows what lies along its epipolar line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.importer.camera import Camera
from mocap.importer.triangulation import Located

#: How many of the worst samples are kept.
WORST = 8
#: The errors over time are medians over so long. [s]
BLOCK_S = 0.1
#: A point that two cameras see in less than this share of the frames is told. This project's default.
COVERED_SHARE = 0.8
#: A point or a camera whose median error is so many times that of all is told. This project's default.
STANDS_OUT = 2.5


@dataclass(frozen=True)
class Worst:
    """One sample that fits badly.

    Attributes
    ----------
    camera, point : str
    frame : int
        Of the first camera, counted from 0.
    error_px : float
    """

    camera: str
    point: str
    frame: int
    error_px: float


@dataclass(frozen=True)
class CameraQuality:
    """Reprojection errors and coverage of a recording.

    Attributes
    ----------
    cameras : tuple of str, length C
    names : tuple of str, length P
    frames : int
    rms_px, median_px : ndarray, shape (C, P)
        Over the frames in which two or more cameras saw the point; NaN where there are none. [px]
    camera_rms_px, camera_median_px : ndarray, shape (C,)
        Over all points. [px]
    seen : ndarray, shape (C, P)
        Share of the frames in which each camera saw each point. [-]
    covered : ndarray, shape (P,)
        Share of the frames in which two or more cameras saw it. [-]
    block_s : ndarray, shape (B,)
        Middles of the blocks of `BLOCK_S`, on the common clock. [s]
    over_time_px : ndarray, shape (C, B)
        Median error of each; NaN where nothing was seen. [px]
    worst : tuple of Worst
        The greatest errors.
    notes : tuple of str
    """

    cameras: tuple[str, ...]
    names: tuple[str, ...]
    frames: int
    rms_px: FloatArray
    median_px: FloatArray
    camera_rms_px: FloatArray
    camera_median_px: FloatArray
    seen: FloatArray
    covered: FloatArray
    block_s: FloatArray
    over_time_px: FloatArray
    worst: tuple[Worst, ...]
    notes: tuple[str, ...]


def camera_quality(
    cameras: Sequence[Camera],
    names: Sequence[str],
    times: FloatArray,
    pixels: FloatArray,
    located: Located,
    *,
    first_frame: int = 0,
) -> CameraQuality:
    """Sum up what is left between pictures and places.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    names : sequence of str, length P
    times : ndarray, shape (F,)
        Of the first camera's frames. [s]
    pixels : ndarray, shape (C, F, P, 2)
        What was seen at those times; NaN where not. [px]
    located : Located
        Of those pixels.
    first_frame : int
        The first camera's number of the first frame.

    Returns
    -------
    CameraQuality
    """
    error = np.linalg.norm(located.residuals, axis=-1)
    seen = np.isfinite(pixels).all(axis=-1)
    labels = tuple(camera.name or f"camera {number}" for number, camera in enumerate(cameras, start=1))
    block = np.floor((times - times[0]) / BLOCK_S + 1e-9).astype(np.intp)
    count = int(block[-1]) + 1
    found = CameraQuality(
        cameras=labels,
        names=tuple(names),
        frames=len(times),
        rms_px=_rms(error),
        median_px=_median(error),
        camera_rms_px=_rms(error.reshape(len(cameras), -1, 1))[:, 0],
        camera_median_px=_median(error.reshape(len(cameras), -1, 1))[:, 0],
        seen=seen.mean(axis=1),
        covered=(seen.sum(axis=0) >= 2).mean(axis=0),
        block_s=times[0] + BLOCK_S * (np.arange(count) + 0.5),
        over_time_px=np.stack(
            [_median(error[:, block == b].reshape(len(cameras), -1, 1))[:, 0] for b in range(count)], axis=1
        ),
        worst=_worst(error, labels, names, first_frame),
        notes=(),
    )
    return CameraQuality(**{**vars(found), "notes": _notes(found)})


def _rms(error: FloatArray) -> FloatArray:
    """Root mean square over the second axis of (C, F, P); NaN where there is nothing."""
    there = np.isfinite(error)
    count = there.sum(axis=1)
    total = np.where(there, error, 0.0) ** 2
    return np.where(count > 0, np.sqrt(total.sum(axis=1) / np.maximum(count, 1)), np.nan)


def _median(error: FloatArray) -> FloatArray:
    """Median over the second axis of (C, F, P); NaN where there is nothing."""
    there = np.isfinite(error)
    # NumPy warns of a median of nothing.
    filled = np.where(there.any(axis=1, keepdims=True), error, 0.0)
    return np.where(there.any(axis=1), np.nanmedian(filled, axis=1), np.nan)


def _worst(error: FloatArray, labels: Sequence[str], names: Sequence[str], first_frame: int) -> tuple[Worst, ...]:
    """The greatest errors; a point in a frame once, in the picture where it is greatest."""
    least = np.where(np.isfinite(error), error, -1.0)
    camera, greatest = least.argmax(axis=0), least.max(axis=0)
    order = np.argsort(greatest, axis=None)[::-1][:WORST]
    places = [tuple(map(int, np.unravel_index(at, greatest.shape))) for at in order if greatest.flat[at] >= 0.0]
    return tuple(
        Worst(labels[camera[frame, point]], names[point], first_frame + frame, float(greatest[frame, point]))
        for frame, point in places
    )


def _notes(found: CameraQuality) -> tuple[str, ...]:
    """What stands out."""
    notes = []
    bare = [
        f"{name} ({100 * share:.0f} %)"
        for name, share in zip(found.names, found.covered, strict=True)
        if round(share, 2) < COVERED_SHARE
    ]
    if bare:
        notes.append(
            f"seen by two cameras in less than {100 * COVERED_SHARE:.0f} % of the frames: {', '.join(bare)};"
            " place a camera where it sees them, or add one"
        )
    median = found.median_px
    usual = float(np.nanmedian(median)) if np.isfinite(median).any() else np.nan
    high = [
        found.names[point]
        for point in range(len(found.names))
        if (np.nan_to_num(median[:, point]) > STANDS_OUT * usual).any()
    ]
    if high:
        notes.append(
            f"fits far worse than the others: {', '.join(high)}; look whether both pictures show the same spot"
        )
    return tuple(notes)
