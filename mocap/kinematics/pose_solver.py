"""Pose of a linkage in every frame at once: weighted least squares against all points that were seen.

Rotations are stepped in the world's axes. A point then depends on the segments above its own only through the
displacement of its segment's origin, so that each segment, with all that hangs on it, is condensed to a quadratic form
in three unknowns: from the tips to the root, and back to find the steps. The work grows with the number of segments,
and no matrix is larger than 3 by 3. Arrays are held components first and frames last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.linkage import Linkage, Pose

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

#: Residuals beyond this many standard deviations count by their logarithm only, so that one stray point does not bend a
#: body: its pull falls with its distance. This project's default.
STRAY = 3.0
#: A direction that no point shows, as a limb's roll, stays near where the search began, to this. [rad] Of what the
#: points show to 2 degrees it takes back one part in 200. This project's default.
HOLD_RAD = 1.0
#: Steps smaller than this end the search, [rad] and as a displacement [m], and so does a step that lessens the sum of
#: squares by less than this share, or by this much (a hundredth of a standard deviation of one point).
SMALL_STEP, SMALL_SHARE, SMALL_GAIN = 1e-6, 1e-8, 1e-4
MOST_STEPS = 40
#: Levenberg's damping of rotations: first tried after a step that made it worse, and where the search gives up.
#: [1/rad^2]
LEAST_DAMPING, MOST_DAMPING = 1.0, 1e8


@dataclass(frozen=True)
class Solution:
    """The pose that fits the points best.

    Attributes
    ----------
    pose : Pose
    residual_m : ndarray, shape (F, M)
        Distance between each point and its place in the fitted body; NaN where it was not seen. [m]
    steps : int
        Most steps that a frame took.
    """

    pose: Pose
    residual_m: FloatArray
    steps: int


def solve_pose(linkage: Linkage, points: FloatArray, start: Pose, *, most_steps: int = MOST_STEPS) -> Solution:
    """Fit a linkage to points, all frames at once.

    Parameters
    ----------
    linkage : Linkage
    points : ndarray, shape (F, M, 3)
        In the order of the linkage's points; NaN where missing. [m]
    start : Pose
        A pose near the sought one.
    most_steps : int
        Where to stop if the search has not come to rest.

    Returns
    -------
    Solution

    Notes
    -----
    Minimises the sum of squared distances over squared standard deviations (beyond `STRAY` the square's logarithm)
    plus the squared turn away from the start over `HOLD_RAD` squared, by Gauss-Newton steps, damped where one fails.
    With rotation steps w in world axes, a point of segment s at v from the segment's origin o moves by
    do_s + w_s x v, and a child's origin at A by do_s + w_s x A, so the Jacobian is -[v]x and the identity. Eliminating
    w_s from the normal equations leaves a 3 by 3 form in do_s, which the parent takes up at its lever arm.

    References
    ----------
    Lu TW, O'Connor JJ (1999) J Biomech 32:129-134 (global optimisation with ball joints).
    """
    search = _Search(linkage, points, start)
    steps = search.run(most_steps)
    pose = search.pose()
    residual = np.where(search.seen, search.distance(), np.nan).T
    return Solution(pose, residual, steps)


@dataclass(frozen=True)
class Spread:
    """How closely points that err by the linkage's `sd_m` hold a body; root mean square of the three axes.

    Attributes
    ----------
    places_m : ndarray, shape (F, K)
        Standard deviation of places on the body; large where the points do not hold them. [m]
    turns_rad : ndarray, shape (F, S)
        Standard deviation of the segments' orientation, at most about `HOLD_RAD`. [rad]
    """

    places_m: FloatArray
    turns_rad: FloatArray


def spread_of(linkage: Linkage, points: FloatArray, pose: Pose, segment_of: IntArray, local_m: FloatArray) -> Spread:
    """Standard deviations of places on the fitted body, and of its segments' orientation.

    Parameters
    ----------
    linkage : Linkage
    points : ndarray, shape (F, M, 3)
        As given to `solve_pose`. [m]
    pose : Pose
        The fitted pose.
    segment_of : ndarray of int, shape (K,)
        Segment of each place.
    local_m : ndarray, shape (K, 3)
        In that segment's axes. [m]

    Returns
    -------
    Spread

    Notes
    -----
    The inverse of the normal equations, followed from the root outward: given the displacement of its origin, a
    segment's rotation has the covariance of its own condensed equations.
    """
    return _Search(linkage, points, pose).spread(segment_of, np.ascontiguousarray(local_m.T))


@dataclass(frozen=True)
class _Condensed:
    """A segment's part in the normal equations after its rotation is eliminated; arrays (3, 3, L, F) and (3, L, F)."""

    inverse: FloatArray
    coupling: FloatArray
    gain: FloatArray
    turn: FloatArray
    form: FloatArray
    pull: FloatArray


class _Search:
    """Arrays of one search, over the frames that still move."""

    origin: FloatArray
    arm: FloatArray
    lever: FloatArray
    residual: FloatArray

    def __init__(self, linkage: Linkage, points: FloatArray, start: Pose) -> None:
        order = np.argsort(linkage.segment_of, kind="stable")
        self.linkage = linkage
        self.unsorted = np.argsort(order)
        self.owner: IntArray = linkage.segment_of[order]
        self.local: FloatArray = np.ascontiguousarray(linkage.local_m[order].T)
        self.first = np.flatnonzero(np.concatenate([[True], np.diff(self.owner) > 0]))
        given = np.ascontiguousarray(np.transpose(points[:, order], (2, 1, 0)))
        self.known: BoolArray = np.asarray(np.isfinite(given).all(axis=0))
        self.given = np.where(self.known, given, 0.0)
        self.base = np.where(self.known, 1.0 / linkage.sd_m[order, None] ** 2, 0.0)
        self.rotation: FloatArray = np.ascontiguousarray(np.moveaxis(start.rotation, (0, 1), (2, 3)))
        self.held = self.rotation
        self.root: FloatArray = np.ascontiguousarray(start.origin[0].T)
        self.shift: FloatArray = np.ascontiguousarray(np.moveaxis(start.shift, 2, 0))
        self.levels = _levels(linkage.parent)
        self.parent = np.array(linkage.parent, dtype=np.intp)
        self.joint: FloatArray = np.ascontiguousarray(linkage.joint_m.T)
        slack = np.array(linkage.slack_m)
        self.slides = slack > 0
        self.stiffness = np.where(self.slides, 1.0 / np.where(self.slides, slack, 1.0) ** 2, 0.0)
        self._place()

    @property
    def seen(self) -> BoolArray:
        """Which points were seen, in the linkage's order, shape (M, F)."""
        return self.known[self.unsorted]

    def distance(self) -> FloatArray:
        """Distance between given and fitted points in the linkage's order, shape (M, F). [m]"""
        return np.linalg.norm(self.residual, axis=0)[self.unsorted]

    def pose(self) -> Pose:
        rotation = np.moveaxis(self.rotation, (2, 3), (0, 1))
        return Pose(rotation, np.moveaxis(self.origin, 0, 2), np.moveaxis(self.shift, 0, 2))

    def run(self, most_steps: int) -> int:
        """Step until every frame rests, or so often; returns the number of steps."""
        everything = (self.given, self.known, self.base, self.held)
        active = np.flatnonzero(self.known.any(axis=0))
        final = (self.rotation.copy(), self.root.copy(), self.shift.copy())
        self._narrow(active)
        damping = np.zeros(len(active))
        cost = self._cost()
        steps = 0
        while len(active) and steps < most_steps:
            steps += 1
            before = self._state()
            size = self._step(damping)
            after = self._cost()
            worse = after > cost * (1.0 + 1e-12) + 1e-12
            self._take_back(before, worse)
            gain = np.where(worse, np.inf, cost - after)
            damping = np.where(worse, np.maximum(damping * 10.0, LEAST_DAMPING), damping / 10.0)
            cost = np.where(worse, cost, after)
            resting = (size < SMALL_STEP) | (gain < SMALL_SHARE * after + SMALL_GAIN) | (damping > MOST_DAMPING)
            if resting.any():
                going = ~resting
                _write(final, active, (self.rotation, self.root, self.shift))
                active, damping, cost = active[going], damping[going], cost[going]
                self._narrow(np.flatnonzero(going))
        _write(final, active, (self.rotation, self.root, self.shift))
        self.rotation, self.root, self.shift = final
        self.given, self.known, self.base, self.held = everything
        self._place()
        return steps

    def _narrow(self, frames: IntArray) -> None:
        if len(frames) == self.given.shape[2]:
            return
        self.given, self.known, self.base = self.given[..., frames], self.known[:, frames], self.base[:, frames]
        self.held = self.held[..., frames]
        self.rotation, self.root, self.shift = self.rotation[..., frames], self.root[:, frames], self.shift[..., frames]
        self.origin, self.arm = self.origin[..., frames], self.arm[..., frames]
        self.lever, self.residual = self.lever[..., frames], self.residual[..., frames]

    def _take_back(self, before: tuple[FloatArray, ...], worse: BoolArray) -> None:
        if worse.any():
            old = np.flatnonzero(worse)
            _write(self._state(), old, [array[..., old] for array in before])

    def _state(self) -> tuple[FloatArray, ...]:
        return self.rotation, self.root, self.shift, self.origin, self.arm, self.lever, self.residual

    def _place(self) -> None:
        """Origins of all segments from their rotations, and what the points miss."""
        self.origin = np.empty((3, len(self.parent), self.root.shape[1]))
        self.arm = np.zeros_like(self.origin)
        self.origin[:, 0] = self.root
        for level in self.levels[1:]:
            above = self.parent[level]
            arm = _turned(self.rotation[:, :, above], self.joint[:, level, None] + self.shift[:, level])
            self.arm[:, level] = arm
            self.origin[:, level] = self.origin[:, above] + arm
        self.lever = _turned(self.rotation[:, :, self.owner], self.local[:, :, None])
        self.residual = np.where(self.known, self.given - self.origin[:, self.owner] - self.lever, 0.0)

    def _far(self) -> FloatArray:
        """Residuals in standard deviations, shape (M, F)."""
        return np.sqrt(np.einsum("cmf,cmf,mf->mf", self.residual, self.residual, self.base))

    def _cost(self) -> FloatArray:
        """Misfit of the points, the sliding joints' springs and the hold on rotations, shape (F,)."""
        far = self._far()
        squared = far * far
        stray = STRAY**2 * (1.0 + np.log(np.maximum(squared, STRAY**2) / STRAY**2))
        points = np.where(far > STRAY, stray, squared).sum(axis=0)
        cost: FloatArray = points + np.einsum("csf,csf,s->f", self.shift, self.shift, self.stiffness)
        # A turn by the angle a has the trace 1 + 2 cos a: two times one minus its cosine is a squared for a small one.
        trace = np.einsum("ijsf,ijsf->sf", self.rotation, self.held)
        return cost + (3.0 - trace).sum(axis=0) / HOLD_RAD**2

    def _own(self) -> tuple[FloatArray, ...]:
        """Normal equations of each segment's own points: weight, first and second moment, force, torque."""
        weight = self.base * (STRAY / np.maximum(self._far(), STRAY)) ** 2
        heavy, force = weight * self.lever, weight * self.residual
        parts = np.empty((16, *weight.shape))
        parts[0], parts[1:4], parts[4:7] = weight, heavy, force
        for row, (i, j) in enumerate(((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))):
            np.multiply(heavy[i], self.lever[j], out=parts[7 + row])
        parts[13:16] = _cross(self.lever, force)
        sums = np.zeros((16, len(self.parent), weight.shape[1]))
        sums[:, self.owner[self.first]] = np.add.reduceat(parts, self.first, axis=1)
        xx, yy, zz, xy, xz, yz = sums[7:13]
        second = np.array([[yy + zz, -xy, -xz], [-xy, xx + zz, -yz], [-xz, -yz, xx + yy]])
        return sums[0], sums[1:4], second, sums[4:7], sums[13:16]

    def _condense(self, damping: FloatArray) -> list[_Condensed]:
        """Eliminate the rotations from the tips to the root; one entry a level."""
        weight, first, second, force, torque = self._own()
        coupling = _skew(first)
        form = np.zeros_like(second)
        for axis in range(3):
            second[axis, axis] += damping + HOLD_RAD**-2
            form[axis, axis] = weight
            torque += _cross(self.rotation[:, axis], self.held[:, axis]) / (2.0 * HOLD_RAD**2)
        done: list[_Condensed] = []
        for level in reversed(self.levels):
            inverse = _inverse(second[:, :, level])
            gain = _product(inverse, coupling[:, :, level])
            turn = _turned(inverse, torque[:, level])
            own_form = form[:, :, level] - _transposed_product(coupling[:, :, level], gain)
            own_pull = force[:, level] - _turned_back(gain, torque[:, level])
            done.append(_Condensed(inverse, coupling[:, :, level], gain, turn, own_form, own_pull))
            if self.parent[level[0]] >= 0:
                self._hand_up(level, own_form, own_pull, (form, force, coupling, second, torque))
        return done[::-1]

    def _hand_up(
        self, level: IntArray, own_form: FloatArray, own_pull: FloatArray, sums: tuple[FloatArray, ...]
    ) -> None:
        """Add the segments of one level to their parents' equations, at their lever arms."""
        own_form, own_pull = self._through_slack(level, own_form, own_pull)
        form, force, coupling, second, torque = sums
        arm = self.arm[:, level]
        across = _skew(arm)
        turned_form = _product(across, own_form)
        twice = -_product(turned_form, across)
        twist = _cross(arm, own_pull)
        for column, index in enumerate(level):
            above = self.parent[index]
            form[:, :, above] += own_form[:, :, column]
            force[:, above] += own_pull[:, column]
            coupling[:, :, above] += turned_form[:, :, column]
            second[:, :, above] += twice[:, :, column]
            torque[:, above] += twist[:, column]

    def _through_slack(self, level: IntArray, form: FloatArray, pull: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Forms in the displacement of the joint's place on the parent, the sliding of the joint eliminated."""
        slides = np.flatnonzero(self.slides[level])
        if not len(slides):
            return form, pull
        form, pull = form.copy(), pull.copy()
        index = level[slides]
        inverse, against = self._slack_parts(index, form[:, :, slides])
        away = pull[:, slides] - against
        soft = _product(form[:, :, slides], inverse)
        pull[:, slides] -= _turned(soft, away)
        form[:, :, slides] -= _product(soft, form[:, :, slides])
        return form, pull

    def _slack_parts(self, index: IntArray, form: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Inverse of form plus the joint's stiffness, and the spring's pull in world axes."""
        stiff = self.stiffness[index][:, None]
        sum_ = form.copy()
        for axis in range(3):
            sum_[axis, axis] += stiff
        against = stiff * _turned(self.rotation[:, :, self.parent[index]], self.shift[:, index])
        return _inverse(sum_), against

    def _step(self, damping: FloatArray) -> FloatArray:
        """One Gauss-Newton step in every frame; returns the greatest step, shape (F,). [rad], [m]"""
        condensed = self._condense(damping)
        moved = np.zeros_like(self.origin)
        turned = np.zeros_like(self.origin)
        shift = self.shift.copy()
        for level, part in zip(self.levels, condensed, strict=True):
            above = self.parent[level]
            if above[0] < 0:
                moved[:, level] = _turned(_inverse(_held(part.form)), part.pull)
            else:
                moved[:, level] = moved[:, above] + _cross(turned[:, above], self.arm[:, level])
                self._slide(level, part, moved, shift)
            turned[:, level] = part.turn - _turned(part.gain, moved[:, level])
        size: FloatArray = np.maximum(np.abs(turned).max(axis=(0, 1)), np.abs(moved).max(axis=(0, 1)))
        self.rotation = _product(_exponential(turned), self.rotation)
        self.root = self.root + moved[:, 0]
        self.shift = shift
        self._place()
        return size

    def _slide(self, level: IntArray, part: _Condensed, moved: FloatArray, shift: FloatArray) -> None:
        """Step of the joints that slide, added to the displacement of their segments."""
        slides = np.flatnonzero(self.slides[level])
        if not len(slides):
            return
        index = level[slides]
        inverse, against = self._slack_parts(index, part.form[:, :, slides])
        away = part.pull[:, slides] - against - _turned(part.form[:, :, slides], moved[:, index])
        slid = _turned(inverse, away)
        moved[:, index] += slid
        shift[:, index] += _turned_back(self.rotation[:, :, self.parent[index]], slid)

    def spread(self, segment_of: IntArray, local: FloatArray) -> Spread:
        """Standard deviations of places (3, K) on segments, and of the segments' turns."""
        frames = self.given.shape[2]
        condensed = self._condense(np.zeros(frames))
        origin, inverse, gain = (np.zeros((3, 3, len(self.parent), frames)) for _ in range(3))
        for level, part in zip(self.levels, condensed, strict=True):
            above = self.parent[level]
            inverse[:, :, level], gain[:, :, level] = part.inverse, part.gain
            if above[0] < 0:
                origin[:, :, level] = _inverse(_held(part.form))
                continue
            carried = _carried(self.arm[:, level], origin[:, :, above], inverse[:, :, above], gain[:, :, above])
            slides = np.flatnonzero(self.slides[level])
            if len(slides):
                soft, _ = self._slack_parts(level[slides], part.form[:, :, slides])
                kept = np.eye(3)[:, :, None, None] - _product(soft, part.form[:, :, slides])
                carried[:, :, slides] = _product(_product(kept, carried[:, :, slides]), np.swapaxes(kept, 0, 1)) + soft
            origin[:, :, level] = carried
        lever = _turned(self.rotation[:, :, segment_of], local[:, :, None])
        places = _carried(lever, *(array[:, :, segment_of] for array in (origin, inverse, gain)))
        turns = inverse + _product(_product(gain, origin), np.swapaxes(gain, 0, 1))
        return Spread(np.sqrt(np.trace(places) / 3.0).T, np.sqrt(np.trace(turns) / 3.0).T)


def _carried(arm: FloatArray, origin: FloatArray, inverse: FloatArray, gain: FloatArray) -> FloatArray:
    """Covariance at a lever arm, of the segment's origin and of its rotation given the origin; (3, 3, ...)."""
    across = _skew(arm)
    moved = np.eye(3)[:, :, None, None] + _product(across, gain)
    both: FloatArray = _product(_product(moved, origin), np.swapaxes(moved, 0, 1))
    both -= _product(_product(across, inverse), across)
    return both


def _held(form: FloatArray) -> FloatArray:
    """A root's form that can be inverted where no point was seen."""
    return form + 1e-6 * np.eye(3)[:, :, None, None]


def _levels(parent: Sequence[int]) -> list[IntArray]:
    """Segments by their distance from the root."""
    depth: list[int] = []
    for above in parent:
        depth.append(0 if above < 0 else depth[above] + 1)
    return [np.flatnonzero(np.array(depth) == level) for level in range(max(depth) + 1)]


def _write(whole: Sequence[FloatArray], frames: IntArray, parts: Sequence[FloatArray]) -> None:
    for target, part in zip(whole, parts, strict=True):
        target[..., frames] = part


def _turned(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Matrices (3, 3, ...) times vectors (3, ...)."""
    product: FloatArray = matrix[:, 0] * vector[0] + matrix[:, 1] * vector[1] + matrix[:, 2] * vector[2]
    return product


def _turned_back(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Transposed matrices (3, 3, ...) times vectors (3, ...)."""
    product: FloatArray = matrix[0] * vector[0] + matrix[1] * vector[1] + matrix[2] * vector[2]
    return product


def _product(first: FloatArray, second: FloatArray) -> FloatArray:
    """Products of matrices (3, 3, ...)."""
    return first[:, 0, None] * second[0] + first[:, 1, None] * second[1] + first[:, 2, None] * second[2]


def _transposed_product(first: FloatArray, second: FloatArray) -> FloatArray:
    """Products of transposed matrices (3, 3, ...) with matrices."""
    return first[0][:, None] * second[0] + first[1][:, None] * second[1] + first[2][:, None] * second[2]


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Cross products of vectors (3, ...)."""
    (a, b, c), (d, e, f) = first, second
    return np.stack([b * f - c * e, c * d - a * f, a * e - b * d])


def _skew(vector: FloatArray) -> FloatArray:
    """Matrices (3, 3, ...) of the cross product with vectors (3, ...)."""
    x, y, z = vector
    zero = np.zeros_like(x)
    return np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]])


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverses of symmetric matrices (3, 3, ...), by cofactors."""
    (a, b, c), (_, d, e), (_, _, f) = matrix
    aa, bb, cc = d * f - e * e, c * e - b * f, b * e - c * d
    scale = 1.0 / (a * aa + b * bb + c * cc)
    aa, bb, cc = aa * scale, bb * scale, cc * scale
    dd, ee, ff = (a * f - c * c) * scale, (b * c - a * e) * scale, (a * d - b * b) * scale
    return np.array([[aa, bb, cc], [bb, dd, ee], [cc, ee, ff]])


def _exponential(vector: FloatArray) -> FloatArray:
    """Rotation matrices (3, 3, ...) of rotation vectors (3, ...), Rodrigues' formula."""
    squared = np.sum(vector * vector, axis=0)
    angle = np.sqrt(squared)
    sine = np.sinc(angle / np.pi)
    half = 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2
    rotation: FloatArray = half * (vector[:, None] * vector[None, :]) + sine * _skew(vector)
    cosine = np.cos(angle)
    for axis in range(3):
        rotation[axis, axis] += cosine
    return rotation
