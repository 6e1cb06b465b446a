"""Ground forces of a posed swing against Newton's laws, worked out here from the posed points alone."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson

from mocap.errors import OptionError
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import Postures
from mocap.virtual.forces import forces_under, ground_forces
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.motion import Motion

MASS_KG, G = 82.0, 9.80665
WEIGHT_N = MASS_KG * G


@pytest.fixture(scope="module")
def parameters() -> SwingParameters:
    """A hitter who meets a ball, so that there is a blow."""
    swing = SwingParameters(height_m=1.80)
    return replace(swing, barrel=replace(swing.barrel, impact_loss=0.35))


@pytest.fixture(scope="module")
def motion(parameters: SwingParameters) -> Motion:
    return Motion.of(VirtualHitter("h", "", parameters, MASS_KG))


@pytest.fixture(scope="module")
def time(parameters: SwingParameters) -> np.ndarray:
    timing = parameters.timing
    return np.arange(timing.start, timing.contact + timing.after_contact, 5e-4)


def test_forces_integrate_to_momentum(motion: Motion, time: np.ndarray) -> None:
    push = motion.forces(time).total - [0.0, 0.0, WEIGHT_N]
    gained = cumulative_simpson(push, x=time, axis=0, initial=0.0)
    step = 1e-5
    velocity = (motion.centre_of_mass(time + step) - motion.centre_of_mass(time - step)) / (2 * step)
    momentum = MASS_KG * (velocity - velocity[0])
    assert np.linalg.norm(momentum, axis=1).max() > 30.0
    # Only the blow, which the floor feels over 8 ms instead of 2, leaves a difference, and that for a moment.
    calm = np.abs(time - motion.moments["contact"] - 0.0016) > 0.006
    assert gained[calm] == pytest.approx(momentum[calm], abs=0.02)
    assert gained == pytest.approx(momentum, abs=0.6)


def test_front_foot_carries_a_tenth_of_body_weight_at_plant(motion: Motion) -> None:
    around = np.array([-0.004, -0.001, 0.0, 0.001, 0.004])
    load = motion.forces(around).front[:, 2] / WEIGHT_N
    assert load[2] == pytest.approx(0.10, abs=1e-9)
    assert (np.diff(load) > 0).all()


def test_front_foot_is_free_in_the_air_and_stays_loaded_once_planted(motion: Motion, time: np.ndarray) -> None:
    front = motion.forces(time).front[:, 2] / WEIGHT_N
    timing = motion.hitter.parameters.timing
    in_air = (time > timing.lift) & (time < timing.toe_down - 0.026)
    assert front[in_air] == pytest.approx(0.0, abs=1e-12)
    # The blow of the ball unloads the body for some milliseconds.
    calm = np.abs(time - motion.moments["contact"]) > 0.006
    assert (front[(time > 1e-4) & calm] > 0.10).all()


def test_the_front_foot_bears_the_turn_and_the_body_only_slows_down(motion: Motion) -> None:
    """What the arms gain on their way forward the body gives: the floor need not push it, nor the front foot let go."""
    turn = np.arange(0.02, motion.moments["contact"] - 0.008, 2e-3)
    assert (motion.forces(turn).front[:, 2] / WEIGHT_N).min() > 0.25
    speed = np.gradient(motion.centre_of_mass(turn)[:, 0], 2e-3)
    assert speed[0] > 0.35
    assert (np.maximum.accumulate(speed[::-1])[::-1] - speed).max() < 0.10  # what it gains again. [m/s]


class Carried(Postures):
    """The whole body, feet and all, carried along faster and faster, always or from a time after plant on. [m/s^2]"""

    push: ClassVar[tuple[float, float, float]]
    from_s: ClassVar[float] = -np.inf

    def points(self, time: np.ndarray) -> dict[str, np.ndarray]:
        lasted = time if self.from_s == -np.inf else np.maximum(time - self.from_s, 0.0)
        gone = 0.5 * lasted[:, None] ** 2 * np.array(self.push) / self.parameters.height_m
        return {name: path + gone for name, path in super().points(time).items()}


class Falling(Carried):
    push = (0.0, 0.0, -20.0)


class SpeedingUp(Carried):
    push = (8.0, 0.0, 0.0)
    from_s = 0.08


class Leaping(Carried):
    push = (9.0, 0.0, 0.0)


def test_a_foot_that_would_lose_its_load_keeps_it(motion: Motion) -> None:
    # Speeding up toward the pitcher takes the load off the front foot: by the lever rule it would carry nothing.
    hasty = SpeedingUp(motion.postures.script, motion.postures.unknowns)
    load = forces_under(hasty, MASS_KG, np.arange(0.0, 0.22, 1e-3)).front[:, 2] / WEIGHT_N
    assert load[0] == pytest.approx(0.10, abs=1e-9)
    # A load smoothed over the blow of the ball decides, so that it is kept to about 0.15.
    assert load[20:].min() == pytest.approx(0.15, abs=0.04)


def test_forces_never_pull(motion: Motion, time: np.ndarray) -> None:
    forces = motion.forces(time)
    assert forces.front[:, 2].min() >= 0.0
    assert forces.back[:, 2].min() >= 0.0


def test_each_force_points_at_the_centre_of_mass_but_for_its_part_of_the_rest(motion: Motion) -> None:
    """While both feet stand: by the struts' own directions, added up and held against the total."""
    time = np.linspace(motion.moments["foot_flat"], motion.moments["contact"] - 0.01, 40)
    forces, com = motion.forces(time), motion.centre_of_mass(time)
    struts = {
        side: force[:, 2:] * (com - at)[:, :2] / com[:, 2:]
        for side, force, at in (("front", forces.front, forces.front_at), ("back", forces.back, forces.back_at))
    }
    rest = forces.total[:, :2] - struts["front"] - struts["back"]
    share = (forces.front[:, 2] / forces.total[:, 2])[:, None]
    np.testing.assert_allclose(forces.front[:, :2], struts["front"] + share * rest, atol=1e-9)
    np.testing.assert_allclose(forces.back[:, :2], struts["back"] + (1.0 - share) * rest, atol=1e-9)
    # The front foot brakes while the back foot pushes.
    both = (forces.front[:, 2] > 200.0) & (forces.back[:, 2] > 200.0)
    assert (forces.front[both, 0] < 0.0).mean() > 0.9
    assert (forces.back[both, 0] > 0.0).mean() > 0.9


def test_pressure_follows_the_lever_rule_while_both_feet_stand(motion: Motion) -> None:
    rate = 1000.0
    time = np.arange(-0.80, -0.58, 1.0 / rate)
    padded = np.arange(time[0] - 0.1, time[-1] + 0.15, 1.0 / rate)
    step = 1e-3
    com = [motion.centre_of_mass(padded + k * step) for k in (-1, 0, 1)]
    acceleration = (com[0] - 2 * com[1] + com[2]) / step**2
    lean = acceleration[:, 0] / (acceleration[:, 2] + G)
    bell = np.exp(-0.5 * (np.arange(-100, 101) / rate / 0.030) ** 2)
    smooth = np.convolve(lean, bell / bell.sum(), mode="same")
    middle = np.searchsorted(padded, time[100] - 1e-9)
    expected = com[1][middle, 0] - com[1][middle, 2] * smooth[middle]
    forces = motion.forces(time[100:101])
    pressure = (forces.front[0, 2] * forces.front_at[0] + forces.back[0, 2] * forces.back_at[0]) / forces.total[0, 2]
    # Softened limits move it by a few millimetres.
    assert pressure[0] == pytest.approx(expected, abs=0.008)
    assert forces.back_at[0, 0] < expected < forces.front_at[0, 0]


def test_each_foot_pushes_within_its_sole(motion: Motion, time: np.ndarray) -> None:
    forces, points = motion.forces(time), motion.points(time)
    for side, place in (("front", forces.front_at), ("back", forces.back_at)):
        heel, toe = points[f"{side}_heel"][:, :2], points[f"{side}_toe"][:, :2]
        sole = toe - heel
        along = np.sum((place[:, :2] - heel) * sole, axis=1) / np.sum(sole**2, axis=1)
        beside = np.linalg.norm(place[:, :2] - heel - along[:, None] * sole, axis=1)
        assert along.min() > 0.3
        assert along.max() < 1.0
        assert beside.max() < 0.005
        assert (place[:, 2] == 0.0).all()


def test_a_value_does_not_depend_on_the_other_times(parameters: SwingParameters) -> None:
    whole = ground_forces(parameters, MASS_KG, np.linspace(-0.5, 0.5, 11))
    alone = ground_forces(parameters, MASS_KG, np.array([0.1]))
    assert alone.front[0] == pytest.approx(whole.front[6], rel=1e-9)
    assert alone.back_at[0] == pytest.approx(whole.back_at[6], rel=1e-9)


def test_a_body_that_falls_faster_than_free_is_refused(motion: Motion) -> None:
    falling = Falling(motion.postures.script, motion.postures.unknowns)
    with pytest.raises(OptionError, match=r"falls faster than free at \+0\.000 s from plant"):
        forces_under(falling, MASS_KG, np.zeros(1))


def test_a_foot_that_cannot_be_loaded_at_plant_is_refused(motion: Motion) -> None:
    leaping = Leaping(motion.postures.script, motion.postures.unknowns)
    with pytest.raises(OptionError, match="bring the weight forward"):
        forces_under(leaping, MASS_KG, np.zeros(1))
