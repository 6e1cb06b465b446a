"""The hitter's figure: one rest surface for his proportions, carried to every frame of a swing.

The surface is built once; `Figure.pose` moves it by weighted bone motions, all frames at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.renderer.body import STRIPES, Part, make_body
from mocap.renderer.bones import bone_motions
from mocap.renderer.field import batters_box, batters_boxes, plate_mesh
from mocap.renderer.implicit import IntArray
from mocap.renderer.parts import make_bat, make_cap, make_fist, make_shoe
from mocap.renderer.rig import BONES, SIDES, Proportions, proportions

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

__all__ = ["TONES", "Figure", "batters_box", "batters_boxes", "build_figure", "plate_mesh"]

#: What a vertex is made of. `front` is the side nearer the pitcher.
TONES: tuple[str, ...] = (
    "skin",
    "shirt",
    "front_sleeve",
    "back_sleeve",
    "belt",
    "front_leg",
    "back_leg",
    "shoe",
    "sole",
    "hand",
    "cap",
    "bat",
    "grip",
)

#: The parts of a figure, each a closed surface of its own.
PARTS: tuple[str, ...] = ("body", "front_shoe", "back_shoe", "front_fist", "back_fist", "cap", "bat")

CHUNK = 64  # frames posed at a time, which bounds the memory


@dataclass(frozen=True)
class Figure:
    """A hitter's figure with fixed topology.

    Attributes
    ----------
    faces : ndarray of int32, shape (T, 3)
        Outward triangles.
    tones : ndarray of uint8, shape (V,)
        Index into `TONES` of each vertex. Vertices are doubled where a tone ends, so that its edge is crisp.
    parts : ndarray of uint8, shape (V,)
        Index into `PARTS` of each vertex.
    welded : ndarray of int32, shape (V,)
        The same number for vertices at the same place: `welded[faces]` is closed, each edge used twice.
    stripes : ndarray of float32, shape (V,)
        How many periods of a lengthwise stripe lie before each vertex, round the limb, on the back sleeve and the back
        leg; 0 elsewhere. Whole numbers are plain. Vertices are doubled where a round ends, so that the count never
        falls back within a face.
    rest : ndarray, shape (W, 3)
        Places of the welded vertices in the rest figure, or in the axes of the one bone that carries them. [m]
    weights : ndarray, shape (W, B)
        Share of each bone of `BONES` in each welded vertex; rows sum to 1.
    size : Proportions
    """

    faces: np.ndarray[tuple[int, ...], np.dtype[np.int32]]
    tones: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
    parts: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
    welded: np.ndarray[tuple[int, ...], np.dtype[np.int32]]
    stripes: np.ndarray[tuple[int, ...], np.dtype[np.float32]]
    rest: FloatArray
    weights: FloatArray
    size: Proportions
    _spread: csr_matrix  # (welded vertices, 4 B): bone rows to places
    _gather: csr_matrix  # (welded vertices, T): face normals to vertex normals

    def pose(
        self, points: FloatArray, head_forward: FloatArray | None = None
    ) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.float32]], np.ndarray[tuple[int, ...], np.dtype[np.float32]]]:
        """Surface of every frame.

        Parameters
        ----------
        points : ndarray, shape (F, P, 3)
            In the order of `mocap.swing.POINTS`, floor at z = 0. [m]
        head_forward : ndarray, shape (F, 3), or None
            Direction of the face; NaN or None: toward the pitcher as far as the neck turns.

        Returns
        -------
        vertices, normals : ndarray of float32, shape (F, V, 3)
            Places [m], none below the floor, and outward unit normals. A limb whose joint is missing in a frame is NaN.
        """
        motions = bone_motions(np.asarray(points, dtype=np.float64), head_forward, self.size)
        n_frames, n = len(motions), len(self.welded)
        vertices, normals = (np.empty((n_frames, n, 3), dtype=np.float32) for _ in range(2))
        for start in range(0, n_frames, CHUNK):
            now = slice(start, start + CHUNK)
            vertices[now], normals[now] = self._place(motions[now])
        return vertices, normals

    def _place(self, motions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Vertices and normals of some frames from bone motions (F, B, 3, 4)."""
        columns = motions.transpose(1, 3, 2, 0).reshape(4 * len(BONES), -1)
        places = (self._spread @ columns).reshape(-1, 3, len(motions))
        np.maximum(places[:, 2], 0.0, out=places[:, 2])
        a, b, c = (places[self.welded[self.faces[:, k]]] for k in range(3))
        b -= a
        c -= a
        sides = [b[:, i] * c[:, j] - b[:, j] * c[:, i] for i, j in ((1, 2), (2, 0), (0, 1))]
        flat = np.stack(sides, axis=1).reshape(len(self.faces), -1)
        normals = (self._gather @ flat).reshape(places.shape)
        length = np.sqrt(np.sum(normals**2, axis=1, keepdims=True))
        normals /= np.where(length > 0.0, length, 1.0)
        return places[self.welded].transpose(2, 0, 1), normals[self.welded].transpose(2, 0, 1)


def build_figure(points: FloatArray, height_m: float, *, bat: bool, mass_kg: float | None = None) -> Figure:
    """Figure of one hitter.

    Parameters
    ----------
    points : ndarray, shape (F, P, 3)
        A recording in the order of `mocap.swing.POINTS`; segment lengths are medians over its frames. [m]
    height_m : float
        Standing height, to which girths, head, feet and hands scale. [m]
    bat : bool
        Whether the figure holds a bat.
    mass_kg : float, optional
        Body mass, which widens or slims every segment; typical of the height where not given. Masses that no figure
        would look like a person at are held at the nearest that does. [kg]

    Returns
    -------
    Figure
    """
    size = proportions(np.asarray(points, dtype=np.float64), height_m, bat=bat, mass=mass_kg)
    return _figure_of(size, bat)


@lru_cache(maxsize=4)  # still, sheet and film of one swing draw the same two figures
def _figure_of(size: Proportions, bat: bool) -> Figure:
    parts = [make_body(size)]
    parts += [make_shoe(size, side) for side in SIDES]
    parts += [make_fist(size, side) for side in SIDES]
    parts.append(make_cap(size))
    if bat:
        parts.append(make_bat(size.bat))
    return _assemble(parts, size)


def _assemble(parts: list[Part], size: Proportions) -> Figure:
    from scipy.sparse import csr_matrix

    faces, tones, owner, welded, stripes = [], [], [], [], []
    count = welded_count = 0
    for i, part in enumerate(parts):
        number, corner, tone, stripe = _split(part)
        faces.append(number + count)
        tones.append(tone)
        stripes.append(stripe)
        welded.append(corner + welded_count)
        owner.append(np.full(len(corner), i, dtype=np.uint8))
        count += len(corner)
        welded_count += len(part.vertices)
    all_faces, all_welded = np.vstack(faces).astype(np.int32), np.concatenate(welded).astype(np.int32)
    weights = np.vstack([part.weights for part in parts])
    weights[weights < 1e-3] = 0.0  # else a missing joint would reach far through weights that move nothing
    weights /= weights.sum(axis=1, keepdims=True)
    rest = np.vstack([part.vertices for part in parts])
    places = np.column_stack([rest, np.ones(len(weights))])
    spread = csr_matrix((weights[:, :, None] * places[:, None, :]).reshape(len(weights), -1))
    corner = all_welded[all_faces].ravel()
    face = np.repeat(np.arange(len(all_faces)), 3)
    gather = csr_matrix((np.ones(len(corner)), (corner, face)), shape=(welded_count, len(all_faces)))
    return Figure(
        all_faces,
        np.concatenate(tones),
        np.concatenate(owner),
        all_welded,
        np.concatenate(stripes),
        rest,
        weights,
        size,
        spread,
        gather,
    )


def _split(
    part: Part,
) -> tuple[IntArray, IntArray, IntArray, np.ndarray[tuple[int, ...], np.dtype[np.float32]]]:
    """Double a part's vertices where a tone or a round of stripes ends.

    Returns its faces, and of each vertex the one it was, its tone and its stripes.
    """
    tone = np.array([TONES.index(name) for name in part.tones], dtype=np.int64)
    again = np.zeros(part.faces.shape, dtype=np.int64)  # whether a corner belongs to the next round
    for name, turns in part.stripes.items():
        mine = np.flatnonzero(tone == TONES.index(name))
        at = turns[part.faces[mine]]
        across_seam = np.ptp(at, axis=1) > 0.5 * STRIPES[name]
        again[mine] = across_seam[:, None] & (at < 0.5 * STRIPES[name])
    keys = (part.faces * np.int64(len(TONES)) + tone[:, None]) * 2 + again
    unique, number = np.unique(keys, return_inverse=True)
    place, kind = unique // 2 // len(TONES), unique // 2 % len(TONES)
    stripes = np.zeros(len(unique), dtype=np.float32)
    for name, turns in part.stripes.items():
        mine = np.flatnonzero(kind == TONES.index(name))
        stripes[mine] = turns[place[mine]] + STRIPES[name] * (unique[mine] % 2)
    return number.reshape(-1, 3), place, kind.astype(np.uint8), stripes
