"""How well each point of a recording was seen: gaps, residuals, jumps, exchanged labels, points that stand still.

A path is looked at as the intervals between one seen sample and the next seen one. What is doubtful about an interval
is its *surprise*: how far its mean velocity lies from the velocities of the intervals before and after it, and from
their mean, whichever is nearest. A smooth movement surprises little, nor does an impact (one side still agrees); a
sample in the wrong place does. Frames count from 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.kinematics.filtering import runs
from mocap.kinematics.marker_sets import fold, marker_set

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class MotionLimits:
    """What a point can do at most.

    Attributes
    ----------
    speed : float
        [m/s]
    sudden : float
        Change of velocity within one interval that an impact may leave. [m/s]
    acceleration : float
        What the muscles may change beside it. [m/s^2]
    """

    speed: float
    sudden: float
    acceleration: float


#: Hands move at up to 10 to 15 m/s in a swing and turn about the body at some 25 rad/s, which is 250 to 400 m/s^2 and
#: 6000 to 9000 m/s^3; their surprise is the jerk times the interval squared, below 0.6 m/s at 120 Hz. A foot lands at
#: 2 to 3 m/s, of which an interval cut in two shows half at most. This project's defaults.
BODY_LIMITS = MotionLimits(speed=25.0, sudden=2.0, acceleration=150.0)
#: A barrel's end reaches 45 m/s and loses up to 15 m/s against the ball; about the wrists it turns at 40 rad/s, which
#: is 60 000 m/s^3. This project's defaults.
BAT_LIMITS = MotionLimits(speed=60.0, sudden=10.0, acceleration=1500.0)
#: A surprise must also exceed the point's usual one this many times. Noise alone stays below 5 in 100 000 samples.
OVER_NOISE = 6.0
#: What is off its course by less than this is no jump but noise, which filtering takes off. [m]
SMALLEST_JUMP_M = 0.005
#: Neighbouring intervals longer than this say nothing of the velocity beside an interval. [s]
NEIGHBOUR_S = 0.06
#: A path that leaves its course and is back on it within this time made a spike, else a step. [s]
LONGEST_SPIKE_S = 0.10
#: Labels are exchanged if the crossed paths miss by less than this share of what the labelled ones miss.
CROSSED_SHARE = 0.25
#: Exchanged labels surprise by at least this share of what counts as a jump: behind a gap even far points hardly leap.
SWAP_SURPRISE = 0.1
#: Below this distance an exchange of labels does no harm and cannot be told from noise. [m]
SMALLEST_SWAP_M = 0.01
#: Intervals looked at for exchanged labels, the worst first; more of them is no recording of labelled points.
MOST_EVENTS = 600
#: A point that stays within this size while half of the points move ten times as far never moves. [m]
STILL_M, MOVING_M = 0.005, 0.05
#: Unless a moving point keeps its distance to it within this, as a heel does to the ball of a planted foot. [m]
RIGID_M = 0.015
#: A path held at one value for this long, entered or left at a speed and acceleration that nothing stops so, was filled
#: with its last value. [s], [m/s], [m/s^2]
HELD_S, HELD_SPEED, HELD_ACCELERATION = 0.03, 0.5, 100.0


@dataclass(frozen=True)
class Jump:
    """A place where a path is where nothing could have moved.

    Attributes
    ----------
    kind : {"spike", "step"}
        A spike comes back to its course; a step does not.
    frame, last_frame : int
        The spike's first and last frame; a step's first frame at the new place, twice.
    off_m : float
        How far off its course. [m]
    speed_m_per_s : float
        Speed that the path would need. [m/s]
    """

    kind: Literal["spike", "step"]
    frame: int
    last_frame: int
    off_m: float
    speed_m_per_s: float


@dataclass(frozen=True)
class Swap:
    """Two labels that seem to change places.

    Attributes
    ----------
    labels : tuple of two str
    frame, last_frame : int
        First and last frame in which they are exchanged; the recording's last where they never change back.
    distance_m : float
        How far apart the points are when it happens. [m]
    crossed_share : float
        How far the paths miss their courses once exchanged back, over how far they miss them as labelled; the larger
        one of the moments at which they change places.
    """

    labels: tuple[str, str]
    frame: int
    last_frame: int
    distance_m: float
    crossed_share: float


@dataclass(frozen=True)
class PointQuality:
    """How well one point was seen.

    Attributes
    ----------
    label : str
    missing_share : float
        Share of frames in which it was not seen.
    longest_gap : int
        [frames]
    longest_gap_s : float
        [s]
    mean_residual_m, worst_residual_m : float or None
        None where the recording states none. [m]
    jumps : tuple of Jump
    never_moves : bool
        Whether it stays at one place while the others move.
    held : tuple of (int, int)
        First and last frame of spans in which its last place was repeated instead of measured.
    """

    label: str
    missing_share: float
    longest_gap: int
    longest_gap_s: float
    mean_residual_m: float | None
    worst_residual_m: float | None
    jumps: tuple[Jump, ...]
    never_moves: bool
    held: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Faults:
    """What is wrong with the samples of a recording.

    Attributes
    ----------
    jumps : mapping of int to tuple of Jump
        By column.
    swaps : tuple of Swap
        In order of time.
    held : mapping of int to tuple of (int, int)
        First and last frame of repeated spans, by column.
    """

    jumps: Mapping[int, tuple[Jump, ...]]
    swaps: tuple[Swap, ...]
    held: Mapping[int, tuple[tuple[int, int], ...]]


def find_faults(capture: Capture) -> Faults:
    """Find the samples of a recording that cannot be where they are."""
    seen = np.asarray(np.isfinite(capture.points).all(axis=2))
    intervals = _intervals(capture, seen)
    swaps, exchanged = _swaps(capture, intervals)
    return Faults(_jumps(capture, intervals, exchanged), swaps, _held(capture, seen))


def point_qualities(capture: Capture) -> tuple[tuple[PointQuality, ...], tuple[Swap, ...]]:
    """Look every path of a recording over.

    Parameters
    ----------
    capture : Capture

    Returns
    -------
    (qualities, swaps)
        One quality per label, in their order; swaps in order of time.
    """
    seen = np.asarray(np.isfinite(capture.points).all(axis=2))
    faults = find_faults(capture)
    still = _never_move(capture.points, seen)
    qualities = []
    for column, label in enumerate(capture.labels):
        gap = max((stop - start for start, stop in runs(~seen[:, column])), default=0)
        mean, worst = _residuals(capture.residuals[seen[:, column], column])
        qualities.append(
            PointQuality(
                label=label,
                missing_share=float(1.0 - seen[:, column].mean()) if capture.n_frames else 1.0,
                longest_gap=gap,
                longest_gap_s=gap / capture.rate_hz,
                mean_residual_m=mean,
                worst_residual_m=worst,
                jumps=faults.jumps.get(column, ()),
                never_moves=bool(still[column]),
                held=faults.held.get(column, ()),
            )
        )
    return tuple(qualities), faults.swaps


@dataclass(frozen=True)
class _Intervals:
    """Every interval between seen samples, shape (N, ...), sorted by point and time.

    `before` and `after` are the velocities of the neighbouring intervals, NaN where there is none near.
    """

    point: IntArray
    start: IntArray
    stop: IntArray
    time_s: FloatArray
    here: FloatArray
    there: FloatArray
    velocity: FloatArray
    before: FloatArray
    after: FloatArray
    surprise: FloatArray
    usual: FloatArray
    allowed: FloatArray
    too_fast: BoolArray


def _intervals(capture: Capture, seen: BoolArray) -> _Intervals:
    point, frame = np.nonzero(seen.T)
    place = capture.points.transpose(1, 0, 2)[seen.T]
    at = np.flatnonzero(point[1:] == point[:-1])
    start, stop = frame[at], frame[at + 1]
    time = (stop - start) / capture.rate_hz
    velocity = (place[at + 1] - place[at]) / time[:, None]
    near = time <= np.maximum(NEIGHBOUR_S, 1.5 / capture.rate_hz)
    joined = (at[1:] == at[:-1] + 1)[:, None]
    before, after = np.full_like(velocity, np.nan), np.full_like(velocity, np.nan)
    before[1:] = np.where(joined & near[:-1, None], velocity[:-1], np.nan)
    after[:-1] = np.where(joined & near[1:, None], velocity[1:], np.nan)
    surprise = _miss(velocity, before, after)
    one_sided = np.isnan(before[:, 0]) | np.isnan(after[:, 0])
    limits = [_limits(label) for label in capture.labels]
    sudden = np.array([limit.sudden for limit in limits])[point[at]]
    acceleration = np.array([limit.acceleration for limit in limits])[point[at]]
    fastest = np.array([limit.speed for limit in limits])[point[at]]
    single = stop - start == 1
    usual = _medians(surprise[single], point[at][single], len(capture.labels))
    return _Intervals(
        point=point[at],
        start=start,
        stop=stop,
        time_s=time,
        here=place[at],
        there=place[at + 1],
        velocity=velocity,
        before=before,
        after=after,
        surprise=surprise,
        usual=usual[point[at]],
        allowed=sudden + np.where(one_sided, 2.0, 1.0) * acceleration * time,
        too_fast=_length(velocity) > fastest,
    )


def _medians(values: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Median of the values of each group, shape (groups,); 0 where a group has none. `group` must be sorted."""
    values = values[np.lexsort((values, group))]
    count = np.bincount(group, minlength=groups)
    first = np.cumsum(count) - count
    found = np.flatnonzero(count)
    medians = np.zeros(groups)
    low, high = (count[found] - 1) // 2, count[found] // 2
    medians[found] = (values[first[found] + low] + values[first[found] + high]) / 2.0
    return medians


def _length(vectors: FloatArray) -> FloatArray:
    """Euclidean norm along the last axis, which holds three components."""
    length: FloatArray = np.sqrt(vectors[..., 0] ** 2 + vectors[..., 1] ** 2 + vectors[..., 2] ** 2)
    return length


def _miss(velocity: FloatArray, before: FloatArray, after: FloatArray) -> FloatArray:
    """Distance of a mean velocity from the one before, the one after and their mean, the nearest; 0 without any."""
    nearest = _length(velocity - before)
    for other in (after, (before + after) / 2):
        nearest = np.fmin(nearest, _length(velocity - other))
    return np.where(np.isnan(nearest), 0.0, nearest)


def _limits(label: str) -> MotionLimits:
    folded = fold(label)
    return BAT_LIMITS if folded in marker_set("bat").aliases or folded.startswith("bat") else BODY_LIMITS


def _doubtful(intervals: _Intervals) -> BoolArray:
    """Intervals that no point of that kind could have gone through."""
    surprising = (intervals.surprise > intervals.allowed) & (intervals.surprise > OVER_NOISE * intervals.usual)
    large: BoolArray = intervals.surprise * intervals.time_s > SMALLEST_JUMP_M
    return intervals.too_fast | (surprising & large)


def _jumps(capture: Capture, intervals: _Intervals, exchanged: BoolArray) -> dict[int, tuple[Jump, ...]]:
    """Spikes and steps by column, without those that an exchange of labels explains."""
    found: dict[int, list[Jump]] = {}
    doubtful = np.flatnonzero(_doubtful(intervals) & ~exchanged)
    longest = LONGEST_SPIKE_S * capture.rate_hz
    taken = -1
    for k in range(len(doubtful)):
        if k <= taken:
            continue
        at, back = int(doubtful[k]), k + 1
        while back < len(doubtful) and intervals.point[doubtful[back]] == intervals.point[at]:
            if intervals.start[doubtful[back]] - intervals.stop[at] > longest:
                break
            if _returns(intervals, at, int(doubtful[back])):
                taken = back
                break
            back += 1
        last = int(doubtful[taken]) if taken > k else None
        found.setdefault(int(intervals.point[at]), []).append(_jump(intervals, at, last))
    return {column: tuple(jumps) for column, jumps in found.items()}


def _jump(intervals: _Intervals, at: int, back: int | None) -> Jump:
    """The jump that begins in interval `at`, and ends in interval `back` where it comes back."""
    first, last = int(intervals.stop[at]), int(intervals.stop[at])
    kind: Literal["spike", "step"] = "step"
    if back is not None:
        kind, last = "spike", int(intervals.start[back])
    elif np.isnan(intervals.after[at, 0]):  # the last sample before a gap or the end stands alone
        kind = "spike"
    elif np.isnan(intervals.before[at, 0]):  # the first sample after a gap or the start stands alone
        kind, first, last = "spike", int(intervals.start[at]), int(intervals.start[at])
    speed = float(np.linalg.norm(intervals.velocity[at]))
    alone = first == intervals.start[at]
    off = float(intervals.surprise[at] * intervals.time_s[at] if alone else np.linalg.norm(_off(intervals, at)))
    if intervals.too_fast[at]:
        off = max(off, speed * float(intervals.time_s[at]))
    return Jump(kind, first, last, off, speed)


def _off(intervals: _Intervals, at: int) -> FloatArray:
    """How far the end of an interval lies from where the path was heading, shape (3,). [m]"""
    course: FloatArray = intervals.here[at] + np.nan_to_num(intervals.before[at]) * intervals.time_s[at]
    return intervals.there[at] - course


def _returns(intervals: _Intervals, leaves: int, back: int) -> bool:
    """Whether interval `back` undoes the leap away from the course that interval `leaves` made."""
    away = _off(intervals, leaves)
    if np.linalg.norm(away) < SMALLEST_JUMP_M:
        return False
    course = intervals.after[back] if np.isfinite(intervals.after[back, 0]) else np.nan_to_num(intervals.before[leaves])
    home = (intervals.velocity[back] - course) * intervals.time_s[back]
    return bool(np.linalg.norm(away + home) < 0.5 * np.linalg.norm(away))


def _swaps(capture: Capture, intervals: _Intervals) -> tuple[tuple[Swap, ...], BoolArray]:
    """Exchanged labels, and which intervals they explain."""
    exchanged = np.zeros(len(intervals.point), dtype=bool)
    off = intervals.surprise * intervals.time_s
    least = np.maximum(OVER_NOISE * intervals.usual, SWAP_SURPRISE * intervals.allowed)
    events = np.flatnonzero((off > SMALLEST_SWAP_M) & (intervals.surprise > least))
    events = np.sort(events[np.argsort(-off[events], kind="stable")[:MOST_EVENTS]])
    if len(events) < 2:
        return (), exchanged
    share = _crossed_share(capture, intervals, events)
    pairs: dict[tuple[int, int], list[tuple[int, float, float]]] = {}
    while share.size and (crossed := float(share.min())) < CROSSED_SHARE:
        a, b = sorted(int(i) for i in np.unravel_index(int(np.argmin(share)), share.shape))
        share[[a, b]] = share[:, [a, b]] = np.inf
        first, second = events[a], events[b]
        exchanged[[first, second]] = True
        # Where both were lost, whichever is seen again first is seen under the other's label.
        frame = int(min(intervals.stop[first], intervals.stop[second]))
        distance = float(np.linalg.norm(intervals.there[first] - intervals.there[second]))
        pairs.setdefault((int(intervals.point[first]), int(intervals.point[second])), []).append(
            (frame, distance, crossed)
        )
    swaps = []
    for (one, other), moments in pairs.items():
        moments.sort()
        for k in range(0, len(moments), 2):
            frame, distance, crossed = moments[k]
            stop = moments[k + 1][0] if k + 1 < len(moments) else capture.n_frames
            crossed = max(moment[2] for moment in moments[k : k + 2])
            labels = (capture.labels[one], capture.labels[other])
            swaps.append(Swap(labels, frame, max(stop - 1, frame), distance, crossed))
    return tuple(sorted(swaps, key=lambda swap: (swap.frame, swap.labels))), exchanged


def _crossed_share(capture: Capture, intervals: _Intervals, events: IntArray) -> FloatArray:
    """What two crossed paths miss over what the labelled ones miss, shape (E, E); infinite for no pair."""
    start, stop, point = intervals.start[events], intervals.stop[events], intervals.point[events]
    time = (stop[None, :] - start[:, None]) / capture.rate_hz  # row: the path before, column: the path after
    pair = (time > 0) & (time.T > 0) & (point[:, None] < point[None, :])
    share = np.full(time.shape, np.inf)
    rows, columns = np.nonzero(pair)
    if not len(rows):
        return share

    def missed(before: IntArray, after: IntArray) -> FloatArray:
        span = (stop[after] - start[before]) / capture.rate_hz
        i, j = events[before], events[after]
        velocity = (intervals.there[j] - intervals.here[i]) / span[:, None]
        return _miss(velocity, intervals.before[i], intervals.after[j]) * span

    crossed = np.maximum(missed(rows, columns), missed(columns, rows))
    own = np.minimum(missed(rows, rows), missed(columns, columns))
    share[rows, columns] = crossed / np.maximum(own, 1e-12)
    return share


def _never_move(points: FloatArray, seen: BoolArray) -> BoolArray:
    """Points that stay at one place while most others move."""
    still = np.zeros(points.shape[1], dtype=bool)
    often = np.flatnonzero(seen.sum(axis=0) >= 2)
    if not len(often):
        return still
    low, high = np.nanpercentile(points[:, often], [2, 98], axis=0)
    extent = np.linalg.norm(high - low, axis=1)
    if np.median(extent) <= MOVING_M:
        return still
    moving = points[:, often[extent > MOVING_M]]
    for column in often[extent < STILL_M]:
        distance = np.linalg.norm(moving - points[:, column, None], axis=2)
        together = np.isfinite(distance).sum(axis=0) >= 2
        low, high = np.nanpercentile(distance[:, together], [2, 98], axis=0)
        still[column] = not (high - low < RIGID_M).any()
    return still


def _held(capture: Capture, seen: BoolArray) -> dict[int, tuple[tuple[int, int], ...]]:
    """Spans by column in which a moving point's place was repeated exactly."""
    same = np.asarray((capture.points[1:] == capture.points[:-1]).all(axis=2))
    least = max(3, round(HELD_S * capture.rate_hz))
    fast = max(HELD_SPEED, HELD_ACCELERATION / capture.rate_hz)
    found: dict[int, list[tuple[int, int]]] = {}
    for column in np.flatnonzero((same.sum(axis=0) >= least) & seen.any(axis=0)):
        step = _length(np.diff(capture.points[:, column], axis=0)) * capture.rate_hz
        for start, stop in runs(same[:, column]):
            beside = [step[k] for k in (start - 1, stop) if 0 <= k < len(step)]
            if stop - start >= least and any(speed > fast for speed in beside):
                found.setdefault(int(column), []).append((start + 1, stop))
    return {column: tuple(spans) for column, spans in found.items()}


def _residuals(residuals: FloatArray) -> tuple[float | None, float | None]:
    """Mean and worst of the seen samples' residuals; None where none is stated."""
    stated = residuals[np.isfinite(residuals)]
    if not (stated > 0).any():
        return None, None
    return float(stated.mean()), float(stated.max())
