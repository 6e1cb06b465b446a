"""Guides to the line the body turns about: where it stands, and where the turn itself has it."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.kinematics.geometry import unit as direction_of
from mocap.kinematics.helical import finite_helical_axes
from mocap.renderer.guides.canvas import (
    NOWHERE,
    Canvas,
    GuideLabel,
    Numbers,
    circle,
    dot,
    off_head,
    seen,
    size_px,
    straight,
    stretch,
)
from mocap.renderer.style import BLUE, INK, RED, WHITE
from mocap.swing import POINTS, Swing

_OVER_HEAD_M = 0.20  # how far the axis reaches above the head's centre
_TURN_OVER_HEAD_M = 0.36  # how far the turn's axis does, so that its ring stands clear of the cap
_TURN_RING_M = 0.09  # radius of the ring that shows which way the turn goes


def axis_ends(pelvis: FloatArray, head: FloatArray) -> FloatArray:
    """The body's axis from above the head to the floor, shape (2, 3). [m]

    A body that leans so far that its axis misses the floor nearby keeps the axis to the pelvis.
    """
    along = direction_of(pelvis - head)
    top = head - _OVER_HEAD_M * along
    reach = -head[2] / along[2] if along[2] < -0.2 else float(np.linalg.norm(pelvis - head))
    return np.stack([top, head + reach * along])


class BodyAxis:
    """Pelvis centre to head centre, carried on to the floor; the reference's dashed; the one at plant faint.

    Parameters
    ----------
    comparison : Comparison
    since : int or None
        Frame whose axis stays as a faint line up to contact, so that the drift from there is seen.
    numbers : Numbers, optional
    """

    name = "axis"

    def __init__(self, comparison: Comparison, since: int | None = None, numbers: Numbers | None = None) -> None:
        pelvis, head = POINTS.index("pelvis"), POINTS.index("head")
        hitter, reference = comparison.swing.points, comparison.reference_points
        self.hitter = (hitter[:, pelvis], hitter[:, head])
        self.reference = (reference[:, pelvis], reference[:, head])
        self.since = since
        self.contact = comparison.swing.index("contact")
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """Both axes from end to end."""
        ends = [axis_ends(pelvis[frame], head[frame]) for pelvis, head in (self.reference, self.hitter)]
        return seen(np.concatenate(ends))

    def draw(self, on: Canvas, frame: int) -> None:
        """The axes, the reference's first, each broken where the hitter's head is."""
        unit, head = on.unit, self.hitter[1][frame]
        ends = straight(on, axis_ends(*(path[frame] for path in self.reference)))
        for part in off_head(on, ends, head):
            on.pen.line(part, 2.5 * unit, BLUE, dash=(11 * unit, 9 * unit), opacity=0.8)
        if self._drifts(frame):
            earlier = straight(on, axis_ends(*(path[self.since] for path in self.hitter)))
            for part in off_head(on, earlier, head):
                on.pen.line(part, 2.5 * unit, INK, dash=(3 * unit, 8 * unit), opacity=0.75)
        ends = straight(on, axis_ends(*(path[frame] for path in self.hitter)))
        for part in off_head(on, ends, head):
            on.pen.line(part, 3 * unit, INK, casing=WHITE, casing_width=1.5 * unit)
        dot(on, ends[-1], 4.5 * unit, INK)

    def label(self, frame: int) -> GuideLabel | None:
        """The drift from plant to contact, at contact."""
        if self.numbers is None or frame != self.contact:
            return None
        ends = axis_ends(*(path[frame] for path in self.hitter))
        return self.numbers.label("axis_drift", "Axis drifts {value}", ends[0], line=stretch(*ends))

    def _drifts(self, frame: int) -> bool:
        until = frame if self.contact is None else self.contact
        return self.since is not None and self.since < frame <= until


class TurnAxis:
    """The line the trunk or the pelvis turns about, and the trail of its crossing with the floor from plant on.

    Parameters
    ----------
    swing : Swing
    segment : {"thorax", "pelvis"}
    numbers : Numbers, optional

    Notes
    -----
    Finite helical axes over steps of 10 degrees, see `mocap.kinematics.helical`; from contact on that of contact stays.
    """

    name = "turn axis"

    def __init__(self, swing: Swing, segment: str = "thorax", numbers: Numbers | None = None) -> None:
        self.prefix, self.word = ("", "Trunk") if segment == "thorax" else ("pelvis_", "Pelvis")
        self.above = swing["head"]
        origin = swing["neck" if segment == "thorax" else "pelvis"]
        self.plant, self.contact = swing.index("plant"), swing.index("contact")
        axes = finite_helical_axes(swing.frames[segment], origin, swing.rate_hz)
        upward = np.where(axes.axis.direction[:, 2:] < 0.0, -1.0, 1.0)
        self.direction = axes.axis.direction * upward
        self.turns = upward[:, 0]  # 1: counter-clockwise seen from above
        self.point = axes.axis.point
        self.crossing = axes.floor_crossing()[0]
        self.numbers = numbers

    def _frame(self, frame: int) -> int:
        return frame if self.contact is None else min(frame, self.contact)

    def ends(self, frame: int) -> FloatArray:
        """From the floor to above the head, shape (2, 3); NaN where it lies level or nothing turns. [m]"""
        at = self._frame(frame)
        rise = self.above[at, 2] + _TURN_OVER_HEAD_M - self.crossing[at, 2]
        along = self.direction[at]
        steep = along[2] if along[2] > 0.2 else np.nan  # flatter ones would leave the picture
        return np.stack([self.crossing[at], self.crossing[at] + rise / steep * along])

    def trail(self, frame: int) -> FloatArray:
        """Crossings with the floor from plant on, shape (N, 3). [m]"""
        if self.plant is None or frame < self.plant:
            return NOWHERE
        return seen(self.crossing[self.plant : self._frame(frame) + 1])

    def reach(self, frame: int) -> FloatArray:
        """The line; the trail only where it is near."""
        return seen(self.ends(frame))

    def draw(self, on: Canvas, frame: int) -> None:
        """Trail, line (broken where the head is), and a ring round its top with an arrowhead, as the turn goes."""
        unit = on.unit
        trail = self.trail(frame)
        if len(trail) > 1:
            on.pen.line(on.framing.project(trail), 3 * unit, RED, casing=WHITE, casing_width=1.5 * unit)
        floor, top = self.ends(frame)
        if not np.isfinite([floor, top]).all():
            return
        line = straight(on, [floor, top])
        for part in off_head(on, line, self.above[frame]):
            on.pen.line(part, 5.5 * unit, WHITE, opacity=0.7)
            on.pen.line(part, 2.5 * unit, INK, dash=(20 * unit, 7 * unit))
        _diamond(on, line[0], 8 * unit)
        self._turn_ring(on, self._frame(frame), top)

    def _turn_ring(self, on: Canvas, at: int, top: FloatArray) -> None:
        along = self.direction[at]
        first = direction_of(np.cross(along, np.array([0.0, 1.0, 0.0])))
        second = np.cross(along, first) * self.turns[at]
        centre = top - 0.06 * along
        ring = circle(on, centre, _TURN_RING_M * first, _TURN_RING_M * second)[:41]  # open: an arrow needs an end
        on.pen.line(ring, 2.5 * on.unit, INK, casing=WHITE, casing_width=1.5 * on.unit)
        tip, back = ring[-1], ring[-4]
        way, length = tip - back, float(np.hypot(*(tip - back)))
        if length > 0.0:
            way = way / length * min(11 * on.unit, 0.4 * size_px(on, centre, _TURN_RING_M) + 4 * on.unit)
            side = 0.6 * np.array([-way[1], way[0]])
            on.pen.polygon([tip + 0.9 * way, tip - 0.3 * way + side, tip - 0.3 * way - side], INK)

    def label(self, frame: int) -> GuideLabel | None:
        """How far the crossing wanders from plant to contact, at contact, where the line meets the floor."""
        if self.numbers is None or frame != self.contact:
            return None
        words = f"{self.word}'s turning axis wanders {{value}}"
        measure, line = f"{self.prefix}turn_axis_wander", stretch(*self.ends(frame))
        return self.numbers.label(measure, words, self.crossing[frame], line=line)


def _diamond(on: Canvas, centre: FloatArray, size: float) -> None:
    corners = np.array([(0.0, -0.6), (1.0, 0.0), (0.0, 0.6), (-1.0, 0.0)])  # lies on the floor
    on.pen.polygon(centre + (size + 2.5 * on.unit) * corners, WHITE)
    on.pen.polygon(centre + size * corners, INK)
