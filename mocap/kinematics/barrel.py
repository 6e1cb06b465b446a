"""Measures of the barrel: speed, path, plane and hitting zone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.landing import BAT, DEFINITION, HANDS
from mocap.kinematics.moments import EXPECTED_DEPTHS, USUAL_DEPTH
from mocap.kinematics.pitch import descent, zone_half_height
from mocap.kinematics.readings import NotMeasurableError, Readings, greatest, readings
from mocap.kinematics.registry import measure
from mocap.swing import Swing

#: The zone is looked for this far around contact. [s] This project's default.
ZONE_REACH_S = 0.15
#: Points of the path per frame there: between frames the barrel moves by 10 cm and more.
FINE = 20
#: What the polynomial through the last frames before a blow makes of the sweet spot's speed [m/s], its direction [deg]
#: and its way through the zone [m], one standard deviation: posed swings at 240 Hz.
LAST_FRAMES_SD = (0.25, 0.68, 0.0042)
TURN = ("plant", "contact")
CONTACT = ("contact",)


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
    spot moves toward the pitcher. The line is straight and goes through the sweet spot at contact.
    """
    before, after = (_half_zone(readings(swing, descent(swing.setup).angle_deg), step) for step in (-1, 1))
    paths = [np.concatenate([half.path[0, : half.last[0] + 1], half.edge]) for half in (before, after)]
    contact = swing.moments["contact"].index
    assert contact is not None  # _half_zone raises where it was not found
    return ZonePath(np.concatenate([paths[0][::-1], paths[1][1:]]), contact - int(before.last[0]) // FINE)


@dataclass(frozen=True)
class _HalfZone:
    """Path from contact one way in time, shape (N, K, 3), the last place inside, and the zone's edge, shape (N, 3)."""

    path: FloatArray
    last: np.ndarray[tuple[int], np.dtype[np.intp]]
    edge: FloatArray

    @property
    def length(self) -> FloatArray:
        """Shape (N,). [m]"""
        rows = np.arange(len(self.path))
        steps = np.linalg.norm(np.diff(self.path, axis=1), axis=2)
        along = np.concatenate([np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)], axis=1)[rows, self.last]
        length: FloatArray = along + np.linalg.norm(self.edge - self.path[rows, self.last], axis=1)
        return length


def _half_zone(r: Readings, step: int) -> _HalfZone:
    """Follow the sweet spot from contact forward (1) or backward (-1) in time to where it leaves the zone."""
    contact = r.time("contact") * r.rate_hz - r.first_frame
    times = contact[:, None] + step * np.arange(int(ZONE_REACH_S * r.rate_hz) * FINE + 1) / FINE
    path = r.read(r.sweet_spot, times, bat=True)
    if step > 0 and r.seam is not None:
        path = _joined(r, path, times)
    if not np.isfinite(path[0, : FINE + 1]).all():
        raise NotMeasurableError("the bat is not seen around contact")
    off = np.abs(path[..., 2] - pitch_line_height(r, path[..., 0])) - zone_half_height(r.swing.setup.sport)
    inside = off <= 0.0
    inside[:, 1:] &= np.diff(path[..., 0], axis=1) * step > 0.0
    inside[:, 0] = True
    rows, out = np.arange(len(path)), np.argmin(inside, axis=1)
    last = np.where(inside.all(axis=1), path.shape[1] - 1, out - 1)
    beyond = np.minimum(last + 1, path.shape[1] - 1)
    near, far = off[rows, last], off[rows, beyond]
    # It ends between two places where it leaves the reach, at the last one where it turns back or is lost.
    leaves = far > 0.0
    share = np.where(leaves, near / np.where(leaves, near - far, 1.0), 0.0)[:, None]
    here = path[rows, last]
    return _HalfZone(path, last, here + np.where(share > 0.0, share * (path[rows, beyond] - here), 0.0))


def _joined(r: Readings, path: FloatArray, times: FloatArray) -> FloatArray:
    """The path after a blow, from contact to the next frame through the place of contact and the three frames after."""
    assert r.seam is not None
    nodes = np.concatenate([times[:, :1], np.broadcast_to(r.seam + np.arange(1.0, 4.0), (len(times), 3))], axis=1)
    places = np.concatenate([path[:, :1], r.sweet_spot[:, r.seam + 1 : r.seam + 4]], axis=1)
    if places.shape[1] < 4:
        return path
    gap = nodes[:, :, None] - nodes[:, None, :] + np.eye(4)
    away = times[..., None] - nodes[:, None, :]
    # Lagrange's weight of each node: the product over the others.
    weights = np.stack(
        [np.prod(np.delete(away, k, axis=2), axis=2) / np.prod(gap[:, k], axis=1)[:, None] for k in range(4)], axis=2
    )
    between = np.einsum("ntk,nkj->ntj", weights, places)
    early = (times < nodes[:, 1:2]) & (nodes[:, 1:2] > nodes[:, :1])
    return np.where(early[..., None], between, path)


def pitch_line_height(r: Readings, x: FloatArray) -> FloatArray:
    """Height of the pitch's line at places along x, shape (N, K): straight, through the sweet spot at contact. [m]"""
    spot = r.sweet_spot_at("contact")
    # The ball flies toward -x; a pitch that comes down (negative angle) is higher where x is greater.
    height: FloatArray = spot[:, 2:] - np.tan(np.radians(r.pitch_deg))[:, None] * (x - spot[:, :1])
    return height


@measure(
    "bat_speed",
    "m/s",
    "Bat speed",
    moments=TURN,
    points=BAT,
    source=DEFINITION,
    method_sd=LAST_FRAMES_SD[0],
    by_frames=2.2,
)
def bat_speed(r: Readings) -> FloatArray:
    """Greatest speed of the sweet spot up to contact."""
    return greatest(np.linalg.norm(r.read(r.sweet_spot, r.times(*TURN), bat=True, rate=True), axis=-1))[0]


@measure(
    "hand_speed",
    "m/s",
    "Hand speed",
    moments=TURN,
    points=HANDS,
    source=DEFINITION,
    method_sd=0.075,  # a skeleton of constant lengths on joints 10 mm off: posed swings
)
def hand_speed(r: Readings) -> FloatArray:
    """Greatest speed of mid-hands up to contact."""
    return greatest(np.linalg.norm(r.read(r.hands, r.times(*TURN), rate=True), axis=-1))[0]


def _elevation_at_contact(r: Readings) -> FloatArray:
    contact = r.time("contact") * r.rate_hz - r.first_frame
    v = r.read(r.sweet_spot, contact[:, None], bat=True, rate=True)[:, 0]
    return np.degrees(np.arctan2(v[:, 2], np.hypot(v[:, 0], v[:, 1])))


@measure(
    "attack_angle",
    "deg",
    "Attack angle",
    moments=CONTACT,
    points=BAT,
    source=DEFINITION,
    method_sd=LAST_FRAMES_SD[1],
)
def attack_angle(r: Readings) -> FloatArray:
    """Elevation of the sweet spot's velocity at contact; of one that was seen, just before the blow."""
    return _elevation_at_contact(r)


@measure(
    "pitch_angle",
    "deg",
    "Pitch's descent at the plate",
    moments=CONTACT,
    points=BAT,
    source="given; else from the pitch's speed, release and spin; else common practice",
)
def pitch_angle(r: Readings) -> FloatArray:
    """Angle of the pitch at the plate, negative is downward; see `mocap.kinematics.pitch`."""
    return r.pitch_deg


@measure(
    "plane_match",
    "deg",
    "Swing plane against pitch plane",
    moments=CONTACT,
    points=BAT,
    source=DEFINITION,
    method_sd=LAST_FRAMES_SD[1],
)
def plane_match(r: Readings) -> FloatArray:
    """`attack_angle` plus the signed `pitch_angle`; 0 = on the pitch's plane."""
    return _elevation_at_contact(r) + r.pitch_deg


@measure(
    "hitting_zone",
    "m",
    "Barrel in the hitting zone",
    moments=CONTACT,
    points=BAT,
    source=DEFINITION,
    method_sd=LAST_FRAMES_SD[2],
    by_frames=1.0,
)
def hitting_zone(r: Readings) -> FloatArray:
    """Length of the sweet spot's path around contact within ball radius plus barrel radius of the pitch's line."""
    length: FloatArray = _half_zone(r, -1).length + _half_zone(r, 1).length
    return length


@measure(
    "level_early",
    "deg",
    "Barrel to pitch plane as the hands pass the body",
    moments=("level",),
    points=BAT,
    source=DEFINITION,
)
def level_early(r: Readings) -> FloatArray:
    """Angle between the bat and the plane that holds the pitch's line and the width of the plate, at `level`."""
    down = np.radians(r.pitch_deg)
    normal = np.stack([np.sin(down), np.zeros_like(down), np.cos(down)], axis=1)
    return np.degrees(np.arcsin(np.sum(r.bat_at("level") * normal, axis=1)))


def _depth(r: Readings) -> FloatArray:
    if r.swing.moments["contact"].method == USUAL_DEPTH:
        raise NotMeasurableError("contact itself was taken from the usual depth, as no impact was seen")
    depth: FloatArray = r.sweet_spot_at("contact")[:, 0] - r.at("front_ankle", "contact")[:, 0]
    return depth


@measure(
    "contact_depth",
    "m",
    "Contact in front of the front foot",
    moments=CONTACT,
    points=(*BAT, "front_ankle"),
    source=DEFINITION,
    drawn_share=0.95,  # the blow is placed a little better than its standard deviation says: posed swings
)
def contact_depth(r: Readings) -> FloatArray:
    """x of the sweet spot minus x of the front foot."""
    return _depth(r)


@measure(
    "depth_for_pitch",
    "m",
    "Contact in front of where the pitch is met",
    moments=CONTACT,
    points=(*BAT, "front_ankle"),
    source="depth by where the pitch crosses the plate: common practice, no source",
    drawn_share=0.95,
)
def depth_for_pitch(r: Readings) -> FloatArray:
    """`contact_depth` minus that at which a pitch over this part of the plate is met; positive = farther in front."""
    location = r.swing.setup.pitch_location
    if location is None:
        raise NotMeasurableError("nobody said whether the pitch was inside, over the middle or away")
    return _depth(r) - EXPECTED_DEPTHS[location]


@measure(
    "extension_reach",
    "m",
    "Barrel's reach through the ball",
    moments=("contact", "extension"),
    points=BAT,
    source=DEFINITION,
)
def extension_reach(r: Readings) -> FloatArray:
    """Distance toward the pitcher that the sweet spot travels from contact until the elbows are straight."""
    reach: FloatArray = r.sweet_spot_at("extension")[:, 0] - r.sweet_spot_at("contact")[:, 0]
    return reach
