"""How a picture is arranged: the places for headline, bodies, margins and foot line, and what is set there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from mocap.display import INCH_M, Units
from mocap.findings import Verdict
from mocap.renderer.captions import Callout, Headline
from mocap.renderer.lens import Box
from mocap.renderer.marks import draw_mark
from mocap.renderer.pen import Pen
from mocap.renderer.style import BLUE, CHALK, INK, MUTED, REFERENCE_TONES, Colour, is_wide, type_sizes, unit
from mocap.renderer.text import LEADING, Anchor, Label, draw_labels, set_line, set_lines, text_width, wrap
from mocap.renderer.view import Framing

if TYPE_CHECKING:
    from PIL.Image import Image

_MARGIN = 72  # [design px]
_MOST_LINES = 4  # of a headline in its full size


@dataclass(frozen=True)
class Mark:
    """A verdict's mark at its place. [px]"""

    verdict: Verdict
    centre: tuple[float, float]
    radius: float


@dataclass(frozen=True)
class Block:
    """Type, and marks beside it, that belong together."""

    labels: tuple[Label, ...]
    marks: tuple[Mark, ...] = ()

    @property
    def box(self) -> Box:
        """What the block covers. [px]"""
        boxes = np.array([label.box for label in self.labels])
        left, top = boxes[:, :2].min(axis=0)
        right, bottom = boxes[:, 2:].max(axis=0)
        for mark in self.marks:
            left = min(left, int(mark.centre[0] - 1.3 * mark.radius))
        return int(left), int(top), int(right), int(bottom)

    def draw(self, picture: Image) -> None:
        """Set it on a picture."""
        pen = Pen(picture)
        for mark in self.marks:
            draw_mark(pen, mark.verdict, mark.centre, mark.radius)
        draw_labels(picture, list(self.labels))


@dataclass(frozen=True)
class Page:
    """Places in a picture of one size. [px]

    A wide picture has the headline and a margin to the left of the bodies and a margin to their right; a square one all
    type in a column to their left; an upright one the headline above and the numbers below.

    Attributes
    ----------
    size : tuple of 2 ints
    stacked : bool
        Arrange a square picture as an upright one.
    """

    size: tuple[int, int]
    stacked: bool = False

    @property
    def unit(self) -> float:
        """Pixels per design pixel."""
        return unit(self.size)

    @property
    def margin(self) -> int:
        """Empty edge all around."""
        return round(_MARGIN * self.unit)

    @property
    def wide(self) -> bool:
        """Whether there is room beside the bodies."""
        return is_wide(self.size)

    @property
    def upright(self) -> bool:
        """Whether type stands above and below the bodies: where it is clearly higher than wide, or so `stacked`."""
        return not self.wide and (self.stacked or self.size[1] > 1.25 * self.size[0])

    @property
    def header_width(self) -> int:
        """Room for the headline: a column beside the bodies, or the whole width above them."""
        if self.wide:
            return round(520 * self.unit)
        return self.size[0] - 2 * self.margin if self.upright else round(0.43 * self.size[0])

    @property
    def foot_top(self) -> int:
        """Upper edge of the foot line."""
        return self.size[1] - round(max(78 * self.unit, LEADING * type_sizes(self.size).small + 26 * self.unit))

    @property
    def bodies(self) -> Box:
        """Place for the bodies of a wide or square picture, from the highest point to the floor under the nearer foot.

        An upright picture leaves them what its type does not need.
        """
        width, height = self.size
        if self.wide:
            side = round(600 * self.unit)
            small = type_sizes(self.size).small
            bar = round(90 * self.unit + 2.1 * small)  # the weight bar and its type
            below = max(round(236 * self.unit), height - self.foot_top + bar)
            return side, round(64 * self.unit), width - side, height - below
        left = self.margin + self.header_width + round(24 * self.unit)
        return left, round(64 * self.unit), width - self.margin // 2, self.foot_top - round(190 * self.unit)


def set_header(page: Page, overline: str, note: str, said: Headline, width: float | None = None) -> Block:
    """Moment, hitter, and the finding as the headline, in the upper left corner; `width` where there is more room."""
    sizes, margin, width = type_sizes(page.size), page.margin, width or page.header_width
    y = float(page.margin - round(10 * page.unit))
    labels: list[Label] = []
    marks: list[Mark] = []
    labels += set_lines(overline, (margin, y), width, sizes.title, "SemiBold")
    y = labels[-1].top + LEADING * labels[-1].size
    for line in note.split("\n"):
        labels += set_lines(line, (margin, y), width, sizes.small, colour=MUTED)
        y = labels[-1].top + LEADING * sizes.small
    y += 26 * page.unit
    if said.words:
        size = headline_size(page, said.words)
        labels += set_lines(said.words, (margin, y), width, size, "SemiBold", balanced=True)
        y = labels[-1].top + LEADING * size + 10 * page.unit
    if said.detail:
        detail, mark = set_marked(said.detail, said.verdict, (margin, y), width, sizes.body)
        labels += detail
        marks += mark
    return Block(tuple(labels), tuple(marks))


def headline_size(page: Page, words: str) -> int:
    """Type size of a headline: smaller where it would fill more than four lines, or a word its whole line. [px]"""
    sizes = type_sizes(page.size)
    for share in (1.0, 0.85):
        size = max(round(share * sizes.headline), sizes.value)
        lines = wrap(words, page.header_width, size, "SemiBold")
        if len(lines) <= _MOST_LINES and max(text_width(line, size, "SemiBold") for line in lines) <= page.header_width:
            break
    return size


def set_marked(
    words: str,
    verdict: Verdict | None,
    at: tuple[float, float],
    width: float,
    size: int,
    *,
    from_right: bool = False,
    hanging: bool = True,
) -> tuple[list[Label], list[Mark]]:
    """A sentence with its verdict's mark before its first line; not `hanging`, the others begin under the mark."""
    indent = 1.15 * size if verdict is not None else 0.0
    if not hanging:
        labels, left = set_lines(words, at, width, size, indent=indent), at[0]
    elif from_right:
        labels = set_lines(words, at, width - indent, size, anchor="right", balanced=True)
        left = min(label.left for label in labels) - indent
    else:
        labels = set_lines(words, (at[0] + indent, at[1]), width - indent, size, balanced=True)
        left = at[0]
    if verdict is None:
        return labels, []
    return labels, [Mark(verdict, (left + 0.38 * size, at[1] + 0.63 * size), 0.34 * size)]


def set_callout(page: Page, callout: Callout, at: tuple[float, float], width: float, *, from_right: bool) -> Block:
    """One number of the margin, its upper left (or right) corner at a point."""
    sizes = type_sizes(page.size)
    anchor: Anchor = "right" if from_right else "left"
    labels = set_lines(callout.label, at, width, sizes.small, colour=MUTED, anchor=anchor)
    y = labels[-1].top + LEADING * sizes.small
    size = sizes.value if text_width(callout.value, sizes.value, "SemiBold") <= width else sizes.body
    labels += set_lines(callout.value, (at[0], y), width, size, "SemiBold", anchor=anchor, balanced=True)
    y = labels[-1].top + LEADING * size
    marks: list[Mark] = []
    if callout.detail:
        detail, marks = set_marked(
            callout.detail, callout.verdict, (at[0], y), width, sizes.small, from_right=from_right
        )
        labels += detail
    return Block(tuple(labels), tuple(marks))


def set_footer(page: Page, framing: Framing, units: Units, notes: Sequence[str], legend: tuple[str, str]) -> Block:
    """Legend to the left; scale and as many notes as there is room for to the right, the first the most important."""
    sizes = type_sizes(page.size)
    y = float(page.foot_top)
    scale_words, length = scale_bar(framing, units)
    x = page.size[0] - page.margin
    scale = set_line(scale_words, (x, y), sizes.small, colour=MUTED, anchor="right")
    first = set_line(legend[0], (page.margin + 46 * page.unit, y), sizes.small)
    right = scale.left - length - 52 * page.unit
    start = first.box[2] + (90 if page.wide else 74) * page.unit
    names = (legend[1], legend[1].partition(",")[0], legend[1].partition(" (")[0])
    for count in range(len(notes), 0, -1):
        note = set_line(", ".join(notes[:count]), (right, y), sizes.small, colour=MUTED, anchor="right")
        for name in names:
            second = set_line(name, (start, y), sizes.small)
            if note.left > second.box[2] + 32 * page.unit:
                return Block((scale, first, second, note))
    name = next((name for name in names if start + text_width(name, sizes.small) <= right), names[-1])
    return Block((scale, first, set_line(name, (start, y), sizes.small)))


def draw_footer(
    picture: Image, page: Page, block: Block, framing: Framing, units: Units, tint: Colour | None = None
) -> None:
    """Set the foot line, with the legend's swatches and the scale bar.

    Where the hitter is tinted, which a picture says with one of his colours, the reference is an outline alone.
    """
    block.draw(picture)
    pen, one = Pen(picture), page.unit
    scale_label, hitter, reference = block.labels[:3]
    for label, solid in ((hitter, True), (reference, False)):
        x, y = label.left - 29 * one, label.top + 0.63 * label.size
        if solid:
            pen.disc((x, y), 14 * one, INK, opacity=0.35)
            pen.disc((x, y), 12.5 * one, tint or CHALK)
        else:
            if tint is None:
                pen.disc((x, y), 12 * one, REFERENCE_TONES["shirt"], opacity=0.5)
            pen.ring((x, y), 12.5 * one, 2 * one, BLUE)
    draw_scale(picture, page, scale_label, framing, units)


def draw_scale(picture: Image, page: Page, label: Label, framing: Framing, units: Units) -> None:
    """Draw the scale bar beside its words."""
    pen, one = Pen(picture), page.unit
    _, length = scale_bar(framing, units)
    right, y = label.left - 14 * one, label.top + 0.63 * label.size
    pen.line([(right - length, y), (right, y)], 2 * one, MUTED)
    for x in (right - length, right):
        pen.line([(x, y - 7 * one), (x, y + 7 * one)], 2 * one, MUTED)


def scale_bar(framing: Framing, units: Units) -> tuple[str, float]:
    """Words and length of the scale bar: 20 cm or 10 in. [px]"""
    return ("10 in", 10 * INCH_M * framing.scale) if units == "imperial" else ("20 cm", 0.20 * framing.scale)


def overlap(first: Box, second: Box) -> bool:
    """Whether two boxes share an area."""
    return first[0] < second[2] and second[0] < first[2] and first[1] < second[3] and second[1] < first[3]
