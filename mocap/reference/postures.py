"""A body of unit height that can be posed at any time: pelvis, trunk, hands and bat over the settled feet and turns."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.reference import proportions
from mocap.reference.limbs import heading_vectors, limb_length, middle_joint, rad, wrist
from mocap.reference.parameters import SwingParameters
from mocap.reference.script import BAT_TURN_KEYS, Script, Setting
from mocap.reference.tracks import Turn, impact_lag, over, step

#: Middle of each hand from the knob's end. [m]
GRIPS = {"front": 0.050, "back": 0.140}

#: An arm gives way before it locks: the least flexion of the elbow, and how softly it is kept. [deg], [share of height]
LEAST_ELBOW_DEG, ARM_SOFTNESS = 9.0, 0.004

#: Hands that are wanted still farther or nearer than an arm allows, from wrist to shoulder: where they begin to lag
#: behind, and how softly. [share of height] The elbow stays between some 12 and 148 degrees.
FAR_WRIST, FAR_EASE, NEAR_WRIST, NEAR_EASE = 0.3155, 0.012, 0.1035, 0.036

#: The pelvis sinks before a knee locks: from this flexion on, over this much of the leg's length. The back leg, which
#: is the longer one in a wide stride, begins earlier and so moves more slowly. [deg], [share of height]
YIELDING_KNEES = {"front": (12.2, 0.0040), "back": (30.0, 0.0300)}

#: The body goes back as the hands go forward from the neck, and forward as they go back, by this share of their way:
#: what the arms gain the body loses, and the floor pushes evenly. About the part of the body's mass that goes with the
#: hands (0.049 by de Leva 1996). This project's own choice.
RECOIL = 0.045

#: How softly the bat is kept off the head, in radians or the like; it is while it points toward the head.
CLEARANCE_EASE = 0.10

#: How far the barrel lies over the swing plane as the hands pass the body line. [rad]
BAT_OVER_AT_LEVEL = 0.02


@dataclass(frozen=True)
class Unknowns:
    """What the targets decide.

    Attributes
    ----------
    pelvis : ndarray, shape (6, 3)
        Pelvis centre at `BODY_KEYS`, were the hands at the neck, before it sinks for a leg that is too short. [share of
        height]
    hands : ndarray, shape (3,)
        Mid-hands in the trunk at contact. [share of height]
    bat_turn_speed : float
        Greatest speed of the bat's turn in its plane. [rad/s]
    plane_rise : float
        Elevation of the swing plane toward the pitcher. [rad]
    """

    pelvis: FloatArray
    hands: FloatArray
    bat_turn_speed: float
    plane_rise: float

    @classmethod
    def from_vector(cls, vector: FloatArray) -> Unknowns:
        """From a vector of 23 numbers of like size."""
        return cls(vector[:18].reshape(6, 3), vector[18:21], 100.0 * float(vector[21]), float(vector[22]))

    def vector(self) -> FloatArray:
        """The inverse of `from_vector`."""
        return np.concatenate([self.pelvis.ravel(), self.hands, [self.bat_turn_speed / 100.0, self.plane_rise]])


@dataclass(frozen=True)
class Held:
    """How far a body is held back from where its unknowns would have it.

    Attributes
    ----------
    pelvis : ndarray, shape (T, 3)
        By which the pelvis has sunk, as a leg is too short for more. [share of height]
    hands : ndarray, shape (T, 3)
        By which the hands lag behind, as an arm is too short or folded too far for more. [share of height]
    """

    pelvis: FloatArray
    hands: FloatArray


@dataclass(frozen=True)
class Postures:
    """A body of unit height that can be posed at any time.

    Attributes
    ----------
    script : Script
    unknowns : Unknowns
    """

    script: Script
    unknowns: Unknowns

    @property
    def parameters(self) -> SwingParameters:
        """What it is posed from."""
        return self.script.parameters

    def points(self, time: FloatArray) -> dict[str, FloatArray]:
        """Every point by name, each of shape (T, 3), at times from plant. [share of height]"""
        return self.posed(self.script.at(time))

    def posed(self, setting: Setting) -> dict[str, FloatArray]:
        """Every point by name, each of shape (T, 3). [share of height]"""
        return self.posed_and_held(setting)[0]

    def posed_and_held(self, setting: Setting) -> tuple[dict[str, FloatArray], Held]:
        """Every point by name, and by how much the limbs' reach held them back."""
        lengths = proportions.DE_LEVA_1996
        points, axes = self._trunk(setting)
        points |= setting.feet
        for side, pole in setting.knee_poles.items():
            points[f"{side}_knee"] = middle_joint(
                points[f"{side}_hip"], points[f"{side}_ankle"], lengths["thigh"], lengths["shank"], pole
            )
        wanted = self._hands(setting, points["neck"], axes)
        bat = self._clear_of_head(self._bat(setting), points["head"] - wanted, axes[:, :, 0], setting.time)
        hands, lag = self._within_reach(wanted, bat, points)
        points["bat_knob"] = hands + self._from_middle(0.0) * bat
        points["bat_barrel"] = hands + self._from_middle(self.parameters.barrel.bat_length_m) * bat
        for side, in_trunk in setting.elbow_poles.items():
            shoulder = points[f"{side}_shoulder"]
            points[f"{side}_hand"] = hands + self._from_middle(GRIPS[side]) * bat
            points[f"{side}_wrist"] = wrist(points[f"{side}_hand"], shoulder, bat, lengths["hand"])
            pole = np.einsum("tij,tj->ti", axes, in_trunk)
            points[f"{side}_elbow"] = middle_joint(
                shoulder, points[f"{side}_wrist"], lengths["upper_arm"], lengths["forearm"], pole
            )
        return points, Held(self._standing(setting) - points["pelvis"], lag)

    def trunk(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        """Points from hips to head, and the trunk's axes as columns (front shoulder, chest, up), shape (T, 3, 3)."""
        return self._trunk(self.script.at(time))

    # ---------------------------------------------------------------- pelvis and trunk

    def _pelvis(self, setting: Setting) -> FloatArray:
        """Pelvis centre, no higher than either leg lets it be, shape (T, 3). [share of height]"""
        lengths = proportions.DE_LEVA_1996
        pelvis = self._standing(setting)
        for side, to_hip in _to_hips(setting).items():
            flexion_deg, ease = YIELDING_KNEES[side]
            longest = limb_length(lengths["thigh"], lengths["shank"], rad(flexion_deg))
            apart = pelvis + to_hip - setting.feet[f"{side}_ankle"]
            highest = np.sqrt(np.maximum(longest**2 - np.sum(apart[:, :2] ** 2, axis=-1), 0.0))
            pelvis = pelvis - over(apart[:, 2] - highest, ease)[:, None] * np.array([0.0, 0.0, 1.0])
        return pelvis

    def _standing(self, setting: Setting) -> FloatArray:
        """Pelvis centre before it sinks, shape (T, 3). [share of height]"""
        hands = self._hands(setting, np.zeros_like(setting.up), _axes(setting))
        standing: FloatArray = setting.body @ self.unknowns.pelvis - RECOIL * hands * np.array([1.0, 1.0, 0.0])
        return standing

    def _trunk(self, setting: Setting) -> tuple[dict[str, FloatArray], FloatArray]:
        """Points from hips to head, and the trunk's axes as columns (front shoulder, chest, up), shape (T, 3, 3)."""
        pelvis, up, shoulders = self._pelvis(setting), setting.up, setting.shoulders
        neck = pelvis + proportions.DE_LEVA_1996["trunk"] * up
        head = neck + (proportions.NECK_TO_VERTEX - proportions.VERTEX_TO_HEAD) * setting.head_up
        points = {
            "pelvis": pelvis,
            "neck": neck,
            "head": head,
            "head_top": head + proportions.VERTEX_TO_HEAD * setting.head_up,
            "front_shoulder": neck + 0.5 * proportions.SHOULDER_WIDTH * shoulders,
            "back_shoulder": neck - 0.5 * proportions.SHOULDER_WIDTH * shoulders,
        }
        points |= {f"{side}_hip": pelvis + to_hip for side, to_hip in _to_hips(setting).items()}
        return points, _axes(setting)

    # ---------------------------------------------------------------- bat

    @cached_property
    def _swing_plane(self) -> FloatArray:
        """Rows: the bat at contact, the way it turns, the plane's normal (up), shape (3, 3)."""
        bat, rise = self.bat_at_contact, self.unknowns.plane_rise
        ahead = np.array([np.cos(rise), 0.0, np.sin(rise)])
        forward = unit(across(ahead, bat))
        return np.stack([bat, forward, np.cross(bat, forward)])

    @cached_property
    def bat_at_contact(self) -> FloatArray:
        """Unit vector from knob to barrel, shape (3,)."""
        barrel = self.parameters.barrel
        heading, tilt = rad(barrel.bat_heading_deg), rad(barrel.bat_tilt_deg)
        bat: FloatArray = np.cos(tilt) * heading_vectors(np.array(heading)) + np.array([0.0, 0.0, np.sin(tilt)])
        return bat

    def _in_plane(self, bat: FloatArray) -> tuple[float, float]:
        """Angle in the swing plane before contact (negative) and angle over the plane. [rad]"""
        along, forward, over_plane = self._swing_plane @ bat
        return float(np.arctan2(forward, along)) % (2 * np.pi) - 2 * np.pi, float(np.arcsin(over_plane))

    def _bat_at_plant(self, hands: FloatArray) -> FloatArray:
        """Unit vector knob to barrel with the knob aimed as `Landing` says, for mid-hands at `hands`, shape (3,)."""
        p = self.parameters
        catcher = np.array([-p.plate_behind_m - p.catcher_behind_m, -p.barrel.plate_line_m, 0.0]) / p.height_m
        # The knob lies on the line from the catcher's feet through mid-hands, whatever the handle's length.
        aim = unit(hands - catcher)
        heading = np.arctan2(aim[1], aim[0]) + rad(p.landing.bat_off_aim_deg)
        elevation = np.arcsin(aim[2]) - rad(p.landing.bat_flatter_deg)
        return _direction(float(heading), float(elevation))

    @cached_property
    def _bat_keys(self) -> tuple[FloatArray, FloatArray, Turn]:
        """Values at `BAT_TURN_KEYS`, without the fast part, and at `BAT_OVER_KEYS`, and the fast part. [rad]"""
        p, contact = self.parameters, self.parameters.timing.contact
        planting = self.script.at_plant
        points, axes = self._trunk(planting)
        planted = self._in_plane(self._bat_at_plant(self._hands(planting, points["neck"], axes)[0]))
        stance = _direction(rad(p.stance.bat_heading_deg), rad(p.stance.bat_elevation_deg))
        standing = self._in_plane(stance)
        # The short way round from stance to plant.
        short = standing[0] + 2 * np.pi * np.round((planted[0] - standing[0]) / (2 * np.pi))
        fast = Turn.between(
            0.0,
            contact,
            -planted[0],
            contact - p.barrel.barrel_peak_before_contact,
            self.unknowns.bat_turn_speed,
            nearest=True,
        )
        at = np.array([self.script.hand_times[name] for name in BAT_TURN_KEYS])
        turn = np.array([short, planted[0], 0.0, rad(p.finish.bat_turn_deg)]) - fast(at)
        turn = turn + self._lost_speed * impact_lag(at, contact)
        over_plane = np.array([standing[1], planted[1], BAT_OVER_AT_LEVEL, 0.0, 0.0, rad(p.finish.bat_off_plane_deg)])
        return turn, over_plane, fast

    @property
    def _lost_speed(self) -> float:
        """Turning speed that the impact with the ball takes from the bat. [rad/s]"""
        return self.parameters.barrel.impact_loss * self.unknowns.bat_turn_speed

    def _bat(self, setting: Setting) -> FloatArray:
        """Unit vector from knob to barrel, shape (T, 3)."""
        turn, over_plane, fast = self._bat_keys
        angle = setting.bat_turn @ turn + fast(setting.time) - self._lost_speed * setting.impact_lag
        rise = (setting.bat_over @ over_plane)[:, None]
        along, forward, normal = self._swing_plane
        angle = angle[:, None]
        return np.cos(rise) * (np.cos(angle) * along + np.sin(angle) * forward) + np.sin(rise) * normal

    def _clear_of_head(self, bat: FloatArray, to_head: FloatArray, ahead: FloatArray, time: FloatArray) -> FloatArray:
        """The bat leaned toward the catcher where it would come too near the head on the way to contact, shape (T, 3).

        Parameters
        ----------
        bat, to_head, ahead : ndarray, shape (T, 3)
            Knob to barrel; from mid-hands to the head's centre; from back to front shoulder.
        time : ndarray, shape (T,)
            [s from plant]
        """
        clearance, contact = self.parameters.barrel.head_clearance, self.parameters.timing.contact
        if not clearance:
            return bat
        toward = unit(to_head)
        catcher = unit(across(-ahead, toward))
        least = clearance / np.linalg.norm(to_head, axis=-1) + 0.5 * CLEARANCE_EASE
        at_head, past = np.sum(bat * toward, axis=-1), np.abs(np.sum(bat * np.cross(toward, catcher), axis=-1))
        near = (
            step(at_head, 0.1, 0.6)
            * (1.0 - step(past, least, 2.5 * least))
            * step(-time, 0.02 - contact, 0.06 - contact)
        )
        lean = over(least * near - np.sum(bat * catcher, axis=-1) * near, CLEARANCE_EASE)
        return unit(bat + lean[:, None] * catcher)

    # ---------------------------------------------------------------- hands and arms

    def _hands(self, setting: Setting, neck: FloatArray, axes: FloatArray) -> FloatArray:
        """Mid-hands as wanted, shape (T, 3)."""
        p = self.parameters
        places = (
            p.stance.hands,
            p.stride.hands,
            p.landing.hands,
            p.turn.hands_at_level,
            tuple(self.unknowns.hands),
            p.finish.hands_extended,
            p.finish.hands_round,
            p.finish.hands,
        )
        return neck + np.einsum("tij,tj->ti", axes, setting.hands @ np.array(places))

    def _within_reach(
        self, hands: FloatArray, bat: FloatArray, points: dict[str, FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        """Mid-hands within either arm's reach, and how far they lag behind where they were wanted, shape (T, 3)."""
        wanted = hands
        for side in GRIPS:
            distance, toward = self._to_wrist(side, hands, bat, points)
            hands = hands - (over(distance - FAR_WRIST, FAR_EASE) - over(NEAR_WRIST - distance, NEAR_EASE)) * toward
        lag = wanted - hands
        lengths = proportions.DE_LEVA_1996
        longest = limb_length(lengths["upper_arm"], lengths["forearm"], rad(LEAST_ELBOW_DEG))
        drawn = hands.copy()
        for side in GRIPS:
            distance, toward = self._to_wrist(side, hands, bat, points)
            drawn -= ARM_SOFTNESS * np.logaddexp(0.0, (distance - longest) / ARM_SOFTNESS) * toward
        return drawn, lag

    def _to_wrist(
        self, side: str, hands: FloatArray, bat: FloatArray, points: dict[str, FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        """Distance of a wrist from its shoulder, shape (T, 1), and the direction to it, shape (T, 3)."""
        shoulder, hand = points[f"{side}_shoulder"], hands + self._from_middle(GRIPS[side]) * bat
        reach = wrist(hand, shoulder, bat, proportions.DE_LEVA_1996["hand"]) - shoulder
        distance = np.linalg.norm(reach, axis=-1, keepdims=True)
        return distance, reach / distance

    def _from_middle(self, along_m: float) -> float:
        """Place on the bat, given from the knob, from mid-hands toward the barrel. [share of height]"""
        return (along_m - 0.5 * sum(GRIPS.values())) / self.parameters.height_m


def _axes(setting: Setting) -> FloatArray:
    """The trunk's axes as columns (front shoulder, chest, up), shape (T, 3, 3)."""
    return np.stack([setting.shoulders, np.cross(setting.shoulders, setting.up), setting.up], axis=-1)


def _to_hips(setting: Setting) -> dict[str, FloatArray]:
    """From pelvis centre to each hip, shape (T, 3). [share of height]"""
    half = 0.5 * proportions.HIP_WIDTH * setting.hips
    return {"front": half, "back": -half}


def _direction(heading: float, elevation: float) -> FloatArray:
    """Unit vector from heading (counter-clockwise from the pitcher) and elevation."""
    return np.array(
        [np.cos(elevation) * np.cos(heading), np.cos(elevation) * np.sin(heading), np.sin(elevation)], dtype=np.float64
    )
