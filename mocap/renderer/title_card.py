"""Cards between films: a title for a meeting, and the name of who follows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mocap.renderer.film_page import film_type
from mocap.renderer.ground import paper
from mocap.renderer.lens import Box
from mocap.renderer.page import Page
from mocap.renderer.style import FLOOR, INK, MUTED
from mocap.renderer.text import LEADING, Label, draw_labels, set_lines, text_width

if TYPE_CHECKING:
    from PIL.Image import Image

#: How long a title and a name stay. This project's defaults. [s]
TITLE_S, NAME_S = 2.5, 1.2

_ACROSS = 0.84  # of the picture's width that type may take
_HORIZON = 0.62  # of its height: where wall and floor meet, as behind the hitter


class Card:
    """A card, arranged before it is drawn.

    Parameters
    ----------
    size : tuple of 2 ints
        [px]
    title : str
        What it says; further lines of it are set smaller below, such as place, date or group.
    """

    def __init__(self, size: tuple[int, int], title: str) -> None:
        self.size = size
        head, *below = [line.strip() for line in title.strip().split("\n")] or [""]
        self.labels = self._labels(head, [line for line in below if line])

    @property
    def box(self) -> Box:
        """What its type covers. [px]"""
        boxes = [label.box for label in self.labels]
        lows, highs = (
            [min(edges) for edges in zip(*boxes, strict=True)],
            [max(edge) for edge in zip(*boxes, strict=True)],
        )
        return lows[0], lows[1], highs[2], highs[3]

    def _labels(self, head: str, below: list[str]) -> list[Label]:
        """Type in the middle, resting above the floor's line; smaller where a long title would fill the card."""
        width, height = self.size
        sizes, room = film_type(self.size), _ACROSS * width
        size = round(1.35 * sizes.headline)
        while size > sizes.body and max(text_width(word, size, "SemiBold") for word in head.split(" ")) > room:
            size -= 1
        middle = width / 2.0
        lines = set_lines(head, (middle, 0.0), room, size, "SemiBold", anchor="middle", balanced=True)
        y = lines[-1].top + LEADING * size + 0.3 * sizes.body
        for line in below:
            lines += set_lines(line, (middle, y), room, sizes.body, colour=MUTED, anchor="middle", balanced=True)
            y = lines[-1].top + LEADING * sizes.body
        top = max(_HORIZON * height - y - 1.2 * sizes.body, 0.05 * height)
        return [
            Label(line.words, line.left, line.top + top, line.size, line.weight, line.colour)
            for line in lines
            if line.top + top + LEADING * line.size <= 0.97 * height
        ]

    def draw(self) -> Image:
        """The card, mode RGB."""
        width, height = self.size
        picture = paper(self.size)
        picture.paste(FLOOR, (0, round(_HORIZON * height), width, height))
        draw_labels(picture, self.labels)
        rule, one = round(_HORIZON * height), Page(self.size).unit
        picture.paste(
            INK,
            (round(width / 2 - 60 * one), rule - round(2 * one), round(width / 2 + 60 * one), rule + round(2 * one)),
        )
        return picture
