"""The blow of a ball, placed between two frames."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.blow import BLOW_MIDDLE_S, ball_blow, bat_blow, noise_of

RADIUS, SPEED = 1.1, 30.0


def barrel(rate: float, contact: float, loss: float, noise_m: float = 0.0, seed: int = 0) -> np.ndarray:
    """A sweet spot on a circle that speeds up to 30 m/s at contact, 0.3 s after the first frame or so, and goes on."""
    time = np.arange(round(0.6 * rate)) / rate
    fine = np.linspace(time[0], time[-1], 60001)
    speed = SPEED * np.exp(-0.5 * ((fine - contact) / 0.05) ** 2)
    speed[fine > contact + BLOW_MIDDLE_S] *= 1.0 - loss
    along = np.interp(time, fine, np.concatenate([[0.0], np.cumsum(speed[1:] + speed[:-1]) / 2 * (fine[1] - fine[0])]))
    angle = along / RADIUS
    path = RADIUS * np.stack([np.sin(angle), 1 - np.cos(angle), 0.1 * angle], axis=1)
    return path + noise_m * np.random.default_rng(seed).normal(size=path.shape)


@pytest.mark.parametrize("rate", [120.0, 240.0, 500.0])
@pytest.mark.parametrize("between", [0.05, 0.4, 0.95])
def test_a_blow_is_placed_between_frames(rate: float, between: float) -> None:
    contact = (round(0.3 * rate) + between) / rate
    blow = bat_blow(barrel(rate, contact, 0.25), rate, round(0.1 * rate), round(0.55 * rate))
    assert blow is not None
    assert blow.frame / rate == pytest.approx(contact, abs=0.15 / rate)


@pytest.mark.parametrize("noise", [0.001, 0.002, 0.003])
def test_its_standard_deviation_holds_under_noise(noise: float) -> None:
    off, sds = [], []
    for seed in range(60):
        contact = 0.3 + 0.004 * np.random.default_rng(seed).random()
        blow = bat_blow(barrel(240.0, contact, 0.4, noise, seed), 240.0, 24, 132)
        assert blow is not None
        off.append(blow.frame / 240.0 - contact)
        sds.append(blow.sd / 240.0)
    held = np.mean(np.abs(off) < 2.0 * np.array(sds))
    assert held >= 0.93
    assert np.median(sds) < 2.5 * np.std(off)


@pytest.mark.parametrize("rate", [60.0, 120.0, 240.0, 500.0])
@pytest.mark.parametrize("noise", [0.0, 0.001, 0.003])
def test_a_swing_into_the_air_is_no_blow(rate: float, noise: float) -> None:
    for seed in range(20):
        contact = 0.3 + np.random.default_rng(seed).random() / rate
        assert bat_blow(barrel(rate, contact, 0.0, noise, seed), rate, round(0.1 * rate), round(0.55 * rate)) is None


@pytest.mark.parametrize("coming", [0.0, -35.0])
def test_a_ball_tells_contact_by_its_velocity(coming: float) -> None:
    """Off a tee, and out of the air."""
    rate, contact = 240.0, 0.3021
    time = np.arange(144) / rate
    after = time > contact + BLOW_MIDDLE_S
    x = np.where(after, 40.0, coming) * (time - contact - BLOW_MIDDLE_S)
    ball = np.stack([x, 0 * x, 1.0 + 0.2 * x], axis=1)
    blow = ball_blow(ball, np.zeros_like(ball) + np.array([0.0, 0.0, 1.0]), rate, 20, 130)
    assert blow is not None
    assert blow.frame / rate == pytest.approx(contact, abs=0.0002)
    assert ball_blow(ball, np.full_like(ball, 3.0), rate, 20, 130) is None  # nowhere near the bat
    assert ball_blow(np.zeros_like(ball), None, rate, 20, 130) is None
    gone = np.where(after[:, None], np.nan, ball)
    assert ball_blow(gone, None, rate, 20, 130) is None


def test_noise_is_found_in_a_path_that_moves() -> None:
    path = barrel(240.0, 0.3, 0.0, 0.002)
    assert noise_of(path[:40]) == pytest.approx(0.002, rel=0.25)
    assert noise_of(np.full((10, 3), np.nan)) == 0.0
