"""What a camera saw between its frames: cubic convolution of paths, and how uncertain that is.

R. G. Keys (1981) *Cubic convolution interpolation for digital image processing*, IEEE Trans. Acoust. Speech Signal
Process. 29:1153-1160: exact for parabolas, with a continuous rate. At 120 Hz the end of a bat that turns at 45 rad/s is
off by a third of a millimetre.
"""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray

#: A neighbour that weighs less than this may be missing.
NO_WEIGHT = 1e-6
#: A point that is so many times its standard deviation, and more than a share of the neighbours' distance, off the path
#: through its neighbours has leapt. A bat that turns at 45 rad/s is off by a share of 0.035 at 60 Hz. This project's
#: defaults.
LEAP_SD, LEAP_SHARE = 6.0, 0.1
#: Rounds of taking out leaps; in each, the worst within two frames.
LEAP_ROUNDS = 6


def without_leaps(paths: FloatArray, sd: FloatArray) -> FloatArray:
    """Paths with NaN where a point leaps off its path for a frame or two.

    Parameters
    ----------
    paths : ndarray, shape (F, P, D)
        NaN where missing.
    sd : ndarray, shape (F, P)
        Standard deviation per axis of each.

    Returns
    -------
    ndarray, shape (F, P, D)

    Notes
    -----
    The path at a frame is the cubic through the two neighbours to either side, (4 (x1 + x-1) - x2 - x-2) / 6; where one
    of the four is missing, nothing is taken out.
    """
    paths = paths.copy()
    if len(paths) < 5:
        return paths
    for _ in range(LEAP_ROUNDS):
        x = np.moveaxis(np.stack([paths[k : len(paths) - 4 + k] for k in range(5)]), -1, 0)
        off = np.sqrt(((x[:, 2] - (4.0 * (x[:, 1] + x[:, 3]) - x[:, 0] - x[:, 4]) / 6.0) ** 2).sum(axis=0))
        spread = np.stack([sd[k : len(sd) - 4 + k] for k in range(5)])
        noise = np.sqrt(
            spread[2] ** 2 + (16.0 * (spread[1] ** 2 + spread[3] ** 2) + spread[0] ** 2 + spread[4] ** 2) / 36
        )
        apart = np.sqrt(((x[:, 3] - x[:, 1]) ** 2).sum(axis=0))
        excess = np.zeros(paths.shape[:2])
        excess[2:-2] = np.nan_to_num(off / np.maximum(LEAP_SD * noise, LEAP_SHARE * apart))
        greatest = excess.copy()
        for shift in (1, 2):
            greatest[shift:] = np.maximum(greatest[shift:], excess[:-shift])
            greatest[:-shift] = np.maximum(greatest[:-shift], excess[shift:])
        leaps = (excess > 1.0) & (excess >= greatest)
        if not leaps.any():
            break
        paths[leaps] = np.nan
    return paths


def between(paths: FloatArray, sd: FloatArray, index: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Paths at places between their frames.

    Parameters
    ----------
    paths : ndarray, shape (F, P, D)
        NaN where missing.
    sd : ndarray, shape (F, P)
        Standard deviation per axis of each, independent from frame to frame.
    index : ndarray, shape (N,)
        Frames counted from 0, with fractions; beyond the ends nothing is known.

    Returns
    -------
    paths : ndarray, shape (N, P, D)
        NaN where one of the four frames round it that count is missing.
    sd : ndarray, shape (N, P)
        Of them: least midway between frames, 0.8 of the frames' own.
    """
    base = np.floor(index).astype(np.intp)
    t = (index - base)[:, None]
    weights = np.concatenate(
        [
            -0.5 * t + t**2 - 0.5 * t**3,
            1.0 - 2.5 * t**2 + 1.5 * t**3,
            0.5 * t + 2.0 * t**2 - 1.5 * t**3,
            -0.5 * t**2 + 0.5 * t**3,
        ],
        axis=1,
    )
    weights[np.abs(weights) < NO_WEIGHT] = 0.0
    frames = base[:, None] + np.arange(-1, 3)
    outside = (frames < 0) | (frames >= len(paths))
    frames = np.clip(frames, 0, len(paths) - 1)
    lost = ~np.isfinite(paths).all(axis=2) | ~np.isfinite(sd)
    clean, spread = np.where(lost[..., None], 0.0, paths), np.where(lost, 0.0, sd)
    value = np.zeros((len(index), *paths.shape[1:]))
    square = np.zeros(value.shape[:2])
    missing = np.zeros(value.shape[:2], dtype=np.bool_)
    for tap in range(4):
        weight, frame = weights[:, tap, None], frames[:, tap]
        value += weight[..., None] * clean[frame]
        square += (weight * spread[frame]) ** 2
        missing |= (weight != 0.0) & (lost[frame] | outside[:, tap, None])
    value[missing], square[missing] = np.nan, np.nan
    return value, np.sqrt(square)
