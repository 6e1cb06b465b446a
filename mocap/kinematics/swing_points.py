"""Points of a swing that lie between recorded ones."""

from __future__ import annotations

from mocap.capture import FloatArray
from mocap.kinematics.geometry import middle_of_foot
from mocap.swing import Swing


def mid_foot(swing: Swing, side: str) -> FloatArray:
    """Middle of a foot, shape (F, 3). [m]"""
    return middle_of_foot(*(swing[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))


def mid_hands(swing: Swing) -> FloatArray:
    """Half way between the hands, shape (F, 3). [m]"""
    middle: FloatArray = (swing["front_hand"] + swing["back_hand"]) / 2
    return middle
