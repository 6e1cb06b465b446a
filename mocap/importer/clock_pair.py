"""Two cameras whose clocks are not in step: how far their rays miss each other, and at which offset they miss least.

The distance is Sampson's (R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., equation 11.9), each over its
own standard deviation; the camera of the higher rate is taken between its frames (`interpolation`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.interpolation import between, without_leaps
from mocap.importer.keypoints import Keypoints
from mocap.importer.pose import cross_matrix
from mocap.importer.two_views import CAUCHY, MAD_TO_SD

#: Of the search: steps per frame of the slower camera, and the distance at which two rays half agree. [px]
STEPS_PER_FRAME, AGREE_PX = 1, 6.0
#: A point tells the time where it moves faster than this. [px per frame]
MOVING_PX = 2.0
#: No point is taken to move faster than a bat's end filmed at 60 Hz from 6 m, so that one outlier is not the whole
#: motion. [px per frame]
FASTEST_PX = 100.0
#: How far a stated rate may be off, one standard deviation: rates of 30, 60, 120 and 240 often stand for 1000/1001 of
#: them, a crystal is within 1e-4 (common practice, no source). A drift is kept where it is `DRIFT_SEEN` times its
#: standard deviation; one that cannot be told from none would only lead the offset astray.
DRIFT_SD, DRIFT_SEEN = 1e-3, 3.0
#: Errors of a detector hang together over this time; so long blocks of one point count as one. This project's default.
BLOCK_S = 0.05
#: Steps of the refinement, and the frames to either side over which slopes are taken.
ROUNDS, SLOPE_FRAMES = 15, 2.0
#: Fewest samples of moving points that can tell a time.
FEWEST = 40


@dataclass(frozen=True)
class Curve:
    """How well two cameras agree over the offsets that were tried.

    Attributes
    ----------
    offset_s : ndarray, shape (N,)
        [s]
    agreement : ndarray, shape (N,)
        About the share of the moving points' samples whose rays meet. [-]
    residual_px : ndarray, shape (N,)
        Median distance between the rays of moving points; NaN where the clips do not overlap. [px]
    """

    offset_s: FloatArray
    agreement: FloatArray
    residual_px: FloatArray


@dataclass(frozen=True)
class Fit:
    """What was found of one camera against the first."""

    offset_s: float
    drift: float
    sd_s: float
    drift_sd: float
    residual_px: float
    noise_scale: float
    still_px: float = np.nan
    curve: Curve | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Pair:
    """Rays of two cameras to the same points, and how they stand to each other.

    Attributes
    ----------
    rays, sd : tuple of two ndarrays, shape (F, P, 2), (F, P)
        First camera and second, as `Camera.normalise` gives them, and their standard deviation. [-]
    speed : tuple of two ndarrays, shape (F, P)
        Of the points in the pictures; NaN where not known. [px per frame]
    start, rate : tuple of two floats
        Time of the first of the F frames by the stated clock, and frames per second. [s], [Hz]
    essential : ndarray, shape (3, 3)
    focal : tuple of two floats
        [px]
    cameras, keypoints : tuple of two
        From which this was made.
    noise_px : float
    """

    rays: tuple[FloatArray, FloatArray]
    sd: tuple[FloatArray, FloatArray]
    speed: tuple[FloatArray, FloatArray]
    start: tuple[float, float]
    rate: tuple[float, float]
    essential: FloatArray
    focal: tuple[float, float]
    cameras: tuple[Camera, Camera]
    keypoints: tuple[Keypoints, Keypoints]
    noise_px: float

    @classmethod
    def of(cls, cameras: tuple[Camera, Camera], keypoints: tuple[Keypoints, Keypoints], noise_px: float) -> Pair:
        """A pair from its pictures; the points of both in one order."""
        one, other = cameras
        turn = other.rotation @ one.rotation.T
        shift = other.translation - turn @ one.translation
        focal = tuple(float(np.sqrt(camera.matrix[0, 0] * camera.matrix[1, 1])) for camera in cameras)
        # One outlier would make steep slopes at its neighbours, whose own residuals look innocent.
        pixels = tuple(without_leaps(found.pixels, found.sd_px(noise_px)) for found in keypoints)
        rays = tuple(camera.normalise(own) for camera, own in zip(cameras, pixels, strict=True))
        sd = tuple(found.sd_px(noise_px) / f for found, f in zip(keypoints, focal, strict=True))
        return cls(
            (rays[0], rays[1]),
            (sd[0], sd[1]),
            (_speed(pixels[0]), _speed(pixels[1])),
            (float(keypoints[0].times(one)[0]), float(keypoints[1].times(other)[0])),
            (rate_of(one), rate_of(other)),
            cross_matrix(shift / max(float(np.linalg.norm(shift)), 1e-12)) @ turn,
            (focal[0], focal[1]),
            cameras,
            keypoints,
            noise_px,
        )

    @property
    def slower(self) -> int:
        """The camera whose frames are kept; the other is taken between its own."""
        return 0 if self.rate[0] <= self.rate[1] else 1

    @cached_property
    def middle_s(self) -> float:
        """Mean time of the motion that the second camera saw, by its stated clock, from its frame 0. [s]

        Each point counts by the square of its speed, as it does in the offset: at this time the offset hangs together
        with the drift as little as can be, and its standard deviation is that of the fast part of the swing.
        """
        weight = (np.nan_to_num(np.minimum(self.speed[1], FASTEST_PX)) ** 2).sum(axis=1)
        frames = self.keypoints[1].frames
        return float((weight * frames).sum() / max(weight.sum(), 1e-9)) / self.rate[1]

    def middle_at(self, offset_s: float) -> float:
        """`middle_s` on the first camera's clock. [s]"""
        return self.start[1] - float(self.keypoints[1].frames[0]) / self.rate[1] + self.middle_s + offset_s

    def at(self, offset_s: float, drift: float = 0.0) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """How the rays miss each other.

        Parameters
        ----------
        offset_s : float
            To be added to the second camera's stated times, at `middle_s`. [s]
        drift : float

        Returns
        -------
        residual : ndarray, shape (F, P)
            Sampson's distance at the slower camera's frames; NaN where one did not see the point. [px]
        standard : ndarray, shape (F, P)
            The same over its own standard deviation. [-]
        speed : ndarray, shape (F, P)
            Of the point in the pictures, of whichever shows it faster. [px per frame]
        times : ndarray, shape (F,)
            By the first camera's clock. [s]
        """
        index, times = self._index(offset_s, drift)
        kept, fast = self.slower, 1 - self.slower
        rays, sd = between(self.rays[fast], self.sd[fast], index)
        both: list[FloatArray] = [rays, rays]
        spread: list[FloatArray] = [sd, sd]
        both[kept], spread[kept] = self.rays[kept], self.sd[kept]
        x, y = (np.concatenate([ray, np.ones((*ray.shape[:-1], 1))], axis=-1) for ray in both)
        lines, back = x @ self.essential.T, y @ self.essential
        algebraic = (lines * y).sum(axis=-1)
        along, toward = (lines[..., :2] ** 2).sum(axis=-1), (back[..., :2] ** 2).sum(axis=-1)
        residual = algebraic / np.sqrt(along / self.focal[1] ** 2 + toward / self.focal[0] ** 2)
        standard = algebraic / np.sqrt(along * spread[1] ** 2 + toward * spread[0] ** 2)
        near = np.clip(np.round(np.nan_to_num(index)), 0, len(self.speed[fast]) - 1).astype(np.intp)
        speed = np.fmax(self.speed[kept], self.speed[fast][near] * self.rate[fast] / self.rate[kept])
        return residual, standard, speed, times

    def _index(self, offset_s: float, drift: float) -> tuple[FloatArray, FloatArray]:
        """Places of the slower camera's frames among the faster one's, and their times by the first clock."""
        since = self.keypoints[1].frames / self.rate[1]
        moved = self.start[1] + since - since[0] + offset_s + drift * (since - self.middle_s)
        if self.slower == 0:
            times = self.start[0] + np.arange(len(self.rays[0])) / self.rate[0]
            # `moved` is a straight line over the frames.
            return (times - moved[0]) * self.rate[1] / (1.0 + drift), times
        return (moved - self.start[0]) * self.rate[0], moved


def _speed(pixels: FloatArray) -> FloatArray:
    """How fast points move in the picture, over two frames to either side, shape (F, P). [px per frame]"""
    speed = np.full(pixels.shape[:2], np.nan)
    if len(pixels) > 4:
        speed[2:-2] = np.hypot(*np.moveaxis(pixels[4:] - pixels[:-4], -1, 0)) / 4.0
    return speed


# -------------------------------------------------------------------- search and refinement


def searched(pair: Pair, search_s: float) -> Curve:
    """Agreement of two cameras over all offsets."""
    step = 1.0 / (STEPS_PER_FRAME * pair.rate[pair.slower])
    offsets = step * np.arange(-np.ceil(search_s / step), np.ceil(search_s / step) + 1)
    # All motion that there is, in frames of the slower camera.
    kept = pair.rate[pair.slower]
    motion = max(
        float(telling(own * rate / kept).sum()) * kept / rate for own, rate in zip(pair.speed, pair.rate, strict=True)
    )
    agreement, residual = np.zeros(len(offsets)), np.full(len(offsets), np.nan)
    for i, offset in enumerate(offsets):
        off, _, speed, _ = pair.at(float(offset))
        weight = np.where(np.isfinite(off), telling(speed), 0.0)
        agreement[i] = (weight / (1.0 + (np.nan_to_num(off) / AGREE_PX) ** 2)).sum() / max(motion, 1e-9)
        moving = weight > 0.5
        if moving.sum() >= FEWEST:
            residual[i] = np.median(np.abs(off[moving]))
    return Curve(offsets, agreement, residual)


def telling(speed: FloatArray) -> FloatArray:
    """How much a point at that speed tells of the time, 0 to 1."""
    square = np.nan_to_num(speed) ** 2
    return square / (square + MOVING_PX**2)


def refined(pair: Pair, offset_s: float, curve: Curve) -> Fit | None:
    """Offset and drift from a start; None where too little overlaps."""
    solved = _least_squares(pair, np.array([offset_s, 0.0]), 2)
    if solved is None:
        return None
    drift_sd = solved[1][1]
    if abs(solved[0][1]) < DRIFT_SEEN * drift_sd:
        solved = _least_squares(pair, np.array([solved[0][0], 0.0]), 1)
        if solved is None:
            return None
    value, sd, scale = solved
    residual, _, speed, _ = pair.at(value[0], value[1])
    moving = np.isfinite(residual) & (telling(speed) > 0.5)
    if moving.sum() < FEWEST:
        return None
    still = np.isfinite(residual) & ~moving
    notes = (f"{pair.keypoints[1].source}: its clock is off by {1e6 * value[1]:+.0f} ppm",) if value[1] else ()
    return Fit(
        # Counted at the middle of the motion, stated at frame 0.
        float(value[0] - value[1] * pair.middle_s),
        float(value[1]),
        float(sd[0]),
        float(drift_sd),
        float(np.median(np.abs(residual[moving]))),
        scale,
        float(np.median(np.abs(residual[still]))) if still.sum() >= FEWEST else np.nan,
        curve,
        notes,
    )


def _least_squares(pair: Pair, value: FloatArray, unknowns: int) -> tuple[FloatArray, FloatArray, float] | None:
    """Gauss-Newton steps of the robust sum of squares over the first one or two of offset and drift.

    Returns
    -------
    (value, sd, scale) or None
        None where too little overlaps.
    """
    frame = 1.0 / pair.rate[pair.slower]
    most = np.array([frame, DRIFT_SD])
    for _ in range(ROUNDS):
        _, standard, speed, times = pair.at(value[0], value[1])
        # The slope over some frames to either side shares next to no noise with the residual between them; with slopes
        # made of that noise, still points would tell the time.
        apart = SLOPE_FRAMES * frame
        later, sooner = (pair.at(value[0] + by, value[1])[1] for by in (apart, -apart))
        slope = (later - sooner) / (2.0 * apart)
        good = np.isfinite(standard) & np.isfinite(slope)
        if good.sum() < FEWEST:
            return None
        since = np.broadcast_to((times - pair.middle_at(value[0]))[:, None], good.shape)[good]
        z, lines = standard[good], np.stack([slope[good], slope[good] * since])[:unknowns]
        scale = max(MAD_TO_SD * float(np.median(np.abs(z))), 1e-6)
        weight = telling(speed)[good] / (1.0 + (z / (CAUCHY * scale)) ** 2)
        prior = np.diag([0.0, (scale / DRIFT_SD) ** 2])[:unknowns, :unknowns]
        inverse = np.linalg.pinv((weight * lines) @ lines.T + prior)
        step = np.zeros(2)
        step[:unknowns] = -inverse @ ((weight * lines) @ z + prior @ value[:unknowns])
        value = value + np.clip(step, -most, most)
        if (np.abs(step) < 1e-4 * most).all():
            break
    # As if all samples were independent, and as if those of one point within a short time were one: the larger counts.
    alone = scale**2 / 0.95 * np.diag(inverse)
    frames, points = np.nonzero(good)
    block = np.floor((times[frames] - times[0]) / BLOCK_S).astype(np.intp) * good.shape[1] + points
    sums = np.stack([np.bincount(block, weights=weight * z * line) for line in lines])
    together = np.diag(inverse @ (sums @ sums.T + scale**2 * prior) @ inverse)
    sd = np.zeros(2)
    sd[:unknowns] = np.sqrt(np.maximum(alone, together))
    return value, sd, scale


def rate_of(camera: Camera) -> float:
    """Frames per second, or an error where they are not known. [Hz]"""
    if camera.rate_hz is None:
        name = camera.name or "without a name"
        raise InputError(f"camera {name}: rate_hz is missing; add it to the camera's file")
    return camera.rate_hz


def check_tables(cameras: Sequence[Camera], keypoints: Sequence[Keypoints]) -> None:
    """Raise where there are not two or more cameras with rates, each with its table."""
    if len(cameras) < 2 or len(cameras) != len(keypoints):
        raise OptionError(
            f"synchronising: {len(cameras)} cameras and {len(keypoints)} tables of points; give two or more of each"
        )
    for camera in cameras:
        rate_of(camera)
