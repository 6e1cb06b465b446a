"""Reading plain tables of points, wide and long, and refusing tables that are none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.errors import InputError

WIDE = """# rate_hz=240
# units=cm
frame,L_HIP_x,L_HIP_y,L_HIP_z,HEAD_x,HEAD_y,HEAD_z
0,1,2,3,4.5,5,6
1,2,3,4,,nan,
2,3,4,5,7,8,9
"""
LONG = """# rate_hz: 240
# units: cm
frame,point,x,y,z
0,L_HIP,1,2,3
0,HEAD,4.5,5,6
1,L_HIP,2,3,4
2,HEAD,7,8,9
2,L_HIP,3,4,5
"""
POINTS_CM = np.array([[[1, 2, 3], [4.5, 5, 6]], [[2, 3, 4], [np.nan] * 3], [[3, 4, 5], [7, 8, 9]]])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "points.csv"


def read(file: Path, text: str) -> mocap.Capture:
    file.write_text(text, encoding="utf-8")
    return mocap.read(file)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(WIDE, id="wide"),
        pytest.param(LONG, id="long"),
        pytest.param(WIDE.replace(",", ";"), id="semicolons"),
        pytest.param(LONG.replace(",", "\t"), id="tabs"),
        pytest.param(WIDE.replace("_x", ".X").replace("_y", ".Y").replace("_z", ".Z"), id="dots"),
        pytest.param(WIDE.replace("_x", ":x").replace("_y", ":y").replace("_z", ":z"), id="colons"),
        pytest.param(
            WIDE.replace("L_HIP", '"L_HIP')
            .replace("_x", '_x"')
            .replace("HIP_y", 'HIP_y"')
            .replace("HIP_z", 'HIP_z"')
            .replace('HEAD_x"', "HEAD_x"),
            id="quotes",
        ),
        pytest.param(WIDE.replace("\n", "\r\n") + "\r\n,,\r\n", id="blank rows"),
        pytest.param(LONG.replace("frame,point", "Frame,Marker").replace("x,y,z", "X,Y,Z"), id="capitals"),
    ],
)
def test_points_labels_rate_and_units(file: Path, text: str) -> None:
    capture = read(file, text)
    assert capture.labels == ("L_HIP", "HEAD")
    np.testing.assert_allclose(capture.points, POINTS_CM / 100.0, rtol=1e-12)
    assert (capture.rate_hz, capture.first_frame, capture.notes) == (240.0, 0, ())


def test_the_rate_from_times_and_lost_rows(file: Path) -> None:
    rows = [f"{i / 120:.4f},{i},0,1" for i in range(40) if i not in (10, 11)]
    capture = read(file, "# units=m\ntime,HEAD_x,HEAD_y,HEAD_z\n" + "\n".join(rows))
    assert capture.rate_hz == 120.0
    assert capture.n_frames == 40
    assert np.isnan(capture.points[10:12]).all()
    np.testing.assert_array_equal(capture.points[12:, 0, 0], np.arange(12, 40))
    assert capture.notes == ("2 frames are not in the file (the first after frame 10); left as gaps",)


def test_milliseconds_and_decimal_commas(file: Path) -> None:
    rows = "\n".join(f"{i * 10};0,5;1,25;{i},0" for i in range(20))
    capture = read(file, f"# units=m\ntime_ms;HEAD_x;HEAD_y;HEAD_z\n{rows}\n")
    assert capture.rate_hz == 100.0
    np.testing.assert_allclose(capture.points[7, 0], [0.5, 1.25, 7.0])
    assert capture.notes == ("numbers have decimal commas (first in line 3); read as decimal points",)


def test_a_tab_separated_file_of_that_name(tmp_path: Path) -> None:
    capture = read(tmp_path / "points.tsv", WIDE.replace(",", "\t"))
    assert capture.labels == ("L_HIP", "HEAD")


@pytest.mark.parametrize(("scale", "name"), [(1.0, "m"), (100.0, "cm"), (1000.0, "mm")])
@pytest.mark.parametrize("height_m", [1.0, 2.2])
def test_a_unit_that_nobody_states_is_told_by_the_body(file: Path, scale: float, name: str, height_m: float) -> None:
    text = f"frame,HEAD_x,HEAD_y,HEAD_z,HEEL_x,HEEL_y,HEEL_z\n1,5,0,{0.95 * height_m * scale},5,0,0\n"
    capture = read(file, "# rate_hz=100\n" + text)
    assert capture.points[0, 0, 2] == pytest.approx(0.95 * height_m)
    (note,) = capture.notes
    assert f"taken as {name}, since the points lie {0.95 * height_m:.2f} m apart" in note


def test_columns_that_are_no_coordinates_are_left_out_and_noted(file: Path) -> None:
    text = WIDE.replace("HEAD_z\n", "HEAD_z,quality\n").replace("6\n", "6,good\n")
    capture = read(file, text)
    np.testing.assert_allclose(capture.points, POINTS_CM / 100.0, rtol=1e-12)
    assert capture.notes == ("columns that are no coordinates are left out: quality",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("# rate_hz=240\n", "no line of column names"),
        ("frame,point,u,v,confidence\n0,HEAD,1,2,1\n", "holds places in pictures (pixels, columns 'u' and 'v')"),
        ("frame,HEAD_u,HEAD_v\n0,1,2\n", "holds places in pictures (pixels, columns 'head_u' and 'head_v')"),
        ("name,score\nA,3\n", "not a table of points (columns name, score)"),
        ("1,2,3\n4,5,6\n", "line 1 holds numbers, not column names"),
        ("frame,HEAD_x,HEAD_y\n0,1,2\n", "point 'HEAD' has no column for z"),
        ("frame,HEAD_x,HEAD_y,HEAD_z,HEAD_x\n0,1,2,3,4\n", "column 'HEAD_x' is there twice"),
        ("frame,HEAD_x,HEAD_y,HEAD_z\n0,1,2,3\n", "no sampling rate; add a line '# rate_hz=240'"),
        (WIDE.replace("240", "fast"), "rate_hz is 'fast'; give a positive number"),
        (WIDE.replace("240", "-5"), "rate_hz is '-5'; give a positive number"),
        (WIDE.replace("=cm", "=ft"), "units is 'ft'; known are mm, cm, m"),
        (WIDE.replace("4.5", "4,5"), "line 4 has 8 cells, the column names are 7; a decimal comma?"),
        (WIDE.replace("4.5", "four"), "line 4, column HEAD_x: 'four' is not a number"),
        (WIDE.split("0,1,2")[0], "no usable points (no row of numbers)"),
        (LONG.replace("frame,point", "frame,who"), "no column says which point a row is"),
        (LONG.replace("frame,point", "row,point"), "no column 'frame' or 'time'"),
        (LONG.replace("1,L_HIP", "one,L_HIP"), "line 6, column frame: 'one' is not a number"),
        (LONG.replace("1,L_HIP", ",L_HIP"), "line 6, column frame: no number"),
        (LONG.replace("1,L_HIP", "1,"), "line 6, column point: no name of a point"),
        (LONG.replace("1,L_HIP", "0,L_HIP"), "line 6: point 'L_HIP' is there twice in one frame"),
        (LONG.replace("2,HEAD", "99999,HEAD"), "frame numbers leap from 2 to 99999"),
    ],
)
def test_what_cannot_be_read_says_where(file: Path, text: str, message: str) -> None:
    with pytest.raises(InputError) as raised:
        read(file, text)
    assert message in str(raised.value)
    assert "\n" not in str(raised.value)


def test_unknown_kinds_name_the_known_ones(tmp_path: Path) -> None:
    other = tmp_path / "swing.xlsx"
    other.write_bytes(b"PK")
    with pytest.raises(InputError, match=r"kind \.xlsx are not read; give a C3D \(\.c3d\), TRC \(\.trc\) or CSV"):
        mocap.read(other)
    for name in ("nowhere.csv", "nowhere.trc"):
        with pytest.raises(InputError, match="no such file"):
            mocap.read(tmp_path / name)
