"""Twenty random hitters, recorded without a flaw or with noise, and what is true of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pytest

from mocap.capture import Capture, ForcePlate
from mocap.errors import OptionError
from mocap.kinematics.build import build_swing
from mocap.kinematics.measuring import REGISTRY
from mocap.kinematics.pitch import descent
from mocap.kinematics.readings import NotMeasurableError, readings
from mocap.kinematics.registry import Registered
from mocap.swing import POINTS, FootForces, Hitter, Setup, Swing
from mocap.virtual.hitter import random_hitter
from mocap.virtual.measures_truth import Value, measures_of
from mocap.virtual.motion import Motion, second_rate_of
from mocap.virtual.truth import Truth

HITTERS, SEED = 20, 20260
#: A hitter whose body falls faster than this share of free fall is drawn anew: his feet would have to hold on.
LIGHTEST = 0.85
LEVELS = ("adult", "college", "youth")
#: The lab's axes: turned by this much about the vertical, and shifted.
TURN, SHIFT = np.radians(37.0), np.array([2.1, -1.3, 0.0])


@dataclass(frozen=True)
class Case:
    """One hitter, what is true of him, and recordings of him at a rate."""

    motion: Motion
    rate_hz: float
    exact: Mapping[str, Value]
    seed: int
    _built: dict[object, Swing] = field(default_factory=dict)

    @cached_property
    def truth(self) -> Truth:
        return Truth(self.motion, self.rate_hz)

    @cached_property
    def frames(self) -> dict[str, int]:
        """Frame nearest to each true moment."""
        return {name: round(when * self.rate_hz) for name, when in self.truth.moments.items()}

    @cached_property
    def at_frames(self) -> dict[str, Value]:
        """Every measure as it truly is at those frames."""
        start = self.truth.from_plant_s[0]
        return measures_of(self.motion, {n: i / self.rate_hz + start for n, i in self.frames.items()})

    @cached_property
    def plate_tip(self) -> np.ndarray:
        p = self.motion.hitter.parameters
        return np.array([-p.plate_behind_m, -p.barrel.plate_line_m, 0.0])

    @property
    def hitter(self) -> Hitter:
        h = self.motion.hitter
        return Hitter(height_m=h.height_m, mass_kg=h.mass_kg, bats=h.bats, sex=h.sex)

    def into_lab(self, vectors: np.ndarray) -> np.ndarray:
        """Directions of the hitting frame in the lab: a left-handed hitter is the mirror image."""
        c, s = np.cos(TURN), np.sin(TURN)
        mirrored = vectors * [1.0, -1.0 if self.motion.hitter.bats == "left" else 1.0, 1.0]
        return mirrored @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]).T

    def setup(self, moments: Mapping[str, int] | None = None) -> Setup:
        return Setup(
            pitcher=tuple(self.into_lab(np.array([1.0, 0.0, 0.0]))),
            plate=tuple(self.into_lab(self.plate_tip) + SHIFT),
            catcher_behind_m=self.motion.hitter.parameters.catcher_behind_m,
            moments=moments or {},
            pitch_location="middle",
        )

    def capture(self, noise_m: float = 0.0, plates_hz: float | None = None) -> Capture:
        """The joint centres as a lab would label them, and two plates."""
        front, back = ("L_", "R_") if self.motion.hitter.bats == "right" else ("R_", "L_")
        labels = tuple(name.upper().replace("FRONT_", front).replace("BACK_", back) for name in POINTS)
        points = self.into_lab(self.truth.points) + SHIFT
        points = points + noise_m * np.random.default_rng(self.seed).normal(size=points.shape)
        plates = self._plates(plates_hz) if plates_hz else ()
        residuals = np.full(points.shape[:2], noise_m)
        return Capture(self.motion.hitter.id, labels, points, self.rate_hz, residuals, plates=plates)

    def _plates(self, rate_hz: float) -> tuple[ForcePlate, ...]:
        """A plate under each foot, the seam half way between the ankles in the stance."""
        per_frame = round(rate_hz / self.rate_hz)
        time = self.truth.from_plant_s[0] + np.arange(per_frame * len(self.truth.time_s)) / rate_hz
        forces = self.motion.forces(time)
        first = self.motion.points(time[0])
        seam = float(first["front_ankle"][0, 0] + first["back_ankle"][0, 0]) / 2
        plates = []
        for force, place, low, high in (
            (forces.back, forces.back_at, seam - 1.5, seam),
            (forces.front, forces.front_at, seam, seam + 1.5),
        ):
            corners = np.array([[high, 1, 0], [low, 1, 0], [low, -1, 0], [high, -1, 0]], dtype=float)
            pressure = np.where(force[:, 2:] > 20.0, self.into_lab(place) + SHIFT, np.nan)
            moment = np.cross(self.into_lab(place - corners.mean(axis=0)), self.into_lab(force))
            plates.append(
                ForcePlate(2, self.into_lab(corners) + SHIFT, self.into_lab(force), moment, pressure, rate_hz)
            )
        return tuple(plates)

    def swing(self, *, hand_set: bool = False, noise_m: float = 0.0, plates_hz: float | None = None) -> Swing:
        """What the product makes of a recording."""
        key = (hand_set, noise_m, plates_hz)
        if key not in self._built:
            setup = self.setup(self.frames if hand_set else None)
            self._built[key] = build_swing(self.capture(noise_m, plates_hz), self.hitter, setup)
        return self._built[key]

    def exact_swing(self) -> Swing:
        """A swing whose every sample is true, with moments at the nearest frames: nothing was fitted or filtered."""
        truth = self.truth
        return replace(
            self.swing(hand_set=True, plates_hz=self.rate_hz),
            points=truth.points - self.plate_tip,
            frames=dict(truth.frames),
            com=truth.com - self.plate_tip,
            forces=FootForces(
                truth.forces.front,
                truth.forces.back,
                truth.forces.front_at - self.plate_tip,
                truth.forces.back_at - self.plate_tip,
                self.rate_hz,
            ),
        )

    @cached_property
    def strides(self) -> bool:
        """Whether the front foot moves at 0.6 m/s before plant; some hitters hardly lift it."""
        path = 0.5 * (self.truth["front_ankle"] + self.truth["front_ball"])
        speed = np.linalg.norm(np.gradient(path, 1.0 / self.rate_hz, axis=0), axis=1)
        return bool(speed[: self.frames["plant"]].max() > 0.6)

    @cached_property
    def single_step(self) -> bool:
        """Whether the front foot goes forward in one step that clears the floor by more than 5 cm: no tap, no glide."""
        return len(steps_of_front_foot(self.truth, 0.01)) == len(steps_of_front_foot(self.truth, 0.05)) == 1

    def values(self, swing: Swing) -> dict[str, Value | None]:
        """Every measure of a swing, None where it cannot be taken."""
        return {name: taken(entry, swing) for name, entry in REGISTRY.items()}

    def at(self, rate_hz: float) -> Case:
        """The same hitter at another rate."""
        return Case(self.motion, rate_hz, self.exact, self.seed)


def steps_of_front_foot(truth: Truth, clear_m: float) -> list[tuple[float, float]]:
    """When the front foot is higher over the floor than `clear_m`: start and end of each step. [s from first frame]"""
    lowest = np.min([truth[f"front_{name}"][:, 2] for name in ("heel", "ball", "toe")], axis=0)
    before = truth.time_s <= truth.moments["plant"]
    up = np.concatenate([[False], (lowest - lowest[0] > clear_m) & before, [False]])
    edges = np.flatnonzero(np.diff(up.astype(int))).reshape(-1, 2)
    return [(truth.time_s[start], truth.time_s[end - 1]) for start, end in edges]


def taken(entry: Registered, swing: Swing) -> Value | None:
    """One measure of a swing."""
    try:
        if entry.missing(swing):
            return None
        value = entry.function(readings(swing, descent(swing.setup).angle_deg))[0]
    except NotMeasurableError:
        return None
    return str(value) if isinstance(value, str) else float(value)


def random_motion(rng: np.random.Generator, number: int) -> Motion:
    """A hitter whom the floor can carry; two of three meet a ball, so that the barrel shows contact."""
    while True:
        hitter = random_hitter(rng, level=LEVELS[number % len(LEVELS)])
        swing = hitter.parameters
        struck = replace(swing, barrel=replace(swing.barrel, impact_loss=(0.0, 0.25, 0.40)[number // 2 % 3]))
        motion = Motion.of(replace(hitter, parameters=struck))
        try:
            motion.forces(motion.times(1200.0))
        except OptionError:  # a floor cannot carry him
            continue
        if second_rate_of(motion.centre_of_mass, motion.times(300.0))[:, 2].min() > -LIGHTEST * 9.80665:
            return motion


@pytest.fixture(scope="session")
def cases() -> list[Case]:
    """Twenty hitters at 240 Hz."""
    rng = np.random.default_rng(SEED)
    motions = [random_motion(rng, number) for number in range(HITTERS)]
    return [Case(motion, 240.0, measures_of(motion), seed) for seed, motion in enumerate(motions)]
