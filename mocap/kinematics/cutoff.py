"""At which frequency to low-pass each path: Winter's residual analysis, and what to make of it in a swing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.filtering import BAT_CUTOFF_HZ, BODY_CUTOFF_HZ, DOUBLE_PASS, HIGHEST_SHARE

BoolArray = npt.NDArray[np.bool_]

#: Cut-offs are sought from here to `HIGHEST_SHARE` of the rate. [Hz]
LOWEST_HZ = 1.0
#: The noise region is the longest one that ends at this share of half the rate and is straight: correlation of residual
#: and cut-off at least this. Beyond it the residual of white noise bends down. This project's defaults.
NOISE_ENDS, STRAIGHT = 0.7, 0.95
#: An intercept below this share of the path's own size is no noise but rounding.
NOISELESS = 1e-5
#: Fewer samples than this show no noise region.
FEWEST_SAMPLES = 32
#: What a swing is filtered at, from what residual analysis finds in it, and its bounds: `chosen_cutoffs` says why. [Hz]
OVER_RESIDUAL, LOWEST_CHOSEN_HZ, HIGHEST_CHOSEN_HZ = 2.0, 8.0, 40.0
#: Points that move in shorter times than the body and get the higher default.
QUICK = ("wrist", "hand", "bat")


@dataclass(frozen=True)
class Cutoffs:
    """What residual analysis finds in each path.

    Attributes
    ----------
    cutoff_hz : ndarray, shape (P,)
        Frequency at which the low-pass takes off as much as there is noise. [Hz]
    noise : ndarray, shape (P,)
        Standard deviation of a sample per axis, from the intercept; 0 where the path shows no noise, NaN where it is
        too short to tell. [unit of the path]
    """

    cutoff_hz: FloatArray
    noise: FloatArray


def residual_cutoffs(paths: FloatArray, rate_hz: float) -> Cutoffs:
    """Cut-off of each path by residual analysis.

    Parameters
    ----------
    paths : ndarray, shape (F, P) or (F, P, 3)
        NaN where missing: then the longest stretch without gaps counts.
    rate_hz : float
        [Hz]

    Returns
    -------
    Cutoffs
        Paths with three axes have one cut-off, for the distance between raw and filtered. Where no noise is found,
        and where fewer than 32 samples in a row were seen, it is the ceiling, 0.4 times the rate.

    Notes
    -----
    The residual R(f) is the root mean square of what a low-pass at f takes off. Over the frequencies at which only
    noise is left it falls along a straight line, which is carried on to 0 Hz: its intercept estimates the noise. The
    cut-off is where R equals that intercept, so that as much signal is lost as noise passes (Winter, Fig. 3.20).

    R is found for all cut-offs at once: the path, less the line through its ends and mirrored about them, is a sum of
    sines, of which the double-pass Butterworth filter takes off the share 1 - 1 / (1 + (tan(pi g / rate) / w)^4) with
    w the corrected design frequency; by Parseval's theorem R^2 is the sum of their squares.

    References
    ----------
    Winter DA (2009) Biomechanics and Motor Control of Human Movement, 4th ed., section 3.4.4.3.
    """
    paths = paths[:, :, None] if paths.ndim == 2 else paths
    ceiling = HIGHEST_SHARE * rate_hz
    cutoffs, noise = np.full(paths.shape[1], ceiling), np.full(paths.shape[1], np.nan)
    spans: dict[tuple[int, int], list[int]] = {}
    seen: BoolArray = np.asarray(np.isfinite(paths).all(axis=2))
    for column in range(paths.shape[1]):
        spans.setdefault(_longest_run(seen[:, column]), []).append(column)
    for (start, stop), columns in spans.items():
        if stop - start >= FEWEST_SAMPLES:
            cutoffs[columns], noise[columns] = _analysed(paths[start:stop, columns], rate_hz)
    return Cutoffs(np.clip(cutoffs, min(LOWEST_HZ, ceiling), ceiling), noise)


def chosen_cutoffs(paths: FloatArray, names: Sequence[str], rate_hz: float) -> FloatArray:
    """Cut-off for each point of a swing.

    Parameters
    ----------
    paths : ndarray, shape (F, P, 3)
        NaN where missing. [m]
    names : sequence of str, length P
        Names of the points; those of wrists, hands and bat are quick.
    rate_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (P,)
        Whole numbers: `OVER_RESIDUAL` times what residual analysis finds, between `LOWEST_CHOSEN_HZ` and
        `HIGHEST_CHOSEN_HZ`. Where a path is too short to show its noise, the default for its name. [Hz]

    Notes
    -----
    Residual analysis weighs the whole recording alike, in which the hitter mostly stands; for the turn it is far too
    low. Posed swings, whose true paths are known, with white noise at 120, 240 and 480 Hz, RMS errors of the velocity
    in m/s (pelvis: plant to contact; others: 0.05 s before contact to 0.02 s after), for fixed cut-offs (14 Hz, quick
    points 25 Hz), for residual analysis, for it with the fixed ones as a floor, and for this rule:

    ======  ========  =====  ========  =====  =========
    noise   point     fixed  residual  floor  this rule
    ======  ========  =====  ========  =====  =========
    none    pelvis    0.01   0.00      0.00   0.00
    none    elbows    0.31   0.14      0.14   0.07
    none    wrists    0.09   0.09      0.07   0.05
    none    barrel    0.31   0.30      0.30   0.29
    1 mm    pelvis    0.04   0.07      0.04   0.03
    1 mm    elbows    0.32   0.35      0.30   0.15
    1 mm    wrists    0.11   0.26      0.11   0.12
    1 mm    barrel    0.32   0.46      0.32   0.31
    3 mm    pelvis    0.12   0.14      0.12   0.07
    3 mm    elbows    0.34   0.57      0.34   0.26
    3 mm    wrists    0.25   0.42      0.25   0.21
    3 mm    barrel    0.38   0.77      0.38   0.41
    10 mm   pelvis    0.39   0.21      0.39   0.20
    10 mm   elbows    0.49   1.06      0.49   0.50
    10 mm   wrists    0.81   0.83      0.81   0.39
    10 mm   barrel    0.77   1.65      0.77   0.72
    ======  ========  =====  ========  =====  =========

    For fast points the cut-off with the smallest error of velocity lies near 1.6 (barrel) to 2.5 times (elbows) the
    residual one at every rate and noise, in swings made a fifth faster too; for slow ones, near it, at errors that are
    small either way.
    """
    found = residual_cutoffs(paths, rate_hz)
    chosen = np.clip(np.round(OVER_RESIDUAL * found.cutoff_hz), LOWEST_CHOSEN_HZ, HIGHEST_CHOSEN_HZ)
    default = np.array([usual_cutoff(name) for name in names])
    cutoffs: FloatArray = np.minimum(np.where(np.isfinite(found.noise), chosen, default), HIGHEST_SHARE * rate_hz)
    return cutoffs


def usual_cutoff(name: str) -> float:
    """Cut-off by a point's name alone. [Hz]"""
    return BAT_CUTOFF_HZ if any(part in name for part in QUICK) else BODY_CUTOFF_HZ


def _longest_run(flags: BoolArray) -> tuple[int, int]:
    """Half-open span of the longest run of true."""
    if flags.all():
        return 0, len(flags)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))).reshape(-1, 2)
    if not len(edges):
        return 0, 0
    start, stop = edges[np.argmax(edges[:, 1] - edges[:, 0])]
    return int(start), int(stop)


def _analysed(paths: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Cut-off and noise per axis of whole paths of shape (F, P, A)."""
    power, frequency = _power(paths, rate_hz)
    top = NOISE_ENDS * rate_hz / 2.0
    even = np.linspace(0.01, 1.0, 100) * top
    intercept = _intercept(even, _residual(even, power, frequency, rate_hz))
    fine = np.geomspace(min(LOWEST_HZ, even[0]), top, 96)
    residual = _residual(fine, power, frequency, rate_hz)
    # The first cut-off at which no more is taken off than there is noise, between two of the grid on a straight line.
    under = np.argmax(residual <= intercept, axis=0)
    over, column = np.maximum(under - 1, 0), np.arange(len(under))
    drop = np.maximum(residual[over, column] - residual[under, column], np.finfo(float).tiny)
    share = np.clip((residual[over, column] - intercept) / drop, 0.0, 1.0)
    found = fine[over] + share * (fine[under] - fine[over])
    noisy = intercept > NOISELESS * np.sqrt(power.sum(axis=0))
    noise = np.where(noisy, intercept / float(paths.shape[2]) ** 0.5, 0.0)
    return np.where(noisy, found, HIGHEST_SHARE * rate_hz), np.asarray(noise, dtype=np.float64)


def _power(paths: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Mean square of each sine of the paths, axes added, shape (F - 2, P), and the sines' frequencies. [Hz]"""
    from scipy.fft import dst

    count = len(paths) - 1
    along = (np.arange(len(paths)) / count)[:, None, None]
    level = paths - (paths[0] + along * (paths[-1] - paths[0]))
    sines = dst(level[1:-1], type=1, axis=0) / count
    power: FloatArray = (sines**2).sum(axis=2) / 2.0
    frequency = np.arange(1, count, dtype=np.float64) * (rate_hz / (2.0 * count))
    return power, frequency


def _residual(cutoffs: FloatArray, power: FloatArray, frequency: FloatArray, rate_hz: float) -> FloatArray:
    """RMS of what each cut-off takes off each path, shape (C, P)."""
    warped = np.tan(np.pi * frequency / rate_hz)[None, :] * DOUBLE_PASS / np.tan(np.pi * cutoffs / rate_hz)[:, None]
    fourth = warped**4
    residual: FloatArray = np.sqrt((fourth / (1.0 + fourth)) ** 2 @ power)
    return residual


def _intercept(cutoffs: FloatArray, residual: FloatArray) -> FloatArray:
    """Where the straight line through the noise region meets 0 Hz, shape (P,); 0 where nothing is straight."""
    x = cutoffs[:, None] - cutoffs.mean()
    # Sums over all cut-offs from each one to the last.
    n, sx, sxx, sy, sxy, syy = (
        np.cumsum(values[::-1], axis=0)[::-1]
        for values in (np.ones_like(x), x, x * x, residual, x * residual, residual * residual)
    )
    covariance, variance_x, variance_y = sxy - sx * sy / n, sxx - sx * sx / n, syy - sy * sy / n
    with np.errstate(divide="ignore", invalid="ignore"):
        straight = covariance <= -STRAIGHT * np.sqrt(np.maximum(variance_x * variance_y, 0.0))
    straight &= (n >= 10) & (covariance < 0.0)
    start, column = np.argmax(straight, axis=0), np.arange(residual.shape[1])
    slope = covariance[start, column] / variance_x[start, 0]
    intercept = (sy[start, column] - slope * sx[start, 0]) / n[start, 0] - slope * cutoffs.mean()
    return np.where(straight.any(axis=0), intercept, 0.0)
