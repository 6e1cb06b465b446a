"""Verdicts and their sentences on measures made by hand; every expected number is worked out by hand."""

from __future__ import annotations

import math
from pathlib import Path
from types import MappingProxyType

import pytest

from mocap.errors import InputError
from mocap.findings import Check, Measure
from mocap.kinematics.checks import Limit, check, check_all, load_limits
from mocap.kinematics.limits import canonical, limit_for, matches
from mocap.kinematics.measuring import OF_COMPARISONS
from mocap.kinematics.registry import REGISTRY
from mocap.swing import Hitter

SHARE = Limit("back_share", (0.5, 0.6), (0.4, 0.7), "common practice, no source")
HIPS = Limit("pelvis_open", (-25.0, 25.0), (-40.0, 32.0), "this project's default")
INF = math.inf


def measured(value: float | str | None, sd: float | None = 0.0, why: str = "") -> Measure:
    return Measure("back_share", value, sd, "share", "Weight on the back foot", "plant", why)


def of(name: str, value: float | str, sd: float | None, unit: str) -> Measure:
    entry = REGISTRY.get(name)
    return Measure(name, value, sd, unit, entry.label if entry else "Lean of the bat", "plant")


def judged(measure: Measure, limit: Limit, units: str = "metric") -> Check:
    return check(measure, limit, height_m=1.80, units=units)  # type: ignore[arg-type]


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
    assert judged(measured(value, sd), SHARE).verdict == verdict


def test_an_interval_that_hides_a_whole_band_is_not_good() -> None:
    narrow = Limit("back_share", (0.54, 0.56), (0.54, 0.56), "this project's default")
    assert judged(measured(0.50, 0.05), narrow).verdict == "too close to call"


def test_the_measures_own_interval_goes_before_its_standard_deviation() -> None:
    # 1.96 sd would end at 0.5796; the draws reach farther on that side.
    skewed = Measure("back_share", 0.56, 0.01, "share", "Weight", "plant", low=0.55, high=0.61)
    assert judged(skewed, SHARE).verdict == "too close to call"
    wide = Measure("back_share", 0.56, 0.10, "share", "Weight", "plant", low=0.55, high=0.57)
    assert judged(wide, SHARE).verdict == "good"


@pytest.mark.parametrize(
    ("measure", "limit", "units", "sentence"),
    [
        (
            of("back_share", 0.35, 0.02, "share"),
            SHARE,
            "metric",
            "Weight on the back foot is 35 ± 2 %, 5 % less than the 40 % that is still near.",
        ),
        (
            of("back_share", 0.55, 0.02, "share"),
            SHARE,
            "metric",
            "Weight on the back foot is 55 ± 2 %, within the 50 to 60 % that is good.",
        ),
        (
            of("back_share", 0.65, 0.01, "share"),
            SHARE,
            "metric",
            "Weight on the back foot is 65 ± 1 %, 5 % more than the 60 % that is good, and still near.",
        ),
        (  # 0.60 - 1.96 * 0.01 = 0.5804, and 0.6196
            of("back_share", 0.60, 0.01, "share"),
            SHARE,
            "metric",
            "Weight on the back foot is 60 ± 1 % and may be good or near: the 95 % interval, 58 to 62 %, holds the"
            " limit of 60 %; force plates under both feet, or the mean of several swings, can settle it.",
        ),
        (  # 0.12 * 180 cm = 21.6 cm, 0.10 * 180 cm = 18 cm
            of("forward_after_plant", 0.12, 0.01, "height"),
            Limit("forward_after_plant", (-INF, 0.08), (-INF, 0.10), ""),
            "metric",
            "After landing the body still goes 12 ± 1 % of height (22 ± 2 cm) toward the pitcher, 2 % (4 cm) more than"
            " the 10 % of height (18 cm) that is still near.",
        ),
        (  # 8.5 in, 7.1 in
            of("forward_after_plant", 0.12, 0.01, "height"),
            Limit("forward_after_plant", (-INF, 0.08), (-INF, 0.10), ""),
            "imperial",
            "After landing the body still goes 12 ± 1 % of height (8.5 ± 0.7 in) toward the pitcher, 2 % (1.4 in) more"
            " than the 10 % of height (7.1 in) that is still near.",
        ),
        (
            of("stride_length", 0.42, 0.01, "height"),
            Limit("stride_length", (0.34, 0.50), (0.28, 0.55), ""),
            "metric",
            "From ankle to ankle the stride is 42 ± 1 % of height (76 ± 2 cm), within the 34 to 50 % of height (61 to"
            " 90 cm) that is good.",
        ),
        (
            of("pelvis_open", -51.0, 2.0, "deg"),
            HIPS,
            "metric",
            "At foot-plant the hips are 51 ± 2° closed, 11° more than the 40° closed that is still near.",
        ),
        (
            of("pelvis_open", -4.0, 2.0, "deg"),
            HIPS,
            "metric",
            "At foot-plant the hips are 4 ± 2° closed, within the 25° closed to 25° open that is good.",
        ),
        (
            of("trunk_open", 4.0, 1.0, "deg"),
            Limit("trunk_open", (-45.0, 0.0), (-60.0, 8.0), ""),
            "metric",
            "At foot-plant the shoulders are 4 ± 1° open, 4° past the 0° that is good, and still near.",
        ),
        (
            of("trunk_open", -14.0, 1.0, "deg"),
            Limit("trunk_open", (-INF, -5.0), (-INF, 8.0), ""),
            "metric",
            "At foot-plant the shoulders are 14 ± 1° closed, no less than the 5° closed that is good.",
        ),
        (
            of("trunk_open", -14.0, 1.0, "deg"),
            Limit("trunk_open", (-INF, 5.0), (-INF, 8.0), ""),
            "metric",
            "At foot-plant the shoulders are 14 ± 1° closed, on the good side of 5° open.",
        ),
        (
            of("front_knee_extension", -6.0, 1.0, "deg"),
            Limit("front_knee_extension", (15.0, INF), (5.0, INF), ""),
            "metric",
            "From foot-plant to contact the front knee gets 6 ± 1° more bent, 11° short of the 5° straighter that is"
            " still near.",
        ),
        (  # 5 cm = 1.97 in, 4 cm = 1.57 in
            of("back_heel_lift", 0.05, 0.001, "m"),
            Limit("back_heel_lift", (0.06, INF), (0.04, INF), ""),
            "imperial",
            "At contact the back heel is 2.0 ± 0.1 in off the floor, 0.4 in less than the 2.4 in that is good, and"
            " still near.",
        ),
        (  # 22 m/s = 49.2 mph, 24 m/s = 53.7 mph
            of("bat_speed", 22.0, 0.4, "m/s"),
            Limit("bat_speed", (24.0, INF), (19.0, INF), ""),
            "imperial",
            "The bat reaches 49.2 ± 0.9 mph, 4.5 mph less than the 53.7 mph that is good, and still near.",
        ),
        (
            of("pelvis_turn_speed", 600.0, 12.0, "deg/s"),
            Limit("pelvis_turn_speed", (510.0, INF), (410.0, INF), ""),
            "metric",
            "The hips turn at up to 600 ± 12 °/s, no less than the 510 °/s that is good.",
        ),
        (  # no row of words: the label says it; a limit that is no round number is shown with the decimal it needs
            of("bat_lean", 20.0, 2.0, "deg"),
            Limit("bat_lean", (-INF, 10.0), (-INF, 12.5), ""),
            "metric",
            "Lean of the bat is 20 ± 2°, 7.5° more than the 12.5° that is still near.",
        ),
        (  # two numbers that would read alike get one more decimal
            of("back_share", 0.3996, 0.0001, "share"),
            SHARE,
            "metric",
            "Weight on the back foot is 39.96 ± 0.01 %, 0.04 % less than the 40 % that is still near.",
        ),
    ],
)
def test_the_sentence_says_value_limit_and_miss(measure: Measure, limit: Limit, units: str, sentence: str) -> None:
    assert judged(measure, limit, units).reason == sentence


def test_the_miss_is_the_difference_of_the_numbers_as_they_are_read() -> None:
    # 31.44 cm reads 31 and the limit 28.5: 31 - 28.5 = 2.5, not 2.94.
    found = judged(of("hitting_zone", 0.3144, 0.01, "m"), Limit("hitting_zone", (-INF, 0.285), (-INF, 0.285), ""))
    assert found.reason.endswith("31 ± 1 cm, 2.5 cm more than the 28.5 cm that is still near.")


def test_a_share_of_height_stands_alone_where_the_height_is_not_known() -> None:
    limit = Limit("stride_length", (0.34, 0.50), (0.28, 0.55), "")
    found = check(of("stride_length", 0.25, 0.01, "height"), limit, height_m=None)
    assert found.reason == (
        "From ankle to ankle the stride is 25 ± 1 % of height, 3 % of height less than the 28 % of height that is still"
        " near."
    )


def test_open_ends_and_words() -> None:
    least = Limit("back_share", (0.5, INF), (0.4, INF), "this project's default")
    found = judged(measured(0.3), least)
    assert found.verdict == "off"
    assert found.limits == "good from 50 %; near from 40 %"
    assert found.good == (0.5, INF)
    assert judged(measured(0.3), SHARE).limits == "good 50 to 60 %; near 40 to 70 %"
    assert judged(of("pelvis_open", 0.0, 1.0, "deg"), HIPS).limits == "good -25 to 25°; near -40 to 32°"
    most = Limit("axis_drift", (-INF, 0.14), (-INF, 0.19), "")
    assert judged(of("axis_drift", 0.1, 0.01, "m"), most, "imperial").limits == "good up to 5.5 in; near up to 7.5 in"


def test_a_missing_value_says_why() -> None:
    missing = judged(measured(None, None, "no bat was recorded"), SHARE)
    assert missing.verdict == "not measurable"
    assert missing.reason == "Weight on the back foot cannot be measured, because no bat was recorded."


# ---------------------------------------------------------------------------------------------------------- texts

ORDER = Limit("sequence", ("pelvis > trunk > bat",), ("pelvis*bat = trunk*",), "common practice, no source")


def order(value: str, **shares: float) -> Measure:
    named = {key.replace("_then_", " > ").replace("_with_", " = "): share for key, share in shares.items()}
    return Measure("sequence", value, None, "", "Order", "turn", shares=MappingProxyType(named))


def test_texts_are_good_near_or_off_and_say_so() -> None:
    found = [judged(order(text), ORDER) for text in ("pelvis > trunk > bat", "pelvis > trunk = bat", "bat > trunk")]
    assert [f.verdict for f in found] == ["good", "near", "off"]
    assert [f.reason for f in found] == [
        "Turning speed peaks in the order pelvis, then trunk, then bat, which is good.",
        "Turning speed peaks in the order pelvis, then trunk and bat together, which is near; pelvis, then trunk, then"
        " bat would be good.",
        "Turning speed peaks in the order bat, then trunk; pelvis, then trunk, then bat would be good.",
    ]


def test_a_text_stands_if_95_percent_of_the_draws_give_its_verdict() -> None:
    sound, late, tied = "pelvis_then_trunk_then_bat", "bat_then_trunk", "pelvis_then_bat_with_trunk"
    stands = order("pelvis > trunk > bat", **{sound: 0.95, late: 0.05})
    assert judged(stands, ORDER).verdict == "good"
    # Two texts with one verdict count together: 0.5 + 0.46 of the draws are near.
    limit = Limit("sequence", ("x",), ("pelvis > trunk > bat", "bat > trunk"), "")
    assert judged(order("bat > trunk", **{sound: 0.5, late: 0.46, tied: 0.04}), limit).verdict == "near"
    wavers = judged(order("pelvis > trunk > bat", **{sound: 0.7, late: 0.2, tied: 0.1}), ORDER)
    assert wavers.verdict == "too close to call"
    assert wavers.reason == (
        "Turning speed peaks in the order pelvis, then trunk, then bat, but may be good, near or off: of the swings"
        " that could equally have been recorded 70 % are good, 10 % near and 20 % off; a recording at a"
        " higher rate, or the mean of several swings, can settle it."
    )
    close = judged(order("pelvis > trunk > bat", **{sound: 0.949, late: 0.051}), ORDER)
    assert close.verdict == "too close to call"
    assert "94.9 % are good and 5.1 % off" in close.reason
    # The value's own verdict in the minority is never given.
    odd = judged(order("bat > trunk", **{sound: 0.97, late: 0.03}), ORDER)
    assert odd.verdict == "too close to call"


def test_segments_that_peak_together_have_no_order() -> None:
    assert canonical("trunk = pelvis > bat") == "pelvis = trunk > bat"
    assert matches("trunk = pelvis > bat", ("pelvis = trunk > bat",))
    assert not matches("trunk > pelvis > bat", ("pelvis > trunk > bat", "pelvis = trunk > bat"))


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("pelvis > trunk > arm > bat", "good"),
        ("pelvis > trunk > bat = arm", "good"),
        ("pelvis > trunk > bat", "good"),  # the elbow was not seen
        ("pelvis > trunk", "good"),
        ("trunk = pelvis > arm > bat", "near"),
        ("pelvis > arm > trunk > bat", "near"),
        ("pelvis > trunk > bat > arm", "near"),
        ("pelvis = arm > trunk > bat", "near"),
        ("pelvis > bat = trunk > arm", "near"),
        ("pelvis > arm > trunk", "near"),
        ("trunk > pelvis > arm > bat", "off"),
        ("trunk > arm > pelvis > bat", "off"),
        ("arm > pelvis > trunk > bat", "off"),
        ("pelvis > bat > trunk > arm", "off"),
        ("trunk > pelvis", "off"),
    ],
)
def test_only_large_inversions_of_the_order_are_off(text: str, verdict: str) -> None:
    limit = limit_for(load_limits(), "sequence", "")
    assert limit is not None
    assert judged(Measure("sequence", text, None, "", "Order", "turn"), limit).verdict == verdict


# --------------------------------------------------------------------------------------------------------- tables


def test_every_limit_has_a_measure_a_source_and_nested_bands() -> None:
    for limit in load_limits():
        assert limit.measure in {*REGISTRY, *OF_COMPARISONS}
        assert limit.source
        assert "coach's own" not in limit.source
        if limit.near and isinstance(limit.good[0], float):
            assert limit.near[0] <= limit.good[0] <= limit.good[1] <= limit.near[1]  # type: ignore[operator]


def test_the_row_of_the_hitters_level_wins() -> None:
    limits = load_limits()
    everyone, youth = (limit_for(limits, "trunk_turn_speed", level) for level in ("", "Youth"))
    assert everyone is not None
    assert youth is not None
    assert youth.good[0] < everyone.good[0]  # type: ignore[operator]
    assert limit_for(limits, "trunk_turn_speed", "over forty") is everyone
    assert limit_for(limits, "bat_speed", "youth") is None  # only grown hitters have a row
    slow = {"bat_speed": of("bat_speed", 17.0, 0.2, "m/s")}
    assert check_all(slow, limits, hitter=Hitter(height_m=1.3, level="youth")) == ()
    (found,) = check_all(slow, limits, hitter=Hitter(height_m=1.8, level="College"), units="imperial")
    assert found.verdict == "off"
    assert "mph" in found.reason


def own(folder: Path, text: str) -> Path:
    table = folder / "mine.toml"
    table.write_text(text, encoding="utf-8")
    return table


def test_a_coachs_rows_replace_ours_and_leave_the_rest(tmp_path: Path) -> None:
    ours = load_limits()
    path = own(
        tmp_path,
        '[[limits]]\nmeasure = "back_share"\ngood = {min = 0.6, max = 0.7}\nnear = {min = 0.5, max = 0.8}\n'
        '[[limits]]\nmeasure = "trunk_turn_speed"\nlevel = "High-School"\ngood = {min = 600}\nnear = {min = 500}\n'
        'source = "our own lab"\n'
        '[[limits]]\nmeasure = "front_knee_extension"\ngood = {min = 1}\nnear = {min = 0}\n',
    )
    mine = load_limits(path)
    share = limit_for(mine, "back_share", "adult")
    assert share is not None
    assert (share.good, share.source) == ((0.6, 0.7), "the coach's own, mine.toml")
    for level, low in (("high school", 600.0), ("youth", 530.0), ("", 635.0)):
        row = limit_for(mine, "trunk_turn_speed", level)
        assert row is not None
        assert row.good == (low, INF)
    # Without a level it is meant for all, and no row of ours for a level goes before it.
    knee = limit_for(mine, "front_knee_extension", "adult")
    assert knee is not None
    assert knee.good == (1.0, INF)
    named = {"back_share", "trunk_turn_speed", "front_knee_extension"}
    assert [r for r in mine if r.measure not in named] == [r for r in ours if r.measure not in named]
    assert list(dict.fromkeys(r.measure for r in mine)) == list(dict.fromkeys(r.measure for r in ours))


def test_a_check_can_be_switched_off(tmp_path: Path) -> None:
    path = own(
        tmp_path,
        '[[limits]]\nmeasure = "knob_aim"\nskip = true\n'
        '[[limits]]\nmeasure = "back_share"\nlevel = "youth"\nskip = true\n',
    )
    mine = load_limits(path)
    measures = {"knob_aim": of("knob_aim", 5.0, 1.0, "deg"), "back_share": measured(0.55, 0.01)}
    assert [c.measure for c in check_all(measures, mine, hitter=Hitter(level="adult"))] == ["back_share"]
    assert check_all(measures, mine, hitter=Hitter(level="youth")) == ()


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("", "limits row 1 has no 'measure'; give the name of one, in quotes"),
        ('measure = "back_share"', r"row 1 \(back_share\): has no 'good'"),
        ('measure = "a"\ngood = 3\nnear = 3', r"row 1 \(a\): good must be \{ min"),
        ('measure = "a"\ngood = {min = "x"}\nnear = {min = 0}', r"row 1 \(a\): good.min must be a number, not 'x'"),
        ('measure = "a"\ngood = {min = nan}\nnear = {min = 0}', r"good.min must be a number, not nan"),
        ('measure = "a"\ngood = {least = 1}\nnear = {min = 0}', r"good must be \{ min"),
        ('measure = "a"\ngood = {min = 2, max = 1}\nnear = {min = 0}', r"good has min 2 over max 1; exchange them"),
        ('measure = "a"\ngood = {min = 1}\nnear = {min = 2}', r"good does not lie inside near"),
        ('measure = "a"\ngood = {min = 1}\nnear = {min = 0, max = 5}', r"good does not lie inside near"),
        ('measure = "a"\ngood = ["x"]\nnear = {min = 0}', r"both be numbers or both be lists"),
        ('measure = "a"\nfine = 1', r"row 1 \(a\): key 'fine' is not known; known are good, level"),
        ('measure = "a"\nlevel = 3\nskip = true', r"level must be a text or a list of texts"),
        ('measure = "a"\nskip = 1', r"skip must be true or false"),
        ('measure = "a"\nsource = 1\nskip = true', r"source must be a text in quotes"),
        ('measure = "a"\nskip = true\n[[limits]]\nmeasure = "a"\nskip = true', r"row 2 \(a\): gives a again"),
        ('measure = "a"\nlevel = ["u", "U"]\nskip = true', r"gives a at level 'u' again"),
    ],
)
def test_a_broken_row_is_refused_by_file_row_and_key(tmp_path: Path, row: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as refused:
        load_limits(own(tmp_path, f"[[limits]]\n{row}\n"))
    assert str(refused.value).startswith(str(tmp_path / "mine.toml"))
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[limits", "not a TOML table"),
        ('[session]\nname = "x"\n', r"holds no \[\[limits\]\] rows"),
        ("limits = [1]", "no"),
    ],
)
def test_what_is_no_table_of_limits_is_refused(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        load_limits(own(tmp_path, text))
    with pytest.raises(InputError, match="no such table of limits"):
        load_limits(tmp_path / "nowhere.toml")


def test_limits_that_do_not_fit_the_measure_are_refused() -> None:
    texts = Limit("back_share", ("half",), (), "", where="mine.toml: limits row 1 (back_share)")
    with pytest.raises(InputError, match=r"row 1 \(back_share\): back_share is a number; give min and max"):
        judged(measured(0.5), texts)
    with pytest.raises(InputError, match="sequence is a text; give a list of texts"):
        judged(order("pelvis > trunk"), Limit("sequence", (0.0, 1.0), (0.0, 1.0), ""))
    with pytest.raises(InputError, match=r"back_share is a share; give e\.g\. 0\.50 for 50 %"):
        judged(measured(0.5), Limit("back_share", (50.0, 60.0), (40.0, 70.0), ""))
