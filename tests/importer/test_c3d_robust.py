"""No bytes may crash, hang or fill memory: they give a capture or one line of the reader's own."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mocap.errors import InputError
from mocap.importer.c3d_file import decode_c3d

hypothesis = pytest.importorskip("hypothesis", reason="hypothesis is not installed")
given, settings, st = hypothesis.given, hypothesis.settings, hypothesis.strategies

MODEST = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture],
)
FORMS = st.tuples(st.sampled_from([84, 85, 86]), st.booleans())


def outcome(content: bytes) -> str:
    """Which of the two allowed ends reading came to."""
    try:
        capture = decode_c3d(content, "some.c3d")
    except InputError as error:
        return "refused" if "\n" not in str(error) else "an error of several lines"
    # Nothing is ever made up: as many numbers as the bytes can hold, two bytes each.
    assert capture.points.size + capture.analog.size <= len(content) / 2
    assert not np.isinf(capture.points).any()
    assert all("\n" not in note for note in capture.notes)
    return "capture"


@given(content=st.binary(max_size=3000))
@MODEST
def test_any_bytes(content: bytes) -> None:
    assert outcome(content) in ("refused", "capture")
    assert outcome(b"\x02\x50" + content.ljust(510, b"\0")) in ("refused", "capture")


@given(form=FORMS, injuries=st.lists(st.tuples(st.integers(2, 2500), st.binary(min_size=1, max_size=8)), max_size=6))
@MODEST
def test_an_injured_file(
    c3d_builder: Callable[..., Any],
    stored_points: np.ndarray,
    form: tuple[int, bool],
    injuries: list[tuple[int, bytes]],
) -> None:
    analog = np.arange(48).reshape(6, 4, 2)
    content = bytearray(c3d_builder(stored_points, analog, processor=form[0], is_float=form[1]).build())
    for at, rubbish in injuries:
        content[at : at + len(rubbish)] = rubbish
    assert outcome(bytes(content)) == "capture" or injuries


@given(form=FORMS, length=st.integers(0, 4000))
@MODEST
def test_a_file_cut_anywhere(
    c3d_builder: Callable[..., Any], stored_points: np.ndarray, form: tuple[int, bool], length: int
) -> None:
    content = c3d_builder(stored_points, processor=form[0], is_float=form[1]).build()
    frame = 12 * (4 if form[1] else 2)
    # The builder's parameters take one block: frames begin in the third.
    assert (outcome(content[:length]) == "capture") == (length >= 1024 + frame)


@given(
    form=FORMS,
    shape=st.tuples(st.integers(1, 8), st.integers(1, 5), st.integers(0, 3), st.integers(1, 4)),
    scale=st.floats(0.125, 8.0, width=32),
    seed=st.integers(0, 1000),
)
@MODEST
def test_what_is_stored_is_what_is_read(
    c3d_builder: Callable[..., Any],
    form: tuple[int, bool],
    shape: tuple[int, int, int, int],
    scale: float,
    seed: int,
) -> None:
    frames, points, channels, samples = shape
    random = np.random.default_rng(seed)
    stored = random.integers(1, 30_000, (frames, points, 4))
    analog = random.integers(-32_768, 32_768, (frames, samples, channels)) if channels else None
    content = c3d_builder(stored, analog, processor=form[0], is_float=form[1], scale=scale).build()
    capture = decode_c3d(content, "some.c3d")
    unit = 1e-3 * (1.0 if form[1] else scale)
    np.testing.assert_allclose(capture.points, stored[..., :3] * unit, rtol=1e-6)
    np.testing.assert_allclose(capture.residuals, (stored[..., 3] % 256) * scale * 1e-3, rtol=1e-6)
    np.testing.assert_array_equal(capture.cameras, stored[..., 3] // 256)
    if analog is not None:
        np.testing.assert_array_equal(capture.analog, analog.reshape(-1, channels))


@pytest.mark.parametrize("word", [2, 3, 4, 5, 9, 10])
@pytest.mark.parametrize("value", [0, 1, 32_767, 32_768, 65_535])
def test_huge_counts_fill_no_memory(
    c3d_builder: Callable[..., Any], stored_points: np.ndarray, word: int, value: int
) -> None:
    analog = np.arange(48).reshape(6, 4, 2)
    assert outcome(c3d_builder(stored_points, analog, header={word: value}).build()) in ("refused", "capture")


def test_a_few_mutations_of_demo_and_real_files(project_root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = importlib.util.spec_from_file_location("fuzz_c3d", project_root / "scripts" / "fuzz_c3d.py")
    assert spec is not None
    assert spec.loader is not None
    fuzz = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fuzz)
    assert fuzz.main(["--count", "300"]) == 0
    assert "300 mutations" in capsys.readouterr().out
