"""Places for words beside what they belong to: never over the bodies, over each other or beyond the picture's edge.

Round each anchor candidates lie on growing rings; the nearest free one is taken. Whether a box is free of the bodies is
read from a summed-area table of what they cover (Crow FC (1984) Computer Graphics 18:207-212), in four look-ups each.

Hairlines never cross a body: words go where theirs does without; it ends at the body's edge where what it belongs to
lies just behind that; another place of the same line is taken; or words that stand near enough do without one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.renderer.guides import Guide
from mocap.renderer.lens import Box, Lens
from mocap.renderer.pen import Pen
from mocap.renderer.style import INK, WHITE
from mocap.renderer.text import LEADING, Anchor, Label, draw_labels, set_line, text_width, wrap

if TYPE_CHECKING:
    from PIL.Image import Image

Boxes = npt.NDArray[np.float64]  # shape (N, 4): left, top, right, bottom [px]

_CELL = 4  # the bodies' coverage is looked up in squares of this many pixels; one that is touched counts as full
_RINGS = 16  # how far out a place is looked for, each ring four fifths of the type size farther
_ANGLES = 24  # directions tried on each ring
_MOST_ROWS = 3  # lines that words are broken into at most
_ROW = 2.0  # what another line of type costs, over the type size
_EDGE = 1.0  # free space to the picture's edge, over the type size
_AIR = 0.35  # free space around words, over the type size
_STEPS = 64  # places along a hairline at which it is looked up whether a body lies there
_LONGEST = 10.0  # hairlines longer than so many type sizes say less than they disturb: this project's default
_TOUCH = 0.2  # a body counts as crossed where a hairline lies in it for longer, over the type size
_BEHIND = 2.5  # a hairline ends at a body's edge where its anchor lies no deeper behind that, over the type size
_BESIDE = 2.5  # words without a hairline stand no farther from what they belong to, over the type size
_AWAY = 0.25  # how much a way along the guide's line counts beside a hairline's length, which it may save
_PLACES = 9  # places of a guide's line that are tried

NOWHERE: FloatArray = np.empty((0, 2))


@dataclass(frozen=True)
class Wish:
    """Words and what they belong to.

    Attributes
    ----------
    words : str
        Set in one line, or in two or three where one has no room.
    anchor : ndarray, shape (2,)
        [px]
    line : ndarray, shape (N, 2)
        Where else the words may be joined to what they belong to, if that is a line: anchors on a body are then of no
        use. [px]
    """

    words: str
    anchor: FloatArray
    line: FloatArray = field(default_factory=lambda: NOWHERE)


@dataclass(frozen=True)
class Placed:
    """Words at their place.

    Attributes
    ----------
    labels : tuple of Label
        One a line.
    leader : ndarray, shape (2, 2), or None
        Both ends of the hairline, the second at the anchor, or at the edge of the body that it lies behind; None: there
        is none. [px]
    """

    labels: tuple[Label, ...]
    leader: FloatArray | None

    @property
    def box(self) -> Box:
        """What the words cover. [px]"""
        boxes = np.array([label.box for label in self.labels])
        left, top = boxes[:, :2].min(axis=0)
        right, bottom = boxes[:, 2:].max(axis=0)
        return int(left), int(top), int(right), int(bottom)

    def draw(self, picture: Image, unit: float) -> None:
        """Set it on a picture of mode RGB, hairline first; `unit` in pixels per design pixel."""
        if self.leader is not None:
            pen = Pen(picture)
            pen.line(self.leader, 1.8 * unit, INK, casing=WHITE, casing_width=unit)
            pen.disc(self.leader[1], 4.5 * unit, WHITE)
            pen.disc(self.leader[1], 3 * unit, INK)
        draw_labels(picture, list(self.labels))


def place_labels(
    wishes: Sequence[Wish],
    solid: npt.NDArray[np.generic] | Sequence[Box],
    taken: Sequence[Box],
    size: tuple[int, int],
    type_size: int,
    body: npt.NDArray[np.generic] | None = None,
) -> list[Placed]:
    """Places for words near their anchors.

    Parameters
    ----------
    wishes : sequence of Wish
        The most important first.
    solid : ndarray, shape (height, width), or sequence of boxes
        What words must not cover: the bodies and the guides, wherever the array is not zero.
    taken : sequence of tuples of 4 ints
        Other type: left, top, right, bottom, which neither words nor hairlines may cross. [px]
    size : tuple of 2 ints
        Width and height of the picture. [px]
    type_size : int
        [px]
    body : ndarray, shape (height, width), or None
        What hairlines must not cross either: the bodies, of `solid`.

    Returns
    -------
    list of Placed
        In the order of the wishes; those for which there is no room, or whose anchor is not in the picture, are left
        out.
    """
    over = None if body is None else _Covered(body, size)
    room = _Room(_Covered(solid, size), np.asarray(taken, dtype=np.float64).reshape(-1, 4), size, over)
    placed: list[Placed] = []
    for wish in wishes:
        anchors = _anchors(wish, size)
        if not len(anchors):
            continue
        best = _best(room, wish.words, anchors, type_size, on_line=len(wish.line) > 0)
        if best is not None:
            placed.append(room.take(best))
    return placed


def _anchors(wish: Wish, size: tuple[int, int]) -> FloatArray:
    """The places in the picture that words may belong to, shape (K, 2), the first the best. [px]"""
    chosen = np.linspace(0, len(wish.line) - 1, min(_PLACES, len(wish.line))).round().astype(int)
    anchors = np.concatenate([np.asarray(wish.anchor, dtype=np.float64)[None], wish.line[chosen]])
    inside = np.isfinite(anchors).all(axis=1)
    inside[inside] = ((anchors[inside] >= 0.0) & (anchors[inside] <= size)).all(axis=1)
    return anchors[inside] if inside[0] or len(wish.line) else NOWHERE


def _best(room: _Room, words: str, anchors: FloatArray, type_size: int, *, on_line: bool) -> _Choice | None:
    """The best place of words in as many lines as do best; joined to the first anchor, to another, or to none."""
    broken = [_broken(words, rows, type_size) for rows in range(1, _MOST_ROWS + 1)]
    broken = [lines for rows, lines in enumerate(broken, start=1) if len(lines) == rows]
    behind = 0.0 if on_line else _BEHIND
    for tried, joined in ((anchors[:1], True), (anchors[1:], True), (anchors, False)):
        if joined:
            found = [room.nearest(tried, lines, type_size, behind) for lines in broken if len(tried)]
        else:
            found = [room.beside(tried, lines, type_size) for lines in broken if room.body is not None]
        choices = [choice for choice in found if choice is not None]
        if choices:
            return min(choices, key=lambda choice: choice.cost)
    return None


def label_guides(
    drawn: Sequence[Guide],
    lens: Lens,
    frame: int,
    solid: npt.NDArray[np.generic] | Sequence[Box],
    taken: Sequence[Box],
    type_size: int,
    body: npt.NDArray[np.generic] | None = None,
) -> list[Placed]:
    """The numbers of guides, each beside its own; see `place_labels`.

    Parameters
    ----------
    drawn : sequence of Guide
        The most important first.
    lens : Lens
    frame : int
    solid : ndarray, shape (height, width), or sequence of boxes
        See `place_labels`; `mocap.renderer.guides.strokes` gives what the guides themselves cover.
    taken : sequence of tuples of 4 ints
        [px]
    type_size : int
        [px]
    body : ndarray, shape (height, width), or None
        See `place_labels`.

    Returns
    -------
    list of Placed
    """
    labels = [label for guide in drawn if (label := guide.label(frame)) is not None]
    wishes = [Wish(label.words, lens.project(label.at), lens.project(label.line)) for label in labels]
    return place_labels(wishes, solid, taken, lens.size, type_size, body)


@dataclass(frozen=True)
class _Choice:
    """A place that could be taken.

    Attributes
    ----------
    placed : Placed
    box : ndarray, shape (4,)
        What it takes, air included. [px]
    cost : float
        Length of its hairline, more where the words take several lines or do not belong to the first anchor. [px]
    """

    placed: Placed
    box: FloatArray
    cost: float


class _Room:
    """What is still free in a picture."""

    def __init__(self, covered: _Covered, taken: Boxes, size: tuple[int, int], body: _Covered | None) -> None:
        self.covered, self.taken, self.size, self.body = covered, taken, size, body
        self.leaders: FloatArray = np.empty((0, 2, 2))

    def nearest(self, anchors: FloatArray, lines: list[str], type_size: int, behind: float) -> _Choice | None:
        """The best free place for lines of type joined to one of the anchors; None where there is none.

        `behind` is how deep behind a body's edge an anchor may lie, over the type size.
        """
        boxes, leaders = self._places(anchors, lines, type_size)
        lengths = np.hypot(*(leaders[:, 1] - leaders[:, 0]).T)
        keep = lengths <= _LONGEST * type_size
        keep[keep] = ~_meet(leaders[keep], self.taken).any(axis=1)
        keep[keep] = ~_cross(leaders[keep], self.leaders).any(axis=1)
        seen = np.ones(len(leaders))
        seen[keep] = self._seen(leaders[keep], behind * type_size, _TOUCH * type_size)
        keep &= np.isfinite(seen)
        if not keep.any():
            return None
        costs = np.where(keep, lengths + _AWAY * np.hypot(*(leaders[:, 1] - anchors[0]).T), np.inf)
        best = int(np.argmin(costs))  # of equally good ones the first, as candidates lie in order
        start, anchor = leaders[best]
        leader = np.stack([start, start + seen[best] * (anchor - start)])
        placed = Placed(_set(lines, boxes[best], anchor, type_size), leader)
        return _Choice(placed, _grown(boxes[best], _AIR * type_size), self._cost(costs[best], lines, type_size))

    def beside(self, anchors: FloatArray, lines: list[str], type_size: int) -> _Choice | None:
        """The free place for lines of type nearest to any of the anchors, if so near that it needs no hairline."""
        boxes, leaders = self._places(anchors, lines, type_size)
        lengths = np.hypot(*(leaders[:, 1] - leaders[:, 0]).T)
        if not len(lengths) or lengths.min() > _BESIDE * type_size:
            return None
        best = int(np.argmin(lengths))
        placed = Placed(_set(lines, boxes[best], leaders[best, 1], type_size), None)
        return _Choice(placed, _grown(boxes[best], _AIR * type_size), self._cost(lengths[best], lines, type_size))

    def take(self, choice: _Choice) -> Placed:
        """Keep a place free from now on for what stands there."""
        self.taken = np.concatenate([self.taken, choice.box[None]])
        if choice.placed.leader is not None:
            self.leaders = np.concatenate([self.leaders, choice.placed.leader[None]])
        return choice.placed

    def _places(self, anchors: FloatArray, lines: list[str], type_size: int) -> tuple[Boxes, FloatArray]:
        """Free boxes round anchors, shape (N, 4), and the line from each to its anchor, shape (N, 2, 2)."""
        width = max(text_width(line, type_size) for line in lines)
        extent = np.array([width, len(lines) * LEADING * type_size])
        found = [_candidates(anchor, extent, type_size) for anchor in anchors]
        boxes = np.concatenate([boxes for boxes, _ in found])
        ends = np.concatenate([ends for _, ends in found])
        leaders = np.stack([ends, np.repeat(anchors, [len(ends) for _, ends in found], axis=0)], axis=1)
        wide = _grown(boxes, _AIR * type_size)
        edge = _EDGE * type_size
        fits = np.asarray((boxes[:, :2] >= edge).all(axis=1) & (boxes[:, 2:] <= np.array(self.size) - edge).all(axis=1))
        fits[fits] = ~self.covered.any_in(wide[fits])
        fits[fits] = ~_overlap(wide[fits], self.taken)
        fits[fits] = ~_meet(self.leaders, wide[fits]).any(axis=0)
        return boxes[fits], leaders[fits]

    def _seen(self, leaders: FloatArray, behind: float, touch: float) -> FloatArray:
        """How much of each hairline, shape (N, 2 ends, 2), is drawn, shape (N,); NaN where it would cross a body. [-]

        All of it where no more than `touch` lies in the body; up to the body's edge where only its last stretch lies in
        it, not longer than `behind`. [px]
        """
        if self.body is None:
            return np.ones(len(leaders))
        at = np.linspace(0.0, 1.0, _STEPS)
        places = (leaders[:, 0] + at[:, None, None] * (leaders[:, 1] - leaders[:, 0])).reshape(-1, 2)
        over = self.body.any_in(np.concatenate([places, places + 0.5], axis=1)).reshape(_STEPS, -1)
        lengths = np.hypot(*(leaders[:, 1] - leaders[:, 0]).T)
        count = over.sum(axis=0)
        enters = np.where(count > 0, over.argmax(axis=0), _STEPS)
        inside = count * lengths / _STEPS
        last = (count == _STEPS - enters) & (inside <= behind)
        return np.where(inside <= touch, 1.0, np.where(last, at[np.minimum(enters, _STEPS - 1)], np.nan))

    @staticmethod
    def _cost(length: float, lines: list[str], type_size: int) -> float:
        return float(length) + _ROW * (len(lines) - 1) * type_size


def _broken(words: str, rows: int, type_size: int) -> list[str]:
    """Words in that many lines of about the same length; in fewer where they cannot be broken so often."""
    whole = text_width(words, type_size)
    tried = (wrap(words, share * whole, type_size) for share in np.linspace(1.0 / rows, 1.0, 9))
    return next((lines for lines in tried if len(lines) <= rows), [words])


def _set(lines: list[str], box: FloatArray, anchor: FloatArray, type_size: int) -> tuple[Label, ...]:
    """Lines in their box, flush with the side that is nearer to what they belong to."""
    left, top, right, _ = (float(edge) for edge in box)
    beside: Anchor = "right" if right < anchor[0] else "left"
    x = right if beside == "right" else left
    return tuple(
        set_line(line, (x, top + row * LEADING * type_size), type_size, anchor=beside) for row, line in enumerate(lines)
    )


class _Covered:
    """What is covered by the bodies, from an array or from boxes."""

    def __init__(self, solid: npt.NDArray[np.generic] | Sequence[Box], size: tuple[int, int]) -> None:
        self.boxes: Boxes = np.empty((0, 4))
        self.table: npt.NDArray[np.int32] | None = None
        if not isinstance(solid, np.ndarray):
            self.boxes = np.asarray(solid, dtype=np.float64).reshape(-1, 4)
            return
        if solid.shape != (size[1], size[0]):
            raise ValueError(f"coverage of shape {solid.shape} for a picture of {size[0]} by {size[1]}")
        counts = np.cumsum(np.cumsum(_cells(solid), axis=0, dtype=np.int32), axis=1, dtype=np.int32)
        self.table = np.pad(counts, ((1, 0), (1, 0)))

    def any_in(self, boxes: Boxes) -> npt.NDArray[np.bool_]:
        """Whether anything is covered in each of the boxes, shape (N,)."""
        if self.table is None:
            return _overlap(boxes, self.boxes)
        last = np.array(self.table.shape)[::-1] - 1
        left, top = np.clip(np.floor(boxes[:, :2] / _CELL).astype(int), 0, last).T
        right, bottom = np.clip(np.ceil(boxes[:, 2:] / _CELL).astype(int), 0, last).T
        table = self.table
        return np.asarray(table[bottom, right] - table[top, right] - table[bottom, left] + table[top, left] > 0)


def _cells(solid: npt.NDArray[np.generic]) -> npt.NDArray[np.bool_]:
    """Which squares of `_CELL` pixels hold anything, the picture's edge filled up with nothing."""
    flat = solid.view(np.uint8) if solid.dtype in (np.bool_, np.uint8) else (solid != 0).view(np.uint8)
    height, width = flat.shape
    down, over = -height % _CELL, -width % _CELL
    if down or over:
        flat = np.pad(flat, ((0, down), (0, over)))
    # Four bytes are one number, so that a row of four pixels takes a single comparison.
    rows = np.ascontiguousarray(flat).view(np.uint32) != 0
    return np.asarray(rows[0::4] | rows[1::4] | rows[2::4] | rows[3::4])


def _candidates(anchor: FloatArray, extent: FloatArray, type_size: int) -> tuple[Boxes, FloatArray]:
    """Boxes of an extent, shape (2,), round an anchor, shape (N, 4), and where each one's hairline ends, shape (N, 2).

    The nearest first; of equally near ones those beside the anchor before those above and below.
    """
    half = extent / 2.0
    away = type_size * (0.7 + 0.8 * np.arange(_RINGS))[:, None, None]
    angle = np.linspace(0.0, 2.0 * np.pi, _ANGLES, endpoint=False)
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    middles = (anchor + way * (half + away)).reshape(-1, 2)
    boxes = np.concatenate([middles - half, middles + half], axis=1)
    near = _grown(boxes, 0.15 * type_size)
    ends = np.clip(anchor, near[:, :2], near[:, 2:])
    aslant = 0.2 * type_size * np.abs(np.tile(way[:, 1], _RINGS))
    order = np.argsort(np.hypot(*(ends - anchor).T) + aslant, kind="stable")
    return boxes[order], ends[order]


def _grown(boxes: Boxes, margin: float) -> Boxes:
    return boxes + np.array([-margin, -margin, margin, margin])


def _overlap(boxes: Boxes, others: Boxes) -> npt.NDArray[np.bool_]:
    """Whether each of the boxes shares area with any of the others, shape (N,)."""
    first, second = boxes[:, None], others[None]
    shared = (first[..., 2:] > second[..., :2]) & (second[..., 2:] > first[..., :2])
    return np.asarray(np.any(np.all(shared, axis=-1), axis=1))


def _meet(lines: FloatArray, boxes: Boxes) -> npt.NDArray[np.bool_]:
    """Whether straight lines, shape (N, 2 ends, 2), run through boxes, shape (M, 4): shape (N, M).

    A line is inside the box in the stretch in which it is inside both its pairs of sides.
    """
    start, run = lines[:, None, 0], (lines[:, 1] - lines[:, 0])[:, None]
    run = np.where(run == 0.0, 1e-9, run)
    first, second = (boxes[None, :, :2] - start) / run, (boxes[None, :, 2:] - start) / run
    enters = np.minimum(first, second).max(axis=-1)
    leaves = np.maximum(first, second).min(axis=-1)
    return np.asarray(np.maximum(enters, 0.0) < np.minimum(leaves, 1.0))


def _cross(lines: FloatArray, others: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether straight lines, shape (N, 2 ends, 2), cross others, shape (M, 2 ends, 2), between their ends: (N, M)."""

    def side(line: FloatArray, point: FloatArray) -> FloatArray:
        along, off = line[..., 1, :] - line[..., 0, :], point - line[..., 0, :]
        return np.asarray(along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0])

    a, b = lines[:, None], others[None]
    parted = side(a, b[..., 0, :]) * side(a, b[..., 1, :]) < 0.0
    return np.asarray(parted & (side(b, a[..., 0, :]) * side(b, a[..., 1, :]) < 0.0))
