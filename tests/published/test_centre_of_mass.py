"""The whole-body centre of mass against a lab software's own point and against what force plates felt.

`CentreOfMass` of full_body_gait.c3d turns out to be no centre of mass: to 0.02 mm it is the mean of the *origins* of
the lab's segment frames, weighted with the masses of Winter DA (2009), Table 4.1. The thigh's mass lies at the knee,
the shank's and foot's at the ankle, the arm's at elbow and wrist, the thorax's at the suprasternal notch, the
pelvis's between the anterior spines and the head's on the forehead. As the last three lie in front of the body, the
point is 4 cm ahead of the centre of mass. The ground force agrees: in single support on the plate that carries the
whole foot its line passes 6 cm behind that point, 2 cm behind ours.

So three things are compared: the rule on our joint centres (are the joints right?), Winter's table with its centres in
place on our joints and on the lab's (is the sum right?), and the plates (is it physics?).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.kinematics.filtering import derivative, lowpass
from mocap.kinematics.inertia import centre_of_mass, segment_table

#: Gravity. [m/s^2]
G = 9.81
#: Cut-off for the acceleration: walking has little above it. [Hz]
CUTOFF_HZ = 6.0
#: Lab's names for the joint centres, with the side's letter before.
LAB_JOINTS = {
    "hip": "FEP",
    "knee": "FEO",
    "ankle": "TIO",
    "shoulder": "HUP",
    "elbow": "HUO",
    "wrist": "RAO",
    "hand": "HNO",
}


@pytest.fixture(scope="module")
def gait(shared_data: Path) -> mocap.Capture:
    return mocap.read(shared_data / "c3d" / "full_body_gait.c3d")


@pytest.fixture(scope="module")
def points(gait: mocap.Capture) -> dict[str, np.ndarray]:
    return {label: gait.points[:, i] for i, label in enumerate(gait.labels)}


@pytest.fixture(scope="module")
def joints(gait: mocap.Capture) -> dict[str, np.ndarray]:
    return mocap.joint_centres(gait)


@pytest.fixture(scope="module")
def lab_joints(points: Mapping[str, np.ndarray], joints: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The lab's own joint centres, with our heads and feet, for which it has no points of ours."""
    lab = {f"{side}_{joint}": points[side.upper() + name] for side in "lr" for joint, name in LAB_JOINTS.items()}
    lab |= {name: joints[name] for name in joints if name.startswith("head") or name[2:] in ("heel", "ball", "toe")}
    lab["pelvis"] = (lab["l_hip"] + lab["r_hip"]) / 2
    lab["neck"] = (lab["l_shoulder"] + lab["r_shoulder"]) / 2
    return lab


@pytest.fixture(scope="module")
def masses_of_centres(points: Mapping[str, np.ndarray], joints: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {
        "de Leva": centre_of_mass(joints),
        "Winter": centre_of_mass(joints, table=segment_table("winter")),
        "lab": points["CentreOfMass"],
    }


def between(points: Mapping[str, np.ndarray], name: str) -> np.ndarray:
    return (points[f"L{name}"] + points[f"R{name}"]) / 2


def at_origins(points: Mapping[str, np.ndarray], thorax: np.ndarray, joints: Mapping[str, np.ndarray]) -> np.ndarray:
    """Winter's masses at the origins of the lab's segment frames."""
    point = 0.081 * between(points, "FHD") + 0.355 * thorax + 0.142 * between(points, "ASI")
    for side in "lr":
        for joint, mass in (("knee", 0.100), ("ankle", 0.0465 + 0.0145), ("elbow", 0.028), ("wrist", 0.016)):
            point = point + mass * joints[f"{side}_{joint}"]
        point = point + 0.006 * joints[f"{side}_hand"]
    return point


def off_mm(one: np.ndarray, other: np.ndarray) -> float:
    """Median distance of two paths."""
    return float(np.nanmedian(np.linalg.norm(one - other, axis=1))) * 1000


def test_lab_s_point_is_the_mean_of_the_segments_origins(
    points: dict[str, np.ndarray], lab_joints: dict[str, np.ndarray]
) -> None:
    rule = at_origins(points, points["TRXO"], lab_joints)
    assert np.abs(rule - points["CentreOfMass"]).max() * 1000 < 0.05


def test_that_rule_on_our_joints_gives_the_lab_s_point(
    points: dict[str, np.ndarray], joints: dict[str, np.ndarray]
) -> None:
    assert off_mm(at_origins(points, points["CLAV"], joints), points["CentreOfMass"]) < 10.0


@pytest.mark.parametrize("choice", ["winter", "de_leva"])
def test_same_table_on_our_joints_and_on_the_lab_s(
    joints: dict[str, np.ndarray], lab_joints: dict[str, np.ndarray], choice: str
) -> None:
    table = segment_table(choice)  # type: ignore[arg-type]
    assert off_mm(centre_of_mass(joints, table=table), centre_of_mass(lab_joints, table=table)) < 20.0


def test_what_remains_to_the_lab_s_point_lies_ahead(
    masses_of_centres: dict[str, np.ndarray], points: dict[str, np.ndarray]
) -> None:
    # He walks toward -x. Beside that way the two agree; ahead, the origins that lie in front of the body remain.
    assert points["PELO"][-20, 0] < points["PELO"][20, 0]
    for name in ("de Leva", "Winter"):
        ahead, across, up = np.nanmedian(masses_of_centres[name] - points["CentreOfMass"], axis=0) * 1000
        assert 25 < ahead < 50, f"{name}: {ahead:.0f} mm"
        assert abs(across) < 10, f"{name}: {across:.0f} mm"
        assert abs(up) < 25, f"{name}: {up:.0f} mm"


def test_ground_force_of_single_support_points_at_ours(
    gait: mocap.Capture, masses_of_centres: dict[str, np.ndarray]
) -> None:
    # With little change of angular momentum the force's line passes through the centre of mass.
    per_frame = [plate.force.reshape(gait.n_frames, -1, 3).mean(axis=1) for plate in gait.plates]
    for plate, force, other in zip(gait.plates, per_frame, per_frame[::-1], strict=True):
        pressure = plate.centre_of_pressure.reshape(gait.n_frames, -1, 3).mean(axis=1)
        single = (force[:, 2] > 300) & (np.abs(other[:, 2]) < 15) & np.isfinite(pressure[:, 0])
        assert single.sum() > 10
        lean = force[single, :2] / force[single, 2:]
        miss = {
            name: 1000
            * np.linalg.norm(np.mean(com[single, :2] - pressure[single, :2] - com[single, 2:] * lean, axis=0))
            for name, com in masses_of_centres.items()
        }
        assert max(miss["de Leva"], miss["Winter"]) < miss["lab"] - 25, f"misses in mm: {miss}"


@pytest.fixture(scope="module")
def step(gait: mocap.Capture) -> tuple[slice, np.ndarray]:
    """One step, from the left foot's strike on a plate to the right foot's beyond it, and the plates' force in it.

    Only there do the plates carry every foot that stands. [N]
    """
    forces = [plate.force.reshape(gait.n_frames, -1, 3).mean(axis=1) for plate in gait.plates]
    struck = int(np.flatnonzero(forces[0][:, 2] > 20)[0])
    right_heel = gait.points[:, gait.labels.index("RHEE"), 2]
    low = np.flatnonzero(right_heel[struck + 20 :] < 0.045)
    frames = slice(struck + 1, struck + 20 + int(low[0]) + 1)
    return frames, sum(lowpass(force, gait.rate_hz, CUTOFF_HZ) for force in forces)[frames]


@pytest.mark.parametrize("name", ["de Leva", "Winter", "lab"])
def test_acceleration_of_the_centre_of_mass_against_the_plates(
    gait: mocap.Capture, masses_of_centres: dict[str, np.ndarray], step: tuple[slice, np.ndarray], name: str
) -> None:
    """Mass times acceleration plus weight is the force on the feet (Newton).

    Measured here at 6 Hz over one step, along the walk, across and up: correlation .82 .88 .81 (de Leva), .81 .89 .83
    (Winter), .76 .84 .84 (lab); RMS 23, 17, 130 N = 3.5, 2.6, 20 % of body weight (de Leva). The 20 % are the plates':
    over a step, which ends with the speed it began with, their mean must be the body's weight, and it is 78 % of it.
    """
    frames, felt = step
    mass = gait.subject["mass_kg"]
    path = lowpass(masses_of_centres[name], gait.rate_hz, CUTOFF_HZ)
    needed = (mass * (derivative(derivative(path, gait.rate_hz), gait.rate_hz) + np.array([0.0, 0.0, G])))[frames]
    correlation = [float(np.corrcoef(needed[:, i], felt[:, i])[0, 1]) for i in range(3)]
    rms = np.sqrt(np.mean((needed - felt) ** 2, axis=0))
    without_mean = np.std(needed - felt, axis=0)
    said = (
        f"{name}: correlation {np.round(correlation, 2)}, RMS {np.round(rms)} N ="
        f" {np.round(100 * rms / (mass * G), 1)} % of body weight, without the means {np.round(without_mean)} N"
    )
    assert min(correlation) > 0.7, said
    assert rms[0] < 0.045 * mass * G, said
    assert rms[1] < 0.035 * mass * G, said
    assert without_mean[2] < 0.08 * mass * G, said
    # The mean that the body's own motion asks for is its weight within a few per cent; the plates' is not.
    assert needed[:, 2].mean() == pytest.approx(mass * G, rel=0.05), said
    assert 0.74 < felt[:, 2].mean() / (mass * G) < 0.82, said


def test_our_acceleration_follows_the_plates_along_the_walk_better_than_the_lab_s(
    gait: mocap.Capture, masses_of_centres: dict[str, np.ndarray], step: tuple[slice, np.ndarray]
) -> None:
    frames, felt = step

    def error(com: np.ndarray) -> float:
        path = lowpass(com, gait.rate_hz, CUTOFF_HZ)
        acceleration = derivative(derivative(path, gait.rate_hz), gait.rate_hz)[frames, 0]
        return float(np.sqrt(np.mean((gait.subject["mass_kg"] * acceleration - felt[:, 0]) ** 2)))

    ours, lab = error(masses_of_centres["de Leva"]), error(masses_of_centres["lab"])
    assert ours < lab, f"RMS {ours:.1f} N (ours), {lab:.1f} N (lab)"


def test_hips_alone_are_no_centre_of_mass(
    gait: mocap.Capture,
    joints: dict[str, np.ndarray],
    masses_of_centres: dict[str, np.ndarray],
    step: tuple[slice, np.ndarray],
) -> None:
    # What a sum over the body gains over its cheapest stand-in.
    frames, felt = step
    mass, rate = gait.subject["mass_kg"], gait.rate_hz
    errors = [
        np.sqrt(
            np.mean(
                (mass * derivative(derivative(lowpass(path, rate, CUTOFF_HZ), rate), rate)[frames, 0] - felt[:, 0]) ** 2
            )
        )
        for path in (masses_of_centres["de Leva"], joints["pelvis"])
    ]
    assert errors[0] < 0.6 * errors[1], f"RMS {errors[0]:.0f} N (whole body), {errors[1]:.0f} N (hips)"
