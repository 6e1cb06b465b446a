"""Which point of a recording is which: marker sets as data tables, with aliases."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mocap.assets import asset
from mocap.capture import Capture, FloatArray
from mocap.errors import InputError

SIDES = {"l": ("L", "left"), "r": ("R", "right")}


@dataclass(frozen=True)
class MarkerSet:
    """One table of ``assets/marker_sets``.

    Attributes
    ----------
    name : str
    required, optional : tuple of str
        Canonical names.
    model_sd_m : float
        How far a joint centre found from this set may lie from the true one, one standard deviation per axis. [m]
    aliases : mapping of str to str
        Folded label to canonical name.
    """

    name: str
    required: tuple[str, ...]
    optional: tuple[str, ...]
    model_sd_m: float
    aliases: Mapping[str, str]

    def find(self, capture: Capture) -> dict[str, FloatArray]:
        """Paths of the set's points that the recording holds and saw at least once, name to shape (F, 3). [m]"""
        found: dict[str, FloatArray] = {}
        for index, label in enumerate(capture.labels):
            name = self.aliases.get(fold(label))
            path = capture.points[:, index]
            if name is not None and name not in found and np.isfinite(path).all(axis=1).any():
                found[name] = path
        return found

    def missing(self, found: Mapping[str, FloatArray]) -> list[str]:
        """Required names that are not in `found`."""
        return [name for name in self.required if name not in found]


def fold(label: str) -> str:
    """Label without case, spaces, hyphens, underscores and dots, so that spellings agree."""
    return re.sub(r"[\s_\-.]", "", label).lower()


@lru_cache(maxsize=8)
def marker_set(name: str) -> MarkerSet:
    """Load a marker set from ``assets/marker_sets/NAME.toml``.

    Parameters
    ----------
    name : {"joint_centres", "conventional_gait", "bat"}

    Returns
    -------
    MarkerSet

    Raises
    ------
    InputError
        No such table.
    """
    table = tomllib.loads(asset("marker_sets", f"{name}.toml").read_text(encoding="utf-8"))
    aliases = {fold(label): point for point, labels in table["midline"].items() for label in labels}
    for point, labels in table["paired"].items():
        for side, (letter, word) in SIDES.items():
            for label in labels:
                aliases[fold(label.format(S=letter, side=word))] = f"{side}_{point}"
    return MarkerSet(
        table["name"], tuple(table["required"]), tuple(table["optional"]), float(table["model_sd_m"]), aliases
    )


def identify(capture: Capture) -> tuple[MarkerSet, dict[str, FloatArray]]:
    """The body marker set that a recording was made with, and its points.

    Parameters
    ----------
    capture : Capture

    Returns
    -------
    (MarkerSet, dict of str to ndarray, shape (F, 3))

    Raises
    ------
    InputError
        No known set is complete; the message names what the nearest one lacks.
    """
    nearest: tuple[float, MarkerSet, list[str]] | None = None
    for name in ("conventional_gait", "joint_centres"):
        candidate = marker_set(name)
        found = candidate.find(capture)
        missing = candidate.missing(found)
        if not missing:
            return candidate, found
        share = len(missing) / len(candidate.required)
        if nearest is None or share < nearest[0]:
            nearest = (share, candidate, missing)
    assert nearest is not None
    share, candidate, missing = nearest
    if share == 1.0:
        example = ", ".join(capture.labels[:4])
        raise InputError(
            f"{capture.source}: no usable points: none of its labels ({example}, ...) is a known body point;"
            " name them as in assets/marker_sets"
        )
    listed = ", ".join(missing[:6]) + (", ..." if len(missing) > 6 else "")
    raise InputError(f"{capture.source}: {candidate.name}: {len(missing)} needed points are missing: {listed}")
