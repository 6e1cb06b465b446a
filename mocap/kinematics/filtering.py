"""Noise removed by a zero-lag low-pass filter, and derivatives; neither smeared by an impact."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

#: Cut-off for joints of the body where none is chosen from the data. [Hz] Common practice for swings is 10 to 15 Hz, no
#: single source.
BODY_CUTOFF_HZ = 14.0
#: Cut-off for wrists, hands and bat, which move in shorter times. [Hz] This project's default.
BAT_CUTOFF_HZ = 25.0
#: The path's end before a blow is carried on by a cubic through this much of it. [s] This project's default.
END_FIT_S = 0.025
#: The filtered path's last samples give way to a polynomial of this degree through so much of the path. [s]
TAIL_S, TAIL_DEGREE = 0.05, 4
#: Samples mirrored about the ends of a run before it is filtered; runs no longer than this are not filtered.
PAD = 12
#: Two passes let through 1/sqrt(2) at this share of one pass's cut-off, on the warped axis: (sqrt(2) - 1)^(1/4).
DOUBLE_PASS = (2.0**0.5 - 1.0) ** 0.25
#: No cut-off is above this share of the rate.
HIGHEST_SHARE = 0.4


def lowpass(paths: FloatArray, rate_hz: float, cutoff_hz: float | FloatArray) -> FloatArray:
    """Zero-lag second-order Butterworth low-pass, run forward and backward.

    Parameters
    ----------
    paths : ndarray, shape (F, ...)
        First axis is time; NaN splits a path into runs that are filtered apart.
    rate_hz : float
        Sampling rate. [Hz]
    cutoff_hz : float or ndarray, shape (P,)
        Frequency at which the two passes together let through 1/sqrt(2); one for all, or one for each entry of the
        second axis of `paths`. Limited to `HIGHEST_SHARE` of the rate. [Hz]

    Returns
    -------
    ndarray, shape (F, ...)
        Runs too short to filter (12 samples and fewer) are returned as they are.

    Notes
    -----
    Each pass is designed for a higher cut-off, so that both together have the stated one: the correction factor
    (sqrt(2) - 1)^(1/4) = 0.802 divides the tangent of the warped frequency, which is exact for the digital filter.

    References
    ----------
    Winter DA (2009) Biomechanics and Motor Control of Human Movement, 4th ed., section 3.4.4.
    """
    from scipy.signal import filtfilt

    flat = paths.reshape(len(paths), -1)
    cutoffs = np.minimum(_per_column(cutoff_hz, paths), HIGHEST_SHARE * rate_hz)
    out, finite = flat.copy(), np.isfinite(flat)
    for cutoff in np.unique(cutoffs):
        b, a = _one_pass(float(cutoff), rate_hz)
        for start, stop, columns in _alike(finite, np.flatnonzero(cutoffs == cutoff)):
            if stop - start > PAD:
                out[start:stop, columns] = filtfilt(b, a, flat[start:stop, columns], axis=0, padlen=PAD)
    return out.reshape(paths.shape)


@lru_cache(maxsize=256)
def _one_pass(cutoff_hz: float, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Coefficients of one of the two passes."""
    from scipy.signal import butter

    warped = np.tan(np.pi * cutoff_hz / rate_hz) / DOUBLE_PASS
    b, a = butter(2, 2.0 / np.pi * np.arctan(warped))
    return b, a


def _per_column(cutoff_hz: float | FloatArray, paths: FloatArray) -> FloatArray:
    """One cut-off for each column of the flattened paths. [Hz]"""
    cutoffs = np.asarray(cutoff_hz, dtype=np.float64)
    spread = cutoffs.reshape(cutoffs.shape + (1,) * (paths.ndim - 1 - cutoffs.ndim))
    return np.broadcast_to(spread, paths.shape[1:]).ravel()


def _alike(finite: BoolArray, columns: IntArray) -> Iterator[tuple[int, int, IntArray]]:
    """Half-open runs of finite samples, each with all the columns that have it."""
    whole = finite[:, columns].all(axis=0)
    if whole.any():
        yield 0, len(finite), columns[whole]
    spans: dict[tuple[int, int], list[int]] = {}
    for column in columns[~whole]:
        for span in runs(finite[:, column]):
            spans.setdefault(span, []).append(int(column))
    for (start, stop), together in spans.items():
        yield start, stop, np.array(together)


def blur_of(cutoff_hz: float) -> float:
    """Standard deviation of the normal curve that passes as much of its cut-off frequency as `lowpass`. [s]

    Its transfer function is exp(-(2 pi f s)^2 / 2), which is 1 / sqrt 2 there.
    """
    return float(np.sqrt(np.log(2.0)) / (2.0 * np.pi * cutoff_hz))


def lowpass_to_the_end(paths: FloatArray, rate_hz: float, cutoff_hz: float | FloatArray) -> FloatArray:
    """Low-pass whose last samples keep position and slope, for paths that break off at a blow.

    Parameters
    ----------
    paths : ndarray, shape (F, ...)
    rate_hz : float
        [Hz]
    cutoff_hz : float or ndarray, shape (P,)
        As for `lowpass`. [Hz]

    Returns
    -------
    ndarray, shape (F, ...)

    Notes
    -----
    Before it is filtered a path is carried on beyond its end by the cubic through its last samples (`END_FIT_S`),
    so that the end lies inside. The filter's own mirrored extension would bend the velocity there. A path whose last
    samples were not all seen is not carried on.

    The filter still bends what turns fast, and nothing beyond the end holds it back: toward the end its result gives
    way, along a straight line, to the quartic through the last `TAIL_S`. Posed swings with 1 mm of noise at 240 Hz: RMS
    error at contact of the sweet spot's speed 0.44 m/s instead of 0.57, of its direction 1.0 instead of 1.65 degrees;
    a quartic through 30 ms is noisier, a cubic through 50 ms too stiff.
    """
    count = max(round(END_FIT_S * rate_hz) + 1, 5)
    if len(paths) < count + 4:
        return lowpass(paths, rate_hz, cutoff_hz)
    tail = paths[-count:].reshape(count, -1)
    time = np.arange(-count + 1, 1)
    beyond = np.arange(1, round(2.0 / float(np.min(cutoff_hz)) * rate_hz) + 1)
    # NaN in a tail stays NaN beyond it: that path ends where it was last seen.
    cubic = np.vander(beyond, 4) @ np.linalg.pinv(np.vander(time, 4))
    carried_on = np.einsum("bt,tc->bc", cubic, tail)
    # The cubic is only good nearby: farther out it goes on straight.
    near = max(count // 2, 2)
    step = carried_on[near - 1] - carried_on[near - 2]
    carried_on[near:] = carried_on[near - 1] + step * (beyond[near:] - near)[:, None]
    longer = np.concatenate([paths, carried_on.reshape(-1, *paths.shape[1:])])
    smooth = lowpass(longer, rate_hz, cutoff_hz)[: len(paths)]
    last = round(TAIL_S * rate_hz) + 1
    if TAIL_DEGREE + 2 <= last <= len(paths):
        powers = np.vander(np.arange(-last + 1, 1), TAIL_DEGREE + 1)
        fitted = powers @ (np.linalg.pinv(powers) @ paths[-last:].reshape(last, -1))
        share = np.linspace(0.0, 1.0, last)[:, None]
        blended = (1.0 - share) * smooth[-last:].reshape(last, -1) + share * fitted
        # Where the tail was not all seen there is no quartic.
        smooth[-last:] = np.where(np.isfinite(blended), blended, smooth[-last:].reshape(last, -1)).reshape(
            last, *paths.shape[1:]
        )
    return smooth


def split_lowpass(paths: FloatArray, rate_hz: float, cutoff_hz: float | FloatArray, split: int | None) -> FloatArray:
    """Low-pass up to an impact and after it apart, so that neither side's velocity leaks into the other.

    Parameters
    ----------
    paths : ndarray, shape (F, ...)
    rate_hz : float
        [Hz]
    cutoff_hz : float or ndarray, shape (P,)
        As for `lowpass`. [Hz]
    split : int or None
        Last frame before the impact changes the velocity; None: no impact.

    Returns
    -------
    ndarray, shape (F, ...)
    """
    if split is None:
        return lowpass(paths, rate_hz, cutoff_hz)
    if split >= len(paths) - 1:
        return lowpass_to_the_end(paths, rate_hz, cutoff_hz)
    before = lowpass_to_the_end(paths[: split + 1], rate_hz, cutoff_hz)
    after = lowpass_to_the_end(paths[:split:-1], rate_hz, cutoff_hz)[::-1]
    return np.concatenate([before, after])


def derivative(paths: FloatArray, rate_hz: float) -> FloatArray:
    """Rate of change by central differences, one-sided at the ends.

    Parameters
    ----------
    paths : ndarray, shape (F, ...)
    rate_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (F, ...)
        [unit of `paths` / s]
    """
    if len(paths) < 2:
        return np.zeros_like(paths)
    result: FloatArray = np.gradient(paths, 1.0 / rate_hz, axis=0)
    return result


def speed(path: FloatArray, rate_hz: float) -> FloatArray:
    """Magnitude of the velocity of a path of shape (F, 3), shape (F,). [m/s]"""
    return np.linalg.norm(derivative(path, rate_hz), axis=-1)


def runs(flags: BoolArray) -> list[tuple[int, int]]:
    """Half-open spans over which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
