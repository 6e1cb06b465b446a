"""A virtual hitter recorded in a virtual lab: a capture as the importer would give it.

A left-handed hitter is the mirror image of the posed swing: his points are mirrored into the lab, and what is on the
right-handed hitter's left is labelled right. Random numbers for noise, for the skin, for where markers were stuck and
for the sway of a held posture come from separate streams of one seed, so that to change one leaves the others alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from mocap.capture import Capture, FloatArray
from mocap.errors import OptionError
from mocap.virtual.faults import Faults, spoil
from mocap.virtual.forces import GroundForces
from mocap.virtual.held import Held
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab, PlateRecording, record_plates
from mocap.virtual.motion import Motion
from mocap.virtual.skin import BatKind, Marker, MarkerKind, body_frames, joints_of, marker_table, place
from mocap.virtual.soft_tissue import soft_tissue

#: Sampling rates of labs and fast cameras. [Hz]
SLOWEST_HZ, FASTEST_HZ = 60.0, 500.0
#: Analog channels are sampled about so often where no rate is given. [Hz] Common practice.
ANALOG_HZ = 1200.0
#: The skin's movement is worked out at no less than this rate. [Hz]
SKIN_HZ = 480.0
#: Bit mask of the cameras that see every point: three of them.
CAMERAS = 7
#: Streams of random numbers beside that of the noise.
SKIN_STREAM, PLACING_STREAM, SWAY_STREAM = 1, 2, 3


def record(
    hitter: VirtualHitter,
    lab: Lab,
    *,
    markers: MarkerKind = "joint_centres",
    bat: BatKind = "ends",
    rate_hz: float = 240.0,
    analog_rate_hz: float | None = None,
    noise_m: float = 0.001,
    soft_tissue_m: float = 0.0,
    placing_m: float = 0.0,
    force_noise_n: float = 1.5,
    faults: Faults | None = None,
    held_s: float | None = None,
    seed: int = 0,
) -> Capture:
    """Record one swing, or the landing posture held.

    Parameters
    ----------
    hitter : VirtualHitter
    lab : Lab
    markers : {"joint_centres", "conventional_gait", "cluster"}
    bat : {"ends", "handle", "ends_and_handle"}
        What is marked on the bat.
    rate_hz : float
        60 to 500. [Hz]
    analog_rate_hz : float, optional
        A whole multiple of `rate_hz`; the one nearest to 1200 Hz where not given. [Hz]
    noise_m : float
        White noise of the points per axis, one standard deviation. [m]
    soft_tissue_m : float
        Root mean square movement of the skin of the thigh; see `soft_tissue`. [m]
    placing_m : float
        How far from its place each marker was stuck, per axis, one standard deviation; it stays there. [m]
    force_noise_n : float
        White noise of the plates' forces, one standard deviation. [N]
    faults : Faults, optional
        See `faults.random_faults`.
    held_s : float, optional
        Hold the landing posture for so long instead of swinging. [s]
    seed : int
        The same arguments give the same capture.

    Returns
    -------
    Capture
        Called after the hitter's id, z up. Residuals are of the size of the noise, zero without.

    Raises
    ------
    OptionError
        A rate, a size or a fault that cannot be; no body meets the hitter's targets.
    """
    analog_rate_hz = _checked_rates(rate_hz, analog_rate_hz)
    sizes = (("noise_m", noise_m), ("soft_tissue_m", soft_tissue_m), ("placing_m", placing_m))
    for name, size in (*sizes, ("force_noise_n", force_noise_n)):
        if not 0 <= size < np.inf:
            raise OptionError(f"virtual recording: {name} is {size:g}; give zero or more")
    noise = np.random.default_rng(seed)
    motion = _posed(hitter)
    moving = motion if held_s is None else Held.landing(motion, held_s, np.random.default_rng([seed, SWAY_STREAM]))
    time = moving.times(rate_hz)
    table, paths = _on_skin(
        moving, rate_hz, (markers, bat), soft_tissue_m=soft_tissue_m, placing_m=placing_m, seed=seed
    )
    points = lab.place(lab.on_floor(paths, hitter.parameters, hitter.bats))
    points = points + noise_m * noise.normal(size=points.shape)
    # A residual is the mean distance of the camera rays from the point: of the size of the noise, always positive.
    residuals = noise_m * np.sqrt(noise.chisquare(3, size=points.shape[:2]) / 3.0)
    plates = PlateRecording((), np.zeros((0, 0)), (), ())
    if lab.plates:
        per_frame = round(analog_rate_hz / rate_hz)
        when = time[0] + np.arange(len(time) * per_frame) / analog_rate_hz
        forces = _on_floor(moving.forces(when), lab, hitter)
        plates = record_plates(lab, forces, analog_rate_hz, noise_n=force_noise_n, rng=noise)
    capture = Capture(
        source=f"{hitter.id}.c3d",
        labels=tuple(_label(marker.label, hitter.bats) for marker in table),
        points=points,
        rate_hz=rate_hz,
        residuals=residuals,
        analog=plates.analog,
        analog_labels=plates.labels,
        analog_units=plates.units,
        analog_rate_hz=analog_rate_hz if plates.plates else 0.0,
        plates=plates.plates,
        subject=_subject(hitter),
        cameras=np.full(points.shape[:2], CAMERAS, dtype=np.uint8),
        vertical="+z",
    )
    return spoil(capture, faults) if faults is not None else capture


@lru_cache(maxsize=16)
def _posed(hitter: VirtualHitter) -> Motion:
    """The hitter's movement; kept, as posing takes longer than recording and one swing is often recorded anew."""
    return Motion.of(hitter)


def _checked_rates(rate_hz: float, analog_rate_hz: float | None) -> float:
    """The analog rate. [Hz]"""
    if not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
        raise OptionError(
            f"virtual recording: rate_hz is {rate_hz:g}; give {SLOWEST_HZ:g} to {FASTEST_HZ:g} frames per second"
        )
    if analog_rate_hz is None:
        return rate_hz * max(round(ANALOG_HZ / rate_hz), 1)
    samples = analog_rate_hz / rate_hz
    if samples < 1 or abs(samples - round(samples)) > 1e-9:
        raise OptionError(
            f"virtual recording: analog_rate_hz is {analog_rate_hz:g}, no whole multiple of the {rate_hz:g} frames per"
            f" second; give e.g. {rate_hz * max(round(ANALOG_HZ / rate_hz), 1):g}"
        )
    return analog_rate_hz


def _on_skin(
    moving: Motion | Held,
    rate_hz: float,
    sets: tuple[MarkerKind, BatKind],
    *,
    soft_tissue_m: float,
    placing_m: float,
    seed: int,
) -> tuple[tuple[Marker, ...], FloatArray]:
    """Markers of the set and their paths in the hitting frame, shape (F, M, 3), skin and misplacement included. [m]"""
    hitter = moving.hitter
    # Flesh swings whether or not the cameras see it: its movement is found in fine steps, of which they see every n-th.
    every = int(np.ceil(SKIN_HZ / rate_hz)) if soft_tissue_m else 1
    frames = len(moving.times(rate_hz))
    time = moving.times(rate_hz)[0] + np.arange((frames - 1) * every + 1) / (every * rate_hz)
    joints = joints_of(moving.points(time))
    axes = body_frames(joints, hitter.parameters)
    table = marker_table(sets[0], joints, hitter.height_m, bat=sets[1])
    paths = place(table, joints, axes)
    if placing_m:
        astray = placing_m * np.random.default_rng([seed, PLACING_STREAM]).normal(size=(len(table), 3))
        for column, marker in enumerate(table):
            paths[:, column] += axes[marker.segment] @ astray[column]
    if soft_tissue_m:
        rng = np.random.default_rng([seed, SKIN_STREAM])
        paths = paths + soft_tissue(table, paths, axes, every * rate_hz, rms_m=soft_tissue_m, rng=rng)
    return table, paths[::every]


def _on_floor(forces: GroundForces, lab: Lab, hitter: VirtualHitter) -> GroundForces:
    """Ground reactions in the floor axes of a lab."""
    places = (lab.on_floor(at, hitter.parameters, hitter.bats) for at in (forces.front_at, forces.back_at))
    mirror = np.array([1.0, -1.0 if hitter.bats == "left" else 1.0, 1.0])
    return GroundForces(forces.front * mirror, forces.back * mirror, *places)


def _label(label: str, bats: str) -> str:
    """A right-handed hitter's label as it is on a hitter of the given side: his front is the left-hander's right."""
    other = {"L": "R", "R": "L"}.get(label[0])
    return other + label[1:] if bats == "left" and other else label


def _subject(hitter: VirtualHitter) -> Mapping[str, object]:
    return MappingProxyType(
        {
            "name": hitter.name,
            "height_m": hitter.height_m,
            "mass_kg": hitter.mass_kg,
            "bats": hitter.bats,
        }
    )
