from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture, ForcePlate
from mocap.kinematics.foot_forces import foot_forces
from mocap.swing import FootForces, Moment

RATE_HZ, FRAMES, PLANT = 100.0, 200, 100
#: The back foot stays at x = 0; the front one stands at x = 0.3, lifts at frame 60 and lands at x = 0.9 at PLANT.
BACK_X, STANCE_X, LANDED_X = 0.0, 0.3, 0.9
WEIGHT_N = 800.0


def centres() -> dict[str, np.ndarray]:
    front_x = np.interp(np.arange(FRAMES), [60, PLANT], [STANCE_X, LANDED_X])
    paths = {}
    for side, x in (("front", front_x), ("back", np.full(FRAMES, BACK_X))):
        for point, y in (("heel", -0.1), ("ball", 0.1), ("ankle", -0.08)):
            paths[f"{side}_{point}"] = np.stack([x, np.full(FRAMES, y), np.zeros(FRAMES)], axis=1)
    return paths


def front_load() -> np.ndarray:
    frames = np.arange(FRAMES)
    return np.where(frames < 60, 300.0, np.where(frames < PLANT, 0.0, 500.0))


def plate(low_x: float, high_x: float, loads: dict[float, np.ndarray], sign: float = 1.0) -> ForcePlate:
    """A plate between two x, loaded with vertical forces that act at some x."""
    corners = np.array([[high_x, 0.3, 0.0], [high_x, -0.3, 0.0], [low_x, -0.3, 0.0], [low_x, 0.3, 0.0]])
    vertical = np.sum(list(loads.values()), axis=0)
    with np.errstate(invalid="ignore"):
        x = np.sum([place * load for place, load in loads.items()], axis=0) / np.where(vertical > 20, vertical, np.nan)
    force = np.stack([0 * vertical, 0 * vertical, sign * vertical], axis=1)
    return ForcePlate(2, corners, force, 0 * force, np.stack([x, 0 * x, 0 * x], axis=1), RATE_HZ)


def at_rate(one: ForcePlate, per_frame: int) -> ForcePlate:
    """The same plate with so many samples in a frame, all alike."""
    force, moment, place = (np.repeat(a, per_frame, axis=0) for a in (one.force, one.moment, one.centre_of_pressure))
    return replace(one, force=force, moment=moment, centre_of_pressure=place, rate_hz=per_frame * RATE_HZ)


def assign(*plates: ForcePlate, paths: dict[str, np.ndarray] | None = None) -> tuple[FootForces | None, list[str]]:
    points = np.zeros((FRAMES, 1, 3))
    capture = Capture("made", ("A",), points, RATE_HZ, np.zeros((FRAMES, 1)), plates=plates)
    plant = Moment("plant", PLANT, PLANT / RATE_HZ, 0.0, "made")
    return foot_forces(capture, paths or centres(), np.eye(4), plant)


def three_plates() -> tuple[ForcePlate, ...]:
    """The back foot's, the one the front foot stands on, and the one it lands on."""
    front, frames = front_load(), np.arange(FRAMES)
    return (
        plate(-0.2, 0.2, {BACK_X: WEIGHT_N - front}),
        plate(0.2, 0.6, {STANCE_X: np.where(frames < 60, front, 0.0)}),
        plate(0.6, 1.2, {LANDED_X: np.where(frames >= PLANT, front, 0.0)}),
    )


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_three_plates_in_any_order(order: tuple[int, ...]) -> None:
    plates = three_plates()
    forces, notes = assign(*(plates[i] for i in order))
    assert forces is not None
    assert forces.front[:, 2] == pytest.approx(front_load())
    assert forces.back[:, 2] == pytest.approx(WEIGHT_N - front_load())
    front = " and ".join(str(i) for i in sorted((order.index(1) + 1, order.index(2) + 1)))
    assert notes == [f"force plate {front} under the front foot, force plate {order.index(0) + 1} under the back foot"]


def test_both_feet_on_one_plate_leave_no_forces() -> None:
    front = front_load()
    forces, notes = assign(plate(-0.3, 1.3, {BACK_X: WEIGHT_N - front, LANDED_X: front}))
    assert forces is None
    assert notes == ["both feet land on force plate 1: what each of them carries cannot be told"]


def test_both_feet_on_one_plate_in_the_stance_are_noted() -> None:
    front, frames = front_load(), np.arange(FRAMES)
    stance = {BACK_X: WEIGHT_N - front, STANCE_X: np.where(frames < 60, front, 0.0)}
    landing = {LANDED_X: np.where(frames >= PLANT, front, 0.0)}
    forces, notes = assign(plate(-0.2, 0.5, stance), plate(0.6, 1.2, landing))
    assert forces is not None
    assert forces.front[PLANT:, 2] == pytest.approx(500.0)
    assert forces.back[:60, 2] == pytest.approx(WEIGHT_N)
    assert any("both feet stand on force plate 1 before plant: its load counts for the back foot" in n for n in notes)


def test_a_foot_that_swings_over_the_other_s_plate_does_not_stand_on_it() -> None:
    # A leg kick takes the front foot back over the back foot's plate for 0.2 s, 30 cm above it.
    paths = centres()
    for point in ("heel", "ball", "ankle"):
        paths[f"front_{point}"][70:90] = paths[f"front_{point}"][70:90] * [0.0, 1.0, 1.0] + [0.1, 0.0, 0.3]
    forces, notes = assign(*three_plates(), paths=paths)
    assert forces is not None
    assert notes == ["force plate 2 and 3 under the front foot, force plate 1 under the back foot"]


def test_each_foot_pushes_where_its_plates_say() -> None:
    forces, _ = assign(*three_plates())
    assert forces is not None
    assert forces.front_at[:60, 0] == pytest.approx(STANCE_X)
    assert np.isnan(forces.front_at[60:PLANT]).all()
    assert forces.front_at[PLANT:, 0] == pytest.approx(LANDED_X)
    assert forces.back_at[:, 0] == pytest.approx(BACK_X)


def test_two_plates_under_one_foot_push_at_their_common_centre() -> None:
    # The back foot stands across a seam: 300 N act at -0.1, the rest at 0.05.
    load = WEIGHT_N - front_load()
    part = np.full(FRAMES, 200.0)
    halves = plate(-0.4, -0.05, {-0.1: part}), plate(-0.05, 0.2, {0.05: load - part})
    forces, _ = assign(*halves, *three_plates()[1:])
    assert forces is not None
    assert forces.back[:, 2] == pytest.approx(load)
    assert forces.back_at[:, 0] == pytest.approx((-0.1 * part + 0.05 * (load - part)) / load)


def test_forces_keep_the_plates_rate() -> None:
    # Five samples in a frame; the front foot's load rises within the frame of the landing.
    fast = tuple(at_rate(one, 5) for one in three_plates())
    rising = fast[2].force.copy()
    rising[5 * PLANT : 5 * PLANT + 5, 2] = [0.0, 100.0, 200.0, 300.0, 400.0]
    forces, _ = assign(fast[0], fast[1], replace(fast[2], force=rising))
    assert forces is not None
    assert forces.rate_hz == 5 * RATE_HZ
    assert forces.front[5 * PLANT : 5 * PLANT + 6, 2] == pytest.approx([0.0, 100.0, 200.0, 300.0, 400.0, 500.0])
    assert forces.at("front", np.array([(PLANT + 0.5) / RATE_HZ]))[0, 2] == pytest.approx(250.0)


def test_a_slower_plate_is_brought_to_the_rate_of_the_fastest() -> None:
    back, stance, landed = three_plates()
    forces, _ = assign(at_rate(back, 2), stance, at_rate(landed, 4))
    assert forces is not None
    assert forces.rate_hz == 4 * RATE_HZ
    assert forces.back[:, 2] == pytest.approx(np.repeat(WEIGHT_N - front_load(), 4))
    assert forces.front[:, 2] == pytest.approx(np.repeat(front_load(), 4))


def test_forces_and_places_are_moved_into_another_frame() -> None:
    forces, _ = assign(*three_plates())
    assert forces is not None
    # A quarter turn about the vertical, then a shift.
    matrix = np.array([[0.0, -1.0, 0.0, 2.0], [1.0, 0.0, 0.0, 3.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    sideways = replace(forces, front=forces.front + np.array([7.0, 0.0, 0.0]))
    moved = sideways.moved(matrix)
    assert moved.front[PLANT] == pytest.approx([0.0, 7.0, 500.0])
    assert moved.front_at[PLANT] == pytest.approx([2.0, 3.0 + LANDED_X, 0.0])
    assert moved.back_at[PLANT] == pytest.approx([2.0, 3.0 + BACK_X, 0.0])


def test_without_plates_there_is_nothing_to_say() -> None:
    assert assign() == (None, [])


def test_a_foot_without_a_plate_leaves_no_forces() -> None:
    back, stance, _ = three_plates()
    # Nor does it help that the front foot stood on a plate before its stride.
    for plates in ((back,), (back, stance)):
        forces, notes = assign(*plates)
        assert forces is None
        assert notes == ["no force plate carries the front foot at foot-plant: forces are not used"]


def test_a_load_far_from_both_feet_belongs_to_neither() -> None:
    stranger = plate(2.0, 2.6, {2.3: np.full(FRAMES, 600.0)})
    forces, notes = assign(*three_plates(), stranger)
    assert forces is not None
    assert forces.front[:, 2] + forces.back[:, 2] == pytest.approx(WEIGHT_N)
    assert "force plate 4 is loaded where neither foot is; that load is left out" in notes


def test_the_foot_pushes_down_whichever_way_the_lab_counts() -> None:
    front, frames = front_load(), np.arange(FRAMES)
    downward = plate(0.2, 1.2, {STANCE_X: front * (frames < 60), LANDED_X: front * (frames >= PLANT)}, sign=-1.0)
    forces, _ = assign(three_plates()[0], downward)
    assert forces is not None
    assert forces.front[:, 2] == pytest.approx(front)


def test_the_demo_hitters_plates_are_told(project_root: Path) -> None:
    swing = mocap.build_swing(mocap.read(next((project_root / "demo_sessions").glob("**/*.c3d"))))
    assert swing.forces is not None
    assert "force plate 2 under the front foot, force plate 1 under the back foot" in swing.notes
