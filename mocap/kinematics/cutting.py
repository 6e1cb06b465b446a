"""Several swings in one recording: how many there are, where one ends and the next begins, and each as its own capture.

A swing is a fast turn of the shoulder line toward the pitcher during which the hands move against the trunk. Somebody
who turns round to walk off takes his hands along, and who turns back after a swing turns the other way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from mocap.capture import Capture, Event, FloatArray, ForcePlate
from mocap.errors import InputError, OptionError
from mocap.kinematics.calibration import calibrated_body
from mocap.kinematics.filtering import derivative, lowpass, runs, speed
from mocap.kinematics.geometry import heading
from mocap.kinematics.hitting_frame import transformed, upright
from mocap.kinematics.moments import SLOWEST_TURN, STAYS_ENDED_S, TURN_ENDED
from mocap.swing import Hitter, Setup

#: Swings are looked for in paths smoothed with this cut-off. [Hz] A turn takes a quarter of a second and loses 5 % of
#: its peak; the noise of keypoints does not pass. This project's default.
SEARCH_CUTOFF_HZ = 8.0
#: From one swing's fastest turn to the next one's it takes at least this long: turn out, come back, stand, stride. [s]
#: This project's default.
APART_S = 1.6
#: A swing's fastest turn and its fastest hands are at least this share of the recording's best; what is slower is a
#: waggle or a step. This project's default.
SHARE_OF_BEST = 0.25
#: Mid-hands move at least this fast over the lab's floor, and against the turning trunk, within `HANDS_S` of the
#: fastest turn. [m/s] Virtual hitters reach 4 and 2.7, children among them, and 2.2 and 0.7 in swings held back after a
#: third of the turn; of somebody who walks the middle of both hands stays below 0.8 over the floor, of somebody who
#: spins with the bat in his hands it stays near zero against the trunk. This project's defaults.
SLOWEST_HANDS, SLOWEST_AGAINST_TRUNK = 1.5, 0.6
HANDS_S = 0.15
#: In a swing, also in one that is held back, the shoulders turn at least this far faster than `SLOWEST_TURN` over two.
#: [rad] This project's default.
LEAST_TURNED = np.radians(15.0)
#: The finish is held for at least this long after the turn, and stance and stride come at least this long before the
#: fastest turn: no cut is made there. [s] This project's defaults.
FINISH_S, STRIDE_S = 0.25, 1.0
#: How long the quiet lasts in whose middle the cut is made. [s] This project's default.
QUIET_S = 0.3
#: What must be quiet.
QUIET_POINTS = ("pelvis", "neck", "l_ankle", "r_ankle")
SEARCHED = (*QUIET_POINTS, "l_shoulder", "r_shoulder", "l_hand", "r_hand")

Span = tuple[int, int]


@dataclass(frozen=True)
class Piece:
    """One swing of a recording.

    Attributes
    ----------
    number, count : int
        Which swing, counted from 1, of how many.
    start, stop : int
        Its frames in the whole recording, counted from 0, the last one not included.
    capture : Capture
        The recording itself where it holds one swing.
    setup : Setup
        With the hand-set moments of this swing, counted from its own first frame.
    """

    number: int
    count: int
    start: int
    stop: int
    capture: Capture
    setup: Setup


def pieces_of(
    capture: Capture,
    hitter: Hitter | None = None,
    setup: Setup | None = None,
    calibration: Capture | None = None,
    *,
    only: int | None = None,
) -> list[Piece]:
    """A recording cut into its swings, hand-set moments dealt out to the swings that they lie in.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
    setup : Setup, optional
        Its moments count frames in the whole recording. Of a held position nothing is cut.
    calibration : Capture, optional
        See `fit_skeleton`.
    only : int, optional
        The one swing that is wanted, counted from 1.

    Returns
    -------
    list of Piece
        One that is the whole recording where it holds one swing or none.

    Raises
    ------
    OptionError
        There is no swing of that number, or a hand-set moment lies outside the recording or in another swing than the
        one that is wanted.
    """
    hitter, setup = hitter or Hitter(), setup or Setup()
    spans = [(0, capture.n_frames)] if setup.held else swings_in(capture, hitter, setup, calibration)
    if only is not None and not 1 <= only <= len(spans):
        count = f"{len(spans)} swings" if len(spans) > 1 else "one swing"
        raise OptionError(f"{capture.source}: swing {only} is asked for; the recording holds {count}")
    if len(spans) == 1:
        return [Piece(1, 1, 0, capture.n_frames, capture, setup)]
    _check_moments(capture, setup.moments, spans, only)
    return [
        Piece(
            number,
            len(spans),
            start,
            stop,
            cut(capture, start, stop),
            replace(setup, moments={n: frame - start for n, frame in setup.moments.items() if start <= frame < stop}),
        )
        for number, (start, stop) in enumerate(spans, start=1)
        if only in (None, number)
    ]


def _check_moments(capture: Capture, moments: Mapping[str, int], spans: list[Span], only: int | None) -> None:
    for name, frame in moments.items():
        home = next((number for number, (a, b) in enumerate(spans, start=1) if a <= frame < b), None)
        if home is None:
            raise OptionError(
                f"{capture.source}: {name} is set to frame {frame}; the recording has frames 0 to"
                f" {capture.n_frames - 1}"
            )
        if only is not None and home != only:
            a, b = spans[only - 1]
            raise OptionError(
                f"{capture.source}: {name} is set to frame {frame}, which lies in swing {home}; swing {only} has frames"
                f" {a} to {b - 1}"
            )


def swings_in(
    capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None, calibration: Capture | None = None
) -> list[Span]:
    """Where the swings of a recording lie, a swing held back included.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
        The side he bats from is taken from the fastest turn where it is not given.
    setup : Setup, optional
    calibration : Capture, optional

    Returns
    -------
    list of (int, int)
        First frame and the one after the last, counted from 0; together they are the whole recording. One span where
        there is one swing, or none, or no body to see one in: whoever measures it says so.

    Notes
    -----
    The cut between two swings lies in the middle of the quietest 0.3 s after the one's finish and before the other's
    stance.
    """
    whole = [(0, capture.n_frames)]
    if capture.duration_s < APART_S:
        return whole
    paths = _searched_paths(capture, setup or Setup(), calibration)
    if paths is None:
        return whole
    peaks, turn = _swing_peaks(paths, capture.rate_hz, hitter or Hitter())
    if len(peaks) < 2:
        return whole
    restless = _restlessness(paths, capture.rate_hz)
    cuts = [_quietest(restless, turn, first, then, capture.rate_hz) for first, then in pairwise(peaks)]
    return list(pairwise([0, *cuts, capture.n_frames]))


def _searched_paths(capture: Capture, setup: Setup, calibration: Capture | None) -> dict[str, FloatArray] | None:
    """Smoothed paths of what swings show in, z up, gaps bridged straight; None where they are not there."""
    try:
        body = calibrated_body(capture, setup.model, calibration)
    except InputError:
        return None
    centres = dict(body.centres)
    for side in "lr":  # keypoints may end at the wrists
        if not np.isfinite(centres[f"{side}_hand"]).any():
            centres[f"{side}_hand"] = centres[f"{side}_wrist"]
    if any(np.isfinite(centres[name]).all(axis=1).sum() < 2 for name in SEARCHED):
        return None
    matrix = upright(body.up)
    paths = np.stack([_bridged(transformed(matrix, centres[name])) for name in SEARCHED], axis=1)
    smooth = lowpass(paths, capture.rate_hz, SEARCH_CUTOFF_HZ)
    return {name: smooth[:, column] for column, name in enumerate(SEARCHED)}


def _bridged(path: FloatArray) -> FloatArray:
    frames, seen = np.arange(len(path)), np.isfinite(path).all(axis=1)
    return np.stack([np.interp(frames, frames[seen], path[seen, axis]) for axis in range(3)], axis=1)


def _swing_peaks(paths: Mapping[str, FloatArray], rate_hz: float, hitter: Hitter) -> tuple[list[int], FloatArray]:
    """Frames of the fastest turn of each swing, and the turning speed toward the pitcher, shape (F,). [rad/s]"""
    line = paths["l_shoulder"] - paths["r_shoulder"]
    angle = np.unwrap(heading(line))
    turn = derivative(angle, rate_hz)
    # Between swings he may turn round as far as in all of them, but not as fast.
    side = hitter.bats or ("right" if turn[np.nanargmax(np.abs(turn))] >= 0.0 else "left")
    turn = turn if side == "right" else -turn
    hands = (paths["l_hand"] + paths["r_hand"]) / 2 - paths["neck"]
    over_floor, against_trunk = speed(hands, rate_hz), speed(_in_turning_axes(hands, angle), rate_hz)
    near = round(HANDS_S * rate_hz)
    found: list[tuple[int, float]] = []
    for start, stop in runs(turn > SLOWEST_TURN / 2):
        peak = start + int(np.argmax(turn[start:stop]))
        window = slice(max(peak - near, 0), peak + near + 1)
        if (
            turn[peak] >= SLOWEST_TURN
            and turn[start:stop].sum() / rate_hz >= LEAST_TURNED
            and over_floor[window].max() >= SLOWEST_HANDS
            and against_trunk[window].max() >= SLOWEST_AGAINST_TRUNK
        ):
            found.append((peak, float(over_floor[window].max())))
    if not found:
        return [], turn
    fastest_turn, fastest_hands = max(turn[peak] for peak, _ in found), max(hand for _, hand in found)
    strong = [
        peak
        for peak, hand in found
        if turn[peak] >= SHARE_OF_BEST * fastest_turn and hand >= SHARE_OF_BEST * fastest_hands
    ]
    return _apart(strong, turn, APART_S * rate_hz), turn


def _in_turning_axes(vectors: FloatArray, angle: FloatArray) -> FloatArray:
    """Vectors as seen by somebody who turns with an angle about the vertical."""
    c, s = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([c * x + s * y, c * y - s * x, z], axis=1)


def _apart(peaks: list[int], turn: FloatArray, least: float) -> list[int]:
    """The fastest of peaks that lie too close together to be two swings."""
    kept: list[int] = []
    for peak in sorted(peaks, key=lambda peak: -turn[peak]):
        if all(abs(peak - other) >= least for other in kept):
            kept.append(peak)
    return sorted(kept)


def _restlessness(paths: Mapping[str, FloatArray], rate_hz: float) -> FloatArray:
    """Mean speed of body and hands over `QUIET_S` about each frame, shape (F,). [m/s]"""
    moving = [paths[name] for name in QUIET_POINTS] + [(paths["l_hand"] + paths["r_hand"]) / 2]
    mean = np.mean([speed(path, rate_hz) for path in moving], axis=0)
    half = max(round(QUIET_S * rate_hz / 2), 1)
    summed = np.concatenate([np.zeros(half + 1), np.cumsum(mean), np.full(half, mean.sum())])
    width = 2 * half + 1
    smooth: FloatArray = (summed[width:] - summed[: len(mean)]) / width
    return smooth


def _quietest(restless: FloatArray, turn: FloatArray, first: int, then: int, rate_hz: float) -> int:
    """The frame at which the recording is cut between two swings' fastest turns."""
    slow = turn[first:then] < TURN_ENDED * turn[first]
    ends = [start for start, stop in runs(slow) if stop - start >= STAYS_ENDED_S * rate_hz]
    begin = first + (ends[0] if ends else 0) + round(FINISH_S * rate_hz)
    end = then - round(STRIDE_S * rate_hz)
    if begin >= end:
        return (begin + end) // 2
    return begin + int(np.argmin(restless[begin:end]))


def cut(capture: Capture, start: int, stop: int) -> Capture:
    """A part of a recording, as if it had been recorded alone.

    Parameters
    ----------
    capture : Capture
    start, stop : int
        First frame, and the one after the last, counted from 0.

    Returns
    -------
    Capture
        Analog channels and plates are cut at their own rates, events count from its first frame, and those outside are
        left out; `first_frame` keeps the recording's numbers. The recording itself where that is all of it.

    Raises
    ------
    OptionError
        These are not frames of the recording.

    Notes
    -----
    A plate's zero was read in frames that the part may lack. Its forces are right, but its channels are not told to be
    the source any more where a baseline was taken off them, so that a writer makes channels from the forces.
    """
    if not 0 <= start < stop <= capture.n_frames:
        raise OptionError(
            f"{capture.source}: frames {start} to {stop - 1} are asked for; the recording has frames 0 to"
            f" {capture.n_frames - 1}"
        )
    if (start, stop) == (0, capture.n_frames):
        return capture
    analog = _samples(start, stop, capture.analog_rate_hz / capture.rate_hz)
    numbered = f"{capture.first_frame + start} to {capture.first_frame + stop - 1}"
    note = f"frames {start} to {stop - 1} of {capture.source}, counted from 0 (numbered {numbered} there)"
    return replace(
        capture,
        source=f"{capture.source}, frames {start} to {stop - 1}",
        points=capture.points[start:stop],
        residuals=capture.residuals[start:stop],
        cameras=capture.cameras[start:stop],
        errors=capture.errors.part(slice(start, stop)) if capture.errors is not None else None,
        first_frame=capture.first_frame + start,
        analog=capture.analog[analog],
        plates=tuple(_cut_plate(plate, start, stop, capture.rate_hz) for plate in capture.plates),
        events=tuple(_cut_events(capture, start, stop)),
        notes=(*capture.notes, note),
    )


def _samples(start: int, stop: int, per_frame: float) -> slice:
    return slice(round(start * per_frame), round(stop * per_frame))


def _cut_plate(plate: ForcePlate, start: int, stop: int, rate_hz: float) -> ForcePlate:
    kept = _samples(start, stop, plate.rate_hz / rate_hz)
    zeroed = plate.channels is not None and plate.channels.zero != (0, 0)
    return replace(
        plate,
        force=plate.force[kept],
        moment=plate.moment[kept],
        centre_of_pressure=plate.centre_of_pressure[kept],
        channels=None if zeroed else plate.channels,
    )


def _cut_events(capture: Capture, start: int, stop: int) -> list[Event]:
    from_s, to_s = start / capture.rate_hz, stop / capture.rate_hz
    return [replace(event, time_s=event.time_s - from_s) for event in capture.events if from_s <= event.time_s < to_s]
