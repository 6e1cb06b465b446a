"""Plain tables of points: one row per frame, or one row per frame and point.

Wide: `frame,time,L_HIP_x,L_HIP_y,L_HIP_z,...`; long: `frame,point,x,y,z`. Separated by commas, semicolons or tabs.
Long tables of points that were smoothed over time say with `sd`, `per_s` and `filled` how each may be off: standard
deviation per axis, that of the error's rate over it, and 1 where the point was not measured but filled.
Lines `# rate_hz=240` and `# units=mm` before the names of the columns say what the columns do not.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray, PointErrors
from mocap.errors import InputError
from mocap.importer.text_table import (
    MISSING,
    NumberReader,
    TimeLine,
    capture_of,
    check_size,
    metres_per_unit,
    stack,
    text_lines,
    time_line,
    unique_labels,
)

FRAME_NAMES = {"frame", "frame#", "frame_number", "frames"}
#: Names of a column of times, and seconds per unit.
TIME_NAMES = {"time": 1.0, "time_s": 1.0, "t": 1.0, "time (s)": 1.0, "seconds": 1.0, "time_ms": 1e-3, "time (ms)": 1e-3}
POINT_NAMES = {"point", "label", "marker", "name", "joint", "keypoint"}
COORDINATE = re.compile(r"(?P<point>.*\S)\s*[_.: ](?P<axis>[xyz])", re.IGNORECASE)
PIXEL = re.compile(r"(.*[_.: ])?[uv]", re.IGNORECASE)
#: What long tables say of points that were smoothed.
ERROR_COLUMNS = ("sd", "per_s", "filled")
LONG_FORM, WIDE_FORM = "frame,point,x,y,z", "frame,time,L_HIP_x,L_HIP_y,L_HIP_z,..."

Row = tuple[int, list[str]]


def read_csv_points(path: Path) -> Capture:
    """Read a plain table of points.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Capture
        Points in metres; blank and NaN cells are NaN. A unit that had to be guessed is in its notes.

    Raises
    ------
    InputError
        Missing, empty, no such table, pixels instead of places, no sampling rate, a cell that is no number, or
        without any usable point; the message names line and column.
    """
    lines = text_lines(path, "CSV")
    remarks, first = _remarks(lines)
    if first >= len(lines):
        raise InputError(f"{path}: no line of column names; give {WIDE_FORM} or {LONG_FORM}")
    separator = max("\t;,", key=lines[first].count)
    rows = _rows(path, lines, first, separator)
    _, names = next(rows)
    names = [name.strip() for name in names]
    folded = [name.lower() for name in names]
    _refuse_others(path, names, folded, first + 1)
    notes: list[str] = []
    rate = _stated_rate(path, remarks)
    unit = next((remarks[key] for key in ("units", "unit") if key in remarks), "")
    scale = metres_per_unit(path, unit, "units") if unit else None
    numbers = NumberReader(path, names, comma_may_be_decimal=separator != ",")
    form = _read_long if {"x", "y", "z"} <= set(folded) else _read_wide
    labels, frames, times, values, errors = form(path, rows, names, numbers, notes)
    notes += numbers.notes()
    if frames is None and times is None:
        frames = np.arange(1.0, len(values) + 1)
    if times is None and rate is None:
        raise InputError(
            f"{path}: no sampling rate; add a line '# rate_hz=240' at the top, or a column 'time' in seconds"
        )
    line = time_line(path, frames, times, rate)
    capture = capture_of(path, labels, values, scale, line, notes)
    if errors is None:
        return capture
    if scale is None:
        raise InputError(f"{path}: column 'sd' needs the unit; add a line '# units=m' at the top")
    return _with_errors(path, capture, errors, line, scale)


def _with_errors(path: Path, capture: Capture, stated: FloatArray, line: TimeLine, scale: float) -> Capture:
    """The recording of points that were smoothed; `stated` is (rows, P, 3) as `ERROR_COLUMNS`."""
    whole = np.full((*capture.points.shape[:2], len(ERROR_COLUMNS)), np.nan)
    whole[line.places] = stated
    seen: npt.NDArray[np.bool_] = np.asarray(np.isfinite(capture.points).all(axis=2))
    sd, per_s, filled = np.moveaxis(np.where(seen[..., None], whole, np.nan), -1, 0)
    for name, values in (("sd", sd), ("per_s", per_s)):
        if not (values[seen] >= 0.0).all():
            raise InputError(
                f"{path}: column {name!r} has a cell that is empty or below zero at a point that was found"
            )
    errors = PointErrors(
        (scale * sd[..., None, None]) ** 2 * np.eye(3), per_s, np.zeros((*capture.points.shape, 0)), filled > 0.5
    )
    return replace(capture, residuals=scale * sd, errors=errors)


def _remarks(lines: list[str]) -> tuple[dict[str, str], int]:
    """What the lines before the column names say, and the index of the line of names."""
    remarks: dict[str, str] = {}
    for index, line in enumerate(lines):
        bare = line.strip().strip('"')
        if bare and not bare.startswith("#"):
            return remarks, index
        for key, value in re.findall(r"(\w+)\s*[=:]\s*([^\s,;]+)", bare):
            remarks[key.lower()] = value
    return remarks, len(lines)


def _rows(path: Path, lines: list[str], first: int, separator: str) -> Iterator[Row]:
    """Line number and cells of every row that is neither blank nor a remark, the names first."""
    reader = csv.reader(lines[first:], delimiter=separator, skipinitialspace=True)
    width = 0
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            number = first + reader.line_num
            width = width or len(cells)
            if len(cells) > width and any(cell.strip() for cell in cells[width:]):
                hint = "; a decimal comma?" if separator == "," else ""
                raise InputError(f"{path}: line {number} has {len(cells)} cells, the column names are {width}{hint}")
            yield number, cells
    except csv.Error as error:
        raise InputError(f"{path}: line {first + reader.line_num}: {error}") from error


def _refuse_others(path: Path, names: list[str], folded: list[str], line: int) -> None:
    """Raise where the columns are not those of a table of points."""
    pixels = [name for name in folded if PIXEL.fullmatch(name)]
    if {name[-1] for name in pixels} == {"u", "v"}:
        raise InputError(
            f"{path}: holds places in pictures (pixels, columns {pixels[0]!r} and {pixels[1]!r}), not points in space;"
            " give the points in space that were made from them"
        )
    if all(re.fullmatch(r"[-+.\d,eE]*", name) for name in names):
        raise InputError(f"{path}: line {line} holds numbers, not column names; give {WIDE_FORM} or {LONG_FORM}")
    if set(folded) >= {"x", "y", "z"} or any(COORDINATE.fullmatch(name) for name in names):
        return
    raise InputError(
        f"{path}: not a table of points (columns {', '.join(names[:4])[:60]}); give {WIDE_FORM} or {LONG_FORM}"
    )


def _stated_rate(path: Path, remarks: dict[str, str]) -> float | None:
    text = next((remarks[key] for key in ("rate_hz", "rate", "fps") if key in remarks), None)
    if text is None:
        return None
    try:
        rate = float(text)
    except ValueError:
        rate = 0.0
    if not 0 < rate < 1e6:
        raise InputError(f"{path}: rate_hz is {text[:20]!r}; give a positive number of frames per second")
    return rate


#: Labels, frame numbers, times, coordinates, and what is said of their errors.
Table = tuple[tuple[str, ...], FloatArray | None, FloatArray | None, FloatArray, FloatArray | None]


def _read_wide(path: Path, rows: Iterator[Row], names: list[str], numbers: NumberReader, notes: list[str]) -> Table:
    """Labels, frame numbers, times and coordinates of a table with one row per frame."""
    columns: dict[str, dict[str, int]] = {}
    other = []
    for index, name in enumerate(names):
        match = COORDINATE.fullmatch(name)
        if match is None:
            if name and name.lower() not in FRAME_NAMES | set(TIME_NAMES):
                other.append(name)
            continue
        axes = columns.setdefault(match["point"], {})
        if match["axis"].lower() in axes:
            raise InputError(f"{path}: column {name!r} is there twice; give every point a name of its own")
        axes[match["axis"].lower()] = index
    for point, axes in columns.items():
        lacking = [axis for axis in "xyz" if axis not in axes]
        if lacking:
            raise InputError(f"{path}: point {point!r} has no column for {lacking[0]}; each point needs x, y and z")
    if other:
        notes.append(f"columns that are no coordinates are left out: {', '.join(other[:6])}")
    listed = list(rows)
    check_size(path, len(listed), len(names))
    kept = {i for axes in columns.values() for i in axes.values()} | set(_indices(names, {*FRAME_NAMES, *TIME_NAMES}))
    table = stack(path, [numbers.row(_blanked(cells, kept), line) for line, cells in listed], len(names))
    order = [columns[point][axis] for point in columns for axis in "xyz"]
    labels, label_notes = unique_labels(list(columns))
    notes += label_notes
    return labels, *_frames_and_times(table, names), table[:, order].reshape(len(table), -1, 3), None


def _read_long(path: Path, rows: Iterator[Row], names: list[str], numbers: NumberReader, notes: list[str]) -> Table:
    """Labels, frame numbers, times and coordinates of a table with one row per frame and point."""
    at = _indices(names, POINT_NAMES)
    if not at:
        raise InputError(f"{path}: no column says which point a row is; give {LONG_FORM}")
    clock = _indices(names, FRAME_NAMES) or _indices(names, set(TIME_NAMES))
    if not clock:
        raise InputError(f"{path}: no column 'frame' or 'time'; give {LONG_FORM}")
    kept = set(_indices(names, {"x", "y", "z", *FRAME_NAMES, *TIME_NAMES, *ERROR_COLUMNS}))
    listed = list(rows)
    check_size(path, len(listed), len(names))
    table = stack(path, [numbers.row(_blanked(cells, kept), line) for line, cells in listed], len(names))
    points = [cells[at[0]].strip() if len(cells) > at[0] else "" for _, cells in listed]
    broken = np.flatnonzero(~np.isfinite(table[:, clock[0]]))
    if len(broken):
        raise InputError(f"{path}: line {listed[broken[0]][0]}, column {names[clock[0]]}: no number")
    if "" in points:
        raise InputError(f"{path}: line {listed[points.index('')][0]}, column {names[at[0]]}: no name of a point")
    order = {name: i for i, name in enumerate(dict.fromkeys(points))}
    column = np.array([order[name] for name in points])
    _, first, row = np.unique(table[:, clock[0]], return_index=True, return_inverse=True)
    check_size(path, len(first), 3 * len(order))
    _, once, counts = np.unique(row * len(order) + column, return_index=True, return_counts=True)
    if (counts > 1).any():
        again = int(np.setdiff1d(np.arange(len(row)), once)[0])
        raise InputError(f"{path}: line {listed[again][0]}: point {points[again]!r} is there twice in one frame")
    folded = [name.lower() for name in names]

    def placed(columns: Sequence[str]) -> FloatArray:
        values = np.full((len(first), len(order), len(columns)), np.nan)
        values[row, column] = table[:, [folded.index(name) for name in columns]]
        return values

    errors = placed(ERROR_COLUMNS) if set(ERROR_COLUMNS) <= set(folded) else None
    labels, label_notes = unique_labels(list(order))
    notes += label_notes
    return labels, *_frames_and_times(table[first], names), placed("xyz"), errors


def _indices(names: list[str], wanted: set[str]) -> list[int]:
    return [i for i, name in enumerate(names) if name.lower() in wanted]


def _blanked(cells: list[str], kept: set[int]) -> list[str]:
    """Cells of a row with all but the wanted columns emptied."""
    return [cell if i in kept and cell.strip().lower() not in MISSING else "nan" for i, cell in enumerate(cells)]


def _frames_and_times(table: FloatArray, names: list[str]) -> tuple[FloatArray | None, FloatArray | None]:
    """Columns of frame numbers and of times in seconds, None where there is none."""
    frame, time = _indices(names, FRAME_NAMES), _indices(names, set(TIME_NAMES))
    frames = table[:, frame[0]] if frame else None
    times = table[:, time[0]] * TIME_NAMES[names[time[0]].lower()] if time else None
    return frames, times
