"""The soft shade that a figure throws on the floor of a cage lit from many lamps overhead."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.importer.camera import Camera

#: Side of a cell of the shade, and how far round the body it reaches. [m]
CELL_M, REACH_M = 0.02, 0.45
#: What lies within this height darkens the floor sharply, the whole body weakly: height, blur, opacity. [m], [m], [-]
CONTACT = (0.14, 0.022, 0.62)
AMBIENT = (1.10, 0.150, 0.34)


class FloorShade:
    """Darkens the floor below a figure in a camera's pictures.

    Parameters
    ----------
    camera : Camera
        World axes are the lab's.
    floor : ndarray of float32, shape (H, W, 2)
        Field x and y of the floor at each pixel; NaN where none is seen. [m]
    lab_from_field : ndarray, shape (4, 4)
        Rigid transform; z of the field is up, zero on the floor.
    """

    def __init__(self, camera: Camera, floor: npt.NDArray[np.float32], lab_from_field: FloatArray) -> None:
        self._camera, self._floor, self._lab_from_field = camera, floor, lab_from_field

    def over(
        self, picture: npt.NDArray[np.uint8], vertices: FloatArray, faces: npt.NDArray[np.int32]
    ) -> npt.NDArray[np.uint8]:
        """A copy of a picture with the shade in it.

        Parameters
        ----------
        picture : ndarray of uint8, shape (H, W, 3)
        vertices : ndarray, shape (V, 3)
            Of the figure, lab frame. [m]
        faces : ndarray of int32, shape (T, 3)

        Returns
        -------
        ndarray of uint8, shape (H, W, 3)
        """
        from scipy.ndimage import map_coordinates

        turn, shift = self._lab_from_field[:3, :3], self._lab_from_field[:3, 3]
        corners = ((vertices - shift) @ turn)[faces]
        corner, dark = _darkness(corners)
        out = picture.copy()
        rows, columns = self._part(corner, dark.shape)
        cells = (self._floor[rows, columns] - corner) / CELL_M - 0.5
        # Pixels without a floor have no cell: far outside.
        places = np.moveaxis(np.nan_to_num(cells, nan=-1e6), -1, 0)
        light = 1.0 - map_coordinates(dark, places, order=1, mode="constant", cval=0.0)
        out[rows, columns] = np.rint(out[rows, columns] * light[..., None])
        return out

    def _part(self, corner: FloatArray, shape: tuple[int, ...]) -> tuple[slice, slice]:
        """Rows and columns of the picture that hold the shade's grid."""
        share = np.linspace(0.0, 1.0, 9)
        edge = np.stack(np.meshgrid(share, share), axis=-1).reshape(-1, 2) * np.array(shape) * CELL_M + corner
        ground = np.column_stack([edge, np.zeros(len(edge))])
        pixels = self._camera.project(ground @ self._lab_from_field[:3, :3].T + self._lab_from_field[:3, 3])
        width, height = self._camera.size
        if not np.isfinite(pixels).all():
            return slice(0, height), slice(0, width)
        low = np.clip(np.floor(pixels.min(axis=0)).astype(int) - 2, 0, (width, height))
        high = np.clip(np.ceil(pixels.max(axis=0)).astype(int) + 3, 0, (width, height))
        return slice(low[1], high[1]), slice(low[0], high[0])


def _darkness(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lowest x and y of a grid of cells, shape (2,) [m], and how dark each cell is, 0 to 1.

    Faces (T, 3, 3) drop their upright area on the cells below; what covers a cell more than once darkens it no more.
    """
    from scipy.ndimage import gaussian_filter

    middle = corners.mean(axis=1)
    sides = np.diff(corners, axis=1)[..., :2]
    # Upright area of a face; a closed surface covers the floor twice, by its upper and its lower side.
    area = 0.25 * np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0])
    low, high = middle[:, :2].min(axis=0) - REACH_M, middle[:, :2].max(axis=0) + REACH_M
    bins = np.ceil((high - low) / CELL_M).astype(int)
    edges = [low[k] + CELL_M * np.arange(bins[k] + 1) for k in (0, 1)]
    light = np.ones(tuple(bins))
    for height_m, blur_m, opacity in (CONTACT, AMBIENT):
        near = np.clip(1.0 - middle[:, 2] / height_m, 0.0, 1.0)
        cover, *_ = np.histogram2d(middle[:, 0], middle[:, 1], bins=edges, weights=area * near / CELL_M**2)
        light *= 1.0 - opacity * (1.0 - np.exp(-1.6 * gaussian_filter(cover, blur_m / CELL_M)))
    return low, 1.0 - light
