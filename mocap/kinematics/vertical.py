"""The lab's vertical, told by the body that stands in it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import InputError

#: Points in the upper and in the lower part of a standing body, the surest first.
HIGH = ("head", "skull_base", "l_ear", "c7", "clavicle", "l_shoulder", "l_acromion", "sacrum", "l_asis", "l_hip")
LOW = (("l_ankle", "r_ankle"), ("l_ankle_lateral", "r_ankle_lateral"), ("l_heel_marker", "r_heel_marker"))


def vertical(capture: Capture, found: Mapping[str, FloatArray]) -> tuple[FloatArray, list[str]]:
    """The lab axis along which the head (or what is seen of the body above) lies over the ankles.

    Parameters
    ----------
    capture : Capture
        Its `vertical` is what the file states.
    found : mapping of str to ndarray, shape (F, 3)
        Points by canonical name. [m]

    Returns
    -------
    (up, notes)
        Unit vector, shape (3,); what contradicts the file, and what follows from it.

    Raises
    ------
    InputError
        The body does not show the vertical and the file does not state it.
    """
    rise = _rise(found)
    stated = capture.vertical
    if rise is None and not stated:
        raise InputError(
            f"{capture.source}: head and ankles are never seen together; the vertical cannot be told, nor any height"
        )
    if rise is None:
        return _axis(stated), [f"the body does not show the vertical; {stated} is taken, as the file states"]
    axis = int(np.argmax(np.abs(rise)))
    name = f"{'-' if rise[axis] < 0 else '+'}{'xyz'[axis]}"
    return _axis(name), _notes(capture, name)


def _notes(capture: Capture, name: str) -> list[str]:
    stated, up = capture.vertical, _axis(name)
    notes = []
    upside_down = (stated or "+z")[1] == name[1] and (stated or "+z")[0] != name[0]
    if upside_down:
        by = f"by the file's own vertical ({stated})" if stated else "along the lab's z"
        notes.append(
            f"{by} the head lies below the feet: the lab frame is upside down; it is turned over, and every height is"
            f" measured along {name}"
        )
    elif stated not in ("", name):
        notes.append(
            f"the file states that {stated} points up, the body stands along {name}: every height is measured along"
            f" {name}"
        )
    if name != "+z" and not upside_down:
        notes.append(f"the lab's vertical is {name}; turned to +z")
    if any(plate.normal @ up < 0 for plate in capture.plates):
        notes.append(
            "the force plates push from the head's side: points and plates do not share one lab frame, so that forces"
            " and what is found from them are wrong; correct the plates' corners or the points' axes"
        )
    return notes


def _rise(found: Mapping[str, FloatArray]) -> FloatArray | None:
    """Median from the ankles to the upper body, shape (3,); None where they are never seen together."""
    for feet in LOW:
        if not set(feet) <= set(found):
            continue
        low = (found[feet[0]] + found[feet[1]]) / 2
        for name in HIGH:
            rise = found[name] - low if name in found else np.full_like(low, np.nan)
            whole = np.isfinite(rise).all(axis=1)
            if whole.any():
                return np.asarray(np.median(rise[whole], axis=0), dtype=np.float64)
    return None


def _axis(name: str) -> FloatArray:
    up = np.zeros(3)
    up["xyz".index(name[1])] = -1.0 if name[0] == "-" else 1.0
    return up
