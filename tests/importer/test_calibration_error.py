"""What a calibration's own errors do to points: covariances that hold, and slopes by differences."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from mocap.errors import InputError, OptionError
from mocap.importer.calibrate_place import calibrate_place
from mocap.importer.calibration_error import common_errors, moved_world, pixel_slopes
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.pose import rotations
from mocap.importer.triangulation import triangulate

#: Eight points of known place, and places to look at. [m]
KNOWN = np.array(
    [[x, y, 0.0] for x in (-0.9, 0.9) for y in (-0.6, 0.6)] + [[x, 0.4, z] for x in (-0.6, 0.8) for z in (1.0, 2.0)]
)
PLACES = np.array([[x, y, z] for x in (-0.5, 0.5) for y in (-0.4, 0.4) for z in (0.1, 0.9, 1.8)])


def camera(name: str, place: tuple[float, float, float]) -> Camera:
    return Camera.looking_at(
        place,
        (0.0, 0.0, 0.95),
        size=(1280, 720),
        field_of_view_deg=46.0,
        distortion=(-0.12, 0.03, 0.0006, -0.0004, 0.0),
        rate_hz=120.0,
        name=name,
    )


RIG = (camera("a", (0.3, -6.0, 1.4)), camera("b", (4.2, -4.2, 1.2)))


def changed(own: Camera, by: np.ndarray) -> Camera:
    """A camera whose nine calibrated parameters differ by a little."""
    matrix = np.array(own.matrix)
    matrix[:2, :2] *= np.exp(by[6])
    matrix[:2, 2] += by[7:]
    return replace(own, matrix=matrix, rotation=rotations(by[:3]) @ own.rotation, translation=own.translation + by[3:6])


def test_slopes_are_those_of_differences() -> None:
    step = 1e-6
    for place in range(9):
        by = step * np.eye(9)[place]
        differences = (changed(RIG[0], by).project(PLACES) - changed(RIG[0], -by).project(PLACES)) / (2.0 * step)
        assert pixel_slopes(RIG[0], PLACES)[..., place] == pytest.approx(differences, rel=1e-5, abs=1e-5)


def test_places_move_as_the_triangulation_of_changed_cameras_does() -> None:
    rng = np.random.default_rng(3)
    by = rng.normal(size=(2, 9)) * np.array([1e-4] * 3 + [5e-4] * 3 + [1e-4] + [0.1] * 2)
    seen = np.stack([own.project(PLACES) for own in RIG])
    moved = triangulate([changed(own, d) for own, d in zip(RIG, by, strict=True)], seen, 1.0).points
    # The errors are exactly one standard deviation of one direction each.
    cameras = [replace(own, covariance=np.outer(d, d)) for own, d in zip(RIG, by, strict=True)]
    found = common_errors(cameras, PLACES)
    assert found.shape == (len(PLACES), 3, 2)
    # A direction has no sign of its own.
    signs = [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)]
    off = [np.abs(found @ np.array(sign) - (moved - PLACES)).max() for sign in signs]
    assert min(off) < 0.02 * np.abs(moved - PLACES).max()


@pytest.mark.parametrize("lens_errs", [False, True])
def test_ellipsoids_hold_over_calibrations_from_eight_noisy_points(lens_errs: bool) -> None:
    """Calibrations with 1 px at each known point, then points with 1 px: 95 % ellipsoids with both errors hold 95 %."""
    rng = np.random.default_rng(7)
    lens_sd = np.array([0.002, 3.0, 3.0]) if lens_errs else np.zeros(3)
    limit, inside, with_noise_alone = chi2.ppf(0.95, 3), [], []
    for _ in range(250):
        cameras = []
        for own in RIG:
            wrong = changed(own, np.concatenate([np.zeros(6), lens_sd * rng.normal(size=3)]))
            lens = replace(wrong, covariance=np.diag([*np.zeros(6), *lens_sd**2]))
            marked = own.project(KNOWN) + rng.normal(size=(len(KNOWN), 2))
            cameras.append(calibrate_place(KNOWN, marked, lens).camera)
        seen = np.stack([own.project(PLACES) for own in RIG])
        found = triangulate(cameras, seen + rng.normal(size=seen.shape), 1.0)
        common = common_errors(cameras, found.points)
        off = found.points - PLACES
        for covariance, held in (
            (found.covariance + common @ np.swapaxes(common, 1, 2), inside),
            (found.covariance, with_noise_alone),
        ):
            square = np.einsum("ni,nij,nj->n", off, np.linalg.inv(covariance), off)
            held += (square <= limit).tolist()
    assert 0.93 <= np.mean(inside) <= 0.97
    assert np.mean(with_noise_alone) < 0.91


def test_a_moved_world_moves_the_errors_with_it() -> None:
    rng = np.random.default_rng(4)
    root = rng.normal(size=(9, 9)) * np.array([1e-3] * 3 + [5e-3] * 3 + [1e-3] + [0.5] * 2)[:, None]
    cameras = [replace(own, covariance=root @ root.T) for own in RIG]
    turn, shift = rotations(np.array([0.1, -0.2, 0.7])), np.array([1.0, -2.0, 0.3])
    there = common_errors([moved_world(own, turn, shift) for own in cameras], PLACES @ turn.T + shift)
    here = common_errors(cameras, PLACES)
    expected = turn @ here @ np.swapaxes(here, 1, 2) @ turn.T
    assert there @ np.swapaxes(there, 1, 2) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_cameras_without_a_covariance_are_taken_as_exact() -> None:
    assert common_errors(RIG, PLACES).shape == (len(PLACES), 3, 0)


def test_the_covariance_is_kept_in_the_file_and_refused_where_it_is_none(tmp_path: Path) -> None:
    found = calibrate_place(KNOWN, RIG[0].project(KNOWN) + 0.3, RIG[0]).camera
    assert (np.diag(found.covariance)[:6] > 0.0).all()
    again = read_camera(write_camera(found, tmp_path / "a.toml"))
    assert (again.covariance == found.covariance).all()
    wrong = found.covariance.copy()
    wrong[0, 1] += 10.0 * np.sqrt(wrong[0, 0] * wrong[1, 1])
    with pytest.raises(OptionError, match="covariance is none: it must be symmetric"):
        replace(found, covariance=wrong)
    text = (tmp_path / "a.toml").read_text("utf-8").replace("covariance = [[", "covariance = [[0.0], [")
    (tmp_path / "a.toml").write_text(text, "utf-8")
    with pytest.raises(InputError, match="covariance"):
        read_camera(tmp_path / "a.toml")
