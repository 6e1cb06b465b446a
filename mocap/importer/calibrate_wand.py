"""How cameras stand to each other, from a wand (or bat) of known length waved through the space that they see.

The pair of cameras that share most frames starts by the essential matrix, with the wand's length for the scale; others
are placed by the ends found so far; then all poses and both ends in every frame are adjusted together
(`mocap.importer.bundle`). Wrong points weigh less by Cauchy's function and are then left out, and the result is the
least-squares fit of the rest. Ends that were exchanged in some frames, or in one camera throughout, are put right.

The pictures must belong together in time: a wand that moves 3 m/s lies 12 mm on after half a frame at 120 Hz.
Where everything lies in the cage follows from known points: `mocap.importer.rig_place`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer import pose
from mocap.importer.bundle import PER_CAMERA, Problem, Rig, adjust
from mocap.importer.camera import CALIBRATED, Camera
from mocap.importer.triangulation import intersect, triangulate
from mocap.importer.two_views import CAUCHY, MAD_TO_SD, relative_pose, sampson

Flags = npt.NDArray[np.bool_]

#: Fewest frames in which two cameras must see both ends. This project's default.
FEWEST_FRAMES = 20
#: How well a wand's length is known. This project's default. [m]
LENGTH_SD_M = 1e-3
#: Residuals farther out, in standard deviations of one axis, belong to wrong points: one in 10,000 right ones does.
GATE = 4.29
#: Rounds of reweighting, and of leaving out after it.
CAUCHY_ROUNDS, GATE_ROUNDS = 4, 5
#: A fit is none when more than this share of what was seen had to be left out. This project's default.
MOST_WRONG = 0.4
#: Residuals over the stated noise from which a fit is called poor, and bad. This project's default.
POOR, BAD = 3.0, 10.0


@dataclass(frozen=True, eq=False)
class WandCalibration:
    """Cameras in the axes of the first one.

    Attributes
    ----------
    cameras : tuple of Camera, length C
        The first stands at the origin and looks along z.
    covariance : ndarray, shape (7 C, 7 C)
        Of each camera's small rotation in its axes, translation and log focal length; zero for what is not found (the
        first camera's pose, and focal lengths that were not asked for). [rad], [m], [-]
    ends : ndarray, shape (F, 2, 3)
        NaN where fewer than two cameras saw one rightly. [m]
    residuals : ndarray, shape (C, F, 2, 2)
        Seen minus projected; NaN where it was not used. [px]
    rms_px : float
        Per axis. [px]
    length_error_m : float
        Root mean square error of the wand's length where it is found without being told. [m]
    left_out : ndarray of bool, shape (C, F, 2)
        What was seen, and found to be wrong.
    exchanged : ndarray of bool, shape (C, F)
        Where the ends had each other's names.
    notes : tuple of str
    """

    cameras: tuple[Camera, ...]
    covariance: FloatArray
    ends: FloatArray
    residuals: FloatArray
    rms_px: float
    length_error_m: float
    left_out: Flags
    exchanged: Flags
    notes: tuple[str, ...]


def calibrate_wand(
    lenses: Sequence[Camera],
    pixels: npt.ArrayLike,
    length_m: float,
    *,
    sd_px: float = 1.0,
    length_sd_m: float = LENGTH_SD_M,
    free_focal: bool = False,
) -> WandCalibration:
    """Find how cameras stand to each other.

    Parameters
    ----------
    lenses : sequence of Camera, length C
        Matrix, distortion and picture size; their places are not used.
    pixels : array-like, shape (C, F, 2, 2)
        Camera, frame, end, (u, v), of pictures taken at the same time; NaN where an end was not seen. [px]
    length_m : float
        Between the two ends. [m]
    sd_px : float
        Noise of the pixels, per axis. [px]
    length_sd_m : float
        [m]
    free_focal : bool
        Whether focal lengths are found too (zoom that was touched since the lens was calibrated).

    Returns
    -------
    WandCalibration

    Raises
    ------
    InputError
        Too few frames that cameras share, or a fit that leaves most of what was seen, or many pixels.
    OptionError
        Fewer than two cameras, arrays that do not belong together, a length or noise that is none.
    """
    seen = np.array(pixels, dtype=np.float64)
    _check(lenses, seen, length_m, sd_px, length_sd_m)
    start = _Start(list(lenses), seen, length_m)
    start.run()
    return _adjusted(start, sd_px, length_sd_m, free_focal)


class _Start:
    """Cameras and ends, one after another, from what is known so far.

    Parameters
    ----------
    lenses, pixels, length_m
        As in `calibrate_wand`; pixels are put right in place where ends are exchanged.
    """

    def __init__(self, lenses: list[Camera], pixels: FloatArray, length_m: float) -> None:
        self.lenses, self.pixels, self.length_m = lenses, pixels, length_m
        self.exchanged = np.zeros(pixels.shape[:2], dtype=np.bool_)
        self.placed: dict[int, Camera] = {}

    @property
    def whole(self) -> Flags:
        """Frames in which a camera sees both ends, shape (C, F)."""
        return np.asarray(np.isfinite(self.pixels).all(axis=(2, 3)), dtype=np.bool_)

    def run(self) -> None:
        """Place every camera."""
        whole = self.whole
        i, j = max(
            combinations(range(len(self.lenses)), 2), key=lambda pair: int((whole[pair[0]] & whole[pair[1]]).sum())
        )
        self._pair(i, j)
        while len(self.placed) < len(self.lenses):
            known = np.asarray(np.isfinite(self.ends()).all(axis=(1, 2)), dtype=np.bool_)
            rest = [c for c in range(len(self.lenses)) if c not in self.placed]
            best = max(rest, key=lambda c: int((whole[c] & known).sum()))
            self._add(best, known)

    def ends(self) -> FloatArray:
        """Both ends by the cameras placed so far, shape (F, 2, 3); NaN where fewer than two saw one. [m]"""
        which = sorted(self.placed)
        cameras = [self.placed[c] for c in which]
        flat = self.pixels[which].reshape(len(which), -1, 2)
        rays = np.stack([camera.normalise(own) for camera, own in zip(cameras, flat, strict=True)])
        there = np.isfinite(rays).all(axis=2)
        there &= there.sum(axis=0) >= 2
        return intersect(cameras, rays, there.astype(float)).reshape(-1, 2, 3)

    def _pair(self, i: int, j: int) -> None:
        frames = self._shared(self.whole[i] & self.whole[j], f"{self._name(i)} and {self._name(j)}")
        first = self.lenses[i].normalise(self.pixels[i, frames])
        second = self.lenses[j].normalise(self.pixels[j, frames])
        fits = [_relative(first, second), _relative(first, second[:, ::-1])]
        throughout = int(np.argmin([np.median(np.abs(distance)) for _, _, distance in fits]))
        rotation, translation, distance = fits[throughout]
        # Then frame by frame: an exchange is believed where it takes the frame's distances from far to near.
        scale = MAD_TO_SD * float(np.median(np.abs(distance)))
        essential = pose.cross_matrix(translation) @ rotation
        costs = [
            np.minimum((sampson(essential, first.reshape(-1, 2), other.reshape(-1, 2)) / scale) ** 2, GATE**2)
            .reshape(-1, 2)
            .sum(axis=1)
            for other in (second, second[:, ::-1])
        ]
        turned = costs[1] + 9.0 < costs[0] if throughout == 0 else ~(costs[0] + 9.0 < costs[1])
        self._exchange(j, frames[turned])
        second = self.lenses[j].normalise(self.pixels[j, frames])
        rotation, translation, _ = _relative(first, second)
        self.placed = {
            i: replace(self.lenses[i], rotation=np.eye(3), translation=np.zeros(3)),
            j: replace(self.lenses[j], rotation=rotation, translation=translation),
        }
        ends = self.ends()
        length = float(np.nanmedian(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
        self.placed[j] = replace(self.placed[j], translation=translation * self.length_m / length)

    def _add(self, c: int, known: Flags) -> None:
        """Place one more camera by the ends that are known."""
        frames = self._shared(self.whole[c] & known, f"{self._name(c)} and the other cameras")
        places, lens = self.ends()[frames], self.lenses[c]
        fits = []
        for order in (slice(None), slice(None, None, -1)):
            seen = self.pixels[c, frames][:, order]
            camera = _resected(lens, places.reshape(-1, 3), seen.reshape(-1, 2))
            fits.append((float(np.nanmedian(np.linalg.norm(camera.project(places) - seen, axis=2))), camera))
        camera = min(fits, key=lambda fit: fit[0])[1]
        expected = camera.project(places)
        off = [
            np.linalg.norm(expected - self.pixels[c, frames][:, order], axis=2).max(axis=1)
            for order in (slice(None), slice(None, None, -1))
        ]
        self._exchange(c, frames[off[1] < off[0]])
        self.placed[c] = camera

    def _shared(self, which: Flags, who: str) -> npt.NDArray[np.int64]:
        frames = np.flatnonzero(which)
        if len(frames) < FEWEST_FRAMES:
            raise InputError(
                f"{who} see both ends of the wand together in {len(frames)} frames, {FEWEST_FRAMES} are needed;"
                " wave it longer, where both see it"
            )
        return frames

    def _exchange(self, c: int, frames: npt.NDArray[np.int64]) -> None:
        self.pixels[c, frames] = self.pixels[c, frames, ::-1]
        self.exchanged[c, frames] ^= True

    def _name(self, c: int) -> str:
        return _name(self.lenses, c)


def _adjusted(start: _Start, sd_px: float, length_sd_m: float, free_focal: bool) -> WandCalibration:
    """Adjust everything, with less and less of what is wrong."""
    rig = _rig_of(start)
    used = _enough(np.isfinite(start.pixels).all(axis=3) & np.isfinite(rig.ends).all(axis=2))
    rig = replace(rig, ends=np.where(_located(used)[..., None], rig.ends, 0.0))
    pixels = np.nan_to_num(start.pixels)

    def fit(rig: Rig, used: Flags, share: FloatArray) -> tuple[Rig, FloatArray, FloatArray]:
        both = np.asarray(_located(used).all(axis=1), dtype=np.float64)
        weights = np.where(used, share, 0.0) / sd_px**2
        problem = Problem(start.lenses, pixels, weights, start.length_m, both / length_sd_m**2, free_focal)
        return adjust(rig, problem)

    equal = share = np.ones(used.shape)
    for _ in range(CAUCHY_ROUNDS):
        rig, _, residuals = fit(rig, used, share)
        off = np.linalg.norm(residuals, axis=3)
        share = 1.0 / (1.0 + (off / (CAUCHY * _noise(off[used], sd_px))) ** 2)
    for _ in range(GATE_ROUNDS):
        before = used
        used = _enough(used & (off < GATE * _noise(off[used], sd_px)))
        rig, covariance, residuals = fit(rig, used, equal)
        off = np.linalg.norm(residuals, axis=3)
        if (used == before).all():
            break
    return _result(start, rig, covariance, np.where(used[..., None], residuals, np.nan), sd_px)


def _result(start: _Start, rig: Rig, covariance: FloatArray, residuals: FloatArray, sd_px: float) -> WandCalibration:
    used = np.asarray(np.isfinite(residuals).all(axis=3), dtype=np.bool_)
    there = np.isfinite(start.pixels).all(axis=3)
    left_out = np.asarray(there & ~used & (there.sum(axis=0) >= 2), dtype=np.bool_)
    # Unknowns: six per camera but the first, three per end, less one length per frame.
    ends = _located(used)
    freedom = (
        2 * int(used.sum()) - 6 * (len(start.lenses) - 1) - 3 * int(ends.sum()) + int((ends.sum(axis=1) == 2).sum())
    )
    rms = float(np.sqrt(np.nansum(residuals**2) / max(freedom, 1)))
    _judge(float(left_out.sum()) / max(float(left_out.sum() + used.sum()), 1.0), rms, sd_px)
    covariance = covariance * max(rms / sd_px, 1.0) ** 2
    cameras = tuple(_camera_of(lens, rig, covariance, c) for c, lens in enumerate(start.lenses))
    found = triangulate(cameras, np.where(used[..., None], start.pixels, np.nan), np.full(used.shape, sd_px)).points
    length = np.linalg.norm(found[:, 1] - found[:, 0], axis=1)
    return WandCalibration(
        cameras=cameras,
        covariance=covariance,
        ends=np.where(ends[..., None], rig.ends, np.nan),
        residuals=residuals,
        rms_px=rms,
        length_error_m=float(np.sqrt(np.nanmean((length - start.length_m) ** 2))),
        left_out=left_out,
        exchanged=start.exchanged,
        notes=_notes(start, left_out, rms, sd_px),
    )


def _camera_of(lens: Camera, rig: Rig, covariance: FloatArray, c: int) -> Camera:
    """A camera as it was found; its lens is taken as exact but for a focal length that was found too."""
    matrix = np.array(lens.matrix)
    matrix[:2, :2] *= rig.scale[c]
    own = np.zeros((CALIBRATED, CALIBRATED))
    block = slice(PER_CAMERA * c, PER_CAMERA * (c + 1))
    own[:PER_CAMERA, :PER_CAMERA] = covariance[block, block]
    return replace(lens, matrix=matrix, rotation=rig.rotation[c], translation=rig.translation[c], covariance=own)


def _judge(wrong: float, rms: float, sd_px: float) -> None:
    """Refuse what is no calibration; `wrong` is the share that was left out."""
    causes = (
        "check that the clips are synchronised, that each lens is its camera's, that no camera moved, and that the"
        " points are the wand's ends"
    )
    if wrong > MOST_WRONG:
        raise InputError(f"the wand does not fit: {100 * wrong:.0f} % of the points had to be left out; {causes}")
    if rms > BAD * sd_px:
        raise InputError(f"the wand fits only to {rms:.1f} px; {causes}")


def _notes(start: _Start, left_out: Flags, rms: float, sd_px: float) -> tuple[str, ...]:
    notes = []
    wrong = _located(left_out)
    if wrong.any():
        notes.append(f"{int(wrong.sum())} of {wrong.size} ends of the wand were left out as wrong points")
    for c in range(len(start.lenses)):
        count, total = int(start.exchanged[c].sum()), int(start.whole[c].sum())
        if count:
            notes.append(
                f"{_name(start.lenses, c)}: the wand's ends had each other's names in {count} of {total} frames"
            )
    if rms > POOR * sd_px:
        notes.append(f"the wand fits to {rms:.1f} px, which is poor; see that the clips are synchronised")
    return tuple(notes)


def _rig_of(start: _Start) -> Rig:
    """The start, in the first camera's axes."""
    first = start.placed[0]
    cameras = [start.placed[c] for c in range(len(start.lenses))]
    rotation = np.stack([camera.rotation @ first.rotation.T for camera in cameras])
    moved = np.stack([camera.translation for camera in cameras]) - rotation @ first.translation
    return Rig(rotation, moved, np.ones(len(cameras)), first.in_camera(start.ends()))


def _relative(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    return relative_pose(first.reshape(-1, 2), second.reshape(-1, 2))


def _resected(lens: Camera, places: FloatArray, pixels: FloatArray) -> Camera:
    """A camera's pose by many points, some of them wrong."""
    good = np.isfinite(places).all(axis=1) & np.isfinite(pixels).all(axis=1)
    places, pixels = places[good], pixels[good]
    draw = np.random.default_rng(0)
    weights = np.zeros((100, len(places)))
    np.put_along_axis(weights, np.stack([draw.permutation(len(places))[:8] for _ in range(100)]), 1.0, axis=1)
    starts = pose.linear_poses(places, lens.normalise(pixels), weights)
    medians = [
        np.median(np.nan_to_num(np.linalg.norm(camera.project(places) - pixels, axis=1), nan=1e9))
        for camera in (replace(lens, rotation=r, translation=t) for r, t in zip(*starts, strict=True))
    ]
    best = int(np.argmin(medians))
    at = (starts[0][best : best + 1], starts[1][best : best + 1])
    off = np.linalg.norm(replace(lens, rotation=at[0][0], translation=at[1][0]).project(places) - pixels, axis=1)
    for _ in range(CAUCHY_ROUNDS):
        scale = max(MAD_TO_SD * float(np.nanmedian(off)), 1e-6)
        fit = pose.refine(lens, at, places, pixels, (1.0 / (1.0 + np.nan_to_num(off / scale, nan=1e6) ** 2))[None])
        at, off = (fit.rotation, fit.translation), np.linalg.norm(fit.residuals[0], axis=1)
    return fit.camera(lens)


def _enough(used: npt.ArrayLike) -> Flags:
    """Ends that at least two cameras see."""
    flags = np.asarray(used, dtype=np.bool_)
    return flags & (flags.sum(axis=0) >= 2)


def _located(used: Flags) -> Flags:
    """Ends that any camera counts for, shape (F, 2)."""
    return np.asarray(used.any(axis=0), dtype=np.bool_)


def _noise(off: FloatArray, sd_px: float) -> float:
    """Noise per axis that distances speak of, at least the stated one. [px]"""
    # The median of the length of two normal deviates is 1.1774 of their standard deviation.
    return max(float(np.median(off)) / 1.1774, sd_px)


def _name(lenses: Sequence[Camera], c: int) -> str:
    return lenses[c].name or f"camera {c + 1}"


def _check(lenses: Sequence[Camera], seen: FloatArray, length_m: float, sd_px: float, length_sd_m: float) -> None:
    if len(lenses) < 2:
        raise OptionError("a wand needs at least two cameras")
    if seen.ndim != 4 or seen.shape[0] != len(lenses) or seen.shape[2:] != (2, 2):
        raise OptionError(f"pixels must be cameras x frames x 2 ends x 2, got {seen.shape} for {len(lenses)} cameras")
    for value, key in ((length_m, "length_m"), (sd_px, "sd_px"), (length_sd_m, "length_sd_m")):
        if not 0.0 < value < np.inf:
            raise OptionError(f"{key} must be positive, got {value:g}")
