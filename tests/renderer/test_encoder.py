"""Encoded files, read back by other libraries."""

from __future__ import annotations

import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from mocap.errors import OptionError, RenderError
from mocap.renderer.encoder import CHAT_SIDE, Encoder, fitting

SIZE = (64, 48)
COLOURS = [(239, 238, 234), (187, 85, 102), (0, 68, 136), (221, 170, 51)]


def flat(colour: tuple[int, int, int]) -> bytes:
    return Image.new("RGB", SIZE, colour).tobytes()


def write(path: Path, fps: int = 15) -> Path:
    with Encoder(path, SIZE, fps) as encoder:
        for place, colour in enumerate(COLOURS):
            encoder.write(flat(colour), 3 if place == 1 else 1)
    return path


@pytest.mark.parametrize("suffix", [".gif", ".webp"])
def test_a_chat_picture_moves_loops_and_keeps_its_colours(tmp_path, suffix) -> None:
    path = write(tmp_path / f"film{suffix}")
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    time_ms, seen = 0.0, []
    with Image.open(path) as film:
        assert film.size == SIZE
        assert film.info["loop"] == 0
        for frame in range(film.n_frames):
            film.seek(frame)
            seen.append(np.asarray(film.convert("RGB"), dtype=int)[20, 30])
            time_ms += film.info["duration"]
    # Alike frames may be stored as one that stays; together they last as long as they should.
    assert time_ms == pytest.approx(1000.0 * 6 / 15, abs=30.0)
    firsts = [seen[0], *(b for a, b in pairwise(seen) if np.abs(a - b).max() > 12)]
    assert np.abs(np.array(firsts) - COLOURS).max() <= 8


def test_a_gif_has_one_palette(tmp_path) -> None:
    content = write(tmp_path / "film.gif").read_bytes()
    assert content[10] & 0x80  # a global colour table
    # GIF89a, section 20: image descriptors (0x2C, place and size, then a byte whose top bit means a table of its own).
    place, own = 13 + 3 * 2 ** ((content[10] & 7) + 1), []
    while content[place] != 0x3B:
        if content[place] == 0x2C:
            own.append(content[place + 9] & 0x80)
            place += 11
        else:
            place += 2
        while content[place]:
            place += content[place] + 1
        place += 1
    assert own
    assert not any(own)


def test_a_video_is_read_back_as_it_was_written(tmp_path) -> None:
    path = write(tmp_path / "film.mp4", fps=25)
    decoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    done = subprocess.run(decoder, capture_output=True, check=True)
    assert re.search(r"Video: h264.*yuv420p\(tv, bt709.*64x48.*\b25 fps", done.stderr.decode())
    frames = np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, SIZE[1], SIZE[0], 3).astype(int)
    assert len(frames) == 6
    shown = [COLOURS[i] for i in (0, 1, 1, 1, 2, 3)]
    assert max(np.abs(frame[20, 30] - colour).max() for frame, colour in zip(frames, shown, strict=True)) <= 6
    content = path.read_bytes()
    assert content.find(b"moov") < content.find(b"mdat")  # plays before it is loaded


def test_a_file_that_cannot_be_written_is_said_in_one_line(tmp_path) -> None:
    with pytest.raises(RenderError, match=r"^the video encoder stopped: [^\n]+$"):
        write(tmp_path / "nowhere" / "film.mp4")


def write_after_its_death(encoder: Encoder) -> None:
    encoder._process.kill()
    encoder._process.wait()
    for _ in range(500):
        encoder.write(flat(COLOURS[0]))


def test_an_encoder_that_dies_stops_the_film(tmp_path) -> None:
    with (
        pytest.raises(RenderError, match="the video encoder stopped"),
        Encoder(tmp_path / "a.mp4", SIZE, 30) as encoder,
    ):
        write_after_its_death(encoder)


def test_leaving_early_stops_the_process(tmp_path) -> None:
    encoder = Encoder(tmp_path / "a.mp4", SIZE, 30)
    encoder.write(flat(COLOURS[0]))
    encoder.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert encoder._process.poll() is not None
    assert not encoder._feeder.is_alive()


@pytest.mark.skipif(sys.platform == "win32", reason="no executable bits there")
def test_a_machine_without_an_encoder_is_told_so(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("imageio_ffmpeg.get_ffmpeg_exe", lambda: str(tmp_path / "missing"))
    with pytest.raises(RenderError, match="reinstall imageio-ffmpeg"):
        Encoder(tmp_path / "a.mp4", SIZE, 30)


def test_sizes_and_rates() -> None:
    assert fitting(Path("a.mp4"), (3840, 2160), 60) == ((3840, 2160), 60)
    assert fitting(Path("a.gif"), (1920, 1080), 30) == ((CHAT_SIDE, 360), 15)
    assert fitting(Path("a.webp"), (1080, 1920), 10) == ((360, CHAT_SIDE), 10)
    assert fitting(Path("a.GIF"), (320, 180), 30) == ((320, 180), 15)
    for path, size, fps, words in (
        ("a.avi", (64, 48), 30, "mp4, .gif or .webp"),
        ("a.mp4", (641, 360), 30, "641x360"),
        ("a.mp4", (0, 0), 30, "0x0"),
        ("a.mp4", (64, 48), 0, "0 frames a second"),
    ):
        with pytest.raises(OptionError, match=words):
            fitting(Path(path), size, fps)
