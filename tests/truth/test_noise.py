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
    "back_share": (0.0019, 0.002),
    "back_force_share": (0.26, 0.26),
    "separation_length": (0.0008, 0.0011),
    "separation_gain": (0.014, 0.0045),
    "knob_aim": (0.21, 0.21),
    "bat_elevation": (0.35, 0.41),
    "foot_open": (0.14, 0.35),
    "pelvis_open": (0.54, 0.78),
    "trunk_open": (0.15, 0.28),
    "hip_shoulder_separation": (0.5, 0.73),
    "stride_length": (0.00025, 0.00068),
    "stride_direction": (0.066, 0.079),
    "front_knee_flexion": (0.24, 0.21),
    "back_knee_flexion": (0.2, 0.34),
    "forward_after_plant": (0.00053, 0.0013),
    "axis_drift": (0.0012, 0.0012),
    "axis_tilt": (0.04, 0.093),
    "turn_axis_tilt": (0.17, 0.28),
    "turn_axis_wander": (0.0096, 0.021),
    "turn_axis_slide": (0.00021, 0.00067),
    "pelvis_turn_axis_tilt": (0.17, 0.38),
    "pelvis_turn_axis_wander": (0.0047, 0.0059),
    "pelvis_turn_axis_slide": (0.00047, 0.00072),
    "pelvis_turn_speed": (12.0, 24.0),
    "pelvis_turn_time": (0.0059, 0.0074),
    "trunk_turn_speed": (9.3, 16.0),
    "trunk_turn_time": (0.0017, 0.0052),
    "arm_turn_speed": (12.0, 29.0),
    "arm_turn_time": (0.0024, 0.0033),
    "bat_turn_speed": (28.0, 44.0),
    "bat_turn_time": (0.0024, 0.0077),
    "front_knee_extension": (0.3, 0.48),
    "front_leg_at_contact": (0.21, 0.37),
    "back_heel_lift": (0.00024, 0.0012),
    "back_foot_turn": (0.35, 0.67),
    "head_shift": (0.0012, 0.0011),
    "finish_balance": (0.0018, 0.0076),
    "bat_speed": (0.21, 0.69),
    "hand_speed": (0.045, 0.076),
    "attack_angle": (0.99, 1.7),
    "pitch_angle": (0.0, 0.0),
    "plane_match": (0.99, 1.7),
    "hitting_zone": (0.0082, 0.016),
    "level_early": (0.97, 1.0),
    "contact_depth": (0.023, 0.025),
    "extension_reach": (0.027, 0.045),
}
#: Seven hitters tell a root mean square to a third; one outlier among them doubles it.
SLACK = 2.0

#: Measures whose standard deviation is too small for their error, and what it leaves out.
NOT_CALIBRATED = {
    "back_force_share": "the flat foot is found 20 ms early, twice its standard deviation",
    "separation_gain": "the stance is found up to 0.15 s late; its standard deviation is 20 ms",
    "bat_speed": "the filter flattens the peak before the blow by more than the noise that it lets through",
    "bat_turn_speed": "the same, and the peak is looked for up to 10 ms past contact",
    "bat_turn_time": "the peak is looked for up to 10 ms past contact",
}
#: Share of |error| <= 2 sd that is asked for: over all, and of one measure in 14 samples.
LEAST_SHARE, LEAST_OF_ONE = 0.85, 0.75


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
    numbers = {name for name, entry in REGISTRY.items() if entry.unit}
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


@pytest.mark.parametrize("name", sorted({name for name, e in REGISTRY.items() if e.unit} - set(NOT_CALIBRATED)))
def test_standard_deviation_holds(samples: dict[float, dict[str, list[Sample]]], name: str) -> None:
    held = [ok for noise in NOISES_M for ok in within(samples[noise][name])]
    assert np.mean(held) >= LEAST_OF_ONE
