"""The stroboscope: equal steps of time, places and speeds that can be worked out, type inside and apart."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from mocap.errors import OptionError
from mocap.kinematics.swing_points import mid_hands
from mocap.renderer.page import overlap
from mocap.renderer.scene import Scene
from mocap.renderer.stroboscope import Stroboscope, bat_shape, draw_stroboscope, instants_of
from mocap.renderer.view import VIEWS
from mocap.swing import POINTS

WIDE, TALL, SQUARE = (1920, 1080), (1080, 1920), (1080, 1080)
TURN_RAD_S = 20.0
FROM_END_M = 0.15


@pytest.fixture(scope="module")
def turning(shown):
    """The swing with a bat of 0.84 m that turns evenly in the floor plane about a knob that stands still."""
    swing = shown.comparison.swing
    angle = TURN_RAD_S * np.arange(swing.n_frames) / swing.rate_hz
    points = swing.points.copy()
    points[:, POINTS.index("bat_knob")] = (0.0, 0.5, 1.0)
    along = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=1)
    points[:, POINTS.index("bat_barrel")] = (0.0, 0.5, 1.0) + 0.84 * along
    return replace(swing, points=points, setup=replace(swing.setup, sweet_spot_m=FROM_END_M))


@pytest.mark.parametrize(("start", "most"), [("plant", 12), ("plant", 9), ("lift", 24)])
def test_steps_are_equal_few_enough_and_contact_is_one_of_the_instants(shown, start, most) -> None:
    swing = shown.comparison.swing
    found = instants_of(swing, start, most)
    assert np.diff(found.times) == pytest.approx(np.full(len(found.times) - 1, found.step_s))
    assert len(found.times) - 1 <= most
    contact = int(np.flatnonzero(np.abs(found.times) < 1e-12)[0])
    frame = swing.index("contact")
    assert found.bats[contact, 1] == pytest.approx(swing["bat_barrel"][frame])
    assert found.hands[contact] == pytest.approx(mid_hands(swing)[frame])
    first, last = (swing.index(moment) for moment in (start, "extension"))
    inside = frame + found.times * swing.rate_hz
    assert first - 1e-6 <= inside[0] < first + found.step_s * swing.rate_hz
    assert last - found.step_s * swing.rate_hz < inside[-1] <= last + 1e-6


def test_the_sweet_spot_of_an_evenly_turning_bat_goes_as_fast_as_its_radius_says(turning) -> None:
    """Speed is the angular velocity times the radius; the chords of 2.5 ms that are drawn are shorter by 1 in 9600."""
    found = instants_of(turning, "plant", 12)
    assert found.speeds == pytest.approx(np.full(len(found.speeds), TURN_RAD_S * (0.84 - FROM_END_M)), rel=1e-3)
    radius = np.linalg.norm(found.spots - np.array([0.0, 0.5, 1.0]), axis=1)
    assert radius == pytest.approx(np.full(len(radius), 0.84 - FROM_END_M), rel=1e-3)


def test_a_bat_is_as_long_as_its_ends_lie_apart_and_no_thicker_than_a_rule_book_barrel() -> None:
    """Baseball: not more than 2.61 in thick at its thickest part (Official Baseball Rules 3.02)."""
    scale = 300.0
    shape = bat_shape(np.array([[100.0, 50.0], [352.0, 50.0]]), scale)
    assert np.ptp(shape[:, 0]) == pytest.approx(252.0)
    assert 0.055 * scale < np.ptp(shape[:, 1]) <= 2.61 * 0.0254 * scale
    assert bat_shape(np.array([[1.0, 1.0], [1.0, 1.0]]), scale) == pytest.approx(np.ones((16, 2)))


@pytest.mark.parametrize("start", ["plant", "lift"])
@pytest.mark.parametrize("view", ["open side", "above", "pitcher"])
@pytest.mark.parametrize("size", [WIDE, TALL, SQUARE, (1280, 720)])
def test_type_stays_inside_and_apart_and_off_the_hitter(shown, size, view, start) -> None:
    picture = Stroboscope(shown.scene, VIEWS[view], size, start)
    for block in picture.blocks:
        left, top, right, bottom = block.box
        assert min(left, top) >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    for one, other in combinations(picture.blocks, 2):
        assert not overlap(one.box, other.box), (one.labels[0].words, other.labels[0].words)
    skin = picture.framing.project(picture.posed.hitter[0])
    for block in picture.blocks:
        left, top, right, bottom = block.box
        inside = (skin > (left, top)) & (skin < (right, bottom))
        assert not inside.all(axis=1).any(), block.labels[0].words


def test_each_time_stands_at_the_end_of_its_own_bat(shown) -> None:
    picture = Stroboscope(shown.scene, VIEWS["open side"], WIDE)
    ends = picture.framing.project(picture.instants.bats[:, 1])
    milliseconds = 1000 * picture.instants.times
    assert len(picture.marks) >= 4
    for label in picture.marks:
        words = label.words.replace("\N{MINUS SIGN}", "-")
        shown_ms = 0.0 if words == "contact" else float(words.split()[0].replace("\N{NO-BREAK SPACE}ms", ""))
        left, top, right, bottom = label.box
        away = np.hypot(*(ends - np.clip(ends, (left, top), (right, bottom))).T)
        assert milliseconds[int(np.argmin(away))] == pytest.approx(shown_ms)


def test_the_rows_say_the_speeds_and_their_bars_are_as_long(shown) -> None:
    picture = Stroboscope(shown.scene, VIEWS["open side"], WIDE)
    speeds = picture.instants.speeds
    assert len(picture.bars) == len(speeds)
    lengths = np.array([right - left for left, right, _ in picture.bars])
    assert lengths / lengths.max() == pytest.approx(speeds / speeds.max())
    words = {label.words for label in picture.rows}
    assert {f"{speed:.1f} m/s" for speed in speeds} <= words
    heading = " ".join(label.words for label in picture.rows).replace("\N{NO-BREAK SPACE}", " ")
    assert f"the {1000 * picture.instants.step_s:.0f} ms up to" in heading


def test_without_a_bat_the_hands_are_shown_alone(shown) -> None:
    comparison, findings = shown.comparison, shown.findings
    points = comparison.swing.points.copy()
    points[:, [POINTS.index("bat_knob"), POINTS.index("bat_barrel")]] = np.nan
    measures = {name: value for name, value in findings.measures.items() if name != "bat_speed"}
    scene = Scene(
        replace(comparison, swing=replace(comparison.swing, points=points)), replace(findings, measures=measures)
    )
    picture = Stroboscope(scene, VIEWS["open side"], WIDE)
    assert picture.rows == []
    assert picture.marks == []
    written = " ".join(label.words for label in picture.header.labels)
    assert "one dot every" in written
    assert "one bat every" not in written
    assert [label.words for label in picture.footer if label.words in ("Hands", "Sweet spot")] == ["Hands"]


@pytest.mark.usefixtures("can_draw")
def test_later_bats_are_stronger_than_earlier_ones(shown) -> None:
    picture = Stroboscope(shown.scene, VIEWS["above"], WIDE)
    drawn = np.asarray(picture.draw(), dtype=float)
    bats = picture.framing.project(picture.instants.bats)
    floor = drawn[round(picture.page.size[1] * 0.75), round(picture.page.size[0] * 0.95)]

    def strength(place: int) -> float:
        x, y = bats[place, 0] + 0.94 * (bats[place, 1] - bats[place, 0])
        return float(np.abs(drawn[int(y), int(x)] - floor).sum())

    contact = int(np.argmin(np.abs(picture.instants.times)))
    assert strength(contact + 1) > strength(contact - 2) > 0.0


@pytest.mark.usefixtures("can_draw")
def test_a_picture_is_written_and_what_is_not_known_is_refused(shown, tmp_path) -> None:
    comparison, findings = shown.comparison, shown.findings
    path = draw_stroboscope(comparison, findings, tmp_path / "strobe.png", size=(960, 540), view="above")
    with Image.open(path) as written:
        assert written.size == (960, 540)
    with pytest.raises(OptionError, match="finish"):
        draw_stroboscope(comparison, findings, tmp_path / "b.png", start="finish")
    swing = comparison.swing
    lost = {**swing.moments, "contact": replace(swing.moments["contact"], index=None, time_s=None)}
    with pytest.raises(OptionError, match="contact was not found"):
        draw_stroboscope(replace(comparison, swing=replace(swing, moments=lost)), findings, tmp_path / "b.png")
    assert [file.name for file in tmp_path.iterdir()] == ["strobe.png"]
