"""The picture of a lens's residuals."""

from __future__ import annotations

import numpy as np
from PIL import Image

from mocap.importer.calibrate_lens import BoardFit, LensCalibration
from mocap.importer.camera import Camera
from mocap.renderer.lens_picture import draw_lens_picture, write_lens_picture
from mocap.renderer.style import BLUE, RED


def calibration(*, left_out: bool = False) -> LensCalibration:
    """One corner in the middle of the picture, off by a fifth of a pixel to the right."""
    lens = Camera(np.diag([900.0, 900.0, 1.0]), np.eye(3), np.zeros(3), (1400, 700), np.zeros(5))
    fit = BoardFit("a.jpg", np.array([[699.5, 349.5]]), np.array([[0.2, 0.0]]))
    worse = BoardFit("b.jpg", np.array([[299.5, 349.5]]), np.array([[0.0, 0.3]]))
    covered = np.zeros((6, 8), dtype=bool)
    return LensCalibration(lens, np.ones(2), np.ones(2), (fit,), (worse,) if left_out else (), (), covered, ())


def strong(picture: Image.Image, colour: tuple[int, int, int]) -> np.ndarray:
    """Pixels (v, u) of a colour in the upper part, where no words are."""
    return np.argwhere((np.abs(np.asarray(picture, dtype=int)[:780] - colour) < 24).all(axis=2))


def test_an_arrow_points_from_the_corner_where_it_was_found_along_the_residual() -> None:
    found = strong(draw_lens_picture(calibration()), BLUE)
    # The drawing is at the camera's size, with a margin of 40 px; 0.2 px drawn 50 times as long is 10 px.
    assert found[:, 1].min() == 740 - 2
    assert 748 <= found[:, 1].max() <= 751
    assert abs(found[:, 0].mean() - 740 + 350) < 2.0


def test_corners_left_out_are_crossed_and_named(tmp_path) -> None:
    assert len(strong(draw_lens_picture(calibration()), RED)) == 0
    path = write_lens_picture(calibration(left_out=True), tmp_path / "lens.png")
    with Image.open(path) as picture:
        found = strong(picture.convert("RGB"), RED)
        assert len(found) > 20
        assert found[:, 1].min() >= 340 - 7
        assert picture.height > 780
