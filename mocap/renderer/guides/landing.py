"""Guides to the position at foot-plant: weight, front side, separation, bat, back knee."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.findings import Findings
from mocap.kinematics.geometry import unit as direction_of
from mocap.kinematics.swing_points import mid_foot, mid_hands
from mocap.renderer.guides.canvas import (
    NOWHERE,
    Canvas,
    GuideLabel,
    Numbers,
    circle,
    dot,
    hollow,
    off_head,
    on_floor,
    on_head,
    seen,
    straight,
    stretch,
    wedge,
)
from mocap.renderer.lens import Lens
from mocap.renderer.style import BLUE, HAIRLINE, INK, RED, WHITE
from mocap.swing import Swing

_FARTHEST_M = 2.5  # a ray that meets the floor farther from the knob ends in the air: this project's default
_FEET_APART_M = 0.40  # the catcher's feet: common practice, no source
_FOOT_M = (0.14, 0.05)  # half length and half width of one: this project's default


class SeparationLine:
    """Front ankle to mid-hands: how far the hands stay from the front foot."""

    name = "separation"

    def __init__(self, comparison: Comparison, numbers: Numbers | None = None) -> None:
        swing = comparison.swing
        self.ends = np.stack([swing["front_ankle"], mid_hands(swing)], axis=1)
        self.plant = swing.index("plant")
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """Its ends."""
        return seen(self.ends[frame])

    def draw(self, on: Canvas, frame: int) -> None:
        """The line with its two end dots."""
        if not np.isfinite(self.ends[frame]).all():
            return
        line = straight(on, self.ends[frame])
        on.pen.line(line, 4 * on.unit, INK, casing=WHITE, casing_width=1.5 * on.unit)
        for end in line[[0, -1]]:
            on.pen.disc(end, 9.5 * on.unit, WHITE)
            on.pen.disc(end, 7.5 * on.unit, INK)

    def label(self, frame: int) -> GuideLabel | None:
        """Its length at plant."""
        if self.numbers is None or frame != self.plant:
            return None
        ends = self.ends[frame]
        words = "Front ankle to hands {value}"
        return self.numbers.label("separation_length", words, ends.mean(axis=0), line=stretch(*ends))


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
    numbers : Numbers, optional
    """

    name = "weight"
    height = 12.0  # [design px]

    def __init__(
        self, comparison: Comparison, findings: Findings, offset_px: float = 84.0, numbers: Numbers | None = None
    ) -> None:
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
        self.numbers = numbers

    @property
    def middle(self) -> float:
        """Middle of the band, as a share of the way from the front foot to the back one; of the bar without a band."""
        return 0.5 if self.band is None else sum(self.band) / 2.0

    def bar(self, framing: Lens, unit: float, frame: int) -> tuple[float, float, float]:
        """x under the back foot, x under the front foot, y of the bar's middle. [px]"""
        pixels = framing.project(self._feet(frame))
        return float(pixels[0, 0]), float(pixels[1, 0]), float(pixels[:, 1].max()) + self.offset_px * unit

    def mark_x(self, on: Canvas, frame: int) -> float:
        """x of the mark. [px]"""
        back_x, front_x, _ = self.bar(on.framing, on.unit, frame)
        if frame == self.plant and self.share is not None:
            return front_x + self.share * (back_x - front_x)
        return float(on.framing.project(self.com[frame])[0])

    def _feet(self, frame: int) -> FloatArray:
        return on_floor(np.stack([self.back[frame], self.front[frame]]))

    def reach(self, frame: int) -> FloatArray:
        """The feet on the floor."""
        return seen(self._feet(frame))

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
            pen.polygon([(low, y - half), (high, y - half), (high, y + half), (low, y + half)], BLUE)
            for edge in (low, high):
                pen.line([(edge, y - 1.7 * half), (edge, y + 1.7 * half)], 2 * unit, INK)
        pen.line([(x, y - self.offset_px * unit), (x, y - 4.2 * half)], 2 * unit, INK, dash=(2 * unit, 7 * unit))
        if frame == self.plant and self.share is not None and self.share_sd:
            self._draw_spread(on, x, y, abs(self.share_sd * (back_x - front_x)))
        wedge(pen, x, y - 1.25 * half, 15 * unit)

    def _draw_spread(self, on: Canvas, x: float, y: float, reach: float) -> None:
        """The plus-minus on the bar itself, below the mark's tip: a line between two upright ends."""
        half = 0.5 * self.height * on.unit
        strokes = [[(x - reach, y), (x + reach, y)]]
        strokes += [[(x + side, y - 0.55 * half), (x + side, y + 0.55 * half)] for side in (-reach, reach)]
        for colour, width in ((WHITE, 5.0), (INK, 2.5)):
            for stroke in strokes:
                on.pen.line(stroke, width * on.unit, colour)

    def label(self, frame: int) -> GuideLabel | None:
        """The share at plant, under the weight."""
        return self._told(frame, "{value} of the weight on the back foot")

    def share_words(self, frame: int) -> str:
        """The share alone, at plant; empty elsewhere."""
        label = self._told(frame, "{value}")
        return "" if label is None else label.words

    def band_words(self, told: str = "") -> str:
        """What stands under the bar: the share that is `told`, and the band that is good; empty without both."""
        if self.band is None:
            return f"{told} on the back foot" if told else ""
        low, high = (f"{100 * share:g}" for share in self.band)
        return f"{told + '; ' if told else ''}good: {low}\N{EN DASH}{high} % on the back foot"

    def _told(self, frame: int, words: str) -> GuideLabel | None:
        if self.numbers is None or self.share is None or frame != self.plant:
            return None
        back, front = self._feet(frame)
        return self.numbers.label("back_share", words, front + self.share * (back - front))


class FrontSideLine:
    """Front ankle, hip and shoulder on one line, and how far off it the knee is."""

    name = "front side"

    def __init__(self, swing: Swing, numbers: Numbers | None = None) -> None:
        self.corners = np.stack([swing[f"front_{joint}"] for joint in ("ankle", "hip", "shoulder")], axis=1)
        self.knee, self.head = swing["front_knee"], swing["head"]
        self.plant, self.contact = swing.index("plant"), swing.index("contact")
        self.numbers = numbers

    def foot_of_knee(self, frame: int) -> FloatArray:
        """The place on the line ankle to hip that is nearest to the knee, shape (3,). [m]"""
        ankle, hip, _ = self.corners[frame]
        along = direction_of(hip - ankle)
        nearest: FloatArray = ankle + float((self.knee[frame] - ankle) @ along) * along
        return nearest

    def reach(self, frame: int) -> FloatArray:
        """Its corners."""
        return seen(self.corners[frame])

    def draw(self, on: Canvas, frame: int) -> None:
        """The line in long dashes with a ring at each corner, off the face, and a fine stroke to the knee."""
        unit, corners = on.unit, self.corners[frame]
        if not np.isfinite(corners).all():
            return
        for part in off_head(on, straight(on, corners), self.head[frame]):
            on.pen.line(part, 6 * unit, WHITE, opacity=0.7)
            on.pen.line(part, 3 * unit, INK, dash=(13 * unit, 7 * unit))
        if np.isfinite(self.knee[frame]).all():
            off = straight(on, [self.foot_of_knee(frame), self.knee[frame]])
            on.pen.line(off, 2.5 * unit, RED, casing=WHITE, casing_width=unit)
            dot(on, off[-1], 4.5 * unit, RED)
        for corner in on.framing.project(corners):
            if not on_head(on, corner, self.head[frame]):
                on.pen.disc(corner, 8 * unit, WHITE)
                on.pen.ring(corner, 6 * unit, 2.5 * unit, INK)

    def label(self, frame: int) -> GuideLabel | None:
        """The knee's bend at plant, and at contact."""
        measure = {self.plant: "front_knee_flexion", self.contact: "front_leg_at_contact"}.get(frame)
        if self.numbers is None or measure is None:
            return None
        return self.numbers.label(measure, "Front knee bent {value}", self.knee[frame])


class KnobRay:
    """The line barrel to knob carried on to the floor, and the catcher's feet at which it should aim.

    The feet are drawn where the place of home plate was recorded.
    """

    name = "knob"

    def __init__(self, swing: Swing, numbers: Numbers | None = None) -> None:
        self.barrel, self.knob = swing["bat_barrel"], swing["bat_knob"]
        self.plant = swing.index("plant")
        self.catcher = np.array([-swing.setup.catcher_behind_m, 0.0, 0.0]) if swing.plate_known else None
        self.numbers = numbers

    def end(self, frame: int) -> tuple[FloatArray, bool]:
        """Where the ray ends, shape (3,) [m], NaN where it rises, and whether that is on the floor."""
        knob = self.knob[frame]
        along = direction_of(knob - self.barrel[frame])
        if not along[2] < 0.0:  # NaN too
            return np.full(3, np.nan), False
        length = -knob[2] / along[2]
        if length > _FARTHEST_M:
            return knob + _FARTHEST_M / 2.0 * along, False
        return knob + length * along, True

    def reach(self, frame: int) -> FloatArray:
        """Its end, and the catcher's feet."""
        ends = [self.knob[frame], self.end(frame)[0]]
        if self.catcher is None:
            return seen(ends)
        outer = np.array([_FOOT_M[0], 0.5 * _FEET_APART_M + _FOOT_M[1], 0.0])
        corners = self.catcher + outer * np.array([(x, y, 0.0) for x in (-1.0, 1.0) for y in (-1.0, 1.0)])
        return seen([*ends, *corners])

    def draw(self, on: Canvas, frame: int) -> None:
        """The catcher's feet, the ray in dots, and a cross where it meets the floor."""
        unit = on.unit
        if self.catcher is not None:
            for side in (-0.5, 0.5):
                foot = self.catcher + np.array([0.0, side * _FEET_APART_M, 0.0])
                half = np.array([[_FOOT_M[0], 0.0, 0.0], [0.0, _FOOT_M[1], 0.0]])
                on.pen.line(circle(on, foot, *half), 2.5 * unit, BLUE, dash=(8 * unit, 5 * unit))
        end, meets_floor = self.end(frame)
        if not np.isfinite(end).all():
            return
        line = straight(on, [self.knob[frame], end])
        on.pen.line(line, 6.5 * unit, WHITE, dash=(2 * unit, 9 * unit))
        on.pen.line(line, 3.5 * unit, INK, dash=(2 * unit, 9 * unit))
        if not meets_floor:
            return
        for colour, width in ((WHITE, 6.0), (INK, 3.0)):
            for way in ((1.0, 1.0, 0.0), (1.0, -1.0, 0.0)):
                arm = 0.05 * np.array(way)
                on.pen.line(on.framing.project(np.stack([end - arm, end + arm])), width * unit, colour)

    def label(self, frame: int) -> GuideLabel | None:
        """How far it misses the catcher's feet, at plant."""
        if self.numbers is None or frame != self.plant:
            return None
        end = self.end(frame)[0]
        words = "Knob points {value} from the catcher's feet"
        return self.numbers.label("knob_aim", words, end, line=stretch(end, self.knob[frame]))


class BackKneeMark:
    """Where the back knee was as the stride began, and where it is: does it stay over the back foot?"""

    name = "back knee"

    def __init__(self, swing: Swing) -> None:
        self.knee, self.foot = swing["back_knee"], mid_foot(swing, "back")
        start = swing.index("lift")
        self.start = swing.index("stance") if start is None else start

    def reach(self, frame: int) -> FloatArray:
        """Both places of the knee."""
        return NOWHERE if self.start is None else seen(self.knee[[self.start, frame]])

    def draw(self, on: Canvas, frame: int) -> None:
        """A ring at the earlier place, a dot at the present one, and a plumb line from each to the floor."""
        unit = on.unit
        if self.start is None or frame < self.start:
            return
        then, now = self.knee[self.start], self.knee[frame]
        for place, fine in ((then, 1.5), (now, 2.5)):
            if np.isfinite(place).all():
                plumb = straight(on, [place, on_floor(place)])
                on.pen.line(plumb, (fine + 3.0) * unit, WHITE, opacity=0.6)
                on.pen.line(plumb, fine * unit, RED, dash=(7 * unit, 6 * unit))
        if np.isfinite([then, now]).all():
            on.pen.line(straight(on, [then, now]), 2.5 * unit, RED, casing=WHITE, casing_width=unit)
        if np.isfinite(then).all():
            hollow(on, on.framing.project(then), 8 * unit, RED)
        if np.isfinite(now).all():
            dot(on, on.framing.project(now), 6 * unit, RED)

    def label(self, _frame: int) -> GuideLabel | None:
        """No measure says it."""
        return None
