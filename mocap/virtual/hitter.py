"""Invented hitters: a body, a side and a swing; given, or drawn at random."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from mocap.errors import OptionError
from mocap.reference.blend import blend
from mocap.reference.parameters import SwingParameters
from mocap.reference.targets import fit_postures
from mocap.virtual.draws import Level, Sex, draw_body, draw_style, sound_swing
from mocap.virtual.flaws import FLAWS
from mocap.virtual.plausible import faults_of

Side = Literal["right", "left"]

#: Standing heights and body mass indices that a hitter may have; wider than any level draws from. [m], [kg/m2]
HEIGHTS_M = (1.00, 2.20)
MASS_INDICES = (11.0, 45.0)

#: How often a hitter has a fault, has a second one, and bats left.
ODDS_FAULT, ODDS_SECOND, ODDS_LEFT = 0.45, 0.25, 0.3
#: A drawn swing that no body can do is brought closer to the sound one: shares of it that are tried. [-]
SHARES = (1.0, 0.7, 0.45, 0.2, 0.0)
#: So many bodies are drawn before none is found who can swing as fast as was drawn for him.
TRIES = 6


@dataclass(frozen=True)
class VirtualHitter:
    """An invented hitter and his swing.

    Attributes
    ----------
    id : str
        Name for files and tables.
    name : str
        Name for people.
    parameters : SwingParameters
        His swing, posed as a right-handed hitter; of a left-handed one it is the mirror image.
    mass_kg : float
        Body mass. [kg]
    sex : {"male", "female"}
        Which inertia table holds.
    bats : {"right", "left"}
    level : {"adult", "college", "youth"}

    Raises
    ------
    OptionError
        A value is no person's.
    """

    id: str
    name: str
    parameters: SwingParameters
    mass_kg: float
    sex: Sex = "male"
    bats: Side = "right"
    level: Level = "adult"

    def __post_init__(self) -> None:
        if not self.id or any(c.isspace() for c in self.id):
            raise OptionError(f"virtual hitter: id {self.id!r} must be one word, as files are named by it")
        for key, kind in (("sex", Sex), ("bats", Side), ("level", Level)):
            value, known = getattr(self, key), get_args(kind)
            if value not in known:
                raise OptionError(f"virtual hitter {self.id}: {key} is {value!r}; give one of {', '.join(known)}")
        if not HEIGHTS_M[0] <= self.height_m <= HEIGHTS_M[1]:
            low, high = HEIGHTS_M
            raise OptionError(
                f"virtual hitter {self.id}: parameters.height_m is {self.height_m:.2f}; give {low} to {high}"
            )
        index = self.mass_kg / self.height_m**2
        if not MASS_INDICES[0] <= index <= MASS_INDICES[1]:
            low, high = (m * self.height_m**2 for m in MASS_INDICES)
            raise OptionError(
                f"virtual hitter {self.id}: mass_kg is {self.mass_kg:.1f}; at {self.height_m:.2f} m give"
                f" {low:.0f} to {high:.0f}"
            )

    @property
    def height_m(self) -> float:
        """Standing height. [m]"""
        return self.parameters.height_m


def random_hitter(rng: np.random.Generator, *, level: Level = "adult") -> VirtualHitter:
    """A hitter whose body, stance, stride, landing, turn, barrel and finish are drawn, now and then with a fault.

    Parameters
    ----------
    rng : numpy.random.Generator
    level : {"adult", "college", "youth"}
        Sizes, masses and speeds follow it.

    Returns
    -------
    VirtualHitter
        One who can be posed, and whose joints stay within `mocap.virtual.plausible`: a draw that no body can do is
        brought closer to a sound swing until it can. Its `id` is made from the draw.

    Raises
    ------
    OptionError
        `level` is not one of those; or none of `TRIES` bodies can do the swing drawn for it.
    """
    if level not in get_args(Level):
        raise OptionError(f"random hitter: level is {level!r}; give one of {', '.join(get_args(Level))}")
    for _ in range(TRIES):
        hitter = _drawn(rng, level)
        if hitter is not None:
            return hitter
    raise OptionError(f"random hitter: of {TRIES} bodies drawn none can swing soundly at the speed drawn for it")


def _drawn(rng: np.random.Generator, level: Level) -> VirtualHitter | None:
    """One drawn hitter; None where not even the sound swing of his size and speed can be posed."""
    height, mass, sex = draw_body(rng, level)
    sound = sound_swing(rng, level, height, sex)
    drawn = draw_style(rng, sound)
    count = int(rng.random() < ODDS_FAULT) * (1 + int(rng.random() < ODDS_SECOND))
    for name in rng.choice(sorted(FLAWS), size=count, replace=False):
        drawn = FLAWS[name](drawn, float(rng.random()))
    bats: Side = "left" if rng.random() < ODDS_LEFT else "right"
    number = int(rng.integers(10_000))
    swing = _possible(sound, drawn)
    if swing is None:
        return None
    return VirtualHitter(f"{level}-{number:04d}", f"Hitter {number:04d}", swing, mass, sex, bats, level)


def _possible(sound: SwingParameters, drawn: SwingParameters) -> SwingParameters | None:
    """The drawn swing, or one between the sound one and it that a body can do; None where it can do none of them."""
    for share in SHARES:
        tried = blend(sound, drawn, share)
        try:
            postures = fit_postures(tried)
        except OptionError:
            continue
        if not faults_of(postures):
            return tried
    return None
