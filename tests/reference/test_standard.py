from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from mocap.reference.model import load_reference
from mocap.swing import MOMENTS, POINTS


def script(root: Path, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, root / "scripts" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_stored_model_is_what_its_script_makes(project_root: Path) -> None:
    path = project_root / "assets" / "reference" / "standard.json"
    stored = json.loads(path.read_text(encoding="utf-8"))
    made = script(project_root, "make_reference").standard_model()
    assert stored.keys() == made.keys()
    # Rounded to five decimals, the last of which may fall either way on another machine.
    assert np.array(stored.pop("points")) == pytest.approx(np.array(made.pop("points")), abs=1.1e-5)
    assert stored.pop("moments") == pytest.approx(made.pop("moments"), abs=1.1e-5)
    assert stored == made
    assert path.stat().st_size < 400_000


def test_the_model_is_a_body_of_unit_height_with_the_feet_at_the_origin() -> None:
    reference = load_reference()
    assert set(reference.moments) == set(MOMENTS)
    plant = reference.at(np.array([reference.moments["plant"]]))[0]
    ankles = plant[[POINTS.index("front_ankle"), POINTS.index("back_ankle")]]
    assert ankles[:, :2].mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-5)
    assert ankles[0, 0] > 0.15
    stance = reference.at(np.array([reference.moments["stance"]]))[0]
    assert 0.80 < stance[POINTS.index("head_top"), 2] < 1.0
