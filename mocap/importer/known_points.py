"""Points of known place in the cage, and where a camera saw them.

The rule book's points lie in the axes of home plate: origin at its rear tip, x toward the pitcher, y to the left as the
catcher sees it (toward third base), z up. Those of a plate stand on the floor (z = 0); a box's corners are the outer
edges of its lines, as the rules measure them.

A coach's own points (a pole with marks, cones set out with a tape measure) are a table

    name,x,y,z
    pole low,0.000,1.500,0.250

or TOML, `unit` optional:

    unit = "m"
    [points]
    "pole low" = [0.0, 1.5, 0.25]

and what a camera saw of them a table `point,u,v`, pixels from the middle of the picture's upper left pixel.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.text_table import UNITS, text_lines
from mocap.pitching import rule_book
from mocap.swing import Sport


@dataclass(frozen=True)
class KnownPoints:
    """Points whose place was measured.

    Attributes
    ----------
    names : tuple of str, length N
        All different.
    places : ndarray, shape (N, 3)
        z up. [m]

    Raises
    ------
    OptionError
        A name twice, or a place that is not three numbers.
    """

    names: tuple[str, ...]
    places: FloatArray

    def __post_init__(self) -> None:
        if self.places.shape != (len(self.names), 3) or not np.isfinite(self.places).all():
            raise OptionError("places must be three numbers for each name")
        twice = _first_twice(self.names)
        if twice is not None:
            raise OptionError(f"the known point {twice!r} is given twice; keep one")

    def __add__(self, other: KnownPoints) -> KnownPoints:
        """Both lists; a name in both is an error."""
        return KnownPoints(self.names + other.names, np.concatenate([self.places, other.places]))

    def matched(self, seen: Mapping[str, FloatArray], where: str) -> tuple[KnownPoints, FloatArray]:
        """Those that were seen, and where.

        Parameters
        ----------
        seen : mapping of str to ndarray, shape (2,)
            [px]
        where : str
            Names the list of pixels in messages.

        Returns
        -------
        KnownPoints, ndarray of shape (M, 2)

        Raises
        ------
        InputError
            A seen point that is not known.
        """
        for name in seen:
            if name not in self.names:
                raise InputError(f"{where}: no place is known of {name!r}; known are {', '.join(self.names)}")
        rows = [row for row, name in enumerate(self.names) if name in seen]
        chosen = KnownPoints(tuple(self.names[row] for row in rows), self.places[rows])
        return chosen, np.array([seen[name] for name in chosen.names], dtype=np.float64).reshape(-1, 2)


def rule_book_points(sport: Sport = "baseball") -> KnownPoints:
    """Corners of home plate and of both batter's boxes, from the rule book.

    Parameters
    ----------
    sport : {"baseball", "softball"}

    Returns
    -------
    KnownPoints
        Left and right as the catcher sees them; `rear` is the catcher's side. A right-handed hitter stands in the left
        box. [m]
    """
    sizes = rule_book(sport)
    half, depth = 0.5 * sizes["plate_width_m"], sizes["plate_width_m"]
    points = {
        "plate_tip": (0.0, 0.0),
        "plate_left_side": (depth - sizes["plate_side_m"], half),
        "plate_left_front": (depth, half),
        "plate_right_front": (depth, -half),
        "plate_right_side": (depth - sizes["plate_side_m"], -half),
    }
    inner = half + sizes["box_to_plate_m"]
    outer = inner + sizes["box_width_m"]
    front = 0.5 * depth + sizes["box_ahead_m"]
    rear = front - sizes["box_length_m"]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for edge, y in (("inner", inner), ("outer", outer)):
            for end, x in (("front", front), ("rear", rear)):
                points[f"{side}_box_{edge}_{end}"] = (x, sign * y)
    return KnownPoints(tuple(points), np.array([(x, y, 0.0) for x, y in points.values()]))


def read_known_points(path: str | Path, *, unit: str | None = None) -> KnownPoints:
    """Read a coach's own measured points.

    Parameters
    ----------
    path : str or Path
        CSV (`name,x,y,z`) or TOML (`[points]`).
    unit : str, optional
        Unit of length of a CSV; metres where it is not given. A TOML file says its own.

    Returns
    -------
    KnownPoints

    Raises
    ------
    InputError
        No such file, no points in it, a row that is not a name and three numbers, a name twice, an unknown unit.
    """
    path = Path(path)
    if path.suffix.lower() == ".toml":
        rows, unit = _toml_rows(path)
    else:
        rows = _csv_rows(path, ("name", "x", "y", "z"))
    factor = UNITS.get((unit or "m").lower())
    if factor is None:
        raise InputError(f"{path}: the unit {unit!r} is not known; give mm, cm or m")
    try:
        return KnownPoints(tuple(rows), factor * np.array(list(rows.values())))
    except OptionError as error:
        raise InputError(f"{path}: {error}") from error


def read_marked_pixels(path: str | Path) -> dict[str, FloatArray]:
    """Read where a camera saw points: a table `point,u,v`.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    dict of str to ndarray, shape (2,)
        [px]

    Raises
    ------
    InputError
        As `read_known_points`.
    """
    return {name: np.array(pixel) for name, pixel in _csv_rows(Path(path), ("point", "u", "v")).items()}


def _csv_rows(path: Path, columns: Sequence[str]) -> dict[str, list[float]]:
    """Name to numbers of each row; the header says the order of the columns."""
    lines = text_lines(path, "CSV")
    rows: dict[str, list[float]] = {}
    order: list[int] | None = None
    for line, cells in enumerate(csv.reader(lines, skipinitialspace=True), start=1):
        cells = [cell.strip() for cell in cells]
        if not any(cells) or cells[0].startswith("#"):
            continue
        if order is None:
            header = [cell.lower() for cell in cells]
            missing = [column for column in columns if column not in header]
            if missing:
                raise InputError(
                    f"{path}: line {line}: no column {missing[0]!r}; the header must be {','.join(columns)}"
                )
            order = [header.index(column) for column in columns]
            continue
        padded = cells + [""] * (max(order) + 1 - len(cells))
        name = padded[order[0]]
        if name in rows:
            raise InputError(f"{path}: line {line}: {name!r} is given twice; keep one row of it")
        rows[name] = _row([padded[place] for place in order[1:]], columns[1:], f"{path}: line {line}: {name!r}")
    if not rows:
        raise InputError(f"{path}: holds no points; give rows {','.join(columns)}")
    return rows


def _row(cells: Sequence[str], columns: Sequence[str], where: str) -> list[float]:
    numbers = []
    for cell, column in zip(cells, columns, strict=True):
        try:
            number = float(cell)
        except ValueError:
            number = float("nan")
        if not np.isfinite(number):
            raise InputError(f"{where}: {column} must be a number, got {cell!r}; correct it or take the row out")
        numbers.append(number)
    return numbers


def _toml_rows(path: Path) -> tuple[dict[str, list[float]], str]:
    try:
        table = tomllib.loads("\n".join(text_lines(path, "TOML")))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not a TOML file ({error})") from error
    points = table.get("points")
    if not isinstance(points, dict) or not points:
        raise InputError(f"{path}: holds no points; give a table [points] with rows name = [x, y, z]")
    for name, place in points.items():
        if not (isinstance(place, list) and len(place) == 3 and all(type(part) in (int, float) for part in place)):
            raise InputError(f"{path}: [points] {name!r} must be three numbers, got {place!r}")
    return points, str(table.get("unit", "m"))


def _first_twice(names: Sequence[str]) -> str | None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    return None
