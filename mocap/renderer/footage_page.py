"""Pictures over and beside footage: where the video stands, which part of it is shown, what is set around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.renderer.captions import Headline
from mocap.renderer.film_page import Caption, FilmPage, set_caption
from mocap.renderer.lens import Box
from mocap.renderer.page import Block
from mocap.renderer.pen import Pen
from mocap.renderer.skeleton_lines import draw_back_sample, draw_front_sample
from mocap.renderer.style import BLUE, MUTED, REFERENCE_TONES
from mocap.renderer.text import LEADING, Label, set_line

if TYPE_CHECKING:
    from PIL.Image import Image

#: A video's pixel is shown no larger than this, as it would look soft. [px]
LARGEST_PIXEL = 2.0
#: Kept free around whom the picture is about, as a share of his height in the picture.
_ROUND_HIM = 0.10
#: Where the finding begins in a wide header. [design px]
_FINDING_LEFT = 760.0
_NOTHING = Headline("", "", None, "")


@dataclass(frozen=True)
class FootagePage(FilmPage):
    """A film's page with a video on it; in stills without the strip.

    Attributes
    ----------
    has_strip : bool
    """

    has_strip: bool = True

    @property
    def bottom(self) -> int:
        """Lowest y of what stands above strip and foot line. [px]"""
        if not self.has_strip:
            return self.foot_top - round(44 * self.unit)
        return round(self.strip_y - LEADING * self.type.small - 34 * self.unit)

    def over(self, caption_bottom: int) -> Box:
        """Place of a video that is drawn on: in wide pictures right of the caption, else under it. [px]"""
        right = self.size[0] - self.margin
        if self.page.wide:
            return self.margin + self.column + round(48 * self.unit), round(56 * self.unit), right, self.bottom
        return self.margin, self._under(caption_bottom), right, self.bottom

    def beside(self, caption_bottom: int) -> Box:
        """Place of video and figure together, under the caption. [px]"""
        return self.margin, self._under(caption_bottom), self.size[0] - self.margin, self.bottom

    def _under(self, caption_bottom: int) -> int:
        return caption_bottom + round(30 * self.unit)


class _BroadPage(FootagePage):
    """The same with room for a headline to the right of the hitter's name."""

    @property
    def column(self) -> int:
        """Room for the headline."""
        return self.size[0] - self.margin - round(_FINDING_LEFT * self.unit)


@dataclass(frozen=True)
class Crop:
    """The part of a picture that is shown, and where on the page.

    Attributes
    ----------
    corner : tuple of 2 floats
        Upper left corner of the part, from the picture's own, edges of pixels counted. [px of the picture]
    scale : float
        Pixels shown per pixel of the picture. [-]
    box : tuple of 4 ints
        Place on the page. [px]
    """

    corner: tuple[float, float]
    scale: float
    box: Box

    @property
    def shown(self) -> tuple[int, int]:
        """Width and height on the page. [px]"""
        return self.box[2] - self.box[0], self.box[3] - self.box[1]

    def cut(self, picture: Image, ratio: tuple[float, float] = (1.0, 1.0)) -> Image:
        """The part out of a picture that is `ratio` times as large, as it is shown."""
        from PIL.Image import Resampling

        left, top = self.corner
        right, bottom = left + self.shown[0] / self.scale, top + self.shown[1] / self.scale
        x, y = ratio
        limit_x, limit_y = picture.size
        box = (max(left * x, 0.0), max(top * y, 0.0), min(right * x, limit_x), min(bottom * y, limit_y))
        return picture.resize(self.shown, Resampling.BILINEAR, box=box, reducing_gap=2.0)


def crop_to(low: FloatArray, high: FloatArray, size: tuple[int, int], place: Box, *, sharp: float = 1.0) -> Crop:
    """The largest view of a part of a picture, with as much of what is around it as the place has room for.

    Parameters
    ----------
    low, high : ndarray, shape (2,)
        Smallest and greatest x and y of what must be seen. [px of the picture]
    size : tuple of 2 ints
        Of the picture. [px]
    place : tuple of 4 ints
        Left, top, right, bottom on the page; what is shown stands in its middle. [px]
    sharp : float
        Pixels that the video really has per pixel of the picture. [-]

    Returns
    -------
    Crop
        Inside the picture.
    """
    room = np.array([place[2] - place[0], place[3] - place[1]], dtype=np.float64)
    whole = np.array(size, dtype=np.float64)
    around = _ROUND_HIM * (high[1] - low[1])
    needed = np.minimum(np.maximum(high - low + 2.0 * around, room / (LARGEST_PIXEL * sharp)), whole)
    scale = float((room / needed).min())
    shown = np.floor(np.minimum(room, whole * scale)).astype(int)
    part = shown / scale
    corner = np.clip((low + high - part) / 2.0, 0.0, np.maximum(whole - part, 0.0))
    left, top = (np.array(place[:2]) + (room - shown) // 2).astype(int)
    return Crop(
        (float(corner[0]), float(corner[1])), scale, (int(left), int(top), int(left + shown[0]), int(top + shown[1]))
    )


def calmed(picture: Image) -> Image:
    """A video's picture with a third of its colour taken out, so that lines stand clear of it; as bright as before."""
    from PIL.Image import blend

    return blend(picture, picture.convert("L").convert("RGB"), 0.35)


def share_out(place: Box, video: tuple[int, int], gap: int) -> tuple[Box, Box]:
    """Places of a whole video and of a figure: side by side or one above the other, whichever shows both larger.

    Beside the video the figure gets nearly as much width as height, as a swing is about as wide as tall, but no more
    than half of the place, and both stand on one line.
    """
    left, top, right, bottom = place
    width, height = right - left, bottom - top
    figure = min(0.95 * height, (width - gap) / 2.0)
    across = min(width - gap - figure, height * video[0] / video[1])
    stacked = min((height - gap) * 0.5, width * video[1] / video[0])
    beside = across**2 * video[1] / video[0] * min(width - gap - across, height)
    if beside >= stacked**2 * video[0] / video[1] * (height - gap - stacked):
        split = left + round(across)
        return (left, bottom - round(across * video[1] / video[0]), split, bottom), (split + gap, top, right, bottom)
    split = top + round(stacked)
    return (left, top, right, split), (left, split + gap, right, bottom)


def set_band(page: FootagePage, caption: Caption) -> Block:
    """A caption over video and figure side by side: moment and hitter to the left, the finding to the right of them."""
    if not page.page.wide:
        return set_caption(page, caption)
    broad = _BroadPage(page.size, page.has_strip)
    block = set_caption(broad, caption)
    left = len(set_caption(broad, replace(caption, said=_NOTHING, findings=())).labels)
    if left == len(block.labels):
        return block
    across = round(_FINDING_LEFT * page.unit) - page.margin
    up = block.labels[left].top - block.labels[0].top + 8.0 * page.unit
    moved = [replace(label, left=label.left + across, top=label.top - up) for label in block.labels[left:]]
    marks = [replace(mark, centre=(mark.centre[0] + across, mark.centre[1] - up)) for mark in block.marks]
    return Block((*block.labels[:left], *moved), tuple(marks))


def set_legend(page: FootagePage, reference: str, notes: Sequence[str]) -> Block:
    """Names of what is drawn to the left; as many notes as there is room for to the right, the most important first."""
    small, y, one = page.type.small, float(page.foot_top), page.unit
    edge = page.size[0] - page.margin

    def named(name: str) -> list[Label]:
        labels: list[Label] = []
        x = float(page.margin)
        for words, swatch in (("front side", 64.0), ("back side", 64.0), (name, 46.0)):
            labels.append(set_line(words, (x + swatch * one, y), small))
            x = labels[-1].box[2] + 30.0 * one
        return labels

    legends = [named(name) for name in (reference, reference.partition(",")[0], "Reference")]
    for count in range(len(notes), 0, -1):
        note = set_line(", ".join(notes[:count]), (edge, y), small, colour=MUTED, anchor="right")
        for labels in legends:
            if note.left > labels[-1].box[2] + 30.0 * one:
                return Block((*labels, note))
    return Block(tuple(next((labels for labels in legends if labels[-1].box[2] <= edge), legends[-1])))


def draw_legend(picture: Image, page: FootagePage, block: Block) -> None:
    """Set the legend, with a sample of each line."""
    block.draw(picture)
    pen, one = Pen(picture), page.unit
    front, back, reference = block.labels[:3]
    for label, sample in ((front, draw_front_sample), (back, draw_back_sample)):
        y = label.top + 0.63 * label.size
        sample(pen, [(label.left - 56 * one, y), (label.left - 18 * one, y)], one)
    x, y = reference.left - 29 * one, reference.top + 0.63 * reference.size
    pen.disc((x, y), 12 * one, REFERENCE_TONES["shirt"], opacity=0.5)
    pen.ring((x, y), 12.5 * one, 2 * one, BLUE)
