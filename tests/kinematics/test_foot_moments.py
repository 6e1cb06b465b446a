"""When the front foot begins to move: in blurred paths, and with a heel that cameras hardly saw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

import mocap
from mocap.capture import PointErrors
from mocap.kinematics.foot_moments import approach_end, onset_age
from mocap.swing import POINTS, Moment

#: Pace of the errors of smoothed points, and the normal curve that blurs so. [1/s], [s]
PER_S = 30.0
BLUR_S = 1.0 / (np.sqrt(2.0) * PER_S)


@pytest.mark.parametrize("blur_s", [0.005, 0.024])
@pytest.mark.parametrize("age_s", [0.03, 0.06])
def test_the_age_of_a_blurred_movement(blur_s: float, age_s: float) -> None:
    """The cube of time from rest on, blurred in steps of 0.1 ms: its way over its speed tells when it began."""
    step_s = 1e-4
    time = np.arange(-0.2, 0.2, step_s)
    # Rest before is left out of the blur, which the formula leaves out too: the whole cube is blurred.
    blurred = gaussian_filter1d(time**3, blur_s / step_s, mode="nearest")
    at = int(np.argmin(np.abs(time - age_s)))
    ratio = blurred[at] / ((blurred[at + 1] - blurred[at - 1]) / (2.0 * step_s))
    assert onset_age(float(ratio), blur_s) == pytest.approx(time[at], abs=2e-4)


def filmed(posed, make_capture, sd_m: np.ndarray, seed: int) -> Mapping[str, Moment]:
    """Moments of a posed swing whose points are blurred and err slowly by standard deviations (P,), as stated."""
    frames = BLUR_S * posed.rate_hz
    noise = np.random.default_rng(seed).normal(size=posed.points.shape)
    # White noise that a normal curve of so many frames blurs keeps this share of its standard deviation.
    wander = gaussian_filter1d(noise, frames, axis=0) * np.sqrt(2.0 * np.sqrt(np.pi) * frames) * sd_m[:, None]
    points = gaussian_filter1d(posed.points, frames, axis=0, mode="nearest") + wander
    shape = points.shape[:2]
    errors = PointErrors(
        np.broadcast_to(np.eye(3) * sd_m[:, None, None] ** 2, (*shape, 3, 3)).copy(),
        np.full(shape, PER_S),
        np.zeros((*shape, 3, 0)),
        np.zeros(shape, dtype=np.bool_),
    )
    capture = replace(make_capture(points, posed.rate_hz), errors=errors)
    return mocap.build_swing(capture, mocap.Hitter(height_m=1.80, bats="right")).moments


def test_a_heel_that_cameras_hardly_saw_does_not_hide_the_end_of_the_stance(posed, make_capture) -> None:
    """It wanders by 8 mm; ankle and forefoot are known to 1.5 mm and tell when the foot moves."""
    sd_m = np.full(len(POINTS), 0.0015)
    sd_m[POINTS.index("front_heel")] = 0.008
    found = [filmed(posed, make_capture, sd_m, seed)["stance"] for seed in (1, 2, 3)]
    off = np.array([moment.time_s for moment in found]) - posed.moments["stance"]
    sd_s = np.array([moment.sd_s for moment in found])
    assert (np.abs(off) < 2.0 * sd_s).all()
    assert np.sqrt((sd_s**2).mean()) < 0.055


@pytest.mark.parametrize("blur", [0.0, 3.0, 6.0])
def test_the_end_of_an_approach_is_found_in_a_blurred_path(blur: float) -> None:
    """A straight way down to rest, blurred in steps of a thousandth of a frame."""
    fine = 1000
    time = np.arange(-60 * fine, 60 * fine) / fine
    way = np.maximum(-time, 0.0) * 0.004
    smooth = gaussian_filter1d(way, blur * fine) if blur else way
    values = smooth[::fine][45:75]
    kink = approach_end(values, -15, blur)
    assert kink is not None
    assert kink.frame == pytest.approx(0.0, abs=0.13)  # an eighth of a frame is the step of the search
    assert kink.speed == pytest.approx(0.004, rel=0.01)


def test_a_filmed_foot_lands_when_it_does(posed, make_capture) -> None:
    """Blurred by 24 ms, known to 2 mm: landing and flat foot within two standard deviations, and 25 ms."""
    sd_m = np.full(len(POINTS), 0.002)
    for seed in (1, 2, 3):
        moments = filmed(posed, make_capture, sd_m, seed)
        for name in ("toe_touch", "plant", "foot_flat"):
            moment = moments[name]
            assert moment.time_s is not None
            assert moment.sd_s is not None
            assert abs(moment.time_s - posed.moments[name]) < min(2.0 * moment.sd_s, 0.025)
