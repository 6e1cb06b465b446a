"""What is exactly true of the forces under an invented hitter's feet.

Written from the definitions alone. At a moment forces are worked out for its very time. Greatest values and crossings
are sought on cubic splines through forces half a millisecond apart, which miss none by a thousandth of body weight.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.moments import GRAVITY
from mocap.virtual.truth_tools import greatest

if TYPE_CHECKING:
    from mocap.virtual.measures_truth import Reading
    from mocap.virtual.motion import Motion

#: Between the forces that a spline goes through. [s]
SPLINE_S = 5e-4
#: Peaks are sought up to this long before contact, and a braking force begins to rise this long before plant. [s]
BEFORE_BLOW_S, RISE_BEFORE_S = 0.010, 0.1
#: A rise is timed from this share of the peak to that.
RISE = (0.1, 0.9)


def force_splines(motion: Motion) -> Any:
    """Forces under the front and the back foot as a cubic spline of time, shape (T, 6). [share of body weight]"""
    from scipy.interpolate import CubicSpline

    time = motion.times(1.0 / SPLINE_S)
    forces = motion.forces(time)
    return CubicSpline(time, np.hstack([forces.front, forces.back]) / (motion.hitter.mass_kg * GRAVITY))


def front_load(reading: Reading, time: FloatArray) -> FloatArray:
    """Vertical force under the front foot, shape (T,). [share of body weight]"""
    return reading.forces(time)[:, 2]


def back_load(reading: Reading, time: FloatArray) -> FloatArray:
    """Vertical force under the back foot, shape (T,). [share of body weight]"""
    return reading.forces(time)[:, 5]


def braking(reading: Reading, time: FloatArray) -> FloatArray:
    """Force on the front foot toward the catcher, shape (T,). [share of body weight]"""
    return -reading.forces(time)[:, 0]


def until_the_blow(reading: Reading) -> tuple[float, float]:
    """From plant until shortly before contact. [s from plant]"""
    return reading.moments["plant"], reading.moments["contact"] - BEFORE_BLOW_S


def braking_rise_time(reading: Reading) -> float:
    """From 10 to 90 % of the greatest braking force; not a number where it is above 10 % all the time. [s]"""
    toward_catcher = partial(braking, reading)
    value, top = greatest(toward_catcher, *until_the_blow(reading))
    time = np.append(np.arange(reading.moments["plant"] - RISE_BEFORE_S, top, SPLINE_S), top)
    force = toward_catcher(time)
    low, high = (share * value for share in RISE)
    under = np.flatnonzero(force <= low)
    if not len(under):
        return float("nan")
    begin = int(under[-1])
    end = begin + int(np.argmax(force[begin:] >= high))
    first, second = (
        crossing(toward_catcher, level, time[i], time[i + 1]) for level, i in ((low, begin), (high, end - 1))
    )
    return second - first


def force_shift_time(reading: Reading) -> float:
    """When the front foot first carries more than the back foot, from plant; not a number if it never does. [s]"""

    def lead(time: FloatArray) -> FloatArray:
        return front_load(reading, time) - back_load(reading, time)

    time = np.arange(reading.moments["plant"], reading.moments["finish"], SPLINE_S)
    ahead = np.flatnonzero(lead(time) > 0.0)
    if not len(ahead):
        return float("nan")
    first = int(ahead[0])
    return crossing(lead, 0.0, time[first - 1], time[first]) - reading.moments["plant"] if first else 0.0


def crossing(function: Callable[[FloatArray], FloatArray], level: float, start: float, end: float) -> float:
    """When a function passes a level between two times on either side of it."""
    from scipy.optimize import brentq

    return float(brentq(lambda t: float(function(np.array([t]))[0]) - level, start, end, xtol=1e-10))


def contact_force_share(reading: Reading) -> float:
    """Vertical force under the back foot over that under both, at contact. [-]"""
    forces = reading.motion.forces(np.array([reading.moments["contact"]]))
    return float(forces.back[0, 2] / forces.total[0, 2])


def pressure(reading: Reading, moment: str) -> float:
    """Place of the common centre of pressure along the pitch direction. [m]"""
    forces = reading.motion.forces(np.array([reading.moments[moment]]))
    moment_of_both = forces.front[0, 2] * forces.front_at[0, 0] + forces.back[0, 2] * forces.back_at[0, 0]
    return float(moment_of_both / forces.total[0, 2])


def base(reading: Reading, moment: str) -> float:
    """Distance of the feet, half way from heel to ball, along the pitch direction. [m]"""
    middle = {
        side: 0.5 * (reading.point(f"{side}_heel", moment)[0] + reading.point(f"{side}_ball", moment)[0])
        for side in ("front", "back")
    }
    return float(middle["front"] - middle["back"])


def pressure_travel(reading: Reading) -> float:
    """Way of the common centre of pressure from plant to contact, over the distance of the feet. [-]"""
    return (pressure(reading, "contact") - pressure(reading, "plant")) / base(reading, "plant")


def share_difference(reading: Reading) -> float:
    """Centre of pressure ahead of the centre of mass, over the distance of the feet, front foot flat. [-]"""
    com = reading.motion.centre_of_mass(np.array([reading.moments["foot_flat"]]))[0, 0]
    return (pressure(reading, "foot_flat") - float(com)) / base(reading, "foot_flat")


#: Every measure of `mocap.kinematics.ground` by its name.
TRUE_GROUND: Mapping[str, Callable[[Reading], float]] = {
    "back_peak_force": lambda r: greatest(partial(back_load, r), r.moments["stance"], r.moments["plant"]).value,
    "front_peak_force": lambda r: greatest(partial(front_load, r), *until_the_blow(r)).value,
    "braking_force": lambda r: greatest(partial(braking, r), *until_the_blow(r)).value,
    "braking_rise_time": braking_rise_time,
    "force_shift_time": force_shift_time,
    "contact_force_share": contact_force_share,
    "pressure_travel": pressure_travel,
    "share_difference": share_difference,
}
