"""Measures of the hands on their way to the ball: inside it, short, and how they hold the bat."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import angle_between, unit
from mocap.kinematics.landing import BAT, DEFINITION, HANDS
from mocap.kinematics.readings import NotMeasurableError, Readings, distance, greatest
from mocap.kinematics.registry import Values, measure

TRUNK = ("pelvis", "neck")
#: How the palms face from contact to extension, in the words of the measure.
KEPT, ROLLED_EARLY, ROLLED = "palm up, palm down", "rolled before extension", "rolled at contact"


@measure(
    "hands_inside",
    "m",
    "Hands outside the line from the body to the ball",
    moments=("level", "contact"),
    points=(*TRUNK, *HANDS, *BAT),
    source=DEFINITION,
)
def hands_inside(r: Readings) -> FloatArray:
    """Farthest that mid-hands lie outside the line from the body to the ball, from `level` to contact.

    The line is drawn on the floor at contact, from mid-trunk to the sweet spot, where the ball is. Outside is its side
    toward the plate and the catcher, and counts positive; negative is on the pitcher's side throughout. Hands that stay
    inside the ball pass close in front of the body, and so little outside, and then lead the barrel over the line; cast
    hands swing round at arm's length and come from far outside. A ball away turns the line toward the plate and leaves
    them more room, a ball inside less.

    It begins where the hands pass the body: until then they are behind it, and so outside, in every hitter.
    """
    trunk = (r.at("pelvis", "contact") + r.at("neck", "contact"))[:, None, :2] / 2
    line = unit(r.sweet_spot_at("contact")[:, None, :2] - trunk)
    path = r.read(r.hands, r.times("level", "contact"))[..., :2] - trunk
    # To the right of the line, seen from above: the ball lies toward the pitcher and the plate.
    return greatest(line[..., 1] * path[..., 0] - line[..., 0] * path[..., 1])[0]


@measure(
    "bat_lag",
    "deg",
    "Barrel behind the hands as they pass the body",
    moments=("level",),
    points=(*HANDS, *BAT),
    source=DEFINITION,
)
def bat_lag(r: Readings) -> FloatArray:
    """Angle between the bat and the way the hands go, at `level`: 180 = the barrel trails straight behind, 90 = beside.

    In space, from the direction knob -> barrel to the velocity of mid-hands.
    """
    level = (r.time("level") * r.rate_hz - r.first_frame)[:, None]
    return np.degrees(angle_between(r.bat_at("level"), r.read(r.hands, level, rate=True)[:, 0]))


@measure(
    "short_swing_time",
    "s",
    "Back elbow after the hands at the body",
    moments=("plant", "level", "contact"),
    points=(*TRUNK, "back_elbow"),
    source=DEFINITION,
    method_sd=0.0003,  # gaps between frames: posed swings at 60 and 120 Hz
    by_frames=0.5,
    drawn_share=0.87,  # the skeleton takes off some of what the trunk's points are misplaced by: posed swings
)
def short_swing_time(r: Readings) -> FloatArray:
    """Time from `level` until the back elbow reaches the body line, too; negative = the elbow gets there first.

    The body line is the x of mid-trunk. The elbow is followed from plant on, past contact if need be, and counts when
    it first passes the line on its way forward. In a short swing both arrive close together.

    Notes
    -----
    A first guess on the straight line between two frames, then one step of Newton's method on the cubic.
    """
    ahead = r.path("back_elbow")[..., 0] - (r.path("pelvis") + r.path("neck"))[..., 0] / 2
    times = r.times("plant", "finish" if "finish" in r.when else "contact")
    value = r.read(ahead, times)
    passes = (value[:, :-1] < 0.0) & (value[:, 1:] >= 0.0)
    if not passes[0].any():
        raise NotMeasurableError("the back elbow does not pass the body line after foot-plant")
    rows, first = np.arange(len(value)), np.argmax(passes, axis=1)
    before, after = value[rows, first], value[rows, first + 1]
    spacing = times[rows, first + 1] - times[rows, first]
    share = before / np.where(passes.any(axis=1), before - after, np.nan)
    # A drawn swing in which it does not pass has no time, but must be read somewhere.
    guess = (times[rows, first] + np.nan_to_num(share) * spacing)[:, None]
    step = r.read(ahead, guess) / r.read(ahead, guess, rate=True) * r.rate_hz
    passed = (guess - np.clip(step, -spacing[:, None], spacing[:, None]))[:, 0] + r.first_frame
    late: FloatArray = np.where(np.isfinite(share), passed / r.rate_hz, np.nan) - r.time("level")
    return late


@measure(
    "hands_reach",
    "height",
    "Hands' greatest distance from the back shoulder, plant to level",
    moments=("plant", "level"),
    points=(*HANDS, "back_shoulder"),
    source=DEFINITION,
    method_sd=0.0015,  # a skeleton of constant lengths on joints 10 mm off: posed swings
)
def hands_reach(r: Readings) -> FloatArray:
    """Greatest distance from mid-hands to the back shoulder until the hands pass the body, over height.

    A short swing keeps it small; it is a share of height, as arms are.
    """
    times = r.times("plant", "level")
    apart = distance(r.read(r.hands, times), r.read(r.path("back_shoulder"), times))
    reach: FloatArray = greatest(apart)[0] / r.height_m
    return reach


@measure(
    "palms",
    "",
    "Palms from contact to extension",
    moments=("contact", "extension"),
    points=HANDS,
    source="common practice: top hand palm up, bottom hand palm down through the ball",
)
def palms(r: Readings) -> Values:
    """`palm up, palm down` where the back palm faces up and the front palm down from contact to extension.

    `rolled at contact` where one of them does not at contact, `rolled before extension` where it turns over later. A
    palm faces along the x axis of its hand (Wu et al. 2005), which points out of the palm on either side; the hand
    turns with the far end of the forearm, as the wrist has no roll of its own.
    """
    if not r.swing.palms_seen:
        raise NotMeasurableError("the hands' points do not show which way the palms face")
    times = r.times("contact", "extension")
    up = {side: r.read(r.frames[f"{side}_hand"][..., 2, 0], times) for side in ("front", "back")}
    if not all(np.isfinite(rise[0]).all() for rise in up.values()):
        raise NotMeasurableError("the wrists' points are missing between contact and extension")
    facing = (up["back"] > 0.0) & (up["front"] < 0.0)
    return np.where(facing.all(axis=1), KEPT, np.where(facing[:, 0], ROLLED_EARLY, ROLLED))
