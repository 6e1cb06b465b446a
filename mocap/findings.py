"""What is found in one swing: measures with their uncertainty, and checks against limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from mocap.swing import Hitter, Moment

#: Half the width of a 95 % interval in standard deviations of a normal distribution.
REACH = 1.96

Verdict = Literal["good", "near", "off", "too close to call", "not measurable"]


@dataclass(frozen=True)
class Measure:
    """One number about a swing.

    Attributes
    ----------
    name : str
        Part of the API.
    value : float or str or None
        None: not measurable, and `why` says because of what. Text for a class or an order.
    sd : float or None
        Standard deviation, same unit; None for text.
    unit : str
        `m`, `m/s`, `deg`, `deg/s`, `s`, `share` (of the distance between the feet), `height` (share of body height),
        `weight` (share of body weight), or nothing for text.
    label : str
        What a coach reads.
    moment : str
        The moment or span it belongs to.
    why : str
        Empty where the value is known.
    family : str
        `landing`, `turn`, `hands`, `head`, `barrel`, `ground` or `comparison`: the chapter it belongs to.
    low, high : float or None
        Ends of the 95 % interval, same unit; None for text.
    shares : mapping of str to float
        Of a text: how often each text comes out among swings that could equally have been recorded. [-]
    """

    name: str
    value: float | str | None
    sd: float | None
    unit: str
    label: str
    moment: str
    why: str = ""
    family: str = ""
    low: float | None = None
    high: float | None = None
    shares: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Check:
    """A measure held against limits.

    Attributes
    ----------
    measure : str
        Name of the measure.
    verdict : {"good", "near", "off", "too close to call", "not measurable"}
    limits : str
        The limits in words, in the measure's unit.
    source : str
        Where the limits come from.
    reason : str
        One plain sentence.
    good : tuple of 2 floats, or tuple of str
        The band, infinite at an open end, or the texts, that count as good.
    """

    measure: str
    verdict: Verdict
    limits: str
    source: str
    reason: str
    good: tuple[float, float] | tuple[str, ...] = ()


@dataclass(frozen=True)
class Advice:
    """What to work on next: one fault, one cue, one drill.

    Attributes
    ----------
    measure : str
        Name of the measure that is off.
    cue : str
        What the coach says, short.
    drill : str
        The drill's name.
    set_up : str
        How it is done.
    look_for : str
        What to look for in the next recording.
    cautions : tuple of str
    """

    measure: str
    cue: str
    drill: str
    set_up: str
    look_for: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Findings:
    """All that is found in one swing.

    Attributes
    ----------
    hitter : Hitter
    moments : mapping of str to Moment
    measures : mapping of str to Measure
    checks : tuple of Check
    work_on : tuple of Advice
        In the order in which a coach would go about it.
    """

    hitter: Hitter
    moments: Mapping[str, Moment]
    measures: Mapping[str, Measure]
    checks: tuple[Check, ...]
    work_on: tuple[Advice, ...] = ()
