"""A swing from two cameras' points: read like any recording, honest about what it does not know."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import mocap
from mocap.cli import main
from mocap.errors import InputError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.filmed import filmed, read_filmed
from mocap.importer.keypoints import read_keypoints
from mocap.importer.session import read_session


@pytest.fixture(scope="module")
def folder(project_root: Path) -> Path:
    return project_root / "demo_sessions" / "two_cameras"


@pytest.fixture(scope="module")
def measured(folder: Path) -> dict[str, mocap.Findings]:
    found = {}
    for recording in read_session(folder).recordings:
        swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup)
        found[recording.file.name] = mocap.measure(swing)
    return found


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    for name in ("open_side.toml", "open_side.csv", "pitcher_side.toml", "pitcher_side.csv", "filmed.toml"):
        shutil.copy(folder / name, tmp_path / name)
    return tmp_path


def test_a_list_of_cameras_is_read_like_a_recording(folder: Path) -> None:
    capture = mocap.read(folder / "filmed.toml")
    assert capture.rate_hz == pytest.approx(120.0)
    assert {"l_hip", "r_ankle", "bat_knob", "bat_barrel"} <= set(capture.labels)
    assert capture.smoothed
    seen = np.isfinite(capture.points).all(axis=2)
    assert (np.isfinite(capture.residuals) == seen).all()
    assert 0.001 < np.nanmedian(capture.residuals) < 0.02
    assert set(np.unique(capture.cameras)) <= {0, 1, 2, 3}
    assert any("rays contradict" in note for note in capture.notes)  # the detector's outliers


def test_the_points_lie_where_the_lab_saw_them(folder: Path) -> None:
    """Both recorded the same swing: 1.5 px at 6 m are 6 to 9 mm before smoothing, and the lab's own noise is 1 mm."""
    capture, lab = mocap.read(folder / "filmed.toml"), mocap.read(folder / "lab.c3d")
    names = [name for name in capture.labels if name.upper() in {label.upper() for label in lab.labels}]
    assert len(names) > 15
    columns = {label.upper(): i for i, label in enumerate(lab.labels)}
    at = np.arange(capture.n_frames) / capture.rate_hz * lab.rate_hz
    ahead = np.clip(np.round(at).astype(int), 0, lab.n_frames - 1)
    off = [
        np.linalg.norm(capture.points[:, capture.labels.index(n)] - lab.points[ahead, columns[n.upper()]], axis=1)
        for n in names
    ]
    assert np.nanmedian(off) < 0.012


def test_landing_agrees_with_the_labs_within_both_intervals(measured) -> None:
    ours, lab = measured["filmed.toml"].measures, measured["lab.c3d"].measures
    compared = 0
    for name, measure in ours.items():
        other = lab[name]
        if measure.family != "landing" or not isinstance(measure.value, float) or not isinstance(other.value, float):
            continue
        compared += 1
        # Hidden shoulders are guessed: three intervals, and the sides' own model errors are alike.
        assert abs(measure.value - other.value) < 3.0 * 1.96 * np.hypot(measure.sd, other.sd), name
    assert compared > 10


def test_what_the_smoothing_hides_is_in_the_plus_minus(measured) -> None:
    ours, lab = measured["filmed.toml"], measured["lab.c3d"]
    for name in ("bat_speed", "pelvis_turn_speed", "attack_angle", "hitting_zone"):
        assert ours.measures[name].sd > lab.measures[name].sd, name
    for name in ("plant", "contact"):
        assert ours.moments[name].sd_s > lab.moments[name].sd_s, name


def test_clocks_are_found_where_the_files_do_not_tell_them(copy: Path) -> None:
    told = read_filmed(copy / "filmed.toml")
    camera = (copy / "pitcher_side.toml").read_text().replace("time_offset_s = 0.0037", "time_offset_s = 0.0")
    (copy / "pitcher_side.toml").write_text(camera)
    text = (copy / "filmed.toml").read_text().replace("[filmed]", '[filmed]\nclocks = "find"')
    (copy / "filmed.toml").write_text(text)
    found = read_filmed(copy / "filmed.toml")
    note = next(note for note in found.notes if "first picture" in note)
    assert float(note.split("picture ")[1].split(" ms")[0]) == pytest.approx(3.7, abs=0.5)
    assert np.nanmedian(np.linalg.norm(found.points - told.points[: len(found.points)], axis=2)) < 0.003


def test_a_wrong_calibration_is_told(folder: Path) -> None:
    cameras = [read_camera(folder / f"{name}.toml") for name in ("open_side", "pitcher_side")]
    tables = [read_keypoints(folder / f"{name}.csv") for name in ("open_side", "pitcher_side")]

    def sunk(by_m: float) -> list[Camera]:
        return [cameras[0], replace(cameras[1], translation=cameras[1].translation + np.array([0.0, by_m, 0.0]))]

    notes = filmed(sunk(0.015), tables, noise_px=1.5).notes
    assert any("times what the stated noise explains; calibrate again" in note for note in notes)
    assert not any("calibrate again" in note for note in filmed(cameras, tables, noise_px=1.5).notes)
    with pytest.raises(InputError, match=r"a camera has moved since it was calibrated.*calibrate again"):
        filmed(sunk(0.06), tables, noise_px=1.5)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('camera = "pitcher_side.toml"', 'lens = "pitcher_side.toml"', "cameras row 2: 'lens' is not known"),
        ('points = "open_side.csv"', "", "cameras row 1 has no 'points'"),
        ("noise_px = 1.5", "noise_px = -1", "noise_px -1 is no number of pixels"),
        ("noise_px = 1.5", 'clocks = "sun"', "clocks 'sun' is not known; give given or find"),
        ("noise_px = 1.5", "noise = 1", "filmed: 'noise' is not known"),
        ('points = "open_side.csv"', 'points = "nothing.csv"', "nothing.csv"),
        ('camera = "open_side.toml"', 'camera = "nothing.toml"', "nothing.toml: no such camera file"),
        ("[filmed]", "[filmed", "not a TOML file"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused_by_its_key(copy: Path, old: str, new: str, says: str) -> None:
    path = copy / "filmed.toml"
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(InputError, match=says.replace("(", r"\(")):
        read_filmed(path)


def test_one_camera_is_not_enough(copy: Path) -> None:
    path = copy / "filmed.toml"
    path.write_text('[[cameras]]\ncamera = "open_side.toml"\npoints = "open_side.csv"\n')
    with pytest.raises(InputError, match="needs two cameras"):
        read_filmed(path)


def test_clips_of_other_times_have_no_frames_in_common(folder: Path) -> None:
    cameras = [read_camera(folder / f"{name}.toml") for name in ("open_side", "pitcher_side")]
    tables = [read_keypoints(folder / f"{name}.csv") for name in ("open_side", "pitcher_side")]
    with pytest.raises(InputError, match="the clips have no motion in common within 3 s"):
        filmed([cameras[0], replace(cameras[1], time_offset_s=60.0)], tables)


def test_bad_clips_of_a_session_end_in_one_line(copy: Path, project_root: Path, tmp_path: Path) -> None:
    """Whatever command reads the list, clips that do not belong together are refused by it."""
    shutil.copy(project_root / "demo_sessions" / "two_cameras" / "lab.c3d", copy)
    listed = (copy / "filmed.toml").read_text("utf-8")
    exchanged = listed.replace("open_side.csv", "x").replace("pitcher_side.csv", "open_side.csv")
    (copy / "filmed.toml").write_text(exchanged.replace('"x"', '"pitcher_side.csv"'), "utf-8")
    for words in (("measure", copy / "filmed.toml"), ("compare", copy / "filmed.toml", "--out", tmp_path / "out")):
        result = CliRunner().invoke(main, [str(word) for word in words])
        assert result.exit_code == 2, result.output
        assert len(result.stderr.strip().splitlines()) == 1, result.stderr
        assert "with the two files of points exchanged; exchange them" in result.stderr
    (copy / "filmed.toml").write_text(listed, "utf-8")
    lens = read_camera(copy / "pitcher_side.toml")
    write_camera(replace(lens, rotation=np.eye(3), translation=np.zeros(3)), copy / "pitcher_side.toml")
    with pytest.raises(InputError, match="has a lens but no place"):
        read_filmed(copy / "filmed.toml")
    write_camera(replace(lens, size=(640, 360)), copy / "pitcher_side.toml")
    with pytest.raises(InputError, match="of its points lie outside camera pitcher_side's picture of 640 x 360 px"):
        read_filmed(copy / "filmed.toml")


def test_the_bat_is_not_smoothed_across_a_stated_contact(folder: Path) -> None:
    """On the frames beside the blow the barrel's path is nearer to the truth, which its lab recording tells."""
    cameras = [read_camera(folder / f"{name}.toml") for name in ("open_side", "pitcher_side")]
    tables = [read_keypoints(folder / f"{name}.csv") for name in ("open_side", "pitcher_side")]
    whole = filmed(cameras, tables, noise_px=1.5)
    barrel = whole.names.index("bat_barrel")
    fastest = int(np.nanargmax(np.linalg.norm(np.gradient(whole.smoothed.points[:, barrel], axis=0), axis=1)))
    cut = filmed(cameras, tables, noise_px=1.5, contact_s=(fastest + 0.5) / 120.0)
    beside = slice(fastest - 1, fastest + 3)
    sds = [np.trace(own.smoothed.covariance[beside, barrel], axis1=1, axis2=2) for own in (whole, cut)]
    # What comes after the blow says less of what was before it.
    assert sds[1][1] > sds[0][1]
    body = [name not in ("bat_barrel", "bat_knob") for name in whole.names]
    bones = {"l_wrist", "r_wrist", "l_hand", "r_hand"}
    still = [ok and name not in bones for ok, name in zip(body, whole.names, strict=True)]
    assert cut.smoothed.points[:, still] == pytest.approx(whole.smoothed.points[:, still], nan_ok=True, abs=1e-9)
