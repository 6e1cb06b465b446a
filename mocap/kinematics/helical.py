"""Finite helical axes: the line about which a segment turns, and along which it slides, from one pose to the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.filtering import IntArray
from mocap.kinematics.geometry import axis_and_angle

#: Least turn of a step. Below it the axis is mostly noise: with four markers on 10 cm and 1 mm of noise its direction
#: has a standard deviation of 3 deg at this turn, of 14 deg at 2 deg. [rad]
LEAST_TURN = np.radians(10.0)
#: Longest step over which the movement still counts as one turn about one axis. [s] This project's default.
LONGEST_STEP = 0.1
#: An axis closer to the level than this has no useful crossing with the floor. [rad] This project's default.
LEVEL = np.radians(5.0)


@dataclass(frozen=True)
class HelicalAxis:
    """Screw motions of shape (...): a turn about a line and a slide along it.

    Attributes
    ----------
    direction : ndarray, shape (..., 3)
        Unit vector, right-hand rule. NaN where nothing turns. [-]
    angle_rad : ndarray, shape (...)
        0 to pi. [rad]
    slide_m : ndarray, shape (...)
        Along `direction`. [m]
    point : ndarray, shape (..., 3)
        Point of the axis nearest to the origin. [m]
    """

    direction: FloatArray
    angle_rad: FloatArray
    slide_m: FloatArray
    point: FloatArray


class PoseNoise(NamedTuple):
    """How far the pose of a segment in one frame may be off, one standard deviation per axis.

    Attributes
    ----------
    rotation_rad : float
        [rad]
    origin_m : float
        [m]
    """

    rotation_rad: float
    origin_m: float


@dataclass(frozen=True)
class HelicalAxes:
    """Helical axes along one or many movements, one per frame, each of the step that has the frame in its middle.

    Attributes
    ----------
    axis : HelicalAxis
        Shape (..., F); `point` is the point of the axis nearest to the segment's origin in the frame. NaN where the
        segment turns too little. [m]
    step_s : ndarray, shape (..., F)
        Duration of the step. [s]
    distance_m : ndarray, shape (..., F)
        From the segment's origin to the axis. [m]
    direction_sd_rad : ndarray, shape (..., F)
        Standard deviation of the direction about each axis across it. [rad]
    position_sd_m : ndarray, shape (..., F)
        Standard deviation of `point` along the line from the segment's origin, in which it is greatest. [m]
    """

    axis: HelicalAxis
    step_s: FloatArray
    distance_m: FloatArray
    direction_sd_rad: FloatArray
    position_sd_m: FloatArray

    def between(self, first: int, stop: int) -> HelicalAxes:
        """Those of the frames from `first` up to, but not with, `stop`."""
        part, axis = (..., slice(first, stop)), self.axis
        vectors = (..., slice(first, stop), slice(None))
        within = HelicalAxis(axis.direction[vectors], axis.angle_rad[part], axis.slide_m[part], axis.point[vectors])
        sds = self.direction_sd_rad[part], self.position_sd_m[part]
        return HelicalAxes(within, self.step_s[part], self.distance_m[part], *sds)

    def floor_crossing(self, height_m: float = 0.0) -> tuple[FloatArray, FloatArray]:
        """Where each axis meets a level floor, z up.

        Parameters
        ----------
        height_m : float
            Of the floor. [m]

        Returns
        -------
        (crossing, sd)
            Shapes (..., F, 3) and (..., F): NaN where the axis is closer to the level than `LEVEL`; the standard
            deviation in the direction in which it is greatest. [m]
        """
        steepness = self.axis.direction[..., 2]
        steepness = np.where(np.abs(steepness) >= np.sin(LEVEL), steepness, np.nan)
        lever = (height_m - self.axis.point[..., 2]) / steepness
        crossing = self.axis.point + lever[..., None] * self.axis.direction
        return crossing, np.hypot(self.position_sd_m, lever * self.direction_sd_rad) / np.abs(steepness)


def helical_axis(rotation: FloatArray, translation: FloatArray) -> HelicalAxis:
    """Axis, turn and slide of the motion that takes p to rotation @ p + translation.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
    translation : ndarray, shape (..., 3)
        [m]

    Returns
    -------
    HelicalAxis

    Notes
    -----
    With the direction n and the angle th: slide t = n.d, point s = 1/2 (d - t n) + 1/2 cot(th/2) n x d, which is the
    paper's -1/2 n x (n x d) + sin th/(2 (1 - cos th)) n x d. Direction and angle come from the unit quaternion, which
    loses no figures near 0 and pi.

    References
    ----------
    Spoor CW, Veldpaus FE (1980) J Biomech 13:391-393.
    """
    direction, angle = axis_and_angle(rotation)
    slide = np.sum(direction * translation, axis=-1)
    cotangent = 1.0 / np.tan(np.where(angle > 0, angle, np.nan) / 2.0)
    perpendicular = translation - slide[..., None] * direction
    point = 0.5 * (perpendicular + cotangent[..., None] * np.cross(direction, translation))
    return HelicalAxis(direction, angle, slide, point)


def finite_helical_axes(
    rotation: FloatArray,
    origin: FloatArray,
    rate_hz: float | FloatArray,
    *,
    least_rad: float = LEAST_TURN,
    longest_s: float = LONGEST_STEP,
    noise: PoseNoise | None = None,
) -> HelicalAxes:
    """Helical axes along a movement, each over the shortest step about its frame that turns enough.

    Parameters
    ----------
    rotation : ndarray, shape (..., F, 3, 3)
        World from segment.
    origin : ndarray, shape (..., F, 3)
        A point of the segment, best the mean of the markers that its pose was found from. [m]
    rate_hz : float or ndarray, shape (..., 1)
        The same for all movements, or one for each. [Hz]
    least_rad : float
        Least turn of a step. [rad]
    longest_s : float
        Longest duration of a step; frames in which the segment turns less than `least_rad` in it stay NaN. [s]
    noise : PoseNoise, optional
        Of one frame; the standard deviations are NaN without it. `landmark_noise` gives it for a cluster of markers.

    Returns
    -------
    HelicalAxes

    Notes
    -----
    A step from frame f - k to f + k holds the noise of two poses: s_R and s_d are sqrt(2) times those of one. With the
    turn th and the distance r of the origin from the axis, the standard deviation of the direction is
    s_R / (2 sin(th/2)) about each axis across it, and that of the position sqrt(s_d^2 + (r s_R)^2) / (2 sin(th/2))
    along the line from the origin to the axis; across that line s_d / (2 sin(th/2)).

    References
    ----------
    Woltring HJ et al. (1985) J Biomech 18:379-389.
    """
    count = rotation.shape[-3]
    longest = int(np.floor(longest_s * float(np.nanmin(rate_hz)) / 2.0)) if np.isfinite(rate_hz).any() else 0
    half = _half_steps(rotation, least_rad, longest)
    found = half > 0
    frames = np.arange(count)
    ends = [np.where(found, frames + sign * half, 0) for sign in (-1, 1)]
    before, after = (np.take_along_axis(rotation, end[..., None, None], axis=-3) for end in ends)
    start, end = (np.take_along_axis(origin, end[..., None], axis=-2) for end in ends)
    turn = np.where(found[..., None, None], after @ np.swapaxes(before, -1, -2), np.nan)
    # About the segment's own place, so that neither the point nor its error hangs on where the lab's origin lies.
    here = np.where(found[..., None], (start + end) / 2.0, np.nan)
    moved = (end - here) - np.squeeze(turn @ (start - here)[..., None], axis=-1)
    local = helical_axis(turn, moved)
    axis = HelicalAxis(local.direction, local.angle_rad, local.slide_m, local.point + here)
    one = noise if noise is not None else PoseNoise(np.nan, np.nan)
    turn_sd, move_sd = np.sqrt(2.0) * one.rotation_rad, np.sqrt(2.0) * one.origin_m
    chord = 2.0 * np.sin(axis.angle_rad / 2.0)
    distance = np.linalg.norm(end - start - axis.slide_m[..., None] * axis.direction, axis=-1) / chord
    step_s = np.where(found, 2.0 * half / rate_hz, np.nan)
    return HelicalAxes(axis, step_s, distance, turn_sd / chord, np.hypot(move_sd, distance * turn_sd) / chord)


def landmark_noise(sd_m: float, radius_m: float, landmarks: int) -> PoseNoise:
    """Noise of a pose that was fitted to landmarks spread evenly in all directions.

    Parameters
    ----------
    sd_m : float
        Standard deviation of a landmark per coordinate. [m]
    radius_m : float
        Root mean square distance of the landmarks from their mean. [m]
    landmarks : int
        How many.

    Returns
    -------
    PoseNoise
        sd / radius sqrt(3 / (2 m)) about each axis, and sd / sqrt(m) for the mean of the landmarks.

    References
    ----------
    Woltring HJ et al. (1985) J Biomech 18:379-389.
    """
    return PoseNoise(sd_m / radius_m * float(np.sqrt(1.5 / landmarks)), sd_m / float(np.sqrt(landmarks)))


def _half_steps(rotation: FloatArray, least_rad: float, longest: int) -> IntArray:
    """Half the shortest step about each frame that turns by `least_rad`, 0 where none up to `longest` does. [frames]"""
    frames = rotation.shape[-3]
    half = np.zeros(rotation.shape[:-2], dtype=np.intp)
    flat = rotation.reshape(*rotation.shape[:-2], 9)
    for step in range(1, min(longest, (frames - 1) // 2) + 1):
        # The trace of R2 R1' is the sum of products of their elements, and 1 + 2 cos(turn).
        trace = np.einsum("...k,...k->...", flat[..., 2 * step :, :], flat[..., : frames - 2 * step, :])
        middle = half[..., step : frames - step]
        middle[(middle == 0) & (trace <= 1.0 + 2.0 * np.cos(least_rad))] = step
    return half
