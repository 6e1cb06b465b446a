"""What the terminal says about checks and about what to work on."""

from __future__ import annotations

from dataclasses import replace

import pytest

import mocap
from mocap.findings import Findings, Measure
from mocap.kinematics.advice import work_on
from mocap.kinematics.checks import check_all, load_limits
from mocap.results import findings_object
from mocap.swing import Hitter
from mocap.tables import print_findings

HITTER = Hitter(name="Hitter 1", height_m=1.80, mass_kg=80.0, level="adult")


@pytest.fixture(scope="module")
def swing(posed, make_capture) -> mocap.Swing:
    return mocap.build_swing(make_capture(posed.points, posed.rate_hz), HITTER)


def findings_of(swing: mocap.Swing, *measures: Measure) -> Findings:
    """Findings that hold these measures alone."""
    named = {measure.name: measure for measure in measures}
    checks = check_all(named, load_limits(), hitter=HITTER)
    return Findings(swing.hitter, swing.moments, named, checks, work_on(checks, named, hitter=HITTER))


FORWARD = Measure("back_share", 0.35, 0.01, "share", "Weight on the back foot", "plant", family="landing")
DRIFTS = Measure("forward_after_plant", 0.15, 0.01, "height", "Drift", "turn", family="turn")
SOUND = Measure("trunk_open", -15.0, 2.0, "deg", "Shoulders open", "plant", family="landing")
UNSEEN = Measure("knob_aim", None, None, "deg", "Knob", "plant", "no bat was recorded", "landing")


def printed(swing: mocap.Swing, findings: Findings, capsys: pytest.CaptureFixture[str]) -> str:
    print_findings(swing, findings, "metric")
    return " ".join(capsys.readouterr().out.split())


def test_the_sentences_stand_there_and_the_good_ones_are_counted(swing, capsys) -> None:
    text = printed(swing, findings_of(swing, FORWARD, SOUND, UNSEEN), capsys)
    assert "off Weight on the back foot is 35 ± 1 %, 5 % less than the 40 % that is still near." in text
    assert "Of 3 checks 1 are good, 1 not measurable." in text
    assert "no bat was recorded: Knob" in text


def test_work_is_listed_first_things_first_with_each_caution_once(swing, capsys) -> None:
    findings = findings_of(swing, FORWARD, DRIFTS)
    text = printed(swing, findings, capsys)
    first, then = text.index("First: Weight on the back foot."), text.index("Then: Drift.")
    assert text.index("One at a time") < first < then < text.index("Always")
    for caution in {caution for advice in findings.work_on for caution in advice.cautions}:
        assert text.count(caution) == 1
    assert "It may be there already once the weight on the back foot is mended." in text


def test_nothing_to_work_on_is_not_mentioned(swing, capsys) -> None:
    assert "Work on" not in printed(swing, findings_of(swing, SOUND), capsys)


def test_the_json_carries_intervals_shares_and_work(swing) -> None:
    order = Measure("sequence", "pelvis > trunk", None, "", "Order", "turn", shares={"pelvis > trunk": 0.9, "x": 0.1})
    findings = findings_of(swing, replace(FORWARD, low=0.33, high=0.37), order, UNSEEN)
    found = findings_object(swing, findings)
    assert found["measures"]["back_share"] == {
        "value": 0.35,
        "sd": 0.01,
        "low": 0.33,
        "high": 0.37,
        "unit": "share",
        "label": "Weight on the back foot",
    }
    assert found["measures"]["sequence"]["shares"] == {"pelvis > trunk": 0.9, "x": 0.1}
    assert "low" not in found["measures"]["knob_aim"]
    (work,) = found["work_on"]
    assert set(work) == {"measure", "cue", "drill", "set_up", "look_for", "cautions"}
    assert work["measure"] == "back_share"
    assert work["cautions"] == list(findings.work_on[0].cautions)
