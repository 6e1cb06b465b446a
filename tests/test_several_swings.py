"""Recordings of several swings through the commands: each measured alone, frames as in the whole recording."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

import mocap
from mocap.capture import Capture
from mocap.cli import main
from mocap.errors import OutputError
from mocap.importer.session import Recording
from mocap.job import Job, jobs_of, run_jobs
from mocap.swing import Hitter, Setup

DAYS = ("2026-02-06", "2026-03-20", "2026-05-08")
#: Between two swings: back to the stance, and standing in it. [s]
BACK_S, STANDING_S = 1.2, 1.0


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments], env={"COLUMNS": "200"})


def joined(captures: list[Capture]) -> Capture:
    """One recording of captures with the same points; between them the hitter moves straight back and stands."""
    parts = [captures[0].points]
    for capture in captures[1:]:
        rate = capture.rate_hz
        share = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, round(BACK_S * rate)))[:, None, None]
        start = np.nan_to_num(capture.points[:1])
        parts += [parts[-1][-1:] + share * (start - parts[-1][-1:]), np.repeat(start, round(STANDING_S * rate), axis=0)]
        parts.append(capture.points)
    points = np.concatenate(parts)
    return Capture("several.c3d", captures[0].labels, points, captures[0].rate_hz, np.full(points.shape[:2], 0.001))


@pytest.fixture(scope="module")
def season_folder(project_root: Path) -> Path:
    return project_root / "demo_sessions" / "season"


@pytest.fixture(scope="module")
def captures(season_folder: Path) -> list[Capture]:
    return [mocap.read(season_folder / f"lark_{day}.c3d") for day in DAYS]


@pytest.fixture(scope="module")
def folder(captures: list[Capture], season_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session whose first date has a file of two swings, its second one of two others."""
    place = tmp_path_factory.mktemp("several")
    head = (season_folder / "session.toml").read_text(encoding="utf-8").split("[[swings]]")[0]
    rows = ""
    for name, day, pair in (("early.c3d", DAYS[0], captures[:2]), ("late.c3d", DAYS[2], captures[1:])):
        mocap.write_c3d(joined(list(pair)), place / name)
        rows += f'[[swings]]\nfile = "{name}"\nhitter = "lark"\nkind = "tee"\ndate = {day}\n\n'
    (place / "session.toml").write_text(head + rows, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def found(folder: Path) -> dict:
    result = run("measure", folder / "early.c3d", "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


def test_json_lists_the_swings(found: dict, captures: list[Capture], season_folder: Path) -> None:
    assert found["file"] == "early.c3d"
    first, second = found["swings"]
    assert (first["swing"], second["swing"]) == (1, 2)
    assert (first["first_frame"], first["last_frame"] + 1) == (0, second["first_frame"])
    begins = captures[0].n_frames + round((BACK_S + STANDING_S) * captures[0].rate_hz)
    assert second["last_frame"] + 1 == begins + captures[1].n_frames
    alone = json.loads(run("measure", season_folder / f"lark_{DAYS[1]}.c3d", "--json").output)
    # Without the plates the landing is found from the points alone, a few frames apart.
    assert second["moments"]["plant"]["index"] == pytest.approx(alone["moments"]["plant"]["index"] + begins, abs=4)
    moment = second["moments"]["contact"]
    assert moment["time_s"] == pytest.approx(moment["index"] / 240.0, abs=1.0 / 240.0)
    assert second["measures"]["bat_speed"]["value"] == pytest.approx(alone["measures"]["bat_speed"]["value"], rel=0.02)


def test_one_of_them_alone(folder: Path, found: dict) -> None:
    alone = json.loads(run("measure", folder / "early.c3d", "--json", "--swing", 2).output)
    assert alone == {
        key: value for key, value in found["swings"][1].items() if key not in ("swing", "first_frame", "last_frame")
    }


def test_tables_of_each(folder: Path) -> None:
    result = run("measure", folder / "early.c3d")
    assert result.exit_code == 0
    assert result.output.count("Foot-plant") == 2
    assert "Swing 1 of 2: frames 0 to" in result.output
    assert "Swing 2 of 2: frames" in result.output


def test_a_hand_set_moment_counts_in_the_whole_recording(folder: Path, found: dict) -> None:
    frame = found["swings"][1]["moments"]["plant"]["index"] + 2
    told = json.loads(run("measure", folder / "early.c3d", "--json", "--moment", f"plant={frame}").output)["swings"]
    plant = told[1]["moments"]["plant"]
    assert plant["index"] == frame
    assert plant["time_s"] == pytest.approx(frame / 240.0)
    assert plant["low_s"] < plant["time_s"] < plant["high_s"]
    assert plant["method"] == "set by hand"
    assert told[0]["moments"] == found["swings"][0]["moments"]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--swing", "3"), "swing 3 is asked for; the recording holds 2 swings"),
        (("--moment", "plant=9000"), "plant is set to frame 9000; the recording has frames 0 to"),
        (("--moment", "plant=9", "--swing", "2"), "plant is set to frame 9, which lies in swing 1"),
        (("--moment", "plant=9", "--moment", "plant=900"), "--moment plant is given twice"),
    ],
)
def test_what_cannot_be_is_one_line(folder: Path, options: tuple[str, ...], message: str) -> None:
    for command in (("measure",), ("compare", "--out", folder / "never")):
        result = run(command[0], folder / "early.c3d", *command[1:], *options)
        assert result.exit_code == 2
        assert message in result.stderr
        assert len(result.stderr.splitlines()) == 1
    assert not (folder / "never").exists()


def test_a_swing_that_cannot_be_measured_leaves_the_others(captures: list[Capture], tmp_path: Path) -> None:
    """In the second swing the front leg is never seen below the hip."""
    both = joined(captures[:2])
    points = both.points.copy()
    feet = [i for i, name in enumerate(both.labels) if name in ("L_ANKLE", "L_HEEL", "L_BALL", "L_TOE", "L_KNEE")]
    points[captures[0].n_frames + 300 :, feet] = np.nan
    mocap.write_c3d(replace(both, points=points), tmp_path / "half.c3d")
    result = run("measure", tmp_path / "half.c3d", "--json", "--bats", "right")
    assert result.exit_code == 0, result.stderr
    first, second = json.loads(result.output)["swings"]
    assert first["measures"]["bat_speed"]["value"] > 20.0
    assert second["why"].startswith("half.c3d, frames ")
    assert "measures" not in second
    told = run("measure", tmp_path / "half.c3d", "--bats", "right").output
    assert "cannot be measured: half.c3d, frames" in told


# -------------------------------------------------------------------- jobs


def test_each_swing_gets_a_folder_of_its_own(folder: Path, season_folder: Path, tmp_path: Path) -> None:
    several = Recording(folder / "early.c3d", Hitter(), Setup(), "tee")
    jobs = jobs_of(several, "metric", tmp_path)
    assert [(job.folder, job.piece, job.name) for job in jobs] == [
        (tmp_path / "swing_1", 1, "early.c3d, swing 1"),
        (tmp_path / "swing_2", 2, "early.c3d, swing 2"),
    ]
    assert [job.folder.name for job in jobs_of(several, "metric", tmp_path, 2)] == ["swing_2"]
    single = Recording(season_folder / f"lark_{DAYS[0]}.c3d", Hitter(), Setup(), "tee")
    assert jobs_of(single, "metric", tmp_path) == [Job(single, "metric", tmp_path)]


def test_compare_works_through_one_of_them(
    folder: Path, found: dict, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("mocap.renderer.film.draw_film", lambda _c, _f, path, **_: path.write_bytes(b"film"))
    result = run("compare", folder / "early.c3d", "--out", tmp_path, "--swing", 2)
    assert result.exit_code == 0, result.output
    assert [path.name for path in tmp_path.iterdir()] == ["swing_2"]
    told = json.loads((tmp_path / "swing_2" / "findings.json").read_text(encoding="utf-8"))
    assert told["moments"] == found["swings"][1]["moments"]
    again = run("compare", folder / "early.c3d", "--out", tmp_path)
    assert again.exit_code == 2
    assert "swing_2 already holds foot_plant.png" in again.stderr
    assert not (tmp_path / "swing_1").exists()


def test_two_recordings_never_go_into_one_folder(season_folder: Path, tmp_path: Path) -> None:
    recording = Recording(season_folder / f"lark_{DAYS[0]}.c3d", Hitter(), Setup(), "tee")
    jobs = [Job(recording, "metric", tmp_path / "swing"), Job(recording, "metric", tmp_path / "swing")]
    with pytest.raises(OutputError, match="would both go into"):
        run_jobs(jobs, reference="standard", limits=None, replace=True)


def test_one_swing_of_a_session_is_no_choice(folder: Path, tmp_path: Path) -> None:
    result = run("compare", folder, "--out", tmp_path / "out", "--swing", 1)
    assert result.exit_code == 2
    assert "--swing goes with one recording" in result.stderr


# -------------------------------------------------------------------- over a season


def test_a_season_counts_every_swing_of_a_file(folder: Path, found: dict) -> None:
    result = run("season", folder, "--json")
    assert result.exit_code == 0, result.output
    (lark,) = json.loads(result.output)["hitters"]
    assert [row["swings"] for row in lark["swings"]["dates"]] == [2, 2]
    speed = lark["swings"]["measures"]["bat_speed"]
    first = [swing["measures"]["bat_speed"]["value"] for swing in found["swings"]]
    assert speed["days"][0]["mean"] == pytest.approx(np.mean(first))
    assert speed["days"][0]["sd"] == pytest.approx(np.std(first, ddof=1))
    assert speed["own"]["df"] == 2
    assert speed["changes"][0]["verdict"] in ("more than noise", "could be noise")
    told = run("season", folder).output
    assert "Own scatter" in told
    assert "by chance alone" in " ".join(told.split())
