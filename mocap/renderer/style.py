"""The look: colours, type sizes, line widths. One place, so that every picture agrees.

Colours of the guides, marks and the reference are Paul Tol's "high-contrast" set, safe for colour-blind eyes and in
grey print: P. Tol, *Colour Schemes*, SRON technical note SRON/EPS/TN/09-002, issue 3.2 (2021), figure 3. Neutrals are
ours. No meaning hangs on colour alone: verdicts carry a word and a mark of their own shape, the reference is
translucent with an outline, front and back limbs differ in tone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Colour = tuple[int, int, int]

# Paul Tol's high-contrast set.
BLUE: Colour = (0x00, 0x44, 0x88)
YELLOW: Colour = (0xDD, 0xAA, 0x33)
RED: Colour = (0xBB, 0x55, 0x66)

# Neutrals, slightly warm so that blue and white stand clear of them.
PAPER: Colour = (0xEF, 0xEE, 0xEA)
FLOOR: Colour = (0xDF, 0xDD, 0xD7)
CHALK: Colour = (0xFA, 0xFA, 0xF8)
HAIRLINE: Colour = (0xB9, 0xB7, 0xB0)
INK: Colour = (0x1C, 0x22, 0x2B)
MUTED: Colour = (0x5A, 0x60, 0x68)
WHITE: Colour = (0xFF, 0xFF, 0xFF)

#: How solid the reference is.
GHOST_OPACITY = 0.42
#: How strong the reference's outline is where it runs over the hitter.
OUTLINE_OVER_HITTER = 0.55

#: The page the sizes below are meant for, in pixels; other sizes scale with `unit`.
DESIGN_WIDTH, DESIGN_HEIGHT = 1920, 1080


@dataclass(frozen=True)
class Type:
    """Type sizes for one picture size. [px]

    The smallest is 26 px at 1920 × 1080, so that it can be read from the back row and, shrunk, on a phone.
    """

    headline: int
    title: int
    value: int
    body: int
    small: int


def unit(size: tuple[int, int]) -> float:
    """Pixels per design pixel: 1 at 1920 × 1080 and at 1080 × 1920; by area between, by the shorter side beyond."""
    width, height = size
    by_area = float(np.sqrt(width * height / (DESIGN_WIDTH * DESIGN_HEIGHT)))
    return min(by_area, min(width, height) / DESIGN_HEIGHT)


def type_sizes(size: tuple[int, int]) -> Type:
    """Type sizes for a picture of that size. [px]"""
    scale = unit(size)
    return Type(
        headline=round(56 * scale),
        title=round(34 * scale),
        value=round(40 * scale),
        body=round(28 * scale),
        small=max(round(26 * scale), 1),
    )


# Bodies, by the tones of `mocap.renderer.figure.TONES`: the front side light, the back side darker.
HITTER_TONES: dict[str, Colour] = {
    "skin": (0xD3, 0xA6, 0x86),
    "shirt": (0xFD, 0xFC, 0xFA),
    "front_sleeve": (0xFD, 0xFC, 0xFA),
    "back_sleeve": (0x8D, 0x97, 0xA4),
    "belt": (0x2A, 0x32, 0x3E),
    "trousers": (0xE3, 0xE0, 0xD9),
    "front_leg": (0xF3, 0xF0, 0xEA),
    "back_leg": (0x9A, 0xA2, 0xAD),
    "shoe": (0x2A, 0x32, 0x3E),
    "sole": (0xF3, 0xF0, 0xEA),
    "hand": (0x2A, 0x32, 0x3E),
    "cap": (0x2A, 0x32, 0x3E),
    "bat": (0xC9, 0x9A, 0x60),
    "grip": (0x2A, 0x32, 0x3E),
}
_GHOST_LIGHT: Colour = (0x8C, 0xB4, 0xDE)
_GHOST_DARK: Colour = (0x4F, 0x7D, 0xB2)
REFERENCE_TONES: dict[str, Colour] = {
    tone: _GHOST_DARK if tone.startswith("back") or tone in ("belt", "shoe", "cap", "grip", "hand") else _GHOST_LIGHT
    for tone in HITTER_TONES
}
