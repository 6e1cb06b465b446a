"""An invented lab: where its axes and force plates lie, and what the plates' channels read.

Sign convention, that of the C3D user guide: plate axes come from FORCE_PLATFORM:CORNERS, z points into the floor; the
outputs are the force and the moment that the person applies TO the plate, in plate axes. The moment is about the
sensor, which lies under the surface: FORCE_PLATFORM:ORIGIN is the vector from the sensor to the middle of the surface,
its z negative. A plate of type 2 has its outputs for channels; one of type 4 has voltages, which its calibration matrix
turns into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

import numpy as np

from mocap.capture import UNLOADED_N, FloatArray, ForcePlate, PlateChannels
from mocap.errors import OptionError
from mocap.reference.parameters import SwingParameters
from mocap.virtual.forces import GroundForces

PlateKind = Literal[2, 4]

#: Noise of a plate's moments over that of its forces. [m]
NOISE_LEVER_M = 0.4 / 1.5
#: Sensitivity of a type 4 plate in its own axes: newtons, and newton metres, per volt.
SENSITIVITY = np.array([150.0, 150.0, 600.0, 300.0, 200.0, 120.0])
#: Cross-talk of such a plate: share of each column's output that its channel adds to each row's, 1 to 2 % as makers
#: state it, against the largest of forces and moments. Invented.
CROSS_TALK = np.array(
    [
        [0.000, 0.012, -0.004, 0.003, 0.007, -0.002],
        [-0.009, 0.000, 0.005, -0.006, 0.002, 0.004],
        [0.011, -0.008, 0.000, 0.004, -0.003, 0.006],
        [0.004, 0.015, -0.002, 0.000, 0.008, 0.003],
        [-0.013, 0.003, 0.006, -0.007, 0.000, 0.002],
        [0.002, -0.005, 0.001, 0.009, -0.004, 0.000],
    ]
)
#: Plate axes in the lab's floor axes: x toward the pitcher, y toward the plate, z into the floor; columns.
PLATE_AXES = np.diag([1.0, -1.0, -1.0])
UNIT_NAMES = {1e-3: "Nmm", 1.0: "Nm"}
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class PlateSpec:
    """One force plate.

    Attributes
    ----------
    kind : {2, 4}
        C3D FORCE_PLATFORM:TYPE.
    centre : tuple of 2 floats
        Middle of its surface along the floor axes: toward the pitcher, and from the plate outward. [m]
    size : tuple of 2 floats
        Along the same axes. [m]
    sensor_depth_m : float
        Of the sensor under the surface. [m]

    Raises
    ------
    OptionError
        Another type, or no size.
    """

    kind: PlateKind
    centre: tuple[float, float]
    size: tuple[float, float]
    sensor_depth_m: float = 0.040

    def __post_init__(self) -> None:
        if self.kind not in get_args(PlateKind):
            raise OptionError(f"virtual lab: force plates of type {self.kind} are not made; give 2 or 4")
        if min(self.size) <= 0:
            raise OptionError(f"virtual lab: a force plate of {self.size[0]:g} by {self.size[1]:g} m; give its size")

    @property
    def middle(self) -> FloatArray:
        """Middle of its surface in the floor axes, shape (3,). [m]"""
        return np.array([*self.centre, 0.0])

    @property
    def corners(self) -> FloatArray:
        """Quadrants (+x +y), (-x +y), (-x -y), (+x -y) of the plate in the floor axes, shape (4, 3). [m]"""
        long, wide = self.size
        quadrants = 0.5 * np.array([[long, wide, 0], [-long, wide, 0], [-long, -wide, 0], [long, -wide, 0]])
        corners: FloatArray = self.middle + quadrants @ PLATE_AXES.T
        return corners

    @property
    def origin(self) -> FloatArray:
        """From the sensor to the middle of the surface, plate axes, shape (3,). [m]"""
        return np.array([0.0, 0.0, -self.sensor_depth_m])

    def carries(self, places: FloatArray) -> np.ndarray:
        """Whether points of the floor lie on the plate, shape (A,)."""
        inside: np.ndarray = (np.abs(places[:, :2] - np.array(self.centre)) <= 0.5 * np.array(self.size)).all(axis=1)
        return inside


#: A plate under each foot, of either type; three, of which the front foot stands on one and lands on another; and one
#: under both feet.
TWO_PLATES = (PlateSpec(2, (-0.46, -0.03), (0.90, 0.60)), PlateSpec(2, (0.45, -0.03), (0.90, 0.60)))
TWO_PLATES_TYPE_4 = (PlateSpec(4, (-0.46, -0.03), (0.90, 0.60)), PlateSpec(4, (0.45, -0.03), (0.90, 0.60)))
THREE_PLATES = (
    PlateSpec(4, (-0.45, -0.03), (0.60, 0.90)),
    PlateSpec(2, (0.03, -0.03), (0.34, 0.90)),
    PlateSpec(4, (0.51, -0.03), (0.60, 0.90)),
)
ONE_PLATE = (PlateSpec(2, (0.0, 0.0), (1.80, 1.20)),)


@dataclass(frozen=True)
class Lab:
    """Where the lab's axes and plates lie.

    The floor axes have their origin midway between the feet of a hitter of default parameters at plant: x toward the
    pitcher, y from home plate outward on the third-base side, z up. Lab = floor axes turned about the vertical by
    `turn_deg`, then shifted. Every hitter stands to home plate as his parameters say; for a left-handed one home plate
    lies on the other side of the force plates.

    Attributes
    ----------
    turn_deg : float
        [deg]
    shift : tuple of 3 floats
        [m]
    plates : tuple of PlateSpec
    length_unit_m : float
        Unit of length of its files: 0.001 or 1. [m]

    Raises
    ------
    OptionError
        Another unit of length.
    """

    turn_deg: float = 0.0
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    plates: tuple[PlateSpec, ...] = ()
    length_unit_m: float = 1e-3

    def __post_init__(self) -> None:
        if self.length_unit_m not in UNIT_NAMES:
            raise OptionError(f"virtual lab: length_unit_m is {self.length_unit_m:g}; give 0.001 or 1")

    @cached_property
    def rotation(self) -> FloatArray:
        """Lab <- floor axes, shape (3, 3)."""
        c, s = np.cos(np.deg2rad(self.turn_deg)), np.sin(np.deg2rad(self.turn_deg))
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])

    def place(self, points: FloatArray) -> FloatArray:
        """Points of the floor axes in the lab, shape (..., 3). [m]"""
        moved: FloatArray = points @ self.rotation.T + np.array(self.shift)
        return moved

    def on_floor(self, points: FloatArray, parameters: SwingParameters, bats: str) -> FloatArray:
        """Points of a hitter's hitting frame in the floor axes, shape (..., 3). [m]"""
        usual = SwingParameters()
        aside = (
            parameters.plate_behind_m - usual.plate_behind_m,
            parameters.barrel.plate_line_m - usual.barrel.plate_line_m,
            0.0,
        )
        return (points + np.array(aside)) * (MIRROR if bats == "left" else 1.0)

    def home_plate(self, bats: str) -> FloatArray:
        """Rear tip of home plate for hitters of one side, lab, shape (3,). [m]"""
        usual = SwingParameters()
        tip = np.array([-usual.plate_behind_m, -usual.barrel.plate_line_m, 0.0], dtype=np.float64)
        return self.place(tip * (MIRROR if bats == "left" else 1.0))


@dataclass(frozen=True)
class PlateRecording:
    """What the plates of a lab recorded.

    Attributes
    ----------
    plates : tuple of ForcePlate, length N
    analog : ndarray, shape (A, 6 N)
    labels, units : tuple of str, length 6 N
    """

    plates: tuple[ForcePlate, ...]
    analog: FloatArray
    labels: tuple[str, ...]
    units: tuple[str, ...]


def calibration(spec: PlateSpec, length_unit_m: float) -> FloatArray | None:
    """Calibration matrix of a plate, shape (6, 6): outputs [N, N x unit of length] = matrix @ channels [V].

    Parameters
    ----------
    spec : PlateSpec
    length_unit_m : float
        [m]

    Returns
    -------
    ndarray or None
        None for a plate whose channels are its outputs. As a file keeps it, in 32-bit floats.
    """
    if spec.kind != 4:
        return None
    outputs = SENSITIVITY * np.repeat([1.0, 1.0 / length_unit_m], 3)
    matrix = (np.eye(6) + CROSS_TALK) * outputs[:, None]
    return matrix.astype(np.float32).astype(np.float64)


def record_plates(
    lab: Lab, forces: GroundForces, rate_hz: float, *, noise_n: float, rng: np.random.Generator
) -> PlateRecording:
    """What the plates feel of two feet, each of which pushes at one point.

    Parameters
    ----------
    lab : Lab
    forces : GroundForces
        At the analog rate, in the floor axes.
    rate_hz : float
        [Hz]
    noise_n : float
        White noise of the forces, one standard deviation; that of the moments is `NOISE_LEVER_M` times it. [N]
    rng : numpy Generator

    Returns
    -------
    PlateRecording
        A foot beside all plates is felt by none.
    """
    plates, columns, labels, units = [], [], [], []
    for number, spec in enumerate(lab.plates, start=1):
        outputs = _outputs(spec, forces)
        outputs += rng.normal(size=outputs.shape) * noise_n * np.repeat([1.0, NOISE_LEVER_M], 3)
        matrix = calibration(spec, lab.length_unit_m)
        stored = outputs / np.repeat([1.0, lab.length_unit_m], 3)
        columns.append(stored if matrix is None else np.linalg.solve(matrix, stored.T).T)
        names = ("Fx", "Fy", "Fz", "Mx", "My", "Mz") if matrix is None else ("V1", "V2", "V3", "V4", "V5", "V6")
        labels += [f"{name}{number}" if matrix is None else f"P{number}{name}" for name in names]
        units += ["N"] * 3 + [UNIT_NAMES[lab.length_unit_m]] * 3 if matrix is None else ["V"] * 6
        first = 6 * (number - 1)
        channels = PlateChannels(
            columns=tuple(range(first, first + 6)),
            origin=spec.origin,
            matrix=matrix,
            length_unit_m=lab.length_unit_m,
        )
        plates.append(_reaction(spec, lab, outputs, rate_hz, channels))
    analog = np.concatenate(columns, axis=1) if columns else np.zeros((0, 0))
    return PlateRecording(tuple(plates), analog, tuple(labels), tuple(units))


def _outputs(spec: PlateSpec, forces: GroundForces) -> FloatArray:
    """Force on the plate and its moment about the sensor, plate axes, shape (A, 6). [N], [N m]"""
    outputs = np.zeros((len(forces.front), 6))
    feet: Sequence[tuple[FloatArray, FloatArray]] = ((forces.front, forces.front_at), (forces.back, forces.back_at))
    for force, at in feet:
        pushed = np.where(spec.carries(at)[:, None], -force @ PLATE_AXES, 0.0)
        # From the sensor to the point under the foot.
        arm = (at - spec.middle) @ PLATE_AXES + spec.origin
        outputs += np.concatenate([pushed, np.cross(arm, pushed)], axis=1)
    return outputs


def _reaction(spec: PlateSpec, lab: Lab, outputs: FloatArray, rate_hz: float, channels: PlateChannels) -> ForcePlate:
    """The reaction on the person that the outputs amount to, lab."""
    force, moment = outputs[:, :3], outputs[:, 3:] - np.cross(spec.origin, outputs[:, :3])
    axes = lab.rotation @ PLATE_AXES
    pressed = np.where(np.abs(force[:, 2]) > UNLOADED_N, force[:, 2], np.nan)
    at = np.stack([-moment[:, 1] / pressed, moment[:, 0] / pressed, np.zeros_like(pressed)], axis=1)
    at[np.isnan(pressed)] = np.nan
    return ForcePlate(
        plate_type=spec.kind,
        corners=lab.place(spec.corners),
        force=-force @ axes.T,
        moment=-moment @ axes.T,
        centre_of_pressure=lab.place(spec.middle) + at @ axes.T,
        rate_hz=rate_hz,
        channels=channels,
    )
