"""Words beside what they belong to: never over the bodies, each other or the picture's edge, and as near as may be."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from mocap.renderer.guides import Canvas, GuideLabel
from mocap.renderer.page import overlap
from mocap.renderer.placing import Placed, Wish, label_guides, place_labels
from mocap.renderer.text import text_width
from mocap.renderer.view import Framing, find_view

SIZE = (640, 360)
TYPE = 16


def scattered(seed: int) -> tuple[list[Wish], np.ndarray, list[tuple[int, int, int, int]]]:
    """A random scene: a body of ellipses, words of many lengths with anchors on and off it, and other type."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    solid = np.zeros((SIZE[1], SIZE[0]), dtype=bool)
    for _ in range(rng.integers(0, 6)):
        middle, radii = rng.uniform((150, 80), (490, 280)), rng.uniform(8, 90, 2)
        solid |= ((x - middle[0]) / radii[0]) ** 2 + ((y - middle[1]) / radii[1]) ** 2 < 1.0
    words = [
        "Knob",
        "Axis drifts 4 \N{PLUS-MINUS SIGN} 1 cm",
        "55 \N{PLUS-MINUS SIGN} 1 % of the weight on the back foot",
    ]
    wishes = [Wish(words[rng.integers(3)], rng.uniform((-20, -20), (660, 380))) for _ in range(rng.integers(1, 14))]
    corners = rng.uniform((0, 0), (540, 320), (rng.integers(0, 4), 2)).astype(int)
    return wishes, solid, [(int(cx), int(cy), int(cx) + 90, int(cy) + 30) for cx, cy in corners]


def runs_through(placed: Placed, box: tuple[int, int, int, int]) -> bool:
    """Whether a hairline enters a box, tried at many points along it."""
    share = np.linspace(0.0, 1.0, 400)[:, None]
    at = placed.leader[0] * (1.0 - share) + placed.leader[1] * share
    return bool(((at > box[:2]) & (at < box[2:])).all(axis=1).any())


@pytest.mark.parametrize("seed", range(40))
def test_nothing_overlaps(seed) -> None:
    wishes, solid, taken = scattered(seed)
    placed = place_labels(wishes, solid, taken, SIZE, TYPE)
    for i, one in enumerate(placed):
        left, top, right, bottom = one.box
        assert 0 <= left < right <= SIZE[0]
        assert 0 <= top < bottom <= SIZE[1]
        assert not solid[top:bottom, left:right].any()
        others = [*taken, *(other.box for other in placed[:i] + placed[i + 1 :])]
        assert not any(overlap(one.box, box) for box in others)
        assert not any(runs_through(one, box) for box in others)


@pytest.mark.parametrize("seed", range(10))
def test_boxes_and_an_array_of_the_same_give_the_same_freedom(seed) -> None:
    """Boxes whose edges lie on the look-up's squares: the places are equal."""
    rng = np.random.default_rng(seed)
    boxes = [tuple(int(4 * v) for v in (a, b, a + 20, b + 15)) for a, b in rng.integers((20, 10), (110, 60), (3, 2))]
    solid = np.zeros((SIZE[1], SIZE[0]), dtype=np.uint8)
    for left, top, right, bottom in boxes:
        solid[top:bottom, left:right] = 255
    wishes = [Wish("Head moves 5 cm", np.array(box[:2]) + 10.0) for box in boxes]
    exact = place_labels(wishes, boxes, [], SIZE, TYPE)
    looked_up = place_labels(wishes, solid, [], SIZE, TYPE)
    assert len(exact) == len(looked_up) == 3
    for one, other in zip(exact, looked_up, strict=True):
        # A square that is touched counts as full, so the looked-up place may lie a little farther out.
        lengths = [np.hypot(*(placed.leader[1] - placed.leader[0])) for placed in (one, other)]
        assert lengths[0] <= lengths[1] + 2.0 * TYPE


def test_the_nearest_place_is_taken() -> None:
    """In an empty picture beside the anchor; next to a wall on its free side."""
    anchor = np.array([320.0, 180.0])
    (free,) = place_labels([Wish("Knob", anchor)], [], [], SIZE, TYPE)
    assert np.hypot(*(free.leader[0] - anchor)) < 1.2 * TYPE
    solid = np.zeros((SIZE[1], SIZE[0]), dtype=bool)
    solid[:, 321:] = True
    (beside,) = place_labels([Wish("Knob", anchor)], solid, [], SIZE, TYPE)
    assert beside.box[2] <= 320
    assert np.hypot(*(beside.leader[0] - anchor)) < 1.5 * TYPE


def test_the_hairline_joins_the_words_to_their_anchor() -> None:
    wishes, solid, taken = scattered(3)
    for placed in place_labels(wishes, solid, taken, SIZE, TYPE):
        assert any((placed.leader[1] == wish.anchor).all() for wish in wishes)
        left, top, right, bottom = placed.box
        outside = np.maximum(np.maximum((left, top) - placed.leader[0], placed.leader[0] - (right, bottom)), 0.0)
        assert np.hypot(*outside) < 0.4 * TYPE


def test_the_least_important_are_left_out() -> None:
    """Room for a few lines only: those that come first have it."""
    size = (200, 70)
    wishes = [Wish(f"number {i}", np.array([100.0, 35.0])) for i in range(9)]
    placed = place_labels(wishes, [], [], size, TYPE)
    assert 0 < len(placed) < 9
    assert placed[0].labels[0].words == "number 0"
    assert place_labels(wishes, np.ones((70, 200), dtype=bool), [], size, TYPE) == []


def test_words_are_broken_where_one_line_has_no_room() -> None:
    words = "Trunk's turning axis wanders 14 cm"
    narrow = (round(0.75 * text_width(words, TYPE)), 200)
    (placed,) = place_labels([Wish(words, np.array([20.0, 100.0]))], [], [], narrow, TYPE)
    assert len(placed.labels) == 2
    assert " ".join(label.words for label in placed.labels).replace("\N{NO-BREAK SPACE}", " ") == words


@pytest.mark.parametrize("anchor", [(np.nan, 10.0), (-5.0, 10.0), (10.0, 400.0)])
def test_an_anchor_that_is_not_in_the_picture_has_no_words(anchor) -> None:
    assert place_labels([Wish("Knob", np.array(anchor))], [], [], SIZE, TYPE) == []


@pytest.mark.parametrize("shape", [(359, 641), (361, 642), (357, 639)])
def test_any_size_of_picture_is_looked_up_whole(shape) -> None:
    solid = np.ones(shape, dtype=bool)
    solid[-64:, :] = False
    (placed,) = place_labels([Wish("Knob", np.array([300.0, 200.0]))], solid, [], shape[::-1], TYPE)
    assert placed.box[1] >= shape[0] - 64


def test_a_coverage_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="360 by 640"):
        place_labels([], np.zeros((640, 361), dtype=bool), [], (360, 640), TYPE)


def test_guides_get_their_numbers_where_they_belong() -> None:
    class One:
        name = "one"

        def __init__(self, words: str | None) -> None:
            self.words = words

        def reach(self, _frame: int) -> np.ndarray:
            return np.empty((0, 3))

        def draw(self, _on: Canvas, _frame: int) -> None:
            raise AssertionError("labels draw no guide")

        def label(self, frame: int) -> GuideLabel | None:
            return None if self.words is None else GuideLabel(self.words, np.array([0.1 * frame, 0.0, 0.5]), "")

    lens = Framing(find_view("open side"), SIZE, (0.0, 0.0, 0.0), (100.0, 300.0), 200.0)
    (placed,) = label_guides([One("Knob"), One(None)], lens, 4, [], [], TYPE)
    assert placed.leader[1] == pytest.approx(lens.project([0.4, 0.0, 0.5]))


def test_words_and_hairline_are_drawn() -> None:
    (placed,) = place_labels([Wish("Knob", np.array([320.0, 180.0]))], [], [], SIZE, TYPE)
    picture = Image.new("RGB", SIZE, (239, 238, 234))
    placed.draw(picture, 1.0)
    left, top, right, bottom = placed.box
    inked = np.asarray(picture).sum(axis=2) < 300
    assert inked[top:bottom, left:right].any()
    assert inked[175:186, 315:326].any()


def disc(middle: tuple[float, float], radius: float) -> np.ndarray:
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    return np.hypot(x - middle[0], y - middle[1]) < radius


def test_a_hairline_ends_at_the_edge_of_the_body_that_its_anchor_lies_behind() -> None:
    """A knee's middle, 20 px inside a round body of 60 px: the line comes as far as the skin."""
    body = disc((320, 180), 60.0)
    (placed,) = place_labels([Wish("Knob", np.array([360.0, 180.0]))], body, [], SIZE, TYPE, body)
    assert placed.leader is not None
    assert placed.box[0] > 380
    assert np.hypot(*(placed.leader[1] - (320.0, 180.0))) == pytest.approx(60.0, abs=6.0)


def test_words_to_a_line_that_lies_on_a_body_stand_beside_it_without_a_hairline() -> None:
    body = disc((320, 180), 30.0)
    line = np.stack([np.linspace(300.0, 340.0, 9), np.full(9, 180.0)], axis=1)
    (placed,) = place_labels([Wish("Knob", line[4], line)], body, [], SIZE, TYPE, body)
    assert placed.leader is None
    left, top, right, bottom = placed.box
    away = [np.hypot(max(left - x, x - right, 0), max(top - y, y - bottom, 0)) for x, y in line]
    assert min(away) < 30.0
    wide = disc((320, 180), 80.0)
    assert place_labels([Wish("Knob", line[4], line)], wide, [], SIZE, TYPE, wide) == []


def test_words_to_a_line_are_joined_to_it_where_it_leaves_the_body() -> None:
    """A line from the middle of a body to far right of it, its words wished for in the middle."""
    body = disc((320, 180), 60.0)
    line = np.stack([np.linspace(320.0, 460.0, 15), np.full(15, 180.0)], axis=1)
    (placed,) = place_labels([Wish("Knob", line[0], line)], body, [], SIZE, TYPE, body)
    assert placed.leader is not None
    assert np.hypot(*(line - placed.leader[1]).T).min() == pytest.approx(0.0)
    assert 380.0 <= placed.leader[1][0] <= 420.0  # the nearest of those that are tried


def test_words_that_could_only_stand_on_the_other_side_of_a_body_are_left_out() -> None:
    """A place beside a wide body, all else taken: words would be read as belonging to the body's other side."""
    body = disc((320, 180), 60.0)
    anchor = np.array([250.0, 180.0])  # off the body, to its left
    wish = [Wish("Knob", anchor)]
    taken = [(0, 0, 640, 150), (0, 210, 640, 360), (0, 150, 240, 210)]
    assert place_labels(wish, body, taken, SIZE, TYPE, body) == []
    assert len(place_labels(wish, body, taken, SIZE, TYPE)) == 1


def test_the_side_on_which_a_hairline_does_not_cross_the_body_is_taken() -> None:
    body = disc((320, 180), 60.0)
    for x, right in ((372.0, True), (268.0, False)):
        placed = place_labels([Wish("Knob", np.array([x, 180.0]))], body, [], SIZE, TYPE, body)[0]
        assert (placed.box[0] > x) == right
        assert not runs_through(placed, (310, 170, 330, 190))


def test_no_hairline_is_longer_than_it_helps() -> None:
    """Only the right edge of a wide picture is free, ten type sizes from an anchor, or eleven."""
    for away, placed in ((9.5, 1), (10.5, 0)):
        wish = [Wish("Knob", np.array([480.0 - (away - 0.35) * TYPE, 180.0]))]
        solid = np.zeros((SIZE[1], SIZE[0]), dtype=bool)
        solid[:, :480] = True
        assert len(place_labels(wish, solid, [], SIZE, TYPE)) == placed
