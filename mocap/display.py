"""Numbers as a coach reads them: value, plus-minus and unit, metric or imperial; nothing is computed here but units.

Everything shown to a person goes through this module, on pictures and in the terminal alike. Text is plain enough for
any terminal (a hyphen as minus); pictures set it typographically themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from mocap.findings import Advice, Measure

Units = Literal["metric", "imperial"]

INCH_M = 0.0254  # exact
MPH_M_PER_S = 0.44704  # exact

#: The key moments as a coach says them.
MOMENT_WORDS: dict[str, str] = {
    "stance": "Stance",
    "lift": "Lift",
    "toe_touch": "Toe touch",
    "plant": "Foot-plant",
    "foot_flat": "Foot flat",
    "level": "Hands level",
    "contact": "Contact",
    "extension": "Extension",
    "finish": "Finish",
}


@dataclass(frozen=True)
class Scale:
    """How numbers of one unit are written.

    Attributes
    ----------
    size : float
        One of the unit shown, in the unit that is stored.
    suffix : str
        The unit shown, with the space before it, if any.
    fewest, most : int
        Decimals where the standard deviation is large or not known, and at most.
    """

    size: float
    suffix: str
    fewest: int
    most: int

    def digits(self, sd: float | None) -> int:
        """One decimal more where the standard deviation is below half a unit of the last digit shown."""
        finer = sd is not None and sd / self.size < 0.5 * 10.0**-self.fewest
        return min(self.fewest + finer, self.most)

    def places(self, limit: float) -> int:
        """Decimals that a limit needs: one more than usual where that shows it exactly, as in 37.5 %."""
        coarse = limit / self.size * 10.0**self.fewest
        off = [abs(v - round(v)) > 1e-6 for v in (coarse, 10 * coarse)]
        return self.fewest + (off[0] and not off[1])

    def shown(self, value: float, digits: int) -> float:
        """The number as it is read, in the unit shown."""
        return round(value / self.size, digits)

    def number(self, value: float, digits: int) -> str:
        """The number without its unit."""
        return f"{self.shown(value, digits) + 0.0:.{digits}f}"  # + 0.0 turns a negative zero positive

    def quantity(self, value: float, sd: float | None = None, digits: int | None = None) -> str:
        """`value ± sd unit`, both with the same decimals; an angle's sign stands close to the number."""
        places = self.digits(sd) if digits is None else digits
        spread = "" if not sd else f" ± {max(sd / self.size, 10.0**-places):.{places}f}"
        return f"{self.number(value, places)}{spread}{self.suffix}"


def length_scale(units: Units) -> Scale:
    """Of lengths in metres, as centimetres or inches."""
    return Scale(INCH_M, " in", 1, 1) if units == "imperial" else Scale(0.01, " cm", 0, 1)


def speed_scale(units: Units) -> Scale:
    """Of speeds in m/s, as such or as miles per hour."""
    return Scale(MPH_M_PER_S, " mph", 1, 1) if units == "imperial" else Scale(1.0, " m/s", 1, 1)


def scale_of(unit: str, units: Units) -> Scale:
    """How a measure of that unit is written; of shares of height the share."""
    match unit:
        case "share":
            return Scale(0.01, " %", 0, 2)
        case "height":
            return Scale(0.01, " % of height", 0, 1)
        case "weight":
            return Scale(0.01, " % of body weight", 0, 1)
        case "m":
            return length_scale(units)
        case "m/s":
            return speed_scale(units)
        case "deg":
            return Scale(1.0, "°", 0, 1)
        case "deg/s":
            return Scale(1.0, " °/s", 0, 2)
        case "s":
            return Scale(1.0, " s", 2, 3)
        case _:
            return Scale(1.0, f" {unit}" if unit else "", 0, 2)


def format_length(value_m: float, sd_m: float | None = None, *, units: Units = "metric") -> str:
    """A length in centimetres, or in inches.

    Parameters
    ----------
    value_m, sd_m : float
        Length and its standard deviation. [m]
    units : {"metric", "imperial"}

    Returns
    -------
    str
        E.g. ``"74 ± 2 cm"`` or ``"29.1 ± 0.8 in"``.
    """
    return length_scale(units).quantity(value_m, sd_m)


def format_time(time_s: float, sd_s: float) -> str:
    """When a moment was, e.g. ``"0.900 ± 0.001 s"``: to the millisecond, and never surer than one."""
    return f"{time_s:.3f} ± {max(sd_s, 0.001):.3f} s"


def format_height(value_m: float, *, units: Units = "metric") -> str:
    """Standing height: ``"1.80 m"``, or ``"5 ft 11 in"``."""
    if units == "imperial":
        feet, inches = divmod(round(value_m / INCH_M), 12)
        return f"{feet} ft {inches} in"
    return f"{value_m:.2f} m"


def format_measure(measure: Measure, height_m: float, units: Units = "metric", *, brief: bool = False) -> str:
    """A measure's value as a coach reads it.

    Parameters
    ----------
    measure : Measure
    height_m : float
        The hitter's height, for lengths given as a share of it. [m]
    units : {"metric", "imperial"}
    brief : bool
        Leave out the length in cm or in beside a share of height.

    Returns
    -------
    str
        E.g. ``"56 ± 3 %"``, ``"41 ± 1 % of height (74 ± 2 cm)"``, ``"12 ± 2°"``, ``"not measurable"``.
    """
    value, sd = measure.value, measure.sd
    if value is None:
        return "not measurable"
    if isinstance(value, str):
        return value
    words = scale_of(measure.unit, units).quantity(value, sd)
    if measure.unit == "height" and not brief:
        length = format_length(value * height_m, None if sd is None else sd * height_m, units=units)
        return f"{words} ({length})"
    return words


def cautions_once(work_on: Sequence[Advice]) -> tuple[list[list[str]], list[str]]:
    """Cautions so that each is read once.

    Parameters
    ----------
    work_on : sequence of Advice

    Returns
    -------
    own : list of list of str
        Of each advice, those that not all share and no earlier one had.
    shared : list of str
        Those of every advice.
    """
    shared = [c for c in (work_on[0].cautions if work_on else ()) if all(c in advice.cautions for advice in work_on)]
    if len(work_on) == 1:
        return [[]], shared
    seen = set(shared)
    own = []
    for advice in work_on:
        own.append([caution for caution in advice.cautions if caution not in seen])
        seen.update(advice.cautions)
    return own, shared
