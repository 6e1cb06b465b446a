"""C3D files, read through the `c3d` package."""

from __future__ import annotations

import warnings
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from mocap.capture import Capture, Event, FloatArray, ForcePlate
from mocap.errors import InputError
from mocap.importer.plates import ground_reaction

#: Metres per unit of POINT:UNITS.
POINT_UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
#: Groups of POINT that list outputs which are no places in space.
NOT_PLACES = ("ANGLES", "FORCES", "MOMENTS", "POWERS", "SCALARS")
#: The first parameter block that a C3D file's second byte announces.
SIGNATURE = 0x50


def read_c3d(path: Path) -> Capture:
    """Read a C3D file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Capture
        Points in metres; samples the file marks as invalid are NaN.

    Raises
    ------
    InputError
        Missing, empty, not a C3D file, not decodable, or without any usable point.
    """
    content = _checked_bytes(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decode(path, content)
    except InputError:
        raise
    except Exception as error:  # the c3d package raises whatever its parsing runs into
        reason = " ".join(str(error).split()) or type(error).__name__
        raise InputError(f"{path}: the C3D file cannot be decoded ({reason[:120]}); export it again") from error


def _checked_bytes(path: Path) -> bytes:
    if not path.exists():
        raise InputError(f"{path}: no such file")
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give a C3D file, or a session folder that holds a session.toml")
    content = path.read_bytes()
    if not content:
        raise InputError(f"{path}: the file is empty (0 bytes); export or copy it again")
    if len(content) < 512 or content[1] != SIGNATURE:
        raise InputError(f"{path}: not a C3D file (its second byte is not 0x50); export it as C3D")
    return content


def _decode(path: Path, content: bytes) -> Capture:
    import io

    import c3d

    reader = c3d.Reader(io.BytesIO(content))
    notes: list[str] = []
    frames = [(points, analog) for _, points, analog in reader.read_frames()]
    expected = reader.last_frame - reader.first_frame + 1
    if not frames or not reader.point_used:
        raise InputError(f"{path}: no usable points (0 frames or 0 points); record or export the swing again")
    if len(frames) < expected:
        notes.append(f"the file ends early: {len(frames)} of {expected} frames are there")

    unit = _text(reader, "POINT:UNITS").strip().lower() or "mm"
    if unit not in POINT_UNITS:
        raise InputError(f"{path}: POINT:UNITS is {unit!r}; known are {', '.join(POINT_UNITS)}")
    scale = POINT_UNITS[unit]
    raw = np.stack([points for points, _ in frames]).astype(np.float64)
    # An exact (0, 0, 0) is how many writers store a lost point that they forgot to mark.
    valid = (raw[:, :, 3] >= 0) & np.any(raw[:, :, :3] != 0, axis=2)
    points = np.where(valid[:, :, None], raw[:, :, :3] * scale, np.nan)
    residuals = np.where(valid, raw[:, :, 3] * scale, np.nan)

    labels, label_notes = _labels(_texts(reader, "POINT:LABELS"), raw.shape[1])
    notes += label_notes
    places = _places(reader, labels)
    if not places.all():
        notes.append(f"{int((~places).sum())} computed outputs (angles, forces, moments, powers) left out")
    if not np.isfinite(points[:, places]).any():
        raise InputError(f"{path}: no usable points (every sample is marked as lost)")

    analog = np.concatenate([a for _, a in frames], axis=1).T if reader.analog_used else np.zeros((0, 0))
    rate = float(reader.point_rate)
    analog_rate = rate * analog.shape[0] / len(frames)
    plates, plate_notes = _plates(reader, analog, analog_rate, scale)
    return Capture(
        source=path.name,
        labels=tuple(np.array(labels)[places].tolist()),
        points=points[:, places],
        rate_hz=rate,
        residuals=residuals[:, places],
        first_frame=int(reader.first_frame),
        analog=analog,
        analog_labels=tuple(_labels(_texts(reader, "ANALOG:LABELS"), analog.shape[1], kind="channel")[0]),
        analog_units=tuple((_texts(reader, "ANALOG:UNITS") + [""] * analog.shape[1])[: analog.shape[1]]),
        analog_rate_hz=analog_rate,
        plates=plates,
        events=_events(reader, rate),
        subject=MappingProxyType(_subject(reader)),
        notes=tuple(notes + plate_notes),
    )


def _labels(stored: list[str], count: int, kind: str = "point") -> tuple[list[str], list[str]]:
    """Unique labels without the subject's prefix, one per point."""
    notes = []
    names = [label.strip() for label in stored[:count]]
    if len(names) < count:
        if kind == "point":
            notes.append(f"{count - len(names)} of {count} points have no label")
        names += [""] * (count - len(names))
    bare = [name.split(":", 1)[-1] if ":" in name else name for name in names]
    filled = [name or f"{kind}_{i + 1}" for i, name in enumerate(bare)]
    seen: dict[str, int] = {}
    unique = []
    for name in filled:
        seen[name] = seen.get(name, 0) + 1
        unique.append(name if seen[name] == 1 else f"{name}_{seen[name]}")
    repeated = [name for name, times in seen.items() if times > 1]
    if repeated and kind == "point":
        notes.append(f"label {repeated[0]!r} is used {seen[repeated[0]]} times; the later ones carry a number")
    return unique, notes


def _places(reader: Any, labels: list[str]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which points are places in space, not angles or forces stored among them."""
    excluded = {
        label.strip().split(":", 1)[-1] for group in NOT_PLACES for label in _texts(reader, f"POINT:{group}")
    } - {""}
    return np.array([label not in excluded for label in labels])


def _plates(
    reader: Any, analog: FloatArray, rate_hz: float, point_scale: float
) -> tuple[tuple[ForcePlate, ...], list[str]]:
    """Every plate that can be decoded, and a note for each that cannot."""
    used = int(_number(reader, "FORCE_PLATFORM:USED", 0))
    if not used or not analog.size:
        return (), []
    corners = _numbers(reader, "FORCE_PLATFORM:CORNERS").reshape(-1, 4, 3) * point_scale
    origins = _numbers(reader, "FORCE_PLATFORM:ORIGIN").reshape(-1, 3) * point_scale
    types = _numbers(reader, "FORCE_PLATFORM:TYPE").astype(int)
    channels = _numbers(reader, "FORCE_PLATFORM:CHANNEL").astype(int)
    units = _texts(reader, "ANALOG:UNITS")
    notes, plates = [], []
    if min(len(corners), len(origins), len(types)) < used or channels.size % used:
        return (), [f"force plates: {used} announced, but their parameters are incomplete; forces left out"]
    matrices = _numbers(reader, "FORCE_PLATFORM:CAL_MATRIX")
    for number, rows in enumerate(channels.reshape(used, -1)):
        kind, needed = int(types[number]), 8 if types[number] == 3 else 6
        columns = rows[:needed] - 1
        if kind not in (1, 2, 3, 4) or len(columns) < needed or columns.min() < 0 or columns.max() >= analog.shape[1]:
            notes.append(f"force plate {number + 1}: type {kind} with {len(rows)} channels is not read; left out")
            continue
        values = analog[:, columns].copy()
        if kind == 4 and matrices.size >= 36 * (number + 1):
            values = values @ matrices.reshape(-1, 6, 6)[number]  # stored column by column: this is values times C^T
        unit = units[columns[3]].strip().lower() if columns[3] < len(units) else ""
        lengths = slice(3, 5) if kind == 1 else slice(3, 6)
        if kind != 3:
            values[:, lengths] *= 1.0 if unit in ("nm", "n.m", "n*m", "n m") else point_scale
        if kind == 1:
            values[:, 5] *= point_scale
        plates.append(ground_reaction(kind, values, corners[number], origins[number], rate_hz))
    return tuple(plates), notes


def _events(reader: Any, rate_hz: float) -> tuple[Event, ...]:
    """Events of the EVENT group, else of the header, in time order from the first stored frame."""
    count = int(_number(reader, "EVENT:USED", 0))
    if count:
        times = _numbers(reader, "EVENT:TIMES").reshape(-1, 2)[:count] @ np.array([60.0, 1.0])
        labels, contexts = _texts(reader, "EVENT:LABELS"), _texts(reader, "EVENT:CONTEXTS")
        # Some writers count from frame 1 of the trial, not from the first stored frame.
        start = (reader.first_frame - 1) / rate_hz
        if len(times) and times.min() >= start - 0.5 / rate_hz:
            times = times - start
        events = [
            Event(label.strip(), context.strip(), float(time))
            for label, context, time in zip(labels, contexts + [""] * len(labels), times, strict=False)
        ]
    else:
        header = reader.header
        events = [
            Event(str(label).strip(), "", float(time))
            for time, label in zip(header.event_timings, header.event_labels, strict=True)
        ]
    return tuple(sorted(events, key=lambda event: event.time_s))


def _subject(reader: Any) -> dict[str, Any]:
    """What the file says of the person, with height and mass in SI where they can be told."""
    subject: dict[str, Any] = {}
    name = _texts(reader, "SUBJECTS:NAMES")
    if name and name[0].strip():
        subject["name"] = name[0].strip()
    group = reader.get("PROCESSING")
    for key in group.param_keys() if group is not None else ():
        value = _numbers(reader, f"PROCESSING:{key}")
        if value.size == 1 and np.isfinite(value[0]):
            subject[key.lower()] = float(value[0])
    height, mass = subject.pop("height", 0.0), subject.pop("bodymass", 0.0)
    if height > 3:
        height = height / 1000.0 if height > 300 else height / 100.0
    if 0.9 <= height <= 2.4:
        subject["height_m"] = height
    if 12 <= mass <= 220:
        subject["mass_kg"] = mass
    return subject


def _parameter(reader: Any, key: str) -> Any:
    group, name = key.split(":")
    found = reader.get(group)
    return None if found is None else found.get(name)


def _continued(reader: Any, key: str) -> list[Any]:
    """A parameter and its continuations (LABELS, LABELS2, LABELS3 ...)."""
    first = _parameter(reader, key)
    found = [first] if first is not None else []
    number = 2
    while found and (more := _parameter(reader, f"{key}{number}")) is not None:
        found.append(more)
        number += 1
    return found


def _texts(reader: Any, key: str) -> list[str]:
    values = []
    for parameter in _continued(reader, key):
        if parameter.bytes_per_element == -1 and parameter.total_bytes:
            stored = parameter.string_array if parameter.dimensions else [parameter.string_value]
            values += [str(value) for value in np.ravel(stored)]
    return values


def _text(reader: Any, key: str) -> str:
    values = _texts(reader, key)
    return values[0] if values else ""


def _numbers(reader: Any, key: str) -> FloatArray:
    """Every element of a numeric parameter in storage order, empty where there is none."""
    parameter = _parameter(reader, key)
    if parameter is None or parameter.bytes_per_element not in (1, 2, 4) or not parameter.total_bytes:
        return np.zeros(0)
    if parameter.dimensions:
        stored = parameter.float_array if parameter.bytes_per_element == 4 else parameter.int_array
    else:
        size = parameter.bytes_per_element
        stored = {1: "int8_value", 2: "int16_value", 4: "float_value"}[size]
        stored = getattr(parameter, stored)
    return np.ravel(np.asarray(stored, dtype=np.float64))


def _number(reader: Any, key: str, default: float) -> float:
    values = _numbers(reader, key)
    return float(values[0]) if values.size else default
