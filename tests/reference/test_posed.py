from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mocap.errors import OptionError
from mocap.kinematics.inertia import centre_of_mass
from mocap.reference.parameters import Barrel, Landing, Stride, SwingParameters, Timing, TurnOfBody
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.swing import MOMENTS, POINTS

FloatArray = npt.NDArray[np.float64]

LIMBS = [
    (f"{side}_{a}", f"{side}_{b}", share)
    for side in ("front", "back")
    # Lengths over stature of the men of de Leva (1996), Table 4, in mm over 1741 mm.
    for a, b, share in (
        ("hip", "knee", 422.2 / 1741),
        ("knee", "ankle", 440.3 / 1741),
        ("shoulder", "elbow", 281.7 / 1741),
        ("elbow", "wrist", 268.9 / 1741),
        ("wrist", "hand", 86.2 / 1741),
    )
]


@pytest.fixture(scope="module")
def dense() -> PosedSwing:
    """The default swing at 1 kHz, so that plain differences give speeds."""
    return pose_swing(SwingParameters(), 1000.0)


def at(swing: PosedSwing, moment: str) -> int:
    return round(swing.moments[moment] * swing.rate_hz)


def by_name(swing: PosedSwing) -> dict[str, FloatArray]:
    return {name: swing[name] for name in swing.names}


def flexion_deg(swing: PosedSwing, first: str, middle: str, last: str) -> FloatArray:
    """180 degrees less the inner angle, from the three sides by the law of cosines."""
    a, b, c = (np.linalg.norm(swing[p] - swing[q], axis=1) for p, q in ((first, middle), (middle, last), (first, last)))
    return 180.0 - np.degrees(np.arccos((a**2 + b**2 - c**2) / (2 * a * b)))


def open_deg(swing: PosedSwing, part: str) -> FloatArray:
    line = swing[f"front_{part}"] - swing[f"back_{part}"]
    return np.degrees(np.unwrap(np.arctan2(line[:, 1], line[:, 0])))


def line_speed_deg_s(swing: PosedSwing, start: str, end: str) -> FloatArray:
    line = swing[end] - swing[start]
    line = line / np.linalg.norm(line, axis=1, keepdims=True)
    return np.degrees(np.linalg.norm(np.gradient(line, 1 / swing.rate_hz, axis=0), axis=1))


def sweet_spot(swing: PosedSwing) -> FloatArray:
    barrel, knob = swing["bat_barrel"], swing["bat_knob"]
    return barrel + 0.15 * (knob - barrel) / np.linalg.norm(knob - barrel, axis=1, keepdims=True)


def test_every_point_is_there_and_the_moments_come_in_order(dense: PosedSwing) -> None:
    assert dense.names == POINTS
    assert np.isfinite(dense.points).all()
    assert tuple(dense.moments) == MOMENTS
    assert np.all(np.diff(list(dense.moments.values())) > 0)


@pytest.mark.parametrize(("first", "second", "share"), LIMBS)
def test_segments_keep_the_published_lengths(dense: PosedSwing, first: str, second: str, share: float) -> None:
    lengths = np.linalg.norm(dense[first] - dense[second], axis=1)
    assert np.ptp(lengths) < 1e-9
    assert lengths.mean() == pytest.approx(share * 1.80, rel=1e-6)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("pelvis", "neck"),
        ("neck", "head"),
        ("head", "head_top"),
        ("front_hip", "back_hip"),
        ("front_shoulder", "back_shoulder"),
        ("front_ankle", "front_heel"),
        ("back_heel", "back_ball"),
        ("bat_knob", "bat_barrel"),
        ("front_hand", "back_hand"),
    ],
)
def test_rigid_parts_stay_rigid(dense: PosedSwing, first: str, second: str) -> None:
    assert np.ptp(np.linalg.norm(dense[first] - dense[second], axis=1)) < 1e-9


def test_a_standing_body_would_be_as_tall_as_it_says(dense: PosedSwing) -> None:
    chain = [("neck", "head"), ("head", "head_top"), ("pelvis", "neck"), ("back_hip", "back_knee")]
    chain += [("back_knee", "back_ankle")]
    tall = sum(np.linalg.norm(dense[a][0] - dense[b][0]) for a, b in chain) + dense["back_ankle"][0, 2]
    assert tall == pytest.approx(1.80, abs=1e-6)


def test_nothing_sinks_into_the_floor(dense: PosedSwing) -> None:
    feet = [name for name in POINTS if name.split("_")[-1] in ("ankle", "heel", "ball", "toe")]
    assert min(dense[name][:, 2].min() for name in feet) > 0.015


def test_planted_feet_do_not_slide(dense: PosedSwing) -> None:
    lift, timing = at(dense, "lift"), dense.parameters.timing
    touch, flat = (at(dense, "plant") + round(1000 * when) for when in (timing.toe_down, timing.heel_down))
    assert np.ptp(dense["back_ball"], axis=0).max() < 1e-9
    assert np.ptp(dense["front_ball"][: at(dense, "stance")], axis=0).max() < 1e-9
    assert np.ptp(dense["front_ball"][: lift - 1], axis=0).max() < 1e-9
    assert np.ptp(dense["front_ball"][touch + 1 : flat], axis=0).max() < 1e-9
    # After contact the front foot opens on its heel.
    assert np.ptp(dense["front_heel"][flat + 1 :], axis=0).max() < 1e-9
    assert np.ptp(dense["front_ball"][flat + 1 : at(dense, "contact")], axis=0).max() < 1e-9
    assert dense["front_ball"][(lift + touch) // 2, 2] > dense["front_ball"][0, 2] + 0.10


def test_both_hands_stay_on_the_handle(dense: PosedSwing) -> None:
    axis = (dense["bat_barrel"] - dense["bat_knob"]) / 0.84
    for side, along in (("front", 0.05), ("back", 0.14)):
        from_knob = dense[f"{side}_hand"] - dense["bat_knob"]
        assert np.abs(np.sum(from_knob * axis, axis=1) - along).max() < 1e-9
        assert np.linalg.norm(np.cross(from_knob, axis), axis=1).max() < 1e-9


def test_motion_is_smooth_to_the_third_derivative(dense: PosedSwing) -> None:
    # A jump in acceleration would double the third difference quotient with each doubling of the rate.
    def jerk(swing: PosedSwing) -> FloatArray:
        return np.linalg.norm(np.diff(swing.points, 3, axis=0), axis=2).max(axis=0) * swing.rate_hz**3

    coarse, fine = jerk(dense), jerk(pose_swing(SwingParameters(), 2000.0))
    assert fine == pytest.approx(coarse, rel=0.02)
    # Far above a hand's or a bat's, far below that of a kink sampled at 2 kHz.
    assert fine.max() < 1e5


def test_sampling_does_not_change_the_swing(dense: PosedSwing) -> None:
    assert pose_swing(SwingParameters(), 125.0).points == pytest.approx(dense.points[::8], abs=1e-12)


def test_targets_at_plant_are_met(dense: PosedSwing) -> None:
    p, plant = dense.parameters, at(dense, "plant")
    com = centre_of_mass(by_name(dense), sides=("front", "back"))[plant, 0]
    front, back = (0.5 * (dense[f"{s}_heel"] + dense[f"{s}_ball"])[plant, 0] for s in ("front", "back"))
    assert (front - com) / (front - back) == pytest.approx(p.landing.back_share, abs=1e-6)
    ankles = dense["front_ankle"][plant] - dense["back_ankle"][plant]
    assert np.linalg.norm(ankles[:2]) / 1.80 == pytest.approx(p.stride.length, abs=1e-9)
    assert np.degrees(np.arctan2(ankles[1], ankles[0])) == pytest.approx(p.stride.direction_deg, abs=1e-6)
    assert open_deg(dense, "hip")[plant] == pytest.approx(p.landing.pelvis_open_deg, abs=1e-6)
    assert open_deg(dense, "shoulder")[plant] == pytest.approx(p.landing.trunk_open_deg, abs=1e-6)
    foot = dense["front_ball"][plant] - dense["front_heel"][plant]
    assert np.degrees(np.arctan2(foot[0], -foot[1])) == pytest.approx(p.landing.foot_open_deg, abs=1e-6)
    knee = flexion_deg(dense, "front_hip", "front_knee", "front_ankle")
    assert knee[plant] == pytest.approx(p.landing.front_knee_flexion_deg, abs=1e-4)


def test_the_knob_points_at_the_catchers_feet_at_plant(dense: PosedSwing) -> None:
    p, plant = dense.parameters, at(dense, "plant")
    catcher = np.array([-p.plate_behind_m - p.catcher_behind_m, -p.barrel.plate_line_m, 0.0])
    knob, barrel = dense["bat_knob"][plant], dense["bat_barrel"][plant]
    off = np.cross(knob - barrel, catcher - knob) / (0.84 * np.linalg.norm(catcher - knob))
    assert np.degrees(np.arcsin(np.linalg.norm(off))) < 0.1
    assert (knob - barrel) @ (catcher - knob) > 0


def test_hands_go_back_as_the_foot_goes_forward(dense: PosedSwing) -> None:
    stance, plant = at(dense, "stance"), at(dense, "plant")
    hands = 0.5 * (dense["front_hand"] + dense["back_hand"])
    # Along the pitch: through the air the two come closer as the body sinks.
    apart = (dense["front_ankle"] - hands)[:, 0] / 1.80
    assert apart[plant] - apart[stance] > 0.03
    # In the trunk they move away from the front shoulder.
    from_shoulder = np.linalg.norm(hands - dense["front_shoulder"], axis=1)
    assert from_shoulder[plant] > from_shoulder[stance] + 0.03


def test_targets_at_contact_are_met(dense: PosedSwing) -> None:
    p, contact = dense.parameters, at(dense, "contact")
    spot = sweet_spot(dense)
    velocity = np.gradient(spot, 1 / dense.rate_hz, axis=0)[contact]
    assert spot[contact, 0] - dense["front_ankle"][contact, 0] == pytest.approx(p.barrel.contact_depth * 1.8, abs=1e-6)
    assert spot[contact, 2] == pytest.approx(p.barrel.contact_height * 1.8, abs=1e-6)
    assert np.linalg.norm(velocity) == pytest.approx(p.barrel.barrel_speed, rel=1e-3)
    attack = np.degrees(np.arctan2(velocity[2], np.hypot(velocity[0], velocity[1])))
    assert attack == pytest.approx(p.barrel.attack_deg, abs=0.05)
    assert abs(spot[contact, 1] + p.barrel.plate_line_m) < 0.2
    knee = flexion_deg(dense, "front_hip", "front_knee", "front_ankle")
    assert knee[contact] == pytest.approx(p.turn.front_knee_flexion_at_contact_deg, abs=1e-4)
    assert knee[at(dense, "plant")] - knee[contact] > 15


def test_the_barrel_stays_on_the_pitchs_plane_for_most_of_a_metre(dense: PosedSwing) -> None:
    # Ball radius 36.9 mm and barrel radius 33.1 mm, rule books.
    spot, contact = sweet_spot(dense), at(dense, "contact")
    off = spot[:, 2] - spot[contact, 2] - np.tan(np.radians(8.0)) * (spot[:, 0] - spot[contact, 0])
    outside = np.flatnonzero(np.abs(off) > 0.070)
    first, last = outside[outside < contact][-1] + 1, outside[outside > contact][0] - 1
    assert np.linalg.norm(np.diff(spot[first : last + 1], axis=0), axis=1).sum() > 0.8


def test_segments_speed_up_from_the_ground_up(dense: PosedSwing) -> None:
    window = slice(at(dense, "plant") - 50, at(dense, "contact") + 10)
    lines = [("back_hip", "front_hip"), ("back_shoulder", "front_shoulder")]
    lines += [("front_shoulder", "front_elbow"), ("bat_knob", "bat_barrel")]
    peaks = [int(np.argmax(line_speed_deg_s(dense, *line)[window])) for line in lines]
    # At least 8 ms apart: the order can be told at the usual sampling rates.
    assert np.all(np.diff(peaks) >= 8), peaks


def test_the_turn_as_a_coach_wants_it(dense: PosedSwing) -> None:
    stance, plant, contact, finish = (at(dense, m) for m in ("stance", "plant", "contact", "finish"))
    axis = np.stack([dense["head"], 0.5 * (dense["head"] + dense["pelvis"])])[:, plant : contact + 1, :2]
    assert np.linalg.norm(axis - axis[:, :1], axis=2).max() < 0.065  # the axis stays put
    heel, toe = dense["back_heel"][:, 2], dense["back_toe"][:, 2]
    assert heel[contact] - heel[stance] > 0.10  # the back heel is up,
    assert np.ptp(toe) < 1e-9  # the toe down,
    foot = dense["back_ball"] - dense["back_heel"]
    assert np.degrees(np.arctan2(foot[contact, 0], -foot[contact, 1])) > 55  # and turned
    elbows = [flexion_deg(dense, f"{s}_shoulder", f"{s}_elbow", f"{s}_wrist") for s in ("front", "back")]
    extension = at(dense, "extension")
    assert max(elbow[extension] for elbow in elbows) < 35  # arms long after contact, toward the pitcher
    hands = 0.5 * (dense["front_hand"] + dense["back_hand"])
    assert hands[extension, 0] > hands[contact, 0] + 0.08
    com = centre_of_mass(by_name(dense), sides=("front", "back"))[finish]
    assert dense["back_ball"][finish, 0] < com[0] < dense["front_heel"][finish, 0]  # the finish is balanced
    assert abs(com[1] - dense["front_ankle"][finish, 1]) < 0.10


def test_level_and_extension_follow_their_definitions(dense: PosedSwing) -> None:
    plant, contact = at(dense, "plant"), at(dense, "contact")
    ahead = (0.5 * (dense["front_hand"] + dense["back_hand"]) - 0.5 * (dense["neck"] + dense["pelvis"]))[:, 0]
    assert plant + int(np.argmax(ahead[plant:] > 0)) == pytest.approx(dense.moments["level"] * 1000, abs=1)
    bend = sum(flexion_deg(dense, f"{s}_shoulder", f"{s}_elbow", f"{s}_wrist") for s in ("front", "back"))
    straightest = contact + int(np.argmin(bend[contact : contact + 120]))
    assert straightest == pytest.approx(dense.moments["extension"] * 1000, abs=1)


def test_joints_stay_within_what_a_body_can_do(dense: PosedSwing) -> None:
    for side in ("front", "back"):
        knee = flexion_deg(dense, f"{side}_hip", f"{side}_knee", f"{side}_ankle")
        elbow = flexion_deg(dense, f"{side}_shoulder", f"{side}_elbow", f"{side}_wrist")
        assert 5 < knee.min() < knee.max() < 110
        assert 5 < elbow.min() < elbow.max() < 150
    assert np.abs(open_deg(dense, "shoulder") - open_deg(dense, "hip")).max() < 50


def test_size_scales_the_body_and_leaves_the_bat() -> None:
    child = pose_swing(SwingParameters(height_m=1.45, barrel=Barrel(bat_length_m=0.71, barrel_speed=22.0)), 200.0)
    assert np.linalg.norm(child["bat_barrel"] - child["bat_knob"], axis=1) == pytest.approx(0.71, abs=1e-9)
    thigh = np.linalg.norm(child["front_hip"] - child["front_knee"], axis=1)
    assert thigh == pytest.approx(1.45 * 422.2 / 1741, abs=1e-6)


def test_a_changed_target_changes_that_and_little_else(dense: PosedSwing) -> None:
    forward = pose_swing(replace(SwingParameters(), landing=Landing(back_share=0.48)), 1000.0)
    plant = at(dense, "plant")
    moved = (forward["pelvis"] - dense["pelvis"])[plant]
    # 7 % of the distance between the feet, which the pelvis leads as it carries the heavy trunk with it.
    assert 0.04 < moved[0] < 0.09
    assert open_deg(forward, "hip")[plant] == pytest.approx(open_deg(dense, "hip")[plant], abs=1e-6)


def test_the_ball_slows_the_barrel_at_once_and_the_body_not_at_all() -> None:
    hit = pose_swing(SwingParameters(barrel=Barrel(impact_loss=0.3)), 1000.0)
    contact = at(hit, "contact")
    speed = np.linalg.norm(np.diff(sweet_spot(hit), axis=0), axis=1) * 1000
    assert speed[contact - 1] == pytest.approx(30.0, abs=0.6)
    assert 5.0 < speed[contact - 1] - speed[contact + 4] < 10.0
    missed = pose_swing(SwingParameters(), 1000.0)
    assert np.linalg.norm(hit["pelvis"] - missed["pelvis"], axis=1).max() < 0.01


@pytest.mark.parametrize(
    "impossible",
    [
        SwingParameters(turn=TurnOfBody(pelvis_speed_deg_s=200.0)),
        SwingParameters(timing=Timing(contact=0.04)),
        SwingParameters(barrel=Barrel(barrel_speed=9.0)),
    ],
)
def test_positions_that_no_body_reaches_are_refused(impossible: SwingParameters) -> None:
    with pytest.raises(OptionError):
        pose_swing(impossible, 120.0)


def test_a_leg_that_is_too_short_bends_no_further_than_it_must() -> None:
    asked = SwingParameters(landing=Landing(front_knee_flexion_deg=0.0, back_share=0.40), stride=Stride(length=0.50))
    swing = pose_swing(asked, 500.0)
    for side in ("front", "back"):
        knee = flexion_deg(swing, f"{side}_hip", f"{side}_knee", f"{side}_ankle")
        assert 5 < knee.min() < 20
        assert np.abs(np.diff(knee)).max() * 500 < 1200
    plant = at(swing, "plant")
    knee = flexion_deg(swing, "front_hip", "front_knee", "front_ankle")
    # What became of the knee is told; what could be had stays as asked.
    assert swing.parameters.landing.front_knee_flexion_deg == pytest.approx(knee[plant], abs=0.01)
    assert swing.parameters.landing.back_share == 0.40
    com = centre_of_mass(by_name(swing), sides=("front", "back"))[plant, 0]
    front, back = (0.5 * (swing[f"{s}_heel"] + swing[f"{s}_ball"])[plant, 0] for s in ("front", "back"))
    assert (front - com) / (front - back) == pytest.approx(0.40, abs=1e-6)


def test_a_contact_out_of_reach_comes_closer() -> None:
    asked = SwingParameters(barrel=Barrel(contact_depth=0.25, front_elbow_flexion_deg=60.0))
    swing = pose_swing(asked, 1000.0)
    contact = at(swing, "contact")
    depth = (sweet_spot(swing)[contact, 0] - swing["front_ankle"][contact, 0]) / 1.80
    assert 0.06 < depth < 0.20
    assert swing.parameters.barrel.contact_depth == pytest.approx(depth, abs=1e-5)
    assert swing.parameters.barrel.front_elbow_flexion_deg < 60
    velocity = np.gradient(sweet_spot(swing), 1e-3, axis=0)[contact]
    assert np.linalg.norm(velocity) == pytest.approx(30.0, rel=2e-3)


def test_parameters_that_can_be_had_are_kept(dense: PosedSwing) -> None:
    assert dense.parameters == SwingParameters()


def test_a_toe_tap_touches_the_floor_behind_the_stance() -> None:
    timing = Timing(start=-1.2, still=-1.1, stance=-0.85, lift=-0.75, load=-0.65)
    swing = pose_swing(SwingParameters(timing=timing, stride=Stride(tap_back=0.08, foot_height=0.07)), 1000.0)
    lift, plant = at(swing, "lift"), at(swing, "plant")
    ball = swing["front_ball"][lift:plant]
    resting = swing["front_ball"][0]
    down = np.abs(ball[:, 2] - resting[2]) < 1e-6
    # Off the floor, on it, and off again.
    assert np.count_nonzero(np.diff(down.astype(int))) >= 3
    tapped = np.flatnonzero(down & (np.arange(len(ball)) > 50) & (np.arange(len(ball)) < len(ball) - 50))
    assert len(tapped) > 60
    assert np.ptp(ball[tapped], axis=0).max() < 3e-6
    assert resting[0] - ball[tapped[0], 0] == pytest.approx(0.08 * 1.80, abs=1e-6)


def test_the_bat_keeps_clear_of_the_head_where_asked() -> None:
    wrapped = SwingParameters(landing=Landing(bat_off_aim_deg=-20.0, bat_flatter_deg=8.0))
    through, clear = (
        pose_swing(replace(wrapped, barrel=Barrel(head_clearance=clearance)), 250.0) for clearance in (0.0, 0.085)
    )
    assert bat_to_head(through).min() < 0.05
    assert bat_to_head(clear).min() > 0.075
    contact = at(clear, "contact")
    assert clear.points[contact] == pytest.approx(through.points[contact], abs=1e-4)


def bat_to_head(swing: PosedSwing) -> FloatArray:
    """Least distance of the head's middle from points along the bat, over height."""
    along = np.linspace(0.0, 1.0, 201)[:, None, None]
    places = (1 - along) * swing["bat_knob"] + along * swing["bat_barrel"]
    least: FloatArray = np.linalg.norm(places - swing["head"], axis=2).min(axis=0) / swing.parameters.height_m
    return least
