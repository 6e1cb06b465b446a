"""Whether a video may be linked to the wrong time of a swing: held against points found in it, and its camera.

A wrong moment displaces the skeleton in time, which at a glance looks like a tracking error.
"""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.display import MOMENT_WORDS
from mocap.importer.camera import Camera
from mocap.importer.keypoints import Keypoints
from mocap.renderer.footage_time import SEEN_TO, VideoClock, camera_clock, moment_s
from mocap.renderer.lens import CameraLens
from mocap.renderer.video import Video
from mocap.swing import POINTS, Swing

_SEARCH_S = 0.5  # how far off a moment is looked for: this project's default
_STEPS = 4  # shifts tried per picture
#: Points found in a video fit another time clearly better where their distance falls to this share of what it was, and
#: no check is made on fewer points than so many. This project's defaults.
_CLEARLY, _LEAST_POINTS = 0.7, 50


def doubts(
    swing: Swing,
    video: Video,
    clock: VideoClock,
    camera: Camera | None,
    swing_starts_s: float = 0.0,
    keypoints: Keypoints | None = None,
) -> list[str]:
    """What may be wrong with the times of a video, one line each.

    Parameters
    ----------
    swing : Swing
    video : Video
    clock : VideoClock
        That the pictures are drawn by.
    camera : Camera or None
    swing_starts_s : float
        Time of the swing's first frame on the recording's clock. [s]
    keypoints : Keypoints or None
        What a detector found in this video.

    Returns
    -------
    list of str
    """
    said = []
    if video.uneven:
        said.append(
            f"{video.path}: its pictures do not follow each other evenly, taken as even at {clock.rate_hz:g} Hz; "
            "film or export it at a constant frame rate"
        )
    if camera is None:
        return said
    late = None if keypoints is None else frames_late(swing, clock, camera, keypoints)
    if late is not None and keypoints is not None:
        if abs(late) > SEEN_TO:
            said.append(_wrong(swing, video, clock, late, f"the points found in it ({keypoints.source})"))
    elif clock.tied_by and camera.rate_hz is not None:
        own = camera_clock(camera, swing_starts_s)
        late = float(own.frame_at(_when(swing)[1]) - clock.frame_at(_when(swing)[1]))
        if abs(late) > SEEN_TO:
            said.append(_wrong(swing, video, clock, late, f"the clock of camera {camera.name or 'file'}"))
    return said


def frames_late(swing: Swing, clock: VideoClock, camera: Camera, keypoints: Keypoints) -> float | None:
    """By how many pictures later than the clock says the swing is seen in a video. [frames]

    The swing's joints are projected at shifted times; the shift at which they lie nearest to what was found counts.

    Returns
    -------
    float or None
        None where too few points are there to tell. 0 where no other time fits clearly better.
    """
    names = {_keypoint_name(name, swing.mirrored): place for place, name in enumerate(POINTS)}
    shared = [name for name in keypoints.names if name in names]
    if not shared:
        return None
    rows = [keypoints.names.index(name) for name in shared]
    found, times = keypoints.pixels[:, rows], clock.time_s(keypoints.frames)
    seen = CameraLens(camera, swing.lab_from_hitting, camera.size).project(swing.points[:, [names[n] for n in shared]])
    shifts = np.arange(-_SEARCH_S, _SEARCH_S, 1.0 / (_STEPS * clock.rate_hz))
    distances = np.array([_distance(swing, seen, found, times + shift) for shift in (0.0, *shifts)])
    if not np.isfinite(distances[0]):
        return None
    best = int(np.nanargmin(distances[1:]))
    if distances[1 + best] > _CLEARLY * distances[0]:
        return 0.0
    return float(-shifts[best] * clock.rate_hz)


def _distance(swing: Swing, seen: FloatArray, found: FloatArray, times: FloatArray) -> float:
    """Median distance of points found, shape (F, K, 2), from those of the swing at times; NaN of too few. [px]"""
    at = times * swing.rate_hz
    inside = (at >= 0.0) & (at <= swing.n_frames - 1)
    first = np.minimum(at[inside].astype(int), swing.n_frames - 2)
    share = (at[inside] - first)[:, None, None]
    there = seen[first] * (1.0 - share) + seen[first + 1] * share
    away = np.hypot(*np.moveaxis(there - found[inside], -1, 0))
    away = away[np.isfinite(away)]
    return float(np.median(away)) if len(away) >= _LEAST_POINTS else np.nan


def _keypoint_name(name: str, mirrored: bool) -> str:
    """What a detector calls a point of the swing: by the side of the body."""
    side, _, joint = name.partition("_")
    if side not in ("front", "back"):
        return name
    left = (side == "front") != mirrored
    return f"{'l' if left else 'r'}_{joint}"


def _when(swing: Swing) -> tuple[str, float]:
    """A moment that was found, foot-plant before others, and its time; the first frame where none was. [s]"""
    for name in ("plant", *swing.moments):
        time = moment_s(swing, name)
        if time is not None:
            return MOMENT_WORDS[name].lower(), time
    return "the first frame", 0.0


def _wrong(swing: Swing, video: Video, clock: VideoClock, late: float, by: str) -> str:
    name, time = _when(swing)
    frame = clock.frame_at(time)
    tied = "--video-moment" if clock.tied_by else "time_offset_s"
    return (
        f"{video.path}: {name} is drawn at frame {frame:.0f}, but by {by} it would be frame {frame + late:.0f}; "
        f"check {tied}"
    )
