"""A season's numbers against scipy and simulated hitters whose scatter and change are known, and what is printed."""

from __future__ import annotations

import csv
import json
import statistics
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy import stats

from mocap.cli import main
from mocap.errors import InputError
from mocap.findings import Check, Findings, Measure
from mocap.importer.session import read_session
from mocap.season import Change, DatedFindings, Day, Season, change_between, day_of, own_scatter, season_of
from mocap.season_job import HitterSeason
from mocap.season_tables import print_season
from mocap.swing import Hitter

FIRST, LATER, LAST = date(2026, 2, 6), date(2026, 3, 20), date(2026, 5, 8)
SEASON = "demo_sessions/season"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments], env={"COLUMNS": "200"})


def findings(
    values: dict[str, float | str | None], sd: float = 0.0, good: tuple[float, float] | None = None
) -> Findings:
    measures = {
        name: Measure(
            name, value, None if isinstance(value, str) else sd, "deg", name.capitalize(), "plant", family="turn"
        )
        if value is not None
        else Measure(name, None, None, "deg", name.capitalize(), "plant", why="no contact", family="turn")
        for name, value in values.items()
    }
    checks = tuple(Check(name, "good", "", "", "", good) for name in values) if good else ()
    return Findings(Hitter(), {}, measures, checks)


def swings(day: date, values: Sequence[float | str | None], **more: object) -> list[DatedFindings]:
    return [DatedFindings(day, "live", findings({"bend": value}, **more)) for value in values]  # type: ignore[arg-type]


# -------------------------------------------------------------------- one day


def test_a_days_numbers_by_hand() -> None:
    """20, 24, 25, 27: mean 24, squares of the differences 16 + 0 + 1 + 9 = 26, SD = sqrt(26 / 3)."""
    values = [20.0, 24.0, 25.0, 27.0]
    day = day_of(FIRST, values, [1.0, 2.0, 2.0, 1.0])
    assert (day.n, day.mean) == (4, 24.0)
    assert day.sd == pytest.approx(np.sqrt(26.0 / 3.0)) == pytest.approx(statistics.stdev(values))
    assert day.noise_sd == pytest.approx(np.sqrt(2.5))
    # The scatter averages out over four swings, the error of measuring does not.
    assert day.standard_error == pytest.approx(np.sqrt(26.0 / 12.0 + 2.5))


def test_a_single_swing_knows_the_error_of_measuring_alone() -> None:
    day = day_of(FIRST, [20.0], [3.0])
    assert day.sd is None
    assert day.standard_error == pytest.approx(3.0)
    assert own_scatter([day, day_of(LATER, [21.0], [3.0])]) is None


# -------------------------------------------------------------------- the hitter's own scatter


def test_own_scatter_by_hand() -> None:
    """Two days with SD 3 (n = 5) and SD 5 (n = 3) pool to sqrt((4 * 9 + 2 * 25) / 6); 2 are taken off in squares."""
    days = [Day(FIRST, 5, 10.0, 3.0, 2.0), Day(LATER, 3, 20.0, 5.0, 2.0), Day(LAST, 1, 0.0, None, 9.0)]
    own = own_scatter(days)
    assert own is not None
    assert (own.sd, own.df) == (pytest.approx(np.sqrt(86.0 / 6.0)), 6)
    assert own.own_sd == pytest.approx(np.sqrt(86.0 / 6.0 - 4.0))
    assert own.low == pytest.approx(np.sqrt(86.0 / stats.chi2.ppf(0.975, 6) - 4.0))
    assert own.high == pytest.approx(np.sqrt(86.0 / stats.chi2.ppf(0.025, 6)))


def test_scatter_that_measuring_explains_is_none_of_his_own() -> None:
    own = own_scatter([Day(FIRST, 6, 10.0, 1.0, 2.0)])
    assert own is not None
    assert own.own_sd == own.low == 0.0
    assert own.high > 1.0


@pytest.mark.parametrize("common", [0.0, 0.5, 1.0])
def test_own_scatter_of_simulated_hitters(common: float) -> None:
    """Own SD 3, error of measuring 2 of which a share is the same all day: the interval holds 3 in 95 % and more."""
    rng, hitters, n = np.random.default_rng(1), 800, 6
    held, squares = 0, []
    for _ in range(hitters):
        days = [day_of(day, simulated(rng, n, own=3.0, noise=2.0, common=common), [2.0] * n) for day in (FIRST, LATER)]
        own = own_scatter(days)
        assert own is not None
        held += own.low <= 3.0 <= own.high
        squares.append(own.sd**2 - 4.0)
    assert held / hitters > 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / hitters)
    # What is taken off is right where all of the error is new in each swing, and 4 too much where none is.
    assert np.mean(squares) == pytest.approx(9.0 - 4.0 * common, abs=0.6)


def simulated(
    rng: np.random.Generator, n: int, *, own: float, noise: float, common: float = 1.0, level: float = 0.0
) -> list[float]:
    """One day's swings; `common` is the share of the variance of measuring that all have."""
    same = noise * np.sqrt(common) * rng.normal()
    return (level + same + own * rng.normal(size=n) + noise * np.sqrt(1.0 - common) * rng.normal(size=n)).tolist()


# -------------------------------------------------------------------- changes


def test_without_error_of_measuring_a_change_is_welchs_t_of_scipy() -> None:
    rng = np.random.default_rng(4)
    for few, many in ((2, 9), (5, 5), (12, 3)):
        first, later = rng.normal(0.0, 1.0, few), rng.normal(1.0, 4.0, many)
        change = change_between(day_of(FIRST, first.tolist(), [0.0] * few), day_of(LATER, later.tolist(), [0.0] * many))
        expected = stats.ttest_ind(later, first, equal_var=False)
        interval = expected.confidence_interval(0.95)
        assert change.df == pytest.approx(expected.df)
        assert (change.low, change.high) == (pytest.approx(interval.low), pytest.approx(interval.high))
        assert (change.verdict == "more than noise") == (expected.pvalue < 0.05)


def test_a_change_with_error_of_measuring_by_hand() -> None:
    """SDs 2 and 4 of 4 swings each, u = 1 and 2: variance 1 + 4 + 1 + 4 = 10, df = 100 / (1 / 3 + 16 / 3)."""
    change = change_between(Day(FIRST, 4, 10.0, 2.0, 1.0), Day(LATER, 4, 18.0, 4.0, 2.0))
    assert change.value == 8.0
    assert change.standard_error == pytest.approx(np.sqrt(10.0))
    assert change.df == pytest.approx(300.0 / 17.0)
    reach = stats.t.ppf(0.975, 300.0 / 17.0) * np.sqrt(10.0)
    assert (change.low, change.high) == (pytest.approx(8.0 - reach), pytest.approx(8.0 + reach))
    assert change.detectable == pytest.approx(reach)
    assert change.verdict == "more than noise"


@pytest.mark.parametrize(("earlier", "later"), [(4, 4), (3, 8)])
@pytest.mark.parametrize("common", [0.0, 1.0])
def test_intervals_of_simulated_changes_hold_the_truth(earlier: int, later: int, common: float) -> None:
    """A change of 5 by hitters of SD 3, error of measuring 2: 95 % where all of it is common to a day, else more."""
    rng, seasons = np.random.default_rng(2), 1500
    held = 0
    for _ in range(seasons):
        days = [
            day_of(day, simulated(rng, n, own=3.0, noise=2.0, common=common, level=level), [2.0] * n)
            for day, n, level in ((FIRST, earlier, 20.0), (LATER, later, 25.0))
        ]
        change = change_between(*days)
        held += change.low <= 5.0 <= change.high
    margin = 3.0 * np.sqrt(0.95 * 0.05 / seasons)
    assert held / seasons > 0.95 - margin
    assert common == 0.0 or held / seasons < 0.95 + margin


def test_hitters_who_do_not_change_seldom_look_changed() -> None:
    rng, seasons = np.random.default_rng(3), 1500
    changed = 0
    for _ in range(seasons):
        days = [day_of(day, simulated(rng, 5, own=3.0, noise=2.0), [2.0] * 5) for day in (FIRST, LATER)]
        changed += change_between(*days).verdict == "more than noise"
    assert abs(changed / seasons - 0.05) < 3.0 * np.sqrt(0.95 * 0.05 / seasons)


def test_single_swings_allow_no_verdict_however_far_apart() -> None:
    one, other, several = (
        Day(FIRST, 1, 10.0, None, 1.0),
        Day(LATER, 1, 90.0, None, 1.0),
        Day(LATER, 5, 90.0, 2.0, 1.0),
    )
    alone = change_between(one, other)
    assert alone.verdict == change_between(one, several).verdict == "too few swings"
    assert alone.df == np.inf
    assert alone.detectable == pytest.approx(stats.norm.ppf(0.975) * np.sqrt(2.0))
    assert alone.measured
    assert not change_between(one, Day(LATER, 1, 11.0, None, 1.0)).measured


@pytest.mark.parametrize(
    ("before", "after", "direction"),
    [
        (10.0, 18.0, "toward good"),
        (18.0, 10.0, "away from good"),
        (22.0, 28.0, "within good"),
        (10.0, 42.0, "away from good"),
    ],
)
def test_where_a_change_leads(before: float, after: float, direction: str) -> None:
    def change(good: tuple[float, float] | None) -> Change:
        return change_between(Day(FIRST, 5, before, 0.5, 0.1), Day(LATER, 5, after, 0.5, 0.1), good)

    assert change((20.0, 30.0)).direction == direction
    assert change(None).direction == ""
    assert change_between(Day(FIRST, 5, 10.0, 9.0, 1.0), Day(LATER, 5, 12.0, 9.0, 1.0), (20.0, 30.0)).direction == ""


def test_an_open_end_of_the_band_is_open() -> None:
    far, farther = Day(FIRST, 5, 10.0, 0.5, 0.1), Day(LATER, 5, 50.0, 0.5, 0.1)
    assert change_between(far, farther, (5.0, np.inf)).direction == "within good"
    assert change_between(far, farther, (-np.inf, 8.0)).direction == "away from good"


# -------------------------------------------------------------------- a season


def test_days_come_in_order_and_changes_since_the_first() -> None:
    listed = [*swings(LAST, [31.0, 29.0], sd=0.1), *swings(FIRST, [10.0, 12.0], sd=0.1), *swings(LATER, [20.0], sd=0.1)]
    season = season_of(listed)
    (trend,) = season.trends
    assert [(day.day, day.n, day.mean) for day in trend.days] == [(FIRST, 2, 11.0), (LATER, 1, 20.0), (LAST, 2, 30.0)]
    assert [(change.later, change.value) for change in trend.changes] == [(LATER, 9.0), (LAST, 19.0)]
    assert [change.verdict for change in trend.changes] == ["too few swings", "more than noise"]
    assert dict(season.swings) == {FIRST: 2, LATER: 1, LAST: 2}


def test_what_was_not_measured_is_left_out_of_the_mean_and_said() -> None:
    season = season_of([*swings(FIRST, [10.0, None, 14.0]), *swings(LATER, [None])])
    (trend,) = season.trends
    assert [(day.n, day.mean) for day in trend.days] == [(2, 12.0)]
    assert trend.changes == ()
    assert season_of(swings(FIRST, [None, None])).not_measured == {"Bend": "no contact"}


def test_texts_are_counted() -> None:
    season = season_of([*swings(FIRST, ["flat", "tilted", "tilted", None]), *swings(LATER, ["flat"])])
    (text,) = season.texts
    assert text.counts == {FIRST: {"tilted": 2, "flat": 1}, LATER: {"flat": 1}}
    assert list(text.counts[FIRST]) == ["tilted", "flat"]


def test_the_good_band_is_that_of_the_checks() -> None:
    listed = [*swings(FIRST, [1.0, 1.1, 0.9], good=(5.0, 8.0)), *swings(LATER, [6.0, 6.1, 5.9], good=(5.0, 8.0))]
    assert season_of(listed).trends[0].changes[0].direction == "toward good"


# -------------------------------------------------------------------- what is printed


def printed(season: Season, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("COLUMNS", "200")
    print_season(
        [HitterSeason("lark", Hitter(name="Lark", height_m=1.66), season, None, ("x.c3d: no swing",))], "metric"
    )
    return capsys.readouterr().out


def test_a_table_says_what_changed_and_what_could_be_noise(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An SD of sqrt(1.5), u = 0.5, four swings a date: the variance of the change is 2 (1.5 / 4 + 0.25) = 1.25.

    It has 1.25^2 / (2 * 0.375^2 / 3) = 16.7 degrees of freedom, so that the change is 20 +- 2.11 sqrt(1.25) = 2.4.
    """
    listed = [
        DatedFindings(day, "tee", findings({"bend": bend + more, "lean": lean}, 0.5, (35.0, 45.0)))
        for day, more in ((FIRST, 0.0), (LAST, 20.0))
        for bend, lean in ((19.5, 4.0), (21.0, 5.0), (21.0, 6.0), (22.5, 7.0))
    ]
    text = printed(season_of(listed), capsys, monkeypatch)
    bend, lean = (next(line for line in text.splitlines() if line.startswith(word)) for word in ("Bend", "Lean"))
    assert "21 ± 1° (4)" in bend
    assert "41 ± 1° (4)" in bend
    assert "+20 ± 2°" in bend
    # 1.5 * 6 / 14.45 - 0.25 and 1.5 * 6 / 1.237 are the squares of the ends, by the table of chi-squared for 6.
    assert "1 to 3°" in bend
    assert "more than noise, toward good" in bend
    assert "could be noise" in lean
    assert "Of 2 measures about 1 will look changed" in text
    assert "left out: x.c3d: no swing" in text


def test_many_dates_are_shown_in_part_and_unlike_tasks_are_said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    listed = [
        DatedFindings(date(2026, month, 1), "live" if month < 6 else "tee", findings({"bend": 10.0 + month}, 1.0))
        for month in range(1, 7)
    ]
    text = printed(season_of(listed), capsys, monkeypatch)
    header = next(line for line in text.splitlines() if line.startswith("Turn"))
    assert [day for day in header.split() if day.startswith("2026")] == [f"2026-0{month}-01" for month in (1, 4, 5, 6)]
    assert "+5 ± 3°" in text  # from January to June, with the error of measuring alone: 1.96 sqrt(2)
    assert "too few swings, but more than measuring error" in text
    assert "2 more dates are in --json" in text
    assert "not of the same kind on all dates" in text
    assert "Own scatter  " not in text


# -------------------------------------------------------------------- the command


def test_a_swing_has_its_own_day_or_the_sessions(tmp_path: Path) -> None:
    source = tmp_path / "session.toml"
    rows = '[[swings]]\nfile = "a.c3d"\ndate = 2026-03-20T18:30:00\n[[swings]]\nfile = "b.c3d"\n'
    source.write_text(f"[session]\ndate = {FIRST}\n{rows}", encoding="utf-8")
    assert [recording.day for recording in read_session(source).recordings] == [LATER, FIRST]
    source.write_text(rows, encoding="utf-8")
    assert [recording.day for recording in read_session(source).recordings] == [LATER, None]
    source.write_text(f'[session]\ndate = "spring"\n{rows}', encoding="utf-8")
    with pytest.raises(InputError, match="session: date must be a day"):
        read_session(source)


@pytest.fixture(scope="module")
def of_demo(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict, Path]:
    table = tmp_path_factory.mktemp("season") / "season.csv"
    result = run("season", project_root / SEASON, "--json", "--out", table)
    assert result.exit_code == 0, result.output
    return json.loads(result.output), table


def test_json_of_three_dates(of_demo: tuple[dict, Path], project_root: Path) -> None:
    (lark,) = of_demo[0]["hitters"]
    assert (lark["hitter"], lark["name"], lark["held"], lark["left_out"]) == ("lark", "Lark", None, [])
    assert [(row["date"], row["swings"], row["kinds"]) for row in lark["swings"]["dates"]] == [
        (str(day), 1, ["tee"]) for day in (FIRST, LATER, LAST)
    ]
    share = lark["swings"]["measures"]["back_share"]
    alone = json.loads(run("measure", project_root / SEASON / f"lark_{LAST}.c3d", "--json").output)["measures"]
    assert share["days"][-1]["mean"] == alone["back_share"]["value"]
    assert share["days"][-1]["measuring_sd"] == pytest.approx(alone["back_share"]["sd"])
    assert share["own"] is None
    assert share["changes"][-1]["value"] == pytest.approx(share["days"][-1]["mean"] - share["days"][0]["mean"])
    assert {change["verdict"] for change in share["changes"]} == {"too few swings"}
    assert lark["swings"]["measures"]["bat_position"]["counts"][str(FIRST)] == {"tilted": 1}


def test_the_written_table_holds_the_same_numbers(of_demo: tuple[dict, Path]) -> None:
    found, table = of_demo
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    measures = found["hitters"][0]["swings"]["measures"]
    assert {row["measure"] for row in rows} == set(measures)
    (row,) = [row for row in rows if (row["measure"], row["date"]) == ("back_share", str(LAST))]
    assert (row["hitter"], row["kind"], row["unit"], row["n"], row["sd"]) == ("lark", "swings", "share", "1", "")
    change = measures["back_share"]["changes"][-1]
    assert float(row["change"]) == change["value"]
    assert (float(row["change_low"]), float(row["change_high"])) == (change["low"], change["high"])
    assert (row["since"], row["verdict"]) == (str(FIRST), "too few swings")
    assert [path.name for path in table.parent.iterdir()] == ["season.csv"]


def test_an_older_table_is_never_replaced_silently(project_root: Path, tmp_path: Path) -> None:
    older = tmp_path / "season.csv"
    older.write_text("older", encoding="utf-8")
    result = run("season", project_root / SEASON, "--out", older)
    assert result.exit_code == 2
    assert "season.csv is there already" in result.stderr
    assert older.read_text(encoding="utf-8") == "older"


def test_tables_of_two_dates_in_inches(project_root: Path) -> None:
    result = run("season", project_root / SEASON, "--hitter", "Lark", "--from", LATER, "--units", "imperial")
    assert result.exit_code == 0, result.output
    assert "5 ft 5 in" in result.output
    assert "mph (1)" in result.output
    assert str(FIRST) not in result.output
    assert "too few swings" in result.output
    assert "does not show his own scatter" in result.output


def test_held_positions_are_listed_apart(project_root: Path) -> None:
    result = run("season", project_root / "demo_sessions/lab_day", "--hitter", "rook")
    assert result.exit_code == 0, result.output
    assert "Swings: 1 on 2026-04-18 (live)" in result.output
    assert "Held positions: 1 on 2026-04-18 (held)" in result.output


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("{season}", "--hitter", "swift"), "no swing of a hitter 'swift' is listed; known are lark"),
        (("{season}", "--from", "spring"), "--from 'spring' is not a date; give e.g. 2026-03-14"),
        (("{season}", "--from", "2027-01-01"), "nothing was recorded on the days asked for; there are 2026-02-06 to"),
        (("{undated}",), "swing.c3d has no date; add date = 2026-03-14"),
        (("{missing}",), "swing.c3d: no such file"),
        (("{nowhere}",), "no such session file"),
    ],
)
def test_bad_input_is_one_line(project_root: Path, tmp_path: Path, arguments: tuple[str, ...], message: str) -> None:
    places = {"season": project_root / SEASON, "nowhere": tmp_path / "nowhere.toml"}
    for name, day in (("undated", ""), ("missing", "date = 2026-03-14\n")):
        places[name] = tmp_path / name
        places[name].mkdir()
        (places[name] / "session.toml").write_text(f'[[swings]]\nfile = "swing.c3d"\n{day}', encoding="utf-8")
    result = run("season", *(argument.format(**places) for argument in arguments))
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert message in result.stderr
