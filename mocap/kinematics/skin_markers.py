"""Joint centres, axes and flexion axes of a body from markers on its skin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.foot_points import foot_from_markers
from mocap.kinematics.hip_centres import HipMethod, hip_centres, leg_length
from mocap.kinematics.limb_centres import Limbs
from mocap.kinematics.marker_sets import SIDES
from mocap.kinematics.pelvis import pelvis_from
from mocap.kinematics.static_trial import StaticTrial
from mocap.kinematics.subject import Measured, measured, stated_size
from mocap.kinematics.trunk_axes import (
    HEAD_BELOW_BAND,
    VERTEX_ABOVE_BAND,
    head_axes,
    thorax_axes,
    thorax_axes_from_pelvis,
)

#: Leg length, ASIS to malleolus, as share of standing height; .525 and .523 on the two people whose both were measured.
#: This project's default, for the widths of joints alone.
LEG_PER_HEIGHT = 0.524
#: Markers that show the head.
HEAD_BAND = {"l_head_front", "r_head_front", "l_head_back", "r_head_back"}


@dataclass(frozen=True)
class MarkedBody:
    """What the markers show.

    Attributes
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        [m]
    face : ndarray, shape (F, 3)
        Unit direction of the face; NaN where it is not seen.
    lateral : dict of str to ndarray, shape (F, 3)
        Unit vectors along flexion axes, to the subject's right in the anatomical position.
    axes : dict of str to ndarray, shape (F, 3, 3)
        World from `pelvis`, `thorax`, `head`: x forward, y up, z right.
    origins : dict of str to ndarray, shape (F, 3)
        `pelvis`: middle of the ASIS markers; `thorax`: clavicle marker. [m]
    hip_sd_m : float
        Standard deviation per axis. [m]
    notes : list of str
    """

    centres: dict[str, FloatArray]
    face: FloatArray
    lateral: dict[str, FloatArray]
    axes: dict[str, FloatArray]
    origins: dict[str, FloatArray]
    hip_sd_m: float
    notes: list[str]


def body_from_markers(
    marker: Mapping[str, FloatArray],
    capture: Capture,
    hip: HipMethod,
    functional: Mapping[str, FloatArray],
    static: StaticTrial | None = None,
) -> MarkedBody:
    """Joint centres from the markers of one recording, as far as they are there.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        By canonical name; the pelvis's and the lateral ones of knees and ankles must be there. [m]
    capture : Capture
        For the lab's measurements and the name of the recording.
    hip : {"auto", "davis", "harrington", "hara"}
    functional : mapping of str to ndarray, shape (3,)
        Functional centres in the axes of pelvis and thorax from their origins, by `l_hip`, `r_shoulder` ... [m]
    static : StaticTrial, optional
        Gives markers that the recording lacks.

    Returns
    -------
    MarkedBody

    Raises
    ------
    InputError
        The pelvis or a leg is never seen whole, a functional shoulder is given where the thorax has no axes, or
        the static trial does not fit.
    """
    marker = marker if static is None else static.completed(marker)
    lab = measured(capture)
    pelvis = pelvis_from(marker, capture.source)
    legs = _leg_lengths(marker, lab, capture.source)
    height = stated_size(capture)[0] or (legs["l"] + legs["r"]) / 2 / LEG_PER_HEIGHT
    hips = hip_centres(pelvis, lab, legs, hip, functional)
    limbs = Limbs(marker, lab, height, static)
    for side in SIDES:
        limbs.leg(side, hips.centres[side], pelvis.axes[..., 2])
    feet = [foot_from_markers(marker, limbs.centres[f"{side}_ankle"], side, height) for side in SIDES]
    axes, origins = {"pelvis": pelvis.axes}, {"pelvis": pelvis.origin}
    if {"c7", "clavicle"} <= set(marker):
        seen = thorax_axes(marker)
        thorax = thorax_axes_from_pelvis(marker, (pelvis.origin + pelvis.back) / 2) if seen is None else seen
        origins["thorax"] = marker["clavicle"]
        if seen is not None:
            axes["thorax"] = seen
        for side in SIDES:
            given = _functional_shoulder(functional, side, axes, origins, capture.source)
            limbs.arm(side, thorax, marker["clavicle"], given)
    centres = {name: path for part in (limbs.centres, *feet) for name, path in part.items()}
    face = np.full_like(pelvis.origin, np.nan)
    if HEAD_BAND.issubset(marker):
        axes["head"], band = head_axes(marker)
        face, head_up = axes["head"][..., 0], axes["head"][..., 1]
        centres["head"] = band - HEAD_BELOW_BAND * height * head_up
        centres["head_top"] = band + VERTEX_ABOVE_BAND * height * head_up
    notes = [*lab.notes, hips.note, *limbs.notes]
    return MarkedBody(centres, face, limbs.lateral, axes, origins, hips.sd_m, notes)


def _leg_lengths(marker: Mapping[str, FloatArray], lab: Measured, source: str) -> dict[str, float]:
    """Leg length by side: both as the lab measured them, else for both the mean of the two estimates. [m]

    What an estimate says of a difference between the legs is posture rather than length.
    """
    if lab.has("lleglength", "rleglength"):
        return {side: lab.lengths_m[f"{side}leglength"] for side in SIDES}
    mean = float(np.mean([leg_length(marker, side, source) for side in SIDES]))
    return dict.fromkeys(SIDES, mean)


def _functional_shoulder(
    functional: Mapping[str, FloatArray],
    side: str,
    axes: Mapping[str, FloatArray],
    origins: Mapping[str, FloatArray],
    source: str,
) -> FloatArray | None:
    """Shoulder centre from its place in the thorax, shape (F, 3); None where no functional one is given. [m]"""
    local = functional.get(f"{side}_shoulder")
    if local is None:
        return None
    if "thorax" not in axes:
        raise InputError(
            f"{source}: a functional shoulder centre is given in the thorax's axes, but these are not seen: one of C7,"
            " T10, CLAV and STRN is missing"
        )
    placed: FloatArray = origins["thorax"] + axes["thorax"] @ np.asarray(local, dtype=np.float64)
    return placed
