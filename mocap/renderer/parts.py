"""The rest figure's shoes, fists, cap and bat: closed surfaces that one or two bones carry."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import unit
from mocap.renderer.body import Part, one_bone, pass_on
from mocap.renderer.field import BARREL_DIAMETER
from mocap.renderer.girths import MODEL_HEIGHT, girths
from mocap.renderer.implicit import Field, IntArray, cut, ellipsoid, join, loft, mesh
from mocap.renderer.rig import SIDES, Proportions, ramp, rest_points

HANDLE_DIAMETER = 0.025
KNOB_DIAMETER = 0.050
SOLE = 0.016  # how thick it is [m]


def carve(value: FloatArray, other: FloatArray, radius: float) -> FloatArray:
    """Smooth intersection of two field values."""
    return -join(-value, -other, radius)


def make_shoe(size: Proportions, side: str) -> Part:
    """Shoe with a flat sole on the floor of the rest foot, bending at the ball."""
    i, s = SIDES.index(side), size.height / MODEL_HEIGHT
    p = {name: value[0] for name, value in rest_points(size).items()}
    ankle, ball = p[f"{side}_ankle"], p[f"{side}_ball"]
    rise = 0.5 * sum(size.ankle_height)
    drop = rise - 0.5 * sum(size.ball_height)
    ahead = float(np.sqrt(size.instep**2 - drop**2))
    vertices, faces = _shoe(s, girths(size).foot, rise, ahead, ahead + size.toes)
    if side == "front":
        vertices, faces = vertices * np.array([-1.0, 1.0, 1.0]), faces[:, ::-1]
    on_sole = vertices[faces, 2].mean(axis=1) < SOLE * s
    vertices = vertices + np.array([ankle[0], ankle[1], ankle[2] - size.ankle_height[i]])
    bend = ramp(vertices[:, 1] - ball[1], -0.030 * s, 0.030 * s)
    weights = pass_on(one_bone(len(vertices), f"{side}_foot"), bend, (f"{side}_instep", f"{side}_toes"))
    return Part(vertices, faces, weights, tuple(np.where(on_sole, "sole", "shoe")))


@lru_cache(maxsize=8)  # the other foot's, and the reference's where its sizes are the same
def _shoe(s: float, g: float, ankle: float, ball: float, toe: float) -> tuple[FloatArray, IntArray]:
    """Shoe of a right foot, the ankle above the origin on the floor, x to the outer side and y ahead.

    `s` scales lengths and `g` girths; `ankle` is the ankle's height, `ball` and `toe` lie that far ahead of it. [m]
    """
    axes = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
    rings = [
        (-0.058 * s, 0.0, 0.030 * g, 0.020 * g, 0.030 * g),
        (-0.040 * s, 0.0, 0.036 * g, 0.033 * g, 0.042 * g),
        (-0.005 * s, 0.0, 0.040 * g, 0.037 * g, 0.056 * g),
        (0.45 * ball, 0.001 * g, 0.030 * g, 0.039 * g, 0.052 * g),
        (ball, 0.001 * g, 0.016 * g, 0.050 * g, 0.042 * g),
        (0.4 * ball + 0.6 * toe, -0.003 * g, 0.012 * g, 0.046 * g, 0.036 * g),
        (toe - 0.014 * s, -0.006 * g, 0.012 * g, 0.034 * g, 0.031 * g),
    ]
    last = loft(np.zeros(3), axes, rings)
    rise = ankle + 0.030 * s
    ring = (0.0, -0.006 * s, 0.038 * g, 0.046 * g)
    collar = loft(np.zeros(3), np.eye(3), [(0.5 * rise, *ring), (rise, *ring)])

    def field(points: FloatArray) -> FloatArray:
        return carve(join(last(points), collar(points), 0.03 * s), -points[:, 2], 0.010 * s)

    low = np.array([-0.075 * g, -0.11 * s, -0.01 * s])
    high = np.array([0.075 * g, toe + 0.05 * s, rise + 0.06 * s])
    vertices, faces = mesh(field, low, high, 0.0075 * s, triangles=1100)
    return cut(vertices, faces, [lambda points: SOLE * s - points[:, 2]])


def make_fist(size: Proportions, side: str) -> Part:
    """Closed fist round a handle along x, thumb toward +x; the wrist lies at -z, the origin is the handle's axis."""
    vertices, faces = _fist(girths(size).hand, size.palm)
    if side == "front":  # the back of a right hand looks to +y when its thumb is at +x, that of a left one to -y
        vertices, faces = vertices * np.array([1.0, -1.0, 1.0]), faces[:, ::-1]
    return Part(vertices, faces, one_bone(len(vertices), f"{side}_hand"), ("hand",) * len(faces))


@lru_cache(maxsize=8)  # the other hand's, and the reference's where its sizes are the same
def _fist(s: float, wrist: float) -> tuple[FloatArray, IntArray]:
    """Right fist of scale `s`, with the wrist that far from the handle's axis. [m]"""
    fields: list[tuple[Field, float]] = []
    for k, (x, reach) in enumerate(((0.031, 0.024), (0.0105, 0.026), (-0.0105, 0.0255), (-0.031, 0.022))):
        fields.append((_ring(x * s, reach * s, (0.0112 - 0.0006 * k) * s), 0.006 * s))
    slab = ellipsoid((0.0, 0.016 * s, -0.40 * wrist), (0.045 * s, 0.021 * s, 0.052 * s))
    heel = ellipsoid((0.0, -0.010 * s, -0.45 * wrist), (0.038 * s, 0.018 * s, 0.034 * s))
    fill = ellipsoid((0.0, 0.0, 0.0), (0.044 * s, 0.025 * s, 0.025 * s))
    rings = [
        (-wrist - 0.014 * s, 0.0, 0.0, 0.034 * s, 0.032 * s),
        (-wrist + 0.006 * s, 0.0, 0.0, 0.029 * s, 0.026 * s),
        (-0.35 * wrist, 0.0, 0.0, 0.031 * s, 0.022 * s),
    ]
    stem = loft(np.zeros(3), np.eye(3), rings)
    thumb = _rod((0.026 * s, 0.0, -0.62 * wrist), (0.047 * s, -0.020 * s, -0.012 * s), 0.0135 * s)
    tip = _rod((0.047 * s, -0.020 * s, -0.012 * s), (0.036 * s, -0.036 * s, 0.010 * s), 0.0110 * s)
    fields += [(slab, 0.012 * s), (heel, 0.015 * s), (fill, 0.006 * s), (stem, 0.025 * s), (thumb, 0.015 * s)]
    fields.append((tip, 0.007 * s))

    def field(points: FloatArray) -> FloatArray:
        value = fields[0][0](points)
        for part, radius in fields[1:]:
            value = join(value, part(points), radius)
        return value

    low = np.array([-0.065 * s, -0.065 * s, -wrist - 0.07 * s])
    return mesh(field, low, np.array([0.075, 0.065, 0.055]) * s, 0.0060 * s, triangles=1200)


def _ring(x: float, reach: float, thickness: float) -> Field:
    """A finger round the handle: a torus about the x axis."""

    def field(points: FloatArray) -> FloatArray:
        around = np.hypot(points[:, 1], points[:, 2]) - reach
        return np.asarray(np.hypot(around, points[:, 0] - x) - thickness)

    return field


def _rod(start: tuple[float, float, float], end: tuple[float, float, float], radius: float) -> Field:
    a, b = np.array(start), np.array(end)
    z = unit(b - a)
    x = unit(np.cross(z, np.array([0.3, 0.9, 0.2])))
    length = float(np.linalg.norm(b - a))
    rings = [(0.0, 0.0, 0.0, radius, radius), (length, 0.0, 0.0, radius, radius)]
    return loft(a, np.stack([x, np.cross(z, x), z], axis=-1), rings)


def make_cap(size: Proportions) -> Part:
    """Cap with a brim; the brim shows where the face points."""
    s = girths(size).head
    head = rest_points(size)["head"][0]
    dome = ellipsoid(head + s * np.array([0.0, -0.008, 0.026]), (0.0835 * s, 0.1055 * s, 0.1015 * s))

    def field(points: FloatArray) -> FloatArray:
        local = (points - head) / s
        rim = 0.030 + 0.14 * local[:, 1] - local[:, 2]
        crown = carve(dome(points), rim * s, 0.009 * s)
        x, y = local[:, 0] / 0.073, (local[:, 1] - 0.080) / 0.098
        edge = (np.hypot(x, y) - 1.0) * 0.07
        lift = local[:, 2] - (0.053 - 4.0 * local[:, 0] ** 2 - 0.22 * (local[:, 1] - 0.09))
        plate = carve(edge * s, (np.abs(lift) - 0.0062) * s, 0.006 * s)
        return join(crown, plate, 0.006 * s)

    low, high = head + s * np.array([-0.10, -0.13, -0.02]), head + s * np.array([0.10, 0.20, 0.15])
    vertices, faces = mesh(field, low, high, 0.0048 * s, triangles=2100)
    return Part(vertices, faces, one_bone(len(vertices), "head"), ("cap",) * len(faces))


def bat_profile(length: float) -> FloatArray:
    """Outline of the bat from knob to barrel, shape (N, 2): radius, distance from the knob's end. [m]

    The barrel is the thickest the rules allow; lengths along it are shares of the bat's length.
    """
    knob, handle, barrel = 0.5 * KNOB_DIAMETER, 0.5 * HANDLE_DIAMETER, 0.5 * BARREL_DIAMETER
    dome = np.linspace(0.0, 0.5 * np.pi, 7)
    end = [(barrel * np.cos(a), length - 0.018 + 0.018 * np.sin(a)) for a in dome[:-1]]
    taper = np.linspace(0.0, 1.0, 13)
    swell = handle + (barrel - handle) * (taper**2 * (3.0 - 2.0 * taper))
    body = list(zip(swell, (0.34 + 0.38 * taper) * length, strict=True))
    outline = [
        (0.0, 0.0),
        (0.75 * knob, 0.001),
        (0.95 * knob, 0.005),
        (knob, 0.010),
        (0.93 * knob, 0.016),
        (0.65 * knob, 0.024),
        (1.12 * handle, 0.036),
        (handle, 0.055),
        (handle, 0.20 * length),
        *body,
        *end,
        (0.0, length),
    ]
    return np.array(outline)


def make_bat(length: float, sections: int = 20) -> Part:
    """Bat along z from the knob's end at the origin."""
    radius, height = bat_profile(length)[1:-1].T
    angle = 2.0 * np.pi * np.arange(sections) / sections
    around = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    rings = np.concatenate(
        [radius[:, None, None] * around, np.broadcast_to(height[:, None, None], (*height.shape, sections, 1))], axis=-1
    )
    n = rings[..., 0].size
    vertices = np.vstack([rings.reshape(-1, 3), [[0.0, 0.0, 0.0], [0.0, 0.0, length]]])
    here, beside = np.arange(n).reshape(-1, sections), np.roll(np.arange(n).reshape(-1, sections), -1, axis=1)
    low = np.stack([here[:-1], beside[:-1], here[1:]], axis=-1)
    high = np.stack([beside[:-1], beside[1:], here[1:]], axis=-1)
    knob = np.stack([beside[0], here[0], np.full(sections, n)], axis=-1)
    end = np.stack([here[-1], beside[-1], np.full(sections, n + 1)], axis=-1)
    faces = np.vstack([low.reshape(-1, 3), high.reshape(-1, 3), knob, end]).astype(np.int32)
    grip = vertices[faces][:, :, 2].max(axis=1) <= 0.34 * length + 1e-6
    return Part(vertices, faces, one_bone(len(vertices), "bat"), tuple(np.where(grip, "grip", "bat")))
