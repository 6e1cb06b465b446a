"""Heel, ball and toe tip of a foot, from markers on the shoe or from what points of the foot there are."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit

#: Height of the ankle centre above the sole and its distance from the back of the heel, shares of stature:
#: Drillis & Contini (1966) .039; the second is this project's default (.026 and .035 on two people in labs).
ANKLE_HEIGHT, ANKLE_FROM_HEEL = 0.039, 0.035
#: Height of the metatarsal heads and of the back of the heel's centre over the sole, share of stature.
FOOT_POINT_HEIGHT = 0.012
#: Foot length over the distance heel marker to forefoot marker. This project's default.
FOOT_PER_MARKERS = 1.33
#: Heel to metatarsal heads over heel to toe tip. This project's default.
BALL_SHARE = 0.72
#: Fall of the lines ankle -> ball and ankle -> toe tip against the sole. [rad] Two people in labs have 15 to 18 deg
#: and, with the foot's length from `FOOT_PER_MARKERS`, 12 deg.
BALL_FALL, TOE_FALL = 0.32, 0.21
#: Between these angles of the line ankle -> front of the foot from the vertical the foot's plane passes over from the
#: shank's to the one that stands square on the floor. [rad] Nearer to the vertical than the first, 1 cm of error in the
#: points turns the second by 25 deg or more; the first is up to 30 deg off where a leg leans sideways over a flat foot.
#: This project's default.
UPRIGHT, SLANTED = np.radians(10.0), np.radians(30.0)


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
    """Add the heel, ball and toe that are not among the points, from the others, the ankle and the knee.

    Parameters
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        Changed in place. Of heel, ball and toe those that cannot be told are NaN: all that are missing where the foot
        has neither ball nor toe. [m]
    side : {"l", "r"}
    up : ndarray, shape (3,)
        The lab's vertical.
    height_m : float
        [m]

    Notes
    -----
    A missing heel lies behind and below the ankle in the foot's own plane, the sole turned up from the line ankle ->
    ball by what that line falls in a flat foot; see `_foot_plane`.
    """
    ankle = centres[f"{side}_ankle"]
    ball, toe = centres.get(f"{side}_ball"), centres.get(f"{side}_toe")
    front, fall = (toe, TOE_FALL) if ball is None else (ball, BALL_FALL)
    if front is None:
        for name in ("heel", "ball", "toe"):
            centres.setdefault(f"{side}_{name}", np.full_like(ankle, np.nan))
        return
    if f"{side}_heel" not in centres:
        slope = unit(front - ankle)
        left = _foot_plane(slope, centres.get(f"{side}_knee", np.full_like(ankle, np.nan)) - ankle, up)
        sole = np.cos(fall) * slope + np.sin(fall) * np.cross(slope, left)
        below = (ANKLE_HEIGHT - FOOT_POINT_HEIGHT) * height_m * np.cross(sole, left)
        centres[f"{side}_heel"] = ankle - below - ANKLE_FROM_HEEL * height_m * sole
    heel = centres[f"{side}_heel"]
    if ball is None:
        centres[f"{side}_ball"] = heel + BALL_SHARE * (front - heel)
    if toe is None:
        centres[f"{side}_toe"] = heel + (front - heel) / BALL_SHARE


def _foot_plane(slope: FloatArray, shank: FloatArray, up: FloatArray) -> FloatArray:
    """Unit normal of the plane in which a foot bends, to the subject's left, shape (F, 3).

    Parameters
    ----------
    slope : ndarray, shape (F, 3)
        Unit direction from the ankle to the front of the foot.
    shank : ndarray, shape (F, 3)
        From ankle to knee; where it is missing the vertical alone decides. [m]
    up : ndarray, shape (3,)

    Notes
    -----
    By the shank the normal is that of the plane knee-ankle-foot, which an ankle keeps well apart even at its
    straightest. But a foot on the floor, on its whole sole or on its ball, stands square on it though the leg leans
    sideways: its normal is level. It is turned about the slope from the first toward the second by sin(2d)/2, where d
    is the angle between them: by nearly all of what a leg leans over a flat foot, by 29 deg at most, as far as an
    ankle gives way sideways, and without a jump where a foot tips beyond the vertical and the level normal's sense
    turns over. A foot that points straight down has no level normal, and goes by the shank.
    """
    across_floor = np.cross(up, slope)
    level, by_shank = unit(across_floor), unit(np.cross(shank, slope))
    from_vertical = np.arcsin(np.clip(np.linalg.norm(across_floor, axis=-1, keepdims=True), 0.0, 1.0))
    share = np.clip((from_vertical - UPRIGHT) / (SLANTED - UPRIGHT), 0.0, 1.0)
    share = share**2 * (3.0 - 2.0 * share)
    cosine = np.sum(by_shank * level, axis=-1, keepdims=True)
    sine = np.sum(np.cross(by_shank, level) * slope, axis=-1, keepdims=True)
    roll = np.where(share > 0, share * sine * cosine, 0.0)
    turned = np.cos(roll) * by_shank + np.sin(roll) * np.cross(slope, by_shank)
    return np.where(np.isfinite(by_shank), turned, level)
