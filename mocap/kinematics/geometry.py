"""Angles, headings and rotations that the measures share."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray


def unit(vectors: FloatArray) -> FloatArray:
    """Vectors of shape (..., 3) scaled to length one; a zero vector gives NaN."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    scaled: FloatArray = vectors / np.where(length > 0, length, np.nan)
    return scaled


def across(vectors: FloatArray, axes: FloatArray) -> FloatArray:
    """Part of vectors of shape (..., 3) perpendicular to unit axes."""
    part: FloatArray = vectors - np.sum(vectors * axes, axis=-1, keepdims=True) * axes
    return part


def angle_between(first: FloatArray, second: FloatArray) -> FloatArray:
    """Angle between vectors of shape (..., 3), 0 to pi. [rad]

    By the arctangent of cross and dot product, which stays exact near 0 and pi.
    """
    cross = np.linalg.norm(np.cross(first, second), axis=-1)
    angle: FloatArray = np.arctan2(cross, np.sum(first * second, axis=-1))
    return angle


def flexion(proximal: FloatArray, joint: FloatArray, distal: FloatArray) -> FloatArray:
    """Angle between two segments meeting at a joint, 0 = straight, shape (...). [rad]"""
    return angle_between(joint - proximal, distal - joint)


def on_bat(knob: FloatArray, barrel: FloatArray, from_end_m: float) -> FloatArray:
    """Point on the bat's axis at a distance from the barrel's end, shape (..., 3). [m]"""
    point: FloatArray = barrel - from_end_m * unit(barrel - knob)
    return point


def middle_of_foot(heel: FloatArray, ball: FloatArray, ankle: FloatArray) -> FloatArray:
    """Half way between heel and ball, the ankle where the foot has no other point, shape (..., 3). [m]"""
    middle = (heel + ball) / 2
    return np.where(np.isfinite(middle), middle, ankle)


def heading(vectors: FloatArray) -> FloatArray:
    """Direction in the floor plane, from +x, counter-clockwise seen from above, shape (...). [rad]"""
    direction: FloatArray = np.arctan2(vectors[..., 1], vectors[..., 0])
    return direction


def wrapped(angles: FloatArray) -> FloatArray:
    """Angles brought into -pi to pi. [rad]"""
    result: FloatArray = (angles + np.pi) % (2 * np.pi) - np.pi
    return result


def frame_from(long_axis: FloatArray, toward: FloatArray) -> FloatArray:
    """Rotation matrices whose columns are (x, y, z): z along `long_axis`, y across `toward`.

    Parameters
    ----------
    long_axis, toward : ndarray, shape (..., 3)
        `toward` fixes the turn about the long axis; it need not be perpendicular to it.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        World from segment. [-]
    """
    z = unit(long_axis)
    x = unit(np.cross(toward, z))
    return np.stack([x, np.cross(z, x), z], axis=-1)


def angular_velocity(rotation: FloatArray, rate_hz: float) -> FloatArray:
    """Angular velocity of a segment in the world frame.

    Parameters
    ----------
    rotation : ndarray, shape (F, 3, 3)
        World from segment.
    rate_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (F, 3)
        Right-hand rule. NaN where the orientation is. [rad/s]

    Notes
    -----
    The rotation vector of the step between the frames before and after, divided by its time: exact for a constant
    angular velocity, second-order accurate otherwise.
    """
    frames = len(rotation)
    before = np.clip(np.arange(frames) - 1, 0, None)
    after = np.clip(np.arange(frames) + 1, None, frames - 1)
    step = rotation[after] @ np.swapaxes(rotation[before], -1, -2)
    return rotation_vector(step) * (rate_hz / np.maximum(after - before, 1))[:, None]


def rotation_vector(rotation: FloatArray) -> FloatArray:
    """Axis times angle of rotations of shape (..., 3, 3), angles 0 to pi, shape (..., 3). [rad]

    See `axis_and_angle`; zero for no rotation.
    """
    axis, angle = axis_and_angle(rotation)
    vector: FloatArray = np.where(angle[..., None] == 0, 0.0, axis * angle[..., None])
    return vector


def axis_and_angle(rotation: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Axis and angle of rotations, to full precision from no turn to half a turn.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)

    Returns
    -------
    (axis, angle)
        Unit vector of shape (..., 3), NaN for no rotation at all; angle of shape (...), 0 to pi. At pi both senses of
        the axis are right, and one is given. [-], [rad]

    Notes
    -----
    By the unit quaternion q = (cos(angle/2), sin(angle/2) axis): the matrix 4 q q' is linear in R, and its longest
    column gives q without a loss of figures. The sine and the cosine of the angle, which the usual formulas take from
    R, say little about it near pi and near 0.

    References
    ----------
    Shepperd SW (1978) J Guid Control 1:223-224.
    """
    R = rotation
    trace = np.trace(R, axis1=-2, axis2=-1)
    four = np.empty((*R.shape[:-2], 4, 4))
    four[..., 0, 0] = 1.0 + trace
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        four[..., i + 1, i + 1] = 1.0 + 2.0 * R[..., i, i] - trace
        four[..., 0, i + 1] = four[..., i + 1, 0] = R[..., k, j] - R[..., j, k]
        four[..., j + 1, k + 1] = four[..., k + 1, j + 1] = R[..., k, j] + R[..., j, k]
    longest = np.argmax(np.diagonal(four, axis1=-2, axis2=-1), axis=-1)
    quaternion = np.take_along_axis(four, longest[..., None, None], axis=-1)[..., 0]
    # q and -q are the same rotation; the one with a cosine of at least zero has an angle of at most pi.
    part = quaternion[..., 1:] * np.where(quaternion[..., :1] < 0, -1.0, 1.0)
    sine = np.linalg.norm(part, axis=-1)
    return unit(part), 2.0 * np.arctan2(sine, np.abs(quaternion[..., 0]))
