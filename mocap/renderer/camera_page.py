"""One page on cameras: how well they will see a hitter where they stand, and how well a recording of theirs fits."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from mocap.camera_tables import millimetres, pixels, share
from mocap.capture import FloatArray
from mocap.renderer import style
from mocap.renderer.template import Verbatim, hexadecimal, write_filled

if TYPE_CHECKING:
    from mocap.importer.camera_placement import Placement
    from mocap.importer.camera_quality import CameraQuality

#: The plan: side of a cell, and the margin round them in which the cameras stand. [units of the drawing]
CELL, MARGIN = 40.0, 52.0
#: The chart of errors over time: its size, and the margins left and below. [units of the drawing]
CHART, CHART_LEFT, CHART_BELOW, CHART_TOP, CHART_RIGHT = (360.0, 210.0), 34.0, 40.0, 24.0, 12.0
#: Tint of the cell with the greatest error; cells darker than the other share carry white type.
DEEPEST, WHITE_FROM = 0.85, 0.65
#: Dashes that tell one camera's line from another's.
DASHES = ("none", "7 4", "2 3", "10 3 2 3")


def write_camera_page(
    placement: Placement, path: str | Path, *, quality: CameraQuality | None = None, notes: Sequence[str] = ()
) -> Path:
    """Write a page that holds everything in one file.

    Parameters
    ----------
    placement : Placement
    path : str or Path
        An older file there is replaced.
    quality : CameraQuality, optional
        Of a recording.
    notes : sequence of str
        What else was found in it.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The page cannot be written.
    """
    words = {
        **_placement_words(placement),
        "subtitle": ", ".join(placement.names),
        "plan": _plan(placement),
        "quality": _quality_words(quality) if quality is not None else None,
        "notes": [*notes, *(quality.notes if quality is not None else ())],
    }
    return write_filled(path, "cameras.html.j2", words)


def _placement_words(placement: Placement) -> dict[str, Any]:
    return {
        "advice": [sentence[0].upper() + sentence[1:] + "." for sentence in placement.advice],
        "angle": f"{placement.angle_deg:.0f}°",
        "directions": [word.capitalize() for word in placement.volume.directions],
        "cameras": [
            {
                "number": number,
                "name": name,
                "distance": f"{distance:.1f} m",
                "sees": share(sees),
                "fills": share(fills),
            }
            for number, (name, distance, sees, fills) in enumerate(
                zip(placement.names, placement.distance_m, placement.seen, placement.filled, strict=True), start=1
            )
        ],
        "levels": [
            {
                "name": level.name.capitalize(),
                "height": f"{level.height_m:.2f} m",
                "sd": [millimetres(float(sd)) for sd in level.usual],
                "seen": share(level.share_seen),
            }
            for level in placement.levels
        ],
    }


def _plan(placement: Placement) -> dict[str, Any]:
    """The map from above at the hands' height: the pitcher at the top, as the catcher sees it."""
    level = next(level for level in placement.levels if level.name == "hands")
    worst = level.largest
    rows, columns = worst.shape
    greatest = float(np.nanmax(worst)) if np.isfinite(worst).any() else 1.0
    cells = [
        _cell(worst[row, column], greatest, MARGIN + CELL * (columns - 1 - column), MARGIN + CELL * (rows - 1 - row))
        for row in range(rows)
        for column in range(columns)
    ]
    half = 0.5 * CELL * np.array([columns, rows])
    middle = half + MARGIN
    # Where the line from the middle to a camera leaves the cells, half a margin farther out.
    marks = []
    for number, centre in enumerate(placement.centres, start=1):
        x, y, _ = placement.volume.axes @ (centre - placement.volume.middle)
        way = np.array([-y, -x])
        place = middle + way * float(np.min((half + 0.5 * MARGIN) / np.maximum(np.abs(way), 1e-9)))
        edge = middle + way * float(np.min(half / np.maximum(np.abs(way), 1e-9)))
        marks.append({"number": number, "x": place[0], "y": place[1], "to_x": edge[0], "to_y": edge[1]})
    return {
        "width": 2 * middle[0],
        "height": 2 * middle[1],
        "cell": CELL,
        "cells": cells,
        "marks": marks,
        "ahead": placement.volume.directions[0].capitalize(),
        "height_m": f"{level.height_m:.2f} m",
        "plate": _plate(placement, middle),
    }


def _cell(sd_m: float, greatest_m: float, x: float, y: float) -> dict[str, Any]:
    """One field of the map, its number in millimetres; a dash where two cameras do not see it."""
    if not np.isfinite(sd_m):
        return {"x": x, "y": y, "fill": hexadecimal(style.FLOOR), "ink": hexadecimal(style.INK), "words": "–"}
    tint = DEEPEST * float(sd_m) / greatest_m
    mixed = (round((1 - tint) * white + tint * blue) for white, blue in zip(style.WHITE, style.BLUE, strict=True))
    red, green, blue = mixed
    words = f"{1e3 * sd_m:.1f}" if 1e3 * sd_m < 9.95 else f"{1e3 * sd_m:.0f}"
    ink = style.WHITE if tint > WHITE_FROM else style.INK
    return {"x": x, "y": y, "fill": hexadecimal((red, green, blue)), "ink": hexadecimal(ink), "words": words}


def _plate(placement: Placement, middle: FloatArray) -> str:
    """Home plate's corners on the map; none where it is not known."""
    from mocap.importer.camera_placement import STEP_M
    from mocap.importer.known_points import rule_book_points

    volume = placement.volume
    if volume.plate is None:
        return ""
    book = rule_book_points()
    corners = np.array([place for name, place in zip(book.names, book.places, strict=True) if "plate" in name])
    x, y, _ = volume.axes @ (volume.plate - volume.middle)
    scale = CELL / STEP_M
    return Verbatim(
        " ".join(f"{middle[0] - scale * (y + cy):.1f},{middle[1] - scale * (x + cx):.1f}" for cx, cy, _ in corners)
    )


def _quality_words(quality: CameraQuality) -> dict[str, Any]:
    rows = [
        {
            "name": name,
            "errors": [pixels(*pair) for pair in zip(quality.rms_px[:, p], quality.median_px[:, p], strict=True)],
            "covered": share(float(quality.covered[p])),
        }
        for p, name in enumerate(quality.names)
    ]
    whole = zip(quality.camera_rms_px, quality.camera_median_px, strict=True)
    return {
        "cameras": quality.cameras,
        "frames": quality.frames,
        "all": [pixels(*pair) for pair in whole],
        "covered": share(float(quality.covered.mean())),
        "rows": rows,
        "worst": [
            {"what": f"{one.point}, frame {one.frame}", "camera": one.camera, "error": f"{one.error_px:.1f} px"}
            for one in quality.worst
        ],
        "chart": _chart(quality),
    }


def _chart(quality: CameraQuality) -> dict[str, Any]:
    """Median errors over time, a line for each camera."""
    (width, height), times, errors = CHART, quality.block_s, quality.over_time_px
    most = float(np.nanmax(errors)) if np.isfinite(errors).any() else 1.0
    step = _step(most)
    top = step * np.ceil(max(most, 1e-3) / step)
    span = max(float(times[-1] - times[0]), 1e-3)

    def across(time_s: float) -> float:
        return CHART_LEFT + (width - CHART_LEFT - CHART_RIGHT) * (time_s - float(times[0])) / span

    def down(error_px: float) -> float:
        return height - CHART_BELOW - (height - CHART_BELOW - CHART_TOP) * error_px / float(top)

    seconds = _step(span)
    first = seconds * np.ceil(times[0] / seconds - 1e-9)
    colours = (style.BLUE, style.RED, style.INK, style.MUTED)
    return {
        "width": width,
        "height": height,
        "left": CHART_LEFT,
        "right": width - CHART_RIGHT,
        "lines": [
            {
                "name": name,
                "colour": hexadecimal(colours[number % len(colours)]),
                "dashes": Verbatim(DASHES[number % len(DASHES)]),
                "runs": [
                    Verbatim(" ".join(f"{across(times[b]):.1f},{down(own[b]):.1f}" for b in run))
                    for run in _runs(np.isfinite(own))
                ],
            }
            for number, (name, own) in enumerate(zip(quality.cameras, errors, strict=True))
        ],
        "levels": [{"y": down(value), "words": f"{value:g}"} for value in np.arange(0.0, top + 0.5 * step, step)],
        "times": [
            {"x": across(value), "words": f"{value:g}"}
            for value in np.round(np.arange(first, times[-1] + 1e-9, seconds), 6)
        ],
    }


def _step(span: float) -> float:
    """A round step of which two to five make a span."""
    power = 10.0 ** np.floor(np.log10(max(span, 1e-3)))
    return float(next(part * power for part in (0.2, 0.5, 1.0, 2.0) if span <= 5.0 * part * power + 1e-12))


def _runs(there: np.ndarray[Any, np.dtype[np.bool_]]) -> list[list[int]]:
    """Stretches of places without a gap."""
    found = np.flatnonzero(there)
    return [list(map(int, run)) for run in np.split(found, np.flatnonzero(np.diff(found) > 1) + 1) if len(run)]
