"""Numbers out of C3D files written byte by byte: processors, number types, counts, scales, masks, gaps."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from mocap.importer.c3d_file import decode_c3d

Builder = Callable[..., Any]
PROCESSORS = {"Intel": 84, "DEC": 85, "MIPS": 86}


@pytest.mark.parametrize("is_float", [False, True], ids=["integer", "float"])
@pytest.mark.parametrize("processor", PROCESSORS.values(), ids=PROCESSORS.keys())
def test_every_form_gives_the_numbers_stored(
    c3d_builder: Builder, stored_points: np.ndarray, processor: int, is_float: bool
) -> None:
    analog = np.arange(6 * 4 * 2).reshape(6, 4, 2) - 10
    capture = decode_c3d(
        c3d_builder(
            stored_points,
            analog,
            processor=processor,
            is_float=is_float,
            parameters={
                "ANALOG": {
                    "GEN_SCALE": 0.5,
                    "SCALE": np.array([2.0, 10.0], np.float32),
                    "OFFSET": np.array([0, 7], np.int16),
                }
            },
        ).build(),
        "built.c3d",
    )
    expected = stored_points[..., :3] * (1.0 if is_float else 0.5) / 1000.0
    expected[2, 1] = np.nan
    np.testing.assert_allclose(capture.points, expected, rtol=1e-6)
    assert capture.notes == ()
    # Residual: low byte of the fourth word times the scale factor, 0x03 * 0.5 mm; mask: its high byte.
    assert capture.residuals[0] == pytest.approx([0.0015, 0.0, 0.008])
    assert np.isnan(capture.residuals[2, 1])
    assert capture.cameras[0].tolist() == [0x05, 0x00, 0x7F]
    assert capture.cameras[2, 1] == 0
    assert (capture.analog_rate_hz, capture.rate_hz) == (400.0, 100.0)
    # (stored - offset) * scale * general scale.
    np.testing.assert_allclose(capture.analog[:, 0], (np.arange(0, 48, 2) - 10) * 2.0 * 0.5)
    np.testing.assert_allclose(capture.analog[:, 1], (np.arange(1, 49, 2) - 10 - 7) * 10.0 * 0.5)


def test_zero_without_cameras_is_lost_and_zero_with_cameras_is_the_origin(
    c3d_builder: Builder, stored_points: np.ndarray
) -> None:
    stored_points[1, 0] = [0, 0, 0, 0]
    stored_points[3, 0] = [0, 0, 0, 0x0300]
    capture = decode_c3d(c3d_builder(stored_points).build(), "built.c3d")
    assert np.isnan(capture.points[1, 0]).all()
    assert capture.points[3, 0].tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize("nonsense", [np.nan, np.inf, -1e30])
def test_an_impossible_place_is_lost_and_told(c3d_builder: Builder, stored_points: np.ndarray, nonsense: float) -> None:
    stored = stored_points.astype(np.float64)
    stored[4, 2, 1] = nonsense
    capture = decode_c3d(c3d_builder(stored, is_float=True).build(), "built.c3d")
    assert np.isnan(capture.points[4, 2]).all()
    assert np.isfinite(capture.points[4, 1]).all()
    assert any("1 samples of points hold no possible place" in note for note in capture.notes)


def test_more_labels_than_one_parameter_can_hold(c3d_builder: Builder) -> None:
    stored = np.ones((2, 300, 4), int) * np.array([10, 20, 30, 0])
    stored += np.arange(300)[None, :, None] * np.array([1, 0, 0, 0])
    analog = np.tile(np.arange(260), (2, 1, 1))
    builder = c3d_builder(stored, analog)
    builder.parameters = {
        "ANALOG": {
            "SCALE2": np.full(5, 3.0, np.float32),
            "OFFSET2": np.full(5, 1, np.int16),
            "LABELS2": [f"more {i}" for i in range(5)],
        }
    }
    capture = decode_c3d(builder.build(), "built.c3d")
    assert capture.labels == tuple(f"P{i + 1}" for i in range(300))
    assert capture.points[0, 299, 0] == pytest.approx((10 + 299) * 0.5e-3)
    assert capture.analog_labels[254:] == ("C255", "more 0", "more 1", "more 2", "more 3", "more 4")
    assert capture.analog[0, [254, 255, 259]].tolist() == [254.0, (255 - 1) * 3.0, (259 - 1) * 3.0]


MANY = 70_000
LOW, HIGH = MANY % 65_536, MANY // 65_536


@pytest.mark.parametrize(
    "stated",
    [
        {"TRIAL": {"ACTUAL_START_FIELD": np.array([1, 0]), "ACTUAL_END_FIELD": np.array([LOW, HIGH])}},
        {"POINT": {"LONG_FRAMES": float(MANY)}},
        {"POINT": {"FRAMES": float(MANY)}},
        {},
    ],
    ids=["TRIAL", "LONG_FRAMES", "FRAMES as float", "counts at the end of 16 bits"],
)
def test_more_frames_than_16_bits_count(c3d_builder: Builder, stated: dict[str, dict[str, Any]]) -> None:
    stored = np.ones((MANY, 1, 4), int)
    stored[:, 0, 0] = np.arange(MANY) % 1000
    # Seventy blocks of other data behind the frames, so that the size of the file does not tell what a count tells.
    content = c3d_builder(stored, parameters=stated).build() + b"\0" * (512 * 70 if stated else 0)
    capture = decode_c3d(content, "built.c3d")
    assert abs(capture.n_frames - MANY) < (1 if stated else 512 // 8)
    assert capture.points[MANY - 1, 0, 0] == pytest.approx((MANY - 1) % 1000 * 0.5e-3)
    assert any("70000 frames are read" in note for note in capture.notes) or not stated


def test_frame_counts_above_the_middle_of_16_bits_are_unsigned(c3d_builder: Builder) -> None:
    capture = decode_c3d(c3d_builder(np.ones((40_000, 1, 4), int)).build(), "built.c3d")
    assert capture.n_frames == 40_000
    assert capture.notes == ()


def test_a_part_of_a_long_trial_keeps_its_frame_number(c3d_builder: Builder, stored_points: np.ndarray) -> None:
    first = 65_536 + 100
    trial = {"ACTUAL_START_FIELD": np.array([100, 1]), "ACTUAL_END_FIELD": np.array([105, 1])}
    content = c3d_builder(stored_points, first_frame=100, parameters={"TRIAL": trial}).build()
    capture = decode_c3d(content, "built.c3d")
    assert (capture.first_frame, capture.n_frames) == (first, 6)


@pytest.mark.parametrize("is_float", [False, True])
def test_a_file_that_ends_early_gives_the_frames_it_has(c3d_builder: Builder, is_float: bool) -> None:
    stored = np.ones((100, 3, 4), int) * np.array([10, 20, 30, 0])
    content = c3d_builder(stored, is_float=is_float).build()
    frame = 3 * 4 * (4 if is_float else 2)
    data_start = len(content) - -(-100 * frame // 512) * 512
    capture = decode_c3d(content[: data_start + 40 * frame + 5], "built.c3d")
    assert capture.n_frames == 40
    assert capture.notes == ("the file ends early: 40 of 100 frames are there",)


@pytest.mark.parametrize("wrong", ["header", "POINT:SCALE"])
@pytest.mark.parametrize("is_float", [False, True], ids=["integer", "float"])
def test_contradicting_signs_of_the_scale_are_decided_by_the_data(
    c3d_builder: Builder, stored_points: np.ndarray, is_float: bool, wrong: str
) -> None:
    builder = c3d_builder(stored_points, is_float=is_float)
    false_scale = 0.5 if is_float else -0.5
    if wrong == "header":
        low, high = np.frombuffer(np.float32(false_scale).tobytes(), "<u2").tolist()
        builder.header = {7: low, 8: high}
    else:
        builder.parameters = {"POINT": {"SCALE": false_scale}}
    capture = decode_c3d(builder.build(), "built.c3d")
    assert capture.points[0, 0] == pytest.approx(np.array([0.1, 0.2, 0.3]) * (1.0 if is_float else 0.5))
    assert any("the data are " + ("floats" if is_float else "integers") in note for note in capture.notes)


@pytest.mark.parametrize(("word", "value"), [(3, 2), (3, 500), (10, 3), (10, 0)])
def test_contradicting_analog_counts_are_decided_by_the_data(
    c3d_builder: Builder, stored_points: np.ndarray, word: int, value: int
) -> None:
    analog = np.arange(6 * 4 * 2).reshape(6, 4, 2)
    content = c3d_builder(stored_points, analog, is_float=True, header={word: value}).build()
    capture = decode_c3d(content, "built.c3d")
    assert capture.analog.tolist() == np.arange(48).reshape(24, 2).tolist()
    assert capture.points[5, 2] == pytest.approx(np.array([715, -785, 915]) * 1e-3)
    assert any("analog counts contradict each other" in note for note in capture.notes)


@pytest.mark.parametrize("how", ["FORMAT", "offsets in the middle"])
def test_unsigned_16_bit_analog(c3d_builder: Builder, stored_points: np.ndarray, how: str) -> None:
    analog = np.array([0, 32_768, 65_535, 40_000, 1, 2]).reshape(6, 1, 1)
    stated: dict[str, Any] = {"OFFSET": np.array([32_768])}
    if how == "FORMAT":
        stated |= {"FORMAT": "UNSIGNED", "BITS": 16}
    capture = decode_c3d(c3d_builder(stored_points, analog, parameters={"ANALOG": stated}).build(), "built.c3d")
    assert capture.analog[:, 0].tolist() == [-32_768.0, 0.0, 32_767.0, 7232.0, -32_767.0, -32_766.0]


def test_broken_scales_of_analog_channels_become_one(c3d_builder: Builder, stored_points: np.ndarray) -> None:
    analog = np.full((6, 1, 3), 5)
    stated = {"GEN_SCALE": 0.0, "SCALE": np.array([np.nan, 2.0], np.float32), "OFFSET": None}
    capture = decode_c3d(c3d_builder(stored_points, analog, parameters={"ANALOG": stated}).build(), "built.c3d")
    assert capture.analog[0].tolist() == [5.0, 10.0, 5.0]
    assert "ANALOG:GEN_SCALE is zero or broken; 1 is taken" in capture.notes
    assert "2 of 3 analog channels have no sound scale factor; 1 is taken" in capture.notes
