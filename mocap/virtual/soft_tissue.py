"""How skin and flesh carry markers about over the bones.

Three movements add up, each of a kind that has been measured: the skin is drawn along by the neighbouring segment as
the joint between them turns; flesh lags behind the bone when that is accelerated, as a mass on a damped spring; and a
slow wander that follows nothing. Soft tissue moves at the frequencies of the movement itself (Leardini et al. 2005,
Gait Posture 21:212-225), which is why no filter takes it off.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.moments import GRAVITY
from mocap.virtual.skin import Marker

#: How far the skin carries a marker, in terms of one on the flesh of the thigh. Thigh worst (Leardini 2005), 10 to 20
#: mm in gait with plates of 18 mm, shank about half of it, back 9 to 11 mm between flexed and extended (PLoS ONE
#: 0095426), skin over the ASIS 10 mm and over the PSIS 20 mm thick (Mantovani 2016). The split is this project's own.
LOOSENESS = {
    "thigh": 1.0,
    "knee": 0.6,
    "shank": 0.5,
    "ankle": 0.25,
    "shoe": 0.2,
    "asis": 0.6,
    "psis": 0.6,
    "trunk": 0.45,
    "acromion": 0.55,
    "upper_arm": 0.7,
    "elbow": 0.4,
    "forearm": 0.4,
    "wrist": 0.25,
    "hand": 0.2,
    "head": 0.1,
    # What a solver leaves of it in a joint centre.
    "centre": 0.3,
    "bat": 0.0,
}
#: The segment that draws the skin along.
NEIGHBOUR = {
    "pelvis": "thorax",
    "thorax": "pelvis",
    "head": "thorax",
    "thigh": "pelvis",
    "shank": "thigh",
    "foot": "shank",
    "upper_arm": "thorax",
    "forearm": "upper_arm",
    "hand": "forearm",
}
#: Share of the variance that comes from the joint's turn, from inertia, and from the wander. This project's default.
SHARES = np.array([0.55, 0.30, 0.15])
#: A turn of the joint (as a sine) and a lag that count in full; a body that moves less shows less of them. [-], [m]
FULL_TURN, FULL_LAG_M = 0.03, 0.0003
#: Natural frequency and damping of flesh on bone: wobbling masses of a leg swing at some 8 to 14 Hz and die out within
#: two or three swings. [Hz], [-] This project's default.
FLESH_HZ, FLESH_DAMPING = 9.0, 0.4
#: Frequencies of the wander. [Hz]
WANDER_HZ = (0.3, 0.7, 1.2, 1.9)


def soft_tissue(
    markers: tuple[Marker, ...],
    paths: FloatArray,
    frames: Mapping[str, FloatArray],
    rate_hz: float,
    *,
    rms_m: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Displacement of each marker by the skin under it.

    Parameters
    ----------
    markers : tuple of Marker, length M
    paths : ndarray, shape (F, M, 3)
        Where they would be on bare bone. [m]
    frames : mapping of str to ndarray, shape (F, 3, 3)
        World from segment.
    rate_hz : float
        [Hz]
    rms_m : float
        Root mean square of the displacement's length, over the recording of a swing, of a marker on the thigh; others
        move by `LOOSENESS` of it. [m]
    rng : numpy Generator

    Returns
    -------
    ndarray, shape (F, M, 3)
        [m]

    Notes
    -----
    Markers of one mount move alike in the axes of their segment. A body that hardly moves shows little but the wander,
    whose root mean square is the square root of its share in `SHARES`.
    """
    moved = np.zeros_like(paths)
    mounts: dict[str, list[int]] = {}
    for column, marker in enumerate(markers):
        mounts.setdefault(marker.mount, []).append(column)
    for columns in mounts.values():
        segment, loose = markers[columns[0]].segment, LOOSENESS[markers[columns[0]].site]
        if loose:
            local = _movement(segment, paths[:, columns].mean(axis=1), frames, rate_hz, rng)
            moved[:, columns] = rms_m * loose * np.einsum("tij,tj->ti", frames[segment], local)[:, None]
    return moved


def _movement(
    segment: str, path: FloatArray, frames: Mapping[str, FloatArray], rate_hz: float, rng: np.random.Generator
) -> FloatArray:
    """Movement of one mount in the axes of its segment, of unit size, shape (F, 3)."""
    parts = (_drawn(segment, frames, rng), _lag(path, frames[segment], rate_hz), _wander(len(path), rate_hz, rng))
    sizes = np.array([_rms(part) for part in parts])
    # A part counts in full where the body moves enough for it; the wander always does.
    weights = np.sqrt(SHARES) * np.minimum(sizes / np.array([FULL_TURN, FULL_LAG_M, 1.0]), 1.0)
    scales = weights / np.where(sizes > 0, sizes, 1.0)
    total = sum((scale * part for scale, part in zip(scales, parts, strict=True)), start=np.zeros_like(path))
    # The parts are not independent of each other: what they add up to is brought to the size of independent ones.
    return total * (float(np.linalg.norm(weights)) / _rms(total))


def _rms(vectors: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.sum(vectors**2, axis=-1))))


def _drawn(segment: str, frames: Mapping[str, FloatArray], rng: np.random.Generator) -> FloatArray:
    """Skin drawn along as the joint beside it turns from where it was at first, mostly along the bone, shape (F, 3)."""
    # Whichever way a piece of skin is drawn, it is drawn so in all frames.
    pull = np.array([[0.5], [1.0], [0.5]]) * np.linalg.qr(rng.normal(size=(3, 3)))[0]
    side, bare = (segment[:2], segment[2:]) if segment[:2] in ("l_", "r_") else ("", segment)
    near = NEIGHBOUR[bare]
    other = frames[near if near in frames else side + near]
    joint = np.swapaxes(other, 1, 2) @ frames[segment]
    turned = joint[0].T @ joint
    # Sine of the angle times its axis: small turns as they are, and no jump at half a turn.
    sines = 0.5 * np.stack([turned[:, i, j] - turned[:, j, i] for i, j in ((2, 1), (0, 2), (1, 0))], axis=-1)
    return sines @ pull.T


def _lag(path: FloatArray, axes: FloatArray, rate_hz: float) -> FloatArray:
    """Flesh behind the bone from where it hung at first, in the segment's axes, shape (F, 3). [m]

    A mass on a damped spring in each of the axes: x'' + 2 d w x' + w^2 x = -(a + g).
    """
    from scipy.signal import bilinear, lfilter, lfilter_zi

    velocity = np.gradient(path, 1.0 / rate_hz, axis=0)
    felt = np.gradient(velocity, 1.0 / rate_hz, axis=0) + np.array([0.0, 0.0, GRAVITY])
    force = np.einsum("tji,tj->ti", axes, felt)
    w = 2.0 * np.pi * FLESH_HZ
    b, a = bilinear([-1.0], [1.0, 2.0 * FLESH_DAMPING * w, w**2], fs=rate_hz)
    hung = lfilter_zi(b, a)[:, None] * force[:1]
    moved = lfilter(b, a, force, axis=0, zi=hung)[0]
    return np.asarray(moved - moved[0], dtype=np.float64)


def _wander(frames: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """A slow movement that follows nothing, of unit size, shape (F, 3)."""
    phase = rng.uniform(0.0, 2.0 * np.pi, size=(len(WANDER_HZ), 3))
    size = rng.normal(size=(len(WANDER_HZ), 3)) / np.sqrt(np.array(WANDER_HZ))[:, None]
    angle = 2.0 * np.pi * np.arange(frames)[:, None, None] / rate_hz * np.array(WANDER_HZ)[:, None] + phase
    moved: FloatArray = np.sum(size * np.sin(angle), axis=1)
    return moved / _rms(moved)
