"""Where the barrel meets a pitch, after where the pitch crosses the plate."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from mocap.reference.parameters import SwingParameters

Across = Literal["inside", "middle", "away"]
Height = Literal["low", "middle", "high"]

#: What an inside or outside pitch adds to the swing at a pitch down the middle: depth of contact, turn of the bat, bend
#: of the front elbow, lean to the plate. An inside pitch is met farther in front with the bat turned past square and
#: the arms still bent, an outside pitch deeper: common practice, no source. The lean takes the sweet spot over the
#: plate's edge. [share of height], [deg]
ACROSS: dict[Across, tuple[float, float, float, float]] = {
    "inside": (0.055, 14.0, 36.0, -8.0),
    "middle": (0.0, 0.0, 0.0, 0.0),
    "away": (-0.065, -12.0, -10.0, 8.0),
}
#: What a low or high pitch adds: height of contact, tilt of the bat, lean to the plate. [share of height], [deg]
HEIGHT: dict[Height, tuple[float, float, float]] = {
    "low": (-0.10, -11.0, 10.0),
    "middle": (0.0, 0.0, 0.0),
    "high": (0.10, 11.0, -12.0),
}


def at_pitch(parameters: SwingParameters, across: Across, height: Height = "middle") -> SwingParameters:
    """The same hitter at a pitch elsewhere.

    Parameters
    ----------
    parameters : SwingParameters
        At a pitch down the middle.
    across : {"inside", "middle", "away"}
    height : {"low", "middle", "high"}

    Returns
    -------
    SwingParameters
        With other contact depth and height, bat heading and tilt, front elbow and lean to the plate at contact.
    """
    depth, turned, bent, lean_across = ACROSS[across]
    up, tilt, lean_down = HEIGHT[height]
    barrel, turn = parameters.barrel, parameters.turn
    return replace(
        parameters,
        barrel=replace(
            barrel,
            contact_depth=barrel.contact_depth + depth,
            contact_height=barrel.contact_height + up,
            bat_heading_deg=barrel.bat_heading_deg + turned,
            bat_tilt_deg=barrel.bat_tilt_deg + tilt,
            front_elbow_flexion_deg=barrel.front_elbow_flexion_deg + bent,
        ),
        turn=replace(turn, lean_to_plate_deg=turn.lean_to_plate_deg + lean_across + lean_down),
    )
