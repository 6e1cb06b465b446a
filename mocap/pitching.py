"""Where pitches come from: the sizes of each sport's rule book, and pitching distances by name."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any, get_args

from mocap.assets import asset
from mocap.errors import OptionError
from mocap.swing import Sport


@lru_cache(maxsize=1)
def pitch_table() -> Mapping[str, Any]:
    """How pitches are thrown and fly: ``assets/tables/pitches.toml``."""
    return MappingProxyType(tomllib.loads(asset("tables", "pitches.toml").read_text(encoding="utf-8")))


@lru_cache(maxsize=2)
def rule_book(sport: Sport) -> Mapping[str, Any]:
    """Sizes of ball, barrel, plate, box and field: the sport's part of ``assets/tables/rule_book.toml``. [m, kg]"""
    table = tomllib.loads(asset("tables", "rule_book.toml").read_text(encoding="utf-8"))
    return MappingProxyType(table[sport])


#: Name of a pitching distance to its length, from the pitcher's plate to the rear tip of home plate. [m]
PITCHING_DISTANCES: Mapping[str, float] = MappingProxyType(
    {name: metres for sport in get_args(Sport) for name, metres in rule_book(sport)["pitching_distances_m"].items()}
)


def release_distance(name: str) -> float:
    """Where the ball leaves the hand on a field of a named pitching distance.

    Parameters
    ----------
    name : str
        One of `PITCHING_DISTANCES`.

    Returns
    -------
    float
        From the plate's rear tip, along the ground: the pitching distance less how far ahead of the pitcher's plate
        the ball is let go. [m]

    Raises
    ------
    OptionError
        An unknown name; the message lists the known ones.
    """
    if name not in PITCHING_DISTANCES:
        known = ", ".join(repr(known) for known in PITCHING_DISTANCES)
        raise OptionError(f"pitching distance {name!r} is not known; give {known}, or the distance in metres")
    return PITCHING_DISTANCES[name] - float(pitch_table()["release_ahead_m"][name])
