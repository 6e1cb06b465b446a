from __future__ import annotations

import math
from pathlib import Path

import pytest

from mocap.errors import InputError
from mocap.findings import Measure
from mocap.kinematics.checks import Limit, check, load_limits
from mocap.kinematics.measuring import REGISTRY

SHARE = Limit("back_share", (0.5, 0.6), (0.4, 0.7), "common practice, no source")


def measured(value: float | str | None, sd: float | None = 0.0, why: str = "") -> Measure:
    return Measure("back_share", value, sd, "share", "Weight on the back foot", "plant", why)


@pytest.mark.parametrize(
    ("value", "sd", "verdict"),
    [
        (0.55, 0.01, "good"),
        (0.60, 0.0, "good"),
        (0.65, 0.01, "near"),
        (0.45, 0.01, "near"),
        (0.35, 0.01, "off"),
        (0.80, 0.02, "off"),
        (0.59, 0.01, "too close to call"),  # 0.59 +- 0.0196 reaches over 0.60
        (0.55, 0.10, "too close to call"),  # an interval wider than the band
        (0.55, 0.20, "too close to call"),
    ],
)
def test_verdicts(value: float, sd: float, verdict: str) -> None:
    assert check(measured(value, sd), SHARE).verdict == verdict


def test_an_interval_that_hides_a_whole_band_is_not_good() -> None:
    narrow = Limit("back_share", (0.54, 0.56), (0.54, 0.56), "this project's default")
    assert check(measured(0.50, 0.05), narrow).verdict == "too close to call"


def test_open_ends_and_words() -> None:
    least = Limit("back_share", (0.5, math.inf), (0.4, math.inf), "this project's default")
    found = check(measured(0.3), least)
    assert found.verdict == "off"
    assert found.limits == "good from 50 %; near from 40 %"
    assert found.reason == "Weight on the back foot: below 50 %"


def test_text_and_missing_values() -> None:
    order = Limit("sequence", ("a > b",), ("a = b",), "common practice, no source")
    assert [check(measured(text, None), order).verdict for text in ("a > b", "a = b", "b > a")] == [
        "good",
        "near",
        "off",
    ]
    missing = check(measured(None, None, "no bat was recorded"), SHARE)
    assert missing.verdict == "not measurable"
    assert "no bat was recorded" in missing.reason


def test_every_limit_has_a_measure_a_source_and_nested_bands() -> None:
    for limit in load_limits():
        assert limit.measure in {*REGISTRY, "pose_distance"}
        assert limit.source
        if limit.near and isinstance(limit.good[0], float):
            assert limit.near[0] <= limit.good[0] <= limit.good[1] <= limit.near[1]  # type: ignore[operator]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[[limits]]\nmeasure = "back_share"\n', "row 1 has no 'good'"),
        (
            '[[limits]]\nmeasure = "a"\ngood = 3\nnear = 3\nsource = ""\n',
            r"row 1 \(a\): good must be a list or min/max",
        ),
        ("[[limits", "not a TOML table"),
        ('[session]\nname = "x"\n', r"holds no \[\[limits\]\] rows"),
    ],
)
def test_a_broken_table_is_refused_by_row(tmp_path: Path, text: str, message: str) -> None:
    table = tmp_path / "mine.toml"
    table.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        load_limits(table)
