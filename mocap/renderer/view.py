"""Orthographic views of the hitting frame, and where a point lands in the picture.

A view is two unit vectors, so that what the picture measures is what the hitting frame measures: from the open side
one centimetre toward the pitcher is the same number of pixels everywhere, for hitter and reference alike.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.renderer.lens import Box, Lens

#: Half of what an orthographic picture reaches to the front and to the back. [m]
REACH_M = 10.0

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

    @property
    def title(self) -> str:
        """What a picture of it is called."""
        return _TITLES.get(self.name, self.name.replace("free view,", "From"))


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


_TITLES = {
    "open side": "From the open side",
    "pitcher": "From the pitcher",
    "catcher": "From the catcher",
    "above": "From above",
    "three-quarter": "Three-quarter view",
}


def find_view(name: str) -> View:
    """The view of that name, or a free one.

    Parameters
    ----------
    name : str
        One of `VIEWS`, or "AZIMUTH,ELEVATION" in degrees: which way the camera looks (0 = toward the pitcher, 90 = as
        from the open side, 180 = as from the pitcher) and how high it is raised, e.g. "120,25".

    Raises
    ------
    OptionError
        There is no such view, or it looks from below the floor.
    """
    if name in VIEWS:
        return VIEWS[name]
    number = r"\s*(-?\d+(?:\.\d+)?)\s*"
    free = re.fullmatch(f"{number},{number}", name)
    if free is None:
        raise OptionError(f"view {name!r} is not known; known are {', '.join(VIEWS)}, or AZIMUTH,ELEVATION as 120,25")
    azimuth, elevation = (float(part) for part in free.groups())
    if not 0.0 <= elevation <= 90.0:
        raise OptionError(f"view {name!r}: an elevation of {elevation:g} deg is outside 0 (level) to 90 (from above)")
    title = f"free view, {azimuth:g}\N{DEGREE SIGN} round, {elevation:g}\N{DEGREE SIGN} up"
    return _from_bearing(title, azimuth, elevation, shows_horizon=elevation < 30.0)


@dataclass(frozen=True)
class Framing(Lens):
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

    def depth(self, points: npt.ArrayLike) -> FloatArray:
        """See `Lens.depth`: half way at the anchor, 0 and 1 as far as `REACH_M` before and behind it."""
        offset = np.asarray(points, dtype=np.float64) - np.asarray(self.anchor_m)
        return 0.5 + (offset @ self.view.away) / (2.0 * REACH_M)

    @property
    def axes(self) -> FloatArray:
        """See `Lens.axes`."""
        right = np.asarray(self.view.right) * (-1.0 if self.mirrored else 1.0)
        return np.stack([right, np.asarray(self.view.up), -self.view.away])

    @property
    def flipped(self) -> bool:
        """See `Lens.flipped`."""
        return self.mirrored

    def moved(self, dx: float, dy: float) -> Framing:
        """The same framing shifted in the picture. [px]"""
        return replace(self, anchor_px=(self.anchor_px[0] + dx, self.anchor_px[1] + dy))


def fit(
    view: View,
    points: npt.ArrayLike,
    size: tuple[int, int],
    box: Box,
    *,
    mirrored: bool = False,
    largest: float = float("inf"),
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
    largest : float
        Scale that is not exceeded, though the box have room. [px/m]

    Returns
    -------
    Framing
    """
    left, top, right, bottom = box
    rough = Framing(view, size, (0.0, 0.0, 0.0), (0.0, 0.0), 1.0, mirrored)
    low, high = rough.extent(points)
    span = np.maximum(high - low, 1e-6)
    scale = float(min((right - left) / span[0], (bottom - top) / span[1], largest))
    middle = (low[0] + high[0]) / 2.0
    return replace(
        rough, scale=scale, anchor_px=((left + right) / 2.0 - scale * float(middle), bottom - scale * float(high[1]))
    )
