"""Knob and barrel from the markers on a bat's handle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import InputError
from mocap.kinematics.bat_points import bat_points, calibrate_handle
from mocap.kinematics.own_marker_set import own_marker_set
from mocap.swing import BodyModel

Markers = dict[str, np.ndarray]
Maker = Callable[..., Capture]
#: Places of the handle's markers along and beside the bat's axis. [m]
HANDLE = {
    "BATH1": (0.10, 0.03, 0.0),
    "BATH2": (0.14, 0.0, 0.03),
    "BATH3": (0.20, -0.03, 0.0),
    "BATH4": (0.24, 0.0, -0.03),
}


@pytest.fixture(scope="module")
def marked(truth: Markers) -> Markers:
    """Knob, barrel and a cluster on the handle of a swung bat; some turn about its axis comes with the swing."""
    knob, barrel = truth["bat_knob"], truth["bat_barrel"]
    axis = (barrel - knob) / np.linalg.norm(barrel - knob, axis=1, keepdims=True)
    beside = np.cross(axis, truth["r_shoulder"] - truth["l_shoulder"])
    beside = beside / np.linalg.norm(beside, axis=1, keepdims=True)
    third = np.cross(axis, beside)
    cluster = {label: knob + a * axis + b * beside + c * third for label, (a, b, c) in HANDLE.items()}
    return {"BAT_KNOB": knob, "BAT_BARREL": barrel, **cluster}


def write_set(folder: Path, capture: Capture) -> Path:
    path = folder / "bat.toml"
    table = calibrate_handle(capture)
    rows = [
        ("knob", table.knob_m),
        ("barrel", table.barrel_m),
        ("", None),
        *zip(table.labels, table.local_m, strict=True),
    ]
    lines = [f"{key} = {[round(float(v), 5) for v in place]}" if key else "[handle.markers]" for key, place in rows]
    path.write_text("\n".join(['base = "joint_centres"', "[handle]", *lines]) + "\n", encoding="utf-8")
    return path


def test_a_static_trial_calibrates_the_handle_for_another(marked: Markers, as_capture: Maker, tmp_path: Path) -> None:
    static = as_capture({label: path[:20] for label, path in marked.items()})
    table = calibrate_handle(static)
    assert table.labels == tuple(HANDLE)
    assert np.linalg.norm(table.barrel_m - table.knob_m) == pytest.approx(
        np.linalg.norm(marked["BAT_BARREL"][0] - marked["BAT_KNOB"][0])
    )
    swing = as_capture({label: path[100:] for label, path in marked.items() if label in HANDLE})
    found = bat_points(swing, own_marker_set(write_set(tmp_path, static)))
    assert found.centres["bat_knob"] == pytest.approx(marked["BAT_KNOB"][100:], abs=2e-5)  # written to 0.01 mm
    assert found.centres["bat_barrel"] == pytest.approx(marked["BAT_BARREL"][100:], abs=2e-4)


def test_a_static_trial_stands_for_the_ends_that_were_not_recorded(marked: Markers, as_capture: Maker) -> None:
    static = replace(as_capture({f"Lab_{label}": path[:20] for label, path in marked.items()}), source="static.c3d")
    swing = as_capture({label: path[100:] for label, path in marked.items() if label != "BAT_BARREL"})
    found = bat_points(swing, None, static)
    assert found.from_static
    assert found.centres["bat_barrel"] == pytest.approx(marked["BAT_BARREL"][100:], abs=1e-9)
    assert found.notes == [
        "knob and barrel are carried along by the markers on the bat's handle, as static.c3d shows them"
    ]
    # Ends that were recorded are not replaced, and a static trial without the handle calibrates nothing.
    assert not bat_points(as_capture(marked), None, static).from_static
    bare = replace(static, labels=tuple(label.replace("BATH", "X") for label in static.labels))
    assert not bat_points(swing, None, bare).centres


def test_a_few_bad_frames_do_not_move_a_calibration(marked: Markers, as_capture: Maker) -> None:
    static = {label: path[:40].copy() for label, path in marked.items()}
    static["BATH2"][0] += 0.2
    static["BAT_BARREL"][5:8] += 0.3
    table, true = calibrate_handle(as_capture(static)), calibrate_handle(as_capture(marked))
    between = [np.linalg.norm(each.barrel_m - each.local_m, axis=1) for each in (table, true)]
    assert between[0] == pytest.approx(between[1], abs=1e-6)


def test_a_whole_swing_from_the_handle(
    posed, make_capture: Maker, marked: Markers, as_capture: Maker, tmp_path: Path
) -> None:
    body = make_capture(posed.points, posed.rate_hz, leave_out=("bat",))
    cluster = [marked[label] for label in HANDLE]
    points = np.concatenate([body.points, np.stack(cluster, axis=1)], axis=1)
    capture = Capture("swing.c3d", (*body.labels, *HANDLE), points, 240.0, np.zeros(points.shape[:2]))
    hitter = mocap.Hitter(height_m=1.8)
    bare = mocap.build_swing(capture, hitter)
    assert not bare.has("bat_knob")
    assert any("not where knob and barrel lie against it" in note for note in bare.notes)
    model = BodyModel(marker_set=str(write_set(tmp_path, as_capture(marked))))
    swing = mocap.build_swing(capture, hitter, mocap.Setup(model=model))
    assert swing.has("bat_knob", "bat_barrel")
    whole = mocap.build_swing(make_capture(posed.points, posed.rate_hz), hitter)
    ours, theirs = (mocap.measure(each).measures["bat_speed"].value for each in (swing, whole))
    assert ours == pytest.approx(theirs, rel=0.01)


def test_a_recording_calibrates_itself_and_fills_what_was_not_seen(marked: Markers, as_capture: Maker) -> None:
    barrel = marked["BAT_BARREL"].copy()
    barrel[150:250] = np.nan
    found = bat_points(as_capture({**marked, "BAT_BARREL": barrel}))
    assert found.centres["bat_barrel"] == pytest.approx(marked["BAT_BARREL"], abs=1e-9)
    assert found.notes == ["100 samples of knob and barrel were filled from the markers on the bat's handle"]
    assert np.flatnonzero(found.filled["bat_barrel"]).tolist() == list(range(150, 250))
    assert not found.filled["bat_knob"].any()
    assert bat_points(as_capture(marked)).notes == []


def test_too_few_frames_with_all_points_fill_nothing(marked: Markers, as_capture: Maker) -> None:
    barrel = marked["BAT_BARREL"].copy()
    barrel[9:] = np.nan
    found = bat_points(as_capture({**marked, "BAT_BARREL": barrel}))
    assert np.isnan(found.centres["bat_barrel"][9:]).all()


@pytest.mark.parametrize(
    ("left_out", "message"),
    [
        (("BATH1", "BATH2"), r"three markers on the handle \(BATH1, BATH2, BATH3; 2 found\) missing"),
        (("BAT_KNOB",), "cannot be calibrated: BAT_KNOB missing"),
        (("BAT_KNOB", "BAT_BARREL"), "cannot be calibrated: BAT_KNOB and BAT_BARREL missing"),
    ],
)
def test_what_a_calibration_lacks_is_named(
    marked: Markers, as_capture: Maker, left_out: tuple[str, ...], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        calibrate_handle(as_capture({label: path for label, path in marked.items() if label not in left_out}))


def test_a_calibration_that_is_not_rigid_is_refused(marked: Markers, as_capture: Maker) -> None:
    loose = marked["BAT_KNOB"] + np.linspace(0.0, 0.1, len(marked["BAT_KNOB"]))[:, None]
    with pytest.raises(InputError, match=r"move by \d+ mm against each other in the calibration"):
        calibrate_handle(as_capture({**marked, "BAT_KNOB": loose}))
    in_line = {
        label: marked["BAT_KNOB"] + k * 0.1 * (marked["BAT_BARREL"] - marked["BAT_KNOB"])
        for k, label in enumerate(HANDLE)
    }
    with pytest.raises(InputError, match="lie on a line"):
        calibrate_handle(as_capture({**marked, **in_line}))
    apart = marked["BAT_KNOB"].copy()
    apart[:200] = np.nan
    barrel = marked["BAT_BARREL"].copy()
    barrel[200:] = np.nan
    with pytest.raises(InputError, match="never seen at once"):
        calibrate_handle(as_capture({**marked, "BAT_KNOB": apart, "BAT_BARREL": barrel}))


def test_a_handle_of_another_shape_is_refused(marked: Markers, as_capture: Maker, tmp_path: Path) -> None:
    table = own_marker_set(write_set(tmp_path, as_capture(marked)))
    exchanged = {"BATH1": "BATH3", "BATH3": "BATH2", "BATH2": "BATH1"}
    swing = as_capture({exchanged.get(label, label): path for label, path in marked.items() if label in HANDLE})
    with pytest.raises(InputError, match=r"handle lie \d+ mm off the shape of the calibration"):
        bat_points(swing, table)


def test_a_bad_handle_in_a_set_is_one_line(marked: Markers, as_capture: Maker, tmp_path: Path) -> None:
    path = write_set(tmp_path, as_capture(marked))
    written = path.read_text(encoding="utf-8")
    knob = next(line for line in written.splitlines() if line.startswith("knob"))
    faults = {
        "handle: knob: must be three numbers in metres": written.replace(knob, "knob = [0, 1]"),
        "handle: knob: must be three numbers": written.replace(knob, "knob = [0.0, 0.0, 840.0]"),
        "handle: 'knop' is not known": written.replace(knob, knob.replace("knob", "knop")),
        "handle.markers: three or more are needed": "\n".join(
            line for line in written.splitlines() if "BATH3" not in line and "BATH4" not in line
        ),
        "handle.markers: they lie on a line": 'base = "cluster"\n[handle]\nknob = [0, 0, 0]\nbarrel = [0, 0, 0.8]\n'
        "[handle.markers]\nA1 = [0, 0, 0.1]\nA2 = [0, 0, 0.2]\nA3 = [0, 0, 0.3]\n",
    }
    for message, text in faults.items():
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as raised:
            own_marker_set(path)
        assert str(raised.value).startswith(f"{path}: {message}")


def test_a_marker_that_is_lost_now_and_then_does_not_matter(marked: Markers, as_capture: Maker, tmp_path: Path) -> None:
    table = own_marker_set(write_set(tmp_path, as_capture(marked)))
    swing = as_capture({label: path for label, path in marked.items() if label in HANDLE})
    points = swing.points.copy()
    points[50:90, 1] = np.nan
    points[60:70, 2] = np.nan
    found = bat_points(replace(swing, points=points), table)
    seen = np.isfinite(found.centres["bat_barrel"][:, 0])
    assert (~seen).sum() == 10  # only where two of four are lost
    assert found.centres["bat_barrel"][seen] == pytest.approx(marked["BAT_BARREL"][seen], abs=2e-4)
