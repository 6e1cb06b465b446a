"""The one place where every measure is registered.

A measure is one small function of `Readings`: N versions of a swing at once, N numbers back. Adding one takes the
function and the decorator line above it::

    @measure("head_shift", "m", "Head movement from foot-plant to contact", moments=("plant", "contact"),
             points=("head",), source="common practice, no source")
    def head_shift(r: Readings) -> FloatArray:
        return distance(r.at("head", "contact"), r.at("head", "plant"))

What the points or moments at hand cannot show is reported as not measurable before the function is called; what the
function itself finds missing it reports by raising `NotMeasurableError`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.readings import Readings
from mocap.swing import Swing

#: One number, or one text, for each version of the swing, shape (N,).
Values = FloatArray | npt.NDArray[np.str_]
MeasureFunction = Callable[[Readings], Values]


#: Rate at which the errors of methods were found. [Hz]
METHOD_RATE_HZ = 240.0


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
        Readings to values.
    method_sd : float
        What the method itself may be off on exact points at `METHOD_RATE_HZ`, one standard deviation. [unit of the
        measure]
    by_frames : float
        Power of the gap between frames with which `method_sd` grows at a lower rate; 0 where it does not come from it.
    drawn_share : float
        Share of the scatter of drawn swings that the errors of posed swings show. Draws are made on top of a recording
        that is noisy already, so that the time of a flat peak jumps farther in them than it did in the recording. [-]
    skin_sd : float
        What skin that swings with the turn may add to it, one standard deviation, as a share of the value. [-]
    blur_widths : float
        By how many widths of the normal curve that smoothing blurred the bat with it may be off, one standard
        deviation, where a blow was blurred too; for a time after foot-plant. [-]
    """

    name: str
    unit: str
    label: str
    moments: tuple[str, ...]
    points: tuple[str, ...]
    source: str
    function: MeasureFunction
    method_sd: float = 0.0
    by_frames: float = 0.0
    drawn_share: float = 1.0
    skin_sd: float = 0.0
    blur_widths: float = 0.0

    def method_sd_at(self, rate_hz: float) -> float:
        """`method_sd` at a rate. [unit of the measure]"""
        return self.method_sd * float(max(1.0, METHOD_RATE_HZ / rate_hz) ** self.by_frames)

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
                return f"{name.replace('_', ' ')} was not found: {swing.moments[name].why}"
        unseen = [name for name in self.points if not swing.has(name)]
        if unseen:
            bat = [name for name in unseen if name.startswith("bat")]
            return "no bat was recorded" if bat else f"{', '.join(unseen)} not recorded"
        for moment in self.moments:
            hidden = [name for name in self.points if not np.isfinite(swing[name][swing.index(moment)]).all()]
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
    method_sd: float = 0.0,
    by_frames: float = 0.0,
    drawn_share: float = 1.0,
    skin_sd: float = 0.0,
    blur_widths: float = 0.0,
) -> Callable[[MeasureFunction], MeasureFunction]:
    """Register a measure; see the module's docstring."""

    def register(function: MeasureFunction) -> MeasureFunction:
        REGISTRY[name] = Registered(
            name,
            unit,
            label,
            moments,
            points,
            source,
            function,
            method_sd,
            by_frames,
            drawn_share,
            skin_sd,
            blur_widths,
        )
        return function

    return register
