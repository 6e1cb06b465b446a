"""Triangulated paths smoothed over time with their covariances, gaps bridged, bone lengths held.

Every point moves with a jerk of white noise (state: place, velocity, acceleration; Bar-Shalom, Li, Kirubarajan (2001)
*Estimation with Applications to Tracking and Navigation*, section 6.2.3; the number from memory). The fixed-interval
smoother of Rauch, Tung and Striebel (1965), AIAA J. 3:1445-1450, gives the mean and the covariance of each place given
all frames.

How strong the jerk is follows from the data: a bank of filters runs over intensities from a still foot's to a bat's,
and each frame takes their mean under the likelihoods of the innovations round it. A hitter stands for a second and
turns in a fifth of one; no single intensity is right for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.importer.bones import hold_bones

#: Power spectral densities of the jerk that are tried: from a foot on the floor to a bat's end. [m^2/s^5]
INTENSITIES = 10.0 ** np.arange(-1.0, 10.1, 1.0)
#: The likelihood round a frame is that of innovations weighted by a normal curve of this standard deviation. [s]
NEIGHBOURHOOD_S = 0.025
#: Innovations count as Student's t with so many degrees of freedom when the intensity is chosen, so that an outlier
#: does not pass for a leap. This project's default.
TAILS = 4.0
#: A measurement is taken out where what all others say of it is off by a chi-squared (three degrees of freedom) of
#: more than this: one in ten thousand of good ones.
GATE = 21.1
#: At most this many rounds of taking out; in each, only the worst within `APART` frames of another.
GATE_ROUNDS, APART = 8, 2
#: Longer gaps stay missing. This project's default. [s]
LONGEST_GAP_S = 0.20
#: How well the place is known before the first frame, per axis: metres, m/s, m/s^2.
PRIOR_SD = (10.0, 30.0, 3000.0)
#: What a blow may change of velocity and acceleration, per axis: m/s, m/s^2. This project's default.
SEAM_SD = (8.0, 800.0)
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Smoothed:
    """Paths smoothed over time.

    Attributes
    ----------
    points : ndarray, shape (F, P, 3)
        NaN outside what was seen and in long gaps. [m]
    covariance : ndarray, shape (F, P, 3, 3)
        [m^2]
    per_s : ndarray, shape (F, P)
        Standard deviation of the rate at which the error of a place changes, over its own: errors of smoothed places
        hang together over about the inverse of it. [1/s]
    taken_off : ndarray, shape (F, P, 3)
        What smoothing the smoothed paths again would take off them: about as much as the first time has taken off the
        true ones, which nobody knows. [m]
    bridged : ndarray of bool, shape (F, P)
        Without a measurement of its own: a gap, or taken out.
    outlier : ndarray of bool, shape (F, P)
        Measured, but taken out.
    intensity : ndarray, shape (F, P)
        Power spectral density of the jerk that was taken. [m^2/s^5]
    bone_lengths : ndarray, shape (B,)
        NaN where a bone was hardly seen. [m]
    notes : tuple of str
    """

    points: FloatArray
    covariance: FloatArray
    per_s: FloatArray
    taken_off: FloatArray
    bridged: BoolArray
    outlier: BoolArray
    intensity: FloatArray
    bone_lengths: FloatArray
    notes: tuple[str, ...]


def smooth(
    points: FloatArray,
    covariance: FloatArray,
    rate_hz: float,
    *,
    bones: Sequence[tuple[int, int]] = (),
    seams: Sequence[float] = (),
    struck: Sequence[int] | None = None,
    names: Sequence[str] = (),
) -> Smoothed:
    """Smooth paths over time.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        NaN where missing. [m]
    covariance : ndarray, shape (F, P, 3, 3)
        Of each, independent from frame to frame. [m^2]
    rate_hz : float
    bones : sequence of (int, int)
        Pairs of points whose distance is constant.
    seams : sequence of float
        Frames, between them too, in which a blow changes velocities: the ball's impact.
    struck : sequence of int, optional
        Which points it changes; all where not given.
    names : sequence of str, length P
        For the notes.

    Returns
    -------
    Smoothed

    Raises
    ------
    OptionError
        Shapes that do not go together, a rate that is not positive, or a covariance that is none.

    Notes
    -----
    Bones act on each frame's smoothed places, with their covariances, by Gauss-Newton steps on the measured length (the
    median over the frames). What a bone says of one frame is not carried to the next: covariances are rather too large.
    """
    seen = _checked(points, covariance, rate_hz)
    there = np.flatnonzero(seen.any(axis=0))
    smooth_points, smooth_cov = np.full(points.shape, np.nan), np.full(covariance.shape, np.nan)
    intensity, per_s, outlier = np.full(seen.shape, np.nan), np.full(seen.shape, np.nan), np.zeros_like(seen)
    jumps = _jumps(seams, len(points), points.shape[1], struck)
    if len(there) and len(points) > 1:
        found = _one_by_one(points[:, there], covariance[:, there], seen[:, there], rate_hz, jumps[:, there])
        smooth_points[:, there], smooth_cov[:, there], per_s[:, there], outlier[:, there], intensity[:, there] = found
    kept = seen & ~outlier
    lost = ~_bridgeable(kept, rate_hz)
    smooth_points[lost], smooth_cov[lost], per_s[lost] = np.nan, np.nan, np.nan
    lengths = np.full(len(bones), np.nan)
    if len(bones):
        smooth_points, smooth_cov, lengths = hold_bones(smooth_points, smooth_cov, bones)
    notes = _notes(outlier, seen, lost, names or [f"point {i}" for i in range(points.shape[1])])
    off = _taken_off(smooth_points, covariance, kept, rate_hz, intensity, jumps)
    return Smoothed(smooth_points, smooth_cov, per_s, off, ~kept & ~lost, outlier, intensity, lengths, notes)


def _taken_off(
    smooth_points: FloatArray,
    covariance: FloatArray,
    kept: BoolArray,
    rate_hz: float,
    intensity: FloatArray,
    jumps: BoolArray,
) -> FloatArray:
    """What smoothing the smoothed paths again takes off them, shape (F, P, 3). [m]"""
    again = np.full(smooth_points.shape, np.nan)
    there = np.isfinite(intensity).any(axis=0)
    if there.any():
        again[:, there], _, _ = rts(
            smooth_points[:, there],
            covariance[:, there],
            kept[:, there],
            rate_hz,
            intensity[:, there],
            jumps[:, there],
        )
    return np.asarray(smooth_points - again, dtype=np.float64)


def _checked(points: FloatArray, covariance: FloatArray, rate_hz: float) -> BoolArray:
    """Which samples are there, shape (F, P)."""
    if points.ndim != 3 or points.shape[2] != 3 or covariance.shape != (*points.shape, 3):
        raise OptionError(
            f"smoothing: points are {points.shape} and covariance {covariance.shape}; give (F, P, 3) and (F, P, 3, 3)"
        )
    if not 0 < rate_hz < np.inf:
        raise OptionError(f"smoothing: rate_hz must be positive, got {rate_hz:g}")
    seen = np.isfinite(points).all(axis=2) & np.isfinite(covariance).all(axis=(2, 3))
    spread = np.diagonal(covariance, axis1=2, axis2=3)[seen]
    if (spread <= 0).any():
        raise OptionError("smoothing: a covariance has no positive diagonal; give that of the triangulation")
    return np.asarray(seen, dtype=np.bool_)


def _one_by_one(
    points: FloatArray, covariance: FloatArray, seen: BoolArray, rate_hz: float, jumps: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray, FloatArray]:
    """Every point by itself: places, covariances, how fast they err, what was taken out, intensities."""
    outlier = np.zeros_like(seen)
    intensity = likeliest_intensity(points, covariance, seen, rate_hz, jumps)
    for round_ in range(GATE_ROUNDS + 1):
        kept = seen & ~outlier
        place, spread, per_s = rts(points, covariance, kept, rate_hz, intensity, jumps)
        square = _against_others(points, covariance, place, spread, seen, kept)
        # Beside an outlier good ones look bad until it is out: those that fit in the end come back, once.
        last = round_ == GATE_ROUNDS or not (off := _worst(np.where(kept, square, 0.0))).any()
        outlier = outlier & (square > GATE) if last else outlier | off
        if last and (seen & ~outlier == kept).all():
            break
        intensity = likeliest_intensity(points, covariance, seen & ~outlier, rate_hz, jumps)
        if last:
            place, spread, per_s = rts(points, covariance, seen & ~outlier, rate_hz, intensity, jumps)
            break
    return place, spread, per_s, outlier, intensity


# -------------------------------------------------------------------- filter and smoother


#: One frame on, for place, velocity and acceleration of three axes; velocity per frame, acceleration per frame squared,
#: which leaves no rate in it and all entries of one size.
STEP = np.kron(np.array([[1.0, 1.0, 0.5], [0.0, 1.0, 1.0], [0.0, 0.0, 1.0]]), np.eye(3))
#: Covariance that white jerk of intensity one adds in one frame, times the rate to the fifth power: Bar-Shalom et al.
#: (2001), equation 6.2.3-8 (from memory), in those units.
WHITE_JERK = np.kron(np.array([[1 / 20, 1 / 8, 1 / 6], [1 / 8, 1 / 3, 1 / 2], [1 / 6, 1 / 2, 1.0]]), np.eye(3))


@dataclass
class _Filter:
    """Kalman filter of many points side by side; what a smoother needs is kept frame by frame.

    `advance` takes one frame of measurements (P, 3), their covariances (P, 3, 3), which of them count (P,), and the
    jerk's intensity (..., P), over whose leading axes the same points are filtered several times.
    """

    mean: FloatArray
    spread: FloatArray
    rate_hz: float

    @classmethod
    def start(cls, points: FloatArray, kept: BoolArray, rate_hz: float, shape: tuple[int, ...]) -> _Filter:
        """Before the first frame: at the first place seen, hardly known."""
        first = np.argmax(kept, axis=0)
        mean = np.zeros((*shape, 9))
        mean[..., :3] = np.where(np.asarray(kept.any(axis=0))[:, None], points[first, np.arange(len(first))], 0.0)
        place, velocity, acceleration = PRIOR_SD
        variances = np.repeat([place**2, (velocity / rate_hz) ** 2, (acceleration / rate_hz**2) ** 2], 3)
        return cls(mean, np.broadcast_to(np.diag(variances), (*shape, 9, 9)).copy(), rate_hz)

    def predict(self, intensity: FloatArray, jump: BoolArray) -> None:
        """One frame on; a blow strikes the points of `jump` (P,) on the way."""
        self.mean = self.mean @ STEP.T
        noise = intensity[..., None, None] / self.rate_hz**5 * WHITE_JERK
        if jump.any():
            # The blow falls anywhere between the frames: what it changes acts over all of the interval, or none of it.
            velocity, acceleration = SEAM_SD
            freed = np.diag(np.repeat([0.0, (velocity / self.rate_hz) ** 2, (acceleration / self.rate_hz**2) ** 2], 3))
            noise = noise + np.where(jump[:, None, None], freed + STEP @ freed @ STEP.T, 0.0)
        self.spread = STEP @ self.spread @ STEP.T + noise

    def update(self, measured: FloatArray, noise: FloatArray, kept: BoolArray) -> FloatArray:
        """Take one frame in; log likelihood of its innovations as Student's t (up to a constant), zero where none."""
        innovation = np.where(kept[:, None], measured - self.mean[..., :3], 0.0)
        noise = np.where(kept[:, None, None], noise, np.eye(3))
        total = self.spread[..., :3, :3] + noise
        inverse = np.linalg.inv(total)
        gain = np.where(kept[:, None, None], self.spread[..., :3] @ inverse, 0.0)
        self.mean = self.mean + (gain @ innovation[..., None])[..., 0]
        # Joseph's form stays symmetric and positive after the wide prior.
        keep = np.eye(9) - np.concatenate([gain, np.zeros((*gain.shape[:-1], 6))], axis=-1)
        self.spread = keep @ self.spread @ np.swapaxes(keep, -1, -2) + gain @ noise @ np.swapaxes(gain, -1, -2)
        square = np.einsum("...i,...ij,...j->...", innovation, inverse, innovation)
        likelihood = -0.5 * (np.log(np.linalg.det(total)) + (TAILS + 3.0) * np.log1p(square / TAILS))
        return np.where(kept, likelihood, 0.0)


def rts(
    points: FloatArray,
    covariance: FloatArray,
    kept: BoolArray,
    rate_hz: float,
    intensity: FloatArray,
    jumps: BoolArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Smoothed places, their covariances, and how fast their errors change, given the intensities.

    Parameters
    ----------
    points, covariance : ndarray, shape (F, P, 3), (F, P, 3, 3)
        [m], [m^2]
    kept : ndarray of bool, shape (F, P)
        Measurements that count.
    rate_hz : float
    intensity : ndarray, shape (F, P)
        Of the jerk from the frame before to this one. [m^2/s^5]
    jumps : ndarray of bool, shape (F, P)
        Whether a blow strikes a point between the frame before and this one.

    Returns
    -------
    places, covariances, per_s : ndarray, shape (F, P, 3), (F, P, 3, 3), (F, P)
        [m], [m^2], [1/s]
    """
    frames, count = kept.shape
    run = _Filter.start(points, kept, rate_hz, (count,))
    mean, spread = np.empty((frames, count, 9)), np.empty((frames, count, 9, 9))
    foreseen, foreseen_spread = np.empty_like(mean), np.empty_like(spread)
    for f in range(frames):
        if f:
            run.predict(intensity[f], jumps[f])
        foreseen[f], foreseen_spread[f] = run.mean, run.spread
        run.update(points[f], covariance[f], kept[f])
        mean[f], spread[f] = run.mean, run.spread
    gain = np.swapaxes(np.linalg.solve(foreseen_spread[1:], STEP @ spread[:-1]), -1, -2)
    for f in range(frames - 2, -1, -1):
        back = gain[f]
        mean[f] += (back @ (mean[f + 1] - foreseen[f + 1])[..., None])[..., 0]
        spread[f] += back @ (spread[f + 1] - foreseen_spread[f + 1]) @ np.swapaxes(back, -1, -2)
    place, rate = (np.trace(spread[..., part, part], axis1=-2, axis2=-1) for part in (slice(0, 3), slice(3, 6)))
    per_s = rate_hz * np.sqrt(np.maximum(rate, 0.0) / place)
    return mean[..., :3], 0.5 * (spread[..., :3, :3] + np.swapaxes(spread[..., :3, :3], -1, -2)), per_s


def likeliest_intensity(
    points: FloatArray, covariance: FloatArray, kept: BoolArray, rate_hz: float, jumps: BoolArray
) -> FloatArray:
    """Intensity of each point's jerk round each frame, shape (F, P). [m^2/s^5]

    Mean under the likelihoods of a bank of filters, `INTENSITIES`, of the innovations of the frames round it; the mean
    of its logarithm would leave the fastest tenth of a second stiff and its covariances too small. A filter that lost
    its point finds it again late, so that the bank runs in both directions.
    """
    frames, count = kept.shape
    likelihood = np.zeros((frames, len(INTENSITIES), count))
    intensity = np.broadcast_to(INTENSITIES[:, None], (len(INTENSITIES), count))
    for order, jump in ((range(frames), jumps), (range(frames - 1, -1, -1), np.roll(jumps, -1, axis=0))):
        run = _Filter.start(points[:: 1 if order.step > 0 else -1], kept[:: order.step], rate_hz, intensity.shape)
        for number, f in enumerate(order):
            if number:
                run.predict(intensity, jump[f])
            likelihood[f] += run.update(points[f], covariance[f], kept[f])
    steps = np.arange(frames)[:, None] - np.arange(frames)
    near = np.exp(-0.5 * (steps / (NEIGHBOURHOOD_S * rate_hz)) ** 2)
    # The two directions see the same measurements: each counts half. The whole path says a little, and within a gap
    # what is told beside it, where the innovation that ends the gap belongs.
    local = 0.5 * np.einsum("fg,gip->fip", near, likelihood)
    local = np.take_along_axis(local, _nearest(kept)[:, None, :], axis=0) + 0.5 * likelihood.mean(axis=0)
    weight = np.exp(local - local.max(axis=1, keepdims=True))
    return np.asarray((weight * INTENSITIES[:, None]).sum(axis=1) / weight.sum(axis=1), dtype=np.float64)


def _nearest(kept: BoolArray) -> npt.NDArray[np.intp]:
    """Of each frame the nearest with a measurement, shape (F, P); the frame itself where there is none."""
    frame = np.arange(len(kept))[:, None]
    before, after = _beside(kept)
    nearest = np.where(frame - before <= after - frame, before, after)
    return np.where(kept.any(axis=0), nearest, frame).astype(np.intp)


def _beside(kept: BoolArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Of each frame the last with a measurement up to it and the first from it on; far outside where there is none."""
    frame, far = np.arange(len(kept))[:, None], 10 * len(kept)
    before = np.maximum.accumulate(np.where(kept, frame, -far), axis=0)
    after = np.minimum.accumulate(np.where(kept, frame, far)[::-1], axis=0)[::-1]
    return before, after


# -------------------------------------------------------------------- what is taken out, what is left


def _against_others(
    points: FloatArray, covariance: FloatArray, place: FloatArray, spread: FloatArray, seen: BoolArray, kept: BoolArray
) -> FloatArray:
    """Chi-squared of each measurement against what all others say of it, shape (F, P); 0 where there is none.

    With the residual r = y - x, x the smoothed place and C its covariance, that is r' (R - C)^-1 r where the
    measurement was taken in, and r' (R + C)^-1 r where it was not.
    """
    residual = np.where(seen[..., None], points - place, 0.0)
    noise = np.where(seen[..., None, None], covariance, np.eye(3))
    # Beside a gap a measurement may stand almost alone, and then agrees with itself.
    floor = 1e-3 * np.trace(noise, axis1=2, axis2=3)[..., None, None] * np.eye(3)
    rest = noise + np.where(kept[..., None, None], floor - np.where(seen[..., None, None], spread, 0.0), spread)
    solved = np.linalg.solve(rest, residual[..., None])[..., 0]
    return np.asarray((residual * solved).sum(axis=-1), dtype=np.float64)


def _worst(square: FloatArray) -> BoolArray:
    """Measurements beyond the gate that are the worst of their neighbours."""
    greatest = square.copy()
    for shift in range(1, APART + 1):
        greatest[shift:] = np.maximum(greatest[shift:], square[:-shift])
        greatest[:-shift] = np.maximum(greatest[:-shift], square[shift:])
    return (square > GATE) & (square >= greatest)


def _bridgeable(kept: BoolArray, rate_hz: float) -> BoolArray:
    """Frames with a measurement, or in a gap between two that is not too long, shape (F, P)."""
    before, after = _beside(kept)
    return np.asarray(kept | (after - before - 1 <= LONGEST_GAP_S * rate_hz), dtype=np.bool_)


def _jumps(seams: Sequence[float], frames: int, count: int, struck: Sequence[int] | None = None) -> BoolArray:
    """Whether a blow strikes a point between the frame before and each, shape (F, P)."""
    jumps = np.zeros((frames, count), dtype=np.bool_)
    for seam in seams:
        if not 0 <= seam <= frames - 1:
            raise OptionError(f"smoothing: seam at frame {seam:g}; give one from 0 to {frames - 1}")
        jumps[min(int(np.floor(seam)) + 1, frames - 1), slice(None) if struck is None else list(struck)] = True
    return jumps


def _notes(outlier: BoolArray, seen: BoolArray, lost: BoolArray, names: Sequence[str]) -> tuple[str, ...]:
    notes = []
    if outlier.any():
        worst = int(np.argmax(outlier.sum(axis=0)))
        notes.append(
            f"{int(outlier.sum())} of {int(seen.sum())} places in space do not fit the path before and after and are"
            f" left out (most of {names[worst]}: {int(outlier[:, worst].sum())}); two cameras do not tell which erred"
        )
    never = [name for name, there in zip(names, np.any(seen, axis=0).tolist(), strict=True) if not there]
    if never:
        notes.append(f"never seen by two cameras at once: {', '.join(never)}")
    long = lost & seen.any(axis=0)
    if long.any():
        which = [name for name, has in zip(names, np.any(long, axis=0).tolist(), strict=True) if has]
        notes.append(
            f"missing in {int(long.any(axis=1).sum())} frames, as the gap is longer than {LONGEST_GAP_S:g} s or at an"
            f" end: {', '.join(which[:4])}{' ...' if len(which) > 4 else ''}"
        )
    return tuple(notes)
