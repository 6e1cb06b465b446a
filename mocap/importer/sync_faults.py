"""Why two cameras do not agree: exchanged files, mirrored pictures, other swings, a camera that moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mocap.capture import FloatArray
from mocap.importer.camera import Camera
from mocap.importer.clock_pair import FEWEST, Curve, Fit, Pair, check_tables, searched
from mocap.importer.keypoints import NOISE_PX, Keypoints, common_names

#: Rays of moving points that miss each other by more than this share of the body's height in the picture, and by more
#: than so many times the noise, are not those of one motion. This project's defaults.
MISSED_SHARE, MISSED_SD = 0.01, 4.0
#: Nor where they miss by so many times as much as those of still points. This project's default.
MISSED_MOVING = 2.5
#: A cause explains a residual that it brings down to so many times what is tolerated, and to this share of what it was.
#: This project's defaults.
EXPLAINED, EXPLAINED_SHARE = 1.5, 0.4
#: Residuals of so many times what the stated noise makes of them are looked into. This project's default.
DOUBTED = 2.0
#: A camera has moved where the rays miss by so many times what they did, and by so many pixels more, over blocks of so
#: long. Times are taken to be right to so many frames. This project's defaults.
MOVED_TIMES, MOVED_PX, MOVED_BLOCK_S, CLOCK_FRAMES = 2.0, 1.0, 0.1, 0.1


def names_of(pair: Pair) -> str:
    """The two files of a pair, for messages."""
    return f"{pair.keypoints[1].source} against {pair.keypoints[0].source}"


def missed(pair: Pair, fit: Fit) -> bool:
    """Whether more is left at the best offset than noise, a detector's errors and a fair calibration explain."""
    # Two swings from one stance agree in the feet, and miss only in what moves.
    return fit.residual_px > _tolerated(pair) or fit.residual_px > max(
        MISSED_MOVING * fit.still_px, MISSED_SD * pair.noise_px
    )


def _tolerated(pair: Pair) -> float:
    """How far rays of moving points of one motion miss each other at most. [px]"""
    tall = max(float(np.nanmedian(np.nanmax(v, axis=1) - np.nanmin(v, axis=1))) for v in _rows(pair))
    return max(MISSED_SHARE * tall, MISSED_SD * pair.noise_px)


def _rows(pair: Pair) -> list[FloatArray]:
    """v of every point in the frames that show some, both cameras."""
    return [found.pixels[np.isfinite(found.pixels[..., 1]).any(axis=1), :, 1] for found in pair.keypoints]


def doubt(pair: Pair, fit: Fit) -> str:
    """One line on rays that miss each other by more than noise explains."""
    return (
        f"{names_of(pair)}: rays to the same point miss each other by {fit.residual_px:.1f} px,"
        f" {fit.noise_scale:.1f} times what the stated noise explains; calibrate again, or state more noise"
    )


def why_not(pair: Pair, curve: Curve, search_s: float, explained: tuple[str, float] | None) -> str:
    """One line on rays that miss each other at every offset, with what would mend it."""
    if not np.isfinite(curve.residual_px).any():
        return (
            f"{names_of(pair)}: the clips have no motion in common within {search_s:g} s; give clips of the same swing"
        )
    least = float(curve.residual_px[np.nanargmax(np.where(np.isfinite(curve.residual_px), curve.agreement, -1.0))])
    found = (
        f"{names_of(pair)}: the residual stays {least:.1f} px at every offset within {search_s:g} s (how far rays to"
        " the same point miss each other)"
    )
    if explained is not None:
        return f"{found}, but is {explained[1]:.1f} px {explained[0]}"
    return (
        f"{found}: the clips show different swings or different people, or a camera has moved since it was calibrated;"
        " give clips of the same swing, look at who is followed, or calibrate again"
    )


def explained_by(pair: Pair, curve: Curve, search_s: float) -> tuple[str, float] | None:
    """What makes the residual fair, and much less than it is, and what it is then; None where nothing does."""
    one, other = pair.keypoints
    mend = [
        ("with the two files of points exchanged; exchange them", (other, one)),
        ("with left and right of its body exchanged; exchange the names", (one, sides_exchanged(other))),
    ]
    for number, (camera, found) in enumerate(zip(pair.cameras, pair.keypoints, strict=True)):
        what = f"with the picture of {found.source} mirrored; film it without the mirror, or mirror the points back"
        # A detector names the sides of a mirrored body as it sees them; who mirrored the points may not have.
        turns = (mirrored(found, camera), sides_exchanged(mirrored(found, camera)))
        mend += [(what, (turned, other) if number == 0 else (one, turned)) for turned in turns]
    best: tuple[str, float] | None = None
    now = int(np.argmax(curve.agreement))
    # Offsets are whole frames here, so that a sound pair may miss by some more.
    least = min(
        EXPLAINED_SHARE * float(np.nan_to_num(curve.residual_px[now], nan=np.inf)), EXPLAINED * _tolerated(pair)
    )
    for what, keypoints in mend:
        tried = searched(Pair.of(pair.cameras, keypoints, pair.noise_px), search_s)
        at = int(np.argmax(tried.agreement))
        if tried.agreement[at] > curve.agreement[now] and tried.residual_px[at] < least:
            best, least = (what, float(tried.residual_px[at])), float(tried.residual_px[at])
    return best


def mirrored(found: Keypoints, camera: Camera) -> Keypoints:
    """As a mirrored picture would have shown them."""
    pixels = found.pixels.copy()
    pixels[..., 0] = camera.size[0] - 1 - pixels[..., 0]
    return replace(found, pixels=pixels)


def sides_exchanged(found: Keypoints) -> Keypoints:
    """The same with left and right exchanged."""
    other = {"l_": "r_", "r_": "l_"}
    names = [other[name[:2]] + name[2:] if name[:2] in other else name for name in found.names]
    return replace(found.select(names), names=found.names)


@dataclass(frozen=True)
class Moved:
    """A camera that no longer stands where it was calibrated.

    Attributes
    ----------
    cameras : tuple of two str
        One of them, or both; two cameras do not tell which.
    since_s : float
        On the common clock. [s]
    before_px, after_px : float
        Median distance between the rays before and after. [px]
    """

    cameras: tuple[str, str]
    since_s: float
    before_px: float
    after_px: float

    def __str__(self) -> str:
        return (
            f"{self.cameras[0]} or {self.cameras[1]} moved at about {self.since_s:.2f} s: their rays miss each other by"
            f" {self.after_px:.1f} px since, by {self.before_px:.1f} px before; use the swing before it, or calibrate"
            " and film again"
        )


def find_moved(
    cameras: Sequence[Camera], keypoints: Sequence[Keypoints], *, noise_px: float = NOISE_PX
) -> tuple[Moved, ...]:
    """Cameras whose rays begin to miss each other during the recording, and stay so to its end.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        With the clocks as found (`Sync.applied`).
    keypoints : sequence of Keypoints, length C
    noise_px : float
        [px]

    Returns
    -------
    tuple of Moved
        One for each camera that misses the first one.

    Raises
    ------
    InputError
        A camera without a rate, or no point in common.
    """
    check_tables(cameras, keypoints)
    moved = []
    for camera, found in zip(cameras[1:], keypoints[1:], strict=True):
        names = common_names([keypoints[0], found])
        pair = Pair.of((cameras[0], camera), (keypoints[0].select(names), found.select(names)), noise_px)
        residual, _, speed, times = pair.at(0.0)
        # What a tenth of a frame between the clocks makes of a fast point is no motion of the camera.
        calm = np.abs(residual) / np.hypot(1.0, CLOCK_FRAMES * np.nan_to_num(speed))
        block = np.floor((times - times[0]) / MOVED_BLOCK_S).astype(np.intp)
        rows = [calm[block == number] for number in range(int(block[-1]) + 1)]
        full = [number for number, row in enumerate(rows) if np.isfinite(row).sum() >= FEWEST]
        since = _onset(np.array([np.nanmedian(rows[number]) for number in full]))
        if since is not None:
            at = full[since]
            before, after = np.abs(residual[block < at]), np.abs(residual[block >= at])
            who = (cameras[0].name or keypoints[0].source, camera.name or found.source)
            start = float(times[block == at][0])
            moved.append(Moved(who, start, float(np.nanmedian(before)), float(np.nanmedian(after))))
    return tuple(moved)


def _onset(medians: FloatArray) -> int | None:
    """First block from which nearly all to the end are well above those at the start; None where there is none."""
    count = len(medians)
    start = max(count // 4, 2)
    if count < start + 3:
        return None
    usual = float(np.median(medians[:start]))
    above = medians > max(MOVED_TIMES * usual, usual + MOVED_PX)
    for first in range(start, count - 2):
        if above[first : first + 2].all() and above[first:].mean() >= 0.9:
            return first
    return None
