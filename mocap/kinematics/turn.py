"""Measures of the turn that follows foot-plant."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, angle_between, frame_from, rotation_vector, unit
from mocap.kinematics.helical import LONGEST_STEP, HelicalAxes, finite_helical_axes
from mocap.kinematics.landing import DEFINITION, foot_angle, knee_flexion, share_on_back
from mocap.kinematics.readings import NotMeasurableError, Readings, distance, greatest
from mocap.kinematics.registry import Values, measure

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
#: A segment may be at its fastest this long before foot-plant. [s] This project's default.
EARLY_S = 0.1
#: Segments whose turn is taken as a screw motion: the point whose path goes with it, the measures' prefix and name.
TURN_AXES = {"thorax": ("neck", "", "Trunk"), "pelvis": ("pelvis", "pelvis_", "Pelvis")}
SCREW = "finite helical axes over steps of 10 degrees, mean, RMS and sum over the turn; Woltring et al. 1985"
#: What a skeleton of constant lengths makes of the peak turning speeds where its joints are 10 mm off, and the last
#: frames before a blow of the bat's, one standard deviation: posed swings at 240 Hz. [deg/s]
SPEED_METHOD_SD = {"pelvis": 13.5, "trunk": 4.2, "arm": 9.0, "bat": 35.0}
#: What skin that swings with the turn adds to the speeds, as a share: posed swings with 8 mm of soft-tissue movement on
#: the thigh (pelvis 11 % and trunk 5 % too fast on average).
SPEED_SKIN_SD = {"pelvis": 0.10, "trunk": 0.05, "arm": 0.0, "bat": 0.0}
#: Share of the scatter of drawn peak times that posed swings show; see `Registered.drawn_share`. [-]
PEAK_DRAWN_SHARE = {"pelvis": 0.85, "trunk": 0.84, "arm": 1.08, "bat": 0.76}
#: What filter and gaps between frames move the peak of a speed: posed swings; and how both grow with the gaps, see
#: `Registered.by_frames`: posed swings at 60 and 120 Hz. [s], [-]
PEAK_METHOD_SD = {"pelvis": 0.0001, "trunk": 0.0007, "arm": 0.0003, "bat": 0.0003}
PEAK_BY_FRAMES = {"pelvis": 1.9, "trunk": 0.8, "arm": 2.0, "bat": 1.0}
SPEED_BY_FRAMES = {"pelvis": 0.25, "trunk": 0.6, "arm": 0.9, "bat": 2.0}
#: A turning speed that grows until a blow takes a part of it peaks before the blow, once a normal curve has blurred it:
#: where the curve's height over its width, times the part, equals the growth. At 10 peaks per second, a third taken and
#: 6 ms of blur that is 1.3 widths, and 2 where it grows by a quarter of that. [widths of the curve]
PEAK_BLUR_WIDTHS = {"pelvis": 0.0, "trunk": 0.0, "arm": 0.0, "bat": 1.5}
#: Two peaks closer than this cannot be put in order at the usual rates. [s] This project's default.
SAME_TIME_S = 0.004


def turn_speed(r: Readings, segment: str, times: FloatArray) -> FloatArray:
    """Magnitude of a segment's angular velocity at times in frames, shape (N, T). [rad/s]

    Two points show how the upper arm and the bat swing round, not how they roll about their own length; the roll is
    left out there.

    Raises
    ------
    NotMeasurableError
        A point of the segment was not recorded.
    """
    lines = TURNING_SEGMENTS[segment]
    if not r.swing.has(*(point for line in lines for point in line)):
        raise NotMeasurableError(
            "no bat was recorded" if segment == "bat" else f"the {segment}'s points were not recorded"
        )
    vectors = [r.path(second) - r.path(first) for first, second in lines]
    if len(vectors) == 1:
        bat = segment == "bat"
        line = r.read(vectors[0], times, bat=bat)
        # The direction's rate of change is the part of the line's own that lies across it, over its length.
        moved = across(r.read(vectors[0], times, bat=bat, rate=True), unit(line))
        return np.linalg.norm(moved, axis=-1) / np.linalg.norm(line, axis=-1)
    # The turn over one frame about each time: exact for a constant angular velocity.
    before, after = (frame_from(*(r.read(v, times + half) for v in vectors)) for half in (-0.5, 0.5))
    turned = rotation_vector(after @ np.swapaxes(before, -1, -2))
    return np.linalg.norm(turned, axis=-1) * r.rate_hz


def turn_peak(r: Readings, segment: str) -> tuple[FloatArray, FloatArray]:
    """Greatest turning speed from shortly before plant to contact, and its time from plant. [rad/s], [s]"""
    return r.once(("peak", segment), lambda: _turn_peak(r, segment))


def _turn_peak(r: Readings, segment: str) -> tuple[FloatArray, FloatArray]:
    times = r.times(*TURN, before_s=EARLY_S)
    value, place = greatest(turn_speed(r, segment, times))
    spacing = (times[:, -1] - times[:, 0]) / (times.shape[1] - 1)
    return value, (times[:, 0] + place * spacing - r.when["plant"]) / r.rate_hz


@measure(
    "forward_after_plant",
    "height",
    "Drift of the body toward the pitcher after landing",
    moments=("plant", "contact"),
    source=DEFINITION,
    drawn_share=0.92,  # a greatest distance, which draws on top of noise lengthen more: posed swings
)
def forward_after_plant(r: Readings) -> FloatArray:
    """Greatest distance the centre of mass travels toward the pitcher from plant to the finish, over height."""
    last = "finish" if "finish" in r.when else "contact"
    farthest = greatest(r.read(r.com, r.times("plant", last))[:, :, 0])[0]
    moved: FloatArray = (farthest - r.com_at("plant")[:, 0]) / r.height_m
    return moved


@measure(
    "axis_drift",
    "m",
    "Drift of the body's axis",
    moments=TURN,
    points=AXIS,
    source=DEFINITION,
    drawn_share=0.88,  # a greatest distance, which draws on top of noise lengthen more: posed swings
)
def axis_drift(r: Readings) -> FloatArray:
    """Greatest horizontal excursion of the middle and of the top of the line pelvis -> head, plant to contact."""
    times = r.times(*TURN)
    top, foot = (r.read(r.path(name), times)[..., :2] for name in ("head", "pelvis"))
    excursions = [distance(path, path[:, :1]) for path in (top, (top + foot) / 2)]
    return np.maximum(*(greatest(excursion)[0] for excursion in excursions))


@measure(
    "axis_tilt",
    "deg",
    "Lean of the body's axis at contact",
    moments=("contact",),
    points=AXIS,
    source=DEFINITION,
    drawn_share=0.94,  # the skeleton takes off some of what the head's points are misplaced by: posed swings
)
def axis_tilt(r: Readings) -> FloatArray:
    """Angle of the line pelvis -> head from the vertical."""
    axis = r.at("head", "contact") - r.at("pelvis", "contact")
    return np.degrees(angle_between(axis, np.array([0.0, 0.0, 1.0])))


def turn_axes(r: Readings, segment: str) -> HelicalAxes:
    """Helical axes of a segment over short steps, at even times from plant to contact, shape (N, T).

    Raises
    ------
    NotMeasurableError
        The segment's orientation is not known, or it turns too little.
    """
    return r.once(("axes", segment), lambda: _turn_axes(r, segment))


def _turn_axes(r: Readings, segment: str) -> HelicalAxes:
    point = TURN_AXES[segment][0]
    if segment not in r.frames:
        raise NotMeasurableError(f"the {segment}'s orientation was not recorded")
    times = r.times(*TURN)
    spacing = (times[:, -1] - times[:, 0]) / (times.shape[1] - 1)
    # A step has its time in the middle, so the paths are read on both sides of the turn as well.
    around = round(LONGEST_STEP / 2 * r.rate_hz)
    beyond = spacing[:, None] * np.arange(1, around + 1)
    times = np.concatenate([times[:, :1] - beyond[:, ::-1], times, times[:, -1:] + beyond], axis=1)
    rotation = r.read(r.frames[segment], times)
    y = unit(rotation[..., 1])
    z = unit(across(rotation[..., 2], y))
    rotation = np.stack([np.cross(y, z), y, z], axis=-1)
    rates = r.rate_hz / np.where(spacing > 0.0, spacing, np.nan)
    axes = finite_helical_axes(rotation, r.read(r.path(point), times), rates[:, None])
    axes = axes.between(around, times.shape[1] - around)
    if np.isfinite(axes.axis.angle_rad[0]).sum() < 2:
        raise NotMeasurableError(f"the {segment} turns too little for an axis to be seen")
    return axes


def _turned_mean(values: FloatArray, axes: HelicalAxes) -> FloatArray:
    """Mean over the angle that was turned, shape (N, ...), of values of shape (N, T, ...); NaN counts nothing.

    Time would give the slow beginning of a turn as much weight as its fast part, where the axes are known best: their
    errors go with one over the turning speed (Woltring et al. 1985).
    """
    speed = axes.axis.angle_rad / axes.step_s
    weight = np.broadcast_to(speed.reshape(speed.shape + (1,) * (values.ndim - 2)), values.shape)
    weight = np.where(np.isfinite(values), weight, 0.0)
    whole = weight.sum(axis=1)
    mean: FloatArray = np.where(weight > 0.0, values * weight, 0.0).sum(axis=1) / np.where(whole > 0.0, whole, np.nan)
    return mean


#: What steps of whole frames that turn by more than 10 degrees make of tilt [deg], wander [m] and rise [m] of the axes,
#: one standard deviation: posed swings on exact points at 240 Hz.
AXIS_METHOD_SD = {"thorax": (0.30, 0.0103, 0.0019), "pelvis": (0.56, 0.013, 0.0035)}


def _register_turn_axis(segment: str, point: str, prefix: str, name: str) -> None:
    """Register what the helical axes of a segment's turn show: how they lean, wander and slide."""

    @measure(
        f"{prefix}turn_axis_tilt",
        "deg",
        f"{name}: lean of the turn's axis",
        moments=TURN,
        points=(point,),
        source=SCREW,
        method_sd=AXIS_METHOD_SD[segment][0],
        by_frames=0.25,
    )
    def tilt(r: Readings) -> FloatArray:
        axes = turn_axes(r, segment)
        direction = _turned_mean(axes.axis.direction, axes)
        vertical = np.zeros_like(direction)
        vertical[:, 2] = np.where(direction[:, 2] < 0.0, -1.0, 1.0)
        return np.degrees(angle_between(direction, vertical))

    @measure(
        f"{prefix}turn_axis_wander",
        "m",
        f"{name}: wander of the turn's axis over the floor",
        moments=TURN,
        points=(point,),
        source=SCREW,
        method_sd=AXIS_METHOD_SD[segment][1],
        by_frames=0.25,
    )
    def wander(r: Readings) -> FloatArray:
        axes = turn_axes(r, segment)
        crossing = axes.floor_crossing()[0][..., :2]
        if np.isfinite(crossing[0]).all(axis=1).sum() < 2:
            raise NotMeasurableError(f"the axis of the {segment}'s turn lies level and does not meet the floor")
        from_middle = crossing - _turned_mean(crossing, axes)[:, None]
        return np.sqrt(_turned_mean(np.sum(from_middle**2, axis=-1), axes))

    @measure(
        f"{prefix}turn_axis_slide",
        "m",
        f"{name}: rise along the turn's axis",
        moments=TURN,
        points=(point,),
        source=SCREW,
        method_sd=AXIS_METHOD_SD[segment][2],
        by_frames=0.35,
    )
    def slide(r: Readings) -> FloatArray:
        axes = turn_axes(r, segment)
        rate = axes.axis.slide_m * np.sign(axes.axis.direction[..., 2]) / axes.step_s
        # Over the times that have an axis.
        rise: FloatArray = np.nan_to_num(rate).mean(axis=1) * (r.time("contact") - r.time("plant"))
        return rise


for _segment, (_point, _prefix, _name) in TURN_AXES.items():
    _register_turn_axis(_segment, _point, _prefix, _name)


@measure("sequence", "", "Order of the peaks of turning speed", moments=TURN, source=DEFINITION)
def sequence(r: Readings) -> Values:
    """Segments in the order in which their turning speed peaks; `=` joins peaks that fall together."""
    times = {}
    for segment in TURNING_SEGMENTS:
        try:
            times[segment] = turn_peak(r, segment)[1]
        except NotMeasurableError:
            continue
    if len(times) < 2:
        raise NotMeasurableError("fewer than two turning segments were recorded")
    return np.array([_order(dict(zip(times, row, strict=True))) for row in zip(*times.values(), strict=True)])


def _order(times: dict[str, float]) -> str:
    order = sorted(times, key=times.__getitem__)
    signs = (" = " if times[after] - times[before] < SAME_TIME_S else " > " for before, after in pairwise(order))
    return order[0] + "".join(sign + segment for sign, segment in zip(signs, order[1:], strict=True))


def _register_peaks(segment: str, name: str) -> None:
    """Register a segment's peak turning speed and its time."""
    points = tuple(dict.fromkeys(point for line in TURNING_SEGMENTS[segment] for point in line))

    @measure(
        f"{segment}_turn_speed",
        "deg/s",
        f"{name}: peak turning speed",
        moments=TURN,
        points=points,
        source=DEFINITION,
        method_sd=SPEED_METHOD_SD[segment],
        by_frames=SPEED_BY_FRAMES[segment],
        skin_sd=SPEED_SKIN_SD[segment],
    )
    def peak_speed(r: Readings) -> FloatArray:
        return np.degrees(turn_peak(r, segment)[0])

    @measure(
        f"{segment}_turn_time",
        "s",
        f"{name}: peak after foot-plant",
        moments=TURN,
        points=points,
        source=DEFINITION,
        method_sd=PEAK_METHOD_SD[segment],
        by_frames=PEAK_BY_FRAMES[segment],
        drawn_share=PEAK_DRAWN_SHARE[segment],
        blur_widths=PEAK_BLUR_WIDTHS[segment],
    )
    def peak_time(r: Readings) -> FloatArray:
        return turn_peak(r, segment)[1]


for _segment, _name in (("pelvis", "Pelvis"), ("trunk", "Trunk"), ("arm", "Lead upper arm"), ("bat", "Bat")):
    _register_peaks(_segment, _name)


@measure(
    "front_knee_extension",
    "deg",
    "Front knee straightens, plant to contact",
    moments=TURN,
    points=FRONT_LEG,
    source=DEFINITION,
    method_sd=0.45,  # a skeleton of constant lengths on joints 10 mm off: posed swings
)
def front_knee_extension(r: Readings) -> FloatArray:
    """Flexion at plant minus flexion at contact."""
    extension: FloatArray = knee_flexion(r, "front", "plant") - knee_flexion(r, "front", "contact")
    return extension


@measure(
    "front_leg_at_contact",
    "deg",
    "Front knee bend at contact",
    moments=("contact",),
    points=FRONT_LEG,
    source=DEFINITION,
    method_sd=1.4,  # a knee that is all but straight looks more bent wherever its centre is misplaced: posed swings
)
def front_leg_at_contact(r: Readings) -> FloatArray:
    """Angle between thigh and shank, 0 = straight."""
    return knee_flexion(r, "front", "contact")


@measure(
    "back_heel_lift",
    "m",
    "Back heel off the floor at contact",
    moments=("stance", "contact"),
    points=("back_heel",),
    source=DEFINITION,
    method_sd=0.0027,  # a foot of constant lengths on heel and ball 10 mm off, which tips: posed swings
)
def back_heel_lift(r: Readings) -> FloatArray:
    """Height of the back heel at contact over its height in the stance."""
    lift: FloatArray = r.at("back_heel", "contact")[:, 2] - r.at("back_heel", "stance")[:, 2]
    return lift


@measure(
    "back_foot_turn",
    "deg",
    "Back foot turned at contact",
    moments=("contact",),
    points=("back_heel", "back_ball"),
    source=DEFINITION,
)
def back_foot_turn(r: Readings) -> FloatArray:
    """Heading of the back foot from side-on, 90 = the toes point at the pitcher."""
    return foot_angle(r, "back", "contact")


@measure("head_shift", "m", "Head movement, plant to contact", moments=TURN, points=("head",), source=DEFINITION)
def head_shift(r: Readings) -> FloatArray:
    """Distance of the head's centre between plant and contact."""
    return distance(r.at("head", "contact"), r.at("head", "plant"))


@measure("finish_balance", "share", "Weight on the back foot at the finish", moments=("finish",), source=DEFINITION)
def finish_balance(r: Readings) -> FloatArray:
    """Place of the centre of mass between the feet at the finish, 1 = over the back foot."""
    return share_on_back(r, "finish")
