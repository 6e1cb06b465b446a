"""Centres of hips and shoulders from a calibration trial in which the limb is swung about the joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.marker_sets import spoken

if TYPE_CHECKING:
    from mocap.kinematics.joint_centres import Body

#: Joint -> (segment in which the centre is fixed, segment that is swung about it).
JOINTS = {
    "l_hip": ("pelvis", "l_thigh"),
    "r_hip": ("pelvis", "r_thigh"),
    "l_shoulder": ("thorax", "l_upper_arm"),
    "r_shoulder": ("thorax", "r_upper_arm"),
}
#: Least range of the movement. [rad] This project's default.
LEAST_RANGE = np.radians(20.0)
#: Least spread of the arms' directions along the direction in which they spread least, as a standard deviation, and how
#: many times it must exceed what the markers' noise alone spreads them. [-] It is zero for an arc, whose centre can lie
#: anywhere along its axis, and 0.05 for 25 deg to and fro with 12 deg to either side. This project's defaults.
LEAST_SPREAD, SPREAD_OVER_NOISE = 0.01, 3.0
#: A centre known worse than this is no better than a regression from the pelvis's or the thorax's markers: functional
#: shoulders came within 15 to 21 mm of implanted ones (PLoS ONE 0018488). [m]
GREATEST_SD = 0.02
#: Frames in which some marker is seen, below which nothing is tried.
LEAST_FRAMES = 30
#: Errors of skin and cloth last, so that neighbouring frames are not independent: the trial is cut into this many
#: stretches of time, each of which counts as one observation in the covariance. This project's default.
STRETCHES = 16


@dataclass(frozen=True)
class FunctionalCentre:
    """Centre of a ball joint in the axes of the segment in which it is fixed.

    Attributes
    ----------
    local : ndarray, shape (3,)
        [m]
    covariance_m2 : ndarray, shape (3, 3)
        Of `local`, from the fit. [m^2]
    rms_m : float
        Root mean square distance of the markers from their spheres. [m]
    radii_m : ndarray, shape (M,)
        Distance of each marker from the centre, NaN for one that was not used. [m]
    range_rad : float
        Range of the movement in its greatest direction. [rad]
    least_spread : float
        Standard deviation of the directions from centre to markers, where they spread least. [-]
    """

    local: FloatArray
    covariance_m2: FloatArray
    rms_m: float
    radii_m: FloatArray
    range_rad: float
    least_spread: float

    @property
    def sd_m(self) -> float:
        """Standard deviation of the centre per axis, the root mean square of the three. [m]"""
        return float(np.sqrt(np.trace(self.covariance_m2) / 3.0))


class CentreSearch(NamedTuple):
    """Functional centres that a calibration trial gives, and why it does not give the others.

    Attributes
    ----------
    found : dict of str to FunctionalCentre
        By joint, as in `JOINTS`.
    refused : dict of str to InputError
        By joint; `NotMovedError` where it hardly moves or no marker shows it.
    """

    found: dict[str, FunctionalCentre]
    refused: dict[str, InputError]


class NotMovedError(InputError):
    """The limb is not swung about the joint, as far as markers show it."""


def search_centres(body: Body) -> CentreSearch:
    """Centres of the hips, in the pelvis's axes, and of the shoulders, in the thorax's, that a trial shows.

    Parameters
    ----------
    body : Body
        Of the calibration trial.

    Returns
    -------
    CentreSearch
    """
    found: dict[str, FunctionalCentre] = {}
    refused: dict[str, InputError] = {}
    for joint, (fixed, swung) in JOINTS.items():
        names = [name for name, segment in body.segment_of.items() if segment == swung and name in body.markers]
        if fixed not in body.axes or fixed not in body.origins or not names:
            missing = f"the {spoken(swung)}" if not names else f"the {fixed}'s axes"
            refused[joint] = NotMovedError(f"{spoken(joint)}: no marker shows {missing}")
            continue
        relative = np.stack([body.markers[name] - body.origins[fixed] for name in names], axis=1)
        try:
            found[joint] = functional_centre(relative @ body.axes[fixed], name=spoken(joint))
        except InputError as error:
            refused[joint] = error
    return CentreSearch(found, refused)


def functional_centre(local_paths: FloatArray, *, name: str = "joint") -> FunctionalCentre:
    """Common centre of the spheres on which markers move about a ball joint.

    Parameters
    ----------
    local_paths : ndarray, shape (F, M, 3)
        Paths of the swung segment's markers in the axes of the other segment; NaN where missing. [m]
    name : str
        Of the joint, for messages.

    Returns
    -------
    FunctionalCentre

    Raises
    ------
    InputError
        A movement in one plane only, so that the centre is not determined; a centre known worse than `GREATEST_SD`.
    NotMovedError
        Fewer than `LEAST_FRAMES`, or a movement of less than `LEAST_RANGE`.

    Notes
    -----
    Start: the closed form of Gamage & Lasenby, which minimises the sum of (|v - c|^2 - r^2)^2, with the noise that
    pulls it toward the markers taken off its matrix after Halvorsen. Then the sum of (|v - c| - r)^2 is minimised by
    Gauss-Newton steps.

    The covariance allows for errors of skin and cloth, which outlast a frame and differ from marker to marker: see
    `_covariance`. It knows nothing of an error that all markers share and that fits another sphere.

    References
    ----------
    Gamage SSHU, Lasenby J (2002) J Biomech 35:87-93; Halvorsen K (2003) J Biomech 36:999-1008.
    """
    seen = np.asarray(np.isfinite(local_paths).all(axis=2))
    used = np.asarray(seen.sum(axis=0) >= LEAST_FRAMES)
    if not used.any():
        raise NotMovedError(f"{name}: no marker is seen in {LEAST_FRAMES} frames with the segment above; record longer")
    paths = np.where(seen[:, used, None], local_paths[:, used], np.nan)
    centre, covariance, radii, rms = _sphere_fit(paths, _closed_form(paths))
    widest, spread, noise_spread = _movement(paths, centre)
    sd = float(np.sqrt(np.trace(covariance) / 3.0))
    if rms > 0.2 * radii.max() or widest < LEAST_RANGE:
        raise NotMovedError(f"{name}: the limb hardly moves in the calibration trial; swing it 40 deg or more each way")
    if spread < LEAST_SPREAD or spread < SPREAD_OVER_NOISE * noise_spread:
        raise InputError(
            f"{name}: a movement of {np.degrees(widest):.0f} deg to and fro, with markers {1000 * rms:.0f} mm off "
            "their spheres, leaves the centre open along its axis; swing the limb forward, back, to the side and round"
        )
    if sd > GREATEST_SD:
        raise InputError(
            f"{name}: the centre is known to {1000 * sd:.0f} mm only (residual {1000 * rms:.0f} mm); "
            "swing the limb further, or fix the markers better"
        )
    every = np.full(local_paths.shape[1], np.nan)
    every[used] = radii
    return FunctionalCentre(centre, covariance, rms, every, widest, spread)


def _closed_form(paths: FloatArray) -> FloatArray:
    """Centre by Gamage & Lasenby, freed of the pull of the noise."""
    mean = np.nanmean(paths, axis=0)
    about = np.where(np.isfinite(paths), paths - mean, 0.0)
    count = np.isfinite(paths[:, :, 0]).sum(axis=0)
    spread = np.einsum("fpi,fpj->pij", about, about) / count[:, None, None]
    third = np.einsum("fpi,fp->pi", about, np.sum(about**2, axis=2)) / count[:, None]
    centre = mean.mean(axis=0)
    variance = 0.0
    for _ in range(20):
        # 2 sum_p (S_p - variance I)(c - mean_p) = sum_p third_p, where white noise adds variance I to each spread S_p.
        clean = spread - variance * np.eye(3)
        right = third.sum(axis=0) / 2.0 + np.einsum("pij,pj->i", clean, mean)
        last, centre = centre, np.linalg.lstsq(clean.sum(axis=0), right)[0]
        if np.linalg.norm(centre - last) < 1e-9:
            break
        radius = np.linalg.norm(paths - centre, axis=2)
        # More noise than half the thinnest spread means that the movement, not the noise, is small there.
        thinnest = float(np.linalg.eigvalsh(spread.sum(axis=0))[0]) / len(mean)
        variance = min(float(np.mean(np.nanvar(radius, axis=0))), 0.5 * thinnest)
    return centre


def _sphere_fit(paths: FloatArray, centre: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Geometric fit of spheres with one centre: (centre, its covariance, radii, rms distance from the spheres)."""
    seen = np.isfinite(paths[:, :, 0])
    for _ in range(50):
        misfit, slope, radii = _distances(paths, seen, centre)
        normal = np.einsum("fpi,fpj->ij", slope, slope)
        step = np.linalg.lstsq(normal, np.einsum("fpi,fp->i", slope, misfit))[0]
        # A step longer than the limb leaves the region in which the linear fit says anything.
        step *= min(1.0, float(radii.max()) / max(float(np.linalg.norm(step)), 1e-12))
        centre = centre + step
        if np.linalg.norm(step) < 1e-9:
            break
    return centre, _covariance(slope, misfit), radii, float(np.sqrt(np.sum(misfit**2) / seen.sum()))


def _covariance(slope: FloatArray, misfit: FloatArray) -> FloatArray:
    """Covariance of the centre whose errors may be shared by a stretch of time, or by all samples of a marker, (3, 3).

    The sum of a covariance in which each stretch of time is one observation and of the jackknife over the markers (one
    linear step for each left out). Two-way clustering (Cameron AC, Gelbach JB, Miller DL (2011) J Bus Econ Stat
    29:238-249) takes off that of single samples, which both hold; left in, the sum is never negative, and too large by
    the square root of two at most, where there is nothing but white noise.
    """
    normal = np.einsum("fpi,fpj->pij", slope, slope)
    inverse = np.linalg.pinv(normal.sum(axis=0))
    score = slope * misfit[:, :, None]
    sums = np.stack([part.sum(axis=(0, 1)) for part in np.array_split(score, STRETCHES)])
    covariance: FloatArray = inverse @ (sums.T @ sums) @ inverse * STRETCHES / (STRETCHES - 1.0)
    markers = normal.shape[0]
    if markers > 1:
        without = np.linalg.pinv(normal.sum(axis=0) - normal)
        steps = np.einsum("pij,pj->pi", without, score.sum(axis=0))
        about = steps - steps.mean(axis=0)
        covariance = covariance + (markers - 1.0) / markers * about.T @ about
    return covariance


def _distances(
    paths: FloatArray, seen: np.ndarray[tuple[int, int], np.dtype[np.bool_]], centre: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance from each marker's sphere (F, M), how it falls as the centre moves (F, M, 3), best radii (M,)."""
    arm = paths - centre
    length = np.linalg.norm(arm, axis=2)
    radii = np.nanmean(length, axis=0)
    misfit = np.where(seen, length - radii, 0.0)
    toward = arm / np.where(length > 0, length, np.nan)[:, :, None]
    slope = np.where(seen[:, :, None], toward - np.nanmean(toward, axis=0), 0.0)
    return misfit, slope, radii


def _movement(paths: FloatArray, centre: FloatArray) -> tuple[float, float, float]:
    """Range of the arms' directions [rad], their least spread [-], and what the markers' noise alone spreads them [-].

    The range is that of the marker that has most, between the 2nd and the 98th percentile of its path, so that a few
    bad frames do not make it.
    """
    seen = np.isfinite(paths[:, :, 0])
    misfit, slope, radii = _distances(paths, seen, centre)
    count = seen.sum(axis=0)
    _, along = np.linalg.eigh(np.einsum("fpi,fpj->pij", slope, slope) / count[:, None, None])
    place = np.where(seen, np.einsum("fpi,pi->fp", slope, along[:, :, 2]), np.nan)
    low, high = np.nanpercentile(place, [2.0, 98.0], axis=0)
    widest = 2.0 * np.arcsin(np.clip((high - low) / 2.0, 0.0, 1.0)).max()
    least = np.linalg.eigvalsh(np.einsum("fpi,fpj->ij", slope, slope) / count.sum())[0]
    noise = np.sqrt(np.sum(misfit**2 / radii**2) / count.sum())
    return float(widest), float(np.sqrt(max(least, 0.0))), float(noise)
