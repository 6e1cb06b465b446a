"""Bat in the hands, moments of inertia, the choice of a table, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.errors import InputError, OptionError
from mocap.kinematics.filtering import derivative
from mocap.kinematics.inertia import (
    Bat,
    bat_centre,
    centre_of_mass,
    segment_centres,
    segment_inertias,
    segment_table,
)
from mocap.kinematics.scaling import segment_lengths
from mocap.reference.posed import PosedSwing
from mocap.swing import POINTS

SIDES = ("front", "back")


@pytest.fixture(scope="module")
def hitter(posed: PosedSwing) -> dict[str, np.ndarray]:
    return {name: posed.points[:, i] for i, name in enumerate(POINTS)}


def test_bat_draws_the_centre_of_mass_by_its_share(hitter: dict[str, np.ndarray]) -> None:
    body = centre_of_mass(hitter, sides=SIDES)
    whole = centre_of_mass(hitter, sides=SIDES, bat=Bat(0.9, 0.6), mass_kg=81.0)
    along = hitter["bat_barrel"] - hitter["bat_knob"]
    place = hitter["bat_knob"] + 0.6 * along / np.linalg.norm(along, axis=1)[:, None]
    assert whole - body == pytest.approx((place - body) * 0.9 / 81.9, abs=1e-12)
    assert np.linalg.norm(whole - body, axis=1).max() > 0.004


def test_bat_that_is_not_seen_lies_in_the_hands(hitter: dict[str, np.ndarray]) -> None:
    hands = (hitter["front_hand"] + hitter["back_hand"]) / 2
    unseen = {name: path for name, path in hitter.items() if not name.startswith("bat")}
    assert bat_centre(unseen, Bat(0.9, 0.6), sides=SIDES) == pytest.approx(hands)
    assert bat_centre(hitter, Bat(0.9), sides=SIDES) == pytest.approx(hands)
    gap = dict(hitter) | {"bat_barrel": hitter["bat_barrel"].copy()}
    gap["bat_barrel"][10:20] = np.nan
    held = bat_centre(gap, Bat(0.9, 0.6), sides=SIDES)
    assert held[10:20] == pytest.approx(hands[10:20])
    assert held[20:] == pytest.approx(bat_centre(hitter, Bat(0.9, 0.6), sides=SIDES)[20:])


def test_velocity_is_that_of_the_segments(hitter: dict[str, np.ndarray], posed: PosedSwing) -> None:
    velocity = derivative(centre_of_mass(hitter, sides=SIDES), posed.rate_hz)
    parts = segment_centres(hitter, sides=SIDES).values()
    momentum = sum(mass * derivative(centre, posed.rate_hz) for mass, centre in parts)
    assert velocity == pytest.approx(momentum, abs=1e-9)


def test_moments_of_inertia_by_hand(hitter: dict[str, np.ndarray]) -> None:
    found = segment_inertias(hitter, mass_kg=80.0, sides=SIDES)
    assert len(found) == 14
    lengths = segment_lengths(hitter, sides=SIDES)
    # de Leva, men: thigh .1416 of the mass, radii .329 / .149 / .329 of the length.
    expected = 0.1416 * 80.0 * (lengths["thigh"] * np.array([0.329, 0.149, 0.329])) ** 2
    assert np.diag(found["front_thigh"]) == pytest.approx(expected, rel=1e-6)
    # The foot lies along x, so the small radius .124 is there.
    assert np.argmin(np.diag(found["back_foot"])) == 0
    assert np.argmin(np.diag(found["trunk"])) == 1
    for tensor in found.values():
        one, two, three = np.sort(np.diag(tensor))
        assert one + two > three  # no rigid body breaks this


def test_table_that_lacks_radii_says_so(hitter: dict[str, np.ndarray]) -> None:
    with pytest.raises(InputError, match="no radius about the bone; use de_leva"):
        segment_inertias(hitter, mass_kg=80.0, sides=SIDES, table=segment_table("winter"))
    unseen = dict(hitter) | {"front_knee": np.full_like(hitter["front_knee"], np.nan)}
    with pytest.raises(InputError, match="front_thigh: front_hip and front_knee are never seen together"):
        segment_inertias(unseen, mass_kg=80.0, sides=SIDES)


@pytest.mark.parametrize(
    ("sex", "height", "child"),
    [("male", 1.649, True), ("male", 1.651, False), ("female", 1.526, True), ("female", 1.60, False)],
)
def test_auto_takes_children_for_children(sex: str, height: float, child: bool) -> None:
    expected = segment_table("children" if child else "de_leva", sex, height)  # type: ignore[arg-type]
    assert segment_table("auto", sex, height) == expected  # type: ignore[arg-type]
    assert segment_table("auto", sex) == segment_table("de_leva", sex)  # type: ignore[arg-type]


def test_what_no_person_is_is_refused() -> None:
    for arguments, message in (
        (("de_leva", "male", 180.0), r"height 180 m is outside 0.9 to 2.4 m \(give metres"),
        (("de_leva", "male", 0.3), "height 0.3 m is outside 0.9 to 2.4 m"),
        (("de_leva", "male", 1.8, 5.0), "mass 5 kg is outside 12 to 220 kg"),
        (("de_leva", "male", 1.1, 180.0), "do not go together"),
        (("dempster", "male"), "inertia table 'dempster' is not known; give auto, de_leva, winter, children"),
        (("de_leva", "man"), "sex 'man' has no inertia table"),
        (("children", "male"), "children's inertia table needs the height"),
    ):
        with pytest.raises(OptionError, match=message):
            segment_table(*arguments)  # type: ignore[arg-type]


def test_what_no_bat_is_is_refused(hitter: dict[str, np.ndarray]) -> None:
    with pytest.raises(OptionError, match=r"bat mass -0\.9 kg is outside 0\.2 to 2\.5 kg"):
        Bat(-0.9)
    with pytest.raises(OptionError, match="bat balance point 60 m"):
        Bat(0.9, 60.0)
    with pytest.raises(OptionError, match="body's mass is needed"):
        centre_of_mass(hitter, sides=SIDES, bat=Bat(0.9))


def test_body_that_is_not_whole_is_refused(hitter: dict[str, np.ndarray]) -> None:
    without = {name: path for name, path in hitter.items() if name != "back_knee"}
    with pytest.raises(InputError, match="no back_knee for the segment back_thigh"):
        centre_of_mass(without, sides=SIDES)
    legs = tuple(segment for segment in segment_table() if segment.name in ("thigh", "shank", "foot"))
    with pytest.raises(InputError, match="table lacks the segment head, trunk"):
        centre_of_mass(hitter, sides=SIDES, table=legs)
