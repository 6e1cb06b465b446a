"""The hitting zone of a barrel on a circle, against the closed form.

The sweet spot moves with constant speed on a circle of radius R in a tilted plane. With its direction of movement t at
contact, the direction n from there to the centre, and the turn q from contact, it lies at

    p = contact + R (t sin q + n (1 - cos q)),

and its height over a straight pitch of slope s (dz/dx) through contact is R (A sin q + B (1 - cos q)) with
A = t_z - s t_x and B = n_z - s n_x. It equals +-h, the ball's radius plus the barrel's, where

    sin(q - f) = (+-h/R - B) / sqrt(A^2 + B^2),  f = atan2(B, A),

and the zone is the arc R (q2 - q1) between the nearest solutions on both sides of contact. For A = 0, a barrel that
moves along the pitch at contact, this is the arc over the chord of sagitta h / |B|: q = +-arccos(1 - h / (R |B|)).
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest

import mocap
from mocap.kinematics.registry import REGISTRY
from mocap.swing import POINTS, Setup, Swing

RATE = 480.0
FRAMES, CONTACT = 241, 120
#: Of the barrel. [m/s]
SPEED = 30.0
#: Official Baseball Rules 3.01 and 3.02: ball 9 to 9 1/4 in around, bat at most 2.61 in across. [m]
BASEBALL = 0.0254 * (9.125 / (2 * np.pi) + 2.61 / 2)
#: Softball: ball 11 7/8 to 12 1/8 in around, bat at most 2 1/4 in across. [m]
SOFTBALL = 0.0254 * (12.0 / (2 * np.pi) + 2.25 / 2)
#: The table of sizes is rounded to a tenth of a millimetre, and the zone's length grows by twice that over the slope at
#: which the barrel leaves it.
ROUNDING_M = 1e-4
#: Between the frames the path is a cubic, which is off by less than 3/128 R (turn per frame)^4.
PATH_M = 5e-4


class Circle(NamedTuple):
    """Path of the sweet spot.

    Radius [m]; at contact its attack angle, its heading (0 = toward the pitcher), and the tilt of the circle's plane
    (0 = as level as the attack angle lets it be, 90 = upright with the centre above). [deg]
    """

    radius_m: float
    attack_deg: float
    heading_deg: float = 0.0
    tilt_deg: float = 0.0

    @property
    def axes(self) -> tuple[np.ndarray, np.ndarray]:
        """Unit direction of movement at contact, and from there to the centre."""
        a, b, c = np.radians([self.attack_deg, self.heading_deg, self.tilt_deg])
        along = np.array([np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)])
        # A right-handed hitter stands at +y: that is where the centre lies.
        side = np.array([-np.sin(b), np.cos(b), 0.0])
        upward = np.cross(along, side)
        return along, np.cos(c) * side + np.sin(c) * upward

    def zone(self, half_m: float, slope: float) -> tuple[float, float]:
        """Turn from contact to both ends of the zone by the closed form. [rad]"""
        along, inward = self.axes
        A, B = along[2] - slope * along[0], inward[2] - slope * inward[0]
        phase, K = np.arctan2(B, A), np.hypot(A, B)
        turns = []
        for edge in (half_m, -half_m):
            sine = (edge / self.radius_m - B) / K
            if abs(sine) <= 1:
                both = np.array([phase + np.arcsin(sine), phase + np.pi - np.arcsin(sine)])
                turns += list((both + np.pi) % (2 * np.pi) - np.pi)
        return max(q for q in turns if q < 0), min(q for q in turns if q > 0)

    def toward_pitcher(self, turn: float) -> bool:
        """Whether the sweet spot moves toward the pitcher there."""
        along, inward = self.axes
        return bool(np.cos(turn) * along[0] + np.sin(turn) * inward[0] > 0)


def swing_on(circle: Circle, body: np.ndarray, make, setup: Setup, *, shift: float = 0.0) -> Swing:
    """A bat of 0.85 m that points away from the centre; contact lies `shift` frames before its frame."""
    along, inward = circle.axes
    turn = SPEED / circle.radius_m * (np.arange(FRAMES) - CONTACT + shift)[:, None] / RATE
    place = np.array([0.4, -0.8, 0.9])
    spot = place + circle.radius_m * (np.sin(turn) * along + (1 - np.cos(turn)) * inward)
    to_centre = np.cos(turn) * inward - np.sin(turn) * along
    points = np.tile(body, (FRAMES, 1, 1))
    points[:, POINTS.index("bat_barrel")] = spot - setup.sweet_spot_m * to_centre
    points[:, POINTS.index("bat_knob")] = spot + (0.85 - setup.sweet_spot_m) * to_centre
    moments = {"stance": 0, "lift": 20, "toe_touch": 78, "plant": 80, "foot_flat": 82, "level": 112, "contact": CONTACT}
    swing = make(points, RATE, moments | {"extension": 140, "finish": 200}, setup=setup)
    contact = replace(swing.moments["contact"], time_s=(CONTACT - shift) / RATE)
    return replace(swing, moments={**swing.moments, "contact": contact})


def zone_of(swing: Swing) -> float:
    value = mocap.measure(swing, count=0).measures["hitting_zone"].value
    assert isinstance(value, float)
    return value


def tolerance(circle: Circle, ends: tuple[float, float], slope: float) -> float:
    along, inward = circle.axes
    A, B = along[2] - slope * along[0], inward[2] - slope * inward[0]
    steepness = [abs(A * np.cos(q) + B * np.sin(q)) for q in ends]
    return PATH_M + ROUNDING_M * sum(1 / s for s in steepness)


CASES = [
    # radius, attack, heading, tilt, pitch
    (1.0, 12.0, 0.0, 10.0, -8.0),
    (1.0, 8.0, 0.0, 12.0, -8.0),  # along the pitch at contact: the chord
    (0.8, 8.0, 0.0, 30.0, -8.0),  # the same, more upright and tighter
    (1.2, 8.0, 0.0, -15.0, -8.0),  # the same, the centre lower than the barrel
    (0.9, 15.0, 20.0, 20.0, -8.0),
    (0.9, 15.0, -20.0, 20.0, -8.0),
    (1.1, -4.0, 0.0, 15.0, -6.0),  # a swing down
    (0.7, 25.0, 0.0, 35.0, -5.0),  # an uppercut
    (1.0, 10.0, 5.0, 25.0, -14.0),  # a slow pitch that drops
    (1.0, 6.0, 0.0, 20.0, 0.0),  # a level one
]


@pytest.mark.parametrize(("radius", "attack", "heading", "tilt", "pitch"), CASES)
def test_a_circular_barrel_path(
    radius: float, attack: float, heading: float, tilt: float, pitch: float, body_at_contact: np.ndarray, swing_by_hand
) -> None:
    # The ball flies toward -x: one that comes down (a negative angle) is higher where x is greater.
    circle, slope = Circle(radius, attack, heading, tilt), -np.tan(np.radians(pitch))
    ends = circle.zone(BASEBALL, slope)
    assert all(circle.toward_pitcher(q) for q in ends)
    swing = swing_on(circle, body_at_contact, swing_by_hand, Setup(pitch_angle_deg=pitch))
    measures = mocap.measure(swing, count=0).measures
    expected = radius * (ends[1] - ends[0])
    assert measures["hitting_zone"].value == pytest.approx(expected, abs=tolerance(circle, ends, slope))
    assert measures["attack_angle"].value == pytest.approx(attack, abs=0.05)
    assert measures["plane_match"].value == pytest.approx(attack + pitch, abs=0.05)
    assert measures["bat_speed"].value == pytest.approx(SPEED, rel=4e-3)


def test_without_error_only_the_method_s_uncertainty_remains(body_at_contact: np.ndarray, swing_by_hand) -> None:
    swing = swing_on(Circle(1.0, 12.0, 0.0, 10.0), body_at_contact, swing_by_hand, Setup(pitch_angle_deg=-8.0))
    measures = mocap.measure(swing).measures
    # A filter that takes next to nothing off this path adds next to nothing, to the speed less than half a per cent.
    for name, most in (("hitting_zone", 0.002), ("attack_angle", 0.15), ("plane_match", 0.15), ("bat_speed", 0.14)):
        assert 0.0 <= measures[name].sd ** 2 - REGISTRY[name].method_sd ** 2 < most**2


def test_where_the_barrel_turns_back_the_zone_ends(body_at_contact, swing_by_hand) -> None:
    """A late contact, the bat past square: the barrel comes round toward the hitter before it leaves the plane."""
    circle, slope = Circle(0.9, 8.0, 60.0, 8.0), np.tan(np.radians(8.0))
    before, after = circle.zone(BASEBALL, slope)
    along, inward = circle.axes
    back = np.arctan2(along[0], -inward[0])
    assert circle.toward_pitcher(before)
    assert 0 < back < after
    assert not circle.toward_pitcher(after)
    setup = Setup(pitch_angle_deg=-8.0)
    found = zone_of(swing_on(circle, body_at_contact, swing_by_hand, setup))
    # The place is found to the spacing of the path's points, a twentieth of a frame.
    fine = SPEED / RATE / 20
    within = tolerance(circle, (before, before), slope) + fine
    assert found == pytest.approx(circle.radius_m * (back - before), abs=within)


@pytest.mark.parametrize("tilt", [10.0, 25.0, 45.0])
def test_along_the_pitch_it_is_the_chord_of_its_sagitta(tilt: float, body_at_contact, swing_by_hand) -> None:
    radius, pitch = 0.95, -8.0
    circle, slope = Circle(radius, -pitch, 0.0, tilt), -np.tan(np.radians(pitch))
    # The circle's plane holds the pitch's line, so over it the barrel rises by its sagitta, seen at the plane's tilt.
    sagitta = BASEBALL * np.cos(np.radians(pitch)) / np.sin(np.radians(tilt))
    half_turn = np.arccos(1 - sagitta / radius)
    setup = Setup(pitch_angle_deg=pitch)
    found = zone_of(swing_on(circle, body_at_contact, swing_by_hand, setup))
    ends = circle.zone(BASEBALL, slope)
    assert ends == pytest.approx((-half_turn, half_turn), abs=1e-9)
    assert found == pytest.approx(2 * radius * half_turn, abs=tolerance(circle, ends, slope))


def test_softball_has_its_own_ball_and_bat(body_at_contact, swing_by_hand) -> None:
    circle, slope = Circle(1.0, 12.0, 0.0, 10.0), np.tan(np.radians(8.0))
    ends = circle.zone(SOFTBALL, slope)
    setup = Setup(pitch_angle_deg=-8.0, sport="softball")
    found = zone_of(swing_on(circle, body_at_contact, swing_by_hand, setup))
    assert found == pytest.approx(ends[1] - ends[0], abs=tolerance(circle, ends, slope))


@pytest.mark.parametrize("shift", [0.25, 0.5])
def test_contact_between_two_frames(shift: float, body_at_contact, swing_by_hand) -> None:
    circle, slope = Circle(1.0, 12.0, 0.0, 15.0), np.tan(np.radians(8.0))
    ends = circle.zone(BASEBALL, slope)
    setup = Setup(pitch_angle_deg=-8.0)
    swing = swing_on(circle, body_at_contact, swing_by_hand, setup, shift=shift)
    found = zone_of(swing)
    assert found == pytest.approx(ends[1] - ends[0], abs=tolerance(circle, ends, slope))
