"""Measures of the turn that follows foot-plant."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import angle_between, angular_velocity, frame_from, unit
from mocap.kinematics.helical import LONGEST_STEP, HelicalAxes, finite_helical_axes
from mocap.kinematics.landing import DEFINITION, foot_angle, knee_flexion, share_on_back
from mocap.kinematics.registry import NotMeasurableError, at, distance, greatest, measure, span, velocity
from mocap.swing import Swing

AXIS = ("pelvis", "head")
FRONT_LEG = ("front_hip", "front_knee", "front_ankle")
TURN = ("plant", "contact")
#: Segments whose turning is ordered, from the ground up: the line across or along the segment, and for the pelvis and
#: the trunk a second line that fixes the turn about the first.
TURNING_SEGMENTS: dict[str, tuple[tuple[str, str], ...]] = {
    "pelvis": (("back_hip", "front_hip"), ("pelvis", "neck")),
    "trunk": (("back_shoulder", "front_shoulder"), ("pelvis", "neck")),
    "arm": (("front_shoulder", "front_elbow"),),
    "bat": (("bat_knob", "bat_barrel"),),
}
#: Segments whose turn is taken as a screw motion: the point whose path goes with it, the measures' prefix and name.
TURN_AXES = {"thorax": ("neck", "", "Trunk"), "pelvis": ("pelvis", "pelvis_", "Pelvis")}
SCREW = "finite helical axes over steps of 10 degrees, mean, RMS and sum over the turn; Woltring et al. 1985"
#: Two peaks closer than this cannot be put in order at the usual rates. [s] This project's default.
SAME_TIME_S = 0.004


def turn_speed(swing: Swing, segment: str) -> FloatArray:
    """Magnitude of a segment's angular velocity, shape (F,). [rad/s]

    Two points show how the upper arm and the bat swing round, not how they roll about their own length; the roll is
    left out there.

    Raises
    ------
    NotMeasurableError
        A point of the segment was not recorded.
    """
    lines = TURNING_SEGMENTS[segment]
    if not swing.has(*(point for line in lines for point in line)):
        raise NotMeasurableError(
            "no bat was recorded" if segment == "bat" else f"the {segment}'s points were not recorded"
        )
    vectors = [swing[second] - swing[first] for first, second in lines]
    if len(vectors) == 1:
        return np.linalg.norm(velocity(unit(vectors[0]), swing), axis=1)
    return np.linalg.norm(angular_velocity(frame_from(*vectors), swing.rate_hz), axis=1)


def turn_peak(swing: Swing, segment: str) -> tuple[float, float]:
    """Greatest turning speed from shortly before plant to contact, and its time from plant. [rad/s], [s]"""
    early = max(at(swing, "plant") - int(0.1 * swing.rate_hz), 0)
    # A peak may fall on contact itself, so look one hundredth of a second past it.
    late = at(swing, "contact") + max(int(0.01 * swing.rate_hz), 1)
    window = turn_speed(swing, segment)[early : late + 1]
    if not np.isfinite(window).any():
        raise NotMeasurableError(f"the {segment}'s points are missing in the turn")
    peak = int(np.nanargmax(window))
    time = early + peak + _vertex(window, peak)
    return float(window[peak]), float(time / swing.rate_hz - (swing.moments["plant"].time_s or 0.0))


def _vertex(values: FloatArray, peak: int) -> float:
    """Offset of the vertex of the parabola through a peak and its neighbours, -0.5 to 0.5. [frames]"""
    if not 0 < peak < len(values) - 1:
        return 0.0
    before, here, after = values[peak - 1 : peak + 2]
    bend = before - 2 * here + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if np.isfinite(bend) and bend < 0 else 0.0


@measure(
    "forward_after_plant",
    "height",
    "Drift of the body toward the pitcher after landing",
    moments=("plant", "contact"),
    source=DEFINITION,
)
def forward_after_plant(swing: Swing) -> float:
    """Greatest distance the centre of mass travels toward the pitcher from plant to the finish, over height."""
    last = "finish" if swing.index("finish") is not None else "contact"
    path = swing.com[span(swing, "plant", last), 0]
    return greatest(path - path[0]) / swing.height_m


@measure("axis_drift", "m", "Drift of the body's axis", moments=TURN, points=AXIS, source=DEFINITION)
def axis_drift(swing: Swing) -> float:
    """Greatest horizontal excursion of the middle and of the top of the line pelvis -> head, plant to contact."""
    turn = span(swing, *TURN)
    top, foot = swing["head"][turn, :2], swing["pelvis"][turn, :2]
    paths = np.stack([top, (top + foot) / 2])
    return greatest(np.linalg.norm(paths - paths[:, :1], axis=2))


@measure("axis_tilt", "deg", "Lean of the body's axis at contact", moments=("contact",), points=AXIS, source=DEFINITION)
def axis_tilt(swing: Swing) -> float:
    """Angle of the line pelvis -> head from the vertical."""
    frame = at(swing, "contact")
    axis = swing["head"][frame] - swing["pelvis"][frame]
    return float(np.degrees(angle_between(axis, np.array([0.0, 0.0, 1.0]))))


def turn_axes(swing: Swing, segment: str) -> HelicalAxes:
    """Helical axes of a segment over short steps, one for each frame from plant to contact.

    Raises
    ------
    NotMeasurableError
        The segment's orientation is not known, or it turns too little.
    """
    point = TURN_AXES[segment][0]
    if segment not in swing.frames:
        raise NotMeasurableError(f"the {segment}'s orientation was not recorded")
    start, stop = at(swing, "plant"), at(swing, "contact") + 1
    around = round(LONGEST_STEP / 2 * swing.rate_hz)
    first = max(start - around, 0)
    window = slice(first, stop + around)
    axes = finite_helical_axes(swing.frames[segment][window], swing[point][window], swing.rate_hz)
    axes = axes.between(start - first, stop - first)
    if np.isfinite(axes.axis.angle_rad).sum() < 2:
        raise NotMeasurableError(f"the {segment} turns too little for an axis to be seen")
    return axes


def _register_turn_axis(segment: str, point: str, prefix: str, name: str) -> None:
    """Register what the helical axes of a segment's turn show: how they lean, wander and slide."""

    @measure(
        f"{prefix}turn_axis_tilt",
        "deg",
        f"{name}: lean of the turn's axis",
        moments=TURN,
        points=(point,),
        source=SCREW,
    )
    def tilt(swing: Swing) -> float:
        direction = np.nanmean(turn_axes(swing, segment).axis.direction, axis=0)
        vertical = np.array([0.0, 0.0, np.sign(direction[2]) or 1.0])
        return float(np.degrees(angle_between(direction, vertical)))

    @measure(
        f"{prefix}turn_axis_wander",
        "m",
        f"{name}: wander of the turn's axis over the floor",
        moments=TURN,
        points=(point,),
        source=SCREW,
    )
    def wander(swing: Swing) -> float:
        crossing = turn_axes(swing, segment).floor_crossing()[0][:, :2]
        crossing = crossing[np.isfinite(crossing).all(axis=1)]
        if len(crossing) < 2:
            raise NotMeasurableError(f"the axis of the {segment}'s turn lies level and does not meet the floor")
        return float(np.sqrt(np.mean(np.sum((crossing - crossing.mean(axis=0)) ** 2, axis=1))))

    @measure(
        f"{prefix}turn_axis_slide",
        "m",
        f"{name}: rise along the turn's axis",
        moments=TURN,
        points=(point,),
        source=SCREW,
    )
    def slide(swing: Swing) -> float:
        axes = turn_axes(swing, segment)
        rise = axes.axis.slide_m * np.sign(axes.axis.direction[:, 2]) / axes.step_s
        # The mean rate over the frames that have an axis, times the turn's duration.
        return float(np.nanmean(rise)) * (len(rise) - 1) / swing.rate_hz


for _segment, (_point, _prefix, _name) in TURN_AXES.items():
    _register_turn_axis(_segment, _point, _prefix, _name)


@measure("sequence", "", "Order of the peaks of turning speed", moments=TURN, source=DEFINITION)
def sequence(swing: Swing) -> str:
    """Segments in the order in which their turning speed peaks; `=` joins peaks that fall together."""
    times = {}
    for segment in TURNING_SEGMENTS:
        try:
            times[segment] = turn_peak(swing, segment)[1]
        except NotMeasurableError:
            continue
    if len(times) < 2:
        raise NotMeasurableError("fewer than two turning segments were recorded")
    order = sorted(times, key=lambda segment: times[segment])
    text = order[0]
    for previous, segment in pairwise(order):
        text += (" = " if times[segment] - times[previous] < SAME_TIME_S else " > ") + segment
    return text


def _register_peaks(segment: str, name: str) -> None:
    """Register a segment's peak turning speed and its time."""
    points = tuple(dict.fromkeys(point for line in TURNING_SEGMENTS[segment] for point in line))

    @measure(
        f"{segment}_turn_speed", "deg/s", f"{name}: peak turning speed", moments=TURN, points=points, source=DEFINITION
    )
    def peak_speed(swing: Swing) -> float:
        return float(np.degrees(turn_peak(swing, segment)[0]))

    @measure(
        f"{segment}_turn_time", "s", f"{name}: peak after foot-plant", moments=TURN, points=points, source=DEFINITION
    )
    def peak_time(swing: Swing) -> float:
        return turn_peak(swing, segment)[1]


for _segment, _name in (("pelvis", "Pelvis"), ("trunk", "Trunk"), ("arm", "Lead upper arm"), ("bat", "Bat")):
    _register_peaks(_segment, _name)


@measure(
    "front_knee_extension",
    "deg",
    "Front knee straightens, plant to contact",
    moments=TURN,
    points=FRONT_LEG,
    source=DEFINITION,
)
def front_knee_extension(swing: Swing) -> float:
    """Flexion at plant minus flexion at contact."""
    return knee_flexion(swing, "front", at(swing, "plant")) - knee_flexion(swing, "front", at(swing, "contact"))


@measure(
    "front_leg_at_contact",
    "deg",
    "Front knee bend at contact",
    moments=("contact",),
    points=FRONT_LEG,
    source=DEFINITION,
)
def front_leg_at_contact(swing: Swing) -> float:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(swing, "front", at(swing, "contact"))


@measure(
    "back_heel_lift",
    "m",
    "Back heel off the floor at contact",
    moments=("stance", "contact"),
    points=("back_heel",),
    source=DEFINITION,
)
def back_heel_lift(swing: Swing) -> float:
    """Height of the back heel at contact over its height in the stance."""
    heel = swing["back_heel"][:, 2]
    return float(heel[at(swing, "contact")] - heel[at(swing, "stance")])


@measure(
    "back_foot_turn",
    "deg",
    "Back foot turned at contact",
    moments=("contact",),
    points=("back_heel", "back_ball"),
    source=DEFINITION,
)
def back_foot_turn(swing: Swing) -> float:
    """Heading of the back foot from side-on, 90 = the toes point at the pitcher."""
    return foot_angle(swing, "back", at(swing, "contact"))


@measure("head_shift", "m", "Head movement, plant to contact", moments=TURN, points=("head",), source=DEFINITION)
def head_shift(swing: Swing) -> float:
    """Distance of the head's centre between plant and contact."""
    return distance(swing["head"][at(swing, "contact")], swing["head"][at(swing, "plant")])


@measure("finish_balance", "share", "Weight on the back foot at the finish", moments=("finish",), source=DEFINITION)
def finish_balance(swing: Swing) -> float:
    """Place of the centre of mass between the feet at the finish, 1 = over the back foot."""
    return share_on_back(swing, at(swing, "finish"))
