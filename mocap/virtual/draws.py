"""Bodies and swings drawn at random: what a level brings, and what hitters do differently."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from mocap.reference.parameters import Barrel, SwingParameters, Timing
from mocap.reference.pitch_location import ACROSS, HEIGHT, at_pitch

Level = Literal["adult", "college", "youth"]
Sex = Literal["male", "female"]

#: Stature for age: median and 95th percentile by age in years and sex, CDC growth charts (statage.csv). [m]
STATURE_AGES = (8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 18.0, 20.0)
STATURE_M: dict[Sex, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "male": (
        (1.279, 1.335, 1.386, 1.435, 1.491, 1.561, 1.638, 1.762, 1.768),
        (1.376, 1.439, 1.497, 1.553, 1.616, 1.691, 1.767, 1.878, 1.885),
    ),
    "female": (
        (1.276, 1.329, 1.380, 1.440, 1.512, 1.572, 1.604, 1.631, 1.633),
        (1.376, 1.435, 1.493, 1.561, 1.632, 1.684, 1.712, 1.738, 1.740),
    ),
}
#: The 95th percentile lies this many standard deviations over the median.
P95 = 1.645


@dataclass(frozen=True)
class Kind:
    """What hitters of a level share: ages, and mean and standard deviation over hitters.

    Greatest turning speeds of pelvis and trunk [deg/s], speed of the sweet spot at contact [m/s], body mass index at
    the ages' ends [kg/m2], time from plant to contact [s].
    """

    ages: tuple[float, float]
    pelvis: tuple[float, float]
    trunk: tuple[float, float]
    bat: tuple[float, float]
    mass_index: tuple[float, float]
    contact: float


#: Pelvis 714 and shoulders 937 deg/s: Welch et al. (1995), professionals. Upper torso 857 deg/s and bat 30 m/s in
#: adults, 717 deg/s and 25 m/s in youths: Escamilla et al. (2009), J Appl Biomech 25:210-218. Bat 30 +- 2 m/s, twenty
#: college players: Sports Biomech 2023, 10.1080/14763141.2023.2269418. Youths' pelvis in the professionals' proportion
#: to the trunk. Mass index 25.2: Inkster et al. (2011). Other means and deviations: this project's own.
LEVELS: dict[Level, Kind] = {
    "adult": Kind((20.0, 20.0), (714.0, 45.0), (900.0, 50.0), (30.0, 1.8), (25.2, 25.8), 0.275),
    "college": Kind((18.0, 20.0), (700.0, 45.0), (870.0, 50.0), (29.5, 1.8), (24.2, 24.8), 0.277),
    "youth": Kind((8.0, 14.0), (546.0, 40.0), (717.0, 45.0), (25.0, 1.2), (16.2, 19.8), 0.270),
}
#: Stature at which a youth swings as fast as the published ones; shorter ones are slower in proportion. [m]
YOUTH_STATURE_M = 1.64
#: Women's bats are slower by this share, as in softball: 28.8 of 30 m/s, Reilly-Boccia et al. [-]
WOMENS_BAT = 0.96


#: Front knee: its bend at plant, by how much it bends on after that, and its bend at contact. [deg] From its greatest
#: bend on it straightens by 59 deg in adults and 32 deg in youths (Escamilla et al. 2009), who saw it bend by 31 and
#: 13 deg from the first touch on. Here adults bend on by some 23 deg from the touch and straighten by some 43 deg: a
#: body that sinks and rises by more in that time would fall nearly freely at first and then press harder than the 1.6
#: body weights published for the front foot.
FRONT_KNEE_DEG: dict[Level, tuple[float, float, float]] = {
    "adult": (38.0, 21.0, 16.0),
    "college": (38.0, 21.0, 16.0),
    "youth": (33.0, 14.0, 16.0),
}

#: A body nearer to its front foot, or over a shorter stride, drops by more for the same bend of that knee: by so much
#: less does the knee bend on. [deg per share of the weight], [deg per share of height] It bends on by this at least,
#: and by so much more than is usual at most. [deg] This project's own.
GIVES_BY_BACK_SHARE, GIVES_BY_STRIDE = 230.0, 65.0
LEAST_GIVES_DEG, MORE_GIVES_DEG = 3.0, 3.0

#: The bat's axis stays this far from the middle of the head. [share of height]
HEAD_CLEARANCE = 0.085

#: Standard deviation over sound hitters of what they do differently, in the parameters' units. This project's own: wide
#: where hitters differ in the stance, narrow from landing on.
SPREADS: dict[str, dict[str, float]] = {
    "stance": {
        "width": 0.05,
        "front_foot_away": 0.012,
        "front_foot_open_deg": 6.0,
        "back_foot_open_deg": 4.0,
        "pelvis_open_deg": 4.0,
        "trunk_open_deg": 4.0,
        "back_share": 0.03,
        "back_knee_flexion_deg": 7.0,
        "lean_to_plate_deg": 3.0,
        "lean_back_deg": 2.0,
        "hands": 0.012,
        "bat_heading_deg": 14.0,
        "bat_elevation_deg": 6.0,
    },
    "stride": {
        "length": 0.030,
        "direction_deg": 3.0,
        "foot_height": 0.020,
        "back_share_at_load": 0.03,
        "back_knee_flexion_deg": 6.0,
        "pelvis_open_deg": 6.0,
        "trunk_open_deg": 5.0,
        "lean_to_plate_deg": 3.0,
        "lean_back_deg": 2.0,
        "hands": 0.010,
    },
    "landing": {
        "back_share": 0.022,
        "foot_open_deg": 7.0,
        "pelvis_open_deg": 4.0,
        "trunk_open_deg": 4.0,
        "front_knee_flexion_deg": 3.0,
        "front_knee_gives_deg": 0.7,
        "lean_to_plate_deg": 2.5,
        "lean_back_deg": 2.0,
        "hands": 0.009,
        "bat_off_aim_deg": 5.0,
        "bat_flatter_deg": 4.0,
    },
    "turn": {
        "pelvis_open_at_contact_deg": 4.0,
        "trunk_open_at_contact_deg": 4.0,
        "back_share_at_contact": 0.02,
        "front_knee_flexion_at_contact_deg": 1.2,
        "lean_to_plate_deg": 2.0,
        "lean_back_deg": 2.0,
        "back_foot_open_deg": 8.0,
        "back_heel_pitch_deg": 7.0,
        "hands_at_level": 0.006,
    },
    "barrel": {
        "attack_deg": 2.5,
        "contact_depth": 0.015,
        "contact_height": 0.015,
        "front_elbow_flexion_deg": 5.0,
        "bat_heading_deg": 3.0,
        "bat_tilt_deg": 3.0,
    },
    "finish": {
        "pelvis_open_deg": 4.0,
        "trunk_open_deg": 5.0,
        "back_share": 0.03,
        "front_knee_flexion_deg": 4.0,
        "front_foot_turn_deg": 5.0,
        "bat_turn_deg": 10.0,
    },
}


def draw_body(rng: np.random.Generator, level: Level) -> tuple[float, float, Sex]:
    """Height [m], mass [kg] and sex of a hitter."""
    kind = LEVELS[level]
    sex: Sex = "male" if rng.random() < 0.7 else "female"
    age = rng.uniform(*kind.ages)
    median, high = (float(np.interp(age, STATURE_AGES, row)) for row in STATURE_M[sex])
    height = float(np.clip(median + (high - median) / P95 * _normal(rng), 1.20, 2.05))
    share = (age - kind.ages[0]) / max(kind.ages[1] - kind.ages[0], 1.0)
    index = kind.mass_index[0] + share * (kind.mass_index[1] - kind.mass_index[0])
    index *= (0.95 if sex == "female" else 1.0) * (1.0 + 0.08 * _normal(rng))
    return height, index * height**2, sex


def sound_swing(rng: np.random.Generator, level: Level, height_m: float, sex: Sex) -> SwingParameters:
    """The default swing at a hitter's height, with a bat and speeds of his level, drawn in their ranges."""
    kind = LEVELS[level]

    def drawn(mean: float, sd: float) -> float:
        return mean + sd * _normal(rng)

    slower = min(1.0, height_m / YOUTH_STATURE_M) if level == "youth" else 1.0
    slower *= WOMENS_BAT if sex == "female" else 1.0
    length = float(np.clip(0.20 + 0.355 * height_m + 0.012 * _normal(rng), 0.63, 0.87))
    speed = drawn(*kind.bat) * slower
    # A slower bat takes longer to come round.
    contact = drawn(kind.contact, 0.004) * (1.0 + 0.5 * (1.0 / slower - 1.0))
    d, scale = SwingParameters(), contact / Timing().contact
    landing, gives, at_contact = FRONT_KNEE_DEG[level]
    return replace(
        d,
        height_m=height_m,
        timing=replace(
            d.timing,
            deepest=d.timing.deepest * scale,
            contact=contact,
            finish=contact + (d.timing.finish - d.timing.contact) * scale,
        ),
        turn=replace(
            d.turn,
            pelvis_speed_deg_s=drawn(*kind.pelvis),
            trunk_speed_deg_s=drawn(*kind.trunk),
            pelvis_peak_before_contact=d.turn.pelvis_peak_before_contact * scale,
            trunk_peak_before_contact=d.turn.trunk_peak_before_contact * scale,
            front_knee_flexion_at_contact_deg=at_contact,
            back_share_at_contact=0.445 if level == "youth" else d.turn.back_share_at_contact,
        ),
        landing=replace(
            d.landing,
            front_knee_flexion_deg=landing,
            front_knee_gives_deg=gives,
            # A youth's bat is long for his height: it stands steeper, so that it does not wrap around the head.
            bat_flatter_deg=-6.0 if level == "youth" else d.landing.bat_flatter_deg,
        ),
        stance=replace(d.stance, bat_heading_deg=d.stance.bat_heading_deg + 15.0),
        barrel=replace(
            d.barrel,
            bat_length_m=length,
            # Bats of one make weigh nearly as the cube of their length.
            bat_mass_kg=Barrel.bat_mass_kg * (length / Barrel.bat_length_m) ** 3,
            barrel_speed=speed,
            front_elbow_flexion_deg=d.barrel.front_elbow_flexion_deg + 4.0,
            head_clearance=HEAD_CLEARANCE,
            plate_line_m=d.barrel.plate_line_m * (0.35 + 0.65 * height_m / d.height_m),
        ),
    )


def draw_style(rng: np.random.Generator, p: SwingParameters) -> SwingParameters:
    """The same hitter with a stance, stride, landing, turn, pitch and finish of his own, none of them a fault."""
    stages = {}
    for stage, spreads in SPREADS.items():
        own = getattr(p, stage)
        stages[stage] = replace(own, **{name: _about(rng, getattr(own, name), sd) for name, sd in spreads.items()})
    p = _no_deeper(replace(p, **stages), p)
    away = (0.0, 0.075, -0.04)[int(rng.choice(3, p=(0.5, 0.3, 0.2)))] + p.stance.front_foot_away
    # An open stance opens foot, hips and shoulders with it.
    opened = 150.0 * max(away, -0.03)
    raised = float(rng.choice((0.0, 0.045, -0.04), p=(0.6, 0.25, 0.15)))
    steeper = float(rng.choice((0.0, -27.0, 16.0), p=(0.6, 0.2, 0.2)))
    stance = p.stance
    p = replace(
        p,
        stance=replace(
            stance,
            front_foot_away=away,
            front_foot_open_deg=stance.front_foot_open_deg + 1.5 * opened,
            pelvis_open_deg=stance.pelvis_open_deg + opened,
            trunk_open_deg=stance.trunk_open_deg + 0.8 * opened,
            hands=_shifted(stance.hands, raised),
            bat_elevation_deg=min(stance.bat_elevation_deg + steeper, 85.0),
        ),
        stride=replace(p.stride, hands=_shifted(p.stride.hands, 0.5 * raised)),
    )
    across = tuple(ACROSS)[int(rng.choice(3, p=(0.2, 0.6, 0.2)))]
    height = tuple(HEIGHT)[int(rng.choice(3, p=(0.2, 0.6, 0.2)))]
    return STRIDES[int(rng.choice(len(STRIDES), p=STRIDE_ODDS))](rng, at_pitch(p, across, height))


def _no_deeper(p: SwingParameters, sound: SwingParameters) -> SwingParameters:
    """The same hitter, whose front knee bends on after plant as far as his stride and weight let it."""
    more = GIVES_BY_BACK_SHARE * (p.landing.back_share - sound.landing.back_share)
    more += GIVES_BY_STRIDE * (p.stride.length - sound.stride.length)
    most = sound.landing.front_knee_gives_deg + MORE_GIVES_DEG
    gives = float(np.clip(p.landing.front_knee_gives_deg + more, LEAST_GIVES_DEG, most))
    return replace(p, landing=replace(p.landing, front_knee_gives_deg=gives))


def _about(rng: np.random.Generator, value: Any, sd: float) -> Any:
    """A number, or each of a place's three, moved by a normal one of the given deviation."""
    if isinstance(value, tuple):
        return tuple(_about(rng, v, sd) for v in value)
    return value + sd * _normal(rng)


# -------------------------------------------------------------------- strides


def _plain(rng: np.random.Generator, p: SwingParameters) -> SwingParameters:
    return earlier(p, 0.03 * _normal(rng))


def _no_stride(rng: np.random.Generator, p: SwingParameters) -> SwingParameters:
    """Stands as wide as he lands, and lifts little more than the heel."""
    width = p.stride.length - float(rng.uniform(0.0, 0.03))
    return replace(p, stance=replace(p.stance, width=width), stride=replace(p.stride, foot_height=0.025))


def _leg_kick(rng: np.random.Generator, p: SwingParameters) -> SwingParameters:
    """Lifts the front knee high and stays on the back leg longer."""
    stride = replace(p.stride, foot_height=float(rng.uniform(0.17, 0.22)), back_share_at_load=0.80)
    return earlier(replace(p, stride=stride), float(rng.uniform(0.12, 0.22)))


def _toe_tap(rng: np.random.Generator, p: SwingParameters) -> SwingParameters:
    """Taps the toes down behind the stance before the stride."""
    stride = replace(p.stride, tap_back=float(rng.uniform(0.05, 0.10)), foot_height=0.07)
    return earlier(replace(p, stride=stride), float(rng.uniform(0.20, 0.30)))


STRIDES: tuple[Callable[[np.random.Generator, SwingParameters], SwingParameters], ...] = (
    _plain,
    _no_stride,
    _leg_kick,
    _toe_tap,
)
STRIDE_ODDS = (0.55, 0.15, 0.18, 0.12)


def earlier(p: SwingParameters, by_s: float) -> SwingParameters:
    """The same hitter who begins to stride `by_s` sooner, later if negative."""
    t = p.timing
    return replace(
        p,
        timing=replace(
            t,
            start=t.start - by_s,
            still=t.still - by_s,
            stance=t.stance - by_s,
            lift=t.lift - by_s,
            load=t.load - 0.85 * by_s,
            coil=t.coil - 0.25 * by_s,
        ),
    )


def _shifted(place: tuple[float, float, float], up: float) -> tuple[float, float, float]:
    return place[0], place[1], place[2] + up


def _normal(rng: np.random.Generator) -> float:
    """A standard normal number, none beyond 2.5."""
    return float(np.clip(rng.normal(), -2.5, 2.5))
