"""Measures held against limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from mocap.display import Units, scale_of
from mocap.errors import InputError
from mocap.findings import REACH, Check, Measure, Verdict
from mocap.kinematics.limits import Band, Limit, limit_for, load_limits, matches, nearest
from mocap.kinematics.sentences import Speaker
from mocap.swing import Hitter

__all__ = ["Limit", "check", "check_all", "load_limits"]

#: A verdict on a text stands if at least this share of the draws gives it.
SURE = 0.95
VERDICTS: tuple[Verdict, ...] = ("good", "near", "off")


def check(measure: Measure, limit: Limit, *, height_m: float | None, units: Units = "metric") -> Check:
    """Hold one measure against its limits.

    Parameters
    ----------
    measure : Measure
    limit : Limit
    height_m : float or None
        The hitter's height, to say shares of it as lengths too; None: not known. [m]
    units : {"metric", "imperial"}
        Of the sentence and of the limits in words.

    Returns
    -------
    Check
        `too close to call` where the 95 % interval reaches into another verdict's band, or less than 95 % of a text's
        draws agree with its verdict.

    Raises
    ------
    InputError
        The limits do not fit the measure: texts for a number, numbers for a text, percent for a share.
    """
    speaker = Speaker(measure, height_m, units)
    words = limit.words or "; ".join(
        f"{name} {_band(band, measure.unit, units)}"
        for name, band in (("good", limit.good), ("near", limit.near))
        if band
    )
    verdict, reason = _judged(measure, limit, speaker)
    return Check(measure.name, verdict, words, limit.source, reason, limit.good)


def check_all(
    measures: Mapping[str, Measure],
    limits: Sequence[Limit],
    *,
    hitter: Hitter,
    units: Units = "metric",
) -> tuple[Check, ...]:
    """Checks of every measure that has limits at the hitter's level, in the table's order.

    Parameters
    ----------
    measures : mapping of str to Measure
    limits : sequence of Limit
    hitter : Hitter
        Whose level chooses among a measure's limits, and whose height turns shares into lengths.
    units : {"metric", "imperial"}

    Returns
    -------
    tuple of Check
    """
    found = []
    for name in dict.fromkeys(limit.measure for limit in limits):
        limit = limit_for(limits, name, hitter.level)
        if name in measures and limit is not None:
            found.append(check(measures[name], limit, height_m=hitter.height_m, units=units))
    return tuple(found)


def _judged(measure: Measure, limit: Limit, speaker: Speaker) -> tuple[Verdict, str]:
    if measure.value is None:
        return "not measurable", speaker.missing()
    if isinstance(measure.value, str):
        return _judged_text(measure, limit, speaker)
    (low_good, high_good), (low_near, high_near) = _ends(limit, measure), _ends(limit, measure, near=True)
    value, reach = measure.value, REACH * (measure.sd or 0.0)
    low = min(value, value - reach if measure.low is None else measure.low)
    high = max(value, value + reach if measure.high is None else measure.high)

    def verdict_at(x: float) -> Verdict:
        if low_good <= x <= high_good:
            return "good"
        return "near" if low_near <= x <= high_near else "off"

    # Both ends of the interval, and every limit inside it: a band narrower than the interval lies wholly between.
    edges = sorted({e for e in (low_near, low_good, high_good, high_near) if low < e < high})
    possible = {verdict_at(x) for x in (low, value, high, *edges)}
    if len(possible) > 1:
        # The interval may begin on a limit, which then is not inside it.
        edges = edges or [e for e in (low_near, low_good, high_good, high_near) if low <= e <= high][:1]
        return "too close to call", speaker.undecided([v for v in VERDICTS if v in possible], low, high, edges)
    verdict = verdict_at(value)
    if verdict == "good":
        return verdict, speaker.good(low_good, high_good)
    if verdict == "near":
        return verdict, speaker.missed(low_good if value < low_good else high_good, verdict)
    return verdict, speaker.missed(low_near if value < low_near else high_near, verdict)


def _ends(limit: Limit, measure: Measure, *, near: bool = False) -> tuple[float, float]:
    """Ends of a band of numbers, in the measure's unit."""
    band = limit.near if near else limit.good
    if not band or isinstance(band[0], str) or isinstance(band[-1], str):
        raise InputError(f"{limit.where}: {measure.name} is a number; give min and max, not texts")
    low, high = band[0], band[-1]
    if measure.unit in ("share", "height") and any(math.isfinite(e) and abs(e) > 2 for e in (low, high)):
        raise InputError(f"{limit.where}: {measure.name} is a share; give e.g. 0.50 for 50 %")
    return low, high


def _judged_text(measure: Measure, limit: Limit, speaker: Speaker) -> tuple[Verdict, str]:
    if any(isinstance(end, float) for end in (*limit.good, *limit.near)):
        raise InputError(f"{limit.where}: {measure.name} is a text; give a list of texts, not min and max")

    def verdict_of(text: str) -> Verdict:
        return "good" if matches(text, limit.good) else "near" if matches(text, limit.near) else "off"

    value = str(measure.value)
    verdict = verdict_of(value)
    counted = measure.shares or {value: 1.0}
    total = sum(counted.values())
    shares = {v: sum(n for text, n in counted.items() if verdict_of(text) == v) / total for v in VERDICTS}
    if shares[verdict] >= SURE:
        return verdict, speaker.text(verdict, nearest(value, limit.good))
    possible = {v: share for v, share in shares.items() if share >= 0.005 or v == verdict}
    return "too close to call", speaker.undecided_text(possible)


def _band(band: Band, unit: str, units: Units) -> str:
    """A band in a few words, signs as they are."""
    if not band or isinstance(band[0], str):
        return " or ".join(str(text) for text in band)
    low, high = float(band[0]), float(band[1])
    scale = scale_of(unit, units)

    if math.isinf(low):
        return f"up to {scale.quantity(high, None, scale.places(high))}"
    if math.isinf(high):
        return f"from {scale.quantity(low, None, scale.places(low))}"
    places = max(scale.places(low), scale.places(high))
    return f"{scale.number(low, places)} to {scale.quantity(high, None, places)}"
