"""Rigid fits and helical axes against the literature and independent libraries.

Sources: Soderkvist I, Wedin PA (1993) J Biomech 26:1473-1477; Spoor CW, Veldpaus FE (1980) J Biomech 13:391-393;
Woltring HJ et al. (1985) J Biomech 18:379-389; the four-point example of the BMC notebooks (svdt); the
library pytransform3d (screw parameters) and scipy (rotation vectors).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.geometry import axis_and_angle, rotation_vector
from mocap.kinematics.helical import finite_helical_axes, helical_axis, landmark_noise
from mocap.kinematics.rigid import fit_rigid

#: Four landmarks at 10 cm from their mean, the same spread in every direction. [m]
TETRAHEDRON = 0.1 / np.sqrt(3.0) * np.array([[1.0, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]])
NOISE = 0.001


def test_four_points_in_a_plane_turned_by_a_right_angle() -> None:
    before = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])
    after = np.array([[0.0, 0, 0], [0, 1, 0], [-1, 0, 0], [-1, 1, 0]])
    fit = fit_rigid(before, after[None])
    assert fit.rotation[0] == pytest.approx(np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]), abs=1e-12)
    assert fit.translation[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    assert fit.residual_m[0] == pytest.approx(0.0, abs=1e-12)


def test_the_exact_screw() -> None:
    rotation = np.array(
        [[0.880911, -0.303561, 0.363105], [0.363105, 0.925570, -0.107122], [-0.303561, 0.226211, 0.925570]]
    )
    axis = helical_axis(rotation, np.array([0.553991, -0.274075, 7.497080]))
    assert axis.direction == pytest.approx(np.array([1.0, 2.0, 2.0]) / 3.0, abs=1e-6)
    assert np.degrees(axis.angle_rad) == pytest.approx(30.0, abs=1e-4)
    assert axis.slide_m == pytest.approx(5.0, abs=1e-6)
    # Six figures of the matrix leave about 2e-5 in the point at this angle.
    assert axis.point == pytest.approx([9.111111, -5.777778, 1.222222], abs=3e-5)


def test_the_axis_is_that_of_the_printed_formulas() -> None:
    """The sine and cosine formulas of Spoor & Veldpaus, which are sound between 10 and 135 degrees."""
    rng = np.random.default_rng(1)
    axes = rng.normal(size=(200, 3))
    angle = rng.uniform(0.2, 2.3, 200)
    rotation = Rotation.from_rotvec(axes / np.linalg.norm(axes, axis=1)[:, None] * angle[:, None]).as_matrix()
    d = rng.normal(size=(200, 3))
    found = helical_axis(rotation, d)
    sine_n = 0.5 * np.stack(
        [
            rotation[:, 2, 1] - rotation[:, 1, 2],
            rotation[:, 0, 2] - rotation[:, 2, 0],
            rotation[:, 1, 0] - rotation[:, 0, 1],
        ],
        axis=1,
    )
    sine = np.linalg.norm(sine_n, axis=1)
    cosine = (np.trace(rotation, axis1=1, axis2=2) - 1.0) / 2.0
    n = sine_n / sine[:, None]
    crossed = np.cross(n, d)
    s = -0.5 * np.cross(n, crossed) + (sine / (2.0 * (1.0 - cosine)))[:, None] * crossed
    assert found.direction == pytest.approx(n, abs=1e-12)
    assert found.angle_rad == pytest.approx(np.arctan2(sine, cosine), abs=1e-12)
    assert found.slide_m == pytest.approx(np.sum(n * d, axis=1), abs=1e-12)
    assert found.point == pytest.approx(s, abs=1e-11)


def test_helical_axes_agree_with_pytransform3d() -> None:
    transformations = pytest.importorskip("pytransform3d.transformations")
    rng = np.random.default_rng(2)
    rotations = Rotation.random(100, random_state=rng).as_matrix()
    translations = rng.normal(size=(100, 3))
    found = helical_axis(rotations, translations)
    for i in range(100):
        transform = np.eye(4)
        transform[:3, :3], transform[:3, 3] = rotations[i], translations[i]
        screw, angle = transformations.screw_axis_from_exponential_coordinates(
            transformations.exponential_coordinates_from_transform(transform)
        )
        point, direction, pitch = transformations.screw_parameters_from_screw_axis(screw)
        assert found.angle_rad[i] == pytest.approx(angle, abs=1e-9)
        assert found.direction[i] == pytest.approx(direction, abs=1e-7)
        assert found.slide_m[i] == pytest.approx(pitch * angle, abs=1e-6)
        assert np.cross(point - found.point[i], direction) == pytest.approx(np.zeros(3), abs=1e-6)


def test_rotation_vectors_agree_with_pytransform3d_and_scipy() -> None:
    batch = pytest.importorskip("pytransform3d.batch_rotations")
    rotations = Rotation.random(300, random_state=3)
    axis, angle = axis_and_angle(rotations.as_matrix())
    theirs = batch.axis_angles_from_matrices(rotations.as_matrix())
    assert angle == pytest.approx(theirs[:, 3], abs=1e-7)
    assert axis == pytest.approx(theirs[:, :3], abs=1e-6)
    assert rotation_vector(rotations.as_matrix()) == pytest.approx(rotations.as_rotvec(), abs=1e-12)


def noisy_steps(turn_deg: float, off_axis_m: float, copies: int, seed: int) -> tuple[np.ndarray, ...]:
    """One turn about z by landmarks with noise in both poses, many times: angle, direction, point of each.

    The mean of the landmarks lies `off_axis_m` from the axis, along x in the middle of the turn.
    """
    rng = np.random.default_rng(seed)
    local = TETRAHEDRON + np.array([off_axis_m, 0.0, 0.0])
    poses = []
    for half in (-turn_deg / 2.0, turn_deg / 2.0):
        exact = Rotation.from_euler("z", half, degrees=True).apply(local)
        poses.append(fit_rigid(local, exact + rng.normal(0.0, NOISE, (copies, 4, 3))))
    step = poses[1].rotation @ np.swapaxes(poses[0].rotation, 1, 2)
    start, end = (pose.place(np.array([off_axis_m, 0.0, 0.0])) for pose in poses)
    here = (start + end) / 2.0
    axis = helical_axis(step, end - here - np.einsum("fij,fj->fi", step, start - here))
    return axis.angle_rad, axis.direction, axis.point + here


# Angle, direction and position of the axis for 4 landmarks at 100 mm with 1 mm of noise per coordinate, by first-order
# propagation after Woltring: deg, deg, mm with the landmarks about the axis, mm with them 300 mm away.
PROPAGATED = [(5.0, 0.496, 5.69, 8.1, 31.0), (10.0, 0.496, 2.85, 4.1, 15.0), (30.0, 0.496, 0.959, 1.37, 5.1)]


@pytest.mark.parametrize(("turn", "angle_sd", "direction_sd", "near_mm", "far_mm"), PROPAGATED)
def test_noise_of_landmarks_propagates_as_published(
    turn: float, angle_sd: float, direction_sd: float, near_mm: float, far_mm: float
) -> None:
    angle, direction, point = noisy_steps(turn, 0.0, 4000, seed=int(turn))
    assert np.degrees(angle.std()) == pytest.approx(angle_sd, rel=0.05)
    assert np.degrees(direction[:, :2].std()) == pytest.approx(direction_sd, rel=0.05)
    assert 1000 * point[:, :2].std() == pytest.approx(near_mm, rel=0.05)
    _, _, away = noisy_steps(turn, 0.3, 4000, seed=100 + int(turn))
    assert 1000 * away[:, 0].std() == pytest.approx(far_mm, rel=0.05)


def test_errors_fall_with_the_turn_and_the_radius_of_the_landmarks() -> None:
    """Woltring 1985: errors of the axis go with 1/turn, those of direction and turn with 1/radius of the landmarks."""
    small, large = noisy_steps(8.0, 0.0, 4000, seed=1), noisy_steps(16.0, 0.0, 4000, seed=2)
    ratio = np.sin(np.radians(8.0)) / np.sin(np.radians(4.0))
    assert small[1][:, :2].std() / large[1][:, :2].std() == pytest.approx(ratio, rel=0.05)
    assert small[2][:, :2].std() / large[2][:, :2].std() == pytest.approx(ratio, rel=0.05)
    near, wide = landmark_noise(NOISE, 0.1, 4), landmark_noise(NOISE, 0.2, 4)
    assert near.rotation_rad / wide.rotation_rad == pytest.approx(2.0)
    assert near.origin_m == wide.origin_m


@pytest.mark.parametrize(("turn", "angle_sd", "direction_sd", "near_mm", "far_mm"), PROPAGATED)
def test_the_stated_deviations_are_the_published_ones(
    turn: float, angle_sd: float, direction_sd: float, near_mm: float, far_mm: float
) -> None:
    noise = landmark_noise(NOISE, 0.1, 4)
    assert np.degrees(np.sqrt(2.0) * noise.rotation_rad) == pytest.approx(angle_sd, abs=5e-4)
    half = np.radians(turn / 2.0)
    rotation = Rotation.from_rotvec(np.array([[0.0, 0.0, -half], [0.0, 0.0, 0.0], [0.0, 0.0, half]])).as_matrix()
    for off_axis, mm in ((0.0, near_mm), (0.3, far_mm)):
        origin = rotation @ np.array([off_axis, 0.0, 0.0])
        axes = finite_helical_axes(rotation, origin, 1.0, least_rad=0.99 * 2 * half, longest_s=2.0, noise=noise)
        assert np.degrees(axes.direction_sd_rad[1]) == pytest.approx(direction_sd, rel=2e-3)
        assert 1000 * axes.position_sd_m[1] == pytest.approx(mm, rel=0.03)
