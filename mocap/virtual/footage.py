"""Footage: a hitter in his cage as one camera films him, lens and all.

The figure is the product's own, posed exactly at every picture's instant and drawn by the product's own stage through
the camera's lens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.output import replacing
from mocap.renderer.encoder import Encoder
from mocap.renderer.layers import Stage
from mocap.renderer.lens import CameraLens
from mocap.renderer.style import Colour
from mocap.swing import POINTS
from mocap.virtual.cameras import AS_STATED, Clock, duration_of, frame_times, lab_from_hitting
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.motion import Motion
from mocap.virtual.scenery import Backdrop, draw_backdrop
from mocap.virtual.shade import FloorShade

if TYPE_CHECKING:
    from PIL.Image import Image

MeshArray = npt.NDArray[np.float32]

#: What he wears: a plain training kit, alike on both sides. Tones of `mocap.renderer.figure.TONES`.
KIT: MappingProxyType[str, Colour] = MappingProxyType(
    {
        "skin": (0xC6, 0x95, 0x74),
        "shirt": (0x3D, 0x58, 0x7A),
        "front_sleeve": (0x3D, 0x58, 0x7A),
        "back_sleeve": (0x3D, 0x58, 0x7A),
        "belt": (0x26, 0x2C, 0x35),
        "front_leg": (0xDC, 0xDA, 0xD4),
        "back_leg": (0xDC, 0xDA, 0xD4),
        "shoe": (0x22, 0x27, 0x2E),
        "sole": (0xE8, 0xE6, 0xE0),
        "hand": (0x2B, 0x30, 0x38),
        "cap": (0x26, 0x36, 0x4E),
        "bat": (0xD0, 0xA5, 0x6C),
        "grip": (0x22, 0x26, 0x2C),
    }
)
#: Pictures posed at a time, which bounds the memory.
BATCH = 32


class Footage:
    """One camera's pictures of one swing; a context manager.

    Parameters
    ----------
    hitter : VirtualHitter
    camera : Camera
        World axes are the lab's; with a rate.
    lab : Lab
    clock : Clock
        What the camera's file does not say. A rolling shutter is not drawn.

    Attributes
    ----------
    time_s : ndarray, shape (F,)
        When each picture is taken, on the recording's clock. [s]

    Raises
    ------
    OptionError
        The camera has no rate or begins too late, or the hitter cannot be posed.
    RenderError
        This machine cannot draw.
    """

    def __init__(self, hitter: VirtualHitter, camera: Camera, lab: Lab, clock: Clock = AS_STATED) -> None:
        from mocap.renderer.figure import TONES, build_figure

        self.hitter, self.camera = hitter, camera
        self.time_s = frame_times(camera, duration_of(hitter), clock)
        self._motion = Motion.of(hitter)
        self._lab_from_hitting = lab_from_hitting(hitter, lab)
        self._figure = build_figure(self._points(self.time_s), hitter.height_m, bat=True)
        field = self._lab_from_field()
        self.backdrop: Backdrop = draw_backdrop(camera, field)
        self._shade = FloorShade(camera, self.backdrop.floor, field)
        self._stage = Stage()
        self._stage.aim(CameraLens(camera, self._lab_from_hitting, camera.size), (0, 0, *camera.size))
        palette = np.array([KIT[name] for name in TONES], dtype=np.uint8)
        self._body = self._stage.add(self._figure.faces, palette[self._figure.tones], (0x80, 0x80, 0x80))

    @property
    def n_frames(self) -> int:
        """Number of pictures F."""
        return len(self.time_s)

    def lab_points(self, time_s: FloatArray) -> FloatArray:
        """Where `mocap.swing.POINTS` are at times of the recording's clock, lab frame, shape (T, P, 3). [m]"""
        return self._points(time_s) @ self._lab_from_hitting[:3, :3].T + self._lab_from_hitting[:3, 3]

    def pictures(self) -> Iterator[Image]:
        """Every picture in turn, mode RGB."""
        for start in range(0, self.n_frames, BATCH):
            yield from self._drawn(self.time_s[start : start + BATCH])

    def picture(self, frame: int) -> Image:
        """One picture, counted from 0, mode RGB."""
        return next(self._drawn(self.time_s[frame : frame + 1]))

    def close(self) -> None:
        """Give the stage back."""
        self._stage.close()

    def __enter__(self) -> Footage:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def _points(self, time_s: FloatArray) -> FloatArray:
        """In the hitting frame, shape (T, P, 3). [m]"""
        by_name = self._motion.points(time_s + self.hitter.parameters.timing.start)
        return np.stack([by_name[name] for name in POINTS], axis=1)

    def _lab_from_field(self) -> FloatArray:
        """Field axes (origin at the plate's rear tip, never mirrored) to the lab, shape (4, 4)."""
        parameters, transform = self.hitter.parameters, self._lab_from_hitting
        plate = np.array([-parameters.plate_behind_m, -parameters.barrel.plate_line_m, 0.0, 1.0])
        x, z = transform[:3, 0], transform[:3, 2]
        field = np.eye(4)
        field[:3, :3] = np.stack([x, np.cross(z, x), z], axis=1)
        field[:3, 3] = (transform @ plate)[:3]
        return field

    def _drawn(self, time_s: FloatArray) -> Iterator[Image]:
        from PIL import Image as images

        turn, shift = self._lab_from_hitting[:3, :3], self._lab_from_hitting[:3, 3]
        vertices, normals = self._figure.pose(self._points(time_s))
        for places, facing in zip(vertices, normals, strict=True):
            in_lab: FloatArray = places @ turn.T + shift
            picture = images.fromarray(self._shade.over(self.backdrop.picture, in_lab, self._figure.faces))
            layer = self._stage.draw(self._body, places, facing)
            picture.paste(layer.colour, layer.corner, layer.solid)
            yield picture


def render_footage(
    hitter: VirtualHitter,
    camera: Camera,
    lab: Lab,
    path: str | Path,
    *,
    clock: Clock = AS_STATED,
    playback_hz: int = 60,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Film a swing: one video frame for every picture that the camera takes.

    Parameters
    ----------
    hitter : VirtualHitter
    camera : Camera
        World axes are the lab's; with a rate.
    lab : Lab
    path : str or Path
        MP4 to write; an older one is replaced.
    clock : Clock
        The same as for `mocap.virtual.cameras.film_points`, whose frames then are those of the video.
    playback_hz : int
        Video frames a second: half the camera's rate plays at half speed. [Hz]
    progress : callable or None
        Called with pictures drawn and their number in all.

    Returns
    -------
    Path
        Of the file. The same on every run on one machine; encoders differ between machines.

    Raises
    ------
    OptionError
        The camera's size is odd, it has no rate or begins too late, or the hitter cannot be posed.
    RenderError
        This machine cannot draw or encode.
    OutputError
        The file cannot be written.
    """
    if camera.size[0] % 2 or camera.size[1] % 2:
        width, height = camera.size
        raise OptionError(f"camera {camera.name}: {width}x{height} cannot be encoded; give even numbers")
    if playback_hz < 1:
        raise OptionError(f"{playback_hz} frames a second cannot be played; give 24 to 60")
    with (
        replacing(target := Path(path)) as temporary,
        Footage(hitter, camera, lab, clock) as footage,
        Encoder(temporary, camera.size, playback_hz) as encoder,
    ):
        for number, picture in enumerate(footage.pictures(), start=1):
            encoder.write(picture.tobytes())
            if progress is not None:
                progress(number, footage.n_frames)
    return target
