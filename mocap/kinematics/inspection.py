"""What a recording holds, how good it is, and whether a swing can be measured from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import Capture
from mocap.errors import MocapError
from mocap.kinematics.build import build_swing
from mocap.kinematics.filtering import runs
from mocap.kinematics.marker_sets import identify, marker_set
from mocap.swing import Hitter, Setup


@dataclass(frozen=True)
class PointQuality:
    """How well one point was seen.

    Attributes
    ----------
    label : str
    missing_share : float
        Share of frames in which it was not seen.
    longest_gap : int
        [frames]
    mean_residual_m : float or None
        None where the recording states none. [m]
    """

    label: str
    missing_share: float
    longest_gap: int
    mean_residual_m: float | None


@dataclass(frozen=True)
class Inspection:
    """What a recording holds.

    Attributes
    ----------
    capture : Capture
    points : tuple of PointQuality
    marker_set : str
        Empty where no known set is complete.
    bat : bool
        Whether the bat's points are there.
    verdict : str
        One line.
    measurable : bool
        Whether a swing can be measured from it.
    """

    capture: Capture
    points: tuple[PointQuality, ...]
    marker_set: str
    bat: bool
    verdict: str
    measurable: bool


def inspect(capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None) -> Inspection:
    """Look a recording over.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
    setup : Setup, optional

    Returns
    -------
    Inspection
    """
    on_bat = marker_set("bat").find(capture)
    bat = "bat_barrel" in on_bat and len(on_bat) > 1
    try:
        used = identify(capture)[0].name
    except MocapError:
        used = ""
    measurable, verdict = _verdict(capture, hitter, setup, bat)
    qualities = tuple(_quality(capture, column) for column in range(len(capture.labels)))
    return Inspection(capture, qualities, used, bat, verdict, measurable)


def _verdict(capture: Capture, hitter: Hitter | None, setup: Setup | None, bat: bool) -> tuple[bool, str]:
    try:
        swing = build_swing(capture, hitter, setup)
    except MocapError as error:
        reason = str(error).removeprefix(f"{capture.source}: ")
        return False, f"no swing can be measured from it: {reason}"
    extent = "body and bat" if bat else "body only; every measure of the bat is left out"
    return True, f"a swing can be measured from it ({extent}; bats {swing.hitter.bats})"


def _quality(capture: Capture, column: int) -> PointQuality:
    seen = np.asarray(np.isfinite(capture.points[:, column]).all(axis=1))
    gaps = [stop - start for start, stop in runs(~seen)]
    residual = capture.residuals[seen, column]
    stated = bool(seen.any()) and bool((residual > 0).any())
    return PointQuality(
        capture.labels[column],
        float(1.0 - seen.mean()),
        max(gaps, default=0),
        float(residual.mean()) if stated else None,
    )
