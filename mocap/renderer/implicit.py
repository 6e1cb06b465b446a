"""Smooth closed surfaces from signed fields: negative inside, about the distance to the surface near it.

A field is a function of points (N, 3) -> (N,). Lofts give limbs their girths, ellipsoids their muscles, smooth unions
join them without a seam, and the zero surface is meshed once for the rest figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

Field = Callable[[FloatArray], FloatArray]
IntArray = np.ndarray[tuple[int, ...], np.dtype[np.integer]]
BoolArray = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

FAR = 0.25
COARSER = 3  # nodes of the grid per node of the coarse one
NEAR = 4.5  # grid spacings from the surface within which the field is computed at every node
EVENING = 3  # rounds of evening out a mesh


def nearby(field: Field, low: FloatArray, high: FloatArray, margin: float = 0.08) -> Field:
    """`field` inside a box and `FAR` outside it, to save work on grids. [m]"""

    def bounded(points: FloatArray) -> FloatArray:
        inside = np.ones(len(points), dtype=bool)
        for i in range(3):
            inside &= (points[:, i] > low[i] - margin) & (points[:, i] < high[i] + margin)
        value = np.full(len(points), FAR, dtype=points.dtype)
        value[inside] = field(points[inside])
        return value

    return bounded


def ellipsoid(centre: Sequence[float] | FloatArray, radii: Sequence[float], turn: FloatArray | None = None) -> Field:
    """Ellipsoid; `turn` (3, 3) has its axes as columns."""
    middle, size = np.asarray(centre, dtype=np.float64), np.asarray(radii, dtype=np.float64)
    axes = np.eye(3) if turn is None else turn

    def field(points: FloatArray) -> FloatArray:
        local = (points - middle) @ axes
        k0 = np.linalg.norm(local / size, axis=-1)
        k1 = np.linalg.norm(local / size**2, axis=-1)
        return np.asarray(k0 * (k0 - 1.0) / np.maximum(k1, 1e-9))

    reach = float(size.max())
    return nearby(field, middle - reach, middle + reach)


def loft(start: FloatArray, axes: FloatArray, rings: Sequence[Sequence[float]]) -> Field:
    """Tube of elliptical rings with rounded ends.

    Parameters
    ----------
    start : ndarray, shape (3,)
        Origin of the ring coordinates. [m]
    axes : ndarray, shape (3, 3)
        Columns: directions of the rings' x, y and of the tube z.
    rings : sequence of (z, x, y, half-width along x, half-width along y)
        Stations in rising z; between them monotone cubic interpolation. [m]
    """
    from scipy.interpolate import PchipInterpolator

    table = np.asarray(rings, dtype=np.float64)
    stations = np.linspace(table[0, 0], table[-1, 0], 200)
    shape = PchipInterpolator(table[:, 0], table[:, 1:])(stations)
    ends = (float(table[0, 3:].min()), float(table[-1, 3:].min()))

    def field(points: FloatArray) -> FloatArray:
        local = (points - start) @ axes
        z = np.clip(local[:, 2], stations[0], stations[-1])
        cx, cy, a, b = (np.interp(z, stations, shape[:, i]) for i in range(4))
        over = local[:, 2] - z
        c = np.where(over < 0.0, ends[0], ends[1])
        x, y = local[:, 0] - cx, local[:, 1] - cy
        k0 = np.sqrt((x / a) ** 2 + (y / b) ** 2 + (over / c) ** 2)
        k1 = np.sqrt((x / a**2) ** 2 + (y / b**2) ** 2 + (over / c**2) ** 2)
        return np.asarray(k0 * (k0 - 1.0) / np.maximum(k1, 1e-9))

    reach = float(np.abs(table[:, 1:3]).max() + table[:, 3:].max())
    tips = start + np.outer(table[[0, -1], 0], axes[:, 2])
    return nearby(field, tips.min(axis=0) - reach, tips.max(axis=0) + reach)


def join(first: FloatArray, second: FloatArray, radius: float) -> FloatArray:
    """Smooth union of two field values; `radius` is the width of the fillet. [m]"""
    h = np.clip(0.5 + 0.5 * (second - first) / radius, 0.0, 1.0)
    return np.asarray(second + h * (first - second) - radius * h * (1.0 - h))


def mesh(
    field: Field,
    low: FloatArray,
    high: FloatArray,
    spacing: float,
    *,
    triangles: int | None = None,
    mirrored: bool = False,
) -> tuple[FloatArray, IntArray]:
    """Closed triangle mesh of the zero surface: vertices (V, 3) [m] and faces (T, 3), outward.

    Meshed on a grid whose `spacing` is about an edge's length, thinned to about `triangles` if wished, then evened out
    along the surface and put back on it. Of a `mirrored` field only what lies at negative x is meshed, and the rest is
    its mirror image; no edge then crosses the midline.
    """
    import pyvista as pv

    values, size, low = _sample(field, low, high, spacing, to_midline=mirrored)
    grid = pv.ImageData(dimensions=size, spacing=(spacing,) * 3, origin=tuple(low))
    surface = grid.contour([0.0], scalars=values, method="flying_edges", compute_normals=False)
    if triangles is not None and triangles < surface.n_cells:
        surface = surface.decimate(1.0 - triangles / surface.n_cells, volume_preservation=True)
    vertices = np.asarray(surface.points, dtype=np.float64)
    faces: IntArray = np.asarray(surface.faces).reshape(-1, 4)[:, 1:].astype(np.int32)
    inner = np.ones_like(vertices)  # what lies on the midline stays there
    if mirrored:
        inner[vertices[:, 0] > -1e-6 * spacing, 0] = 0.0
    mean = neighbours(len(vertices), faces)
    for _ in range(EVENING):
        vertices = inner * _settle(field, inner * (0.4 * vertices + 0.6 * (mean @ vertices)))
    vertices = inner * _settle(field, vertices)
    if mirrored:
        vertices, faces = _with_mirror_image(vertices, faces, inner[:, 0] == 0.0)
    corners = vertices[faces]
    volume = np.einsum("ti,ti->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return vertices, faces if volume > 0 else faces[:, ::-1]


def _with_mirror_image(vertices: FloatArray, faces: IntArray, seam: BoolArray) -> tuple[FloatArray, IntArray]:
    """A half at negative x and its mirror image, closed along the vertices of the seam at x = 0."""
    number = np.arange(len(vertices))
    number[~seam] = len(vertices) + np.arange(int((~seam).sum()))
    other = vertices[~seam] * np.array([-1.0, 1.0, 1.0])
    return np.vstack([vertices, other]), np.vstack([faces, number[faces[:, ::-1]]]).astype(np.int32)


def _sample(
    field: Field, low: FloatArray, high: FloatArray, spacing: float, *, to_midline: bool
) -> tuple[FloatArray, tuple[int, int, int], FloatArray]:
    """Field on a grid, x fastest; exact near the surface, interpolated from a coarser grid elsewhere.

    Returns the values, the grid's size and its first corner; a grid `to_midline` ends at x = 0.
    """
    from scipy.ndimage import zoom

    wanted = np.array([0.0, high[1], high[2]]) if to_midline else high
    coarse_size = np.ceil((wanted - low) / (COARSER * spacing)).astype(int) + 1
    if to_midline:
        low = np.array([-COARSER * spacing * (coarse_size[0] - 1), low[1], low[2]])
    nodes = [low[i] + COARSER * spacing * np.arange(coarse_size[i]) for i in range(3)]
    corner = np.stack(np.meshgrid(*nodes, indexing="ij"), axis=-1).reshape(-1, 3)
    coarse = field(corner).reshape(coarse_size)
    size = COARSER * (coarse_size - 1) + 1
    values = np.asarray(zoom(coarse, size / coarse_size, order=1, grid_mode=False))
    near = np.abs(values) < NEAR * spacing
    values[near] = field(low + spacing * np.argwhere(near))
    # A node on the surface itself would give triangles of no size.
    values = np.where(np.abs(values) < 0.01 * spacing, 0.01 * spacing, values)
    return values.ravel(order="F"), (int(size[0]), int(size[1]), int(size[2])), low


def neighbours(n: int, faces: IntArray) -> csr_matrix:
    """Matrix that takes the mean over each vertex's neighbours, shape (n, n)."""
    from scipy.sparse import coo_matrix, diags

    start, end = faces[:, [0, 1, 2]].ravel(), faces[:, [1, 2, 0]].ravel()
    links = coo_matrix((np.ones(len(start)), (start, end)), shape=(n, n)).tocsr()
    links = ((links + links.T) > 0).astype(np.float64)
    return (diags(1.0 / np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)) @ links).tocsr()


def _settle(field: Field, vertices: FloatArray) -> FloatArray:
    """One Newton step onto the zero surface."""
    step = 1e-5
    value = field(vertices)
    slope = np.stack([field(vertices + step * axis) - value for axis in np.eye(3)], axis=-1) / step
    square = np.maximum(np.sum(slope**2, axis=-1), 0.1)
    move = np.clip(value / square, -0.01, 0.01)
    return np.asarray(vertices - move[:, None] * slope)


def cut(vertices: FloatArray, faces: IntArray, lines: Sequence[Field]) -> tuple[FloatArray, IntArray]:
    """Split triangles along the lines where each field is zero, so that tones can end there.

    Vertices close to a line are moved onto it first, so that few slivers arise; those already on a line stay.
    """
    fixed: BoolArray = np.zeros(len(vertices), dtype=bool)
    for line in lines:
        value = line(vertices)
        vertices, value, fixed = _snap(vertices, faces, value, fixed)
        edges = _edges(faces)
        va, vb = value[edges].T
        crossing = (va * vb) < 0.0
        edges, share = edges[crossing], va[crossing] / (va - vb)[crossing]
        middle = vertices[edges[:, 0]] + share[:, None] * (vertices[edges[:, 1]] - vertices[edges[:, 0]])
        number = {tuple(edge): len(vertices) + i for i, edge in enumerate(edges.tolist())}
        touched = _touched(faces, number, len(vertices))
        pieces = [piece for face in faces[touched].tolist() for piece in _split_face(face, number)]
        faces = np.vstack([faces[~touched], np.array(pieces, dtype=np.int32).reshape(-1, 3)])
        vertices = np.vstack([vertices, middle])
        fixed = np.append(fixed, np.ones(len(middle), dtype=bool))
    return vertices, faces.astype(np.int32)


def _edges(faces: IntArray) -> IntArray:
    """Each edge once, shape (E, 2), lower index first."""
    start, end = faces[:, [0, 1, 2]].ravel().astype(np.int64), faces[:, [1, 2, 0]].ravel().astype(np.int64)
    n = int(faces.max()) + 1
    keys = np.unique(np.minimum(start, end) * n + np.maximum(start, end))
    return np.column_stack([keys // n, keys % n])


def _snap(
    vertices: FloatArray, faces: IntArray, value: FloatArray, fixed: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Move free vertices that lie within a quarter of an edge of the line onto it, along that edge."""
    vertices, value, fixed = vertices.copy(), value.copy(), fixed.copy()
    value[np.abs(value) < 1e-9] = 0.0
    edges = _edges(faces)
    both = np.vstack([edges, edges[:, ::-1]])
    va, vb = value[both].T
    share = np.divide(va, va - vb, out=np.ones(len(va)), where=va != vb)
    near = (va * vb < 0.0) & (share < 0.25) & ~fixed[both[:, 0]]
    moved, first = np.unique(both[near, 0], return_index=True)
    a, b = both[near][first].T
    vertices[moved] = vertices[a] + share[near][first, None] * (vertices[b] - vertices[a])
    value[moved] = 0.0
    fixed[value == 0.0] = True
    return vertices, value, fixed


def _touched(faces: IntArray, number: dict[tuple[int, ...], int], n: int) -> BoolArray:
    """Faces that hold a cut edge."""
    keys = np.array([a * n + b for a, b in number], dtype=np.int64)
    pairs = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].astype(np.int64), axis=-1)
    return np.asarray(np.isin(pairs[..., 0] * n + pairs[..., 1], keys).any(axis=1))


def _split_face(face: list[int], number: dict[tuple[int, ...], int]) -> list[list[int]]:
    """Triangles of one face cut through one edge and a corner, or through two edges."""
    middles = [number.get((min(a, b), max(a, b))) for a, b in zip(face, face[1:] + face[:1], strict=True)]
    if sum(m is not None for m in middles) == 1:
        i = next(k for k, m in enumerate(middles) if m is not None)
        a, b, c, m = face[i], face[(i + 1) % 3], face[(i + 2) % 3], middles[i]
        assert m is not None
        return [[a, m, c], [m, b, c]]
    i = middles.index(None)  # the uncut edge runs from a to b, c is alone on the other side
    a, b, c = face[i], face[(i + 1) % 3], face[(i + 2) % 3]
    bc, ca = middles[(i + 1) % 3], middles[(i + 2) % 3]
    assert bc is not None
    assert ca is not None
    return [[a, b, bc], [a, bc, ca], [ca, bc, c]]
