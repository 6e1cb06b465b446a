"""How well points from several cameras agree with what each camera saw: per camera, per point, and over time.

The reprojection error is the distance in a picture between where a point was found and where the place in space that
all cameras gave together, over time, lands. Samples that were left out, as the cameras contradicted each other or the
path before and after, do not count; each camera is judged in its own frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import Camera
from mocap.importer.interpolation import between
from mocap.importer.keypoints import Keypoints

#: How many of the worst samples are kept.
WORST = 8
#: Errors of one point less than this apart are one. [s]
SAME_S = 0.01
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
        Of that camera, counted from 0.
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
        Over the frames in which two or more cameras saw the point and agreed; NaN where there are none. [px]
    camera_rms_px, camera_median_px : ndarray, shape (C,)
        Over all points. [px]
    seen : ndarray, shape (C, P)
        Share of the frames in which each camera saw each point. [-]
    covered : ndarray, shape (P,)
        Share of the frames in which two or more cameras saw it and agreed. [-]
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
    keypoints: Sequence[Keypoints],
    names: Sequence[str],
    times: FloatArray,
    points: FloatArray,
    used: npt.NDArray[np.bool_],
) -> CameraQuality:
    """Sum up what is left between pictures and places.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        With the clocks as found.
    keypoints : sequence of Keypoints, length C
        What each saw, in its own frames.
    names : sequence of str, length P
    times : ndarray, shape (F,)
        Of the first camera's frames. [s]
    points : ndarray, shape (F, P, 3)
        Places at those times; NaN where there is none. [m]
    used : ndarray of bool, shape (F, P)
        Whether two or more cameras saw the point and did not contradict each other, so that the place is their own.

    Returns
    -------
    CameraQuality
    """
    labels = tuple(camera.name or f"camera {number}" for number, camera in enumerate(cameras, start=1))
    own = [found.select(names) for found in keypoints]
    clocks = [found.times(camera) for camera, found in zip(cameras, own, strict=True)]
    errors = [
        _errors(camera, found, clock, times, points, used)
        for camera, found, clock in zip(cameras, own, clocks, strict=True)
    ]
    start = float(times[0])
    count = int(np.floor((times[-1] - start) / BLOCK_S + 1e-9)) + 1
    found = CameraQuality(
        cameras=labels,
        names=tuple(names),
        frames=len(times),
        rms_px=np.stack([_rms(error) for error in errors]),
        median_px=np.stack([_median(error) for error in errors]),
        camera_rms_px=np.array([_rms(error.reshape(-1, 1))[0] for error in errors]),
        camera_median_px=np.array([_median(error.reshape(-1, 1))[0] for error in errors]),
        seen=np.stack([np.isfinite(table.pixels).all(axis=-1).mean(axis=0) for table in own]),
        covered=used.mean(axis=0),
        block_s=np.asarray(start + BLOCK_S * (np.arange(count) + 0.5), dtype=np.float64),
        over_time_px=np.stack(
            [_over_time(error, clock - start, count) for error, clock in zip(errors, clocks, strict=True)]
        ),
        worst=_worst(errors, clocks, labels, names, [table.first_frame for table in own]),
        notes=(),
    )
    return CameraQuality(**{**vars(found), "notes": _notes(found)})


def _errors(
    camera: Camera,
    found: Keypoints,
    clock: FloatArray,
    times: FloatArray,
    points: FloatArray,
    used: npt.NDArray[np.bool_],
) -> FloatArray:
    """Distance of each point from where its place lands, in the camera's own frames, shape (N, P). [px]

    The place is taken between the first camera's frames, not the picture: interpolated pixels have less noise.
    """
    index = np.interp(clock, times, np.arange(len(times)), left=-1.0, right=float(len(times)))
    # The camera's own frames, but for rounding.
    index = np.where(np.abs(index - np.round(index)) < 1e-6, np.round(index), index)
    places, _ = between(points, np.zeros(points.shape[:2]), index)
    low = np.clip(np.floor(index), 0, len(times) - 1).astype(np.intp)
    high = np.clip(np.ceil(index), 0, len(times) - 1).astype(np.intp)
    error = np.linalg.norm(found.pixels - camera.project(places), axis=-1)
    return np.where(used[low] & used[high], error, np.nan)


def _rms(error: FloatArray) -> FloatArray:
    """Root mean square over the frames of (N, P); NaN where there is nothing."""
    there = np.isfinite(error)
    count = there.sum(axis=0)
    total = np.where(there, error, 0.0) ** 2
    return np.where(count > 0, np.sqrt(total.sum(axis=0) / np.maximum(count, 1)), np.nan)


def _median(error: FloatArray) -> FloatArray:
    """Median over the frames of (N, P); NaN where there is nothing."""
    there = np.isfinite(error).any(axis=0)
    # NumPy warns of a median of nothing.
    return np.where(there, np.nanmedian(np.where(there, error, 0.0), axis=0), np.nan)


def _over_time(error: FloatArray, since_s: FloatArray, count: int) -> FloatArray:
    """Median over all points in blocks of time, shape (B,). [px]"""
    block = np.floor(since_s / BLOCK_S + 1e-9).astype(np.intp)
    return np.array(
        [_median(error[block == b].reshape(-1, 1))[0] if (block == b).any() else np.nan for b in range(count)]
    )


def _worst(
    errors: Sequence[FloatArray],
    clocks: Sequence[FloatArray],
    labels: Sequence[str],
    names: Sequence[str],
    first_frames: Sequence[int],
) -> tuple[Worst, ...]:
    """The greatest errors; a point at a time once, in the picture where it is greatest."""
    every = [
        (float(error[frame, point]), number, int(frame), int(point))
        for number, error in enumerate(errors)
        for frame, point in zip(*np.nonzero(np.isfinite(error)), strict=True)
    ]
    kept: list[Worst] = []
    told: list[tuple[int, float]] = []
    for error_px, number, frame, point in sorted(every, reverse=True):
        time = float(clocks[number][frame])
        if any(point == other and abs(time - when) < SAME_S for other, when in told):
            continue
        told.append((point, time))
        kept.append(Worst(labels[number], names[point], first_frames[number] + frame, error_px))
        if len(kept) == WORST:
            break
    return tuple(kept)


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
