"""Hidden samples come back: of paths known exactly, and of a real recording."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

import mocap
from mocap.kinematics.gaps import (
    LARGEST_ERROR_M,
    LONGEST_CLUSTER_GAP_S,
    LONGEST_FAST_GAP_S,
    LONGEST_GAP_S,
    fill_from_clusters,
    fill_gaps,
    find_gaps,
)

RATE = 120.0


def parabola(frames: int) -> np.ndarray:
    time = np.arange(frames) / RATE
    return np.stack([time, time**2 - time, 0.3 * time**2], axis=1)[:, None, :]


def tumbling(frames: int, rate: float, local: np.ndarray) -> np.ndarray:
    """Points fixed in a body that turns about a changing axis while it flies along, shape (F, P, 3)."""
    time = np.arange(frames) / rate
    turn = Rotation.from_rotvec(np.stack([np.sin(3 * time), 2 * time, np.cos(2 * time)], axis=1))
    along = np.stack([0.5 * time, np.sin(time), 1 + 0.1 * time], axis=1)
    return np.stack([turn.apply(np.tile(point, (frames, 1))) + along for point in local], axis=1)


CLUSTER = np.array([[0.0, 0.0, 0.0], [0.2, 0.0, 0.01], [0.0, 0.15, 0.0], [0.1, 0.1, 0.12]])


def test_gaps_are_spans_by_column() -> None:
    seen = np.ones((6, 3), dtype=bool)
    seen[:2, 2] = seen[3, 2] = seen[4:, 0] = False
    assert find_gaps(seen).tolist() == [[0, 4, 6], [2, 0, 2], [2, 3, 4]]


def test_a_short_gap_in_a_parabola_is_filled_exactly_and_marked() -> None:
    whole = parabola(120)
    holed = whole.copy()
    holed[50:58] = np.nan
    filled, marked = fill_gaps(holed, RATE)
    assert filled == pytest.approx(whole, abs=1e-9)
    assert np.flatnonzero(marked[:, 0]).tolist() == list(range(50, 58))
    assert np.array_equal(filled[~marked], whole[~marked])


def test_long_gaps_and_ends_stay_missing() -> None:
    holed = parabola(120)
    too_long = round(LONGEST_GAP_S * RATE) + 1
    holed[40 : 40 + too_long] = np.nan
    holed[:3] = np.nan
    holed[-2:] = np.nan
    filled, marked = fill_gaps(holed, RATE)
    assert np.array_equal(filled, holed, equal_nan=True)
    assert not marked.any()


@pytest.mark.parametrize(("speed", "filled_over_s"), [(3.0, LONGEST_GAP_S), (8.0, LONGEST_FAST_GAP_S)])
def test_a_fast_point_is_bridged_over_less(speed: float, filled_over_s: float) -> None:
    angle = np.arange(240) / 240.0 * speed / 0.5
    path = 0.5 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)[:, None]
    for length, is_filled in ((filled_over_s, True), (filled_over_s + 1 / 240.0, False)):
        holed = path.copy()
        holed[100 : 100 + round(length * 240.0)] = np.nan
        assert fill_gaps(holed, 240.0)[1].any() == is_filled


@pytest.mark.parametrize("rate", [120.0, 240.0, 480.0])
def test_noise_beside_a_gap_is_averaged_and_not_carried_on(rate: float) -> None:
    rng = np.random.default_rng(0)
    time = np.arange(int(2 * rate)) / rate
    whole = np.stack([0.2 * np.sin(2 * np.pi * time), 0.1 * np.cos(4 * time), time], axis=1)
    noisy = whole + rng.normal(0.0, 0.001, whole.shape)
    gap = round(0.08 * rate)
    ours, interpolating = [], []
    for start in range(30, len(whole) - gap - 30, gap):
        span = np.arange(start, start + gap)
        holed = noisy.copy()
        holed[span] = np.nan
        around = np.r_[start - 8 : start, start + gap : start + gap + 8]
        ours.append(fill_gaps(holed[:, None], rate)[0][span, 0] - whole[span])
        interpolating.append(CubicSpline(around, noisy[around])(span) - whole[span])
    assert np.sqrt(np.mean(np.square(ours))) < np.sqrt(np.mean(np.square(interpolating)))


def test_a_point_of_a_rigid_cluster_comes_back_exactly_also_at_the_ends() -> None:
    whole = tumbling(300, 100.0, CLUSTER)
    for span in (slice(100, 140), slice(0, 25), slice(275, 300)):
        holed = whole.copy()
        holed[span, 3] = np.nan
        filled, (fill,) = fill_from_clusters(holed, 100.0)
        assert filled == pytest.approx(whole, abs=1e-9)
        assert (fill.point, fill.start, fill.stop, set(fill.donors)) == (3, span.start, span.stop, {0, 1, 2})
        assert fill.error_m < 1e-9


def test_a_point_that_moves_over_the_cluster_joins_both_ends() -> None:
    whole = tumbling(300, 100.0, CLUSTER)
    # It creeps by 1 mm in 10 frames along a direction fixed in the body.
    creeping = CLUSTER[3] + 1e-4 * np.arange(300)[:, None] * np.array([0.6, 0.0, 0.8])
    whole[:, 3] = np.stack([tumbling(300, 100.0, creep[None])[frame, 0] for frame, creep in enumerate(creeping)])
    holed = whole.copy()
    holed[100:140, 3] = np.nan
    assert fill_from_clusters(holed, 100.0)[0] == pytest.approx(whole, abs=1e-9)


def test_what_no_cluster_leads_stays_missing() -> None:
    on_a_line = tumbling(300, 100.0, np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.0], [0.2, 0.0, 0.0], [0.1, 0.1, 0.1]]))
    loose = tumbling(300, 100.0, CLUSTER)
    loose[:, 3] += 0.2 * np.sin(np.arange(300) / 8.0)[:, None]
    for whole in (on_a_line, loose):
        whole[100:140, 3] = np.nan
        filled, fills = fill_from_clusters(whole, 100.0)
        assert np.array_equal(filled, whole, equal_nan=True)
        assert fills == ()


def test_a_gap_longer_than_the_limit_or_with_too_few_neighbours_stays_missing() -> None:
    whole = tumbling(400, 100.0, CLUSTER)
    too_long, too_few = whole.copy(), whole.copy()
    too_long[100 : 101 + round(LONGEST_CLUSTER_GAP_S * 100.0), 3] = np.nan
    too_few[100:140, 3] = np.nan
    too_few[120, 1] = np.nan
    for holed in (too_long, too_few):
        assert fill_from_clusters(holed, 100.0)[1] == ()


def hidden(points: np.ndarray, column: int, start: int, count: int) -> np.ndarray:
    holed = points.copy()
    holed[start : start + count, column] = np.nan
    return holed


def test_hidden_samples_of_a_real_recording_come_back(shared_data: Path) -> None:
    gait = mocap.read(shared_data / "c3d" / "full_body_gait.c3d")
    points, rate = gait.points[:, :35], gait.rate_hz  # its markers; what follows was computed from them
    assert gait.labels[34] == "RTOE"
    for label in ("LASI", "C7", "LHEE", "RWRA"):
        column = gait.labels.index(label)
        for start in (40, 150, 240):
            holed = hidden(points, column, start, 10)
            filled, marked = fill_gaps(holed, rate)
            assert marked.sum() == 10
            off = np.linalg.norm(filled[marked] - points[marked], axis=1)
            assert off.max() < 0.004
    expected, errors = [], []
    for column in range(35):
        for start in (40, 100, 160, 220):
            filled, fills = fill_from_clusters(hidden(points, column, start, 40), rate)
            for fill in fills:
                span = slice(fill.start, fill.stop)
                errors.append(np.linalg.norm(filled[span, column] - points[span, column], axis=1))
                expected.append(fill.error_m)
    assert len(errors) > 70  # half of the 140 gaps
    assert max(expected) <= LARGEST_ERROR_M
    rms = np.sqrt(np.mean(np.square(errors), axis=1))
    assert np.median(rms) < 0.005
    assert np.percentile(rms, 95) < LARGEST_ERROR_M
    # What is expected of the middle of a gap in 19 of 20 cases holds.
    middle = np.array(errors)[:, 20]
    assert np.mean(middle <= expected) > 0.85
