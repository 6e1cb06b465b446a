"""Which point is which: every table, every spelling, sets of the coach's own."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.assets import asset
from mocap.capture import Capture
from mocap.errors import InputError
from mocap.importer.c3d_file import unique_labels as c3d_labels
from mocap.importer.text_table import unique_labels as table_labels
from mocap.kinematics.joint_centres import CENTRES, body_from_cleaned
from mocap.kinematics.marker_sets import BODY_SETS, SEGMENTS, fold, identify, marker_set, recognise
from mocap.kinematics.own_marker_set import own_marker_set
from mocap.reference.posed import PosedSwing
from mocap.swing import BodyModel

Markers = dict[str, np.ndarray]
Maker = Callable[..., Capture]

#: Joints of an animated skeleton and the true centres at which they lie; no BVH-like set names heels.
SKELETON = {
    "UpLeg": "hip",
    "Leg": "knee",
    "Foot": "ankle",
    "ToeBase": "ball",
    "Arm": "shoulder",
    "ForeArm": "elbow",
    "Hand": "wrist",
}
#: Keypoints in the three orders, in words.
LEGS_AND_ARMS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
ORDER_17 = [
    "nose",
    *(f"{side}_{part}" for part in ("eye", "ear", *LEGS_AND_ARMS) for side in ("left", "right")),
]
ORDER_26 = [
    *ORDER_17,
    *("head", "neck", "hip"),
    *(f"{side}_{part}" for part in ("big_toe", "small_toe", "heel") for side in ("left", "right")),
]
ORDER_25 = [
    *("nose", "neck", "right_shoulder", "right_elbow", "right_wrist", "left_shoulder", "left_elbow", "left_wrist"),
    *("mid_hip", "right_hip", "right_knee", "right_ankle", "left_hip", "left_knee", "left_ankle"),
    *("right_eye", "left_eye", "right_ear", "left_ear"),
    *("left_big_toe", "left_small_toe", "left_heel", "right_big_toe", "right_small_toe", "right_heel"),
]


def keypoints(truth: Markers, order: list[str]) -> Markers:
    """Paths of keypoints on a body, by name."""
    head, across = truth["head"], truth["r_shoulder"] - truth["l_shoulder"]
    across = across / np.linalg.norm(across, axis=1, keepdims=True)
    ahead = np.cross(truth["head_top"] - head, across)
    ahead = ahead / np.linalg.norm(ahead, axis=1, keepdims=True)
    paths = {"nose": head + 0.11 * ahead, "head": truth["head_top"], "neck": truth["neck"]}
    paths |= {"mid_hip": truth["pelvis"], "hip": truth["pelvis"]}
    for side, s, sign in (("left", "l", -1.0), ("right", "r", 1.0)):
        paths |= {f"{side}_{joint}": truth[f"{s}_{joint}"] for joint in (*LEGS_AND_ARMS, "heel")}
        paths |= {
            f"{side}_ear": head + sign * 0.07 * across,
            f"{side}_eye": head + 0.09 * ahead + sign * 0.03 * across,
            f"{side}_big_toe": truth[f"{s}_toe"],
            f"{side}_small_toe": truth[f"{s}_toe"] + sign * 0.05 * across,
        }
    return {name: paths[name] for name in order}


def skeleton(truth: Markers) -> Markers:
    """Joints of an animated skeleton on a body: the skull's base as far below the head's centre as the vertex above."""
    paths = {"Hips": truth["pelvis"] + [0, 0, 0.08], "Spine": truth["pelvis"] + [0, 0, 0.12], "Neck": truth["neck"]}
    for side, s in (("Left", "l"), ("Right", "r")):
        paths |= {f"{side}{name}": truth[f"{s}_{joint}"] for name, joint in SKELETON.items()}
        paths[f"{side}Shoulder"] = truth["neck"] + 0.2 * (truth[f"{s}_shoulder"] - truth["neck"])
    return paths | {"Head": 2 * truth["head"] - truth["head_top"], "HeadEnd": truth["head_top"]}


@pytest.mark.parametrize("name", [*BODY_SETS, "bat"])
def test_a_table_holds_together(name: str) -> None:
    table = marker_set(name)
    rows = tomllib.loads(asset("marker_sets", f"{name}.toml").read_text(encoding="utf-8"))
    written = [
        fold(label.format(S=word))
        for group, words in (("paired", ("L", "left", "R", "right")), ("midline", ("",)))
        for row in rows.get(group, {}).values()
        for label in row["labels"]
        for word in words
    ]
    assert len(set(written)) == len(written) == len(table.aliases)  # no label stands for two points
    assert set(table.aliases.values()) == set(table.labels) == set(table.segment_of) == set(table.marker_sd_m)
    assert set(table.segment_of.values()) <= {*SEGMENTS, "bat"}
    assert all(0.001 <= sd <= 0.03 for sd in (*table.marker_sd_m.values(), *table.centre_sd_m.values()))
    for part in table.parts:
        assert {point for names in part.alternatives for point in names} <= set(table.labels)
        assert part.needed in ("body", "swing", "")
        assert bool(part.without) == (part.needed == "")
    for count, order in table.orders.items():
        assert len(order) == len(set(order)) == count
        assert set(order) <= set(table.labels)
    for point, segment in table.segment_of.items():
        sides = [text[:2] for text in (point, segment) if text[:2] in ("l_", "r_")]
        assert len(set(sides)) <= 1


@pytest.mark.parametrize("name", BODY_SETS)
def test_every_centre_has_an_error(name: str) -> None:
    table = marker_set(name)
    derived = {"pelvis", "neck"} | ({"l_hip", "r_hip"} if table.kind == "markers" else set())
    assert set(table.centre_sd_m) == set(CENTRES) - derived


@pytest.mark.parametrize(
    "spelt", ["LASI", "lasi", "L_ASI", "L.Asi", "l asi", "Someone:LASI", "Lab:Someone:LASI", "L-ASI"]
)
def test_spellings_agree(spelt: str) -> None:
    assert marker_set("conventional_gait").aliases[fold(spelt)] == "l_asis"


@pytest.mark.parametrize("prefix", ["Someone:", "Lab:Someone:", "Someone_", "Some_one_", "S1."])
def test_subject_prefixes_do_not_matter(gait_markers: Markers, as_capture: Maker, prefix: str) -> None:
    stored = [prefix + label for label in gait_markers]
    for labels in (c3d_labels(stored, len(stored), "point")[0], table_labels(stored)[0]):
        capture = as_capture(dict(zip(labels, gait_markers.values(), strict=True)))
        body = body_from_cleaned(capture)
        assert body.lacking == ""
        assert {"bat_knob", "bat_barrel"} <= set(body.centres)
        assert identify(capture)[0].name == "conventional gait markers"


def test_a_side_in_front_of_most_labels_is_no_subject(make_capture: Maker, posed: PosedSwing) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    left = [i for i, label in enumerate(capture.labels) if label.startswith("L_")]
    one_sided = Capture(
        "left.c3d", tuple(f"L_X{i}" for i in left), capture.points[:, left], 240.0, np.zeros((capture.n_frames, 10))
    )
    with pytest.raises(InputError, match="none of its labels"):
        recognise(one_sided)


@pytest.mark.parametrize(("order", "toes"), [(ORDER_17, False), (ORDER_25, True), (ORDER_26, True)])
@pytest.mark.parametrize("numbered", [False, True])
def test_body_keypoints(truth: Markers, as_capture: Maker, order: list[str], toes: bool, numbered: bool) -> None:
    points = keypoints(truth, order)
    labels = [str(i) for i in range(len(order))] if numbered else list(points)
    body = body_from_cleaned(as_capture(dict(zip(labels, points.values(), strict=True))))
    assert (body.marker_set, body.lacking) == ("body keypoints", "")
    for side in "lr":
        for joint in LEGS_AND_ARMS:
            assert body.centres[f"{side}_{joint}"] == pytest.approx(truth[f"{side}_{joint}"])
        if toes:
            ball = np.linalg.norm(body.centres[f"{side}_ball"] - truth[f"{side}_ball"], axis=1)
            assert np.median(ball) < 0.02
    assert body.centres["head"] == pytest.approx(truth["head"])
    assert np.isfinite(body.head_forward).all()
    assert np.isfinite(body.centres["l_toe"]).all() == toes
    assert any("the feet cannot be placed" in note for note in body.notes) == (not toes)
    assert body.centre_sd_m["l_hip"] > body.centre_sd_m["l_wrist"] >= 0.02


def test_joints_of_an_animated_skeleton(truth: Markers, as_capture: Maker) -> None:
    body = body_from_cleaned(as_capture(skeleton(truth)))
    assert (body.marker_set, body.lacking) == ("skeleton joints", "")
    for side in "lr":
        for joint in SKELETON.values():
            assert body.centres[f"{side}_{joint}"] == pytest.approx(truth[f"{side}_{joint}"]), joint
    assert body.centres["head"] == pytest.approx(truth["head"])
    assert body.segment_of["l_collar"] == "thorax"
    bare = {label: path for label, path in skeleton(truth).items() if label != "HeadEnd"}
    head = body_from_cleaned(as_capture(bare)).centres["head"]
    assert np.median(np.linalg.norm(head - truth["head"], axis=1)) < 0.06


def test_the_set_that_explains_most_is_taken(truth: Markers, as_capture: Maker, gait_markers: Markers) -> None:
    both = as_capture(keypoints(truth, ORDER_17) | gait_markers)
    assert identify(both)[0].name == "conventional gait markers"
    # Two eyes and a head are joint centres; two ears are keypoints.
    assert identify(as_capture(keypoints(truth, ORDER_17)))[0].name == "body keypoints"


def test_too_few_points_for_a_part_are_named(truth: Markers, as_capture: Maker) -> None:
    points = {label: path for label, path in keypoints(truth, ORDER_25).items() if label != "left_ear"}
    with pytest.raises(InputError) as raised:
        mocap.build_swing(as_capture(points))
    assert str(raised.value) == (
        "markers.c3d: body keypoints: the head cannot be placed: L ear is missing; without it no swing can be measured"
    )


OWN = """
name = "our lab"
base = "conventional_gait"

[labels]
l_asis = "PelvisFrontL"
r_asis = ["PelvisFrontR", "Pelvis Front Right"]

[markers.l_thigh_extra]
label = "LT5"
segment = "l_thigh"
sd_m = 0.02
"""


def renamed(gait_markers: Markers) -> Markers:
    names = {"LASI": "PelvisFrontL", "RASI": "pelvis front right"}
    extra = {"LT5": gait_markers["LTHI"] + [0.0, 0.0, 0.05]}
    return {names.get(label, label): path for label, path in gait_markers.items()} | extra


def test_a_coachs_own_set(gait_markers: Markers, as_capture: Maker, tmp_path: Path) -> None:
    path = tmp_path / "our_lab.toml"
    path.write_text(OWN, encoding="utf-8")
    capture, model = as_capture(renamed(gait_markers)), BodyModel(marker_set=str(path))
    with pytest.raises(InputError, match="the pelvis cannot be placed: LASI and RASI are missing"):
        body_from_cleaned(capture)
    body = body_from_cleaned(capture, model)
    plain = body_from_cleaned(as_capture(gait_markers))
    assert body.marker_set == "our lab"
    assert body.centres["l_knee"] == pytest.approx(plain.centres["l_knee"])
    assert (body.segment_of["l_thigh_extra"], body.marker_sd_m["l_thigh_extra"]) == ("l_thigh", 0.02)
    assert body.markers["l_thigh_extra"] == pytest.approx(gait_markers["LTHI"] + [0.0, 0.0, 0.05])
    swing = mocap.build_swing(capture, mocap.Hitter(height_m=1.8), mocap.Setup(model=model))
    assert swing.has("front_hip", "bat_barrel")


def test_what_a_coachs_own_set_lacks_is_named_by_his_labels(
    gait_markers: Markers, as_capture: Maker, tmp_path: Path
) -> None:
    path = tmp_path / "our_lab.toml"
    path.write_text(OWN, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        body_from_cleaned(as_capture(gait_markers), BodyModel(marker_set=str(path)))
    assert "our lab: the pelvis cannot be placed: PelvisFrontL and PelvisFrontR are missing" in str(raised.value)


def test_the_example_in_the_docstring_is_one(tmp_path: Path) -> None:
    lines = (own_marker_set.__globals__["__doc__"] or "").split("::\n", 1)[1]
    path = tmp_path / "example.toml"
    path.write_text("\n".join(line.removeprefix("    ") for line in lines.splitlines()), encoding="utf-8")
    table = own_marker_set(path)
    assert table.aliases[fold("RASIS2")] == "r_asis"
    assert table.handle is not None
    assert table.handle.barrel_m == pytest.approx([0.0, 0.0, 0.84])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (('base = "conventional_gait"', ""), "base: None is not known; give conventional_gait, cluster,"),
        (("conventional_gait", "gait"), "base: 'gait' is not known"),
        (("name =", "nmae ="), "the file: 'nmae' is not known; known are base, handle, labels, markers, name"),
        (('"our lab"', "7"), "name: must be text, got 7"),
        (("l_asis =", "l_asiss ="), "labels: 'l_asiss' is no point of conventional_gait; did you mean"),
        (('"PelvisFrontL"', "3"), "labels: l_asis: must be a label or a list of labels, got 3"),
        (('"PelvisFrontL"', '"pelvis front R"'), "label 'PelvisFrontR' is given to l_asis and to r_asis"),
        (('"l_thigh"', '"l_tigh"'), "markers.l_thigh_extra: segment 'l_tigh' is not known; known are pelvis,"),
        (("sd_m = 0.02", "sd_m = 20"), "markers.l_thigh_extra: sd_m must be metres between 0 and 0.2, got 20"),
        (("sd_m = 0.02", ""), "markers.l_thigh_extra: sd_m must be metres between 0 and 0.2, got None"),
        (("label = ", "labels = "), "markers.l_thigh_extra: 'labels' is not known; known are label, sd_m, segment"),
        (("l_thigh_extra", "l_thigh"), "markers.l_thigh: is a point of conventional_gait already"),
        (("[labels]", "[labels"), "not a TOML file"),
    ],
)
def test_a_fault_in_a_coachs_own_set_is_one_line(change: tuple[str, str], message: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(OWN.replace(*change), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        own_marker_set(path)
    assert str(raised.value).startswith(f"{path}: {message}")
    assert "\n" not in str(raised.value)


def test_a_set_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.toml: no such marker set file"):
        own_marker_set(tmp_path / "nowhere.toml")
