"""What pictures say in few words: short enough for a panel, no number that says nothing, no word twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.renderer import captions
from mocap.renderer.difference_map import DifferenceMap
from mocap.renderer.scene import Scene
from mocap.renderer.sheet import Sheet
from mocap.renderer.side_by_side import both_names
from mocap.renderer.style import type_sizes
from mocap.renderer.text import wrap
from mocap.renderer.view import VIEWS

WIDE, TALL = (1920, 1080), (1080, 1920)
MOST_LINES = {WIDE: 5, TALL: 3}  # a wide sheet's panels stand in one row and have height to spare


def off_alone(findings, measure: str):
    """The findings with one check off and all others good."""
    checks = [replace(check, verdict="off" if check.measure == measure else "good") for check in findings.checks]
    return replace(findings, checks=checks)


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_whatever_is_off_is_said_in_few_lines_of_the_narrowest_panel(shown, units) -> None:
    sheet, small = Sheet(shown.scene, WIDE), type_sizes(WIDE).small
    width = min(panel.box[2] - panel.box[0] for panel in sheet.panels) - 2 * 8 * sheet.page.unit
    said, long = 0, []
    for check in shown.findings.checks:
        measure = shown.findings.measures[check.measure]
        moment = measure.moment.split(" ")[-1]
        if measure.value is None or not isinstance(measure.value, float):
            continue
        words, verdict = captions.brief(shown.comparison, off_alone(shown.findings, check.measure), moment, 0, units)
        assert verdict == "off"
        long += [words] if len(wrap(words, width, small, indent=1.15 * small)) > MOST_LINES[WIDE] else []
        said += 1
    assert said > 15
    assert long == []


@pytest.mark.parametrize("size", [WIDE, TALL])
def test_no_panel_of_a_sheet_says_more_than_a_few_lines(faulty, size) -> None:
    for panel in Sheet(faulty.scene, size).panels:
        assert len(panel.title.labels) - 2 <= MOST_LINES[size]  # after the moment's name and its time


def test_a_share_of_height_is_said_as_its_length_in_a_panel(shown) -> None:
    gain, height = shown.findings.measures["separation_gain"], shown.findings.hitter.height_m
    words, _ = captions.brief(shown.comparison, off_alone(shown.findings, "separation_gain"), "plant", 0, "metric")
    number = float(words.partition(": ")[2].partition(" ")[0])
    assert number == pytest.approx(100.0 * abs(gain.value) * height, abs=0.5)
    assert " cm " in words


def test_a_length_beside_a_number_with_its_direction_in_words_has_no_sign(shown) -> None:
    gain = replace(shown.findings.measures["separation_gain"], value=-0.07)
    findings = replace(shown.findings, measures={**shown.findings.measures, "separation_gain": gain})
    (callout,) = [
        callout
        for callout in captions.callouts(off_alone(findings, "separation_gain"), "plant", "metric")
        if callout.label.startswith(gain.label)
    ]
    assert callout.label == f"{gain.label}, 13 cm"  # 0.07 of 1.80 m
    assert "closer" in callout.value


def test_joints_that_all_but_coincide_are_not_called_far(shown) -> None:
    swing = shown.comparison.swing
    near = replace(
        shown.comparison,
        reference_points=swing.points,
        distances=np.full(shown.comparison.distances.shape, 0.004),
        differences=[replace(difference, distance_m=0.004) for difference in shown.comparison.differences],
    )
    frame = swing.index("plant")
    assert captions.furthest(near) == []
    assert captions.furthest_at(near, frame, "metric") == []
    assert captions.brief(near, shown.findings, "stance", 0, "metric")[0] == "Within 2 cm of the reference"
    drawn = DifferenceMap(Scene(near, shown.findings), "plant", frame, VIEWS["open side"], WIDE)
    assert drawn.said.words == "Every joint within 2 cm of the reference"
    assert len(drawn.numbers()) == 1


def test_two_days_of_one_hitter_name_him_once() -> None:
    assert both_names(("Lark, 2026-05-08", "Lark, 2026-02-06")) == "Lark, 2026-05-08 against 2026-02-06"
    assert both_names(("Lark", "Rook")) == "Lark against Rook"
