"""The quiet floor: wall, floor, plate and batter's box to the rule book's size, and the soft shadows he stands on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.renderer.lens import Lens
from mocap.renderer.pen import Pen
from mocap.renderer.style import CHALK, FLOOR, INK, PAPER
from mocap.renderer.view import Framing
from mocap.swing import POINTS

if TYPE_CHECKING:
    from PIL.Image import Image

_WALL_BEHIND_M = 1.9  # the floor ends in a line that far behind the plate's rear tip

_FOOT_SHADOW = 0.42  # opacity under a foot on the floor
_FOOT_FADE_M = 0.07  # a foot that high has lost most of it
_BODY_SHADOW = 0.10


def box_middle() -> FloatArray:
    """Middle of the batter's box of a right-handed hitter, from the plate's rear tip, shape (3,). [m]"""
    from mocap.renderer.field import BOX_GAP, BOX_WIDTH, PLATE_DEPTH, PLATE_WIDTH

    return np.array([PLATE_DEPTH / 2.0, PLATE_WIDTH / 2.0 + BOX_GAP + BOX_WIDTH / 2.0, 0.0])


def box_corners() -> FloatArray:
    """Corners of the batter's box of a right-handed hitter, from the plate's rear tip, shape (4, 3). [m]"""
    from mocap.renderer.field import BOX_LENGTH, BOX_WIDTH

    half = np.array([BOX_LENGTH, BOX_WIDTH, 0.0]) / 2.0
    return box_middle() + half * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])


def field_corners() -> FloatArray:
    """Corners of that box and of the plate, from the plate's rear tip, shape (9, 3). [m]"""
    from mocap.renderer.field import plate_outline

    return np.concatenate([box_corners(), np.column_stack([plate_outline(), np.zeros(5)])])


def paper(size: tuple[int, int]) -> Image:
    """An empty picture."""
    from PIL import Image as images

    return images.new("RGB", size, PAPER)


def draw_floor(picture: Image, framing: Framing, plate_offset: FloatArray, clip: tuple[int, int, int, int]) -> None:
    """Floor, box and plate.

    Parameters
    ----------
    picture : Image
        Mode RGB; drawn on in place.
    framing : Framing
    plate_offset : ndarray, shape (3,)
        Where the plate's rear tip lies in the hitting frame. [m]
    clip : tuple of 4 ints
        Left, top, right, bottom of the part of the picture that has a floor. [px]
    """
    from mocap.renderer.field import batters_box, plate_outline

    left, top, right, bottom = clip
    view = framing.view
    horizon = top
    if view.shows_horizon:
        behind = view.away * (1.0, 1.0, 0.0)
        behind = behind / np.linalg.norm(behind) * _WALL_BEHIND_M
        horizon = round(float(framing.project(plate_offset + behind)[1]))
    panel = picture.crop(clip)
    panel.paste(FLOOR, (0, max(horizon - top, 0), right - left, bottom - top))
    pen = Pen(panel)
    inside = framing.moved(-left, -top)
    for lines, opacity in ((batters_box(1), 0.85), ([plate_outline()], 1.0)):
        corners = np.stack([np.column_stack([line, np.zeros(len(line))]) for line in lines])
        pen.polygon(inside.project(corners + plate_offset), CHALK, opacity=opacity)
    picture.paste(panel, (left, top))


def draw_shadows(picture: Image, lens: Lens, points: FloatArray, com: FloatArray) -> None:
    """Soft contact shadows: dark under a foot on the floor, fading as it lifts, and a trace under the body.

    Parameters
    ----------
    picture : Image
    lens : Lens
    points : ndarray, shape (P, 3)
        One frame. [m]
    com : ndarray, shape (3,)
        [m]
    """
    pen = Pen(picture)
    if np.isfinite(com).all():
        _blob(pen, lens, com, np.array([1.0, 0.0]), (0.62, 0.34), _BODY_SHADOW)
    for side in ("front", "back"):
        heel, ball, toe = (points[POINTS.index(f"{side}_{part}")] for part in ("heel", "ball", "toe"))
        if not np.isfinite([heel, ball, toe]).all():
            continue
        along = (toe - heel)[:2]
        length = float(np.hypot(*along))
        if length < 1e-6:
            continue
        for spot, reach in (((heel * 0.7 + ball * 0.3), 0.6), ((ball + toe) / 2.0, 0.55)):
            height = max(float(spot[2]) - 0.04, 0.0)
            fade = float(np.exp(-height / _FOOT_FADE_M))
            radii = (reach * length + 0.4 * height, 0.085 + 0.4 * height)
            _blob(pen, lens, spot, along / length, radii, 0.62 * _FOOT_SHADOW * fade)


def _blob(
    pen: Pen, lens: Lens, spot: FloatArray, along: FloatArray, radii: tuple[float, float], opacity: float
) -> None:
    """An elliptical shadow on the floor below a point; exact in every view, as the floor maps linearly to pixels."""
    ground = np.array([spot[0], spot[1], 0.0])
    axes = np.array([[along[0], along[1], 0.0], [-along[1], along[0], 0.0]]) * np.array(radii)[:, None]
    centre = lens.project(ground)
    pixels_from_ellipse = (lens.project(ground + axes) - centre).T
    reach = np.abs(pixels_from_ellipse).sum(axis=1)
    low = np.maximum(np.floor(centre - reach), 0).astype(int)
    high = np.minimum(np.ceil(centre + reach), pen.picture.size).astype(int)
    if (high <= low).any() or abs(np.linalg.det(pixels_from_ellipse)) < 1e-6:
        return
    ellipse_from_pixels = np.linalg.inv(pixels_from_ellipse)
    x = np.arange(low[0], high[0]) + 0.5 - centre[0]
    y = (np.arange(low[1], high[1]) + 0.5 - centre[1])[:, None]
    square = sum((row[0] * x + row[1] * y) ** 2 for row in ellipse_from_pixels)
    coverage = np.clip(1.0 - square, 0.0, 1.0) ** 2
    pen.stamp(coverage, (int(low[0]), int(low[1])), INK, opacity)
