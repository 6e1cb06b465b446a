"""Damaged copies of recordings are restored, what was not damaged stays, and what was done is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.kinematics.cleaning import CLUSTER, MISSING, RECORDED, SPLINE, clean
from mocap.reference.posed import PosedSwing


@pytest.fixture
def noisy(posed: PosedSwing, make_capture: Callable[..., Capture]) -> Capture:
    """A faultless swing with a bat, 1 mm of noise."""
    return make_capture(posed.points, posed.rate_hz, noise_m=0.001)


@pytest.fixture(scope="module")
def gait(shared_data: Path) -> Capture:
    """The markers of a real recording, without the points that were computed from them."""
    capture = mocap.read(shared_data / "c3d" / "full_body_gait.c3d")
    return Capture("gait.c3d", capture.labels[:35], capture.points[:, :35], capture.rate_hz, capture.residuals[:, :35])


def test_what_has_no_fault_comes_back_bit_for_bit(noisy: Capture, gait: Capture, shared_data: Path) -> None:
    for capture in (noisy, gait, mocap.read(shared_data / "real_swing.c3d")):
        cleaned = clean(capture)
        assert np.array_equal(cleaned.points, capture.points)
        assert (cleaned.origin == RECORDED).all()
        assert not cleaned.taken_out.any()
        assert (cleaned.notes, cleaned.swaps_left, dict(cleaned.jumps_left)) == ((), (), {})


def test_spikes_in_a_real_recording_are_taken_out_and_filled(gait: Capture) -> None:
    rng = np.random.default_rng(4)
    points, spiked = gait.points.copy(), np.zeros(gait.points.shape[:2], dtype=bool)
    for column in range(0, 35, 2):
        frame, wide = int(rng.integers(20, 290)), int(rng.integers(1, 4))
        points[frame : frame + wide, column] += 0.10 * np.array([0.6, 0.0, 0.8])
        spiked[frame : frame + wide, column] = True
    cleaned = clean(replace(gait, points=points))
    assert np.array_equal(cleaned.taken_out, spiked)
    assert (cleaned.origin[spiked] == SPLINE).all()
    assert (cleaned.origin[~spiked] == RECORDED).all()
    assert np.array_equal(cleaned.points[~spiked], gait.points[~spiked])
    assert np.linalg.norm(cleaned.points[spiked] - gait.points[spiked], axis=1).max() < 0.002
    assert cleaned.notes[0].startswith("spikes taken out and treated as gaps: ")
    assert cleaned.notes[0].endswith(", and 14 more")
    assert cleaned.notes[1].startswith(f"{spiked.sum()} samples filled by a spline: ")
    assert len(cleaned.notes) == 2


@pytest.mark.parametrize("gap", [0, 3])
def test_exchanged_labels_in_a_real_recording_are_exchanged_back(gait: Capture, gap: int) -> None:
    pairs = [("LHEE", "RHEE", 60, 110), ("LASI", "RASI", 150, 180), ("LWRA", "LWRB", 200, 260)]
    points = gait.points.copy()
    for one, other, start, stop in pairs:
        pair = [gait.labels.index(one), gait.labels.index(other)]
        points[start:stop, pair] = points[start:stop, pair[::-1]]
        points[start - gap : start, pair] = np.nan
    cleaned = clean(replace(gait, points=points))
    recorded = cleaned.origin == RECORDED
    assert np.array_equal(cleaned.points[recorded], gait.points[recorded])
    assert (~recorded).sum() == 2 * gap * len(pairs)
    assert np.linalg.norm(cleaned.points - gait.points, axis=2).max() < 0.002
    assert set(cleaned.notes[:3]) == {
        f"{one} and {other} exchanged in frames {start} to {stop - 1}: exchanged back"
        for one, other, start, stop in pairs
    }


def test_lost_at_different_times_around_an_exchange(gait: Capture) -> None:
    one, other = gait.labels.index("LHEE"), gait.labels.index("RHEE")
    points = gait.points.copy()
    points[100:140, [one, other]] = points[100:140, [other, one]]
    points[97:100, [one, other]] = np.nan
    points[100:104, other] = np.nan  # the second label, which then carries the first heel, comes back later
    cleaned = clean(replace(gait, points=points))
    assert np.linalg.norm(cleaned.points - gait.points, axis=2).max() < 0.002
    assert np.flatnonzero(cleaned.origin[:, one] == SPLINE).tolist() == list(range(97, 104))
    assert np.flatnonzero(cleaned.origin[:, other] == SPLINE).tolist() == list(range(97, 100))


@pytest.mark.parametrize(("start", "said"), [(200, "from there on"), (100, "before it")])
def test_labels_that_never_change_back_follow_the_longer_part(gait: Capture, start: int, said: str) -> None:
    pair = [gait.labels.index("LANK"), gait.labels.index("RANK")]
    points = gait.points.copy()
    wrong = slice(start, None) if start == 200 else slice(0, start)
    points[wrong, pair] = points[wrong, pair[::-1]]
    cleaned = clean(replace(gait, points=points))
    assert np.array_equal(cleaned.points, gait.points)
    assert cleaned.notes == (
        f"LANK and RANK change places at frame {start} for good: exchanged {said} (the longer part counts as labelled"
        " rightly)",
    )


def test_a_spike_inside_an_exchange_follows_its_point(gait: Capture) -> None:
    one, other = gait.labels.index("LHEE"), gait.labels.index("RHEE")
    points = gait.points.copy()
    points[130, one] += 0.15
    points[100:160, [one, other]] = points[100:160, [other, one]]
    cleaned = clean(replace(gait, points=points))
    assert np.argwhere(cleaned.taken_out).tolist() == [[130, one]]
    assert np.linalg.norm(cleaned.points - gait.points, axis=2).max() < 0.002


def test_long_gaps_come_from_the_neighbours_and_are_named(gait: Capture) -> None:
    points, column = gait.points.copy(), gait.labels.index("LASI")
    points[100:140, column] = np.nan
    cleaned = clean(replace(gait, points=points))
    assert np.flatnonzero(cleaned.origin[:, column] == CLUSTER).tolist() == list(range(100, 140))
    off = np.linalg.norm(cleaned.points[100:140, column] - gait.points[100:140, column], axis=1)
    assert off.max() < 0.015
    # It joins on: no step at either end is larger than the largest one the recorded path makes there.
    steps = np.linalg.norm(np.diff(cleaned.points[:, column], axis=0), axis=1)
    recorded = np.linalg.norm(np.diff(gait.points[:, column], axis=0), axis=1)
    assert steps[[99, 139]] == pytest.approx(recorded[[99, 139]], abs=0.002)
    (note,) = cleaned.notes
    assert note.startswith("40 samples filled from neighbouring points: LASI frames 100 to 139 from RASI, LPSI, ")


def test_repeated_samples_become_gaps_and_explain_the_leap_behind_them(noisy: Capture) -> None:
    points, hand = noisy.points.copy(), noisy.labels.index("R_HAND")
    fastest = int(np.argmax(np.linalg.norm(np.diff(points[:, hand], axis=0), axis=1)))
    points[fastest : fastest + 10, hand] = points[fastest, hand]
    cleaned = clean(replace(noisy, points=points))
    assert np.flatnonzero(cleaned.taken_out[:, hand]).tolist() == list(range(fastest + 1, fastest + 10))
    assert dict(cleaned.jumps_left) == {}
    off = np.linalg.norm(cleaned.points[:, hand] - noisy.points[:, hand], axis=1)
    assert off.max() < 0.012  # what 0.04 s of a fast hand come back within, where held they were 0.2 m off
    assert cleaned.notes[0] == (
        f"repeated samples taken out and treated as gaps: R_HAND frames {fastest + 1} to {fastest + 9}"
    )


def test_a_jump_to_another_place_is_left_and_named(noisy: Capture) -> None:
    points, knee = noisy.points.copy(), noisy.labels.index("L_KNEE")
    points[80:, knee, 1] += 0.10
    cleaned = clean(replace(noisy, points=points))
    assert np.array_equal(cleaned.points, points)
    assert list(cleaned.jumps_left) == ["L_KNEE"]
    assert cleaned.notes == ("jumps left as recorded: L_KNEE by 10 cm at frame 80",)


def test_points_that_were_not_asked_for_stay_as_they_are(noisy: Capture) -> None:
    points = noisy.points.copy()
    head, knee = noisy.labels.index("HEAD"), noisy.labels.index("L_KNEE")
    points[100, [head, knee]] += 0.2
    points[200:203, [head, knee]] = np.nan
    cleaned = clean(replace(noisy, points=points), labels=["HEAD", "NECK", "not there"])
    assert np.array_equal(cleaned.points[:, knee], points[:, knee], equal_nan=True)
    assert np.flatnonzero(cleaned.origin[:, knee]).tolist() == [200, 201, 202]
    assert (cleaned.origin[200:203, knee] == MISSING).all()
    assert np.flatnonzero(cleaned.origin[:, head] == SPLINE).tolist() == [100, 200, 201, 202]
    assert "L_KNEE" not in " ".join(cleaned.notes)


def test_whatever_is_done_is_marked(noisy: Capture) -> None:
    rng = np.random.default_rng(9)
    points = noisy.points.copy()
    for _ in range(60):
        column, start = rng.integers(points.shape[1]), rng.integers(points.shape[0])
        points[start : start + rng.integers(1, 60), column] = np.nan
    points[rng.random(points.shape[:2]) < 0.002] += 0.3
    cleaned = clean(replace(noisy, points=points))
    recorded = cleaned.origin == RECORDED
    assert np.array_equal(cleaned.points[recorded], points[recorded])
    assert np.array_equal(cleaned.origin == MISSING, np.isnan(cleaned.points[:, :, 0]))
    assert not recorded[cleaned.taken_out].any()
    left = (cleaned.origin == MISSING).sum()
    assert any(note.startswith(f"{left} samples left missing: ") for note in cleaned.notes)


def test_recordings_without_frames_or_samples() -> None:
    nothing = Capture("x", ("A", "B"), np.zeros((0, 2, 3)), 100.0, np.zeros((0, 2)))
    assert clean(nothing).origin.shape == (0, 2)
    unseen = Capture("x", ("A", "B"), np.full((50, 2, 3), np.nan), 100.0, np.full((50, 2), np.nan))
    cleaned = clean(unseen)
    assert (cleaned.origin == MISSING).all()
    assert cleaned.notes == ()
