"""Pictures to an MP4 that plays everywhere: H.264, yuv420p, index at the front, in the encoder's own process."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from types import TracebackType
from typing import Any

from mocap.errors import RenderError

# High definition is coded with the BT.709 matrix; said in the file, so that every player shows the same colours.
_COLOURS = ["-vf", "scale=out_color_matrix=bt709:out_range=tv", "-colorspace", "bt709"]
_COLOURS += ["-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]
_SETTINGS = ["-preset", "veryfast", "-crf", "18", "-movflags", "+faststart"]


class Encoder:
    """Writes RGB pictures of one size to an MP4; a context manager.

    Parameters
    ----------
    path : Path
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
        import imageio_ffmpeg

        # A key frame twice a second, so that a coach can step to and fro.
        settings = [*_SETTINGS, "-g", str(max(fps // 2, 1)), *_COLOURS]
        try:
            self._pipe: Generator[None, Any, None] = imageio_ffmpeg.write_frames(
                str(path),
                size,
                fps=fps,
                codec="libx264",
                pix_fmt_in="rgb24",
                pix_fmt_out="yuv420p",
                macro_block_size=2,
                quality=None,
                ffmpeg_log_level="error",
                output_params=settings,
            )
            self._pipe.send(None)
        except (OSError, RuntimeError) as error:
            raise RenderError(f"the video encoder does not start ({error}); reinstall imageio-ffmpeg") from error

    def write(self, picture: bytes, times: int = 1) -> None:
        """Write one picture's RGB bytes, row by row, as one or more video frames."""
        try:
            for _ in range(times):
                self._pipe.send(picture)
        except OSError as error:
            raise RenderError(f"the video encoder stopped: {str(error).strip().splitlines()[-1]}") from error

    def __enter__(self) -> Encoder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._pipe.close()
