"""Smooth functions of time: rounded tracks through key values, steps with an end, bell-shaped turns."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError

#: Rounding of a track's corner, as share of the shorter gap beside its key. Larger is rounder; beyond about 0.6 the
#: track no longer keeps to the values between its keys.
ROUNDING = 0.42

#: Time constants of an impact: the loss of speed, and its recovery. [s] A ball stays on a bat for under a millisecond.
IMPACT_S, RECOVERY_S = 0.00015, 0.05


@dataclass(frozen=True)
class Track:
    """A curve through key values, infinitely smooth in time, that starts and ends at rest.

    It leaves the first value around the first key, passes exactly through the inner keys, and settles on the last value
    around the last key. A polyline through auxiliary values, convolved corner by corner with a Gaussian.

    Attributes
    ----------
    times_s : ndarray, shape (K,)
        Strictly increasing. [s]
    values : ndarray, shape (K, ...)
        Value at each key.
    rounding : float or ndarray, shape (K,)
        Of the corners, as share of the shorter gap beside each key. [-]
    """

    times_s: FloatArray
    values: FloatArray
    rounding: float | FloatArray = ROUNDING

    def __call__(self, time_s: npt.ArrayLike) -> FloatArray:
        """Value at each time, shape (T, ...)."""
        value: FloatArray = np.tensordot(self._basis(np.asarray(time_s, dtype=np.float64)), self._nodes, axes=(1, 0))
        return value

    @cached_property
    def _nodes(self) -> FloatArray:
        basis = self._basis(self.times_s)
        # Far outside the keys only the first or the last auxiliary value counts.
        basis[0], basis[-1] = np.eye(len(basis))[[0, -1]]
        flat = np.linalg.solve(basis, self.values.reshape(len(basis), -1))
        return np.asarray(flat, dtype=np.float64).reshape(self.values.shape)

    @cached_property
    def _widths(self) -> FloatArray:
        gaps = np.diff(self.times_s)
        beside = np.minimum(np.concatenate([gaps[:1], gaps]), np.concatenate([gaps, gaps[-1:]]))
        return self.rounding * beside

    @classmethod
    def weights(cls, times_s: FloatArray, time_s: FloatArray, rounding: float | FloatArray = ROUNDING) -> FloatArray:
        """What each key value counts at each time, shape (T, K): a track's value is their product with the values."""
        return cls(times_s, np.eye(len(times_s)), rounding)(time_s)

    def _basis(self, time_s: FloatArray) -> FloatArray:
        """Weight of each auxiliary value at each time, shape (T, K); every row adds up to one."""
        from scipy.special import ndtr

        gaps = np.diff(self.times_s)
        z = (time_s[:, None] - self.times_s) / self._widths
        # A ramp that starts at the key, convolved with a Gaussian.
        ramps = self._widths * (z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
        weights = np.zeros_like(ramps)
        weights[:, 0] = 1.0
        # A change of one between two keys is a ramp up from the first and a ramp down from the second.
        rises = (ramps[:, :-1] - ramps[:, 1:]) / gaps
        weights[:, :-1] -= rises
        weights[:, 1:] += rises
        return weights


def step(time_s: FloatArray, start_s: float, end_s: float) -> FloatArray:
    """From 0 at `start_s` to 1 at `end_s`, constant outside, with three continuous derivatives.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    start_s, end_s : float
        [s]

    Returns
    -------
    ndarray, shape (T,)
        Septic smooth step. [-]
    """
    s = np.clip((time_s - start_s) / (end_s - start_s), 0.0, 1.0)
    return s**4 * (35.0 - 84.0 * s + 70.0 * s**2 - 20.0 * s**3)


def ramp(time_s: FloatArray, start_s: float, end_s: float, ease_in_s: float, ease_out_s: float) -> FloatArray:
    """From 0 at `start_s` to 1 at `end_s` at an even speed between, with four continuous derivatives.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    start_s, end_s : float
        [s]
    ease_in_s, ease_out_s : float
        How long it takes to reach the even speed, and to come to rest from it. [s]

    Returns
    -------
    ndarray, shape (T,)
        [-]
    """
    even = end_s - start_s - 0.5 * (ease_in_s + ease_out_s)
    return (over(time_s - start_s, ease_in_s) - over(time_s - end_s + ease_out_s, ease_out_s)) / even


def over(excess: FloatArray, ease: float) -> FloatArray:
    """By how much a limit is exceeded, softly: exactly 0 below it, `excess` less half of `ease` beyond `ease`.

    What is drawn back by this never passes the limit by more than half of `ease`. Four continuous derivatives.

    Parameters
    ----------
    excess : ndarray
        Value less the limit.
    ease : float
        Positive, in the unit of `excess`.

    Returns
    -------
    ndarray
        Like `excess`.
    """
    # Integral of the septic smooth step.
    s = np.clip(excess / ease, 0.0, 1.0)
    eased: FloatArray = ease * s**5 * (7.0 - 14.0 * s + 10.0 * s**2 - 2.5 * s**3)
    return eased + np.maximum(excess - ease, 0.0)


@dataclass(frozen=True)
class Turn:
    """A turn whose speed follows a bell over time: `amount` in all, fastest at `peak_s`.

    Attributes
    ----------
    amount : float
        [rad]
    peak_s : float
        Time of the greatest speed. [s]
    width_s : float
        Standard deviation of the bell. [s]
    """

    amount: float
    peak_s: float
    width_s: float

    def __call__(self, time_s: npt.ArrayLike) -> FloatArray:
        """Angle turned so far, shape (T,). [rad]"""
        from scipy.special import ndtr

        return self.amount * ndtr((np.asarray(time_s, dtype=np.float64) - self.peak_s) / self.width_s)

    @classmethod
    def between(
        cls, start_s: float, end_s: float, change: float, peak_s: float, peak_speed: float, *, nearest: bool = False
    ) -> Turn:
        """The bell that turns by `change` from `start_s` to `end_s` with the given greatest speed.

        Parameters
        ----------
        start_s, end_s : float
            [s]
        change : float
            Positive, and less than `peak_speed` could turn in that time. [rad]
        peak_s : float
            [s]
        peak_speed : float
            [rad/s]
        nearest : bool
            Take the nearest speed at which a bell turns so far in that time, where none of `peak_speed` does.

        Raises
        ------
        OptionError
            No bell of that speed turns so far in that time, and `nearest` is not wanted.
        """
        from scipy.optimize import brentq
        from scipy.special import ndtr

        def share(width: float) -> float:
            return float(ndtr((end_s - peak_s) / width) - ndtr((start_s - peak_s) / width))

        def short(width: float) -> float:
            return peak_speed * width * float(np.sqrt(2.0 * np.pi)) * share(width) - change

        narrowest, widest = 1e-4, 2.0 * (end_s - start_s)
        if nearest and (short(widest) < 0 or short(narrowest) > 0):
            width = widest if short(widest) < 0 else narrowest
            return cls(change / share(width), peak_s, width)
        if short(widest) < 0:
            raise OptionError(f"a turn of {change:.2f} rad at up to {peak_speed:.1f} rad/s takes longer than given")
        width = float(brentq(short, narrowest, widest))
        return cls(peak_speed * width * float(np.sqrt(2.0 * np.pi)), peak_s, width)


def impact_lag(time_s: FloatArray, impact_s: float) -> FloatArray:
    """How far something that loses one unit of speed in an impact falls behind, shape (T,). [unit of speed x s]

    The loss is complete within about a millisecond after `impact_s`, and made up for over the next tenth of a second.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    impact_s : float
        [s]
    """
    since = IMPACT_S * np.logaddexp(0.0, (time_s - impact_s) / IMPACT_S - 4.0)
    return RECOVERY_S * -np.expm1(-since / RECOVERY_S)
