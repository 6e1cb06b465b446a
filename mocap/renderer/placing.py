"""Places for words beside what they belong to: never over the bodies, over each other or beyond the picture's edge.

Round each anchor candidates lie on growing rings; the nearest free one is taken. Whether a box is free of the bodies is
read from a summed-area table of what they cover (Crow FC (1984) Computer Graphics 18:207-212), in four look-ups each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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

    from mocap.renderer.layers import Layer

Boxes = npt.NDArray[np.float64]  # shape (N, 4): left, top, right, bottom [px]

_CELL = 4  # the bodies' coverage is looked up in squares of this many pixels; one that is touched counts as full
_RINGS = 16  # how far out a place is looked for, each ring four fifths of the type size farther
_ANGLES = 24  # directions tried on each ring
_MOST_ROWS = 3  # lines that words are broken into at most
_AIR = 0.35  # free space around words, over the type size
_STEPS = 24  # places along a hairline at which it is looked up whether a body lies there
_OVER_BODY = 3.0  # a hairline over a body counts as so many times its length, as another place may do without
_HIDDEN = 2.0  # words whose hairline would be hidden for longer are left out, over the type size
_NEAR = 1.6  # hairlines lie on a body only this near to what they belong to, over the type size


@dataclass(frozen=True)
class Wish:
    """Words and what they belong to.

    Attributes
    ----------
    words : str
        Set in one line, or in two or three where one has no room.
    anchor : ndarray, shape (2,)
        [px]
    """

    words: str
    anchor: FloatArray


@dataclass(frozen=True)
class Placed:
    """Words at their place.

    Attributes
    ----------
    labels : tuple of Label
        One a line.
    leader : ndarray, shape (2, 2)
        Both ends of the hairline, the second at the anchor. [px]
    """

    labels: tuple[Label, ...]
    leader: FloatArray

    @property
    def box(self) -> Box:
        """What the words cover. [px]"""
        boxes = np.array([label.box for label in self.labels])
        left, top = boxes[:, :2].min(axis=0)
        right, bottom = boxes[:, 2:].max(axis=0)
        return int(left), int(top), int(right), int(bottom)

    def draw(self, picture: Image, unit: float, body: Layer | None = None) -> None:
        """Set it on a picture of mode RGB, hairline first; `unit` in pixels per design pixel.

        The hairline passes behind a body, if one is given, but for its last stretch to what it belongs to.
        """
        pen = Pen(picture)
        kept = None if body is None else picture.crop((*body.corner, *np.add(body.corner, body.solid.size)))
        pen.line(self.leader, 1.8 * unit, INK, casing=WHITE, casing_width=unit)
        if body is not None and kept is not None:
            mask = body.solid.copy()
            near = Pen(mask.convert("RGB"))
            near.disc(self.leader[1] - body.corner, _NEAR * self.labels[0].size, (0, 0, 0))
            picture.paste(kept, body.corner, near.picture.convert("L"))
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
    longest: float = np.inf,
) -> list[Placed]:
    """Places for words near their anchors.

    Parameters
    ----------
    wishes : sequence of Wish
        The most important first.
    solid : ndarray, shape (height, width), or sequence of boxes
        What words must not cover, but hairlines may: the bodies and the guides, wherever the array is not zero.
    taken : sequence of tuples of 4 ints
        Other type: left, top, right, bottom, which neither words nor hairlines may cross. [px]
    size : tuple of 2 ints
        Width and height of the picture. [px]
    type_size : int
        [px]
    body : ndarray, shape (height, width), or None
        What hairlines should not cross either where another place does without: the bodies, of `solid`.
    longest : float
        Of a hairline. [px]

    Returns
    -------
    list of Placed
        In the order of the wishes; those for which there is no room, or whose anchor is not in the picture, are left
        out.
    """
    over = None if body is None else _Covered(body, size)
    room = _Room(_Covered(solid, size), np.asarray(taken, dtype=np.float64).reshape(-1, 4), size, over, longest)
    placed: list[Placed] = []
    for wish in wishes:
        anchor = np.asarray(wish.anchor, dtype=np.float64)
        if not (np.isfinite(anchor).all() and (anchor >= 0.0).all() and (anchor <= size).all()):
            continue
        best: _Choice | None = None
        for rows in range(1, _MOST_ROWS + 1):
            lines = _broken(wish.words, rows, type_size)
            if len(lines) < rows:
                break
            found = room.nearest(anchor, lines, type_size)
            if found is not None and (best is None or found.cost < best.cost):
                best = found
            if best is not None and best.free:
                break
        if best is not None:
            placed.append(room.take(best))
    return placed


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
    wishes = [Wish(label.words, lens.project(label.at)) for label in labels]
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
        Length of its hairline, more where that lies over a body or the words take several lines. [px]
    free : bool
        Whether its hairline lies off the bodies.
    """

    placed: Placed
    box: FloatArray
    cost: float
    free: bool


class _Room:
    """What is still free in a picture."""

    def __init__(
        self, covered: _Covered, taken: Boxes, size: tuple[int, int], body: _Covered | None, longest: float
    ) -> None:
        self.covered, self.taken, self.size, self.body, self.longest = covered, taken, size, body, longest
        self.leaders: FloatArray = np.empty((0, 2, 2))

    def nearest(self, anchor: FloatArray, lines: list[str], type_size: int) -> _Choice | None:
        """The best free place for lines of type; None where there is none."""
        width = max(text_width(line, type_size) for line in lines)
        boxes, ends = _candidates(anchor, np.array([width, len(lines) * LEADING * type_size]), type_size)
        wide = _grown(boxes, _AIR * type_size)
        fits = (wide[:, :2] >= 0.0).all(axis=1) & (wide[:, 2:] <= self.size).all(axis=1)
        fits &= ~self.covered.any_in(wide)
        boxes, ends, wide = boxes[fits], ends[fits], wide[fits]
        leaders = np.stack([ends, np.broadcast_to(anchor, ends.shape)], axis=1)
        lengths = np.hypot(*(ends - anchor).T)
        free = (lengths <= self.longest) & ~_overlap(wide, self.taken) & ~_meet(leaders, self.taken).any(axis=1)
        free &= ~_meet(self.leaders, wide).any(axis=0) & ~_cross(leaders, self.leaders).any(axis=1)
        over = self._over_body(leaders)
        free &= over <= (_HIDDEN + (_NEAR if self._on_body(anchor) else 0.0)) * type_size
        if not free.any():
            return None
        costs = np.where(free, lengths + _OVER_BODY * over, np.inf)
        best = int(np.argmin(costs))  # of equally good ones the first, as candidates lie in order
        cost = float(costs[best]) + (len(lines) - 1) * type_size
        placed = Placed(_set(lines, boxes[best], anchor, type_size), leaders[best])
        return _Choice(placed, wide[best], cost, self.body is None or over[best] == 0.0)

    def take(self, choice: _Choice) -> Placed:
        """Keep a place free from now on for what stands there."""
        self.taken = np.concatenate([self.taken, choice.box[None]])
        self.leaders = np.concatenate([self.leaders, choice.placed.leader[None]])
        return choice.placed

    def _on_body(self, anchor: FloatArray) -> bool:
        return self.body is not None and bool(self.body.any_in(np.concatenate([anchor, anchor + 0.5])[None])[0])

    def _over_body(self, leaders: FloatArray) -> FloatArray:
        """How much of each hairline, shape (N, 2 ends, 2), lies over a body, shape (N,). [px]"""
        if self.body is None:
            return np.zeros(len(leaders))
        at = np.linspace(0.0, 1.0, _STEPS)[:, None, None]
        places = (leaders[:, 0] + at * (leaders[:, 1] - leaders[:, 0])).reshape(-1, 2)
        over = self.body.any_in(np.concatenate([places, places + 0.5], axis=1))
        lengths = np.hypot(*(leaders[:, 1] - leaders[:, 0]).T)
        return np.asarray(over.reshape(_STEPS, -1).mean(axis=0) * lengths)


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
