"""How thick the figure's segments are, so that each is as heavy as the inertia table says for the hitter's mass.

The model's rings in `mocap.renderer.body` and `mocap.renderer.parts` are drawn for a person of 1.80 m and typical
build. A segment of other mass or length keeps their shape; its cross-sections are widened until volume times density is
its mass.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from mocap.assets import asset
from mocap.kinematics.inertia import HEIGHTS_M, segment_table

if TYPE_CHECKING:
    from mocap.renderer.rig import Proportions

MODEL_HEIGHT = 1.80  # the height the model is drawn for [m]
#: The person the inertia table describes: de Leva (1996), Table 4, mean of the men. [m], [kg]
TYPICAL_HEIGHT_M, TYPICAL_MASS_KG = 1.741, 73.0
#: Lightest and heaviest build that is drawn, times the typical mass at that height; beyond them the figure no longer
#: looks like a person. This project's default.
BUILDS = (0.62, 1.75)
#: A recorded length is believed within these shares of the usual one where it decides a girth; this project's default.
LENGTHS = (0.80, 1.25)

#: Volume per length of the model's segments between the planes that divide them, at a girth of 1. [m^2] These and the
#: next three are measured on the model, as `tests/published/test_figure_mass.py` measures it.
SECTIONS = {
    "trunk": 0.0684,
    "upper_arm": 0.00846,
    "forearm": 0.00429,
    "thigh": 0.0208,
    "shank": 0.00927,
    "foot": 0.00517,
}
#: The trunk's breadth hangs on the shoulders too and a shoe's height on the ankle: they grow by a lower power of the
#: girth.
POWERS = {"trunk": 1.75, "foot": 1.5}
#: Volume of a hand, times the cube of its girth. [m^3]
HAND = 0.000583
#: Volume of head and neck: times the cube of the girth, times its square, and times it and the distance from
#: mid-shoulders to the head's centre (the higher the head, the more of the neck is free). [m^3], [m^3], [m^2]
HEAD = (0.00493, -0.00381, 0.0200)
#: Usual length of a segment by the recorded joint centres, share of height; this project's default.
USUAL = {"trunk": 0.288, "upper_arm": 0.175, "forearm": 0.150, "thigh": 0.245, "shank": 0.248, "foot": 0.110}


@dataclass(frozen=True)
class Girths:
    """Widths of each segment, times the model's as drawn; near 1 for 1.80 m and typical build. [-]

    Attributes
    ----------
    head, trunk, upper_arm, forearm, hand, thigh, shank, foot : float
        Head and hand grow by it in all directions, the others across their length.
    """

    head: float
    trunk: float
    upper_arm: float
    forearm: float
    hand: float
    thigh: float
    shank: float
    foot: float


@cache
def densities() -> dict[str, float]:
    """Density of each segment of the inertia table. [kg/m^3]"""
    text = asset("tables", "segment_density.toml").read_text(encoding="utf-8")
    return dict(tomllib.loads(text)["density"])


def build_mass(height_m: float, mass_kg: float | None) -> float:
    """The mass a figure is drawn with: the hitter's, or that of typical build; absurd ones are held. [kg]

    Parameters
    ----------
    height_m : float
        [m]
    mass_kg : float or None
        None or not finite: the inertia table's person, grown alike in all directions (this project's default).
    """
    typical = TYPICAL_MASS_KG * (height_m / TYPICAL_HEIGHT_M) ** 3
    if mass_kg is None or not np.isfinite(mass_kg):
        return typical
    return float(np.clip(mass_kg, BUILDS[0] * typical, BUILDS[1] * typical))


def segment_masses(height_m: float, mass_kg: float) -> dict[str, float]:
    """Mass of each segment, paired ones of one side. [kg]

    Parameters
    ----------
    height_m, mass_kg : float
        [m], [kg]

    Returns
    -------
    dict of str to float

    Notes
    -----
    Shares of mass are de Leva's for men; a child's head is as heavy as the children's table says, and the rest is
    shared as an adult's: that table's thigh and trunk are other parts of the body than de Leva's.

    References
    ----------
    de Leva P (1996) J Biomech 29(9):1223-1230, Table 4. Jensen RK (1986) J Biomech 19(5):359-368.
    """
    adult = segment_table("de_leva")
    height = float(np.clip(height_m, *HEIGHTS_M))
    child = {segment.name: segment.mass for segment in segment_table("children", height_m=height)}
    shares = {segment.name: segment.mass for segment in adult}
    total = sum(segment.mass * (2.0 if segment.paired else 1.0) for segment in adult)
    head = max(shares["head"] / total, child["head"])
    rest = (1.0 - head) / (total - shares["head"])
    return {name: mass_kg * (head if name == "head" else rest * share) for name, share in shares.items()}


def girths(size: Proportions) -> Girths:
    """Girths at which every segment has its mass."""
    masses = segment_masses(size.height, size.mass)
    lengths = {
        "trunk": size.trunk,
        "upper_arm": size.upper,
        "forearm": size.fore,
        "thigh": size.thigh,
        "shank": size.shank,
        "foot": size.instep + size.toes,
    }
    found: dict[str, float] = {}
    for name, mass in masses.items():
        volume = mass / densities()[name]
        if name == "hand":
            found[name] = float(np.cbrt(volume / HAND))
            continue
        if name == "head":
            roots = np.roots([HEAD[0], HEAD[1], HEAD[2] * size.neck, -volume])
            found[name] = float(roots.real[np.abs(roots.imag) < 1e-9].max())
            continue
        usual = USUAL[name] * size.height
        length = float(np.clip(lengths[name], LENGTHS[0] * usual, LENGTHS[1] * usual))
        scale, power = size.height / MODEL_HEIGHT, POWERS.get(name, 2.0)
        found[name] = scale * float((volume / (SECTIONS[name] * length * scale**2)) ** (1.0 / power))
    return Girths(**found)
