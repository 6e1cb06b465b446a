"""Skeletons of other sizes against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from mocap.errors import InputError, OptionError
from mocap.kinematics.scaling import (
    FOOT_POINTS,
    LIMBS,
    proportioned,
    published_shares,
    rescaled,
    scaled_to_height,
    segment_lengths,
    with_lengths,
)
from mocap.reference.posed import PosedSwing
from mocap.swing import POINTS

SIDES = ("front", "back")


@pytest.fixture(scope="module")
def hitter(posed: PosedSwing) -> dict[str, np.ndarray]:
    return {name: posed.points[:, i] for i, name in enumerate(POINTS)}


def test_lengths_of_a_body_that_is_known() -> None:
    def still(*place: float) -> np.ndarray:
        return np.tile(place, (3, 1))

    centres = {"pelvis": still(0, 0, 0), "neck": still(0, 0, 0.5), "head_top": still(0, 0, 0.8)}
    for side, y in (("l", 0.1), ("r", -0.1)):
        centres |= {f"{side}_hip": still(0, y, 0), f"{side}_knee": still(0, y, -0.4 - y / 10)}
        centres |= {f"{side}_shoulder": still(0, 2 * y, 0.5), f"{side}_elbow": np.full((3, 3), np.nan)}
    found = segment_lengths(centres)
    assert found == pytest.approx({"trunk": 0.5, "head": 0.3, "hip_width": 0.2, "shoulder_width": 0.4, "thigh": 0.4})


def test_height_alone_scales_every_point(hitter: dict[str, np.ndarray]) -> None:
    lengths = segment_lengths(hitter, sides=SIDES)
    smaller = rescaled(hitter, scaled_to_height(lengths, 1.44, 1.80), sides=SIDES)
    hands = (hitter["front_hand"] + hitter["back_hand"]) / 2
    for name, path in hitter.items():
        expected = path + hands * (0.8 - 1.0) if name.startswith("bat") else 0.8 * path
        # The posed bones are stiff, so the median length is that of every frame.
        assert smaller[name] == pytest.approx(expected, abs=1e-9), name


def test_own_lengths_give_back_the_same_body(hitter: dict[str, np.ndarray]) -> None:
    same = rescaled(hitter, {}, sides=SIDES)
    for name, path in hitter.items():
        assert same[name] == pytest.approx(path, abs=1e-9), name


def test_each_segment_gets_its_length_and_keeps_its_direction(hitter: dict[str, np.ndarray]) -> None:
    given = {"thigh": 0.50, "forearm": 0.21, "shoulder_width": 0.50, "foot": 0.22}
    longer = rescaled(hitter, given, sides=SIDES)
    lengths = segment_lengths(hitter, sides=SIDES) | given
    for side in SIDES:
        for segment, (first, second) in LIMBS.items():
            before = hitter[f"{side}_{second}"] - hitter[f"{side}_{first}"]
            after = longer[f"{side}_{second}"] - longer[f"{side}_{first}"]
            assert np.linalg.norm(after, axis=1) == pytest.approx(lengths[segment], abs=1e-9)
            assert np.cross(before, after) == pytest.approx(0.0, abs=1e-9)
    assert segment_lengths(longer, sides=SIDES) == pytest.approx(lengths, abs=1e-9)


def test_feet_stay_as_high_over_the_floor(hitter: dict[str, np.ndarray]) -> None:
    feet = [f"{side}_{point}" for side in SIDES for point in (*FOOT_POINTS, "ankle")]
    old = segment_lengths(hitter, sides=SIDES)
    longer = rescaled(hitter, {"thigh": 1.1 * old["thigh"], "shank": 0.9 * old["shank"]}, sides=SIDES)
    ratio = (1.1 * old["thigh"] + 0.9 * old["shank"]) / (old["thigh"] + old["shank"])
    before, after = (np.min([path[name][:, 2] for name in feet], axis=0) for path in (hitter, longer))
    assert after == pytest.approx(ratio * before, abs=1e-9)


def test_floor_elsewhere_moves_nothing_else(hitter: dict[str, np.ndarray]) -> None:
    up = np.array([0.0, 0.0, 3.0])
    lifted = {name: path + up for name, path in hitter.items()}
    given = {"thigh": 0.5, "trunk": 0.4}
    one, two = rescaled(hitter, given, sides=SIDES), rescaled(lifted, given, sides=SIDES, floor_m=3.0)
    for name, path in one.items():
        assert two[name] - up == pytest.approx(path, abs=1e-9), name


def test_frames_with_gaps_stay_gaps(hitter: dict[str, np.ndarray]) -> None:
    gap = dict(hitter) | {"front_elbow": hitter["front_elbow"].copy()}
    gap["front_elbow"][5:9] = np.nan
    found = rescaled(gap, {"thigh": 0.5}, sides=SIDES)
    whole = rescaled(hitter, {"thigh": 0.5}, sides=SIDES)
    assert np.isnan(found["front_hand"][5:9]).all()
    assert found["front_knee"] == pytest.approx(whole["front_knee"], abs=1e-9)
    assert found["front_hand"][9:] == pytest.approx(whole["front_hand"][9:], abs=1e-9)


@pytest.mark.parametrize("source", ["de_leva", "drillis_contini"])
def test_published_proportions_add_up_to_the_stature(source: str) -> None:
    for sex in ("male", "female"):
        share = published_shares(source, sex)  # type: ignore[arg-type]
        upright = 0.039 + share["shank"] + share["thigh"] + share["trunk"] + share["head"]
        assert upright == pytest.approx(1.0, abs=1e-9)


def test_proportions_of_the_two_sources_agree_as_far_as_they_do() -> None:
    one, two = published_shares("de_leva"), published_shares("drillis_contini")
    # Men's shares by hand: 422.2, 440.3, 281.7 mm of 1741 mm.
    assert [one[name] for name in ("thigh", "shank", "upper_arm")] == pytest.approx([0.2425, 0.2529, 0.1618], abs=5e-5)
    for name, share in two.items():
        assert one[name] == pytest.approx(share, rel=0.15), name


def test_published_proportions_of_a_height() -> None:
    lengths = {"thigh": 0.40, "shank": 0.40, "trunk": 0.45, "hip_width": 0.16}
    found = proportioned(lengths, 2.0, source="drillis_contini")
    assert found["thigh"] == pytest.approx(0.49)
    assert found["shank"] == pytest.approx(0.492)
    assert found["trunk"] == pytest.approx(0.576)
    assert found["hip_width"] == pytest.approx(0.16 * (0.49 + 0.492 + 0.576) / 1.25)
    assert lengths["thigh"] == 0.40


def test_what_no_skeleton_is_is_refused(hitter: dict[str, np.ndarray]) -> None:
    with pytest.raises(OptionError, match=r"height 0\.2 m is outside"):
        scaled_to_height({"thigh": 0.4}, 0.2, 1.8)
    with pytest.raises(OptionError, match="segment 'femur' is not known"):
        rescaled(hitter, {"femur": 0.5}, sides=SIDES)
    with pytest.raises(OptionError, match=r"length -0\.4 m of the segment thigh"):
        with_lengths({"thigh": 0.4}, {"thigh": -0.4})
    with pytest.raises(OptionError, match="proportions 'leonardo' are not known"):
        published_shares("leonardo")  # type: ignore[arg-type]
    with pytest.raises(OptionError, match="sex 'man'"):
        published_shares("de_leva", "man")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="none of the segments"):
        proportioned({"hip_width": 0.2}, 1.8)
    with pytest.raises(InputError, match="no front_knee"):
        rescaled({name: path for name, path in hitter.items() if name != "front_knee"}, {}, sides=SIDES)
