"""Where a camera stands, from what it sees of points of known place; a wrong point is found and named.

With a calibrated lens six points are enough, in one plane or not; without, the points must fill space, and focal length
and principal point are found with the place (square pixels, no distortion).

**Wrong points.** Every way of leaving out one point, and two, is fitted from its own linear start. A point is wrong
when leaving it out lowers the misfit by more than an F test allows for chance, corrected for how many were tried; the
noise against which that is held is the one found, pooled with the stated one. The result is the least-squares fit of
the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer import pose
from mocap.importer.calibration_error import pixel_slopes, with_lens_error
from mocap.importer.camera import Camera
from mocap.importer.pose import Poses

#: Fewest points; five of them still over-determine the place when one is wrong.
FEWEST = 6
#: How surely a point must be wrong to be left out. This project's default.
LEVEL = 0.01
#: The stated noise counts as if it were known from so many residuals. This project's default.
STATED_FREEDOM = 8.0
#: Pairs of wrong points are looked for among up to so many points; beyond it they are found one by one.
PAIRS_UP_TO = 24
#: Points thinner than this share of their length lie in one plane, for a lens that is not known; in a line, for any.
#: This project's default.
FLAT_SHARE = 0.02
#: A fit as bad as this, over the picture's width, is none. This project's default.
BAD_SHARE = 0.01
#: Mirrored points must fit better by this factor to be called so, in root mean square. This project's default.
MIRROR_FACTOR = 3.0


@dataclass(frozen=True, eq=False)
class Placed:
    """A camera whose place was found.

    Attributes
    ----------
    camera : Camera
        With the covariance of all its parameters, the lens's own included where that is stated.
    names : tuple of str, length N
        Of the points that it saw.
    residuals : ndarray, shape (N, 2)
        Seen minus projected, the wrong points' too. [px]
    wrong : tuple of str
        Points that were left out.
    covariance : ndarray, shape (6, 6) or (9, 9)
        Of a small rotation in camera axes (applied after `camera.rotation`) and the translation, then with an unknown
        lens of the log focal length and the principal point; from the stated noise, or the one found where it is
        larger. [rad], [m], [-], [px]
    rms_px : float
        Of the residuals of the points that were used, per axis and over the degrees of freedom. [px]
    notes : tuple of str
    """

    camera: Camera
    names: tuple[str, ...]
    residuals: FloatArray
    wrong: tuple[str, ...]
    covariance: FloatArray
    rms_px: float
    notes: tuple[str, ...]

    @cached_property
    def centre_covariance(self) -> FloatArray:
        """Of `camera.centre`, shape (3, 3). [m^2]"""
        turned = self.camera.rotation.T
        slopes = np.hstack([-turned @ pose.cross_matrix(self.camera.translation), -turned])
        return slopes @ self.covariance[:6, :6] @ slopes.T

    @property
    def sd_focal_share(self) -> float:
        """Standard deviation of the focal length over itself; zero where the lens was given. [-]"""
        return float(np.sqrt(self.covariance[6, 6])) if len(self.covariance) > 6 else 0.0


def calibrate_place(
    points: npt.ArrayLike,
    pixels: npt.ArrayLike,
    lens: Camera | None = None,
    *,
    names: Sequence[str] | None = None,
    size: tuple[int, int] | None = None,
    sd_px: float = 1.0,
    name: str = "",
) -> Placed:
    """Find where a camera stands.

    Parameters
    ----------
    points : array-like, shape (N, 3)
        Places, z up, in the axes that the cameras shall have. [m]
    pixels : array-like, shape (N, 2)
        Where the picture shows them; NaN where it does not. [px]
    lens : Camera, optional
        Matrix, distortion, picture size and clock; its place is not used. Without it the lens is found too.
    names : sequence of str, optional
        Of the points, for messages; else they are numbered.
    size : tuple of 2 ints, optional
        Of the picture; needed without a lens. [px]
    sd_px : float
        How well pixels were marked, per axis. [px]
    name : str
        Of the camera; else the lens's.

    Returns
    -------
    Placed

    Raises
    ------
    InputError
        Fewer than six points, all in a line, all in one plane while the lens is not known, mirrored, with exchanged
        names, or such that no camera sees them so.
    OptionError
        Arrays that do not belong together, a noise that is none, neither lens nor size.
    """
    places, seen, labels = _checked(points, pixels, names, sd_px)
    if lens is None and size is None:
        raise OptionError("give the lens, or the size of the picture to find the lens with the place")
    who = name or (lens.name if lens is not None else "") or "camera"
    free = lens is None
    there = np.isfinite(seen).all(axis=1)
    _check_arrangement(places[there], int(there.sum()), free, who)
    base = lens if lens is not None else _plain_lens(size or (1, 1), places[there], seen[there])
    task = _Task(base, free, places[there], seen[there], [labels[i] for i in np.flatnonzero(there)], sd_px, who)
    kept, fit = task.without_wrong_points()
    task.check(kept, fit)
    found = task.placed(kept, fit)
    residuals = np.full_like(seen, np.nan)
    residuals[there] = found.residuals
    return replace(found, camera=replace(found.camera, name=name or base.name), names=labels, residuals=residuals)


def _with_lens(camera: Camera, points: FloatArray, covariance: FloatArray) -> FloatArray:
    """Covariance of pose (6, 6) and lens, whose own errors the pose that was found makes up for in part, (9, 9)."""
    slopes = pixel_slopes(camera, points)
    pose_slopes, lens_slopes = slopes[..., :6], slopes[..., 6:]
    normal = np.einsum("nik,nil->kl", pose_slopes, pose_slopes)
    moved = -np.linalg.solve(normal, np.einsum("nik,nil->kl", pose_slopes, lens_slopes))
    return with_lens_error(moved, covariance, camera.covariance[6:, 6:])


@dataclass(frozen=True)
class _Task:
    """One camera's points, and the fits to parts of them."""

    lens: Camera
    free: bool
    points: FloatArray
    pixels: FloatArray
    names: list[str]
    sd_px: float
    who: str

    def fit(self, use: npt.NDArray[np.bool_]) -> Poses:
        """Best fit for each row of `use`, shape (B, N)."""
        places = self.points
        weights = use / self.sd_px**2
        rays = self.lens.normalise(self.pixels)
        starts = []
        extents = pose.spread(places)
        if extents[2] > 1e-6 * extents[0] and use.sum(axis=1).min() >= FEWEST:
            starts.append(pose.linear_poses(places, rays, use.astype(float)))
        if not self.free or not starts:
            rotation, translation = pose.planar_poses(places, rays, use.astype(float))
            half = len(use)
            starts += [(rotation[:half], translation[:half]), (rotation[half:], translation[half:])]
        fits = [pose.refine(self.lens, start, places, self.pixels, weights, free_lens=self.free) for start in starts]
        best = np.argmin([fit.cost for fit in fits], axis=0)
        picked = [
            np.stack([getattr(fits[which], part)[row] for row, which in enumerate(best)])
            for part in ("rotation", "translation", "scale", "shift", "cost", "normal", "residuals")
        ]
        return Poses(*picked)

    def freedom(self, count: int) -> int:
        """Equations less unknowns; the tie of a free principal point counts as two equations."""
        return 2 * count - (7 if self.free else 6)

    def without_wrong_points(self) -> tuple[npt.NDArray[np.bool_], Poses]:
        """Which points are used, shape (N,), and the fit to them."""
        kept = np.ones(len(self.names), dtype=np.bool_)
        fit = self.fit(kept[None])
        while True:
            fewer = self._fewer(kept, float(fit.cost[0]))
            if fewer is None:
                return kept, fit
            kept = fewer
            fit = self.fit(kept[None])

    def _fewer(self, kept: npt.NDArray[np.bool_], cost: float) -> npt.NDArray[np.bool_] | None:
        """The points left when the wrong ones of this round are taken out; None when none is wrong."""
        one = self._best_without(kept, 1)
        if one is None:
            return None
        # Where the rest fits as well as pixels are marked, a second wrong point has nothing to explain.
        poor = one[1] > self.freedom(int(one[0].sum()))
        two = self._best_without(kept, 2) if poor and kept.sum() <= PAIRS_UP_TO else None
        if two is not None and self._is_better(cost, two, 2) and self._is_better(one[1], two, 1):
            return two[0]
        return one[0] if self._is_better(cost, one, 1) else None

    def _best_without(self, kept: npt.NDArray[np.bool_], count: int) -> tuple[npt.NDArray[np.bool_], float, int] | None:
        """Best of the fits without so many points: what it uses, its cost, and how many were tried."""
        left = int(kept.sum()) - count
        if left < (FEWEST if self.free else FEWEST - 1) or self.freedom(left) < 1:
            return None
        tried = list(combinations(np.flatnonzero(kept), count))
        use = np.repeat(kept[None], len(tried), axis=0)
        for row, out in enumerate(tried):
            use[row, list(out)] = False
        fits = self.fit(use)
        best = int(np.argmin(fits.cost))
        return use[best], float(fits.cost[best]), len(tried)

    def _is_better(self, before: float, without: tuple[npt.NDArray[np.bool_], float, int], count: int) -> bool:
        """Whether leaving points out lowers the cost by more than chance."""
        from scipy.stats import f

        kept, after, tried = without
        freedom = self.freedom(int(kept.sum())) + STATED_FREEDOM
        noise = (after + STATED_FREEDOM) / freedom
        if not np.isfinite(before):
            return bool(np.isfinite(after))
        return bool((before - after) / (2 * count) / noise > f.isf(LEVEL / tried, 2 * count, freedom))

    def check(self, kept: npt.NDArray[np.bool_], fit: Poses) -> None:
        """Say what is wrong with an arrangement that no camera sees so."""
        exchanged = (
            "left and right are exchanged in the names of the points, or the picture is mirrored;"
            " exchange the names, or turn mirroring off in the camera"
        )
        if self._fits_mirrored(kept, fit):
            raise InputError(f"{self.who}: the points fit only when mirrored: {exchanged}")
        if not np.isfinite(fit.cost[0]):
            raise InputError(f"{self.who}: no place sees the points so; check their names, and u before v")
        swapped = self._swapped(kept, fit)
        if swapped is not None:
            raise InputError(
                f"{self.who}: {swapped[0]} and {swapped[1]} have each other's pixels; exchange their names"
            )
        off = np.linalg.norm(fit.residuals[0], axis=1)
        rms = float(np.sqrt((off[kept] ** 2).mean() / 2.0))
        if rms > BAD_SHARE * self.lens.size[0]:
            worst = ", ".join(f"{self.names[i]} ({off[i]:.0f} px)" for i in np.argsort(-off)[:3])
            raise InputError(
                f"{self.who}: the points fit only to {rms:.0f} px, worst {worst}; check names, places in metres,"
                " u before v, and that the lens is this camera's"
            )
        height = float(fit.camera(self.lens).centre[2])
        if height < self.points[:, 2].min():
            raise InputError(f"{self.who}: would stand {-height:.2f} m under the floor: {exchanged}")

    def _fits_mirrored(self, kept: npt.NDArray[np.bool_], fit: Poses) -> bool:
        """Whether mirrored places fit far better, or far more of them fit."""
        if kept.all() and self.noise(kept, fit) < MIRROR_FACTOR * self.sd_px:
            return False
        mirrored = replace(self, points=self.points * (1.0, -1.0, 1.0))
        own_kept, own_fit = mirrored.without_wrong_points()
        noise, own_noise = self.noise(kept, fit), mirrored.noise(own_kept, own_fit)
        if own_kept.sum() >= kept.sum() + 2:
            return own_noise < MIRROR_FACTOR * max(noise, self.sd_px)
        return bool(own_kept.sum() >= kept.sum()) and own_noise * MIRROR_FACTOR < noise

    def placed(self, kept: npt.NDArray[np.bool_], fit: Poses) -> Placed:
        """The camera as it stands by a fit, of the points that it saw."""
        noise = self.noise(kept, fit)
        covariance = np.linalg.inv(fit.normal[0]) * max(noise / self.sd_px, 1.0) ** 2
        camera = fit.camera(self.lens)
        whole = covariance if self.free else _with_lens(camera, self.points[kept], covariance)
        return Placed(
            camera=replace(camera, covariance=whole),
            names=tuple(self.names),
            residuals=fit.residuals[0],
            wrong=tuple(self.names[i] for i in np.flatnonzero(~kept)),
            covariance=covariance,
            rms_px=noise,
            notes=self.notes(kept, fit),
        )

    def noise(self, kept: npt.NDArray[np.bool_], fit: Poses) -> float:
        """Standard deviation that the residuals of a fit speak of, inf where there is none. [px]"""
        return float(np.sqrt(fit.cost[0] / max(self.freedom(int(kept.sum())), 1))) * self.sd_px

    def _swapped(self, kept: npt.NDArray[np.bool_], fit: Poses) -> tuple[str, str] | None:
        """Two points that were left out and lie where the other is seen."""
        expected = self.pixels - fit.residuals[0]
        near = 4.0 * max(self.sd_px, float(np.sqrt((fit.residuals[0][kept] ** 2).mean())))
        for i, j in combinations(np.flatnonzero(~kept), 2):
            off = np.linalg.norm(self.pixels[[i, j]] - expected[[j, i]], axis=1)
            if off.max() < max(near, 0.2 * np.linalg.norm(expected[i] - expected[j])):
                return self.names[i], self.names[j]
        return None

    def notes(self, kept: npt.NDArray[np.bool_], fit: Poses) -> tuple[str, ...]:
        off = np.linalg.norm(fit.residuals[0], axis=1)
        notes = [
            f"{self.who}: {self.names[i]} was left out: it lies {off[i]:.0f} px from where the others put it;"
            " mark it anew, or measure its place again"
            for i in np.flatnonzero(~kept)
        ]
        found = self.noise(kept, fit)
        if found > 3.0 * self.sd_px:
            notes.append(f"{self.who}: the points fit to {found:.1f} px, which is poor; measure and mark them again")
        if self.free:
            notes.append(f"{self.who}: the lens was found from the points, without distortion; a board shows it better")
        return tuple(notes)


def _checked(
    points: npt.ArrayLike, pixels: npt.ArrayLike, names: Sequence[str] | None, sd_px: float
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    places, seen = np.asarray(points, dtype=np.float64), np.asarray(pixels, dtype=np.float64)
    if places.ndim != 2 or places.shape[1] != 3 or seen.shape != (len(places), 2):
        raise OptionError(f"points and pixels must be N x 3 and N x 2, got {places.shape} and {seen.shape}")
    if not np.isfinite(places).all():
        raise OptionError("points holds a place that is not finite")
    if not 0.0 < sd_px < np.inf:
        raise OptionError(f"sd_px must be positive, got {sd_px:g}")
    labels = tuple(names) if names is not None else tuple(f"point {i + 1}" for i in range(len(places)))
    if len(labels) != len(places):
        raise OptionError(f"names must be one per point, got {len(labels)} for {len(places)}")
    return places, seen, labels


def _check_arrangement(places: FloatArray, count: int, free: bool, who: str) -> None:
    """Enough points, and in enough directions."""
    if count < FEWEST:
        raise InputError(f"{who}: {count} known points are seen, {FEWEST} are needed; mark more of them")
    extents = pose.spread(places)
    if extents[1] < FLAT_SHARE * extents[0]:
        raise InputError(f"{who}: all known points lie in one line; add some beside it")
    if free and extents[2] < FLAT_SHARE * extents[0]:
        raise InputError(
            f"{who}: all known points lie in one plane, which does not show the lens; calibrate the lens from a board"
            " first, or add points above the floor, e.g. on a pole"
        )


def _plain_lens(size: tuple[int, int], places: FloatArray, seen: FloatArray) -> Camera:
    """A perfect lens with square pixels and its axis in the middle, of the focal length that the points ask for."""
    eye, width, height = np.eye(3), size[0], size[1]
    middle = np.array([0.5 * (width - 1), 0.5 * (height - 1)])
    try:
        linear = Camera.from_projection_matrix(pose.direct_linear_transform(places, seen - middle), size)
        focal = float(np.sqrt(linear.matrix[0, 0] * linear.matrix[1, 1]))
    except OptionError:
        focal = float(width)
    # A wrong point can make the linear lens absurd; from a plausible one the refinement finds its way.
    focal = float(np.clip(focal, 0.3 * max(size), 10.0 * max(size)))
    matrix = np.array([[focal, 0.0, middle[0]], [0.0, focal, middle[1]], [0.0, 0.0, 1.0]])
    return Camera(matrix, eye, np.zeros(3), size, np.zeros(5))
