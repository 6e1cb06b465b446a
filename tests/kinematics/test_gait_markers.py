"""A swing with skin markers: markers put on a posed body come back as its joint centres."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import InputError
from mocap.kinematics.joint_centres import Body, body_from_cleaned
from mocap.swing import BodyModel

HEIGHT = 1.80
Markers = dict[str, np.ndarray]
Maker = Callable[..., Capture]


@pytest.fixture(scope="module")
def gait(gait_markers: Markers, as_capture: Maker) -> Capture:
    return as_capture(gait_markers, subject={"height_m": HEIGHT})


def off(body: Body, truth: Mapping[str, np.ndarray], joint: str) -> dict[str, float]:
    """Median distance from the true centre by side. [m]"""
    names = (f"{side}_{joint}" for side in "lr")
    return {name: float(np.median(np.linalg.norm(body.centres[name] - truth[name], axis=1))) for name in names}


@pytest.mark.parametrize(
    ("joint", "within_m"),
    [
        ("hip", 0.012),  # a regression on the size of a pelvis that is not quite the posed body's
        ("knee", 0.003),
        ("ankle", 0.003),
        ("shoulder", 1e-9),
        ("elbow", 1e-9),
        ("wrist", 1e-9),
        ("hand", 1e-9),
        ("heel", 0.025),
        ("ball", 0.025),
    ],
)
def test_joint_centres_come_back(truth: Markers, gait: Capture, joint: str, within_m: float) -> None:
    found = off(body_from_cleaned(gait), truth, joint)
    assert max(found.values()) < within_m, found


@pytest.mark.parametrize(
    ("joint", "within_m"),
    [("knee", 1e-9), ("ankle", 1e-9), ("elbow", 1e-9), ("wrist", 1e-9), ("hip", 0.012), ("ball", 0.025)],
)
def test_medial_markers_show_the_centres_themselves(
    truth: Markers, cluster_markers: Markers, as_capture: Maker, joint: str, within_m: float
) -> None:
    body = body_from_cleaned(as_capture(cluster_markers))
    assert body.marker_set == "cluster markers"
    found = off(body, truth, joint)
    assert max(found.values()) < within_m, found


def test_a_plate_stands_for_medial_markers_that_are_missing(
    truth: Markers, cluster_markers: Markers, as_capture: Maker
) -> None:
    bare = {label: path for label, path in cluster_markers.items() if label[1:] not in ("ME", "MM")}
    body = body_from_cleaned(as_capture(bare, subject={"height_m": HEIGHT}))
    for joint, half in (("knee", 0.055), ("ankle", 0.040)):
        # The markers here sit closer to the centres than a width estimated from the height has it.
        assert max(off(body, truth, joint).values()) < 0.008 + abs(half - 0.059)
    assert any("flexion axes of the knees cannot be placed: LME and RME are missing" in note for note in body.notes)


def test_flexion_axes_point_to_the_right_on_both_sides(truth: Markers, gait: Capture, cluster_markers: Markers) -> None:
    body = body_from_cleaned(gait)
    assert set(body.lateral) == {f"{s}_{joint}" for s in "lr" for joint in ("knee", "ankle", "elbow", "wrist")}
    right = truth["r_hip"] - truth["l_hip"]
    for side, sign in (("l", -1.0), ("r", 1.0)):
        assert np.median(np.sum(body.lateral[f"{side}_knee"] * right, axis=1)) > 0
        outward = cluster_markers[f"{side.upper()}LE"] - cluster_markers[f"{side.upper()}ME"]
        cosine = np.sum(body.lateral[f"{side}_knee"] * sign * outward, axis=1) / np.linalg.norm(outward, axis=1)
        assert np.median(cosine) > np.cos(np.radians(8.0))
    for path in body.lateral.values():
        assert np.linalg.norm(path, axis=1) == pytest.approx(1.0)


def test_axes_and_origins_come_from_the_markers(gait_markers: Markers, gait: Capture) -> None:
    body = body_from_cleaned(gait)
    assert set(body.axes) == {"pelvis", "thorax", "head"}
    for axes in body.axes.values():
        assert np.linalg.det(axes) == pytest.approx(1.0)
        assert np.median(axes[:, 2, 1]) > 0.5  # y is up
    assert body.origins["pelvis"] == pytest.approx((gait_markers["LASI"] + gait_markers["RASI"]) / 2)
    assert body.origins["thorax"] is body.markers["clavicle"]
    across = gait_markers["RASI"] - gait_markers["LASI"]
    assert body.axes["pelvis"][:, :, 2] == pytest.approx(across / np.linalg.norm(across, axis=1, keepdims=True))


def test_every_marker_has_a_segment_and_a_spread(gait: Capture, gait_markers: Markers) -> None:
    body = body_from_cleaned(gait)
    assert len(body.markers) == len(gait_markers) - 2  # all but the bat's
    assert set(body.markers) == set(body.segment_of) == set(body.marker_sd_m)
    assert body.segment_of["l_acromion"] == "l_clavicle"
    assert body.marker_sd_m["l_thigh"] == max(body.marker_sd_m.values())


def test_functional_centres_replace_the_regressions(gait: Capture, truth: Markers) -> None:
    plain = body_from_cleaned(gait)
    local = {}
    for name, part in (("l_hip", "pelvis"), ("r_hip", "pelvis"), ("l_shoulder", "thorax"), ("r_shoulder", "thorax")):
        in_segment = np.swapaxes(plain.axes[part], 1, 2) @ (truth[name] - plain.origins[part])[:, :, None]
        local[name] = np.median(in_segment[:, :, 0], axis=0)
    body = body_from_cleaned(gait, functional=local)
    assert max(off(body, truth, "hip").values()) < 1e-9  # the posed pelvis is rigid
    local["l_shoulder"] = local["l_shoulder"] + [0.03, 0.0, 0.0]
    moved = body_from_cleaned(gait, functional=local).centres["l_shoulder"] - truth["l_shoulder"]
    assert moved == pytest.approx(0.03 * plain.axes["thorax"][:, :, 0], abs=1e-9)
    assert body.centre_sd_m["l_hip"] < plain.centre_sd_m["l_hip"]
    assert any("functional, from the calibration trial" in note for note in body.notes)


def test_functional_centres_without_the_axes_they_are_given_in_are_refused(
    gait_markers: Markers, as_capture: Maker, posed, make_capture: Maker
) -> None:
    without = as_capture({label: path for label, path in gait_markers.items() if label != "STRN"})
    with pytest.raises(InputError, match=r"markers\.c3d: a functional shoulder .* STRN is missing"):
        body_from_cleaned(without, functional={"l_shoulder": np.zeros(3)})
    with pytest.raises(InputError, match="only markers show, but the recording holds joint centres"):
        body_from_cleaned(make_capture(posed.points, posed.rate_hz), functional={"l_hip": np.zeros(3)})


def test_the_hip_regression_can_be_chosen_and_is_named(gait: Capture) -> None:
    found = {hip: body_from_cleaned(gait, BodyModel(hip=hip)) for hip in ("auto", "davis", "harrington", "hara")}
    assert found["auto"].centres["l_hip"] == pytest.approx(found["harrington"].centres["l_hip"])
    for hip, name in (("davis", "Davis 1991"), ("harrington", "Harrington 2007"), ("hara", "Hara 2016")):
        assert any(f"hip centres by {name}" in note for note in found[hip].notes)
    assert found["davis"].centre_sd_m["l_hip"] > found["harrington"].centre_sd_m["l_hip"]


def test_the_labs_measurements_decide_the_method_and_a_senseless_one_is_left_out(
    gait_markers: Markers, as_capture: Maker
) -> None:
    lab = {"lleglength": 905.0, "rleglength": 905.0, "lkneewidth": 1.1, "rkneewidth": 110.0}
    body = body_from_cleaned(as_capture(gait_markers, subject=lab))
    assert any("by Davis 1991" in note and "0.905 m measured by the lab" in note for note in body.notes)
    assert any("lkneewidth = 1.1 mm, outside 50 to 220 mm" in note for note in body.notes)
    turned = body_from_cleaned(as_capture(gait_markers, subject=lab | {"lthighrotation": 0.12, "rthighrotation": 0.0}))
    (note,) = [note for note in turned.notes if "rotation" in note]
    assert "lthighrotation = 0.12" in note
    assert note.endswith("the left knee may differ from the lab's")
    right = body.centres["r_knee"] - gait_markers["RKNE"]
    assert np.linalg.norm(right, axis=1) == pytest.approx(0.055 + 0.007)


def test_the_swing_is_found_and_measured_as_from_joint_centres(posed, gait: Capture, make_capture: Maker) -> None:
    hitter, setup = mocap.Hitter(height_m=HEIGHT), mocap.Setup(pitcher=(1, 0, 0), plate=(0, 0, 0))
    swing = mocap.build_swing(gait, hitter, setup)
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


def test_a_sacrum_marker_stands_for_the_two_behind(gait_markers: Markers, as_capture: Maker) -> None:
    markers = dict(gait_markers)
    sacrum = (markers.pop("LPSI") + markers.pop("RPSI")) / 2
    found = body_from_cleaned(as_capture(markers | {"SACR": sacrum}))
    assert found.centres["l_hip"] == pytest.approx(body_from_cleaned(as_capture(gait_markers)).centres["l_hip"])


@pytest.mark.parametrize(
    ("left_out", "line"),
    [
        (("LPSI", "RPSI"), "the pelvis cannot be placed: LPSI and RPSI, or SACR, are missing; without it no joint"),
        (("LKNE",), "the knees cannot be placed: LKNE is missing; without it no joint centre is found"),
    ],
)
def test_without_pelvis_or_legs_no_centre_is_found(
    gait_markers: Markers, as_capture: Maker, left_out: tuple[str, ...], line: str
) -> None:
    markers = {label: path for label, path in gait_markers.items() if label not in left_out}
    with pytest.raises(InputError) as raised:
        mocap.joint_centres(as_capture(markers))
    assert str(raised.value).startswith("markers.c3d: conventional gait markers: ")
    assert line in str(raised.value)


@pytest.mark.parametrize(
    ("left_out", "line"),
    [
        (("C7", "CLAV"), "the trunk cannot be placed: C7 and CLAV are missing; without it no swing can be measured"),
        (("LTOE",), "the feet cannot be placed: LTOE is missing; without it no swing can be measured"),
        (
            ("LSHO", "RFHD"),
            "the shoulders cannot be placed: LSHO is missing; the head cannot be placed: RFHD is missing; without them"
            " no swing can be measured",
        ),
    ],
)
def test_what_is_missing_for_a_swing_is_named_while_the_rest_is_placed(
    gait_markers: Markers, as_capture: Maker, left_out: tuple[str, ...], line: str
) -> None:
    capture = as_capture({label: path for label, path in gait_markers.items() if label not in left_out})
    centres = mocap.joint_centres(capture)
    assert np.isfinite(centres["l_hip"]).all()
    assert np.isfinite(centres["r_ankle"]).all()
    with pytest.raises(InputError) as raised:
        mocap.build_swing(capture)
    assert str(raised.value) == f"markers.c3d: conventional gait markers: {line}"


def test_arms_that_are_missing_are_left_out_with_a_note(gait_markers: Markers, as_capture: Maker) -> None:
    body = body_from_cleaned(as_capture({n: p for n, p in gait_markers.items() if n not in ("LWRA", "LELB")}))
    assert body.lacking == ""
    assert np.isnan(body.centres["l_elbow"]).all()
    assert np.isfinite(body.centres["r_elbow"]).all()
    assert any(note.startswith("the elbows cannot be placed: LELB and LWRA are missing;") for note in body.notes)


def test_a_wand_on_the_bones_line_is_not_believed(gait_markers: Markers, as_capture: Maker, truth: Markers) -> None:
    markers = dict(gait_markers)
    hip = body_from_cleaned(as_capture(markers)).centres["l_hip"]
    markers["LTHI"] = (hip + markers["LKNE"]) / 2
    body = body_from_cleaned(as_capture(markers))
    assert any("the left knee's flexion axis is taken from the pelvis" in note for note in body.notes)
    assert off(body, truth, "knee")["l_knee"] < 0.010
