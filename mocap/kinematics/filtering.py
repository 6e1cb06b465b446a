"""Cleaning of paths: short gaps filled, noise removed by a zero-lag low-pass filter, derivatives."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray

#: Cut-off for joints of the body. [Hz] Common practice for swings is 10 to 15 Hz, no single source.
BODY_CUTOFF_HZ = 14.0
#: Cut-off for wrists, hands and bat, which move in shorter times. [Hz] This project's default.
BAT_CUTOFF_HZ = 25.0
#: The path's end before a blow is carried on by a cubic through this much of it. [s] This project's default.
END_FIT_S = 0.025
#: Gaps up to this long are bridged by a spline. [s] This project's default.
LONGEST_GAP_S = 0.10


def lowpass(paths: FloatArray, rate_hz: float, cutoff_hz: float) -> FloatArray:
    """Zero-lag second-order Butterworth low-pass, run forward and backward.

    Parameters
    ----------
    paths : ndarray, shape (F, ...)
        First axis is time; NaN splits a path into runs that are filtered apart.
    rate_hz : float
        Sampling rate. [Hz]
    cutoff_hz : float
        Frequency at which the two passes together let through 1/sqrt(2). Limited to 0.4 times the rate. [Hz]

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
    from scipy.signal import butter, filtfilt

    cutoff = min(cutoff_hz, 0.4 * rate_hz)
    warped = np.tan(np.pi * cutoff / rate_hz) / (np.sqrt(2.0) - 1.0) ** 0.25
    design = rate_hz / np.pi * np.arctan(warped)
    b, a = butter(2, design / (rate_hz / 2))
    flat = paths.reshape(len(paths), -1)
    out = flat.copy()
    whole = np.isfinite(flat).all(axis=0)
    pad = 12
    if whole.any() and len(flat) > pad:
        out[:, whole] = filtfilt(b, a, flat[:, whole], axis=0, padlen=pad)
    for column in np.flatnonzero(~whole):
        for start, stop in runs(np.isfinite(flat[:, column])):
            if stop - start > pad:
                out[start:stop, column] = filtfilt(b, a, flat[start:stop, column], padlen=pad)
    return out.reshape(paths.shape)


def lowpass_to_the_end(paths: FloatArray, rate_hz: float, cutoff_hz: float) -> FloatArray:
    """Low-pass whose last samples keep position and slope, for a path that breaks off at a blow.

    Parameters
    ----------
    paths : ndarray, shape (F, C)
    rate_hz, cutoff_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (F, C)

    Notes
    -----
    Before it is filtered the path is carried on beyond its end by the cubic through its last samples (`END_FIT_S`),
    so that the end lies inside. The filter's own mirrored extension would bend the velocity there.
    """
    count = max(round(END_FIT_S * rate_hz) + 1, 5)
    tail = paths[-count:]
    if len(paths) < count + 4 or not np.isfinite(tail).all():
        return lowpass(paths, rate_hz, cutoff_hz)
    time = np.arange(-count + 1, 1)
    beyond = np.arange(1, round(2.0 / cutoff_hz * rate_hz) + 1)
    carried_on = np.vander(beyond, 4) @ np.linalg.lstsq(np.vander(time, 4), tail, rcond=None)[0]
    # The cubic is only good nearby: farther out it goes on straight.
    near = max(count // 2, 2)
    step = carried_on[near - 1] - carried_on[near - 2]
    carried_on[near:] = carried_on[near - 1] + step * (beyond[near:] - near)[:, None]
    return lowpass(np.concatenate([paths, carried_on]), rate_hz, cutoff_hz)[: len(paths)]


def fill_gaps(paths: FloatArray, rate_hz: float) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Bridge short gaps with a cubic spline through the samples around them.

    Parameters
    ----------
    paths : ndarray, shape (F, P, 3)
        NaN where missing.
    rate_hz : float
        [Hz]

    Returns
    -------
    (filled, marked)
        `filled` as `paths`; `marked`, shape (F, P), is true for every sample that was filled. Gaps longer than
        `LONGEST_GAP_S` and gaps at either end stay NaN.
    """
    from scipy.interpolate import CubicSpline

    filled = paths.copy()
    seen: npt.NDArray[np.bool_] = np.asarray(np.isfinite(paths).all(axis=2))
    marked = np.zeros_like(seen)
    longest = round(LONGEST_GAP_S * rate_hz)
    for point in np.flatnonzero(~seen.all(axis=0) & seen.any(axis=0)):
        known = np.flatnonzero(seen[:, point])
        for start, stop in runs(~seen[:, point]):
            if start == 0 or stop == len(paths) or stop - start > longest:
                continue
            around = known[max(int(np.searchsorted(known, start)) - 8, 0) :][:16]
            if len(around) < 4:
                continue
            span = slice(start, stop)
            filled[span, point] = CubicSpline(around, paths[around, point])(np.arange(start, stop))
            marked[span, point] = True
    return filled, marked


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


def runs(flags: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open spans over which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
