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
    """Axis times angle of rotations of shape (..., 3, 3), for angles below pi, shape (..., 3). [rad]

    Spoor CW, Veldpaus FE (1980) J Biomech 13:391-393: sin(angle) n = 1/2 (R32-R23, R13-R31, R21-R12).
    """
    sine_axis = 0.5 * np.stack(
        [
            rotation[..., 2, 1] - rotation[..., 1, 2],
            rotation[..., 0, 2] - rotation[..., 2, 0],
            rotation[..., 1, 0] - rotation[..., 0, 1],
        ],
        axis=-1,
    )
    sine = np.linalg.norm(sine_axis, axis=-1, keepdims=True)
    cosine = (np.trace(rotation, axis1=-2, axis2=-1)[..., None] - 1.0) / 2.0
    angle = np.arctan2(sine, cosine)
    vector: FloatArray = sine_axis * np.where(sine > 1e-9, angle / np.where(sine > 1e-9, sine, 1.0), 1.0)
    return vector
