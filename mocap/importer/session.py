"""Session folders: who swings, how it was recorded, which files."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, get_args

from mocap.display import Units
from mocap.errors import InputError, MocapError, OptionError
from mocap.pitching import release_distance
from mocap.swing import MOMENTS, BodyModel, Hitter, Pitch, PitchLocation, Setup

FILE_NAME = "session.toml"
HITTER_KEYS = {"id", "name", "height_m", "mass_kg", "bats", "sex", "level", "calibration"}
MODEL_KEYS = {"hip", "inertia", "bat_kg", "cutoff_hz", "marker_set"}
SETUP_KEYS = {"pitcher", "plate", "catcher_behind_m", "sweet_spot_m", "pitch_angle_deg", "sport", "pitch"}
PITCH_NUMBERS = {"speed_m_s", "release_height_m", "release_distance_m", "backspin_rpm", "plate_height_m"}
PITCH_KEYS = PITCH_NUMBERS | {"distance"}
PITCH_NEEDS = ("speed_m_s", "release_height_m", "release_distance_m")
KINDS = ("live", "toss", "tee", "held")
CAMERA_KEYS = {"camera", "points", "video", "swing", "moments", "rate_hz"}
SWING_KEYS = {"file", "hitter", "kind", "date", "plate", "pitch", "pitch_location", "notes", "moments"}


@dataclass(frozen=True)
class Recording:
    """One swing of a session.

    Attributes
    ----------
    file : Path
    hitter : Hitter
    setup : Setup
        The session's, with the swing's own plate, pitch and hand-set moments.
    kind : str
        `live`, `toss`, `tee` or `held`.
    calibration : Path or None
        The hitter's trial in which hips and shoulders circle.
    day : date or None
        Its own, or the session's.
    hitter_id : str
        The hitter's id in the session file; empty where there is none.
    """

    file: Path
    hitter: Hitter
    setup: Setup
    kind: str
    calibration: Path | None = None
    day: date | None = None
    hitter_id: str = ""


@dataclass(frozen=True)
class Filmed:
    """What one camera saw of one swing.

    Attributes
    ----------
    recording : Path
        The swing's file, one of the session's.
    camera : Path or None
        Its lens, place and clock, see `mocap.importer.camera_file`; None: not calibrated.
    points : Path or None
        What a detector found in its pictures.
    video : Path or None
    moments : mapping of str to int
        Moments as frames of the video, counted from 0, where somebody looked them up.
    rate_hz : float or None
        At which it filmed, where its file does not say so. [Hz]
    """

    recording: Path
    camera: Path | None = None
    points: Path | None = None
    video: Path | None = None
    moments: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    rate_hz: float | None = None


@dataclass(frozen=True)
class Session:
    """A session folder.

    Attributes
    ----------
    name : str
    units : {"metric", "imperial"}
    recordings : tuple of Recording
    filmed : tuple of Filmed
    """

    name: str
    units: Units
    recordings: tuple[Recording, ...]
    filmed: tuple[Filmed, ...] = ()


def is_session(path: Path) -> bool:
    """Whether a path is a session: a folder, or a TOML file that is no list of the cameras of one swing."""
    if path.suffix.lower() != ".toml":
        return path.is_dir()
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return True  # to be read, and refused, as one
    return "swings" in table or "cameras" not in table


def find_session(path: Path) -> Path | None:
    """The session file that belongs to a folder, a session file or a recording; None where there is none."""
    if path.is_dir():
        candidate = path / FILE_NAME
        return candidate if candidate.is_file() else None
    if is_session(path):
        return path
    candidate = path.parent / FILE_NAME
    return candidate if candidate.is_file() else None


def read_session(path: Path) -> Session:
    """Read a session file.

    Parameters
    ----------
    path : Path
        The session file or the folder that holds it.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        The file is missing, no TOML, or a key is missing, unknown or of the wrong kind; the message names it.
    """
    source = path / FILE_NAME if path.is_dir() else path
    if not source.is_file():
        raise InputError(f"{source}: no such session file")
    try:
        table = tomllib.loads(source.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{source}: not a TOML file ({error})") from error
    try:
        return _session(table, source)
    except InputError:
        raise
    except (MocapError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"{source}: {error}") from error


def _session(table: Mapping[str, Any], source: Path) -> Session:
    about = table.get("session", {})
    units = about.get("units", "metric")
    if units not in ("metric", "imperial"):
        raise InputError(f"{source}: units {units!r} is not known; give metric or imperial")
    setup = dict(_known(table.get("setup", {}), SETUP_KEYS, "setup", source))
    for key in ("pitcher", "plate"):
        if key in setup:
            setup[key] = _vector(setup[key], key, source)
    setup["model"] = _model(table.get("model", {}), source)
    usual_pitch = _pitch_keys(setup.pop("pitch", {}), "setup.pitch", source)
    hitters, calibrations = {}, {}
    for number, row in enumerate(table.get("hitters", []), start=1):
        person = dict(_known(row, HITTER_KEYS, f"hitters row {number}", source))
        key = str(person.pop("id", number))
        calibrations[key] = person.pop("calibration", None)
        hitters[key] = Hitter(**person)
    recordings = []
    session_day = _day(about.get("date"), "session", source)
    for number, row in enumerate(table.get("swings", []), start=1):
        values = _swing_row(row, number, source)
        name = str(values.get("hitter", ""))
        if name and name not in hitters:
            raise InputError(f"{source}: swings row {number}: hitter {name!r} is not among the hitters")
        own = _own_setup(values, usual_pitch, number, source)
        recordings.append(
            Recording(
                source.parent / str(values["file"]),
                hitters.get(name, Hitter()),
                Setup(**(setup | own)),
                str(values.get("kind", "live")),
                source.parent / str(calibrations[name]) if calibrations.get(name) else None,
                day=_day(values["date"], f"swings row {number}", source) if "date" in values else session_day,
                hitter_id=name,
            )
        )
    if not recordings:
        raise InputError(f"{source}: no swings are listed; add [[swings]] rows with file = ...")
    files = [recording.file for recording in recordings]
    rows = enumerate(table.get("cameras", []), start=1)
    filmed = tuple(_camera_row(row, f"{source}: cameras row {number}", files, source) for number, row in rows)
    return Session(str(about.get("name", source.parent.name)), units, tuple(recordings), filmed)


def _camera_row(row: Mapping[str, Any], where: str, files: list[Path], source: Path) -> Filmed:
    """What a camera saw; of which swing it need not say where there is only one."""
    values = _known(row, CAMERA_KEYS, where.removeprefix(f"{source}: "), source)
    if not {"camera", "video"} & set(values):
        raise InputError(f"{where} has neither 'camera' nor 'video'; give at least one of them")
    if "swing" not in values and len(files) > 1:
        raise InputError(f"{where} has no 'swing'; give the file of the swing that it filmed")
    recording = source.parent / str(values["swing"]) if "swing" in values else files[0]
    if recording not in files:
        raise InputError(f"{where}: swing {values['swing']!r} is not among the swings' files")
    moments = values.get("moments", {})
    if not isinstance(moments, dict) or not all(type(frame) is int and frame >= 0 for frame in moments.values()):
        raise InputError(f"{where}: moments must be frames of the video, counted from 0, e.g. {{ plant = 143 }}")
    for name in moments:
        if name not in MOMENTS:
            raise InputError(f"{where}: moment {name!r} is not known; known are {', '.join(MOMENTS)}")
    rate_hz = values.get("rate_hz")
    if rate_hz is not None and not (type(rate_hz) in (int, float) and rate_hz > 0):
        raise InputError(f"{where}: rate_hz {rate_hz!r} is no positive number; give the rate at which it filmed")
    paths = {key: source.parent / str(values[key]) for key in ("camera", "points", "video") if key in values}
    return Filmed(recording, **paths, moments=MappingProxyType(dict(moments)), rate_hz=rate_hz)


def _swing_row(row: Mapping[str, Any], number: int, source: Path) -> Mapping[str, Any]:
    values = _known(row, SWING_KEYS, f"swings row {number}", source)
    if "file" not in values:
        raise InputError(f"{source}: swings row {number} has no 'file'")
    kind = values.get("kind", "live")
    if kind not in KINDS:
        raise InputError(f"{source}: swings row {number}: kind {kind!r} is not known; give {', '.join(KINDS)}")
    return values


def _day(value: Any, where: str, source: Path) -> date | None:
    """A day; of a time its day."""
    if value is not None and not isinstance(value, date):
        raise InputError(f"{source}: {where}: date must be a day such as 2026-03-14, without quotes")
    return value.date() if isinstance(value, datetime) else value


def _own_setup(values: Mapping[str, Any], usual_pitch: dict[str, Any], number: int, source: Path) -> dict[str, Any]:
    """What a swing's row says of its setup, over the session's."""
    own: dict[str, Any] = {"moments": dict(values.get("moments", {})), "held": values.get("kind") == "held"}
    if "plate" in values:
        own["plate"] = _vector(values["plate"], "plate", source)
    if "pitch_location" in values:
        own["pitch_location"] = _location(values["pitch_location"], number, source)
    if "pitch" in values:
        where = f"swings row {number}: pitch"
        own["pitch"] = _pitch(usual_pitch | _pitch_keys(values["pitch"], where, source), where, source)
        own["pitch_angle_deg"] = None  # the session's angle is that of another pitch
    elif usual_pitch:
        own["pitch"] = _pitch(usual_pitch, "setup.pitch", source)
    return own


def _location(value: Any, number: int, source: Path) -> str | None:
    """Where a pitch crosses the plate: of "away low" the first word, None where the row leaves it empty."""
    words = value.split() if isinstance(value, str) else [value]
    if not words:
        return None
    if words[0] not in get_args(PitchLocation):
        known = ", ".join(get_args(PitchLocation))
        raise InputError(f"{source}: swings row {number}: pitch_location {value!r} is not known; give {known}")
    return str(words[0])


def _model(row: Mapping[str, Any], source: Path) -> BodyModel:
    choices = dict(_known(row, MODEL_KEYS, "model", source))
    if "marker_set" in choices:
        choices["marker_set"] = str(source.parent / str(choices["marker_set"]))
    return BodyModel(**choices)


def _pitch_keys(row: Any, where: str, source: Path) -> dict[str, Any]:
    """What a table says of a pitch: numbers, with the name of a pitching distance turned into the release's."""
    if not isinstance(row, dict):
        raise InputError(f"{source}: {where} must be a table, e.g. {{ speed_m_s = 38.0 }}")
    keys = dict(_known(row, PITCH_KEYS, where, source))
    for key in sorted(PITCH_NUMBERS & set(keys)):
        if isinstance(keys[key], bool) or not isinstance(keys[key], (int, float)):
            raise InputError(f"{source}: {where}: {key} {keys[key]!r} is not a number")
    if {"distance", "release_distance_m"} <= set(keys):
        raise InputError(f"{source}: {where}: distance and release_distance_m are both given; give one of them")
    if "distance" in keys:
        try:
            keys["release_distance_m"] = release_distance(str(keys.pop("distance")))
        except OptionError as error:
            raise InputError(f"{source}: {where}: {error}") from error
    return keys


def _pitch(keys: dict[str, Any], where: str, source: Path) -> Pitch:
    missing = [key for key in PITCH_NEEDS if key not in keys]
    if missing:
        hint = " (or distance, by name)" if missing[0] == "release_distance_m" else ""
        raise InputError(f"{source}: {where} has no {missing[0]}{hint}")
    try:
        return Pitch(**keys)
    except OptionError as error:
        raise InputError(f"{source}: {where.removesuffix('pitch')}{error}") from error


def _known(row: Mapping[str, Any], keys: set[str], where: str, source: Path) -> Mapping[str, Any]:
    unknown = sorted(set(row) - keys)
    if unknown:
        raise InputError(f"{source}: {where}: {unknown[0]!r} is not known; known are {', '.join(sorted(keys))}")
    return row


def _vector(value: Any, key: str, source: Path) -> tuple[float, float, float]:
    if not isinstance(value, list) or len(value) != 3 or not all(isinstance(v, (int, float)) for v in value):
        raise InputError(f"{source}: setup: {key} must be three numbers, e.g. [1.0, 0.0, 0.0]")
    x, y, z = (float(v) for v in value)
    return x, y, z
