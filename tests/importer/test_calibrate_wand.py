"""Cameras from a waved wand: at the bound, robust, and put into the cage."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.errors import InputError, OptionError
from mocap.importer.calibrate_wand import LENGTH_SD_M, calibrate_wand
from mocap.importer.camera import Camera
from mocap.importer.known_points import rule_book_points
from mocap.importer.rig_place import align_to_points, move_to
from mocap.importer.two_views import relative_pose

LENS = (-0.12, 0.03, 0.0006, -0.0004, 0.002)
PLACES = ((0.3, -6.0, 1.4), (4.2, -4.2, 1.4), (-3.5, -3.0, 2.6))
LENGTH = 0.84
BOOK = rule_book_points()


@cache
def rig(count: int) -> tuple[Camera, ...]:
    return tuple(
        Camera.looking_at(
            place, (0.0, 0.0, 1.0), size=(1280, 720), field_of_view_deg=46.0, distortion=LENS, name=f"tripod {i + 1}"
        )
        for i, place in enumerate(PLACES[:count])
    )


@cache
def wand(frames: int) -> np.ndarray:
    """Both ends of a wand that turns as it is carried round where hitters stand, shape (F, 2, 3). [m]"""
    t = np.linspace(0.0, 1.0, frames)
    middle = np.stack([0.8 * np.sin(17 * t), 0.8 * np.sin(23 * t + 1), 1.0 + 0.7 * np.sin(29 * t + 2)], axis=-1)
    along = np.stack([np.sin(31 * t), np.sin(37 * t + 1), np.sin(41 * t + 2)], axis=-1)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return np.stack([middle - 0.5 * LENGTH * along, middle + 0.5 * LENGTH * along], axis=1)


def seen_by(cameras: tuple[Camera, ...], places: np.ndarray) -> np.ndarray:
    return np.stack([camera.project(places) for camera in cameras])


def relative(cameras: tuple[Camera, ...], which: int) -> tuple[np.ndarray, np.ndarray]:
    """Pose of a camera in the first one's axes."""
    rotation = cameras[which].rotation @ cameras[0].rotation.T
    return rotation, cameras[which].translation - rotation @ cameras[0].translation


def off(found: tuple[Camera, ...], true: tuple[Camera, ...], which: int = 1) -> np.ndarray:
    rotation, translation = relative(true, which)
    turn = Rotation.from_matrix(found[which].rotation @ rotation.T).as_rotvec()
    return np.concatenate([turn, found[which].translation - translation])


def bound(cameras: tuple[Camera, ...], places: np.ndarray) -> np.ndarray:
    """Cramer-Rao bound of all poses but the first, from differences of the projection, dense; noise of 1 px."""
    frames, count = len(places), len(cameras)
    moving, ends = 6 * (count - 1), 6 * frames
    rotations, translations = zip(*[relative(cameras, c) for c in range(count)], strict=True)
    local = cameras[0].in_camera(places)

    def seen(pose: np.ndarray, at: np.ndarray) -> np.ndarray:
        views = [replace(cameras[0], rotation=np.eye(3), translation=np.zeros(3))]
        for c in range(1, count):
            step = pose[6 * (c - 1) : 6 * c]
            turned = Rotation.from_rotvec(step[:3]).as_matrix() @ rotations[c]
            views.append(replace(cameras[c], rotation=turned, translation=translations[c] + step[3:]))
        return seen_by(tuple(views), at)

    rows = np.zeros((count * frames * 4 + frames, moving + ends))
    h = 1e-6
    for k, step in enumerate(h * np.eye(moving)):
        rows[: -frames or None, k] = (seen(step, local) - seen(-step, local)).ravel() / (2 * h)
    still = np.zeros(moving)
    frame = np.arange(frames)
    for k in range(6):
        step = np.zeros((2, 3))
        step[k // 3, k % 3] = h
        slope = (seen(still, local + step) - seen(still, local - step)) / (2 * h)
        placed = np.zeros((count, frames, 2, 2, frames))
        placed[:, frame, :, :, frame] = np.moveaxis(slope, 1, 0)
        rows[:-frames, moving + k :: 6] = placed.reshape(-1, frames)
        sizes = [np.linalg.norm(np.diff(local + s * step, axis=1)[:, 0], axis=1) for s in (1, -1)]
        rows[-frames + frame, moving + 6 * frame + k] = (sizes[0] - sizes[1]) / (2 * h) / LENGTH_SD_M
    return np.linalg.inv(rows.T @ rows)[:moving, :moving]


@pytest.mark.parametrize("count", [2, 3])
def test_a_wand_seen_without_noise_gives_the_poses_exactly(count) -> None:
    true = rig(count)
    found = calibrate_wand(true, seen_by(true, wand(40)), LENGTH)
    for which in range(count):
        assert np.abs(off(found.cameras, true, which)).max() < 1e-6
    assert found.length_error_m < 1e-6
    assert found.ends == pytest.approx(true[0].in_camera(wand(40)), abs=1e-5)
    assert not found.left_out.any()
    assert found.notes == ()


@pytest.mark.parametrize("count", [2, 3])
def test_poses_are_at_their_bound(count) -> None:
    """60 frames, 1 px, 60 draws: errors at most 1.2 times the Cramer-Rao bound, covariances as stated."""
    true, places = rig(count), wand(60)
    covariance = bound(true, places)
    noise = np.random.default_rng(1)
    pixels = seen_by(true, places)
    found = [calibrate_wand(true, pixels + noise.normal(size=pixels.shape), LENGTH) for _ in range(60)]
    errors = np.array([np.concatenate([off(one.cameras, true, c) for c in range(1, count)]) for one in found])
    far = np.einsum("ni,ij,nj->n", errors, np.linalg.inv(covariance), errors)
    assert np.sqrt(far.mean() / errors.shape[1]) < 1.2
    stated = np.mean([np.diag(one.covariance)[7:].reshape(-1, 7)[:, :6].ravel() for one in found], axis=0)
    # A few points beyond four standard deviations are left out, and noise is never taken as less than stated.
    assert np.sqrt(stated / np.diag(covariance)) == pytest.approx(1.0, abs=0.1)
    assert np.mean([one.rms_px for one in found]) == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("count", [2, 3])
def test_wrong_points_and_exchanged_ends_do_little_harm(count) -> None:
    true, noise = rig(count), np.random.default_rng(2)
    pixels = seen_by(true, wand(150))
    pixels += noise.normal(size=pixels.shape)
    clean = calibrate_wand(true, pixels, LENGTH)
    wrong = noise.random(pixels.shape[:3]) < 0.08
    pixels[wrong] += noise.uniform(-90.0, 90.0, (int(wrong.sum()), 2))
    exchanged = np.zeros(pixels.shape[:2], dtype=bool)
    exchanged[1, 20:28] = True
    pixels[exchanged] = pixels[exchanged][:, ::-1]
    found = calibrate_wand(true, pixels, LENGTH)
    sd = np.sqrt(np.diag(clean.covariance)[7:13])
    assert (np.abs(off(found.cameras, true)) < 4.5 * sd).all()
    assert found.exchanged[1, 20:28].sum() >= 6
    assert found.rms_px < 1.1
    assert any("were left out" in note for note in found.notes)
    assert any("tripod 2: the wand's ends had each other's names" in note for note in found.notes)


def test_ends_exchanged_in_one_camera_throughout_are_put_right() -> None:
    true = rig(2)
    pixels = seen_by(true, wand(60))
    pixels[1] = pixels[1, :, ::-1]
    found = calibrate_wand(true, pixels, LENGTH)
    assert np.abs(off(found.cameras, true)).max() < 1e-6
    assert found.exchanged[1].all()
    assert "in 60 of 60 frames" in found.notes[0]


def test_a_zoom_that_was_touched_is_found_when_asked_for() -> None:
    true = rig(3)
    pixels = seen_by(true, wand(80))
    matrix = np.array(true[1].matrix)
    matrix[:2, :2] *= 1.03
    wide = replace(true[1], matrix=matrix)
    found = calibrate_wand((true[0], wide, true[2]), pixels, LENGTH, free_focal=True)
    assert found.cameras[1].matrix[0, 0] == pytest.approx(true[1].matrix[0, 0], rel=1e-5)
    assert np.abs(off(found.cameras, true)).max() < 1e-4


def test_frames_in_which_one_camera_saw_nothing_are_passed_over() -> None:
    true = rig(2)
    pixels = seen_by(true, wand(60))
    pixels[1, 10:20] = np.nan
    pixels[0, 30, 1] = np.nan
    found = calibrate_wand(true, pixels, LENGTH)
    assert np.abs(off(found.cameras, true)).max() < 1e-6
    assert np.isnan(found.ends[10:20]).all()
    assert np.isfinite(found.ends[30, 0]).all()
    assert np.isnan(found.ends[30, 1]).all()


def test_clips_that_do_not_belong_together_are_refused() -> None:
    true = rig(2)
    pixels = seen_by(true, wand(150))
    pixels[1] = np.roll(pixels[1], 40, axis=0)
    with pytest.raises(InputError, match="synchronised"):
        calibrate_wand(true, pixels, LENGTH)


def test_too_few_frames_are_said() -> None:
    true = rig(2)
    with pytest.raises(InputError, match="tripod 1 and tripod 2 see both ends of the wand together in 12 frames"):
        calibrate_wand(true, seen_by(true, wand(12)), LENGTH)


def test_arguments_are_checked() -> None:
    true = rig(2)
    with pytest.raises(OptionError, match="two cameras"):
        calibrate_wand(true[:1], np.zeros((1, 30, 2, 2)), LENGTH)
    with pytest.raises(OptionError, match="cameras x frames"):
        calibrate_wand(true, np.zeros((2, 30, 3, 2)), LENGTH)
    with pytest.raises(OptionError, match="length_m"):
        calibrate_wand(true, seen_by(true, wand(30)), 0.0)


def test_two_views_alone_give_rotation_and_direction() -> None:
    true = rig(2)
    rays = [camera.normalise(camera.project(wand(60).reshape(-1, 3))) for camera in true]
    rotation, translation, distance = relative_pose(*rays)
    expected, shift = relative(true, 1)
    assert rotation == pytest.approx(expected, abs=1e-8)
    assert translation == pytest.approx(shift / np.linalg.norm(shift), abs=1e-8)
    assert np.abs(distance).max() < 1e-9


def test_known_points_put_the_cameras_into_the_cage() -> None:
    true = rig(2)
    found = calibrate_wand(true, seen_by(true, wand(60)), LENGTH)
    aligned = align_to_points(found.cameras, seen_by(true, BOOK.places), BOOK.places, names=BOOK.names)
    for camera, expected in zip(aligned.cameras, true, strict=True):
        assert camera.centre == pytest.approx(expected.centre, abs=1e-5)
        assert camera.rotation == pytest.approx(expected.rotation, abs=1e-6)
    assert aligned.scale == pytest.approx(1.0, abs=1e-6)
    assert aligned.notes == ()


def test_the_alignment_errs_as_it_says() -> None:
    """Pose errors of the whole rig over 100 draws of 1 px at the known points, in units of the stated covariance."""
    true, noise = rig(2), np.random.default_rng(3)
    pixels, middle = seen_by(true, BOOK.places), BOOK.places.mean(axis=0)
    far = []
    for _ in range(100):
        found = align_to_points(true, pixels + noise.normal(size=pixels.shape), BOOK.places)
        turn = found.cameras[0].rotation.T @ true[0].rotation
        shift = turn @ (true[0].centre - middle) - (found.cameras[0].centre - middle)
        error = np.concatenate([Rotation.from_matrix(turn).as_rotvec(), -shift])
        far.append(error @ np.linalg.solve(found.covariance, error))
    assert np.mean(far) == pytest.approx(6.0, rel=0.2)


def test_a_wand_of_another_length_and_mirrored_names_are_said() -> None:
    true = rig(2)
    pixels = seen_by(true, BOOK.places)
    found = calibrate_wand(true, seen_by(true, wand(60)), 0.95 * LENGTH)
    note = align_to_points(found.cameras, pixels, BOOK.places).notes[-1]
    assert "0.95" in note
    assert "wand's length" in note
    with pytest.raises(InputError, match="left and right are exchanged"):
        align_to_points(true, seen_by(true, BOOK.places * (1, -1, 1)), BOOK.places)
    pixels[:, 3] = pixels[:, 7]
    with pytest.raises(InputError, match="from its measured place"):
        align_to_points(true, pixels, BOOK.places, names=BOOK.names)
    with pytest.raises(InputError, match="two cameras see 2 known points"):
        align_to_points(true, pixels[:, :2], BOOK.places[:2])
    line = np.linspace((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 4)
    with pytest.raises(InputError, match="in one line"):
        align_to_points(true, seen_by(true, line), line)


def test_one_placed_camera_takes_the_others_along() -> None:
    true = rig(3)
    found = calibrate_wand(true, seen_by(true, wand(60)), LENGTH)
    for camera, expected in zip(move_to(found.cameras, true[0]), true, strict=True):
        assert camera.centre == pytest.approx(expected.centre, abs=1e-5)
