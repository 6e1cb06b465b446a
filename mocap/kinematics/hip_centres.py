"""Hip joint centres by published regressions on the size of pelvis and leg.

All of them start midway between the two anterior superior iliac spines (ASIS), x forward, y up, z to the right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.pelvis import Pelvis
from mocap.kinematics.subject import Measured

#: Half the size of the usual 14 mm marker. [m] Common practice.
MARKER_RADIUS_M = 0.007
#: Angles of the Davis regression: sideward and backward from the pelvis's axes. [rad] Davis et al. (1991); labs'
#: programs compute with .5 and .314, which shifts the centre by 0.4 mm.
DAVIS_ANGLES = (np.radians(28.4), np.radians(18.0))


def _per_axis(mean_m: float, sd_m: float) -> float:
    """Standard deviation per axis of an error whose length has this mean and standard deviation. [m]"""
    return float(np.hypot(mean_m, sd_m) / np.sqrt(3.0))


#: Error of each way to find a hip centre, one standard deviation per axis. [m] Against CT in 67 people (Mantovani et
#: al. 2016, Gait Posture 44:48-54): Davis 25.0 +- 6.7 mm, Harrington 12.3 +- 5.9 mm. Hara's own leave-one-out errors
#: are within 1 mm of Harrington's (5.2, 4.4, 3.8 against 5.2, 3.6, 3.2 mm), so it is taken to be as good. A functional
#: centre: this project's default.
HIP_SD_M = {
    "davis": _per_axis(0.0250, 0.0067),
    "harrington": _per_axis(0.0123, 0.0059),
    "hara": _per_axis(0.0123, 0.0059),
    "functional": 0.006,
}
#: How a regression is called in notes, and why it was chosen, by whether the lab's leg lengths are there.
METHODS = {"davis": "Davis 1991", "harrington": "Harrington 2007", "hara": "Hara 2016"}
AUTO_BECAUSE = {
    True: ", as the recording carries the lab's leg lengths: the numbers then agree with the lab's own",
    False: ", the more accurate of the two where the lab's leg lengths are not in the recording",
}
HipMethod = Literal["auto", "davis", "harrington", "hara"]


@dataclass(frozen=True)
class HipCentres:
    """Both hip centres, and how they were found.

    Attributes
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        By side, `l` and `r`. [m]
    sd_m : float
        Standard deviation per axis. [m]
    note : str
    """

    centres: Mapping[str, FloatArray]
    sd_m: float
    note: str


def hip_davis(
    leg_length: float,
    asis_to_trochanter: float,
    asis_width: float,
    *,
    marker_radius: float = MARKER_RADIUS_M,
    angles: tuple[float, float] = DAVIS_ANGLES,
) -> FloatArray:
    """Right hip centre from leg length and the depth of the trochanter behind the ASIS.

    Parameters
    ----------
    leg_length : float
        From ASIS to medial malleolus, mean of both legs. [m]
    asis_to_trochanter : float
        Horizontal distance from ASIS to greater trochanter. [m]
    asis_width : float
        Between the ASIS. [m]
    marker_radius : float
        [m]
    angles : tuple of 2 floats
        Sideward and backward angle of the regression. [rad]

    Returns
    -------
    ndarray, shape (3,)
        From the middle of the ASIS markers: forward, up, right; the left hip's z is the negative. [m]

    Notes
    -----
    With C = 0.115 L - 15.3 mm: x = -(d + r) cos b + C cos t sin b, y = -(d + r) sin b - C cos t cos b,
    z = W / 2 - C sin t.

    References
    ----------
    Davis RB et al. (1991) Hum Mov Sci 10:575-587.
    """
    theta, beta = angles
    c = 0.115 * leg_length - 0.0153
    back = asis_to_trochanter + marker_radius
    forward = -back * np.cos(beta) + c * np.cos(theta) * np.sin(beta)
    up = -back * np.sin(beta) - c * np.cos(theta) * np.cos(beta)
    return np.array([forward, up, asis_width / 2 - c * np.sin(theta)])


def davis_trochanter(leg_length: float) -> float:
    """Distance from ASIS to greater trochanter where it was not measured: 0.1288 L - 48.56 mm. [m]

    Davis RB et al. (1991) Hum Mov Sci 10:575-587.
    """
    return 0.1288 * leg_length - 0.04856


def hip_harrington(pelvis_depth: float, pelvis_width: float, leg_length: float) -> FloatArray:
    """Right hip centre from pelvis depth, pelvis width and leg length.

    Parameters
    ----------
    pelvis_depth : float
        From the middle of the ASIS to the middle of the PSIS, bone. [m]
    pelvis_width : float
        Between the ASIS. [m]
    leg_length : float
        From ASIS to medial malleolus. [m]

    Returns
    -------
    ndarray, shape (3,)
        From the middle of the ASIS, bone: forward, up, right; the left hip's z is the negative. [m]

    Notes
    -----
    x = -0.24 PD - 9.9, y = -0.16 PW - 0.04 LL - 7.1, z = 0.28 PD + 0.16 PW + 7.9 mm; found on MRI of 8 adults and 24
    children; leave-one-out errors 5.2, 3.6 and 3.2 mm.

    References
    ----------
    Harrington ME et al. (2007) J Biomech 40:595-602.
    """
    return np.array(
        [
            -0.24 * pelvis_depth - 0.0099,
            -0.16 * pelvis_width - 0.04 * leg_length - 0.0071,
            0.28 * pelvis_depth + 0.16 * pelvis_width + 0.0079,
        ]
    )


def hip_hara(leg_length: float) -> FloatArray:
    """Right hip centre from leg length alone.

    Parameters
    ----------
    leg_length : float
        From ASIS to medial malleolus. [m]

    Returns
    -------
    ndarray, shape (3,)
        From the middle of the ASIS, bone: forward, up, right; the left hip's z is the negative. [m]

    Notes
    -----
    x = 11 - 0.063 LL, y = -9 - 0.078 LL, z = 8 + 0.086 LL mm; found on CT of 157 people, 37 of them children;
    leave-one-out errors 5.2, 4.4 and 3.8 mm.

    References
    ----------
    Hara R et al. (2016) Sci Rep 6:37707.
    """
    return np.array([0.011 - 0.063 * leg_length, -0.009 - 0.078 * leg_length, 0.008 + 0.086 * leg_length])


def hip_centres(
    pelvis: Pelvis,
    lab: Measured,
    legs: Mapping[str, float],
    method: HipMethod,
    functional: Mapping[str, FloatArray],
) -> HipCentres:
    """Both hip centres by the method asked for, on the lab's measurements or on estimates from the markers.

    Parameters
    ----------
    pelvis : Pelvis
    lab : Measured
    legs : mapping of str to float
        Leg length by side, measured or estimated. [m]
    method : {"auto", "davis", "harrington", "hara"}
        `auto`: Davis where the recording carries both leg lengths, so that the numbers agree with the lab's own; else
        Harrington, whose error against CT is half as large.
    functional : mapping of str to ndarray, shape (3,)
        `l_hip` and `r_hip` in the pelvis's axes from its origin; replaces the regression where both are there. [m]

    Returns
    -------
    HipCentres

    Notes
    -----
    The landmarks of Harrington and Hara are on bone. A marker's centre lies its radius in front of the ASIS or behind
    the PSIS, which is taken off; the flesh between skin and bone is not, as it differs from person to person as much as
    it is thick (9.7 +- 7.0 mm over the ASIS, 19.6 +- 10.9 mm over the PSIS: Mantovani 2016); what it adds is part of
    the errors in `HIP_SD_M`, which were found from outside too.
    """
    if {"l_hip", "r_hip"} <= set(functional):
        local = {side: np.asarray(functional[f"{side}_hip"], dtype=np.float64) for side in legs}
        sd, note = HIP_SD_M["functional"], "hip centres: functional, from the calibration trial"
    else:
        given = lab.has("lleglength", "rleglength")
        chosen = method if method != "auto" else ("davis" if given else "harrington")
        leg = float(np.mean(list(legs.values())))
        to_side = {"l": np.array([1.0, 1.0, -1.0]), "r": np.ones(3)}
        local = {side: to_side[side] * _local(chosen, pelvis, lab, leg, legs[side], side) for side in legs}
        sd = HIP_SD_M[chosen]
        source = "measured by the lab" if given else "estimated from the markers"
        why = AUTO_BECAUSE[given] if method == "auto" else ""
        note = f"hip centres by {METHODS[chosen]}{why}; leg length {leg:.3f} m {source}"
    return HipCentres({side: pelvis.origin + pelvis.axes @ at for side, at in local.items()}, sd, note)


def leg_length(marker: Mapping[str, FloatArray], side: str, source: str) -> float:
    """Leg length along the markers, ASIS to knee to ankle, with the hip at its straightest. [m]

    On two people with measured leg lengths it comes out 2 to 5 % longer than them. Bending the hip brings ASIS and knee
    closer; the 95th percentile of their distance is that of a leg which is nearly straight.

    Raises
    ------
    InputError
        The markers are never seen together.
    """
    thigh = np.linalg.norm(marker[f"{side}_asis"] - marker[f"{side}_knee_lateral"], axis=1)
    shank = np.linalg.norm(marker[f"{side}_knee_lateral"] - marker[f"{side}_ankle_lateral"], axis=1)
    thigh, shank = thigh[np.isfinite(thigh)], shank[np.isfinite(shank)]
    if not len(thigh) or not len(shank):
        raise InputError(
            f"{source}: the length of a leg cannot be told: its hip, knee and ankle markers are never seen together"
        )
    return float(np.percentile(thigh, 95) + np.median(shank))


def _local(chosen: str, pelvis: Pelvis, lab: Measured, leg: float, own_leg: float, side: str) -> FloatArray:
    """Centre of a right hip as seen from the middle of the ASIS markers, shape (3,). [m]"""
    if chosen == "davis":
        trochanter = lab.lengths_m.get(f"{side}asistrocanterdistance") or davis_trochanter(own_leg)
        return hip_davis(leg, trochanter, lab.lengths_m.get("interasisdistance", pelvis.width_m))
    to_bone = np.array([-MARKER_RADIUS_M, 0.0, 0.0])
    if chosen == "harrington":
        return to_bone + hip_harrington(pelvis.depth_m - 2 * MARKER_RADIUS_M, pelvis.width_m, own_leg)
    return to_bone + hip_hara(own_leg)
