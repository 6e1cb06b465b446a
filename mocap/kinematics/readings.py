"""What measures read: one swing, or many that could equally have been recorded, at and between its moments.

A moment lies between two frames, and in each of the drawn swings elsewhere. Paths are therefore read at any time, by
the cubic through the four nearest frames; those of the bat never across a contact that was seen in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import middle_of_foot, on_bat, unit
from mocap.kinematics.moments import STRUCK
from mocap.swing import BAT_POINTS, POINTS, Swing

#: Frames that a path is read from.
STENCIL = 4

Kept = TypeVar("Kept")


class NotMeasurableError(Exception):
    """Raised inside a measure with the reason, completing "not measurable, because ..."."""


@dataclass(frozen=True)
class Readings:
    """N versions of one swing, all alike in what was recorded at all.

    Attributes
    ----------
    swing : Swing
        As it was recorded.
    points : ndarray, shape (N, F, P, 3)
        In the order of `mocap.swing.POINTS`, from frame `first_frame` of the swing on. [m]
    com : ndarray, shape (N, F, 3)
        Whole-body centre of mass. [m]
    frames : mapping of str to ndarray, shape (N, F, 3, 3)
        Axes of segments, world from segment.
    head_forward : ndarray, shape (N, F, 3)
        Unit direction the face points to; NaN where the points do not show it.
    height_m : ndarray, shape (N,)
        Standing height. [m]
    pitch_deg : ndarray, shape (N,)
        Angle of the pitch at the plate, negative = downward. [deg]
    when : mapping of str to ndarray, shape (N,)
        Times of the moments that were found. [frames from `first_frame`]
    first_frame : int
    """

    swing: Swing
    points: FloatArray
    com: FloatArray
    frames: Mapping[str, FloatArray]
    head_forward: FloatArray
    height_m: FloatArray
    pitch_deg: FloatArray
    when: Mapping[str, FloatArray]
    first_frame: int = 0
    _kept: dict[object, Any] = field(default_factory=dict, repr=False, compare=False)

    def __len__(self) -> int:
        """Number of versions N."""
        return len(self.points)

    @property
    def rate_hz(self) -> float:
        """Of the frames. [Hz]"""
        return self.swing.rate_hz

    def once(self, key: object, make: Callable[[], Kept]) -> Kept:
        """What `make` gives, worked out only once for a key: several measures ask for the same peaks and axes."""
        if key not in self._kept:
            self._kept[key] = make()
        return cast(Kept, self._kept[key])

    def path(self, name: str) -> FloatArray:
        """Path of a point at the frames, shape (N, F, 3). [m]"""
        return self.points[:, :, POINTS.index(name)]

    def time(self, moment: str) -> FloatArray:
        """Time of a moment, shape (N,). [s from the swing's first frame]

        Raises
        ------
        NotMeasurableError
            It was not found.
        """
        if moment not in self.when:
            raise NotMeasurableError(f"{moment.replace('_', ' ')} was not found: {self.swing.moments[moment].why}")
        seconds: FloatArray = (self.when[moment] + self.first_frame) / self.rate_hz
        return seconds

    def at(self, name: str, moment: str) -> FloatArray:
        """A point at a moment, shape (N, 3). [m]"""
        return self.read(self.path(name), self._one(moment), bat=name in BAT_POINTS)[:, 0]

    def com_at(self, moment: str) -> FloatArray:
        """Centre of mass at a moment, shape (N, 3). [m]"""
        return self.read(self.com, self._one(moment))[:, 0]

    def hands_at(self, moment: str) -> FloatArray:
        """Half way between the hands at a moment, shape (N, 3). [m]"""
        middle: FloatArray = (self.at("front_hand", moment) + self.at("back_hand", moment)) / 2
        return middle

    def foot_at(self, side: str, moment: str) -> FloatArray:
        """Middle of a foot at a moment, shape (N, 3). [m]"""
        return middle_of_foot(*(self.at(f"{side}_{name}", moment) for name in ("heel", "ball", "ankle")))

    def bat_at(self, moment: str) -> FloatArray:
        """Unit direction from knob to barrel at a moment, shape (N, 3). [-]"""
        return unit(self.at("bat_barrel", moment) - self.at("bat_knob", moment))

    @property
    def hands(self) -> FloatArray:
        """Half way between the hands at the frames, shape (N, F, 3). [m]"""
        return self.once("hands", lambda: (self.path("front_hand") + self.path("back_hand")) / 2)

    @property
    def sweet_spot(self) -> FloatArray:
        """Point on the bat's axis at the set-up's distance from the barrel's end, shape (N, F, 3). [m]"""
        from_end = self.swing.setup.sweet_spot_m
        return self.once("spot", lambda: on_bat(self.path("bat_knob"), self.path("bat_barrel"), from_end))

    def sweet_spot_at(self, moment: str) -> FloatArray:
        """Shape (N, 3). [m]"""
        return self.read(self.sweet_spot, self._one(moment), bat=True)[:, 0]

    def times(self, first: str, last: str, *, before_s: float = 0.0, every_s: float | None = None) -> FloatArray:
        """Evenly spaced times from one moment to another, both included, shape (N, T). [frames]

        Parameters
        ----------
        first, last : str
        before_s : float
            Begin this much earlier. [s]
        every_s : float, optional
            Spacing at most; a frame where not given. [s]

        Raises
        ------
        NotMeasurableError
            In the swing as recorded, one of them was not found, or they come in the other order.
        """
        start = self.time(first) * self.rate_hz - self.first_frame - before_s * self.rate_hz
        start, stop = np.maximum(start, 0.0), self.time(last) * self.rate_hz - self.first_frame
        if self.swing.moments[last].time_s < self.swing.moments[first].time_s:  # type: ignore[operator]
            raise NotMeasurableError(f"{last} comes before {first}")
        # A drawn swing may have them exchanged: its span is then empty, not backward.
        stop = np.maximum(stop, start)
        step = 1.0 if every_s is None else every_s * self.rate_hz
        count = max(int(np.ceil(float(np.max(stop - start)) / step - 1e-9)), 1) + 1
        grid: FloatArray = start[:, None] + (stop - start)[:, None] * np.linspace(0.0, 1.0, count)
        return grid

    def read(self, paths: FloatArray, times: FloatArray, *, bat: bool = False, rate: bool = False) -> FloatArray:
        """Paths at times, by the cubic through the four nearest frames.

        Parameters
        ----------
        paths : ndarray, shape (N, F, ...)
            At the frames; NaN where missing.
        times : ndarray, shape (N, T)
            [frames from `first_frame`]
        bat : bool
            They belong to the bat: up to a contact seen in it only the frames before count, later those after.
        rate : bool
            Give the rate of change instead. [unit of `paths` / s]

        Returns
        -------
        ndarray, shape (N, T, ...)
            Where one of the four frames is missing, the nearest frame; NaN where that is missing too, beyond the
            recording's ends, and on a side of a contact with fewer than four frames.
        """
        count = paths.shape[1]
        low, high = np.zeros_like(times), np.full_like(times, count - 1.0)
        if bat and self.seam is not None:
            after = times > self.when["contact"][:, None] + 1e-9
            low, high = np.where(after, self.seam + 1.0, low), np.where(after, high, float(self.seam))
            # A drawn contact may lie farther off, but the path breaks where it was seen to: no rate goes beyond it.
            broken = float(self.swing.moments["contact"].time_s or 0.0) * self.rate_hz - self.first_frame
            times = np.where(after, np.maximum(times, broken), np.minimum(times, broken)) if rate else times
        start = np.clip(np.floor(times + 1e-9) - 1.0, low, high - (STENCIL - 1.0))
        lacking = (high - low < STENCIL - 1.0) | (times < -1e-6) | (times > count - 1.0 + 1e-6)
        index = np.where(lacking, 0, start).astype(np.intp)[..., None] + np.arange(STENCIL)
        weights = (_rate_weights if rate else _weights)(times - start)
        weights = np.where(lacking[..., None], np.nan, weights) * (self.rate_hz if rate else 1.0)
        rows = np.arange(len(paths))[:, None, None]
        stencil = paths[rows, np.clip(index, 0, count - 1)]
        value: FloatArray = np.einsum("ntk,ntk...->nt...", weights, stencil)
        if not rate and not np.isfinite(value).all():
            nearest = np.clip(np.round(times), low, high).astype(np.intp)
            missing = ~np.isfinite(value) & ~lacking.reshape(lacking.shape + (1,) * (value.ndim - 2))
            value = np.where(missing, paths[rows[..., 0], np.clip(nearest, 0, count - 1)], value)
        return value

    @property
    def seam(self) -> int | None:
        """Last frame before a contact that was seen in the bat."""
        contact = self.swing.moments["contact"]
        seen = contact.index is not None and contact.method in STRUCK
        return contact.index - self.first_frame if seen and contact.index is not None else None

    def _one(self, moment: str) -> FloatArray:
        return (self.time(moment) * self.rate_hz - self.first_frame)[:, None]


def readings(swing: Swing, pitch_deg: float) -> Readings:
    """The swing as it was recorded: one version.

    Parameters
    ----------
    swing : Swing
    pitch_deg : float
        Angle of the pitch at the plate. [deg]
    """
    return Readings(
        swing=swing,
        points=swing.points[None],
        com=swing.com[None],
        frames={name: rotation[None] for name, rotation in swing.frames.items()},
        head_forward=swing.head_forward[None],
        height_m=np.array([swing.height_m]),
        pitch_deg=np.array([pitch_deg]),
        when={
            name: np.array([moment.time_s * swing.rate_hz])
            for name, moment in swing.moments.items()
            if moment.time_s is not None
        },
    )


def _weights(x: FloatArray) -> FloatArray:
    """Lagrange's weights of the frames 0 to 3 at x, shape (..., 4)."""
    a, b, c, d = x, x - 1.0, x - 2.0, x - 3.0
    return np.stack([-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0], axis=-1)


def _rate_weights(x: FloatArray) -> FloatArray:
    """Their derivatives, shape (..., 4). [1 / frame]"""
    a, b, c, d = x, x - 1.0, x - 2.0, x - 3.0
    return np.stack(
        [
            -(b * c + b * d + c * d) / 6.0,
            (a * c + a * d + c * d) / 2.0,
            -(a * b + a * d + b * d) / 2.0,
            (a * b + a * c + b * c) / 6.0,
        ],
        axis=-1,
    )


def greatest(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Greatest of evenly spaced values, and where it lies, by the parabola through it and its neighbours.

    Parameters
    ----------
    values : ndarray, shape (N, T)

    Returns
    -------
    (value, place)
        Shape (N,) each; the place counts values from the first, and is an end's where that is greatest.

    Raises
    ------
    NotMeasurableError
        None of the first version's is known.
    """
    if not np.isfinite(values[0]).any():
        raise NotMeasurableError("points it needs are missing in the span")
    filled = np.where(np.isfinite(values), values, -np.inf)
    peak, rows = np.argmax(filled, axis=1), np.arange(len(values))
    # A drawn version may have none where the recorded one has some.
    here = np.where(np.isfinite(filled[rows, peak]), filled[rows, peak], np.nan)
    last = values.shape[1] - 1
    inner = (peak > 0) & (peak < last)
    before, after = filled[rows, np.maximum(peak - 1, 0)], filled[rows, np.minimum(peak + 1, last)]
    inner &= np.isfinite(before) & np.isfinite(after)
    before, after = np.where(inner, before, here), np.where(inner, after, here)
    bend = before - 2.0 * here + after
    offset = np.where(bend < 0.0, np.clip(0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), -0.5, 0.5), 0.0)
    value = here - 0.25 * (before - after) * offset
    return np.where(np.isfinite(value), value, np.nan), peak + offset


def distance(first: FloatArray, second: FloatArray) -> FloatArray:
    """Distance between points of shape (..., D), shape (...). [m]"""
    return np.linalg.norm(first - second, axis=-1)
