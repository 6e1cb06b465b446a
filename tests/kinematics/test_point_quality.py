"""Jumps, exchanged labels and standing points, put into clean recordings on purpose, are found, and nothing else is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.kinematics.point_quality import PointQuality, point_qualities
from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import pose_swing

RATES = (120.0, 240.0, 480.0)
NOISE_M = 0.001


@pytest.fixture(scope="module", params=RATES, ids=lambda rate: f"{rate:g} Hz")
def clean(request: pytest.FixtureRequest, make_capture: Callable[..., Capture]) -> Capture:
    """A noisy but faultless recording of a swing with a bat."""
    posed = pose_swing(SwingParameters(height_m=1.80), request.param)
    return make_capture(posed.points, request.param, noise_m=NOISE_M)


def changed(capture: Capture, points: np.ndarray) -> dict[str, PointQuality]:
    qualities, swaps = point_qualities(replace(capture, points=points))
    assert swaps == ()
    return {quality.label: quality for quality in qualities}


def test_a_faultless_swing_raises_no_alarm(clean: Capture) -> None:
    qualities, swaps = point_qualities(clean)
    assert swaps == ()
    assert [q.label for q in qualities if q.jumps or q.never_moves or q.held] == []


@pytest.mark.parametrize("noise_m", [0.0, 0.006])
def test_neither_perfect_nor_very_noisy_points_raise_an_alarm(
    clean: Capture, make_capture: Callable[..., Capture], noise_m: float
) -> None:
    posed = pose_swing(SwingParameters(height_m=1.80), clean.rate_hz)
    qualities, swaps = point_qualities(make_capture(posed.points, clean.rate_hz, noise_m=noise_m))
    assert swaps == ()
    assert [q.label for q in qualities if q.jumps or q.never_moves or q.held] == []


def test_the_real_swing_raises_no_alarm(shared_data: Path) -> None:
    qualities, swaps = point_qualities(mocap.read(shared_data / "real_swing.c3d"))
    assert swaps == ()
    assert [q.label for q in qualities if q.jumps or q.never_moves or q.held or q.missing_share] == []


@pytest.mark.parametrize(
    ("label", "off_m"), [("L_WRIST", 0.06), ("R_HEEL", 0.06), ("HEAD", 0.06), ("BAT_BARREL", 0.30)]
)
@pytest.mark.parametrize("wide", [1, 3])
def test_a_spike_is_found_where_it_is(clean: Capture, label: str, off_m: float, wide: int) -> None:
    points, frame = clean.points.copy(), clean.n_frames * 3 // 5
    points[frame : frame + wide, clean.labels.index(label)] += off_m * np.array([0.6, 0.0, 0.8])
    found = changed(clean, points)
    (jump,) = found[label].jumps
    assert (jump.kind, jump.frame, jump.last_frame) == ("spike", frame, frame + wide - 1)
    assert jump.off_m == pytest.approx(off_m, rel=0.25)
    assert [q.label for q in found.values() if q.jumps] == [label]


def test_a_step_and_a_speed_that_no_body_has(clean: Capture) -> None:
    points, frame = clean.points.copy(), clean.n_frames // 4
    points[frame:, clean.labels.index("L_KNEE"), 1] += 0.10
    fast = 30.0 / clean.rate_hz  # 30 m/s over several frames, so that no interval differs from the next
    points[frame : frame + 4, clean.labels.index("HEAD"), 0] += fast * np.arange(1, 5)
    points[frame + 4 :, clean.labels.index("HEAD"), 0] += 4 * fast
    found = changed(clean, points)
    (jump,) = found["L_KNEE"].jumps
    assert (jump.kind, jump.frame) == ("step", frame)
    assert {jump.frame for jump in found["HEAD"].jumps} == set(range(frame, frame + 4))


def test_a_ghost_behind_a_gap_is_found_and_the_gap_is_not(clean: Capture) -> None:
    wrist, ankle, frame = clean.labels.index("L_WRIST"), clean.labels.index("R_ANKLE"), clean.n_frames // 2
    gap = round(0.04 * clean.rate_hz)
    points = clean.points.copy()
    points[frame : frame + gap, [wrist, ankle]] = np.nan
    points[frame + gap + 5 :, wrist, 2] += 1.5
    points[frame + gap : frame + gap + 5, wrist] = np.nan
    found = changed(clean, points)
    assert [jump.frame for jump in found["L_WRIST"].jumps] == [frame + gap + 5]
    assert found["R_ANKLE"].jumps == ()
    assert found["R_ANKLE"].longest_gap == gap
    assert found["R_ANKLE"].longest_gap_s == pytest.approx(gap / clean.rate_hz)
    assert found["R_ANKLE"].missing_share == pytest.approx(gap / clean.n_frames)


@pytest.mark.parametrize("pair", [("L_HEEL", "R_HEEL"), ("L_HAND", "R_HAND"), ("L_KNEE", "R_ANKLE")])
@pytest.mark.parametrize("gap", [0, 3])
def test_exchanged_labels_are_found_with_their_span(clean: Capture, pair: tuple[str, str], gap: int) -> None:
    one, other = (clean.labels.index(label) for label in pair)
    start, stop = clean.n_frames // 3, clean.n_frames // 2
    points = clean.points.copy()
    points[start:stop, [one, other]] = points[start:stop, [other, one]]
    points[start - gap : start, [one, other]] = np.nan
    qualities, swaps = point_qualities(replace(clean, points=points))
    (swap,) = swaps
    assert set(swap.labels) == set(pair)
    assert (swap.frame, swap.last_frame) == (start, stop - 1)
    apart = np.linalg.norm(clean.points[start, one] - clean.points[start, other])
    assert swap.distance_m == pytest.approx(apart, abs=1e-9)
    assert [q.label for q in qualities if q.jumps] == []  # explained by the exchange


def test_labels_that_never_change_back_are_exchanged_to_the_end(clean: Capture) -> None:
    one, other = clean.labels.index("L_ANKLE"), clean.labels.index("R_ANKLE")
    points, start = clean.points.copy(), clean.n_frames // 2
    points[start:, [one, other]] = points[start:, [other, one]]
    _, (swap,) = point_qualities(replace(clean, points=points))
    assert (swap.frame, swap.last_frame) == (start, clean.n_frames - 1)


def test_points_that_stand_still_or_are_held(clean: Capture) -> None:
    points, knob, hand = clean.points.copy(), clean.labels.index("BAT_KNOB"), clean.labels.index("R_HAND")
    points[:, knob] = points[0, knob]
    fastest = int(np.argmax(np.linalg.norm(np.diff(points[:, hand], axis=0), axis=1)))
    held = round(0.06 * clean.rate_hz)
    points[fastest : fastest + held, hand] = points[fastest, hand]
    found = changed(clean, points)
    assert [q.label for q in found.values() if q.never_moves] == ["BAT_KNOB"]
    assert found["R_HAND"].held == ((fastest + 1, fastest + held - 1),)


def test_residuals_are_those_of_seen_samples() -> None:
    residuals = np.array([[0.001, 0.0], [0.003, 0.0], [np.nan, 0.0]])
    points = np.zeros((3, 2, 3))
    points[2, 0] = np.nan
    (stated, silent), _ = point_qualities(Capture("x", ("A", "B"), points, 100.0, residuals))
    assert (stated.mean_residual_m, stated.worst_residual_m) == (pytest.approx(0.002), pytest.approx(0.003))
    assert (silent.mean_residual_m, silent.worst_residual_m) == (None, None)


def test_random_points_are_looked_over_without_trouble() -> None:
    rng = np.random.default_rng(3)
    points = rng.normal(0.0, 1.0, (400, 30, 3))
    points[rng.random((400, 30)) < 0.3] = np.nan
    labels = tuple(f"P{i}" for i in range(30))
    qualities, _ = point_qualities(Capture("x", labels, points, 200.0, np.zeros((400, 30))))
    assert sum(len(q.jumps) for q in qualities) > 1000
    assert len(point_qualities(Capture("x", ("A",), points[:0, :1], 200.0, np.zeros((0, 1))))[0]) == 1
