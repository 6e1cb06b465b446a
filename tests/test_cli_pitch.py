"""The options that say how the ball was thrown: what reaches the setup, and what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import NoReturn

import pytest
from click.testing import CliRunner

from mocap.capture import Capture
from mocap.cli import main
from mocap.errors import InputError
from mocap.swing import Hitter, Pitch, Setup

SESSION = """
[setup]
pitch_angle_deg = -7.0
[setup.pitch]
speed_m_s = 30.0
release_height_m = 1.6
release_distance_m = 14.0
backspin_rpm = 1500.0
[[swings]]
file = "swing.csv"
"""
THROWN = ("--pitch-speed", "88mph", "--release-height", "1.8", "--release-distance", "16.5")


@pytest.fixture
def swing_file(tmp_path: Path) -> Path:
    file = tmp_path / "swing.csv"
    rows = "\n".join(f"{i},{0.01 * i},0,1" for i in range(30))
    file.write_text(f"# rate_hz=240\n# units=m\nframe,BALL_x,BALL_y,BALL_z\n{rows}\n", encoding="utf-8")
    return file


@pytest.fixture
def setups(monkeypatch: pytest.MonkeyPatch) -> list[Setup]:
    """Every setup that the command hands to the builder of swings, which ends there."""
    seen: list[Setup] = []

    def spy(capture: Capture, hitter: Hitter, setup: Setup, calibration: Capture | None) -> NoReturn:  # noqa: ARG001
        seen.append(setup)
        raise InputError("far enough")

    monkeypatch.setattr("mocap.kinematics.build.build_swing", spy)
    return seen


def run(*arguments: object) -> str:
    """Standard error of a command that must end with status 2."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert result.exit_code == 2, result.output
    return result.stderr


@pytest.mark.parametrize(
    ("text", "metres_per_second"),
    [("88mph", 88 * 1609.344 / 3600), ("39m/s", 39.0), ("140km/h", 140 / 3.6), ("39.5 m/s", 39.5)],
)
def test_the_speed_carries_its_unit(swing_file: Path, setups: list[Setup], text: str, metres_per_second: float) -> None:
    run("measure", swing_file, *THROWN, "--pitch-speed", text)
    assert setups[0].pitch is not None
    assert setups[0].pitch.speed_m_s == pytest.approx(metres_per_second)
    assert (setups[0].pitch.release_height_m, setups[0].pitch.release_distance_m) == (1.8, 16.5)
    assert setups[0].sport == "baseball"


def test_sport_and_distance_by_name(swing_file: Path, setups: list[Setup]) -> None:
    run("measure", swing_file, *THROWN, "--sport", "softball", "--release-distance", "softball 43 ft")
    assert setups[0].sport == "softball"
    assert setups[0].pitch is not None
    # A softball is let go some two metres ahead of the pitcher's plate.
    assert 43 * 0.3048 - 2.2 < setups[0].pitch.release_distance_m < 43 * 0.3048 - 1.4


def test_options_go_before_the_session_key_by_key(swing_file: Path, setups: list[Setup]) -> None:
    (swing_file.parent / "session.toml").write_text(SESSION, encoding="utf-8")
    run("measure", swing_file)
    run("measure", swing_file, "--pitch-speed", "33m/s")
    run("measure", swing_file, "--pitch-angle", "-9")
    untouched, faster, told = setups
    assert (untouched.pitch, untouched.pitch_angle_deg) == (Pitch(30.0, 1.6, 14.0, 1500.0), -7.0)
    assert (faster.pitch, faster.pitch_angle_deg) == (Pitch(33.0, 1.6, 14.0, 1500.0), None)
    assert told.pitch_angle_deg == -9.0


def test_the_place_over_the_plate_goes_before_the_sessions(swing_file: Path, setups: list[Setup]) -> None:
    run("measure", swing_file)
    run("measure", swing_file, "--pitch-location", "inside")
    (swing_file.parent / "session.toml").write_text(SESSION + 'pitch_location = "away"\n', encoding="utf-8")
    run("measure", swing_file)
    run("measure", swing_file, "--pitch-location", "middle")
    assert [setup.pitch_location for setup in setups] == [None, "inside", "away", "middle"]


def test_an_unknown_place_over_the_plate_is_refused(swing_file: Path, setups: list[Setup]) -> None:
    stderr = run("measure", swing_file, "--pitch-location", "outside")
    assert all(word in stderr for word in ("--pitch-location", "outside", "inside", "middle", "away"))
    assert setups == []


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((*THROWN, "--pitch-speed", "88"), "--pitch-speed '88' is not a speed with its unit; give e.g. 88mph"),
        ((*THROWN, "--pitch-speed", "fast mph"), "--pitch-speed 'fast mph' is not a speed"),
        ((*THROWN, "--pitch-speed", "188mph"), "pitch: speed_m_s 84.0435 is outside 5 to 55"),
        ((*THROWN, "--pitch-speed", "nan m/s"), "pitch: speed_m_s nan is outside 5 to 55"),
        ((*THROWN, "--release-distance", "46 ft"), "pitching distance '46 ft' is not known; give 'adult 60 ft 6 in'"),
        ((*THROWN, "--release-distance", "54"), "pitch: release_distance_m 54 is outside 3 to 20"),
        ((*THROWN, "--release-height", "6"), "pitch: release_height_m 6 is outside"),
        ((*THROWN, "--pitch-angle", "-8"), "--pitch-angle is given, and also how the ball was thrown"),
        (("--pitch-speed", "88mph"), "told in part only; add --release-height and --release-distance"),
        (("--release-height", "1.8", "--release-distance", "16"), "told in part only; add --pitch-speed"),
    ],
)
def test_wrong_options_are_one_line(
    swing_file: Path, setups: list[Setup], arguments: tuple[str, ...], message: str
) -> None:
    stderr = run("measure", swing_file, *arguments)
    assert stderr.startswith("mocap: ")
    assert len(stderr.splitlines()) == 1
    assert message in stderr
    assert setups == []
