"""Segment lengths of the posed figure as shares of standing height, each with its source."""

from __future__ import annotations

from types import MappingProxyType

#: Standing height of the men that the inertia table's lengths were measured on. [m]
DE_LEVA_STATURE_M = 1.741

#: Lengths between joint centres, de Leva (1996) Table 4, men, as shares of height. [-]
#: Hand: wrist to the head of the third metacarpal, where a grip lies.
DE_LEVA_1996 = MappingProxyType(
    {
        "thigh": 0.4222 / DE_LEVA_STATURE_M,
        "shank": 0.4403 / DE_LEVA_STATURE_M,
        "foot": 0.2581 / DE_LEVA_STATURE_M,
        "trunk": 0.5155 / DE_LEVA_STATURE_M,
        "upper_arm": 0.2817 / DE_LEVA_STATURE_M,
        "forearm": 0.2689 / DE_LEVA_STATURE_M,
        "hand": 0.0862 / DE_LEVA_STATURE_M,
    }
)

#: Height of the ankle's axis over the floor, Drillis & Contini (1966) in Winter (2009), Fig. 4.1. [-]
ANKLE_HEIGHT = 0.039

#: Vertex to the middle of the shoulder centres: what is left of standing height above legs and trunk. [-]
NECK_TO_VERTEX = 1.0 - ANKLE_HEIGHT - sum(DE_LEVA_1996[name] for name in ("shank", "thigh", "trunk"))

#: Vertex to the head's centre of mass: 59.76 % of 0.2033 m, de Leva (1996) Table 4, men. [-]
VERTEX_TO_HEAD = 0.5976 * 0.2033 / DE_LEVA_STATURE_M

#: Between the hip centres: twice the 91.1 mm that Harrington et al. (2007) give for a pelvis 240 mm wide and 160 mm
#: deep, on a man of the table's height. [-]
HIP_WIDTH = 2 * 0.0911 / DE_LEVA_STATURE_M

#: Between the shoulder centres: shoulder width 0.259 (Drillis & Contini) less the 0.02 by which the centre of each
#: humeral head lies inside the acromion; this project's own estimate. [-]
SHOULDER_WIDTH = 0.259 - 2 * 0.02

#: Places in the foot, from the heel point forward and above the sole; this project's own estimates for a foot in a
#: flat shoe: the ankle over the hind third, the metatarsal heads at 72 % of the length. [-]
HEEL_TO_ANKLE = 0.30 * DE_LEVA_1996["foot"]
HEEL_TO_BALL = 0.72 * DE_LEVA_1996["foot"]
HEEL_HEIGHT, BALL_HEIGHT, TOE_HEIGHT = 0.016, 0.012, 0.010
