"""How a film is arranged: caption, bodies, strip and foot line in wide, square and upright pictures.

A wide film has its caption to the left of the bodies; a square or upright one has it above them, in type that can be
read on a phone held upright.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from mocap.display import Units
from mocap.findings import Findings, Verdict
from mocap.renderer.captions import Headline, checks_at, finding_words, verdict_words
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Mark, Page, scale_bar
from mocap.renderer.style import INK, MUTED, Colour, Type, grown, type_sizes
from mocap.renderer.text import LEADING, Label, Weight, set_line, set_lines, text_width, wrap
from mocap.renderer.view import Framing

_SMALLEST_PX = 13  # below that no letter keeps its shape (common practice, no source)

#: What a list of checks under a headline has room for.
MOST_CHECKS = 3
#: Lines of a headline, at most: bodies need the height.
MOST_LINES = 3


def film_type(size: tuple[int, int]) -> Type:
    """Type sizes for a film of that size: those of any picture, but large enough to be letters. [px]"""
    sizes = type_sizes(size)
    return sizes if sizes.small >= _SMALLEST_PX else grown(sizes, _SMALLEST_PX)


@dataclass(frozen=True)
class Finding:
    """One line of a caption, with its verdict's mark before it, and what it tells."""

    words: str
    verdict: Verdict | None
    measure: str


@dataclass(frozen=True)
class Caption:
    """What stands beside the bodies in one picture of a film.

    Attributes
    ----------
    moment : str
        Title: the latest moment.
    who, when, speed : str
        Hitter, time from foot-plant and slowness; `when` may be empty.
    said : Headline
        Finding of a held moment; its words may be empty.
    findings : tuple of Finding
        What else is found there.
    """

    moment: str
    who: str
    when: str
    speed: str
    said: Headline
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class FilmPage:
    """Places in a film of one size. [px]

    Attributes
    ----------
    size : tuple of 2 ints
    brief : bool
        Whether the caption names only moment, time and speed, and so needs less room beside the bodies.
    """

    size: tuple[int, int]
    brief: bool = False

    @cached_property
    def page(self) -> Page:
        """The still's places, whose unit and foot line a film shares."""
        return Page(self.size)

    @cached_property
    def type(self) -> Type:
        """Type sizes."""
        return film_type(self.size)

    @property
    def unit(self) -> float:
        """Pixels per design pixel."""
        return self.page.unit

    @property
    def margin(self) -> int:
        """Empty edge to the left and right."""
        return self.page.margin if self.page.wide else round(0.045 * self.size[0])

    @property
    def top(self) -> int:
        """Where the caption begins."""
        return round((62 if self.page.wide else 44) * self.unit)

    @property
    def column(self) -> int:
        """Room for the caption across."""
        if not self.page.wide:
            return self.size[0] - 2 * self.margin
        return round(max((330 if self.brief else 520) * self.unit, (10 if self.brief else 13.5) * self.type.small))

    @property
    def foot_top(self) -> int:
        """Upper edge of the foot line."""
        line = LEADING * self.type.small
        return self.size[1] - round(max(78 * self.unit, line + 26 * self.unit))

    @property
    def strip_y(self) -> float:
        """Middle of the strip: its names fit between it and the foot line."""
        return self.foot_top - max(54 * self.unit, LEADING * self.type.small + 19 * self.unit)

    @property
    def floor_y(self) -> int:
        """Where the nearer foot stands: the weight bar and the strip's upper names fit below it."""
        names = LEADING * self.type.small + 13 * self.unit
        return round(self.strip_y - names - 96 * self.unit - 2.1 * self.type.small)

    def bodies(self, caption_bottom: int) -> Box:
        """Place for the bodies through a whole swing."""
        width = self.size[0]
        if self.page.wide:
            left = self.margin + self.column - round(32 * self.unit)
            return left, round(56 * self.unit), width - self.margin, self.floor_y
        return self.margin, caption_bottom + round(20 * self.unit), width - self.margin, self.floor_y

    def panels(self, caption_bottom: int) -> Box:
        """Place for several panels."""
        left, top, right, _ = self.bodies(caption_bottom)
        bottom = round(self.strip_y - LEADING * self.type.small - 34 * self.unit)
        if self.page.wide:
            return left + round(56 * self.unit), round(44 * self.unit), right, bottom
        return left, top, right, bottom

    @property
    def caption_end(self) -> int:
        """Lowest y of a caption: in wide films the strip's names, else what leaves the bodies most of the height."""
        names = round(self.strip_y - LEADING * self.type.small - 24 * self.unit)
        most = 0.36 if self.page.upright else 0.28  # this project's defaults; a square's height is what bodies lack
        return names if self.page.wide else min(names, round(most * self.size[1]))


class _Column:
    """Lines set one under another."""

    def __init__(self, left: float, top: float, width: float) -> None:
        self.left, self.y, self.width = left, top, width
        self.labels: list[Label] = []
        self.marks: list[Mark] = []

    def add(
        self, words: str, size: int, weight: Weight = "Regular", colour: Colour = INK, *, balanced: bool = False
    ) -> None:
        """A sentence, broken where it is too long."""
        if words:
            self.labels += set_lines(words, (self.left, self.y), self.width, size, weight, colour, balanced=balanced)
            self.y = self.labels[-1].top + LEADING * size

    def add_pair(self, first: str, second: str, size: int, second_size: int, weight: Weight) -> None:
        """Two words at the ends of one line; under one another where they do not fit."""
        room = self.width - text_width(first, size, weight) - 1.2 * size
        if text_width(second, second_size) > room:
            self.add(first, size, weight, INK if weight == "SemiBold" else MUTED)
            self.add(second, second_size, colour=MUTED)
            return
        self.labels.append(set_line(first, (self.left, self.y), size, weight, INK if weight == "SemiBold" else MUTED))
        if second:
            drop = 0.97 * (size - second_size)  # both on one baseline
            place = (self.left + self.width, self.y + drop)
            self.labels.append(set_line(second, place, second_size, colour=MUTED, anchor="right"))
        self.y += LEADING * size

    def add_marked(self, words: str, verdict: Verdict | None, size: int) -> None:
        """A sentence with its verdict's mark before its first line."""
        indent = 1.15 * size if verdict is not None else 0.0
        place, top = (self.left + indent, self.y), self.y
        self.labels += set_lines(words, place, self.width - indent, size)
        if verdict is not None:
            self.marks.append(Mark(verdict, (self.left + 0.38 * size, top + 0.63 * size), 0.34 * size))
        self.y = self.labels[-1].top + LEADING * size

    @property
    def block(self) -> Block:
        """All of it."""
        return Block(tuple(self.labels), tuple(self.marks))


def fitting_caption(page: FilmPage, caption: Caption) -> Caption:
    """The same with no more findings than there is room for."""
    for count in range(min(len(caption.findings), MOST_CHECKS), -1, -1):
        fewer = replace(caption, findings=caption.findings[:count])
        if not caption.findings or _caption(page, fewer).box[3] <= page.caption_end:
            break
    return fewer


def set_caption(page: FilmPage, caption: Caption) -> Block:
    """Moment, hitter and speed, and the finding of a held moment; as many of its findings as there is room for."""
    return _caption(page, fitting_caption(page, caption))


def _caption(page: FilmPage, caption: Caption) -> Block:
    sizes, said = page.type, caption.said
    column = _Column(page.margin, page.top, page.column)
    if page.page.wide:
        column.add(caption.moment, sizes.title, "SemiBold")
        for line in (caption.who, caption.when, caption.speed):
            column.add(line, sizes.small, colour=MUTED, balanced=True)
    else:
        column.add_pair(caption.moment, caption.speed, sizes.title, sizes.small, "SemiBold")
        column.add_pair(caption.who, caption.when, sizes.small, sizes.small, "Regular")
    column.y += (26 if page.page.wide else 12) * page.unit
    size, words = fitted_headline(said.words, page.column, sizes)
    column.add(words, size, "SemiBold", balanced=True)
    if said.detail:
        column.y += 6 * page.unit
        column.add_marked(said.detail, said.verdict, sizes.body)
    if caption.findings:
        column.y += (22 if page.page.wide else 8) * page.unit
    for finding in caption.findings:
        column.add_marked(finding.words, finding.verdict, sizes.small)
        column.y += 8 * page.unit
    return column.block


def fitted_headline(words: str, width: float, sizes: Type) -> tuple[int, str]:
    """Type size [px] and words of a headline of three lines: smaller where long, in four, else cut between words."""
    for share, lines in ((1.0, MOST_LINES), (0.85, MOST_LINES), (0.85, MOST_LINES + 1)):
        size = max(round(share * sizes.headline), sizes.value)
        if len(wrap(words, width, size, "SemiBold")) <= lines:
            return size, words
    kept = words.split(" ")
    while len(kept) > 1 and len(wrap(" ".join(kept) + "\N{HORIZONTAL ELLIPSIS}", width, size, "SemiBold")) > lines:
        kept.pop()
    return size, " ".join(kept).rstrip(",;:") + "\N{HORIZONTAL ELLIPSIS}"


def set_panel_title(page: FilmPage, box: Box, title: str, said: Headline | None = None) -> Block:
    """A panel's name in its upper left corner, and under it, where the film stands still, what is found there."""
    inset = round(18 * page.unit)
    column = _Column(box[0] + inset, box[1] + inset / 2, box[2] - box[0] - 2 * inset)
    column.add(title, page.type.small, "SemiBold")
    if said is not None and said.words:
        column.add_marked(said.words, said.verdict, page.type.small)
    return column.block


def set_film_footer(page: FilmPage, framing: Framing, units: Units, notes: Sequence[str], reference: str) -> Block:
    """Legend to the left; scale and as many notes as there is room for to the right, the first the most important.

    Labels lie in the order that `mocap.renderer.page.draw_footer` wants: scale, hitter, reference, notes.
    """
    size, one, y = page.type.small, page.unit, float(page.foot_top)
    scale_words, length = scale_bar(framing, units)
    scale = set_line(scale_words, (page.size[0] - page.margin, y), size, colour=MUTED, anchor="right")
    right = scale.left - length - 52 * one
    hitter = set_line("Hitter", (page.margin + 46 * one, y), size)
    start = hitter.box[2] + 74 * one
    names = (reference, reference.partition(",")[0], "Reference")
    for count in range(len(notes), 0, -1):
        note = set_line(", ".join(notes[:count]), (right, y), size, colour=MUTED, anchor="right")
        for name in names:
            other = set_line(name, (start, y), size)
            if note.left > other.box[2] + 32 * one:
                return Block((scale, hitter, other, note))
    name = next((name for name in names if start + text_width(name, size) <= right), "Reference")
    return Block((scale, hitter, set_line(name, (start, y), size)))


def found_at(findings: Findings, moment: str, units: Units, stated: str) -> tuple[Finding, ...]:
    """What is off, then what is near, among the checks of a moment; the headline's own (`stated`) left out."""
    found = []
    for check in checks_at(findings, moment):
        if check.verdict in ("off", "near") and check.measure != stated:
            _, words = finding_words(findings, check.measure, units)
            found.append(Finding(f"{words} ({verdict_words(findings, check, units)})", check.verdict, check.measure))
    return tuple(found)
