"""Velocity of the centre of mass and turning of the segments against exact motion."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.reference.posed import PosedSwing

Maker = Callable[..., Capture]


@pytest.fixture(scope="module")
def swing(posed: PosedSwing, make_capture: Maker) -> mocap.Swing:
    return mocap.build_swing(make_capture(posed.points, posed.rate_hz), mocap.Hitter(height_m=1.80))


def test_the_velocity_integrates_to_the_path(swing: mocap.Swing) -> None:
    velocity = mocap.com_velocity(swing)
    middles = (velocity[1:] + velocity[:-1]) / 2
    path = swing.com[0] + np.concatenate([np.zeros((1, 3)), np.cumsum(middles, axis=0)]) / swing.rate_hz
    np.testing.assert_allclose(path, swing.com, atol=1e-3)


def test_a_segment_s_ends_move_as_its_turning_says(swing: mocap.Swing) -> None:
    turning = mocap.angular_velocities(swing)
    assert set(turning) == set(swing.frames)
    for segment, upper, lower in (
        ("front_thigh", "front_hip", "front_knee"),
        ("back_shank", "back_knee", "back_ankle"),
        ("front_upper_arm", "front_shoulder", "front_elbow"),
    ):
        bone = swing[lower] - swing[upper]
        moved = np.gradient(bone, 1.0 / swing.rate_hz, axis=0)
        # The end of a rigid bone moves across it by w x r.
        off = np.linalg.norm(np.cross(turning[segment], bone) - moved, axis=1)[2:-2]
        assert np.sqrt(np.mean(off**2)) < 0.05 * np.linalg.norm(moved, axis=1).max(), segment
