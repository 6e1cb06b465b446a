"""Measures of the position at foot-plant."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import angle_between, flexion, heading, wrapped
from mocap.kinematics.hitting_frame import FROM_FEET
from mocap.kinematics.readings import NotMeasurableError, Readings, distance
from mocap.kinematics.registry import Values, measure

FEET = ("front_ankle", "back_ankle")
HANDS = ("front_hand", "back_hand")
BAT = ("bat_knob", "bat_barrel")
#: Below this elevation the bat lies flat; a barrel this far ahead of the head wraps toward the pitcher. This project's
#: defaults.
FLAT_BELOW = np.radians(20.0)
WRAPPED_AHEAD_M = 0.05
#: Feet closer than this along the pitch direction share no weight that could be told. [m] This project's default.
LEAST_BASE_M = 0.1
DEFINITION = "this project's definition"


def open_angle(line: FloatArray) -> FloatArray:
    """Opening of lines that point to the pitcher when the hitter is side-on, positive toward the pitcher. [deg]"""
    return np.degrees(heading(line))


def foot_angle(r: Readings, side: str, moment: str) -> FloatArray:
    """Heading of a foot from side-on, 90 = the toes point at the pitcher, shape (N,). [deg]"""
    line = r.at(f"{side}_ball", moment) - r.at(f"{side}_heel", moment)
    return np.degrees(wrapped(heading(line) + np.pi / 2))


def share_on_back(r: Readings, moment: str) -> FloatArray:
    """Place of the centre of mass between the feet, 1 = over the back foot, shape (N,). [-]"""
    front, back = r.foot_at("front", moment)[:, 0], r.foot_at("back", moment)[:, 0]
    base = front - back
    if abs(base[0]) < LEAST_BASE_M:
        raise NotMeasurableError("the feet are closer than 10 cm along the pitch direction")
    share: FloatArray = (front - r.com_at(moment)[:, 0]) / base
    return share


def knee_flexion(r: Readings, side: str, moment: str) -> FloatArray:
    """Angle between thigh and shank, 0 = straight, shape (N,). [deg]"""
    return np.degrees(flexion(*(r.at(f"{side}_{name}", moment) for name in ("hip", "knee", "ankle"))))


def opening(r: Readings, joint: str, moment: str) -> FloatArray:
    """Heading of the line from the back to the front joint from the pitch direction, shape (N,). [deg]"""
    return open_angle(r.at(f"front_{joint}", moment) - r.at(f"back_{joint}", moment))


@measure("back_share", "share", "Weight on the back foot", points=FEET, source=DEFINITION)
def back_share(r: Readings) -> FloatArray:
    """(x_front - x_com) / (x_front - x_back), feet taken at mid-foot."""
    return share_on_back(r, "plant")


@measure(
    "back_force_share",
    "share",
    "Vertical force on the back foot, front foot flat",
    moments=("plant", "foot_flat"),
    source=DEFINITION,
    method_sd=0.004,  # the corner in the forces where the foot has come to rest: posed swings
)
def back_force_share(r: Readings) -> FloatArray:
    """Share of the vertical force under the back foot when the front foot is flat.

    Not at `plant` itself: there the front foot carries 10 % of body weight by definition.
    """
    forces = r.swing.forces
    if forces is None:
        raise NotMeasurableError(r.swing.forces_why)
    front, back = (forces.at(side, r.time("foot_flat"))[:, 2] for side in ("front", "back"))
    share: FloatArray = back / (front + back)
    return share


@measure("separation_length", "height", "Front ankle to hands", points=("front_ankle", *HANDS), source=DEFINITION)
def separation_length(r: Readings) -> FloatArray:
    """Distance from the front ankle to mid-hands over height."""
    length: FloatArray = distance(r.hands_at("plant"), r.at("front_ankle", "plant")) / r.height_m
    return length


@measure(
    "separation_gain",
    "height",
    "Gain in separation since the stance",
    moments=("stance", "plant"),
    points=("front_ankle", *HANDS),
    source=DEFINITION,
    method_sd=0.0015,  # a skeleton of constant lengths on joints 10 mm off: posed swings
)
def separation_gain(r: Readings) -> FloatArray:
    """Change of how far mid-hands are behind the front ankle, along the pitch direction, over height.

    Along the pitch direction alone: the distance through the air also shrinks as the body sinks into its stride.
    """
    behind = [r.at("front_ankle", moment)[:, 0] - r.hands_at(moment)[:, 0] for moment in ("stance", "plant")]
    gain: FloatArray = (behind[1] - behind[0]) / r.height_m
    return gain


@measure("knob_aim", "deg", "Knob's aim from the catcher's feet", points=BAT, source=DEFINITION)
def knob_aim(r: Readings) -> FloatArray:
    """Angle between the ray barrel -> knob and the direction from the knob to the catcher's feet."""
    if not r.swing.plate_known:
        raise NotMeasurableError("the place of home plate, and so of the catcher, was not recorded")
    catcher = np.array([-r.swing.setup.catcher_behind_m, 0.0, 0.0])
    return np.degrees(angle_between(-r.bat_at("plant"), catcher - r.at("bat_knob", "plant")))


@measure("bat_elevation", "deg", "Barrel above horizontal", points=BAT, source=DEFINITION)
def bat_elevation(r: Readings) -> FloatArray:
    """Elevation of the direction knob -> barrel."""
    return np.degrees(np.arcsin(r.bat_at("plant")[:, 2]))


@measure("bat_position", "", "Bat at foot-plant", points=(*BAT, "head"), source=DEFINITION)
def bat_position(r: Readings) -> Values:
    """`wrapped` where the barrel heads past the head toward the pitcher, `flat` where it lies low, else `tilted`."""
    ahead = r.at("bat_barrel", "plant")[:, 0] - r.at("head", "plant")[:, 0]
    flat = np.arcsin(r.bat_at("plant")[:, 2]) < FLAT_BELOW
    return np.where(ahead > WRAPPED_AHEAD_M, "wrapped", np.where(flat, "flat", "tilted"))


@measure("foot_open", "deg", "Front foot open", points=("front_heel", "front_ball"), source=DEFINITION)
def foot_open(r: Readings) -> FloatArray:
    """Heading of the front foot from side-on."""
    return foot_angle(r, "front", "plant")


@measure("pelvis_open", "deg", "Hips open", points=("front_hip", "back_hip"), source=DEFINITION)
def pelvis_open(r: Readings) -> FloatArray:
    """Heading of the line back hip -> front hip from the pitch direction."""
    return opening(r, "hip", "plant")


@measure("trunk_open", "deg", "Shoulders open", points=("front_shoulder", "back_shoulder"), source=DEFINITION)
def trunk_open(r: Readings) -> FloatArray:
    """Heading of the line back shoulder -> front shoulder from the pitch direction."""
    return opening(r, "shoulder", "plant")


@measure(
    "hip_shoulder_separation",
    "deg",
    "Hips ahead of shoulders",
    points=("front_hip", "back_hip", "front_shoulder", "back_shoulder"),
    source=DEFINITION,
)
def hip_shoulder_separation(r: Readings) -> FloatArray:
    """`pelvis_open` minus `trunk_open`."""
    return np.degrees(wrapped(np.radians(opening(r, "hip", "plant") - opening(r, "shoulder", "plant"))))


@measure("stride_length", "height", "Stride, ankle to ankle", points=FEET, source=DEFINITION)
def stride_length(r: Readings) -> FloatArray:
    """Horizontal distance between the ankles over height."""
    feet = (r.at(name, "plant")[:, :2] for name in FEET)
    length: FloatArray = distance(*feet) / r.height_m
    return length


@measure(
    "stride_direction",
    "deg",
    "Stride away from the plate",
    points=FEET,
    source=DEFINITION,
    method_sd=0.5,  # a skeleton of constant lengths on joints 10 mm off: posed swings
)
def stride_direction(r: Readings) -> FloatArray:
    """Heading of the line back ankle -> front ankle from the pitch direction, positive = open."""
    if r.swing.heading_method == FROM_FEET:
        raise NotMeasurableError("the direction to the pitcher was itself estimated from the feet")
    return opening(r, "ankle", "plant")


@measure(
    "front_knee_flexion", "deg", "Front knee bend", points=("front_hip", "front_knee", "front_ankle"), source=DEFINITION
)
def front_knee_flexion(r: Readings) -> FloatArray:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(r, "front", "plant")


@measure(
    "back_knee_flexion", "deg", "Back knee bend", points=("back_hip", "back_knee", "back_ankle"), source=DEFINITION
)
def back_knee_flexion(r: Readings) -> FloatArray:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(r, "back", "plant")
