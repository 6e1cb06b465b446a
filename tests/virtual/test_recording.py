"""Virtual recordings: written and read back, they lead to the truth; what goes wrong in them is where it was put."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import mocap
from mocap.capture import Capture
from mocap.errors import OptionError
from mocap.importer.session import read_session
from mocap.kinematics.bat_points import bat_points
from mocap.kinematics.cleaning import CLUSTER, RECORDED, clean
from mocap.kinematics.joint_centres import body_from_cleaned
from mocap.reference.parameters import Barrel, SwingParameters, Timing
from mocap.virtual.faults import Faults, Gap, Spike, Swap, random_faults, spoil
from mocap.virtual.held import Held
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import TWO_PLATES, TWO_PLATES_TYPE_4, Lab
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record
from mocap.virtual.session_folder import PlannedSession, PlannedSwing, record_planned, write_session
from mocap.virtual.skin import CENTRE_LABELS

LAB = Lab(37.0, (1.30, -0.80, 0.0), TWO_PLATES_TYPE_4)
CHILD_SWING = SwingParameters(
    height_m=1.30,
    timing=Timing(contact=0.24, finish=0.52),
    barrel=Barrel(bat_length_m=0.71, barrel_speed=19.0, plate_line_m=0.68),
)
HITTERS = {
    "adult": VirtualHitter("adult", "A. Hitter", SwingParameters(), 80.0),
    "left": VirtualHitter("left", "L. Hitter", SwingParameters(height_m=1.86), 86.0, bats="left"),
    "child": VirtualHitter("child", "C. Hitter", CHILD_SWING, 30.0, level="youth"),
}
KINDS = ("joint_centres", "conventional_gait", "cluster")
JOINTS = ("hip", "knee", "ankle", "heel", "ball", "shoulder", "elbow", "wrist", "hand")


@pytest.fixture(scope="module")
def motions() -> Mapping[str, Motion]:
    return {name: Motion.of(hitter) for name, hitter in HITTERS.items()}


@pytest.fixture(scope="module")
def plain() -> Capture:
    return record(HITTERS["adult"], LAB, markers="conventional_gait", seed=5)


def true_centres(motion: Motion, rate_hz: float = 240.0) -> dict[str, np.ndarray]:
    """Joint centres in the lab by left and right."""
    hitter = motion.hitter
    letters = {"front_": "l_", "back_": "r_"} if hitter.bats == "right" else {"front_": "r_", "back_": "l_"}
    centres = {}
    for name, path in motion.points(motion.times(rate_hz)).items():
        side = next((s for s in letters if name.startswith(s)), "")
        centres[letters.get(side, "") + name.removeprefix(side)] = LAB.place(
            LAB.on_floor(path, hitter.parameters, hitter.bats)
        )
    return centres


def rms(vectors: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(np.sum(vectors**2, axis=-1))))


# ------------------------------------------------------------------ to the truth


#: What each set may be off by without noise, as a root mean square, and why. [m]
WITHIN_M: dict[str, dict[str, float]] = {
    "joint_centres": dict.fromkeys(JOINTS, 1e-6),  # 32-bit floats
    "conventional_gait": {
        "hip": 0.003,  # the leg's length is estimated from the markers
        "knee": 0.002,  # hangs on the hip
        "ankle": 0.003,  # its axis is taken half way between shank and foot
        "heel": 0.008,  # the height of the markers over the sole is a guess
        "ball": 0.008,
        "elbow": 1e-6,
        **dict.fromkeys(("shoulder", "wrist", "hand"), 1e-6),
    },
    "cluster": {
        "hip": 0.003,
        "heel": 0.008,
        "ball": 0.008,
        **dict.fromkeys(("knee", "ankle", "shoulder", "elbow", "wrist", "hand"), 1e-6),
    },
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", HITTERS)
def test_noiseless_markers_lead_back_to_the_joints(
    name: str, kind: str, motions: Mapping[str, Motion], tmp_path: Path
) -> None:
    motion, hitter = motions[name], HITTERS[name]
    capture = record(hitter, LAB, markers=kind, noise_m=0.0, force_noise_n=0.0)  # type: ignore[arg-type]
    read = mocap.read(mocap.write_c3d(capture, tmp_path / "swing.c3d"))
    assert read.notes == ()
    found, truth = body_from_cleaned(read).centres, true_centres(motion)
    for joint, within in WITHIN_M[kind].items():
        for side in "lr":
            off = rms(found[f"{side}_{joint}"] - truth[f"{side}_{joint}"])
            assert off < within, f"{side}_{joint} {1000 * off:.2f} mm"
    for point in ("head", "bat_knob", "bat_barrel"):
        assert rms(found[point] - truth[point]) < 1e-6, point
    assert rms(found["head_top"] - truth["head_top"]) < 0.002


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", HITTERS)
def test_a_noiseless_swing_is_the_hitters_own(
    name: str, kind: str, motions: Mapping[str, Motion], tmp_path: Path
) -> None:
    motion, hitter = motions[name], HITTERS[name]
    capture = record(hitter, LAB, markers=kind, noise_m=0.0, force_noise_n=0.0)  # type: ignore[arg-type]
    read = mocap.read(mocap.write_c3d(capture, tmp_path / "swing.c3d"))
    x, y, z = LAB.rotation[:, 0]
    tip = LAB.home_plate(hitter.bats)
    swing = mocap.build_swing(read, None, mocap.Setup(pitcher=(x, y, z), plate=tuple(tip)))
    assert swing.hitter.bats == hitter.bats
    assert swing.hitter.height_m == pytest.approx(hitter.height_m)
    assert swing.hitter.mass_kg == pytest.approx(hitter.mass_kg)
    start = motion.times(240.0)[0]
    # Plates at 1200 Hz, frames at 240 Hz: one frame. Contact is found in the bat, without a ball: two frames.
    for moment, within in (("plant", 1.0), ("contact", 2.0), ("level", 1.0)):
        found = swing.moments[moment].time_s
        assert found == pytest.approx(motion.moments[moment] - start, abs=within / 240.0), moment
    # The hitting frame's origin is home plate's tip, the posed swing's midway between the ankles.
    from_feet = [hitter.parameters.plate_behind_m, hitter.parameters.barrel.plate_line_m, 0.0]
    truth = motion.points(motion.times(240.0))
    at = slice(20, -20)  # away from the ends, where a low-pass has nothing to lean on
    for point, within in (("pelvis", 0.004), ("front_knee", 0.006), ("back_ankle", 0.005), ("bat_knob", 0.010)):
        assert rms((swing[point] - truth[point] - from_feet)[at]) < within, point
    assert swing.forces is not None
    assert swing.forces.front[:, 2].max() > 0.8 * hitter.mass_kg * 9.80665


@pytest.mark.parametrize("name", ["adult", "left"])
def test_a_handle_that_a_static_trial_shows_leads_to_the_ends_of_the_bat(
    name: str, motions: Mapping[str, Motion]
) -> None:
    hitter = HITTERS[name]
    static = record(hitter, LAB, markers="cluster", bat="ends_and_handle", noise_m=0.0, held_s=0.2)
    swing = record(hitter, LAB, markers="cluster", bat="handle", noise_m=0.0)
    assert not {"BAT_KNOB", "BAT_BARREL"} & set(swing.labels)
    found, truth = bat_points(swing, static=static).centres, true_centres(motions[name])
    for end in ("bat_knob", "bat_barrel"):
        assert rms(found[end] - truth[end]) < 1e-9


def test_skin_and_misplaced_markers_cost_what_they_should(motions: Mapping[str, Motion]) -> None:
    truth = true_centres(motions["adult"])
    for more, least, most in (
        ({"soft_tissue_m": 0.015}, 0.002, 0.030),
        ({"placing_m": 0.005}, 0.001, 0.020),
    ):
        capture = record(HITTERS["adult"], LAB, markers="conventional_gait", noise_m=0.0, **more)
        centres = body_from_cleaned(capture).centres
        for joint in ("l_hip", "r_knee", "l_elbow", "r_shoulder"):
            assert least < rms(centres[joint] - truth[joint]) < most, joint
        # The bat has no skin.
        assert (rms(centres["bat_barrel"] - truth["bat_barrel"]) < 1e-9) == ("soft_tissue_m" in more)


# ------------------------------------------------------------------ as recorded


def test_everything_that_was_recorded_is_read_back(plain: Capture, tmp_path: Path) -> None:
    read = mocap.read(mocap.write_c3d(plain, tmp_path / "swing.c3d"))
    assert read.labels == plain.labels
    assert read.points == pytest.approx(plain.points, abs=1e-6)
    # A residual is one of 255 steps.
    assert read.residuals == pytest.approx(plain.residuals, abs=plain.residuals.max() / 255)
    assert np.array_equal(read.cameras, plain.cameras)
    assert (read.rate_hz, read.analog_rate_hz, read.vertical) == (240.0, 1200.0, "+z")
    assert read.subject["name"] == "A. Hitter"
    assert read.subject["bats"] == "right"
    assert read.subject["height_m"] == pytest.approx(1.80)
    assert read.subject["mass_kg"] == pytest.approx(80.0)


def test_noise_and_residuals_are_of_the_stated_size() -> None:
    exact, noisy = (record(HITTERS["adult"], LAB, noise_m=noise_m, seed=3) for noise_m in (0.0, 0.002))
    off = noisy.points - exact.points
    assert off.std(axis=(0, 1)) == pytest.approx([0.002] * 3, rel=0.03)
    assert np.abs(np.corrcoef(off[1:, 0, 0], off[:-1, 0, 0])[0, 1]) < 0.15  # white
    assert np.sqrt((noisy.residuals**2).mean()) == pytest.approx(0.002, rel=0.03)
    assert noisy.residuals.min() > 0
    assert not exact.residuals.any()


@pytest.mark.parametrize(
    ("rate", "analog"), [(60, 1200), (100, 1200), (120, 1200), (240, 1200), (360, 1080), (500, 1000)]
)
def test_every_rate_sees_the_same_swing(rate: float, analog: float, motions: Mapping[str, Motion]) -> None:
    capture = record(HITTERS["adult"], LAB, rate_hz=rate, noise_m=0.0)
    assert capture.analog_rate_hz == analog
    assert len(capture.analog) == capture.n_frames * analog / rate
    motion = motions["adult"]
    start = motion.times(rate)[0]
    frame = round((motion.moments["contact"] - start) * rate)
    truth = motion.points(start + frame / rate)["bat_barrel"]
    placed = LAB.place(LAB.on_floor(truth, motion.hitter.parameters, "right"))
    assert capture.points[frame, capture.labels.index("BAT_BARREL")] == pytest.approx(placed[0], abs=1e-12)


def test_the_skin_moves_alike_at_every_rate() -> None:
    slow, fast = (
        record(HITTERS["adult"], LAB, markers="cluster", rate_hz=rate, noise_m=0.0, soft_tissue_m=0.015, seed=2).points
        for rate in (60.0, 240.0)
    )
    assert np.linalg.norm(slow - fast[::4][: len(slow)], axis=2).max() < 1e-3


def test_one_thing_can_be_changed_alone(plain: Capture) -> None:
    again = record(HITTERS["adult"], LAB, markers="conventional_gait", seed=5)
    assert np.array_equal(again.points, plain.points)
    assert np.array_equal(again.analog, plain.analog)
    soft = record(HITTERS["adult"], LAB, markers="conventional_gait", seed=5, soft_tissue_m=0.01)
    assert np.array_equal(soft.analog, plain.analog)
    assert np.array_equal(soft.residuals, plain.residuals)
    bat = soft.labels.index("BAT_KNOB")
    assert soft.points[:, bat] == pytest.approx(plain.points[:, bat], abs=1e-12)
    other = record(HITTERS["adult"], LAB, markers="conventional_gait", seed=6)
    assert rms(other.points - plain.points) > 0.001


def test_a_left_handed_hitter_is_the_mirror_image() -> None:
    right = record(replace(HITTERS["left"], bats="right"), Lab(), noise_m=0.0)
    left = record(HITTERS["left"], Lab(), noise_m=0.0)
    assert set(left.labels) == set(right.labels) == {*CENTRE_LABELS.values(), "SPINE"}
    for label in ("L_ANKLE", "R_HAND", "HEAD", "BAT_BARREL"):
        other = {"L": "R", "R": "L"}.get(label[0], label[0]) + label[1:]
        mirrored = right.points[:, right.labels.index(other)] * [1.0, -1.0, 1.0]
        assert left.points[:, left.labels.index(label)] == pytest.approx(mirrored, abs=1e-12)
    assert left.subject["bats"] == "left"


# ------------------------------------------------------------------ faults

FAULTS = Faults(
    gaps=(Gap("LTHI", 50, 57), Gap("RSHO", 120, 179)),
    swaps=(Swap(("LTOE", "LHEE"), 80, 130),),
    spikes=(Spike("RKNE", 200, 201, (0.05, 0.0, 0.08)), Spike("C7", 300, 300, (0.0, 0.2, 0.0))),
)


def test_faults_are_where_they_were_put_and_nowhere_else(plain: Capture) -> None:
    spoilt = spoil(plain, FAULTS)
    column = {label: i for i, label in enumerate(plain.labels)}
    expected = plain.points.copy()
    expected[80:131, [column["LTOE"], column["LHEE"]]] = plain.points[80:131, [column["LHEE"], column["LTOE"]]]
    expected[200:202, column["RKNE"]] += [0.05, 0.0, 0.08]
    expected[300, column["C7"]] += [0.0, 0.2, 0.0]
    expected[50:58, column["LTHI"]] = expected[120:180, column["RSHO"]] = np.nan
    assert np.array_equal(spoilt.points, expected, equal_nan=True)
    lost = np.isnan(expected).any(axis=2)
    assert np.array_equal(np.isnan(spoilt.residuals), lost)
    assert np.array_equal(spoilt.cameras == 0, lost)
    assert np.array_equal(
        record(HITTERS["adult"], LAB, markers="conventional_gait", seed=5, faults=FAULTS).points,
        expected,
        equal_nan=True,
    )


def test_cleaning_finds_them(plain: Capture, tmp_path: Path) -> None:
    assert clean(plain).notes == ()
    read = mocap.read(mocap.write_c3d(spoil(plain, FAULTS), tmp_path / "spoilt.c3d"))
    cleaned = clean(read)
    notes = " ".join(cleaned.notes)
    for part in (
        "RKNE frames 200 to 201",
        "C7 frame 300",
        "exchanged in frames 80 to 130: exchanged back",
        "LTHI frames 50",
    ):
        assert part in notes
    column = {label: i for i, label in enumerate(plain.labels)}
    assert (cleaned.origin[120:180, column["RSHO"]] == CLUSTER).all()
    assert int((cleaned.origin != RECORDED).sum()) == 8 + 60 + 2 + 1
    # What was filled lies near what was lost: the short gaps within noise, the shoulder carried by its neighbours.
    off = np.linalg.norm(cleaned.points - plain.points, axis=2)
    assert off[50:58, column["LTHI"]].max() < 0.010
    assert off[120:180, column["RSHO"]].max() < 0.030


@pytest.mark.parametrize("seed", range(6))
def test_random_faults_are_found(seed: int) -> None:
    kind = KINDS[seed % 3]
    hitter = list(HITTERS.values())[seed % 3]
    capture = record(hitter, LAB, markers=kind, soft_tissue_m=0.005, seed=seed)  # type: ignore[arg-type]
    faults = random_faults(np.random.default_rng(seed), capture)
    assert faults == random_faults(np.random.default_rng(seed), capture)
    used = [label for fault in (*faults.gaps, *faults.spikes) for label in (fault.label,)]
    used += [label for swap in faults.swaps for label in swap.labels]
    assert len(set(used)) == len(used)
    assert len(faults.spikes) == 2
    notes = " ".join(clean(spoil(capture, faults)).notes)
    for swap in faults.swaps:
        assert f"exchanged in frames {swap.first} to {swap.last}: exchanged back" in notes
    for spike in faults.spikes:
        frames = f"frame {spike.first}" if spike.first == spike.last else f"frames {spike.first} to {spike.last}"
        assert f"{spike.label} {frames}" in notes


def test_random_gaps_have_the_lengths_of_real_ones(plain: Capture) -> None:
    rng = np.random.default_rng(8)
    drawn = [random_faults(rng, plain, swaps=0, spikes=0).gaps for _ in range(60)]
    lengths = np.array([(gap.last - gap.first + 1) / 240.0 for gaps in drawn for gap in gaps])
    # 0.06 a second of each point: 215 expected, known to within 15.
    assert len(lengths) == pytest.approx(60 * 0.06 * len(plain.labels) * plain.duration_s, rel=0.2)
    assert np.median(lengths) == pytest.approx(0.035, abs=0.008)
    assert lengths.max() <= 0.401
    assert np.mean(lengths > 0.10) == pytest.approx(0.09, abs=0.05)  # log-normal: beyond 1.33 standard deviations


def test_a_recording_of_a_few_frames_is_not_spoilt() -> None:
    capture = record(HITTERS["adult"], Lab(), held_s=0.05)
    with pytest.raises(OptionError, match="13 frames are too few to spoil; record 16 or more"):
        random_faults(np.random.default_rng(0), capture)


# ------------------------------------------------------------------ held


@pytest.mark.parametrize("name", ["adult", "left"])
def test_a_held_posture_is_the_landing_with_a_little_sway(name: str, motions: Mapping[str, Motion]) -> None:
    motion = motions[name]
    held = Held.landing(motion, 3.0, np.random.default_rng(4))
    time = held.times(240.0)
    assert time[-1] == 3.0
    points, landed = held.points(time), {n: p[0] for n, p in motion.points(0.0).items()}
    for point in ("front_ankle", "back_heel", "front_toe"):
        assert np.ptp(points[point], axis=0).max() == 0.0
    assert points["front_heel"][0, 2] == pytest.approx(0.016 * held.hitter.height_m, abs=1e-6)  # on its whole sole
    sway = points["pelvis"] - points["pelvis"].mean(axis=0)
    assert 0.001 < rms(sway) < 0.006
    assert rms(points["head"] - points["head"].mean(axis=0)) < 0.02
    assert np.linalg.norm(np.diff(points["head"], axis=0), axis=1).max() * 240.0 < 0.1
    for limb in (("hip", "knee", "ankle"), ("shoulder", "elbow", "wrist", "hand")):
        for side in ("front", "back"):
            for upper, lower in itertools.pairwise(limb):
                ends = f"{side}_{upper}", f"{side}_{lower}"
                lengths = np.linalg.norm(points[ends[0]] - points[ends[1]], axis=1)
                assert lengths == pytest.approx(np.linalg.norm(landed[ends[0]] - landed[ends[1]])), ends
    line = points["front_shoulder"] - points["back_shoulder"]
    before = landed["front_shoulder"] - landed["back_shoulder"]
    turned = np.degrees(np.arccos(line @ before / np.linalg.norm(line, axis=1) / np.linalg.norm(before)))
    assert 0.1 < turned.max() < 4.0


def test_a_held_posture_rests_on_the_plates() -> None:
    capture = record(HITTERS["adult"], LAB, held_s=3.0, noise_m=0.0, force_noise_n=0.0)
    assert capture.duration_s == pytest.approx(3.0)
    back, front = (plate.force[:, 2] for plate in capture.plates)
    weight = 80.0 * 9.80665
    assert (back + front) == pytest.approx(np.full(len(back), weight), rel=0.02)
    # The sound landing keeps 55 % of the weight back at mid-foot; the soles' middles lie a little ahead of that.
    assert 0.50 < back.mean() / weight < 0.62
    sideways = sum(plate.force[:, :2] for plate in capture.plates)
    assert np.abs(sideways).max() < 0.02 * weight


# ------------------------------------------------------------------ sessions


def a_session(**changes: object) -> PlannedSession:
    adult, child = HITTERS["adult"], HITTERS["child"]
    swings = (
        PlannedSwing("a1.c3d", adult, notes='said "stay back"', seed=1),
        PlannedSwing("c1.c3d", child, kind="tee", markers="cluster", rate_hz=120.0, faults="random", seed=2),
        PlannedSwing("a2.c3d", adult, kind="held", moments={"plant": 360}, seed=3),
    )
    session = PlannedSession(
        "Cage 2, été", date(2026, 5, 9), Lab(90.0, (1.0, 2.0, 0.0), TWO_PLATES), swings, "Invented."
    )
    return replace(session, **changes)  # type: ignore[arg-type]


def test_a_session_folder_is_read_as_it_was_planned(tmp_path: Path) -> None:
    write_session(tmp_path / "day", a_session())
    assert sorted(p.name for p in (tmp_path / "day").iterdir()) == ["a1.c3d", "a2.c3d", "c1.c3d", "session.toml"]
    session = read_session(tmp_path / "day")
    assert session.name == "Cage 2, été"
    first, second, third = session.recordings
    assert (first.kind, second.kind, third.kind) == ("live", "tee", "held")
    assert (second.hitter.name, second.hitter.height_m, second.hitter.level) == ("C. Hitter", 1.30, "youth")
    assert first.hitter == third.hitter
    assert first.setup.pitcher == (0.0, 1.0, 0.0)
    # The tip lies 0.10 m behind and 0.86 m beside the middle of the feet; a quarter turn makes that (+y, -x).
    assert first.setup.plate == pytest.approx((1.0 + 0.86, 2.0 - 0.10, 0.0))
    assert dict(third.setup.moments) == {"plant": 360}
    assert mocap.read(third.file).duration_s == pytest.approx(3.0)
    spoilt = mocap.read(second.file)
    assert spoilt.rate_hz == 120.0
    # Not a bit of the recording depends on the way through the file, but for 32-bit floats.
    planned = record_planned(Lab(90.0, (1.0, 2.0, 0.0), TWO_PLATES), a_session().swings[1])
    assert spoilt.points == pytest.approx(planned.points, abs=1e-6, nan_ok=True)
    assert np.isnan(planned.points).any()
    swing = mocap.build_swing(mocap.read(first.file), first.hitter, first.setup)
    assert swing.plate_known


def test_the_same_session_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_session(tmp_path / name, a_session())
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def test_home_plate_is_stated_once_or_with_each_swing(tmp_path: Path) -> None:
    left = PlannedSwing("l1.c3d", HITTERS["left"])
    write_session(tmp_path / "left", a_session(swings=(left,)))
    assert read_session(tmp_path / "left").recordings[0].setup.plate == pytest.approx((1.0 - 0.86, 1.90, 0.0))
    write_session(tmp_path / "both", a_session(swings=(left, PlannedSwing("a.c3d", HITTERS["adult"]))))
    tips = [recording.setup.plate for recording in read_session(tmp_path / "both").recordings]
    assert tips[0] == pytest.approx((1.0 - 0.86, 1.90, 0.0))
    assert tips[1] == pytest.approx((1.0 + 0.86, 1.90, 0.0))


def test_sessions_that_contradict_themselves_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    adult = HITTERS["adult"]
    far = replace(adult, id="far", parameters=replace(adult.parameters, catcher_behind_m=1.5))
    for swings, message in (
        ((PlannedSwing("a.c3d", adult), PlannedSwing("a.c3d", adult)), r"file 'a\.c3d' is used twice"),
        ((PlannedSwing("../a.c3d", adult),), "not a bare name"),
        ((PlannedSwing("a.c3d", adult), PlannedSwing("b.c3d", replace(adult, mass_kg=70.0))), "'adult' is two persons"),
        ((PlannedSwing("a.c3d", adult), PlannedSwing("b.c3d", far)), "catchers stand at 2 distances"),
        ((PlannedSwing("a.c3d", adult, kind="game"),), "kind 'game' is not known"),  # type: ignore[arg-type]
        ((), "no swings; give at least one"),
    ):
        with pytest.raises(OptionError, match=message):
            write_session(tmp_path / "none", a_session(swings=swings))
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"rate_hz": 30.0}, "rate_hz is 30; give 60 to 500"),
        ({"analog_rate_hz": 1000.0}, r"analog_rate_hz is 1000, no whole multiple of the 240 .* give e\.g\. 1200"),
        ({"noise_m": -0.1}, r"noise_m is -0\.1; give zero or more"),
        ({"held_s": 0.0}, "held for 0 s; give a positive time"),
        ({"faults": Faults(gaps=(Gap("NOSE", 1, 2),))}, "no point 'NOSE' to spoil"),
        ({"faults": Faults(gaps=(Gap("HEAD", 410, 430),))}, "frames 410 to 430 of HEAD are not among 0 to"),
    ],
)
def test_recordings_that_cannot_be_are_refused(options: dict[str, object], message: str) -> None:
    with pytest.raises(OptionError, match=message):
        record(HITTERS["adult"], Lab(plates=TWO_PLATES), **options)  # type: ignore[arg-type]
