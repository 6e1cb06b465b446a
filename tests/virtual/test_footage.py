"""Footage: what is drawn lies where the camera says, and the film holds the promised pictures."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest

from mocap.errors import OptionError, OutputError, RenderError
from mocap.importer.camera import Camera
from mocap.reference.parameters import SwingParameters
from mocap.renderer.layers import Stage, check_can_draw
from mocap.renderer.lens import CameraLens
from mocap.renderer.style import CHALK
from mocap.swing import POINTS
from mocap.virtual.cameras import TWO_TRIPODS, Clock, place_camera
from mocap.virtual.footage import Footage, render_footage
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.scenery import MATERIALS, draw_backdrop

LAB = Lab(turn_deg=90.0, shift=(1.3, 0.8, 0.0))
HITTER = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0)
SMALL = replace(TWO_TRIPODS[1], size=(320, 180), rate_hz=8.0, time_offset_s=0.1)
TINY = replace(SMALL, size=(160, 90))


@pytest.fixture(scope="module", autouse=True)
def _can_draw() -> None:
    try:
        check_can_draw()
    except RenderError as error:
        pytest.skip(str(error))


@pytest.fixture(scope="module")
def footage() -> Iterator[Footage]:
    with Footage(HITTER, place_camera(SMALL, LAB), LAB) as made:
        yield made


# -------------------------------------------------------------------- where things are drawn


@pytest.mark.parametrize("distortion", [(0.0,) * 5, (-0.25, 0.06, 0.004, -0.003, 0.0), (0.2, 0.0, 0.0, 0.0, 0.0)])
@pytest.mark.parametrize("mirror", [np.eye(4), np.diag([1.0, -1.0, 1.0, 1.0])])
def test_small_balls_are_drawn_where_the_camera_projects_them(distortion, mirror) -> None:
    """A ball of 2 cm at 6 m is as good as a point: its picture's middle is 0.01 px from its centre's."""
    from trimesh.creation import icosphere

    ball = icosphere(subdivisions=3, radius=0.02)
    view = place_camera(replace(TWO_TRIPODS[0], size=(640, 360), distortion=distortion), LAB)
    matrix = view.matrix + np.array([[0.0, 0.0, 9.3], [0.0, 6.0, -5.7], [0.0, 0.0, 0.0]])
    camera = replace(view, matrix=matrix)
    places = LAB.place(np.random.default_rng(3).uniform((-1.6, -1.0, 0.1), (1.6, 0.6, 2.0), (24, 3)))
    worst = 0.0
    with Stage() as stage:
        stage.aim(CameraLens(camera, mirror, camera.size), (0, 0, *camera.size))
        white = np.full((len(ball.vertices), 3), 255, np.uint8)
        body = stage.add(np.asarray(ball.faces, np.int32), white, (0x80, 0x80, 0x80))
        for place in places:
            stored = ball.vertices + place @ mirror[:3, :3]
            layer = stage.draw(body, stored.astype(np.float32), ball.vertex_normals.astype(np.float32))
            solid = np.asarray(layer.solid, dtype=float)
            rows, columns = np.indices(solid.shape)
            middle = np.array([(columns * solid).sum(), (rows * solid).sum()]) / solid.sum() + layer.corner
            worst = max(worst, float(np.abs(middle - camera.project(place)).max()))
    assert worst < 0.25


def test_nearer_bodies_hide_farther_parts_of_themselves() -> None:
    """Two plates one behind the other in one mesh: the near one, listed first, is seen in front."""
    camera = Camera.looking_at((0.0, -5.0, 1.0), (0.0, 0.0, 1.0), size=(64, 64), field_of_view_deg=30.0)
    square = np.array([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 0.0, 2.0], [-1.0, 0.0, 2.0]])
    vertices = np.concatenate([0.5 * square + (0.0, -1.0, 0.5), square])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    colours = np.repeat(np.array([[200, 0, 0], [0, 0, 200]], np.uint8), 4, axis=0)
    toward = np.tile(np.float32([0.0, -1.0, 0.0]), (8, 1))
    with Stage() as stage:
        stage.aim(CameraLens(camera, np.eye(4), camera.size), (0, 0, *camera.size))
        layer = stage.draw(stage.add(faces, colours, (0x80, 0x80, 0x80)), vertices.astype(np.float32), toward)
    colour = np.asarray(layer.colour)
    red, green, blue = colour[32 - layer.corner[1], 32 - layer.corner[0]]
    assert red > 60 > blue + green
    assert colour[32 - layer.corner[1], 32 + 18 - layer.corner[0]][2] > 60


def test_joints_lie_in_the_drawn_body(footage: Footage) -> None:
    """Where a joint is, the picture is another than that of the empty cage."""
    empty = footage.backdrop.picture.astype(int)
    deep = [POINTS.index(name) for name in ("pelvis", "neck", "head", "front_knee", "back_knee", "front_ankle")]
    for frame, picture in enumerate(footage.pictures()):
        seen = np.asarray(picture, dtype=int)
        points = footage.lab_points(footage.time_s[frame : frame + 1])[0, deep]
        column, row = np.rint(footage.camera.project(points)).astype(int).T
        assert (np.abs(seen - empty)[row, column].max(axis=-1) > 9).all(), frame


def test_the_hitter_moves_and_the_cage_does_not(footage: Footage) -> None:
    first, last = (np.asarray(footage.picture(frame), dtype=int) for frame in (0, footage.n_frames - 1))
    changed = np.abs(first - last).max(axis=-1) > 12
    assert 0.01 < changed.mean() < 0.3
    border = np.concatenate([changed[0], changed[-1], changed[:, 0], changed[:, -1]])
    assert not border.any()


def test_a_left_handed_hitter_is_drawn_as_the_mirror_image() -> None:
    """Lens, lab and cage are symmetric here; only the light, which comes from the picture's left, is not."""
    plain = replace(SMALL, bearing_deg=60.0, distortion=(-0.1, 0.02, 0.0, 0.0, 0.0))
    pictures, empty = {}, {}
    for bats in ("right", "left"):
        with Footage(replace(HITTER, bats=bats), place_camera(plain, Lab(), bats), Lab()) as made:
            pictures[bats], empty[bats] = np.asarray(made.picture(8), int), made.backdrop.picture.astype(int)
    assert np.abs(empty["right"] - empty["left"][:, ::-1]).max() <= 1
    body = np.abs(pictures["right"] - empty["right"]).max(axis=-1) > 20
    apart = np.abs(pictures["right"] - pictures["left"][:, ::-1]).max(axis=-1)
    assert body.sum() > 1000
    assert apart[~body].mean() < 0.1
    assert apart[body].mean() < 25.0


# -------------------------------------------------------------------- the cage


def test_plate_and_boxes_lie_where_the_rule_book_puts_them() -> None:
    """Places in field axes; the box's inner line begins 8.5 + 6 in from the plate's middle and is 5 cm wide.

    That is a few pixels, whose edges are mixed: chalk, clay and turf are about 70 levels apart.
    """
    camera = place_camera(
        replace(TWO_TRIPODS[1], height_m=5.0, distance_m=7.0, size=(640, 360), field_of_view_deg=60.0), LAB
    )
    field = np.eye(4)
    field[:3, :3], field[:3, 3] = LAB.rotation, LAB.home_plate("right")
    backdrop = draw_backdrop(camera, field)
    inch = 0.0254
    expected = {
        (8.5 * inch, 0.0): CHALK,
        (0.06, 0.0): CHALK,
        (-0.06, 0.0): MATERIALS["clay"],
        (8.5 * inch, 14.5 * inch - 0.06): MATERIALS["clay"],
        (8.5 * inch, 14.5 * inch + 0.025): CHALK,
        (8.5 * inch, 14.5 * inch + 0.12): MATERIALS["clay"],
        (8.5 * inch, -14.5 * inch - 0.025): CHALK,
        (8.5 * inch, 62.5 * inch - 0.025): CHALK,
        (8.5 * inch + 36 * inch - 0.025, 30 * inch): CHALK,
        (8.5 * inch - 36 * inch + 0.025, 30 * inch): CHALK,
        (2.4, 0.0): MATERIALS["turf"],
    }
    for place, colour in expected.items():
        column, row = np.rint(camera.project(LAB.home_plate("right") + LAB.rotation @ [*place, 0.0])).astype(int)
        assert np.abs(backdrop.picture[row, column].astype(int) - colour).max() <= 30, place


def test_the_floor_map_is_the_inverse_of_projection(footage: Footage) -> None:
    floor, camera = footage.backdrop.floor.astype(float), footage.camera
    rows, columns = np.nonzero(np.isfinite(floor).all(axis=-1))
    assert len(rows) > 0.2 * floor[..., 0].size
    on_floor = np.column_stack([floor[rows, columns], np.zeros(len(rows))])
    pixels = camera.project(on_floor @ LAB.rotation.T + LAB.home_plate("right"))
    near = np.hypot(*floor[rows, columns].T) < 20.0
    assert np.abs(pixels - np.column_stack([columns, rows]))[near].max() < 1e-3


def test_a_foot_on_the_floor_darkens_it(footage: Footage) -> None:
    """Just beside the sole the floor is darker than in the empty cage, 1.2 m away it is not."""
    picture, empty = np.asarray(footage.picture(0), dtype=int), footage.backdrop.picture.astype(int)
    toe = footage.lab_points(footage.time_s[:1])[0, POINTS.index("front_toe")] * (1.0, 1.0, 0.0)
    for shift, low, high in ((0.045, -120, -6), (1.2, -1, 1)):
        place = toe + LAB.rotation @ [0.0, -shift, 0.0]
        column, row = np.rint(footage.camera.project(place)).astype(int)
        assert low <= (picture - empty)[row, column].mean() <= high


# -------------------------------------------------------------------- the film


def decoded(path: Path, size: tuple[int, int]) -> tuple[np.ndarray, str]:
    """Every video frame, shape (N, H, W, 3), and what the decoder says about the file."""
    decoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    done = subprocess.run(decoder, capture_output=True, check=True)
    return np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, size[1], size[0], 3), done.stderr.decode()


def test_the_film_holds_one_frame_for_every_picture(tmp_path: Path) -> None:
    camera, calls = place_camera(TINY, LAB), []
    path = render_footage(
        HITTER, camera, LAB, tmp_path / "view.mp4", playback_hz=30, progress=lambda n, of: calls.append((n, of))
    )
    # From 0.1 s on, eight a second, to the end at 1.71 s: n = 0 ... 13.
    frames, about = decoded(path, camera.size)
    assert len(frames) == 14
    assert calls[-1] == (14, 14)
    assert re.search(r"Video: h264.*yuv420p.*160x90.*\b30 fps", about)
    with Footage(HITTER, camera, LAB) as footage:
        drawn = np.stack([np.asarray(picture) for picture in footage.pictures()])
    assert np.abs(frames.astype(int) - drawn).mean() < 6.0
    assert [file.name for file in tmp_path.iterdir()] == ["view.mp4"]
    again = render_footage(HITTER, camera, LAB, tmp_path / "again.mp4", playback_hz=30)
    assert again.read_bytes() == path.read_bytes()


def test_the_clock_shifts_what_is_filmed() -> None:
    camera = place_camera(TINY, LAB)
    with Footage(HITTER, camera, LAB, Clock(start_s=0.25)) as late, Footage(HITTER, camera, LAB) as plain:
        assert late.time_s[0] == pytest.approx(0.35)
        assert plain.time_s[2] == pytest.approx(0.35)
        assert late.picture(0).tobytes() == plain.picture(2).tobytes()


def test_films_that_cannot_be_are_refused(tmp_path: Path) -> None:
    camera = place_camera(TINY, LAB)
    with pytest.raises(OptionError, match="161x90 cannot be encoded"):
        render_footage(HITTER, replace(camera, size=(161, 90)), LAB, tmp_path / "a.mp4")
    with pytest.raises(OptionError, match="0 frames a second"):
        render_footage(HITTER, camera, LAB, tmp_path / "a.mp4", playback_hz=0)
    with pytest.raises(OutputError, match="nowhere"):
        render_footage(HITTER, camera, LAB, tmp_path / "nowhere" / "a.mp4")
    assert list(tmp_path.iterdir()) == []
