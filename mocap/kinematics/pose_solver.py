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
from mocap.kinematics.linkage import IntArray, Linkage, Pose, levels, ranked
from mocap.kinematics.small_matrices import (
    apply,
    apply_transposed,
    cross,
    inverted,
    skew,
    small_rotation,
    times,
    transposed_times,
)

BoolArray = npt.NDArray[np.bool_]

#: Residuals beyond this many standard deviations count by their logarithm only, so that one stray point does not bend a
#: body: its pull falls with its distance. This project's default.
STRAY = 3.0
#: Steps smaller than this end the search, [rad] and as a displacement [m], and so does a step that lessens the sum of
#: squares by less than this share, or by this much (one point moved from 3 % of its standard deviation).
SMALL_STEP, SMALL_SHARE, SMALL_GAIN = 1e-6, 1e-8, 1e-3
#: An undamped step of Newton's leaves an error of about its own square: below this size it is the last.
NEWTON_STEP = 0.02
MOST_STEPS = 40
#: So many steps of Gauss and Newton come first; then Newton's, which take the turns' second order in and end sooner,
#: but may go astray far from the goal.
GAUSS_NEWTON = 1
#: Levenberg's damping of rotations: first tried after a step that made it worse, and where the search gives up.
#: [1/rad^2]
LEAST_DAMPING, MOST_DAMPING = 1.0, 1e8


@dataclass(frozen=True)
class Hold:
    """Orientations that a search is held to, for the directions that no point shows, such as a limb's roll.

    Attributes
    ----------
    rotation : ndarray, shape (S, F, 3, 3)
        World from segment.
    sd_rad : ndarray, shape (S, F)
        How far each may be off, one standard deviation per axis. [rad]
    """

    rotation: FloatArray
    sd_rad: FloatArray


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


def solve_pose(
    linkage: Linkage,
    points: FloatArray,
    start: Pose,
    hold: Hold,
    *,
    own_sd_m: FloatArray | None = None,
    most_steps: int = MOST_STEPS,
) -> Solution:
    """Fit a linkage to points, all frames at once.

    Parameters
    ----------
    linkage : Linkage
    points : ndarray, shape (F, M, 3)
        In the order of the linkage's points; NaN where missing. [m]
    start : Pose
        A pose near the sought one.
    hold : Hold
    own_sd_m : ndarray, shape (F, M), optional
        What each sample errs by beside the linkage's `sd_m`, one standard deviation per axis. [m]
    most_steps : int
        Where to stop if the search has not come to rest.

    Returns
    -------
    Solution

    Notes
    -----
    Minimises the sum of squared distances over squared standard deviations (beyond `STRAY` the square's logarithm)
    plus the squared turns away from the hold over theirs. The first step is that of Gauss and Newton, the others are
    Newton's, with the Jacobian's derivative, damped where one fails. With rotation steps w in world axes, a point of
    segment s at v from the segment's origin o moves by do_s + w_s x v, and a child's origin at A by do_s + w_s x A, so
    the Jacobian is -[v]x and the identity. Eliminating w_s from the normal equations leaves a 3 by 3 form in do_s,
    which the parent takes up at its lever arm.

    References
    ----------
    Lu TW, O'Connor JJ (1999) J Biomech 32:129-134 (global optimisation with ball joints).
    """
    search = _Search(linkage, points, start, hold, own_sd_m)
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
        Standard deviation of the segments' orientation, at most about the hold's. [rad]
    """

    places_m: FloatArray
    turns_rad: FloatArray


def spread_of(
    linkage: Linkage,
    points: FloatArray,
    pose: Pose,
    hold: Hold,
    segment_of: IntArray,
    local_m: FloatArray,
    *,
    own_sd_m: FloatArray | None = None,
) -> Spread:
    """Standard deviations of places on the fitted body, and of its segments' orientation.

    Parameters
    ----------
    linkage : Linkage
    points : ndarray, shape (F, M, 3)
        As given to `solve_pose`. [m]
    pose : Pose
        The fitted pose.
    hold, own_sd_m : Hold, ndarray, shape (F, M), optional
        As given to `solve_pose`.
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
    return _Search(linkage, points, pose, hold, own_sd_m).spread(segment_of, np.ascontiguousarray(local_m.T))


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
    squared: FloatArray

    def __init__(self, linkage: Linkage, points: FloatArray, start: Pose, hold: Hold, sd: FloatArray | None) -> None:
        order, self.crowded, self.ranks = ranked(linkage.segment_of)
        self.unsorted = np.argsort(order)
        self.owner: IntArray = linkage.segment_of[order]
        self.local: FloatArray = np.ascontiguousarray(linkage.local_m[order].T)
        given = np.ascontiguousarray(np.transpose(points[:, order], (2, 1, 0)))
        self.known: BoolArray = np.asarray(np.isfinite(given).all(axis=0))
        self.given = np.where(self.known, given, 0.0)
        own: FloatArray | float = 0.0 if sd is None else np.nan_to_num(sd[:, order].T)
        self.base = np.where(self.known, 1.0 / (linkage.sd_m[order, None] ** 2 + own**2), 0.0)
        self.rotation: FloatArray = np.ascontiguousarray(np.moveaxis(start.rotation, (0, 1), (2, 3)))
        self.held: FloatArray = np.ascontiguousarray(np.moveaxis(hold.rotation, (0, 1), (2, 3)))
        self.grip: FloatArray = hold.sd_rad**-2
        self.root: FloatArray = np.ascontiguousarray(start.origin[0].T)
        self.shift: FloatArray = np.ascontiguousarray(np.moveaxis(start.shift, 2, 0))
        self.levels = levels(linkage.parent)
        self.room = np.empty(22 * self.base.size)
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
        everything = (self.given, self.known, self.base, self.held, self.grip)
        active = np.flatnonzero(self.known.any(axis=0))
        final = (self.rotation.copy(), self.root.copy(), self.shift.copy())
        self._narrow(active)
        damping = np.zeros(len(active))
        cost = self._cost()
        steps = 0
        while len(active) and steps < most_steps:
            steps += 1
            before = self._state()
            curved = steps > GAUSS_NEWTON
            size = self._step(damping, curved=curved)
            after = self._cost()
            worse = after > cost * (1.0 + 1e-12) + 1e-12
            self._take_back(before, worse)
            gain = np.where(worse, np.inf, cost - after)
            squares = (damping == 0) & (size < NEWTON_STEP) & ~worse & curved
            damping = np.where(worse, np.maximum(damping * 10.0, LEAST_DAMPING), damping / 10.0)
            cost = np.where(worse, cost, after)
            resting = (
                squares | (size < SMALL_STEP) | (gain < SMALL_SHARE * after + SMALL_GAIN) | (damping > MOST_DAMPING)
            )
            if resting.any():
                going = ~resting
                _write(final, active, (self.rotation, self.root, self.shift))
                active, damping, cost = active[going], damping[going], cost[going]
                self._narrow(np.flatnonzero(going))
        _write(final, active, (self.rotation, self.root, self.shift))
        self.rotation, self.root, self.shift = final
        self.given, self.known, self.base, self.held, self.grip = everything
        self._place()
        return steps

    def _narrow(self, frames: IntArray) -> None:
        if len(frames) == self.given.shape[2]:
            return
        self.given, self.known, self.base = self.given[..., frames], self.known[:, frames], self.base[:, frames]
        self.held, self.grip = self.held[..., frames], self.grip[:, frames]
        self.rotation, self.root, self.shift = self.rotation[..., frames], self.root[:, frames], self.shift[..., frames]
        self.origin, self.arm = self.origin[..., frames], self.arm[..., frames]
        self.lever, self.residual = self.lever[..., frames], self.residual[..., frames]
        self.squared = self.squared[:, frames]

    def _take_back(self, before: tuple[FloatArray, ...], worse: BoolArray) -> None:
        if worse.any():
            old = np.flatnonzero(worse)
            _write(self._state(), old, [array[..., old] for array in before])

    def _state(self) -> tuple[FloatArray, ...]:
        return (
            self.rotation,
            self.root,
            self.shift,
            self.origin,
            self.arm,
            self.lever,
            self.residual,
            self.squared,
        )

    def _place(self) -> None:
        """Origins of all segments from their rotations, and what the points miss."""
        self.origin = np.empty((3, len(self.parent), self.root.shape[1]))
        self.arm = np.zeros_like(self.origin)
        self.origin[:, 0] = self.root
        for level in self.levels[1:]:
            above = self.parent[level]
            arm = apply(self.rotation[:, :, above], self.joint[:, level, None] + self.shift[:, level])
            self.arm[:, level] = arm
            self.origin[:, level] = self.origin[:, above] + arm
        self.lever = apply(self.rotation[:, :, self.owner], self.local[:, :, None])
        self.residual = np.where(self.known, self.given - self.origin[:, self.owner] - self.lever, 0.0)
        self.squared = np.einsum("cmf,cmf->mf", self.residual, self.residual) * self.base

    def _cost(self) -> FloatArray:
        """Misfit of the points, the sliding joints' springs and the hold on rotations, shape (F,)."""
        stray = STRAY**2 * (1.0 + np.log(np.maximum(self.squared, STRAY**2) / STRAY**2))
        points = np.where(self.squared > STRAY**2, stray, self.squared).sum(axis=0)
        cost: FloatArray = points + np.einsum("csf,csf,s->f", self.shift, self.shift, self.stiffness)
        # A turn by the angle a has the trace 1 + 2 cos a: two times one minus its cosine is a squared for a small one.
        trace = np.einsum("ijsf,ijsf->sf", self.rotation, self.held)
        return cost + ((3.0 - trace) * self.grip).sum(axis=0)

    def _own(self) -> tuple[FloatArray, ...]:
        """Normal equations of each segment's own points: weight, first and second moment, force, lever by force."""
        weight = self.base * (STRAY**2 / np.maximum(self.squared, STRAY**2))
        heavy, force = weight * self.lever, weight * self.residual
        parts = self.room[: 22 * weight.size].reshape(22, *weight.shape)
        parts[0], parts[1:4], parts[4:7] = weight, heavy, force
        for row, (i, j) in enumerate(((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))):
            np.multiply(heavy[i], self.lever[j], out=parts[7 + row])
        np.multiply(self.lever[:, None], force[None], out=parts[13:].reshape(3, 3, *weight.shape))
        heaps = parts[:, : len(self.crowded)]
        for start, stop in self.ranks[1:]:
            heaps[:, : stop - start] += parts[:, start:stop]
        sums = np.zeros((22, len(self.parent), weight.shape[1]))
        sums[:, self.crowded] = heaps
        xx, yy, zz, xy, xz, yz = sums[7:13]
        second = np.array([[yy + zz, -xy, -xz], [-xy, xx + zz, -yz], [-xz, -yz, xx + yy]])
        return sums[0], sums[1:4], second, sums[4:7], sums[13:].reshape(3, 3, *sums.shape[1:])

    def _curvature(self, force: FloatArray, moment: FloatArray) -> FloatArray:
        """What a turn's second order, w x (w x lever), adds to the normal equations, shape (3, 3, S, F)."""
        load, moment = force.copy(), moment.copy()
        for level in reversed(self.levels[1:]):
            for index in level:
                above = self.parent[index]
                load[:, above] += load[:, index]
                moment[:, :, above] += self.arm[:, None, index] * load[None, :, index]
        curved: FloatArray = -0.5 * (moment + np.swapaxes(moment, 0, 1))
        trace = np.trace(moment)
        for axis in range(3):
            curved[axis, axis] += trace
        return curved

    def _condense(self, damping: FloatArray, *, curved: bool) -> list[_Condensed]:
        """Eliminate the rotations from the tips to the root; one entry a level."""
        weight, first, second, force, moment = self._own()
        torque = np.stack([moment[1, 2] - moment[2, 1], moment[2, 0] - moment[0, 2], moment[0, 1] - moment[1, 0]])
        if curved:
            second += self._curvature(force, moment)
        coupling = skew(first)
        form = np.zeros_like(second)
        for axis in range(3):
            second[axis, axis] += damping + self.grip
            form[axis, axis] = weight
            torque += 0.5 * self.grip * cross(self.rotation[:, axis], self.held[:, axis])
        done: list[_Condensed] = []
        for level in reversed(self.levels):
            inverse = inverted(second[:, :, level])
            gain = times(inverse, coupling[:, :, level])
            turn = apply(inverse, torque[:, level])
            own_form = form[:, :, level] - transposed_times(coupling[:, :, level], gain)
            own_pull = force[:, level] - apply_transposed(gain, torque[:, level])
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
        across = skew(arm)
        turned_form = times(across, own_form)
        twice = -times(turned_form, across)
        twist = cross(arm, own_pull)
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
        soft = times(form[:, :, slides], inverse)
        pull[:, slides] -= apply(soft, away)
        form[:, :, slides] -= times(soft, form[:, :, slides])
        return form, pull

    def _slack_parts(self, index: IntArray, form: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Inverse of form plus the joint's stiffness, and the spring's pull in world axes."""
        stiff = self.stiffness[index][:, None]
        sum_ = form.copy()
        for axis in range(3):
            sum_[axis, axis] += stiff
        against = stiff * apply(self.rotation[:, :, self.parent[index]], self.shift[:, index])
        return inverted(sum_), against

    def _step(self, damping: FloatArray, *, curved: bool) -> FloatArray:
        """One Gauss-Newton step in every frame; returns the greatest step, shape (F,). [rad], [m]"""
        condensed = self._condense(damping, curved=curved)
        moved = np.zeros_like(self.origin)
        turned = np.zeros_like(self.origin)
        shift = self.shift.copy()
        for level, part in zip(self.levels, condensed, strict=True):
            above = self.parent[level]
            if above[0] < 0:
                moved[:, level] = apply(inverted(_held(part.form)), part.pull)
            else:
                moved[:, level] = moved[:, above] + cross(turned[:, above], self.arm[:, level])
                self._slide(level, part, moved, shift)
            turned[:, level] = part.turn - apply(part.gain, moved[:, level])
        size: FloatArray = np.maximum(np.abs(turned).max(axis=(0, 1)), np.abs(moved).max(axis=(0, 1)))
        self.rotation = times(small_rotation(turned), self.rotation)
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
        away = part.pull[:, slides] - against - apply(part.form[:, :, slides], moved[:, index])
        slid = apply(inverse, away)
        moved[:, index] += slid
        shift[:, index] += apply_transposed(self.rotation[:, :, self.parent[index]], slid)

    def spread(self, segment_of: IntArray, local: FloatArray) -> Spread:
        """Standard deviations of places (3, K) on segments, and of the segments' turns."""
        frames = self.given.shape[2]
        condensed = self._condense(np.zeros(frames), curved=False)
        origin, inverse, gain = (np.zeros((3, 3, len(self.parent), frames)) for _ in range(3))
        for level, part in zip(self.levels, condensed, strict=True):
            above = self.parent[level]
            inverse[:, :, level], gain[:, :, level] = part.inverse, part.gain
            if above[0] < 0:
                origin[:, :, level] = inverted(_held(part.form))
                continue
            carried = _carried(self.arm[:, level], origin[:, :, above], inverse[:, :, above], gain[:, :, above])
            slides = np.flatnonzero(self.slides[level])
            if len(slides):
                soft, _ = self._slack_parts(level[slides], part.form[:, :, slides])
                kept = np.eye(3)[:, :, None, None] - times(soft, part.form[:, :, slides])
                carried[:, :, slides] = times(times(kept, carried[:, :, slides]), np.swapaxes(kept, 0, 1)) + soft
            origin[:, :, level] = carried
        lever = apply(self.rotation[:, :, segment_of], local[:, :, None])
        places = _carried(lever, *(array[:, :, segment_of] for array in (origin, inverse, gain)))
        turns = inverse + times(times(gain, origin), np.swapaxes(gain, 0, 1))
        return Spread(np.sqrt(np.trace(places) / 3.0).T, np.sqrt(np.trace(turns) / 3.0).T)


def _carried(arm: FloatArray, origin: FloatArray, inverse: FloatArray, gain: FloatArray) -> FloatArray:
    """Covariance at a lever arm, of the segment's origin and of its rotation given the origin; (3, 3, ...)."""
    across = skew(arm)
    moved = np.eye(3)[:, :, None, None] + times(across, gain)
    both: FloatArray = times(times(moved, origin), np.swapaxes(moved, 0, 1))
    both -= times(times(across, inverse), across)
    return both


def _held(form: FloatArray) -> FloatArray:
    """A root's form that can be inverted where no point was seen."""
    return form + 1e-6 * np.eye(3)[:, :, None, None]


def _write(whole: Sequence[FloatArray], frames: IntArray, parts: Sequence[FloatArray]) -> None:
    for target, part in zip(whole, parts, strict=True):
        target[..., frames] = part
