"""Ground forces under a posed swing, from the equations of motion of its centre of mass.

The sum of the forces on the feet is m (a + g): mass times the acceleration of the centre of mass and the weight, by
Newton's second law. What each foot carries does not follow from the movement alone; here it follows a stated rule.

**Lever rule.** The point where the total force of a point mass at the centre of mass meets the floor,
x_com - z_com a_x / (a_z + g), with the quotient smoothed by a Gaussian of 30 ms, is kept softly between the feet and
taken as the common centre of pressure; each foot carries the share that this point gives it on the line from foot to
foot. The legs are struts: the force on each foot points at the centre of mass, so that the feet push apart, and what
then lacks of the total force is shared alike. The front foot's share fades out while its heel rises and fades in after
its toes touch, such that it passes 10 % of body weight at plant exactly; from then on it is planted and keeps more than
that.

**Centre of pressure.** Each foot pushes at one point of its sole: its middle while it is flat, the ball once the heel
has risen; there is no free moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.kinematics.inertia import Segment, centre_of_mass
from mocap.kinematics.moments import GRAVITY, LANDED_SHARE
from mocap.reference import proportions
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import Postures
from mocap.reference.targets import fit_postures, middle_of_sole
from mocap.reference.tracks import step

#: Time step of the five-point differences by which the acceleration is found. [s] The blow of the ball, under a
#: millisecond long at the bat, is smeared at least as much by flesh and shoes on its way to the floor.
DIFFERENCE_S = 2e-3
#: Softness of the limits of the shared centre of pressure, as share of the distance between the feet.
SOFTNESS = 0.06
#: Standard deviation of the Gaussian that smooths the lean of the total force, and the rate at which it does. [s], [Hz]
SMOOTHING_S, SMOOTHING_RATE_HZ = 0.030, 1200.0
#: From the shoe's first touch to the ball of the foot at rest. [s]
SETTLING_S = 0.025
#: What a planted front foot carries at least, how softly it is kept to, shares of body weight, and when after plant
#: that sets in. [s] The lever rule alone may leave it less while the body speeds up toward the pitcher.
LEAST_LOAD, LEAST_SOFTNESS, LEAST_AFTER_S = 0.150, 0.010, (0.005, 0.020)
#: Rise of the heel over the ball beyond that of a flat foot at which the ball carries all. [share of height]
HEEL_UP = 0.03


@dataclass(frozen=True)
class GroundForces:
    """Ground reactions on a person, hitting frame.

    Attributes
    ----------
    front, back : ndarray, shape (T, 3)
        Force on the person under each foot. [N]
    front_at, back_at : ndarray, shape (T, 3)
        Where it acts, on the floor. [m]
    """

    front: FloatArray
    back: FloatArray
    front_at: FloatArray
    back_at: FloatArray

    @property
    def total(self) -> FloatArray:
        """Sum of both forces, shape (T, 3). [N]"""
        return self.front + self.back


def ground_forces(
    parameters: SwingParameters, mass_kg: float, time: FloatArray, *, table: tuple[Segment, ...] | None = None
) -> GroundForces:
    """Ground reaction on each foot and where it acts.

    Parameters
    ----------
    parameters : SwingParameters
    mass_kg : float
        Of the body; the bat's mass is left out. [kg]
    time : ndarray, shape (T,)
        From `timing.start` on, evenly spaced or not; the value at one does not depend on the others. [s from plant]
    table : tuple of Segment, optional
        Segment masses, from `mocap.kinematics.inertia.segment_table`; de Leva's for men where not given.

    Returns
    -------
    GroundForces

    Raises
    ------
    OptionError
        The swing cannot be posed; the body falls faster than free, so that a foot would have to pull; or its weight
        stays so far back that the front foot cannot carry 10 % of it at plant.
    """
    return forces_under(fit_postures(parameters), mass_kg, time, table=table)


def forces_under(
    postures: Postures, mass_kg: float, time: FloatArray, *, table: tuple[Segment, ...] | None = None
) -> GroundForces:
    """`ground_forces` of a body whose targets have been met already."""
    # Plant comes along, as the front foot's load there decides how fast it is loaded.
    times = np.append(np.asarray(time, dtype=np.float64), 0.0)
    points = postures.points(times)
    com, acceleration = _centre_of_mass_motion(postures, times, table)
    total = mass_kg * (acceleration + np.array([0.0, 0.0, GRAVITY]))
    if (total[:, 2] <= 0.0).any():
        when = times[int(np.argmin(total[:, 2]))]
        raise OptionError(f"ground forces: the body falls faster than free at {when:+.3f} s from plant; move it less")
    place = {side: postures.parameters.height_m * _under_sole(points, side) for side in ("front", "back")}
    lean, weights = _lean_and_load(postures, times, table)
    pressure = com[:, 0] - com[:, 2] * lean
    share = _softly_between((pressure - place["back"][:, 0]) / (place["front"][:, 0] - place["back"][:, 0]))
    full_load = float(share[-1] * total[-1, 2]) / (mass_kg * GRAVITY)
    front = share * _front_contact(postures.parameters, times, full_load)
    front = np.minimum(front + _to_stay_planted(front * weights, times) / weights, 1.0)[:, None]
    # With the share s and the vertical force N a strut's horizontal force is s N (com - foot) / z; its difference from
    # the share of the struts' sum is this, against each other.
    apart = front * (1.0 - front) * total[:, 2:] * (place["back"] - place["front"]) / com[:, 2:]
    forces = front * total + apart, (1.0 - front) * total - apart
    return GroundForces(*(force[:-1] for force in forces), *(place[side][:-1] for side in ("front", "back")))


def _centre_of_mass_motion(
    postures: Postures, time: FloatArray, table: tuple[Segment, ...] | None
) -> tuple[FloatArray, FloatArray]:
    """Place [m] and acceleration [m/s^2] of the centre of mass, shape (T, 3); five-point differences."""
    height = postures.parameters.height_m
    around = (time[:, None] + DIFFERENCE_S * np.arange(-2, 3)).ravel()
    com = centre_of_mass(postures.points(around), sides=("front", "back"), table=table)
    com = height * com.reshape(len(time), 5, 3)
    weights = np.array([-1.0, 16.0, -30.0, 16.0, -1.0]) / (12.0 * DIFFERENCE_S**2)
    return com[:, 2], np.einsum("k,tkj->tj", weights, com)


def _lean_and_load(
    postures: Postures, time: FloatArray, table: tuple[Segment, ...] | None
) -> tuple[FloatArray, FloatArray]:
    """Lean of the total force toward the pitcher, a_x / (a_z + g), and its vertical part in body weights, shape (T,).

    Both smoothed over time, so that the blow of the ball does not throw the weight from foot to foot.
    """
    from scipy.interpolate import CubicSpline
    from scipy.ndimage import gaussian_filter1d

    timing, rate = postures.parameters.timing, SMOOTHING_RATE_HZ
    # One grid for all calls, counted from the start, of which a call takes the part that it feels; beyond the grid's
    # ends the lean stays as it is there.
    last = int(np.ceil((timing.contact + timing.after_contact - timing.start) * rate)) + 1
    felt = int(np.ceil(5.0 * SMOOTHING_S * rate))
    low, high = ((float(when) - timing.start) * rate for when in (time.min(), time.max()))
    part = np.arange(max(int(low) - felt, 0), min(int(high) + felt, last) + 1)
    grid = timing.start + part / rate
    acceleration = _centre_of_mass_motion(postures, grid, table)[1]
    vertical = acceleration[:, 2] + GRAVITY
    raw = np.stack([acceleration[:, 0] / vertical, vertical / GRAVITY], axis=-1)
    smooth = gaussian_filter1d(raw, SMOOTHING_S * rate, axis=0, mode="nearest")
    lean, load = CubicSpline(grid, smooth)(np.clip(time, grid[0], grid[-1])).T
    return np.asarray(lean, dtype=np.float64), np.asarray(load, dtype=np.float64)


def _under_sole(points: dict[str, FloatArray], side: str) -> FloatArray:
    """Point of the floor under a foot: its middle while it is flat, the ball once the heel has risen."""
    middle = middle_of_sole(points, side)
    rise = points[f"{side}_heel"][:, 2] - points[f"{side}_ball"][:, 2]
    flat = proportions.HEEL_HEIGHT - proportions.BALL_HEIGHT
    to_ball = step(rise, flat, flat + HEEL_UP)[:, None]
    under = middle + to_ball * (points[f"{side}_ball"] - middle)
    under[:, 2] = 0.0
    return under


def _softly_between(share: FloatArray) -> FloatArray:
    """Share kept between 0 and 1, rounded near both."""
    low = SOFTNESS * np.logaddexp(0.0, share / SOFTNESS)
    limited: FloatArray = 1.0 - SOFTNESS * np.logaddexp(0.0, (1.0 - low) / SOFTNESS)
    return np.clip(limited, 0.0, 1.0)


def _to_stay_planted(load: FloatArray, time: FloatArray) -> FloatArray:
    """What a load of the front foot lacks to `LEAST_LOAD` after plant, shape (T,). [share of body weight]"""
    below = LEAST_LOAD - load
    soft = np.maximum(below + LEAST_SOFTNESS, 0.0) ** 2 / (4.0 * LEAST_SOFTNESS)
    return step(time, *LEAST_AFTER_S) * np.where(below > LEAST_SOFTNESS, below, soft)


def _front_contact(parameters: SwingParameters, time: FloatArray, full_load: float) -> FloatArray:
    """How far the front foot is on the ground, 0 to 1, shape (T,); passes 10 % of body weight at plant.

    `full_load` is what the front foot would carry at plant if it stood firmly. [share of body weight]
    """
    from scipy.optimize import brentq

    t = parameters.timing
    # The shoe meets the floor while the foot still settles.
    touch = t.toe_down - SETTLING_S

    def over(end: float) -> float:
        return float(step(np.zeros(1), touch, end)[0]) * full_load - LANDED_SHARE

    if over(1e-3) < 0.0:
        raise OptionError(
            f"ground forces: with the weight so far back the front foot carries {100 * full_load:.0f} % of it at plant,"
            f" less than the {100 * LANDED_SHARE:.0f} % that make the plant; bring the weight forward"
        )
    loaded = float(brentq(over, 1e-3, 0.5, xtol=1e-14))
    off, on = step(time, t.stance - 0.02, t.lift), step(time, touch, loaded)
    return 1.0 - off + on
