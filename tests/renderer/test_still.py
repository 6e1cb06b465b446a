"""The still and the sheet: exact places, nothing cut, nothing in the way of anything else."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from mocap.errors import OptionError, RenderError
from mocap.kinematics.swing_points import mid_hands
from mocap.renderer import draw_sheet, draw_still, guides, layers
from mocap.renderer.layers import Stage
from mocap.renderer.page import overlap
from mocap.renderer.pen import Pen
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.sheet import Sheet
from mocap.renderer.still import Still
from mocap.renderer.view import VIEWS

WIDE, TALL, SQUARE = (1920, 1080), (1080, 1920), (1080, 1080)


def still_of(shown, moment: str = "plant", view: str = "open side", size: tuple[int, int] = WIDE) -> Still:
    frame = shown.comparison.swing.index(moment)
    assert frame is not None
    return Still(shown.scene, moment, frame, VIEWS[view], size)


def assert_apart_and_inside(blocks, size) -> None:
    for block in blocks:
        left, top, right, bottom = block.box
        assert left >= 0
        assert top >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    for one, other in combinations(blocks, 2):
        assert not overlap(one.box, other.box), (one.labels[0].words, other.labels[0].words)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1280, 720), (3840, 2160)])
@pytest.mark.parametrize("moment", ["plant", "contact", "finish"])
def test_type_stays_inside_and_apart(shown, moment, size) -> None:
    still = still_of(shown, moment, size=size)
    assert len(still.blocks) >= 2
    assert_apart_and_inside(still.blocks, size)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("moment", ["plant", "contact"])
def test_no_two_hairlines_cross(shown, moment, view) -> None:
    leaders = [leader for note in still_of(shown, moment, view).notes if (leader := note.leader(1.0)) is not None]
    assert len(leaders) >= 2
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
    posed = next(shown.scene.poses([still.frame]))
    with Painter(shown.scene) as painter:
        painter.aim(still.framing, [still.frame])
        drawn = [
            painter.stage.draw(painter.hitter, *posed.hitter),
            painter.stage.draw(painter.reference, *posed.reference),
        ]
    covered = Image.new("L", WIDE)
    for layer in drawn:
        covered.paste(255, layer.corner, layer.solid)
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


@pytest.mark.parametrize("size", [WIDE, TALL])
def test_the_sheet_shows_every_moment_at_one_scale(shown, size) -> None:
    sheet = Sheet(shown.scene, size)
    assert [panel.moment for panel in sheet.panels] == ["stance", "lift", "plant", "contact", "extension", "finish"]
    assert len({panel.framing.scale for panel in sheet.panels}) == 1
    assert_apart_and_inside(sheet.blocks, size)
    for one, other in combinations(sheet.panels, 2):
        assert not overlap(one.box, other.box)
    for panel in sheet.panels:
        low, high = panel.framing.extent(shown.scene.reach([panel.frame]))
        assert panel.box[0] <= low[0] <= high[0] <= panel.box[2]
        assert panel.box[1] <= low[1] <= high[1] <= panel.box[3]


def test_the_sheet_leaves_out_what_was_not_found(shown) -> None:
    swing = shown.comparison.swing
    moments = {**swing.moments, "lift": replace(swing.moments["lift"], index=None, time_s=None)}
    scene = Scene.__new__(Scene)
    scene.__dict__.update(shown.scene.__dict__, swing=replace(swing, moments=moments))
    assert "lift" not in [panel.moment for panel in Sheet(scene, WIDE).panels]


def test_without_opengl_the_error_names_the_package_to_install(monkeypatch) -> None:
    layers._window_class.cache_clear()
    monkeypatch.setattr(layers, "_loads", lambda _: False)
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(RenderError, match="libegl1") as caught:
        layers.check_can_draw()
    layers._window_class.cache_clear()
    assert "\n" not in str(caught.value)
