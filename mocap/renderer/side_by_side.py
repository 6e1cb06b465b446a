"""Two hitters, or two days of one, side by side at one moment and one scale, and the numbers in which they differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from mocap.display import MOMENT_WORDS, Units
from mocap.findings import REACH, Check, Findings, Measure, Verdict
from mocap.renderer import captions
from mocap.renderer.ground import paper
from mocap.renderer.page import Block, Mark, Page, draw_footer, set_footer, set_header
from mocap.renderer.panel_page import draw_panels, panel_place, reach_of, set_titled_panels
from mocap.renderer.scene import Scene
from mocap.renderer.still import guides_for, seen_from
from mocap.renderer.style import MUTED, type_sizes
from mocap.renderer.text import LEADING, Label, set_lines
from mocap.renderer.view import View

if TYPE_CHECKING:
    from PIL.Image import Image

#: Rows of numbers at most.
MOST_ROWS = 6
_MOST_BELOW = 0.24  # of an upright picture's height, at most, is rows


@dataclass(frozen=True)
class Row:
    """One number of both.

    Attributes
    ----------
    label : str
    values : tuple of 2 str
    verdicts : tuple of 2 Verdict or None
    """

    label: str
    values: tuple[str, str]
    verdicts: tuple[Verdict | None, Verdict | None]


class SideBySide:
    """Two swings, arranged before they are drawn.

    Parameters
    ----------
    scenes : tuple of 2 Scene
    moment : str
    frames : tuple of 2 ints
        The moment in each.
    view : View
    size : tuple of 2 ints
        [px]
    asked : str or sequence of str
        The guides, see `mocap.renderer.still.draw_still`.
    """

    def __init__(
        self,
        scenes: tuple[Scene, Scene],
        moment: str,
        frames: tuple[int, int],
        view: View,
        size: tuple[int, int],
        asked: str | Sequence[str] = "usual",
    ) -> None:
        self.scenes, self.frames = scenes, frames
        self.page = page = Page(size, stacked=True)
        units = scenes[0].units
        self.names = names_of(scenes)
        rows = rows_of(scenes[0].findings, scenes[1].findings, moment, units)
        said = captions.Headline("No number differs by more than its plus-minus", "", None, "")
        if rows:
            said = captions.Headline(rows[0].label, "", None, "")  # its values follow, each with its mark
        self.header = set_header(page, MOMENT_WORDS[moment], both_names(self.names), said)
        self.rows = self._set_rows(rows)
        self.guides = [guides_for(scene, moment, view, asked, in_panel=True) for scene in scenes]
        below = self.rows[-1].box[3] - self.rows[0].box[1] + round(30 * page.unit) if self.rows and page.upright else 0
        self.panels, self.titles = set_titled_panels(
            page,
            [(scene, view) for scene in scenes],
            frames,
            [(name, captions.build(scene.findings, units)) for name, scene in zip(self.names, scenes, strict=True)],
            panel_place(page, self.header, below),
            [reach_of(chosen, frame) for chosen, frame in zip(self.guides, frames, strict=True)],
        )
        legend = (scenes[0].legend[0], scenes[0].legend[1].replace("same height", "each at the hitter's height"))
        notes = ["one scale", seen_from(view, scenes[0])[0]]
        self.footer = set_footer(page, self.panels[0].framing, units, notes, legend)

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        return [self.header, self.footer, *self.titles, *self.rows]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        picture = paper(self.page.size)
        posed = [next(scene.poses([frame])) for scene, frame in zip(self.scenes, self.frames, strict=True)]
        draw_panels(picture, self.page, self.panels, posed, self.guides)
        for block in (self.header, *self.titles, *self.rows):
            block.draw(picture)
        draw_footer(picture, self.page, self.footer, self.panels[0].framing, self.scenes[0].units)
        return picture

    def _set_rows(self, rows: Sequence[Row]) -> list[Block]:
        """The rows that there is room for: under the headline, in an upright picture above the foot line."""
        page, gap = self.page, round(18 * self.page.unit)
        bottom = page.foot_top - gap
        if not page.upright:
            return self._stack(rows, self.header.box[3] + round(14 * page.unit), bottom)
        blocks = self._stack(rows, 0, round(_MOST_BELOW * page.size[1]))
        height = max((block.box[3] for block in blocks), default=0)
        return self._stack(rows[: len(blocks)], bottom - height, bottom + gap)

    def _stack(self, rows: Sequence[Row], top: float, bottom: float) -> list[Block]:
        """Rows under one another as long as there is room."""
        page = self.page
        sizes = type_sizes(page.size)
        blocks: list[Block] = []
        y = top
        for row in rows:
            labels: list[Label] = []
            marks: list[Mark] = []
            under = y
            if page.upright or blocks:  # else its label is the headline
                labels += set_lines(
                    row.label, (page.margin, y), page.header_width, sizes.small, colour=MUTED, balanced=True
                )
                under = labels[-1].top + LEADING * sizes.small
            for place in (0, 1):
                value, value_marks = self._value(row, place, under)
                labels += value
                marks += value_marks
                under = under if page.upright else value[-1].top + LEADING * sizes.body
            block = Block(tuple(labels), tuple(marks))
            if block.box[3] > bottom:
                break
            blocks.append(block)
            y = block.box[3] + 12 * page.unit
        return blocks

    def _value(self, row: Row, place: int, y: float) -> tuple[list[Label], list[Mark]]:
        """One hitter's number: in an upright picture beside the other one, as the panels stand, else named."""
        page = self.page
        size, verdict = type_sizes(page.size).body, row.verdicts[place]
        x, width, words = float(page.margin), float(page.header_width), f"{self.names[place]}: {row.values[place]}"
        if page.upright:
            width /= 2.0
            x, width, words = x + place * width, width - size / 2.0, row.values[place]
        indent = 1.15 * size if verdict is not None else 0.0
        labels = set_lines(words, (x + indent, y), width - indent, size, "SemiBold")
        if verdict is None:
            return labels, []
        return labels, [Mark(verdict, (x + 0.38 * size, y + 0.63 * size), 0.34 * size)]


def both_names(names: Sequence[str]) -> str:
    """Both names in one line; of one hitter's two days his name once."""
    hitters = [name.partition(", ")[0] for name in names]
    second = names[1].partition(", ")[2] if hitters[0] == hitters[1] else names[1]
    return f"{names[0]} against {second or names[1]}"


def names_of(scenes: Sequence[Scene]) -> tuple[str, ...]:
    """The hitters' names; of one and the same hitter with the recordings' names."""
    names = [scene.findings.hitter.name or "Hitter" for scene in scenes]
    if len(set(names)) == len(names):
        return tuple(names)
    return tuple(f"{name}, {Path(scene.swing.source).stem}" for name, scene in zip(names, scenes, strict=True))


def rows_of(first: Findings, second: Findings, moment: str, units: Units) -> list[Row]:
    """The checked numbers that differ, those of the moment before all others, the greatest difference first.

    Two numbers differ where their distance is more than the 95 % interval of it. What is greatest is told by the
    limits: a difference counts in widths of the band that is good, or, where that has one end, in sizes of that end.
    """
    found: list[tuple[bool, float, Row]] = []
    checks = {check.measure: check for check in second.checks}
    for check in first.checks:
        one, other = first.measures.get(check.measure), second.measures.get(check.measure)
        if one is None or other is None or not _differ(one, other):
            continue
        values = tuple(captions.value_words(measure, units, brief=True) for measure in (one, other))
        opposite = checks.get(check.measure)
        row = Row(one.label, (values[0], values[1]), (check.verdict, opposite.verdict if opposite else None))
        found.append((one.moment.split(" ")[-1] != moment, -_size(one, other, check), row))
    return [row for _, _, row in sorted(found, key=lambda entry: entry[:2])[:MOST_ROWS]]


def _differ(one: Measure, other: Measure) -> bool:
    if not (isinstance(one.value, float) and isinstance(other.value, float)):
        return False
    return abs(one.value - other.value) > REACH * math.hypot(one.sd or 0.0, other.sd or 0.0)


def _size(one: Measure, other: Measure, check: Check) -> float:
    """How large a difference is beside what its limits tell apart. [-]"""
    assert isinstance(one.value, float)
    assert isinstance(other.value, float)
    ends = [end for end in check.good if isinstance(end, float) and math.isfinite(end)]
    scale = abs(ends[-1] - ends[0]) if len(ends) == 2 else abs(ends[0]) if ends else 0.0
    return abs(one.value - other.value) / scale if scale else 0.0
