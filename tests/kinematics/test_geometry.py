from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, RotationSpline

from mocap.kinematics.geometry import (
    angle_between,
    angular_velocity,
    axis_and_angle,
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
    assert ours == pytest.approx(rotations.as_rotvec(), abs=1e-12)


@pytest.mark.parametrize("angle", [0.0, 1e-12, 1e-8, 1e-4, 1.0, np.pi - 1e-4, np.pi - 1e-8, np.pi - 1e-12])
def test_axis_and_angle_are_exact_from_no_turn_to_half_a_turn(angle: float) -> None:
    axes = np.random.default_rng(8).normal(size=(50, 3))
    axes = np.vstack([axes, np.eye(3), -np.eye(3)])
    axes = axes / np.linalg.norm(axes, axis=1, keepdims=True)
    rotation = Rotation.from_rotvec(angle * axes).as_matrix()
    found, turn = axis_and_angle(rotation)
    assert turn == pytest.approx(angle, rel=1e-12, abs=1e-15)
    assert rotation_vector(rotation) == pytest.approx(angle * axes, rel=1e-9, abs=1e-15)
    if angle > 0:
        assert found == pytest.approx(axes, abs=1e-9)
    else:
        assert np.isnan(found).all()


def test_half_a_turn_has_an_axis_of_either_sense() -> None:
    for axis in np.vstack([np.eye(3), [[0.6, 0.0, -0.8], [1 / 3, -2 / 3, 2 / 3]]]):
        found, turn = axis_and_angle(2 * np.outer(axis, axis) - np.eye(3))
        assert turn == pytest.approx(np.pi)
        assert abs(found @ axis) == pytest.approx(1.0)


def test_a_missing_rotation_has_no_axis() -> None:
    axis, angle = axis_and_angle(np.full((2, 3, 3), np.nan))
    assert np.isnan(axis).all()
    assert np.isnan(angle).all()


def test_a_constant_angular_velocity_is_recovered_exactly() -> None:
    omega, rate = np.array([3.0, -8.0, 12.0]), 240.0
    time = np.arange(60) / rate
    start = Rotation.from_euler("zxy", [20, 40, -10], degrees=True)
    frames = (Rotation.from_rotvec(time[:, None] * omega) * start).as_matrix()
    assert angular_velocity(frames, rate) == pytest.approx(np.broadcast_to(omega, (60, 3)), rel=1e-9)


def test_a_changing_angular_velocity_is_met_to_second_order() -> None:
    """Twice the rate, a quarter of the error; scipy's spline through the same orientations is the judge."""
    nodes = np.linspace(0.0, 1.0, 9)
    rotations = Rotation.from_euler("YXZ", np.random.default_rng(6).uniform(-0.8, 0.8, (9, 3)))
    spline = RotationSpline(nodes, rotations)
    errors = []
    for rate in (240.0, 480.0):
        time = np.arange(0.26, 0.37, 1 / rate)  # within one piece of the spline, which is smooth there
        ours = angular_velocity(spline(time).as_matrix(), rate)
        theirs = spline(time).apply(spline(time, 1))  # its rates are in the body's axes
        errors.append(np.abs(ours - theirs)[1:-1].max())
    assert errors[0] < 0.02
    assert errors[1] == pytest.approx(errors[0] / 4, rel=0.1)
