"""Files in, captures out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from mocap.capture import Capture
from mocap.errors import InputError


def _c3d() -> Callable[[Path], Capture]:
    from mocap.importer.c3d_file import read_c3d

    return read_c3d


def _trc() -> Callable[[Path], Capture]:
    from mocap.importer.trc import read_trc

    return read_trc


def _csv() -> Callable[[Path], Capture]:
    from mocap.importer.csv_points import read_csv_points

    return read_csv_points


def _filmed() -> Callable[[Path], Capture]:
    from mocap.importer.filmed import read_filmed

    return read_filmed


#: Suffix in lower case to what fetches its reader, which itself looks whether the file is of its kind.
READERS: dict[str, Callable[[], Callable[[Path], Capture]]] = {
    ".c3d": _c3d,
    ".trc": _trc,
    ".csv": _csv,
    ".tsv": _csv,
    ".toml": _filmed,
}


def read(path: str | Path) -> Capture:
    """Read a recording.

    Parameters
    ----------
    path : str or Path
        A C3D file, a TRC file, a plain table of points (CSV), or a list of cameras and of the points that they saw
        (TOML, see `mocap.importer.filmed`); the suffix tells which.

    Returns
    -------
    Capture

    Raises
    ------
    InputError
        Missing, empty, of an unknown kind, not decodable, or without any usable point.
    """
    path = Path(path)
    reader = READERS.get(path.suffix.lower())
    if reader is None and path.is_file():
        raise InputError(
            f"{path}: files of the kind {path.suffix or '(no suffix)'} are not read;"
            " give a C3D (.c3d), TRC (.trc) or CSV (.csv, .tsv) file, or a list of cameras (.toml)"
        )
    return (reader or _c3d)()(path)
