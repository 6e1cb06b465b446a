"""Joint angles by the joint coordinate system, and the turn of pelvis, thorax and head toward the pitcher.

Every angle is anatomical: it has the same sign on both sides. To that end the rotation of a left joint is mirrored in
the sagittal plane before it is taken apart, as if it were a right one.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray

#: Columns of each joint's angles, each positive as named. Joints without a side come first.
COLUMNS: dict[str, tuple[str, str, str]] = {
    "pelvis": ("opening", "lean to the right", "forward tilt"),
    "thorax": ("opening", "lean to the right", "forward tilt"),
    "head": ("opening", "lean to the right", "forward tilt"),
    "trunk": ("flexion", "bend to the right", "turn to the left"),
    "neck": ("flexion", "bend to the right", "turn to the left"),
    "hip": ("flexion", "adduction", "internal rotation"),
    "knee": ("flexion", "adduction", "internal rotation"),
    "ankle": ("dorsiflexion", "inversion", "internal rotation"),
    "shoulder": ("plane of elevation", "elevation", "internal rotation"),
    "elbow": ("flexion", "carrying angle", "pronation"),
    "wrist": ("flexion", "ulnar deviation", "pronation"),
}

#: The hitter at a right-handed stance, side-on to the pitcher: x (forward) along -y, y up, z (right) along -x.
SIDE_ON = np.array([[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])

#: Joint -> (proximal segment, distal segment, signs that make the three angles of Z-X-Y positive as named).
_MIDLINE = {"trunk": ("pelvis", "thorax", (-1, 1, 1)), "neck": ("thorax", "head", (-1, 1, 1))}
_LIMBS = {
    "hip": ("pelvis", "{}thigh", (1, 1, 1)),
    "knee": ("{}thigh", "{}shank", (-1, 1, 1)),
    "ankle": ("{}shank", "{}foot", (1, 1, 1)),
    "elbow": ("{}upper_arm", "{}forearm", (1, -1, 1)),
    "wrist": ("{}forearm", "{}hand", (1, 1, 1)),
}
_MIRROR = np.array([1.0, 1.0, -1.0])
#: Below this sine of the middle angle the other two turn about the same axis. [-]
_LOCKED = 1e-6


def joint_angles(frames: Mapping[str, FloatArray], *, sides: tuple[str, str] = ("l", "r")) -> dict[str, FloatArray]:
    """Angles of every joint, and of pelvis, thorax and head in the lab.

    Parameters
    ----------
    frames : mapping of str to ndarray, shape (F, 3, 3)
        World from segment as `segment_frames` gives them, z of the world up. For the openings its x points to the
        pitcher.
    sides : tuple of 2 str
        Prefixes of the left and the right side, ``("l", "r")`` or ``("front", "back")``.

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        By joint, paired ones with a side's prefix; the columns are those of `COLUMNS`. NaN where a frame is. [deg]

    Notes
    -----
    hip, knee, ankle, elbow, wrist, trunk (thorax on pelvis), neck (head on thorax): Z-X-Y of Grood & Suntay, see
    `grood_suntay`. Flexion is positive in each: the thigh's goes to the front, the shank's to the back. The carrying
    angle is positive where the forearm points away from the body.

    shoulder: Y-X-Y of the humerus in the thorax, see `elevation_angles`. Elevation is given positive; the plane of
    elevation is 0 for abduction and 90 for flexion to the front.

    pelvis, thorax, head: Y-X-Z, turn first, see `turn_lean_tilt`, from a hitter side-on to the pitcher. The opening is
    the heading of the segment's line from right to left, for the pelvis that of the hips: 0 side-on, 90 facing the
    pitcher.

    All lie within -180 to 180, lean, adduction and their like within -90 to 90, elevation within 0 to 180.
    """
    angles = {
        segment: turn_lean_tilt(SIDE_ON.T @ frames[segment]) * np.array([1.0, 1.0, -1.0])
        for segment in ("pelvis", "thorax", "head")
    }
    for joint, (proximal, distal, signs) in _MIDLINE.items():
        angles[joint] = grood_suntay(relative(frames[proximal], frames[distal])) * np.array(signs, dtype=np.float64)
    for side in sides:
        mirror = _MIRROR if side == sides[0] else np.ones(3)
        for joint, (proximal, distal, signs) in _LIMBS.items():
            pair = (frames[proximal.format(f"{side}_")], frames[distal.format(f"{side}_")])
            turn = mirror[:, None] * relative(*pair) * mirror
            angles[f"{side}_{joint}"] = grood_suntay(turn) * np.array(signs, dtype=np.float64)
        turn = mirror[:, None] * relative(frames["thorax"], frames[f"{side}_upper_arm"]) * mirror
        angles[f"{side}_shoulder"] = elevation_angles(turn) * np.array([1.0, -1.0, 1.0])
    # Adding zero takes the sign from -0.0.
    return {joint: np.degrees(values) + 0.0 for joint, values in angles.items()}


def relative(proximal: FloatArray, distal: FloatArray) -> FloatArray:
    """Rotation proximal-from-distal of two world-from-segment rotations, shape (..., 3, 3). [-]"""
    rotation: FloatArray = np.swapaxes(proximal, -1, -2) @ distal
    return rotation


def grood_suntay(rotation: FloatArray) -> FloatArray:
    """Angles about the proximal z, the floating x and the distal y axis.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
        Proximal from distal, ISB axes.

    Returns
    -------
    ndarray, shape (..., 3)
        Intrinsic Z-X-Y, right-hand rule: -pi to pi, -pi/2 to pi/2, -pi to pi. Where the second is +-pi/2 the first and
        the third turn about the same axis: the third is then zero. [rad]

    Notes
    -----
    R = Rz(a) Rx(b) Ry(c). The distal y in proximal axes, the second column of R, is (-sin a cos b, cos a cos b, sin b);
    the proximal z in distal axes, the third row, is (-cos b sin c, sin b, cos b cos c).

    References
    ----------
    Grood ES, Suntay WJ (1983) J Biomech Eng 105:136-144; Wu G et al. (2002) J Biomech 35:543-548.
    """
    R = rotation
    cosine = np.hypot(R[..., 0, 1], R[..., 1, 1])
    locked = cosine < _LOCKED
    first = np.where(locked, np.arctan2(R[..., 1, 0], R[..., 0, 0]), np.arctan2(-R[..., 0, 1], R[..., 1, 1]))
    third = np.where(locked, 0.0, np.arctan2(-R[..., 2, 0], R[..., 2, 2]))
    return _columns(R, first, np.arctan2(R[..., 2, 1], cosine), third)


def elevation_angles(rotation: FloatArray) -> FloatArray:
    """Plane of elevation, elevation and axial rotation of a right humerus in the thorax.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
        Thorax from humerus, ISB axes.

    Returns
    -------
    ndarray, shape (..., 3)
        Intrinsic Y-X-Y, right-hand rule: -pi to pi, -pi to 0, -pi to pi. Where the arm hangs straight down or points
        straight up, plane and axial rotation turn about the same axis: the plane is then zero and the axial rotation
        holds the whole turn. Near there an error in the arm's direction is magnified in both by 1 over the sine of the
        elevation, with opposite signs. [rad]

    Notes
    -----
    R = Ry(a) Rx(b) Ry(c). The humerus's y in the thorax, the second column of R, is (sin a sin b, cos b, cos a sin b);
    the thorax's y in the humerus, the second row, is (sin b sin c, cos b, -sin b cos c). b is taken negative, so that
    abduction lies in the plane a = 0.

    References
    ----------
    Wu G et al. (2005) J Biomech 38:981-992.
    """
    R = rotation
    sine = np.hypot(R[..., 0, 1], R[..., 2, 1])
    locked = sine < _LOCKED
    first = np.where(locked, 0.0, np.arctan2(-R[..., 0, 1], -R[..., 2, 1]))
    third = np.where(locked, np.arctan2(R[..., 0, 2], R[..., 0, 0]), np.arctan2(-R[..., 1, 0], R[..., 1, 2]))
    return _columns(R, first, np.arctan2(-sine, R[..., 1, 1]), third)


def turn_lean_tilt(rotation: FloatArray) -> FloatArray:
    """Turn about the vertical, lean to the side and tilt of a segment.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
        Upright reference (y up) from segment, ISB axes.

    Returns
    -------
    ndarray, shape (..., 3)
        Intrinsic Y-X-Z, right-hand rule: the turn of the segment's z (its line from left to right) seen from above, the
        fall of that line to the right, the tilt about it (backward positive). Where the line is vertical, the tilt is
        zero. [rad]

    Notes
    -----
    R = Ry(a) Rx(b) Rz(c). The segment's z, the third column of R, is (sin a cos b, -sin b, cos a cos b); the vertical
    in the segment, the second row, is (cos b sin c, cos b cos c, -sin b). Turn first keeps the opening of the hips free
    of their tilt.

    References
    ----------
    Baker R (2001) Hum Mov Sci 20:655-667.
    """
    R = rotation
    cosine = np.hypot(R[..., 0, 2], R[..., 2, 2])
    locked = cosine < _LOCKED
    first = np.where(locked, np.arctan2(-R[..., 2, 0], R[..., 0, 0]), np.arctan2(R[..., 0, 2], R[..., 2, 2]))
    third = np.where(locked, 0.0, np.arctan2(R[..., 1, 0], R[..., 1, 1]))
    return _columns(R, first, np.arctan2(-R[..., 1, 2], cosine), third)


def _columns(rotation: FloatArray, first: FloatArray, second: FloatArray, third: FloatArray) -> FloatArray:
    """The three angles side by side, NaN where the rotation is."""
    angles = np.stack([first, second, third], axis=-1)
    angles[~np.isfinite(rotation).all(axis=(-2, -1))] = np.nan
    return angles
