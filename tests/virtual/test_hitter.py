from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest

from mocap.errors import OptionError
from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.swing import MOMENTS
from mocap.virtual.flaws import FLAWS
from mocap.virtual.hitter import VirtualHitter, random_hitter
from mocap.virtual.plausible import _held_back

FloatArray = npt.NDArray[np.float64]
LEVELS = ("adult", "college", "youth")
RATE_HZ = 500.0


@pytest.fixture(scope="module")
def drawn() -> list[tuple[VirtualHitter, PosedSwing]]:
    hitters = [random_hitter(np.random.default_rng([7, i]), level=LEVELS[i % 3]) for i in range(24)]  # type: ignore[arg-type]
    return [(hitter, pose_swing(hitter.parameters, RATE_HZ)) for hitter in hitters]


@pytest.fixture(scope="module")
def demo(project_root: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_hitters", project_root / "scripts" / "demo_hitters.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def flexion_deg(swing: PosedSwing, side: str, joints: tuple[str, str, str]) -> FloatArray:
    """180 degrees less the inner angle, by the law of cosines."""
    p, q, r = (swing[f"{side}_{name}"] for name in joints)
    a, b, c = (np.linalg.norm(u - v, axis=1) for u, v in ((p, q), (q, r), (p, r)))
    return 180.0 - np.degrees(np.arccos((a**2 + b**2 - c**2) / (2 * a * b)))


KNEE, ELBOW = ("hip", "knee", "ankle"), ("shoulder", "elbow", "wrist")


@pytest.mark.parametrize(("joints", "bounds", "fastest"), [(KNEE, (5, 150), 1200), (ELBOW, (5, 155), 2700)])
def test_joints_bend_as_joints_do(drawn, joints, bounds, fastest) -> None:
    for hitter, swing in drawn:
        for side in ("front", "back"):
            bent = flexion_deg(swing, side, joints)
            assert bounds[0] < bent.min() < bent.max() < bounds[1], (hitter.id, side)
            assert np.abs(np.gradient(bent, 1 / RATE_HZ)).max() < fastest, (hitter.id, side)


def test_segments_keep_their_lengths(drawn) -> None:
    for _, swing in drawn:
        for first, second in (("hip", "knee"), ("knee", "ankle"), ("shoulder", "elbow"), ("elbow", "wrist")):
            for side in ("front", "back"):
                assert np.ptp(np.linalg.norm(swing[f"{side}_{first}"] - swing[f"{side}_{second}"], axis=1)) < 1e-9


def test_feet_neither_sink_nor_slide(drawn) -> None:
    for hitter, swing in drawn:
        feet = [f"{side}_{name}" for side in ("front", "back") for name in ("heel", "ball", "toe")]
        assert min(swing[name][:, 2].min() for name in feet) > 0.009 * hitter.height_m
        assert np.ptp(swing["back_ball"], axis=0).max() < 1e-9
        plant, timing = swing.moments["plant"], hitter.parameters.timing
        before = round((timing.stance + plant) * RATE_HZ)
        assert np.ptp(swing["front_ball"][:before], axis=0).max() < 1e-9
        planted = slice(round(plant * RATE_HZ) + 1, round((plant + timing.heel_down) * RATE_HZ))
        assert np.ptp(swing["front_ball"][planted], axis=0).max() < 1e-9
        # Then it may turn, on the heel.
        assert np.ptp(swing["front_heel"][round((plant + timing.heel_down) * RATE_HZ) + 1 :], axis=0).max() < 1e-9


def test_bodies_do_not_run_into_themselves(drawn) -> None:
    along = np.linspace(0.0, 1.0, 41)[:, None, None]

    def nearest(swing: PosedSwing, point: str, ends: tuple[str, str]) -> float:
        places = (1 - along) * swing[ends[0]] + along * swing[ends[1]]
        return float(np.linalg.norm(places - swing[point], axis=2).min())

    for hitter, swing in drawn:
        assert nearest(swing, "head", ("bat_knob", "bat_barrel")) > 0.06 * hitter.height_m, hitter.id
        for side in ("front", "back"):
            assert nearest(swing, f"{side}_elbow", ("pelvis", "neck")) > 0.06 * hitter.height_m, hitter.id
        knees = np.linalg.norm(swing["front_knee"] - swing["back_knee"], axis=1)
        assert knees.min() > 0.08 * hitter.height_m, hitter.id


def test_moments_come_in_order(drawn) -> None:
    for hitter, swing in drawn:
        assert tuple(swing.moments) == MOMENTS
        assert np.all(np.diff(list(swing.moments.values())) > 0), hitter.id


def test_the_barrel_meets_the_ball_as_fast_as_asked(drawn) -> None:
    for hitter, _ in drawn:
        swing = pose_swing(hitter.parameters, 2000.0)
        knob, barrel = swing["bat_knob"], swing["bat_barrel"]
        spot = barrel + 0.15 * (knob - barrel) / hitter.parameters.barrel.bat_length_m
        contact = swing.moments["contact"]
        time = np.arange(len(spot)) / 2000.0
        speed = np.linalg.norm(np.gradient(spot, 1 / 2000.0, axis=0), axis=1)
        assert np.interp(contact, time, speed) == pytest.approx(hitter.parameters.barrel.barrel_speed, rel=2e-3)


def test_hitters_differ(drawn) -> None:
    hitters = [hitter for hitter, _ in drawn]
    assert {hitter.bats for hitter in hitters} == {"left", "right"}
    assert {hitter.sex for hitter in hitters} == {"male", "female"}
    width, length = (np.array([getattr(h.parameters, s).__dict__[n] for h in hitters]) for s, n in STANCE_AND_STRIDE)
    assert np.ptp(width) > 0.10
    assert np.ptp(length) > 0.06
    assert np.ptp([hitter.parameters.stride.foot_height for hitter in hitters]) > 0.10


STANCE_AND_STRIDE = (("stance", "width"), ("stride", "length"))


def test_sizes_follow_the_growth_charts() -> None:
    # CDC stature-for-age: boys of 8 years 118.6 cm at the 5th percentile, of 14 years 176.7 cm at the 95th.
    heights = [random_hitter(np.random.default_rng([3, i]), level="youth").height_m for i in range(12)]
    assert 1.15 < min(heights) < max(heights) < 1.85
    assert max(heights) - min(heights) > 0.15


def test_the_same_seed_gives_the_same_hitter() -> None:
    first, second, other = (random_hitter(np.random.default_rng(seed)) for seed in (5, 5, 6))
    assert first == second
    assert first != other


@pytest.mark.parametrize("name", sorted(FLAWS))
def test_every_fault_can_be_posed_and_changes_the_swing(name: str) -> None:
    sound = pose_swing(SwingParameters(), 100.0)
    faulty = pose_swing(FLAWS[name](SwingParameters(), 1.0), 100.0)
    assert np.linalg.norm(faulty.points - sound.points, axis=2).max() > 0.03


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"id": "two words"}, "one word"),
        ({"bats": "both"}, "bats is 'both'"),
        ({"sex": "x"}, "sex is 'x'"),
        ({"level": "pro"}, "level is 'pro'"),
        ({"mass_kg": 20.0}, "mass_kg is 20.0"),
        ({"parameters": SwingParameters(height_m=0.5)}, "height_m is 0.50"),
    ],
)
def test_what_is_no_hitter_is_refused(change: dict[str, object], said: str) -> None:
    hitter = VirtualHitter("a", "A", SwingParameters(), 80.0)
    with pytest.raises(OptionError, match=said):
        replace(hitter, **change)  # type: ignore[arg-type]


def test_an_unknown_level_is_refused() -> None:
    with pytest.raises(OptionError, match="level is 'pro'"):
        random_hitter(np.random.default_rng(0), level="pro")  # type: ignore[arg-type]


def test_the_rosters_two_stances_land_alike(demo: ModuleType) -> None:
    rook, birch = (pose_swing(hitter.parameters, RATE_HZ) for hitter in (demo.ROOK, demo.BIRCH))

    def apart(moment: str) -> float:
        places = []
        for swing in (rook, birch):
            frame = round(swing.moments[moment] * RATE_HZ)
            places.append(swing.points[frame, :-2] / swing.parameters.height_m)
        return float(np.linalg.norm(places[0] - places[1], axis=1).mean())

    assert apart("stance") > 0.08
    assert apart("plant") < 0.004


def test_the_roster_is_what_it_says(demo: ModuleType) -> None:
    hitters = {hitter.id: hitter for hitter in demo.roster()}
    assert len(hitters) == 8
    assert hitters["wren"].height_m < 1.4
    assert [hitter.id for hitter in hitters.values() if hitter.bats == "left"] == ["sorrel"]
    check: dict[str, Callable[[PosedSwing], bool]] = {
        "flint": lambda s: s.parameters.landing.back_share <= 0.42,
        "heath": lambda s: s.parameters.landing.trunk_open_deg > 5,
        "reed": lambda s: abs(foot_heading_deg(s, "contact") - foot_heading_deg(s, "stance")) < 5,
        "oak": lambda s: bool(s["bat_barrel"][plant(s), 0] > s["head"][plant(s), 0] + 0.05),
    }
    for name, says in check.items():
        assert says(pose_swing(hitters[name].parameters, RATE_HZ)), name


def plant(swing: PosedSwing) -> int:
    return round(swing.moments["plant"] * RATE_HZ)


def foot_heading_deg(swing: PosedSwing, moment: str) -> float:
    frame = round(swing.moments[moment] * RATE_HZ)
    foot = swing["back_ball"][frame] - swing["back_heel"][frame]
    return float(np.degrees(np.arctan2(foot[0], -foot[1])))


def test_lark_makes_progress(demo: ModuleType) -> None:
    days, hitters = zip(*demo.progress(), strict=True)
    assert list(days) == sorted(set(days))
    assert len({hitter.id for hitter in hitters}) == 1
    shares = [hitter.parameters.landing.back_share for hitter in hitters]
    knees = [hitter.parameters.turn.front_knee_flexion_at_contact_deg for hitter in hitters]
    assert shares[0] < 0.45 < 0.50 < shares[2] < 0.60
    assert shares == sorted(shares)
    assert knees == sorted(knees, reverse=True)


def test_a_barrel_that_is_flicked_and_held_back_is_no_swing() -> None:
    """A peak half way to contact that the speed falls from by as much as contact has, and one by a tenth of that."""
    time = np.arange(-0.1, 0.4, 1.0 / RATE_HZ)
    postures = SimpleNamespace(parameters=SwingParameters())
    for peak, doubted in ((40.0, True), (3.0, False)):
        speed = 30.0 * np.clip(time, 0.0, None) / 0.275 + peak * np.exp(-0.5 * ((time - 0.15) / 0.015) ** 2)
        barrel = np.cumsum(speed)[:, None] / RATE_HZ * np.array([1.0, 0.0, 0.0])
        assert bool(_held_back({"bat_barrel": barrel}, time, postures)) == doubted
