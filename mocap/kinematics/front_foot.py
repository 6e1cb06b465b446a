"""The front foot: what of it was recorded, where it stands, and when it strides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.blow import noise_of
from mocap.kinematics.filtering import BODY_CUTOFF_HZ, lowpass, runs, speed
from mocap.kinematics.moments import MotionPaths
from mocap.kinematics.smoothed_points import blur_width_s

#: The stride is looked for from this long before the shoulders turn fastest to this long before. [s] This project's
#: defaults.
STRIDE_BEFORE_S, STRIDE_ENDS_S = 1.5, 0.04
#: The foot moves at least this fast in a stride. [m/s] This project's default.
SLOWEST_STRIDE = 0.2
#: A movement at least as fast as this share of the fastest is a step of its own. This project's default.
STEP_SHARE = 0.5
#: A foot slower than this, or than half its stride, near the floor has about landed. [m/s] This project's default.
PLANTED_SPEED = 0.5
#: A foot point counts as near the floor within this height over its resting height. [m] This project's default.
NEAR_FLOOR = 0.05
#: A foot is still below this speed for this long. [m/s], [s] This project's defaults.
STILL_SPEED, STILL_S = 0.10, 0.10
#: Sole and flesh give way by this much from the first touch to rest: a point this far from where it rests is on its
#: way. [m] This project's own estimate.
SOLE_M = 0.005
#: Feet are smoothed at this cut-off before places are compared, as their landing is short; at a lower one where noise
#: left by it would exceed the share of `SOLE_M` that follows, down to the lower one. [Hz], [-] This project's defaults.
FOOT_CUTOFF_HZ, LEAST_CUTOFF_HZ, NOISE_SHARE = 30.0, 8.0, 0.25
#: A movement is told from noise at so many of its standard deviations.
SURE = 4.0
FOREFOOT, HEEL = ("ball", "toe"), ("heel",)


@dataclass(frozen=True)
class FrontFoot:
    """The front foot's points over the floor.

    Attributes
    ----------
    paths : MotionPaths
    turn : int
        Frame in which the shoulders turn fastest.
    """

    paths: MotionPaths
    turn: int

    def path(self, *points: str) -> FloatArray | None:
        """Mean path of the points that were recorded, unfiltered, shape (F, 3); None where none was. [m]"""
        known = [self.paths.raw[f"front_{point}"] for point in points if f"front_{point}" in self.paths.raw]
        known = [path for path in known if np.isfinite(path[self._before_turn]).all(axis=1).any()]
        return np.mean(known, axis=0) if known else None

    @cached_property
    def sole(self) -> dict[str, FloatArray]:
        """Forefoot and heel, else the ankle. [m]"""
        found = {"forefoot": self.path(*FOREFOOT), "heel": self.path(*HEEL)}
        known = {name: path for name, path in found.items() if path is not None}
        return known or {"ankle": self.paths.raw["front_ankle"]}

    @cached_property
    def noise(self) -> float:
        """Of a part of the sole per axis. [m]"""
        return max(noise_of(path[: self.turn]) for path in self.sole.values())

    @cached_property
    def cutoff_hz(self) -> float:
        """Of the smoothing. [Hz]"""
        kept = (NOISE_SHARE * SOLE_M / self.noise) ** 2 if self.noise > 0.0 else np.inf
        return float(np.clip(0.5 * self.paths.rate_hz * kept, LEAST_CUTOFF_HZ, FOOT_CUTOFF_HZ))

    @property
    def left_noise(self) -> float:
        """What the smoothing leaves of the noise, per axis. [m]"""
        return self.noise * float(np.sqrt(min(2.0 * self.cutoff_hz / self.paths.rate_hz, 1.0)))

    @property
    def least_way(self) -> float:
        """A part of the sole that has come so far is moving. [m]"""
        return max(SOLE_M, SURE * self.left_noise)

    def slow_of(self, part: str) -> FloatArray:
        """Standard deviation per axis of a part's own slow error, shape (F,). [m]

        What smoothing before the recording came here has left in a part is slow, so that no smoothing tells it from a
        movement, and much larger in a part that the body hides.
        """
        points = FOREFOOT if part == "forefoot" else (part,)
        own = [self.paths.slow[name].sd for point in points if (name := f"front_{point}") in self.paths.slow]
        return np.asarray(np.mean(own, axis=0) if own else np.zeros(len(self.speed)), dtype=np.float64)

    def way_of(self, part: str, times: float, least: float) -> FloatArray:
        """How far a part of the foot has surely come, shape (F,): so many deviations of its own slow error. [m]"""
        return np.asarray(np.maximum(times * self.slow_of(part), least), dtype=np.float64)

    def blur_s(self, index: int) -> float:
        """Standard deviation of the normal curve that smoothing before the recording blurs a path with. [s]"""
        slow = self.paths.slow.get("front_ankle")
        return 0.0 if slow is None else blur_width_s(float(slow.per_s[index]))

    @cached_property
    def smooth(self) -> dict[str, FloatArray]:
        """The sole, smoothed lightly. [m]"""
        return {name: lowpass(path, self.paths.rate_hz, self.cutoff_hz) for name, path in self.sole.items()}

    @cached_property
    def standing(self) -> dict[str, FloatArray]:
        """What shows that the foot stands, smoothed lightly: of points from cameras the ankle instead of the heel. [m]

        The body often hides the heel from a camera, and it is the heel that rises first; a foot is rigid enough from
        heel to ankle that neither moves without the other.
        """
        if not self.paths.slow or "heel" not in self.sole:
            return self.smooth
        ankle = lowpass(self.paths.raw["front_ankle"], self.paths.rate_hz, self.cutoff_hz)
        return {name: path for name, path in self.smooth.items() if name != "heel"} | {"ankle": ankle}

    @property
    def _before_turn(self) -> slice:
        return slice(max(0, self.turn - self.paths.frames(STRIDE_BEFORE_S)), self.turn + 1)

    @cached_property
    def speed(self) -> FloatArray:
        """Of the foot's middle, shape (F,). [m/s]"""
        cutoff = min(self.cutoff_hz, BODY_CUTOFF_HZ)
        ankle, ball = self.paths.raw["front_ankle"], self.path("ball")
        middle = ankle if ball is None else (ankle + ball) / 2
        return speed(lowpass(middle, self.paths.rate_hz, cutoff), self.paths.rate_hz)

    @property
    def still_speed(self) -> float:
        """A foot slower than this is still. [m/s]"""
        # White noise through the smoothing moves at its frequencies, evenly spread up to the cut-off, on three axes.
        return max(STILL_SPEED, 2.0 * self.left_noise * 2.0 * np.pi * min(self.cutoff_hz, BODY_CUTOFF_HZ))

    @cached_property
    def stride_peak(self) -> int | None:
        """Frame in which the foot moves fastest in its last step before the turn; None without a stride."""
        window = self._before_turn
        moving = self.speed[window.start : max(self.turn - self.paths.frames(STRIDE_ENDS_S), window.start + 1)]
        if not np.isfinite(moving).any() or np.nanmax(moving) < SLOWEST_STRIDE:
            return None
        # Toes that tap the floor on their way make two steps, of which the second lands.
        start, stop = runs(np.nan_to_num(moving) >= STEP_SHARE * np.nanmax(moving))[-1]
        return window.start + start + int(np.nanargmax(moving[start:stop]))

    @cached_property
    def about_landed(self) -> int | None:
        """Frame after the stride's fastest in which the foot has slowed down near the floor."""
        if self.stride_peak is None:
            return None
        start, stop = self.stride_peak, self.turn + self.paths.frames(0.1)
        slow = min(PLANTED_SPEED, 0.5 * float(self.speed[start]))
        near = np.zeros(len(self.speed), dtype=bool)
        for path in self.smooth.values():
            near |= path[:, 2] <= median(path[self.turn : stop, 2]) + NEAR_FLOOR
        hits = np.flatnonzero((self.speed[start:stop] < slow) & near[start:stop])
        return start + int(hits[0]) if len(hits) else None

    def over_rest(self, parts: Mapping[str, FloatArray], landed: int) -> dict[str, FloatArray]:
        """Heights of parts over where each rests after the landing, shape (F,). [m]"""
        last = len(self.speed) - 1
        start = min(landed + self.paths.frames(0.04), last)
        rests = slice(start, max(self.turn, landed + self.paths.frames(0.06), start) + 1)
        return {name: path[:, 2] - median(path[rests, 2]) for name, path in parts.items()}


def median(values: FloatArray) -> FloatArray:
    """Median along the first axis, of what was seen; NaN where nothing was."""
    seen = values[np.isfinite(values).reshape(len(values), -1).all(axis=1)]
    return np.asarray(np.median(seen, axis=0) if len(seen) else np.full(values.shape[1:], np.nan))
