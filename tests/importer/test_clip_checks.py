"""Clips that belong together are taken, others are not: a small part of `scripts/accuracy_clip_checks.py`."""

from __future__ import annotations

import importlib
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mocap.importer.clip_checks import check_together
from mocap.virtual.cameras import Clock

#: What the line on each fault says.
WORDS = {
    "unsynchronised": "the clips are not synchronised",
    "exchanged": "with the two files of points exchanged; exchange them",
    "mirrored_picture": "mirrored; film it without the mirror",
    "exchanged_sides": "left and right of its body exchanged",
    "knocked": "moved at about|not synchronised",
    "moved_before": "calibrate again",
    "another_person": "different swings or different people|exchanged",
    "another_swing": "different swings|calibrate again",
    "another_size": "of its points lie outside camera second's picture of 1280 x 720 px",
    "upside_down": "m under the floor",
}


@pytest.fixture(scope="module")
def study(project_root: Path) -> Any:
    sys.path.insert(0, str(project_root / "scripts"))
    try:
        return importlib.import_module("accuracy_clip_checks")
    finally:
        sys.path.pop(0)


@pytest.fixture(scope="module")
def clips(study: Any) -> list[Any]:
    return [study.good(np.random.default_rng([2, number]), number) for number in range(4)]


def test_good_clips_are_taken(study: Any, clips: list[Any]) -> None:
    assert [study.verdict(own) for own in clips] == [("taken", "")] * len(clips)


@pytest.mark.slow
@pytest.mark.parametrize("fault", WORDS)
def test_each_fault_is_told_in_one_line(study: Any, clips: list[Any], fault: str) -> None:
    wrong = study.FAULTS[fault](clips[0], np.random.default_rng(3))
    verdict, line = study.verdict(wrong)
    assert verdict in ("refused", "warned")
    assert "\n" not in line
    assert any(words in line for words in WORDS[fault].split("|")), line


def test_a_frame_between_the_clocks_is_refused_and_a_twentieth_is_not(study: Any, clips: list[Any]) -> None:
    own = clips[1]
    frame = 1.0 / min(camera.rate_hz for camera in own.cameras)

    def late(by_s: float) -> tuple[str, str]:
        return study.verdict(study._second(own, study._found(own, 1, np.random.default_rng(4), Clock(start_s=by_s))))

    assert late(0.05 * frame) == ("taken", "")
    verdict, line = late(frame)
    assert verdict == "refused"
    told = re.search(r"with the second (\d+) ms later; run mocap sync first", line)
    assert told is not None
    assert float(told[1]) == pytest.approx(1e3 * frame, abs=1.0)


def test_rays_that_fit_badly_are_told_with_what_they_fit_to(clips: list[Any]) -> None:
    own = clips[2]
    (note,) = check_together(own.cameras, own.keypoints, noise_px=own.noise_px / 2.5)
    assert "times what the stated noise explains; calibrate again, or state more noise" in note
