"""Recordings joined from virtual swings, whose moments are known, with what people do between swings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from mocap.capture import Capture, Event, PlateChannels
from mocap.errors import OptionError
from mocap.importer import read
from mocap.kinematics.build import build_swing
from mocap.kinematics.cutting import cut, pieces_of, swings_in
from mocap.swing import Hitter, Setup
from mocap.virtual.hitter import VirtualHitter, random_hitter
from mocap.virtual.lab import TWO_PLATES, Lab
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record

RATE = 240.0
LAB = Lab(turn_deg=-35.0, shift=(2.1, 1.4, 0.0))
#: Progress from 0 to 1 over a pause -> how far he has walked off [m], and how far he has turned on top. [rad]
Way = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Joined:
    """A recording of several swings, and the frames within which each must be whole: stance and finish."""

    capture: Capture
    spans: list[tuple[int, int]]


def smooth_step(u: np.ndarray) -> np.ndarray:
    return u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)


def standing(u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return 0.0 * u, 0.0 * u


def walking_off_and_back(u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Three metres out and back, once round in the direction of the swing."""
    return 3.0 * np.sin(np.pi * u) ** 2, 2.0 * np.pi * smooth_step(u)


def shoulders_of(points: np.ndarray, labels: Sequence[str]) -> np.ndarray:
    line = points[:, labels.index("L_SHOULDER")] - points[:, labels.index("R_SHOULDER")]
    return np.unwrap(np.arctan2(line[:, 1], line[:, 0]))


def between(first: Capture, then: Capture, pause_s: float, way: Way, settles_s: float = 0.5) -> np.ndarray:
    """Points from the end of one recording to the start of the next: he comes back on the spot or walks round.

    The posture blends in axes that turn with the shoulders, so that nobody shrinks; then he stands still for a while.
    """
    labels = first.labels
    ends = np.stack([first.points[-1], then.points[0]])
    feet = [labels.index(name) for name in ("L_ANKLE", "R_ANKLE")]
    base = ends[:, feet].mean(axis=1) * [1.0, 1.0, 0.0]
    angle = shoulders_of(ends, labels)
    u = np.linspace(0.0, 1.0, round((pause_s - settles_s) * first.rate_hz))
    s = smooth_step(u)[:, None, None]
    off, turned = way(u)
    side = 1.0 if np.ptp(shoulders_of(first.points, labels)) == 0 else np.sign(shoulders_of(first.points, labels)[-1])
    local = [turn(np.array([-a]), (points - b)[None])[0] for a, points, b in zip(angle, ends, base, strict=True)]
    posture = local[0] + s * (local[1] - local[0])
    heading = angle[0] + s[:, 0, 0] * (angle[1] - angle[0]) + side * turned
    place = base[0] + s[:, :, 0] * (base[1] - base[0]) + off[:, None] * np.array([0.6, 0.8, 0.0])
    moved = turn(heading, posture) + place[:, None]
    return np.concatenate([moved, np.repeat(then.points[:1], round(settles_s * first.rate_hz), axis=0)])


def turn(angle: np.ndarray, points: np.ndarray) -> np.ndarray:
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    x, y, z = np.moveaxis(points, -1, 0)
    return np.stack([c * x - s * y, s * x + c * y, z], axis=-1)


def join(
    captures: Sequence[Capture], inner: Sequence[tuple[float, float]], pause_s: float, way: Way, noise_m: float = 0.001
) -> Joined:
    """One recording of captures made without noise; `inner` is each one's stance and finish. [s from its start]"""
    parts, spans, length = [captures[0].points], [], 0
    for (first, then), (stance, finish) in zip(pairwise([*captures, captures[-1]]), inner, strict=True):
        spans.append((length + round(stance * first.rate_hz), length + round(finish * first.rate_hz)))
        parts += [between(first, then, pause_s, way), then.points]
        length += len(parts[-3]) + len(parts[-2])
    points = np.concatenate(parts[:-2])
    points = points + noise_m * np.random.default_rng(3).normal(size=points.shape)
    return Joined(
        replace(captures[0], points=points, residuals=np.full(points.shape[:2], noise_m), cameras=np.zeros((0, 0))),
        spans,
    )


def recorded(hitter: VirtualHitter, rate_hz: float = RATE) -> tuple[Capture, tuple[float, float]]:
    """A swing without noise, and when it is in stance and finishes."""
    motion = Motion.of(hitter)
    start = motion.times(rate_hz)[0]
    return (
        record(hitter, LAB, rate_hz=rate_hz, noise_m=0.0),
        (motion.moments["stance"] - start, motion.moments["finish"] - start),
    )


def held_back(capture: Capture, from_s: float, within_s: float = 0.10) -> Capture:
    """A swing that goes on as it was until `from_s`, slows down and stops there."""
    time = np.arange(capture.n_frames) / capture.rate_hz
    pace = np.clip(1.0 - (time - from_s) / within_s, 0.0, 1.0)
    when = np.concatenate([[0.0], np.cumsum((pace[1:] + pace[:-1]) / 2)]) / capture.rate_hz
    return replace(capture, points=CubicSpline(time, capture.points, axis=0)(when))


def hitters(count: int, seed: int = 11) -> list[VirtualHitter]:
    rng = np.random.default_rng(seed)
    return [random_hitter(rng, level=("adult", "college", "youth")[number % 3]) for number in range(count)]


def holds(found: list[tuple[int, int]], joined: Joined) -> bool:
    """Whether there is one piece for each swing, with its stance and finish inside, and nothing left over."""
    if len(found) != len(joined.spans) or found[0][0] != 0 or found[-1][1] != joined.capture.n_frames:
        return False
    inside = all(a <= stance and finish < b for (a, b), (stance, finish) in zip(found, joined.spans, strict=True))
    return inside and all(first[1] == then[0] for first, then in pairwise(found))


@pytest.fixture(scope="module")
def twelve() -> list[tuple[Capture, tuple[float, float]]]:
    return [recorded(hitter) for hitter in hitters(12)]


def thrice(swing: tuple[Capture, tuple[float, float]], pause_s: float, way: Way, **more: float) -> Joined:
    return join([swing[0]] * 3, [swing[1]] * 3, pause_s, way, **more)


@pytest.mark.parametrize(("way", "pause_s"), [(standing, 1.2), (standing, 4.0), (walking_off_and_back, 4.0)])
def test_every_swing_is_found_and_none_is_cut_through(
    twelve: list[tuple[Capture, tuple[float, float]]], way: Way, pause_s: float
) -> None:
    assert {swing[0].subject["bats"] for swing in twelve} == {"right", "left"}
    for swing in twelve:
        joined = thrice(swing, pause_s, way)
        assert holds(swings_in(joined.capture), joined), swing[0].source


def test_turning_back_at_once_and_spinning_round_are_no_swings(
    twelve: list[tuple[Capture, tuple[float, float]]],
) -> None:
    """Back in 0.6 s, and once round in 1.5 s: as fast as shoulders turn in a swing held back early."""
    for swing in twelve[:4]:
        for way, pause_s in ((standing, 1.1), (walking_off_and_back, 2.0)):
            joined = thrice(swing, pause_s, way)
            rate = np.abs(np.gradient(shoulders_of(joined.capture.points, joined.capture.labels)) * RATE)
            gaps = np.ones(len(rate), dtype=bool)
            for stance, finish in joined.spans:
                gaps[stance : finish + 60] = False
            assert np.degrees(rate[gaps].max()) > 250.0  # the trap is there
            assert holds(swings_in(joined.capture), joined), swing[0].source


@pytest.mark.parametrize("noise_m", [0.003, 0.010])
def test_noise_gaps_and_slow_cameras(noise_m: float) -> None:
    rng = np.random.default_rng(8)
    for hitter in hitters(3, seed=4):
        joined = thrice(recorded(hitter, 60.0), 3.0, walking_off_and_back, noise_m=noise_m)
        points = joined.capture.points.copy()
        for column in range(points.shape[1]):
            first = int(rng.integers(0, len(points) - 12))
            points[first : first + 12, column] = np.nan  # a fifth of a second
        assert holds(swings_in(replace(joined.capture, points=points)), joined)


def test_a_hitter_out_of_sight_between_swings(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    joined = thrice(twelve[0], 4.0, walking_off_and_back)
    points = joined.capture.points.copy()
    gap = joined.spans[0][1] + 240
    points[gap : gap + 480] = np.nan
    assert holds(swings_in(replace(joined.capture, points=points)), joined)


def test_a_swing_held_back_counts(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    """It is stopped just before the shoulders turn fastest."""
    for capture, (stance, finish) in twelve:
        turning = np.abs(np.gradient(shoulders_of(capture.points, capture.labels)))
        stops = float(np.argmax(turning)) / RATE - 0.04
        started = held_back(capture, stops)
        joined = join(
            [capture, started, capture], [(stance, finish), (stance, stops + 0.1), (stance, finish)], 3.0, standing
        )
        assert holds(swings_in(joined.capture), joined), capture.source


def test_waggles_count_for_nothing(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    """Before his second swing he rocks hands and bat twice by 30 cm, shoulders with them by 12 degrees."""
    capture, inner = twelve[0]
    u = np.arange(480) / 480
    waggle = np.repeat(capture.points[:1], len(u), axis=0)
    arms = [i for i, name in enumerate(capture.labels) if any(p in name for p in ("HAND", "WRIST", "BAT", "ELBOW"))]
    waggle[:, arms] += 0.15 * np.sin(4 * np.pi * u)[:, None, None] * np.array([0.8, 0.6, 0.0])
    trunk = [*arms, *(i for i, name in enumerate(capture.labels) if "SHOULDER" in name)]
    middle = waggle[:, [capture.labels.index("PELVIS")]]
    waggle[:, trunk] = turn(np.radians(12.0) * np.sin(4 * np.pi * u), waggle[:, trunk] - middle) + middle
    second = replace(
        capture,
        points=np.concatenate([waggle, capture.points]),
        residuals=np.zeros((480 + capture.n_frames, len(capture.labels))),
        cameras=np.zeros((0, 0)),
    )
    joined = join([capture, second], [inner, (2.0 + inner[0], 2.0 + inner[1])], 2.0, standing)
    assert holds(swings_in(joined.capture), joined)


def test_one_swing_stays_as_it_is(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    for capture, _ in twelve[:3]:
        (piece,) = pieces_of(capture, setup=Setup(moments={"plant": 200}))
        assert piece.capture is capture
        assert piece.setup.moments == {"plant": 200}
        assert (piece.number, piece.count, piece.start, piece.stop) == (1, 1, 0, capture.n_frames)
    long = join(*([one] for one in twelve[0]), pause_s=3.0, way=standing)
    assert swings_in(long.capture) == [(0, long.capture.n_frames)]


def test_a_recording_without_a_swing_stays_whole_for_others_to_refuse() -> None:
    held = record(hitters(1)[0], LAB, held_s=4.0)
    assert swings_in(held) == [(0, held.n_frames)]
    ball = Capture("ball.c3d", ("BALL",), np.zeros((900, 1, 3)), 240.0, np.zeros((900, 1)))
    assert swings_in(ball) == [(0, 900)]


def test_real_recordings_of_one_swing_stay_whole(shared_data: Path) -> None:
    capture = read(shared_data / "real_swing.c3d")
    assert swings_in(capture) == [(0, capture.n_frames)]
    gait = read(shared_data / "c3d" / "full_body_gait.c3d")
    assert swings_in(gait) == [(0, gait.n_frames)]


def test_a_piece_is_measured_as_the_swing_it_was_cut_from(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    capture, _ = twelve[1]
    joined = thrice(twelve[1], 3.0, standing)
    subject = capture.subject
    hitter = Hitter(height_m=subject["height_m"], mass_kg=subject["mass_kg"], bats=subject["bats"])
    alone = build_swing(capture, hitter)
    lengths = []
    for piece in pieces_of(joined.capture, hitter):
        swing = build_swing(piece.capture, hitter, piece.setup)
        lengths.append(swing.n_frames)
        plant = swing.moments["plant"].index
        before = joined.spans[piece.number - 1][0] - round(twelve[1][1][0] * RATE)
        assert plant is not None
        assert abs(piece.start + plant - before - (alone.moments["plant"].index or 0)) <= 1
        assert swing.source == f"{capture.source}, frames {piece.start} to {piece.stop - 1}"
    assert sum(lengths) == joined.capture.n_frames


# -------------------------------------------------------------------- cutting


def test_points_analog_plates_and_events_are_cut_at_their_own_rates() -> None:
    hitter = hitters(1)[0]
    capture = record(hitter, replace(LAB, plates=TWO_PLATES), rate_hz=240.0, analog_rate_hz=1200.0)
    events = (Event("early", "", 0.1), Event("plant", "Left", 1.0), Event("last", "", 1.4999), Event("late", "", 1.5))
    capture = replace(capture, events=events, first_frame=101)
    part = cut(capture, 120, 360)
    assert part.n_frames == 240
    assert part.first_frame == 221
    np.testing.assert_array_equal(part.points, capture.points[120:360])
    np.testing.assert_array_equal(part.analog, capture.analog[600:1800])
    for plate, whole in zip(part.plates, capture.plates, strict=True):
        np.testing.assert_array_equal(plate.force, whole.force[600:1800])
        assert len(plate.moment) == len(plate.centre_of_pressure) == 1200
    assert [(event.label, round(event.time_s, 6)) for event in part.events] == [("plant", 0.5), ("last", 0.9999)]
    assert part.notes[-1] == f"frames 120 to 359 of {hitter.id}.c3d, counted from 0 (numbered 221 to 460 there)"
    assert cut(capture, 0, capture.n_frames) is capture
    with pytest.raises(OptionError, match="frames 10 to 9 are asked for"):
        cut(capture, 10, 10)


def test_a_zeroed_plate_forgets_its_channels_when_it_is_cut() -> None:
    """Its baseline may lie outside, and a writer would have it taken off elsewhere."""
    capture = record(hitters(1)[0], replace(LAB, plates=TWO_PLATES))
    first, second = capture.plates
    assert first.channels is not None
    zeroed = PlateChannels(first.channels.columns, first.channels.origin, zero=(1, 10))
    part = cut(replace(capture, plates=(replace(first, channels=zeroed), second)), 100, 300)
    assert part.plates[0].channels is None
    assert part.plates[1].channels is second.channels


# -------------------------------------------------------------------- hand-set moments


def test_hand_set_moments_go_to_the_swing_that_holds_them(twelve: list[tuple[Capture, tuple[float, float]]]) -> None:
    joined = thrice(twelve[0], 3.0, standing)
    (_, one), (two, three), (_, end) = swings_in(joined.capture)
    setup = Setup(moments={"plant": one - 5, "contact": two + 7})
    first, second, third = pieces_of(joined.capture, setup=setup)
    assert dict(first.setup.moments) == {"plant": one - 5}
    assert dict(second.setup.moments) == {"contact": 7}
    assert dict(third.setup.moments) == {}
    (only,) = pieces_of(joined.capture, only=2)
    assert (only.number, only.count, only.start, only.stop) == (2, 3, two, three)
    for moments, number, words in (
        ({"plant": end}, None, f"plant is set to frame {end}; the recording has frames 0 to {end - 1}"),
        ({"plant": one - 5}, 2, f"plant is set to frame {one - 5}, which lies in swing 1; swing 2 has frames"),
        ({}, 4, "swing 4 is asked for; the recording holds 3 swings"),
    ):
        with pytest.raises(OptionError, match=words):
            pieces_of(joined.capture, setup=Setup(moments=moments), only=number)
    with pytest.raises(OptionError, match="the recording holds one swing"):
        pieces_of(twelve[0][0], only=2)
    assert len(pieces_of(joined.capture, setup=Setup(held=True))) == 1
