"""What a picture says: one finding as its headline, a few numbers around it, each with its verdict in words."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from mocap.comparison import Comparison
from mocap.display import Units, format_height, format_length, format_measure, scale_of
from mocap.findings import Check, Findings, Measure, Verdict
from mocap.kinematics.sentences import Speaker, spoken, wording
from mocap.swing import POINTS, Swing

_SIDES = ("front", "back")

#: What each moment's headline is about where nothing is off: the first of these measures that is known.
_HEADLINES: dict[str, tuple[tuple[str, str], ...]] = {
    "lift": (("back_peak_force", "The back foot is loaded with up to {value}"),),
    "plant": (
        ("back_share", "{value} of the weight on the back foot"),
        ("pose_distance", "{value} from the reference, joint by joint"),
    ),
    "foot_flat": (("back_force_share", "The back foot carries {value} of the force"),),
    "level": (("bat_lag", "The barrel is {value} behind the hands"),),
    "contact": (
        ("axis_drift", "The axis drifted {value} by contact"),
        ("axis_tilt", "The axis leans {value} at contact"),
    ),
    "extension": (("hitting_zone", "The barrel stays {value} in the hitting zone"),),
    "finish": (("finish_balance", "{value} of the weight on the back foot"),),
}

#: The numbers that a moment's picture may show where nothing is off, the most telling first. What is checked there
#: and is off, near or too close to call comes before them, whether it is listed or not.
_NUMBERS: dict[str, tuple[str, ...]] = {
    "lift": ("back_peak_force",),
    "plant": (
        "separation_length",
        "front_knee_flexion",
        "hip_shoulder_separation",
        "foot_open",
        "knob_aim",
        "pose_distance",
    ),
    "foot_flat": ("back_force_share", "braking_rise_time"),
    "level": ("bat_lag", "level_early", "hands_reach", "hands_inside"),
    "contact": ("axis_tilt", "front_knee_extension", "bat_speed", "attack_angle", "hitting_zone", "hand_speed"),
    "extension": ("hitting_zone", "extension_reach", "palms"),
    "finish": ("finish_balance",),
}

#: Between which points a measure is anchored in a picture: those of `mocap.swing.POINTS`, `mid_hands`, and `zone_end`,
#: where the barrel leaves the hitting zone. A measure without a place of its own is not joined to the body.
_PLACES: dict[str, tuple[str, ...]] = {
    "attack_angle": ("bat_barrel",),
    "axis_drift": ("pelvis", "head"),
    "axis_tilt": ("pelvis", "head"),
    "back_foot_turn": ("back_ball",),
    "back_force_share": ("back_ankle",),
    "back_heel_lift": ("back_heel",),
    "back_knee_flexion": ("back_knee",),
    "back_peak_force": ("back_ankle",),
    "back_share": ("pelvis",),
    "bat_lag": ("bat_barrel",),
    "bat_position": ("bat_barrel",),
    "bat_speed": ("bat_barrel",),
    "braking_rise_time": ("front_ankle",),
    "depth_for_pitch": ("bat_barrel",),
    "extension_reach": ("bat_barrel",),
    "finish_balance": ("pelvis",),
    "foot_open": ("front_ball",),
    "forward_after_plant": ("pelvis",),
    "front_knee_extension": ("front_knee",),
    "front_knee_flexion": ("front_knee",),
    "front_leg_at_contact": ("front_knee",),
    "hand_speed": ("mid_hands",),
    "hands_inside": ("mid_hands",),
    "hands_reach": ("mid_hands",),
    "head_shift": ("head",),
    "hip_shoulder_separation": ("front_shoulder",),
    "hitting_zone": ("zone_end",),
    "knob_aim": ("bat_knob",),
    "level_early": ("bat_barrel",),
    "palms": ("mid_hands",),
    "pelvis_open": ("front_hip",),
    "pelvis_turn_speed": ("front_hip", "back_hip"),
    "plane_match": ("bat_barrel",),
    "separation_gain": ("mid_hands",),
    "separation_length": ("front_ankle", "mid_hands"),
    "stride_direction": ("front_ankle",),
    "stride_length": ("front_ankle",),
    "trunk_open": ("front_shoulder",),
    "trunk_turn_speed": ("front_shoulder", "back_shoulder"),
}

#: Measures whose direction takes too many words for a panel: their sign says it.
_SIGNED = ("back_foot_turn",)

#: What is shown first. A measure without a check comes last.
_ORDER: tuple[Verdict, ...] = ("off", "near", "too close to call", "good", "not measurable")

#: The part of a sentence that names the moments, which the picture's title or its detail says.
_LEAD = re.compile(r"At (?:foot-plant|contact|the finish) |From (?:stance|foot-plant) to (?:foot-plant|contact) ")

MOST_CALLOUTS = 5

#: Joints nearer to the reference's are not named: this project's default, about what a joint centre may be off.
LEAST_TOLD_M = 0.02

#: What a measure is called in a panel too narrow for its label, and whose title says the moment.
_SHORT: dict[str, str] = {
    "axis_drift": "Axis drift",
    "back_foot_turn": "Back foot turned",
    "back_heel_lift": "Back heel lifted",
    "back_knee_flexion": "Back knee bent",
    "back_share": "On the back foot",
    "bat_lag": "Barrel's lag",
    "bat_position": "Bat",
    "depth_for_pitch": "Contact",
    "extension_reach": "Through the ball",
    "finish_balance": "On the back foot",
    "foot_open": "Front foot",
    "forward_after_plant": "Drift forward",
    "front_knee_extension": "Front knee",
    "front_knee_flexion": "Front knee bent",
    "front_leg_at_contact": "Front knee bent",
    "hands_reach": "Hands from shoulder",
    "head_shift": "Head moves",
    "hip_shoulder_separation": "Hips",
    "hitting_zone": "In the hitting zone",
    "knob_aim": "Knob off its aim",
    "pelvis_open": "Hips",
    "pelvis_turn_speed": "Hips turn",
    "plane_match": "Barrel's path",
    "pose_distance": "From the reference",
    "separation_gain": "Separation",
    "separation_length": "Ankle to hands",
    "sequence": "Order",
    "stride_direction": "Stride",
    "stride_length": "Stride",
    "trunk_open": "Shoulders",
    "trunk_turn_speed": "Trunk turns",
}

#: Joints that are named as far from the reference: those that a coach sees.
_JOINTS = (
    "pelvis",
    "head",
    *(f"{side}_{joint}" for side in _SIDES for joint in ("hip", "knee", "ankle", "shoulder", "elbow", "hand")),
)
#: Joints in the order in which they hang together.
_CHAINS = (("hip", "knee", "ankle"), ("shoulder", "elbow", "hand"))


@dataclass(frozen=True)
class Callout:
    """One number in the margin.

    Attributes
    ----------
    label, value, detail : str
        What it is, the number, and what follows from it; `detail` may be empty.
    verdict : Verdict or None
    anchor : tuple of str
        Points it belongs to, in the middle of which a thin line ends; empty: to the whole picture.
    """

    label: str
    value: str
    detail: str
    verdict: Verdict | None
    anchor: tuple[str, ...]


@dataclass(frozen=True)
class Headline:
    """The finding a picture states.

    Attributes
    ----------
    words : str
    detail : str
        The verdict and its limits; empty where there is none.
    verdict : Verdict or None
    measure : str
        The measure it states; empty where it states none.
    """

    words: str
    detail: str
    verdict: Verdict | None
    measure: str


def headline(findings: Findings, moment: str, units: Units) -> Headline:
    """What is off at a moment, the first that a coach would go about; else the finding that belongs to it.

    No words where nothing is known.
    """
    for check in checks_at(findings, moment):
        if check.verdict == "off":
            lead, words = finding_words(findings, check.measure, units)
            detail = verdict_words(findings, check, units)
            detail = f"{lead[:1].lower()}{lead[1:]}, {detail}" if lead.startswith("From") else detail
            return Headline(words, detail[:1].upper() + detail[1:], check.verdict, check.measure)
    for name, sentence in _HEADLINES.get(moment, ()):
        measure = findings.measures.get(name)
        if measure is not None and measure.value is not None:
            found = _check(findings, name)
            words = sentence.format(value=format_measure(measure, _height(findings), units))
            detail = verdict_words(findings, found, units)
            return Headline(words, detail, found.verdict if found else None, name)
    return Headline("", "", None, "")


def checks_at(findings: Findings, moment: str) -> list[Check]:
    """Checks of the measures that end at a moment: what is off first, and of these what to work on first."""
    first = {advice.measure: place for place, advice in enumerate(findings.work_on)}
    found = []
    for check in findings.checks:
        measure = findings.measures.get(check.measure)
        if measure is not None and measure.value is not None and measure.moment.split(" ")[-1] == moment:
            found.append(check)
    return sorted(found, key=lambda check: (_ORDER.index(check.verdict), first.get(check.measure, len(first))))


def finding_words(findings: Findings, name: str, units: Units) -> tuple[str, str]:
    """A measure as a sentence without its full stop, and the moments it names, which may be empty, apart from it."""
    measure = findings.measures[name]
    words = wording(name, measure.label)
    sentence = words.says.format(value_words(measure, units))
    lead = _LEAD.match(sentence)
    if lead is None:
        return "", sentence
    rest = sentence[lead.end() :]
    return lead.group().strip(), rest[:1].upper() + rest[1:]


def value_words(measure: Measure, units: Units, *, brief: bool = False) -> str:
    """A measure's number as it is said: of one that has two directions the direction in words, no sign.

    Briefly where its label stands beside it.
    """
    if not isinstance(measure.value, float):
        return spoken(str(measure.value)) if measure.value is not None else "not measurable"
    words = wording(measure.name, measure.label)
    value = abs(measure.value) if words.directed else measure.value
    forms = words.edges if brief else words.forms
    return forms[measure.value < 0.0].format(scale_of(measure.unit, units).quantity(value, measure.sd))


def callouts(
    findings: Findings, moment: str, units: Units, stated: str = "", most: int = MOST_CALLOUTS
) -> list[Callout]:
    """The numbers around a moment's picture: what is off, near, too close to call, then the usual ones.

    The headline's own (`stated`) is left out.
    """
    checks = {check.measure: check for check in findings.checks}
    wanting = [
        check.measure for check in checks_at(findings, moment) if check.verdict not in ("good", "not measurable")
    ]
    usual = _NUMBERS.get(moment, ())
    found = []
    for name in dict.fromkeys((*wanting, *usual)):
        measure = findings.measures.get(name)
        if measure is None or measure.value is None or name == stated:
            continue
        check = checks.get(name)
        rank = _ORDER.index(check.verdict) if check else len(_ORDER)
        label = [measure.label, _length_beside(measure, _height(findings), units)]
        callout = Callout(
            ", ".join(part for part in label if part),
            value_words(measure, units, brief=True),
            verdict_words(findings, check, units),
            check.verdict if check else None,
            _PLACES.get(name, ()),
        )
        found.append((rank, callout))
    return [callout for _, callout in sorted(found, key=lambda pair: pair[0])][:most]


def brief(
    comparison: Comparison, findings: Findings, moment: str, frame: int, units: Units
) -> tuple[str, Verdict | None]:
    """A moment's finding in few words with its verdict; where it has none, the joint furthest off.

    Shares of height are said as the lengths they are, which takes half the room.
    """
    said = headline(findings, moment, units)
    if said.verdict is not None and said.measure:
        measure = findings.measures[said.measure]
        name = _SHORT.get(said.measure, measure.label)
        value = value_words(_as_length(findings, measure), units, brief=True)
        if said.measure in _SIGNED and isinstance(measure.value, float):
            value = scale_of(measure.unit, units).quantity(measure.value, measure.sd)
        return f"{name}: {value}", said.verdict
    far = worst_joints(comparison, frame, 1)
    if not far:
        return "", None
    distance = float(comparison.distances[frame, far[0]])
    if distance < LEAST_TOLD_M:
        return f"Within {format_length(LEAST_TOLD_M, units=units)} of the reference", None
    return f"{joint_words(POINTS[far[0]])} {format_length(distance, units=units)} from the reference", None


def furthest(comparison: Comparison) -> list[Callout]:
    """The joint that is furthest from the reference's at plant; none where all are near, or nothing was compared."""
    if not comparison.differences or comparison.differences[0].distance_m < LEAST_TOLD_M:
        return []
    greatest = comparison.differences[0]
    words, _, share = greatest.words.partition(" (")
    words = words[:1].upper() + words[1:]
    return [Callout("Furthest from the reference", words, share.removesuffix(")"), None, (greatest.joint,))]


def furthest_at(comparison: Comparison, frame: int, units: Units, most: int = 3) -> list[Callout]:
    """The joints that are furthest from the reference's in a frame, the furthest first, neighbours named once."""
    found = []
    for place in worst_joints(comparison, frame, most):
        distance = float(comparison.distances[frame, place])
        if distance < LEAST_TOLD_M:
            break
        share = f"{100.0 * distance / comparison.swing.height_m:.1f} % of height"
        value = f"{format_length(distance, units=units)} from the reference"
        found.append(Callout(joint_words(POINTS[place]), value, share, None, (POINTS[place],)))
    return found


def worst_joints(comparison: Comparison, frame: int, most: int) -> list[int]:
    """Columns of the body's joints that are furthest from the reference's, the furthest first.

    Of joints that hang together only the one that is further counts, so that one bent arm is not named three times.
    """
    distances = comparison.distances[frame]
    chosen: list[int] = []
    for place in np.argsort(-np.nan_to_num(distances, nan=-1.0), kind="stable"):
        name = POINTS[place]
        if len(chosen) == most or not distances[place] > 0.0:
            break
        if name in _JOINTS and not any(_beside(name, POINTS[other]) for other in chosen):
            chosen.append(int(place))
    return chosen


def joint_words(name: str) -> str:
    """A joint as a coach says it: ``"Back elbow"``."""
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]


def who(findings: Findings, units: Units) -> str:
    """The hitter in one line."""
    return ", ".join(part for part in (findings.hitter.name or "Hitter", build(findings, units)) if part)


def build(findings: Findings, units: Units) -> str:
    """The hitter without a name: height, and the side he bats from."""
    hitter, parts = findings.hitter, []
    if hitter.height_m is not None:
        parts.append(format_height(hitter.height_m, units=units))
    if hitter.bats is not None:
        parts.append(f"bats {hitter.bats}")
    return ", ".join(parts)


def since_plant(swing: Swing, frame: int, *, brief: bool = False) -> str:
    """When a frame was, counted from foot-plant; from the first frame where that was not found."""
    plant = swing.index("plant")
    if plant is None:
        return f"{frame / swing.rate_hz:.2f} s"
    if brief:
        return f"{(frame - plant) / swing.rate_hz:+.2f} s" if frame != plant else "0.00 s"
    if frame == plant:
        return "at foot-plant"
    return f"{abs(frame - plant) / swing.rate_hz:.2f} s {'after' if frame > plant else 'before'} foot-plant"


def _height(findings: Findings) -> float:
    return findings.hitter.height_m or 1.0


def _check(findings: Findings, measure: str) -> Check | None:
    return next((check for check in findings.checks if check.measure == measure), None)


def verdict_words(findings: Findings, check: Check | None, units: Units) -> str:
    """The verdict and what would be good; nothing without a check."""
    if check is None:
        return ""
    good = check.limits.partition(";")[0].removeprefix("good ").strip()
    measure = findings.measures[check.measure]
    if wording(measure.name, measure.label).directed and len(check.good) == 2:
        low, high = check.good
        if isinstance(low, float) and isinstance(high, float):
            good = Speaker(measure, None, units).band(low, high)  # a direction in words, where limits have a sign
    if not good:
        return check.verdict
    return f"good: {good}" if check.verdict == "good" else f"{check.verdict}; good: {good}"


def _length_beside(measure: Measure, height_m: float, units: Units) -> str:
    """A share of height once more as a length, without a sign where the number's words say its direction."""
    if measure.unit != "height" or not isinstance(measure.value, float):
        return ""
    directed = wording(measure.name, measure.label).directed
    return format_length((abs(measure.value) if directed else measure.value) * height_m, units=units)


def _as_length(findings: Findings, measure: Measure) -> Measure:
    """A share of height as a length, where the height is known."""
    height = findings.hitter.height_m
    if measure.unit != "height" or not isinstance(measure.value, float) or height is None:
        return measure
    sd = None if measure.sd is None else measure.sd * height
    return replace(measure, value=measure.value * height, sd=sd, unit="m")


def _beside(one: str, other: str) -> bool:
    """Whether two joints are neighbours of one limb, or the same joint of both hands, which hold one bat."""
    (side, _, joint), (other_side, _, other_joint) = one.partition("_"), other.partition("_")
    if joint == other_joint == "hand":
        return True
    chain = next((chain for chain in _CHAINS if joint in chain and other_joint in chain), None)
    return chain is not None and side == other_side and abs(chain.index(joint) - chain.index(other_joint)) <= 1
