"""Points that were smoothed before they came here: their errors are slow, and moments err with them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from mocap.capture import Capture, FloatArray, PointErrors
from mocap.errors import MocapError
from mocap.kinematics.moments import SlowError
from mocap.swing import POINTS, Moment, Side

#: In so many swings that could equally have been recorded the moments are found again: their standard deviations are
#: good to a tenth.
DRAWS = 50
#: Points that lie midway between two joints, where the recording has none of their own.
_MIDDLES = {"pelvis": "hip", "neck": "shoulder"}


def errors_in(capture: Capture, turn: FloatArray, side: Side) -> PointErrors | None:
    """What a recording says of the errors of its smoothed points, in the order of `POINTS` and in other axes.

    Parameters
    ----------
    capture : Capture
    turn : ndarray, shape (3, 3)
        From the recording's axes, with or without a mirror.
    side : {"right", "left"}
        On which the hitter bats.

    Returns
    -------
    PointErrors or None
        Zero where nothing is stated, as in gaps, which have their own error; None of points that were not smoothed.
    """
    if capture.errors is None:
        return None
    front = "l" if side == "right" else "r"
    sides = {f"{front}_": "front_", f"{'r' if front == 'l' else 'l'}_": "back_"}
    names = [sides.get(label[:2].lower(), label[:2].lower()) + label[2:].lower() for label in capture.labels]
    stated = capture.errors
    frames, count = capture.points.shape[0], stated.common.shape[-1]
    covariance = np.zeros((frames, len(POINTS), 3, 3))
    per_s, common = np.zeros((frames, len(POINTS))), np.zeros((frames, len(POINTS), 3, count))
    filled = np.zeros((frames, len(POINTS)), dtype=np.bool_)
    for column, name in enumerate(POINTS):
        middle = _MIDDLES.get(name)
        joints = [name] if name in names or middle is None else [f"front_{middle}", f"back_{middle}"]
        own = [names.index(joint) for joint in joints if joint in names]
        if len(own) < len(joints):
            continue
        covariance[:, column] = np.nan_to_num(stated.covariance[:, own]).sum(axis=1) / len(own) ** 2
        per_s[:, column] = np.nan_to_num(stated.per_s[:, own]).mean(axis=1)
        common[:, column] = np.nan_to_num(stated.common[:, own]).mean(axis=1)
        filled[:, column] = stated.filled[:, own].any(axis=1)
    return PointErrors(turn @ covariance @ turn.T, per_s, turn @ common, filled)


def slow_errors(capture: Capture) -> dict[str, SlowError]:
    """Each smoothed point's own error, by its label in lower case."""
    if capture.errors is None:
        return {}
    sd = np.sqrt(np.nan_to_num(np.trace(capture.errors.covariance, axis1=2, axis2=3)) / 3.0)
    each = zip(sd.T, np.nan_to_num(capture.errors.per_s).T, strict=True)
    return {label.lower(): SlowError(*own) for label, own in zip(capture.labels, each, strict=True)}


def held_errors(capture: Capture, fit_sd_m: Mapping[str, FloatArray]) -> PointErrors | None:
    """The errors of a recording's points that are left once a skeleton was fitted to them.

    Parameters
    ----------
    capture : Capture
    fit_sd_m : mapping of str to ndarray, shape (F,)
        How closely the fit holds joints, by label in lower case: the others hold one that is hardly known itself. [m]

    Returns
    -------
    PointErrors or None
        None of points that were not smoothed.
    """
    if capture.errors is None:
        return None
    covariance = capture.errors.covariance.copy()
    for column, label in enumerate(capture.labels):
        if label.lower() in fit_sd_m:
            own = np.trace(covariance[:, column], axis1=1, axis2=2) / 3.0
            held = np.nan_to_num(fit_sd_m[label.lower()], nan=np.inf) ** 2
            less = np.where(own > held, held / np.where(own > held, own, 1.0), 1.0)
            covariance[:, column] *= less[:, None, None]
    return replace(capture.errors, covariance=covariance)


def blur_width_s(per_s: float) -> float:
    """Standard deviation of the normal curve that smoothing has blurred a path with, by the pace of its errors. [s]

    White noise that such a curve blurs has the correlation exp(-d^2 / 4 b^2), and so the pace 1 / (b sqrt 2); zero
    where no pace is stated.
    """
    return 1.0 / (float(np.sqrt(2.0)) * per_s) if per_s > 0.0 else 0.0


def error_roots(errors: PointErrors, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """What turns independent normal numbers into errors of smoothed points.

    Parameters
    ----------
    errors : PointErrors
    rate_hz : float

    Returns
    -------
    along : ndarray, shape (P, F, F)
        Root of each point's correlation over time.
    across : ndarray, shape (F, P, 3, 3)
        Root of each point's covariance in each frame. [m]

    Notes
    -----
    The error is taken as a normal process that is once differentiable, of correlation exp(-d^2 / 2) between two
    frames, where d counts the time between them in the errors' own pace (the integral of `per_s`). Its place and its
    rate then have the standard deviations that the smoother states.
    """
    pace = np.vstack([np.zeros(errors.per_s.shape[1]), 0.5 * (errors.per_s[1:] + errors.per_s[:-1])]).cumsum(axis=0)
    apart = (pace[:, None] - pace[None]) / rate_hz
    values, axes = np.linalg.eigh(np.moveaxis(np.exp(-0.5 * apart**2), 2, 0))
    along = axes * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    sizes, directions = np.linalg.eigh(errors.covariance)
    across = directions * np.sqrt(np.maximum(sizes, 0.0))[..., None, :] @ np.swapaxes(directions, -1, -2)
    return along, np.asarray(across, dtype=np.float64)


def drawn_errors(roots: tuple[FloatArray, FloatArray], count: int, rng: np.random.Generator) -> FloatArray:
    """Errors that smoothed points could have, each point's own, shape (N, F, P, 3). [m]"""
    along, across = roots
    points, frames = along.shape[:2]
    slow = along @ rng.normal(size=(points, frames, count * 3))
    return np.asarray(
        np.einsum("fpij,pfnj->nfpi", across, slow.reshape(points, frames, count, 3), optimize=True), dtype=np.float64
    )


def scattered(
    moments: Mapping[str, Moment],
    find: Callable[[Mapping[str, FloatArray]], Mapping[str, Moment]],
    errors: PointErrors,
    rate_hz: float,
    by_hand: Collection[str],
) -> Mapping[str, Moment]:
    """Moments with the standard deviation that errors of the points add to them; those set by hand as they are.

    Parameters
    ----------
    moments : mapping of str to Moment
        As found.
    find : callable
        Finds them again with every point displaced, by the point's name, shape (F, 3). [m]
    errors : PointErrors
        In the axes in which points are displaced.
    rate_hz : float
    by_hand : collection of str

    Returns
    -------
    mapping of str to Moment

    Notes
    -----
    The moments are found anew in swings that could equally have been recorded; a moment's standard deviation is the
    root mean square distance of these from the one found, beside the one that the method itself states.
    """
    rng = np.random.default_rng(1)
    again: dict[str, list[float]] = {name: [] for name in moments}
    own = drawn_errors(error_roots(errors, rate_hz), DRAWS, rng)
    shared = np.einsum("fpik,nk->nfpi", errors.common, rng.normal(size=(DRAWS, errors.common.shape[-1])))
    for displaced in own + shared:
        try:
            found = find({name: displaced[:, column] for column, name in enumerate(POINTS)})
        except MocapError:  # in this one it cannot be told
            continue
        for name, moment in found.items():
            if moment.time_s is not None:
                again[name].append(moment.time_s)

    def wider(moment: Moment) -> Moment:
        if moment.time_s is None or moment.sd_s is None or moment.name in by_hand or not again[moment.name]:
            return moment
        off = float(np.mean((np.array(again[moment.name]) - moment.time_s) ** 2))
        return replace(moment, sd_s=float(np.hypot(moment.sd_s, off**0.5)))

    return MappingProxyType({name: wider(moment) for name, moment in moments.items()})
