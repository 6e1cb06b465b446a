"""Guides: thin lines that show what a measure means, each a small class, each can be left out.

A guide takes its places from the swing and its numbers from the findings; it computes no measure. What belongs to the
hitter is drawn in ink and red, what belongs to the ball in yellow, the reference and what is aimed at in dashed blue;
and as no meaning hangs on colour alone, each line has a dash, an end or a shape of its own.
"""

from __future__ import annotations

from mocap.renderer.guides.axes import BodyAxis, TurnAxis, axis_ends
from mocap.renderer.guides.canvas import Canvas, Guide, GuideLabel, Numbers, strokes
from mocap.renderer.guides.landing import BackKneeMark, FrontSideLine, KnobRay, SeparationLine, WeightBar
from mocap.renderer.guides.registry import GUIDES, WHOLE_SWING, GuideEntry, chosen, names_of, shown_at
from mocap.renderer.guides.turn import (
    BarrelPath,
    ContactDepth,
    HandsPath,
    HeadCircle,
    HittingZone,
    PitchLine,
    contact_spot,
)

__all__ = [
    "GUIDES",
    "WHOLE_SWING",
    "BackKneeMark",
    "BarrelPath",
    "BodyAxis",
    "Canvas",
    "ContactDepth",
    "FrontSideLine",
    "Guide",
    "GuideEntry",
    "GuideLabel",
    "HandsPath",
    "HeadCircle",
    "HittingZone",
    "KnobRay",
    "Numbers",
    "PitchLine",
    "SeparationLine",
    "TurnAxis",
    "WeightBar",
    "axis_ends",
    "chosen",
    "contact_spot",
    "names_of",
    "shown_at",
    "strokes",
]
