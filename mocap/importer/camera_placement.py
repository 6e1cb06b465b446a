"""How well cameras on their tripods will see a hitter, before anything is recorded.

A box round the plate and the hitter is filled with points, each is taken to be found in every picture that shows it to
one pixel, and the covariance of the place follows from `triangulate`. Of two equal cameras at distance d whose lines of
sight cross at the angle g, with f the focal length and s the noise, both in pixels, it is in closed form

    s d / f  times  1 / (sqrt(2) sin(g / 2)),  1 / (sqrt(2) cos(g / 2)),  1 / sqrt(2)

along the bisector of the lines of sight, across it in their plane, and square to both (the inverse of Fisher's
information): between 60 and 120 degrees the first two differ by a factor of at most sqrt(3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.keypoints import NOISE_PX, check_noise
from mocap.importer.triangulation import triangulate
from mocap.swing import Side

#: Size of the hitter's volume: toward the pitcher, across, up. This project's default. [m]
VOLUME_M = (2.0, 1.6, 2.2)
#: Middle of its floor for a right-handed hitter, from the rear tip of home plate: abreast of the plate's middle, and
#: midway between the plate's far edge and the hitter's back. This project's default. [m]
MIDDLE_M = (0.22, 0.5)
#: Step of the points in it. [m]
STEP_M = 0.2
#: Heights that are told, of an adult at foot-plant. This project's default. [m]
HEIGHTS_M = {"feet": 0.05, "hands": 1.30, "head": 1.65}
#: Where lines of sight are judged. [m]
CHEST_M = 1.1
#: Angles between lines of sight for which no direction is far worse than another; see above. [deg]
GOOD_ANGLES_DEG = (60.0, 120.0)
#: Less of the volume in a picture, and a volume that fills less of the picture's height, is told. Project's defaults.
SEEN_SHARE, FILLED_SHARE = 0.95, 0.5
#: A hitter's chest so far from the picture's middle, over its size, is not what the camera is aimed at. Our default.
OFF_CENTRE = 0.15
#: A tripod nearer than this to the hitter stands in reach of a bat or a batted ball. This project's default. [m]
NEAREST_M = 3.0
#: Cameras nearer to each other than this are one camera. [m]
APART_M = 0.1


@dataclass(frozen=True)
class Volume:
    """Where the hitter moves.

    Attributes
    ----------
    middle : ndarray, shape (3,)
        Of its floor, world axes. [m]
    axes : ndarray, shape (3, 3)
        Rows: toward the pitcher, across (from the plate to a right-handed hitter), up; world axes. [-]
    plate : ndarray, shape (3,), or None
        Rear tip of home plate, where it is known. [m]
    directions : tuple of 3 str
        The axes in words.
    """

    middle: FloatArray
    axes: FloatArray
    plate: FloatArray | None = None
    directions: tuple[str, str, str] = ("toward the pitcher", "across", "up")

    @classmethod
    def at_plate(
        cls, plate: npt.ArrayLike = (0.0, 0.0, 0.0), pitcher: npt.ArrayLike = (1.0, 0.0, 0.0), bats: Side = "right"
    ) -> Volume:
        """Round home plate and the box beside it.

        Parameters
        ----------
        plate : array-like, shape (3,)
            Rear tip of home plate. [m]
        pitcher : array-like, shape (3,)
            Direction toward the pitcher.
        bats : {"right", "left"}

        Raises
        ------
        OptionError
            A direction that is straight up or none.
        """
        axes = _axes(pitcher)
        tip = np.asarray(plate, dtype=np.float64)
        ahead, beside = MIDDLE_M
        return cls(tip + ahead * axes[0] + (beside if bats == "right" else -beside) * axes[1], axes, tip)

    @classmethod
    def round_points(cls, points: FloatArray, pitcher: npt.ArrayLike | None = None) -> Volume:
        """Round a hitter who was recorded, shape (..., 3), on the floor z = 0; along x where the pitcher is not known.

        Raises
        ------
        OptionError
            As `at_plate`.
        """
        x, y, _ = np.nanmedian(points.reshape(-1, 3), axis=0)
        middle = np.array([x, y, 0.0])
        if pitcher is None:
            return cls(middle, _axes((1.0, 0.0, 0.0)), directions=("along x", "along y", "up"))
        return cls(middle, _axes(pitcher))

    def grid(self, heights: Sequence[float]) -> FloatArray:
        """World places over its floor at heights above it, shape (X, Y, H, 3); cells of `STEP_M`, their middles. [m]"""
        along, across = (
            (np.arange(round(size / STEP_M)) + 0.5) * STEP_M - 0.5 * size for size in (VOLUME_M[0], VOLUME_M[1])
        )
        local = np.stack(np.meshgrid(along, across, np.asarray(heights), indexing="ij"), axis=-1)
        return np.asarray(self.middle + local @ self.axes)


@dataclass(frozen=True)
class Level:
    """Expected errors at one height.

    Attributes
    ----------
    name : str
    height_m : float
    sd : ndarray, shape (X, Y, 3)
        Toward the pitcher, across, up; NaN where fewer than two cameras see a place. [m]
    """

    name: str
    height_m: float
    sd: FloatArray

    @property
    def usual(self) -> FloatArray:
        """Median over the places that two cameras see, shape (3,); NaN where there are none. [m]"""
        seen = self.sd[np.isfinite(self.sd[..., 0])]
        return np.median(seen, axis=0) if len(seen) else np.full(3, np.nan)

    @property
    def largest(self) -> FloatArray:
        """Standard deviation along the worst of the three axes, shape (X, Y). [m]"""
        return np.asarray(self.sd.max(axis=-1))

    @property
    def share_seen(self) -> float:
        """Share of its places that two cameras see. [-]"""
        return float(np.isfinite(self.sd[..., 0]).mean())


@dataclass(frozen=True)
class Placement:
    """Cameras as they stand round the hitter.

    Attributes
    ----------
    names : tuple of str, length C
    centres : ndarray, shape (C, 3)
        [m]
    volume : Volume
    distance_m : ndarray, shape (C,)
        From the hitter's chest. [m]
    angle_deg : float
        Between two lines of sight to his chest; of several pairs the one nearest to a right angle. [deg]
    seen : ndarray, shape (C,)
        Share of the volume that each camera's picture shows. [-]
    off_centre : ndarray, shape (C,)
        How far from the picture's middle the hitter's chest is, over the picture's size; NaN behind the camera. [-]
    filled : ndarray, shape (C,)
        Height of the volume in the picture, over the picture's own. [-]
    levels : tuple of Level
    advice : tuple of str
        What to do, the weightiest first; one sentence that all is well where nothing is to be done.
    """

    names: tuple[str, ...]
    centres: FloatArray
    volume: Volume
    distance_m: FloatArray
    angle_deg: float
    seen: FloatArray
    off_centre: FloatArray
    filled: FloatArray
    levels: tuple[Level, ...]
    advice: tuple[str, ...]


def judge_placement(cameras: Sequence[Camera], volume: Volume, *, noise_px: float = NOISE_PX) -> Placement:
    """Judge where cameras stand.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    volume : Volume
    noise_px : float
        Standard deviation per axis of a point in the pictures. [px]

    Returns
    -------
    Placement

    Raises
    ------
    InputError
        As `check_placed`, or the hitter's volume is not in two pictures at all.
    OptionError
        A noise that is not positive.
    """
    check_noise(noise_px)
    check_placed(cameras)
    chest = volume.middle + CHEST_M * volume.axes[2]
    centres = np.stack([camera.centre for camera in cameras])
    angles = [_angle_deg(centres[i] - chest, centres[j] - chest) for i, j in combinations(range(len(cameras)), 2)]
    everywhere = volume.grid(np.arange(0.5 * STEP_M, VOLUME_M[2], STEP_M).tolist())
    inside = np.stack([camera.inside(camera.project(everywhere)) for camera in cameras])
    if not (inside.sum(axis=0) >= 2).any():
        x, y, _ = volume.middle
        raise InputError(
            f"{' and '.join(map(_name, cameras))} do not both see the hitter's volume round ({x:.2f}, {y:.2f}) m;"
            " aim them at it, or say where the plate and the pitcher are (--plate, --pitcher)"
        )
    levels = tuple(
        Level(name, height, _expected_sd(cameras, volume, height, noise_px)) for name, height in HEIGHTS_M.items()
    )
    found = Placement(
        tuple(map(_name, cameras)),
        centres,
        volume,
        np.linalg.norm(centres - chest, axis=1),
        min(angles, key=lambda angle: abs(angle - 90.0)),
        inside.mean(axis=(1, 2, 3)),
        np.array([_off_centre(camera, chest) for camera in cameras]),
        np.array([_filled(camera, volume) for camera in cameras]),
        levels,
        (),
    )
    return Placement(**{**vars(found), "advice": _advice(found, noise_px)})


def check_placed(cameras: Sequence[Camera]) -> None:
    """Refuse cameras of which nobody has said where they stand, or that cannot stand so.

    Raises
    ------
    InputError
        Fewer than two, one at the origin of its own axes (as a lens alone comes from the board), one under the floor,
        or two at one place.
    """
    if len(cameras) < 2:
        raise InputError(f"{len(cameras)} camera: a place in space needs two or more; give a camera file for each")
    for camera in cameras:
        if not camera.translation.any() and np.allclose(camera.rotation, np.eye(3)):
            raise InputError(
                f"camera {_name(camera)}: its file has a lens but no place; find it with mocap calibrate place or wand"
            )
        if camera.centre[2] < 0.0:
            raise InputError(
                f"camera {_name(camera)}: stands {-camera.centre[2]:.2f} m under the floor; its place was found in"
                " other axes (z down?) or from exchanged points; find it again with mocap calibrate place"
            )
    for one, other in combinations(cameras, 2):
        apart = float(np.linalg.norm(one.centre - other.centre))
        if apart < APART_M:
            raise InputError(
                f"cameras {_name(one)} and {_name(other)} stand {apart:.2f} m apart, at one place; give each camera's"
                " own file, or place them again"
            )


def _name(camera: Camera) -> str:
    return camera.name or "without a name"


def _axes(pitcher: npt.ArrayLike) -> FloatArray:
    ahead = np.array(pitcher, dtype=np.float64)
    ahead[2] = 0.0
    length = float(np.linalg.norm(ahead))
    if not 1e-6 < length < np.inf:
        raise OptionError("the direction to the pitcher is straight up or none; give e.g. 1,0,0")
    ahead /= length
    up = np.array([0.0, 0.0, 1.0])
    return np.stack([ahead, np.cross(up, ahead), up])


def _angle_deg(one: FloatArray, other: FloatArray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)))


def _expected_sd(cameras: Sequence[Camera], volume: Volume, height_m: float, noise_px: float) -> FloatArray:
    """Standard deviations along the volume's axes over its floor, shape (X, Y, 3). [m]"""
    places = volume.grid([height_m])[:, :, 0]
    pixels = np.stack([camera.project(places) for camera in cameras])
    shown = np.stack([camera.inside(own) for camera, own in zip(cameras, pixels, strict=True)])
    located = triangulate(cameras, np.where(shown[..., None], pixels, np.nan), noise_px)
    along = np.einsum("ki,xyij,kj->xyk", volume.axes, located.covariance, volume.axes)
    return np.sqrt(along)


def _off_centre(camera: Camera, chest: FloatArray) -> float:
    off = camera.project(chest) - 0.5 * (np.array(camera.size) - 1.0)
    return float(np.abs(off / np.array(camera.size)).max())


def _filled(camera: Camera, volume: Volume) -> float:
    """How much of the picture an upright line through the volume's middle, as high as it, takes. [-]"""
    line = volume.middle + np.linspace(0.0, VOLUME_M[2], 12)[:, None] * volume.axes[2]
    pixels = camera.project(line)
    pixels = pixels[np.isfinite(pixels[:, 0])]
    # Of a camera held on its side the line runs along the picture's width.
    return float((np.ptp(pixels, axis=0) / np.array(camera.size)).max()) if len(pixels) else 0.0


def _advice(found: Placement, noise_px: float) -> tuple[str, ...]:
    """What to move, in plain sentences."""
    advice = [
        f"stand {name} farther away: it is {distance:.1f} m from the hitter, where a bat or a batted ball reaches it;"
        f" {NEAREST_M:g} m and behind a net is the least"
        for name, distance in zip(found.names, found.distance_m, strict=True)
        if distance < NEAREST_M
    ]
    least, most = GOOD_ANGLES_DEG
    if found.angle_deg < least:
        advice.append(
            f"move the cameras apart: their lines of sight cross at {found.angle_deg:.0f} degrees;"
            f" {least:.0f} to {most:.0f} are best"
        )
    elif found.angle_deg > most:
        advice.append(
            f"move the cameras round to one side: their lines of sight cross at {found.angle_deg:.0f} degrees;"
            f" {least:.0f} to {most:.0f} are best"
        )
    for name, seen, off, filled in zip(found.names, found.seen, found.off_centre, found.filled, strict=True):
        if seen < SEEN_SHARE:
            aimed = off < OFF_CENTRE
            how = "move it back, zoom out or hold it upright" if aimed else "aim it at the hitter"
            advice.append(f"{how}: {name} sees {100 * seen:.0f} % of where the hitter moves")
        elif filled < FILLED_SHARE:
            advice.append(
                f"move {name} nearer or zoom in: where the hitter moves fills {100 * filled:.0f} % of the picture's"
                " height"
            )
    if advice:
        return tuple(advice)
    worst = max(float(np.nanmedian(level.largest)) for level in found.levels)
    return (
        f"leave the cameras as they are: their lines of sight cross at {found.angle_deg:.0f} degrees, and a point found"
        f" to {noise_px:g} px comes out to {1e3 * worst:.1f} mm",
    )
