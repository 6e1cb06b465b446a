"""C3D files: the bytes of a file to a capture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, Event
from mocap.errors import InputError
from mocap.importer.c3d_data import decode_analog, decode_points
from mocap.importer.c3d_layout import (
    WORDS_PER_POINT,
    Layout,
    first_frame_number,
    frame_layout,
    point_rate,
    step_length,
    table,
)
from mocap.importer.c3d_parameters import BLOCK, SIGNATURE, Header, Parameters, parse
from mocap.importer.plates import PlateParameters, read_plates

#: Size of the block that tells the allocator how much to keep, per byte of the file: half of what reading takes.
KEPT_PER_BYTE = 2
#: Metres per unit of POINT:UNITS.
POINT_UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
#: How the words for the units begin, as some files spell them out or cut them off.
SPELT_UNITS = {"mil": "mm", "cen": "cm", "met": "m"}
#: Coordinates of a person are larger than this in millimetres and smaller in metres.
LARGEST_IN_METRES = 20.0
#: Groups of POINT that list outputs which are no places in space.
NOT_PLACES = ("ANGLES", "FORCES", "MOMENTS", "POWERS", "SCALARS")
#: Names under which files keep the side that a person bats from, and the dominant side.
SIDES = {
    "bats": ("BATS", "BATTING_SIDE", "BATTINGSIDE"),
    "side": ("SIDE", "DOMINANT_SIDE", "DOMINANTSIDE", "DOMINANT", "HANDEDNESS"),
}
HEIGHTS, MASSES = ("height", "body_height", "bodyheight", "stature"), ("bodymass", "body_mass", "mass", "weight")
#: Groups that speak of the person.
PERSON_GROUPS = ("PROCESSING", "SUBJECTS", "SUBJECT")


def read_c3d(path: Path) -> Capture:
    """Read a C3D file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Capture
        Points in metres; samples the file marks as invalid are NaN. What was broken and how it was read is in the
        notes.

    Raises
    ------
    InputError
        Missing, empty, not a C3D file, not decodable, or without any usable point.
    """
    if not path.exists():
        raise InputError(f"{path}: no such file")
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give one of its recordings (compare and season take a session folder)")
    try:
        content = path.read_bytes()
        _keep_freed_memory(KEPT_PER_BYTE * len(content))
        return decode_c3d(content, path.name)
    except InputError as error:
        raise InputError(f"{path}: {error}") from None
    except OSError as error:
        raise InputError(f"{path}: the file cannot be opened ({error.strerror or error})") from error


def _keep_freed_memory(size: int) -> None:
    """Have the allocator keep up to twice that much freed memory for the next file, instead of handing it back.

    The GNU C library gives free memory back to the system once it exceeds twice the largest block freed so far, and
    every page that is handed out again costs more than decoding what it holds: file after file is read twice as fast
    with it. The block is never touched, so that it takes no memory; other C libraries take no notice.
    """
    np.empty(size, dtype=np.uint8)


def decode_c3d(content: bytes, source: str) -> Capture:
    """The capture that the bytes of a C3D file hold.

    Parameters
    ----------
    content : bytes
    source : str
        Name for the capture.

    Raises
    ------
    InputError
        Empty, not a C3D file, not decodable, or without any usable point; the message does not name the source.
    """
    if not content:
        raise InputError("the file is empty (0 bytes); export or copy it again")
    if len(content) < BLOCK or content[1] != SIGNATURE:
        raise InputError("not a C3D file (its second byte is not 0x50); export it as C3D")
    with np.errstate(all="ignore"):  # a broken file may hold any number; what cannot be is seen where it is used
        return _capture(content, source)


def _capture(content: bytes, source: str) -> Capture:
    header, parameters = parse(content)
    notes = list(parameters.repairs)
    rate, repairs = point_rate(header, parameters)
    notes += repairs
    layout, repairs = frame_layout(content, header, parameters, rate)
    notes += repairs
    step, repairs = step_length(header, parameters)
    notes += repairs
    rows = table(content, layout)

    labels, repairs = unique_labels(parameters.texts("POINT:LABELS"), layout.points, "point")
    notes += repairs
    places = _places(parameters, labels)
    if not places.all():
        notes.append(f"{int((~places).sum())} computed outputs (angles, forces, moments, powers) left out")
    unit_m, repairs = _unit(parameters, rows, layout, step)
    notes += repairs
    decoded = decode_points(rows, layout, places, step, unit_m)
    if np.isnan(decoded.residuals).all():
        raise InputError("no usable points (every sample is marked as lost); record or export the swing again")
    analog, analog_notes = decode_analog(rows, layout, parameters)
    units = (parameters.texts("ANALOG:UNITS") + [""] * layout.channels)[: layout.channels]
    plates, plate_notes = read_plates(
        _plate_parameters(parameters),
        analog,
        units,
        rate_hz=rate * layout.samples,
        samples_per_frame=layout.samples,
        point_scale=unit_m,
    )
    return Capture(
        source=source,
        labels=tuple(label for label, place in zip(labels, places, strict=True) if place),
        points=decoded.points,
        rate_hz=rate,
        residuals=decoded.residuals,
        first_frame=first_frame_number(header, parameters),
        analog=analog,
        analog_labels=tuple(unique_labels(parameters.texts("ANALOG:LABELS"), layout.channels, "channel")[0]),
        analog_units=tuple(units),
        analog_rate_hz=rate * layout.samples if layout.channels else 0.0,
        plates=plates,
        events=_events(header, parameters, rate),
        subject=MappingProxyType(_subject(parameters)),
        cameras=decoded.cameras,
        vertical=_vertical(parameters),
        notes=(*notes, *decoded.notes, *analog_notes, *plate_notes),
    )


def unique_labels(stored: list[str], count: int, kind: str) -> tuple[list[str], list[str]]:
    """Unique labels without the subject's prefix, one for each point or channel.

    Parameters
    ----------
    stored : list of str
        As the file states them; too many are cut off, those missing are called after the kind.
    count : int
    kind : str
        What is labelled, `point` or `channel`.

    Returns
    -------
    list of str, list of str
        Labels, and notes.
    """
    notes = []
    names = [label.strip() for label in stored[:count]]
    names += [""] * (count - len(names))
    unlabelled = names.count("")
    if unlabelled:
        notes.append(f"{unlabelled} of {count} {kind}s have no label")
    filled = [name.split(":", 1)[-1].strip() or f"{kind}_{i + 1}" for i, name in enumerate(names)]
    taken = set(filled)
    if len(taken) == count:
        return filled, notes
    times, unique = dict.fromkeys(filled, 0), []
    for name in filled:
        times[name] += 1
        if times[name] == 1:
            unique.append(name)
            continue
        number = times[name]
        while f"{name}_{number}" in taken:
            number += 1
        times[name] = number
        unique.append(f"{name}_{number}")
        taken.add(unique[-1])
    repeated = next(name for name in times if times[name] > 1)
    used = filled.count(repeated)
    notes.append(f"{kind} label {repeated!r} is used {used} times; the later ones carry a number")
    return unique, notes


def _places(parameters: Parameters, labels: list[str]) -> npt.NDArray[np.bool_]:
    """Which points are places in space, not angles or forces stored among them."""
    outputs = [label for group in NOT_PLACES for label in parameters.texts(f"POINT:{group}")]
    excluded = {label.strip().split(":", 1)[-1] for label in outputs} - {""}
    return np.array([label not in excluded for label in labels])


def _unit(parameters: Parameters, rows: np.ndarray, layout: Layout, step: float) -> tuple[float, list[str]]:
    """Metres per unit of the coordinates; told from their size where the file names no unit."""
    stated = parameters.text("POINT:UNITS").strip().lower()
    unit = SPELT_UNITS.get(stated[:3], stated)
    if unit in POINT_UNITS:
        return POINT_UNITS[unit], []
    if stated and stated.isprintable():
        raise InputError(f"POINT:UNITS is {stated!r}; known are {', '.join(POINT_UNITS)}")
    some = rows[:: max(1, len(rows) // 32), : WORDS_PER_POINT * layout.points]
    size = np.abs(some.reshape(len(some), -1, WORDS_PER_POINT)[..., :3].astype(np.float64))
    seen = size[np.isfinite(size) & (size > 0)]
    typical = float(np.median(seen)) * (1.0 if layout.is_float else step) if seen.size else 0.0
    unit = "m" if typical < LARGEST_IN_METRES else "mm"
    return POINT_UNITS[unit], [f"POINT:UNITS is not stated; {unit} is taken from the size of the coordinates"]


def _vertical(parameters: Parameters) -> str:
    """The lab axis that points up on the screen, such as `+z`; empty where none is stated."""
    up, across = (parameters.text(f"POINT:{key}").strip().lower() for key in ("Y_SCREEN", "X_SCREEN"))
    up = f"+{up}" if up in ("x", "y", "z") else up
    known = len(up) == 2 and up[0] in "+-" and up[1] in "xyz"
    return up if known and across[-1:] != up[1] else ""


def _plate_parameters(parameters: Parameters) -> PlateParameters:
    return PlateParameters(
        used=max(0, int(parameters.number("FORCE_PLATFORM:USED", 0))),
        types=parameters.shaped("FORCE_PLATFORM:TYPE"),
        corners=parameters.shaped("FORCE_PLATFORM:CORNERS"),
        origins=parameters.shaped("FORCE_PLATFORM:ORIGIN"),
        channels=parameters.shaped("FORCE_PLATFORM:CHANNEL"),
        matrices=parameters.shaped("FORCE_PLATFORM:CAL_MATRIX"),
        zero=parameters.shaped("FORCE_PLATFORM:ZERO"),
    )


def _events(header: Header, parameters: Parameters, rate_hz: float) -> tuple[Event, ...]:
    """Events of the EVENT group, else of the header, in time order from the first stored frame."""
    times = _event_times(parameters)
    if not times.size:
        return tuple(sorted((Event(label, "", time) for label, time in header.events), key=lambda e: e.time_s))
    # Some writers count from frame 1 of the trial, not from the first stored frame.
    start = (first_frame_number(header, parameters) - 1) / rate_hz
    if times.min() >= start - 0.5 / rate_hz:
        times = times - start
    count = len(times)
    labels, contexts = ((parameters.texts(f"EVENT:{key}") + [""] * count)[:count] for key in ("LABELS", "CONTEXTS"))
    events = [
        Event(label.strip(), context.strip(), float(time))
        for label, context, time in zip(labels, contexts, times, strict=True)
        if np.isfinite(time)
    ]
    return tuple(sorted(events, key=lambda event: event.time_s))


def _event_times(parameters: Parameters) -> npt.NDArray[np.float64]:
    """Times of the EVENT group: pairs of minutes and seconds, or as many seconds as events. [s]"""
    used = max(0, int(parameters.number("EVENT:USED", 0)))
    stored = parameters.numbers("EVENT:TIMES")
    if stored.size == used:
        return stored
    return stored[: stored.size // 2 * 2].reshape(-1, 2)[:used] @ np.array([60.0, 1.0])


def _subject(parameters: Parameters) -> dict[str, Any]:
    """What the file says of the person, with height and mass in SI where they can be told."""
    subject: dict[str, Any] = {}
    name = parameters.text("SUBJECTS:NAMES").strip() or parameters.text("SUBJECT:NAME").strip()
    if name:
        subject["name"] = name
    for key, parameter in parameters.groups.get("PROCESSING", {}).items():
        value = parameter.number() if math.prod(parameter.dimensions) == 1 or parameter.kind == -1 else None
        if value is not None and math.isfinite(value):
            subject[key.lower()] = value
    height, mass = (_person_number(parameters, subject, names) for names in (HEIGHTS, MASSES))
    if height > 3:
        height = height / 1000.0 if height > 300 else height / 100.0
    # What no person measures is kept as stated: whoever uses it names it.
    subject |= {key: value for key, value in (("height_m", height), ("mass_kg", mass)) if 0 < value < math.inf}
    for what, names in SIDES.items():
        stated = (parameters.text(key).strip().lower() for key in _person_keys(parameters, names))
        side = next(filter(None, stated), "")
        if side[:1] in ("l", "r"):
            subject[what] = "left" if side[0] == "l" else "right"
    return subject


def _person_number(parameters: Parameters, measured: dict[str, Any], names: tuple[str, ...]) -> float:
    """The first number under one of the names, taken out of the lab's measurements; zero where there is none."""
    found = [measured.pop(name) for name in names if name in measured]
    found += [parameters.number(key, 0.0) for key in _person_keys(parameters, [name.upper() for name in names])]
    return next((value for value in found if value > 0), 0.0)


def _person_keys(parameters: Parameters, names: Sequence[str]) -> list[str]:
    """Keys of these names in the groups that speak of the person."""
    groups = {group: parameters.groups[group] for group in PERSON_GROUPS if group in parameters.groups}
    return [f"{group}:{name}" for group, found in groups.items() for name in names if name in found]
