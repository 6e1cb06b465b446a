"""Measures held against limits."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mocap.assets import asset
from mocap.display import format_measure
from mocap.errors import InputError
from mocap.findings import Check, Measure, Verdict

Band = tuple[float, float] | tuple[str, ...]


@dataclass(frozen=True)
class Limit:
    """Limits of one measure.

    Attributes
    ----------
    measure : str
    good, near : (low, high) or tuple of str
        Closed bands in the measure's unit, or the texts that count.
    source : str
    words : str
        The limits in words, where a list of texts would not read well.
    """

    measure: str
    good: Band
    near: Band
    source: str
    words: str = ""


def load_limits(path: Path | None = None) -> tuple[Limit, ...]:
    """Limits from ``assets/tables/limits.toml``, or from the user's own table.

    Parameters
    ----------
    path : Path, optional

    Returns
    -------
    tuple of Limit

    Raises
    ------
    InputError
        The table is missing, no TOML, or a row is incomplete; the message names the row.
    """
    source = path or asset("tables", "limits.toml")
    if not source.is_file():
        raise InputError(f"{source}: no such table of limits")
    try:
        table = tomllib.loads(source.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{source}: not a TOML table ({error})") from error
    rows = table.get("limits")
    if not isinstance(rows, list) or not rows:
        raise InputError(f"{source}: holds no [[limits]] rows; start from a copy of assets/tables/limits.toml")
    return tuple(_limit(row, number, source) for number, row in enumerate(rows, start=1))


def check(measure: Measure, limit: Limit) -> Check:
    """Hold one measure against its limits.

    Parameters
    ----------
    measure : Measure
    limit : Limit

    Returns
    -------
    Check
        `too close to call` where the 95 % interval (value +- 1.96 sd) reaches into another verdict's band.
    """
    words = _words(measure, limit)
    if measure.value is None:
        reason = f"{measure.label}: not measurable, because {measure.why}"
        return Check(measure.name, "not measurable", words, limit.source, reason, limit.good)
    if isinstance(measure.value, str):
        verdict: Verdict = "good" if measure.value in limit.good else "near" if measure.value in limit.near else "off"
        return Check(measure.name, verdict, words, limit.source, f"{measure.label}: {measure.value}", limit.good)
    reach = 1.96 * (measure.sd or 0.0)
    # Both ends of the interval, and every limit inside it: a band narrower than the interval lies wholly between.
    edges = [edge for band in (limit.good, limit.near) for edge in band if isinstance(edge, float)]
    probes = [measure.value - reach, measure.value, measure.value + reach]
    verdicts = {_verdict(v, limit) for v in (*probes, *(e for e in edges if abs(e - measure.value) < reach))}
    if len(verdicts) == 1:
        verdict = verdicts.pop()
        return Check(measure.name, verdict, words, limit.source, _reason(measure, limit, verdict), limit.good)
    possible = " or ".join(name for name in ("good", "near", "off") if name in verdicts)
    reason = f"{measure.label}: {possible}, the plus-minus reaches across a limit"
    return Check(measure.name, "too close to call", words, limit.source, reason, limit.good)


def check_all(measures: Mapping[str, Measure], limits: tuple[Limit, ...]) -> tuple[Check, ...]:
    """Checks of every measure that has limits, in the table's order."""
    return tuple(check(measures[limit.measure], limit) for limit in limits if limit.measure in measures)


def _verdict(value: float, limit: Limit) -> Verdict:
    for name, band in (("good", limit.good), ("near", limit.near)):
        low, high = band  # numeric limits have two ends
        if isinstance(low, float) and isinstance(high, float) and low <= value <= high:
            return "good" if name == "good" else "near"
    return "off"


def _reason(measure: Measure, limit: Limit, verdict: Verdict) -> str:
    assert isinstance(measure.value, float)
    low, high = limit.good
    assert isinstance(low, float)
    assert isinstance(high, float)
    if verdict == "good":
        return f"{measure.label}: within the limits"
    side = "below" if measure.value < low else "above"
    edge = low if measure.value < low else high
    return f"{measure.label}: {side} {_edge(edge, measure.unit)}"


def _words(measure: Measure, limit: Limit) -> str:
    return limit.words or "; ".join(
        f"{name} {_band(band, measure.unit)}" for name, band in (("good", limit.good), ("near", limit.near)) if band
    )


def _band(band: Band, unit: str) -> str:
    if isinstance(band[0], str):
        return " or ".join(str(text) for text in band)
    low, high = float(band[0]), float(band[1])
    if math.isinf(low):
        return f"up to {_edge(high, unit)}"
    if math.isinf(high):
        return f"from {_edge(low, unit)}"
    return f"{_edge(low, unit)} to {_edge(high, unit)}"


def _edge(value: float, unit: str) -> str:
    return format_measure(Measure("", value, None, unit, "", ""), 1.0, brief=True)


def _limit(row: Mapping[str, Any], number: int, source: Path) -> Limit:
    missing = [key for key in ("measure", "good", "near", "source") if key not in row]
    if missing:
        raise InputError(f"{source}: limits row {number} has no {missing[0]!r}")
    bands: list[Band] = []
    for key in ("good", "near"):
        value = row[key]
        if isinstance(value, list):
            bands.append(tuple(str(text) for text in value))
        elif isinstance(value, dict) and set(value) <= {"min", "max"} and value:
            bands.append((float(value.get("min", -math.inf)), float(value.get("max", math.inf))))
        else:
            raise InputError(f"{source}: limits row {number} ({row['measure']}): {key} must be a list or min/max")
    return Limit(str(row["measure"]), bands[0], bands[1], str(row["source"]), str(row.get("words", "")))
