"""Which joints a camera cannot see because the hitter's own body is in the way.

**The rule.** The body is a set of capsules, each a line between two joints with a radius. A joint is hidden from a
camera when the straight line between them comes nearer to the axis of a capsule than its radius, and the joint is no
part of that capsule. Radii are this project's estimates after the girths of the drawn figure, and scale with height.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.swing import POINTS


@dataclass(frozen=True)
class Capsule:
    """A part of the body: between two joints, its radius as share of height, and the joints that lie in it."""

    start: str
    end: str
    radius: float
    inside: tuple[str, ...]


def _of_side(side: str) -> tuple[Capsule, ...]:
    hip, knee, ankle, heel, ball, toe, shoulder, elbow, wrist, hand = (
        f"{side}_{name}"
        for name in ("hip", "knee", "ankle", "heel", "ball", "toe", "shoulder", "elbow", "wrist", "hand")
    )
    return (
        Capsule(hip, knee, 0.045, (hip, knee, "pelvis")),
        Capsule(knee, ankle, 0.029, (knee, ankle)),
        Capsule(heel, ball, 0.022, (heel, ball, toe, ankle)),
        Capsule(shoulder, elbow, 0.029, (shoulder, elbow)),
        Capsule(elbow, wrist, 0.021, (elbow, wrist, hand)),
        Capsule(hand, hand, 0.025, (wrist, hand, "bat_knob")),
    )


CAPSULES: tuple[Capsule, ...] = (
    Capsule("pelvis", "neck", 0.062, ("pelvis", "neck", "front_hip", "back_hip")),
    Capsule("front_shoulder", "back_shoulder", 0.036, ("front_shoulder", "back_shoulder", "neck")),
    Capsule("front_hip", "back_hip", 0.050, ("front_hip", "back_hip", "pelvis")),
    Capsule("head", "head", 0.052, ("head", "head_top")),
    *_of_side("front"),
    *_of_side("back"),
)

_STARTS, _ENDS = ([POINTS.index(getattr(c, end)) for c in CAPSULES] for end in ("start", "end"))
_RADII = np.array([capsule.radius for capsule in CAPSULES])
_APART = np.array([[name not in capsule.inside for capsule in CAPSULES] for name in POINTS])


def hidden_by_body(points: FloatArray, eye: FloatArray, height_m: float) -> npt.NDArray[np.bool_]:
    """Which points the body hides.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        In the order of `mocap.swing.POINTS`, any axes. [m]
    eye : ndarray, shape (3,)
        The camera's centre in the same axes. [m]
    height_m : float
        Standing height. [m]

    Returns
    -------
    ndarray of bool, shape (F, P)
        False where a point or a capsule is missing.
    """
    far = line_distance(
        points[:, :, None],
        np.broadcast_to(eye, (1, 1, 1, 3)),
        points[:, None, _STARTS],
        points[:, None, _ENDS],
    )
    hidden: npt.NDArray[np.bool_] = ((far < height_m * _RADII) & _APART).any(axis=-1)
    return hidden


def line_distance(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Least distance between the line from a to b and the line from c to d, broadcast, shape (...). [m]

    Parameters
    ----------
    a, b, c, d : ndarray, shape (..., 3)
        Ends; c and d may coincide, a and b must not. [m]

    Notes
    -----
    Nearest points of the endless lines, then one place held to its line and the other sought again, as in C. Ericson
    (2005) *Real-Time Collision Detection*, section 5.1.9.
    """
    along, other, apart = b - a, d - c, a - c

    def dot(x: FloatArray, y: FloatArray) -> FloatArray:
        return np.sum(x * y, axis=-1)

    aa, bb, ab = dot(along, along), dot(other, other), dot(along, other)
    to_a, to_b = dot(along, apart), dot(other, apart)
    length = np.where(bb > 0.0, bb, 1.0)
    skew = aa * bb - ab * ab
    s = np.clip((ab * to_b - to_a * bb) / np.where(skew > 1e-12 * aa * length, skew, np.inf), 0.0, 1.0)
    t = np.clip((ab * s + to_b) / length, 0.0, 1.0)
    s = np.clip((ab * t - to_a) / aa, 0.0, 1.0)
    gap = apart + s[..., None] * along - t[..., None] * other
    distance: FloatArray = np.sqrt(dot(gap, gap))
    return distance
