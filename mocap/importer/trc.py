"""TRC files: the tab-separated text of marker paths that open musculoskeletal tools read and write.

Three lines of header (`PathFileType`, names of properties, their values), two of column labels (marker names over their
first column; `X1 Y1 Z1 ...`), often a blank line, then one row per frame: number, time, coordinates.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.importer.text_table import (
    NumberReader,
    capture_of,
    check_size,
    metres_per_unit,
    stack,
    text_lines,
    time_line,
    unique_labels,
)

SIGNATURE = "PathFileType"
SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
#: Columns before the first coordinate: frame number and time.
BEFORE = 2


def read_trc(path: Path) -> Capture:
    """Read a TRC file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Capture
        Points in metres; blank and NaN cells are NaN. What contradicts the header is in its notes.

    Raises
    ------
    InputError
        Missing, empty, not a TRC file, a cell that is no number, an unknown unit, or without any usable point.
    """
    lines = text_lines(path, "TRC")
    start = next((i for i, line in enumerate(lines) if line.strip()), 0)
    if not lines[start].lstrip("\ufeff \"'").lower().startswith(SIGNATURE.lower()):
        raise InputError(f"{path}: not a TRC file (line {start + 1} does not begin with {SIGNATURE}); export it as TRC")
    names_at = _find(lines, r"\W*frame\s*#?", start + 1)
    if names_at is None:
        raise InputError(f"{path}: no line of marker names (it begins with Frame#); export it again")
    notes: list[str] = []
    header = _header(lines[start + 1 : names_at])
    separator = _separator(lines[names_at], notes)
    cells = lines[names_at].split(separator)
    body = [(i + 1, line) for i, line in enumerate(lines) if i > names_at and _is_data(line, separator)]
    names = _names(path, cells, names_at + 1, max((line.count(separator) + 1 for _, line in body), default=0))
    labels, label_notes = unique_labels(names)
    notes += label_notes
    values = _values(path, body, separator, labels, notes)
    notes += _contradictions(header, len(labels), len(values))
    line = time_line(path, values[:, 0], values[:, 1], _number(header.get("datarate")))
    unit = header.get("units", "")
    scale = metres_per_unit(path, unit, "Units") if unit else None
    return capture_of(path, labels, values[:, BEFORE:].reshape(len(values), -1, 3), scale, line, notes)


def _find(lines: list[str], pattern: str, start: int) -> int | None:
    """Index of the first line that begins with a pattern."""
    return next((i for i in range(start, len(lines)) if re.match(pattern, lines[i], re.IGNORECASE)), None)


def _header(lines: list[str]) -> dict[str, str]:
    """Properties by their names in lower case, from the line of names and the line of values."""
    filled = [line for line in lines if line.strip()][:2]
    if len(filled) < 2:
        return {}
    names, values = (_split(line) for line in filled)
    return {name.strip().lower(): value.strip() for name, value in zip(names, values, strict=False)}


def _split(line: str) -> list[str]:
    return line.split(next((mark for mark in SEPARATORS if mark in line.strip()), None))


def _separator(line: str, notes: list[str]) -> str:
    """What parts the cells: tabs, unless a spreadsheet has rewritten the file."""
    separator = next((mark for mark in SEPARATORS if mark in line), "\t")
    if separator != "\t":
        notes.append(f"cells are separated by {SEPARATORS[separator]}, not by tabs")
    return separator


def _is_data(line: str, separator: str) -> bool:
    """Whether a line below the names is a row of numbers: neither blank nor the line X1 Y1 Z1."""
    bare = line.replace(separator, " ").strip()
    return bool(bare) and not re.match(r"X\d*\s+Y\d*\s+Z\d*", bare, re.IGNORECASE)


def _names(path: Path, cells: list[str], number: int, width: int) -> list[str]:
    """Marker names from the cells of their line, over the first of three columns each or one after the other."""
    found = {i: cell.strip().strip('"') for i, cell in enumerate(cells) if i >= BEFORE and cell.strip().strip('"')}
    if not found:
        raise InputError(f"{path}: line {number} names no marker; export it again")
    if all((i - BEFORE) % 3 == 0 for i in found):
        return [found.get(i, "") for i in range(BEFORE, max(found) + 1, 3)]
    if max(found) == BEFORE + len(found) - 1 and width >= BEFORE + 3 * len(found):
        return list(found.values())
    at = next(i for i in found if (i - BEFORE) % 3)
    raise InputError(
        f"{path}: line {number}: marker name {found[at]!r} stands over column {at + 1}; every name must stand over the"
        " first of its three columns"
    )


def _values(
    path: Path, body: list[tuple[int, str]], separator: str, labels: tuple[str, ...], notes: list[str]
) -> FloatArray:
    """Frame number, time and coordinates of every row."""
    columns = ["Frame#", "Time", *(f"{label} {axis}" for label in labels for axis in "XYZ")]
    check_size(path, len(body), len(columns))
    reader = NumberReader(path, columns, comma_may_be_decimal=separator != ",")
    rows = []
    beyond = 0
    for number, line in body:
        cells = line.split(separator)
        if len(cells) == 1:
            raise InputError(f"{path}: line {number} is not separated by {SEPARATORS[separator]}; export it as TRC")
        if not beyond and any(cell.strip() for cell in cells[len(columns) :]):
            beyond = number
        rows.append(reader.row(cells, number))
    notes += reader.notes()
    if beyond:
        notes.append(f"numbers beyond the last marker name are left out (first in line {beyond})")
    return stack(path, rows, len(columns))


def _contradictions(header: dict[str, str], markers: int, frames: int) -> list[str]:
    """Notes on counts in the header that are not those of the rows."""
    notes = []
    for key, word, counted in (("nummarkers", "NumMarkers", markers), ("numframes", "NumFrames", frames)):
        stated = _number(header.get(key))
        if stated is not None and stated != counted:
            notes.append(f"{word} is {stated:g}, but {counted} are there")
    return notes


def _number(text: str | None) -> float | None:
    try:
        value = float((text or "").replace(",", "."))
    except ValueError:
        return None
    return value if np.isfinite(value) else None
