"""Several looks at one moment in one picture: the same swing from other sides, or several swings, all to one scale.

A panel is a small picture of its own with its own ground; what is drawn in it ends at its edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.renderer import guides
from mocap.renderer.ground import draw_floor, paper
from mocap.renderer.lens import Box
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.view import Framing, View

if TYPE_CHECKING:
    from PIL.Image import Image


@dataclass(frozen=True)
class Panel:
    """One look.

    Attributes
    ----------
    scene : Scene
    framing : Framing
        Within the panel: pixel (0, 0) is its upper left corner. [px]
    box : tuple of 4 ints
        Its place in the whole picture. [px]
    frames : tuple of int
        What is shown, of the scene's frames: one in a still, many in a film.
    """

    scene: Scene
    framing: Framing
    box: Box
    frames: tuple[int, ...]

    @property
    def view(self) -> View:
        """Which way it looks."""
        return self.framing.view

    def in_picture(self, points: FloatArray) -> FloatArray:
        """Where points of the hitting frame, shape (..., 3) [m], land in the whole picture, shape (..., 2). [px]"""
        return self.framing.project(points) + np.array(self.box[:2])


def set_panels(
    looks: Sequence[tuple[Scene, View]],
    frames: Sequence[Sequence[int]],
    boxes: Sequence[Box],
    inset: tuple[int, int, int, int],
    extra: Sequence[FloatArray] = (),
) -> list[Panel]:
    """Place each look in its box, all at the scale of the tightest, feet on one line in boxes side by side.

    Parameters
    ----------
    looks : sequence of (Scene, View)
    frames : sequence of sequences of int
        Of each look's scene.
    boxes : sequence of tuples of 4 ints
        Left, top, right, bottom in the whole picture. [px]
    inset : tuple of 4 ints
        Kept free of bodies at a box's left, top, right and bottom. [px]
    extra : sequence of ndarray, shape (N, 3)
        What each look must have room for besides its bodies; empty: nothing. [m]

    Returns
    -------
    list of Panel
    """
    contents = []
    for place, ((scene, _), shown) in enumerate(zip(looks, frames, strict=True)):
        bodies = scene.reach(shown)
        contents.append(np.concatenate([bodies, extra[place]]) if extra else bodies)

    def framed(largest: float) -> list[Framing]:
        found = []
        for (scene, view), content, (left, top, right, bottom) in zip(looks, contents, boxes, strict=True):
            size = (right - left, bottom - top)
            inside = (inset[0], inset[1], size[0] - inset[2], size[1] - inset[3])
            found.append(scene.frame_in(view, content, size, inside, largest))
        return found

    scale = min(framing.scale for framing in framed(float("inf")))
    return [
        Panel(scene, framing, box, tuple(shown))
        for (scene, _), framing, box, shown in zip(looks, framed(scale), boxes, frames, strict=True)
    ]


class PanelPainter:
    """Paints a panel, frame after frame; a context manager.

    Parameters
    ----------
    panel : Panel
    """

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.painter = Painter(panel.scene)
        self.painter.aim(panel.framing, panel.frames)

    @cached_property
    def base(self) -> Image:
        """The panel with its ground alone, mode RGB."""
        picture = paper(self.panel.framing.size)
        draw_floor(picture, self.panel.framing, self.panel.scene.plate_offset, (0, 0, *self.panel.framing.size))
        return picture

    def paint(self, posed: Posed, drawn: Sequence[guides.Guide], unit: float) -> Image:
        """Ground, bodies and guides of one frame, mode RGB; `unit` in pixels per design pixel."""
        picture = self.base.copy()
        self.painter.paint(picture, posed, drawn, unit)
        return picture

    def close(self) -> None:
        """Give the stage back."""
        self.painter.close()

    def __enter__(self) -> PanelPainter:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


def grid(place: Box, count: int, columns: int, gap: int) -> list[Box]:
    """Boxes of one size in rows, left to right and downward, `gap` apart. [px]"""
    left, top, right, bottom = place
    rows = -(-count // columns)
    width, height = (right - left - (columns - 1) * gap) // columns, (bottom - top - (rows - 1) * gap) // rows
    corners = [(left + i % columns * (width + gap), top + i // columns * (height + gap)) for i in range(count)]
    return [(x, y, x + width, y + height) for x, y in corners]
