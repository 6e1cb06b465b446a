"""Measures of the barrel: speed, path, plane and hitting zone."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.kinematics.filtering import split_derivative
from mocap.kinematics.geometry import unit
from mocap.kinematics.landing import BAT, DEFINITION, HANDS
from mocap.kinematics.moments import STRUCK, USUAL_DEPTH
from mocap.kinematics.registry import NotMeasurableError, at, greatest, measure, mid_hands, span, sweet_spot, velocity
from mocap.swing import Swing

#: Descent of a pitch at the plate where the session does not say it. [deg] About 8 degrees down: common practice,
#: no source; measured major-league pitches come down at 5 to 10 degrees on average, by kind of pitch.
USUAL_PITCH_DEG = -8.0
#: The zone is looked for this far around contact. [s] This project's default.
ZONE_REACH_S = 0.15
#: Points of the path per frame there.
FINE = 20
TURN = ("plant", "contact")
CONTACT = ("contact",)


@lru_cache(maxsize=1)
def zone_half_height() -> float:
    """Ball radius plus barrel radius, from ``assets/tables/rule_book.toml``. [m]"""
    sizes = tomllib.loads(asset("tables", "rule_book.toml").read_text(encoding="utf-8"))["baseball"]
    return float(sizes["ball_radius_m"] + sizes["barrel_radius_m"])


def pitch_line_height(swing: Swing, x: FloatArray) -> FloatArray:
    """Height of the pitch's line at places along x: straight, through the sweet spot at contact. [m]"""
    spot = sweet_spot(swing)[at(swing, "contact")]
    # The ball flies toward -x; a pitch that comes down (negative angle) is higher where x is greater.
    height: FloatArray = spot[2] - np.tan(np.radians(pitch_descent_deg(swing))) * (x - spot[0])
    return height


def pitch_descent_deg(swing: Swing) -> float:
    """Angle of the pitch at the plate, negative = downward: as given, else the usual one. [deg]"""
    given = swing.setup.pitch_angle_deg
    return USUAL_PITCH_DEG if given is None else given


@dataclass(frozen=True)
class ZonePath:
    """The sweet spot's path through the hitting zone.

    Attributes
    ----------
    path : ndarray, shape (N, 3)
        From where it enters the zone to where it leaves it, hitting frame. [m]
    first_frame : int
        The first frame inside.
    """

    path: FloatArray
    first_frame: int

    @property
    def length(self) -> float:
        """Length of the path. [m]"""
        return float(np.linalg.norm(np.diff(self.path, axis=0), axis=1).sum())


def zone_path(swing: Swing) -> ZonePath:
    """The sweet spot's path around contact, as long as it stays within the pitch's vertical reach.

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    ZonePath

    Raises
    ------
    NotMeasurableError
        No contact, or the bat is not seen around it.

    Notes
    -----
    Inside is where the height over or under the pitch's line is at most ball radius plus barrel radius and the sweet
    spot moves toward the pitcher.
    """
    contact = at(swing, "contact")
    before, after = (_inside_path(swing, contact, step) for step in (-1, 1))
    first = contact - (len(before) - 1) // FINE
    return ZonePath(np.concatenate([before[::-1], after[1:]]), first)


def _inside_path(swing: Swing, contact: int, step: int) -> FloatArray:
    """Path from contact forward (1) or backward (-1) in time up to where it leaves the zone, shape (N, 3). [m]"""
    from scipy.interpolate import CubicSpline

    spot = sweet_spot(swing)
    spot = (spot[contact:] if step > 0 else spot[contact::-1])[: int(ZONE_REACH_S * swing.rate_hz) + 1]
    seen = np.isfinite(spot).all(axis=1)
    spot = spot if seen.all() else spot[: int(np.argmin(seen))]
    if len(spot) < 4:
        raise NotMeasurableError("the bat is not seen around contact")
    # Between frames the barrel moves by 10 cm and more, so the edge of the zone is looked for on a spline.
    fine = CubicSpline(np.arange(len(spot)), spot)(np.arange((len(spot) - 1) * FINE + 1) / FINE)
    off = np.abs(fine[:, 2] - pitch_line_height(swing, fine[:, 0])) - zone_half_height()
    inside = off <= 0
    inside[1:] &= np.diff(fine[:, 0]) * step > 0
    if inside.all():
        return fine
    last = int(np.argmin(inside)) - 1
    if off[last + 1] <= 0:  # it leaves by turning back
        return fine[: last + 1]
    edge = fine[last] + (fine[last + 1] - fine[last]) * off[last] / (off[last] - off[last + 1])
    return np.concatenate([fine[: last + 1], edge[None]])


@measure("bat_speed", "m/s", "Bat speed", moments=TURN, points=BAT, source=DEFINITION)
def bat_speed(swing: Swing) -> float:
    """Greatest speed of the sweet spot up to contact."""
    return greatest(np.linalg.norm(velocity(sweet_spot(swing), swing)[span(swing, *TURN)], axis=1))


@measure("hand_speed", "m/s", "Hand speed", moments=TURN, points=HANDS, source=DEFINITION)
def hand_speed(swing: Swing) -> float:
    """Greatest speed of mid-hands up to contact."""
    return greatest(np.linalg.norm(velocity(mid_hands(swing), swing)[span(swing, *TURN)], axis=1))


@measure("attack_angle", "deg", "Attack angle", moments=CONTACT, points=BAT, source=DEFINITION)
def attack_angle(swing: Swing) -> float:
    """Elevation of the sweet spot's velocity just before contact."""
    contact = at(swing, "contact")
    path = sweet_spot(swing)
    if swing.moments["contact"].method in STRUCK:  # the last difference before the blow, taken to the second order
        v = split_derivative(path, swing.rate_hz, contact)[contact]
    else:
        v = velocity(path, swing)[contact]
    return float(np.degrees(np.arctan2(v[2], np.hypot(v[0], v[1]))))


@measure(
    "pitch_angle",
    "deg",
    "Pitch's descent at the plate",
    moments=CONTACT,
    points=BAT,
    source="given, else common practice",
)
def pitch_angle(swing: Swing) -> float:
    """As given in the session, else 8 degrees down, which is common practice for a fastball."""
    return pitch_descent_deg(swing)


@measure("plane_match", "deg", "Swing plane against pitch plane", moments=CONTACT, points=BAT, source=DEFINITION)
def plane_match(swing: Swing) -> float:
    """`attack_angle` plus the signed `pitch_angle`; 0 = on the pitch's plane."""
    return float(attack_angle(swing)) + pitch_descent_deg(swing)


@measure("hitting_zone", "m", "Barrel in the hitting zone", moments=CONTACT, points=BAT, source=DEFINITION)
def hitting_zone(swing: Swing) -> float:
    """Length of the sweet spot's path around contact within ball radius plus barrel radius of the pitch's line."""
    return zone_path(swing).length


@measure(
    "level_early",
    "deg",
    "Barrel to pitch plane as the hands pass the body",
    moments=("level",),
    points=BAT,
    source=DEFINITION,
)
def level_early(swing: Swing) -> float:
    """Angle between the bat and the plane that holds the pitch's line and the width of the plate, at `level`."""
    frame = at(swing, "level")
    axis = unit(swing["bat_barrel"][frame] - swing["bat_knob"][frame])
    descent = np.radians(pitch_descent_deg(swing))
    normal = np.array([np.sin(descent), 0.0, np.cos(descent)])
    return float(np.degrees(np.arcsin(axis @ normal)))


@measure(
    "contact_depth",
    "m",
    "Contact in front of the front foot",
    moments=CONTACT,
    points=(*BAT, "front_ankle"),
    source=DEFINITION,
)
def contact_depth(swing: Swing) -> float:
    """x of the sweet spot minus x of the front foot."""
    if swing.moments["contact"].method == USUAL_DEPTH:
        raise NotMeasurableError("contact itself was taken from the usual depth, as no impact was seen")
    frame = at(swing, "contact")
    return float(sweet_spot(swing)[frame, 0] - swing["front_ankle"][frame, 0])


@measure(
    "extension_reach",
    "m",
    "Barrel's reach through the ball",
    moments=("contact", "extension"),
    points=BAT,
    source=DEFINITION,
)
def extension_reach(swing: Swing) -> float:
    """Distance toward the pitcher that the sweet spot travels from contact until the elbows are straight."""
    spot = sweet_spot(swing)
    return float(spot[at(swing, "extension"), 0] - spot[at(swing, "contact"), 0])
