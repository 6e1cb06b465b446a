"""What a recording says of the person: the lab's measurements, height and mass, as far as they can be a person's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any

from mocap.capture import Capture

#: Smallest and largest value that is believed of each measurement of the lab, by the end of its key. [mm]
#: This project's defaults, wide enough for children and giants.
BELIEVED_MM = {
    "leglength": (350.0, 1400.0),
    "asistrocanterdistance": (10.0, 200.0),
    "interasisdistance": (100.0, 450.0),
    "kneewidth": (50.0, 220.0),
    "anklewidth": (35.0, 130.0),
    "shoulderoffset": (15.0, 120.0),
    "elbowwidth": (35.0, 150.0),
    "wristwidth": (20.0, 100.0),
}
#: Angles by which labs turn the plane of a wand, and what they move. No recording at hand carries any but zero, so that
#: their unit and sense cannot be checked: they are named and not used.
WAND_ANGLES = {"thighrotation": "knee", "shankrotation": "ankle", "tibialtorsion": "foot's heading"}
#: What is below this is zero, in radians or degrees.
LEAST_WAND_ANGLE = 1e-3
#: Human heights and masses, as everywhere in this package. [m], [kg]
HEIGHTS_M, MASSES_KG = (0.9, 2.4), (12.0, 220.0)


@dataclass(frozen=True)
class Measured:
    """The lab's measurements, in metres.

    Attributes
    ----------
    lengths_m : mapping of str to float
        By the key as printed in the recording, e.g. `lleglength`; only those believed. [m]
    notes : tuple of str
        Which were not believed.
    """

    lengths_m: Mapping[str, float]
    notes: tuple[str, ...]

    def has(self, *keys: str) -> bool:
        """Whether every one of the keys was measured."""
        return all(key in self.lengths_m for key in keys)


def measured(capture: Capture) -> Measured:
    """The lab's measurements that a recording carries; those that cannot be a person's are named and left out."""
    lengths, notes = {}, []
    for part, (least, most) in BELIEVED_MM.items():
        for key in (part, f"l{part}", f"r{part}"):
            value = capture.subject.get(key)
            if not isinstance(value, (int, float)) or not value:
                continue
            if least <= value <= most:
                lengths[key] = float(value) / 1000.0
            else:
                notes.append(
                    f"the recording states {key} = {value:g} mm, outside {least:g} to {most:g} mm; it is not used, the"
                    " markers and the height give an estimate"
                )
    for part, joint in WAND_ANGLES.items():
        for side, name in (("l", "left"), ("r", "right")):
            value = capture.subject.get(side + part)
            if isinstance(value, (int, float)) and abs(value) > LEAST_WAND_ANGLE:
                notes.append(
                    f"the recording states {side}{part} = {value:.3g}, by which the lab turned a wand's plane; it is"
                    f" not used, so that the {name} {joint} may differ from the lab's"
                )
    return Measured(lengths, tuple(notes))


def stated_size(capture: Capture) -> tuple[float | None, float | None, list[str]]:
    """Height and mass that a recording states, as far as they can be a person's.

    Parameters
    ----------
    capture : Capture

    Returns
    -------
    (height, mass, notes)
        [m] and [kg], None where not stated or outside `HEIGHTS_M` and `MASSES_KG`; then a note says so.
    """
    height, height_notes = _stated(capture, "height_m", "a height", "m", HEIGHTS_M, "give the height (metres)")
    mass, mass_notes = _stated(capture, "mass_kg", "a mass", "kg", MASSES_KG, "give the mass (kilograms)")
    return height, mass, [*height_notes, *mass_notes]


def _stated(
    capture: Capture, key: str, what: str, unit: str, limits: tuple[float, float], remedy: str
) -> tuple[float | None, list[str]]:
    value: Any = capture.subject.get(key)
    if not isinstance(value, (int, float)) or not isfinite(value) or not value:
        return None, []
    if limits[0] <= value <= limits[1]:
        return float(value), []
    return None, [
        f"{capture.source} states {what} of {value:g} {unit}, outside {limits[0]:g} to {limits[1]:g} {unit}: not used;"
        f" {remedy}, or correct the file"
    ]
