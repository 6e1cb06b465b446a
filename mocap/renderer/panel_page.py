"""Several panels in one still picture: a column of type, and beside or below it the panels, each with its title."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.renderer import guides
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Page
from mocap.renderer.panels import Panel, PanelPainter, grid, set_panels
from mocap.renderer.scene import Posed, Scene
from mocap.renderer.style import MUTED, type_sizes
from mocap.renderer.text import LEADING, Label, set_lines
from mocap.renderer.view import View

if TYPE_CHECKING:
    from PIL.Image import Image

#: Guides are thinner in a panel than in a picture of one look.
LINE_SHARE = 0.8
_GAP = 20  # between panels [design px]
_NARROWEST = 0.75  # of the mean width, so that a narrow view's title has room: this project's default


def panel_place(page: Page, header: Block, below: int = 0) -> Box:
    """Place for all panels: beside the header's column, in an upright picture under it, `below` kept free. [px]"""
    width, gap = page.size[0], round(32 * page.unit)
    bottom = page.foot_top - round(24 * page.unit)
    if page.upright:
        return page.margin, header.box[3] + gap, width - page.margin, bottom - below
    left = page.margin + page.header_width + gap
    return left, round(0.7 * page.margin), width - round(0.7 * page.margin), bottom


def set_titled_panels(
    page: Page,
    looks: Sequence[tuple[Scene, View]],
    frames: Sequence[int],
    titles: Sequence[tuple[str, str]],
    place: Box,
    extra: Sequence[FloatArray],
) -> tuple[list[Panel], list[Block]]:
    """Panels as large as they can be in one or two columns or a row, all to one scale, each under its title.

    In a row of several views each is as wide as what it shows asks for.

    Parameters
    ----------
    page : Page
    looks : sequence of (Scene, View)
    frames : sequence of int
        What each shows.
    titles : sequence of (str, str)
        Name, and what stands under it, which may be empty.
    place : tuple of 4 ints
        [px]
    extra : sequence of ndarray, shape (N, 3)
        What each must have room for besides its bodies. [m]

    Returns
    -------
    list of Panel
    list of Block
        Their titles.

    Raises
    ------
    OptionError
        The picture is too small for so many.
    """
    gap, count = round(_GAP * page.unit), len(looks)
    tried: list[tuple[list[Panel], list[Block]]] = []
    for columns in {1, min(2, count), count}:
        boxes = grid(place, count, columns, gap)
        found = _set_in(page, boxes, looks, frames, titles, extra)
        if found and columns == count and len({view for _, view in looks}) > 1:
            boxes = _row(place, _widths(found[0], extra), gap)
            found = _set_in(page, boxes, looks, frames, titles, extra) or found
        if found and columns == count:
            spare = _spare_above(*found, extra)
            if spare > 2 * gap:  # one row of narrow panels: as tall as it needs, in the middle of its place
                low = [(left, top + spare // 2, right, bottom - spare // 2) for left, top, right, bottom in boxes]
                found = _set_in(page, low, looks, frames, titles, extra) or found
        if found:
            tried.append(found)
    if not tried:
        raise OptionError(f"{page.size[0]}x{page.size[1]} is too small for {len(looks)} panels; give a larger size")
    return max(tried, key=lambda found: found[0][0].framing.scale)


def _widths(panels: Sequence[Panel], extra: Sequence[FloatArray]) -> FloatArray:
    """What each panel shows across, shape (N,), with room for its title. [px]"""
    shown = [np.concatenate([panel.scene.reach(panel.frames), more]) for panel, more in zip(panels, extra, strict=True)]
    extents = [panel.framing.extent(content) for panel, content in zip(panels, shown, strict=True)]
    across = np.array([high[0] - low[0] for low, high in extents])
    return np.asarray(np.maximum(across, _NARROWEST * across.mean()))


def _row(place: Box, widths: FloatArray, gap: int) -> list[Box]:
    """Boxes side by side that share a place as their widths do. [px]"""
    left, top, right, bottom = place
    free = right - left - (len(widths) - 1) * gap
    ends = left + np.cumsum(np.round(free * widths / widths.sum())).astype(int) + gap * np.arange(len(widths))
    starts = [left, *(end + gap for end in ends[:-1].tolist())]
    return [(start, top, end, bottom) for start, end in zip(starts, ends.tolist(), strict=True)]


def _set_in(
    page: Page,
    boxes: Sequence[Box],
    looks: Sequence[tuple[Scene, View]],
    frames: Sequence[int],
    titles: Sequence[tuple[str, str]],
    extra: Sequence[FloatArray],
) -> tuple[list[Panel], list[Block]] | None:
    """Panels in their boxes, and their titles; nothing where the boxes are too small."""
    gap = round(_GAP * page.unit)
    if min(min(right - left, bottom - top) for left, top, right, bottom in boxes) < 2 * gap:
        return None
    blocks = [panel_title(page, box, *title) for box, title in zip(boxes, titles, strict=True)]
    head = max(block.box[3] - box[1] for block, box in zip(blocks, boxes, strict=True))
    edge = round(0.8 * gap)  # the marks at a guide's ends reach beyond its points
    inset = (edge, head + gap // 2, edge, round(48 * page.unit))
    if any(box[3] - box[1] < 2 * (inset[1] + inset[3]) for box in boxes):
        return None
    shown = [[frame] for frame in frames]
    panels = set_panels(looks, shown, boxes, inset, extra)
    raised = math.ceil(max(_raise(panel, panels) for panel in panels))
    if raised:  # room above for those that are raised to the others' floor
        panels = set_panels(looks, shown, boxes, (inset[0], inset[1] + raised, *inset[2:]), extra)
    return _level(panels), blocks


def _spare_above(panels: Sequence[Panel], blocks: Sequence[Block], extra: Sequence[FloatArray]) -> int:
    """Height that stays empty in every panel between its title and what it shows. [px]"""
    spares = []
    for panel, block, more in zip(panels, blocks, extra, strict=True):
        content = np.concatenate([panel.scene.reach(panel.frames), more])
        spares.append(float(panel.framing.extent(content)[0][1]) - (block.box[3] - panel.box[1]))
    return max(int(min(spares)), 0)


def _level(panels: list[Panel]) -> list[Panel]:
    """Panels of one row and one view with the plate, and so the floor, at one height: that of the highest.

    Each panel rests on its own nearest point, which a wider stance brings nearer.
    """
    return [replace(panel, framing=panel.framing.moved(0.0, -_raise(panel, panels))) for panel in panels]


def _raise(panel: Panel, panels: Sequence[Panel]) -> float:
    """How far a panel's floor lies below the highest of its row that looks the same way. [px]"""

    def floor(of: Panel) -> float:
        return float(of.framing.project(of.scene.plate_offset)[1])

    row = [other for other in panels if other.box[1] == panel.box[1] and other.view == panel.view]
    return floor(panel) - min(floor(other) for other in row)


def panel_title(page: Page, box: Box, name: str, note: str = "") -> Block:
    """A panel's name in its upper left corner, and what stands under it."""
    sizes, inset = type_sizes(page.size), round(18 * page.unit)
    width = box[2] - box[0] - 2 * inset
    at = (float(box[0] + inset), box[1] + 0.6 * inset)
    labels: list[Label] = set_lines(name, at, width, sizes.body, "SemiBold")
    if note:
        y = labels[-1].top + LEADING * sizes.body
        labels += set_lines(note, (at[0], y), width, sizes.small, colour=MUTED)
    return Block(tuple(labels))


def draw_panels(
    picture: Image,
    page: Page,
    panels: Sequence[Panel],
    posed: Sequence[Posed],
    drawn: Sequence[Sequence[guides.Guide]],
) -> None:
    """Draw each panel with its guides."""
    for panel, pose, chosen in zip(panels, posed, drawn, strict=True):
        with PanelPainter(panel) as painter:
            picture.paste(painter.paint(pose, chosen, LINE_SHARE * page.unit), panel.box[:2])


def reach_of(chosen: Sequence[guides.Guide], frame: int) -> FloatArray:
    """Points that guides need room for, shape (N, 3). [m]"""
    return np.concatenate([np.empty((0, 3)), *(guide.reach(frame) for guide in chosen)])
