"""Videos: every picture once, upright, of any size and clock; what is no video is named."""

from __future__ import annotations

import subprocess
import wave
from collections.abc import Callable
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest

from mocap.errors import InputError
from mocap.renderer.video import open_video

COUNT = 24
Maker = Callable[..., Path]


def level(frame: int) -> int:
    """Grey that tells a picture's number."""
    return 20 + 9 * frame


def ffmpeg(*settings: str | Path, feed: bytes | None = None) -> None:
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-y", "-v", "error", *map(str, settings)]
    subprocess.run(command, input=feed, check=True)


@pytest.fixture
def numbered(tmp_path: Path) -> Maker:
    """A video whose pictures carry their number as brightness, their left quarter white."""

    def make(name: str = "clip.mp4", size: tuple[int, int] = (64, 48), codec: tuple[str, ...] = ("libx264",)) -> Path:
        pictures = np.empty((COUNT, size[1], size[0], 3), dtype=np.uint8)
        pictures[:] = np.array([level(frame) for frame in range(COUNT)])[:, None, None, None]
        pictures[:, :, : size[0] // 4] = 255
        shape = f"{size[0]}x{size[1]}"
        raw = ("-f", "rawvideo", "-pix_fmt", "rgb24", "-s", shape, "-r", "30", "-i", "-", "-c:v", *codec)
        ffmpeg(*raw, tmp_path / name, feed=pictures.tobytes())
        return tmp_path / name

    return make


H264 = ("libx264", "-crf", "8", "-pix_fmt", "yuv420p", "-bf", "3")


def test_a_video_is_looked_at_and_its_pictures_come_in_order(numbered: Maker) -> None:
    video = open_video(numbered("-a clip.mp4", codec=H264))
    assert (video.size, video.n_frames, video.uneven) == ((64, 48), COUNT, False)
    assert video.playback_hz == pytest.approx(30.0, rel=1e-3)
    with video.pictures(range(5, 12)) as pictures:
        shown = [np.asarray(picture) for picture in pictures]
    assert [picture.shape for picture in shown] == [(48, 64, 3)] * 7
    for frame, picture in enumerate(shown, start=5):
        assert abs(float(picture[:, 24:].mean()) - level(frame)) < 3.0


def test_a_phone_held_upright_gives_upright_pictures(numbered: Maker, tmp_path: Path) -> None:
    """Turned by the file's note a quarter to the left, what was left is at the bottom."""
    ffmpeg("-display_rotation", "90", "-i", numbered(codec=H264), "-c", "copy", tmp_path / "upright.mp4")
    video = open_video(tmp_path / "upright.mp4")
    assert (video.size, video.n_frames) == ((48, 64), COUNT)
    with video.pictures(range(1)) as pictures:
        picture = np.asarray(next(pictures))
    assert picture.shape == (64, 48, 3)
    assert picture[-8:].mean() > 240
    assert picture[:40].mean() < 40


def test_odd_sizes_are_read(numbered: Maker) -> None:
    video = open_video(numbered("odd.mkv", (65, 49), ("ffv1", "-pix_fmt", "bgr0")))
    with video.pictures(range(20, 22)) as pictures:
        first, second = (np.asarray(picture) for picture in pictures)
    assert video.size == (65, 49)
    assert first.shape == (49, 65, 3)
    assert (first[:, 20:] == level(20)).all()
    assert (second[:, 20:] == level(21)).all()


def test_a_variable_rate_is_noticed_and_each_picture_counted_once(numbered: Maker, tmp_path: Path) -> None:
    chosen = ("-vf", "select='not(eq(mod(n,5),3))'", "-fps_mode", "vfr")
    ffmpeg("-i", numbered(codec=H264), *chosen, "-c:v", "libx264", tmp_path / "uneven.mp4")
    video = open_video(tmp_path / "uneven.mp4")
    kept = [frame for frame in range(COUNT) if frame % 5 != 3]
    assert (video.n_frames, video.uneven) == (len(kept), True)
    with video.pictures(range(video.n_frames)) as pictures:
        levels = [float(np.asarray(picture)[:, 24:].mean()) for picture in pictures]
    assert np.abs(np.array(levels) - [level(frame) for frame in kept]).max() < 4.0


def test_what_is_no_video_is_named(tmp_path: Path) -> None:
    text, sound = tmp_path / "notes.mp4", tmp_path / "sound.wav"
    text.write_text("no video", encoding="utf-8")
    with wave.open(str(sound), "wb") as file:
        file.setparams((1, 2, 8000, 0, "NONE", ""))
        file.writeframes(bytes(1600))
    for path, message in ((text, "no video"), (sound, "no video"), (tmp_path / "gone.mp4", "no such video file")):
        with pytest.raises(InputError, match=message) as raised:
            open_video(path)
        assert str(raised.value).startswith(str(path))
        assert "\n" not in str(raised.value)


def test_a_video_that_ends_early_says_where(numbered: Maker) -> None:
    video = open_video(numbered(codec=H264))
    with video.pictures(range(20, 40)) as pictures, pytest.raises(InputError, match=f"beyond frame {COUNT - 1}"):
        list(pictures)


def test_reading_can_be_left_at_any_time(numbered: Maker) -> None:
    video = open_video(numbered(size=(640, 480), codec=H264))
    with video.pictures(range(COUNT)) as pictures:
        next(pictures)
    with video.pictures(range(COUNT)) as pictures:
        assert len(list(pictures)) == COUNT
