"""Every frame of a C3D file at once, from stored numbers to points, residuals, camera masks and analog values.

Written on the public C3D user guide (c3d.org): 3D data, analog data, the ANALOG group's scale and offset.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.c3d_layout import WORDS_PER_POINT, Layout
from mocap.importer.c3d_parameters import Parameters

#: Coordinates beyond this are no place in any lab but a broken sample: this project's default. [m]
FARTHEST_M = 1000.0
#: Residuals that are stored in coarser steps than this are no residuals: this project's default. [m]
COARSEST_RESIDUAL_M = 0.1
#: An offset of -32,768 in every channel is the middle of unsigned 16-bit samples, read as signed.
UNSIGNED_MIDDLE = -32_768


@dataclass(frozen=True)
class DecodedPoints:
    """The points of every frame.

    Attributes
    ----------
    points : ndarray, shape (F, P, 3)
        NaN where the sample is invalid. [m]
    residuals : ndarray, shape (F, P)
        NaN where the sample is invalid. [m]
    cameras : ndarray of uint8, shape (F, P)
        A bit for each of the first seven cameras that saw the point; zero where none is stated.
    notes : tuple of str
    """

    points: FloatArray
    residuals: FloatArray
    cameras: npt.NDArray[np.uint8]
    notes: tuple[str, ...]


def decode_points(
    rows: np.ndarray, layout: Layout, keep: npt.NDArray[np.bool_], step: float, unit_m: float
) -> DecodedPoints:
    """Points of every frame.

    Parameters
    ----------
    rows : ndarray of int16 or float32, shape (F, words)
        Stored numbers.
    layout : Layout
    keep : ndarray of bool, shape (points,)
        Which of the points to decode.
    step : float
        Size of one integer step, and of one step of the residual. [file's unit]
    unit_m : float
        Metres in the file's unit.

    Returns
    -------
    DecodedPoints

    Notes
    -----
    The fourth word of a point is -1 where the sample is invalid; else its high byte is the camera mask and its low
    byte times the scale factor the residual. An exact (0, 0, 0) with a fourth word of zero is how many writers store a
    lost point that they did not mark.
    """
    stored = rows[:, : WORDS_PER_POINT * layout.points].reshape(len(rows), layout.points, WORDS_PER_POINT)
    stored = stored[:, _selection(keep)]
    codes = _fourth_word(stored[..., 3])
    lost = codes < 0
    at_zero = stored[..., 0] == 0
    if at_zero.any():
        lost |= at_zero & (stored[..., 1] == 0) & (stored[..., 2] == 0) & (codes == 0)
    points = np.empty((*codes.shape, 3))
    factor = unit_m if layout.is_float else step * unit_m
    for axis in range(3):  # numpy is several times faster along the points than along three coordinates
        np.multiply(stored[..., axis], factor, out=points[..., axis])
    broken = 0
    # Also true where a coordinate is no number.
    if points.size and not (points.max() <= FARTHEST_M and points.min() >= -FARTHEST_M):
        far = ~(np.abs(points) <= FARTHEST_M).all(axis=-1) & ~lost
        broken = int(far.sum())
        lost |= far
    residuals = np.multiply(codes & 0xFF, step * unit_m, dtype=np.float64)
    cameras = (codes >> 8).astype(np.uint8)
    notes = [f"{broken} samples of points hold no possible place; treated as lost"] if broken else []
    if step * unit_m > COARSEST_RESIDUAL_M and residuals.any():
        residuals[:] = 0.0
        notes.append(f"residuals in steps of {step * unit_m:g} m are none; treated as not stated")
    if lost.any():
        points[lost], residuals[lost], cameras[lost] = np.nan, np.nan, 0
    return DecodedPoints(points, residuals, cameras, tuple(notes))


def _selection(keep: npt.NDArray[np.bool_]) -> slice | npt.NDArray[np.intp]:
    """The points to keep as a slice, which copies nothing, where they lie side by side."""
    kept = np.flatnonzero(keep)
    if kept.size and kept[-1] - kept[0] + 1 == kept.size:
        return slice(int(kept[0]), int(kept[-1]) + 1)
    return kept


def _fourth_word(stored: np.ndarray) -> npt.NDArray[np.int16]:
    """Camera mask and residual of each sample; -1 where the stored number cannot be one."""
    if stored.dtype.kind == "f":
        stored = np.ascontiguousarray(stored)  # every look at it is several times faster so
        if stored.size and not (stored.max() < 32_768 and stored.min() >= -32_768):
            stored = np.where(np.abs(stored) < 32_768, stored, -1)
        return stored.astype(np.int16)
    return stored.astype(np.int16)


def decode_analog(rows: np.ndarray, layout: Layout, parameters: Parameters) -> tuple[FloatArray, list[str]]:
    """Analog values of every sample, and a note for each parameter that is broken.

    Parameters
    ----------
    rows : ndarray of int16 or float32, shape (F, words)
        Stored numbers.
    layout : Layout
    parameters : Parameters

    Returns
    -------
    ndarray, shape (F * samples, channels)
        (stored - OFFSET) * SCALE * GEN_SCALE. [ANALOG:UNITS]
    list of str
    """
    if not layout.channels * layout.samples:
        return np.zeros((0, 0)), []
    unsigned = _unsigned(parameters)
    stored = rows[:, WORDS_PER_POINT * layout.points :]
    if unsigned and not layout.is_float:
        stored = stored.view(stored.dtype.str.replace("i", "u"))
    general, notes = parameters.number("ANALOG:GEN_SCALE", 0.0), []
    if general == 0.0:
        general = 1.0
        if parameters.get("ANALOG:GEN_SCALE") is not None:
            notes.append("ANALOG:GEN_SCALE is zero or broken; 1 is taken")
    scale, missing = _per_channel(parameters.numbers("ANALOG:SCALE"), layout.channels, 1.0)
    offset, _ = _per_channel(parameters.numbers("ANALOG:OFFSET", unsigned=unsigned), layout.channels, 0.0)
    if missing:
        notes.append(f"{missing} of {layout.channels} analog channels have no sound scale factor; 1 is taken")
    shape = (len(rows), layout.samples, layout.channels)
    factor = scale * general
    if offset.any():
        values = np.subtract(stored.reshape(shape), offset, dtype=np.float64)
        values *= factor
    else:
        values = np.multiply(stored.reshape(shape), factor, dtype=np.float64)
    return values.reshape(-1, layout.channels), notes


def _unsigned(parameters: Parameters) -> bool:
    """Whether samples and offsets are unsigned: ANALOG:FORMAT says so, or every offset only makes sense so."""
    if parameters.text("ANALOG:FORMAT").upper().startswith("UNSIGNED"):
        return True
    offsets = parameters.numbers("ANALOG:OFFSET")
    return bool(offsets.size and np.all(offsets == UNSIGNED_MIDDLE))


def _per_channel(stored: FloatArray, channels: int, default: float) -> tuple[FloatArray, int]:
    """One value for each channel, and how many had to be filled with the default."""
    values = np.full(channels, default)
    count = min(stored.size, channels)
    values[:count] = np.where(np.isfinite(stored[:count]), stored[:count], default)
    return values, channels - int(np.isfinite(stored[:count]).sum())
