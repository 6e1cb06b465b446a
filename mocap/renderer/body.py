"""The rest figure's body: its surface, what moves each part of it, and its tones.

Rings and muscles are those of an athletic adult of 1.80 m, widened or slimmed to the hitter's mass (`girths`); lengths
are his own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit
from mocap.renderer.girths import MODEL_HEIGHT, girths
from mocap.renderer.implicit import Field, IntArray, cut, ellipsoid, join, loft, mesh, neighbours
from mocap.renderer.rig import BONES, SIDES, SPINE_STEPS, Proportions, ramp, rest_points

#: Lengthwise stripes round the back side's limbs, which tell it from the front side without colour.
STRIPES: dict[str, int] = {"back_sleeve": 12, "back_leg": 16}
JAW_SHARE = 1.6  # how quickly what lies before the neck goes over to the head
SHOULDER_PASSES = 14  # rounds of averaging over neighbours, which keep the armpit from creasing


@dataclass(frozen=True)
class Part:
    """A closed surface of the rest figure.

    Attributes
    ----------
    vertices : ndarray, shape (V, 3)
        In rest axes, or in its own axes where one bone carries it. [m]
    faces : ndarray, shape (T, 3)
        Outward.
    weights : ndarray, shape (V, B)
        Share of each bone of `BONES`; rows sum to 1.
    tones : tuple of str
        Tone of each face.
    stripes : mapping of str to ndarray, shape (V,)
        For each tone that is striped, how many stripes lie between the limb's seam and each vertex, round the limb:
        0 at the seam up to `STRIPES` of that tone, where the next round begins.
    """

    vertices: FloatArray
    faces: IntArray
    weights: FloatArray
    tones: tuple[str, ...]
    stripes: Mapping[str, FloatArray] = field(default_factory=dict)


def one_bone(n: int, bone: str) -> FloatArray:
    """Weights of `n` vertices that one bone carries."""
    weights = np.zeros((n, len(BONES)))
    weights[:, BONES.index(bone)] = 1.0
    return weights


def pass_on(weights: FloatArray, share: FloatArray, bones: tuple[str, ...]) -> FloatArray:
    """Hand vertices over along a chain: `share` 0 keeps their weights, 1 gives them to the last bone of `bones`."""
    place = share * len(bones)
    out = weights * np.clip(1.0 - place, 0.0, 1.0)[:, None]
    for k, bone in enumerate(bones, start=1):
        out[:, BONES.index(bone)] += np.clip(1.0 - np.abs(place - k), 0.0, 1.0)
    return out


class BodyShape:
    """Fields of the rest body. `torso`, `arm(side)`, `leg(side)`, `head` and their smooth union `field`."""

    def __init__(self, size: Proportions) -> None:
        self.size = size
        self.scale = size.height / MODEL_HEIGHT
        self.girths = girths(size)
        self.p = {name: value[0] for name, value in rest_points(size).items()}
        self._trunk = self._make_trunk()
        self._arms = {side: self._make_arm(side) for side in SIDES}
        self._legs = {side: self._make_leg(side) for side in SIDES}
        self._head = self._make_head()

    def _frame(self, side: str, start: str, end: str, forward: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Axes of a bone: x to the outer side, y forward, z along it."""
        line = self.p[f"{side}_{end}"] - self.p[f"{side}_{start}"]
        z = unit(line)
        y = unit(across(forward, z))
        x = np.cross(y, z)
        outward = 1.0 if x[0] * self.p[f"{side}_{start}"][0] > 0 else -1.0
        return self.p[f"{side}_{start}"], np.stack([outward * x, y, z], axis=-1), float(np.linalg.norm(line))

    def _make_trunk(self) -> Field:
        s, g, trunk = self.scale, self.girths.trunk, self.size.trunk
        rings = [
            (-0.058 * s, 0.0, -0.034 * g, 0.060 * g, 0.040 * g),
            (-0.015 * s, 0.0, -0.012 * g, 0.130 * g, 0.104 * g),
            (0.10 * trunk, 0.0, -0.012 * g, 0.155 * g, 0.112 * g),
            (0.24 * trunk, 0.0, -0.004 * g, 0.150 * g, 0.108 * g),
            (0.42 * trunk, 0.0, 0.006 * g, 0.138 * g, 0.104 * g),
            (0.60 * trunk, 0.0, 0.004 * g, 0.150 * g, 0.112 * g),
            (0.80 * trunk, 0.0, -0.002 * g, 0.166 * g, 0.118 * g),
            (0.93 * trunk, 0.0, -0.014 * g, 0.154 * g, 0.106 * g),
            (1.04 * trunk, 0.0, -0.022 * g, 0.112 * g, 0.078 * g),
            (1.12 * trunk, 0.0, -0.018 * g, 0.060 * g, 0.056 * g),
        ]
        core = loft(np.zeros(3), np.eye(3), rings)
        muscles = [muscle for side in SIDES for muscle in self._trunk_muscles(side)]

        def field(points: FloatArray) -> FloatArray:
            value = core(points)
            for muscle, radius in muscles:
                value = join(value, muscle(points), radius)
            return value

        return field

    def _trunk_muscles(self, side: str) -> list[tuple[Field, float]]:
        """Chest, back, seat and shoulder girdle of one side, each with the width of its fillet."""
        s, g, trunk = self.scale, self.girths.trunk, self.size.trunk
        sign = -1.0 if side == "front" else 1.0
        shoulder = self.p[f"{side}_shoulder"]
        chest = ellipsoid((sign * 0.075 * g, 0.070 * g, 0.81 * trunk), (0.088 * g, 0.040 * g, 0.070 * s))
        back = ellipsoid((sign * 0.085 * g, -0.075 * g, 0.80 * trunk), (0.080 * g, 0.045 * g, 0.105 * s))
        seat = ellipsoid((sign * 0.075 * g, -0.060 * g, -0.006 * s), (0.084 * g, 0.066 * g, 0.105 * s))
        inward = shoulder * np.array([0.62, 0.0, 1.0])
        blade = ellipsoid(inward + s * np.array([0.0, -0.046, -0.055]), (0.072 * s, 0.042 * g, 0.083 * s))
        breast = ellipsoid(inward + s * np.array([0.0, 0.022, -0.040]), (0.070 * s, 0.042 * g, 0.053 * s))
        root = np.array([sign * 0.015 * s, -0.026 * s, trunk + 0.066 * s])
        way = shoulder + np.array([0.0, -0.005 * s, 0.016 * s]) - root
        z = unit(way)
        y = unit(across(np.array([0.0, 1.0, 0.0]), z))
        length = float(np.linalg.norm(way))
        slope = [(0.0, 0.0, 0.0, 0.040 * g, 0.042 * g), (length, 0.0, 0.0, 0.031 * g, 0.036 * g)]
        yoke = loft(root, np.stack([np.cross(y, z), y, z], axis=-1), slope)
        return [
            (blade, 0.075 * s),
            (breast, 0.060 * s),
            (chest, 0.03 * s),
            (back, 0.05 * s),
            (seat, 0.05 * s),
            (yoke, 0.070 * s),
        ]

    def _make_arm(self, side: str) -> Field:
        s, u, f, h = self.scale, self.girths.upper_arm, self.girths.forearm, self.girths.hand
        forward = self.p[f"{side}_wrist"] - self.p[f"{side}_elbow"]
        start, axes, n = self._frame(side, "shoulder", "elbow", forward)
        upper = loft(
            start,
            axes,
            [
                (-0.012 * u, -0.008 * u, 0.000, 0.041 * u, 0.045 * u),
                (0.10 * n, -0.005 * u, 0.001 * u, 0.043 * u, 0.046 * u),
                (0.28 * n, -0.001 * u, 0.002 * u, 0.047 * u, 0.051 * u),
                (0.52 * n, 0.000, 0.005 * u, 0.051 * u, 0.058 * u),
                (0.75 * n, 0.000, 0.003 * u, 0.051 * u, 0.056 * u),
                (1.00 * n, 0.000, -0.003 * u, 0.045 * u, 0.043 * u),
            ],
        )
        start, axes, n = self._frame(side, "elbow", "wrist", start - self.p[f"{side}_elbow"])
        lower = loft(
            start,
            axes,
            [
                (0.00 * n, 0.000, -0.002 * f, 0.041 * f, 0.038 * f),
                (0.22 * n, 0.002 * f, 0.002 * f, 0.046 * f, 0.043 * f),
                (0.45 * n, 0.001 * f, 0.002 * f, 0.041 * f, 0.038 * f),
                (0.75 * n, 0.000, 0.000, 0.031 * f, 0.028 * f),
                (1.00 * n, 0.000, 0.000, 0.029 * h, 0.027 * h),  # thinner than the glove's cuff
            ],
        )
        return lambda points: join(upper(points), lower(points), 0.025 * s)

    def _make_leg(self, side: str) -> Field:
        s, u, f = self.scale, self.girths.thigh, self.girths.shank
        forward = self.p[f"{side}_knee"] - 0.5 * (self.p[f"{side}_hip"] + self.p[f"{side}_ankle"])
        start, axes, n = self._frame(side, "hip", "knee", forward)
        thigh = loft(
            start,
            axes,
            [
                (-0.02 * n, 0.002 * u, -0.008 * u, 0.082 * u, 0.092 * u),
                (0.14 * n, 0.000 * u, -0.002 * u, 0.088 * u, 0.096 * u),
                (0.35 * n, -0.002 * u, 0.006 * u, 0.083 * u, 0.091 * u),
                (0.60 * n, -0.002 * u, 0.008 * u, 0.071 * u, 0.077 * u),
                (0.82 * n, 0.000, 0.004 * u, 0.060 * u, 0.062 * u),
                (1.00 * n, 0.000, 0.003 * u, 0.056 * u, 0.056 * u),
            ],
        )
        start, axes, n = self._frame(side, "knee", "ankle", forward)
        shank = loft(
            start,
            axes,
            [
                (0.00 * n, 0.000, 0.002 * f, 0.055 * f, 0.057 * f),
                (0.12 * n, 0.001 * f, -0.004 * f, 0.053 * f, 0.057 * f),
                (0.28 * n, 0.003 * f, -0.016 * f, 0.060 * f, 0.066 * f),
                (0.45 * n, 0.002 * f, -0.013 * f, 0.055 * f, 0.060 * f),
                (0.70 * n, 0.000, -0.006 * f, 0.040 * f, 0.043 * f),
                (0.90 * n, 0.000, -0.004 * f, 0.035 * f, 0.040 * f),
                (1.00 * n, 0.000, -0.004 * f, 0.036 * f, 0.042 * f),
            ],
        )
        return lambda points: join(thigh(points), shank(points), 0.025 * s)

    def _make_head(self) -> Field:
        s, head, base = self.girths.head, self.p["head"], self.p["neck"]
        skull = ellipsoid(head + s * np.array([0.0, -0.008, 0.024]), (0.076 * s, 0.098 * s, 0.093 * s))
        face = ellipsoid(head + s * np.array([0.0, 0.030, -0.035]), (0.059 * s, 0.066 * s, 0.078 * s))
        chin = ellipsoid(head + s * np.array([0.0, 0.056, -0.088]), (0.030 * s, 0.028 * s, 0.026 * s))
        nose = ellipsoid(head + s * np.array([0.0, 0.097, -0.022]), (0.012 * s, 0.020 * s, 0.029 * s))
        bottom = base + s * np.array([0.0, -0.014, 0.0])
        way = head + s * np.array([0.0, -0.022, -0.03]) - bottom
        z = unit(way)
        y = unit(across(np.array([0.0, 1.0, 0.0]), z))
        n = float(np.linalg.norm(way))
        rings = [
            (0.0, 0.0, 0.0, 0.062 * s, 0.061 * s),
            (0.5 * n, 0.0, 0.0, 0.056 * s, 0.058 * s),
            (n, 0.0, 0.0, 0.055 * s, 0.057 * s),
        ]
        neck = loft(bottom, np.stack([np.cross(y, z), y, z], axis=-1), rings)
        ears = [
            ellipsoid(head + s * np.array([x * 0.076, -0.006, -0.012]), (0.011 * s, 0.019 * s, 0.031 * s))
            for x in (-1.0, 1.0)
        ]

        def field(points: FloatArray) -> FloatArray:
            value = join(skull(points), face(points), 0.035 * s)
            value = join(value, chin(points), 0.035 * s)
            value = join(value, nose(points), 0.016 * s)
            for ear in ears:
                value = join(value, ear(points), 0.010 * s)
            return join(value, neck(points), 0.030 * s)

        return field

    def torso(self, points: FloatArray) -> FloatArray:
        """Trunk without limbs and neck."""
        return self._trunk(points)

    def arm(self, side: str, points: FloatArray) -> FloatArray:
        """One arm from the shoulder to the wrist."""
        return self._arms[side](points)

    def field(self, points: FloatArray) -> FloatArray:
        """The whole body."""
        s = self.scale
        legs = join(self._legs["front"](points), self._legs["back"](points), 0.012 * s)
        value = join(self._trunk(points), legs, 0.045 * s)
        value = join(value, self._head(points), 0.035 * s)
        for side in SIDES:
            value = join(value, self._arms[side](points), 0.045 * s)
        return value


def _line_share(points: FloatArray, start: FloatArray, end: FloatArray, low: float, high: float) -> FloatArray:
    """How far along a bone each point lies, as a smooth step between the shares `low` and `high` of its length."""
    line = end - start
    return ramp((points - start) @ line / (line @ line), low, high)


def _bend_share(points: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray, half: float) -> FloatArray:
    """Smooth step across the plane that halves the angle at joint `b`, over `half` metres either side."""
    return ramp((points - b) @ unit(unit(b - a) + unit(c - b)), -half, half)


def arm_share(shape: BodyShape, side: str, points: FloatArray) -> FloatArray:
    """0 on the trunk, 1 on the arm."""
    s = shape.scale
    arm = shape.arm(side, points)
    # Far from both, as on the head, both fields only say "far".
    near = 1.0 - ramp(arm, 0.07 * s, 0.12 * s)
    # The arm takes the shoulder blade along, but not the flank below the armpit.
    level = shape.p[f"{side}_shoulder"][2]
    low = -0.024 * s - 0.028 * s * ramp(points[:, 2], level - 0.11 * s, level - 0.01 * s)
    return ramp((shape.torso(points) - arm - low) / (0.050 * s - low), 0.0, 1.0) * near


def leg_plane(shape: BodyShape, side: str, points: FloatArray) -> FloatArray:
    """Distance below the plane of the groin, which runs from the hip bone to the crotch. [m]"""
    p = shape.p
    outward = 1.0 if p[f"{side}_hip"][0] > 0 else -1.0
    down = unit(np.array([0.12 * outward, 0.58, -0.80]))
    return np.asarray((points - p[f"{side}_hip"]) @ down)


def body_weights(shape: BodyShape, points: FloatArray, faces: IntArray) -> FloatArray:
    """Share of each bone in each vertex, shape (V, B)."""
    s, trunk = shape.scale, shape.size.trunk
    spine = tuple(f"spine{k}" for k in range(1, SPINE_STEPS))
    weights = pass_on(one_bone(len(points), "spine0"), np.clip(points[:, 2] / trunk, 0.0, 1.0), spine)
    weights = _neck_weights(shape, points, weights)
    mean = neighbours(len(points), faces)
    for side, sign in (("front", -1.0), ("back", 1.0)):
        root = arm_share(shape, side, points) * ramp(sign * points[:, 0], 0.0, 0.02 * s)
        for _ in range(SHOULDER_PASSES):
            root = 0.5 * root + 0.5 * (mean @ root)
        weights = _arm_weights(shape, side, root, points, weights)
    legs = [_leg_weights(shape, side, points, weights) for side in SIDES]
    right = ramp(points[:, 0], -0.055 * s, 0.055 * s)[:, None]
    return np.asarray((1.0 - right) * legs[0] + right * legs[1])


def _neck_weights(shape: BodyShape, points: FloatArray, weights: FloatArray) -> FloatArray:
    """Neck and head; the shoulders' slopes stay with the chest."""
    line = shape.p["head"] - shape.p["neck"]
    along = (points - shape.p["neck"]) @ line / (line @ line)
    # The jaw is the head's, though it hangs as low as the neck.
    forward = (points - shape.p["neck"]) @ unit(across(np.array([0.0, 1.0, 0.0]), unit(line)))
    jaw = np.maximum(forward - 0.030 * shape.girths.head, 0.0) * ramp(along, 0.20, 0.65)
    along = along + JAW_SHARE * jaw / np.linalg.norm(line)
    central = 1.0 - ramp(np.abs(points[:, 0]), 0.10 * shape.scale, 0.13 * shape.scale)
    return pass_on(weights, ramp(along, 0.22, 0.95) * central, ("neck1", "neck2", "head"))


def _arm_weights(shape: BodyShape, side: str, root: FloatArray, points: FloatArray, weights: FloatArray) -> FloatArray:
    """Shoulder girdle and arm; `root` is 0 on the trunk and 1 on the arm."""
    s, half, trunk = shape.scale, shape.size.shoulder_half, shape.size.trunk
    a, b, c = (shape.p[f"{side}_{n}"] for n in ("shoulder", "elbow", "wrist"))
    outward = points[:, 0] * np.sign(a[0])
    girdle = ramp(outward, 0.3 * half, half) * ramp(points[:, 2], 0.55 * trunk, 0.85 * trunk)
    weights = pass_on(weights, girdle, (f"{side}_girdle",))
    weights = pass_on(weights, root, (f"{side}_shoulder1", f"{side}_shoulder2", f"{side}_upper0"))
    weights = pass_on(weights, root * _line_share(points, a, b, 0.1, 0.85), (f"{side}_upper1", f"{side}_upper2"))
    bend = root * _bend_share(points, a, b, c, 0.050 * s)
    return pass_on(weights, bend, (f"{side}_elbow1", f"{side}_elbow2", f"{side}_fore"))


def _leg_weights(shape: BodyShape, side: str, points: FloatArray, weights: FloatArray) -> FloatArray:
    """One leg, as if the other were not there."""
    s = shape.scale
    a, b, c = (shape.p[f"{side}_{n}"] for n in ("hip", "knee", "ankle"))
    root = ramp(leg_plane(shape, side, points), -0.14 * s, 0.15 * s) * ramp(-points[:, 2], -0.15 * s, 0.0)
    root *= 1.0 - arm_mask(shape, "front", points) - arm_mask(shape, "back", points)
    weights = pass_on(weights, root, (f"{side}_hip1", f"{side}_hip2", f"{side}_thigh0"))
    weights = pass_on(weights, root * _line_share(points, a, b, 0.1, 0.85), (f"{side}_thigh1", f"{side}_thigh2"))
    bend = root * _bend_share(points, a, b, c, 0.070 * s)
    return pass_on(weights, bend, (f"{side}_knee1", f"{side}_knee2", f"{side}_shank"))


def arm_mask(shape: BodyShape, side: str, points: FloatArray) -> FloatArray:
    """1 on the arm itself, 0 elsewhere."""
    return 1.0 - ramp(shape.arm(side, points), 0.01, 0.03)


def make_body(size: Proportions) -> Part:
    """Skin, shirt and trousers in one closed surface."""
    shape = BodyShape(size)
    reach = 0.16 * shape.scale
    joints = np.stack(list(shape.p.values()))
    low, high = joints.min(axis=0) - reach, joints.max(axis=0) + reach
    vertices, faces = mesh(shape.field, low, high, 0.020 * shape.scale, mirrored=True)
    regions = body_regions(shape)
    vertices, faces = cut(vertices, faces, [region for _, region in regions])
    middle = vertices[faces].mean(axis=1)
    tones = np.full(len(faces), "shirt", dtype=object)
    for name, region in regions:
        tones[region(middle) > 0.0] = name
    tones[(tones == "front_leg") & (middle[:, 0] > 0.0)] = "back_leg"
    return Part(vertices, faces, body_weights(shape, vertices, faces), tuple(tones), body_stripes(shape, vertices))


def body_stripes(shape: BodyShape, points: FloatArray) -> dict[str, FloatArray]:
    """Stripes round the back arm and the back leg, see `Part.stripes`; they run along the limb, over its hinge too."""
    p, s = shape.p, shape.scale
    waist = p["back_hip"] + np.array([0.0, 0.0, 0.25 * s])
    leg = [waist, p["back_hip"], p["back_knee"], p["back_ankle"]]
    inside = p["back_shoulder"] - 0.10 * s * unit(p["back_elbow"] - p["back_shoulder"])
    arm = [inside, p["back_shoulder"], p["back_elbow"], p["back_wrist"]]
    return {
        "back_leg": _turns(leg, points) * STRIPES["back_leg"],
        "back_sleeve": _turns(arm, points) * STRIPES["back_sleeve"],
    }


def _turns(line: list[FloatArray], points: FloatArray) -> FloatArray:
    """Turns of each point round a bent line, from 0 to 1, counted from the line's inner side (toward -x).

    Between two pieces of the line the offset from it is blended over `BLEND` either side of the plane that halves the
    angle, and so is what counts as forward and outward.
    """
    blend = 0.06
    outward = ahead = np.zeros(len(points))
    for k, (start, end) in enumerate(pairwise(line)):
        z = unit(end - start)
        y = (
            unit(across(np.array([0.0, 1.0, 0.0]), z))
            if abs(z[1]) < 0.9
            else unit(across(np.array([0.0, 0.0, 1.0]), z))
        )
        x = np.cross(z, y)
        off = points - start
        share = 1.0 if k == 0 else ramp(off @ unit(z + unit(start - line[k - 1])), -blend, blend)
        outward = (1.0 - share) * outward + share * (off @ x)
        ahead = (1.0 - share) * ahead + share * (off @ y)
    return np.asarray(np.arctan2(ahead, outward) / (2.0 * np.pi) + 0.5)


def body_regions(shape: BodyShape) -> list[tuple[str, Field]]:
    """Tones and where they are (positive inside); later ones lie over earlier ones, the rest is shirt.

    Both legs of the trousers count as the front one here; the mesh parts them at the midline.
    """
    s, p, trunk = shape.scale, shape.p, shape.size.trunk
    belt = 0.27 * trunk

    def clear_of_arms(points: FloatArray) -> FloatArray:
        return np.minimum(shape.arm("front", points), shape.arm("back", points)) - 0.02

    def waist(height: float) -> Field:
        return lambda points: np.minimum(height - points[:, 2] + 0.06 * points[:, 1], clear_of_arms(points))

    def sleeve(side: str, sign: float) -> Field:
        shoulder = p[f"{side}_shoulder"]
        line = unit(unit(p[f"{side}_elbow"] - shoulder) + np.array([1.2 * sign, 0.0, 0.0]))

        def region(points: FloatArray) -> FloatArray:
            beyond = (points - shoulder) @ line + 0.004 * s
            return np.minimum(join(beyond, 0.034 * s - shape.arm(side, points), 0.03 * s), sign * points[:, 0])

        return region

    def forearm(side: str, sign: float) -> Field:
        line = unit(p[f"{side}_elbow"] - p[f"{side}_shoulder"])

        def region(points: FloatArray) -> FloatArray:
            below = (points - p[f"{side}_elbow"]) @ line + 0.055 * s
            return np.minimum(np.minimum(below, 0.06 - shape.arm(side, points)), sign * points[:, 0])

        return region

    def collar(points: FloatArray) -> FloatArray:
        line = unit(p["head"] - p["neck"])
        off = points - p["neck"] - s * np.array([0.0, -0.012, 0.0])
        along = off @ line
        radius = np.linalg.norm(off - along[:, None] * line, axis=-1)
        throat = join(along + 0.20 * off[:, 1] - 0.066 * s, 0.078 * s - radius, 0.03 * s)
        return np.maximum(throat, 0.138 * shape.girths.head - np.linalg.norm(points - p["head"], axis=-1))

    regions: list[tuple[str, Field]] = [
        ("belt", waist(belt + 0.018 * s)),
        ("front_leg", waist(belt - 0.018 * s)),
    ]
    for side, sign in (("front", -1.0), ("back", 1.0)):
        regions += [
            (f"{side}_sleeve", sleeve(side, sign)),
            ("skin", forearm(side, sign)),
        ]
    return [*regions, ("skin", collar)]
