"""The one place where every measure is registered.

A measure is one small function of a swing. Adding one takes the function and the decorator line above it::

    @measure("head_shift", "m", "Head movement from foot-plant to contact", moments=("plant", "contact"),
             points=("head",), source="common practice, no source")
    def head_shift(swing: Swing) -> float:
        start, end = at(swing, "plant"), at(swing, "contact")
        return distance(swing["head"][end], swing["head"][start])

What the points or moments at hand cannot show is reported as not measurable before the function is called; what the
function itself finds missing it reports by raising `NotMeasurableError`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.filtering import derivative
from mocap.kinematics.geometry import middle_of_foot, on_bat
from mocap.kinematics.moments import STRUCK
from mocap.swing import Swing

Value = float | str
MeasureFunction = Callable[[Swing], Value]


class NotMeasurableError(Exception):
    """Raised inside a measure with the reason, completing "not measurable, because ..."."""


@dataclass(frozen=True)
class Registered:
    """One measure and what it needs.

    Attributes
    ----------
    name, unit, label : str
    moments : tuple of str
        Moments that must have been found.
    points : tuple of str
        Points that must be seen at those moments.
    source : str
        Where the definition comes from.
    function : callable
        Swing to value.
    """

    name: str
    unit: str
    label: str
    moments: tuple[str, ...]
    points: tuple[str, ...]
    source: str
    function: MeasureFunction

    @property
    def family(self) -> str:
        """Chapter of the measure: the name of the module that defines it."""
        return self.function.__module__.rsplit(".", 1)[-1]

    @property
    def when(self) -> str:
        """The moment or span in words."""
        return " to ".join((self.moments[0], self.moments[-1])) if len(self.moments) > 1 else "".join(self.moments)

    def missing(self, swing: Swing) -> str:
        """Why the measure cannot be taken, empty where it can."""
        for name in self.moments:
            if swing.moments[name].index is None:
                return f"{name} was not found: {swing.moments[name].why}"
        unseen = [name for name in self.points if not swing.has(name)]
        if unseen:
            bat = [name for name in unseen if name.startswith("bat")]
            return "no bat was recorded" if bat else f"{', '.join(unseen)} not recorded"
        for moment in self.moments:
            hidden = [name for name in self.points if not np.isfinite(swing[name][at(swing, moment)]).all()]
            if hidden:
                return f"{', '.join(hidden)} not seen at {moment}"
        return ""


REGISTRY: dict[str, Registered] = {}


def measure(
    name: str,
    unit: str,
    label: str,
    *,
    moments: tuple[str, ...] = ("plant",),
    points: tuple[str, ...] = (),
    source: str,
) -> Callable[[MeasureFunction], MeasureFunction]:
    """Register a measure; see the module's docstring."""

    def register(function: MeasureFunction) -> MeasureFunction:
        REGISTRY[name] = Registered(name, unit, label, moments, points, source, function)
        return function

    return register


def at(swing: Swing, moment: str) -> int:
    """Frame of a moment that is known to be there."""
    index = swing.index(moment)
    if index is None:
        raise NotMeasurableError(f"{moment} was not found")
    return index


def span(swing: Swing, first: str, last: str) -> slice:
    """Frames from one moment to another, both included."""
    start, stop = at(swing, first), at(swing, last)
    if stop < start:
        raise NotMeasurableError(f"{last} comes before {first}")
    return slice(start, stop + 1)


def distance(first: FloatArray, second: FloatArray) -> float:
    """Distance between two points. [m]"""
    return float(np.linalg.norm(first - second))


def greatest(values: FloatArray) -> float:
    """Greatest of the values that are there.

    Raises
    ------
    NotMeasurableError
        None is.
    """
    if not np.isfinite(values).any():
        raise NotMeasurableError("points it needs are missing in the span")
    return float(np.nanmax(values))


def mid_foot(swing: Swing, side: str) -> FloatArray:
    """Middle of a foot, shape (F, 3). [m]"""
    return middle_of_foot(*(swing[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))


def mid_hands(swing: Swing) -> FloatArray:
    """Half way between the hands, shape (F, 3). [m]"""
    middle: FloatArray = (swing["front_hand"] + swing["back_hand"]) / 2
    return middle


def sweet_spot(swing: Swing) -> FloatArray:
    """Point on the bat's axis at the set-up's distance from the barrel's end, shape (F, 3). [m]"""
    return on_bat(swing["bat_knob"], swing["bat_barrel"], swing.setup.sweet_spot_m)


def velocity(path: FloatArray, swing: Swing) -> FloatArray:
    """Velocity of a path, shape (F, 3); differences never reach across a contact seen in the barrel. [m/s]"""
    contact = swing.moments["contact"]
    if contact.index is None or contact.method not in STRUCK or contact.index < 1:
        return derivative(path, swing.rate_hz)
    split = contact.index + 1
    return np.concatenate([derivative(path[:split], swing.rate_hz), derivative(path[split:], swing.rate_hz)])
