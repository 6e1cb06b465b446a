"""From a swing to findings: every registered measure with its uncertainty, and the checks."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from mocap.errors import InputError
from mocap.findings import Findings, Measure

# The modules register their measures when they are imported.
from mocap.kinematics import barrel, landing, turn  # noqa: F401
from mocap.kinematics.checks import check_all, load_limits
from mocap.kinematics.registry import REGISTRY, NotMeasurableError, Registered, Value
from mocap.kinematics.uncertainty import draws
from mocap.swing import Swing

#: Chapters in the order in which a coach reads them.
FAMILIES = ("landing", "turn", "barrel")
#: Measures that need a reference and are added by the comparison.
OF_COMPARISONS = ("pose_distance",)


def measure(swing: Swing, *, limits: Path | None = None) -> Findings:
    """Every measure of a swing, with standard deviations, held against the limits.

    Parameters
    ----------
    swing : Swing
    limits : Path, optional
        A table of the coach's own; see ``assets/tables/limits.toml``.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        The table of limits cannot be read, or names a measure that does not exist.
    """
    rows = load_limits(limits)
    unknown = [row.measure for row in rows if row.measure not in (*REGISTRY, *OF_COMPARISONS)]
    if unknown:
        raise InputError(
            f"{limits}: limits for {unknown[0]!r}, which is no measure; names are those of `mocap measure --json`"
        )
    entries = sorted(REGISTRY.values(), key=lambda entry: FAMILIES.index(entry.family))
    values = {entry.name: _value(entry, swing) for entry in entries}
    wanted = [REGISTRY[name] for name, (value, _) in values.items() if isinstance(value, float)]
    spreads = _spreads(wanted, draws(swing))
    measures = {
        name: Measure(
            name=name,
            value=value,
            sd=spreads.get(name),
            unit=REGISTRY[name].unit,
            label=REGISTRY[name].label,
            moment=REGISTRY[name].when,
            why=why,
            family=REGISTRY[name].family,
        )
        for name, (value, why) in values.items()
    }
    return Findings(swing.hitter, swing.moments, measures, check_all(measures, rows))


def _value(entry: Registered, swing: Swing) -> tuple[Value | None, str]:
    why = entry.missing(swing)
    return (None, why) if why else _taken(entry, swing)


def _taken(entry: Registered, swing: Swing) -> tuple[Value | None, str]:
    """Value of a measure whose points and moments are there, or why the function could not give one."""
    try:
        value = entry.function(swing)
    except NotMeasurableError as reason:
        return None, str(reason)
    if isinstance(value, float) and not np.isfinite(value):
        return None, "points it needs are missing at that moment"
    return value, ""


def _spreads(entries: list[Registered], swings: Iterable[Swing]) -> dict[str, float]:
    """Standard deviation of each measure over random swings, which lack what the swing itself lacks, no more."""
    drawn: dict[str, list[float]] = {entry.name: [] for entry in entries}
    for swing in swings:
        for entry in entries:
            value, _ = _taken(entry, swing)
            if isinstance(value, float):
                drawn[entry.name].append(value)
    return {name: float(np.std(values, ddof=1)) if len(values) > 2 else 0.0 for name, values in drawn.items()}
