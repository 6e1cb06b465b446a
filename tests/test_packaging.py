"""What a user installs: the wheel is complete, the versions agree, the public names exist and starting is light."""

from __future__ import annotations

import importlib
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest

HEAVY = ("scipy", "pyvista", "vtk", "vtkmodules", "trimesh", "imageio", "PIL")


@pytest.fixture(scope="module")
def project(project_root: Path) -> dict[str, Any]:
    return tomllib.loads((project_root / "pyproject.toml").read_text(encoding="utf-8"))["project"]


@pytest.fixture(scope="module")
def wheel(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    finished = subprocess.run(command, cwd=project_root, capture_output=True, encoding="utf-8", timeout=120)
    assert finished.returncode == 0, finished.stderr
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel unpacked, which is all that installing a pure Python wheel does to the package's own files."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def run_python(code: str, *, path: Path, cwd: Path) -> str:
    """Standard output of a fresh interpreter that finds the package in `path`, before anything installed."""
    finished = subprocess.run(
        [sys.executable, "-c", code],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(path)},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
    )
    assert finished.returncode == 0, finished.stderr
    return finished.stdout


def files_below(folder: Path) -> set[str]:
    """Paths relative to the checkout, without what the interpreter leaves behind."""
    paths = (path for path in folder.rglob("*") if path.is_file() and path.parent.name != "__pycache__")
    return {path.relative_to(folder.parent).as_posix() for path in paths}


def test_wheel_carries_the_whole_package_and_every_asset(wheel: Path, project_root: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        in_wheel = {name for name in archive.namelist() if ".dist-info/" not in name}
    # The README's pictures are no part of the program.
    assets = {name for name in files_below(project_root / "assets") if not name.startswith("assets/pictures/")}
    assert assets
    assert in_wheel == files_below(project_root / "mocap") | {f"mocap/{name}" for name in assets}


def test_wheel_states_licences_and_command(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        texts = {name.split(".dist-info/")[1]: name for name in archive.namelist() if ".dist-info/" in name}
        entry_points = archive.read(texts["entry_points.txt"]).decode()
        licence = archive.read(texts["licenses/LICENSE"]).decode()
    assert "mocap = mocap.cli:main" in entry_points
    assert licence.startswith("BSD 3-Clause License")
    assert any(name.startswith("licenses/assets/fonts/") for name in texts)


def test_installed_wheel_finds_its_assets_without_the_checkout(installed: Path, tmp_path: Path) -> None:
    code = "import mocap.assets; print(mocap.assets.__file__); print(mocap.assets.asset('tables'))"
    module, folder = (Path(line) for line in run_python(code, path=installed, cwd=tmp_path).splitlines())
    assert module.is_relative_to(installed.resolve())
    assert folder == installed.resolve() / "mocap" / "assets" / "tables"


def test_version_is_the_same_everywhere(project: dict[str, Any], project_root: Path) -> None:
    changelog = (project_root / "CHANGELOG.md").read_text(encoding="utf-8")
    newest = re.search(r"^## (\d+\.\d+\.\d+)", changelog, flags=re.MULTILINE)
    assert newest is not None
    assert newest[1] == project["version"]
    assert importlib.import_module("mocap").__version__ == project["version"]


def test_public_names_are_sorted_and_exist() -> None:
    mocap = importlib.import_module("mocap")
    names = mocap.__all__
    assert names == sorted(set(names))
    assert [name for name in names if not hasattr(mocap, name)] == []
    assert set(names) <= set(dir(mocap))


@pytest.mark.parametrize(
    "start",
    [
        pytest.param("import mocap", id="import"),
        pytest.param("from mocap.cli import main; main(['--help'], standalone_mode=False)", id="help"),
    ],
)
def test_starting_imports_nothing_heavy(start: str, project_root: Path, tmp_path: Path) -> None:
    code = f"{start}\nimport sys\nprint('LOADED', *sorted({{name.split('.')[0] for name in sys.modules}}))"
    loaded = run_python(code, path=project_root, cwd=tmp_path).splitlines()[-1].split()
    assert loaded[0] == "LOADED"
    assert "mocap" in loaded
    assert set(loaded).isdisjoint(HEAVY)
