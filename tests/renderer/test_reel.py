"""The reel: hitters one after another, each after his card, in as much memory as one of them takes."""

from __future__ import annotations

import gc
import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import imageio_ffmpeg
import pytest

from mocap.errors import OptionError
from mocap.renderer.film import Film, FilmSetup
from mocap.renderer.page import overlap
from mocap.renderer.reel import draw_reel
from mocap.renderer.scene import Scene
from mocap.renderer.tempo import Tempo, frame_count
from mocap.renderer.title_card import Card

BRIEF = {"size": (480, 270), "fps": 5, "speed": 0.5, "hold_s": 0.4}


@pytest.mark.usefixtures("can_draw")
def test_a_reel_is_its_title_and_each_hitters_card_and_film(shown, tmp_path) -> None:
    calls: list[tuple[int, int]] = []
    pair = (shown.comparison, shown.findings)
    path = draw_reel(
        [pair, pair], tmp_path / "reel.mp4", title="Tuesday", progress=lambda *now: calls.append(now), **BRIEF
    )
    one = frame_count(Film(pair, FilmSetup((480, 270), 5, tempo=Tempo(0.5, hold_s=0.4))).shots)
    expected = 12 + 2 * (6 + one)  # 2.5 s of title, 1.2 s of each name
    decoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path), "-f", "framecrc", "-c", "copy", "-"]
    said = subprocess.run(decoder, capture_output=True, check=True)
    assert len(re.findall(rb"^0,", said.stdout, re.MULTILINE)) == expected
    assert {total for _, total in calls} == {expected}
    assert calls[-1][0] == expected
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})


def _resident_mb() -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024.0


@pytest.mark.usefixtures("can_draw")
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_memory_does_not_grow_with_the_number_of_hitters(shown, tmp_path) -> None:
    resident: list[float] = []
    scenes: list[int] = []

    def hitters():
        for _ in range(8):
            gc.collect()
            resident.append(_resident_mb())
            scenes.append(sum(isinstance(thing, Scene) for thing in gc.get_objects()))
            yield shown.comparison, shown.findings

    draw_reel(hitters(), tmp_path / "reel.mp4", **BRIEF)
    assert set(scenes) == {scenes[0]}  # the one before is let go before the next is asked for
    # One hitter's scene, window and batch of poses take some 100 MB here; from the second on nothing may be added.
    assert max(resident[3:]) - resident[2] < 40.0


def test_a_reel_of_nobody_is_refused_and_leaves_nothing(tmp_path) -> None:
    with pytest.raises(OptionError, match="no swing to show"):
        draw_reel([], tmp_path / "reel.mp4", **BRIEF)
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("can_draw")
def test_an_error_in_a_later_hitter_leaves_nothing(shown, tmp_path) -> None:
    def hitters():
        yield shown.comparison, shown.findings
        raise OptionError("the second one cannot be read")

    with pytest.raises(OptionError, match="second one"):
        draw_reel(hitters(), tmp_path / "reel.mp4", **BRIEF)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (1080, 1080), (320, 180)])
@pytest.mark.parametrize(
    "title",
    ["Rook", "Player meeting\nMain field\n28 November 2026", "A very long name of a meeting of many hitters " * 3],
)
def test_type_on_cards_stays_inside_and_apart(size, title) -> None:
    card = Card(size, title)
    assert card.labels
    left, top, right, bottom = card.box
    assert left >= 0.05 * size[0]
    assert right <= 0.95 * size[0]
    assert top >= 0
    assert bottom <= size[1]
    boxes = [label.box for label in card.labels]
    # Lines follow each other; a box's edges are rounded outward to whole pixels.
    assert all(not overlap(a, (b[0], b[1] + 1, b[2], b[3])) for a, b in pairwise(boxes))


def test_a_name_card_says_who_follows(shown) -> None:
    from mocap.renderer.reel import _name_card

    hitter = replace(shown.findings.hitter, name="Rook")
    words = [label.words for label in _name_card((1280, 720), replace(shown.findings, hitter=hitter), "metric").labels]
    assert words[0] == "Rook"
    assert "1.80" in words[1]
