"""A hitter held against a reference of his own height, joint by joint."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison, Difference
from mocap.display import Units, format_length
from mocap.findings import REACH, Findings, Measure
from mocap.kinematics.advice import work_on
from mocap.kinematics.checks import check_all, load_limits
from mocap.kinematics.inertia import centre_of_mass
from mocap.reference.align import aligned_points
from mocap.reference.model import Reference
from mocap.swing import POINTS, Swing

#: Joints of the pose: the small points of feet and head would count the same place twice.
POSE = (
    "pelvis",
    "neck",
    "head",
    *(f"{s}_{j}" for s in ("front", "back") for j in ("hip", "knee", "ankle", "shoulder", "elbow", "wrist", "hand")),
)
#: A direction is named when it makes at least this share of the difference. This project's default.
NAMED_SHARE = 0.4
DIRECTIONS = (
    ("toward the pitcher", "toward the catcher"),
    ("away from the plate", "toward the plate"),
    ("higher", "lower"),
)


def compare(swing: Swing, reference: Reference, *, units: Units = "metric") -> Comparison:
    """Lay a hitter over a reference.

    Parameters
    ----------
    swing : Swing
    reference : Reference
    units : {"metric", "imperial"}
        Of the words.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        An ankle of the hitter is not seen at plant.
    """
    points = aligned_points(swing, reference)
    plant = swing.index("plant")
    assert plant is not None  # build_swing never returns a swing without it
    distances = np.linalg.norm(swing.points - points, axis=2)
    pose = [POINTS.index(name) for name in POSE]
    shown = [i for i in pose if np.isfinite(distances[plant, i])]
    rms = float(np.sqrt(np.mean(distances[plant, shown] ** 2)))
    order = sorted(shown, key=lambda i: -distances[plant, i])
    vectors = swing.points[plant] - points[plant]
    return Comparison(
        swing=swing,
        reference_name=reference.name,
        reference_points=points,
        reference_com=centre_of_mass({n: points[:, i] for i, n in enumerate(POINTS)}, sides=("front", "back")),
        distances=distances,
        rms_m=rms,
        rms_sd_m=_rms_sd(vectors[shown], swing.point_sd_m[shown]),
        greatest_m=float(distances[plant, order[0]]),
        differences=tuple(_difference(POINTS[i], vectors[i], swing.height_m, units) for i in order),
    )


def with_pose_distance(
    findings: Findings, comparison: Comparison, *, limits: Path | None = None, units: Units = "metric"
) -> Findings:
    """Findings with `pose_distance` and `greatest_difference` added, and checked.

    Parameters
    ----------
    findings : Findings
    comparison : Comparison
    limits : Path, optional
        The coach's own table.
    units : {"metric", "imperial"}
        Of the sentences that go with the checks.

    Returns
    -------
    Findings
    """
    reach = REACH * comparison.rms_sd_m
    words = comparison.differences[0].words
    added = {
        "pose_distance": Measure(
            "pose_distance",
            comparison.rms_m,
            comparison.rms_sd_m,
            "m",
            "Distance from the reference at foot-plant",
            "plant",
            family="comparison",
            low=comparison.rms_m - reach,
            high=comparison.rms_m + reach,
        ),
        "greatest_difference": Measure(
            "greatest_difference", words, None, "", "Greatest difference at foot-plant", "plant", family="comparison"
        ),
    }
    measures = {**findings.measures, **added}
    checks = check_all(measures, load_limits(limits), hitter=findings.hitter, units=units)
    advice = work_on(checks, measures, hitter=findings.hitter, units=units)
    return replace(findings, measures=measures, checks=checks, work_on=advice)


def _rms_sd(vectors: FloatArray, point_sd: FloatArray, *, count: int = 256, seed: int = 1) -> float:
    """Standard deviation of the root mean square of distances under independent errors of the points. [m]"""
    rng = np.random.default_rng(seed)
    drawn = vectors + rng.normal(0.0, 1.0, (count, *vectors.shape)) * point_sd[:, None]
    return float(np.sqrt(np.mean(np.sum(drawn**2, axis=2), axis=1)).std(ddof=1))


def _difference(joint: str, vector: FloatArray, height_m: float, units: Units) -> Difference:
    distance = float(np.linalg.norm(vector))
    parts = sorted(range(3), key=lambda axis: -abs(vector[axis]))
    named = [
        f"{format_length(abs(float(vector[axis])), units=units)} {DIRECTIONS[axis][0 if vector[axis] > 0 else 1]}"
        for axis in parts
        if abs(vector[axis]) >= NAMED_SHARE * distance
    ]
    words = f"{joint.replace('_', ' ')} {', '.join(named)} ({100 * distance / height_m:.1f} % of height)"
    return Difference(joint, distance, (float(vector[0]), float(vector[1]), float(vector[2])), words)
