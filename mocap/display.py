"""Numbers as a coach reads them: value, plus-minus and unit, metric or imperial; nothing is computed here but units.

Everything shown to a person goes through this module, on pictures and in the terminal alike. Text is plain enough for
any terminal (a hyphen as minus); pictures set it typographically themselves.
"""

from __future__ import annotations

from typing import Literal

from mocap.findings import Measure

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


def _decimals(sd: float | None, fewest: int) -> int:
    """One decimal more where the standard deviation is below half a unit of the last digit shown."""
    return fewest + 1 if sd is not None and sd < 0.5 * 10.0**-fewest else fewest


def _quantity(value: float, sd: float | None, unit: str, *, fewest: int = 0, most: int = 2) -> str:
    """`value ± sd unit`, both with the same decimals; an angle's sign stands close to the number."""
    digits = min(_decimals(sd, fewest), most)
    number = f"{value:.{digits}f}"
    if float(number) == 0.0:
        number = number.lstrip("-")
    spread = "" if not sd else f" ± {max(sd, 10.0**-digits):.{digits}f}"
    return f"{number}{spread}{unit}" if unit == "°" else f"{number}{spread} {unit}"


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
    if units == "imperial":
        return _quantity(value_m / INCH_M, None if sd_m is None else sd_m / INCH_M, "in", fewest=1, most=1)
    return _quantity(value_m * 100.0, None if sd_m is None else sd_m * 100.0, "cm", most=1)


def format_height(value_m: float, *, units: Units = "metric") -> str:
    """Standing height: ``"1.80 m"``, or ``"5 ft 11 in"``."""
    if units == "imperial":
        feet, inches = divmod(round(value_m / INCH_M), 12)
        return f"{feet} ft {inches} in"
    return f"{value_m:.2f} m"


def format_speed(value_m_per_s: float, sd_m_per_s: float | None = None, *, units: Units = "metric") -> str:
    """A speed in m/s, or in miles per hour."""
    scale, unit = (MPH_M_PER_S, "mph") if units == "imperial" else (1.0, "m/s")
    return _quantity(value_m_per_s / scale, None if sd_m_per_s is None else sd_m_per_s / scale, unit, fewest=1, most=1)


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
    percent_sd = None if sd is None else sd * 100.0
    match measure.unit:
        case "share":
            return _quantity(value * 100.0, percent_sd, "%")
        case "height":
            share = _quantity(value * 100.0, percent_sd, "% of height", most=1)
            length = format_length(value * height_m, None if sd is None else sd * height_m, units=units)
            return share if brief else f"{share} ({length})"
        case "m":
            return format_length(value, sd, units=units)
        case "m/s":
            return format_speed(value, sd, units=units)
        case "deg":
            return _quantity(value, sd, "°", most=1)
        case "deg/s":
            return _quantity(value, sd, "°/s")
        case "s":
            return _quantity(value, sd, "s", fewest=2, most=3)
        case _:
            return _quantity(value, sd, measure.unit).rstrip()
