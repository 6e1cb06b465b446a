"""A swing with the conventional gait marker set: markers put on a posed body come back as its joint centres."""

from __future__ import annotations

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import InputError
from mocap.kinematics.geometry import unit

HEIGHT = 1.80
KNEE, ANKLE, ELBOW = 0.0525 + 0.007, 0.036 + 0.007, 0.0375 + 0.007


def square_to(vector: np.ndarray, axis: np.ndarray) -> np.ndarray:
    along = unit(axis)
    return unit(vector - np.sum(vector * along, axis=1, keepdims=True) * along)


def put_markers(posed) -> dict[str, np.ndarray]:
    """Markers of a right-handed hitter: his left side is the front one."""
    joint = {
        f"{s}{name[len(side) :]}": posed[name]
        for side, s in (("front", "l"), ("back", "r"))
        for name in posed.names
        if name.startswith(side)
    }
    joint |= {name: posed[name] for name in ("pelvis", "neck", "head")}
    right = unit(joint["r_hip"] - joint["l_hip"])
    up = square_to(joint["neck"] - joint["pelvis"], right)
    forward = np.cross(up, right)
    # Mid-ASIS over mid-hips as the published regression has it for a width of 240, a depth of 160 and a leg of 900 mm.
    asis = joint["pelvis"] + 0.0483 * forward + 0.0815 * up
    across = unit(joint["r_shoulder"] - joint["l_shoulder"])
    trunk = square_to(joint["neck"] - joint["pelvis"], across)
    chest = np.cross(trunk, across)
    spine = joint["neck"] - joint["pelvis"]
    markers = {
        "LASI": asis - 0.12 * right,
        "RASI": asis + 0.12 * right,
        "LPSI": asis - 0.16 * forward - 0.04 * right,
        "RPSI": asis - 0.16 * forward + 0.04 * right,
        "C7": joint["neck"] - 0.06 * chest + 0.05 * trunk,
        "CLAV": joint["neck"] + 0.06 * chest + 0.02 * trunk,
        "T10": joint["neck"] - 0.10 * chest - 0.5 * spine,
        "STRN": joint["neck"] + 0.10 * chest - 0.5 * spine,
    }
    band = joint["head"] + 0.02 * HEIGHT * unit(joint["head"] - joint["neck"])
    for side, sign in (("L", -1.0), ("R", 1.0)):
        s = side.lower()
        markers[f"{side}FHD"] = band + 0.09 * chest + sign * 0.07 * across
        markers[f"{side}BHD"] = band - 0.09 * chest + sign * 0.07 * across
        thigh_out = square_to(sign * right, joint[f"{s}_hip"] - joint[f"{s}_knee"])
        shank_out = square_to(sign * right, joint[f"{s}_knee"] - joint[f"{s}_ankle"])
        markers[f"{side}KNE"] = joint[f"{s}_knee"] + KNEE * thigh_out
        markers[f"{side}THI"] = (joint[f"{s}_hip"] + joint[f"{s}_knee"]) / 2 + 0.08 * thigh_out
        markers[f"{side}ANK"] = joint[f"{s}_ankle"] + ANKLE * shank_out
        markers[f"{side}TIB"] = (joint[f"{s}_knee"] + joint[f"{s}_ankle"]) / 2 + 0.06 * shank_out
        markers[f"{side}HEE"] = joint[f"{s}_heel"] + [0, 0, 0.03]
        markers[f"{side}TOE"] = joint[f"{s}_ball"] + [0, 0, 0.03]
        # 17 % of the distance between the acromia below them (Rab 2002).
        width = np.linalg.norm(joint["r_shoulder"] - joint["l_shoulder"], axis=1, keepdims=True)
        markers[f"{side}SHO"] = joint[f"{s}_shoulder"] + 0.17 * width * trunk
        hinge = unit(np.cross(joint[f"{s}_wrist"] - joint[f"{s}_elbow"], joint[f"{s}_shoulder"] - joint[f"{s}_elbow"]))
        outward = hinge * np.sign(np.sum(hinge * sign * across, axis=1, keepdims=True))
        markers[f"{side}ELB"] = joint[f"{s}_elbow"] + ELBOW * outward
        markers[f"{side}WRA"] = joint[f"{s}_wrist"] + 0.03 * hinge
        markers[f"{side}WRB"] = joint[f"{s}_wrist"] - 0.03 * hinge
        markers[f"{side}FIN"] = joint[f"{s}_hand"]
    markers["BAT_KNOB"], markers["BAT_BARREL"] = posed["bat_knob"], posed["bat_barrel"]
    return markers


def capture_of(markers: dict[str, np.ndarray], rate_hz: float) -> Capture:
    points = np.stack(list(markers.values()), axis=1)
    return Capture("markers.c3d", tuple(markers), points, rate_hz, np.zeros(points.shape[:2]))


@pytest.fixture(scope="module")
def capture(posed) -> Capture:
    return capture_of(put_markers(posed), posed.rate_hz)


@pytest.mark.parametrize(
    ("joint", "within_m"),
    [
        ("hip", 0.020),
        ("knee", 0.010),
        ("ankle", 0.010),
        ("shoulder", 0.020),
        ("elbow", 0.030),
        ("wrist", 0.002),
        ("hand", 0.001),
        ("heel", 0.025),
        ("ball", 0.025),
    ],
)
def test_joint_centres_come_back(posed, capture: Capture, joint: str, within_m: float) -> None:
    centres = mocap.joint_centres(capture)
    for side, letter in (("front", "l"), ("back", "r")):
        off = np.linalg.norm(centres[f"{letter}_{joint}"] - posed[f"{side}_{joint}"], axis=1)
        assert np.median(off) < within_m, f"{side} {joint} {1000 * np.median(off):.0f} mm"


def test_the_swing_is_found_and_measured_as_from_joint_centres(posed, capture: Capture, make_capture) -> None:
    hitter, setup = mocap.Hitter(height_m=HEIGHT), mocap.Setup(pitcher=(1, 0, 0), plate=(0, 0, 0))
    swing = mocap.build_swing(capture, hitter, setup)
    plain = mocap.build_swing(make_capture(posed.points, posed.rate_hz), hitter, setup)
    assert swing.hitter.bats == "right"
    for name in ("plant", "contact", "finish"):
        assert abs(swing.moments[name].time_s - plain.moments[name].time_s) < 0.03
    # The face's direction shows with head markers only.
    assert np.isfinite(swing.head_forward).all()
    assert np.isnan(plain.head_forward).all()
    ours, theirs = mocap.measure(swing).measures, mocap.measure(plain).measures
    for name, within in (("back_share", 0.05), ("stride_length", 0.01), ("pelvis_open", 8.0), ("trunk_open", 8.0)):
        assert ours[name].value == pytest.approx(theirs[name].value, abs=within), name


def test_a_sacrum_marker_stands_for_the_two_behind(posed, capture: Capture) -> None:
    markers = put_markers(posed)
    sacrum = (markers.pop("LPSI") + markers.pop("RPSI")) / 2
    centres = mocap.joint_centres(capture_of(markers | {"SACR": sacrum}, posed.rate_hz))
    assert centres["l_hip"] == pytest.approx(mocap.joint_centres(capture)["l_hip"], abs=1e-9)


def test_what_is_missing_is_named(posed) -> None:
    markers = put_markers(posed)
    without_back = {n: p for n, p in markers.items() if n not in ("LPSI", "RPSI")}
    with pytest.raises(InputError, match="LPSI and RPSI, or SACR") as raised:
        mocap.joint_centres(capture_of(without_back, posed.rate_hz))
    assert str(raised.value).startswith("markers.c3d: ")
    without_knee = {n: p for n, p in markers.items() if n != "LKNE"}
    with pytest.raises(InputError, match="conventional gait markers: 1 needed points are missing: l_knee_lateral"):
        mocap.joint_centres(capture_of(without_knee, posed.rate_hz))
