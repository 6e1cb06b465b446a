"""How far the numbers may be off: errors of points, heading, height and moments, carried through to the measures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.barrel import USUAL_PITCH_DEG
from mocap.kinematics.build import body_com
from mocap.kinematics.filtering import lowpass
from mocap.kinematics.geometry import heading
from mocap.kinematics.segment_frames import axes_from
from mocap.swing import POINTS, Moment, Swing

#: Random swings drawn for the standard deviations. Their own error is 1 / sqrt(2 n) = 9 %.
DRAWS = 64
#: Standard deviation of a pitch angle that was not given. [deg] Spread between pitches of one kind is 1.0 to 1.5
#: degrees, between kinds about 2 (measured major-league pitches, one day of 2020).
USUAL_PITCH_SD_DEG = 2.0

#: Error of a centre of mass found with a table of segment masses, per axis. [m] Tables differ by about a centimetre
#: on the same posture (de Leva 1996, Winter 2009, Plagenhoef 1983); this project's default.
COM_MODEL_SD_M = 0.010
ARMS_AND_BAT = ("elbow", "wrist", "hand", "bat")


def draws(swing: Swing, *, count: int = DRAWS, seed: int = 1) -> Iterator[Swing]:
    """Swings that could equally have been recorded.

    Parameters
    ----------
    swing : Swing
    count : int
    seed : int
        The same seed gives the same draws.

    Yields
    ------
    Swing
        Points displaced by a constant error each (the joint centre's model error) and by smooth noise, the whole
        turned about the vertical by the heading's error, the height, the centre of mass and the moments shifted by
        theirs.
    """
    rng = np.random.default_rng(seed)
    place = {name: i for i, name in enumerate(POINTS)}
    turns, undisturbed = _turns_of_errors(swing), _trunk_axes(swing.points)
    for _ in range(count):
        offset = rng.normal(0.0, 1.0, (len(POINTS), 3)) * swing.point_sd_m[:, None]
        # These two are midpoints of joints: their error is the mean of the two joints' errors.
        offset[place["pelvis"]] = (offset[place["front_hip"]] + offset[place["back_hip"]]) / 2
        offset[place["neck"]] = (offset[place["front_shoulder"]] + offset[place["back_shoulder"]]) / 2
        offset = np.einsum("fpij,pj->fpi", turns, offset)
        # What passes the filter is smooth, so the drawn noise goes through each point's own.
        noise = lowpass(rng.normal(0.0, 1.0, swing.points.shape), swing.rate_hz, swing.cutoff_hz)
        points = swing.points + offset + noise * (swing.noise_m / noise.std(axis=(0, 2)))[:, None]
        angle = rng.normal(0.0, swing.heading_sd_rad)
        c, s = np.cos(angle), np.sin(angle)
        points = points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        trunk = _trunk_axes(points)
        height = max(swing.height_m + rng.normal(0.0, swing.height_sd_m), 0.9)
        setup = swing.setup
        if setup.pitch_angle_deg is None:
            setup = replace(setup, pitch_angle_deg=USUAL_PITCH_DEG + rng.normal(0.0, USUAL_PITCH_SD_DEG))
        drawn = replace(
            swing,
            points=points,
            # The segments' axes err as the lines between the joints do.
            frames={
                name: trunk[name] @ np.swapaxes(undisturbed[name], 1, 2) @ swing.frames[name]
                for name in trunk
                if name in swing.frames
            },
            hitter=replace(swing.hitter, height_m=min(height, 2.4)),
            setup=setup,
            moments={name: _shifted(moment, swing, rng) for name, moment in swing.moments.items()},
        )
        yield replace(drawn, com=body_com(drawn) + rng.normal(0.0, COM_MODEL_SD_M, 3))


def _trunk_axes(points: FloatArray) -> dict[str, FloatArray]:
    """Axes of pelvis and thorax from the lines between hips, shoulders and both, shape (F, 3, 3)."""
    path = {name: points[:, i] for i, name in enumerate(POINTS)}
    up = path["neck"] - path["pelvis"]
    return {
        "pelvis": axes_from(path["back_hip"] - path["front_hip"], up, "zy"),
        "thorax": axes_from(path["back_shoulder"] - path["front_shoulder"], up, "zy"),
    }


def _turns_of_errors(swing: Swing) -> FloatArray:
    """How each point's constant error turns with the body about the vertical, shape (F, P, 3, 3).

    A hip centre is misplaced in the pelvis, a shoulder centre in the trunk; a standing foot does not turn.
    """
    turns = np.tile(np.eye(3), (swing.n_frames, len(POINTS), 1, 1))
    for line, words in (("hip", ("pelvis", "hip", "knee")), ("shoulder", ("neck", "head", "shoulder", *ARMS_AND_BAT))):
        angle = heading(swing[f"front_{line}"] - swing[f"back_{line}"])
        angle = np.where(np.isfinite(angle), angle, 0.0)
        c, s = np.cos(angle), np.sin(angle)
        about = np.zeros((swing.n_frames, 3, 3))
        about[:, 0, 0], about[:, 0, 1], about[:, 1, 0], about[:, 1, 1], about[:, 2, 2] = c, -s, s, c, 1.0
        for column, name in enumerate(POINTS):
            if any(word in name for word in words):
                turns[:, column] = about
    return turns


def _shifted(moment: Moment, swing: Swing, rng: np.random.Generator) -> Moment:
    if moment.index is None or moment.sd_s is None or moment.time_s is None:
        return moment
    time = moment.time_s + rng.normal(0.0, moment.sd_s)
    index = int(np.clip(round(time * swing.rate_hz), 0, swing.n_frames - 1))
    return replace(moment, index=index, time_s=time)
