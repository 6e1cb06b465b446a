"""How well one skeleton fits a recording, and whether its lengths are those of the hitter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.marker_sets import spoken
from mocap.kinematics.skeleton import Skeleton
from mocap.kinematics.stature import height_contradiction, height_from_segments
from mocap.swing import Hitter

#: Left and right lengths that differ by more than this share, and by this many standard deviations of one, look like a
#: misplaced or exchanged point; people's own differ by 1 to 2 %. This project's defaults.
LOPSIDED, LOPSIDED_SDS = 0.08, 1.5
#: A point that fits worse than this many of its standard deviations per axis lies on another segment or is somebody
#: else's. This project's default; the RMS distance of a good one is below sqrt(3).
MISFIT_SDS = 3.0
#: Points that a report names as the worst.
WORST = 3


@dataclass(frozen=True)
class BodyReport:
    """The skeleton of a recording in figures.

    Attributes
    ----------
    fit_m : float
        Root mean square distance of all points from their places on the skeleton. [m]
    point_fit_m : dict of str to float
        The same for each point by canonical name, the worst first. [m]
    lengths_m : dict of str to (float, float, float)
        Left and right length of each limb segment, and their standard deviation. [m]
    height_m, height_sd_m : float
        Standing height by the lengths. [m]
    notes : tuple of str
        How the joint centres were found.
    doubts : tuple of str
        What contradicts a human body, or the hitter's own.
    """

    fit_m: float
    point_fit_m: dict[str, float]
    lengths_m: dict[str, tuple[float, float, float]]
    height_m: float
    height_sd_m: float
    notes: tuple[str, ...]
    doubts: tuple[str, ...]

    @property
    def worst(self) -> list[tuple[str, float]]:
        """The points that fit worst."""
        return list(self.point_fit_m.items())[:WORST]


def body_report(skeleton: Skeleton, hitter: Hitter, cleaning: tuple[str, ...]) -> BodyReport:
    """Figures of a recording's skeleton.

    Parameters
    ----------
    skeleton : Skeleton
    hitter : Hitter
        With the stated height, where one is stated.
    cleaning : tuple of str
        Notes of the cleaning, which are told elsewhere.

    Returns
    -------
    BodyReport
    """
    by_point = _by_point(skeleton)
    order = np.argsort(-by_point)
    height, sd = height_from_segments(skeleton.centres, sex=hitter.sex)
    return BodyReport(
        fit_m=skeleton.rms_m,
        point_fit_m={skeleton.points[i]: float(by_point[i]) for i in order},
        lengths_m=_both_sides(skeleton),
        height_m=height,
        height_sd_m=sd,
        notes=tuple(note for note in skeleton.body.notes if note not in cleaning),
        doubts=(*lopsided(skeleton), *(_height(hitter, height, sd))),
    )


def _height(hitter: Hitter, height: float, sd: float) -> list[str]:
    line = height_contradiction(hitter.height_m, height, sd) if hitter.height_m is not None else ""
    return [line] if line else []


def _both_sides(skeleton: Skeleton) -> dict[str, tuple[float, float, float]]:
    """Left and right length of each limb segment, and their standard deviation. [m]"""
    return {
        name.removeprefix("l_"): (left, skeleton.lengths_m[f"r_{name.removeprefix('l_')}"][0], sd)
        for name, (left, sd) in skeleton.lengths_m.items()
        if name.startswith("l_") and f"r_{name.removeprefix('l_')}" in skeleton.lengths_m
    }


def lopsided(skeleton: Skeleton) -> Iterator[str]:
    """Limbs of two lengths, and points that do not go with their segment, one line each."""
    for name, (left, right, sd) in _both_sides(skeleton).items():
        if abs(left - right) > max(LOPSIDED * (left + right) / 2, LOPSIDED_SDS * sd):
            longer, by = ("left", left - right) if left > right else ("right", right - left)
            yield (
                f"the {longer} {name.replace('_', ' ')} measures {100 * by:.1f} cm more than the other: a marker or a"
                " label at one of its ends is wrong, and angles there are off"
            )
    for point, off in zip(skeleton.points, _by_point(skeleton), strict=True):
        if off > MISFIT_SDS * skeleton.body.marker_sd_m[point]:
            yield (
                f"{spoken(point)} does not go with its segment ({1000 * off:.0f} mm off): a wrong label, or a marker"
                " that came loose; what is measured there is off"
            )


def _by_point(skeleton: Skeleton) -> FloatArray:
    """Root mean square residual of each point, shape (M,). [m]"""
    return np.asarray(np.sqrt(np.nanmean(skeleton.residual_m**2, axis=0)))
