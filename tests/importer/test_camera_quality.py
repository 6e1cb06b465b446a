"""Reprojection errors and coverage, against numbers worked out from the arrays that went in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.importer.camera import Camera
from mocap.importer.camera_quality import CameraQuality, camera_quality
from mocap.importer.filmed import filmed
from mocap.importer.keypoints import Keypoints
from mocap.importer.triangulation import triangulate

CAMERAS = [
    Camera.looking_at(
        place, (0, 0, 1), size=(1280, 720), field_of_view_deg=50.0, rate_hz=120.0, time_offset_s=2.0, name=name
    )
    for name, place in (("a", (0, -6, 1.4)), ("b", (5, -3, 1.2)), ("c", (-5, -3, 1.6)))
]
NAMES = ("hand", "foot", "head")
TIMES = 2.0 + np.arange(60) / 120.0


def seen(noise_px: float = 1.0) -> np.ndarray:
    rng = np.random.default_rng(5)
    places = rng.uniform((-0.5, -0.5, 0.2), (0.5, 0.5, 1.8), (60, 3, 3))
    pixels = np.stack([camera.project(places) for camera in CAMERAS])
    return pixels + rng.normal(0.0, noise_px, pixels.shape)


def judged(pixels: np.ndarray, used: np.ndarray | None = None) -> CameraQuality:
    """Of places found frame by frame, all of them taken unless told otherwise; the tables begin at frame 7."""
    points = triangulate(CAMERAS, pixels, np.ones(pixels.shape[:-1])).points
    clips = [Keypoints(NAMES, own, np.ones(own.shape[:2]), first_frame=7, source="a.csv") for own in pixels]
    times = TIMES + 7 / 120.0
    return camera_quality(CAMERAS, clips, NAMES, times, points, np.isfinite(points[..., 0]) if used is None else used)


def test_errors_are_the_distance_from_the_place_seen_again() -> None:
    pixels = seen()
    located = triangulate(CAMERAS, pixels, np.ones(pixels.shape[:-1]))
    quality = judged(pixels)
    for c, camera in enumerate(CAMERAS):
        off = np.hypot(*np.moveaxis(pixels[c] - camera.project(located.points), -1, 0))
        assert quality.rms_px[c] == pytest.approx(np.sqrt((off**2).mean(axis=0)))
        assert quality.median_px[c] == pytest.approx(np.median(off, axis=0))
        assert quality.camera_rms_px[c] == pytest.approx(np.sqrt((off**2).mean()))
        assert quality.camera_median_px[c] == pytest.approx(np.median(off))
    # Six numbers less three unknowns: half of the noise's square is left.
    assert (quality.camera_rms_px**2).sum() == pytest.approx(3.0, rel=0.15)
    assert quality.notes == ()


def test_coverage_counts_frames_that_two_cameras_saw() -> None:
    pixels = seen()
    pixels[0, :30, 0] = np.nan  # two cameras are left
    pixels[0, 10:40, 1] = np.nan
    pixels[1, 30:60, 1] = np.nan  # in 30 to 40 one camera is left
    pixels[:2, :, 2] = np.nan  # one camera alone
    quality = judged(pixels)
    assert quality.covered == pytest.approx([1.0, 50 / 60, 0.0])
    assert quality.seen[0] == pytest.approx([0.5, 0.5, 0.0])
    assert np.isnan(quality.rms_px[:, 2]).all()
    assert np.isfinite(quality.rms_px[:, :2]).all()
    assert any("less than 80 % of the frames: head (0 %)" in note for note in quality.notes)


def test_the_worst_sample_is_named_by_its_own_frame_number() -> None:
    pixels = seen()
    pixels[1, 33, 1] += (60.0, 0.0)
    worst = judged(pixels).worst
    # Which of the cameras erred the least squares do not tell.
    assert (worst[0].point, worst[0].frame) == ("foot", 40)
    assert worst[0].error_px > 15.0
    assert len({(one.point, one.frame) for one in worst}) == len(worst)
    assert [one.error_px for one in worst] == sorted((one.error_px for one in worst), reverse=True)


def test_errors_over_time_show_from_when_a_camera_is_off() -> None:
    pixels = seen(0.5)
    pixels[1, 36:, :, 1] += 20.0  # from 0.3 s on
    quality = judged(pixels)
    assert quality.block_s == pytest.approx(2.0 + 7 / 120.0 + np.array([0.05, 0.15, 0.25, 0.35, 0.45]))
    before, after = quality.over_time_px[:, :3], quality.over_time_px[:, 3:]
    assert before.max() < 1.5
    assert after[1].min() > 5.0


def test_a_point_that_is_another_in_one_picture_stands_out() -> None:
    pixels = seen(0.5)
    pixels[2, :, 0] += (0.0, 15.0)
    assert any(note.startswith("fits far worse than the others: hand;") for note in judged(pixels).notes)


def test_nothing_seen_by_two_is_no_failure() -> None:
    pixels = seen()
    pixels[1:] = np.nan
    quality = judged(pixels)
    assert np.isnan(quality.camera_rms_px).all()
    assert quality.worst == ()
    assert quality.covered.max() == 0.0


def test_what_was_left_out_does_not_count() -> None:
    pixels = seen()
    pixels[1, 33, 1] += (60.0, 0.0)
    used = np.ones((60, 3), dtype=bool)
    used[33, 1] = False
    with_it, without = judged(pixels), judged(pixels, used)
    assert with_it.camera_rms_px[1] > 1.5 * without.camera_rms_px[1]
    assert without.covered == pytest.approx([1.0, 59 / 60, 1.0])
    assert without.worst[0].error_px < 5.0


def test_a_camera_between_the_firsts_frames_looks_no_better() -> None:
    """Smooth paths, both cameras with 1 px of noise, the second half a frame later: both show all of theirs."""
    rng = np.random.default_rng(6)
    cameras = [CAMERAS[0], replace(CAMERAS[1], time_offset_s=2.0 + 0.5 / 120.0)]

    def places(time: np.ndarray) -> np.ndarray:
        angle = 3.0 * (time[:, None] - 2.0) + np.arange(3)
        return np.stack([0.3 * np.cos(angle), 0.3 * np.sin(angle), 1.0 + 0.1 * angle], axis=-1)

    clips = []
    for camera in cameras:
        pixels = camera.project(places(camera.time_offset_s + np.arange(60) / 120.0))
        pixels = pixels + rng.normal(size=pixels.shape)
        clips.append(Keypoints(NAMES, pixels, np.ones(pixels.shape[:2])))
    found = filmed(cameras, clips)
    quality = camera_quality(found.cameras, clips, found.names, found.times, found.smoothed.points, found.used)
    # Two axes of 1 px, of which the smoothed path follows a little.
    assert quality.camera_rms_px == pytest.approx([2.0**0.5] * 2, rel=0.15)
