"""How often the stated intervals hold for two cameras: `python scripts/accuracy_two_cameras.py --hitters 100`.

Random hitters are filmed by two cameras on tripods at 120 Hz; a detector with noise, hidden points and some outliers
finds the points; what `mocap` makes of them is held against the truth.
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

from accuracy import PITCH_DEG, Tally, draw_motion, true_values  # noqa: E402

from mocap.errors import MocapError  # noqa: E402
from mocap.importer.filmed import filmed  # noqa: E402
from mocap.importer.keypoints import Keypoints  # noqa: E402
from mocap.kinematics.build import build_swing  # noqa: E402
from mocap.kinematics.measuring import measure  # noqa: E402
from mocap.kinematics.registry import REGISTRY  # noqa: E402
from mocap.swing import MOMENTS, Hitter, Setup  # noqa: E402
from mocap.virtual.cameras import TWO_TRIPODS, film_points, place_camera  # noqa: E402
from mocap.virtual.lab import Lab  # noqa: E402
from mocap.virtual.measures_truth import measures_of  # noqa: E402
from mocap.virtual.truth import Truth  # noqa: E402

LAB = Lab(turn_deg=30.0, shift=(1.5, 0.8, 0.0))
#: Share of points that the detector puts elsewhere.
OUTLIERS = 0.005


def one(number: int, *, seed: int, noise_px: float) -> Tally:
    """One hitter: drawn, filmed, measured, compared."""
    rng = np.random.default_rng([seed, number])
    tally = Tally()
    motion = draw_motion(rng, number)
    hitter = replace(motion.hitter, bats="right")
    cameras = [place_camera(tripod, LAB) for tripod in TWO_TRIPODS]
    tables = []
    for camera in cameras:
        seen = film_points(hitter, camera, LAB, noise_px=noise_px, outliers=OUTLIERS, seed=int(rng.integers(1 << 31)))
        tables.append(Keypoints(seen.names, seen.pixels, seen.confidence, source=camera.name))
    p = hitter.parameters
    steps = LAB.place(LAB.on_floor(np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]), p, "right"))
    plate = LAB.place(LAB.on_floor(np.array([[-p.plate_behind_m, -p.barrel.plate_line_m, 0.0]]), p, "right"))[0]
    setup = Setup(
        pitcher=tuple(steps[1] - steps[0]),
        plate=tuple(plate),
        catcher_behind_m=p.catcher_behind_m,
        pitch_angle_deg=PITCH_DEG,
        pitch_location="middle",
    )
    who = Hitter(height_m=hitter.height_m, mass_kg=hitter.mass_kg, bats="right", sex=hitter.sex, level=hitter.level)
    try:
        swing = build_swing(filmed(cameras, tables, noise_px=noise_px).capture(f"hitter {number}"), who, setup)
        findings = measure(swing)
    except MocapError as error:
        tally.failed.append(f"{number}: {error}")
        return tally
    truth = Truth(motion, cameras[0].rate_hz or 120.0)
    for name in MOMENTS:
        moment = swing.moments[name]
        if moment.time_s is not None and moment.sd_s is not None:
            tally.add(f"moment {name}", moment.time_s - truth.moments[name], moment.sd_s)
    true = true_values(motion, measures_of(motion), rng)
    for name, found in findings.measures.items():
        if isinstance(found.value, float) and found.sd is not None and isinstance(true.get(name), float):
            tally.add(name, found.value - float(true[name]), found.sd)
    return tally


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
