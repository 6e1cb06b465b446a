"""Which picture belongs to which time: clocks worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.renderer.footage_time import (
    FilmedShot,
    VideoClock,
    camera_clock,
    clock_from_moments,
    common_frames,
    filmed_scene,
    filmed_shots,
    moment_s,
    moments_in,
)
from mocap.renderer.tempo import Shot
from mocap.renderer.video import Video

CAMERA = Camera.looking_at((0.0, -5.0, 1.0), (0.0, 0.0, 1.0), size=(64, 48), field_of_view_deg=40.0, name="left")


def clip(n_frames: int) -> Video:
    return Video(Path("clip.mp4"), (64, 48), n_frames, 30.0, False)


def test_a_camera_counts_from_the_recordings_clock() -> None:
    clock = camera_clock(replace(CAMERA, rate_hz=100.0, time_offset_s=2.5), 2.0)
    assert clock.time_s([0, 10]) == pytest.approx([0.5, 0.6])
    assert clock.frame_at(0.75) == pytest.approx(25.0)
    with pytest.raises(OptionError, match="camera left: rate_hz is not given"):
        camera_clock(CAMERA, 0.0)


def test_two_moments_give_the_rate_and_one_the_offset(shown) -> None:
    swing = shown.comparison.swing
    plant, contact = moment_s(swing, "plant"), moment_s(swing, "contact")
    frames = {"plant": 100, "contact": 100 + round(60.0 * (contact - plant) * 4)}
    clock = clock_from_moments(swing, frames, None)
    assert clock.time_s(list(frames.values())) == pytest.approx([plant, contact])
    clock = clock_from_moments(swing, {"plant": 143}, 240.0)
    assert clock.rate_hz == 240.0
    assert float(clock.time_s(143)) == pytest.approx(plant)


@pytest.mark.parametrize(
    ("moments", "rate_hz", "message"),
    [
        ({}, None, "give two moments as video frames"),
        ({"plant": 10}, None, "or one and the camera's rate"),
        ({"strike": 10}, 60.0, "video moment 'strike' is not known"),
        ({"plant": 10, "contact": 9}, None, "plant 10, contact 9: later moments need later frames"),
        ({"plant": 10, "contact": 300}, 60.0, "look again, or give another rate"),
        ({"plant": 10}, 0.0, "must be positive, got 0 Hz"),
    ],
)
def test_what_does_not_link_video_and_swing_is_named(shown, moments, rate_hz, message) -> None:
    with pytest.raises(OptionError, match=message):
        clock_from_moments(shown.comparison.swing, moments, rate_hz)


def test_a_moment_that_was_not_found_links_nothing(shown) -> None:
    swing = shown.comparison.swing
    lost = replace(swing.moments["contact"], index=None, time_s=None, why="there is no bat")
    bare = replace(swing, moments={**swing.moments, "contact": lost})
    with pytest.raises(OptionError, match="there is no bat"):
        clock_from_moments(bare, {"contact": 3}, 60.0)


def test_common_time_only(shown) -> None:
    swing = shown.comparison.swing
    length_s = (swing.n_frames - 1) / swing.rate_hz
    # It began 0.2 s before the recording: pictures 0 to 11 of 60 a second are too early.
    assert common_frames(VideoClock(60.0, -0.2), swing, clip(10_000)) == range(12, 12 + int(60 * length_s) + 1)
    # It began 0.1 s after it and ends early.
    assert common_frames(VideoClock(60.0, 0.1), swing, clip(20)) == range(20)
    with pytest.raises(OptionError, match=r"show 90.00 to 90.32 s of a swing that lasts from 0 to"):
        common_frames(VideoClock(60.0, 90.0), swing, clip(20))


def test_the_scene_stands_at_the_pictures_times_and_moments_on_pictures(shown) -> None:
    swing = shown.comparison.swing
    clock = VideoClock(30.0, 0.013)
    frames = common_frames(clock, swing, clip(10_000))
    scene, step = filmed_scene(shown.scene, clock, frames)
    assert (step, scene.swing.rate_hz) == (4, 120.0)
    assert scene.swing.n_frames == (len(frames) - 1) * 4 + 1
    for name, frame in moments_in(clock, frames, swing).items():
        assert scene.swing.index(name) == 4 * (frame - frames.start)
        assert abs(float(clock.time_s(frame)) - moment_s(swing, name)) <= 0.5 / 30.0 + 1e-9
    # Smooth paths: a straight line between the two recorded frames around each instant is off by far less than 1 cm.
    at = clock.time_s(np.arange(frames.start, frames.stop)) * swing.rate_hz
    own, shown_at = swing["front_knee"], scene.swing["front_knee"][::4]
    for axis in range(3):
        assert np.interp(at, np.arange(swing.n_frames), own[:, axis]) == pytest.approx(shown_at[:, axis], abs=2e-3)


def test_moments_that_the_video_misses_are_not_in_the_scene(shown) -> None:
    swing = shown.comparison.swing
    clock = VideoClock(60.0, moment_s(swing, "plant") + 0.05)
    frames = common_frames(clock, swing, clip(10_000))
    scene, _ = filmed_scene(shown.scene, clock, frames)
    assert scene.swing.index("plant") is None
    assert scene.swing.moments["plant"].why == "the video does not show it"
    assert scene.swing.index("contact") is not None
    assert scene.comparison.swing is scene.swing


def test_pictures_that_were_filmed_are_repeated_and_never_invented() -> None:
    planned = [Shot(i, i * 0.9) for i in range(6)] + [Shot(5, 4.5, 20, "plant"), Shot(6, 8.0, slower=3.0)]
    found = filmed_shots(planned, 10, 2)
    assert found == [
        FilmedShot(10, 2),  # 0, 0.9 of two fine frames a picture
        FilmedShot(11, 2),  # 1.8, 2.7
        FilmedShot(12, 2),  # 3.6, 4.5
        FilmedShot(12, 20, "plant"),
        FilmedShot(14, 1, slower=3.0),
    ]
    assert sum(shot.times for shot in found) == sum(shot.times for shot in planned)
