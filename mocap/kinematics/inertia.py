"""Masses, centres of mass and moments of inertia of the segments, and the whole-body centre of mass, bat included.

Its velocity is `mocap.kinematics.filtering.derivative` of the path that `centre_of_mass` returns.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, get_args

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError

TableChoice = Literal["auto", "de_leva", "winter", "children"]
Sex = Literal["male", "female"]

#: Segments on the body's midline; every other segment of the table counts twice.
MIDLINE = ("head", "trunk")
#: Every segment that a whole body needs.
SEGMENTS = ("head", "trunk", "upper_arm", "forearm", "hand", "thigh", "shank", "foot")
#: Outside these no person who swings a bat is expected; the same limits as `mocap.swing.Hitter`.
HEIGHTS_M, MASSES_KG = (0.9, 2.4), (12.0, 220.0)
#: Mass over height squared. [kg/m^2] Outside, one of the two is mistyped; this project's default.
BODY_MASS_INDICES = (10.0, 75.0)
#: Bats from a small child's to a weighted trainer's, and how far from the knob one can balance; this project's default.
BAT_MASSES_KG, BALANCES_M = (0.2, 2.5), (0.1, 1.1)


@dataclass(frozen=True)
class Segment:
    """One body segment of an inertia table.

    Attributes
    ----------
    name : str
    first, second : str
        Endpoints as joint names, without a side for the limbs.
    mass : float
        Share of body mass. [-]
    centre : float
        Place of the centre of mass from `first` toward `second`. [share of the length]
    radii : tuple of 3 floats
        Radii of gyration about the centre of mass and the segment's axes x (forward), y (up, along the bone; the foot
        lies along x) and z (to the right); NaN where the table has none. [share of the length]
    """

    name: str
    first: str
    second: str
    mass: float
    centre: float
    radii: tuple[float, float, float]

    @property
    def paired(self) -> bool:
        """Whether the segment exists on both sides."""
        return self.name not in MIDLINE


@dataclass(frozen=True)
class Bat:
    """The bat as a mass that the hands carry.

    Attributes
    ----------
    mass_kg : float
        [kg]
    balance_m : float or None
        Distance of the bat's centre of mass from the knob, toward the barrel: where it balances on a finger. None: the
        bat's mass is put midway between the hands. [m]

    Raises
    ------
    OptionError
        A mass or balance point that no bat has.
    """

    mass_kg: float
    balance_m: float | None = None

    def __post_init__(self) -> None:
        low, high = BAT_MASSES_KG
        if not low <= self.mass_kg <= high:
            raise OptionError(f"bat mass {self.mass_kg:g} kg is outside {low:g} to {high:g} kg (33 oz are 0.94 kg)")
        near, far = BALANCES_M
        if self.balance_m is not None and not near <= self.balance_m <= far:
            raise OptionError(f"bat balance point {self.balance_m:g} m is outside {near:g} to {far:g} m from the knob")


@lru_cache(maxsize=64)
def segment_table(
    choice: TableChoice = "de_leva", sex: Sex = "male", height_m: float | None = None, mass_kg: float | None = None
) -> tuple[Segment, ...]:
    """Table of segment masses for a person.

    Parameters
    ----------
    choice : {"auto", "de_leva", "winter", "children"}
        `auto`: de Leva for adults, the children's for who is shorter than 95 % of the adults of that sex (1.650 m,
        1.527 m); without a height, de Leva.
    sex : {"male", "female"}
        Winter's table has one column for both.
    height_m : float, optional
        Standing height, which the children's table needs. [m]
    mass_kg : float, optional
        Body mass. It is checked against the height; shares of mass depend on age and sex alone. [kg]

    Returns
    -------
    tuple of Segment

    Raises
    ------
    OptionError
        An unknown choice or sex, a height or mass out of human range, or the children's table without a height.

    Notes
    -----
    Children: shares of mass by Jensen's linear regressions on age, for the age at which the height is the median (CDC
    2000), held within 4 to 15 years; places of the centres of mass and radii of gyration are de Leva's for adults, as
    no published ones refer to joint centres. A small adult who is taken for a child is helped by ``de_leva``.

    References
    ----------
    de Leva P (1996) J Biomech 29(9):1223-1230, Table 4. Winter DA (2009) Biomechanics and Motor Control of Human
    Movement, 4th ed., Table 4.1. Jensen RK (1986) J Biomech 19(5):359-368. Kuczmarski RJ et al. (2002) 2000 CDC growth
    charts for the United States, Vital Health Stat 11(246).
    """
    _check_person(sex, height_m, mass_kg)
    if choice not in get_args(TableChoice):
        raise OptionError(f"inertia table {choice!r} is not known; give {', '.join(get_args(TableChoice))}")
    if choice == "auto":
        child = height_m is not None and height_m < _data("children")["adult_from"][sex]
        choice = "children" if child else "de_leva"
    if choice == "winter":
        return _winter_table()
    if choice == "de_leva":
        return _de_leva_table(sex)
    if height_m is None:
        raise OptionError("the children's inertia table needs the height; give it, e.g. 1.42")
    return _de_leva_table(sex, _masses_of_children(height_m, sex))


def _winter_table() -> tuple[Segment, ...]:
    """Winter's segments, one column for both sexes."""
    return tuple(
        Segment(name, row["from"], row["to"], row["mass"], row["centre"], _across(name, row["radius"]))
        for name, row in _data("winter")["segments"].items()
    )


def _de_leva_table(sex: Sex, masses: Mapping[str, float] | None = None) -> tuple[Segment, ...]:
    """De Leva's segments, with other shares of mass where they are given."""
    return tuple(
        Segment(
            name,
            row["from"],
            row["to"],
            row[sex]["mass"] if masses is None else masses[name],
            row[sex]["centre"],
            tuple(row[sex]["radii"]),
        )
        for name, row in _data("de_leva")["segments"].items()
    )


def segment_centres(
    centres: Mapping[str, FloatArray],
    *,
    sides: tuple[str, str] = ("l", "r"),
    sex: Sex = "male",
    table: tuple[Segment, ...] | None = None,
) -> dict[str, tuple[float, FloatArray]]:
    """Centre of mass of each segment.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        Joint centres by name; paired ones carry a side prefix, e.g. ``l_knee``. [m]
    sides : tuple of 2 str
        The two prefixes, ``("l", "r")`` in the lab frame, ``("front", "back")`` in the hitting frame.
    sex : {"male", "female"}
        Column of de Leva's table where no table is given.
    table : tuple of Segment, optional
        From `segment_table`; de Leva's where not given.

    Returns
    -------
    dict of str to (mass, centre)
        Mass as share of body mass [-], centre of shape (..., 3) [m].

    Raises
    ------
    InputError
        A segment's endpoint is not among `centres`.

    References
    ----------
    See `segment_table`.
    """
    found: dict[str, tuple[float, FloatArray]] = {}
    for name, segment, first, second in _endpoints(centres, sides, table or segment_table("de_leva", sex)):
        start = np.asarray(centres[first], dtype=np.float64)
        found[name] = (segment.mass, start + segment.centre * (centres[second] - start))
    return found


def centre_of_mass(
    centres: Mapping[str, FloatArray],
    *,
    sides: tuple[str, str] = ("l", "r"),
    sex: Sex = "male",
    table: tuple[Segment, ...] | None = None,
    bat: Bat | None = None,
    mass_kg: float | None = None,
) -> FloatArray:
    """Whole-body centre of mass, the mass-weighted mean of the segments' centres, with the bat where one is given.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        Joint centres by name; `bat_knob` and `bat_barrel` where the bat is to lie between them. [m]
    sides : tuple of 2 str
        Prefixes of the paired names.
    sex : {"male", "female"}
        Column of de Leva's table where no table is given.
    table : tuple of Segment, optional
        From `segment_table`; de Leva's where not given.
    bat : Bat, optional
        Its centre of mass lies on the line from `bat_knob` to `bat_barrel`; where they are not seen, or the bat's
        balance point is not known, midway between the hands.
    mass_kg : float, optional
        Body mass, needed with a bat. [kg]

    Returns
    -------
    ndarray, shape (..., 3)
        NaN in frames where a segment's endpoint is missing. [m]

    Raises
    ------
    InputError
        A segment's endpoint is not among `centres`, or the table lacks a segment.
    OptionError
        A bat without the body's mass, or a mass out of human range.

    References
    ----------
    See `segment_table`.
    """
    table = table or segment_table("de_leva", sex)
    lacking = [name for name in SEGMENTS if name not in {segment.name for segment in table}]
    if lacking:
        raise InputError(f"centre of mass: the inertia table lacks the segment {', '.join(lacking)}; use a whole one")
    parts = segment_centres(centres, sides=sides, table=table).values()
    # Printed masses need not add up to exactly 1 (de Leva's women 0.9999), so divide by the sum.
    total = sum(mass for mass, _ in parts)
    body: FloatArray = sum((mass * centre for mass, centre in parts), start=np.zeros(3)) / total
    if bat is None:
        return body
    if mass_kg is None:
        raise OptionError("centre of mass with a bat: the body's mass is needed; give the hitter's mass")
    _check_person(sex, None, mass_kg)
    whole: FloatArray = (mass_kg * body + bat.mass_kg * bat_centre(centres, bat, sides=sides)) / (mass_kg + bat.mass_kg)
    return whole


def bat_centre(centres: Mapping[str, FloatArray], bat: Bat, *, sides: tuple[str, str] = ("l", "r")) -> FloatArray:
    """Centre of mass of the bat.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        The hands, and `bat_knob` and `bat_barrel` where they were recorded. [m]
    bat : Bat
    sides : tuple of 2 str

    Returns
    -------
    ndarray, shape (..., 3)
        On the bat's axis; midway between the hands in frames where the bat is not seen. [m]
    """
    held: FloatArray = (centres[f"{sides[0]}_hand"] + centres[f"{sides[1]}_hand"]) / 2
    if bat.balance_m is None or not {"bat_knob", "bat_barrel"} <= set(centres):
        return held
    along = centres["bat_barrel"] - centres["bat_knob"]
    on_axis = centres["bat_knob"] + bat.balance_m * along / np.linalg.norm(along, axis=-1, keepdims=True)
    return np.where(np.isfinite(on_axis), on_axis, held)


def segment_inertias(
    centres: Mapping[str, FloatArray],
    *,
    mass_kg: float,
    sides: tuple[str, str] = ("l", "r"),
    table: tuple[Segment, ...] | None = None,
) -> dict[str, FloatArray]:
    """Inertia tensor of each segment about its own centre of mass.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres by name. [m]
    mass_kg : float
        Body mass. [kg]
    sides : tuple of 2 str
        Prefixes of the paired names.
    table : tuple of Segment, optional
        From `segment_table`; de Leva's for men where not given.

    Returns
    -------
    dict of str to ndarray, shape (3, 3)
        Diagonal, in the segment's axes x forward, y up along the bone, z to the right (the foot lies along x); the
        trunk's are the thorax's. [kg m^2]

    Raises
    ------
    InputError
        A segment's endpoint is missing in every frame, or the table has no radii about every axis.
    OptionError
        A mass out of human range.

    Notes
    -----
    I = m (r L)^2 about each axis, with the median length L of the recording.
    """
    _check_person("male", None, mass_kg)
    found: dict[str, FloatArray] = {}
    for name, segment, first, second in _endpoints(centres, sides, table or segment_table()):
        if not np.isfinite(segment.radii).all():
            raise InputError(f"inertia of {name}: this table has no radius about the bone; use de_leva")
        lengths = np.linalg.norm(centres[second] - centres[first], axis=-1)
        if not np.isfinite(lengths).any():
            raise InputError(f"inertia of {name}: {first} and {second} are never seen together")
        found[name] = np.diag(segment.mass * mass_kg * (np.array(segment.radii) * np.nanmedian(lengths)) ** 2)
    return found


def age_of_median_height(height_m: float, sex: Sex = "male") -> float:
    """Age at which a height is the median of American children, held within 4 to 15 years. [years]

    Parameters
    ----------
    height_m : float
        Standing height. [m]
    sex : {"male", "female"}

    References
    ----------
    Kuczmarski RJ et al. (2002) 2000 CDC growth charts for the United States, Vital Health Stat 11(246).
    """
    stature = _data("children")["stature"]
    return float(np.interp(height_m, stature[sex], stature["age"]))


def _masses_of_children(height_m: float, sex: Sex) -> dict[str, float]:
    """Shares of body mass by Jensen (1986)."""
    data = _data("children")
    age = float(np.clip(age_of_median_height(height_m, sex), *data["ages"]))
    return {name: row["at_birth"] + row["per_year"] * age for name, row in data["segments"].items()}


def _endpoints(
    centres: Mapping[str, FloatArray], sides: tuple[str, str], table: tuple[Segment, ...]
) -> Iterator[tuple[str, Segment, str, str]]:
    """Every segment of a body: its name with the side, its row, and the names of its endpoints."""
    for segment in table:
        for prefix in [f"{side}_" for side in sides] if segment.paired else [""]:
            first, second = f"{prefix}{segment.first}", f"{prefix}{segment.second}"
            for name in (first, second):
                if name not in centres:
                    raise InputError(f"centre of mass: no {name} for the segment {prefix}{segment.name}")
            yield f"{prefix}{segment.name}", segment, first, second


def _across(name: str, radius: float) -> tuple[float, float, float]:
    """Radii about x, y, z of a table that has only the one across the bone."""
    return (np.nan, radius, radius) if name == "foot" else (radius, np.nan, radius)


def _check_person(sex: str, height_m: float | None, mass_kg: float | None) -> None:
    if sex not in get_args(Sex):
        raise OptionError(f"sex {sex!r} has no inertia table; give male or female")
    if height_m is not None and not HEIGHTS_M[0] <= height_m <= HEIGHTS_M[1]:
        hint = " (give metres, e.g. 1.80)" if height_m > HEIGHTS_M[1] else ""
        raise OptionError(f"height {height_m:g} m is outside {HEIGHTS_M[0]:g} to {HEIGHTS_M[1]:g} m{hint}")
    if mass_kg is not None and not MASSES_KG[0] <= mass_kg <= MASSES_KG[1]:
        raise OptionError(f"mass {mass_kg:g} kg is outside {MASSES_KG[0]:g} to {MASSES_KG[1]:g} kg")
    if height_m is not None and mass_kg is not None:
        index = mass_kg / height_m**2
        if not BODY_MASS_INDICES[0] <= index <= BODY_MASS_INDICES[1]:
            raise OptionError(
                f"height {height_m:g} m and mass {mass_kg:g} kg do not go together ({index:.0f} kg per square metre);"
                " one of them is mistyped"
            )


@lru_cache(maxsize=4)
def _data(name: str) -> dict[str, Any]:
    """A table of ``assets/tables/segment_inertia_NAME.toml``."""
    return tomllib.loads(asset("tables", f"segment_inertia_{name}.toml").read_text(encoding="utf-8"))
