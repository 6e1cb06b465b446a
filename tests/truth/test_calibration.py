"""Whether the stated intervals hold, moments are found and verdicts are right under all the errors of a lab at once.

A small part of `scripts/accuracy.py`, whose full run stands in DEVELOPERS.md.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from mocap.virtual.flaws import FLAWS

#: So many hitters; the bounds below are those of the full run widened to what a sample of this size allows.
HITTERS = 14


@pytest.fixture(scope="module")
def accuracy(project_root: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("accuracy", project_root / "scripts" / "accuracy.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["accuracy"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def tally(accuracy: ModuleType) -> Any:
    whole = accuracy.Tally()
    for number in range(HITTERS):
        whole.join(accuracy.one(number, seed=11, rate_hz=240.0, noise_m=0.001, with_plates=True))
    return whole


def test_every_hitter_can_be_measured(tally: Any) -> None:
    assert tally.failed == []


def test_intervals_hold_as_often_as_they_say(tally: Any) -> None:
    held = {name: share for name, _, _, _, _, share, _ in tally.rows() if not name.startswith("moment")}
    assert 0.92 <= np.mean(list(held.values())) <= 0.99
    # Of 14 samples at 95 % fewer than 10 hold once in 1000 times.
    assert min(held.values()) >= 10 / HITTERS


def test_intervals_are_not_merely_wide(tally: Any) -> None:
    wide = [ratio for name, _, _, best, _, _, ratio in tally.rows() if best > 0.0 and not name.startswith("moment")]
    assert np.median(wide) < 1.5


@pytest.mark.parametrize("moment", ["plant", "contact"])
def test_landing_and_contact_are_found_within_a_frame(tally: Any, moment: str) -> None:
    off = np.abs(tally.errors[f"moment {moment}"])
    assert len(off) == HITTERS
    assert np.mean(off <= 1.0 / 240.0) >= 0.95


def test_no_verdict_is_confidently_wrong(tally: Any) -> None:
    sure = {
        key: n for key, n in tally.verdicts.items() if key[2] in ("good", "near", "off") and key[1] != "not measurable"
    }
    wrong = sum(number for (_, truth, verdict), number in sure.items() if truth != verdict)
    assert wrong <= 0.01 * sum(sure.values())


def test_every_fault_is_planted_somewhere(accuracy: ModuleType) -> None:
    assert set(accuracy.PLANTED) == set(FLAWS)


@pytest.mark.parametrize("flaw", sorted(FLAWS))
def test_a_planted_fault_is_called_off(accuracy: ModuleType, flaw: str) -> None:
    # An adult; of some faults a youth, too.
    for number in (0, 2) if flaw in ("front_leg_gives", "long_path", "opens_early") else (0,):
        verdicts = accuracy.one(number, seed=3, rate_hz=240.0, noise_m=0.001, with_plates=True, flaw=flaw).verdicts
        assert verdicts[f"planted {flaw}", "off", "off"] == 1


def test_a_sound_hitter_is_not_called_off(accuracy: ModuleType) -> None:
    for number in range(3):
        tally = accuracy.one(number, seed=3, rate_hz=240.0, noise_m=0.001, with_plates=True, flaw="none")
        assert {key for key in tally.verdicts if key[2] in ("near", "off")} == set()


def test_without_plates_the_landing_is_the_plates_own(accuracy: ModuleType) -> None:
    off = []
    for number in range(6):
        found = accuracy.one(number, seed=11, rate_hz=240.0, noise_m=0.001, with_plates=False)
        off += found.errors["moment plant"]
    assert abs(np.mean(off)) < 0.004
    assert np.max(np.abs(off)) < 0.016
