"""Faults of hitters, each a change of the swing's parameters."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from mocap.reference.parameters import SwingParameters

#: The same hitter with a fault, a little (0) to a lot (1).
Flaw = Callable[[SwingParameters, float], SwingParameters]


def lands_forward(p: SwingParameters, much: float) -> SwingParameters:
    """Lands on the front foot, whose knee has bent already, and stays over it."""
    return replace(
        p,
        stride=replace(p.stride, length=0.94 * p.stride.length),
        landing=replace(
            p.landing,
            back_share=0.47 - 0.09 * much,
            lean_back_deg=p.landing.lean_back_deg - 5.0,
            front_knee_flexion_deg=p.landing.front_knee_flexion_deg + p.landing.front_knee_gives_deg,
            front_knee_gives_deg=0.0,
        ),
        turn=replace(
            p.turn,
            back_share_at_contact=0.38 - 0.045 * much,
            front_knee_flexion_at_contact_deg=p.turn.front_knee_flexion_at_contact_deg + 8.0,
            lean_back_deg=p.turn.lean_back_deg - 6.0,
        ),
        finish=replace(
            p.finish,
            back_share=p.finish.back_share - 0.03 * much,
            front_knee_flexion_deg=p.finish.front_knee_flexion_deg + 8.0,
        ),
    )


def opens_early(p: SwingParameters, much: float) -> SwingParameters:
    """Hips and shoulders face the pitcher too soon."""
    return replace(
        p,
        landing=replace(
            p.landing,
            foot_open_deg=p.landing.foot_open_deg + 20.0,
            pelvis_open_deg=20.0 + 10.0 * much,
            trunk_open_deg=2.0 + 16.0 * much,
            front_knee_gives_deg=0.4 * p.landing.front_knee_gives_deg,
        ),
    )


def drifts(p: SwingParameters, much: float) -> SwingParameters:
    """Travels on toward the pitcher after landing, over a front knee that neither gives nor straightens as much."""
    return replace(
        p,
        landing=replace(p.landing, front_knee_gives_deg=0.4 * p.landing.front_knee_gives_deg),
        turn=replace(
            p.turn,
            back_share_at_contact=0.345 - 0.045 * much,
            front_knee_flexion_at_contact_deg=p.turn.front_knee_flexion_at_contact_deg + 8.0 + 10.0 * much,
            lean_back_deg=p.turn.lean_back_deg - 3.0,
        ),
        finish=replace(
            p.finish,
            back_share=p.finish.back_share - 0.04 * much,
            front_knee_flexion_deg=p.finish.front_knee_flexion_deg + 3.0 * much,
        ),
    )


def back_foot_stays(p: SwingParameters, much: float) -> SwingParameters:
    """The back foot never turns, the hips turn less and the front leg straightens less."""
    still = p.stance.back_foot_open_deg + 12.0 * (1.0 - much)
    return replace(
        p,
        landing=replace(p.landing, front_knee_gives_deg=0.5 * p.landing.front_knee_gives_deg),
        turn=replace(
            p.turn,
            pelvis_open_at_contact_deg=60.0 - 6.0 * much,
            trunk_open_at_contact_deg=70.0,
            front_knee_flexion_at_contact_deg=p.turn.front_knee_flexion_at_contact_deg + 6.0,
            back_foot_open_deg=still,
            back_heel_pitch_deg=14.0 - 8.0 * much,
        ),
        finish=replace(
            p.finish,
            pelvis_open_deg=70.0 - 6.0 * much,
            trunk_open_deg=106.0,
            back_foot_open_deg=still + 4.0,
            back_heel_pitch_deg=24.0 - 12.0 * much,
        ),
    )


def front_leg_gives(p: SwingParameters, much: float) -> SwingParameters:
    """The front knee stays bent or bends more instead of straightening, and the weight goes on over it."""
    knee = min(p.landing.front_knee_flexion_deg, 50.0)
    return replace(
        p,
        landing=replace(p.landing, front_knee_flexion_deg=knee),
        turn=replace(
            p.turn,
            front_knee_flexion_at_contact_deg=knee - 4.0 + 12.0 * much,
            back_share_at_contact=p.turn.back_share_at_contact - 0.03,
            lean_to_plate_deg=p.turn.lean_to_plate_deg - 5.0,
        ),
        finish=replace(p.finish, front_knee_flexion_deg=knee - 6.0 + 8.0 * much),
    )


def long_path(p: SwingParameters, much: float) -> SwingParameters:
    """The hands go out before they go forward, and the barrel with them."""
    x, y, z = p.turn.hands_at_level
    return replace(
        p,
        turn=replace(p.turn, hands_at_level=(x + 0.04, y + 0.06 + 0.09 * much, z)),
        timing=replace(p.timing, hands_level_before_contact=p.timing.hands_level_before_contact + 0.008),
    )


def flat_bat(p: SwingParameters, much: float) -> SwingParameters:
    """The bat lies flat and wrapped at landing."""
    return replace(
        p,
        landing=replace(
            p.landing,
            bat_flatter_deg=p.landing.bat_flatter_deg + 28.0 + 20.0 * much,
        ),
    )


def trunk_first(p: SwingParameters, much: float) -> SwingParameters:
    """The shoulders lead the hips."""
    t = p.turn
    return replace(
        p,
        turn=replace(
            t,
            pelvis_peak_before_contact=t.trunk_peak_before_contact,
            trunk_peak_before_contact=t.pelvis_peak_before_contact + 0.006 * much,
            front_knee_flexion_at_contact_deg=t.front_knee_flexion_at_contact_deg + 4.0,
        ),
    )


def overstrides(p: SwingParameters, much: float) -> SwingParameters:
    """Strides farther than he can turn over: he stays low, his front leg does not straighten, the ball is met lower."""
    knee = min(p.landing.front_knee_flexion_deg, 50.0)
    x, y, z = p.turn.hands_at_level
    ahead, out, under = p.finish.hands_extended
    return replace(
        p,
        stride=replace(p.stride, length=0.53 + 0.035 * much),
        landing=replace(p.landing, front_knee_flexion_deg=knee),
        turn=replace(
            p.turn,
            front_knee_flexion_at_contact_deg=p.turn.front_knee_flexion_at_contact_deg + 8.0,
            # So low a body has its hands higher against the trunk, on their way to a ball at the same height.
            hands_at_level=(x, y, z + 0.04),
        ),
        barrel=replace(
            p.barrel,
            contact_height=p.barrel.contact_height - 0.085,
            front_elbow_flexion_deg=p.barrel.front_elbow_flexion_deg + 10.0,
        ),
        finish=replace(p.finish, hands_extended=(ahead, out, under + 0.06)),
    )


def late_extension(p: SwingParameters, much: float) -> SwingParameters:
    """The arms are still bent well after contact: by the time they are long the barrel has come round."""
    ahead, out, under = p.finish.hands_extended
    return replace(
        p,
        timing=replace(
            p.timing,
            extension_after_contact=p.timing.extension_after_contact + 0.035 + 0.02 * much,
            hands_round_after_extension=p.timing.hands_round_after_extension - 0.025 - 0.015 * much,
        ),
        barrel=replace(p.barrel, front_elbow_flexion_deg=p.barrel.front_elbow_flexion_deg + 20.0 + 15.0 * much),
        finish=replace(p.finish, hands_extended=(ahead + 0.03 + 0.04 * much, out, under + 0.03)),
    )


#: Every fault by its name.
FLAWS: Mapping[str, Flaw] = MappingProxyType(
    {
        flaw.__name__: flaw
        for flaw in (
            lands_forward,
            opens_early,
            drifts,
            back_foot_stays,
            front_leg_gives,
            long_path,
            flat_bat,
            trunk_first,
            overstrides,
            late_extension,
        )
    }
)
