"""The film's clock: as slow as it says, smooth between, and exactly on the moments."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from mocap.errors import OptionError
from mocap.renderer.retiming import retimed
from mocap.renderer.tempo import SLOW, Tempo, frame_count, plan, slower_words
from mocap.swing import MOMENTS

FPS = 30


def at_rate(comparison, rate_hz: float):
    """The same swing as if recorded at another rate."""
    swing = comparison.swing
    frames = np.arange(0.0, swing.n_frames - 1.0, swing.rate_hz / rate_hz)
    return retimed(comparison, frames, rate_hz).swing


def running(shots):
    return [shot for shot in shots if not shot.held]


@pytest.mark.parametrize("rate_hz", [50.0, 60.0, 240.0, 500.0])
def test_from_plant_to_contact_the_screen_takes_eight_times_as_long(shown, rate_hz) -> None:
    swing = at_rate(shown.comparison, rate_hz)
    shots = running(plan(swing, FPS, Tempo()))
    plant, contact = swing.index("plant"), swing.index("contact")
    on_screen = next(s.number for s in shots if s.frame == contact) - next(s.number for s in shots if s.frame == plant)
    assert on_screen / FPS == pytest.approx(SLOW * (contact - plant) / rate_hz, abs=1.0 / FPS)
    assert all(shot.slower == pytest.approx(SLOW) for shot in shots if plant <= shot.frame <= contact)


@pytest.mark.parametrize("rate_hz", [60.0, 240.0])
def test_a_whole_swing_lasts_eight_to_twelve_seconds_and_eases_smoothly(shown, rate_hz) -> None:
    swing = at_rate(shown.comparison, rate_hz)
    shots = plan(swing, FPS, Tempo())
    assert 8.0 <= frame_count(shots) / FPS <= 12.0
    said = np.array([shot.slower for shot in running(shots)])
    frames = np.array([shot.frame for shot in running(shots)])
    assert frames[0] == 0.0
    assert frames[-1] == swing.n_frames - 1
    assert (np.diff(frames) > 0.0).all()
    assert np.abs(np.diff(said)).max() < 0.15 * SLOW  # no jump of speed from one picture to the next
    # What is said is what is done: real time per picture over the screen's, over a third of a second.
    window = 10
    done = (window / FPS) / ((frames[window:] - frames[:-window]) / swing.rate_hz)
    middle = window / np.convolve(1.0 / said[1:], np.ones(window), mode="valid")
    assert np.abs(done / middle - 1.0).max() < 0.1


def test_a_slow_recording_is_filled_with_pictures_between_its_frames(shown) -> None:
    swing = at_rate(shown.comparison, 60.0)
    shots = running(plan(swing, FPS, Tempo()))
    turn = [s.frame for s in shots if swing.index("plant") <= s.frame <= swing.index("contact")]
    assert np.diff(turn).max() < 0.35  # 60 / 30 / 8 of a frame, and the rounding of the moments
    assert any(frame % 1.0 for frame in turn)


@pytest.mark.parametrize("tempo", [Tempo(), Tempo(speed=0.25), Tempo(speed=1.0), Tempo(speed=2.0)])
def test_every_held_moment_stands_on_its_own_frame(shown, tempo) -> None:
    swing = shown.comparison.swing
    names = tuple(name for name in MOMENTS if swing.index(name) is not None)
    for held in (("plant", "contact"), names):
        shots = plan(swing, FPS, Tempo(tempo.speed, hold_s=0.5, held=held))
        assert {shot.held: (shot.frame, shot.times) for shot in shots if shot.held} == {
            name: (swing.index(name), 15) for name in held
        }
        for before, shot in pairwise(shots):
            if shot.held:
                assert (before.number, before.frame) == (shot.number, shot.frame)


def test_the_other_moments_are_shown_on_their_own_frames_too_where_it_is_slow(shown) -> None:
    swing = shown.comparison.swing
    frames = {shot.frame for shot in plan(swing, FPS, Tempo())}
    assert {swing.index(name) for name in ("plant", "level", "contact", "extension")} <= frames


@pytest.mark.parametrize("speed", [0.1, 0.25, 1.0, 2.0])
def test_a_constant_speed_is_constant(shown, speed) -> None:
    swing = shown.comparison.swing
    shots = plan(swing, FPS, Tempo(speed=speed, held=()))
    assert frame_count(shots) / FPS == pytest.approx((swing.n_frames - 1) / swing.rate_hz / speed, abs=2.0 / FPS)
    assert {shot.slower for shot in shots} == {1.0 / speed}
    steps = np.diff([shot.frame for shot in shots])
    assert np.median(steps) == pytest.approx(speed * swing.rate_hz / FPS, rel=0.1)


def test_moments_that_were_not_found_are_passed_over_and_a_single_frame_is_one_picture(shown) -> None:
    one = retimed(shown.comparison, np.array([10.0]), 240.0).swing
    (shot,) = plan(one, FPS, Tempo(held=()))
    assert (shot.number, shot.frame, shot.times) == (0, 0.0, 1)


def test_what_cannot_be_watched_is_refused() -> None:
    for wrong in ({"speed": 0.0}, {"speed": 1000.0}, {"slow": 0.5}, {"hold_s": -1.0}, {"hold_s": float("nan")}):
        with pytest.raises(OptionError, match="give"):
            Tempo(**wrong)
    with pytest.raises(OptionError, match="'touchdown' cannot be held; known are stance"):
        Tempo(held=("touchdown",))


def test_slowness_in_words() -> None:
    assert slower_words(1.0) == "real time"
    assert slower_words(0.5) == "2 times faster than real time"
    assert slower_words(4.0) == "4 times slower than real time"
    assert slower_words(2.5) == "2.5 times slower than real time"
