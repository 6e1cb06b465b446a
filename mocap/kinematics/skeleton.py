"""A skeleton of constant segment lengths, fitted to a whole recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.calibration import calibrated_body
from mocap.kinematics.filtering import PAD, runs
from mocap.kinematics.geometry import unit
from mocap.kinematics.joint_centres import Body
from mocap.kinematics.linkage import Linkage, Pose, place, points_at
from mocap.kinematics.pose_solver import solve_pose, spread_of
from mocap.kinematics.segment_frames import segment_frames
from mocap.kinematics.skeleton_model import LIMBS, STERNOCLAVICULAR_M, Model, measured_model
from mocap.swing import BodyModel

BoolArray = npt.NDArray[np.bool_]

#: Rounds in which the points' places on their segments are taken anew from the fitted poses, and steps of the search in
#: each. Four more rounds lower the residuals of a walking trial by 2 %; this project's default.
ROUNDS, STEPS_A_ROUND = 2, 2
#: A centre whose standard deviation exceeds this is not held by the points of that frame. [m] This project's default.
LOST_SD_M = 0.03


@dataclass(frozen=True)
class Skeleton:
    """Joint centres and segments of one recording with one set of lengths.

    Attributes
    ----------
    body : Body
        The points and centres it was fitted to.
    centres : dict of str to ndarray, shape (F, 3)
        As `Body.centres`, lab frame; NaN where the points do not hold a centre. [m]
    frames : dict of str to ndarray, shape (F, 3, 3)
        World from segment after the ISB (x forward, y up along the bone, z to the subject's right).
    lengths_m : dict of str to (float, float)
        Length of each limb segment between its joint centres, and its standard deviation. [m]
    points : tuple of str, length M
        The points that the skeleton was fitted to.
    residual_m : ndarray, shape (F, M)
        Distance of each from its place on the skeleton; NaN where it was not seen. [m]
    fit_sd_m : dict of str to ndarray, shape (F,)
        How closely the points hold each centre, one standard deviation per axis, scaled by the residuals; the model's
        own error (`Body.centre_sd_m`) is not in it. [m]
    expected_sd_m : dict of str to ndarray, shape (F,)
        The same by the points' standard deviations alone, not scaled. [m]
    turn_sd_rad : dict of str to ndarray, shape (F,)
        The same for the orientation of each segment. [rad] Near 1 rad where no point shows a segment's roll.
    filled : dict of str to ndarray of bool, shape (F,)
        Frames in which a centre was not measured: a point on its segments was missing or had been filled.
    """

    body: Body
    centres: dict[str, FloatArray]
    frames: dict[str, FloatArray]
    lengths_m: dict[str, tuple[float, float]]
    points: tuple[str, ...]
    residual_m: FloatArray
    fit_sd_m: dict[str, FloatArray]
    expected_sd_m: dict[str, FloatArray]
    turn_sd_rad: dict[str, FloatArray]
    filled: dict[str, BoolArray]

    @property
    def rms_m(self) -> float:
        """Root mean square of all residuals. [m]"""
        return float(np.sqrt(np.nanmean(self.residual_m**2)))


def fit_skeleton(capture: Capture, model: BodyModel | None = None, calibration: Capture | None = None) -> Skeleton:
    """Clean a recording, find its joint centres, and fit one skeleton of constant lengths to all of it.

    Parameters
    ----------
    capture : Capture
    model : BodyModel, optional
        Hip regression and marker set.
    calibration : Capture, optional
        Another trial of the same hitter with the same markers: hips and shoulders whose circling it shows are placed by
        it, markers that the swing lacks are carried along from it, and so are knob and barrel by the bat's handle.

    Returns
    -------
    Skeleton

    Raises
    ------
    InputError
        The points show no whole body, left and right labels contradict it, or pelvis and trunk are never seen together;
        the message names what is missing or wrong.
    """
    body = calibrated_body(capture, model, calibration)
    for reason in (body.lacking, *body.sides):
        if reason:
            raise InputError(f"{capture.source}: {reason}")
    try:
        return skeleton_of(body)
    except InputError as error:
        raise InputError(f"{capture.source}: {error}") from None


def skeleton_of(body: Body) -> Skeleton:
    """Fit one set of segment lengths to a body's points and pose it in every frame.

    Parameters
    ----------
    body : Body
        Points and joint centres of the recording, gaps as they are.

    Returns
    -------
    Skeleton

    Raises
    ------
    InputError
        Pelvis and trunk are never seen together.

    Notes
    -----
    Lengths are the medians between the joint centres, the points' places on their segments those that fit best over
    all frames; each frame's pose is the weighted least-squares fit to all points, with ball joints between segments,
    and joints that give a little in the spine (Lu & O'Connor 1999, J Biomech 32:129-134).
    """
    model, pose, hold = measured_model(body, segment_frames(body.centres, body.lateral, body.axes, body.head_forward))
    seen = np.stack([body.markers[name] for name in model.linkage.points], axis=1)
    own = _own_sd(body, model.linkage.points)
    for _ in range(ROUNDS):
        pose = solve_pose(model.linkage, seen, pose, hold, own_sd_m=own, most_steps=STEPS_A_ROUND).pose
        model = model.with_places(_mean_places(model.linkage, seen, pose, own))
        pose = place(model.linkage, pose.rotation, pose.origin[0], pose.shift)
    solution = solve_pose(model.linkage, seen, pose, hold, own_sd_m=own)
    frames = dict(zip(model.linkage.segments, solution.pose.rotation, strict=True))
    marks = model.marks()
    spread = spread_of(model.linkage, seen, solution.pose, hold, marks.segment_of, marks.local_m, own_sd_m=own)
    scale = _misfit_scale(model.linkage, solution.residual_m, own)
    centres, fit_sd, filled = _centres(model, body, points_at(marks, solution.pose), spread.places_m)
    frames |= _axes_between_joints(model, body.centres | centres)
    for segment, rotation in frames.items():
        ends = [name for name, (on, _) in model.centres.items() if on == segment] or ["pelvis", "neck"]
        rotation[~np.isfinite(np.stack([centres[name] for name in ends])).all(axis=(0, 2))] = np.nan
    return Skeleton(
        body=body,
        centres=body.centres | centres | _stiff_bat(body.centres),
        frames=frames,
        lengths_m={name: (length, _length_sd(body, name)) for name, length in model.linkage.lengths().items()},
        points=model.linkage.points,
        residual_m=solution.residual_m,
        fit_sd_m={name: scale * sd for name, sd in fit_sd.items()},
        expected_sd_m=fit_sd,
        turn_sd_rad=dict(zip(model.linkage.segments, scale * spread.turns_rad.T, strict=True)),
        filled=filled,
    )


def _axes_between_joints(model: Model, centres: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """Axes of pelvis and thorax from the fitted joints, where fewer than three points of their own show them."""
    owner = model.linkage.segment_of[~model.pinned].tolist()
    bare = [name for name in ("pelvis", "thorax") if owner.count(model.linkage.segments.index(name)) < 3]
    between = segment_frames(centres) if bare else {}
    return {name: between[name] for name in bare}


def _length_sd(body: Body, segment: str) -> float:
    """Standard deviation of a length: that of its two ends along it. [m]"""
    side, name = segment[:2], segment[2:]
    upper = LIMBS[name][1]
    lower = next(joint for above, joint in LIMBS.values() if above == name)
    first, second = (body.centre_sd_m[side + joint] if joint else STERNOCLAVICULAR_M for joint in (upper, lower))
    return float(np.hypot(first, second))


def _stiff_bat(centres: dict[str, FloatArray]) -> dict[str, FloatArray]:
    """The bat's ends at one distance from each other, where both were recorded."""
    if not {"bat_knob", "bat_barrel"} <= set(centres):
        return {}
    knob, barrel = centres["bat_knob"], centres["bat_barrel"]
    length = np.linalg.norm(barrel - knob, axis=1)
    if not np.isfinite(length).any():
        return {}
    half = 0.5 * np.nanmedian(length) * unit(barrel - knob)
    return {"bat_knob": (knob + barrel) / 2 - half, "bat_barrel": (knob + barrel) / 2 + half}


def _own_sd(body: Body, points: Sequence[str]) -> FloatArray:
    """What the points' samples err by themselves, shape (F, M); zero where nothing is stated. [m]"""
    none = np.zeros(len(body.head_forward))
    return np.stack([np.nan_to_num(body.sample_sd_m.get(name, none)) for name in points], axis=1)


def _mean_places(linkage: Linkage, seen: FloatArray, pose: Pose, own_sd: FloatArray) -> FloatArray:
    """Weighted mean place of each point in its segment over the frames in which it was seen, shape (M, 3). [m]"""
    owner = linkage.segment_of
    off = np.swapaxes(seen, 0, 1) - pose.origin[owner]
    local = np.matmul(np.swapaxes(pose.rotation[owner], -1, -2), off[..., None])[..., 0]
    weight = np.where(np.isfinite(local[..., 0]), 1.0 / (linkage.sd_m[:, None] ** 2 + own_sd.T**2), 0.0)
    mean: FloatArray = (weight[..., None] * np.nan_to_num(local)).sum(axis=1) / weight.sum(axis=1)[:, None]
    return mean


def _centres(
    model: Model, body: Body, at: FloatArray, sd: FloatArray
) -> tuple[dict[str, FloatArray], dict[str, FloatArray], dict[str, BoolArray]]:
    """Joint centres of the fitted skeleton, how closely they are held, and where they were filled."""
    found: dict[str, FloatArray] = {}
    spread: dict[str, FloatArray] = {}
    filled = {name: marks for name, marks in body.filled.items() if name in body.centres}
    for column, (name, (segment, _)) in enumerate(model.centres.items()):
        direct: BoolArray = np.asarray(np.isfinite(body.centres[name]).all(axis=1))
        held = _without_scraps(direct | (sd[:, column] <= LOST_SD_M), direct)
        found[name] = np.where(held[:, None], at[:, column], np.nan)
        spread[name] = np.where(held, sd[:, column], np.nan)
        filled[name] = _own_filled(body, name, segment, held & ~direct)
    for middle, joint in (("pelvis", "hip"), ("neck", "shoulder")):
        found[middle] = (found[f"l_{joint}"] + found[f"r_{joint}"]) / 2
        spread[middle] = np.hypot(spread[f"l_{joint}"], spread[f"r_{joint}"]) / 2
        filled[middle] = filled[f"l_{joint}"] | filled[f"r_{joint}"]
    return found, spread, filled


def _without_scraps(held: BoolArray, direct: BoolArray) -> BoolArray:
    """`held` without runs that no measured frame belongs to and that are too short to be filtered."""
    kept = held.copy()
    for start, stop in runs(held):
        if stop - start <= PAD and not direct[start:stop].any():
            kept[start:stop] = False
    return kept


def _own_filled(body: Body, centre: str, segment: str, bridged: BoolArray) -> BoolArray:
    """Frames in which a centre's own point, or without one any point on its segments, was filled."""
    if centre in body.markers:
        return bridged | body.filled[centre]
    side, joint = centre[:2], centre[2:]
    segments = {segment} | {side + name for name, (_, above) in LIMBS.items() if above == joint}
    own = [body.filled[point] for point, on in body.segment_of.items() if on in segments]
    return np.logical_or.reduce([bridged, *own])


def _misfit_scale(linkage: Linkage, residual: FloatArray, own_sd: FloatArray) -> float:
    """Residuals over what the points' standard deviations let expect.

    In the degrees of freedom that are left; but at least one for each sample counts, as the axes hold the pose, too.
    """
    count = int(np.isfinite(residual).sum())
    frames = int(np.isfinite(residual).any(axis=1).sum())
    slides = sum(sd > 0 for sd in linkage.slack_m)
    free = 3 * count - frames * 3 * (len(linkage.segments) + 1 + slides)
    expected = float(np.nansum(residual**2 / (linkage.sd_m**2 + own_sd**2)))
    return float(np.sqrt(expected / max(free, count)))
