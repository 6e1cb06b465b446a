"""Writing without leaving halves: under a temporary name beside the target, renamed when whole."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from mocap.errors import OutputError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Temporary path of the same suffix; renamed to `path` on leaving, removed on any exception.

    Parameters
    ----------
    path : Path
        Target; an older file there is replaced.

    Raises
    ------
    OutputError
        The folder is missing or cannot be written to.
    """
    if not path.parent.is_dir():
        raise OutputError(f"{path.parent} is no folder; make it first")
    temporary = path.with_name(f".{path.stem}.{secrets.token_hex(4)}{path.suffix}")
    try:
        yield temporary
        temporary.replace(path)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
    finally:
        temporary.unlink(missing_ok=True)
