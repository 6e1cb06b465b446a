"""Strokes and shapes cover as many pixels as their geometry says, where it says."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from mocap.findings import Verdict
from mocap.renderer.marks import draw_mark
from mocap.renderer.pen import Pen

BLACK, WHITE = (0, 0, 0), (255, 255, 255)


def drawn(draw) -> np.ndarray:
    picture = Image.new("RGB", (300, 200), BLACK)
    draw(Pen(picture))
    return np.asarray(picture, dtype=float)[..., 0] / 255


def test_a_line_covers_its_length_times_its_width_plus_its_round_ends() -> None:
    ink = drawn(lambda pen: pen.line([(20.3, 31.7), (250.9, 160.2)], 5.0, WHITE))
    assert ink.sum() == pytest.approx(5 * np.hypot(230.6, 128.5) + np.pi * 2.5**2, rel=0.01)


def test_a_bent_line_is_one_shape_even_where_it_is_translucent() -> None:
    ink = drawn(lambda pen: pen.line([(20, 20), (150, 100), (280, 20)], 8.0, WHITE, opacity=0.5))
    assert ink.max() == pytest.approx(0.5, abs=0.01)


def test_a_gap_in_the_path_stays_a_gap() -> None:
    ink = drawn(lambda pen: pen.line([(20, 100), (100, 100), (np.nan, np.nan), (200, 100), (280, 100)], 4.0, WHITE))
    assert ink[:, 110:190].max() == 0
    assert ink[100, 50] == ink[100, 240] == 1


def test_dashes_leave_their_gaps_out() -> None:
    ink = drawn(lambda pen: pen.line([(10, 100), (290, 100)], 2.0, WHITE, dash=(20, 20)))
    assert ink.sum() == pytest.approx(7 * (2 * 20 + np.pi), rel=0.05)


@pytest.mark.parametrize("centre", [(100.0, 80.0), (100.4, 80.7)])
def test_a_disc_and_a_ring_have_the_right_area_and_centre(centre) -> None:
    for ink, area in (
        (drawn(lambda pen: pen.disc(centre, 12.0, WHITE)), np.pi * 144),
        (drawn(lambda pen: pen.ring(centre, 12.0, 3.0, WHITE)), 2 * np.pi * 12 * 3),
    ):
        assert ink.sum() == pytest.approx(area, rel=0.01)
        assert (ink.sum(axis=0) * (np.arange(300) + 0.5)).sum() / ink.sum() == pytest.approx(centre[0], abs=0.05)


def test_polygons_together_are_one_shape_and_may_leave_the_picture() -> None:
    square = np.array([(40.0, 40.0), (90.0, 40.0), (90.0, 90.0), (40.0, 90.0)])
    ink = drawn(lambda pen: pen.polygon([square, square + np.array([25.0, 0.0])], WHITE, opacity=0.5))
    assert ink.sum() == pytest.approx(0.5 * 75 * 50, rel=0.02)
    assert drawn(lambda pen: pen.polygon(square - 65.0, WHITE)).sum() == pytest.approx(25 * 25, rel=0.05)
    assert drawn(lambda pen: pen.polygon(square + 900.0, WHITE)).sum() == 0


def test_the_marks_of_the_verdicts_differ_in_grey() -> None:
    verdicts: list[Verdict] = ["good", "near", "off", "too close to call", "not measurable"]
    pictures = []
    for verdict in verdicts:
        picture = Image.new("RGB", (40, 40), WHITE)
        draw_mark(Pen(picture), verdict, (20.0, 20.0), 12.0)
        pictures.append(np.asarray(picture.convert("L")) < 200)
    for i, one in enumerate(pictures):
        for other in pictures[i + 1 :]:
            assert (one != other).mean() > 0.05
