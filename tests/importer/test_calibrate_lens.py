"""Lens calibration from drawn pictures of boards whose lens is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.errors import InputError, OptionError
from mocap.importer.boards import Board, Corners, find_corners, read_pictures, video_rate
from mocap.importer.calibrate_lens import calibrate_lens, lens_from_corners
from mocap.importer.camera import Camera

SIZE = (640, 480)
BOARD = Board(7, 5, 0.040)
CHARUCO = Board(7, 5, 0.040, "charuco", marker_m=0.030)
MATRIX = np.array([[610.0, 0.0, 325.0], [0.0, 606.0, 236.0], [0.0, 0.0, 1.0]])
LENS = Camera(MATRIX, np.eye(3), np.zeros(3), SIZE, np.array([-0.15, 0.05, 0.001, -0.0005, 0.0]))


@cache
def poses(count: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Boards tilted all ways, all over the picture, as seen by the camera."""
    draw = np.random.default_rng(1)
    middle = BOARD.places.mean(axis=0)
    found = []
    while len(found) < count:
        turn = Rotation.from_rotvec(draw.uniform(-0.6, 0.6, 3)).as_matrix()
        place = np.array([draw.uniform(-0.16, 0.16), draw.uniform(-0.12, 0.12), draw.uniform(0.42, 0.65)])
        view = replace(LENS, rotation=turn, translation=place - turn @ middle)
        edges = view.project(BOARD.places + (BOARD.places - middle) * 0.45)
        if view.inside(edges).all():
            found.append((turn, view.translation))
    return found


def corners(count: int, noise_px: float, seed: int = 2) -> list[Corners]:
    noise = np.random.default_rng(seed)
    found = []
    for i, (turn, shift) in enumerate(poses(count)):
        pixels = replace(LENS, rotation=turn, translation=shift).project(BOARD.places)
        found.append(Corners(f"shot {i}", SIZE, np.arange(35), pixels + noise_px * noise.normal(size=pixels.shape)))
    return found


@cache
def fine_rays() -> np.ndarray:
    """Rays of a grid three times as fine as the picture's, shape (3 * 480, 3 * 640, 3)."""
    inner = (np.arange(3) - 1) / 3.0
    v, u = np.meshgrid(*((np.arange(n)[:, None] + inner).ravel() for n in SIZE[::-1]), indexing="ij")
    rays = LENS.normalise(np.stack([u, v], axis=-1))
    return np.concatenate([rays, np.ones((*rays.shape[:2], 1))], axis=-1)


def drawn(board: Board, turn: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """A grey picture of a board: each pixel is the mean of 3 x 3 rays that meet the board's plane."""
    rays = fine_rays()
    normal = turn[:, 2]
    places = (rays * ((normal @ shift) / (rays @ normal))[..., None] - shift) @ turn
    column, row = places[..., 0] / board.square_m, places[..., 1] / board.square_m
    if board.kind == "charuco":
        cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
        markers = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.dictionary))
        target = cv2.aruco.CharucoBoard((board.columns + 1, board.rows + 1), board.square_m, board.marker_m, markers)
        per = 120
        image = target.generateImage((per * (board.columns + 1), per * (board.rows + 1)), marginSize=0)
        # The drawing begins a square before the first inner corner.
        x, y = np.floor((column + 1) * per).astype(int), np.floor((row + 1) * per).astype(int)
        on = (x >= 0) & (y >= 0) & (x < image.shape[1]) & (y < image.shape[0])
        grey = np.where(on, image[np.clip(y, 0, image.shape[0] - 1), np.clip(x, 0, image.shape[1] - 1)], 255.0)
    else:
        on = (column > -1) & (row > -1) & (column < board.columns) & (row < board.rows)
        grey = np.where(on & ((np.floor(column) + np.floor(row)) % 2 == 0), 20.0, 235.0)
    return grey.reshape(SIZE[1], 3, SIZE[0], 3).mean(axis=(1, 3)).astype(np.uint8)


def photographed(board: Board, folder: Path) -> Path:
    """The folder with eight photographs of a board in it."""
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    for i, pose in enumerate(poses(8)):
        cv2.imwrite(str(folder / f"shot{i}.png"), drawn(board, *pose))
    return folder


@pytest.fixture(scope="module")
def shots(tmp_path_factory) -> Path:
    return photographed(BOARD, tmp_path_factory.mktemp("chessboard"))


@pytest.fixture(scope="module")
def charuco_shots(tmp_path_factory) -> Path:
    return photographed(CHARUCO, tmp_path_factory.mktemp("charuco"))


@pytest.mark.slow
def test_photographs_give_the_lens(shots) -> None:
    found = calibrate_lens(shots, BOARD, name="phone")
    assert len(found.fits) >= 7
    assert found.rms_px < 0.15
    assert np.diag(found.lens.matrix)[:2] == pytest.approx([610.0, 606.0], rel=0.003)
    assert found.lens.matrix[:2, 2] == pytest.approx([325.0, 236.0], abs=2.0)
    # Bending where the picture ends, not coefficients, which trade for each other.
    edge = np.array([[0.4, 0.3], [-0.4, 0.2]])
    assert found.lens.distort(edge) == pytest.approx(LENS.distort(edge), abs=2e-3)
    assert found.lens.name == "phone"
    assert found.covered.dtype == bool


@pytest.mark.slow
def test_a_board_of_another_size_is_named(shots) -> None:
    with pytest.raises(InputError, match=r"no picture shows a board of 6 x 5 .* one of (7 x 5|5 x 7)"):
        calibrate_lens(shots, Board(6, 5, 0.040))


def test_the_lens_is_as_sure_as_it_says() -> None:
    """40 draws of 0.3 px at the corners of 12 pictures."""
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    found = [lens_from_corners(corners(12, 0.3, seed), BOARD) for seed in range(40)]
    focal = np.array([np.diag(one.lens.matrix)[:2] for one in found]) - (610.0, 606.0)
    middle = np.array([one.lens.matrix[:2, 2] for one in found]) - (325.0, 236.0)
    stated = [np.mean([one.sd_focal_px for one in found], 0), np.mean([one.sd_principal_px for one in found], 0)]
    for errors, sd in zip((focal, middle), stated, strict=True):
        assert np.sqrt((errors**2).mean(axis=0)) / sd == pytest.approx(1.0, abs=0.35)
    assert found[0].rms_px == pytest.approx(0.3 * np.sqrt(2.0), rel=0.1)
    assert found[0].lens.distortion[4] == 0.0


def test_pictures_that_fit_far_worse_are_left_out_and_named() -> None:
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    every = corners(10, 0.2)
    blurred = every[3].pixels + 4.0 * np.random.default_rng(5).normal(size=every[3].pixels.shape)
    every[3] = Corners("shaken.jpg", SIZE, every[3].which, blurred)
    found = lens_from_corners([*every, Corners("sky.jpg", SIZE, np.empty(0, dtype=np.int64), np.empty((0, 2)))], BOARD)
    assert [fit.name for fit in found.left_out] == ["shaken.jpg"]
    assert found.left_out[0].rms_px > 3.0
    assert len(found.fits) == 9
    assert found.not_found == ("sky.jpg",)
    assert any("shaken.jpg was left out" in note for note in found.notes)
    assert any("sky.jpg" in note for note in found.notes)
    assert np.diag(found.lens.matrix)[:2] == pytest.approx([610.0, 606.0], rel=0.01)


def test_boards_square_to_the_camera_and_in_one_place_are_noted() -> None:
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    flat = []
    for i in range(6):
        view = replace(LENS, translation=np.array([-0.20 + 0.005 * i, -0.12, 0.5 + 0.01 * i]))
        off = 0.1 * np.random.default_rng(i).normal(size=(35, 2))
        flat.append(Corners(f"shot {i}", SIZE, np.arange(35), view.project(BOARD.places) + off))
    notes = " ".join(lens_from_corners(flat, BOARD).notes)
    assert "square to the camera" in notes
    assert "on the right" in notes


def test_the_third_coefficient_is_found_when_asked_for_or_with_many_pictures() -> None:
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    assert lens_from_corners(corners(8, 0.1), BOARD, k3=True).lens.distortion[4] != 0.0
    assert lens_from_corners(corners(16, 0.1), BOARD).lens.distortion[4] != 0.0


def test_too_few_pictures_are_said() -> None:
    with pytest.raises(InputError, match="seen in 4 of 4 pictures, 5 are needed"):
        lens_from_corners(corners(4, 0.1), BOARD)


def test_a_charuco_board_may_be_seen_in_part() -> None:
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    turn = Rotation.from_rotvec([0.2, -0.3, 0.05]).as_matrix()
    for away, whole in ((0.0, True), (0.17, False)):
        shift = np.array([away, 0.0, 0.42]) - turn @ CHARUCO.places.mean(axis=0)
        found = find_corners(CHARUCO, "part", drawn(CHARUCO, turn, shift))
        assert (len(found.which) == 35) == whole
        assert len(found.which) >= 8
        expected = replace(LENS, rotation=turn, translation=shift).project(CHARUCO.places[found.which])
        assert np.abs(found.pixels - expected).max() < 0.7


def test_videos_are_read_by_their_sharpest_pictures(tmp_path) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    video = cv2.VideoWriter(str(tmp_path / "board.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 30, SIZE)
    sharp = drawn(BOARD, *poses(1)[0])
    for i in range(9):
        grey = sharp if i % 3 == 1 else cv2.GaussianBlur(sharp, (15, 15), 4.0)
        video.write(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    video.release()
    names = [name for name, _ in read_pictures(tmp_path / "board.avi", every=3)]
    assert names == ["board.avi frame 1", "board.avi frame 4", "board.avi frame 7"]


def test_what_is_wrong_with_pictures_is_said(tmp_path) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    with pytest.raises(InputError, match="no such picture"):
        list(read_pictures(tmp_path / "none.jpg"))
    with pytest.raises(InputError, match="holds no pictures"):
        list(read_pictures(tmp_path))
    (tmp_path / "a.png").write_bytes(b"no picture")
    with pytest.raises(InputError, match=r"a.png: not a picture"):
        list(read_pictures(tmp_path))
    (tmp_path / "a.avi").write_bytes(b"no video")
    with pytest.raises(InputError, match="no picture of the video"):
        list(read_pictures(tmp_path / "a.avi"))
    for name, size in (("a.png", (60, 80)), ("b.png", (80, 60))):
        cv2.imwrite(str(tmp_path / name), np.full(size, 128, dtype=np.uint8))
    with pytest.raises(InputError, match=r"b.png is 60 x 80 px and a.png 80 x 60"):
        calibrate_lens(tmp_path, BOARD)


def test_boards_that_cannot_be_are_refused() -> None:
    with pytest.raises(OptionError, match="3 x 3"):
        Board(2, 5, 0.04)
    with pytest.raises(OptionError, match="metres"):
        Board(7, 5, 40.0)
    with pytest.raises(OptionError, match="marker_m"):
        Board(7, 5, 0.04, "charuco", marker_m=0.05)


def test_without_opencv_the_extra_is_named(monkeypatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "cv2", None)
    with pytest.raises(OptionError, match=r"mocap-hitting\[cameras\]"):
        list(read_pictures("anything.jpg"))


@pytest.mark.slow
def test_photographs_of_a_charuco_board_give_the_lens(charuco_shots) -> None:
    found = calibrate_lens(charuco_shots, CHARUCO, name="phone")
    assert len(found.fits) == 8
    assert np.diag(found.lens.matrix)[:2] == pytest.approx([610.0, 606.0], rel=0.005)
    assert found.lens.matrix[:2, 2] == pytest.approx([325.0, 236.0], abs=3.0)
    edge = np.array([[0.4, 0.3], [-0.4, 0.2]])
    assert found.lens.distort(edge) == pytest.approx(LENS.distort(edge), abs=3e-3)
    # What the calibration says of its own error goes on with the camera.
    sd = np.sqrt(np.diag(found.lens.covariance))
    assert sd[:6].max() == 0.0
    assert sd[6] == pytest.approx(found.sd_focal_px[0] / 610.0, rel=0.2)
    assert sd[7:] == pytest.approx(found.sd_principal_px)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("stated", "says"),
    [
        (replace(CHARUCO, columns=6), r"no picture shows a board of 6 x 5 inner corners, shot0.png shows one of 7 x 5"),
        (
            replace(CHARUCO, dictionary="DICT_5X5_50"),
            "no picture shows markers of DICT_5X5_50, .* those of DICT_4X4_50",
        ),
    ],
)
def test_a_charuco_board_other_than_the_stated_one_is_named(charuco_shots, stated: Board, says: str) -> None:
    with pytest.raises(InputError, match=says):
        calibrate_lens(charuco_shots, stated)


def test_a_dictionary_that_is_none_is_refused() -> None:
    pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    board = replace(CHARUCO, dictionary="DICT_3X3_7")
    with pytest.raises(OptionError, match="dictionary of markers 'DICT_3X3_7' is not known"):
        find_corners(board, "any", np.zeros((48, 64), dtype=np.uint8))


def test_the_rate_of_a_video_is_read(tmp_path) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    video = cv2.VideoWriter(str(tmp_path / "board.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 50, (64, 48))
    for _ in range(3):
        video.write(np.zeros((48, 64, 3), dtype=np.uint8))
    video.release()
    assert video_rate(tmp_path / "board.avi") == pytest.approx(50.0)
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((48, 64), dtype=np.uint8))
    assert video_rate([tmp_path / "a.png"]) is None
