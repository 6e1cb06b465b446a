"""Numbers in the margins, each joined by a hairline to the place on the body it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.renderer.captions import Callout
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Page, set_callout
from mocap.renderer.pen import Pen
from mocap.renderer.style import INK, WHITE
from mocap.renderer.text import LEADING

if TYPE_CHECKING:
    from PIL.Image import Image


_DEEP = 2.5  # a hairline ends no deeper in the body, over the type size: this project's default
_TOUCH = 3.0  # of a body that it only grazes [design px]


@dataclass(frozen=True)
class MarginNote:
    """One number at its place.

    Attributes
    ----------
    block : Block
    anchor : ndarray, shape (2,), or None
        Where its hairline ends; None: it has none. [px]
    from_right : bool
        Whether it stands to the left of the bodies, set against its right edge.
    """

    block: Block
    anchor: FloatArray | None
    from_right: bool

    def leader(self, unit: float) -> FloatArray | None:
        """Both ends of the hairline, shape (2, 2). [px]"""
        if self.anchor is None:
            return None
        left, top, right, _ = self.block.box
        lead = 14 * unit
        y = top + 0.5 * LEADING * self.block.labels[0].size
        return np.stack([np.array([right + lead if self.from_right else left - lead, y]), self.anchor])

    def draw(self, picture: Image, unit: float) -> None:
        """Set it on a picture, hairline first."""
        leader = self.leader(unit)
        if leader is not None:
            pen = Pen(picture)
            pen.line(leader, 1.8 * unit, INK, casing=WHITE, casing_width=unit)
            pen.disc(leader[1], 7 * unit, WHITE)
            pen.ring(leader[1], 5 * unit, 2.2 * unit, INK)
        self.block.draw(picture)


def set_margin(
    page: Page, callouts: Sequence[Callout], anchors: Sequence[FloatArray | None], column: Box, *, from_right: bool
) -> list[MarginNote]:
    """Numbers one under another, each as near to its anchor's height as the others allow, no two hairlines crossing.

    Parameters
    ----------
    page : Page
    callouts : sequence of Callout
        The most important first; the last are left out where the column is full.
    anchors : sequence of ndarray, shape (2,), or None
        What each belongs to; None: it stands at the column's foot, without a hairline. [px]
    column : tuple of 4 ints
        Left, top, right, bottom. [px]
    from_right : bool
        Set against the right edge, for a column to the left of the bodies.

    Returns
    -------
    list of MarginNote
        In the order of `callouts`.
    """
    targets = [float(column[3]) if anchor is None else float(anchor[1]) for anchor in anchors]
    notes: list[MarginNote] = []
    for _ in range(len(callouts) ** 2 + 1):
        blocks = _stack(page, callouts, targets, column, from_right=from_right)
        notes = [MarginNote(block, anchor, from_right) for block, anchor in zip(blocks, anchors, strict=False)]
        leaders = [note.leader(page.unit) for note in notes]
        crossing = next(
            (pair for pair in combinations(range(len(notes)), 2) if crosses(*(leaders[i] for i in pair))), None
        )
        if crossing is None:
            break
        first, second = crossing  # crossing hairlines part when their numbers change places
        targets[first], targets[second] = targets[second], targets[first]
    return notes


def set_rows(page: Page, callouts: Sequence[Callout], place: Box, columns: int) -> list[MarginNote]:
    """Numbers in rows without hairlines, from the upper edge of a place; the last are left out where it is full.

    Parameters
    ----------
    page : Page
    callouts : sequence of Callout
        The most important first.
    place : tuple of 4 ints
        Left, top, right, bottom. [px]
    columns : int

    Returns
    -------
    list of MarginNote
    """
    left, top, right, bottom = place
    gap = round(30 * page.unit)
    width = (right - left - (columns - 1) * gap) // columns
    notes: list[MarginNote] = []
    y = float(top)
    for start in range(0, len(callouts), columns):
        row = [
            set_callout(page, callout, (left + column * (width + gap), y), width, from_right=False)
            for column, callout in enumerate(callouts[start : start + columns])
        ]
        lowest = max(block.box[3] for block in row)
        if lowest > bottom:
            break
        notes += [MarginNote(block, None, from_right=False) for block in row]
        y = lowest + 0.8 * gap
    return notes


def off_body(notes: Sequence[MarginNote], body: npt.NDArray[np.bool_], unit: float) -> list[MarginNote]:
    """The same numbers; those whose hairline would cross the body on its way stand without one.

    Parameters
    ----------
    notes : sequence of MarginNote
    body : ndarray of bool, shape (height, width)
        Where the hitter is in the picture.
    unit : float
        Pixels per design pixel.
    """
    return [replace(note, anchor=None) if _crosses_body(note, body, unit) else note for note in notes]


def _crosses_body(note: MarginNote, body: npt.NDArray[np.bool_], unit: float) -> bool:
    """Whether more of a hairline than its last stretch lies on the body, or that stretch is long."""
    leader = note.leader(unit)
    if leader is None:
        return False
    length = float(np.hypot(*(leader[1] - leader[0])))
    at = np.linspace(0.0, 1.0, max(int(length), 2))[:, None]
    x, y = np.clip(leader[0] + at * (leader[1] - leader[0]), 0, np.array(body.shape)[::-1] - 1).astype(int).T
    on_body = body[y, x]
    last = int(np.argmax(~on_body[::-1])) if not on_body.all() else len(on_body)
    return bool(last > _DEEP * note.block.labels[0].size or on_body[: len(on_body) - last].sum() > _TOUCH * unit)


def crosses(first: FloatArray | None, second: FloatArray | None) -> bool:
    """Whether two straight lines, shape (2 ends, 2), cross between their ends."""
    if first is None or second is None:
        return False

    def side(line: FloatArray, point: FloatArray) -> float:
        along, off = line[1] - line[0], point - line[0]
        return float(along[0] * off[1] - along[1] * off[0])

    return (
        side(first, second[0]) * side(first, second[1]) < 0.0 and side(second, first[0]) * side(second, first[1]) < 0.0
    )


def _stack(
    page: Page, callouts: Sequence[Callout], targets: Sequence[float], column: Box, *, from_right: bool
) -> list[Block]:
    """Blocks at given heights, moved apart where they would overlap; fewer where the column is full."""
    left, top, right, bottom = column
    x = right if from_right else left
    gap = 34 * page.unit
    order = list(np.argsort(np.asarray(targets, dtype=np.float64), kind="stable"))
    heights = {i: _height(set_callout(page, callouts[i], (x, 0.0), right - left, from_right=from_right)) for i in order}
    while order and sum(heights[i] for i in order) + gap * (len(order) - 1) > bottom - top:
        order.remove(max(order))
    places: dict[int, float] = {}
    y = float(top)
    for i in order:
        places[i] = max(y, targets[i] - heights[i] / 2.0)
        y = places[i] + heights[i] + gap
    limit = float(bottom)
    for i in reversed(order):
        places[i] = min(places[i], limit - heights[i])
        limit = places[i] - gap
    return [set_callout(page, callouts[i], (x, places[i]), right - left, from_right=from_right) for i in sorted(places)]


def _height(block: Block) -> float:
    return float(block.box[3] - block.box[1])
