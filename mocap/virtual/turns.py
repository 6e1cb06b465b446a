"""How fast a segment turns, and about which axes, over continuous time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray
from mocap.virtual.motion import Motion, rate_of, spin_of

#: Lines that carry a segment's turning speed: along or across it, and where there is one, a second that fixes the rest.
LINES = {
    "pelvis": (("back_hip", "front_hip"), ("pelvis", "neck")),
    "trunk": (("back_shoulder", "front_shoulder"), ("pelvis", "neck")),
    "arm": (("front_shoulder", "front_elbow"),),
    "bat": (("bat_knob", "bat_barrel"),),
}
#: The point whose path goes with a segment's helical axes.
ORIGINS = {"pelvis": "pelvis", "trunk": "neck"}
#: Turn of the steps over which helical axes are taken, the longest step, and the least elevation of an axis that has a
#: crossing with the floor. [rad], [s], [rad]
STEP_TURN, LONGEST_STEP_S, LEAST_ELEVATION = np.radians(10.0), 0.1, np.radians(5.0)
#: Instants of a turn at which they are taken; lengths of the half step that are tried, and steps to refine one.
INSTANTS, TRIED, SECANTS = 151, 41, 5


def turning_speed(motion: Motion, part: str, time: FloatArray) -> FloatArray:
    """Turning speed of a segment as far as its lines show it, shape (T,). [rad/s]

    Parameters
    ----------
    motion : Motion
    part : {"pelvis", "trunk", "arm", "bat"}
        Of arm and bat the turn about their own length is left out.
    time : ndarray, shape (T,)
        [s from plant]
    """

    def turned(when: FloatArray) -> FloatArray:
        return _axes(motion, part, when)[0]

    if len(LINES[part]) == 1:
        return np.linalg.norm(rate_of(turned, time), axis=-1)
    return np.linalg.norm(spin_of(turned, time), axis=-1)


class Screws(NamedTuple):
    """Helical axes of a turn at the middles of equal spans of time.

    Attributes
    ----------
    direction : ndarray, shape (N, 3)
        Unit vectors; NaN, as all the rest, where the segment turns too little.
    slide_m : ndarray, shape (N,)
        Along them over the step. [m]
    step_s : ndarray, shape (N,)
        Duration of the step. [s]
    crossing : ndarray, shape (N, 2)
        Where they meet the floor; NaN for an axis that is nearly level. [m]
    every_s : float
        Span that each instant stands for. [s]
    """

    direction: FloatArray
    slide_m: FloatArray
    step_s: FloatArray
    crossing: FloatArray
    every_s: float


def screws(motion: Motion, part: str, start: float, end: float) -> Screws:
    """Helical axes about instants between two times, each over the shortest centred step that turns by `STEP_TURN`.

    Parameters
    ----------
    motion : Motion
    part : {"pelvis", "trunk"}
    start, end : float
        [s from plant]

    Returns
    -------
    Screws

    Notes
    -----
    The rotation vector comes from scipy. The axis lies where (I - R) c is the translation across it; the pseudo-inverse
    gives the point nearest to the segment's own place.
    """
    from scipy.spatial.transform import Rotation

    # Middles of equal spans, so that sums over them are integrals over the turn.
    every = (end - start) / INSTANTS
    time = np.linspace(start + 0.5 * every, end - 0.5 * every, INSTANTS)
    half = _half_steps(motion, part, time)
    (before, start_at), (after, end_at) = (_axes(motion, part, time + sign * half) for sign in (-1.0, 1.0))
    turn = np.einsum("tij,tkj->tik", after, before)
    vector = Rotation.from_matrix(turn).as_rotvec()
    direction = vector / np.linalg.norm(vector, axis=1, keepdims=True)
    here = 0.5 * (start_at + end_at)
    moved = (end_at - here) - np.einsum("tij,tj->ti", turn, start_at - here)
    slide = np.sum(moved * direction, axis=1)
    level = moved - slide[:, None] * direction
    # Along the axis itself I - R is singular: its smallest singular value is rounding.
    place = here + np.einsum("tij,tj->ti", np.linalg.pinv(np.eye(3) - turn, rcond=1e-6), level)
    steep = np.abs(direction[:, 2]) >= np.sin(LEAST_ELEVATION)
    crossing = place - (place[:, 2] / np.where(steep, direction[:, 2], np.nan))[:, None] * direction
    seen = half < 0.5 * LONGEST_STEP_S
    return Screws(
        np.where(seen[:, None], direction, np.nan),
        np.where(seen, slide, np.nan),
        np.where(seen, 2.0 * half, np.nan),
        np.where(seen[:, None], crossing[:, :2], np.nan),
        every,
    )


def _axes(motion: Motion, part: str, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit vectors along a segment's line, shape (T, 3), or its axes as columns, shape (T, 3, 3); and its place. [m]"""
    points = motion.trunk_points(time) if part in ORIGINS else motion.points(time)
    main, *minor = (points[second] - points[first] for first, second in LINES[part])
    first = main / np.linalg.norm(main, axis=-1, keepdims=True)
    if not minor:
        return first, points[LINES[part][0][0]]
    third = np.cross(first, minor[0])
    third = third / np.linalg.norm(third, axis=-1, keepdims=True)
    return np.stack([first, np.cross(third, first), third], axis=-1), points[ORIGINS[part]]


def _half_steps(motion: Motion, part: str, time: FloatArray) -> FloatArray:
    """Half the shortest centred step that turns by `STEP_TURN`, at most half the longest one, shape (T,). [s]"""

    def short(half: FloatArray) -> FloatArray:
        """Of times by half steps: positive where the step turns too little."""
        whole = np.broadcast_to(time[:, None], half.shape)
        before, after = (_axes(motion, part, (whole + sign * half).ravel())[0] for sign in (-1.0, 1.0))
        trace = np.sum(before * after, axis=(-2, -1)).reshape(half.shape)
        return trace - (1.0 + 2.0 * np.cos(STEP_TURN))

    tried = np.linspace(0.0, 0.5 * LONGEST_STEP_S, TRIED)
    left = short(np.broadcast_to(tried, (len(time), TRIED)))
    found = (left <= 0.0).any(axis=1)
    first = np.where(found, np.argmax(left <= 0.0, axis=1), TRIED - 1)
    row = np.arange(len(time))
    low, high = tried[first - 1], tried[first]
    # Secants between two that were tried, over which the turn grows all but evenly.
    before, here = low, high
    miss_before, miss = left[row, first - 1], left[row, first]
    for _ in range(SECANTS):
        slope = np.where(
            miss == miss_before, np.inf, (miss - miss_before) / np.where(here == before, 1.0, here - before)
        )
        before, here, miss_before = here, np.clip(here - miss / slope, low, high), miss
        miss = short(here[:, None])[:, 0]
    return np.where(found, here, 0.5 * LONGEST_STEP_S)
