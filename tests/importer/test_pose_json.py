"""Folders of an estimator's JSON files: orders of points, one person among several, and what is named."""

from __future__ import annotations

import json

import numpy as np
import pytest

from mocap.errors import InputError
from mocap.importer.pose_json import body_orders, read_pose_folder

SIDED = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")


def body(count: int, u: float, size: float = 300.0, v: float = 400.0) -> np.ndarray:
    """A person as (count, 3): each point somewhere of its own in a box, sure by 0.8."""
    number = np.arange(count)
    spot = np.stack([u + 0.3 * size * np.sin(7.0 * number), v + 0.5 * size * np.cos(3.0 * number)], axis=-1)
    return np.column_stack([spot, np.full(count, 0.8)])


def write(folder, frames) -> None:
    """Frames: {number: [person (K, 3), ...]}."""
    folder.mkdir(exist_ok=True)
    for number, people in frames.items():
        content = {"people": [{"pose_keypoints_2d": np.asarray(one).ravel().tolist()} for one in people]}
        (folder / f"clip2_{number:06d}_keypoints.json").write_text(json.dumps(content))


# -------------------------------------------------------------------- orders


@pytest.mark.parametrize(
    ("count", "known"),
    [
        # Numbers as the publications named in the table of orders print them.
        (17, {"nose": 0, "l_shoulder": 5, "r_wrist": 10, "l_hip": 11, "r_ankle": 16}),
        (25, {"nose": 0, "neck": 1, "r_shoulder": 2, "pelvis": 8, "l_ankle": 14, "l_big_toe": 19, "r_heel": 24}),
        (26, {"nose": 0, "r_ankle": 16, "head_top": 17, "neck": 18, "pelvis": 19, "l_big_toe": 20, "r_heel": 25}),
    ],
)
def test_points_stand_under_their_names(tmp_path, count, known) -> None:
    write(tmp_path / "pose", {7: [body(count, 500.0)], 8: [body(count, 501.0)]})
    found = read_pose_folder(tmp_path / "pose")
    assert found.first_frame == 7
    for name, number in known.items():
        np.testing.assert_allclose(found.pixels[0, found.names.index(name)], body(count, 500.0)[number, :2])
    assert len(set(found.names)) == len(found.names)
    assert {f"{side}_{joint}" for side in "lr" for joint in SIDED} <= set(found.names)
    assert {"pelvis", "neck"} <= set(found.names)
    assert len(body_orders()[count].names) == count


def test_the_pelvis_is_midway_between_the_hips_as_sure_as_the_less_sure_one(tmp_path) -> None:
    person = body(17, 500.0)
    person[11], person[12] = (480.0, 400.0, 0.9), (520.0, 410.0, 0.6)
    write(tmp_path / "pose", {0: [person]})
    found = read_pose_folder(tmp_path / "pose")
    pelvis = found.names.index("pelvis")
    np.testing.assert_allclose([*found.pixels[0, pelvis], found.confidence[0, pelvis]], [500.0, 405.0, 0.6])


def test_points_not_found_are_missing_and_so_is_what_follows_from_them(tmp_path) -> None:
    person = body(17, 500.0)
    person[11] = 0.0
    write(tmp_path / "pose", {0: [person]})
    found = read_pose_folder(tmp_path / "pose")
    missing = {name for name, there in zip(found.names, np.isfinite(found.confidence[0]), strict=True) if not there}
    assert missing == {"l_hip", "pelvis"}
    assert np.isnan(found.pixels[0, found.names.index("l_hip")]).all()


def test_the_bats_ends_come_from_a_second_table(tmp_path) -> None:
    write(tmp_path / "pose", {n: [body(17, 500.0)] for n in range(3)})
    (tmp_path / "bat.csv").write_text("frame,point,u,v,confidence\n1,bat_knob,10,20,0.7\n1,bat_barrel,30,40,0.6\n")
    found = read_pose_folder(tmp_path / "pose", bat=tmp_path / "bat.csv")
    np.testing.assert_allclose(found.pixels[1, found.names.index("bat_barrel")], [30.0, 40.0])
    assert np.isnan(found.pixels[0, found.names.index("bat_barrel")]).all()


def test_a_score_a_little_above_one_counts_as_one(tmp_path) -> None:
    person = body(17, 500.0)
    person[3, 2] = 1.07
    write(tmp_path / "pose", {0: [person]})
    assert read_pose_folder(tmp_path / "pose").confidence[0, 3] == 1.0


# -------------------------------------------------------------------- who is who


def test_the_hitter_is_followed_though_the_files_list_people_in_any_order(tmp_path) -> None:
    """The catcher is smaller and walks off; their places in the list are exchanged in every second file."""
    frames = {}
    for n in range(30):
        people = [body(17, 500.0 + 2.0 * n), body(17, 900.0 + 3.0 * n, size=200.0)]
        frames[n] = people if n % 2 else people[::-1]
    write(tmp_path / "pose", frames)
    found = read_pose_folder(tmp_path / "pose")
    nose = found.pixels[:, found.names.index("nose")]
    np.testing.assert_allclose(nose[:, 0], 500.0 + 2.0 * np.arange(30), atol=1e-9)
    assert "up to 2 people" in found.notes[0]
    assert "30 of 30 frames" in found.notes[0]
    assert len(found.notes) == 1  # no doubt about who is who
    other = read_pose_folder(tmp_path / "pose", near=(910.0, 400.0))
    np.testing.assert_allclose(other.pixels[:, 0, 0], 900.0 + 3.0 * np.arange(30), atol=1e-9)


def test_people_who_cross_are_told_of(tmp_path) -> None:
    frames = {n: [body(17, 500.0), body(17, 300.0 + 14.0 * n, size=280.0)] for n in range(30)}
    write(tmp_path / "pose", frames)
    notes = " ".join(read_pose_folder(tmp_path / "pose").notes)
    assert "not sure who is the hitter" in notes


def test_another_person_is_not_taken_for_a_hitter_who_is_lost(tmp_path) -> None:
    frames = {n: [body(17, 500.0), body(17, 1000.0, size=200.0)] for n in range(20)}
    for n in range(8, 12):
        frames[n] = frames[n][1:]
    write(tmp_path / "pose", frames)
    found = read_pose_folder(tmp_path / "pose")
    assert np.isnan(found.pixels[8:12]).all()
    np.testing.assert_allclose(np.delete(found.pixels[:, 0, 0], slice(8, 12)), 500.0)
    assert any("not found in 4 of 20 frames (the first is frame 8)" in note for note in found.notes)


def test_frames_without_a_file_are_gaps(tmp_path) -> None:
    write(tmp_path / "pose", {0: [body(17, 500.0)], 2: [body(17, 501.0)], 3: []})
    found = read_pose_folder(tmp_path / "pose")
    assert np.isfinite(found.pixels[:, 0, 0]).tolist() == [True, False, True, False]
    assert any("1 of 4 frames have no file" in note for note in found.notes)


# -------------------------------------------------------------------- what is named


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ("{", "not a JSON file"),
        ("[1, 2]", "no list 'people'"),
        ('{"people": [{}]}', r"people\[0\] has no list 'pose_keypoints_2d'"),
        ('{"people": [{"pose_keypoints_2d": [1, 2, 1, 4]}]}', r"has 4 numbers; give three for each of 17, 25, 26"),
        (json.dumps({"people": [{"pose_keypoints_2d": ["x"] * 51}]}), r"pose_keypoints_2d\[0\] is 'x'"),
        (json.dumps({"people": [{"pose_keypoints_2d": [5.0] * 51}]}), r"pose_keypoints_2d\[2\], a confidence, is 5"),
        ('{"people": []}', "nobody was found in any of 1 frames"),
    ],
)
def test_a_file_that_cannot_be_read_is_named(tmp_path, content, named) -> None:
    (tmp_path / "clip_000000.json").write_text(content)
    with pytest.raises(InputError, match=named) as caught:
        read_pose_folder(tmp_path)
    assert "\n" not in str(caught.value)


def test_a_folder_that_is_none_is_named(tmp_path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        read_pose_folder(tmp_path / "nowhere")
    with pytest.raises(InputError, match="no JSON file"):
        read_pose_folder(tmp_path)
    (tmp_path / "clip.json").write_text("{}")
    with pytest.raises(InputError, match="which frame it is"):
        read_pose_folder(tmp_path)


def test_two_clips_or_two_orders_in_one_folder_are_named(tmp_path) -> None:
    write(tmp_path / "pose", {0: [body(17, 500.0)], 1: [body(25, 500.0)]})
    with pytest.raises(InputError, match="17 and 25 points"):
        read_pose_folder(tmp_path / "pose")
    (tmp_path / "pose" / "other_0.json").write_text("{}")
    with pytest.raises(InputError, match="is frame 0"):
        read_pose_folder(tmp_path / "pose")
