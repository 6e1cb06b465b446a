"""How often the stated intervals hold for two cameras: `python scripts/accuracy_two_cameras.py --hitters 100`.

Random hitters are filmed by two cameras on tripods at 120 Hz, which were placed by eight points of known place. A
detector finds the points with noise and some outliers, guesses or loses those that the body hides, and takes the joints
to be a little elsewhere in their segments; the direction to the pitcher, the hitter's height and mass are a little off.
Every error is drawn from the standard deviation that the product states for it. What `mocap` makes of that is held
against the truth.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from accuracy import HEADING, HEIGHT_M, MASS, PITCH_DEG, Tally, draw_motion, misplaced, true_values  # noqa: E402

from mocap.capture import FloatArray  # noqa: E402
from mocap.errors import MocapError  # noqa: E402
from mocap.importer.calibrate_place import calibrate_place  # noqa: E402
from mocap.importer.camera import Camera  # noqa: E402
from mocap.importer.filmed import filmed  # noqa: E402
from mocap.importer.keypoints import Keypoints  # noqa: E402
from mocap.kinematics.build import build_swing  # noqa: E402
from mocap.kinematics.measuring import measure  # noqa: E402
from mocap.kinematics.registry import REGISTRY  # noqa: E402
from mocap.swing import MOMENTS, Hitter, Setup  # noqa: E402
from mocap.virtual.cameras import TWO_TRIPODS, film_points, lab_from_hitting, place_camera  # noqa: E402
from mocap.virtual.hitter import VirtualHitter  # noqa: E402
from mocap.virtual.lab import Lab  # noqa: E402
from mocap.virtual.measures_truth import measures_of  # noqa: E402
from mocap.virtual.truth import Truth  # noqa: E402

LAB = Lab(turn_deg=30.0, shift=(1.5, 0.8, 0.0))
#: Share of points that the detector puts elsewhere.
OUTLIERS = 0.005
#: Points of known place that the cameras are placed by, hitting axes: on the floor and on a pole. [m]
KNOWN_M = np.array(
    [[x, y, 0.0] for x in (-0.9, 0.9) for y in (-0.6, 0.6)] + [[x, 0.4, z] for x in (-0.6, 0.8) for z in (1.0, 2.0)]
)
#: How well they are marked in the pictures. [px]
MARKED_PX = 1.0


def one(number: int, *, seed: int, noise_px: float) -> Tally:
    """One hitter: drawn, filmed, measured, compared."""
    rng = np.random.default_rng([seed, number])
    tally = Tally()
    motion = draw_motion(rng, number)
    hitter = replace(motion.hitter, bats="right")
    true_cameras = [place_camera(tripod, LAB) for tripod in TWO_TRIPODS]
    truth = Truth(motion, true_cameras[0].rate_hz or 120.0)
    astray = (misplaced(truth, rng) - truth.points) @ lab_from_hitting(hitter, LAB)[:3, :3].T
    cameras, tables = [], []
    for camera in true_cameras:
        tables.append(detected(hitter, camera, truth.time_s, astray, noise_px, rng))
        known = LAB.place(KNOWN_M)
        cameras.append(
            calibrate_place(known, camera.project(known) + rng.normal(0.0, MARKED_PX, (len(known), 2)), camera).camera
        )
    p, off = hitter.parameters, rng.normal(0.0, HEADING)
    ahead = np.array([[0.0, 0.0, 0.0], [np.cos(off), np.sin(off), 0.0]])
    steps = LAB.place(LAB.on_floor(ahead, p, "right"))
    plate = LAB.place(LAB.on_floor(np.array([[-p.plate_behind_m, -p.barrel.plate_line_m, 0.0]]), p, "right"))[0]
    setup = Setup(
        pitcher=tuple(steps[1] - steps[0]),
        plate=tuple(plate),
        catcher_behind_m=p.catcher_behind_m,
        pitch_angle_deg=PITCH_DEG,
        pitch_location="middle",
    )
    height, mass = hitter.height_m + rng.normal(0.0, HEIGHT_M), hitter.mass_kg * (1.0 + rng.normal(0.0, MASS))
    who = Hitter(height_m=height, mass_kg=mass, bats="right", sex=hitter.sex, level=hitter.level)
    try:
        swing = build_swing(filmed(cameras, tables, noise_px=noise_px).capture(f"hitter {number}"), who, setup)
        findings = measure(swing)
    except MocapError as error:
        tally.failed.append(f"{number}: {error}")
        return tally
    for name in MOMENTS:
        moment = swing.moments[name]
        if moment.time_s is not None and moment.sd_s is not None:
            tally.add(f"moment {name}", moment.time_s - truth.moments[name], moment.sd_s)
    true = true_values(motion, measures_of(motion), rng)
    for name, found in findings.measures.items():
        if isinstance(found.value, float) and found.sd is not None and isinstance(true.get(name), float):
            tally.add(name, found.value - float(true[name]), found.sd)
    return tally


def detected(
    hitter: VirtualHitter,
    camera: Camera,
    time_s: FloatArray,
    astray: FloatArray,
    noise_px: float,
    rng: np.random.Generator,
) -> Keypoints:
    """What a detector finds that takes each joint to be elsewhere by `astray` (F, P, 3), at times (F,), lab axes."""
    seen = film_points(hitter, camera, LAB, noise_px=noise_px, outliers=OUTLIERS, seed=int(rng.integers(1 << 31)))
    # The displacements turn with their segments, slowly enough for a straight line between two frames.
    at = np.clip(np.searchsorted(time_s, seen.time_s) - 1, 0, len(time_s) - 2)
    share = np.clip((seen.time_s - time_s[at]) / np.diff(time_s)[at], 0.0, 1.0)[:, None, None]
    moved = seen.true_points + (1.0 - share) * astray[at] + share * astray[at + 1]
    pixels = seen.pixels + camera.project(moved) - seen.true_pixels
    return Keypoints(seen.names, pixels, seen.confidence, source=camera.name)


def landing(tally: Tally) -> Iterator[tuple[str, float]]:
    """How often the interval of each landing measure held."""
    for name, _, _, _, _, held, _ in tally.rows():
        if name in REGISTRY and REGISTRY[name].family == "landing":
            yield name, held


def main() -> None:
    """Print how often each interval held."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hitters", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--noise-px", type=float, default=1.0)
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    whole = Tally()
    with ProcessPoolExecutor(given.jobs) as pool:
        for tally in pool.map(partial(one, seed=given.seed, noise_px=given.noise_px), range(given.hitters)):
            whole.join(tally)
    print(f"{'measure':28} {'n':>4} {'mean off':>10} {'95 % off':>10} {'reach':>10} {'held':>6} {'ratio':>6}")
    for name, count, mean, best, reach, held, ratio in whole.rows():
        print(f"{name:28} {count:4} {mean:10.4f} {best:10.4f} {reach:10.4f} {held:6.2f} {ratio:6.2f}")
    for line in whole.failed:
        print(f"failed: {line}")


if __name__ == "__main__":
    main()
