"""What goes wrong in a recording: points lost, labels exchanged, samples astray."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import OptionError

#: Gaps: how often a point is lost, how long as a median and its spread as a factor, and at most. Most gaps in labs are
#: of a few frames, few of a third of a second. [1/s], [s], [-], [s] This project's default.
GAPS_PER_S, GAP_S, GAP_SPREAD, LONGEST_GAP_S = 0.06, 0.035, 2.2, 0.40
#: Labels change places for about so long, between points no farther apart than this. [s], [m] This project's default.
SWAP_S, SWAP_SPREAD, NEAREST_SWAP_M, FARTHEST_SWAP_M = 0.15, 1.6, 0.03, 0.30
#: A spike is so far off its course, for one to three frames. [m] This project's default.
SPIKE_M, LONGEST_SPIKE = (0.04, 0.25), 3
#: Frames of a recording that is spoilt at random, at least.
SHORTEST = 16


@dataclass(frozen=True)
class Gap:
    """A point that the cameras lost: frames counted from 0, the last one included."""

    label: str
    first: int
    last: int


@dataclass(frozen=True)
class Swap:
    """Two labels that carry each other's point: frames counted from 0, the last one included."""

    labels: tuple[str, str]
    first: int
    last: int


@dataclass(frozen=True)
class Spike:
    """Samples of a point that lie off its course by `offset_m`: frames counted from 0, the last one included."""

    label: str
    first: int
    last: int
    offset_m: tuple[float, float, float]


@dataclass(frozen=True)
class Faults:
    """Everything that goes wrong in one recording."""

    gaps: tuple[Gap, ...] = field(default_factory=tuple)
    swaps: tuple[Swap, ...] = field(default_factory=tuple)
    spikes: tuple[Spike, ...] = field(default_factory=tuple)


def spoil(capture: Capture, faults: Faults) -> Capture:
    """A recording with faults in it; labels are exchanged first, points lost last.

    Raises
    ------
    OptionError
        A fault names a point or frames that the recording does not have.
    """
    points, residuals, cameras = capture.points.copy(), capture.residuals.copy(), capture.cameras.copy()
    for swap in faults.swaps:
        pair = [_column(capture, label, swap.first, swap.last) for label in swap.labels]
        span = slice(swap.first, swap.last + 1)
        for values in (points, residuals, cameras):
            values[span, pair] = values[span, pair[::-1]]
    for spike in faults.spikes:
        column = _column(capture, spike.label, spike.first, spike.last)
        points[spike.first : spike.last + 1, column] += np.array(spike.offset_m)
    for gap in faults.gaps:
        column = _column(capture, gap.label, gap.first, gap.last)
        span = slice(gap.first, gap.last + 1)
        points[span, column], residuals[span, column], cameras[span, column] = np.nan, np.nan, 0
    return replace(capture, points=points, residuals=residuals, cameras=cameras)


def random_faults(rng: np.random.Generator, capture: Capture, *, swaps: int = 1, spikes: int = 2) -> Faults:
    """Faults as they happen in labs, at random; no label has two of a kind, and no two kinds at once.

    Parameters
    ----------
    rng : numpy Generator
    capture : Capture
        Without faults: labels that are exchanged lie near each other then.
    swaps, spikes : int
        How many; fewer where no two points come near enough to each other, or no label is left.

    Returns
    -------
    Faults

    Raises
    ------
    OptionError
        The recording is too short to tell a fault in it.
    """
    if capture.n_frames < SHORTEST:
        raise OptionError(
            f"virtual recording: {capture.n_frames} frames are too few to spoil; record {SHORTEST} or more"
        )
    used: set[str] = set()
    exchanged = [swap for swap in (_random_swap(rng, capture, used) for _ in range(swaps)) if swap is not None]
    astray = []
    for label in rng.permutation([label for label in capture.labels if label not in used])[:spikes].tolist():
        count = int(rng.integers(1, LONGEST_SPIKE + 1))
        first = int(rng.integers(2, capture.n_frames - count - 2))
        direction = rng.normal(size=3)
        offset = rng.uniform(*SPIKE_M) * direction / np.linalg.norm(direction)
        x, y, z = (float(v) for v in offset)
        astray.append(Spike(label, first, first + count - 1, (x, y, z)))
        used.add(label)
    gaps = []
    for label in capture.labels:
        if label not in used and rng.random() < GAPS_PER_S * capture.duration_s:
            length = _random_length(rng, GAP_S, GAP_SPREAD, capture, LONGEST_GAP_S)
            first = int(rng.integers(0, max(capture.n_frames - length, 1)))
            gaps.append(Gap(label, first, first + length - 1))
    return Faults(tuple(gaps), tuple(exchanged), tuple(astray))


def _random_swap(rng: np.random.Generator, capture: Capture, used: set[str]) -> Swap | None:
    """An exchange of two labels that are near each other at a random frame; None where none are. Marks them used."""
    length = _random_length(rng, SWAP_S, SWAP_SPREAD, capture, capture.duration_s / 3)
    first = int(rng.integers(5, max(capture.n_frames - length - 5, 6)))
    near = _neighbours(capture.points[first], [label in used for label in capture.labels])
    if not len(near):
        return None
    one, other = near[int(rng.integers(len(near)))]
    labels = (capture.labels[one], capture.labels[other])
    used.update(labels)
    return Swap(labels, first, min(first + length - 1, capture.n_frames - 1))


def _neighbours(points: FloatArray, barred: Collection[bool]) -> np.ndarray:
    """Pairs of columns that lie near enough to be taken for each other, shape (N, 2)."""
    apart = np.linalg.norm(points[:, None] - points, axis=2)
    free = ~np.array(barred)
    near = (apart > NEAREST_SWAP_M) & (apart < FARTHEST_SWAP_M) & free & free[:, None]
    return np.argwhere(np.triu(near, 1))


def _random_length(rng: np.random.Generator, median_s: float, spread: float, capture: Capture, most_s: float) -> int:
    """A log-normal number of frames, at least one."""
    seconds = median_s * float(np.exp(rng.normal() * np.log(spread)))
    return max(1, round(min(seconds, most_s) * capture.rate_hz))


def _column(capture: Capture, label: str, first: int, last: int) -> int:
    if label not in capture.labels:
        raise OptionError(f"virtual recording: no point {label!r} to spoil; it has {', '.join(capture.labels)}")
    if not 0 <= first <= last < capture.n_frames:
        raise OptionError(
            f"virtual recording: frames {first} to {last} of {label} are not among 0 to {capture.n_frames - 1}"
        )
    return capture.labels.index(label)
