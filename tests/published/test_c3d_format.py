"""C3D reading against the published sample files of c3d.org and against an independent library, ezc3d.

ezc3d reads Intel and DEC files; it refuses MIPS ones (1.7), so that those are held against the same trial in the other
encodings. It also refuses some broken files that are read here; the tests name those that it reads.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import mocap
from mocap.capture import Capture

#: Files that ezc3d reads, with frames of points. Of sample 28 it overlooks the analog data, as the ANALOG group names
#: no rate, and slips further with every frame; that set has its own test.
READ_BY_BOTH = [
    "cube_one_frame.c3d",
    "full_body_gait.c3d",
    "full_body_standing.c3d",
    "lower_body_three_plates.c3d",
    "sample01/Eb015pi.c3d",
    "sample01/Eb015pr.c3d",
    "sample01/Eb015vi.c3d",
    "sample01/Eb015vr.c3d",
    "sample02/DEC_INT.C3D",
    "sample02/Dec_real.c3d",
    "sample02/pc_int.c3d",
    "sample02/pc_real.c3d",
    "sample08/TESTAPI.c3d",
    "sample08/TESTBPI.c3d",
    "sample08/TESTCPI.c3d",
    "sample08/TESTDPI.c3d",
    "sample09.c3d",
    "sample10/TYPE-2.C3D",
    "sample10/TYPE-4.C3D",
    "sample10/type-2a.c3d",
    "sample10/type-4a.c3d",
    "sample15/FP1.C3D",
    "sample15/FP2.C3D",
    "sample24.c3d",
    "../real_swing.c3d",
]
#: Single precision: half a unit in the last place of 24 bits, and the product of two such numbers.
FLOAT32 = 2.0**-22
SAMPLE_01 = ["Eb015pi.c3d", "Eb015pr.c3d", "Eb015vi.c3d", "Eb015vr.c3d", "Eb015si.c3d", "Eb015sr.c3d"]
SAMPLE_02 = ["pc_int.c3d", "pc_real.c3d", "DEC_INT.C3D", "Dec_real.c3d", "sgi_int.c3d", "sgi_real.c3d"]


@pytest.mark.parametrize("name", READ_BY_BOTH)
def test_points_and_analog_agree_with_ezc3d(shared_data: Path, name: str) -> None:
    ezc3d = pytest.importorskip("ezc3d", reason="ezc3d is not installed")
    file = shared_data / "c3d" / name
    ours, theirs = mocap.read(file), ezc3d.c3d(str(file))
    unit = theirs["parameters"]["POINT"]["UNITS"]["value"][0]
    points = np.transpose(theirs["data"]["points"][:3], (2, 1, 0)) * {"mm": 1e-3, "m": 1.0, "mete": 1.0}[unit]
    labels = [label.split(":", 1)[-1].strip() for label in _labels(theirs)]
    kept = _columns(labels, ours, points.shape[1])
    points = points[:, kept]
    assert points.shape == ours.points.shape
    seen = np.isfinite(ours.points)
    assert seen.any()
    np.testing.assert_allclose(ours.points[seen], points[seen], rtol=FLOAT32, atol=1e-9)
    # What is missing here is missing there, or stored there as an exact zero.
    assert np.all(np.isnan(points[~seen]) | (points[~seen] == 0))
    analog = theirs["data"]["analogs"][0].T
    if analog.size and ours.analog.size:
        assert analog.shape == ours.analog.shape
        # A difference of two numbers of single precision is as exact as the larger of them.
        largest = float(np.abs(analog).max())
        np.testing.assert_allclose(ours.analog, analog, rtol=FLOAT32, atol=FLOAT32 * largest)


def _labels(theirs: Any) -> list[str]:
    groups = theirs["parameters"]["POINT"]
    keys = ["LABELS", *(f"LABELS{i}" for i in range(2, 9))]
    return [label for key in keys if key in groups for label in groups[key]["value"]]


def _columns(labels: list[str], ours: Capture, count: int) -> list[int]:
    """Columns of the points that are places; all of them where none was left out."""
    if len(ours.labels) == count:
        return list(range(count))
    return [labels.index(label) for label in ours.labels]


def test_the_first_frames_are_not_all_lost_in_the_comparison(shared_data: Path) -> None:
    seen = [np.isfinite(mocap.read(shared_data / "c3d" / name).points).mean() for name in READ_BY_BOTH]
    assert min(seen) > 0.3


@pytest.mark.parametrize(
    ("name", "points", "frames"), [("dynamic", 34, 296), ("standing", 38, 200), ("type1", 28, 296)]
)
def test_sample_28_is_read_where_its_frames_lie(shared_data: Path, name: str, points: int, frames: int) -> None:
    file = shared_data / "c3d" / "sample28" / f"{name}.C3D"
    capture = mocap.read(file)
    assert (capture.n_frames, len(capture.labels), capture.analog.shape) == (frames, points, (frames, 6))
    # Header word 9 names the first block of the frames; each has four floats a point and one of six analog channels.
    content = file.read_bytes()
    size = frames * (4 * points + 6) * 4
    start = 512 * (int.from_bytes(content[16:18], "little") - 1)
    assert 0 <= len(content) - start - size < 512
    last = np.frombuffer(content, "<f4", 3, start + (frames - 1) * (4 * points + 6) * 4)
    if np.isfinite(capture.points[-1, 0]).all():
        np.testing.assert_allclose(capture.points[-1, 0], last * 1e-3, rtol=FLOAT32)
    # A walker's point moves a few centimetres from frame to frame at 100 Hz.
    assert np.nanmedian(np.linalg.norm(np.diff(capture.points, axis=0), axis=-1)) < 0.05


def _encodings(shared_data: Path, folder: str, names: list[str]) -> dict[str, Capture]:
    return {name: mocap.read(shared_data / "c3d" / folder / name) for name in names}


@pytest.mark.parametrize(
    # POINT:SCALE of the sets, c3d.org sample 01 and 02 (their read-me and parameters). [mm]
    ("folder", "names", "step_mm"),
    [("sample01", SAMPLE_01, 0.083333336), ("sample02", SAMPLE_02, 0.281181872)],
)
def test_six_encodings_of_one_trial_agree_to_their_quantisation(
    shared_data: Path, folder: str, names: list[str], step_mm: float
) -> None:
    captures = _encodings(shared_data, folder, names)
    first = captures[names[0]]
    for name in names[1:]:
        other = captures[name]
        assert other.labels == first.labels
        assert (other.rate_hz, other.first_frame) == (first.rate_hz, first.first_frame)
        assert np.array_equal(np.isnan(other.points), np.isnan(first.points)), name
        seen = np.isfinite(first.points)
        # An integer lies within one step of the number that it was made from, cut or rounded.
        assert np.abs(other.points - first.points)[seen].max() <= 1.001e-3 * step_mm, name
        np.testing.assert_allclose(other.analog, first.analog, rtol=1e-6)
        if name != "DEC_INT.C3D":  # whose bytes hold other masks: 0x3A09 for 0x3909 in frame 1, point 20
            np.testing.assert_array_equal(other.cameras, first.cameras)
        np.testing.assert_allclose(other.residuals, first.residuals, rtol=1e-6)


@pytest.mark.parametrize("name", SAMPLE_02)
def test_sample_02_holds_its_published_numbers(shared_data: Path, name: str) -> None:
    capture = mocap.read(shared_data / "c3d" / "sample02" / name)
    assert (capture.n_frames, len(capture.labels), capture.rate_hz) == (89, 36, 50.0)
    point = capture.labels.index("RFT1")
    assert capture.cameras[44, point] == 53
    assert capture.analog_rate_hz == 200.0
    times = {event.label: round(event.time_s, 3) for event in capture.events}
    published = {"RHS": 0.38, "STRT": 0.68, "RMS": 0.72, "LHS": 0.84, "RTO": 0.92, "LMS": 1.16, "STOP": 1.2, "LTO": 1.4}
    if name != "DEC_INT.C3D":  # which holds eight of the nine
        published["EOF"] = 1.76
    assert times == published


def test_four_places_of_the_same_sections_give_the_same_trial(shared_data: Path) -> None:
    """c3d.org sample 08: parameter section and frames at four places, header pointers always right."""
    folder = shared_data / "c3d" / "sample08"
    first, *others = (mocap.read(folder / f"TEST{letter}PI.c3d") for letter in "ABCD")
    for other in others:
        np.testing.assert_array_equal(other.points, first.points)
        np.testing.assert_array_equal(other.analog, first.analog)
        assert other.events == first.events


@pytest.mark.parametrize(
    ("name", "note"),
    [
        ("full_body_standing.c3d", "stored more than once"),
        ("sample13_unlabelled.c3d", "they begin in block 8"),
        ("sample18_bad_parameter_section.c3d", "the parameter section breaks off"),
        ("sample20.c3d", "no parameter section"),
        ("sample24.c3d", "read as 16 channels of 7 samples"),
        ("sample02/sgi_int.c3d", "broken pointer"),
        ("sample28/standing.C3D", "POINT:UNITS is not stated; mm"),
    ],
)
def test_broken_files_are_read_and_say_what_was_repaired(shared_data: Path, name: str, note: str) -> None:
    capture = mocap.read(shared_data / "c3d" / name)
    assert np.isfinite(capture.points).any()
    assert any(note in told for told in capture.notes), capture.notes


def test_every_file_at_hand_is_read_or_is_the_empty_one(shared_data: Path) -> None:
    files = [path for path in sorted(shared_data.rglob("*")) if path.suffix.lower() == ".c3d"]
    assert len(files) > 25
    for file in files:
        if file.stat().st_size:
            assert mocap.read(file).n_frames > 0
        else:
            with pytest.raises(mocap.MocapError, match="the file is empty"):
                mocap.read(file)
