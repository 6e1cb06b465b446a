"""Batched 3 by 3 arithmetic against numpy's and scipy's."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from mocap.kinematics import small_matrices as small

RNG = np.random.default_rng(2)
FIRST, SECOND = RNG.normal(size=(2, 3, 3, 5, 7))
VECTOR, OTHER = RNG.normal(size=(2, 3, 5, 7))


def frames_first(array: np.ndarray) -> np.ndarray:
    return np.moveaxis(array, (-2, -1), (0, 1))


def test_products_are_numpy_s() -> None:
    first, second, vector = (frames_first(array) for array in (FIRST, SECOND, VECTOR))
    np.testing.assert_allclose(frames_first(small.times(FIRST, SECOND)), first @ second)
    transposed = np.swapaxes(first, -1, -2)
    np.testing.assert_allclose(frames_first(small.transposed_times(FIRST, SECOND)), transposed @ second)
    np.testing.assert_allclose(frames_first(small.apply(FIRST, VECTOR)), (first @ vector[..., None])[..., 0])
    np.testing.assert_allclose(
        frames_first(small.apply_transposed(FIRST, VECTOR)), (transposed @ vector[..., None])[..., 0]
    )


def test_cross_products_are_numpy_s() -> None:
    expected = np.cross(frames_first(VECTOR), frames_first(OTHER))
    np.testing.assert_allclose(frames_first(small.cross(VECTOR, OTHER)), expected)
    np.testing.assert_allclose(frames_first(small.apply(small.skew(VECTOR), OTHER)), expected)


def test_symmetric_inverses_are_numpy_s() -> None:
    symmetric = small.times(FIRST, np.swapaxes(FIRST, 0, 1))
    np.testing.assert_allclose(
        frames_first(small.inverted(symmetric)), np.linalg.inv(frames_first(symmetric)), rtol=1e-8, atol=1e-8
    )


def test_small_rotations_are_exact_rotations_and_right_to_the_second_order() -> None:
    for size in (1e-3, 1e-2, 1e-1):
        vector = size * VECTOR / np.linalg.norm(VECTOR, axis=0)
        ours = frames_first(small.small_rotation(vector)).reshape(-1, 3, 3)
        np.testing.assert_allclose(ours @ np.swapaxes(ours, 1, 2), np.tile(np.eye(3), (len(ours), 1, 1)), atol=1e-14)
        exact = Rotation.from_rotvec(frames_first(vector).reshape(-1, 3)).as_matrix()
        # 2 atan(a / 2) is a - a^3 / 12 and on.
        assert np.abs(ours - exact).max() < size**3 / 12 * 1.01
