"""Measures of what the feet push with, where force plates carry them.

Forces are those on the person, as shares of body weight where a size matters. Before they are measured they go through
a low-pass filter, so that the ringing of a plate is not taken for a peak. Where the body's mass is given, it is the
body's alone: a bat adds its own per cent to what the plates feel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import UNLOADED_N, FloatArray
from mocap.kinematics.filtering import lowpass
from mocap.kinematics.landing import DEFINITION, share_on_back
from mocap.kinematics.moments import GRAVITY
from mocap.kinematics.readings import NotMeasurableError, Readings, greatest, readings
from mocap.kinematics.registry import measure
from mocap.swing import FootForces, Swing

TURN = ("plant", "contact")
#: Cut-off for forces. [Hz] Peaks of gymnasts' landings, harder than any stride, keep their size from 85 Hz on; J Sports
#: Sci 38(8), 2020, study of filters for acceleration and force at landing, abstract.
FORCE_CUTOFF_HZ = 85.0
#: Both feet stand on plates for at least this long before the stride where the body's weight is read off them. [s]
#: This project's default.
STANDING_S = 0.1
#: A force rises from this share of its peak to that: IEEE Std 181-2011, transition duration.
RISE = (0.1, 0.9)
#: And begins to rise at most this long before foot-plant. [s] This project's default.
RISE_BEFORE_S = 0.1
#: Peaks are looked for up to this long before contact. [s] The ball's blow shakes bat, body and plates, the filter
#: carries it back by some milliseconds, and contact is known to a frame; this project's default.
BEFORE_BLOW_S = 0.010
#: Feet closer than this along the pitch direction have no way between them. [m] This project's default.
LEAST_BASE_M = 0.1

#: Standard deviations of what plates err by, this project's defaults. `force`, relative: the plate's calibration and
#: what the hitter weighs today, about 1 % each. `balance`, relative: of one plate's force against the other's.
#: `cross_talk`: share of the vertical force that shows in a horizontal one; makers state 1 to 2 % at most. `pressure`:
#: of the centre of pressure, the plate's own error and that of its place among the cameras' points. [m]
PLATE_SDS = {"force": 0.015, "balance": 0.014, "cross_talk": 0.010, "pressure": 0.005}


@dataclass(frozen=True)
class ForceCurves:
    """Ground reactions through time, filtered, hitting frame.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        From the swing's first frame, at the plates' rate. [s]
    front, back : ndarray, shape (T, 3)
        Force on the person under each foot. [N]
    back_share : ndarray, shape (T,)
        Vertical force under the back foot over that under both; NaN while neither carries anything. [-]
    pressure : ndarray, shape (T, 3)
        Common centre of pressure of both feet on the floor; NaN while neither carries anything. [m]
    weight_n : float or None
        Body weight; None where it is not known. [N]
    """

    time_s: FloatArray
    front: FloatArray
    back: FloatArray
    back_share: FloatArray
    pressure: FloatArray
    weight_n: float | None

    def in_body_weights(self, side: str) -> FloatArray:
        """Force under a foot as share of body weight, shape (T, 3). [-]

        Raises
        ------
        NotMeasurableError
            Body weight is not known.
        """
        if self.weight_n is None:
            raise NotMeasurableError(
                "the hitter's mass is not given, and both feet do not stand on plates before the stride"
            )
        shares: FloatArray = (self.front if side == "front" else self.back) / self.weight_n
        return shares

    def read(self, curve: FloatArray, time_s: FloatArray) -> FloatArray:
        """A curve of shape (T,) at times of any shape, straight between samples."""
        return np.interp(time_s, self.time_s, curve)


def force_curves(swing: Swing) -> ForceCurves:
    """Force under each foot, share of the back foot, and common centre of pressure through time.

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    ForceCurves

    Raises
    ------
    NotMeasurableError
        No plates, or not one for each foot; completes "not measurable, because ...".

    Notes
    -----
    The common centre of pressure is the mean of both feet's, weighted with their vertical forces; what is filtered are
    the forces and their moments, as a place has no meaning while a foot is off the floor. Where a foot presses too
    little for its place to be told, the place before and after stands in: what is left there weighs little, but some.
    """
    forces = swing.forces
    if forces is None:
        raise NotMeasurableError(swing.forces_why)
    places = [_everywhere(place) for place in (forces.front_at, forces.back_at)]
    moment = forces.front[:, 2:] * places[0] + forces.back[:, 2:] * places[1]
    raw = np.concatenate([forces.front, forces.back, moment], axis=1)
    front, back, moment = np.split(lowpass(raw, forces.rate_hz, FORCE_CUTOFF_HZ), 3, axis=1)
    vertical = front[:, 2] + back[:, 2]
    carried = vertical > UNLOADED_N
    over = np.where(carried, vertical, np.nan)
    return ForceCurves(
        time_s=np.arange(len(front)) / forces.rate_hz,
        front=front,
        back=back,
        back_share=back[:, 2] / over,
        pressure=moment / over[:, None],
        weight_n=_body_weight(swing, forces),
    )


def _everywhere(place: FloatArray) -> FloatArray:
    """Places of shape (A, 3) with the gaps between them filled straight; zeros where there is none at all. [m]"""
    seen = np.flatnonzero(np.isfinite(place).all(axis=1))
    if not len(seen):
        return np.zeros_like(place)
    return np.stack([np.interp(np.arange(len(place)), seen, column[seen]) for column in place.T], axis=1)


def _body_weight(swing: Swing, forces: FootForces) -> float | None:
    """Mass times gravity where the mass is given, else what the plates carry before the stride. [N]"""
    if swing.hitter.mass_kg is not None:
        return swing.hitter.mass_kg * GRAVITY
    lift = swing.moments["lift"].time_s
    if lift is None:
        return None
    before = slice(0, int(lift * forces.rate_hz))
    front, back = forces.front[before, 2], forces.back[before, 2]
    standing = (front > UNLOADED_N) & (back > UNLOADED_N)
    if standing.sum() < STANDING_S * forces.rate_hz:
        return None
    return float(np.median((front + back)[standing]))


def _curves(r: Readings) -> ForceCurves:
    return r.once("force curves", lambda: force_curves(r.swing))


def _samples(r: Readings, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Even times between two, as close as the plates' samples, shape (N, T). [s]"""
    if end_s[0] < start_s[0]:
        raise NotMeasurableError("there is no time between its two moments")
    # A drawn swing may have them exchanged: its span is then empty, not backward.
    end_s = np.maximum(end_s, start_s)
    every = float(np.diff(_curves(r).time_s[:2])[0])
    count = int(np.ceil(float(np.max(end_s - start_s)) / every - 1e-9)) + 1
    times: FloatArray = start_s[:, None] + (end_s - start_s)[:, None] * np.linspace(0.0, 1.0, max(count, 2))
    return times


def _turn(r: Readings, early_s: float = 0.0) -> FloatArray:
    """Times from plant, or earlier, until shortly before contact, shape (N, T). [s]"""
    return _samples(r, r.time("plant") - early_s, r.time("contact") - BEFORE_BLOW_S)


def _errors(r: Readings, which: str) -> FloatArray:
    """Errors of the plates, or of the `heading`, over the drawn versions, shape (N,); the swing as recorded has none.

    They are spread evenly over the normal distribution, and shuffled, so that two kinds are independent. Each batch of
    draws is shuffled in its own way, told from the others by its centres of mass.
    """
    from scipy.special import ndtri

    sd = r.swing.heading_sd_rad if which == "heading" else PLATE_SDS[which]
    scores: FloatArray = ndtri((np.arange(len(r)) + 0.5) / len(r))
    return sd * np.random.default_rng(list(which.encode() + r.com[0, 0].tobytes())).permutation(scores)


def _vertical_peak(r: Readings, side: str, time_s: FloatArray) -> FloatArray:
    """Greatest vertical force under a foot at times of shape (N, T), shape (N,). [share of body weight]"""
    curves = _curves(r)
    vertical = curves.read(curves.in_body_weights(side)[:, 2], time_s)
    peak: FloatArray = greatest(vertical)[0] * (1.0 + _errors(r, "force"))
    return peak


def _braking(r: Readings, time_s: FloatArray) -> FloatArray:
    """Force of the floor on the front foot toward the catcher, shape (N, T). [share of body weight]"""
    curves = _curves(r)
    x, y, z = (curves.read(curve, time_s) for curve in curves.in_body_weights("front").T)
    # What of the other two components the plate's cross-talk and the direction to the pitcher bring in.
    leak, turn = _errors(r, "cross_talk"), _errors(r, "heading")
    braking: FloatArray = -x + leak[:, None] * z + turn[:, None] * y
    return braking


@measure(
    "back_peak_force",
    "weight",
    "Peak load on the back foot before landing",
    moments=("stance", "plant"),
    source="vertical force at the load, in body weights: Welch et al. 1995",
)
def back_peak_force(r: Readings) -> FloatArray:
    """Greatest vertical force under the back foot from the stance to plant.

    A force and not a share: whoever lifts the front foot has all that he carries on the back one.
    """
    return _vertical_peak(r, "back", _samples(r, r.time("stance"), r.time("plant")))


@measure(
    "front_peak_force",
    "weight",
    "Peak force on the front foot",
    moments=TURN,
    source="peak vertical force in body weights: Welch et al. 1995",
)
def front_peak_force(r: Readings) -> FloatArray:
    """Greatest vertical force under the front foot from plant until shortly before contact."""
    return _vertical_peak(r, "front", _turn(r))


@measure(
    "braking_force",
    "weight",
    "Peak braking force of the front leg",
    moments=TURN,
    source="posterior force under the lead foot, in body weights: Sports Biomech 2023, 10.1080/14763141.2023.2269418",
    method_sd=0.0030,  # the filter takes off a peak: posed swings
)
def braking_force(r: Readings) -> FloatArray:
    """Greatest force toward the catcher on the front foot from plant until shortly before contact.

    Negative if the foot never brakes.
    """
    peak: FloatArray = greatest(_braking(r, _turn(r)))[0] * (1.0 + _errors(r, "force"))
    return peak


@measure(
    "braking_rise_time",
    "s",
    "Rise time of the braking force",
    moments=TURN,
    source="10 to 90 % of the peak: transition duration of IEEE Std 181-2011",
    method_sd=0.0006,  # the filter rounds the corner at which the force begins to rise: posed swings
)
def braking_rise_time(r: Readings) -> FloatArray:
    """Time in which the braking force rises from 10 to 90 % of `braking_force`.

    From the last time before the peak at which it is no more than 10 % to the first after that at which it is 90 %. The
    time to the peak itself is not taken: a peak is flat, and noise moves it along its top.
    """
    time = _turn(r, RISE_BEFORE_S)
    braking, plant = _braking(r, time), r.time("plant")[:, None]
    peak, place = greatest(np.where(time >= plant - 1e-9, braking, -np.inf))
    if peak[0] <= 0.0:
        raise NotMeasurableError("the front foot does not brake between plant and contact")
    low, high = (share * peak[:, None] for share in RISE)
    count = np.arange(time.shape[1])
    under = (braking <= low) & (count <= place[:, None])
    if not under[0].any():
        raise NotMeasurableError(f"the front foot brakes already {RISE_BEFORE_S:g} s before plant")
    begin = np.where(under, count, -1).max(axis=1)
    over = (braking >= high) & (count > begin[:, None])
    rise = _crossing(time, braking, low, np.argmax(over | (count > begin[:, None]), axis=1))
    done = _crossing(time, braking, high, np.argmax(over, axis=1))
    return np.where(begin >= 0, done - rise, np.nan)


def _crossing(time: FloatArray, values: FloatArray, level: FloatArray, index: np.ndarray) -> FloatArray:
    """When a value passes a level between the sample before an index and that at it, shape (N,)."""
    rows, before = np.arange(len(time)), np.maximum(index - 1, 0)
    first, second = values[rows, before], values[rows, index]
    step = np.where(second != first, second - first, 1.0)
    share = np.clip((level[:, 0] - first) / step, 0.0, 1.0)
    return time[rows, before] + share * (time[rows, index] - time[rows, before])


@measure(
    "force_shift_time",
    "s",
    "Front foot carries more than the back foot, after foot-plant",
    moments=TURN,
    source="half of the vertical force on the front foot: Fortenbaugh et al. 2011, as quoted",
    drawn_share=0.95,  # the landing is found better than it is drawn: posed swings
)
def force_shift_time(r: Readings) -> FloatArray:
    """Time from plant at which the front foot first carries more than the back foot; looked for up to the finish."""
    curves, last = _curves(r), "finish" if "finish" in r.when else "contact"
    time = _samples(r, r.time("plant"), r.time(last))
    front, back = (curves.read(force[:, 2], time) for force in (curves.front, curves.back))
    lead = front * (1.0 + _errors(r, "balance")[:, None]) - back
    ahead = lead >= 0.0
    if not ahead[0].any():
        raise NotMeasurableError(f"the front foot never carries more than the back foot between plant and {last}")
    when = _crossing(time, lead, np.zeros((len(time), 1)), np.argmax(ahead, axis=1))
    return np.where(ahead.any(axis=1), when - r.time("plant"), np.nan)


@measure(
    "contact_force_share",
    "share",
    "Vertical force on the back foot at contact",
    moments=("contact",),
    source=DEFINITION,
    method_sd=0.0020,  # the blow of the ball that the filter lets through: posed swings
    by_frames=1.0,
)
def contact_force_share(r: Readings) -> FloatArray:
    """Share of the vertical force that the back foot still carries at contact."""
    curves = _curves(r)
    share = curves.read(curves.back_share, r.time("contact"))
    # So much a relative error of one of the two forces moves their shares.
    return share + share * (1.0 - share) * _errors(r, "balance")


@measure(
    "pressure_travel",
    "share",
    "Centre of pressure travels toward the front foot, plant to contact",
    moments=TURN,
    source="centre of pressure between the feet, as share of their distance: common practice, no single source",
    method_sd=0.0020,  # the blow of the ball that the filter lets through: posed swings
    by_frames=1.0,
    drawn_share=0.78,  # noise on top of noise moves the pressure under a foot more than it did: posed swings
)
def pressure_travel(r: Readings) -> FloatArray:
    """Way of the common centre of pressure toward the pitcher from plant to contact, over the distance of the feet.

    At plant it is still all but under the back foot, by the definition of plant; 1 would take it under the front foot.
    """
    curves, base = _curves(r), _base(r, "plant")
    start, end = (curves.read(curves.pressure[:, 0], r.time(moment)) for moment in TURN)
    travel: FloatArray = (end - start + np.sqrt(2.0) * _errors(r, "pressure")) / base
    return travel


def _base(r: Readings, moment: str) -> FloatArray:
    """Distance between the feet along the pitch direction, shape (N,). [m]"""
    base: FloatArray = r.foot_at("front", moment)[:, 0] - r.foot_at("back", moment)[:, 0]
    if abs(base[0]) < LEAST_BASE_M:
        raise NotMeasurableError("the feet are closer than 10 cm along the pitch direction")
    return base


@measure(
    "share_difference",
    "share",
    "Weight on the back foot: by posture minus by the plates",
    moments=("plant",),
    source=DEFINITION,
    drawn_share=0.93,  # the flat foot is found better than it is drawn: posed swings
)
def share_difference(r: Readings) -> FloatArray:
    """`back_share` minus the share that the common centre of pressure gives, both when the front foot is flat.

    Posture weighs a body at rest. Moving, the force of the floor points at the centre of mass, apart from what changes
    the angular momentum, so that it meets the floor at x_com - z_com a_x / (a_z + g), a being the acceleration of the
    centre of mass. The two shares therefore differ by about -z_com a_x / ((a_z + g) base): a hitter who still speeds up
    toward the pitcher has his pressure farther back than his posture says. In a held position, which is taken at
    plant, they must agree within their errors; if they do not, the centre of mass or the plates' place is wrong.
    """
    moment = "plant" if r.swing.setup.held else "foot_flat"
    posture = share_on_back(r, moment)
    # The feet as recorded: in a drawn version they are turned with the body, the plates are not.
    recorded = readings(r.swing, 0.0)
    base = _base(recorded, moment)
    curves = _curves(r)
    pressure = curves.read(curves.pressure[:, 0], r.time(moment)) + _errors(r, "pressure")
    difference: FloatArray = posture - (recorded.foot_at("front", moment)[:, 0] - pressure) / base
    return difference
