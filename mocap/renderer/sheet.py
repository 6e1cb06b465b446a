"""The sheet of key moments: the same hitter, the same scale, one panel each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import captions
from mocap.renderer.ground import draw_floor, paper
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Page, draw_footer, set_footer, set_header
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.still import guides_at, seen_from
from mocap.renderer.style import MUTED, type_sizes
from mocap.renderer.text import LEADING, set_line
from mocap.renderer.view import VIEWS, Framing

if TYPE_CHECKING:
    from PIL.Image import Image

#: Moments shown, where they were found.
SHEET_MOMENTS = ("stance", "lift", "plant", "contact", "extension", "finish")

_LINE_SHARE = 0.7  # guides are thinner in a panel than in a picture of one moment


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
    """One moment's place."""

    moment: str
    frame: int
    box: Box
    framing: Framing
    title: Block


class Sheet:
    """The sheet, arranged before it is drawn, so that its places can be checked.

    Parameters
    ----------
    scene : Scene
    size : tuple of 2 ints
        [px]
    """

    def __init__(self, scene: Scene, size: tuple[int, int]) -> None:
        self.scene, self.page = scene, Page(size)
        self.view = VIEWS["open side"]
        frames = {name: frame for name in SHEET_MOMENTS if (frame := scene.swing.index(name)) is not None}
        if not frames:
            raise OptionError(f"no key moment was found in {scene.swing.source}, so there is no sheet to draw")
        who = captions.who(scene.findings, scene.units)
        self.header = set_header(self.page, "Key moments", who, captions.Headline("", "", None, ""))
        self.panels = self._panels(frames)
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
            poses = self.scene.poses([panel.frame for panel in self.panels])
            for panel, posed in zip(self.panels, poses, strict=True):
                draw_floor(picture, panel.framing, self.scene.plate_offset, panel.box)
                painter.aim(panel.framing, [panel.frame])
                drawn = guides_at(self.scene, panel.moment, self.view, labelled=False)
                painter.paint(picture, posed, drawn, _LINE_SHARE * self.page.unit)
                panel.title.draw(picture)
        self.header.draw(picture)
        draw_footer(picture, self.page, self.footer, self.panels[0].framing, self.scene.units)
        return picture

    def _panels(self, frames: dict[str, int]) -> list[Panel]:
        """Panels in rows, every one at the scale of the tightest."""
        page, gap = self.page, round(20 * self.page.unit)
        columns = min(3 if page.wide else 2, len(frames))
        rows = -(-len(frames) // columns)
        top, bottom = self.header.box[3] + round(24 * page.unit), page.foot_top - round(28 * page.unit)
        width = (page.size[0] - 2 * page.margin - (columns - 1) * gap) // columns
        height = (bottom - top - (rows - 1) * gap) // rows
        boxes = []
        for place in range(len(frames)):
            left = page.margin + place % columns * (width + gap)
            upper = top + place // columns * (height + gap)
            boxes.append((left, upper, left + width, upper + height))
        titles = [self._title(moment, frame, box) for (moment, frame), box in zip(frames.items(), boxes, strict=True)]
        framings = self._framings(list(frames.values()), boxes, titles)
        return [
            Panel(moment, frame, box, framing, title)
            for (moment, frame), box, framing, title in zip(frames.items(), boxes, framings, titles, strict=True)
        ]

    def _framings(self, frames: list[int], boxes: list[Box], titles: list[Block]) -> list[Framing]:
        """One framing, repeated in every panel, so that scale and floor agree; as large as the titles allow."""
        edge = round(18 * self.page.unit)
        left, top, right, bottom = boxes[0]
        for upper in (top + edge // 2, *(range(top + edge, titles[0].box[3] + edge, edge))):
            inside = (left + edge, upper, right - edge, bottom - 3 * edge)
            first = self.scene.frame_in(self.view, self.scene.reach(frames), self.page.size, inside)
            framings = [first.moved(box[0] - left, box[1] - top) for box in boxes]
            if not any(
                self._covers(framing, frame, title)
                for framing, frame, title in zip(framings, frames, titles, strict=True)
            ):
                break
        return framings

    def _covers(self, framing: Framing, frame: int, title: Block) -> bool:
        """Whether a body reaches into a panel's title."""
        x, y = framing.project(self.scene.reach([frame])).T
        edge = 6 * self.page.unit
        left, top, right, bottom = title.box
        return bool(((x > left - edge) & (x < right + edge) & (y > top - edge) & (y < bottom + edge)).any())

    def _title(self, moment: str, frame: int, box: Box) -> Block:
        """The moment's name and when it was."""
        sizes, inset = type_sizes(self.page.size), 18 * self.page.unit
        top = box[1] + 0.7 * inset
        name = set_line(MOMENT_WORDS[moment], (box[0] + inset, top), sizes.body, "SemiBold")
        lower = top + LEADING * sizes.body
        when = captions.since_plant(self.scene.swing, frame, brief=True)
        return Block((name, set_line(when, (box[0] + inset, lower), sizes.small, colour=MUTED)))
