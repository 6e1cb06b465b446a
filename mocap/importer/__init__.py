"""Files in, captures out."""

from __future__ import annotations

from pathlib import Path

from mocap.capture import Capture
from mocap.errors import InputError

SUFFIXES = (".c3d",)


def read(path: str | Path) -> Capture:
    """Read a recording.

    Parameters
    ----------
    path : str or Path
        A C3D file.

    Returns
    -------
    Capture

    Raises
    ------
    InputError
        Missing, empty, of an unknown kind, not decodable, or without any usable point.
    """
    from mocap.importer.c3d_file import read_c3d

    path = Path(path)
    if path.suffix.lower() not in SUFFIXES and path.is_file():
        raise InputError(f"{path}: files of the kind {path.suffix or '(no suffix)'} are not read; give a C3D file")
    return read_c3d(path)
