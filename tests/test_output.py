"""Nothing is left half done, whoever ends the program."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from mocap.output import ending_tidily, replacing

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a process there is ended without being asked")

#: Makes a temporary file, says so, and waits to be ended.
PROGRAM = """
import sys, time
from pathlib import Path
from mocap.output import ending_tidily, replacing
with ending_tidily(), replacing(Path(sys.argv[1])) as temporary:
    temporary.write_text("half")
    print("ready", flush=True)
    time.sleep(60)
"""


def test_a_process_that_is_asked_to_end_leaves_no_temporary_file(tmp_path: Path) -> None:
    target = tmp_path / "film.mp4"
    target.write_text("older")
    with subprocess.Popen([sys.executable, "-c", PROGRAM, str(target)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        assert len(list(tmp_path.iterdir())) == 2
        process.terminate()
        assert process.wait(30) == 128 + signal.SIGTERM
    assert [path.name for path in tmp_path.iterdir()] == ["film.mp4"]
    assert target.read_text() == "older"


def test_a_film_command_that_is_asked_to_end_leaves_no_temporary_file(tmp_path: Path, project_root: Path) -> None:
    swing = project_root / "demo_sessions" / "first_session" / "swing_01.c3d"
    command = [sys.executable, "-m", "mocap", "film", str(swing), "--out", str(tmp_path / "film.mp4")]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as process:
        while process.poll() is None and not list(tmp_path.iterdir()):
            time.sleep(0.05)
        if process.poll() is None:
            process.terminate()
        assert process.stderr is not None
        said = process.stderr.read()
        code = process.wait(60)
    if code == 2 and "cannot draw" in said:
        pytest.skip(said)
    assert code == 128 + signal.SIGTERM, said
    assert list(tmp_path.iterdir()) == []


def test_somebody_elses_handler_is_kept(tmp_path: Path) -> None:
    heard: list[int] = []
    before = signal.signal(signal.SIGTERM, lambda number, _: heard.append(number))
    try:
        with ending_tidily(), replacing(tmp_path / "a.txt") as temporary:
            temporary.write_text("whole")
            os.kill(os.getpid(), signal.SIGTERM)
        assert heard == [signal.SIGTERM]
        assert (tmp_path / "a.txt").read_text() == "whole"
    finally:
        signal.signal(signal.SIGTERM, before)
    if before is signal.SIG_DFL:
        with ending_tidily():
            assert signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
        assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
