"""The look: colours, type sizes, line widths. One place, so that every picture agrees.

Colours of the guides, marks and the reference are Paul Tol's "high-contrast" set, safe for colour-blind eyes and in
grey print: P. Tol, *Colour Schemes*, SRON technical note SRON/EPS/TN/09-002, issue 3.2 (2021), figure 3. Neutrals are
ours. No meaning hangs on colour alone: verdicts carry a word and a mark of their own shape, the reference is
translucent with an outline, front and back limbs differ in tone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

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
#: The same over a video, where the hitter himself must be seen through it.
GHOST_OVER_FOOTAGE = 0.28
#: How strong the reference's outline is where it runs over the hitter.
OUTLINE_OVER_HITTER = 0.55

#: The page the sizes below are meant for, in pixels; other sizes scale with `unit`.
DESIGN_WIDTH, DESIGN_HEIGHT = 1920, 1080


#: How wide a picture is on a usual phone held upright, in the points in which its own type is measured. This project's
#: default.
PHONE_WIDTH = 390
#: Smallest type on such a phone, in its points: of square and upright pictures, which are made for it, and of wide
#: ones, which shrink more on it. This project's defaults.
LEAST_ON_PHONE, LEAST_ON_PHONE_WIDE = 12.2, 8.2
#: Beyond this width over height a picture's type grows with its height alone. [-]
_WIDEST = 16.0 / 9.0
#: Sizes of type over the smallest, at least: a wide picture has less height for its lines. [-]
_RATIOS = {"headline": 1.45, "title": 1.25, "value": 1.25, "body": 1.08, "small": 1.0}
_RATIOS_WIDE = {"headline": 1.4, "title": 1.1, "value": 1.15, "body": 1.03, "small": 1.0}


@dataclass(frozen=True)
class Type:
    """Type sizes for one picture size. [px]

    The smallest is 41 px at 1920 × 1080, so that it can be read from the back row and on a phone.
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


def is_wide(size: tuple[int, int]) -> bool:
    """Whether a picture has room beside the bodies, and is looked at on a screen that lies."""
    return size[0] > 1.3 * size[1]


def least_type(size: tuple[int, int]) -> int:
    """Smallest type of a picture of that size: what can still be read on a phone, across which it is shown. [px]"""
    share = (LEAST_ON_PHONE_WIDE if is_wide(size) else LEAST_ON_PHONE) / PHONE_WIDTH
    return max(math.ceil(share * min(size[0], _WIDEST * size[1])), 1)


@lru_cache(maxsize=32)
def type_sizes(size: tuple[int, int]) -> Type:
    """Type sizes for a picture of that size: the one place from which all type on it comes. [px]"""
    scale = unit(size)
    sizes = Type(
        headline=round(56 * scale),
        title=round(34 * scale),
        value=round(40 * scale),
        body=round(28 * scale),
        small=max(round(26 * scale), 1),
    )
    return grown(sizes, max(least_type(size), sizes.small), _RATIOS_WIDE if is_wide(size) else _RATIOS)


def grown(sizes: Type, least: int, ratios: dict[str, float] = _RATIOS) -> Type:
    """The same sizes, the smallest no less than `least` and the others in proportion to it. [px]"""
    return Type(**{name: max(getattr(sizes, name), round(ratio * least)) for name, ratio in ratios.items()})


# Paul Tol's "YlOrBr", sequential, safe for colour-blind eyes and with steadily falling lightness, so that it reads in
# grey print too: same note, figure 17 (nine of its colours; a scheme of ColorBrewer's, from memory).
_YL_OR_BR = (
    (0xFF, 0xFF, 0xE5),
    (0xFF, 0xF7, 0xBC),
    (0xFE, 0xE3, 0x91),
    (0xFE, 0xC4, 0x4F),
    (0xFB, 0x9A, 0x29),
    (0xEC, 0x70, 0x14),
    (0xCC, 0x4C, 0x02),
    (0x99, 0x34, 0x04),
    (0x66, 0x25, 0x06),
)
#: What that map gives where there is no number: the same note's grey for missing data.
NO_DATA: Colour = (0x88, 0x88, 0x88)


def sequential(shares: npt.ArrayLike) -> npt.NDArray[np.uint8]:
    """Colours of shares from 0 to 1, shape (N,), on the sequential map, shape (N, 3); `NO_DATA` for NaN."""
    share = np.asarray(shares, dtype=np.float64)
    stops = np.linspace(0.0, 1.0, len(_YL_OR_BR))
    bands = [np.interp(share, stops, band) for band in np.asarray(_YL_OR_BR, dtype=np.float64).T]
    mixed = np.rint(np.where(np.isfinite(share), bands, np.asarray(NO_DATA, dtype=np.float64)[:, None]))
    return np.asarray(mixed.T, dtype=np.uint8)


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
