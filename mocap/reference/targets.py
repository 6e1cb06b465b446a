"""Where pelvis, hands and bat must be for a posed swing to meet its targets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import middle_of_foot, on_bat
from mocap.kinematics.inertia import centre_of_mass
from mocap.reference import proportions
from mocap.reference.blend import blend
from mocap.reference.limbs import limb_length, rad
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import GRIPS, Postures, Unknowns
from mocap.reference.script import BODY_KEYS, Script, Setting
from mocap.reference.tracks import over

#: Time step of the central differences by which the barrel's velocity at contact is found. [s]
DIFFERENCE_S = 1e-4
#: Every target is met within this, in shares of height or the like.
TOLERANCE = 1e-8
#: A search that has not ended after this many bodies will not.
MOST_EVALUATIONS = 150
#: Swings between the default one and the asked one: the first stride toward it, and the shortest worth trying.
FIRST_STRIDE, LEAST_STRIDE = 0.5, 0.06

#: How much of the way from plant to contact the weight has come when the front knee is bent farthest. [-] This
#: project's own choice.
DEEPEST_SHARE = 0.80

#: The front arm at contact is no straighter than this; its hand stays at least so far from the shoulder toward the
#: plate. How softly both are kept. [deg], [share of height]
STRAIGHTEST_ELBOW_DEG, TOWARD_PLATE, ARM_EASE = 15.0, 0.13, 0.012
#: What a hand adds to its arm's reach, as it lies aslant: share of its length.
HAND_REACH = 0.85


def fit_postures(parameters: SwingParameters) -> Postures:
    """Find pelvis, hands and bat such that every target of the parameters is met.

    Knee flexions are met where both legs reach the floor with them, and are greater where one would not; the depth and
    height of contact and the front elbow are met where the front arm reaches, and come closer where it would not.

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
    found = _solve(parameters, _first_guess(parameters))
    if found is None:
        found = _approach(parameters)
    if found is None:
        raise OptionError("posed swing: no body meets all of these targets at once; move them toward the defaults")
    return found


def _solve(parameters: SwingParameters, guess: Unknowns) -> Postures | None:
    """The body that meets all targets, found from a guess; None if it is not found."""
    from scipy.optimize import root

    script = Script(parameters)
    targets = Targets(script)

    def misses(vector: FloatArray) -> FloatArray:
        return targets.misses(Postures(script, Unknowns.from_vector(vector)))

    with np.errstate(invalid="ignore", over="ignore"):
        found = root(misses, guess.vector(), method="hybr", options={"xtol": 1e-12, "maxfev": MOST_EVALUATIONS})
        met = np.abs(misses(found.x)).max() < TOLERANCE
    return Postures(script, Unknowns.from_vector(found.x)) if met else None


def _approach(parameters: SwingParameters) -> Postures | None:
    """The body that meets all targets, found by walking there from the default swing; None if the way is barred."""
    start = SwingParameters()
    here = _solve(start, _first_guess(start))
    done, stride = 0.0, FIRST_STRIDE
    while here is not None and done < 1.0:
        ahead = min(1.0, done + stride)
        there = _solve(blend(start, parameters, ahead), here.unknowns)
        if there is not None:
            here, done = there, ahead
        elif stride > LEAST_STRIDE:
            stride *= 0.5
        else:
            return None
    return here


def _first_guess(parameters: SwingParameters) -> Unknowns:
    half = 0.5 * parameters.stride.length
    pelvis = np.array(
        [
            [-half + 0.45 * parameters.stance.width, 0.06, 0.50],
            [-half + 0.30 * parameters.stance.width, 0.06, 0.49],
            [-0.02, 0.06, 0.48],
            [0.0, 0.06, 0.47],
            [0.03, 0.05, 0.48],
            [0.05, 0.02, 0.48],
        ]
    )
    return Unknowns(pelvis, np.array([-0.05, 0.27, -0.17]), rad(2300.0), rad(3.0))


@dataclass(frozen=True)
class Targets:
    """What a body has to meet.

    Attributes
    ----------
    script : Script
    """

    script: Script

    @cached_property
    def _setting(self) -> Setting:
        """At the times of `BODY_KEYS`, and just before and after contact."""
        around = self.script.parameters.timing.contact + DIFFERENCE_S * np.array([-1.0, 1.0])
        return self.script.at(np.concatenate([self.script.target_times, around]))

    def misses(self, postures: Postures) -> FloatArray:
        """How far a body is from its targets, shape (23,), in numbers of like size."""
        p, setting = self.script.parameters, self._setting
        points, held = postures.posed_and_held(setting)
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
            p.landing.back_share + DEEPEST_SHARE * (p.turn.back_share_at_contact - p.landing.back_share),
            p.turn.back_share_at_contact,
            p.finish.back_share,
        )
        over_feet = com[:, 1] - (share * back_sole[:, 1] + (1.0 - share) * front_sole[:, 1])
        keys = slice(0, len(BODY_KEYS))
        # Of the pelvis before it sinks: where it does, the knee is bent more than the target.
        legs = [
            np.linalg.norm(points[f"{side}_hip"] + held.pelvis - points[f"{side}_ankle"], axis=-1)
            for side in ("back", "front")
        ]
        return np.concatenate(
            [
                share[keys] - np.array(shares),
                over_feet[keys],
                # The leg's length tells the knee's angle, and stays defined where the leg would have to be too long.
                np.concatenate([legs[0][:2], legs[1][2:6]]) - _limb("thigh", "shank", knees_wanted_deg(p)),
                self._bat_misses(postures, points, held.hands[BODY_KEYS.index("contact")]),
            ]
        )

    def _bat_misses(self, postures: Postures, points: Mapping[str, FloatArray], lag: FloatArray) -> FloatArray:
        """Misses at contact: place of the sweet spot (2), its speed and attack angle, the front arm's length.

        Place and length are those of hands that do not lag behind: where they do, contact is nearer than asked. The
        last two samples lie around contact.
        """
        p, barrel = self.script.parameters, self.script.parameters.barrel
        spot = on_bat(points["bat_knob"], points["bat_barrel"], barrel.sweet_spot_m / p.height_m)
        contact = BODY_KEYS.index("contact")
        velocity = (spot[-1] - spot[-2]) / (2.0 * DIFFERENCE_S) * p.height_m
        attack = np.arctan2(velocity[2], np.hypot(velocity[0], velocity[1])) - rad(barrel.attack_deg)
        speed = np.linalg.norm(velocity) / barrel.barrel_speed - 1.0
        shoulder, ankle = points["front_shoulder"][contact], points["front_ankle"][contact]
        wanted, wanted_arm = _reachable_contact(p, postures.bat_at_contact, shoulder, ankle)
        arm = np.linalg.norm(shoulder - points["front_wrist"][contact] - lag)
        return np.concatenate([(spot[contact] + lag)[[0, 2]] - wanted, [speed, attack, arm - wanted_arm]])


def knees_wanted_deg(parameters: SwingParameters) -> tuple[float, ...]:
    """Flexion asked of the back knee at the first two of `BODY_KEYS`, and of the front knee at the others. [deg]"""
    p = parameters
    return (
        p.stance.back_knee_flexion_deg,
        p.stride.back_knee_flexion_deg,
        p.landing.front_knee_flexion_deg,
        p.landing.front_knee_flexion_deg + p.landing.front_knee_gives_deg,
        p.turn.front_knee_flexion_at_contact_deg,
        p.finish.front_knee_flexion_deg,
    )


def _reachable_contact(
    parameters: SwingParameters, bat: FloatArray, shoulder: FloatArray, ankle: FloatArray
) -> tuple[FloatArray, float]:
    """Where the sweet spot shall be at contact, x and z, and how long the front arm: as asked, within its reach.

    Parameters
    ----------
    bat, shoulder, ankle : ndarray, shape (3,)
        At contact: the bat's direction, front shoulder and front ankle. [share of height]
    """
    barrel, height = parameters.barrel, parameters.height_m
    hand = HAND_REACH * proportions.DE_LEVA_1996["hand"]
    straightest = float(_limb("upper_arm", "forearm", STRAIGHTEST_ELBOW_DEG))
    from_grip = (barrel.bat_length_m - barrel.sweet_spot_m - GRIPS["front"]) / height * bat[[0, 2]]
    asked = np.array([ankle[0] + barrel.contact_depth, barrel.contact_height])
    # From the front shoulder to the front hand, seen along the pitch's path from the side.
    reach = asked - from_grip - shoulder[[0, 2]]
    distance = float(np.linalg.norm(reach))
    farthest = np.sqrt((straightest + hand) ** 2 - TOWARD_PLATE**2) - ARM_EASE
    short = float(over(np.array(distance - farthest), ARM_EASE))
    needed = np.hypot(distance - short, TOWARD_PLATE) - hand
    arm = float(_limb("upper_arm", "forearm", barrel.front_elbow_flexion_deg))
    arm = arm + float(over(np.array(needed - arm), ARM_EASE))
    return asked - short * reach / distance, arm - float(over(np.array(arm - straightest), ARM_EASE))


def _middles(points: Mapping[str, FloatArray], side: str) -> FloatArray:
    """Middle of a foot as weight is measured by, and middle of its sole, shape (2, T, 3)."""
    foot = middle_of_foot(*(points[f"{side}_{name}"] for name in ("heel", "ball", "ankle")))
    return np.stack([foot, middle_of_sole(points, side)])


def middle_of_sole(points: Mapping[str, FloatArray], side: str) -> FloatArray:
    """Half way from heel to toe, where a standing body's weight lies, shape (T, 3)."""
    middle: FloatArray = 0.5 * (points[f"{side}_heel"] + points[f"{side}_toe"])
    return middle


def _limb(upper: str, lower: str, flexion_deg: npt.ArrayLike) -> FloatArray:
    """Hip to ankle or shoulder to wrist at the given flexion. [share of height]"""
    lengths = proportions.DE_LEVA_1996
    return limb_length(lengths[upper], lengths[lower], np.deg2rad(flexion_deg))
