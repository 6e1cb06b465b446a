"""Clocks of cameras from what they saw: found within a twentieth of a frame, and refused where nothing tells them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.interpolation import between, without_leaps
from mocap.importer.keypoints import Keypoints
from mocap.importer.sync_faults import find_moved, mirrored, sides_exchanged
from mocap.importer.synchronise import ROLLING_SHUTTER, find_offset, offset_from_events, on_one_clock
from mocap.reference.parameters import SwingParameters
from mocap.virtual.cameras import TWO_TRIPODS, Clock, FilmedPoints, Tripod, film_points, place_camera
from mocap.virtual.hitter import VirtualHitter, random_hitter
from mocap.virtual.lab import Lab

LAB = Lab(turn_deg=90.0, shift=(1.3, 0.8, 0.0))
HITTER = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0)
THIRD = Tripod("catcher_side", 150.0, height_m=1.8, time_offset_s=0.002)


def table(filmed: FilmedPoints) -> Keypoints:
    return Keypoints(filmed.names, filmed.pixels, filmed.confidence, 0, f"{filmed.camera.name}.csv")


def film(
    hitter: VirtualHitter,
    clocks: Sequence[Clock],
    *,
    rates: Sequence[float] = (120.0, 120.0, 120.0),
    seed: int = 0,
    outliers: float = 0.0,
    noise_px: float = 1.0,
) -> tuple[list[Camera], list[Keypoints]]:
    """The first, second, third camera, one per clock."""
    cameras, tables = [], []
    for number, (tripod, clock) in enumerate(zip((*TWO_TRIPODS, THIRD), clocks, strict=False)):
        camera = replace(place_camera(tripod, LAB, hitter.bats), rate_hz=rates[number])
        filmed = film_points(
            hitter, camera, LAB, noise_px=noise_px, outliers=outliers, clock=clock, seed=100 * seed + number
        )
        cameras.append(camera)
        tables.append(table(filmed))
    return cameras, tables


@lru_cache(maxsize=1)
def pair() -> tuple[list[Camera], list[Keypoints]]:
    """Two clips in step; to be copied, not changed."""
    return film(HITTER, (Clock(), Clock()))


def fastest_s(table: Keypoints, rate_hz: float) -> float:
    """Time since frame 0 when the bat's barrel is fastest in the picture. [s]"""
    barrel = table.pixels[:, table.names.index("bat_barrel")]
    speed = np.hypot(*(barrel[4:] - barrel[:-4]).T)
    return float(np.nanargmax(np.where(speed < 400.0, speed, np.nan)) + 2) / rate_hz


# -------------------------------------------------------------------- found


def hitters(count: int) -> list[VirtualHitter]:
    rng = np.random.default_rng(11)
    return [random_hitter(rng, level=("adult", "college", "youth")[n % 3]) for n in range(count)]


@pytest.mark.parametrize("rates", [(120.0, 120.0), (120.0, 240.0), (60.0, 120.0)])
def test_offsets_are_found_within_a_twentieth_of_a_frame(rates) -> None:
    """Bar: 0.05 frame at 1 px; and the stated standard deviation is that of the errors.

    Of twelve normal deviates the sum of squares is below 26 in 99 of 100 cases, and above 3.6.
    """
    draw = np.random.default_rng(3)
    ratios = []
    for seed, hitter in enumerate(hitters(6 if rates == (120.0, 120.0) else 3)):
        start = draw.uniform(-0.25, 0.25)
        cameras, tables = film(hitter, (Clock(), Clock(start_s=start)), rates=rates, seed=seed)
        sync = find_offset(cameras, tables)
        assert abs(sync.offset_s[1] - start) * min(rates) < 0.05
        assert sync.drift[1] == 0.0
        assert sync.noise_scale[1] == pytest.approx(1.0, abs=0.1)
        assert sync.residual_px[1] < 2.0
        ratios.append((sync.offset_s[1] - start) / sync.sd_s[1])
        assert sync.sd_s[1] * min(rates) < 0.05
    assert np.sqrt(np.mean(np.square(ratios))) < 1.8


@pytest.mark.parametrize("drift", [2e-3, -2e-3])
def test_a_drift_that_can_be_told_is_found(drift) -> None:
    """At 0.2 px; at 1 px a swing of two seconds does not tell it."""
    cameras, tables = film(HITTER, (Clock(), Clock(start_s=0.08, drift=drift)), seed=4, noise_px=0.2)
    sync = find_offset(cameras, tables, noise_px=0.2)
    assert abs(sync.drift[1] - drift) < 3.0 * sync.drift_sd[1]
    assert 0 < sync.drift_sd[1] < 5e-4
    assert any("its clock is off by" in note for note in sync.notes)
    when = fastest_s(tables[1], 120.0)
    assert abs(sync.offset_s[1] + sync.drift[1] * when - (0.08 + drift * when)) * 120.0 < 0.02


def test_a_drift_too_small_to_be_told_leaves_the_time_of_the_swing_right() -> None:
    """The true time of a picture when the bat is fastest, though it drifts; the mean of four shows no bias."""
    errors = []
    for seed in range(1, 5):
        cameras, tables = film(HITTER, (Clock(), Clock(start_s=-0.05, drift=1.5e-3)), seed=seed)
        sync = find_offset(cameras, tables)
        when = fastest_s(tables[1], 120.0)
        errors.append((sync.offset_s[1] + sync.drift[1] * when - (-0.05 + 1.5e-3 * when)) * 120.0)
    assert np.abs(errors).max() < 0.05
    assert abs(np.mean(errors)) < 0.02


def test_a_third_camera_is_set_against_the_first() -> None:
    starts = (0.0, 0.031, -0.077)
    cameras, tables = film(HITTER, [Clock(start_s=start) for start in starts], seed=5)
    sync = find_offset(cameras, tables)
    np.testing.assert_allclose(sync.offset_s, starts, atol=0.05 / 120.0)
    assert sync.curves[0] is None
    corrected = sync.applied(cameras)
    np.testing.assert_allclose(
        [camera.time_offset_s for camera in corrected],
        [camera.time_offset_s + off for camera, off in zip(cameras, sync.offset_s, strict=True)],
    )


def test_outliers_do_not_lead_it_astray() -> None:
    cameras, tables = film(HITTER, (Clock(), Clock(start_s=0.12)), seed=6, outliers=0.05)
    assert abs(find_offset(cameras, tables).offset_s[1] - 0.12) * 120.0 < 0.05


def test_what_a_rolling_shutter_does_is_stated_and_bounded() -> None:
    """Every row is late by less than the readout: so is the offset."""
    cameras, tables = film(HITTER, (Clock(), Clock(readout_s=0.012)), seed=7)
    sync = find_offset(cameras, tables)
    assert 0.0 < sync.offset_s[1] < 0.012
    assert ROLLING_SHUTTER in sync.notes


def test_the_curve_is_best_at_the_offset() -> None:
    cameras, tables = pair()
    curve = find_offset(cameras, tables, search_s=0.3).curves[1]
    assert curve is not None
    assert abs(curve.offset_s[np.argmax(curve.agreement)]) < 1.0 / 120.0
    assert np.nanmin(curve.residual_px) < 2.0 < np.nanmedian(curve.residual_px)


# -------------------------------------------------------------------- from events, and put to use


def test_one_event_gives_the_offset_with_the_error_of_a_frame() -> None:
    """Even over a frame at 120 and at 60 Hz: sd sqrt((1/120^2 + 1/60^2) / 12)."""
    cameras = [replace(camera, rate_hz=rate) for camera, rate in zip(pair()[0], (120.0, 60.0), strict=True)]
    sync = offset_from_events(cameras, [[60.0], [24.0]])
    assert cameras[1].time_offset_s + sync.offset_s[1] + 24.0 / 60.0 == pytest.approx(0.5)
    assert sync.sd_s[1] == pytest.approx(np.sqrt((1 / 120**2 + 1 / 60**2) / 12.0))
    assert np.isnan(sync.drift_sd[1])


def test_more_events_give_the_drift_too() -> None:
    cameras = pair()[0]
    own = np.array([10.0, 100.0, 900.0])
    truth = 0.2 + own * 1.002 / 120.0
    sync = offset_from_events(cameras, [truth * 120.0, own])
    again = sync.applied(cameras)[1]
    assert again.rate_hz is not None
    np.testing.assert_allclose(again.time_offset_s + own / again.rate_hz, truth, atol=1e-12)
    assert sync.drift[1] == pytest.approx(0.002)


@pytest.mark.parametrize(
    ("frames", "named"),
    [
        ([[1.0], [1.0, 2.0]], "the same one or more events"),
        ([[], []], "the same one or more events"),
        ([[1.0]], "the same one or more events"),
        ([[1.0], [np.nan]], "no number"),
        ([[1.0, 2.0], [5.0, 5.0]], "in one frame"),
    ],
)
def test_events_that_tell_nothing_are_named(frames, named) -> None:
    with pytest.raises(OptionError, match=named):
        offset_from_events(pair()[0], frames)


def test_pictures_are_brought_to_the_first_cameras_frames() -> None:
    """Without noise the second camera's points between its frames are the projections of the places then."""
    cameras = [place_camera(tripod, LAB) for tripod in TWO_TRIPODS]
    filmed = [film_points(HITTER, camera, LAB, noise_px=0.0, occlusion=False) for camera in cameras]
    names, times, pixels, sd = on_one_clock(cameras, [table(own) for own in filmed])
    assert names == filmed[0].names
    np.testing.assert_allclose(times, filmed[0].time_s, atol=1e-12)
    np.testing.assert_array_equal(pixels[0], filmed[0].pixels)
    inner = slice(2, -3)
    off = np.linalg.norm(pixels[1][inner] - cameras[1].project(filmed[0].true_points[inner]), axis=-1)
    assert np.nanmax(off) < 0.5
    assert np.nanmedian(off) < 0.01
    vague = on_one_clock(cameras, [table(own) for own in filmed], clock_sd_s=[0.0, 0.002])[3]
    barrel, back = names.index("bat_barrel"), int(fastest_s(table(filmed[0]), 120.0) * 120.0)
    speed = 120.0 * np.linalg.norm(pixels[1, back + 1, barrel] - pixels[1, back - 1, barrel]) / 2.0
    assert vague[1, back, barrel] == pytest.approx(np.hypot(sd[1, back, barrel], 0.002 * speed), rel=1e-6)


def test_between_frames_a_parabola_is_exact_and_the_noise_that_of_its_weights() -> None:
    frames = np.arange(8.0)
    path = (0.3 * frames**2 - frames)[:, None, None]
    index = np.array([1.0, 2.5, 5.9, 0.4, 7.0])
    value, sd = between(path, np.full((8, 1), 2.0), index)
    inside = [0, 1, 2, 4]
    np.testing.assert_allclose(value[inside, 0, 0], 0.3 * index[inside] ** 2 - index[inside], atol=1e-12)
    assert np.isnan(value[3]).all()  # needs a frame before the first
    # Midway the weights are -1/16, 9/16, 9/16, -1/16.
    np.testing.assert_allclose(sd[[0, 1], 0], [2.0, 2.0 * np.sqrt(2 * (1 + 81)) / 16])


def test_a_point_that_leaps_is_taken_out_and_a_fast_one_is_not() -> None:
    """A bat's end of 0.85 m, 320 px/m, turning at 45 rad/s filmed at 60 and 120 Hz; leaps of 36 px at 120 Hz."""
    for rate_hz in (60.0, 120.0):
        angle = 45.0 * np.arange(40) / rate_hz
        path = 272.0 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)[:, None]
        np.testing.assert_array_equal(without_leaps(path, np.ones((40, 1))), path)
    path = path + np.random.default_rng(2).normal(size=path.shape)
    sd = np.ones((40, 1))
    np.testing.assert_array_equal(without_leaps(path, sd), path)
    spoilt = path.copy()
    spoilt[[10, 20], 0] += (30.0, -20.0)
    gone = np.isnan(without_leaps(spoilt, sd)[:, 0, 0])
    assert np.flatnonzero(gone).tolist() == [10, 20]
    np.testing.assert_array_equal(without_leaps(path[:4], sd[:4]), path[:4])


# -------------------------------------------------------------------- refused, and why


def test_clips_of_two_swings_are_refused() -> None:
    cameras, (one, _) = pair()
    other = film(hitters(3)[1], (Clock(), Clock()), seed=9)[1][1]
    with pytest.raises(InputError, match=r"residual stays [\d.]+ px at every offset.*different swings") as caught:
        find_offset(cameras, [one, other])
    assert "\n" not in str(caught.value)


def test_clips_further_apart_than_the_search_are_refused() -> None:
    cameras, (one, other) = pair()
    late = replace(other, first_frame=600)
    with pytest.raises(InputError, match=r"no motion in common within 1 s|residual stays"):
        find_offset(cameras, [one, late], search_s=1.0)
    assert find_offset(cameras, [one, late], search_s=6.0).offset_s[1] == pytest.approx(-5.0, abs=0.05 / 120.0)


def test_exchanged_files_are_named() -> None:
    cameras, (one, other) = pair()
    with pytest.raises(InputError, match=r"two files of points exchanged; exchange them"):
        find_offset(cameras, [other, one], search_s=1.0)


@pytest.mark.parametrize("number", [0, 1])
def test_a_mirrored_picture_is_named(number) -> None:
    cameras, tables = pair()
    tables = list(tables)
    tables[number] = mirrored(tables[number], cameras[number])
    with pytest.raises(InputError, match=rf"picture of {cameras[number].name}.csv mirrored"):
        find_offset(cameras, tables, search_s=1.0)


def test_exchanged_sides_are_named() -> None:
    cameras, (one, other) = pair()
    with pytest.raises(InputError, match="left and right of its body exchanged"):
        find_offset(cameras, [one, sides_exchanged(other)], search_s=1.0)


def test_a_clip_in_which_nobody_moves_is_refused() -> None:
    cameras, (one, other) = pair()
    still = replace(other, pixels=np.repeat(other.pixels[:1], len(other.pixels), axis=0))
    with pytest.raises(InputError, match=r"pitcher_side\.csv: hardly anything moves"):
        find_offset(cameras, [one, still])


def test_tables_without_a_common_point_a_rate_or_a_partner_are_refused() -> None:
    cameras, (one, other) = pair()
    with pytest.raises(InputError, match="name the points alike"):
        find_offset(cameras, [one, replace(other, names=tuple(f"x{name}" for name in other.names))])
    with pytest.raises(InputError, match="rate_hz is missing"):
        find_offset([cameras[0], replace(cameras[1], rate_hz=None)], [one, other])
    with pytest.raises(OptionError, match="1 cameras and 1 tables"):
        find_offset(cameras[:1], [one])
    with pytest.raises(OptionError, match="search_s is -1"):
        find_offset(cameras, [one, other], search_s=-1.0)


def test_a_camera_that_moved_is_told_of_with_the_time() -> None:
    """Its picture jumps by 12 px up at frame 100; one that stands still is not suspected."""
    cameras, (one, other) = pair()
    assert find_moved(cameras, [one, other]) == ()
    pixels = other.pixels.copy()
    pixels[100:, :, 1] += 12.0
    (moved,) = find_moved(cameras, [one, replace(other, pixels=pixels)])
    assert moved.since_s == pytest.approx(100 / 120.0, abs=0.11)
    assert moved.after_px > 2.0 * moved.before_px
    assert "moved at about 0.8" in str(moved) or "moved at about 0.9" in str(moved)
