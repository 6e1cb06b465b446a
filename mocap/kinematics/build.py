"""From a capture to a swing: joint centres, hitting frame, cleaning, centre of mass, forces under the feet, moments."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError, OptionError
from mocap.kinematics.filtering import BAT_CUTOFF_HZ, BODY_CUTOFF_HZ, lowpass, lowpass_to_the_end
from mocap.kinematics.foot_forces import foot_forces
from mocap.kinematics.geometry import middle_of_foot, on_bat
from mocap.kinematics.hitting_frame import (
    MIRROR,
    floor_height,
    side_of_plate,
    toward_pitcher,
    transformed,
    turned_to,
    upright,
)
from mocap.kinematics.inertia import centre_of_mass
from mocap.kinematics.joint_centres import Body, body_from
from mocap.kinematics.marker_sets import marker_set
from mocap.kinematics.moments import SLOWEST_TURN, SPEED_BREAK, MotionPaths, find_plant, find_turn, ordered
from mocap.kinematics.stature import height_from_segments
from mocap.swing import BAT_POINTS, POINTS, FootForces, Hitter, Moment, Setup, Side, Swing

#: Points that move in shorter times than the body and get the higher cut-off.
QUICK = ("wrist", "hand", "bat")
#: A given height is known to about this. [m]
GIVEN_HEIGHT_SD_M = 0.005


def build_swing(capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None) -> Swing:
    """Put a recording of one swing into the hitting frame and find its moments.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
        What is not given is taken from the recording (height, mass) or found from it (side, height).
    setup : Setup, optional

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
    body = body_from(capture)
    sided = _sided(capture, body, hitter or Hitter())
    landing, forces, force_notes = _land(capture, sided, setup)
    plant = landing["plant"]
    assert plant.index is not None
    paths = _motion(sided.centres, capture, setup, sided.hitter)
    turn, heading_method, heading_sd = _to_pitcher(paths.joints, plant.index, setup, sided.matrix)
    whole = turn @ sided.matrix

    centres = {name: transformed(turn, path) for name, path in sided.centres.items()}
    if forces is not None:
        forces = FootForces(forces.front @ turn[:3, :3].T, forces.back @ turn[:3, :3].T)
    moments = ordered(landing | find_turn(_motion(centres, capture, setup, sided.hitter), plant, setup.moments))
    points = np.stack([_clean(centres, name, capture.rate_hz, moments["contact"]) for name in POINTS], axis=1)
    joints = {name: points[:, i] for i, name in enumerate(POINTS)}
    return Swing(
        source=capture.source,
        hitter=sided.hitter,
        height_sd_m=sided.height_sd_m,
        setup=setup,
        rate_hz=capture.rate_hz,
        points=points,
        point_sd_m=_point_sd(capture, body),
        noise_m=_noise_after_filtering(centres, joints, capture.rate_hz),
        com=_com(joints, sided.hitter),
        head_forward=body.head_forward @ whole[:3, :3].T,
        moments=moments,
        forces=forces,
        heading_method=heading_method,
        heading_sd_rad=heading_sd,
        plate_known=setup.plate is not None,
        lab_from_hitting=np.asarray(np.linalg.inv(whole), dtype=np.float64),
        notes=(*sided.notes, *force_notes),
    )


@dataclass(frozen=True)
class _Sided:
    """A body that stands upright on the floor, its sides named front and back, a left-handed hitter mirrored."""

    matrix: FloatArray
    centres: dict[str, FloatArray]
    hitter: Hitter
    height_sd_m: float
    notes: tuple[str, ...]


def _sided(capture: Capture, body: Body, hitter: Hitter) -> _Sided:
    hitter, height_sd, notes = _complete_hitter(hitter, capture, body)
    matrix, floor_notes = _upright_matrix(capture, body)
    upright_centres = {name: transformed(matrix, path) for name, path in body.centres.items()}
    side, side_notes = _side(hitter, upright_centres, capture)
    if side == "left":
        matrix = MIRROR @ matrix
    centres = _front_and_back({name: transformed(matrix, path) for name, path in body.centres.items()}, side)
    every_note = (*capture.notes, *body.notes, *notes, *floor_notes, *side_notes)
    return _Sided(matrix, centres, replace(hitter, bats=side), height_sd, every_note)


def _land(capture: Capture, sided: _Sided, setup: Setup) -> tuple[dict[str, Moment], FootForces | None, list[str]]:
    """Moments up to the landing, and the forces under the feet, which tell it better once they are assigned."""
    paths = _motion(sided.centres, capture, setup, sided.hitter)
    landing = find_plant(paths, capture.source, setup.moments)
    forces, notes = foot_forces(capture, sided.centres, sided.matrix, landing["plant"])
    if forces is not None:
        landing = find_plant(replace(paths, forces=forces), capture.source, setup.moments)
    return landing, forces, notes


def _complete_hitter(hitter: Hitter, capture: Capture, body: Body) -> tuple[Hitter, float, list[str]]:
    """Fill height and mass from the recording; estimate the height where nobody states it."""
    mass = hitter.mass_kg if hitter.mass_kg is not None else capture.subject.get("mass_kg")
    name = hitter.name or str(capture.subject.get("name", ""))
    height = hitter.height_m if hitter.height_m is not None else capture.subject.get("height_m")
    if height is not None:
        return replace(hitter, name=name, height_m=float(height), mass_kg=mass), GIVEN_HEIGHT_SD_M, []
    height, sd = height_from_segments(body.centres)
    if not 0.9 <= height <= 2.4:
        raise InputError(
            f"{capture.source}: the legs measure a height of {height:.2f} m; check the file's unit (POINT:UNITS)"
        )
    note = f"height not given: {height:.2f} ± {sd:.2f} m estimated from the legs"
    return replace(hitter, name=name, height_m=round(height, 3), mass_kg=mass), sd, [note]


def _upright_matrix(capture: Capture, body: Body) -> tuple[FloatArray, list[str]]:
    """Lab to an upright frame with the floor at zero."""
    feet = [body.centres[f"{s}_{name}"] for s in "lr" for name in ("heel", "ball")]
    floor, note = floor_height(capture, body.up, feet)
    matrix = upright(body.up)
    matrix[2, 3] = -floor
    return matrix, [note] if note else []


def _side(hitter: Hitter, centres: Mapping[str, FloatArray], capture: Capture) -> tuple[Side, list[str]]:
    shoulders = {s: lowpass(centres[s], capture.rate_hz, BODY_CUTOFF_HZ) for s in ("l_shoulder", "r_shoulder")}
    found, fastest = side_of_plate(shoulders, capture.rate_hz)
    if hitter.bats is None:
        return found, [f"bats {found}: found from the direction of the fastest turn of the shoulders"]
    if hitter.bats != found and fastest >= SLOWEST_TURN:
        raise OptionError(
            f"{capture.source}: bats {hitter.bats} is given, but the shoulders turn as a {found}-handed hitter's do;"
            " correct it, or look whether left and right labels are swapped"
        )
    return hitter.bats, []


def _front_and_back(centres: Mapping[str, FloatArray], side: Side) -> dict[str, FloatArray]:
    front, back = ("l_", "r_") if side == "right" else ("r_", "l_")
    renamed = {}
    for name, path in centres.items():
        if name.startswith(front):
            renamed[f"front_{name[2:]}"] = path
        elif name.startswith(back):
            renamed[f"back_{name[2:]}"] = path
        else:
            renamed[name] = path
    return renamed


def _motion(raw: Mapping[str, FloatArray], capture: Capture, setup: Setup, hitter: Hitter) -> MotionPaths:
    joints = {
        name: lowpass(path, capture.rate_hz, _cutoff(name)) for name, path in raw.items() if name not in BAT_POINTS
    }
    sweet = None
    if "bat_barrel" in raw:
        sweet = on_bat(raw["bat_knob"], raw["bat_barrel"], setup.sweet_spot_m)
    return MotionPaths(joints, capture.rate_hz, sweet, None, hitter.mass_kg)


def _cutoff(name: str) -> float:
    return BAT_CUTOFF_HZ if any(part in name for part in QUICK) else BODY_CUTOFF_HZ


def _clean(raw: Mapping[str, FloatArray], name: str, rate_hz: float, contact: Moment) -> FloatArray:
    """Filtered path of one point; where contact was seen in the bat, up to it and after it apart."""
    path = raw.get(name)
    if path is None:
        return np.full_like(raw["pelvis"], np.nan)
    split = contact.index
    if split is None or contact.method != SPEED_BREAK or name not in BAT_POINTS:
        return lowpass(path, rate_hz, _cutoff(name))
    before = lowpass_to_the_end(path[: split + 1], rate_hz, _cutoff(name))
    after = lowpass_to_the_end(path[:split:-1], rate_hz, _cutoff(name))[::-1]
    return np.concatenate([before, after])


def _to_pitcher(
    joints: Mapping[str, FloatArray], plant: int, setup: Setup, matrix: FloatArray
) -> tuple[FloatArray, str, float]:
    """Matrix from the upright frame to the hitting frame."""
    feet = {s: _mid_foot(joints, s)[plant] for s in ("front", "back")}
    if not np.isfinite([*feet["front"], *feet["back"]]).all():
        raise InputError(f"both feet must be seen at foot-plant (frame {plant}); fill the gap or choose another trial")
    angle, method, sd = toward_pitcher(setup.pitcher, feet["back"], feet["front"], matrix)
    if setup.plate is not None:
        origin = transformed(matrix, np.asarray(setup.plate, dtype=np.float64))
    else:
        origin = (feet["front"] + feet["back"]) / 2
    return turned_to(angle, np.array([origin[0], origin[1], 0.0])), method, sd


def _mid_foot(joints: Mapping[str, FloatArray], side: str) -> FloatArray:
    return middle_of_foot(*(joints[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))


def body_com(swing: Swing) -> FloatArray:
    """Centre of mass of a swing's points, shape (F, 3). [m]"""
    return _com({name: swing.points[:, i] for i, name in enumerate(POINTS)}, swing.hitter)


def _com(joints: Mapping[str, FloatArray], hitter: Hitter) -> FloatArray:
    return centre_of_mass(_body_only(joints), sides=("front", "back"), sex=hitter.sex)


def _body_only(joints: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Joints with the small parts that were not recorded placed at the joint above, so that the mass is not lost."""
    filled = dict(joints)
    for side in ("front", "back"):
        for part, stand_in in (
            ("heel", "ankle"),
            ("toe", "ankle"),
            ("elbow", "shoulder"),
            ("wrist", "elbow"),
            ("hand", "wrist"),
        ):
            path = filled[f"{side}_{part}"]
            filled[f"{side}_{part}"] = np.where(np.isfinite(path), path, filled[f"{side}_{stand_in}"])
    return filled


def _point_sd(capture: Capture, body: Body) -> FloatArray:
    """Model error of the joint centres and the recording's own residuals, per point and axis."""
    residual = float(np.nanmedian(capture.residuals)) if np.isfinite(capture.residuals).any() else 0.0
    body_sd, bat_sd = body.model_sd_m, marker_set("bat").model_sd_m
    model = np.array([bat_sd if name in BAT_POINTS else body_sd for name in POINTS])
    return np.hypot(model, residual)


def _noise_after_filtering(raw: Mapping[str, FloatArray], clean: Mapping[str, FloatArray], rate_hz: float) -> float:
    """Noise per axis that passes the filter: what the filter took off, scaled to its pass band."""
    taken = np.concatenate([(raw[name] - clean[name]).ravel() for name in clean if name in raw and "bat" not in name])
    off = float(np.sqrt(np.nanmean(taken**2)))
    kept = min(2 * BODY_CUTOFF_HZ / rate_hz, 0.8)
    return off * float(np.sqrt(kept / (1.0 - kept)))
