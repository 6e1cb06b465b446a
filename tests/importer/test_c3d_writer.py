from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture, Event, ForcePlate, PlateChannels
from mocap.errors import OutputError

FRAMES, POINTS, SAMPLES = 60, 4, 5


def a_capture(**changes: object) -> Capture:
    """A capture of every kind of content, its numbers random but such as a file may hold."""
    rng = np.random.default_rng(11)
    points = rng.uniform(-2.0, 2.0, (FRAMES, POINTS, 3)).astype(np.float32).astype(np.float64)
    residuals = rng.integers(0, 256, (FRAMES, POINTS)) * float(np.float32(0.05)) * 1e-3
    cameras = rng.integers(0, 128, (FRAMES, POINTS)).astype(np.uint8)
    lost = rng.random((FRAMES, POINTS)) < 0.1
    points[lost], residuals[lost], cameras[lost] = np.nan, np.nan, 0
    content: dict[str, object] = {
        "source": "made.c3d",
        "labels": ("LASI", "RASI", "L knee (lateral)", "SÄGE"),
        "points": points,
        "rate_hz": 240.0,
        "residuals": residuals,
        "first_frame": 37,
        "analog": rng.normal(scale=500.0, size=(FRAMES * SAMPLES, 3)).astype(np.float32).astype(np.float64),
        "analog_labels": ("EMG 1", "EMG 2", "trigger"),
        "analog_units": ("V", "mV", ""),
        "analog_rate_hz": 240.0 * SAMPLES,
        "events": (Event("Foot Down", "Left", 0.1), Event("Contact", "General", 0.21)),
        "subject": {"name": "Nobody", "height_m": 1.83, "mass_kg": 81.5, "bats": "left", "leglength": 912.0},
        "cameras": cameras,
        "vertical": "+z",
    }
    return Capture(**(content | changes))  # type: ignore[arg-type]


#: A plate of 0.6 x 0.4 m that lies askew in the lab.
CORNERS = np.array([[0.9, 1.2, 0.01], [0.38, 0.9, 0.01], [0.58, 0.5536, 0.01], [1.1, 0.8536, 0.01]])


def a_plate(**changes: object) -> ForcePlate:
    """A plate that came from no channel: a load that wanders, with a torque of its own."""
    time = np.arange(FRAMES * SAMPLES) / (240.0 * SAMPLES)
    force = np.stack([30 * np.sin(9 * time), 20 * np.cos(7 * time), 600 + 200 * np.sin(5 * time)], axis=1)
    centre = CORNERS.mean(axis=0) + np.stack([0.1 * np.sin(3 * time), 0.05 * np.cos(4 * time), 0 * time], axis=1)
    moment = np.cross(centre - CORNERS.mean(axis=0), force)
    moment[:, 2] += 4.0 * np.sin(6 * time)
    content: dict[str, object] = {
        "plate_type": 2,
        "corners": CORNERS,
        "force": force,
        "moment": moment,
        "centre_of_pressure": centre,
        "rate_hz": 240.0 * SAMPLES,
    }
    return ForcePlate(**(content | changes))  # type: ignore[arg-type]


def single(values: np.ndarray) -> np.ndarray:
    return np.asarray(values, dtype=np.float32)


def assert_same_recording(read: Capture, written: Capture) -> None:
    assert read.labels == written.labels
    assert single(read.points) == pytest.approx(single(written.points), rel=2e-7, abs=1e-9, nan_ok=True)
    assert single(read.residuals) == pytest.approx(single(written.residuals), rel=1e-6, nan_ok=True)
    assert np.array_equal(read.cameras, written.cameras)
    assert (read.rate_hz, read.first_frame) == (written.rate_hz, written.first_frame)
    assert np.array_equal(single(read.analog), single(written.analog), equal_nan=True)
    assert (read.analog_labels, read.analog_units) == (written.analog_labels, written.analog_units)
    assert read.analog_rate_hz == pytest.approx(written.analog_rate_hz)
    assert read.vertical == written.vertical


def assert_same_plates(read: Capture, written: Capture) -> None:
    assert len(read.plates) == len(written.plates)
    for plate, as_written in zip(read.plates, written.plates, strict=True):
        assert plate.corners == pytest.approx(as_written.corners, abs=1e-6)
        assert plate.force == pytest.approx(as_written.force, rel=1e-5, abs=1e-3)
        assert plate.moment == pytest.approx(as_written.moment, rel=1e-5, abs=1e-3, nan_ok=True)
        loaded = np.isfinite(as_written.centre_of_pressure[:, 0])
        assert np.array_equal(np.isfinite(plate.centre_of_pressure[:, 0]), loaded)
        assert plate.centre_of_pressure[loaded] == pytest.approx(as_written.centre_of_pressure[loaded], abs=1e-4)
        assert plate.free_moment[loaded] == pytest.approx(as_written.free_moment[loaded], abs=5e-3)


def test_everything_comes_back(tmp_path: Path) -> None:
    written = a_capture()
    path = mocap.write_c3d(written, tmp_path / "out.c3d")
    read = mocap.read(path)
    assert_same_recording(read, written)
    assert read.notes == ()
    assert [(event.label, event.context) for event in read.events] == [("Foot Down", "Left"), ("Contact", "General")]
    assert [event.time_s for event in read.events] == pytest.approx([0.1, 0.21], abs=1e-6)
    assert set(read.subject) == set(written.subject)
    assert {key: read.subject[key] for key in ("name", "bats")} == {"name": "Nobody", "bats": "left"}
    for key in ("height_m", "mass_kg", "leglength"):
        assert read.subject[key] == pytest.approx(written.subject[key], rel=1e-6)
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.c3d"]


@pytest.mark.parametrize("times", [(-0.3, 0.2), (0.0,), (0.0, 250.5)])
def test_events_come_back_wherever_they_lie(times: tuple[float, ...], tmp_path: Path) -> None:
    events = tuple(Event(f"E{i}", "", time) for i, time in enumerate(times))
    for first_frame in (1, 481):
        capture = a_capture(events=events, first_frame=first_frame)
        read = mocap.read(mocap.write_c3d(capture, tmp_path / "out.c3d"))
        assert [event.time_s for event in read.events] == pytest.approx(times, abs=1e-4)


def test_a_plate_without_channels_gets_some(tmp_path: Path) -> None:
    written = a_capture(plates=(a_plate(),))
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert_same_plates(read, written)
    assert read.analog_labels == ("EMG 1", "EMG 2", "trigger", "Fx1", "Fy1", "Fz1", "Mx1", "My1", "Mz1")
    # In plate axes the load on the plate is the opposite of the reaction: z of this plate points into the floor or
    # out of it, but on the plate the load is down.
    axis = np.cross(CORNERS[0] - CORNERS[1], CORNERS[0] - CORNERS[3])
    assert np.sign(read.analog[0, 5]) == -np.sign(axis[2])
    # And a second time, now through its channels.
    again = mocap.read(mocap.write_c3d(read, tmp_path / "again.c3d"))
    assert_same_recording(again, read)
    assert_same_plates(again, read)


def test_plates_alone_bring_their_own_analog_channels(tmp_path: Path) -> None:
    written = a_capture(
        analog=np.zeros((0, 0)), analog_labels=(), analog_units=(), analog_rate_hz=0.0, plates=(a_plate(), a_plate())
    )
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert_same_plates(read, written)
    assert read.analog.shape == (FRAMES * SAMPLES, 12)
    assert read.analog_rate_hz == 240.0 * SAMPLES


@pytest.mark.parametrize("length_unit_m", [1e-3, 1.0])
@pytest.mark.parametrize("kind", [1, 2, 3, 4, 7])
def test_plates_of_every_type_come_back_through_their_channels(kind: int, length_unit_m: float, tmp_path: Path) -> None:
    from mocap.importer.plates import PlateParameters, read_plates

    rng = np.random.default_rng(kind)
    count = 8 if kind in (3, 7) else 6
    analog = rng.normal(scale=30.0, size=(FRAMES * SAMPLES, count + 1)) + 100.0
    analog = analog.astype(np.float32).astype(np.float64)
    matrix = np.eye(count) + rng.normal(scale=0.01, size=(count, count))
    parameters = PlateParameters(
        used=1,
        types=np.array([kind]),
        corners=CORNERS[None] / length_unit_m,
        origins=np.array([[0.12, 0.2, -0.04]]) / length_unit_m,
        channels=np.arange(2, count + 2)[None],
        matrices=matrix.T[None],
        zero=np.array([1, 0]),
    )
    # Volts name no unit of length, so that the moments are in the unit of the points.
    units = ("V",) * (count + 1)
    plates, _ = read_plates(
        parameters, analog, units, rate_hz=1200.0, samples_per_frame=SAMPLES, point_scale=length_unit_m
    )
    labels = tuple(f"C{i}" for i in range(count + 1))
    written = a_capture(analog=analog, analog_labels=labels, analog_units=units, plates=plates)
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert_same_recording(read, written)
    assert read.plates[0].plate_type == kind
    assert read.plates[0].force == pytest.approx(plates[0].force, rel=1e-5, abs=1e-3)
    assert read.plates[0].moment == pytest.approx(plates[0].moment, rel=1e-5, abs=1e-5 * np.abs(plates[0].moment).max())
    channels = read.plates[0].channels
    assert isinstance(channels, PlateChannels)
    assert channels.columns == tuple(range(1, count + 1))
    assert channels.zero == (1, 0)
    assert channels.length_unit_m == length_unit_m


def test_more_than_255_labels_go_on_in_labels2(tmp_path: Path) -> None:
    count = 600
    rng = np.random.default_rng(2)
    written = a_capture(
        labels=tuple(f"marker number {i}" for i in range(count)),
        points=rng.normal(size=(3, count, 3)),
        residuals=np.zeros((3, count)),
        cameras=np.zeros((3, count), np.uint8),
        analog=rng.normal(size=(6, 300)),
        analog_labels=tuple(f"channel {i}" for i in range(300)),
        analog_units=("V",) * 300,
        analog_rate_hz=480.0,
        events=(),
    )
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert_same_recording(read, written)
    assert read.notes == ()


def test_more_frames_than_16_bits_can_count(tmp_path: Path) -> None:
    frames = 70_000
    points = np.random.default_rng(3).normal(size=(frames, 1, 3))
    written = Capture("long.c3d", ("A",), points, 240.0, np.zeros((frames, 1)), first_frame=66_000)
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert read.n_frames == frames
    assert read.first_frame == 66_000
    assert single(read.points) == pytest.approx(single(points), rel=2e-7, abs=1e-9)


def test_residuals_that_share_no_step_are_rounded_to_one(tmp_path: Path) -> None:
    residuals = np.random.default_rng(4).uniform(0, 2e-3, (FRAMES, POINTS))
    capture = a_capture()
    written = replace(capture, residuals=np.where(np.isnan(capture.residuals), np.nan, residuals))
    read = mocap.read(mocap.write_c3d(written, tmp_path / "out.c3d"))
    assert read.residuals == pytest.approx(written.residuals, abs=0.5 * 2e-3 / 255 * 1.001, nan_ok=True)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"analog": np.zeros((FRAMES * SAMPLES - 1, 3))}, "no multiple of 60 frames"),
        ({"labels": ("A", "B", "C", "x" * 300)}, "more than 255 letters"),
        ({"plates": (a_plate(force=np.ones((7, 3)), moment=np.ones((7, 3))),)}, "has 7 samples"),
        (
            {
                "points": np.zeros((0, POINTS, 3)),
                "residuals": np.zeros((0, POINTS)),
                "cameras": np.zeros((0, POINTS), np.uint8),
            },
            "at least one frame",
        ),
    ],
)
def test_what_does_not_fit_is_refused_and_leaves_nothing(
    changes: dict[str, object], message: str, tmp_path: Path
) -> None:
    with pytest.raises(OutputError, match=message) as refusal:
        mocap.write_c3d(a_capture(**changes), tmp_path / "out.c3d")
    assert str(tmp_path / "out.c3d") in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="make it first"):
        mocap.write_c3d(a_capture(), tmp_path / "nowhere" / "out.c3d")


# ------------------------------------------------------------------ other readers


def test_the_c3d_package_reads_the_same(tmp_path: Path) -> None:
    import c3d

    written = a_capture(plates=(a_plate(),))
    path = mocap.write_c3d(written, tmp_path / "out.c3d")
    with warnings.catch_warnings(), path.open("rb") as file:
        warnings.simplefilter("ignore")
        reader = c3d.Reader(file)
        frames = list(reader.read_frames())
        groups = {name for name, _ in reader.group_items()}
    points = np.stack([frame for _, frame, _ in frames])
    lost = np.isnan(written.residuals)
    assert single(np.where(lost[..., None], np.nan, points[..., :3])) == pytest.approx(
        single(1e3 * written.points), rel=2e-7, abs=1e-6, nan_ok=True
    )
    assert np.array_equal(points[..., 3] < 0, lost)
    assert points[..., 3][~lost] == pytest.approx(1e3 * written.residuals[~lost], rel=1e-6)
    assert np.array_equal(points[..., 4][~lost], written.cameras[~lost])
    analog = np.concatenate([samples for _, _, samples in frames], axis=1).T
    assert np.array_equal(single(analog[:, :3]), single(written.analog))
    assert tuple(label.strip() for label in reader.point_labels)[:3] == written.labels[:3]
    assert (reader.point_rate, reader.first_frame, reader.last_frame) == (240.0, 37, 37 + FRAMES - 1)
    assert groups >= {"POINT", "ANALOG", "FORCE_PLATFORM", "EVENT", "SUBJECTS", "PROCESSING", "TRIAL"}


def test_ezc3d_reads_the_same(tmp_path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    # Its labels are taken as UTF-8, those of C3D files are of one byte a letter.
    written = a_capture(labels=("LASI", "RASI", "L knee (lateral)", "SAGE"), plates=(a_plate(),))
    path = mocap.write_c3d(written, tmp_path / "out.c3d")
    file = ezc3d.c3d(str(path), extract_forceplat_data=True)
    points, parameters = file["data"]["points"].transpose(2, 1, 0), file["parameters"]
    assert single(points[..., :3]) == pytest.approx(single(1e3 * written.points), rel=2e-7, abs=1e-6, nan_ok=True)
    lost = np.isnan(written.residuals)
    residuals = file["data"]["meta_points"]["residuals"][0].T
    # Camera mask and residual: it takes the word's two bytes the other way round than the C3D user guide and the c3d
    # package do, so that it can only tell which points are lost.
    assert np.array_equal(residuals < 0, lost)
    assert np.array_equal(single(file["data"]["analogs"][0].T[:, :3]), single(written.analog))
    assert tuple(parameters["POINT"]["LABELS"]["value"]) == written.labels
    assert parameters["ANALOG"]["UNITS"]["value"][:3] == list(written.analog_units)
    assert file["header"]["points"]["first_frame"] + 1 == written.first_frame  # counted from 0 there
    assert parameters["EVENT"]["LABELS"]["value"] == ["Foot Down", "Contact"]
    # From the start of the trial, 36 frames before the first stored one.
    assert parameters["EVENT"]["TIMES"]["value"][1] == pytest.approx([0.1 + 36 / 240, 0.21 + 36 / 240], rel=1e-6)
    plate, platform = written.plates[0], file["data"]["platform"][0]
    # Its force is on the plate, as stored; ours on the person.
    force, centre, torque = (platform[key].T for key in ("force", "center_of_pressure", "Tz"))
    assert -force == pytest.approx(plate.force, rel=1e-5, abs=1e-3)
    assert centre / 1e3 == pytest.approx(plate.centre_of_pressure, abs=1e-5)
    assert -torque[:, 2] / 1e3 == pytest.approx(plate.free_moment, abs=1e-3)
