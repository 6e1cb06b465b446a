"""Frames between frames, and two swings in step."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from mocap.renderer.retiming import between, in_step, retimed
from mocap.swing import MOMENTS

GEN = np.random.default_rng(8)


def test_places_between_frames_lie_on_the_hermite_cubic_of_scipy() -> None:
    values = GEN.normal(size=(12, 3, 2))
    frames = np.linspace(1.0, 10.0, 47)
    slopes = np.gradient(values, axis=0)
    expected = CubicHermiteSpline(np.arange(12.0), values, slopes)(frames)
    assert between(values, frames) == pytest.approx(expected, abs=1e-12)


def test_recorded_frames_come_back_as_recorded_though_neighbours_are_missing() -> None:
    values = GEN.normal(size=(9, 2))
    values[[2, 4, 5]] = np.nan
    assert np.array_equal(between(values, np.arange(9.0)), values, equal_nan=True)
    half = between(values, np.arange(8) + 0.5)
    # Missing between a missing frame and its neighbour, straight beside one, present elsewhere.
    assert np.isnan(half[[1, 2, 3, 4, 5]]).all()
    assert half[6] == pytest.approx(values[6:8].mean(axis=0))


def test_twice_the_frames_show_the_same_swing(shown) -> None:
    comparison = shown.comparison
    swing = comparison.swing
    frames = np.arange(0.0, swing.n_frames - 0.75, 0.5)
    slow = retimed(comparison, frames, 2.0 * swing.rate_hz)
    assert slow.swing.n_frames == len(frames)
    assert np.array_equal(slow.swing.points[::2], swing.points, equal_nan=True)
    assert np.array_equal(slow.reference_points[::2], comparison.reference_points, equal_nan=True)
    for name in MOMENTS:
        index = swing.index(name)
        assert slow.swing.index(name) == (None if index is None else 2 * index)
        assert slow.swing.moments[name].time_s == swing.moments[name].time_s
    # No limb grows or shrinks by a millimetre on the way.
    for ends in (("front_hip", "front_knee"), ("back_shoulder", "back_elbow"), ("bat_knob", "bat_barrel")):
        length = np.linalg.norm(slow.swing[ends[0]] - slow.swing[ends[1]], axis=1)
        assert np.nanmax(np.abs(length[1:-1:2] - (length[:-2:2] + length[2::2]) / 2)) < 1e-3
    for axes in slow.swing.frames.values():
        whole = axes[np.isfinite(axes).all(axis=(1, 2))]
        assert whole @ whole.transpose(0, 2, 1) == pytest.approx(np.broadcast_to(np.eye(3), whole.shape), abs=1e-9)


def test_the_scene_keeps_its_zone_and_bodies(shown) -> None:
    scene = shown.scene
    assert scene.zone is not None
    slow = scene.retimed(np.arange(0.0, scene.swing.n_frames - 0.75, 0.5), 2.0 * scene.swing.rate_hz)
    assert slow.zone is not None
    assert slow.zone.first_frame == 2 * scene.zone.first_frame
    assert slow.zone.length == scene.zone.length
    assert slow.hitter is scene.hitter


def _shifted(shown, scale: float, shift: int):
    """The same swing, its moments at other frames."""
    swing = shown.comparison.swing
    moments = {
        name: moment if moment.index is None else replace(moment, index=round(scale * moment.index) + shift)
        for name, moment in swing.moments.items()
    }
    return replace(swing, moments=MappingProxyType(moments))


def test_two_swings_meet_at_every_moment_both_have(shown) -> None:
    lead = shown.comparison.swing
    other = _shifted(shown, 0.8, 7)
    frames = in_step(lead, other)
    assert len(frames) == lead.n_frames
    assert (np.diff(frames) >= 0).all()
    for name in MOMENTS:
        index = lead.index(name)
        if index is not None:
            assert frames[index] == pytest.approx(other.index(name))
    start = min(index for name in MOMENTS if (index := lead.index(name)) is not None)
    assert frames[start] - frames[start - 3] == pytest.approx(3.0)  # as recorded before the first moment


def test_swings_without_a_common_moment_cannot_go_in_step(shown) -> None:
    lead = shown.comparison.swing
    none = {name: replace(moment, index=None, time_s=None) for name, moment in lead.moments.items()}
    with pytest.raises(ValueError, match="no moment"):
        in_step(lead, replace(lead, moments=MappingProxyType(none)))
