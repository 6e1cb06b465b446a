"""Where the feet are: planted, lifted, tapped, striding, turning on ball or heel. A body of unit height."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.reference import proportions
from mocap.reference.limbs import foot_points, heading_vectors, rad
from mocap.reference.parameters import SwingParameters
from mocap.reference.tracks import ramp, step

#: A toe tap: when the toes touch and leave again, as shares of the time from lift to plant, and the height of the foot
#: before it as share of that of the stride. This project's own choice.
TAP_TOUCH, TAP_LEAVE, TAP_HEIGHT = 0.34, 0.50, 0.6

#: How far the lifted foot hangs behind the line from where it left to where it lands, as share of its height over the
#: floor: the knee comes up and in before the foot goes forward. This project's own choice.
HANGS_BACK = 0.5


@dataclass(frozen=True)
class Feet:
    """Both feet of a hitter.

    Attributes
    ----------
    parameters : SwingParameters
    """

    parameters: SwingParameters

    def __call__(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
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
        touch, leave = self._tap_times
        most = 0.55 * (t.toe_down - leave)
        # It comes down at an even pace and is stopped by the floor, not set down gently.
        stride = step(time, leave, leave + most) - ramp(time, t.toe_down - most, t.toe_down, 0.10, 0.040)
        if not self.parameters.stride.tap_back:
            return stride
        half = 0.5 * (touch - t.lift)
        return stride + TAP_HEIGHT * (step(time, t.lift, t.lift + half) - step(time, touch - half, touch))

    @cached_property
    def _tap_times(self) -> tuple[float, float]:
        """When the toes have tapped the floor, and when they leave it for the stride. [s from plant]"""
        t = self.parameters.timing
        if not self.parameters.stride.tap_back:
            return t.lift, t.lift
        return t.lift + TAP_TOUCH * (t.toe_down - t.lift), t.lift + TAP_LEAVE * (t.toe_down - t.lift)

    def _front_turning(self, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Heading, pitch and pitch of the toes of the front foot, each of shape (T,). [rad]"""
        p, t = self.parameters, self.parameters.timing
        leave = self._tap_times[1]
        opened, planted = rad(p.stance.front_foot_open_deg), rad(p.landing.foot_open_deg)
        # The heel leaves first and lands last; in the air the foot hangs.
        pitch = rad(24.0) * step(time, t.stance, t.lift + 0.05) - rad(8.0) * step(time, leave, t.toe_down)
        pitch = pitch - rad(16.0) * step(time, t.toe_down - 0.04, t.heel_down)
        # After contact the front foot opens on its heel, toes up a little.
        rolling = step(time, t.contact + 0.04, t.finish)
        heading = opened + step(time, leave, t.toe_down) * (planted - opened)
        heading = heading + rolling * rad(p.finish.front_foot_turn_deg)
        return heading, pitch - rad(9.0) * rolling, rad(16.0) * self._in_air(time) - rad(9.0) * rolling

    def _front_foot(self, time: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        p, t = self.parameters, self.parameters.timing
        landing, leaving = self._balls_at_plant[0], self._leaving
        touch, leave = self._tap_times
        # The knee comes up and in before the foot goes forward.
        forward = step(time, leave + 0.04, t.toe_down)[:, None]
        ball = leaving + forward * (landing - leaving)
        if p.stride.tap_back:
            back = step(time, t.lift, touch)[:, None] * (1.0 - forward)
            ball = ball - back * np.array([p.stride.tap_back, 0.0, 0.0])
        height = p.stride.foot_height
        ball = ball + self._in_air(time)[:, None] * np.array([-HANGS_BACK * height, 0.0, height])
        turning = self._front_turning(time)
        planted = np.full_like(time, rad(p.landing.foot_open_deg))
        flat = foot_points(np.broadcast_to(landing, ball.shape), planted, 0 * time, 0 * time)
        moved = foot_points(ball, *turning)
        on_heel = (time > t.heel_down)[:, None] * (flat["heel"] - moved["heel"])
        return {name: place + on_heel for name, place in moved.items()}, turning[0]

    @cached_property
    def _leaving(self) -> FloatArray:
        """Metatarsal heads of the front foot in the stance, in which the ankles are `width` apart, shape (3,)."""
        stance = self.parameters.stance
        ahead = heading_vectors(np.array([rad(stance.front_foot_open_deg), rad(stance.back_foot_open_deg)]))
        to_ankle = (proportions.HEEL_TO_BALL - proportions.HEEL_TO_ANKLE) * (ahead[0] - ahead[1])
        place: FloatArray = self._balls_at_plant[1] + np.array([stance.width, stance.front_foot_away, 0.0]) + to_ankle
        return place
