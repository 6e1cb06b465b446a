"""Writing without leaving halves: under a temporary name beside the target, renamed when whole.

What is asked to end by a signal tidies up as on Ctrl-C, see `ending_tidily`.
"""

from __future__ import annotations

import secrets
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

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


@contextmanager
def ending_tidily() -> Iterator[None]:
    """Turn the signal that asks a process to end (SIGTERM) into an exception, so that temporary files are removed.

    Only where the signal would end the process at once: who handles it himself keeps his handler.
    """
    in_main = threading.current_thread() is threading.main_thread()
    if not in_main or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL:
        yield
        return
    signal.signal(signal.SIGTERM, _end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _end(number: int, _frame: FrameType | None) -> None:
    signal.signal(number, signal.SIG_IGN)  # a second one must not break into the tidying
    raise SystemExit(128 + number)  # as a shell reports it
