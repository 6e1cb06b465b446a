"""Markers put on a posed body, so that the joint centres they must lead to are known."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from mocap.capture import Capture
from mocap.kinematics.geometry import across, unit
from mocap.reference.posed import PosedSwing

HEIGHT = 1.80
#: Marker centre to joint centre for the widths that a 1.80 m hitter is given, and a marker's radius of 7 mm. [m]
KNEE, ANKLE, ELBOW = 0.058 * HEIGHT / 2 + 0.007, 0.041 * HEIGHT / 2 + 0.007, 0.043 * HEIGHT / 2 + 0.007

Markers = dict[str, np.ndarray]


def capture_of(markers: Mapping[str, np.ndarray], rate_hz: float = 240.0, **more: object) -> Capture:
    points = np.stack(list(markers.values()), axis=1)
    return Capture("markers.c3d", tuple(markers), points, rate_hz, np.zeros(points.shape[:2]), **more)


def joints_of(posed: PosedSwing) -> Markers:
    """Points of the posed swing by left and right: a right-handed hitter's left side is the front one."""
    sides = {"front_": "l_", "back_": "r_"}
    return {
        next((sides[s] + name[len(s) :] for s in sides if name.startswith(s)), name): posed[name]
        for name in posed.names
    }


def square_to(vector: np.ndarray, axis: np.ndarray) -> np.ndarray:
    return unit(across(vector, unit(axis)))


def trunk_markers(joint: Markers) -> Markers:
    """Pelvis, thorax and head."""
    right = unit(joint["r_hip"] - joint["l_hip"])
    up = square_to(joint["neck"] - joint["pelvis"], right)
    forward = np.cross(up, right)
    # Mid-ASIS over mid-hips as Harrington has it for a width of 240, a depth of 160 and a leg of 900 mm, all on bone.
    asis = joint["pelvis"] + (0.0483 + 0.007) * forward + 0.0815 * up
    shoulders = unit(joint["r_shoulder"] - joint["l_shoulder"])
    trunk = square_to(joint["neck"] - joint["pelvis"], shoulders)
    chest = np.cross(trunk, shoulders)
    spine = joint["neck"] - joint["pelvis"]
    markers = {
        "LASI": asis - 0.12 * right,
        "RASI": asis + 0.12 * right,
        "LPSI": asis - (0.16 + 0.014) * forward - 0.04 * right,
        "RPSI": asis - (0.16 + 0.014) * forward + 0.04 * right,
        "C7": joint["neck"] - 0.06 * chest + 0.05 * trunk,
        "CLAV": joint["neck"] + 0.06 * chest + 0.02 * trunk,
        "T10": joint["neck"] - 0.10 * chest - 0.5 * spine,
        "STRN": joint["neck"] + 0.10 * chest - 0.5 * spine,
    }
    band = joint["head"] + 0.02 * HEIGHT * unit(joint["head"] - joint["neck"])
    for side, sign in (("L", -1.0), ("R", 1.0)):
        markers[f"{side}FHD"] = band + 0.09 * chest + sign * 0.07 * shoulders
        markers[f"{side}BHD"] = band - 0.09 * chest + sign * 0.07 * shoulders
        # 17 % of the distance between the acromia below them (Rab 2002).
        width = np.linalg.norm(joint["r_shoulder"] - joint["l_shoulder"], axis=1, keepdims=True)
        markers[f"{side}SHO"] = joint[f"{side.lower()}_shoulder"] + 0.17 * width * trunk
    return markers


def lateral_of(joint: Markers, side: str) -> Markers:
    """Unit vectors outward along the flexion axes of knee, ankle and elbow; an elbow bends forward only."""
    sign = 1.0 if side == "r" else -1.0
    outward = sign * unit(joint["r_hip"] - joint["l_hip"])
    hip, knee, ankle, shoulder, elbow, wrist = (
        joint[f"{side}_{name}"] for name in ("hip", "knee", "ankle", "shoulder", "elbow", "wrist")
    )
    foot = joint[f"{side}_toe"] - joint[f"{side}_heel"]
    return {
        "knee": square_to(outward, hip - knee),
        "ankle": square_to(sign * np.cross(foot, knee - ankle), knee - ankle),
        "elbow": sign * unit(np.cross(wrist - elbow, shoulder - elbow)),
    }


@pytest.fixture(scope="session")
def gait_markers(posed: PosedSwing) -> Markers:
    """The conventional set on a right-handed hitter, with knob and barrel of his bat."""
    joint = joints_of(posed)
    markers = trunk_markers(joint)
    for side in ("L", "R"):
        s = side.lower()
        out = lateral_of(joint, s)
        knee, ankle = joint[f"{s}_knee"], joint[f"{s}_ankle"]
        markers[f"{side}KNE"] = knee + KNEE * out["knee"]
        markers[f"{side}THI"] = (joint[f"{s}_hip"] + knee) / 2 + 0.08 * out["knee"]
        markers[f"{side}ANK"] = ankle + ANKLE * out["ankle"]
        markers[f"{side}TIB"] = (knee + ankle) / 2 + 0.06 * out["ankle"]
        markers[f"{side}HEE"] = joint[f"{s}_heel"] + [0, 0, 0.03]
        markers[f"{side}TOE"] = joint[f"{s}_ball"] + [0, 0, 0.03]
        markers[f"{side}ELB"] = joint[f"{s}_elbow"] + ELBOW * out["elbow"]
        markers[f"{side}WRA"] = joint[f"{s}_wrist"] + 0.03 * out["elbow"]
        markers[f"{side}WRB"] = joint[f"{s}_wrist"] - 0.03 * out["elbow"]
        markers[f"{side}FIN"] = joint[f"{s}_hand"]
    return markers | {"BAT_KNOB": joint["bat_knob"], "BAT_BARREL": joint["bat_barrel"]}


@pytest.fixture(scope="session")
def cluster_markers(posed: PosedSwing) -> Markers:
    """The cluster set on a right-handed hitter: lateral and medial markers, and plates of four on the limbs."""
    joint = joints_of(posed)
    names = {"ASI": "ASIS", "PSI": "PSIS", "SHO": "ACR", "C7": "C7", "CLAV": "IJ", "T10": "T8", "STRN": "PX"}
    markers = {}
    for label, path in trunk_markers(joint).items():
        bare = label[1:] if label[0] in "LR" else label
        prefix = label[0] if label[0] in "LR" else ""
        markers[prefix + names.get(bare, bare)] = path
    for side in ("L", "R"):
        s = side.lower()
        out = lateral_of(joint, s)
        ends = {
            "knee": ("LE", "ME", out["knee"], 0.055),
            "ankle": ("LM", "MM", out["ankle"], 0.040),
            "elbow": ("EL", "EM", out["elbow"], 0.042),
            "wrist": ("RS", "US", out["elbow"], 0.030),
        }
        for name, (outer, inner, along, half) in ends.items():
            markers[side + outer] = joint[f"{s}_{name}"] + half * along
            markers[side + inner] = joint[f"{s}_{name}"] - half * along
        bones = {
            "TH": ("hip", "knee", "knee"),
            "SK": ("knee", "ankle", "ankle"),
            "UA": ("shoulder", "elbow", "elbow"),
            "FA": ("elbow", "wrist", "elbow"),
        }
        for plate, (upper, lower, axis) in bones.items():
            bone = joint[f"{s}_{lower}"] - joint[f"{s}_{upper}"]
            beside = square_to(out[axis], bone)
            ahead = np.cross(beside, unit(bone))
            for number, (along, over) in enumerate(((0.4, -0.03), (0.4, 0.03), (0.6, -0.03), (0.6, 0.03)), start=1):
                place = joint[f"{s}_{upper}"] + along * bone + 0.07 * beside + over * ahead
                markers[f"{side}{plate}{number}"] = place
        markers[f"{side}HEEL"] = joint[f"{s}_heel"] + [0, 0, 0.03]
        markers[f"{side}MT1"] = joint[f"{s}_ball"] + [0, 0, 0.03] - 0.04 * out["ankle"]
        markers[f"{side}MT5"] = joint[f"{s}_ball"] + [0, 0, 0.03] + 0.04 * out["ankle"]
        markers[f"{side}MC3"] = joint[f"{s}_hand"]
    return markers


@pytest.fixture(scope="session")
def as_capture() -> Callable[..., Capture]:
    """Make a recording of paths by label."""
    return capture_of


@pytest.fixture(scope="session")
def truth(posed: PosedSwing) -> Markers:
    """Joint centres of the posed swing by left and right."""
    return joints_of(posed)
