"""The figure's skeleton: from joint centres to one rigid motion per bone and frame.

Every bone carries the rest figure's surface by ``v -> anchor + Q stretch (v - rest_anchor)``. Between two bones of a
joint lie helper bones at a third and two thirds of the joint's rotation, so that a surface spread over them bends round
the joint instead of collapsing into it. Twist of a limb about its own axis is spread along the limb.

Rest axes: x to the hitter's right (back side), y forward, z up, origin midway between the hip centres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.renderer.girths import build_mass
from mocap.swing import POINTS

SIDES = ("front", "back")
SPINE_STEPS = 8
FLEX = 0.25  # sine of the joint angle above which hinge points alone show the hinge
NECK_TURN = np.deg2rad(75.0)
NECK_LEAN = np.deg2rad(16.0)
#: Least and greatest height of the ankle's and the ball's centre over the sole that is believed, share of stature:
#: about those of Drillis & Contini (1966; .039) and of `mocap.kinematics.foot_points` (.012). This project's default.
ANKLE_RISE, BALL_RISE = (0.032, 0.046), (0.008, 0.018)
#: Greatest height of the toe's tip while the toes are down, share of stature. This project's default.
TOE_RISE = 0.026

BONES: tuple[str, ...] = (
    *(f"spine{k}" for k in range(SPINE_STEPS)),
    "neck1",
    "neck2",
    "head",
    *(
        f"{side}_{bone}"
        for side in SIDES
        for bone in (
            *("girdle", "shoulder1", "shoulder2", "upper0", "upper1", "upper2", "elbow1", "elbow2", "fore", "hand"),
            *("hip1", "hip2", "thigh0", "thigh1", "thigh2", "knee1", "knee2", "shank", "foot", "instep", "toes"),
        )
    ),
    "bat",
)


@dataclass(frozen=True)
class Proportions:
    """Lengths the rest figure is built to, medians over the recording, and height and mass, which decide its girths.

    Attributes
    ----------
    height, trunk, neck, hip_half, shoulder_half, thigh, shank, upper, fore, palm, instep, toes, bat : float
        `neck` runs from mid-shoulders to the head's centre, `palm` from the wrist to the middle of the grip, `instep`
        from ankle to ball, `toes` from ball to toe. [m]
    mass : float
        [kg]
    ankle_height, ball_height : tuple of 2 floats
        Front and back: heights above the sole. [m]
    """

    height: float
    mass: float
    trunk: float
    neck: float
    hip_half: float
    shoulder_half: float
    thigh: float
    shank: float
    upper: float
    fore: float
    palm: float
    instep: float
    toes: float
    bat: float
    ankle_height: tuple[float, float]
    ball_height: tuple[float, float]


def columns(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    """Matrices with the given axes as columns, shape (F, 3, 3)."""
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def ramp(value: FloatArray, low: float, high: float) -> FloatArray:
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def turn_between(start: FloatArray, end: FloatArray) -> FloatArray:
    """Smallest rotation that carries unit vectors `start` to `end`, shape (F, 3, 3) (Rodrigues)."""
    v = np.cross(start, end)
    c = np.sum(start * end, axis=-1)
    k = np.zeros((*v.shape[:-1], 3, 3))
    k[..., 0, 1], k[..., 0, 2], k[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    k -= np.swapaxes(k, -1, -2)
    return np.asarray(np.eye(3) + k + k @ k / np.maximum(1.0 + c, 1e-6)[..., None, None])


def part_way(start: FloatArray, end: FloatArray, share: float) -> FloatArray:
    """Rotation `share` of the way from `start` to `end`, along the smallest turn; NaN stays NaN."""
    from scipy.spatial.transform import Rotation

    relative = np.swapaxes(start, -1, -2) @ end
    good = np.isfinite(relative.reshape(len(relative), 9)).all(axis=1).reshape(-1, 1, 1)
    relative = np.where(good, relative, np.eye(3))
    step = Rotation.from_rotvec(share * Rotation.from_matrix(relative).as_rotvec()).as_matrix()
    return np.asarray(start @ np.where(good, step, np.nan))


def named(points: FloatArray) -> dict[str, FloatArray]:
    """Split an array in the order of `POINTS` into name -> (F, 3)."""
    return {name: np.asarray(points[:, i], dtype=np.float64) for i, name in enumerate(POINTS)}


def _fill(p: dict[str, FloatArray], name: str, guess: FloatArray) -> None:
    p[name] = np.where(np.isfinite(p[name]).all(axis=-1, keepdims=True), p[name], guess)


def complete(points: FloatArray, height: float) -> dict[str, FloatArray]:
    """Joint centres by name with what the recording lacks put in from its neighbours.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        In the order of `POINTS`, NaN where missing. [m]
    height : float
        Standing height; scales what is put in. [m]

    Returns
    -------
    dict of str to ndarray, shape (F, 3)
        Bat points stay NaN where missing; so does a limb whose own joint is missing.
    """
    p = named(points)
    _fill(p, "pelvis", 0.5 * (p["front_hip"] + p["back_hip"]))
    _fill(p, "neck", 0.5 * (p["front_shoulder"] + p["back_shoulder"]))
    trunk = unit(p["neck"] - p["pelvis"])
    _fill(p, "head", p["neck"] + 0.13 * height * trunk)
    axis = unit(p["head"] - p["neck"])
    # A head point low on the skull would sink the chin into the chest.
    reach = np.maximum(np.linalg.norm(p["head"] - p["neck"], axis=-1, keepdims=True), 0.112 * height)
    up = p["head_top"] - p["head"]
    p["head"] = p["neck"] + reach * axis
    p["head_top"] = p["head"] + np.where(np.isfinite(up).all(axis=-1, keepdims=True), up, 0.065 * height * axis)
    chest = unit(np.cross(np.array([0.0, 0.0, 1.0]), unit(p["back_hip"] - p["front_hip"])))
    down = np.array([0.0, 0.0, -1.0])
    for side in SIDES:
        ankle = p[f"{side}_ankle"]
        ball, toe, heel = p[f"{side}_ball"], p[f"{side}_toe"], p[f"{side}_heel"]
        # With no ball: 70 % of the way to the toe, else ahead of the heel, else ahead of the hips.
        ahead = np.where(np.isfinite(heel), unit(across(ankle - heel, down)), chest)
        guess = np.where(np.isfinite(toe), ankle + 0.70 * (toe - ankle), ankle + 0.075 * height * ahead)
        guess = np.where(np.isfinite(toe), guess, guess + 0.025 * height * down)
        _fill(p, f"{side}_ball", guess)
        ball = p[f"{side}_ball"]
        _fill(p, f"{side}_toe", ball + 0.04 * height * unit(across(ball - ankle, down)))
        wrist = p[f"{side}_wrist"]
        _fill(p, f"{side}_hand", wrist + 0.045 * height * unit(wrist - p[f"{side}_elbow"]))
    return p


def proportions(points: FloatArray, height: float, *, bat: bool, mass: float | None = None) -> Proportions:
    """Segment lengths of one hitter: medians over frames and, where there are two, over sides.

    A length no frame shows is taken from the height by de Leva's (1996) shares; without a mass [kg] the build is
    typical.
    """
    p = complete(points, height)

    def median(values: FloatArray, share: float) -> float:
        finite = values[np.isfinite(values)]
        return float(np.median(finite)) if finite.size else share * height

    def length(start: str, end: str, share: float) -> float:
        names = [(f"{s}_{start}", f"{s}_{end}") for s in SIDES] if f"front_{start}" in p else [(start, end)]
        return median(np.concatenate([np.linalg.norm(p[b] - p[a], axis=-1) for a, b in names]), share)

    def foot(side: str) -> tuple[float, float, float, float]:
        ankle, ball, toe = (p[f"{side}_{n}"] for n in ("ankle", "ball", "toe"))
        flat = _stands_flat(ankle[:, 2], ball[:, 2], toe[:, 2], height)
        rise = float(np.clip(median(ankle[flat, 2], 0.039), *np.multiply(ANKLE_RISE, height)))
        ball_rise = float(np.clip(median(ball[flat, 2], 0.012), *np.multiply(BALL_RISE, height)))
        instep = max(median(np.linalg.norm(ball - ankle, axis=-1), 0.08), 1.2 * (rise - ball_rise))
        return rise, ball_rise, instep, median(np.linalg.norm(toe - ball, axis=-1), 0.04)

    feet = [foot(side) for side in SIDES]
    bat_length = median(np.linalg.norm(p["bat_barrel"] - p["bat_knob"], axis=-1), 0.84 / height) if bat else 0.84
    return Proportions(
        height,
        build_mass(height, mass),
        length("pelvis", "neck", 0.2961),
        length("neck", "head", 0.13),
        0.5 * median(np.linalg.norm(p["front_hip"] - p["back_hip"], axis=-1), 0.10),
        0.5 * median(np.linalg.norm(p["front_shoulder"] - p["back_shoulder"], axis=-1), 0.21),
        length("hip", "knee", 0.2425),
        length("knee", "ankle", 0.2529),
        length("shoulder", "elbow", 0.1618),
        length("elbow", "wrist", 0.1545),
        float(np.clip(length("wrist", "hand", 0.045), 0.035 * height, 0.055 * height)),
        0.5 * (feet[0][2] + feet[1][2]),
        0.5 * (feet[0][3] + feet[1][3]),
        bat_length,
        (feet[0][0], feet[1][0]),
        (feet[0][1], feet[1][1]),
    )


def _stands_flat(ankle: FloatArray, ball: FloatArray, toe: FloatArray, height: float) -> FloatArray:
    """In which frames a foot stands on its whole sole, by its heights over the floor, shape (F,) each. [m]

    The ankle alone does not tell: it is lowest of all in a hitter who rocks back onto his heel after the swing, the
    toes in the air. Of the frames in which ball and toes are down those count in which the heel is, too.
    """
    down = np.isfinite(ankle) & (np.minimum(ball, toe) >= 0.0)
    down &= (ball <= BALL_RISE[1] * height) & (toe <= TOE_RISE * height)
    return np.asarray(down & (ankle <= (np.quantile(ankle[down], 0.25) if down.any() else -np.inf)))


def rest_points(size: Proportions) -> dict[str, FloatArray]:
    """Joint centres of the rest figure, shape (1, 3) each, in rest axes: half way into a hitter's stance.

    The nearer the rest pose is to the poses shown, the less the surface has to stretch.
    """
    p: dict[str, FloatArray] = {
        "pelvis": np.zeros(3),
        "neck": np.array([0.0, 0.0, size.trunk]),
        "head": np.array([0.0, 0.0, size.trunk]) + size.neck * unit(np.array([0.0, 0.30, 1.0])),
    }
    p["head_top"] = p["head"] + np.array([0.0, 0.0, 0.065 * size.height])
    for i, side in enumerate(SIDES):
        mirror = np.array([-1.0 if side == "front" else 1.0, 1.0, 1.0])
        chain = (
            ("hip", None, np.array([size.hip_half, 0.0, 0.0]), 1.0),
            ("knee", "hip", np.array([0.27, 0.42, -0.87]), size.thigh),
            ("ankle", "knee", np.array([0.06, -0.24, -0.97]), size.shank),
            ("shoulder", None, np.array([size.shoulder_half, 0.0, size.trunk]), 1.0),
            ("elbow", "shoulder", np.array([0.42, 0.58, -0.70]), size.upper),
            ("wrist", "elbow", np.array([-0.15, 0.97, -0.05]), size.fore),
        )
        for name, parent, way, far in chain:
            start = np.zeros(3) if parent is None else p[f"{side}_{parent}"]
            p[f"{side}_{name}"] = start + mirror * (way if parent is None else far * unit(way))
        p[f"{side}_hand"] = p[f"{side}_wrist"] + size.palm * unit(p[f"{side}_wrist"] - p[f"{side}_elbow"])
        drop = size.ankle_height[i] - size.ball_height[i]
        ahead = np.sqrt(size.instep**2 - drop**2)
        p[f"{side}_ball"] = p[f"{side}_ankle"] + np.array([0.0, ahead, -drop])
        p[f"{side}_toe"] = p[f"{side}_ball"] + np.array([0.0, size.toes, 0.0])
    return {name: value[None] for name, value in p.items()}


class Motion:
    """Motions collected bone by bone.

    Attributes
    ----------
    matrix : ndarray, shape (F, B, 3, 4)
        From the rest figure to each frame; NaN where a joint is missing.
    anchor : ndarray, shape (B, 3)
        Rest place that each bone is fixed by. [m]
    axis : ndarray, shape (B, 3)
        Unit rest axis along which each bone may be stretched.
    """

    def __init__(self, n_frames: int) -> None:
        self.matrix = np.full((n_frames, len(BONES), 3, 4), np.nan)
        self.anchor = np.zeros((len(BONES), 3))
        self.axis = np.tile([0.0, 0.0, 1.0], (len(BONES), 1))

    def add(
        self,
        bone: str,
        turn: FloatArray,
        rest: FloatArray,
        now: FloatArray,
        axis: FloatArray | None = None,
        stretch: FloatArray | float = 1.0,
    ) -> None:
        """Set one bone: rotation (F, 3, 3), anchors (3,) and (F, 3), stretch (F,) along the unit rest axis (3,)."""
        linear, number = turn, BONES.index(bone)
        self.anchor[number] = rest
        if axis is not None:
            self.axis[number] = axis
            grow = np.eye(3) + (np.asarray(stretch)[..., None, None] - 1.0) * np.outer(axis, axis)
            linear = turn @ grow
        row = self.matrix[:, number]
        row[..., :3] = linear
        row[..., 3] = now - linear @ rest
