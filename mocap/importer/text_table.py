"""What the readers of text files share: lines, numbers, units, labels, and rows put on an even time line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError

#: Metres per unit, by the spellings that files use.
UNITS = {
    **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetre", "millimetres"), 1e-3),
    **dict.fromkeys(("cm", "centimeter", "centimeters", "centimetre", "centimetres"), 1e-2),
    **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), 1.0),
}
#: Largest extent of a person with a bat that is still taken for metres, and for centimetres; beyond it is millimetres.
#: Midway (as ratios) between what people from 0.9 m to 2.4 m, arms and bat stretched, measure in each unit.
METRES_UP_TO, CENTIMETRES_UP_TO = 20.0, 600.0
#: How a missing number is written.
MISSING = {"", "nan", "na", "n/a", "#n/a", "null", "none", "-", "-nan", "nan(ind)", "-nan(ind)"}
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
#: More numbers than this are no recording of a swing but a file that would fill the memory.
MOST_VALUES = 30_000_000
#: A time column and a stated rate that differ by more than this contradict each other.
RATE_TOLERANCE = 0.01


def text_lines(path: Path, kind: str) -> list[str]:
    """Lines of a text file in any of the usual encodings.

    Parameters
    ----------
    path : Path
    kind : str
        What the file should be, for messages, e.g. ``"TRC"``.

    Returns
    -------
    list of str
        Without line ends.

    Raises
    ------
    InputError
        No such file, a folder, empty, or no text.
    """
    if not path.exists():
        raise InputError(f"{path}: no such file")
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give a {kind} file")
    content = path.read_bytes()
    if not content.strip():
        raise InputError(f"{path}: the file is empty ({len(content)} bytes); export or copy it again")
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16", errors="replace")
    elif b"\0" in content:
        raise InputError(f"{path}: not a {kind} file (it is binary, not text); export it as {kind}")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", errors="replace")
    return re.split(r"\r\n|\r|\n", text)


class NumberReader:
    """Turns cells into numbers; says where it could not, and remembers decimal commas.

    Parameters
    ----------
    path : Path
        For messages.
    columns : sequence of str
        Name of each column, for messages.
    comma_may_be_decimal : bool
        Whether a comma inside a cell can only be a decimal mark, as it is no separator.
    """

    def __init__(self, path: Path, columns: Sequence[str], *, comma_may_be_decimal: bool) -> None:
        self._path = path
        self._columns = columns
        self._comma_allowed = comma_may_be_decimal
        self._comma_line = 0
        self._point_line = 0

    def row(self, cells: list[str], line: int) -> FloatArray:
        """Numbers of one row, shape (len(columns),); blank, missing and infinite cells are NaN.

        Raises
        ------
        InputError
            A cell is no number; the message names line and column.
        """
        width = len(self._columns)
        padded = cells[:width] + [""] * (width - len(cells))
        if not self._point_line and any("." in cell for cell in padded):
            self._point_line = line
        try:
            values = np.array(padded, dtype=np.float64)
        except ValueError:
            values = np.array([self._number(cell, line, column) for column, cell in enumerate(padded)])
        values[~np.isfinite(values)] = np.nan
        return values

    def notes(self) -> list[str]:
        """What was unusual about the numbers.

        Raises
        ------
        InputError
            Decimal commas and decimal points in one file: a number cannot be told from a thousand times itself.
        """
        if not self._comma_line:
            return []
        if self._point_line:
            raise InputError(
                f"{self._path}: line {self._comma_line} has a decimal comma, line {self._point_line} a decimal point;"
                " export it with decimal points"
            )
        return [f"numbers have decimal commas (first in line {self._comma_line}); read as decimal points"]

    def _number(self, cell: str, line: int, column: int) -> float:
        text = cell.strip()
        if text.lower() in MISSING:
            return np.nan
        if self._comma_allowed and DECIMAL_COMMA.fullmatch(text):
            self._comma_line = self._comma_line or line
            return float(text.replace(",", "."))
        try:
            return float(text)
        except ValueError:
            hint = " (a thousands mark, or decimals of another country?)" if re.search(r"\d[,;' ]\d", text) else ""
            raise InputError(
                f"{self._path}: line {line}, column {self._columns[column]}: {text[:30]!r} is not a number{hint}"
            ) from None


def stack(path: Path, rows: list[FloatArray], width: int) -> FloatArray:
    """Rows of numbers as one array, shape (rows, width).

    Raises
    ------
    InputError
        No row.
    """
    if not rows:
        raise InputError(f"{path}: no usable points (no row of numbers); record or export the swing again")
    return np.stack(rows).reshape(-1, width)


def check_size(path: Path, rows: int, width: int) -> None:
    """Refuse a table that would fill the memory.

    Raises
    ------
    InputError
        More than `MOST_VALUES` cells.
    """
    if rows * width > MOST_VALUES:
        raise InputError(f"{path}: {rows} rows of {width} columns are too many; cut the file to the swing")


def unique_labels(names: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """Labels without the subject's prefix, each once.

    Parameters
    ----------
    names : sequence of str
        As stored; an empty one gets a number.

    Returns
    -------
    (labels, notes)
    """
    bare = [name.strip().split(":", 1)[-1].strip() or f"point_{i + 1}" for i, name in enumerate(names)]
    taken: set[str] = set()
    labels, repeated = [], []
    for name in bare:
        label, number = name, 2
        while label in taken:
            label, number = f"{name}_{number}", number + 1
        if label != name:
            repeated.append(name)
        taken.add(label)
        labels.append(label)
    return tuple(labels), [
        f"label {name!r} is used {bare.count(name)} times; the later ones carry a number"
        for name in dict.fromkeys(repeated)
    ]


@dataclass(frozen=True)
class TimeLine:
    """Where each row of a file lies in time.

    Attributes
    ----------
    rate_hz : float
    first_frame : int
    places : ndarray of int, shape (rows,)
        Index of the frame that each row belongs to, rising.
    notes : tuple of str
    """

    rate_hz: float
    first_frame: int
    places: npt.NDArray[np.intp]
    notes: tuple[str, ...]


def time_line(path: Path, numbers: FloatArray | None, times: FloatArray | None, stated_hz: float | None) -> TimeLine:
    """Put rows on an even time line.

    Parameters
    ----------
    path : Path
        For messages.
    numbers : ndarray, shape (rows,), or None
        Frame number of each row; a number that is left out is a frame that was lost.
    times : ndarray, shape (rows,), or None
        [s]
    stated_hz : float or None
        Rate that the file states. [Hz]

    Returns
    -------
    TimeLine
        Where the time column runs evenly and contradicts the stated rate, the column is believed, as it stands beside
        every frame; a note says so.

    Raises
    ------
    InputError
        Neither a rate nor a usable time column, or frame numbers that leave out most of the recording.
    """
    times = times if times is not None and np.isfinite(times).all() and (np.diff(times) > 0).all() else None
    times = times if times is not None and len(times) > 1 else None
    stated_hz = stated_hz if stated_hz is not None and np.isfinite(stated_hz) and stated_hz > 0 else None
    notes: list[str] = []
    if numbers is not None:
        places, first = _by_number(path, numbers, notes)
    else:
        places, first = _by_time(path, times, notes, len(times) if times is not None else 0), 1
    if times is None:
        if stated_hz is None:
            raise InputError(f"{path}: no sampling rate: neither a stated rate nor a rising time column is there")
        return TimeLine(stated_hz, first, places, tuple(notes))
    measured = float((places[-1] - places[0]) / (times[-1] - times[0]))
    whole = round(measured)
    measured = float(whole) if whole and abs(measured / whole - 1) < 5e-4 else measured  # times are rounded in files
    if stated_hz is None:
        return TimeLine(measured, first, places, tuple(notes))
    if abs(measured / stated_hz - 1) <= RATE_TOLERANCE:
        return TimeLine(stated_hz, first, places, tuple(notes))
    off = np.abs(times - times[0] - (places - places[0]) / measured).max() * measured
    taken, why = (measured, "the time column is taken") if off < 1 else (stated_hz, "it is uneven; the rate is taken")
    notes.append(f"the time column runs at {measured:.5g} Hz, the stated rate is {stated_hz:g} Hz; {why}")
    return TimeLine(taken, first, places, tuple(notes))


def _by_number(path: Path, numbers: FloatArray, notes: list[str]) -> tuple[npt.NDArray[np.intp], int]:
    """Frame indices from frame numbers."""
    in_order = np.arange(len(numbers))
    if not (np.isfinite(numbers).all() and (np.abs(numbers) < 2**31).all() and (numbers == np.round(numbers)).all()):
        notes.append("frame numbers are missing or broken; the rows are taken in their order")
        return in_order, 1
    first = int(numbers[0])
    steps = np.diff(numbers).astype(np.int64)
    if not len(steps) or (steps[0] > 0 and (steps == steps[0]).all()):
        return in_order, first
    if (steps <= 0).any():
        at = int(np.argmax(steps <= 0))
        notes.append(
            f"frame numbers do not rise (after {numbers[at]:.0f} comes {numbers[at + 1]:.0f});"
            " the rows are taken in their order"
        )
        return in_order, first
    return _spread(path, (numbers - numbers[0]).astype(np.intp), first, notes), first


def _by_time(path: Path, times: FloatArray | None, notes: list[str], rows: int) -> npt.NDArray[np.intp]:
    """Frame indices from times alone: a step of two or more usual ones is a gap."""
    if times is None:
        return np.arange(rows)
    usual = float(np.median(np.diff(times)))
    places = np.round((times - times[0]) / usual).astype(np.intp)
    if (np.diff(places) < 1).any() or (places == np.arange(rows)).all():
        return np.arange(rows)
    return _spread(path, places, 1, notes)


def _spread(path: Path, places: npt.NDArray[np.intp], first: int, notes: list[str]) -> npt.NDArray[np.intp]:
    """Note the frames that are left out; refuse where hardly any is there."""
    rows, frames = len(places), int(places[-1]) + 1
    at = int(np.argmax(np.diff(places) > 1))
    if frames > 10 * rows:
        raise InputError(
            f"{path}: frame numbers leap from {first + places[at]} to {first + places[at + 1]};"
            f" only {rows} of {frames} frames are there; number the frames one by one"
        )
    notes.append(
        f"{frames - rows} frames are not in the file (the first after frame {first + places[at]}); left as gaps"
    )
    return places


def metres_per_unit(path: Path, unit: str, where: str) -> float:
    """Metres per stated unit.

    Raises
    ------
    InputError
        An unknown unit.
    """
    scale = UNITS.get(unit.strip().strip("[]()").lower())
    if scale is None:
        raise InputError(f"{path}: {where} is {unit.strip()[:20]!r}; known are mm, cm, m")
    return scale


def guessed_unit(points: FloatArray) -> tuple[float, str]:
    """Metres per unit from the size of what was recorded, with a note.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        In the file's unit.

    Returns
    -------
    (metres per unit, note)
    """
    seen = np.isfinite(points).all(axis=2)
    full = points[seen.sum(axis=1) >= max(2, seen.sum(axis=1).max() // 2)] if points.shape[1] > 1 else points
    axis = 1 if points.shape[1] > 1 else 0
    extent = np.nanmax(full, axis=axis) - np.nanmin(full, axis=axis) if len(full) else np.zeros(3)
    size = float(np.median(np.max(np.atleast_2d(extent), axis=-1)))
    name = "m" if size < METRES_UP_TO else "cm" if size < CENTIMETRES_UP_TO else "mm"
    return UNITS[name], f"no unit is stated; taken as {name}, since the points lie {size * UNITS[name]:.2f} m apart"


def capture_of(
    path: Path, labels: tuple[str, ...], values: FloatArray, unit: float | None, line: TimeLine, notes: list[str]
) -> Capture:
    """A capture from a table of coordinates.

    Parameters
    ----------
    path : Path
    labels : tuple of str, length P
    values : ndarray, shape (rows, P, 3)
        In the file's unit; NaN where missing.
    unit : float or None
        Metres per unit; None: guessed from the size of what was recorded.
    line : TimeLine
    notes : list of str

    Returns
    -------
    Capture

    Raises
    ------
    InputError
        No sample at all, or too many frames.
    """
    # An exact (0, 0, 0) is how many writers store a lost point.
    lost = ~np.isfinite(values).all(axis=2) | ~np.any(values != 0, axis=2)
    if lost.all():
        raise InputError(f"{path}: no usable points (every sample is missing); record or export the swing again")
    frames = int(line.places[-1]) + 1
    check_size(path, frames, 3 * len(labels))
    points = np.full((frames, len(labels), 3), np.nan)
    points[line.places] = np.where(lost[:, :, None], np.nan, values)
    notes = [*notes, *line.notes]
    if unit is None:
        unit, note = guessed_unit(points)
        notes.append(note)
    seen = np.isfinite(points).all(axis=2)
    return Capture(
        source=path.name,
        labels=labels,
        points=points * unit,
        rate_hz=line.rate_hz,
        residuals=np.where(seen, 0.0, np.nan),
        first_frame=line.first_frame,
        notes=tuple(notes),
    )
