"""From points as recorded to points that can be measured from: spikes out, labels exchanged back, gaps filled.

Nothing is changed silently: every filled sample is marked, and each kind of repair is named in one line with its labels
and frames, counted from 0.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.kinematics.gaps import ClusterFill, fill_from_clusters, fill_gaps, find_gaps
from mocap.kinematics.point_quality import Faults, Jump, Swap, find_faults

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

#: Where a sample comes from: the recording, a spline over a short gap, the neighbouring points, or nowhere (NaN).
RECORDED, SPLINE, CLUSTER, MISSING = 0, 1, 2, 3
#: Labels are exchanged back only if the paths then miss their courses by less than this share of what they miss as
#: labelled. Of labels exchanged on purpose 99 in 100 stay below 0.01 in a gait recording, below 0.08 and 0.2 in posed
#: swings with 1 mm and 4 mm of noise.
STRONG_SHARE = 0.2
#: The distances to so many points, those that vary least, tell which of two labels a point carries.
NEIGHBOURS = 3
#: So many places are named in one line; the others are counted.
NAMED = 4


@dataclass(frozen=True)
class Cleaned:
    """The points of a recording, repaired and filled, not low-passed.

    Attributes
    ----------
    points : ndarray, shape (F, P, 3)
        Lab frame; NaN where missing. [m]
    origin : ndarray of uint8, shape (F, P)
        Where each sample comes from: `RECORDED`, `SPLINE`, `CLUSTER` or `MISSING`.
    taken_out : ndarray of bool, shape (F, P)
        Samples that were recorded but taken out as spikes or repeats.
    jumps_left : mapping of str to tuple of Jump
        What still jumps, by label: a path that stays at its new place is left as recorded.
    swaps_left : tuple of Swap
        Labels that still seem to be exchanged.
    notes : tuple of str
        What was repaired, filled and left, one line each.
    """

    points: FloatArray
    origin: npt.NDArray[np.uint8]
    taken_out: BoolArray
    jumps_left: Mapping[str, tuple[Jump, ...]]
    swaps_left: tuple[Swap, ...]
    notes: tuple[str, ...]


def clean(capture: Capture, *, labels: Collection[str] | None = None) -> Cleaned:
    """Take out spikes, exchange labels back, fill gaps.

    Parameters
    ----------
    capture : Capture
    labels : collection of str, optional
        Points to clean, and to be led by; the others come back as they are. All where not given.

    Returns
    -------
    Cleaned
        A recording without faults comes back bit for bit.

    Notes
    -----
    Spikes and repeated samples (`point_quality`) are taken out and filled like gaps. Labels that change places are
    exchanged back over the span; where they never change back, the shorter part of the recording is taken to be the
    wrong one. A path that jumps and stays at its new place is left as recorded. Gaps: `gaps`.
    """
    wanted = np.array([labels is None or label in labels for label in capture.labels], dtype=bool)
    columns = np.flatnonzero(wanted)
    part = capture if wanted.all() else _columns(capture, columns)
    faults = find_faults(part)
    points, taken_out, notes = _repaired(part, faults)
    points, bridged = fill_gaps(points, part.rate_hz)
    points, fills = fill_from_clusters(points, part.rate_hz)
    origin = _seen_or_missing(points)
    origin[bridged] = SPLINE
    for fill in fills:
        origin[fill.start : fill.stop, fill.point] = CLUSTER
    left = find_faults(replace(part, points=points)) if faults.jumps or faults.swaps or faults.held else faults
    jumps_left = {part.labels[column]: jumps for column, jumps in left.jumps.items()}
    notes += [*_left_in_words(jumps_left, left.swaps), *_filled_in_words(part, origin, fills)]
    if len(columns) < len(wanted):
        every = capture.points.copy(), _seen_or_missing(capture.points), np.zeros(capture.points.shape[:2], dtype=bool)
        every[0][:, columns], every[1][:, columns], every[2][:, columns] = points, origin, taken_out
        points, origin, taken_out = every
    return Cleaned(points, origin, taken_out, MappingProxyType(jumps_left), left.swaps, tuple(notes))


def _seen_or_missing(points: FloatArray) -> npt.NDArray[np.uint8]:
    return np.where(np.isfinite(points).all(axis=2), RECORDED, MISSING).astype(np.uint8)


def _columns(capture: Capture, columns: IntArray) -> Capture:
    """The recording with some of its points only."""
    labels = tuple(capture.labels[column] for column in columns)
    return Capture(capture.source, labels, capture.points[:, columns], capture.rate_hz, capture.residuals[:, columns])


def _repaired(capture: Capture, faults: Faults) -> tuple[FloatArray, BoolArray, list[str]]:
    """Points without spikes and repeats, with labels exchanged back; which samples were taken out; and the notes."""
    points, taken_out = capture.points.copy(), np.zeros(capture.points.shape[:2], dtype=bool)
    spikes, repeats = [], []
    for column, jumps in faults.jumps.items():
        for jump in jumps:
            if jump.kind == "spike":
                taken_out[jump.frame : jump.last_frame + 1, column] = True
                spikes.append((jump.off_m, f"{capture.labels[column]} {_frames(jump.frame, jump.last_frame)}"))
    for column, spans in faults.held.items():
        for first, last in spans:
            taken_out[first : last + 1, column] = True
            repeats.append((last - first, f"{capture.labels[column]} {_frames(first, last)}"))
    points[taken_out] = np.nan
    notes = [f"spikes taken out and treated as gaps: {_listed(spikes)}"] if spikes else []
    notes += [f"repeated samples taken out and treated as gaps: {_listed(repeats)}"] if repeats else []
    for swap in faults.swaps:
        span, note = _span(swap, capture.n_frames)
        pair = [capture.labels.index(label) for label in swap.labels]
        entangled = any(_entangled(swap, other) for other in faults.swaps)
        if swap.crossed_share <= STRONG_SHARE and not entangled and _fits_exchanged(points, pair, span):
            for values in (points, taken_out):
                values[span, pair] = values[span, pair[::-1]]
            notes.append(note)
    return points, taken_out, notes


def _fits_exchanged(points: FloatArray, pair: list[int], span: slice) -> bool:
    """Whether two points, exchanged over a span, keep their distances to other points better than as labelled.

    Where one of the moments at which labels change places was not found, the span is a wrong one, and this tells.
    """
    inside = np.zeros(len(points), dtype=bool)
    inside[span] = True
    seen: BoolArray = np.asarray(np.isfinite(points).all(axis=2))
    both: BoolArray = np.asarray(seen[:, pair].all(axis=1))
    together = seen & both[:, None]
    others = np.flatnonzero(together[inside].any(axis=0) & together[~inside].any(axis=0))
    others = others[~np.isin(others, pair)]
    if not len(others):
        return True
    # Distance of each of the pair to each other point, shape (2, F, O), NaN where not all three are seen.
    apart = np.stack([np.linalg.norm(points[:, others] - points[:, one, None], axis=2) for one in pair])
    apart[:, ~both] = np.nan
    usual, now = np.nanmedian(apart[:, ~inside], axis=1), np.nanmedian(apart[:, inside], axis=1)
    firmest = np.argsort(np.nanstd(apart[:, ~inside], axis=1), axis=1, kind="stable")[:, :NEIGHBOURS]
    labelled, exchanged = (
        np.abs(np.take_along_axis(seen_now - usual, firmest, axis=1)).sum() for seen_now in (now, now[::-1])
    )
    return bool(exchanged <= labelled)


def _entangled(swap: Swap, other: Swap) -> bool:
    """Whether another pair shares one label with this one at the same time."""
    shared = len(set(swap.labels) & set(other.labels)) == 1
    return shared and swap.frame <= other.last_frame and other.frame <= swap.last_frame


def _span(swap: Swap, frames: int) -> tuple[slice, str]:
    """Over which frames two labels are to be exchanged back, and that in words."""
    names = " and ".join(swap.labels)
    if swap.last_frame < frames - 1:
        where = _frames(swap.frame, swap.last_frame)
        return slice(swap.frame, swap.last_frame + 1), f"{names} exchanged in {where}: exchanged back"
    for_good = f"{names} change places at frame {swap.frame} for good: exchanged"
    why = "(the longer part counts as labelled rightly)"
    if swap.frame >= frames / 2:
        return slice(swap.frame, None), f"{for_good} from there on {why}"
    return slice(0, swap.frame), f"{for_good} before it {why}"


def _left_in_words(jumps_left: Mapping[str, Sequence[Jump]], swaps: Sequence[Swap]) -> list[str]:
    """What still looks wrong, one line each."""
    places = [
        (jump.off_m, f"{label} by {100 * jump.off_m:.0f} cm at frame {jump.frame}")
        for label, jumps in jumps_left.items()
        for jump in jumps
    ]
    notes = [f"jumps left as recorded: {_listed(places)}"] if places else []
    return notes + [
        f"{' and '.join(swap.labels)} seem to be exchanged in {_frames(swap.frame, swap.last_frame)}: doubtful, left as"
        " recorded"
        for swap in swaps
    ]


def _filled_in_words(capture: Capture, origin: npt.NDArray[np.uint8], fills: Sequence[ClusterFill]) -> list[str]:
    """What was filled and what was left, one line each."""
    notes, labels = [], capture.labels
    bridged = _places(labels, find_gaps(origin != SPLINE))
    if bridged:
        count = int((origin == SPLINE).sum())
        notes.append(f"{count} samples filled by a spline: {_listed(bridged)}")
    if fills:
        led = [
            (
                fill.stop - fill.start,
                f"{labels[fill.point]} {_frames(fill.start, fill.stop - 1)} from"
                f" {', '.join(labels[donor] for donor in fill.donors)} (within {1000 * fill.error_m:.0f} mm)",
            )
            for fill in fills
        ]
        notes.append(f"{int((origin == CLUSTER).sum())} samples filled from neighbouring points: {_listed(led)}")
    unseen = (origin == MISSING).all(axis=0)
    left = find_gaps(origin != MISSING)
    lost = _places(labels, left[~unseen[left[:, 0]]])
    if lost:
        count = int((origin == MISSING)[:, ~unseen].sum())
        notes.append(f"{count} samples left missing: {_listed(lost)}")
    return notes


def _places(labels: Sequence[str], gaps: IntArray) -> list[tuple[float, str]]:
    """Each gap with its length, in words."""
    return [(stop - start, f"{labels[column]} {_frames(start, stop - 1)}") for column, start, stop in gaps.tolist()]


def _frames(first: int, last: int) -> str:
    return f"frame {first}" if first == last else f"frames {first} to {last}"


def _listed(places: Sequence[tuple[float, str]]) -> str:
    """The largest few of some places, each given with its size."""
    largest = sorted(places, key=lambda place: -place[0])
    more = f", and {len(places) - NAMED} more" if len(places) > NAMED else ""
    return ", ".join(text for _, text in largest[:NAMED]) + more
