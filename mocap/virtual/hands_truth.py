"""The measures of hands and face, worked out from the continuous swing; see `measures_truth`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.virtual.motion import Motion, rate_of
from mocap.virtual.skin import face, joints_of
from mocap.virtual.truth_tools import angle, elevation, greatest

if TYPE_CHECKING:
    from mocap.virtual.measures_truth import Reading

#: The back elbow's way to the body line is looked through in steps of this. [s]
LOOK_S = 1e-3
#: Times from contact to extension at which the palms are looked at.
LOOKS = 201


def hands_inside(reading: Reading) -> float:
    """Farthest that mid-hands lie outside the line from mid-trunk to the ball at contact, from level to contact. [m]"""
    trunk = 0.5 * (reading.point("pelvis", "contact") + reading.point("neck", "contact"))
    line = _on_floor(reading.sweet_spot("contact") - trunk)

    def outside(time: FloatArray) -> FloatArray:
        # Multiplied by the line's conjugate its own direction becomes the real axis; left of it is positive.
        turned: FloatArray = np.imag(_on_floor(_hands(reading.motion, time) - trunk) * np.conj(line))
        return -turned / abs(line)

    return greatest(outside, reading.moments["level"], reading.moments["contact"]).value


def bat_lag(reading: Reading) -> float:
    """Between the bat and the velocity of mid-hands at level. [deg]"""
    level = np.array([reading.moments["level"]])
    velocity = rate_of(lambda time: _hands(reading.motion, time), level)[0]
    return angle(reading.line("bat_knob", "bat_barrel", "level"), velocity)


def short_swing_time(reading: Reading) -> float:
    """From level until the back elbow first passes the x of mid-trunk after plant; NaN where it never does. [s]"""
    from scipy.optimize import brentq

    def ahead(time: FloatArray) -> FloatArray:
        points = reading.motion.points(time)
        gap: FloatArray = (points["back_elbow"] - 0.5 * (points["pelvis"] + points["neck"]))[:, 0]
        return gap

    time = np.arange(reading.moments["plant"], reading.moments["finish"], LOOK_S)
    passes = np.flatnonzero(np.diff(np.sign(ahead(time))) > 0)
    if not len(passes):
        return float("nan")
    around = time[passes[0]], time[passes[0] + 1]
    passed = brentq(lambda when: float(ahead(np.array([when]))[0]), *around, xtol=1e-9)
    return float(passed) - reading.moments["level"]


def hands_reach(reading: Reading) -> float:
    """Greatest distance from mid-hands to the back shoulder, plant to level, over height. [-]"""

    def reach(time: FloatArray) -> FloatArray:
        return np.linalg.norm(_hands(reading.motion, time) - reading.motion.points(time)["back_shoulder"], axis=1)

    return greatest(reach, reading.moments["plant"], reading.moments["level"]).value / reading.motion.height_m


def head_pitch(reading: Reading) -> float:
    """How far the head's forward axis, square to the line from neck to vertex, points below the level at contact. [deg]

    The points of a swing do not show the face; it is where `skin.face` has it, on whose head the markers are stuck.
    """
    motion = reading.motion
    points = motion.points(np.array([reading.moments["contact"]]))
    gaze = face(joints_of(points), motion.hitter.parameters)[0]
    upright = points["head_top"][0] - points["neck"][0]
    return -elevation(gaze - upright * float(gaze @ upright) / float(upright @ upright))


def palms(reading: Reading) -> str:
    """Which way the palms face from contact to extension, of forearms that are not twisted, as `skin` has them."""
    time = np.linspace(reading.moments["contact"], reading.moments["extension"], LOOKS)
    points = reading.motion.points(time)
    up = {side: _palm_rises(points, side) for side in ("front", "back")}
    right = (up["back"] > 0.0) & (up["front"] < 0.0)
    if not right[0]:
        return "rolled at contact"
    return "palm up, palm down" if right.all() else "rolled before extension"


def _palm_rises(points: Mapping[str, FloatArray], side: str) -> FloatArray:
    """Height of the direction of a palm, shape (T,); its length counts for nothing."""
    shoulder, elbow, wrist, hand = (points[f"{side}_{name}"] for name in ("shoulder", "elbow", "wrist", "hand"))
    # In the anatomical position the elbow's axis points to the right, the hand down, and the palm ahead.
    axis = np.cross(elbow - shoulder, wrist - elbow)
    palm: FloatArray = np.cross(wrist - hand, axis)
    return palm[:, 2]


def _hands(motion: Motion, time: FloatArray) -> FloatArray:
    points = motion.points(time)
    return 0.5 * (points["front_hand"] + points["back_hand"])


def _on_floor(vector: FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.complex128]]:
    """The level part of vectors of shape (..., 3) as complex numbers, toward the pitcher and to his left."""
    return np.asarray(vector[..., 0] + 1j * vector[..., 1])


#: By the names of the registry.
TRUE_OF_HANDS: Mapping[str, Callable[[Reading], float | str]] = {
    "hands_inside": hands_inside,
    "bat_lag": bat_lag,
    "short_swing_time": short_swing_time,
    "hands_reach": hands_reach,
    "palms": palms,
    "head_pitch": head_pitch,
}
