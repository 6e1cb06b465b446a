from __future__ import annotations

import numpy as np
import pytest

from mocap.errors import OptionError
from mocap.reference.tracks import Track, Turn, impact_lag, over, ramp, step

KEYS = Track(np.array([-0.5, -0.2, 0.0, 0.3]), np.array([[0.0, 1.0], [0.4, 1.0], [-1.0, 1.0], [2.0, 1.0]]))


def test_a_track_passes_through_its_inner_keys() -> None:
    assert KEYS(KEYS.times_s)[1:-1] == pytest.approx(KEYS.values[1:-1], abs=1e-12)


def test_a_track_settles_on_its_ends_and_keeps_a_constant() -> None:
    assert KEYS(np.array([-9.0, 9.0]))[:, 0] == pytest.approx(KEYS.values[[0, -1], 0], abs=1e-12)
    assert KEYS(np.linspace(-1, 1, 50))[:, 1] == pytest.approx(1.0, abs=1e-12)


def test_a_track_has_the_shape_of_a_rounded_ramp() -> None:
    ramp = Track(np.array([0.0, 1.0]), np.array([0.0, 3.0]))
    time = np.linspace(-3, 4, 7001)
    slope = np.gradient(ramp(time), time)
    assert (slope > -1e-9).all()
    # By symmetry half way in the middle, and the slope is a box of height 3 smoothed by a Gaussian of 0.42.
    assert ramp(np.array([0.5])) == pytest.approx(1.5)
    assert slope.max() == pytest.approx(3 * 0.7662, rel=1e-3)


def test_a_step_starts_and_ends_at_rest() -> None:
    time = np.linspace(-0.1, 1.1, 100_001)
    curve = step(time, 0.0, 1.0)
    # Three derivatives vanish at the ends: the curve leaves them as the fourth power of time.
    assert curve[np.searchsorted(time, 0.01)] == pytest.approx(35 * 0.01**4, rel=0.1)
    assert np.all(curve[time < 0] == 0.0)
    assert np.all(np.diff(curve) >= -1e-12)
    assert step(np.array([0.5, 1.0, 3.0]), 0.0, 1.0) == pytest.approx([0.5, 1.0, 1.0])


def test_a_ramp_travels_at_an_even_speed_between_its_eased_ends() -> None:
    time = np.linspace(-0.1, 1.1, 12_001)
    curve = ramp(time, 0.0, 1.0, 0.4, 0.2)
    assert curve[time <= 0] == pytest.approx(0.0, abs=1e-12)
    assert curve[time >= 1] == pytest.approx(1.0, abs=1e-12)
    speed = np.gradient(curve, time)
    # Eased ends count half: 1 in (1 - 0.2 - 0.1).
    assert speed[(time > 0.41) & (time < 0.79)] == pytest.approx(1 / 0.7, rel=1e-6)


def test_a_turn_has_the_asked_speed_and_change() -> None:
    turn = Turn.between(0.0, 0.17, 1.2, 0.10, 12.0)
    time = np.linspace(0.0, 0.17, 170_001)
    angle = turn(time)
    assert angle[-1] - angle[0] == pytest.approx(1.2, abs=1e-9)
    speed = np.gradient(angle, time)
    assert speed.max() == pytest.approx(12.0, rel=1e-6)
    assert time[np.argmax(speed)] == pytest.approx(0.10, abs=1e-5)


def test_a_turn_too_far_for_its_time_is_refused() -> None:
    with pytest.raises(OptionError, match="takes longer"):
        Turn.between(0.0, 0.1, 3.0, 0.05, 12.0)


def test_an_impact_loses_its_speed_within_three_milliseconds() -> None:
    time = np.arange(-0.01, 0.01, 1e-5)
    lost = np.gradient(impact_lag(time, 0.0), time)
    assert np.interp(0.0, time, lost) < 0.03
    assert np.interp(0.003, time, lost) > 0.9


def test_a_turn_too_far_for_its_time_is_quickened_where_allowed() -> None:
    turn = Turn.between(0.0, 0.1, 3.0, 0.05, 12.0, nearest=True)
    time = np.linspace(0.0, 0.1, 10_001)
    assert np.ptp(turn(time)) == pytest.approx(3.0, abs=1e-9)
    assert np.gradient(turn(time), time).max() > 29.0


def test_weights_are_what_a_track_multiplies_its_values_by() -> None:
    time = np.linspace(-0.7, 0.5, 41)
    assert Track.weights(KEYS.times_s, time) @ KEYS.values == pytest.approx(KEYS(time), abs=1e-12)


def test_a_limit_is_passed_by_half_its_ease_at_most() -> None:
    excess = np.linspace(-1.0, 3.0, 40_001)
    kept = excess - over(excess, 0.4)
    assert kept[excess <= 0] == pytest.approx(excess[excess <= 0], abs=0)
    assert kept[excess >= 0.4] == pytest.approx(0.2, abs=1e-12)
    slope = np.gradient(kept, excess)
    assert (slope > -1e-9).all()
    assert np.abs(np.diff(slope)).max() < 1e-3  # no corner
