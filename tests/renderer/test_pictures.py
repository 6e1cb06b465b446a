"""One picture of each kind against a small stored one, so that a change of the look is seen and not slipped in.

`MOCAP_REMAKE_PICTURES=1 python -m pytest tests/renderer/test_pictures.py` makes the stored ones anew (they then have to
be looked at); without it they are only read.

Two measures, both on grey pictures of 480 by 270 or 270 by 480 pixels. The mean absolute difference catches what moved,
vanished or changed its tone; the structural similarity (Wang Z et al. (2004) IEEE Trans Image Process 13:600-612, in
blocks) catches what a mean over an empty picture would hide. Both leave room, as the hinting of type differs between
versions of the font library and the edges of triangles between OpenGL drivers: either moves an edge by a part of a
pixel. The stored still moved by a quarter of a pixel differs by 1.5 grey levels and has a similarity of 0.97, which
passes; moved by a whole one by 6.1 and 0.57, which does not. `test_another_picture_would_not_pass` shows more that
does not.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from mocap.renderer import draw_sheet, draw_still
from mocap.renderer.difference_map import draw_difference_map
from mocap.renderer.stroboscope import draw_stroboscope

STORED = Path(__file__).parent / "pictures"
REMAKE = "MOCAP_REMAKE_PICTURES"

#: Greatest mean absolute difference, of 255 grey levels, and least structural similarity. This project's defaults.
MOST_DIFFERENCE = 2.0
LEAST_SIMILARITY = 0.93

WIDE, TALL = (960, 540), (540, 960)

#: What is drawn of a hitter and, where two are shown, of a sound one beside him.
KINDS: dict[str, Callable[[SimpleNamespace, SimpleNamespace, Path], Path]] = {
    "still": lambda a, _, path: draw_still(a.comparison, a.findings, path, size=WIDE),
    "still_upright": lambda a, _, path: draw_still(a.comparison, a.findings, path, moment="contact", size=TALL),
    "four_views": lambda a, _, path: draw_still(
        a.comparison, a.findings, path, view=("open side", "pitcher", "above", "120,25"), size=WIDE
    ),
    "side_by_side": lambda a, b, path: draw_still(
        a.comparison, a.findings, path, beside=(b.comparison, b.findings), size=WIDE
    ),
    "sheet": lambda a, _, path: draw_sheet(a.comparison, a.findings, path, size=WIDE),
    "difference_map": lambda a, _, path: draw_difference_map(a.comparison, a.findings, path, size=WIDE),
    "stroboscope": lambda a, _, path: draw_stroboscope(a.comparison, a.findings, path, size=WIDE),
}


def small(path: Path) -> Image.Image:
    """A drawn picture at half its size, grey."""
    with Image.open(path) as picture:
        return picture.convert("L").reduce(2)


def difference(one: Image.Image, other: Image.Image) -> float:
    """Mean absolute difference, in grey levels."""
    return float(np.abs(np.asarray(one, dtype=float) - np.asarray(other, dtype=float)).mean())


def similarity(one: Image.Image, other: Image.Image, block: int = 10) -> float:
    """Mean structural similarity over blocks that do not overlap; blocks that are empty in both are left out."""
    pieces = []
    for picture in (one, other):
        grey = np.asarray(picture, dtype=float)
        height, width = (side // block * block for side in grey.shape)
        cut = grey[:height, :width].reshape(height // block, block, width // block, block)
        pieces.append(cut.transpose(0, 2, 1, 3).reshape(-1, block * block))
    a, b = pieces
    drawn = (a.std(axis=1) > 1.0) | (b.std(axis=1) > 1.0)
    a, b = a[drawn], b[drawn]
    mean_a, mean_b, var_a, var_b = a.mean(axis=1), b.mean(axis=1), a.var(axis=1), b.var(axis=1)
    shared = (a * b).mean(axis=1) - mean_a * mean_b
    c1, c2 = (0.01 * 255) ** 2, (0.03 * 255) ** 2  # the paper's constants
    value = (2 * mean_a * mean_b + c1) * (2 * shared + c2) / ((mean_a**2 + mean_b**2 + c1) * (var_a + var_b + c2))
    return float(value.mean())


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_looks_as_it_did(faulty, shown, tmp_path, kind) -> None:
    drawn = small(KINDS[kind](faulty, shown, tmp_path / "drawn.png"))
    stored = STORED / f"{kind}.png"
    if os.environ.get(REMAKE):
        stored.parent.mkdir(exist_ok=True)
        drawn.save(stored, optimize=True)
        pytest.skip(f"{stored.name} was made anew; look at it")
    with Image.open(stored) as picture:
        kept = picture.convert("L")
    assert drawn.size == kept.size
    assert difference(drawn, kept) <= MOST_DIFFERENCE
    assert similarity(drawn, kept) >= LEAST_SIMILARITY


@pytest.mark.usefixtures("can_draw")
def test_another_picture_would_not_pass(faulty, shown, tmp_path) -> None:
    """A sound hitter in the faulty one's place, the guides left out, and the picture three pixels aside."""
    with Image.open(STORED / "still.png") as picture:
        kept = picture.convert("L")
    sound = small(draw_still(shown.comparison, shown.findings, tmp_path / "sound.png", size=WIDE))
    bare = small(draw_still(faulty.comparison, faulty.findings, tmp_path / "bare.png", size=WIDE, guides="none"))
    aside = Image.fromarray(np.roll(np.asarray(kept), 3, axis=1))
    for other in (sound, bare, aside):
        assert difference(other, kept) > MOST_DIFFERENCE or similarity(other, kept) < LEAST_SIMILARITY


def test_the_two_measures_are_what_they_say() -> None:
    grey = np.random.default_rng(2).integers(0, 256, (60, 80)).astype(np.uint8)
    picture = Image.fromarray(grey)
    assert difference(picture, picture) == 0.0
    assert similarity(picture, picture) == pytest.approx(1.0)
    lighter = Image.fromarray((grey // 2 + 60).astype(np.uint8))
    assert difference(picture, lighter) == pytest.approx(float(np.abs(grey - (grey // 2 + 60.0)).mean()))
    assert similarity(picture, Image.fromarray(255 - grey)) < 0.0
