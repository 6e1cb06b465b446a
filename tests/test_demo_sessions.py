from __future__ import annotations

import importlib.util
import tomllib
from pathlib import Path
from types import ModuleType

import c3d
import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.importer.session import read_session
from mocap.reference.posed import pose_swing
from mocap.virtual.skin import CENTRE_LABELS

WEIGHT_N = 88.0 * 9.80665


@pytest.fixture(scope="module")
def maker(project_root: Path) -> ModuleType:
    path = project_root / "scripts" / "make_demo_sessions.py"
    spec = importlib.util.spec_from_file_location("make_demo_sessions", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    import sys

    # Frozen dataclasses look their own module up while they are made.
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def folder(project_root: Path) -> Path:
    return project_root / "demo_sessions" / "first_session"


@pytest.fixture(scope="module")
def capture(folder: Path) -> Capture:
    return mocap.read(folder / "swing_01.c3d")


def vertical(capture: Capture, plate: int) -> np.ndarray:
    return capture.plates[plate].force[:, 2]


def test_the_recording_reads_as_a_lab_file(folder: Path) -> None:
    with (folder / "swing_01.c3d").open("rb") as handle:
        reader = c3d.Reader(handle)
        frames = [points for _, points, _ in reader.read_frames()]
        assert reader.point_rate == 240
        assert reader.analog_rate == 1200
        assert reader.get("POINT:UNITS").string_value.strip() == "mm"
        assert reader.point_scale < 0
        assert reader.get("FORCE_PLATFORM:USED").int16_value == 2
        assert list(reader.get("FORCE_PLATFORM:TYPE").int16_array) == [2, 2]
        assert reader.get("FORCE_PLATFORM:CHANNEL").int16_array.ravel().tolist() == list(range(1, 13))
        assert reader.get("FORCE_PLATFORM:CORNERS").float_array.size == 24
        assert (reader.get("FORCE_PLATFORM:ORIGIN").float_array.reshape(2, 3)[:, 2] < 0).all()
        labels = [label.strip() for label in reader.point_labels]
    assert {"PELVIS", "L_HIP", "R_TOE", "SPINE", "HEAD_TOP", "BAT_KNOB", "BAT_BARREL"} <= set(labels)
    assert len(frames) == 422


def test_the_recording_is_what_its_script_makes(maker: ModuleType, folder: Path, tmp_path: Path) -> None:
    maker.write_first_session(tmp_path)
    assert (tmp_path / "session.toml").read_text() == (folder / "session.toml").read_text()
    stored, made = mocap.read(folder / "swing_01.c3d"), mocap.read(tmp_path / "swing_01.c3d")
    assert made.labels == stored.labels
    assert made.points == pytest.approx(stored.points, abs=1e-6, nan_ok=True)
    assert made.residuals == pytest.approx(stored.residuals, abs=6e-5, nan_ok=True)
    assert made.analog == pytest.approx(stored.analog, rel=1e-4, abs=0.05)


def test_points_lie_where_the_posed_swing_has_them(maker: ModuleType, capture: Capture) -> None:
    truth = pose_swing(maker.FIRST_HITTER.parameters, 240)
    # The lab is turned a quarter about the vertical, x -> y and y -> -x, and shifted.
    x, y, z = np.moveaxis(truth.points, 2, 0)
    expected = np.stack([1.30 - y, 0.80 + x, z], axis=2)
    rows = [capture.labels.index(CENTRE_LABELS[name]) for name in truth.names]
    error = capture.points[:, rows] - expected
    assert np.nanmax(np.abs(np.nanmean(error, axis=0))) < 3e-4
    assert np.nanstd(error) == pytest.approx(1e-3, rel=0.03)


def test_short_gaps_and_nothing_else_are_missing(capture: Capture) -> None:
    missing = np.isnan(capture.points).any(axis=2).sum(axis=0)
    gaps = {label: int(count) for label, count in zip(capture.labels, missing, strict=True) if count}
    assert gaps == {"L_WRIST": 10, "R_HEEL": 9, "BAT_BARREL": 5}


def test_the_plates_carry_the_body(capture: Capture) -> None:
    total = vertical(capture, 0) + vertical(capture, 1)
    # Standing still at first; over the whole recording the body gains no height, so its weight is carried on average.
    assert total[:60].mean() == pytest.approx(WEIGHT_N, rel=0.01)
    assert total.mean() == pytest.approx(WEIGHT_N, rel=0.02)
    assert vertical(capture, 0).min() > -10
    assert vertical(capture, 1).min() > -10


def test_forces_integrate_to_the_bodys_momentum(maker: ModuleType, capture: Capture) -> None:
    truth = pose_swing(maker.FIRST_HITTER.parameters, 1200)
    com = mocap.kinematics.inertia.centre_of_mass({name: truth[name] for name in truth.names}, sides=("front", "back"))
    velocity = np.gradient(com, 1 / 1200, axis=0)
    force = capture.plates[0].force + capture.plates[1].force - np.array([0, 0, WEIGHT_N])
    # Lab y is toward the pitcher, lab x away from the plate's far side.
    force = np.stack([force[:, 1], -force[:, 0], force[:, 2]], axis=1)
    gained = np.cumsum(force, axis=0)[: len(velocity)] / 1200 / 88.0
    assert np.abs(gained - (velocity - velocity[0]))[5:-5].max() < 0.03


def test_the_front_foot_lands_at_plant(maker: ModuleType, capture: Capture) -> None:
    front = vertical(capture, 1) / WEIGHT_N
    lift, plant = (round((when + 0.90) * 1200) for when in (maker.FIRST_HITTER.parameters.timing.lift, 0.0))
    in_air = front[lift + 12 : plant - 48]
    assert np.abs(in_air).max() < 0.01
    crossing = plant - 48 + int(np.argmax(front[plant - 48 :] > 0.10))
    assert abs(crossing - plant) <= 6
    assert front[plant + 12 : plant + 240].min() > 0.10


def test_pressure_lies_under_the_feet(capture: Capture) -> None:
    times = np.arange(len(capture.plates[0].force)) / 1200
    for plate, side in ((0, "R"), (1, "L")):
        loaded = vertical(capture, plate) > 200
        places = capture.plates[plate].centre_of_pressure[loaded]
        frame = np.minimum((times[loaded] * 240).astype(int), 399)
        foot = [capture.points[frame, capture.labels.index(f"{side}_{name}"), :2] for name in ("HEEL", "TOE")]
        middle, half = (foot[0] + foot[1]) / 2, np.linalg.norm(foot[0] - foot[1], axis=1) / 2
        assert np.nanmax(np.linalg.norm(places[:, :2] - middle, axis=1) - half) < 0.02
        assert np.abs(places[:, 2]).max() < 1e-6


def test_the_session_file_says_what_the_hitter_is(folder: Path) -> None:
    table = tomllib.loads((folder / "session.toml").read_text())
    assert table["hitters"][0]["height_m"] == 1.86
    (recording,) = read_session(folder).recordings
    assert recording.file == folder / "swing_01.c3d"
    assert recording.hitter.mass_kg == 88.0
    assert recording.setup.pitcher == (0.0, 1.0, 0.0)


# -------------------------------------------------------------------- the other sessions


@pytest.fixture(scope="module")
def sessions(project_root: Path) -> Path:
    return project_root / "demo_sessions"


def findings_of(session: Path, file: str) -> dict[str, str]:
    """Verdicts by measure of one recording of a session."""
    recording = next(r for r in read_session(session).recordings if r.file.name == file)
    swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup)
    return {check.measure: check.verdict for check in mocap.measure(swing).checks}


def test_the_folder_is_small(sessions: Path) -> None:
    assert sum(file.stat().st_size for file in sessions.rglob("*") if file.is_file()) < 25e6


def test_every_listed_recording_is_there_and_is_a_swing_or_a_held_position(sessions: Path) -> None:
    counts = {}
    for folder in sorted(sessions.iterdir()):
        recordings = read_session(folder).recordings
        counts[folder.name] = len(recordings)
        for recording in recordings:
            swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup)
            assert swing.index("plant") is not None
            assert (swing.index("contact") is None) == (recording.kind == "held")
            assert swing.plate_known
            assert swing.hitter.bats == recording.hitter.bats
    assert counts == {"first_session": 1, "lab_day": 9, "season": 3, "two_cameras": 2}


#: What the position at landing is judged by, wherever he came from.
LANDING = {
    "back_share",
    "foot_open",
    "pelvis_open",
    "trunk_open",
    "hip_shoulder_separation",
    "stride_length",
    "front_knee_flexion",
    "back_knee_flexion",
    "bat_position",
}


@pytest.mark.parametrize(
    ("file", "off"),
    [
        ("flint.c3d", {"back_share"}),
        ("heath.c3d", {"pelvis_open", "trunk_open"}),
        ("reed.c3d", {"back_foot_turn"}),
        ("oak.c3d", {"bat_position"}),
        ("rook.c3d", set()),
        ("birch.c3d", set()),
        ("wren.c3d", set()),
    ],
)
def test_what_is_wrong_with_a_hitter_is_called_off(sessions: Path, file: str, off: set[str]) -> None:
    verdicts = findings_of(sessions / "lab_day", file)
    called = {measure for measure, verdict in verdicts.items() if verdict == "off"}
    assert off <= called
    assert called & LANDING == off & LANDING


def test_two_stances_come_to_one_landing(sessions: Path) -> None:
    values = []
    for file in ("rook.c3d", "birch.c3d"):
        recording = next(r for r in read_session(sessions / "lab_day").recordings if r.file.name == file)
        swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup)
        findings = mocap.measure(swing).measures
        stance = swing.index("stance")
        assert stance is not None
        width = np.linalg.norm((swing["front_ankle"] - swing["back_ankle"])[stance, :2]) / swing.height_m
        values.append((width, findings["back_share"].value, findings["pelvis_open"].value))
    (narrow, share, hips), (wide, other_share, other_hips) = values
    assert wide > narrow + 0.05
    assert share == pytest.approx(other_share, abs=0.03)
    assert hips == pytest.approx(other_hips, abs=5.0)


def test_the_season_shows_progress(sessions: Path) -> None:
    shares = []
    for recording in read_session(sessions / "season").recordings:
        swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup)
        shares.append(mocap.measure(swing).measures["back_share"].value)
    assert shares == sorted(shares)
    assert shares[-1] - shares[0] > 0.05


def test_the_cameras_see_what_the_lab_recorded(sessions: Path) -> None:
    from mocap.importer.camera_file import read_camera

    folder = sessions / "two_cameras"
    lab = mocap.read(folder / "lab.c3d")
    names = {label.lower(): column for column, label in enumerate(lab.labels)}
    table = tomllib.loads((folder / "filmed.toml").read_text(encoding="utf-8"))
    assert len(table["cameras"]) == 2
    for row in table["cameras"]:
        camera = read_camera(folder / row["camera"])
        off = []
        for line in (folder / row["points"]).read_text(encoding="utf-8").splitlines()[1:]:
            frame, point, u, v, _ = line.split(",")
            assert camera.rate_hz is not None
            at = (camera.time_offset_s + int(frame) / camera.rate_hz) * lab.rate_hz
            path = lab.points[:, names[point]]
            place = np.array([np.interp(at, np.arange(lab.n_frames), path[:, axis]) for axis in range(3)])
            off.append(np.linalg.norm(camera.project(place) - [float(u), float(v)]))
        # 1.5 px of noise in both directions, and 1 in 100 far off.
        assert np.median(off) < 3.0
        assert (folder / row["camera"]).with_suffix(".mp4").stat().st_size > 100_000
