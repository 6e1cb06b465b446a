"""Flights of pitches against closed forms and measured major-league pitches.

Sources: public major-league tracking data of 2020-09-03, 2474 pitches (file `small_request_raw.csv` among the tests of
the open library pybaseball): release and plate speeds, flight times and descent angles as means by kind of pitch,
computed from the file's nine-parameter fits (position, velocity and acceleration at y = 50 ft). Closed forms: computed
with g = 9.80665 m/s^2. Lift: AM Nathan's public trajectory calculator; Nathan AM (2008) Am J Phys 76:119-124.
"""

from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.pitch import USUAL_BASEBALL_DEG, USUAL_SD_DEG, acceleration, descent, flight
from mocap.pitching import PITCHING_DISTANCES, release_distance, rule_book
from mocap.swing import Pitch, Setup

FOOT, MPH = 0.3048, 0.44704
FRONT_EDGE_FT = 17 / 12
#: Typical geometry of the 890 four-seam fastballs of that day: 5.89 ft high, 6.25 ft ahead of the pitcher's plate, 2.74
#: ft high at the plate.
RELEASE_FT, HIGH_FT, PLATE_HIGH_FT = 60.5 - 6.25, 5.89, 2.74

#: Kind: pitches, release and plate speed [mph], flight [s], descent mean and SD [deg], inferred drag coefficient.
MEASURED = {
    "four-seam fastball": (890, 93.3, 85.4, 0.405, -4.89, 1.03, 0.334),
    "sinker": (414, 92.9, 85.3, 0.406, -6.19, 1.20, 0.325),
    "cutter": (180, 89.6, 82.4, 0.421, -6.10, 1.39, 0.318),
    "slider": (446, 85.0, 78.7, 0.443, -7.95, 1.21, 0.307),
    "change-up": (226, 84.6, 77.9, 0.446, -7.03, 1.04, 0.324),
    "curve": (243, 78.0, 72.1, 0.487, -9.81, 1.48, 0.318),
    "splitter": (75, 84.9, 78.2, 0.444, -7.86, 1.11, 0.326),
}
#: Backspin that goes with the means. [rev/min] Of the other kinds none was seen, which 0 stands for.
BACKSPIN = {"four-seam fastball": 2025.0, "curve": -1750.0}


def measured_pitch(kind: str, backspin_rpm: float | None = None) -> Pitch:
    speed, spin = MEASURED[kind][1], BACKSPIN.get(kind, 0.0) if backspin_rpm is None else backspin_rpm
    return Pitch(speed * MPH, HIGH_FT * FOOT, RELEASE_FT * FOOT, spin, PLATE_HIGH_FT * FOOT)


def test_without_air_the_path_is_a_parabola() -> None:
    """40 m/s level over 16 m: 0.400 s, 0.784532 m of drop (g t^2 / 2), -5.60089 deg (atan(g t / v))."""
    front_edge = FRONT_EDGE_FT * FOOT
    found = flight(Pitch(40.0, 0.8 + 0.784532, 16.0 + front_edge, 0.0, 0.8), drag=0.0)
    assert found.release_angle_deg == pytest.approx(0.0, abs=1e-3)  # level is what it takes to drop that much
    assert found.time_s == pytest.approx(0.400, abs=1e-6)
    assert found.angle_deg == pytest.approx(-5.60089, abs=1e-3)
    assert found.plate_speed_m_s == pytest.approx(np.hypot(40.0, 9.80665 * 0.4), abs=1e-5)


def test_drag_alone_follows_the_exponential() -> None:
    """v = v0 exp(-k x), t = (exp(k x) - 1) / (k v0).

    52.83 ft at a drag coefficient of 0.334 leave 0.9099 of the speed, and 93.3 mph take 0.4049 s. Here the force law's
    part along a level line is integrated in small steps.
    """
    distance, speed, steps = 52.83 * FOOT, 93.3 * MPH, 20000
    v, t = speed, 0.0
    for _ in range(steps):  # midpoint rule over the distance
        slope = acceleration(np.array([[v], [0.0]]), 0.0, "baseball", drag=0.334)[0, 0] / v
        middle = v + slope * distance / steps / 2
        slope = acceleration(np.array([[middle], [0.0]]), 0.0, "baseball", drag=0.334)[0, 0] / middle
        v, t = v + slope * distance / steps, t + distance / steps / middle
    # The printed four digits, and a ball's radius that the table rounds to a tenth of a millimetre.
    assert v / speed == pytest.approx(0.9099, abs=1e-4)
    assert t == pytest.approx(0.4049, abs=1e-4)
    ball = rule_book("baseball")
    k = 1.194 * np.pi * ball["ball_radius_m"] ** 2 * 0.334 / (2 * ball["ball_mass_kg"])
    assert v / speed == pytest.approx(np.exp(-k * distance), abs=1e-6)
    assert t == pytest.approx((np.exp(k * distance) - 1) / (k * speed), abs=1e-6)


@pytest.mark.parametrize("kind", MEASURED)
def test_measured_kinds_of_pitch_are_met(kind: str) -> None:
    """With each kind's own inferred drag: speed and time closely, descent within two standard deviations."""
    _, _, plate_mph, time, angle, angle_sd, drag = MEASURED[kind]
    found = flight(measured_pitch(kind), drag=drag)
    assert found.plate_speed_m_s / MPH == pytest.approx(plate_mph, abs=0.4)
    assert found.time_s == pytest.approx(time, abs=0.005)
    assert abs(found.angle_deg - angle) < 2 * angle_sd


@pytest.mark.parametrize(("kind", "spin"), [*((kind, 0.0) for kind in MEASURED), *BACKSPIN.items()])
def test_the_tables_own_drag_and_the_uncertainty_cover_the_measured_means(kind: str, spin: float) -> None:
    """Whether the spin is told or not."""
    found = descent(Setup(pitch=measured_pitch(kind, spin)))
    assert abs(found.angle_deg - MEASURED[kind][4]) < 2 * found.sd_deg
    assert found.sd_deg < 1.5  # no wider than pitches of one kind and all heights are


def test_an_integration_apart_from_this_code_is_met() -> None:
    """93.3 mph, drag 0.334, same force law: 0.405 s, 85.4 mph, -4.61 deg with 2025 rev/min, -6.34 deg without spin."""
    drag = MEASURED["four-seam fastball"][6]
    found = flight(measured_pitch("four-seam fastball"), drag=drag)
    assert found.angle_deg == pytest.approx(-4.61, abs=0.005)
    assert found.time_s == pytest.approx(0.405, abs=0.0005)
    assert found.plate_speed_m_s / MPH == pytest.approx(85.4, abs=0.05)
    assert flight(measured_pitch("four-seam fastball", 0.0), drag=drag).angle_deg == pytest.approx(-6.34, abs=0.005)


def test_one_tracked_pitch() -> None:
    """A fastball of 97.5 mph as the file gives it: constant accelerations from y = 50 ft.

    What the nine parameters say by hand: -4.90517 deg, 0.62 deg to the side, 88.6654 mph at the plate, 97.5587 mph at
    release. The drag coefficient and the lift follow from the accelerations; flown with them, the ball must come down
    as it did.
    """
    x0, z0, release_y = -2.57, 5.56, 60.5 - 6.1  # ft, at release
    v50 = np.array([7.63682037, -141.71914769, -5.36631129])
    a = np.array([-17.39829712, 33.95041859, -16.06048709])
    vy_plate = -np.sqrt(v50[1] ** 2 + 2 * a[1] * (FRONT_EDGE_FT - 50.0))
    t_plate = (vy_plate - v50[1]) / a[1]
    at_plate = v50 + a * t_plate
    angle = np.degrees(np.arctan2(at_plate[2], -at_plate[1]))
    assert vy_plate == pytest.approx(-129.558743, abs=1e-5)
    assert t_plate == pytest.approx(0.358181, abs=1e-6)
    assert angle == pytest.approx(-4.90517, abs=1e-4)
    assert np.linalg.norm(at_plate) * FOOT / MPH == pytest.approx(88.6654, abs=1e-3)
    vy_release = -np.sqrt(v50[1] ** 2 + 2 * a[1] * (release_y - 50.0))
    t_release = (vy_release - v50[1]) / a[1]
    at_release = v50 + a * t_release
    assert np.linalg.norm(at_release) * FOOT / MPH == pytest.approx(97.5587, abs=1e-3)
    z_plate = z0 + at_release[2] * (t_plate - t_release) + a[2] * (t_plate - t_release) ** 2 / 2
    assert z_plate == pytest.approx(2.45, abs=0.01)  # the file's own
    assert x0 + at_release[0] * (t_plate - t_release) + a[0] * (t_plate - t_release) ** 2 / 2 == pytest.approx(
        -0.71, abs=0.01
    )

    # Drag and lift out of the mean acceleration, at the mean velocity, in the plane of flight.
    mean = (at_release + at_plate) / 2
    speed = np.linalg.norm(mean)
    air = a + np.array([0.0, 0.0, 9.80665 / FOOT])
    ball = rule_book("baseball")
    per_metre = 1.194 * np.pi * ball["ball_radius_m"] ** 2 / (2 * ball["ball_mass_kg"])
    drag = -(air @ mean) / speed / (per_metre * FOOT * speed**2)
    along = mean / speed
    up = np.array([0.0, 0.0, 1.0]) - along[2] * along
    lift = (air @ up) / np.linalg.norm(up) / (per_metre * FOOT * speed**2)
    factor = 0.583 * lift / (1.120 - 2.333 * lift)  # the lift model turned round
    backspin = factor * speed * FOOT / ball["ball_radius_m"] * 60 / (2 * np.pi)
    assert 0.28 < drag < 0.38
    assert 1000 < backspin < 2600
    flown = flight(
        Pitch(97.5587 * MPH, z0 * FOOT, release_y * FOOT, float(backspin), float(z_plate) * FOOT), drag=float(drag)
    )
    assert flown.angle_deg == pytest.approx(angle, abs=0.15)  # constant forces against turning ones, and the side
    assert flown.plate_speed_m_s / MPH == pytest.approx(88.6654, abs=0.3)
    assert flown.time_s == pytest.approx(t_plate - t_release, abs=0.003)


def test_a_softball_pitch_is_of_the_right_order() -> None:
    """65 mph, 43 ft, let go 6 ft ahead at 2.5 ft, no spin, drag 0.33: 0.390 s, 59.9 mph, -4.85 deg.

    Computed, with assumptions; the height at the plate, 2 ft, is one of them.
    """
    found = flight(Pitch(65 * MPH, 2.5 * FOOT, (43 - 6) * FOOT, 0.0, 2.0 * FOOT), "softball", drag=0.33)
    assert found.time_s == pytest.approx(0.390, rel=0.02)
    assert found.plate_speed_m_s / MPH == pytest.approx(59.9, rel=0.02)
    assert found.angle_deg == pytest.approx(-4.85, rel=0.1)


def test_a_youth_pitch_comes_down_more_steeply() -> None:
    """50 mph from 46 ft, drag 0.35: 0.575 s, 47.1 mph, -9.99 deg. Computed, with assumptions about the heights."""
    pitch = Pitch(50 * MPH, 4.5 * FOOT, release_distance("youth 46 ft"), 0.0, 2.5 * FOOT)
    found = flight(pitch, drag=0.35)
    assert found.time_s == pytest.approx(0.575, rel=0.03)
    assert found.plate_speed_m_s / MPH == pytest.approx(47.1, rel=0.02)
    assert found.angle_deg == pytest.approx(-9.99, rel=0.1)
    assert found.angle_deg < flight(measured_pitch("four-seam fastball")).angle_deg - 3


def test_a_pitch_of_95_mph_arrives_in_four_tenths_of_a_second() -> None:
    """Adair RK, The Physics of Baseball, as quoted: 95 mph reaches the plate in about 0.4 s."""
    pitch = Pitch(95 * MPH, HIGH_FT * FOOT, release_distance("adult 60 ft 6 in"), 2000.0, PLATE_HIGH_FT * FOOT)
    assert flight(pitch).time_s == pytest.approx(0.40, abs=0.01)


def test_the_usual_descent_lies_among_the_measured_ones() -> None:
    """About 8 degrees down, common practice: less than curves, more than fastballs.

    Its standard deviation covers the mean over all measured pitches.
    """
    counts, angles = (np.array([row[i] for row in MEASURED.values()]) for i in (0, 4))
    assert angles.min() < USUAL_BASEBALL_DEG < angles.max()
    assert abs(np.average(angles, weights=counts) - USUAL_BASEBALL_DEG) < USUAL_SD_DEG["baseball"]


def test_pitching_distances_of_the_rule_books() -> None:
    """60 ft 6 in is 18.440 m, 43 ft is 13.106 m (public pages that quote the rules)."""
    assert PITCHING_DISTANCES["adult 60 ft 6 in"] == pytest.approx(18.440, abs=0.0005)
    assert PITCHING_DISTANCES["softball 43 ft"] == pytest.approx(13.106, abs=0.0005)
