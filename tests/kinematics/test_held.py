"""A landing position held in a drill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import DetectionError, OptionError
from mocap.kinematics.measuring import measure
from mocap.reference.posed import PosedSwing

Maker = Callable[..., Capture]
HITTER = mocap.Hitter(height_m=1.80, bats="right")
HELD = mocap.Setup(pitcher=(1.0, 0.0, 0.0), held=True)


@pytest.fixture
def drill(posed: PosedSwing, make_capture: Maker) -> Capture:
    """He walks up for a second, holds the landing position for two, and moves away."""
    plant = posed.points[round(posed.moments["plant"] * posed.rate_hz)]
    time = np.arange(480) / 120.0
    away = np.interp(time, [0.0, 1.0, 3.0, 4.0], [0.8, 0.0, 0.0, 0.5])
    sway = 0.003 * np.sin(2 * np.pi * 0.4 * time)
    moved = plant + (away + sway)[:, None, None] * np.array([1.0, 0.0, 0.0])
    return make_capture(moved, 120.0, noise_m=0.001)


def test_the_landing_is_measured_where_he_stands_still(drill: Capture, posed: PosedSwing) -> None:
    held = mocap.build_swing(drill, HITTER, HELD)
    assert held.moments["plant"].time_s == pytest.approx(2.0, abs=0.76)
    assert "held position" in held.moments["plant"].method
    assert all(moment.index is None for name, moment in held.moments.items() if name != "plant")
    findings = measure(held)
    frame = round(posed.moments["plant"] * posed.rate_hz)
    ankles = posed["front_ankle"][frame] - posed["back_ankle"][frame]
    stride = findings.measures["stride_length"]
    assert stride.value == pytest.approx(np.linalg.norm(ankles) / 1.80, abs=0.005)
    assert findings.measures["bat_speed"].value is None
    assert "a held position has no stride and no turn" in findings.measures["bat_speed"].why


def test_the_reference_holds_its_landing_too(drill: Capture) -> None:
    comparison = mocap.compare(mocap.build_swing(drill, HITTER, HELD), mocap.load_reference())
    assert np.ptp(comparison.reference_points, axis=0).max() < 1e-12


def test_the_side_must_be_given(drill: Capture) -> None:
    with pytest.raises(OptionError, match="does not show on which side he bats"):
        mocap.build_swing(drill, mocap.Hitter(height_m=1.80), HELD)


def test_a_hand_set_frame_counts(drill: Capture) -> None:
    setup = replace(HELD, moments={"plant": 300})
    assert mocap.build_swing(drill, HITTER, setup).moments["plant"].index == 300
    with pytest.raises(OptionError, match="frames 0 to 479"):
        mocap.build_swing(drill, HITTER, replace(HELD, moments={"plant": 480}))


def test_nobody_who_keeps_moving_holds_a_position(posed: PosedSwing, make_capture: Maker) -> None:
    plant = posed.points[round(posed.moments["plant"] * posed.rate_hz)]
    walk = plant + (np.arange(240) / 120.0 * 0.5)[:, None, None] * np.array([1.0, 0.0, 0.0])
    with pytest.raises(DetectionError, match="no position is held"):
        mocap.build_swing(make_capture(walk, 120.0), HITTER, HELD)
