"""Markers on a posed body: where a lab would stick them, fixed to the bones.

A body is posed in the hitting frame as right-handed, so that its left side is the front one. Each marker has a fixed
place in the axes of its segment (`mocap.kinematics.segment_frames` of the exact points, with the hinges that knees and
elbows truly have), so that without movement of the skin it is rigid with the bone. Distances over the bone are shares
of standing height; those that were chosen for this model hold for the sizes that the kinematics suppose where nothing
was measured (`limb_centres.WIDTHS`, Harrington's pelvis).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal, get_args

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import unit, wrapped
from mocap.kinematics.hip_centres import MARKER_RADIUS_M
from mocap.kinematics.limb_centres import SHOULDER_DROP, WIDTHS
from mocap.kinematics.segment_frames import axes_from, segment_frames
from mocap.kinematics.skin_markers import LEG_PER_HEIGHT
from mocap.kinematics.trunk_axes import HEAD_BELOW_BAND
from mocap.reference.parameters import SwingParameters
from mocap.swing import POINTS

MarkerKind = Literal["joint_centres", "conventional_gait", "cluster"]
BatKind = Literal["ends", "handle", "ends_and_handle"]
Body = Mapping[str, FloatArray]

#: Left and right of a right-handed hitter.
SIDES = {"front": "l", "back": "r"}
#: Labels of a recording of joint centres, by the points of a right-handed hitter's swing.
CENTRE_LABELS = {name: name.upper().replace("FRONT_", "L_").replace("BACK_", "R_") for name in POINTS}
#: Place of the point `SPINE` that a solved skeleton carries, from pelvis to neck.
SPINE_ALONG = 0.4
#: The segment at whose end each joint centre lies.
CENTRE_SEGMENTS = {
    "pelvis": "pelvis",
    "neck": "thorax",
    "head": "head",
    "head_top": "head",
    "hip": "pelvis",
    "knee": "thigh",
    "ankle": "shank",
    "heel": "foot",
    "ball": "foot",
    "toe": "foot",
    "shoulder": "thorax",
    "elbow": "upper_arm",
    "wrist": "forearm",
    "hand": "hand",
}
#: Depth of the pelvis over its width, as in the adult of Harrington et al. (2007) that `reference.proportions` cites.
PELVIS_DEPTH = 160.0 / 240.0
#: Markers on the bat's handle: from the knob along it, above both hands; out of its axis. [m]
HANDLE = {
    "BATH1": (0.24, 0.030, 0.0),
    "BATH2": (0.29, 0.0, 0.030),
    "BATH3": (0.34, -0.030, 0.0),
    "BATH4": (0.39, 0.0, -0.030),
}
#: A hitter faces the ball where it comes to the plate: this far in front of the middle of his feet. [m]
WATCHED_M = 3.0
#: A neck turns the face by no more than this from the chest; the eyes do the rest. [rad] Common range of motion.
NECK_TURN = np.radians(80.0)


@dataclass(frozen=True)
class Marker:
    """One marker on a right-handed hitter, or on his bat.

    Attributes
    ----------
    label : str
    segment : str
        In whose axes it keeps its place: a name of `segment_frames`, or `bat`.
    start, end : str
        Points of the body between which its place is counted.
    along : float
        Share of the way from `start` to `end`.
    offset_m : tuple of 3 floats
        From there forward, up along the segment, and to the subject's right. [m]
    site : str
        Where on the segment it sits, which decides how far the skin carries it; see `soft_tissue.LOOSENESS`.
    mount : str
        Markers of one mount (plate, shoe, head band) move as one with the skin under it.
    """

    label: str
    segment: str
    start: str
    end: str
    along: float
    offset_m: tuple[float, float, float]
    site: str
    mount: str


def joints_of(points: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Points of a swing by left and right, as a right-handed hitter has them."""
    return {_sided(name): path for name, path in points.items()}


def body_frames(joints: Body, parameters: SwingParameters) -> dict[str, FloatArray]:
    """Axes of every segment and of the bat.

    Parameters
    ----------
    joints : mapping of str to ndarray, shape (F, 3)
        From `joints_of`. [m]
    parameters : SwingParameters

    Returns
    -------
    dict of str to ndarray, shape (F, 3, 3)
        World from segment: the names of `segment_frames`; the head's y along the line from the neck to the vertex and
        its x where the face points; and `bat`, y from knob to barrel and z beside it toward the wrist of the bottom
        hand, whose grip does not slip.
    """
    hinges = {}
    for side in SIDES.values():
        hip, knee, ankle = (joints[f"{side}_{name}"] for name in ("hip", "knee", "ankle"))
        shoulder, elbow, wrist = (joints[f"{side}_{name}"] for name in ("shoulder", "elbow", "wrist"))
        # Exact points show a hinge's axis at any bend, and it turns with its bones where one mixed with others' jumps.
        hinges[f"{side}_knee"] = unit(np.cross(ankle - knee, knee - hip))
        hinges[f"{side}_elbow"] = unit(np.cross(elbow - shoulder, wrist - elbow))
    head = axes_from(joints["head_top"] - joints["neck"], face(joints, parameters), "yx")
    bat = axes_from(joints["bat_barrel"] - joints["bat_knob"], joints["l_wrist"] - joints["l_hand"], "yz")
    return segment_frames(joints, hinges, {"head": head}) | {"bat": bat}


def face(joints: Body, parameters: SwingParameters) -> FloatArray:
    """Unit direction of the face, shape (F, 3): toward the ball on its way, as far as the neck turns.

    Parameters
    ----------
    joints : mapping of str to ndarray, shape (F, 3)
        [m]
    parameters : SwingParameters
        Where the plate lies and how high the ball comes.
    """
    barrel = parameters.barrel
    ball = np.array([WATCHED_M, -barrel.plate_line_m, barrel.contact_height * parameters.height_m])
    gaze = unit(ball - joints["head"])
    shoulders = joints["r_shoulder"] - joints["l_shoulder"]
    chest = np.arctan2(shoulders[:, 0], -shoulders[:, 1])
    turn = wrapped(np.arctan2(gaze[:, 1], gaze[:, 0]) - chest)
    heading = chest + NECK_TURN * np.tanh(turn / NECK_TURN)
    level = np.hypot(gaze[:, 0], gaze[:, 1])
    return np.stack([level * np.cos(heading), level * np.sin(heading), gaze[:, 2]], axis=-1)


def place(markers: tuple[Marker, ...], joints: Body, frames: Mapping[str, FloatArray]) -> FloatArray:
    """Markers on a moving body.

    Parameters
    ----------
    markers : tuple of Marker, length M
    joints : mapping of str to ndarray, shape (F, 3)
        From `joints_of`. [m]
    frames : mapping of str to ndarray, shape (F, 3, 3)
        From `body_frames`.

    Returns
    -------
    ndarray, shape (F, M, 3)
        [m]
    """
    paths = []
    for marker in markers:
        start = joints[marker.start]
        on_line = start + marker.along * (joints[marker.end] - start) if marker.along else start
        paths.append(on_line + frames[marker.segment] @ np.array(marker.offset_m) if any(marker.offset_m) else on_line)
    return np.stack(paths, axis=1)


def marker_table(kind: MarkerKind, joints: Body, height_m: float, *, bat: BatKind = "ends") -> tuple[Marker, ...]:
    """The markers of a set on a body of a given size.

    Parameters
    ----------
    kind : {"joint_centres", "conventional_gait", "cluster"}
        The labels are those of ``assets/marker_sets``.
    joints : mapping of str to ndarray, shape (F, 3)
        The body in any posture, for the widths of its hips and shoulders. [m]
    height_m : float
        Standing height. [m]
    bat : {"ends", "handle", "ends_and_handle"}
        Knob and barrel, a cluster on the handle, or both.

    Raises
    ------
    OptionError
        An unknown set.
    """
    makers: dict[str, Callable[[Body, float], list[Marker]]] = {
        "joint_centres": _centres,
        "conventional_gait": _gait,
        "cluster": _cluster,
    }
    if kind not in makers:
        raise OptionError(f"virtual markers: set {kind!r} is not known; give one of {', '.join(makers)}")
    if bat not in get_args(BatKind):
        raise OptionError(f"virtual markers: bat {bat!r} is not known; give one of {', '.join(get_args(BatKind))}")
    ends = [_on(f"bat_{end}", "bat", label, "bat") for end, label in (("knob", "BAT_KNOB"), ("barrel", "BAT_BARREL"))]
    handle = [
        Marker(label, "bat", "bat_knob", "bat_knob", 0.0, (x, along, z), "bat", "bat")
        for label, (along, x, z) in HANDLE.items()
    ]
    on_bat = (ends if bat != "handle" else []) + (handle if bat != "ends" else [])
    body = makers[kind](joints, height_m)
    if kind == "joint_centres":  # a solved skeleton's own points of the spine follow the bat's
        return (*body[:-1], *on_bat, body[-1])
    return (*body, *on_bat)


def _sided(name: str) -> str:
    side, _, joint = name.partition("_")
    return f"{SIDES[side]}_{joint}" if side in SIDES else name


def _on(joint: str, segment: str, label: str, site: str) -> Marker:
    """A marker in a point itself."""
    return Marker(label, segment, joint, joint, 0.0, (0.0, 0.0, 0.0), site, label)


def _centres(joints: Body, height: float) -> list[Marker]:
    """Joint centres as a solver hands them over, the bat's apart."""
    del joints, height  # they have no size
    markers = []
    for name, label in CENTRE_LABELS.items():
        point = _sided(name)
        side, bare = (point[:2], point[2:]) if point[:2] in ("l_", "r_") else ("", point)
        if bare in CENTRE_SEGMENTS:
            segment = CENTRE_SEGMENTS[bare]
            on_limb = segment not in ("pelvis", "thorax", "head")
            markers.append(_on(point, side + segment if on_limb else segment, label, "centre"))
    return [*markers, Marker("SPINE", "thorax", "pelvis", "neck", SPINE_ALONG, (0.0, 0.0, 0.0), "centre", "SPINE")]


def _gait(joints: Body, height: float) -> list[Marker]:
    """The conventional gait set with four markers on the pelvis."""
    h = partial(_scaled, height)
    beside = {joint: WIDTHS[f"{joint}width"] * height / 2 + MARKER_RADIUS_M for joint in ("knee", "ankle", "elbow")}
    right = [
        _marker("RTHI", "r_thigh", "r_hip", "r_knee", 0.5, (0.0, 0.0, h(0.080)), "thigh"),
        _marker("RKNE", "r_thigh", "r_knee", "r_knee", 0.0, (0.0, 0.0, beside["knee"]), "knee"),
        _marker("RTIB", "r_shank", "r_knee", "r_ankle", 0.5, (0.0, 0.0, h(0.060)), "shank"),
        _marker("RANK", "r_shank", "r_ankle", "r_ankle", 0.0, (0.0, 0.0, beside["ankle"]), "ankle"),
        _marker("RHEE", "r_foot", "r_heel", "r_heel", 0.0, (0.0, h(0.030), 0.0), "shoe", "r_shoe"),
        _marker("RTOE", "r_foot", "r_ball", "r_ball", 0.0, (0.0, h(0.030), 0.0), "shoe", "r_shoe"),
        _marker("RELB", "r_upper_arm", "r_elbow", "r_elbow", 0.0, (0.0, 0.0, beside["elbow"]), "elbow"),
        _marker("RWRA", "r_forearm", "r_wrist", "r_wrist", 0.0, (0.0, 0.0, h(0.030)), "wrist", "r_wrist"),
        _marker("RWRB", "r_forearm", "r_wrist", "r_wrist", 0.0, (0.0, 0.0, h(-0.030)), "wrist", "r_wrist"),
        _marker("RFIN", "r_hand", "r_hand", "r_hand", 0.0, (0.0, 0.0, 0.0), "hand"),
    ]
    return [*_trunk(joints, height), *_both_sides(right)]


#: Names of the trunk's markers in the cluster set, by their names in the gait set without the side.
CLUSTER_NAMES = {"ASI": "ASIS", "PSI": "PSIS", "SHO": "ACR", "CLAV": "IJ", "T10": "T8", "STRN": "PX"}


def _cluster(joints: Body, height: float) -> list[Marker]:
    """Lateral and medial markers at the joints, and plates of four on the limbs."""
    h = partial(_scaled, height)
    trunk = []
    for marker in _trunk(joints, height):
        side = marker.label[0] if marker.label[0] in "LR" else ""
        label = side + CLUSTER_NAMES.get(marker.label.removeprefix(side), marker.label.removeprefix(side))
        trunk.append(replace(marker, label=label, mount=marker.mount if marker.site == "head" else label))
    right = []
    for outer, inner, segment, joint, half in (
        ("LE", "ME", "r_thigh", "knee", 0.055),
        ("LM", "MM", "r_shank", "ankle", 0.040),
        ("EL", "EM", "r_upper_arm", "elbow", 0.042),
        ("RS", "US", "r_forearm", "wrist", 0.030),
    ):
        for label, out in ((outer, half), (inner, -half)):
            right.append(_marker(f"R{label}", segment, f"r_{joint}", f"r_{joint}", 0.0, (0.0, 0.0, h(out)), joint))
    for plate, segment, upper, lower in (
        ("TH", "thigh", "hip", "knee"),
        ("SK", "shank", "knee", "ankle"),
        ("UA", "upper_arm", "shoulder", "elbow"),
        ("FA", "forearm", "elbow", "wrist"),
    ):
        for number, (along, ahead) in enumerate(((0.4, -0.03), (0.4, 0.03), (0.6, -0.03), (0.6, 0.03)), start=1):
            offset = (h(ahead), 0.0, h(0.070))
            label, ends = f"R{plate}{number}", (f"r_{upper}", f"r_{lower}")
            right.append(_marker(label, f"r_{segment}", *ends, along, offset, segment, f"r_{segment}_plate"))
    foot = partial(_marker, segment="r_foot", along=0.0, site="shoe", mount="r_shoe")
    right += [
        foot("RHEEL", start="r_heel", end="r_heel", offset=(0.0, h(0.030), 0.0)),
        foot("RMT1", start="r_ball", end="r_ball", offset=(0.0, h(0.030), h(-0.040))),
        foot("RMT5", start="r_ball", end="r_ball", offset=(0.0, h(0.030), h(0.040))),
        _marker("RMC3", "r_hand", "r_hand", "r_hand", 0.0, (0.0, 0.0, 0.0), "hand"),
    ]
    return [*trunk, *_both_sides(right)]


def _trunk(joints: Body, height: float) -> list[Marker]:
    """Pelvis, thorax and head, by their names in the gait set."""
    h = partial(_scaled, height)
    # A pelvis for which the regression of Harrington et al. (2007) gives this body's hips: see `hip_harrington`.
    width = (_apart(joints, "hip") / 2 - 0.0079) / (0.28 * PELVIS_DEPTH + 0.16)
    depth = PELVIS_DEPTH * width
    front = 0.24 * depth + 0.0099 + MARKER_RADIUS_M
    level = 0.16 * width + 0.04 * LEG_PER_HEIGHT * height + 0.0071
    back = front - depth - 2 * MARKER_RADIUS_M
    drop = SHOULDER_DROP * _apart(joints, "shoulder")
    right = [
        _marker("RASI", "pelvis", "pelvis", "pelvis", 0.0, (front, level, width / 2), "asis"),
        _marker("RPSI", "pelvis", "pelvis", "pelvis", 0.0, (back, level, h(0.040)), "psis"),
        _marker("RSHO", "thorax", "r_shoulder", "r_shoulder", 0.0, (0.0, drop, 0.0), "acromion"),
        _marker("RFHD", "head", "head", "head", 0.0, (h(0.090), HEAD_BELOW_BAND * height, h(0.070)), "head", "head"),
        _marker("RBHD", "head", "head", "head", 0.0, (h(-0.090), HEAD_BELOW_BAND * height, h(0.070)), "head", "head"),
    ]
    middle = [
        _marker("C7", "thorax", "neck", "neck", 0.0, (h(-0.060), h(0.050), 0.0), "trunk"),
        _marker("CLAV", "thorax", "neck", "neck", 0.0, (h(0.060), h(0.020), 0.0), "trunk"),
        _marker("T10", "thorax", "neck", "pelvis", 0.5, (h(-0.100), 0.0, 0.0), "trunk"),
        _marker("STRN", "thorax", "neck", "pelvis", 0.5, (h(0.100), 0.0, 0.0), "trunk"),
    ]
    return [*_both_sides(right), *middle]


def _marker(
    label: str,
    segment: str,
    start: str,
    end: str,
    along: float,
    offset: tuple[float, float, float],
    site: str,
    mount: str = "",
) -> Marker:
    return Marker(label, segment, start, end, along, offset, site, mount or label)


def _scaled(height: float, at_180: float) -> float:
    """A distance that is given for a standing height of 1.80 m. [m]"""
    return at_180 * height / 1.80


def _apart(joints: Body, joint: str) -> float:
    """Between the left and the right of a pair of joints. [m]"""
    return float(np.median(np.linalg.norm(joints[f"r_{joint}"] - joints[f"l_{joint}"], axis=-1)))


def _both_sides(right: list[Marker]) -> list[Marker]:
    """Markers of the left and of the right side from those of the right."""

    def to_left(name: str) -> str:
        return f"l{name[1:]}" if name.startswith("r_") else f"L{name[1:]}" if name.startswith("R") else name

    left = [
        Marker(
            to_left(m.label),
            to_left(m.segment),
            to_left(m.start),
            to_left(m.end),
            m.along,
            (m.offset_m[0], m.offset_m[1], -m.offset_m[2]),
            m.site,
            to_left(m.mount),
        )
        for m in right
    ]
    return [*left, *right]
