"""Functional joint centres of a simulated limb: markers fixed to a thigh that swings about a known centre."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from mocap.errors import InputError
from mocap.kinematics.functional import NotMovedError, functional_centre, search_centres

RATE, FRAMES = 120.0, 1200
TIME = np.arange(FRAMES) / RATE
CENTRE = np.array([-0.05, -0.08, 0.09])
#: Two markers at the knee, one in front of the thigh, one on its side. [m]
MARKERS = np.array([[0.0, -0.42, 0.05], [0.0, -0.42, -0.05], [0.06, -0.25, 0.02], [0.02, -0.20, 0.09]])


def swing(forward_deg: float, sideways_deg: float) -> np.ndarray:
    """Thigh in the pelvis: forward and back, to the side and round, turning a little about its length."""
    angles = [
        forward_deg * np.sin(np.pi * TIME) + 10.0,
        sideways_deg * np.sin(0.74 * np.pi * TIME + 0.4),
        min(10.0, sideways_deg) * np.sin(0.4 * np.pi * TIME),
    ]
    return Rotation.from_euler("ZXY", np.stack(angles, axis=1), degrees=True).as_matrix()


def paths(thigh: np.ndarray, *, noise: float = 0.0, skin: float = 0.0, seed: int = 0) -> np.ndarray:
    """Markers in the pelvis's axes; skin moves them slowly over the bone, and with the angle of the joint. [m]"""
    rng = np.random.default_rng(seed)
    local = np.tile(MARKERS, (FRAMES, 1, 1))
    slow = gaussian_filter1d(rng.normal(size=local.shape), 24, axis=0)
    local += 0.6 * skin * slow / slow.std()
    for way in (0, 2):
        along = thigh[:, way, 1] / max(np.abs(thigh[:, way, 1]).max(), 0.01)
        local += skin * rng.normal(size=MARKERS.shape) * along[:, None, None]
    return np.einsum("fij,fpj->fpi", thigh, local) + CENTRE + noise * rng.normal(size=local.shape)


def test_without_noise_the_centre_is_exact() -> None:
    found = functional_centre(paths(swing(35, 20)))
    assert found.local == pytest.approx(CENTRE, abs=1e-10)
    assert found.radii_m == pytest.approx(np.linalg.norm(MARKERS, axis=1), abs=1e-10)
    assert found.rms_m == pytest.approx(0.0, abs=1e-10)
    assert found.sd_m == pytest.approx(0.0, abs=1e-9)
    assert np.degrees(found.range_rad) == pytest.approx(70.0, abs=4.0)


def test_it_is_the_least_squares_fit_of_spheres() -> None:
    seen = paths(swing(30, 15), noise=0.002, skin=0.003, seed=1)
    seen[100:400, 0] = np.nan
    found = functional_centre(seen)

    def misfit(guess: np.ndarray) -> np.ndarray:
        length = np.linalg.norm(seen - guess[:3], axis=2) - guess[3:]
        return length[np.isfinite(length)]

    judge = least_squares(misfit, np.concatenate([CENTRE + 0.03, np.full(4, 0.3)]), xtol=1e-14, ftol=1e-14)
    assert found.local == pytest.approx(judge.x[:3], abs=1e-7)
    assert found.radii_m == pytest.approx(judge.x[3:], abs=1e-7)
    assert found.rms_m == pytest.approx(np.sqrt(np.mean(judge.fun**2)), rel=1e-9)


@pytest.mark.parametrize(
    ("noise", "skin", "within"),
    # White noise of 1 mm leaves a tenth of that; skin that moves by 3 mm with the joint's angle several mm.
    [(0.001, 0.0, (0.4, 1.1)), (0.001, 0.003, (0.5, 1.5))],
)
def test_the_stated_deviation_is_that_of_the_errors(noise: float, skin: float, within: tuple[float, float]) -> None:
    thigh = swing(35, 20)
    found = [functional_centre(paths(thigh, noise=noise, skin=skin, seed=seed)) for seed in range(60)]
    errors = np.array([one.local - CENTRE for one in found])
    stated = np.sqrt(np.mean([one.sd_m**2 for one in found]))
    actual = np.sqrt(np.mean(errors**2))
    assert within[0] < actual / stated < within[1]
    # No pull toward the markers: the mean error is what chance leaves of it.
    assert np.abs(errors.mean(axis=0)).max() < 4.0 * stated / np.sqrt(60)


def test_one_marker_is_enough_if_it_moves_all_round() -> None:
    found = functional_centre(paths(swing(40, 30), noise=0.001)[:, :1])
    assert found.local == pytest.approx(CENTRE, abs=0.003)


def test_a_marker_that_is_hardly_seen_is_left_out() -> None:
    seen = paths(swing(35, 20))
    seen[20:, 2] = np.nan
    found = functional_centre(seen)
    assert found.local == pytest.approx(CENTRE, abs=1e-9)
    assert np.isnan(found.radii_m).tolist() == [False, False, True, False]


@pytest.mark.parametrize(
    ("forward", "sideways", "noise", "reason"),
    [
        (0.0, 0.0, 0.001, "hardly moves"),
        (0.0, 0.0, 0.0, "hardly moves"),
        (5.0, 3.0, 0.001, "hardly moves"),
        (40.0, 0.0, 0.0, "open along its axis"),
        (40.0, 0.0, 0.003, "open along its axis"),
    ],
)
def test_a_movement_that_does_not_show_the_centre_is_refused_in_one_line(
    forward: float, sideways: float, noise: float, reason: str
) -> None:
    with pytest.raises(InputError, match=reason) as refusal:
        functional_centre(paths(swing(forward, sideways), noise=noise), name="r_hip")
    assert str(refusal.value).startswith("r_hip: ")
    assert "\n" not in str(refusal.value)
    assert "swing" in str(refusal.value)


def test_too_few_frames_are_refused() -> None:
    with pytest.raises(InputError, match="no marker is seen in 30 frames"):
        functional_centre(paths(swing(35, 20))[:20])


def trial(*, right_still: bool = False) -> SimpleNamespace:
    """What a calibration trial's body holds: the pelvis wanders through the lab, both thighs and one arm move."""
    pelvis = Rotation.from_rotvec(np.stack([0.1 * np.sin(TIME), 0.2 * np.cos(TIME), 0.5 * TIME], axis=1)).as_matrix()
    origin = np.stack([0.1 * TIME, 0.05 * np.sin(TIME), 1.0 + 0.0 * TIME], axis=1)
    mirror = np.array([1.0, 1.0, -1.0])
    left, right = paths(swing(35, 20)) * mirror, paths(swing(35, 20))
    if right_still:
        right = np.tile(right[:1], (FRAMES, 1, 1)) + np.random.default_rng(2).normal(0.0, 0.001, right.shape)
    markers, segment_of = {}, {}
    for side, local in (("l", left), ("r", right)):
        for number in range(4):
            markers[f"{side}_{number}"] = np.einsum("fij,fj->fi", pelvis, local[:, number]) + origin
            segment_of[f"{side}_{number}"] = f"{side}_thigh"
    markers["l_elbow_lateral"], segment_of["l_elbow_lateral"] = origin.copy(), "l_upper_arm"
    return SimpleNamespace(markers=markers, segment_of=segment_of, axes={"pelvis": pelvis}, origins={"pelvis": origin})


def test_both_hips_are_found_in_the_pelvis() -> None:
    found = search_centres(trial()).found
    assert set(found) == {"l_hip", "r_hip"}
    assert found["r_hip"].local == pytest.approx(CENTRE, abs=1e-9)
    assert found["l_hip"].local == pytest.approx(CENTRE * np.array([1.0, 1.0, -1.0]), abs=1e-9)


def test_what_cannot_be_found_is_said() -> None:
    found, refused = search_centres(trial(right_still=True))
    assert set(found) == {"l_hip"}
    assert set(refused) == {"r_hip", "l_shoulder", "r_shoulder"}
    assert str(refused["r_hip"]).startswith("right hip: the limb hardly moves")
    assert str(refused["l_shoulder"]) == "left shoulder: no marker shows the thorax's axes"
    assert str(refused["r_shoulder"]) == "right shoulder: no marker shows the right upper arm"
    assert all(isinstance(why, NotMovedError) for why in refused.values())


def test_a_movement_in_one_plane_is_told_from_none() -> None:
    body = trial()
    flat = paths(swing(40, 0), noise=0.001)
    for number in range(4):
        moved = np.einsum("fij,fj->fi", body.axes["pelvis"], flat[:, number]) + body.origins["pelvis"]
        body.markers[f"r_{number}"] = moved
    why = search_centres(body).refused["r_hip"]
    assert "open along its axis" in str(why)
    assert not isinstance(why, NotMovedError)
