"""Type that can be read on a phone: every line that any picture draws, as it is drawn.

On a phone held upright a picture is 390 points wide. Eight points is about the smallest type of printed matter that is
still read at arm's length (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

from mocap.renderer import draw_sheet, draw_still, text
from mocap.renderer.difference_map import draw_difference_map
from mocap.renderer.film import Film, FilmSetup, views_of
from mocap.renderer.film_page import MOST_LINES, FilmPage, fitted_headline
from mocap.renderer.stroboscope import draw_stroboscope
from mocap.renderer.style import type_sizes
from mocap.renderer.tempo import Tempo
from mocap.renderer.text import wrap
from mocap.renderer.title_card import Card

PHONE, LEAST = 390, 8.0
FOUR = ("open side", "pitcher", "above", "120,25")
WIDE, TALL, SQUARE, SMALL = (1920, 1080), (1080, 1920), (1080, 1080), (640, 360)


@dataclass(frozen=True)
class Request:
    one: tuple
    other: tuple
    size: tuple[int, int]
    path: Path


#: Every kind of picture, drawn of a hitter, and of another where two are shown.
PICTURES: dict[str, Callable[[Request], object]] = {
    "still": lambda of: draw_still(*of.one, of.path, size=of.size),
    "all guides": lambda of: draw_still(*of.one, of.path, moment="contact", guides="all", size=of.size),
    "four views": lambda of: draw_still(*of.one, of.path, view=FOUR, size=of.size),
    "side by side": lambda of: draw_still(*of.one, of.path, beside=of.other, size=of.size),
    "sheet": lambda of: draw_sheet(*of.one, of.path, size=of.size),
    "difference": lambda of: draw_difference_map(*of.one, of.path, size=of.size),
    "stroboscope": lambda of: draw_stroboscope(*of.one, of.path, size=of.size),
    "film": lambda of: held_picture(of.one, of.size),
    "film, all guides": lambda of: held_picture(of.one, of.size, guides="all"),
    "film, four views": lambda of: held_picture(of.one, of.size, view=FOUR),
    "film, two swings": lambda of: held_picture(of.one, of.size, beside=of.other),
    "card": lambda of: Card(of.size, "Rook\n1.84 m, bats right").draw(),
}


def held_picture(shown, size, guides="usual", view="open side", beside=None) -> None:
    """Draw the first picture in which a film stands still."""
    views = views_of(view, beside=beside is not None)
    film = Film(shown, FilmSetup(size, views=views, guides=guides, tempo=Tempo(speed=8.0)), beside)
    with closing(film.pictures()) as pictures:
        for shot, _ in zip(film.shots, pictures, strict=False):
            if shot.held:
                break


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[SimpleNamespace]:
    """Every line of type from now on, at the place where all type is drawn."""
    lines: list[SimpleNamespace] = []
    mask = text._mask

    def recorded(words, size, weight, shift):
        lines.append(SimpleNamespace(words=words, size=size))
        return mask(words, size, weight, shift)

    monkeypatch.setattr(text, "_mask", recorded)
    return lines


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, SMALL])
@pytest.mark.parametrize("kind", PICTURES)
def test_no_type_is_smaller_than_a_phone_asks_for(faulty, shown, tmp_path, drawn, kind, size) -> None:
    one, other = ((of.comparison, of.findings) for of in (faulty, shown))
    PICTURES[kind](Request(one, other, size, tmp_path / "drawn.png"))
    assert len(drawn) >= (2 if kind == "card" else 6)
    small = {line.words: line.size * PHONE / size[0] for line in drawn if line.size * PHONE / size[0] < LEAST}
    assert small == {}


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1440, 1080), (3840, 2160), (390, 844), (1280, 720)])
def test_the_sizes_grow_with_the_picture(size) -> None:
    sizes = type_sizes(size)
    assert sizes.small * PHONE / size[0] >= LEAST
    assert sizes.small <= sizes.body <= sizes.value < sizes.headline
    double = type_sizes((2 * size[0], 2 * size[1]))
    assert double.small == pytest.approx(2 * sizes.small, abs=2)


def test_a_strip_as_wide_as_a_wall_has_type_by_its_height() -> None:
    assert type_sizes((3840, 1080)).small == type_sizes((1920, 1080)).small


LONG = (
    "After landing the body still goes 13 ± 1 % of the standing height toward the pitcher, the head leads the hips, "
    "and nothing of what was gained in the stride is left for the turn, which begins late and ends before the barrel "
    "is anywhere near the line of the pitch"
)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
def test_a_films_headline_takes_four_lines_at_most_and_ends_between_words(size) -> None:
    page = FilmPage(size)
    fitted, words = fitted_headline(LONG, page.column, page.type)
    assert len(wrap(words, page.column, fitted, "SemiBold")) <= MOST_LINES + 1
    assert words.endswith("\N{HORIZONTAL ELLIPSIS}")
    assert LONG.startswith(words[:-1])
    assert re.match(r"\W", LONG[len(words) - 1 :])  # no word is cut
    assert fitted_headline("55 ± 2 % of the weight", page.column, page.type) == (
        page.type.headline,
        "55 ± 2 % of the weight",
    )
