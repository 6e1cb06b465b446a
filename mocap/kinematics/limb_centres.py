"""Joint centres of legs and arms from markers beside the joints, and the joints' flexion axes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.kinematics.hip_centres import MARKER_RADIUS_M
from mocap.kinematics.marker_sets import SIDES
from mocap.kinematics.static_trial import StaticTrial
from mocap.kinematics.subject import Measured

#: Widths of the joints as shares of standing height where the lab did not measure them. [-] This project's defaults:
#: knee 102 mm, ankle 72 mm, elbow 76 mm for an adult of 1.76 m; three people in labs have .050 to .064, .036 to .040
#: and .045.
WIDTHS = {"kneewidth": 0.058, "anklewidth": 0.041, "elbowwidth": 0.043}
#: Centre of the shoulder below the acromion as share of the distance between the acromia: Rab et al. (2002)
#: Gait Posture 15:113-119, value from memory.
SHOULDER_DROP = 0.17
#: A wand or plate nearer than this to the line between two joints does not show how the segment is rolled. [m]
#: Skin moves by 1 to 2 cm; this project's default.
LEAST_LEVER_M = 0.02
#: Wrist to knuckle over elbow to wrist, de Leva (1996) men: how far a hand lies beyond the wrist if no point shows it.
HAND_PER_FOREARM = 86.2 / 268.9


def chord(proximal: FloatArray, marker: FloatArray, wand: FloatArray, offset: float) -> FloatArray:
    """Joint centre at a given distance from a skin marker, seen under a right angle from it and the joint above.

    Parameters
    ----------
    proximal : ndarray, shape (F, 3)
        Joint centre above. [m]
    marker : ndarray, shape (F, 3)
        Marker on the joint's lateral side. [m]
    wand : ndarray, shape (F, 3)
        A lateral point of the segment; the centre lies in the plane of the three, on the other side. [m]
    offset : float
        Half the joint's width plus the marker's radius. [m]

    Returns
    -------
    ndarray, shape (F, 3)
        The centre K with |K - marker| = offset and (proximal - K) perpendicular to (marker - K). [m]

    References
    ----------
    Davis RB et al. (1991) Hum Mov Sci 10:575-587.
    """
    toward = proximal - marker
    length = np.linalg.norm(toward, axis=-1, keepdims=True)
    u = toward / length
    away = -unit(across(wand - marker, u))
    cosine = np.clip(offset / length, 0.0, 1.0)
    centre: FloatArray = marker + offset * (cosine * u + np.sqrt(1.0 - cosine**2) * away)
    return centre


def elbow_centre(
    shoulder: FloatArray, marker: FloatArray, wrist: FloatArray, offset: float, *, side: str
) -> FloatArray:
    """Elbow centre from a marker on its lateral side: the marker lies square to the arm's plane beside the centre.

    Parameters
    ----------
    shoulder, marker, wrist : ndarray, shape (F, 3)
        Joint centres above and below, and the lateral marker. [m]
    offset : float
        Half the elbow's width plus the marker's radius. [m]
    side : {"l", "r"}
        An elbow bends one way only, which tells the two solutions apart.

    Returns
    -------
    ndarray, shape (F, 3)
        [m]

    Notes
    -----
    Marker M and centre E lie in one plane square to the line from shoulder to wrist, which it meets in P. With
    h = |MP|, the triangle P E M has its right angle at E, so that E is seen from P at the angle asin(offset / h) from
    M, and at the distance sqrt(h^2 - offset^2). For a straight arm E comes to lie on the line itself; where noise makes
    h smaller than the offset, the centre is taken from M through P.

    Labs' programs shift the marker along the normal of the plane shoulder-marker-wrist instead, which for a straight
    arm is the wrong way by a right angle; a hitter's front arm is nearly straight.
    """
    line = unit(wrist - shoulder)
    from_line = across(marker - shoulder, line)
    h = np.linalg.norm(from_line, axis=-1, keepdims=True)
    sine = np.clip(offset / h, 0.0, 1.0)
    toward = from_line / h
    # An elbow bends forward only: on the right arm the marker is turned about the arm's line from the centre by this.
    turned = np.sqrt(1.0 - sine**2) * toward + (-sine if side == "r" else sine) * np.cross(toward, line)
    return marker - from_line + (h * np.sqrt(1.0 - sine**2)) * turned - np.where(h < offset, offset - h, 0.0) * toward


class Limbs:
    """Joint centres from the hips and the thorax outward.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        By canonical name. [m]
    lab : Measured
    height_m : float
        Standing height, for the widths that the lab did not measure. [m]
    static : StaticTrial, optional
        Gives medial markers that the recording lacks.

    Attributes
    ----------
    centres : dict of str to ndarray, shape (F, 3)
        [m]
    lateral : dict of str to ndarray, shape (F, 3)
        Unit vectors along the flexion axes, to the subject's right in the anatomical position.
    notes : list of str
    """

    def __init__(
        self, marker: Mapping[str, FloatArray], lab: Measured, height_m: float, static: StaticTrial | None = None
    ) -> None:
        self.centres: dict[str, FloatArray] = {}
        self.lateral: dict[str, FloatArray] = {}
        self.notes: list[str] = []
        self._marker, self._lab, self._height, self._static = dict(marker), lab, height_m, static
        self._nan = np.full_like(next(iter(marker.values())), np.nan)

    def leg(self, side: str, hip: FloatArray, pelvis_right: FloatArray) -> None:
        """Knee and ankle of one side; `pelvis_right` is the pelvis's z axis, shape (F, 3)."""
        outward = pelvis_right * (1.0 if side == "r" else -1.0)
        self.centres[f"{side}_hip"] = hip
        self._carry(f"{side}_thigh", f"{side}_hip")
        knee = self._between(side, "knee")
        if knee is None:
            knee_marker = self._marker[f"{side}_knee_lateral"]
            wand = self._wand(side, "thigh", hip, knee_marker)
            if wand is None:
                wand = knee_marker + outward
                self._say(side, "thigh", "knee's flexion axis is taken from the pelvis")
            self._beside(side, "knee", hip, wand, "kneewidth")
        self._carry(f"{side}_shank", f"{side}_knee")
        self._ankle(side, self.centres[f"{side}_knee"])

    def arm(self, side: str, thorax: FloatArray, front: FloatArray, functional: FloatArray | None = None) -> None:
        """Shoulder, elbow, wrist and hand of one side.

        Parameters
        ----------
        side : {"l", "r"}
        thorax : ndarray, shape (F, 3, 3)
            World from thorax, x forward, y up, z right.
        front : ndarray, shape (F, 3)
            Marker on the upper end of the breastbone. [m]
        functional : ndarray, shape (F, 3), optional
            The shoulder's functional centre, in place of the one from the acromion. [m]
        """
        shoulder = self._shoulder(side, thorax, front) if functional is None else functional
        self.centres[f"{side}_shoulder"] = shoulder
        self._carry(f"{side}_upper_arm", f"{side}_shoulder")
        thumb = self._marker.get(f"{side}_wrist_thumb", self._nan)
        little = self._marker.get(f"{side}_wrist_little", self._nan)
        bar = (thumb + little) / 2
        beside = self._marker.get(f"{side}_elbow_lateral", self._nan)
        wrist = bar + self._palmar(side, thumb - little, beside - bar)
        if self._between(side, "elbow") is None:
            elbow = elbow_centre(shoulder, beside, wrist, self._offset(side, "elbowwidth"), side=side)
            self.centres[f"{side}_elbow"] = elbow
            self.lateral[f"{side}_elbow"] = unit(beside - elbow) * (1.0 if side == "r" else -1.0)
        elbow = self.centres[f"{side}_elbow"]
        wrist = bar + self._palmar(side, thumb - little, elbow - bar)
        self.centres[f"{side}_wrist"] = wrist
        self.lateral[f"{side}_wrist"] = unit(thumb - little) * (1.0 if side == "r" else -1.0)
        self.centres[f"{side}_hand"] = self._marker.get(f"{side}_finger", wrist + HAND_PER_FOREARM * (wrist - elbow))

    def _carry(self, segment: str, centre: str) -> None:
        """Add the markers of a segment that a static trial shows, by its own markers and the joint above it."""
        if self._static is not None:
            self._marker |= self._static.onto(self._marker | {centre: self.centres[centre]}, segment, centre)

    def _between(self, side: str, joint: str) -> FloatArray | None:
        """Centre midway between the lateral and the medial marker, where both are there."""
        outer, inner = (self._marker.get(f"{side}_{joint}_{where}") for where in ("lateral", "medial"))
        if outer is None or inner is None:
            return None
        centre: FloatArray = (outer + inner) / 2
        self.centres[f"{side}_{joint}"] = centre
        self.lateral[f"{side}_{joint}"] = unit(outer - inner) * (1.0 if side == "r" else -1.0)
        return centre

    def _beside(self, side: str, joint: str, proximal: FloatArray, wand: FloatArray, width: str) -> None:
        """Centre beside the lateral marker by the chord construction."""
        marker = self._marker.get(f"{side}_{joint}_lateral", self._nan)
        centre = chord(proximal, marker, wand, self._offset(side, width))
        self.centres[f"{side}_{joint}"] = centre
        self.lateral[f"{side}_{joint}"] = unit(marker - centre) * (1.0 if side == "r" else -1.0)

    def _ankle(self, side: str, knee: FloatArray) -> None:
        if self._between(side, "ankle") is not None:
            return
        marker = self._marker[f"{side}_ankle_lateral"]
        to_knee = unit(knee - marker)
        foot = self._across_foot(side, to_knee)
        wand = self._wand(side, "shank", knee, marker)
        if wand is not None and foot is not None and not self._lab.has(f"{side}kneewidth", f"{side}anklewidth"):
            wand = marker + _turned_half_way(across(wand - marker, to_knee), foot, to_knee)
        if wand is None:
            from_foot = foot is not None and np.isfinite(foot).any()
            self._say(side, "shank", f"ankle's axis is taken from the {'foot' if from_foot else 'knee'}")
            wand = marker + (foot if foot is not None and from_foot else self._marker[f"{side}_knee_lateral"] - knee)
        self._beside(side, "ankle", knee, wand, "anklewidth")

    def _across_foot(self, side: str, up_shank: FloatArray) -> FloatArray | None:
        """Outward, square to the foot and to the shank, shape (F, 3)."""
        heel, front = (self._marker.get(f"{side}_{name}") for name in ("heel_marker", "forefoot"))
        if heel is None or front is None:
            return None
        right = np.cross(front - heel, up_shank)
        return unit(across(right, up_shank)) * (1.0 if side == "r" else -1.0)

    def _wand(self, side: str, segment: str, proximal: FloatArray, marker: FloatArray) -> FloatArray | None:
        """The segment's lateral marker, or the middle of its plate, unless it lies too near to the bone's line."""
        plate = [
            self._marker[name]
            for name in (f"{side}_{segment}", *(f"{side}_{segment}_{i}" for i in range(1, 5)))
            if name in self._marker
        ]
        if not plate:
            return None
        wand = np.mean(plate, axis=0)
        lever = np.linalg.norm(across(wand - marker, unit(proximal - marker)), axis=1)
        lever = lever[np.isfinite(lever)]
        return wand if len(lever) and np.median(lever) >= LEAST_LEVER_M else None

    def _say(self, side: str, segment: str, consequence: str) -> None:
        name = SIDES[side][1]
        self.notes.append(
            f"no marker of the {name} {segment} lies {100 * LEAST_LEVER_M:.0f} cm or more beside its bone: the {name}"
            f" {consequence}"
        )

    def _shoulder(self, side: str, thorax: FloatArray, front: FloatArray) -> FloatArray:
        """Below the acromion: by the lab's measured offset, else by the width of the shoulders."""
        acromion = self._marker.get(f"{side}_acromion", self._nan)
        offset = self._lab.lengths_m.get(f"{side}shoulderoffset")
        if offset is not None:
            behind = front - MARKER_RADIUS_M * thorax[..., 0]
            upward = np.cross(thorax[..., 0], acromion - behind) * (1.0 if side == "l" else -1.0)
            return chord(behind, acromion, acromion + upward, offset + MARKER_RADIUS_M)
        other = self._marker.get(f"{'l' if side == 'r' else 'r'}_acromion", self._nan)
        between = np.linalg.norm(acromion - other, axis=1)
        between = between[np.isfinite(between)]
        drop = SHOULDER_DROP * float(np.median(between)) if len(between) else np.nan
        below: FloatArray = acromion - drop * thorax[..., 1]
        return below

    def _palmar(self, side: str, bar: FloatArray, forearm: FloatArray) -> FloatArray | float:
        """From the middle of a bar of wrist markers to the centre, where the lab measured the wrist for it."""
        width = self._lab.lengths_m.get(f"{side}wristwidth")
        if width is None:
            return 0.0
        normal = unit(np.cross(bar, forearm)) * (1.0 if side == "l" else -1.0)
        return (width / 2 + MARKER_RADIUS_M) * normal

    def _offset(self, side: str, width: str) -> float:
        return self._lab.lengths_m.get(side + width, WIDTHS[width] * self._height) / 2 + MARKER_RADIUS_M


def _turned_half_way(wand: FloatArray, foot: FloatArray, axis: FloatArray) -> FloatArray:
    """A wand's direction turned about the shank by half of the median angle to the foot's lateral direction.

    Without the lab's own alignment, a wand may be strapped on several degrees off, and a foot is turned out by several
    degrees; half way between them is nearer than either on average.
    """
    sine = np.sum(np.cross(unit(wand), foot) * axis, axis=1)
    angle = np.arctan2(sine, np.sum(unit(wand) * foot, axis=1))
    angle = angle[np.isfinite(angle)]
    half = float(np.median(angle)) / 2 if len(angle) else 0.0
    turned: FloatArray = np.cos(half) * wand + np.sin(half) * np.cross(axis, wand)
    return turned
