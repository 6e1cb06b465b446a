"""Every registered measure, worked out from the continuous swing.

Written from the definitions alone and sharing no function with `mocap.kinematics`: positions are evaluated at the exact
time of a moment, greatest values are sought over continuous time, turning speeds and velocities are derivatives,
lengths of paths and sums over the turn are integrals. What a recording's rate, its filter and the finding of moments do
to a measure is therefore the difference between the product's value and this one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import pairwise

import numpy as np

from mocap.capture import FloatArray
from mocap.virtual.ground_truth import TRUE_GROUND, force_splines
from mocap.virtual.hands_truth import TRUE_OF_HANDS
from mocap.virtual.motion import Motion, rate_of
from mocap.virtual.truth_tools import Peak, angle, compass, elevation, greatest
from mocap.virtual.turns import LINES, Screws, screws, turning_speed

Value = float | str

#: From the end of the barrel to the sweet spot where nobody says otherwise. [m]
SWEET_SPOT_M = 0.15
#: Descent of the pitch where nobody says it. [deg]
PITCH_DEG = -8.0
#: Ball radius and barrel radius: half of 9 1/8 in over pi, and of 2.61 in (rule book). [m]
REACH_M = 0.0254 * (9.125 / np.pi + 2.61) / 2.0
#: Depth at which a pitch over the middle is met. [m]
MIDDLE_DEPTH_M = 0.10
#: The hitting zone ends at most this far from contact. [s]
ZONE_S = 0.15
#: Peaks of turning speed are sought from this long before plant. [s]
EARLY_S = 0.1
#: Two peaks closer than this are taken together. [s]
TOGETHER_S = 0.004
#: A bat below this elevation lies flat; a barrel this far ahead of the head is wrapped. [deg], [m]
FLAT_DEG, WRAPPED_M = 20.0, 0.05


@dataclass(frozen=True)
class Reading:
    """A swing and the times of its moments, which a test may move.

    Attributes
    ----------
    motion : Motion
    moments : mapping of str to float
        [s from plant]
    """

    motion: Motion
    moments: Mapping[str, float]

    @cached_property
    def _there(self) -> dict[str, dict[str, FloatArray]]:
        places = self.motion.points(np.array(list(self.moments.values())))
        return {moment: {name: path[i] for name, path in places.items()} for i, moment in enumerate(self.moments)}

    def point(self, name: str, moment: str) -> FloatArray:
        """A point at a moment, shape (3,). [m]"""
        return self._there[moment][name]

    def line(self, first: str, second: str, moment: str) -> FloatArray:
        """From one point to another at a moment, shape (3,). [m]"""
        return self.point(second, moment) - self.point(first, moment)

    def hands(self, moment: str) -> FloatArray:
        """Half way between the hands, shape (3,). [m]"""
        return 0.5 * (self.point("front_hand", moment) + self.point("back_hand", moment))

    def sweet_spot(self, moment: str) -> FloatArray:
        """Shape (3,). [m]"""
        return sweet_spot_path(self.motion, np.array([self.moments[moment]]))[0]

    @cached_property
    def _peaks(self) -> dict[str, Peak]:
        start, end = self.moments["plant"] - EARLY_S, self.moments["contact"]
        return {part: greatest(partial(turning_speed, self.motion, part), start, end) for part in LINES}

    @property
    def turn(self) -> tuple[float, float]:
        """Times of plant and contact. [s from plant]"""
        return self.moments["plant"], self.moments["contact"]

    def peak(self, part: str) -> Peak:
        """Greatest turning speed up to contact. [rad/s], [s from plant as moved]"""
        found = self._peaks[part]
        return Peak(found.value, found.time_s - self.moments["plant"])

    @cached_property
    def forces(self) -> Callable[[FloatArray], FloatArray]:
        """Forces under the front and the back foot, [s from plant] to shape (T, 6). [share of body weight]"""
        return force_splines(self.motion)

    @cached_property
    def _screws(self) -> dict[str, Screws]:
        return {part: screws(self.motion, part, *self.turn) for part in ("pelvis", "trunk")}

    def screws(self, part: str) -> Screws:
        """Helical axes over the turn."""
        return self._screws[part]


def measures_of(motion: Motion, moments: Mapping[str, float] | None = None) -> dict[str, Value]:
    """Every registered measure.

    Parameters
    ----------
    motion : Motion
    moments : mapping of str to float, optional
        Times to take in place of the exact ones, such as those of the nearest frames. [s from plant]

    Returns
    -------
    dict of str to float or str
        In the units of the registry.
    """
    reading = Reading(motion, {**motion.moments, **(moments or {})})
    return {name: function(reading) for name, function in TRUE_MEASURES.items()}


# ------------------------------------------------------------------ tools


def sweet_spot_path(motion: Motion, time: FloatArray) -> FloatArray:
    """Point on the bat's axis, `SWEET_SPOT_M` from the barrel's end, shape (T, 3). [m]"""
    points = motion.points(time)
    length = motion.hitter.parameters.barrel.bat_length_m
    share = 1.0 - SWEET_SPOT_M / length
    return points["bat_knob"] + share * (points["bat_barrel"] - points["bat_knob"])


def speed_of(path: Callable[[FloatArray], FloatArray], time: FloatArray) -> FloatArray:
    """Speed along a path, shape (T,). [m/s]"""
    return np.linalg.norm(rate_of(path, time), axis=-1)


# ------------------------------------------------------------------ landing


def share_on_back(reading: Reading, moment: str) -> float:
    """(x_front - x_com) / (x_front - x_back), feet half way from heel to ball. [-]"""
    front, back = (
        0.5 * (reading.point(f"{side}_heel", moment)[0] + reading.point(f"{side}_ball", moment)[0])
        for side in ("front", "back")
    )
    com = reading.motion.centre_of_mass(np.array([reading.moments[moment]]))[0, 0]
    return float((front - com) / (front - back))


def force_share(reading: Reading) -> float:
    """Vertical force under the back foot over that under both, front foot flat. [-]"""
    forces = reading.motion.forces(np.array([reading.moments["foot_flat"]]))
    return float(forces.back[0, 2] / forces.total[0, 2])


def separation(reading: Reading, moment: str) -> FloatArray:
    """From mid-hands to the front ankle over height, shape (3,). [-]"""
    gap: FloatArray = (reading.point("front_ankle", moment) - reading.hands(moment)) / reading.motion.height_m
    return gap


def knob_aim(reading: Reading) -> float:
    """Between the bat's line carried on through the knob and the line from the knob to the catcher's feet. [deg]"""
    p = reading.motion.hitter.parameters
    catcher = np.array([-p.plate_behind_m - p.catcher_behind_m, -p.barrel.plate_line_m, 0.0])
    return angle(reading.line("bat_barrel", "bat_knob", "plant"), catcher - reading.point("bat_knob", "plant"))


def bat_position(reading: Reading) -> str:
    """`wrapped`, `flat` or `tilted`."""
    if reading.line("head", "bat_barrel", "plant")[0] > WRAPPED_M:
        return "wrapped"
    return "flat" if elevation(reading.line("bat_knob", "bat_barrel", "plant")) < FLAT_DEG else "tilted"


def opening(reading: Reading, joint: str) -> float:
    """Heading of the line from the back to the front joint. [deg]"""
    return compass(reading.line(f"back_{joint}", f"front_{joint}", "plant"))


def foot_heading(reading: Reading, side: str, moment: str) -> float:
    """Heading of a foot from facing the plate. [deg]"""
    sole = reading.line(f"{side}_heel", f"{side}_ball", moment)
    # A quarter turn takes the direction that faces the plate to the pitcher's.
    return compass(np.array([-sole[1], sole[0], 0.0]))


def stride_length(reading: Reading) -> float:
    """Level distance between the ankles over height. [-]"""
    stride = reading.line("back_ankle", "front_ankle", "plant")
    return float(np.hypot(stride[0], stride[1])) / reading.motion.height_m


def bend(reading: Reading, side: str, moment: str) -> float:
    """Bend of a knee, 0 = straight. [deg]"""
    thigh = reading.line(f"{side}_hip", f"{side}_knee", moment)
    return angle(thigh, reading.line(f"{side}_knee", f"{side}_ankle", moment))


# ------------------------------------------------------------------ turn


def forward_after_plant(reading: Reading) -> float:
    """Farthest that the centre of mass gets toward the pitcher from plant to the finish, over height. [-]"""
    start = reading.moments["plant"]
    origin = reading.motion.centre_of_mass(np.array([start]))[0, 0]
    path = greatest(lambda t: reading.motion.centre_of_mass(t)[:, 0], start, reading.moments["finish"])
    return (path.value - float(origin)) / reading.motion.height_m


def axis_drift(reading: Reading) -> float:
    """Greatest level excursion of head, and of the middle between head and pelvis, plant to contact. [m]"""

    def off(share: float, time: FloatArray) -> FloatArray:
        points = reading.motion.trunk_points(np.append(time, reading.moments["plant"]))
        place = (points["pelvis"] + share * (points["head"] - points["pelvis"]))[:, :2]
        return np.linalg.norm(place[:-1] - place[-1], axis=-1)

    return max(greatest(partial(off, share), *reading.turn).value for share in (0.5, 1.0))


def screw_tilt(reading: Reading, part: str) -> float:
    """Between the mean direction of the helical axes over the turned angle and the vertical. [deg]"""
    found = reading.screws(part)
    mean = np.nansum(found.direction / found.step_s[:, None], axis=0)
    return angle(mean, np.array([0.0, 0.0, np.copysign(1.0, mean[2])]))


def screw_wander(reading: Reading, part: str) -> float:
    """Root mean square distance of the axes' crossings with the floor from their mean over the turned angle. [m]"""
    found = reading.screws(part)
    seen = np.isfinite(found.crossing).all(axis=1)
    # Every step turns by the same angle, so that one over its time tells the turning speed.
    x, y = (np.cov(axis[seen], ddof=0, aweights=1.0 / found.step_s[seen]) for axis in found.crossing.T)
    return float(np.sqrt(x + y))


def screw_slide(reading: Reading, part: str) -> float:
    """Rise along the axes, their rate summed over the turn. [m]"""
    found = reading.screws(part)
    rate = np.nan_to_num(found.slide_m * np.sign(found.direction[:, 2]) / found.step_s)
    return float(rate.sum() * found.every_s)


def sequence(reading: Reading) -> str:
    """Segments in the order of their peaks, `=` between two that fall together."""
    times = {part: reading.peak(part).time_s for part in LINES}
    order = sorted(times, key=times.__getitem__)
    signs = (" = " if times[after] - times[before] < TOGETHER_S else " > " for before, after in pairwise(order))
    return order[0] + "".join(sign + part for sign, part in zip(signs, order[1:], strict=True))


def back_heel_lift(reading: Reading) -> float:
    """Height of the back heel at contact over that in the stance. [m]"""
    return float(reading.point("back_heel", "contact")[2] - reading.point("back_heel", "stance")[2])


def head_shift(reading: Reading) -> float:
    """Distance between the head's places at plant and at contact. [m]"""
    return float(np.linalg.norm(reading.point("head", "contact") - reading.point("head", "plant")))


# ------------------------------------------------------------------ barrel


def bat_speed(reading: Reading) -> float:
    """Greatest speed of the sweet spot, plant to contact. [m/s]"""
    return greatest(lambda t: speed_of(partial(sweet_spot_path, reading.motion), t), *reading.turn).value


def hand_speed(reading: Reading) -> float:
    """Greatest speed of mid-hands, plant to contact. [m/s]"""

    def hands(time: FloatArray) -> FloatArray:
        points = reading.motion.points(time)
        return 0.5 * (points["front_hand"] + points["back_hand"])

    return greatest(lambda t: speed_of(hands, t), *reading.turn).value


def attack_angle(reading: Reading) -> float:
    """Elevation of the sweet spot's velocity at contact. [deg]"""
    at = np.array([reading.moments["contact"]])
    return elevation(rate_of(partial(sweet_spot_path, reading.motion), at)[0])


def level_early(reading: Reading) -> float:
    """Elevation of the bat over the plane of the pitch, which comes down toward the plate, at `level`. [deg]"""
    down = np.radians(PITCH_DEG)
    # Across the plate and along the ball's way lie in the plane.
    normal = np.cross(np.array([np.cos(down), 0.0, -np.sin(down)]), np.array([0.0, 1.0, 0.0]))
    return 90.0 - angle(reading.line("bat_knob", "bat_barrel", "level"), normal)


def contact_depth(reading: Reading) -> float:
    """Sweet spot ahead of the front ankle at contact. [m]"""
    return float(reading.sweet_spot("contact")[0] - reading.point("front_ankle", "contact")[0])


def extension_reach(reading: Reading) -> float:
    """Way of the sweet spot toward the pitcher from contact to extension. [m]"""
    return float(reading.sweet_spot("extension")[0] - reading.sweet_spot("contact")[0])


def zone_span(motion: Motion, contact: float) -> tuple[float, float]:
    """When the sweet spot enters and leaves the hitting zone around contact. [s from plant]

    Inside, it is within ball radius plus barrel radius over or under the pitch's line through its place at contact, and
    moves toward the pitcher.
    """
    from scipy.optimize import brentq

    ball = sweet_spot_path(motion, np.array([contact]))[0]
    slope = float(np.tan(np.radians(PITCH_DEG)))

    def room(time: FloatArray) -> FloatArray:
        """Positive inside: what is left of the reach, and the speed toward the pitcher."""
        spot = sweet_spot_path(motion, time)
        # The ball flies toward -x and comes down by the slope.
        off = spot[:, 2] - (ball[2] - slope * (spot[:, 0] - ball[0]))
        toward = rate_of(partial(sweet_spot_path, motion), time)[:, 0]
        return np.minimum(REACH_M - np.abs(off), toward)

    ends = []
    for sign in (-1.0, 1.0):
        time = contact + sign * np.linspace(0.0, ZONE_S, 101)
        outside = np.flatnonzero(room(time) <= 0.0)
        if not len(outside):
            ends.append(float(time[-1]))
            continue
        first = int(outside[0])
        ends.append(float(brentq(lambda t: float(room(np.array([t]))[0]), time[first - 1], time[first], xtol=1e-9)))
    return ends[0], ends[1]


def hitting_zone(reading: Reading) -> float:
    """Length of the sweet spot's path through the hitting zone. [m]"""
    entry, leave = zone_span(reading.motion, reading.moments["contact"])
    nodes, weights = np.polynomial.legendre.leggauss(40)
    contact, length = reading.moments["contact"], 0.0
    # The blow bends the speed at contact, so that the two sides are integrated apart.
    for start, end in ((entry, contact), (contact, leave)):
        time = start + 0.5 * (end - start) * (nodes + 1.0)
        speed = speed_of(partial(sweet_spot_path, reading.motion), time)
        length += 0.5 * (end - start) * float(weights @ speed)
    return length


# ------------------------------------------------------------------ the table

#: Every registered measure by its name.
TRUE_MEASURES: Mapping[str, Callable[[Reading], Value]] = {
    "back_share": lambda r: share_on_back(r, "plant"),
    "back_force_share": force_share,
    "separation_length": lambda r: float(np.linalg.norm(separation(r, "plant"))),
    "separation_gain": lambda r: float((separation(r, "plant") - separation(r, "stance"))[0]),
    "knob_aim": knob_aim,
    "bat_elevation": lambda r: elevation(r.line("bat_knob", "bat_barrel", "plant")),
    "bat_position": bat_position,
    "foot_open": lambda r: foot_heading(r, "front", "plant"),
    "pelvis_open": lambda r: opening(r, "hip"),
    "trunk_open": lambda r: opening(r, "shoulder"),
    "hip_shoulder_separation": lambda r: opening(r, "hip") - opening(r, "shoulder"),
    "stride_length": stride_length,
    "stride_direction": lambda r: opening(r, "ankle"),
    "front_knee_flexion": lambda r: bend(r, "front", "plant"),
    "back_knee_flexion": lambda r: bend(r, "back", "plant"),
    "forward_after_plant": forward_after_plant,
    "axis_drift": axis_drift,
    "axis_tilt": lambda r: 90.0 - elevation(r.line("pelvis", "head", "contact")),
    "turn_axis_tilt": lambda r: screw_tilt(r, "trunk"),
    "turn_axis_wander": lambda r: screw_wander(r, "trunk"),
    "turn_axis_slide": lambda r: screw_slide(r, "trunk"),
    "pelvis_turn_axis_tilt": lambda r: screw_tilt(r, "pelvis"),
    "pelvis_turn_axis_wander": lambda r: screw_wander(r, "pelvis"),
    "pelvis_turn_axis_slide": lambda r: screw_slide(r, "pelvis"),
    "sequence": sequence,
    "pelvis_turn_speed": lambda r: float(np.degrees(r.peak("pelvis").value)),
    "pelvis_turn_time": lambda r: r.peak("pelvis").time_s,
    "trunk_turn_speed": lambda r: float(np.degrees(r.peak("trunk").value)),
    "trunk_turn_time": lambda r: r.peak("trunk").time_s,
    "arm_turn_speed": lambda r: float(np.degrees(r.peak("arm").value)),
    "arm_turn_time": lambda r: r.peak("arm").time_s,
    "bat_turn_speed": lambda r: float(np.degrees(r.peak("bat").value)),
    "bat_turn_time": lambda r: r.peak("bat").time_s,
    "front_knee_extension": lambda r: bend(r, "front", "plant") - bend(r, "front", "contact"),
    "front_leg_at_contact": lambda r: bend(r, "front", "contact"),
    "back_heel_lift": back_heel_lift,
    "back_foot_turn": lambda r: foot_heading(r, "back", "contact"),
    "head_shift": head_shift,
    "finish_balance": lambda r: share_on_back(r, "finish"),
    "bat_speed": bat_speed,
    "hand_speed": hand_speed,
    "attack_angle": attack_angle,
    "pitch_angle": lambda _: PITCH_DEG,
    "plane_match": lambda r: attack_angle(r) + PITCH_DEG,
    "hitting_zone": hitting_zone,
    "level_early": level_early,
    "contact_depth": contact_depth,
    "depth_for_pitch": lambda r: contact_depth(r) - MIDDLE_DEPTH_M,
    "extension_reach": extension_reach,
    **TRUE_OF_HANDS,
    **TRUE_GROUND,
}
