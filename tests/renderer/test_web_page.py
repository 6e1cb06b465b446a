from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

import mocap
from mocap.display import format_measure
from mocap.findings import Advice
from mocap.reference.compare import with_pose_distance
from mocap.renderer.text import typographic

ORDER = (("First", "back_share"), ("Then", "axis_drift"))


class Reader(HTMLParser):
    """The text of a page, and every address it refers to."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "srcset", "action")]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.fixture(scope="module")
def parts(posed, make_capture) -> tuple[mocap.Comparison, mocap.Findings]:
    hitter = mocap.Hitter(name="Demo <b>hitter</b>", height_m=1.80, mass_kg=80.0)
    swing = mocap.build_swing(make_capture(posed.points, posed.rate_hz), hitter)
    comparison = mocap.compare(swing, mocap.load_reference())
    return comparison, with_pose_distance(mocap.measure(swing), comparison)


def read(path: Path) -> Reader:
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    return reader


def test_the_page_holds_everything_and_refers_to_nothing_outside(tmp_path: Path, parts) -> None:
    comparison, findings = parts
    pictures = {}
    for name, suffix in (("still", ".png"), ("portrait", ".png"), ("sheet", ".png"), ("film", ".mp4")):
        pictures[name] = tmp_path / f"{name}{suffix}"
        pictures[name].write_bytes(name.encode())
    page = read(mocap.write_page(comparison, findings, tmp_path / "page.html", pictures=pictures))
    assert page.addresses
    assert all(address.startswith("data:") for address in page.addresses)
    assert {"img", "source", "video"} <= set(page.tags)
    assert len(set(page.addresses)) == len(pictures)  # each picture once
    assert "script" not in page.tags


def test_the_numbers_are_those_of_the_findings(tmp_path: Path, parts) -> None:
    comparison, findings = parts
    text = " ".join(read(mocap.write_page(comparison, findings, tmp_path / "page.html")).text)
    for measure in findings.measures.values():
        if measure.value is None:
            assert typographic(measure.why) in text
        else:
            assert typographic(format_measure(measure, 1.80)) in text
    assert typographic(comparison.differences[0].words) in text
    assert "\N{NO-BREAK SPACE}%" in text  # a number never stands without its unit on a narrow screen
    imperial = mocap.write_page(comparison, findings, tmp_path / "page.html", units="imperial")
    assert "mph" in " ".join(read(imperial).text)


def test_names_are_text_not_markup(tmp_path: Path, parts) -> None:
    page = read(mocap.write_page(*parts, tmp_path / "page.html"))
    assert "b" not in page.tags
    assert any("Demo <b>hitter</b>" in text for text in page.text)


def test_what_is_off_stands_at_the_top(tmp_path: Path, parts) -> None:
    comparison, findings = parts
    bad = replace(findings.checks[0], verdict="off", reason="Weight on the back foot: below 50 %")
    page = read(mocap.write_page(comparison, replace(findings, checks=(bad,)), tmp_path / "page.html"))
    text = " ".join(page.text)
    assert text.index(typographic("Weight on the back foot: below 50 %")) < text.index("Moments")


def test_what_to_work_on_stands_first_things_first_and_names_are_text(tmp_path: Path, parts) -> None:
    comparison, findings = parts
    steps = tuple(
        Advice(
            name, f"Cue for {name} & <i>more</i>.", "held landing", f"Do {name}.", f"See {name}.", (own, "Helmet on.")
        )
        for name, own in (("back_share", "Mind the bat."), ("axis_drift", "Mind the wall."))
    )
    page = read(mocap.write_page(comparison, replace(findings, work_on=steps), tmp_path / "page.html"))
    text = " ".join(" ".join(page.text).split())
    first, then = (text.index(f"{word}: {findings.measures[name].label}") for word, name in ORDER)
    assert text.index("What to work on") < text.index("One at a time") < first < then < text.index("Helmet on.")
    for once in ("Do back_share.", "See axis_drift.", "Mind the bat.", "Mind the wall.", "Helmet on."):
        assert text.count(once) == 1
    assert "Cue for back_share & <i>more</i>." in text
    assert "i" not in page.tags
    empty = read(mocap.write_page(comparison, replace(findings, work_on=()), tmp_path / "page.html"))
    assert "What to work on" not in " ".join(empty.text)


def test_what_is_too_close_to_call_says_what_would_settle_it(tmp_path: Path, parts) -> None:
    comparison, findings = parts
    close = replace(
        findings.checks[0], verdict="too close to call", reason="It may be good or near; plates can settle it."
    )
    page = read(mocap.write_page(comparison, replace(findings, checks=(close,)), tmp_path / "page.html"))
    assert "It may be good or near; plates can settle it." in page.text
    assert "Too close to call: 1" in " ".join(page.text)


def test_nothing_is_left_when_a_picture_is_missing(tmp_path: Path, parts) -> None:
    with pytest.raises(FileNotFoundError):
        mocap.write_page(*parts, tmp_path / "page.html", pictures={"still": tmp_path / "nowhere.png"})
    assert list(tmp_path.iterdir()) == []
