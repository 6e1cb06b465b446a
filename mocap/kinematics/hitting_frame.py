"""From the lab frame to the hitting frame: vertical, side of the plate, floor, direction to the pitcher, origin."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import OptionError
from mocap.kinematics.geometry import heading, unit
from mocap.kinematics.moments import turning
from mocap.swing import Side

#: Standard deviation of a direction to the pitcher: given, and estimated from the feet at plant. [rad]
#: Hitters stride several degrees off the line to the pitcher; this project's default.
GIVEN_HEADING_SD, FEET_HEADING_SD = np.radians(1.0), np.radians(8.0)
#: A line between two joints that turns faster than this has a wrong end. [rad/s] Above the 940 deg/s that hitters'
#: shoulders reach (Welch 1995, Escamilla 2009); this project's default.
FASTEST_TURN = np.radians(1000.0)
#: A floor within this distance of the lab's zero is taken to be the zero itself. [m] Common practice.
FLOOR_NEAR_ZERO = 0.06
#: How the direction to the pitcher was found where nobody gave it.
FROM_FEET = "estimated from the feet at foot-plant"
MIRROR = np.diag([1.0, -1.0, 1.0, 1.0])


def transformed(matrix: FloatArray, paths: FloatArray) -> FloatArray:
    """Points of shape (..., 3) moved by a homogeneous 4 x 4 matrix."""
    moved: FloatArray = paths @ matrix[:3, :3].T + matrix[:3, 3]
    return moved


def upright(up: FloatArray) -> FloatArray:
    """Rotation (4 x 4) that turns the lab's vertical to +z, the shortest way."""
    z = np.array([0.0, 0.0, 1.0])
    matrix = np.eye(4)
    if up[2] < -0.5:
        matrix[:3, :3] = np.diag([1.0, -1.0, -1.0])
    elif up[2] < 0.5:
        matrix[:3, :3] = _turn(up, z)
    return matrix


def side_of_plate(centres: Mapping[str, FloatArray], rate_hz: float) -> tuple[Side, float]:
    """Which side the hitter bats from, by the way he turns.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        z up, sides left and right: the shoulders, and the hips where they are known. [m]
    rate_hz : float
        [Hz]

    Returns
    -------
    (side, fastest)
        A right-handed hitter turns counter-clockwise seen from above. `fastest` is the greatest turning speed of the
        shoulders that way. [rad/s]

    Notes
    -----
    What counts is how shoulders and hips turn each way over all frames, by the cube of the speed: a hitter who walks
    round turns as far as in his swing, but slower. A point that was found elsewhere for some frames turns a line as
    fast, but there and back, and not both lines.
    """
    turned, fastest = 0.0, np.zeros(2)
    for joint in ("shoulder", "hip"):
        if f"l_{joint}" not in centres or f"r_{joint}" not in centres:
            continue
        rate = np.nan_to_num(turning(centres[f"l_{joint}"], centres[f"r_{joint}"], rate_hz))
        turned += float((np.clip(rate, -FASTEST_TURN, FASTEST_TURN) ** 3).sum())
        if joint == "shoulder":
            fastest = np.array([rate.max(initial=0.0), -rate.min(initial=0.0)])
    return ("right", float(fastest[0])) if turned >= 0.0 else ("left", float(fastest[1]))


#: A direction with less of its length along the floor than this is no direction to the pitcher. This project's default.
LEVEL = 0.5


def floor_height(capture: Capture, up: FloatArray, feet: list[FloatArray]) -> tuple[float, str]:
    """Height of the floor along the lab's vertical.

    Parameters
    ----------
    capture : Capture
    up : ndarray, shape (3,)
    feet : list of ndarray, shape (F, 3)
        Points of both feet, lab frame. [m]

    Returns
    -------
    (height, note)
        [m]; the note is empty where the plates or the lab's zero give it.
    """
    if capture.plates:
        return float(np.mean([plate.corners @ up for plate in capture.plates])), ""
    heights = [path @ up for path in feet]
    shown = [h for h in heights if np.isfinite(h).any()]
    lowest = float(np.nanpercentile(np.fmin.reduce(shown), 10))
    if abs(lowest) < FLOOR_NEAR_ZERO:
        return 0.0, ""
    return lowest, f"the floor is taken at {lowest:.3f} m, where the feet rest (no plates, not the lab's zero)"


def toward_pitcher(
    given: tuple[float, float, float] | None,
    back_foot: FloatArray,
    front_foot: FloatArray,
    matrix: FloatArray,
) -> tuple[float, str, float]:
    """Heading of the pitcher in the upright frame.

    Parameters
    ----------
    given : tuple of 3 floats or None
        Lab direction.
    back_foot, front_foot : ndarray, shape (3,)
        Mid-foot at plant, upright frame. [m]
    matrix : ndarray, shape (4, 4)
        Upright (and mirrored) from lab.

    Returns
    -------
    (heading, method, sd)
        [rad], text, [rad]

    Raises
    ------
    OptionError
        The given direction is all but vertical.
    """
    if given is not None:
        direction = matrix[:3, :3] @ np.asarray(given, dtype=np.float64)
        if np.hypot(direction[0], direction[1]) < LEVEL * np.linalg.norm(direction):
            raise OptionError(
                f"the direction to the pitcher ({', '.join(f'{value:g}' for value in given)}) points up or down in this"
                " lab, by the way the body stands; give it in the lab's own axes, along the floor"
            )
        return float(heading(direction)), "given", float(GIVEN_HEADING_SD)
    return float(heading(front_foot - back_foot)), FROM_FEET, float(FEET_HEADING_SD)


def turned_to(angle: float, origin: FloatArray) -> FloatArray:
    """4 x 4 matrix that puts `origin` at zero and the heading `angle` along +x."""
    c, s = np.cos(angle), np.sin(angle)
    matrix = np.eye(4)
    matrix[:3, :3] = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    matrix[:3, 3] = -matrix[:3, :3] @ origin
    return matrix


def _turn(up: FloatArray, z: FloatArray) -> FloatArray:
    """Quarter turn that brings `up` to `z`."""
    axis = unit(np.cross(up, z))
    k = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    rotation: FloatArray = np.eye(3) + k + k @ k
    return rotation
