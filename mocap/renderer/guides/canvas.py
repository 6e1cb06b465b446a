"""What every guide shares: where it is drawn, what it can be asked, its number in words, and the strokes of the trade.

A guide draws through `Canvas.framing.project`, `Canvas.unit` and `Canvas.pen` alone, so that it serves views without
perspective and real cameras alike. Straight lines are drawn through many points, as a lens bends them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.display import Units, format_measure
from mocap.findings import Findings
from mocap.renderer.lens import Lens
from mocap.renderer.pen import Pen
from mocap.renderer.style import INK, WHITE, Colour

_SAMPLES = 13  # points along a straight line; a lens's bend between two of them is a small part of a pixel
_CIRCLE = 49  # points round a circle

#: Radius of a head, the cap included: this project's default. [m]
HEAD_M = 0.135

#: Nothing that a picture must have room for.
NOWHERE: FloatArray = np.empty((0, 3))


@dataclass(frozen=True)
class Canvas:
    """Where a guide is drawn: a picture, how the swing lies in it, and pixels per design pixel."""

    pen: Pen
    framing: Lens
    unit: float


@dataclass(frozen=True)
class GuideLabel:
    """A guide's number.

    Attributes
    ----------
    words : str
        With the number, its plus-minus and its unit.
    at : ndarray, shape (3,)
        The place it belongs to, hitting frame. [m]
    measure : str
        Name of the measure, so that a picture can leave out what its headline says already.
    line : ndarray, shape (N, 3)
        Where else it may be joined to the guide, if that is a line of which any place will do. [m]
    """

    words: str
    at: FloatArray
    measure: str
    line: FloatArray = field(default_factory=lambda: NOWHERE)


class Guide(Protocol):
    """A guide to one swing.

    Attributes
    ----------
    name : str
        As in `mocap.renderer.guides.GUIDES`.
    """

    name: str

    def reach(self, frame: int, /) -> FloatArray:
        """Points that a picture must have room for, shape (N, 3). [m]"""

    def draw(self, on: Canvas, frame: int, /) -> None:
        """Draw it over the bodies; what hangs on a missing point is left out."""

    def label(self, frame: int, /) -> GuideLabel | None:
        """Its number, in the frames for which the number holds; None elsewhere, and where it is not measurable."""


@dataclass(frozen=True)
class Numbers:
    """The numbers of one swing, as they are read.

    Attributes
    ----------
    findings : Findings
    units : {"metric", "imperial"}
    """

    findings: Findings
    units: Units = "metric"

    def value(self, measure: str) -> float | None:
        """A measure's value in its own unit; None where it is not measurable or text."""
        found = self.findings.measures.get(measure)
        return found.value if found is not None and isinstance(found.value, float) else None

    def label(
        self, measure: str, words: str, at: FloatArray, *, line: FloatArray = NOWHERE, signed: bool = True
    ) -> GuideLabel | None:
        """A label in which `{value}` stands for a measure; None without the number or the place.

        Parameters
        ----------
        measure : str
        words : str
        at : ndarray, shape (3,)
            [m]
        line : ndarray, shape (N, 3)
            See `GuideLabel`. [m]
        signed : bool
            False: without its minus, where the words say which way.
        """
        height, value = self.findings.hitter.height_m, self.value(measure)
        if value is None or height is None or not np.isfinite(at).all():
            return None
        found = self.findings.measures[measure]
        shown = found if signed else replace(found, value=abs(value))
        written = format_measure(shown, height, self.units, brief=True)
        return GuideLabel(words.format(value=written), np.asarray(at, dtype=np.float64), measure, seen(line))


def strokes(drawn: Sequence[Guide], lens: Lens, frame: int, unit: float) -> npt.NDArray[np.bool_]:
    """Which pixels guides cover, shape (height, width); `unit` in pixels per design pixel."""
    from PIL import Image as images

    ground = (0x01, 0xFE, 0x01)  # no guide is of this colour
    picture = images.new("RGB", lens.size, ground)
    canvas = Canvas(Pen(picture), lens, unit)
    for guide in drawn:
        guide.draw(canvas, frame)
    return np.asarray((np.asarray(picture) != np.array(ground, dtype=np.uint8)).any(axis=2))


def seen(points: npt.ArrayLike) -> FloatArray:
    """Those of points, shape (N, 3), that are there. [m]"""
    rows = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    return rows[np.isfinite(rows).all(axis=1)]


def on_floor(points: FloatArray) -> FloatArray:
    """Straight below points, shape (..., 3), on the floor. [m]"""
    return points * (1.0, 1.0, 0.0)


def stretch(first: FloatArray, last: FloatArray) -> FloatArray:
    """Places on a straight line between two, each of shape (3,), shape (N, 3). [m]"""
    return first + np.linspace(0.0, 1.0, _SAMPLES)[:, None] * (last - first)


def straight(on: Canvas, corners: npt.ArrayLike) -> FloatArray:
    """A line through corners, shape (K, 3) [m], in the picture, shape (N, 2). [px]"""
    path = np.asarray(corners, dtype=np.float64)
    at = np.linspace(0.0, len(path) - 1.0, (len(path) - 1) * (_SAMPLES - 1) + 1)
    first = np.minimum(at.astype(int), len(path) - 2)
    share = (at - first)[:, None]
    return on.framing.project(path[first] * (1.0 - share) + path[first + 1] * share)


def circle(on: Canvas, centre: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
    """A circle in the picture, shape (N, 2) [px], from its centre and two half axes, each of shape (3,). [m]"""
    angle = np.linspace(0.0, 2.0 * np.pi, _CIRCLE)[:, None]
    return on.framing.project(centre + np.cos(angle) * first + np.sin(angle) * second)


def size_px(on: Canvas, at: FloatArray, length_m: float) -> float:
    """How long a length that lies across the line of sight at a place, shape (3,) [m], is in the picture. [px]

    Of three lengths at right angles the squares in the picture add up to twice that of one that lies across.
    """
    moved = on.framing.project(at + length_m * np.eye(3)) - on.framing.project(at)
    return float(np.sqrt((moved**2).sum() / 2.0))


def off_head(on: Canvas, line: FloatArray, head: FloatArray) -> list[FloatArray]:
    """The stretches of a line, shape (N, 2) [px], that lie off a head, shape (3,) [m], so that a face stays free.

    A head that was not seen hides nothing. Each stretch ends on the circle round the head.
    """
    if not np.isfinite(head).all():
        return [line]
    middle, radius = on.framing.project(head), size_px(on, head, HEAD_M)
    fine = finer(line)
    off = np.hypot(*(fine - middle).T) >= radius
    turns = np.flatnonzero(np.diff(off.astype(np.int8))) + 1
    if not len(turns):
        return [line] if off.all() else []
    # Between its ends a stretch keeps the line's own corners: a pen takes its time for every piece.
    along, share = _along(line), np.linspace(0.0, 1.0, len(fine))
    stretches = []
    for places in np.split(np.arange(len(fine)), turns):
        first, last = places[0], places[-1]
        if last > first and off[first]:
            inside = (along > share[first] * along[-1]) & (along < share[last] * along[-1])
            stretches.append(np.concatenate([fine[[first]], line[inside], fine[[last]]]))
    return stretches


def on_head(on: Canvas, pixel: FloatArray, head: FloatArray) -> bool:
    """Whether a place in the picture, shape (2,) [px], lies on a head, shape (3,) [m]."""
    if not np.isfinite(head).all():
        return False
    return bool(np.hypot(*(pixel - on.framing.project(head))) < size_px(on, head, HEAD_M))


def _along(line: FloatArray) -> FloatArray:
    """Way along a line, shape (N, 2), to each of its points, shape (N,). [px]"""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def finer(line: FloatArray) -> FloatArray:
    """The same line, shape (N, 2), through places half a pixel apart. [px]"""
    along = _along(line)
    if not np.isfinite(along[-1]):
        return line
    at = np.linspace(0.0, along[-1], int(2.0 * along[-1]) + 2)
    return np.stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)], axis=1)


def tick(on: Canvas, line: FloatArray, half: float, width: float, colour: Colour = INK) -> None:
    """A short stroke across the first end of a line, shape (N, 2), `half` to either side. [px]"""
    along = line[1] - line[0]
    length = float(np.hypot(*along))
    if not length > 0.0:  # NaN too
        return
    reach = half * np.array([-along[1], along[0]]) / length
    on.pen.line([line[0] - reach, line[0] + reach], width, colour, casing=WHITE, casing_width=1.5 * on.unit)


def dot(on: Canvas, centre: FloatArray, radius: float, colour: Colour) -> None:
    """A disc with a white edge, so that it reads on any ground; [px]."""
    on.pen.disc(centre, radius + 1.5 * on.unit, WHITE)
    on.pen.disc(centre, radius, colour)


def hollow(on: Canvas, centre: FloatArray, radius: float, colour: Colour) -> None:
    """A ring with a white edge, for a place that is no longer taken; [px]."""
    on.pen.ring(centre, radius, 5.0 * on.unit, WHITE)
    on.pen.ring(centre, radius, 2.5 * on.unit, colour)


def wedge(pen: Pen, x: float, y: float, size: float) -> None:
    """A mark that points down at (x, y). [px]"""
    for colour, edge in ((WHITE, 0.22 * size), (INK, 0.0)):
        half, top = 0.62 * size + edge, y - size - edge
        pen.polygon([(x, y + 1.6 * edge), (x - half, top), (x + half, top)], colour)
