"""A swing posed from key positions: every joint and the bat as smooth functions of time.

Right-handed hitter in the hitting frame, origin on the floor midway between the ankles at plant. The feet are placed,
the pelvis is put where weight and knees ask for it (`targets`), the trunk is leaned and turned on it, the hands follow
a path in the trunk, the bat turns in a swing plane; legs and arms close the gaps by inverse kinematics (`postures`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import flexion
from mocap.reference import proportions
from mocap.reference.achieved import achieved
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import Postures
from mocap.reference.targets import fit_postures
from mocap.swing import POINTS

BoolArray = npt.NDArray[np.bool_]

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
        As achieved: those asked, but for what the limbs' reach did not allow.
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
    return PosedSwing(points, POINTS, rate_hz, MappingProxyType(moments), achieved(postures))


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
    """When a point of the front foot last comes within `SOLE_M` of the height at which it rests. [s from plant]"""

    def above(when: FloatArray) -> FloatArray:
        height = postures.script.feet(np.append(when, rest_s))[0][f"front_{point}"][:, 2]
        over: FloatArray = postures.parameters.height_m * (height[:-1] - height[-1]) - SOLE_M
        return over

    return _last_crossing(above, start_s, rest_s, f"the front {point} is not lifted off the floor")


def _last_crossing(function: Callable[[FloatArray], FloatArray], start_s: float, end_s: float, never: str) -> float:
    """When a function of time last changes its sign; raises with `never` if it does not."""
    from scipy.optimize import brentq

    time = np.linspace(start_s, end_s, 101)
    changes = np.flatnonzero(np.diff(np.sign(function(time))))
    if not changes.size:
        raise OptionError(f"posed swing: {never}")
    around = time[changes[-1] : changes[-1] + 2]
    return float(brentq(lambda when: float(function(np.array([when]))[0]), *around, xtol=1e-7))


def _turn_end(postures: Postures) -> float:
    """When pelvis and trunk have both all but stopped turning. [s from plant]"""
    t = postures.parameters.timing
    coarse = np.arange(0.0, t.contact + t.after_contact, 1e-4)
    speeds = {part: np.gradient(postures.script.heading(part, coarse), coarse) for part in ("pelvis", "trunk")}
    greatest = {part: speed.max() for part, speed in speeds.items()}

    def turning(speeds: Mapping[str, FloatArray], time: FloatArray) -> BoolArray:
        fast = [speed >= TURN_ENDED * greatest[part] for part, speed in speeds.items()]
        return np.logical_or.reduce([*fast, time < t.contact])

    about = coarse[np.flatnonzero(turning(speeds, coarse))[-1]]
    fine = 1e-5 * np.arange(max(round(1e5 * about) - 20, 0), round(1e5 * about) + 20)
    speeds = {part: np.gradient(postures.script.heading(part, fine), fine) for part in ("pelvis", "trunk")}
    return float(fine[np.flatnonzero(turning(speeds, fine))[-1]])


def _level(postures: Postures) -> float:
    """When mid-hands pass the x of mid-trunk on the way forward. [s from plant]"""

    def ahead(when: FloatArray) -> FloatArray:
        points = postures.points(when)
        hands = 0.5 * (points["front_hand"] + points["back_hand"])
        gap: FloatArray = hands[:, 0] - 0.5 * (points["pelvis"] + points["neck"])[:, 0]
        return gap

    contact = postures.parameters.timing.contact
    return _last_crossing(ahead, 0.0, contact, "the hands do not pass the body line between plant and contact")


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
