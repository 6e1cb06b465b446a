"""Tools for what is true of a continuous swing: angles, and greatest values sought over time."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray


class Peak(NamedTuple):
    """Greatest value of a function of time, and when. [unit], [s]"""

    value: float
    time_s: float


def angle(first: FloatArray, second: FloatArray) -> float:
    """Angle between two vectors by Kahan's formula. [deg]"""
    a, b = (v / np.linalg.norm(v) for v in (first, second))
    return float(np.degrees(2.0 * np.arctan2(np.linalg.norm(a - b), np.linalg.norm(a + b))))


def compass(vector: FloatArray) -> float:
    """Direction in the floor's plane, from the pitcher's direction, counter-clockwise seen from above. [deg]"""
    return float(np.degrees(np.angle(complex(vector[0], vector[1]))))


def elevation(vector: FloatArray) -> float:
    """Angle over the level. [deg]"""
    return 90.0 - angle(vector, np.array([0.0, 0.0, 1.0]))


def greatest(function: Callable[[FloatArray], FloatArray], start: float, end: float) -> Peak:
    """Greatest value of a smooth function of time between two times, both included, by zooming in."""
    low, high, count = start, end, 241
    for _ in range(4):
        time = np.linspace(low, high, count)
        values = function(time)
        best = int(np.argmax(values))
        low, high, count = float(time[max(best - 1, 0)]), float(time[min(best + 1, len(time) - 1)]), 21
    return Peak(float(values[best]), float(time[best]))
