"""Triangulation against published formulas and OpenCV's solver."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from mocap.importer.camera import Camera
from mocap.importer.triangulation import intersect, triangulate


def _two(angle_deg: float, distance: float = 5.0, focal: float = 1000.0) -> list[Camera]:
    """Two equal cameras whose lines of sight cross under an angle at the origin, level with it."""
    width = 2000
    view = 2.0 * np.degrees(np.arctan(width / 2.0 / focal))
    half = np.radians(angle_deg / 2.0)
    places = [(side * distance * np.sin(half), -distance * np.cos(half), 0.0) for side in (-1.0, 1.0)]
    return [Camera.looking_at(p, (0.0, 0.0, 0.0), size=(width, width), field_of_view_deg=view) for p in places]


@pytest.mark.parametrize(
    ("angle", "expected_mm"), [(90.0, (5.00, 5.00, 3.54)), (60.0, (7.07, 4.08, 3.54)), (30.0, (13.66, 3.66, 3.54))]
)
def test_two_converging_cameras(angle, expected_mm) -> None:
    """s d / f times 1 / (sqrt 2 sin(g / 2)) in depth, 1 / (sqrt 2 cos(g / 2)) along the baseline, 1 / sqrt 2 upward.

    Inverse Fisher information for two equal cameras at distance d under the angle g, focal length f, noise s: here
    5 m, 1000 px, 1 px. Derived by hand; common in close-range photogrammetry.
    """
    rig = _two(angle)
    seen = np.stack([camera.project(np.zeros(3)) for camera in rig])
    covariance = triangulate(rig, seen, np.ones(2)).covariance
    depth, along, up = expected_mm
    assert 1e3 * np.sqrt(np.diag(covariance)) == pytest.approx([along, depth, up], abs=0.005)


def test_rectified_stereo() -> None:
    """sd of depth = sqrt 2 s Z^2 / (f b): Z 5 m, b 1 m, f 1000 px -> 35.4 mm; across Z s / (sqrt 2 f) = 3.54 mm.

    R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., chapter 12; here the point lies midway, where the two
    errors do not mix.
    """
    matrix = np.array([[1000.0, 0.0, 500.0], [0.0, 1000.0, 500.0], [0.0, 0.0, 1.0]])
    rig = [Camera(matrix, np.eye(3), np.array([-x, 0.0, 0.0]), (1000, 1000), np.zeros(5)) for x in (-0.5, 0.5)]
    point = np.array([0.0, 0.0, 5.0])
    covariance = triangulate(rig, np.stack([camera.project(point) for camera in rig]), np.ones(2)).covariance
    across, _, depth = 1e3 * np.sqrt(np.diag(covariance))
    # To the first order in b / Z; the exact bound has the half baseline's square beside Z^2.
    assert depth == pytest.approx(35.4, rel=0.02)
    assert across == pytest.approx(3.54, rel=0.02)


def test_the_linear_start_agrees_with_opencv() -> None:
    rig = _two(50.0)
    points = np.random.default_rng(5).uniform(-1.0, 1.0, (2000, 3))
    seen = np.stack([camera.project(points) for camera in rig])
    seen += np.random.default_rng(6).normal(size=seen.shape)
    rays = np.stack([camera.normalise(own) for camera, own in zip(rig, seen, strict=True)])
    ours = intersect(rig, rays, np.ones((2, 2000)))
    poses = [np.column_stack([camera.rotation, camera.translation]) for camera in rig]
    homogeneous = cv2.triangulatePoints(*poses, *(np.ascontiguousarray(own.T) for own in rays))
    theirs = (homogeneous[:3] / homogeneous[3]).T
    # Both weigh the same equations, one with the point's own scale free: half a millimetre at an error of 8 mm.
    assert np.abs(ours - theirs).max() < 1e-3
    refined = triangulate(rig, seen, np.ones((2, 2000))).points
    errors = [np.sqrt(((found - points) ** 2).sum(axis=1).mean()) for found in (refined, theirs)]
    assert errors[0] <= 1.001 * errors[1]
