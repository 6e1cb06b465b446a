"""From labelled points to joint centres in the lab frame, sides still left and right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.bat_points import bat_points
from mocap.kinematics.cleaning import CLUSTER, SPLINE, clean
from mocap.kinematics.given_centres import body_from_centres
from mocap.kinematics.marker_sets import MarkerSet, marker_set, no_swing, recognise
from mocap.kinematics.own_marker_set import own_marker_set
from mocap.kinematics.pelvis import check_pelvis_seen
from mocap.kinematics.side_labels import doubtful_sides
from mocap.kinematics.skin_markers import MarkedBody, body_from_markers
from mocap.kinematics.smoothed_points import slow_errors
from mocap.kinematics.static_trial import StaticTrial
from mocap.kinematics.vertical import vertical
from mocap.swing import BodyModel

#: Joint centres of a body, whichever set it was recorded with.
CENTRES = (
    "pelvis",
    "neck",
    "head",
    "head_top",
    *(
        f"{side}_{joint}"
        for side in "lr"
        for joint in ("hip", "knee", "ankle", "heel", "ball", "toe", "shoulder", "elbow", "wrist", "hand")
    ),
)
#: Error of a functional shoulder centre, per axis. [m] 14.7 +- 6.2 mm against implants (PLoS ONE 0018488).
FUNCTIONAL_SHOULDER_SD_M = float(np.hypot(0.0147, 0.0062) / np.sqrt(3.0))
#: The points of a standing or striding person, child or adult, span from corner to corner of the box that holds them at
#: least and at most this. [m]
SMALLEST_M, LARGEST_M = 0.5, 4.0


@dataclass(frozen=True)
class Body:
    """What the points of one recording show of the body, lab frame, metres; missing is NaN.

    Attributes
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        Every name of `CENTRES`, NaN where it cannot be placed, and `bat_knob`, `bat_barrel` where seen. [m]
    head_forward : ndarray, shape (F, 3)
        Unit direction of the face; NaN where the points do not show it.
    up : ndarray, shape (3,)
        The lab's vertical, found from the body.
    markers : dict of str to ndarray, shape (F, 3)
        Every point of the body by its canonical name, as seen; joint centres where these are what was given. [m]
    segment_of : dict of str to str
        The segment that each of the markers is fixed to: `pelvis`, `thorax`, `head`, and with `l_` or `r_` `clavicle`,
        `thigh`, `shank`, `foot`, `upper_arm`, `forearm`, `hand`; a joint centre belongs to the segment at whose distal
        end it lies.
    marker_sd_m : dict of str to float
        Movement of each marker over the bone, and noise, one standard deviation per axis. [m]
    sample_sd_m : dict of str to ndarray, shape (F,)
        What each sample of a marker errs by beside that, where the recording states it. [m]
    lateral : dict of str to ndarray, shape (F, 3)
        Unit vectors to the subject's right (in the anatomical position) along the flexion axes of `l_knee`, `r_ankle`,
        `l_elbow`, `r_wrist` ..., where markers show them.
    axes : dict of str to ndarray, shape (F, 3, 3)
        World from `pelvis`, `thorax`, `head` after the ISB, columns x forward, y up, z right, where markers show them.
    origins : dict of str to ndarray, shape (F, 3)
        Their origins: `pelvis` midway between the ASIS markers, `thorax` the clavicle marker. [m]
    centre_sd_m : dict of str to float
        How far a centre may lie from the true one, one standard deviation per axis. [m]
    marker_set : str
        Name of the set.
    filled : dict of str to ndarray of bool, shape (F,)
        Frames in which a marker, or `bat_knob` or `bat_barrel`, was filled instead of measured.
    notes : tuple of str
    from_static : tuple of str
        Markers, and `bat_knob` and `bat_barrel`, that a static trial placed. Such markers shape `centres` and
        `lateral`; as they are constructed from the others and measure nothing themselves, they are not among `markers`.
    sides : tuple of str
        What contradicts the left and right labels, with what follows; empty where nothing does.
    lacking : str
        Why no swing can be measured from these points, one line; empty where one can.
    """

    centres: dict[str, FloatArray]
    head_forward: FloatArray
    up: FloatArray
    markers: dict[str, FloatArray]
    segment_of: dict[str, str]
    marker_sd_m: dict[str, float]
    sample_sd_m: dict[str, FloatArray]
    lateral: dict[str, FloatArray]
    axes: dict[str, FloatArray]
    origins: dict[str, FloatArray]
    centre_sd_m: dict[str, float]
    marker_set: str
    filled: dict[str, npt.NDArray[np.bool_]]
    notes: tuple[str, ...]
    from_static: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    lacking: str = ""


def joint_centres(capture: Capture) -> dict[str, FloatArray]:
    """Joint centres in the lab frame, as far as the points go.

    Parameters
    ----------
    capture : Capture
        Of skin markers (conventional full-body or lower-body gait set, cluster set) or of joint-centre points (solved
        skeletons, joints of animated skeletons, body keypoints).

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        `pelvis` (midway between the hips), `neck` (midway between the shoulders), `head`, `head_top`, and with the
        prefixes `l_` and `r_` `hip`, `knee`, `ankle`, `heel`, `ball`, `toe`, `shoulder`, `elbow`, `wrist`, `hand`;
        `bat_knob` and `bat_barrel` where the recording has them. NaN in longer gaps, and throughout where the points do
        not show that part of the body. [m]

    Raises
    ------
    InputError
        No known set of points shows the pelvis, or it is seen in under half of the frames; the message names what is
        missing.
    """
    return body_from(capture).centres


def body_from(
    capture: Capture,
    model: BodyModel | None = None,
    functional: Mapping[str, FloatArray] | None = None,
    static: Capture | None = None,
) -> Body:
    """Joint centres with what is known about them, from a recording that is cleaned first.

    Parameters
    ----------
    capture : Capture
    model : BodyModel, optional
        Which hip regression, and the coach's own marker set where there is one.
    functional : mapping of str to ndarray, shape (3,), optional
        Functional centres that replace regressions: `l_hip` and `r_hip` in the pelvis's axes from its origin,
        `l_shoulder` and `r_shoulder` in the thorax's. [m]
    static : Capture, optional
        A trial of the same hitter with the same markers and more, such as the medial ones that are taken off to swing,
        or the bat with handle, knob and barrel: what the recording lacks is carried along by what both share.

    Returns
    -------
    Body

    Raises
    ------
    InputError
        As `joint_centres`; a functional centre is given but the axes that it is given in are not seen; the static
        trial does not fit.
    """
    own = own_marker_set(model.marker_set) if model and model.marker_set else None
    used, seen = recognise(capture, own)
    _check_size(seen, capture.source)
    labels = used.known_labels(capture) | marker_set("bat").known_labels(capture)
    cleaned = clean(capture, labels=labels | set(own.handle.labels if own and own.handle else ()))
    mended = replace(capture, points=cleaned.points)
    body = body_from_cleaned(mended, model, functional, static)
    filled = np.isin(cleaned.origin, (SPLINE, CLUSTER))
    marks = _by_name(mended, filled, recognise(mended, own)[0]) | _by_name(mended, filled, marker_set("bat"))
    return replace(
        body,
        filled={name: before | marks.get(name, before) for name, before in body.filled.items()},
        notes=(*cleaned.notes, *body.notes),
    )


def _check_size(seen: Mapping[str, FloatArray], source: str) -> None:
    """Refuse a body that is no person's size, before cleaning takes its points for spikes."""
    points = np.stack(list(seen.values()), axis=1)
    some = np.isfinite(points).all(axis=2).sum(axis=1) > points.shape[1] / 2
    if not some.any():
        return
    spans = np.nanmax(points[some], axis=1) - np.nanmin(points[some], axis=1)
    size = float(np.median(np.linalg.norm(spans, axis=1)))
    if not SMALLEST_M <= size <= LARGEST_M:
        raise InputError(
            f"{source}: the body's points span {size:.3g} m, which is no person's size: the file's unit must be wrong"
            " (POINT:UNITS; units = ... in a table); correct it"
        )


def _by_name(capture: Capture, filled: npt.NDArray[np.bool_], used: MarkerSet) -> dict[str, npt.NDArray[np.bool_]]:
    """Which frames were filled, by the canonical names under which the set finds the points."""
    marks = np.where(np.isfinite(capture.points).all(axis=2).any(axis=0), filled.astype(float), np.nan)
    found = used.find(replace(capture, points=np.repeat(marks[..., None], 3, axis=2)))
    return {name: path[:, 0] > 0 for name, path in found.items()}


def body_from_cleaned(
    capture: Capture,
    model: BodyModel | None = None,
    functional: Mapping[str, FloatArray] | None = None,
    static: Capture | None = None,
) -> Body:
    """`body_from` for points that have been cleaned, or are to stay as they are."""
    model, functional = model or BodyModel(), functional or {}
    own = own_marker_set(model.marker_set) if model.marker_set else None
    used, found = recognise(capture, own)
    up, notes = vertical(capture, found)
    trial = _static_trial(static, used, capture, model, functional) if static is not None else None
    if used.kind == "markers":
        seen = body_from_markers(found, capture, model.hip, functional, trial)
    else:
        seen = _from_given_centres(used, found, up, functional, capture.source)
    bat = bat_points(capture, own, static)
    centres = _whole(seen.centres)
    pelvis_notes = check_pelvis_seen(centres["pelvis"], found, capture.source)
    carried = trial.carried if trial else []
    lacking = no_swing(used, [*found, *carried])
    left_out = [*(trial.notes(found) if trial else []), *([] if lacking else used.left_out([*found, *carried]))]
    return Body(
        centres=centres | bat.centres,
        head_forward=seen.face,
        up=up,
        markers=found,
        segment_of={name: used.segment_of[name] for name in found},
        marker_sd_m={name: used.marker_sd_m[name] for name in found},
        sample_sd_m={name: slow.sd for name, slow in slow_errors(capture).items() if name in found},
        lateral=seen.lateral,
        axes=seen.axes,
        origins=seen.origins,
        centre_sd_m=_centre_sd(used, seen.hip_sd_m, functional),
        marker_set=used.name,
        filled={name: np.zeros(capture.n_frames, dtype=bool) for name in [*found, *bat.centres]} | bat.filled,
        notes=(*notes, *pelvis_notes, *seen.notes, *left_out, *bat.notes),
        from_static=(*carried, *(bat.centres if bat.from_static else ())),
        sides=tuple(_side_doubts(found, centres, up)),
        lacking=lacking,
    )


def _static_trial(
    static: Capture, used: MarkerSet, capture: Capture, model: BodyModel, functional: Mapping[str, FloatArray]
) -> StaticTrial | None:
    """A static trial made ready to complete a recording; None where it shows no body with the same markers."""
    found = used.find(static)
    if used.kind != "markers" or used.lacking(found, "body"):
        return None
    centres = body_from_markers(found, static, model.hip, functional).centres
    return StaticTrial(static, found, centres, used, capture)


def _from_given_centres(
    used: MarkerSet,
    found: Mapping[str, FloatArray],
    up: FloatArray,
    functional: Mapping[str, FloatArray],
    source: str,
) -> MarkedBody:
    if functional:
        raise InputError(
            f"{source}: functional centres are given in axes of pelvis and thorax that only markers show, but the"
            f" recording holds {used.name}; leave the calibration out"
        )
    centres, face = body_from_centres(found, up)
    return MarkedBody(centres, face, {}, {}, {}, used.centre_sd_m["l_hip"], [])


def _whole(placed: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Every name of `CENTRES`: those placed, their middles, and NaN for the others."""
    nan = np.full_like(placed["l_hip"], np.nan)
    centres = {name: placed.get(name, nan) for name in CENTRES}
    centres["pelvis"] = (centres["l_hip"] + centres["r_hip"]) / 2
    centres["neck"] = (centres["l_shoulder"] + centres["r_shoulder"]) / 2
    return centres


def _side_doubts(found: Mapping[str, FloatArray], centres: Mapping[str, FloatArray], up: FloatArray) -> list[str]:
    """What contradicts the left and right labels, with what follows from it."""
    hips = {f"{name}_centre": centres[name] for name in ("l_hip", "r_hip") if name not in found}
    return [
        f"{line}: every measure of that part would be taken on the wrong side; correct the labels (or the lab's axes,"
        " if one of them is mirrored)"
        for line in doubtful_sides(dict(found) | hips, up)
    ]


def _centre_sd(used: MarkerSet, hip_sd_m: float, functional: Mapping[str, FloatArray]) -> dict[str, float]:
    """Error of every joint centre and of the bat's ends, per axis. [m]"""
    sd = {**used.centre_sd_m, "l_hip": hip_sd_m, "r_hip": hip_sd_m}
    sd |= {name: FUNCTIONAL_SHOULDER_SD_M for name in ("l_shoulder", "r_shoulder") if name in functional}
    # Regressions miss both hips in the same way, so that the error of their middle is no smaller.
    sd["pelvis"] = hip_sd_m
    sd["neck"] = float(np.mean([sd["l_shoulder"], sd["r_shoulder"]]))
    return sd | dict(marker_set("bat").centre_sd_m)
