"""What a swing's parameters settle at once: times of the keys, feet, headings, leans, and what each key counts when."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import unit
from mocap.reference.feet import Feet
from mocap.reference.limbs import heading_vectors, rad
from mocap.reference.parameters import SwingParameters
from mocap.reference.tracks import Track, Turn, impact_lag

#: Keys of weight and knees, those of the leans, and those of the turn.
BODY_KEYS = ("still", "load", "plant", "deepest", "contact", "finish")
LEAN_KEYS = ("still", "load", "plant", "contact", "finish")
TURN_KEYS = ("still", "coil", "plant", "contact", "finish")

#: Keys of the hands, and those of the bat's turn in the swing plane and of its angle over it.
HAND_KEYS = ("still", "coil", "plant", "level", "contact", "extension", "round", "finish")
BAT_TURN_KEYS = ("still", "plant", "contact", "finish")
BAT_OVER_KEYS = ("still", "plant", "level", "contact", "extension", "finish")

#: Side that each elbow points to, in the trunk, at the hands' keys: the back elbow slots beside the ribs, the front
#: elbow stays out in front and folds after the turn.
ELBOWS = {
    "back": (
        (-0.55, -0.35, -0.75),
        (-0.65, -0.50, -0.55),
        (-0.70, -0.55, -0.45),
        (-0.40, 0.05, -0.90),
        (-0.45, -0.15, -0.90),
        (-0.50, -0.10, -0.85),
        (-0.45, 0.20, -0.85),
        (-0.40, 0.30, -0.85),
    ),
    "front": (
        (0.35, 0.35, -0.85),
        (0.40, 0.45, -0.80),
        (0.40, 0.55, -0.70),
        (0.60, 0.45, -0.50),
        (0.80, 0.25, -0.15),
        (0.85, 0.15, -0.25),
        (0.80, 0.30, -0.45),
        (0.80, 0.35, -0.35),
    ),
}
#: Share of the trunk's lean in which the hip line takes part; the rest is bent in the lumbar spine. The back hip lies
#: lower than the front one at contact, as the trunk leans over the plate. This project's own choice.
PELVIS_SHARE_OF_LEAN = 0.60

#: The front leg is braced a little before contact: the pelvis slows down from here on, as a leg that is nearly straight
#: has no way left on which to stop it. [s before contact] This project's own choice.
BRACED_BEFORE_CONTACT = 0.06

#: The body sinks onto the front leg from a little before plant on, as the foot takes weight from its first touch. [s]
#: This project's own choice.
SINKING_BEFORE_PLANT = 0.04

#: Rounding of the pelvis's path at each of `BODY_KEYS`, as in `tracks`: rounder than other tracks, as all of the body's
#: mass goes with it.
PELVIS_ROUNDING = (0.5, 0.5, 0.8, 0.6, 0.40, 0.5)

#: Neck to head centre: share along the trunk's axis (the rest upright), then toward the pitcher and the plate.
HEAD_LEAN = ((0.55, 0.06, 0.02), (0.55, 0.06, 0.02), (0.60, 0.08, 0.04), (0.60, 0.03, 0.14), (0.60, 0.10, 0.02))


@dataclass(frozen=True)
class Setting:
    """What is settled at T times before pelvis, hands and bat are placed.

    Attributes
    ----------
    feet : dict of str to ndarray, shape (T, 3)
        Points of both feet. [share of height]
    knee_poles, elbow_poles : dict of str to ndarray
        Side that the joint points to, by `front` and `back`: shape (T, 3), the elbows' in the trunk.
    up, hips, shoulders, head_up : ndarray, shape (T, 3)
        Unit vectors: pelvis to neck; hip line and shoulder line, back to front; neck to head.
    body, hands, bat_turn, bat_over : ndarray, shape (T, K)
        What the value at each of `BODY_KEYS`, `HAND_KEYS`, `BAT_TURN_KEYS` and `BAT_OVER_KEYS` counts.
    time : ndarray, shape (T,)
        [s from plant]
    impact_lag : ndarray, shape (T,)
        How far the bat falls behind per unit of speed lost to the ball. [s]
    """

    time: FloatArray
    feet: dict[str, FloatArray]
    knee_poles: dict[str, FloatArray]
    elbow_poles: dict[str, FloatArray]
    up: FloatArray
    hips: FloatArray
    shoulders: FloatArray
    head_up: FloatArray
    body: FloatArray
    hands: FloatArray
    bat_turn: FloatArray
    bat_over: FloatArray
    impact_lag: FloatArray


@dataclass(frozen=True)
class Script:
    """The time functions that follow from the parameters alone, for a body of unit height.

    Attributes
    ----------
    parameters : SwingParameters
    """

    parameters: SwingParameters

    # ---------------------------------------------------------------- keys

    def key_time(self, name: str) -> float:
        """Time of a key. [s from plant]"""
        timing, contact = self.parameters.timing, self.parameters.timing.contact
        if name in ("level", "extension", "round"):
            return (
                contact
                + {
                    "level": -timing.hands_level_before_contact,
                    "extension": timing.extension_after_contact,
                    "round": timing.extension_after_contact + timing.hands_round_after_extension,
                }[name]
            )
        return 0.0 if name == "plant" else float(getattr(timing, name))

    @cached_property
    def body_times(self) -> FloatArray:
        """Times of `BODY_KEYS`. [s from plant]"""
        return np.array([self.key_time(name) for name in BODY_KEYS])

    @cached_property
    def pelvis_times(self) -> FloatArray:
        """Where the pelvis's path turns, one time for each of `BODY_KEYS`. [s from plant]"""
        braced = np.zeros(len(BODY_KEYS))
        braced[BODY_KEYS.index("contact")] = -BRACED_BEFORE_CONTACT
        braced[BODY_KEYS.index("plant")] = -SINKING_BEFORE_PLANT
        return self.body_times + braced

    @cached_property
    def target_times(self) -> FloatArray:
        """When the targets of `BODY_KEYS` hold: of the first and the last, once the body is at rest. [s from plant]"""
        at_rest = np.zeros(len(BODY_KEYS))
        at_rest[0], at_rest[-1] = -1.0, 1.0
        return self.body_times + at_rest

    @cached_property
    def lean_times(self) -> FloatArray:
        """Times of `LEAN_KEYS`. [s from plant]"""
        return np.array([self.key_time(name) for name in LEAN_KEYS])

    @cached_property
    def turn_times(self) -> FloatArray:
        """Times of `TURN_KEYS`. [s from plant]"""
        return np.array([self.key_time(name) for name in TURN_KEYS])

    @cached_property
    def hand_times(self) -> dict[str, float]:
        """Times of `HAND_KEYS`. [s from plant]"""
        times = {name: self.key_time(name) for name in HAND_KEYS}
        # Hands and bat come to rest a little before the body.
        return times | {"finish": times["finish"] - 0.02}

    # ---------------------------------------------------------------- feet, headings, leans

    @cached_property
    def feet(self) -> Feet:
        """Where the feet are."""
        return Feet(self.parameters)

    def heading(self, name: str, time: FloatArray) -> FloatArray:
        """Heading of the hip line (`pelvis`) or shoulder line (`trunk`), shape (T,). [rad]"""
        values, fast = self._headings[name]
        slow = Track(self.turn_times, np.array(values) - fast(self.turn_times))
        return slow(time) + fast(time)

    @cached_property
    def _headings(self) -> dict[str, tuple[list[float], Turn]]:
        """Values at `TURN_KEYS` and the fast part of the turns of pelvis and trunk."""
        p, turn, contact = self.parameters, self.parameters.turn, self.parameters.timing.contact
        headings = {}
        for name in ("pelvis", "trunk"):
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
            headings[name] = values, fast
        return headings

    def _axis(self, time: FloatArray) -> FloatArray:
        """Unit vector from pelvis to neck, shape (T, 3)."""
        p = self.parameters
        stages = (p.stance, p.stride, p.landing, p.turn, p.finish)
        to_plate = self._lean_track([np.tan(rad(stage.lean_to_plate_deg)) for stage in stages])(time)
        back = self._lean_track([np.tan(rad(stage.lean_back_deg)) for stage in stages])(time)
        return unit(np.stack([-back, -to_plate, np.ones_like(time)], axis=-1))

    def _lean_track(self, values: list[float]) -> Track:
        return Track(self.lean_times, np.array(values))

    # ---------------------------------------------------------------- all of it

    def at(self, time: FloatArray) -> Setting:
        """What is settled at each time."""
        feet, front_heading, back_heading = self.feet(time)
        facing = heading_vectors(self.heading("pelvis", time))
        up = self._axis(time)
        tilted = unit(up * np.array([PELVIS_SHARE_OF_LEAN, PELVIS_SHARE_OF_LEAN, 1.0]))
        lean = Track(self.lean_times, np.array(HEAD_LEAN))(time)
        nod = lean[:, :1] * up + np.stack([lean[:, 1], -lean[:, 2], 1.0 - lean[:, 0]], axis=-1)
        hands = self._weights(HAND_KEYS, time)
        return Setting(
            time=time,
            feet=feet,
            knee_poles={
                side: heading_vectors(heading) + 0.5 * facing
                for side, heading in (("front", front_heading), ("back", back_heading))
            },
            elbow_poles={side: hands @ np.array(poles) for side, poles in ELBOWS.items()},
            up=up,
            hips=_line(self.heading("pelvis", time), tilted),
            shoulders=_line(self.heading("trunk", time), up),
            head_up=unit(nod),
            body=Track.weights(self.pelvis_times, time, np.array(PELVIS_ROUNDING)),
            hands=hands,
            bat_turn=self._weights(BAT_TURN_KEYS, time),
            bat_over=self._weights(BAT_OVER_KEYS, time),
            impact_lag=impact_lag(time, self.parameters.timing.contact),
        )

    @cached_property
    def at_plant(self) -> Setting:
        """What is settled at plant, T = 1."""
        return self.at(np.zeros(1))

    def _weights(self, keys: tuple[str, ...], time: FloatArray) -> FloatArray:
        """What each key of hands or bat counts at each time, shape (T, K)."""
        return Track.weights(np.array([self.hand_times[name] for name in keys]), time)


def _line(heading: FloatArray, up: FloatArray) -> FloatArray:
    """Unit vectors of a horizontal heading square to `up`, shape (T, 3): hip or shoulder line, back to front."""
    x, y = np.cos(heading), np.sin(heading)
    return unit(np.stack([x, y, -(up[:, 0] * x + up[:, 1] * y) / up[:, 2]], axis=-1))
