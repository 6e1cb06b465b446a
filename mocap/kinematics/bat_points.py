"""Knob and barrel's end of the bat, as marked, or carried along by a cluster of markers on the handle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.marker_sets import HandleTable, MarkerSet, fold, listed, marker_set
from mocap.kinematics.rigid import fit_rigid
from mocap.kinematics.static_trial import mean_shape

BoolArray = npt.NDArray[np.bool_]

#: Frames with handle, knob and barrel all seen that make a calibration out of a swing itself. This project's default.
LEAST_FRAMES = 10
#: A cluster that does not keep its shape better than this is not rigid. [m] This project's default.
LOOSEST_M = 0.010
ENDS = ("bat_knob", "bat_barrel")


@dataclass(frozen=True)
class BatPoints:
    """The bat of one recording.

    Attributes
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        `bat_knob` and `bat_barrel`; empty where they cannot be found. [m]
    notes : list of str
    filled : dict of str to ndarray of bool, shape (F,)
        Frames in which `bat_knob` or `bat_barrel` was not seen and was filled from the markers on the handle.
    from_static : bool
        Whether a static trial told where they lie.
    """

    centres: dict[str, FloatArray]
    notes: list[str]
    filled: dict[str, BoolArray] = field(default_factory=dict)
    from_static: bool = False


def bat_points(capture: Capture, own: MarkerSet | None = None, static: Capture | None = None) -> BatPoints:
    """Knob and barrel of a recording.

    Parameters
    ----------
    capture : Capture
    own : MarkerSet, optional
        The coach's own set, which may hold the calibration of a handle cluster.
    static : Capture, optional
        A static trial; where it shows handle, knob and barrel, it calibrates a handle whose ends the recording lacks.

    Returns
    -------
    BatPoints

    Raises
    ------
    InputError
        The handle's markers do not keep the shape of the calibration.

    Notes
    -----
    With a calibration from a static trial, or else in the coach's set, knob and barrel come from the rigid fit of the
    handle's markers wherever three of them are seen (Soderkvist & Wedin 1993, J Biomech 26:1473-1477), else as marked.
    Without one, a recording in which handle, knob and barrel are seen together often enough calibrates itself, and only
    what is not seen is filled.
    """
    found = marker_set("bat").find(capture)
    cluster = _cluster(found)
    shown = static is not None and not set(ENDS) <= set(found) and _shows_handle(static, cluster)
    table = calibrate_handle(static) if static is not None and shown else own.handle if own else None
    fitted = _carried(capture, found, table) if table else None
    if fitted is not None:
        ends = {name: np.where(np.isfinite(path), path, found.get(name, np.nan)) for name, path in fitted.items()}
        by = f", as {static.source} shows them" if static is not None and shown else ""
        note = f"knob and barrel are carried along by the markers on the bat's handle{by}"
        return BatPoints(ends, [note], from_static=shown)
    notes = []
    if "bat_knob" not in found and "bat_handle" in found:
        found["bat_knob"] = found["bat_handle"]
        notes.append("the point on the bat's handle stands for its knob, which was not recorded")
    if not set(ENDS) <= set(found):
        if len(cluster) >= 3:
            notes.append(
                "the bat's handle is marked, but not where knob and barrel lie against it: every measure of the bat is"
                " left out; record a trial in which handle, knob and barrel are seen, and give it as the calibration"
            )
        return BatPoints({}, notes)
    if len(cluster) < 3 or _together(found, [*cluster, *ENDS]).sum() < LEAST_FRAMES:
        return BatPoints({name: found[name] for name in ENDS}, notes)
    ends, filled = _filled(capture, found, cluster)
    samples = sum(int(marks.sum()) for marks in filled.values())
    if samples:
        notes.append(f"{samples} samples of knob and barrel were filled from the markers on the bat's handle")
    return BatPoints(ends, notes, filled)


def calibrate_handle(capture: Capture) -> HandleTable:
    """Where knob and barrel lie against the markers on the handle, from a trial in which all of them are seen.

    Parameters
    ----------
    capture : Capture
        A static trial, or any in which the handle's markers (`BATH1`, `BATH2`, `BATH3` ...), the knob and the barrel's
        end are seen at once in one frame or more.

    Returns
    -------
    HandleTable
        In axes of the first such frame, from the middle of the handle's markers.

    Raises
    ------
    InputError
        Points are missing, never seen at once, or the markers do not keep their shape.
    """
    found = marker_set("bat").find(capture)
    cluster = _cluster(found)
    missing = [marker_set("bat").labels[name] for name in ENDS if name not in found]
    if len(cluster) < 3:
        missing.insert(0, f"three markers on the handle (BATH1, BATH2, BATH3; {len(cluster)} found)")
    if missing:
        raise InputError(f"{capture.source}: the bat's handle cannot be calibrated: {listed(missing)} missing")
    return _calibrated(capture, found, cluster)


def _cluster(found: Mapping[str, FloatArray]) -> list[str]:
    return [name for name in found if name.startswith("bat_handle_")]


def _shows_handle(static: Capture, cluster: list[str]) -> bool:
    """Whether a static trial shows knob and barrel, and three of the handle's markers that the recording has."""
    there = set(marker_set("bat").find(static))
    return set(ENDS) <= there and len(there & set(cluster)) >= 3


def _calibrated(capture: Capture, found: Mapping[str, FloatArray], cluster: list[str]) -> HandleTable:
    names = [*cluster, *ENDS]
    whole = _together(found, names)
    if not whole.any():
        raise InputError(f"{capture.source}: handle, knob and barrel of the bat are never seen at once")
    points = np.stack([found[name][whole] for name in names], axis=1)
    shape = mean_shape(points, len(cluster))
    if shape is None:
        raise InputError(f"{capture.source}: the markers on the bat's handle lie on a line; put one of them beside it")
    fit = fit_rigid(shape[: len(cluster)], points[:, : len(cluster)])
    loose = float(np.nanmedian(np.linalg.norm(fit.place(shape) - points, axis=2), axis=0).max())
    if loose > LOOSEST_M:
        raise InputError(
            f"{capture.source}: the markers on handle, knob and barrel move by {1000 * loose:.0f} mm against each other"
            " in the calibration; they are not on one rigid bat, or exchanged"
        )
    labels = tuple(marker_set("bat").labels[name] for name in cluster)
    return HandleTable(labels, shape[: len(cluster)], shape[-2], shape[-1])


def _carried(capture: Capture, found: Mapping[str, FloatArray], table: HandleTable) -> dict[str, FloatArray] | None:
    """Knob and barrel by the rigid fit of the handle's markers; None where fewer than three are in the recording."""
    columns = {fold(label): capture.points[:, index] for index, label in enumerate(capture.labels)}
    by_name = {fold(label): found[name] for label, name in marker_set("bat").aliases.items() if name in found}
    paths = [(by_name | columns).get(fold(label)) for label in table.labels]
    used = [row for row, path in enumerate(paths) if path is not None]
    if len(used) < 3:
        return None
    fit = fit_rigid(table.local_m[used], np.stack([path for path in paths if path is not None], axis=1))
    off = fit.residual_m[np.isfinite(fit.residual_m)]
    if len(off) and np.median(off) > LOOSEST_M:
        raise InputError(
            f"{capture.source}: the markers on the bat's handle lie {1000 * np.median(off):.0f} mm off the shape of the"
            " calibration; a marker has moved or two labels are exchanged: calibrate the handle again"
        )
    return {"bat_knob": fit.place(table.knob_m), "bat_barrel": fit.place(table.barrel_m)}


def _filled(
    capture: Capture, found: Mapping[str, FloatArray], cluster: list[str]
) -> tuple[dict[str, FloatArray], dict[str, BoolArray]]:
    """Knob and barrel as marked, and where they are not seen, carried along by the handle; and where that was."""
    fitted = _carried(capture, found, _calibrated(capture, found, cluster)) or {}
    ends = {name: np.where(np.isfinite(found[name]), found[name], fitted[name]) for name in ENDS}
    return ends, {name: np.isfinite(ends[name][:, 0]) & ~np.isfinite(found[name][:, 0]) for name in ENDS}


def _together(found: Mapping[str, FloatArray], names: list[str]) -> BoolArray:
    """Frames in which all of the points are seen, shape (F,)."""
    whole: BoolArray = np.all([np.isfinite(found[name]).all(axis=1) for name in names], axis=0)
    return whole
