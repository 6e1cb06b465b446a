"""A capture back into a C3D file: Intel processor, 32-bit floats.

Written on the public C3D user guide (c3d.org): header, groups and parameters, 3D and analog data.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, Event, FloatArray
from mocap.errors import OutputError
from mocap.importer.c3d_section import BLOCK, Section
from mocap.importer.plate_channels import PlateSetup, plate_setup
from mocap.output import replacing

#: First block of the parameter section, as nearly every file has it.
PARAMETER_BLOCK = 2
#: POINT:UNITS by its length in metres.
UNIT_NAMES = {1e-3: "mm", 1e-2: "cm", 1.0: "m"}
#: Largest number in 16 bits; what is larger goes into the group TRIAL, in two words.
LARGEST_WORD = 65_535
#: Steps of the residual's byte.
RESIDUAL_STEPS = 255
#: Share of a step by which a residual may miss it, for its rounding to 32 bits.
STEP_TOLERANCE = 1e-3
#: A scale factor's recommended size: the largest coordinate over this (C3D user guide, POINT:SCALE).
LARGEST_INTEGER = 32_000


def write_c3d(capture: Capture, path: str | Path) -> Path:
    """Write a capture as a C3D file.

    Points, residuals, camera masks, analog channels, force plates, events and what is known of the person are read
    back by `mocap.read` as they are here, to the precision of 32-bit floats. Missing points are written as invalid.

    Parameters
    ----------
    capture : Capture
    path : str or Path
        An older file there is replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        The capture does not fit into the format (more than 65,535 points or channels, analog samples that are no
        multiple of the frames, a parameter section beyond 255 blocks), or the file cannot be written.

    Notes
    -----
    - Plates that came from analog channels are written through those channels, so that what was changed in their
      forces since is not in the file; plates without channels get new channels, and are of type 2 when read back.
    - A residual is one of 255 steps: they are kept as they are where a common step fits them all, as it does for
      residuals that come from a C3D file, else rounded to 1/255 of the largest.
    - Notes and the name of the source are not written.
    """
    path = Path(path)
    try:
        content = _content(capture)
    except OutputError as error:
        raise OutputError(f"{path}: {error}") from None
    with replacing(path) as temporary:
        temporary.write_bytes(content)
    return path


def _content(capture: Capture) -> bytes:
    setup = plate_setup(capture)
    if not capture.n_frames:
        raise OutputError("a C3D file holds at least one frame; this capture has none")
    samples, left_over = divmod(len(setup.analog), capture.n_frames)
    if left_over:
        raise OutputError(
            f"{len(setup.analog)} analog samples are no multiple of {capture.n_frames} frames; resample them first"
        )
    channels = setup.analog.shape[1] if samples else 0
    if max(len(capture.labels), channels * samples) > LARGEST_WORD:
        raise OutputError(f"{len(capture.labels)} points and {channels} channels are more than a C3D file can hold")
    unit_m = setup.length_unit_m
    coordinates = capture.points / unit_m
    step = _residual_step(coordinates, capture.residuals / unit_m)
    frames = _frames(capture, coordinates, step, unit_m, setup.analog.reshape(capture.n_frames, -1))
    # The section's size does not depend on the number in DATA_START, so that it is known after a first pass.
    blocks = len(_section(capture, setup, step, samples, 0))
    data_start = PARAMETER_BLOCK + blocks // BLOCK
    section = _section(capture, setup, step, samples, data_start)
    return _header(capture, channels, samples, step, data_start) + section + frames


def _frames(capture: Capture, coordinates: FloatArray, step: float, unit_m: float, analog: FloatArray) -> bytes:
    """Every frame: x, y, z and the word of camera mask and residual of each point, then the analog samples."""
    seen: npt.NDArray[np.bool_] = np.asarray(np.isfinite(coordinates).all(axis=2))
    residuals = np.nan_to_num(capture.residuals) / unit_m
    codes = np.clip(np.rint(residuals / step), 0, RESIDUAL_STEPS) + 256.0 * (capture.cameras & 0x7F)
    points = np.empty((*seen.shape, 4), "<f4")
    points[..., :3] = np.where(seen[..., None], coordinates, 0.0)
    points[..., 3] = np.where(seen, codes, -1.0)
    whole = np.concatenate([points.reshape(len(points), -1), analog.astype("<f4")], axis=1)
    content = whole.tobytes()
    return content + bytes(-len(content) % BLOCK)


def _residual_step(coordinates: FloatArray, residuals: FloatArray) -> float:
    """Length of one step of the residual's byte, also the scale factor, as a 32-bit float. [file's unit]"""
    values = np.unique(residuals[np.isfinite(residuals) & (residuals > 0)])
    if not values.size:
        largest = float(np.abs(coordinates[np.isfinite(coordinates)]).max(initial=0.0))
        return float(np.float32(largest / LARGEST_INTEGER or 1.0))
    # A common step is the smallest value or a whole fraction of it.
    candidates = (values[0] / np.arange(1, RESIDUAL_STEPS + 1)).astype(np.float32).astype(np.float64)
    few = values if len(values) <= RESIDUAL_STEPS else values[:0]
    counts = few[None, :] / candidates[:, None]
    missed = np.abs(counts - np.rint(counts)).max(axis=1, initial=0.0)
    fits = np.flatnonzero((missed < STEP_TOLERANCE) & (values[-1] / candidates < RESIDUAL_STEPS + 0.5))
    if few.size and fits.size:
        return float(candidates[fits[0]])
    return float(np.float32(values[-1] / RESIDUAL_STEPS))


def _header(capture: Capture, channels: int, samples: int, step: float, data_start: int) -> bytes:
    first = max(capture.first_frame, 0)
    return struct.pack(
        "<BB5HfHHf488x",
        PARAMETER_BLOCK,
        0x50,
        len(capture.labels),
        channels * samples,
        first % (LARGEST_WORD + 1),
        min(first + capture.n_frames - 1, LARGEST_WORD),
        0,
        -step,
        data_start,
        samples,
        capture.rate_hz,
    )


def _section(capture: Capture, setup: PlateSetup, step: float, samples: int, data_start: int) -> bytes:
    section = Section()
    _add_points(section, capture, setup, step, data_start)
    _add_analog(section, capture, setup, samples)
    if setup.types:
        _add_plates(section, setup)
    _add_trial(section, capture)
    if capture.events:
        _add_events(section, capture)
    _add_person(section, capture)
    return section.content()


def _add_points(section: Section, capture: Capture, setup: PlateSetup, step: float, data_start: int) -> None:
    points = section.group("POINT", "Places in space")
    points.integers("USED", [len(capture.labels)], scalar=True)
    points.integers("FRAMES", [min(capture.n_frames, LARGEST_WORD)], scalar=True)
    points.integers("DATA_START", [data_start], scalar=True)
    points.floats("SCALE", [-step], scalar=True)
    points.floats("RATE", [capture.rate_hz], scalar=True)
    points.texts("UNITS", [UNIT_NAMES[setup.length_unit_m]])
    points.texts("LABELS", capture.labels)
    points.texts("DESCRIPTIONS", [""] * len(capture.labels))
    if capture.vertical:
        points.texts("X_SCREEN", ["+Y" if capture.vertical[-1] == "x" else "+X"])
        points.texts("Y_SCREEN", [capture.vertical.upper()])


def _add_analog(section: Section, capture: Capture, setup: PlateSetup, samples: int) -> None:
    count = setup.analog.shape[1] if samples else 0
    analog = section.group("ANALOG", "Analog channels")
    analog.integers("USED", [count], scalar=True)
    analog.floats("GEN_SCALE", [1.0], scalar=True)
    analog.floats("RATE", [samples * capture.rate_hz], scalar=True)
    analog.texts("FORMAT", ["SIGNED"])
    analog.floats("SCALE", np.ones(count))
    analog.integers("OFFSET", np.zeros(count))
    analog.texts("LABELS", setup.labels[:count])
    analog.texts("DESCRIPTIONS", [""] * count)
    analog.texts("UNITS", setup.units[:count])


def _add_plates(section: Section, setup: PlateSetup) -> None:
    plates = section.group("FORCE_PLATFORM", "Force plates")
    plates.integers("USED", [len(setup.types)], scalar=True)
    plates.integers("TYPE", setup.types)
    plates.integers("ZERO", setup.zero)
    plates.floats("CORNERS", setup.corners)
    plates.floats("ORIGIN", setup.origins)
    plates.integers("CHANNEL", setup.channels)
    plates.floats("CAL_MATRIX", setup.matrices)


def _add_trial(section: Section, capture: Capture) -> None:
    first = max(capture.first_frame, 0)
    trial = section.group("TRIAL", "Frame numbers in two words, low and high")
    trial.integers("ACTUAL_START_FIELD", divmod(first, 65_536)[::-1])
    trial.integers("ACTUAL_END_FIELD", divmod(first + capture.n_frames - 1, 65_536)[::-1])


def _add_events(section: Section, capture: Capture) -> None:
    times = _stored_times(capture.events, capture)
    events = section.group("EVENT", "Named instants")
    events.integers("USED", [len(times)], scalar=True)
    events.texts("CONTEXTS", [event.context for event in capture.events])
    events.texts("LABELS", [event.label for event in capture.events])
    events.texts("DESCRIPTIONS", [""] * len(times))
    events.floats("TIMES", np.stack([times // 60.0, times % 60.0], axis=1))


def _stored_times(events: tuple[Event, ...], capture: Capture) -> FloatArray:
    """Times from the start of the trial, as most programs store them. [s]

    Where an event lies before the first stored frame that would not be told from times from that frame on; then
    these are stored, as the C3D user guide has it.
    """
    times = np.array([event.time_s for event in events])
    return times if times.min() < 0 else times + (max(capture.first_frame, 1) - 1) / capture.rate_hz


def _add_person(section: Section, capture: Capture) -> None:
    """The groups SUBJECTS and PROCESSING: name and side, height in millimetres, mass, the lab's measurements."""
    known = dict(capture.subject)
    name = str(known.pop("name", ""))
    texts = {key: str(known.pop(key)) for key in ("bats", "side") if key in known}
    if name or texts:
        subjects = section.group("SUBJECTS", "The person")
        subjects.integers("USED", [1], scalar=True)
        subjects.texts("NAMES", [name])
        for side, text in texts.items():
            subjects.texts(side.upper(), [text])
    numbers = {key: float(value) for key, value in known.items() if isinstance(value, int | float)}
    if "height_m" in numbers:
        numbers["height"] = 1000.0 * numbers.pop("height_m")
    if "mass_kg" in numbers:
        numbers["bodymass"] = numbers.pop("mass_kg")
    if numbers:
        processing = section.group("PROCESSING", "Measurements of the person")
        for measurement, number in numbers.items():
            processing.floats(measurement.upper(), [number])
