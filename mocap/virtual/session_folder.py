"""A folder of virtual recordings with its session.toml, as the importer reads it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.display import Units
from mocap.errors import OptionError, OutputError
from mocap.importer.c3d_writer import write_c3d
from mocap.importer.session import FILE_NAME
from mocap.output import replacing
from mocap.virtual.faults import Faults, random_faults, spoil
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.recording import record
from mocap.virtual.skin import BatKind, MarkerKind

SwingKind = Literal["live", "toss", "tee", "held"]
#: How long a drill position is held. [s]
HELD_S = 3.0
#: Stream of random numbers for faults, beside those of a recording.
FAULT_STREAM = 4


@dataclass(frozen=True)
class PlannedSwing:
    """One recording of a session.

    Attributes
    ----------
    file : str
        Name in the folder.
    hitter : VirtualHitter
        As he swings this time: parameters may differ from swing to swing, the person may not.
    kind : {"live", "toss", "tee", "held"}
        A held one holds the landing posture for 3 s.
    pitch_location, notes : str
        For the session file.
    markers, bat, rate_hz, noise_m, soft_tissue_m, placing_m, seed
        See `record`.
    faults : Faults, or "random", or None
        What goes wrong in it.
    moments : mapping of str to int
        Hand-set moments for the session file.
    day : date or None
        Where it is not the session's.
    """

    file: str
    hitter: VirtualHitter
    kind: SwingKind = "live"
    pitch_location: str = "middle"
    notes: str = ""
    markers: MarkerKind = "joint_centres"
    bat: BatKind = "ends"
    rate_hz: float = 240.0
    noise_m: float = 0.001
    soft_tissue_m: float = 0.0
    placing_m: float = 0.0
    faults: Faults | Literal["random"] | None = None
    moments: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    seed: int = 0
    day: date | None = None


@dataclass(frozen=True)
class PlannedSession:
    """A session to be recorded.

    Attributes
    ----------
    name : str
    day : date
    lab : Lab
    swings : tuple of PlannedSwing
    comment : str
        First line of the session file.
    units : {"metric", "imperial"}
        What the numbers are shown in.
    pitch_angle_deg : float
        Descent of the pitches at the plate, negative is downward. [deg]
    """

    name: str
    day: date
    lab: Lab
    swings: tuple[PlannedSwing, ...]
    comment: str
    units: Units = "metric"
    pitch_angle_deg: float = -8.0


def write_session(
    folder: Path, session: PlannedSession, *, write: Callable[[Capture, Path], object] = write_c3d
) -> None:
    """Record every swing of a session and write the folder.

    Parameters
    ----------
    folder : Path
        Made where it is missing; files of the same names are replaced.
    session : PlannedSession
    write : callable
        Writes a capture to a path, under a temporary name first.

    Raises
    ------
    OptionError
        Two swings of one file name, one id for two persons, catchers at two distances, or a hitter that cannot be
        posed or recorded.
    OutputError
        The folder cannot be written to.

    Notes
    -----
    The same session gives the same bytes. The session file comes last, so that it never names what is not there. Home
    plate is stated once where all hitters bat from one side, else with each swing.
    """
    text = session_text(session)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder} cannot be made: {error.strerror or error}") from error
    for swing in session.swings:
        write(record_planned(session.lab, swing), folder / swing.file)
    with replacing(folder / FILE_NAME) as temporary:
        temporary.write_bytes(text.encode("utf-8"))


def record_planned(lab: Lab, swing: PlannedSwing) -> Capture:
    """The capture of one planned swing."""
    faults = swing.faults
    capture = record(
        swing.hitter,
        lab,
        markers=swing.markers,
        bat=swing.bat,
        rate_hz=swing.rate_hz,
        noise_m=swing.noise_m,
        soft_tissue_m=swing.soft_tissue_m,
        placing_m=swing.placing_m,
        faults=faults if isinstance(faults, Faults) else None,
        held_s=HELD_S if swing.kind == "held" else None,
        seed=swing.seed,
    )
    if faults != "random":
        return capture
    return spoil(capture, random_faults(np.random.default_rng([swing.seed, FAULT_STREAM]), capture))


def session_text(session: PlannedSession) -> str:
    """The session file.

    Raises
    ------
    OptionError
        As `write_session`, for what the file states.
    """
    roster = _roster(session)
    catchers = {hitter.parameters.catcher_behind_m for hitter in roster.values()}
    if len(catchers) > 1:
        raise OptionError(f"virtual session {session.name}: catchers stand at {len(catchers)} distances; give all one")
    pitcher = _numbers(session.lab.rotation[:, 0])
    lines = [
        f"# {session.comment}",
        "",
        "[session]",
        f"name = {_text(session.name)}",
        f"date = {session.day.isoformat()}",
        f"units = {_text(session.units)}",
        "",
        "[setup]",
        f"pitcher = [{pitcher}]        # direction from the plate to the pitcher, lab axes",
    ]
    sides = {hitter.bats for hitter in roster.values()}
    if len(sides) == 1:
        tip = _numbers(session.lab.home_plate(*sides))
        lines.append(f"plate = [{tip}]        # rear tip of home plate, lab axes, m")
    lines += [f"catcher_behind_m = {catchers.pop()}", f"pitch_angle_deg = {session.pitch_angle_deg}"]
    for hitter in roster.values():
        lines += ["", "[[hitters]]", *_hitter_rows(hitter)]
    for swing in session.swings:
        lines += ["", "[[swings]]", *_swing_rows(swing)]
        if len(sides) > 1:  # the lab's mat is moved for whoever bats from the other side
            lines.append(f"plate = [{_numbers(session.lab.home_plate(swing.hitter.bats))}]")
    return "\n".join(lines) + "\n"


def _roster(session: PlannedSession) -> dict[str, VirtualHitter]:
    """Hitters by id in the order in which they come; checks what swings must agree or differ in."""
    roster: dict[str, VirtualHitter] = {}
    files: set[str] = set()
    for swing in session.swings:
        if swing.file in files or swing.file != Path(swing.file).name:
            raise OptionError(f"virtual session {session.name}: file {swing.file!r} is used twice or not a bare name")
        if swing.kind not in get_args(SwingKind):
            raise OptionError(f"virtual session {session.name}: {swing.file}: kind {swing.kind!r} is not known")
        files.add(swing.file)
        known = roster.setdefault(swing.hitter.id, swing.hitter)
        if _hitter_rows(known) != _hitter_rows(swing.hitter):
            raise OptionError(f"virtual session {session.name}: id {swing.hitter.id!r} is two persons; give two ids")
    if not roster:
        raise OptionError(f"virtual session {session.name}: no swings; give at least one")
    return roster


def _hitter_rows(hitter: VirtualHitter) -> list[str]:
    return [
        f"id = {_text(hitter.id)}",
        f"name = {_text(hitter.name)}",
        f"height_m = {hitter.height_m}",
        f"mass_kg = {hitter.mass_kg}",
        f"bats = {_text(hitter.bats)}",
        f"sex = {_text(hitter.sex)}",
        f"level = {_text(hitter.level)}",
    ]


def _swing_rows(swing: PlannedSwing) -> list[str]:
    rows = [
        f"file = {_text(swing.file)}",
        f"hitter = {_text(swing.hitter.id)}",
        f"kind = {_text(swing.kind)}",
        f"pitch_location = {_text(swing.pitch_location)}",
        f"notes = {_text(swing.notes)}",
    ]
    if swing.day is not None:
        rows.append(f"date = {swing.day.isoformat()}")
    if swing.moments:
        rows.append(f"moments = {{ {', '.join(f'{name} = {frame}' for name, frame in swing.moments.items())} }}")
    return rows


def _text(value: str) -> str:
    """A TOML basic string; its escapes are those of JSON."""
    return json.dumps(value, ensure_ascii=False)


def _numbers(values: FloatArray) -> str:
    # Adding zero turns a negative zero into zero.
    return ", ".join(f"{value:.3f}" for value in np.round(values, 3) + 0.0)
