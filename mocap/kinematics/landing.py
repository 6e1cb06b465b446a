"""Measures of the position at foot-plant."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import angle_between, flexion, heading, unit, wrapped
from mocap.kinematics.hitting_frame import FROM_FEET
from mocap.kinematics.registry import NotMeasurableError, at, distance, measure, mid_foot, mid_hands
from mocap.swing import Swing

FEET = ("front_ankle", "back_ankle")
HANDS = ("front_hand", "back_hand")
BAT = ("bat_knob", "bat_barrel")
#: Below this elevation the bat lies flat; a barrel this far ahead of the head wraps toward the pitcher. This project's
#: defaults.
FLAT_BELOW = np.radians(20.0)
WRAPPED_AHEAD_M = 0.05
DEFINITION = "this project's definition"


def open_angle(line: FloatArray) -> float:
    """Opening of a line that points to the pitcher when the hitter is side-on, positive toward the pitcher. [deg]"""
    return float(np.degrees(heading(line)))


def foot_angle(swing: Swing, side: str, frame: int) -> float:
    """Heading of a foot from side-on, 90 = the toes point at the pitcher. [deg]"""
    line = swing[f"{side}_ball"][frame] - swing[f"{side}_heel"][frame]
    return float(np.degrees(wrapped(heading(line) + np.pi / 2)))


def share_on_back(swing: Swing, frame: int) -> float:
    """Place of the centre of mass between the feet, 1 = over the back foot. [-]"""
    front, back = mid_foot(swing, "front")[frame, 0], mid_foot(swing, "back")[frame, 0]
    if abs(front - back) < 0.1:
        raise NotMeasurableError("the feet are closer than 10 cm along the pitch direction")
    return float((front - swing.com[frame, 0]) / (front - back))


def knee_flexion(swing: Swing, side: str, frame: int) -> float:
    """Angle between thigh and shank, 0 = straight. [deg]"""
    joints = (swing[f"{side}_{name}"][frame] for name in ("hip", "knee", "ankle"))
    return float(np.degrees(flexion(*joints)))


@measure("back_share", "share", "Weight on the back foot", points=FEET, source=DEFINITION)
def back_share(swing: Swing) -> float:
    """(x_front - x_com) / (x_front - x_back), feet taken at mid-foot."""
    return share_on_back(swing, at(swing, "plant"))


@measure(
    "back_force_share",
    "share",
    "Vertical force on the back foot, front foot flat",
    moments=("plant", "foot_flat"),
    source=DEFINITION,
)
def back_force_share(swing: Swing) -> float:
    """Share of the vertical force under the back foot when the front foot is flat.

    Not at `plant` itself: there the front foot carries 10 % of body weight by definition.
    """
    if swing.forces is None:
        raise NotMeasurableError("no force plates under both feet")
    frame = at(swing, "foot_flat")
    front, back = swing.forces.front[frame, 2], swing.forces.back[frame, 2]
    return float(back / (front + back))


@measure("separation_length", "height", "Front ankle to hands", points=("front_ankle", *HANDS), source=DEFINITION)
def separation_length(swing: Swing) -> float:
    """Distance from the front ankle to mid-hands over height."""
    frame = at(swing, "plant")
    return distance(mid_hands(swing)[frame], swing["front_ankle"][frame]) / swing.height_m


@measure(
    "separation_gain",
    "height",
    "Gain in separation since the stance",
    moments=("stance", "plant"),
    points=("front_ankle", *HANDS),
    source=DEFINITION,
)
def separation_gain(swing: Swing) -> float:
    """Change of the distance from the front ankle to mid-hands, over height."""
    start, end = at(swing, "stance"), at(swing, "plant")
    hands, ankle = mid_hands(swing), swing["front_ankle"]
    return (distance(hands[end], ankle[end]) - distance(hands[start], ankle[start])) / swing.height_m


@measure("knob_aim", "deg", "Knob off the catcher's feet", points=BAT, source=DEFINITION)
def knob_aim(swing: Swing) -> float:
    """Angle between the ray barrel -> knob and the direction from the knob to the catcher's feet."""
    if not swing.plate_known:
        raise NotMeasurableError("the place of home plate, and so of the catcher, was not recorded")
    frame = at(swing, "plant")
    knob = swing["bat_knob"][frame]
    catcher = np.array([-swing.setup.catcher_behind_m, 0.0, 0.0])
    return float(np.degrees(angle_between(knob - swing["bat_barrel"][frame], catcher - knob)))


@measure("bat_elevation", "deg", "Barrel above horizontal", points=BAT, source=DEFINITION)
def bat_elevation(swing: Swing) -> float:
    """Elevation of the direction knob -> barrel."""
    frame = at(swing, "plant")
    axis = unit(swing["bat_barrel"][frame] - swing["bat_knob"][frame])
    return float(np.degrees(np.arcsin(axis[2])))


@measure("bat_position", "", "Bat at foot-plant", points=(*BAT, "head"), source=DEFINITION)
def bat_position(swing: Swing) -> str:
    """`wrapped` where the barrel heads past the head toward the pitcher, `flat` where it lies low, else `tilted`."""
    frame = at(swing, "plant")
    barrel, knob = swing["bat_barrel"][frame], swing["bat_knob"][frame]
    if barrel[0] > swing["head"][frame, 0] + WRAPPED_AHEAD_M:
        return "wrapped"
    return "flat" if np.arcsin(unit(barrel - knob)[2]) < FLAT_BELOW else "tilted"


@measure("foot_open", "deg", "Front foot open", points=("front_heel", "front_ball"), source=DEFINITION)
def foot_open(swing: Swing) -> float:
    """Heading of the front foot from side-on."""
    return foot_angle(swing, "front", at(swing, "plant"))


@measure("pelvis_open", "deg", "Hips open", points=("front_hip", "back_hip"), source=DEFINITION)
def pelvis_open(swing: Swing) -> float:
    """Heading of the line back hip -> front hip from the pitch direction."""
    frame = at(swing, "plant")
    return open_angle(swing["front_hip"][frame] - swing["back_hip"][frame])


@measure("trunk_open", "deg", "Shoulders open", points=("front_shoulder", "back_shoulder"), source=DEFINITION)
def trunk_open(swing: Swing) -> float:
    """Heading of the line back shoulder -> front shoulder from the pitch direction."""
    frame = at(swing, "plant")
    return open_angle(swing["front_shoulder"][frame] - swing["back_shoulder"][frame])


@measure(
    "hip_shoulder_separation",
    "deg",
    "Hips ahead of shoulders",
    points=("front_hip", "back_hip", "front_shoulder", "back_shoulder"),
    source=DEFINITION,
)
def hip_shoulder_separation(swing: Swing) -> float:
    """`pelvis_open` minus `trunk_open`."""
    return float(np.degrees(wrapped(np.radians(pelvis_open(swing) - trunk_open(swing)))))  # type: ignore[operator]


@measure("stride_length", "height", "Stride, ankle to ankle", points=FEET, source=DEFINITION)
def stride_length(swing: Swing) -> float:
    """Horizontal distance between the ankles over height."""
    frame = at(swing, "plant")
    return distance(swing["front_ankle"][frame, :2], swing["back_ankle"][frame, :2]) / swing.height_m


@measure("stride_direction", "deg", "Stride away from the plate", points=FEET, source=DEFINITION)
def stride_direction(swing: Swing) -> float:
    """Heading of the line back ankle -> front ankle from the pitch direction, positive = open."""
    if swing.heading_method == FROM_FEET:
        raise NotMeasurableError("the direction to the pitcher was itself estimated from the feet")
    frame = at(swing, "plant")
    return open_angle(swing["front_ankle"][frame] - swing["back_ankle"][frame])


@measure(
    "front_knee_flexion", "deg", "Front knee bend", points=("front_hip", "front_knee", "front_ankle"), source=DEFINITION
)
def front_knee_flexion(swing: Swing) -> float:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(swing, "front", at(swing, "plant"))


@measure(
    "back_knee_flexion", "deg", "Back knee bend", points=("back_hip", "back_knee", "back_ankle"), source=DEFINITION
)
def back_knee_flexion(swing: Swing) -> float:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(swing, "back", at(swing, "plant"))
