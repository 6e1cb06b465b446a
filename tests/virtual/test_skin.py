"""Markers on a posed body: rigid with the bones, where a lab would stick them, and carried about by the skin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mocap.errors import OptionError
from mocap.kinematics.geometry import angle_between
from mocap.kinematics.marker_sets import fold, marker_set
from mocap.reference.posed import PosedSwing
from mocap.virtual.skin import Marker, body_frames, joints_of, marker_table, place
from mocap.virtual.soft_tissue import LOOSENESS, SHARES, soft_tissue

Body = tuple[dict[str, np.ndarray], dict[str, np.ndarray]]
KINDS = ("joint_centres", "conventional_gait", "cluster")
RMS = 0.015


@pytest.fixture(scope="module")
def body(posed: PosedSwing) -> Body:
    joints = joints_of({name: posed[name] for name in posed.names})
    return joints, body_frames(joints, posed.parameters)


def dressed(body: Body, kind: str, bat: str = "ends") -> tuple[tuple[Marker, ...], np.ndarray]:
    table = marker_table(kind, body[0], 1.80, bat=bat)  # type: ignore[arg-type]
    return table, place(table, *body)


def path_of(table: tuple[Marker, ...], paths: np.ndarray, label: str) -> np.ndarray:
    return paths[:, [marker.label for marker in table].index(label)]


def rms(vectors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.sum(vectors**2, axis=-1))))


# ------------------------------------------------------------------ places


@pytest.mark.parametrize("kind", ["conventional_gait", "cluster"])
def test_markers_of_a_segment_keep_their_distances(body: Body, kind: str) -> None:
    table, paths = dressed(body, kind, "ends_and_handle")
    segments = {marker.segment for marker in table}
    assert {"pelvis", "thorax", "head", "l_thigh", "r_foot", "l_forearm", "bat"} <= segments
    for segment in segments:
        on_it = paths[:, [marker.segment == segment for marker in table]]
        apart = np.linalg.norm(on_it[:, :, None] - on_it[:, None], axis=-1)
        assert np.ptp(apart, axis=0).max() < 1e-12, segment


@pytest.mark.parametrize("kind", KINDS)
def test_every_label_is_one_that_the_kinematics_know(body: Body, kind: str) -> None:
    known = set(marker_set(kind).aliases) | set(marker_set("bat").aliases)
    labels = [marker.label for marker in dressed(body, kind, "ends_and_handle")[0]]
    assert len(set(labels)) == len(labels)
    # A solver's middles of hips, shoulders and spine are no joint centres.
    assert {fold(label) for label in labels} - known == (
        {"pelvis", "neck", "spine"} if kind == "joint_centres" else set()
    )


def test_labels_lie_on_the_side_and_the_face_of_the_body_that_they_name(body: Body) -> None:
    joints, frames = body
    table, paths = dressed(body, "conventional_gait")
    right = frames["pelvis"][..., 2]
    for marker in table:
        if marker.label[0] in "LR" and marker.site in ("asis", "psis", "knee", "thigh"):
            sign = 1.0 if marker.label[0] == "R" else -1.0
            # A knee may lie across the body, as the front one does at contact: its markers lie outside the knee.
            side = marker.label[0].lower()
            middle, axis = (
                (joints["pelvis"], right)
                if marker.site in ("asis", "psis")
                else (joints[f"{side}_knee"], frames[f"{side}_thigh"][..., 2])
            )
            outward = sign * np.sum((path_of(table, paths, marker.label) - middle) * axis, axis=1)
            assert outward.min() > 0, marker.label
    for front, back, part in (("CLAV", "C7", "thorax"), ("RASI", "RPSI", "pelvis"), ("LFHD", "LBHD", "head")):
        forward = path_of(table, paths, front) - path_of(table, paths, back)
        assert (np.sum(forward * frames[part][..., 0], axis=1) > 0.08).all(), front
    # Stuck on the shoe, over the floor, also where the back foot stands on its toes.
    assert path_of(table, paths, "LHEE")[:, 2].min() > 0.03
    assert path_of(table, paths, "RTOE")[:, 2].min() > 0.02


@pytest.mark.parametrize("height", [1.20, 1.80, 2.05])
def test_markers_grow_with_the_body(posed: PosedSwing, height: float) -> None:
    scale = height / posed.parameters.height_m
    joints = joints_of({name: scale * posed[name] for name in posed.names if not name.startswith("bat")})
    joints |= joints_of({name: scale * posed["front_hand"] + k for k, name in enumerate(("bat_knob", "bat_barrel"))})
    frames = body_frames(joints, replace(posed.parameters, height_m=height))
    table = marker_table("conventional_gait", joints, height)
    paths = place(table, joints, frames)

    def apart(one: str, other: str) -> float:
        return float(np.linalg.norm(path_of(table, paths, one) - path_of(table, paths, other), axis=1)[0])

    # Half a knee 5.8 % of height wide and the marker's radius; a pelvis for which Harrington's regression gives hips
    # 182.2 mm apart on a man of 1.741 m, whose width is 240 mm.
    knee = np.linalg.norm(path_of(table, paths, "LKNE") - joints["l_knee"], axis=1)
    assert knee == pytest.approx(0.029 * height + 0.007)
    hips = 0.1822 / 1.741 * height
    depth = (hips / 2 - 0.0079 - 0.16 * apart("LASI", "RASI")) / 0.28
    assert depth == pytest.approx(2 / 3 * apart("LASI", "RASI"))
    assert apart("LFHD", "RFHD") == pytest.approx(0.14 * height / 1.80)
    if height == 1.80:
        assert apart("LASI", "RASI") == pytest.approx(0.240 * 1.80 / 1.741, rel=0.01)


def test_hinges_turn_no_faster_than_their_bones_where_a_limb_is_nearly_straight(body: Body) -> None:
    joints, frames = body
    for side in "lr":
        step = np.diff(frames[f"{side}_upper_arm"], axis=0)
        # The front arm's greatest speed at 240 Hz; published lead arms reach 1160 deg/s.
        speed = np.degrees(np.linalg.norm(step, axis=(1, 2)) / np.sqrt(2.0)) * 240.0
        assert speed.max() < 1800.0
        axis = frames[f"{side}_forearm"][..., 2]
        forearm = joints[f"{side}_wrist"] - joints[f"{side}_elbow"]
        upper = joints[f"{side}_elbow"] - joints[f"{side}_shoulder"]
        assert np.abs(np.sum(axis * forearm, axis=1)).max() < 1e-12
        assert np.abs(np.sum(axis * upper, axis=1)).max() < 1e-9


def test_the_face_follows_the_ball_as_far_as_the_neck_turns(body: Body) -> None:
    _, frames = body
    face, chest = frames["head"][..., 0], frames["thorax"][..., 0]
    level = angle_between(face * [1, 1, 0], chest * [1, 1, 0])
    assert np.degrees(level).max() < 85.0
    assert face[:, 0].min() > 0.5  # toward the pitcher throughout
    assert np.linalg.norm(np.diff(face, axis=0), axis=1).max() * 240.0 < 8.0  # [rad/s]


def test_sets_that_are_not_known_are_refused(body: Body) -> None:
    with pytest.raises(OptionError, match="set 'gait' is not known; give one of joint_centres, conventional_gait"):
        marker_table("gait", body[0], 1.8)  # type: ignore[arg-type]
    with pytest.raises(OptionError, match="bat 'tape' is not known; give one of ends, handle, ends_and_handle"):
        marker_table("cluster", body[0], 1.8, bat="tape")  # type: ignore[arg-type]


# ------------------------------------------------------------------ soft tissue


def moved(body: Body, kind: str = "cluster", seed: int = 1, rate_hz: float = 240.0) -> tuple[tuple, np.ndarray]:
    table, paths = dressed(body, kind)
    rng = np.random.default_rng(seed)
    return table, soft_tissue(table, paths, body[1], rate_hz, rms_m=RMS, rng=rng)


@pytest.mark.parametrize("kind", KINDS)
def test_the_skin_moves_by_what_is_stated(body: Body, kind: str) -> None:
    table, displacement = moved(body, kind)
    for column, marker in enumerate(table):
        wanted = RMS * LOOSENESS[marker.site]
        assert rms(displacement[:, column]) == pytest.approx(wanted, rel=1e-9), marker.label


def test_amplitudes_lie_where_they_have_been_measured() -> None:
    # Of a marker on the thigh that moves by 15 mm: shank 5 to 10, back 4 to 9, ASIS about 10 mm.
    by_site = {site: 1000.0 * RMS * loose for site, loose in LOOSENESS.items()}
    assert by_site["thigh"] == max(by_site.values())
    assert 5.0 < by_site["shank"] < 10.0
    assert 4.0 < by_site["trunk"] < 9.0
    assert 7.0 < by_site["asis"] < 12.0
    assert by_site["bat"] == 0.0


def test_plates_move_as_one_and_other_markers_do_not(body: Body) -> None:
    table, displacement = moved(body)
    plate = np.stack([path_of(table, displacement, f"LTH{i}") for i in range(1, 5)])
    assert np.ptp(plate, axis=0).max() < 1e-12
    assert rms(path_of(table, displacement, "LLE") - path_of(table, displacement, "LME")) > 0.2 * 0.6 * RMS
    other = path_of(table, displacement, "RTH1") - plate[0]
    assert rms(other) > 0.5 * RMS


def test_soft_tissue_moves_at_the_frequencies_of_the_movement(body: Body) -> None:
    table, displacement = moved(body)
    for label in ("LTH1", "RSK1", "T8", "RASIS"):
        path = path_of(table, displacement, label)
        power = np.sum(np.abs(np.fft.rfft(path - path.mean(axis=0), axis=0)) ** 2, axis=1)
        frequency = np.fft.rfftfreq(len(path), 1.0 / 240.0)
        share = np.cumsum(power) / power.sum()
        # Within what a low-pass of a swing lets through, and not a mere drift.
        assert frequency[np.searchsorted(share, 0.95)] < 15.0, label
        assert frequency[np.searchsorted(share, 0.95)] > 2.0, label


def test_the_same_seed_moves_the_skin_alike_and_another_does_not(body: Body) -> None:
    first, again, other = (moved(body, seed=seed)[1] for seed in (1, 1, 2))
    assert np.array_equal(first, again)
    assert rms(first - other) > 0.003


def test_on_a_still_body_only_the_wander_is_left(body: Body) -> None:
    joints, frames = ({name: np.repeat(path[:1], 720, axis=0) for name, path in part.items()} for part in body)
    table = marker_table("cluster", joints, 1.80)
    paths = place(table, joints, frames)
    displacement = soft_tissue(table, paths, frames, 240.0, rms_m=RMS, rng=np.random.default_rng(3))
    thigh = path_of(table, displacement, "LTH1")
    assert rms(thigh) == pytest.approx(RMS * np.sqrt(SHARES[2]), rel=1e-6)
    # Slowly: no frequency of the wander is above 2 Hz.
    assert np.linalg.norm(np.diff(thigh, axis=0), axis=1).max() * 240.0 < 0.1
