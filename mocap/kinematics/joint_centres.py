"""From labelled points to joint centres in the lab frame, sides still left and right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.filtering import fill_gaps
from mocap.kinematics.gait_markers import centres_from_gait_markers
from mocap.kinematics.geometry import unit
from mocap.kinematics.marker_sets import identify, marker_set
from mocap.kinematics.stature import height_from_segments

#: Wrist to knuckle over elbow to wrist, de Leva (1996) men: how far a hand lies beyond the wrist if no point shows it.
HAND_PER_FOREARM = 86.2 / 268.9
#: Height of the ankle centre above the sole and its distance from the back of the heel, shares of stature:
#: Drillis & Contini (1966) .039; the second is this project's default.
ANKLE_HEIGHT, ANKLE_FROM_HEEL = 0.039, 0.035
#: Fall of the line ankle -> ball below the sole's direction when the foot is flat. [rad] This project's default.
BALL_FALL = 0.32


@dataclass(frozen=True)
class Body:
    """Joint centres of one recording, cleaned of short gaps, lab frame.

    Attributes
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        `pelvis`, `neck`, `head`, `head_top`, `l_hip`, `r_hip` ... and `bat_knob`, `bat_barrel` where seen. [m]
    head_forward : ndarray, shape (F, 3)
        Unit direction of the face; NaN where the points do not show it.
    up : ndarray, shape (3,)
        The lab's vertical, found from the body.
    model_sd_m : float
        How far a centre may lie from the true one, one standard deviation per axis. [m]
    marker_set : str
    filled_share : float
        Share of samples that were filled.
    notes : tuple of str
    """

    centres: dict[str, FloatArray]
    head_forward: FloatArray
    up: FloatArray
    model_sd_m: float
    marker_set: str
    filled_share: float
    notes: tuple[str, ...]


def joint_centres(capture: Capture) -> dict[str, FloatArray]:
    """Joint centres in the lab frame.

    Parameters
    ----------
    capture : Capture
        Of joint-centre points, or of the conventional full-body gait marker set.

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        `pelvis` (midway between the hips), `neck` (midway between the shoulders), `head`, `head_top`, and with the
        prefixes `l_` and `r_` `hip`, `knee`, `ankle`, `heel`, `ball`, `toe`, `shoulder`, `elbow`, `wrist`, `hand`;
        `bat_knob` and `bat_barrel` where the recording has them. NaN in longer gaps. [m]

    Raises
    ------
    InputError
        Points are missing that no other point can stand for; the message names them.
    """
    return body_from(capture).centres


def body_from(capture: Capture) -> Body:
    """Joint centres with what is known about them; see `joint_centres`."""
    points, marked = fill_gaps(capture.points, capture.rate_hz)
    filled = Capture(capture.source, capture.labels, points, capture.rate_hz, capture.residuals)
    used, found = identify(filled)
    up, notes = _vertical(filled.source, used.name, found, capture.vertical)
    if used.name == "joint centres":
        centres, forward = _from_centres(found, up)
    else:
        centres, forward = centres_from_gait_markers(found, capture.subject, source=capture.source)
    bat = marker_set("bat").find(filled)
    if "bat_knob" not in bat and "bat_handle" in bat:
        bat["bat_knob"] = bat["bat_handle"]
        notes.append("the point on the bat's handle stands for its knob, which was not recorded")
    if not marker_set("bat").missing(bat):
        centres |= {name: bat[name] for name in ("bat_knob", "bat_barrel")}
    if marked.any():
        notes.append(f"{int(marked.sum())} samples in short gaps were filled by a spline")
    return Body(centres, forward, up, used.model_sd_m, used.name, float(marked.mean()), tuple(notes))


def _vertical(source: str, kind: str, found: Mapping[str, FloatArray], stated: str) -> tuple[FloatArray, list[str]]:
    """The lab axis along which the head lies over the ankles, whatever the file states."""
    feet = ("l_ankle", "r_ankle") if kind == "joint centres" else ("l_ankle_lateral", "r_ankle_lateral")
    head = found["head"] if kind == "joint centres" else found["c7"]
    rise = np.nanmedian(head - (found[feet[0]] + found[feet[1]]) / 2, axis=0)
    if not np.isfinite(rise).all():
        raise InputError(f"{source}: head and ankles are never seen together; the vertical cannot be told")
    axis = int(np.argmax(np.abs(rise)))
    up = np.zeros(3)
    up[axis] = np.sign(rise[axis])
    name = f"{'-' if up[axis] < 0 else '+'}{'xyz'[axis]}"
    notes = [] if stated in ("", name) else [f"the file states that {stated} points up, the body stands along {name}"]
    return up, notes if name == "+z" else [*notes, f"the lab's vertical is {name}; turned to +z"]


def _from_centres(found: dict[str, FloatArray], up: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
    """Complete a set of joint-centre points."""
    centres = {name: path for name, path in found.items() if name not in ("nose", "l_eye", "r_eye")}
    centres["pelvis"] = (centres["l_hip"] + centres["r_hip"]) / 2
    centres["neck"] = (centres["l_shoulder"] + centres["r_shoulder"]) / 2
    height, _ = height_from_segments(centres)
    if "head_top" not in centres:
        centres["head_top"] = centres["head"] + 0.07 * height * unit(centres["head"] - centres["neck"])
    nan = np.full_like(centres["head"], np.nan)
    for side in "lr":
        for name in ("elbow", "wrist"):
            centres.setdefault(f"{side}_{name}", nan)
        wrist, elbow = centres[f"{side}_wrist"], centres[f"{side}_elbow"]
        centres.setdefault(f"{side}_hand", wrist + HAND_PER_FOREARM * (wrist - elbow))
        _complete_foot(centres, side, up, height)
    front = found.get("nose")
    if front is None and {"l_eye", "r_eye"} <= set(found):
        front = (found["l_eye"] + found["r_eye"]) / 2
    forward = unit(front - centres["head"]) if front is not None else nan
    return centres, forward


def _complete_foot(centres: dict[str, FloatArray], side: str, up: FloatArray, height: float) -> None:
    """Add the heel, ball and toe that are not among the points, from the others and the ankle."""
    ankle = centres[f"{side}_ankle"]
    ball = centres.get(f"{side}_ball", centres.get(f"{side}_toe"))
    if ball is None:
        # No point on the foot but the ankle: the foot lies flat, its heading unknown.
        for name in ("heel", "ball", "toe"):
            centres[f"{side}_{name}"] = np.full_like(ankle, np.nan)
        return
    centres.setdefault(f"{side}_ball", ankle + 0.7 * (ball - ankle))
    slope = unit(ball - ankle)
    across = unit(np.cross(up, slope))
    lifted = np.cos(BALL_FALL) * slope + np.sin(BALL_FALL) * np.cross(slope, across)
    sole_up = np.cross(lifted, across)
    if f"{side}_heel" not in centres:
        centres[f"{side}_heel"] = ankle - ANKLE_HEIGHT * 0.8 * height * sole_up - ANKLE_FROM_HEEL * height * lifted
    centres.setdefault(f"{side}_toe", ball + 0.035 * height * lifted)
