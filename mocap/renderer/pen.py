"""Thin, exact lines and shapes on a flat picture.

A stroke's edge is softened by each pixel's distance to it, so that its place is exact to a fraction of a pixel; long
strokes are drawn in short stretches, so that only pixels near them are touched.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.renderer.style import Colour

if TYPE_CHECKING:
    from PIL.Image import Image

_STRETCH_PX = 96.0  # a stroke is split into pieces no longer than this
_TILE_PX = 96


class Pen:
    """Draws on one picture.

    Parameters
    ----------
    picture : Image
        Mode RGB; drawn on in place.
    """

    def __init__(self, picture: Image) -> None:
        self.picture = picture

    def line(
        self,
        points: npt.ArrayLike,
        width: float,
        colour: Colour,
        *,
        opacity: float = 1.0,
        dash: tuple[float, float] | None = None,
        casing: Colour | None = None,
        casing_width: float = 2.0,
    ) -> None:
        """A stroke with round ends through points.

        Parameters
        ----------
        points : array-like, shape (N, 2)
            NaN breaks the stroke. [px]
        width : float
            [px]
        colour : tuple of 3 ints
        opacity : float
            [-]
        dash : tuple of 2 floats or None
            Length drawn and left out. [px]
        casing : tuple of 3 ints or None
            Colour of a thin edge around the stroke, so that it reads on any ground.
        casing_width : float
            Of that edge. [px]
        """
        path = np.asarray(points, dtype=np.float64)
        pieces = _dashes(path, *dash) if dash else _pieces(path)
        if casing is not None:
            self._strokes(pieces, width + 2.0 * casing_width, casing, opacity)
        self._strokes(pieces, width, colour, opacity)

    def disc(self, centre: npt.ArrayLike, radius: float, colour: Colour, *, opacity: float = 1.0) -> None:
        """A filled circle. [px]"""
        point = np.asarray(centre, dtype=np.float64)
        self._strokes(np.stack([point, point])[None], 2.0 * radius, colour, opacity)

    def ring(self, centre: npt.ArrayLike, radius: float, width: float, colour: Colour, *, opacity: float = 1.0) -> None:
        """A circle's line, its middle at `radius`. [px]"""
        x, y = np.asarray(centre, dtype=np.float64)
        if not np.isfinite(x + y):
            return
        grid_x, grid_y, corner = _grid(x - radius - width, y - radius - width, x + radius + width, y + radius + width)
        distance = np.abs(np.hypot(grid_x - x, grid_y - y) - radius) - width / 2.0
        self.stamp(np.clip(0.5 - distance, 0.0, 1.0), corner, colour, opacity)

    def polygon(self, corners: npt.ArrayLike, colour: Colour, *, opacity: float = 1.0) -> None:
        """A filled polygon, shape (N, 2), or several as one shape, (K, N, 2). [px]"""
        from PIL import Image as images
        from PIL import ImageDraw

        paths = np.asarray(corners, dtype=np.float64)
        paths = paths[None] if paths.ndim == 2 else paths
        if not np.isfinite(paths).all():
            return
        low = np.maximum(np.floor(paths.min(axis=(0, 1))).astype(int) - 1, 0)
        high = np.minimum(np.ceil(paths.max(axis=(0, 1))).astype(int) + 1, self.picture.size)
        if (high <= low).any():
            return
        fine = 4 if max(high - low) > 400 else 8  # subpixels; the edge is exact to that part of a pixel
        width, height = (high - low) * fine
        mask = images.new("L", (int(width), int(height)))
        draw = ImageDraw.Draw(mask)
        for path in (paths - low) * fine - 0.5:
            draw.polygon([(float(x), float(y)) for x, y in path], fill=255)
        small = mask.reduce(fine).point([round(level * opacity) for level in range(256)])
        self.picture.paste(colour, (int(low[0]), int(low[1])), small)

    def stamp(self, coverage: FloatArray, corner: tuple[int, int], colour: Colour, opacity: float = 1.0) -> None:
        """Lay a colour through a coverage of 0 to 1, shape (h, w), its upper left corner at `corner`."""
        from PIL import Image as images

        mask = images.fromarray((coverage * (255.0 * opacity) + 0.5).astype(np.uint8))
        self.picture.paste(colour, corner, mask)

    def _strokes(self, pieces: FloatArray, width: float, colour: Colour, opacity: float) -> None:
        """Straight pieces, shape (N, 2 ends, 2), as one shape: where they meet nothing is drawn twice."""
        pieces = pieces[np.isfinite(pieces).all(axis=(1, 2))]
        if not len(pieces):
            return
        half = width / 2.0
        low, high = pieces.min(axis=(0, 1)) - half - 1.0, pieces.max(axis=(0, 1)) + half + 1.0
        low = np.maximum(np.floor(low), 0).astype(int)
        high = np.minimum(np.ceil(high), self.picture.size).astype(int)
        if (high <= low).any():
            return
        coverage = np.zeros((high[1] - low[1], high[0] - low[0]), dtype=np.float32)
        for start, end in pieces:
            near_low = np.minimum(start, end) - half - 1.0
            near_high = np.maximum(start, end) + half + 1.0
            left, top = np.maximum(np.floor(near_low).astype(int), low)
            right, bottom = np.minimum(np.ceil(near_high).astype(int), high)
            if right <= left or bottom <= top:
                continue
            x = np.arange(left, right, dtype=np.float32) + np.float32(0.5 - start[0])
            y = (np.arange(top, bottom, dtype=np.float32) + np.float32(0.5 - start[1]))[:, None]
            along_x, along_y = (end - start).astype(np.float32)
            length2 = max(float(along_x**2 + along_y**2), 1e-12)
            share = np.clip((x * along_x + y * along_y) / length2, 0.0, 1.0)
            distance = np.hypot(x - share * along_x, y - share * along_y)
            part = coverage[top - low[1] : bottom - low[1], left - low[0] : right - low[0]]
            np.maximum(part, np.clip(half + 0.5 - distance, 0.0, 1.0), out=part)
        # A long diagonal covers little of its box: only the tiles that it crosses are laid on the picture.
        for top in range(0, coverage.shape[0], _TILE_PX):
            for left in range(0, coverage.shape[1], _TILE_PX):
                tile = coverage[top : top + _TILE_PX, left : left + _TILE_PX]
                if tile.any():
                    self.stamp(tile, (int(low[0]) + left, int(low[1]) + top), colour, opacity)


def _grid(
    left: float, top: float, right: float, bottom: float
) -> tuple[npt.NDArray[Any], npt.NDArray[Any], tuple[int, int]]:
    """Pixel middles of a box as a row and a column, and the box's upper left corner."""
    x0, y0 = int(np.floor(left)), int(np.floor(top))
    x = np.arange(x0, int(np.ceil(right))) + 0.5
    y = (np.arange(y0, int(np.ceil(bottom))) + 0.5)[:, None]
    return x, y, (x0, y0)


def _pieces(path: FloatArray) -> FloatArray:
    """A path as straight pieces of limited length, shape (N, 2, 2)."""
    starts, ends = path[:-1], path[1:]
    lengths = np.hypot(*(ends - starts).T)
    counts = np.ceil(np.where(np.isfinite(lengths), lengths, 0.0) / _STRETCH_PX).astype(int)
    counts = np.maximum(counts, 1)
    which = np.repeat(np.arange(len(starts)), counts)
    step = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    run = (ends - starts)[which] / counts[which, None]
    return np.stack([starts[which] + run * step[:, None], starts[which] + run * (step + 1)[:, None]], axis=1)


def _dashes(path: FloatArray, drawn: float, left_out: float) -> FloatArray:
    """A path as dashes measured along it, shape (N, 2, 2); corners inside a dash are cut short."""
    path = path[np.isfinite(path).all(axis=1)]
    if len(path) < 2:
        return np.empty((0, 2, 2))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    starts = np.arange(0.0, max(along[-1], 1e-9), drawn + left_out)
    ends = np.minimum(starts + drawn, along[-1])
    at = np.stack([starts, ends], axis=1)
    return np.stack([np.interp(at, along, path[:, axis]) for axis in (0, 1)], axis=-1)
