"""`mocap triangulate` and `mocap cameras`, and the one line in which bad input to any camera command ends."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

import mocap
import mocap.importer.filmed
from mocap.cli import main
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.known_points import rule_book_points
from mocap.reference.parameters import SwingParameters
from mocap.virtual.cameras import TWO_TRIPODS, Clock, FilmedPoints, Tripod, film_points, place_camera
from mocap.virtual.hitter import VirtualHitter, random_hitter
from mocap.virtual.lab import Lab

AS_STATED = Clock()
LAB = Lab(turn_deg=0.0, shift=(0.3, 0.2, 0.0))
HITTER = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0)
BOOK = rule_book_points()


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def refused(*arguments: object) -> str:
    """The one line in which a command ends."""
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("mocap: ")
    return lines[0]


def film(
    tripod: Tripod = TWO_TRIPODS[0], hitter: VirtualHitter = HITTER, *, clock: Clock = AS_STATED, seed: int = 0
) -> FilmedPoints:
    camera = place_camera(tripod, LAB, hitter.bats)
    return film_points(hitter, camera, LAB, clock=clock, seed=seed, occlusion=False)


@pytest.fixture(scope="module")
def filmed() -> tuple[FilmedPoints, FilmedPoints]:
    """One swing, seen by two cameras whose files tell the truth."""
    return film(seed=1), film(TWO_TRIPODS[1], seed=2)


def written(folder: Path, *clips: FilmedPoints) -> list[Path]:
    """Camera and points of each in turn."""
    files = []
    for clip in clips:
        files += [
            write_camera(clip.camera, folder / f"{clip.camera.name}.toml"),
            clip.write(folder / f"{clip.camera.name}.csv"),
        ]
    return files


def options(files: list[Path]) -> list[object]:
    """Camera and points in turn, as commands take them."""
    return [word for pair in zip(("--camera", "--keypoints") * 2, files, strict=True) for word in pair]


def with_pixels(clip: FilmedPoints, pixels: np.ndarray) -> FilmedPoints:
    there = clip.camera.inside(pixels)
    return replace(
        clip, pixels=np.where(there[..., None], pixels, np.nan), confidence=np.where(there, clip.confidence, np.nan)
    )


# -------------------------------------------------------------------- triangulating


@pytest.mark.parametrize("suffix", [".csv", ".c3d"])
def test_points_come_out_where_they_were_and_can_be_read(tmp_path: Path, filmed, suffix: str) -> None:
    files, out = written(tmp_path, *filmed), tmp_path / f"swing{suffix}"
    # One sample is lost, and bridged.
    kept = [row for row in files[1].read_text("utf-8").splitlines(keepends=True) if not row.startswith("50,l_knee,")]
    files[1].write_text("".join(kept), "utf-8")
    words = options(files)
    page = tmp_path / "cameras.html"
    result = run("triangulate", *words, "--out", out, "--page", page, "--pitcher", "1,0,0")
    assert result.exit_code == 0, result.output
    capture = mocap.read(out)
    assert capture.rate_hz == pytest.approx(120.0)
    assert capture.labels == filmed[0].names
    off = np.linalg.norm(capture.points - filmed[0].true_points[: len(capture.points)], axis=-1)
    assert np.nanmedian(off) < 0.01
    assert np.isfinite(off).mean() > 0.9
    sd = np.genfromtxt(out, delimiter=",", skip_header=3, usecols=5) if suffix == ".csv" else capture.residuals
    # Normal in three directions: the median distance is 1.54 standard deviations, more where these differ.
    assert 1.0 < np.nanmedian(off) / np.nanmedian(sd) < 2.2
    assert "Lines of sight cross at 4" in result.output
    assert "<svg" in page.read_text("utf-8")
    # A table keeps what the points' errors are, so that a swing read from it has honest intervals; C3D cannot.
    assert capture.smoothed == (suffix == ".csv")
    if suffix == ".csv":
        direct = mocap.importer.filmed.filmed(
            [clip.camera for clip in filmed],
            [mocap.importer.keypoints.read_keypoints(file) for file in words[3::4]],
        ).capture("direct")
        seen = np.isfinite(direct.points).all(axis=2)
        assert (capture.errors.filled == direct.errors.filled).all()
        assert capture.errors.filled[50, capture.labels.index("l_knee")]
        assert not capture.errors.filled[49, capture.labels.index("l_knee")]
        assert capture.residuals[seen] == pytest.approx(direct.residuals[seen], abs=1e-5)
        assert capture.errors.per_s[seen] == pytest.approx(direct.errors.per_s[seen], abs=1e-4)
    before = out.read_bytes()
    assert "is there already" in refused("triangulate", *words, "--out", out)
    assert "is there already" in refused("triangulate", *words, "--out", tmp_path / f"b{suffix}", "--page", page)
    assert out.read_bytes() == before


def test_bat_ends_may_come_in_a_table_of_their_own(tmp_path: Path, filmed) -> None:
    files = written(tmp_path, *filmed)
    bats: list[object] = []
    for table in (files[1], files[3]):
        rows = table.read_text("utf-8").splitlines(keepends=True)
        bat = tmp_path / f"{table.stem}_bat.csv"
        bat.write_text(rows[0] + "".join(row for row in rows[1:] if ",bat_" in row), "utf-8")
        table.write_text("".join(row for row in rows if ",bat_" not in row), "utf-8")
        bats += ["--bat", bat]
    out = ("--out", tmp_path / "swing.csv")
    assert "--bat goes with every camera or with none" in refused("triangulate", *options(files), *bats[:2], *out)
    assert run("triangulate", *options(files), *bats, *out).exit_code == 0
    assert {"bat_knob", "bat_barrel", "l_hip"} <= set(mocap.read(tmp_path / "swing.csv").labels)


def test_unsynchronised_clips_are_named_with_the_time_between_them(tmp_path: Path, filmed) -> None:
    words = options(written(tmp_path, filmed[0], film(TWO_TRIPODS[1], clock=Clock(start_s=0.2), seed=2)))
    line = refused("triangulate", *words, "--out", tmp_path / "swing.csv")
    assert "pitcher_side.csv against" in line
    assert "the clips are not synchronised" in line
    assert "200 ms later; run mocap sync first" in line
    assert not (tmp_path / "swing.csv").exists()
    assert run("triangulate", *words, "--clocks", "find", "--out", tmp_path / "swing.csv").exit_code == 0


@pytest.mark.parametrize("clocks", ["given", "find"])
def test_a_camera_that_moved_is_named_with_the_time(tmp_path: Path, filmed, clocks: str) -> None:
    """The second camera's tripod is knocked at 0.6 s; what was filmed before can still be used."""
    first, second = filmed
    pixels = second.pixels.copy()
    pixels[second.time_s >= 0.6] += (4.0, 14.0)
    words = options(written(tmp_path, first, with_pixels(second, pixels)))
    asked = ("triangulate", *words, "--out", tmp_path / "swing.csv", "--clocks", clocks)
    line = refused(*asked)
    assert "open_side or pitcher_side moved at about 0.6" in line
    assert "use the swing before it, or calibrate and film again" in line
    assert "has nothing before -1 s" in refused(*asked, "--until", -1)
    result = run("triangulate", *words, "--out", tmp_path / "swing.csv", "--until", 0.55)
    assert result.exit_code == 0, result.output
    # Frames 0 to 66 are not later than 0.55 s.
    assert mocap.read(tmp_path / "swing.csv").n_frames == 67


@pytest.mark.parametrize("command", ["sync", "triangulate"])
def test_exchanged_files_are_named(tmp_path: Path, filmed, command: str) -> None:
    one, one_points, other, other_points = written(tmp_path, *filmed)
    rest = ("--out", tmp_path / "swing.csv") if command == "triangulate" else ("--search", 0.1)
    line = refused(command, *options([one, other_points, other, one_points]), *rest)
    assert "files of points exchanged; exchange them" in line


@pytest.mark.parametrize("command", ["sync", "triangulate"])
def test_a_mirrored_picture_is_named(tmp_path: Path, filmed, command: str) -> None:
    first, second = filmed
    pixels = second.pixels.copy()
    pixels[..., 0] = second.camera.size[0] - 1 - pixels[..., 0]
    words = options(written(tmp_path, first, with_pixels(second, pixels)))
    rest = ("--out", tmp_path / "swing.csv") if command == "triangulate" else ("--search", 0.1)
    line = refused(command, *words, *rest)
    assert re.search(r"with the picture of \S*pitcher_side.csv mirrored", line)


@pytest.mark.parametrize("command", ["sync", "triangulate"])
def test_different_people_are_named(tmp_path: Path, filmed, command: str) -> None:
    """The second camera's points are those of another hitter in the same box."""
    other = random_hitter(np.random.default_rng(4), level="youth")
    words = options(written(tmp_path, filmed[0], film(TWO_TRIPODS[1], other, seed=2)))
    rest = ("--out", tmp_path / "swing.csv") if command == "triangulate" else ("--search", 0.3)
    assert "different swings or different people" in refused(command, *words, *rest)


def test_points_of_another_picture_size_are_named(tmp_path: Path, filmed) -> None:
    first, second = filmed
    large = replace(second, camera=replace(second.camera, size=(1920, 1080)), pixels=1.5 * second.pixels)
    files = written(tmp_path, first, large)
    write_camera(second.camera, files[2])
    line = refused("triangulate", *options(files), "--out", tmp_path / "swing.csv")
    assert "of its points lie outside camera pitcher_side's picture of 1280 x 720 px" in line
    assert "find them in pictures of that size" in line


def test_an_empty_table_a_lens_alone_and_one_camera_twice_are_named(tmp_path: Path, filmed) -> None:
    files, out = written(tmp_path, *filmed), ("--out", tmp_path / "swing.csv")

    def instead(place: int, file: Path) -> str:
        return refused("triangulate", *options([*files[:place], file, *files[place + 1 :]]), *out)

    empty = tmp_path / "empty.csv"
    empty.write_text("frame,point,u,v,confidence\n", "utf-8")
    assert "empty.csv: no row below the column names" in instead(3, empty)
    empty.write_text("", "utf-8")
    assert "empty.csv" in instead(3, empty)
    camera = read_camera(files[2])
    lens = write_camera(replace(camera, rotation=np.eye(3), translation=np.zeros(3)), tmp_path / "lens.toml")
    assert "has a lens but no place; find it with mocap calibrate place" in instead(2, lens)
    twin = write_camera(replace(read_camera(files[0]), name="twin"), tmp_path / "twin.toml")
    assert "open_side and twin stand 0.00 m apart" in instead(2, twin)
    slow = write_camera(replace(camera, rate_hz=None), tmp_path / "slow.toml")
    assert "rate_hz is missing" in instead(2, slow)
    assert not (tmp_path / "swing.csv").exists()


def test_wrong_arguments_are_explained(tmp_path: Path, filmed) -> None:
    files, out = written(tmp_path, *filmed), ("--out", tmp_path / "swing.csv")
    words = options(files)
    assert "--camera and --keypoints go together" in refused("triangulate", *words[:4], *out)
    assert "--camera and --keypoints go together" in refused("triangulate", *words[:6], *out)
    assert "is given twice" in refused("triangulate", *options([*files[:3], files[1]]), *out)
    assert "ends in .txt; give .csv or .c3d" in refused("triangulate", *words, "--out", tmp_path / "swing.txt")
    assert "--plate '1,2' is not three numbers" in refused("triangulate", *words, *out, "--plate", "1,2")
    assert "straight up" in refused("triangulate", *words, *out, "--plate", "0,0,0", "--pitcher", "0,0,1")
    for noise in ("0", "-1", "nan"):
        line = refused("triangulate", *words, *out, "--noise", noise)
        assert f"--noise {noise} is no number of pixels; give e.g. 1" in line
    assert "contact at 9 s lies outside the recording" in refused("triangulate", *words, *out, "--contact", 9)
    assert "is no folder; make it first" in refused("triangulate", *words, "--out", tmp_path / "no" / "swing.csv")


# -------------------------------------------------------------------- judging a placement


def test_a_placement_is_judged_before_anything_is_recorded(tmp_path: Path, filmed) -> None:
    one, _, other, _ = written(tmp_path, *filmed)
    page = tmp_path / "page.html"
    result = run("cameras", one, other, "--plate", "0.3,0.2,0", "--page", page)
    assert result.exit_code == 0, result.output
    assert "Move the cameras apart: their lines of sight cross at" in result.output
    assert "hands, 1.30 m" in result.output
    assert "is there already" in refused("cameras", one, other, "--page", page)
    assert "do not both see the hitter's volume" in refused("cameras", one, other, "--plate", "40,0,0")
    assert "1 camera: a place in space needs two" in refused("cameras", one)
    assert "is given twice" in refused("cameras", one, one)
    assert "no such camera file" in refused("cameras", one, tmp_path / "none.toml")
    assert "--noise 0 is no number of pixels" in refused("cameras", one, other, "--noise", 0)


# -------------------------------------------------------------------- calibrating from bad input


def marks(folder: Path, camera: Camera, names=BOOK.names, *, mirrored: bool = False) -> Path:
    pixels = camera.project(BOOK.places)
    if mirrored:
        pixels[:, 0] = camera.size[0] - 1 - pixels[:, 0]
    rows = [f"{name},{u:.3f},{v:.3f}\n" for name, (u, v) in zip(BOOK.names, pixels, strict=True) if name in names]
    path = folder / "marks.csv"
    path.write_text("point,u,v\n" + "".join(rows), "utf-8")
    return path


def test_a_camera_is_placed_only_by_enough_points_that_fit(tmp_path: Path) -> None:
    camera = Camera.looking_at((0.5, -6, 1.5), (0, 0, 0.9), size=(1280, 720), field_of_view_deg=60.0, name="side")
    lens = write_camera(replace(camera, rotation=np.eye(3), translation=np.zeros(3)), tmp_path / "lens.toml")
    out = tmp_path / "side.toml"
    common = ("--size", "1280x720", "--out", out)
    few = marks(tmp_path, camera, BOOK.names[:5])
    assert "5 known points are seen, 6 are needed; mark more" in refused("calibrate", "place", few, *common)
    flat = marks(tmp_path, camera)
    assert "lie in one plane, which does not show the lens" in refused("calibrate", "place", flat, *common)
    turned = marks(tmp_path, camera, mirrored=True)
    assert "mirrored" in refused("calibrate", "place", turned, "--lens", lens, "--out", out)
    assert not out.exists()


def test_a_wrong_board_is_named_with_the_one_that_is_seen(tmp_path: Path) -> None:
    cv2 = pytest.importorskip("cv2", reason="finding boards needs OpenCV")
    folder = tmp_path / "pictures"
    folder.mkdir()
    squares = np.kron(np.indices((6, 9)).sum(axis=0) % 2, np.ones((40, 40))).astype(np.uint8) * 255
    for number in range(4):
        cv2.imwrite(str(folder / f"board_{number}.png"), np.pad(squares, 50 + 10 * number, constant_values=255))
    line = refused(
        "calibrate", "lens", folder / "board_0.png", "--corners", "7x5", "--square", 0.04, "--out", tmp_path / "l.toml"
    )
    assert "no picture shows a board of 7 x 5 inner corners" in line
    assert re.search(r"shows one of (8 x 5|5 x 8); count the corners where four squares meet", line)
