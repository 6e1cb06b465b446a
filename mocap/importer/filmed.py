"""A swing that cameras filmed: from a list of cameras and of the points found in their pictures to a capture.

    [filmed]                       # may be left out
    clocks = "given"               # or "find": offset and drift from the motion itself
    noise_px = 1.0                 # of a point that the detector is entirely sure of
    contact_s = 1.37               # may be left out: when bat met ball, by the first camera's clock

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
import numpy.typing as npt

from mocap.capture import Capture, FloatArray, PointErrors
from mocap.errors import InputError
from mocap.importer.bones import BAT, bones_of
from mocap.importer.calibration_error import common_errors
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera
from mocap.importer.camera_placement import check_placed
from mocap.importer.clip_checks import check_inside, check_moved, check_together
from mocap.importer.keypoints import MOST_NOISE_PX, NOISE_PX, Keypoints, check_noise, joined, read_keypoints
from mocap.importer.pose_json import read_pose_folder
from mocap.importer.smoothing import Smoothed, smooth
from mocap.importer.sync_faults import find_moved
from mocap.importer.synchronise import Sync, find_offset, on_one_clock
from mocap.importer.triangulation import Located, triangulate

Clocks = Literal["given", "find"]
ROW_KEYS = {"camera", "points", "bat", "video"}
FILMED_KEYS = {"clocks", "noise_px", "contact_s"}
#: Rays of one point that pass each other by this many standard deviations contradict: one in fifteen thousand.
CONTRADICTION_SD = 4.0
#: How much more, as a standard deviation, smoothing may have taken off the true paths than a second time takes off what
#: the first has left: 2.6 of the hips' turn where it is fastest, 2.0 of the shoulders', 2.2 of the upper arm's. Posed
#: swings, filmed at 120 Hz. Of the bat, whose jerk shows far over the noise, as much as the second time.
TAKEN_OFF, TAKEN_OFF_BAT = 2.5, 1.0
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

    @property
    def used(self) -> npt.NDArray[np.bool_]:
        """Whether a place was measured by two or more cameras, and not taken out, shape (F, P)."""
        return np.asarray(np.isfinite(self.smoothed.points).all(axis=2) & ~self.smoothed.bridged)

    def capture(self, source: str) -> Capture:
        """The smoothed points as a recording; residuals are each sample's standard deviation per axis."""
        smoothed = self.smoothed
        more = np.array([TAKEN_OFF_BAT if name in BAT else TAKEN_OFF for name in self.names])
        taken_off = (more[:, None] * smoothed.taken_off)[..., None]
        shared = [common_errors(self.cameras, smoothed.points), taken_off]
        errors = PointErrors(smoothed.covariance, smoothed.per_s, np.concatenate(shared, axis=-1), smoothed.bridged)
        return Capture(
            source,
            self.names,
            smoothed.points,
            1.0 / float(np.median(np.diff(self.times))),
            errors.sd,
            cameras=np.packbits(np.isfinite(self.located.residuals[..., 0]), axis=0, bitorder="little")[0],
            vertical="+z",
            notes=self.notes,
            errors=errors,
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
    cameras, keypoints, clocks, noise_px, contact_s = _listed(path)
    found = filmed(cameras, keypoints, clocks=clocks, noise_px=noise_px, contact_s=contact_s)
    return found.capture(path.name)


def filmed(
    cameras: Sequence[Camera],
    keypoints: Sequence[Keypoints],
    *,
    clocks: Clocks = "given",
    noise_px: float = NOISE_PX,
    contact_s: float | None = None,
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
    contact_s : float, optional
        When bat met ball, by the first camera's clock: the bat's ends are not smoothed across it. [s]

    Raises
    ------
    InputError
        A contact outside the recording, clips that show no swing in common, or do not belong together, as
        `mocap.importer.clip_checks.check_together`,
        or as `mocap.importer.synchronise.find_offset`.
    OptionError
        A noise that is no number of pixels.
    """
    check_noise(noise_px)
    notes = [f"{table.source}: {note}" for table in keypoints for note in table.notes]
    late: FloatArray | float = 0.0
    if clocks == "find":
        sync = _clocks(cameras, keypoints, noise_px)
        cameras, late = sync.applied(cameras), sync.sd_s
        notes += [
            f"{camera.name or 'camera'}: first picture {1000.0 * camera.time_offset_s:+.1f} ms from the first camera's"
            for camera in cameras[1:]
        ]
        notes += sync.notes
    notes += check_together(cameras, keypoints, noise_px=noise_px)
    # What was not refused, as the rays missed each other before too, is said all the same.
    notes += [str(moved) for moved in find_moved(cameras, keypoints, noise_px=noise_px)]
    names, times, pixels, sd_px = on_one_clock(cameras, keypoints, clock_sd_s=late, noise_px=noise_px)
    located = triangulate(cameras, pixels, sd_px)
    points, covariance, left_out = _agreeing(located)
    smoothed = smooth(
        points,
        covariance,
        1.0 / float(np.median(np.diff(times))),
        bones=bones_of(names),
        seams=[_frame_of(contact_s, times)] if contact_s is not None else (),
        struck=[names.index(end) for end in BAT if end in names],
        names=names,
    )
    return Filmed(tuple(cameras), names, times, pixels, located, smoothed, (*notes, *left_out, *smoothed.notes))


def _agreeing(located: Located) -> tuple[FloatArray, FloatArray, list[str]]:
    """Places without those that the rays contradict, covariances by the misfit found, and what was left out."""
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
    told = f"{int(wrong.sum())} of {int(seen.sum())} points were left out, as the cameras' rays contradict"
    points = np.where(wrong[..., None], np.nan, located.points)
    return points, located.covariance * scale, [told] if wrong.any() else []


def _clocks(cameras: Sequence[Camera], keypoints: Sequence[Keypoints], noise_px: float) -> Sync:
    """The clocks as the motion tells them, or why it does not."""
    try:
        return find_offset(cameras, keypoints, noise_px=noise_px)
    except InputError:
        # No clock makes the rays meet if a camera moved: that says more than that there is none.
        check_moved(cameras, keypoints, noise_px=noise_px, surely=False)
        raise


def _frame_of(contact_s: float, times: FloatArray) -> float:
    """Place of a time among the frames."""
    if not times[0] <= contact_s <= times[-1]:
        raise InputError(
            f"contact at {contact_s:g} s lies outside the recording, which reaches from {times[0]:.2f} to"
            f" {times[-1]:.2f} s by the first camera's clock"
        )
    return float(np.interp(contact_s, times, np.arange(len(times))))


def _listed(path: Path) -> tuple[list[Camera], list[Keypoints], Clocks, float, float | None]:
    """Cameras, points, clocks, noise and contact that a file lists."""
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
    if isinstance(noise, bool) or not isinstance(noise, (int, float)) or not 0.0 < noise < MOST_NOISE_PX:
        raise InputError(f"{path}: noise_px {noise!r} is no number of pixels; give e.g. 1.0")
    contact = about.get("contact_s")
    if contact is not None and (isinstance(contact, bool) or not isinstance(contact, (int, float))):
        raise InputError(f"{path}: contact_s {contact!r} is no time in seconds; give e.g. 1.37")
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
    check_placed(cameras)
    check_inside(cameras, keypoints)
    return cameras, keypoints, clocks, float(noise), None if contact is None else float(contact)


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
