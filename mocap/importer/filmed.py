"""A swing that cameras filmed: from a list of cameras and of the points found in their pictures to a capture.

    [filmed]                       # may be left out
    clocks = "given"               # or "find": offset and drift from the motion itself
    noise_px = 1.0                 # of a point that the detector is entirely sure of

    [[cameras]]
    camera = "open_side.toml"      # lens, place, rate and first picture
    points = "open_side.csv"       # frame,point,u,v,confidence; or a folder of an estimator's JSON files
    bat = "open_side_bat.csv"      # the bat's ends, where another table has them

    [[cameras]]
    ...

Points are brought to the first camera's frames, triangulated, taken out where the rays contradict, and smoothed over
time with their covariances; see `synchronise`, `triangulation` and `smoothing`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera
from mocap.importer.keypoints import NOISE_PX, Keypoints, joined, read_keypoints
from mocap.importer.pose_json import read_pose_folder
from mocap.importer.smoothing import Smoothed, bones_of, smooth
from mocap.importer.sync_faults import find_moved
from mocap.importer.synchronise import find_offset, on_one_clock
from mocap.importer.triangulation import Located, triangulate

Clocks = Literal["given", "find"]
ROW_KEYS = {"camera", "points", "bat", "video"}
FILMED_KEYS = {"clocks", "noise_px"}
#: Rays of one point that pass each other by this many standard deviations contradict: one in fifteen thousand.
CONTRADICTION_SD = 4.0
#: Fewer frames seen by two cameras are no recording.
FEWEST_FRAMES = 10


@dataclass(frozen=True)
class Filmed:
    """What cameras saw, and what was made of it.

    Attributes
    ----------
    cameras : tuple of Camera, length C
        With the clocks as found.
    names : tuple of str, length P
    times : ndarray, shape (F,)
        Of the first camera's frames. [s]
    pixels : ndarray, shape (C, F, P, 2)
        At those times. [px]
    located : Located
        Frame by frame.
    smoothed : Smoothed
        Over time.
    notes : tuple of str
    """

    cameras: tuple[Camera, ...]
    names: tuple[str, ...]
    times: FloatArray
    pixels: FloatArray
    located: Located
    smoothed: Smoothed
    notes: tuple[str, ...]

    def capture(self, source: str) -> Capture:
        """The smoothed points as a recording; residuals are each sample's standard deviation per axis."""
        smoothed = self.smoothed
        variance = np.trace(smoothed.covariance, axis1=2, axis2=3) / 3.0
        return Capture(
            source,
            self.names,
            smoothed.points,
            1.0 / float(np.median(np.diff(self.times))),
            np.sqrt(variance),
            cameras=np.packbits(np.isfinite(self.located.residuals[..., 0]), axis=0, bitorder="little")[0],
            vertical="+z",
            notes=self.notes,
            smoothed=True,
        )


def read_filmed(path: str | Path) -> Capture:
    """Read a swing that cameras filmed.

    Parameters
    ----------
    path : str or Path
        The list described above.

    Returns
    -------
    Capture
        At the first camera's rate, in the cameras' world.

    Raises
    ------
    InputError
        No such file, no TOML, a key missing, unknown or of the wrong kind, a camera or a table that cannot be read, or
        clips that show no swing in common.
    """
    path = Path(path)
    cameras, keypoints, clocks, noise_px = _listed(path)
    return filmed(cameras, keypoints, clocks=clocks, noise_px=noise_px).capture(path.name)


def filmed(
    cameras: Sequence[Camera], keypoints: Sequence[Keypoints], *, clocks: Clocks = "given", noise_px: float = NOISE_PX
) -> Filmed:
    """Points in space from what cameras saw.

    Parameters
    ----------
    cameras : sequence of Camera, length C
    keypoints : sequence of Keypoints, length C
    clocks : {"given", "find"}
        Whether the cameras' files tell their clocks, or the motion has to.
    noise_px : float
        Standard deviation per axis of a point that the detector is entirely sure of. [px]

    Raises
    ------
    InputError
        Clips that show no swing in common, or as `mocap.importer.synchronise.find_offset`.
    """
    notes = [f"{table.source}: {note}" for table in keypoints for note in table.notes]
    late: FloatArray | float = 0.0
    if clocks == "find":
        sync = find_offset(cameras, keypoints, noise_px=noise_px)
        cameras, late = sync.applied(cameras), sync.sd_s
        notes += [
            f"{camera.name or 'camera'}: first picture {1000.0 * camera.time_offset_s:+.1f} ms from the first camera's"
            for camera in cameras[1:]
        ]
        notes += sync.notes
    notes += [str(moved) for moved in find_moved(cameras, keypoints, noise_px=noise_px)]
    names, times, pixels, sd_px = on_one_clock(cameras, keypoints, clock_sd_s=late, noise_px=noise_px)
    located = triangulate(cameras, pixels, sd_px)
    seen = np.isfinite(located.points[..., 0])
    if seen.any(axis=1).sum() < FEWEST_FRAMES:
        raise InputError(
            f"only {int(seen.any(axis=1).sum())} frames are seen by two cameras at a time; the clips are of different"
            ' swings, or their clocks are wrong (synchronise them, or give clocks = "find")'
        )
    # What rays contradict is known by its misfit, whatever the stated noise: a robust scale of it is found first.
    freedom = np.maximum(located.freedom, 1)
    scale = max(float(np.nanmedian(located.misfit[seen] / freedom[seen])) / 0.4549, 1.0)
    wrong = seen & (located.misfit > freedom * scale * CONTRADICTION_SD**2)
    if wrong.any():
        notes.append(f"{int(wrong.sum())} of {int(seen.sum())} points were left out, as the cameras' rays contradict")
    if scale > 2.0:
        notes.append(
            f"rays pass each other {np.sqrt(scale):.1f} times as far as noise of {noise_px:g} px makes them:"
            " check the calibration and the clocks"
        )
    points = np.where(wrong[..., None], np.nan, located.points)
    covariance = located.covariance * scale
    rate_hz = 1.0 / float(np.median(np.diff(times)))
    smoothed = smooth(points, covariance, rate_hz, bones=bones_of(names), names=names)
    return Filmed(tuple(cameras), names, times, pixels, located, smoothed, (*notes, *smoothed.notes))


def _listed(path: Path) -> tuple[list[Camera], list[Keypoints], Clocks, float]:
    """Cameras, points, clocks and noise that a file lists."""
    if not path.is_file():
        raise InputError(f"{path}: no such file")
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not a TOML file ({error})") from error
    about = _known(table.get("filmed", {}), FILMED_KEYS, f"{path}: filmed")
    clocks = about.get("clocks", "given")
    if clocks not in get_args(Clocks):
        raise InputError(f"{path}: clocks {clocks!r} is not known; give {' or '.join(get_args(Clocks))}")
    noise = about.get("noise_px", NOISE_PX)
    if isinstance(noise, bool) or not isinstance(noise, (int, float)) or not 0.0 < noise < 100.0:
        raise InputError(f"{path}: noise_px {noise!r} is no number of pixels; give e.g. 1.0")
    rows = table.get("cameras", [])
    if not isinstance(rows, list) or len(rows) < 2:
        raise InputError(f"{path}: a place in space needs two cameras; list [[cameras]] rows with camera and points")
    cameras, keypoints = [], []
    for number, row in enumerate(rows, start=1):
        where = f"{path}: cameras row {number}"
        values = _known(row, ROW_KEYS, where)
        for key in ("camera", "points"):
            if key not in values:
                raise InputError(f"{where} has no {key!r}")
        camera = read_camera(path.parent / str(values["camera"]))
        cameras.append(camera)
        keypoints.append(_points(path.parent, values))
    return cameras, keypoints, clocks, float(noise)


def _points(folder: Path, values: Mapping[str, Any]) -> Keypoints:
    source = folder / str(values["points"])
    bat = folder / str(values["bat"]) if "bat" in values else None
    if source.is_dir():
        return read_pose_folder(source, bat=bat)
    found = read_keypoints(source)
    return joined(found, read_keypoints(bat)) if bat is not None else found


def _known(row: Any, keys: set[str], where: str) -> Mapping[str, Any]:
    if not isinstance(row, dict):
        raise InputError(f"{where} must be a table of keys")
    unknown = sorted(set(row) - keys)
    if unknown:
        raise InputError(f"{where}: {unknown[0]!r} is not known; known are {', '.join(sorted(keys))}")
    return row
