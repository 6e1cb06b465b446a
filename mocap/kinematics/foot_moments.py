"""Moments of the stride: stance, lift, toe touch, foot-plant and flat foot."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import DetectionError, OptionError
from mocap.kinematics.filtering import runs, speed
from mocap.kinematics.front_foot import (
    SOLE_M,
    STILL_S,
    STILL_SPEED,
    STRIDE_BEFORE_S,
    SURE,
    FrontFoot,
    median,
)
from mocap.kinematics.moments import (
    GRAVITY,
    LANDED_SHARE,
    MotionPaths,
    absent,
    at_time,
    by_hand,
    turn_peak,
    turning,
)
from mocap.swing import Moment

#: A foot that is still with a part of its sole this high is tapping, not standing. [m] This project's default.
TAP_HEIGHT = 0.02
#: A movement that starts smoothly is as old as twice its way over its speed and this, at most so old; and how well that
#: is known. [s] Posed swings; no published value.
ONSET_S, OLDEST_ONSET_S, ONSET_SD_S = 0.016, 0.080, 0.0035
#: How much the gaps between frames add to that, and noise, in what it makes of the way over the speed. [frames], [-]
#: Posed swings at 60 to 240 Hz with 1 and 3 mm of noise.
ONSET_FRAMES, ONSET_NOISE = 0.55, 3.5
#: The speed is taken over so long before and after. [s] This project's default.
ONSET_REACH_S = 0.008
#: How well the lift is known: a ball or heel 10 mm off in the foot seems to rise as the foot tips. [s] Posed swings.
LIFT_SD_S = 0.033
#: From the touch that stops the foot to 10 % of body weight, and how well that is known. [s] Posed swings; walking on
#: plates lies within it (tests/published); for batters no value is published.
LOADING_S, LOADING_SD_S = 0.020, 0.008
#: How the landing is told, how long it comes after what is seen, and how well that is known. [s] An ankle goes on down
#: with the heel after the toes have landed: posed swings, for feet of which no other point was recorded.
BY_SOLE = ("front foot comes to rest on the floor", LOADING_S, LOADING_SD_S)
BY_ANKLE = ("front ankle comes to rest (no foot points recorded)", -0.025, 0.015)
#: The landing is fitted from this long before the foot slows down to this long after. [s] This project's defaults.
FIT_BEFORE_S, FIT_AFTER_S = 0.06, 0.05
#: How well a landing is known of which the approach was not recorded. [s] Posed swings.
LATE_START_SD_S = 0.04
#: A part that goes out of sight sooner after the landing than this share of `FIT_AFTER_S` does not show it.
SEEN_AFTER = 0.5
#: How often the fit is moved to where it found the landing.
FIT_ROUNDS = 6
#: Timing error of the flat foot, which settles slowly, and what gaps between frames add: so much of an even spread over
#: one. [s], [-] Posed swings at 60 to 480 Hz.
FLAT_SD_S, FLAT_FRAMES = 0.0016, 0.43
#: Timing error of the flat foot in points that were smoothed before: filmed swings. [s]
SMOOTHED_FLAT_SD_S = 0.012
#: How well a plate tells the landing, beside its sampling: forces are filtered and zeroed. [s] Posed swings.
PLATE_SD_S = 0.00010
#: Share of a sample's even spread by which the landing is off, as it is read off the line between two samples. [-]
#: Posed swings on plates of 1200 Hz.
PLATE_SAMPLE_SHARE = 0.66
#: The plate counts as left below this share of the landing's load. This project's default.
STAYS_LOADED = 0.5
#: Without a stride: the hips' turn has begun at this share of its greatest speed; how well that stands for a landing.
#: [-], [s] This project's defaults.
TURN_BEGINS, TURN_BEGINS_SD_S = 0.30, 0.030
NO_STRIDE = "the front foot does not stride"
WITHOUT_SOLE = "no point of the front foot but its ankle was recorded"
BY_TURN = "no stride: the hips begin to turn"


class Kink(NamedTuple):
    """Where a straight approach ends in rest: frame, its standard deviation [frames], speed [m/frame]."""

    frame: float
    sd: float
    speed: float


def find_plant(paths: MotionPaths, source: str, fixed: Mapping[str, int]) -> dict[str, Moment]:
    """Moments up to the landing: `stance`, `lift`, `toe_touch`, `plant`, `foot_flat`.

    Parameters
    ----------
    paths : MotionPaths
    source : str
        Name of the recording, for messages.
    fixed : mapping of str to int
        Hand-set frames.

    Returns
    -------
    dict of str to Moment

    Raises
    ------
    DetectionError
        No turn, or no front-foot landing before it.
    OptionError
        A hand-set frame lies outside the recording.

    Notes
    -----
    Without plates the foot's landing is where its straight approach to the floor ends in rest: the broken line through
    the raw heights around it (or, for a foot that glides in low, through its distance from where it comes to rest) is
    found by least squares, and 10 % of body weight follows `LOADING_S` later. A hitter who does not stride lands
    nowhere; the position is then judged where his hips begin to turn.
    """
    frames = len(paths.joints["pelvis"])
    for name, index in fixed.items():
        if not 0 <= index < frames:
            raise OptionError(f"{source}: {name} is set to frame {index}; the recording has frames 0 to {frames - 1}")
    foot = FrontFoot(paths, turn_peak(paths, source))
    found = _landing(foot, source, by_hand("plant", fixed, paths))
    found |= _before_landing(foot, found["plant"])
    return {name: by_hand(name, fixed, paths) or moment for name, moment in found.items()}


def _landing(foot: FrontFoot, source: str, given: Moment | None) -> dict[str, Moment]:
    """`toe_touch`, `plant` and `foot_flat`."""
    plant = given or _plant_by_force(foot)
    kink = _touch(foot)
    if plant is None and kink is not None:
        what, lag, known = BY_ANKLE if "ankle" in foot.sole else BY_SOLE
        sd = float(np.hypot(known, kink.sd / foot.paths.rate_hz))
        if kink.frame < foot.paths.frames(0.5 * FIT_BEFORE_S):  # the recording begins in the landing
            sd = max(sd, LATE_START_SD_S)
        plant = at_time("plant", kink.frame + lag * foot.paths.rate_hz, foot.paths, what, sd)
    if plant is None and foot.stride_peak is not None:
        raise DetectionError(
            f"{source}: no front-foot landing: the front foot is never down and still between its stride (frame"
            f" {foot.stride_peak}) and the turn (frame {foot.turn}); set it with --moment plant=FRAME"
        )
    plant = plant or _turn_begins(foot, source)
    assert plant.index is not None
    touch = absent("toe_touch", NO_STRIDE if kink is None else WITHOUT_SOLE)
    if kink is not None and "ankle" not in foot.sole and kink.frame < plant.index + foot.paths.frames(LOADING_S) + 1:
        # A foot that comes down slowly touches long before it rests.
        frame = kink.frame - SOLE_M / kink.speed if kink.speed > 0.0 else kink.frame
        sd = float(np.hypot(kink.sd / foot.paths.rate_hz, 0.5 * LOADING_SD_S))
        touch = at_time("toe_touch", frame, foot.paths, "lowest part of the front foot reaches the floor", sd)
    return {"toe_touch": touch, "plant": plant, "foot_flat": _flat(foot, plant)}


def _plant_by_force(foot: FrontFoot) -> Moment | None:
    """When the front foot's plate reaches 10 % of body weight, to stay loaded until the turn peaks."""
    forces = foot.paths.forces
    if forces is None:
        return None
    vertical, rate = forces.front[:, 2], forces.rate_hz
    turn = min(round(foot.turn / foot.paths.rate_hz * rate), len(vertical) - 1)
    before = max(turn - int(STRIDE_BEFORE_S * rate), 0)
    weight = body_weight(foot.paths, before)
    threshold = LANDED_SHARE * weight
    off = np.flatnonzero(vertical[before:turn] < STAYS_LOADED * threshold)
    if not len(off):
        return None
    start = before + int(off[-1])
    up = np.flatnonzero(vertical[start : turn + 1] >= threshold)
    if not len(up):
        return None
    first = start + int(up[0])
    rise = vertical[first] - vertical[first - 1]
    time = first - (vertical[first] - threshold) / rise
    sd = float(np.hypot(PLATE_SD_S, PLATE_SAMPLE_SHARE / rate / np.sqrt(12.0)))
    method = f"force plate: front foot carries {100 * LANDED_SHARE:.0f} % of body weight"
    return at_time("plant", time / rate * foot.paths.rate_hz, foot.paths, method, sd)


def body_weight(paths: MotionPaths, before: int) -> float:
    """From the hitter's mass, else what the plates carried together up to a sample. [N]"""
    if paths.mass_kg is not None:
        return paths.mass_kg * GRAVITY
    assert paths.forces is not None
    return float(np.nanmedian((paths.forces.front + paths.forces.back)[: max(before, 1), 2]))


def _touch(foot: FrontFoot) -> Kink | None:
    """When the front foot's approach ends: of its lowest part over the floor, else of its way to where it rests."""
    about = foot.about_landed
    if about is None:
        return None
    centre = float(about)
    for _ in range(FIT_ROUNDS):
        found = _touch_near(foot, round(centre))
        if found is None or abs(found.frame - centre) <= 1.0:
            break
        centre = min(found.frame, float(foot.turn))
    return found or Kink(float(about), LOADING_SD_S * foot.paths.rate_hz, 0.0)


def _touch_near(foot: FrontFoot, about: int) -> Kink | None:
    """The end of the approach in the frames around one."""
    window, blur = _fit_window(foot, about)
    kinks = {
        part: kink
        for part, path in foot.sole.items()
        if _seen_after(foot, path, about) and (kink := approach_end(path[window, 2], window.start, blur)) is not None
    }
    early = min(kinks, key=lambda part: kinks[part].frame) if kinks else None
    first = kinks[early] if early is not None else None
    # What smoothing has left of an error in the height is as good as a time at the speed of the approach.
    doubt = np.inf if early is None else _doubt_s(foot, early, kinks[early], about)
    if doubt < LOADING_SD_S:
        return first
    # A part that comes down so low that its height tells little is followed to where it rests; what comes down later,
    # and steeply, is not the landing.
    rests = slice(about + foot.paths.frames(0.01), about + foot.paths.frames(FIT_AFTER_S) + 1)
    for part, path in foot.sole.items():
        if np.isnan(path[rests]).all(axis=0).any():  # out of sight there
            continue
        place = np.nanmedian(path[rests], axis=0)
        along = place - path[window.start]
        kink = approach_end((place - path[window]) @ (along / np.linalg.norm(along)), window.start, blur)
        if kink is not None and _doubt_s(foot, part, kink, about) < doubt:
            return kink._replace(speed=0.0)
    return first


def _fit_window(foot: FrontFoot, about: int) -> tuple[slice, float]:
    """Frames in which a landing about one of them is fitted, and the width of the blur there. [frames]"""
    start, stop = about - foot.paths.frames(FIT_BEFORE_S) - 2, about + foot.paths.frames(FIT_AFTER_S) + 3
    return slice(max(start, 0), min(stop, len(foot.speed))), foot.blur_s(about) * foot.paths.rate_hz


def _seen_after(foot: FrontFoot, path: FloatArray, about: int) -> bool:
    """Whether a part of the sole is seen for long enough after its landing to tell it."""
    late = slice(about + foot.paths.frames(SEEN_AFTER * FIT_AFTER_S), about + foot.paths.frames(FIT_AFTER_S) + 3)
    return bool(np.isfinite(path[late, 2]).any())


def _doubt_s(foot: FrontFoot, part: str, kink: Kink, about: int) -> float:
    """How well a kink in a part's way is known, its slow error included. [s]"""
    return float(np.hypot(kink.sd, foot.slow_of(part)[about] / kink.speed)) / foot.paths.rate_hz


def approach_end(values: FloatArray, first: int, blur: float = 0.0) -> Kink | None:
    """Where values of one frame each cease to fall.

    Parameters
    ----------
    values : ndarray, shape (F,)
    first : int
        Frame of the first one.
    blur : float
        Width of the normal curve that they were smoothed with. [frames]

    Returns
    -------
    Kink or None
        Of the broken line - straight down, then level - that fits best, blurred alike; None where nothing comes down.
    """
    seen = np.flatnonzero(np.isfinite(values))
    if len(seen) < 6:
        return None
    time, z = seen.astype(np.float64), values[seen]
    breaks = np.linspace(time[2], time[-3], max(int(8 * (time[-3] - time[2])), 2))
    ramp = _blurred_ramp(breaks[:, None] - time, blur)
    ramp_mean, z_mean = ramp.mean(axis=1, keepdims=True), z.mean()
    covariance = ((ramp - ramp_mean) * (z - z_mean)).sum(axis=1)
    slope = covariance / ((ramp - ramp_mean) ** 2).sum(axis=1)
    misfit = ((z - z_mean - slope[:, None] * (ramp - ramp_mean)) ** 2).sum(axis=1)
    best = int(np.argmin(np.where(slope > 0.0, misfit, np.inf)))
    if slope[best] <= 0.0:
        return None
    before = max(int((time < breaks[best]).sum()), 1)
    after = max(len(time) - before, 1)
    noise = np.sqrt(misfit[best] / max(len(time) - 3, 1))
    sd = noise / slope[best] * np.sqrt(1.0 / after + 4.0 / before)
    return Kink(float(first + breaks[best]), float(sd), float(slope[best]))


def _blurred_ramp(ahead: FloatArray, blur: float) -> FloatArray:
    """A line that falls with slope one and ends at zero, blurred by a normal curve; `ahead` is what is left of it."""
    if not blur > 0.0:
        return np.maximum(ahead, 0.0)
    from scipy.special import ndtr

    along = ahead / blur
    ramp: FloatArray = ahead * ndtr(along) + blur / np.sqrt(2.0 * np.pi) * np.exp(-0.5 * along**2)
    return ramp


def _flat(foot: FrontFoot, plant: Moment) -> Moment:
    """When every part of the sole rests, to stay so until the turn peaks."""
    if foot.stride_peak is None:
        return absent("foot_flat", NO_STRIDE)
    assert plant.index is not None
    if foot.paths.slow and (frame_sd := _last_to_rest(foot, plant.index)) is not None:
        frame, sd = max(frame_sd[0], (plant.time_s or 0.0) * foot.paths.rate_hz), frame_sd[1]
        return at_time("foot_flat", frame, foot.paths, "the last part of the front foot comes to rest", sd)
    heights = foot.over_rest(foot.smooth, plant.index)
    rested = max(SOLE_M, 2.0 * foot.left_noise)
    over = np.max([rested / foot.way_of(part, 2.0, rested) * height for part, height in heights.items()], axis=0)
    late = max(foot.turn, plant.index + foot.paths.frames(0.05))
    on_the_way = np.flatnonzero(over[: late + 1] > rested)
    on_the_way = on_the_way[on_the_way < late]
    if not len(on_the_way):
        return absent("foot_flat", "the front foot's heights are not seen before the turn peaks")
    last = int(on_the_way[-1])
    drop = over[last] - over[last + 1]
    frame = last + (over[last] - rested) / drop if drop > 0.0 else last + 1.0
    frame = max(frame, (plant.time_s or 0.0) * foot.paths.rate_hz)
    if last + 1 >= late:
        return absent("foot_flat", "the front foot never rests flat before the turn peaks")
    noise = foot.left_noise / (drop * foot.paths.rate_hz) if drop > 0.0 else 0.0
    spread = [FLAT_SD_S * rested / SOLE_M, FLAT_FRAMES * foot.paths.frame_sd_s, noise]
    sd = float(np.linalg.norm(spread))
    return at_time("foot_flat", frame, foot.paths, "heel and ball at their resting height", sd)


def _last_to_rest(foot: FrontFoot, plant: int) -> tuple[float, float] | None:
    """Frame in which the last of two parts ends its way to the floor, and its standard deviation in seconds.

    Smoothing before the recording rounds the end of the way off, so that a height is reached later.
    """
    window, blur = _fit_window(foot, plant)
    parts = [path for path in foot.sole.values() if _seen_after(foot, path, plant)]
    kinks = [kink for path in parts if (kink := approach_end(path[window, 2], window.start, blur)) is not None]
    if len(kinks) < 2:
        return None
    last = max(kinks)
    return last.frame, float(np.hypot(SMOOTHED_FLAT_SD_S, last.sd / foot.paths.rate_hz))


def _turn_begins(foot: FrontFoot, source: str) -> Moment:
    """The landing of a hitter who does not stride: where his hips begin to turn."""
    joints = foot.paths.joints
    rate = turning(joints["front_hip"], joints["back_hip"], foot.paths.rate_hz)
    window = slice(max(foot.turn - foot.paths.frames(0.5), 0), foot.turn + 1)
    if not np.isfinite(rate[window]).any():
        raise DetectionError(f"{source}: no front-foot landing: neither a stride nor the hips' turn is seen")
    peak = window.start + int(np.nanargmax(rate[window]))
    slow = np.flatnonzero(~(rate[: peak + 1] >= TURN_BEGINS * rate[peak]))
    frame = int(slow[-1]) + 1 if len(slow) else 0
    return at_time("plant", float(frame), foot.paths, BY_TURN, TURN_BEGINS_SD_S)


def _before_landing(foot: FrontFoot, plant: Moment) -> dict[str, Moment]:
    """`stance` and `lift`."""
    if foot.stride_peak is None:
        return {"stance": _hands_still(foot, plant), "lift": absent("lift", NO_STRIDE)}
    still = runs(np.nan_to_num(foot.speed[: foot.stride_peak + 1], nan=np.inf) < foot.still_speed)
    assert plant.index is not None
    up = np.max([np.abs(height) for height in foot.over_rest(foot.standing, plant.index).values()], axis=0)
    # Toes that tap the floor on their way are still for a while, too, but not the whole sole.
    still = [
        (start, stop)
        for start, stop in still
        if stop - start >= STILL_S * foot.paths.rate_hz and median(up[start:stop]) < TAP_HEIGHT
    ]
    if not still:
        why = "the front foot is never still before it strides"
        return {"stance": absent("stance", why), "lift": absent("lift", why)}
    start, stop = still[-1]
    rest = slice(max(start, stop - foot.paths.frames(2 * STILL_S) - 1), max(stop - foot.paths.frames(0.05), start + 1))
    ahead = slice(rest.stop, foot.stride_peak + 1)
    moved, risen = [], []
    for part, path in foot.standing.items():
        place = median(path[rest])
        # In units of what it must come to be moving, which is more of a part that is hardly known.
        way = foot.way_of(part, SURE, foot.least_way)[ahead]
        # Slow errors make a distance of their own, by Pythagoras on the mean.
        square = ((path[ahead] - place) ** 2).sum(axis=1) - 3.0 * foot.slow_of(part)[ahead] ** 2
        moved.append(np.sqrt(np.maximum(square, 0.0)) / way)
        risen.append((path[ahead, 2] - place[2]) / way)
    # The first part that moves ends the stance; the last one that rises, or is dragged along, leaves the floor.
    began = _lasting(np.nanmax(moved, axis=0))
    if began is None:
        return {name: absent(name, "the front foot does not leave the floor") for name in ("stance", "lift")}
    what = "ankle" if "ankle" in foot.sole else "foot"
    stance = _onset(np.nanmax(moved, axis=0), began, ahead.start, "stance", foot, f"front {what} begins to move")
    if "ankle" in foot.sole:
        return {"stance": stance, "lift": absent("lift", WITHOUT_SOLE)}
    up = np.nanmin(risen, axis=0)
    rising = np.flatnonzero(up[began:] > 1.0)
    if not len(rising):
        return {"stance": stance, "lift": absent("lift", "the front foot does not leave the floor")}
    lift = _onset(up, began + int(rising[0]), ahead.start, "lift", foot, "all of the front foot rises")
    return {"stance": stance, "lift": lift}


def _lasting(ways: FloatArray) -> int | None:
    """Where values rise over one to stay there; what goes back again was noise, or no stride."""
    over = np.flatnonzero(ways > 1.0)
    if not len(over):
        return None
    under = np.flatnonzero(ways[: over[-1]] <= 1.0)
    return int(under[-1]) + 1 if len(under) else int(over[0])


def _onset(ways: FloatArray, index: int, first: int, name: str, foot: FrontFoot, method: str) -> Moment:
    """When a movement began that starts smoothly.

    Parameters
    ----------
    ways : ndarray, shape (F,)
        How far it has come, in units of the way that tells it from noise, from frame `first` on.
    index : int
        Where they rise over one.
    first : int
    name : str
        Of the moment.
    foot : FrontFoot
    method : str
    """
    paths = foot.paths
    step = ways[index] - ways[index - 1] if index else 0.0
    # Noise that smoothing has left makes the speed from one frame to the next poor.
    reach = round(ONSET_REACH_S * paths.rate_hz)
    early, late = max(index - 1 - reach, 0), min(index + reach, len(ways) - 1)
    pace = (ways[late] - ways[early]) * paths.rate_hz / max(late - early, 1)
    if not (step > 0.0 and pace > 0.0):
        return at_time(name, float(first + index), paths, method, OLDEST_ONSET_S)
    frame = first + index - (ways[index] - 1.0) / step
    age = min(onset_age(1.0 / pace, foot.blur_s(first + index)), OLDEST_ONSET_S)
    known = LIFT_SD_S if name == "lift" else ONSET_SD_S
    noise = ONSET_NOISE * foot.left_noise / foot.least_way / pace
    spread = [known * foot.least_way / SOLE_M, ONSET_FRAMES / paths.rate_hz, noise]
    return at_time(name, frame - age * paths.rate_hz, paths, method, float(np.linalg.norm(spread)))


def onset_age(way_over_speed: float, blur_s: float) -> float:
    """How long ago a movement began whose way over its speed is known. [s]

    Parameters
    ----------
    way_over_speed : float
        [s]
    blur_s : float
        Standard deviation of the normal curve that its path was blurred with. [s]

    Notes
    -----
    From rest, with a jerk that is steady at first, the way grows with the cube of time; blurred it is in the ratio
    t^3 + 3 b^2 t to its speed 3 t^2 + 3 b^2.
    """
    if not blur_s > 0.0:
        return ONSET_S + 2.0 * way_over_speed
    square = 3.0 * blur_s**2
    roots = np.roots([1.0, -3.0 * way_over_speed, square, -square * way_over_speed])
    return float(roots[np.abs(roots.imag) < 1e-9 * np.abs(roots).max()].real.max())


def _hands_still(foot: FrontFoot, plant: Moment) -> Moment:
    """The stance of a hitter who does not stride: before his hands begin to move."""
    assert plant.index is not None
    joints = foot.paths.joints
    hands = speed((joints["front_hand"] + joints["back_hand"]) / 2, foot.paths.rate_hz)
    still = np.flatnonzero(hands[: plant.index + 1] < STILL_SPEED)
    if not len(still):
        return absent("stance", "neither the front foot strides nor are the hands still before the turn")
    return at_time("stance", float(still[-1]), foot.paths, "no stride: hands still", TURN_BEGINS_SD_S)
