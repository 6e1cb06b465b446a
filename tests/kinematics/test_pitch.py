"""Descent of the pitch: which evidence is used, how far it may be off, and the force law against its own symmetries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from mocap.errors import OptionError
from mocap.kinematics import pitch as pitch_module
from mocap.kinematics.pitch import AIR_DENSITY, acceleration, descent, flight, lift_coefficient, zone_half_height
from mocap.pitching import PITCHING_DISTANCES, release_distance, rule_book
from mocap.swing import Pitch, Setup, Sport

FASTBALL = Pitch(speed_m_s=41.7, release_height_m=1.8, release_distance_m=16.5, backspin_rpm=2000.0)
FOOT = 0.3048
SPORTS: tuple[Sport, ...] = ("baseball", "softball")


def test_a_given_angle_goes_first() -> None:
    found = descent(Setup(pitch_angle_deg=-11.0, pitch=FASTBALL))
    assert (found.angle_deg, found.sd_deg, found.method) == (-11.0, 0.0, "given")


def test_then_the_release() -> None:
    found = descent(Setup(pitch=FASTBALL))
    assert found.angle_deg == pytest.approx(flight(FASTBALL).angle_deg, abs=1e-3)
    assert found.method.startswith("integrated")


def test_then_the_usual_one_of_the_sport() -> None:
    baseball, softball = descent(Setup()), descent(Setup(sport="softball"))
    assert (baseball.angle_deg, baseball.sd_deg) == (-8.0, 2.0)
    assert "baseball" in baseball.method
    assert "softball" in softball.method
    # Let go by the hip, the ball comes down less steeply than one from over the shoulder.
    assert -7.0 < softball.angle_deg < -2.0
    assert softball.sd_deg >= baseball.sd_deg


def test_the_path_agrees_with_an_integration_over_time_of_its_own() -> None:
    """Vector form in three dimensions, over time, stopped by an event at the plate's front edge."""
    pitch = replace(FASTBALL, backspin_rpm=1500.0)
    found = flight(pitch)
    mass, radius, drag = 0.1453, 0.0369, 0.324
    spin = np.array([0.0, 1500.0 * 2 * np.pi / 60, 0.0])  # the ball flies along -x and its top turns back to +x

    def rates(_: float, state: np.ndarray) -> np.ndarray:
        velocity = state[3:]
        speed = np.linalg.norm(velocity)
        factor = radius * np.linalg.norm(spin) / speed
        lift = 1.120 * factor / (0.583 + 2.333 * factor)
        push = 0.5 * AIR_DENSITY * np.pi * radius**2 * speed**2 / mass
        turn = np.cross(spin, velocity)
        force = -drag * push * velocity / speed + lift * push * turn / np.linalg.norm(turn)
        return np.concatenate([velocity, force - np.array([0.0, 0.0, 9.80665])])

    def at_plate(_: float, state: np.ndarray) -> float:
        return float(state[0] - 17 * 0.0254)

    at_plate.terminal = True  # type: ignore[attr-defined]
    angle = np.radians(found.release_angle_deg)
    start = [16.5, 0.0, 1.8, -41.7 * np.cos(angle), 0.0, 41.7 * np.sin(angle)]
    solution = solve_ivp(rates, (0.0, 2.0), start, events=at_plate, rtol=1e-10, atol=1e-12)
    end = solution.y_events[0][0]
    assert end[2] == pytest.approx(pitch.plate_height_m, abs=1e-4)
    assert found.time_s == pytest.approx(solution.t_events[0][0], abs=1e-6)
    assert found.plate_speed_m_s == pytest.approx(np.linalg.norm(end[3:]), abs=1e-4)
    assert found.angle_deg == pytest.approx(np.degrees(np.arctan2(end[5], -end[3])), abs=1e-4)
    heights = np.interp(-found.path[:, 0], -solution.y[0], solution.y[2])
    np.testing.assert_allclose(found.path[:, 1], heights, atol=0.02)  # the other is a polygon of few points


def test_the_path_runs_from_the_hand_to_the_plates_front_edge() -> None:
    path = flight(FASTBALL).path
    np.testing.assert_allclose(path[0], [16.5, 1.8])
    np.testing.assert_allclose(path[-1], [17 * 0.0254, 0.8], atol=2e-5)
    assert np.all(np.diff(path[:, 0]) < 0)


def test_backspin_lifts_and_topspin_sinks_alike() -> None:
    factors = np.array([0.05, 0.2, 0.5])
    np.testing.assert_allclose(lift_coefficient(-factors), -lift_coefficient(factors))
    velocity = np.array([[30.0], [0.0]])
    up = acceleration(velocity, 200.0, "baseball", drag=0.3)
    down = acceleration(velocity, -200.0, "baseball", drag=0.3)
    none = acceleration(velocity, 0.0, "baseball", drag=0.3)
    np.testing.assert_allclose(up + down, 2 * none)
    assert up[1, 0] > none[1, 0]


@pytest.mark.parametrize("sport", SPORTS)
def test_drag_is_against_the_path_and_lift_at_right_angles_to_it(sport: Sport) -> None:
    velocity = 35.0 * np.stack([np.cos([-0.3, 0.0, 0.4]), np.sin([-0.3, 0.0, 0.4])])
    gravity = np.array([[0.0], [-9.80665]])
    no_spin = acceleration(velocity, 0.0, sport, drag=0.3) - gravity
    no_drag = acceleration(velocity, 150.0, sport, drag=0.0) - gravity
    np.testing.assert_allclose(no_spin[0] * velocity[1] - no_spin[1] * velocity[0], 0.0, atol=1e-9)
    assert np.all((no_spin * velocity).sum(axis=0) < 0)
    np.testing.assert_allclose((no_drag * velocity).sum(axis=0), 0.0, atol=1e-9)


def test_slower_higher_and_topspin_pitches_come_down_more_steeply() -> None:
    angles = [
        flight(replace(FASTBALL, **change)).angle_deg
        for change in ({}, {"speed_m_s": 33.0}, {"release_height_m": 2.1}, {"backspin_rpm": -1500.0})
    ]
    assert all(angle < angles[0] - 0.5 for angle in angles[1:])


def test_the_standard_deviation_is_that_of_pitches_drawn_at_random() -> None:
    """Propagated to first order, against the spread of 400 pitches with all inputs drawn at once."""
    rng = np.random.default_rng(3)
    angles = [
        flight(
            Pitch(
                41.7 + rng.normal(0, pitch_module.SPEED_SD_M_S),
                1.8 + rng.normal(0, pitch_module.RELEASE_HEIGHT_SD_M),
                16.5 + rng.normal(0, pitch_module.RELEASE_DISTANCE_SD_M),
                2000 + rng.normal(0, pitch_module.BACKSPIN_SD_RPM),
                0.8 + rng.normal(0, pitch_module.PLATE_HEIGHT_SD_M),
            ),
            drag=0.324 + rng.normal(0, 0.020) + 0.324 * rng.normal(0, pitch_module.AIR_DENSITY_SD),
        ).angle_deg
        for _ in range(400)
    ]
    # The air's density also scales the lift, which the draws leave out; their own error is 3.5 %.
    assert descent(Setup(pitch=FASTBALL)).sd_deg == pytest.approx(np.std(angles), rel=0.12)


def test_an_unknown_spin_costs_certainty() -> None:
    told, untold = descent(Setup(pitch=FASTBALL)), descent(Setup(pitch=replace(FASTBALL, backspin_rpm=0.0)))
    assert untold.sd_deg > 1.5 * told.sd_deg
    # Within what is admitted lies the fastball of 2000 rev/min.
    assert abs(told.angle_deg - untold.angle_deg) < 2 * untold.sd_deg


@pytest.mark.parametrize(("speed", "distance"), [(8.0, 18.0), (5.0, 20.0), (10.4, 12.0)])
def test_a_ball_that_falls_short_is_refused_in_one_line(speed: float, distance: float) -> None:
    with pytest.raises(OptionError, match="reach the plate") as raised:
        descent(Setup(pitch=Pitch(speed, 1.0, distance)))
    assert f"{speed:g} m/s" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_front_toss_and_a_high_lob_are_flown_too() -> None:
    """Vacuum: range and speed give the lob's angle; drag makes it steeper, the toss hardly."""
    toss = flight(Pitch(9.0, 0.9, 4.5), drag=0.0)
    ground = 4.5 - 17 * 0.0254
    tangent = np.tan(np.radians(toss.release_angle_deg))
    assert 0.9 + ground * tangent - 9.80665 * ground**2 * (1 + tangent**2) / (2 * 81.0) == pytest.approx(0.8, abs=1e-4)
    lob = Pitch(12.0, 1.0, 11.0)
    assert flight(lob).angle_deg < flight(lob, drag=0.0).angle_deg < -15.0


@pytest.mark.parametrize("sport", SPORTS)
def test_zone_half_height_is_half_of_ball_and_barrel(sport: Sport) -> None:
    around_in, barrel_in = {"baseball": (9.125, 2.61), "softball": (12.0, 2.25)}[sport]
    expected = 0.0254 * (around_in / (2 * np.pi) + barrel_in / 2)
    assert zone_half_height(sport) == pytest.approx(expected, abs=5e-5)


def test_rule_book_sizes_are_those_in_feet_inches_and_ounces() -> None:
    ounce, inch = 0.028349523, 0.0254
    assert rule_book("baseball")["ball_mass_kg"] == pytest.approx(5.125 * ounce, abs=5e-5)
    assert rule_book("softball")["ball_mass_kg"] == pytest.approx(6.625 * ounce, abs=5e-5)
    for sport, (length_ft, width_ft) in {"baseball": (6, 4), "softball": (7, 3)}.items():
        sizes = rule_book(sport)  # type: ignore[arg-type]
        assert sizes["box_length_m"] == pytest.approx(length_ft * FOOT)
        assert sizes["box_width_m"] == pytest.approx(width_ft * FOOT)
        assert sizes["plate_width_m"] == pytest.approx(17 * inch)


def test_pitching_distances_are_their_names() -> None:
    assert len(PITCHING_DISTANCES) == 7
    for name, metres in PITCHING_DISTANCES.items():
        words = name.split()
        feet = float(words[words.index("ft") - 1])
        inches = float(words[words.index("in") - 1]) if "in" in words else 0.0
        assert metres == pytest.approx((feet + inches / 12) * FOOT, abs=1e-6)
        assert 1.0 <= metres - release_distance(name) <= 2.2
    with pytest.raises(OptionError, match="'60 ft' is not known; give 'adult 60 ft 6 in', 'youth 54 ft'"):
        release_distance("60 ft")
