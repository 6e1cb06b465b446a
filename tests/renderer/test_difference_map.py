"""The difference map: each skin takes its own joint's distance, and the scale's numbers are those of its colours."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from mocap.errors import OptionError
from mocap.renderer.difference_map import DifferenceMap, draw_difference_map, scale_end, spread_over_skin
from mocap.renderer.figure import PARTS
from mocap.renderer.page import overlap
from mocap.renderer.scene import Scene
from mocap.renderer.style import NO_DATA, sequential
from mocap.renderer.view import VIEWS
from mocap.swing import POINTS

WIDE, TALL, SQUARE = (1920, 1080), (1080, 1920), (1080, 1080)
ELBOW = POINTS.index("back_elbow")


@pytest.fixture(scope="module")
def moved(shown) -> Scene:
    """The same swing over a reference whose back elbow alone lies 30 cm higher, at every time."""
    reference = shown.comparison.swing.points.copy()
    reference[:, ELBOW, 2] += 0.30
    distances = np.linalg.norm(shown.comparison.swing.points - reference, axis=2)
    return Scene(replace(shown.comparison, reference_points=reference, distances=distances), shown.findings)


def picture_of(scene: Scene, size: tuple[int, int], moment: str = "plant") -> DifferenceMap:
    frame = scene.swing.index(moment)
    assert frame is not None
    return DifferenceMap(scene, moment, frame, VIEWS["open side"], size)


def test_the_colours_run_evenly_from_light_to_dark_and_what_has_no_number_is_grey() -> None:
    """Relative luminance after Rec. ITU-R BT.709, which says how light a colour prints in grey."""
    levels = (sequential(np.linspace(0.0, 1.0, 200)) / 255.0) ** 2.2 @ np.array([0.2126, 0.7152, 0.0722])
    assert (np.diff(levels) <= 0.0).all()
    assert levels[0] > 0.9
    assert levels[-1] < 0.05
    assert sequential([np.nan])[0].tolist() == list(NO_DATA)
    assert sequential([-1.0, 2.0]).tolist() == sequential([0.0, 1.0]).tolist()


def test_one_distance_everywhere_is_one_distance_on_all_skin(shown) -> None:
    frame = shown.comparison.swing.index("plant")
    spread = spread_over_skin(shown.scene.hitter, shown.comparison.swing.points[frame], np.full(len(POINTS), 0.07))
    assert np.nanmin(spread) == pytest.approx(0.07)
    assert np.nanmax(spread) == pytest.approx(0.07)
    assert np.isfinite(spread).mean() > 0.95


def test_an_elbow_colours_its_own_arm_and_neither_the_other_arm_nor_the_legs_nor_skin_that_only_lies_near(
    shown,
) -> None:
    swing, figure = shown.comparison.swing, shown.scene.hitter
    frame = swing.index("plant")
    distances = np.zeros(len(POINTS))
    distances[ELBOW] = 0.30
    spread = spread_over_skin(figure, swing.points[frame], distances)
    vertices = figure.pose(swing.points[frame][None])[0][0]
    skin = figure.parts != PARTS.index("bat")

    def near(name: str) -> np.ndarray:
        return skin & (np.linalg.norm(vertices - swing[name][frame], axis=1) < 0.08)

    assert np.nanmedian(spread[near("back_elbow")]) > 0.25
    for name in ("front_elbow", "front_knee", "back_knee", "front_ankle"):
        assert np.nanmax(spread[near(name)]) < 0.01, name
    assert np.nanmin(spread) >= 0.0
    assert np.nanmax(spread) <= 0.30 + 1e-9


def test_a_joint_without_a_number_takes_its_neighbours_and_without_any_there_is_none(shown) -> None:
    swing = shown.comparison.swing
    frame = swing.index("plant")
    distances = np.full(len(POINTS), 0.1)
    distances[ELBOW] = np.nan
    spread = spread_over_skin(shown.scene.hitter, swing.points[frame], distances)
    assert np.nanmax(spread) == pytest.approx(0.1)
    assert np.isnan(spread_over_skin(shown.scene.hitter, swing.points[frame], np.full(len(POINTS), np.nan))).all()


def test_where_nothing_can_be_compared_the_picture_says_so(shown) -> None:
    nothing = replace(shown.comparison, distances=np.full_like(shown.comparison.distances, np.nan))
    picture = picture_of(Scene(nothing, shown.findings), WIDE)
    assert picture.said.words == "No joint can be compared here"
    assert picture.found == []


@pytest.mark.parametrize(
    ("greatest", "units", "end"),
    [(0.02, "metric", 0.10), (0.10, "metric", 0.10), (0.11, "metric", 0.20), (0.11, "imperial", 0.2032)],
)
def test_the_scale_ends_at_a_round_length_that_holds_the_greatest(greatest, units, end) -> None:
    assert scale_end(greatest, units) == pytest.approx(end)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1280, 720)])
@pytest.mark.parametrize("moment", ["stance", "plant", "contact"])
def test_type_stays_inside_and_apart(moved, moment, size) -> None:
    blocks = picture_of(moved, size, moment).blocks
    for block in blocks:
        left, top, right, bottom = block.box
        assert min(left, top) >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    for one, other in combinations(blocks, 2):
        assert not overlap(one.box, other.box), (one.labels[0].words, other.labels[0].words)


def test_the_joint_named_first_is_the_one_that_is_furthest_and_its_number_is_its_distance(moved) -> None:
    picture = picture_of(moved, WIDE)
    assert picture.said.words == "Back elbow 30 cm from the reference"
    assert (picture.found[0].label, picture.found[0].value) == ("Back elbow", "30 cm")
    assert picture.greatest_m == pytest.approx(0.30)


@pytest.mark.usefixtures("can_draw")
def test_the_bar_shows_at_each_number_the_colour_of_that_distance(moved) -> None:
    picture = picture_of(moved, WIDE)
    drawn = np.asarray(picture.draw())
    bar = picture.scale
    words = [label.words for label in bar.labels[:3]]
    assert words == ["0", "15", "30 cm"]
    y = round((bar.top + bar.bottom) / 2.0)
    for label, centimetres in zip(bar.labels[1:2], (15.0,), strict=True):
        x = (label.box[0] + label.box[2]) / 2.0
        assert (x - bar.left) / (bar.right - bar.left) == pytest.approx(centimetres / 30.0, abs=0.01)
        expected = sequential([centimetres / 30.0])[0].astype(int)
        assert np.abs(drawn[y, round(x)].astype(int) - expected).max() <= 3


@pytest.mark.usefixtures("can_draw")
def test_the_elbow_is_drawn_darker_than_the_knees(moved) -> None:
    picture = picture_of(moved, WIDE)
    drawn = np.asarray(picture.draw().convert("L"), dtype=float)

    def level(name: str) -> float:
        x, y = picture.framing.project(moved.swing[name][picture.frame]).astype(int)
        # Beside the hairline's ring, along the forearm or the shank.
        return float(np.percentile(drawn[y - 14 : y + 15, x - 14 : x + 15], 25))

    assert level("back_elbow") < level("front_knee") - 60.0


@pytest.mark.usefixtures("can_draw")
def test_a_picture_is_written_and_what_is_not_known_is_refused(shown, tmp_path) -> None:
    path = draw_difference_map(
        shown.comparison, shown.findings, tmp_path / "map.png", size=(960, 540), units="imperial"
    )
    with Image.open(path) as written:
        assert written.size == (960, 540)
    with pytest.raises(OptionError, match="launch"):
        draw_difference_map(shown.comparison, shown.findings, tmp_path / "b.png", moment="launch")
    assert [file.name for file in tmp_path.iterdir()] == ["map.png"]
