"""The overlay film: the whole swing in slow motion, held at foot-plant and contact with what is found there."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import captions, tempo
from mocap.renderer.encoder import Encoder, fitting
from mocap.renderer.film_guides import WITHOUT_WEIGHT, FilmGuides, covered, has_weight, reach_of_guides
from mocap.renderer.film_page import (
    Caption,
    FilmPage,
    Finding,
    fitting_caption,
    found_at,
    set_caption,
    set_film_footer,
    set_panel_title,
)
from mocap.renderer.ground import draw_floor, paper
from mocap.renderer.layers import Layer
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, draw_footer
from mocap.renderer.panels import Panel, grid, set_panels
from mocap.renderer.placing import Placed
from mocap.renderer.retiming import in_step
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.still import seen_from
from mocap.renderer.tempo import Shot, Tempo, slower_words
from mocap.renderer.timeline import Timeline
from mocap.renderer.title_card import TITLE_S, Card
from mocap.renderer.view import View, find_view
from mocap.swing import Swing

if TYPE_CHECKING:
    from contextlib import ExitStack

    from PIL.Image import Image

__all__ = ["Film", "FilmSetup", "Shot", "draw_film", "slower_words", "views_of"]

Progress = Callable[[int, int], None]
Shown = tuple[Comparison, Findings]

_SMALLEST_PX = 270  # of a film's shorter side
_GAP = 28  # between panels [design px]
_RAISED = 0.35  # share of the free height above the bodies that is moved below them
_PANEL_GUIDES = 0.72  # guides in one of several panels, over their usual width


def draw_film(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    size: tuple[int, int] = (1920, 1080),
    fps: int = 30,
    units: Units = "metric",
    view: str | Sequence[str] = "open side",
    guides: str | Sequence[str] = "usual",
    speed: float | None = None,
    slow: float = tempo.SLOW,
    hold_s: float = tempo.HOLD_S,
    moments: Sequence[str] = tempo.HELD_MOMENTS,
    beside: Shown | None = None,
    title: str | None = None,
    progress: Progress | None = None,
) -> Path:
    """Film the swing, hitter over reference, synchronised by moments.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        MP4 to write, or a GIF or WebP for a chat, made no larger and quicker than `encoder.CHAT_SIDE` and `CHAT_FPS`;
        an older file is replaced.
    size, fps, units, view, guides
        See `FilmSetup`; views are named as in `mocap.renderer.view.find_view`.
    speed, slow, hold_s, moments
        See `mocap.renderer.tempo.Tempo`.
    beside : tuple of Comparison and Findings, or None
        Another swing, shown side by side, in step from moment to moment.
    title : str or None
        Of a card that opens the film; further lines of it are set below.
    progress : callable or None
        Called with video frames written and their number in all.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        A size, rate, speed, suffix, view, guide or moment that cannot be filmed.
    RenderError, OutputError
        This machine cannot draw or encode; the file cannot be written.
    """
    target = Path(path)
    fitted, rate = fitting(target, size, fps)
    views = views_of(view, beside=beside is not None)
    wanted = FilmSetup(fitted, rate, units, views, guides, Tempo(speed, slow, hold_s, tuple(moments)))
    with replacing(target) as temporary:
        film = Film((comparison, findings), wanted, beside)
        _write(film, Card(fitted, title) if title else None, temporary, progress)
    return target


def _write(film: Film, card: Card | None, path: Path, progress: Progress | None) -> None:
    """A card and a film after it, as a video."""
    size, rate = film.setup.size, film.setup.fps
    written = round(TITLE_S * rate) if card else 0
    total = written + tempo.frame_count(film.shots)
    with Encoder(path, size, rate) as encoder, closing(film.pictures()) as pictures:
        if card:
            encoder.write(card.draw().tobytes(), written)
        for picture, times in pictures:
            encoder.write(picture.tobytes(), times)
            written += times
            if progress is not None:
                progress(written, total)


@dataclass(frozen=True)
class FilmSetup:
    """How films are made.

    Attributes
    ----------
    size : tuple of 2 ints
        Width and height, even numbers: wide, square or upright. [px]
    fps : int
        [1/s]
    units : {"metric", "imperial"}
    views : tuple of View
        One, two or four, shown in one picture.
    guides : str or sequence of str
        "usual", "all", "none", or names.
    tempo : Tempo

    Raises
    ------
    OptionError
        The size is too small for type that can be read.
    """

    size: tuple[int, int]
    fps: int = 30
    units: Units = "metric"
    views: tuple[View, ...] = field(default_factory=lambda: (find_view("open side"),))
    guides: str | Sequence[str] = "usual"
    tempo: Tempo = field(default_factory=Tempo)

    def __post_init__(self) -> None:
        if min(self.size) < _SMALLEST_PX:
            width, height = self.size
            raise OptionError(f"size {width}x{height} is too small for a film's type; give at least 480x270")


def views_of(asked: str | Sequence[str], *, beside: bool = False) -> tuple[View, ...]:
    """The views of a film.

    Raises
    ------
    OptionError
        One is not known, or they do not make one, two or four panels.
    """
    views = tuple(find_view(name) for name in ([asked] if isinstance(asked, str) else asked))
    if len(views) * (1 + beside) not in (1, 2, 4):
        each = "one or two views of each of two swings" if beside else "one, two or four views"
        raise OptionError(f"{len(views)} views cannot be shown in one film; give {each}")
    return views


class Film:
    """The film, arranged before it is drawn.

    Parameters
    ----------
    shown : tuple of Comparison and Findings
    setup : FilmSetup
    beside : tuple of Comparison and Findings, or None
    """

    def __init__(self, shown: Shown, setup: FilmSetup, beside: Shown | None = None) -> None:
        self.setup, self.page = setup, FilmPage(setup.size, brief=beside is not None)
        self.shots = tempo.plan(shown[0].swing, setup.fps, setup.tempo)
        self.swing: Swing = shown[0].swing  # as recorded: the clock of the strip and the captions
        self.scenes = self._scenes([shown] if beside is None else [shown, beside])
        self.timeline = Timeline(self.page.page, self.swing)
        self.panels = self._panels()
        self.guides = [FilmGuides(panel, self._panel_guides(), alone=len(self.panels) == 1) for panel in self.panels]
        notes = seen_from(self.panels[0].view, self.scenes[0]) if len(setup.views) == 1 else []
        reference = self.scenes[0].legend[1]
        self.footer = set_film_footer(self.page, self.panels[0].framing, setup.units, notes, reference)

    def _scenes(self, pairs: Sequence[Shown]) -> list[Scene]:
        """Each swing at the film's own pictures, a second one in step with the first."""
        lead = np.array([shot.frame for shot in self.shots if not shot.held])
        scenes = []
        for comparison, findings in pairs:
            swing = comparison.swing
            frames = lead
            if swing is not self.swing:
                frames = np.interp(lead, np.arange(self.swing.n_frames), in_step(self.swing, swing))
            scene = Scene(comparison, findings, self.setup.units)
            scenes.append(scene.retimed(frames, _rate_around_contact(swing, frames)))
        return scenes

    def _panels(self) -> list[Panel]:
        """One panel that is the whole picture, or several, in one or two columns, whichever shows the bodies larger."""
        looks = [(scene, view) for scene in self.scenes for view in self.setup.views]
        frames = [range(len(scene.swing.points)) for scene, _ in looks]
        held = [shot.number for shot in self.shots if shot.held]  # lines may run out of a picture in motion
        extra = [reach_of_guides(scene, view, self._panel_guides(), held) for scene, view in looks]
        bottom = max(self._caption_of(shot).box[3] for shot in self.shots)
        if len(looks) == 1:
            left, top, right, floor = self.page.bodies(bottom)
            width, height = self.page.size
            return _raised(looks, frames, [(0, 0, width, height)], (left, top, width - right, height - floor), extra)
        gap = round(_GAP * self.page.unit)
        below = round((110 if has_weight(self._panel_guides()) else 40) * self.page.unit)
        tried = []
        for columns in (1, 2):
            boxes = grid(self.page.panels(bottom), len(looks), columns, gap)
            inset = (gap // 2, self._title_height(boxes) + gap // 2, gap // 2, below)
            if all(box[3] - box[1] > 1.5 * (inset[1] + inset[3]) for box in boxes):
                tried.append(_raised(looks, frames, boxes, inset, extra))
        if not tried:
            raise OptionError(f"{self.page.size[0]}x{self.page.size[1]} is too small for {len(looks)} panels")
        return max(tried, key=lambda panels: panels[0].framing.scale)

    def _title_height(self, boxes: Sequence[Box]) -> int:
        """Room that the tallest panel title takes at any time."""
        shots = [self.shots[0], *(shot for shot in self.shots if shot.held)]
        blocks = [(self._title_block(i, box, shot), box) for i, box in enumerate(boxes) for shot in shots]
        return max(block.box[3] - box[1] for block, box in blocks)

    def _panel_guides(self) -> str | Sequence[str]:
        """The guides of each panel: of several panels, none has room for the weight bar unless it is asked for."""
        if self.setup.guides == "usual" and len(self.scenes) * len(self.setup.views) > 1:
            return WITHOUT_WEIGHT
        return self.setup.guides

    def _panel_title(self, place: int) -> str:
        """What a panel shows: the view, the hitter, or both."""
        views, several = self.setup.views, len(self.scenes) > 1
        scene, view = self.scenes[place // len(views)], views[place % len(views)]
        if not several:
            name = view.title
            return name[:1].upper() + name[1:]
        names = [scene.findings.hitter.name or "Hitter" for scene in self.scenes]
        name = names[place // len(views)]
        if len(set(names)) == 1:
            name = f"{name}, {Path(scene.swing.source).stem}"
        return name if len(views) == 1 else f"{name}, {view.title}"

    def caption(self, shot: Shot) -> Caption:
        """Who, the latest moment, and, where the film stands still, what is found there."""
        findings, units = self.scenes[0].findings, self.setup.units
        passed = self.timeline.passed(shot.frame)
        latest = shot.held or (passed[-1] if passed else "")
        speed = "held still" if shot.held else slower_words(self._shown_slowness(shot))
        who = captions.who(findings, units) if len(self.scenes) == 1 else ""
        said = captions.Headline("", "", None, "")
        found: tuple[Finding, ...] = ()
        if shot.held and len(self.scenes) == 1:
            said = captions.headline(findings, shot.held, units)
            crowded = len(self.setup.views) == 4 and not self.page.page.wide  # bodies need that height
            found = () if crowded else found_at(findings, shot.held, units, said.measure)
        moment = MOMENT_WORDS[latest] if latest else "Set-up"
        return Caption(moment, who, self._when(shot.frame), speed, said, found)

    def _caption_of(self, shot: Shot) -> Block:
        return set_caption(self.page, self.caption(shot))

    def _shown_slowness(self, shot: Shot) -> float:
        """While the film's speed changes, whole numbers, which can be read."""
        slower = shot.slower
        return slower if self.setup.tempo.speed is not None or slower < 2.95 else float(round(slower))

    def _when(self, frame: float) -> str:
        """The time from foot-plant; nothing at foot-plant itself, which the title names."""
        plant = self.swing.index("plant")
        if plant is None:
            return f"{frame / self.swing.rate_hz:.2f} s"
        time = (frame - plant) / self.swing.rate_hz
        if abs(time) < 0.005:
            return ""
        return f"{abs(time):.2f} s {'after' if time > 0 else 'before'} foot-plant"

    def stated(self, shot: Shot) -> set[str]:
        """The measures that the caption of a picture states; of one in motion also the weight, which is told held."""
        if not shot.held:
            return {"back_share"}
        caption = fitting_caption(self.page, self.caption(shot))
        return {caption.said.measure, *(finding.measure for finding in caption.findings)}

    def type_of(self, shot: Shot) -> list[Block]:
        """All type of one picture but the foot line's and the strip's."""
        blocks = [self._caption_of(shot)]
        for place, panel in enumerate(self.panels):
            if len(self.panels) > 1:
                blocks.append(self._title_block(place, panel.box, shot))
            else:
                labels = self.guides[place].labels(self.page, shot.number, self.stated(shot))
                blocks += [Block((label,)) for label in labels]
        return blocks

    def boxes(self, shot: Shot) -> list[Box]:
        """Places of all type of one picture but the guides' numbers, and of the strip. [px]"""
        line = self.timeline
        reach = round(12 * self.page.unit)
        strip = (round(line.left), round(line.y) - reach, round(line.right), round(line.y) + reach)
        return [*(block.box for block in self.type_of(shot)), self.footer.box, strip, *(b.box for b in line.labels)]

    def _title_block(self, place: int, box: Box, shot: Shot) -> Block:
        said = None
        first_view = place % len(self.setup.views) == 0  # the finding is the same from every side
        if shot.held and len(self.scenes) > 1 and first_view:
            findings = self.scenes[place // len(self.setup.views)].findings
            said = captions.headline(findings, shot.held, self.setup.units)
        return set_panel_title(self.page, box, self._panel_title(place), said)

    def pictures(self) -> Generator[tuple[Image, int], None, None]:
        """Every picture and how many video frames it stays; memory holds a few of them."""
        from contextlib import ExitStack

        with ExitStack() as open_stages:
            stages = _FilmStages(self, open_stages)
            for shot in self.shots:
                yield stages.draw(shot), shot.times


class _FilmStages:
    """The painters of a film's panels, and what stays the same from picture to picture."""

    def __init__(self, film: Film, open_stages: ExitStack) -> None:
        self.film = film
        self.painters: list[Painter] = []
        for panel in film.panels:
            painter = open_stages.enter_context(Painter(panel.scene))
            painter.aim(panel.framing, panel.frames)
            self.painters.append(painter)
        numbers = range(len(film.scenes[0].swing.points))
        self._poses = [scene.poses(numbers) for scene in film.scenes]
        self._posed: list[Posed] = []
        self._base = self._draw_base()

    def _draw_base(self) -> Image:
        """Ground, foot line and strip."""
        film, picture = self.film, paper(self.film.page.size)
        for panel in film.panels:
            ground = paper(panel.framing.size)
            draw_floor(ground, panel.framing, panel.scene.plate_offset, (0, 0, *panel.framing.size))
            picture.paste(ground, panel.box[:2])
        draw_footer(picture, film.page.page, film.footer, film.panels[0].framing, film.setup.units)
        film.timeline.draw_base(picture)
        return picture

    def draw(self, shot: Shot) -> Image:
        """One picture; a held one stands on the bodies of the picture before it."""
        film = self.film
        if not shot.held:
            self._posed = [next(poses) for poses in self._poses]
        picture = self._base.copy()
        for place, (panel, painter) in enumerate(zip(film.panels, self.painters, strict=True)):
            posed = self._posed[place // len(film.setup.views)]
            drawn = film.guides[place].at(shot.number)
            alone = len(film.panels) == 1
            part = picture if alone else picture.crop(panel.box)
            painter.paint(part, posed, drawn, (1.0 if alone else _PANEL_GUIDES) * film.page.unit)
            for note in self._numbers(place, part, shot, painter.body):
                note.draw(part, film.page.unit)
            if not alone:
                picture.paste(part, panel.box[:2])
        film.timeline.draw_position(picture, shot.frame, film.timeline.passed(shot.frame))
        for block in film.type_of(shot):
            block.draw(picture)
        return picture

    def _numbers(self, place: int, painted: Image, shot: Shot, body: Layer | None) -> list[Placed]:
        """The guides' numbers in one panel, where the film stands still and shows no more than two."""
        film, panel = self.film, self.film.panels[place]
        if not shot.held or len(film.panels) > 2:
            return []
        solid = covered(painted, self._base.crop(panel.box))
        stated = film.stated(shot) | {captions.headline(panel.scene.findings, shot.held, film.setup.units).measure}
        left, top = panel.box[:2]
        taken = [(x0 - left, y0 - top, x1 - left, y1 - top) for x0, y0, x1, y1 in film.boxes(shot)]
        silhouette = None if body is None else body.mask(painted.size)
        return film.guides[place].numbers(film.page, shot.number, solid, taken, stated, silhouette)


def _raised(
    looks: Sequence[tuple[Scene, View]],
    frames: Sequence[range],
    boxes: Sequence[Box],
    inset: Box,
    extra: Sequence[FloatArray],
) -> list[Panel]:
    """Panels in which some of the height that is free above the bodies lies below them instead."""
    left, top, right, bottom = inset
    panels = set_panels(looks, frames, boxes, inset, extra)
    reached = [panel.framing.extent(panel.scene.reach(panel.frames))[0][1] for panel in panels]
    spare = max(float(min(reached)) - top, 0.0)
    return set_panels(looks, frames, boxes, (left, top, right, bottom + round(_RAISED * spare)), extra)


def _rate_around_contact(swing: Swing, frames: FloatArray) -> float:
    """Pictures per second of the swing's own time between plant and contact, where guides may need a rate. [Hz]"""
    steps = np.diff(frames)
    plant, contact = swing.index("plant"), swing.index("contact")
    if plant is not None and contact is not None:
        turning = (frames[1:] > plant) & (frames[1:] <= contact) & (steps > 0.0)
        steps = steps[turning] if turning.any() else steps
    typical = float(np.median(steps)) if len(steps) else 1.0
    return swing.rate_hz / typical if typical > 0.0 else swing.rate_hz
