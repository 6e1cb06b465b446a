"""How long after a foot's approach ends the floor carries 10 % of body weight: real steps on force plates.

The recordings are of walking; nothing is published for batters. Two of them, of different labs, are in the shared data.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.kinematics.foot_moments import LOADING_S, LOADING_SD_S, approach_end
from mocap.kinematics.moments import GRAVITY, LANDED_SHARE

#: Recording, plate counted from 0, marker of the part that lands first.
STEPS = (
    ("full_body_gait.c3d", 0, "LHEE"),
    ("lower_body_three_plates.c3d", 0, "LHEE"),
    ("lower_body_three_plates.c3d", 1, "RHEE"),
    ("lower_body_three_plates.c3d", 2, "LHEE"),
)


def lag_of(file: Path, plate_number: int, marker: str) -> float:
    """Seconds from the end of the marker's approach to 10 % of body weight on the plate."""
    capture = mocap.read(file)
    plate = capture.plates[plate_number]
    # Walking peaks at some 115 % of body weight on one foot (Winter 2009, from memory); a tenth of that is little.
    peak = max(float(np.nanmax(np.abs(one.force[:, 2]))) for one in capture.plates)
    mass = capture.subject.get("mass_kg")
    weight = float(str(mass)) * GRAVITY if mass else peak / 1.15
    loaded = int(np.flatnonzero(plate.force[:, 2] >= LANDED_SHARE * weight)[0])
    when = loaded / plate.rate_hz
    around = slice(int((when - 0.07) * capture.rate_hz), int((when + 0.06) * capture.rate_hz))
    column = next(i for i, label in enumerate(capture.labels) if label.upper().endswith(marker))
    end = approach_end(capture.points[around, column, 2], around.start)
    assert end is not None
    return when - end.frame / capture.rate_hz


@pytest.mark.parametrize(("file", "plate", "marker"), STEPS)
def test_a_step_is_loaded_as_long_after_it_touches_as_is_assumed(
    shared_data: Path, file: str, plate: int, marker: str
) -> None:
    assert lag_of(shared_data / "c3d" / file, plate, marker) == pytest.approx(LOADING_S, abs=2.0 * LOADING_SD_S)


def test_on_average_it_is_within_one_standard_deviation(shared_data: Path) -> None:
    lags = [lag_of(shared_data / "c3d" / file, plate, marker) for file, plate, marker in STEPS]
    assert np.mean(lags) == pytest.approx(LOADING_S, abs=LOADING_SD_S)
