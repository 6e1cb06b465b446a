"""`mocap still` and `mocap film`: what they write, what they refuse, and that they leave nothing else behind."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import imageio_ffmpeg
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import mocap
import mocap.renderer.still
from mocap.cli import main
from mocap.errors import RenderError
from mocap.renderer.layers import check_can_draw

SMALL = ("--size", "480x320")


@pytest.fixture(scope="module", autouse=True)
def _can_draw() -> None:
    try:
        check_can_draw()
    except RenderError as error:
        pytest.skip(str(error))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def day(project_root: Path) -> Path:
    return project_root / "demo_sessions" / "lab_day"


@pytest.fixture(scope="module")
def two_cameras(project_root: Path) -> Path:
    return project_root / "demo_sessions" / "two_cameras"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def written(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_still_is_named_after_recording_and_moment_and_an_older_one_is_kept(folder: Path, day: Path) -> None:
    result = run("still", day / "rook.c3d", "--at", "contact", *SMALL)
    assert result.exit_code == 0, result.output
    assert written(folder) == ["rook_contact.png"]
    with Image.open(folder / "rook_contact.png") as picture:
        assert picture.size == (480, 320)
    before = (folder / "rook_contact.png").read_bytes()
    again = run("still", day / "rook.c3d", "--at", "contact", *SMALL, "--units", "imperial")
    assert again.exit_code == 2
    assert "there already" in again.output
    assert (folder / "rook_contact.png").read_bytes() == before
    assert run("still", day / "rook.c3d", "--at", "contact", *SMALL, "--replace").exit_code == 0


@pytest.mark.parametrize(
    "how",
    [
        ("--picture", "sheet"),
        ("--picture", "difference"),
        ("--picture", "stroboscope", "--view", "above"),
        ("--view", "open side", "--view", "120,25"),
        ("--guides", "axis, separation"),
        ("--beside", "heath.c3d"),
    ],
)
def test_every_kind_of_picture_can_be_asked_for(folder: Path, day: Path, how: tuple[str, ...]) -> None:
    words = [str(day / word) if word.endswith(".c3d") else word for word in how]
    result = run("still", day / "rook.c3d", *SMALL, *words, "--out", "picture.png")
    assert result.exit_code == 0, result.output
    assert written(folder) == ["picture.png"]


@pytest.mark.usefixtures("folder")
def test_two_dates_are_told_apart_by_their_day(project_root: Path, monkeypatch) -> None:
    seen = []

    def draw(_comparison: object, findings: mocap.Findings, _path: object, **rest: Any) -> None:
        seen.append((findings, rest["beside"][1]))

    monkeypatch.setattr(mocap.renderer.still, "draw_still", draw)
    season = project_root / "demo_sessions" / "season"
    first, last = season / "lark_2026-02-06.c3d", season / "lark_2026-05-08.c3d"
    result = run("still", last, "--beside", first)
    assert result.exit_code == 0, result.output
    assert [findings.hitter.name for findings in seen[0]] == ["Lark, 2026-05-08", "Lark, 2026-02-06"]


@pytest.mark.parametrize("suffix", [".mp4", ".gif", ".webp", ".glb"])
def test_the_name_of_a_film_says_what_is_made(folder: Path, day: Path, suffix: str) -> None:
    result = run(
        "film", day / "wren.c3d", "--size", "320x320", "--speed", 2, "--hold", "none", "--out", f"wren{suffix}"
    )
    assert result.exit_code == 0, result.output
    assert written(folder) == [f"wren{suffix}"]
    starts = {".mp4": b"ftyp", ".gif": b"GIF8", ".webp": b"RIFF", ".glb": b"glTF"}
    assert starts[suffix] in (folder / f"wren{suffix}").read_bytes()[:12]


def test_several_recordings_make_a_reel_with_everyone_in_it(folder: Path, day: Path) -> None:
    quick = ("--size", "320x320", "--speed", 4, "--hold", "none", "--fps", 10)
    assert run("film", day / "rook.c3d", *quick).exit_code == 0
    result = run("film", day / "rook.c3d", day / "wren.c3d", *quick, "--title", "Two of them")
    assert result.exit_code == 0, result.output
    assert written(folder) == ["reel.mp4", "rook.mp4"]
    lengths = {name: imageio_ffmpeg.count_frames_and_secs(str(folder / name))[0] for name in ("rook.mp4", "reel.mp4")}
    assert lengths["reel.mp4"] > 2 * lengths["rook.mp4"]


def test_a_video_that_the_session_lists_brings_its_camera(folder: Path, two_cameras: Path) -> None:
    lab, video = two_cameras / "lab.c3d", two_cameras / "pitcher_side.mp4"
    result = run("still", lab, "--video", video, "--at", "contact", *SMALL)
    assert result.exit_code == 0, result.output
    assert written(folder) == ["lab_contact.png"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("still", "rook.c3d", "--at", "moon"), "moment 'moon' is not known"),
        (("still", "rook.c3d", "--view", "moon"), "view 'moon' is not known"),
        (("still", "rook.c3d", "--guides", "moon"), "guide 'moon' is not known"),
        (("still", "rook.c3d", "--size", "small"), "size 'small' is not known"),
        (("still", "rook.c3d", "--size", "10x10"), "cannot be drawn"),
        (("still", "rook.c3d", "--out", "a.jpg"), "ends in .jpg; give .png"),
        (("still", "rook.c3d", "--out", "nowhere/a.png"), "nowhere is no folder"),
        (("still", "rook.c3d", "--picture", "sheet", "--beside", "heath.c3d"), "shows one swing from one side"),
        (("still", "rook.c3d", "--camera", "a.toml"), "--camera goes with --video"),
        (("film", "rook.c3d", "--out", "a.avi"), "ends in .avi"),
        (("film", "rook.c3d", "wren.c3d", "--beside", "heath.c3d"), "go with one recording"),
        (("film", "rook.c3d", "--speed", "0"), "speed"),
        (("film", "rook.c3d", "--hold", "moon"), "moon"),
        (("film", "rook.c3d", "--size", "321x321"), "even"),
        (("film", "rook.c3d", "--video", "nothing.mp4"), "nothing.mp4"),
        (("film", "rook.c3d", "--video-moment", "plant", "--video", "nothing.mp4"), "is not NAME=FRAME"),
        (("still", "nobody.c3d"), "nobody.c3d"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_one_line(
    folder: Path, day: Path, words: tuple[str, ...], says: str
) -> None:
    result = run(*(str(day / word) if word.endswith(".c3d") else word for word in words))
    assert result.exit_code == 2, result.output
    assert says in result.output
    assert len(result.output.strip().splitlines()) == 1
    assert written(folder) == []
