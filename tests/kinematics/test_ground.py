"""Measures of the ground forces on curves drawn by hand, so that each number can be worked out on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.kinematics import ground
from mocap.kinematics.ground import PLATE_SDS, force_curves
from mocap.kinematics.readings import NotMeasurableError, readings
from mocap.kinematics.registry import REGISTRY
from mocap.kinematics.uncertainty import drawn
from mocap.swing import MOMENTS, POINTS, FootForces, Hitter, Moment, Setup, Swing

RATE, PLATES_HZ, LAST_S = 200.0, 1000.0, 0.5
MASS_KG = 100.0
WEIGHT_N = MASS_KG * 9.80665
TIMES = dict(zip(MOMENTS, (0.0, 0.025, 0.09, 0.10, 0.11, 0.2, 0.3, 0.35, 0.45), strict=True))
#: Front foot at x = +0.5, back foot at -0.5, centre of mass at -0.06.
FRONT, BACK, COM_X = 0.5, -0.5, -0.06
TIME = np.arange(round(LAST_S * PLATES_HZ) + 1) / PLATES_HZ


def lines(*corners: tuple[float, float]) -> np.ndarray:
    """A curve of straight pieces through (time, value)."""
    return np.interp(TIME, *np.transpose(corners))


#: Shares of body weight. The front foot's load rises by 8 per second from 0.08 s to 1.2 and stays; the back foot's
#: falls from 1.1 by 10/3 per second to 0.1 at contact and stays; the braking rises by 5 per second from plant to 0.5.
FRONT_LOAD = lines((0.08, 0.0), (0.23, 1.2))
BACK_LOAD = lines((0.0, 1.1), (0.3, 0.1))
BRAKING = lines((0.10, 0.0), (0.20, 0.5))


def forces_of(
    front: np.ndarray = FRONT_LOAD, back: np.ndarray = BACK_LOAD, braking: np.ndarray = BRAKING, y: float = 0.0
) -> FootForces:
    """Forces of loads in body weights; `y` is the front foot's sideways force over its load."""
    none = 0.0 * front
    places = [
        np.where(load[:, None] * WEIGHT_N > 20.0, [x, 0.0, 0.0], np.nan) for load, x in ((front, FRONT), (back, BACK))
    ]
    feet = np.stack([-braking, y * front, front], axis=1), np.stack([none, none, back], axis=1)
    return FootForces(WEIGHT_N * feet[0], WEIGHT_N * feet[1], *places, PLATES_HZ)


def swing_of(**changes: object) -> Swing:
    frames = round(LAST_S * RATE) + 1
    points = np.zeros((frames, len(POINTS), 3))
    for column, name in enumerate(POINTS):
        points[:, column, 0] = FRONT if name.startswith("front") else BACK if name.startswith("back") else 0.0
    swing = Swing(
        source="by hand",
        hitter=Hitter(height_m=2.0, mass_kg=MASS_KG, bats="right"),
        height_sd_m=0.0,
        setup=Setup(),
        rate_hz=RATE,
        points=points,
        point_sd_m=np.zeros(len(POINTS)),
        noise_m=np.zeros(len(POINTS)),
        cutoff_hz=np.full(len(POINTS), 14.0),
        filled=np.zeros(points.shape[:2], dtype=bool),
        frames={},
        com=np.tile([COM_X, 0.0, 1.0], (frames, 1)),
        head_forward=np.full((frames, 3), np.nan),
        moments={n: Moment(n, round(t * RATE), t, 0.0, "set by hand") for n, t in TIMES.items()},
        forces=forces_of(),
        heading_method="given",
        heading_sd_rad=0.0,
        plate_known=True,
        lab_from_hitting=np.eye(4),
    )
    return replace(swing, **changes)  # type: ignore[arg-type]


def value(swing: Swing, name: str) -> float:
    assert REGISTRY[name].missing(swing) == ""
    return float(REGISTRY[name].function(readings(swing, 0.0))[0])


def spread(swing: Swing, name: str) -> np.ndarray:
    return np.concatenate([REGISTRY[name].function(batch) for batch in drawn(swing)])


def without(swing: Swing, *moments: str) -> Swing:
    lost = {name: Moment(name, None, None, None, "", "not there") for name in moments}
    return replace(swing, moments={**swing.moments, **lost})


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("back_peak_force", 1.1),  # at the stance, where it begins
        ("front_peak_force", 1.2),
        ("braking_force", 0.5),
        ("braking_rise_time", 0.08),  # 0.05 to 0.45 at 5 per second
        ("force_shift_time", (1.1 + 0.64) / (8.0 + 10.0 / 3.0) - 0.10),  # 8 (t - 0.08) = 1.1 - 10/3 t
        ("contact_force_share", 0.1 / 1.3),
        # At plant the feet carry 0.16 and 1.1 - 1/3; the pressure lies as far from the front foot as the back's share.
        ("pressure_travel", (1.1 - 1.0 / 3.0) / (1.26 - 1.0 / 3.0) - 0.1 / 1.3),
        # At 0.11 s they carry 0.24 and 1.1 - 1.1/3; by posture the back foot has 0.56.
        ("share_difference", 0.56 - (1.1 - 1.1 / 3.0) / (1.34 - 1.1 / 3.0)),
    ],
)
def test_measures_of_drawn_curves(name: str, expected: float) -> None:
    # What is left is what the filter makes of the corners.
    assert value(swing_of(), name) == pytest.approx(expected, abs=2.5e-3)
    assert REGISTRY[name].family == "ground"


def test_every_measure_of_the_chapter_is_tested_above() -> None:
    assert len([entry for entry in REGISTRY.values() if entry.family == "ground"]) == 8


def test_braking_pushes_the_hitter_toward_the_catcher() -> None:
    pushing = swing_of(forces=forces_of(braking=-BRAKING))
    assert value(pushing, "braking_force") == pytest.approx(0.0, abs=3e-3)
    always = swing_of(forces=forces_of(braking=np.full(len(TIME), -0.2)))
    assert value(always, "braking_force") == pytest.approx(-0.2)
    with pytest.raises(NotMeasurableError, match="the front foot does not brake between plant and contact"):
        value(always, "braking_rise_time")


def test_rise_is_that_to_the_peak_not_that_of_an_earlier_hump() -> None:
    # A first hump of 0.2 comes down to nothing before the rise of 0.8 at 10 per second.
    braking = lines((0.10, 0.0), (0.12, 0.2), (0.14, 0.0), (0.16, 0.0), (0.24, 0.8))
    assert value(swing_of(forces=forces_of(braking=braking)), "braking_rise_time") == pytest.approx(0.064, abs=1e-3)


def test_who_brakes_since_long_has_no_rise() -> None:
    steady = swing_of(forces=forces_of(braking=np.full(len(TIME), 0.3)))
    with pytest.raises(NotMeasurableError, match=r"brakes already 0\.1 s before plant"):
        value(steady, "braking_rise_time")


def test_peaks_leave_out_the_blow() -> None:
    # The plates ring from contact on.
    ringing = np.where(TIME >= 0.30, 0.4 * np.sin(2.0 * np.pi * 60.0 * (TIME - 0.30)), 0.0)
    struck = swing_of(forces=forces_of(front=FRONT_LOAD + ringing, braking=BRAKING + ringing))
    for name in ("front_peak_force", "braking_force"):
        assert value(struck, name) == pytest.approx(value(swing_of(), name), abs=0.01)


def test_ringing_of_a_plate_is_no_peak() -> None:
    ringing = swing_of(forces=forces_of(front=FRONT_LOAD + 0.2 * np.sin(2.0 * np.pi * 400.0 * TIME)))
    assert value(ringing, "front_peak_force") == pytest.approx(1.2, abs=0.005)


def test_a_front_foot_that_never_takes_over_is_said_so() -> None:
    light = swing_of(forces=forces_of(front=0.2 * FRONT_LOAD, back=np.ones(len(TIME))))
    with pytest.raises(NotMeasurableError, match="never carries more than the back foot between plant and finish"):
        value(light, "force_shift_time")
    late = forces_of(front=lines((0.30, 0.5), (0.34, 1.3)), back=np.full(len(TIME), 0.7))
    assert value(swing_of(forces=late), "force_shift_time") == pytest.approx(0.21, abs=1e-3)
    # Without a finish it is looked for up to contact.
    with pytest.raises(NotMeasurableError, match="between plant and contact"):
        value(without(swing_of(forces=late), "finish"), "force_shift_time")


def test_body_weight_is_read_off_a_quiet_stand_where_the_mass_is_not_given() -> None:
    moments = {**swing_of().moments, "lift": Moment("lift", 60, 0.30, 0.0, "set by hand")}
    loads = {"front": np.full(len(TIME), 0.4), "back": lines((0.29, 0.6), (0.30, 0.9))}
    swing = swing_of(hitter=Hitter(height_m=2.0, bats="right"), forces=forces_of(**loads), moments=moments)
    assert force_curves(swing).weight_n == pytest.approx(WEIGHT_N)
    alone = replace(swing, forces=forces_of(front=0.0 * TIME, back=loads["back"]))
    assert force_curves(alone).weight_n is None
    with pytest.raises(NotMeasurableError, match="the hitter's mass is not given, and both feet do not stand"):
        value(alone, "back_peak_force")
    # Shares need no weight.
    assert value(alone, "contact_force_share") == pytest.approx(1.0)


def test_without_plates_the_reason_is_passed_on() -> None:
    why = "both feet land on force plate 1: what each of them carries cannot be told"
    for entry in [entry for entry in REGISTRY.values() if entry.family == "ground"]:
        with pytest.raises(NotMeasurableError, match=why):
            entry.function(readings(swing_of(forces=None, forces_why=why), 0.0))
    with pytest.raises(NotMeasurableError, match="no force plates were recorded"):
        force_curves(swing_of(forces=None))


def test_a_swing_without_contact_lacks_what_needs_one() -> None:
    swing = without(swing_of(), "contact")
    assert REGISTRY["front_peak_force"].missing(swing) == "contact was not found: not there"
    assert REGISTRY["back_peak_force"].missing(swing) == ""
    assert REGISTRY["share_difference"].missing(swing) == ""


def test_a_held_position_is_compared_at_plant() -> None:
    held = without(swing_of(setup=Setup(held=True)), *(name for name in MOMENTS if name != "plant"))
    still = forces_of(front=np.full(len(TIME), 0.44), back=np.full(len(TIME), 0.56), braking=0.0 * TIME)
    assert value(replace(held, forces=still), "share_difference") == pytest.approx(0.0, abs=1e-9)


def test_feet_side_by_side_have_no_way_between_them() -> None:
    together = swing_of(points=np.zeros_like(swing_of().points))
    for name in ("pressure_travel", "share_difference"):
        with pytest.raises(NotMeasurableError, match="closer than 10 cm"):
            value(together, name)


# ------------------------------------------------------------------ curves


def test_curves() -> None:
    curves = force_curves(swing_of())
    assert curves.time_s == pytest.approx(TIME)
    calm = (TIME > 0.12) & (TIME < 0.18)
    front, back = FRONT_LOAD[calm], BACK_LOAD[calm]
    assert curves.in_body_weights("front")[calm, 2] == pytest.approx(front, abs=1e-3)
    assert curves.in_body_weights("back")[calm, 2] == pytest.approx(back, abs=1e-3)
    assert curves.back_share[calm] == pytest.approx(back / (front + back), abs=1e-3)
    assert curves.pressure[calm, 0] == pytest.approx((FRONT * front + BACK * back) / (front + back), abs=1e-3)


def test_a_light_foot_still_counts_where_its_place_is_not_told() -> None:
    # 15 N are too little for a plate to say where they act; before they were more.
    back = lines((0.30, 0.1), (0.31, 15.0 / WEIGHT_N))
    curves = force_curves(swing_of(forces=forces_of(back=back)))
    share = 15.0 / (15.0 + 1.2 * WEIGHT_N)
    assert curves.pressure[-50, 0] == pytest.approx(FRONT - share, abs=1e-6)
    assert curves.back_share[-50] == pytest.approx(share, abs=1e-6)


def test_who_is_off_the_floor_has_neither_share_nor_pressure() -> None:
    jump = np.where((TIME > 0.35) & (TIME < 0.45), 0.0, 0.5)
    curves = force_curves(swing_of(forces=forces_of(front=jump, back=jump)))
    assert np.isnan(curves.back_share[400])
    assert np.isnan(curves.pressure[400]).all()
    assert curves.back_share[200] == pytest.approx(0.5)


# ------------------------------------------------------------------ errors


def test_plates_err_as_stated() -> None:
    swing = swing_of()
    assert spread(swing, "front_peak_force").std() == pytest.approx(1.2 * PLATE_SDS["force"], rel=0.05)
    # Calibration, and the cross-talk of a vertical force of 1.2 over a braking one of 0.5.
    stated = np.hypot(0.5 * PLATE_SDS["force"], 1.2 * PLATE_SDS["cross_talk"])
    assert spread(swing, "braking_force").std() == pytest.approx(stated, rel=0.15)
    # The loads pass each other at 11.3 per second.
    load = 8.0 * (0.05353 + 0.02)
    stated = PLATE_SDS["balance"] * load / (8.0 + 10.0 / 3.0)
    assert spread(swing, "force_shift_time").std() == pytest.approx(stated, rel=0.1)
    share = 0.1 / 1.3
    stated = PLATE_SDS["balance"] * share * (1.0 - share)
    assert spread(swing, "contact_force_share").std() == pytest.approx(stated, rel=0.1)


def test_errors_of_the_direction_to_the_pitcher_bring_in_sideways_force() -> None:
    straight, aslant = swing_of(forces=forces_of(y=0.3)), swing_of(forces=forces_of(y=0.3), heading_sd_rad=0.1)
    spreads = [spread(swing, "braking_force").std() for swing in (straight, aslant)]
    # 0.3 of a load of 1.2, over 0.1 rad.
    assert np.sqrt(spreads[1] ** 2 - spreads[0] ** 2) == pytest.approx(0.036, rel=0.15)


def test_the_swing_as_recorded_has_no_errors_and_every_draw_is_the_same_again() -> None:
    swing = swing_of()
    assert ground._errors(readings(swing, 0.0), "force") == pytest.approx([0.0])
    batch = next(drawn(swing))
    forces, balance = (ground._errors(batch, name) for name in ("force", "balance"))
    assert forces.mean() == pytest.approx(0.0, abs=1e-12)
    assert abs(np.corrcoef(forces, balance)[0, 1]) < 0.3
    assert spread(swing, "front_peak_force") == pytest.approx(spread(swing, "front_peak_force"))


def test_times_err_with_their_moments() -> None:
    moments = {**swing_of().moments, "plant": replace(swing_of().moments["plant"], sd_s=0.004)}
    assert spread(swing_of(moments=moments), "force_shift_time").std() == pytest.approx(0.004, rel=0.2)
    # Posture and plates are read at the same drawn time.
    assert spread(swing_of(), "share_difference").std() == pytest.approx(
        np.hypot(0.010, PLATE_SDS["pressure"]), rel=0.15
    )
