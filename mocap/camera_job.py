"""The work behind `mocap triangulate` and `mocap cameras`: clips to points in space, placements judged."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera
from mocap.importer.camera_placement import Placement, Volume, check_placed, judge_placement
from mocap.importer.camera_quality import CameraQuality, camera_quality
from mocap.importer.clip_checks import check_inside
from mocap.importer.filmed import Clocks, Filmed, filmed
from mocap.importer.keypoints import NOISE_PX, Keypoints, joined, read_keypoints
from mocap.importer.pose_json import read_pose_folder
from mocap.importer.synchronise import SEARCH_S, Sync, find_offset, offset_from_events
from mocap.output import replacing
from mocap.showing import Report

#: The motion is searched so many standard deviations to either side of what an event says. This project's default.
EVENT_SDS = 4.0


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


def clips_of(cameras: Sequence[Path], points: Sequence[Path], bats: Sequence[Path] = ()) -> tuple[Clip, ...]:
    """Clips from files in the order of the cameras.

    Parameters
    ----------
    cameras : sequence of Path, length C
    points : sequence of Path, length C
        Tables, or folders of an estimator's JSON files.
    bats : sequence of Path, length C or 0
        Tables of the bat's ends, where they are not in `points`.

    Raises
    ------
    OptionError
        Other numbers, fewer than two cameras, or a file twice.
    """
    if len(cameras) < 2 or len(points) != len(cameras):
        raise OptionError("--camera and --keypoints go together, once for each of two or more cameras")
    if len(bats) not in (0, len(cameras)):
        raise OptionError("--bat goes with every camera or with none")
    files = (*cameras, *points, *bats)
    for number, file in enumerate(files):
        if file in files[:number]:
            raise OptionError(f"{file} is given twice; each camera has files of its own")
    rows = zip(points, *([bats] if bats else []), strict=True)
    return tuple(Clip(camera, own) for camera, own in zip(cameras, rows, strict=True))


def read_clips(clips: Sequence[Clip]) -> tuple[list[Camera], list[Keypoints]]:
    """Cameras and what they saw.

    Raises
    ------
    InputError
        A file cannot be read, a camera has no place, or points lie outside its picture.
    """
    cameras = _named([clip.camera for clip in clips])
    check_placed(cameras)
    keypoints = [_points(clip.points) for clip in clips]
    check_inside(cameras, keypoints)
    return cameras, keypoints


def triangulate_job(
    clips: Sequence[Clip],
    *,
    clocks: Clocks = "given",
    noise_px: float = NOISE_PX,
    until_s: float | None = None,
    contact_s: float | None = None,
    volume: Volume | None = None,
    pitcher: Sequence[float] | None = None,
    report: Report,
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
    contact_s : float, optional
        When bat met ball; see `filmed`. [s]
    volume : Volume, optional
        Where the placement is judged; else round the hitter.
    pitcher : sequence of 3 floats, optional
        Direction toward the pitcher, for a volume round the hitter.
    report : callable
        Told what is being done.

    Raises
    ------
    MocapError
        As `read_clips` and `filmed`.
    """
    report("reading", 0, None)
    cameras, keypoints = read_clips(clips)
    if until_s is not None:
        keypoints = [_until(camera, found, until_s) for camera, found in zip(cameras, keypoints, strict=True)]
    report("comparing the clips and triangulating" if clocks == "given" else "finding the clocks", 0, None)
    found = filmed(cameras, keypoints, clocks=clocks, noise_px=noise_px, contact_s=contact_s)
    quality = camera_quality(found.cameras, keypoints, found.names, found.times, found.smoothed.points, found.used)
    where = volume or Volume.round_points(found.smoothed.points, pitcher)
    return Triangulated(found, quality, judge_placement(found.cameras, where, noise_px=noise_px))


def sync_job(
    cameras: Sequence[Path],
    points: Sequence[Path] = (),
    events: Sequence[str] = (),
    *,
    search_s: float = SEARCH_S,
    noise_px: float = NOISE_PX,
) -> tuple[list[Camera], Sync]:
    """Clocks of cameras, from events that all of them show, from the motion that they saw, or from both.

    Parameters
    ----------
    cameras : sequence of Path, length C
    points : sequence of Path, length C or 0
        Tables, or folders of an estimator's JSON files.
    events : sequence of str
        Each as `NAME=FRAME NAME=FRAME ...`, with the cameras' names.
    search_s : float
        How far the motion is searched to either side of what the files state; near an event the event's own error
        bounds it. [s]
    noise_px : float
        [px]

    Returns
    -------
    cameras : list of Camera
        As their files state.
    found : Sync
        What to add to these.

    Raises
    ------
    MocapError
        As `find_offset`, `offset_from_events` and `read_camera`, or neither points nor events are given.
    """
    if len(points) != len(cameras) and (points or not events):
        raise OptionError(
            "--camera and --keypoints go together, once for each camera; without --keypoints give --event"
        )
    read = _named(cameras)
    if not events:
        return read, find_offset(read, [_points((file,)) for file in points], search_s=search_s, noise_px=noise_px)
    told = offset_from_events(read, event_frames(events, [camera.name for camera in read]))
    if not points:
        return read, told
    # An event is right to within a frame in each camera; three standard deviations of it are searched.
    near = min(search_s, EVENT_SDS * float(told.sd_s.max()))
    moved = told.applied(read)
    finer = find_offset(moved, [_points((file,)) for file in points], search_s=near, noise_px=noise_px)
    return read, told.then(finer)


def event_frames(events: Sequence[str], names: Sequence[str]) -> list[list[float]]:
    """Frames of events, a list for each camera.

    Raises
    ------
    OptionError
        An event that is not `NAME=FRAME` for each of the cameras once.
    """
    frames: list[list[float]] = [[] for _ in names]
    for event in events:
        told: dict[str, float] = {}
        # Names may hold spaces, so that each word ends with the number after its sign of equality.
        for word in re.findall(r"[^=]+=\s*[^\s,]*|\S+", event):
            name, equals, number = (part.strip(" ,\t") for part in word.rpartition("="))
            try:
                frame = float(number)
            except ValueError:
                frame = -1.0
            if not equals or not 0.0 <= frame < float("inf"):
                raise OptionError(f"--event: {word.strip()!r} is no frame of a camera; give e.g. '{names[0]}=153'")
            if name not in names or name in told:
                what = "is there twice" if name in told else f"is no camera's name; they are {', '.join(names)}"
                raise OptionError(f"--event {event!r}: {name!r} {what}")
            told[name] = frame
        lacking = [name for name in names if name not in told]
        if lacking:
            raise OptionError(f"--event {event!r} has no frame of {lacking[0]}; give one for each camera")
        for own, name in zip(frames, names, strict=True):
            own.append(told[name])
    return frames


def write_points(found: Filmed, path: Path) -> Path:
    """Write points in space: a C3D file, or by another suffix a table `frame,point,x,y,z,sd,per_s,filled`.

    The table keeps what the points' errors are, but not their direction; the C3D file keeps their size alone.

    Parameters
    ----------
    found : Filmed
    path : Path
        An older file is replaced.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    capture = found.capture(path.name)
    if path.suffix.lower() == ".c3d":
        from mocap.importer.c3d_writer import write_c3d

        return write_c3d(capture, path)
    with replacing(path) as temporary:
        temporary.write_text(_table(capture), encoding="utf-8", newline="\n")
    return path


def check_suffix(path: Path) -> None:
    """Refuse a file for points in space that is of no known kind, before anything is worked out.

    Raises
    ------
    OptionError
        Another suffix than .csv and .c3d.
    """
    if path.suffix.lower() not in (".csv", ".c3d"):
        raise OptionError(f"--out {path} ends in {path.suffix or 'no suffix'}; give .csv or .c3d")


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


def _named(files: Sequence[Path]) -> list[Camera]:
    """Cameras by their files' names where these do not tell one."""
    cameras = [read_camera(file) for file in files]
    return [
        camera if camera.name else replace(camera, name=file.stem) for camera, file in zip(cameras, files, strict=True)
    ]


def _points(files: Sequence[Path]) -> Keypoints:
    """What one camera saw."""
    first, *bat = files
    if first.is_dir():
        return read_pose_folder(first, bat=bat[0] if bat else None)
    found = read_keypoints(first)
    return joined(found, read_keypoints(bat[0])) if bat else found


def _until(camera: Camera, found: Keypoints, until_s: float) -> Keypoints:
    kept = int((found.times(camera) <= until_s).sum())
    if not kept:
        raise InputError(f"{found.source}: has nothing before {until_s:g} s; give a later --until")
    return replace(found, pixels=found.pixels[:kept], confidence=found.confidence[:kept])


def _table(capture: Capture) -> str:
    """Every frame and point; a point that was not found has empty cells."""

    def cells(values: FloatArray) -> str:
        return ",".join(f"{value:.5f}" if np.isfinite(value) else "" for value in values)

    assert capture.errors is not None  # points from cameras are smoothed
    numbers = np.concatenate([capture.points, capture.residuals[..., None], capture.errors.per_s[..., None]], axis=2)
    rows = [
        f"{frame},{label},{cells(own)},{int(filled)}\n"
        for frame, (places, marks) in enumerate(zip(numbers, capture.errors.filled, strict=True), capture.first_frame)
        for label, own, filled in zip(capture.labels, places, marks, strict=True)
    ]
    return "".join([f"# rate_hz={capture.rate_hz:.9g}\n", "# units=m\n", "frame,point,x,y,z,sd,per_s,filled\n", *rows])
