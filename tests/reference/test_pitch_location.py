from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.moments import EXPECTED_DEPTHS
from mocap.reference.blend import blend
from mocap.reference.parameters import Barrel, Stance, SwingParameters
from mocap.reference.pitch_location import ACROSS, HEIGHT, at_pitch
from mocap.reference.posed import pose_swing


def contact_place(across: str, height: str) -> np.ndarray:
    """Sweet spot at contact: ahead of the front ankle, away from the plate's middle line (+ is inside), up. [m]"""
    swing = pose_swing(at_pitch(SwingParameters(), across, height), 1000.0)  # type: ignore[arg-type]
    contact = round(swing.moments["contact"] * 1000)
    knob, barrel = swing["bat_knob"][contact], swing["bat_barrel"][contact]
    spot = barrel + 0.15 * (knob - barrel) / np.linalg.norm(knob - barrel)
    line = np.array([swing["front_ankle"][contact, 0], -swing.parameters.barrel.plate_line_m, 0.0])
    return np.asarray(spot - line)


@pytest.fixture(scope="module")
def places() -> dict[tuple[str, str], np.ndarray]:
    return {(across, height): contact_place(across, height) for across in ACROSS for height in HEIGHT}


def test_an_inside_pitch_is_met_in_front_and_an_outside_pitch_deep(places) -> None:
    for height in HEIGHT:
        inside, middle, away = (places[across, height] for across in ("inside", "middle", "away"))
        assert inside[0] > middle[0] + 0.05 > away[0] + 0.12
        assert inside[1] > middle[1] + 0.05 > away[1] + 0.05


def test_the_expected_depths_are_as_far_apart_as_the_reference_meets_them(places) -> None:
    """Both are common practice, no source; of the reference's height of 1.80 m they must not contradict each other."""
    for across in ("inside", "away"):
        apart = places[across, "middle"][0] - places["middle", "middle"][0]
        assert EXPECTED_DEPTHS[across] - EXPECTED_DEPTHS["middle"] == pytest.approx(apart, abs=0.02)


def test_all_are_met_over_the_plate(places) -> None:
    # The plate is 0.432 m wide and a ball 0.074 m: rule book.
    assert all(abs(place[1]) < 0.216 + 0.074 for place in places.values())


def test_low_and_high(places) -> None:
    for across in ACROSS:
        low, middle, high = (places[across, height][2] for height in ("low", "middle", "high"))
        assert middle - low == pytest.approx(0.18, abs=0.02)
        assert high - middle == pytest.approx(0.18, abs=0.02)


def test_a_blend_mixes_every_number() -> None:
    first = SwingParameters(height_m=1.6, stance=Stance(hands=(0.0, 0.1, 0.2)))
    second = SwingParameters(height_m=2.0, stance=Stance(hands=(0.1, 0.1, 0.0)), barrel=Barrel(barrel_speed=20.0))
    mixed = blend(first, second, 0.25)
    assert mixed.height_m == pytest.approx(1.7)
    assert mixed.stance.hands == pytest.approx((0.025, 0.1, 0.15))
    assert mixed.barrel.barrel_speed == pytest.approx(27.5)
    assert blend(first, second, 0.0) == first
    assert blend(first, second, 1.0) == second
