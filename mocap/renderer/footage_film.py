"""A film with the real video in it, arranged before it is drawn: drawn on through a lens, or beside the figure."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from mocap.display import MOMENT_WORDS
from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.renderer import captions, guides
from mocap.renderer.film_guides import WITHOUT_WEIGHT, FilmGuides
from mocap.renderer.film_page import Caption, found_at, set_caption, set_film_footer
from mocap.renderer.footage_page import FootagePage, calmed, crop_to, draw_legend, set_band, set_legend, share_out
from mocap.renderer.footage_time import (
    FilmedShot,
    VideoClock,
    common_frames,
    filmed_scene,
    filmed_shots,
    moment_s,
    moments_in,
)
from mocap.renderer.ground import paper
from mocap.renderer.lens import CameraLens, Lens
from mocap.renderer.page import Block, draw_footer
from mocap.renderer.panels import Panel, PanelPainter, set_panels
from mocap.renderer.scene import Painter, Posed, Scene
from mocap.renderer.skeleton_lines import SkeletonLines
from mocap.renderer.still import seen_from
from mocap.renderer.tempo import Tempo, plan, slower_words
from mocap.renderer.timeline import Timeline
from mocap.renderer.video import Video
from mocap.renderer.view import VIEWS, View

if TYPE_CHECKING:
    from PIL.Image import Image

#: A video's proportions may differ from its camera's by the rounding to whole pixels. [px]
ROUNDING_PX = 2.0


@dataclass(frozen=True)
class Playing:
    """How a film plays.

    Attributes
    ----------
    fps : int
        [1/s]
    tempo : Tempo
    still : str
        The one moment that a still shows; empty: it is a film.
    guides : str or sequence of str
        See `mocap.renderer.film_guides.names_of`.
    """

    fps: int = 30
    tempo: Tempo = field(default_factory=Tempo)
    still: str = ""
    guides: str | Sequence[str] = WITHOUT_WEIGHT


class FootageFilm(ABC):
    """The film; a context manager that holds what it draws with.

    Parameters
    ----------
    scene : Scene
        At the recording's own frames.
    video : Video
    clock : VideoClock
    size : tuple of 2 ints
        [px]
    playing : Playing

    Attributes
    ----------
    chosen : FilmGuides
        The guides, set by each kind of film for the way that it looks.
    """

    chosen: FilmGuides

    def __init__(self, scene: Scene, video: Video, clock: VideoClock, size: tuple[int, int], playing: Playing) -> None:
        self.whole, self.video, self.clock, self.playing = scene, video, clock, playing
        self.frames = common_frames(clock, scene.swing, video)
        self.scene, self.step = filmed_scene(scene, clock, self.frames)
        self.shown = moments_in(clock, self.frames, scene.swing)
        self.page = FootagePage(size, has_strip=not playing.still)
        self.shots = self._shots()
        self.timeline = Timeline(self.page.page, self.scene.swing)

    @property
    def caption_bottom(self) -> int:
        """Lowest y that a caption reaches while the film plays. [px]"""
        return max(self.set_caption(self.caption(shot)).box[3] for shot in self.shots)

    def _shots(self) -> list[FilmedShot]:
        name = self.playing.still
        if not name:
            planned = plan(self.scene.swing, self.playing.fps, self.playing.tempo)
            return filmed_shots(planned, self.frames.start, self.step)
        if name not in self.shown:
            why = self.scene.swing.moments[name].why
            raise OptionError(f"{self.video.path}: cannot show {MOMENT_WORDS[name].lower()}: {why}")
        return [FilmedShot(self.shown[name], 1, name)]

    @property
    def rows(self) -> list[int]:
        """Frame of `scene` of each shot."""
        return [self.row(shot.frame) for shot in self.shots]

    def row(self, frame: int) -> int:
        """Frame of `scene` that belongs to a picture of the video."""
        return (frame - self.frames.start) * self.step

    def caption(self, shot: FilmedShot) -> Caption:
        """Who, the latest moment, when, and, where the film stands still, what is found there."""
        findings, units = self.scene.findings, self.scene.units
        passed = self.timeline.passed(self.row(shot.frame))
        latest = shot.held or (passed[-1] if passed else "")
        speed = ""
        if not self.playing.still:
            speed = "held still" if shot.held else slower_words(self._shown_slowness(shot))
        name, who = MOMENT_WORDS[latest] if latest else "Set-up", captions.who(findings, units)
        if not shot.held:
            return Caption(name, who, self._when(shot), speed, captions.Headline("", "", None, ""))
        said = captions.headline(findings, shot.held, units)
        found = found_at(findings, shot.held, units, said.measure)
        return Caption(name, who, self._when(shot), speed, said, found)

    def _shown_slowness(self, shot: FilmedShot) -> float:
        """While the film's speed changes, whole numbers, which can be read."""
        slower = shot.slower
        return slower if self.playing.tempo.speed is not None or slower < 2.95 else float(round(slower))

    def _when(self, shot: FilmedShot) -> str:
        """When a picture was taken, and which one it is."""
        plant, picture = moment_s(self.whole.swing, "plant"), f"frame {shot.frame}"
        if self.clock.tied_by:
            picture = f"{picture} (set: {self.clock.tied_by})"
        if plant is None or shot.held == "plant":
            return picture
        after = float(self.clock.time_s(shot.frame)) - plant
        return f"{abs(after):.2f} s {'after' if after > 0 else 'before'} foot-plant, {picture}"

    @property
    def notes(self) -> list[str]:
        """What must be said about the video, the most important first."""
        said = []
        if self.whole.swing.index("plant") is not None and "plant" not in self.shown:
            said.append("foot-plant lies outside the video")
        if self.video.uneven:
            said.append("uneven pictures, taken as even")
        return said

    def guides_in(self, shot: FilmedShot) -> list[guides.Guide]:
        """The guides that belong to this part of the swing."""
        return self.chosen.at(self.row(shot.frame))

    def draw_base(self) -> Image:
        """What stays the same through the film."""
        picture = paper(self.page.size)
        self.draw_footer(picture)
        if not self.playing.still:
            self.timeline.draw_base(picture)
        return picture

    def draw(self, base: Image, shot: FilmedShot, posed: Posed, filmed: Image) -> Image:
        """One picture of the film, on a copy of the base."""
        picture = base.copy()
        self.draw_footage(picture, shot, posed, filmed)
        if not self.playing.still:
            row = self.row(shot.frame)
            self.timeline.draw_position(picture, row, self.timeline.passed(row))
        self.set_caption(self.caption(shot)).draw(picture)
        return picture

    @abstractmethod
    def set_caption(self, caption: Caption) -> Block:
        """Caption in the place that this kind of page has for it."""

    @abstractmethod
    def draw_footer(self, picture: Image) -> None:
        """Foot line."""

    @abstractmethod
    def draw_footage(self, picture: Image, shot: FilmedShot, posed: Posed, filmed: Image) -> None:
        """The video's picture and what belongs to it."""

    @abstractmethod
    def close(self) -> None:
        """Give the stage back."""

    def __enter__(self) -> FootageFilm:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


class OverFootage(FootageFilm):
    """Skeleton, reference and guides on the video, through its camera's lens; the part around the hitter is shown.

    Parameters
    ----------
    scene, video, clock, size, playing
        See `FootageFilm`.
    camera : Camera

    Raises
    ------
    OptionError
        The video's proportions are not the camera's, or the camera does not see the hitter.
    """

    def __init__(
        self,
        scene: Scene,
        video: Video,
        clock: VideoClock,
        size: tuple[int, int],
        playing: Playing,
        *,
        camera: Camera,
    ) -> None:
        super().__init__(scene, video, clock, size, playing)
        self.camera = camera
        self.ratio = _same_proportions(video, camera)
        place = scene.swing.lab_from_hitting
        reach = CameraLens(camera, place, camera.size).project(self.scene.reach(self.rows))
        seen = reach[np.isfinite(reach).all(axis=1)]  # what the lens bends out of its picture is missing
        if 2 * len(seen) < len(reach):
            raise OptionError(
                f"camera {camera.name or 'file'}: the hitter stands beside or behind it; check rotation and translation"
            )
        low, high = seen.min(axis=0), seen.max(axis=0)
        if (high < 0).any() or (low > camera.size).any():
            raise OptionError(f"camera {camera.name or 'file'}: the hitter is outside its picture; check its place")
        self.crop = crop_to(low, high, camera.size, self.page.over(self.caption_bottom), sharp=min(self.ratio))
        left, top = self.crop.corner
        scale = self.crop.scale
        self.lens = CameraLens(camera, place, self.crop.shown, scale, (-left * scale, -top * scale))
        self.skeleton = SkeletonLines(self.scene.comparison)
        shown, whole = self.crop.shown, (0, 0, *self.crop.shown)
        framing = self.scene.frame_in(nearest_view(self.lens), self.scene.reach(self.rows), shown, whole)
        self.chosen = FilmGuides(Panel(self.scene, framing, whole, tuple(self.rows)), playing.guides)
        self.legend = set_legend(self.page, self.scene.legend[1], [*self.notes, *self._about()])
        self.painter = Painter(self.scene)
        self.painter.aim(self.lens, self.rows)

    def _about(self) -> list[str]:
        scaled = self.video.size != self.camera.size
        width, height = self.camera.size
        return [f"camera calibrated at {width}\N{MULTIPLICATION SIGN}{height}"] if scaled else []

    def set_caption(self, caption: Caption) -> Block:
        """To the left of the video, in upright pictures above it."""
        return set_caption(self.page, caption)

    def draw_footer(self, picture: Image) -> None:
        """Samples of the lines, and notes."""
        draw_legend(picture, self.page, self.legend)

    def draw_footage(self, picture: Image, shot: FilmedShot, posed: Posed, filmed: Image) -> None:
        """The part of the video around the hitter, drawn on."""
        panel = calmed(self.crop.cut(filmed, self.ratio))
        self.painter.paint(panel, posed, [self.skeleton, *self.guides_in(shot)], self.page.unit, solid=False)
        picture.paste(panel, self.crop.box[:2])

    def close(self) -> None:
        """See `FootageFilm.close`."""
        self.painter.close()


class BesideFootage(FootageFilm):
    """The whole video beside the figure as the usual film shows it, in time with each other."""

    def __init__(self, scene: Scene, video: Video, clock: VideoClock, size: tuple[int, int], playing: Playing) -> None:
        super().__init__(scene, video, clock, size, playing)
        one = self.page.unit
        left, right = share_out(self.page.beside(self.caption_bottom), video.size, round(28 * one))
        everything = np.zeros(2), np.array(video.size, dtype=np.float64)
        self.crop = crop_to(*everything, video.size, left)
        view = VIEWS["open side"]
        inset = (round(28 * one), round(24 * one), round(28 * one), round(64 * one))
        self.panel = set_panels([(self.scene, view)], [self.rows], [right], inset)[0]
        self.chosen = FilmGuides(self.panel, playing.guides)
        notes = [*self.notes, *seen_from(view, self.scene)]
        self.footer = set_film_footer(self.page, self.panel.framing, scene.units, notes, scene.legend[1])
        self.painter = PanelPainter(self.panel)

    def set_caption(self, caption: Caption) -> Block:
        """Above both."""
        return set_band(self.page, caption)

    def draw_footer(self, picture: Image) -> None:
        """As under the usual film."""
        draw_footer(picture, self.page.page, self.footer, self.panel.framing, self.scene.units)

    def draw_footage(self, picture: Image, shot: FilmedShot, posed: Posed, filmed: Image) -> None:
        """The video as it is, and the figure beside it."""
        picture.paste(self.crop.cut(filmed), self.crop.box[:2])
        picture.paste(self.painter.paint(posed, self.guides_in(shot), self.page.unit), self.panel.box[:2])

    def close(self) -> None:
        """See `FootageFilm.close`."""
        self.painter.close()


def _same_proportions(video: Video, camera: Camera) -> tuple[float, float]:
    """Video pixels per camera pixel, across and down."""
    (wide, high), (camera_wide, camera_high) = video.size, camera.size
    if abs(wide * camera_high - high * camera_wide) > ROUNDING_PX * max(camera.size):
        turned = "; it was calibrated lying on its side" if (wide > high) != (camera_wide > camera_high) else ""
        raise OptionError(
            f"{video.path}: its pictures are {wide}x{high}, those of camera {camera.name or 'file'} "
            f"{camera_wide}x{camera_high}{turned}; give the camera of this video, calibrated in the same mode"
        )
    return wide / camera_wide, high / camera_high


def nearest_view(lens: Lens) -> View:
    """The view without perspective that looks most nearly the same way: what makes sense there does so here."""
    toward = lens.axes[2]
    return max(VIEWS.values(), key=lambda view: -float(toward @ view.away))
