"""Force plates against `ezc3d` (independent library, MIT) and against each other, on published recordings.

ezc3d gives forces as stored, on the plate or on the person; we give them on the person, so that the sign of a whole
plate may differ. It takes no zero off, so that ours is switched off for the comparison (ZERO 0 0). Its plate axes run
along two edges, ours between the middles of opposite edges: on the surveyed corners of sample09 and sample10/TYPE-*,
which are not quite a rectangle, that is 0.4 mrad. It cannot read MIPS files, and no analog data of sample28.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import mocap
from mocap.importer.plates import PlateParameters, read_plates

FILES = (
    "full_body_gait.c3d",
    "full_body_standing.c3d",
    "lower_body_three_plates.c3d",
    "sample01/Eb015pr.c3d",
    "sample02/Dec_real.c3d",
    "sample09.c3d",
    "sample10/TYPE-2.C3D",
    "sample10/TYPE-4.C3D",
    "sample10/type-2a.c3d",
    "sample10/type-4a.c3d",
    "sample24.c3d",
)
#: A plate's centre of pressure is compared where it carries more than this. [N]
LOADED_N = 50.0


def parameters_from(group: dict[str, Any]) -> PlateParameters:
    """The FORCE_PLATFORM group as ezc3d reads it, without a zero."""

    def stored(name: str) -> np.ndarray:
        return np.asarray(group[name]["value"], dtype=float).T if name in group else np.zeros(0)

    return PlateParameters(
        used=int(stored("USED")[0]),
        types=stored("TYPE"),
        corners=stored("CORNERS"),
        origins=stored("ORIGIN"),
        channels=stored("CHANNEL"),
        matrices=stored("CAL_MATRIX"),
        zero=np.zeros(2),
    )


@pytest.mark.parametrize("name", FILES)
def test_forces_and_where_they_act_agree_with_ezc3d(name: str, shared_data: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    file = ezc3d.c3d(str(shared_data / "c3d" / name), extract_forceplat_data=True)
    analog, points = file["data"]["analogs"][0].T, file["data"]["points"]
    scale = {"mm": 1e-3, "m": 1.0}[file["parameters"]["POINT"]["UNITS"]["value"][0]]
    plates, _ = read_plates(
        parameters_from(file["parameters"]["FORCE_PLATFORM"]),
        analog,
        [""] * analog.shape[1],
        rate_hz=file["header"]["analogs"]["frame_rate"],
        samples_per_frame=analog.shape[0] // points.shape[2],
        point_scale=scale,
    )
    assert len(plates) == len(file["data"]["platform"]) > 0
    skew = 5e-4 if name in ("sample09.c3d", "sample10/TYPE-2.C3D", "sample10/TYPE-4.C3D") else 1e-7
    for plate, other in zip(plates, file["data"]["platform"], strict=True):
        on = np.abs(plate.force @ plate.normal) > LOADED_N
        force, moment, centre, torque = (
            other[key].T[on] * unit
            for key, unit in (("force", 1.0), ("moment", scale), ("center_of_pressure", scale), ("Tz", scale))
        )
        sign = 1.0 if np.sum(force * plate.force[on]) > 0 else -1.0
        assert sign * force == pytest.approx(plate.force[on], abs=skew * np.abs(force).max() + 1e-6)
        assert sign * moment == pytest.approx(plate.moment[on], abs=skew * np.abs(moment).max() + 1e-6)
        assert centre == pytest.approx(plate.centre_of_pressure[on], abs=skew * 0.3 + 1e-6)
        assert sign * torque @ plate.normal == pytest.approx(plate.free_moment[on], abs=1e-6)


def test_a_type_3_plate_agrees_with_ezc3d(tmp_path: Path) -> None:
    # No recording at hand states the distances between its corner sensors, so one is made.
    ezc3d = pytest.importorskip("ezc3d")
    rng = np.random.default_rng(8)
    analog = rng.normal(scale=20.0, size=(400, 8)) + np.array([0, 0, 0, 0, 150, 180, 120, 160])
    corners = np.array([[0.6, 0.4, 0], [0.6, 0, 0], [0, 0, 0], [0, 0.4, 0]], dtype=float)
    parameters = PlateParameters(
        used=1,
        types=np.array([3]),
        corners=1e3 * corners[None],
        origins=np.array([[120.0, 200.0, -50.0]]),
        channels=np.arange(1, 9)[None],
        matrices=np.zeros(0),
        zero=np.zeros(2),
    )
    plates, _ = read_plates(parameters, analog, ["N"] * 8, rate_hz=1000.0, samples_per_frame=10, point_scale=1e-3)
    capture = mocap.Capture(
        "made.c3d",
        ("A",),
        np.ones((40, 1, 3)),
        100.0,
        np.zeros((40, 1)),
        analog=analog,
        analog_labels=tuple(f"C{i}" for i in range(8)),
        analog_units=("N",) * 8,
        analog_rate_hz=1000.0,
        plates=plates,
    )
    path = mocap.write_c3d(capture, tmp_path / "out.c3d")
    # ezc3d asks for a calibration matrix of this type too, which it then does not use.
    platform = ezc3d.c3d(str(path), extract_forceplat_data=True)["data"]["platform"][0]
    sign = np.sign(np.sum(platform["force"].T * plates[0].force))
    centre, torque = platform["center_of_pressure"].T / 1e3, platform["Tz"].T / 1e3
    assert sign * platform["force"].T == pytest.approx(plates[0].force, abs=1e-3)
    assert centre == pytest.approx(plates[0].centre_of_pressure, abs=1e-6)
    assert sign * torque @ plates[0].normal == pytest.approx(plates[0].free_moment, abs=1e-4)


def test_a_type_1_plate_agrees_with_ezc3d_but_for_the_sign_of_its_moment(shared_data: Path, tmp_path: Path) -> None:
    # ezc3d finds no analog data in this file as it is, so it gets what we write of it.
    ezc3d = pytest.importorskip("ezc3d")
    capture = mocap.read(shared_data / "c3d" / "sample28" / "type1.C3D")
    path = mocap.write_c3d(capture, tmp_path / "out.c3d")
    platform = ezc3d.c3d(str(path), extract_forceplat_data=True)["data"]["platform"][0]
    plate = capture.plates[0]
    on = np.isfinite(plate.free_moment)
    sign = np.sign(np.sum(platform["force"].T[on] * plate.force[on]))
    assert sign * platform["force"].T[on] == pytest.approx(plate.force[on], abs=0.02)
    assert platform["center_of_pressure"].T[on] / 1e3 == pytest.approx(plate.centre_of_pressure[on], abs=1e-3)
    assert sign * platform["Tz"].T[on] @ plate.normal / 1e3 == pytest.approx(plate.free_moment[on], abs=0.01)
    # Its moment of this type alone is force x arm - torque, the opposite of that of types 2 to 4; ours is one for all.
    moment = sign * platform["moment"].T[on] / 1e3
    assert -moment == pytest.approx(plate.moment[on], abs=2e-3 * np.abs(moment).max())


def test_the_type_1_plate_of_a_lab_whose_y_points_up(shared_data: Path) -> None:
    plate = mocap.read(shared_data / "c3d" / "sample28" / "standing.C3D").plates[0]
    on = np.isfinite(plate.centre_of_pressure[:, 0])
    assert plate.plate_type == 1
    assert plate.normal[1] > 0.99
    # A person of some 59 kg stands still near the middle of the plate.
    assert 500 < plate.force[on, 1].mean() < 650
    assert np.abs(plate.force[on][:, [0, 2]]).max() < 0.02 * plate.force[on, 1].mean()
    assert np.abs(plate.centre_of_pressure[on] - plate.corners.mean(axis=0)).max() < 0.05
    assert np.abs(plate.free_moment[on]).max() < 1.0


def test_the_three_plates_are_stepped_on_inside_their_edges(shared_data: Path) -> None:
    plates = mocap.read(shared_data / "c3d" / "lower_body_three_plates.c3d").plates
    assert len(plates) == 3
    for plate in plates:
        on = plate.force[:, 2] > LOADED_N
        assert on.any()
        low, high = plate.corners.min(axis=0)[:2], plate.corners.max(axis=0)[:2]
        assert (plate.centre_of_pressure[on, :2] > low).all()
        assert (plate.centre_of_pressure[on, :2] < high).all()


def test_type_2_and_type_4_of_one_recording_agree(shared_data: Path) -> None:
    # The same measurement with the diagonal of the calibration alone and with all of it (c3d.org, sample 10): crosstalk
    # is below 2 % of the full scale of each channel.
    for second, fourth in (("TYPE-2.C3D", "TYPE-4.C3D"), ("type-2a.c3d", "type-4a.c3d")):
        pairs = zip(
            *(mocap.read(shared_data / "c3d" / "sample10" / name).plates for name in (second, fourth)), strict=True
        )
        for two, four in pairs:
            assert (two.plate_type, four.plate_type) == (2, 4)
            assert two.force == pytest.approx(four.force, abs=0.02 * np.abs(four.force).max())
            on = two.force[:, 2] > 100
            gap = np.linalg.norm((two.centre_of_pressure - four.centre_of_pressure)[on], axis=1)
            assert np.median(gap) < 0.02


def test_one_pair_of_plates_stored_with_its_origin_either_way(shared_data: Path) -> None:
    # sample01 and sample02 were recorded on one pair of plates; the second stores ORIGIN from surface to sensor.
    first, second = (
        mocap.read(shared_data / "c3d" / name).plates for name in ("sample01/Eb015pr.c3d", "sample02/pc_real.c3d")
    )
    for one, other in zip(first, second, strict=True):
        assert one.channels is not None
        assert other.channels is not None
        assert one.channels.origin == pytest.approx(-other.channels.origin, abs=1e-4)
        for plate in (one, other):
            on = plate.force[:, 2] > LOADED_N
            arm = np.abs(plate.centre_of_pressure[on] - plate.corners.mean(axis=0)).max(axis=0)
            assert arm[0] < 0.2315
            assert arm[1] < 0.254
