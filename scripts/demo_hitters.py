"""The invented hitters of the demo sessions: a roster, and one of them on three dates.

    python scripts/demo_hitters.py

prints them. No one here is a real person.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.reference.parameters import (  # noqa: E402
    Barrel,
    Finish,
    Landing,
    Stance,
    Stride,
    SwingParameters,
    Timing,
    TurnOfBody,
)
from mocap.virtual.draws import HEAD_CLEARANCE, earlier  # noqa: E402
from mocap.virtual.flaws import back_foot_stays, front_leg_gives, lands_forward, opens_early  # noqa: E402
from mocap.virtual.hitter import VirtualHitter  # noqa: E402

#: Share of its turning speed that a bat loses to a ball off the tee.
IMPACT = 0.30
SOUND = SwingParameters(barrel=Barrel(head_clearance=HEAD_CLEARANCE, impact_loss=IMPACT))
#: The front knee of a youth straightens half as far: Escamilla et al. (2009), 32 deg.
YOUTHS_LANDING = Landing(front_knee_flexion_deg=33.0, front_knee_gives_deg=14.0)

#: Narrow, tall and open, the bat high and upright, a leg kick.
ROOK = VirtualHitter(
    "rook",
    "Rook",
    earlier(
        replace(
            SOUND,
            height_m=1.84,
            stance=Stance(
                width=0.19,
                front_foot_away=0.085,
                front_foot_open_deg=36.0,
                pelvis_open_deg=12.0,
                trunk_open_deg=6.0,
                back_share=0.60,
                back_knee_flexion_deg=36.0,
                lean_to_plate_deg=14.0,
                hands=(-0.150, 0.165, 0.045),
                bat_heading_deg=88.0,
                bat_elevation_deg=74.0,
            ),
            stride=Stride(foot_height=0.20, back_share_at_load=0.80, back_knee_flexion_deg=54.0),
        ),
        0.16,
    ),
    mass_kg=88.0,
)
#: Wide, low and closed, the bat flat behind him; hardly strides at all.
BIRCH = VirtualHitter(
    "birch",
    "Birch",
    replace(
        SOUND,
        height_m=1.78,
        stance=Stance(
            width=0.40,
            front_foot_away=-0.045,
            front_foot_open_deg=4.0,
            pelvis_open_deg=-10.0,
            trunk_open_deg=-14.0,
            back_share=0.54,
            back_knee_flexion_deg=66.0,
            lean_to_plate_deg=27.0,
            hands=(-0.165, 0.168, -0.055),
            bat_heading_deg=118.0,
            bat_elevation_deg=30.0,
        ),
        stride=Stride(foot_height=0.055, back_share_at_load=0.64, back_knee_flexion_deg=66.0),
    ),
    mass_kg=84.0,
)
#: Eight years old.
WREN = VirtualHitter(
    "wren",
    "Wren",
    replace(
        SOUND,
        height_m=1.29,
        timing=Timing(deepest=0.125, contact=0.285, finish=0.59),
        stance=replace(SOUND.stance, width=0.26, back_knee_flexion_deg=44.0, bat_heading_deg=85.0),
        stride=replace(SOUND.stride, length=0.39, foot_height=0.08),
        landing=YOUTHS_LANDING,
        turn=replace(
            SOUND.turn,
            pelvis_speed_deg_s=540.0,
            pelvis_peak_before_contact=0.090,
            trunk_speed_deg_s=700.0,
            trunk_peak_before_contact=0.064,
            front_knee_flexion_at_contact_deg=16.0,
            back_share_at_contact=0.445,
        ),
        barrel=replace(
            SOUND.barrel, bat_length_m=0.66, bat_mass_kg=0.45, barrel_speed=19.5, plate_line_m=0.66, attack_deg=9.0
        ),
    ),
    mass_kg=27.0,
    sex="female",
    level="youth",
)
#: Bats left, taps the toes before he strides.
SORREL = VirtualHitter(
    "sorrel",
    "Sorrel",
    earlier(
        replace(
            SOUND,
            height_m=1.73,
            stance=replace(SOUND.stance, width=0.27, bat_heading_deg=80.0, hands=(-0.150, 0.170, 0.010)),
            stride=replace(SOUND.stride, tap_back=0.075, foot_height=0.07),
            turn=replace(SOUND.turn, trunk_speed_deg_s=880.0, pelvis_speed_deg_s=700.0),
            barrel=replace(SOUND.barrel, barrel_speed=29.0, bat_length_m=0.825),
        ),
        0.25,
    ),
    mass_kg=71.0,
    bats="left",
    level="college",
)
#: Lands on the front foot.
FORWARD = lands_forward(replace(SOUND, height_m=1.90), 1.0)
FLINT = VirtualHitter(
    "flint", "Flint", replace(FORWARD, landing=replace(FORWARD.landing, back_share=0.35)), mass_kg=97.0
)
#: Opens early.
OPEN = opens_early(
    replace(
        SOUND,
        height_m=1.70,
        stride=replace(SOUND.stride, direction_deg=6.0),
        turn=replace(SOUND.turn, trunk_speed_deg_s=860.0, pelvis_speed_deg_s=700.0),
        barrel=replace(SOUND.barrel, bat_length_m=0.81, bat_mass_kg=0.79, barrel_speed=28.0),
    ),
    1.0,
)
HEATH = VirtualHitter(
    "heath",
    "Heath",
    replace(OPEN, landing=replace(OPEN.landing, pelvis_open_deg=42.0, trunk_open_deg=25.0)),
    mass_kg=63.0,
    sex="female",
    level="college",
)
#: The back foot never turns.
REED = VirtualHitter(
    "reed",
    "Reed",
    back_foot_stays(replace(SOUND, height_m=1.81), 1.0),
    mass_kg=79.0,
)
#: A long bat, flat and wrapped at landing.
OAK = VirtualHitter(
    "oak",
    "Oak",
    replace(
        SOUND,
        height_m=1.96,
        stance=replace(SOUND.stance, bat_heading_deg=50.0, bat_elevation_deg=42.0, hands=(-0.150, 0.165, 0.0)),
        stride=replace(SOUND.stride, hands=(-0.155, 0.165, 0.0)),
        landing=replace(SOUND.landing, bat_flatter_deg=48.0, bat_off_aim_deg=0.0, hands=(-0.165, 0.165, 0.005)),
        barrel=replace(SOUND.barrel, bat_length_m=0.88, bat_mass_kg=1.0, barrel_speed=30.5, head_clearance=0.07),
    ),
    mass_kg=104.0,
)

#: Lark's swing on three dates: forward and soft in the front leg at first, sound in the end.
LARK = replace(
    SOUND,
    height_m=1.66,
    timing=Timing(contact=0.270, finish=0.54),
    landing=YOUTHS_LANDING,
    turn=TurnOfBody(
        pelvis_speed_deg_s=610.0,
        pelvis_peak_before_contact=0.078,
        trunk_speed_deg_s=780.0,
        trunk_peak_before_contact=0.055,
        front_knee_flexion_at_contact_deg=16.0,
        back_share_at_contact=0.445,
    ),
    barrel=replace(SOUND.barrel, bat_length_m=0.80, bat_mass_kg=0.76, barrel_speed=25.5, plate_line_m=0.80),
    finish=Finish(front_knee_flexion_deg=22.0),
)
LARK_AT_FIRST = lands_forward(
    front_leg_gives(replace(LARK, barrel=replace(LARK.barrel, barrel_speed=23.5, attack_deg=3.0)), 0.4), 0.5
)


def roster() -> tuple[VirtualHitter, ...]:
    """Those seen once: two stances with one landing, a child, a left-handed hitter, and one for each of four faults."""
    return ROOK, BIRCH, WREN, SORREL, FLINT, HEATH, REED, OAK


def progress() -> tuple[tuple[date, VirtualHitter], ...]:
    """One hitter on three dates."""
    from mocap.reference.blend import blend

    days = (date(2026, 2, 6), date(2026, 3, 20), date(2026, 5, 8))
    swings = (LARK_AT_FIRST, blend(LARK_AT_FIRST, LARK, 0.55), LARK)
    return tuple(
        (day, VirtualHitter("lark", "Lark", swing, mass_kg=58.0, level="youth"))
        for day, swing in zip(days, swings, strict=True)
    )


def main() -> None:
    """Print the hitters."""
    for hitter in roster():
        print(f"{hitter.name}: {hitter.height_m:.2f} m, {hitter.mass_kg:.0f} kg, bats {hitter.bats}, {hitter.level}")
    for day, hitter in progress():
        print(f"{hitter.name} on {day}: {hitter.height_m:.2f} m, {hitter.mass_kg:.0f} kg, bats {hitter.bats}")


if __name__ == "__main__":
    main()
