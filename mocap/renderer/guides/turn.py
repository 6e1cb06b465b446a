"""Guides to the turn and the ball: paths of hands and barrel, zone, pitch, depth of contact, head."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.kinematics.barrel import ZonePath
from mocap.kinematics.geometry import on_bat
from mocap.kinematics.moments import EXPECTED_DEPTHS, USUAL_DEPTH
from mocap.kinematics.pitch import descent
from mocap.kinematics.swing_points import mid_hands
from mocap.pitching import rule_book
from mocap.renderer.guides.canvas import (
    HEAD_M,
    NOWHERE,
    Canvas,
    GuideLabel,
    Numbers,
    dot,
    off_head,
    on_floor,
    seen,
    size_px,
    straight,
    stretch,
    tick,
)
from mocap.renderer.retiming import between
from mocap.renderer.style import INK, RED, WHITE, YELLOW
from mocap.swing import Swing

_FINE = 8  # points of the barrel's path per frame, in which it moves by 10 cm and more
_FADES = 10  # steps in which that path fades
_PITCH_M = (0.25, 1.10)  # how far the pitch's line is drawn behind contact and before it
_OVER_HEAD_M = 0.22  # how far above the head's centre its way is drawn, clear of the cap: this project's default


def sweet_spot(swing: Swing) -> FloatArray:
    """Path of the sweet spot, shape (F, 3). [m]"""
    return on_bat(swing["bat_knob"], swing["bat_barrel"], swing.setup.sweet_spot_m)


def contact_spot(swing: Swing, zone: ZonePath | None, numbers: Numbers) -> FloatArray:
    """Where the sweet spot meets the ball, shape (3,); NaN where that is not known. [m]

    Contact lies between two frames, in which the barrel moves by 10 cm: the place is the one on the path through the
    zone that is as far in front of the front foot as `contact_depth` says, or as the usual depth that contact was found
    from; the frame's own without either.
    """
    contact, depth = swing.index("contact"), numbers.value("contact_depth")
    if contact is None:
        return np.full(3, np.nan)
    if swing.moments["contact"].method == USUAL_DEPTH:
        depth = EXPECTED_DEPTHS[swing.setup.pitch_location or "middle"]
    if zone is None or depth is None:
        spot: FloatArray = sweet_spot(swing)[contact]
        return spot
    x = float(swing["front_ankle"][contact, 0]) + depth
    path = zone.path[np.argsort(zone.path[:, 0])]
    return np.array([x, *(np.interp(x, path[:, 0], path[:, axis]) for axis in (1, 2))])


class HandsPath:
    """Where the hands go from foot-plant on."""

    name = "hands"

    def __init__(self, comparison: Comparison, numbers: Numbers | None = None) -> None:
        swing = comparison.swing
        self.path = mid_hands(swing)
        self.start, self.contact = swing.index("plant"), swing.index("contact")
        self.end = swing.index("extension") or self.contact
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """The path so far."""
        return seen(self.path[self.start : self._last(frame) + 1]) if self.start is not None else NOWHERE

    def draw(self, on: Canvas, frame: int) -> None:
        """The path so far."""
        if self.start is None or frame <= self.start:
            return
        pixels = on.framing.project(self.path[self.start : self._last(frame) + 1])
        on.pen.line(pixels, 3 * on.unit, RED, casing=WHITE, casing_width=1.5 * on.unit)

    def label(self, frame: int) -> GuideLabel | None:
        """The hands' greatest speed, from contact on, in the middle of the path."""
        if self.numbers is None or self.start is None or self.contact is None or frame < self.contact:
            return None
        path = self.path[self.start : self.contact + 1]
        return self.numbers.label("hand_speed", "Hands up to {value}", path[(len(path) - 1) // 2], line=path)

    def _last(self, frame: int) -> int:
        return frame if self.end is None else min(frame, self.end)


class BarrelPath:
    """Where the sweet spot goes, from the hands' passing of the body (or plant) to extension; its past fades."""

    name = "barrel"

    def __init__(self, swing: Swing, numbers: Numbers | None = None) -> None:
        self.path = sweet_spot(swing)
        level, plant = swing.index("level"), swing.index("plant")
        self.start = plant if level is None else level
        self.contact = swing.index("contact")
        self.end = swing.index("extension") or self.contact
        self.numbers = numbers

    def so_far(self, frame: int) -> FloatArray:
        """The path up to a frame, shape (N, 3), finer than the frames. [m]"""
        last = frame if self.end is None else min(frame, self.end)
        if self.start is None or last <= self.start:
            return NOWHERE
        frames = np.linspace(self.start, last, (last - self.start) * _FINE + 1)
        return between(self.path, frames)

    def reach(self, frame: int) -> FloatArray:
        """The path so far."""
        return seen(self.so_far(frame))

    def draw(self, on: Canvas, frame: int) -> None:
        """The path so far, thin and faint where it began, with a dot at its end."""
        path = self.so_far(frame)
        if not len(path):
            return
        pixels, unit = on.framing.project(path), on.unit
        edges = np.linspace(0, len(pixels) - 1, _FADES + 1).round().astype(int)
        for step, (first, last) in enumerate(pairwise(edges), start=1):
            share = step / _FADES
            piece = pixels[first : last + 1]
            on.pen.line(piece, (4.0 + share) * unit, WHITE, opacity=0.6 * share)
            on.pen.line(piece, (1.6 + 1.6 * share) * unit, INK, opacity=0.4 + 0.55 * share)
        dot(on, pixels[-1], 4 * unit, INK)

    def label(self, frame: int) -> GuideLabel | None:
        """The barrel's greatest speed, from contact on, half way to contact."""
        if self.numbers is None or self.start is None or self.contact is None or frame < self.contact:
            return None
        path = self.path[self.start : self.contact + 1]
        return self.numbers.label("bat_speed", "Barrel up to {value}", path[(len(path) - 1) // 2], line=path)


class HittingZone:
    """The stretch of the sweet spot's path on the pitch's line, with its two end marks; as long as the measure says."""

    name = "zone"

    def __init__(self, zone: ZonePath, numbers: Numbers | None = None) -> None:
        self.zone = zone
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """The arc, from the moment it is drawn."""
        return self.zone.path if frame >= self.zone.first_frame else NOWHERE

    def draw(self, on: Canvas, frame: int) -> None:
        """The arc, from the moment the barrel enters the zone."""
        if frame < self.zone.first_frame:
            return
        unit = on.unit
        arc = on.framing.project(self.zone.path)
        if len(arc) < 2:
            return
        on.pen.line(arc, 7 * unit, YELLOW, casing=INK, casing_width=1.5 * unit)
        for end in (arc, arc[::-1]):
            tick(on, end, 17 * unit, 4 * unit)

    def label(self, frame: int) -> GuideLabel | None:
        """Its length, at the end where the barrel leaves it."""
        if self.numbers is None or frame < self.zone.first_frame:
            return None
        path = self.zone.path
        return self.numbers.label("hitting_zone", "{value} in the hitting zone", path[-1], line=path[::-1])


class PitchLine:
    """The line on which the pitch comes in, through the place of contact, and the ball there, to size."""

    name = "pitch"

    def __init__(self, swing: Swing, spot: FloatArray, numbers: Numbers) -> None:
        sizes = rule_book(swing.setup.sport)
        self.radius_m = float(sizes["ball_radius_m"])
        angle = numbers.value("pitch_angle")
        angle_rad = np.radians(descent(swing.setup).angle_deg if angle is None else angle)
        #: Unit direction from which the ball comes: a pitch that comes down was higher before. [-]
        self.toward = np.array([np.cos(angle_rad), 0.0, -np.sin(angle_rad)])
        self.spot = spot
        #: The ball touches the barrel, whose axis the sweet spot lies on.
        self.ball = spot + (self.radius_m + float(sizes["barrel_radius_m"])) * self.toward
        self.ends = np.stack([spot - _PITCH_M[0] * self.toward, spot + _PITCH_M[1] * self.toward])
        self.contact = swing.index("contact")
        self.numbers = numbers

    def reach(self, _frame: int) -> FloatArray:
        """Its ends."""
        return seen(self.ends)

    def draw(self, on: Canvas, frame: int) -> None:
        """The line in long dashes, and at contact the ball."""
        if not np.isfinite(self.ends).all():
            return
        unit = on.unit
        line = straight(on, self.ends)
        for colour, width in ((INK, 6.0), (YELLOW, 3.0)):
            on.pen.line(line, width * unit, colour, dash=(22 * unit, 12 * unit))
        if frame == self.contact:
            radius = size_px(on, self.ball, self.radius_m)
            on.pen.disc(on.framing.project(self.ball), radius, INK)
            on.pen.disc(on.framing.project(self.ball), max(radius - 2.5 * unit, 0.5 * radius), YELLOW)

    def label(self, _frame: int) -> GuideLabel | None:
        """The pitch's angle at the plate, where the line begins."""
        words = "Pitch rises at {value}" if self.toward[2] < 0.0 else "Pitch comes down at {value}"
        return self.numbers.label("pitch_angle", words, self.ends[1], line=stretch(*self.ends[::-1]), signed=False)


class ContactDepth:
    """How far in front of the front foot the ball is met, measured on the floor."""

    name = "depth"

    def __init__(self, swing: Swing, spot: FloatArray, numbers: Numbers) -> None:
        self.contact = swing.index("contact")
        self.spot = spot
        ankle = np.full(3, np.nan) if self.contact is None else swing["front_ankle"][self.contact]
        #: Below the ankle, and as far toward the pitcher as contact. [m]
        self.ends = np.stack([on_floor(ankle), np.array([spot[0], ankle[1], 0.0])])
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """Its ends, and the floor under the place of contact, from contact on."""
        return seen([*self.ends, on_floor(self.spot)]) if self._shows(frame) else NOWHERE

    def draw(self, on: Canvas, frame: int) -> None:
        """A dimension line on the floor, and fine dots from its end to below the sweet spot and up to it."""
        if not self._shows(frame):
            return
        unit = on.unit
        helper = straight(on, [self.ends[1], on_floor(self.spot), self.spot])
        on.pen.line(helper, 4 * unit, WHITE, opacity=0.6)
        on.pen.line(helper, 2 * unit, INK, dash=(2 * unit, 6 * unit))
        line = straight(on, self.ends)
        on.pen.line(line, 3 * unit, INK, casing=WHITE, casing_width=1.5 * unit)
        for end in (line, line[::-1]):
            tick(on, end, 10 * unit, 3 * unit)

    def label(self, frame: int) -> GuideLabel | None:
        """The depth, in the middle of the line."""
        depth = self.numbers.value("contact_depth")
        if depth is None or not self._shows(frame):
            return None
        words = f"Contact {{value}} {'behind' if depth < 0.0 else 'in front of'} the front ankle"
        line = stretch(*self.ends)
        return self.numbers.label("contact_depth", words, self.ends.mean(axis=0), line=line, signed=False)

    def _shows(self, frame: int) -> bool:
        return self.contact is not None and frame >= self.contact and bool(np.isfinite(self.ends).all())


class HeadCircle:
    """The head's place at foot-plant, kept as a ring while the head moves on; the face itself stays free."""

    name = "head"

    def __init__(self, swing: Swing, numbers: Numbers | None = None) -> None:
        self.head = swing["head"]
        #: The same above the cap, where the way is drawn. [m]
        self.over = self.head + np.array([0.0, 0.0, _OVER_HEAD_M])
        self.plant, self.contact = swing.index("plant"), swing.index("contact")
        self.numbers = numbers

    def reach(self, frame: int) -> FloatArray:
        """Both places of the head, and above them."""
        if self.plant is None:
            return NOWHERE
        return seen(np.concatenate([path[[self.plant, frame]] for path in (self.head, self.over)]))

    def draw(self, on: Canvas, frame: int) -> None:
        """A dashed ring round the head at plant, where the head is not now, and its way from there above the cap."""
        if self.plant is None or frame < self.plant or not np.isfinite(self.head[self.plant]).all():
            return
        unit, then = on.unit, self.head[self.plant]
        middle, radius = on.framing.project(then), size_px(on, then, HEAD_M) + 3.0 * unit
        angle = np.linspace(0.0, 2.0 * np.pi, 73)[:, None]
        ring = middle + radius * np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
        for part in off_head(on, ring, self.head[frame]):
            on.pen.line(part, 5.5 * unit, WHITE, opacity=0.7)
            on.pen.line(part, 2.5 * unit, INK, dash=(9 * unit, 6 * unit))
        if frame == self.plant or not np.isfinite(self.head[frame]).all():
            return
        moved = straight(on, self.over[[self.plant, frame]])
        on.pen.line(moved, 3 * unit, RED, casing=WHITE, casing_width=unit)
        tick(on, moved, 8 * unit, 3 * unit, RED)
        dot(on, moved[-1], 5 * unit, RED)

    def label(self, frame: int) -> GuideLabel | None:
        """How far it moved from plant to contact, at contact."""
        if self.numbers is None or frame != self.contact:
            return None
        return self.numbers.label("head_shift", "Head moves {value}", self.over[frame])
