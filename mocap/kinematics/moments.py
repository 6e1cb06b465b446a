"""The key moments of a swing, each with its time, its standard deviation and how it was found.

Works on z-up paths with sides already named front and back; needs no direction to the pitcher except for `level` and
for a contact found from the contact depth.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import DetectionError, OptionError
from mocap.kinematics.filtering import derivative, runs, speed
from mocap.kinematics.geometry import flexion, heading
from mocap.swing import MOMENTS, FootForces, Moment

GRAVITY = 9.80665

#: The trunk turns at least this fast in a swing; hitters reach 700 to 940 deg/s (Welch 1995, Escamilla 2009). [rad/s]
SLOWEST_TURN = np.radians(200.0)
#: The stride foot moves at least this fast somewhere between stance and landing. [m/s] This project's default.
SLOWEST_STRIDE = 0.5
#: A foot that moves slower than this at floor height is down and able to take weight. [m/s] This project's default.
PLANTED_SPEED = 0.5
#: A foot point counts as on the floor within this height over its own resting height. [m] This project's default.
AT_FLOOR = 0.025
#: A foot is still below this speed. [m/s] This project's default.
STILL_SPEED = 0.10
#: Timing error of foot contact from points: published for running and walking 4.5 to 18 ms; none for batters. [s]
FOOT_SD_S = 0.010
#: Share of body weight at which a plate says that the foot has landed. This project's design.
LANDED_SHARE = 0.10
#: Share of the peak turning speed below which the turn has ended. This project's default.
TURN_ENDED = 0.10
#: Sweet spot ahead of the front foot at contact for a pitch over the middle. [m] Common practice, no source.
EXPECTED_DEPTH = 0.10
#: A ball takes at least this share of the sweet spot's speed; a swing into the air keeps more of it over the same few
#: milliseconds. This project's defaults.
BLOW_LOSS, BLOW_WINDOW_S = 0.12, 0.006
#: And more than this many standard deviations of what noise makes of it; of some thirty frames the worst often exceeds
#: three, and a barrel slows down by itself, too. This project's default.
BLOW_SDS = 5.0
#: A turn that has ended stays ended for this long. [s] This project's default.
STAYS_ENDED_S = 0.06
#: How a contact was found: seen in the barrel, or taken from the usual depth.
SPEED_BREAK = "barrel's speed breaks"
BY_HAND = "set by hand"
#: Contacts across which no path of the bat is smoothed or differenced.
STRUCK = (SPEED_BREAK, BY_HAND)
HANDS_ONLY = "estimated: half way from the fastest hands to straight arms (no bat or ball recorded)"
USUAL_DEPTH = f"sweet spot {100 * EXPECTED_DEPTH:.0f} cm ahead of the front foot (no impact seen)"


@dataclass(frozen=True)
class MotionPaths:
    """What the moments are found from.

    Attributes
    ----------
    joints : mapping of str to ndarray, shape (F, 3)
        By hitting-frame names, z up. [m]
    rate_hz : float
        [Hz]
    sweet_spot : ndarray, shape (F, 3) or None
        Unfiltered path of the bat's sweet spot. [m]
    forces : FootForces or None
    mass_kg : float or None
    """

    joints: Mapping[str, FloatArray]
    rate_hz: float
    sweet_spot: FloatArray | None
    forces: FootForces | None
    mass_kg: float | None

    @property
    def frame_sd_s(self) -> float:
        """Standard deviation of a time that is only known to the frame."""
        return 1.0 / self.rate_hz / np.sqrt(12.0)


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
    """
    frames = len(paths.joints["pelvis"])
    for name, index in fixed.items():
        if not 0 <= index < frames:
            raise OptionError(f"{source}: {name} is set to frame {index}; the recording has frames 0 to {frames - 1}")
    turn = turn_peak(paths, source)
    foot = _Foot.of(paths, turn)
    if foot.stride_peak is None and "plant" not in fixed:
        raise DetectionError(
            f"{source}: no front-foot landing: the front foot never moves faster than {SLOWEST_STRIDE:g} m/s before"
            " the turn; set it with --moment plant=FRAME"
        )
    found = _before_landing(foot, paths)
    found |= _landing(foot, paths, turn, source, fixed.get("plant"))
    return {name: _fixed(name, fixed, paths) or moment for name, moment in found.items()}


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
        found[name] = _fixed(name, fixed, paths) or step(paths, plant.index, found)
    return found


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


def named(name: str, index: int, paths: MotionPaths, method: str, sd_s: float, time_s: float | None = None) -> Moment:
    """A moment at a frame; the time may lie between frames."""
    time = index / paths.rate_hz if time_s is None else time_s
    return Moment(name, int(index), float(time), float(np.hypot(sd_s, paths.frame_sd_s)), method)


def absent(name: str, why: str) -> Moment:
    """A moment that was not found."""
    return Moment(name, None, None, None, "", why)


def _fixed(name: str, fixed: Mapping[str, int], paths: MotionPaths) -> Moment | None:
    return named(name, fixed[name], paths, BY_HAND, 0.0) if name in fixed else None


@dataclass(frozen=True)
class _Foot:
    """Speed and height of the front foot, and when it strides."""

    speed: FloatArray
    lowest: FloatArray
    ankle: FloatArray
    ball: FloatArray
    resting: float
    stride_peak: int | None

    @classmethod
    def of(cls, paths: MotionPaths, turn: int) -> _Foot:
        joints = paths.joints
        ankle, ball = joints["front_ankle"], joints["front_ball"]
        mid = (ankle + ball) / 2 if np.isfinite(ball).any() else ankle
        moving = speed(mid, paths.rate_hz)
        heights = [joints[f"front_{name}"][:, 2] for name in ("heel", "ball", "ankle")]
        shown = [h for h in heights if np.isfinite(h).any()]
        lowest = np.fmin.reduce(shown) if shown else ankle[:, 2]
        # The stride peak is the last fast movement of the foot before the turn peaks.
        window = slice(max(0, turn - int(1.5 * paths.rate_hz)), turn + 1)
        peak = None
        if np.isfinite(moving[window]).any() and np.nanmax(moving[window]) >= SLOWEST_STRIDE:
            peak = window.start + int(np.nanargmax(moving[window]))
        before = lowest[: (peak if peak is not None else turn) + 1]
        before = before[np.isfinite(before)]
        resting = float(np.percentile(before, 10)) if len(before) else float("nan")
        return cls(moving, lowest, ankle[:, 2], ball[:, 2], resting, peak)


def _before_landing(foot: _Foot, paths: MotionPaths) -> dict[str, Moment]:
    if foot.stride_peak is None:
        why = "the front foot does not stride"
        return {"stance": absent("stance", why), "lift": absent("lift", why)}
    head = slice(0, foot.stride_peak + 1)
    down = (foot.lowest[head] <= foot.resting + AT_FLOOR) & (foot.speed[head] < PLANTED_SPEED)
    if not down.any():
        why = "the recording begins after the front foot left the floor"
        return {"stance": absent("stance", why), "lift": absent("lift", why)}
    lift = int(np.flatnonzero(down)[-1])
    still = np.flatnonzero(foot.speed[: lift + 1] < STILL_SPEED)
    found = {"lift": named("lift", lift, paths, "front foot's speed and height rise", FOOT_SD_S)}
    if len(still):
        found["stance"] = named("stance", int(still[-1]), paths, "last still frame of the front foot", 2 * FOOT_SD_S)
    else:
        found["stance"] = absent("stance", "the front foot is never still before it strides")
    return {"stance": found["stance"], "lift": found["lift"]}


def _landing(foot: _Foot, paths: MotionPaths, turn: int, source: str, fixed_plant: int | None) -> dict[str, Moment]:
    start = foot.stride_peak if foot.stride_peak is not None else 0
    if fixed_plant is not None:
        plant = named("plant", fixed_plant, paths, BY_HAND, 0.0)
    else:
        plant = _plant_by_force(paths, start, turn) or _plant_by_points(foot, paths, start, turn, source)
    assert plant.index is not None
    low = np.flatnonzero(foot.lowest[start : plant.index + 1] <= foot.resting + AT_FLOOR)
    touch = start + int(low[0]) if len(low) else plant.index
    after = slice(plant.index, max(turn, plant.index) + int(0.05 * paths.rate_hz) + 1)
    flat = np.ones(len(foot.ankle), dtype=bool)
    for height in (foot.ankle, foot.ball):
        if np.isfinite(height[after]).any():  # keypoints may lack the ball
            flat &= np.abs(height - np.nanmedian(height[after])) < 0.6 * AT_FLOOR
    flat[: plant.index] = False
    flats = np.flatnonzero(flat[: after.stop])
    if len(flats):
        whole = named("foot_flat", int(flats[0]), paths, "ankle and ball at their resting height", FOOT_SD_S)
    else:
        whole = absent("foot_flat", "the front foot never rests flat before the turn peaks")
    return {
        "toe_touch": named("toe_touch", touch, paths, "lowest point of the front foot reaches the floor", FOOT_SD_S),
        "plant": plant,
        "foot_flat": whole,
    }


def _plant_by_force(paths: MotionPaths, start: int, turn: int) -> Moment | None:
    """First frame after the stride peak from which the front foot's plate stays loaded until the turn peaks."""
    if paths.forces is None:
        return None
    vertical = paths.forces.front[:, 2]
    if paths.mass_kg is not None:
        weight = paths.mass_kg * GRAVITY
    else:
        weight = float(np.nanmedian((paths.forces.front + paths.forces.back)[: start + 1, 2]))
    threshold = LANDED_SHARE * weight
    below = np.flatnonzero(vertical[start : turn + 1] < threshold)
    if not len(below) or start + below[-1] >= turn:
        return None
    last = start + int(below[-1])
    rise = vertical[last + 1] - vertical[last]
    time = (last + (threshold - vertical[last]) / rise) / paths.rate_hz
    index = round(time * paths.rate_hz)
    return named("plant", index, paths, "force plate: front foot carries 10 % of body weight", 0.002, time)


def _plant_by_points(foot: _Foot, paths: MotionPaths, start: int, turn: int, source: str) -> Moment:
    stop = turn + int(0.1 * paths.rate_hz)
    slow = (foot.speed[start:stop] < PLANTED_SPEED) & (foot.lowest[start:stop] <= foot.resting + 2 * AT_FLOOR)
    hits = np.flatnonzero(slow)
    if not len(hits):
        raise DetectionError(
            f"{source}: no front-foot landing: the front foot is never down and still between its stride (frame"
            f" {start}) and the turn (frame {turn}); set it with --moment plant=FRAME"
        )
    index = start + int(hits[0])
    time = float(index)
    before, here = foot.speed[index - 1], foot.speed[index]
    if index > start and before > PLANTED_SPEED > here:
        time = index - 1 + (before - PLANTED_SPEED) / (before - here)
    return named("plant", round(time), paths, "front foot slow at floor height", FOOT_SD_S, time / paths.rate_hz)


def _mid_hands(paths: MotionPaths) -> FloatArray:
    return (paths.joints["front_hand"] + paths.joints["back_hand"]) / 2


def _level(paths: MotionPaths, plant: int, _found: Mapping[str, Moment]) -> Moment:
    ahead = _mid_hands(paths)[:, 0] - (paths.joints["neck"] + paths.joints["pelvis"])[:, 0] / 2
    crossing = np.flatnonzero((ahead[plant:-1] < 0) & (ahead[plant + 1 :] >= 0))
    if not len(crossing):
        return absent("level", "the hands do not pass the body line after foot-plant")
    index = plant + int(crossing[0])
    time = (index - ahead[index] / (ahead[index + 1] - ahead[index])) / paths.rate_hz
    return named("level", round(time * paths.rate_hz), paths, "mid-hands pass mid-trunk", 0.004, time)


def _contact(paths: MotionPaths, plant: int, _found: Mapping[str, Moment]) -> Moment:
    if paths.sweet_spot is not None and np.isfinite(paths.sweet_spot[plant:]).all(axis=1).any():
        return _speed_break(paths, plant) or _depth_crossing(paths, plant)
    hands = speed(_mid_hands(paths), paths.rate_hz)[plant : plant + int(0.6 * paths.rate_hz)]
    if not np.isfinite(hands).any():
        return absent("contact", "neither a bat nor the hands were recorded")
    fastest = plant + int(np.nanargmax(hands))
    straight = _straightest_elbows(paths, fastest)
    # The barrel is still on its way when the hands are fastest, and past the ball when the arms are straight.
    index = fastest if straight is None else (fastest + straight) // 2
    return named("contact", index, paths, HANDS_ONLY, 0.020)


def _speed_break(paths: MotionPaths, plant: int) -> Moment | None:
    """The last frame before the barrel loses speed faster than any muscle could brake it.

    Speeds are taken over a few milliseconds on either side of each frame, so that noise does not look like a blow.
    """
    assert paths.sweet_spot is not None
    spot = paths.sweet_spot[plant : plant + int(0.6 * paths.rate_hz)]
    width = max(round(BLOW_WINDOW_S * paths.rate_hz), 1)
    moved = np.linalg.norm(spot[width:] - spot[:-width], axis=1) * paths.rate_hz / width
    before, after = moved[: -width - 1], moved[width + 1 :]
    if not np.isfinite(before).any() or not np.isfinite(after).any():
        return None
    loss = np.where(before > 0.9 * np.nanmax(moved), (before - after) / before, np.nan)
    # Two mean velocities differ by noise of twice the points' over the time between them.
    noise = 2.0 * _noise(paths.sweet_spot[:plant]) * paths.rate_hz / width / np.nanmax(moved)
    if not np.isfinite(loss).any() or np.nanmax(loss) < max(BLOW_LOSS, BLOW_SDS * noise):
        return None
    return named("contact", plant + width + int(np.nanargmax(loss)), paths, SPEED_BREAK, 0.002)


def _noise(path: FloatArray) -> float:
    """Noise of a path per axis, from its third differences, in which a slow movement does not show. [m]

    These have 1 + 9 + 9 + 1 times the variance of one sample; the median is 0.6745 standard deviations of a normal one.
    """
    third = np.abs(np.diff(path, 3, axis=0))
    third = third[np.isfinite(third)]
    return float(np.median(third)) / 0.6745 / np.sqrt(20.0) if len(third) else 0.0


def _depth_crossing(paths: MotionPaths, plant: int) -> Moment:
    assert paths.sweet_spot is not None
    ahead = paths.sweet_spot[:, 0] - paths.joints["front_ankle"][:, 0] - EXPECTED_DEPTH
    window = slice(plant, plant + int(0.6 * paths.rate_hz))
    crossing = np.flatnonzero((ahead[window][:-1] < 0) & (ahead[window][1:] >= 0))
    if not len(crossing):
        return absent("contact", "the sweet spot never reaches the contact depth (a swing held back)")
    index = plant + int(crossing[0])
    step = ahead[index + 1] - ahead[index]
    time = (index - ahead[index] / step) / paths.rate_hz
    # A contact 0.15 m deeper or shallower is as common; the barrel's speed turns that into time.
    return named(
        "contact",
        round(time * paths.rate_hz),
        paths,
        USUAL_DEPTH,
        0.15 / max(step * paths.rate_hz, 1.0),
        time,
    )


def _extension(paths: MotionPaths, _plant: int, found: Mapping[str, Moment]) -> Moment:
    contact = found["contact"].index
    if contact is None:
        return absent("extension", "no contact")
    straight = _straightest_elbows(paths, contact)
    if straight is None:
        return absent("extension", "the elbows were not recorded after contact")
    return named("extension", straight, paths, "both elbows at their straightest", 0.008)


def _straightest_elbows(paths: MotionPaths, start: int) -> int | None:
    """Frame within a quarter of a second in which the two elbows together are straightest."""
    joints = paths.joints
    bends = [flexion(*(joints[f"{s}_{name}"] for name in ("shoulder", "elbow", "wrist"))) for s in ("front", "back")]
    after = (bends[0] + bends[1])[start : start + max(int(0.25 * paths.rate_hz), 2)]
    return start + int(np.nanargmin(after)) if np.isfinite(after).any() else None


def _finish(paths: MotionPaths, plant: int, found: Mapping[str, Moment]) -> Moment:
    """The turn has ended: pelvis and shoulders have both come to rest.

    The pelvis alone often pauses while the shoulders are still turning, so both must be slow.
    """
    contact = found["contact"].index
    start = plant if contact is None else contact
    joints = paths.joints
    slow = np.ones(len(joints["pelvis"]), dtype=bool)
    for part in ("hip", "shoulder"):
        rate = turning(joints[f"front_{part}"], joints[f"back_{part}"], paths.rate_hz)
        slow &= rate < TURN_ENDED * np.nanmax(rate[plant:])
    slow[:start] = False
    lasting = STAYS_ENDED_S * paths.rate_hz
    ends = [first for first, stop in runs(slow) if stop - first >= lasting or stop == len(slow)]
    if not ends:
        return absent("finish", "the recording ends before the turn does")
    return named("finish", ends[0], paths, "pelvis and shoulders stop turning", 0.020)


def ordered(moments: Mapping[str, Moment]) -> dict[str, Moment]:
    """All moments in the order of `MOMENTS`."""
    return {name: moments[name] for name in MOMENTS}
