"""The hitter's skeleton as lines over a picture of himself: joints, bones, bat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.renderer.guides import Canvas, GuideLabel
from mocap.renderer.pen import Pen
from mocap.renderer.style import INK, WHITE, YELLOW
from mocap.swing import POINTS

#: Bones of the middle, then those of one side; each a chain of points.
_MIDDLE = (("pelvis", "neck", "head"),)
_SIDE = (("pelvis", "hip", "knee", "ankle", "ball", "toe"), ("neck", "shoulder", "elbow", "wrist", "hand"))
_FOOT = ("ankle", "heel", "ball")
_JOINTS = ("hip", "knee", "ankle", "shoulder", "elbow", "wrist")
_BAT = ("bat_knob", "bat_barrel")

#: Pieces that a bone is drawn in, so that a lens bends it as it bends the bone in the picture.
_PIECES = 4


@dataclass(frozen=True)
class _Chain:
    columns: list[int]
    back: bool


def _chains() -> list[_Chain]:
    """Back side first, so that the front side lies over it."""

    def columns(names: tuple[str, ...], side: str) -> list[int]:
        middle = ("pelvis", "neck", "head")
        return [POINTS.index(name if name in middle else f"{side}_{name}") for name in names]

    chains = [_Chain(columns(chain, "back"), True) for chain in (*_SIDE, _FOOT)]
    chains += [_Chain(columns(chain, ""), False) for chain in _MIDDLE]
    return chains + [_Chain(columns(chain, "front"), False) for chain in (*_SIDE, _FOOT)]


class SkeletonLines:
    """Joints and bones as thin lines: the front side solid with full joints, the back side dashed with hollow ones.

    Parameters
    ----------
    comparison : Comparison
    """

    name = "skeleton"

    def __init__(self, comparison: Comparison) -> None:
        self.points = comparison.swing.points
        self.chains = _chains()
        self.joints = {side: [POINTS.index(f"{side}_{name}") for name in _JOINTS] for side in ("back", "front")}
        self.middle = [POINTS.index(name) for name in ("pelvis", "neck", "head")]
        self.bat = [POINTS.index(name) for name in _BAT]

    def reach(self, frame: int) -> FloatArray:
        """Every point that was seen."""
        seen = self.points[frame]
        return seen[np.isfinite(seen).all(axis=1)]

    def label(self, _frame: int) -> GuideLabel | None:
        """A skeleton states no number."""
        return None

    def draw(self, on: Canvas, frame: int) -> None:
        """Bones, then the bat, then the joints; what was not seen is left out."""
        pen, unit, points = on.pen, on.unit, self.points[frame]
        for chain in self.chains:
            _bone(pen, on.framing.project(_finer(points[chain.columns])), unit, dashed=chain.back)
        bat = on.framing.project(_finer(points[self.bat]))
        _bone(pen, bat, 1.3 * unit)
        for end in bat[[0, -1]]:
            pen.disc(end, 5.0 * unit, INK)
            pen.disc(end, 3.5 * unit, YELLOW)
        for joint in on.framing.project(points[self.joints["back"]]):
            _hollow_joint(pen, joint, unit)
        for joint in on.framing.project(points[[*self.middle, *self.joints["front"]]]):
            _full_joint(pen, joint, unit)


def draw_front_sample(pen: Pen, ends: npt.ArrayLike, unit: float) -> None:
    """A bone of the front side and its joint, for a legend; two points, shape (2, 2). [px]"""
    ends = np.asarray(ends, dtype=np.float64)
    _bone(pen, ends, unit)
    _full_joint(pen, ends.mean(axis=0), unit)


def draw_back_sample(pen: Pen, ends: npt.ArrayLike, unit: float) -> None:
    """A bone of the back side and its joint, for a legend; two points, shape (2, 2). [px]"""
    ends = np.asarray(ends, dtype=np.float64)
    middle = ends.mean(axis=0)
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    for end, way in zip(ends, (-1.0, 1.0), strict=True):  # the ring stays empty
        _bone(pen, np.stack([middle + way * 15.0 * unit * along, end + way * 4.0 * unit * along]), unit)
    _hollow_joint(pen, middle, unit)


def _bone(pen: Pen, pixels: FloatArray, unit: float, *, dashed: bool = False) -> None:
    dash = (9.0 * unit, 8.0 * unit) if dashed else None
    pen.line(pixels, 3.0 * unit, WHITE, dash=dash, casing=INK, casing_width=1.5 * unit)


def _full_joint(pen: Pen, centre: FloatArray, unit: float) -> None:
    pen.disc(centre, 7.0 * unit, INK)
    pen.disc(centre, 5.5 * unit, WHITE)


def _hollow_joint(pen: Pen, centre: FloatArray, unit: float) -> None:
    pen.ring(centre, 6.5 * unit, 5.0 * unit, INK)
    pen.ring(centre, 6.5 * unit, 2.5 * unit, WHITE)


def _finer(chain: FloatArray) -> FloatArray:
    """A chain of points, shape (N, 3), with `_PIECES` - 1 more along each bone, shape (M, 3). [m]"""
    steps = np.linspace(0.0, len(chain) - 1.0, (len(chain) - 1) * _PIECES + 1)
    first = np.minimum(steps.astype(int), len(chain) - 2)
    share = (steps - first)[:, None]
    # A point that was seen stays one beside a missing one; between the two nothing is drawn.
    return np.where(share == 0.0, chain[first], chain[first] * (1.0 - share) + chain[first + 1] * share)
