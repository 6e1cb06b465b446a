"""Virtual cameras: where they stand, when they film, what a detector makes of it."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from mocap.errors import OptionError, OutputError
from mocap.importer.camera import Camera
from mocap.reference.parameters import SwingParameters
from mocap.swing import POINTS
from mocap.virtual.cameras import (
    LOST_SHARE,
    OUTLIER_PX,
    SEEN,
    TWO_TRIPODS,
    Clock,
    Tripod,
    body_side_names,
    film_points,
    frame_times,
    lab_from_hitting,
    place_camera,
)
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.motion import Motion
from mocap.virtual.occlusion import hidden_by_body, line_distance

LAB = Lab(turn_deg=90.0, shift=(1.3, 0.8, 0.0))
HITTER = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0)
LEFT = replace(HITTER, bats="left")
SIDE = place_camera(TWO_TRIPODS[0], LAB)


def points_at(hitter: VirtualHitter, time_s: np.ndarray, lab: Lab = LAB) -> np.ndarray:
    """Where everything is at times of the recording's clock, lab frame, shape (T, P, 3)."""
    by_name = Motion.of(hitter).points(time_s + hitter.parameters.timing.start)
    points = np.stack([by_name[name] for name in POINTS], axis=1)
    return lab.place(lab.on_floor(points, hitter.parameters, hitter.bats))


# -------------------------------------------------------------------- tripods


def test_a_tripod_stands_where_its_bearing_says() -> None:
    """Lab = floor axes turned by 90 degrees, then shifted: 6 m at bearing 45 is (cos 45, -sin 45) 6 m on the floor."""
    diagonal = 6.0 * np.sqrt(0.5)
    camera = place_camera(Tripod("c", 45.0, distance_m=6.0, height_m=1.4), LAB)
    np.testing.assert_allclose(camera.centre, [1.3 + diagonal, 0.8 + diagonal, 1.4], atol=1e-12)
    mirrored = place_camera(Tripod("c", 45.0, distance_m=6.0, height_m=1.4), LAB, "left")
    np.testing.assert_allclose(mirrored.centre, [1.3 - diagonal, 0.8 + diagonal, 1.4], atol=1e-12)


@pytest.mark.parametrize("bats", ["right", "left"])
@pytest.mark.parametrize("height_m", [1.25, 2.02])
@pytest.mark.parametrize("tripod", TWO_TRIPODS, ids=lambda tripod: tripod.name)
def test_both_tripods_see_the_whole_swing_of_any_hitter(tripod: Tripod, height_m: float, bats: str) -> None:
    hitter = VirtualHitter("h", "H", SwingParameters(height_m=height_m), 22.0 * height_m**2, bats=bats)
    camera = place_camera(tripod, LAB, bats)
    pixels = camera.project(points_at(hitter, np.linspace(0.0, 1.66, 60)))
    assert camera.inside(pixels).all()
    tall = pixels[0, POINTS.index("back_heel"), 1] - pixels[0, POINTS.index("head_top"), 1]
    assert tall > 0.3 * camera.size[1]


def test_the_open_side_sees_the_chest_and_the_pitcher_to_the_right() -> None:
    lab = points_at(HITTER, np.zeros(1))[0]
    side = {name: SIDE.project(lab[POINTS.index(name)]) for name in ("front_shoulder", "back_shoulder")}
    assert side["front_shoulder"][0] > side["back_shoulder"][0]
    left = place_camera(TWO_TRIPODS[0], LAB, "left").project(points_at(LEFT, np.zeros(1))[0])
    assert left[POINTS.index("front_shoulder"), 0] < left[POINTS.index("back_shoulder"), 0]


def test_the_hitting_frame_is_mirrored_for_a_left_handed_hitter_only() -> None:
    for hitter, sign in ((HITTER, 1.0), (LEFT, -1.0)):
        transform = lab_from_hitting(hitter, LAB)
        assert np.linalg.det(transform[:3, :3]) == pytest.approx(sign)
        points = np.random.default_rng(1).normal(size=(5, 3))
        expected = LAB.place(LAB.on_floor(points, hitter.parameters, hitter.bats))
        np.testing.assert_allclose(points @ transform[:3, :3].T + transform[:3, 3], expected, atol=1e-12)


def test_sides_are_those_of_the_body() -> None:
    right, left = body_side_names("right"), body_side_names("left")
    assert right[POINTS.index("front_knee")] == "l_knee"
    assert left[POINTS.index("front_knee")] == "r_knee"
    assert {"bat_knob", "bat_barrel", "pelvis", "r_back"} & set(left) == {"bat_knob", "bat_barrel", "pelvis"}


# -------------------------------------------------------------------- time


def test_pictures_come_at_the_cameras_rate_from_its_own_start() -> None:
    """0.02 + 0.005 + n 1.01 / 100 up to 0.1: n = 0 ... 7 (0.0957), as n = 8 would be at 0.1058."""
    camera = replace(SIDE, rate_hz=100.0, time_offset_s=0.02)
    np.testing.assert_allclose(frame_times(camera, 0.1), 0.02 + np.arange(9) / 100.0, atol=1e-12)
    late = frame_times(camera, 0.1, Clock(start_s=0.005, drift=0.01))
    np.testing.assert_allclose(late, 0.025 + np.arange(8) * 0.0101, atol=1e-12)
    with pytest.raises(OptionError, match=r"first picture is at 0\.020 s and the swing ends at 0\.010 s"):
        frame_times(camera, 0.01)
    with pytest.raises(OptionError, match="rate_hz is not known"):
        frame_times(replace(camera, rate_hz=None), 0.1)


def test_what_is_filmed_is_where_the_hitter_is_at_those_times() -> None:
    camera = replace(SIDE, time_offset_s=0.0071)
    filmed = film_points(HITTER, camera, LAB, noise_px=0.0, occlusion=False, clock=Clock(start_s=-0.002, drift=1e-3))
    expected = points_at(HITTER, 0.0051 + np.arange(len(filmed.time_s)) * 1.001 / 120.0)
    np.testing.assert_allclose(filmed.true_points, expected, atol=1e-12)
    np.testing.assert_allclose(filmed.pixels, camera.project(expected), atol=1e-9)


def test_each_row_of_a_rolling_shutter_has_its_own_time() -> None:
    clock = Clock(readout_s=0.012)
    filmed = film_points(HITTER, SIDE, LAB, noise_px=0.0, occlusion=False, clock=clock)
    plain = film_points(HITTER, SIDE, LAB, noise_px=0.0, occlusion=False)
    for name in ("bat_barrel", "front_wrist", "back_knee"):
        column = POINTS.index(name)
        row = filmed.true_pixels[:, column, 1] / SIDE.size[1]
        there = points_at(HITTER, filmed.time_s + 0.012 * row)[:, column]
        assert np.abs(SIDE.project(there) - filmed.true_pixels[:, column]).max() < 1e-4, name
    assert np.abs(filmed.true_pixels - plain.true_pixels).max() > 10.0  # 30 m/s times 5 ms at 6 m


# -------------------------------------------------------------------- the detector


def test_noise_is_what_its_confidence_says() -> None:
    filmed = film_points(HITTER, SIDE, LAB, noise_px=1.5, seed=3)
    seen = ~filmed.hidden
    error = (filmed.pixels - filmed.true_pixels)[seen] * filmed.confidence[seen][:, None]
    assert error.std() == pytest.approx(1.5, rel=5.0 / np.sqrt(2 * error.size))
    assert np.abs(error.mean(axis=0)).max() < 5.0 * 1.5 / np.sqrt(len(error))
    mean = SEEN[0] / sum(SEEN)
    assert filmed.confidence[seen].mean() == pytest.approx(mean, abs=5 * 0.07 / np.sqrt(len(error)))


def test_hidden_points_are_guessed_or_lost() -> None:
    filmed = film_points(HITTER, SIDE, LAB, seed=4)
    hidden = filmed.hidden
    assert 0.02 < hidden.mean() < 0.5
    lost = np.isnan(filmed.confidence)
    assert not lost[~hidden].any()
    assert lost[hidden].mean() == pytest.approx(LOST_SHARE, abs=5 * np.sqrt(0.25 / hidden.sum()))
    assert np.nanmean(filmed.confidence[hidden]) < np.nanmean(filmed.confidence[~hidden]) - 0.3
    assert not film_points(HITTER, SIDE, LAB, occlusion=False).hidden.any()


def test_outliers_are_as_many_and_as_far_as_asked_for() -> None:
    filmed = film_points(HITTER, SIDE, LAB, noise_px=0.0, outliers=0.08, occlusion=False, seed=5)
    off = np.linalg.norm(filmed.pixels - filmed.true_pixels, axis=-1)
    assert filmed.outlier.mean() == pytest.approx(0.08, abs=5 * np.sqrt(0.08 * 0.92 / off.size))
    assert ((off[filmed.outlier] >= OUTLIER_PX[0]) & (off[filmed.outlier] <= OUTLIER_PX[1])).all()
    assert off[~filmed.outlier & np.isfinite(off)].max() < 1e-9
    assert np.nanmean(filmed.confidence[filmed.outlier]) == pytest.approx(0.9, abs=0.03)


def test_nothing_is_found_outside_the_picture() -> None:
    narrow = place_camera(replace(TWO_TRIPODS[0], field_of_view_deg=12.0), LAB)
    filmed = film_points(HITTER, narrow, LAB, occlusion=False)
    outside = ~narrow.inside(filmed.true_pixels)
    assert 0.2 < outside.mean() < 0.9
    assert np.isnan(filmed.pixels[outside]).all()
    assert narrow.inside(filmed.pixels[np.isfinite(filmed.confidence)]).all()


def test_the_same_seed_films_the_same() -> None:
    first, again, other = (film_points(HITTER, SIDE, LAB, outliers=0.01, seed=seed) for seed in (6, 6, 7))
    np.testing.assert_array_equal(first.pixels, again.pixels)
    assert not np.array_equal(first.pixels, other.pixels, equal_nan=True)


@pytest.mark.parametrize("options", [{"noise_px": -1.0}, {"outliers": 1.5}, {"outliers": float("nan")}])
def test_impossible_detectors_are_refused(options: dict[str, float]) -> None:
    with pytest.raises(OptionError, match="noise_px"):
        film_points(HITTER, SIDE, LAB, **options)


def test_a_tripod_on_the_hitter_is_refused() -> None:
    with pytest.raises(OptionError, match="at least 1 m"):
        place_camera(Tripod("c", 90.0, distance_m=0.4), LAB)


def test_the_table_holds_what_was_found(tmp_path: Path) -> None:
    filmed = film_points(LEFT, place_camera(TWO_TRIPODS[1], LAB, "left"), LAB, seed=8)
    with filmed.write(tmp_path / "pitcher_side.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["frame", "point", "u", "v", "confidence"]
    assert len(rows) == np.isfinite(filmed.confidence).sum()
    back = np.full((*filmed.confidence.shape, 3), np.nan)
    for row in rows:
        values = [float(row[key]) for key in ("u", "v", "confidence")]
        back[int(row["frame"]), filmed.names.index(row["point"])] = values
    np.testing.assert_allclose(back[..., :2], filmed.pixels, atol=5.001e-4)
    np.testing.assert_allclose(back[..., 2], filmed.confidence, atol=5.001e-4)
    assert [file.name for file in tmp_path.iterdir()] == ["pitcher_side.csv"]
    with pytest.raises(OutputError, match="nowhere"):
        filmed.write(tmp_path / "nowhere" / "a.csv")


# -------------------------------------------------------------------- what hides what


def test_the_distance_of_two_lines_agrees_with_a_search() -> None:
    generator = np.random.default_rng(9)
    a, b, c, d = generator.normal(size=(4, 200, 3))
    c[:20] = d[:20]  # a ball instead of a capsule
    d[20:40] = c[20:40] + 0.7 * (b - a)[20:40]  # parallel
    share = np.linspace(0.0, 1.0, 401)
    on_first = a[:, None] + share[:, None] * (b - a)[:, None]
    toward, start = (d - c)[:, None], c[:, None]
    square = np.sum(toward**2, axis=-1)
    t = np.clip(np.sum((on_first - start) * toward, axis=-1) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    searched = np.linalg.norm(on_first - start - t[..., None] * toward, axis=-1).min(axis=1)
    exact = line_distance(a, b, c, d)
    assert (exact <= searched + 1e-12).all()
    assert (searched - exact).max() < 5e-3


def test_the_trunk_hides_the_hands_from_behind_and_not_from_the_open_side() -> None:
    contact = points_at(HITTER, np.array([0.9 + HITTER.parameters.timing.contact]))
    hands = [POINTS.index("front_hand"), POINTS.index("back_hand")]
    behind = place_camera(Tripod("behind", 270.0), LAB)
    assert not hidden_by_body(contact, SIDE.centre, 1.8)[0, hands].any()
    assert hidden_by_body(contact, behind.centre, 1.8)[0, hands].any()


def test_a_leg_hides_the_leg_behind_it() -> None:
    """A body of two legs, the camera on the line through both knees: the far knee is hidden, the near one is not."""
    points = np.full((1, len(POINTS), 3), np.nan)
    for side, y in (("front", 0.0), ("back", 0.3)):
        for name, z in (("hip", 0.9), ("knee", 0.5), ("ankle", 0.1)):
            points[0, POINTS.index(f"{side}_{name}")] = 0.0, y, z
    front, back = POINTS.index("front_knee"), POINTS.index("back_knee")
    hidden = hidden_by_body(points, np.array([0.0, -6.0, 0.5]), 1.8)[0]
    assert hidden[back]
    assert not hidden[front]
    # 45 mm of 1 m is the thigh's radius: 81 mm at 1.80 m. From the side the line passes 0.3 sin(angle) beside it.
    for beside, expected in ((0.075, True), (0.090, False)):
        angle = np.arcsin(beside / 0.3)
        eye = np.array([0.0, 0.3, 0.5]) + 6.0 * np.array([np.sin(angle), -np.cos(angle), 0.0])
        assert hidden_by_body(points, eye, 1.8)[0, back] == expected


# -------------------------------------------------------------------- two cameras


def triangulated(cameras: list[Camera], pixels: list[np.ndarray]) -> np.ndarray:
    """Linear triangulation: R. Hartley, A. Zisserman, *Multiple View Geometry*, 2nd ed., section 12.2."""
    rows = []
    for camera, seen in zip(cameras, pixels, strict=True):
        ideal, P = camera.undistort(seen).reshape(-1, 2), camera.projection_matrix
        rows += [ideal[:, :1] * P[2] - P[0], ideal[:, 1:] * P[2] - P[1]]
    equations = np.stack(rows, axis=1)
    normal, right = np.swapaxes(equations[..., :3], -1, -2) @ equations[..., :3], equations[..., 3:]
    return np.linalg.solve(normal, -np.swapaxes(equations[..., :3], -1, -2) @ right)[..., 0]


def test_two_noiseless_cameras_give_the_truth_back() -> None:
    cameras = [place_camera(replace(tripod, time_offset_s=0.0), LAB) for tripod in TWO_TRIPODS]
    filmed = [film_points(HITTER, camera, LAB, noise_px=0.0, occlusion=False) for camera in cameras]
    found = triangulated(cameras, [film.pixels for film in filmed])
    assert np.linalg.norm(found - filmed[0].true_points.reshape(-1, 3), axis=1).max() < 1e-4
