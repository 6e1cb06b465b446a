"""Video files, picture by picture: upright as they were filmed, every picture once, whatever clock the file has.

The file's own rate counts for nothing here: slow-motion clips play slower than the camera filmed, so frames are counted
and the camera's rate is asked for. Decoding is done by ffmpeg in a process of its own.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.errors import InputError, RenderError

if TYPE_CHECKING:
    from PIL.Image import Image

#: Times between two pictures of a file that differ by more than this share of the usual make its rate variable; less is
#: the rounding of its clock. This project's default.
UNEVEN = 0.25


@dataclass(frozen=True)
class Video:
    """A video file, looked at but not decoded.

    Attributes
    ----------
    path : Path
    size : tuple of 2 ints
        Width and height of its pictures, upright: a phone's note on how it was held is respected. [px]
    n_frames : int
        Pictures in it.
    playback_hz : float
        Pictures a second as the file plays, the mean where they vary; of a slow-motion clip not the camera's. [Hz]
    uneven : bool
        Whether its pictures do not follow each other evenly (a variable frame rate).
    """

    path: Path
    size: tuple[int, int]
    n_frames: int
    playback_hz: float
    uneven: bool

    @contextmanager
    def pictures(self, frames: range) -> Iterator[Iterator[Image]]:
        """Decode pictures one after another, mode RGB; memory holds one of them.

        Parameters
        ----------
        frames : range
            Which, counted from 0, step 1.

        Raises
        ------
        InputError
            While they are read: the file ends or breaks before the last of them.
        """
        chosen = f"select='between(n,{frames.start},{frames.stop - 1})'"
        settings = ["-map", "0:V:0", "-vf", chosen, "-fps_mode", "passthrough"]
        settings += ["-frames:v", str(len(frames)), "-f", "rawvideo", "-pix_fmt", "rgb24", "pipe:1"]
        with subprocess.Popen(
            [*_decoder(self.path, "error"), *settings],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=sys.platform != "win32",  # a Ctrl-C is ours to act on
        ) as process:
            try:
                yield self._read(process, frames)
            finally:
                process.kill()

    def _read(self, process: subprocess.Popen[bytes], frames: range) -> Iterator[Image]:
        from PIL import Image as images

        assert process.stdout is not None
        width, height = self.size
        for frame in frames:
            content = process.stdout.read(width * height * 3)
            if len(content) < width * height * 3:
                raise InputError(f"{self.path}: cannot be decoded beyond frame {frame - 1}; copy or export it again")
            yield images.frombuffer("RGB", self.size, content, "raw", "RGB", 0, 1)


def open_video(path: str | Path) -> Video:
    """Look at a video file: size, number of pictures, clock.

    Parameters
    ----------
    path : str or Path
        Whatever ffmpeg reads: MP4, MOV, MKV, AVI and so on.

    Returns
    -------
    Video

    Raises
    ------
    InputError
        There is no such file, or no video in it.
    RenderError
        No decoder is installed.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: no such video file")
    # The packets' times, without decoding; and one decoded picture, which says how large they are when upright.
    settings = ["-map", "0:V:0", "-c", "copy", "-f", "framecrc", "pipe:1", "-map", "0:V:0", "-frames:v", "1"]
    try:
        done = subprocess.run([*_decoder(path, "info"), *settings, "-f", "null", "-"], capture_output=True, check=False)
    except OSError as error:
        raise RenderError(f"the video decoder does not start ({error}); reinstall imageio-ffmpeg") from error
    size = _decoded_size(done.stderr.decode("utf-8", "replace"))
    times = _packet_times(done.stdout.decode("ascii", "replace"))
    if size is None or not len(times):
        raise InputError(f"{path}: holds no video that can be read; give an MP4 or MOV file")
    steps = np.diff(times)
    usual = float(np.median(steps)) if len(steps) else 0.0
    mean = float(steps.mean()) if len(steps) else 0.0
    return Video(
        path,
        size,
        len(times),
        1.0 / mean if mean > 0.0 else 0.0,
        bool((np.abs(steps - usual) > UNEVEN * usual).any()),
    )


def _decoder(path: Path, level: str) -> list[str]:
    """Command that reads a file; a path that begins with a dash or holds a colon is still a file."""
    import imageio_ffmpeg

    try:
        program = imageio_ffmpeg.get_ffmpeg_exe()
    except RuntimeError as error:
        raise RenderError(f"no video decoder is installed ({error}); reinstall imageio-ffmpeg") from error
    return [program, "-hide_banner", "-nostdin", "-loglevel", level, "-i", f"file:{path}"]


def _decoded_size(told: str) -> tuple[int, int] | None:
    """Size of the decoded picture, from what ffmpeg tells about its second output."""
    found = re.search(r"Stream #1:0.*? Video: .*?, (\d+)x(\d+)", told)
    return (int(found[1]), int(found[2])) if found else None


def _packet_times(table: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """When each picture is shown, rising, from ffmpeg's table of packets; those cut off by an edit list left out. [s]

    Its lines: `#tb 0: 1/15360`, then `stream, decoding time, showing time, length, size, checksum[, ...]`.
    """
    base = re.search(r"^#tb 0: (\d+)/(\d+)", table, re.MULTILINE)
    if base is None:
        return np.zeros(0)
    ticks = [int(found) for found in re.findall(r"^0,\s*-?\d+,\s*(-?\d+),", table, re.MULTILINE)]
    shown = np.sort(np.array([tick for tick in ticks if tick >= 0], dtype=np.float64))
    return shown * int(base[1]) / int(base[2])
