"""Printed values of hitters, and swings whose points are set by hand."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from mocap.reference.posed import PosedSwing
from mocap.swing import MOMENTS, POINTS, Hitter, Moment, Setup, Swing

#: One standard deviation as share of the mean where none is printed. The turning speeds of the 129 hitters of
#: ``published_hitters.toml`` spread by 13 to 16 %.
WITHOUT_SD = 0.15


@dataclass(frozen=True)
class Published:
    """A printed mean.

    Attributes
    ----------
    mean : float
    sd : float or None
        None: not printed.
    n : int
    unit : str
    source : str
    """

    mean: float
    sd: float | None
    n: int
    unit: str
    source: str

    @property
    def low(self) -> float:
        """Two standard deviations below the mean; where no SD is published, two of `WITHOUT_SD`."""
        return self.mean - 2 * self._one

    @property
    def high(self) -> float:
        """Two standard deviations above the mean; where no SD is published, two of `WITHOUT_SD`."""
        return self.mean + 2 * self._one

    @property
    def _one(self) -> float:
        return self.mean * WITHOUT_SD if self.sd is None else self.sd


PublishedTable = Mapping[tuple[str, str], Published]


@pytest.fixture(scope="session")
def published_rows() -> dict[str, object]:
    """The table as it is written."""
    text = (Path(__file__).parent / "published_hitters.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@pytest.fixture(scope="session")
def published(published_rows: dict) -> PublishedTable:
    """(quantity, level) -> what was printed."""
    sources = published_rows["sources"]
    return MappingProxyType(
        {
            (row["quantity"], row["level"]): Published(
                row["mean"], row.get("sd"), row["n"], row["unit"], sources[row["source"]]
            )
            for row in published_rows["values"]
        }
    )


SwingMaker = Callable[..., Swing]


@pytest.fixture(scope="session")
def body_at_contact(posed: PosedSwing) -> np.ndarray:
    """Every point of a sound hitter at contact, shape (P, 3). [m]"""
    return posed.points[round(posed.moments["contact"] * posed.rate_hz)]


@pytest.fixture(scope="session")
def swing_by_hand() -> SwingMaker:
    """Make a swing without any error from paths, segments' axes and the frames of the moments."""

    def make(
        points: np.ndarray,
        rate_hz: float,
        moments: Mapping[str, int],
        *,
        setup: Setup | None = None,
        frames: Mapping[str, np.ndarray] | None = None,
    ) -> Swing:
        count = len(points)
        found = {
            name: Moment(name, moments[name], moments[name] / rate_hz, 0.0, "set by hand")
            if name in moments
            else Moment(name, None, None, None, "", "not set")
            for name in MOMENTS
        }
        return Swing(
            source="by hand",
            hitter=Hitter(height_m=1.80, mass_kg=80.0, bats="right"),
            height_sd_m=0.0,
            setup=setup if setup is not None else Setup(pitch_angle_deg=-8.0),
            rate_hz=rate_hz,
            points=points,
            point_sd_m=np.zeros(len(POINTS)),
            noise_m=np.zeros(len(POINTS)),
            cutoff_hz=np.full(len(POINTS), 0.2 * rate_hz),
            filled=np.zeros(points.shape[:2], dtype=bool),
            frames=dict(frames or {}),
            com=points[:, POINTS.index("pelvis")].copy(),
            head_forward=np.full((count, 3), np.nan),
            moments=found,
            forces=None,
            heading_method="given",
            heading_sd_rad=0.0,
            plate_known=True,
            lab_from_hitting=np.eye(4),
        )

    return make
