from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.filtering import LONGEST_GAP_S, derivative, fill_gaps, lowpass, lowpass_to_the_end, runs

RATE = 120.0


def cubic(frames: int) -> np.ndarray:
    time = np.arange(frames) / RATE
    return np.stack([time, time**2 - time, time**3], axis=1)[:, None, :]


def test_a_short_gap_in_a_cubic_is_filled_exactly_and_marked() -> None:
    whole = cubic(120)
    holed = whole.copy()
    holed[50:58] = np.nan
    filled, marked = fill_gaps(holed, RATE)
    assert filled == pytest.approx(whole, abs=1e-12)
    assert np.flatnonzero(marked[:, 0]).tolist() == list(range(50, 58))


def test_long_gaps_and_ends_stay_missing() -> None:
    holed = cubic(120)
    too_long = round(LONGEST_GAP_S * RATE) + 1
    holed[40 : 40 + too_long] = np.nan
    holed[:3] = np.nan
    holed[-2:] = np.nan
    filled, marked = fill_gaps(holed, RATE)
    assert np.isnan(filled[40 : 40 + too_long]).all()
    assert np.isnan(filled[:3]).all()
    assert np.isnan(filled[-2:]).all()
    assert not marked.any()


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
    kept = derivative(lowpass_to_the_end(path, rate, 25.0), rate)[-1]
    plain = derivative(lowpass(path, rate, 25.0), rate)[-1]
    # The last difference lies half a frame before the end, which turns its direction by speed / radius / rate / 2.
    assert np.linalg.norm(kept - end) < 1.1 * speed * (speed / radius / rate / 2)
    assert np.linalg.norm(kept - end) < 0.5 * np.linalg.norm(plain - end)


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
