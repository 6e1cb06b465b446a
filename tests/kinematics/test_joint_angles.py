"""Angles of postures that can be worked out by hand. The subject faces +x of the lab, z is up, so that right is -y."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics.joint_angles import (
    COLUMNS,
    elevation_angles,
    grood_suntay,
    joint_angles,
    turn_lean_tilt,
)
from mocap.kinematics.segment_frames import segment_frames

#: Facing +x, upright: columns x forward, y up, z right.
UPRIGHT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
SEGMENTS = ("thigh", "shank", "foot", "upper_arm", "forearm", "hand")


def standing() -> dict[str, np.ndarray]:
    """Frames of one instant with every joint in its neutral position, shape (1, 3, 3)."""
    names = ["pelvis", "thorax", "head", *(f"{side}_{name}" for side in "lr" for name in SEGMENTS)]
    return {name: UPRIGHT[None].copy() for name in names}


def turned(axis: list[float], degrees: float) -> np.ndarray:
    """Rotation in the lab."""
    return Rotation.from_rotvec(np.radians(degrees) * np.array(axis)).as_matrix()


FORWARD, LEFT, UP = [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]


def test_every_joint_is_zero_in_the_neutral_position_and_named() -> None:
    angles = joint_angles(standing())
    assert {name.removeprefix("l_").removeprefix("r_") for name in angles} == set(COLUMNS)
    for name, values in angles.items():
        facing = 90.0 if name in ("pelvis", "thorax", "head") else 0.0
        assert values == pytest.approx(np.array([[facing, 0.0, 0.0]]), abs=1e-9), name
        assert not np.signbit(values[values == 0.0]).any(), name  # would be shown as -0


@pytest.mark.parametrize(
    ("distal", "joint", "axis", "degrees", "expected"),
    [
        # A turn about the axis to the left carries the lower end of a limb backward.
        ("{}_thigh", "hip", LEFT, -70.0, (70.0, 0.0, 0.0)),
        ("{}_shank", "knee", LEFT, 70.0, (70.0, 0.0, 0.0)),
        ("{}_foot", "ankle", LEFT, -20.0, (20.0, 0.0, 0.0)),
        ("{}_forearm", "elbow", LEFT, -90.0, (90.0, 0.0, 0.0)),
        ("{}_hand", "wrist", LEFT, -30.0, (30.0, 0.0, 0.0)),
    ],
)
def test_flexion_has_the_same_sign_on_both_sides(
    distal: str, joint: str, axis: list[float], degrees: float, expected: tuple[float, float, float]
) -> None:
    for side in "lr":
        frames = standing()
        frames[distal.format(side)] = turned(axis, degrees) @ frames[distal.format(side)]
        assert joint_angles(frames)[f"{side}_{joint}"][0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("segment", "joint", "column", "axis", "sign"),
    [
        # On the right: a turn about the forward axis carries the foot to the left, inward; about the vertical the toes
        # to the left, inward.
        ("thigh", "hip", 1, FORWARD, 1.0),
        ("thigh", "hip", 2, UP, 1.0),
        ("shank", "knee", 1, FORWARD, 1.0),
        ("shank", "knee", 2, UP, 1.0),
        ("foot", "ankle", 1, FORWARD, 1.0),
        ("foot", "ankle", 2, UP, 1.0),
        ("forearm", "elbow", 1, FORWARD, -1.0),  # the forearm outward is a positive carrying angle
        ("forearm", "elbow", 2, UP, 1.0),  # the thumb forward from outward is pronation
        ("hand", "wrist", 1, FORWARD, 1.0),
    ],
)
def test_the_other_angles_are_mirror_images(
    segment: str, joint: str, column: int, axis: list[float], sign: float
) -> None:
    for side, mirror in (("r", 1.0), ("l", -1.0)):
        frames = standing()
        frames[f"{side}_{segment}"] = turned(axis, mirror * 12.0) @ frames[f"{side}_{segment}"]
        expected = np.zeros(3)
        expected[column] = sign * 12.0
        assert joint_angles(frames)[f"{side}_{joint}"][0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("axis", "degrees", "expected"),
    [
        (FORWARD, -90.0, (0.0, 90.0, 0.0)),  # abducted: the T-pose
        (LEFT, -90.0, (90.0, 90.0, -90.0)),  # flexed to the front, elbow's axis still pointing right
        (LEFT, 40.0, (-90.0, 40.0, 90.0)),  # extended to the back
        (FORWARD, 30.0, (180.0, 30.0, 180.0)),  # across the body
        (UP, 25.0, (0.0, 0.0, 25.0)),  # hanging, turned inward
    ],
)
def test_the_shoulder_at_known_postures(axis: list[float], degrees: float, expected: tuple[float, ...]) -> None:
    for side, mirror in (("r", 1.0), ("l", -1.0)):
        frames = standing()
        turn = turned(axis, degrees if axis == LEFT else mirror * degrees)
        frames[f"{side}_upper_arm"] = turn @ frames[f"{side}_upper_arm"]
        found = joint_angles(frames)[f"{side}_shoulder"][0]
        assert np.exp(1j * np.radians(found)) == pytest.approx(np.exp(1j * np.radians(expected)), abs=1e-9)


def test_near_its_poles_the_shoulder_keeps_the_whole_turn_in_the_axial_rotation() -> None:
    for middle, whole in ((0.0, 0.7), (np.pi, -0.1)):
        rotation = Rotation.from_euler("YXY", [0.3, -middle, 0.4]).as_matrix()
        plane, elevation, axial = elevation_angles(rotation)
        assert plane == 0.0
        assert -elevation == pytest.approx(middle)
        assert abs(axial) == pytest.approx(abs(whole))
        assert Rotation.from_euler("YXY", [plane, elevation, axial]).as_matrix() == pytest.approx(rotation, abs=1e-12)


@pytest.mark.parametrize("middle", [np.pi / 2, -np.pi / 2])
def test_near_their_poles_the_other_sequences_still_give_the_rotation(middle: float) -> None:
    for angles_of, sequence in ((grood_suntay, "ZXY"), (turn_lean_tilt, "YXZ")):
        rotation = Rotation.from_euler(sequence, [0.3, middle, 0.5]).as_matrix()
        found = angles_of(rotation)
        assert found[2] == 0.0
        assert Rotation.from_euler(sequence, found).as_matrix() == pytest.approx(rotation, abs=1e-12)


def test_pelvis_and_thorax_to_the_pitcher() -> None:
    """The pitcher stands at +x; a right-handed hitter faces -y, his left, front side to the pitcher."""
    side_on = Rotation.from_euler("z", -90, degrees=True).as_matrix() @ UPRIGHT
    frames = standing() | {"front_" + name: UPRIGHT[None] for name in SEGMENTS}
    frames |= {"back_" + name: UPRIGHT[None] for name in SEGMENTS}
    frames["pelvis"] = (turned(UP, 50.0) @ side_on)[None]
    # Opened by 20 deg, then the top tilted forward (-y, turned by 20 deg) by 30 deg.
    frames["thorax"] = (turned(UP, 20.0) @ turned([1.0, 0.0, 0.0], 30.0) @ side_on)[None]
    # The head toward the catcher: to the hitter's right.
    frames["head"] = (turned([0.0, 1.0, 0.0], -15.0) @ side_on)[None]
    angles = joint_angles(frames, sides=("front", "back"))
    assert angles["pelvis"][0] == pytest.approx([50.0, 0.0, 0.0], abs=1e-9)
    assert angles["thorax"][0] == pytest.approx([20.0, 0.0, 30.0], abs=1e-9)
    assert angles["head"][0] == pytest.approx([0.0, 15.0, 0.0], abs=1e-9)
    # The thorax on the pelvis is turned back by 30 deg, and flexed.
    assert angles["trunk"][0, 2] < -20.0
    assert "front_elbow" in angles


def test_the_opening_is_the_heading_of_the_hip_line_however_the_pelvis_tilts() -> None:
    rng = np.random.default_rng(3)
    frames = standing()
    rotation = Rotation.from_euler("YXZ", rng.uniform(-1.2, 1.2, (50, 3))).as_matrix()
    frames["pelvis"] = UPRIGHT @ rotation
    opening = joint_angles(frames)["pelvis"][:, 0]
    right_to_left = -frames["pelvis"][:, :, 2]
    assert opening == pytest.approx(np.degrees(np.arctan2(right_to_left[:, 1], right_to_left[:, 0])))


def test_a_missing_frame_gives_missing_angles_and_nothing_else_does() -> None:
    frames = {name: np.repeat(axes, 3, axis=0) for name, axes in standing().items()}
    frames["l_shank"][1] = np.nan
    angles = joint_angles(frames)
    for name, values in angles.items():
        gone = np.isnan(values).any(axis=1)
        assert gone.tolist() == [False, name in ("l_knee", "l_ankle"), False], name


def test_postures_of_joint_centres_end_to_end() -> None:
    """A squat with thighs level and shanks upright, both elbows at right angles, trunk upright."""
    points = {
        "head": (0.0, 0.0, 1.15),
        "head_top": (0.0, 0.0, 1.25),
        "neck": (0.0, 0.0, 0.9),
        "pelvis": (0.0, 0.0, 0.4),
    }
    for side, left in (("l", 1.0), ("r", -1.0)):
        points |= {
            f"{side}_hip": (0.0, 0.1 * left, 0.4),
            f"{side}_knee": (0.4, 0.1 * left, 0.4),
            f"{side}_ankle": (0.4, 0.1 * left, 0.07),
            f"{side}_heel": (0.35, 0.1 * left, 0.0),
            f"{side}_ball": (0.53, 0.1 * left, 0.0),
            f"{side}_shoulder": (0.0, 0.18 * left, 0.9),
            f"{side}_elbow": (0.0, 0.18 * left, 0.6),
            f"{side}_wrist": (0.25, 0.18 * left, 0.6),
            f"{side}_hand": (0.33, 0.18 * left, 0.6),
        }
    centres = {name: np.array([place]) for name, place in points.items()}
    # The palms: up when the wrist's axis still lies as in the neutral position (palm forward), thumbs outward; down
    # when it is turned by half a turn.
    right = np.array([[0.0, -1.0, 0.0]])
    palms_up = joint_angles(segment_frames(centres, {"l_wrist": right, "r_wrist": right}))
    palms_down = joint_angles(segment_frames(centres, {"l_wrist": -right, "r_wrist": -right}))
    palms_in = joint_angles(
        segment_frames(centres, {"r_wrist": np.array([[0.0, 0.0, 1.0]]), "l_wrist": np.array([[0.0, 0.0, -1.0]])})
    )
    for side in "lr":
        assert palms_up[f"{side}_hip"][0] == pytest.approx([90.0, 0.0, 0.0], abs=1e-9)
        assert palms_up[f"{side}_knee"][0] == pytest.approx([90.0, 0.0, 0.0], abs=1e-9)
        assert palms_up[f"{side}_ankle"][0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
        assert palms_up[f"{side}_shoulder"][0, 1:] == pytest.approx([0.0, 0.0], abs=1e-9)
        assert palms_up[f"{side}_elbow"][0] == pytest.approx([90.0, 0.0, 0.0], abs=1e-9)
        assert abs(palms_down[f"{side}_elbow"][0, 2]) == pytest.approx(180.0)
        assert palms_in[f"{side}_elbow"][0] == pytest.approx([90.0, 0.0, 90.0], abs=1e-9)
