"""How the frames of a C3D file lie in its bytes; where its own statements disagree, which of them the bytes bear out.

Written on the public C3D user guide (c3d.org): header, the groups POINT, ANALOG and TRIAL, 3D and analog data.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from mocap.errors import InputError
from mocap.importer.c3d_parameters import BLOCK, DEC, MIPS, Header, Parameters, float_from_dec

#: Numbers stored of each point: x, y, z, and the word of camera mask and residual.
WORDS_PER_POINT = 4
#: Frame counts at the end of 16 bits may stand for any larger one.
SATURATED = (65_534, 65_535)
#: Plausible rates. [Hz]
RATES = (0.1, 1e5)
#: Plausible lengths of one integer step, in any unit of length.
STEPS = (1e-7, 1e4)
#: Frames looked at to tell which layout the bytes bear out.
PROBED_FRAMES = 24
#: Share of the extent of all points that one moves at most from frame to frame, mostly: this project's default.
SMOOTH_STEP = 0.05


@dataclass(frozen=True)
class Layout:
    """Where each number of each frame lies.

    Attributes
    ----------
    start : int
        Offset of the first frame. [bytes]
    frames : int
        Frames that are there.
    stated_frames : int
        Frames that the file announces.
    points : int
        Points in a frame.
    channels : int
        Analog channels.
    samples : int
        Samples of each channel in a frame.
    is_float : bool
        Stored as 32-bit floats, else as 16-bit integers.
    processor : int
        84 Intel, 85 DEC, 86 MIPS.
    """

    start: int
    frames: int
    stated_frames: int
    points: int
    channels: int
    samples: int
    is_float: bool
    processor: int

    @property
    def words(self) -> int:
        """Numbers in a frame."""
        return WORDS_PER_POINT * self.points + self.channels * self.samples

    @property
    def frame_bytes(self) -> int:
        """Bytes in a frame."""
        return self.words * (4 if self.is_float else 2)

    @property
    def dtype(self) -> str:
        """Type of a stored number; DEC's floats come as integers, two words each."""
        return (">" if self.processor == MIPS else "<") + ("f4" if self.is_float else "i2")


def table(content: bytes, layout: Layout, frames: int | None = None) -> np.ndarray:
    """The stored numbers, a row for each frame.

    Parameters
    ----------
    content : bytes
        The whole file.
    layout : Layout
    frames : int, optional
        How many; all that are there unless given.

    Returns
    -------
    ndarray of int16 or float32, shape (frames, words)
        A view of the file's bytes, except for DEC's floats.
    """
    frames = layout.frames if frames is None else frames
    shape = (frames, layout.words)
    if layout.is_float and layout.processor == DEC:
        words = np.frombuffer(content, "<u2", 2 * frames * layout.words, layout.start)
        return float_from_dec(words).reshape(shape)
    return np.frombuffer(content, layout.dtype, frames * layout.words, layout.start).reshape(shape)


def point_rate(header: Header, parameters: Parameters) -> tuple[float, list[str]]:
    """The point rate [Hz], and a note where the file contradicts itself or states none.

    Raises
    ------
    InputError
        Neither the header nor a parameter states a rate.
    """
    stated = parameters.number("POINT:RATE", 0.0)
    if _within(stated, RATES):
        if _within(header.rate_hz, RATES) and not math.isclose(stated, header.rate_hz, rel_tol=1e-3):
            return stated, [f"POINT:RATE is {stated:g} Hz, the header says {header.rate_hz:g} Hz; the former is taken"]
        return stated, []
    if _within(header.rate_hz, RATES):
        broken = parameters.get("POINT:RATE") is not None
        return header.rate_hz, ["POINT:RATE is broken; the header's rate is taken"] if broken else []
    analog = parameters.number("ANALOG:RATE", 0.0)
    if _within(analog, RATES):
        rate = analog / max(header.samples_per_frame, 1)
        return rate, [f"no point rate is stated; {rate:g} Hz follows from the analog rate"]
    raise InputError("cannot be decoded (neither the header nor POINT:RATE states a frame rate); export it again")


def step_length(header: Header, parameters: Parameters) -> tuple[float, list[str]]:
    """Length of one integer step in POINT:UNITS, always positive, and a note where the file contradicts itself."""
    stated, copied = abs(parameters.number("POINT:SCALE", 0.0)), abs(header.scale)
    if _within(stated, STEPS):
        if _within(copied, STEPS) and not math.isclose(stated, copied, rel_tol=1e-3):
            return stated, [f"POINT:SCALE is {stated:g}, the header says {copied:g}; the former is taken"]
        return stated, []
    if _within(copied, STEPS):
        broken = parameters.get("POINT:SCALE") is not None
        return copied, ["POINT:SCALE is broken; the header's scale factor is taken"] if broken else []
    return 1.0, ["neither the header nor POINT:SCALE states a scale factor; 1 is taken"]


def _within(value: float, limits: tuple[float, float]) -> bool:
    return math.isfinite(value) and limits[0] <= value <= limits[1]


def frame_layout(content: bytes, header: Header, parameters: Parameters, rate_hz: float) -> tuple[Layout, list[str]]:
    """Layout of the frames, and what was repaired to get it.

    Parameters
    ----------
    content : bytes
        The whole file.
    header : Header
    parameters : Parameters
    rate_hz : float
        Point rate. [Hz]

    Raises
    ------
    InputError
        No frame or no point.

    Notes
    -----
    Each number that the file states twice is a question only where the two differ. Then every combination is tried:
    the one whose frames fill the file and whose first frames hold what recordings hold is taken, and among equals the
    one that the header states.
    """
    forms = [
        Layout(start, 0, 0, points, channels, samples, is_float, parameters.processor)
        for start, points, (channels, samples), is_float in itertools.product(
            _starts(content, header, parameters),
            _distinct([header.points, _count(parameters, "POINT:USED")]),
            _analog_shapes(header, parameters, rate_hz),
            _number_types(header, parameters),
        )
        if points and len(content) - start >= (4 if is_float else 2) * (WORDS_PER_POINT * points + channels * samples)
    ]
    if not forms and (header.data_start - 1) * BLOCK + 1 >= len(content):
        raise InputError("cannot be decoded (the file ends before its first frame); copy or export it again")
    if not forms:
        raise InputError("no usable points (0 frames or 0 points); record or export the swing again")
    found = [_with_frames(form, len(content), header, parameters) for form in forms]
    best = found[0] if len(found) == 1 else _borne_out(content, found)
    return best, _repairs(best, header, parameters)


def first_frame_number(header: Header, parameters: Parameters) -> int:
    """Number of the first stored frame; TRIAL:ACTUAL_START_FIELD where it is the header's, beyond 16 bits."""
    actual = _double_word(parameters, "TRIAL:ACTUAL_START_FIELD")
    return actual if actual % 65_536 == header.first_frame and actual else header.first_frame


def _distinct(values: Iterable[Any]) -> list[Any]:
    return list(dict.fromkeys(values))


def _count(parameters: Parameters, key: str) -> int:
    return max(0, int(parameters.number(key, 0, unsigned=True)))


def _double_word(parameters: Parameters, key: str) -> int:
    """A count stored as two 16-bit words, the low one first; zero where there is none."""
    words = parameters.numbers(key, unsigned=True)[:2].tolist()
    return int(sum(word * 65_536**i for i, word in enumerate(words) if math.isfinite(word)))


def _starts(content: bytes, header: Header, parameters: Parameters) -> list[int]:
    """Offsets at which the frames may begin: by the header, by POINT:DATA_START, behind the parameters."""
    by_header, by_point = header.data_start, _count(parameters, "POINT:DATA_START")
    blocks = [by_header, by_point]
    # A pointer beyond the end is what a file cut off before its frames has; what lies behind the parameters is none.
    if (by_header - 1) * BLOCK < len(content):
        blocks.append(math.ceil(parameters.end / BLOCK) + 1)
    sound = _distinct((block - 1) * BLOCK for block in blocks if block > 1)
    # A pointer into the parameter section is broken, save where the first frames have overwritten its last records.
    return [start for start in sound if parameters.end - BLOCK < start < len(content)]


def _analog_shapes(header: Header, parameters: Parameters, rate_hz: float) -> list[tuple[int, int]]:
    """Channels and samples in a frame, by the header's two words and by ANALOG:USED and ANALOG:RATE."""
    total, samples = header.analog_per_frame, header.samples_per_frame
    by_header = [(total // samples, samples)] if samples and total % samples == 0 else []
    if parameters.get("ANALOG:USED") is None:
        return by_header or [(total, 1)]
    used = _count(parameters, "ANALOG:USED")
    if used * samples == total:
        return [(used, samples)]
    by_rate = parameters.number("ANALOG:RATE", 0.0) / rate_hz
    shapes = [*by_header, (used, samples)]
    if 0.5 <= by_rate <= 65_535:
        shapes.append((used, round(by_rate)))
    if used and total % used == 0:
        shapes.append((used, total // used))
    return _distinct(shape if shape[0] * shape[1] else (0, 0) for shape in shapes)


def _number_types(header: Header, parameters: Parameters) -> list[bool]:
    """Whether the data are floats, by the scale factor's sign in the header and in POINT:SCALE; both where broken."""
    signs = [scale < 0 for scale in (header.scale, parameters.number("POINT:SCALE", 0.0)) if _within(abs(scale), STEPS)]
    return _distinct(signs) or [True, False]


def _with_frames(form: Layout, size: int, header: Header, parameters: Parameters) -> Layout:
    """The layout with its number of frames: the stated one that fills the file, else the largest that it holds."""
    held = (size - form.start) // form.frame_bytes
    by_header = header.last_frame - header.first_frame + 1
    first, last = (_double_word(parameters, f"TRIAL:ACTUAL_{key}_FIELD") for key in ("START", "END"))
    by_trial = last - first + 1 if last else 0
    stored = [_count(parameters, key) for key in ("POINT:FRAMES", "POINT:LONG_FRAMES")]
    stated = [count for count in _distinct([by_header, by_trial, *stored, by_header % 65_536]) if count > 0]
    filling = [count for count in stated if 0 <= (held - count) * form.frame_bytes < BLOCK]
    fitting = [count for count in stated if count <= held]
    if filling:
        count = filling[0]
    elif not stated or (fitting and max(fitting) in SATURATED):
        count = held
    else:
        count = max(fitting) if fitting else min(stated)
    return replace(form, frames=min(count, held), stated_frames=count)


def _borne_out(content: bytes, found: list[Layout]) -> Layout:
    """The first of several layouts that the bytes bear out better than those before it."""
    best, best_score = found[0], -math.inf
    for layout in found:
        left = len(content) - layout.start - layout.frames * layout.frame_bytes
        fills = 1.0 if layout.frames == layout.stated_frames and left < BLOCK else 0.0
        score = fills + 2.0 * _plausibility(content, layout)
        if score > best_score + 0.1:
            best, best_score = layout, score
    return best


def _plausibility(content: bytes, layout: Layout) -> float:
    """How far a few frames from the middle hold what recordings hold: 0 to 1.

    The fourth word of a point is whole and at least -1, its coordinates are lengths, and most points hardly move from
    one frame to the next.
    """
    first = max(0, (layout.frames - PROBED_FRAMES) // 2)
    probe = replace(layout, start=layout.start + first * layout.frame_bytes)
    rows = table(content, probe, min(layout.frames - first, PROBED_FRAMES))
    values = rows[:, : WORDS_PER_POINT * layout.points].astype(np.float64).reshape(len(rows), -1, WORDS_PER_POINT)
    places, word = values[..., :3], values[..., 3]
    size = np.abs(places)
    lengths = (size == 0) | ((size > 1e-6) & (size < 1e6))
    sound = lengths.all(axis=-1) & (word == np.rint(word)) & (word >= -1) & (word < 65_536)
    seen = sound & (word >= 0) & (size > 0).any(axis=-1)
    if not seen.any():
        return 0.5 * float(sound.mean())
    extent = np.ptp(places[seen], axis=0).max()
    pairs = seen[1:] & seen[:-1]
    steps = np.abs(np.diff(places, axis=0)).max(axis=-1)[pairs]
    smooth = float((steps <= SMOOTH_STEP * extent).mean()) if steps.size else 1.0
    return float(sound.mean()) * smooth


def _repairs(layout: Layout, header: Header, parameters: Parameters) -> list[str]:
    """What the file states about its frames and the bytes refute, and frames that are missing."""
    repairs = []
    block = layout.start // BLOCK + 1
    pointers = {"the header": header.data_start, "POINT:DATA_START": _count(parameters, "POINT:DATA_START")}
    for where, stated in pointers.items():
        if stated != block and (where == "the header" or parameters.get(where) is not None):
            repairs.append(f"{where} lets the frames begin in block {stated}; they begin in block {block}")
    if parameters.get("POINT:USED") is not None and _count(parameters, "POINT:USED") != header.points:
        used = _count(parameters, "POINT:USED")
        repairs.append(f"POINT:USED is {used}, the header says {header.points} points; {layout.points} are stored")
    used = _count(parameters, "ANALOG:USED") if parameters.get("ANALOG:USED") is not None else layout.channels
    total, samples = header.analog_per_frame, header.samples_per_frame
    read = (layout.channels * layout.samples, layout.samples, layout.channels)
    if layout.channels and read != (total, samples, used):
        repairs.append(
            f"the analog counts contradict each other (header: {total} numbers of {samples} samples in a frame; "
            f"ANALOG:USED {used}); read as {layout.channels} channels of {layout.samples} samples"
        )
    signs = {header.scale < 0, parameters.number("POINT:SCALE", header.scale) < 0}
    if signs != {layout.is_float}:
        kind = "floats" if layout.is_float else "integers"
        repairs.append(f"the signs of the header's scale factor and of POINT:SCALE disagree; the data are {kind}")
    if layout.frames < layout.stated_frames:
        repairs.append(f"the file ends early: {layout.frames} of {layout.stated_frames} frames are there")
    frames = _count(parameters, "POINT:FRAMES")
    if parameters.get("POINT:FRAMES") is not None and frames not in (layout.stated_frames, *SATURATED):
        repairs.append(f"POINT:FRAMES is {frames}; {layout.stated_frames} frames are announced otherwise")
    if layout.frames == layout.stated_frames != header.last_frame - header.first_frame + 1:
        repairs.append(
            f"the header counts frames {header.first_frame} to {header.last_frame}; {layout.frames} frames are read"
        )
    return repairs
