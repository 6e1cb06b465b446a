"""Which point of a recording is which: marker sets as data tables, with aliases."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from mocap.assets import asset
from mocap.capture import Capture, FloatArray
from mocap.errors import InputError

#: How a side is written in labels, by its letter in canonical names.
SIDES = {"l": ("L", "left"), "r": ("R", "right")}
#: Tables of the body, in the order in which they are tried where several fit equally well.
BODY_SETS = ("conventional_gait", "cluster", "joint_centres", "skeleton", "body_keypoints")
#: Segments of the body that points are fixed to; those of the limbs carry a side's prefix.
SEGMENTS = (
    "pelvis",
    "thorax",
    "head",
    *(
        f"{side}_{segment}"
        for side in SIDES
        for segment in ("clavicle", "thigh", "shank", "foot", "upper_arm", "forearm", "hand")
    ),
)
#: A beginning up to a separator that more than this share of the labels have in common is the subject's name.
COMMON_PREFIX = 0.6


@dataclass(frozen=True)
class Part:
    """A part of the body, and the points that it is placed from.

    Attributes
    ----------
    name : str
        As in a sentence: `the pelvis`.
    alternatives : tuple of tuple of str
        Canonical names; any of the tuples is enough.
    needed : {"body", "swing", ""}
        What cannot be without it: any joint centre, a swing, or neither.
    without : str
        What follows where it is missing and was not needed.
    """

    name: str
    alternatives: tuple[tuple[str, ...], ...]
    needed: Literal["body", "swing", ""]
    without: str

    def missing(self, found: Iterable[str]) -> list[list[str]]:
        """Names that each alternative lacks; empty where one lacks nothing."""
        known = set(found)
        lacking = [[name for name in names if name not in known] for names in self.alternatives]
        return lacking if all(lacking) else []


@dataclass(frozen=True)
class MarkerSet:
    """One table of ``assets/marker_sets``, or a coach's own.

    Attributes
    ----------
    name : str
    kind : {"markers", "centres", "bat"}
        Markers on the skin, points that already are joint centres, or points of the bat.
    labels : mapping of str to str
        Canonical name to the first of its labels, for messages.
    aliases : mapping of str to str
        Folded label to canonical name.
    segment_of : mapping of str to str
        Canonical name to the segment that the point is fixed to, one of `SEGMENTS` or `bat`.
    marker_sd_m : mapping of str to float
        Movement over the bone and noise, one standard deviation per axis, by canonical name. [m]
    centre_sd_m : mapping of str to float
        How far a joint centre may lie from the true one, one standard deviation per axis, by the centre's name. [m]
    parts : tuple of Part
    orders : mapping of int to tuple of str
        Canonical names in the order of numbered points, by their number.
    handle : HandleTable or None
        Calibration of a cluster on the bat's handle.
    """

    name: str
    kind: Literal["markers", "centres", "bat"]
    labels: Mapping[str, str]
    aliases: Mapping[str, str]
    segment_of: Mapping[str, str]
    marker_sd_m: Mapping[str, float]
    centre_sd_m: Mapping[str, float]
    parts: tuple[Part, ...]
    orders: Mapping[int, tuple[str, ...]]
    handle: HandleTable | None = None

    def find(self, capture: Capture) -> dict[str, FloatArray]:
        """Paths of the set's points that the recording holds and saw at least once, name to shape (F, 3). [m]"""
        found: dict[str, FloatArray] = {}
        for index, name in enumerate(self._names(capture.labels)):
            path = capture.points[:, index]
            if name and name not in found and np.isfinite(path).all(axis=1).any():
                found[name] = path
        return found

    def known_labels(self, capture: Capture) -> set[str]:
        """Labels of the recording that are points of this set."""
        return {label for label, name in zip(capture.labels, self._names(capture.labels), strict=True) if name}

    def lacking(self, found: Iterable[str], *needed: str) -> list[str]:
        """Parts of the given needs that cannot be placed, each as `the trunk cannot be placed: C7 is missing`."""
        known = list(found)
        return [
            f"{part.name} cannot be placed: {self._in_labels(lacking)}"
            for part in self.parts
            if part.needed in needed and (lacking := part.missing(known))
        ]

    def left_out(self, found: Iterable[str]) -> list[str]:
        """Parts that cannot be placed and that a swing can be measured without, each with what follows."""
        known = list(found)
        return [
            f"{part.name} cannot be placed: {self._in_labels(lacking)}; {part.without}"
            for part in self.parts
            if not part.needed and (lacking := part.missing(known))
        ]

    def _names(self, labels: tuple[str, ...]) -> list[str]:
        """Canonical name of each label, empty where it has none."""
        folded = [fold(label) for label in labels]
        order = self.orders.get(len(labels))
        if order is not None and sorted(folded) == sorted(str(i) for i in range(len(labels))):
            return [order[int(number)] for number in folded]
        names = [self.aliases.get(label, "") for label in folded]
        prefix = "" if any(names) else subject_prefix(labels)
        return [self.aliases.get(fold(label.removeprefix(prefix)), "") for label in labels] if prefix else names

    def _in_labels(self, lacking: list[list[str]]) -> str:
        """Missing points in the set's labels: `LPSI and RPSI, or SACR, are missing`."""
        least = [names for names in lacking if not any(set(other) < set(names) for other in lacking)]
        ways = dict.fromkeys(listed(self.labels.get(name, name) for name in names) for names in least)
        verb = "are" if any(len(names) > 1 for names in least) else "is"
        return f"{', or '.join(ways)}{',' if len(ways) > 1 else ''} {verb} missing"


@dataclass(frozen=True)
class HandleTable:
    """Where knob and barrel lie against the markers on a bat's handle, in any one frame fixed to the bat.

    Attributes
    ----------
    labels : tuple of str, length P
        Of the markers on the handle.
    local_m : ndarray, shape (P, 3)
        Their places. [m]
    knob_m, barrel_m : ndarray, shape (3,)
        Places of the knob's end and the barrel's end. [m]
    """

    labels: tuple[str, ...]
    local_m: FloatArray
    knob_m: FloatArray
    barrel_m: FloatArray


@lru_cache(maxsize=4096)
def fold(label: str) -> str:
    """Label without subject, case, spaces, hyphens, underscores and dots, so that spellings agree."""
    return re.sub(r"[\s_\-.]", "", label.rsplit(":", 1)[-1]).lower()


@lru_cache(maxsize=64)
def subject_prefix(labels: tuple[str, ...]) -> str:
    """What stands before all but a few of the labels, up to a separator; empty where they have nothing in common."""
    begun = Counter(label[: match.end()] for label in labels for match in re.finditer(r"[_\-.:\s]", label))
    common = [prefix for prefix, count in begun.items() if count > COMMON_PREFIX * len(labels)]
    return max(common, key=len, default="")


def listed(words: Iterable[str]) -> str:
    """Words as a sentence lists them: `a, b and c`."""
    every = list(words)
    return f"{', '.join(every[:-1])} and {every[-1]}" if len(every) > 1 else "".join(every)


def spoken(name: str) -> str:
    """A canonical name as a sentence has it: `l_upper_arm` as `left upper arm`."""
    side = SIDES.get(name[:1]) if name[1:2] == "_" else None
    return (f"{side[1]} {name[2:]}" if side else name).replace("_", " ")


@lru_cache(maxsize=8)
def marker_set(name: str) -> MarkerSet:
    """Load a marker set from ``assets/marker_sets/NAME.toml``.

    Parameters
    ----------
    name : str
        One of `BODY_SETS`, or `bat`.

    Returns
    -------
    MarkerSet

    Raises
    ------
    InputError
        No such table.
    """
    return _from_table(tomllib.loads(asset("marker_sets", f"{name}.toml").read_text(encoding="utf-8")))


def recognise(capture: Capture, own: MarkerSet | None = None) -> tuple[MarkerSet, dict[str, FloatArray]]:
    """The body marker set that a recording was made with, and its points, if any joint centre can be placed.

    Parameters
    ----------
    capture : Capture
    own : MarkerSet, optional
        The coach's own set; the known ones are not tried then.

    Returns
    -------
    (MarkerSet, dict of str to ndarray, shape (F, 3))
        The set in which most of the swing can be placed, and the paths of its points. [m]

    Raises
    ------
    InputError
        The nearest set cannot place the pelvis; the message names what it lacks.
    """
    tried = [(candidate, candidate.find(capture)) for candidate in ([own] if own else map(marker_set, BODY_SETS))]
    used, found = max(tried, key=lambda pair: _fit(*pair))
    if not found:
        example = ", ".join(capture.labels[:4])
        raise InputError(
            f"{capture.source}: no usable points: none of its labels ({example}, ...) is a known body point;"
            " name them as in assets/marker_sets, or give your own marker set"
        )
    lacking = used.lacking(found, "body")
    if lacking:
        raise InputError(f"{capture.source}: {used.name}: {'; '.join(lacking)}; without it no joint centre is found")
    return used, found


def identify(capture: Capture, own: MarkerSet | None = None) -> tuple[MarkerSet, dict[str, FloatArray]]:
    """The body marker set of a recording that holds all that a swing is measured from; see `recognise`.

    Raises
    ------
    InputError
        No set is complete; the message names what the nearest one lacks, and what for.
    """
    used, found = recognise(capture, own)
    why = no_swing(used, found)
    if why:
        raise InputError(f"{capture.source}: {why}")
    return used, found


def no_swing(used: MarkerSet, found: Iterable[str]) -> str:
    """Why no swing can be measured from these points, one line; empty where one can."""
    lacking = used.lacking(found, "body", "swing")
    without = "them" if len(lacking) > 1 else "it"
    return f"{used.name}: {'; '.join(lacking)}; without {without} no swing can be measured" if lacking else ""


def _fit(candidate: MarkerSet, found: Mapping[str, FloatArray]) -> tuple[bool, int, int]:
    """How well a set explains a recording: whole body first, then parts that are lacking, then points."""
    lacking = candidate.lacking(found, "body", "swing")
    return not candidate.lacking(found, "body"), -len(lacking), len(found)


def _from_table(table: Mapping[str, Any]) -> MarkerSet:
    labels: dict[str, str] = {}
    aliases: dict[str, str] = {}
    segment_of: dict[str, str] = {}
    marker_sd: dict[str, float] = {}
    for side, point, row in _rows(table):
        name = f"{side}_{point}" if side else point
        segment_of[name] = row["segment"].format(s=side)
        marker_sd[name] = float(row["sd_m"])
        spellings = SIDES.get(side, ("",))
        labels[name] = row["labels"][0].format(S=spellings[0])
        for label in row["labels"]:
            for spelling in spellings:
                aliases[fold(label.format(S=spelling))] = name
    centre_sd: dict[str, float] = {}
    for point, sd in table["centre_sd_m"].items():
        paired = not point.startswith(("head", "bat"))
        centre_sd |= {name: float(sd) for name in ([f"l_{point}", f"r_{point}"] if paired else [point])}
    parts = tuple(
        Part(row["name"], tuple(map(tuple, row["from"])), row["needed"], row.get("without", ""))
        for row in table["parts"]
    )
    orders = {int(count): tuple(names) for count, names in table.get("orders", {}).items()}
    return MarkerSet(
        name=table["name"],
        kind=table["kind"],
        labels=MappingProxyType(labels),
        aliases=MappingProxyType(aliases),
        segment_of=MappingProxyType(segment_of),
        marker_sd_m=MappingProxyType(marker_sd),
        centre_sd_m=MappingProxyType(centre_sd),
        parts=parts,
        orders=MappingProxyType(orders),
    )


def _rows(table: Mapping[str, Any]) -> Iterable[tuple[str, str, Mapping[str, Any]]]:
    """Side, name and row of every point, those in pairs once for each side."""
    for point, row in table.get("paired", {}).items():
        for side in SIDES:
            yield side, point, row
    for point, row in table.get("midline", {}).items():
        yield "", point, row
