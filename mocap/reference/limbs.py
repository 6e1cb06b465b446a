"""Limbs posed by inverse kinematics: two rods between fixed ends, feet that pivot, hands on a handle."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.reference import proportions


def rad(degrees: float) -> float:
    """Radians."""
    return float(np.deg2rad(degrees))


def middle_joint(first: FloatArray, last: FloatArray, upper: float, lower: float, pole: FloatArray) -> FloatArray:
    """Knee or elbow between two given ends.

    Parameters
    ----------
    first, last : ndarray, shape (T, 3)
        Hip and ankle, or shoulder and wrist. [m]
    upper, lower : float
        Length from `first` to the joint, and from it to `last`. [m]
    pole : ndarray, shape (T, 3)
        Side that the joint points to; only its part perpendicular to the line between the ends counts.

    Returns
    -------
    ndarray, shape (T, 3)
        On the line where the ends are farther apart than the limb is long; then the two lengths are not kept. [m]

    Notes
    -----
    Law of cosines for the place along the line, Pythagoras for the height over it.
    """
    reach = last - first
    distance = np.linalg.norm(reach, axis=-1, keepdims=True)
    line = reach / distance
    along = (distance**2 + upper**2 - lower**2) / (2.0 * distance)
    height = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    return first + along * line + height * unit(across(pole, line))


def limb_length(upper: float, lower: float, flexion: npt.ArrayLike) -> FloatArray:
    """End to end of a limb whose middle joint is bent by `flexion` [rad], 0 is straight; law of cosines."""
    return np.sqrt(upper**2 + lower**2 + 2.0 * upper * lower * np.cos(flexion))


def heading_vectors(angle: FloatArray) -> FloatArray:
    """Horizontal direction that a foot or chest faces, shape (T, 3): closed (0) is -y, pi/2 is at the pitcher."""
    return np.stack([np.sin(angle), -np.cos(angle), np.zeros_like(angle)], axis=-1)


def foot_points(
    ball: FloatArray, heading: FloatArray, pitch: FloatArray, toe_pitch: FloatArray
) -> dict[str, FloatArray]:
    """Ankle, heel, ball and toe of a foot of a body of unit height that turns about its ball.

    Parameters
    ----------
    ball : ndarray, shape (T, 3)
        Metatarsal heads. [share of height]
    heading : ndarray, shape (T,)
        0 is side-on, positive opens toward the pitcher. [rad]
    pitch : ndarray, shape (T,)
        Of the rear foot, positive is heel up. [rad]
    toe_pitch : ndarray, shape (T,)
        Of the toes, positive is toe tip down. [rad]

    Returns
    -------
    dict of str to ndarray, shape (T, 3)
    """
    ahead = heading_vectors(heading)
    up = np.broadcast_to(np.array([0.0, 0.0, 1.0]), ahead.shape)

    def tilted(angle: FloatArray, forward: float, upward: float) -> FloatArray:
        c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
        return ball + forward * (c * ahead - s * up) + upward * (s * ahead + c * up)

    p = proportions
    return {
        "ankle": tilted(pitch, p.HEEL_TO_ANKLE - p.HEEL_TO_BALL, p.ANKLE_HEIGHT - p.BALL_HEIGHT),
        "heel": tilted(pitch, -p.HEEL_TO_BALL, p.HEEL_HEIGHT - p.BALL_HEIGHT),
        "ball": ball,
        "toe": tilted(toe_pitch, p.DE_LEVA_1996["foot"] - p.HEEL_TO_BALL, p.TOE_HEIGHT - p.BALL_HEIGHT),
    }


def wrist(hand: FloatArray, shoulder: FloatArray, bat: FloatArray, length: float) -> FloatArray:
    """Wrist of a hand that holds the bat, on the shoulder's side of the handle.

    Parameters
    ----------
    hand : ndarray, shape (T, 3)
        Middle of the grip, on the bat's axis. [m]
    shoulder : ndarray, shape (T, 3)
        [m]
    bat : ndarray, shape (T, 3)
        Unit vector from knob to barrel.
    length : float
        Wrist to grip. [m]

    Returns
    -------
    ndarray, shape (T, 3)
        [m]

    Notes
    -----
    A fist holds a handle square to the forearm or aslant, lying across the palm, so half of the
    part along the bat is taken out of the direction to the shoulder.
    """
    toward = unit(shoulder - hand)
    along = np.sum(toward * bat, axis=-1, keepdims=True) * bat
    return hand + length * unit(toward - 0.5 * along)
