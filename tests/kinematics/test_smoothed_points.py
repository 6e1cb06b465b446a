"""Errors of points that were smoothed before they came here: drawn as stated, turned, and passed on to the moments."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

import mocap
from mocap.capture import Capture, PointErrors
from mocap.errors import DetectionError
from mocap.kinematics.filtering import blur_of, lowpass
from mocap.kinematics.moments import SPEED_BREAK, USUAL_DEPTH
from mocap.kinematics.smoothed_points import (
    blur_width_s,
    drawn_errors,
    error_roots,
    errors_in,
    held_errors,
    scattered,
    slow_errors,
)
from mocap.kinematics.turn import PEAK_BLUR_WIDTHS
from mocap.reference.posed import pose_swing
from mocap.swing import POINTS, Moment

RATE = 120.0


def stated(frames: int, count: int, per_s: float, covariance: np.ndarray, common: np.ndarray | None = None):
    shared = np.zeros((frames, count, 3, 0)) if common is None else np.broadcast_to(common, (frames, count, 3, 1))
    return PointErrors(
        np.broadcast_to(covariance, (frames, count, 3, 3)),
        np.full((frames, count), per_s),
        np.array(shared),
        np.zeros((frames, count), dtype=bool),
    )


def test_drawn_errors_have_the_stated_place_and_rate() -> None:
    """Over 4000 draws: covariance of the place, and the rate's standard deviation by central differences."""
    covariance = np.array([[4.0, 1.0, 0.0], [1.0, 9.0, 0.0], [0.0, 0.0, 1.0]]) * 1e-6
    errors = stated(40, 2, 30.0, covariance)
    drawn = drawn_errors(error_roots(errors, RATE), 4000, np.random.default_rng(1))
    assert drawn.shape == (4000, 40, 2, 3)
    assert np.cov(drawn[:, 20, 1].T) == pytest.approx(covariance, abs=3e-7)
    # The mean rate over two frames of a process of correlation exp(-(30 t)^2 / 2).
    across = 2.0 / RATE
    expected = np.sqrt(2.0 * (1.0 - np.exp(-0.5 * (30.0 * across) ** 2))) / across
    rate = (drawn[:, 21] - drawn[:, 19]) / across
    assert rate[:, 0].std(axis=0) == pytest.approx(expected * np.sqrt(np.diag(covariance)), rel=0.05)
    # Two points err apart from each other.
    assert abs(np.corrcoef(drawn[:, 20, 0, 0], drawn[:, 20, 1, 0])[0, 1]) < 0.06


def capture_of(labels: tuple[str, ...], errors: PointErrors) -> Capture:
    frames = len(errors.per_s)
    return Capture("a", labels, np.zeros((frames, len(labels), 3)), RATE, errors.sd, errors=errors)


def test_errors_come_in_the_order_of_the_points_and_in_their_axes() -> None:
    covariance = np.diag([1.0, 4.0, 9.0]) * 1e-6
    errors = stated(5, 3, 20.0, covariance, np.array([[1e-3], [0.0], [0.0]]))
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    found = errors_in(capture_of(("L_HIP", "R_HIP", "bat_knob"), errors), turn, "left")
    assert found is not None
    place = {name: POINTS.index(name) for name in ("front_hip", "back_hip", "pelvis", "bat_knob", "head")}
    assert found.covariance[0, place["back_hip"]] == pytest.approx(np.diag([4.0, 1.0, 9.0]) * 1e-6)
    assert found.common[0, place["front_hip"], :, 0] == pytest.approx([0.0, 1e-3, 0.0])
    # Midway between two hips that err apart: half the variance; what both have in common stays.
    assert found.covariance[0, place["pelvis"]] == pytest.approx(np.diag([2.0, 0.5, 4.5]) * 1e-6)
    assert found.common[0, place["pelvis"], :, 0] == pytest.approx([0.0, 1e-3, 0.0])
    assert not found.covariance[0, place["head"]].any()
    assert errors.sd[0] == pytest.approx(np.sqrt((14.0 + 1.0) * 1e-6 / 3.0))


def test_points_that_were_not_smoothed_have_none() -> None:
    plain = Capture("a", ("L_HIP",), np.zeros((5, 1, 3)), RATE, np.zeros((5, 1)))
    assert not plain.smoothed
    assert errors_in(plain, np.eye(3), "right") is None
    assert slow_errors(plain) == {}


def test_moments_err_as_the_points_do_that_they_are_found_from() -> None:
    """A moment at which a point that moves at 2 m/s passes a plane errs by its error over 2 m/s."""
    errors = stated(60, len(POINTS), 10.0, np.eye(3) * 0.004**2)
    moments = {
        name: Moment(name, 30, 0.25, 0.001, "made up") for name in ("plant", "contact", "finish", "stance", "level")
    }

    def find(displaced):
        off = displaced["front_heel"][30, 0] / 2.0
        if off > 0.003:
            raise DetectionError("gone")
        return {"plant": SimpleNamespace(time_s=0.25 + off), "contact": SimpleNamespace(time_s=None)}

    found = scattered(moments, find, errors, RATE, by_hand=["level"])
    # One in fifteen is not found, as it lies 1.5 standard deviations off: the others scatter a little less.
    assert found["plant"].sd_s == pytest.approx(np.hypot(0.001, 0.0018), rel=0.25)
    assert found["contact"].sd_s == 0.001
    assert found["level"].sd_s == 0.001


def test_the_pace_of_errors_tells_the_width_of_the_blur() -> None:
    """White noise that a normal curve of 20 ms blurs changes, by its own differences, at the pace of that width."""
    step_s, width_s = 0.001, 0.020
    noise = gaussian_filter1d(np.random.default_rng(4).normal(size=200_000), width_s / step_s)
    per_s = float(np.gradient(noise, step_s).std() / noise.std())
    assert blur_width_s(per_s) == pytest.approx(width_s, rel=0.03)
    assert blur_width_s(0.0) == 0.0


def test_a_blurred_blow_moves_the_peak_before_it_by_about_the_stated_widths() -> None:
    """A speed that grows by 2.5 to 10 of itself a second until a blow takes a quarter to 0.4 of it."""
    step_s = 1e-5
    time = np.arange(-0.15, 0.08, step_s)
    early = []
    for growth in (2.5, 5.0, 10.0):
        for taken in (0.25, 0.33, 0.40):
            for width_s in (0.005, 0.008):
                speed = np.where(time < 0.0, np.maximum(1.0 + growth * time, 0.0), 1.0 - taken)
                blurred = gaussian_filter1d(speed, width_s / step_s)
                early.append(-time[np.argmax(blurred)] / width_s)
    assert np.sqrt(np.mean(np.square(early))) == pytest.approx(PEAK_BLUR_WIDTHS["bat"], rel=0.15)
    assert max(early) < 2.0 * PEAK_BLUR_WIDTHS["bat"]


def test_a_filmed_bats_peak_time_is_as_unsure_as_the_blow_is_blurred(posed, make_capture) -> None:
    """Points without errors of their own, smoothed at two paces: the square of the width is what lies between."""
    parameters = replace(posed.parameters, barrel=replace(posed.parameters.barrel, impact_loss=0.33))
    capture = make_capture(pose_swing(parameters, 240.0).points, 240.0)
    variance = []
    for per_s in (60.0, 600.0):
        errors = stated(capture.n_frames, len(capture.labels), per_s, np.eye(3) * 1e-12)
        swing = mocap.build_swing(replace(capture, errors=errors), mocap.Hitter(height_m=1.8, bats="right"))
        assert swing.moments["contact"].method == SPEED_BREAK
        sd = mocap.measure(swing, count=32).measures["bat_turn_time"].sd
        assert sd is not None
        variance.append(sd**2)
    widths = [PEAK_BLUR_WIDTHS["bat"] * blur_width_s(per_s) for per_s in (60.0, 600.0)]
    assert variance[0] - variance[1] == pytest.approx(widths[0] ** 2 - widths[1] ** 2, rel=0.05)


def test_what_a_skeleton_holds_errs_no_more_than_it_is_held() -> None:
    errors = stated(4, 2, 30.0, np.diag([4.0, 9.0, 2.0]) * 1e-4)  # 22 mm per axis on the mean
    capture = capture_of(("L_HEEL", "L_BALL"), errors)
    fit = {"l_heel": np.array([0.01, 0.05, np.nan, 0.01])}
    held = held_errors(capture, fit)
    assert held is not None
    sd = np.sqrt(np.trace(held.covariance, axis1=2, axis2=3) / 3.0)
    own = np.sqrt(5e-4)
    np.testing.assert_allclose(sd[:, 0], [0.01, own, own, 0.01])
    np.testing.assert_allclose(sd[:, 1], own)
    np.testing.assert_allclose(held.covariance[0, 0] / held.covariance[0, 0, 0, 0], np.diag([1.0, 2.25, 0.5]))
    assert held_errors(replace(capture, errors=None), fit) is None


def test_the_filters_blur_is_that_of_the_normal_curve_of_its_cutoff() -> None:
    """A step is blurred to the same rise in the middle, within the ripple of a Butterworth filter."""
    rate, cutoff = 2000.0, 15.0
    step = np.where(np.arange(2000) < 1000, 0.0, 1.0)[:, None]
    rise = np.diff(lowpass(step, rate, cutoff)[:, 0]).max() * rate
    assert rise == pytest.approx(1.0 / (blur_of(cutoff) * np.sqrt(2.0 * np.pi)), rel=0.15)


def test_a_blow_that_noise_hides_makes_the_bats_peak_time_unsure(posed, make_capture) -> None:
    """With 4 mm of noise the blow is not seen, the bat is fastest 10 ms before it, and the plus-minus says so."""
    for loss, hidden in ((0.25, True), (0.0, False)):
        parameters = replace(posed.parameters, barrel=replace(posed.parameters.barrel, impact_loss=loss))
        points = pose_swing(parameters, 240.0).points
        noisy = points + np.random.default_rng(5).normal(0.0, 0.004, points.shape)
        swing = mocap.build_swing(make_capture(noisy, 240.0), mocap.Hitter(height_m=1.8, bats="right"))
        assert swing.moments["contact"].method == USUAL_DEPTH
        found = mocap.measure(swing, count=32).measures["bat_turn_time"]
        assert isinstance(found.value, float)
        assert found.sd is not None
        truth = posed.moments["contact"] - posed.moments["plant"]  # he is still gaining speed when he meets the ball
        assert (truth - found.value > 0.006) == hidden
        assert abs(found.value - truth) < 2.0 * found.sd
