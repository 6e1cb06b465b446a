"""Guides: thin lines that show what a measure means, each a small class, each can be left out.

A guide takes its places from the swing and its numbers from the findings; it computes no measure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.findings import Findings
from mocap.kinematics.barrel import ZonePath
from mocap.kinematics.swing_points import mid_foot, mid_hands
from mocap.renderer.lens import Lens
from mocap.renderer.pen import Pen
from mocap.renderer.style import BLUE, HAIRLINE, INK, RED, WHITE, YELLOW
from mocap.swing import POINTS

_OVER_HEAD_M = 0.20  # how far the axis reaches above the head's centre


@dataclass(frozen=True)
class Canvas:
    """Where a guide is drawn: a picture, how the swing lies in it, and pixels per design pixel."""

    pen: Pen
    framing: Lens
    unit: float


class Guide(Protocol):
    """A guide to one swing."""

    def reach(self, frame: int) -> FloatArray:
        """Points that a picture must have room for, shape (N, 3). [m]"""

    def draw(self, on: Canvas, frame: int) -> None:
        """Draw it over the bodies."""


def axis_ends(pelvis: FloatArray, head: FloatArray) -> FloatArray:
    """The body's axis from above the head to the floor, shape (2, 3). [m]

    A body that leans so far that its axis misses the floor nearby keeps the axis to the pelvis.
    """
    along = (pelvis - head) / np.linalg.norm(pelvis - head)
    top = head - _OVER_HEAD_M * along
    reach = -head[2] / along[2] if along[2] < -0.2 else float(np.linalg.norm(pelvis - head))
    return np.stack([top, head + reach * along])


class BodyAxis:
    """Pelvis centre to head centre, carried on to the floor; the reference's dashed; the one at plant faint.

    Parameters
    ----------
    comparison : Comparison
    since : int or None
        Frame whose axis stays as a faint line, so that the drift from there is seen.
    """

    def __init__(self, comparison: Comparison, since: int | None = None) -> None:
        pelvis, head = POINTS.index("pelvis"), POINTS.index("head")
        hitter, reference = comparison.swing.points, comparison.reference_points
        self.hitter = (hitter[:, pelvis], hitter[:, head])
        self.reference = (reference[:, pelvis], reference[:, head])
        self.since = since

    def reach(self, frame: int) -> FloatArray:
        """Both axes from end to end."""
        return np.concatenate([axis_ends(pelvis[frame], head[frame]) for pelvis, head in (self.reference, self.hitter)])

    def draw(self, on: Canvas, frame: int) -> None:
        """The axes, the reference's first."""
        unit, project = on.unit, on.framing.project
        ends = project(axis_ends(*(path[frame] for path in self.reference)))
        on.pen.line(ends, 2.5 * unit, BLUE, dash=(11 * unit, 9 * unit), opacity=0.8)
        if self.since is not None and frame > self.since:
            earlier = project(axis_ends(*(path[self.since] for path in self.hitter)))
            on.pen.line(earlier, 2.5 * unit, INK, dash=(3 * unit, 8 * unit), opacity=0.75)
        ends = project(axis_ends(*(path[frame] for path in self.hitter)))
        on.pen.line(ends, 3 * unit, INK, casing=WHITE, casing_width=1.5 * unit)
        on.pen.disc(ends[1], 6 * unit, WHITE)
        on.pen.disc(ends[1], 4.5 * unit, INK)


class SeparationLine:
    """Front ankle to mid-hands: how far the hands stay from the front foot."""

    def __init__(self, comparison: Comparison) -> None:
        swing = comparison.swing
        self.ends = np.stack([swing["front_ankle"], mid_hands(swing)], axis=1)

    def reach(self, frame: int) -> FloatArray:
        """Its ends."""
        return self.ends[frame]

    def draw(self, on: Canvas, frame: int) -> None:
        """The line with its two end dots."""
        ends = on.framing.project(self.ends[frame])
        on.pen.line(ends, 4 * on.unit, RED, casing=WHITE, casing_width=1.5 * on.unit)
        for end in ends:
            on.pen.disc(end, 9.5 * on.unit, WHITE)
            on.pen.disc(end, 7.5 * on.unit, RED)


class WeightBar:
    """A bar under the feet, from back to front foot, with the place of the weight and the band that is good at plant.

    The mark stands where the measure `back_share` puts it at `plant`, elsewhere under the centre of mass. The band is
    that of the measure's check; without a check there is none.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    offset_px : float
        How far below the floor under the feet the bar lies, in design pixels.
    """

    height = 12.0  # [design px]

    def __init__(self, comparison: Comparison, findings: Findings, offset_px: float = 84.0) -> None:
        swing = comparison.swing
        self.front, self.back = mid_foot(swing, "front"), mid_foot(swing, "back")
        self.com = swing.com
        self.plant = swing.index("plant")
        measure = findings.measures.get("back_share")
        self.share = measure.value if measure is not None and isinstance(measure.value, float) else None
        self.share_sd = measure.sd if measure is not None else None
        self.offset_px = offset_px
        good = next((check.good for check in findings.checks if check.measure == "back_share"), ())
        ends = [end for end in good if isinstance(end, float) and np.isfinite(end)]
        self.band = (ends[0], ends[1]) if len(ends) == 2 else None

    def bar(self, framing: Lens, unit: float, frame: int) -> tuple[float, float, float]:
        """x under the back foot, x under the front foot, y of the bar's middle. [px]"""
        pixels = framing.project(self.reach(frame))
        return float(pixels[0, 0]), float(pixels[1, 0]), float(pixels[:, 1].max()) + self.offset_px * unit

    def mark_x(self, on: Canvas, frame: int) -> float:
        """x of the mark. [px]"""
        back_x, front_x, _ = self.bar(on.framing, on.unit, frame)
        if frame == self.plant and self.share is not None:
            return front_x + self.share * (back_x - front_x)
        return float(on.framing.project(self.com[frame])[0])

    def reach(self, frame: int) -> FloatArray:
        """The feet on the floor."""
        return np.stack([self.back[frame], self.front[frame]]) * (1.0, 1.0, 0.0)

    def draw(self, on: Canvas, frame: int) -> None:
        """Bar, band, plumb line from the centre of mass, mark with its plus-minus."""
        pen, unit = on.pen, on.unit
        back_x, front_x, y = self.bar(on.framing, unit, frame)
        x = self.mark_x(on, frame)
        if not np.isfinite([back_x, front_x, y, x]).all():
            return
        half = self.height * unit / 2.0
        pen.line([(back_x, y), (front_x, y)], 2.0 * half, HAIRLINE)
        if self.band is not None:
            low, high = (front_x + share * (back_x - front_x) for share in self.band)
            pen.polygon([(low, y - half), (high, y - half), (high, y + half), (low, y + half)], YELLOW)
            for edge in (low, high):
                pen.line([(edge, y - 1.7 * half), (edge, y + 1.7 * half)], 2 * unit, INK)
        pen.line([(x, y - self.offset_px * unit), (x, y - 2.6 * half)], 2 * unit, INK, dash=(2 * unit, 7 * unit))
        if frame == self.plant and self.share is not None and self.share_sd:
            reach = abs(self.share_sd * (back_x - front_x))
            pen.line([(x - reach, y), (x + reach, y)], 3 * unit, INK)
        _wedge(pen, x, y - 0.4 * half, 15 * unit)


def _wedge(pen: Pen, x: float, y: float, size: float) -> None:
    """A mark that points down at (x, y). [px]"""
    for colour, edge in ((WHITE, 0.22 * size), (INK, 0.0)):
        half, top = 0.62 * size + edge, y - size - edge
        pen.polygon([(x, y + 1.6 * edge), (x - half, top), (x + half, top)], colour)


class HandsPath:
    """Where the hands go from foot-plant on."""

    def __init__(self, comparison: Comparison) -> None:
        self.path = mid_hands(comparison.swing)
        self.start = comparison.swing.index("plant")
        self.end = comparison.swing.index("extension") or comparison.swing.index("contact")

    def reach(self, frame: int) -> FloatArray:
        """The path so far."""
        return self.path[self.start : frame + 1] if self.start is not None else np.empty((0, 3))

    def draw(self, on: Canvas, frame: int) -> None:
        """The path so far."""
        if self.start is None or frame <= self.start:
            return
        last = frame if self.end is None else min(frame, self.end)
        pixels = on.framing.project(self.path[self.start : last + 1])
        on.pen.line(pixels, 3 * on.unit, RED, casing=WHITE, casing_width=1.5 * on.unit)


class HittingZone:
    """The stretch of the sweet spot's path on the pitch's line, with its two end marks; as long as the measure says."""

    def __init__(self, zone: ZonePath) -> None:
        self.zone = zone

    def reach(self, frame: int) -> FloatArray:
        """The arc, from the moment it is drawn."""
        return self.zone.path if frame >= self.zone.first_frame else np.empty((0, 3))

    def draw(self, on: Canvas, frame: int) -> None:
        """The arc, from the moment the barrel enters the zone."""
        if frame < self.zone.first_frame:
            return
        unit = on.unit
        arc = on.framing.project(self.zone.path)
        if len(arc) < 2:
            return
        on.pen.line(arc, 7 * unit, YELLOW, casing=INK, casing_width=1.5 * unit)
        for end, inner in ((arc[0], arc[1]), (arc[-1], arc[-2])):
            along = (inner - end) / max(float(np.hypot(*(inner - end))), 1e-9)
            across = np.array([-along[1], along[0]]) * 17 * unit
            on.pen.line([end - across, end + across], 4 * unit, INK, casing=WHITE, casing_width=1.5 * unit)
