"""Bodies to pictures with soft edges: one figure, one layer, drawn off-screen by VTK (its meshes held by PyVista).

Each figure is drawn opaque into a layer of its own and only where it ever stands; the layers are then laid over each
other as flat pictures. A translucent reference costs no more than a solid one that way, and shows no inner faces.
Edges are softened by drawing twice as large and averaging: measured in software rendering, multisampling is slower than
that, and light computed per vertex in numpy is twice as quick as VTK's, which computes it per pixel.
"""

from __future__ import annotations

import ctypes
import os
import sys
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import RenderError
from mocap.renderer.lens import Box, Lens
from mocap.renderer.stripes import one_stripe
from mocap.renderer.style import Colour

if TYPE_CHECKING:
    from PIL.Image import Image

#: Times larger than shown that bodies are drawn.
SUPERSAMPLING = 2

_DEPTH = 4096.0  # of the stage, in its own units: a lens' depth from 0 to 1
_MARGIN_PX = 6  # kept empty around a body, for its outline

# Matte light, in the picture's axes (right, up, toward the viewer): a broad key light from the upper left, a weak one
# from the right; what the key does not reach is slightly cool, and a surface seen at a grazing angle a little darker.
_KEY = np.array([-0.48, 0.62, 0.62])
_FILL = np.array([0.90, 0.10, 0.42])
_SHADE = np.array([0.50, 0.53, 0.60])  # share of a colour left where no light falls

_STRIPE_TEXELS = 64

_EGL = ("libEGL.so.1", "libEGL.so")
_OSMESA = ("libOSMesa.so.8", "libOSMesa.so.6", "libOSMesa.so")
_NO_OPENGL = (
    "this machine has no OpenGL library to draw with; install one, e.g. "
    "`sudo apt install libegl1 libegl-mesa0 libgl1-mesa-dri` (Debian, Ubuntu) or "
    "`sudo dnf install mesa-libEGL mesa-dri-drivers` (Fedora)"
)


def _loads(names: tuple[str, ...]) -> bool:
    """Whether one of these shared libraries can be loaded (VTK crashes where it cannot, so ask first)."""
    for name in names:
        try:
            ctypes.CDLL(name)
        except OSError:
            continue
        return True
    return False


@cache
def _window_class() -> type[Any]:
    """VTK's window class that draws on this machine without a screen."""
    from vtkmodules import vtkRenderingOpenGL2 as opengl
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    if not sys.platform.startswith("linux"):
        return vtkRenderWindow  # OpenGL belongs to the system there
    if _loads(_EGL) and opengl.vtkEGLRenderWindow().SupportsOpenGL():
        return opengl.vtkEGLRenderWindow
    if _loads(_OSMESA):
        return opengl.vtkOSOpenGLRenderWindow
    if os.environ.get("DISPLAY") and _loads(("libGL.so.1",)) and _loads(("libX11.so.6",)):
        return opengl.vtkXOpenGLRenderWindow
    raise RenderError(_NO_OPENGL)


def check_can_draw() -> None:
    """Make sure that this machine can draw, before any work is done.

    Raises
    ------
    RenderError
        It has no OpenGL library; names the system package to install.
    """
    from vtkmodules.vtkCommonCore import vtkLogger

    verbosity = vtkLogger.GetCurrentVerbosityCutoff()
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)  # trying one way after another is no news to a coach
    try:
        _window_class()
    finally:
        vtkLogger.SetStderrVerbosity(verbosity)


@dataclass
class Body:
    """A mesh whose points move from picture to picture; made by `Stage.add`."""

    faces: npt.NDArray[np.int64]
    colours: FloatArray
    surround: Colour
    mesh: Any
    actor: Any
    whole: bool = False


@dataclass(frozen=True)
class Layer:
    """A body's flat picture.

    Attributes
    ----------
    corner : tuple of 2 ints
        Where its upper left corner lies in the whole picture. [px]
    colour : Image
        Mode RGB; the surround's colour where the body is not.
    solid : Image
        Mode L: how much of each pixel the body covers.
    """

    corner: tuple[int, int]
    colour: Image
    solid: Image

    def mask(self, size: tuple[int, int]) -> npt.NDArray[np.bool_]:
        """Which pixels of a whole picture of that size the body covers, shape (height, width)."""
        from PIL import Image as images

        whole = images.new("L", size)
        whole.paste(self.solid, self.corner)
        return np.asarray(whole) > 0


class Stage:
    """One off-screen window and a camera, in which one body at a time is drawn.

    Raises
    ------
    RenderError
        This machine cannot draw.
    """

    def __init__(self) -> None:
        check_can_draw()
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._window = _window_class()()
        self._window.SetOffScreenRendering(1)
        self._window.SetMultiSamples(0)
        self._window.SetAlphaBitPlanes(1)
        self._renderer = vtkRenderer()
        self._renderer.SetBackgroundAlpha(0.0)
        self._renderer.SetAutomaticLightCreation(0)
        self._window.AddRenderer(self._renderer)
        self._bodies: list[Body] = []

    def add(
        self,
        faces: npt.NDArray[np.int32],
        colours: npt.NDArray[np.uint8],
        surround: Colour,
        stripes: npt.NDArray[np.float32] | None = None,
    ) -> Body:
        """Take in a body.

        Parameters
        ----------
        faces : ndarray of int32, shape (T, 3)
            Outward triangles of closed surfaces.
        colours : ndarray of uint8, shape (V, 3)
            Colour of each vertex.
        surround : tuple of 3 ints
            Colour that the body's edge pixels are mixed with: that of the outline it will lie on.
        stripes : ndarray of float32, shape (V,), or None
            How many stripes lie before each vertex: a thin dark line at every half, plain at whole numbers.

        Returns
        -------
        Body
            To be given to `draw` with its points.
        """
        from pyvista import PolyData
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        mesh = PolyData()
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(mesh)
        actor = vtkActor()
        actor.SetMapper(mapper)
        actor.SetVisibility(0)
        looks = actor.GetProperty()
        looks.LightingOff()
        if stripes is not None:
            mesh.points = np.zeros((len(stripes), 3), dtype=np.float32)
            mesh.point_data.active_texture_coordinates = np.column_stack([stripes, np.zeros_like(stripes)])
            actor.SetTexture(_stripe_texture())
        self._renderer.AddActor(actor)
        body = Body(np.asarray(faces, dtype=np.int64), np.asarray(colours, dtype=np.float64), surround, mesh, actor)
        self._bodies.append(body)
        return body

    def aim(self, lens: Lens, box: Box) -> None:
        """Look through a lens at a box of its picture. Nothing outside the box is drawn.

        The stage's own axes are the picture's: pixels to the right and upward, depth away from the viewer. So one
        stage serves views without perspective and real cameras, whose lenses bend the picture between vertices a few
        pixels apart by nothing that is seen.
        """
        left, top, right, bottom = box
        self._lens, self._box = lens, box
        self._window.SetSize((right - left) * SUPERSAMPLING, (bottom - top) * SUPERSAMPLING)
        camera = self._renderer.GetActiveCamera()
        camera.ParallelProjectionOn()
        middle = ((left + right) / 2.0, -(top + bottom) / 2.0)
        camera.SetFocalPoint(*middle, 0.0)
        camera.SetPosition(*middle, 1.0)
        camera.SetViewUp(0.0, 1.0, 0.0)
        camera.SetParallelScale((bottom - top) / 2.0)
        camera.SetClippingRange(1.0, 1.0 + _DEPTH)

    def draw(self, body: Body, vertices: npt.NDArray[np.float32], normals: npt.NDArray[np.float32]) -> Layer:
        """Draw one body.

        Parameters
        ----------
        body : Body
        vertices, normals : ndarray of float32, shape (V, 3)
            Hitting frame. [m], [-]; what hangs on NaN is left out.

        Returns
        -------
        Layer
            No larger than the body needs.
        """
        # Column by column: numpy is several times slower along the short side of an array.
        x, y = self._lens.project(vertices).T
        away = self._lens.depth(vertices)
        seen = np.isfinite(x) & np.isfinite(y) & np.isfinite(away)
        placed = np.column_stack([x, -y, -_DEPTH * away])
        body.mesh.points = np.where(seen[:, None], placed, 0.0).astype(np.float32)
        body.mesh.point_data.set_scalars(_shaded(body.colours, normals, self._lens), "colour")
        _set_faces(body, seen)
        looks = body.actor.GetProperty()
        looks.SetBackfaceCulling(not self._lens.flipped)
        looks.SetFrontfaceCulling(self._lens.flipped)
        for other in self._bodies:
            other.actor.SetVisibility(other is body)
        self._renderer.SetBackground(*(level / 255.0 for level in body.surround))
        self._window.Render()
        return self._read(self._extent(x[seen], y[seen]))

    def _extent(self, x: FloatArray, y: FloatArray) -> Box:
        """Left, lower, right and upper edge of points in the window, with a margin, from their pixels. [shown px]"""
        left, top, right, bottom = self._box
        width, height = right - left, bottom - top
        if not len(x):
            return 0, 0, 1, 1
        low = np.floor([x.min() - left, bottom - y.max()]).astype(int) - _MARGIN_PX
        high = np.ceil([x.max() - left, bottom - y.min()]).astype(int) + _MARGIN_PX
        low = np.clip(low, 0, (width - 1, height - 1))
        high = np.clip(high, low + 1, (width, height))
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    def _read(self, part: Box) -> Layer:
        """Read a part of the window and average it down. [shown px from the lower left]"""
        from PIL import Image as images
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        fine = SUPERSAMPLING
        x0, y0, x1, y1 = part
        buffer = vtkUnsignedCharArray()
        self._window.GetRGBACharPixelData(x0 * fine, y0 * fine, x1 * fine - 1, y1 * fine - 1, 0, buffer)
        pixels = vtk_to_numpy(buffer).reshape((y1 - y0) * fine, (x1 - x0) * fine, 4)
        # Four plain bands: as RGBA, Pillow would weight colour by coverage and back, several times slower.
        bands = images.frombuffer("CMYK", (pixels.shape[1], pixels.shape[0]), pixels, "raw", "CMYK", 0, 1)
        bands = bands.reduce(fine).transpose(images.Transpose.FLIP_TOP_BOTTOM)
        left, _, _, bottom = self._box
        corner = (left + x0, bottom - y1)
        red, green, blue, solid = bands.split()
        return Layer(corner, images.merge("RGB", (red, green, blue)), solid)

    @property
    def device(self) -> str:
        """What draws: the graphics device's own name, or that of the software which stands in for one."""
        self._window.Render()
        lines = str(self._window.ReportCapabilities()).splitlines()
        return next((line.partition(":")[2].strip() for line in lines if "renderer string" in line), "not named")

    def close(self) -> None:
        """Give the window back."""
        self._window.Finalize()

    def __enter__(self) -> Stage:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


def _shaded(colours: FloatArray, normals: npt.NDArray[np.float32], lens: Lens) -> npt.NDArray[np.uint8]:
    """Colour of each vertex in matte light that stands with the picture, whichever way it looks; shape (V, 3)."""
    facing = np.nan_to_num(normals) @ lens.axes.T.astype(np.float32)
    key = np.clip((facing @ (_KEY / np.linalg.norm(_KEY)) + 0.35) / 1.35, 0.0, 1.0)
    fill = np.clip(facing @ (_FILL / np.linalg.norm(_FILL)), 0.0, 1.0)
    light = np.clip(0.10 + 0.88 * key + 0.20 * fill, 0.0, 1.0)
    grazing = 0.86 + 0.14 * np.clip(facing[:, 2], 0.0, 1.0)
    share = (_SHADE + (1.0 - _SHADE) * light[:, None]) * grazing[:, None]
    return (colours * share + 0.5).astype(np.uint8)


def _stripe_texture() -> Any:
    """One period of a thin line on plain ground; what it darkens is the colour of the vertices."""
    # Not by PyVista's texture, for which it would load all that it plots with: half a second.
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonDataModel import vtkImageData
    from vtkmodules.vtkRenderingOpenGL2 import vtkOpenGLTexture

    level = one_stripe(_STRIPE_TEXELS)
    image = vtkImageData()
    image.SetDimensions(len(level), 2, 1)
    image.GetPointData().SetScalars(numpy_to_vtk(np.tile(level[:, None], (2, 3)), deep=True))
    texture = vtkOpenGLTexture()
    texture.SetInputData(image)
    texture.SetInterpolate(True)
    texture.SetMipmap(True)
    texture.SetMaximumAnisotropicFiltering(1.0)
    texture.SetRepeat(True)
    return texture


def _set_faces(body: Body, seen: npt.NDArray[np.bool_]) -> None:
    """Give a body the faces whose three vertices are there; unchanged while all are."""
    whole = bool(seen.all())
    if not (whole and body.whole):
        body.whole = whole
        body.mesh.regular_faces = body.faces[seen[body.faces].all(axis=1)]


def outline(layer: Layer, width: float) -> Image:
    """A crisp line just outside a body's silhouette.

    Parameters
    ----------
    layer : Layer
    width : float
        Of the line. [px]

    Returns
    -------
    Image
        Its coverage, mode L, of the layer's size.
    """
    from PIL import Image as images

    solid = np.asarray(layer.solid)
    return images.fromarray(_grown(solid, width) - solid)


def _grown(solid: npt.NDArray[np.uint8], width: float) -> npt.NDArray[np.uint8]:
    """Coverage grown outward by a disc of that radius, as the greatest of its shifted copies."""
    reach = max(round(width), 1)
    grown = solid.copy()
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            if 0 < dx * dx + dy * dy <= (width + 0.4) ** 2:
                here = (slice(max(dy, 0), dy if dy < 0 else None), slice(max(dx, 0), dx if dx < 0 else None))
                there = (slice(max(-dy, 0), -dy if dy > 0 else None), slice(max(-dx, 0), -dx if dx > 0 else None))
                np.maximum(grown[here], solid[there], out=grown[here])
    return grown
