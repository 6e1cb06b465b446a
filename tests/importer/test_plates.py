from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from mocap.capture import ForcePlate
from mocap.importer.plates import PlateParameters, ground_reaction, plate_axes, read_plates

# A plate of 0.4 x 0.6 m, middle at (1.0, 2.0, 0), its y along the lab's y and its x along the lab's -x: z points down.
CORNERS = np.array([[0.8, 2.3, 0.0], [1.2, 2.3, 0.0], [1.2, 1.7, 0.0], [0.8, 1.7, 0.0]])


def test_axes_from_corners() -> None:
    axes = plate_axes(CORNERS)
    assert axes[:, 0] == pytest.approx([-1, 0, 0])
    assert axes[:, 1] == pytest.approx([0, 1, 0])
    assert axes[:, 2] == pytest.approx([0, 0, -1])


@pytest.mark.parametrize("sign", [1.0, -1.0], ids=["stored as force on the plate", "stored as force on the person"])
def test_type_2_by_hand(sign: float) -> None:
    # A person presses with 800 N straight down and 100 N along the lab's +x, at 0.10 m along the plate's +x and
    # -0.05 m along its y; the sensor lies 0.04 m under the surface. In plate axes (z down) the force on the plate is
    # (-100, 0, 800); about the sensor M = r x F with r = (0.10, -0.05, -0.04):
    #   Mx = -0.05 * 800 - (-0.04) * 0 = -40;  My = -0.04 * (-100) - 0.10 * 800 = -76;
    #   Mz = 0.10 * 0 - (-0.05) * (-100) = -5.
    stored = sign * np.array([[-100.0, 0.0, 800.0, -40.0, -76.0, -5.0]])
    plate = ground_reaction(2, stored, CORNERS, np.array([0.0, 0.0, 0.04]), 1000.0)
    assert plate.force[0] == pytest.approx([-100.0, 0.0, 800.0])  # the reaction on the person, lab axes
    # Plate x is the lab's -x: the force acts at 1.0 - 0.10, 2.0 - 0.05.
    assert plate.centre_of_pressure[0] == pytest.approx([0.90, 1.95, 0.0])
    # The moment left about the middle of the surface is r x F with r = (0.10, -0.05, 0): (-40, -80, -5) on the plate,
    # in plate axes; the reaction is its opposite, (40, 80, 5), and in the lab's axes (-40, 80, -5).
    assert plate.moment[0] == pytest.approx([-40.0, 80.0, -5.0])
    # All of it comes from the force's arm: -5 = x Fy - y Fx = 0.10 * 0 - (-0.05) * (-100).
    assert plate.free_moment[0] == pytest.approx(0.0, abs=1e-12)


def test_type_3_agrees_with_type_2() -> None:
    # Four sensors at (+-a, +-b); the same load expressed both ways (C3D user guide, TYPE 3).
    a, b = 0.12, 0.20
    fz = np.array([200.0, 150.0, 100.0, 50.0])
    fx12, fx34, fy14, fy23 = 30.0, 10.0, -20.0, 5.0
    eight = np.array([[fx12, fx34, fy14, fy23, *fz]])
    corners = np.array([[a, b], [-a, b], [-a, -b], [a, -b]])
    moment = np.array([np.sum(fz * corners[:, 1]), -np.sum(fz * corners[:, 0]), b * (fx34 - fx12) + a * (fy14 - fy23)])
    six = np.array([[fx12 + fx34, fy14 + fy23, fz.sum(), *moment]])
    third = ground_reaction(3, eight, CORNERS, np.array([a, b, 0.0]), 1000.0)
    second = ground_reaction(2, six, CORNERS, np.zeros(3), 1000.0)
    assert third.force == pytest.approx(second.force)
    assert third.moment == pytest.approx(second.moment)
    assert third.centre_of_pressure == pytest.approx(second.centre_of_pressure)


def test_an_unloaded_plate_has_no_centre_of_pressure() -> None:
    plate = ground_reaction(2, np.full((3, 6), 0.5), CORNERS, np.zeros(3), 1000.0)
    assert np.isnan(plate.centre_of_pressure).all()
    assert plate.force.shape == (3, 3)


# ------------------------------------------------------------------ worked by hand, as files store them


def read(
    kind: int,
    analog: np.ndarray,
    *,
    units: tuple[str, ...] = ("N", "N", "N", "Nmm", "Nmm", "Nmm"),
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0),
    matrix: np.ndarray | None = None,
    zero: tuple[int, ...] = (0, 0),
    corners: np.ndarray = CORNERS,
    point_scale: float = 1e-3,
    **changes: Any,
) -> tuple[tuple[ForcePlate, ...], list[str]]:
    """Read one plate whose channels are the columns of `analog`, in millimetres unless said otherwise."""
    parameters: dict[str, Any] = {
        "used": 1,
        "types": np.array([float(kind)]),
        "corners": corners[None] / point_scale,
        "origins": np.array([origin]) / point_scale,
        "channels": np.arange(1.0, analog.shape[1] + 1)[None],
        "matrices": np.zeros(0) if matrix is None else matrix[None],
        "zero": np.array(zero, dtype=float),
    } | changes
    return read_plates(
        PlateParameters(**parameters), analog, units, rate_hz=1000.0, samples_per_frame=10, point_scale=point_scale
    )


def only(result: tuple[tuple[ForcePlate, ...], list[str]]) -> ForcePlate:
    plates, notes = result
    assert len(plates) == 1
    assert notes == []
    return plates[0]


def test_type_1_by_hand() -> None:
    # 800 N down and 100 N along the plate's -x on the plate, at x = 100 mm, y = -50 mm, with 2 N m about its z (down).
    plate = only(
        read(1, np.array([[-100.0, 0.0, 800.0, 100.0, -50.0, 2000.0]]), units=("N", "N", "N", "mm", "mm", "Nmm"))
    )
    # Plate x is the lab's -x, y the lab's y, z the lab's -z; the person feels the opposite of the plate.
    assert plate.force[0] == pytest.approx([-100.0, 0.0, 800.0])
    assert plate.centre_of_pressure[0] == pytest.approx([0.90, 1.95, 0.0])
    # About the middle: r x F = (-40, -80, -5), and 2 about z: (-40, -80, -3) on the plate, plate axes.
    assert plate.moment[0] == pytest.approx([-40.0, 80.0, -3.0])
    # 2 about the downward z on the plate: -2 on the person about the downward, +2 about the upward normal.
    assert plate.normal == pytest.approx([0.0, 0.0, 1.0])
    assert plate.free_moment[0] == pytest.approx(2.0)


def test_type_3_by_hand() -> None:
    # Half distances between the sensors a = 0.12, b = 0.20 m, 0.05 m under the surface.
    eight = np.array([[30.0, 10.0, -20.0, 5.0, 200.0, 150.0, 100.0, 50.0]])
    plate = only(read(3, eight, units=("N",) * 8, origin=(0.12, 0.20, -0.05)))
    # F = (30 + 10, -20 + 5, 500) on the plate, plate axes; the reaction in the lab is (+40, +15, 500).
    assert plate.force[0] == pytest.approx([40.0, 15.0, 500.0])
    # At the sensors Mx = b (200 + 150 - 100 - 50) = 40, My = a (-200 + 150 + 100 - 50) = 0,
    # Mz = b (-30 + 10) + a (-20 - 5) = -4 - 3 = -7. At the surface, F x (0, 0, -0.05) more: (0.75, 2, 0).
    # x = -My / Fz = -2 / 500 = -0.004, y = Mx / Fz = 40.75 / 500 = 0.0815; the lab's x is the plate's -x.
    assert plate.centre_of_pressure[0] == pytest.approx([1.0 + 0.004, 2.0 + 0.0815, 0.0])
    # Tz = Mz - x Fy + y Fx = -7 - (-0.004)(-15) + 0.0815 * 40 = -3.8 on the plate about z down.
    assert plate.free_moment[0] == pytest.approx(-3.8)


#: Calibration of a plate of type 4 by columns, as the file stores it. What differs from the diagonal (2, 2, 2, 10, 10,
#: 1) is crosstalk: 0.01 of channel 3 in Fx, 5 of channel 2 in Mx.
BY_COLUMN = np.array(
    [
        [2, 0, 0, 0, 0, 0],
        [0, 2, 0, 5, 0, 0],
        [0.01, 0, 2, 0, 0, 0],
        [0, 0, 0, 10, 0, 0],
        [0, 0, 0, 0, 10, 0],
        [0, 0, 0, 0, 0, 1],
    ]
)
TYPE_4 = np.array([[10.0, 20.0, 400.0, -2000.0, 3000.0, 500.0]])


@pytest.mark.parametrize("origin_z", [-0.040, 0.040], ids=["sensor to surface", "surface to sensor"])
def test_type_4_by_hand(origin_z: float) -> None:
    plate = only(read(4, TYPE_4, origin=(0.0, 0.0, origin_z), matrix=BY_COLUMN))
    # Fx = 2 * 10 + 0.01 * 400 = 24, Fy = 2 * 20 = 40, Fz = 2 * 400 = 800 N;
    # Mx = 10 * (-2000) + 5 * 20 = -19,900, My = 10 * 3000 = 30,000, Mz = 500 N mm.
    assert plate.force[0] == pytest.approx([24.0, -40.0, 800.0])
    # At the surface, F x (0, 0, -0.04) = (-1.6, 0.96, 0) more: M = (-21.5, 30.96, 0.5) N m.
    # x = -30.96 / 800 = -0.0387, y = -21.5 / 800 = -0.026875.
    assert plate.centre_of_pressure[0] == pytest.approx([1.0387, 2.0 - 0.026875, 0.0])
    # Tz = 0.5 - (-0.0387)(40) + (-0.026875)(24) = 0.5 + 1.548 - 0.645 = 1.403.
    assert plate.free_moment[0] == pytest.approx(1.403)


def test_the_whole_origin_is_turned_round_where_its_z_points_up() -> None:
    # Two published files of one and the same pair of plates store (-4.4, 1.9, -21.6) and (4.4, -1.9, 21.6) mm.
    right, wrong = (
        only(read(2, TYPE_4, origin=tuple(sign * np.array([-4.4e-3, 1.9e-3, -21.6e-3])))) for sign in (1, -1)
    )
    assert wrong.centre_of_pressure == pytest.approx(right.centre_of_pressure)
    # The sensor lies at (4.4, -1.9) mm from the middle of the surface, so a force over it has no moment about it.
    over = only(read(2, np.array([[0.0, 0.0, 800.0, 0.0, 0.0, 0.0]]), origin=(-4.4e-3, 1.9e-3, -21.6e-3)))
    assert over.centre_of_pressure[0] == pytest.approx([1.0 - 0.0044, 2.0 - 0.0019, 0.0])


def test_type_7_is_type_3_behind_its_matrix() -> None:
    eight = np.array([[30.0, 10.0, -20.0, 5.0, 200.0, 150.0, 100.0, 50.0]])
    mixed = np.eye(8)
    mixed[7, 0] = 0.5  # column 8 adds half of channel 8 to the first output: 50 / 2
    seventh = only(read(7, eight, units=("V",) * 8, origin=(0.12, 0.20, -0.05), matrix=mixed))
    third = only(read(3, eight + np.array([25, 0, 0, 0, 0, 0, 0, 0]), units=("N",) * 8, origin=(0.12, 0.20, -0.05)))
    assert seventh.force == pytest.approx(third.force)
    assert seventh.free_moment == pytest.approx(third.free_moment)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("Nmm", 1e-3), ("N.mm", 1e-3), ("ntmm", 1e-3), ("Nm", 1.0), ("N*m", 1.0), ("Newton-metres", 1.0)],
)
def test_the_channels_unit_tells_the_unit_of_a_moment(unit: str, factor: float) -> None:
    for point_scale in (1e-3, 1.0):
        plate = only(read(2, TYPE_4, units=("N", "N", "N", unit, unit, unit), point_scale=point_scale))
        # On the person the opposite of (-2000, 3000, 500), with x and z turned round from the plate to the lab.
        assert plate.moment[0] == pytest.approx(np.array([-2000.0, -3000.0, 500.0]) * factor)


@pytest.mark.parametrize("point_scale", [1e-3, 1.0])
def test_without_one_it_is_that_of_the_points(point_scale: float) -> None:
    plate = only(read(2, TYPE_4, units=("V",) * 6, point_scale=point_scale))
    assert abs(plate.moment[0, 2]) == pytest.approx(500 * point_scale)


def test_a_lab_whose_y_points_up() -> None:
    # The same plate and load as in type 2 by hand, the lab turned about x so that its y is up: (x, y, z) -> (x, z, -y).
    turned = CORNERS[:, [0, 2, 1]] * [1, 1, -1]
    plate = only(read(2, np.array([[-100.0, 0.0, 800.0, -40e3, -76e3, -5e3]]), origin=(0, 0, -0.04), corners=turned))
    assert plate.force[0] == pytest.approx([-100.0, 800.0, 0.0])
    assert plate.centre_of_pressure[0] == pytest.approx([0.90, 0.0, -1.95])
    assert plate.normal == pytest.approx([0.0, 1.0, 0.0])


# ------------------------------------------------------------------ what cannot be read


@pytest.mark.parametrize("kind", [0, 5, 6, 8, 21])
def test_types_that_are_not_read_are_named(kind: int) -> None:
    plates, notes = read(kind, np.ones((20, 12)))
    assert plates == ()
    assert len(notes) == 1
    assert f"force plate 1: type {kind} is not read" in notes[0]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"channels": np.array([[1.0, 2, 3, 4, 5, 9]])}, "needs 6 analog channels"),
        ({"channels": np.array([[1.0, 2, 3, 4, 5, 0]])}, "needs 6 analog channels"),
        ({"channels": np.array([[1.0, 2, 3]])}, "needs 6 analog channels"),
        ({"corners": np.zeros((1, 4, 3))}, "span no area"),
        ({"corners": np.full((1, 4, 3), np.nan)}, "span no area"),
        ({"corners": np.zeros(0)}, "1 announced, but their parameters describe 0"),
        ({"used": 30000}, "30000 announced, but their parameters describe 1"),
        ({"types": np.array([np.nan])}, "type 0 is not read"),
    ],
)
def test_broken_parameters_leave_the_plate_out_or_are_noted(changes: dict[str, Any], message: str) -> None:
    _, notes = read(2, TYPE_4, **changes)
    assert any(message in note for note in notes)


def test_a_type_4_plate_without_its_matrix_is_read_as_type_2_and_noted() -> None:
    plates, notes = read(4, TYPE_4)
    assert "CAL_MATRIX is missing" in notes[0]
    assert plates[0].force == pytest.approx(only(read(2, TYPE_4)).force)


def test_parameters_without_dimensions_are_cut_by_the_types() -> None:
    analog = np.tile(TYPE_4, (20, 2))
    plates, notes = read(
        4,
        analog,
        used=2,
        types=np.array([4.0, 2.0]),
        corners=np.concatenate([CORNERS, CORNERS + np.array([1, 0, 0])]).ravel() * 1000,
        origins=np.zeros(6),
        channels=np.arange(1.0, 13.0),
        matrices=np.concatenate([BY_COLUMN.ravel(), np.eye(6).ravel()]),
    )
    assert notes == []
    assert plates[0].force[0] == pytest.approx([24.0, -40.0, 800.0])
    assert plates[1].force[0] == pytest.approx([10.0, -20.0, 400.0])


def test_corner_sensors_without_their_distances_tell_no_place() -> None:
    plates, notes = read(3, np.full((1, 8), 100.0))
    assert "where they act" in notes[0]
    assert plates[0].force[0, 2] == pytest.approx(400.0)
    assert np.isnan(plates[0].centre_of_pressure).all()
    assert np.isnan(plates[0].free_moment).all()


# ------------------------------------------------------------------ zero

#: 3 s at 1000 Hz: unloaded for 1 s, 700 N for 1 s, unloaded again. [N, down on the plate]
STEP_LOAD = np.repeat([0.0, 700.0, 0.0], 1000)


def loaded(vertical: np.ndarray, offset: float, noise_n: float = 1.0) -> np.ndarray:
    noise = np.random.default_rng(5).normal(scale=noise_n, size=(len(vertical), 6))
    noise[:, 2] += vertical + offset
    return noise


@pytest.mark.parametrize("zero", [(1, 10), (0, 10)])
def test_the_stated_frames_are_the_zero_where_the_plate_is_unloaded(zero: tuple[int, int]) -> None:
    plates, notes = read(2, loaded(STEP_LOAD, 12.0), zero=zero)
    # The mean over 100 samples of noise of 1 N is known to 0.1 N.
    assert plates[0].force[1000:2000, 2].mean() == pytest.approx(700.0, abs=0.4)
    assert plates[0].force[:100, 2].mean() == pytest.approx(0.0, abs=1e-9)
    assert "frames 1 to 10, as the file says" in notes[0]


def test_an_offset_above_the_limit_counts_in_the_stated_frames_only() -> None:
    stated, _ = read(2, loaded(STEP_LOAD, 60.0), zero=(1, 10))
    assert stated[0].force[1000:2000, 2].mean() == pytest.approx(700.0, abs=0.4)
    unstated, notes = read(2, loaded(STEP_LOAD, 60.0), zero=(1, 0))
    assert unstated[0].force[1000:2000, 2].mean() == pytest.approx(760.0, abs=0.4)
    assert notes == []


def test_stated_frames_in_which_somebody_stands_on_the_plate_are_not_used() -> None:
    plates, notes = read(2, loaded(np.roll(STEP_LOAD, -1000), 12.0), zero=(1, 10))
    assert "it is loaded in frames 1 to 10" in notes[0]
    # The offset is found later instead.
    assert plates[0].force[:1000, 2].mean() == pytest.approx(700.0, abs=0.4)
    assert "unloaded (found over" in notes[1]


@pytest.mark.parametrize("offset", [-20.0, 12.0])
def test_without_stated_frames_the_lowest_level_is_the_zero(offset: float) -> None:
    plates, notes = read(2, loaded(STEP_LOAD, offset), zero=())
    assert plates[0].force[1000:2000, 2].mean() == pytest.approx(700.0, abs=0.4)
    assert f"the {offset:.1f} N" in notes[0]


def test_a_plate_that_is_stood_on_throughout_keeps_its_zero() -> None:
    standing = 400.0 + 40.0 * np.sin(np.arange(3000) / 300)
    plates, notes = read(2, loaded(standing, 0.0), zero=(1, 10))
    assert plates[0].force[:, 2].mean() == pytest.approx(loaded(standing, 0.0)[:, 2].mean())
    assert len(notes) == 1
    assert "they are not used" in notes[0]


def test_a_passing_through_zero_is_no_zero() -> None:
    # Toe-off and the next step: the load is below 30 N for 80 ms only.
    ramp = np.concatenate([np.linspace(600, 0, 800), np.linspace(0, 600, 800)])
    plates, _ = read(2, loaded(ramp, 12.0), zero=())
    assert plates[0].force[0, 2] == pytest.approx(612.0, abs=5.0)


def test_zero_0_0_asks_for_none() -> None:
    plates, notes = read(2, loaded(STEP_LOAD, 12.0), zero=(0, 0))
    assert plates[0].force[1000:2000, 2].mean() == pytest.approx(712.0, abs=0.4)
    assert "reads 12 N at its quietest, and the file asks for no zeroing" in notes[0]


def test_the_zero_is_taken_off_every_channel() -> None:
    analog = loaded(STEP_LOAD, 0.0, noise_n=0.0) + np.array([3.0, -2.0, 5.0, 4000.0, -1000.0, 500.0])
    plates, _ = read(2, analog, zero=(1, 10))
    assert plates[0].force[1500] == pytest.approx([0.0, 0.0, 700.0], abs=1e-9)
    assert plates[0].centre_of_pressure[1500] == pytest.approx([1.0, 2.0, 0.0], abs=1e-9)
    assert plates[0].free_moment[1500] == pytest.approx(0.0, abs=1e-9)
