"""A comparison at other times than the recording's: between its frames, or in step with another swing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.swing import MOMENTS, Swing


def retimed(comparison: Comparison, frames: FloatArray, rate_hz: float) -> Comparison:
    """The same swing and reference at given frames, for drawing only: forces stay at the recording's own times.

    Parameters
    ----------
    comparison : Comparison
    frames : ndarray, shape (N,)
        Of the recording, fractions of a frame included, never falling; held at the recording's ends.
    rate_hz : float
        Of what is returned. [Hz]

    Returns
    -------
    Comparison
        Of N frames; places lie on a cubic through the recorded ones, each moment on the frame nearest to it.
    """
    swing = comparison.swing
    frames = np.clip(np.asarray(frames, dtype=np.float64), 0.0, swing.n_frames - 1.0)
    nearest = np.rint(frames).astype(int)
    moments = dict(swing.moments)
    for name in MOMENTS:
        index = swing.index(name)
        if index is not None:
            # The time stays the true one; only the frame on which it is shown is another.
            moments[name] = replace(moments[name], index=int(np.abs(frames - index).argmin()))
    moved = replace(
        swing,
        rate_hz=rate_hz,
        points=between(swing.points, frames),
        com=between(swing.com, frames),
        head_forward=_unit(between(swing.head_forward, frames)),
        frames=MappingProxyType({name: _rotations(axes, frames) for name, axes in swing.frames.items()}),
        filled=swing.filled[nearest],
        moments=MappingProxyType(moments),
    )
    return replace(
        comparison,
        swing=moved,
        reference_points=between(comparison.reference_points, frames),
        reference_com=between(comparison.reference_com, frames),
        distances=comparison.distances[nearest],
    )


def between(values: FloatArray, frames: FloatArray) -> FloatArray:
    """Values, shape (F, ...), at fractional frames, shape (N,), on a cubic through the four around each.

    Catmull & Rom (1974): the slope at a frame is half the way from its predecessor to its successor. Straight where one
    of the outer two is missing, NaN where one of the inner two is.
    """
    last = len(values) - 1
    start = np.clip(np.floor(frames).astype(int), 0, max(last - 1, 0))
    share = (frames - start).reshape(-1, *[1] * (values.ndim - 1))
    before, first, second, after = (values[np.clip(start + step, 0, last)] for step in (-1, 0, 1, 2))
    slope_first, slope_second = (second - before) / 2.0, (after - first) / 2.0
    straight = second - first
    lacking = ~(np.isfinite(slope_first) & np.isfinite(slope_second))
    slope_first, slope_second = (np.where(lacking, straight, slope) for slope in (slope_first, slope_second))
    cubic = (slope_first + slope_second - 2.0 * straight) * share + 3.0 * straight - 2.0 * slope_first - slope_second
    moved = first + share * (slope_first + share * cubic)
    # On a recorded frame its neighbours do not matter, there or not.
    return np.where(share == 0.0, first, np.where(share == 1.0, second, moved))


def in_step(lead: Swing, other: Swing, names: Sequence[str] = MOMENTS) -> FloatArray:
    """The other swing's frames at each frame of a lead, moments at moments, shape (F,).

    Between two moments that both have, time runs evenly; before the first and after the last it runs as recorded.

    Parameters
    ----------
    lead, other : Swing
    names : sequence of str
        Moments that are brought together.

    Raises
    ------
    ValueError
        They share no moment.
    """
    pairs = [(lead.index(name), other.index(name)) for name in names]
    shared = sorted((a, b) for a, b in pairs if a is not None and b is not None)
    if not shared:
        raise ValueError("the two swings share no moment")
    own, theirs = (np.array(column, dtype=np.float64) for column in zip(*shared, strict=True))
    keep = np.concatenate([[True], (np.diff(own) > 0) & (np.diff(np.maximum.accumulate(theirs)) >= 0)])
    own, theirs = own[keep], np.maximum.accumulate(theirs[keep])
    step = other.rate_hz / lead.rate_hz
    frames = np.arange(lead.n_frames, dtype=np.float64)
    inside = np.interp(frames, own, theirs)
    early, late = np.minimum(frames - own[0], 0.0), np.maximum(frames - own[-1], 0.0)
    return np.clip(inside + step * (early + late), 0.0, other.n_frames - 1.0)


def _rotations(axes: FloatArray, frames: FloatArray) -> FloatArray:
    """Rotation matrices between frames: blended, then made rotations again (nearest in the least-squares sense)."""
    blended = between(axes, frames)
    whole = np.asarray(np.isfinite(blended).all(axis=(1, 2)))
    left, _, right = np.linalg.svd(np.where(whole[:, None, None], blended, np.eye(3)))
    return np.where(whole[:, None, None], left @ right, np.nan)


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0.0, length, np.nan))
