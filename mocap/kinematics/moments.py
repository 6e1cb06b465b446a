"""The key moments of a swing: what they are found from, and how each is told.

`foot_moments` finds those up to the landing, `turn_moments` those after it, `held` that of a held position.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import DetectionError
from mocap.kinematics.filtering import derivative
from mocap.kinematics.geometry import heading
from mocap.swing import MOMENTS, FootForces, Moment

GRAVITY = 9.80665

#: The trunk turns at least this fast in a swing; hitters reach 700 to 940 deg/s (Welch 1995, Escamilla 2009). [rad/s]
SLOWEST_TURN = np.radians(200.0)
#: Share of body weight at which a plate says that the foot has landed. This project's design.
LANDED_SHARE = 0.10
#: Share of the peak turning speed below which the turn has ended, and how long it stays so. [-], [s] This project's
#: defaults.
TURN_ENDED, STAYS_ENDED_S = 0.10, 0.06
#: Sweet spot ahead of the front ankle at contact by where the pitch crosses the plate: an away pitch is met just inside
#: the front foot, an inside pitch well in front of it; and how far from there it may be, where that is known and where
#: it is not (then that of a pitch over the middle). [m] Common practice, no source.
EXPECTED_DEPTHS: Mapping[str, float] = {"inside": 0.20, "middle": 0.10, "away": -0.02}
DEPTH_SD, ANY_DEPTH_SD = 0.10, 0.15
#: How a contact was found: seen in the ball, in the barrel, set by hand, or taken from the usual depth.
BALL_STRUCK = "ball changes its velocity"
SPEED_BREAK = "barrel's speed breaks"
BY_HAND = "set by hand"
#: Contacts across which no path of the bat is smoothed or differenced.
STRUCK = (BALL_STRUCK, SPEED_BREAK, BY_HAND)
HANDS_ONLY = "estimated: half way from the fastest hands to straight arms (no bat or ball recorded)"
USUAL_DEPTH = "sweet spot as far ahead of the front foot as is usual for the pitch (no impact seen)"


class SlowError(NamedTuple):
    """A smoothed point's own error, shape (F,) each: standard deviation per axis, and how fast it changes.

    Attributes
    ----------
    sd : ndarray
        [m]
    per_s : ndarray
        Standard deviation of the error's rate over that of the error. [1/s]
    """

    sd: FloatArray
    per_s: FloatArray


@dataclass(frozen=True)
class MotionPaths:
    """What the moments are found from: z up, sides already named front and back.

    Attributes
    ----------
    joints : mapping of str to ndarray, shape (F, 3)
        By hitting-frame names, smoothed alike for all recordings, as the thresholds of speed suppose. [m]
    raw : mapping of str to ndarray, shape (F, 3)
        The same, and the bat's ends, as recorded. [m]
    rate_hz : float
        [Hz]
    sweet_spot : ndarray, shape (F, 3) or None
        Unfiltered path of the bat's sweet spot. [m]
    ball : ndarray, shape (F, 3) or None
        Unfiltered path of the ball. [m]
    forces : FootForces or None
    mass_kg : float or None
    pitch_location : str or None
        A key of `EXPECTED_DEPTHS`.
    slow : mapping of str to SlowError
        Of points that were smoothed before, by hitting-frame names; empty of others.
    """

    joints: Mapping[str, FloatArray]
    raw: Mapping[str, FloatArray]
    rate_hz: float
    sweet_spot: FloatArray | None
    ball: FloatArray | None
    forces: FootForces | None
    mass_kg: float | None
    pitch_location: str | None = None
    slow: Mapping[str, SlowError] = field(default_factory=dict)

    @property
    def frame_sd_s(self) -> float:
        """Standard deviation of a time that is only known to the frame. [s]"""
        return 1.0 / self.rate_hz / np.sqrt(12.0)

    def frames(self, seconds: float) -> int:
        """Whole frames in a time."""
        return int(seconds * self.rate_hz)


def turn_peak(paths: MotionPaths, source: str) -> int:
    """Frame at which the shoulder line turns fastest about the vertical.

    Raises
    ------
    DetectionError
        It never turns as fast as in a swing.
    """
    rate = turning(paths.joints["front_shoulder"], paths.joints["back_shoulder"], paths.rate_hz)
    if not np.isfinite(rate).any() or np.nanmax(rate) < SLOWEST_TURN:
        fastest = 0.0 if not np.isfinite(rate).any() else max(float(np.degrees(np.nanmax(rate))), 0.0)
        raise DetectionError(
            f"{source}: no swing and so no front-foot landing: the shoulders never turn faster than {fastest:.0f} deg/s"
            f" (a swing exceeds {np.degrees(SLOWEST_TURN):.0f})"
        )
    return int(np.nanargmax(rate))


def turning(front: FloatArray, back: FloatArray, rate_hz: float) -> FloatArray:
    """Turning speed of the line between two points about the vertical, toward the pitcher positive, shape (F,). [rad/s]

    A hitter who compares as right-handed opens counter-clockwise seen from above.
    """
    angle = heading(front - back)
    ok = np.isfinite(angle)
    rate = np.full(len(angle), np.nan)
    if ok.sum() > 2:
        steady = np.full(len(angle), np.nan)
        steady[ok] = np.unwrap(angle[ok])
        rate = derivative(steady, rate_hz)
    return rate


def at_frame(name: str, index: int, paths: MotionPaths, method: str, sd_s: float) -> Moment:
    """A moment that is known to the frame."""
    return Moment(name, int(index), index / paths.rate_hz, float(np.hypot(sd_s, paths.frame_sd_s)), method)


def at_time(name: str, frame: float, paths: MotionPaths, method: str, sd_s: float) -> Moment:
    """A moment between two frames; its index is the nearer one's."""
    last = len(paths.joints["pelvis"]) - 1
    frame = float(np.clip(frame, 0.0, last))
    return Moment(name, round(frame), frame / paths.rate_hz, float(sd_s), method)


def absent(name: str, why: str) -> Moment:
    """A moment that was not found."""
    return Moment(name, None, None, None, "", why)


def by_hand(name: str, fixed: Mapping[str, int], paths: MotionPaths) -> Moment | None:
    """The moment as it was set, None where it was not."""
    return at_frame(name, fixed[name], paths, BY_HAND, 0.0) if name in fixed else None


def ordered(moments: Mapping[str, Moment]) -> dict[str, Moment]:
    """All moments in the order of `MOMENTS`."""
    return {name: moments[name] for name in MOMENTS}
