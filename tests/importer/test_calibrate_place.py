"""A camera placed from known points: at the bound, with a wrong point named, and bad arrangements said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.errors import InputError, OptionError
from mocap.importer.calibrate_place import calibrate_place
from mocap.importer.camera import Camera
from mocap.importer.known_points import rule_book_points
from mocap.importer.pose import direct_linear_transform, planar_poses, refine, rotations

LENS = (-0.12, 0.03, 0.0006, -0.0004, 0.002)
TRIPODS = ((1.0, -6.0, 1.4), (4.5, -4.0, 1.1), (-4.0, -3.5, 2.4))
BOOK = rule_book_points()
FLOOR = tuple(BOOK.names.index(name) for name in BOOK.names if not name.startswith("right_box"))[:8]
#: Marks on a pole that was stood in three places. [m]
POLE = np.array([[0.0, 1.2, 0.5], [0.0, 1.2, 1.5], [1.2, -1.4, 1.8]])
#: Eight points on the floor, and eight of which three stand above it.
ON_FLOOR = BOOK.places[list(FLOOR)]
IN_SPACE = np.vstack([BOOK.places[[0, 2, 3, 5, 9]], POLE])


def camera(tripod: int = 0, lens: tuple[float, ...] = LENS) -> Camera:
    return Camera.looking_at(
        TRIPODS[tripod], (0.0, 0.0, 0.8), size=(1280, 720), field_of_view_deg=50.0, distortion=lens, name="open side"
    )


def pose_slopes(view: Camera, points: np.ndarray) -> np.ndarray:
    """Pixels by a small rotation in camera axes and the translation, from differences of the projection itself."""

    def seen(step: np.ndarray) -> np.ndarray:
        turn = Rotation.from_rotvec(step[:3]).as_matrix()
        return replace(view, rotation=turn @ view.rotation, translation=view.translation + step[3:]).project(points)

    steps = 1e-6 * np.eye(6)
    return np.stack([(seen(step) - seen(-step)) / 2e-6 for step in steps], axis=-1).reshape(-1, 6)


def pose_error(found: Camera, true: Camera) -> np.ndarray:
    turn = Rotation.from_matrix(found.rotation @ true.rotation.T).as_rotvec()
    return np.concatenate([turn, found.translation - true.translation])


@pytest.mark.parametrize("tripod", range(3))
@pytest.mark.parametrize("points", [ON_FLOOR, IN_SPACE], ids=["floor", "space"])
def test_points_seen_without_noise_give_the_place_exactly(tripod, points) -> None:
    true = camera(tripod)
    found = calibrate_place(points, true.project(points), true)
    assert np.abs(found.camera.centre - true.centre).max() < 1e-6
    assert np.abs(found.camera.rotation - true.rotation).max() < 1e-7
    assert found.wrong == ()
    assert found.notes == ()
    assert found.camera.name == "open side"


@pytest.mark.parametrize("points", [ON_FLOOR, IN_SPACE], ids=["floor", "space"])
def test_the_pose_is_at_its_bound(points) -> None:
    """Eight points, 1 px, 200 draws: at most 1.2 times the Cramer-Rao bound in each unknown, and in the place."""
    true = camera()
    slopes = pose_slopes(true, points)
    bound = np.linalg.inv(slopes.T @ slopes)
    noise = np.random.default_rng(1)
    found = [calibrate_place(points, true.project(points) + noise.normal(size=(8, 2)), true) for _ in range(200)]
    errors = np.array([pose_error(one.camera, true) for one in found])
    assert np.sqrt(np.einsum("ni,ij,nj->n", errors, np.linalg.inv(bound), errors).mean() / 6.0) < 1.2
    assert (np.sqrt((errors**2).mean(axis=0) / np.diag(bound)) < 1.2).all()
    turned = true.rotation.T
    x, y, z = true.translation
    by_pose = np.hstack([-turned @ np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]]), -turned])
    places = np.array([one.camera.centre - true.centre for one in found])
    assert np.sqrt((places**2).sum(axis=1).mean() / np.trace(by_pose @ bound @ by_pose.T)) < 1.2
    assert sum(bool(one.wrong) for one in found) <= 6
    # Stated covariances speak of the errors made: 95 % of them within, or a few more, as noise is never taken as less.
    inside = [e @ np.linalg.solve(one.covariance, e) < 12.59 for e, one in zip(errors, found, strict=True)]
    assert 0.93 <= np.mean(inside) <= 1.0


@pytest.mark.parametrize("points", [ON_FLOOR, IN_SPACE], ids=["floor", "space"])
@pytest.mark.parametrize("wrong", range(8))
def test_one_wrong_point_among_eight_is_named(points, wrong) -> None:
    true, noise = camera(), np.random.default_rng(wrong)
    pixels = true.project(points) + noise.normal(size=(8, 2))
    pixels[wrong] += 40.0 * np.array([np.cos(wrong), np.sin(wrong)])
    names = [f"cone {i}" for i in range(8)]
    found = calibrate_place(points, pixels, true, names=names)
    assert found.wrong == (f"cone {wrong}",)
    assert f"cone {wrong} was left out" in found.notes[0]
    assert np.linalg.norm(found.residuals[wrong]) > 25.0
    without = calibrate_place(np.delete(points, wrong, 0), np.delete(pixels, wrong, 0), true)
    assert found.camera.translation == pytest.approx(without.camera.translation, abs=1e-6)


def test_a_place_measured_wrongly_by_ten_centimetres_is_named() -> None:
    true, measured = camera(), IN_SPACE.copy()
    measured[6, 2] += 0.1
    found = calibrate_place(measured, true.project(IN_SPACE) + np.random.default_rng(3).normal(size=(8, 2)), true)
    assert found.wrong == ("point 7",)


def test_a_point_that_is_not_seen_is_not_used() -> None:
    true = camera()
    pixels = true.project(IN_SPACE)
    pixels[2] = np.nan
    found = calibrate_place(IN_SPACE, pixels, true)
    assert np.isnan(found.residuals[2]).all()
    assert np.abs(found.camera.centre - true.centre).max() < 1e-6


def test_the_lens_is_found_with_the_place() -> None:
    true = camera(lens=(0.0,) * 5)
    exact = calibrate_place(IN_SPACE, true.project(IN_SPACE), size=true.size, name="phone")
    assert exact.camera.matrix == pytest.approx(true.matrix, abs=1e-3)
    assert np.abs(exact.camera.centre - true.centre).max() < 1e-5
    noise = np.random.default_rng(4)
    found = [
        calibrate_place(IN_SPACE, true.project(IN_SPACE) + noise.normal(size=(8, 2)), size=true.size) for _ in range(60)
    ]
    focal = np.log([one.camera.matrix[0, 0] / true.matrix[0, 0] for one in found])
    stated = np.mean([one.sd_focal_share for one in found])
    # The stated one counts with a principal point that may be elsewhere; here it is in the middle.
    assert np.sqrt((focal**2).mean()) < 1.2 * stated
    assert stated < 0.04


@pytest.mark.parametrize("mirror", ["names", "picture"])
@pytest.mark.parametrize("points", [ON_FLOOR, IN_SPACE], ids=["floor", "space"])
def test_mirrored_points_are_named(points, mirror) -> None:
    true = camera()
    seen = true.project(points * (1.0, -1.0, 1.0)) if mirror == "names" else true.project(points) * (-1, 1) + (1279, 0)
    with pytest.raises(InputError, match="left and right are exchanged"):
        calibrate_place(points, seen + np.random.default_rng(5).normal(size=(8, 2)), true)


def test_exchanged_names_are_named() -> None:
    true = camera()
    seen = true.project(IN_SPACE) + np.random.default_rng(6).normal(size=(8, 2))
    seen[[2, 6]] = seen[[6, 2]]
    with pytest.raises(InputError, match="point 3 and point 7 have each other's pixels"):
        calibrate_place(IN_SPACE, seen, true)


def test_rows_and_columns_exchanged_are_said() -> None:
    true = camera()
    with pytest.raises(InputError, match=r"open side: .*(fit only|left and right)"):
        calibrate_place(IN_SPACE, true.project(IN_SPACE)[:, ::-1], true)


def test_too_few_points_or_too_flat_ones_are_said() -> None:
    true = camera()
    pixels = true.project(IN_SPACE)
    with pytest.raises(InputError, match="open side: 5 known points are seen, 6 are needed"):
        calibrate_place(IN_SPACE[:5], pixels[:5], true)
    with pytest.raises(InputError, match="in one plane, which does not show the lens"):
        calibrate_place(ON_FLOOR, true.project(ON_FLOOR), size=true.size)
    line = np.linspace((0.0, 0.0, 0.0), (1.0, 1.0, 0.0), 7)
    with pytest.raises(InputError, match="in one line"):
        calibrate_place(line, true.project(line), true)


def test_arguments_are_checked() -> None:
    true = camera()
    pixels = true.project(IN_SPACE)
    with pytest.raises(OptionError, match="N x 3 and N x 2"):
        calibrate_place(IN_SPACE, pixels[:7], true)
    with pytest.raises(OptionError, match="sd_px"):
        calibrate_place(IN_SPACE, pixels, true, sd_px=0.0)
    with pytest.raises(OptionError, match="size of the picture"):
        calibrate_place(IN_SPACE, pixels)
    with pytest.raises(OptionError, match="one per point"):
        calibrate_place(IN_SPACE, pixels, true, names=["a"])


def test_the_linear_transformation_gives_the_matrix_back() -> None:
    true = camera(lens=(0.0,) * 5)
    found = direct_linear_transform(IN_SPACE, true.project(IN_SPACE))
    expected = true.projection_matrix
    assert found / np.linalg.norm(found) == pytest.approx(expected / np.linalg.norm(expected), abs=1e-9)


def test_a_flat_target_has_its_true_pose_among_the_two() -> None:
    true = camera()
    rays = true.normalise(true.project(ON_FLOOR))
    rotation, translation = planar_poses(ON_FLOOR, rays, np.ones((1, 8)))
    assert rotation[0] == pytest.approx(true.rotation, abs=1e-9)
    assert translation[0] == pytest.approx(true.translation, abs=1e-8)
    # The other one sees the points' middle in the same direction.
    middle = ON_FLOOR.mean(axis=0)
    assert rotation[1] @ middle + translation[1] == pytest.approx(true.in_camera(middle), abs=1e-8)
    assert np.linalg.det(rotation[1]) == pytest.approx(1.0)


def test_the_refinement_finds_the_least_squares_of_a_general_solver() -> None:
    from scipy.optimize import least_squares

    true = camera()
    seen = true.project(IN_SPACE) + 3.0 * np.random.default_rng(7).normal(size=(8, 2))
    weights = np.random.default_rng(8).uniform(0.2, 2.0, 8)

    def off(step: np.ndarray) -> np.ndarray:
        turned = Rotation.from_rotvec(step[:3]).as_matrix() @ true.rotation
        view = replace(true, rotation=turned, translation=true.translation + step[3:])
        return ((view.project(IN_SPACE) - seen) * np.sqrt(weights)[:, None]).ravel()

    best = least_squares(off, np.zeros(6), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    fit = refine(true, (true.rotation[None], true.translation[None]), IN_SPACE, seen, weights[None])
    assert fit.cost[0] == pytest.approx(2.0 * best.cost, rel=1e-9)
    assert fit.translation[0] == pytest.approx(true.translation + best.x[3:], abs=1e-6)


def test_rotation_vectors_agree_with_scipy() -> None:
    vectors = np.random.default_rng(9).normal(size=(50, 3)) * np.logspace(-9, 0.3, 50)[:, None]
    assert np.abs(rotations(vectors) - Rotation.from_rotvec(vectors).as_matrix()).max() < 1e-14
