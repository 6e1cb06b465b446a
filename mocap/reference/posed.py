"""A swing posed from key positions: every joint and the bat as smooth functions of time.

Right-handed hitter in the hitting frame, origin on the floor midway between the ankles at plant. The feet are placed,
the pelvis is put where weight and knees ask for it (`targets`), the trunk is leaned and turned on it, the hands follow
a path in the trunk, the bat turns in a swing plane; legs and arms close the gaps by inverse kinematics (`postures`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import flexion
from mocap.reference import proportions
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import Postures
from mocap.reference.targets import fit_postures
from mocap.swing import POINTS

#: Sole and flesh give way by this much from the first touch to the foot at rest. [m] This project's own estimate.
SOLE_M = 0.005
#: The turn has ended when pelvis and trunk are both slower than this share of their greatest speed.
TURN_ENDED = 0.10


@dataclass(frozen=True)
class PosedSwing:
    """A posed swing, sampled.

    Attributes
    ----------
    points : ndarray, shape (F, P, 3)
        Hitting frame, in the order of `names`. [m]
    names : tuple of str, length P
        `mocap.swing.POINTS`.
    rate_hz : float
    moments : mapping of str to float
        Exact time of each key moment from the first sample. [s]
    parameters : SwingParameters
    """

    points: FloatArray
    names: tuple[str, ...]
    rate_hz: float
    moments: Mapping[str, float]
    parameters: SwingParameters

    def __getitem__(self, name: str) -> FloatArray:
        """Path of one point, shape (F, 3). [m]"""
        return self.points[:, self.names.index(name)]


def pose_swing(parameters: SwingParameters, rate_hz: float) -> PosedSwing:
    """Pose a swing from its parameters.

    Parameters
    ----------
    parameters : SwingParameters
    rate_hz : float
        Sampling rate. [Hz]

    Returns
    -------
    PosedSwing
        From `timing.start` to `timing.after_contact` after contact.

    Raises
    ------
    OptionError
        No body reaches those positions: a limb would have to be longer than it is, or a target is out of reach.
    """
    postures = fit_postures(parameters)
    start, end = parameters.timing.start, parameters.timing.contact + parameters.timing.after_contact
    time = start + np.arange(int(np.floor((end - start) * rate_hz + 1e-9)) + 1) / rate_hz
    by_name = postures.points(time)
    points = parameters.height_m * np.stack([by_name[name] for name in POINTS], axis=1)
    _check_reach(by_name, time)
    moments = {name: when - start for name, when in exact_moments(postures).items()}
    return PosedSwing(points, POINTS, rate_hz, MappingProxyType(moments), parameters)


def exact_moments(postures: Postures) -> dict[str, float]:
    """Times of the key moments by their definitions, to a microsecond. [s from plant]"""
    t = postures.parameters.timing
    fine = np.linspace(t.contact, t.contact + 0.12, 241)
    straightest = fine[int(np.argmin(_elbow_flexion(postures, fine)))]
    around = straightest + np.linspace(-5e-4, 5e-4, 1001)
    extension = float(around[int(np.argmin(_elbow_flexion(postures, around)))])
    return {
        "stance": t.stance,
        "lift": t.lift,
        "toe_touch": _settles(postures, "ball", 0.5 * (t.lift + t.toe_down), t.toe_down),
        "plant": 0.0,
        "foot_flat": _settles(postures, "heel", t.toe_down, t.heel_down),
        "level": _level(postures),
        "contact": t.contact,
        "extension": extension,
        "finish": _turn_end(postures),
    }


def _settles(postures: Postures, point: str, start_s: float, rest_s: float) -> float:
    """When a point of the front foot comes within `SOLE_M` of the height at which it rests. [s from plant]"""
    from scipy.optimize import brentq

    def over(when: float) -> float:
        height = postures.feet(np.array([when, rest_s]))[0][f"front_{point}"][:, 2]
        return float(postures.parameters.height_m * (height[0] - height[1]) - SOLE_M)

    return float(brentq(over, start_s, rest_s, xtol=1e-7))


def _turn_end(postures: Postures) -> float:
    """When pelvis and trunk have both all but stopped turning. [s from plant]"""
    t = postures.parameters.timing
    time = np.arange(0.0, t.contact + t.after_contact, 1e-5)
    turning = np.zeros(len(time), dtype=bool)
    for part in ("pelvis", "trunk"):
        speed = np.gradient(postures.heading(part, time), time)
        turning |= speed >= TURN_ENDED * speed.max()
    return float(time[np.flatnonzero(turning | (time < t.contact))[-1]])


def _level(postures: Postures) -> float:
    """When mid-hands pass the x of mid-trunk on the way forward. [s from plant]"""
    from scipy.optimize import brentq

    def ahead(when: float) -> float:
        points = postures.points(np.array([when]))
        hands = 0.5 * (points["front_hand"] + points["back_hand"])
        return float(hands[0, 0] - 0.5 * (points["pelvis"] + points["neck"])[0, 0])

    return float(brentq(ahead, 0.0, postures.parameters.timing.contact, xtol=1e-7))


def _elbow_flexion(postures: Postures, time: FloatArray) -> FloatArray:
    """Flexion of both elbows added up, shape (T,). [rad]"""
    points = postures.points(time)
    return sum(
        (flexion(*(points[f"{side}_{name}"] for name in ("shoulder", "elbow", "wrist"))) for side in ("front", "back")),
        start=np.zeros_like(time),
    )


def _check_reach(points: Mapping[str, FloatArray], time: FloatArray) -> None:
    """Raise where a limb was too short for its ends."""
    lengths = proportions.DE_LEVA_1996
    for first, middle, last, upper, lower in (
        ("hip", "knee", "ankle", "thigh", "shank"),
        ("shoulder", "elbow", "wrist", "upper_arm", "forearm"),
    ):
        for side in ("front", "back"):
            reach = np.linalg.norm(points[f"{side}_{last}"] - points[f"{side}_{first}"], axis=-1)
            short = reach > lengths[upper] + lengths[lower]
            if short.any():
                when = time[int(np.argmax(short))]
                raise OptionError(
                    f"posed swing: the {side} {middle} would have to be straighter than straight {when:+.3f} s from"
                    " plant; bring its ends closer"
                )
