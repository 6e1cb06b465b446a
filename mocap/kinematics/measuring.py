"""From a swing to findings: every registered measure with its uncertainty, the checks, and what to work on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import cast

import numpy as np

from mocap.capture import FloatArray
from mocap.display import Units
from mocap.errors import InputError
from mocap.findings import REACH, Findings, Measure

# The modules register their measures when they are imported.
from mocap.kinematics import barrel, ground, hands, head, landing, turn  # noqa: F401
from mocap.kinematics.advice import work_on
from mocap.kinematics.checks import check_all, load_limits
from mocap.kinematics.filtering import blur_of
from mocap.kinematics.moments import STRUCK
from mocap.kinematics.pitch import descent
from mocap.kinematics.readings import NotMeasurableError, Readings, readings
from mocap.kinematics.registry import REGISTRY, Registered, Values
from mocap.kinematics.smoothed_points import blur_width_s
from mocap.kinematics.uncertainty import DRAWS, drawn
from mocap.swing import BAT_POINTS, POINTS, Swing

#: Chapters in the order in which a coach reads them.
FAMILIES = ("landing", "turn", "hands", "head", "barrel", "ground")
#: Measures that need a reference and are added by the comparison.
OF_COMPARISONS = ("pose_distance",)


def measure(swing: Swing, *, limits: Path | None = None, units: Units = "metric", count: int = DRAWS) -> Findings:
    """Every measure of a swing, with standard deviations, held against the limits.

    Parameters
    ----------
    swing : Swing
    limits : Path, optional
        A table of the coach's own; see ``assets/tables/limits.toml``.
    units : {"metric", "imperial"}
        Of the sentences that go with the checks.
    count : int
        Swings drawn for the standard deviations; with 0 there are none.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        The table of limits cannot be read, or names a measure that does not exist.
    """
    rows = load_limits(limits)
    unknown = next((row for row in rows if row.measure not in (*REGISTRY, *OF_COMPARISONS)), None)
    if unknown is not None:
        raise InputError(f"{unknown.where}: no such measure; names are those of `mocap measure --json`")
    entries = sorted(REGISTRY.values(), key=lambda entry: FAMILIES.index(entry.family))
    recorded = readings(swing, descent(swing.setup).angle_deg)
    taken = {entry.name: _taken(entry, recorded) for entry in entries}
    known = [REGISTRY[name] for name, (values, _) in taken.items() if values is not None]
    spreads = _spreads(known, drawn(swing, count=count))
    measures = {name: _measure(REGISTRY[name], *taken[name], spreads.get(name), swing) for name in taken}
    checks = check_all(measures, rows, hitter=swing.hitter, units=units)
    advice = work_on(checks, measures, hitter=swing.hitter, units=units)
    return Findings(swing.hitter, swing.moments, measures, checks, advice)


def _measure(entry: Registered, values: Values | None, why: str, spread: Values | None, swing: Swing) -> Measure:
    """One measure from its value and its values over drawn swings."""
    empty = Measure(entry.name, None, None, entry.unit, entry.label, entry.when, why, entry.family)
    if values is None:
        return empty
    if values.dtype.kind == "U":
        texts = values if spread is None or not len(spread) else spread
        found, counts = np.unique(texts, return_counts=True)
        shares = {str(text): float(n) / len(texts) for text, n in zip(found, counts, strict=True)}
        return replace(empty, value=str(values[0]), shares=shares)
    value = float(values[0])
    drawn_sd = _deviation(np.asarray(spread, dtype=np.float64), value) if spread is not None else 0.0
    skin = entry.skin_sd * abs(value) if swing.on_skin else 0.0
    # Of points that were smoothed over time the draws are their own errors, not noise on top of noise.
    share = entry.drawn_share if swing.errors is None else 1.0
    blur = _blur_s(entry, value, swing)
    sd = float(np.linalg.norm([share * drawn_sd, entry.method_sd_at(swing.rate_hz), skin, blur]))
    return replace(empty, value=value, sd=sd, low=value - REACH * sd, high=value + REACH * sd)


def _blur_s(entry: Registered, value: float, swing: Swing) -> float:
    """What a blow that was blurred may move a time after foot-plant by, one standard deviation. [s]"""
    contact, plant = swing.moments["contact"], swing.moments["plant"]
    if not entry.blur_widths or contact.index is None or contact.time_s is None or plant.time_s is None:
        return 0.0
    ends = [POINTS.index(end) for end in BAT_POINTS]
    before = 0.0 if swing.errors is None else blur_width_s(float(swing.errors.per_s[contact.index, ends].mean()))
    if contact.method in STRUCK:  # across which this program does not smooth
        return entry.blur_widths * before
    # The bat is fastest when it meets a ball, or still gains speed there; if it is seen to slow down before, that may
    # be a blow which was smoothed over.
    early = contact.time_s - plant.time_s - value
    width = float(np.hypot(before, blur_of(float(swing.cutoff_hz[ends].mean()))))
    return float(np.clip(early, 0.0, entry.blur_widths * width))


def _deviation(spread: FloatArray, value: float) -> float:
    """Root mean square distance of the drawn values from the value itself.

    Noise does not only scatter a greatest value or a distance, it also makes it larger; what the draws lie off on
    average is an error as well, and counts.
    """
    spread = spread[np.isfinite(spread)]
    return float(np.sqrt(np.mean((spread - value) ** 2))) if len(spread) > 2 else 0.0


def _taken(entry: Registered, recorded: Readings) -> tuple[Values | None, str]:
    """Values of a measure, or why there are none."""
    why = entry.missing(recorded.swing)
    if why:
        return None, why
    try:
        values = entry.function(recorded)
    except NotMeasurableError as reason:
        return None, str(reason)
    if values.dtype.kind == "f" and not np.isfinite(values[0]):
        return None, "points it needs are missing at that moment"
    return values, ""


def _spreads(entries: list[Registered], batches: Iterable[Readings]) -> dict[str, Values]:
    """Values of each measure over drawn swings, which lack what the swing itself lacks, no more."""
    found: dict[str, list[Values]] = {entry.name: [] for entry in entries}
    for batch in batches:
        for entry in entries:
            try:
                found[entry.name].append(entry.function(batch))
            except NotMeasurableError:
                continue
    return {name: cast(Values, np.concatenate(values)) for name, values in found.items() if values}
