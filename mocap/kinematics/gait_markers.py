"""Joint centres from the full-body conventional gait marker set."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.geometry import unit
from mocap.kinematics.stature import height_from_segments

#: Half the size of the usual 14 mm marker. [m] Common practice.
MARKER_RADIUS_M = 0.007
#: Widths used where the recording does not carry the hitter's own. [m] This project's defaults for adults.
WIDTHS_M = {"kneewidth": 0.105, "anklewidth": 0.072, "elbowwidth": 0.075}
#: Centre of the shoulder below the acromion as share of the distance between the acromia: Rab et al. (2002)
#: Gait Posture 15:113-119, value from memory.
SHOULDER_DROP = 0.17
#: Head centre below and vertex above the plane of the head band, shares of stature (head height .130 and eye height
#: .936 of stature: Drillis & Contini 1966; the split is this project's default).
HEAD_BELOW_BAND, VERTEX_ABOVE_BAND = 0.02, 0.05
#: Height of the metatarsal heads and of the back of the heel's centre over the sole, share of stature.
FOOT_POINT_HEIGHT = 0.012
#: Foot length over the distance heel marker to forefoot marker. This project's default.
FOOT_PER_MARKERS = 1.33


def centres_from_gait_markers(
    found: Mapping[str, FloatArray], subject: Mapping[str, Any], *, source: str
) -> tuple[dict[str, FloatArray], FloatArray]:
    """Joint centres and the face's direction from the markers.

    Parameters
    ----------
    found : mapping of str to ndarray, shape (F, 3)
        Markers by the names of ``assets/marker_sets/conventional_gait.toml``. [m]
    subject : mapping
        The lab's measurements in mm where the recording carries them: ``lleglength``, ``lkneewidth`` ...
    source : str
        Name of the recording, for messages.

    Returns
    -------
    (centres, head_forward)
        Name to shape (F, 3) [m]; unit direction, shape (F, 3).

    Raises
    ------
    InputError
        No marker shows the back of the pelvis.
    """
    marker = dict(found)
    centres: dict[str, FloatArray] = {}
    pelvis_axes, mid_asis, mid_psis = _pelvis(marker, source)
    thorax_up = unit(
        (marker["c7"] + marker["clavicle"]) - (marker.get("t10", mid_psis) + marker.get("sternum", mid_asis))
    )
    for side in "lr":
        leg = _millimetres(subject, f"{side}leglength") or float(
            np.nanmedian(np.linalg.norm(marker[f"{side}_asis"] - marker[f"{side}_ankle_lateral"], axis=1))
        )
        centres[f"{side}_hip"] = hip_centre_harrington(
            marker["l_asis"], marker["r_asis"], mid_psis, leg, side=side, axes=pelvis_axes
        )
        _leg(centres, marker, subject, side, pelvis_axes)
    stature = float(subject.get("height_m", 0.0)) or height_from_segments(centres)[0]
    for side in "lr":
        _foot(centres, marker, side, stature)
        _arm(centres, marker, subject, side, thorax_up)
    centres["pelvis"] = (centres["l_hip"] + centres["r_hip"]) / 2
    centres["neck"] = (centres["l_shoulder"] + centres["r_shoulder"]) / 2
    front = (marker["l_head_front"] + marker["r_head_front"]) / 2
    back = (marker["l_head_back"] + marker["r_head_back"]) / 2
    forward = unit(front - back)
    left = unit(marker["l_head_front"] - marker["r_head_front"] + marker["l_head_back"] - marker["r_head_back"])
    head_up = unit(np.cross(forward, left))
    band = (front + back) / 2
    centres["head"] = band - HEAD_BELOW_BAND * stature * head_up
    centres["head_top"] = band + VERTEX_ABOVE_BAND * stature * head_up
    return centres, forward


def hip_centre_harrington(
    left_asis: FloatArray,
    right_asis: FloatArray,
    mid_psis: FloatArray,
    leg_length: float,
    *,
    side: str,
    axes: FloatArray | None = None,
) -> FloatArray:
    """Hip joint centre by the regression on pelvis depth, pelvis width and leg length.

    Parameters
    ----------
    left_asis, right_asis, mid_psis : ndarray, shape (F, 3)
        [m]
    leg_length : float
        From the anterior superior iliac spine to the malleolus. [m]
    side : {"l", "r"}
    axes : ndarray, shape (F, 3, 3), optional
        World from pelvis, ISB axes (x anterior, y up, z right); found from the markers where not given.

    Returns
    -------
    ndarray, shape (F, 3)
        [m]

    Notes
    -----
    From the mid-ASIS, in mm: x = -0.24 PD - 9.9, y = -0.16 PW - 0.04 LL - 7.1, z = +-(0.28 PD + 0.16 PW + 7.9).
    Leave-one-out errors 5.2, 3.6 and 3.2 mm in that study.

    References
    ----------
    Harrington ME et al. (2007) J Biomech 40:595-602.
    """
    mid_asis = (left_asis + right_asis) / 2
    if axes is None:
        axes = pelvis_axes(left_asis, right_asis, mid_psis)
    width = float(np.nanmedian(np.linalg.norm(right_asis - left_asis, axis=-1)))
    depth = float(np.nanmedian(np.linalg.norm(mid_asis - mid_psis, axis=-1)))
    sign = 1.0 if side == "r" else -1.0
    local = np.array(
        [
            -0.24 * depth - 0.0099,
            -0.16 * width - 0.04 * leg_length - 0.0071,
            sign * (0.28 * depth + 0.16 * width + 0.0079),
        ]
    )
    return mid_asis + axes @ local


def pelvis_axes(left_asis: FloatArray, right_asis: FloatArray, mid_psis: FloatArray) -> FloatArray:
    """Pelvis axes after the ISB: z to the right through the ASIS, x forward in the ASIS-PSIS plane, y up.

    Parameters
    ----------
    left_asis, right_asis, mid_psis : ndarray, shape (..., 3)
        [m]

    Returns
    -------
    ndarray, shape (..., 3, 3)
        World from pelvis, columns x, y, z.

    References
    ----------
    Wu G et al. (2002) J Biomech 35:543-548.
    """
    z = unit(right_asis - left_asis)
    forward = (left_asis + right_asis) / 2 - mid_psis
    y = unit(np.cross(z, forward))
    return np.stack([np.cross(y, z), y, z], axis=-1)


def chord(proximal: FloatArray, marker: FloatArray, wand: FloatArray, offset: float) -> FloatArray:
    """Joint centre at a given distance from a skin marker, seen under a right angle from it and the joint above.

    Parameters
    ----------
    proximal : ndarray, shape (F, 3)
        Joint centre above. [m]
    marker : ndarray, shape (F, 3)
        Marker on the joint's lateral side. [m]
    wand : ndarray, shape (F, 3)
        A lateral point of the segment; the centre lies in the plane of the three, on the other side. [m]
    offset : float
        Half the joint's width plus the marker's radius. [m]

    Returns
    -------
    ndarray, shape (F, 3)
        The centre K with |K - marker| = offset and (proximal - K) perpendicular to (marker - K). [m]

    References
    ----------
    Davis RB et al. (1991) Hum Mov Sci 10:575-587.
    """
    toward = proximal - marker
    length = np.linalg.norm(toward, axis=-1, keepdims=True)
    u = toward / length
    lateral = wand - marker
    away = -unit(lateral - np.sum(lateral * u, axis=-1, keepdims=True) * u)
    cosine = np.clip(offset / length, 0.0, 1.0)
    return marker + offset * (cosine * u + np.sqrt(1.0 - cosine**2) * away)


def _millimetres(subject: Mapping[str, Any], key: str) -> float:
    """A length of the lab's measurements in metres, zero where it is not there."""
    value = subject.get(key, 0.0)
    return float(value) / 1000.0 if isinstance(value, (int, float)) and value > 0 else 0.0


def _offset(subject: Mapping[str, Any], side: str, width: str) -> float:
    return (_millimetres(subject, side + width) or WIDTHS_M[width]) / 2 + MARKER_RADIUS_M


def _pelvis(marker: dict[str, FloatArray], source: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    if "l_psis" in marker and "r_psis" in marker:
        mid_psis = (marker["l_psis"] + marker["r_psis"]) / 2
    elif "sacrum" in marker:
        mid_psis = marker["sacrum"]
    else:
        raise InputError(f"{source}: the pelvis cannot be placed: the markers LPSI and RPSI, or SACR, are missing")
    axes = pelvis_axes(marker["l_asis"], marker["r_asis"], mid_psis)
    return axes, (marker["l_asis"] + marker["r_asis"]) / 2, mid_psis


def _leg(
    centres: dict[str, FloatArray],
    marker: Mapping[str, FloatArray],
    subject: Mapping[str, Any],
    side: str,
    axes: FloatArray,
) -> None:
    """Knee and ankle by the chord construction; without wands the pelvis shows which way is lateral."""
    lateral = axes[..., :, 2] * (1.0 if side == "r" else -1.0)
    knee_marker, ankle_marker = marker[f"{side}_knee_lateral"], marker[f"{side}_ankle_lateral"]
    thigh = marker.get(f"{side}_thigh", knee_marker + lateral)
    centres[f"{side}_knee"] = chord(centres[f"{side}_hip"], knee_marker, thigh, _offset(subject, side, "kneewidth"))
    shank = marker.get(f"{side}_shank", ankle_marker + knee_marker - centres[f"{side}_knee"])
    centres[f"{side}_ankle"] = chord(centres[f"{side}_knee"], ankle_marker, shank, _offset(subject, side, "anklewidth"))


def _foot(centres: dict[str, FloatArray], marker: Mapping[str, FloatArray], side: str, stature: float) -> None:
    """Heel, ball and toe tip at the height of bone, from markers that sit on the shoe."""
    heel, forefoot, ankle = marker[f"{side}_heel_marker"], marker[f"{side}_forefoot"], centres[f"{side}_ankle"]
    along = unit(forefoot - heel)
    up = ankle - heel
    up = unit(up - np.sum(up * along, axis=-1, keepdims=True) * along)
    ankle_height = np.nanmedian(np.sum((ankle - heel) * up, axis=-1))
    # The ankle stands .039 of stature over the sole (Drillis & Contini 1966); the markers sit higher than bone.
    drop = max(0.039 * stature - float(ankle_height) - FOOT_POINT_HEIGHT * stature, 0.0)
    centres[f"{side}_heel"] = heel - drop * up
    centres[f"{side}_ball"] = forefoot - drop * up
    centres[f"{side}_toe"] = centres[f"{side}_heel"] + FOOT_PER_MARKERS * (forefoot - heel)


def _arm(
    centres: dict[str, FloatArray],
    marker: Mapping[str, FloatArray],
    subject: Mapping[str, Any],
    side: str,
    thorax_up: FloatArray,
) -> None:
    """Shoulder below the acromion, elbow beside its marker, wrist between its two, hand at the knuckle."""
    acromion = marker[f"{side}_acromion"]
    between = float(np.nanmedian(np.linalg.norm(marker["l_acromion"] - marker["r_acromion"], axis=1)))
    drop = _millimetres(subject, f"{side}shoulderoffset")
    drop = drop + MARKER_RADIUS_M if drop else SHOULDER_DROP * between
    shoulder = acromion - drop * thorax_up
    centres[f"{side}_shoulder"] = shoulder
    nan = np.full_like(shoulder, np.nan)
    lateral_elbow = marker.get(f"{side}_elbow_lateral", nan)
    wrist = (marker.get(f"{side}_wrist_thumb", nan) + marker.get(f"{side}_wrist_little", nan)) / 2
    # The flexion axis is perpendicular to the arm's plane; a straight arm has no plane, so the thorax helps there.
    to_left = unit(np.cross(thorax_up, marker["clavicle"] - marker["c7"]))
    inward = to_left * (1.0 if side == "r" else -1.0)
    plane = np.cross(wrist - lateral_elbow, shoulder - lateral_elbow)
    plane = plane * np.sign(np.sum(plane * inward, axis=-1, keepdims=True))
    reach = np.linalg.norm(wrist - lateral_elbow, axis=-1, keepdims=True) * np.linalg.norm(
        shoulder - lateral_elbow, axis=-1, keepdims=True
    )
    medial = unit(plane / reach + 0.15 * inward)
    centres[f"{side}_elbow"] = lateral_elbow + _offset(subject, side, "elbowwidth") * medial
    centres[f"{side}_wrist"] = wrist
    elbow = centres[f"{side}_elbow"]
    centres[f"{side}_hand"] = marker.get(f"{side}_finger", wrist + 0.32 * (wrist - elbow))
