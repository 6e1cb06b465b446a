"""Points land where simple geometry says, in the formula and in the rendered picture alike."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from mocap.errors import OptionError
from mocap.renderer.layers import Stage
from mocap.renderer.view import VIEWS, Framing, find_view, fit

SIZE = (960, 540)
SCALE = 220.0


#: Every named view, and free cameras: level, raised, from behind, straight down.
EVERY_VIEW = (*VIEWS, "120,25", "0,0", "-35,12.5", "210,60", "90,90")


def framing(name: str, *, mirrored: bool = False) -> Framing:
    return Framing(find_view(name), SIZE, (0.0, 0.0, 0.0), (480.0, 400.0), SCALE, mirrored)


def test_the_open_side_is_exactly_perpendicular_to_the_pitch_line() -> None:
    pixels = framing("open side").project([[0.0, y, z] for y in (-1.0, 0.0, 2.0) for z in (0.0, 1.5)])
    assert np.ptp(pixels[:, 0]) == pytest.approx(0.0, abs=1e-9)
    one_metre = framing("open side").project([[1.0, 0.3, 0.7], [0.0, 0.3, 0.7]])
    assert one_metre[0] - one_metre[1] == pytest.approx([SCALE, 0.0])


@pytest.mark.parametrize(
    ("view", "direction", "expected"),
    [
        ("open side", (0.0, 0.0, 1.0), (0.0, -np.cos(np.radians(6)))),
        ("open side", (0.0, 1.0, 0.0), (0.0, -np.sin(np.radians(6)))),
        ("pitcher", (0.0, 1.0, 0.0), (1.0, 0.0)),
        ("catcher", (0.0, 1.0, 0.0), (-1.0, 0.0)),
        ("above", (1.0, 0.0, 0.0), (1.0, 0.0)),
        ("above", (0.0, 1.0, 0.0), (0.0, -1.0)),
        ("above", (0.0, 0.0, 1.0), (0.0, 0.0)),
    ],
)
def test_each_view_looks_the_way_its_name_says(view, direction, expected) -> None:
    start, end = framing(view).project([(0.0, 0.0, 0.0), direction])
    assert (end - start) / SCALE == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("view", EVERY_VIEW)
def test_views_keep_lengths_across_the_line_of_sight(view) -> None:
    looked = find_view(view)
    axes = np.array([looked.right, looked.up, looked.away])
    assert axes @ axes.T == pytest.approx(np.eye(3))
    assert np.linalg.det(axes) == pytest.approx(-1.0)  # right, up, away is left-handed, as in every picture


def test_a_left_handed_hitter_is_mirrored_about_the_anchor() -> None:
    points = np.random.default_rng(3).uniform(-1, 1, (20, 3))
    plain, mirrored = framing("three-quarter").project(points), framing("three-quarter", mirrored=True).project(points)
    assert mirrored[:, 0] == pytest.approx(2 * 480.0 - plain[:, 0])
    assert mirrored[:, 1] == pytest.approx(plain[:, 1])


def test_fit_fills_the_box_and_rests_on_its_lower_edge() -> None:
    points = np.array([[-0.5, 0.0, 0.0], [0.5, 0.0, 0.0], [0.0, 0.0, 2.0]])
    low, high = fit(VIEWS["open side"], points, SIZE, (100, 50, 900, 450)).extent(points)
    assert high[1] == pytest.approx(450)
    assert low[1] == pytest.approx(50)  # taller than wide: the height decides
    assert (low[0] + high[0]) / 2 == pytest.approx(500)


def test_an_unknown_view_is_refused_by_name() -> None:
    with pytest.raises(OptionError, match="moon"):
        find_view("moon")


@pytest.mark.parametrize(("free", "named"), [("90,6", "open side"), ("180,6", "pitcher"), ("0,6", "catcher")])
def test_a_free_camera_agrees_with_the_named_view_that_it_repeats(free, named) -> None:
    points = np.random.default_rng(5).uniform(-1, 1, (20, 3))
    assert framing(free).project(points) == pytest.approx(framing(named).project(points))


@pytest.mark.parametrize("azimuth", [0.0, 37.0, 120.0, 300.0])
def test_a_free_camera_sees_what_lies_farther_along_its_bearing_higher_up(azimuth) -> None:
    """A point on the floor one metre ahead rises by the sine of the elevation, one metre to the right moves right."""
    looked = framing(f"{azimuth:g},25")
    along = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth)), 0.0])
    rightward = np.array([along[1], -along[0], 0.0])
    here, ahead, right = looked.project([np.zeros(3), along, rightward])
    assert ahead - here == pytest.approx([0.0, -SCALE * np.sin(np.radians(25))], abs=1e-9)
    assert right - here == pytest.approx([SCALE, 0.0], abs=1e-9)


@pytest.mark.parametrize("name", ["120,-5", "10,91", "120", "1,2,3", "a,b"])
def test_a_free_camera_below_the_floor_or_not_in_numbers_is_refused(name) -> None:
    with pytest.raises(OptionError, match=name.split(",")[0]):
        find_view(name)


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("view", EVERY_VIEW)
def test_rendered_balls_are_found_where_their_centres_project(view, mirrored) -> None:
    placed = framing(view, mirrored=mirrored)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=0.04)
    white = np.full((len(ball.vertices), 3), 255, dtype=np.uint8)
    centres = [(0.0, 0.0, 0.9), (0.6, -0.3, 0.2), (-0.7, 0.5, 1.3), (0.31, 0.44, 0.05)]
    with Stage() as stage:
        body = stage.add(ball.faces.astype(np.int32), white, (0, 0, 0))
        stage.aim(placed, (0, 0, *SIZE))
        for centre in centres:
            layer = stage.draw(body, (ball.vertices + centre).astype(np.float32), ball.vertices.astype(np.float32))
            solid = np.asarray(layer.solid, dtype=float)
            weight = solid / solid.sum()
            x = (weight.sum(axis=0) * (np.arange(solid.shape[1]) + 0.5)).sum() + layer.corner[0]
            y = (weight.sum(axis=1) * (np.arange(solid.shape[0]) + 0.5)).sum() + layer.corner[1]
            assert np.hypot(*(np.array([x, y]) - placed.project(centre))) < 0.25
            assert solid.sum() / 255 == pytest.approx(np.pi * (0.04 * SCALE) ** 2, rel=0.03)
