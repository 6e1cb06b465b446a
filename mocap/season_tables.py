"""A season as tables in the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from rich.console import Console
from rich.table import Table
from rich.text import Text

from mocap.display import Units, format_height, format_measure
from mocap.findings import Measure
from mocap.season import Season, TextTrend, Trend
from mocap.season_job import HitterSeason

#: How many dates a table shows, the first and the last ones; all are in the JSON and the written table.
SHOWN_DATES = 4
#: So many swings on a date tell a hitter's scatter well enough. Common practice, no source: with five the 95 % interval
#: of a standard deviation still goes from 0.6 to 2.9 times it.
ENOUGH_SWINGS = 5
#: Share of unchanged measures that look changed.
BY_CHANCE = 0.05


def print_season(hitters: Sequence[HitterSeason], units: Units) -> None:
    """Print each hitter's measures by date, and what changed from the first to the last."""
    console = Console()
    for each in hitters:
        name = each.hitter.name or each.key
        height = each.hitter.height_m
        about = f": {format_height(height, units=units)}" if height else ""
        console.print(Text(f"{name}{about}", style="bold"))
        for what, season in each.parts:
            _print_part(console, what, season, height or 0.0, units)
        for reason in each.left_out:
            console.print(Text(f"left out: {reason}", style="dim"))


def _print_part(console: Console, what: str, season: Season, height_m: float, units: Units) -> None:
    days = list(season.swings)
    counted = ", ".join(f"{season.swings[day]} on {day} ({', '.join(season.kinds[day])})" for day in days)
    console.print(Text(f"{what.capitalize()}: {counted}"))
    shown = days if len(days) <= SHOWN_DATES else [days[0], *days[1 - SHOWN_DATES :]]
    for family in dict.fromkeys([*(trend.family for trend in season.trends), *(text.family for text in season.texts)]):
        console.print(_table(family, season, shown, height_m, units))
    for line in _remarks(what, season, shown):
        console.print(Text(line, style="dim"))
    reasons: dict[str, list[str]] = {}
    for label, why in season.not_measured.items():
        reasons.setdefault(why, []).append(label)
    for why, labels in reasons.items():
        console.print(Text(f"not measurable, because {why}: {', '.join(labels)}", style="dim"))


def _table(family: str, season: Season, shown: list[date], height_m: float, units: Units) -> Table:
    scatters = any(trend.own is not None for trend in season.trends)
    columns = [family.capitalize(), *(str(day) for day in shown)]
    columns += ["Own scatter"] if scatters else []
    columns += ["Change ± 95 %", "Verdict"] if len(shown) > 1 else []
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    for trend in season.trends:
        if trend.family == family:
            own = [_own_cell(trend, height_m, units)] if scatters else []
            table.add_row(
                *_day_cells(trend, shown, height_m, units), *own, *_change_cells(trend, shown, height_m, units)
            )
    for text in season.texts:
        if text.family == family:
            table.add_row(*_text_row(text, shown))
    return table


def _day_cells(trend: Trend, shown: list[date], height_m: float, units: Units) -> list[str]:
    days = {day.day: day for day in trend.days}
    cells = [f"{trend.label} (of height)" if trend.unit == "height" else trend.label]
    for when in shown:
        day = days.get(when)
        cells.append(f"{_worded(trend, day.mean, day.sd, height_m, units)} ({day.n})" if day else "-")
    return cells


def _own_cell(trend: Trend, height_m: float, units: Units) -> str:
    """The interval alone: how much of the scatter the error of measuring explains is not known."""
    own = trend.own
    if own is None:
        return "not known"
    return _worded(trend, own.low, own.high, height_m, units).replace("±", "to")


def _change_cells(trend: Trend, shown: list[date], height_m: float, units: Units) -> list[str]:
    """From the first to the last date that is shown; empty where there is one."""
    if len(shown) < 2:
        return []
    change = next((each for each in trend.changes if (each.earlier, each.later) == (shown[0], shown[-1])), None)
    if change is None:
        return ["-", "not measured on both dates"]
    told = _worded(trend, change.value, change.detectable, height_m, units)
    rises = change.value > 0 and told.lstrip("0.")[:1].isdigit()
    more = f", {change.direction}" if change.direction else ""
    if change.verdict == "too few swings" and change.measured:
        more = ", but more than measuring error"
    return [f"+{told}" if rises else told, f"{change.verdict}{more}"]


def _worded(trend: Trend, value: float, spread: float | None, height_m: float, units: Units) -> str:
    """A value with its plus-minus; what is a share of height says so once, in its row's label."""
    measure = Measure(trend.name, value, spread, trend.unit, trend.label, "")
    return format_measure(measure, height_m, units, brief=True).removesuffix(" of height")


def _text_row(text: TextTrend, shown: list[date]) -> list[str]:
    told = [", ".join(f"{value} ({count})" for value, count in text.counts.get(day, {}).items()) for day in shown]
    return [text.label, *(cell or "-" for cell in told)]


def _remarks(what: str, season: Season, shown: list[date]) -> list[str]:
    """What to bear in mind with the numbers."""
    lines = ["By date: mean ± standard deviation between them (how many)."]
    if any(trend.own is not None for trend in season.trends):
        lines.append(
            "Own scatter: between what his own standard deviation on a date lies (95 %); the lower end has the error of"
            " measuring taken off, the upper end has not."
        )
    if any(season.swings[day] < 2 for day in shown):
        lines.append(
            "A single one on a date does not show his own scatter, so that the ± of a change holds the error of"
            f" measuring alone, and whether it is more than his scatter cannot be said; record {ENOUGH_SWINGS} or more"
            " on a date."
        )
    told = [t for t in season.trends if t.changes and t.changes[-1].verdict != "too few swings"]
    if told:
        chance = max(round(BY_CHANCE * len(told)), 1)
        lines.append(
            f"A change smaller than its ± could be noise. Of {len(told)} measures about {chance} will look changed by"
            " chance alone."
        )
    if len({season.kinds[day] for day in shown}) > 1:
        lines.append(f"The {what} are not of the same kind on all dates; a change may be that of the task.")
    if len(shown) < len(season.swings):
        lines.append(f"{len(season.swings) - len(shown)} more dates are in --json and --out.")
    return lines
