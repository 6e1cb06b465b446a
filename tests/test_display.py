"""Numbers as a coach reads them; expected texts are worked out by hand from the exact units."""

from __future__ import annotations

import pytest

from mocap.display import format_height, format_length, format_measure, format_time
from mocap.findings import Measure


@pytest.mark.parametrize(
    ("value", "sd", "unit", "units", "words"),
    [
        (0.56, 0.03, "share", "metric", "56 ± 3 %"),
        (0.56, 0.003, "share", "metric", "56.0 ± 0.3 %"),
        (0.41, 0.012, "height", "metric", "41 ± 1 % of height (74 ± 2 cm)"),
        (0.41, 0.012, "height", "imperial", "41 ± 1 % of height (29.1 ± 0.9 in)"),
        (0.57, 0.021, "weight", "metric", "57 ± 2 % of body weight"),
        (12.4, 2.2, "deg", "metric", "12 ± 2°"),
        (-0.2, 1.1, "deg", "metric", "0 ± 1°"),
        (-7.6, None, "deg", "metric", "-8°"),
        (0.0621, 0.011, "m", "metric", "6 ± 1 cm"),
        (0.0621, 0.011, "m", "imperial", "2.4 ± 0.4 in"),
        (31.24, 0.4, "m/s", "metric", "31.2 ± 0.4 m/s"),
        (31.24, 0.4, "m/s", "imperial", "69.9 ± 0.9 mph"),
        (712.3, 20.4, "deg/s", "metric", "712 ± 20 °/s"),
        (0.1424, 0.0041, "s", "metric", "0.142 ± 0.004 s"),
        ("pelvis, trunk, arm", None, "", "metric", "pelvis, trunk, arm"),
        (None, None, "deg", "metric", "not measurable"),
    ],
)
def test_measures_read_as_value_plus_minus_and_unit(value, sd, unit, units, words) -> None:
    assert format_measure(Measure("m", value, sd, unit, "M", "plant"), 1.80, units) == words


def test_brief_leaves_out_the_length_beside_a_share_of_height() -> None:
    assert format_measure(Measure("m", 0.41, 0.012, "height", "M", "plant"), 1.80, brief=True) == "41 ± 1 % of height"


def test_heights_and_lengths_carry_their_unit() -> None:
    assert format_height(1.8034, units="imperial") == "5 ft 11 in"  # 71 in
    assert format_height(1.8034) == "1.80 m"
    assert format_length(0.254, units="imperial") == "10.0 in"


def test_a_time_is_never_surer_than_a_millisecond() -> None:
    assert format_time(0.9004, 0.0004) == "0.900 ± 0.001 s"
    assert format_time(1.2, 0.0153) == "1.200 ± 0.015 s"
