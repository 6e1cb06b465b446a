"""A coach's own marker set: one TOML file over one of the built-in sets.

It renames points of a built-in set, adds markers that the skeleton is fitted to as well, and may hold the calibration
of a cluster on the bat's handle::

    name = "our lab"
    base = "conventional_gait"     # or cluster, joint_centres, skeleton, body_keypoints

    [labels]                       # name in the built-in set = label or labels in the recordings
    l_asis = "PelvisFrontL"
    r_asis = ["PelvisFrontR", "RASIS2"]

    [markers.l_thigh_extra]        # a marker of his own, fixed to a segment
    label = "LT5"
    segment = "l_thigh"
    sd_m = 0.015                   # movement over the bone, per axis, in metres

    [handle]                       # knob and barrel's end against the markers on the handle, in metres
    knob = [0.0, 0.0, 0.0]
    barrel = [0.0, 0.0, 0.84]

    [handle.markers]
    BATH1 = [0.03, 0.0, 0.10]
    BATH2 = [0.0, 0.03, 0.14]
    BATH3 = [-0.03, 0.0, 0.18]
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from math import isfinite
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.marker_sets import BODY_SETS, SEGMENTS, HandleTable, MarkerSet, fold, listed, marker_set

KEYS = {"name", "base", "labels", "markers", "handle"}
MARKER_KEYS = {"label", "segment", "sd_m"}
#: Largest movement over the bone that is believed. [m]
LARGEST_SD_M = 0.2
#: Singular values of a handle's cluster below this share of the largest: its markers lie on a line.
ON_A_LINE = 0.02


def own_marker_set(path: str | Path) -> MarkerSet:
    """Read a coach's own marker set; the module's docstring shows one.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    MarkerSet

    Raises
    ------
    InputError
        The file is missing, no TOML, or a key is missing, unknown or of the wrong kind; the message names file and key.
    """
    source = Path(path)
    if not source.is_file():
        raise InputError(f"{source}: no such marker set file")
    try:
        table = tomllib.loads(source.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{source}: not a TOML file ({error})") from error
    try:
        return _own(table, source.stem)
    except InputError as error:
        raise InputError(f"{source}: {error}") from None


def _own(table: Mapping[str, Any], stem: str) -> MarkerSet:
    _only(table, KEYS, "the file")
    base_name = table.get("base")
    if base_name not in BODY_SETS:
        raise InputError(f"base: {base_name!r} is not known; give {', '.join(BODY_SETS)}")
    base = marker_set(base_name)
    name = table.get("name", stem)
    if not isinstance(name, str):
        raise InputError(f"name: must be text, got {name!r}")
    labels, taken = dict(base.labels), dict(base.aliases)
    used: dict[str, str] = {}
    for point, given in _table(table, "labels").items():
        if point not in base.labels:
            raise InputError(f"labels: {point!r} is no point of {base_name}{_instead(point, list(base.labels))}")
        taken = {label: known for label, known in taken.items() if known != point}
        spellings = _labels(given, f"labels: {point}")
        labels[point] = spellings[0]
        _claim(used, spellings, point)
    segment_of, marker_sd = dict(base.segment_of), dict(base.marker_sd_m)
    for point, row in _table(table, "markers").items():
        where = f"markers.{point}"
        if point in base.labels:
            raise InputError(f"{where}: is a point of {base_name} already; rename it under labels")
        if not isinstance(row, Mapping):
            raise InputError(f"{where}: must be a table with label, segment and sd_m")
        _only(row, MARKER_KEYS, where)
        spellings = _labels(row.get("label"), f"{where}: label")
        _claim(used, spellings, point)
        labels[point], segment_of[point] = spellings[0], _segment(row.get("segment"), where)
        marker_sd[point] = _sd(row.get("sd_m"), where)
    return replace(
        base,
        name=name,
        labels=MappingProxyType(labels),
        aliases=MappingProxyType(taken | used),
        segment_of=MappingProxyType(segment_of),
        marker_sd_m=MappingProxyType(marker_sd),
        handle=_handle(table["handle"]) if "handle" in table else None,
    )


def _only(row: Mapping[str, Any], keys: set[str], where: str) -> None:
    unknown = sorted(set(row) - keys)
    if unknown:
        raise InputError(f"{where}: {unknown[0]!r} is not known; known are {', '.join(sorted(keys))}")


def _table(table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = table.get(key, {})
    if not isinstance(value, Mapping):
        raise InputError(f"{key}: must be a table, [{key}]")
    return value


def _labels(given: Any, where: str) -> list[str]:
    labels = [given] if isinstance(given, str) else given
    if (
        not isinstance(labels, list)
        or not labels
        or not all(isinstance(label, str) and fold(label) for label in labels)
    ):
        raise InputError(f"{where}: must be a label or a list of labels, got {given!r}")
    return labels


def _claim(used: dict[str, str], labels: list[str], point: str) -> None:
    """Give labels to a point, unless another point of the file has one of them."""
    for label in labels:
        if used.setdefault(fold(label), point) != point:
            raise InputError(f"label {label!r} is given to {used[fold(label)]} and to {point}")


def _segment(given: Any, where: str) -> str:
    if given not in SEGMENTS:
        raise InputError(f"{where}: segment {given!r} is not known; known are {', '.join(SEGMENTS)}")
    return str(given)


def _sd(given: Any, where: str) -> float:
    number = isinstance(given, (int, float)) and not isinstance(given, bool)
    if not number or not 0 < given <= LARGEST_SD_M:
        raise InputError(f"{where}: sd_m must be metres between 0 and {LARGEST_SD_M:g}, got {given!r}")
    return float(given)


def _instead(point: str, known: list[str]) -> str:
    near = get_close_matches(point, known, n=3)
    return f"; did you mean {listed(near)}?" if near else f"; known are {', '.join(known)}"


def _handle(given: Any) -> HandleTable:
    if not isinstance(given, Mapping):
        raise InputError("handle: must be a table with knob, barrel and markers")
    _only(given, {"knob", "barrel", "markers"}, "handle")
    markers = _table(given, "markers")
    if len(markers) < 3:
        raise InputError(f"handle.markers: three or more are needed to tell how the bat is turned, got {len(markers)}")
    local = np.array([_place(place, f"handle.markers: {label}") for label, place in markers.items()])
    spread = np.linalg.svd(local - local.mean(axis=0), compute_uv=False)
    if spread[1] <= ON_A_LINE * spread[0]:
        raise InputError("handle.markers: they lie on a line, which does not tell how the bat is turned about it")
    ends = (_place(given.get(end), f"handle: {end}") for end in ("knob", "barrel"))
    return HandleTable(tuple(markers), local, *ends)


def _place(given: Any, where: str) -> FloatArray:
    numbers = isinstance(given, list) and len(given) == 3
    if not numbers or not all(isinstance(v, (int, float)) and isfinite(v) and abs(v) < 3.0 for v in given):
        raise InputError(f"{where}: must be three numbers in metres, e.g. [0.0, 0.0, 0.84], got {given!r}")
    return np.array(given, dtype=np.float64)
