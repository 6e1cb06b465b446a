"""The parameters that a posed swing achieved, where the limbs' reach kept it from those asked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from mocap.kinematics.geometry import flexion, on_bat
from mocap.reference.parameters import SwingParameters
from mocap.reference.postures import Postures
from mocap.reference.script import BODY_KEYS

#: Differences below this are the search's, not the body's. [deg], [share of height]
NEGLIGIBLE = 1e-4


def achieved(postures: Postures) -> SwingParameters:
    """The parameters with what each leg and arm could do in place of what was asked of it.

    Parameters
    ----------
    postures : Postures

    Returns
    -------
    SwingParameters
        Those asked, but for knee flexions at the keys, front elbow and depth and height of contact that could not be
        had.
    """
    p = postures.parameters
    points = postures.points(postures.script.target_times)

    def bent(side: str, key: str, joints: tuple[str, str, str] = ("hip", "knee", "ankle")) -> float:
        angle = flexion(*(points[f"{side}_{name}"] for name in joints))
        return float(np.degrees(angle[BODY_KEYS.index(key)]))

    plant, deepest = bent("front", "plant"), bent("front", "deepest")
    spot = on_bat(points["bat_knob"], points["bat_barrel"], p.barrel.sweet_spot_m / p.height_m)
    contact = BODY_KEYS.index("contact")
    return replace(
        p,
        stance=_kept(p.stance, back_knee_flexion_deg=bent("back", "still")),
        stride=_kept(p.stride, back_knee_flexion_deg=bent("back", "load")),
        landing=_kept(p.landing, front_knee_flexion_deg=plant, front_knee_gives_deg=deepest - plant),
        turn=_kept(p.turn, front_knee_flexion_at_contact_deg=bent("front", "contact")),
        barrel=_kept(
            p.barrel,
            contact_depth=float((spot - points["front_ankle"])[contact, 0]),
            contact_height=float(spot[contact, 2]),
            front_elbow_flexion_deg=bent("front", "contact", ("shoulder", "elbow", "wrist")),
        ),
        finish=_kept(p.finish, front_knee_flexion_deg=bent("front", "finish")),
    )


def _kept(stage: Any, **found: float) -> Any:
    """A stage with the found values where they differ from its own."""
    changed = {name: value for name, value in found.items() if abs(value - getattr(stage, name)) > NEGLIGIBLE}
    return replace(stage, **changed) if changed else stage
