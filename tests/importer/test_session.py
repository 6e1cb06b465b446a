from __future__ import annotations

from pathlib import Path

import pytest

from mocap.errors import InputError
from mocap.importer.session import find_session, read_session
from mocap.swing import Pitch

GOOD = """
[session]
name = "Tuesday"
units = "imperial"
[setup]
pitcher = [0, 1, 0]
plate = [1.0, 2.0, 0.0]
pitch_angle_deg = -7.5
[model]
hip = "hara"
marker_set = "ours.toml"
bat_kg = 0.9
[[hitters]]
id = "a"
height_m = 1.5
bats = "left"
calibration = "circles.c3d"
[[swings]]
file = "one.c3d"
hitter = "a"
[swings.moments]
plant = 12
[[swings]]
file = "two.c3d"
kind = "tee"
date = 2026-03-14
plate = [1.5, 2.0, 0.0]
[[swings]]
file = "three.c3d"
hitter = "a"
kind = "held"
"""


def write(folder: Path, text: str) -> Path:
    file = folder / "session.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_session_is_read(tmp_path: Path) -> None:
    session = read_session(write(tmp_path, GOOD).parent)
    assert (session.name, session.units) == ("Tuesday", "imperial")
    first, second, third = session.recordings
    assert (first.setup.plate, second.setup.plate) == ((1.0, 2.0, 0.0), (1.5, 2.0, 0.0))
    assert [recording.setup.held for recording in session.recordings] == [False, False, True]
    assert third.hitter == first.hitter
    assert first.file == tmp_path / "one.c3d"
    assert (first.hitter.height_m, first.hitter.bats) == (1.5, "left")
    assert first.setup.pitcher == (0.0, 1.0, 0.0)
    assert first.setup.moments == {"plant": 12}
    assert second.setup.moments == {}
    assert (first.setup.model.hip, first.setup.model.inertia, first.setup.model.bat_kg) == ("hara", "auto", 0.9)
    assert first.setup.model.marker_set == str(tmp_path / "ours.toml")
    assert (first.calibration, second.calibration) == (tmp_path / "circles.c3d", None)
    assert (second.kind, second.hitter.height_m) == ("tee", None)


PITCHES = """
[setup]
sport = "softball"
pitch_angle_deg = -6.0
[setup.pitch]
speed_m_s = 27.0
release_height_m = 0.7
distance = "softball 40 ft"
[[swings]]
file = "one.c3d"
[[swings]]
file = "two.c3d"
pitch = { speed_m_s = 24, backspin_rpm = -900, release_distance_m = 9.5, plate_height_m = 0.6 }
"""


def test_a_pitch_is_the_sessions_or_the_swings_own(tmp_path: Path) -> None:
    first, second = (recording.setup for recording in read_session(write(tmp_path, PITCHES)).recordings)
    assert (first.sport, first.pitch_angle_deg) == ("softball", -6.0)
    # 40 ft less the 1.6 m at which it is let go ahead of the pitcher's plate.
    assert first.pitch is not None
    assert first.pitch.release_distance_m == pytest.approx(40 * 0.3048 - 1.6)
    assert (first.pitch.speed_m_s, first.pitch.release_height_m, first.pitch.backspin_rpm) == (27.0, 0.7, 0.0)
    # Its own row overrides key by key, and the session's angle is not that of this pitch.
    assert second.pitch == Pitch(24, 0.7, 9.5, -900, 0.6)
    assert (second.sport, second.pitch_angle_deg) == ("softball", None)


def test_without_a_pitch_there_is_none(tmp_path: Path) -> None:
    setup = read_session(write(tmp_path, GOOD)).recordings[0].setup
    assert (setup.sport, setup.pitch, setup.pitch_angle_deg) == ("baseball", None, -7.5)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('sport = "softball"', 'sport = "cricket"', "sport 'cricket' is not known; give baseball, softball"),
        ("speed_m_s = 27.0", "speed = 27.0", "setup.pitch: 'speed' is not known"),
        ("speed_m_s = 27.0", "speed_m_s = 88", "setup.pitch: speed_m_s 88 is outside 5 to 55"),
        ("speed_m_s = 27.0", 'speed_m_s = "60 mph"', "setup.pitch: speed_m_s '60 mph' is not a number"),
        ("speed_m_s = 27.0", "speed_m_s = true", "setup.pitch: speed_m_s True is not a number"),
        ("speed_m_s = 27.0", "", "setup.pitch has no speed_m_s"),
        ('"softball 40 ft"', '"40 ft"', "setup.pitch: pitching distance '40 ft' is not known; give 'adult 60 ft 6 in'"),
        ('distance = "softball 40 ft"', "", r"setup.pitch has no release_distance_m \(or distance, by name\)"),
        ("release_height_m = 0.7", "release_distance_m = 11.0", "distance and release_distance_m are both given"),
        ("speed_m_s = 24", "speed_m_s = 240", "swings row 2: pitch: speed_m_s 240 is outside"),
        ("speed_m_s = 24", "spin = 24", "swings row 2: pitch: 'spin' is not known"),
        ("pitch = {", "pitch = 38.0 # {", "swings row 2: pitch must be a table"),
        ("pitch = {", "pitch = [] # {", "swings row 2: pitch must be a table"),
    ],
)
def test_faults_of_a_pitch_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in PITCHES
    file = write(tmp_path, PITCHES.replace(old, new, 1))
    with pytest.raises(InputError, match=message) as raised:
        read_session(file)
    assert str(raised.value).startswith(str(file))
    assert "\n" not in str(raised.value)


def located(folder: Path, value: str) -> str | None:
    """What is read of a swing's place over the plate; the one before it has none."""
    rows = f'[[swings]]\nfile = "one.c3d"\n[[swings]]\nfile = "two.c3d"\npitch_location = {value}\n'
    first, second = read_session(write(folder, rows)).recordings
    assert first.setup.pitch_location is None
    return second.setup.pitch_location


@pytest.mark.parametrize(
    ("value", "location"),
    [
        ('"inside"', "inside"),
        ('"middle"', "middle"),
        ('"away"', "away"),
        ('"away low"', "away"),
        ('""', None),
        ('" "', None),
    ],
)
def test_where_the_pitch_crosses_the_plate(tmp_path: Path, value: str, location: str | None) -> None:
    assert located(tmp_path, value) == location


@pytest.mark.parametrize("value", ['"outside"', '"low away"', "3", "0", "false", '["away"]'])
def test_an_unknown_place_is_refused_by_its_row(tmp_path: Path, value: str) -> None:
    message = r"swings row 2: pitch_location .* is not known; give inside, middle, away"
    with pytest.raises(InputError, match=message) as raised:
        located(tmp_path, value)
    assert str(raised.value).startswith(str(tmp_path / "session.toml"))
    assert "\n" not in str(raised.value)


def test_finding_the_session_of_a_file(tmp_path: Path) -> None:
    assert find_session(tmp_path / "one.c3d") is None
    file = write(tmp_path, GOOD)
    assert find_session(tmp_path / "one.c3d") == file
    assert find_session(tmp_path) == file


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("plate = [1.0, 2.0, 0.0]", "plate = [1.0]", "plate must be three numbers"),
        ("height_m = 1.5", "height_m = 150", "height 150 m is outside"),
        ("height_m = 1.5", "heigth_m = 1.5", "hitters row 1: 'heigth_m' is not known"),
        ('hitter = "a"', 'hitter = "b"', "hitter 'b' is not among the hitters"),
        ('file = "one.c3d"', "", "swings row 1 has no 'file'"),
        ("plant = 12", "strike = 12", "'strike' is not known"),
        ('kind = "tee"', 'kind = "bunt"', "swings row 2: kind 'bunt' is not known; give live, toss, tee, held"),
        ("date = 2026-03-14", 'date = "14 March"', "swings row 2: date must be a day"),
        ("[session]", "[session", "not a TOML file"),
        ('hip = "hara"', 'hip = "knee"', "hip model 'knee' is not known; give auto, harrington, davis, hara"),
        ("bat_kg = 0.9", "bat = 0.9", "model: 'bat' is not known"),
        ("bat_kg = 0.9", "bat_kg = 32", "bat mass 32 kg is outside"),
        ('units = "imperial"', 'units = "cubits"', "'cubits' is not known"),
    ],
)
def test_faults_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in GOOD
    file = write(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(InputError, match=message) as raised:
        read_session(file)
    assert "session.toml" in str(raised.value)


def test_a_session_without_swings_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no swings are listed"):
        read_session(write(tmp_path, "[session]\nname = 'x'\n"))
    with pytest.raises(InputError, match="no such session file"):
        read_session(tmp_path / "other.toml")


CAMERAS = """
[[swings]]
file = "one.c3d"
[[cameras]]
camera = "left.toml"
points = "left.csv"
video = "left.mp4"
[[cameras]]
video = "phone.mov"
moments = { plant = 143 }
rate_hz = 240
"""


def test_what_cameras_saw_belongs_to_a_swing(tmp_path: Path) -> None:
    left, phone = read_session(write(tmp_path, CAMERAS)).filmed
    assert (left.recording, left.camera, left.points) == tuple(
        tmp_path / name for name in ("one.c3d", "left.toml", "left.csv")
    )
    assert (left.video, left.moments, left.rate_hz) == (tmp_path / "left.mp4", {}, None)
    assert (phone.camera, phone.video, phone.moments) == (None, tmp_path / "phone.mov", {"plant": 143})
    assert phone.rate_hz == 240
    two = '[[swings]]\nfile = "two.c3d"\n' + CAMERAS.replace("[[cameras]]", '[[cameras]]\nswing = "two.c3d"')
    assert {seen.recording.name for seen in read_session(write(tmp_path, two)).filmed} == {"two.c3d"}
    assert read_session(write(tmp_path, GOOD)).filmed == ()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('camera = "left.toml"', 'lens = "left.toml"', "cameras row 1: 'lens' is not known"),
        ('video = "phone.mov"', "", "cameras row 2 has neither 'camera' nor 'video'"),
        ('video = "phone.mov"', 'video = "phone.mov"\nswing = "x.c3d"', "cameras row 2: swing 'x.c3d' is not among"),
        ('"one.c3d"\n', '"one.c3d"\n[[swings]]\nfile = "two.c3d"\n', "cameras row 1 has no 'swing'"),
        ("plant = 143", "plant = 14.5", "cameras row 2: moments must be frames of the video"),
        ("plant = 143", "strike = 143", "cameras row 2: moment 'strike' is not known"),
        ("rate_hz = 240", 'rate_hz = "240 fps"', "cameras row 2: rate_hz '240 fps' is no positive number"),
    ],
)
def test_faults_of_a_camera_row_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in CAMERAS
    file = write(tmp_path, CAMERAS.replace(old, new, 1))
    with pytest.raises(InputError, match=message) as raised:
        read_session(file)
    assert str(raised.value).startswith(str(file))
    assert "\n" not in str(raised.value)
