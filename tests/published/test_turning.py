"""Turning speeds and turning axes of a whole swing against rigid motions that are known in closed form.

A body that turns at a constant rate w about a fixed line and slides along it at v has the angular velocity w along the
line everywhere, and every step of it, however long, is a screw about that line with the slide v t (Chasles' theorem).
Where the line itself travels sideways at u across a vertical turn, the axis of every step lies beside it, always at the
same distance, so its crossing of the floor travels at u too. A smooth movement without a fixed axis is made by
`scipy.spatial.transform` (`RotationSpline`), which gives its angular velocity on its own.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, RotationSpline

import mocap
from mocap.swing import POINTS, Swing

RATE = 480.0
FRAMES = 241
MOMENTS = {
    "stance": 0,
    "lift": 20,
    "toe_touch": 78,
    "plant": 80,
    "foot_flat": 82,
    "level": 130,
    "contact": 152,
    "extension": 170,
    "finish": 220,
}
TIME = (np.arange(FRAMES) - MOMENTS["plant"]) / RATE
TURN_S = (MOMENTS["contact"] - MOMENTS["plant"]) / RATE
#: Between frames paths are cubics; a turn of up to 3 deg per frame leaves less than this of a speed. [-]
SPEED_SHARE = 1e-3
PREFIXES = ("", "pelvis_")


def carried(body: np.ndarray, rotation: Rotation, path: np.ndarray, make) -> Swing:
    """A swing whose whole body, bat included, is one rigid piece: p -> R p + path, (F, 3)."""
    points = np.stack([rotation.apply(place) + path for place in body], axis=1)
    at_rest = {"pelvis": Rotation.from_euler("ZYX", [80, 5, -10], degrees=True), "thorax": Rotation.identity()}
    frames = {name: (rotation * rest).as_matrix() for name, rest in at_rest.items()}
    return make(points, RATE, MOMENTS, frames=frames)


def screw(
    body: np.ndarray, make, direction: np.ndarray, place: np.ndarray, rate_deg_s: float, slide_m_s: float
) -> Swing:
    """The body on a screw about the line through `place`."""
    rotation = Rotation.from_rotvec(np.radians(rate_deg_s) * TIME[:, None] * direction)
    path = place - rotation.apply(place) + slide_m_s * TIME[:, None] * direction
    return carried(body, rotation, path, make)


def line(body: np.ndarray, first: str, second: str) -> np.ndarray:
    vector = body[POINTS.index(second)] - body[POINTS.index(first)]
    return vector / np.linalg.norm(vector)


def leaning(tilt_deg: float, toward_deg: float) -> np.ndarray:
    a, b = np.radians([tilt_deg, toward_deg])
    return np.array([np.sin(a) * np.cos(b), np.sin(a) * np.sin(b), np.cos(a)])


SCREWS = [
    # tilt, its heading, turning speed [deg/s], slide [m/s]
    (0.0, 0.0, 700.0, 0.0),
    (25.0, 90.0, 700.0, 0.3),
    (25.0, -140.0, 950.0, -0.4),
    (50.0, 30.0, 300.0, 0.8),
    (80.0, 10.0, 1200.0, 0.2),
]


@pytest.mark.parametrize(("tilt", "toward", "rate", "slide"), SCREWS)
def test_a_screw_is_found_whole(
    tilt: float, toward: float, rate: float, slide: float, body_at_contact: np.ndarray, swing_by_hand
) -> None:
    direction = leaning(tilt, toward)
    swing = screw(body_at_contact, swing_by_hand, direction, np.array([0.1, 0.2, 0.9]), rate, slide)
    measures = mocap.measure(swing, count=0).measures
    for segment in ("pelvis", "trunk"):
        assert measures[f"{segment}_turn_speed"].value == pytest.approx(rate, rel=SPEED_SHARE)
    for prefix in PREFIXES:
        assert measures[f"{prefix}turn_axis_tilt"].value == pytest.approx(tilt, abs=1e-4)
        # The rise of a turn that climbs its axis is positive, whichever way round it turns.
        assert measures[f"{prefix}turn_axis_slide"].value == pytest.approx(slide * TURN_S, abs=1e-6)
        assert measures[f"{prefix}turn_axis_wander"].value == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("tilt", "toward", "rate", "slide"), SCREWS)
def test_the_other_way_round(
    tilt: float, toward: float, rate: float, slide: float, body_at_contact, swing_by_hand
) -> None:
    """A clockwise turn has its axis pointing down; lean and rise are those of the line all the same."""
    direction = leaning(tilt, toward)
    swing = screw(body_at_contact, swing_by_hand, direction, np.array([0.1, 0.2, 0.9]), -rate, slide)
    measures = mocap.measure(swing, count=0).measures
    assert measures["pelvis_turn_speed"].value == pytest.approx(rate, rel=SPEED_SHARE)
    for prefix in PREFIXES:
        assert measures[f"{prefix}turn_axis_tilt"].value == pytest.approx(tilt, abs=1e-4)
        assert measures[f"{prefix}turn_axis_slide"].value == pytest.approx(slide * TURN_S, abs=1e-6)


@pytest.mark.parametrize(("tilt", "toward"), [(0.0, 0.0), (25.0, 90.0), (60.0, -30.0)])
def test_arm_and_bat_turn_as_lines_do(tilt: float, toward: float, body_at_contact, swing_by_hand) -> None:
    """A line at the angle g to the axis swings round at w sin g; its roll about itself, w cos g, does not show."""
    direction, rate = leaning(tilt, toward), 800.0
    swing = screw(body_at_contact, swing_by_hand, direction, np.array([0.0, 0.1, 0.9]), rate, 0.2)
    measures = mocap.measure(swing, count=0).measures
    for segment, ends in {"arm": ("front_shoulder", "front_elbow"), "bat": ("bat_knob", "bat_barrel")}.items():
        across = np.linalg.norm(np.cross(direction, line(body_at_contact, *ends)))
        assert measures[f"{segment}_turn_speed"].value == pytest.approx(rate * across, rel=SPEED_SHARE)


@pytest.mark.parametrize("sideways", [0.2, 0.6])
def test_an_axis_that_travels_wanders_as_far(sideways: float, body_at_contact, swing_by_hand) -> None:
    rotation = Rotation.from_rotvec(np.radians(720.0) * TIME[:, None] * np.array([0.0, 0.0, 1.0]))
    path = TIME[:, None] * np.array([sideways * 0.6, sideways * 0.8, 0.0])
    measures = mocap.measure(carried(body_at_contact, rotation, path, swing_by_hand), count=0).measures
    # Places spread evenly over the length L have the root mean square distance L / sqrt(12) from their middle; so do
    # N of them at the ends of N - 1 equal steps but for sqrt((N + 1) / (N - 1)).
    count = MOMENTS["contact"] - MOMENTS["plant"] + 1
    wander = sideways * TURN_S / np.sqrt(12.0) * np.sqrt((count + 1) / (count - 1))
    for prefix in PREFIXES:
        assert measures[f"{prefix}turn_axis_wander"].value == pytest.approx(wander, rel=0.02)
        assert measures[f"{prefix}turn_axis_tilt"].value == pytest.approx(0.0, abs=1e-4)
        assert measures[f"{prefix}turn_axis_slide"].value == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_a_movement_of_scipys(seed: int, body_at_contact, swing_by_hand) -> None:
    """The greatest turning speed, and its time, of a smooth movement whose axis changes all the while."""
    rng = np.random.default_rng(seed)
    knots = np.array([TIME[0], -0.05, 0.04, 0.10, 0.15, TIME[-1]])
    turned = np.cumsum([0.0, 15.0, 35.0, 60.0, 30.0, 25.0])
    leans = rng.normal(0.0, 6.0, (len(knots), 2))
    spline = RotationSpline(knots, Rotation.from_euler("ZYX", np.column_stack([turned, leans]), degrees=True))
    swing = carried(body_at_contact, spline(TIME), np.tile([0.0, 0.0, 0.1], (FRAMES, 1)), swing_by_hand)
    measures = mocap.measure(swing, count=0).measures
    fine = np.linspace(0.0, TURN_S, 4001)
    speed = np.degrees(np.linalg.norm(spline(fine, 1), axis=1))
    assert 0.02 < fine[np.argmax(speed)] < TURN_S - 0.005  # the case is a peak, not an end
    for segment in ("pelvis", "trunk"):
        assert measures[f"{segment}_turn_speed"].value == pytest.approx(speed.max(), rel=2e-3)
        assert measures[f"{segment}_turn_time"].value == pytest.approx(fine[np.argmax(speed)], abs=1e-3)


def test_the_lean_is_that_of_scipys_rotation_vectors(body_at_contact, swing_by_hand) -> None:
    """Two turns about one tilted line, slow then fast: the lean is that of each step's rotation vector."""
    direction = leaning(33.0, 70.0)
    angle = np.radians(60.0 * TIME + 150.0 * (TIME - TIME[0]) ** 2)
    rotation = Rotation.from_rotvec(angle[:, None] * direction)
    swing = carried(body_at_contact, rotation, np.zeros((FRAMES, 3)), swing_by_hand)
    measures = mocap.measure(swing, count=0).measures
    posed = Rotation.from_matrix(swing.frames["pelvis"])
    first, last = posed[MOMENTS["plant"]], posed[MOMENTS["contact"]]
    steps = (last * first.inv()).as_rotvec()
    lean = np.degrees(np.arccos(steps[2] / np.linalg.norm(steps)))
    assert measures["pelvis_turn_axis_tilt"].value == pytest.approx(lean, abs=1e-4)
    # The speed grows up to contact, so the greatest lies there or a hundredth of a second later.
    at_contact, later = (60.0 + 300.0 * (t - TIME[0]) for t in (TURN_S, TURN_S + 0.01))
    assert at_contact * (1 - SPEED_SHARE) < measures["pelvis_turn_speed"].value < later * (1 + SPEED_SHARE)
