"""Guides: as long as the measures say, drawn in every view and through a real lens, off without a trace."""

from __future__ import annotations

import re
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from PIL import Image
from scipy.spatial.transform import Rotation

import mocap
from mocap.errors import OptionError
from mocap.importer.camera import Camera
from mocap.kinematics.readings import readings
from mocap.renderer import guides
from mocap.renderer.guides.canvas import size_px, straight
from mocap.renderer.lens import CameraLens, Lens
from mocap.renderer.pen import Pen
from mocap.renderer.scene import Scene
from mocap.renderer.view import VIEWS, find_view
from mocap.swing import MOMENTS, POINTS, Hitter, Setup

SIZE = (640, 360)
SIDE = find_view("open side")
#: A frame in which each is to be seen.
AT = {
    "weight": "plant",
    "depth": "contact",
    "knob": "plant",
    "back knee": "plant",
    "turn axis": "contact",
    "axis": "plant",
    "front side": "plant",
    "separation": "plant",
    "barrel": "extension",
    "pitch": "contact",
    "zone": "contact",
    "hands": "contact",
    "head": "contact",
}


@pytest.fixture(scope="module")
def struck(shown, posed, make_capture) -> Scene:
    """The same swing with its contact set by hand, so that the depth of contact can be measured."""
    contact = frame_of(shown.scene, "contact")
    setup = Setup(moments=MappingProxyType({"contact": contact}))
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz), Hitter("Hitter 1", 1.80, bats="right"), setup)
    return Scene(mocap.compare(swing, mocap.load_reference("standard")), mocap.measure(swing))


def framing(scene: Scene, view: str, size: tuple[int, int] = SIZE) -> Lens:
    content = scene.reach(range(0, scene.swing.n_frames, 10), ground=True)
    return scene.frame_in(find_view(view), content, size, (40, 40, size[0] - 40, size[1] - 60))


def camera_lens(scene: Scene) -> CameraLens:
    """A wide camera 4 m off the open side, 1.2 m up, that looks along +y and bends straight lines."""
    matrix = np.array([[330.0, 0.0, 320.0], [0.0, 330.0, 180.0], [0.0, 0.0, 1.0]])
    rotation = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    middle = np.nanmean(scene.swing.com, axis=0)
    stands = np.array([middle[0], middle[1] - 4.0, 1.2])
    camera = Camera(matrix, rotation, -rotation @ stands, SIZE, np.array([-0.25, 0.05, 0.0, 0.0, 0.0]))
    return CameraLens(camera, np.eye(4), SIZE)


def built(scene: Scene, name: str) -> guides.Guide:
    guide = guides.GUIDES[name](scene)
    assert guide is not None
    return guide


def frame_of(scene: Scene, moment: str) -> int:
    frame = scene.swing.index(moment)
    assert frame is not None
    return frame


def number_in(words: str) -> float:
    found = re.search(r"-?\d+(?:\.\d+)?", words)
    assert found is not None
    return float(found.group())


@pytest.mark.parametrize("view", [*VIEWS, "camera"])
@pytest.mark.parametrize("name", guides.GUIDES)
def test_each_draws_in_every_view(struck, name, view) -> None:
    lens = camera_lens(struck) if view == "camera" else framing(struck, view)
    guide = built(struck, name)
    assert guide.name == name
    covered = guides.strokes([guide], lens, frame_of(struck, AT[name]), 0.4)
    assert covered.shape == (SIZE[1], SIZE[0])
    assert 10 < covered.sum() < 0.15 * covered.size


def test_what_is_switched_off_leaves_no_pixel(shown) -> None:
    lens, scene = framing(shown.scene, "open side"), shown.scene
    assert guides.chosen("none", scene, "contact", SIDE) == []
    assert not guides.strokes([], lens, 0, 1.0).any()
    named = guides.chosen("zone, turn-axis", scene, "contact", SIDE)
    assert [guide.name for guide in named] == ["turn axis", "zone"]


def test_usual_is_sparse_and_belongs_to_moment_and_view(struck) -> None:
    def usual(moment: str, view: str) -> list[str]:
        return [guide.name for guide in guides.chosen("usual", struck, moment, find_view(view))]

    assert usual("plant", "open side") == ["weight", "axis", "separation"]
    assert usual("plant", "pitcher") == ["axis", "separation"]
    assert usual("plant", "three-quarter") == ["axis", "separation"]
    assert usual("contact", "catcher") == ["axis", "zone", "hands"]
    assert usual("contact", "above") == ["depth", "barrel", "zone", "hands"]
    assert usual("stance", "above") == []
    for moment in MOMENTS:
        for view in VIEWS:
            assert len(usual(moment, view)) <= 4


def test_all_is_what_this_part_of_the_swing_can_show(struck) -> None:
    at_plant = {guide.name for guide in guides.chosen("all", struck, "plant", SIDE)}
    assert {"weight", "knob", "back knee", "front side"} <= at_plant
    assert not {"depth", "barrel", "pitch"} & at_plant
    whole = guides.chosen("all", struck, guides.WHOLE_SWING, camera_lens(struck))
    assert [guide.name for guide in whole] == list(guides.GUIDES)
    assert "weight" not in {guide.name for guide in guides.chosen("all", struck, "plant", find_view("pitcher"))}
    asked = guides.chosen(["weight"], struck, "contact", find_view("pitcher"))  # by name: whatever it is good for
    assert [guide.name for guide in asked] == ["weight"]


@pytest.mark.parametrize("asked", ["halo", "zone, halo", ("halo",)])
def test_unknown_names_are_refused_with_the_known_ones(shown, asked) -> None:
    with pytest.raises(OptionError, match=r"guide 'halo' is not known; known are usual, all, none, weight, .*zone"):
        guides.chosen(asked, shown.scene, "plant", SIDE)


def test_an_unknown_moment_is_refused(shown) -> None:
    with pytest.raises(OptionError, match="moment 'dawn' is not known"):
        guides.chosen("usual", shown.scene, "dawn", SIDE)


def test_a_film_shows_each_in_its_part_of_the_swing(shown) -> None:
    swing = shown.comparison.swing
    plant, contact = frame_of(shown.scene, "plant"), frame_of(shown.scene, "contact")
    assert guides.shown_at("separation", swing, plant)
    assert not guides.shown_at("separation", swing, plant + 1)
    assert not guides.shown_at("turn axis", swing, plant - 1)
    assert guides.shown_at("turn axis", swing, contact)
    assert guides.shown_at("axis", swing, 0)
    assert guides.shown_at("axis", swing, swing.n_frames - 1)


@pytest.mark.parametrize(
    ("name", "moment", "measure", "shown_in"),
    [
        ("weight", "plant", "back_share", 0.01),
        ("depth", "contact", "contact_depth", 0.01),
        ("turn axis", "contact", "turn_axis_wander", 0.01),
        ("axis", "contact", "axis_drift", 0.01),
        ("front side", "plant", "front_knee_flexion", 1.0),
        ("front side", "contact", "front_leg_at_contact", 1.0),
        ("separation", "plant", "separation_length", 0.01),
        ("barrel", "contact", "bat_speed", 1.0),
        ("pitch", "contact", "pitch_angle", -1.0),  # "comes down" says the sign
        ("zone", "contact", "hitting_zone", 0.01),
        ("hands", "contact", "hand_speed", 1.0),
        ("head", "contact", "head_shift", 0.01),
    ],
)
def test_each_label_says_its_measure(struck, name, moment, measure, shown_in) -> None:
    label = built(struck, name).label(frame_of(struck, moment))
    assert label is not None
    assert label.measure == measure
    assert label.at.shape == (3,)
    assert np.isfinite(label.at).all()
    decimals = len(re.search(r"-?\d+(?:\.(\d+))?", label.words).group(1) or "")
    value = struck.findings.measures[measure].value / shown_in
    assert number_in(label.words) == pytest.approx(value, abs=0.501 * 10.0**-decimals)


def test_labels_follow_the_units(shown) -> None:
    inches = Scene(shown.comparison, shown.findings, "imperial")
    label = built(inches, "head").label(frame_of(inches, "contact"))
    assert label is not None
    assert label.words.endswith(" in")


def test_a_number_stands_only_where_it_holds(shown) -> None:
    plant, contact = frame_of(shown.scene, "plant"), frame_of(shown.scene, "contact")
    assert built(shown.scene, "separation").label(plant + 3) is None
    assert built(shown.scene, "head").label(plant) is None
    assert built(shown.scene, "hands").label(contact - 1) is None
    without = replace(shown.findings, measures=MappingProxyType({}))
    bare = guides.BodyAxis(shown.comparison, None, guides.Numbers(without))
    assert bare.label(contact) is None
    assert guides.BodyAxis(shown.comparison).label(contact) is None


def test_the_contact_spot_is_where_the_sweet_spot_meets_the_ball(shown, struck) -> None:
    """Read from the recorded swing between its frames, against the place found from zone and depth."""
    for scene in (shown.scene, struck):
        expected = readings(scene.swing, -8.0).sweet_spot_at("contact")[0]
        spot = guides.contact_spot(scene.swing, scene.zone, guides.Numbers(scene.findings))
        assert spot == pytest.approx(expected, abs=0.001)


def test_the_depth_line_is_as_long_as_the_measure(struck) -> None:
    depth = struck.findings.measures["contact_depth"].value
    guide = built(struck, "depth")
    lens = framing(struck, "above")
    ends = lens.project(guide.ends)
    assert (ends[1, 0] - ends[0, 0]) / lens.scale == pytest.approx(depth, abs=1e-9)
    assert ends[0, 1] == pytest.approx(ends[1, 1])
    assert not guide.ends[:, 2].any()


def test_a_depth_that_was_assumed_is_not_shown_as_a_finding(shown) -> None:
    assert shown.findings.measures["contact_depth"].value is None
    assert guides.GUIDES["depth"](shown.scene) is None


def test_the_zone_arc_is_as_long_as_the_measure(shown) -> None:
    path = built(shown.scene, "zone").zone.path
    length = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    assert length == pytest.approx(shown.findings.measures["hitting_zone"].value, abs=0.001)


def test_the_head_line_is_as_long_as_the_measure(shown) -> None:
    plant, contact = frame_of(shown.scene, "plant"), frame_of(shown.scene, "contact")
    moved = built(shown.scene, "head").reach(contact)
    assert moved[0] == pytest.approx(shown.comparison.swing["head"][plant])
    assert np.linalg.norm(moved[1] - moved[0]) == pytest.approx(shown.findings.measures["head_shift"].value, abs=0.005)


def test_the_trail_of_the_turn_axis_wanders_as_the_measure_says(shown) -> None:
    guide = built(shown.scene, "turn axis")
    trail = guide.trail(frame_of(shown.scene, "contact"))[:, :2]
    wander = np.sqrt(((trail - trail.mean(axis=0)) ** 2).sum(axis=1).mean())
    measured = shown.findings.measures["turn_axis_wander"]
    assert wander == pytest.approx(measured.value, abs=0.005 + measured.sd)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_turn_about_a_known_line_shows_that_line(shown, way) -> None:
    """A trunk that turns steadily about a leaning line through a known place on the floor."""
    swing = shown.comparison.swing
    along = np.array([0.2, -0.1, 1.0]) / np.linalg.norm([0.2, -0.1, 1.0])
    place = np.array([0.3, 0.6, 0.0])
    angles = way * np.radians(600.0) * np.arange(swing.n_frames) / swing.rate_hz
    turns = Rotation.from_rotvec(angles[:, None] * along).as_matrix()
    points = swing.points.copy()
    points[:, POINTS.index("neck")] = place + turns @ (np.array([0.4, 0.5, 1.4]) - place)
    turning = replace(swing, points=points, frames={"thorax": turns})
    guide = guides.TurnAxis(turning)
    floor, top = guide.ends(frame_of(shown.scene, "contact"))
    assert floor == pytest.approx(place, abs=1e-6)
    assert (top - floor) / np.linalg.norm(top - floor) == pytest.approx(along, abs=1e-6)
    assert guide.turns[frame_of(shown.scene, "contact")] == way


def test_the_pitch_line_has_the_slope_of_the_pitch_and_the_ball_its_size(shown) -> None:
    guide = built(shown.scene, "pitch")
    contact = frame_of(shown.scene, "contact")
    rise = guide.ends[1] - guide.ends[0]
    assert np.degrees(np.arctan2(-rise[2], rise[0])) == pytest.approx(shown.findings.measures["pitch_angle"].value)
    assert np.linalg.norm(np.cross(guide.spot - guide.ends[0], rise)) == pytest.approx(0.0, abs=1e-12)
    lens = framing(shown.scene, "pitcher", (1280, 720))
    line = replace_contact(guide, None)
    with_ball = guides.strokes([guide], lens, contact, 0.1).sum()
    without = guides.strokes([line], lens, contact, 0.1)
    ball = with_ball - without.sum()
    # From the pitcher the ball covers nearly all of the line there: its area is that of its disc.
    assert ball == pytest.approx(np.pi * (guide.radius_m * lens.scale) ** 2, rel=0.25)


def replace_contact(guide: guides.PitchLine, contact: int | None) -> guides.PitchLine:
    other = guides.PitchLine.__new__(guides.PitchLine)
    other.__dict__.update(guide.__dict__, contact=contact)
    return other


@pytest.mark.parametrize("view", VIEWS)
def test_a_length_across_the_sight_has_the_scale_of_the_view(shown, view) -> None:
    lens = framing(shown.scene, view)
    canvas = guides.Canvas(Pen(Image.new("RGB", (1, 1))), lens, 1.0)
    assert size_px(canvas, np.array([0.3, 0.2, 1.0]), 0.1) == pytest.approx(0.1 * lens.scale)


def test_long_lines_bend_with_the_lens(shown) -> None:
    """Every point of the drawn line is a point of the true one, seen through the lens; its picture is not straight."""
    lens = camera_lens(shown.scene)
    canvas = guides.Canvas(Pen(Image.new("RGB", (1, 1))), lens, 1.0)
    middle = np.nanmean(shown.scene.swing.com, axis=0)
    ends = middle + np.array([[-1.5, 0.0, 1.0], [1.5, 0.0, 1.0]])
    line = straight(canvas, ends)
    assert line[len(line) // 2] == pytest.approx(lens.project(ends.mean(axis=0)))
    assert np.abs(line[len(line) // 2] - (line[0] + line[-1]) / 2.0).max() > 2.0


def test_the_knob_ray_carries_the_bat_on_to_the_floor(shown) -> None:
    swing, plant = shown.comparison.swing, frame_of(shown.scene, "plant")
    knob, barrel = swing["bat_knob"][plant], swing["bat_barrel"][plant]
    spot, on_floor = guides.KnobRay(swing).end(plant)
    assert on_floor
    assert spot[2] == pytest.approx(0.0, abs=1e-12)
    assert np.cross(knob - barrel, spot - barrel) == pytest.approx(np.zeros(3), abs=1e-9)


def test_a_knob_that_points_upward_aims_at_no_floor(shown) -> None:
    swing = shown.comparison.swing
    points = swing.points.copy()
    knob, barrel = POINTS.index("bat_knob"), POINTS.index("bat_barrel")
    points[:, [knob, barrel]] = points[:, [barrel, knob]]
    plant = frame_of(shown.scene, "plant")
    guide = guides.KnobRay(replace(swing, points=points, plate_known=False))
    assert not guide.end(plant)[1]
    assert not guides.strokes([guide], framing(shown.scene, "open side"), plant, 1.0).any()


def test_the_catchers_feet_are_shown_where_the_plate_was_recorded(shown) -> None:
    swing, plant = shown.comparison.swing, frame_of(shown.scene, "plant")
    known, unknown = (guides.KnobRay(replace(swing, plate_known=known)) for known in (True, False))
    assert known.catcher == pytest.approx([-swing.setup.catcher_behind_m, 0.0, 0.0])
    assert unknown.catcher is None
    feet = known.reach(plant)[2:]  # after the knob and the ray's end
    edges = known.catcher + np.array([(x * 0.14, y * (0.2 + 0.05), 0.0) for x in (-1, 1) for y in (-1, 1)])
    assert feet.min(axis=0) == pytest.approx(np.min(edges, axis=0))
    assert feet.max(axis=0) == pytest.approx(np.max(edges, axis=0))
    assert len(unknown.reach(plant)) == 2


def test_the_stroke_to_the_knee_is_the_shortest_way_to_the_line(shown) -> None:
    swing, plant = shown.comparison.swing, frame_of(shown.scene, "plant")
    foot = guides.FrontSideLine(swing).foot_of_knee(plant)
    ankle, hip, knee = (swing[f"front_{joint}"][plant] for joint in ("ankle", "hip", "knee"))
    distance = np.linalg.norm(np.cross(knee - ankle, hip - ankle)) / np.linalg.norm(hip - ankle)
    assert np.linalg.norm(knee - foot) == pytest.approx(distance)
    assert np.cross(foot - ankle, hip - ankle) == pytest.approx(np.zeros(3), abs=1e-9)


def test_the_barrel_path_goes_through_the_recorded_places(shown) -> None:
    guide, contact = built(shown.scene, "barrel"), frame_of(shown.scene, "contact")
    path = guide.so_far(contact)
    swing = shown.comparison.swing
    bat = swing["bat_barrel"] - swing["bat_knob"]
    spots = swing["bat_barrel"] - swing.setup.sweet_spot_m * bat / np.linalg.norm(bat, axis=1, keepdims=True)
    level = frame_of(shown.scene, "level")
    assert path[0] == pytest.approx(spots[level])
    assert path[-1] == pytest.approx(spots[contact])
    for spot in spots[level : contact + 1]:
        assert np.linalg.norm(path - spot, axis=1).min() == pytest.approx(0.0, abs=1e-9)


def test_the_plus_minus_of_the_weight_is_seen_beside_its_mark(shown) -> None:
    """Below the wedge's tip, at both ends of the interval, the bar changes where the spread is known."""
    lens = framing(shown.scene, "open side", (1920, 1080))
    plant = frame_of(shown.scene, "plant")
    pictures = []
    for sd in (0.04, None):
        bar = guides.WeightBar(shown.comparison, shown.findings)
        bar.share_sd = sd
        picture = Image.new("RGB", lens.size)
        bar.draw(guides.Canvas(Pen(picture), lens, 1.0), plant)
        pictures.append(np.asarray(picture).astype(int))
    back_x, front_x, y = bar.bar(lens, 1.0, plant)
    x = bar.mark_x(guides.Canvas(Pen(Image.new("RGB", (1, 1))), lens, 1.0), plant)
    changed = np.abs(pictures[0] - pictures[1]).sum(axis=2) > 30
    columns = np.flatnonzero(changed[round(y)])
    reach = abs(0.04 * (front_x - back_x))
    assert columns.min() == pytest.approx(x - reach, abs=5.0)
    assert columns.max() == pytest.approx(x + reach, abs=5.0)


def altered(scene: Scene, points: np.ndarray, **other: object) -> Scene:
    """A scene over other points; its bodies, zone and findings stay unless given."""
    made = Scene.__new__(Scene)
    made.__dict__.update(scene.__dict__, **{name: value for name, value in other.items() if name == "zone"})
    changes = {name: value for name, value in other.items() if name != "zone"}
    made.swing = replace(scene.swing, points=points, **changes)
    made.comparison = replace(scene.comparison, swing=made.swing)
    return made


@pytest.mark.parametrize("lost", ["frame", "everything"])
@pytest.mark.parametrize("name", guides.GUIDES)
def test_missing_points_are_left_out(struck, name, lost) -> None:
    """No crash and no warning, nothing in reach that is not a place, and no number without its place."""
    frame = frame_of(struck, AT[name])
    points, com = struck.swing.points.copy(), struck.swing.com.copy()
    axes = {segment: turned.copy() for segment, turned in struck.swing.frames.items()}
    gone = slice(frame, frame + 1) if lost == "frame" else slice(None)
    for values in (points, com, *axes.values()):
        values[gone] = np.nan
    scene = altered(struck, points, com=com, frames=axes)
    guide = guides.GUIDES[name](scene)
    if guide is None:
        assert lost == "everything" or name in ("depth", "pitch")
        return
    assert np.isfinite(guide.reach(frame)).all()
    for lens in (framing(struck, "open side"), camera_lens(struck)):
        guides.strokes([guide], lens, frame, 1.0)
    label = guide.label(frame)
    assert label is None or np.isfinite(label.at).all()


def test_a_swing_without_bat_has_no_guides_to_it(shown) -> None:
    points = shown.comparison.swing.points.copy()
    points[:, [POINTS.index("bat_knob"), POINTS.index("bat_barrel")]] = np.nan
    scene = altered(shown.scene, points, zone=None)
    lacking = {name for name, entry in guides.GUIDES.items() if entry(scene) is None}
    assert lacking == {"knob", "barrel", "pitch", "zone", "depth"}


def test_a_retimed_scene_shows_the_same_places(struck) -> None:
    """Two pictures a frame: contact's place, the trail and the labels stay."""
    frames = np.arange(0.0, struck.swing.n_frames - 1.0, 0.5)
    slow = struck.retimed(frames, 2.0 * struck.swing.rate_hz)
    for name in ("depth", "pitch"):
        assert built(slow, name).spot == pytest.approx(built(struck, name).spot, abs=0.001)
    trails = [built(scene, "turn axis").trail(frame_of(scene, "contact"))[-1] for scene in (slow, struck)]
    assert trails[0] == pytest.approx(trails[1], abs=0.02)
    for name in ("axis", "head", "hands"):
        label = built(slow, name).label(frame_of(slow, "contact"))
        assert label is not None
        assert label.words == built(struck, name).label(frame_of(struck, "contact")).words


def test_a_left_handed_hitter_is_drawn_mirrored(shown, left_handed) -> None:
    pixels = []
    for scene in (shown.scene, left_handed.scene):
        lens = scene.frame_in(SIDE, scene.reach([frame_of(scene, "contact")]), SIZE, (40, 40, SIZE[0] - 40, 320))
        lens = replace(lens, anchor_px=(SIZE[0] / 2.0, lens.anchor_px[1]))
        pixels.append(guides.strokes([built(scene, "zone")], lens, frame_of(scene, "contact"), 0.5))
    assert (pixels[0] != pixels[1][:, ::-1]).sum() <= 0.02 * pixels[0].sum()


@pytest.mark.parametrize("name", ["axis", "turn axis", "head", "front side"])
@pytest.mark.parametrize("moment", ["plant", "contact"])
@pytest.mark.parametrize("view", ["open side", "pitcher", "120,25", "camera"])
def test_the_face_stays_free(struck, name, moment, view) -> None:
    """No stroke within nine tenths of a head's radius, 0.135 m, from its centre: edges of strokes are that wide."""
    lens = camera_lens(struck) if view == "camera" else framing(struck, view)
    frame, unit = frame_of(struck, moment), 0.5
    drawn = guides.strokes([built(struck, name)], lens, frame, unit)
    # At plant the trunk does not turn yet, so that it has no axis.
    assert drawn.any() == ((name, moment) != ("turn axis", "plant"))
    head = struck.swing["head"][frame]
    x, y = lens.project(head)
    around = lens.project(head + 0.135 * np.array([lens.axes[0], lens.axes[1]])) - (x, y)
    radius = 0.9 * float(np.hypot(*around.T).min()) - 6.0 * unit
    rows, columns = np.nonzero(drawn)
    assert (np.hypot(columns + 0.5 - x, rows + 0.5 - y) > radius).all()
