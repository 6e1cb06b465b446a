"""Header and parameter section of a C3D file, as typed values; what was broken and how it was read is listed.

Written on the public C3D user guide (c3d.org): header, parameter header, group and parameter records.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray

#: Bytes in a block, the unit of every pointer in the file.
BLOCK = 512
#: Second byte of the file.
SIGNATURE = 0x50
#: Processor types: byte 4 of the parameter section.
INTEL, DEC, MIPS = 84, 85, 86
#: Header word that says that events follow, with labels of four characters.
EVENT_KEY = 12345
#: Most events that fit into the header.
HEADER_EVENTS = 18
#: Most dimensions of a parameter.
MAX_DIMENSIONS = 7
#: Records beyond this number are no parameters of any recording.
MAX_RECORDS = 10_000
#: Bytes of an element by the parameter's type: text, byte, 16-bit integer, 32-bit float.
ELEMENT_SIZES = {-1: 1, 1: 1, 2: 2, 4: 4}
#: Names that cannot be part of a parameter section are how a reader knows that it has left it.
_NAME = re.compile(rb"[!-~][ -~]*\Z")
#: Names that only this group's parameters have: how a group is known whose own name is broken.
_MARKS = {
    "POINT": {"DATA_START", "X_SCREEN", "Y_SCREEN", "LONG_FRAMES"},
    "ANALOG": {"GEN_SCALE"},
    "FORCE_PLATFORM": {"CORNERS", "CAL_MATRIX"},
}
_PROCESSORS = {INTEL: "Intel", DEC: "DEC", MIPS: "MIPS"}


@dataclass(frozen=True)
class Header:
    """The first block, as stored.

    Attributes
    ----------
    points : int
        Points in each frame.
    analog_per_frame : int
        Analog measurements in each frame: channels times samples.
    first_frame, last_frame : int
        Numbers of the first and the last stored frame, modulo 65,536.
    max_gap : int
        Longest gap that the recording software filled. [frames]
    scale : float
        Length of one integer step, in POINT:UNITS; negative where the data are floats.
    data_start : int
        Block in which the frames begin, counted from 1.
    samples_per_frame : int
        Samples of each analog channel in a frame.
    rate_hz : float
        Point rate. [Hz]
    events : tuple of (str, float)
        Labels and times from the first stored frame. [s]
    """

    points: int
    analog_per_frame: int
    first_frame: int
    last_frame: int
    max_gap: int
    scale: float
    data_start: int
    samples_per_frame: int
    rate_hz: float
    events: tuple[tuple[str, float], ...]


class Parameter(NamedTuple):
    """One parameter: its type (-1 text, 1 byte, 2 integer, 4 float), its dimensions, its bytes, and whose they are."""

    kind: int
    dimensions: tuple[int, ...]
    data: bytes
    processor: int

    def numbers(self, *, unsigned: bool = False) -> FloatArray:
        """Every element in storage order; numbers written as text are read, other text gives none.

        Parameters
        ----------
        unsigned : bool
            Take 16-bit integers as 0 to 65,535.
        """
        if self.kind == -1:
            return np.array([value for value in map(_number_in, self.texts()) if value is not None])
        return numbers_from(self.data, self.kind, self.processor, unsigned=unsigned)

    def number(self, *, unsigned: bool = False) -> float | None:
        """The first element, None where there is none; without an array, as most parameters hold one number."""
        if self.kind == -1 or self.processor == DEC:
            values = self.numbers(unsigned=unsigned)
            return float(values[0]) if values.size else None
        if not self.data:
            return None
        order = ">" if self.processor == MIPS else "<"
        code = {1: "B", 2: "H" if unsigned else "h", 4: "f"}[self.kind]
        return float(struct.unpack_from(order + code, self.data)[0])

    def texts(self) -> list[str]:
        """Each string, without trailing blanks; none where the parameter is no text."""
        if self.kind != -1 or not self.data:
            return []
        length = self.dimensions[0] if self.dimensions else 1
        text = self.data.decode("latin-1")
        if "\0" not in text:
            return [text[i : i + length].rstrip() for i in range(0, len(text), length)]
        return [text[i : i + length].partition("\0")[0].rstrip() for i in range(0, len(text), length)]


@dataclass(frozen=True)
class Parameters:
    """Every parameter of a file by group and name, both in capitals.

    Attributes
    ----------
    processor : int
        84 Intel, 85 DEC, 86 MIPS.
    groups : dict of str to dict of str to Parameter
    end : int
        Offset of the first byte behind the last record. [bytes]
    repairs : list of str
        What was broken, and how it was read.
    """

    processor: int
    groups: dict[str, dict[str, Parameter]]
    end: int
    repairs: list[str] = field(default_factory=list)

    def get(self, key: str) -> Parameter | None:
        """The parameter of a key such as `POINT:LABELS`, or None."""
        group, _, name = key.partition(":")
        return self.groups.get(group, {}).get(name)

    def continued(self, key: str) -> list[Parameter]:
        """A parameter and its continuations: LABELS, LABELS2, LABELS3 and so on."""
        found = []
        parameter, number = self.get(key), 2
        while parameter is not None:
            found.append(parameter)
            parameter, number = self.get(f"{key}{number}"), number + 1
        return found

    def texts(self, key: str) -> list[str]:
        """Strings of a parameter and its continuations."""
        return [text for parameter in self.continued(key) for text in parameter.texts()]

    def text(self, key: str) -> str:
        """The first string, empty where there is none."""
        return next(iter(self.texts(key)), "")

    def numbers(self, key: str, *, unsigned: bool = False) -> FloatArray:
        """Numbers of a parameter and its continuations, flat, in storage order."""
        found = [parameter.numbers(unsigned=unsigned) for parameter in self.continued(key)]
        if not found:
            return np.zeros(0)
        return found[0] if len(found) == 1 else np.concatenate(found)

    def shaped(self, key: str) -> FloatArray:
        """Numbers of a parameter shaped by its dimensions in reverse, as the first stored one varies fastest.

        Flat where numbers and dimensions disagree or the parameter is text; of size zero where it is absent.
        """
        parameter = self.get(key)
        if parameter is None:
            return np.zeros(0)
        values, shape = parameter.numbers(), parameter.dimensions[::-1]
        return values.reshape(shape) if parameter.kind != -1 and values.size == math.prod(shape) else values

    def number(self, key: str, default: float, *, unsigned: bool = False) -> float:
        """The first number if it is finite, else the default."""
        parameter = self.get(key)
        value = None if parameter is None else parameter.number(unsigned=unsigned)
        return value if value is not None and math.isfinite(value) else default


def numbers_from(data: bytes, kind: int, processor: int, *, unsigned: bool = False) -> FloatArray:
    """Numbers from their stored bytes.

    Parameters
    ----------
    data : bytes
    kind : int
        1, 2 or 4: byte, 16-bit integer, 32-bit float.
    processor : int
        84, 85 or 86.
    unsigned : bool
        Take 16-bit integers as 0 to 65,535.

    Returns
    -------
    ndarray, shape (N,)
    """
    order = ">" if processor == MIPS else "<"
    if kind == 1:
        return np.frombuffer(data, np.uint8).astype(np.float64)
    if kind == 2:
        return np.frombuffer(data, f"{order}{'u' if unsigned else 'i'}2").astype(np.float64)
    if processor == DEC:
        return float_from_dec(np.frombuffer(data, "<u2")).astype(np.float64)
    return np.frombuffer(data, f"{order}f4").astype(np.float64)


def float_from_dec(words: np.ndarray) -> np.ndarray:
    """DEC (VAX F) floats from their 16-bit words.

    Parameters
    ----------
    words : ndarray of uint16, shape (..., 2 N)

    Returns
    -------
    ndarray of float32, shape (..., N)

    Notes
    -----
    The words lie in the opposite order to IEEE's, the exponent's bias is 128 instead of 126 for a mantissa in 0.5 ..
    1: the value is a quarter of what the swapped words say as IEEE.
    """
    swapped = np.empty(words.shape, "<u2")
    swapped[..., ::2], swapped[..., 1::2] = words[..., 1::2], words[..., ::2]
    return swapped.view("<f4") * np.float32(0.25)


def parse(content: bytes) -> tuple[Header, Parameters]:
    """Header and parameters of a C3D file.

    Parameters
    ----------
    content : bytes
        The whole file, at least one block of it.

    Returns
    -------
    Header
    Parameters
        Without a group where the file holds no parameter section that can be found.

    Notes
    -----
    Byte 1 of the file says in which block the section begins. Where no section with a group POINT lies there, every
    block that could open one is tried.
    """
    stated = (content[0] - 1) * BLOCK
    repairs: list[str] = []
    parameters = _section(content, stated) if stated > 0 else None
    if parameters is None or "POINT" not in parameters.groups:
        searched = (_section(content, start) for start in _section_starts(content) if start != stated)
        found = next((section for section in searched if section is not None and "POINT" in section.groups), None)
        if found is not None:
            repairs.append(f"the parameter section is not in block {content[0]} as the header says; found by search")
            parameters = found
    if parameters is None:
        repairs.append("there is no parameter section that can be read; the header alone says what the frames hold")
        parameters = Parameters(INTEL, {}, BLOCK)
    parameters.repairs[:0] = repairs
    return _header(content, parameters.processor), parameters


def _header(content: bytes, processor: int) -> Header:
    order = ">" if processor == MIPS else "<"
    words = struct.unpack_from(f"{order}255H", content, 2)  # words[i] is the manual's word i + 2

    def real(word: int) -> float:
        return float(numbers_from(content[2 * word - 2 : 2 * word + 2], 4, processor)[0])

    return Header(
        points=words[0],
        analog_per_frame=words[1],
        first_frame=words[2],
        last_frame=words[3],
        max_gap=words[4],
        scale=real(7),
        data_start=words[7],
        samples_per_frame=words[8],
        rate_hz=real(11),
        events=_header_events(content, words, processor),
    )


def _header_events(content: bytes, words: tuple[int, ...], processor: int) -> tuple[tuple[str, float], ...]:
    """Labels and times of the header's events.

    Whether a flag of 1 means shown or hidden differs between editions of the manual, so that no event is left out
    for its flag.
    """
    if words[148] != EVENT_KEY:  # word 150
        return ()
    count = min(words[149], HEADER_EVENTS)
    times = numbers_from(content[304 : 304 + 4 * count], 4, processor)  # words 153 ff.
    labels = [content[396 + 4 * i : 400 + 4 * i].decode("latin-1").strip(" \0") for i in range(count)]  # words 199 ff.
    return tuple((label, float(time)) for label, time in zip(labels, times, strict=True) if math.isfinite(time))


def _section_starts(content: bytes) -> Iterator[int]:
    """Offsets of blocks that could open a parameter section, the likeliest first."""
    processors = np.frombuffer(content, np.uint8)[BLOCK + 3 :: BLOCK]
    blocks = np.flatnonzero((processors >= INTEL) & (processors <= MIPS))
    if 0 not in blocks:
        yield BLOCK
    yield from ((int(block) + 1) * BLOCK for block in blocks[:64])


def _section(content: bytes, start: int) -> Parameters | None:
    """The parameter section at an offset, or None where no record lies there.

    A processor type that is none of the three, or under which the point rate is none, is found out by trying.
    """
    if start + 8 > len(content):
        return None
    stored = content[start + 3]
    stated = _records(content, start + 4, stored) if stored in _PROCESSORS else None
    if stored in _PROCESSORS and (stated is None or stated.get("POINT:RATE") is None or _sound_rate(stated)):
        return stated
    others = (_records(content, start + 4, processor) for processor in _PROCESSORS if processor != stored)
    tried = [section for section in (stated, *others) if section is not None]
    if not tried:
        return None
    best = max(tried, key=lambda section: (_sound_rate(section), sum(map(len, section.groups.values()))))
    if best is not stated:
        best.repairs.append(f"the processor type {stored} is wrong; read as {_PROCESSORS[best.processor]}")
    return best


def _sound_rate(section: Parameters) -> bool:
    return 1.0 <= section.number("POINT:RATE", 0.0) <= 1e5


def _records(content: bytes, start: int, processor: int) -> Parameters | None:
    """Walk through the group and parameter records from an offset; None where there is not one."""
    walk = _Walk(content, processor)
    position = start if walk.rank(start) else None
    while position is not None and len(walk.found) < MAX_RECORDS:
        position = walk.step(position)
    return _assemble(walk, processor) if walk.found else None


@dataclass
class _Walk:
    """The walk from record to record, and what it has met so far."""

    content: bytes
    processor: int
    names: dict[int, str] = field(default_factory=dict)
    found: list[tuple[int, str, Parameter]] = field(default_factory=list)
    repairs: list[str] = field(default_factory=list)
    end: int = 0

    def step(self, position: int) -> int | None:
        """Take in the record that opens at a position; gives that of the next one, None behind the last."""
        content = self.content
        length, group = content[position], _signed(content[position + 1])
        length = 256 - length if length > 127 else length
        name = content[position + 2 : position + 2 + length].decode("ascii").strip().upper()
        body = position + length + 4
        following = self._next(body, name, is_group=group < 0)
        self.end = body if following is None else following
        if group < 0:
            if self.names.setdefault(-group, name) != name:
                first = self.names[-group]
                self.repairs.append(f"two parameter groups have the number {-group}; {first} is kept, not {name}")
            return following
        parameter = self._parameter(body, len(content) if following is None else following)
        if parameter is None:
            self.repairs.append(f"parameter {name} has a broken type or size; left out")
        else:
            self.found.append((group, name, parameter))
        return following

    def rank(self, position: int) -> int:
        """How sure it is that a record opens here: 0 it cannot, 1 it can, 2 it is a group or of a group met before.

        It can where a name lies that can be one, with room for what follows.
        """
        content = self.content
        if position + 6 > len(content):
            return 0
        length, number = content[position], content[position + 1]
        length = 256 - length if length > 127 else length  # negative where the record is locked
        end = position + 2 + length
        if not length or not number or end + 4 > len(content) or _NAME.match(content, position + 2, end) is None:
            return 0
        return 2 if number > 127 or number in self.names else 1

    def _next(self, body: int, name: str, *, is_group: bool) -> int | None:
        """Where the next record begins: where the offset says, or where this one ends if that leads to no record."""
        content = self.content
        low, high = (1, 2) if self.processor == MIPS else (2, 1)
        offset = content[body - low] + 256 * content[body - high]
        stated = body - 2 + offset
        rank = self.rank(stated) if offset else 0
        if rank == 2:
            return stated
        natural = self._natural_end(body, is_group=is_group)
        if rank and self.rank(natural) <= rank:
            return stated
        if self.rank(natural):
            self.repairs.append(f"the pointer behind parameter {name} is broken; the next one was found by its size")
            return natural
        # A pointer of zero ends the section, as does a name of no length.
        if offset and content[stated : stated + 1] != b"\0":
            ended = content[natural : natural + 1] == b"\0"
            fault = "has a broken pointer at its end" if ended else "breaks off"
            self.repairs.append(f"the parameter section {fault}, after {name}")
        return None

    def _natural_end(self, body: int, *, is_group: bool) -> int:
        content = self.content
        at = body
        if not is_group:
            kind, dimensions = _signed(content[at]), content[at + 1]
            lengths = content[at + 2 : at + 2 + dimensions]
            at += 2 + dimensions + ELEMENT_SIZES.get(kind, 0) * math.prod(lengths)
        return at + 1 + content[at] if at < len(content) else len(content)

    def _parameter(self, body: int, limit: int) -> Parameter | None:
        content = self.content
        kind, count = _signed(content[body]), content[body + 1]
        data = body + 2 + count
        if kind not in ELEMENT_SIZES or count > MAX_DIMENSIONS or data > limit:
            return None
        dimensions = tuple(content[body + 2 : data])
        size = ELEMENT_SIZES[kind] * math.prod(dimensions)
        if data + size > limit:
            return None
        return Parameter(kind, dimensions, content[data : data + size], self.processor)


def _assemble(walk: _Walk, processor: int) -> Parameters:
    """Parameters by group and name; of several with one key the first that holds something is kept."""
    groups: dict[str, dict[str, Parameter]] = {name: {} for name in walk.names.values()}
    repeated: dict[str, None] = {}
    for number, name, parameter in walk.found:
        group_name = walk.names.get(number, f"(GROUP {number})")
        group = groups.setdefault(group_name, {})
        if name not in group:
            group[name] = parameter
            continue
        repeated[f"{group_name}:{name}"] = None
        if not group[name].data.strip(b"\0 ") and parameter.data.strip(b"\0 "):
            group[name] = parameter
    repairs = walk.repairs
    if repeated:
        shown = ", ".join(list(repeated)[:3]) + (" and others" if len(repeated) > 3 else "")
        repairs.append(f"{len(repeated)} parameter(s) are stored more than once ({shown}); the first value is kept")
    for known, marks in _MARKS.items():
        if known in groups:
            continue
        lost = next((name for name, group in groups.items() if name not in _MARKS and marks & group.keys()), None)
        if lost is not None:
            groups[known] = groups.pop(lost)
            repairs.append(f"the parameter group {known} is not named so; known by its parameters")
    return Parameters(processor, groups, walk.end, repairs)


def _signed(byte: int) -> int:
    return byte - 256 if byte > 127 else byte


def _number_in(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
