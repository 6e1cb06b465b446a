"""The page on cameras: its numbers are those of the placement and the recording, and it needs nothing from outside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from mocap.importer.camera import Camera
from mocap.importer.camera_placement import Placement, Volume, judge_placement
from mocap.importer.camera_quality import CameraQuality, camera_quality
from mocap.importer.keypoints import Keypoints
from mocap.importer.triangulation import triangulate
from mocap.renderer.camera_page import write_camera_page
from mocap.renderer.text import typographic

VOLUME = Volume.at_plate()
CAMERAS = [
    Camera.looking_at(place, (0.2, 0.5, 1.1), size=(1280, 720), field_of_view_deg=50.0, rate_hz=120.0, name=name)
    for name, place in (("side <1>", (0.2, -5.5, 1.4)), ("front", (5.5, -3.0, 1.4)))
]


@pytest.fixture(scope="module")
def placement() -> Placement:
    return judge_placement(CAMERAS, VOLUME)


@pytest.fixture(scope="module")
def quality() -> CameraQuality:
    """The second camera is not there between 0.2 and 0.3 s, and off from 0.4 s on."""
    rng = np.random.default_rng(2)
    places = rng.uniform((-0.3, 0.0, 0.2), (0.6, 0.9, 1.8), (72, 2, 3))
    pixels = np.stack([camera.project(places) for camera in CAMERAS]) + rng.normal(0.0, 1.0, (2, 72, 2, 2))
    pixels[1, 24:36] = np.nan
    pixels[1, 48:, :, 1] += 25.0
    located = triangulate(CAMERAS, pixels, np.ones(pixels.shape[:-1]))
    names = ("l_hip", "bat_knob")
    clips = [Keypoints(names, own, np.ones(own.shape[:2])) for own in pixels]
    there = np.isfinite(located.points[..., 0])
    return camera_quality(CAMERAS, clips, names, np.arange(72) / 120.0, located.points, there)


def page_of(path: Path) -> ET.Element:
    """The page as a tree: it is well-formed but for the tags that HTML leaves open."""
    text = path.read_text(encoding="utf-8")
    for name in ("meta charset", "meta name"):
        start = text.index(f"<{name}")
        text = text[:start] + text[text.index(">", start) + 1 :]
    return ET.fromstring(text.replace("<!doctype html>", ""))


def words_of(page: ET.Element) -> str:
    return " ".join(" ".join(page.itertext()).split())


def test_the_map_shows_every_field_with_its_error_and_the_cameras_sides(tmp_path: Path, placement: Placement) -> None:
    page = page_of(write_camera_page(placement, tmp_path / "page.html"))
    plan = page.find(".//svg")
    assert plan is not None
    texts = {(float(t.get("x", 0)), float(t.get("y", 0))): t.text for t in plan.iter("text")}
    numbers = [text for text in texts.values() if text and text.replace(".", "").isdigit() and "." in text]
    hands = next(level for level in placement.levels if level.name == "hands")
    assert sorted(map(float, numbers)) == pytest.approx(sorted(1e3 * hands.largest.ravel()), abs=0.051)
    # The field toward the pitcher and at the plate's side is up and to the right.
    corner = max((x, -y) for (x, y), text in texts.items() if text in numbers)
    assert float(texts[corner[0], -corner[1]]) == pytest.approx(1e3 * hands.largest[-1, 0], abs=0.051)
    side, front = ((float(c.get("cx")), float(c.get("cy"))) for c in plan.iter("circle"))
    _, _, width, height = map(float, plan.get("viewBox", "").split())
    # The first stands straight to the right of the hitter as the catcher sees it, the second up and to the right.
    assert side[0] > 0.8 * width
    assert side[1] == pytest.approx(height / 2, abs=5.0)
    assert front[1] < 0.3 * height
    outline = plan.find("polygon")
    assert outline is not None
    assert len(outline.get("points", "").split(" ")) == 5


def test_words_and_numbers_are_those_of_the_placement(tmp_path: Path, placement: Placement) -> None:
    path = write_camera_page(placement, tmp_path / "page.html", notes=["a <note>"])
    words = words_of(page_of(path))
    sentence = placement.advice[0]
    assert typographic(sentence[0].upper() + sentence[1:]) in words
    assert "side <1>" in words
    assert "a <note>" in words
    for level in placement.levels:
        for sd in level.usual:
            assert typographic(f"{1e3 * sd:.1f} mm") in words
    assert "Reprojection" not in words
    text = path.read_text(encoding="utf-8")
    assert "http" not in text
    assert "<script" not in text
    assert "src=" not in text


def test_a_recordings_errors_are_listed_and_drawn_with_its_gap(
    tmp_path: Path, placement: Placement, quality: CameraQuality
) -> None:
    page = page_of(write_camera_page(placement, tmp_path / "page.html", quality=quality))
    words = words_of(page)
    for camera in range(2):
        for point in range(2):
            error = f"{quality.rms_px[camera, point]:.1f} ({quality.median_px[camera, point]:.1f}) px"
            assert typographic(error) in words
    chart = page.findall(".//svg")[1]
    lines = [[tuple(map(float, at.split(","))) for at in p.get("points", "").split()] for p in chart.iter("polyline")]
    # Each camera's line is broken where two cameras saw nothing: blocks 0 and 1, and 3 to 5.
    assert [len(line) for line in lines] == [2, 3, 2, 3]
    # Later is to the right, more is higher up.
    assert lines[2][0][0] < lines[2][1][0] < lines[3][0][0]
    assert lines[3][1][1] < lines[3][0][1] - 20.0
    # Typographic spaces and signs would be no coordinates.
    assert all(p.get("points", "").isascii() for p in chart.iter("polyline"))
    dashes = {p.get("stroke-dasharray") for p in chart.iter("polyline")}
    assert len(dashes) == 2


def test_fields_that_two_cameras_do_not_see_have_a_dash(tmp_path: Path) -> None:
    narrow = replace(CAMERAS[0], matrix=CAMERAS[0].matrix * np.array([[3.0, 1, 1], [1, 3.0, 1], [1, 1, 1]]))
    placement = judge_placement([narrow, CAMERAS[1]], VOLUME)
    page = page_of(write_camera_page(placement, tmp_path / "page.html"))
    hands = next(level for level in placement.levels if level.name == "hands")
    plan = page.find(".//svg")
    assert plan is not None
    blank = sum(t.text == "–" for t in plan.iter("text"))
    assert blank == np.isnan(hands.largest).sum() > 0


def test_without_a_plate_or_a_pitcher_the_map_says_so(tmp_path: Path) -> None:
    volume = Volume.round_points(np.array([[0.2, 0.5, 1.0]]))
    page = page_of(write_camera_page(judge_placement(CAMERAS, volume), tmp_path / "page.html"))
    assert page.find(".//polygon") is None
    words = words_of(page)
    assert "Along x ↑" in words
    assert "home plate" not in words
    assert "oward the pitcher" not in words
