"""The smoother's parts against what textbooks print."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.linalg import expm

from mocap.importer.smoothing import STEP, WHITE_JERK, rts


def test_white_jerk_is_that_of_the_continuous_model() -> None:
    """Bar-Shalom, Li, Kirubarajan (2001), section 6.2.3 (Wiener process acceleration), from its definition.

    State (place, velocity, acceleration) with dx/dt = A x + (0, 0, 1)' w: transition expm(A T), covariance of the
    integral of expm(A s) (0, 0, 1)' over one period T = 1.
    """
    model = np.diag([1.0, 1.0], 1)
    np.testing.assert_allclose(STEP, np.kron(expm(model), np.eye(3)), atol=1e-15)

    def entry(i: int, j: int) -> float:
        return quad(lambda s: expm(model * s)[i, 2] * expm(model * s)[j, 2], 0.0, 1.0)[0]

    expected = np.array([[entry(i, j) for j in range(3)] for i in range(3)])
    np.testing.assert_allclose(WHITE_JERK, np.kron(expected, np.eye(3)), atol=1e-12)


def test_a_long_even_record_reaches_the_frequency_response_of_a_spline() -> None:
    """The steady smoother of white jerk of density q in noise of density r is the quintic smoothing spline.

    Its response is 1 / (1 + (r / q) w^6) (G. Wahba, *Spline Models for Observational Data*, 1990, section 1.3, with
    P. Craven and G. Wahba, 1979: penalty on the third derivative, smoothing parameter r / q; from memory), with
    r = variance / rate.
    """
    rate_hz, frames = 100.0, 1200
    intensity, variance = 1e4, 1e-4
    time = np.arange(frames) / rate_hz
    cut = (intensity / (variance / rate_hz)) ** (1 / 6)  # half passes here [rad/s]
    for share in (0.5, 1.0, 1.5):
        wave = np.sin(share * cut * time)
        points = np.stack([wave, np.zeros(frames), np.zeros(frames)], axis=-1)[:, None]
        found, spread, _ = rts(
            points,
            np.broadcast_to(variance * np.eye(3), (frames, 1, 3, 3)),
            np.ones((frames, 1), dtype=bool),
            rate_hz,
            np.full((frames, 1), intensity),
            np.zeros((frames, 1), dtype=bool),
        )
        middle = slice(400, 800)
        gain = (found[middle, 0, 0] @ wave[middle]) / (wave[middle] @ wave[middle])
        assert gain == pytest.approx(1.0 / (1.0 + share**6), abs=0.01)
        # Variance left: r / pi times the integral of that response over w from 0, which is pi / 3 cut.
        assert spread[600, 0, 0, 0] == pytest.approx(variance / rate_hz * cut / 3.0, rel=0.01)
