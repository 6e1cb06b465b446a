"""What a posed swing is posed from. The defaults are a sound adult hitter, batting right-handed.

Lengths are shares of standing height, or metres where the name ends in `_m`; times are seconds, speeds metres per
second; `_deg` and `_deg_s` say what they say. Headings of feet, pelvis and trunk are 0 side-on to the pitcher and
positive when open toward him. Leans are of the line from pelvis to neck, toward the plate and back from the pitcher.
"""

from __future__ import annotations

from dataclasses import dataclass, field

#: A place in the trunk: from the middle of the shoulders toward the front shoulder, out of the chest, and up.
TrunkPlace = tuple[float, float, float]


@dataclass(frozen=True)
class Timing:
    """When things happen. [s from plant]

    `still` is when the body begins to load, `load` when the weight is farthest back, `coil` when pelvis, trunk and
    hands are wound up farthest, `toe_down` and `heel_down` when ball and heel of the front foot have come
    to rest on the floor, `deepest` when the front knee has bent farthest under the weight that comes onto it;
    `after_contact` counts from contact. The hands pass the body line about
    `hands_level_before_contact`, the arms are long about `extension_after_contact` and have come round over the front
    shoulder `hands_round_after_extension`. [s]

    From `deepest` to contact takes 0.155 s, as the front knee, which straightens by 59 deg at no more than 386 deg/s
    (Escamilla et al. 2009), needs that long for it at an even speed.
    """

    start: float = -0.90
    still: float = -0.80
    stance: float = -0.56
    lift: float = -0.45
    load: float = -0.42
    coil: float = -0.17
    toe_down: float = 0.0
    heel_down: float = 0.05
    deepest: float = 0.120
    contact: float = 0.275
    finish: float = 0.530
    after_contact: float = 0.60
    hands_level_before_contact: float = 0.045
    extension_after_contact: float = 0.064
    hands_round_after_extension: float = 0.106


@dataclass(frozen=True)
class Stance:
    """Before the stride.

    `front_foot_away` is how much farther from the plate the front foot stands than the back foot, positive in an open
    stance; `bat_heading_deg` is where the barrel points, counter-clockwise from the pitcher seen from above.
    """

    width: float = 0.29
    front_foot_away: float = 0.0
    front_foot_open_deg: float = 12.0
    back_foot_open_deg: float = -2.0
    pelvis_open_deg: float = -4.0
    trunk_open_deg: float = -8.0
    back_share: float = 0.56
    back_knee_flexion_deg: float = 52.0
    lean_to_plate_deg: float = 20.0
    lean_back_deg: float = 1.0
    hands: TrunkPlace = (-0.155, 0.172, -0.030)
    bat_heading_deg: float = 62.0
    bat_elevation_deg: float = 62.0


@dataclass(frozen=True)
class Stride:
    """From lift to plant.

    `length` is from ankle to ankle at plant; `direction_deg` is positive when the stride opens, away from the plate;
    `foot_height` is how high the front foot comes, a few hundredths for a stride that hardly lifts, two tenths for a
    leg kick. `tap_back` is how far behind its stance the toes tap the floor before they stride; 0 is no tap.
    """

    length: float = 0.425
    direction_deg: float = 0.0
    foot_height: float = 0.10
    tap_back: float = 0.0
    back_share_at_load: float = 0.72
    back_knee_flexion_deg: float = 54.0
    pelvis_open_deg: float = -20.0
    trunk_open_deg: float = -18.0
    lean_to_plate_deg: float = 22.0
    lean_back_deg: float = 2.0
    hands: TrunkPlace = (-0.162, 0.168, -0.022)


@dataclass(frozen=True)
class Landing:
    """At plant.

    The front knee bends on by `front_knee_gives_deg` before it straightens. `bat_off_aim_deg` turns the bat about the
    vertical away from the knob's aim at the catcher's feet, positive moves the barrel away from the pitcher;
    `bat_flatter_deg` lowers the barrel.
    """

    back_share: float = 0.555
    foot_open_deg: float = 34.0
    pelvis_open_deg: float = 8.0
    trunk_open_deg: float = -14.0
    front_knee_flexion_deg: float = 38.0
    front_knee_gives_deg: float = 21.0
    lean_to_plate_deg: float = 29.0
    lean_back_deg: float = 7.0
    hands: TrunkPlace = (-0.186, 0.160, -0.008)
    bat_off_aim_deg: float = 0.0
    bat_flatter_deg: float = 0.0


@dataclass(frozen=True)
class TurnOfBody:
    """From plant to contact; peak times count back from contact.

    `hands_at_level` is where mid-hands pass the body line: near the back shoulder on a short path, farther out of the
    chest on a long one.
    """

    pelvis_open_at_contact_deg: float = 78.0
    pelvis_speed_deg_s: float = 730.0
    pelvis_peak_before_contact: float = 0.072
    trunk_open_at_contact_deg: float = 76.0
    trunk_speed_deg_s: float = 940.0
    trunk_peak_before_contact: float = 0.050
    back_share_at_contact: float = 0.45
    front_knee_flexion_at_contact_deg: float = 16.0
    lean_to_plate_deg: float = 29.0
    lean_back_deg: float = 7.0
    back_foot_open_deg: float = 72.0
    back_heel_pitch_deg: float = 68.0
    hands_at_level: TrunkPlace = (-0.178, 0.155, -0.090)


@dataclass(frozen=True)
class Barrel:
    """The bat at and around contact.

    The plate's middle line lies `plate_line_m` from the feet's line. `bat_heading_deg` is 0 for a bat square to the
    pitch and positive when it has turned past that. `impact_loss` is the share of its turning speed that the bat loses
    to the ball within a millisecond of contact; 0 is a swing without a ball. `bat_mass_kg` moves nothing: it is there
    for whoever computes forces. Until contact the bat keeps `head_clearance` between its axis and the middle of the
    head by leaning toward the catcher; 0 lets it be.
    """

    bat_length_m: float = 0.84
    bat_mass_kg: float = 0.88
    sweet_spot_m: float = 0.15
    barrel_speed: float = 30.0
    barrel_peak_before_contact: float = 0.0
    attack_deg: float = 8.0
    contact_depth: float = 0.03
    contact_height: float = 0.44
    front_elbow_flexion_deg: float = 32.0
    impact_loss: float = 0.0
    plate_line_m: float = 0.86
    bat_heading_deg: float = 4.0
    bat_tilt_deg: float = -27.0
    head_clearance: float = 0.0


@dataclass(frozen=True)
class Finish:
    """After contact; the bat has turned by `bat_turn_deg` from where it was at contact."""

    pelvis_open_deg: float = 98.0
    trunk_open_deg: float = 126.0
    back_share: float = 0.435
    front_knee_flexion_deg: float = 22.0
    lean_to_plate_deg: float = 8.0
    lean_back_deg: float = 6.0
    front_foot_turn_deg: float = 18.0
    back_foot_open_deg: float = 84.0
    back_heel_pitch_deg: float = 76.0
    hands_extended: TrunkPlace = (-0.050, 0.295, -0.150)
    hands_round: TrunkPlace = (0.110, 0.215, -0.005)
    hands: TrunkPlace = (0.170, 0.110, 0.045)
    bat_turn_deg: float = 312.0
    bat_off_plane_deg: float = -14.0


@dataclass(frozen=True)
class SwingParameters:
    """One posed swing of a right-handed hitter.

    Attributes
    ----------
    height_m : float
        Standing height. [m]
    catcher_behind_m : float
        Plate's rear tip to the catcher's feet. [m]
    plate_behind_m : float
        How far the plate's rear tip lies behind the middle of the feet at plant. [m]
    """

    height_m: float = 1.80
    catcher_behind_m: float = 1.0
    plate_behind_m: float = 0.10
    timing: Timing = field(default_factory=Timing)
    stance: Stance = field(default_factory=Stance)
    stride: Stride = field(default_factory=Stride)
    landing: Landing = field(default_factory=Landing)
    turn: TurnOfBody = field(default_factory=TurnOfBody)
    barrel: Barrel = field(default_factory=Barrel)
    finish: Finish = field(default_factory=Finish)
