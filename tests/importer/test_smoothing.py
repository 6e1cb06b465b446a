"""Smoothing over time: the batch solution to the last digits, honest covariances, gaps, outliers, bones and blows."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from scipy.stats import chi2

from mocap.errors import OptionError
from mocap.importer.bones import bones_of, hold_bones
from mocap.importer.keypoints import Keypoints
from mocap.importer.smoothing import (
    LONGEST_GAP_S,
    PRIOR_SD,
    Smoothed,
    rts,
    smooth,
)
from mocap.importer.synchronise import on_one_clock
from mocap.importer.triangulation import triangulate
from mocap.reference.parameters import SwingParameters
from mocap.virtual.cameras import TWO_TRIPODS, film_points, place_camera
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab

RATE = 120.0


def covariances(rng: np.random.Generator, frames: int, count: int, sd: float = 0.01) -> np.ndarray:
    """Long in some direction, as those of two cameras are."""
    root = sd * rng.normal(size=(frames, count, 3, 3))
    return root @ np.swapaxes(root, -1, -2) + (0.3 * sd) ** 2 * np.eye(3)


def noisy(rng: np.random.Generator, path: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    return path + (np.linalg.cholesky(covariance) @ rng.normal(size=(*path.shape, 1)))[..., 0]


def arc(frames: int, speed: float = 1.0) -> np.ndarray:
    """Two points that swing about, shape (F, 2, 3). [m]"""
    t = speed * np.arange(frames)[:, None] / RATE
    one = np.concatenate([np.cos(3 * t), np.sin(4 * t), 1 + 0.2 * t], axis=1)
    return np.stack([one, one + np.array([0.0, 0.4, 0.1])], axis=1)


# -------------------------------------------------------------------- the smoother itself


def batch(points: np.ndarray, covariance: np.ndarray, kept: np.ndarray, intensity: np.ndarray):
    """Places and covariances of one point by dense weighted least squares over all frames at once.

    Unknowns are place, velocity and acceleration of every frame, in seconds; each step of white jerk of spectral
    density q is one equation with the covariance q integral of g g', g = (s^2/2, s, 1), integrated by Gauss's rule.
    """
    frames, dt = len(points), 1.0 / RATE
    nodes, weights = np.polynomial.legendre.leggauss(5)
    s, weights = dt * (nodes + 1) / 2, dt * weights / 2
    g = np.stack([s**2 / 2, s, np.ones_like(s)])
    jerk = np.kron((g * weights) @ g.T, np.eye(3))
    move = np.kron(np.array([[1, dt, dt**2 / 2], [0, 1, dt], [0, 0, 1]]), np.eye(3))
    start = np.concatenate([points[np.argmax(kept)], np.zeros(6)])
    rows, right = [], []

    def add(matrix: np.ndarray, value: np.ndarray, spread: np.ndarray) -> None:
        white = np.linalg.inv(np.linalg.cholesky(spread))
        rows.append(white @ matrix)
        right.append(white @ value)

    unit = np.eye(9 * frames).reshape(frames, 9, 9 * frames)
    add(unit[0], start, np.diag(np.repeat(np.square(PRIOR_SD), 3)))
    for f in range(frames):
        if f:
            add(unit[f] - move @ unit[f - 1], np.zeros(9), intensity[f] * jerk)
        if kept[f]:
            add(unit[f, :3], points[f], covariance[f])
    matrix = np.concatenate(rows)
    # Columns of one size, without which the normal equations lose half the digits.
    size = np.linalg.norm(matrix, axis=0)
    q, r = np.linalg.qr(matrix / size)
    solution = np.linalg.solve(r, q.T @ np.concatenate(right)) / size
    inverse = np.linalg.inv(r) / size[:, None]
    spread = inverse @ inverse.T
    each = [slice(9 * f, 9 * f + 3) for f in range(frames)]
    return np.stack([solution[own] for own in each]), np.stack([spread[own, own] for own in each])


@pytest.mark.parametrize("seed", [1, 2])
def test_the_smoother_is_the_batch_least_squares_solution(seed) -> None:
    """Places to 1e-8 m and covariances to 1e-8 of themselves, with gaps and an intensity that changes."""
    rng = np.random.default_rng(seed)
    frames = 40
    covariance = covariances(rng, frames, 2)
    points = noisy(rng, arc(frames), covariance)
    kept = rng.random((frames, 2)) < 0.8
    kept[0] = (False, True)
    intensity = 10.0 ** rng.uniform(2.0, 6.0, (frames, 2))
    places, spreads, _ = rts(points, covariance, kept, RATE, intensity, np.zeros(kept.shape, dtype=bool))
    for number in range(2):
        place, spread = batch(points[:, number], covariance[:, number], kept[:, number], intensity[:, number])
        np.testing.assert_allclose(places[:, number], place, atol=1e-8, rtol=0)
        scale = np.trace(spread, axis1=1, axis2=2)[:, None, None]
        np.testing.assert_allclose(spreads[:, number] / scale, spread / scale, atol=1e-8, rtol=0)


def test_intensity_follows_the_motion() -> None:
    """A path that is itself white jerk of density q is smoothed with about q, still or wild."""
    rng = np.random.default_rng(3)
    frames, truth = 400, np.array([1e2, 1e5])
    jerk = rng.normal(size=(frames, 2, 3)) * np.sqrt(truth * RATE)[:, None]
    path = np.cumsum(np.cumsum(np.cumsum(jerk / RATE, axis=0) / RATE, axis=0) / RATE, axis=0)
    covariance = np.broadcast_to(0.003**2 * np.eye(3), (frames, 2, 3, 3))
    found = smooth(noisy(rng, path, covariance), covariance, RATE)
    median = np.median(found.intensity, axis=0)
    assert (np.abs(np.log10(median / truth)) < 1.0).all()


# -------------------------------------------------------------------- virtual swings


@lru_cache(maxsize=2)
def swing(seed: int) -> tuple[tuple[str, ...], np.ndarray, np.ndarray, np.ndarray]:
    """Names, triangulated places, their covariances and the truth of a swing that two cameras filmed at 1 px."""
    hitter, lab = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0), Lab()
    cameras = [place_camera(tripod, lab) for tripod in TWO_TRIPODS]
    filmed = [film_points(hitter, camera, lab, seed=seed + i) for i, camera in enumerate(cameras)]
    tables = [Keypoints(own.names, own.pixels, own.confidence) for own in filmed]
    names, _, pixels, sd = on_one_clock(cameras, tables)
    located = triangulate(cameras, pixels, sd)
    return (
        names,
        located.points,
        located.covariance,
        filmed[0].true_points[:, [filmed[0].names.index(n) for n in names]],
    )


def holds(found: Smoothed, truth: np.ndarray, which: np.ndarray) -> float:
    """Share of places whose 95 % ellipsoid holds the true one."""
    off, spread = (found.points - truth)[which], found.covariance[which]
    return float((np.einsum("ni,nij,nj->n", off, np.linalg.inv(spread), off) < chi2.ppf(0.95, 3)).mean())


@pytest.mark.parametrize("seed", [10, 20])
@pytest.mark.parametrize("held", [False, True])
def test_covariances_hold_on_swings_and_errors_shrink(seed, held) -> None:
    names, points, covariance, truth = swing(seed)
    found = smooth(points, covariance, RATE, bones=bones_of(names) if held else (), names=names)
    there = np.isfinite(found.points[..., 0])
    assert 0.90 < holds(found, truth, there) < 0.98
    bridged = there & found.bridged
    assert bridged.sum() > 100
    assert 0.90 < holds(found, truth, bridged) <= 1.0
    bat = there & np.array([name.startswith("bat_") for name in names])
    assert 0.88 < holds(found, truth, bat) <= 1.0
    measured = there & np.isfinite(points[..., 0])
    before, after = (np.sqrt(((own - truth)[measured] ** 2).sum(axis=1).mean()) for own in (points, found.points))
    assert after < 0.85 * before
    assert found.outlier.sum() <= 3  # of some five thousand good ones, at one in ten thousand


def test_bones_bring_limbs_closer_to_the_truth() -> None:
    names, points, covariance, truth = swing(10)
    free = smooth(points, covariance, RATE)
    held = smooth(points, covariance, RATE, bones=bones_of(names))
    ends = np.unique(np.array(bones_of(names)))
    there = np.isfinite(free.points[:, ends, 0])
    errors = [np.sqrt((((own.points - truth)[:, ends])[there] ** 2).sum(axis=1).mean()) for own in (free, held)]
    assert errors[1] < errors[0]
    for (a, b), length in zip(bones_of(names), held.bone_lengths, strict=True):
        true = np.median(np.linalg.norm(truth[:, a] - truth[:, b], axis=1))
        assert length == pytest.approx(true, abs=0.006)


# -------------------------------------------------------------------- gaps, outliers, blows


def test_a_short_gap_is_bridged_with_growing_doubt_and_a_long_one_is_left() -> None:
    rng = np.random.default_rng(4)
    frames = 200
    covariance = covariances(rng, frames, 2)
    points = noisy(rng, arc(frames), covariance)
    longest = int(LONGEST_GAP_S * RATE)
    points[60 : 60 + longest, 0] = np.nan
    points[120 : 121 + longest, 0] = np.nan
    points[190:, 1] = np.nan
    found = smooth(points, covariance, RATE, names=("a", "b"))
    assert np.isfinite(found.points[60 : 60 + longest, 0]).all()
    assert found.bridged[60 : 60 + longest, 0].all()
    assert np.isnan(found.points[120 : 121 + longest, 0]).all()
    assert np.isnan(found.points[190:, 1]).all()
    doubt = np.trace(found.covariance[:, 0], axis1=1, axis2=2)
    assert (np.diff(doubt[60 : 60 + longest // 3]) > 0).all()
    assert doubt[60 + longest // 2] > 5.0 * doubt[50]
    assert any("missing in" in note and "a, b" in note for note in found.notes)


def test_a_gap_is_bridged_with_the_jerk_that_is_seen_beside_it() -> None:
    """A point that moves slowly, while later it is thrown about, is not thought to be thrown about in the gap."""
    rng = np.random.default_rng(8)
    frames, gap = 220, slice(50, 66)
    jerk = rng.normal(size=(frames, 1, 3)) * np.sqrt(np.where(np.arange(frames) < 140, 1e3, 1e8) * RATE)[:, None, None]
    path = np.cumsum(np.cumsum(np.cumsum(jerk / RATE, axis=0) / RATE, axis=0) / RATE, axis=0)
    covariance = np.broadcast_to(0.005**2 * np.eye(3), (frames, 1, 3, 3))
    points = noisy(rng, path, covariance)
    points[gap] = np.nan
    found = smooth(points, covariance, RATE)
    assert np.log10(found.intensity[gap]) == pytest.approx(3.0, abs=1.5)
    sd = np.sqrt(np.trace(found.covariance[58, 0]) / 3.0)
    assert 0.005 < sd < 0.05
    assert np.linalg.norm(found.points[gap] - path[gap], axis=2).max() < 0.10


def test_outliers_are_taken_out_counted_and_named() -> None:
    rng = np.random.default_rng(5)
    frames = 150
    covariance = covariances(rng, frames, 2)
    points = noisy(rng, arc(frames), covariance)
    clean = smooth(points, covariance, RATE)
    wrong = np.array([20, 50, 51, 90, 130])
    points[wrong, 1] += (0.3, -0.2, 0.2)
    found = smooth(points, covariance, RATE, names=("hip", "knee"))
    assert np.flatnonzero(found.outlier[:, 1]).tolist() == wrong.tolist()
    assert not found.outlier[:, 0].any()
    assert found.bridged[wrong, 1].all()
    assert np.linalg.norm(found.points - clean.points, axis=2).max() < 0.02
    assert any(note.startswith("5 of 300 places") and "knee: 5" in note for note in found.notes)


def test_a_blow_is_not_smoothed_away() -> None:
    """Velocity leaps from 30 to 20 m/s between frames 60 and 61; one who knows that sees it, within his ellipsoids."""
    rng = np.random.default_rng(6)
    t = (np.arange(120) - 60.5) / RATE
    path = np.stack([np.where(t < 0, 30.0, 20.0) * t, 0 * t, 1 + 0 * t], axis=-1)[:, None]
    covariance = np.broadcast_to(0.004**2 * np.eye(3), (120, 1, 3, 3))
    points = noisy(rng, path, covariance)
    blind, seeing = (smooth(points, covariance, RATE, seams=seams) for seams in ((), (60.5,)))
    near = slice(50, 72)
    errors = [np.sqrt(((own.points - path)[near] ** 2).mean()) for own in (blind, seeing)]
    assert errors[1] < 0.8 * errors[0]
    assert 0.8 < holds(seeing, path, np.arange(120)[:, None] >= 0) <= 1.0
    speed = np.diff(seeing.points[:, 0, 0]) * RATE
    assert speed[57:60].mean() == pytest.approx(30.0, abs=0.6)
    assert speed[61:64].mean() == pytest.approx(20.0, abs=0.6)


# -------------------------------------------------------------------- bones


def test_one_bone_is_the_constrained_least_squares_solution() -> None:
    """Against a general solver: both ends' squares and the bone's, at once."""
    from scipy.optimize import least_squares

    rng = np.random.default_rng(7)
    ends = np.array([[0.0, 0.0, 1.0], [0.1, 0.0, 0.6]])
    covariance = covariances(rng, 30, 2, sd=0.004)
    points = noisy(rng, np.broadcast_to(ends, (30, 2, 3)), covariance)
    found, spread, (length,) = hold_bones(points, covariance, [(0, 1)])
    for f in range(0, 30, 10):
        white = [np.linalg.inv(np.linalg.cholesky(own)) for own in covariance[f]]

        def misfit(flat, f=f, white=white):
            a, b = flat.reshape(2, 3)
            bone = (np.linalg.norm(a - b) - length) / 0.005
            return np.concatenate([white[0] @ (a - points[f, 0]), white[1] @ (b - points[f, 1]), [bone]])

        best = least_squares(misfit, points[f].ravel(), xtol=1e-15, ftol=1e-15, gtol=1e-15)
        np.testing.assert_allclose(found[f].ravel(), best.x, atol=1e-6)
        inverse = np.linalg.inv(best.jac.T @ best.jac)
        np.testing.assert_allclose(spread[f, 0], inverse[:3, :3], atol=1e-8)
        np.testing.assert_allclose(spread[f, 1], inverse[3:, 3:], atol=1e-8)


def test_bones_are_found_by_name() -> None:
    names = ("l_hip", "r_hip", "l_knee", "bat_barrel", "bat_knob", "nose")
    assert bones_of(names) == ((0, 2), (4, 3))


# -------------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"points": np.zeros((5, 2))}, "give .F, P, 3."),
        ({"rate_hz": 0.0}, "rate_hz must be positive"),
        ({"covariance": np.zeros((5, 2, 3, 3))}, "no positive diagonal"),
        ({"seams": [7.0]}, "seam at frame 7; give one from 0 to 4"),
    ],
)
def test_what_cannot_be_smoothed_is_named(change, named) -> None:
    given = {
        "points": np.zeros((5, 2, 3)),
        "covariance": np.broadcast_to(np.eye(3), (5, 2, 3, 3)),
        "rate_hz": RATE,
    } | change
    with pytest.raises(OptionError, match=named):
        smooth(**given)


def test_a_point_that_was_never_seen_stays_missing_and_is_named() -> None:
    points = arc(30)
    points[:, 1] = np.nan
    found = smooth(points, np.broadcast_to(1e-4 * np.eye(3), (30, 2, 3, 3)), RATE, names=("a", "b"))
    assert np.isnan(found.points[:, 1]).all()
    assert np.isfinite(found.points[:, 0]).all()
    assert "never seen by two cameras at once: b" in found.notes
