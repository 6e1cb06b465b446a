"""A camera: its lens, where it stands, its clock. Pinhole with radial and tangential distortion, as OpenCV has it.

World axes to camera axes (x to the right of the picture, y down, z away from the camera): rotation, then translation.
Pixels count from the middle of the picture's upper left pixel, u to the right, v downward, so that the picture covers
-0.5 to width - 0.5. For a place (x, y, z) in camera axes with (a, b) = (x / z, y / z) and q = a^2 + b^2

    bend = 1 + k1 q + k2 q^2 + k3 q^3
    a'   = a bend + 2 p1 a b + p2 (q + 2 a^2)
    b'   = b bend + p1 (q + 2 b^2) + 2 p2 a b
    (u, v, 1) = matrix (a', b', 1)

Source: D. C. Brown (1971) *Close-range camera calibration*, Photogrammetric Engineering 37(8):855-866, in the form and
with the signs of OpenCV's documentation ("Camera Calibration and 3D Reconstruction").
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError

#: A matrix read from a file with few digits still counts as a rotation when it is off by this; it is then made exact.
ROTATION_TOLERANCE = 1e-3
#: Newton's steps of `undistort` end when the bent ray meets the pixel's to this. [-]
CONVERGED, MOST_STEPS = 1e-14, 50
#: Parameters that a calibration finds with an error that is carried on; see `Camera.covariance`.
CALIBRATED = 9


@dataclass(frozen=True, eq=False)
class Camera:
    """One camera.

    Attributes
    ----------
    matrix : ndarray, shape (3, 3)
        [[fx, skew, cx], [0, fy, cy], [0, 0, 1]]. [px]
    rotation : ndarray, shape (3, 3)
        Camera axes from world axes. [-]
    translation : ndarray, shape (3,)
        The world's origin in camera axes. [m]
    size : tuple of 2 ints
        Width and height of the picture. [px]
    distortion : ndarray, shape (5,)
        k1, k2, p1, p2, k3, OpenCV's order; four are taken as k3 = 0. [-]
    rate_hz : float or None
        Pictures per second; None where it is not known. [Hz]
    time_offset_s : float
        Time of its first picture on the recording's common clock: frame n, counted from 0, is at
        `time_offset_s + n / rate_hz`. [s]
    name : str
    covariance : ndarray, shape (9, 9)
        Of what the calibration found: a small rotation in camera axes (applied after `rotation`), the translation, the
        logarithm of the focal lengths, the principal point. Zero where it is not known, or taken as exact. [rad], [m],
        [-], [px]

    Raises
    ------
    OptionError
        A value that no camera has; the message begins with the name of the attribute.
    """

    matrix: FloatArray
    rotation: FloatArray
    translation: FloatArray
    size: tuple[int, int]
    distortion: FloatArray
    rate_hz: float | None = None
    time_offset_s: float = 0.0
    name: str = ""
    covariance: FloatArray = field(default_factory=lambda: np.zeros((CALIBRATED, CALIBRATED)))

    def __post_init__(self) -> None:
        matrix = _numbers("matrix", self.matrix, (3, 3))
        if np.abs(matrix[[1, 2, 2], [0, 0, 1]]).max() > 1e-9 or abs(matrix[2, 2] - 1.0) > 1e-9:
            raise OptionError("matrix must be [[fx, skew, cx], [0, fy, cy], [0, 0, 1]]")
        if not (matrix[0, 0] > 0 and matrix[1, 1] > 0):
            raise OptionError(f"matrix has focal lengths {matrix[0, 0]:g} and {matrix[1, 1]:g} px; give positive ones")
        bends = np.atleast_1d(np.asarray(self.distortion, dtype=np.float64))
        if bends.shape == (4,):
            bends = np.append(bends, 0.0)
        bends = _numbers("distortion", bends, (5,))
        size = _numbers("size", self.size, (2,))
        if (size < 1).any() or (size != np.round(size)).any():
            raise OptionError(f"size must be width and height in whole pixels, got {list(self.size)}")
        if self.rate_hz is not None and not 0 < self.rate_hz < np.inf:
            raise OptionError(f"rate_hz must be positive, got {self.rate_hz:g}")
        if not np.isfinite(self.time_offset_s):
            raise OptionError(f"time_offset_s must be a number of seconds, got {self.time_offset_s}")
        object.__setattr__(self, "matrix", matrix)
        object.__setattr__(self, "rotation", _rotation(self.rotation))
        object.__setattr__(self, "translation", _numbers("translation", self.translation, (3,)))
        object.__setattr__(self, "size", (int(size[0]), int(size[1])))
        object.__setattr__(self, "distortion", bends)
        object.__setattr__(self, "covariance", _covariance(self.covariance))

    # ---------------------------------------------------------------- other ways to say where a camera is

    @classmethod
    def looking_at(
        cls,
        place: npt.ArrayLike,
        target: npt.ArrayLike,
        *,
        size: tuple[int, int],
        field_of_view_deg: float | None = None,
        focal_mm: float | None = None,
        sensor_width_mm: float | None = None,
        roll_deg: float = 0.0,
        distortion: npt.ArrayLike = (0.0, 0.0, 0.0, 0.0, 0.0),
        rate_hz: float | None = None,
        time_offset_s: float = 0.0,
        name: str = "",
    ) -> Camera:
        """A camera on a tripod, aimed at a point, level with the floor; square pixels, its axis through the middle.

        Parameters
        ----------
        place, target : array-like, shape (3,)
            Where the lens is and what lies in the middle of the picture; world axes, z up. [m]
        size : tuple of 2 ints
            [px]
        field_of_view_deg : float, optional
            Angle between the left and the right edge, without distortion. [deg]
        focal_mm, sensor_width_mm : float, optional
            The same said by the lens: focal length and width of the sensor. [mm]
        roll_deg : float
            Turn about the axis of the lens, clockwise as seen from behind the camera. [deg]
        distortion, rate_hz, time_offset_s, name
            As in `Camera`.

        Raises
        ------
        OptionError
            Neither or both ways to give the lens, a target straight above, below or at the place.
        """
        away = np.asarray(target, dtype=np.float64) - np.asarray(place, dtype=np.float64)
        distance = float(np.linalg.norm(away))
        if not np.hypot(*away[:2]) > 1e-9 * distance:
            raise OptionError("target lies straight above, below or at the camera's place; give one in front of it")
        z = away / distance
        level = np.array([z[1], -z[0], 0.0]) / np.hypot(z[0], z[1])
        down = np.cross(z, level)
        roll = np.deg2rad(roll_deg)
        x, y = np.cos(roll) * level + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * level
        rotation = np.stack([x, y, z])
        focal = _focal_px(size[0], field_of_view_deg, focal_mm, sensor_width_mm)
        matrix = [[focal, 0.0, 0.5 * (size[0] - 1)], [0.0, focal, 0.5 * (size[1] - 1)], [0.0, 0.0, 1.0]]
        return cls(
            matrix=np.array(matrix),
            rotation=rotation,
            translation=-rotation @ np.asarray(place, dtype=np.float64),
            size=size,
            distortion=np.asarray(distortion, dtype=np.float64),
            rate_hz=rate_hz,
            time_offset_s=time_offset_s,
            name=name,
        )

    @classmethod
    def from_projection_matrix(cls, projection: npt.ArrayLike, size: tuple[int, int], *, name: str = "") -> Camera:
        """Lens and place from a 3 x 4 matrix that takes homogeneous world places to homogeneous pixels.

        Parameters
        ----------
        projection : array-like, shape (3, 4)
            Of any scale and sign. [px], [m]
        size : tuple of 2 ints
            [px]
        name : str

        Raises
        ------
        OptionError
            The matrix has another shape, or sees everything from infinitely far.

        Notes
        -----
        RQ decomposition of the left 3 x 3 part: R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., section
        6.2.4.
        """
        from scipy.linalg import rq

        given = _numbers("projection", projection, (3, 4))
        if not np.linalg.cond(given[:, :3]) < 1e12:
            raise OptionError("projection must be a camera at a finite place; its left 3 x 3 part cannot be inverted")
        given = given * np.sign(np.linalg.det(given[:, :3]))
        upper, rotation = rq(given[:, :3])
        signs = np.sign(np.diag(upper))
        upper, rotation = upper * signs, signs[:, None] * rotation
        translation = np.linalg.solve(upper, given[:, 3])
        return cls(np.triu(upper / upper[2, 2]), rotation, translation, size, np.zeros(5), name=name)

    # ---------------------------------------------------------------- what follows from the numbers

    @cached_property
    def centre(self) -> FloatArray:
        """Where the camera is, world axes, shape (3,). [m]"""
        return -self.rotation.T @ self.translation

    @property
    def projection_matrix(self) -> FloatArray:
        """World places to pixels without distortion, homogeneous, shape (3, 4)."""
        return self.matrix @ np.column_stack([self.rotation, self.translation])

    @cached_property
    def widest(self) -> float:
        """Tangent of the angle from the axis up to which the lens model is one to one; inf where it always is. [-]

        Beyond it the polynomial folds the picture back onto itself, which no lens does.
        """
        k1, k2, _, _, k3 = self.distortion
        # Where d/dr [r (1 + k1 r^2 + k2 r^4 + k3 r^6)] = 0, in r^2.
        roots = np.roots([7.0 * k3, 5.0 * k2, 3.0 * k1, 1.0])
        folds = roots.real[(np.abs(roots.imag) < 1e-9) & (roots.real > 0)]
        return float(np.sqrt(folds.min())) if folds.size else float("inf")

    def in_camera(self, points: npt.ArrayLike) -> FloatArray:
        """World places in camera axes, shape (..., 3); the third coordinate is the depth. [m]"""
        return np.asarray(points, dtype=np.float64) @ self.rotation.T + self.translation

    def project(self, points: npt.ArrayLike) -> FloatArray:
        """Where world places land in the picture, or would land in a larger one.

        Parameters
        ----------
        points : array-like, shape (..., 3)
            [m]

        Returns
        -------
        ndarray, shape (..., 2)
            u, v; NaN behind the camera and where the lens model folds over. [px]
        """
        places = self.in_camera(points)
        depth = places[..., 2:]
        ideal = places[..., :2] / np.where(depth > 0, depth, np.nan)
        if np.isfinite(self.widest):
            ideal = np.where(np.sum(ideal**2, axis=-1, keepdims=True) < self.widest**2, ideal, np.nan)
        return self.to_pixels(self.distort(ideal))

    def inside(self, pixels: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether pixels (..., 2) lie in the picture, shape (...); not so where they are NaN."""
        pixels = np.asarray(pixels, dtype=np.float64)
        return np.asarray(((pixels >= -0.5) & (pixels <= np.array(self.size) - 0.5)).all(axis=-1), dtype=np.bool_)

    def distort(self, ideal: FloatArray) -> FloatArray:
        """Rays (x / z, y / z) as the lens bends them, shape (..., 2) to (..., 2). [-]"""
        k1, k2, p1, p2, k3 = self.distortion
        a, b = ideal[..., 0], ideal[..., 1]
        q = a * a + b * b
        bend = 1.0 + q * (k1 + q * (k2 + q * k3))
        return np.stack(
            [
                a * bend + 2.0 * p1 * a * b + p2 * (q + 2.0 * a * a),
                b * bend + p1 * (q + 2.0 * b * b) + 2.0 * p2 * a * b,
            ],
            axis=-1,
        )

    def to_pixels(self, bent: FloatArray) -> FloatArray:
        """Bent rays to pixels, shape (..., 2) to (..., 2). [px]"""
        return bent @ self.matrix[:2, :2].T + self.matrix[:2, 2]

    def normalise(self, pixels: npt.ArrayLike) -> FloatArray:
        """The ray (x / z, y / z) in camera axes that each pixel sees, freed of distortion.

        Parameters
        ----------
        pixels : array-like, shape (..., 2)
            [px]

        Returns
        -------
        ndarray, shape (..., 2)
            Exact to 1e-12; NaN where the pixel lies beyond what the lens model reaches. [-]
        """
        bent = (np.asarray(pixels, dtype=np.float64) - self.matrix[:2, 2]) @ np.linalg.inv(self.matrix[:2, :2]).T
        if not self.distortion.any():
            return bent
        ideal = bent.copy()
        # Beyond what the model reaches Newton's steps end on the wrong side of the fold, or nowhere.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for _ in range(MOST_STEPS):
                off = self.distort(ideal) - bent
                aa, ab, bb = self.bending(ideal)
                ideal[..., 0] -= (bb * off[..., 0] - ab * off[..., 1]) / (aa * bb - ab * ab)
                ideal[..., 1] -= (aa * off[..., 1] - ab * off[..., 0]) / (aa * bb - ab * ab)
                if not (np.abs(off) > CONVERGED).any():
                    break
            met = np.abs(self.distort(ideal) - bent).max(axis=-1) < 1e-12
        good = met & (np.sum(ideal**2, axis=-1) < self.widest**2)
        return np.where(good[..., None], ideal, np.nan)

    def undistort(self, pixels: npt.ArrayLike) -> FloatArray:
        """Pixels where the same camera with a perfect lens would have them, shape (..., 2) to (..., 2). [px]"""
        return self.to_pixels(self.normalise(pixels))

    def rays(self, pixels: npt.ArrayLike) -> FloatArray:
        """Unit vectors in world axes from `centre` toward what each pixel sees, shape (..., 2) to (..., 3). [-]"""
        ideal = self.normalise(pixels)
        length = np.sqrt(1.0 + ideal[..., :1] ** 2 + ideal[..., 1:] ** 2)
        return (ideal @ self.rotation[:2] + self.rotation[2]) / length

    def bending(self, ideal: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Derivative of `distort` at rays (..., 2): da'/da, da'/db (which db'/da equals) and db'/db, each (...). [-]"""
        k1, k2, p1, p2, k3 = self.distortion
        a, b = ideal[..., 0], ideal[..., 1]
        q = a * a + b * b
        bend = 1.0 + q * (k1 + q * (k2 + q * k3))
        twice = 2.0 * (k1 + q * (2.0 * k2 + q * 3.0 * k3))
        return (
            bend + a * a * twice + 2.0 * p1 * b + 6.0 * p2 * a,
            a * b * twice + 2.0 * (p1 * a + p2 * b),
            bend + b * b * twice + 6.0 * p1 * b + 2.0 * p2 * a,
        )


def _numbers(key: str, values: npt.ArrayLike | Sequence[float], shape: tuple[int, ...]) -> FloatArray:
    """Finite numbers of that shape, or an error that begins with the key."""
    wanted = " x ".join(map(str, shape))
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise OptionError(f"{key} must be {wanted} numbers") from None
    if array.shape != shape:
        raise OptionError(f"{key} must be {wanted} numbers, got {' x '.join(map(str, array.shape)) or 'one'}")
    if not np.isfinite(array).all():
        raise OptionError(f"{key} holds a value that is not finite")
    array.setflags(write=False)
    return array


def _covariance(value: npt.ArrayLike) -> FloatArray:
    """A symmetric matrix without negative variances, in the sizes of its own standard deviations."""
    covariance = _numbers("covariance", value, (CALIBRATED, CALIBRATED))
    variances = np.diag(covariance)
    size = np.where(variances > 0.0, np.sqrt(np.abs(variances)), 1.0)
    shares = covariance / np.outer(size, size)
    if np.abs(shares - shares.T).max() > 1e-6 or np.linalg.eigvalsh(shares)[0] < -1e-6:
        raise OptionError("covariance is none: it must be symmetric, without negative variances")
    return 0.5 * (covariance + covariance.T)


def _rotation(values: npt.ArrayLike) -> FloatArray:
    """A rotation matrix; the nearest one where rounding made it inexact."""
    given = _numbers("rotation", values, (3, 3))
    off = float(np.abs(given @ given.T - np.eye(3)).max())
    if off > ROTATION_TOLERANCE:
        raise OptionError(f"rotation is no rotation matrix: its rows are off from unit and square by {off:.2g}")
    if np.linalg.det(given) < 0:
        raise OptionError("rotation mirrors (its determinant is -1); one axis points the wrong way")
    if off < 1e-12:
        return given
    left, _, right = np.linalg.svd(given)
    return _numbers("rotation", left @ right, (3, 3))


def _focal_px(
    width: int, field_of_view_deg: float | None, focal_mm: float | None, sensor_width_mm: float | None
) -> float:
    """Focal length from either way to give it. [px]"""
    if field_of_view_deg is not None and focal_mm is None and sensor_width_mm is None:
        if not 0 < field_of_view_deg < 180:
            raise OptionError(f"field_of_view_deg must lie between 0 and 180, got {field_of_view_deg:g}")
        return float(0.5 * width / np.tan(np.deg2rad(0.5 * field_of_view_deg)))
    if field_of_view_deg is None and focal_mm is not None and sensor_width_mm is not None:
        if not (focal_mm > 0 and sensor_width_mm > 0):
            raise OptionError("focal_mm and sensor_width_mm must be positive")
        return float(width * focal_mm / sensor_width_mm)
    raise OptionError("give either field_of_view_deg or focal_mm with sensor_width_mm")
