"""What a recording holds, how good it is, and whether a swing can be measured from it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from mocap.capture import UNLOADED_N, Capture, ForcePlate
from mocap.errors import MocapError
from mocap.kinematics.build import build_swing
from mocap.kinematics.filtering import LONGEST_GAP_S
from mocap.kinematics.joint_centres import body_from
from mocap.kinematics.marker_sets import fold, identify, marker_set
from mocap.kinematics.point_quality import Jump, PointQuality, Swap, point_qualities
from mocap.kinematics.side_labels import doubtful_sides
from mocap.swing import Hitter, Setup, Swing

#: Labels of these marker sets are points that a swing is measured from.
KNOWN_SETS = ("conventional_gait", "joint_centres", "bat")
#: A plate unloaded for less than this share of the time shows no zero. This project's default.
SHOWS_ZERO = 0.02
#: Below this rate a frame is longer than foot-plant is usually known. [Hz] This project's default.
SLOW_HZ = 100.0


@dataclass(frozen=True)
class PlateQuality:
    """What one force plate felt.

    Attributes
    ----------
    plate_type : int
    size_m : tuple of 2 floats
        Length of its two edges. [m]
    peak_n : float
        Greatest force across its surface. [N]
    unloaded_share : float
        Share of samples below `UNLOADED_N`.
    rate_hz : float
        [Hz]
    """

    plate_type: int
    size_m: tuple[float, float]
    peak_n: float
    unloaded_share: float
    rate_hz: float


@dataclass(frozen=True)
class Concern:
    """Something worth a look.

    Attributes
    ----------
    kind : {"sides", "swap", "never_seen", "never_moves", "held", "jumps", "gap", "plate", "rate"}
    labels : tuple of str
        Points it is about; empty where it is about something else.
    text : str
        One line.
    """

    kind: str
    labels: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Inspection:
    """What a recording holds.

    Attributes
    ----------
    capture : Capture
    points : tuple of PointQuality
    swaps : tuple of Swap
    plates : tuple of PlateQuality
    concerns : tuple of Concern
        What is worth a look, worst first; of the points only those that a swing is measured from, where any is known.
    marker_set : str
        Empty where no known set is complete.
    bat : bool
        Whether the bat's points are there.
    verdict : str
        One line.
    measurable : bool
        Whether a swing can be measured from it.
    limits : tuple of str
        What a measurement from it will lack or must be taken with care.
    """

    capture: Capture
    points: tuple[PointQuality, ...]
    swaps: tuple[Swap, ...]
    plates: tuple[PlateQuality, ...]
    concerns: tuple[Concern, ...]
    marker_set: str
    bat: bool
    verdict: str
    measurable: bool
    limits: tuple[str, ...]


def inspect(capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None) -> Inspection:
    """Look a recording over.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
    setup : Setup, optional

    Returns
    -------
    Inspection
    """
    on_bat = marker_set("bat").find(capture)
    bat = "bat_barrel" in on_bat and len(on_bat) > 1
    try:
        used = identify(capture)[0]
    except MocapError:
        used = None
    qualities, swaps = point_qualities(capture)
    plates = tuple(_plate(plate) for plate in capture.plates)
    known = [q for q in qualities if any(fold(q.label) in marker_set(name).aliases for name in KNOWN_SETS)]
    counted = known or qualities
    names = {quality.label for quality in counted}
    concerns = (
        *(Concern("sides", (), line) for line in _sides(capture)),
        *(_swap_concern(swap, capture) for swap in swaps if set(swap.labels) <= names),
        *_point_concerns(counted, capture),
        *_other_concerns(capture, plates),
    )
    measurable, verdict, limits = _verdict(capture, hitter, setup, bat, concerns)
    return Inspection(
        capture, qualities, swaps, plates, concerns, used.name if used else "", bat, verdict, measurable, limits
    )


def _sides(capture: Capture) -> list[str]:
    """What contradicts the left and right labels; nothing where no body is recognised."""
    try:
        return doubtful_sides(identify(capture)[1], body_from(capture).up)
    except MocapError:
        return []


def _swap_concern(swap: Swap, capture: Capture) -> Concern:
    until = "" if swap.last_frame == capture.n_frames - 1 else f" to {swap.last_frame}"
    where = f"from frame {swap.frame}{until} ({swap.frame / capture.rate_hz:.2f} s)"
    return Concern("swap", swap.labels, f"{swap.labels[0]} and {swap.labels[1]} seem to be exchanged {where}")


def _point_concerns(points: Sequence[PointQuality], capture: Capture) -> Iterator[Concern]:
    """What is wrong with single points, by kind, the worst first."""
    unseen = [point.label for point in points if point.missing_share == 1.0]
    if unseen:
        yield Concern("never_seen", tuple(unseen), f"never seen: {_listed(unseen)}")
    for point in points:
        if point.never_moves:
            yield Concern("never_moves", (point.label,), f"{point.label} stays at one place while the body moves")
    for point in points:
        if point.held:
            first, last = max(point.held, key=lambda span: span[1] - span[0])
            more = f", and {len(point.held) - 1} more times" if len(point.held) > 1 else ""
            yield Concern(
                "held",
                (point.label,),
                f"{point.label} repeats its last place in frames {first} to {last}{more}: filled, not measured",
            )
    for point in sorted(points, key=lambda p: -max((jump.off_m for jump in p.jumps), default=0.0)):
        if point.jumps:
            yield Concern("jumps", (point.label,), f"{point.label}: {_jumps_in_words(point.jumps, capture)}")
    lost = [p for p in points if p.longest_gap_s > LONGEST_GAP_S and p.missing_share < 1.0]
    if lost:
        lost.sort(key=lambda point: -point.longest_gap)
        longest = f"{lost[0].longest_gap} frames ({lost[0].longest_gap_s:.2f} s)"
        labels = tuple(point.label for point in lost)
        yield Concern(
            "gap",
            labels,
            f"lost for longer than the {LONGEST_GAP_S:.2f} s that are filled, up to {longest}: {_listed(labels)}",
        )


def _jumps_in_words(jumps: Sequence[Jump], capture: Capture) -> str:
    worst = max(jumps, key=lambda jump: jump.off_m)
    counts = [(sum(jump.kind == kind for jump in jumps), kind) for kind in ("spike", "step")]
    listed = " and ".join(f"{count} {kind}{'s' if count > 1 else ''}" for count, kind in counts if count)
    place = f"{100 * worst.off_m:.1f} cm off at frame {worst.frame} ({worst.frame / capture.rate_hz:.2f} s)"
    return f"{listed}, the worst {place}" if len(jumps) > 1 else f"{listed}, {place}"


def _other_concerns(capture: Capture, plates: Sequence[PlateQuality]) -> Iterator[Concern]:
    for number, plate in enumerate(plates, start=1):
        if plate.unloaded_share == 1.0:
            yield Concern("plate", (), f"force plate {number} is never loaded")
        elif plate.unloaded_share < SHOWS_ZERO:
            yield Concern("plate", (), f"force plate {number} is never unloaded, so its zero cannot be seen")
    if capture.rate_hz < SLOW_HZ:
        yield Concern(
            "rate", (), f"{capture.rate_hz:g} Hz is slow: a moment may lie {500 / capture.rate_hz:.0f} ms off its frame"
        )


def _verdict(
    capture: Capture, hitter: Hitter | None, setup: Setup | None, bat: bool, concerns: Sequence[Concern]
) -> tuple[bool, str, tuple[str, ...]]:
    """Whether a swing can be measured, in one line, and the limits of it."""
    try:
        swing = build_swing(capture, hitter, setup)
    except MocapError as error:
        reason = str(error).removeprefix(f"{capture.source}: ")
        return False, f"no swing can be measured from it: {reason}", ()
    sides = [concern.text for concern in concerns if concern.kind == "sides"]
    if sides:
        return False, f"no swing can be measured from it before its labels are corrected: {sides[0]}", ()
    limits = tuple(_limits(swing, bat, concerns))
    extent = "body and bat" if bat else "body only; every measure of the bat is left out"
    verdict = f"a swing can be measured from it ({extent}; bats {swing.hitter.bats})"
    return True, verdict + (f", with limits: {'; '.join(limits)}" if limits else ""), limits


def _limits(swing: Swing, bat: bool, concerns: Sequence[Concern]) -> Iterator[str]:
    """What a measurement will lack, and which points to clean first."""
    lacking = [name for name, moment in swing.moments.items() if moment.index is None]
    if lacking:
        known_to_be_bat = "" if bat or "contact" not in lacking else " (contact needs the bat or a hand-set frame)"
        yield f"{', '.join(lacking)} not found{known_to_be_bat}"
    faulty = {
        label: None
        for concern in concerns
        if concern.kind in ("swap", "never_moves", "held", "jumps")
        for label in concern.labels
    }
    if faulty:
        yield f"{_listed(list(faulty))} to be cleaned first"
    gone = [label for concern in concerns if concern.kind in ("gap", "never_seen") for label in concern.labels]
    if gone:
        yield f"{_listed(gone)} not seen all the time"


def _listed(labels: Sequence[str]) -> str:
    return ", ".join(labels[:4]) + (f" and {len(labels) - 4} more points" if len(labels) > 4 else "")


def _plate(plate: ForcePlate) -> PlateQuality:
    edges = np.diff(plate.corners[[0, 1, 2]], axis=0)
    normal = np.cross(edges[0], edges[1])
    across = plate.force @ normal / np.linalg.norm(normal) if normal.any() else np.linalg.norm(plate.force, axis=1)
    load = np.abs(across[np.isfinite(across)])
    sizes = np.linalg.norm(edges, axis=1)
    return PlateQuality(
        plate_type=plate.plate_type,
        size_m=(float(sizes[0]), float(sizes[1])),
        peak_n=float(load.max()) if len(load) else 0.0,
        unloaded_share=float((load < UNLOADED_N).mean()) if len(load) else 1.0,
        rate_hz=plate.rate_hz,
    )
