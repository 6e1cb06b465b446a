"""Change between two days against a published two-sample comparison."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from mocap.season import change_between, day_of, own_scatter

#: Additional hours of sleep under two drugs, ten patients each: Student (1908) Biometrika 6:1-25, table of Cushny and
#: Peebles. Compared as two samples with unequal variances in the documentation of the statistics language R (`t.test`,
#: data set `sleep`): t = -1.8608, df = 17.776, 95 % interval -3.3654832 to 0.2054832. Both from memory.
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)


def test_without_error_of_measuring_a_change_is_welchs_comparison() -> None:
    days = [day_of(date(2026, 5, n), values, [0.0] * 10) for n, values in ((1, FIRST), (2, SECOND))]
    change = change_between(*days)
    assert change.value / change.standard_error == pytest.approx(1.8608, abs=5e-5)
    assert change.df == pytest.approx(17.776, abs=5e-4)
    assert (change.low, change.high) == (pytest.approx(-0.2054832, abs=5e-8), pytest.approx(3.3654832, abs=5e-8))
    assert change.verdict == "could be noise"


def test_the_typical_error_of_two_trials_is_the_differences_sd_over_root_two() -> None:
    """Hopkins (2000) Sports Med 30:1-15 (from memory): within-subject SD = SD of differences / sqrt(2).

    Two trials of each of ten persons are ten groups of two. Without a shift between the trials both come to the same;
    here the second trial's mean is put on the first's.
    """
    first, second = np.array(FIRST), np.array(SECOND)
    second = second - (second - first).mean()
    groups = [
        day_of(date(2026, 5, n + 1), [a, b], [0.0, 0.0]) for n, (a, b) in enumerate(zip(first, second, strict=True))
    ]
    found = own_scatter(groups)
    assert found is not None
    # Ten groups have ten degrees of freedom, the differences about a known mean of zero as many.
    expected = np.sqrt(np.mean((first - second) ** 2) / 2.0)
    assert found.sd == pytest.approx(expected, rel=1e-12)
    assert found.df == 10
