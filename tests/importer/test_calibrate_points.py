"""Known points: the rule book's, a coach's own, and tables of pixels."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.errors import InputError, OptionError
from mocap.importer.known_points import (
    KnownPoints,
    read_known_points,
    read_marked_pixels,
    rule_book_points,
)


def place(points: KnownPoints, name: str) -> np.ndarray:
    return points.places[points.names.index(name)]


@pytest.mark.parametrize("sport", ["baseball", "softball"])
def test_home_plate_is_17_inches_wide_and_its_slants_run_to_the_tip(sport) -> None:
    """17 in across, 8 1/2 in along each side, and to the tip another 8 1/2 in back; inches are 25.4 mm."""
    points = rule_book_points(sport)
    inch = 0.0254
    assert place(points, "plate_left_front") == pytest.approx([17 * inch, 8.5 * inch, 0.0])
    assert place(points, "plate_right_side") == pytest.approx([8.5 * inch, -8.5 * inch, 0.0])
    assert place(points, "plate_tip") == pytest.approx([0.0, 0.0, 0.0])


@pytest.mark.parametrize(("sport", "length_ft", "width_ft", "ahead_ft"), [("baseball", 6, 4, 3), ("softball", 7, 3, 4)])
def test_batters_boxes_are_the_rule_books(sport, length_ft, width_ft, ahead_ft) -> None:
    points = rule_book_points(sport)
    front, rear = place(points, "left_box_inner_front"), place(points, "left_box_inner_rear")
    outer = place(points, "left_box_outer_front")
    assert front[0] - rear[0] == pytest.approx(0.3048 * length_ft)
    assert outer[1] - front[1] == pytest.approx(0.3048 * width_ft)
    assert front[0] - 8.5 * 0.0254 == pytest.approx(0.3048 * ahead_ft)
    assert front[1] - 8.5 * 0.0254 == pytest.approx(6 * 0.0254)
    assert place(points, "right_box_outer_front") == pytest.approx(outer * (1, -1, 1))


def test_a_table_is_read_in_any_order_of_columns_and_unit(tmp_path) -> None:
    (tmp_path / "pole.csv").write_text("y,name,x,z\n150,pole low,0,25\n# taped\n\n150,pole high,0,200\n", "utf-8")
    points = read_known_points(tmp_path / "pole.csv", unit="cm")
    assert points.names == ("pole low", "pole high")
    assert points.places == pytest.approx(np.array([[0.0, 1.5, 0.25], [0.0, 1.5, 2.0]]))


def test_toml_says_its_unit(tmp_path) -> None:
    (tmp_path / "pole.toml").write_text('unit = "mm"\n[points]\n"pole low" = [0, 1500, 250.0]\n', "utf-8")
    assert read_known_points(tmp_path / "pole.toml").places == pytest.approx(np.array([[0.0, 1.5, 0.25]]))


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("a.csv", "name,x,y\np,1,2\n", "line 1: no column 'z'"),
        ("a.csv", "name,x,y,z\n", "holds no points"),
        ("a.csv", "name,x,y,z\np,1,2,3\nq,1,two,3\n", "line 3: 'q': y must be a number, got 'two'"),
        ("a.csv", "name,x,y,z\np,1,2\n", "line 2: 'p': z must be a number, got ''"),
        ("a.csv", "name,x,y,z\np,1,2,3\np,1,2,4\n", "line 3: 'p' is given twice"),
        ("a.toml", "[points]\np = [1, 2]\n", "'p' must be three numbers"),
        ("a.toml", "[places]\np = [1, 2, 3]\n", "a table \\[points\\]"),
        ("a.toml", 'unit = "ft"\n[points]\np = [1, 2, 3]\n', "the unit 'ft' is not known"),
        ("a.toml", "[points\n", "not a TOML file"),
    ],
)
def test_what_is_wrong_with_a_file_is_said(tmp_path, name, text, message) -> None:
    (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(InputError, match=message):
        read_known_points(tmp_path / name)


def test_pixels_are_matched_by_name(tmp_path) -> None:
    (tmp_path / "seen.csv").write_text("point,u,v\nplate_tip,640.5,500\nplate_left_front,700,480.25\n", "utf-8")
    seen = read_marked_pixels(tmp_path / "seen.csv")
    points, pixels = rule_book_points().matched(seen, "seen.csv")
    assert points.names == ("plate_tip", "plate_left_front")
    assert pixels == pytest.approx(np.array([[640.5, 500.0], [700.0, 480.25]]))
    with pytest.raises(InputError, match=r"seen.csv: no place is known of 'plate_top'"):
        rule_book_points().matched({"plate_top": np.zeros(2)}, "seen.csv")


def test_a_name_in_two_lists_is_refused() -> None:
    with pytest.raises(OptionError, match="'plate_tip' is given twice"):
        rule_book_points() + KnownPoints(("plate_tip",), np.zeros((1, 3)))
