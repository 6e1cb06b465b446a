"""Force plates of an invented lab: what their channels hold is what the feet did."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import OptionError
from mocap.reference.parameters import SwingParameters
from mocap.virtual.forces import GroundForces
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import (
    ONE_PLATE,
    THREE_PLATES,
    TWO_PLATES,
    TWO_PLATES_TYPE_4,
    Lab,
    PlateSpec,
    calibration,
    record_plates,
)
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record

RIGHT = VirtualHitter("right", "", SwingParameters(), 80.0)
LEFT = VirtualHitter("left", "", SwingParameters(height_m=1.86), 86.0, bats="left")
LAB = Lab(37.0, (1.30, -0.80, 0.02))


def recorded(plates: tuple[PlateSpec, ...], folder: Path, hitter: VirtualHitter = RIGHT, **more: object) -> Capture:
    """A noiseless recording, written to a C3D file and read back."""
    lab = replace(LAB, plates=plates, **more)  # type: ignore[arg-type]
    capture = record(hitter, lab, noise_m=0.0, force_noise_n=0.0)
    return mocap.read(mocap.write_c3d(capture, folder / "lab.c3d"))


def in_lab(vectors: np.ndarray, hitter: VirtualHitter) -> np.ndarray:
    mirrored = vectors * [1.0, -1.0 if hitter.bats == "left" else 1.0, 1.0]
    return mirrored @ LAB.rotation.T


@cache
def forces_of(hitter: VirtualHitter) -> GroundForces:
    """Of the whole swing at 1200 Hz."""
    motion = Motion.of(hitter)
    frames = motion.times(240.0)
    return motion.forces(frames[0] + np.arange(5 * len(frames)) / 1200.0)


@pytest.mark.parametrize("hitter", [RIGHT, LEFT], ids=["right", "left"])
@pytest.mark.parametrize("unit", [1e-3, 1.0], ids=["mm", "m"])
@pytest.mark.parametrize(("kind", "plates"), [(2, TWO_PLATES), (4, TWO_PLATES_TYPE_4)], ids=["type 2", "type 4"])
def test_plates_of_both_types_give_the_feets_forces_back(
    kind: int, plates: tuple[PlateSpec, ...], unit: float, hitter: VirtualHitter, tmp_path: Path
) -> None:
    capture = recorded(plates, tmp_path, hitter, length_unit_m=unit)
    assert capture.notes == ()
    assert [plate.plate_type for plate in capture.plates] == [kind, kind]
    truth = forces_of(hitter)
    at = {"back": truth.back_at, "front": truth.front_at}
    for plate, (side, force) in zip(capture.plates, (("back", truth.back), ("front", truth.front)), strict=True):
        assert plate.force == pytest.approx(in_lab(force, hitter), abs=1e-3)  # 32-bit floats, up to 1500 N
        assert plate.normal == pytest.approx([0.0, 0.0, 1.0])
        loaded = np.isfinite(plate.centre_of_pressure[:, 0])
        assert np.array_equal(loaded, force[:, 2] > 20.0)
        place = in_lab(at[side][loaded], hitter) + LAB.shift
        assert plate.centre_of_pressure[loaded] == pytest.approx(place, abs=1e-6)
        # Each foot pushes at one point, without a free moment.
        assert np.abs(plate.free_moment[loaded]).max() < 1e-3


@pytest.mark.parametrize("plates", [TWO_PLATES, TWO_PLATES_TYPE_4], ids=["type 2", "type 4"])
def test_another_reader_finds_the_same_in_the_file(plates: tuple[PlateSpec, ...], tmp_path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    capture = recorded(plates, tmp_path)
    found = ezc3d.c3d(str(tmp_path / "lab.c3d"), extract_forceplat_data=True)["data"]["platform"]
    for plate, other in zip(capture.plates, found, strict=True):
        # It gives the force as stored: on the plate, that is the opposite of what the person feels, and millimetres.
        on_plate, place = other["force"].T, other["center_of_pressure"].T / 1000.0
        assert on_plate == pytest.approx(-plate.force, abs=1e-3)
        loaded = plate.force[:, 2] > 50.0
        assert place[loaded] == pytest.approx(plate.centre_of_pressure[loaded], abs=1e-4)


def test_a_push_on_a_type_4_plate_by_hand() -> None:
    # 800 N down at 0.10 m toward the pitcher and 0.05 m away from home plate of the middle, nothing sideways. In plate
    # axes (x ahead, y toward home plate, z down) F = (0, 0, 800) at (0.10, -0.05), 0.04 m over the sensor, so that
    # M = r x F = (-0.05 * 800, -0.10 * 800, 0) = (-40, -80, 0) N m.
    lab = replace(LAB, plates=(PlateSpec(4, (0.3, 0.2), (0.6, 0.4)),))
    push, nothing = np.array([[0.0, 0.0, 800.0]]), np.zeros((1, 3))
    forces = GroundForces(push, nothing, np.array([[0.40, 0.25, 0.0]]), np.zeros((1, 3)))
    felt = record_plates(lab, forces, 1000.0, noise_n=0.0, rng=np.random.default_rng(0))
    matrix = calibration(lab.plates[0], lab.length_unit_m)
    assert matrix is not None
    assert matrix @ felt.analog[0] == pytest.approx([0.0, 0.0, 800.0, -40e3, -80e3, 0.0], abs=1e-6)
    assert felt.units == ("V",) * 6
    # Cross-talk is in it: no axis of the plate reads alone.
    assert np.count_nonzero(matrix) == 36
    assert (np.abs(felt.analog[0]) > 1e-6).all()
    assert np.linalg.cond(matrix / np.diag(matrix)[:, None]) < 1.2


def test_three_plates_take_the_front_foot_in_turn(tmp_path: Path) -> None:
    capture = recorded(THREE_PLATES, tmp_path)
    assert [plate.plate_type for plate in capture.plates] == [4, 2, 4]
    truth = forces_of(RIGHT)
    assert sum(plate.force for plate in capture.plates) == pytest.approx(in_lab(truth.total, RIGHT), abs=2e-3)
    stance, landed = capture.plates[1].force[:, 2] > 20, capture.plates[2].force[:, 2] > 20
    assert stance[0]
    assert landed[-1]
    assert np.flatnonzero(stance).max() < np.flatnonzero(landed).min()
    swing = mocap.build_swing(capture)
    assert swing.forces is not None
    assert "force plate 2 and 3 under the front foot, force plate 1 under the back foot" in swing.notes
    assert swing.forces.front[:, 2] == pytest.approx(truth.front[:, 2], abs=1e-3)


def test_one_plate_under_both_feet_carries_the_body_and_tells_no_foot(tmp_path: Path) -> None:
    capture = recorded(ONE_PLATE, tmp_path)
    truth = forces_of(RIGHT)
    (plate,) = capture.plates
    assert plate.force == pytest.approx(in_lab(truth.total, RIGHT), abs=2e-3)
    share = truth.front[:, 2:] / truth.total[:, 2:]
    common = share * truth.front_at + (1.0 - share) * truth.back_at
    assert plate.centre_of_pressure == pytest.approx(in_lab(common, RIGHT) + LAB.shift, abs=1e-6)
    swing = mocap.build_swing(capture)
    assert swing.forces is None
    assert any("both feet land on force plate 1" in note for note in swing.notes)


def test_a_foot_beside_the_plates_is_felt_by_none(tmp_path: Path) -> None:
    capture = recorded(TWO_PLATES[:1], tmp_path)
    assert capture.plates[0].force == pytest.approx(in_lab(forces_of(RIGHT).back, RIGHT), abs=1e-3)


@pytest.mark.parametrize("plates", [TWO_PLATES, TWO_PLATES_TYPE_4], ids=["type 2", "type 4"])
def test_noise_is_that_of_the_plates_outputs_whatever_the_type(plates: tuple[PlateSpec, ...], tmp_path: Path) -> None:
    lab = replace(LAB, plates=plates)
    noisy = mocap.read(mocap.write_c3d(record(RIGHT, lab, force_noise_n=3.0), tmp_path / "noisy.c3d"))
    still = recorded(plates, tmp_path)
    for plate, exact in zip(noisy.plates, still.plates, strict=True):
        assert (plate.force - exact.force).std(axis=0) == pytest.approx([3.0] * 3, rel=0.08)
        assert (plate.moment - exact.moment)[:, 2].std() == pytest.approx(0.8, rel=0.08)


def test_every_hitter_stands_to_the_same_home_plate() -> None:
    tall = SwingParameters(height_m=1.98, plate_behind_m=0.25)
    tall = replace(tall, barrel=replace(tall.barrel, plate_line_m=0.95))
    for bats in ("right", "left"):
        for parameters in (SwingParameters(), tall):
            tip = np.array([[-parameters.plate_behind_m, -parameters.barrel.plate_line_m, 0.0]])
            assert LAB.place(LAB.on_floor(tip, parameters, bats))[0] == pytest.approx(LAB.home_plate(bats))
    across = np.array(LAB.home_plate("right")) - LAB.home_plate("left")
    assert across @ LAB.rotation[:, 0] == pytest.approx(0.0, abs=1e-12)
    assert across @ LAB.rotation[:, 1] == pytest.approx(-2 * 0.86)


def test_what_no_lab_has_is_refused() -> None:
    with pytest.raises(OptionError, match="force plates of type 3 are not made; give 2 or 4"):
        PlateSpec(3, (0.0, 0.0), (0.5, 0.5))  # type: ignore[arg-type]
    with pytest.raises(OptionError, match=r"force plate of 0 by 0\.5 m; give its size"):
        PlateSpec(2, (0.0, 0.0), (0.0, 0.5))
    with pytest.raises(OptionError, match=r"length_unit_m is 0\.01; give 0\.001 or 1"):
        Lab(length_unit_m=0.01)
