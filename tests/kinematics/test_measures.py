"""Every measure on a swing whose points are set by hand, so that each number can be worked out on paper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mocap.errors import InputError, OptionError
from mocap.kinematics import barrel
from mocap.kinematics.build import com_of
from mocap.kinematics.measuring import measure
from mocap.kinematics.moments import USUAL_DEPTH
from mocap.kinematics.readings import NotMeasurableError, readings
from mocap.kinematics.registry import REGISTRY
from mocap.swing import MOMENTS, POINTS, FootForces, Hitter, Moment, Setup, Swing

RATE = 200.0
FRAMES = 101
INDEX = dict(zip(MOMENTS, (0, 5, 18, 20, 22, 40, 60, 70, 90), strict=True))

# A side-on hitter 2 m tall: front foot at x = +0.5, back foot at x = -0.5, hands behind, everything in metres.
STILL = {
    "pelvis": (0.0, 0.0, 1.0),
    "neck": (0.0, 0.0, 1.5),
    "head": (0.0, 0.0, 1.75),
    "head_top": (0.0, 0.0, 1.9),
    "front_hip": (0.15, 0.0, 1.0),
    "back_hip": (-0.15, 0.0, 1.0),
    "front_knee": (0.5, -0.3, 0.6),
    "back_knee": (-0.5, -0.3, 0.6),
    "front_ankle": (0.5, 0.0, 0.1),
    "back_ankle": (-0.5, 0.0, 0.1),
    "front_heel": (0.5, 0.1, 0.0),
    "back_heel": (-0.5, 0.1, 0.0),
    "front_ball": (0.5, -0.1, 0.0),
    "back_ball": (-0.5, -0.1, 0.0),
    "front_toe": (0.5, -0.17, 0.0),
    "back_toe": (-0.5, -0.17, 0.0),
    "front_shoulder": (0.2, 0.0, 1.5),
    "back_shoulder": (-0.2, 0.0, 1.5),
    "front_elbow": (0.0, -0.2, 1.4),
    "back_elbow": (-0.4, -0.1, 1.3),
    "front_wrist": (-0.25, -0.2, 1.45),
    "back_wrist": (-0.35, -0.2, 1.45),
    "front_hand": (-0.28, -0.2, 1.5),
    "back_hand": (-0.32, -0.2, 1.5),
    "bat_knob": (-0.3, -0.2, 1.45),
    "bat_barrel": (-0.3, 0.2, 2.25),
}


def still_points() -> np.ndarray:
    return np.tile(np.array([STILL[name] for name in POINTS], dtype=float), (FRAMES, 1, 1))


def swing_of(points: np.ndarray, **changes: object) -> Swing:
    moments = {n: Moment(n, i, i / RATE, 0.0, "set by hand") for n, i in INDEX.items()}
    swing = Swing(
        source="by hand",
        hitter=Hitter(height_m=2.0, mass_kg=100.0, bats="right"),
        height_sd_m=0.0,
        setup=Setup(pitch_angle_deg=-8.0),
        rate_hz=RATE,
        points=points,
        point_sd_m=np.zeros(len(POINTS)),
        noise_m=np.zeros(len(POINTS)),
        cutoff_hz=np.full(len(POINTS), 14.0),
        filled=np.zeros(points.shape[:2], dtype=bool),
        frames={},
        com=np.zeros((FRAMES, 3)),
        head_forward=np.full((FRAMES, 3), np.nan),
        moments=moments,
        forces=None,
        heading_method="given",
        heading_sd_rad=0.0,
        plate_known=True,
        lab_from_hitting=np.eye(4),
    )
    swing = replace(swing, com=com_of(points, swing))
    return replace(swing, **changes)  # type: ignore[arg-type]


def value(swing: Swing, name: str) -> float | str:
    entry = REGISTRY[name]
    assert entry.missing(swing) == ""
    taken = entry.function(readings(swing, swing.setup.pitch_angle_deg or 0.0))[0]
    return str(taken) if isinstance(taken, str) else float(taken)


def at(points: np.ndarray, name: str, frames: int | slice, place: tuple[float, float, float]) -> None:
    points[frames, POINTS.index(name)] = place


def rotated_z(vector: np.ndarray, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * vector[0] - s * vector[1], s * vector[0] + c * vector[1], vector[2]])


def test_back_share_follows_the_centre_of_mass() -> None:
    swing = swing_of(still_points())
    com = np.zeros((FRAMES, 3))
    com[:, 0] = -0.06
    # Feet at +0.5 and -0.5: (0.5 + 0.06) / 1.0.
    assert value(replace(swing, com=com), "back_share") == pytest.approx(0.56)


def test_force_share_is_taken_when_the_foot_is_flat() -> None:
    # Plates five times as fast as the points: frame 22 is sample 110.
    front, back = np.zeros((5 * FRAMES, 3)), np.zeros((5 * FRAMES, 3))
    front[:, 2], back[:, 2] = 100.0, 900.0
    front[110, 2], back[110, 2] = 400.0, 600.0
    forces = FootForces(front, back, front, back, 5 * RATE)
    assert value(swing_of(still_points(), forces=forces), "back_force_share") == pytest.approx(0.6)


def test_separation() -> None:
    points = still_points()
    for hand in ("front_hand", "back_hand"):
        at(points, hand, 0, (0.0, -0.2, 1.4))
    swing = swing_of(points)
    length = np.sqrt(0.8**2 + 0.2**2 + 1.4**2)  # mid-hands (-0.3, -0.2, 1.5), ankle (0.5, 0, 0.1)
    assert value(swing, "separation_length") == pytest.approx(length / 2.0)
    assert value(swing, "separation_gain") == pytest.approx((0.8 - 0.5) / 2.0)


def test_bat_at_plant() -> None:
    points = still_points()
    # The catcher's feet lie at (-1, 0, 0); a bat in line with them has its barrel opposite.
    knob = np.array([0.0, 0.0, 1.0])
    away = -(np.array([-1.0, 0.0, 0.0]) - knob) / np.sqrt(2.0)
    at(points, "bat_knob", slice(None), tuple(knob))
    at(points, "bat_barrel", slice(None), tuple(knob + 0.85 * rotated_z(away, 0.0)))
    swing = swing_of(points)
    assert value(swing, "knob_aim") == pytest.approx(0.0, abs=1e-5)
    assert value(swing, "bat_elevation") == pytest.approx(45.0)
    assert value(swing, "bat_position") == "wrapped"  # its barrel is 0.6 m ahead of the head
    at(points, "bat_barrel", slice(None), (0.0, 0.8, 1.1))
    assert value(swing_of(points), "bat_position") == "flat"
    at(points, "bat_barrel", slice(None), (-0.2, 0.2, 1.8))
    assert value(swing_of(points), "bat_position") == "tilted"


@pytest.mark.parametrize("opening", [-30.0, 0.0, 25.0, 80.0])
def test_openings_are_headings_from_side_on(opening: float) -> None:
    points = still_points()
    angle = np.radians(opening)
    for name in ("front_hip", "back_hip", "front_ball", "front_heel"):
        middle = np.array([0.5, 0.0, 0.0]) if "b" in name[6:7] or "heel" in name else np.array([0.0, 0.0, 1.0])
        at(points, name, slice(None), tuple(middle + rotated_z(np.array(STILL[name]) - middle, angle)))
    swing = swing_of(points)
    assert value(swing, "pelvis_open") == pytest.approx(opening)
    assert value(swing, "foot_open") == pytest.approx(opening)
    assert value(swing, "trunk_open") == pytest.approx(0.0)
    assert value(swing, "hip_shoulder_separation") == pytest.approx(opening)


def test_stride() -> None:
    points = still_points()
    at(points, "front_ankle", slice(None), (0.5, 0.1, 0.2))
    swing = swing_of(points)
    assert value(swing, "stride_length") == pytest.approx(np.hypot(1.0, 0.1) / 2.0)
    assert value(swing, "stride_direction") == pytest.approx(np.degrees(np.arctan2(0.1, 1.0)))


def test_knees() -> None:
    points = still_points()
    at(points, "front_hip", 60, (0.5, -0.3, 1.0))
    at(points, "front_ankle", 60, (0.5, -0.3, 0.1))
    swing = swing_of(points)
    thigh, shank = np.array([0.35, -0.3, -0.4]), np.array([0.0, 0.3, -0.5])
    bend = np.degrees(np.arccos(thigh @ shank / np.linalg.norm(thigh) / np.linalg.norm(shank)))
    assert value(swing, "front_knee_flexion") == pytest.approx(bend)
    assert value(swing, "front_leg_at_contact") == pytest.approx(0.0, abs=1e-5)
    assert value(swing, "front_knee_extension") == pytest.approx(bend)


def test_drift_tilt_and_head() -> None:
    points = still_points()
    # Frame 40, between plant and contact: the head moves 0.2 m, the pelvis does not; at contact it leans 0.1 : 0.75.
    at(points, "head", 40, (0.0, -0.2, 1.75))
    at(points, "head", 60, (-0.06, 0.08, 1.75))
    at(points, "head", 75, (0.9, 0.0, 1.75))  # after contact: does not count
    swing = swing_of(points)
    assert value(swing, "axis_drift") == pytest.approx(0.2)
    assert value(swing, "axis_tilt") == pytest.approx(np.degrees(np.arctan2(0.1, 0.75)))
    assert value(swing, "head_shift") == pytest.approx(0.1)


def test_forward_after_plant_counts_from_plant_to_the_finish() -> None:
    com = np.zeros((FRAMES, 3))
    com[20:91, 0] = np.linspace(0.0, 0.14, 71)
    com[95:, 0] = 0.5
    swing = swing_of(still_points(), com=com)
    assert value(swing, "forward_after_plant") == pytest.approx(0.07)


def test_back_foot() -> None:
    points = still_points()
    at(points, "back_heel", 60, (-0.6, 0.0, 0.15))
    at(points, "back_ball", 60, (-0.5, 0.0, 0.0))
    swing = swing_of(points)
    assert value(swing, "back_foot_turn") == pytest.approx(90.0)
    assert value(swing, "back_heel_lift") == pytest.approx(0.15)


def turning_points(peaks: dict[str, float], speeds: dict[str, float]) -> np.ndarray:
    """Segments that turn about the vertical, bell-shaped in speed: peak times from plant [s], speeds [rad/s]."""
    points = still_points()
    time = np.arange(FRAMES) / RATE - INDEX["plant"] / RATE
    lines = {
        "pelvis": ("back_hip", "front_hip"),
        "trunk": ("back_shoulder", "front_shoulder"),
        "arm": ("front_shoulder", "front_elbow"),
        "bat": ("bat_knob", "bat_barrel"),
    }
    width = 0.05
    for segment, (first, second) in lines.items():
        rate = speeds[segment] * np.exp(-0.5 * ((time - peaks[segment]) / width) ** 2)
        angle = np.cumsum(rate) / RATE
        angle -= angle[0]
        base = {"pelvis": 0.3, "trunk": 0.4, "arm": 0.3, "bat": 0.8}[segment]
        direction = np.stack([np.cos(angle), np.sin(angle), np.zeros(FRAMES)], axis=1)
        middle = np.array([0.0, 0.0, 1.0 if segment == "pelvis" else 1.5])
        start = points[:, POINTS.index(first)] if segment in ("arm", "bat") else middle - base / 2 * direction
        points[:, POINTS.index(first)] = start
        points[:, POINTS.index(second)] = start + base * direction
    return points


def test_sequence_and_peaks() -> None:
    peaks = {"pelvis": 0.05, "trunk": 0.09, "arm": 0.12, "bat": 0.17}
    speeds = {"pelvis": 12.0, "trunk": 16.0, "arm": 20.0, "bat": 35.0}
    swing = swing_of(turning_points(peaks, speeds))
    assert value(swing, "sequence") == "pelvis > trunk > arm > bat"
    for segment, speed in speeds.items():
        assert value(swing, f"{segment}_turn_time") == pytest.approx(peaks[segment], abs=0.003)
        # Central differences over two frames flatten the bell's top a little.
        assert value(swing, f"{segment}_turn_speed") == pytest.approx(np.degrees(speed), rel=0.01)
    mixed = swing_of(turning_points(peaks | {"trunk": 0.05}, speeds))
    assert value(mixed, "sequence") in ("pelvis = trunk > arm > bat", "trunk = pelvis > arm > bat")


def straight_barrel(attack_deg: float, speed: float = 30.0) -> np.ndarray:
    """A barrel that moves along a straight line through contact, the bat held level across the plate."""
    points = still_points()
    spot = np.array([0.6, 0.0, 0.9])
    path = (
        (np.arange(FRAMES) - INDEX["contact"])[:, None]
        / RATE
        * speed
        * np.array([np.cos(np.radians(attack_deg)), 0.0, np.sin(np.radians(attack_deg))])
    )
    points[:, POINTS.index("bat_barrel")] = spot + path + np.array([0.0, -0.15, 0.0])
    points[:, POINTS.index("bat_knob")] = spot + path + np.array([0.0, 0.70, 0.0])
    return points


def test_barrel_on_a_straight_path() -> None:
    swing = swing_of(straight_barrel(20.0))
    assert value(swing, "bat_speed") == pytest.approx(30.0)
    assert value(swing, "attack_angle") == pytest.approx(20.0)
    assert value(swing, "pitch_angle") == -8.0
    assert value(swing, "plane_match") == pytest.approx(12.0)
    # The line rises 20 degrees, the pitch's line 8 degrees toward the pitcher: they part by tan 20 - tan 8 per metre
    # of x; the zone ends on either side where that reaches ball plus barrel radius.
    half = (0.0369 + 0.03315) / (np.tan(np.radians(20.0)) - np.tan(np.radians(8.0)))
    assert value(swing, "hitting_zone") == pytest.approx(2 * half / np.cos(np.radians(20.0)), rel=1e-6)
    assert value(swing, "contact_depth") == pytest.approx(0.6 - 0.5)
    assert value(swing, "extension_reach") == pytest.approx(30.0 * 10 / RATE * np.cos(np.radians(20.0)))
    zone = barrel.zone_path(swing)
    assert zone.path[-1] - zone.path[0] == pytest.approx(2 * half * np.array([1, 0, np.tan(np.radians(20.0))]))
    assert INDEX["contact"] - half / 30.0 * RATE / np.cos(np.radians(20.0)) <= zone.first_frame < INDEX["contact"]


def test_hitting_zone_of_a_circular_path() -> None:
    points = still_points()
    radius, speed = 1.2, 30.0
    angle = (np.arange(FRAMES) - INDEX["contact"]) / RATE * speed / radius
    spot = np.stack([0.6 + radius * np.sin(angle), np.zeros(FRAMES), 0.8 + radius * (1 - np.cos(angle))], axis=1)
    points[:, POINTS.index("bat_barrel")] = spot + np.array([0.0, -0.15, 0.0])
    points[:, POINTS.index("bat_knob")] = spot + np.array([0.0, 0.70, 0.0])
    swing = swing_of(points, setup=Setup(pitch_angle_deg=0.0))
    # A vertical circle touching a level pitch line: it leaves the zone where radius (1 - cos a) = ball + barrel radius.
    end = np.arccos(1 - (0.0369 + 0.03315) / radius)
    assert value(swing, "hitting_zone") == pytest.approx(2 * radius * end, rel=0.01)


def test_level_early_is_the_angle_out_of_the_pitch_plane() -> None:
    points = still_points()
    at(points, "bat_knob", 40, (0.0, 0.0, 1.0))
    at(points, "bat_barrel", 40, (0.0, 0.8 * np.cos(0.3), 1.0 + 0.8 * np.sin(0.3)))
    # The bat lies across the plate and rises by 0.3 rad; the plane's normal leans 8 degrees out of the vertical.
    expected = np.degrees(np.arcsin(np.sin(0.3) * np.cos(np.radians(8.0))))
    assert value(swing_of(points), "level_early") == pytest.approx(expected)


def test_what_is_missing_is_named() -> None:
    points = still_points()
    points[:, POINTS.index("bat_knob")] = np.nan
    points[20, POINTS.index("front_hip")] = np.nan
    swing = swing_of(points, plate_known=False, heading_method="estimated from the feet at foot-plant")
    moments = dict(swing.moments)
    moments["contact"] = Moment("contact", None, None, None, "", "no bat and no hands")
    found = measure(replace(swing, moments=moments)).measures
    assert found["bat_elevation"].why == "no bat was recorded"
    assert found["pelvis_open"].why == "front_hip not seen at plant"
    assert found["axis_tilt"].why == "contact was not found: no bat and no hands"
    assert "estimated from the feet" in found["stride_direction"].why
    assert found["back_force_share"].why == "no force plates were recorded"
    for entry in found.values():
        assert (entry.value is None) == bool(entry.why)


def test_limits_for_a_measure_that_does_not_exist_are_refused(tmp_path: Path) -> None:
    table = tmp_path / "mine.toml"
    row = '[[limits]]\nmeasure = "{}"\ngood = {{ max = 1.0 }}\nnear = {{ max = 2.0 }}\nsource = "mine"\n'
    table.write_text(row.format("back_share"), encoding="utf-8")
    found = measure(swing_of(still_points()), limits=table)
    assert next(check.source for check in found.checks if check.measure == "back_share") == "mine"
    table.write_text(row.format("back_shear"), encoding="utf-8")
    with pytest.raises(InputError, match=r"back_shear.*no such measure"):
        measure(swing_of(still_points()), limits=table)


def test_contact_depth_is_not_reported_when_it_was_assumed() -> None:
    swing = swing_of(straight_barrel(10.0))
    moments = dict(swing.moments)
    moments["contact"] = replace(moments["contact"], method=USUAL_DEPTH)
    setup = Setup(pitch_angle_deg=-8.0, pitch_location="away")
    found = measure(replace(swing, setup=setup, moments=moments)).measures
    for name in ("contact_depth", "depth_for_pitch"):
        assert found[name].value is None
        assert "usual depth" in found[name].why


def test_standard_deviations_follow_the_errors_put_in() -> None:
    points = still_points()
    sd = np.zeros(len(POINTS))
    sd[[POINTS.index("front_ankle"), POINTS.index("back_ankle")]] = 0.01
    swing = swing_of(points, point_sd_m=sd)
    found = measure(swing).measures
    # Two independent ankles, 10 mm per axis each, 2 m of height: sqrt(2) * 0.01 / 2; 64 draws know it to 9 %.
    assert found["stride_length"].sd == pytest.approx(np.sqrt(2) * 0.01 / 2.0, rel=0.3)
    assert found["trunk_open"].sd == pytest.approx(0.0, abs=1e-9)
    turned = measure(replace(swing, heading_sd_rad=np.radians(5.0))).measures
    assert turned["trunk_open"].sd == pytest.approx(5.0, rel=0.3)


def test_the_turn_s_axis_is_that_of_a_screw() -> None:
    """A trunk that turns 4 degrees a frame about a line leaning 20 degrees, and climbs along it by 1 mm a frame."""
    lean, step, climb = np.radians(20.0), np.radians(4.0), 0.001
    axis = np.array([np.sin(lean), 0.0, np.cos(lean)])
    through = np.array([0.10, -0.20, 0.0])
    turns = Rotation.from_rotvec(np.arange(FRAMES)[:, None] * step * axis)
    points = still_points()
    neck = np.array([0.0, 0.1, 1.5])
    points[:, POINTS.index("neck")] = turns.apply(neck - through) + through + np.arange(FRAMES)[:, None] * climb * axis
    swing = swing_of(points, frames={"thorax": turns.as_matrix()})
    assert value(swing, "turn_axis_tilt") == pytest.approx(20.0, abs=1e-6)
    assert value(swing, "turn_axis_wander") == pytest.approx(0.0, abs=1e-9)
    frames = INDEX["contact"] - INDEX["plant"]
    assert value(swing, "turn_axis_slide") == pytest.approx(frames * climb, rel=1e-6)
    with pytest.raises(NotMeasurableError, match="the pelvis's orientation was not recorded"):
        value(swing, "pelvis_turn_axis_tilt")


def test_an_axis_that_moves_over_the_floor_wanders() -> None:
    """A vertical axis that moves 5 mm a frame: its crossing with the floor is spread evenly over a line."""
    step, drift = np.radians(10.0), 0.005
    frames = np.arange(FRAMES)
    turns = Rotation.from_rotvec(frames[:, None] * step * np.array([0.0, 0.0, 1.0]))
    points = still_points()
    moving = frames[:, None] * drift * np.array([1.0, 0.0, 0.0])
    points[:, POINTS.index("pelvis")] = turns.apply([0.0, 0.0, 1.0]) + moving
    swing = swing_of(points, frames={"pelvis": turns.as_matrix()})
    count = INDEX["contact"] - INDEX["plant"] + 1
    # RMS of `count` places evenly `drift` apart about their mean.
    spread = drift * np.sqrt((count**2 - 1) / 12)
    assert value(swing, "pelvis_turn_axis_wander") == pytest.approx(spread, rel=1e-6)
    assert value(swing, "pelvis_turn_axis_tilt") == pytest.approx(0.0, abs=1e-6)


def test_a_trunk_that_hardly_turns_has_no_axis() -> None:
    swing = swing_of(still_points(), frames={"thorax": np.tile(np.eye(3), (FRAMES, 1, 1))})
    with pytest.raises(NotMeasurableError, match="turns too little"):
        value(swing, "turn_axis_tilt")


def test_what_was_filled_is_less_sure() -> None:
    points = still_points()
    swing = swing_of(points)
    filled = np.zeros(points.shape[:2], dtype=bool)
    filled[11:30, POINTS.index("front_ankle")] = True
    found = measure(replace(swing, filled=filled)).measures
    # 95 ms of the ankle's path at 0.10 m/s; plant is the middle of the gap. Over a height of 2 m.
    assert found["stride_length"].sd == pytest.approx(0.0095 / 2.0, rel=0.15)
    assert measure(swing).measures["stride_length"].sd == pytest.approx(0.0, abs=1e-9)


def test_the_expected_depth_follows_the_pitch() -> None:
    points = straight_barrel(10.0)  # the sweet spot is 0.6 m, the front ankle 0.5 m toward the pitcher
    for location, expected in (("inside", 0.20), ("middle", 0.10), ("away", -0.02)):
        swing = swing_of(points, setup=Setup(pitch_angle_deg=-8.0, pitch_location=location))
        assert value(swing, "depth_for_pitch") == pytest.approx(0.1 - expected)
    assert "nobody said" in measure(swing_of(points)).measures["depth_for_pitch"].why
    with pytest.raises(OptionError, match="pitch location 'low' is not known; give inside, middle, away"):
        Setup(pitch_location="low")


def test_what_comes_from_the_gaps_between_frames_grows_with_them() -> None:
    speed, wander, tilt = (REGISTRY[name] for name in ("bat_speed", "turn_axis_wander", "front_leg_at_contact"))
    assert speed.method_sd_at(120.0) == pytest.approx(2.0**2.2 * speed.method_sd)
    assert wander.method_sd_at(80.0) == pytest.approx(3.0**0.25 * wander.method_sd)
    assert speed.method_sd_at(500.0) == speed.method_sd
    assert tilt.method_sd_at(60.0) == tilt.method_sd > 0.0
