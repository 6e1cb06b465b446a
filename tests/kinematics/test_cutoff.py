"""Residual analysis against a straightforward computation, and the rule for swings against what it is there for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, filtfilt

from mocap.kinematics.cutoff import HIGHEST_CHOSEN_HZ, LOWEST_CHOSEN_HZ, chosen_cutoffs, residual_cutoffs
from mocap.kinematics.filtering import derivative, lowpass
from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing


def filter_by_filter(path: np.ndarray, rate: float) -> tuple[float, float]:
    """Winter's residual analysis of one path of shape (F, A): every cut-off filtered, every start of a line tried."""
    cutoffs = np.linspace(0.007, 0.7, 100) * rate / 2
    residuals = []
    for cutoff in cutoffs:
        design = rate / np.pi * np.arctan(np.tan(np.pi * cutoff / rate) / 0.802243)
        taken = path - filtfilt(*butter(2, design, fs=rate), path, axis=0)
        residuals.append(np.sqrt(np.mean(np.sum(taken**2, axis=1))))
    for start in range(len(cutoffs)):
        if np.corrcoef(cutoffs[start:], residuals[start:])[0, 1] < -0.95:
            break
    intercept = np.polyfit(cutoffs[start:], residuals[start:], 1)[1]
    return float(np.interp(-intercept, -np.array(residuals), cutoffs)), float(intercept / np.sqrt(path.shape[1]))


@pytest.mark.parametrize("noise_m", [0.001, 0.004])
def test_all_at_once_agrees_with_one_filter_after_another(posed: PosedSwing, noise_m: float) -> None:
    noisy = posed.points + np.random.default_rng(2).normal(0.0, noise_m, posed.points.shape)
    found = residual_cutoffs(noisy, posed.rate_hz)
    for name in ("front_wrist", "back_hand", "front_knee", "bat_barrel", "head"):
        column = posed.names.index(name)
        cutoff, noise = filter_by_filter(noisy[:, column], posed.rate_hz)
        # The two treat the first and last dozen samples differently.
        assert found.cutoff_hz[column] == pytest.approx(cutoff, rel=0.05, abs=0.3)
        assert found.noise[column] == pytest.approx(noise, rel=0.03)


@pytest.mark.parametrize("rate", [60.0, 120.0, 480.0])
def test_the_noise_that_was_added_is_found(rate: float) -> None:
    rng = np.random.default_rng(5)
    time = np.arange(int(4 * rate)) / rate
    sd = np.array([0.0005, 0.002, 0.008])
    path = 0.3 * np.sin(2 * np.pi * 0.7 * time)[:, None, None] * np.ones((1, 3, 3))
    found = residual_cutoffs(path + rng.normal(0.0, 1.0, path.shape) * sd[:, None], rate)
    assert found.noise == pytest.approx(sd, rel=0.08)
    assert found.cutoff_hz[2] < found.cutoff_hz[0]  # the more noise, the lower


def test_where_no_noise_shows_the_cutoff_is_the_ceiling() -> None:
    time = np.arange(400) / 240.0
    smooth = np.exp(-((time - 0.8) ** 2) / 0.02)[:, None]
    still = np.full((400, 1), 0.7)
    found = residual_cutoffs(np.concatenate([smooth, still], axis=1), 240.0)
    assert found.cutoff_hz.tolist() == [96.0, 96.0]
    assert found.noise.tolist() == [0.0, 0.0]


def test_pure_noise_gets_the_floor() -> None:
    found = residual_cutoffs(np.random.default_rng(1).normal(size=(3000, 2, 3)), 100.0)
    assert found.cutoff_hz.max() < 1.5
    assert found.cutoff_hz.min() >= 1.0
    assert found.noise == pytest.approx(1.0, rel=0.03)


def test_the_longest_stretch_counts_and_short_ones_tell_nothing(posed: PosedSwing) -> None:
    noisy = posed.points[:, :2] + np.random.default_rng(2).normal(0.0, 0.001, (len(posed.points), 2, 3))
    holed = noisy.copy()
    holed[30:34, 0] = np.nan
    holed[::20, 1] = np.nan
    found, stretch = residual_cutoffs(holed, 240.0), residual_cutoffs(noisy[34:, :1], 240.0)
    assert found.cutoff_hz[0] == stretch.cutoff_hz[0]
    assert (found.cutoff_hz[1], np.isnan(found.noise[1])) == (96.0, True)


@pytest.mark.parametrize("rate", [120.0, 240.0])
@pytest.mark.parametrize("noise_m", [0.001, 0.003, 0.010])
def test_the_rule_beats_both_fixed_cutoffs_and_residual_analysis(rate: float, noise_m: float) -> None:
    fine = pose_swing(SwingParameters(height_m=1.80), 1920.0)
    true, velocity = fine.points[:: int(1920 / rate)], derivative(fine.points, 1920.0)[:: int(1920 / rate)]
    noisy = true + np.random.default_rng(11).normal(0.0, noise_m, true.shape)
    contact = round(fine.moments["contact"] * rate)
    near = slice(contact - round(0.05 * rate), contact + 1)
    quick = np.array([any(part in name for part in ("wrist", "hand", "bat")) for name in fine.names])
    arms = [i for i, name in enumerate(fine.names) if any(part in name for part in ("elbow", "wrist", "hand"))]

    def error(cutoffs: np.ndarray) -> float:
        off = derivative(lowpass(noisy, rate, cutoffs), rate) - velocity
        return float(np.sqrt(np.mean(np.sum(off[near][:, arms] ** 2, axis=2))))

    rule = error(chosen_cutoffs(noisy, fine.names, rate))
    assert rule < error(np.where(quick, 25.0, 14.0))
    assert rule < 0.8 * error(residual_cutoffs(noisy, rate).cutoff_hz)


def test_bounds_and_defaults_of_the_rule(posed: PosedSwing) -> None:
    still = np.random.default_rng(0).normal(0.0, 0.001, posed.points.shape)
    lowest = chosen_cutoffs(still, posed.names, 240.0)
    assert (np.median(lowest), lowest.min()) == (LOWEST_CHOSEN_HZ, LOWEST_CHOSEN_HZ)
    assert (chosen_cutoffs(posed.points, posed.names, 240.0) == HIGHEST_CHOSEN_HZ).all()
    names = ("pelvis", "l_wrist", "bat_knob")
    assert chosen_cutoffs(posed.points[:20, :3], names, 240.0).tolist() == [14.0, 25.0, 25.0]
    assert chosen_cutoffs(posed.points[:20, :3], names, 50.0).tolist() == [14.0, 20.0, 20.0]
