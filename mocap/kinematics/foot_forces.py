"""Whose load each force plate carries: from plates in any order to a force under each foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mocap.capture import UNLOADED_N, Capture, FloatArray, ForcePlate
from mocap.kinematics.geometry import middle_of_foot
from mocap.kinematics.hitting_frame import transformed
from mocap.swing import FootForces, Moment

#: A plate's centre of pressure counts for a foot within this distance of its middle. [m]
FOOT_REACH_M = 0.30
#: The feet are told apart from this long before foot-plant to this long after it, while both are down. [s]
BEFORE_PLANT_S, AFTER_PLANT_S = 0.05, 0.15
#: A plate that is unloaded for less is still carrying the same step. [s]
SAME_STEP_S = 0.05
#: A foot stands while its lowest point is no higher than this over its lowest in the recording, and while it moves by
#: less in twice `SAME_STEP_S`. [m] This project's default.
STANDS_M = 0.05
#: Both feet lie on a plate in more than this share of the frames after foot-plant: its load cannot be shared out.
MOSTLY = 0.5
SIDES = ("front", "back")
NO_PLATES = "no force plates were recorded"


def foot_forces(
    capture: Capture, centres: Mapping[str, FloatArray], matrix: FloatArray, plant: Moment
) -> tuple[FootForces | None, list[str]]:
    """Sum of the plates under each foot.

    Parameters
    ----------
    capture : Capture
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres in the upright frame, sides named front and back. [m]
    matrix : ndarray, shape (4, 4)
        From the lab frame to the upright one.
    plant : Moment
        Foot-plant as the points tell it.

    Returns
    -------
    FootForces or None
        In the upright frame; None where not every foot has a plate of its own around foot-plant.
    list of str
        Which plate carried which foot; or, as the last of them, why that cannot be told. Empty where there is no plate.

    Notes
    -----
    Each step on a plate - a stretch in which it stays loaded - goes to the foot whose middle its centre of pressure
    lies nearest to, so that the order and the number of the plates do not matter, and a foot may use several. While
    both feet stand on one plate only their sum is known: after foot-plant that leaves no forces; in the stance the
    plate's whole load counts for the foot that stays on it.
    """
    if not capture.plates or plant.index is None:
        return None, []
    rate, frames = capture.rate_hz, np.arange(capture.n_frames)
    feet = {side: _middle(centres, side) for side in SIDES}
    loads = [_load(plate, capture.n_frames, matrix) for plate in capture.plates]
    shared = [load.is_on & np.all([_inside(feet[side], load.corners) for side in SIDES], axis=0) for load in loads]
    landed = (frames >= plant.index) & (frames < plant.index + int(AFTER_PLANT_S * rate))
    for number, (load, both) in enumerate(zip(loads, shared, strict=True), start=1):
        if (both & landed).sum() > MOSTLY * max((load.is_on & landed).sum(), 1):
            return None, [f"both feet land on force plate {number}: what each of them carries cannot be told"]

    around = landed | ((frames < plant.index) & (frames >= plant.index - int(BEFORE_PLANT_S * rate)))
    carried = [_carried(load, feet, around, rate) for load in loads]
    steps_of = [
        [n for n, load in enumerate(loads) if (load.is_on & (carried[n] == i)).any()] for i in range(len(SIDES))
    ]
    under = dict(zip(SIDES, steps_of, strict=True))
    before = _stands(centres, "front", rate) & _stands(centres, "back", rate) & (frames < plant.index)
    notes = _doubts(loads, carried, [both & before for both in shared], rate)
    bare = [not any((load.is_on & around & (carried[n] == i)).any() for n, load in enumerate(loads)) for i in range(2)]
    if any(bare):
        without = " and ".join(side for side, is_bare in zip(SIDES, bare, strict=True) if is_bare)
        return None, [*notes, f"no force plate carries the {without} foot at foot-plant: forces are not used"]
    summed = [_summed(loads, [owner == i for owner in carried]) for i in range(len(SIDES))]
    said = (f"force plate {' and '.join(str(n + 1) for n in under[side])} under the {side} foot" for side in SIDES)
    (front, front_at), (back, back_at) = summed
    plate_rate = max(plate.rate_hz for plate in capture.plates)
    return FootForces(front, back, front_at, back_at, plate_rate), [", ".join(said), *notes]


def _summed(loads: Sequence[_Load], owned: Sequence[np.ndarray]) -> tuple[FloatArray, FloatArray]:
    """Force under a foot and where it acts, at the plates' rate, from the plates in the frames they carry it in."""
    count = max(len(load.samples) for load in loads)
    force, moment, weight = np.zeros((count, 3)), np.zeros((count, 3)), np.zeros((count, 1))
    for load, frames in zip(loads, owned, strict=True):
        # A plate that is slower than another counts for each of its samples as long as it lasts.
        index = np.arange(count) * len(load.samples) // count
        mine = frames[index * len(frames) // len(load.samples)][:, None]
        samples, pressure = load.samples[index], load.pressure[index]
        force += np.where(mine, np.nan_to_num(samples), 0.0)
        pushes = mine & np.isfinite(pressure).all(axis=1, keepdims=True)
        moment += np.where(pushes, samples[:, 2:] * pressure, 0.0)
        weight += np.where(pushes, samples[:, 2:], 0.0)
    return force, np.where(weight > 0.0, moment / np.where(weight > 0.0, weight, 1.0), np.nan)


def _doubts(
    loads: Sequence[_Load], carried: Sequence[np.ndarray], shared_before: Sequence[np.ndarray], rate_hz: float
) -> list[str]:
    """Notes on loads that belong to no foot, or to both before the stride."""
    notes = []
    for number, (load, owner, both) in enumerate(zip(loads, carried, shared_before, strict=True), start=1):
        if (owner[load.is_on] < 0).any():
            notes.append(f"force plate {number} is loaded where neither foot is; that load is left out")
        sides = [SIDES[i] for i in np.unique(owner[both]) if i >= 0]
        if both.sum() > SAME_STEP_S * rate_hz and sides:
            side = " and then the ".join(sides)
            notes.append(f"both feet stand on force plate {number} before plant: its load counts for the {side} foot")
    return notes


@dataclass(frozen=True)
class _Load:
    """A plate in the upright frame.

    Where its reaction acts, and where it is loaded, at the points' rate; every sample of the reaction and its place.
    """

    centre: FloatArray
    is_on: np.ndarray
    corners: FloatArray
    samples: FloatArray
    pressure: FloatArray


def _load(plate: ForcePlate, frames: int, matrix: FloatArray) -> _Load:
    samples = plate.force @ matrix[:3, :3].T
    pressure = transformed(matrix, plate.centre_of_pressure)
    vertical = samples[:, 2]
    # A foot only pushes: where the lab's axis points down, the reader could not tell which way that is.
    if vertical[np.abs(vertical) > UNLOADED_N].sum() < 0:
        samples = -samples
    centre = _per_frame(pressure, frames)
    return _Load(centre, np.isfinite(centre[:, 0]), transformed(matrix, plate.corners), samples, pressure)


def _carried(load: _Load, feet: Mapping[str, FloatArray], around: np.ndarray, rate_hz: float) -> np.ndarray:
    """Per frame the index of the foot that the plate carries, -1 for neither; between two steps the nearer step's."""
    steps = _steps(load.is_on, int(SAME_STEP_S * rate_hz))
    if not steps:
        return np.full(len(load.is_on), -1)
    owners = []
    for start, stop in steps:
        inside = np.zeros(len(load.is_on), dtype=bool)
        inside[start:stop] = True
        # Around foot-plant the feet are farthest apart.
        told = inside & load.is_on & around
        owners.append(_nearest(load.centre, feet, told if told.any() else inside & load.is_on))
    frames = np.arange(len(load.is_on))
    distance = np.stack([np.maximum(np.maximum(start - frames, frames - stop + 1), 0) for start, stop in steps])
    return np.array(owners)[np.argmin(distance, axis=0)]


def _steps(is_on: np.ndarray, shortest_gap: int) -> list[tuple[int, int]]:
    """Start and stop of each stretch in which a plate is loaded, short gaps closed."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_on, [False]]).astype(np.int8)))
    steps: list[tuple[int, int]] = []
    for start, stop in edges.reshape(-1, 2).tolist():
        if steps and start - steps[-1][1] <= shortest_gap:
            steps[-1] = (steps[-1][0], stop)
        else:
            steps.append((start, stop))
    return steps


def _nearest(centre: FloatArray, feet: Mapping[str, FloatArray], frames: np.ndarray) -> int:
    """Index of the foot in whose reach the centre of pressure lies, the nearer one; -1 for neither."""
    gaps = []
    for side in SIDES:
        gap = np.linalg.norm((centre - feet[side])[frames, :2], axis=1)
        gaps.append(float(np.median(gap[np.isfinite(gap)])) if np.isfinite(gap).any() else np.inf)
    nearest = int(np.argmin(gaps))
    return nearest if gaps[nearest] < FOOT_REACH_M else -1


def _inside(places: FloatArray, corners: FloatArray) -> np.ndarray:
    """Whether places lie above a plate, shape (F,)."""
    edges = (np.roll(corners, -1, axis=0) - corners)[None, :, :2]
    to_place = places[:, None, :2] - corners[None, :, :2]
    turn = edges[..., 0] * to_place[..., 1] - edges[..., 1] * to_place[..., 0]
    return np.logical_or((turn >= 0).all(axis=1), (turn <= 0).all(axis=1))


def _stands(centres: Mapping[str, FloatArray], side: str, rate_hz: float) -> np.ndarray:
    """Whether a foot stands on the floor, not swinging over it, shape (F,)."""
    lowest = np.fmin.reduce([centres[f"{side}_{name}"][:, 2] for name in ("heel", "ball", "ankle")])
    middle, around = _middle(centres, side), round(SAME_STEP_S * rate_hz)
    frames = np.arange(len(middle))
    before, after = (middle[np.clip(frames + step, 0, len(middle) - 1)] for step in (-around, around))
    is_low = lowest < np.nanmin(lowest, initial=np.inf) + STANDS_M
    return np.asarray(is_low & (np.linalg.norm(after - before, axis=1) < STANDS_M))


def _middle(centres: Mapping[str, FloatArray], side: str) -> FloatArray:
    return middle_of_foot(*(centres[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))


def _per_frame(samples: FloatArray, frames: int) -> FloatArray:
    """Mean of the analog samples that belong to each frame, NaN where all are missing."""
    per = samples.shape[0] // frames
    blocks = samples[: per * frames].reshape(frames, per, samples.shape[1])
    seen = np.isfinite(blocks).any(axis=1)
    mean: FloatArray = np.where(
        seen, np.nansum(blocks, axis=1) / np.maximum(np.isfinite(blocks).sum(axis=1), 1), np.nan
    )
    return mean
