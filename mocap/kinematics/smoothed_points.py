"""Points that were smoothed before they came here: they err more than they scatter, and what is sudden is blurred."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from mocap.capture import Capture
from mocap.swing import Moment

#: What smoothing adds to a moment's standard deviation: of the feet, of a foot that comes to lie flat, and of the turn,
#: which is smooth by itself but for the blow. [frames] Swings of 30 random hitters, filmed by two cameras at 120 Hz
#: (`scripts/accuracy_two_cameras.py`).
FEET_FRAMES, FLAT_FRAMES, TURN_FRAMES = 1.0, 2.5, 0.35
_TURN = ("level", "contact", "extension")


def stated_error(capture: Capture) -> dict[str, float]:
    """Root mean square over the frames of each point's stated standard deviation, by its label in lower case. [m]"""
    seen = np.isfinite(capture.residuals)
    square = np.where(seen, capture.residuals, 0.0) ** 2
    error = np.sqrt(square.sum(axis=0) / np.maximum(seen.sum(axis=0), 1))
    return dict(zip((label.lower() for label in capture.labels), error.tolist(), strict=True))


def blurred(moments: Mapping[str, Moment], rate_hz: float, by_hand: Collection[str]) -> Mapping[str, Moment]:
    """Moments with the standard deviation that smoothing adds to what it blurs; those set by hand as they are."""

    def wider(moment: Moment) -> Moment:
        if moment.sd_s is None or moment.name in by_hand:
            return moment
        frames = FLAT_FRAMES if moment.name == "foot_flat" else TURN_FRAMES if moment.name in _TURN else FEET_FRAMES
        return replace(moment, sd_s=float(np.hypot(moment.sd_s, frames / rate_hz)))

    return MappingProxyType({name: wider(moment) for name, moment in moments.items()})
