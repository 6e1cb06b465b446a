"""What a recording holds, how good it is, and whether a swing can be measured from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mocap.capture import UNLOADED_N, Capture, ForcePlate
from mocap.errors import MocapError
from mocap.kinematics.body_report import BodyReport, body_report
from mocap.kinematics.build import build_swing
from mocap.kinematics.cleaning import CLUSTER, MISSING, SPLINE, Cleaned, clean
from mocap.kinematics.gaps import LONGEST_GAP_S, find_gaps
from mocap.kinematics.joint_centres import body_from
from mocap.kinematics.marker_sets import BODY_SETS, MarkerSet, identify, marker_set, recognise
from mocap.kinematics.own_marker_set import own_marker_set
from mocap.kinematics.point_quality import Jump, PointQuality, Swap, point_qualities
from mocap.kinematics.skeleton import fit_skeleton
from mocap.kinematics.subject import stated_size
from mocap.swing import BodyModel, Hitter, Setup, Swing

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
class PointRepairs:
    """How many of a point's samples were not measured.

    Attributes
    ----------
    label : str
    taken_out : int
        Recorded, but taken out as spikes or repeats.
    by_spline : int
        Filled by a spline.
    from_neighbours : int
        Filled from neighbouring points.
    left_missing : int
    longest_left : int
        Longest gap that is left. [frames]
    """

    label: str
    taken_out: int
    by_spline: int
    from_neighbours: int
    left_missing: int
    longest_left: int


@dataclass(frozen=True)
class Concern:
    """Something worth a look that cleaning does not repair.

    Attributes
    ----------
    kind : {"sides", "swap", "never_seen", "never_moves", "jumps", "gap", "body", "plate", "rate"}
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
        As recorded.
    swaps : tuple of Swap
        As recorded.
    measured_from : frozenset of str
        Labels of the points that a swing is measured from; all where none is known.
    repairs : tuple of PointRepairs
        What cleaning made of each point; those that no swing is measured from are left alone, where any other is known.
    cleaning : tuple of str
        What cleaning repaired, filled and left, one line each.
    body : BodyReport or None
        How well a skeleton fits; None where no body can be built.
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
    measured_from: frozenset[str]
    repairs: tuple[PointRepairs, ...]
    cleaning: tuple[str, ...]
    body: BodyReport | None
    plates: tuple[PlateQuality, ...]
    concerns: tuple[Concern, ...]
    marker_set: str
    bat: bool
    verdict: str
    measurable: bool
    limits: tuple[str, ...]


def inspect(
    capture: Capture, hitter: Hitter | None = None, setup: Setup | None = None, calibration: Capture | None = None
) -> Inspection:
    """Look a recording over.

    Parameters
    ----------
    capture : Capture
    hitter : Hitter, optional
    setup : Setup, optional
    calibration : Capture, optional
        See `fit_skeleton`.

    Returns
    -------
    Inspection
    """
    on_bat = marker_set("bat").find(capture)
    bat = "bat_barrel" in on_bat and len(on_bat) > 1
    model = setup.model if setup else BodyModel()
    own = own_marker_set(model.marker_set) if model.marker_set else None
    try:
        used = identify(capture, own)[0]
    except MocapError:
        used = None
    qualities, swaps = point_qualities(capture)
    plates = tuple(_plate(plate) for plate in capture.plates)
    names = _measured_from(capture, own) or set(capture.labels)
    cleaned = clean(capture, labels=names)
    repairs = _repairs(capture, cleaned)
    body = _body(capture, hitter or Hitter(), model, calibration, cleaned.notes)
    concerns = (
        *(Concern("sides", (), line) for line in _sides(capture, model)),
        *(_swap_concern(swap, capture) for swap in cleaned.swaps_left),
        *_point_concerns([quality for quality in qualities if quality.label in names]),
        *_jump_concerns(cleaned.jumps_left, capture),
        *_gap_concern([repair for repair in repairs if repair.label in names], capture),
        *(Concern("body", (), line) for line in (body.doubts if body else ())),
        *_other_concerns(capture, plates),
    )
    measurable, verdict, limits = _verdict(capture, hitter, setup, calibration, bat, concerns)
    return Inspection(
        capture=capture,
        points=qualities,
        swaps=swaps,
        measured_from=frozenset(names),
        repairs=repairs,
        cleaning=cleaned.notes,
        body=body,
        plates=plates,
        concerns=concerns,
        marker_set=used.name if used else "",
        bat=bat,
        verdict=verdict,
        measurable=measurable,
        limits=limits,
    )


def _body(
    capture: Capture, hitter: Hitter, model: BodyModel, calibration: Capture | None, cleaning: tuple[str, ...]
) -> BodyReport | None:
    """Figures of the skeleton; nothing where no body can be built, which the verdict tells."""
    try:
        skeleton = fit_skeleton(capture, model, calibration)
        stated = hitter.height_m if hitter.height_m is not None else stated_size(capture)[0]
        return body_report(skeleton, replace(hitter, height_m=stated), cleaning)
    except MocapError:
        return None


def _repairs(capture: Capture, cleaned: Cleaned) -> tuple[PointRepairs, ...]:
    """What cleaning made of each point, in the order of the labels."""
    longest = np.zeros(len(capture.labels), dtype=np.intp)
    column, start, stop = find_gaps(cleaned.origin != MISSING).T
    np.maximum.at(longest, column, stop - start)
    counts = [(cleaned.origin == kind).sum(axis=0) for kind in (SPLINE, CLUSTER, MISSING)]
    every = np.stack([cleaned.taken_out.sum(axis=0), *counts, longest], axis=1).tolist()
    return tuple(PointRepairs(label, *numbers) for label, numbers in zip(capture.labels, every, strict=True))


def _measured_from(capture: Capture, own: MarkerSet | None) -> set[str]:
    """Labels of the points that a swing is measured from; where no body is recognised, of all that any set knows."""
    bat = marker_set("bat").known_labels(capture)
    try:
        return recognise(capture, own)[0].known_labels(capture) | bat
    except MocapError:
        return bat.union(*(marker_set(name).known_labels(capture) for name in BODY_SETS))


def _sides(capture: Capture, model: BodyModel) -> tuple[str, ...]:
    """What contradicts the left and right labels; nothing where no body is recognised."""
    try:
        return body_from(capture, model).sides
    except MocapError:
        return ()


def _swap_concern(swap: Swap, capture: Capture) -> Concern:
    until = "" if swap.last_frame == capture.n_frames - 1 else f" to {swap.last_frame}"
    where = f"from frame {swap.frame}{until} ({swap.frame / capture.rate_hz:.2f} s)"
    return Concern("swap", swap.labels, f"{swap.labels[0]} and {swap.labels[1]} seem to be exchanged {where}")


def _point_concerns(points: Sequence[PointQuality]) -> Iterator[Concern]:
    """Points that are of no use."""
    unseen = [point.label for point in points if point.missing_share == 1.0]
    if unseen:
        yield Concern("never_seen", tuple(unseen), f"never seen: {_listed(unseen)}")
    for point in points:
        if point.never_moves:
            yield Concern("never_moves", (point.label,), f"{point.label} stays at one place while the body moves")


def _jump_concerns(jumps_left: Mapping[str, Sequence[Jump]], capture: Capture) -> Iterator[Concern]:
    """Points that jump, the worst first."""
    for label, jumps in sorted(jumps_left.items(), key=lambda item: -max(jump.off_m for jump in item[1])):
        yield Concern("jumps", (label,), f"{label} {_jumps_in_words(jumps, capture)}")


def _gap_concern(repairs: Sequence[PointRepairs], capture: Capture) -> Iterator[Concern]:
    """Points that are lost for long, and not filled."""
    least = LONGEST_GAP_S * capture.rate_hz
    lost = [r for r in repairs if r.longest_left > least and r.left_missing < capture.n_frames]
    if lost:
        lost.sort(key=lambda repair: -repair.longest_left)
        longest = f"{lost[0].longest_left} frames ({lost[0].longest_left / capture.rate_hz:.2f} s)"
        labels = tuple(repair.label for repair in lost)
        yield Concern("gap", labels, f"lost for up to {longest} and not filled: {_listed(labels)}")


def _jumps_in_words(jumps: Sequence[Jump], capture: Capture) -> str:
    worst = max(jumps, key=lambda jump: jump.off_m)
    times = f"{len(jumps)} times, the worst " if len(jumps) > 1 else ""
    place = f"{100 * worst.off_m:.1f} cm at frame {worst.frame} ({worst.frame / capture.rate_hz:.2f} s)"
    stays = " and stays there" if len(jumps) == 1 and worst.kind == "step" else ""
    return f"jumps {times}{place}{stays}"


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
    capture: Capture,
    hitter: Hitter | None,
    setup: Setup | None,
    calibration: Capture | None,
    bat: bool,
    concerns: Sequence[Concern],
) -> tuple[bool, str, tuple[str, ...]]:
    """Whether a swing can be measured, in one line, and the limits of it."""
    try:
        swing = build_swing(capture, hitter, setup, calibration)
    except MocapError as error:
        reason = str(error).removeprefix(f"{capture.source}: ")
        return False, f"no swing can be measured from it: {reason}", ()
    limits = tuple(_limits(swing, bat, concerns))
    extent = "body and bat" if bat else "body only; every measure of the bat is left out"
    verdict = f"a swing can be measured from it ({extent}; bats {swing.hitter.bats})"
    return True, verdict + (f", with limits: {'; '.join(limits)}" if limits else ""), limits


def _limits(swing: Swing, bat: bool, concerns: Sequence[Concern]) -> Iterator[str]:
    """What a measurement will lack, and which points to mend by hand first."""
    lacking = [name for name, moment in swing.moments.items() if moment.index is None]
    if lacking:
        known_to_be_bat = "" if bat or "contact" not in lacking else " (contact needs the bat or a hand-set frame)"
        yield f"{', '.join(lacking)} not found{known_to_be_bat}"
    faulty = {
        label: None
        for concern in concerns
        if concern.kind in ("swap", "never_moves", "jumps")
        for label in concern.labels
    }
    if faulty:
        yield f"{_listed(list(faulty))} to be mended first"
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
