"""From a capture to a swing: skeleton, hitting frame, smoothing, centre of mass, forces under the feet, moments."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray, PointErrors
from mocap.errors import InputError, OptionError
from mocap.kinematics.body_report import lopsided
from mocap.kinematics.cutoff import usual_cutoff
from mocap.kinematics.filtering import lowpass, split_lowpass
from mocap.kinematics.foot_forces import NO_PLATES, foot_forces
from mocap.kinematics.foot_moments import find_plant
from mocap.kinematics.geometry import heading, middle_of_foot, on_bat, wrapped
from mocap.kinematics.held import held_moments
from mocap.kinematics.hitting_frame import (
    MIRROR,
    floor_height,
    side_of_plate,
    toward_pitcher,
    transformed,
    turned_to,
    upright,
)
from mocap.kinematics.inertia import Bat, centre_of_mass, segment_table
from mocap.kinematics.moments import SLOWEST_TURN, STRUCK, MotionPaths, SlowError, ordered
from mocap.kinematics.scaling import ANKLE_HEIGHT
from mocap.kinematics.skeleton import Skeleton, fit_skeleton
from mocap.kinematics.smoothed_points import errors_in, held_errors, scattered, slow_errors
from mocap.kinematics.smoothing import cutoffs_of, smooth_frames
from mocap.kinematics.stature import height_contradiction, height_from_segments
from mocap.kinematics.subject import stated_size
from mocap.kinematics.turn_moments import find_turn
from mocap.swing import BAT_POINTS, POINTS, FootForces, Hitter, Moment, Setup, Side, Swing

Value = TypeVar("Value")

#: A swing's recording is at least so long. [s], [frames] This project's defaults.
SHORTEST_S, FEWEST_FRAMES = 0.25, 20
#: The plate is at most so far from the feet, and the direction to the pitcher at most so far from that of the stride
#: without a doubt, and in any case. [m], [rad] This project's defaults.
FARTHEST_PLATE_M, DOUBTFUL_HEADING, WRONG_HEADING = 5.0, np.radians(40.0), np.radians(90.0)
#: Labels of a point on the ball, without case.
BALL_LABELS = ("ball", "baseball", "softball")
#: A given height is known to about this. [m]
GIVEN_HEIGHT_SD_M = 0.005


def build_swing(
    capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None, calibration: Capture | None = None
) -> Swing:
    """Put a recording of one swing into the hitting frame and find its moments.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
        What is not given is taken from the recording (height, mass) or found from it (side, height).
    setup : Setup, optional
    calibration : Capture, optional
        See `fit_skeleton`.

    Returns
    -------
    Swing

    Raises
    ------
    InputError
        Points are missing that the body cannot be built without.
    DetectionError
        No turn, or no front-foot landing.
    OptionError
        A hand-set moment lies outside the recording, or the side of the plate contradicts the turn.
    """
    setup = setup or Setup()
    skeleton = fit_skeleton(capture, setup.model, calibration)
    # Points that were smoothed fit better than they are known: the residuals would make them too sure.
    capture = replace(capture, errors=held_errors(capture, skeleton.expected_sd_m))
    if capture.n_frames < max(SHORTEST_S * capture.rate_hz, FEWEST_FRAMES):
        raise InputError(
            f"{capture.source}: the recording is too short for a swing: {capture.n_frames} frames,"
            f" {capture.n_frames / capture.rate_hz:.2f} s"
        )
    sided = _sided(capture, skeleton, hitter or Hitter(), setup)
    landing, forces, force_notes = _land(capture, sided, setup)
    plant = landing["plant"]
    assert plant.index is not None
    turn, heading_method, heading_sd = _to_pitcher(sided, plant.index, setup)
    whole = turn @ sided.matrix

    centres = {name: transformed(turn, path) for name, path in sided.centres.items()}
    forces = forces.moved(turn) if forces is not None else None
    ball = None if sided.ball is None else transformed(turn, sided.ball)
    if not setup.held:
        landing = ordered(landing | find_turn(_motion(sided, centres, setup, ball), plant, setup.moments))
        _refuse_disordered(landing, setup, capture.source)
    errors = errors_in(capture, whole[:3, :3], sided.hitter.bats or "right")
    moments = landing if errors is None or setup.held else _scattered(sided, centres, setup, ball, landing, errors)
    points = np.stack([_clean(sided, centres, name, moments["contact"]) for name in POINTS], axis=1)
    joints = {name: points[:, i] for i, name in enumerate(POINTS)}
    filled = np.stack([sided.filled.get(name, np.zeros(capture.n_frames, dtype=bool)) for name in POINTS], axis=1)
    return Swing(
        source=capture.source,
        hitter=sided.hitter,
        height_sd_m=sided.height_sd_m,
        setup=setup,
        rate_hz=capture.rate_hz,
        points=points,
        point_sd_m=_point_sd(capture, skeleton),
        noise_m=_noise(sided, centres, joints, capture),
        errors=errors,
        cutoff_hz=np.array([sided.cutoffs_hz.get(name, usual_cutoff(name)) for name in POINTS]),
        filled=filled,
        frames=_hitting_frames(sided, whole),
        com=_com(joints, sided.hitter, setup),
        head_forward=skeleton.body.head_forward @ whole[:3, :3].T,
        moments=moments,
        forces=forces,
        forces_why="" if forces is not None else (force_notes or [NO_PLATES])[-1],
        heading_method=heading_method,
        heading_sd_rad=heading_sd,
        plate_known=setup.plate is not None,
        lab_from_hitting=np.asarray(np.linalg.inv(whole), dtype=np.float64),
        notes=(
            *sided.notes,
            *_heading_doubts(sided, plant.index, -float(np.arctan2(turn[1, 0], turn[0, 0]))),
            *force_notes,
            *_mass_notes(sided.hitter, setup),
            *_filled_at_moments(moments, filled),
        ),
        palms_seen=_palms_seen(skeleton),
        on_skin=bool(skeleton.body.axes),
    )


@dataclass(frozen=True)
class _Sided:
    """A body that stands upright on the floor, its sides named front and back, a left-handed hitter mirrored."""

    matrix: FloatArray
    centres: dict[str, FloatArray]
    frames: dict[str, FloatArray]
    filled: dict[str, npt.NDArray[np.bool_]]
    cutoffs_hz: dict[str, float]
    ball: FloatArray | None
    rate_hz: float
    hitter: Hitter
    height_sd_m: float
    notes: tuple[str, ...]
    slow: dict[str, SlowError]


def _sided(capture: Capture, skeleton: Skeleton, hitter: Hitter, setup: Setup) -> _Sided:
    hitter, height_sd, notes = _complete_hitter(hitter, capture, skeleton.centres)
    assert hitter.height_m is not None  # completed above
    matrix, floor_notes = _upright_matrix(capture, skeleton, hitter.height_m)
    upright_centres = {name: transformed(matrix, path) for name, path in skeleton.centres.items()}
    cutoffs = cutoffs_of(upright_centres, capture.rate_hz, setup.model.cutoff_hz)
    if setup.held and hitter.bats is None:
        raise OptionError(
            f"{capture.source}: a held position does not show on which side he bats; give --bats right or left"
        )
    side, side_notes = _side(hitter, upright_centres, cutoffs, capture)
    if side == "left":
        matrix = MIRROR @ matrix
    return _Sided(
        matrix=matrix,
        centres=_front_and_back({name: transformed(matrix, path) for name, path in skeleton.centres.items()}, side),
        frames=_front_and_back(skeleton.frames, side),
        filled=_front_and_back(skeleton.filled, side),
        cutoffs_hz=_front_and_back(cutoffs, side),
        ball=_ball(capture, matrix),
        rate_hz=capture.rate_hz,
        hitter=replace(hitter, bats=side),
        height_sd_m=height_sd,
        notes=(*capture.notes, *skeleton.body.notes, *lopsided(skeleton), *notes, *floor_notes, *side_notes),
        slow=_front_and_back(slow_errors(capture), side),
    )


def _ball(capture: Capture, matrix: FloatArray) -> FloatArray | None:
    """Path of the ball in the upright frame, where a point is called so. [m]"""
    names = [label.strip().lower() for label in capture.labels]
    column = next((names.index(name) for name in BALL_LABELS if name in names), None)
    return None if column is None else transformed(matrix, capture.points[:, column])


def _land(capture: Capture, sided: _Sided, setup: Setup) -> tuple[dict[str, Moment], FootForces | None, list[str]]:
    """Moments up to the landing, and the forces under the feet, which tell it better once they are assigned."""
    paths = _motion(sided, sided.centres, setup)
    if setup.held:
        landing = held_moments(paths, capture.source, dict(setup.moments))
    else:
        landing = find_plant(paths, capture.source, setup.moments)
    forces, notes = foot_forces(capture, sided.centres, sided.matrix, landing["plant"])
    if forces is not None and not setup.held:
        landing = find_plant(replace(paths, forces=forces), capture.source, setup.moments)
    return landing, forces, notes


def _complete_hitter(
    hitter: Hitter, capture: Capture, centres: Mapping[str, FloatArray]
) -> tuple[Hitter, float, list[str]]:
    """Fill height and mass from the recording; estimate the height where nobody states it."""
    stated_height, stated_mass, notes = stated_size(capture)
    mass = hitter.mass_kg if hitter.mass_kg is not None else stated_mass
    name = hitter.name or str(capture.subject.get("name", ""))
    height = hitter.height_m if hitter.height_m is not None else stated_height
    measured, sd = height_from_segments(centres, sex=hitter.sex)
    if height is not None:
        doubt = height_contradiction(float(height), measured, sd)
        notes += [doubt] if doubt else []
        return replace(hitter, name=name, height_m=float(height), mass_kg=mass), GIVEN_HEIGHT_SD_M, notes
    height = measured
    if not 0.9 <= height <= 2.4:
        raise InputError(
            f"{capture.source}: the segments measure a height of {height:.2f} m; check the file's unit (POINT:UNITS)"
        )
    note = f"height not given: {height:.2f} ± {sd:.2f} m estimated from the segments' lengths"
    return replace(hitter, name=name, height_m=round(height, 3), mass_kg=mass), sd, [*notes, note]


def _upright_matrix(capture: Capture, skeleton: Skeleton, height: float) -> tuple[FloatArray, list[str]]:
    """Lab to an upright frame with the floor at zero."""
    up = skeleton.body.up
    feet = [skeleton.centres[f"{s}_{name}"] for s in "lr" for name in ("heel", "ball")]
    if not np.isfinite(feet).any():  # keypoints may end at the ankles
        feet = [skeleton.centres[f"{s}_ankle"] - ANKLE_HEIGHT * height * up for s in "lr"]
    floor, note = floor_height(capture, up, feet)
    matrix = upright(up)
    matrix[2, 3] = -floor
    return matrix, [note] if note else []


def _side(
    hitter: Hitter, centres: Mapping[str, FloatArray], cutoffs: Mapping[str, float], capture: Capture
) -> tuple[Side, list[str]]:
    names = [f"{side}_{joint}" for joint in ("shoulder", "hip") for side in "lr"]
    turning = {name: lowpass(centres[name], capture.rate_hz, cutoffs[name]) for name in names}
    found, fastest = side_of_plate(turning, capture.rate_hz)
    if hitter.bats is None:
        return found, [f"bats {found}: found from the way in which shoulders and hips turn"]
    if hitter.bats != found and fastest >= SLOWEST_TURN:
        raise OptionError(
            f"{capture.source}: bats {hitter.bats} is given, but shoulders and hips turn as a {found}-handed hitter's"
            " do; correct it, or look whether left and right labels are swapped"
        )
    return hitter.bats, []


def _front_and_back(by_name: Mapping[str, Value], side: Side) -> dict[str, Value]:
    front, back = ("l_", "r_") if side == "right" else ("r_", "l_")
    renamed = {}
    for name, value in by_name.items():
        if name.startswith(front):
            renamed[f"front_{name[2:]}"] = value
        elif name.startswith(back):
            renamed[f"back_{name[2:]}"] = value
        else:
            renamed[name] = value
    return renamed


def _motion(sided: _Sided, raw: Mapping[str, FloatArray], setup: Setup, ball: FloatArray | None = None) -> MotionPaths:
    """Paths to find moments in: smoothed alike for all recordings, as the thresholds of speed suppose."""
    names = [name for name in raw if name not in BAT_POINTS]
    cutoffs = np.array([usual_cutoff(name) for name in names])
    smooth = lowpass(np.stack([raw[name] for name in names], axis=1), sided.rate_hz, cutoffs)
    joints = {name: smooth[:, i] for i, name in enumerate(names)}
    sweet = None
    if "bat_barrel" in raw:
        sweet = on_bat(raw["bat_knob"], raw["bat_barrel"], setup.sweet_spot_m)
    return MotionPaths(
        joints, raw, sided.rate_hz, sweet, ball, None, sided.hitter.mass_kg, setup.pitch_location, sided.slow
    )


def _scattered(
    sided: _Sided,
    centres: Mapping[str, FloatArray],
    setup: Setup,
    ball: FloatArray | None,
    moments: Mapping[str, Moment],
    errors: PointErrors,
) -> Mapping[str, Moment]:
    """Moments with what the errors of smoothed points add to their standard deviations; paths in the hitting frame."""

    def find(displaced: Mapping[str, FloatArray]) -> Mapping[str, Moment]:
        moved = {name: path + displaced.get(name, 0.0) for name, path in centres.items()}
        paths = _motion(sided, moved, setup, ball)
        landing = find_plant(paths, "drawn", setup.moments)
        return ordered(landing | find_turn(paths, landing["plant"], setup.moments))

    return scattered(moments, find, errors, sided.rate_hz, setup.moments)


def _clean(sided: _Sided, raw: Mapping[str, FloatArray], name: str, contact: Moment) -> FloatArray:
    """Filtered path of one point; where a blow was seen in the bat, or set, up to it and after it apart."""
    path = raw.get(name)
    if path is None:
        return np.full_like(raw["pelvis"], np.nan)
    seen = contact.method in STRUCK and name in BAT_POINTS
    return split_lowpass(path, sided.rate_hz, sided.cutoffs_hz[name], contact.index if seen else None)


def _hitting_frames(sided: _Sided, whole: FloatArray) -> dict[str, FloatArray]:
    """Segments' axes in the hitting frame, smoothed as their points; a mirrored body's right points the other way."""
    mirrored = sided.hitter.bats == "left"
    into = np.diag([1.0, 1.0, -1.0 if mirrored else 1.0])
    frames = {name: whole[:3, :3] @ rotation @ into for name, rotation in sided.frames.items()}
    return smooth_frames(frames, sided.rate_hz, sided.cutoffs_hz)


def _mass_notes(hitter: Hitter, setup: Setup) -> list[str]:
    """Which segment masses were chosen, where that is not what an adult has."""
    model = setup.model
    if model.inertia != "auto" or segment_table("auto", hitter.sex, hitter.height_m) == segment_table(
        "de_leva", hitter.sex
    ):
        return []
    return [
        f"segment masses of a child, by a height of {hitter.height_m:.2f} m; for a short adult give --inertia de_leva"
    ]


def _filled_at_moments(
    moments: Mapping[str, Moment], filled: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
) -> list[str]:
    """Which points were not measured at a key moment."""
    notes = []
    for name in ("plant", "contact"):
        index = moments[name].index
        if index is not None and filled[index].any():
            points = [POINTS[i].replace("_", " ") for i in np.flatnonzero(filled[index])]
            notes.append(f"at {name} (frame {index}) filled, not measured: {', '.join(points)}")
    return notes


def _to_pitcher(sided: _Sided, plant: int, setup: Setup) -> tuple[FloatArray, str, float]:
    """Matrix from the upright frame to the hitting frame."""
    feet = {side: _mid_foot(sided, side)[plant] for side in ("front", "back")}
    if not np.isfinite([*feet["front"], *feet["back"]]).all():
        raise InputError(f"both feet must be seen at foot-plant (frame {plant}); fill the gap or choose another trial")
    angle, method, sd = toward_pitcher(setup.pitcher, feet["back"], feet["front"], sided.matrix)
    off = abs(float(wrapped(heading(feet["front"] - feet["back"]) - angle)))
    if off > WRONG_HEADING:
        raise OptionError(
            f"the direction to the pitcher lies {np.degrees(off):.0f} deg off the line from the back to the front foot"
            " at foot-plant; correct it (it is in the lab's axes), or the left and right labels"
        )
    if setup.plate is not None:
        origin = transformed(sided.matrix, np.asarray(setup.plate, dtype=np.float64))
        far = float(np.linalg.norm((origin - (feet["front"] + feet["back"]) / 2)[:2]))
        if far > FARTHEST_PLATE_M:
            raise OptionError(f"home plate lies {far:.1f} m from the feet; give it in the lab's axes, in metres")
    else:
        origin = (feet["front"] + feet["back"]) / 2
    return turned_to(angle, np.array([origin[0], origin[1], 0.0])), method, sd


def _heading_doubts(sided: _Sided, plant: int, angle: float) -> list[str]:
    """A note where the stride goes far off the direction to the pitcher."""
    feet = [_mid_foot(sided, side)[plant] for side in ("back", "front")]
    off = abs(float(wrapped(heading(feet[1] - feet[0]) - angle)))
    if off <= DOUBTFUL_HEADING:
        return []
    return [f"the stride goes {np.degrees(off):.0f} deg off the direction to the pitcher: look whether that is right"]


def _refuse_disordered(moments: Mapping[str, Moment], setup: Setup, source: str) -> None:
    """A moment set by hand must not contradict another one, nor the landing or the contact that were found."""
    order = {name: i for i, name in enumerate(moments)}
    for name in setup.moments:
        for other in (*setup.moments, "plant", "contact"):
            first, second = sorted((name, other), key=order.__getitem__)
            before, after = moments[first].index, moments[second].index
            if before is not None and after is not None and before > after:
                raise OptionError(
                    f"{source}: {first} (frame {before}) comes after {second} (frame {after}), of which {name} was set"
                    " by hand; correct it, or set the other one too"
                )


def _mid_foot(sided: _Sided, side: str) -> FloatArray:
    points = (f"{side}_{name}" for name in ("heel", "ball", "ankle"))
    return middle_of_foot(*(lowpass(sided.centres[name], sided.rate_hz, sided.cutoffs_hz[name]) for name in points))


def com_of(points: FloatArray, swing: Swing) -> FloatArray:
    """Centre of mass of points of shape (..., P, 3) on a swing's hitter, shape (..., 3). [m]"""
    return _com({name: points[..., i, :] for i, name in enumerate(POINTS)}, swing.hitter, swing.setup)


def _com(joints: Mapping[str, FloatArray], hitter: Hitter, setup: Setup) -> FloatArray:
    model = setup.model
    table = segment_table(model.inertia, hitter.sex, hitter.height_m, hitter.mass_kg)
    bat = Bat(model.bat_kg) if model.bat_kg else None
    return centre_of_mass(_body_only(joints), sides=("front", "back"), table=table, bat=bat, mass_kg=hitter.mass_kg)


def _body_only(joints: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Joints with the small parts that were not recorded placed at the joint above, so that the mass is not lost."""
    filled = dict(joints)
    for side in ("front", "back"):
        for part, stand_in in (
            ("heel", "ankle"),
            ("ball", "ankle"),
            ("toe", "ankle"),
            ("elbow", "shoulder"),
            ("wrist", "elbow"),
            ("hand", "wrist"),
        ):
            path = filled[f"{side}_{part}"]
            filled[f"{side}_{part}"] = np.where(np.isfinite(path), path, filled[f"{side}_{stand_in}"])
    return filled


def _palms_seen(skeleton: Skeleton) -> bool:
    """Whether both hands are there and points on both sides of the wrists show how they are rolled."""
    lateral = skeleton.body.lateral
    return all(
        f"{side}_hand" in skeleton.frames and bool(np.isfinite(lateral.get(f"{side}_wrist", np.nan)).any())
        for side in "lr"
    )


def _point_sd(capture: Capture, skeleton: Skeleton) -> FloatArray:
    """Model error of the joint centres and the recording's own residuals, per point and axis.

    What smoothed points err by wavers through the recording, see `mocap.kinematics.smoothed_points`.
    """
    body = skeleton.body
    stated = np.isfinite(capture.residuals).any() and not capture.smoothed
    residual = float(np.nanmedian(capture.residuals)) if stated else 0.0
    model = np.array([np.mean([body.centre_sd_m[name] for name in _both_sides(name)]) for name in POINTS])
    return np.hypot(model, residual)


def _both_sides(name: str) -> list[str]:
    """The left and right centre that a point of the hitting frame may be; itself where it has no side."""
    part = name.removeprefix("front_").removeprefix("back_")
    return [name] if part == name else [f"l_{part}", f"r_{part}"]


def _noise(
    sided: _Sided, raw: Mapping[str, FloatArray], clean: Mapping[str, FloatArray], capture: Capture
) -> FloatArray:
    """Noise of each point per axis before it was filtered, from what the filter took off; smoothed ones have none."""
    noise: FloatArray = np.zeros(len(POINTS))
    if capture.smoothed:
        return noise
    for column, name in enumerate(POINTS):
        if name not in raw or not np.isfinite(raw[name]).any():
            continue
        # A blow's own jolt is no noise, so the median tells the spread: 0.6745 standard deviations of a normal one.
        off = float(np.nanmedian(np.abs(raw[name] - clean[name]))) / 0.6745
        noise[column] = off / np.sqrt(1.0 - min(2 * sided.cutoffs_hz[name] / sided.rate_hz, 0.8))
    return noise
