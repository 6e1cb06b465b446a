"""Header and parameter section of C3D files written byte by byte, sound and broken."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from mocap.errors import InputError
from mocap.importer.c3d_file import decode_c3d
from mocap.importer.c3d_parameters import parse

Builder = Callable[..., Any]


@pytest.fixture
def sound(c3d_builder: Builder, stored_points: np.ndarray) -> Any:
    return c3d_builder(stored_points)


def test_types_dimensions_and_locks(sound: Any) -> None:
    sound.parameters = {
        "EXTRA": {
            "BYTES": (1, [3], bytes([1, 200, 3])),
            "CUBE": np.arange(24, dtype=np.int16).reshape(4, 3, 2),
            "SEVEN": (2, [1] * 7, b"\x05\x00"),
            "NONE": (4, [0], b""),
            "SCALAR": 2.5,
        }
    }
    sound.records = [sound.parameter(1, "LOCKED", "kept", locked=True)]
    _, parameters = parse(sound.build())
    assert parameters.repairs == []
    assert parameters.numbers("EXTRA:BYTES").tolist() == [1, 200, 3]
    # The first dimension varies fastest: stored 2 x 3 x 4.
    assert parameters.get("EXTRA:CUBE").dimensions == (2, 3, 4)
    assert parameters.shaped("EXTRA:CUBE").tolist() == np.arange(24).reshape(4, 3, 2).tolist()
    assert parameters.numbers("EXTRA:SEVEN").tolist() == [5]
    assert parameters.numbers("EXTRA:NONE").size == 0
    assert parameters.number("EXTRA:SCALAR", 0.0) == 2.5
    assert parameters.text("POINT:LOCKED") == "kept"
    assert parameters.texts("EXTRA:SCALAR") == []
    assert parameters.number("NOWHERE:AT_ALL", -7.0) == -7.0


def test_a_number_written_as_text_is_read(sound: Any) -> None:
    sound.parameters = {"POINT": {"RATE": "100.0 "}}
    assert decode_c3d(sound.build(), "built.c3d").rate_hz == 100.0


def test_of_two_parameters_with_one_key_the_first_that_holds_something_counts(sound: Any) -> None:
    sound.parameters = {"POINT": {"UNITS": "  "}}
    sound.records = [sound.parameter(1, "UNITS", "cm"), sound.parameter(1, "RATE", 55.0)]
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.points[0, 0] == pytest.approx([0.5, 1.0, 1.5])
    assert capture.rate_hz == 100.0
    expected = "2 parameter(s) are stored more than once (POINT:UNITS, POINT:RATE); the first value is kept"
    assert capture.notes == (expected,)


def test_two_groups_with_one_number(sound: Any) -> None:
    sound.records = [sound.group(1, "OTHER")]
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.labels == ("P1", "P2", "P3")
    assert any("two parameter groups have the number 1; POINT is kept, not OTHER" in note for note in capture.notes)


def test_a_group_whose_name_is_broken_is_known_by_its_parameters(sound: Any) -> None:
    content = sound.build().replace(b"\x05\xffPOINT", b"\x05\xffPO!NT", 1)
    capture = decode_c3d(content, "built.c3d")
    assert capture.labels == ("P1", "P2", "P3")
    assert "the parameter group POINT is not named so; known by its parameters" in capture.notes


def test_a_parameter_of_an_impossible_type_is_left_out(sound: Any) -> None:
    sound.parameters = {"POINT": {"DESCRIPTIONS": (3, [4], b"abcd")}}
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.labels == ("P1", "P2", "P3")
    assert capture.notes == ("parameter DESCRIPTIONS has a broken type or size; left out",)


@pytest.mark.parametrize("offset", [0, 9, 60_000])
def test_a_broken_pointer_between_records_is_stepped_over(sound: Any, offset: int) -> None:
    content = bytearray(sound.build())
    at = content.index(b"UNITS") + 5
    content[at : at + 2] = offset.to_bytes(2, "little")
    capture = decode_c3d(bytes(content), "built.c3d")
    assert capture.labels == ("P1", "P2", "P3")
    assert capture.notes == ("the pointer behind parameter UNITS is broken; the next one was found by its size",)


def test_an_offset_of_zero_ends_the_section(sound: Any) -> None:
    last = bytearray(sound.parameter(1, "LAST", 7))
    last[6:8] = b"\0\0"
    sound.records = [bytes(last)]
    _, parameters = parse(sound.build())
    assert parameters.number("POINT:LAST", 0) == 7
    assert parameters.repairs == []


def test_parameters_behind_other_blocks(sound: Any, stored_points: np.ndarray) -> None:
    sound.blocks_between = 3
    content = bytearray(sound.build())
    assert decode_c3d(bytes(content), "built.c3d").notes == ()
    content[0] = 2  # where no parameter section lies
    capture = decode_c3d(bytes(content), "built.c3d")
    assert capture.points[0, 0] == pytest.approx(stored_points[0, 0, :3] * 0.5e-3)
    assert capture.notes == ("the parameter section is not in block 2 as the header says; found by search",)


@pytest.mark.parametrize("stated", [0, 84, 85, 86])
@pytest.mark.parametrize("processor", [84, 85, 86])
def test_a_wrong_processor_is_found_out(
    c3d_builder: Builder, stored_points: np.ndarray, processor: int, stated: int
) -> None:
    content = bytearray(c3d_builder(stored_points, processor=processor, is_float=True).build())
    content[512 + 3] = stated
    capture = decode_c3d(bytes(content), "built.c3d")
    assert capture.points[0, 2] == pytest.approx([0.7, -0.8, 0.9])
    wrong = any(f"the processor type {stated} is wrong" in note for note in capture.notes)
    assert wrong == (stated != processor)


@pytest.mark.parametrize("header_too", [False, True])
def test_a_missing_pointer_to_the_data(sound: Any, stored_points: np.ndarray, header_too: bool) -> None:
    if header_too:
        sound.header = {9: 0}
    sound.parameters = {"POINT": {"DATA_START": 0}}
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.points[0, 0] == pytest.approx(stored_points[0, 0, :3] * 0.5e-3)
    assert "POINT:DATA_START lets the frames begin in block 0; they begin in block 3" in capture.notes
    assert any(note.startswith("the header lets the frames begin") for note in capture.notes) == header_too


def test_a_header_alone_still_gives_points(sound: Any, stored_points: np.ndarray) -> None:
    content = bytearray(sound.build())
    content[516:1024] = bytes(508)
    capture = decode_c3d(bytes(content), "built.c3d")
    assert capture.labels == ("point_1", "point_2", "point_3")
    assert capture.points[0, 0] == pytest.approx(stored_points[0, 0, :3] * 0.5e-3)
    assert any("no parameter section" in note for note in capture.notes)


def test_contradicting_rates_and_no_rate(sound: Any) -> None:
    sound.parameters = {"POINT": {"RATE": 250.0}}
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.rate_hz == 250.0
    assert capture.notes == ("POINT:RATE is 250 Hz, the header says 100 Hz; the former is taken",)
    sound.parameters, sound.rate_hz = {"POINT": {"RATE": np.nan}}, 0.0
    with pytest.raises(InputError, match="frame rate"):
        decode_c3d(sound.build(), "built.c3d")


@pytest.mark.parametrize("flag", [0, 1])
def test_header_events_are_kept_whatever_their_flag(sound: Any, flag: int) -> None:
    sound.header_events, sound.header_event_flag = [("LTO", 0.04), ("RHS", 0.01)], flag
    events = decode_c3d(sound.build(), "built.c3d").events
    assert [(event.label, round(event.time_s, 6)) for event in events] == [("RHS", 0.01), ("LTO", 0.04)]


def test_events_of_the_group_come_before_those_of_the_header(sound: Any) -> None:
    sound.header_events = [("OLD", 0.02)]
    times = np.array([[0.0, 0.03], [1.0, 0.5]], np.float32)  # minutes, seconds
    sound.parameters = {
        "EVENT": {"USED": 2, "TIMES": times, "LABELS": ["Foot Strike", "Foot Off"], "CONTEXTS": ["Left", "Right"]}
    }
    events = decode_c3d(sound.build(), "built.c3d").events
    assert [(event.label, event.context) for event in events] == [("Foot Strike", "Left"), ("Foot Off", "Right")]
    assert [event.time_s for event in events] == pytest.approx([0.03, 60.5])


def test_event_times_that_count_from_the_trials_first_frame(sound: Any) -> None:
    sound.first_frame = 51
    sound.parameters = {"EVENT": {"USED": 1, "TIMES": np.array([[0.0, 0.52]], np.float32), "LABELS": ["Plant"]}}
    events = decode_c3d(sound.build(), "built.c3d").events
    assert events[0].time_s == pytest.approx(0.02, abs=1e-6)  # frame 51 at 100 Hz is 0.50 s after frame 1


@pytest.mark.parametrize(
    ("across", "up", "vertical"), [("+Y", "+Z", "+z"), ("+X", "-Y", "-y"), ("+Z", "Z", ""), ("", "?", ""), ("", "", "")]
)
def test_the_axis_that_points_up(sound: Any, across: str, up: str, vertical: str) -> None:
    sound.parameters = {"POINT": {"X_SCREEN": across, "Y_SCREEN": up}}
    assert decode_c3d(sound.build(), "built.c3d").vertical == vertical


def test_the_person(sound: Any) -> None:
    sound.parameters = {
        "SUBJECTS": {"NAMES": ["H1"], "BATS": "Left", "DOMINANT_SIDE": "R"},
        "PROCESSING": {"HEIGHT": 1820.0, "BODYMASS": 80.5, "LLEGLENGTH": 940.0, "WHEN": "noon"},
    }
    subject = decode_c3d(sound.build(), "built.c3d").subject
    assert dict(subject) == {
        "name": "H1",
        "bats": "left",
        "side": "right",
        "height_m": 1.82,
        "mass_kg": 80.5,
        "lleglength": 940.0,
    }


@pytest.mark.parametrize(
    ("units", "factor", "unit"), [("mm", 1.0, "mm"), ("mete", 1000.0, ""), ("", 1.0, "mm"), ("\x01", 1.0, "mm")]
)
def test_units_spelt_cut_and_missing(sound: Any, units: str, factor: float, unit: str) -> None:
    sound.parameters = {"POINT": {"UNITS": units}}
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.points[0, 0] == pytest.approx(np.array([0.05, 0.1, 0.15]) * factor)
    assert any(f"{unit} is taken" in note for note in capture.notes) == (units in ("", "\x01"))


def test_labels_that_would_collide_when_numbered(sound: Any) -> None:
    sound.parameters = {"POINT": {"LABELS": ["A", "A_2", "A"]}}
    assert decode_c3d(sound.build(), "built.c3d").labels == ("A", "A_2", "A_3")


def test_computed_outputs_are_left_out(sound: Any, stored_points: np.ndarray) -> None:
    sound.parameters = {"POINT": {"ANGLES": ["P2"]}}
    capture = decode_c3d(sound.build(), "built.c3d")
    assert capture.labels == ("P1", "P3")
    assert capture.points[0, 1] == pytest.approx(stored_points[0, 2, :3] * 0.5e-3)
