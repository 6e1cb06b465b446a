"""The strip under a film: where in the swing we are, and where the key moments lie."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mocap.display import MOMENT_WORDS
from mocap.renderer.film_page import FilmPage
from mocap.renderer.page import Page, overlap
from mocap.renderer.pen import Pen
from mocap.renderer.style import HAIRLINE, INK, MUTED, PAPER
from mocap.renderer.text import LEADING, Label, draw_labels, set_line
from mocap.swing import MOMENTS, Swing

if TYPE_CHECKING:
    from PIL.Image import Image

#: Moments named on the strip, the most important first: where two names collide, the later one gives way.
_NAMED = ("plant", "contact", "stance", "lift", "finish", "extension")


class Timeline:
    """A strip from the first to the last frame.

    Parameters
    ----------
    page : Page
    swing : Swing
    """

    def __init__(self, page: Page, swing: Swing) -> None:
        self.page, self.last = page, max(swing.n_frames - 1, 1)
        place = FilmPage(page.size)
        self.left, self.right = float(place.margin), float(page.size[0] - place.margin)
        self.y, self.small = place.strip_y, place.type.small
        self.moments = {name: frame for name in _NAMED if (frame := swing.index(name)) is not None}
        self.labels = self._labels()

    def x(self, frame: float) -> float:
        """Place of a frame, fractions included. [px]"""
        return self.left + frame / self.last * (self.right - self.left)

    def _labels(self) -> list[Label]:
        """Names under the strip, or above it where they would collide; left out where neither fits."""
        size = self.small
        below, above = self.y + 11 * self.page.unit, self.y - 13 * self.page.unit - LEADING * size
        placed: list[Label] = []
        for name, frame in self.moments.items():
            for top in (below, above):
                label = set_line(MOMENT_WORDS[name], (self.x(frame), top), size, colour=MUTED, anchor="middle")
                shift = max(self.left - label.box[0], 0.0) - max(label.box[2] - self.right, 0.0)
                label = Label(label.words, label.left + shift, top, size, colour=MUTED)
                left, upper, right, lower = label.box
                room = (left - size // 2, upper, right + size // 2, lower)
                if not any(overlap(room, other.box) for other in placed):
                    placed.append(label)
                    break
        return placed

    def draw_base(self, picture: Image) -> None:
        """What stays the same through the film: the strip, its ticks and names."""
        pen, one = Pen(picture), self.page.unit
        half = max(round(2 * one), 1)
        picture.paste(HAIRLINE, (round(self.left), round(self.y) - half, round(self.right), round(self.y) + half))
        for frame in self.moments.values():
            x = self.x(frame)
            pen.line([(x, self.y - 9 * one), (x, self.y + 9 * one)], 2.5 * one, MUTED)
        draw_labels(picture, self.labels)

    def passed(self, frame: float) -> list[str]:
        """The moments on the strip that have been at a frame, in their order."""
        return [name for name in MOMENTS if name in self.moments and self.moments[name] <= frame]

    def draw_position(self, picture: Image, frame: float, passed: Sequence[str]) -> None:
        """What is played so far, the moments passed, and the head of the strip."""
        pen, one = Pen(picture), self.page.unit
        x = self.x(frame)
        half = max(round(2 * one), 1)
        picture.paste(INK, (round(self.left), round(self.y) - half, round(x), round(self.y) + half))
        for name in passed:
            tick = self.x(self.moments[name])
            pen.line([(tick, self.y - 9 * one), (tick, self.y + 9 * one)], 2.5 * one, INK)
        pen.disc((x, self.y), 10 * one, PAPER)
        pen.disc((x, self.y), 8 * one, INK)
