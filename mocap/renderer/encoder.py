"""Pictures to a file that plays everywhere: H.264 in an MP4, or an animated GIF or WebP for a chat.

The encoder works in a process of its own and is fed by a thread, so that the next picture is drawn meanwhile. What
waits between them is bounded, and so is the memory, however long the film.
"""

from __future__ import annotations

import contextlib
import queue
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from types import TracebackType

from mocap.errors import OptionError, RenderError

# High definition is coded with the BT.709 matrix; said in the file, so that every player shows the same colours.
_COLOURS = ["-vf", "scale=out_color_matrix=bt709:out_range=tv", "-colorspace", "bt709"]
_COLOURS += ["-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]
_H264 = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "18", "-pix_fmt", "yuv420p", "-movflags", "+faststart"]

_LOSSLESS = ["-c:v", "libx264rgb", "-preset", "ultrafast", "-qp", "0"]
_WEBP = ["-c:v", "libwebp_anim", "-quality", "82", "-compression_level", "4", "-loop", "0"]

#: For a chat: largest side and rate of a GIF or WebP, so that a swing stays under the 10 MB that most chats carry. This
#: project's defaults. [px], [1/s]
CHAT_SIDE, CHAT_FPS = 640, 15

_CHAT = (".gif", ".webp")
_WAITING = 3  # pictures between the thread that draws and the one that feeds the encoder


def fitting(path: Path, size: tuple[int, int], fps: int) -> tuple[tuple[int, int], int]:
    """Size and rate that a file of that suffix is made in: those asked for, for a chat no more than it carries.

    Parameters
    ----------
    path : Path
        `.mp4`, `.gif` or `.webp`.
    size : tuple of 2 ints
        [px]
    fps : int
        [1/s]

    Raises
    ------
    OptionError
        Another suffix, an odd size, or a rate that cannot be played.
    """
    suffix = path.suffix.lower()
    if suffix not in (".mp4", *_CHAT):
        raise OptionError(f"{path.name}: a film is written as .mp4, .gif or .webp; give one of these names")
    if size[0] % 2 or size[1] % 2 or min(size) < 2:
        raise OptionError(f"size {size[0]}x{size[1]} cannot be encoded; give even numbers, e.g. 1920x1080")
    if not 1 <= fps <= 120:
        raise OptionError(f"{fps} frames a second cannot be played; give 24 to 60")
    if suffix == ".mp4":
        return size, fps
    share = min(CHAT_SIDE / max(size), 1.0)
    width, height = (2 * round(side * share / 2) for side in size)
    return (width, height), min(fps, CHAT_FPS)


class Encoder:
    """Writes RGB pictures of one size to a file, whose suffix says which kind; a context manager.

    Parameters
    ----------
    path : Path
        `.mp4`, `.gif` or `.webp`.
    size : tuple of 2 ints
        Even numbers. [px]
    fps : int
        [1/s]

    Raises
    ------
    RenderError
        No encoder is installed, or it fails.
    """

    def __init__(self, path: Path, size: tuple[int, int], fps: int) -> None:
        self._path = path
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        target, settings = path, [*_H264, "-g", str(max(fps // 2, 1)), *_COLOURS]  # a key frame twice a second
        if path.suffix.lower() == ".webp":
            settings = _WEBP
        elif path.suffix.lower() == ".gif":
            # One palette for the whole film can only be chosen when all of it has been seen.
            self._folder = tempfile.TemporaryDirectory()
            target, settings = Path(self._folder.name) / "film.mkv", _LOSSLESS
        shape = ["-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{size[0]}x{size[1]}", "-r", str(fps), "-i", "-"]
        self._log = tempfile.TemporaryFile()  # noqa: SIM115  # open as long as the process is; a pipe could fill
        try:
            self._process = _start([*shape, "-an", *settings, str(target)], self._log.fileno())
        except BaseException:
            self._tidy()
            raise
        self._waiting: queue.Queue[tuple[bytes, int] | None] = queue.Queue(_WAITING)
        self._stopped = threading.Event()
        self._feeder = threading.Thread(target=self._feed, name="encoder", daemon=True)
        self._feeder.start()

    def write(self, picture: bytes, times: int = 1) -> None:
        """Write one picture's RGB bytes, row by row, as one or more video frames."""
        if self._stopped.is_set():
            raise self._failure()
        self._waiting.put((picture, times))

    def _feed(self) -> None:
        """Pass on what waits; once the encoder is gone, swallow it, so that nobody waits for room."""
        pipe = self._process.stdin
        assert pipe is not None
        while (item := self._waiting.get()) is not None:
            if self._stopped.is_set():
                continue
            try:
                for _ in range(item[1]):
                    pipe.write(item[0])
            except (OSError, ValueError):
                self._stopped.set()

    def _finish(self) -> None:
        """Let the encoder end its file."""
        self._waiting.put(None)
        self._feeder.join()
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        if self._process.wait() or self._stopped.is_set():
            raise self._failure()
        if self._folder is not None:
            self._write_gif(Path(self._folder.name))

    def _write_gif(self, folder: Path) -> None:
        """From the lossless film: one palette for all of it, then the pictures in its colours, looping."""
        film, palette = str(folder / "film.mkv"), str(folder / "palette.png")
        colours = ["-i", film, "-vf", "palettegen=stats_mode=full", "-update", "1", "-frames:v", "1", palette]
        painted = ["-i", film, "-i", palette, "-lavfi", "paletteuse=dither=none:diff_mode=rectangle"]
        for settings in (colours, [*painted, "-loop", "0", str(self._path)]):
            self._process = _start(settings, self._log.fileno(), fed=False)
            if self._process.wait():
                raise self._failure()

    def _failure(self) -> RenderError:
        """What the encoder said last."""
        self._process.wait()
        self._log.seek(0)
        said = self._log.read().decode("utf-8", "replace").strip().splitlines()
        return RenderError(f"the video encoder stopped: {said[-1] if said else 'it gave no reason'}")

    def _abandon(self) -> None:
        """Stop at once; what was written so far is nobody's."""
        self._stopped.set()
        self._process.kill()
        self._waiting.put(None)
        self._feeder.join()
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        self._process.wait()

    def _tidy(self) -> None:
        self._log.close()
        if self._folder is not None:
            self._folder.cleanup()

    def __enter__(self) -> Encoder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._finish()
            else:
                self._abandon()
        except (KeyboardInterrupt, SystemExit):
            self._process.kill()
            self._process.wait()
            raise
        finally:
            self._tidy()


def _start(settings: list[str], log: int, *, fed: bool = True) -> subprocess.Popen[bytes]:
    """The encoder's process; out of reach of the terminal's Ctrl-C, which is ours to act on.

    Raises
    ------
    RenderError
        It does not start.
    """
    import imageio_ffmpeg

    try:
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-y", "-loglevel", "error", "-nostdin", *settings]
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE if fed else subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=log,
            start_new_session=sys.platform != "win32",
        )
    except (OSError, RuntimeError) as error:
        raise RenderError(f"the video encoder does not start ({error}); reinstall imageio-ffmpeg") from error
