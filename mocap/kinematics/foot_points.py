"""Heel, ball and toe tip of a foot, from markers on the shoe or from what points of the foot there are."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit

#: Height of the ankle centre above the sole and its distance from the back of the heel, shares of stature:
#: Drillis & Contini (1966) .039; the second is this project's default.
ANKLE_HEIGHT, ANKLE_FROM_HEEL = 0.039, 0.035
#: Height of the metatarsal heads and of the back of the heel's centre over the sole, share of stature.
FOOT_POINT_HEIGHT = 0.012
#: Foot length over the distance heel marker to forefoot marker. This project's default.
FOOT_PER_MARKERS = 1.33
#: Heel to metatarsal heads over heel to toe tip. This project's default.
BALL_SHARE = 0.72
#: Fall of the line ankle -> ball below the sole's direction when the foot is flat. [rad] This project's default.
BALL_FALL = 0.32


def foot_from_markers(
    marker: Mapping[str, FloatArray], ankle: FloatArray, side: str, height_m: float
) -> dict[str, FloatArray]:
    """Heel, ball and toe tip at the height of bone, from markers that sit on the shoe.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        `l_heel_marker` and `l_forefoot` or `l_metatarsal_1` and `l_metatarsal_5`, by side. [m]
    ankle : ndarray, shape (F, 3)
        [m]
    side : {"l", "r"}
    height_m : float
        Standing height. [m]

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        `l_heel`, `l_ball`, `l_toe` by side; empty where the foot has no markers. [m]
    """
    heel, forefoot = marker.get(f"{side}_heel_marker"), marker.get(f"{side}_forefoot")
    if forefoot is None and {f"{side}_metatarsal_1", f"{side}_metatarsal_5"} <= set(marker):
        forefoot = (marker[f"{side}_metatarsal_1"] + marker[f"{side}_metatarsal_5"]) / 2
    if heel is None or forefoot is None:
        return {}
    along = unit(forefoot - heel)
    up = unit(across(ankle - heel, along))
    over = np.sum((ankle - heel) * up, axis=-1)
    over = over[np.isfinite(over)]
    ankle_height = float(np.median(over)) if len(over) else 0.0
    # The ankle stands .039 of stature over the sole (Drillis & Contini 1966); the markers sit higher than bone.
    drop = max((ANKLE_HEIGHT - FOOT_POINT_HEIGHT) * height_m - ankle_height, 0.0)
    lower = heel - drop * up
    return {
        f"{side}_heel": lower,
        f"{side}_ball": forefoot - drop * up,
        f"{side}_toe": lower + FOOT_PER_MARKERS * (forefoot - heel),
    }


def complete_foot(centres: dict[str, FloatArray], side: str, up: FloatArray, height_m: float) -> None:
    """Add the heel, ball and toe that are not among the points, from the others and the ankle.

    Parameters
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        Changed in place. Without any point on the foot but the ankle all three become NaN. [m]
    side : {"l", "r"}
    up : ndarray, shape (3,)
        The lab's vertical.
    height_m : float
        [m]
    """
    ankle = centres[f"{side}_ankle"]
    heel, toe = centres.get(f"{side}_heel"), centres.get(f"{side}_toe")
    if heel is not None and toe is not None:
        centres.setdefault(f"{side}_ball", heel + BALL_SHARE * (toe - heel))
    ball = centres.get(f"{side}_ball", toe)
    if ball is None:
        for name in ("heel", "ball", "toe"):
            centres[f"{side}_{name}"] = np.full_like(ankle, np.nan)
        return
    centres.setdefault(f"{side}_ball", ankle + 0.7 * (ball - ankle))
    slope = unit(ball - ankle)
    right = unit(np.cross(up, slope))
    lifted = np.cos(BALL_FALL) * slope + np.sin(BALL_FALL) * np.cross(slope, right)
    sole_up = np.cross(lifted, right)
    if heel is None:
        lower = ankle - ANKLE_HEIGHT * 0.8 * height_m * sole_up
        centres[f"{side}_heel"] = lower - ANKLE_FROM_HEEL * height_m * lifted
    centres.setdefault(f"{side}_toe", ball + 0.035 * height_m * lifted)
