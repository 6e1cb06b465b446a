"""A drill position that is held: the landing posture, with the sway of somebody who stands still.

The feet stay where they are. Pelvis, trunk, head and arms sway as one over them, the legs give way by inverse
kinematics, and the arms with the bat rock a little about the line of the shoulders; no segment changes its length.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import unit
from mocap.kinematics.inertia import Segment, centre_of_mass
from mocap.kinematics.moments import GRAVITY
from mocap.reference.limbs import middle_joint
from mocap.reference.targets import middle_of_sole
from mocap.virtual.forces import GroundForces
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.motion import Motion, second_rate_of

#: Frequencies of quiet standing's sway, most of which lies below 1 Hz, each with an amplitude that falls with it. [Hz]
SWAY_HZ = np.array([0.15, 0.31, 0.52, 0.83, 1.27])
#: Sway of the pelvis and of the trunk's and the arms' direction per axis, one standard deviation. [m], [rad]
SWAY_M, SWAY_RAD = 0.002, np.radians(0.4)
SIDES = ("front", "back")
ARMS = (*(f"{side}_{joint}" for side in SIDES for joint in ("elbow", "wrist", "hand")), "bat_knob", "bat_barrel")
LEGS = tuple(f"{side}_{joint}" for side in SIDES for joint in ("ankle", "heel", "ball", "toe"))


@dataclass(frozen=True)
class Held:
    """A held posture at any time from its start; hitting frame, as right-handed.

    Attributes
    ----------
    hitter : VirtualHitter
    still : mapping of str to ndarray, shape (3,)
        Every point of the posture without sway. [m]
    duration_s : float
        [s]
    phases, sizes : ndarray, shape (9, K)
        Of the sway: three components of place [m], three of the body's turn, three of the arms' [rad].
    table : tuple of Segment
        Segment masses.
    """

    hitter: VirtualHitter
    still: Mapping[str, FloatArray]
    duration_s: float
    phases: FloatArray
    sizes: FloatArray
    table: tuple[Segment, ...]

    @classmethod
    def landing(cls, motion: Motion, duration_s: float, rng: np.random.Generator) -> Held:
        """The posture of a swing at plant, the front foot on its whole sole.

        Raises
        ------
        OptionError
            No time to hold it.
        """
        if not duration_s > 0:
            raise OptionError(f"virtual recording: a posture held for {duration_s:g} s; give a positive time")
        swung = {name: path[0] for name, path in motion.points(0.0).items()}
        flat = motion.points(motion.hitter.parameters.timing.heel_down)
        foot = {name: flat[name][0] for name in LEGS if name.startswith("front_")}
        still = swung | foot | {"front_knee": _knee(swung, swung["front_hip"], foot["front_ankle"], "front")}
        phases = rng.uniform(0.0, 2.0 * np.pi, size=(9, len(SWAY_HZ)))
        sizes = rng.normal(size=(9, len(SWAY_HZ))) / SWAY_HZ
        # A sine's root mean square is its amplitude over the square root of two.
        sizes *= np.sqrt(2.0) / np.linalg.norm(sizes, axis=1, keepdims=True)
        sizes *= np.repeat([SWAY_M, SWAY_RAD, SWAY_RAD], 3)[:, None]
        return cls(motion.hitter, still, duration_s, phases, sizes, motion.table)

    def times(self, rate_hz: float) -> FloatArray:
        """Times at which a recording at a rate has its frames, shape (F,). [s]"""
        return np.arange(int(np.floor(self.duration_s * rate_hz + 1e-9)) + 1) / rate_hz

    def points(self, time: npt.ArrayLike) -> dict[str, FloatArray]:
        """Every point of `mocap.swing.POINTS`, each of shape (T, 3). [m]"""
        when = np.atleast_1d(np.asarray(time, dtype=np.float64))
        angle = 2.0 * np.pi * SWAY_HZ * when[:, None, None] + self.phases
        sway = np.sum(self.sizes * np.sin(angle), axis=2)
        pelvis, shoulders = self.still["pelvis"], self.still["front_shoulder"] - self.still["back_shoulder"]
        turn, rock = _turned(sway[:, 3:6]), _turned(sway[:, 6:7] * unit(shoulders))
        points = {}
        for name, at in self.still.items():
            if name in LEGS or name.endswith("_knee"):
                points[name] = np.broadcast_to(at, (len(when), 3)).copy()
                continue
            rocked = self.still["neck"] + rock @ (at - self.still["neck"]) if name in ARMS else at
            points[name] = pelvis + sway[:, :3] + (turn @ (rocked - pelvis)[..., None])[..., 0]
        for side in SIDES:
            points[f"{side}_knee"] = _knee(self.still, points[f"{side}_hip"], points[f"{side}_ankle"], side)
        return points

    @cached_property
    def _soles(self) -> dict[str, FloatArray]:
        single = {name: at[None] for name, at in self.still.items()}
        return {side: middle_of_sole(single, side)[0] * np.array([1.0, 1.0, 0.0]) for side in SIDES}

    def centre_of_mass(self, time: FloatArray) -> FloatArray:
        """Of the body without the bat, shape (T, 3). [m]"""
        return centre_of_mass(self.points(time), sides=SIDES, table=self.table)

    def forces(self, time: FloatArray) -> GroundForces:
        """Ground reaction under each foot by the lever rule of `mocap.virtual.forces`, each at its sole's middle."""
        com, acceleration = self.centre_of_mass(time), second_rate_of(self.centre_of_mass, time)
        total = self.hitter.mass_kg * (acceleration + np.array([0.0, 0.0, GRAVITY]))
        pressure = com[:, 0] - com[:, 2] * total[:, 0] / total[:, 2]
        front, back = self._soles["front"], self._soles["back"]
        share = np.clip((pressure - back[0]) / (front[0] - back[0]), 0.0, 1.0)[:, None]
        places = (np.broadcast_to(at, total.shape) for at in (front, back))
        return GroundForces(share * total, (1.0 - share) * total, *places)


def _knee(still: Mapping[str, FloatArray], hip: FloatArray, ankle: FloatArray, side: str) -> FloatArray:
    """Knee between a hip and an ankle that have moved, shape (..., 3): its bones as long, bent as it was. [m]"""
    was_hip, was, was_ankle = (still[f"{side}_{name}"] for name in ("hip", "knee", "ankle"))
    upper, lower = float(np.linalg.norm(was - was_hip)), float(np.linalg.norm(was_ankle - was))
    pole = np.broadcast_to(was - 0.5 * (was_hip + was_ankle), hip.shape)
    return middle_joint(hip, ankle, upper, lower, pole)


def _turned(vector: FloatArray) -> FloatArray:
    """Rotation matrices of small rotation vectors of shape (T, 3), shape (T, 3, 3); Rodrigues's formula."""
    angle = np.linalg.norm(vector, axis=1)[:, None, None]
    x, y, z = vector.T
    zero = np.zeros_like(x)
    skew = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    turned: FloatArray = np.eye(3) + np.sinc(angle / np.pi) * skew
    return turned + 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2 * skew @ skew
