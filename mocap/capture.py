"""What a recording holds, as recorded: points, analog channels, force plates, events, notes.

Lab frame, sides still left and right, metres and seconds. A missing sample is NaN.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.errors import InputError

FloatArray = npt.NDArray[np.float64]

#: Below this vertical force a plate counts as unloaded: the centre of pressure is not defined. [N]
UNLOADED_N = 20.0


@dataclass(frozen=True)
class PlateChannels:
    """Which analog channels a plate's values came from, and how they become forces; what a writer needs.

    Attributes
    ----------
    columns : tuple of int, length K
        Columns of `Capture.analog`, in the order that the plate's type asks for.
    origin : ndarray, shape (3,)
        FORCE_PLATFORM:ORIGIN, plate axes: from the sensor to the middle of the surface; for plates with four corner
        sensors half the distances between them and the depth of the surface. [m]
    matrix : ndarray, shape (K, K), or None
        Calibration matrix, which turns the channels, as a column, into the plate's outputs.
    zero : tuple of int
        FORCE_PLATFORM:ZERO: first and last frame of the baseline, counted from 1; (0, 0) for none to be taken off.
    length_unit_m : float
        Unit of length in the plate's moments and places where their channels name none. [m]
    """

    columns: tuple[int, ...]
    origin: FloatArray
    matrix: FloatArray | None = None
    zero: tuple[int, int] = (0, 0)
    length_unit_m: float = 1e-3


@dataclass(frozen=True)
class ForcePlate:
    """One force plate: where it lies and what it felt.

    Attributes
    ----------
    plate_type : int
        C3D FORCE_PLATFORM:TYPE.
    corners : ndarray, shape (4, 3)
        Corners in the lab frame: the plate's quadrants (+x +y), (-x +y), (-x -y), (+x -y). [m]
    force : ndarray, shape (A, 3)
        Ground reaction force on the person, lab frame, at the analog rate. [N]
    moment : ndarray, shape (A, 3)
        Moment of that force about the centre of the plate's surface, lab frame; NaN where the file does not tell it.
        [N m]
    centre_of_pressure : ndarray, shape (A, 3)
        On the plate's surface, lab frame; NaN where the plate is unloaded. [m]
    rate_hz : float
        Analog sampling rate. [Hz]
    channels : PlateChannels or None
        The analog channels that all this was worked out from; None where it came from elsewhere.
    """

    plate_type: int
    corners: FloatArray
    force: FloatArray
    moment: FloatArray
    centre_of_pressure: FloatArray
    rate_hz: float
    channels: PlateChannels | None = None

    @cached_property
    def normal(self) -> FloatArray:
        """Unit normal of the surface on the side on which the person stands, lab frame, shape (3,)."""
        across = self.corners[[0, 3]].mean(axis=0) - self.corners[[1, 2]].mean(axis=0)
        along = self.corners[[0, 1]].mean(axis=0) - self.corners[[2, 3]].mean(axis=0)
        normal = np.cross(across, along)
        normal = normal / np.linalg.norm(normal)
        pushed = self.force @ normal
        # A foot can only push, so the reaction points out of the floor; corners in the usual order turn z into it.
        return normal if pushed[np.abs(pushed) > UNLOADED_N].sum() > 0 else -normal

    @cached_property
    def free_moment(self) -> FloatArray:
        """Torque about the upward normal through the centre of pressure, shape (A,). [N m]

        On the person, counter-clockwise positive seen from above; NaN where the plate is unloaded. With r from the
        centre of the surface to the centre of pressure: normal . (moment - r x force).
        """
        arm = self.centre_of_pressure - self.corners.mean(axis=0)
        free: FloatArray = (self.moment - np.cross(arm, self.force)) @ self.normal
        return free


@dataclass(frozen=True)
class Event:
    """A named instant stored in the recording.

    Attributes
    ----------
    label : str
        Name as stored.
    context : str
        Side or group as stored, empty where there is none.
    time_s : float
        Time from the first stored frame. [s]
    """

    label: str
    context: str
    time_s: float


@dataclass(frozen=True)
class PointErrors:
    """How points that were smoothed over time may be off: slowly, in one direction more than in another.

    Attributes
    ----------
    covariance : ndarray, shape (F, P, 3, 3)
        Of each point's own error; NaN where it was not seen. [m^2]
    per_s : ndarray, shape (F, P)
        Standard deviation of the rate at which that error changes, over its own. [1/s]
    common : ndarray, shape (F, P, 3, K)
        By how much one standard deviation of each of K independent errors of the cameras' calibration moves a point: in
        all frames and points at once, so that no mean over frames makes it smaller. [m]
    filled : ndarray of bool, shape (F, P)
        Samples that were filled from the frames before and after, not measured.
    """

    covariance: FloatArray
    per_s: FloatArray
    common: FloatArray
    filled: npt.NDArray[np.bool_]

    @property
    def sd(self) -> FloatArray:
        """Standard deviation per axis with both parts, shape (F, P). [m]"""
        total = np.trace(self.covariance, axis1=2, axis2=3) + (self.common**2).sum(axis=(2, 3))
        return np.asarray(np.sqrt(total / 3.0), dtype=np.float64)

    def part(self, frames: slice = slice(None), points: slice | npt.NDArray[np.intp] = slice(None)) -> PointErrors:
        """Those of some frames and points."""
        return PointErrors(
            self.covariance[frames][:, points],
            self.per_s[frames][:, points],
            self.common[frames][:, points],
            self.filled[frames][:, points],
        )


@dataclass(frozen=True)
class Capture:
    """A recording as it was made, in metres, in the lab frame.

    Attributes
    ----------
    source : str
        Name of the file, for messages.
    labels : tuple of str, length P
        Point labels, unique, without the subject's prefix.
    points : ndarray, shape (F, P, 3)
        Coordinates; NaN where the point was not seen. [m]
    rate_hz : float
        Point sampling rate. [Hz]
    residuals : ndarray, shape (F, P)
        Reconstruction residual of each sample, zero where the file states none; NaN where not seen. Of smoothed points
        the standard deviation per axis of each. [m]
    first_frame : int
        Number that the recording gives to its first stored frame.
    analog : ndarray, shape (A, C)
        Analog channels, scaled to their own units; A is F times `analog_rate_hz` / `rate_hz`.
    analog_labels : tuple of str, length C
    analog_units : tuple of str, length C
    analog_rate_hz : float
        Zero where there is no analog channel. [Hz]
    plates : tuple of ForcePlate
    events : tuple of Event
    subject : mapping of str to value
        What the file says of the person: `name`, `height_m`, `mass_kg`, `bats` and `side` (dominant; `left` or
        `right`), and the lab's measurements as stored.
    cameras : ndarray of uint8, shape (F, P)
        Bit mask of the cameras that saw each sample; zero where the file states none.
    vertical : str
        The lab axis that the file says points up, such as `+z`; empty where it states none.
    notes : tuple of str
        What was repaired or doubted while reading.
    errors : PointErrors or None
        How points that were smoothed over time may be off, which show less scatter than they err; None of others.
    """

    source: str
    labels: tuple[str, ...]
    points: FloatArray
    rate_hz: float
    residuals: FloatArray
    first_frame: int = 1
    analog: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    analog_labels: tuple[str, ...] = ()
    analog_units: tuple[str, ...] = ()
    analog_rate_hz: float = 0.0
    plates: tuple[ForcePlate, ...] = ()
    events: tuple[Event, ...] = ()
    subject: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    cameras: npt.NDArray[np.uint8] = field(default_factory=lambda: np.zeros((0, 0), np.uint8))
    vertical: str = ""
    notes: tuple[str, ...] = ()
    errors: PointErrors | None = None

    def __post_init__(self) -> None:
        expected = (self.points.shape[0], len(self.labels), 3)
        if not self.cameras.size:
            object.__setattr__(self, "cameras", np.zeros(expected[:2], np.uint8))
        if self.points.shape != expected:
            raise InputError(f"{self.source}: points have shape {self.points.shape}, expected {expected}")
        if self.residuals.shape != expected[:2]:
            raise InputError(f"{self.source}: residuals have shape {self.residuals.shape}, expected {expected[:2]}")
        if self.cameras.shape != expected[:2]:
            raise InputError(f"{self.source}: camera masks have shape {self.cameras.shape}, expected {expected[:2]}")
        if self.errors is not None and self.errors.per_s.shape != expected[:2]:
            raise InputError(f"{self.source}: errors are stated of {self.errors.per_s.shape}, expected {expected[:2]}")
        if not self.rate_hz > 0:
            raise InputError(f"{self.source}: point rate is {self.rate_hz} Hz; it must be positive")

    @property
    def smoothed(self) -> bool:
        """Whether the points were smoothed over time."""
        return self.errors is not None

    @property
    def n_frames(self) -> int:
        """Number of frames F."""
        return int(self.points.shape[0])

    @property
    def duration_s(self) -> float:
        """Time from the first to the last frame. [s]"""
        return (self.n_frames - 1) / self.rate_hz if self.n_frames else 0.0
