"""What a picture is seen through: where a point of the hitting frame lands, and how far away it is.

Everything drawn goes through one of these, bodies and guides alike: an orthographic `mocap.renderer.view.Framing`, or a
real camera with its perspective and its lens.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray

if TYPE_CHECKING:
    from mocap.importer.camera import Camera

Box = tuple[int, int, int, int]  # left, top, right, bottom [px]

#: Nearer than this nothing is seen. [m]
NEAREST_M = 0.3


class Lens(ABC):
    """Takes points of the hitting frame to a picture.

    Attributes
    ----------
    size : tuple of 2 ints
        Width and height of the picture; pixel (0, 0) covers 0 to 1. [px]
    """

    size: tuple[int, int]

    @abstractmethod
    def project(self, points: npt.ArrayLike) -> FloatArray:
        """Where points, shape (..., 3) [m], land: x to the right, y downward, shape (..., 2). [px]"""

    @abstractmethod
    def depth(self, points: npt.ArrayLike) -> FloatArray:
        """How far away points, shape (..., 3) [m], are: 0 near to 1 far, straight over a flat face, shape (...). [-]"""

    @property
    @abstractmethod
    def axes(self) -> FloatArray:
        """Unit vectors to the picture's right, upward and toward the viewer, shape (3, 3), one a row. [-]"""

    @property
    @abstractmethod
    def flipped(self) -> bool:
        """Whether the picture shows the hitting frame's mirror image, so that triangles turn the other way round."""

    def extent(self, points: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Smallest and greatest x and y of the points that are there, each shape (2,). [px]"""
        pixels = self.project(points).reshape(-1, 2)
        return np.nanmin(pixels, axis=0), np.nanmax(pixels, axis=0)

    def box_around(self, points: npt.ArrayLike, margin: float) -> Box:
        """Smallest whole-pixel box around points, widened by a margin and cut at the picture's edge. [px]"""
        low, high = self.extent(points)
        width, height = self.size
        return (
            int(np.clip(np.floor(low[0] - margin), 0, width - 2)),
            int(np.clip(np.floor(low[1] - margin), 0, height - 2)),
            int(np.clip(np.ceil(high[0] + margin), 2, width)),
            int(np.clip(np.ceil(high[1] + margin), 2, height)),
        )


@dataclass(frozen=True)
class CameraLens(Lens):
    """A calibrated camera, distortion included; its picture may be shown smaller or larger, or a part of it.

    Attributes
    ----------
    camera : Camera
    lab_from_hitting : ndarray, shape (4, 4)
        As `mocap.swing.Swing.lab_from_hitting`; the camera's world is the lab.
    size : tuple of 2 ints
        Of the picture shown. [px]
    scale : float
        Pixels shown per camera pixel.
    corner : tuple of 2 floats
        Where the camera picture's upper left corner lies in the picture shown. [px]
    """

    camera: Camera
    lab_from_hitting: FloatArray
    size: tuple[int, int]
    scale: float = 1.0
    corner: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def filling(cls, camera: Camera, lab_from_hitting: FloatArray, size: tuple[int, int]) -> CameraLens:
        """The camera's whole picture as large as it fits into a size, in its middle."""
        scale = min(size[0] / camera.size[0], size[1] / camera.size[1])
        corner = ((size[0] - scale * camera.size[0]) / 2.0, (size[1] - scale * camera.size[1]) / 2.0)
        return cls(camera, lab_from_hitting, size, scale, corner)

    def project(self, points: npt.ArrayLike) -> FloatArray:
        """See `Lens.project`; NaN behind the camera. A camera counts from a pixel's middle, a picture from its edge."""
        return (self.camera.project(self._in_lab(points)) + 0.5) * self.scale + np.asarray(self.corner)

    def depth(self, points: npt.ArrayLike) -> FloatArray:
        """See `Lens.depth`: the distance's inverse, which is straight over a flat face in perspective."""
        distance = self.camera.in_camera(self._in_lab(points))[..., 2]
        return 1.0 - NEAREST_M / np.where(distance > NEAREST_M, distance, np.nan)

    @property
    def axes(self) -> FloatArray:
        """See `Lens.axes`."""
        right, down, away = self.camera.rotation
        return np.stack([right, -down, -away]) @ self.lab_from_hitting[:3, :3]

    @property
    def flipped(self) -> bool:
        """See `Lens.flipped`: the hitting frame of a left-handed hitter is a mirror image of the lab."""
        return bool(np.linalg.det(self.lab_from_hitting[:3, :3]) < 0.0)

    def moved(self, dx: float, dy: float) -> CameraLens:
        """The same picture shifted. [px]"""
        return replace(self, corner=(self.corner[0] + dx, self.corner[1] + dy))

    def _in_lab(self, points: npt.ArrayLike) -> FloatArray:
        turn, shift = self.lab_from_hitting[:3, :3], self.lab_from_hitting[:3, 3]
        return np.asarray(points, dtype=np.float64) @ turn.T + shift


def silhouette(lens: Lens, faces: npt.NDArray[np.integer], vertices: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Which pixels a closed surface covers, shape (height, width), without drawing it.

    Parameters
    ----------
    lens : Lens
    faces : ndarray of int, shape (T, 3)
        Outward triangles.
    vertices : array-like, shape (V, 3)
        NaN where it was not seen. [m]
    """
    from PIL import Image as images
    from PIL import ImageDraw

    corners = lens.project(vertices)[faces]
    a, b, c = (corners[:, k] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    # Those that face the viewer cover it all; y points downward. Triangles with a corner that was not seen drop out.
    facing = turn > 0.0 if lens.flipped else turn < 0.0
    mask = images.new("L", lens.size)
    pen = ImageDraw.Draw(mask)
    for triangle in corners[facing].reshape(-1, 6).tolist():
        pen.polygon(triangle, fill=255)
    return np.asarray(mask) > 0
