"""How well one skeleton fits a recording, and whether its lengths are those of the hitter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mocap.kinematics.skeleton import Skeleton
from mocap.kinematics.stature import height_contradiction, height_from_segments
from mocap.swing import Hitter

#: Left and right lengths that differ by more than this share, and by this many standard deviations of one, look like a
#: misplaced or exchanged point; people's own differ by 1 to 2 %. This project's defaults.
LOPSIDED, LOPSIDED_SDS = 0.08, 1.5
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
    by_point = np.sqrt(np.nanmean(skeleton.residual_m**2, axis=0))
    order = np.argsort(-by_point)
    lengths = {
        name.removeprefix("l_"): (left, skeleton.lengths_m[f"r_{name.removeprefix('l_')}"][0], sd)
        for name, (left, sd) in skeleton.lengths_m.items()
        if name.startswith("l_") and f"r_{name.removeprefix('l_')}" in skeleton.lengths_m
    }
    height, sd = height_from_segments(skeleton.centres, sex=hitter.sex)
    return BodyReport(
        fit_m=skeleton.rms_m,
        point_fit_m={skeleton.points[i]: float(by_point[i]) for i in order},
        lengths_m=lengths,
        height_m=height,
        height_sd_m=sd,
        notes=tuple(note for note in skeleton.body.notes if note not in cleaning),
        doubts=tuple(_doubts(lengths, hitter, height, sd)),
    )


def _doubts(
    lengths: dict[str, tuple[float, float, float]], hitter: Hitter, height: float, height_sd: float
) -> Iterator[str]:
    for name, (left, right, sd) in lengths.items():
        if abs(left - right) > max(LOPSIDED * (left + right) / 2, LOPSIDED_SDS * sd):
            longer, by = ("left", left - right) if left > right else ("right", right - left)
            yield (
                f"the {longer} {name.replace('_', ' ')} measures {100 * by:.1f} cm more than the other: a marker or a"
                " label at one of its ends is wrong, and angles there are off"
            )
    if hitter.height_m is not None:
        line = height_contradiction(hitter.height_m, height, height_sd)
        if line:
            yield line
