from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.helical import HelicalAxes, PoseNoise, finite_helical_axes, helical_axis

RATE = 240.0
DIRECTION = np.array([0.1, 0.2, 0.97]) / np.linalg.norm([0.1, 0.2, 0.97])
#: Where the axis of `screw` meets the floor.
FOOT = np.array([0.3, -0.2, 0.0])
PITCH = 0.02


def screw(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation and origin of a segment that turns about a fixed axis through FOOT and climbs PITCH metres a radian."""
    rotation = Rotation.from_rotvec(angle[:, None] * DIRECTION).as_matrix()
    origin = FOOT + rotation @ (np.array([0.4, 0.1, 1.0]) - FOOT) + PITCH * angle[:, None] * DIRECTION
    return rotation, origin


@pytest.mark.parametrize("angle", [1e-7, 0.01, 1.0, 3.0, np.pi - 1e-7, np.pi])
def test_a_screw_is_recovered_from_hardly_any_turn_to_half_a_turn(angle: float) -> None:
    rotation = Rotation.from_rotvec(angle * DIRECTION).as_matrix()
    point = np.array([0.3, 0.5, -0.2])
    point = point - (point @ DIRECTION) * DIRECTION
    translation = point - rotation @ point + 0.04 * DIRECTION
    axis = helical_axis(rotation, translation)
    sense = np.sign(axis.direction @ DIRECTION)
    assert sense == 1 or angle == np.pi
    assert axis.direction * sense == pytest.approx(DIRECTION, abs=1e-8)
    assert axis.angle_rad == pytest.approx(angle, rel=1e-8)
    assert axis.slide_m * sense == pytest.approx(0.04, abs=1e-8)
    # The axis stays where it is under the motion, but for the slide along it; its point is the nearest to the origin.
    assert axis.point == pytest.approx(point, abs=1e-15 / angle**2 + 1e-8)
    assert axis.point @ axis.direction == pytest.approx(0.0, abs=1e-8)


def test_without_a_turn_there_is_no_axis() -> None:
    axis = helical_axis(np.eye(3), np.array([0.1, 0.0, 0.0]))
    assert axis.angle_rad == 0.0
    assert np.isnan(axis.direction).all()
    assert np.isnan(axis.point).all()


def test_axes_along_a_movement_keep_to_the_fixed_axis_whatever_the_speed() -> None:
    time = np.arange(240) / RATE
    angle = 6.0 * np.clip(time - 0.2, 0.0, None) ** 2
    rotation, origin = screw(angle)
    axes = finite_helical_axes(rotation, origin, RATE)
    found = np.isfinite(axes.axis.angle_rad)
    assert not found[:30].any()  # at rest
    assert found[120:230].all()
    assert axes.axis.direction[found] == pytest.approx(np.broadcast_to(DIRECTION, (found.sum(), 3)), abs=1e-9)
    assert axes.axis.angle_rad[found].min() >= np.radians(10.0)
    assert axes.axis.slide_m[found] == pytest.approx(PITCH * axes.axis.angle_rad[found], abs=1e-12)
    crossing, _ = axes.floor_crossing()
    assert crossing[found] == pytest.approx(np.broadcast_to(FOOT, (found.sum(), 3)), abs=1e-9)
    raised, _ = axes.floor_crossing(0.5)
    assert raised[found, 2] == pytest.approx(0.5)
    radius = np.linalg.norm(np.cross(np.array([0.4, 0.1, 1.0]) - FOOT, DIRECTION))
    assert axes.distance_m[found] == pytest.approx(radius, abs=1e-9)


def test_each_step_is_the_shortest_that_turns_enough() -> None:
    angle = 3.0 * np.arange(60) / RATE  # 0.716 deg a frame: 10 deg takes 14 frames, 7 to either side
    axes = finite_helical_axes(*screw(angle), RATE, noise=None)
    assert axes.step_s[7:53] == pytest.approx(14 / RATE)
    assert np.isnan(axes.step_s[:7]).all()
    assert np.isnan(axes.step_s[53:]).all()
    assert np.isnan(axes.direction_sd_rad).all()
    longer = finite_helical_axes(*screw(angle), RATE, least_rad=np.radians(20.0), longest_s=0.2)
    assert longer.step_s[30] == pytest.approx(28 / RATE)
    slow = finite_helical_axes(*screw(angle), RATE, longest_s=12 / RATE)
    assert np.isnan(slow.step_s).all()


def test_a_gap_is_stepped_over_and_a_level_axis_meets_no_floor() -> None:
    angle = 3.0 * np.arange(60) / RATE
    rotation, origin = screw(angle)
    rotation[20] = np.nan
    axes = finite_helical_axes(rotation, origin, RATE)
    assert axes.step_s[27] == pytest.approx(16 / RATE)
    assert axes.axis.direction[27] == pytest.approx(DIRECTION, abs=1e-9)
    level = np.array([1.0, 0.0, 0.02])
    flat = Rotation.from_rotvec(angle[:, None] * level / np.linalg.norm(level)).as_matrix()
    assert np.isnan(finite_helical_axes(flat, origin, RATE).floor_crossing()[0]).all()


def test_the_stated_deviations_are_those_of_noisy_poses() -> None:
    """Many copies of one step, each pose off by its own small rotation and shift."""
    rng = np.random.default_rng(11)
    copies, noise = 3000, PoseNoise(rotation_rad=0.004, origin_m=0.001)
    start, origin = screw(np.array([0.0, 0.2, 0.4]))
    clean = finite_helical_axes(start, origin, 1.0, longest_s=3.0, noise=noise)

    def seen() -> HelicalAxes:
        off = Rotation.from_rotvec(rng.normal(0.0, noise.rotation_rad, (3, 3))).as_matrix()
        shift = rng.normal(0.0, noise.origin_m, (3, 3))
        return finite_helical_axes(off @ start, origin + shift, 1.0, longest_s=3.0, noise=noise)

    draws = [seen() for _ in range(copies)]
    directions = np.stack([draw.axis.direction[1] for draw in draws])
    crossings = np.stack([draw.floor_crossing()[0][1] for draw in draws])
    points = np.stack([draw.axis.point[1] for draw in draws])
    side = np.linalg.svd(DIRECTION[None])[2][1:]
    assert (directions @ side.T).std(axis=0) == pytest.approx(clean.direction_sd_rad[1], rel=0.05)
    outward = clean.axis.point[1] - (origin[0] + origin[2]) / 2
    outward = outward / np.linalg.norm(outward)
    assert (points @ outward).std() == pytest.approx(clean.position_sd_m[1], rel=0.05)
    greatest = np.sqrt(np.linalg.eigvalsh(np.cov(crossings[:, :2].T))[-1])
    # The stated one is that of the worst direction with every error at its greatest: a bound, and not a loose one.
    assert greatest < 1.05 * clean.floor_crossing()[1][1]
    assert greatest > 0.6 * clean.floor_crossing()[1][1]
