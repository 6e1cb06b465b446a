"""The work behind the camera commands: clocks found, points triangulated, placements judged."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError, OptionError, OutputError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.camera_placement import Placement, Volume, check_placed, judge_placement
from mocap.importer.camera_quality import CameraQuality, camera_quality
from mocap.importer.clip_checks import check_inside, check_together
from mocap.importer.filmed import Clocks, Filmed, filmed
from mocap.importer.keypoints import NOISE_PX, Keypoints, joined, read_keypoints
from mocap.importer.pose_json import read_pose_folder
from mocap.importer.synchronise import SEARCH_S, Sync, find_offset, offset_from_events
from mocap.output import replacing

#: Told the step's name, how much of it is done, and of how much (None: not known).
Report = Callable[[str, int, int | None], None]


@dataclass(frozen=True)
class Clip:
    """One camera's file and the tables of what was found in its pictures."""

    camera: Path
    points: tuple[Path, ...]


@dataclass(frozen=True)
class Triangulated:
    """A filmed swing in space, and how good it is.

    Attributes
    ----------
    filmed : Filmed
    quality : CameraQuality
    placement : Placement
    """

    filmed: Filmed
    quality: CameraQuality
    placement: Placement


def clips_of(files: Sequence[Path]) -> tuple[Clip, ...]:
    """Clips from a list CAMERA POINTS [POINTS] CAMERA POINTS ...

    A camera file ends in `.toml`; what follows it, a table or a folder of an estimator's JSON files and perhaps a table
    of the bat's ends, is what it saw.

    Raises
    ------
    OptionError
        Not in that order, fewer than two cameras, or a file twice.
    """
    clips: list[Clip] = []
    for file in files:
        if file.suffix.lower() == ".toml":
            clips.append(Clip(file, ()))
        elif not clips:
            raise OptionError(f"{file} comes before any camera file; give CAMERA.toml POINTS CAMERA.toml POINTS ...")
        else:
            clips[-1] = replace(clips[-1], points=(*clips[-1].points, file))
    if len(clips) < 2:
        raise OptionError(f"{len(clips)} camera file; give two or more: CAMERA.toml POINTS CAMERA.toml POINTS ...")
    for clip in clips:
        if not 1 <= len(clip.points) <= 2:
            raise OptionError(
                f"{clip.camera} is followed by {len(clip.points)} files of points; give one, or two if the bat's ends"
                " are in a table of their own"
            )
    for number, file in enumerate(files):
        if file in files[:number]:
            raise OptionError(f"{file} is given twice; each camera has files of its own")
    return tuple(clips)


def read_clips(clips: Sequence[Clip]) -> tuple[list[Camera], list[Keypoints]]:
    """Cameras and what they saw.

    Raises
    ------
    InputError
        A file cannot be read, a camera has no place, or points lie outside its picture.
    """
    cameras = [read_camera(clip.camera) for clip in clips]
    cameras = [
        camera if camera.name else replace(camera, name=clip.camera.stem)
        for camera, clip in zip(cameras, clips, strict=True)
    ]
    check_placed(cameras)
    keypoints = [_points(clip.points) for clip in clips]
    check_inside(cameras, keypoints)
    return cameras, keypoints


def sync_job(
    clips: Sequence[Clip],
    *,
    events: Sequence[Sequence[float]] = (),
    out: Path | None = None,
    replace_older: bool = False,
    search_s: float = SEARCH_S,
    noise_px: float = NOISE_PX,
) -> list[str]:
    """Find the clocks of cameras, and write camera files that state them.

    Parameters
    ----------
    clips : sequence of Clip, length C
    events : sequence of sequences of C floats
        Instead of the motion: the frame of each event in each camera.
    out : Path, optional
        Folder for the camera files, which keep their names.
    replace_older : bool
        Whether files of those names there, be they the originals, are replaced.
    search_s, noise_px
        As in `find_offset`.

    Returns
    -------
    list of str
        One line per camera, and what to mind.

    Raises
    ------
    MocapError
        As `read_clips`, `find_offset`, `offset_from_events`, or a file is there already or cannot be written.
    """
    targets = _targets(clips, out, replace_older) if out is not None else []
    cameras, keypoints = read_clips(clips)
    if events:
        if any(len(row) != len(cameras) for row in events):
            raise OptionError(f"--event needs a frame for each of the {len(cameras)} cameras, e.g. 120,123")
        sync = offset_from_events(cameras, np.array(events, dtype=np.float64).T.tolist())
    else:
        sync = find_offset(cameras, keypoints, search_s=search_s, noise_px=noise_px)
    timed = sync.applied(cameras)
    for camera, target in zip(timed, targets, strict=False):
        write_camera(camera, target)
    return _clock_lines(timed, sync)


def triangulate_job(
    clips: Sequence[Clip],
    *,
    clocks: Clocks = "given",
    noise_px: float = NOISE_PX,
    until_s: float | None = None,
    volume: Volume | None = None,
    report: Report = lambda step, done, total: None,
) -> Triangulated:
    """Find points in space from what cameras saw, and how good they are.

    Parameters
    ----------
    clips : sequence of Clip
    clocks : {"given", "find"}
        Whether the camera files tell the clocks, or the motion has to.
    noise_px : float
        Standard deviation per axis of a point that the detector is entirely sure of. [px]
    until_s : float, optional
        What was filmed later by the clocks in the camera files is left out. [s]
    volume : Volume, optional
        Where the placement is judged; else round the hitter.
    report : callable
        Told what is being done.

    Raises
    ------
    MocapError
        As `read_clips`, `check_together` and `filmed`.
    """
    report("reading", 0, None)
    cameras, keypoints = read_clips(clips)
    if until_s is not None:
        keypoints = [_until(camera, found, until_s) for camera, found in zip(cameras, keypoints, strict=True)]
    report("comparing the clips" if clocks == "given" else "finding the clocks", 0, None)
    if clocks == "given":
        check_together(cameras, keypoints, noise_px=noise_px)
    report("triangulating", 0, None)
    found = filmed(cameras, keypoints, clocks=clocks, noise_px=noise_px)
    if clocks == "find":
        check_together(found.cameras, keypoints, noise_px=noise_px)
    quality = camera_quality(
        found.cameras,
        found.names,
        found.times,
        found.pixels,
        found.located,
        first_frame=keypoints[0].first_frame,
    )
    where = volume or Volume.round_points(found.smoothed.points)
    return Triangulated(found, quality, judge_placement(found.cameras, where, noise_px=noise_px))


def write_points(found: Filmed, path: Path) -> Path:
    """Write points in space: a C3D file, or a table `frame,point,x,y,z,sd` by another suffix.

    Parameters
    ----------
    found : Filmed
    path : Path
        `.c3d` or `.csv`; an older file is replaced.

    Raises
    ------
    OutputError
        Another suffix, or the file cannot be written.
    """
    capture = found.capture(path.name)
    if path.suffix.lower() == ".c3d":
        from mocap.importer.c3d_writer import write_c3d

        return write_c3d(capture, path)
    if path.suffix.lower() != ".csv":
        raise OutputError(f"{path}: points are written as .csv or .c3d; choose one of them")
    with replacing(path) as temporary:
        temporary.write_text(_table(capture), encoding="utf-8", newline="\n")
    return path


def placement_job(cameras: Sequence[Path], volume: Volume, *, noise_px: float = NOISE_PX) -> Placement:
    """Judge where the cameras of some files stand.

    Raises
    ------
    MocapError
        As `read_camera` and `judge_placement`, or a file is given twice.
    """
    twice = next((path for number, path in enumerate(cameras) if path in cameras[:number]), None)
    if twice is not None:
        raise OptionError(f"{twice} is given twice; give each camera's own file")
    return judge_placement([read_camera(path) for path in cameras], volume, noise_px=noise_px)


def _points(files: Sequence[Path]) -> Keypoints:
    """What one camera saw."""
    first, *bat = files
    if first.is_dir():
        return read_pose_folder(first, bat=bat[0] if bat else None)
    found = read_keypoints(first)
    return joined(found, read_keypoints(bat[0])) if bat else found


def _targets(clips: Sequence[Clip], out: Path, replace_older: bool) -> list[Path]:
    """Where the camera files go; nothing of the user's is lost."""
    if not out.is_dir():
        raise OutputError(f"{out} is no folder; make it first")
    targets = [out / clip.camera.name for clip in clips]
    for number, target in enumerate(targets):
        if target in targets[:number]:
            raise OutputError(f"two camera files are named {target.name}; rename one, as both go into {out}")
        if target.exists() and not replace_older:
            raise OutputError(f"{target} is there already; choose another --out, or give --replace")
    return targets


def _clock_lines(cameras: Sequence[Camera], sync: Sync) -> list[str]:
    lines = [f"{cameras[0].name}: the clock that the others are held against"]
    for number, camera in enumerate(cameras[1:], start=1):
        line = (
            f"{camera.name}: first picture at {1e3 * camera.time_offset_s:+.2f} ms, {1e3 * sync.offset_s[number]:+.2f}"
            f" ± {1e3 * sync.sd_s[number]:.2f} ms from what its file says"
        )
        if np.isfinite(sync.drift_sd[number]) and sync.drift_sd[number] > 0.0:
            line += f", clock slow by {1e6 * sync.drift[number]:.0f} ± {1e6 * sync.drift_sd[number]:.0f} ppm"
        if np.isfinite(sync.residual_px[number]):
            line += f"; rays then meet to {sync.residual_px[number]:.1f} px"
        lines.append(line)
    return [*lines, *sync.notes]


def _until(camera: Camera, found: Keypoints, until_s: float) -> Keypoints:
    kept = int((found.times(camera) <= until_s).sum())
    if not kept:
        raise InputError(f"{found.source}: has nothing before {until_s:g} s; give a later --until")
    return replace(found, pixels=found.pixels[:kept], confidence=found.confidence[:kept])


def _table(capture: Capture) -> str:
    """Every frame and point; a point that was not found has empty cells."""

    def cells(values: FloatArray) -> str:
        return ",".join(f"{value:.5f}" if np.isfinite(value) else "" for value in values)

    rows = [
        f"{frame},{label},{cells(np.append(place, sd))}\n"
        for frame, (places, sds) in enumerate(zip(capture.points, capture.residuals, strict=True), capture.first_frame)
        for label, place, sd in zip(capture.labels, places, sds, strict=True)
    ]
    return "".join([f"# rate_hz={capture.rate_hz!r}\n", "# units=m\n", "frame,point,x,y,z,sd\n", *rows])
