"""Where pelvis, hands and bat must be for a posed swing to meet its targets."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import middle_of_foot, on_bat
from mocap.kinematics.inertia import centre_of_mass
from mocap.reference import proportions
from mocap.reference.limbs import limb_length
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import BODY_KEYS, Postures, Unknowns, rad

#: Time step of the central differences by which the barrel's velocity at contact is found. [s]
DIFFERENCE_S = 1e-4
#: Every target is met within this, in shares of height or the like.
TOLERANCE = 1e-8


def fit_postures(parameters: SwingParameters) -> Postures:
    """Find pelvis, hands and bat such that every target of the parameters is met.

    Parameters
    ----------
    parameters : SwingParameters

    Returns
    -------
    Postures

    Raises
    ------
    OptionError
        The targets contradict each other.
    """
    from scipy.optimize import root

    def misses(vector: FloatArray) -> FloatArray:
        return _misses(Postures(parameters, Unknowns.from_vector(vector)))

    found = root(misses, _first_guess(parameters).vector(), method="hybr", options={"xtol": 1e-12})
    if not np.abs(misses(found.x)).max() < TOLERANCE:
        raise OptionError("posed swing: no body meets all of these targets at once; move them toward the defaults")
    return Postures(parameters, Unknowns.from_vector(found.x))


def _first_guess(parameters: SwingParameters) -> Unknowns:
    half = 0.5 * parameters.stride.length
    pelvis = np.array(
        [
            [-half + 0.45 * parameters.stance.width, 0.06, 0.50],
            [-half + 0.30 * parameters.stance.width, 0.06, 0.49],
            [-0.02, 0.06, 0.48],
            [0.03, 0.05, 0.48],
            [0.05, 0.02, 0.48],
        ]
    )
    return Unknowns(pelvis, np.array([-0.05, 0.27, -0.17]), rad(2300.0), rad(3.0))


def _misses(postures: Postures) -> FloatArray:
    """How far a body is from its targets, shape (20,), in numbers of like size."""
    p = postures.parameters
    time = np.concatenate([postures.target_times, p.timing.contact + DIFFERENCE_S * np.array([-1.0, 1.0])])
    points = postures.points(time)
    com = centre_of_mass(points, sides=("front", "back"))
    middles = {side: _middles(points, side) for side in ("front", "back")}
    # While the front foot is in the air, the weight is told by where that foot stood.
    middles["front"][:, BODY_KEYS.index("load")] = middles["front"][:, BODY_KEYS.index("still")]
    (front, front_sole), (back, back_sole) = middles["front"], middles["back"]
    share = (front[:, 0] - com[:, 0]) / (front[:, 0] - back[:, 0])
    shares = (
        p.stance.back_share,
        p.stride.back_share_at_load,
        p.landing.back_share,
        p.turn.back_share_at_contact,
        p.finish.back_share,
    )
    over_feet = com[:, 1] - (share * back_sole[:, 1] + (1.0 - share) * front_sole[:, 1])
    knees = (
        p.stance.back_knee_flexion_deg,
        p.stride.back_knee_flexion_deg,
        p.landing.front_knee_flexion_deg,
        p.turn.front_knee_flexion_at_contact_deg,
        p.finish.front_knee_flexion_deg,
    )
    legs = [np.linalg.norm(points[f"{side}_hip"] - points[f"{side}_ankle"], axis=-1) for side in ("back", "front")]
    keys = slice(0, len(BODY_KEYS))
    return np.concatenate(
        [
            share[keys] - np.array(shares),
            over_feet[keys],
            # The leg's length tells the knee's angle, and stays defined where the leg would have to be too long.
            np.concatenate([legs[0][:2], legs[1][2:5]]) - _limb("thigh", "shank", knees),
            _bat_misses(postures, points),
        ]
    )


def _middles(points: Mapping[str, FloatArray], side: str) -> FloatArray:
    """Middle of a foot as weight is measured by, and middle of its sole, shape (2, T, 3)."""
    foot = middle_of_foot(*(points[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))
    return np.stack([foot, middle_of_sole(points, side)])


def _bat_misses(postures: Postures, points: Mapping[str, FloatArray]) -> FloatArray:
    """Misses at contact: place of the sweet spot (2), its speed and attack angle, the front arm's length.

    The last two samples lie around contact.
    """
    p, barrel = postures.parameters, postures.parameters.barrel
    spot = on_bat(points["bat_knob"], points["bat_barrel"], barrel.sweet_spot_m / p.height_m)
    contact = BODY_KEYS.index("contact")
    velocity = (spot[-1] - spot[-2]) / (2.0 * DIFFERENCE_S) * p.height_m
    wanted = np.array([points["front_ankle"][contact, 0] + barrel.contact_depth, barrel.contact_height])
    attack = np.arctan2(velocity[2], np.hypot(velocity[0], velocity[1])) - rad(barrel.attack_deg)
    speed = np.linalg.norm(velocity) / barrel.barrel_speed - 1.0
    arm = np.linalg.norm((points["front_shoulder"] - points["front_wrist"])[contact])
    arm_miss = arm - _limb("upper_arm", "forearm", barrel.front_elbow_flexion_deg)
    return np.concatenate([spot[contact, [0, 2]] - wanted, [speed, attack, arm_miss]])


def middle_of_sole(points: Mapping[str, FloatArray], side: str) -> FloatArray:
    """Half way from heel to toe, where a standing body's weight lies, shape (T, 3)."""
    middle: FloatArray = 0.5 * (points[f"{side}_heel"] + points[f"{side}_toe"])
    return middle


def _limb(upper: str, lower: str, flexion_deg: npt.ArrayLike) -> FloatArray:
    """Hip to ankle or shoulder to wrist at the given flexion. [share of height]"""
    lengths = proportions.DE_LEVA_1996
    return limb_length(lengths[upper], lengths[lower], np.deg2rad(flexion_deg))
