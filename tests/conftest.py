"""What all tests share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from mocap.capture import Capture
from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.swing import POINTS

ROOT = Path(__file__).resolve().parent.parent
CaptureMaker = Callable[..., Capture]


@pytest.fixture(scope="session")
def project_root() -> Path:
    """The checkout: the folder of pyproject.toml."""
    return ROOT


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Real recordings that lie beside the checkout and are never part of it; without them their tests are skipped."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("real recordings are not at hand: no folder ../shared/data beside the project")
    return folder


@pytest.fixture(scope="session")
def posed() -> PosedSwing:
    """A sound right-handed swing of a 1.80 m hitter whose moments are known exactly, 240 Hz."""
    return pose_swing(SwingParameters(height_m=1.80), 240.0)


@pytest.fixture(scope="session")
def make_capture() -> CaptureMaker:
    """Make a recording of joint-centre points from paths in the hitting frame."""

    def make(
        points: np.ndarray,
        rate_hz: float,
        *,
        bats: str = "right",
        leave_out: tuple[str, ...] = (),
        lab_from_hitting: np.ndarray | None = None,
        noise_m: float = 0.0,
    ) -> Capture:
        front, back = ("L", "R") if bats == "right" else ("R", "L")
        labels = [name.upper().replace("FRONT_", f"{front}_").replace("BACK_", f"{back}_") for name in POINTS]
        keep = [i for i, name in enumerate(POINTS) if not any(part in name for part in leave_out)]
        moved = points * np.array([1.0, 1.0 if bats == "right" else -1.0, 1.0])
        if lab_from_hitting is not None:
            moved = moved @ lab_from_hitting[:3, :3].T + lab_from_hitting[:3, 3]
        moved = moved + np.random.default_rng(7).normal(0.0, 1.0, moved.shape) * noise_m
        return Capture(
            source="posed.c3d",
            labels=tuple(labels[i] for i in keep),
            points=moved[:, keep],
            rate_hz=rate_hz,
            residuals=np.zeros((len(points), len(keep))),
        )

    return make
