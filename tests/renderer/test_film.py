"""The film: as many frames, as large and as slow as promised; nothing left behind when it is stopped."""

from __future__ import annotations

import re
import subprocess
from itertools import combinations
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest

from mocap.errors import OptionError, OutputError
from mocap.renderer import draw_film
from mocap.renderer.film import Film, slower_words
from mocap.renderer.page import overlap

SIZE = (640, 360)


def read_back(path: Path) -> tuple[np.ndarray, str]:
    """Every video frame, shape (N, H, W, 3), and what the decoder says about the file."""
    decoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    done = subprocess.run(decoder, capture_output=True, check=True)
    return np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, SIZE[1], SIZE[0], 3), done.stderr.decode()


@pytest.mark.usefixtures("can_draw")
def test_the_film_has_the_promised_frames_size_rate_and_format(shown, tmp_path) -> None:
    calls: list[tuple[int, int]] = []
    path = draw_film(
        shown.comparison,
        shown.findings,
        tmp_path / "overlay.mp4",
        size=SIZE,
        progress=lambda done, total: calls.append((done, total)),
    )
    swing = shown.comparison.swing
    kept = set(range(0, swing.n_frames, 2))  # 240 Hz: every second frame
    holds = 2 * 21  # 0.7 s at plant and at contact, 30 frames a second
    expected = len(kept) + holds
    frames, about = read_back(path)
    assert len(frames) == expected
    assert re.search(r"Video: h264.*yuv420p\(tv, bt709.*640x360.*\b30 fps", about)
    hours, minutes, seconds = re.search(r"Duration: (\d+):(\d+):([\d.]+)", about).groups()
    assert float(seconds) + 60 * int(minutes) + 3600 * int(hours) == pytest.approx(expected / 30, abs=0.05)
    assert calls[-1] == (expected, expected)
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})
    content = path.read_bytes()
    assert content.find(b"moov") < content.find(b"mdat")  # plays before it is loaded
    still, moving = (np.abs(frames[i].astype(int) - frames[i + 1].astype(int)).mean() for i in _pairs(shown))
    assert still < 0.2 < moving
    assert [file.name for file in tmp_path.iterdir()] == ["overlay.mp4"]


def _pairs(shown) -> tuple[int, int]:
    """Number of a video frame inside the hold at plant, and of one in the middle of the turn."""
    swing = shown.comparison.swing
    return swing.index("plant") // 2 + 10, swing.index("plant") // 2 + 21 + 8


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_a_film_that_is_stopped_leaves_the_older_one_and_no_half(shown, tmp_path, error) -> None:
    target = tmp_path / "overlay.mp4"
    target.write_bytes(b"older")

    def stop(done: int, _: int) -> None:
        if done > 3:
            raise error

    with pytest.raises(error):
        draw_film(shown.comparison, shown.findings, target, size=SIZE, progress=stop)
    assert [file.name for file in tmp_path.iterdir()] == ["overlay.mp4"]
    assert target.read_bytes() == b"older"


def test_a_folder_that_is_not_there_and_an_odd_size_are_refused(shown, tmp_path) -> None:
    with pytest.raises(OutputError, match="nowhere"):
        draw_film(shown.comparison, shown.findings, tmp_path / "nowhere" / "a.mp4", size=SIZE)
    with pytest.raises(OptionError, match="641x360"):
        draw_film(shown.comparison, shown.findings, tmp_path / "a.mp4", size=(641, 360))


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (1080, 1080)])
def test_type_stays_inside_and_apart_through_the_film(shown, size) -> None:
    film = Film(shown.scene, size, 30)
    for shot in film.shots[::7] + [shot for shot in film.shots if shot.held]:
        boxes = [film.header(shot).box, film.footer.box, *(label.box for label in film.timeline.labels)]
        if film.weight in film.guides_in(shot):
            boxes += [label.box for label in film.bar_labels(shot)]
        for left, top, right, bottom in boxes:
            assert 0 <= left < right <= size[0]
            assert 0 <= top < bottom <= size[1]
        for one, other in combinations(boxes, 2):
            assert not overlap(one, other)


def test_plant_and_contact_are_held_on_their_own_frames(shown) -> None:
    film = Film(shown.scene, (1920, 1080), 30)
    held = {shot.held: (shot.frame, shot.times) for shot in film.shots if shot.held}
    swing = shown.comparison.swing
    assert held == {"plant": (swing.index("plant"), 21), "contact": (swing.index("contact"), 21)}
    said = " ".join(label.words for shot in film.shots if shot.held == "plant" for label in film.header(shot).labels)
    assert "on the back foot" in said.replace("\N{NO-BREAK SPACE}", " ")


def test_the_film_says_how_slow_it_is(shown) -> None:
    film = Film(shown.scene, (1920, 1080), 30)
    assert film.slower == pytest.approx(240 / 2 / 30)
    assert "4 times slower than real time" in [label.words for label in film.header(film.shots[0]).labels]
    assert slower_words(1.0) == "real time"
    assert slower_words(0.5) == "2 times faster than real time"
