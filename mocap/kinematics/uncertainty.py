"""How far the numbers may be off: swings that could equally have been recorded, all drawn and measured at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.build import com_of
from mocap.kinematics.filtering import lowpass, runs, split_lowpass
from mocap.kinematics.geometry import frame_from
from mocap.kinematics.moments import BY_HAND, STRUCK
from mocap.kinematics.pitch import descent
from mocap.kinematics.readings import Readings
from mocap.kinematics.segment_frames import axes_from
from mocap.kinematics.smoothed_points import drawn_errors, error_roots
from mocap.swing import BAT_POINTS, POINTS, Swing

#: Swings drawn for the standard deviations. Their own error is 1 / sqrt(2 n) = 4 %.
DRAWS = 256
#: So many are held in memory at a time.
AT_A_TIME = 64
#: What is drawn reaches this far beyond the first and the last moment, for filters and the steps of helical axes. [s]
MARGIN_S = 0.15
#: Error of a centre of mass found with a table of segment masses, per axis. [m] Tables differ by about a centimetre
#: on the same posture (de Leva 1996, Winter 2009, Plagenhoef 1983); this project's default.
COM_MODEL_SD_M = 0.010
#: How much more, as a standard deviation, a filter may have taken off the true path than a second pass takes off what
#: the first has left. Posed swings at 240 Hz.
TAKEN_OFF = 1.5
#: Error of a filled sample in the middle of its gap, per axis, by the gap's length: of the body, of the bat; and the
#: most, as longer gaps are filled from neighbours on the same segment. [m/s], [m] Splines across gaps of 0.02 to 0.2 s
#: in posed swings with 1 mm of noise.
FILLED_BODY, FILLED_BAT, FILLED_AT_MOST_M = 0.10, 0.30, 0.03
#: Error of the direction of the face, about each axis: markers of the head are set by eye. [rad] This project's
#: default.
FACE_SD_RAD = float(np.radians(3.0))
#: Error of the direction of the palms, about each axis: two markers 6 cm apart beside the wrist, each of which the skin
#: moves by 5 mm. [rad] This project's default.
PALM_SD_RAD = float(np.sqrt(2.0) * 0.005 / 0.06)

_Slow = tuple[FloatArray, FloatArray, FloatArray]

#: The segment that each point's constant error is fixed to: a hip centre is misplaced in the pelvis and goes with it.
FIXED_IN: Mapping[str, str] = {
    "pelvis": "pelvis",
    "neck": "thorax",
    "head": "head",
    "head_top": "head",
    **{
        f"{side}_{point}": segment if segment in ("pelvis", "thorax") else f"{side}_{segment}"
        for side in ("front", "back")
        for point, segment in (
            ("hip", "pelvis"),
            ("knee", "thigh"),
            ("ankle", "shank"),
            ("heel", "foot"),
            ("ball", "foot"),
            ("toe", "foot"),
            ("shoulder", "thorax"),
            ("elbow", "upper_arm"),
            ("wrist", "forearm"),
            ("hand", "hand"),
        )
    },
}


def drawn(swing: Swing, *, count: int = DRAWS, seed: int = 1) -> Iterator[Readings]:
    """Swings that could equally have been recorded, some at a time.

    Parameters
    ----------
    swing : Swing
    count : int
        How many in all.
    seed : int
        The same seed gives the same draws.

    Yields
    ------
    Readings
        Points displaced by a constant error each (the joint centre's model error, fixed to its segment) and by noise
        that has gone through the swing's own filters, the whole turned about the vertical by the heading's error; the
        height, the pitch, the centre of mass and the moments shifted by theirs.
    """
    rng = np.random.default_rng(seed)
    window = _window(swing)
    turns = _turns_of_errors(swing, window)
    slow = _slow_errors(swing, window)
    for first in range(0, count, AT_A_TIME):
        yield _draw(swing, window, turns, slow, min(AT_A_TIME, count - first), rng)


def _window(swing: Swing) -> slice:
    """The frames that measures read."""
    found = [moment.index for moment in swing.moments.values() if moment.index is not None]
    margin = int(np.ceil(MARGIN_S * swing.rate_hz))
    return slice(max(min(found) - margin, 0), min(max(found) + margin + 1, swing.n_frames))


def _slow_errors(swing: Swing, window: slice) -> _Slow | None:
    """What errors of smoothed points are drawn with: over time, across, and those that all points share."""
    if swing.errors is None:
        return None
    errors = swing.errors.part(window)
    return *error_roots(errors, swing.rate_hz), errors.common


def _draw(
    swing: Swing, window: slice, turns: FloatArray, slow: _Slow | None, count: int, rng: np.random.Generator
) -> Readings:
    recorded = swing.points[window]
    offset = rng.normal(size=(count, len(POINTS), 3)) * swing.point_sd_m[:, None]
    place = {name: i for i, name in enumerate(POINTS)}
    # These two are midpoints of joints: their error is the mean of the two joints' errors.
    for middle, joint in (("pelvis", "hip"), ("neck", "shoulder")):
        offset[:, place[middle]] = (offset[:, place[f"front_{joint}"]] + offset[:, place[f"back_{joint}"]]) / 2
    points = recorded + np.einsum("fpij,npj->nfpi", turns, offset) + _noise(swing, window, slow, count, rng)
    points += rng.normal(0.0, TAKEN_OFF, (count, 1, 1, 1)) * _taken_off(swing, window)
    _add_filled(points, swing, window, rng)
    com = com_of(points, swing) + rng.normal(0.0, COM_MODEL_SD_M, (count, 1, 3))
    before, after = _trunk_axes(recorded), _trunk_axes(points)
    # The segments' axes err as the lines between the joints do.
    frames = {
        name: after[name] @ np.swapaxes(before[name], -1, -2) @ swing.frames[name][window]
        for name in after
        if name in swing.frames
    }
    turn = _about_vertical(rng.normal(0.0, swing.heading_sd_rad, count))
    tilt = _small_turns(rng.normal(0.0, FACE_SD_RAD, (count, 3)))
    pitch = descent(swing.setup)
    when = {
        name: np.clip(
            (moment.time_s + rng.normal(0.0, moment.sd_s, count)) * swing.rate_hz - window.start,
            0.0,
            len(recorded) - 1.0,
        )
        for name, moment in swing.moments.items()
        if moment.time_s is not None and moment.sd_s is not None
    }
    if swing.palms_seen:
        for name in ("front_hand", "back_hand"):
            rolled = _small_turns(rng.normal(0.0, PALM_SD_RAD, (count, 3)))
            frames[name] = rolled[:, None] @ swing.frames[name][window]
    versions = Readings(
        swing=swing,
        points=np.einsum("nij,nfpj->nfpi", turn, points),
        com=np.einsum("nij,nfj->nfi", turn, com),
        frames={name: turn[:, None] @ rotation for name, rotation in frames.items()},
        head_forward=np.einsum("nij,fj->nfi", turn @ tilt, swing.head_forward[window]),
        height_m=np.clip(swing.height_m + rng.normal(0.0, swing.height_sd_m, count), 0.9, 2.4),
        pitch_deg=pitch.angle_deg + rng.normal(0.0, pitch.sd_deg, count),
        when=when,
        first_frame=window.start,
    )
    return _with_level(versions, swing)


def _with_level(versions: Readings, swing: Swing) -> Readings:
    """Hands pass mid-trunk where the drawn hands and trunk do, not at a time that errs apart from them."""
    level = swing.moments["level"]
    if level.time_s is None or level.method == BY_HAND:
        return versions
    trunk = (versions.path("neck") + versions.path("pelvis")) / 2
    ahead = (versions.hands - trunk)[..., :1]
    time = np.full((len(versions), 1), level.time_s * swing.rate_hz - versions.first_frame)
    place, pace = (versions.read(ahead, time, rate=rate)[:, 0, 0] for rate in (False, True))
    step = np.where(pace > 0.0, -place / np.where(pace > 0.0, pace, 1.0), 0.0) * swing.rate_hz
    when = np.clip(time[:, 0] + step, 0.0, versions.points.shape[1] - 1.0)
    return replace(versions, when={**versions.when, "level": when})


def _noise(swing: Swing, window: slice, slow: _Slow | None, count: int, rng: np.random.Generator) -> FloatArray:
    """Noise of each point, through the filters that the points went through, shape (N, F, P, 3). [m]

    White where the points come as they were recorded; the slow errors that were stated where they were smoothed before.
    """
    frames = window.stop - window.start
    if slow is None:
        raw = rng.normal(size=(frames, len(POINTS), count * 3)) * swing.noise_m[:, None]
    else:
        own = drawn_errors(slow[:2], count, rng)
        shared = np.einsum("fpik,nk->nfpi", slow[2], rng.normal(size=(count, slow[2].shape[-1])))
        raw = np.moveaxis(own + shared, 0, 2).reshape(frames, len(POINTS), count * 3)
    smooth = lowpass(raw, swing.rate_hz, swing.cutoff_hz)
    contact = swing.moments["contact"]
    if contact.index is not None and contact.method in STRUCK:
        bat = [POINTS.index(name) for name in BAT_POINTS]
        split = contact.index - window.start
        smooth[:, bat] = split_lowpass(raw[:, bat], swing.rate_hz, swing.cutoff_hz[bat], split)
    return np.moveaxis(smooth.reshape(frames, len(POINTS), count, 3), 2, 0)


def _add_filled(points: FloatArray, swing: Swing, window: slice, rng: np.random.Generator) -> None:
    """Displace the samples that were filled, most in the middle of a gap, in place."""
    for column, name in enumerate(POINTS):
        for start, stop in runs(swing.filled[window, column]):
            length_s = (stop - start) / swing.rate_hz
            sd = min((FILLED_BAT if name in BAT_POINTS else FILLED_BODY) * length_s, FILLED_AT_MOST_M)
            share = np.arange(1, stop - start + 1) / (stop - start + 1)
            arch = sd * 4.0 * share * (1.0 - share)
            points[:, start:stop, column] += arch[:, None] * rng.normal(size=(len(points), 1, 3))


def _taken_off(swing: Swing, window: slice) -> FloatArray:
    """What a second pass through the filters would take off the paths, shape (F, P, 3). [m]

    About as much as the first has taken off the true ones, which nobody knows.
    """
    recorded = swing.points[window]
    off = np.nan_to_num(recorded - lowpass(recorded, swing.rate_hz, swing.cutoff_hz))
    bat = [POINTS.index(name) for name in BAT_POINTS]
    contact = swing.moments["contact"]
    if contact.index is not None and contact.method in STRUCK:
        split = contact.index - window.start
        again = split_lowpass(recorded[:, bat], swing.rate_hz, swing.cutoff_hz[bat], split)
        off[:, bat] = np.nan_to_num(recorded[:, bat] - again)
    return off


def _trunk_axes(points: FloatArray) -> dict[str, FloatArray]:
    """Axes of pelvis and thorax from the lines between hips, shoulders and both, shape (..., 3, 3)."""
    path = {name: points[..., i, :] for i, name in enumerate(POINTS)}
    up = path["neck"] - path["pelvis"]
    return {
        "pelvis": axes_from(path["back_hip"] - path["front_hip"], up, "zy"),
        "thorax": axes_from(path["back_shoulder"] - path["front_shoulder"], up, "zy"),
    }


def _turns_of_errors(swing: Swing, window: slice) -> FloatArray:
    """How each point's constant error turns with its segment, shape (F, P, 3, 3); not, where the axes are unknown."""
    recorded = swing.points[window]
    turns = np.tile(np.eye(3), (len(recorded), len(POINTS), 1, 1))
    for column, name in enumerate(POINTS):
        if name in BAT_POINTS:
            knob, barrel = (recorded[:, POINTS.index(end)] for end in BAT_POINTS)
            rotation = frame_from(barrel - knob, np.array([0.0, 0.0, 1.0]))
        elif FIXED_IN[name] in swing.frames:
            rotation = swing.frames[FIXED_IN[name]][window]
        else:
            continue
        known = np.isfinite(rotation).all(axis=(1, 2))
        turns[known, column] = rotation[known]
    return turns


def _about_vertical(angle: FloatArray) -> FloatArray:
    """Rotations about z, shape (N, 3, 3)."""
    turn = np.tile(np.eye(3), (len(angle), 1, 1))
    turn[:, 0, 0] = turn[:, 1, 1] = np.cos(angle)
    turn[:, 1, 0] = np.sin(angle)
    turn[:, 0, 1] = -turn[:, 1, 0]
    return turn


def _small_turns(vector: FloatArray) -> FloatArray:
    """Rotations by small rotation vectors of shape (N, 3), shape (N, 3, 3)."""
    from scipy.spatial.transform import Rotation

    return np.asarray(Rotation.from_rotvec(vector).as_matrix(), dtype=np.float64)
