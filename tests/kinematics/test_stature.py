"""Heights found from segments against heights that are known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.errors import InputError
from mocap.kinematics.scaling import proportioned, rescaled, segment_lengths
from mocap.kinematics.stature import height_from_segments
from mocap.reference.posed import PosedSwing
from mocap.swing import POINTS

SIDES = ("front", "back")


@pytest.fixture(scope="module")
def hitter(posed: PosedSwing) -> dict[str, np.ndarray]:
    """1.80 m, with de Leva's proportions for men."""
    return {name: posed.points[:, i] for i, name in enumerate(POINTS)}


def test_height_of_a_posed_hitter(hitter: dict[str, np.ndarray]) -> None:
    height, sd = height_from_segments(hitter, sides=SIDES)
    assert height == pytest.approx(1.80, abs=0.02)
    assert 0.03 < sd < 0.08


def test_height_of_a_hitter_with_the_other_sources_proportions(hitter: dict[str, np.ndarray]) -> None:
    lengths = proportioned(segment_lengths(hitter, sides=SIDES), 1.80, source="drillis_contini")
    height, sd = height_from_segments(rescaled(hitter, lengths, sides=SIDES), sides=SIDES)
    assert height == pytest.approx(1.80, abs=0.02)
    assert height != pytest.approx(1.80, abs=0.002)  # the shares are those of both sources, so neither is met exactly
    assert sd > 0.03


def test_height_of_a_woman_needs_her_shares(hitter: dict[str, np.ndarray]) -> None:
    lengths = proportioned(segment_lengths(hitter, sides=SIDES), 1.70, sex="female")
    woman = rescaled(hitter, lengths, sides=SIDES)
    height, sd = height_from_segments(woman, sides=SIDES, sex="female")
    as_a_man, _ = height_from_segments(woman, sides=SIDES)
    assert abs(height - 1.70) < abs(as_a_man - 1.70)
    assert abs(height - 1.70) < sd


def test_height_grows_with_the_body(hitter: dict[str, np.ndarray]) -> None:
    height, sd = height_from_segments(hitter, sides=SIDES)
    smaller, smaller_sd = height_from_segments({name: 0.7 * path for name, path in hitter.items()}, sides=SIDES)
    assert smaller == pytest.approx(0.7 * height)
    assert smaller_sd == pytest.approx(0.7 * sd)


def test_one_leg_is_its_length_over_its_share() -> None:
    legs = {"l_hip": [0, 0, 0.9], "l_knee": [0, 0, 0.5], "l_ankle": [0, 0, 0.1]}
    height, sd = height_from_segments({name: np.array([place]) for name, place in legs.items()})
    # de Leva, men (.4222 + .4403) / 1.741, Drillis & Contini .245 + .246: mean .49320.
    assert height == pytest.approx(0.8 / ((0.8625 / 1.741 + 0.491) / 2))
    # People 3.0 %, points 1.6 %, sources half of .49540 - .49100.
    assert sd / height == pytest.approx(np.sqrt(0.030**2 + 0.016**2 + (0.0022 / 0.4932) ** 2), rel=0.01)


def test_more_segments_tell_more(hitter: dict[str, np.ndarray]) -> None:
    legs = {name: path for name, path in hitter.items() if name.split("_")[-1] in ("hip", "knee", "ankle")}
    trunk = legs | {name: hitter[name] for name in ("pelvis", "neck")}
    (_, of_legs), (_, with_trunk), (_, of_all) = (
        height_from_segments(part, sides=SIDES) for part in (legs, trunk, hitter)
    )
    assert of_all < with_trunk < of_legs


def test_weights_are_those_that_spread_least() -> None:
    # Draw people with shares that vary and points that err as stated; no other weights may do better than the mean of
    # their squared errors says.
    from mocap.kinematics import stature

    names = list(stature.CHAINS)
    covariance = stature._covariance({name: stature._shares(name, "male") for name in names})
    heights = 1.0 + np.random.default_rng(3).multivariate_normal(np.zeros(3), covariance, 20000)
    weights = np.linalg.solve(covariance, np.ones(3))
    spread = np.std(heights @ weights / weights.sum())
    assert spread == pytest.approx(1.0 / np.sqrt(weights.sum()), rel=0.02)
    for other in ([1, 0, 0], [1 / 3, 1 / 3, 1 / 3], [0.9, 0.1, 0.0], [0.7, 0.1, 0.2]):
        assert np.std(heights @ np.array(other)) > spread


def test_contradicting_segments_widen_the_spread(hitter: dict[str, np.ndarray]) -> None:
    _, sd = height_from_segments(hitter, sides=SIDES)
    lengths = segment_lengths(hitter, sides=SIDES)
    short = rescaled(hitter, {"trunk": 0.6 * lengths["trunk"], "upper_arm": 0.6 * lengths["upper_arm"]}, sides=SIDES)
    _, wider = height_from_segments(short, sides=SIDES)
    assert wider > 1.3 * sd


@pytest.mark.parametrize(("name", "within_m"), [("full_body_gait.c3d", 0.05), ("full_body_standing.c3d", 0.04)])
def test_height_of_people_who_were_measured(shared_data: Path, name: str, within_m: float) -> None:
    capture = mocap.read(shared_data / "c3d" / name)
    height, sd = height_from_segments(mocap.joint_centres(capture))
    known = capture.subject["height_m"]
    assert abs(height - known) < min(within_m, sd), f"{height:.3f} m found, {known:.2f} m measured"


def test_height_from_the_lab_s_own_legs(shared_data: Path) -> None:
    capture = mocap.read(shared_data / "c3d" / "lower_body_three_plates.c3d")
    lab = {"hip": "FEP", "knee": "FEO", "ankle": "TIO"}
    legs = {
        f"{side}_{joint}": capture.points[:, capture.labels.index(side.upper() + point)]
        for side in "lr"
        for joint, point in lab.items()
    }
    height, sd = height_from_segments(legs)
    # 1.66 +- 0.06 m by the men's shares: 1.8 standard deviations below the 1.76 m in the file.
    assert abs(height - capture.subject["height_m"]) < 2 * sd


def test_nothing_seen_says_what_to_do() -> None:
    with pytest.raises(InputError, match="height cannot be estimated"):
        height_from_segments({"l_hip": np.zeros((2, 3))})
