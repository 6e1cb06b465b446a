from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.errors import InputError
from mocap.reference.align import ANCHORS, synchronised_times
from mocap.reference.compare import POSE, with_pose_distance
from mocap.reference.model import Reference
from mocap.swing import POINTS

SETUP = mocap.Setup(pitcher=(1, 0, 0), plate=(0, 0, 0))


@pytest.fixture(scope="module")
def swing(posed, make_capture) -> mocap.Swing:
    return mocap.build_swing(make_capture(posed.points, posed.rate_hz), mocap.Hitter(height_m=1.80), SETUP)


def reference_from(swing: mocap.Swing, scale: float = 1.0) -> Reference:
    """A reference that is the hitter himself, at unit height."""
    times = {n: m.index / swing.rate_hz for n, m in swing.moments.items() if m.index is not None}
    return Reference("self", "", swing.rate_hz, swing.points / swing.height_m * scale, times)


def test_a_hitter_lies_exactly_over_himself(swing: mocap.Swing) -> None:
    comparison = mocap.compare(swing, reference_from(swing))
    assert comparison.rms_m == pytest.approx(0.0, abs=1e-9)
    assert np.nanmax(comparison.distances) < 1e-9


def test_the_reference_scales_to_any_height(swing: mocap.Swing, posed, make_capture) -> None:
    grown = posed.points * (1.20 / 1.80)
    child = mocap.build_swing(make_capture(grown, posed.rate_hz), mocap.Hitter(height_m=1.20), SETUP)
    comparison = mocap.compare(child, reference_from(swing))
    # Thresholds in metres per second find a child's moments a frame or so apart from the adult's.
    assert comparison.rms_m < 0.006
    front = comparison.reference_points[:, POINTS.index("front_hip")]
    knee = comparison.reference_points[:, POINTS.index("front_knee")]
    thigh = np.linalg.norm(swing["front_hip"] - swing["front_knee"], axis=1).mean()
    assert np.linalg.norm(front - knee, axis=1).mean() == pytest.approx(thigh * 1.20 / 1.80, rel=5e-3)


def test_feet_are_laid_over_each_other_at_plant(swing: mocap.Swing) -> None:
    comparison = mocap.compare(swing, mocap.load_reference())
    plant = swing.index("plant")
    feet = [POINTS.index("front_ankle"), POINTS.index("back_ankle")]
    middle = comparison.reference_points[plant, feet, :2].mean(axis=0)
    assert middle == pytest.approx(swing.points[plant, feet, :2].mean(axis=0), abs=1e-9)


def test_a_hidden_ankle_at_plant_is_refused(swing: mocap.Swing) -> None:
    points = swing.points.copy()
    points[swing.index("plant"), POINTS.index("front_ankle")] = np.nan
    with pytest.raises(InputError, match="an ankle is not seen at foot-plant"):
        mocap.compare(replace(swing, points=points), mocap.load_reference())


def test_a_known_difference_is_found_and_put_into_words(swing: mocap.Swing) -> None:
    reference = reference_from(swing)
    points = reference.points.copy()
    moved = POINTS.index("back_elbow")
    points[:, moved] += np.array([0.10, 0.0, -0.06]) / swing.height_m
    moved_reference = Reference("moved", "", reference.rate_hz, points, reference.moments)
    comparison = mocap.compare(swing, moved_reference)
    greatest = comparison.differences[0]
    assert greatest.joint == "back_elbow"
    assert greatest.distance_m == pytest.approx(np.hypot(0.10, 0.06), abs=1e-3)
    # The hitter's elbow is 10 cm nearer to the catcher and 6 cm higher than the reference's.
    assert greatest.words == "back elbow 10 cm toward the catcher, 6 cm higher (6.5 % of height)"
    assert comparison.rms_m == pytest.approx(np.sqrt((0.10**2 + 0.06**2) / len(POSE)), abs=1e-3)
    inches = mocap.compare(swing, moved_reference, units="imperial").differences[0]
    assert inches.words.startswith("back elbow 3.9 in toward the catcher, 2.4 in higher")


def test_moments_are_synchronised_not_the_clock(swing: mocap.Swing) -> None:
    own = {n: swing.index(n) for n in ANCHORS}
    slower = {n: 1.7 * index / swing.rate_hz + 0.3 for n, index in own.items()}
    frames = np.arange(swing.n_frames)
    mapped = synchronised_times(swing.moments, slower, frames, swing.rate_hz)
    assert (np.diff(mapped) > 0).all()
    for name in ANCHORS:
        assert mapped[own[name]] == pytest.approx(slower[name], abs=1e-9)
    # Outside the moments the clock keeps its own pace.
    assert np.diff(mapped[: own["stance"]]) == pytest.approx(1 / swing.rate_hz)


def test_the_findings_carry_the_distance_and_its_check(swing: mocap.Swing) -> None:
    comparison = mocap.compare(swing, mocap.load_reference())
    findings = with_pose_distance(mocap.measure(swing), comparison)
    assert findings.measures["pose_distance"].value == comparison.rms_m
    assert findings.measures["greatest_difference"].value == comparison.differences[0].words
    assert "pose_distance" in {check.measure for check in findings.checks}


def test_the_standard_reference_is_usable() -> None:
    reference = mocap.load_reference()
    assert reference.points.shape[1:] == (len(POINTS), 3)
    assert np.isfinite(reference.points).all()
    # At unit height a hitter in his stance is a little shorter than one.
    assert 0.75 < reference.points[0, POINTS.index("head_top"), 2] < 1.0
    order = [reference.moments[name] for name in ANCHORS]
    assert order == sorted(order)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda table: table.pop("moments"), "not a reference model"),
        (lambda table: table.update(points=[[1, 2], [3, 4]]), "expected"),
        (lambda table: table.update(moments={"contact": 1.0}), "no 'plant'"),
    ],
)
def test_broken_reference_files_are_refused(tmp_path: Path, project_root: Path, change, message: str) -> None:
    table = json.loads((project_root / "assets" / "reference" / "standard.json").read_text(encoding="utf-8"))
    change(table)
    file = tmp_path / "mine.json"
    file.write_text(json.dumps(table), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        mocap.load_reference(file)


def test_unknown_references_are_named() -> None:
    with pytest.raises(InputError, match="known are standard"):
        mocap.load_reference("champion")
    with pytest.raises(InputError, match="no such reference file"):
        mocap.load_reference("nowhere.json")
