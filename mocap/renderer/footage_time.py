"""Which picture of a video belongs to which time of a swing, and how the film plays them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.display import MOMENT_WORDS
from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.renderer.scene import Scene
from mocap.renderer.tempo import Shot
from mocap.renderer.video import Video
from mocap.swing import MOMENTS, Swing

#: Paths are drawn through points no further apart than this, however slow the camera. [s]
PATH_STEP_S = 1.0 / 120.0
#: A picture's time may lie this far outside the recording and still be shown as its end. [frames of the video]
_TOLERANCE = 1e-6
#: Moments given as video frames may contradict the camera's rate by this much; it is as well as a moment can be seen in
#: a video. [frames] This project's default.
SEEN_TO = 2.0


@dataclass(frozen=True)
class VideoClock:
    """When a video's pictures were taken.

    Attributes
    ----------
    rate_hz : float
        Of the camera, not of the file. [Hz]
    first_s : float
        Time of picture 0, counted from the swing's first frame. [s]
    tied_by : str
        The moments that somebody saw in the video, and their frames, in words; empty: by the camera's clock.
    """

    rate_hz: float
    first_s: float
    tied_by: str = ""

    def time_s(self, frames: npt.ArrayLike) -> FloatArray:
        """When pictures were taken, counted from the swing's first frame. [s]"""
        return np.asarray(self.first_s + np.asarray(frames, dtype=np.float64) / self.rate_hz)

    def frame_at(self, time_s: float) -> float:
        """Picture at a time, fractions included."""
        return (time_s - self.first_s) * self.rate_hz


def camera_clock(camera: Camera, swing_starts_s: float) -> VideoClock:
    """The clock that a camera's file tells.

    Parameters
    ----------
    camera : Camera
    swing_starts_s : float
        Time of the swing's first frame on the recording's clock. [s]

    Raises
    ------
    OptionError
        The camera's rate is not known.
    """
    if camera.rate_hz is None:
        raise OptionError(
            f"camera {camera.name or 'file'}: rate_hz is not given; add it (of a slow-motion clip the rate at which it "
            "was filmed), or give two moments as video frames"
        )
    return VideoClock(camera.rate_hz, camera.time_offset_s - swing_starts_s)


def clock_from_moments(swing: Swing, video_moments: Mapping[str, int], rate_hz: float | None) -> VideoClock:
    """A clock from moments that somebody saw in the video.

    Parameters
    ----------
    swing : Swing
    video_moments : mapping of str to int
        Moment to frame of the video, counted from 0.
    rate_hz : float or None
        Of the camera; None: it follows from two moments. [Hz]

    Raises
    ------
    OptionError
        A moment that is not known or was not found in the swing, too few of them, or some that contradict each other.
    """
    for name in video_moments:
        if name not in MOMENTS:
            raise OptionError(f"video moment {name!r} is not known; known are {', '.join(MOMENTS)}")
        if swing.index(name) is None:
            raise OptionError(f"video moment {name}: it was not found in the swing ({swing.moments[name].why})")
    if not video_moments or (rate_hz is None and len(video_moments) < 2):
        raise OptionError(
            "the video is not linked to the swing; give two moments as video frames (e.g. plant and contact), or one "
            "and the camera's rate"
        )
    if rate_hz is not None and not 0.0 < rate_hz < np.inf:
        raise OptionError(f"the camera's rate must be positive, got {rate_hz:g} Hz")
    order = sorted(video_moments, key=lambda name: moment_s(swing, name) or 0.0)
    times = np.array([moment_s(swing, name) for name in order], dtype=np.float64)
    frames = np.array([video_moments[name] for name in order], dtype=np.float64)
    if rate_hz is None:
        if not ((np.diff(frames) > 0).all() and times[-1] > times[0]):
            listed = ", ".join(f"{name} {video_moments[name]}" for name in order)
            raise OptionError(f"video moments {listed}: later moments need later frames")
        rate_hz = float(np.polyfit(times, frames, 1)[0])
    tied_by = " and ".join(f"{MOMENT_WORDS[name].lower()} at {video_moments[name]}" for name in order)
    clock = VideoClock(rate_hz, float(np.mean(times - frames / rate_hz)), tied_by)
    for name, time, frame in zip(order, times, frames, strict=True):
        if abs(clock.frame_at(time) - frame) > SEEN_TO:
            raise OptionError(
                f"video moment {name} is frame {frame:g}, but by the others and {rate_hz:g} Hz it would be "
                f"{clock.frame_at(time):.1f}; look again, or give another rate"
            )
    return clock


def moment_s(swing: Swing, name: str) -> float | None:
    """Time of a moment from the swing's first frame; None where it was not found. [s]"""
    moment = swing.moments[name]
    if moment.index is None:
        return None
    return moment.time_s if moment.time_s is not None else moment.index / swing.rate_hz


def common_frames(clock: VideoClock, swing: Swing, video: Video) -> range:
    """The video's pictures that were taken during the swing's recording.

    Raises
    ------
    OptionError
        There are fewer than two.
    """
    length_s = (swing.n_frames - 1) / swing.rate_hz
    first = max(int(np.ceil(clock.frame_at(0.0) - _TOLERANCE)), 0)
    last = min(int(np.floor(clock.frame_at(length_s) + _TOLERANCE)), video.n_frames - 1)
    if last - first < 1:
        start, end = clock.time_s([0, video.n_frames - 1])
        raise OptionError(
            f"{video.path}: {video.n_frames} frames at {clock.rate_hz:g} Hz show {start:.2f} to {end:.2f} s of a swing "
            f"that lasts from 0 to {length_s:.2f} s; check the camera's time_offset_s and rate_hz"
        )
    return range(first, last + 1)


def moments_in(clock: VideoClock, frames: range, swing: Swing) -> dict[str, int]:
    """The picture nearest to each moment, of the moments that the pictures cover."""
    found = {}
    for name in MOMENTS:
        time = moment_s(swing, name)
        if time is not None and frames.start <= (frame := round(clock.frame_at(time))) < frames.stop:
            found[name] = frame
    return found


def filmed_scene(scene: Scene, clock: VideoClock, frames: range) -> tuple[Scene, int]:
    """The scene at the pictures' times.

    Parameters
    ----------
    scene : Scene
    clock : VideoClock
    frames : range
        As `common_frames`.

    Returns
    -------
    scene : Scene
        Each moment on a picture; those that no picture shows are not in it.
    step : int
        Scene frames from one picture to the next: more than one of slow cameras, so that paths stay smooth.
    """
    step = max(int(np.ceil(1.0 / clock.rate_hz / PATH_STEP_S - 1e-6)), 1)
    swing = scene.swing
    fine = frames.start + np.arange((len(frames) - 1) * step + 1) / step
    other = scene.retimed(clock.time_s(fine) * swing.rate_hz, clock.rate_hz * step)
    shown = moments_in(clock, frames, swing)
    moments = {
        name: replace(
            moment,
            index=(shown[name] - frames.start) * step if name in shown else None,
            why=moment.why or ("" if name in shown else "the video does not show it"),
        )
        for name, moment in swing.moments.items()
    }
    other.swing = replace(other.swing, moments=MappingProxyType(moments))
    other.comparison = replace(other.comparison, swing=other.swing)
    return other, step


@dataclass(frozen=True)
class FilmedShot:
    """One picture of the video on the screen.

    Attributes
    ----------
    frame : int
        Of the video.
    times : int
        Frames of the film it stays.
    held : str
        Moment at which the film stands still; empty where it runs.
    slower : float
        Times slower than real time, where it runs. [-]
    """

    frame: int
    times: int = 1
    held: str = ""
    slower: float = 1.0


def filmed_shots(shots: Iterable[Shot], first: int, step: int) -> list[FilmedShot]:
    """A film's plan with the pictures that there are: of two that were filmed one after the other the nearer one stays.

    Parameters
    ----------
    shots : iterable of Shot
        Planned over the scene of `filmed_scene`.
    first : int
        The scene's first picture of the video.
    step : int
        Scene frames from one picture to the next.

    Returns
    -------
    list of FilmedShot
        In the same order, as long.
    """
    found: list[FilmedShot] = []
    for shot in shots:
        frame = first + round(shot.frame / step)
        last = found[-1] if found else None
        if last is not None and last.frame == frame and not (shot.held or last.held):
            found[-1] = replace(last, times=last.times + shot.times)
        else:
            found.append(FilmedShot(frame, shot.times, shot.held, shot.slower))
    return found
