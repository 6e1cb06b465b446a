"""Forces under the feet against Newton's laws on published recordings, and against what was printed of hitters.

No open recording of a hitter on plates is at hand. A person who stands and one who walks show whether forces are put
under the right foot, added, placed and timed as physics demands; printed values of hitters, whether the invented ones
push the floor as people do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest

import mocap
from mocap.kinematics.filtering import derivative, lowpass
from mocap.kinematics.foot_forces import foot_forces
from mocap.kinematics.ground import force_curves
from mocap.kinematics.readings import readings
from mocap.kinematics.registry import REGISTRY
from mocap.reference.parameters import SwingParameters
from mocap.swing import POINTS, FootForces, Hitter, Moment, Swing
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.measures_truth import TRUE_MEASURES, Reading
from mocap.virtual.motion import Motion

G = 9.80665
#: The walker's way, +y in the lab, is turned to +x; the foot that strikes the second plate is the front one.
TO_X = np.array([[0.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class Walk:
    """Three plates walked over: left, right, left."""

    capture: mocap.Capture
    centres: Mapping[str, np.ndarray]
    forces: FootForces
    notes: list[str]
    strikes: list[float]  # when each plate is first loaded [s]
    leaves: list[float]

    @property
    def mass_kg(self) -> float:
        return float(self.capture.subject["mass_kg"])  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def walk(shared_data) -> Walk:
    capture = mocap.read(shared_data / "c3d" / "lower_body_three_plates.c3d")
    loaded = [np.flatnonzero(plate.force @ plate.normal > 20.0) / plate.rate_hz for plate in capture.plates]
    strikes, leaves = [float(t[0]) for t in loaded], [float(t[-1]) for t in loaded]
    joints = mocap.joint_centres(capture)
    sided = {n.replace("r_", "front_", 1).replace("l_", "back_", 1): path for n, path in joints.items() if n[1] == "_"}
    centres = {name: path @ TO_X[:3, :3].T for name, path in (sided | {"pelvis": joints["pelvis"]}).items()}
    plant = round(strikes[1] * capture.rate_hz)
    forces, notes = foot_forces(capture, centres, TO_X, Moment("plant", plant, strikes[1], 0.0, "second plate"))
    assert forces is not None
    return Walk(capture, centres, forces, notes, strikes, leaves)


@pytest.fixture(scope="module")
def walking(walk: Walk, swing_by_hand) -> Swing:
    """The step as if it were a swing's: plant is the strike of the front foot, contact its leaving."""
    frames, rate = walk.capture.n_frames, walk.capture.rate_hz
    points = np.full((frames, len(POINTS), 3), np.nan)
    for column, name in enumerate(POINTS):
        if name in walk.centres:
            points[:, column] = walk.centres[name]
    moments = {"plant": round(walk.strikes[1] * rate), "contact": round(walk.leaves[1] * rate)}
    swing = swing_by_hand(points, rate, moments)
    hitter = Hitter(height_m=1.76, mass_kg=walk.mass_kg, bats="right")
    return replace(swing, hitter=hitter, forces=walk.forces)


def taken(swing: Swing, name: str) -> float:
    return float(REGISTRY[name].function(readings(swing, 0.0))[0])


def during(forces: FootForces, start_s: float, end_s: float) -> slice:
    return slice(round(start_s * forces.rate_hz), round(end_s * forces.rate_hz))


def test_each_plate_goes_under_the_foot_that_strikes_it(walk: Walk) -> None:
    # The front foot swings over the first plate while the back one stands on it, which is no standing of both.
    assert walk.notes == ["force plate 2 under the front foot, force plate 1 and 3 under the back foot"]
    # In single support the pressure lies within the sole of that foot.
    rate = walk.capture.rate_hz
    for start, end, side in ((walk.leaves[0], walk.strikes[2], "front"), (walk.leaves[1], walk.leaves[2], "back")):
        frames = np.arange(int(start * rate) + 4, int(end * rate) - 4)
        place = getattr(walk.forces, f"{side}_at")[np.round(frames * walk.forces.rate_hz / rate).astype(int)]
        heel, toe = (walk.centres[f"{side}_{name}"][frames, 0] for name in ("heel", "toe"))
        assert (place[:, 0] > heel - 0.05).all()
        assert (place[:, 0] < toe + 0.05).all()


def test_over_a_step_the_feet_carry_the_weight(walk: Walk) -> None:
    # A step ends with the vertical speed it began with, so that the mean of the force is the weight.
    step = during(walk.forces, walk.strikes[1], walk.strikes[2])
    felt = (walk.forces.front + walk.forces.back)[step, 2].mean()
    assert felt == pytest.approx(walk.mass_kg * G, rel=0.04)


def test_impulse_along_the_way_is_the_change_of_momentum(walk: Walk) -> None:
    # From strike to strike the body is in the same posture, its sides exchanged: the pelvis stands for all of it.
    # Between them it is slowed by 0.15 m/s and sped up again.
    rate = walk.capture.rate_hz
    speed = derivative(lowpass(walk.centres["pelvis"], rate, 6.0), rate)[:, 0]
    start, end = walk.strikes[1], walk.strikes[2]
    total = (walk.forces.front + walk.forces.back)[during(walk.forces, start, end), 0]
    gained = np.cumsum(total) / walk.forces.rate_hz / walk.mass_kg
    assert gained[-1] == pytest.approx(speed[round(end * rate)] - speed[round(start * rate)], abs=0.05)
    assert gained.min() < gained[-1] - 0.1


def test_a_front_foot_brakes_first_and_drives_later(walk: Walk, walking: Swing) -> None:
    # About a fifth of body weight each way at a walk, and 1.1 to 1.2 of it upward: textbook knowledge, from memory.
    assert 0.12 < taken(walking, "braking_force") < 0.28
    assert 1.0 < taken(walking, "front_peak_force") < 1.3
    x = force_curves(walking).in_body_weights("front")[during(walk.forces, walk.strikes[1], walk.leaves[1]), 0]
    assert np.argmin(x) < len(x) / 2 < np.argmax(x)


def test_the_load_changes_feet_while_both_stand(walk: Walk, walking: Swing) -> None:
    both = walk.leaves[0] - walk.strikes[1]
    assert 0.2 * both < taken(walking, "force_shift_time") < 0.8 * both
    curves = force_curves(walking)
    # Once the heel's first blow is over.
    handing_over = during(walk.forces, walk.strikes[1] + 0.3 * both, walk.leaves[0] - 0.1 * both)
    assert (np.diff(curves.pressure[handing_over, 0]) > 0.0).all()
    assert (np.diff(curves.back_share[handing_over]) < 0.0).all()


def test_who_stands_still_has_his_pressure_under_his_centre_of_mass(shared_data, swing_by_hand) -> None:
    """Measured: 8 mm and 1 mm apart across and along the line between the feet."""
    capture = mocap.read(shared_data / "c3d" / "full_body_standing.c3d")
    joints = mocap.joint_centres(capture)
    com = mocap.centre_of_mass(joints)[0]
    plates = sorted(capture.plates, key=lambda plate: plate.corners[:, 0].mean())
    rear, front = (plate.force * np.sign(plate.force[:, 2:].mean()) for plate in plates)
    forces = FootForces(
        front, rear, plates[1].centre_of_pressure, plates[0].centre_of_pressure, capture.plates[0].rate_hz
    )
    swing = swing_by_hand(np.zeros((1, len(POINTS), 3)), capture.rate_hz, {"plant": 0})
    pressure = force_curves(replace(swing, forces=forces)).pressure.mean(axis=0)
    assert np.linalg.norm(pressure[:2] - com[:2]) < 0.015
    # The two plates feel one foot each, and together the weight.
    total = (front + rear)[:, 2].mean()
    assert total == pytest.approx(capture.subject["mass_kg"] * G, rel=0.05)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("measure", "quantity"), [("front_peak_force", "front_vertical_force"), ("braking_force", "front_braking_force")]
)
def test_the_standard_hitter_pushes_as_printed(published, measure: str, quantity: str) -> None:
    motion = Motion.of(VirtualHitter("h", "", SwingParameters(height_m=1.80), 82.0))
    row = published[quantity, "college"]
    assert row.low < TRUE_MEASURES[measure](Reading(motion, motion.moments)) < row.high
