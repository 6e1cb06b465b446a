from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.filtering import (
    derivative,
    lowpass,
    lowpass_to_the_end,
    runs,
    split_lowpass,
)

RATE = 120.0


def test_missing_samples_split_a_path_and_nothing_leaks_across() -> None:
    path = np.random.default_rng(0).normal(size=(200, 1, 3))
    path[90:130] = np.nan
    filtered = lowpass(path, RATE, 10.0)
    assert np.isnan(filtered[90:130]).all()
    assert filtered[:90] == pytest.approx(lowpass(path[:90], RATE, 10.0))
    assert filtered[130:] == pytest.approx(lowpass(path[130:], RATE, 10.0))


def test_the_end_of_a_path_that_breaks_off_keeps_its_velocity() -> None:
    rate, radius, speed = 240.0, 1.1, 30.0
    angle = np.arange(120) / rate * speed / radius
    path = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    end = speed * np.array([-np.sin(angle[-1]), np.cos(angle[-1])])
    kept, plain = (
        np.gradient(filtered(path, rate, 25.0), 1.0 / rate, axis=0, edge_order=2)[-1]
        for filtered in (lowpass_to_the_end, lowpass)
    )
    # One-sided differences of second order err by a third of the square of the turn in a frame.
    assert np.linalg.norm(kept - end) < 1.2 * speed * (speed / radius / rate) ** 2 / 3.0
    assert np.linalg.norm(kept - end) < 0.1 * np.linalg.norm(plain - end)


def test_each_point_has_its_own_cutoff() -> None:
    paths = np.random.default_rng(3).normal(size=(200, 3, 3))
    paths[50:60, 2] = np.nan
    cutoffs = np.array([6.0, 20.0, 6.0])
    apart = [lowpass(paths[:, i : i + 1], RATE, cutoff) for i, cutoff in enumerate(cutoffs)]
    assert lowpass(paths, RATE, cutoffs) == pytest.approx(np.concatenate(apart, axis=1), nan_ok=True)
    assert lowpass(paths[:, :, 0], RATE, cutoffs) == pytest.approx(lowpass(paths, RATE, cutoffs)[:, :, 0], nan_ok=True)


def test_no_cutoff_is_above_its_share_of_the_rate() -> None:
    path = np.random.default_rng(3).normal(size=(200, 1))
    assert lowpass(path, RATE, 500.0) == pytest.approx(lowpass(path, RATE, 0.4 * RATE))


def blow(rate: float) -> tuple[np.ndarray, int, np.ndarray, np.ndarray]:
    """A barrel on an arc at 30 m/s that loses 10 m/s midway between two frames.

    Its path, the last frame before the blow, and the velocities in that frame and in the next one.
    """
    split, radius = 120, 1.1
    time = np.arange(2 * split + 2) / rate
    blow_at = (split + 0.5) / rate
    angle = (30.0 * np.minimum(time, blow_at) + 20.0 * np.maximum(time - blow_at, 0.0)) / radius
    along = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    path = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return path[:, None], split, 30.0 * along[split], 20.0 * along[split + 1]


@pytest.mark.parametrize("rate", [240.0, 480.0])
def test_a_path_with_a_velocity_break_keeps_its_one_sided_velocities(rate: float) -> None:
    path, split, before, after = blow(rate)
    noisy = path + np.random.default_rng(0).normal(0.0, 0.0005, path.shape)
    filtered = split_lowpass(noisy, rate, 25.0, split)
    sides = (filtered[: split + 1], filtered[split + 1 :])
    velocity = np.concatenate([np.gradient(side, 1.0 / rate, axis=0, edge_order=2) for side in sides])
    assert np.linalg.norm(velocity[split, 0] - before) < 1.0
    assert np.linalg.norm(velocity[split + 1, 0] - after) < 1.0
    # Filtered and differenced across the blow, both sides are out by a good part of the 10 m/s.
    smeared = derivative(lowpass(noisy, rate, 25.0), rate)
    assert np.linalg.norm(smeared[split, 0] - before) > 3.0


def test_nothing_crosses_the_impact() -> None:
    rng = np.random.default_rng(8)
    path = rng.normal(size=(120, 2, 3))
    other = path.copy()
    other[61:] = rng.normal(size=(59, 2, 3)) + 5.0
    one, two = (split_lowpass(p, RATE, 10.0, 60) for p in (path, other))
    assert np.array_equal(one[:61], two[:61])
    assert not np.isclose(one[61:], two[61:]).any()


def test_without_an_impact_it_is_the_plain_filter() -> None:
    path = np.random.default_rng(8).normal(size=(120, 2, 3))
    assert np.array_equal(split_lowpass(path, RATE, 10.0, None), lowpass(path, RATE, 10.0))


def test_gaps_at_an_impact_stay_and_leave_the_other_points_alone() -> None:
    path = np.random.default_rng(8).normal(size=(200, 2, 3)).cumsum(axis=0)
    holed = path.copy()
    holed[98:101, 0] = np.nan
    filtered = split_lowpass(holed, RATE, 10.0, 99)
    assert np.array_equal(np.isnan(filtered), np.isnan(holed))
    assert filtered[:, 1] == pytest.approx(split_lowpass(path, RATE, 10.0, 99)[:, 1])


def test_noise_is_reduced_by_the_share_of_its_band() -> None:
    noise = np.random.default_rng(1).normal(size=(20000, 1))
    # White noise up to RATE / 2 keeps about cutoff / (RATE / 2) of its power; the slope of the filter adds a little.
    kept = np.var(lowpass(noise, RATE, 12.0)) / np.var(noise)
    assert 0.9 * 12 / 60 < kept < 1.25 * 12 / 60


def test_derivative_of_a_parabola() -> None:
    time = np.arange(50) / RATE
    assert derivative((time**2)[:, None], RATE)[1:-1, 0] == pytest.approx(2 * time[1:-1])


def test_runs() -> None:
    assert runs(np.array([True, True, False, True, False, False, True])) == [(0, 2), (3, 4), (6, 7)]
