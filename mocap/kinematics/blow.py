"""When bat and ball meet: a jump of velocity, placed between two frames."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray

#: A ball takes at least this share of the sweet spot's speed; a swing into the air keeps more of it. Straight lines
#: through few frames a second make a blow of any peak: the share grows by the square of this rate over the recording's.
#: [-], [Hz] This project's defaults.
BLOW_LOSS, COARSE_HZ = 0.12, 25.0
#: And more than this many standard deviations of what noise makes of it: the greatest of some thirty intervals often
#: exceeds three. This project's default.
BLOW_SDS = 4.5
#: Speeds on either side of the jump are carried to it along straight lines through this much of them. [s] This
#: project's default.
LINE_S = 0.018
#: A blow falls where the bat has at least this share of its greatest speed. This project's default.
NEAR_PEAK = 0.85
#: A ball stays on the bat for about a millisecond (from memory; 0.7 to 1.5 ms are common), so the middle of the blow,
#: which is what is seen, comes half of that after it begins; and how well that is known. [s]
BLOW_MIDDLE_S, BLOW_SD_S = 0.0005, 0.0003
#: What a bat that speeds up along a curve takes off the precision: share of an interval at one frame a second. Posed
#: swings at 60 to 500 Hz.
CURVED = 15.0
#: A ball that is struck changes its velocity by at least this. [m/s] This project's default.
BALL_JUMP = 5.0


class Blow(NamedTuple):
    """When, and its standard deviation. [frames]"""

    frame: float
    sd: float


def bat_blow(spot: FloatArray, rate_hz: float, first: int, last: int) -> Blow | None:
    """When the bat lost speed faster than any muscle could brake it.

    Parameters
    ----------
    spot : ndarray, shape (F, 3)
        Unfiltered path of the sweet spot. [m]
    rate_hz : float
        [Hz]
    first, last : int
        Frames between which it is looked for.

    Returns
    -------
    Blow or None
        None where the speed does not break.

    Notes
    -----
    In the interval of the blow the bat moves at its speed before for a part of the time and at its speed after for the
    rest: the mean speed of the interval tells the part. Both speeds are those of straight lines through the intervals
    before and after, carried to the middle of the one between.
    """
    speeds = np.linalg.norm(np.diff(spot, axis=0), axis=1) * rate_hz
    count = max(round(LINE_S * rate_hz), 3)
    weights = _line_weights(count)
    before, after = _sides(speeds, weights)
    jump = before - after
    part = slice(max(first, 0), min(last, len(speeds)))
    if not np.isfinite(jump[part]).any():
        return None
    fast = before >= NEAR_PEAK * np.nanmax(speeds[part])
    allowed = np.where(fast, jump, np.nan)[part]
    if not np.isfinite(allowed).any():
        return None
    at = part.start + int(np.nanargmax(allowed))
    noise = noise_of(spot[: max(first, 8)])
    of_places = np.diff(weights, prepend=0.0, append=0.0)  # neighbouring speeds share a place
    factor = float(np.sqrt(2.0 * (of_places**2).sum()))
    if jump[at] < max((BLOW_LOSS + (COARSE_HZ / rate_hz) ** 2) * before[at], BLOW_SDS * noise * rate_hz * factor):
        return None
    share = float(np.clip((speeds[at] - after[at]) / jump[at], 0.0, 1.0))
    # What noise of the places makes of the part: of the interval's own speed less its parts of those before and after.
    parts = [np.append(1.0 + side * of_places[0], side * of_places[1:]) for side in (share, 1.0 - share)]
    errors = (np.linalg.norm(parts) * noise * rate_hz / jump[at], BLOW_SD_S * rate_hz, CURVED / rate_hz)
    sd = float(np.linalg.norm(errors))
    return Blow(at + share - BLOW_MIDDLE_S * rate_hz, sd)


def _line_weights(count: int) -> FloatArray:
    """Weights of the value at 0 of the straight line through values at 1, 2, ... intervals, shape (count,)."""
    offsets = np.arange(1, count + 1, dtype=np.float64)
    spread = ((offsets - offsets.mean()) ** 2).sum()
    weights: FloatArray = 1.0 / count + offsets.mean() * (offsets.mean() - offsets) / spread
    return weights


def _sides(speeds: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Speed before and after each interval, carried to its middle along straight lines."""
    count = len(weights)
    padded = np.concatenate([np.full(count, np.nan), speeds, np.full(count, np.nan)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, count)
    before = windows[: len(speeds)] @ weights[::-1]
    after = windows[count + 1 : count + 1 + len(speeds)] @ weights
    return before, after


def ball_blow(ball: FloatArray, spot: FloatArray | None, rate_hz: float, first: int, last: int) -> Blow | None:
    """When the ball's velocity jumps: off the tee, or from its flight toward the plate.

    Parameters
    ----------
    ball : ndarray, shape (F, 3)
        Unfiltered. [m]
    spot : ndarray, shape (F, 3) or None
        The bat's sweet spot, near which a ball is struck. [m]
    rate_hz : float
        [Hz]
    first, last : int
        Frames between which it is looked for.

    Returns
    -------
    Blow or None
        None where the ball is not seen before and after, or keeps its velocity.
    """
    steps = np.diff(ball, axis=0) * rate_hz
    near, far = (_shifted(steps, -k) for k in (1, 2))
    before = (_shifted(steps, 1) + _shifted(steps, 2)) / 2.0
    # A struck ball may be out of sight soon: one step after the blow will do.
    after = np.where(np.isfinite(far), (near + far) / 2.0, near)
    change = after - before
    jump = np.linalg.norm(change, axis=1)
    part = slice(max(first, 0), min(last, len(steps)))
    if not np.isfinite(jump[part]).any():
        return None
    at = part.start + int(np.nanargmax(jump[part]))
    if jump[at] < BALL_JUMP:
        return None
    if spot is not None and np.linalg.norm(spot[at] - ball[at]) > 0.5:
        return None
    share = float(np.clip((after[at] - steps[at]) @ change[at] / jump[at] ** 2, 0.0, 1.0))
    speed_sd = np.sqrt(2.0) * noise_of(ball[:at]) * rate_hz
    # With one step alone after it, the blow may lie in that step.
    alone = 0.0 if np.isfinite(far[at]).all() else 0.5
    return Blow(
        at + share - BLOW_MIDDLE_S * rate_hz, float(np.linalg.norm([speed_sd / jump[at], BLOW_SD_S * rate_hz, alone]))
    )


def _shifted(values: FloatArray, by: int) -> FloatArray:
    """Values moved later by some places (earlier where negative), NaN where none are."""
    moved = np.full_like(values, np.nan)
    if by > 0:
        moved[by:] = values[:-by]
    else:
        moved[:by] = values[-by:]
    return moved


def noise_of(path: FloatArray) -> float:
    """Noise of a path per axis, from its third differences, in which a slow movement does not show. [m]

    These have 1 + 9 + 9 + 1 times the variance of one sample; the median is 0.6745 standard deviations of a normal one.
    """
    third = np.abs(np.diff(path, 3, axis=0))
    third = third[np.isfinite(third)]
    return float(np.median(third)) / 0.6745 / np.sqrt(20.0) if len(third) else 0.0
