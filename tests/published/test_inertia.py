"""Segment masses, centres and radii against what is printed.

Sources: de Leva P (1996) J Biomech 29(9):1223-1230, Table 4. Winter DA (2009) Biomechanics and Motor Control of Human
Movement, 4th ed., Table 4.1. Jensen RK (1986) J Biomech 19(5):359-368. CDC growth charts for the United States (2000),
stature for age.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mocap.kinematics.inertia import age_of_median_height, centre_of_mass, segment_centres, segment_table

SEXES = ("male", "female")
#: Rounding of the printed radii (.1 %) and lengths (.1 mm) allows this much in a product. [m]
PRODUCT_M = 0.0006


@pytest.fixture(scope="module")
def de_leva(project_root: Path) -> dict[str, Any]:
    path = project_root / "assets" / "tables" / "segment_inertia_de_leva.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def rows(table: dict[str, Any], segment: str) -> list[dict[str, Any]]:
    """Every choice of endpoints that the paper prints for a segment."""
    return [table["segments"][segment], *(row for row in table["other_endpoints"] if row["segment"] == segment)]


def part(table: dict[str, Any], segment: str, first: str, sex: str) -> dict[str, Any]:
    """The row of a trunk part that starts at a landmark."""
    found: dict[str, Any] = next(
        row for row in table["other_endpoints"] if (row["segment"], row["from"]) == (segment, first)
    )[sex]
    return found


def total(choice: str, sex: str = "male", height_m: float | None = None) -> float:
    table = segment_table(choice, sex, height_m)  # type: ignore[arg-type]
    return sum(segment.mass * (2 if segment.paired else 1) for segment in table)


def test_masses_add_up_as_printed() -> None:
    assert total("de_leva") == pytest.approx(1.0, abs=5e-5)
    # The women's column is printed to two decimals of a per cent and adds up to 99.99 %.
    assert total("de_leva", "female") == pytest.approx(0.9999, abs=5e-5)
    assert total("winter") == pytest.approx(1.0, abs=1e-12)
    for height in (1.05, 1.30, 1.64):
        # Intercepts .2376 + .4246 + 2 x .1688 = .9998; the slopes cancel exactly.
        assert total("children", "male", height) == pytest.approx(0.9998, abs=1e-9)


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("segment", ["head", "trunk", "upper_trunk", "forearm", "hand", "shank"])
def test_radius_times_length_does_not_depend_on_the_endpoints(de_leva: dict[str, Any], segment: str, sex: str) -> None:
    both = (
        [row for row in de_leva["other_endpoints"] if row["segment"] == segment]
        if segment == "upper_trunk"
        else rows(de_leva, segment)
    )
    assert len(both) >= 2
    radii = np.array([np.array(row[sex]["radii"]) * row[sex]["length"] for row in both])
    assert np.ptp(radii, axis=0) == pytest.approx(0.0, abs=PRODUCT_M)


@pytest.mark.parametrize(
    ("segment", "sex", "radii_mm"),
    [
        ("hand", "male", (54.1, 34.6, 44.2)),
        ("hand", "female", (41.4, 26.1, 35.4)),  # one page prints .631 for this sagittal radius; only .531 gives it
        ("shank", "male", (110.5, 44.8, 108.2)),
        ("shank", "female", (117.2, 40.2, 115.4)),
        ("trunk", "male", (198.0, 101.7, 184.6)),
        ("trunk", "female", (188.8, 90.5, 179.5)),
    ],
)
def test_radii_in_millimetres(
    de_leva: dict[str, Any], segment: str, sex: str, radii_mm: tuple[float, float, float]
) -> None:
    row = de_leva["segments"][segment][sex]
    assert np.array(row["radii"]) * row["length"] * 1000 == pytest.approx(radii_mm, abs=0.6)


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("segment", ["head", "forearm", "hand", "shank"])
def test_centre_does_not_depend_on_the_second_endpoint(de_leva: dict[str, Any], segment: str, sex: str) -> None:
    start = de_leva["segments"][segment]["from"]
    names = {"head_top": "vertex"}
    same = [row for row in rows(de_leva, segment) if row["from"] in (start, names.get(start))]
    assert len(same) >= 2
    from_start = [row[sex]["centre"] * row[sex]["length"] for row in same]
    assert np.ptp(from_start) == pytest.approx(0.0, abs=0.0002)


@pytest.mark.parametrize(("sex", "within_m"), [("male", 0.003), ("female", 0.0002)])
def test_trunk_rebuilt_from_its_three_parts(de_leva: dict[str, Any], sex: str, within_m: float) -> None:
    upper, middle, lower = (
        part(de_leva, "upper_trunk", "suprasternale", sex),
        part(de_leva, "middle_trunk", "xiphion", sex),
        part(de_leva, "lower_trunk", "omphalion", sex),
    )
    whole = part(de_leva, "trunk", "suprasternale", sex)
    assert upper["length"] + middle["length"] + lower["length"] == pytest.approx(whole["length"], abs=0.0002)
    assert upper["mass"] + middle["mass"] + lower["mass"] == pytest.approx(whole["mass"], abs=1e-9)
    starts = np.cumsum([0.0, upper["length"], middle["length"]])
    centre = sum(
        row["mass"] * (start + row["centre"] * row["length"])
        for row, start in zip((upper, middle, lower), starts, strict=True)
    )
    # The men's trunk is inconsistent by 0.55 % of its length within the paper.
    assert centre / whole["mass"] == pytest.approx(whole["centre"] * whole["length"], abs=within_m)


def test_winter_radii_obey_the_parallel_axis_theorem() -> None:
    # About the proximal and the distal end, as printed; None where the table breaks its own theorem, see below.
    printed = {
        "hand": (0.587, 0.577),
        "forearm": (0.526, None),
        "upper_arm": (0.542, None),
        "foot": (0.690, 0.690),
        "shank": (0.528, 0.643),
        "thigh": (0.540, 0.653),
    }
    for segment in segment_table("winter"):
        for end, radius in zip((0.0, 1.0), printed.get(segment.name, (None, None)), strict=True):
            if radius is not None:
                about_end = np.hypot(segment.radii[2], segment.centre - end)
                assert about_end == pytest.approx(radius, abs=0.001), f"{segment.name} about {end}"


@pytest.mark.parametrize(("name", "printed", "theorem"), [("upper_arm", 0.645, 0.649), ("forearm", 0.647, 0.6455)])
def test_winter_exceptions_about_the_distal_end_stay_as_printed(name: str, printed: float, theorem: float) -> None:
    segment = next(segment for segment in segment_table("winter") if segment.name == name)
    about_end = np.hypot(segment.radii[2], 1 - segment.centre)
    assert about_end == pytest.approx(theorem, abs=0.0005)
    assert abs(about_end - printed) > 0.001


def test_winter_head_radius_is_about_the_ear() -> None:
    head = next(segment for segment in segment_table("winter") if segment.name == "head")
    assert np.hypot(head.radii[2], head.centre) == pytest.approx(1.116, abs=0.001)
    assert not np.isfinite(head.radii[1])


@pytest.mark.parametrize(
    ("age", "printed"),
    [
        # Values at 12 and 15 years in a transcription independent of that of the regressions' coefficients. [% of mass]
        (12, {"head": 10.1, "trunk": 41.7, "upper_arm": 3.2, "forearm": 1.7, "hand": 0.9}),
        (12, {"thigh": 11.0, "shank": 5.3, "foot": 2.1}),
        (15, {"head": 6.7, "trunk": 41.6, "upper_arm": 3.5, "forearm": 1.7, "hand": 0.8}),
        (15, {"thigh": 12.1, "shank": 5.6, "foot": 2.1}),
    ],
)
def test_children_have_the_printed_masses(age: int, printed: dict[str, float]) -> None:
    height = {12: 1.491, 15: 1.699}[age]  # median stature of boys
    found = {segment.name: 100 * segment.mass for segment in segment_table("children", "male", height)}
    for name, percent in printed.items():
        assert found[name] == pytest.approx(percent, abs=0.061), name


@pytest.mark.parametrize(
    ("sex", "age", "stature_m"),
    # Medians at 78.5 and 126.5 months in the published table; ours is interpolated between birthdays.
    [
        ("male", 78.5 / 12, 1.18867),
        ("male", 126.5 / 12, 1.41258),
        ("female", 78.5 / 12, 1.18450),
        ("female", 126.5 / 12, 1.41040),
    ],
)
def test_height_goes_with_the_age_of_the_growth_charts(sex: str, age: float, stature_m: float) -> None:
    assert age_of_median_height(stature_m, sex) == pytest.approx(age, abs=0.05)  # type: ignore[arg-type]


def test_children_above_and_below_the_study_keep_its_ages() -> None:
    for height, age in ((0.95, 4.0), (1.90, 15.0)):
        head = next(segment for segment in segment_table("children", "male", height) if segment.name == "head")
        assert head.mass == pytest.approx(0.2376 - 0.0114 * age)


@pytest.fixture(scope="module")
def standing() -> dict[str, np.ndarray]:
    """A man of 1.75 m standing upright; x forward, z up."""
    heights = {"ankle": 0.07, "knee": 0.50, "hip": 0.92, "shoulder": 1.44, "elbow": 1.15, "wrist": 0.88, "hand": 0.80}
    centres = {
        f"{s}_{name}": np.array([[0.0, 0.1 if s == "l" else -0.1, z]]) for s in "lr" for name, z in heights.items()
    }
    for side in "lr":
        for name, x in (("heel", -0.05), ("ball", 0.13), ("toe", 0.2)):
            centres[f"{side}_{name}"] = np.array([[x, 0, 0.0]])
    return centres | {
        "pelvis": np.array([[0, 0, 0.92]]),
        "neck": np.array([[0, 0, 1.44]]),
        "head": np.array([[0, 0, 1.62]]),
        "head_top": np.array([[0, 0, 1.75]]),
    }


def test_centre_of_mass_of_a_man_standing_upright_by_hand(standing: dict[str, np.ndarray]) -> None:
    # de Leva, men: mass share times height of the segment's centre, written out.
    by_hand = (
        0.0694 * (1.75 + 0.5002 * (1.44 - 1.75))
        + 0.4346 * (1.44 + 0.4310 * (0.92 - 1.44))
        + 2 * 0.0271 * (1.44 + 0.5772 * (1.15 - 1.44))
        + 2 * 0.0162 * (1.15 + 0.4574 * (0.88 - 1.15))
        + 2 * 0.0061 * (0.88 + 0.7900 * (0.80 - 0.88))
        + 2 * 0.1416 * (0.92 + 0.4095 * (0.50 - 0.92))
        + 2 * 0.0433 * (0.50 + 0.4395 * (0.07 - 0.50))
    )
    assert centre_of_mass(standing)[0, 2] == pytest.approx(by_hand, abs=1e-12)
    assert centre_of_mass(standing)[0, 1] == pytest.approx(0.0, abs=1e-12)


def test_winter_centre_of_mass_by_hand(standing: dict[str, np.ndarray]) -> None:
    by_hand = (
        0.081 * 1.62
        + 0.497 * (1.44 + 0.92) / 2
        + 2 * 0.028 * (1.44 + 0.436 * (1.15 - 1.44))
        + 2 * 0.016 * (1.15 + 0.430 * (0.88 - 1.15))
        + 2 * 0.006 * (0.88 + 0.506 * (0.80 - 0.88))
        + 2 * 0.100 * (0.92 + 0.433 * (0.50 - 0.92))
        + 2 * 0.0465 * (0.50 + 0.433 * (0.07 - 0.50))
        + 2 * 0.0145 * 0.07 / 2
    )
    com = centre_of_mass(standing, table=segment_table("winter"))
    assert com[0, 2] == pytest.approx(by_hand, abs=1e-12)


def test_tables_differ_by_centimetres_on_the_same_posture(standing: dict[str, np.ndarray]) -> None:
    base = centre_of_mass(standing)
    for choice, sex, height in (("winter", "male", None), ("de_leva", "female", None), ("children", "male", 1.60)):
        table = segment_table(choice, sex, height)  # type: ignore[arg-type]
        off = np.linalg.norm(centre_of_mass(standing, table=table) - base)
        assert 0.002 < off < 0.04, f"{choice}, {sex}: {1000 * off:.0f} mm"


def test_a_child_carries_its_mass_higher(standing: dict[str, np.ndarray]) -> None:
    def height_of(choice: str, height: float) -> float:
        return float(centre_of_mass(standing, table=segment_table(choice, "male", height))[0, 2])  # type: ignore[arg-type]

    assert height_of("auto", 1.20) > height_of("auto", 1.40) > height_of("auto", 1.60)
    assert height_of("auto", 1.65) == pytest.approx(height_of("de_leva", 1.65))
    # Where the children's table takes over, the shares step by less than the tables of adults differ.
    assert abs(height_of("auto", 1.649) - height_of("auto", 1.651)) < 0.025


def test_segment_centres_lie_between_their_endpoints(standing: dict[str, np.ndarray]) -> None:
    for choice in ("de_leva", "winter"):
        parts = segment_centres(standing, table=segment_table(choice))  # type: ignore[arg-type]
        assert len(parts) == 14
        assert parts["l_thigh"][1][0, 1] == pytest.approx(0.1)
        assert 0.50 < parts["l_thigh"][1][0, 2] < 0.92
