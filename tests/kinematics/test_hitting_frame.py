"""From the lab frame to the hitting frame: which side a hitter bats from."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.capture import FloatArray
from mocap.kinematics.hitting_frame import side_of_plate
from mocap.kinematics.moments import turning

RATE = 120.0
TIME = np.arange(int(2.0 * RATE)) / RATE


def eased(start_s: float, lasting_s: float, turned_deg: float) -> FloatArray:
    """An angle that grows from rest to rest, fastest in the middle at one and a half times its mean speed. [deg]"""
    share = np.clip((TIME - start_s) / lasting_s, 0.0, 1.0)
    return np.asarray(turned_deg * share**2 * (3.0 - 2.0 * share))


def joints(shoulders_deg: FloatArray, hips_deg: FloatArray) -> dict[str, FloatArray]:
    """Shoulders and hips turned about the vertical from a right-handed stance, the left ones toward the pitcher."""
    found = {}
    for joint, angle, half_m in (("shoulder", shoulders_deg, 0.18), ("hip", hips_deg, 0.09)):
        ahead = half_m * np.stack([np.cos(np.radians(angle)), np.sin(np.radians(angle)), np.zeros(len(angle))], axis=1)
        found |= {f"l_{joint}": ahead, f"r_{joint}": -ahead}
    return found


SHOULDERS, HIPS = eased(1.0, 0.24, 130.0), eased(0.95, 0.24, 80.0)


def test_a_hitter_bats_from_the_side_to_which_he_turns() -> None:
    """130 degrees in 0.24 s, which at its fastest is one and a half times the mean: 812 deg/s."""
    side, fastest = side_of_plate(joints(SHOULDERS, HIPS), RATE)
    assert side == "right"
    assert np.degrees(fastest) == pytest.approx(1.5 * 130.0 / 0.24, rel=0.02)
    exchanged = {("r" if name[0] == "l" else "l") + name[1:]: path for name, path in joints(-SHOULDERS, -HIPS).items()}
    assert side_of_plate(exchanged, RATE)[0] == "left"


def test_a_shoulder_that_was_found_elsewhere_for_some_frames_does_not_change_the_side() -> None:
    """At the finish the shoulders seem to turn back by 45 degrees in 0.05 s, faster than in the swing, and return."""
    astray = SHOULDERS - eased(1.45, 0.05, 45.0) + eased(1.55, 0.07, 45.0)
    seen = joints(astray, HIPS)
    rate = turning(seen["l_shoulder"], seen["r_shoulder"], RATE)
    assert rate[np.argmax(np.abs(rate))] < 0.0  # the trap is there
    assert side_of_plate(seen, RATE)[0] == "right"


def test_a_hitter_who_walks_round_before_he_swings_still_bats_from_his_side() -> None:
    """Half round the other way in 1 s, farther than he turns in the swing."""
    walked = eased(0.0, 0.95, -360.0)
    assert side_of_plate(joints(walked / 2.0 + SHOULDERS, walked / 2.0 + HIPS), RATE)[0] == "right"
