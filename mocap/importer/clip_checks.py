"""Clips and cameras that do not belong together, told before anything is made of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.importer.camera import Camera
from mocap.importer.clock_pair import FEWEST, Fit, Pair, refined, searched, telling
from mocap.importer.keypoints import NOISE_PX, Keypoints, common_names
from mocap.importer.sync_faults import DOUBTED, MISSED_SD, doubt, explained_by, find_moved, missed, names_of, why_not
from mocap.importer.synchronise import SEARCH_S
from mocap.importer.two_views import MAD_TO_SD

#: So many of a clip's points may lie outside the camera's picture, as detectors guess beyond its edge. Our default.
OUTSIDE_SHARE = 0.05
#: Exchanged files and mirrored pictures are looked for so near to the stated clocks. This project's default. [s]
NEAR_S = 0.1
#: Rays that miss each other by so many times what the stated noise makes of them, those of fast points above all, are
#: looked into; those of good clips come to 0.9 to 1.2 (`scripts/accuracy_clip_checks.py`). Fast is more than so many
#: pixels per frame. This project's defaults.
SUSPECT, FAST_PX = 1.4, 8.0
#: Clocks are refused where they are off by so many frames and so many standard deviations, and the rays of fast points
#: then miss each other by less than this share of what they did. This project's defaults.
LATE_FRAMES, LATE_SD, LATE_SHARE = 0.5, 6.0, 0.7


def check_inside(cameras: Sequence[Camera], keypoints: Sequence[Keypoints]) -> None:
    """Refuse points that were found in pictures of another size than the camera's.

    Raises
    ------
    InputError
        More than `OUTSIDE_SHARE` of a clip's points lie outside the picture.
    """
    for camera, found in zip(cameras, keypoints, strict=True):
        seen = found.pixels[np.isfinite(found.pixels).all(axis=-1)]
        outside = float((~camera.inside(seen)).mean())
        if outside > OUTSIDE_SHARE:
            (u, v), (width, height) = np.abs(seen).max(axis=0), camera.size
            raise InputError(
                f"{found.source}: {100 * outside:.0f} % of its points lie outside camera {camera.name}'s picture of"
                f" {width} x {height} px (they reach {u:.0f}, {v:.0f}); find them in pictures of that size, or give the"
                " camera that took them"
            )


def check_together(
    cameras: Sequence[Camera], keypoints: Sequence[Keypoints], *, noise_px: float = NOISE_PX, search_s: float = SEARCH_S
) -> tuple[str, ...]:
    """Refuse clips whose rays do not meet by the clocks that the cameras have.

    Parameters
    ----------
    cameras : sequence of Camera, length C
        With their clocks.
    keypoints : sequence of Keypoints, length C
    noise_px : float
        [px]
    search_s : float
        How far to look for the clock that would make them meet. [s]

    Returns
    -------
    tuple of str
        What is in doubt, but no reason to refuse: one line each.

    Raises
    ------
    InputError
        Unsynchronised clips, exchanged files, mirrored pictures, different swings or people, a camera that moved: which
        of these it is, and what to do.
    """
    notes: list[str] = []
    for camera, found in zip(cameras[1:], keypoints[1:], strict=True):
        names = common_names([keypoints[0], found])
        pair = Pair.of((cameras[0], camera), (keypoints[0].select(names), found.select(names)), noise_px)
        notes += _checked(pair, search_s)
    return tuple(notes)


def _checked(pair: Pair, search_s: float) -> list[str]:
    """What is in doubt about one pair, or an error that says what is wrong with it."""
    stated = _as_stated(pair)
    meet = stated is not None and not missed(pair, stated)
    if stated is None or stated.noise_scale >= DOUBTED or not meet:
        # What is wrong with the clips shows near the stated clocks, if these are right.
        near = searched(pair, min(NEAR_S, search_s))
        explained = explained_by(pair, near, min(NEAR_S, search_s)) if stated is not None else None
        if explained is not None:
            raise InputError(why_not(pair, near, min(NEAR_S, search_s), explained))
    if stated is not None and meet and max(stated.noise_scale, _fast_scale(pair, 0.0, 0.0)) < SUSPECT:
        check_moved(pair.cameras, pair.keypoints, noise_px=pair.noise_px)
        return []
    curve = searched(pair, search_s)
    late = refined(pair, float(curve.offset_s[np.argmax(curve.agreement)]), curve)
    if late is not None and _better(pair, stated, late):
        raise InputError(_unsynchronised(pair, stated, late))
    check_moved(pair.cameras, pair.keypoints, noise_px=pair.noise_px, surely=meet)
    if stated is None or not meet:
        raise InputError(why_not(pair, curve, search_s, explained_by(pair, curve, search_s)))
    return [doubt(pair, stated)] if stated.noise_scale >= DOUBTED else []


def _better(pair: Pair, stated: Fit | None, late: Fit) -> bool:
    """Whether another clock makes the rays meet, and the stated one surely does not."""
    if missed(pair, late):
        return False
    if stated is None or missed(pair, stated):
        # Those of a camera that moved meet better at some other clock too, but not well.
        return late.noise_scale < max(DOUBTED, 0.5 * stated.noise_scale if stated is not None else 0.0)
    surely = abs(late.offset_s) > max(LATE_FRAMES / pair.rate[pair.slower], LATE_SD * late.sd_s)
    return (
        surely
        and late.noise_scale < DOUBTED
        and _fast_scale(pair, late.offset_s, late.drift) < LATE_SHARE * _fast_scale(pair, 0.0, 0.0)
    )


def _fast_scale(pair: Pair, offset_s: float, drift: float) -> float:
    """How far the rays of fast points miss each other, over what the stated noise makes of it; zero with too few."""
    _, standard, speed, _ = pair.at(offset_s + drift * pair.middle_s, drift)
    fast = np.isfinite(standard) & (np.nan_to_num(speed) > FAST_PX)
    return MAD_TO_SD * float(np.median(np.abs(standard[fast]))) if fast.sum() >= FEWEST else 0.0


def check_moved(
    cameras: Sequence[Camera], keypoints: Sequence[Keypoints], *, noise_px: float = NOISE_PX, surely: bool = True
) -> None:
    """Refuse a camera that moved although the rays met before; those of two different people never met.

    Parameters
    ----------
    cameras, keypoints, noise_px
        As in `check_together`.
    surely : bool
        Whether the clips are known to show one swing on one clock.

    Raises
    ------
    InputError
        Which cameras, and from when.
    """
    for moved in find_moved(cameras, keypoints, noise_px=noise_px):
        if moved.before_px < MISSED_SD * noise_px:
            other = "" if surely else "; if neither moved, the clips show different swings or are not in step"
            raise InputError(f"{moved}{other}")


def _as_stated(pair: Pair) -> Fit | None:
    """How the rays of a pair miss each other by the stated clocks; None where the clips have no moment in common."""
    residual, standard, speed, _ = pair.at(0.0)
    there = np.isfinite(residual)
    if not there.any():
        return None
    moving = there & (telling(speed) > 0.5)
    still = there & ~moving

    def middle(those: FloatArray) -> float:
        return float(np.median(np.abs(those))) if those.size else float("nan")

    used = moving if moving.any() else still
    scale = MAD_TO_SD * middle(standard[there])
    return Fit(0.0, 0.0, 0.0, np.nan, middle(residual[used]), scale, middle(residual[still]))


def _unsynchronised(pair: Pair, stated: Fit | None, late: Fit) -> str:
    """One line on clocks that are not those of the clips."""
    now = (
        "the clips have no moment in common by the clocks in their camera files"
        if stated is None
        else f"rays to the same moving point miss each other by {stated.residual_px:.1f} px by the clocks in the camera"
        " files"
    )
    return (
        f"{names_of(pair)}: the clips are not synchronised: {now}, and by {late.residual_px:.1f} px with the second"
        f" {1e3 * abs(late.offset_s):.0f} ms {'later' if late.offset_s > 0 else 'earlier'}; run mocap sync first, or"
        " let the clocks be found (--clocks find)"
    )
