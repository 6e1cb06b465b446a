"""The overlay film: the whole swing in slow motion, held at foot-plant and contact with what is found there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import captions, guides
from mocap.renderer.encoder import Encoder
from mocap.renderer.ground import draw_floor, paper
from mocap.renderer.page import Block, Page, draw_footer, set_footer, set_header
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.still import bar_labels, seen_from
from mocap.renderer.text import Label, draw_labels
from mocap.renderer.timeline import Timeline
from mocap.renderer.view import VIEWS
from mocap.swing import MOMENTS

if TYPE_CHECKING:
    from PIL.Image import Image

#: Recordings faster than this are thinned out, so that a film stays short enough to be watched. [Hz]
FASTEST_SHOWN_HZ = 120.0

#: Moments at which the film stands still, and how long. [s]
HELD_MOMENTS = ("plant", "contact")
HOLD_S = 0.7


def draw_film(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    size: tuple[int, int] = (1920, 1080),
    fps: int = 30,
    units: Units = "metric",
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Film the swing from the open side, hitter over reference, synchronised by moments.

    Every recorded frame becomes one video frame up to 120 Hz; faster recordings are thinned out to about that.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        MP4 to write; an older one is replaced.
    size : tuple of 2 ints
        Width and height, even numbers. [px]
    fps : int
        [1/s]
    units : {"metric", "imperial"}
    progress : callable or None
        Called with video frames written and their number in all.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        An odd size, or a rate that is not positive.
    RenderError
        This machine cannot draw or encode.
    OutputError
        The file cannot be written.
    """
    if size[0] % 2 or size[1] % 2 or min(size) < 2:
        raise OptionError(f"size {size[0]}x{size[1]} cannot be encoded; give even numbers, e.g. 1920x1080")
    if fps < 1:
        raise OptionError(f"{fps} frames a second cannot be played; give 24 to 60")
    film = Film(Scene(comparison, findings, units), size, fps)
    total, written = sum(shot.times for shot in film.shots), 0
    with (
        replacing(target := Path(path)) as temporary,
        Painter(film.scene) as painter,
        Encoder(temporary, size, fps) as encoder,
    ):
        painter.aim(film.framing, [shot.frame for shot in film.shots])
        base = film.draw_base()
        poses = film.scene.poses([shot.frame for shot in film.shots])
        for shot, posed in zip(film.shots, poses, strict=True):
            encoder.write(film.draw(base.copy(), painter, shot, posed).tobytes(), shot.times)
            written += shot.times
            if progress is not None:
                progress(written, total)
    return target


@dataclass(frozen=True)
class Shot:
    """One frame of the swing on the screen.

    Attributes
    ----------
    frame : int
    times : int
        Video frames it stays.
    held : str
        Moment at which the film stands still; empty where it runs.
    """

    frame: int
    times: int = 1
    held: str = ""


class Film:
    """The film, arranged before it is drawn.

    Parameters
    ----------
    scene : Scene
    size : tuple of 2 ints
        [px]
    fps : int
        [1/s]
    """

    def __init__(self, scene: Scene, size: tuple[int, int], fps: int) -> None:
        self.scene, self.page, self.fps = scene, Page(size), fps
        swing = scene.swing
        self.step = max(round(swing.rate_hz / FASTEST_SHOWN_HZ), 1)
        self.slower = swing.rate_hz / self.step / fps
        self.shots = self._shots()
        view = VIEWS["open side"]
        frames = [shot.frame for shot in self.shots]
        self.framing = scene.frame_in(view, scene.reach(frames), size, self.page.film_bodies)
        self.timeline = Timeline(self.page, swing)
        self.footer = set_footer(
            self.page,
            self.framing,
            scene.units,
            seen_from(view, scene),
            scene.legend,
        )
        comparison = scene.comparison
        self.plant, self.contact = swing.index("plant"), swing.index("contact")
        finish = swing.index("finish")
        self.finish = swing.n_frames if finish is None else finish
        self.axis, self.axis_drift = guides.BodyAxis(comparison), guides.BodyAxis(comparison, self.plant)
        self.separation = guides.SeparationLine(comparison)
        self.hands = guides.HandsPath(comparison)
        self.weight = guides.WeightBar(comparison, scene.findings)
        self.zone = guides.HittingZone(scene.zone) if scene.zone else None

    def _shots(self) -> list[Shot]:
        """Every frame in turn, the held moments a second time."""
        swing = self.scene.swing
        frames = set(range(0, swing.n_frames, self.step))
        held = {frame: name for name in HELD_MOMENTS if (frame := swing.index(name)) is not None}
        shots = []
        for frame in sorted(frames | set(held)):
            if frame in frames:
                shots.append(Shot(frame))
            if frame in held:
                shots.append(Shot(frame, max(round(HOLD_S * self.fps), 1), held[frame]))
        return shots

    def header(self, shot: Shot) -> Block:
        """Who, the latest moment, and, where the film stands still, what is found there."""
        findings, units = self.scene.findings, self.scene.units
        passed = self.passed(shot.frame)
        latest = shot.held or (passed[-1] if passed else "")
        name = MOMENT_WORDS[latest] if latest else "Set-up"
        when = captions.since_plant(self.scene.swing, shot.frame)
        note = f"{captions.who(findings, units)}\n{when}\n{slower_words(self.slower)}"
        said = captions.headline(findings, shot.held, units) if shot.held else captions.Headline("", "", None, "")
        return set_header(self.page, name, note, said)

    def passed(self, frame: int) -> list[str]:
        """The moments on the strip that have been, in their order."""
        return [name for name in MOMENTS if name in self.timeline.moments and self.timeline.moments[name] <= frame]

    def guides_in(self, shot: Shot) -> list[guides.Guide]:
        """The guides that belong to this part of the swing."""
        chosen: list[guides.Guide] = []
        before_plant = self.plant is not None and shot.frame <= self.plant
        striding = before_plant and shot.frame >= (self.scene.swing.index("stance") or 0)
        if self.plant is not None and not before_plant and (self.contact is None or shot.frame <= self.contact):
            chosen.append(self.hands)
        if striding:
            chosen.append(self.separation)
        if self.zone is not None and shot.frame <= self.finish:
            chosen.append(self.zone)
        turning = self.contact is not None and shot.frame <= self.contact
        chosen.append(self.axis_drift if turning else self.axis)
        if striding:
            chosen.append(self.weight)
        return chosen

    def bar_labels(self, shot: Shot) -> list[Label]:
        """Type of the weight bar."""
        return bar_labels(self.weight, self.framing, shot.frame, self.page)

    def draw_base(self) -> Image:
        """What stays the same through the film."""
        picture = paper(self.page.size)
        draw_floor(picture, self.framing, self.scene.plate_offset, (0, 0, *self.page.size))
        draw_footer(picture, self.page, self.footer, self.framing, self.scene.units)
        self.timeline.draw_base(picture)
        return picture

    def draw(self, picture: Image, painter: Painter, shot: Shot, posed: Posed) -> Image:
        """One video frame over a copy of the base."""
        drawn = self.guides_in(shot)
        painter.paint(picture, posed, drawn, self.page.unit)
        if self.weight in drawn:
            draw_labels(picture, self.bar_labels(shot))
        self.timeline.draw_position(picture, shot.frame, self.passed(shot.frame))
        self.header(shot).draw(picture)
        return picture


def slower_words(slower: float) -> str:
    """How much slower than real time the film plays, in words."""
    if abs(slower - 1.0) < 0.02:
        return "real time"
    if slower < 1.0:
        return f"{1.0 / slower:.3g} times faster than real time"
    return f"{slower:.3g} times slower than real time"
