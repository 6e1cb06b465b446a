"""Cut-offs by name, and segments' axes that are smoothed like the points at their ends."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.smoothing import cutoffs_of, smooth_frames

RATE = 240.0
TIME = np.arange(240) / RATE


def turning() -> np.ndarray:
    """A segment that swings to and fro about all three axes at 1 to 2 Hz."""
    turns = np.stack([0.8 * np.sin(6 * TIME), 0.5 * np.sin(9 * TIME + 1), 0.6 * np.cos(11 * TIME)], axis=1)
    rotation: np.ndarray = Rotation.from_rotvec(turns).as_matrix()
    return rotation


def test_a_given_cutoff_is_everybody_s() -> None:
    paths = {"pelvis": np.zeros((50, 3)), "l_wrist": np.zeros((50, 3))}
    assert cutoffs_of(paths, RATE, 9.0) == {"pelvis": 9.0, "l_wrist": 9.0}


def test_noisier_paths_get_lower_cutoffs() -> None:
    rng = np.random.default_rng(1)
    path = np.stack([np.sin(8 * TIME), np.cos(5 * TIME), TIME], axis=1)
    paths = {"l_knee": path + rng.normal(0, 0.0003, path.shape), "r_knee": path + rng.normal(0, 0.010, path.shape)}
    chosen = cutoffs_of(paths, RATE, None)
    assert chosen["r_knee"] < chosen["l_knee"]


def test_smooth_axes_stay_square_and_slow_turns_stay() -> None:
    true = turning()
    smooth = smooth_frames({"pelvis": true, "front_thigh": true}, RATE, {"pelvis": 20.0, "front_knee": 20.0})
    for rotation in smooth.values():
        np.testing.assert_allclose(rotation @ np.swapaxes(rotation, 1, 2), np.tile(np.eye(3), (240, 1, 1)), atol=1e-12)
        assert (np.linalg.det(rotation) > 0).all()
        off = Rotation.from_matrix(rotation @ np.swapaxes(true, 1, 2)).magnitude()[20:-20]
        assert off.max() < np.radians(0.3)


def test_shaking_is_taken_out_of_the_axes() -> None:
    true = turning()
    shaken = Rotation.from_rotvec(np.random.default_rng(2).normal(0, 0.02, (240, 3))).as_matrix() @ true
    smooth = smooth_frames({"thorax": shaken}, RATE, {"neck": 10.0})["thorax"]

    def off(rotation: np.ndarray) -> float:
        turns = Rotation.from_matrix(rotation @ np.swapaxes(true, 1, 2)).magnitude()[20:-20]
        return float(np.sqrt(np.mean(turns**2)))

    # The share of white noise below 10 of 120 Hz is 1/12 of its power.
    assert off(smooth) == pytest.approx(off(shaken) * np.sqrt(10 / 120), rel=0.25)
