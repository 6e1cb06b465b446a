"""Moments of the turn: hands level, contact, extension and finish."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.blow import ball_blow, bat_blow
from mocap.kinematics.filtering import lowpass, runs, speed
from mocap.kinematics.geometry import flexion
from mocap.kinematics.moments import (
    ANY_DEPTH_SD,
    BALL_STRUCK,
    DEPTH_SD,
    EXPECTED_DEPTHS,
    HANDS_ONLY,
    SPEED_BREAK,
    STAYS_ENDED_S,
    TURN_ENDED,
    USUAL_DEPTH,
    MotionPaths,
    absent,
    at_time,
    by_hand,
    turning,
)
from mocap.swing import Moment

#: Contact comes at most this long after the landing. [s] This project's default.
LONGEST_TURN_S = 0.6
#: A sweet spot, or hands, that never get this fast belong to a swing that was held back. [m/s] This project's defaults;
#: children swing at 15 m/s and more.
SLOWEST_SWING, SLOWEST_HANDS = 10.0, 4.0
#: A contact from the hands alone. [s] This project's default.
HANDS_SD_S = 0.020
#: The elbows are straightest within this long after contact; a parabola is laid through this long around the least
#: bend. [s] This project's defaults.
EXTENSION_S, ELBOW_FIT_S = 0.25, 0.02
#: How well the straightest arms are known, as a bend that hardly changes hangs on where the elbows were seen. [s] Posed
#: swings with elbows and wrists 10 mm off.
FLAT_ARMS_SD_S = 0.0038
#: How well the hands' passing of mid-trunk, and the end of the turn, are known. [s] This project's defaults.
LEVEL_SD_S, FINISH_SD_S = 0.0015, 0.003
#: The turning speed is smoothed at this cut-off to find its end. [Hz] This project's default.
FINISH_CUTOFF_HZ = 5.0
#: A turn hovers about its end within this share of the speed that ends it, this long around. [-], [s] This project's
#: defaults.
HOVER, HOVER_S = 0.25, 0.15
#: A bat, or hands, at less than this share of their greatest speed have slowed down. This project's default.
SLOWED_DOWN = 0.6
HELD_BACK = "the swing was held back: "


def find_turn(paths: MotionPaths, plant: Moment, fixed: Mapping[str, int]) -> dict[str, Moment]:
    """Moments after the landing: `level`, `contact`, `extension`, `finish`; x must point to the pitcher.

    Parameters
    ----------
    paths : MotionPaths
        In the hitting frame.
    plant : Moment
    fixed : mapping of str to int
        Hand-set frames.

    Returns
    -------
    dict of str to Moment
    """
    assert plant.index is not None
    found: dict[str, Moment] = {}
    steps: tuple[tuple[str, Callable[[MotionPaths, int, Mapping[str, Moment]], Moment]], ...] = (
        ("level", _level),
        ("contact", _contact),
        ("extension", _extension),
        ("finish", _finish),
    )
    for name, step in steps:
        found[name] = by_hand(name, fixed, paths) or step(paths, plant.index, found)
    return found


def _mid_hands(paths: MotionPaths) -> FloatArray:
    return (paths.joints["front_hand"] + paths.joints["back_hand"]) / 2


def _crossing(values: FloatArray, start: int, stop: int) -> float | None:
    """Frame at which values first rise through zero, between frames."""
    part = values[start:stop]
    up = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
    if not len(up):
        return None
    index = start + int(up[0])
    return index - float(values[index] / (values[index + 1] - values[index]))


def _level(paths: MotionPaths, plant: int, _found: Mapping[str, Moment]) -> Moment:
    ahead = _mid_hands(paths)[:, 0] - (paths.joints["neck"] + paths.joints["pelvis"])[:, 0] / 2
    frame = _crossing(ahead, plant, len(ahead))
    if frame is None:
        return absent("level", "the hands do not pass the body line after foot-plant")
    return at_time("level", frame, paths, "mid-hands pass mid-trunk", LEVEL_SD_S)


def _contact(paths: MotionPaths, plant: int, _found: Mapping[str, Moment]) -> Moment:
    """By the best evidence there is: ball, barrel, usual depth, hands."""
    last = plant + paths.frames(LONGEST_TURN_S)
    spot = paths.sweet_spot
    bat_seen = spot is not None and np.isfinite(spot[plant:last]).all(axis=1).any()
    if paths.ball is not None and np.isfinite(paths.ball[plant:last]).any():
        blow = ball_blow(paths.ball, spot, paths.rate_hz, plant, last)
        if blow is not None:
            return _struck(blow.frame, blow.sd, paths, BALL_STRUCK)
    if not bat_seen:
        return _from_hands(paths, plant, last)
    assert spot is not None
    moving = speed(spot, paths.rate_hz)[plant:last]
    fastest = float(np.nanmax(moving))
    if fastest < SLOWEST_SWING:
        return _not_struck(moving, f"the sweet spot gets no faster than {fastest:.0f} m/s", "bat")
    bat = bat_blow(spot, paths.rate_hz, plant, last)
    if bat is not None:
        return _struck(bat.frame, bat.sd, paths, SPEED_BREAK)
    return _depth_crossing(paths, plant, last)


def _not_struck(moving: FloatArray, why: str, what: str) -> Moment:
    """No contact: held back if the bat or the hands are seen to slow down again, else not seen."""
    peak = int(np.nanargmax(moving))
    after = moving[peak:]
    if np.nanmin(after) < SLOWED_DOWN * moving[peak]:
        return absent("contact", f"{HELD_BACK}{why}")
    return absent("contact", f"the {what} {'is' if what == 'bat' else 'are'} not seen until contact")


def _struck(frame: float, sd: float, paths: MotionPaths, method: str) -> Moment:
    """A blow's index is the last frame before it, as the bat's path breaks there."""
    return Moment("contact", int(np.floor(frame + 1e-9)), frame / paths.rate_hz, sd / paths.rate_hz, method)


def _from_hands(paths: MotionPaths, plant: int, last: int) -> Moment:
    hands = speed(_mid_hands(paths), paths.rate_hz)[plant:last]
    if not np.isfinite(hands).any():
        return absent("contact", "neither a bat nor the hands were recorded")
    if np.nanmax(hands) < SLOWEST_HANDS:
        return _not_struck(hands, f"the hands get no faster than {np.nanmax(hands):.1f} m/s", "hands")
    fastest = plant + int(np.nanargmax(hands))
    straight = _straightest_elbows(paths, fastest)
    # The barrel is still on its way when the hands are fastest, and past the ball when the arms are straight.
    frame = float(fastest) if straight is None else (fastest + straight[0]) / 2
    return at_time("contact", frame, paths, HANDS_ONLY, HANDS_SD_S)


def _depth_crossing(paths: MotionPaths, plant: int, last: int) -> Moment:
    assert paths.sweet_spot is not None
    depth = EXPECTED_DEPTHS[paths.pitch_location or "middle"]
    ahead = paths.sweet_spot[:, 0] - paths.joints["front_ankle"][:, 0] - depth
    frame = _crossing(ahead, plant, last)
    if frame is None:
        moving = speed(paths.sweet_spot, paths.rate_hz)[plant:last]
        return _not_struck(moving, "the sweet spot never reaches the contact depth", "bat")
    index = int(frame)
    # A contact deeper or shallower is as common; the barrel's speed turns that into time.
    spread = ANY_DEPTH_SD if paths.pitch_location is None else DEPTH_SD
    pace = float(ahead[index + 1] - ahead[index]) * paths.rate_hz
    return at_time("contact", frame, paths, USUAL_DEPTH, spread / max(pace, 1.0))


def _extension(paths: MotionPaths, _plant: int, found: Mapping[str, Moment]) -> Moment:
    contact = found["contact"].index
    if contact is None:
        return absent("extension", "no contact")
    straight = _straightest_elbows(paths, contact)
    if straight is None:
        return absent("extension", "the elbows are not seen until the arms are straight")
    frame, sd = straight
    return at_time("extension", frame, paths, "both elbows at their straightest", sd / paths.rate_hz)


def _straightest_elbows(paths: MotionPaths, start: int) -> tuple[float, float] | None:
    """When the two elbows together are straightest, and how well that is known. [frames]

    Arms stay straight for a while: the vertex of a parabola through the bend around its least value.
    """
    joints = paths.joints
    bends = [flexion(*(joints[f"{s}_{name}"] for name in ("shoulder", "elbow", "wrist"))) for s in ("front", "back")]
    bend = bends[0] + bends[1]
    after = bend[start : start + max(paths.frames(EXTENSION_S), 2)]
    if not np.isfinite(after).any():
        return None
    least = start + int(np.nanargmin(after))
    reach = max(round(ELBOW_FIT_S * paths.rate_hz), 2)
    if start + int(np.flatnonzero(np.isfinite(after))[-1]) - least < reach:
        return None  # they may go on straightening
    around = np.arange(max(least - reach, start), min(least + reach + 1, len(bend)))
    around = around[np.isfinite(bend[around])]
    if len(around) < 4:
        return float(least), float(reach)
    x = (around - least).astype(np.float64)
    (c, b, _), residual, *_ = np.polyfit(x, bend[around], 2, full=True)
    if c <= 0.0:
        return float(least), float(reach)
    frame = least + float(np.clip(-b / (2.0 * c), -reach, reach))
    noise = float(np.sqrt(residual[0] / max(len(x) - 3, 1))) if len(residual) else 0.0
    # The slope at the vertex errs by the noise over the spread of the frames; the curvature turns that into time.
    sd = noise / float(np.sqrt((x**2).sum())) / (2.0 * c)
    return frame, float(np.hypot(sd, FLAT_ARMS_SD_S * paths.rate_hz))


def _finish(paths: MotionPaths, plant: int, found: Mapping[str, Moment]) -> Moment:
    """The turn has ended: pelvis and shoulders have both come to rest.

    The pelvis alone often pauses while the shoulders are still turning, so both must be slow.
    """
    contact = found["contact"].index
    start = plant if contact is None else contact
    joints = paths.joints
    over = np.full(len(joints["pelvis"]), -TURN_ENDED)
    for part in ("hip", "shoulder"):
        rate = turning(joints[f"front_{part}"], joints[f"back_{part}"], paths.rate_hz)
        # The end of the turn is slow, and noise would keep it going; its greatest speed is not.
        dying = lowpass(rate, paths.rate_hz, FINISH_CUTOFF_HZ)
        # What is not seen may still turn.
        over = np.maximum(over, np.nan_to_num(dying / np.nanmax(rate[plant:]), nan=1.0) - TURN_ENDED)
    over[:start] = 1.0
    lasting = STAYS_ENDED_S * paths.rate_hz
    ends = [first for first, stop in runs(over < 0.0) if stop - first >= lasting or stop == len(over)]
    if not ends or ends[0] == start:
        return absent("finish", "the turn is not seen to its end")
    index = ends[0]
    frame = index - over[index] / (over[index] - over[index - 1])
    # Where the turn dies away slowly its end is hard to tell.
    slower = np.flatnonzero(over[:index] > 0.5 * TURN_ENDED)
    fading = (frame - slower[-1]) / paths.rate_hz if len(slower) else 0.0
    # And where it hovers about its end, any of those frames may be it.
    around = np.abs(over[max(index - paths.frames(HOVER_S), 0) : index + paths.frames(HOVER_S)])
    hovering = float((around < HOVER * TURN_ENDED).sum()) / paths.rate_hz
    sd = float(np.linalg.norm([FINISH_SD_S, 0.15 * fading, 0.25 * hovering]))
    return at_time("finish", float(frame), paths, "pelvis and shoulders stop turning", sd)
