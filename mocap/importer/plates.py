"""From force-plate channels and parameters to ground reactions in the lab frame.

Types 1 to 4 follow the C3D user guide (c3d.org), FORCE_PLATFORM:TYPE; type 7 is type 3 with a calibration matrix.
Types 5 and 6 are not read: public descriptions disagree about the order of their channels and the units of their
matrices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mocap.capture import UNLOADED_N, FloatArray, ForcePlate, PlateChannels
from mocap.importer.plate_zero import NO_RANGE, WORTH_MOVING_N, zeroing

#: Channels that each type needs.
CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6, 7: 8}
#: Types whose channels a calibration matrix turns into outputs.
CALIBRATED = (4, 7)
#: More plates than any lab has: a file that announces more is broken.
MAX_PLATES = 32
#: Metres per length unit, by its name without points, blanks and signs.
LENGTHS_M = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
#: Shortest edge of a plate that is taken for one. [m]
SHORTEST_EDGE_M = 0.02


@dataclass(frozen=True)
class PlateParameters:
    """The FORCE_PLATFORM group as stored.

    Each array holds the parameter's numbers in storage order, shaped by its dimensions in reverse (the first stored
    dimension varies fastest, so a CHANNEL of 6 by N becomes (N, 6)); flat where numbers and dimensions disagree; of
    size zero where the parameter is absent.

    Attributes
    ----------
    used : int
        USED; zero where absent.
    types : ndarray, shape (N,)
        TYPE.
    corners : ndarray, shape (N, 4, 3)
        CORNERS. [POINT:UNITS]
    origins : ndarray, shape (N, 3)
        ORIGIN. [POINT:UNITS]
    channels : ndarray, shape (N, K)
        CHANNEL: analog channels, counted from 1.
    matrices : ndarray, shape (N, K, K)
        CAL_MATRIX: the index after the plate's is the matrix's column, as it is stored column by column.
    zero : ndarray, shape (2,)
        ZERO: first and last frame of the baseline, counted from 1.
    """

    used: int
    types: FloatArray
    corners: FloatArray
    origins: FloatArray
    channels: FloatArray
    matrices: FloatArray
    zero: FloatArray


def read_plates(
    parameters: PlateParameters,
    analog: FloatArray,
    units: Sequence[str],
    *,
    rate_hz: float,
    samples_per_frame: int,
    point_scale: float,
) -> tuple[tuple[ForcePlate, ...], list[str]]:
    """Every plate that can be read, and a note for each that cannot or whose zero was moved.

    Parameters
    ----------
    parameters : PlateParameters
    analog : ndarray, shape (A, C)
        Every analog channel, scaled to its own units (raw minus offset, times scale, times general scale).
    units : sequence of str
        ANALOG:UNITS, at most C; tells whether a moment is in N mm or N m, else POINT:UNITS does.
    rate_hz : float
        Analog sampling rate. [Hz]
    samples_per_frame : int
        Analog samples per point frame.
    point_scale : float
        Metres per unit of POINT:UNITS.

    Returns
    -------
    tuple of ForcePlate
    list of str
        Broken parameters never raise; they leave the plate out and are noted.
    """
    if parameters.used <= 0 or not analog.size or not 0 < rate_hz < np.inf:
        return (), []
    stored, notes = _stored(parameters)
    plates = []
    for number, entry in enumerate(stored, start=1):
        with np.errstate(all="ignore"):  # a broken file may hold any number; what is not finite is noted
            plate, found = _read_plate(entry, analog, units, rate_hz, samples_per_frame, point_scale)
        notes += [f"force plate {number}: {note}" for note in found]
        if plate is not None:
            plates.append(plate)
    return tuple(plates), notes


@dataclass(frozen=True)
class _Stored:
    """One plate's share of the parameters, lengths in POINT:UNITS."""

    plate_type: int
    corners: FloatArray
    origin: FloatArray
    channels: tuple[int, ...]
    matrix: FloatArray | None
    zero: tuple[int, int] | None


def _stored(parameters: PlateParameters) -> tuple[list[_Stored], list[str]]:
    """The parameters plate by plate, as far as all of them go."""
    used = parameters.used
    types = _integers(parameters.types).ravel()
    corners, origins = _rows(parameters.corners, 4, 3), _rows(parameters.origins, 3)
    channels = _channel_rows(parameters.channels, types[:used])
    matrices = _matrices(parameters.matrices, types[:used])
    complete = min(len(types), len(corners), len(origins), len(channels), MAX_PLATES)
    notes = []
    if complete < used:
        notes.append(f"force plates: {used} announced, but their parameters describe {complete}; the rest is left out")
    zero = _integers(parameters.zero).ravel()
    baseline = (int(zero[0]), int(zero[1])) if len(zero) >= 2 else None
    return [
        _Stored(
            plate_type=int(types[i]),
            corners=corners[i],
            origin=origins[i],
            channels=tuple(channels[i].tolist()),
            matrix=matrices[i] if i < len(matrices) else None,
            zero=baseline,
        )
        for i in range(min(complete, used))
    ], notes


def _integers(values: FloatArray) -> np.ndarray:
    return np.nan_to_num(np.clip(values, -32768, 65535)).astype(int)


def _rows(values: FloatArray, *shape: int) -> FloatArray:
    """Flat numbers cut into as many blocks of a shape as they fill."""
    size = int(np.prod(shape))
    flat = values.ravel()
    return flat[: len(flat) // size * size].reshape(-1, *shape)


def _channel_rows(channels: FloatArray, types: np.ndarray) -> np.ndarray:
    if channels.ndim == 2:
        return _integers(channels)
    # Without dimensions, each plate has as many as the one that needs most.
    width = max((CHANNELS.get(int(kind), 6) for kind in types), default=6)
    return _integers(_rows(channels, width))


def _matrices(matrices: FloatArray, types: np.ndarray) -> FloatArray:
    """Matrices by row and column, from their storage column by column."""
    if matrices.ndim == 2 and matrices.shape[0] == matrices.shape[1]:
        matrices = matrices[None]
    if matrices.ndim != 3:
        width = max((CHANNELS.get(int(kind), 6) for kind in types), default=6)
        matrices = _rows(matrices, width, width)
    return matrices.swapaxes(1, 2)


def _read_plate(
    stored: _Stored,
    analog: FloatArray,
    units: Sequence[str],
    rate_hz: float,
    samples_per_frame: int,
    point_scale: float,
) -> tuple[ForcePlate | None, list[str]]:
    kind = stored.plate_type
    if kind not in CHANNELS:
        return None, [f"type {kind} is not read; left out (read are {', '.join(map(str, CHANNELS))})"]
    needed = CHANNELS[kind]
    columns = np.array(stored.channels[:needed], dtype=int) - 1
    if len(columns) < needed or columns.min() < 0 or columns.max() >= analog.shape[1]:
        return None, [f"type {kind} needs {needed} analog channels, which its CHANNEL does not name; left out"]
    corners = stored.corners * point_scale
    if not _has_area(corners):
        return None, ["its CORNERS span no area; left out"]
    origin = np.where(np.isfinite(stored.origin), stored.origin, 0.0) * point_scale
    matrix, notes = _calibration(stored, needed)
    rows = analog.T[columns]  # channel by channel, which is how the formulas take them
    outputs = (rows if matrix is None else matrix @ rows).T
    outputs = _in_si(kind, outputs, [units[c] if c < len(units) else "" for c in columns], point_scale)
    if kind in (3, 7) and not (origin[0] and origin[1]):
        notes.append("ORIGIN holds no distance between its sensors; its forces are read, not where they act")
    if kind != 1:  # the centre of pressure of type 1 was worked out, and its zero taken off, before it was stored
        outputs, zero_notes = _zeroed(outputs, rate_hz, samples_per_frame, stored.zero)
        notes += zero_notes
    plate = ground_reaction(kind, outputs, corners, origin, rate_hz)
    channels = PlateChannels(
        columns=tuple(columns.tolist()),
        origin=origin,
        matrix=matrix,
        zero=stored.zero if stored.zero is not None else NO_RANGE,
        length_unit_m=point_scale,
    )
    return replace(plate, channels=channels), notes


def _has_area(corners: FloatArray) -> bool:
    """Whether the corners are places on earth that span a plate."""
    if not np.abs(corners).max() < 1e4:
        return False
    x, y = _edges(corners)
    return bool(min(np.linalg.norm(x), np.linalg.norm(y)) > SHORTEST_EDGE_M) and bool(
        np.linalg.norm(_cross(x, y)) > SHORTEST_EDGE_M**2
    )


def _calibration(stored: _Stored, size: int) -> tuple[FloatArray | None, list[str]]:
    """The calibration matrix of the types that have one."""
    if stored.plate_type not in CALIBRATED:
        return None, []
    matrix = stored.matrix
    if matrix is None or min(matrix.shape) < size or not np.isfinite(matrix).all() or not matrix.any():
        return None, ["its CAL_MATRIX is missing; its channels are taken as forces and moments"]
    return matrix[:size, :size], []


def _in_si(kind: int, outputs: FloatArray, units: Sequence[str], point_scale: float) -> FloatArray:
    """Outputs with moments in N m and places in m; a unit that the channel does not name is that of POINT:UNITS."""
    if kind in (3, 7):
        return outputs
    scales = np.ones(6)
    scales[3:] = [_length_in(unit, point_scale) for unit in units[3:6]]
    return outputs * scales


def _length_in(unit: str, otherwise: float) -> float:
    """Metres per unit of length in a unit such as `Nmm`, `N.m`, `ntmm` or `mm`."""
    bare = "".join(letter for letter in unit.lower() if letter.isalpha())
    bare = bare.replace("newton", "n").replace("nt", "n").replace("metre", "m").replace("meter", "m")
    return LENGTHS_M.get(bare.removeprefix("n").removesuffix("s"), otherwise)


def _zeroed(
    outputs: FloatArray, rate_hz: float, samples_per_frame: int, stated: tuple[int, int] | None
) -> tuple[FloatArray, list[str]]:
    """Outputs less what they read while the plate is unloaded."""
    vertical = outputs[:, 2] if outputs.shape[1] == 6 else outputs[:, 4:].sum(axis=1)
    zero = zeroing(vertical, rate_hz, samples_per_frame, stated)
    notes = [zero.warning] if zero.warning else []
    if zero.rows is None:
        return outputs, notes
    offset = outputs.T[:, zero.rows].mean(axis=1)
    level = float(vertical[zero.rows].mean())
    if abs(level) >= WORTH_MOVING_N:
        notes.append(f"the {level:.1f} N that it reads unloaded ({zero.where}) are taken off")
    return outputs - offset, notes


def _edges(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Along the plate's x and its y, between the middles of opposite edges."""
    first, second, third, fourth = corners
    return (first + fourth - second - third) / 2, (first + second - third - fourth) / 2


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product of two single vectors, several times faster than numpy's for many."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def plate_axes(corners: FloatArray) -> FloatArray:
    """Rotation lab <- plate from the corners.

    Parameters
    ----------
    corners : ndarray, shape (4, 3)
        In the lab frame, in the C3D order: plate quadrants (+x +y), (-x +y), (-x -y), (+x -y).

    Returns
    -------
    ndarray, shape (3, 3)
        Columns are the plate's x, y, z in the lab; z points into the floor for plates laid the usual way.

    References
    ----------
    C3D user guide, FORCE_PLATFORM:CORNERS (c3d.org).
    """
    x, y = _edges(corners)
    x = x / np.linalg.norm(x)
    z = _cross(x, y)
    z = z / np.linalg.norm(z)
    return np.stack([x, _cross(z, x), z], axis=1)


def ground_reaction(
    plate_type: int, channels: FloatArray, corners: FloatArray, origin: FloatArray, rate_hz: float
) -> ForcePlate:
    """Ground reaction of one plate in the lab frame.

    Parameters
    ----------
    plate_type : int
        1, 2, 3, 4 or 7; the channels of types 4 and 7 come already multiplied by the calibration matrix.
    channels : ndarray, shape (A, 6) or (A, 8)
        Forces in N, moments in N m (type 1: centre of pressure in m).
    corners : ndarray, shape (4, 3)
        Lab frame. [m]
    origin : ndarray, shape (3,)
        FORCE_PLATFORM:ORIGIN, plate axes. [m]
    rate_hz : float
        Sampling rate of the channels. [Hz]

    Returns
    -------
    ForcePlate

    Notes
    -----
    Files store either the force on the plate or the force on the person; as a foot can only push a plate down, the
    sign is taken so that the vertical reaction on the person is upward.
    Centre of pressure in plate axes: (-My / Fz, Mx / Fz) at the surface.
    """
    force, moment = _six_components(plate_type, channels.T, origin)
    rotation = plate_axes(corners)
    # The lab's vertical is the axis that the plate's normal lies along, whichever letter the lab gives it.
    up = np.sign(rotation[np.argmax(np.abs(rotation[:, 2])), 2])
    loaded = np.abs(force[2]) > UNLOADED_N
    if up * force[2, loaded].sum() < 0:
        force, moment = -force, -moment
    fz = np.where(loaded, force[2], np.nan)
    local = np.stack([-moment[1] / fz, moment[0] / fz])
    return ForcePlate(
        plate_type=plate_type,
        corners=corners,
        force=(rotation @ force).T,
        moment=(rotation @ moment).T,
        centre_of_pressure=(rotation[:, :2] @ local).T + corners.mean(axis=0),
        rate_hz=rate_hz,
    )


def _six_components(plate_type: int, rows: FloatArray, origin: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Force and moment about the centre of the surface, plate axes, each (3, A), from the outputs, (K, A).

    Type 1 stores force, centre of pressure and free moment; types 2 and 4 force and moment about the sensor; types 3
    and 7 the eight outputs of four corner sensors. C3D user guide, FORCE_PLATFORM:TYPE and ORIGIN.
    """
    if plate_type == 1:
        moment = _at(rows[3], rows[4], 0.0, rows[:3])
        moment[2] += rows[5]
        return rows[:3], moment
    if plate_type in (3, 7):
        fx12, fx34, fy14, fy23, f1, f2, f3, f4 = rows
        # Without the distances between the sensors no moment can be told.
        a, b = (abs(half) if half else np.nan for half in origin[:2])
        force = np.stack([fx12 + fx34, fy14 + fy23, f1 + f2 + f3 + f4])
        moment = np.stack([b * (f1 + f2 - f3 - f4), a * (-f1 + f2 + f3 - f4), b * (-fx12 + fx34) + a * (fy14 - fy23)])
        return force, moment + _at(0.0, 0.0, abs(origin[2]), force)
    # The sensor lies under the surface and z points down, so the vector from it to the surface has a negative z.
    # Many files store the opposite vector, from the surface to the sensor.
    x, y, z = origin if origin[2] > 0 else -origin
    return rows[:3], rows[3:] + _at(x, y, z, rows[:3])


def _at(x: FloatArray | float, y: FloatArray | float, z: float, force: FloatArray) -> FloatArray:
    """Moment of forces (3, A) that act at a place: place x force, shape (3, A). [N m]"""
    fx, fy, fz = force
    return np.stack([y * fz - z * fy, z * fx - x * fz, x * fy - y * fx])
