"""The drawn figure is as heavy, segment by segment, as people are.

Sources: de Leva P (1996) J Biomech 29(9):1223-1230, Table 4: shares of mass, centres of mass, and how far C7 and the
suprasternal notch lie above the hips. Winter DA (2009) Biomechanics and Motor Control of Human Movement, 4th ed.,
Table 4.1 (after Dempster 1955): densities. Zatsiorsky V, Seluyanov V (1983) in Biomechanics VIII-B, 1152-1159, from
memory: which planes divide the segments of de Leva's table. Bell AL et al. (1990) J Biomech 23(6):617-621, from memory:
where the hip centre lies in the pelvis.

The figure is filled with points on a 4 mm grid, found from its closed surfaces alone, and each is given to a segment.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest

import mocap
from mocap.kinematics.inertia import segment_table
from mocap.renderer.figure import PARTS, Figure, build_figure
from mocap.renderer.girths import BUILDS, build_mass, segment_masses
from mocap.renderer.rig import rest_points
from mocap.swing import POINTS

#: Winter (2009), Table 4.1. [kg/m^3]
DENSITY = {
    "head": 1110.0,
    "trunk": 1030.0,
    "upper_arm": 1070.0,
    "forearm": 1130.0,
    "hand": 1160.0,
    "thigh": 1050.0,
    "shank": 1090.0,
    "foot": 1100.0,
}
#: De Leva (1996), Table 4, men: heights above the mid-hips over that of the mid-shoulders.
CERVICALE, SUPRASTERNALE = 0.6033 / 0.5155, 0.5319 / 0.5155
#: Angle between thigh and trunk planes and the midline seen from ahead (Zatsiorsky & Seluyanov 1983).
GROIN = np.deg2rad(37.0)
#: Angle between the line from acromion to armpit and a hanging upper arm; common practice, no source.
ARMPIT = np.deg2rad(18.0)
#: The hip bone's front spine from the hip centre: outward, ahead, up, for 1.80 m and 0.25 m between the spines (Bell et
#: al. 1990). [m]
HIP_BONE = np.array([0.035, 0.050, 0.075])
GRID_M = 0.004
#: Share of a mass, and of a length, within which figure and table agree.
AGREES = 0.10


@dataclass(frozen=True)
class Person:
    """A body of Drillis & Contini's shares; without a mass, of typical build."""

    height_m: float
    mass_kg: float | None = None


PEOPLE = {
    "typical": Person(1.80),
    "light": Person(1.80, 66.0),
    "heavy": Person(1.80, 105.0),
    "tall": Person(1.95, 95.0),
    "child": Person(1.29, 27.0),
}
#: A real swing, of joint centres.
RECORDED = "real_swing.c3d"


def joint_centres(height: float) -> np.ndarray:
    """One frame of a standing person with segment shares of stature after Drillis & Contini (1966)."""
    place = dict.fromkeys(POINTS, np.full(3, np.nan))
    h, foot = height, np.array([0.0, -1.0, 0.0])
    place["pelvis"], place["neck"] = np.array([0.0, 0.0, 0.53 * h]), np.array([0.0, 0.0, 0.818 * h])
    place["head"] = place["neck"] + h * np.array([0.0, -0.02, 0.12])
    for side, x in (("front", 1.0), ("back", -1.0)):
        out = np.array([x, 0.0, 0.0])
        place[f"{side}_hip"] = place["pelvis"] + 0.05 * h * out
        place[f"{side}_knee"] = place[f"{side}_hip"] - np.array([0.0, 0.0, 0.245 * h])
        place[f"{side}_ankle"] = place[f"{side}_knee"] - np.array([0.0, 0.0, 0.246 * h])
        place[f"{side}_ball"] = place[f"{side}_ankle"] + h * (0.072 * foot + np.array([0.0, 0.0, -0.027]))
        place[f"{side}_toe"] = place[f"{side}_ball"] + 0.039 * h * foot
        place[f"{side}_shoulder"] = place["neck"] + 0.103 * h * out
        place[f"{side}_elbow"] = place[f"{side}_shoulder"] - np.array([0.0, 0.0, 0.175 * h])
        place[f"{side}_wrist"] = place[f"{side}_elbow"] - np.array([0.0, 0.0, 0.150 * h])
    return np.stack([place[name] for name in POINTS])[None]


def filling(places: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Points of a grid inside closed surfaces, shape (N, 3): along z, faces that look down open and others close."""
    corners = places[faces]
    low = corners.min(axis=(0, 1)) - 2.0 * GRID_M
    size = np.ceil((corners.max(axis=(0, 1)) + 2.0 * GRID_M - low) / GRID_M).astype(int)
    flat = (corners[..., :2] - low[:2]) / GRID_M
    first = np.ceil(flat.min(axis=1) - 0.5).astype(int)
    span = np.maximum(np.ceil(flat.max(axis=1) - 0.5).astype(int) - first, 0)
    count = span[:, 0] * span[:, 1]
    face = np.repeat(np.arange(len(faces)), count)
    number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    column = first[face] + np.stack([number // span[face, 1], number % span[face, 1]], axis=1)
    spot = column + 0.5 + 1e-7  # never exactly over an edge
    a, b, c = (flat[face, k] for k in range(3))

    def area(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])

    whole = area(b - a, c - a)
    shares = np.stack([area(b - spot, c - spot), area(c - spot, a - spot), area(a - spot, b - spot)], axis=1)
    met = (shares * whole[:, None] > 0.0).all(axis=1)
    height = np.sum(shares[met] / whole[met, None] * corners[face[met], :, 2], axis=1)
    level = np.ceil((height - low[2]) / GRID_M - 0.5).astype(int)
    steps = np.zeros(size, dtype=np.int16)
    np.add.at(steps, (*column[met].T, level), np.where(whole[met] > 0.0, -1, 1))
    return low + GRID_M * (np.argwhere(np.cumsum(steps, axis=2) > 0) + 0.5)


def unit(v: np.ndarray) -> np.ndarray:
    return np.asarray(v / np.linalg.norm(v))


def far_from(points: np.ndarray, *line: np.ndarray) -> np.ndarray:
    """Distance of points from a bent line."""
    nearest = np.full(len(points), np.inf)
    for start, end in pairwise(line):
        way = end - start
        share = np.clip((points - start) @ way / (way @ way), 0.0, 1.0)
        nearest = np.minimum(nearest, np.linalg.norm(points - start - share[:, None] * way, axis=1))
    return nearest


class Segments:
    """The figure in its rest pose, its inside shared out among the table's segments.

    `of` holds for each segment its points, and where its row of the table starts and ends.
    """

    def __init__(self, figure: Figure) -> None:
        self.size = figure.size
        self.p = {name: place[0] for name, place in rest_points(figure.size).items()}
        sole = min(self.p[f"{side}_ankle"][2] - figure.size.ankle_height[i] for i, side in enumerate(("front", "back")))
        lift = np.array([0.0, 0.0, -sole])
        pose = np.stack([self.p.get(name, np.full(3, np.nan)) + lift for name in POINTS])[None]
        vertices, _ = figure.pose(pose, np.array([[0.0, 1.0, 0.0]]))
        places = np.zeros((figure.welded.max() + 1, 3))
        places[figure.welded] = vertices[0]
        owner = figure.parts[figure.faces[:, 0]]
        flesh = owner < PARTS.index("cap")  # a cap is worn over the head; shoes and fists count as feet and hands
        self.points = filling(places, figure.welded[figure.faces[flesh]]) - lift
        self.of: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
        taken = np.zeros(len(self.points), dtype=bool)
        for name, mine, start, end in self._limbs():
            self.of[name] = (self.points[mine & ~taken], start, end)
            taken |= mine
        head, cervicale = self._head(taken)
        self.of["head"] = (self.points[head], self.p["head_top"], cervicale)
        self.of["trunk"] = (self.points[~taken & ~head], self.p["neck"], self.p["pelvis"])

    def mass(self, name: str) -> float:
        """Of a segment, at its density. [kg]"""
        return len(self.of[name][0]) * GRID_M**3 * DENSITY[name.split("_", 1)[1] if "_" in name else name]

    def centre(self, name: str) -> float:
        """Place of its centre along its row's length. [-]"""
        points, start, end = self.of[name]
        way = end - start
        return float((points.mean(axis=0) - start) @ way / (way @ way))

    def _limbs(self) -> Iterator[tuple[str, np.ndarray, np.ndarray, np.ndarray]]:
        """Arms and legs from their ends inward, so that what is taken already stays."""
        q, s = self.points, self.size.height / 1.80
        for side, sign in (("front", -1.0), ("back", 1.0)):
            names = ("shoulder", "elbow", "wrist", "hand", "hip", "knee", "ankle", "toe")
            shoulder, elbow, wrist, hand, hip, knee, ankle, toe = (self.p[f"{side}_{n}"] for n in names)
            mine, out = sign * q[:, 0] > 0.0, np.array([sign, 0.0, 0.0])
            arm_far, leg_far = far_from(q, shoulder, elbow, wrist, hand), far_from(q, hip, knee, ankle)
            near_arm = mine & (arm_far < leg_far)
            upper, fore = unit(elbow - shoulder), unit(wrist - elbow)
            past_wrist, past_elbow = (q - wrist) @ fore > 0.0, (q - elbow) @ unit(upper + fore) > 0.0
            yield f"{side}_hand", near_arm & past_wrist & (arm_far < 0.09 * s), wrist, hand
            yield f"{side}_forearm", near_arm & past_elbow & (arm_far < 0.09 * s), elbow, wrist
            sideways = unit(out - (out @ upper) * upper)
            past_armpit = (q - shoulder) @ (np.cos(ARMPIT) * sideways + np.sin(ARMPIT) * upper) > 0.0
            yield f"{side}_upper_arm", near_arm & past_armpit & (arm_far < 0.13 * s), shoulder, elbow
            thigh, shank = unit(knee - hip), unit(ankle - knee)
            past_ankle, past_knee = (q - self._ankle(side)) @ shank > 0.0, (q - knee) @ unit(thigh + shank) > 0.0
            near_leg = mine & (leg_far < arm_far)
            heel = np.array([ankle[0], ankle[1] - 0.058 * s, toe[2]])
            yield f"{side}_foot", near_leg & past_ankle, heel, toe
            yield f"{side}_shank", near_leg & past_knee, knee, ankle
            # The plane of the groin turns with the thigh, half as far.
            bent = 0.5 * np.arctan2(thigh[1], -thigh[2])
            along = np.array([sign * np.sin(GROIN), 0.0, np.cos(GROIN)])
            past_groin = (q - hip - s * HIP_BONE * [sign, 1.0, 1.0]) @ (
                sign * np.cross(np.array([0.0, np.cos(bent), np.sin(bent)]), along)
            ) > 0.0
            yield f"{side}_thigh", mine & past_groin & (q[:, 2] < 0.12 * s) & (arm_far > 0.05 * s), hip, knee

    def _ankle(self, side: str) -> np.ndarray:
        """Where the ankle lies in its foot: as high over the sole as on both sides together.

        The table's person has one foot for both sides, and the figure one shoe. Where a recording's floor is not level,
        or its joints are some mm off, one ankle comes out higher over the floor than the other; the figure still sets
        both shoes on the floor, each some mm off its recorded ankle. That is no mass that passes from a foot to its
        shank: the plane between them goes with the shoe.
        """
        heights = self.size.ankle_height
        own = heights[("front", "back").index(side)]
        return np.asarray(self.p[f"{side}_ankle"] + np.array([0.0, 0.0, float(np.mean(heights)) - own]))

    def _head(self, taken: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Head and neck, above the plane from C7 on the back to the suprasternal notch in front; and where C7 is."""
        q, s, trunk = self.points, self.size.height / 1.80, self.size.trunk
        middle = ~taken & (np.abs(q[:, 0]) < 0.01)

        def skin(height: float) -> np.ndarray:
            return np.asarray(q[middle & (np.abs(q[:, 2] - height) < 1.5 * GRID_M), 1])

        back, front = skin(CERVICALE * trunk).min(), skin(SUPRASTERNALE * trunk).max()
        cervicale = np.array([0.0, back, CERVICALE * trunk])
        up = np.cross([1.0, 0.0, 0.0], [0.0, front - back, (SUPRASTERNALE - CERVICALE) * trunk])
        return ~taken & ((q - cervicale) @ up > 0.0) & (np.abs(q[:, 0]) < 0.10 * s), cervicale


@pytest.fixture(scope="module", params=[*PEOPLE, RECORDED])
def filled(request: pytest.FixtureRequest) -> tuple[Person, Segments]:
    """A person and his figure; of the recorded one it is built from what his markers say, for the height they say."""
    if request.param == RECORDED:
        swing = mocap.build_swing(mocap.read(request.getfixturevalue("shared_data") / RECORDED))
        person, points = Person(swing.height_m, swing.hitter.mass_kg), swing.points
    else:
        person = PEOPLE[request.param]
        points = joint_centres(person.height_m)
    return person, Segments(build_figure(points, person.height_m, bat=False, mass_kg=person.mass_kg))


def test_every_segment_is_as_heavy_as_the_table_says(filled: tuple[Person, Segments]) -> None:
    person, segments = filled
    wanted = segment_masses(person.height_m, build_mass(person.height_m, person.mass_kg))
    for name in segments.of:
        kind = name.split("_", 1)[1] if "_" in name else name
        assert segments.mass(name) == pytest.approx(wanted[kind], rel=AGREES), name


def test_the_whole_is_as_heavy_as_the_hitter(filled: tuple[Person, Segments]) -> None:
    person, segments = filled
    total = sum(segments.mass(name) for name in segments.of)
    assert total == pytest.approx(build_mass(person.height_m, person.mass_kg), rel=0.05)


def test_every_segment_s_centre_lies_where_the_table_says(filled: tuple[Person, Segments]) -> None:
    """A child's too: its centres of mass are taken for an adult's in the inertia table as well."""
    _, segments = filled
    wanted = {segment.name: segment.centre for segment in segment_table("de_leva")}
    for name in segments.of:
        kind = name.split("_", 1)[1] if "_" in name else name
        assert segments.centre(name) == pytest.approx(wanted[kind], abs=AGREES), name


def test_masses_share_the_hitter_out() -> None:
    """An adult's shares are those printed; a child's head is heavier (Jensen 1986: 0.2376 - 0.0114 x age)."""
    adult = segment_masses(1.80, 80.0)
    for segment in segment_table("de_leva"):
        assert adult[segment.name] == pytest.approx(80.0 * segment.mass, rel=2e-3)
    child = segment_masses(1.279, 26.0)  # the median height at 8 years
    assert child["head"] == pytest.approx(26.0 * (0.2376 - 0.0114 * 8.0), rel=2e-3)
    total = sum(mass * (1.0 if name in ("head", "trunk") else 2.0) for name, mass in child.items())
    assert total == pytest.approx(26.0)


@pytest.mark.parametrize("height", [1.10, 1.80])
def test_a_mass_that_no_figure_has_is_held(height: float) -> None:
    typical = build_mass(height, None)
    assert build_mass(height, 5.0) == pytest.approx(BUILDS[0] * typical)
    assert build_mass(height, 400.0) == pytest.approx(BUILDS[1] * typical)
    assert build_mass(height, float("nan")) == typical
    assert build_mass(height, 1.1 * typical) == pytest.approx(1.1 * typical)


def test_the_typical_build_is_the_table_s_person() -> None:
    """De Leva (1996), Table 4: men of 1.741 m and 73.0 kg."""
    assert build_mass(1.741, None) == pytest.approx(73.0)
