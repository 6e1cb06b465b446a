"""The time functions behind a posed swing: feet, pelvis, trunk, hands and bat of a body of unit height."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.reference import proportions
from mocap.reference.limbs import foot_points, heading_vectors, limb_length, middle_joint, wrist
from mocap.reference.parameters import SwingParameters
from mocap.reference.tracks import Track, Turn, impact_lag, ramp, step

#: Middle of each hand from the knob's end. [m]
GRIPS = {"front": 0.050, "back": 0.140}

#: Keys of weight, knees and lean, and those of the turn.
BODY_KEYS = ("still", "load", "plant", "contact", "finish")
TURN_KEYS = ("still", "coil", "plant", "contact", "finish")

#: Keys of hands and bat: name to (key of `Timing` it is counted from, seconds after it).
HAND_KEYS = {
    "still": ("still", 0.0),
    "coil": ("coil", 0.0),
    "plant": ("plant", 0.0),
    "level": ("contact", -0.045),
    "contact": ("contact", 0.0),
    "extension": ("contact", 0.064),
    "round": ("contact", 0.170),
    "finish": ("finish", -0.02),
}

#: Hands in the trunk as they pass the body line: toward the front shoulder, out of the chest, up.
HANDS_AT_LEVEL = (-0.178, 0.155, -0.090)

#: An arm gives way before it locks: the least flexion of the elbow, and how softly it is kept. [deg], [share of height]
LEAST_ELBOW_DEG, ARM_SOFTNESS = 9.0, 0.004

#: Side that each elbow points to, in the trunk, at the hands' keys: the back elbow slots beside the ribs, the front
#: elbow stays out in front and folds after the turn.
BACK_ELBOW = (
    (-0.55, -0.35, -0.75),
    (-0.65, -0.50, -0.55),
    (-0.70, -0.55, -0.45),
    (-0.40, 0.05, -0.90),
    (-0.45, -0.15, -0.90),
    (-0.50, -0.10, -0.85),
    (-0.45, 0.20, -0.85),
    (-0.40, 0.30, -0.85),
)
FRONT_ELBOW = (
    (0.35, 0.35, -0.85),
    (0.40, 0.45, -0.80),
    (0.40, 0.55, -0.70),
    (0.60, 0.45, -0.50),
    (0.80, 0.25, -0.15),
    (0.85, 0.15, -0.25),
    (0.80, 0.30, -0.45),
    (0.80, 0.35, -0.35),
)
#: Neck to head centre: share along the trunk's axis (the rest upright), then toward the pitcher and the plate.
HEAD_LEAN = ((0.55, 0.06, 0.02), (0.55, 0.06, 0.02), (0.60, 0.08, 0.04), (0.60, 0.03, 0.14), (0.60, 0.10, 0.02))


def rad(degrees: float) -> float:
    """Radians."""
    return float(np.deg2rad(degrees))


@dataclass(frozen=True)
class Unknowns:
    """What the targets decide.

    Attributes
    ----------
    pelvis : ndarray, shape (5, 3)
        Pelvis centre at `BODY_KEYS`. [share of height]
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
        """From a vector of 20 numbers of like size."""
        return cls(vector[:15].reshape(5, 3), vector[15:18], 100.0 * float(vector[18]), float(vector[19]))

    def vector(self) -> FloatArray:
        """The inverse of `from_vector`."""
        return np.concatenate([self.pelvis.ravel(), self.hands, [self.bat_turn_speed / 100.0, self.plane_rise]])


@dataclass(frozen=True)
class Postures:
    """A body of unit height that can be posed at any time.

    Attributes
    ----------
    parameters : SwingParameters
    unknowns : Unknowns
    """

    parameters: SwingParameters
    unknowns: Unknowns

    # ---------------------------------------------------------------- keys

    def key_time(self, name: str) -> float:
        """Time of a body key. [s from plant]"""
        return 0.0 if name == "plant" else float(getattr(self.parameters.timing, name))

    @cached_property
    def body_times(self) -> FloatArray:
        """Times of `BODY_KEYS`. [s from plant]"""
        return np.array([self.key_time(name) for name in BODY_KEYS])

    @cached_property
    def target_times(self) -> FloatArray:
        """When the targets of `BODY_KEYS` hold: of the first and the last, once the body is at rest. [s from plant]"""
        at_rest = np.zeros(len(BODY_KEYS))
        at_rest[0], at_rest[-1] = -1.0, 1.0
        return self.body_times + at_rest

    @cached_property
    def turn_times(self) -> FloatArray:
        """Times of `TURN_KEYS`. [s from plant]"""
        return np.array([self.key_time(name) for name in TURN_KEYS])

    @cached_property
    def hand_times(self) -> FloatArray:
        """Times of `HAND_KEYS`. [s from plant]"""
        return np.array([self.key_time(base) + after for base, after in HAND_KEYS.values()])

    def _body_track(self, values: list[float]) -> Track:
        return Track(self.body_times, np.array(values))

    # ---------------------------------------------------------------- feet

    def feet(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
        """Points of both feet with their side in front, and the headings of front and back foot, shape (T,). [rad]"""
        front, front_heading = self._front_foot(time)
        back, back_heading = self._back_foot(time)
        points = {f"front_{k}": v for k, v in front.items()} | {f"back_{k}": v for k, v in back.items()}
        return points, front_heading, back_heading

    @cached_property
    def _balls_at_plant(self) -> tuple[FloatArray, FloatArray]:
        """Metatarsal heads of front and back foot that put the ankles at plant where the stride says, shape (3,)."""
        stride, plant = self.parameters.stride, np.zeros(1)
        angle = rad(stride.direction_deg)
        ankle = 0.5 * stride.length * np.array([np.cos(angle), np.sin(angle)])
        balls = []
        for sign, turning in ((1.0, self._front_turning(plant)), (-1.0, self._back_turning(plant))):
            ball = np.array([[0.0, 0.0, proportions.BALL_HEIGHT]])
            from_ball = foot_points(ball, *turning)["ankle"][0, :2]
            balls.append(np.append(sign * ankle - from_ball, proportions.BALL_HEIGHT))
        return balls[0], balls[1]

    def _back_turning(self, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Heading, pitch and pitch of the toes of the back foot, each of shape (T,). [rad]"""
        p, contact = self.parameters, self.parameters.timing.contact
        start = rad(p.stance.back_foot_open_deg)
        settled = step(time, contact - 0.02, p.timing.finish)
        heading = start + step(time, -0.06, contact + 0.06) * (rad(p.turn.back_foot_open_deg) - start)
        heading = heading + settled * rad(p.finish.back_foot_open_deg - p.turn.back_foot_open_deg)
        pitch = step(time, -0.05, contact + 0.03) * rad(p.turn.back_heel_pitch_deg)
        pitch = pitch + settled * rad(p.finish.back_heel_pitch_deg - p.turn.back_heel_pitch_deg)
        return heading, pitch, np.zeros_like(time)

    def _back_foot(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        turning = self._back_turning(time)
        return foot_points(np.broadcast_to(self._balls_at_plant[1], (len(time), 3)), *turning), turning[0]

    def _in_air(self, time: FloatArray) -> FloatArray:
        """Height of the front foot as share of its greatest, shape (T,)."""
        t = self.parameters.timing
        most = 0.55 * (t.toe_down - t.lift)
        # It comes down at an even pace and is stopped by the floor, not set down gently.
        return step(time, t.lift, t.lift + most) - ramp(time, t.toe_down - most, t.toe_down, 0.10, 0.040)

    def _front_turning(self, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Heading, pitch and pitch of the toes of the front foot, each of shape (T,). [rad]"""
        p, t = self.parameters, self.parameters.timing
        opened, planted = rad(p.stance.front_foot_open_deg), rad(p.landing.foot_open_deg)
        # The heel leaves first and lands last; in the air the foot hangs.
        pitch = rad(24.0) * step(time, t.stance, t.lift + 0.05) - rad(8.0) * step(time, t.lift, t.toe_down)
        pitch = pitch - rad(16.0) * step(time, t.toe_down - 0.04, t.heel_down)
        # After contact the front foot opens on its heel, toes up a little.
        rolling = step(time, t.contact + 0.04, t.finish)
        heading = opened + step(time, t.lift, t.toe_down) * (planted - opened)
        heading = heading + rolling * rad(p.finish.front_foot_turn_deg)
        return heading, pitch - rad(9.0) * rolling, rad(16.0) * self._in_air(time) - rad(9.0) * rolling

    def _front_foot(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        p, t = self.parameters, self.parameters.timing
        opened, planted = rad(p.stance.front_foot_open_deg), rad(p.landing.foot_open_deg)
        landing, back_ball = self._balls_at_plant
        # In the stance the feet are `width` apart at the ankles.
        ahead = heading_vectors(np.array([opened, rad(p.stance.back_foot_open_deg)]))
        to_ankle = (proportions.HEEL_TO_BALL - proportions.HEEL_TO_ANKLE) * (ahead[0] - ahead[1])
        leaving = back_ball + np.array([p.stance.width, p.stance.front_foot_away, 0.0]) + to_ankle
        # The knee comes up and in before the foot goes forward.
        forward = step(time, t.lift + 0.04, t.toe_down)[:, None]
        ball = leaving + forward * (landing - leaving)
        ball = ball + self._in_air(time)[:, None] * np.array([-0.050, 0.0, p.stride.foot_height])
        turning = self._front_turning(time)
        flat = foot_points(np.broadcast_to(landing, ball.shape), np.full_like(time, planted), 0 * time, 0 * time)
        moved = foot_points(ball, *turning)
        on_heel = (time > t.heel_down)[:, None] * (flat["heel"] - moved["heel"])
        return {name: place + on_heel for name, place in moved.items()}, turning[0]

    # ---------------------------------------------------------------- trunk

    def _headings(self, name: str) -> tuple[list[float], Turn]:
        """Values at `TURN_KEYS` and the fast part of the pelvis's or trunk's turn."""
        p, turn, contact = self.parameters, self.parameters.turn, self.parameters.timing.contact
        values = [
            rad(getattr(stage, f"{name}_open{'_at_contact' if stage is turn else ''}_deg"))
            for stage in (p.stance, p.stride, p.landing, turn, p.finish)
        ]
        fast = Turn.between(
            0.0,
            contact,
            values[3] - values[2],
            contact - getattr(turn, f"{name}_peak_before_contact"),
            rad(getattr(turn, f"{name}_speed_deg_s")),
        )
        return values, fast

    def heading(self, name: str, time: FloatArray) -> FloatArray:
        """Heading of the hip line (`pelvis`) or shoulder line (`trunk`), shape (T,). [rad]"""
        values, fast = self._headings(name)
        slow = Track(self.turn_times, np.array(values) - fast(self.turn_times))
        return slow(time) + fast(time)

    def _axis(self, time: FloatArray) -> FloatArray:
        """Unit vector from pelvis to neck, shape (T, 3)."""
        p = self.parameters
        stages = (p.stance, p.stride, p.landing, p.turn, p.finish)
        to_plate = self._body_track([np.tan(rad(stage.lean_to_plate_deg)) for stage in stages])(time)
        back = self._body_track([np.tan(rad(stage.lean_back_deg)) for stage in stages])(time)
        return unit(np.stack([-back, -to_plate, np.ones_like(time)], axis=-1))

    def trunk(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        """Points from hips to head, and the trunk's axes as columns (front shoulder, chest, up), shape (T, 3, 3)."""
        pelvis = Track(self.body_times, self.unknowns.pelvis)(time)
        up = self._axis(time)
        tilted = unit(up * np.array([0.35, 0.35, 1.0]))
        hips = _line(self.heading("pelvis", time), tilted)
        shoulders = _line(self.heading("trunk", time), up)
        neck = pelvis + proportions.DE_LEVA_1996["trunk"] * up
        lean = Track(self.body_times, np.array(HEAD_LEAN))(time)
        nod = lean[:, :1] * up + np.stack([lean[:, 1], -lean[:, 2], 1.0 - lean[:, 0]], axis=-1)
        head_up = unit(nod)
        head = neck + (proportions.NECK_TO_VERTEX - proportions.VERTEX_TO_HEAD) * head_up
        points = {
            "pelvis": pelvis,
            "neck": neck,
            "head": head,
            "head_top": head + proportions.VERTEX_TO_HEAD * head_up,
            "front_hip": pelvis + 0.5 * proportions.HIP_WIDTH * hips,
            "back_hip": pelvis - 0.5 * proportions.HIP_WIDTH * hips,
            "front_shoulder": neck + 0.5 * proportions.SHOULDER_WIDTH * shoulders,
            "back_shoulder": neck - 0.5 * proportions.SHOULDER_WIDTH * shoulders,
        }
        return points, np.stack([shoulders, np.cross(shoulders, up), up], axis=-1)

    # ---------------------------------------------------------------- bat

    @cached_property
    def swing_plane(self) -> FloatArray:
        """Rows: the bat at contact, the way it turns, the plane's normal (up), shape (3, 3)."""
        barrel = self.parameters.barrel
        heading, tilt = rad(barrel.bat_heading_deg), rad(barrel.bat_tilt_deg)
        bat = np.cos(tilt) * heading_vectors(np.array(heading)) + np.array([0.0, 0.0, np.sin(tilt)])
        rise = self.unknowns.plane_rise
        ahead = np.array([np.cos(rise), 0.0, np.sin(rise)])
        forward = unit(across(ahead, bat))
        return np.stack([bat, forward, np.cross(bat, forward)])

    def _in_plane(self, bat: FloatArray) -> tuple[float, float]:
        """Angle in the swing plane before contact (negative) and angle over the plane. [rad]"""
        along, forward, over = self.swing_plane @ bat
        return float(np.arctan2(forward, along)) % (2 * np.pi) - 2 * np.pi, float(np.arcsin(over))

    def bat_at_plant(self, hands: FloatArray) -> FloatArray:
        """Unit vector knob to barrel with the knob aimed as `Landing` says, for mid-hands at `hands`, shape (3,)."""
        p = self.parameters
        catcher = np.array([-p.plate_behind_m - p.catcher_behind_m, -p.barrel.plate_line_m, 0.0]) / p.height_m
        # The knob lies on the line from the catcher's feet through mid-hands, whatever the handle's length.
        aim = unit(hands - catcher)
        heading = np.arctan2(aim[1], aim[0]) + rad(p.landing.bat_off_aim_deg)
        elevation = np.arcsin(aim[2]) - rad(p.landing.bat_flatter_deg)
        return _direction(float(heading), float(elevation))

    @cached_property
    def _bat_tracks(self) -> tuple[Track, Track, Turn]:
        p, times = self.parameters, dict(zip(HAND_KEYS, self.hand_times, strict=True))
        hands = self._hands(np.array([0.0]))[0]
        standing = self._in_plane(_direction(rad(p.stance.bat_heading_deg), rad(p.stance.bat_elevation_deg)))
        planted = self._in_plane(self.bat_at_plant(hands))
        contact = p.timing.contact
        fast = Turn.between(
            0.0, contact, -planted[0], contact - p.barrel.barrel_peak_before_contact, self.unknowns.bat_turn_speed
        )
        turned = {"still": standing[0], "plant": planted[0], "contact": 0.0, "finish": rad(p.finish.bat_turn_deg)}
        over = {
            "still": standing[1],
            "plant": planted[1],
            "level": 0.02,
            "contact": 0.0,
            "extension": 0.0,
            "finish": rad(p.finish.bat_off_plane_deg),
        }
        at = np.array([times[name] for name in turned])
        slow = Track(at, np.array(list(turned.values())) - fast(at) + self._lag(at))
        return slow, Track(np.array([times[name] for name in over]), np.array(list(over.values()))), fast

    def _lag(self, time: FloatArray) -> FloatArray:
        """Angle by which the impact with the ball holds the bat back, shape (T,). [rad]"""
        lost = self.parameters.barrel.impact_loss * self.unknowns.bat_turn_speed
        return lost * impact_lag(time, self.parameters.timing.contact)

    def bat(self, time: FloatArray) -> FloatArray:
        """Unit vector from knob to barrel, shape (T, 3)."""
        slow, over, fast = self._bat_tracks
        angle, rise = (slow(time) + fast(time) - self._lag(time))[:, None], over(time)[:, None]
        along, forward, normal = self.swing_plane
        return np.cos(rise) * (np.cos(angle) * along + np.sin(angle) * forward) + np.sin(rise) * normal

    # ---------------------------------------------------------------- hands and arms

    def _hands(self, time: FloatArray) -> FloatArray:
        """Mid-hands, shape (T, 3)."""
        p = self.parameters
        places = (
            p.stance.hands,
            p.stride.hands,
            p.landing.hands,
            HANDS_AT_LEVEL,
            tuple(self.unknowns.hands),
            p.finish.hands_extended,
            p.finish.hands_round,
            p.finish.hands,
        )
        points, axes = self.trunk(time)
        return points["neck"] + np.einsum("tij,tj->ti", axes, Track(self.hand_times, np.array(places))(time))

    def _within_reach(self, hands: FloatArray, bat: FloatArray, points: dict[str, FloatArray]) -> FloatArray:
        """Mid-hands drawn in by what either arm would be too short, softly, shape (T, 3)."""
        lengths = proportions.DE_LEVA_1996
        longest = limb_length(lengths["upper_arm"], lengths["forearm"], rad(LEAST_ELBOW_DEG))
        drawn = hands.copy()
        for side, along in GRIPS.items():
            shoulder = points[f"{side}_shoulder"]
            reach = wrist(hands + self._from_middle(along) * bat, shoulder, bat, lengths["hand"]) - shoulder
            distance = np.linalg.norm(reach, axis=-1, keepdims=True)
            excess = ARM_SOFTNESS * np.logaddexp(0.0, (distance - longest) / ARM_SOFTNESS)
            drawn -= excess * reach / distance
        return drawn

    def _from_middle(self, along_m: float) -> float:
        """Place on the bat, given from the knob, from mid-hands toward the barrel. [share of height]"""
        return (along_m - 0.5 * sum(GRIPS.values())) / self.parameters.height_m

    def points(self, time: FloatArray) -> dict[str, FloatArray]:
        """Every point by name, each of shape (T, 3). [share of height]"""
        lengths = proportions.DE_LEVA_1996
        points, axes = self.trunk(time)
        feet, front_heading, back_heading = self.feet(time)
        points |= feet
        facing = heading_vectors(self.heading("pelvis", time))
        for side, heading in (("front", front_heading), ("back", back_heading)):
            pole = heading_vectors(heading) + 0.5 * facing
            points[f"{side}_knee"] = middle_joint(
                points[f"{side}_hip"], points[f"{side}_ankle"], lengths["thigh"], lengths["shank"], pole
            )
        bat = self.bat(time)
        hands = self._within_reach(self._hands(time), bat, points)
        points["bat_knob"] = hands + self._from_middle(0.0) * bat
        points["bat_barrel"] = hands + self._from_middle(self.parameters.barrel.bat_length_m) * bat
        for side, poles in (("front", FRONT_ELBOW), ("back", BACK_ELBOW)):
            shoulder = points[f"{side}_shoulder"]
            points[f"{side}_hand"] = hands + self._from_middle(GRIPS[side]) * bat
            points[f"{side}_wrist"] = wrist(points[f"{side}_hand"], shoulder, bat, lengths["hand"])
            pole = np.einsum("tij,tj->ti", axes, Track(self.hand_times, np.array(poles))(time))
            points[f"{side}_elbow"] = middle_joint(
                shoulder, points[f"{side}_wrist"], lengths["upper_arm"], lengths["forearm"], pole
            )
        return points


def _direction(heading: float, elevation: float) -> FloatArray:
    """Unit vector from heading (counter-clockwise from the pitcher) and elevation."""
    return np.array(
        [np.cos(elevation) * np.cos(heading), np.cos(elevation) * np.sin(heading), np.sin(elevation)], dtype=np.float64
    )


def _line(heading: FloatArray, up: FloatArray) -> FloatArray:
    """Unit vectors of a horizontal heading square to `up`, shape (T, 3): hip or shoulder line, back to front."""
    x, y = np.cos(heading), np.sin(heading)
    return unit(np.stack([x, y, -(up[:, 0] * x + up[:, 1] * y) / up[:, 2]], axis=-1))
