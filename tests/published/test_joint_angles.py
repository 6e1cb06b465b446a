"""Joint angles against worked examples, independent libraries and a lab software's own angles.

Sources: Grood ES, Suntay WJ (1983) J Biomech Eng 105:136-144; Wu G et al. (2002) J Biomech 35:543-548 and (2005)
J Biomech 38:981-992 (sequences); the libraries scipy and pytransform3d; a worked example that goes with an
open gait library. The lab's gait recordings hold, beside the markers, the axes of each segment (origin O, anterior A,
lateral to the left L, proximal P) and the angles made from them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import mocap
from mocap.kinematics.geometry import unit
from mocap.kinematics.joint_angles import elevation_angles, grood_suntay, joint_angles, turn_lean_tilt
from mocap.kinematics.joint_centres import body_from
from mocap.kinematics.segment_frames import segment_frames

#: Z-X-Y by 30, 10, -5 deg, to six figures.
THIGH_SHANK = np.array(
    [[0.870297, -0.492404, 0.011015], [0.484991, 0.852869, -0.193389], [0.085832, 0.173648, 0.981060]]
)
#: Y-X-Y by 40, -80, -30 deg, to six figures.
THORAX_HUMERUS = np.array(
    [[0.719223, -0.633022, -0.286357], [0.492404, 0.173648, 0.852869], [-0.490159, -0.754407, 0.436594]]
)


def test_grood_suntay_worked_example() -> None:
    assert np.degrees(grood_suntay(THIGH_SHANK)) == pytest.approx([30.0, 10.0, -5.0], abs=1e-4)
    # By the definition itself: the floating axis e2 = e3 x e1, flexion by e2 in the femur, adduction by e1 . e3.
    e1, e3 = np.array([0.0, 0.0, 1.0]), THIGH_SHANK[:, 1]
    e2 = np.cross(e3, e1) / np.linalg.norm(np.cross(e3, e1))
    assert e2 == pytest.approx([0.866025, 0.5, 0.0], abs=1e-6)
    assert np.degrees(np.arctan2(e2[1], e2[0])) == pytest.approx(np.degrees(grood_suntay(THIGH_SHANK))[0], abs=1e-4)
    assert np.degrees(np.arcsin(e1 @ e3)) == pytest.approx(np.degrees(grood_suntay(THIGH_SHANK))[1], abs=1e-4)


def test_shoulder_worked_example() -> None:
    assert np.degrees(elevation_angles(THORAX_HUMERUS)) == pytest.approx([40.0, -80.0, -30.0], abs=1e-4)


def test_turn_first_worked_example() -> None:
    proximal = np.array([[0.04, 0.99, 0.06], [0.99, -0.04, -0.05], [-0.05, 0.07, -0.99]])
    distal = np.array([[-0.18, -0.98, -0.02], [0.71, -0.11, -0.69], [0.67, -0.14, 0.72]])
    turn, lean, _ = np.degrees(turn_lean_tilt(proximal @ distal.T))
    # Printed: -174.82, -39.26 (and a third angle that is counted from another axis). Axes of two figures are up to a
    # degree from square, which the second angle, made from another row in that library, shows.
    assert turn == pytest.approx(-174.82, abs=0.005)
    assert lean == pytest.approx(-39.26, abs=1.0)


def test_all_sequences_agree_with_scipy() -> None:
    rotations = Rotation.random(1000, random_state=4)
    matrices = rotations.as_matrix()
    assert grood_suntay(matrices) == pytest.approx(rotations.as_euler("ZXY"), abs=1e-9)
    assert turn_lean_tilt(matrices) == pytest.approx(rotations.as_euler("YXZ"), abs=1e-9)
    plane, elevation, axial = elevation_angles(matrices).T
    theirs = rotations.as_euler("YXY")
    # scipy takes the middle angle positive; the negative one is the same rotation with both others half a turn on.
    assert -elevation == pytest.approx(theirs[:, 1], abs=1e-9)
    for ours, other in ((plane, theirs[:, 0]), (axial, theirs[:, 2])):
        assert np.abs((ours - other) % (2 * np.pi)) == pytest.approx(np.pi, abs=1e-7)


def test_all_sequences_agree_with_pytransform3d() -> None:
    rotations = pytest.importorskip("pytransform3d.rotations")
    rng = np.random.default_rng(5)
    for matrix in Rotation.random(100, random_state=rng).as_matrix():
        angles = grood_suntay(matrix)
        assert angles == pytest.approx(rotations.euler_from_matrix(matrix, 2, 0, 1, extrinsic=False), abs=1e-7)
        angles = turn_lean_tilt(matrix)
        assert angles == pytest.approx(rotations.euler_from_matrix(matrix, 1, 0, 2, extrinsic=False), abs=1e-7)
        back = rotations.matrix_from_euler(elevation_angles(matrix), 1, 0, 1, extrinsic=False)
        assert back == pytest.approx(matrix, abs=1e-9)


def lab_file(path: Path) -> dict[str, np.ndarray]:
    """Every point and angle of a recording as another reader gives them, shape (F, 3); missing is NaN."""
    ezc3d = pytest.importorskip("ezc3d")
    file = ezc3d.c3d(str(path))
    values = np.transpose(file["data"]["points"][:3], (2, 1, 0)).copy()
    values[file["data"]["meta_points"]["residuals"][0].T < 0] = np.nan
    values[(values == 0).all(axis=2)] = np.nan
    return {label: values[:, i] for i, label in enumerate(file["parameters"]["POINT"]["LABELS"]["value"])}


def lab_axes(points: dict[str, np.ndarray], segment: str) -> np.ndarray:
    """ISB axes of a segment from the lab's: x anterior, y proximal, z to the right."""
    origin = points[f"{segment}O"]
    x, y, left = (unit(points[f"{segment}{axis}"] - origin) for axis in "APL")
    return np.stack([x, y, -left], axis=-1)


@pytest.mark.parametrize(
    ("name", "suffix", "within_deg"),
    [
        ("full_body_gait", "", 0.001),
        ("lower_body_three_plates", "V", 0.001),
        ("sample09", "", 0.15),  # angles and places are stored in steps of 0.1 deg and 0.1 mm
    ],
)
def test_hip_and_knee_of_the_lab_software(shared_data: Path, name: str, suffix: str, within_deg: float) -> None:
    points = lab_file(shared_data / "c3d" / f"{name}.c3d")
    missing = np.full((len(points["PELO"]), 3, 3), np.nan)
    frames = dict.fromkeys(("thorax", "head"), missing) | {"pelvis": lab_axes(points, "PEL")}
    for side in "lr":
        frames |= {f"{side}_{segment}": missing for segment in ("foot", "upper_arm", "forearm", "hand")}
        frames[f"{side}_thigh"] = lab_axes(points, f"{side.upper()}FE")
        frames[f"{side}_shank"] = lab_axes(points, f"{side.upper()}TI")
    angles = joint_angles(frames)
    for side in "lr":
        for joint in ("hip", "knee"):
            lab = points[f"{side.upper()}{joint.capitalize()}Angles{suffix}"]
            both = np.isfinite(lab).all(axis=1) & np.isfinite(angles[f"{side}_{joint}"]).all(axis=1)
            assert both.sum() > 50
            assert np.ptp(lab[both, 0]) > 10.0  # walking, not standing
            assert angles[f"{side}_{joint}"][both] == pytest.approx(lab[both], abs=within_deg)


@pytest.mark.parametrize(("name", "suffix"), [("full_body_gait", ""), ("lower_body_three_plates", "V")])
def test_from_markers_to_the_angles_of_the_lab_software(shared_data: Path, name: str, suffix: str) -> None:
    """Markers, the lab's own measurements of the subject, joint centres, axes, angles: the whole way by both."""
    path = shared_data / "c3d" / f"{name}.c3d"
    body, points = body_from(mocap.read(path)), lab_file(path)
    angles = joint_angles(segment_frames(body.centres, body.lateral, body.axes, body.head_forward))
    for side in "lr":
        off = {
            joint: np.abs(angles[f"{side}_{joint}"] - points[f"{side.upper()}{joint.capitalize()}Angles{suffix}"])
            for joint in ("hip", "knee", "ankle")
        }
        assert np.nanpercentile(off["hip"], 95, axis=0).max() < 0.3
        assert np.nanpercentile(off["knee"], 95, axis=0).max() < 0.3
        # The lab takes the sole from the subject's standing trial, we from heel and ball.
        assert np.nanmedian(off["ankle"][:, 0]) < 5.0
