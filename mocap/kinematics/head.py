"""Measures of the head."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import unit
from mocap.kinematics.landing import DEFINITION
from mocap.kinematics.readings import NotMeasurableError, Readings
from mocap.kinematics.registry import measure


@measure("head_pitch", "deg", "Face down at contact", moments=("contact",), source=DEFINITION)
def head_pitch(r: Readings) -> FloatArray:
    """Angle of the face below the level at contact, positive = down, toward the ball.

    The face points as the head's markers or the eyes show it; a band of markers that sits aslant tilts it by as much in
    every recording, so that a change within a hitter is surer than the value itself.
    """
    if not np.isfinite(r.head_forward[0]).all(axis=1).any():
        raise NotMeasurableError("the recorded points do not show the face")
    contact = (r.time("contact") * r.rate_hz - r.first_frame)[:, None]
    face = unit(r.read(r.head_forward, contact)[:, 0])
    if not np.isfinite(face[0]).all():
        raise NotMeasurableError("the head's points are not seen at contact")
    return -np.degrees(np.arcsin(face[:, 2]))
