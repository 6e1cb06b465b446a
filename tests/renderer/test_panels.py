"""Several panels: one scale, one floor line, nothing beyond the edge."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.renderer.panels import PanelPainter, grid, set_panels
from mocap.renderer.several_views import SeveralViews
from mocap.renderer.view import VIEWS, find_view


def test_boxes_of_a_grid_fill_its_place_apart() -> None:
    boxes = grid((10, 20, 410, 320), 4, 2, 20)
    assert boxes == [(10, 20, 200, 160), (220, 20, 410, 160), (10, 180, 200, 320), (220, 180, 410, 320)]


def test_panels_share_scale_and_floor(shown) -> None:
    scene = shown.scene
    plant = scene.swing.index("plant")
    looks = [(scene, VIEWS[name]) for name in ("open side", "pitcher", "catcher")] + [(scene, find_view("125,20"))]
    boxes = grid((0, 0, 800, 600), 4, 2, 10)
    panels = set_panels(looks, [[plant]] * 4, boxes, (8, 8, 8, 30))
    assert len({panel.framing.scale for panel in panels}) == 1
    for panel in panels:
        width, height = panel.framing.size
        low, high = panel.framing.extent(scene.reach([plant]))
        assert low.min() >= 8 - 1e-6
        assert high[0] <= width - 8 + 1e-6
        assert high[1] <= height - 30 + 1e-6
    # Side by side, the lowest point rests on one line.
    assert panels[0].framing.extent(scene.reach([plant]))[1][1] == pytest.approx(
        panels[1].framing.extent(scene.reach([plant]))[1][1]
    )


@pytest.mark.usefixtures("can_draw")
def test_a_panel_is_a_picture_of_its_own_size_with_the_body_where_it_projects(shown) -> None:
    scene = shown.scene
    plant = scene.swing.index("plant")
    (panel,) = set_panels([(scene, VIEWS["open side"])], [[plant]], [(40, 30, 340, 330)], (10, 10, 10, 40))
    with PanelPainter(panel) as painter:
        picture = painter.paint(next(scene.poses([plant])), [], 0.3)
        empty = np.asarray(painter.base, dtype=int)
    assert picture.size == (300, 300)
    x, y = panel.framing.project(scene.swing["pelvis"][plant])
    assert np.abs(np.asarray(picture, dtype=int) - empty)[int(y), int(x)].max() > 10
    assert panel.in_picture(scene.swing["pelvis"][plant]) == pytest.approx([x + 40, y + 30])


def test_a_row_of_narrow_panels_is_as_tall_as_it_needs(shown) -> None:
    views = [VIEWS[name] for name in ("open side", "pitcher", "above", "catcher")]
    picture = SeveralViews(shown.scene, "plant", shown.scene.swing.index("plant"), views, (1920, 1080))
    tops, bottoms = ({panel.box[side] for panel in picture.panels} for side in (1, 3))
    assert len(tops) == len(bottoms) == 1
    height = bottoms.pop() - tops.pop()
    reached = [panel.framing.extent(panel.scene.reach(panel.frames)) for panel in picture.panels]
    titles = [block.box[3] - panel.box[1] for block, panel in zip(picture.titles, picture.panels, strict=True)]
    free = [low[1] - title for (low, _), title in zip(reached, titles, strict=True)]
    assert 0.0 < min(free) < 0.15 * height
    assert min(height - high[1] for _, high in reached) > 0.0
