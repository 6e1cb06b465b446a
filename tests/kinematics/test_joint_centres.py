"""What is known about a body besides its joints, and recordings that no body can be trusted from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest

import mocap
from mocap.capture import Capture, ForcePlate
from mocap.errors import InputError
from mocap.kinematics.joint_centres import CENTRES, body_from, body_from_cleaned
from mocap.reference.posed import PosedSwing

Maker = Callable[..., Capture]


@pytest.fixture
def capture(make_capture: Maker, posed: PosedSwing) -> Capture:
    return make_capture(posed.points, posed.rate_hz)


def lose(capture: Capture, labels: tuple[str, ...], frames: slice) -> Capture:
    points = capture.points.copy()
    for label in labels:
        points[frames, capture.labels.index(label)] = np.nan
    return replace(capture, points=points)


def turned(capture: Capture, matrix: np.ndarray) -> Capture:
    return replace(capture, points=capture.points @ matrix.T)


def said(notes: tuple[str, ...], part: str) -> bool:
    return any(part in note for note in notes)


@pytest.mark.parametrize(
    ("stated", "note"),
    [
        ("", None),
        ("+z", None),
        ("+y", "the file states that +y points up, the body stands along +z: every height is measured along +z"),
        (
            "-z",
            "by the file's own vertical (-z) the head lies below the feet: the lab frame is upside down; it is turned"
            " over, and every height is measured along +z",
        ),
    ],
)
def test_the_body_tells_the_vertical_and_a_file_that_says_otherwise_is_noted(
    capture: Capture, stated: str, note: str | None
) -> None:
    body = body_from_cleaned(replace(capture, vertical=stated))
    assert body.up.tolist() == [0.0, 0.0, 1.0]
    assert list(body.notes) == ([note] if note else [])


def test_an_upside_down_lab_is_turned_over_and_named(capture: Capture) -> None:
    over = turned(capture, np.diag([1.0, -1.0, -1.0]))
    body = body_from_cleaned(over)
    assert body.up.tolist() == [0.0, 0.0, -1.0]
    assert said(body.notes, "along the lab's z the head lies below the feet: the lab frame is upside down")
    swing = mocap.build_swing(over, mocap.Hitter(height_m=1.8))
    assert swing["head"][0, 2] > 1.2
    assert said(swing.notes, "every height is measured along -z")


def test_plates_that_push_from_the_heads_side_are_named(capture: Capture) -> None:
    corners = np.array([[0.4, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.6, 0.0], [0.4, 0.6, 0.0]])
    force = np.tile([0.0, 0.0, 800.0], (capture.n_frames, 1))
    plate = ForcePlate(2, corners, force, np.zeros_like(force), np.zeros_like(force), capture.rate_hz)
    below = replace(capture, plates=(plate,))
    assert not said(body_from_cleaned(below).notes, "push from the head's side")
    over = replace(turned(capture, np.diag([1.0, -1.0, -1.0])), plates=(plate,))
    assert said(body_from_cleaned(over).notes, "points and plates do not share one lab frame")


def test_a_body_that_does_not_show_the_vertical(capture: Capture) -> None:
    half = capture.n_frames // 2
    legs, rest = ("L_ANKLE",), tuple(n for n in capture.labels if n[2:] not in ("ANKLE",))
    apart = lose(lose(capture, legs, slice(half, None)), rest, slice(0, half))
    with pytest.raises(InputError, match="head and ankles are never seen together; the vertical cannot be told"):
        body_from_cleaned(apart)
    body = body_from_cleaned(replace(apart, vertical="+z"))
    assert said(body.notes, "the body does not show the vertical; +z is taken, as the file states")


@pytest.mark.parametrize(("lost", "outcome"), [(0.05, "nothing"), (0.3, "note"), (0.6, "refused")])
def test_a_pelvis_that_is_often_lost(capture: Capture, lost: float, outcome: str) -> None:
    frames = round(lost * capture.n_frames)
    gappy = lose(capture, ("L_HIP",), slice(0, frames))
    line = f"the pelvis is seen in {100 * (1 - lost):.0f} % of the frames"
    if outcome == "refused":
        with pytest.raises(InputError) as raised:
            body_from_cleaned(gappy)
        assert str(raised.value) == (
            f"posed.c3d: {line} ({capture.n_frames - frames} of {capture.n_frames}): hips, turn and centre of mass"
            " cannot be followed; fill its markers' gaps, or record again with the pelvis in view"
        )
    else:
        assert said(body_from_cleaned(gappy).notes, line) == (outcome == "note")


def test_frames_without_anybody_do_not_count(capture: Capture) -> None:
    assert body_from_cleaned(lose(capture, capture.labels, slice(0, 300))).notes == ()


def test_exchanged_sides_are_noted_with_what_follows(capture: Capture) -> None:
    other = tuple({"L": "R", "R": "L"}[label[0]] + label[1:] if label[1] == "_" else label for label in capture.labels)
    notes = body_from_cleaned(replace(capture, labels=other)).sides
    assert len(notes) == 1
    assert "left and right look exchanged on the whole body" in notes[0]
    assert "would be taken on the wrong side; correct the labels" in notes[0]


@pytest.mark.parametrize(
    ("subject", "line"),
    [
        ({"height_m": 17.9}, "posed.c3d states a height of 17.9 m, outside 0.9 to 2.4 m: not used; give the height"),
        ({"height_m": 0.2}, "posed.c3d states a height of 0.2 m, outside 0.9 to 2.4 m: not used"),
        ({"mass_kg": 665.0}, "posed.c3d states a mass of 665 kg, outside 12 to 220 kg: not used; give the mass"),
    ],
)
def test_a_size_that_no_person_has_is_named_and_not_used(
    capture: Capture, subject: Mapping[str, float], line: str
) -> None:
    swing = mocap.build_swing(replace(capture, subject=subject))
    assert said(swing.notes, line)
    assert said(swing.notes, "height not given")
    assert swing.hitter.mass_kg is None
    given = mocap.build_swing(replace(capture, subject=subject), mocap.Hitter(height_m=1.8, mass_kg=80.0))
    assert (given.hitter.height_m, given.hitter.mass_kg) == (1.8, 80.0)


def test_a_size_that_no_person_has_reaches_from_the_file(capture: Capture, tmp_path) -> None:
    mocap.write_c3d(replace(capture, subject={"height_m": 2.6, "mass_kg": 5.0}), tmp_path / "odd.c3d")
    notes = mocap.build_swing(mocap.read(tmp_path / "odd.c3d")).notes
    assert said(notes, "odd.c3d states a height of 2.6 m")
    assert said(notes, "odd.c3d states a mass of 5 kg")


def test_every_centre_is_there_and_has_an_error(capture: Capture) -> None:
    body = body_from_cleaned(capture)
    assert set(body.centres) == {*CENTRES, "bat_knob", "bat_barrel"}
    assert set(body.centre_sd_m) == set(body.centres)
    assert body.lateral == body.axes == body.origins == {}
    assert body.segment_of["l_hip"] == "pelvis"
    assert body.segment_of["r_elbow"] == "r_upper_arm"


def test_a_recording_is_cleaned_before_its_body_is_built(capture: Capture) -> None:
    gappy = lose(capture, ("L_KNEE",), slice(100, 110))
    body = body_from(gappy)
    assert np.isfinite(body.centres["l_knee"]).all()
    assert sum(marks.sum() for marks in body.filled.values()) == body.filled["l_knee"][100:110].sum() == 10
    assert np.isnan(body_from_cleaned(gappy).centres["l_knee"][100:110]).all()


def test_points_that_no_set_knows_are_not_cleaned(capture: Capture) -> None:
    stray = np.full((capture.n_frames, 1, 3), 0.5)
    stray[50:60] = np.nan
    points = np.concatenate([capture.points, stray], axis=1)
    more = Capture("more.c3d", (*capture.labels, "*7"), points, capture.rate_hz, np.zeros(points.shape[:2]))
    assert not any(marks.any() for marks in body_from(more).filled.values())
