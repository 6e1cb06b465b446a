"""Markers that are worn in a static trial only, carried into another recording by the markers that both share."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.kinematics.marker_sets import MarkerSet, listed, spoken
from mocap.kinematics.rigid import fit_rigid
from mocap.kinematics.subject import stated_size

#: A segment whose markers lie farther than this from their places of the static trial, as a median over the frames, is
#: not the same segment with the same markers. [m] Skin moves markers by 4 to 16 mm against each other (PMC8631460),
#: root mean squares over a segment by less; this project's default.
LOOSEST_M = 0.010
#: Heights that two recordings state of one person agree within this. [m]
SAME_HEIGHT_M = 0.03
#: So often the places of the markers in their segment are taken anew from the frames laid over each other.
ROUNDS = 2
#: How well a joint centre that stands in for a third marker keeps its place, one standard deviation per axis. [m]
#: This project's default.
CENTRE_SD_M = 0.010


def mean_shape(points: FloatArray, lead: int) -> FloatArray | None:
    """Places of points of one rigid body, in axes of its first points.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        Paths; missing is NaN. [m]
    lead : int
        The first so many points are laid over each other; the others go with them.

    Returns
    -------
    ndarray, shape (P, 3), or None
        Medians over the frames, which a few bad frames do not move, from the middle of the leading points; NaN for a
        point that is never seen with three leading ones. None where the leading points are never seen at once, or lie
        on a line. [m]
    """
    whole = np.isfinite(points[:, :lead]).all(axis=(1, 2))
    if lead < 3 or not whole.any():
        return None
    first = points[np.argmax(whole)]
    shape: FloatArray = first - first[:lead].mean(axis=0)
    for _ in range(ROUNDS):
        fit = fit_rigid(shape[:lead], points[:, :lead])
        used = np.isfinite(fit.residual_m)
        if not used.any():
            return None
        local = (points[used] - fit.translation[used, None]) @ fit.rotation[used]
        # A point without a sample keeps its NaN; the others are not kept waiting for it.
        known = np.isfinite(local).any(axis=(0, 2))
        shape = np.full_like(shape, np.nan)
        shape[known] = np.nanmedian(local[:, known], axis=0)
    return shape


class StaticTrial:
    """A static trial, and what was carried from it into another recording.

    Parameters
    ----------
    trial : Capture
    marker : mapping of str to ndarray, shape (F, 3)
        The trial's points by canonical name. [m]
    centres : mapping of str to ndarray, shape (F, 3)
        Its joint centres, found from all of its markers. [m]
    used : MarkerSet
        The set of both recordings.
    into : Capture
        The recording that the markers are carried into.

    Attributes
    ----------
    carried : list of str
        Canonical names, in the order in which they were carried.

    Raises
    ------
    InputError
        The two recordings state heights of two people.

    Notes
    -----
    A carried marker is constructed, not measured: it keeps its place among the markers of its segment, by the rigid fit
    of those to each frame (Soderkvist & Wedin 1993, J Biomech 26:1473-1477). It says where the joint's axis lies in the
    segment, and nothing about the frame beyond what the other markers show.
    """

    def __init__(
        self,
        trial: Capture,
        marker: Mapping[str, FloatArray],
        centres: Mapping[str, FloatArray],
        used: MarkerSet,
        into: Capture,
    ) -> None:
        theirs, his = stated_size(trial)[0], stated_size(into)[0]
        if theirs and his and abs(theirs - his) > SAME_HEIGHT_M:
            raise InputError(
                f"{trial.source} states a height of {theirs:g} m, {into.source} one of {his:g} m: they are not of one"
                " hitter; give his own static trial, or none"
            )
        self.carried: list[str] = []
        self._source, self._into = trial.source, into.source
        self._marker, self._centres, self._used = marker, centres, used
        self._off_m = 0.0

    def completed(self, seen: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """The recording's points with all that three markers of the same segment carry, by canonical name. [m]"""
        whole = dict(seen)
        for segment in dict.fromkeys(self._used.segment_of[name] for name in self._marker):
            whole |= self.onto(seen, segment)
        return whole

    def onto(self, seen: Mapping[str, FloatArray], segment: str, centre: str = "") -> dict[str, FloatArray]:
        """What the trial shows of a segment and the recording does not, in the recording.

        Parameters
        ----------
        seen : mapping of str to ndarray, shape (F, 3)
            The recording's points, and the joint centre of that name where one is given. [m]
        segment : str
        centre : str
            Joint centre at the segment's proximal end, which stands in where both recordings share fewer than three
            of its markers.

        Returns
        -------
        dict of str to ndarray, shape (F, 3)
            By canonical name; empty where there is nothing to carry, or nothing to carry it by. NaN where fewer than
            three of the points that carry it are seen. [m]

        Raises
        ------
        InputError
            The shared markers do not keep the shape that they have in the trial.
        """
        mine = [name for name in self._marker if self._used.segment_of[name] == segment]
        shared, lacking = [n for n in mine if n in seen], [n for n in mine if n not in seen]
        trial = dict(self._marker)
        if lacking and len(shared) < 3 and centre in seen and centre in self._centres:
            shared.append(centre)
            trial[centre] = self._centres[centre]
        shape = mean_shape(np.stack([trial[n] for n in (*shared, *lacking)], axis=1), len(shared)) if lacking else None
        if shape is None:
            return {}
        weights = np.array([self._used.marker_sd_m.get(name, CENTRE_SD_M) for name in shared]) ** -2.0
        fit = fit_rigid(shape[: len(shared)], np.stack([seen[name] for name in shared], axis=1), weights)
        off = fit.residual_m[np.isfinite(fit.residual_m)]
        if not len(off):
            return {}
        self._check(float(np.median(off)), segment)
        carried = {
            name: fit.place(place)
            for name, place in zip(lacking, shape[len(shared) :], strict=True)
            if np.isfinite(place).all()
        }
        self.carried += carried
        return carried

    def notes(self, seen: Mapping[str, FloatArray]) -> list[str]:
        """What was carried into the recording, whose own points are `seen`, and what could not be."""
        notes = []
        if self.carried:
            notes.append(
                f"{self._in_labels(self.carried)} {_are(self.carried)} taken from {self._source} and carried along by"
                f" the other markers of {'their segments' if len(self.carried) > 1 else 'its segment'}, which keep"
                f" their shape to {1000 * self._off_m:.0f} mm"
            )
        left = [name for name in self._marker if name not in seen and name not in self.carried]
        if left:
            notes.append(
                f"{self._in_labels(left)} of {self._source} cannot be carried into {self._into}: fewer than three other"
                f" markers of {'those segments' if len(left) > 1 else 'that segment'}, not on a line, are in both"
            )
        return notes

    def _check(self, off_m: float, segment: str) -> None:
        if off_m > LOOSEST_M:
            raise InputError(
                f"{self._source} does not fit {self._into}: the markers on the {spoken(segment)} lie"
                f" {1000 * off_m:.0f} mm off the shape that they have in it; another hitter, a marker that was put on"
                " anew, or labels that are exchanged: record the static trial again, or leave it out"
            )
        self._off_m = max(self._off_m, off_m)

    def _in_labels(self, names: list[str]) -> str:
        return listed(self._used.labels[name] for name in names)


def _are(names: list[str]) -> str:
    return "are" if len(names) > 1 else "is"
