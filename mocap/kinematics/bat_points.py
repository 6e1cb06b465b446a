"""Knob and barrel's end of the bat, as marked, or carried along by a cluster of markers on the handle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.marker_sets import HandleTable, MarkerSet, fold, listed, marker_set
from mocap.kinematics.rigid import fit_rigid

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
    markers : dict of str to ndarray, shape (F, 3)
        Every point on the bat by canonical name. [m]
    notes : list of str
    """

    centres: dict[str, FloatArray]
    markers: dict[str, FloatArray]
    notes: list[str]


def bat_points(capture: Capture, own: MarkerSet | None = None) -> BatPoints:
    """Knob and barrel of a recording.

    Parameters
    ----------
    capture : Capture
    own : MarkerSet, optional
        The coach's own set, which may hold the calibration of a handle cluster.

    Returns
    -------
    BatPoints

    Raises
    ------
    InputError
        The handle's markers do not keep the shape of the calibration.

    Notes
    -----
    With a calibration in the coach's set knob and barrel come from the rigid fit of the handle's markers wherever three
    of them are seen (Soderkvist & Wedin 1993, J Biomech 26:1473-1477), else as marked. Without one, a recording in
    which handle, knob and barrel are seen together often enough calibrates itself, and only what is not seen is filled.
    """
    found = marker_set("bat").find(capture)
    table = own.handle if own else None
    if table is not None:
        fitted = _carried(capture, table)
        if fitted is not None:
            ends = {name: np.where(np.isfinite(path), path, found.get(name, np.nan)) for name, path in fitted.items()}
            return BatPoints(ends, found, ["knob and barrel are carried along by the markers on the bat's handle"])
    notes = []
    if "bat_knob" not in found and "bat_handle" in found:
        found["bat_knob"] = found["bat_handle"]
        notes.append("the point on the bat's handle stands for its knob, which was not recorded")
    cluster = [name for name in found if name.startswith("bat_handle_")]
    if not set(ENDS) <= set(found):
        if len(cluster) >= 3:
            notes.append(
                "the bat's handle is marked, but neither its calibration nor knob and barrel are known: every measure"
                " of the bat is left out; calibrate the handle and put the result into your marker set"
            )
        return BatPoints({}, found, notes)
    ends = {name: found[name] for name in ENDS}
    if len(cluster) >= 3 and _together(found, [*cluster, *ENDS]).sum() >= LEAST_FRAMES:
        ends, filled = _filled(capture, found, cluster)
        if filled:
            notes.append(f"{filled} samples of knob and barrel were filled from the markers on the bat's handle")
    return BatPoints(ends, found, notes)


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
        In axes of the first such frame, from the middle of the handle's markers; `handle_text` writes it for a marker
        set's file.

    Raises
    ------
    InputError
        Points are missing, never seen at once, or the markers do not keep their shape.
    """
    found = marker_set("bat").find(capture)
    cluster = [name for name in found if name.startswith("bat_handle_")]
    missing = [marker_set("bat").labels[name] for name in ENDS if name not in found]
    if len(cluster) < 3:
        missing.insert(0, f"three markers on the handle (BATH1, BATH2, BATH3; {len(cluster)} found)")
    if missing:
        raise InputError(f"{capture.source}: the bat's handle cannot be calibrated: {listed(missing)} missing")
    return _calibrated(capture, found, cluster)


def handle_text(table: HandleTable) -> str:
    """A handle's calibration as the lines of a marker set's file."""

    def row(place: FloatArray) -> str:
        return "[" + ", ".join(f"{value:.5f}" for value in place) + "]"

    lines = ["[handle]", f"knob = {row(table.knob_m)}", f"barrel = {row(table.barrel_m)}", "", "[handle.markers]"]
    lines += [f'"{label}" = {row(place)}' for label, place in zip(table.labels, table.local_m, strict=True)]
    return "\n".join(lines) + "\n"


def _calibrated(capture: Capture, found: Mapping[str, FloatArray], cluster: list[str]) -> HandleTable:
    names = [*cluster, *ENDS]
    whole = _together(found, names)
    if not whole.any():
        raise InputError(f"{capture.source}: handle, knob and barrel of the bat are never seen at once")
    points = np.stack([found[name][whole] for name in names], axis=1)
    reference = points[0, : len(cluster)] - points[0, : len(cluster)].mean(axis=0)
    fit = fit_rigid(reference, points[:, : len(cluster)])
    if not np.isfinite(fit.residual_m).any():
        raise InputError(f"{capture.source}: the markers on the bat's handle lie on a line; put one of them beside it")
    local = np.swapaxes(fit.rotation, 1, 2) @ (points - fit.translation[:, None]).swapaxes(1, 2)
    mean = np.nanmean(local, axis=0).T
    loose = float(np.sqrt(np.nanmean((local - mean.T) ** 2, axis=(1, 2)).max()))
    if loose > LOOSEST_M:
        raise InputError(
            f"{capture.source}: the markers on handle, knob and barrel move by {1000 * loose:.0f} mm against each other"
            " in the calibration; they are not on one rigid bat, or exchanged"
        )
    labels = [next(label for label in capture.labels if _is(label, name)) for name in cluster]
    return HandleTable(tuple(labels), mean[: len(cluster)], mean[-2], mean[-1])


def _is(label: str, name: str) -> bool:
    return marker_set("bat").aliases.get(fold(label)) == name


def _carried(capture: Capture, table: HandleTable) -> dict[str, FloatArray] | None:
    """Knob and barrel by the rigid fit of the handle's markers; None where fewer than three are in the recording."""
    columns = {fold(label): index for index, label in enumerate(capture.labels)}
    used = [(row, columns[fold(label)]) for row, label in enumerate(table.labels) if fold(label) in columns]
    if len(used) < 3:
        return None
    rows, indices = map(list, zip(*used, strict=True))
    fit = fit_rigid(table.local_m[rows], capture.points[:, indices])
    off = fit.residual_m[np.isfinite(fit.residual_m)]
    if len(off) and np.median(off) > LOOSEST_M:
        raise InputError(
            f"{capture.source}: the markers on the bat's handle lie {1000 * np.median(off):.0f} mm off the shape of the"
            " calibration; a marker has moved or two labels are exchanged: calibrate the handle again"
        )
    return {"bat_knob": fit.place(table.knob_m), "bat_barrel": fit.place(table.barrel_m)}


def _filled(capture: Capture, found: Mapping[str, FloatArray], cluster: list[str]) -> tuple[dict[str, FloatArray], int]:
    """Knob and barrel as marked, and where they are not seen, carried along by the handle."""
    fitted = _carried(capture, _calibrated(capture, found, cluster)) or {}
    ends = {name: np.where(np.isfinite(found[name]), found[name], fitted[name]) for name in ENDS}
    filled = sum(int((np.isfinite(ends[n][:, 0]) & ~np.isfinite(found[n][:, 0])).sum()) for n in ENDS)
    return ends, filled


def _together(found: Mapping[str, FloatArray], names: list[str]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Frames in which all of the points are seen, shape (F,)."""
    return np.all([np.isfinite(found[name]).all(axis=1) for name in names], axis=0)
