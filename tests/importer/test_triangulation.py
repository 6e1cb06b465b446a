"""Triangulation of points that virtual cameras saw: exact without noise, at the bound with it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import chi2

from mocap.importer.camera import Camera
from mocap.importer.triangulation import triangulate

LENS = (-0.12, 0.03, 0.0006, -0.0004, 0.002)
PLACES = ((0.0, -6.0, 1.4), (4.2, -4.2, 1.4), (-3.5, -3.0, 2.6))


def cameras(count: int, lens: tuple[float, ...] = LENS) -> list[Camera]:
    return [
        Camera.looking_at(place, (0.0, 0.0, 1.0), size=(1280, 720), field_of_view_deg=46.0, distortion=lens)
        for place in PLACES[:count]
    ]


def cloud(count: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).uniform((-1.0, -1.0, 0.0), (1.0, 1.0, 2.0), (count, 3))


def seen_by(rig: list[Camera], points: np.ndarray) -> np.ndarray:
    return np.stack([camera.project(points) for camera in rig])


@pytest.mark.parametrize("count", [2, 3])
def test_what_is_seen_without_noise_is_found_exactly(count) -> None:
    points, rig = cloud(5000).reshape(100, 50, 3), cameras(count)
    found = triangulate(rig, seen_by(rig, points), np.ones((count, 100, 50)))
    assert np.abs(found.points - points).max() < 1e-9
    assert np.abs(found.residuals).max() < 1e-6
    assert (found.freedom == 2 * count - 3).all()


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("lens", [(0.0,) * 5, LENS])
def test_the_error_is_at_the_bound_and_the_covariance_holds(count, lens) -> None:
    """10,000 points, 1 px: at most 1.05 times the Cramer-Rao bound, 95 % ellipsoids hold 93 to 97 %."""
    points, rig = cloud(10_000), cameras(count, lens)
    seen = seen_by(rig, points)
    sd = np.linspace(0.7, 1.3, count)[:, None] * np.ones(10_000)
    found = triangulate(rig, seen + sd[..., None] * np.random.default_rng(2).normal(size=seen.shape), sd)
    error = found.points - points
    # The bound from differences of the projection itself, not from our own gradients.
    step = 1e-5 * np.eye(3)
    slopes = np.stack([(seen_by(rig, points + d) - seen_by(rig, points - d)) / 2e-5 for d in step], axis=-1)
    bound = np.linalg.inv(np.einsum("cnui,cnuj,cn->nij", slopes, slopes, sd**-2))
    ratio = np.sqrt((error**2).sum() / np.trace(bound, axis1=1, axis2=2).sum())
    assert ratio < 1.05
    sds = [np.sqrt(np.diagonal(matrix, axis1=1, axis2=2)) for matrix in (found.covariance, bound)]
    assert sds[0] == pytest.approx(sds[1], rel=0.03)  # one at the place found, the other at the true one
    far = np.einsum("ni,nij,nj->n", error, np.linalg.inv(found.covariance), error)
    assert 0.93 < (far < chi2.ppf(0.95, 3)).mean() < 0.97
    assert found.misfit.mean() == pytest.approx(2 * count - 3, rel=0.05)


def test_the_place_is_that_of_a_general_solver() -> None:
    points, rig = cloud(20), cameras(3)
    seen = seen_by(rig, points)
    seen = seen + 3.0 * np.random.default_rng(3).normal(size=seen.shape)
    sd = np.random.default_rng(4).uniform(0.5, 3.0, seen.shape[:2])
    found = triangulate(rig, seen, sd)
    for i, point in enumerate(points):
        best = least_squares(
            lambda x, i=i: ((seen_by(rig, x) - seen[:, i]) / sd[:, i, None]).ravel(), point, xtol=1e-14, ftol=1e-14
        )
        assert found.points[i] == pytest.approx(best.x, abs=1e-6)
        assert found.misfit[i] == pytest.approx(2.0 * best.cost, rel=1e-6)


def test_a_point_that_one_camera_saw_is_missing_and_a_third_camera_is_simply_used() -> None:
    points, rig = cloud(4), cameras(3)
    seen = seen_by(rig, points)
    seen[1:, 0] = np.nan
    seen[2, 1] = np.nan
    found = triangulate(rig, seen, np.ones((3, 4)))
    assert np.isnan(found.points[0]).all()
    assert np.isnan(found.covariance[0]).all()
    assert found.points[1:] == pytest.approx(points[1:], abs=1e-9)
    assert found.freedom.tolist() == [0, 1, 3, 3]
    assert np.isnan(found.residuals[2, 1]).all()


def test_two_cameras_at_one_place_cannot_tell_the_distance() -> None:
    rig = [cameras(1)[0]] * 2
    found = triangulate(rig, seen_by(rig, cloud(5)), np.ones((2, 5)))
    assert np.isnan(found.points).all()
