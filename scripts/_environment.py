"""The project's own virtual environment, for demo.py and test.py: made once, used again while nothing changed.

Needs nothing but Python's standard library, and is written so that an older Python can still read it and be told that
it is too old.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = (3, 11)

_FOLDER = ROOT / ".venv"
_STAMP = _FOLDER / "mocap-setup.json"
_BIN = _FOLDER / ("Scripts" if os.name == "nt" else "bin")
PYTHON = _BIN / ("python.exe" if os.name == "nt" else "python")
COMMAND = _BIN / ("mocap.exe" if os.name == "nt" else "mocap")

# The least that lets VTK's wheel draw off-screen on a bare Debian 12 (VTK 9.6 and 9.7).
_DEBIAN_PACKAGES = ("libegl1", "libgl1-mesa-dri")

_NO_PIP = "this Python has no pip; install it (on Debian and Ubuntu: sudo apt-get install python3-venv)"

# Asks the package itself, in a process of its own since a broken driver can take the process down. An error of another
# kind is for the commands and the tests to show.
_DRAWING_CHECK = """
import sys
from mocap.errors import RenderError
from mocap.renderer.layers import check_can_draw
try:
    check_can_draw()
except RenderError as error:
    print(error)
    sys.exit(3)
"""


class SetupError(Exception):
    """The environment cannot be made, or cannot draw; the message is one line that says what to do."""


def prepare(extras: tuple[str, ...] = ()) -> None:
    """Make or refresh the environment in `.venv`, with the package installed in it, and see that it can draw.

    Parameters
    ----------
    extras : tuple of str
        Optional dependencies to install beside the package, by their names in pyproject.toml.

    Raises
    ------
    SetupError
        This Python is too old, pip failed, or there is no OpenGL library.
    """
    if sys.version_info[:2] < OLDEST_PYTHON:
        raise SetupError(
            "Python {}.{} or newer is needed, this is {}; start the script with a newer one".format(
                *OLDEST_PYTHON, sys.version.split()[0]
            )
        )
    stamp = _read_stamp()
    made_for = f"Python {sys.version_info[0]}.{sys.version_info[1]}, {ROOT}"
    project = hashlib.sha256((ROOT / "pyproject.toml").read_text(encoding="utf-8").encode()).hexdigest()
    # A folder without a stamp is somebody's own environment, or a first run that was stopped: good if it works.
    if stamp.get("made_for", made_for) != made_for or not _works():
        _create()
        stamp = {}
    installed = stamp.get("extras", "").split()
    if stamp.get("project") != project or not set(extras).issubset(installed):
        wanted = sorted({*installed, *extras})
        _install(wanted)
        stamp = {"made_for": made_for, "project": project, "extras": " ".join(wanted)}
        _STAMP.write_text(json.dumps(stamp), encoding="utf-8")
    _ensure_drawing()


def run(*command: str | Path) -> int:
    """Run a command in the project's folder, its output straight to the terminal; returns its exit status."""
    sys.stdout.flush()
    parts = [str(part) for part in command]
    return subprocess.run(parts, cwd=ROOT, env=_environment_variables(), check=False).returncode


def _environment_variables() -> dict[str, str]:
    """The user's own, without those that would lead Python or pip out of the environment."""
    variables = {name: value for name, value in os.environ.items() if name not in {"PYTHONPATH", "PYTHONHOME"}}
    return {**variables, "PYTHONUTF8": "1", "PIP_USER": "0", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}


def _succeeds(*command: str | Path) -> bool:
    try:
        finished = subprocess.run(
            [str(part) for part in command],
            env=_environment_variables(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=300,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return finished.returncode == 0


def _read_stamp() -> dict[str, str]:
    """What the environment was made from; empty if there is none or it was never finished."""
    try:
        stamp: dict[str, str] = json.loads(_STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp


def _works() -> bool:
    return _succeeds(PYTHON, "-c", f"import sys; sys.exit(sys.version_info < {OLDEST_PYTHON})")


def _create() -> None:
    """An empty environment; where Python comes without ensurepip (Debian), the pip beside it does the installing."""
    options = ["--clear"]
    if importlib.util.find_spec("ensurepip") is None:
        if not _succeeds(sys.executable, "-m", "pip", "--version"):
            raise SetupError(_NO_PIP)
        options.append("--without-pip")
    _watch("Making a virtual environment in .venv", [sys.executable, "-m", "venv", *options, str(_FOLDER)])


def _pip() -> list[str]:
    """How to call a pip that installs into the environment: its own, or that of the Python running this."""
    for pip in ([str(PYTHON), "-m", "pip"], [sys.executable, "-m", "pip", "--python", str(PYTHON)]):
        if _succeeds(*pip, "--version"):
            return pip
    raise SetupError(_NO_PIP)


def _install(extras: list[str]) -> None:
    package = f".[{','.join(extras)}]" if extras else "."
    # Byte-compiling every module of every dependency would double the time; Python does it for those that are used.
    options = ["--quiet", "--no-input", "--no-compile", "--prefer-binary"]
    doing = "Installing the package and what it needs (hundreds of MB the first time)"
    _watch(doing, [*_pip(), "install", *options, "--editable", package])


def _watch(doing: str, command: list[str], **variables: str) -> None:
    """Run a command quietly under one line of progress; on failure print all that it said."""
    start = time.monotonic()
    print(f"{doing} ... ", end="", flush=True)
    try:
        finished = subprocess.run(
            command,
            cwd=ROOT,
            env={**_environment_variables(), **variables},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
            check=False,
        )
    except OSError as error:
        print("failed", flush=True)
        raise SetupError(f"{command[0]} cannot be started: {error}") from error
    if finished.returncode != 0:
        print("failed", flush=True)
        print(finished.stdout, file=sys.stderr, flush=True)
        raise SetupError("that failed, for the reason above; mend it and run the script again")
    print(f"{time.monotonic() - start:.0f} s", flush=True)


def _why_no_drawing() -> str | None:
    """What the package says when it cannot draw on this machine; None where it can."""
    command = [str(PYTHON), "-c", _DRAWING_CHECK]
    finished = subprocess.run(command, env=_environment_variables(), capture_output=True, encoding="utf-8", check=False)
    if finished.returncode in (0, 1):
        return None
    return finished.stdout.strip() or "drawing crashes on this machine; see to its OpenGL driver"


def _ensure_drawing() -> None:
    reason = _why_no_drawing()
    if reason is None:
        return
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("apt-get") is None:
        raise SetupError(reason)
    packages = " ".join(_DEBIAN_PACKAGES)
    print(f"No OpenGL library on this machine: the system packages {packages} are needed.", flush=True)
    _watch("Reading the list of system packages", ["apt-get", "update"])
    install = ["apt-get", "install", "--yes", "--no-install-recommends", *_DEBIAN_PACKAGES]
    _watch(f"Installing {packages}", install, DEBIAN_FRONTEND="noninteractive")
    reason = _why_no_drawing()
    if reason is not None:
        raise SetupError(reason)
