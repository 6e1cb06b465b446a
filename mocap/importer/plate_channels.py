"""Force plates as analog channels and parameters of a C3D file: the way back from a capture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mocap.capture import Capture, FloatArray, ForcePlate, PlateChannels
from mocap.errors import OutputError
from mocap.importer.plate_zero import NO_ZEROING
from mocap.importer.plates import plate_axes

#: Unit of moment by the unit of length, as ANALOG:UNITS names it.
MOMENT_UNITS = {1e-3: "Nmm", 1e-2: "Ncm", 1.0: "Nm"}
#: Type of the plates whose channels are made here: three forces and three moments about the middle of the surface.
MADE_TYPE = 2


@dataclass(frozen=True)
class PlateSetup:
    """Analog channels and the FORCE_PLATFORM group of a capture, of N plates.

    Attributes
    ----------
    analog : ndarray, shape (A, C)
        The capture's channels, and behind them those made for plates that came from none.
    labels, units : tuple of str, length C
    length_unit_m : float
        Unit of the whole file's lengths. [m]
    types : tuple of int
    corners : ndarray, shape (N, 4, 3)
        [file's unit]
    origins : ndarray, shape (N, 3)
        [file's unit]
    channels : ndarray, shape (N, K)
        Counted from 1, filled up with 0.
    matrices : ndarray, shape (N, K, K), or (0, 6, 6)
        By column, as they are stored; empty where no plate has one.
    zero : tuple of int
        First and last frame of the baseline.
    """

    analog: FloatArray
    labels: tuple[str, ...]
    units: tuple[str, ...]
    length_unit_m: float
    types: tuple[int, ...]
    corners: FloatArray
    origins: FloatArray
    channels: np.ndarray
    matrices: FloatArray
    zero: tuple[int, int]


def plate_setup(capture: Capture) -> PlateSetup:
    """Channels and parameters that the plates of a capture are read back from.

    Parameters
    ----------
    capture : Capture

    Returns
    -------
    PlateSetup

    Raises
    ------
    OutputError
        A plate without channels has another number of samples than the analog channels.

    Notes
    -----
    Moments whose channels name no unit are in the unit of POINT:UNITS, so the file's unit is that of such plates.
    """
    kept = [plate.channels if _is_there(plate.channels, capture.analog) else None for plate in capture.plates]
    first = next((channels for channels in kept if channels is not None), None)
    unit_m = first.length_unit_m if first is not None else 1e-3
    analog, labels, units = [capture.analog], [*capture.analog_labels], [*capture.analog_units]
    setups: list[PlateChannels] = []
    for number, (plate, channels) in enumerate(zip(capture.plates, kept, strict=True), start=1):
        if channels is None:
            made = _six_channels(plate, unit_m)
            _check_samples(made, analog, number)
            channels = PlateChannels(tuple(range(len(labels), len(labels) + 6)), np.zeros(3))
            labels += [_unused(f"{name}{number}", labels) for name in ("Fx", "Fy", "Fz", "Mx", "My", "Mz")]
            units += ["N"] * 3 + [MOMENT_UNITS[unit_m]] * 3
            analog = [made] if not analog[0].size else [*analog, made]
        setups.append(channels)
    width = max((len(setup.columns) for setup in setups), default=6)
    matrices = [_by_column(setup.matrix, width) for setup in setups]
    calibrated = any(setup.matrix is not None for setup in setups)
    return PlateSetup(
        analog=np.concatenate(analog, axis=1) if len(analog) > 1 else analog[0],
        labels=tuple(labels),
        units=tuple(units),
        length_unit_m=unit_m,
        types=tuple(
            plate.plate_type if channels is not None else MADE_TYPE
            for plate, channels in zip(capture.plates, kept, strict=True)
        ),
        corners=np.array([plate.corners for plate in capture.plates]).reshape(-1, 4, 3) / unit_m,
        origins=np.array([setup.origin for setup in setups]).reshape(-1, 3) / unit_m,
        channels=np.array([_filled(setup.columns, width) for setup in setups]).reshape(-1, width),
        matrices=np.array(matrices if calibrated else []).reshape(-1, width, width),
        zero=first.zero if first is not None else NO_ZEROING,
    )


def _is_there(channels: PlateChannels | None, analog: FloatArray) -> bool:
    return channels is not None and analog.size > 0 and max(channels.columns) < analog.shape[1]


def _six_channels(plate: ForcePlate, unit_m: float) -> FloatArray:
    """Force on the plate and its moment about the middle of the surface, plate axes, shape (A, 6)."""
    axes = plate_axes(plate.corners)
    return np.concatenate([-plate.force @ axes, -plate.moment @ axes / unit_m], axis=1)


def _check_samples(made: FloatArray, analog: Sequence[FloatArray], number: int) -> None:
    if analog[0].size and len(made) != len(analog[0]):
        raise OutputError(
            f"force plate {number} has {len(made)} samples, the analog channels {len(analog[0])}; resample one of them"
        )


def _unused(name: str, taken: Sequence[str]) -> str:
    return name if name not in taken else _unused(f"{name}_", taken)


def _filled(columns: Sequence[int], width: int) -> list[int]:
    return [column + 1 for column in columns] + [0] * (width - len(columns))


def _by_column(matrix: FloatArray | None, width: int) -> FloatArray:
    filled = np.eye(width)
    if matrix is not None:
        filled[: len(matrix), : len(matrix)] = matrix
    return filled.T
