"""A hitter laid over a reference of his own height."""

from __future__ import annotations

from dataclasses import dataclass

from mocap.capture import FloatArray
from mocap.swing import Swing


@dataclass(frozen=True)
class Difference:
    """How far one joint is from the reference's.

    Attributes
    ----------
    joint : str
        One of `mocap.swing.POINTS`.
    distance_m : float
        Distance between the two after scaling and alignment. [m]
    vector_m : tuple of 3 floats
        Hitter minus reference, hitting frame. [m]
    words : str
        The difference as a coach would say it, with cm (or inches) and % of height.
    """

    joint: str
    distance_m: float
    vector_m: tuple[float, float, float]
    words: str


@dataclass(frozen=True)
class Comparison:
    """A hitter against a reference scaled to his height, aligned at foot-plant, synchronised by moments.

    Attributes
    ----------
    swing : Swing
        The hitter.
    reference_name : str
    reference_points : ndarray, shape (F, P, 3)
        The reference at the hitter's own frames, in the hitter's hitting frame and height, order of
        `mocap.swing.POINTS`; held at its ends outside its own time; NaN where the reference lacks a point. [m]
    reference_com : ndarray, shape (F, 3)
        Its centre of mass. [m]
    distances : ndarray, shape (F, P)
        Joint distance per frame; NaN where either is missing. [m]
    rms_m, greatest_m : float
        Over the body's joints at plant. [m]
    rms_sd_m : float
        Standard deviation of `rms_m` from the hitter's point errors. [m]
    differences : tuple of Difference
        At plant, greatest first, at most one per joint.
    """

    swing: Swing
    reference_name: str
    reference_points: FloatArray
    reference_com: FloatArray
    distances: FloatArray
    rms_m: float
    rms_sd_m: float
    greatest_m: float
    differences: tuple[Difference, ...]
