"""Pictures over real footage: skeleton, reference and guides on the video itself, or the video beside the figure.

With a calibrated camera everything is drawn through its lens onto the video, picture by picture. Without one the video
plays beside the usual figure, in time with it.

Stills and films take alike, besides the swing and its video:

camera : Camera or None
    That filmed the video, its world the recording's lab. None: video and figure stand side by side.
video_moments : mapping of str to int, optional
    Moments as frames of the video, counted from 0. They go before the camera's clock; without a camera one is needed
    together with `video_rate_hz`, or two.
video_rate_hz : float, optional
    At which the camera filmed, goes before the camera's own; of a slow-motion clip not the rate it plays at. [Hz]
swing_starts_s : float
    Time of the swing's first frame on the recording's clock: not 0 where it was cut out of a longer one. [s]
keypoints : Keypoints or None
    What a detector found in this video, to check its time by.
told : callable or None
    Told in one line each what may be wrong with the video's times, see `mocap.renderer.footage_check`.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from mocap.comparison import Comparison
from mocap.display import Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.importer.camera import Camera
from mocap.importer.keypoints import Keypoints
from mocap.output import replacing
from mocap.renderer.encoder import Encoder, fitting
from mocap.renderer.film_guides import WITHOUT_WEIGHT
from mocap.renderer.footage_check import doubts
from mocap.renderer.footage_film import BesideFootage, FootageFilm, OverFootage, Playing
from mocap.renderer.footage_time import camera_clock, clock_from_moments
from mocap.renderer.guides import names_of
from mocap.renderer.scene import Scene
from mocap.renderer.tempo import HELD_MOMENTS, HOLD_S, SLOW, Tempo
from mocap.renderer.video import open_video
from mocap.swing import MOMENTS

if TYPE_CHECKING:
    from PIL.Image import Image

SIZE = (1920, 1080)


def draw_over_footage(
    comparison: Comparison,
    findings: Findings,
    video: str | Path,
    path: str | Path,
    *,
    camera: Camera | None,
    video_moments: Mapping[str, int] | None = None,
    video_rate_hz: float | None = None,
    swing_starts_s: float = 0.0,
    keypoints: Keypoints | None = None,
    told: Callable[[str], None] | None = None,
    size: tuple[int, int] = SIZE,
    fps: int = 30,
    units: Units = "metric",
    guides: str | Sequence[str] = "usual",
    speed: float | None = None,
    slow: float = SLOW,
    moments: Sequence[str] = HELD_MOMENTS,
    hold_s: float = HOLD_S,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Film a swing on the video of it.

    The film covers the time that video and recording have in common, and says so where foot-plant lies outside it.

    Parameters
    ----------
    comparison, findings, video, camera, video_moments, video_rate_hz, swing_starts_s, keypoints, told
        See `mocap.renderer.over_footage`.
    path : str or Path
        `.mp4`, `.gif` or `.webp` to write; an older one is replaced.
    size, fps, units, guides, speed, slow, moments, hold_s, progress
        As of `mocap.renderer.film.draw_film`.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        A size or rate that cannot be encoded, a speed nobody could watch, an unknown moment or guide, a video that is
        not linked to the swing, shows nothing of it, or is not this camera's.
    InputError, RenderError, OutputError
        The video cannot be read; this machine cannot draw, decode or encode; the file cannot be written.
    """
    target = Path(path)
    size, fps = fitting(target, size, fps)
    playing = Playing(fps, Tempo(speed, slow, hold_s, tuple(moments)), guides=_few(guides))
    link = (video_moments, video_rate_hz, swing_starts_s)
    film = _arrange(Scene(comparison, findings, units), Path(video), camera, link, size, playing)
    _tell(film, camera, swing_starts_s, keypoints, told)
    with film, replacing(target) as temporary, Encoder(temporary, size, fps) as encoder:
        _write(film, encoder, progress)
    return target


def _write(film: FootageFilm, encoder: Encoder, progress: Callable[[int, int], None] | None) -> None:
    total, written = sum(shot.times for shot in film.shots), 0
    with closing(_pictures(film)) as pictures:
        for picture, times in pictures:
            encoder.write(picture.tobytes(), times)
            written += times
            if progress is not None:
                progress(written, total)


def draw_still_over_footage(
    comparison: Comparison,
    findings: Findings,
    video: str | Path,
    path: str | Path,
    *,
    camera: Camera | None,
    moment: str = "plant",
    video_moments: Mapping[str, int] | None = None,
    video_rate_hz: float | None = None,
    swing_starts_s: float = 0.0,
    keypoints: Keypoints | None = None,
    told: Callable[[str], None] | None = None,
    size: tuple[int, int] = SIZE,
    units: Units = "metric",
    guides: str | Sequence[str] = "usual",
) -> Path:
    """Draw one moment on the video's picture that is nearest to it.

    Parameters
    ----------
    moment : str
        One of `mocap.swing.MOMENTS`.
    comparison, findings, video, camera, video_moments, video_rate_hz, swing_starts_s, keypoints, told
        See `mocap.renderer.over_footage`.
    size, units, guides
        As of `draw_over_footage`; any size.
    path : str or Path
        PNG to write; an older one is replaced.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        As `draw_over_footage`, or the moment was not found or lies outside the video.
    InputError, RenderError, OutputError
        As `draw_over_footage`.
    """
    if moment not in MOMENTS:
        raise OptionError(f"moment {moment!r} is not known; known are {', '.join(MOMENTS)}")
    playing = Playing(still=moment, guides=_few(guides))
    link = (video_moments, video_rate_hz, swing_starts_s)
    film = _arrange(Scene(comparison, findings, units), Path(video), camera, link, size, playing)
    _tell(film, camera, swing_starts_s, keypoints, told)
    with film, replacing(target := Path(path)) as temporary, closing(_pictures(film)) as pictures:
        next(pictures)[0].save(temporary)
    return target


def _few(asked: str | Sequence[str]) -> str | Sequence[str]:
    """The guides asked for, checked; a video leaves no room for the type that the weight bar needs."""
    names_of(asked)
    return WITHOUT_WEIGHT if asked == "usual" else asked


def _arrange(
    scene: Scene,
    path: Path,
    camera: Camera | None,
    link: tuple[Mapping[str, int] | None, float | None, float],
    size: tuple[int, int],
    playing: Playing,
) -> FootageFilm:
    """The film, arranged; `link` holds video moments, video rate and the swing's start."""
    video = open_video(path)
    seen, rate_hz, starts_s = link
    if camera is not None and rate_hz is not None:
        camera = replace(camera, rate_hz=rate_hz)
    if camera is None or seen:
        clock = clock_from_moments(scene.swing, seen or {}, camera.rate_hz if camera is not None else rate_hz)
    else:
        clock = camera_clock(camera, starts_s)
    if camera is None:
        return BesideFootage(scene, video, clock, size, playing)
    return OverFootage(scene, video, clock, size, playing, camera=camera)


def _tell(
    film: FootageFilm,
    camera: Camera | None,
    swing_starts_s: float,
    keypoints: Keypoints | None,
    told: Callable[[str], None] | None,
) -> None:
    """Say what may be wrong with the video's times."""
    if told is not None:
        for line in doubts(film.whole.swing, film.video, film.clock, camera, swing_starts_s, keypoints):
            told(line)


def _pictures(film: FootageFilm) -> Generator[tuple[Image, int], None, None]:
    """The film's pictures in turn, and for how many frames each stays."""
    base = film.draw_base()
    needed = range(film.shots[0].frame, film.shots[-1].frame + 1)
    with film.video.pictures(needed) as pictures:
        number, filmed = needed.start - 1, None
        for shot, posed in zip(film.shots, film.scene.poses(film.rows), strict=True):
            while number < shot.frame:
                number, filmed = number + 1, next(pictures)
            assert filmed is not None
            yield film.draw(base, shot, posed, filmed), shot.times
