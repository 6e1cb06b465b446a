"""Markers that are worn in a static trial only."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import mocap
from mocap.capture import Capture
from mocap.errors import InputError
from mocap.kinematics.calibration import calibrated_body
from mocap.kinematics.joint_centres import Body, body_from, body_from_cleaned
from mocap.kinematics.marker_sets import recognise
from mocap.kinematics.skeleton import skeleton_of
from mocap.kinematics.static_trial import StaticTrial, mean_shape

Markers = dict[str, np.ndarray]
Maker = Callable[..., Capture]
#: Inner markers of the joints, which are in the way of a swing.
MEDIAL = ("ME", "MM", "EM")
HEIGHT = 1.80


def without(markers: Markers, *ends: str) -> Markers:
    return {label: path for label, path in markers.items() if label[1:] not in ends}


def static_of(markers: Markers, as_capture: Maker, **more: object) -> Capture:
    """The first 30 frames somewhere else in the lab, facing another way."""
    turn = Rotation.from_euler("z", 70.0, degrees=True)
    moved = {label: turn.apply(path[:30]) + np.array([0.7, -0.4, 0.0]) for label, path in markers.items()}
    return replace(as_capture(moved, **more), source="static.c3d")


def furthest(body: Body, truth: Mapping[str, np.ndarray], joint: str) -> float:
    return max(
        float(np.nanmax(np.linalg.norm(body.centres[f"{s}_{joint}"] - truth[f"{s}_{joint}"], axis=1))) for s in "lr"
    )


def test_medial_markers_are_carried_from_a_static_trial(
    cluster_markers: Markers, truth: Markers, as_capture: Maker
) -> None:
    capture = as_capture(without(cluster_markers, *MEDIAL), subject={"height_m": HEIGHT})
    plain = body_from_cleaned(capture)
    body = body_from_cleaned(capture, static=static_of(cluster_markers, as_capture))
    whole = body_from_cleaned(as_capture(cluster_markers))
    for joint in ("knee", "ankle", "elbow"):
        assert furthest(body, truth, joint) < 1e-9
        assert furthest(plain, truth, joint) > 0.002
        for side in "lr":
            assert body.lateral[f"{side}_{joint}"] == pytest.approx(whole.lateral[f"{side}_{joint}"], abs=1e-9)
    assert set(body.from_static) == {f"{s}_{joint}_medial" for s in "lr" for joint in ("knee", "ankle", "elbow")}
    # Constructed points measure nothing: the skeleton is not fitted to them, nothing counts as filled.
    assert set(body.markers) == set(plain.markers) == set(body.segment_of) == set(body.marker_sd_m)
    assert not any(marks.any() for marks in body.filled.values())
    (note,) = [note for note in body.notes if "static.c3d" in note]
    assert note == (
        "LME, LMM, LEM, RME, RMM and REM are taken from static.c3d and carried along by the other markers of their"
        " segments, which keep their shape to 0 mm"
    )
    assert not any("flexion axes" in note for note in body.notes)


def test_loose_skin_costs_what_it_moves(cluster_markers: Markers, truth: Markers, as_capture: Maker) -> None:
    rng = np.random.default_rng(3)
    bare = without(cluster_markers, *MEDIAL)
    shaken = {label: path + rng.normal(0.0, 0.004, path.shape) for label, path in bare.items()}
    body = body_from_cleaned(as_capture(shaken), static=static_of(cluster_markers, as_capture))
    for joint in ("knee", "ankle", "elbow"):
        assert furthest(body, truth, joint) < 0.03
    (note,) = [note for note in body.notes if "carried along" in note]
    # Five points less the six degrees of freedom of the fit keep 9/15 of the noise's squares, 4 mm an axis.
    assert int(note.split(" to ")[-1].split(" mm")[0]) in (5, 6)


def test_gaps_of_the_carrying_markers_matter_only_where_two_are_left(
    cluster_markers: Markers, truth: Markers, as_capture: Maker
) -> None:
    bare = {label: path.copy() for label, path in without(cluster_markers, *MEDIAL).items()}
    bare["LTH1"][50:100] = bare["LTH2"][60:90] = bare["LTH3"][70:80] = np.nan
    body = body_from_cleaned(as_capture(bare), static=static_of(cluster_markers, as_capture))
    assert np.flatnonzero(np.isnan(body.centres["l_knee"][:, 0])).tolist() == list(range(70, 80))
    assert furthest(body, truth, "knee") < 1e-9


def test_the_joint_above_stands_in_for_a_third_marker(gait_markers: Markers, truth: Markers, as_capture: Maker) -> None:
    """The conventional set has one wand a segment: hip, wand and knee marker carry the medial knee marker."""
    inner = {}
    for s in "lr":
        side = s.upper()
        for joint, outer, label in (("knee", "KNE", "KNM"), ("ankle", "ANK", "ANM"), ("elbow", "ELB", "ELM")):
            # Inside the joint as the lateral marker is outside it; the true axis lies 15 deg off the wand's plane.
            centre = truth[f"{s}_{joint}"]
            inner[side + label] = 2 * centre - gait_markers[side + outer]
    capture = as_capture(gait_markers, subject={"height_m": HEIGHT})
    turned = {**gait_markers}
    for s in "lr":
        bone = truth[f"{s}_hip"] - truth[f"{s}_knee"]
        axis = bone / np.linalg.norm(bone, axis=1, keepdims=True)
        on_axis = (truth[f"{s}_hip"] + truth[f"{s}_knee"]) / 2
        wand = Rotation.from_rotvec(np.radians(15.0) * axis).apply(gait_markers[f"{s.upper()}THI"] - on_axis)
        turned[f"{s.upper()}THI"] = on_axis + wand
    capture = as_capture(turned, subject={"height_m": HEIGHT})
    plain = body_from_cleaned(capture)
    body = body_from_cleaned(capture, static=static_of(turned | inner, as_capture, subject={"height_m": HEIGHT}))
    assert {f"{s}_{joint}_medial" for s in "lr" for joint in ("knee", "ankle")} <= set(body.from_static)
    # The hip centre lies a few mm off the true one, alike in both trials.
    assert furthest(body, truth, "knee") < 0.004 < 0.012 < furthest(plain, truth, "knee")
    assert furthest(body, truth, "ankle") < 0.004


def test_what_cannot_be_carried_is_said(cluster_markers: Markers, as_capture: Maker) -> None:
    bare = without(cluster_markers, *MEDIAL, "FA1", "FA2", "FA3", "FA4", "RS", "US")
    body = body_from_cleaned(as_capture(bare), static=static_of(cluster_markers, as_capture))
    assert not any(name.startswith(("l_forearm", "l_wrist")) for name in body.from_static)
    (note,) = [note for note in body.notes if "cannot be carried" in note]
    assert note.startswith("LRS, LUS, LFA1,")
    assert "of static.c3d cannot be carried into markers.c3d: fewer than three other markers" in note


def exchanged(markers: Markers, first: str, second: str) -> Markers:
    return {{first: second, second: first}.get(label, label): path for label, path in markers.items()}


def test_a_static_trial_that_does_not_fit_is_refused_in_one_line(cluster_markers: Markers, as_capture: Maker) -> None:
    capture = as_capture(without(cluster_markers, *MEDIAL), subject={"height_m": HEIGHT})
    swapped = static_of(exchanged(cluster_markers, "LLE", "LTH1"), as_capture)
    with pytest.raises(InputError) as raised:
        body_from_cleaned(capture, static=swapped)
    assert str(raised.value).startswith("static.c3d does not fit markers.c3d: the markers on the left thigh lie ")
    assert "\n" not in str(raised.value)
    larger = {label: 1.25 * path for label, path in cluster_markers.items()}
    with pytest.raises(InputError, match=r"static\.c3d does not fit markers\.c3d: .* another hitter"):
        body_from_cleaned(capture, static=static_of(larger, as_capture))
    with pytest.raises(InputError, match=r"static\.c3d states a height of 1\.7 m, markers\.c3d one of 1\.8 m"):
        body_from_cleaned(capture, static=static_of(cluster_markers, as_capture, subject={"height_m": 1.70}))


def test_the_same_recording_as_its_own_static_trial_changes_nothing(
    cluster_markers: Markers, as_capture: Maker
) -> None:
    capture = as_capture(cluster_markers)
    body = body_from_cleaned(capture, static=capture)
    assert body.from_static == ()
    assert body.notes == body_from_cleaned(capture).notes


def test_a_calibration_trial_serves_as_a_static_one(
    cluster_markers: Markers, truth: Markers, as_capture: Maker
) -> None:
    capture = as_capture(without(cluster_markers, *MEDIAL), subject={"height_m": HEIGHT})
    body = calibrated_body(capture, None, static_of(cluster_markers, as_capture))
    assert furthest(body, truth, "knee") < 0.002  # cleaned, but whole
    about = [note for note in body.notes if "static.c3d" in note]
    assert len(about) == 1  # nobody moves in it, and nobody said he would


def test_a_calibration_trial_of_no_use_is_said_once(cluster_markers: Markers, as_capture: Maker) -> None:
    bare = without(cluster_markers, *MEDIAL)
    capture = as_capture(bare)
    body = calibrated_body(capture, None, static_of(bare, as_capture))
    (note,) = [note for note in body.notes if "static.c3d" in note]
    assert note == (
        "static.c3d adds nothing: hips and shoulders hardly move in it, and nothing is carried over from it that the"
        " recording lacks; every centre is placed as without it"
    )
    plain = body_from(capture)
    assert all(path == pytest.approx(plain.centres[name], nan_ok=True) for name, path in body.centres.items())


def test_a_calibration_of_the_bat_alone(cluster_markers: Markers, truth: Markers, as_capture: Maker) -> None:
    knob, barrel = truth["bat_knob"], truth["bat_barrel"]
    along = (barrel - knob) / np.linalg.norm(barrel - knob, axis=1, keepdims=True)
    beside = np.cross(along, truth["r_shoulder"] - truth["l_shoulder"])
    beside = beside / np.linalg.norm(beside, axis=1, keepdims=True)
    handle = {f"BATH{i}": knob + 0.1 * i * along + 0.03 * (-1) ** i * beside for i in (1, 2, 3)}
    bat = static_of({"KNOB": knob, "BARREL": barrel, **handle}, as_capture)
    body = calibrated_body(as_capture(cluster_markers | handle), None, bat)
    assert body.from_static == ("bat_knob", "bat_barrel")
    assert body.centres["bat_barrel"] == pytest.approx(barrel, abs=0.003)
    assert [note for note in body.notes if "static.c3d" in note] == [
        "knob and barrel are carried along by the markers on the bat's handle, as static.c3d shows them"
    ]
    with pytest.raises(InputError, match=r"static\.c3d: no usable points"):
        calibrated_body(as_capture(cluster_markers), None, bat)


def test_a_static_trial_of_another_kind_of_points_adds_nothing(
    cluster_markers: Markers, as_capture: Maker, make_capture: Maker, posed
) -> None:
    joints = make_capture(posed.points, posed.rate_hz)
    assert body_from_cleaned(joints, static=static_of(cluster_markers, as_capture)).from_static == ()
    other = replace(joints, source="static.c3d")
    assert body_from_cleaned(as_capture(cluster_markers), static=other).from_static == ()


@pytest.mark.parametrize(("label", "within_m"), [("STRN", 0.008), ("LBHD", 0.007), ("C7", 0.010)])
def test_a_marker_of_a_real_walk_by_one_standing_frame(shared_data: Path, label: str, within_m: float) -> None:
    walk, standing = (mocap.read(shared_data / "c3d" / f"full_body_{name}.c3d") for name in ("gait", "standing"))
    used, seen = recognise(walk)
    name = used.aliases[label.lower()]
    true = seen.pop(name)
    trial = StaticTrial(standing, used.find(standing), {}, used, walk)
    off = np.linalg.norm(trial.completed(seen)[name] - true, axis=1)
    assert trial.carried == [name]
    assert np.nanmedian(off) < within_m
    (note,) = trial.notes(seen)
    assert note.startswith(
        f"{label} is taken from full_body_standing.c3d and carried along by the other markers of its"
    )


def test_a_real_static_trial_of_one_frame_is_no_movement(shared_data: Path) -> None:
    walk, standing = (mocap.read(shared_data / "c3d" / f"full_body_{name}.c3d") for name in ("gait", "standing"))
    about = [note for note in calibrated_body(walk, None, standing).notes if standing.source in note]
    assert len(about) == 1
    assert about[0].startswith("full_body_standing.c3d adds nothing")


def test_a_shape_is_a_median_in_axes_of_its_leading_points() -> None:
    rng = np.random.default_rng(9)
    shape = rng.normal(0.0, 0.1, (5, 3))
    pose = Rotation.random(40, random_state=4)
    points = np.stack([pose.apply(place) for place in shape], axis=1) + rng.normal(0.0, 1.0, (40, 1, 3))
    points[3] += rng.normal(0.0, 0.2, (5, 3))
    points[10:20, 4] = np.nan
    points[30:, 1] = np.nan
    found = mean_shape(points, 4)
    assert found is not None
    between = [np.linalg.norm(each[:, None] - each[None], axis=2) for each in (found, shape)]
    assert between[0] == pytest.approx(between[1], abs=1e-9)
    points[:, 4] = np.nan
    unseen = mean_shape(points, 4)
    assert unseen is not None
    assert np.isnan(unseen[4]).all()
    assert np.isfinite(unseen[:4]).all()
    assert mean_shape(points, 2) is None
    line = np.linspace(0.0, 1.0, 4)[None, :, None] * np.ones((6, 1, 3))
    assert mean_shape(line, 4) is None


def test_the_skeletons_joints_are_those_of_the_carried_markers(
    cluster_markers: Markers, truth: Markers, as_capture: Maker
) -> None:
    capture = as_capture(without(cluster_markers, *MEDIAL), subject={"height_m": HEIGHT})
    static = static_of(cluster_markers, as_capture)
    for joint in ("knee", "ankle"):
        off = {}
        for name, trial in (("with", static), ("without", None)):
            skeleton = skeleton_of(body_from_cleaned(capture, static=trial))
            off[name] = max(
                float(np.median(np.linalg.norm(skeleton.centres[f"{s}_{joint}"] - truth[f"{s}_{joint}"], axis=1)))
                for s in "lr"
            )
        assert off["with"] < 0.005  # the skeleton gives in a little to hips that a regression put 1 cm off
        assert off["with"] < off["without"]


def test_a_body_that_is_hardly_seen_still_serves_as_a_static_one(cluster_markers: Markers, as_capture: Maker) -> None:
    static = static_of(cluster_markers, as_capture)
    points = static.points.copy()
    points[:20, [static.labels.index(label) for label in ("LASIS", "RASIS")]] = np.nan
    capture = as_capture(without(cluster_markers, *MEDIAL))
    body = calibrated_body(capture, None, replace(static, points=points))
    assert "l_knee_medial" in body.from_static
    (note,) = [note for note in body.notes if "no functional centre" in note]
    assert note.startswith("static.c3d: the pelvis is seen in 33 % of the frames")
