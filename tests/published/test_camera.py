"""The camera model against OpenCV (independent library, Apache-2.0) and a textbook's worked camera.

OpenCV's `projectPoints` has no skew; the comparison leaves it out.
"""

from __future__ import annotations

import numpy as np
import pytest

from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera

LENSES = {
    "barrel": (-0.28, 0.09, 0.0012, -0.0008, -0.015),
    "cushion": (0.19, -0.05, -0.0007, 0.0015, 0.01),
    "phone": (0.021, -0.064, 0.0003, 0.0005, 0.041),
    "decentred": (-0.05, 0.0, 0.02, -0.015, 0.0),
}


@pytest.fixture(params=sorted(LENSES))
def camera(request: pytest.FixtureRequest) -> Camera:
    generator = np.random.default_rng(sorted(LENSES).index(request.param))
    view = Camera.looking_at(
        generator.uniform((3, -6, 0.8), (6, -3, 2.0)),
        (0.0, 0.0, 1.0),
        size=(1920, 1080),
        field_of_view_deg=55.0,
        roll_deg=4.0,
        distortion=LENSES[request.param],
    )
    matrix = view.matrix + np.array([[0.0, 0.0, 11.3], [0.0, 9.1, -7.7], [0.0, 0.0, 0.0]])
    return Camera(matrix, view.rotation, view.translation, view.size, view.distortion)


def test_projection_agrees_with_opencv(camera: Camera) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    points = np.random.default_rng(5).uniform((-1.5, -1.5, 0), (1.5, 1.5, 2.5), (1000, 3))
    turn, _ = cv2.Rodrigues(np.array(camera.rotation))
    expected, _ = cv2.projectPoints(
        points, turn, np.array(camera.translation), np.array(camera.matrix), np.array(camera.distortion)
    )
    ours = camera.project(points)
    assert np.isfinite(ours).all()
    assert np.abs(ours - expected[:, 0]).max() < 1e-8


def test_undistorted_pixels_agree_with_opencv(camera: Camera) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    pixels = np.random.default_rng(6).uniform((0, 0), (1919, 1079), (1000, 2))
    # Without these conditions it stops after five rounds.
    until = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 500, 1e-14)
    matrix, bends = np.array(camera.matrix), np.array(camera.distortion)

    def undistorted(into: np.ndarray) -> np.ndarray:
        return cv2.undistortPoints(pixels[:, None], matrix, bends, R=np.eye(3), P=into, criteria=until)[:, 0]

    assert np.abs(camera.normalise(pixels) - undistorted(np.eye(3))).max() < 1e-9
    ideal = undistorted(matrix)
    assert np.abs(camera.undistort(pixels) - ideal).max() < 1e-6


def test_rodrigues_vectors_in_files_agree_with_opencv(tmp_path) -> None:
    cv2 = pytest.importorskip("cv2", reason="opencv-python-headless is not installed")
    vector = np.array([0.9, -1.7, 0.4])
    text = "size = [4, 3]\nmatrix = [[2.0, 0.0, 1.5], [0.0, 2.0, 1.0], [0.0, 0.0, 1.0]]\n"
    (tmp_path / "a.toml").write_text(f"{text}rotation = {vector.tolist()}\ntranslation = [0.0, 0.0, 1.0]\n", "utf-8")
    assert np.abs(read_camera(tmp_path / "a.toml").rotation - cv2.Rodrigues(vector)[0]).max() < 1e-12


def test_the_textbooks_camera_is_taken_apart_as_printed() -> None:
    """R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed. (2003), example 6.2, p. 163.

    Tolerances are half of the last printed digit, and for the centre what six printed digits of the matrix leave.
    """
    P = [
        [3.53553e2, 3.39645e2, 2.77744e2, -1.44946e6],
        [-1.03528e2, 2.33212e1, 4.59607e2, -6.32525e5],
        [7.07107e-1, -3.53553e-1, 6.12372e-1, -9.18559e2],
    ]
    camera = Camera.from_projection_matrix(P, (600, 400))
    np.testing.assert_allclose(camera.centre, [1000.0, 2000.0, 1500.0], atol=0.005)
    np.testing.assert_allclose(camera.matrix, [[468.2, 91.2, 300.0], [0.0, 427.2, 200.0], [0.0, 0.0, 1.0]], atol=0.05)
    rotation = [[0.41380, 0.90915, 0.04708], [-0.57338, 0.22011, 0.78917], [0.70711, -0.35355, 0.61237]]
    np.testing.assert_allclose(camera.rotation, rotation, atol=5e-6)
    flipped = Camera.from_projection_matrix(-3.0 * np.array(P), (600, 400))
    np.testing.assert_allclose(flipped.projection_matrix, camera.projection_matrix, rtol=1e-9)
