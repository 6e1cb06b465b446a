"""The sheet of key moments: the same hitter, the same scale, one panel each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import captions, guides
from mocap.renderer.ground import draw_floor, paper
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Page, draw_footer, set_footer, set_header, set_marked
from mocap.renderer.panel_page import reach_of
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.still import guides_for, seen_from
from mocap.renderer.style import MUTED, type_sizes
from mocap.renderer.text import LEADING, set_line, text_width
from mocap.renderer.view import VIEWS, Framing, View

if TYPE_CHECKING:
    from PIL.Image import Image

#: Moments shown, where they were found.
SHEET_MOMENTS = ("stance", "lift", "plant", "contact", "extension", "finish")

_LINE_SHARE = 0.7  # guides are thinner in a panel than in a picture of one moment
_WORDS_BESIDE = 6.0  # least width of a column of type beside the bodies, in its sizes


def draw_sheet(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    size: tuple[int, int] = (1920, 1080),
    units: Units = "metric",
) -> Path:
    """Draw the key moments side by side from the open side, hitter over reference, all to one scale.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        PNG to write; an older one is replaced.
    size : tuple of 2 ints
        Width and height. [px]
    units : {"metric", "imperial"}

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        None of the moments was found in this swing.
    RenderError
        This machine cannot draw.
    OutputError
        The file cannot be written.
    """
    sheet = Sheet(Scene(comparison, findings, units), size)
    with replacing(target := Path(path)) as temporary:
        sheet.draw().save(temporary)
    return target


@dataclass(frozen=True)
class Panel:
    """One moment's place: type above the bodies or to their left."""

    moment: str
    frame: int
    box: Box
    framing: Framing
    title: Block


@dataclass(frozen=True)
class _Look:
    """What one panel has to show, seen at one pixel a metre from the point on the floor that all share."""

    moment: str
    frame: int
    low: FloatArray
    high: FloatArray


class Sheet:
    """The sheet, arranged before it is drawn, so that its places can be checked.

    Parameters
    ----------
    scene : Scene
    size : tuple of 2 ints
        [px]
    """

    def __init__(self, scene: Scene, size: tuple[int, int]) -> None:
        self.scene, self.page = scene, Page(size, stacked=True)
        self.view = VIEWS["open side"]
        frames = {name: frame for name in SHEET_MOMENTS if (frame := scene.swing.index(name)) is not None}
        if not frames:
            raise OptionError(f"no key moment was found in {scene.swing.source}, so there is no sheet to draw")
        who = captions.who(scene.findings, scene.units)
        whole = self.page.size[0] - 2.0 * self.page.margin
        self.header = set_header(self.page, "Key moments", who, captions.Headline("", "", None, ""), whole)
        self.guides = {name: _few_guides(scene, name, self.view) for name in frames}
        self.posed = list(scene.poses(list(frames.values())))
        self.panels = self._panels([self._look(name, posed) for name, posed in zip(frames, self.posed, strict=True)])
        self.footer = set_footer(
            self.page,
            self.panels[0].framing,
            scene.units,
            ["time from foot-plant", *seen_from(self.view, scene)],
            scene.legend,
        )

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        return [self.header, self.footer, *(panel.title for panel in self.panels)]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        picture = paper(self.page.size)
        with Painter(self.scene) as painter:
            for panel, posed in zip(self.panels, self.posed, strict=True):
                draw_floor(picture, panel.framing, self.scene.plate_offset, panel.box)
                painter.aim(panel.framing, [panel.frame])
                painter.paint(picture, posed, self.guides[panel.moment], _LINE_SHARE * self.page.unit)
                panel.title.draw(picture)
        self.header.draw(picture)
        draw_footer(picture, self.page, self.footer, self.panels[0].framing, self.scene.units)
        return picture

    def _look(self, moment: str, posed: Posed) -> _Look:
        """How far skin, bats and guides reach: to the pixel, as six bodies side by side leave nothing to spare."""
        content = np.concatenate([posed.hitter[0], posed.reference[0], reach_of(self.guides[moment], posed.frame)])
        return _Look(moment, posed.frame, *self._framed(1.0, 0.0, 0.0).extent(content))

    def _framed(self, scale: float, x: float, y: float) -> Framing:
        """The view with the hitting frame's origin at a place in the picture. [px/m], [px]"""
        return Framing(self.view, self.page.size, (0.0, 0.0, 0.0), (x, y), scale, self.scene.swing.mirrored)

    def _panels(self, looks: Sequence[_Look]) -> list[Panel]:
        """Panels in rows, each as wide as it needs, all at one scale: the largest at which they fit."""
        counts = (len(looks), 3, 2) if self.page.wide else (3, 2)
        largest = self.page.size[1] / min(float(look.low[1] - look.high[1]) for look in looks) * -1.0
        for scale in largest * 0.97 ** np.arange(200):
            for count in counts:
                for words in (0.0, _WORDS_BESIDE * type_sizes(self.page.size).small):
                    panels = self._set(looks, min(count, len(looks)), float(scale), words)
                    if panels:
                        return panels
        raise OptionError(f"{self.page.size[0]}x{self.page.size[1]} is too small for {len(looks)} moments")

    def _set(self, looks: Sequence[_Look], count: int, scale: float, words: float) -> list[Panel]:
        """Panels at a scale, so many in a row; none where they do not fit.

        Type stands above the bodies, or in columns to their left that are at least as wide as `words`.
        """
        page = self.page
        gap, edge = round(14 * page.unit), round(12 * page.unit)
        top, bottom = self.header.box[3] + round(20 * page.unit), page.foot_top - round(24 * page.unit)
        floor = max(float(look.high[1]) for look in looks)  # every panel's floor lies as far below its bodies
        rows = [looks[start : start + count] for start in range(0, len(looks), count)]
        across: list[list[tuple[float, float]]] = []  # of each panel, and of its type
        heads: list[float] = []
        bodies: list[float] = []
        for row in rows:
            own = [scale * float(look.high[0] - look.low[0]) + 2 * edge for look in row]
            spare = page.size[0] - 2 * page.margin - (count - 1) * gap - sum(own) - len(row) * words
            if spare < 0.0 or (len(row) < count and len(rows) == 1):
                return []
            more = words + spare / len(row)
            across.append([(width + more, more if words else width + more) for width in own])
            titles = [self._title(look, (0.0, 0.0), room[1]) for look, room in zip(row, across[-1], strict=True)]
            if any(title.box[2] > room[1] for title, room in zip(titles, across[-1], strict=True)):
                return []
            type_high = max(title.box[3] for title in titles) + edge // 2
            high = scale * (floor - min(float(look.low[1]) for look in row)) + 3 * edge
            heads.append(0.0 if words else type_high)
            bodies.append(max(high, type_high) if words else high)
        spare = bottom - top - (len(rows) - 1) * gap - sum(heads) - sum(bodies)
        if spare < 0.0:
            return []
        panels: list[Panel] = []
        y = float(top)
        for row, rooms, head, body in zip(rows, across, heads, bodies, strict=True):
            x, lower = float(page.margin), y + head + body + spare / len(rows)
            for look, (width, for_type) in zip(row, rooms, strict=True):
                box = (round(x), round(y), round(x + width), round(lower))
                middle = x + width / 2.0 + (for_type / 2.0 if words else 0.0)
                middle -= scale * float(look.low[0] + look.high[0]) / 2.0
                framing = self._framed(scale, middle, lower - 2.4 * edge - scale * floor)
                panels.append(Panel(look.moment, look.frame, box, framing, self._title(look, (x, y), for_type)))
                x += width + gap
            y = lower + gap
        return panels

    def _title(self, look: _Look, at: tuple[float, float], width: float) -> Block:
        """The moment's name, when it was, and what is found there."""
        sizes, inset = type_sizes(self.page.size), 8 * self.page.unit
        left, top = at[0] + inset, at[1] + 0.5 * inset
        name = set_line(MOMENT_WORDS[look.moment], (left, top), sizes.body, "SemiBold")
        y = top + LEADING * sizes.body
        when = captions.since_plant(self.scene.swing, look.frame, brief=True)
        beside = name.box[2] + 0.5 * sizes.small
        if beside + text_width(when, sizes.small) <= left + width - 2 * inset:
            # Both on one baseline, 0.97 of a line's size below its top.
            time = set_line(when, (beside, top + 0.97 * (sizes.body - sizes.small)), sizes.small, colour=MUTED)
        else:
            time = set_line(when, (left, y), sizes.small, colour=MUTED)
            y += LEADING * sizes.small
        labels = [name, time]
        words, verdict = captions.brief(
            self.scene.comparison, self.scene.findings, look.moment, look.frame, self.scene.units
        )
        if not words:
            return Block(tuple(labels))
        found, marks = set_marked(words, verdict, (left, y), width - 2 * inset, sizes.small, hanging=False)
        return Block((*labels, *found), tuple(marks))


def _few_guides(scene: Scene, moment: str, view: View) -> list[guides.Guide]:
    """Those of the moment; the hitting zone at extension alone, and no way of the hands: small panels say less."""
    chosen = guides_for(scene, moment, view, "usual", in_panel=True)
    return [guide for guide in chosen if moment == "extension" or guide.name not in ("zone", "hands")]
