"""The posed swing, the sound hitters of the roster, and drawn ones, as they truly are, against what was printed.

The printed values and their sources stand in ``published_hitters.toml``: a band is the mean and two standard deviations
on both sides, or 15 % for one where no SD is published. ``test_hitters.py`` holds what the product measures against
them.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from mocap.reference.parameters import SwingParameters
from mocap.reference.posed import PosedSwing, pose_swing
from mocap.virtual.draws import draw_body, draw_style, sound_swing
from mocap.virtual.forces import ground_forces

RATE_HZ = 1000.0


@pytest.fixture(scope="module")
def sound(project_root: Path) -> dict[str, PosedSwing]:
    spec = importlib.util.spec_from_file_location("demo_hitters", project_root / "scripts" / "demo_hitters.py")
    assert spec is not None
    assert spec.loader is not None
    demo = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(demo)
    hitters = (demo.ROOK, demo.BIRCH, demo.SORREL, demo.WREN, demo.progress()[-1][1])
    swings = {hitter.id: pose_swing(hitter.parameters, RATE_HZ) for hitter in hitters}
    return {"standard": pose_swing(SwingParameters(height_m=1.80), RATE_HZ), **swings}


GROWN = ("standard", "rook", "birch", "sorrel")


def to_contact(swing: PosedSwing) -> slice:
    return slice(round(swing.moments["plant"] * RATE_HZ), round(swing.moments["contact"] * RATE_HZ) + 1)


def turning_deg_s(swing: PosedSwing, first: str, second: str) -> np.ndarray:
    line = swing[second] - swing[first]
    line = line / np.linalg.norm(line, axis=1, keepdims=True)
    return np.degrees(np.linalg.norm(np.gradient(line, 1 / RATE_HZ, axis=0), axis=1))


def knee_bend(swing: PosedSwing) -> np.ndarray:
    """Flexion of the front knee by the law of cosines, shape (T,). [deg]"""
    a, b, c = (
        np.linalg.norm(swing[f"front_{p}"] - swing[f"front_{q}"], axis=1)
        for p, q in (("hip", "knee"), ("knee", "ankle"), ("hip", "ankle"))
    )
    return 180.0 - np.degrees(np.arccos((a**2 + b**2 - c**2) / (2 * a * b)))


def first_touch(swing: PosedSwing) -> int:
    """The frame in which a plate would first feel the front foot after its stride."""
    before = np.arange(round(swing.moments["plant"] * RATE_HZ)) / RATE_HZ - swing.moments["plant"]
    load = ground_forces(swing.parameters, 80.0, before).front[:, 2]
    return int(np.flatnonzero(load < 1.0)[-1]) + 1


def bat_speed(swing: PosedSwing) -> float:
    knob, barrel = swing["bat_knob"], swing["bat_barrel"]
    spot = barrel + 0.15 * (knob - barrel) / swing.parameters.barrel.bat_length_m
    return float(np.linalg.norm(np.gradient(spot, 1 / RATE_HZ, axis=0), axis=1)[to_contact(swing)].max())


@pytest.mark.parametrize("name", GROWN)
def test_bat_speed_of_grown_hitters(sound, published, name: str) -> None:
    row = published["bat_speed", "college"]
    assert row.low < bat_speed(sound[name]) < row.high


def test_bat_speed_of_a_youth(sound, published) -> None:
    # No SD is published for youths: that of the college players stands for it.
    assert bat_speed(sound["lark"]) == pytest.approx(
        published["bat_speed", "youth"].mean, abs=2 * published["bat_speed", "college"].sd
    )


def test_a_childs_bat_is_slower_than_published_youths(sound, published) -> None:
    # The published youths are older than eight.
    assert 15.0 < bat_speed(sound["wren"]) < published["bat_speed", "youth"].mean


@pytest.mark.parametrize("name", [*GROWN, "wren"])
def test_swing_time(sound, published, name: str) -> None:
    swing = sound[name]
    turning = turning_deg_s(swing, "bat_knob", "bat_barrel")
    contact = to_contact(swing).stop - 1
    # From the bat's first turn of a tenth of its greatest speed, without a break, to contact.
    start = np.flatnonzero(turning[:contact] < 0.1 * turning[:contact].max())[-1]
    row = published["swing_time", "softball, college"]
    assert row.low < (contact - start) / RATE_HZ < row.high


@pytest.mark.parametrize("name", GROWN)
def test_turning_speeds_of_grown_hitters(sound, published, name: str) -> None:
    pelvis, trunk = (
        turning_deg_s(sound[name], f"back_{part}", f"front_{part}")[to_contact(sound[name])].max()
        for part in ("hip", "shoulder")
    )
    # No SD published; half the usual band, as these hitters are made to be usual.
    for value, quantity, levels in (
        (pelvis, "pelvis_turn_speed", ("professional", "professional")),
        (trunk, "trunk_turn_speed", ("adult", "professional")),
    ):
        lowest, highest = (published[quantity, level] for level in levels)
        assert (lowest.low + lowest.mean) / 2 < value < (highest.mean + highest.high) / 2


@pytest.mark.parametrize("name", ["wren", "lark"])
def test_turning_speed_of_youths(sound, published, name: str) -> None:
    row = published["trunk_turn_speed", "youth"]
    value = turning_deg_s(sound[name], "back_shoulder", "front_shoulder").max()
    assert (row.low + row.mean) / 2 < value < (row.mean + row.high) / 2


@pytest.mark.parametrize("name", [*GROWN, "wren"])
def test_from_the_ground_up(sound, name: str) -> None:
    swing = sound[name]
    lines = [("back_hip", "front_hip"), ("back_shoulder", "front_shoulder"), ("bat_knob", "bat_barrel")]
    peaks = [int(np.argmax(turning_deg_s(swing, *line)[to_contact(swing)])) for line in lines]
    assert peaks == sorted(peaks)
    assert len(set(peaks)) == 3


@pytest.mark.parametrize(("name", "level"), [*((name, "adult") for name in GROWN[1:]), ("lark", "youth")])
def test_the_front_knee_extends_as_fast_as_published(sound, published, name: str, level: str) -> None:
    swing = sound[name]
    row = published["front_knee_extension_speed", level]
    assert row.low < -np.gradient(knee_bend(swing), 1 / RATE_HZ)[to_contact(swing)].min() < row.high


@pytest.mark.parametrize(
    ("level", "sample", "bat"),
    [("adult", "adult", "college"), ("college", "adult", "college"), ("youth", "youth", "youth")],
)
def test_drawn_hitters_are_as_fast_as_their_level(published, level: str, sample: str, bat: str) -> None:
    swings = []
    for seed in range(30):
        rng = np.random.default_rng([seed, 1])
        height, _, sex = draw_body(rng, level)
        swings.append(draw_style(rng, sound_swing(rng, level, height, sex)))
    speeds = np.array([(p.turn.trunk_speed_deg_s, p.barrel.barrel_speed) for p in swings])
    trunk, barrel = published["trunk_turn_speed", sample], published["bat_speed", bat]
    # A mean over 30 hitters lies within half a deviation (a quarter of the band's half) of the printed one.
    assert speeds[:, 0].mean() == pytest.approx(trunk.mean, abs=(trunk.high - trunk.mean) / 4)
    if barrel.sd is not None:
        assert speeds[:, 1].mean() == pytest.approx(barrel.mean, abs=barrel.sd / 2)
        assert (np.abs(speeds[:, 1] - barrel.mean) < 3.5 * barrel.sd).all()
    else:
        assert 15.0 < speeds[:, 1].min() < speeds[:, 1].max() < (barrel.mean + barrel.high) / 2


@pytest.mark.parametrize(("level", "sample"), [("adult", "adult"), ("college", "adult"), ("youth", "youth")])
def test_drawn_hitters_straighten_the_front_knee_like_their_level(published, level: str, sample: str) -> None:
    """Means over drawn sound hitters: from first touch to greatest bend, from there to contact, greatest speed."""
    extension, fastest, after_touch = [], [], []
    for seed in range(12):
        rng = np.random.default_rng([seed, 2])
        height, _, sex = draw_body(rng, level)
        swing = pose_swing(sound_swing(rng, level, height, sex), RATE_HZ)
        bend = knee_bend(swing)
        turning = bend[to_contact(swing)]
        extension.append(turning.max() - turning[-1])
        fastest.append(-np.gradient(turning, 1 / RATE_HZ).min())
        after_touch.append(turning.max() - bend[first_touch(swing)])
    for quantity, values in (
        ("front_knee_extension", extension),
        ("front_knee_extension_speed", fastest),
        ("front_knee_bend_after_touch", after_touch),
    ):
        row = published[quantity, sample]
        assert row.low < np.mean(values) < row.high
