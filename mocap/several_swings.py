"""Measures of every swing of a recording, one after the other, frames as they count in the whole recording."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from mocap.capture import Capture
from mocap.display import Units
from mocap.errors import DetectionError, InputError
from mocap.findings import Findings
from mocap.importer.session import Recording
from mocap.kinematics.cutting import Piece
from mocap.swing import Moment, Swing


@dataclass(frozen=True)
class MeasuredPiece:
    """One swing of a recording, and what was found in it.

    Attributes
    ----------
    piece : Piece
    swing : Swing or None
        None where it could not be measured.
    findings : Findings or None
        Moments count frames and time in the whole recording.
    why : str
        Why it could not be measured; empty where it could.
    """

    piece: Piece
    swing: Swing | None
    findings: Findings | None
    why: str = ""


def measure_each(
    recording: Recording,
    *,
    limits: Path | None = None,
    units: Units = "metric",
    only: int | None = None,
    report: Callable[[int, int], None] | None = None,
) -> list[MeasuredPiece]:
    """Read a recording, cut it into its swings, and measure each.

    Parameters
    ----------
    recording : Recording
    limits : Path, optional
        The coach's own table.
    units : {"metric", "imperial"}
        Of the sentences that go with the checks.
    only : int, optional
        The one swing that is wanted, counted from 1.
    report : callable, optional
        Told how many swings are done, of how many.

    Returns
    -------
    list of MeasuredPiece
        Of several swings, those that cannot be measured say why.

    Raises
    ------
    MocapError
        The recording cannot be read or cut, or no swing of it can be measured, or not the one that is wanted.
    """
    from mocap.importer import read
    from mocap.kinematics.cutting import pieces_of

    calibration = read(recording.calibration) if recording.calibration else None
    pieces = pieces_of(read(recording.file), recording.hitter, recording.setup, calibration, only=only)
    measured = []
    for done, piece in enumerate(pieces):
        if report is not None:
            report(done, len(pieces))
        measured.append(_measured(piece, recording, calibration, (limits, units), alone=len(pieces) == 1))
    if all(one.swing is None for one in measured):
        raise DetectionError(f"{measured[0].why} (none of its {len(measured)} swings can be measured)")
    return measured


def _measured(
    piece: Piece,
    recording: Recording,
    calibration: Capture | None,
    how: tuple[Path | None, Units],
    *,
    alone: bool,
) -> MeasuredPiece:
    from mocap.kinematics.build import build_swing
    from mocap.kinematics.measuring import measure

    try:
        swing = build_swing(piece.capture, recording.hitter, piece.setup, calibration)
    except (DetectionError, InputError) as reason:
        if alone:
            raise
        return MeasuredPiece(piece, None, None, str(reason))
    findings = in_whole_recording(measure(swing, limits=how[0], units=how[1]), piece.start, swing.rate_hz)
    return MeasuredPiece(piece, swing, findings)


def in_whole_recording(findings: Findings, start: int, rate_hz: float) -> Findings:
    """Findings of a piece whose moments count frames and time from the start of the whole recording.

    Parameters
    ----------
    findings : Findings
    start : int
        The piece's first frame in the recording, counted from 0.
    rate_hz : float
        [Hz]

    Returns
    -------
    Findings
        To be read; whoever indexes the swing's points needs those of the piece.
    """
    return replace(findings, moments=_later(findings.moments, start, rate_hz)) if start else findings


def _later(moments: Mapping[str, Moment], start: int, rate_hz: float) -> dict[str, Moment]:
    return {
        name: moment
        if moment.index is None or moment.time_s is None
        else replace(moment, index=moment.index + start, time_s=moment.time_s + start / rate_hz)
        for name, moment in moments.items()
    }


def several_object(measured: list[MeasuredPiece], source: str) -> dict[str, Any]:
    """Findings of a recording's swings as plain data.

    Parameters
    ----------
    measured : list of MeasuredPiece
    source : str
        Name of the recording.

    Returns
    -------
    dict
        Of one swing, what `mocap.results.findings_object` gives. Of several, `file` and `swings`: of each `swing`
        (counted from 1), `first_frame` and `last_frame`, and then the same keys, or `why` where it could not be
        measured. Frames count from 0 and time from the start of the whole recording, as `--moment` takes them.
    """
    from mocap.results import findings_object

    def contents(one: MeasuredPiece) -> dict[str, Any]:
        if one.swing is None or one.findings is None:
            return {"why": one.why}
        return findings_object(one.swing, one.findings)

    if len(measured) == 1:
        return contents(measured[0])
    swings = [
        {"swing": one.piece.number, "first_frame": one.piece.start, "last_frame": one.piece.stop - 1} | contents(one)
        for one in measured
    ]
    return {"file": source, "swings": swings}


def print_each(measured: list[MeasuredPiece], units: Units) -> None:
    """Print moments, measures and checks of each swing of a recording."""
    from rich.console import Console
    from rich.text import Text

    from mocap.tables import print_findings

    for one in measured:
        if one.piece.count > 1:
            frames = f"frames {one.piece.start} to {one.piece.stop - 1} of the recording"
            Console().print(Text(f"Swing {one.piece.number} of {one.piece.count}: {frames}", style="bold"))
        if one.swing is None or one.findings is None:
            Console().print(Text(f"cannot be measured: {one.why}"))
        else:
            print_findings(one.swing, one.findings, units)
