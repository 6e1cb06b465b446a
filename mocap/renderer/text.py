"""Type on pictures: set crisply, measured before it is placed, remembered once drawn."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from mocap.assets import asset
from mocap.renderer.lens import Box
from mocap.renderer.style import INK, Colour

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont

Weight = Literal["Regular", "SemiBold"]
Anchor = Literal["left", "middle", "right"]

#: Height of one line over the type size. [-]
LEADING = 1.28
_ASCENT = 0.97  # from a line's top to its baseline, over the type size


@lru_cache(maxsize=64)
def _font(size: int, weight: Weight) -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(str(asset("fonts", f"Inter-{weight}.ttf")), size)


def typographic(words: str) -> str:
    """A true minus, and no line break inside a quantity or before a frame's number."""
    words = re.sub(r"(?<![\w-])-(?=\d)", "\N{MINUS SIGN}", words)
    words = re.sub(r"\b(frame) (?=\d)", "\\1\N{NO-BREAK SPACE}", words)
    return re.sub(r"(?<=[\d±]) (?=[±%\d°]|cm\b|in\b|ft\b|m/s\b|m\b|mph\b|Hz\b|ms\b|s\b)", "\N{NO-BREAK SPACE}", words)


@lru_cache(maxsize=4096)
def text_width(words: str, size: int, weight: Weight = "Regular") -> float:
    """Advance of one line. [px]"""
    return float(_font(size, weight).getlength(typographic(words)))


def wrap(words: str, width: float, size: int, weight: Weight = "Regular", indent: float = 0.0) -> list[str]:
    """Break a sentence into lines no wider than `width`, the first by `indent` less, between words only. [px]"""
    lines: list[str] = []
    for word in typographic(words).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, weight) <= width - (indent if len(lines) == 1 else 0.0):
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True)
class Label:
    """One line of type at its place.

    Attributes
    ----------
    words : str
    left, top : float
        Upper left corner of its line. [px]
    size : int
        Type size. [px]
    weight : {"Regular", "SemiBold"}
    colour : tuple of 3 ints
    """

    words: str
    left: float
    top: float
    size: int
    weight: Weight = "Regular"
    colour: Colour = INK

    @property
    def box(self) -> Box:
        """What it covers, ascenders and descenders included. [px]"""
        width = text_width(self.words, self.size, self.weight)
        return (
            int(np.floor(self.left)),
            int(np.floor(self.top)),
            int(np.ceil(self.left + width)),
            int(np.ceil(self.top + LEADING * self.size)),
        )


def set_line(
    words: str,
    at: tuple[float, float],
    size: int,
    weight: Weight = "Regular",
    colour: Colour = INK,
    anchor: Anchor = "left",
) -> Label:
    """A label whose line begins, is centred or ends at a point on its upper edge. [px]"""
    share = {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor]
    return Label(words, at[0] - share * text_width(words, size, weight), at[1], size, weight, colour)


def set_lines(
    words: str,
    at: tuple[float, float],
    width: float,
    size: int,
    weight: Weight = "Regular",
    colour: Colour = INK,
    anchor: Anchor = "left",
    *,
    balanced: bool = False,
    indent: float = 0.0,
) -> list[Label]:
    """A sentence broken into lines under one another, if wished into lines of about the same length. [px]

    The first line is set in by `indent`.
    """
    lines = wrap(words, width, size, weight, indent)
    if balanced:
        narrower = (wrap(words, width * share, size, weight) for share in (0.6, 0.7, 0.8, 0.9))
        lines = next((tried for tried in narrower if len(tried) == len(lines)), lines)
    return [
        set_line(line, (at[0] + (0.0 if row else indent), at[1] + row * LEADING * size), size, weight, colour, anchor)
        for row, line in enumerate(lines)
    ]


@lru_cache(maxsize=512)
def _mask(words: str, size: int, weight: Weight, shift: float) -> Image:
    """Coverage of one line of type, its baseline `_ASCENT` below the top, shifted right by a fraction of a pixel."""
    from PIL import Image as images
    from PIL import ImageDraw

    font = _font(size, weight)
    pad = _pad(size)
    mask = images.new("L", (int(font.getlength(words)) + 2 * pad + 2, int(np.ceil(LEADING * size)) + 2 * pad))
    ImageDraw.Draw(mask).text((pad + shift, pad + round(_ASCENT * size)), words, fill=255, font=font, anchor="ls")
    return mask


def _pad(size: int) -> int:
    """Room around a line for strokes that reach over its box."""
    return max(size // 6, 2)


def draw_labels(picture: Image, labels: list[Label]) -> None:
    """Set labels on a picture of mode RGB."""
    for label in labels:
        left = int(np.floor(label.left))
        shift = round((label.left - left) * 4) / 4
        mask = _mask(typographic(label.words), label.size, label.weight, shift)
        pad = _pad(label.size)
        picture.paste(label.colour, (left - pad, round(label.top) - pad), mask)
