"""The figure's surface: closed, as heavy as a person, round its joints, and unharmed by missing points."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.renderer.body import STRIPES, make_body
from mocap.renderer.field import LINE_WIDTH, PLATE_THICKNESS, batters_box, batters_boxes, plate_mesh
from mocap.renderer.figure import PARTS, TONES, Figure, build_figure
from mocap.renderer.parts import bat_profile, make_bat
from mocap.renderer.rig import proportions
from mocap.swing import POINTS

INCH = 0.0254
HEIGHT = 1.80
OPTIONAL = ("head", "head_top", "heel", "ball", "toe", "hand", "bat_knob", "bat_barrel", "pelvis", "neck")


def turned(angle_deg: float, axis: int) -> np.ndarray:
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


def hitter(hip_deg: float = 0.0, knee_deg: float = 0.0, arm_deg: float = 20.0, elbow_deg: float = 10.0) -> np.ndarray:
    """One frame of a person of 1.80 m with Drillis & Contini's shares who faces -y with his front (left) side to +x.

    Hips and knees bend by the given angles, arms rise forward by `arm_deg` from hanging, elbows bend by `elbow_deg`.
    """
    p = np.full((len(POINTS), 3), np.nan)

    def put(name: str, place: np.ndarray) -> np.ndarray:
        p[POINTS.index(name)] = place
        return place

    down, forward = np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])
    for side, x in (("front", 1.0), ("back", -1.0)):
        thigh, shank = turned(-hip_deg, 0) @ down, turned(knee_deg - hip_deg, 0) @ down
        hip = put(f"{side}_hip", np.array([0.09 * x, 0.0, 0.0]))
        knee = put(f"{side}_knee", hip + 0.245 * HEIGHT * thigh)
        ankle = put(f"{side}_ankle", knee + 0.246 * HEIGHT * shank)
        put(f"{side}_heel", ankle + np.array([0.0, 0.055, -0.05]))
        ball = put(f"{side}_ball", ankle + 0.13 * forward + 0.05 * down)
        put(f"{side}_toe", ball + 0.07 * forward)
        upper, fore = turned(-arm_deg, 0) @ down, turned(-arm_deg - elbow_deg, 0) @ down
        spread = turned(-12.0 * x, 1)
        shoulder = put(f"{side}_shoulder", np.array([0.185 * x, 0.0, 0.288 * HEIGHT]))
        elbow = put(f"{side}_elbow", shoulder + 0.186 * HEIGHT * spread @ upper)
        wrist = put(f"{side}_wrist", elbow + 0.146 * HEIGHT * spread @ fore)
        put(f"{side}_hand", wrist + 0.08 * spread @ fore)
    put("pelvis", np.zeros(3))
    neck = put("neck", np.array([0.0, 0.0, 0.288 * HEIGHT]))
    head = put("head", neck + np.array([0.0, -0.03, 0.12 * HEIGHT]))
    put("head_top", head + np.array([0.0, 0.0, 0.065 * HEIGHT]))
    knob = put("bat_knob", np.array([0.10, -0.50, 0.20]))
    put("bat_barrel", knob + 0.84 * np.array([-0.6, 0.0, 0.8]))
    p[:, 2] += 0.07 - p[POINTS.index("front_ankle"), 2]
    return p[None]


POSES = {
    "standing": hitter(),
    "crouched": hitter(60.0, 80.0, 60.0, 100.0),
    "arms level": hitter(10.0, 20.0, 90.0, 5.0),
}


@pytest.fixture(scope="module")
def figure() -> Figure:
    return build_figure(POSES["standing"], HEIGHT, bat=True)


def part_faces(figure: Figure, part: str) -> np.ndarray:
    """Faces of one part over welded vertices."""
    mine = figure.parts[figure.faces[:, 0]] == PARTS.index(part)
    return figure.welded[figure.faces[mine]]


def welded_places(figure: Figure, vertices: np.ndarray) -> np.ndarray:
    places = np.empty((figure.welded.max() + 1, 3))
    places[figure.welded] = vertices
    return places


def volume(corners: np.ndarray) -> float:
    """Divergence theorem: sum of signed tetrahedra."""
    return float(np.linalg.det(corners).sum() / 6.0)


def winding(corners: np.ndarray, point: np.ndarray) -> float:
    """How often the surface goes round the point (van Oosterom & Strackee's solid angle over 4 pi)."""
    a, b, c = (corners[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    above = np.linalg.det(np.stack([a, b, c], axis=1))
    below = la * lb * lc + np.sum(a * b, 1) * lc + np.sum(b * c, 1) * la + np.sum(c * a, 1) * lb
    return float(np.arctan2(above, below).sum() / (2.0 * np.pi))


@pytest.mark.parametrize("part", PARTS)
def test_every_part_is_closed_and_faces_outward(figure: Figure, part: str) -> None:
    faces = part_faces(figure, part)
    directed = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    keys, counts = np.unique(directed, axis=0, return_counts=True)
    assert (counts == 1).all()
    assert {tuple(k) for k in keys} == {tuple(k) for k in keys[:, ::-1]}
    vertices, _ = figure.pose(POSES["standing"])
    assert volume(welded_places(figure, vertices[0])[faces]) > 0.0


def test_weight_of_the_body_fits_a_person(figure: Figure) -> None:
    """A man of 1.80 m and 80 kg at 1000 to 1070 kg/m3 (whole-body density) fills 0.075 to 0.080 m3; 15 % either way."""
    vertices, _ = figure.pose(POSES["standing"])
    places = welded_places(figure, vertices[0])
    parts = ("body", "front_shoe", "back_shoe", "front_fist", "back_fist")
    total = sum(volume(places[part_faces(figure, part)]) for part in parts)
    assert 0.85 * 80.0 / 1070.0 < total < 1.15 * 80.0 / 1000.0


def test_volume_is_kept_in_sharp_flexion(figure: Figure) -> None:
    """Knees at 80, hips at 60, elbows at 100 degrees: flesh neither vanishes nor grows."""
    faces = part_faces(figure, "body")
    volumes = [volume(welded_places(figure, figure.pose(POSES[p])[0][0])[faces]) for p in ("standing", "crouched")]
    assert volumes[1] == pytest.approx(volumes[0], rel=0.05)


@pytest.mark.parametrize("pose", POSES)
@pytest.mark.parametrize("joint", ["hip", "knee", "shoulder", "elbow"])
def test_joint_centres_lie_inside_the_body(figure: Figure, pose: str, joint: str) -> None:
    vertices, _ = figure.pose(POSES[pose])
    corners = welded_places(figure, vertices[0])[part_faces(figure, "body")]
    for side in ("front", "back"):
        centre = POSES[pose][0, POINTS.index(f"{side}_{joint}")]
        assert winding(corners, centre) == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("pose", POSES)
def test_knee_keeps_its_girth(figure: Figure, pose: str) -> None:
    """The knee cap stays about as far before the knee's centre however far it bends."""
    vertices, _ = figure.pose(POSES[pose])
    body = vertices[0][figure.parts == PARTS.index("body")]
    points = POSES[pose][0]
    hip, knee, ankle = (points[POINTS.index(f"front_{n}")] for n in ("hip", "knee", "ankle"))
    ahead = (knee - hip) / np.linalg.norm(knee - hip) - (ankle - knee) / np.linalg.norm(ankle - knee)
    ahead = ahead / np.linalg.norm(ahead) if np.linalg.norm(ahead) > 0.1 else np.array([0.0, -1.0, 0.0])
    near = body[np.linalg.norm(body - knee, axis=1) < 0.12]
    off = near - knee
    along = off @ ahead
    ray = np.linalg.norm(off - along[:, None] * ahead, axis=1) < 0.02
    assert 0.045 < along[ray].max() < 0.075


def test_turning_and_moving_the_points_turns_and_moves_the_figure(figure: Figure) -> None:
    """All but the bat, a solid of revolution whose roll about its own axis is free."""
    rotation, shift = turned(37.0, 2), np.array([0.4, -1.2, 0.0])
    body = figure.parts != PARTS.index("bat")
    for points in POSES.values():
        face = np.array([[0.3, -0.95, 0.0]])
        vertices, normals = figure.pose(points, face)
        moved, turned_normals = figure.pose(points @ rotation.T + shift, face @ rotation.T)
        np.testing.assert_allclose(moved[:, body], (vertices @ rotation.T + shift)[:, body], atol=2e-5)
        np.testing.assert_allclose(turned_normals[:, body], (normals @ rotation.T)[:, body], atol=2e-3)


def test_nothing_goes_below_the_floor(figure: Figure) -> None:
    points = POSES["crouched"].copy()
    points[0, POINTS.index("front_toe"), 2] = -0.03
    points[0, POINTS.index("back_ankle"), 2] -= 0.06
    vertices, _ = figure.pose(points)
    assert vertices[..., 2].min() == 0.0


def test_sole_lies_flat_on_the_floor_when_standing(figure: Figure) -> None:
    vertices, _ = figure.pose(POSES["standing"])
    for part in ("front_shoe", "back_shoe"):
        shoe = vertices[0][figure.parts == PARTS.index(part)]
        on_floor = shoe[shoe[:, 2] < 0.004]
        assert np.ptp(on_floor[:, 1]) > 0.75 * np.ptp(shoe[:, 1])


@pytest.mark.parametrize("tilt_deg", [15.0, -25.0])
def test_a_foot_that_rocks_or_tiptoes_for_most_of_a_recording_is_measured_flat(tilt_deg: float) -> None:
    """Toes up, rocked back on the heel, with the ankle 6 mm lower than flat; or toes down, on the ball."""
    standing = POSES["standing"]
    rocking = standing.copy()
    foot = [POINTS.index(f"front_{name}") for name in ("ankle", "heel", "ball", "toe")]
    about = standing[0, POINTS.index("front_heel" if tilt_deg > 0.0 else "front_ball")]
    rocking[0, foot] = about + (standing[0, foot] - about) @ turned(-tilt_deg, 0).T
    if tilt_deg > 0.0:
        rocking[0, foot, 2] -= 0.006 + rocking[0, foot[0], 2] - standing[0, foot[0], 2]
    assert (rocking[0, foot[2], 2] > standing[0, foot[2], 2] + 0.01) == (tilt_deg > 0.0)
    points = np.concatenate([standing] + 4 * [rocking])
    measured, flat = (proportions(frames, HEIGHT, bat=False) for frames in (points, standing))
    assert measured.ankle_height == pytest.approx(flat.ankle_height)
    assert measured.ball_height == pytest.approx(flat.ball_height)


def test_missing_knee_takes_only_its_leg(figure: Figure) -> None:
    whole = np.concatenate([POSES["standing"], POSES["crouched"]])
    broken = whole.copy()
    broken[1, POINTS.index("front_knee")] = np.nan
    good, _ = figure.pose(whole)
    vertices, _ = figure.pose(broken)
    np.testing.assert_array_equal(vertices[0], good[0])
    lost = np.isnan(vertices[1]).any(axis=-1)
    assert lost.any()
    leg = np.isin(figure.tones[lost], [TONES.index(t) for t in ("front_leg", "shoe", "sole")])
    assert leg.mean() > 0.9
    upper = np.isin(figure.tones, [TONES.index(t) for t in ("skin", "shirt", "front_sleeve", "cap", "hand", "bat")])
    assert not lost[upper].any()
    np.testing.assert_array_equal(vertices[1][~lost], good[1][~lost])


def test_what_a_recording_lacks_is_put_in() -> None:
    points = np.concatenate([POSES["standing"], POSES["crouched"]])
    lacking = [i for i, name in enumerate(POINTS) if name.split("_", 1)[-1] in OPTIONAL or name in OPTIONAL]
    full = build_figure(points, HEIGHT, bat=False).pose(points)[0]
    points[:, lacking] = np.nan
    vertices, normals = build_figure(points, HEIGHT, bat=False).pose(points)
    assert np.isfinite(vertices).all()
    assert np.isfinite(normals).all()
    for frame in range(2):
        np.testing.assert_allclose(vertices[frame].max(axis=0), full[frame].max(axis=0), atol=0.06)
        np.testing.assert_allclose(vertices[frame].min(axis=0), full[frame].min(axis=0), atol=0.06)


def brim_direction(figure: Figure, vertices: np.ndarray) -> np.ndarray:
    """Level direction from the cap's middle to its farthest point: the brim."""
    cap = vertices[figure.parts == PARTS.index("cap")]
    off = (cap - cap.mean(axis=0))[:, :2]
    tip = off[np.argmax(np.linalg.norm(off, axis=1))]
    return tip / np.linalg.norm(tip)


@pytest.mark.parametrize("angle_deg", [-120.0, -60.0, 10.0])
def test_brim_points_where_the_face_does(figure: Figure, angle_deg: float) -> None:
    face = np.array([[np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg)), 0.0]])
    vertices, _ = figure.pose(POSES["standing"], face)
    assert brim_direction(figure, vertices[0]) @ face[0, :2] > np.cos(np.deg2rad(15.0))


@pytest.mark.parametrize("face", [None, np.full((1, 3), np.nan)])
def test_unknown_face_turns_to_the_pitcher_as_far_as_a_neck_can(figure: Figure, face: np.ndarray | None) -> None:
    """The chest faces -y, the pitcher is at +x: 90 degrees apart, of which the neck gives 75."""
    vertices, _ = figure.pose(POSES["standing"], face)
    wanted = np.array([np.cos(np.deg2rad(-15.0)), np.sin(np.deg2rad(-15.0))])
    assert brim_direction(figure, vertices[0]) @ wanted > np.cos(np.deg2rad(12.0))


def test_normals_are_the_surface_s_own(figure: Figure) -> None:
    """Against vertex normals that another library averages from the faces, on the body without doubled vertices."""
    import trimesh

    vertices, normals = figure.pose(POSES["crouched"])
    places = welded_places(figure, vertices[0])
    mesh = trimesh.Trimesh(places, figure.welded[figure.faces], process=False)
    np.testing.assert_allclose(np.linalg.norm(normals[0], axis=1), 1.0, atol=1e-5)
    agreement = np.sum(normals[0] * mesh.vertex_normals[figure.welded], axis=1)
    assert np.quantile(agreement, 0.01) > 0.9
    assert agreement.mean() > 0.995


def test_frames_are_posed_alike_alone_and_together(figure: Figure) -> None:
    many = np.concatenate([POSES["standing"], POSES["crouched"], POSES["arms level"]] * 30)
    together = figure.pose(many)[0]
    for k, points in enumerate(POSES.values()):
        np.testing.assert_allclose(together[87 + k], figure.pose(points)[0][0], atol=1e-6)


def test_sides_carry_their_tones(figure: Figure) -> None:
    vertices, _ = figure.pose(POSES["standing"])
    assert set(np.unique(figure.tones)) == set(range(len(TONES)))
    for side, sign in (("front", 1.0), ("back", -1.0)):
        for tone in ("leg", "sleeve"):
            x = vertices[0][figure.tones == TONES.index(f"{side}_{tone}"), 0]
            assert (sign * x).min() > -0.01


STRIPED = {"back_sleeve": ("shoulder", "elbow"), "back_leg": ("hip", "knee")}


def test_only_the_back_side_is_striped(figure: Figure) -> None:
    plain = ~np.isin(figure.tones, [TONES.index(tone) for tone in STRIPED])
    assert figure.stripes.dtype == np.float32
    assert (figure.stripes[plain] == 0.0).all()


@pytest.mark.parametrize("tone", STRIPED)
def test_stripes_go_once_round_the_limb(figure: Figure, tone: str) -> None:
    """In a slice across the limb they rise by their whole number, in the same measure as the angle, worked out here."""
    vertices, _ = figure.pose(POSES["standing"])
    start, end = (POSES["standing"][0, POINTS.index(f"back_{joint}")] for joint in STRIPED[tone])
    axis = (end - start) / np.linalg.norm(end - start)
    off = vertices[0] - start
    along = off @ axis
    slice_ = (figure.tones == TONES.index(tone)) & (np.abs(along - 0.6 * np.linalg.norm(end - start)) < 0.03)
    across = np.cross(axis, [1.0, 0.0, 0.0])
    angle = np.arctan2(off[slice_] @ np.cross(axis, across), off[slice_] @ across)
    turns = figure.stripes[slice_] * 2.0 * np.pi / STRIPES[tone]
    sense = max((1.0, -1.0), key=lambda sign: abs(np.exp(1j * (turns - sign * angle)).mean()))
    assert abs(np.exp(1j * (turns - sense * angle)).mean()) > 0.97
    assert np.ptp(turns) > 1.9 * np.pi


@pytest.mark.parametrize("tone", STRIPED)
def test_stripes_never_run_backward_within_a_face(figure: Figure, tone: str) -> None:
    """A face spans few stripes; where a round ends, its vertices are doubled, whole rounds apart."""
    mine = figure.tones[figure.faces[:, 0]] == TONES.index(tone)
    vertices, _ = figure.pose(POSES["standing"])
    ankle = POSES["standing"][0, POINTS.index("back_ankle")]
    shown = vertices[0][figure.faces[mine]].mean(axis=1)[:, 2] > ankle[2] + 0.02  # the rest closes inside the shoe
    span = np.ptp(figure.stripes[figure.faces[mine]], axis=1)[shown]
    assert span.max() < 0.25 * STRIPES[tone]
    same = (figure.tones == TONES.index(tone)).nonzero()[0]
    order = same[np.argsort(figure.welded[same], kind="stable")]
    twin = figure.welded[order[1:]] == figure.welded[order[:-1]]
    assert twin.sum() > 10
    gap = np.abs(np.diff(figure.stripes[order])[twin])
    np.testing.assert_allclose(gap, STRIPES[tone], atol=1e-4)


def test_stripes_run_over_the_knee_without_a_break(figure: Figure) -> None:
    """From mid thigh to mid shank, the count along the front of the leg moves by less than one from 3 cm to 3 cm."""
    vertices, _ = figure.pose(POSES["standing"])
    hip, knee, ankle = (POSES["standing"][0, POINTS.index(f"back_{n}")] for n in ("hip", "knee", "ankle"))
    leg = figure.tones == TONES.index("back_leg")
    heights = np.linspace(0.5 * (hip + knee)[2], 0.5 * (knee + ankle)[2], 12)
    found = []
    for height in heights:
        ring = leg & (np.abs(vertices[0][:, 2] - height) < 0.02)
        ahead = vertices[0][ring, 1].argmin()  # he faces -y
        found.append(figure.stripes[ring][ahead])
    assert np.abs(np.diff(found)).max() < 1.0


def test_a_heavier_hitter_is_thicker_and_not_longer(figure: Figure) -> None:
    """Volume follows mass; joints, and so lengths, are where they were."""
    places = {mass: build_figure(POSES["standing"], HEIGHT, bat=True, mass_kg=mass) for mass in (65.0, 95.0)}
    total = {}
    for mass, built in places.items():
        vertices, _ = built.pose(POSES["standing"])
        total[mass] = volume(welded_places(built, vertices[0])[part_faces(built, "body")])
    assert total[95.0] / total[65.0] == pytest.approx(95.0 / 65.0, rel=0.07)
    assert places[65.0].size.thigh == places[95.0].size.thigh == figure.size.thigh


@pytest.mark.parametrize("mass", [1.0, 1000.0, float("nan")])
def test_an_absurd_mass_still_gives_a_whole_figure(mass: float) -> None:
    odd = build_figure(POSES["standing"], HEIGHT, bat=True, mass_kg=mass)
    vertices, _ = odd.pose(POSES["standing"])
    assert np.isfinite(vertices).all()
    assert volume(welded_places(odd, vertices[0])[part_faces(odd, "body")]) > 0.03


def test_the_rest_body_is_the_same_on_both_sides() -> None:
    body = make_body(proportions(POSES["standing"], HEIGHT, bat=False))
    mesh = body.vertices[np.lexsort(np.round(body.vertices, 6).T)]
    mirrored = body.vertices * [-1.0, 1.0, 1.0]
    np.testing.assert_allclose(np.sort(mesh[:, 0]), np.sort(mirrored[:, 0]), atol=2e-3)
    seam = {TONES.index("front_leg"): -1.0, TONES.index("back_leg"): 1.0}
    for number, sign in seam.items():
        mine = np.array(body.tones) == TONES[number]
        assert (sign * body.vertices[body.faces[mine], 0]).min() > -1e-9


def test_mesh_is_small_enough_to_draw_often(figure: Figure) -> None:
    assert 10_000 < len(figure.faces) < 21_000


def test_girths_grow_with_height_and_lengths_with_the_segments() -> None:
    size = proportions(POSES["standing"], HEIGHT, bat=False)
    assert size.thigh == pytest.approx(0.245 * HEIGHT)
    assert size.upper == pytest.approx(0.186 * HEIGHT)
    child = 0.75 * POSES["standing"]
    small = make_body(proportions(child, 0.75 * HEIGHT, bat=False))
    tall = make_body(size)
    ratio = volume(small.vertices[small.faces]) / volume(tall.vertices[tall.faces])
    assert ratio == pytest.approx(0.75**3, rel=0.02)


def test_bat_is_the_solid_of_its_profile() -> None:
    """Frustums of the profile, each ring a polygon of n corners: area n/2 sin(2 pi/n) r^2."""
    length, n = 0.84, 24
    bat = make_bat(length, sections=n)
    radius, z = bat_profile(length).T
    frustums = np.diff(z) / 3.0 * (radius[1:] ** 2 + radius[1:] * radius[:-1] + radius[:-1] ** 2)
    expected = 0.5 * n * np.sin(2.0 * np.pi / n) * frustums.sum()
    assert volume(bat.vertices[bat.faces]) == pytest.approx(expected, rel=1e-9)
    assert np.ptp(bat.vertices[:, 2]) == pytest.approx(length)
    assert 2.0 * np.hypot(bat.vertices[:, 0], bat.vertices[:, 1]).max() == pytest.approx(2.61 * INCH, abs=1e-5)


def test_bat_lies_between_its_two_points(figure: Figure) -> None:
    vertices, _ = figure.pose(POSES["standing"])
    bat = vertices[0][figure.parts == PARTS.index("bat")]
    knob, barrel = (POSES["standing"][0, POINTS.index(n)] for n in ("bat_knob", "bat_barrel"))
    axis = (barrel - knob) / np.linalg.norm(barrel - knob)
    along = (bat - knob) @ axis
    assert along.min() == pytest.approx(0.0, abs=1e-5)
    assert along.max() == pytest.approx(np.linalg.norm(barrel - knob), abs=1e-5)


def test_no_bat_no_bat_vertices() -> None:
    bare = build_figure(POSES["standing"], HEIGHT, bat=False)
    assert not np.isin(bare.tones, [TONES.index("bat"), TONES.index("grip")]).any()


def test_plate_has_the_rule_book_s_size() -> None:
    """17 in wide, square to half its depth, then a right-angled point: 17 x 8.5 + 17 x 8.5 / 2 square inches."""
    plate = plate_mesh()
    area = (17.0 * 8.5 + 0.5 * 17.0 * 8.5) * INCH**2
    assert plate.is_watertight
    assert plate.volume == pytest.approx(area * PLATE_THICKNESS, rel=1e-9)
    np.testing.assert_allclose(plate.bounds[:, 0], [0.0, 0.4318], atol=1e-9)
    np.testing.assert_allclose(plate.bounds[:, 1], [-0.2159, 0.2159], atol=1e-9)
    tip = plate.vertices[plate.vertices[:, 0] < 1e-9]
    np.testing.assert_allclose(tip[:, 1], 0.0, atol=1e-12)
    assert plate.bounds[0, 2] == 0.0


@pytest.mark.parametrize("side", [1, -1])
def test_box_has_the_rule_book_s_size_and_place(side: int) -> None:
    lines = batters_box(side)
    corners = np.vstack(lines)
    np.testing.assert_allclose(np.ptp(corners, axis=0), [72.0 * INCH, 48.0 * INCH], atol=1e-12)
    assert np.abs(corners[:, 1]).min() == pytest.approx((8.5 + 6.0) * INCH)
    assert corners[:, 0].mean() == pytest.approx(8.5 * INCH)
    assert (np.sign(corners[:, 1]) == side).all()
    ring = 72.0 * 48.0 * INCH**2 - (72.0 * INCH - 2 * LINE_WIDTH) * (48.0 * INCH - 2 * LINE_WIDTH)
    areas = [0.5 * np.sum(q[:, 0] * np.roll(q[:, 1], -1) - np.roll(q[:, 0], -1) * q[:, 1]) for q in lines]
    assert min(areas) > 0.0
    assert sum(areas) == pytest.approx(ring)


def test_both_boxes_mirror_each_other() -> None:
    both = np.vstack(batters_boxes())
    mirrored = both * np.array([1.0, -1.0])
    assert {tuple(np.round(p, 9)) for p in both} == {tuple(np.round(p, 9)) for p in mirrored}


def test_a_box_on_no_side_is_refused() -> None:
    with pytest.raises(ValueError, match="side must be"):
        batters_box(0)
