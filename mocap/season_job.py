"""A season's work: measure every swing of a session, put the days together, write them as a table."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from mocap.errors import InputError, MocapError, OptionError, OutputError
from mocap.importer.session import Recording, Session
from mocap.output import replacing
from mocap.season import DatedFindings, Season, Trend, season_of
from mocap.several_swings import measure_each
from mocap.swing import Hitter

#: Columns of the table that is written; units are those of the measures.
COLUMNS = (
    "hitter",
    "kind",
    "measure",
    "label",
    "unit",
    "date",
    "n",
    "mean",
    "sd",
    "measuring_sd",
    "standard_error",
    "own_sd",
    "own_low",
    "own_high",
    "since",
    "change",
    "change_standard_error",
    "change_df",
    "change_low",
    "change_high",
    "verdict",
    "direction",
    "counts",
)


@dataclass(frozen=True)
class HitterSeason:
    """One hitter's season.

    Attributes
    ----------
    key : str
        His id in the session, else his name.
    hitter : Hitter
        As the last swing knows him.
    swings, held : Season or None
        Swings, and positions held in drills; None where there are none.
    left_out : tuple of str
        Recordings and swings that could not be measured, and why.
    """

    key: str
    hitter: Hitter
    swings: Season | None
    held: Season | None
    left_out: tuple[str, ...]

    @property
    def parts(self) -> tuple[tuple[str, Season], ...]:
        """Those of the two that are there, by name."""
        named = (("swings", self.swings), ("held positions", self.held))
        return tuple((name, season) for name, season in named if season is not None)


def chosen(
    session: Session, hitter: str | None = None, first: date | None = None, last: date | None = None
) -> list[Recording]:
    """The recordings of a session that a season is made of.

    Parameters
    ----------
    session : Session
    hitter : str, optional
        One hitter's id or name.
    first, last : date, optional
        The days to take, both included.

    Returns
    -------
    list of Recording

    Raises
    ------
    InputError
        A recording has no date.
    OptionError
        Nobody is called that, or nothing was recorded on those days.
    """
    recordings = list(session.recordings)
    if hitter is not None:
        recordings = [each for each in recordings if hitter in (each.hitter_id, each.hitter.name)]
        if not recordings:
            known = ", ".join(dict.fromkeys(_key(each) for each in session.recordings))
            raise OptionError(f"{session.name}: no swing of a hitter {hitter!r} is listed; known are {known}")
    undated = next((each for each in recordings if each.day is None), None)
    if undated is not None:
        raise InputError(
            f"{undated.file.parent}: {undated.file.name} has no date; add date = 2026-03-14 to its [[swings]] row or to"
            " [session]"
        )
    taken = [
        each for each in recordings if each.day is not None and (first or date.min) <= each.day <= (last or date.max)
    ]
    if not taken:
        days = sorted({each.day for each in recordings if each.day is not None})
        raise OptionError(
            f"{session.name}: nothing was recorded on the days asked for; there are {days[0]} to {days[-1]}"
        )
    return taken


def measure_season(recordings: Sequence[Recording], *, limits: Path | None = None) -> list[HitterSeason]:
    """Measure every swing, with a progress bar, and put each hitter's days together.

    Parameters
    ----------
    recordings : sequence of Recording
        All with a day.
    limits : Path, optional
        The coach's own table.

    Returns
    -------
    list of HitterSeason
        In the order in which the hitters are listed.

    Raises
    ------
    MocapError
        Not one swing can be measured; the reason of the first.
    """
    taken: dict[str, list[DatedFindings]] = {}
    left_out: dict[str, list[str]] = {}
    first_error: MocapError | None = None
    with _progress(len(recordings)) as advance:
        for recording in recordings:
            key, day = _key(recording), recording.day
            assert day is not None  # as `chosen` sees to
            swings, refused = taken.setdefault(key, []), left_out.setdefault(key, [])
            advance(recording.file.name)
            try:
                measured = measure_each(recording, limits=limits)
            except MocapError as error:
                refused.append(str(error))
                first_error = first_error or error
                continue
            swings += [DatedFindings(day, recording.kind, one.findings) for one in measured if one.findings]
            refused += [one.why for one in measured if one.why]
    if first_error is not None and not any(taken.values()):
        raise first_error
    return [_hitter_season(key, swings, left_out[key], recordings) for key, swings in taken.items()]


def _key(recording: Recording) -> str:
    return recording.hitter_id or recording.hitter.name or "hitter"


def _hitter_season(
    key: str, swings: list[DatedFindings], left_out: list[str], recordings: Sequence[Recording]
) -> HitterSeason:
    held = [swing for swing in swings if swing.kind == "held"]
    swung = [swing for swing in swings if swing.kind != "held"]
    listed = next(each.hitter for each in recordings if _key(each) == key)
    return HitterSeason(
        key=key,
        hitter=max(swings, key=lambda swing: swing.day).findings.hitter if swings else listed,
        swings=season_of(swung) if swung else None,
        held=season_of(held) if held else None,
        left_out=tuple(left_out),
    )


@contextmanager
def _progress(total: int) -> Iterator[Any]:
    """A function that is told which recording is next."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("reading", total=total)
        done = 0

        def advance(name: str) -> None:
            nonlocal done
            progress.update(task, description=name, completed=done)
            done += 1

        yield advance


def season_object(session: Session, hitters: Sequence[HitterSeason]) -> dict[str, Any]:
    """A season as plain data.

    Parameters
    ----------
    session : Session
    hitters : sequence of HitterSeason

    Returns
    -------
    dict
        `session`, and `hitters`: of each `hitter` (his id), `name`, `left_out`, and `swings` and `held` (null where
        there are none). These hold `dates` (`date`, `swings`, `kinds`), `not_measured` (label to reason) and
        `measures`: name to `label`, `unit`, `days` (`date`, `n`, `mean`, `sd`, `measuring_sd`, `standard_error`),
        `own` (`sd`, `df`, `own_sd`, `low`, `high`) and `changes` since the first day (`earlier`, `later`, `value`,
        `standard_error`, `df`, `low`, `high`, `verdict`, `direction`); of a measure in words `counts` by date instead.
        Units are those of the measures; `sd` is null for a single swing, `df` null where it has no end.
    """
    return {
        "session": session.name,
        "hitters": [
            {
                "hitter": each.key,
                "name": each.hitter.name,
                "left_out": list(each.left_out),
                "swings": _season(each.swings),
                "held": _season(each.held),
            }
            for each in hitters
        ],
    }


def _season(season: Season | None) -> dict[str, Any] | None:
    if season is None:
        return None
    measures: dict[str, Any] = {trend.name: _trend(trend) for trend in season.trends}
    for text in season.texts:
        counts = {day.isoformat(): dict(of_day) for day, of_day in text.counts.items()}
        measures[text.name] = {"label": text.label, "counts": counts}
    return {
        "dates": [
            {"date": day.isoformat(), "swings": count, "kinds": list(season.kinds[day])}
            for day, count in season.swings.items()
        ],
        "measures": measures,
        "not_measured": dict(season.not_measured),
    }


def _trend(trend: Trend) -> dict[str, Any]:
    return {
        "label": trend.label,
        "unit": trend.unit,
        "days": [
            {
                "date": day.day.isoformat(),
                "n": day.n,
                "mean": day.mean,
                "sd": day.sd,
                "measuring_sd": day.noise_sd,
                "standard_error": day.standard_error,
            }
            for day in trend.days
        ],
        "own": None if trend.own is None else asdict(trend.own),
        "changes": [
            asdict(change)
            | {
                "earlier": change.earlier.isoformat(),
                "later": change.later.isoformat(),
                "df": change.df if np.isfinite(change.df) else None,
            }
            for change in trend.changes
        ],
    }


def refuse_older(path: Path, replace: bool) -> None:
    """Refuse to replace a table silently.

    Raises
    ------
    OutputError
        It is there already.
    """
    if path.exists() and not replace:
        raise OutputError(f"{path} is there already; choose another --out, or give --replace")


def write_table(hitters: Sequence[HitterSeason], path: Path) -> None:
    """Write one row for each hitter, measure and date, with the change since the first date.

    Parameters
    ----------
    hitters : sequence of HitterSeason
    path : Path
        A CSV file; an older one is replaced.

    Raises
    ------
    OutputError
        The folder is missing or cannot be written to.
    """
    with replacing(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, restval="")
        writer.writeheader()
        for each in hitters:
            for kind, season in each.parts:
                for row in _rows(season):
                    writer.writerow({"hitter": each.key, "kind": kind} | row)


def _rows(season: Season) -> Iterator[dict[str, Any]]:
    for trend in season.trends:
        since = {change.later: change for change in trend.changes}
        own = trend.own
        for day in trend.days:
            row: dict[str, Any] = {
                "measure": trend.name,
                "label": trend.label,
                "unit": trend.unit,
                "date": day.day.isoformat(),
                "n": day.n,
                "mean": day.mean,
                "sd": day.sd,
                "measuring_sd": day.noise_sd,
                "standard_error": day.standard_error,
            }
            if own is not None:
                row |= {"own_sd": own.own_sd, "own_low": own.low, "own_high": own.high}
            if day.day in since:
                change = since[day.day]
                row |= {
                    "since": change.earlier.isoformat(),
                    "change": change.value,
                    "change_standard_error": change.standard_error,
                    "change_df": change.df if np.isfinite(change.df) else "",
                    "change_low": change.low,
                    "change_high": change.high,
                    "verdict": change.verdict,
                    "direction": change.direction,
                }
            yield row
    for text in season.texts:
        for when, counts in text.counts.items():
            told = "; ".join(f"{value}: {count}" for value, count in counts.items())
            yield {
                "measure": text.name,
                "label": text.label,
                "date": when.isoformat(),
                "n": sum(counts.values()),
                "counts": told,
            }
