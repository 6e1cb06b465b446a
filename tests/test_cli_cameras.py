"""`mocap calibrate` and `mocap sync`: what they find, what they refuse, and that older files are kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mocap.cli import main
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.known_points import rule_book_points


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def camera(name: str, place: tuple[float, float, float]) -> Camera:
    return Camera.looking_at(
        place, (0.3, 0.3, 0.8), size=(1920, 1080), field_of_view_deg=60.0, rate_hz=120.0, name=name
    )


RIG = (camera("first", (0.5, -5.0, 1.6)), camera("second", (4.5, -3.0, 1.4)))


def marks(seen: Camera, path: Path, noise: float = 0.5) -> Path:
    known = rule_book_points("baseball")
    pixels = seen.project(known.places) + noise * np.random.default_rng(1).normal(size=(len(known.places), 2))
    there = seen.inside(pixels)
    rows = [f"{name},{u:.3f},{v:.3f}" for name, (u, v), ok in zip(known.names, pixels, there, strict=True) if ok]
    path.write_text("\n".join(["point,u,v", *rows]) + "\n", encoding="utf-8")
    return path


def lens_of(seen: Camera, path: Path) -> Path:
    write_camera(replace(seen, rotation=np.eye(3), translation=np.zeros(3)), path)
    return path


def test_a_camera_is_placed_from_plate_and_box(tmp_path: Path) -> None:
    lens, out = lens_of(RIG[0], tmp_path / "first_lens.toml"), tmp_path / "first.toml"
    words = ("calibrate", "place", marks(RIG[0], tmp_path / "marks.csv"), "--lens", lens, "--out", out)
    result = run(*words)
    assert result.exit_code == 0, result.output
    assert np.linalg.norm(read_camera(out).centre - RIG[0].centre) < 0.02
    before = out.read_bytes()
    again = run(*words)
    assert again.exit_code == 2
    assert "there already" in again.output
    assert out.read_bytes() == before


def test_a_waved_bat_places_two_cameras(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    middle = rng.uniform((-0.5, -0.5, 0.4), (1.0, 1.0, 1.8), (120, 3))
    along = rng.normal(size=(120, 3))
    along *= 0.42 / np.linalg.norm(along, axis=1, keepdims=True)
    words: list[object] = ["calibrate", "wand", "--length", 0.84, "--out", tmp_path / "placed"]
    for seen in RIG:
        rows = ["frame,point,u,v,confidence"]
        for name, ends in (("bat_knob", middle - along), ("bat_barrel", middle + along)):
            pixels = seen.project(ends) + rng.normal(size=(120, 2))
            rows += [f"{f},{name},{u:.3f},{v:.3f},1.0" for f, (u, v) in enumerate(pixels)]
        (tmp_path / f"{seen.name}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
        words += ["--camera", lens_of(seen, tmp_path / f"{seen.name}.toml"), "--ends", tmp_path / f"{seen.name}.csv"]
        words += ["--marks", marks(seen, tmp_path / f"{seen.name}_marks.csv")]
    result = run(*words)
    assert result.exit_code == 0, result.output
    for seen in RIG:
        found = read_camera(tmp_path / "placed" / f"{seen.name}.toml")
        assert np.linalg.norm(found.centre - seen.centre) < 0.05


def test_the_clocks_of_the_demo_are_found(project_root: Path, tmp_path: Path) -> None:
    folder = project_root / "demo_sessions" / "two_cameras"
    late = read_camera(folder / "pitcher_side.toml")
    write_camera(replace(late, time_offset_s=0.0), tmp_path / "pitcher_side.toml")
    out = tmp_path / "found"
    result = run(
        *("sync", "--noise", 1.5, "--search", 0.5, "--out", out),
        *("--camera", folder / "open_side.toml", "--keypoints", folder / "open_side.csv"),
        *("--camera", tmp_path / "pitcher_side.toml", "--keypoints", folder / "pitcher_side.csv"),
    )
    assert result.exit_code == 0, result.output
    assert read_camera(out / "pitcher_side.toml").time_offset_s == pytest.approx(late.time_offset_s, abs=0.05 / 120.0)


def test_two_cameras_of_one_name_are_not_written_over_each_other(tmp_path: Path) -> None:
    words: list[object] = ["sync", "--out", tmp_path / "found"]
    for folder in ("a", "b"):
        words += ["--camera", tmp_path / folder / "cam.toml", "--keypoints", tmp_path / folder / "cam.csv"]
    result = run(*words)
    assert result.exit_code == 2
    assert "different names" in result.output
    assert not (tmp_path / "found").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("calibrate", "lens", "a.png", "--corners", "9", "--square", 0.025, "--out", "l.toml"), "--corners '9'"),
        (("calibrate", "place", "nothing.csv", "--size", "1920x1080", "--out", "c.toml"), "nothing.csv"),
        (("calibrate", "place", "nothing.csv", "--size", "large", "--out", "c.toml"), "--size 'large'"),
        (("calibrate", "wand", "--camera", "a", "--ends", "b", "--length", 0.8, "--out", "o"), "two or more cameras"),
        (("sync", "--camera", "a.toml", "--keypoints", "a.csv", "--keypoints", "b.csv"), "go together"),
        (("sync", "--camera", "a.toml", "--keypoints", "a.csv"), "a.toml"),
    ],
)
def test_wrong_arguments_are_refused_in_one_line(tmp_path: Path, monkeypatch, words, says) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert result.exit_code == 2, result.output
    assert says in result.output
    assert len(result.output.strip().splitlines()) == 1
    assert not list(tmp_path.iterdir())
