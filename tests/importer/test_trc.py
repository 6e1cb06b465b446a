"""Reading TRC files: the text written here by hand, with and without what real writers do to it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.errors import InputError

LABELS = ("R.ASIS", "L.ASIS", "V.Sacral")
#: Two markers that move and one that is lost in the second frame. [mm]
ROWS = (
    ("1", "0.00000", "1.5", "2.5", "3.5", "-4.25", "5", "6", "7", "8", "9"),
    ("2", "0.01000", "10", "20", "30", "40", "50", "60", "", "", ""),
    ("3", "0.02000", "11", "21", "31", "41", "51", "61", "NaN", "nan", "NaN"),
    ("4", "0.03000", "12", "22", "32", "42", "52", "62", "70", "80", "90"),
)
POINTS_MM = np.array(
    [
        [[1.5, 2.5, 3.5], [-4.25, 5, 6], [7, 8, 9]],
        [[10, 20, 30], [40, 50, 60], [np.nan] * 3],
        [[11, 21, 31], [41, 51, 61], [np.nan] * 3],
        [[12, 22, 32], [42, 52, 62], [70, 80, 90]],
    ]
)


def trc(
    *,
    units: str = "mm",
    rate: str = "100.00",
    frames: str = "4",
    markers: str = "3",
    labels: Sequence[str] = LABELS,
    rows: Sequence[Sequence[str]] = ROWS,
    blank: bool = True,
    tail: str = "",
) -> str:
    """A TRC file by the published description of its lines."""
    lines = [
        "PathFileType\t4\t(X/Y/Z)\ttrial.trc",
        "DataRate\tCameraRate\tNumFrames\tNumMarkers\tUnits\tOrigDataRate\tOrigDataStartFrame\tOrigNumFrames",
        f"{rate}\t100.00\t{frames}\t{markers}\t{units}\t100.00\t1\t4",
        "Frame#\tTime\t" + "\t\t\t".join(labels) + tail,
        "\t\t" + "\t".join(f"{axis}{i + 1}" for i in range(len(labels)) for axis in "XYZ") + tail,
        *([""] if blank else []),
        *("\t".join(row) + tail for row in rows),
    ]
    return "\n".join(lines) + "\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "trial.trc"


def read(file: Path, text: str, encoding: str = "utf-8") -> mocap.Capture:
    file.write_bytes(text.encode(encoding))
    return mocap.read(file)


def test_points_labels_rate_and_gaps(file: Path) -> None:
    capture = read(file, trc())
    assert capture.source == "trial.trc"
    assert capture.labels == LABELS
    np.testing.assert_allclose(capture.points, POINTS_MM / 1000.0, rtol=1e-12)
    assert (capture.rate_hz, capture.first_frame, capture.notes) == (100.0, 1, ())
    np.testing.assert_array_equal(np.isnan(capture.residuals), np.isnan(POINTS_MM).any(axis=2))


@pytest.mark.parametrize(("units", "scale"), [("mm", 1e-3), ("cm", 1e-2), ("m", 1.0), ("meters", 1.0)])
def test_units(file: Path, units: str, scale: float) -> None:
    np.testing.assert_allclose(read(file, trc(units=units)).points, POINTS_MM * scale, rtol=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(trc(blank=False), id="no blank line"),
        pytest.param(trc(tail="\t\t"), id="trailing tabs"),
        pytest.param(trc().replace("\n", "\r\n"), id="line ends of Windows"),
        pytest.param(trc() + "\n\n", id="blank lines at the end"),
        pytest.param("\ufeff" + trc(), id="byte order mark"),
        pytest.param(trc().replace("R.ASIS\t\t\tL.ASIS\t\t\tV", "R.ASIS\tL.ASIS\tV"), id="names side by side"),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_harmless_varieties(file: Path, text: str, encoding: str) -> None:
    capture = read(file, text, encoding)
    assert capture.labels == LABELS
    np.testing.assert_allclose(capture.points, POINTS_MM / 1000.0, rtol=1e-12)
    assert capture.notes == ()


@pytest.mark.parametrize(
    ("text", "note"),
    [
        (trc(frames="9"), "NumFrames is 9, but 4 are there"),
        (trc(markers="30"), "NumMarkers is 30, but 3 are there"),
        (trc(rate="50"), "the time column runs at 100 Hz, the stated rate is 50 Hz; the time column is taken"),
        (trc().replace(".", ","), "decimal commas (first in line 7)"),
        (trc().replace("\t", ";"), "separated by semicolons"),
        (trc().replace("\t", ","), "separated by commas"),
        (
            trc(rows=[(*row, "1", "2", "3") for row in ROWS]),
            "beyond the last marker name are left out (first in line 7)",
        ),
    ],
)
def test_what_is_odd_is_read_and_noted(file: Path, text: str, note: str) -> None:
    capture = read(file, text)
    assert capture.rate_hz == 100.0
    np.testing.assert_allclose(capture.points, POINTS_MM / 1000.0, rtol=1e-12)
    (found,) = capture.notes
    assert note in found


def test_repeated_labels_and_prefixes(file: Path) -> None:
    capture = read(file, trc(labels=("hitter:C7", "C7", "T10")))
    assert capture.labels == ("C7", "C7_2", "T10")
    assert capture.notes == ("label 'C7' is used 2 times; the later ones carry a number",)


def test_frames_left_out_are_gaps_and_zeros_are_lost(file: Path) -> None:
    rows = [list(ROWS[0]), list(ROWS[1]), ["6", "0.05", *ROWS[2][2:]], ["7", "0.06", "0", "0", "0", *ROWS[3][5:]]]
    capture = read(file, trc(rows=rows))
    assert capture.points.shape == (7, 3, 3)
    assert np.isnan(capture.points[2:5]).all()
    assert np.isnan(capture.points[6, 0]).all()
    np.testing.assert_allclose(capture.points[5, 0], [0.011, 0.021, 0.031])
    assert capture.notes == ("3 frames are not in the file (the first after frame 2); left as gaps",)


def test_no_rate_but_times_no_unit_but_a_body(file: Path) -> None:
    rows = [
        [str(i + 1), f"{i / 240:.4f}", *(["0"] * 2 + ["100"]), "300", "0", "900", "0", "1700", "0"] for i in range(50)
    ]
    capture = read(file, trc(rate="", units="", rows=rows, frames="50"))
    assert capture.rate_hz == 240.0
    np.testing.assert_allclose(capture.points[0, 2], [0.0, 1.7, 0.0])
    assert [note for note in capture.notes if "no unit is stated; taken as mm" in note]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the file is empty"),
        ("frame,point,x,y,z\n1,A,0,0,1\n", "not a TRC file (line 1 does not begin with PathFileType)"),
        ("PathFileType\t4\n\x00\x01", "not a TRC file (it is binary"),
        ("PathFileType\t4\nDataRate\n", "no line of marker names"),
        (trc(rows=()), "no usable points (no row of numbers)"),
        (trc(rows=[("1", "0", *[""] * 9)]), "no usable points (every sample is missing)"),
        (trc(units="ft"), "Units is 'ft'; known are mm, cm, m"),
        (trc().replace("21", "2l"), "line 9, column R.ASIS Y: '2l' is not a number"),
        (
            trc().replace("20\t30", "1,020.5\t30"),
            "line 8, column R.ASIS Y: '1,020.5' is not a number (a thousands mark",
        ),
        (trc().replace("-4.25", "-4,25"), "line 7 has a decimal comma, line 7 a decimal point"),
        (trc().replace("L.ASIS", "\tL.ASIS"), "marker name 'L.ASIS' stands over column 7"),
        (trc(labels=()), "names no marker"),
        (trc(rate="x", rows=[("1", "", *ROWS[0][2:])]), "no sampling rate"),
    ],
)
def test_what_cannot_be_read_says_where(file: Path, text: str, message: str) -> None:
    with pytest.raises(InputError) as raised:
        read(file, text)
    assert message in str(raised.value)
    assert "\n" not in str(raised.value)


def test_frame_numbers_that_leap_away_do_not_fill_the_memory(file: Path) -> None:
    rows = [ROWS[0], ROWS[1], ("900000000", "9", *ROWS[2][2:])]
    with pytest.raises(InputError, match="frame numbers leap from 2 to 900000000"):
        read(file, trc(rows=rows))


def test_a_swing_is_the_same_from_trc_as_from_its_own_file(file: Path, project_root: Path) -> None:
    original = mocap.read(project_root / "demo_sessions" / "first_session" / "swing_01.c3d")
    rows = [
        [str(i + 1), f"{i / 240:.5f}", *("" if np.isnan(v) else f"{v:.4f}" for v in frame.ravel() * 1000)]
        for i, frame in enumerate(original.points)
    ]
    text = trc(labels=original.labels, rows=rows, rate="240", frames=str(len(rows)), markers=str(len(original.labels)))
    copied = read(file, text)
    assert copied.notes == ()
    np.testing.assert_allclose(copied.points, original.points, atol=1e-7)
    hitter = mocap.Hitter(height_m=1.86)
    first, second = (mocap.build_swing(capture, hitter) for capture in (original, copied))
    assert second.moments["contact"].index == first.moments["contact"].index
