"""What a placement promises: the closed form for two equal cameras, what pictures show, and plain advice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.camera_placement import (
    MIDDLE_M,
    STEP_M,
    VOLUME_M,
    Placement,
    Volume,
    check_placed,
    judge_placement,
)

VOLUME = Volume.at_plate()
MIDDLE = VOLUME.middle


def camera(
    bearing_deg: float, name: str, *, distance_m: float = 6.0, view_deg: float = 46.0, size=(1280, 720)
) -> Camera:
    """A camera level with the hitter's hands, seen from the hitter 0 toward the pitcher."""
    bearing = np.deg2rad(bearing_deg)
    away = distance_m * np.array([np.cos(bearing), np.sin(bearing), 0.0])
    target = MIDDLE + np.array([0.0, 0.0, 1.1])
    return Camera.looking_at(target + away, target, size=size, field_of_view_deg=view_deg, name=name)


def pair(apart_deg: float, **options) -> Placement:
    """Two cameras to either side of the line from the plate's side to the hitter."""
    around = [camera(-90.0 + sign * apart_deg / 2, name, **options) for sign, name in ((-1, "a"), (1, "b"))]
    return judge_placement(around, VOLUME)


@pytest.mark.parametrize("apart_deg", [30.0, 60.0, 90.0, 120.0])
def test_expected_errors_are_those_of_the_closed_form(apart_deg: float) -> None:
    """Inverse Fisher information of two equal cameras: s d / (sqrt(2) f) over sin(g/2), cos(g/2), 1.

    Written out by hand in the module's head; at the middle of the volume, where both axes cross. The bisector is y.
    """
    around = [camera(-90.0 + sign * apart_deg / 2, name) for sign, name in ((-1, "a"), (1, "b"))]
    placement = judge_placement(around, VOLUME, noise_px=2.0)
    hands = next(level for level in placement.levels if level.name == "hands")
    focal = 640.0 / np.tan(np.deg2rad(23.0))
    half = np.deg2rad(apart_deg / 2)
    unit = 2.0 * 6.0 / (np.sqrt(2.0) * focal)
    expected = unit / np.array([np.cos(half), np.sin(half), 1.0])
    rows, columns, _ = hands.sd.shape
    round_middle = hands.sd[rows // 2 - 1 : rows // 2 + 1, columns // 2 - 1 : columns // 2 + 1].mean(axis=(0, 1))
    assert round_middle == pytest.approx(expected, rel=0.02)
    assert placement.angle_deg == pytest.approx(apart_deg, abs=1e-6)
    assert placement.distance_m == pytest.approx([6.0, 6.0])


def test_the_volume_lies_beside_the_plate_of_each_sports_side() -> None:
    """A left-handed hitter stands on the other side; turned axes turn the volume."""
    ahead, beside = MIDDLE_M
    assert VOLUME.middle == pytest.approx([ahead, beside, 0.0])
    assert Volume.at_plate(bats="left").middle == pytest.approx([ahead, -beside, 0.0])
    turned = Volume.at_plate((1.0, 2.0, 0.1), (0.0, 3.0, 0.4))
    # The pitcher along y, so that across is -x.
    assert turned.middle == pytest.approx([1.0 - beside, 2.0 + ahead, 0.1])
    grid = turned.grid([0.0, 1.0])
    assert np.ptp(grid[..., 1]) == pytest.approx(VOLUME_M[0] - STEP_M)
    assert np.ptp(grid[..., 0]) == pytest.approx(VOLUME_M[1] - STEP_M)
    with pytest.raises(OptionError, match="straight up or none"):
        Volume.at_plate(pitcher=(0.0, 0.0, 1.0))


def test_round_a_recorded_hitter_the_volume_follows_him() -> None:
    points = np.random.default_rng(1).normal((4.0, -2.0, 1.0), 0.1, (500, 3))
    points[::7] = np.nan
    volume = Volume.round_points(points)
    assert volume.middle == pytest.approx([4.0, -2.0, 0.0], abs=0.02)
    assert volume.directions[0] == "along x"
    assert Volume.round_points(points, (0.0, 1.0, 0.0)).directions[0] == "toward the pitcher"


@pytest.mark.parametrize(
    ("apart_deg", "options", "advice"),
    [
        (18.0, {}, "move the cameras apart: their lines of sight cross at 18 degrees; 60 to 120 are best"),
        (150.0, {}, "move the cameras round to one side: their lines of sight cross at 150 degrees"),
        (90.0, {"distance_m": 2.5, "view_deg": 80.0}, "stand a farther away: it is 2.5 m from the hitter"),
        (90.0, {"view_deg": 20.0}, "move it back, zoom out or hold it upright: a sees"),
        (90.0, {"view_deg": 90.0}, "move a nearer or zoom in: where the hitter moves fills"),
        (
            90.0,
            {},
            "leave the cameras as they are: their lines of sight cross at 90 degrees, and a point found to 1 px",
        ),
    ],
)
def test_advice_says_what_to_move(apart_deg: float, options: dict[str, float], advice: str) -> None:
    found = pair(apart_deg, **options)
    assert found.advice[0].startswith(advice)


def test_a_camera_aimed_elsewhere_is_told_from_one_too_near() -> None:
    aside = Camera.looking_at((5.0, -4.0, 1.3), (2.0, 1.5, 1.1), size=(1280, 720), field_of_view_deg=30.0, name="b")
    found = judge_placement([camera(-90.0, "a"), aside], VOLUME)
    assert any(line.startswith("aim it at the hitter: b sees") for line in found.advice)
    hands = found.levels[1]
    inside = aside.inside(aside.project(VOLUME.grid([hands.height_m])[:, :, 0]))
    # The first camera sees all of it.
    assert (np.isfinite(hands.sd[..., 0]) == inside).all()
    assert hands.share_seen == pytest.approx(inside.mean())
    assert 0.0 < hands.share_seen < 1.0


def test_a_third_camera_makes_every_error_smaller() -> None:
    two = [camera(-120.0, "a"), camera(-60.0, "b")]
    before, after = (judge_placement(some, VOLUME) for some in (two, [*two, camera(0.0, "c")]))
    for one, other in zip(before.levels, after.levels, strict=True):
        assert (other.sd < one.sd).all()
    # Of three pairs the one nearest to a right angle: a and c stand 120 apart, b and c 60, a and b 60.
    assert after.angle_deg == pytest.approx(60.0) or after.angle_deg == pytest.approx(120.0)


def test_a_camera_held_upright_fills_its_longer_side() -> None:
    upright = camera(-90.0, "a", size=(720, 1280), view_deg=27.0)
    focal = 360.0 / np.tan(np.deg2rad(13.5))
    found = judge_placement([upright, camera(0.0, "b")], VOLUME)
    # 2.2 m at 6 m.
    assert found.filled[0] == pytest.approx(focal * 2.2 / 6.0 / 1280, rel=0.01)


def test_cameras_that_cannot_stand_so_are_named() -> None:
    a, b = camera(-120.0, "a"), camera(-60.0, "b")
    lens = replace(b, rotation=np.eye(3), translation=np.zeros(3))
    with pytest.raises(InputError, match="camera b: its file has a lens but no place; find it with mocap calibrate"):
        check_placed([a, lens])
    with pytest.raises(InputError, match=r"cameras a and a stand 0.00 m apart"):
        check_placed([a, b, a])
    with pytest.raises(InputError, match="1 camera: a place in space needs two"):
        check_placed([a])
    below = Camera.looking_at((1, -6, -1.2), (0, 0, 1), size=(1280, 720), field_of_view_deg=46.0, name="low")
    with pytest.raises(InputError, match=r"camera low: stands 1.20 m under the floor"):
        check_placed([a, below])
    away = Camera.looking_at((6, -6, 1), (12, -12, 1), size=(1280, 720), field_of_view_deg=46.0, name="away")
    with pytest.raises(InputError, match=r"a and away do not both see the hitter's volume round \(0.22, 0.50\) m"):
        judge_placement([a, away], VOLUME)
    with pytest.raises(OptionError, match="noise 0 is no number of pixels"):
        judge_placement([a, b], VOLUME, noise_px=0.0)
