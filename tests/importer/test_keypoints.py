"""Tables of points found in one camera's pictures: what is read, and what is named when it cannot be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.errors import InputError
from mocap.importer.camera import Camera
from mocap.importer.keypoints import Keypoints, common_names, joined, read_keypoints
from mocap.reference.parameters import SwingParameters
from mocap.virtual.cameras import TWO_TRIPODS, film_points, place_camera
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab

CAMERA = Camera.looking_at((0, -6, 1.4), (0, 0, 1), size=(1280, 720), field_of_view_deg=46.0, rate_hz=50.0)


def written(tmp_path, text):
    path = tmp_path / "points.csv"
    path.write_text(text, encoding="utf-8")
    return path


def table(names, frames=4, first=0, source="a.csv") -> Keypoints:
    pixels = np.arange(frames * len(names) * 2, dtype=float).reshape(frames, len(names), 2)
    return Keypoints(tuple(names), pixels, np.full((frames, len(names)), 0.5), first, source)


def test_what_a_virtual_camera_writes_is_read_back(tmp_path) -> None:
    hitter, lab = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0), Lab()
    filmed = film_points(hitter, place_camera(TWO_TRIPODS[0], lab), lab, seed=1)
    found = read_keypoints(filmed.write(tmp_path / "points.csv")).select(filmed.names)
    assert np.isnan(filmed.pixels).any()
    np.testing.assert_allclose(found.pixels, filmed.pixels, atol=0.0006)
    np.testing.assert_allclose(found.confidence, filmed.confidence, atol=0.0006)


def test_rows_in_any_order_gaps_and_remarks(tmp_path) -> None:
    """Frame 11 has no row, a confidence of 0 is no point, an empty cell neither."""
    text = "# remark\npoint;v;u;frame;confidence\nr_hip;2;1;12;0.5\n\nl_hip;4;3;10;0.9\nr_hip;6;5;10;0\nl_hip;;7;12;1\n"
    found = read_keypoints(written(tmp_path, text))
    assert found.names == ("r_hip", "l_hip")
    assert found.first_frame == 10
    nan = np.nan
    np.testing.assert_array_equal(found.pixels[..., 0], [[nan, 3], [nan, nan], [1, nan]])
    np.testing.assert_array_equal(found.pixels[..., 1], [[nan, 4], [nan, nan], [2, nan]])
    np.testing.assert_array_equal(found.confidence, [[nan, 0.9], [nan, nan], [0.5, nan]])
    assert found.notes == ("1 of 3 frames have no point (the first is frame 11); left as gaps",)


def test_without_a_confidence_every_point_is_sure_and_that_is_told(tmp_path) -> None:
    found = read_keypoints(written(tmp_path, "frame,point,u,v\n0,nose,1,2\n"))
    assert found.confidence.tolist() == [[1.0]]
    assert "confidence" in found.notes[0]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "empty"),
        ("# only a remark\n", "no line of column names"),
        ("0,nose,1,2,1\n", "holds numbers|not known"),
        ("frame,point,u,v,score\n0,nose,1,2,1\n", "column 'score' is not known"),
        ("frame,point,u,u,v\n0,nose,1,2,1\n", "column 'u' is there twice"),
        ("frame,point,u,confidence\n0,nose,1,1\n", "no column 'v'"),
        ("frame,point,u,v,confidence\n", "no row below"),
        ("frame,point,u,v,confidence\n0,nose,1,2,1\n1,nose,1,2\n", "line 3 has 4 cells, the column names are 5"),
        ("frame,point,u,v,confidence\n0,nose,1,5,2,1\n0,nose,1,2\n", r"line 2 has 6 cells.*decimal comma"),
        ("frame,point,u,v,confidence\n0,nose,1,abc,1\n", "line 2, column v: 'abc' is not a number"),
        ("frame,point,u,v,confidence\n0,nose,1,2,1\n\n1.5,nose,1,2,1\n", "line 4, column frame: 1.5"),
        ("frame,point,u,v,confidence\n-1,nose,1,2,1\n", "column frame: -1"),
        ("frame,point,u,v,confidence\n0,nose,1,2,90\n", r"line 2, column confidence: 90; give 0 to 1 \(divide"),
        ("frame,point,u,v,confidence\n0,,1,2,1\n", "line 2, column point: no name"),
        ("frame,point,u,v,confidence\n3,nose,1,2,1\n3,l_hip,1,2,1\n3,nose,4,5,1\n", "line 4: point 'nose' .* frame 3"),
        ("frame,point,u,v,confidence\n0,nose,1,2,0\n", "no point was found in any frame"),
        ("frame,point,u,v,confidence\n0,nose,1,2,1\n9000,nose,1,2,1\n", "leap from 0 to 9000"),
    ],
)
def test_what_cannot_be_read_is_named_with_file_and_line(tmp_path, text, named) -> None:
    path = written(tmp_path, text)
    with pytest.raises(InputError, match=named) as caught:
        read_keypoints(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_named(tmp_path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        read_keypoints(tmp_path / "nowhere.csv")


def test_a_large_table_is_read_whole(tmp_path) -> None:
    """100,000 rows; every number found again where it belongs."""
    frame, point = np.divmod(np.arange(100_000), 25)
    rows = [f"{f},p{p},{f + p / 100:.2f},{p},0.5" for f, p in zip(frame, point, strict=True)]
    found = read_keypoints(written(tmp_path, "frame,point,u,v,confidence\n" + "\n".join(rows)))
    assert found.pixels.shape == (4000, 25, 2)
    np.testing.assert_allclose(found.pixels[..., 0], np.arange(4000)[:, None] + np.arange(25) / 100)


def test_noise_grows_as_confidence_falls_down_to_a_floor() -> None:
    sure = replace(table(["a", "b", "c"], 1), confidence=np.array([[1.0, 0.5, 0.001]]))
    np.testing.assert_allclose(sure.sd_px(1.5), [[1.5, 3.0, 30.0]])


def test_times_follow_the_cameras_clock() -> None:
    camera = replace(CAMERA, time_offset_s=0.3)
    np.testing.assert_allclose(table(["a"], 3, first=5).times(camera), [0.40, 0.42, 0.44])
    with pytest.raises(InputError, match="rate_hz is missing"):
        table(["a"]).times(replace(CAMERA, rate_hz=None))


def test_two_tables_of_one_camera_are_joined_by_frame() -> None:
    both = joined(table(["a"], 2, first=3), table(["b"], 3, first=1))
    assert (both.names, both.first_frame) == (("a", "b"), 1)
    nan = np.nan
    np.testing.assert_array_equal(both.pixels[..., 0], [[nan, 0], [nan, 2], [0, 4], [2, nan]])
    with pytest.raises(InputError, match=r"point 'a' is in a\.csv too"):
        joined(table(["a"]), table(["a"]))


def test_names_in_common_keep_the_first_tables_order() -> None:
    assert common_names([table(["c", "a", "b"]), table(["b", "c"])]) == ("c", "b")
    with pytest.raises(InputError, match="name the points alike"):
        common_names([table(["a"]), table(["b"])])
    chosen = table(["a", "b"], 2).select(["b", "x"])
    np.testing.assert_array_equal(chosen.pixels[..., 0], [[2, np.nan], [6, np.nan]])
