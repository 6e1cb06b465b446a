"""A position held in a drill: one moment, foot-plant, at the stillest half second."""

from __future__ import annotations

import numpy as np

from mocap.errors import DetectionError, OptionError
from mocap.kinematics.filtering import derivative
from mocap.kinematics.moments import BY_HAND, MotionPaths, absent, at_frame
from mocap.swing import MOMENTS, Moment

#: How long a position is held at least. [s] This project's default.
HELD_S = 0.5
#: Pelvis, shoulders and feet of somebody who stands still sway slower than this. [m/s] This project's default.
SWAY = 0.15
STILL = ("pelvis", "neck", "front_ankle", "back_ankle")
METHOD = "middle of the stillest half second of a held position"
WHY = "a held position has no stride and no turn"


def held_moments(paths: MotionPaths, source: str, fixed: dict[str, int]) -> dict[str, Moment]:
    """The moments of a held landing position: `plant`, and why there is no other.

    Parameters
    ----------
    paths : MotionPaths
    source : str
        Name of the recording, for messages.
    fixed : dict of str to int
        Hand-set frames; only `plant` is taken.

    Returns
    -------
    dict of str to Moment
        Every name of `MOMENTS`.

    Raises
    ------
    DetectionError
        Nobody stands still for half a second.
    OptionError
        The hand-set frame lies outside the recording.
    """
    frames = len(paths.joints["pelvis"])
    if "plant" in fixed:
        if not 0 <= fixed["plant"] < frames:
            raise OptionError(
                f"{source}: plant is set to frame {fixed['plant']}; the recording has frames 0 to {frames - 1}"
            )
        plant = at_frame("plant", fixed["plant"], paths, BY_HAND, 0.0)
    else:
        plant = _stillest(paths, source)
    return {name: plant if name == "plant" else absent(name, WHY) for name in MOMENTS}


def _stillest(paths: MotionPaths, source: str) -> Moment:
    """The middle of the half second in which pelvis, shoulders and feet move least."""
    rates = [np.linalg.norm(derivative(paths.joints[name], paths.rate_hz), axis=1) for name in STILL]
    fastest = np.max(rates, axis=0)  # NaN where one of them is not seen
    width = max(round(HELD_S * paths.rate_hz), 1)
    if len(fastest) >= width:
        windows = np.lib.stride_tricks.sliding_window_view(fastest, width)
        mean = windows.mean(axis=1)
        if np.isfinite(mean).any() and np.nanmin(mean) < SWAY:
            first = int(np.nanargmin(mean))
            return at_frame("plant", first + width // 2, paths, METHOD, 0.0)
    raise DetectionError(
        f"{source}: no position is held: pelvis, shoulders and feet are never all slower than {SWAY:g} m/s for"
        f" {HELD_S:g} s; set the frame with --moment plant=FRAME, or leave out --held"
    )
