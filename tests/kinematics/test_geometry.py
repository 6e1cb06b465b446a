from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.geometry import (
    angle_between,
    angular_velocity,
    flexion,
    frame_from,
    heading,
    rotation_vector,
    wrapped,
)


def test_angles_stay_exact_near_zero_and_pi() -> None:
    x = np.array([1.0, 0.0, 0.0])
    for angle in (1e-9, 0.3, np.pi / 2, np.pi - 1e-9):
        other = np.array([np.cos(angle), np.sin(angle), 0.0])
        assert angle_between(x, other) == pytest.approx(angle, rel=1e-6)


def test_flexion_of_a_straight_and_a_right_angled_limb() -> None:
    hip, knee = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, 0.5])
    assert flexion(hip, knee, np.array([0.0, 0.0, 0.0])) == pytest.approx(0.0)
    assert flexion(hip, knee, np.array([0.5, 0.0, 0.5])) == pytest.approx(np.pi / 2)


def test_heading_and_wrapping() -> None:
    assert heading(np.array([0.0, -2.0, 5.0])) == pytest.approx(-np.pi / 2)
    assert wrapped(np.array([3.5 * np.pi, -3.5 * np.pi])) == pytest.approx([-0.5 * np.pi, 0.5 * np.pi])


def test_frames_are_right_handed_and_orthonormal() -> None:
    rng = np.random.default_rng(3)
    frames = frame_from(rng.normal(size=(40, 3)), rng.normal(size=(40, 3)))
    assert np.linalg.det(frames) == pytest.approx(1.0)
    assert frames @ np.swapaxes(frames, 1, 2) == pytest.approx(np.broadcast_to(np.eye(3), (40, 3, 3)), abs=1e-12)


def test_rotation_vector_agrees_with_scipy() -> None:
    rotations = Rotation.random(200, random_state=5)
    ours = rotation_vector(rotations.as_matrix())
    assert ours == pytest.approx(rotations.as_rotvec(), abs=1e-7)


def test_a_constant_angular_velocity_is_recovered_exactly() -> None:
    omega, rate = np.array([3.0, -8.0, 12.0]), 240.0
    time = np.arange(60) / rate
    start = Rotation.from_euler("zxy", [20, 40, -10], degrees=True)
    frames = (Rotation.from_rotvec(time[:, None] * omega) * start).as_matrix()
    assert angular_velocity(frames, rate) == pytest.approx(np.broadcast_to(omega, (60, 3)), rel=1e-9)
