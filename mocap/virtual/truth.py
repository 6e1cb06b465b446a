"""What is exactly true of an invented hitter's swing: nothing here is found from samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from mocap.capture import FloatArray
from mocap.swing import POINTS
from mocap.virtual.forces import GroundForces
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.measures_truth import Value, measures_of, sweet_spot_path, zone_span
from mocap.virtual.motion import Motion, rate_of, second_rate_of, spin_of

#: Points of the hitting zone's path.
ZONE_POINTS = 201


@dataclass(frozen=True)
class Truth:
    """A swing at the frames of a recording; hitting frame, a left-handed hitter as his right-handed mirror image.

    The origin is the floor midway between the ankles at plant. Each part is worked out when it is first asked for.

    Attributes
    ----------
    motion : Motion
        The same swing at any time.
    rate_hz : float
        [Hz]
    """

    motion: Motion
    rate_hz: float

    def __getitem__(self, name: str) -> FloatArray:
        """Path of one point, shape (F, 3). [m]"""
        return self.points[:, POINTS.index(name)]

    @property
    def hitter(self) -> VirtualHitter:
        """Whose swing it is."""
        return self.motion.hitter

    @cached_property
    def from_plant_s(self) -> FloatArray:
        """Times of the frames, shape (F,). [s from plant]"""
        return self.motion.times(self.rate_hz)

    @cached_property
    def time_s(self) -> FloatArray:
        """Times of the frames, shape (F,). [s from the first frame]"""
        return self.from_plant_s - self.from_plant_s[0]

    @cached_property
    def points(self) -> FloatArray:
        """Shape (F, P, 3), in the order of `mocap.swing.POINTS`. [m]"""
        by_name = self.motion.points(self.from_plant_s)
        return np.stack([by_name[name] for name in POINTS], axis=1)

    @cached_property
    def frames(self) -> Mapping[str, FloatArray]:
        """World from segment, shape (F, 3, 3); names and axes as `mocap.swing.Swing.frames`, without the head."""
        return MappingProxyType(self.motion.frames(self.from_plant_s))

    @cached_property
    def angular_velocity(self) -> Mapping[str, FloatArray]:
        """Of the same segments, in the world frame, shape (F, 3). [rad/s]"""

        def turned(time: FloatArray) -> FloatArray:
            return np.stack(list(self.motion.frames(time).values()), axis=1)

        spins = spin_of(turned, self.from_plant_s)
        return MappingProxyType({name: spins[:, column] for column, name in enumerate(self.frames)})

    @cached_property
    def com(self) -> FloatArray:
        """Centre of mass, shape (F, 3). [m]"""
        return self.motion.centre_of_mass(self.from_plant_s)

    @cached_property
    def com_velocity(self) -> FloatArray:
        """Shape (F, 3). [m/s]"""
        return rate_of(self.motion.centre_of_mass, self.from_plant_s)

    @cached_property
    def com_acceleration(self) -> FloatArray:
        """Shape (F, 3). [m/s^2]"""
        return second_rate_of(self.motion.centre_of_mass, self.from_plant_s)

    @cached_property
    def sweet_spot(self) -> FloatArray:
        """Of the bat, shape (F, 3). [m]"""
        return sweet_spot_path(self.motion, self.from_plant_s)

    @cached_property
    def sweet_spot_velocity(self) -> FloatArray:
        """Shape (F, 3). [m/s]"""
        return rate_of(lambda time: sweet_spot_path(self.motion, time), self.from_plant_s)

    @cached_property
    def hitting_zone(self) -> FloatArray:
        """Path of the sweet spot from where it enters the hitting zone to where it leaves it, shape (N, 3). [m]"""
        entry, leave = zone_span(self.motion, self.motion.moments["contact"])
        return sweet_spot_path(self.motion, np.linspace(entry, leave, ZONE_POINTS))

    @cached_property
    def forces(self) -> GroundForces:
        """Ground reactions at the frames, on the body without the bat."""
        return self.motion.forces(self.from_plant_s)

    @cached_property
    def moments(self) -> Mapping[str, float]:
        """Every name of `mocap.swing.MOMENTS`. [s from the first frame]"""
        start = float(self.from_plant_s[0])
        return MappingProxyType({name: when - start for name, when in self.motion.moments.items()})

    @cached_property
    def measures(self) -> Mapping[str, Value]:
        """Every registered measure at the exact moments, in its registered unit."""
        return MappingProxyType(measures_of(self.motion))


def truth_of(hitter: VirtualHitter, rate_hz: float, *, bat_kg: float | None = None) -> Truth:
    """Everything that is true of a hitter's swing.

    Parameters
    ----------
    hitter : VirtualHitter
    rate_hz : float
        Of the frames. [Hz]
    bat_kg : float, optional
        Mass of the bat, to be counted into the centre of mass. [kg]

    Returns
    -------
    Truth

    Raises
    ------
    OptionError
        No body meets the hitter's targets.
    """
    return Truth(Motion.of(hitter, bat_kg=bat_kg), rate_hz)
