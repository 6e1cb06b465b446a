"""The batched fit of a linkage against poses known by construction and against a general-purpose optimiser."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from mocap.capture import FloatArray
from mocap.kinematics.linkage import Linkage, Pose, place, points_at
from mocap.kinematics.pose_solver import Hold, solve_pose, spread_of

PARENT = (-1, 0, 1, 1, 3, 0, 5, 2)
SLACK = (0.0, 0.03, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
FRAMES = 25
HOLD_RAD = 1.0


@pytest.fixture(scope="module")
def linkage() -> Linkage:
    """A trunk with two limbs and a neck that gives; three points and more on each segment."""
    rng = np.random.default_rng(3)
    joint = rng.normal(0.0, 0.2, (len(PARENT), 3))
    joint[0] = 0.0
    owner = np.concatenate([np.tile(np.arange(len(PARENT)), 3), [0, 1]])
    return Linkage(
        segments=tuple(f"segment {i}" for i in range(len(PARENT))),
        parent=PARENT,
        joint_m=joint,
        slack_m=SLACK,
        points=tuple(f"point {i}" for i in range(len(owner))),
        segment_of=owner,
        local_m=rng.normal(0.0, 0.12, (len(owner), 3)),
        sd_m=rng.uniform(0.005, 0.02, len(owner)),
    )


def moving(linkage: Linkage, seed: int = 0) -> Pose:
    """Every segment turning its own way."""
    rng = np.random.default_rng(seed)
    time = np.linspace(0.0, 1.0, FRAMES)[:, None]
    phase, size = rng.uniform(0.0, 6.0, (len(PARENT), 1, 3)), rng.normal(0.0, 0.8, (len(PARENT), 1, 3))
    turns = np.sin(3.0 * time + phase) * size
    rotation = Rotation.from_rotvec(turns.reshape(-1, 3)).as_matrix().reshape(len(PARENT), FRAMES, 3, 3)
    return place(linkage, rotation, np.cumsum(rng.normal(0.0, 0.02, (FRAMES, 3)), axis=0), np.zeros((8, FRAMES, 3)))


def held(pose: Pose) -> Hold:
    """Loosely, so that it hardly counts beside the points."""
    return Hold(pose.rotation, np.full(pose.rotation.shape[:2], HOLD_RAD))


def astray(linkage: Linkage, pose: Pose, size_rad: float = 0.15) -> Pose:
    """A start beside the true pose."""
    rng = np.random.default_rng(9)
    off = Rotation.from_rotvec(rng.normal(0.0, size_rad, (len(PARENT) * FRAMES, 3))).as_matrix()
    turned = off.reshape(pose.rotation.shape) @ pose.rotation
    return place(linkage, turned, pose.origin[0] + 0.03, pose.shift)


def one_frame(linkage: Linkage, start: Pose, points: FloatArray, frame: int) -> tuple[FloatArray, FloatArray]:
    """The same least-squares problem of one frame given to scipy: solution's points, and its Jacobian."""
    count = len(PARENT)

    def pose(x: FloatArray) -> Pose:
        turns = Rotation.from_rotvec(x[3 : 3 + 3 * count].reshape(count, 3)).as_matrix()
        shift = np.zeros((count, 1, 3))
        shift[1, 0] = x[-3:]
        return place(linkage, (turns @ start.rotation[:, frame])[:, None], x[None, :3], shift)

    def misses(x: FloatArray) -> FloatArray:
        fitted = points_at(linkage, pose(x))[0]
        off = ((fitted - points[frame]) / linkage.sd_m[:, None])[np.isfinite(points[frame])]
        # The hold on a turn by the angle a is 2 (1 - cos a) = (2 sin a/2)^2.
        turns = x[3 : 3 + 3 * count].reshape(count, 3)
        held = turns * np.sinc(np.linalg.norm(turns, axis=1, keepdims=True) / (2 * np.pi)) / HOLD_RAD
        return np.concatenate([off, x[-3:] / SLACK[1], held.ravel()])

    first = np.concatenate([start.origin[0, frame], np.zeros(3 * count), np.zeros(3)])
    found = least_squares(misses, first, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return points_at(linkage, pose(found.x))[0], found.jac


def test_exact_points_give_the_pose_back(linkage: Linkage) -> None:
    true = moving(linkage)
    points = points_at(linkage, true)
    solution = solve_pose(linkage, points, (start := astray(linkage, true, 0.05)), held(start))
    # The hold on the start takes back about (point sd / lever / HOLD_RAD)^2, a hundredth, of a turn of 3 degrees.
    np.testing.assert_allclose(points_at(linkage, solution.pose), points, atol=5e-4)
    again = solve_pose(linkage, points, true, held(true))
    np.testing.assert_allclose(points_at(linkage, again.pose), points, atol=1e-12)
    assert np.nanmax(again.residual_m) < 1e-12


def test_the_fit_is_the_optimum_that_a_general_optimiser_finds(linkage: Linkage) -> None:
    true = moving(linkage)
    rng = np.random.default_rng(1)
    points = points_at(linkage, true) + rng.normal(0.0, 0.004, (FRAMES, len(linkage.points), 3))
    points[4, [2, 5, 11]] = np.nan
    start = astray(linkage, true)
    fitted = points_at(linkage, solve_pose(linkage, points, start, held(start)).pose)
    for frame in (4, 17):
        np.testing.assert_allclose(fitted[frame], one_frame(linkage, start, points, frame)[0], atol=1e-4)


def test_frames_do_not_depend_on_each_other(linkage: Linkage) -> None:
    true = moving(linkage)
    points = points_at(linkage, true) + np.random.default_rng(2).normal(0.0, 0.004, (FRAMES, len(linkage.points), 3))
    start = astray(linkage, true)
    together = solve_pose(linkage, points, start, held(start)).pose
    part = slice(7, 8)
    one = Pose(start.rotation[:, part], start.origin[:, part], start.shift[:, part])
    alone = solve_pose(linkage, points[part], one, held(one)).pose
    np.testing.assert_allclose(alone.origin, together.origin[:, part], atol=1e-9)


def test_spread_is_the_inverse_of_the_normal_equations(linkage: Linkage) -> None:
    true = moving(linkage)
    points = points_at(linkage, true)
    points[3, [1, 9]] = np.nan
    segments, places = np.arange(len(PARENT)), np.full((len(PARENT), 3), 0.1)
    ours = spread_of(linkage, points, true, held(true), segments, places)
    jacobian = one_frame(linkage, true, points, 3)[1]
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    marked = replace(linkage, points=tuple("abcdefgh"), segment_of=segments, local_m=places, sd_m=np.ones(8))
    count = len(PARENT)

    def marks(x: FloatArray) -> FloatArray:
        turns = Rotation.from_rotvec(x[3 : 3 + 3 * count].reshape(count, 3)).as_matrix()
        shift = np.zeros((count, 1, 3))
        shift[1, 0] = x[-3:]
        pose = place(linkage, (turns @ true.rotation[:, 3])[:, None], true.origin[0, 3:4] + x[:3], shift)
        return points_at(marked, pose)[0].ravel()

    steps = 1e-6 * np.eye(jacobian.shape[1])
    change = np.stack([(marks(step) - marks(-step)) / 2e-6 for step in steps], axis=1)
    variance = np.diag(change @ covariance @ change.T).reshape(count, 3)
    np.testing.assert_allclose(ours.places_m[3], np.sqrt(variance.mean(axis=1)), rtol=1e-4)
    turns = np.diag(covariance)[3 : 3 + 3 * count].reshape(count, 3)
    np.testing.assert_allclose(ours.turns_rad[3], np.sqrt(turns.mean(axis=1)), rtol=1e-4)


def test_spread_is_the_scatter_of_fits_to_noisy_points(linkage: Linkage) -> None:
    true = moving(linkage)
    rng = np.random.default_rng(5)
    segments, places = np.arange(len(PARENT)), np.full((len(PARENT), 3), 0.05)
    marked = replace(linkage, points=tuple("abcdefgh"), segment_of=segments, local_m=places, sd_m=np.ones(8))
    exact = points_at(marked, true)
    off = []
    for _ in range(40):
        noise = rng.normal(0.0, 1.0, (FRAMES, len(linkage.points), 3)) * linkage.sd_m[:, None]
        fit = solve_pose(linkage, points_at(linkage, true) + noise, true, held(true)).pose
        off.append(points_at(marked, fit) - exact)
    scatter = np.sqrt(np.mean(np.square(off), axis=(0, 1, 3)))
    spread = spread_of(linkage, points_at(linkage, true), true, held(true), segments, places)
    stated = np.sqrt(np.mean(spread.places_m**2, axis=0))
    # 40 draws of 25 frames show the scatter to about 2 %; the slack's spring and the hold are no noise here.
    np.testing.assert_allclose(scatter, stated, rtol=0.12)


def test_one_stray_point_does_not_bend_the_body(linkage: Linkage) -> None:
    true = moving(linkage)
    points = points_at(linkage, true)
    stray = points.copy()
    stray[:, 8] += 0.30
    fitted = points_at(linkage, solve_pose(linkage, stray, true, held(true)).pose)
    others = np.arange(len(linkage.points)) != 8
    far = np.linalg.norm(fitted - points, axis=2)[:, others]
    plain = replace(linkage, sd_m=np.full(len(linkage.points), 0.01))
    assert np.median(far) < 0.004
    assert far.max() < 0.06
    residual = solve_pose(plain, stray, true, held(true)).residual_m
    assert np.argmax(residual.mean(axis=0)) == 8


def test_frames_without_points_keep_their_start(linkage: Linkage) -> None:
    true = moving(linkage)
    points = points_at(linkage, true)
    points[6] = np.nan
    solution = solve_pose(linkage, points, true, held(true))
    np.testing.assert_allclose(solution.pose.origin[:, 6], true.origin[:, 6], atol=1e-15)
    assert np.isnan(solution.residual_m[6]).all()
    spread = spread_of(linkage, points, true, held(true), np.array([0]), np.zeros((1, 3)))
    assert spread.places_m[6, 0] > 1.0
    assert spread.places_m[5, 0] < 0.02
    assert spread.turns_rad[6, 0] == pytest.approx(HOLD_RAD, rel=0.01)


def test_a_sample_that_is_hardly_known_counts_as_much(linkage: Linkage) -> None:
    """Own errors of all samples alike are as good as the linkage's; a very large one takes its point out."""
    true, rng = moving(linkage), np.random.default_rng(7)
    points = points_at(linkage, true) + rng.normal(0.0, 0.01, (FRAMES, len(linkage.points), 3))
    wider = replace(linkage, sd_m=2.0 * linkage.sd_m)
    own = np.broadcast_to(np.sqrt(3.0) * linkage.sd_m, points.shape[:2])
    fitted = solve_pose(linkage, points, true, held(true), own_sd_m=own)
    np.testing.assert_allclose(
        points_at(linkage, fitted.pose), points_at(wider, solve_pose(wider, points, true, held(true)).pose), atol=1e-9
    )
    lost, gone = points.copy(), points.copy()
    lost[10, 8], gone[10, 8] = lost[10, 8] + 0.02, np.nan
    hardly = np.zeros(points.shape[:2])
    hardly[10, 8] = 10.0
    with_it = points_at(linkage, solve_pose(linkage, lost, true, held(true), own_sd_m=hardly).pose)
    without = points_at(linkage, solve_pose(linkage, gone, true, held(true)).pose)
    np.testing.assert_allclose(with_it, without, atol=1e-5)
    stated = [
        spread_of(linkage, p, true, held(true), linkage.segment_of[8:9], linkage.local_m[8:9], own_sd_m=own_sd)
        for p, own_sd in ((lost, hardly), (gone, None))
    ]
    np.testing.assert_allclose(stated[0].places_m, stated[1].places_m, rtol=1e-4)
