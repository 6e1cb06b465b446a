"""Segment masses and centre of mass against de Leva P (1996) J Biomech 29(9):1223-1230, Table 4."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.kinematics.inertia import centre_of_mass, segment_table


def test_masses_add_up_as_printed() -> None:
    totals = {
        sex: sum(segment.mass * (2 if segment.paired else 1) for segment in segment_table(sex))
        for sex in ("male", "female")
    }
    assert totals["male"] == pytest.approx(1.0, abs=5e-5)
    # The women's column is printed to two decimals of a per cent and adds up to 99.99 %.
    assert totals["female"] == pytest.approx(0.9999, abs=5e-5)


@pytest.mark.parametrize(
    ("sex", "segment", "length_mm", "other_length_mm", "other_share"),
    [
        # The centre of mass lies equally far from the first endpoint whichever second endpoint the paper uses.
        ("male", "shank", 440.3, 434.0, 0.4459),
        ("female", "shank", 438.6, 432.3, 0.4416),
        ("male", "forearm", 268.9, 266.9, 0.4608),
        ("female", "forearm", 264.3, 262.4, 0.4592),
        ("male", "hand", 86.2, 187.9, 0.3624),
        ("female", "hand", 78.0, 170.1, 0.3427),
        ("male", "head", 242.9, 203.3, 0.5976),
        ("female", "head", 243.7, 200.2, 0.5894),
    ],
)
def test_rows_agree_with_the_alternative_endpoints(
    sex: str, segment: str, length_mm: float, other_length_mm: float, other_share: float
) -> None:
    row = next(row for row in segment_table(sex) if row.name == segment)  # type: ignore[arg-type]
    assert row.centre * length_mm == pytest.approx(other_share * other_length_mm, abs=0.2)


def test_centre_of_mass_of_a_man_standing_upright_by_hand() -> None:
    heights = {"ankle": 0.07, "knee": 0.50, "hip": 0.92, "shoulder": 1.44, "elbow": 1.15, "wrist": 0.88, "hand": 0.80}
    centres = {
        f"{s}_{name}": np.array([[0.0, 0.1 if s == "l" else -0.1, z]]) for s in "lr" for name, z in heights.items()
    }
    for side in "lr":
        centres[f"{side}_heel"], centres[f"{side}_toe"] = np.array([[-0.05, 0, 0.0]]), np.array([[0.2, 0, 0.0]])
    centres |= {
        "pelvis": np.array([[0, 0, 0.92]]),
        "neck": np.array([[0, 0, 1.44]]),
        "head_top": np.array([[0, 0, 1.75]]),
    }
    # Table 4, men: mass share times height of the segment's centre, written out.
    by_hand = (
        0.0694 * (1.75 + 0.5002 * (1.44 - 1.75))
        + 0.4346 * (1.44 + 0.4310 * (0.92 - 1.44))
        + 2 * 0.0271 * (1.44 + 0.5772 * (1.15 - 1.44))
        + 2 * 0.0162 * (1.15 + 0.4574 * (0.88 - 1.15))
        + 2 * 0.0061 * (0.88 + 0.7900 * (0.80 - 0.88))
        + 2 * 0.1416 * (0.92 + 0.4095 * (0.50 - 0.92))
        + 2 * 0.0433 * (0.50 + 0.4395 * (0.07 - 0.50))
    )
    assert centre_of_mass(centres)[0, 2] == pytest.approx(by_hand, abs=1e-12)
    assert centre_of_mass(centres)[0, 1] == pytest.approx(0.0, abs=1e-12)
