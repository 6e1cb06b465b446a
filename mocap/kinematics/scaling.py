"""A skeleton of another size: by segment, by published proportions, or by height alone.

Lengths are a mapping of segment to metres with the names of `SEGMENT_NAMES`. Every function returns new values and
leaves its arguments as they are.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.kinematics.inertia import HEIGHTS_M, Sex

Proportions = Literal["de_leva", "drillis_contini"]

#: Bones from parent to child that a length of their own is given for; names of limbs without their side.
LIMBS = MappingProxyType(
    {
        "thigh": ("hip", "knee"),
        "shank": ("knee", "ankle"),
        "upper_arm": ("shoulder", "elbow"),
        "forearm": ("elbow", "wrist"),
        "hand": ("wrist", "hand"),
    }
)
SEGMENT_NAMES = ("trunk", "head", "hip_width", "shoulder_width", "foot", *LIMBS)
FOOT_POINTS = ("heel", "ball", "toe")
#: Height of the ankle over the floor, share of stature: Drillis & Contini (1966) in Winter (2009), Fig. 4.1.
ANKLE_HEIGHT = 0.039


def segment_lengths(centres: Mapping[str, FloatArray], *, sides: tuple[str, str] = ("l", "r")) -> dict[str, float]:
    """Lengths of the segments that the points show.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        Joint centres by name; `pelvis` midway between the hips, `neck` midway between the shoulders. [m]
    sides : tuple of 2 str
        Prefixes of the paired names.

    Returns
    -------
    dict of str to float
        Median over the frames, mean of both sides; `head` from `neck` to `head_top`, `foot` from heel to toe. Segments
        whose ends are never seen together are left out. [m]
    """
    left, right = sides
    pairs = {
        "trunk": [("neck", "pelvis")],
        "head": [("neck", "head_top")],
        "hip_width": [(f"{left}_hip", f"{right}_hip")],
        "shoulder_width": [(f"{left}_shoulder", f"{right}_shoulder")],
        "foot": [(f"{side}_heel", f"{side}_toe") for side in sides],
    } | {name: [(f"{side}_{a}", f"{side}_{b}") for side in sides] for name, (a, b) in LIMBS.items()}
    found = {name: [_median_distance(centres, *ends) for ends in both] for name, both in pairs.items()}
    seen = {name: [length for length in both if np.isfinite(length)] for name, both in found.items()}
    return {name: float(np.mean(both)) for name, both in seen.items() if both}


def published_shares(source: Proportions = "de_leva", sex: Sex = "male") -> dict[str, float]:
    """Lengths of segments as shares of standing height.

    Parameters
    ----------
    source : {"de_leva", "drillis_contini"}
        De Leva: between joint centres of college-age adults by sex; his head is what is left of the stature above
        legs and trunk. Drillis & Contini: one column for both, without the hand.
    sex : {"male", "female"}

    Returns
    -------
    dict of str to float
        [-]

    Raises
    ------
    OptionError
        An unknown source or sex.

    References
    ----------
    de Leva P (1996) J Biomech 29(9):1223-1230, Table 4. Drillis R, Contini R (1966) in Winter DA (2009), Fig. 4.1.
    """
    if sex not in ("male", "female"):
        raise OptionError(f"sex {sex!r} has no published proportions; give male or female")
    if source == "drillis_contini":
        return dict(_drillis_contini())
    if source != "de_leva":
        raise OptionError(f"proportions {source!r} are not known; give de_leva or drillis_contini")
    return dict(_de_leva(sex))


def with_lengths(lengths: Mapping[str, float], given: Mapping[str, float]) -> dict[str, float]:
    """Lengths in which the given segments have the given lengths.

    Parameters
    ----------
    lengths, given : mapping of str to float
        [m]

    Raises
    ------
    OptionError
        A segment that is not known, or a length that is not positive.
    """
    for name, length in given.items():
        if name not in SEGMENT_NAMES:
            raise OptionError(f"segment {name!r} is not known; known are {', '.join(SEGMENT_NAMES)}")
        if not (np.isfinite(length) and length > 0):
            raise OptionError(f"length {length:g} m of the segment {name} is not positive; give metres")
    return {**lengths, **given}


def proportioned(
    lengths: Mapping[str, float], height_m: float, *, sex: Sex = "male", source: Proportions = "de_leva"
) -> dict[str, float]:
    """Lengths of a person of a given height with published proportions.

    Parameters
    ----------
    lengths : mapping of str to float
        Of the skeleton at hand. Which segments it has is kept. [m]
    height_m : float
        [m]
    sex : {"male", "female"}
    source : {"de_leva", "drillis_contini"}

    Returns
    -------
    dict of str to float
        Segments that the source has no share for (widths, the hand) grow with the mean of the others. [m]

    Raises
    ------
    OptionError
        A height out of human range, an unknown source or sex.
    InputError
        None of the source's segments is among `lengths`.
    """
    _check_height(height_m)
    shares = published_shares(source, sex)
    known = {name: height_m * share for name, share in shares.items() if name in lengths}
    if not known:
        raise InputError("scaling by proportions: the skeleton has none of the segments " + ", ".join(shares))
    growth = sum(known.values()) / sum(lengths[name] for name in known)
    return {name: known.get(name, growth * length) for name, length in lengths.items()}


def scaled_to_height(lengths: Mapping[str, float], height_m: float, from_height_m: float) -> dict[str, float]:
    """Lengths that all grow by the same ratio of heights.

    Parameters
    ----------
    lengths : mapping of str to float
        [m]
    height_m, from_height_m : float
        Standing heights after and before. [m]

    Raises
    ------
    OptionError
        A height out of human range.
    """
    _check_height(height_m)
    _check_height(from_height_m)
    return {name: length * height_m / from_height_m for name, length in lengths.items()}


def rescaled(
    centres: Mapping[str, FloatArray],
    lengths: Mapping[str, float],
    *,
    sides: tuple[str, str] = ("l", "r"),
    floor_m: float = 0.0,
) -> dict[str, FloatArray]:
    """The same movement by a body of other lengths.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres by name, z up. `pelvis`, `neck`, hips, knees and ankles are needed; what else is there goes
        along. [m]
    lengths : mapping of str to float
        New lengths; segments that are not named keep theirs. [m]
    sides : tuple of 2 str
        Prefixes of the paired names.
    floor_m : float
        Height of the floor. [m]

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        Every bone keeps its direction in every frame. The pelvis's path grows in the ratio of the legs; then each frame
        is lifted or lowered so that the lowest point of the feet is as high over the floor as before, in that ratio.
        The bat keeps its size and goes with the middle of the hands. Points on none of these bones are left out. [m]

    Raises
    ------
    InputError
        A joint is missing that the body is rebuilt from.
    OptionError
        A segment that is not known, or a length that is not positive.

    Notes
    -----
    If all lengths change in one ratio, every point does, the bat excepted. If not, hands that hold a bat and feet that
    stand a given way apart do so no longer exactly: directions are kept, distances between limbs are not.
    """
    for name in ("pelvis", "neck", *(f"{side}_{joint}" for side in sides for joint in ("hip", "knee", "ankle"))):
        if name not in centres:
            raise InputError(f"scaling: no {name} to rebuild the body from")
    old = segment_lengths(centres, sides=sides)
    new = with_lengths(
        old, {name: length for name, length in lengths.items() if name in old or name not in SEGMENT_NAMES}
    )
    grow = (new["thigh"] + new["shank"]) / (old["thigh"] + old["shank"])
    floor = np.array([0.0, 0.0, floor_m])
    placed: dict[str, FloatArray] = {"pelvis": floor + grow * (centres["pelvis"] - floor)}
    placed["neck"] = placed["pelvis"] + new["trunk"] * _direction(centres, "pelvis", "neck")
    for name in ("head", "head_top"):
        if name in centres and "head" in new:
            placed[name] = placed["neck"] + new["head"] / old["head"] * (centres[name] - centres["neck"])
    for side in sides:
        _place_limbs(placed, centres, side, old, new)
    _set_on_floor(placed, centres, sides, grow, floor_m)
    _carry_bat(placed, centres, sides)
    return placed


def _set_on_floor(
    placed: dict[str, FloatArray],
    centres: Mapping[str, FloatArray],
    sides: tuple[str, str],
    grow: float,
    floor_m: float,
) -> None:
    """Lift or lower each frame until the lowest point of the feet is as high as before, in the ratio of the legs."""
    feet = [f"{side}_{point}" for side in sides for point in (*FOOT_POINTS, "ankle") if f"{side}_{point}" in placed]
    before, after = (np.fmin.reduce([path[name][..., 2] for name in feet]) for path in (centres, placed))
    lift = floor_m + grow * (before - floor_m) - after
    for path in placed.values():
        path[..., 2] += np.where(np.isfinite(lift), lift, 0.0)


def _carry_bat(placed: dict[str, FloatArray], centres: Mapping[str, FloatArray], sides: tuple[str, str]) -> None:
    """Add the bat, of its own size, where the middle of the hands has taken it."""
    hands = [f"{side}_hand" for side in sides]
    if all(name in placed for name in hands):
        moved = (sum(placed[name] for name in hands) - sum(centres[name] for name in hands)) / 2
        placed |= {name: centres[name] + moved for name in ("bat_knob", "bat_barrel") if name in centres}


def _place_limbs(
    placed: dict[str, FloatArray],
    centres: Mapping[str, FloatArray],
    side: str,
    old: Mapping[str, float],
    new: Mapping[str, float],
) -> None:
    """Add one side's leg, foot and arm to the pelvis and the neck that are already placed."""
    for joint, root, width in (("hip", "pelvis", "hip_width"), ("shoulder", "neck", "shoulder_width")):
        name = f"{side}_{joint}"
        if name in centres:
            placed[name] = placed[root] + new[width] / 2 * _direction(centres, root, name)
    for segment, (first, second) in LIMBS.items():
        start, end = f"{side}_{first}", f"{side}_{second}"
        if start in placed and end in centres and segment in new:
            placed[end] = placed[start] + new[segment] * _direction(centres, start, end)
    ankle = f"{side}_ankle"
    for point in FOOT_POINTS:
        name = f"{side}_{point}"
        if name in centres:
            ratio = new["foot"] / old["foot"] if "foot" in new else new["shank"] / old["shank"]
            placed[name] = placed[ankle] + ratio * (centres[name] - centres[ankle])


def _direction(centres: Mapping[str, FloatArray], first: str, second: str) -> FloatArray:
    along = centres[second] - centres[first]
    unit: FloatArray = along / np.linalg.norm(along, axis=-1, keepdims=True)
    return unit


def _median_distance(centres: Mapping[str, FloatArray], first: str, second: str) -> float:
    if first not in centres or second not in centres:
        return np.nan
    distances = np.linalg.norm(centres[second] - centres[first], axis=-1)
    return float(np.nanmedian(distances)) if np.isfinite(distances).any() else np.nan


def _check_height(height_m: float) -> None:
    low, high = HEIGHTS_M
    if not low <= height_m <= high:
        raise OptionError(f"height {height_m:g} m is outside {low:g} to {high:g} m")


@lru_cache(maxsize=2)
def _de_leva(sex: Sex) -> dict[str, float]:
    table = tomllib.loads(asset("tables", "segment_inertia_de_leva.toml").read_text(encoding="utf-8"))
    shares: dict[str, float] = {
        name: row[sex]["length"] / table["stature"][sex] for name, row in table["segments"].items() if name != "head"
    }
    # The paper's head ends at the cervicale, above the shoulders' line; ours reaches down to it.
    return shares | {"head": 1.0 - ANKLE_HEIGHT - sum(shares[name] for name in ("thigh", "shank", "trunk"))}


@lru_cache(maxsize=1)
def _drillis_contini() -> dict[str, float]:
    table = tomllib.loads(asset("tables", "segment_lengths.toml").read_text(encoding="utf-8"))
    shares: dict[str, float] = table["shares"]
    return shares
