"""Errors under noise, and whether the standard deviations that go with the measures own up to them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest

from mocap.kinematics.measuring import REGISTRY, measure

if TYPE_CHECKING:
    from conftest import Case

NOISES_M = (0.001, 0.003)

#: Root mean square error with white noise of 1 and 3 mm per axis on every point, 240 Hz, plates without noise, moments
#: found, for seven hitters who step once and meet a ball. In the registry's units.
RMS = {
    "back_share": (0.00028, 0.00056),
    "back_force_share": (0.0053, 0.025),
    "separation_length": (0.00028, 0.00053),
    "separation_gain": (0.0013, 0.0026),
    "knob_aim": (0.15, 0.27),
    "bat_elevation": (0.099, 0.2),
    "foot_open": (0.2, 0.45),
    "pelvis_open": (0.21, 0.5),
    "trunk_open": (0.11, 0.31),
    "hip_shoulder_separation": (0.19, 0.46),
    "stride_length": (0.00035, 0.00087),
    "stride_direction": (0.034, 0.09),
    "front_knee_flexion": (0.27, 0.41),
    "back_knee_flexion": (0.09, 0.24),
    "forward_after_plant": (8.5e-05, 0.00024),
    "axis_drift": (0.00031, 0.00064),
    "axis_tilt": (0.027, 0.053),
    "turn_axis_tilt": (0.18, 0.3),
    "turn_axis_wander": (0.0095, 0.02),
    "turn_axis_slide": (0.00067, 0.00074),
    "pelvis_turn_axis_tilt": (0.24, 0.45),
    "pelvis_turn_axis_wander": (0.0053, 0.013),
    "pelvis_turn_axis_slide": (0.0006, 0.0011),
    "pelvis_turn_speed": (11, 22),
    "pelvis_turn_time": (0.0052, 0.0069),
    "trunk_turn_speed": (8.9, 14),
    "trunk_turn_time": (0.002, 0.0055),
    "arm_turn_speed": (17, 24),
    "arm_turn_time": (0.003, 0.0064),
    "bat_turn_speed": (63, 110),
    "bat_turn_time": (0.00065, 0.0078),
    "front_knee_extension": (0.26, 0.62),
    "front_leg_at_contact": (0.17, 0.38),
    "back_heel_lift": (0.00038, 0.0011),
    "back_foot_turn": (0.47, 1.3),
    "head_shift": (0.0004, 0.00081),
    "finish_balance": (0.00058, 0.002),
    "bat_speed": (0.71, 1.2),
    "hand_speed": (0.026, 0.077),
    "attack_angle": (1.4, 2.3),
    "pitch_angle": (0, 0),
    "plane_match": (1.4, 2.3),
    "hitting_zone": (0.017, 0.031),
    "level_early": (0.1, 0.25),
    "contact_depth": (0.0084, 0.023),
    "depth_for_pitch": (0.0084, 0.023),
    "hands_inside": (0.003, 0.0097),
    "bat_lag": (0.43, 0.8),
    "short_swing_time": (7.3e-05, 0.00024),
    "hands_reach": (0.00038, 0.00099),
    "extension_reach": (0.052, 0.055),
    "back_peak_force": (0.0012, 0.0012),
    "front_peak_force": (0.0088, 0.025),
    "braking_force": (0.0052, 0.0085),
    "braking_rise_time": (0.0003, 0.00048),
    "force_shift_time": (3.7e-05, 3.7e-05),
    "contact_force_share": (0.0044, 0.0062),
    "pressure_travel": (0.005, 0.0084),
    "share_difference": (0.0052, 0.025),
}
#: Seven hitters tell a root mean square to a third; one outlier among them doubles it.
SLACK = 2.0

#: Share of |error| <= 2 sd that is asked for: over all, and of one measure in 14 samples.
LEAST_SHARE, LEAST_OF_ONE = 0.85, 0.75


#: Numbers that joint centres do not show.
FROM_MARKERS = {"head_pitch"}


class Sample(NamedTuple):
    error: float
    sd: float


@pytest.fixture(scope="module")
def samples(noisy_cases: list[Case]) -> dict[float, dict[str, list[Sample]]]:
    """By noise and measure."""
    found: dict[float, dict[str, list[Sample]]] = {}
    for noise in NOISES_M:
        of_noise = found.setdefault(noise, {})
        for case in noisy_cases:
            findings = measure(case.swing(noise_m=noise, plates_hz=1200.0))
            for name, taken in findings.measures.items():
                if isinstance(taken.value, float):
                    of_noise.setdefault(name, []).append(Sample(taken.value - case.exact[name], taken.sd))
    return found


def within(samples: list[Sample]) -> list[bool]:
    # A value that was given has neither error nor spread.
    return [abs(sample.error) <= 2.0 * sample.sd + 1e-12 for sample in samples]


def test_every_number_is_measured_under_noise(samples: dict[float, dict[str, list[Sample]]]) -> None:
    numbers = {name for name, entry in REGISTRY.items() if entry.unit} - FROM_MARKERS
    for noise in NOISES_M:
        assert set(samples[noise]) == numbers


@pytest.mark.parametrize("name", RMS)
def test_error_under_noise_is_as_stated(samples: dict[float, dict[str, list[Sample]]], name: str) -> None:
    for noise, stated in zip(NOISES_M, RMS[name], strict=True):
        rms = np.sqrt(np.mean([sample.error**2 for sample in samples[noise][name]]))
        assert rms <= SLACK * stated + 1e-9


def test_standard_deviations_hold_over_all_measures(samples: dict[float, dict[str, list[Sample]]]) -> None:
    for noise in NOISES_M:
        held = [ok for of_measure in samples[noise].values() for ok in within(of_measure)]
        assert LEAST_SHARE <= np.mean(held) <= 1.0


@pytest.mark.parametrize("name", sorted({name for name, e in REGISTRY.items() if e.unit} - FROM_MARKERS))
def test_standard_deviation_holds(samples: dict[float, dict[str, list[Sample]]], name: str) -> None:
    held = [ok for noise in NOISES_M for ok in within(samples[noise][name])]
    assert np.mean(held) >= LEAST_OF_ONE
