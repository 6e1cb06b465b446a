"""`mocap calibrate` and `mocap sync`: what they find, what they refuse, and that older files are kept."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mocap.camera_job import event_frames
from mocap.cli import main
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.known_points import rule_book_points
from mocap.reference.parameters import SwingParameters
from mocap.virtual.cameras import TWO_TRIPODS, Clock, FilmedPoints, Tripod, film_points, place_camera
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab


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
    found = read_camera(out)
    assert np.linalg.norm(found.centre - RIG[0].centre) < 0.02
    assert found.rate_hz == 120.0  # the lens's
    assert np.diag(found.covariance)[:6].min() > 0.0
    faster = tmp_path / "faster.toml"
    assert run(*words[:-1], faster, "--rate", 240).exit_code == 0
    assert read_camera(faster).rate_hz == 240.0
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
        (("calibrate", "place", "n.csv", "--size", "9x9", "--out", "c.toml", "--rate", 0), "--rate 0 is no number of"),
        (
            ("calibrate", "lens", "a.png", "--corners", "7x5", "--square", 0.04, "--marker", 0.05, "--out", "l.toml"),
            "marker_m must be given for a ChArUco board, smaller than square_m",
        ),
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


# -------------------------------------------------------------------- events, folders


def film(tripod: Tripod, folder: Path, clock: Clock) -> FilmedPoints:
    """A swing in one camera, its file and table written."""
    lab = Lab(turn_deg=0.0, shift=(0.3, 0.2, 0.0))
    hitter = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0)
    seen = film_points(hitter, place_camera(tripod, lab), lab, clock=clock, seed=3, occlusion=False)
    write_camera(seen.camera, folder / f"{tripod.name}.toml")
    seen.write(folder / f"{tripod.name}.csv")
    return seen


def as_json(seen: FilmedPoints, folder: Path) -> Path:
    """The same points as a pose estimator writes them: a file per picture, in the 17-point order."""
    order = [
        "nose",
        "l_eye",
        "r_eye",
        "l_ear",
        "r_ear",
        "l_shoulder",
        "r_shoulder",
        "l_elbow",
        "r_elbow",
        "l_wrist",
        "r_wrist",
        "l_hip",
        "r_hip",
        "l_knee",
        "r_knee",
        "l_ankle",
        "r_ankle",
    ]
    folder.mkdir()
    for frame, (pixels, sure) in enumerate(zip(seen.pixels, seen.confidence, strict=True)):
        flat: list[float] = []
        for name in order:
            i = seen.names.index(name) if name in seen.names else None
            known = i is not None and np.isfinite(sure[i])
            flat += [*map(float, pixels[i]), float(sure[i])] if known else [0.0, 0.0, 0.0]
        person = {"person_id": [-1], "pose_keypoints_2d": flat}
        (folder / f"swing_{frame:012d}_keypoints.json").write_text(json.dumps({"people": [person]}), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def late(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[FilmedPoints, FilmedPoints]]:
    """Two cameras; the second took its first picture 41.3 ms later than its file says."""
    folder = tmp_path_factory.mktemp("late")
    return folder, (film(TWO_TRIPODS[0], folder, Clock()), film(TWO_TRIPODS[1], folder, Clock(start_s=0.0413)))


def offset(found: Path) -> float:
    """How much later than stated the second camera's pictures are. [s]"""
    return read_camera(found / "pitcher_side.toml").time_offset_s - TWO_TRIPODS[1].time_offset_s


def cameras_of(folder: Path) -> list[object]:
    return [word for tripod in TWO_TRIPODS for word in ("--camera", folder / f"{tripod.name}.toml")]


def frames_at(second_s: float) -> tuple[float, float]:
    """Whole frames of both cameras nearest to an instant."""
    return round(second_s * 120.0), round((second_s - TWO_TRIPODS[1].time_offset_s - 0.0413) * 120.0)


def test_a_flash_that_both_cameras_show_gives_the_offset(tmp_path: Path, late) -> None:
    a, b = frames_at(0.8)
    event = f"open_side={a} pitcher_side={b}"
    result = run("sync", *cameras_of(late[0]), "--event", event, "--out", tmp_path / "flash")
    assert result.exit_code == 0, result.output
    assert offset(tmp_path / "flash") == pytest.approx(0.0413, abs=1.0 / 120.0)
    # Half a frame evenly in both: 1 / sqrt(6) of a frame.
    assert "± 3.40 ms" in result.output
    tables = [word for tripod in TWO_TRIPODS for word in ("--keypoints", late[0] / f"{tripod.name}.csv")]
    again = run("sync", *cameras_of(late[0]), *tables, "--event", event, "--out", tmp_path / "finer")
    assert again.exit_code == 0, again.output
    assert offset(tmp_path / "finer") == pytest.approx(0.0413, abs=0.05 / 120.0)


def test_clocks_are_found_from_folders_of_a_pose_estimator(tmp_path: Path, late) -> None:
    folders = [as_json(seen, tmp_path / seen.camera.name) for seen in late[1]]
    words = [word for folder in folders for word in ("--keypoints", folder)]
    result = run("sync", *cameras_of(late[0]), *words, "--search", 0.3, "--out", tmp_path / "found")
    assert result.exit_code == 0, result.output
    assert offset(tmp_path / "found") == pytest.approx(0.0413, abs=0.1 / 120.0)


@pytest.mark.parametrize(
    ("event", "says"),
    [
        ("open_side=10", "has no frame of pitcher_side"),
        ("open_side=10 pitcher_side=x", "'pitcher_side=x' is no frame of a camera"),
        ("open_side=10 pitcher_side=-3", "'pitcher_side=-3' is no frame of a camera"),
        ("open_side=10 third=3", "'third' is no camera's name; they are open_side, pitcher_side"),
        ("open_side=10 open_side=11 pitcher_side=3", "'open_side' is there twice"),
    ],
)
def test_an_event_that_is_none_is_refused(late, event: str, says: str) -> None:
    result = run("sync", *cameras_of(late[0]), "--event", event)
    assert result.exit_code == 2
    assert says in result.output
    assert len(result.output.strip().splitlines()) == 1


def test_a_charuco_board_gives_a_lens_and_a_missing_rate_is_told(tmp_path: Path) -> None:
    cv2 = pytest.importorskip("cv2", reason="finding boards needs OpenCV")
    markers = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    flat = cv2.aruco.CharucoBoard((8, 6), 0.04, 0.03, markers).generateImage((640, 480), marginSize=0)
    # Tilted pictures of it, by a lens of 900 px that does not bend.
    matrix = np.array([[900.0, 0.0, 479.5], [0.0, 900.0, 359.5], [0.0, 0.0, 1.0]])
    to_board = np.diag([0.04 / 80.0, 0.04 / 80.0, 1.0])
    for number, turn in enumerate(np.random.default_rng(1).uniform(-0.5, 0.5, (8, 3))):
        rotation, _ = cv2.Rodrigues(turn)
        shift = np.array([0.0, 0.0, 0.45]) - rotation @ np.array([0.16, 0.12, 0.0])
        seen = matrix @ np.column_stack([rotation[:, :2], shift]) @ to_board
        picture = cv2.warpPerspective(flat, seen, (960, 720), flags=cv2.INTER_AREA, borderValue=255)
        cv2.imwrite(str(tmp_path / f"board_{number}.png"), picture)
    pictures, out = sorted(tmp_path.glob("board_*.png")), tmp_path / "phone.toml"
    words = ("calibrate", "lens", *pictures, "--corners", "7x5", "--square", 0.04, "--marker", 0.03)
    result = run(*words, "--dictionary", "DICT_5X5_50", "--out", out)
    assert result.exit_code == 0, result.output
    found = read_camera(out)
    assert np.diag(found.matrix)[:2] == pytest.approx([900.0, 900.0], rel=0.01)
    assert "phone: rate_hz is not in its file, as nothing tells it; give --rate" in result.output
    assert found.rate_hz is None
    again = run(*words, "--dictionary", "DICT_5X5_50", "--out", out, "--rate", 120, "--replace")
    assert again.exit_code == 0, again.output
    assert read_camera(out).rate_hz == 120.0


def test_cameras_names_may_hold_spaces_in_an_event() -> None:
    frames = event_frames(["open side=10, other=12.5", "other = 40 open side=38"], ["open side", "other"])
    assert frames == [[10.0, 38.0], [12.5, 40.0]]
