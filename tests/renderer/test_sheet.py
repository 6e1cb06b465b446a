"""The sheet of key moments: every panel at one scale, its finding above it, nothing in the way of anything else."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from mocap.errors import OptionError
from mocap.renderer import draw_sheet
from mocap.renderer.page import overlap
from mocap.renderer.scene import Scene
from mocap.renderer.sheet import Sheet

WIDE, TALL, SQUARE = (1920, 1080), (1080, 1920), (1080, 1080)


def assert_apart_and_inside(blocks, size) -> None:
    for block in blocks:
        left, top, right, bottom = block.box
        assert min(left, top) >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    for one, other in combinations(blocks, 2):
        assert not overlap(one.box, other.box), (one.labels[0].words, other.labels[0].words)


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1280, 720), (390, 844)])
def test_the_sheet_shows_every_moment_at_one_scale(shown, size) -> None:
    sheet = Sheet(shown.scene, size)
    assert [panel.moment for panel in sheet.panels] == ["stance", "lift", "plant", "contact", "extension", "finish"]
    assert len({panel.framing.scale for panel in sheet.panels}) == 1
    assert_apart_and_inside(sheet.blocks, size)
    for one, other in combinations(sheet.panels, 2):
        assert not overlap(one.box, other.box)
    for panel in sheet.panels:
        posed = next(shown.scene.poses([panel.frame]))
        low, high = panel.framing.extent(np.concatenate([posed.hitter[0], posed.reference[0]]))
        assert panel.box[0] <= low[0] <= high[0] <= panel.box[2]
        assert panel.title.box[3] <= low[1] or panel.title.box[2] <= low[0]
        assert panel.box[1] <= low[1] <= high[1] <= panel.box[3]
        assert panel.box[0] <= panel.title.box[0] <= panel.title.box[2] <= panel.box[2]


def test_the_sheet_leaves_out_what_was_not_found(shown) -> None:
    swing = shown.comparison.swing
    moments = {**swing.moments, "lift": replace(swing.moments["lift"], index=None, time_s=None)}
    scene = Scene.__new__(Scene)
    scene.__dict__.update(shown.scene.__dict__, swing=replace(swing, moments=moments))
    assert "lift" not in [panel.moment for panel in Sheet(scene, WIDE).panels]


@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE])
def test_floors_of_one_row_are_level_and_every_panel_says_when_it_was(shown, size) -> None:
    sheet = Sheet(shown.scene, size)
    rows: dict[int, set[float]] = {}
    for panel in sheet.panels:
        floor = float(panel.framing.project(np.zeros(3))[1])
        rows.setdefault(panel.box[1], set()).add(round(floor, 6))
        swing = shown.comparison.swing
        seconds = (panel.frame - swing.index("plant")) / swing.rate_hz
        words = " ".join(label.words for label in panel.title.labels).replace("\N{MINUS SIGN}", "-")
        assert f"{abs(seconds):.2f} s" in words
    assert all(len(floors) == 1 for floors in rows.values())


def test_figures_fill_the_wide_sheet_better_than_six_equal_panels_would(shown) -> None:
    """Of 2 rows of 3 equal panels none could show a bat held high at more than a third of the picture's height."""
    sheet = Sheet(shown.scene, WIDE)
    panel = next(panel for panel in sheet.panels if panel.moment == "stance")
    posed = next(shown.scene.poses([panel.frame]))
    low, high = panel.framing.extent(posed.hitter[0])
    assert high[1] - low[1] > 0.36 * WIDE[1]


def test_each_panel_states_its_worst_check_with_the_mark_of_its_verdict(faulty) -> None:
    sheet = Sheet(faulty.scene, WIDE)
    plant = next(panel for panel in sheet.panels if panel.moment == "plant")
    assert [mark.verdict for mark in plant.title.marks] == ["off"]
    contact = next(panel for panel in sheet.panels if panel.moment == "contact")
    assert len(contact.title.marks) == 1


def test_without_any_moment_there_is_no_sheet(shown, tmp_path) -> None:
    swing = shown.comparison.swing
    lost = {name: replace(moment, index=None, time_s=None) for name, moment in swing.moments.items()}
    comparison = replace(shown.comparison, swing=replace(swing, moments=lost))
    with pytest.raises(OptionError, match="no key moment"):
        draw_sheet(comparison, shown.findings, tmp_path / "a.png")
    assert list(tmp_path.iterdir()) == []
