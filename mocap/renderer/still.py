"""The still: one moment, one finding, the hitter over his reference."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.kinematics.swing_points import mid_hands
from mocap.output import replacing
from mocap.renderer import captions, guides
from mocap.renderer.ground import box_corners, draw_floor, paper
from mocap.renderer.lens import Box, silhouette
from mocap.renderer.margin import MarginNote, off_body, set_margin, set_rows
from mocap.renderer.page import Block, Page, draw_footer, set_footer, set_header
from mocap.renderer.placing import Placed, label_guides
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.style import INK, MUTED, type_sizes
from mocap.renderer.text import LEADING, Label, draw_labels, set_line, text_width
from mocap.renderer.view import Framing, View, find_view
from mocap.swing import MOMENTS, Swing

if TYPE_CHECKING:
    from PIL.Image import Image

#: Where the pitcher is, as seen in each view, for a right-handed hitter; a left-handed one is seen mirrored.
_PITCHER_IS = {"open side": "right", "three-quarter": "right", "above": "right"}

#: How many views of one moment a picture shows.
VIEW_COUNTS = (1, 2, 4)

#: How much of an upright picture's height its numbers take at most. This project's default.
_MOST_BELOW = 0.27
#: How much is left below the bodies where there are none.
_LEFT_BELOW = 0.16


class Drawn(Protocol):
    """A picture that is arranged and can be drawn."""

    def draw(self) -> Image:
        """The picture, mode RGB."""


def draw_still(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    moment: str = "plant",
    view: str | Sequence[str] = "open side",
    size: tuple[int, int] = (1920, 1080),
    units: Units = "metric",
    guides: str | Sequence[str] = "usual",
    beside: tuple[Comparison, Findings] | None = None,
) -> Path:
    """Draw one moment, the hitter over his reference, with its finding as the headline.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        PNG to write; an older one is replaced.
    moment : str
        One of `mocap.swing.MOMENTS`.
    view : str or sequence of str
        As `mocap.renderer.view.find_view`; two or four for several views in one picture.
    size : tuple of 2 ints
        Width and height. [px]
    units : {"metric", "imperial"}
    guides : str or sequence of str
        "usual", "all", "none", or names, see `mocap.renderer.guides.names_of`. The numbers of guides that are asked for
        then stand beside them, in place of those around the picture.
    beside : (Comparison, Findings) or None
        Another hitter, or the same on another day, shown side by side at the same moment.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        A view, guide or moment is not known, or the moment was not found in a swing, or there are three views, or
        several of two swings.
    RenderError
        This machine cannot draw.
    OutputError
        The file cannot be written.
    """
    views = [find_view(name) for name in ([view] if isinstance(view, str) else view)]
    scenes = [Scene(comparison, findings, units), *([Scene(*beside, units)] if beside else [])]
    still = _arranged(scenes, moment, views, size, guides)
    with replacing(target := Path(path)) as temporary:
        still.draw().save(temporary)
    return target


def _arranged(
    scenes: Sequence[Scene], moment: str, views: Sequence[View], size: tuple[int, int], asked: str | Sequence[str]
) -> Drawn:
    """The picture of one swing or two from one side or several."""
    frames = [frame_at(scene.swing, moment) for scene in scenes]
    if len(scenes) == 2:
        from mocap.renderer.side_by_side import SideBySide

        if len(views) != 1:
            raise OptionError(f"{len(views)} views of two swings do not fit into one picture; give one view")
        return SideBySide((scenes[0], scenes[1]), moment, (frames[0], frames[1]), views[0], size, asked)
    if len(views) == 1:
        return Still(scenes[0], moment, frames[0], views[0], size, asked)
    if len(views) in VIEW_COUNTS:
        from mocap.renderer.several_views import SeveralViews

        return SeveralViews(scenes[0], moment, frames[0], views, size, asked)
    raise OptionError(f"{len(views)} views do not fit into one picture; give one, two or four")


def frame_at(swing: Swing, moment: str) -> int:
    """The frame of a moment.

    Raises
    ------
    OptionError
        There is no such moment, or it was not found.
    """
    if moment not in MOMENTS:
        raise OptionError(f"moment {moment!r} is not known; known are {', '.join(MOMENTS)}")
    frame = swing.index(moment)
    if frame is None:
        raise OptionError(f"{moment} was not found in {swing.source}, so it cannot be drawn")
    return frame


class Still:
    """One moment's picture, arranged before it is drawn, so that its places can be checked.

    Parameters
    ----------
    scene : Scene
    moment : str
    frame : int
    view : View
    size : tuple of 2 ints
        [px]
    asked : str or sequence of str
        The guides, see `draw_still`.
    """

    def __init__(
        self,
        scene: Scene,
        moment: str,
        frame: int,
        view: View,
        size: tuple[int, int],
        asked: str | Sequence[str] = "usual",
    ) -> None:
        self.scene, self.moment, self.frame = scene, moment, frame
        self.page = page = Page(size)
        self.guides = guides_for(scene, moment, view, asked)
        bodies = scene.reach([frame], ground=not view.shows_horizon)
        self.content = np.concatenate([bodies, *(guide.reach(frame) for guide in self.guides)])
        self.said = self.headline()
        self.header = set_header(page, MOMENT_WORDS[moment], captions.who(scene.findings, scene.units), self.said)
        named = asked not in ("usual", "none")
        self.found = [] if named else self.numbers()
        place, self.notes = self._places()
        self.framing: Framing = scene.frame_in(view, self.content, size, place)
        if not page.upright:
            self.notes = self._margins() if page.wide else self._beside()
        self.footer = set_footer(self.page, self.framing, scene.units, seen_from(view, scene), scene.legend)
        self.bar_labels = self._bar_labels(told=named and self.said.measure != "back_share")
        self.placed = self._guide_labels() if named else []

    @cached_property
    def posed(self) -> Posed:
        """Both bodies, posed once for arranging and for drawing."""
        return next(self.scene.poses([self.frame]))

    def _hitter_covers(self) -> npt.NDArray[np.bool_]:
        return silhouette(self.framing, self.scene.hitter.faces, self.posed.hitter[0])

    def headline(self) -> captions.Headline:
        """What the picture states; where nothing is known of its moment, when that was."""
        said = captions.headline(self.scene.findings, self.moment, self.scene.units)
        if said.words or self.moment == "plant":
            return said
        when = captions.since_plant(self.scene.swing, self.frame)
        return captions.Headline(when[:1].upper() + when[1:], "", None, "")

    def numbers(self) -> list[captions.Callout]:
        """What stands around the bodies, the most important first."""
        return numbers_at(self.scene, self.moment, self.frame, self.said.measure)

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        numbers = [note.block for note in self.notes]
        return [
            self.header,
            self.footer,
            *numbers,
            *(Block((label,)) for label in self.bar_labels),
            *(Block(placed.labels) for placed in self.placed),
        ]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        size = self.page.size
        picture = paper(size)
        draw_floor(picture, self.framing, self.scene.plate_offset, (0, 0, *size))
        with Painter(self.scene) as painter:
            painter.aim(self.framing, [self.frame])
            painter.paint(picture, self.posed, self.guides, self.page.unit)
        for note in self.notes:
            note.draw(picture, self.page.unit)
        for placed in self.placed:
            placed.draw(picture, self.page.unit)
        self.header.draw(picture)
        draw_labels(picture, self.bar_labels)
        draw_footer(picture, self.page, self.footer, self.framing, self.scene.units)
        return picture

    def room_below(self) -> int:
        """What stands between the bodies and the numbers of an upright picture. [px]"""
        weighed = any(isinstance(guide, guides.WeightBar) for guide in self.guides)
        unit = self.page.unit
        return round(112 * unit + 3.0 * type_sizes(self.page.size).small) if weighed else round(60 * unit)

    def _places(self) -> tuple[Box, list[MarginNote]]:
        """Place for the bodies, and the numbers that stand below them in an upright picture."""
        page, found = self.page, self.found
        width, gap = page.size[0], round(30 * page.unit)
        if not page.upright:
            return page.bodies, []
        most = round(_MOST_BELOW * page.size[1])
        tried = set_rows(page, found, (page.margin, 0, width - page.margin, most), 2)
        height = max((note.block.box[3] for note in tried), default=0)
        top = page.foot_top - gap // 2 - height
        notes = set_rows(page, found, (page.margin, top, width - page.margin, page.foot_top), 2)[: len(tried)]
        below = self.room_below() if found else max(self.room_below(), round(_LEFT_BELOW * page.size[1]))
        return (page.margin, self.header.box[3] + gap, width - page.margin, top - below), notes

    def _beside(self) -> list[MarginNote]:
        """The numbers of a square picture, under its headline."""
        page = self.page
        top, right = self.header.box[3] + round(30 * page.unit), page.margin + page.header_width
        return set_rows(page, self.found, (page.margin, top, right, self._clear_of_ground()), 1)

    def _margins(self) -> list[MarginNote]:
        """The numbers of both margins of a wide picture."""
        anchors = [self._anchor(callout.anchor) for callout in self.found]
        low, high = self.framing.extent(self.content)
        page, gap = self.page, round(56 * self.page.unit)
        width, bottom = page.size[0], self._clear_of_ground()
        left = (page.margin, self.header.box[3] + gap, max(int(low[0]) - gap, page.margin), bottom)
        right = (min(int(high[0]) + gap, width - page.margin), page.margin, width - page.margin, bottom)
        middle_x = float(low[0] + high[0]) / 2.0
        at_left = [i for i, anchor in enumerate(anchors) if anchor is not None and anchor[0] < middle_x]
        notes = set_margin(page, [self.found[i] for i in at_left], [anchors[i] for i in at_left], left, from_right=True)
        over = at_left[len(notes) :]  # no room under the headline: on the other side, without a hairline over the body
        at_right = [i for i in range(len(anchors)) if i in over or i not in at_left]
        ends = [None if i in over else anchors[i] for i in at_right]
        notes += set_margin(page, [self.found[i] for i in at_right], ends, right, from_right=False)
        return off_body(notes, self._hitter_covers(), page.unit)

    def _clear_of_ground(self) -> int:
        """Lowest y for numbers beside the bodies: above the box's far line, so that type never lies on chalk. [px]"""
        far = self.scene.plate_offset + box_corners()
        top = float(self.framing.project(far)[:, 1].min()) if self.framing.view.shows_horizon else self.page.size[1]
        return min(self.page.bodies[3], int(top - 12 * self.page.unit))

    def _anchor(self, names: tuple[str, ...]) -> FloatArray | None:
        """Middle of the named points in the picture; None where they were not seen. [px]"""
        swing = self.scene.swing
        seen = []
        for name in names:
            if name == "zone_end":
                seen.append(self.scene.zone.path[-1] if self.scene.zone else np.full(3, np.nan))
            else:
                seen.append((mid_hands(swing) if name == "mid_hands" else swing[name])[self.frame])
        if not seen or not np.isfinite(seen).all():
            return None
        return self.framing.project(np.mean(seen, axis=0))

    def _bar_labels(self, *, told: bool) -> list[Label]:
        """Type of the weight bar, where it is drawn, with its number where that is to be `told`."""
        bar = next((guide for guide in self.guides if isinstance(guide, guides.WeightBar)), None)
        if bar is None:
            return []
        edge = self.page.margin // 2
        left = edge if self.page.wide or self.page.upright else self.page.margin + self.page.header_width
        words = bar.share_words(self.frame) if told else ""
        return bar_labels(bar, self.framing, self.frame, self.page, (left, self.page.size[0] - edge), words)

    def _guide_labels(self) -> list[Placed]:
        """The numbers of guides that were asked for by name, beside their lines and off the bodies."""
        solid = guides.strokes(self.guides, self.framing, self.frame, self.page.unit)
        body = self._hitter_covers()
        solid |= body | silhouette(self.framing, self.scene.reference.faces, self.posed.reference[0])
        taken = [block.box for block in (self.header, self.footer, *(Block((label,)) for label in self.bar_labels))]
        drawn = [guide for guide in self.guides if not self._is_told(guide)]
        return label_guides(drawn, self.framing, self.frame, solid, taken, type_sizes(self.page.size).small, body)

    def _is_told(self, guide: guides.Guide) -> bool:
        """Whether a guide's number stands in the headline already, or under the weight bar."""
        label = guide.label(self.frame)
        if label is None or not isinstance(guide, guides.WeightBar):
            return False
        under = any(label.words.startswith(guide.share_words(self.frame)) for label in self.bar_labels)
        return under or label.measure == self.said.measure


def bar_labels(
    bar: guides.WeightBar, framing: Framing, frame: int, page: Page, between: tuple[int, int], told: str = ""
) -> list[Label]:
    """Names at the ends of the weight bar, or under them where there is no room, and the words under it. [px]"""
    back_x, front_x, y = bar.bar(framing, page.unit, frame)
    if not np.isfinite([back_x, front_x, y]).all():
        return []
    small, gap = type_sizes(page.size).small, 20 * page.unit
    (left_x, left), (right_x, right) = sorted(((back_x, "back foot"), (front_x, "front foot")))
    top, below = y - 0.63 * small, y + 0.8 * small
    middle, colour = front_x + bar.middle * (back_x - front_x), INK if told else MUTED
    names = [
        set_line(left, (left_x - gap, top), small, colour=MUTED, anchor="right"),
        set_line(right, (right_x + gap, top), small, colour=MUTED),
    ]
    if names[0].box[0] >= between[0] and names[1].box[2] <= between[1]:
        words = bar.band_words(told)
        return [*names, *([set_line(words, (middle, below), small, colour=colour, anchor="middle")] if words else [])]
    names = [
        set_line(left, (left_x, below), small, colour=MUTED),
        set_line(right, (right_x, below), small, colour=MUTED, anchor="right"),
    ]
    shown = names if names[0].box[2] + gap < names[1].box[0] else []
    if not told:
        return shown
    room = between[1] - between[0]
    words = next((w for w in (bar.band_words(told), f"{told} on the back foot") if text_width(w, small) < room), told)
    half = text_width(words, small) / 2.0 + 1.0
    middle = float(np.clip(middle, between[0] + half, between[1] - half))
    under = below + LEADING * small if shown else below
    if under + LEADING * small > page.foot_top:  # room for one line: the number goes before the names
        shown, under = [], below
    return [*shown, set_line(words, (middle, under), small, colour=INK, anchor="middle")]


def numbers_at(scene: Scene, moment: str, frame: int, stated: str) -> list[captions.Callout]:
    """The numbers of a moment, and the joints that are furthest from the reference's where there are few."""
    most = captions.MOST_CALLOUTS
    found = captions.callouts(scene.findings, moment, scene.units, stated)
    if moment == "plant":
        return [*found[: most - 1], *captions.furthest(scene.comparison)]
    if len(found) < most - 2:
        found += captions.furthest_at(scene.comparison, frame, scene.units, most - 2 - len(found))
    return found


def seen_from(view: View, scene: Scene) -> list[str]:
    """The view in words, and what the picture had to assume."""
    words = f"from {view.name}" if view.name in ("above",) else f"from the {view.name}"
    notes = [words]
    if view.name == "three-quarter":
        notes = ["three-quarter view"]
    elif view.name.startswith("free view"):
        notes = [view.name]
    side = _PITCHER_IS.get(view.name)
    if side is not None:
        notes.append(f"pitcher to the {'left' if scene.swing.mirrored else side}")
    if not scene.swing.plate_known:
        notes.append("plate's place assumed")
    return notes


def guides_for(
    scene: Scene, moment: str, view: View, asked: str | Sequence[str], *, in_panel: bool = False
) -> list[guides.Guide]:
    """The guides asked for, see `mocap.renderer.guides.chosen`.

    In a panel, which has no room under the feet, the weight bar is shown only where it is asked for by name.

    Raises
    ------
    OptionError
        A name is not known.
    """
    chosen = guides.chosen(asked, scene, moment, view)
    if in_panel and asked in ("usual", "all"):
        return [guide for guide in chosen if guide.name != "weight"]
    return chosen
