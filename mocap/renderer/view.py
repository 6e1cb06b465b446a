"""Orthographic views of the hitting frame, and where a point lands in the picture.

A view is two unit vectors, so that what the picture measures is what the hitting frame measures: from the open side
one centimetre toward the pitcher is the same number of pixels everywhere, for hitter and reference alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError

Box = tuple[int, int, int, int]  # left, top, right, bottom [px]

_Vector = tuple[float, float, float]


@dataclass(frozen=True)
class View:
    """A direction to look along, without perspective.

    Attributes
    ----------
    name : str
    right, up : tuple of 3 floats
        Unit vectors of the picture's axes in the hitting frame. [-]
    shows_horizon : bool
        Whether the floor ends in a line behind the hitter (not so from above).
    """

    name: str
    right: _Vector
    up: _Vector
    shows_horizon: bool = True

    @property
    def away(self) -> FloatArray:
        """Unit vector from the camera into the picture, shape (3,). [-]"""
        return np.cross(self.up, self.right)


def _from_bearing(name: str, azimuth_deg: float, elevation_deg: float, *, shows_horizon: bool = True) -> View:
    """Camera looking along `azimuth` (0° = toward the pitcher, 90° = +y), raised by `elevation`."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    forward_x, forward_y = float(np.cos(azimuth)), float(np.sin(azimuth))
    raised, level = float(np.sin(elevation)), float(np.cos(elevation))
    return View(name, (forward_y, -forward_x, 0.0), (raised * forward_x, raised * forward_y, level), shows_horizon)


#: The views by name. The open side looks along +y exactly: no angle to the pitch line, and raised by 6° only so far
#: that the floor, the plate and the box are seen (heights then show at cos 6° = 0.995 of the scale along that line).
VIEWS: dict[str, View] = {
    view.name: view
    for view in (
        _from_bearing("open side", 90.0, 6.0),
        _from_bearing("pitcher", 180.0, 6.0),
        _from_bearing("catcher", 0.0, 6.0),
        _from_bearing("above", 90.0, 90.0, shows_horizon=False),
        _from_bearing("three-quarter", 125.0, 16.0),
    )
}


def find_view(name: str) -> View:
    """The view of that name.

    Raises
    ------
    OptionError
        There is no such view.
    """
    if name not in VIEWS:
        raise OptionError(f"view {name!r} is not known; known are {', '.join(VIEWS)}")
    return VIEWS[name]


@dataclass(frozen=True)
class Framing:
    """A view placed in a picture: which point lies where, and how large.

    Attributes
    ----------
    view : View
    size : tuple of 2 ints
        Width and height of the picture. [px]
    anchor_m : tuple of 3 floats
        A point of the hitting frame. [m]
    anchor_px : tuple of 2 floats
        Where it lies in the picture; pixel (0, 0) covers 0 to 1. [px]
    scale : float
        [px/m]
    mirrored : bool
        Turn right and left round (a left-handed hitter, stored as a right-handed one).
    """

    view: View
    size: tuple[int, int]
    anchor_m: _Vector
    anchor_px: tuple[float, float]
    scale: float
    mirrored: bool = False

    def project(self, points: npt.ArrayLike) -> FloatArray:
        """Where points land in the picture.

        Parameters
        ----------
        points : array-like, shape (..., 3)
            Hitting frame. [m]

        Returns
        -------
        ndarray, shape (..., 2)
            x to the right, y downward, from the picture's upper left corner. [px]
        """
        offset = np.asarray(points, dtype=np.float64) - np.asarray(self.anchor_m)
        across = offset @ np.asarray(self.view.right) * (-1.0 if self.mirrored else 1.0)
        upward = offset @ np.asarray(self.view.up)
        return np.stack(
            [self.anchor_px[0] + self.scale * across, self.anchor_px[1] - self.scale * upward],
            axis=-1,
        )

    def centre_of(self, box: Box) -> FloatArray:
        """The hitting-frame point, in the anchor's plane, seen at the middle of a box; shape (3,). [m]"""
        left, top, right, bottom = box
        across = ((left + right) / 2.0 - self.anchor_px[0]) / self.scale * (-1.0 if self.mirrored else 1.0)
        upward = (self.anchor_px[1] - (top + bottom) / 2.0) / self.scale
        return np.asarray(self.anchor_m) + across * np.asarray(self.view.right) + upward * np.asarray(self.view.up)

    def moved(self, dx: float, dy: float) -> Framing:
        """The same framing shifted in the picture. [px]"""
        return replace(self, anchor_px=(self.anchor_px[0] + dx, self.anchor_px[1] + dy))

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

    def extent(self, points: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Smallest and greatest x and y of the points that are there, each shape (2,). [px]"""
        pixels = self.project(points).reshape(-1, 2)
        return np.nanmin(pixels, axis=0), np.nanmax(pixels, axis=0)


def fit(
    view: View,
    points: npt.ArrayLike,
    size: tuple[int, int],
    box: Box,
    *,
    mirrored: bool = False,
) -> Framing:
    """Place a view so that points fill a box: centred across, resting on the box's lower edge.

    Parameters
    ----------
    view : View
    points : array-like, shape (..., 3)
        What must be seen. [m]
    size : tuple of 2 ints
        Picture. [px]
    box : tuple of 4 ints
        Left, top, right, bottom of the place for it. [px]
    mirrored : bool

    Returns
    -------
    Framing
    """
    left, top, right, bottom = box
    rough = Framing(view, size, (0.0, 0.0, 0.0), (0.0, 0.0), 1.0, mirrored)
    low, high = rough.extent(points)
    span = np.maximum(high - low, 1e-6)
    scale = float(min((right - left) / span[0], (bottom - top) / span[1]))
    middle = (low[0] + high[0]) / 2.0
    return replace(
        rough, scale=scale, anchor_px=((left + right) / 2.0 - scale * float(middle), bottom - scale * float(high[1]))
    )
