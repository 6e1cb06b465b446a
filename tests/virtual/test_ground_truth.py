"""What is said to be true of an invented hitter's ground forces, against other ways to the same number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.kinematics import ground
from mocap.kinematics.registry import REGISTRY
from mocap.reference.parameters import SwingParameters
from mocap.virtual.ground_truth import TRUE_GROUND, crossing, force_splines
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.measures_truth import TRUE_MEASURES, Reading
from mocap.virtual.motion import Motion

G = 9.80665
#: Times of the brute-force search. [s]
STEP_S = 2e-5


@pytest.fixture(scope="module")
def motion() -> Motion:
    swing = SwingParameters(height_m=1.80)
    return Motion.of(VirtualHitter("h", "", replace(swing, barrel=replace(swing.barrel, impact_loss=0.35)), 82.0))


@pytest.fixture(scope="module")
def reading(motion: Motion) -> Reading:
    return Reading(motion, motion.moments)


@pytest.fixture(scope="module")
def turn(motion: Motion) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times from 0.1 s before plant to 10 ms before contact; front and back force in body weights at each."""
    end = motion.moments["contact"] - 0.010
    time = np.append(np.arange(-0.1, end, STEP_S), end)
    forces = motion.forces(time)
    weight = motion.hitter.mass_kg * G
    return time, forces.front / weight, forces.back / weight


def test_every_measure_of_the_chapter_has_its_truth() -> None:
    chapter = {name for name, entry in REGISTRY.items() if entry.function.__module__ == ground.__name__}
    assert set(TRUE_GROUND) == chapter
    assert set(TRUE_GROUND) <= set(TRUE_MEASURES)


def test_splines_pass_between_the_forces_they_go_through(motion: Motion) -> None:
    # A quarter of the way between two samples, up to the window in which the blow shakes the forces.
    time = motion.times(2000.0)[:-1] + 1.25e-4
    time = time[time < motion.moments["contact"] - 0.010]
    forces, weight = motion.forces(time), motion.hitter.mass_kg * G
    assert force_splines(motion)(time) * weight == pytest.approx(
        np.hstack([forces.front, forces.back]), abs=1e-3 * weight
    )


def test_peaks(reading: Reading, turn: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, front, _ = turn
    after = time >= 0.0
    assert TRUE_GROUND["front_peak_force"](reading) == pytest.approx(front[after, 2].max(), abs=1e-4)
    assert TRUE_GROUND["braking_force"](reading) == pytest.approx(-front[after, 0].min(), abs=1e-4)
    assert TRUE_GROUND["braking_force"](reading) > 0.2


def test_back_peak(reading: Reading, motion: Motion) -> None:
    time = np.arange(motion.moments["stance"], 0.0, 1e-4)
    load = motion.forces(time).back[:, 2] / (motion.hitter.mass_kg * G)
    assert TRUE_GROUND["back_peak_force"](reading) == pytest.approx(load.max(), abs=1e-3)


def test_rise(reading: Reading, turn: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, front, _ = turn
    braking = -front[:, 0]
    top = np.argmax(np.where(time >= 0.0, braking, -1.0))
    start = time[: top + 1][braking[: top + 1] <= 0.1 * braking[top]][-1]
    end = time[(time > start) & (braking >= 0.9 * braking[top])][0]
    assert TRUE_GROUND["braking_rise_time"](reading) == pytest.approx(end - start, abs=2 * STEP_S)


def test_shift(reading: Reading, turn: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    time, front, back = turn
    first = time[(time >= 0.0) & (front[:, 2] > back[:, 2])][0]
    assert TRUE_GROUND["force_shift_time"](reading) == pytest.approx(first, abs=2 * STEP_S)


def test_pressure_of_both_feet_balances_their_moments(reading: Reading, motion: Motion) -> None:
    # About the common centre of pressure the vertical forces have no moment.
    def balance(moment: str, place: float) -> float:
        forces = motion.forces(np.array([motion.moments[moment]]))
        return float(
            sum(
                f[0, 2] * (at[0, 0] - place)
                for f, at in ((forces.front, forces.front_at), (forces.back, forces.back_at))
            )
        )

    feet = {
        moment: [0.5 * (reading.point(f"{s}_heel", moment)[0] + reading.point(f"{s}_ball", moment)[0]) for s in sides]
        for moment, sides in (("plant", ("front", "back")), ("foot_flat", ("front", "back")))
    }
    weight = motion.hitter.mass_kg * G
    com = motion.centre_of_mass(np.array([motion.moments["foot_flat"]]))[0, 0]
    place = com + TRUE_GROUND["share_difference"](reading) * (feet["foot_flat"][0] - feet["foot_flat"][1])
    assert balance("foot_flat", place) == pytest.approx(0.0, abs=1e-9 * weight)
    forces = motion.forces(np.array([0.0]))
    start = (forces.front[0, 2] * forces.front_at[0, 0] + forces.back[0, 2] * forces.back_at[0, 0]) / forces.total[0, 2]
    place = start + TRUE_GROUND["pressure_travel"](reading) * (feet["plant"][0] - feet["plant"][1])
    assert balance("contact", place) == pytest.approx(0.0, abs=1e-9 * weight)


def test_share_at_contact_is_that_of_the_forces(reading: Reading, motion: Motion) -> None:
    forces = motion.forces(np.array([motion.moments["contact"]]))
    share = TRUE_GROUND["contact_force_share"](reading)
    assert share * forces.front[0, 2] == pytest.approx((1.0 - share) * forces.back[0, 2])


def test_a_hitter_who_gets_faster_toward_the_pitcher_has_his_pressure_farther_back(
    motion: Motion,
) -> None:
    # The lean of the total force, smoothed over 30 ms as the forces are, tells the difference, but for the soft limits
    # at the feet: so its sign alone, and later than foot-flat, while the front foot is still being loaded.
    when = motion.moments["foot_flat"] + 0.05
    step = 2e-3
    about = step * np.arange(-50, 51)
    com = motion.centre_of_mass(when + about)
    acceleration = (com[:-2] - 2.0 * com[1:-1] + com[2:]) / step**2
    bell = np.exp(-0.5 * (about[1:-1] / 0.030) ** 2)
    lean = float(bell @ (acceleration[:, 0] / (acceleration[:, 2] + G)))
    difference = TRUE_GROUND["share_difference"](Reading(motion, {**motion.moments, "foot_flat": when}))
    assert np.sign(difference) == -np.sign(lean)


def test_moved_moments_are_followed(motion: Motion) -> None:
    later = Reading(motion, {**motion.moments, "plant": motion.moments["plant"] + 0.004})
    shift = TRUE_GROUND["force_shift_time"](Reading(motion, motion.moments))
    assert TRUE_GROUND["force_shift_time"](later) == pytest.approx(shift - 0.004, abs=1e-9)


def test_crossing_of_a_known_curve() -> None:
    assert crossing(np.sin, 0.5, 0.0, 1.0) == pytest.approx(np.pi / 6.0, abs=1e-9)
