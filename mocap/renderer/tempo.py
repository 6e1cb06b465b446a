"""How fast a film runs: which instant of the recording each of its pictures shows, and where it stands still.

Left to itself a film is eight times slower than real time from just before foot-plant to just after contact and quicker
elsewhere, with smooth easing between, so that a whole swing takes about ten seconds to watch. Recordings are thinned
or filled to the film's pictures alike: a picture may lie between two recorded frames, but each moment that is held, and
every other that leaves room for it, is shown on its own frame.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.swing import MOMENTS, Swing

# All of these are this project's defaults.
SLOW = 8.0  # times slower than real time around plant and contact
WATCHED_S = 10.0  # what a whole swing lasts on the screen, standing still included, as far as it can
HOLD_S = 1.5  # long enough to read a headline and two lines
HELD_MOMENTS = ("plant", "contact")

_SLOW_MOMENTS = ("plant", "contact")  # slow from the first to the last of these
_LEAD_S = 0.05  # real time before and after them that is as slow
_EASE_S = 0.25  # real time over which the film slows down, and speeds up again
_SLOWEST, _QUICKEST = 100.0, 10.0  # beyond, a film shows nothing: hours long, or over in a blink
_FINE = 8  # parts of a frame at which the speed is summed up


@dataclass(frozen=True)
class Tempo:
    """How a film runs.

    Attributes
    ----------
    speed : float or None
        The same speed throughout, over real time (0.25: four times slower); None: slow where it matters. [-]
    slow : float
        Times slower than real time around plant and contact, where `speed` is None. [-]
    hold_s : float
        How long a held moment stands still. [s]
    held : tuple of str
        Moments at which the film stands still, of `mocap.swing.MOMENTS`; one that was not found is passed over.

    Raises
    ------
    OptionError
        A speed or time nobody could watch, or a moment that is not known.
    """

    speed: float | None = None
    slow: float = SLOW
    hold_s: float = HOLD_S
    held: tuple[str, ...] = HELD_MOMENTS

    def __post_init__(self) -> None:
        if self.speed is not None and not 1.0 / _SLOWEST <= self.speed <= _QUICKEST:
            raise OptionError(f"speed {self.speed:g} cannot be watched; give {1.0 / _SLOWEST:g} to {_QUICKEST:g}")
        if not 1.0 <= self.slow <= _SLOWEST:
            raise OptionError(f"{self.slow:g} times slower cannot be watched; give 1 to {_SLOWEST:g}")
        if not 0.0 <= self.hold_s <= 60.0:
            raise OptionError(f"a moment cannot be held for {self.hold_s:g} s; give 0 to 60")
        for name in self.held:
            if name not in MOMENTS:
                raise OptionError(f"moment {name!r} cannot be held; known are {', '.join(MOMENTS)}")

    def slowness(self, swing: Swing, frames: FloatArray) -> FloatArray:
        """Times slower than real time at frames, fractions included, both of shape (N,). [-]"""
        if self.speed is not None:
            return np.full(len(frames), 1.0 / self.speed)
        closeness = _closeness(swing, frames)
        every = _closeness(swing, _fine_frames(swing))
        step = 1.0 / (_FINE * swing.rate_hz)
        near, whole = float(np.trapezoid(every, dx=step)), (swing.n_frames - 1) / swing.rate_hz
        running = WATCHED_S - self.hold_s * sum(swing.index(name) is not None for name in self.held)
        rest = whole - near
        away = (running - self.slow * near) / rest if rest > 1e-9 else self.slow
        away = float(np.clip(away, 1.0, self.slow))
        return away + (self.slow - away) * closeness


@dataclass(frozen=True)
class Shot:
    """One picture of a film.

    Attributes
    ----------
    number : int
        Place among the pictures in which it runs; a held one has that of the picture it stands still on.
    frame : float
        Frame of the recording, fractions included.
    times : int
        Video frames it stays.
    held : str
        Moment at which the film stands still; empty where it runs.
    slower : float
        Times slower than real time, where it runs. [-]
    """

    number: int
    frame: float
    times: int = 1
    held: str = ""
    slower: float = 1.0


def plan(swing: Swing, fps: int, tempo: Tempo) -> list[Shot]:
    """A film's pictures in their order.

    Parameters
    ----------
    swing : Swing
    fps : int
        [1/s]
    tempo : Tempo

    Returns
    -------
    list of Shot
        One per video frame while it runs; a held moment follows the picture that arrives at it.
    """
    fine = _fine_frames(swing)
    slowness = tempo.slowness(swing, fine)
    steps = (slowness[1:] + slowness[:-1]) / (2.0 * _FINE * swing.rate_hz)
    screen = np.concatenate([[0.0], np.cumsum(steps)]) * fps  # where each instant falls, in video frames
    found = {name: float(index) for name in MOMENTS if (index := swing.index(name)) is not None}
    held = sorted((found[name], name) for name in tempo.held if name in found)
    anchors = _anchors(np.array([frame for frame, _ in held]), np.array(sorted(set(found.values()))), fine, screen)
    frames = _frames_between(anchors, fine, screen)
    slower = tempo.slowness(swing, frames)
    shots: list[Shot] = []
    stay = round(tempo.hold_s * fps)
    for number, (frame, slow) in enumerate(zip(frames.tolist(), slower.tolist(), strict=True)):
        shots.append(Shot(number, frame, slower=slow))
        if stay:
            shots += [Shot(number, frame, stay, name, slow) for at, name in held if at == frame]
    return shots


def slower_words(slower: float) -> str:
    """How much slower than real time a film plays, in words."""
    if abs(slower - 1.0) < 0.02:
        return "real time"
    if slower < 1.0:
        return f"{1.0 / slower:.3g} times faster than real time"
    return f"{slower:.2g} times slower than real time"


def frame_count(shots: Iterable[Shot]) -> int:
    """Video frames in all."""
    return sum(shot.times for shot in shots)


def _fine_frames(swing: Swing) -> FloatArray:
    """The recording's frames in parts of `_FINE`, from the first to the last."""
    return np.arange((swing.n_frames - 1) * _FINE + 1) / _FINE


def _closeness(swing: Swing, frames: FloatArray) -> FloatArray:
    """1 where the film is slowest, 0 where it is quickest, smooth between."""
    found = [index for name in _SLOW_MOMENTS if (index := swing.index(name)) is not None]
    if not found:
        return np.zeros(len(frames))
    before = (min(found) - frames) / swing.rate_hz - _LEAD_S
    after = (frames - max(found)) / swing.rate_hz - _LEAD_S
    share = np.clip(1.0 - np.maximum(before, after) / _EASE_S, 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


def _anchors(held: FloatArray, others: FloatArray, fine: FloatArray, screen: FloatArray) -> dict[int, float]:
    """Which video frame shows exactly which frame: both ends, every held moment, others where there is room."""
    end = float(fine[-1])
    anchors = {0: 0.0}
    for frame in [*sorted(set(held.tolist())), end]:
        if frame > max(anchors.values()):
            anchors[max(round(float(np.interp(frame, fine, screen))), max(anchors) + 1)] = frame
    for frame in others.tolist():
        number = round(float(np.interp(frame, fine, screen)))
        if frame in anchors.values() or number in anchors:
            continue
        ordered = sorted(anchors.items())
        if all((number < other) == (frame < at) for other, at in ordered):
            anchors[number] = frame
    return dict(sorted(anchors.items()))


def _frames_between(anchors: dict[int, float], fine: FloatArray, screen: FloatArray) -> FloatArray:
    """The frame shown in each video frame, evenly on the screen's clock from anchor to anchor, shape (N,)."""
    numbers, frames = np.array(list(anchors)), np.array(list(anchors.values()))
    clock = np.interp(np.arange(numbers[-1] + 1), numbers, np.interp(frames, fine, screen))
    shown = np.interp(clock, screen, fine)
    shown[numbers] = frames  # to the last bit, so that a recorded frame is drawn as recorded
    return np.maximum.accumulate(shown)
