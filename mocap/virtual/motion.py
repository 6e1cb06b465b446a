"""A hitter's movement as functions of continuous time: points, centre of mass, segment axes and their derivatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.inertia import Bat, Segment, centre_of_mass, segment_table
from mocap.kinematics.segment_frames import segment_frames
from mocap.reference.posed import exact_moments
from mocap.reference.postures import Postures
from mocap.reference.targets import fit_postures
from mocap.virtual.forces import GroundForces, forces_under
from mocap.virtual.hitter import VirtualHitter

#: Time steps of the five-point differences for first and second derivatives. [s] The shortest thing that happens, the
#: blow of the ball, has a time constant of 0.15 ms; at these steps truncation there and rounding everywhere stay below
#: one part in 100 000.
FIRST_STEP_S, SECOND_STEP_S = 2e-5, 5e-5
FIRST_WEIGHTS = np.array([1.0, -8.0, 0.0, 8.0, -1.0]) / 12.0
SECOND_WEIGHTS = np.array([-1.0, 16.0, -30.0, 16.0, -1.0]) / 12.0

SIDES = ("front", "back")


@dataclass(frozen=True)
class Motion:
    """A swing at any time, counted from plant; hitting frame, a left-handed hitter as his right-handed mirror image.

    Attributes
    ----------
    hitter : VirtualHitter
    postures : Postures
        The body that meets the targets of the hitter's parameters.
    bat_kg : float or None
        Mass of the bat, counted into the centre of mass midway between the hands; None: the body alone. [kg]
    """

    hitter: VirtualHitter
    postures: Postures
    bat_kg: float | None = None

    @classmethod
    def of(cls, hitter: VirtualHitter, *, bat_kg: float | None = None) -> Motion:
        """Pose a hitter.

        Raises
        ------
        OptionError
            No body meets his targets.
        """
        return cls(hitter, fit_postures(hitter.parameters), bat_kg)

    @property
    def height_m(self) -> float:
        """Standing height. [m]"""
        return self.hitter.parameters.height_m

    @cached_property
    def table(self) -> tuple[Segment, ...]:
        """Segment masses of a person of this sex and size."""
        return segment_table("auto", self.hitter.sex, self.height_m, self.hitter.mass_kg)

    @cached_property
    def moments(self) -> Mapping[str, float]:
        """Exact times of the key moments. [s from plant]"""
        return exact_moments(self.postures)

    def times(self, rate_hz: float) -> FloatArray:
        """Times at which a recording at a rate has its frames, shape (F,). [s from plant]"""
        timing = self.hitter.parameters.timing
        length = timing.contact + timing.after_contact - timing.start
        return timing.start + np.arange(int(np.floor(length * rate_hz + 1e-9)) + 1) / rate_hz

    def points(self, time: npt.ArrayLike) -> dict[str, FloatArray]:
        """Every point of `mocap.swing.POINTS`, each of shape (T, 3). [m]"""
        by_name = self.postures.points(np.atleast_1d(np.asarray(time, dtype=np.float64)))
        return {name: self.height_m * path for name, path in by_name.items()}

    def trunk_points(self, time: FloatArray) -> dict[str, FloatArray]:
        """The points from hips to head alone, each of shape (T, 3); much faster. [m]"""
        return {name: self.height_m * path for name, path in self.postures.trunk(time)[0].items()}

    def centre_of_mass(self, time: FloatArray) -> FloatArray:
        """Of the body, and of the bat where one has a mass, shape (T, 3). [m]"""
        bat = None if self.bat_kg is None else Bat(self.bat_kg)
        mass = None if bat is None else self.hitter.mass_kg
        return centre_of_mass(self.points(time), sides=SIDES, table=self.table, bat=bat, mass_kg=mass)

    def frames(self, time: FloatArray) -> dict[str, FloatArray]:
        """World from segment, each of shape (T, 3, 3); without the head, whose face the points do not show."""
        found = segment_frames(self.points(time), sides=SIDES)
        return {name: rotation for name, rotation in found.items() if name != "head"}

    def forces(self, time: FloatArray) -> GroundForces:
        """Ground reaction under each foot; see `mocap.virtual.forces`."""
        return forces_under(self.postures, self.hitter.mass_kg, time, table=self.table)


def rate_of(function: Callable[[FloatArray], FloatArray], time: FloatArray) -> FloatArray:
    """First derivative of a function of time, shape (T, ...). [unit / s]

    Parameters
    ----------
    function : callable
        Times of shape (N,) to values of shape (N, ...).
    time : ndarray, shape (T,)
        [s]
    """
    return _difference(function, time, FIRST_STEP_S, FIRST_WEIGHTS / FIRST_STEP_S)


def second_rate_of(function: Callable[[FloatArray], FloatArray], time: FloatArray) -> FloatArray:
    """Second derivative of a function of time, shape (T, ...). [unit / s^2]"""
    return _difference(function, time, SECOND_STEP_S, SECOND_WEIGHTS / SECOND_STEP_S**2)


def _difference(
    function: Callable[[FloatArray], FloatArray], time: FloatArray, step_s: float, weights: FloatArray
) -> FloatArray:
    values = function((time[:, None] + step_s * np.arange(-2, 3)).ravel())
    return np.einsum("k,tk...->t...", weights, values.reshape(len(time), 5, *values.shape[1:]))


def spin_of(function: Callable[[FloatArray], FloatArray], time: FloatArray) -> FloatArray:
    """Angular velocity of rotations that are a function of time, in the world frame, shape (T, ..., 3). [rad/s]

    Parameters
    ----------
    function : callable
        Times of shape (N,) to rotations of shape (N, ..., 3, 3), world from segment.
    time : ndarray, shape (T,)
        [s]

    Notes
    -----
    The skew-symmetric matrix of the angular velocity is R' R^T (e.g. Winter 2009, chapter 7).
    """
    skew = rate_of(function, time) @ np.swapaxes(function(time), -1, -2)
    pairs = ((2, 1), (0, 2), (1, 0))
    return np.stack([0.5 * (skew[..., i, j] - skew[..., j, i]) for i, j in pairs], axis=-1)
