"""From a recording to one picture or film: read, measured, compared, and drawn into a file of its own."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from mocap.display import Units
from mocap.errors import OptionError, OutputError
from mocap.importer.session import Recording

if TYPE_CHECKING:
    from mocap.comparison import Comparison
    from mocap.findings import Findings
    from mocap.kinematics.cutting import Piece

#: Told the step's name, how much of it is done, and of how much (None: not known).
Report = Callable[[str, int, int | None], None]

#: Sizes by name. [px]
SIZES: dict[str, tuple[int, int]] = {
    "720p": (1280, 720),
    "1080p": (1920, 1080),
    "1440p": (2560, 1440),
    "4k": (3840, 2160),
    "square": (1080, 1080),
    "upright": (1080, 1920),
}


def pieces(recording: Recording, only: int | None = None) -> list[Piece]:
    """The swings of a recording's file.

    Raises
    ------
    MocapError
        It cannot be read or cut, or the one swing that is wanted is not there.
    """
    from mocap.importer import read
    from mocap.kinematics.cutting import pieces_of

    calibration = read(recording.calibration) if recording.calibration else None
    return pieces_of(read(recording.file), recording.hitter, recording.setup, calibration, only=only)


def compared(
    recording: Recording, piece: Piece, *, reference: str, limits: Path | None, units: Units
) -> tuple[Comparison, Findings]:
    """One swing against its reference, and what is found in it.

    Parameters
    ----------
    recording : Recording
    piece : Piece
        Of its file.
    reference : str
        Name or file of the reference model.
    limits : Path or None
        The coach's own table.
    units : {"metric", "imperial"}

    Raises
    ------
    MocapError
        The swing cannot be measured, or the reference or the table cannot be read.
    """
    import mocap
    from mocap.reference.compare import with_pose_distance

    calibration = mocap.read(recording.calibration) if recording.calibration else None
    swing = mocap.build_swing(piece.capture, recording.hitter, piece.setup, calibration)
    comparison = mocap.compare(swing, mocap.load_reference(reference), units=units)
    findings = mocap.measure(swing, limits=limits, units=units)
    return comparison, with_pose_distance(findings, comparison, limits=limits, units=units)


def only_swing(
    recording: Recording, only: int | None, *, reference: str, limits: Path | None, units: Units
) -> tuple[Comparison, Findings, float]:
    """As `compared`, of a file that holds one swing, or of the one that is chosen; and when it begins in the file. [s]

    Raises
    ------
    OptionError
        It holds several, and none is chosen.
    """
    found = pieces(recording, only)
    if len(found) > 1:
        raise OptionError(f"{recording.file} holds {len(found)} swings; choose one with --swing 1 to {len(found)}")
    piece = found[0]
    pair = compared(recording, piece, reference=reference, limits=limits, units=units)
    return *pair, piece.start / piece.capture.rate_hz


def size_of(text: str) -> tuple[int, int]:
    """A size by name, or as WIDTHxHEIGHT. [px]

    Raises
    ------
    OptionError
        Neither, or no picture could be drawn at it.
    """
    if text in SIZES:
        return SIZES[text]
    width, _, height = text.partition("x")
    if not (width.isdecimal() and height.isdecimal()):
        raise OptionError(f"size {text!r} is not known; give {', '.join(SIZES)}, or WIDTHxHEIGHT as 1600x900")
    size = int(width), int(height)
    if not (min(size) >= 320 and max(size) <= 7680):
        raise OptionError(f"size {text} cannot be drawn; give 320 to 7680 pixels each way")
    return size


def refuse_older(path: Path, replace: bool) -> None:
    """Make sure that nothing the user had is lost.

    Raises
    ------
    OutputError
        The file is there already, or its folder is not.
    """
    if path.exists() and not replace:
        raise OutputError(f"{path} is there already; choose another --out, or give --replace")
    if not path.absolute().parent.is_dir():
        raise OutputError(f"{path.parent} is no folder; make it first")


@contextmanager
def progress_of(name: str) -> Iterator[Report]:
    """A progress bar with the time left, on a terminal's standard error; nothing elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    console = Console(file=sys.stderr)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(f"{name}: reading", total=None)
        yield lambda step, done, total: progress.update(
            task, description=f"{name}: {step}" if name else step, completed=done, total=total
        )
