"""Gaps in paths: short ones bridged by a smoothing spline, longer ones filled from a rigid cluster of neighbours.

Every limit below was found by hiding samples that had been recorded and comparing what was filled with them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.rigid import fit_rigid

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

#: Gaps up to this long are bridged by a spline. [s] Hidden samples of gait at 100 Hz come back within 0.3 to 1.0 mm
#: RMS after 0.10 s, those of a real swing's hands at 120 Hz within 5 mm. Of posed swings at 120 to 480 Hz with 1 mm of
#: noise, 95 % of the gaps of 0.10 s come back within 16 mm where the point is slower than `FAST`, but only within 39 mm
#: (hands) and 145 mm (barrel) in the turn, where 0.05 s come back within 12 and 16 mm.
LONGEST_GAP_S = 0.10
#: A point faster than this is bridged over `LONGEST_FAST_GAP_S` only. [m/s], [s]
FAST, LONGEST_FAST_GAP_S = 4.0, 0.05
#: The spline passes what is slower than this, and so averages over noise beside the gap; at most this share of the
#: rate. [Hz] With 1 mm of noise an interpolating cubic spline misses 0.10 s of a pelvis by 8, 13 and 24 mm RMS at 120,
#: 240 and 480 Hz, this one by 7, 5 and 4 mm.
SMOOTHING_HZ, SMOOTHING_SHARE = 25.0, 0.2
#: Knots are this far apart, or one sample if that is more. [s]
KNOTS_S = 1.0 / 120.0
#: Samples on either side of a gap that the spline is led by. [s]
BESIDE_S = 0.10
#: Time over which the speed beside a gap is taken. [s]
SPEED_OVER_S = 0.02

#: Gaps up to this long are filled from the neighbouring points. [s] Where an error below `LARGEST_ERROR_M` is expected,
#: hidden samples of five recordings of gait with different marker sets come back within 1 to 3 mm RMS (median gap) and
#: 5 to 9 mm (95 % of the gaps) after 0.15 s, 3 to 5 and 7 to 14 mm after 0.5 s, 3 to 7 and 10 to 15 mm after 1 s; at an
#: end of the recording 2 to 5 and 8 to 12 mm after 0.5 s, though in one up to 28 mm. Half a second is a stride and a
#: turn.
LONGEST_CLUSTER_GAP_S = 0.50
#: Largest error to be expected of a sample that is filled from its neighbours. [m] The skin moves as far over the bone.
LARGEST_ERROR_M = 0.015
#: So many of the points that keep their distance best lead a lost one; which number does so best is tried out.
DONORS = (3, 4, 5)
#: Their distances to the lost point vary by no more than this, one standard deviation. [m]
LOOSEST_M = 0.02
#: Frames this far from a gap still tell how rigid a cluster is. [s]
AROUND_S = 2.0
#: A cluster is tried out over about this many spans; fewer than the second number say nothing about it.
TRIALS, FEWEST_TRIALS = 64, 10


@dataclass(frozen=True)
class ClusterFill:
    """A gap that was filled from neighbouring points.

    Attributes
    ----------
    point : int
        Column of the lost point.
    start, stop : int
        Half-open span of frames.
    donors : tuple of int
        Columns of the points that led it.
    error_m : float
        Error to be expected in its middle (at its far end where the gap is at an end of the recording). [m]
    """

    point: int
    start: int
    stop: int
    donors: tuple[int, ...]
    error_m: float


def find_gaps(seen: BoolArray) -> IntArray:
    """Spans in which points were not seen.

    Parameters
    ----------
    seen : ndarray of bool, shape (F, P)

    Returns
    -------
    ndarray of int, shape (G, 3)
        Column, first frame, and the frame after the last one; sorted.
    """
    frames, points = seen.shape
    framed = np.ones((points, frames + 2), dtype=np.int8)
    framed[:, 1:-1] = seen.T
    edges = np.diff(framed, axis=1)
    column, start = np.nonzero(edges < 0)
    return np.stack([column, start, np.nonzero(edges > 0)[1]], axis=1)


def fill_gaps(paths: FloatArray, rate_hz: float) -> tuple[FloatArray, BoolArray]:
    """Bridge short gaps with a cubic spline that smooths the samples around them.

    Parameters
    ----------
    paths : ndarray, shape (F, P, 3)
        NaN where missing.
    rate_hz : float
        [Hz]

    Returns
    -------
    (filled, marked)
        `filled` as `paths`; `marked`, shape (F, P), is true for every sample that was filled. Recorded samples stay as
        they are. Gaps longer than `LONGEST_GAP_S`, of fast points longer than `LONGEST_FAST_GAP_S`, and gaps at either
        end stay NaN.

    Notes
    -----
    The spline s minimises sum_i (y_i - s(t_i))^2 / rate + w^-6 integral s'''^2 dt over the samples up to `BESIDE_S`
    from the gap; it lets through 1 / (1 + (2 pi f / w)^6) of a frequency f (Woltring 1986). Its basis is cubic
    B-splines on even knots, the penalty on their third differences (Eilers & Marx 1996), so that a parabola comes back
    exactly.

    References
    ----------
    Eilers PHC, Marx BD (1996) Statistical Science 11:89-121; Woltring HJ (1986) Adv Eng Software 8:104-113.
    """
    filled = paths.copy()
    seen: BoolArray = np.asarray(np.isfinite(paths).all(axis=2))
    marked = np.zeros_like(seen)
    gaps = find_gaps(seen)
    length = gaps[:, 2] - gaps[:, 1]
    inside = (gaps[:, 1] > 0) & (gaps[:, 2] < len(paths)) & (length <= round(LONGEST_GAP_S * rate_hz))
    gaps, length = gaps[inside], length[inside]
    slow = _speed_beside(paths, gaps, rate_hz) <= FAST
    bridged = slow | (length <= round(LONGEST_FAST_GAP_S * rate_hz))
    for count in np.unique(length[bridged]):
        _bridge(filled, marked, paths, gaps[bridged & (length == count)], rate_hz)
    return filled, marked


def _speed_beside(paths: FloatArray, gaps: IntArray, rate_hz: float) -> FloatArray:
    """Greatest of the mean speeds over each gap, just before and just after it, shape (G,). [m/s]"""
    point, start, stop = gaps.T
    beside = max(round(SPEED_OVER_S * rate_hz), 1)
    first, last = np.maximum(start - 1 - beside, 0), np.minimum(stop + beside, len(paths) - 1)
    speeds = []
    for one, other in ((start - 1, stop), (first, start - 1), (stop, last)):
        step = np.linalg.norm(paths[other, point] - paths[one, point], axis=1)
        speeds.append(step * rate_hz / np.maximum(other - one, 1))
    fastest: FloatArray = np.fmax.reduce(speeds)
    return fastest


def _bridge(filled: FloatArray, marked: BoolArray, paths: FloatArray, gaps: IntArray, rate_hz: float) -> None:
    """Fill gaps of one length, all at once, in place."""
    count = int(gaps[0, 2] - gaps[0, 1])
    beside = max(round(BESIDE_S * rate_hz), 6)
    offset = np.arange(-beside, count + beside)
    frame = gaps[:, 1, None] + offset
    known = (frame >= 0) & (frame < len(paths))
    around = paths[np.clip(frame, 0, len(paths) - 1), gaps[:, 0, None]]
    known &= np.isfinite(around).all(axis=2)
    led = known[:, :beside].any(axis=1) & known[:, -beside:].any(axis=1) & (known.sum(axis=1) >= 4)
    gaps, known, around = gaps[led], known[led], np.where(known[led, :, None], around[led], 0.0)
    basis, knots = _b_splines(len(offset), max(KNOTS_S * rate_hz, 1.0))
    third = np.diff(np.eye(basis.shape[1]), 3, axis=0)
    cutoff = 2.0 * np.pi * min(SMOOTHING_HZ, SMOOTHING_SHARE * rate_hz)
    smoothness = rate_hz * cutoff**-6 * (knots / rate_hz) ** -5 * third.T @ third
    normal = np.einsum("gf,fk,fl->gkl", known.astype(float), basis, basis, optimize=True) + smoothness
    # Coordinates from the middle of the gap: the sums stay small and the recorded digits are kept.
    middle = around.sum(axis=1, keepdims=True) / known.sum(axis=1)[:, None, None]
    moment = basis.T @ np.where(known[:, :, None], around - middle, 0.0)
    gap = slice(beside, beside + count)
    bridge = basis[gap] @ np.linalg.solve(normal, moment) + middle
    filled[gaps[:, 1, None] + np.arange(count), gaps[:, 0, None]] = bridge
    marked[gaps[:, 1, None] + np.arange(count), gaps[:, 0, None]] = True


def _b_splines(frames: int, knots: float) -> tuple[FloatArray, float]:
    """Uniform cubic B-splines at each frame, shape (F, K), and the frames between two knots."""
    along = np.arange(frames) / knots
    last = int(np.ceil(along[-1]))
    interval = np.minimum(along.astype(np.intp), last - 1)
    u = along - interval
    basis = np.zeros((frames, last + 3))
    for k, piece in enumerate(((1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3)):
        basis[np.arange(frames), interval + k] = piece / 6.0
    return basis, knots


def fill_from_clusters(paths: FloatArray, rate_hz: float) -> tuple[FloatArray, tuple[ClusterFill, ...]]:
    """Fill the gaps that are left from the rigid clusters of neighbouring points.

    Parameters
    ----------
    paths : ndarray, shape (F, P, 3)
        NaN where missing.
    rate_hz : float
        [Hz]

    Returns
    -------
    (filled, fills)
        `filled` as `paths`; recorded samples stay as they are. A gap stays NaN where it is longer than
        `LONGEST_CLUSTER_GAP_S`, or where no cluster is expected to find the point within `LARGEST_ERROR_M`.

    Notes
    -----
    The points that lead a lost one are those seen all through its gap whose distances to it vary least while it is
    seen. Their rigid motion (Soderkvist & Wedin 1993) makes a frame in which the lost point hardly moves; there it goes
    on a straight line from where it was last seen to where it is next seen, and at an end of the recording it stays, so
    that the path joins on without a step. What error to expect is tried out on spans as long as the gap in which
    the point was seen: 95 % of them err by less than the stated one.

    References
    ----------
    Soderkvist I, Wedin PA (1993) J Biomech 26:1473-1477.
    """
    filled = paths.copy()
    seen: BoolArray = np.asarray(np.isfinite(paths).all(axis=2))
    gaps = find_gaps(seen)
    ever: BoolArray = np.asarray(seen.any(axis=0))
    short = (gaps[:, 2] - gaps[:, 1] <= round(LONGEST_CLUSTER_GAP_S * rate_hz)) & ever[gaps[:, 0]]
    fills = []
    for point, start, stop in gaps[short].tolist():
        best = _best_cluster(paths, seen, (point, start, stop), rate_hz)
        if best is not None:
            fill, filled[start:stop, point] = best
            fills.append(fill)
    return filled, tuple(fills)


def _best_cluster(
    paths: FloatArray, seen: BoolArray, gap: tuple[int, int, int], rate_hz: float
) -> tuple[ClusterFill, FloatArray] | None:
    """The fill that is expected to err least, with its samples; None where none is good enough."""
    point, start, stop = gap
    around = round(AROUND_S * rate_hz)
    first = max(start - around, 0)
    near = slice(first, stop + around)
    path, gap_in_near = paths[near], slice(start - first, stop - first)
    best: tuple[ClusterFill, FloatArray] | None = None
    leading = _leading(path, seen[near], point, gap_in_near)
    for count in DONORS:
        donors = leading[:count]
        if len(donors) < count:
            break
        trial = _follow(path, point, donors, gap_in_near)
        if trial is not None and trial[1] <= (best[0].error_m if best else LARGEST_ERROR_M):
            best = ClusterFill(point, start, stop, tuple(int(d) for d in donors), trial[1]), trial[0]
    return best


def _leading(path: FloatArray, seen: BoolArray, point: int, gap: slice) -> IntArray:
    """Columns seen all through a gap and beside it, those that keep their distance to its point best first."""
    throughout = seen[max(gap.start - 1, 0) : gap.stop + 1].all(axis=0)
    others = np.flatnonzero(throughout & (np.arange(seen.shape[1]) != point))
    both = seen[:, others] & seen[:, point, None]
    apart = np.linalg.norm(path[:, others] - path[:, point, None], axis=2)
    apart, often = np.where(both, apart, 0.0), np.maximum(both.sum(axis=0), 1)
    varies = np.sqrt(np.maximum((apart**2).sum(axis=0) / often - (apart.sum(axis=0) / often) ** 2, 0.0))
    varies[both.sum(axis=0) < FEWEST_TRIALS] = np.inf
    order = np.argsort(varies, kind="stable")
    return others[order[varies[order] < LOOSEST_M]]


def _follow(path: FloatArray, point: int, donors: IntArray, gap: slice) -> tuple[FloatArray, float] | None:
    """Samples of a gap as its donors lead them, and the error to be expected [m]; None where that cannot be told."""
    count = gap.stop - gap.start
    ends = [k for k in (gap.start - 1, gap.stop) if 0 <= k < len(path)]
    # Spans as long as the gap: where each is entered, its middle, and where it is left.
    entered = np.arange(0, max(len(path) - count - 1, 0), max(len(path) // TRIALS, 1))
    spans = entered + np.array([[0], [(count + 1) // 2], [count + 1]])
    wanted = np.concatenate([spans.ravel(), ends, np.arange(gap.start, gap.stop)])
    frames, index = np.unique(wanted, return_inverse=True)
    tried, joined, lost = np.split(index, [spans.size, spans.size + len(ends)])
    cluster = path[np.ix_(frames, donors)]
    pose = fit_rigid(cluster[joined[0]], cluster)
    shapes = (cluster - pose.translation[:, None]) @ pose.rotation
    whole = np.isfinite(shapes).all(axis=(1, 2))
    if not whole[lost].all():  # the donors lie on a line
        return None
    pose = fit_rigid(shapes[whole].mean(axis=0), cluster)
    local = ((path[frames, point] - pose.translation)[:, None] @ pose.rotation)[:, 0]
    along = (np.arange(1, count + 1) / (count + 1))[:, None]
    course = local[joined[0]] + along * (local[joined[-1]] - local[joined[0]])
    placed = (pose.rotation[lost] @ course[:, :, None])[:, :, 0] + pose.translation[lost]
    before, middle, after = local[tried].reshape(3, -1, 3)
    misses = np.linalg.norm(middle - (before + after) / 2 if len(ends) == 2 else after - before, axis=1)
    misses = misses[np.isfinite(misses)]
    if len(misses) < FEWEST_TRIALS or not np.isfinite(placed).all():
        return None
    return placed, float(np.percentile(misses, 95))
