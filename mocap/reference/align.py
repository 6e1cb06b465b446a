"""A reference brought to a hitter: his height, his place, his time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.reference.model import Reference
from mocap.swing import POINTS, Moment, Swing

#: Moments that both swings are synchronised at. Toe touch and flat foot lie too close to plant to be worth an anchor.
ANCHORS = ("stance", "lift", "plant", "contact", "finish")


def synchronised_times(
    moments: Mapping[str, Moment], reference: Mapping[str, float], frames: FloatArray, rate_hz: float
) -> FloatArray:
    """Time in the reference that shows the same phase of the swing.

    Parameters
    ----------
    moments : mapping of str to Moment
        The hitter's; what is shown of a moment is its frame, so the frame is what is synchronised.
    reference : mapping of str to float
        The reference's, name to time. [s]
    frames : ndarray, shape (F,)
        Of the hitter, whole or in between.
    rate_hz : float
        Of the hitter. [Hz]

    Returns
    -------
    ndarray, shape (F,)
        [s]

    Notes
    -----
    Monotone piecewise cubic through the moments that both have (Fritsch & Carlson 1980, SIAM J Numer Anal 17:238-246),
    with the clock's own pace before the first and after the last.
    """
    from scipy.interpolate import PchipInterpolator

    pairs: list[tuple[float, float]] = []
    for name in ANCHORS:
        index, other = moments[name].index, reference.get(name)
        if index is None or other is None:
            continue
        time = index / rate_hz
        if not pairs or (time > pairs[-1][0] + 1e-3 and other > pairs[-1][1] + 1e-3):
            pairs.append((time, other))
    times = np.asarray(frames) / rate_hz
    own, others = (np.array(column) for column in zip(*pairs, strict=True))
    if len(own) == 1:
        return times - own[0] + others[0]
    inside = PchipInterpolator(own, others)(np.clip(times, own[0], own[-1]))
    synchronised: FloatArray = inside + np.minimum(times - own[0], 0.0) + np.maximum(times - own[-1], 0.0)
    return synchronised


def aligned_points(swing: Swing, reference: Reference) -> FloatArray:
    """The reference at the hitter's frames, height and place.

    Parameters
    ----------
    swing : Swing
    reference : Reference

    Returns
    -------
    ndarray, shape (F, P, 3)
        Hitting frame; at plant the middle of its feet lies over the middle of the hitter's. [m]

    Raises
    ------
    InputError
        An ankle of the hitter is not seen at plant.
    """
    frames = np.arange(swing.n_frames, dtype=float)
    if swing.setup.held:  # the reference holds its landing, too
        times = np.full_like(frames, reference.moments["plant"])
    else:
        times = synchronised_times(swing.moments, reference.moments, frames, swing.rate_hz)
    points = reference.at(times) * swing.height_m
    plant = reference.at(np.array([reference.moments["plant"]]))[0] * swing.height_m
    index = swing.index("plant")
    assert index is not None  # build_swing never returns a swing without it
    shift = middle_of_feet(swing.points[index]) - middle_of_feet(plant)
    if not np.isfinite(shift).all():
        raise InputError(
            f"{swing.source}: an ankle is not seen at foot-plant (frame {index}), so the reference cannot be laid under"
            " the hitter; fill the gap, or set a frame nearby with --moment plant=FRAME"
        )
    return points + np.array([shift[0], shift[1], 0.0])


def middle_of_feet(points: FloatArray) -> FloatArray:
    """Midway between the ankles of points of shape (P, 3). [m]"""
    feet = points[[POINTS.index("front_ankle"), POINTS.index("back_ankle")]]
    middle: FloatArray = feet.mean(axis=0)
    return middle
