"""Home plate and the batter's boxes, to rule-book size, in the hitting frame.

Sizes come from ``assets/tables/rule_book.toml``: the plate is a square with two corners cut off, the boxes' inner lines
keep clear of it, and their middle is level with its middle.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray

if TYPE_CHECKING:
    from trimesh import Trimesh

_SIZES = tomllib.loads(asset("tables", "rule_book.toml").read_text(encoding="utf-8"))["baseball"]
PLATE_WIDTH: float = _SIZES["plate_width_m"]
PLATE_DEPTH: float = PLATE_WIDTH
PLATE_SIDE: float = _SIZES["plate_side_m"]
BOX_WIDTH: float = _SIZES["box_width_m"]
BOX_LENGTH: float = _SIZES["box_length_m"]
BOX_GAP: float = _SIZES["box_to_plate_m"]
BARREL_DIAMETER: float = 2.0 * _SIZES["barrel_radius_m"]  # the thickest allowed
PLATE_THICKNESS = 0.012  # what stands above the floor; a picture's choice, not a rule [m]
LINE_WIDTH = 0.05  # likewise [m]


def plate_outline() -> FloatArray:
    """Corners of home plate from its rear tip round toward -y, shape (5, 2); x toward the pitcher. [m]"""
    half, shoulder = 0.5 * PLATE_WIDTH, PLATE_DEPTH - PLATE_SIDE
    return np.array([[0.0, 0.0], [shoulder, -half], [PLATE_DEPTH, -half], [PLATE_DEPTH, half], [shoulder, half]])


def plate_mesh() -> Trimesh:
    """Home plate as a thin solid that stands on the floor, rear tip at the origin, front edge toward the pitcher."""
    import trimesh

    outline = plate_outline()
    n = len(outline)
    low = np.column_stack([outline, np.zeros(n)])
    high = np.column_stack([outline, np.full(n, PLATE_THICKNESS)])
    top = [[n, n + i, n + i + 1] for i in range(1, n - 1)]
    bottom = [[0, i + 1, i] for i in range(1, n - 1)]
    walls = [f for i in range(n) for j in [(i + 1) % n] for f in ([i, j, n + j], [i, n + j, n + i])]
    return trimesh.Trimesh(np.vstack([low, high]), top + bottom + walls, process=False)


def batters_box(side: int = 1) -> list[FloatArray]:
    """Lines of one batter's box as flat quads on the floor.

    Parameters
    ----------
    side : {+1, -1}
        +1 is the box at +y, the one a right-handed hitter stands in.

    Returns
    -------
    list of ndarray, shape (4, 2)
        Corners of the inner, outer, pitcher's and catcher's line, counter-clockwise from above. The lines lie within
        the box's size. [m]

    Raises
    ------
    ValueError
        `side` is neither +1 nor -1.
    """
    if side not in (1, -1):
        raise ValueError(f"side must be +1 or -1, got {side!r}")
    inner = 0.5 * PLATE_WIDTH + BOX_GAP
    outer = inner + BOX_WIDTH
    rear, front = 0.5 * PLATE_DEPTH - 0.5 * BOX_LENGTH, 0.5 * PLATE_DEPTH + 0.5 * BOX_LENGTH
    spans = [
        (rear, front, inner, inner + LINE_WIDTH),
        (rear, front, outer - LINE_WIDTH, outer),
        (front - LINE_WIDTH, front, inner + LINE_WIDTH, outer - LINE_WIDTH),
        (rear, rear + LINE_WIDTH, inner + LINE_WIDTH, outer - LINE_WIDTH),
    ]
    return [_quad(x0, x1, y0, y1, side) for x0, x1, y0, y1 in spans]


def batters_boxes() -> list[FloatArray]:
    """Lines of both batter's boxes; see `batters_box`."""
    return batters_box(1) + batters_box(-1)


def _quad(x0: float, x1: float, y0: float, y1: float, side: int) -> FloatArray:
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return corners if side > 0 else corners[::-1] * np.array([1.0, -1.0])
