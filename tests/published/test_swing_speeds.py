"""The posed swing against what was measured on hitters.

- Welch CM, Banks SA, Cook FF, Draovitch P (1995) J Orthop Sports Phys Ther 22:193-201, seven professionals: hip segment
  714 deg/s, shoulder segment 937 deg/s, hip first, bat 31 m/s.
- Escamilla RF et al. (2009) J Appl Biomech 25:210-218, twelve adults: upper torso 857 deg/s, bat 30 m/s at contact.
- Tee hitting of twenty college players, Sports Biomech 2023, doi 10.1080/14763141.2023.2269418: bat 30 +- 2 m/s.

The abstracts print no standard deviation of the turning speeds; 15 % stands for it here.
"""

from __future__ import annotations

import numpy as np
import pytest

from mocap.reference.posed import PosedSwing


def turning_deg_s(swing: PosedSwing, part: str) -> np.ndarray:
    line = swing[f"front_{part}"] - swing[f"back_{part}"]
    line = line / np.linalg.norm(line, axis=1, keepdims=True)
    speed = np.degrees(np.linalg.norm(np.gradient(line, 1 / swing.rate_hz, axis=0), axis=1))
    return speed[round(swing.moments["plant"] * swing.rate_hz) : round(swing.moments["contact"] * swing.rate_hz)]


def test_pelvis_speed(posed: PosedSwing) -> None:
    assert turning_deg_s(posed, "hip").max() == pytest.approx(714, rel=0.15)


def test_trunk_speed(posed: PosedSwing) -> None:
    assert 857 * 0.85 < turning_deg_s(posed, "shoulder").max() < 937 * 1.15


def test_the_pelvis_is_first(posed: PosedSwing) -> None:
    assert np.argmax(turning_deg_s(posed, "hip")) < np.argmax(turning_deg_s(posed, "shoulder"))


def test_bat_speed(posed: PosedSwing) -> None:
    barrel, knob = posed["bat_barrel"], posed["bat_knob"]
    spot = barrel + 0.15 * (knob - barrel) / np.linalg.norm(knob - barrel, axis=1, keepdims=True)
    speed = np.linalg.norm(np.gradient(spot, 1 / posed.rate_hz, axis=0), axis=1)
    contact = round(posed.moments["contact"] * posed.rate_hz)
    assert speed[contact] == pytest.approx(30, abs=2 * 2)
