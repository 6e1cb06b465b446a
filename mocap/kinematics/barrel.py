"""Measures of the barrel: speed, path, plane and hitting zone."""

from __future__ import annotations

import tomllib
from functools import lru_cache

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.kinematics.geometry import unit
from mocap.kinematics.landing import BAT, DEFINITION, HANDS
from mocap.kinematics.moments import USUAL_DEPTH
from mocap.kinematics.registry import NotMeasurableError, at, measure, mid_hands, span, sweet_spot, velocity
from mocap.swing import Swing

#: Descent of a pitch at the plate where the session does not say it. [deg] About 8 degrees down: common practice,
#: no source; measured major-league pitches come down at 5 to 10 degrees on average, by kind of pitch.
USUAL_PITCH_DEG = -8.0
#: The zone is looked for this far around contact. [s] This project's default.
ZONE_REACH_S = 0.15
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


def zone_span(swing: Swing) -> tuple[int, int] | None:
    """First and last frame around contact in which the sweet spot stays in the pitch's vertical reach.

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    (first, last) or None
        Both inside; None where there is no bat or no contact.
    """
    if swing.index("contact") is None or not swing.has(*BAT):
        return None
    contact = at(swing, "contact")
    spot = sweet_spot(swing)
    inside = np.abs(spot[:, 2] - pitch_line_height(swing, spot[:, 0])) <= zone_half_height()
    inside &= velocity(spot, swing)[:, 0] > 0
    if not inside[contact]:
        return contact, contact
    before, after = np.flatnonzero(~inside[:contact]), np.flatnonzero(~inside[contact:])
    first = int(before[-1]) + 1 if len(before) else 0
    last = contact + int(after[0]) - 1 if len(after) else len(inside) - 1
    return first, last


@measure("bat_speed", "m/s", "Bat speed", moments=TURN, points=BAT, source=DEFINITION)
def bat_speed(swing: Swing) -> float:
    """Greatest speed of the sweet spot up to contact."""
    return float(np.nanmax(np.linalg.norm(velocity(sweet_spot(swing), swing)[span(swing, *TURN)], axis=1)))


@measure("hand_speed", "m/s", "Hand speed", moments=TURN, points=HANDS, source=DEFINITION)
def hand_speed(swing: Swing) -> float:
    """Greatest speed of mid-hands up to contact."""
    return float(np.nanmax(np.linalg.norm(velocity(mid_hands(swing), swing)[span(swing, *TURN)], axis=1)))


@measure("attack_angle", "deg", "Attack angle", moments=CONTACT, points=BAT, source=DEFINITION)
def attack_angle(swing: Swing) -> float:
    """Elevation of the sweet spot's velocity just before contact."""
    v = velocity(sweet_spot(swing), swing)[at(swing, "contact")]
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
    contact = at(swing, "contact")
    before, after = (_inside_length(swing, contact, step) for step in (-1, 1))
    return before + after


def _inside_length(swing: Swing, contact: int, step: int) -> float:
    """Length of the path from contact forward (1) or backward (-1) in time until it leaves the zone. [m]"""
    from scipy.interpolate import CubicSpline

    frames = int(ZONE_REACH_S * swing.rate_hz)
    spot = (
        sweet_spot(swing)[contact : contact + frames + 1] if step > 0 else sweet_spot(swing)[contact::-1][: frames + 1]
    )
    spot = spot[: int(np.argmin(np.isfinite(spot).all(axis=1))) or len(spot)]
    if len(spot) < 4:
        raise NotMeasurableError("the bat is not seen around contact")
    # Between frames the barrel moves by 10 cm and more, so the edge of the zone is looked for on a spline.
    fine = CubicSpline(np.arange(len(spot)), spot)(np.arange(0, len(spot) - 1 + 1e-9, 0.05))
    off = np.abs(fine[:, 2] - pitch_line_height(swing, fine[:, 0])) - zone_half_height()
    inside = off <= 0
    inside[1:] &= np.diff(fine[:, 0]) * step > 0
    steps = np.linalg.norm(np.diff(fine, axis=0), axis=1)
    if inside.all():
        return float(steps.sum())
    last = int(np.argmin(inside)) - 1
    rest = steps[last] * off[last] / (off[last] - off[last + 1]) if off[last + 1] > 0 else 0.0
    return float(steps[:last].sum() + rest)


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
