"""What a picture says: one finding as its headline, a few numbers around it, each with its verdict in words."""

from __future__ import annotations

from dataclasses import dataclass

from mocap.comparison import Comparison
from mocap.display import Units, format_height, format_length, format_measure
from mocap.findings import Check, Findings, Measure, Verdict
from mocap.swing import Swing

#: What each moment's headline is about: the first of these measures that is known.
_HEADLINES: dict[str, tuple[tuple[str, str], ...]] = {
    "plant": (
        ("back_share", "{value} of the weight on the back foot"),
        ("pose_distance", "{value} from the reference, joint by joint"),
    ),
    "contact": (
        ("axis_drift", "The axis drifted {value} by contact"),
        ("axis_tilt", "The axis leans {value} at contact"),
    ),
    "extension": (("hitting_zone", "The barrel stays {value} in the hitting zone"),),
}

#: Which numbers stand around a moment's picture, and between which points each is anchored: those of
#: `mocap.swing.POINTS`, `mid_hands`, and `zone_end`, where the barrel leaves the hitting zone.
_CALLOUTS: dict[str, dict[str, tuple[str, ...]]] = {
    "plant": {
        "separation_length": ("front_ankle", "mid_hands"),
        "front_knee_flexion": ("front_knee",),
        "hip_shoulder_separation": ("front_shoulder",),
        "foot_open": ("front_ball",),
        "knob_aim": ("bat_knob",),
        "pose_distance": (),
    },
    "contact": {
        "axis_tilt": ("head",),
        "front_knee_extension": ("front_knee",),
        "bat_speed": ("bat_barrel",),
        "attack_angle": ("bat_barrel",),
        "hitting_zone": ("zone_end",),
        "hand_speed": ("mid_hands",),
    },
}

MOST_CALLOUTS = 5


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
    """The finding that belongs to a moment, no words where nothing is known."""
    for name, sentence in _HEADLINES.get(moment, ()):
        measure = findings.measures.get(name)
        if measure is not None and measure.value is not None:
            check = _check(findings, name)
            words = sentence.format(value=format_measure(measure, _height(findings), units))
            return Headline(words, _verdict_words(check), check.verdict if check else None, name)
    return Headline("", "", None, "")


def callouts(findings: Findings, moment: str, units: Units, stated: str = "") -> list[Callout]:
    """The numbers around a moment's picture, the headline's own (`stated`) left out."""
    found = []
    for name, anchor in _CALLOUTS.get(moment, {}).items():
        measure = findings.measures.get(name)
        if measure is None or measure.value is None or name == stated:
            continue
        check = _check(findings, name)
        label = [measure.label, _length_beside(measure, _height(findings), units)]
        found.append(
            Callout(
                ", ".join(part for part in label if part),
                format_measure(measure, _height(findings), units, brief=True),
                _verdict_words(check),
                check.verdict if check else None,
                anchor,
            )
        )
    return found[:MOST_CALLOUTS]


def furthest(comparison: Comparison) -> list[Callout]:
    """The joint that is furthest from the reference's; none where nothing was compared."""
    if not comparison.differences:
        return []
    greatest = comparison.differences[0]
    words, _, share = greatest.words.partition(" (")
    words = words[:1].upper() + words[1:]
    return [Callout("Furthest from the reference", words, share.removesuffix(")"), None, (greatest.joint,))]


def who(findings: Findings, units: Units) -> str:
    """The hitter in one line."""
    hitter = findings.hitter
    parts = [hitter.name or "Hitter"]
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


def _verdict_words(check: Check | None) -> str:
    if check is None:
        return ""
    good = check.limits.partition(";")[0].removeprefix("good ").strip()
    if not good:
        return check.verdict
    return f"good: {good}" if check.verdict == "good" else f"{check.verdict}; good: {good}"


def _length_beside(measure: Measure, height_m: float, units: Units) -> str:
    """A share of height once more as a length."""
    if measure.unit != "height" or not isinstance(measure.value, float):
        return ""
    return format_length(measure.value * height_m, units=units)
