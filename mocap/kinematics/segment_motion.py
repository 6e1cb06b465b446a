"""How fast a swing's centre of mass moves and its segments turn."""

from __future__ import annotations

from mocap.capture import FloatArray
from mocap.kinematics.filtering import derivative
from mocap.kinematics.geometry import angular_velocity
from mocap.swing import Swing


def com_velocity(swing: Swing) -> FloatArray:
    """Velocity of the whole-body centre of mass, hitting frame.

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    ndarray, shape (F, 3)
        Central differences. [m/s]
    """
    return derivative(swing.com, swing.rate_hz)


def angular_velocities(swing: Swing) -> dict[str, FloatArray]:
    """Angular velocity of every segment of the skeleton, from its rotation matrices.

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        By the segments of `Swing.frames`; hitting frame, right-hand rule; NaN where the axes are. The part along a limb
        is only as good as the points that show its roll. A left-handed hitter turns as the right-handed mirror image
        does. [rad/s]
    """
    return {name: angular_velocity(rotation, swing.rate_hz) for name, rotation in swing.frames.items()}
