"""Clips and cameras that do not belong together, told before anything is made of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.importer.camera import Camera
from mocap.importer.clock_pair import Fit, Pair, refined, searched, telling
from mocap.importer.keypoints import NOISE_PX, Keypoints, common_names
from mocap.importer.sync_faults import MISSED_SD, Moved, explained_by, find_moved, missed, names_of, why_not
from mocap.importer.synchronise import SEARCH_S

#: So many of a clip's points may lie outside the camera's picture, as detectors guess beyond its edge. Our default.
OUTSIDE_SHARE = 0.05


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
) -> None:
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

    Raises
    ------
    InputError
        Unsynchronised clips, exchanged files, mirrored pictures, different swings or people, a camera that moved: which
        of these it is, and what to do.
    """
    for camera, found in zip(cameras[1:], keypoints[1:], strict=True):
        names = common_names([keypoints[0], found])
        two = (cameras[0], camera), (keypoints[0].select(names), found.select(names))
        pair = Pair.of(*two, noise_px)
        stated = _as_stated(pair)
        moved = _moved(two[0], two[1], noise_px)
        if stated is not None and not missed(pair, stated):
            if moved is not None:
                raise InputError(str(moved))
            continue
        curve = searched(pair, search_s)
        late = refined(pair, float(curve.offset_s[np.argmax(curve.agreement)]), curve)
        if late is not None and not missed(pair, late):
            raise InputError(_unsynchronised(pair, stated, late))
        explained = explained_by(pair, curve, search_s)
        if explained is None and moved is not None:
            raise InputError(str(moved))
        raise InputError(why_not(pair, curve, search_s, explained))


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
    return Fit(0.0, 0.0, 0.0, np.nan, middle(residual[used]), middle(standard[used]), middle(residual[still]))


def _moved(cameras: tuple[Camera, Camera], keypoints: tuple[Keypoints, Keypoints], noise_px: float) -> Moved | None:
    """A camera that moved although the rays met before; two different swings never met."""
    found = find_moved(cameras, keypoints, noise_px=noise_px)
    return next((one for one in found if one.before_px < MISSED_SD * noise_px), None)


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
        f" {1e3 * abs(late.offset_s):.0f} ms {'later' if late.offset_s > 0 else 'earlier'}; run mocap sync first, or let"
        " the clocks be found (--clocks find)"
    )
