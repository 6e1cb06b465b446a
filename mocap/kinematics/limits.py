"""The limits that measures are held against: this project's table, and a coach's own rows over it."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from mocap.assets import asset
from mocap.errors import InputError

Band = tuple[float, float] | tuple[str, ...]
#: What a row may hold.
KEYS = {"measure", "level", "good", "near", "words", "source", "skip"}


@dataclass(frozen=True)
class Limit:
    """Limits of one measure.

    Attributes
    ----------
    measure : str
    good, near : (low, high) or tuple of str
        Closed bands in the measure's unit, or the texts that count; in a text `*` stands for anything.
    source : str
    words : str
        The limits in words, where a list of texts would not read well.
    level : str
        Level of play they are for; empty: for all that have no row of their own.
    skip : bool
        Whether the measure is not to be checked; the bands are empty then.
    where : str
        File and row, for messages.
    """

    measure: str
    good: Band
    near: Band
    source: str
    words: str = ""
    level: str = ""
    skip: bool = False
    where: str = "limits"


def load_limits(path: Path | None = None) -> tuple[Limit, ...]:
    """Limits from ``assets/tables/limits.toml``, and the coach's own over them.

    Parameters
    ----------
    path : Path, optional
        The coach's table. A row of his replaces ours of the same measure and level; one without a level replaces all
        of ours of that measure. What he does not name stays.

    Returns
    -------
    tuple of Limit

    Raises
    ------
    InputError
        The table is missing, no TOML, or a row is not understood; the message names file, row and key.
    """
    ours = _read(asset("tables", "limits.toml"))
    if path is None:
        return ours
    if not path.is_file():
        raise InputError(f"{path}: no such table of limits")
    own = _read(path)
    everywhere = {row.measure for row in own if not row.level}
    replaced = {(row.measure, row.level) for row in own}
    kept = [r for r in ours if r.measure not in everywhere and (r.measure, r.level) not in replaced]
    # In the place of the measure's rows, so that checks keep the order in which a coach reads them.
    order = list(dict.fromkeys(row.measure for row in (*ours, *own)))
    return tuple(sorted((*kept, *own), key=lambda row: order.index(row.measure)))


def limit_for(limits: Sequence[Limit], measure: str, level: str) -> Limit | None:
    """Limits of a measure at a level of play: those for the level, else those for all; None where it is not checked."""
    rows = {row.level: row for row in limits if row.measure == measure}
    found = rows.get(plain_level(level)) or rows.get("")
    return None if found is None or found.skip else found


def canonical(text: str) -> str:
    """An order with the segments that fall together in alphabetical order; any other text as it is."""
    return " > ".join(" = ".join(sorted(group.split(" = "))) for group in text.split(" > "))


def matches(text: str, patterns: Iterable[object]) -> bool:
    """Whether a text is one of those in a band."""
    return any(fnmatchcase(canonical(text), canonical(str(pattern))) for pattern in patterns)


def nearest(value: str, good: Band) -> str:
    """The good text to name beside another one: of an order that of the same segments, else the first."""
    texts = [str(text) for text in good]
    return next((text for text in texts if _parts(text) == _parts(value)), texts[0] if texts else value)


def _parts(text: str) -> set[str]:
    return {part for group in canonical(text).split(" > ") for part in group.split(" = ")}


def plain_level(level: str) -> str:
    """A level of play whatever its spelling: "High-School" is "high school"."""
    return " ".join(level.casefold().replace("-", " ").replace("_", " ").split())


def _read(source: Path) -> tuple[Limit, ...]:
    try:
        table = tomllib.loads(source.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{source}: not a TOML table ({error})") from error
    except OSError as error:
        raise InputError(f"{source}: cannot be read ({error.strerror or error})") from error
    rows = table.get("limits")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise InputError(f"{source}: holds no [[limits]] rows; see assets/tables/limits.toml for the form")
    found: dict[tuple[str, str], Limit] = {}
    for number, row in enumerate(rows, start=1):
        for limit in _limits(row, number, source):
            older = found.setdefault((limit.measure, limit.level), limit)
            if older is not limit:
                level = f" at level {limit.level!r}" if limit.level else ""
                raise InputError(f"{limit.where}: gives {limit.measure}{level} again; leave one of the rows")
    return tuple(found.values())


def _limits(row: Mapping[str, Any], number: int, source: Path) -> list[Limit]:
    """One row, once for each of its levels."""
    name = row.get("measure")
    if not isinstance(name, str) or not name:
        raise InputError(f"{source}: limits row {number} has no 'measure'; give the name of one, in quotes")
    where = f"{source}: limits row {number} ({name})"
    unknown = sorted(set(row) - KEYS)
    if unknown:
        raise InputError(f"{where}: key {unknown[0]!r} is not known; known are {', '.join(sorted(KEYS))}")
    levels = _levels(row.get("level", ""), where)
    skip = row.get("skip", False)
    if not isinstance(skip, bool):
        raise InputError(f"{where}: skip must be true or false")
    for key in ("source", "words"):
        if not isinstance(row.get(key, ""), str):
            raise InputError(f"{where}: {key} must be a text in quotes")
    if skip:
        return [Limit(name, (), (), "", level=level, skip=True, where=where) for level in levels]
    good, near = (_band(row, key, where) for key in ("good", "near"))
    _refuse_crossed(good, near, where)
    said_by = row.get("source") or f"the coach's own, {source.name}"
    return [Limit(name, good, near, said_by, row.get("words", ""), level, where=where) for level in levels]


def _levels(given: object, where: str) -> list[str]:
    levels = given if isinstance(given, list) else [given]
    texts = [level for level in levels if isinstance(level, str)]
    if not levels or len(texts) < len(levels):
        raise InputError(f'{where}: level must be a text or a list of texts, e.g. "youth"')
    return [plain_level(level) for level in texts]


def _band(row: Mapping[str, Any], key: str, where: str) -> Band:
    if key not in row:
        raise InputError(f"{where}: has no {key!r}; give e.g. {{ min = 0.5, max = 0.6 }}, or skip = true")
    value = row[key]
    if isinstance(value, list) and all(isinstance(text, str) for text in value):
        if key == "good" and not value:
            raise InputError(f"{where}: good lists no text; name at least one, or skip = true")
        return tuple(value)
    if not isinstance(value, dict) or not value or not set(value) <= {"min", "max"}:
        raise InputError(f"{where}: {key} must be {{ min = ..., max = ... }} (one may be left out) or a list of texts")
    for end, number in value.items():
        if isinstance(number, bool) or not isinstance(number, int | float) or math.isnan(number):
            raise InputError(f"{where}: {key}.{end} must be a number, not {number!r}")
    low, high = float(value.get("min", -math.inf)), float(value.get("max", math.inf))
    if low == math.inf or high == -math.inf:
        raise InputError(f"{where}: {key} lets nothing through; leave out an end that is open")
    if low > high:
        raise InputError(f"{where}: {key} has min {low:g} over max {high:g}; exchange them")
    return low, high


def _refuse_crossed(good: Band, near: Band, where: str) -> None:
    """Near must hold good: it is what is still tolerated around it."""
    kinds = [bool(band) and isinstance(band[0], float) for band in (good, near)]
    if kinds[0] != kinds[1]:
        raise InputError(f"{where}: good and near must both be numbers or both be lists of texts")
    if kinds[0]:
        (low, high), (low_near, high_near) = good, near
        if not (float(low_near) <= float(low) and float(high) <= float(high_near)):
            raise InputError(f"{where}: good does not lie inside near; near must reach at least as far on both sides")
