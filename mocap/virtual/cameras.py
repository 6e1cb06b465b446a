"""Cameras round an invented hitter, and the points that a detector finds in their pictures.

Times count on the recording's clock, which is zero at its first frame; `Camera.time_offset_s` says when a camera took
its first picture by that clock, as far as its file knows, and `Clock` what the file does not know.

**How well points are found.** A detector that sees a point is about 0.9 sure of it, one that guesses a hidden point
about 0.4 (beta distributions, `SEEN` and `GUESSED`). Its error per axis is normal with a standard deviation of
`noise_px` divided by that confidence. Some hidden points are not reported at all. Outliers lie 20 to 120 pixels off in
any direction, and the detector is as sure of them as of any other point. This project's own choices.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.output import replacing
from mocap.swing import POINTS, Side
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.motion import Motion
from mocap.virtual.occlusion import hidden_by_body

#: Parameters of the beta distribution of the confidence in a point that is seen, and in one that is guessed.
SEEN, GUESSED = (18.0, 2.0), (6.0, 9.0)
#: Share of the hidden points that are not reported.
LOST_SHARE = 0.3
#: How far off outliers lie. [px]
OUTLIER_PX = (20.0, 120.0)


@dataclass(frozen=True)
class Tripod:
    """Where a coach puts a camera, and what camera.

    Attributes
    ----------
    name : str
    bearing_deg : float
        Where it stands, seen from the hitter: 0 toward the pitcher, 90 on the open side, 180 toward the catcher. [deg]
    distance_m, height_m : float
        Along the floor from the middle between the feet, and of the lens above it. [m]
    size : tuple of 2 ints
        [px]
    field_of_view_deg : float
        From the left to the right edge. [deg]
    distortion : tuple of 5 floats
        k1, k2, p1, p2, k3.
    rate_hz : float
    time_offset_s : float
        When it takes its first picture, on the recording's clock. [s]
    """

    name: str
    bearing_deg: float
    distance_m: float = 6.0
    height_m: float = 1.4
    size: tuple[int, int] = (1280, 720)
    field_of_view_deg: float = 46.0
    distortion: tuple[float, float, float, float, float] = (-0.12, 0.03, 0.0006, -0.0004, 0.0)
    rate_hz: float = 120.0
    time_offset_s: float = 0.0


#: Two tripods that show a swing well: their lines of sight cross at 45 degrees over the hitter, and both see the back
#: shoulder at landing past the head and the front shoulder.
TWO_TRIPODS: tuple[Tripod, ...] = (
    Tripod("open_side", 100.0),
    Tripod("pitcher_side", 55.0, distortion=(-0.09, 0.02, -0.0005, 0.0003, 0.0), time_offset_s=0.0037),
)
#: What they aim at: a little in front of the chest, the lab's floor axes. [m]
AIM_M = (0.0, -0.15, 0.95)


@dataclass(frozen=True)
class Clock:
    """What a camera's file does not say of its pictures' times.

    Frame n begins at `time_offset_s + start_s + n (1 + drift) / rate_hz`, and its row v is taken `readout_s` times
    v / height later.

    Attributes
    ----------
    start_s : float
        By how much later than stated the first picture was taken. [s]
    drift : float
        Share by which its seconds are too long. [-]
    readout_s : float
        From the first row to the last (a rolling shutter); zero takes the whole picture at once. [s]
    """

    start_s: float = 0.0
    drift: float = 0.0
    readout_s: float = 0.0


#: The clock of a camera whose file tells the truth.
AS_STATED = Clock()


@dataclass(frozen=True)
class FilmedPoints:
    """What a detector made of one camera's pictures, and the truth behind it.

    Attributes
    ----------
    camera : Camera
    names : tuple of str, length P
        With the sides of the body, such as `l_hip`.
    pixels : ndarray, shape (F, P, 2)
        NaN where the point was not reported. [px]
    confidence : ndarray, shape (F, P)
        0 to 1; NaN where not reported.
    time_s : ndarray, shape (F,)
        When each picture was begun, on the recording's clock. [s]
    true_points : ndarray, shape (F, P, 3)
        Lab frame, each at the instant when its row was taken. [m]
    true_pixels : ndarray, shape (F, P, 2)
        Where the camera saw them, in the picture or not. [px]
    hidden, outlier : ndarray of bool, shape (F, P)
        What the body hid, and what was put elsewhere.
    """

    camera: Camera
    names: tuple[str, ...]
    pixels: FloatArray
    confidence: FloatArray
    time_s: FloatArray
    true_points: FloatArray
    true_pixels: FloatArray
    hidden: npt.NDArray[np.bool_]
    outlier: npt.NDArray[np.bool_]

    def write(self, path: str | Path) -> Path:
        """Write the table `frame,point,u,v,confidence`; frames count from 0, what was not reported has no row.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        frames, points = np.nonzero(np.isfinite(self.confidence))
        rows = zip(frames, points, self.pixels[frames, points], self.confidence[frames, points], strict=True)
        lines = [f"{frame},{self.names[point]},{u:.3f},{v:.3f},{sure:.3f}\n" for frame, point, (u, v), sure in rows]
        with replacing(target := Path(path)) as temporary:
            temporary.write_text("".join(["frame,point,u,v,confidence\n", *lines]), encoding="utf-8", newline="\n")
        return target


def lab_from_hitting(hitter: VirtualHitter, lab: Lab) -> FloatArray:
    """Homogeneous transform of a hitter's hitting frame to the lab, shape (4, 4); mirrors for a left-handed one."""
    unit_steps = np.vstack([np.zeros(3), np.eye(3)])
    placed = lab.place(lab.on_floor(unit_steps, hitter.parameters, hitter.bats))
    transform = np.eye(4)
    transform[:3, :3], transform[:3, 3] = (placed[1:] - placed[0]).T, placed[0]
    return transform


def body_side_names(bats: Side) -> tuple[str, ...]:
    """`mocap.swing.POINTS` with left and right for front and back."""
    front, back = ("l", "r") if bats == "right" else ("r", "l")
    return tuple(name.replace("front_", f"{front}_").replace("back_", f"{back}_") for name in POINTS)


def place_camera(tripod: Tripod, lab: Lab, bats: Side = "right") -> Camera:
    """A camera in a lab, aimed at where hitters stand.

    Parameters
    ----------
    tripod : Tripod
    lab : Lab
    bats : {"right", "left"}
        Side of the hitters; the open side of left-handed ones is the other one.

    Returns
    -------
    Camera
        World axes are the lab's.

    Raises
    ------
    OptionError
        It would stand on the hitter, or its lens is none.
    """
    if not tripod.distance_m >= 1.0:
        raise OptionError(f"tripod {tripod.name}: distance_m is {tripod.distance_m:g}; a hitter needs at least 1 m")
    bearing = np.deg2rad(tripod.bearing_deg)
    away = tripod.distance_m * np.array([np.cos(bearing), -np.sin(bearing)])
    mirror = np.array([1.0, -1.0 if bats == "left" else 1.0, 1.0])
    place, aim = lab.place(np.array([[*away, tripod.height_m], AIM_M]) * mirror)
    return Camera.looking_at(
        place,
        aim,
        size=tripod.size,
        field_of_view_deg=tripod.field_of_view_deg,
        distortion=tripod.distortion,
        rate_hz=tripod.rate_hz,
        time_offset_s=tripod.time_offset_s,
        name=tripod.name,
    )


def frame_times(camera: Camera, duration_s: float, clock: Clock = AS_STATED) -> FloatArray:
    """When a camera begins each picture, to the end of the recording, shape (F,). [s on the recording's clock]

    Raises
    ------
    OptionError
        The camera has no rate, or begins when the recording is over.
    """
    if camera.rate_hz is None:
        raise OptionError(f"camera {camera.name}: rate_hz is not known, so it cannot film")
    first, period = camera.time_offset_s + clock.start_s, (1.0 + clock.drift) / camera.rate_hz
    count = int(np.floor((duration_s - first) / period + 1e-9)) + 1
    if count < 1:
        raise OptionError(
            f"camera {camera.name}: its first picture is at {first:.3f} s and the swing ends at {duration_s:.3f} s;"
            " start it earlier"
        )
    return np.asarray(first + period * np.arange(count), dtype=np.float64)


def duration_of(hitter: VirtualHitter) -> float:
    """Length of a recording of a hitter's swing. [s]"""
    timing = hitter.parameters.timing
    return timing.contact + timing.after_contact - timing.start


def film_points(
    hitter: VirtualHitter,
    camera: Camera,
    lab: Lab,
    *,
    noise_px: float = 1.0,
    outliers: float = 0.0,
    occlusion: bool = True,
    clock: Clock = AS_STATED,
    seed: int = 0,
) -> FilmedPoints:
    """Film a swing and find the joints and the bat's ends in every picture.

    Parameters
    ----------
    hitter : VirtualHitter
    camera : Camera
        World axes are the lab's; with a rate.
    lab : Lab
    noise_px : float
        Standard deviation per axis of a point that the detector is entirely sure of. [px]
    outliers : float
        Share of points that are put elsewhere. [-]
    occlusion : bool
        Whether points that the body hides are guessed or lost; else all are seen.
    clock : Clock
    seed : int

    Returns
    -------
    FilmedPoints
        From the camera's first picture to the end of the recording.

    Raises
    ------
    OptionError
        A negative noise, a share outside 0 to 1, a camera without a rate or too late, or a hitter that cannot be posed.
    """
    if not (noise_px >= 0.0 and 0.0 <= outliers <= 1.0):
        raise OptionError(f"noise_px is {noise_px:g} and outliers {outliers:g}; give 0 or more, and a share 0 to 1")
    time = frame_times(camera, duration_of(hitter), clock)
    motion = Motion.of(hitter)
    points, pixels, whole = _exposed(motion, camera, lab_from_hitting(hitter, lab), time, clock)
    seen = np.zeros(pixels.shape[:2], dtype=np.bool_)
    hidden = hidden_by_body(whole, camera.centre, hitter.height_m) if occlusion else seen
    found, sure, outlier = _detected(pixels, hidden, noise_px, outliers, noise := np.random.default_rng(seed))
    lost = hidden & (noise.random(hidden.shape) < LOST_SHARE)
    reported = camera.inside(pixels) & camera.inside(found) & ~lost
    return FilmedPoints(
        camera=camera,
        names=body_side_names(hitter.bats),
        pixels=np.where(reported[..., None], found, np.nan),
        confidence=np.where(reported, sure, np.nan),
        time_s=time,
        true_points=points,
        true_pixels=pixels,
        hidden=hidden,
        outlier=outlier & reported,
    )


def _detected(
    pixels: FloatArray, hidden: npt.NDArray[np.bool_], noise_px: float, outliers: float, noise: np.random.Generator
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Where a detector puts points of shape (F, P, 2) [px], how sure it is, and which are outliers, each (F, P)."""
    sure = np.where(hidden, noise.beta(*GUESSED, hidden.shape), noise.beta(*SEEN, hidden.shape))
    found = pixels + noise_px / sure[..., None] * noise.normal(size=pixels.shape)
    outlier = noise.random(hidden.shape) < outliers
    angle, far = noise.uniform(0.0, 2.0 * np.pi, hidden.shape), noise.uniform(*OUTLIER_PX, hidden.shape)
    found += (outlier * far)[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return found, sure, outlier


def _exposed(
    motion: Motion, camera: Camera, transform: FloatArray, time: FloatArray, clock: Clock
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places and pixels of every point when its row is taken, and all places when the picture is begun.

    Returns
    -------
    points (F, P, 3) [m], pixels (F, P, 2) [px], whole (F, P, 3) [m]
        Lab frame.
    """
    start = motion.hitter.parameters.timing.start

    def at(when: FloatArray) -> FloatArray:
        by_name = motion.points(when.ravel() + start)
        points = np.stack([by_name[name] for name in POINTS], axis=1)
        return (points @ transform[:3, :3].T + transform[:3, 3]).reshape(*when.shape, len(POINTS), 3)

    whole = at(time)
    points, pixels = whole, camera.project(whole)
    own = np.arange(len(POINTS))
    # The row follows from the place and the place from the row's time: a few rounds settle it, as nothing in a swing
    # moves through a tenth of the picture while it is read.
    for _ in range(6 if clock.readout_s else 0):
        row = np.nan_to_num(pixels[..., 1]) / camera.size[1]
        points = at(time[:, None] + clock.readout_s * row)[:, own, own]
        pixels = camera.project(points)
    return points, pixels, whole
