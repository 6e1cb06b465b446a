"""What an inspection says of a recording, and whether a swing can be measured from it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from mocap.capture import Capture, Event, ForcePlate
from mocap.errors import InputError
from mocap.kinematics.build import build_swing
from mocap.kinematics.inspection import inspect
from mocap.reference.posed import PosedSwing
from mocap.results import inspection_object
from mocap.tables import print_inspection


@pytest.fixture
def clean(posed: PosedSwing, make_capture: Callable[..., Capture]) -> Capture:
    return make_capture(posed.points, posed.rate_hz, noise_m=0.001)


def plate(force: np.ndarray) -> ForcePlate:
    """A plate of 0.4 m by 0.6 m, laid in the floor of a lab whose y points up."""
    corners = np.array([[0.4, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.6], [0.4, 0.0, 0.6]])
    along = np.outer(force, [0.0, 1.0, 0.0])
    nothing = np.zeros_like(along)
    return ForcePlate(2, corners, along, nothing, nothing, 1000.0)


def test_a_faultless_swing(clean: Capture) -> None:
    found = inspect(clean)
    assert found.measurable
    assert found.verdict == "a swing can be measured from it (body and bat; bats right)"
    assert (found.concerns, found.limits, found.swaps) == ((), (), ())
    assert (found.marker_set, found.bat) == ("joint centres", True)


def test_what_cleaning_repairs_is_said_and_is_no_limit(clean: Capture) -> None:
    points = clean.points.copy()
    points[100, clean.labels.index("L_WRIST")] += 0.08
    points[150:180, [clean.labels.index(label) for label in ("L_ANKLE", "R_ANKLE")]] = points[
        150:180, [clean.labels.index(label) for label in ("R_ANKLE", "L_ANKLE")]
    ]
    points[50:60, clean.labels.index("R_HEEL")] = np.nan
    found = inspect(replace(clean, points=points))
    assert (found.concerns, found.limits) == ((), ())
    repairs = {repair.label: repair for repair in found.repairs}
    assert (repairs["L_WRIST"].taken_out, repairs["L_WRIST"].by_spline) == (1, 1)
    assert (repairs["R_HEEL"].taken_out, repairs["R_HEEL"].by_spline, repairs["R_HEEL"].left_missing) == (0, 10, 0)
    assert found.cleaning == (
        "spikes taken out and treated as gaps: L_WRIST frame 100",
        "L_ANKLE and R_ANKLE exchanged in frames 150 to 179: exchanged back",
        "11 samples filled by a spline: R_HEEL frames 50 to 59, L_WRIST frame 100",
    )
    # The points and exchanges themselves are told as recorded.
    assert [jump.frame for q in found.points if q.label == "L_WRIST" for jump in q.jumps] == [100]
    assert [(swap.frame, swap.last_frame) for swap in found.swaps] == [(150, 179)]


def test_what_is_left_is_a_concern_and_a_limit(clean: Capture) -> None:
    points = clean.points.copy()
    points[100:, clean.labels.index("L_WRIST")] += 0.08
    points[50:90, clean.labels.index("R_ELBOW")] = np.nan
    found = inspect(replace(clean, points=points))
    assert found.measurable
    # A wrist that stays 8 cm off bends the fit, too.
    assert [concern.kind for concern in found.concerns if concern.kind != "body"] == ["jumps", "gap"]
    assert found.concerns[0].labels == ("L_WRIST",)
    assert "at frame 100 (0.42 s) and stays there" in found.concerns[0].text
    assert "40 frames (0.17 s)" in found.concerns[1].text
    assert found.limits == ("L_WRIST to be mended first", "R_ELBOW not seen all the time")
    assert "with limits: L_WRIST to be mended first" in found.verdict
    (elbow,) = (repair for repair in found.repairs if repair.label == "R_ELBOW")
    assert (elbow.left_missing, elbow.longest_left) == (40, 40)


def test_faults_of_points_that_nothing_is_measured_from_are_no_concern(clean: Capture) -> None:
    stray = np.random.default_rng(2).normal(0.0, 1.0, (clean.n_frames, 1, 3))
    points = np.concatenate([clean.points, stray], axis=1)
    more = Capture("more.c3d", (*clean.labels, "*1"), points, clean.rate_hz, np.zeros(points.shape[:2]))
    found = inspect(more)
    assert found.concerns == ()
    assert found.points[-1].jumps
    assert found.repairs[-1].taken_out == 0
    assert found.cleaning == ()


def test_no_swing_is_measured_from_exchanged_sides(clean: Capture) -> None:
    other = tuple({"L": "R", "R": "L"}[label[0]] + label[1:] if label[1] == "_" else label for label in clean.labels)
    found = inspect(replace(clean, labels=other))
    assert not found.measurable
    assert "correct the labels" in found.verdict
    with pytest.raises(InputError, match="look exchanged on the whole body"):
        build_swing(replace(clean, labels=other))
    assert "on the whole body" in found.verdict


def test_without_body_points_the_reason_is_given(clean: Capture) -> None:
    found = inspect(replace(clean, labels=tuple(f"P{i}" for i in range(len(clean.labels)))))
    assert not found.measurable
    assert found.marker_set == ""
    assert "none of its labels (P0, P1, P2, P3, ...) is a known body point" in found.verdict


def test_plates_are_measured_across_their_own_surface(clean: Capture) -> None:
    load = [0.0] * 60 + [500.0] * 30 + [812.0] * 10
    loads = [np.repeat(forces, 4 * clean.n_frames // 100) for forces in (load, [300.0] * 100, [1.0] * 100)]
    found = inspect(replace(clean, plates=tuple(plate(forces) for forces in loads)))
    first = found.plates[0]
    assert first.size_m == pytest.approx((0.4, 0.6))
    assert (first.peak_n, first.unloaded_share) == (pytest.approx(812.0), pytest.approx(0.6))
    assert [concern.text for concern in found.concerns if concern.kind == "plate"] == [
        "force plate 2 is never unloaded, so its zero cannot be seen",
        "force plate 3 is never loaded",
    ]


def test_a_slow_recording_says_what_that_means(posed: PosedSwing, make_capture: Callable[..., Capture]) -> None:
    found = inspect(make_capture(posed.points[::5], posed.rate_hz / 5))
    assert ["48 Hz is slow" in concern.text for concern in found.concerns if concern.kind == "rate"] == [True]


def test_json_has_every_documented_key_and_no_nan(clean: Capture) -> None:
    points = clean.points.copy()
    points[:, 3] = np.nan
    full = replace(
        clean,
        points=points,
        plates=(plate(np.linspace(0.0, 9.0, clean.n_frames)),),
        events=(Event("Plant", "Left", 0.5),),
    )
    written = json.loads(json.dumps(inspection_object(inspect(full)), allow_nan=False))
    documented = inspection_object.__doc__ or ""
    for key in written:
        assert f"`{key}`" in documented
    assert written["points"][3]["left_missing"] == clean.n_frames
    for part in ("points", "plates", "concerns", "analog", "events"):
        first = written[part][0] if isinstance(written[part], list) else written[part]
        assert [key for key in first if f"`{key}`" not in documented] == []


@pytest.mark.parametrize("faulty", [False, True])
def test_it_is_printed_within_80_columns(
    clean: Capture, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, faulty: bool
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    points = clean.points.copy()
    if faulty:
        for k in range(20):
            points[40 + 5 * k :, k] += 0.2
            points[150:200, k] = np.nan
    notes = ("numbers have decimal commas (first in line 7); read as decimal points",)
    print_inspection(inspect(replace(clean, points=points, notes=notes, source="swing [a].trc")))
    printed = capsys.readouterr().out
    assert max(len(line) for line in printed.splitlines()) <= 80
    assert "swing [a].trc" in printed
    assert "decimal commas" in printed
    assert ("Worth a look" in printed) == faulty
    assert ("Cleaned before measuring" in printed) == faulty
    assert ("50 left" in printed) == faulty
    assert ("more points have gaps or jumps" in printed) == faulty
