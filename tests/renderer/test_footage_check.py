"""A video linked to the wrong time is noticed: by points found in it, whose truth here is a virtual hitter's own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.importer.camera import Camera
from mocap.importer.keypoints import Keypoints
from mocap.reference.parameters import SwingParameters
from mocap.renderer.footage_check import doubts, frames_late
from mocap.renderer.footage_time import camera_clock, clock_from_moments, moment_s
from mocap.renderer.video import Video
from mocap.swing import Hitter, Setup, Swing
from mocap.virtual.cameras import TWO_TRIPODS, duration_of, lab_from_hitting, place_camera
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record

LAB = Lab(turn_deg=35.0, shift=(1.3, 0.8, 0.0))
RATE_HZ = 60.0
STARTS_S = -0.2  # of the camera's first picture, on the recording's clock
JOINTS = ("hip", "knee", "ankle", "shoulder", "elbow", "hand")
VIDEO = Video(Path("clip.mp4"), (1280, 720), 90, RATE_HZ, uneven=False)


@pytest.fixture(scope="module", params=["right", "left"])
def seen(request: pytest.FixtureRequest) -> tuple[Swing, Camera, Keypoints]:
    """A swing, its camera, and what a detector with 2 px of noise found in its pictures."""
    hitter = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0, bats=request.param)
    camera = replace(place_camera(replace(TWO_TRIPODS[0], rate_hz=RATE_HZ), LAB, request.param), time_offset_s=STARTS_S)
    swing = mocap.build_swing(
        record(hitter, LAB, noise_m=0.0), Hitter("Hitter 1", hitter.height_m, bats=request.param), Setup()
    )
    times = STARTS_S + np.arange(int((duration_of(hitter) + 0.4) * RATE_HZ)) / RATE_HZ
    by_name = Motion.of(hitter).points(times + hitter.parameters.timing.start)
    transform = lab_from_hitting(hitter, LAB)
    front = {"right": "l", "left": "r"}[request.param]
    back = {"l": "r", "r": "l"}[front]
    names = {f"{side}_{joint}": own for joint in JOINTS for side, own in
             ((front, f"front_{joint}"), (back, f"back_{joint}"))}  # fmt: skip
    points = np.stack([by_name[own] for own in names.values()], axis=1) @ transform[:3, :3].T + transform[:3, 3]
    pixels = camera.project(points.reshape(-1, 3)).reshape(*points.shape[:2], 2)
    pixels += np.random.default_rng(3).normal(0.0, 2.0, pixels.shape)
    return swing, camera, Keypoints(tuple(names), pixels, np.ones(pixels.shape[:2]), source="clip.csv")


def plant_frame(swing: Swing) -> int:
    plant = moment_s(swing, "plant")
    assert plant is not None
    return round((plant - STARTS_S) * RATE_HZ)


@pytest.mark.parametrize("off", [-12, -5, 0, 6, 15])
def test_points_found_in_the_video_say_by_how_much_a_moment_is_wrong(seen, off) -> None:
    swing, camera, keypoints = seen
    clock = clock_from_moments(swing, {"plant": plant_frame(swing) + off}, RATE_HZ)
    assert frames_late(swing, clock, camera, keypoints) == pytest.approx(-off, abs=1.0)
    said = doubts(swing, VIDEO, clock, camera, keypoints=keypoints)
    assert len(said) == (off != 0)
    for line in said:
        assert f"drawn at frame {plant_frame(swing) + off}, but by the points found in it (clip.csv)" in line
        assert "\n" not in line


def test_without_points_the_cameras_clock_is_held_against_the_moment(seen) -> None:
    swing, camera, _ = seen
    true = plant_frame(swing)
    wrong = doubts(swing, VIDEO, clock_from_moments(swing, {"plant": true + 9}, RATE_HZ), camera)
    assert len(wrong) == 1
    assert f"foot-plant is drawn at frame {true + 9}, but by the clock of camera" in wrong[0]
    assert f"it would be frame {true};" in wrong[0]
    assert doubts(swing, VIDEO, clock_from_moments(swing, {"plant": true + 1}, RATE_HZ), camera) == []
    assert doubts(swing, VIDEO, camera_clock(camera, 0.0), camera) == []
    unknown = replace(camera, rate_hz=None)
    assert doubts(swing, VIDEO, clock_from_moments(swing, {"plant": true + 9}, RATE_HZ), unknown) == []


def test_points_of_other_pictures_tell_nothing(seen) -> None:
    swing, camera, keypoints = seen
    clock = camera_clock(camera, 0.0)
    assert frames_late(swing, clock, camera, replace(keypoints, first_frame=5000)) is None
    assert frames_late(swing, clock, camera, replace(keypoints, names=tuple(f"x{n}" for n in keypoints.names))) is None


def test_pictures_that_are_not_even_are_told(seen) -> None:
    swing, camera, _ = seen
    said = doubts(swing, replace(VIDEO, uneven=True), camera_clock(camera, 0.0), None)
    assert len(said) == 1
    assert "clip.mp4" in said[0]
    assert "taken as even at 60 Hz" in said[0]


def test_the_picture_says_which_frame_it_was_tied_by(seen) -> None:
    swing, camera, _ = seen
    assert clock_from_moments(swing, {"plant": 40}, RATE_HZ).tied_by == "foot-plant at 40"
    assert camera_clock(camera, 0.0).tied_by == ""
