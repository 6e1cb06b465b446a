"""The camera model against rays worked out by hand, and its files against what was written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from mocap.errors import InputError, OptionError, OutputError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, read_cameras, write_camera

PLAIN = np.zeros(5)
BENT = (-0.21, 0.07, 0.0011, -0.0007, -0.012)


def camera(**changes) -> Camera:
    """Six metres from the origin at a height of 1.4 m, aimed at a point 1 m over it."""
    values = {
        "place": (4.0, -4.5, 1.4),
        "target": (0.0, 0.0, 1.0),
        "size": (1280, 720),
        "field_of_view_deg": 50.0,
        "distortion": BENT,
        "rate_hz": 120.0,
        "time_offset_s": 0.0125,
        "name": "open side",
    }
    return Camera.looking_at(**(values | changes))


def around(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform((-1, -1, 0), (1, 1, 2.2), (count, 3))


# -------------------------------------------------------------------- the model


def test_pixels_follow_the_hand_worked_pinhole() -> None:
    """f = 1000, middle (640, 360), at the origin looking along world +y with x to the right and z up.

    (0.5, 4, -0.25): a = 0.125, b = 0.0625 -> u = 640 + 125, v = 360 + 62.5.
    """
    matrix = np.array([[1000.0, 0.0, 640.0], [0.0, 1000.0, 360.0], [0.0, 0.0, 1.0]])
    axes = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    plain = Camera(matrix, axes, np.zeros(3), (1280, 720), PLAIN)
    np.testing.assert_allclose(plain.project([0.5, 4.0, -0.25]), [765.0, 422.5], atol=1e-12)
    # q = 0.01953125, k1 = -0.2: bend = 1 - 0.00390625; p1 = 0.01, p2 = 0.02 add (2 p1 a b + p2 (q + 2 a^2), ...).
    bent = replace(plain, distortion=np.array([-0.2, 0.0, 0.01, 0.02, 0.0]))
    bend, q = 1.0 - 0.00390625, 0.01953125
    a = 0.125 * bend + 2 * 0.01 * 0.125 * 0.0625 + 0.02 * (q + 2 * 0.125**2)
    b = 0.0625 * bend + 0.01 * (q + 2 * 0.0625**2) + 2 * 0.02 * 0.125 * 0.0625
    np.testing.assert_allclose(bent.project([0.5, 4.0, -0.25]), [640 + 1000 * a, 360 + 1000 * b], atol=1e-12)


def test_skew_shifts_pixels_along_the_rows() -> None:
    matrix = np.array([[1000.0, 50.0, 640.0], [0.0, 900.0, 360.0], [0.0, 0.0, 1.0]])
    skewed = Camera(matrix, np.eye(3), np.zeros(3), (1280, 720), PLAIN)
    np.testing.assert_allclose(skewed.project([0.2, 0.4, 2.0]), [640 + 100 + 10, 360 + 180], atol=1e-12)


def test_a_tripod_is_where_it_was_put_and_sees_its_target_in_the_middle() -> None:
    seen = camera()
    np.testing.assert_allclose(seen.centre, [4.0, -4.5, 1.4], atol=1e-12)
    np.testing.assert_allclose(seen.project([0.0, 0.0, 1.0]), [639.5, 359.5], atol=1e-9)
    assert np.linalg.det(seen.rotation) == pytest.approx(1.0, abs=1e-12)
    higher, lower = seen.project([[0.0, 0.0, 1.2], [0.0, 0.0, 0.8]])
    assert higher[0] == pytest.approx(lower[0], abs=0.1)  # level
    assert higher[1] < lower[1]  # v downward
    # The pitcher (+x) lies to the right of a camera on the open side.
    open_side = camera(place=(0.0, -6.0, 1.4))
    assert open_side.project([1.0, 0.0, 1.0])[0] > open_side.project([-1.0, 0.0, 1.0])[0]


def test_field_of_view_reaches_from_edge_to_edge() -> None:
    """Half of 50 degrees off the axis, on a level with it, is half a picture's width from the middle."""
    level = camera(place=(0.0, -6.0, 1.0), distortion=PLAIN)
    sideways = 6.0 * np.tan(np.deg2rad(25.0))
    u = level.project([[-sideways, 0.0, 1.0], [sideways, 0.0, 1.0]])[:, 0]
    np.testing.assert_allclose(u, [639.5 - 640.0, 639.5 + 640.0], atol=1e-9)
    # 36 mm wide, 50 mm long: 1280 * 50 / 36.
    lens = camera(field_of_view_deg=None, focal_mm=50.0, sensor_width_mm=36.0)
    assert lens.matrix[0, 0] == pytest.approx(1280 * 50 / 36)


def test_roll_turns_the_picture_the_other_way() -> None:
    """A camera rolled clockwise by a right angle sees what is overhead on its left."""
    rolled = camera(roll_deg=90.0, distortion=PLAIN)
    u, v = rolled.project([0.0, 0.0, 1.3])
    assert u < 600.0
    assert v == pytest.approx(359.5, abs=1.0)


def test_undistorting_takes_back_distorting_anywhere_in_the_picture() -> None:
    seen = camera()
    points = around(2000, 1)
    pixels = seen.project(points)
    ideal = replace(seen, distortion=PLAIN).project(points)
    assert np.abs(pixels - ideal).max() > 5.0
    assert np.abs(seen.undistort(pixels) - ideal).max() < 1e-9
    corners = np.array([[-0.5, -0.5], [1279.5, -0.5], [1279.5, 719.5], [-0.5, 719.5]])
    assert np.abs(seen.to_pixels(seen.distort(seen.normalise(corners))) - corners).max() < 1e-9


@pytest.mark.parametrize("k1", [-0.30, 0.25])
def test_undistorting_holds_for_strong_barrels_and_cushions(k1: float) -> None:
    strong = camera(distortion=(k1, 0.0, 0.001, -0.001, 0.0))
    ideal = np.random.default_rng(2).uniform(-0.55, 0.55, (500, 2))
    assert np.abs(strong.normalise(strong.to_pixels(strong.distort(ideal))) - ideal).max() < 1e-12


def test_rays_pass_through_what_was_seen() -> None:
    seen, points = camera(), around(100, 3)
    rays = seen.rays(seen.project(points).reshape(10, 10, 2)).reshape(-1, 3)
    along = points - seen.centre
    np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1.0, atol=1e-12)
    assert np.abs(np.cross(along, rays)).max() < 1e-10
    assert (np.sum(along * rays, axis=1) > 0).all()


def test_nothing_behind_the_camera_or_beyond_the_lens_is_seen() -> None:
    barrel = camera(place=(0.0, -6.0, 1.0), distortion=(-0.3, 0.0, 0.0, 0.0, 0.0))
    assert np.isnan(barrel.project([0.0, -7.0, 1.0])).all()
    assert np.isnan(barrel.project([0.0, -6.0, 1.0])).all()
    # r (1 - 0.3 r^2) is greatest at r = 1 / sqrt(0.9): wider rays would come back into the picture.
    edge = 1.0 / np.sqrt(0.9)
    assert barrel.widest == pytest.approx(edge, abs=1e-12)
    seen = barrel.project([[6.0 * edge * 0.999, 0.0, 1.0], [6.0 * edge * 1.001, 0.0, 1.0]])
    assert np.isfinite(seen[0]).all()
    assert np.isnan(seen[1]).all()
    beyond = 639.5 + barrel.matrix[0, 0] * edge * (1 - 0.3 * edge**2) + 1.0
    assert np.isnan(barrel.undistort([beyond, 359.5])).all()
    assert camera(distortion=PLAIN).widest == np.inf


def test_missing_points_stay_missing_and_shapes_are_kept() -> None:
    points = around(24, 4).reshape(2, 3, 4, 3)
    points[1, 2, 3] = np.nan
    pixels = camera().project(points)
    assert pixels.shape == (2, 3, 4, 2)
    assert np.isnan(pixels[1, 2, 3]).all()
    assert np.isfinite(pixels).sum() == 2 * 23
    assert np.isnan(camera().undistort(pixels)[1, 2, 3]).all()


def test_inside_means_on_the_picture() -> None:
    pixels = [[-0.5, 0.0], [1279.5, 719.5], [-0.6, 10.0], [10.0, 719.6], [np.nan, 3.0]]
    assert camera().inside(pixels).tolist() == [True, True, False, False, False]


def test_two_views_give_back_places_to_a_tenth_of_a_millimetre() -> None:
    """The textbook's linear triangulation on undistorted pixels: each view gives two rows u P3 - P1, v P3 - P2."""
    views = (camera(), camera(place=(0.3, -6.0, 1.4), field_of_view_deg=46.0))
    points = around(200, 5)
    rows = []
    for view in views:
        pixels, P = view.undistort(view.project(points)), view.projection_matrix
        rows += [pixels[:, :1] * P[2] - P[0], pixels[:, 1:] * P[2] - P[1]]
    equations = np.stack(rows, axis=1)
    found = np.stack([np.linalg.lstsq(e[:, :3], -e[:, 3], rcond=None)[0] for e in equations])
    assert np.linalg.norm(found - points, axis=1).max() < 1e-7


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"rotation": np.diag([1.0, 1.0, -1.0])}, "rotation mirrors"),
        ({"rotation": np.diag([1.0, 1.1, 1.0])}, "rotation is no rotation"),
        ({"rotation": np.eye(2)}, "rotation must be 3 x 3 numbers, got 2 x 2"),
        ({"matrix": np.eye(3)[::-1]}, "matrix must be"),
        ({"matrix": np.diag([-5.0, 5.0, 1.0])}, "matrix has focal lengths -5"),
        ({"translation": np.array([0.0, np.nan, 0.0])}, "translation holds"),
        ({"distortion": np.zeros(8)}, "distortion must be 5 numbers, got 8"),
        ({"size": (1280.5, 720)}, "size must be"),
        ({"rate_hz": 0.0}, "rate_hz must be positive"),
        ({"time_offset_s": np.inf}, "time_offset_s must be"),
    ],
)
def test_values_that_no_camera_has_are_refused(changes, words: str) -> None:
    with pytest.raises(OptionError, match=words):
        replace(camera(), **changes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"target": (4.0, -4.5, 0.0)}, "straight above"),
        ({"target": (4.0, -4.5, 1.4)}, "straight above"),
        ({"field_of_view_deg": 190.0}, "between 0 and 180"),
        ({"focal_mm": 50.0}, "either"),
        ({"field_of_view_deg": None, "focal_mm": -1.0, "sensor_width_mm": 36.0}, "positive"),
    ],
)
def test_tripods_that_cannot_be_are_refused(changes, words: str) -> None:
    with pytest.raises(OptionError, match=words):
        camera(**changes)


@pytest.mark.parametrize(
    ("projection", "words"),
    [
        (np.eye(3), "projection must be 3 x 4 numbers, got 3 x 3"),
        (np.eye(3, 4) * [[1.0], [1.0], [0.0]], "finite place"),
    ],
)
def test_matrices_that_are_no_camera_are_refused(projection: np.ndarray, words: str) -> None:
    with pytest.raises(OptionError, match=words):
        Camera.from_projection_matrix(projection, (640, 480))


def test_a_camera_is_found_again_in_its_projection_matrix() -> None:
    plain = camera(distortion=PLAIN)
    found = Camera.from_projection_matrix(-0.3 * plain.projection_matrix, plain.size)
    np.testing.assert_allclose(found.matrix, plain.matrix, atol=1e-9)
    np.testing.assert_allclose(found.rotation, plain.rotation, atol=1e-12)
    np.testing.assert_allclose(found.centre, plain.centre, atol=1e-12)


def test_a_rotation_of_few_digits_is_made_exact() -> None:
    rough = replace(camera(), rotation=np.round(camera().rotation, 4))
    assert np.abs(rough.rotation @ rough.rotation.T - np.eye(3)).max() < 1e-14
    assert np.abs(rough.rotation - camera().rotation).max() < 1e-4


# -------------------------------------------------------------------- its files


@pytest.mark.parametrize(
    "changes", [{}, {"rate_hz": None, "name": 'a "b" \\ \t\N{MULTIPLICATION SIGN}', "time_offset_s": -0.1 / 3}]
)
def test_what_is_written_is_read_to_the_last_digit(tmp_path: Path, changes) -> None:
    written = replace(camera(), **changes)
    read = read_camera(write_camera(written, tmp_path / "view.toml"))
    for key in ("matrix", "rotation", "translation", "distortion"):
        assert (getattr(read, key) == getattr(written, key)).all()
    for key in ("size", "rate_hz", "time_offset_s", "name"):
        assert getattr(read, key) == getattr(written, key)
    assert [file.name for file in tmp_path.iterdir()] == ["view.toml"]


def test_a_camera_without_a_name_is_called_by_its_file(tmp_path: Path) -> None:
    assert read_camera(write_camera(camera(name=""), tmp_path / "pitcher_side.toml")).name == "pitcher_side"


def test_writing_into_no_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="nowhere"):
        write_camera(camera(), tmp_path / "nowhere" / "view.toml")


SECTIONS = """
[cam_1]
name = "first"
size = [ 1088.0, 1920.0]
matrix = [ [ 1681.2, 0.0, 540.0], [ 0.0, 1681.2, 959.0], [ 0.0, 0.0, 1.0]]
distortions = [ -0.05, 0.11, 0.001, 0.002]
rotation = [ 0.0, 0.0, 1.5707963267948966]
translation = [ 0.1, -0.2, 4.5]
fisheye = false

[cam_2]
size = [1088, 1920]
matrix = [[1670.0, 0.0, 544.0], [0.0, 1671.0, 960.0], [0.0, 0.0, 1.0]]
distortions = [0.0, 0.0, 0.0, 0.0, 0.1]
rotation = [0.0, 0.0, 0.0]
translation = [0.0, 0.0, 5.0]

[metadata]
adjusted = false
error = 0.0
"""


def test_one_section_per_camera_is_read(tmp_path: Path) -> None:
    """A Rodrigues vector of a right angle about z takes (x, y, z) to (-y, x, z)."""
    (tmp_path / "rig.toml").write_text(SECTIONS, encoding="utf-8")
    first, second = read_cameras(tmp_path / "rig.toml")
    assert (first.name, second.name) == ("first", "cam_2")
    assert first.size == (1088, 1920)
    np.testing.assert_allclose(first.rotation, [[0, -1, 0], [1, 0, 0], [0, 0, 1]], atol=1e-15)
    np.testing.assert_allclose(first.in_camera([2.0, 3.0, 4.0]), [-3.0 + 0.1, 2.0 - 0.2, 4.0 + 4.5], atol=1e-12)
    assert first.distortion.tolist() == [-0.05, 0.11, 0.001, 0.002, 0.0]
    assert second.distortion[4] == 0.1
    assert first.rate_hz is None
    with pytest.raises(InputError, match=r"rig\.toml: holds 2 cameras \(first, cam_2\)"):
        read_camera(tmp_path / "rig.toml")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("rotation = [ 0.0, 0.0, 1.5707963267948966]\n", "", r"\[cam_1\] rotation is missing"),
        ("fisheye = false", "fisheye = true", r"\[cam_1\] fisheye is true"),
        ("[ -0.05, 0.11, 0.001, 0.002]", "[0.1, 0.2]", r"\[cam_1\] distortions must be 4 or 5 numbers.*got 2"),
        ("[ -0.05, 0.11, 0.001, 0.002]", '"none"', r"\[cam_1\] distortions must be numbers in brackets"),
        ("[ 0.1, -0.2, 4.5]", "[0.1, -0.2]", r"\[cam_1\] translation must be 3 numbers, got 2"),
        ("[ 0.1, -0.2, 4.5]", "[0.1, true, 2.0]", r"\[cam_1\] translation must be numbers"),
        ("[ 1088.0, 1920.0]", "[1088.0]", r"\[cam_1\] size must be width and height"),
        ("[ 1088.0, 1920.0]", "[1088.0, 0.0]", r"\[cam_1\] size must be width and height in whole pixels"),
        ("[ 0.0, 0.0, 1.5707963267948966]", "[[1, 0, 0], [0, 1, 0], [0, 0, -1]]", r"\[cam_1\] rotation mirrors"),
        ("[ 1681.2, 0.0, 540.0]", "[ 1681.2, 0.0]", r"\[cam_1\] matrix must be numbers in brackets"),
        ("[cam_1]", "[cam_1", r"rig\.toml: not a TOML file"),
    ],
)
def test_a_fault_is_named_with_file_section_and_key(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in SECTIONS
    (tmp_path / "rig.toml").write_text(SECTIONS.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=words) as caught:
        read_cameras(tmp_path / "rig.toml")
    assert "rig.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "holds no camera"),
        ("[session]\nname = 'x'\n", "holds no camera"),
        ("size = [2, 2]\nmatrx = [[1]]\n", "'matrx' is not known"),
        ("size = [2, 2]\n", "matrix is missing"),
        (
            "size = [2, 2]\nrate_hz = 'fast'\n" + "matrix = [[1.0,0,0],[0,1.0,0],[0,0,1]]\nrotation=[0,0,0]\n"
            "translation=[0,0,0]\n",
            "rate_hz must be a number, got 'fast'",
        ),
    ],
)
def test_files_without_a_whole_camera_are_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_camera(tmp_path / "a.toml")


def test_no_file_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such camera file"):
        read_cameras(tmp_path / "missing.toml")
