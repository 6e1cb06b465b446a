from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.rigid import fit_rigid

CLUSTER = np.array([[0.0, 0.0, 0.0], [0.12, 0.0, 0.01], [0.03, 0.09, -0.02], [0.05, 0.02, 0.11], [-0.04, 0.06, 0.05]])


def moved(cluster: np.ndarray, frames: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rotations, translations and the cluster's points after them."""
    rng = np.random.default_rng(seed)
    rotation = Rotation.random(frames, random_state=rng).as_matrix()
    translation = rng.normal(size=(frames, 3))
    return rotation, translation, cluster @ np.swapaxes(rotation, 1, 2) + translation[:, None]


def test_an_exact_motion_is_recovered() -> None:
    rotation, translation, points = moved(CLUSTER, 40, 1)
    fit = fit_rigid(CLUSTER, points)
    assert fit.rotation == pytest.approx(rotation, abs=1e-12)
    assert fit.translation == pytest.approx(translation, abs=1e-12)
    assert fit.residual_m == pytest.approx(0.0, abs=1e-12)
    assert (fit.seen == 5).all()
    assert fit.place(CLUSTER) == pytest.approx(points, abs=1e-12)
    assert fit.place(CLUSTER[1]) == pytest.approx(points[:, 1], abs=1e-12)


def test_it_agrees_with_scipy_on_noisy_and_weighted_points() -> None:
    _, _, points = moved(CLUSTER, 20, 2)
    rng = np.random.default_rng(3)
    points = points + rng.normal(0.0, 0.01, points.shape)
    weights = rng.uniform(0.2, 3.0, 5)
    fit = fit_rigid(CLUSTER, points, weights)
    for frame in range(20):
        a = CLUSTER - np.average(CLUSTER, axis=0, weights=weights)
        b = points[frame] - np.average(points[frame], axis=0, weights=weights)
        theirs, rssd = Rotation.align_vectors(b, a, weights=weights)
        assert fit.rotation[frame] == pytest.approx(theirs.as_matrix(), abs=1e-9)
        assert fit.residual_m[frame] == pytest.approx(rssd / np.sqrt(weights.sum()), rel=1e-6)


def test_each_frame_is_fitted_by_the_points_that_it_has() -> None:
    _, _, points = moved(CLUSTER, 30, 4)
    rng = np.random.default_rng(5)
    noisy = points + rng.normal(0.0, 0.005, points.shape)
    missing = rng.random((30, 5)) < 0.3
    noisy[missing] = np.nan
    fit = fit_rigid(CLUSTER, noisy)
    for frame in range(30):
        kept = ~missing[frame]
        assert fit.seen[frame] == kept.sum()
        if kept.sum() < 3:
            assert np.isnan(fit.rotation[frame]).all()
            assert np.isnan(fit.residual_m[frame])
            continue
        alone = fit_rigid(CLUSTER[kept], noisy[frame : frame + 1, kept])
        assert fit.rotation[frame] == pytest.approx(alone.rotation[0], abs=1e-12)
        assert fit.translation[frame] == pytest.approx(alone.translation[0], abs=1e-12)
        assert fit.residual_m[frame] == pytest.approx(alone.residual_m[0], abs=1e-12)
    assert np.isnan(fit.rotation).any()  # the draw holds a frame with fewer than three points


def test_points_in_one_plane_are_never_reflected() -> None:
    flat = CLUSTER * np.array([1.0, 1.0, 0.0])
    rotation, _, points = moved(flat, 60, 6)
    noisy = points + np.random.default_rng(7).normal(0.0, 0.003, points.shape)
    fit = fit_rigid(flat, noisy)
    assert np.linalg.det(fit.rotation) == pytest.approx(1.0)
    # Nor do they look upside down: 3 mm on about 8 cm is a few degrees.
    off = Rotation.from_matrix(fit.rotation @ np.swapaxes(rotation, 1, 2)).magnitude()
    assert np.degrees(off).max() < 15.0


@pytest.mark.parametrize("across", [0.0, 0.001])
def test_points_on_a_line_do_not_show_their_turn_about_it(across: float) -> None:
    line = np.array([[0.0, 0.0, 0.0], [0.1, across, 0.0], [0.2, 0.0, 0.0]])
    fit = fit_rigid(line, line[None] + 1.0)
    assert np.isnan(fit.rotation).all()
    assert np.isnan(fit.translation).all()
    wide = np.array([[0.0, 0.0, 0.0], [0.1, 0.03, 0.0], [0.2, 0.0, 0.0]])
    assert fit_rigid(wide, wide[None] + 1.0).rotation[0] == pytest.approx(np.eye(3), abs=1e-12)


def test_a_reference_point_that_is_unknown_or_weighs_nothing_takes_no_part() -> None:
    rotation, _, points = moved(CLUSTER, 3, 8)
    points[:, 0] += 0.5
    reference = CLUSTER.copy()
    reference[0] = np.nan
    assert fit_rigid(reference, points).rotation == pytest.approx(rotation, abs=1e-12)
    light = fit_rigid(CLUSTER, points, np.array([0.0, 1.0, 1.0, 1.0, 1.0]))
    assert light.rotation == pytest.approx(rotation, abs=1e-12)
    assert (light.seen == 4).all()


def test_shapes_and_weights_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ValueError, match=r"\(5, 3\) and \(2, 4, 3\)"):
        fit_rigid(CLUSTER, np.zeros((2, 4, 3)))
    with pytest.raises(ValueError, match="5 finite numbers"):
        fit_rigid(CLUSTER, np.zeros((2, 5, 3)), np.array([1.0, 1.0, 1.0, 1.0, -1.0]))
