"""Figures of a skeleton, and what contradicts a human body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from mocap.capture import Capture
from mocap.kinematics.body_report import body_report
from mocap.kinematics.build import build_swing
from mocap.kinematics.skeleton import fit_skeleton
from mocap.kinematics.stature import height_contradiction
from mocap.reference.posed import PosedSwing
from mocap.swing import Hitter

Maker = Callable[..., Capture]


def test_a_sound_body_gives_no_doubt(posed: PosedSwing, make_capture: Maker) -> None:
    skeleton = fit_skeleton(make_capture(posed.points, posed.rate_hz, noise_m=0.002))
    report = body_report(skeleton, Hitter(height_m=1.80), ())
    assert report.doubts == ()
    # 20 of 22 points' noise of 2 mm per axis, less what the pose takes up.
    assert 0.001 < report.fit_m < 0.002 * np.sqrt(3)
    thigh = np.linalg.norm(posed["front_hip"] - posed["front_knee"], axis=1).mean()
    left, right, sd = report.lengths_m["thigh"]
    assert (left, right) == (pytest.approx(thigh, abs=0.001), pytest.approx(thigh, abs=0.001))
    assert sd > 0.005
    assert list(report.point_fit_m.values()) == sorted(report.point_fit_m.values(), reverse=True)
    assert report.height_m == pytest.approx(1.80, abs=2 * report.height_sd_m)


def test_a_misplaced_knee_is_told_by_its_length(posed: PosedSwing, make_capture: Maker) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    knee, hip = (capture.labels.index(name) for name in ("L_KNEE", "L_HIP"))
    points = capture.points.copy()
    points[:, knee] += 0.15 * (points[:, hip] - points[:, knee])
    report = body_report(fit_skeleton(replace(capture, points=points)), Hitter(height_m=1.80), ())
    assert any("right thigh measures" in doubt for doubt in report.doubts)


def test_a_height_that_cannot_be_is_told_everywhere(posed: PosedSwing, make_capture: Maker) -> None:
    capture = make_capture(posed.points, posed.rate_hz)
    report = body_report(fit_skeleton(capture), Hitter(height_m=1.40), ())
    assert "but 1.40 m is stated" in report.doubts[0]
    swing = build_swing(capture, Hitter(height_m=1.40))
    assert any("but 1.40 m is stated" in note for note in swing.notes)
    assert not any("is stated" in note for note in build_swing(capture, Hitter(height_m=1.80)).notes)


def test_only_a_clear_contradiction_counts() -> None:
    assert height_contradiction(1.80, 1.70, 0.05) == ""
    assert "1.60 ± 0.05 m" in height_contradiction(1.80, 1.60, 0.05)
