"""The still: exact places, nothing cut, nothing in the way of anything else."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from PIL import Image

import mocap
from mocap.errors import OptionError, RenderError
from mocap.importer.session import read_session
from mocap.kinematics.swing_points import mid_hands
from mocap.renderer import draw_sheet, draw_still, guides, layers
from mocap.renderer.ground import box_middle
from mocap.renderer.layers import Stage
from mocap.renderer.page import overlap
from mocap.renderer.pen import Pen
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.several_views import SeveralViews
from mocap.renderer.sheet import Sheet
from mocap.renderer.side_by_side import SideBySide, rows_of
from mocap.renderer.still import Still
from mocap.renderer.view import VIEWS, find_view
from mocap.swing import MOMENTS

WIDE, TALL, SQUARE = (1920, 1080), (1080, 1920), (1080, 1080)


def still_of(shown, moment: str = "plant", view: str = "open side", size: tuple[int, int] = WIDE) -> Still:
    frame = shown.comparison.swing.index(moment)
    assert frame is not None
    return Still(shown.scene, moment, frame, find_view(view), size)


def coverage(still: Still, size: tuple[int, int]) -> Image.Image:
    """Where a still's two bodies are drawn."""
    posed = next(still.scene.poses([still.frame]))
    covered = Image.new("L", size)
    with Painter(still.scene) as painter:
        painter.aim(still.framing, [still.frame])
        for body, mesh in ((painter.hitter, posed.hitter), (painter.reference, posed.reference)):
            layer = painter.stage.draw(body, *mesh)
            covered.paste(255, layer.corner, layer.solid)
    return covered


def assert_apart_and_inside(blocks, size) -> None:
    for block in blocks:
        left, top, right, bottom = block.box
        assert left >= 0
        assert top >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    for one, other in combinations(blocks, 2):
        assert not overlap(one.box, other.box), (one.labels[0].words, other.labels[0].words)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1280, 720), (3840, 2160), (640, 360), (390, 844)])
@pytest.mark.parametrize("moment", MOMENTS)
def test_type_stays_inside_and_apart(shown, moment, size) -> None:
    still = still_of(shown, moment, size=size)
    assert len(still.blocks) >= 2
    assert_apart_and_inside(still.blocks, size)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
@pytest.mark.parametrize("view", [*VIEWS, "120,25"])
@pytest.mark.parametrize("moment", ["plant", "contact"])
def test_type_stays_inside_and_apart_in_every_view_of_a_hitter_with_many_faults(faulty, moment, view, size) -> None:
    still = still_of(faulty, moment, view, size)
    assert_apart_and_inside(still.blocks, size)


@pytest.mark.parametrize("size", [TALL, SQUARE, (1242, 2208), (390, 844)])
def test_no_type_of_an_upright_or_square_picture_is_smaller_than_a_phone_asks_for(faulty, size) -> None:
    """12 of the 390 points across a phone held upright: a 32nd of the width."""
    pictures = [still_of(faulty, size=size), Sheet(faulty.scene, size)]
    sizes = [label.size for picture in pictures for block in picture.blocks for label in block.labels]
    assert min(sizes) >= size[0] / 32 - 0.5


def test_the_headline_states_what_is_off_and_the_numbers_come_in_the_order_of_their_verdicts(faulty) -> None:
    still = still_of(faulty)
    assert still.said.verdict == "off"
    order = ["off", "near", "too close to call", "good"]
    places = [order.index(callout.verdict) for callout in still.found if callout.verdict]
    assert places == sorted(places)
    assert 1 <= len(still.found) <= 5


def test_the_headline_of_a_sound_hitter_is_his_weight(shown) -> None:
    still = still_of(shown)
    assert "of the weight on the back foot" in still.said.words
    assert still.said.verdict == "good"


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("view", ["open side", "pitcher", "above", "120,25"])
@pytest.mark.parametrize("size", [TALL, SQUARE])
def test_type_never_lies_on_a_body_of_an_upright_or_square_picture(faulty, view, size) -> None:
    still = still_of(faulty, "plant", view, size)
    covered = coverage(still, size)
    for block in still.blocks:
        assert not np.asarray(covered.crop(block.box)).any(), block.labels[0].words


@pytest.mark.slow
@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("name", ["rook", "birch", "wren", "sorrel", "flint", "heath", "reed", "oak"])
def test_no_hairline_crosses_the_hitter(project_root, name) -> None:
    """In the pictures of every demo hitter, with all guides and with the usual numbers, from every side.

    Beside a guide's number a few pixels at its end may lie on the body, as drawn; in a margin only the last stretch, to
    the joint that the number belongs to.
    """
    session = read_session(project_root / "demo_sessions" / "lab_day")
    row = next(row for row in session.recordings if row.file.stem == name)
    swing = mocap.build_swing(mocap.read(row.file), row.hitter, row.setup)
    scene = Scene(mocap.compare(swing, mocap.load_reference("standard")), mocap.measure(swing))
    joined = 0
    with Painter(scene) as painter:
        for view, moment, asked in product([*VIEWS, "120,25"], ("plant", "contact"), ("all", "usual")):
            still = Still(scene, moment, swing.index(moment), find_view(view), WIDE, asked)
            painter.aim(still.framing, [still.frame])
            body = painter.stage.draw(painter.hitter, *next(scene.poses([still.frame])).hitter).mask(WIDE)
            noted = [(placed.leader, 0.0, placed.labels) for placed in still.placed]
            noted += [(note.leader(still.page.unit), 90.0, note.block.labels) for note in still.notes]
            for leader, last, labels in noted:
                if leader is None:
                    continue
                joined += 1
                length = np.hypot(*(leader[1] - leader[0]))
                at = leader[0] + np.arange(0.0, length - last)[:, None] / length * (leader[1] - leader[0])
                x, y = np.clip(at, 0, np.array(WIDE) - 1).astype(int).T
                assert body[y, x].sum() <= 10, (view, moment, labels[0].words)
    assert joined > 30


def test_guides_asked_for_by_name_bring_their_numbers_and_none_brings_none(shown) -> None:
    frame = shown.comparison.swing.index("plant")
    named = Still(shown.scene, "plant", frame, VIEWS["open side"], WIDE, "separation")
    assert [guide.name for guide in named.guides] == ["separation"]
    assert len(named.placed) == 1
    assert_apart_and_inside(named.blocks, WIDE)
    assert Still(shown.scene, "plant", frame, VIEWS["open side"], WIDE, "none").guides == []
    with pytest.raises(OptionError, match="halo"):
        Still(shown.scene, "plant", frame, VIEWS["open side"], WIDE, "halo")


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
@pytest.mark.parametrize("names", [("open side", "pitcher"), ("open side", "pitcher", "above", "120,25")])
def test_several_views_are_at_one_scale_each_with_its_name_and_the_headline_once(shown, names, size) -> None:
    frame = shown.comparison.swing.index("plant")
    picture = SeveralViews(shown.scene, "plant", frame, [find_view(name) for name in names], size)
    assert len({panel.framing.scale for panel in picture.panels}) == 1
    assert_apart_and_inside(picture.blocks, size)
    for panel, title in zip(picture.panels, picture.titles, strict=True):
        assert panel.box[0] <= title.box[0] <= title.box[2] <= panel.box[2]
        low, high = panel.framing.extent(shown.scene.reach([frame]))
        assert low[0] >= 0
        assert low[1] >= title.box[3] - panel.box[1]
        assert high[0] <= panel.framing.size[0]
        assert high[1] <= panel.framing.size[1]
    headline = " ".join(label.words for block in picture.blocks for label in block.labels)
    assert headline.replace("\N{NO-BREAK SPACE}", " ").count("of the weight on the back foot") == 1


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
@pytest.mark.parametrize("moment", ["plant", "contact"])
def test_two_swings_side_by_side_are_at_one_scale_with_level_floors(shown, faulty, moment, size) -> None:
    scenes = (shown.scene, faulty.scene)
    frames = tuple(scene.swing.index(moment) for scene in scenes)
    picture = SideBySide(scenes, moment, frames, VIEWS["open side"], size)
    first, second = picture.panels
    assert first.framing.scale == second.framing.scale
    floors = [panel.in_picture(panel.scene.plate_offset)[1] for panel in picture.panels]
    assert (first.box[1] != second.box[1]) or floors[0] == pytest.approx(floors[1])
    assert_apart_and_inside(picture.blocks, size)
    # A metre of height is as many pixels in both.
    heights = [panel.in_picture(np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]))[:, 1] for panel in picture.panels]
    assert np.ptp(heights[0]) == pytest.approx(np.ptp(heights[1]))


def test_floors_are_level_where_one_plate_was_recorded_and_the_other_is_assumed(shown) -> None:
    """The second hitter stands half a metre farther from his plate than the first one's is assumed to be."""
    comparison = shown.comparison
    away = box_middle() + np.array([0.0, 0.5, 0.0])
    swing = replace(comparison.swing, points=comparison.swing.points + away, plate_known=True)
    other = replace(comparison, swing=swing, reference_points=comparison.reference_points + away)
    frame = swing.index("plant")
    picture = SideBySide((shown.scene, Scene(other, shown.findings)), "plant", (frame, frame), VIEWS["open side"], WIDE)
    floors = [panel.in_picture(panel.scene.plate_offset)[1] for panel in picture.panels]
    assert floors[0] == pytest.approx(floors[1])
    for panel, title in zip(picture.panels, picture.titles, strict=True):
        low, high = panel.framing.extent(panel.scene.reach([frame]))
        assert low[1] + panel.box[1] >= title.box[3]
        assert high[1] <= panel.framing.size[1]


def test_the_rows_side_by_side_are_numbers_that_truly_differ(shown, faulty) -> None:
    rows = rows_of(shown.findings, faulty.findings, "plant", "metric")
    assert rows
    labels = {measure.label: name for name, measure in shown.findings.measures.items()}
    for row in rows:
        one, other = (shown_of.findings.measures[labels[row.label]] for shown_of in (shown, faulty))
        assert abs(one.value - other.value) > 1.96 * np.hypot(one.sd, other.sd)
    assert rows_of(shown.findings, shown.findings, "plant", "metric") == []


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
def test_no_number_stands_twice_beside_one_another(shown, faulty, size) -> None:
    scenes = (shown.scene, faulty.scene)
    frames = tuple(scene.swing.index("plant") for scene in scenes)
    picture = SideBySide(scenes, "plant", frames, VIEWS["open side"], size)
    first = rows_of(shown.findings, faulty.findings, "plant", "metric")[0]
    said = " ".join(label.words for block in picture.blocks for label in block.labels).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert said.count(first.label) == (1 if size == WIDE else 2)  # far from its values it stands over them again
    for value in first.values:
        assert said.count(value.replace("\N{NO-BREAK SPACE}", " ")) == 1


def test_four_views_in_a_row_share_its_width_as_they_need_it(shown) -> None:
    """The pitcher's view is the narrowest, and no view has more room to spare than another by much."""
    names, frame = ("open side", "pitcher", "above", "120,25"), shown.comparison.swing.index("plant")
    picture = SeveralViews(shown.scene, "plant", frame, [find_view(name) for name in names], WIDE)
    widths = [panel.box[2] - panel.box[0] for panel in picture.panels]
    assert len({panel.box[1] for panel in picture.panels}) == 1
    assert widths[1] == min(widths) < 0.9 * max(widths)
    for one, other in pairwise(picture.panels):
        assert one.box[2] < other.box[0]


def test_the_weight_s_number_stands_under_its_bar_where_all_guides_are_asked_for(faulty) -> None:
    frame = faulty.comparison.swing.index("plant")
    share = faulty.findings.measures["back_share"].value
    for asked, told in (("all", True), ("usual", False)):
        still = Still(faulty.scene, "plant", frame, VIEWS["open side"], WIDE, asked)
        assert still.said.measure != "back_share"
        (under,) = (label.words for label in still.bar_labels if "good" in label.words)
        assert under.startswith(f"{100 * share:.0f}") == told
        assert not any("of the weight" in label.words for placed in still.placed for label in placed.labels)


def test_a_left_handed_hitter_beside_a_right_handed_one_looks_the_other_way(shown, left_handed) -> None:
    frame = shown.comparison.swing.index("plant")
    picture = SideBySide((shown.scene, left_handed.scene), "plant", (frame, frame), VIEWS["open side"], WIDE)
    toward = [panel.framing.project([[1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])[:, 0] for panel in picture.panels]
    assert toward[0][0] > toward[0][1]
    assert toward[1][0] < toward[1][1]


def test_three_views_and_several_views_of_two_swings_are_refused(shown, tmp_path) -> None:
    for views, beside in ((("pitcher",) * 3, None), (("pitcher", "above"), (shown.comparison, shown.findings))):
        with pytest.raises(OptionError, match="do not fit"):
            draw_still(shown.comparison, shown.findings, tmp_path / "a.png", view=views, beside=beside)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("moment", ["plant", "contact"])
def test_no_two_hairlines_cross(shown, moment, view) -> None:
    leaders = [leader for note in still_of(shown, moment, view).notes if (leader := note.leader(1.0)) is not None]
    for one, other in combinations(leaders, 2):
        matrix = np.column_stack([one[1] - one[0], other[0] - other[1]])
        if abs(np.linalg.det(matrix)) > 1e-9:
            shares = np.linalg.solve(matrix, other[0] - one[0])
            assert not ((shares > 1e-6) & (shares < 1 - 1e-6)).all()


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize(
    ("moment", "view"), [("plant", "open side"), ("plant", "above"), ("contact", "open side"), ("plant", "pitcher")]
)
def test_type_never_lies_on_a_body(shown, moment, view) -> None:
    still = still_of(shown, moment, view)
    covered = coverage(still, WIDE)
    assert np.asarray(covered).any()
    for block in still.blocks:
        assert not np.asarray(covered.crop(block.box)).any(), block.labels[0].words


@pytest.mark.usefixtures("can_draw")
def test_the_skin_is_drawn_where_the_joints_project(shown) -> None:
    """The knee and the hip lie inside the hitter's silhouette, a point a hand's width beside the trunk does not."""
    still = still_of(shown)
    posed = next(shown.scene.poses([still.frame]))
    with Painter(shown.scene) as painter:
        painter.aim(still.framing, [still.frame])
        layer = painter.stage.draw(painter.hitter, *posed.hitter)
    solid = np.asarray(layer.solid)
    for name in ("front_knee", "back_knee", "pelvis", "head", "front_ankle"):
        x, y = still.framing.project(shown.comparison.swing[name][still.frame]) - layer.corner
        assert solid[int(y), int(x)] == 255, name


def test_the_lines_drawn_are_as_long_as_the_measures_say(shown) -> None:
    swing, plant = shown.comparison.swing, shown.comparison.swing.index("plant")
    ends = guides.SeparationLine(shown.comparison).ends[plant]
    measured = shown.findings.measures["separation_length"].value * swing.height_m
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(measured, abs=0.005)
    assert ends[1] == pytest.approx(mid_hands(swing)[plant])


def test_the_weight_mark_divides_its_bar_as_the_share_says(shown) -> None:
    still = still_of(shown)
    bar = guides.WeightBar(shown.comparison, shown.findings)
    canvas = guides.Canvas(Pen(Image.new("RGB", (1, 1))), still.framing, 1.0)
    back_x, front_x, _ = bar.bar(still.framing, 1.0, still.frame)
    x = bar.mark_x(canvas, still.frame)
    assert (front_x - x) / (front_x - back_x) == pytest.approx(shown.findings.measures["back_share"].value)
    assert bar.band == (0.5, 0.6)


def test_the_axis_runs_through_pelvis_and_head_to_the_floor() -> None:
    pelvis, head = np.array([0.1, 0.0, 1.0]), np.array([0.0, -0.1, 1.6])
    top, floor = guides.axis_ends(pelvis, head)
    assert floor[2] == pytest.approx(0.0)
    assert np.cross(head - pelvis, floor - top) == pytest.approx(np.zeros(3), abs=1e-12)
    assert top[2] > head[2]


@pytest.mark.usefixtures("can_draw")
def test_a_left_handed_hitter_is_shown_with_the_pitcher_to_the_left(shown, left_handed) -> None:
    right, left = still_of(shown), still_of(left_handed)
    toe = shown.comparison.swing["front_toe"][right.frame]
    heel = shown.comparison.swing["back_heel"][right.frame]
    assert right.framing.project(toe)[0] > right.framing.project(heel)[0]
    assert left.framing.project(toe)[0] < left.framing.project(heel)[0]
    assert "pitcher to the left" in left.footer.labels[-1].words
    assert "pitcher to the right" in right.footer.labels[-1].words
    posed = next(shown.scene.poses([right.frame]))
    shapes = []
    for still in (right, left):
        with Painter(still.scene) as painter:
            painter.aim(still.framing, [still.frame])
            shapes.append(np.asarray(painter.stage.draw(painter.hitter, *posed.hitter).solid) > 127)
    mirrored = shapes[1][:, ::-1]
    height, width = min(shapes[0].shape[0], mirrored.shape[0]), min(shapes[0].shape[1], mirrored.shape[1])
    assert (shapes[0][:height, :width] != mirrored[:height, :width]).mean() < 0.02


@pytest.mark.usefixtures("can_draw")
def test_a_limb_without_points_is_left_out_and_the_rest_stays(shown) -> None:
    still = still_of(shown)
    vertices, normals = next(shown.scene.poses([still.frame])).hitter
    hidden = vertices.copy()
    hidden[vertices[:, 2] > 1.0] = np.nan
    with Stage() as stage:
        body = stage.add(shown.scene.hitter.faces, np.full((len(vertices), 3), 200, dtype=np.uint8), (255, 255, 255))
        stage.aim(still.framing, (0, 0, *WIDE))
        heights = [stage.draw(body, points, normals).solid.size[1] for points in (vertices, hidden, vertices)]
    assert heights[1] < 0.75 * heights[0]
    assert heights[2] == heights[0]


@pytest.mark.usefixtures("can_draw")
def test_a_frame_in_which_nothing_was_seen_changes_nothing(shown) -> None:
    still = still_of(shown)
    posed = next(shown.scene.poses([still.frame]))
    nothing = tuple(np.full_like(array, np.nan) for array in posed.hitter)
    with Painter(shown.scene) as painter:
        painter.aim(still.framing, [still.frame])
        layer = painter.stage.draw(painter.hitter, *nothing)
        again = painter.stage.draw(painter.hitter, *posed.hitter)
    assert not np.asarray(layer.solid).any()
    assert np.asarray(again.solid).any()


@pytest.mark.usefixtures("can_draw")
def test_pictures_have_the_size_asked_for_and_leave_nothing_else_behind(shown, tmp_path) -> None:
    for draw, name in ((draw_still, "still.png"), (draw_sheet, "sheet.png")):
        path = draw(shown.comparison, shown.findings, tmp_path / name, size=(960, 540))
        picture = Image.open(path)
        assert picture.size == (960, 540)
        assert len(picture.convert("RGB").getcolors(960 * 540) or []) > 200
    assert sorted(file.name for file in tmp_path.iterdir()) == ["sheet.png", "still.png"]


def test_an_unknown_moment_and_one_not_found_are_refused(shown, tmp_path) -> None:
    with pytest.raises(OptionError, match="launch"):
        draw_still(shown.comparison, shown.findings, tmp_path / "a.png", moment="launch")
    swing = shown.comparison.swing
    lost = replace(swing.moments["finish"], index=None, time_s=None)
    comparison = replace(shown.comparison, swing=replace(swing, moments={**swing.moments, "finish": lost}))
    with pytest.raises(OptionError, match="finish was not found"):
        draw_still(comparison, shown.findings, tmp_path / "a.png", moment="finish")
    assert list(tmp_path.iterdir()) == []


def test_without_opengl_the_error_names_the_package_to_install(monkeypatch) -> None:
    layers._window_class.cache_clear()
    monkeypatch.setattr(layers, "_loads", lambda _: False)
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(RenderError, match="libegl1") as caught:
        layers.check_can_draw()
    layers._window_class.cache_clear()
    assert "\n" not in str(caught.value)
