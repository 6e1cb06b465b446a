"""When each camera took its pictures: time offset and clock drift between cameras that run freely.

Frame n of a camera is at `time_offset_s + offset_s + n (1 + drift) / rate_hz` on the first camera's clock, where offset
and drift are what its file does not know. Rays from two cameras to one point at one instant meet; of a point that moves
they pass each other when the instants differ. The offset found is that of the least robust sum of squares of these
epipolar distances (`clock_pair`).

Limits. A rolling shutter reads the rows of a picture one after another, in 5 to 30 ms (common practice, no source): a
point low in the picture is later than one high up. The offset found is that of the rows where the motion was, and what
the readout differs by between the two cameras stays as an error. Points on a line that moves along its own epipolar
plane say nothing of time: two cameras level with each other see no offset in a purely horizontal motion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.clock_pair import FEWEST, Curve, Fit, Pair, check_tables, rate_of, refined, searched, telling
from mocap.importer.interpolation import between
from mocap.importer.keypoints import NOISE_PX, Keypoints, common_names
from mocap.importer.sync_faults import DOUBTED, doubt, explained_by, missed, names_of, why_not

#: Offsets are tried so far to either side of what the files state. [s]
SEARCH_S = 3.0
#: The offset is not taken where its standard deviation is larger than this. [frames of the slower camera]
VAGUE_FRAMES = 0.5
#: What every offset that was found from motion holds with.
ROLLING_SHUTTER = (
    "the offset is that of the rows of the pictures in which the hitter moves; a rolling shutter takes other rows up to"
    " its readout time earlier or later, which is not corrected"
)


@dataclass(frozen=True)
class Sync:
    """Clocks of cameras against the first one's.

    Attributes
    ----------
    offset_s : ndarray, shape (C,)
        What to add to each camera's `time_offset_s`; zero for the first. [s]
    drift : ndarray, shape (C,)
        Share by which its frames are longer than stated. [-]
    sd_s : ndarray, shape (C,)
        Standard deviation of the times of its pictures while the hitter moves; of the noise in the points alone. [s]
    drift_sd : ndarray, shape (C,)
        NaN where the drift was not looked for. [-]
    residual_px : ndarray, shape (C,)
        Median epipolar distance of moving points that is left; NaN where not looked at. [px]
    noise_scale : ndarray, shape (C,)
        Residuals over what the stated noise makes of them: 1 where that is right; NaN where not looked at. [-]
    curves : tuple of Curve or None, length C
    notes : tuple of str
    """

    offset_s: FloatArray
    drift: FloatArray
    sd_s: FloatArray
    drift_sd: FloatArray
    residual_px: FloatArray
    noise_scale: FloatArray
    curves: tuple[Curve | None, ...]
    notes: tuple[str, ...]

    def applied(self, cameras: Sequence[Camera]) -> tuple[Camera, ...]:
        """The cameras with offset and rate as found."""
        return tuple(
            replace(
                camera, time_offset_s=camera.time_offset_s + float(off), rate_hz=rate_of(camera) / (1.0 + float(drift))
            )
            for camera, off, drift in zip(cameras, self.offset_s, self.drift, strict=True)
        )

    def then(self, finer: Sync) -> Sync:
        """These clocks and what was found after they were applied, as one."""
        return replace(
            finer,
            offset_s=self.offset_s + finer.offset_s,
            drift=(1.0 + self.drift) * (1.0 + finer.drift) - 1.0,
            notes=(*self.notes, *finer.notes),
        )


def find_offset(
    cameras: Sequence[Camera],
    keypoints: Sequence[Keypoints],
    *,
    search_s: float = SEARCH_S,
    noise_px: float = NOISE_PX,
) -> Sync:
    """Offset and drift of every camera against the first, from the motion that they saw.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        Calibrated, with rates; `time_offset_s` is where the search begins.
    keypoints : sequence of Keypoints, length C
    search_s : float
        How far to look to either side. [s]
    noise_px : float
        Standard deviation per axis of a point that the detector is sure of. [px]

    Returns
    -------
    Sync
        Of a camera with a rolling shutter: of the rows in which the hitter moves; the readout is not corrected.

    Raises
    ------
    InputError
        A camera without a rate, no point in common, hardly any motion that both saw, or rays that pass each other at
        every offset; the message says by how much, and whether exchanged files, a mirrored picture or exchanged sides
        explain it.
    OptionError
        Fewer than two cameras, or a search or a noise that is not positive.
    """
    check_tables(cameras, keypoints)
    if not (search_s > 0 and noise_px > 0):
        raise OptionError(f"search_s is {search_s:g} and noise_px {noise_px:g}; give positive ones")
    fits = [Fit(0.0, 0.0, 0.0, 0.0, np.nan, np.nan)]
    for camera, found in zip(cameras[1:], keypoints[1:], strict=True):
        names = common_names([keypoints[0], found])
        pair = Pair.of((cameras[0], camera), (keypoints[0].select(names), found.select(names)), noise_px)
        fits.append(_fitted(pair, search_s))
    return _sync(fits, ROLLING_SHUTTER)


def offset_from_events(cameras: Sequence[Camera], frames: Sequence[Sequence[float]]) -> Sync:
    """Offset of every camera from events that all of them show, such as a flash or the sound of contact.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    frames : sequence of C sequences of E floats
        Frame of each event in each camera, counted from 0; fractions are welcome.

    Returns
    -------
    Sync
        From two events on with drift. A frame is taken to be right to within half a frame, evenly.

    Raises
    ------
    InputError
        A camera without a rate.
    OptionError
        Another number of events in one camera, none, one that is no number, or two at one time.
    """
    if len(cameras) < 2 or len(frames) != len(cameras) or len({len(own) for own in frames}) > 1 or not len(frames[0]):
        raise OptionError("events: give the frames of the same one or more events for each of two or more cameras")
    at = np.array(frames, dtype=np.float64)
    if not np.isfinite(at).all():
        raise OptionError("events: a frame is no number; give frames counted from 0")
    times = np.stack([camera.time_offset_s + own / rate_of(camera) for camera, own in zip(cameras, at, strict=True)])
    fits = [Fit(0.0, 0.0, 0.0, 0.0, np.nan, np.nan)]
    for camera, own, time in zip(cameras[1:], at[1:], times[1:], strict=True):
        # Even over one frame: a twelfth of its square.
        variance = (rate_of(cameras[0]) ** -2 + rate_of(camera) ** -2) / 12.0
        late, since = times[0] - time, own / rate_of(camera)
        if len(own) == 1:
            fits.append(Fit(float(late[0]), 0.0, float(np.sqrt(variance)), np.nan, np.nan, np.nan))
            continue
        if not np.ptp(since) > 0:
            raise OptionError(
                f"events: all of camera {camera.name} are in one frame; give events apart from each other"
            )
        middle = since.mean()
        spread = ((since - middle) ** 2).sum()
        drift = float(((since - middle) * late).sum() / spread)
        offset = float(late.mean() - drift * middle)
        sd, drift_sd = float(np.sqrt(variance / len(own))), float(np.sqrt(variance / spread))
        fits.append(Fit(offset, drift, sd, drift_sd, np.nan, np.nan))
    return _sync(fits)


def on_one_clock(
    cameras: Sequence[Camera],
    keypoints: Sequence[Keypoints],
    *,
    clock_sd_s: npt.ArrayLike = 0.0,
    noise_px: float = NOISE_PX,
) -> tuple[tuple[str, ...], FloatArray, FloatArray, FloatArray]:
    """What every camera saw at the times of the first camera's frames, ready for `triangulate`.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        With the clocks as found (`Sync.applied`).
    keypoints : sequence of Keypoints, length C
    clock_sd_s : float or array-like, shape (C,)
        Standard deviation of each camera's times (`Sync.sd_s`): a fast point is as much less certain. [s]
    noise_px : float
        [px]

    Returns
    -------
    names : tuple of str, length P
        Points that the first camera and another one have.
    times : ndarray, shape (F,)
        Of the first camera's frames. [s]
    pixels : ndarray, shape (C, F, P, 2)
        NaN where a camera did not see a point at that time. [px]
    sd_px : ndarray, shape (C, F, P)
        [px]

    Raises
    ------
    InputError
        A camera without a rate, or no point in common.
    """
    check_tables(cameras, keypoints)
    others = {name for found in keypoints[1:] for name in found.names}
    names = tuple(name for name in keypoints[0].names if name in others) or common_names(keypoints)
    times = keypoints[0].times(cameras[0])
    pixels, sd = [], []
    clocks = np.broadcast_to(np.asarray(clock_sd_s, dtype=np.float64), len(cameras))
    for camera, found, late in zip(cameras, keypoints, clocks, strict=True):
        own = found.select(names)
        index = (times - camera.time_offset_s) * rate_of(camera) - own.first_frame
        # The first camera's own frames, but for rounding.
        index = np.where(np.abs(index - np.round(index)) < 1e-6, np.round(index), index)
        seen, spread = between(own.pixels, own.sd_px(noise_px), index)
        fast = np.hypot(*np.moveaxis(np.gradient(seen, times, axis=0), -1, 0)) if late and len(times) > 1 else 0.0
        pixels.append(seen)
        sd.append(np.hypot(spread, late * np.nan_to_num(fast)))
    return names, times, np.stack(pixels), np.stack(sd)


def _fitted(pair: Pair, search_s: float) -> Fit:
    """Offset and drift of one pair, or an error that says why there is none."""
    for speed, found in zip(pair.speed, pair.keypoints, strict=True):
        if (telling(speed) > 0.5).sum() < FEWEST:
            raise InputError(
                f"{found.source}: hardly anything moves in it, so that it cannot be synchronised; give a clip of a"
                " whole swing, or a flash or sound that both cameras show"
            )
    curve = searched(pair, search_s)
    fit = refined(pair, float(curve.offset_s[np.argmax(curve.agreement)]), curve)
    if fit is None or fit.noise_scale > DOUBTED or missed(pair, fit):
        explained = explained_by(pair, curve, search_s)
        if fit is None or explained is not None or missed(pair, fit):
            raise InputError(why_not(pair, curve, search_s, explained))
        fit = replace(fit, notes=(*fit.notes, doubt(pair, fit)))
    if fit.sd_s > VAGUE_FRAMES / pair.rate[pair.slower]:
        raise InputError(
            f"{names_of(pair)}: the motion tells the offset to {1e3 * fit.sd_s:.0f} ms only; give a clip with a whole"
            " swing, set the cameras at two heights, or give a flash or sound that both show"
        )
    return fit


def _sync(fits: Sequence[Fit], *notes: str) -> Sync:
    """One answer of the cameras' own."""

    def column(name: str) -> FloatArray:
        return np.array([getattr(fit, name) for fit in fits], dtype=np.float64)

    return Sync(
        offset_s=column("offset_s"),
        drift=column("drift"),
        sd_s=column("sd_s"),
        drift_sd=column("drift_sd"),
        residual_px=column("residual_px"),
        noise_scale=column("noise_scale"),
        curves=tuple(fit.curve for fit in fits),
        notes=(*(note for fit in fits for note in fit.notes), *notes),
    )
