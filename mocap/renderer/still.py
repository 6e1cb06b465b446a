"""The still: one moment, one finding, the hitter over his reference."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.kinematics.swing_points import mid_hands
from mocap.output import replacing
from mocap.renderer import captions, guides
from mocap.renderer.ground import box_corners, draw_floor, paper
from mocap.renderer.margin import MarginNote, set_margin
from mocap.renderer.page import (
    Block,
    Page,
    draw_footer,
    set_footer,
    set_header,
)
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.style import MUTED, type_sizes
from mocap.renderer.text import Label, draw_labels, set_line
from mocap.renderer.view import Framing, View, find_view
from mocap.swing import MOMENTS

if TYPE_CHECKING:
    from PIL.Image import Image

#: Where the pitcher is, as seen in each view, for a right-handed hitter; a left-handed one is seen mirrored.
_PITCHER_IS = {"open side": "right", "three-quarter": "right", "above": "right"}


def draw_still(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    moment: str = "plant",
    view: str = "open side",
    size: tuple[int, int] = (1920, 1080),
    units: Units = "metric",
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
    view : str
        One of `mocap.renderer.view.VIEWS`.
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
        The view or the moment is not known, or the moment was not found in this swing.
    RenderError
        This machine cannot draw.
    OutputError
        The file cannot be written.
    """
    chosen = find_view(view)
    if moment not in MOMENTS:
        raise OptionError(f"moment {moment!r} is not known; known are {', '.join(MOMENTS)}")
    frame = comparison.swing.index(moment)
    if frame is None:
        raise OptionError(f"{moment} was not found in {comparison.swing.source}, so it cannot be drawn")
    still = Still(Scene(comparison, findings, units), moment, frame, chosen, size)
    with replacing(target := Path(path)) as temporary:
        still.draw().save(temporary)
    return target


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
    """

    def __init__(self, scene: Scene, moment: str, frame: int, view: View, size: tuple[int, int]) -> None:
        self.scene, self.moment, self.frame = scene, moment, frame
        self.page = Page(size)
        self.guides = guides_at(scene, moment, view)
        bodies = scene.reach([frame], ground=not view.shows_horizon)
        self.content = np.concatenate([bodies, *(guide.reach(frame) for guide in self.guides)])
        self.framing: Framing = scene.frame_in(view, self.content, size, self.page.bodies)
        self.said = captions.headline(scene.findings, moment, scene.units)
        self.header = set_header(self.page, MOMENT_WORDS[moment], captions.who(scene.findings, scene.units), self.said)
        self.footer = set_footer(self.page, self.framing, scene.units, seen_from(view, scene), scene.legend)
        self.notes = self._margins()
        self.bar_labels = self._bar_labels()

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        numbers = [note.block for note in self.notes]
        return [self.header, self.footer, *numbers, *(Block((label,)) for label in self.bar_labels)]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        size = self.page.size
        picture = paper(size)
        draw_floor(picture, self.framing, self.scene.plate_offset, (0, 0, *size))
        with Painter(self.scene) as painter:
            painter.aim(self.framing, [self.frame])
            posed = next(self.scene.poses([self.frame]))
            painter.paint(picture, posed, self.guides, self.page.unit)
        for note in self.notes:
            note.draw(picture, self.page.unit)
        self.header.draw(picture)
        draw_labels(picture, self.bar_labels)
        draw_footer(picture, self.page, self.footer, self.framing, self.scene.units)
        return picture

    def _margins(self) -> list[MarginNote]:
        """The numbers of both margins."""
        found = captions.callouts(self.scene.findings, self.moment, self.scene.units, self.said.measure)
        if self.moment == "plant":
            found = [*found[: captions.MOST_CALLOUTS - 1], *captions.furthest(self.scene.comparison)]
        anchors = [self._anchor(callout.anchor) for callout in found]
        low, high = self.framing.extent(self.content)
        page, gap = self.page, round(56 * self.page.unit)
        width, bottom = page.size[0], self._clear_of_ground()
        left = (page.margin, self.header.box[3] + gap, max(int(low[0]) - gap, page.margin), bottom)
        right = (min(int(high[0]) + gap, width - page.margin), page.margin, width - page.margin, bottom)
        if not page.wide:
            top, middle = page.bodies[3] + round(150 * page.unit), width // 2
            left = (page.margin, top, middle - gap // 2, page.foot_top - gap // 2)
            right = (middle + gap // 2, top, width - page.margin, page.foot_top - gap // 2)
        middle_x = float(low[0] + high[0]) / 2.0
        notes: list[MarginNote] = []
        for is_left, column in ((True, left), (False, right)):
            chosen = [i for i in range(len(found)) if self._goes_left(i, anchors[i], middle_x) == is_left]
            ends = [anchors[i] if page.wide else None for i in chosen]
            notes += set_margin(page, [found[i] for i in chosen], ends, column, from_right=is_left and page.wide)
        return notes

    def _goes_left(self, place: int, anchor: FloatArray | None, middle_x: float) -> bool:
        """Whether a number stands in the left margin: on its anchor's side, in upright pictures by turns."""
        if not self.page.wide:
            return place % 2 == 0
        return anchor is not None and float(anchor[0]) < middle_x

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

    def _bar_labels(self) -> list[Label]:
        """Type of the weight bar, where it is drawn."""
        bar = next((guide for guide in self.guides if isinstance(guide, guides.WeightBar)), None)
        return [] if bar is None else bar_labels(bar, self.framing, self.frame, self.page)


def bar_labels(bar: guides.WeightBar, framing: Framing, frame: int, page: Page) -> list[Label]:
    """Names at the ends of the weight bar, and its band's."""
    back_x, front_x, y = bar.bar(framing, page.unit, frame)
    if not np.isfinite([back_x, front_x, y]).all():
        return []
    small, gap = type_sizes(page.size).small, 20 * page.unit
    top = y - 0.63 * small
    ends = sorted(((back_x, "back foot"), (front_x, "front foot")))
    labels = [
        set_line(ends[0][1], (ends[0][0] - gap, top), small, colour=MUTED, anchor="right"),
        set_line(ends[1][1], (ends[1][0] + gap, top), small, colour=MUTED),
    ]
    if bar.band is not None:
        low, high = (f"{100 * share:g}" for share in bar.band)
        middle = front_x + sum(bar.band) / 2.0 * (back_x - front_x)
        words = f"good: {low}\N{EN DASH}{high} % on the back foot"
        labels.append(set_line(words, (middle, y + 0.8 * small), small, colour=MUTED, anchor="middle"))
    return labels


def seen_from(view: View, scene: Scene) -> list[str]:
    """The view in words, and what the picture had to assume."""
    words = f"seen from {view.name}" if view.name in ("above",) else f"seen from the {view.name}"
    notes = [words]
    if view.name == "three-quarter":
        notes = ["three-quarter view"]
    side = _PITCHER_IS.get(view.name)
    if side is not None:
        notes.append(f"pitcher to the {'left' if scene.swing.mirrored else side}")
    if not scene.swing.plate_known:
        notes.append("plate's place assumed")
    return notes


def guides_at(scene: Scene, moment: str, view: View, *, labelled: bool = True) -> list[guides.Guide]:
    """The few guides that belong to a moment's picture; without those that need type where it has no room for it."""
    comparison, findings = scene.comparison, scene.findings
    chosen: list[guides.Guide] = []
    if labelled and moment == "contact":
        chosen.append(guides.HandsPath(comparison))
    if moment == "plant":
        chosen.append(guides.SeparationLine(comparison))
    if moment in ("contact", "extension") and scene.zone is not None:
        chosen.append(guides.HittingZone(scene.zone))
    if view.name != "above":
        since = scene.swing.index("plant") if labelled and moment == "contact" else None
        chosen.append(guides.BodyAxis(comparison, since))
    if labelled and moment == "plant" and view.name == "open side":
        chosen.append(guides.WeightBar(comparison, findings))
    return chosen
