"""Which guides a film shows in one of its panels, and when: few at a time, each in its part of the swing."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.renderer import guides
from mocap.renderer.field import batters_box, plate_outline
from mocap.renderer.film_page import FilmPage
from mocap.renderer.guides import names_of
from mocap.renderer.lens import Box
from mocap.renderer.panels import Panel
from mocap.renderer.placing import Placed, Wish, place_labels
from mocap.renderer.scene import Scene
from mocap.renderer.style import INK, MUTED
from mocap.renderer.text import LEADING, Label, set_line, text_width
from mocap.renderer.view import View

if TYPE_CHECKING:
    from PIL.Image import Image

__all__ = ["WITHOUT_WEIGHT", "FilmGuides", "covered", "has_weight", "reach_of_guides"]

_WEIGHT = "back_share"  # what the weight bar shows
_SHADE = 24  # levels by which a shadow darkens the ground at most; what differs more is a body or a guide

#: What the usual guides are called for a panel that has no room below the feet for the weight bar.
WITHOUT_WEIGHT = "usual without weight"


def has_weight(asked: str | Sequence[str]) -> bool:
    """Whether the weight bar may be among the guides asked for.

    Raises
    ------
    OptionError
        A name is not known.
    """
    return asked != WITHOUT_WEIGHT and "weight" in names_of(asked)


class FilmGuides:
    """The guides of one panel.

    Parameters
    ----------
    panel : Panel
    asked : str or sequence of str
        See `mocap.renderer.guides.names_of`, or `WITHOUT_WEIGHT`.
    alone : bool
        Whether the panel is the whole picture, so that the weight bar has its type.
    """

    def __init__(self, panel: Panel, asked: str | Sequence[str], *, alone: bool = False) -> None:
        self.panel, self.alone = panel, alone
        self._built = _built(panel.scene, panel.view, asked)
        self._asked = asked

    def at(self, number: int) -> list[guides.Guide]:
        """Those shown in the picture of that number; what was asked for by name in all of them."""
        return _shown(self._built, self.panel.scene, self._asked, number)

    def labels(self, page: FilmPage, number: int, stated: Collection[str]) -> list[Label]:
        """Type of the weight bar, with its number unless that is `stated` elsewhere, where the picture is its own."""
        bar = next((guide for guide in self.at(number) if isinstance(guide, guides.WeightBar)), None)
        if bar is None or not self.alone:
            return []
        told = "" if _WEIGHT in stated else bar.share_words(number)
        return _bar_labels(bar, self.panel, number, page, told)

    def numbers(
        self,
        page: FilmPage,
        number: int,
        solid: npt.NDArray[np.bool_],
        taken: Sequence[Box],
        stated: Collection[str],
        body: npt.NDArray[np.bool_] | None = None,
    ) -> list[Placed]:
        """The guides' own numbers in the picture of that number, each beside what it belongs to.

        Parameters
        ----------
        page : FilmPage
        number : int
        solid : ndarray of bool, shape (height, width)
            Of the panel: what words must not cover, see `covered`.
        taken : sequence of tuples of 4 ints
            Other type and what else is to stay free, in the panel. [px]
        stated : collection of str
            The measures that stand elsewhere in the picture already.
        body : ndarray of bool, shape (height, width), or None
            Of the panel: what hairlines must not cross either.
        """
        wishes = []
        for guide in self.at(number):
            label = guide.label(number)
            if label is not None and label.measure not in stated and not (self.alone and label.measure == _WEIGHT):
                project = self.panel.framing.project
                wishes.append(Wish(label.words, project(label.at), project(label.line)))
        solid = solid | self._chalk()
        return place_labels(wishes, solid, taken, self.panel.framing.size, page.type.small, body)

    def _chalk(self) -> npt.NDArray[np.bool_]:
        """Where plate and box lie in the panel, shape (height, width): words read badly on their lines."""
        from PIL import Image as images
        from PIL import ImageDraw

        mask = images.new("L", self.panel.framing.size)
        for outline in (plate_outline(), *batters_box()):
            corners = np.column_stack([outline, np.zeros(len(outline))]) + self.panel.scene.plate_offset
            pixels = [(float(x), float(y)) for x, y in self.panel.framing.project(corners)]
            ImageDraw.Draw(mask).polygon(pixels, fill=255, outline=255)
        return np.asarray(mask) > 0


def reach_of_guides(scene: Scene, view: View, asked: str | Sequence[str], numbers: Sequence[int]) -> FloatArray:
    """What the guides of one panel need room for in pictures of those numbers, shape (N, 3). [m]"""
    built = _built(scene, view, asked)
    reached = [guide.reach(number) for number in numbers for guide in _shown(built, scene, asked, number)]
    return np.concatenate([np.empty((0, 3)), *reached])


def covered(painted: Image, ground: Image) -> npt.NDArray[np.bool_]:
    """Where bodies and guides lie on a panel's ground, shape (height, width); their soft shadows do not count."""
    from PIL import ImageChops

    return np.asarray(np.asarray(ImageChops.difference(painted, ground)).max(axis=2) > _SHADE)


def _built(scene: Scene, view: View, asked: str | Sequence[str]) -> list[guides.Guide]:
    """The guides that a panel shows at some time."""
    usual = "usual" if asked == WITHOUT_WEIGHT else asked
    built = guides.chosen(usual, scene, guides.WHOLE_SWING, view)
    return [guide for guide in built if asked != WITHOUT_WEIGHT or guide.name != "weight"]


def _shown(built: Sequence[guides.Guide], scene: Scene, asked: str | Sequence[str], number: int) -> list[guides.Guide]:
    """Those of a panel's guides that the picture of that number shows."""
    always = asked not in ("usual", "all", WITHOUT_WEIGHT)
    return [guide for guide in built if always or guides.shown_at(guide.name, scene.swing, number)]


def _bar_labels(bar: guides.WeightBar, panel: Panel, number: int, page: FilmPage, told: str) -> list[Label]:
    """Names at the ends of the weight bar, and words under it; those that would leave the picture are left out."""
    back_x, front_x, y = bar.bar(panel.framing, page.unit, number)
    if not np.isfinite([back_x, front_x, y]).all():
        return []
    small, gap = page.type.small, 20 * page.unit
    top = y - 0.63 * small
    ends = sorted(((back_x, "back foot"), (front_x, "front foot")))
    labels = [
        set_line(ends[0][1], (ends[0][0] - gap, top), small, colour=MUTED, anchor="right"),
        set_line(ends[1][1], (ends[1][0] + gap, top), small, colour=MUTED),
    ]
    inside = (page.margin // 2, page.size[0] - page.margin // 2)
    if words := bar.band_words(told):
        half = text_width(words, small) / 2.0 + 1.0
        middle = float(np.clip(front_x + bar.middle * (back_x - front_x), inside[0] + half, inside[1] - half))
        colour, under = INK if told else MUTED, y + 0.62 * LEADING * small
        labels.append(set_line(words, (middle, under), small, colour=colour, anchor="middle"))
    return [label for label in labels if inside[0] <= label.box[0] and label.box[2] <= inside[1]]
