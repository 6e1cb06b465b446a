"""Session folders: who swings, how it was recorded, which files."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from mocap.display import Units
from mocap.errors import InputError, MocapError
from mocap.swing import BodyModel, Hitter, Setup

FILE_NAME = "session.toml"
HITTER_KEYS = {"id", "name", "height_m", "mass_kg", "bats", "sex", "level", "calibration"}
MODEL_KEYS = {"hip", "inertia", "bat_kg", "cutoff_hz", "marker_set"}
SETUP_KEYS = {"pitcher", "plate", "catcher_behind_m", "sweet_spot_m", "pitch_angle_deg"}
KINDS = ("live", "toss", "tee", "held")
SWING_KEYS = {"file", "hitter", "kind", "date", "plate", "pitch_location", "notes", "moments"}


@dataclass(frozen=True)
class Recording:
    """One swing of a session.

    Attributes
    ----------
    file : Path
    hitter : Hitter
    setup : Setup
        The session's, with the swing's own hand-set moments.
    kind : str
        `live`, `toss`, `tee` or `held`.
    calibration : Path or None
        The hitter's trial in which hips and shoulders circle.
    """

    file: Path
    hitter: Hitter
    setup: Setup
    kind: str
    calibration: Path | None = None


@dataclass(frozen=True)
class Session:
    """A session folder.

    Attributes
    ----------
    name : str
    units : {"metric", "imperial"}
    recordings : tuple of Recording
    """

    name: str
    units: Units
    recordings: tuple[Recording, ...]


def find_session(path: Path) -> Path | None:
    """The session file that belongs to a folder, a session file or a recording; None where there is none."""
    if path.is_dir():
        candidate = path / FILE_NAME
        return candidate if candidate.is_file() else None
    if path.suffix.lower() == ".toml":
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
    hitters, calibrations = {}, {}
    for number, row in enumerate(table.get("hitters", []), start=1):
        person = dict(_known(row, HITTER_KEYS, f"hitters row {number}", source))
        key = str(person.pop("id", number))
        calibrations[key] = person.pop("calibration", None)
        hitters[key] = Hitter(**person)
    recordings = []
    for number, row in enumerate(table.get("swings", []), start=1):
        values = _known(row, SWING_KEYS, f"swings row {number}", source)
        if "file" not in values:
            raise InputError(f"{source}: swings row {number} has no 'file'")
        name = str(values.get("hitter", ""))
        kind = str(values.get("kind", "live"))
        if kind not in KINDS:
            raise InputError(f"{source}: swings row {number}: kind {kind!r} is not known; give {', '.join(KINDS)}")
        if name and name not in hitters:
            raise InputError(f"{source}: swings row {number}: hitter {name!r} is not among the hitters")
        if not isinstance(values.get("date", date.min), date):
            raise InputError(f"{source}: swings row {number}: date must be a day such as 2026-03-14, without quotes")
        own = {"plate": _vector(values["plate"], "plate", source)} if "plate" in values else {}
        recordings.append(
            Recording(
                source.parent / str(values["file"]),
                hitters.get(name, Hitter()),
                Setup(**(setup | own), moments=dict(values.get("moments", {})), held=kind == "held"),
                kind,
                source.parent / str(calibrations[name]) if calibrations.get(name) else None,
            )
        )
    if not recordings:
        raise InputError(f"{source}: no swings are listed; add [[swings]] rows with file = ...")
    return Session(str(about.get("name", source.parent.name)), units, tuple(recordings))


def _model(row: Mapping[str, Any], source: Path) -> BodyModel:
    choices = dict(_known(row, MODEL_KEYS, "model", source))
    if "marker_set" in choices:
        choices["marker_set"] = str(source.parent / str(choices["marker_set"]))
    return BodyModel(**choices)


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
