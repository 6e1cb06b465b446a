"""Whether left and right labels fit the body.

Segments keep their length only between points of one side, and left is to the left of where the body faces.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit

#: Points joined by a segment whose length changes little, from the trunk outward, by canonical name without the side.
LINKS = (
    ("hip", "knee"),
    ("knee", "ankle"),
    ("ankle", "heel"),
    ("ankle", "ball"),
    ("ankle", "toe"),
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("wrist", "hand"),
    ("asis", "hip_centre"),
    ("hip_centre", "knee_lateral"),
    ("knee_lateral", "ankle_lateral"),
    ("ankle_lateral", "heel_marker"),
    ("ankle_lateral", "forefoot"),
    ("acromion", "elbow_lateral"),
    ("elbow_lateral", "wrist_thumb"),
)
#: A link is crossed if its own length changes by more than this, and that of the crossed one by less than this share
#: of it. [m] This project's defaults; markers on skin move by 1 to 2 cm over the bone.
LENGTH_CHANGES_M, CROSSED_CHANGES = 0.03, 0.35
#: Pairs whose order from left to right shows where the body faces, and what it is called.
ORDERS = {"hip": "hips", "shoulder": "shoulders", "asis": "pelvis markers", "acromion": "shoulder markers"}
#: Pairs of points of which the second lies before the first, whichever side is which, and what they are called.
FRONTS = {
    ("heel", "toe"): "feet",
    ("heel_marker", "forefoot"): "feet",
    ("psis", "asis"): "pelvis front and back",
    ("c7", "clavicle"): "chest",
    ("head_back", "head_front"): "head",
    ("head", "nose"): "face",
}
#: A knee counts as bent when it lies this far off the line from hip to ankle. [m]
BENT_M = 0.04
#: Directions contradict each other if the median cosine between them is below the negative of this. In a swing the
#: shoulders turn by up to 120 degrees against the feet, but for a short part of a recording.
CONTRADICTS = 0.3


def doubtful_sides(found: Mapping[str, FloatArray], up: FloatArray) -> list[str]:
    """What contradicts the left and right labels, one line each; empty where nothing does.

    Parameters
    ----------
    found : mapping of str to ndarray, shape (F, 3)
        Points of a body marker set by canonical name, with `l_hip_centre` and `r_hip_centre` where these follow from
        pelvis markers. [m]
    up : ndarray, shape (3,)
        Unit vertical.

    Returns
    -------
    list of str
    """
    lines, reversed_pairs = _contradicting_directions(found, up)
    exchanged = _exchanged(found, reversed_pairs)
    if len(reversed_pairs) < len([name for name in ORDERS if f"l_{name}" in found and f"r_{name}" in found]):
        lines = [line for line in lines if not reversed_pairs]
        if exchanged:
            listed = _join(name.replace("_", " ") for name in exchanged)
            lines.append(
                f"left and right {listed} look exchanged against the rest of the body: segments keep their length and"
                " the body faces forward only with the other side's"
            )
    return lines


def _exchanged(found: Mapping[str, FloatArray], reversed_pairs: list[str]) -> list[str]:
    """Names of the pairs that are exchanged against the trunk, followed outward from segment to segment."""
    exchanged = dict.fromkeys(reversed_pairs, True)
    for near, far in LINKS:
        if far not in exchanged and {f"{side}_{name}" for name in (near, far) for side in "lr"} <= set(found):
            exchanged[far] = exchanged.get(near, False) != _crossed(found, near, far)
    return [name for name, wrong in exchanged.items() if wrong]


def _crossed(found: Mapping[str, FloatArray], near: str, far: str) -> bool:
    """Whether a segment keeps its length only to the far point of the other side."""
    left_near, right_near, left_far, right_far = (found[f"{side}_{name}"] for name in (near, far) for side in "lr")
    own = max(_change(left_near, left_far), _change(right_near, right_far))
    crossed = max(_change(left_near, right_far), _change(right_near, left_far))
    return own > LENGTH_CHANGES_M and crossed < CROSSED_CHANGES * own


def _change(first: FloatArray, second: FloatArray) -> float:
    """Spread of the distance between two points, 5th to 95th percentile. [m]"""
    length = np.linalg.norm(first - second, axis=1)
    length = length[np.isfinite(length)]
    return float(np.subtract(*np.percentile(length, [95, 5]))) if len(length) > 1 else 0.0


def _contradicting_directions(found: Mapping[str, FloatArray], up: FloatArray) -> tuple[list[str], list[str]]:
    """Left-right orders against what shows the body's front: lines, and the pairs whose order is wrong."""
    orders = {
        name: _level(np.cross(up, found[f"r_{name}"] - found[f"l_{name}"]), up)
        for name in ORDERS
        if {f"l_{name}", f"r_{name}"} <= set(found)
    }
    fronts = _fronts(found, up)
    wrong = [
        name
        for name, direction in orders.items()
        if _median([_agreement(direction, front) for front in fronts.values()]) < -CONTRADICTS
    ]
    words = _join(ORDERS[name] for name in orders)
    if wrong and len(wrong) == len(orders):
        return [
            f"left and right look exchanged on the whole body: by the order of its {words} it faces away from where its"
            f" {_join(fronts)} point"
        ], wrong
    backward = [
        word
        for word, front in fronts.items()
        if _median([_agreement(direction, front) for direction in orders.values()]) < -CONTRADICTS
    ]
    if backward and not wrong:
        return [f"the {_join(backward)} point backward against the order of the {words}"], []
    return [], wrong


def _fronts(found: Mapping[str, FloatArray], up: FloatArray) -> dict[str, FloatArray]:
    """Level unit directions to the body's front that do not depend on which side is which, each shape (F, 3)."""
    fronts = {}
    for (back, front), word in FRONTS.items():
        pairs = [(f"{side}{back}", f"{side}{front}") for side in ("l_", "r_", "")]
        seen = [_level(found[b] - found[a], up) for a, b in pairs if {a, b} <= set(found)]
        if seen:
            fronts[word] = unit(np.sum(seen, axis=0))
    knees = []
    for side in "lr":
        if {f"{side}_hip", f"{side}_knee", f"{side}_ankle"} <= set(found):
            hip, knee, ankle = (found[f"{side}_{name}"] for name in ("hip", "knee", "ankle"))
            off = across(knee - hip, unit(ankle - hip))
            bent = np.linalg.norm(off, axis=1, keepdims=True) > BENT_M
            knees.append(np.where(bent, _level(off, up), np.nan))
    if knees and np.isfinite(np.sum(knees, axis=0)).any():
        fronts["bent knees"] = unit(np.sum(knees, axis=0))
    return fronts


def _level(vectors: FloatArray, up: FloatArray) -> FloatArray:
    return unit(across(vectors, up))


def _agreement(first: FloatArray, second: FloatArray) -> float:
    """Median cosine between two directions over the frames that show both; NaN where none does."""
    cosine = np.sum(first * second, axis=1)
    cosine = cosine[np.isfinite(cosine)]
    return float(np.median(cosine)) if len(cosine) else float("nan")


def _median(values: list[float]) -> float:
    known = [value for value in values if np.isfinite(value)]
    return float(np.median(known)) if known else 0.0


def _join(words: Iterable[str]) -> str:
    listed = list(words)
    return " and ".join([", ".join(listed[:-1]), listed[-1]]) if len(listed) > 1 else "".join(listed)
