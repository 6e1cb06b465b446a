"""What a recording holds, as recorded: points, analog channels, force plates, events, notes.

Lab frame, sides still left and right, metres and seconds. A missing sample is NaN.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.errors import InputError

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ForcePlate:
    """One force plate: where it lies and what it felt.

    Attributes
    ----------
    plate_type : int
        C3D FORCE_PLATFORM:TYPE.
    corners : ndarray, shape (4, 3)
        Corners in the lab frame. [m]
    force : ndarray, shape (A, 3)
        Ground reaction force on the person, lab frame, at the analog rate. [N]
    moment : ndarray, shape (A, 3)
        Moment of that force about the centre of the plate's surface, lab frame. [N m]
    centre_of_pressure : ndarray, shape (A, 3)
        On the plate's surface, lab frame; NaN where the plate is unloaded. [m]
    rate_hz : float
        Analog sampling rate. [Hz]
    """

    plate_type: int
    corners: FloatArray
    force: FloatArray
    moment: FloatArray
    centre_of_pressure: FloatArray
    rate_hz: float


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
        Reconstruction residual of each sample, zero where the file states none; NaN where not seen. [m]
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
        What the file says of the person: `name`, `height_m`, `mass_kg`, and the lab's measurements as stored.
    notes : tuple of str
        What was repaired or doubted while reading.
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
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        expected = (self.points.shape[0], len(self.labels), 3)
        if self.points.shape != expected:
            raise InputError(f"{self.source}: points have shape {self.points.shape}, expected {expected}")
        if self.residuals.shape != expected[:2]:
            raise InputError(f"{self.source}: residuals have shape {self.residuals.shape}, expected {expected[:2]}")
        if not self.rate_hz > 0:
            raise InputError(f"{self.source}: point rate is {self.rate_hz} Hz; it must be positive")

    @property
    def n_frames(self) -> int:
        """Number of frames F."""
        return int(self.points.shape[0])

    @property
    def duration_s(self) -> float:
        """Time from the first to the last frame. [s]"""
        return (self.n_frames - 1) / self.rate_hz if self.n_frames else 0.0
