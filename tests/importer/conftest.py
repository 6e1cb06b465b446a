"""A writer of C3D files byte by byte, independent of the reader: it states what it is told, true or not."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

INTEL, DEC, MIPS = 84, 85, 86


@dataclass
class C3DBuilder:
    """A small recording as it will be stored; every field can be set to nonsense."""

    stored_points: np.ndarray  # (F, P, 4): x, y, z and the fourth word, as stored
    stored_analog: np.ndarray | None = None  # (F, S, C)
    processor: int = INTEL
    is_float: bool = False
    scale: float = 0.5
    rate_hz: float = 100.0
    first_frame: int = 1
    header: dict[int, int] = field(default_factory=dict)  # word (from 1) -> value, written last
    header_events: list[tuple[str, float]] = field(default_factory=list)
    header_event_flag: int = 1
    parameters: dict[str, dict[str, Any]] = field(default_factory=dict)  # None takes one out
    records: list[bytes] = field(default_factory=list)  # written before the closing record
    blocks_between: int = 0  # blocks of rubbish between the header and the parameters

    def words(self, values: np.ndarray) -> bytes:
        """16-bit integers."""
        return np.asarray(values).astype(np.int64).astype(">u2" if self.processor == MIPS else "<u2").tobytes()

    def floats(self, values: Any) -> bytes:
        """32-bit floats."""
        values = np.atleast_1d(np.asarray(values, dtype=np.float32))
        if self.processor == MIPS:
            return values.astype(">f4").tobytes()
        if self.processor == DEC:
            return np.frombuffer((values * 4).astype("<f4").tobytes(), "<u2").reshape(-1, 2)[:, ::-1].tobytes()
        return values.astype("<f4").tobytes()

    def group(self, number: int, name: str) -> bytes:
        """A group's record."""
        return struct.pack("bb", len(name), -number) + name.encode() + self.words(np.array([3])) + b"\0"

    def parameter(self, number: int, name: str, value: Any, *, locked: bool = False) -> bytes:
        """A parameter's record: text, list of texts, integers, floats, or (type, dimensions, bytes)."""
        kind, dimensions, data = value if isinstance(value, tuple) else self._stored(value)
        body = struct.pack("bB", kind, len(dimensions)) + bytes(dimensions) + data + b"\0"
        head = struct.pack("bb", -len(name) if locked else len(name), number) + name.encode()
        return head + self.words(np.array([len(body) + 2])) + body

    def _stored(self, value: Any) -> tuple[int, list[int], bytes]:
        if isinstance(value, str):
            return -1, [len(value)], value.encode()
        if isinstance(value, list) and value and isinstance(value[0], str):
            length = max(map(len, value))
            return -1, [length, len(value)], "".join(text.ljust(length) for text in value).encode()
        array = np.asarray(value)
        whole = array.dtype.kind in "iu"
        # The first dimension of the file is the one that varies fastest.
        return 2 if whole else 4, list(array.shape[::-1]), (self.words if whole else self.floats)(array.ravel())

    def all_parameters(self) -> dict[str, dict[str, Any]]:
        """What a sound file states, with the wanted changes."""
        frames, points = self.stored_points.shape[:2]
        signed = -self.scale if self.is_float else self.scale
        stated: dict[str, dict[str, Any]] = {
            "POINT": {
                "USED": points,
                "FRAMES": frames if frames < 65_536 else 65_535,
                "SCALE": signed,
                "RATE": self.rate_hz,
                "DATA_START": 0,
                "UNITS": "mm",
                "LABELS": [f"P{i + 1}" for i in range(min(points, 255))],
            }
        }
        if points > 255:
            stated["POINT"]["LABELS2"] = [f"P{i + 1}" for i in range(255, points)]
        if self.stored_analog is not None:
            samples, channels = self.stored_analog.shape[1:]
            stated["ANALOG"] = {
                "USED": channels,
                "RATE": self.rate_hz * samples,
                "GEN_SCALE": 1.0,
                "SCALE": np.ones(min(channels, 255), np.float32),
                "OFFSET": np.zeros(min(channels, 255), np.int16),
                "LABELS": [f"C{i + 1}" for i in range(min(channels, 255))],
            }
        for group, changes in self.parameters.items():
            stated.setdefault(group, {}).update(changes)
        return stated

    def section(self, data_start: int) -> bytes:
        """The parameter section, padded to whole blocks."""
        body = b""
        stated = self.all_parameters()
        if stated["POINT"].get("DATA_START") == 0 and "DATA_START" not in self.parameters.get("POINT", {}):
            stated["POINT"]["DATA_START"] = data_start
        for number, (group, values) in enumerate(stated.items(), start=1):
            body += self.group(number, group)
            body += b"".join(self.parameter(number, n, v) for n, v in values.items() if v is not None)
        body += b"".join(self.records) + b"\0\0"
        blocks = -(-(len(body) + 4) // 512)
        return (bytes([1, 0x50, min(blocks, 255), self.processor]) + body).ljust(512 * blocks, b"\0")

    def build(self) -> bytes:
        """The file."""
        before = 1 + self.blocks_between
        data_start = before + len(self.section(0)) // 512 + 1
        frames, points = self.stored_points.shape[:2]
        analog = np.zeros((frames, 0, 0)) if self.stored_analog is None else self.stored_analog
        numbers = np.concatenate([self.stored_points.reshape(frames, -1), analog.reshape(frames, -1)], axis=1)
        header = bytearray(512)
        header[0], header[1] = before + 1, 0x50
        last = min(self.first_frame + frames - 1, 65_535)
        per_frame = analog.shape[1] * analog.shape[2]
        words = {2: points, 3: per_frame, 4: self.first_frame, 5: last, 6: 10, 9: data_start, 10: analog.shape[1]}
        words |= {150: 12_345, 151: len(self.header_events)} if self.header_events else {}
        header[12:16] = self.floats(-self.scale if self.is_float else self.scale)
        header[20:24] = self.floats(self.rate_hz)
        for i, (label, time) in enumerate(self.header_events):
            header[304 + 4 * i : 308 + 4 * i] = self.floats(time)
            header[376 + i] = self.header_event_flag
            header[396 + 4 * i : 400 + 4 * i] = label.ljust(4).encode()
        for word, value in (words | self.header).items():
            header[2 * word - 2 : 2 * word] = self.words(np.array([value]))
        data = (self.floats if self.is_float else self.words)(numbers.ravel())
        rubbish = b"\xff" * 512 * self.blocks_between
        return bytes(header) + rubbish + self.section(data_start) + data + b"\0" * (-len(data) % 512)


@pytest.fixture(scope="session")
def c3d_builder() -> Callable[..., C3DBuilder]:
    """What builds a file from stored numbers."""
    return C3DBuilder


@pytest.fixture
def stored_points() -> np.ndarray:
    """Stored numbers of 6 frames of 3 points, sound as integers and as floats: smooth, with masks and residuals."""
    frames = np.arange(6)[:, None, None]
    places = np.array([[100, 200, 300], [-400, 500, 600], [700, -800, 900]])[None] + 3 * frames
    word = np.array([0x0503, 0x0000, 0x7F10])[None, :, None] + 0 * frames
    stored = np.concatenate([places, word], axis=2)
    stored[2, 1] = [0, 0, 0, -1]
    return stored
