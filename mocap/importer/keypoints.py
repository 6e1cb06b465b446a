"""Points that were found in the pictures of one camera: a table `frame,point,u,v,confidence`.

One row per point and picture, frames counted from 0 as the camera took them, u to the right and v downward from the
middle of the upper left pixel, confidence 0 to 1. What was not found has no row, or a confidence of 0.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.text_table import MISSING, check_size, text_lines

COLUMNS = ("frame", "point", "u", "v", "confidence")
FORM = ",".join(COLUMNS)
#: Standard deviation per axis of a point that a detector is entirely sure of; one it is half sure of is twice as
#: uncertain. This project's default. [px]
NOISE_PX = 1.0
#: A guess is not counted as worse than this confidence. This project's default.
LEAST_CONFIDENCE = 0.05
#: More noise than this is a number in another unit. [px]
MOST_NOISE_PX = 100.0
#: A table may leave out this many times as many frames as it has; more is a number that went wrong.
MOST_EMPTY = 10


@dataclass(frozen=True)
class Keypoints:
    """What was found in one camera's pictures.

    Attributes
    ----------
    names : tuple of str, length P
        With the sides of the body, such as `l_hip`.
    pixels : ndarray, shape (F, P, 2)
        u and v as the picture shows them, distorted; NaN where not found. [px]
    confidence : ndarray, shape (F, P)
        0 to 1; NaN where not found.
    first_frame : int
        The camera's number of the first of the F frames, counted from 0.
    source : str
        File or folder, for messages.
    notes : tuple of str
        What was unusual, one line each.
    """

    names: tuple[str, ...]
    pixels: FloatArray
    confidence: FloatArray
    first_frame: int = 0
    source: str = ""
    notes: tuple[str, ...] = ()

    @property
    def frames(self) -> FloatArray:
        """The camera's number of each frame, shape (F,)."""
        return self.first_frame + np.arange(len(self.pixels), dtype=np.float64)

    def sd_px(self, noise_px: float = NOISE_PX) -> FloatArray:
        """Standard deviation per axis of each point, shape (F, P); NaN where not found. [px]"""
        return noise_px / np.maximum(self.confidence, LEAST_CONFIDENCE)

    def times(self, camera: Camera) -> FloatArray:
        """When each frame was taken by the camera's clock as its file states it, shape (F,). [s]

        Raises
        ------
        InputError
            The camera's rate is not known.
        """
        if camera.rate_hz is None:
            raise InputError(f"camera {camera.name or self.source}: rate_hz is missing; add it to the camera's file")
        return camera.time_offset_s + self.frames / camera.rate_hz

    def select(self, names: Sequence[str]) -> Keypoints:
        """Only these points, in this order; all NaN where one is not there."""
        pixels = np.full((len(self.pixels), len(names), 2), np.nan)
        confidence = np.full(pixels.shape[:2], np.nan)
        for place, name in enumerate(names):
            if name in self.names:
                own = self.names.index(name)
                pixels[:, place], confidence[:, place] = self.pixels[:, own], self.confidence[:, own]
        return Keypoints(tuple(names), pixels, confidence, self.first_frame, self.source, self.notes)


def check_noise(noise_px: float) -> None:
    """Refuse a noise that is none.

    Raises
    ------
    OptionError
        Zero, negative, no number, or more than `MOST_NOISE_PX`.
    """
    if not 0.0 < noise_px < MOST_NOISE_PX:
        raise OptionError(f"noise {noise_px:g} is no number of pixels; give e.g. 1")


def common_names(tables: Sequence[Keypoints]) -> tuple[str, ...]:
    """Names of the points that every table has, in the order of the first.

    Raises
    ------
    InputError
        There is none.
    """
    shared = [name for name in tables[0].names if all(name in table.names for table in tables[1:])]
    if not shared:
        one, other = (", ".join(table.names[:4]) for table in (tables[0], tables[-1]))
        raise InputError(
            f"{tables[-1].source}: has no point by a name of {tables[0].source} ({other} ... and {one} ...);"
            " name the points alike"
        )
    return tuple(shared)


def joined(first: Keypoints, second: Keypoints) -> Keypoints:
    """Points of two tables of one camera in one, such as a body's and the bat's ends.

    Parameters
    ----------
    first, second : Keypoints
        Of the same camera; frames that one lacks are NaN there.

    Raises
    ------
    InputError
        Both have a point of the same name.
    """
    twice = sorted(set(first.names) & set(second.names))
    if twice:
        raise InputError(f"{second.source}: point {twice[0]!r} is in {first.source} too; keep one of them")
    start = min(first.first_frame, second.first_frame)
    end = max(table.first_frame + len(table.pixels) for table in (first, second))
    pixels = np.full((end - start, len(first.names) + len(second.names), 2), np.nan)
    confidence = np.full(pixels.shape[:2], np.nan)
    column = 0
    for table in (first, second):
        rows = slice(table.first_frame - start, table.first_frame - start + len(table.pixels))
        columns = slice(column, column := column + len(table.names))
        pixels[rows, columns], confidence[rows, columns] = table.pixels, table.confidence
    return Keypoints(
        (*first.names, *second.names), pixels, confidence, start, first.source, (*first.notes, *second.notes)
    )


def read_keypoints(path: str | Path) -> Keypoints:
    """Read a table of points found in one camera's pictures.

    Parameters
    ----------
    path : str or Path
        CSV with the columns `frame,point,u,v` and, unless every point is sure, `confidence`, in any order; separated by
        commas, semicolons or tabs.

    Returns
    -------
    Keypoints
        From the first to the last frame of the table; the points in the order in which they first appear.

    Raises
    ------
    InputError
        Missing, empty, no such table, an unknown or a lacking column, a cell that is no number, a frame that is not a
        whole number from 0, a confidence outside 0 to 1, a point twice in one frame, no point at all; the message
        names file, line and column.
    """
    path = Path(path)
    lines, numbers = _filled_lines(path)
    separator = max("\t;,", key=lines[0].count)
    names = [name.strip().strip('"').lower() for name in lines[0].split(separator)]
    _check_columns(path, names)
    cells = _cells(path, lines, numbers, separator, len(names))
    column = {name: cells[names.index(name) :: len(names)] for name in names}
    lines_at = numbers[1:]
    frame = _numbers(path, column["frame"], "frame", lines_at)
    u, v = (_numbers(path, column[name], name, lines_at) for name in "uv")
    notes: list[str] = []
    if "confidence" in column:
        sure = _numbers(path, column["confidence"], "confidence", lines_at)
    else:
        sure = np.ones(len(frame))
        notes.append("no column 'confidence'; every point is taken as sure")
    _check_values(path, frame, sure, lines_at)
    return _placed(path, frame.astype(np.int64), column["point"], np.stack([u, v], axis=-1), sure, lines_at, notes)


def _filled_lines(path: Path) -> tuple[list[str], npt.NDArray[np.int64]]:
    """Lines that are neither blank nor a remark, the names of the columns first, and their numbers in the file."""
    lines = text_lines(path, "CSV")
    kept = [number for number, line in enumerate(lines, start=1) if line.strip() and not line.startswith("#")]
    if not kept:
        raise InputError(f"{path}: no line of column names; give {FORM}")
    return [lines[number - 1] for number in kept], np.array(kept, dtype=np.int64)


def _check_columns(path: Path, names: list[str]) -> None:
    if all(re.fullmatch(r"[-+.\deE]*", name) for name in names):
        raise InputError(f"{path}: the first line holds numbers, not column names; give {FORM}")
    for name in names:
        if name not in COLUMNS:
            raise InputError(f"{path}: column {name[:30]!r} is not known; give {FORM}")
        if names.count(name) > 1:
            raise InputError(f"{path}: column {name!r} is there twice; keep one")
    for name in COLUMNS[:-1]:
        if name not in names:
            raise InputError(f"{path}: no column {name!r}; give {FORM}")


def _cells(path: Path, lines: list[str], numbers: npt.NDArray[np.int64], separator: str, width: int) -> list[str]:
    """All cells below the names, row after row."""
    if len(lines) < 2:
        raise InputError(f"{path}: no row below the column names; find the points in the pictures again")
    check_size(path, len(lines), width)
    cells = separator.join(lines[1:]).split(separator)
    if len(cells) != width * (len(lines) - 1) or min(map(str.count, lines[1:], [separator] * len(lines))) < width - 1:
        counts = np.array([line.count(separator) + 1 for line in lines[1:]])
        at = int(np.flatnonzero(counts != width)[0])
        hint = " (a decimal comma?)" if counts[at] > width and separator == "," else ""
        raise InputError(f"{path}: line {numbers[at + 1]} has {counts[at]} cells, the column names are {width}{hint}")
    return cells


def _numbers(path: Path, cells: list[str], name: str, lines_at: npt.NDArray[np.int64]) -> FloatArray:
    """One column of numbers; a missing one is NaN."""
    try:
        return np.array(cells, dtype=np.float64)
    except ValueError:
        pass
    blanked = ["nan" if cell.strip().lower() in MISSING else cell for cell in cells]
    try:
        return np.array(blanked, dtype=np.float64)
    except ValueError:
        at = next(i for i, cell in enumerate(blanked) if not _is_number(cell))
        raise InputError(
            f"{path}: line {lines_at[at]}, column {name}: {cells[at].strip()[:30]!r} is not a number"
        ) from None


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _check_values(path: Path, frame: FloatArray, sure: FloatArray, lines_at: npt.NDArray[np.int64]) -> None:
    """Raise where a frame is not a whole number from 0, or a confidence lies outside 0 to 1."""
    wrong = ~((frame >= 0) & (frame < 2**31) & (frame == np.round(frame)))
    if wrong.any():
        at = int(np.argmax(wrong))
        raise InputError(f"{path}: line {lines_at[at]}, column frame: {frame[at]:g}; give whole numbers from 0")
    wrong = (sure < 0) | (sure > 1)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise InputError(
            f"{path}: line {lines_at[at]}, column confidence: {sure[at]:g}; give 0 to 1 (divide percent by 100)"
        )


def _placed(
    path: Path,
    frame: npt.NDArray[np.int64],
    points: list[str],
    pixels: FloatArray,
    sure: FloatArray,
    lines_at: npt.NDArray[np.int64],
    notes: list[str],
) -> Keypoints:
    """The rows by frame and point."""
    names = {name: i for i, name in enumerate(dict.fromkeys(cell.strip().strip('"') for cell in points))}
    column = np.array([names[cell.strip().strip('"')] for cell in points])
    if "" in names:
        at = int(np.argmax(column == names[""]))
        raise InputError(f"{path}: line {lines_at[at]}, column point: no name of a point")
    first, count = int(frame.min()), int(frame.max() - frame.min()) + 1
    seen_frames = np.unique(frame)
    if count > MOST_EMPTY * len(seen_frames):
        at = int(np.argmax(np.diff(seen_frames)))
        raise InputError(
            f"{path}: frame numbers leap from {seen_frames[at]} to {seen_frames[at + 1]}; only {len(seen_frames)} of"
            f" {count} frames are there; number the frames one by one"
        )
    check_size(path, count, 3 * len(names))
    cell = (frame - first) * len(names) + column
    _, once = np.unique(cell, return_index=True)
    if len(once) < len(cell):
        at = int(np.setdiff1d(np.arange(len(cell)), once)[0])
        raise InputError(
            f"{path}: line {lines_at[at]}: point {points[at].strip()!r} is there twice in frame {frame[at]}; keep one"
        )
    found = np.isfinite(pixels).all(axis=1) & (sure > 0)
    if not found.any():
        raise InputError(f"{path}: no point was found in any frame; find the points in the pictures again")
    places = np.full((count, len(names), 2), np.nan)
    confidence = np.full((count, len(names)), np.nan)
    places[frame[found] - first, column[found]] = pixels[found]
    confidence[frame[found] - first, column[found]] = sure[found]
    empty = ~np.isfinite(confidence).any(axis=1)
    if empty.any():
        notes.append(
            f"{int(empty.sum())} of {count} frames have no point (the first is frame {first + int(np.argmax(empty))});"
            " left as gaps"
        )
    return Keypoints(tuple(names), places, confidence, first, str(path), tuple(notes))
