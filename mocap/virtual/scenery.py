"""The cage that footage is filmed in: floor, home plate, batter's boxes, nets and the hall round it, through a camera.

Everything is flat, so each pixel's ray is met with the planes in turn: perspective and the bending of the lens are
exact. Field axes: origin at the plate's rear tip, x toward the pitcher, y toward the third-base side, z up. Plate and
boxes have the rule book's sizes; cage and hall are this project's own, of the usual kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import Camera
from mocap.renderer.field import batters_boxes, plate_outline
from mocap.renderer.style import CHALK, Colour

#: Rays per pixel and axis, whose mean is the pixel.
RAYS = 3
#: Rows of a picture met at a time, which bounds the memory.
ROWS = 24

#: Cage and hall: lowest and highest x, y, z. [m]
CAGE = np.array([[-3.0, -2.1, 0.0], [17.0, 2.1, 3.6]])
HALL = np.array([[-6.5, -8.5, 0.0], [24.0, 8.5, 6.5]])
#: The clay-coloured mat that plate and boxes lie on: lowest and highest x, y. [m]
MAT = np.array([[-1.05, -1.95], [1.65, 1.95]])
#: Meshes of the net and its cord; posts and rails, and how far apart the posts stand. [m]
MESH_M, CORD_M, POST_M, POST_EVERY_M = 0.048, 0.003, 0.06, 4.0
#: The hall's wall is darker up to here. [m]
DADO_M = 2.2

#: What a ray can end on, and its colour.
MATERIALS: dict[str, Colour] = {
    "wall": (0xCF, 0xCE, 0xC8),
    "dado": (0x7C, 0x87, 0x94),
    "ceiling": (0xB9, 0xB9, 0xB5),
    "concrete": (0xA9, 0xA8, 0xA3),
    "turf": (0x6F, 0x8F, 0x6B),
    "clay": (0xB4, 0x8F, 0x76),
    "chalk": CHALK,
    "post": (0x56, 0x5E, 0x67),
}
WALL, DADO, CEILING, CONCRETE, TURF, CLAY, LINE, POST = range(len(MATERIALS))
PALETTE = np.array(list(MATERIALS.values()), dtype=np.float32)
NET: Colour = (0x3A, 0x3F, 0x45)
NET_OPACITY = 0.38

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Backdrop:
    """A camera's view of the empty cage.

    Attributes
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
    floor : ndarray of float32, shape (H, W, 2)
        Field x and y of the floor seen at each pixel's middle; NaN where none is. [m]
    """

    picture: npt.NDArray[np.uint8]
    floor: npt.NDArray[np.float32]


def draw_backdrop(camera: Camera, lab_from_field: FloatArray) -> Backdrop:
    """The empty cage through a camera.

    Parameters
    ----------
    camera : Camera
        World axes are the lab's.
    lab_from_field : ndarray, shape (4, 4)
        Rigid transform.

    Returns
    -------
    Backdrop
    """
    width, height = camera.size
    picture = np.empty((height, width, 3), dtype=np.uint8)
    floor = np.empty((height, width, 2), dtype=np.float32)
    eye = (camera.centre - lab_from_field[:3, 3]) @ lab_from_field[:3, :3]
    # A ray's width at a distance of one metre. [m]
    spread = 1.0 / (RAYS * float(np.sqrt(camera.matrix[0, 0] * camera.matrix[1, 1])))
    steps, middle = (np.arange(RAYS) + 0.5) / RAYS - 0.5, RAYS // 2
    across = (np.arange(width)[:, None] + steps).ravel()
    for top in range(0, height, ROWS):
        rows = np.arange(top, min(top + ROWS, height))
        down = (rows[:, None] + steps).ravel()
        pixels = np.stack(np.broadcast_arrays(across, down[:, None]), axis=-1)
        # Coordinates first, so that each is one piece of memory.
        rays = np.ascontiguousarray(np.moveaxis(camera.rays(pixels) @ lab_from_field[:3, :3], -1, 0))
        seen = _seen(eye, rays, spread).reshape(len(rows), RAYS, width, RAYS, 3)
        picture[rows] = np.rint(seen.mean(axis=(1, 3)))
        floor[rows] = _on_floor(eye, rays[:, middle::RAYS, middle::RAYS])
    return Backdrop(picture, floor)


def _on_floor(eye: FloatArray, rays: FloatArray) -> FloatArray:
    """Where rays (3, ...) meet the floor, shape (..., 2); NaN where they do not. [m]"""
    down = np.where(rays[2] < -1e-9, -rays[2], np.nan)
    return np.stack([eye[k] + rays[k] * (eye[2] / down) for k in (0, 1)], axis=-1)


def _seen(eye: FloatArray, rays: FloatArray, spread: float) -> npt.NDArray[np.float32]:
    """Colour that each ray (3, ...) brings, shape (..., 3), 0 to 255."""
    far, side = _way_out(eye, rays, HALL)
    ground = side == 4
    material = np.where(side == 5, CEILING, np.where(eye[2] + far * rays[2] < DADO_M, DADO, WALL))
    material[ground] = _floor_material(*(eye[k] + far[ground] * rays[k][ground] for k in (0, 1)))
    cover = np.zeros(far.shape, dtype=np.float32)
    far, side = _way_out(eye, rays, CAGE)
    for axis in (0, 1):
        # The net is only where a ray leaves the cage through one of its sides; the near side has been taken down.
        net = side // 2 == axis
        reach, slope = far[net], rays[axis][net]
        along, up = (eye[k] + reach * rays[k][net] for k in (1 - axis, 2))
        # Seen at a slant, a ray is wider along the net than across it.
        cover[net] = _cords(along, up, spread * reach / np.maximum(np.abs(slope), 0.05), spread * reach)
        post = np.zeros(net.shape, dtype=np.bool_)
        post[net] = _on_post(along, up, axis)
        material[post], cover[post] = POST, 0.0
    colour = PALETTE[material]
    blend = NET_OPACITY * cover[..., None]
    return colour + blend * (np.array(NET, dtype=np.float32) - colour)


def _way_out(eye: FloatArray, rays: FloatArray, box: FloatArray) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Distance at which rays (3, ...) leave a box, and the side they leave by: 2 axis + (1 at its upper end).

    Both of shape (...); side -1 where a ray misses the box.
    """
    upper = rays > 0
    axes = (3,) + (1,) * (rays.ndim - 1)
    low, high = ((end - eye).reshape(axes) for end in box)
    with np.errstate(divide="ignore", invalid="ignore"):
        leaving, entering = np.where(upper, high, low) / rays, np.where(upper, low, high) / rays
    axis = np.argmin(leaving, axis=0)
    out = leaving.min(axis=0)
    hit = (out > 0) & (out >= entering.max(axis=0))
    side = 2 * axis + np.choose(axis, upper)
    return np.where(hit, out, 0.0), np.where(hit, side, -1)


def _floor_material(x: FloatArray, y: FloatArray) -> npt.NDArray[np.int64]:
    """What the floor is at field x, y."""
    material = np.where(_within(x, y, CAGE), TURF, CONCRETE)
    mat = _within(x, y, MAT)
    material[mat] = CLAY
    x, y = x[mat], y[mat]
    lines = [_within(x, y, np.stack([line.min(axis=0), line.max(axis=0)])) for line in batters_boxes()]
    chalk = np.zeros(mat.shape, dtype=np.bool_)
    chalk[mat] = np.any([*lines, _on_plate(x, y)], axis=0)
    material[chalk] = LINE
    return material


def _within(x: FloatArray, y: FloatArray, box: FloatArray) -> Mask:
    return np.asarray((x >= box[0, 0]) & (x <= box[1, 0]) & (y >= box[0, 1]) & (y <= box[1, 1]), dtype=np.bool_)


def _on_plate(x: FloatArray, y: FloatArray) -> Mask:
    """Whether places of the floor lie on home plate: on the same side of all of its edges."""
    corners = plate_outline()
    edges = np.roll(corners, -1, axis=0) - corners
    sides = [e[0] * (y - c[1]) - e[1] * (x - c[0]) for c, e in zip(corners, edges, strict=True)]
    return np.asarray((np.min(sides, axis=0) >= 0) | (np.max(sides, axis=0) <= 0), dtype=np.bool_)


def _cords(along: FloatArray, up: FloatArray, ray_along: FloatArray, ray_up: FloatArray) -> FloatArray:
    """Share of a ray's width that the net's cords cover, shape (...)."""
    clear = np.ones(along.shape)
    for place, ray in ((along, ray_along), (up, ray_up)):
        wide = np.clip(ray, CORD_M, 0.5 * MESH_M)
        off = np.abs((place + 0.5 * MESH_M) % MESH_M - 0.5 * MESH_M)
        clear *= 1.0 - CORD_M / wide * np.clip(1.0 - off / wide, 0.0, 1.0)
    return 1.0 - clear


def _on_post(along: FloatArray, up: FloatArray, axis: int) -> Mask:
    """Whether a place on a side of the cage is a post, a corner or the top rail."""
    low, high = CAGE[:, 1 - axis]
    every = POST_EVERY_M if axis == 1 else high - low
    off = np.abs((along - low + 0.5 * every) % every - 0.5 * every)
    return np.asarray((off < 0.5 * POST_M) | (up > CAGE[1, 2] - POST_M), dtype=np.bool_)
