"""Whether a posed body is one that a person could be in."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import flexion
from mocap.kinematics.moments import GRAVITY
from mocap.reference.posed import exact_moments
from mocap.reference.postures import Postures
from mocap.swing import MOMENTS
from mocap.virtual.forces import forces_under

#: Bounds of this project's own, inside what joints can do and outside what sound hitters do. Flexions and the greatest
#: speed of flexion of each joint; turn of the shoulders against the hips. [deg], [deg/s]
KNEE_DEG, KNEE_SPEED_DEG_S = (5.0, 145.0), 1200.0
ELBOW_DEG, ELBOW_SPEED_DEG_S = (8.0, 152.0), 2700.0
SEPARATION_DEG = 62.0
#: What the barrel may lose on its way to contact of the speed that it has there: to no purpose, and like a blow. [-]
BARREL_LOSS = 0.20
#: Least distances: bat's axis to the middle of the head, knee to knee, forearm's middle and elbow to the spine's line.
#: [share of height]
BAT_TO_HEAD, KNEE_TO_KNEE, ARM_TO_SPINE = 0.065, 0.080, 0.060

#: Whether the floor carries a movement does not hang on the mass. [kg]
ANY_MASS_KG = 80.0
#: Least share of the weight that stays on the floor, so that it does with another table of segment masses, too. [-]
LIGHTEST = 0.20

RATE_HZ = 500.0


def faults_of(postures: Postures) -> list[str]:
    """What no person could do in a posed swing.

    Parameters
    ----------
    postures : Postures

    Returns
    -------
    list of str
        One phrase for each bound that is passed; empty for a plausible swing.
    """
    time = np.arange(*_span(postures), 1.0 / RATE_HZ)
    points = postures.points(time)
    found = []
    for side in ("front", "back"):
        for joints, bounds, fastest in (
            (("hip", "knee", "ankle"), KNEE_DEG, KNEE_SPEED_DEG_S),
            (("shoulder", "elbow", "wrist"), ELBOW_DEG, ELBOW_SPEED_DEG_S),
        ):
            bent = np.degrees(flexion(*(points[f"{side}_{name}"] for name in joints)))
            speed = np.abs(np.gradient(bent, time)).max()
            if bent.min() < bounds[0] or bent.max() > bounds[1]:
                found.append(f"{side} {joints[1]} bent by {bent.min():.0f} to {bent.max():.0f} deg")
            if speed > fastest:
                found.append(f"{side} {joints[1]} as fast as {speed:.0f} deg/s")
    twist = np.degrees(postures.script.heading("pelvis", time) - postures.script.heading("trunk", time))
    if np.abs(twist).max() > SEPARATION_DEG:
        found.append(f"shoulders turned by {np.abs(twist).max():.0f} deg against the hips")
    found += [
        f"{name} {distance.min():.3f} of height apart"
        for name, distance, least in _distances(points)
        if distance.min() < least
    ]
    return found + _held_back(points, time, postures) + _ungrounded(postures) + _disorder(postures)


def _held_back(points: Mapping[str, FloatArray], time: FloatArray, postures: Postures) -> list[str]:
    """Whether the barrel is slowed down on its way, empty where it is not."""
    way = (time >= 0.0) & (time < postures.parameters.timing.contact - 1.0 / RATE_HZ)
    speed = np.linalg.norm(np.gradient(points["bat_barrel"][way], time[way], axis=0), axis=1)
    lost = float((np.maximum.accumulate(speed) - speed).max() / speed[-1])
    return [f"barrel loses {lost:.0%} of its speed on its way"] if lost > BARREL_LOSS else []


def _ungrounded(postures: Postures) -> list[str]:
    """Why the floor could not carry the movement, empty where it can."""
    try:
        forces = forces_under(postures, ANY_MASS_KG, np.arange(*_span(postures), 1.0 / RATE_HZ))
    except OptionError as error:
        return [str(error)]
    lightest = float(forces.total[:, 2].min()) / (ANY_MASS_KG * GRAVITY)
    return [f"{lightest:.2f} of the weight left on the floor"] if lightest < LIGHTEST else []


def _span(postures: Postures) -> tuple[float, float]:
    t = postures.parameters.timing
    return t.start, t.contact + t.after_contact


def _distances(points: Mapping[str, FloatArray]) -> list[tuple[str, FloatArray, float]]:
    spine = points["pelvis"], points["neck"]
    distances = [
        ("bat and head", _to_segment(points["head"], points["bat_knob"], points["bat_barrel"]), BAT_TO_HEAD),
        ("knees", np.linalg.norm(points["front_knee"] - points["back_knee"], axis=-1), KNEE_TO_KNEE),
    ]
    for side in ("front", "back"):
        elbow, wrist = points[f"{side}_elbow"], points[f"{side}_wrist"]
        distances.append((f"{side} elbow and spine", _to_segment(elbow, *spine), ARM_TO_SPINE))
        distances.append((f"{side} forearm and spine", _to_segment(0.5 * (elbow + wrist), *spine), ARM_TO_SPINE))
    return distances


def _to_segment(point: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Distance of points from line segments, shape (T,)."""
    line = end - start
    along = np.clip(np.sum((point - start) * line, axis=-1) / np.sum(line**2, axis=-1), 0.0, 1.0)
    distance: FloatArray = np.linalg.norm(point - start - along[:, None] * line, axis=-1)
    return distance


def _disorder(postures: Postures) -> list[str]:
    try:
        moments = exact_moments(postures)
    except OptionError as error:
        return [str(error)]
    times = [moments[name] for name in MOMENTS]
    return [] if all(np.diff(times) > 0) else ["moments out of order"]
