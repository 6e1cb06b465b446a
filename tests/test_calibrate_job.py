"""The calibrating commands' work: files in, camera files and findings out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.calibrate_job import place_job, wand_job
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.known_points import rule_book_points

BOOK = rule_book_points()
CAMERAS = [
    Camera.looking_at(
        place, (0, 0, 0.9), size=(1280, 720), field_of_view_deg=50.0, distortion=(-0.1, 0.02, 0, 0), name=name
    )
    for name, place in (("open_side", (0.5, -6.0, 1.5)), ("pitcher_side", (4.5, -4.0, 1.4)))
]
LENGTH = 0.84


def lens_files(folder, cameras=CAMERAS) -> list:
    """The lenses alone, as they come from the board."""
    return [
        write_camera(replace(c, rotation=np.eye(3), translation=np.zeros(3)), folder / f"{c.name}.toml")
        for c in cameras
    ]


def marks(folder, camera: Camera, names=BOOK.names):
    pixels = camera.project(BOOK.places)
    rows = [f"{name},{u:.4f},{v:.4f}\n" for name, (u, v) in zip(BOOK.names, pixels, strict=True) if name in names]
    path = folder / f"{camera.name}_marks.csv"
    path.write_text("point,u,v\n" + "".join(rows), "utf-8")
    return path


def wand_file(folder, camera: Camera):
    """A wand waved for 4 s, in pictures at the camera's own times."""
    rate = camera.rate_hz or 60.0
    t = (camera.time_offset_s + np.arange(4 * int(rate)) / rate) / 4.0
    middle = np.stack([0.8 * np.sin(17 * t), 0.8 * np.sin(23 * t + 1), 1.0 + 0.7 * np.sin(29 * t + 2)], axis=-1)
    along = np.stack([np.sin(31 * t), np.sin(37 * t + 1), np.sin(41 * t + 2)], axis=-1)
    along *= 0.5 * LENGTH / np.linalg.norm(along, axis=1, keepdims=True)
    path = folder / f"{camera.name}_wand.csv"
    rows = ["frame,point,u,v,confidence\n"]
    for name, places in (("knob", middle - along), ("barrel", middle + along)):
        rows += [f"{i},{name},{u:.4f},{v:.4f},1.0\n" for i, (u, v) in enumerate(camera.project(places))]
    path.write_text("".join(rows), "utf-8")
    return path


def test_a_camera_is_placed_from_files(tmp_path) -> None:
    true = CAMERAS[0]
    lens = lens_files(tmp_path)[0]
    lines = place_job(marks(tmp_path, true), tmp_path / "placed.toml", lens=lens)
    placed = read_camera(tmp_path / "placed.toml")
    assert placed.centre == pytest.approx(true.centre, abs=1e-3)
    assert placed.name == "open_side"
    assert "stands at 0.50, -6.00, 1.50 m" in lines[0]


def test_a_coachs_own_points_come_beside_the_rule_books_and_before_them(tmp_path) -> None:
    true = CAMERAS[0]
    (tmp_path / "own.csv").write_text("name,x,y,z\npole,0.2,1.4,1.8\nplate_tip,0.0,0.0,0.01\n", "utf-8")
    path = marks(tmp_path, true)
    tip, pole = true.project([0.0, 0.0, 0.01]), true.project([0.2, 1.4, 1.8])
    rows = [row for row in path.read_text("utf-8").splitlines() if not row.startswith("plate_tip")]
    rows += [f"plate_tip,{tip[0]},{tip[1]}", f"pole,{pole[0]},{pole[1]}"]
    path.write_text("\n".join(rows), "utf-8")
    place_job(path, tmp_path / "placed.toml", lens=lens_files(tmp_path)[0], points=tmp_path / "own.csv")
    assert read_camera(tmp_path / "placed.toml").centre == pytest.approx(true.centre, abs=1e-3)


@pytest.mark.parametrize("by", ["marks", "placed"])
def test_a_wand_and_known_points_place_both_cameras(tmp_path, by) -> None:
    lenses, ends = lens_files(tmp_path), [wand_file(tmp_path, camera) for camera in CAMERAS]
    out = tmp_path / "out"
    out.mkdir()
    if by == "marks":
        lines = wand_job(lenses, ends, LENGTH, out, marks=[marks(tmp_path, camera) for camera in CAMERAS])
    else:
        place_job(marks(tmp_path, CAMERAS[0]), tmp_path / "placed.toml", lens=lenses[0])
        lines = wand_job(lenses, ends, LENGTH, out, placed=tmp_path / "placed.toml")
    for camera in CAMERAS:
        assert read_camera(out / f"{camera.name}.toml").centre == pytest.approx(camera.centre, abs=2e-3)
    assert lines[0].startswith("wand fits to 0.00 px")
    assert any("pitcher_side: stands at 4.50, -4.00, 1.40 m" in line for line in lines)


def test_cameras_of_different_clocks_are_brought_together(tmp_path) -> None:
    """The second camera takes 90 pictures while the first takes 60, and begins a third of a frame later."""
    first, second = CAMERAS
    clocks = [replace(first, rate_hz=60.0), replace(second, rate_hz=90.0, time_offset_s=1.0 / 180.0)]
    lenses = lens_files(tmp_path, clocks)
    ends = [wand_file(tmp_path, camera) for camera in clocks]
    place_job(marks(tmp_path, first), tmp_path / "placed.toml", lens=lenses[0])
    lines = wand_job(lenses, ends, LENGTH, tmp_path, placed=tmp_path / "placed.toml")
    assert read_camera(lenses[1]).centre == pytest.approx(second.centre, abs=0.01)
    assert lines[0].startswith("wand fits to 0.")


def test_what_is_missing_is_said(tmp_path) -> None:
    lenses, ends = lens_files(tmp_path), [wand_file(tmp_path, camera) for camera in CAMERAS]
    with pytest.raises(OptionError, match="known points, or the first camera's place"):
        wand_job(lenses, ends, LENGTH, tmp_path)
    with pytest.raises(OptionError, match="as many lens files"):
        wand_job(lenses[:1], ends, LENGTH, tmp_path, placed=lenses[0])
    with pytest.raises(InputError, match=r"open_side_wand.csv: has no point 'tip'"):
        wand_job(lenses, ends, LENGTH, tmp_path, names=("knob", "tip"), placed=lenses[0])
    with pytest.raises(InputError, match="2 known points are seen"):
        place_job(marks(tmp_path, CAMERAS[0], BOOK.names[:2]), tmp_path / "a.toml", lens=lenses[0])
