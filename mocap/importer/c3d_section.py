"""The parameter section of a C3D file, built record by record.

Written on the public C3D user guide (c3d.org): parameter header, group and parameter records.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mocap.errors import OutputError

#: Bytes in a block, the unit of every pointer in the file.
BLOCK = 512
#: Blocks that the section may have: its header counts them in a byte.
MAX_BLOCKS = 255
#: Elements along a dimension: it is stored in a byte. More go on in NAME2, NAME3 ...
MAX_ELEMENTS = 255
#: Bytes of data in one record, so that the pointer to the next fits into a signed 16-bit word.
MAX_BYTES = 30_000
#: Processor type Intel.
INTEL = 84


class Section:
    """Groups in the order in which they are added."""

    def __init__(self) -> None:
        self._records: list[bytes] = []
        self._groups = 0

    def group(self, name: str, description: str) -> Group:
        """Start a group; its parameters are added to what is returned."""
        self._groups += 1
        described = description.encode("latin-1")
        self._records.append(
            struct.pack("<bb", len(name), -self._groups)
            + name.encode("latin-1")
            + struct.pack("<HB", 3 + len(described), len(described))
            + described
        )
        return Group(self._records, self._groups)

    def content(self) -> bytes:
        """The whole section, filled up to full blocks.

        Raises
        ------
        OutputError
            Longer than 255 blocks.
        """
        body = b"".join(self._records)
        blocks = -(-(4 + len(body) + 2) // BLOCK)  # two bytes of zero end the records
        if blocks > MAX_BLOCKS:
            raise OutputError(f"labels and parameters fill {blocks} blocks, a C3D file has room for {MAX_BLOCKS}")
        content = struct.pack("<BBBB", 1, 0x50, blocks, INTEL) + body
        return content + bytes(blocks * BLOCK - len(content))


class Group:
    """One group's parameters."""

    def __init__(self, records: list[bytes], number: int) -> None:
        self._records = records
        self._number = number

    def integers(self, name: str, values: npt.ArrayLike, *, scalar: bool = False) -> None:
        """16-bit integers, 0 to 65,535 or signed, of the array's shape; without a dimension if `scalar`."""
        self._array(name, 2, np.asarray(values).astype(np.int64).astype("<u2"), scalar)

    def floats(self, name: str, values: npt.ArrayLike, *, scalar: bool = False) -> None:
        """32-bit floats of the array's shape; without a dimension if `scalar`."""
        self._array(name, 4, np.asarray(values, dtype=np.float64).astype("<f4"), scalar)

    def texts(self, name: str, values: Sequence[str]) -> None:
        """Strings, filled up with blanks to the length of the longest.

        Raises
        ------
        OutputError
            A string of more than 255 letters.
        """
        encoded = [value.encode("latin-1", "replace") for value in values]
        width = max([1, *map(len, encoded)])
        if width > MAX_ELEMENTS:
            longest = max(values, key=len)
            raise OutputError(f"{longest[:40]!r}... has more than {MAX_ELEMENTS} letters; give it a shorter name")
        for number, start, stop in _parts(len(encoded), width):
            part = encoded[start:stop]
            content = b"".join(text.ljust(width) for text in part)
            self._record(_continued(name, number), -1, (width, len(part)), content)

    def _array(self, name: str, kind: int, values: np.ndarray, scalar: bool) -> None:
        if scalar:
            self._record(name, kind, (), values.tobytes())
            return
        row = values[:1].nbytes if len(values) else kind
        for number, start, stop in _parts(len(values), row):
            part = values[start:stop]
            self._record(_continued(name, number), kind, part.shape[::-1], part.tobytes())

    def _record(self, name: str, kind: int, dimensions: tuple[int, ...], content: bytes) -> None:
        body = struct.pack(f"<bB{len(dimensions)}B", kind, len(dimensions), *dimensions) + content + b"\0"
        head = struct.pack("<bb", len(name), self._number) + name.encode("latin-1")
        self._records.append(head + struct.pack("<H", 2 + len(body)) + body)


def _parts(count: int, size: int) -> list[tuple[int, int, int]]:
    """Number, start and stop of each record that `count` elements of a size are spread over; at least one."""
    most = min(MAX_ELEMENTS, max(MAX_BYTES // size, 1))
    return [(i + 1, start, min(start + most, count)) for i, start in enumerate(range(0, max(count, 1), most))]


def _continued(name: str, number: int) -> str:
    return name if number == 1 else f"{name}{number}"
