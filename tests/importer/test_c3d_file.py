"""Reading C3D files: written here by the `c3d` package, real ones, and files that are none."""

from __future__ import annotations

import io
from pathlib import Path

import c3d
import numpy as np
import pytest

import mocap
from mocap.errors import InputError

FRAMES, RATE = 12, 100.0


def write(path: Path, points_in_units: np.ndarray, labels: list[str], units: str, residual: float = 0.0) -> None:
    """A recording of given coordinates; NaN is written as a sample the system lost."""
    writer = c3d.Writer(point_rate=RATE, analog_rate=RATE, point_scale=-1.0)
    writer.set_point_labels(labels)
    writer.point_group.add_str("UNITS", "", units, len(units))
    for frame in points_in_units:
        lost = np.isnan(frame).any(axis=1)
        table = np.zeros((len(labels), 5), dtype=np.float32)
        table[:, :3] = np.where(lost[:, None], 0, frame)
        table[:, 3] = np.where(lost, -1, residual)
        table[:, 4] = np.where(lost, -1, 0)
        writer.add_frames([(table, np.zeros((0, 1)))])
    content = io.BytesIO()
    writer.write(content)
    path.write_bytes(content.getvalue())


@pytest.fixture
def metres() -> np.ndarray:
    points = np.random.default_rng(2).uniform(0.1, 2.0, (FRAMES, 3, 3))
    points[4:6, 1] = np.nan
    return points


@pytest.mark.parametrize(("units", "per_metre"), [("mm", 1000.0), ("cm", 100.0), ("m", 1.0)])
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")
def test_units_and_gaps(tmp_path: Path, metres: np.ndarray, units: str, per_metre: float) -> None:
    file = tmp_path / "trial.c3d"
    write(file, metres * per_metre, ["A", "B", "C"], units)
    capture = mocap.read(file)
    assert capture.labels == ("A", "B", "C")
    assert capture.rate_hz == RATE
    assert capture.points == pytest.approx(metres, rel=1e-6, nan_ok=True)
    assert np.isnan(capture.residuals[4:6, 1]).all()
    assert capture.analog.size == 0
    assert capture.plates == ()


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")
def test_labels_lose_the_subject_and_stay_unique(tmp_path: Path, metres: np.ndarray) -> None:
    file = tmp_path / "trial.c3d"
    write(file, metres * 1000, ["P1:KNEE", "P1:KNEE", "P1:TOE"], "mm")
    capture = mocap.read(file)
    assert capture.labels == ("KNEE", "KNEE_2", "TOE")
    assert any("used 2 times" in note for note in capture.notes)


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")
def test_a_recording_without_one_seen_point_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "trial.c3d"
    write(file, np.full((FRAMES, 2, 3), np.nan), ["A", "B"], "mm")
    with pytest.raises(InputError, match="no usable points"):
        mocap.read(file)


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")
def test_unknown_units_are_named(tmp_path: Path, metres: np.ndarray) -> None:
    file = tmp_path / "trial.c3d"
    write(file, metres, ["A", "B", "C"], "furlong")
    with pytest.raises(InputError, match="POINT:UNITS is 'furlong'"):
        mocap.read(file)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("empty.c3d", b"", "the file is empty"),
        ("text.c3d", b"frame,x,y,z\n" * 100, "not a C3D file"),
        ("short.c3d", b"\x02\x50" + bytes(30), "not a C3D file"),
        ("broken.c3d", b"\x02\x50" + bytes(2000), "cannot be decoded|no usable points"),
        ("trial.txt", b"hello", "files of the kind .txt"),
    ],
)
def test_files_that_are_none(tmp_path: Path, name: str, content: bytes, message: str) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(InputError, match=message) as raised:
        mocap.read(file)
    assert "\n" not in str(raised.value)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        mocap.read(tmp_path / "nowhere.c3d")
    with pytest.raises(InputError, match="is a folder"):
        mocap.read(tmp_path)


def test_a_file_that_cannot_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    file = tmp_path / "trial.c3d"
    file.write_bytes(b"\x02\x50")
    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(InputError, match=r"trial.c3d: the file cannot be opened \(Permission denied\)"):
        mocap.read(file)


def test_the_real_swing(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "real_swing.c3d")
    assert capture.points.shape == (271, 24, 3)
    assert capture.rate_hz == 120.0
    assert {"PELVIS", "L_HIP", "R_HAND", "HEAD_TOP"} <= set(capture.labels)
    assert np.isfinite(capture.points).all()


def test_points_analog_plates_events_and_subject_of_a_lab_file(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "c3d" / "full_body_gait.c3d")
    assert capture.analog.shape == (capture.n_frames * 10, 38)
    assert capture.analog_rate_hz == pytest.approx(1000.0)
    assert "LHipAngles" not in capture.labels
    assert "LFEP" in capture.labels
    assert (capture.subject["height_m"], capture.subject["mass_kg"]) == (1.79, 66.5)
    assert len(capture.plates) == 2
    assert [event.label for event in capture.events[:2]] == ["Foot Strike", "Foot Strike"]
    assert min(event.time_s for event in capture.events) >= 0
    assert max(event.time_s for event in capture.events) <= capture.duration_s + 0.1


@pytest.mark.parametrize(
    "name", ["DEC_INT.C3D", "Dec_real.c3d", "pc_int.c3d", "pc_real.c3d", "sgi_int.c3d", "sgi_real.c3d"]
)
def test_six_encodings_of_one_trial(shared_data: Path, name: str) -> None:
    capture = mocap.read(shared_data / "c3d" / "sample02" / name)
    # c3d.org sample 02, read-me and parameter values: frame 45 (from 1), point RFT1.
    place = capture.points[44, capture.labels.index("RFT1")]
    assert place == pytest.approx([0.3655364, 0.9189023, 0.0717014], abs=1.5e-4)
    assert capture.residuals[44, capture.labels.index("RFT1")] == pytest.approx(0.003374, abs=2e-6)
    assert capture.analog.shape[1] == 16
    # The vertical force's first sample of that frame is stored as 2508: (2508 - 2048) * -1.488 * 0.5 = -342.24 N.
    assert capture.analog[44 * 4, 2] == pytest.approx(-342.24, abs=0.01)


def test_plates_of_two_kinds_agree_on_one_trial(shared_data: Path) -> None:
    folder = shared_data / "c3d" / "sample10"
    second, fourth = (mocap.read(folder / f"type-{kind}a.c3d") for kind in (2, 4))
    for a, b in zip(second.plates, fourth.plates, strict=True):
        loaded = a.force[:, 2] > 200
        assert np.median(np.abs(a.force[loaded, 2] - b.force[loaded, 2])) < 5.0
        assert np.nanmedian(np.linalg.norm((a.centre_of_pressure - b.centre_of_pressure)[loaded], axis=1)) < 0.01


def test_walking_forces_carry_the_body(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "c3d" / "lower_body_three_plates.c3d")
    weight = capture.subject["mass_kg"] * 9.80665
    for plate in capture.plates:
        assert 1.0 < plate.force[:, 2].max() / weight < 1.4  # the two peaks of a step, common practice
        inside = plate.centre_of_pressure[plate.force[:, 2] > 300]
        low, high = plate.corners.min(axis=0), plate.corners.max(axis=0)
        assert (inside[:, :2] > low[:2]).all()
        assert (inside[:, :2] < high[:2]).all()


def test_residuals_in_steps_of_a_metre_are_none(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "c3d" / "sample24.c3d")
    assert capture.residuals.max() == 0.0
    assert any("residuals in steps of 1 m" in note for note in capture.notes)
