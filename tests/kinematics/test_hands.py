"""Measures of hands and face on points set by hand, so that each number can be worked out on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.kinematics import hands, head
from mocap.kinematics.readings import NotMeasurableError, Readings, readings
from mocap.kinematics.registry import REGISTRY
from mocap.swing import MOMENTS, POINTS, Hitter, Moment, Setup, Swing

RATE = 200.0
FRAMES = 101
INDEX = dict(zip(MOMENTS, (0, 5, 18, 20, 22, 40, 60, 70, 90), strict=True))
FRAME = np.arange(FRAMES, dtype=float)
#: A body that stands over the origin, 2 m tall, and a bat whose sweet spot, 15 cm from the barrel's end, lies at
#: (0.6, -0.8, 1).
STILL = {
    "pelvis": (0.02, 0.0, 1.0),
    "neck": (-0.02, 0.0, 1.5),
    "back_shoulder": (-0.2, 0.0, 1.5),
    "back_elbow": (-0.4, -0.1, 1.3),
    "front_hand": (-0.3, -0.2, 1.5),
    "back_hand": (-0.3, -0.2, 1.5),
    "bat_knob": (0.6, -0.1, 1.0),
    "bat_barrel": (0.6, -0.95, 1.0),
}


def points_of(**paths: np.ndarray) -> np.ndarray:
    """All points still, but for those that are given; `hands` moves both."""
    points = np.tile(np.array([STILL.get(name, (0.0, 0.0, 1.0)) for name in POINTS], dtype=float), (FRAMES, 1, 1))
    for name, path in paths.items():
        for point in ("front_hand", "back_hand") if name == "hands" else (name,):
            points[:, POINTS.index(point)] = path
    return points


def along(x: object, y: object, z: object = 1.0) -> np.ndarray:
    return np.stack([np.broadcast_to(np.asarray(v, dtype=float), FRAMES) for v in (x, y, z)], axis=1)


def swing_of(points: np.ndarray, **changes: object) -> Swing:
    swing = Swing(
        source="by hand",
        hitter=Hitter(height_m=2.0, mass_kg=100.0, bats="right"),
        height_sd_m=0.0,
        setup=Setup(),
        rate_hz=RATE,
        points=points,
        point_sd_m=np.zeros(len(POINTS)),
        noise_m=np.zeros(len(POINTS)),
        cutoff_hz=np.full(len(POINTS), 14.0),
        filled=np.zeros(points.shape[:2], dtype=bool),
        frames={},
        com=np.zeros((FRAMES, 3)),
        head_forward=np.full((FRAMES, 3), np.nan),
        moments={n: Moment(n, i, i / RATE, 0.0, "set by hand") for n, i in INDEX.items()},
        forces=None,
        heading_method="given",
        heading_sd_rad=0.0,
        plate_known=True,
        lab_from_hitting=np.eye(4),
    )
    return replace(swing, **changes)  # type: ignore[arg-type]


def value(swing: Swing, name: str) -> float | str:
    entry = REGISTRY[name]
    assert entry.missing(swing) == ""
    taken = entry.function(readings(swing, -8.0))[0]
    return str(taken) if isinstance(taken, str) else float(taken)


# ------------------------------------------------------------------ inside the ball


def inside(**paths: np.ndarray) -> float:
    return float(value(swing_of(points_of(**paths)), "hands_inside"))


def test_hands_outside_the_line_to_the_ball_as_they_pass_the_body() -> None:
    # From (0, -0.5) at level straight onto the line, (0.3, -0.4), at contact. Right of the unit vector (0.6, -0.8) lies
    # (-0.8, -0.6), along which (0, -0.5) is 0.3 away.
    way = (FRAME - 40.0) / 20.0
    assert inside(hands=along(0.3 * way, -0.5 + 0.1 * way)) == pytest.approx(0.3, abs=1e-12)


def test_hands_that_swing_out_are_taken_where_they_are_farthest() -> None:
    # Out to (0, -0.7) half way from level to contact: 0.6 * 0.7.
    y = -0.5 - 0.2 * (1.0 - ((FRAME - 50.0) / 10.0) ** 2)
    assert inside(hands=along(0.0, y)) == pytest.approx(0.42, abs=1e-9)


def test_hands_between_the_line_and_the_pitcher_are_negative() -> None:
    assert inside(hands=along(0.4, -0.2)) == pytest.approx(-0.2, abs=1e-12)


def test_where_the_hands_wait_behind_the_body_does_not_count() -> None:
    x = np.where(FRAME < 38, -0.6, 0.4)
    assert inside(hands=along(x, -0.2)) == pytest.approx(-0.2, abs=1e-12)


def test_a_ball_away_leaves_the_hands_more_room_than_a_ball_inside() -> None:
    passing = along(0.0, -0.5)
    # Sweet spot at (0.28, -0.96): right of that unit vector lies (-0.96, -0.28), along which the hands are 0.14 away.
    away = {"bat_knob": along(0.28, -0.26), "bat_barrel": along(0.28, -1.11)}
    assert inside(hands=passing, **away) == pytest.approx(0.14, abs=1e-12)
    # At (0.8, -0.6): 0.5 * 0.8.
    near = {"bat_knob": along(0.1, -0.6), "bat_barrel": along(0.95, -0.6)}
    assert inside(hands=passing, **near) == pytest.approx(0.4, abs=1e-12)


def test_the_line_is_the_bodys_wherever_it_stands() -> None:
    points = points_of(hands=along(0.0, -0.5))
    moved = points + np.array([1.3, -0.4, 0.0])
    assert value(swing_of(moved), "hands_inside") == pytest.approx(value(swing_of(points), "hands_inside"))


def test_without_a_bat_nobody_knows_where_the_ball_was() -> None:
    points = points_of(bat_knob=along(np.nan, np.nan), bat_barrel=along(np.nan, np.nan))
    assert REGISTRY["hands_inside"].missing(swing_of(points)) == "no bat was recorded"


# ------------------------------------------------------------------ lag


@pytest.mark.parametrize("angle", [180.0, 150.0, 90.0, 35.0])
def test_bat_lags_behind_the_hands(angle: float) -> None:
    # Hands toward the pitcher; the bat turned away from that direction by the angle, in a plane aslant.
    turned = Rotation.from_rotvec(np.radians(angle) * np.array([0.0, 0.6, -0.8])).apply([1.0, 0.0, 0.0])
    hands_path = along(0.01 * FRAME, -0.4)
    points = points_of(hands=hands_path, bat_knob=hands_path, bat_barrel=hands_path + 0.85 * turned)
    assert value(swing_of(points), "bat_lag") == pytest.approx(angle, abs=1e-6)


# ------------------------------------------------------------------ short swing


def test_elbow_reaches_the_body_after_the_hands() -> None:
    # x = -0.4 + 0.0006 (frame - 20)^2 passes mid-trunk, x = 0, between two frames.
    passed = 20.0 + np.sqrt(0.4 / 0.0006)
    points = points_of(back_elbow=along(-0.4 + 0.0006 * (FRAME - 20.0) ** 2, -0.1))
    assert value(swing_of(points), "short_swing_time") == pytest.approx((passed - 40.0) / RATE, abs=1e-8)


def test_elbow_that_leads_the_hands_is_negative_and_the_body_line_moves_with_the_body() -> None:
    drift = 0.002 * FRAME
    points = points_of(
        back_elbow=along(-0.3 + 0.0125 * FRAME, -0.1), pelvis=along(0.1 + drift, 0.0), neck=along(drift - 0.1, 0.0)
    )
    # -0.3 + 0.0125 f = 0.002 f at f = 28.57.
    assert value(swing_of(points), "short_swing_time") == pytest.approx((0.3 / 0.0105 - 40.0) / RATE, abs=1e-9)


def test_elbow_that_arrives_after_contact_still_counts() -> None:
    points = points_of(back_elbow=along(-0.4 + 0.4 / 65.3 * FRAME, -0.1))
    assert value(swing_of(points), "short_swing_time") == pytest.approx(25.3 / RATE, abs=1e-9)


def test_elbow_that_never_arrives_is_not_measurable() -> None:
    with pytest.raises(NotMeasurableError, match="the back elbow does not pass the body line"):
        value(swing_of(points_of()), "short_swing_time")


def test_hands_reach_is_the_greatest_until_they_pass_the_body() -> None:
    # From the shoulder at (-0.2, 0, 1.5): 0.3 m below it at plant, 0.5 at frame 35, and 1 m after level.
    down = 0.5 - 0.2 * ((FRAME - 35.0) / 15.0) ** 2
    down = np.where(FRAME > 44, 1.0, down)
    points = points_of(hands=along(-0.2, 0.0, 1.5 - down))
    assert value(swing_of(points), "hands_reach") == pytest.approx(0.5 / 2.0, abs=1e-12)


# ------------------------------------------------------------------ face


def test_face_that_looks_down_is_positive() -> None:
    for pitch in (20.0, 0.0, -7.0):
        down = np.radians(pitch)
        face = along(np.cos(down) * 0.6, -np.cos(down) * 0.8, -np.sin(down))
        assert value(swing_of(points_of(), head_forward=face), "head_pitch") == pytest.approx(pitch, abs=1e-9)


def test_face_that_is_not_shown_is_not_measurable() -> None:
    with pytest.raises(NotMeasurableError, match="the recorded points do not show the face"):
        value(swing_of(points_of()), "head_pitch")
    lost = along(np.where(np.abs(FRAME - 60.0) < 4, np.nan, 1.0), 0.0, 0.0)
    with pytest.raises(NotMeasurableError, match="the head's points are not seen at contact"):
        value(swing_of(points_of(), head_forward=lost), "head_pitch")


# ------------------------------------------------------------------ palms


def facing(*elevations: tuple[float, float]) -> np.ndarray:
    """Axes of a hand whose palm (x) rises by an angle [deg] from a frame on, shape (F, 3, 3)."""
    rise = np.zeros(FRAMES)
    for frame, degrees in elevations:
        rise[int(frame) :] = degrees
    # About y, a turn by -a takes x up by a.
    return Rotation.from_euler("y", -rise[:, None], degrees=True).as_matrix()


def palms(front: np.ndarray, back: np.ndarray) -> str:
    frames = {"front_hand": front, "back_hand": back}
    return str(value(swing_of(points_of(), frames=frames, palms_seen=True), "palms"))


def test_palms_that_stay_up_and_down_until_the_arms_are_straight() -> None:
    assert palms(facing((0, -50.0)), facing((0, 40.0))) == hands.KEPT
    # What they do after extension, or did before contact, is another matter.
    assert palms(facing((0, 30.0), (55, -50.0), (74, 60.0)), facing((0, 40.0), (74, -40.0))) == hands.KEPT


@pytest.mark.parametrize(
    ("front", "back"), [(((0, -50.0), (65, 20.0)), ((0, 40.0),)), (((0, -50.0),), ((0, 40.0), (65, -30.0)))]
)
def test_a_palm_that_turns_over_before_extension(front: tuple, back: tuple) -> None:
    assert palms(facing(*front), facing(*back)) == hands.ROLLED_EARLY


@pytest.mark.parametrize(("front", "back"), [(10.0, 40.0), (-50.0, -5.0), (30.0, -30.0)])
def test_palms_that_have_turned_over_at_contact(front: float, back: float) -> None:
    assert palms(facing((0, front)), facing((0, back))) == hands.ROLLED


def test_palms_whose_roll_no_point_shows_are_not_measurable() -> None:
    frames = {"front_hand": facing((0, -50.0)), "back_hand": facing((0, 40.0))}
    with pytest.raises(NotMeasurableError, match="the hands' points do not show which way the palms face"):
        value(swing_of(points_of(), frames=frames), "palms")
    frames["front_hand"][62:68] = np.nan
    with pytest.raises(NotMeasurableError, match="the wrists' points are missing between contact and extension"):
        value(swing_of(points_of(), frames=frames, palms_seen=True), "palms")


# ------------------------------------------------------------------ many versions at once


def stacked(versions: list[Readings]) -> Readings:
    """Several swings as the versions of one."""
    first = versions[0]
    joined = {
        name: np.concatenate([getattr(r, name) for r in versions])
        for name in ("points", "com", "head_forward", "height_m", "pitch_deg")
    }
    frames = {name: np.concatenate([r.frames[name] for r in versions]) for name in first.frames}
    when = {name: np.concatenate([r.when[name] for r in versions]) for name in first.when}
    return replace(first, **joined, frames=frames, when=when, _kept={})


def version(shift: float, moved: float) -> Readings:
    """A swing in which everything moves: later by `shift` frames, and with elbow, bat and face elsewhere."""
    clock = FRAME - shift
    hands_path = along(-0.4 + 0.01 * clock, -0.5 - 0.001 * clock, 1.2)
    down = np.radians(10.0 + moved)
    points = points_of(
        hands=hands_path,
        back_elbow=along(-0.5 + moved / 100.0 + 0.009 * clock, -0.1),
        bat_knob=hands_path,
        bat_barrel=hands_path + np.array([-0.8, -0.2 - moved / 100.0, 0.1]),
    )
    swing = swing_of(
        points,
        frames={"front_hand": facing((0, -50.0), (66, moved)), "back_hand": facing((0, 40.0))},
        head_forward=along(np.cos(down), 0.0, -np.sin(down)),
        palms_seen=True,
    )
    r = readings(swing, -8.0)
    return replace(r, when={name: time + 0.3 * shift for name, time in r.when.items()}, _kept={})


def test_many_versions_at_once_are_as_each_alone() -> None:
    each = [version(0.0, 5.0), version(1.0, -20.0), version(2.0, 12.0)]
    together = stacked(each)
    for module in (hands, head):
        entries = [e for e in REGISTRY.values() if e.function.__module__ == module.__name__]
        assert entries
        for entry in entries:
            alone = [entry.function(r)[0] for r in each]
            at_once = entry.function(together)
            if entry.unit:
                # The grids of times differ a little, as they have as many places as the longest needs.
                assert at_once == pytest.approx(alone, abs=1e-6), entry.name
            else:
                assert list(at_once) == alone


def test_a_drawn_swing_whose_elbow_never_arrives_has_no_time_but_spoils_no_other() -> None:
    recorded, drawn = version(1.0, 0.0), version(1.0, 0.0)
    drawn.points[:, :, POINTS.index("back_elbow"), 0] = -0.4
    late = REGISTRY["short_swing_time"].function(stacked([recorded, drawn]))
    assert late[0] == pytest.approx(REGISTRY["short_swing_time"].function(recorded)[0], abs=1e-9)
    assert np.isnan(late[1])
