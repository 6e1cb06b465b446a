"""The command line: what it prints, what it refuses and how, and that it leaves nothing behind."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from mocap.cli import main
from mocap.job import RESULTS
from mocap.swing import MOMENTS

DEMO = "demo_sessions/first_session"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def demo(project_root: Path) -> Path:
    return project_root / DEMO


@pytest.fixture(scope="module")
def demo_swing(demo: Path) -> Path:
    return demo / "swing_01.c3d"


def test_measure_prints_one_json_object(demo_swing: Path) -> None:
    result = run("measure", demo_swing, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.output)
    assert {"hitter", "moments", "measures", "checks"} <= set(found)
    assert list(found["moments"]) == list(MOMENTS)
    assert found["hitter"]["height_m"] == 1.86  # from the session file beside the recording
    for moment in found["moments"].values():
        assert set(moment) >= {"index", "time_s", "sd_s", "method"}
    for measure in found["measures"].values():
        assert ("why" in measure) == (measure["value"] is None)
    for check in found["checks"]:
        assert set(check) >= {"measure", "verdict", "limits", "source"}
        assert check["measure"] in found["measures"]


def test_options_override_the_session_file(demo_swing: Path) -> None:
    found = json.loads(run("measure", demo_swing, "--json", "--height", 1.9, "--moment", "plant=220").output)
    assert found["hitter"]["height_m"] == 1.9
    assert found["hitter"]["mass_kg"] == 88.0
    assert found["moments"]["plant"]["index"] == 220


def test_measure_prints_tables_in_the_units_asked_for(demo_swing: Path) -> None:
    metric, imperial = run("measure", demo_swing), run("measure", demo_swing, "--units", "imperial")
    assert metric.exit_code == imperial.exit_code == 0
    assert "m/s" in metric.output
    assert "mph" in imperial.output
    assert "Foot-plant" in metric.output


def test_inspect(demo_swing: Path) -> None:
    result = run("inspect", demo_swing)
    assert result.exit_code == 0
    assert "a swing can be measured from it" in result.output.replace("\n", " ")
    found = json.loads(run("inspect", demo_swing, "--json").output)
    assert found["measurable"] is True
    assert found["bat"] is True
    assert len(found["plates"]) == 2
    assert any(point["longest_gap"] > 0 for point in found["points"])
    assert [concern["kind"] for concern in found["concerns"]] == []
    assert [point["label"] for point in found["points"] if point["jumps"]] == []


def test_inspect_reports_a_recording_without_a_swing_with_status_0(tmp_path: Path) -> None:
    file = tmp_path / "ball.csv"
    rows = "\n".join(f"{i},{0.01 * i},0,1" for i in range(30))
    file.write_text(f"# rate_hz=240\n# units=m\nframe,BALL_x,BALL_y,BALL_z\n{rows}\n", encoding="utf-8")
    result = run("inspect", file)
    assert result.exit_code == 0
    assert "no swing can be measured from it" in result.output
    assert json.loads(run("inspect", file, "--json").output)["measurable"] is False


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("measure", "nowhere.c3d"), "nowhere.c3d: no such file"),
        (("measure", "{empty}"), "the file is empty"),
        (("measure", "{text}"), "not a C3D file"),
        (("inspect", "{text}"), "not a C3D file"),
        (("inspect", "{sheet}"), "files of the kind .xlsx are not read"),
        (("measure", "{swing}", "--height", "18"), "give metres"),
        (("measure", "{swing}", "--height", "180"), "give metres"),
        (("measure", "{swing}", "--pitcher", "north"), "--pitcher 'north' is not three numbers"),
        (("measure", "{swing}", "--moment", "plant"), "--moment 'plant' is not NAME=FRAME"),
        (("measure", "{swing}", "--moment", "strike=3"), "'strike' is not known"),
        (("measure", "{swing}", "--limits", "mine.toml"), "mine.toml: no such table of limits"),
        (("compare", "{empty}", "--out", "{out}"), "the file is empty"),
        (("compare", "{swing}", "--out", "{out}", "--height", "180"), "give metres"),
        (("compare", "{swing}", "--out", "{out}", "--reference", "champion"), "known are standard"),
        (("compare", "{folder}", "--out", "{out}"), "no such session file"),
    ],
)
def test_bad_input_is_one_line_and_status_2(
    tmp_path: Path, demo_swing: Path, arguments: tuple[str, ...], message: str
) -> None:
    places = {"empty": tmp_path / "empty.c3d", "text": tmp_path / "text.c3d", "folder": tmp_path / "folder"}
    places["empty"].write_bytes(b"")
    places["text"].write_text("a,b,c\n" * 300, encoding="utf-8")
    places["sheet"] = tmp_path / "swing.xlsx"
    places["sheet"].write_bytes(b"PK")
    places["folder"].mkdir()
    before = sorted(tmp_path.rglob("*"))
    result = run(*(a.format(swing=demo_swing, out=tmp_path / "out", **places) for a in arguments))
    assert result.exit_code == 2
    lines = [line for line in result.stderr.splitlines() if line.startswith("mocap: ")]
    assert len(lines) == 1
    assert message in lines[0]
    assert "Traceback" not in result.output
    assert sorted(tmp_path.rglob("*")) == before  # nothing written


def test_older_results_are_never_replaced_silently(tmp_path: Path, demo_swing: Path) -> None:
    older = tmp_path / "foot_plant.png"
    older.write_bytes(b"older")
    result = run("compare", demo_swing, "--out", tmp_path)
    assert result.exit_code == 2
    assert "already holds foot_plant.png" in result.stderr
    assert older.read_bytes() == b"older"


def test_a_machine_that_cannot_draw_is_told_before_any_work(
    tmp_path: Path, demo_swing: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from mocap.errors import RenderError

    def refuse() -> None:
        raise RenderError("no OpenGL library; install libegl1")

    monkeypatch.setattr("mocap.renderer.layers.check_can_draw", refuse)
    result = run("compare", demo_swing, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "install libegl1" in result.stderr
    assert not (tmp_path / "out").exists()


def test_compare_leaves_all_results_or_none(tmp_path: Path, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("mocap.renderer.film.draw_film", interrupted)
        assert run("compare", demo, "--out", tmp_path / "out").exit_code != 0
    assert list(tmp_path.rglob("*")) == []


def test_compare_writes_everything(tmp_path: Path, demo: Path) -> None:
    result = run("compare", demo, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    folder = tmp_path / "out" / "swing_01"
    assert sorted(file.name for file in folder.iterdir()) == sorted(RESULTS)
    found = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
    assert found["measures"]["pose_distance"]["value"] > 0
    assert found["differences"][0]["words"]
    page = (folder / "page.html").read_text(encoding="utf-8")
    assert "data:video/mp4;base64," in page
    assert "http" not in page.split("data:image")[0]
    assert str(folder) in result.output
