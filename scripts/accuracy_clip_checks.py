"""How often good clips are refused and bad ones are not: `python scripts/accuracy_clip_checks.py --clips 60`.

Random hitters are filmed by two cameras on random tripods, at 60 to 240 pictures a second and with 0.5 to 2 px of
noise, with outliers and hidden points; the cameras were placed by eight points of known place. Then one thing is made
wrong at a time.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.errors import InputError, MocapError  # noqa: E402
from mocap.importer.calibrate_place import calibrate_place  # noqa: E402
from mocap.importer.camera import Camera  # noqa: E402
from mocap.importer.camera_placement import check_placed  # noqa: E402
from mocap.importer.clip_checks import check_inside, check_together  # noqa: E402
from mocap.importer.keypoints import Keypoints  # noqa: E402
from mocap.importer.sync_faults import mirrored, sides_exchanged  # noqa: E402
from mocap.virtual.cameras import Clock, Tripod, film_points, place_camera  # noqa: E402
from mocap.virtual.hitter import VirtualHitter, random_hitter  # noqa: E402
from mocap.virtual.lab import Lab  # noqa: E402

LAB = Lab(turn_deg=30.0, shift=(1.5, 0.8, 0.0))
LEVELS = ("adult", "college", "youth")
RATES_HZ = (60.0, 100.0, 120.0, 240.0)
#: Points of known place, and how well they are marked. [m], [px]
KNOWN_M = np.array(
    [[x, y, 0.0] for x in (-0.9, 0.9) for y in (-0.6, 0.6)] + [[x, 0.4, z] for x in (-0.6, 0.8) for z in (1.0, 2.0)]
)
MARKED_PX = 1.0


@dataclass(frozen=True)
class Clips:
    """What two cameras saw of one swing, and with what it was made."""

    hitter: VirtualHitter
    true_cameras: tuple[Camera, Camera]
    cameras: tuple[Camera, Camera]
    keypoints: tuple[Keypoints, Keypoints]
    noise_px: float
    outliers: float


Fault = Callable[[Clips, np.random.Generator], Clips]


def good(rng: np.random.Generator, number: int) -> Clips:
    """Clips that belong together."""
    hitter = replace(random_hitter(rng, level=LEVELS[number % 3]), bats="right")  # type: ignore[arg-type]
    noise_px, outliers = float(rng.uniform(0.5, 2.0)), float(rng.uniform(0.0, 0.02))
    first = float(rng.uniform(60.0, 120.0))
    bearings = (first, first - float(rng.uniform(35.0, 80.0)))
    true = [
        place_camera(
            Tripod(
                name,
                bearing,
                distance_m=float(rng.uniform(5.0, 7.0)),
                height_m=float(rng.uniform(1.0, 1.8)),
                rate_hz=float(rng.choice(RATES_HZ)),
                time_offset_s=float(rng.uniform(0.0, 0.01)) if name == "second" else 0.0,
            ),
            LAB,
        )
        for name, bearing in zip(("first", "second"), bearings, strict=True)
    ]
    known = LAB.place(KNOWN_M)
    placed = [
        calibrate_place(known, camera.project(known) + rng.normal(0.0, MARKED_PX, (len(known), 2)), camera).camera
        for camera in true
    ]
    clips = Clips(hitter, (true[0], true[1]), (placed[0], placed[1]), (), noise_px, outliers)  # type: ignore[arg-type]
    return replace(clips, keypoints=(_found(clips, 0, rng), _found(clips, 1, rng)))


def _found(clips: Clips, which: int, rng: np.random.Generator, clock: Clock | None = None) -> Keypoints:
    camera = clips.true_cameras[which]
    seen = film_points(
        clips.hitter,
        camera,
        LAB,
        noise_px=clips.noise_px,
        outliers=clips.outliers,
        clock=clock or Clock(),
        seed=int(rng.integers(1 << 31)),
    )
    return Keypoints(seen.names, seen.pixels, seen.confidence, source=f"{camera.name}.csv")


def _second(clips: Clips, keypoints: Keypoints) -> Clips:
    return replace(clips, keypoints=(clips.keypoints[0], keypoints))


def unsynchronised(clips: Clips, rng: np.random.Generator) -> Clips:
    """The second camera started 30 to 500 ms later than its file says."""
    return _second(clips, _found(clips, 1, rng, Clock(start_s=float(rng.uniform(0.03, 0.5)))))


def exchanged(clips: Clips, _rng: np.random.Generator) -> Clips:
    """Each camera has the other's points."""
    return replace(clips, keypoints=clips.keypoints[::-1])


def mirrored_picture(clips: Clips, _rng: np.random.Generator) -> Clips:
    """The second picture is mirrored; the detector names the sides as it sees them."""
    return _second(clips, sides_exchanged(mirrored(clips.keypoints[1], clips.cameras[1])))


def exchanged_sides(clips: Clips, _rng: np.random.Generator) -> Clips:
    """Left and right of the body have each other's names in the second camera."""
    return _second(clips, sides_exchanged(clips.keypoints[1]))


def knocked(clips: Clips, rng: np.random.Generator) -> Clips:
    """The second tripod was knocked in the middle of the recording, by 0.5 to 2 degrees upward."""
    table = clips.keypoints[1]
    pixels = table.pixels.copy()
    shift = np.deg2rad(rng.uniform(0.5, 2.0)) * clips.cameras[1].matrix[1, 1]
    pixels[int(rng.uniform(0.3, 0.6) * len(pixels)) :, :, 1] += shift
    return _second(clips, replace(table, pixels=pixels))


def moved_before(clips: Clips, rng: np.random.Generator) -> Clips:
    """The second tripod was moved after it was placed, by 10 to 30 cm to a side, and turned back to the hitter."""
    moved = place_camera(
        Tripod(
            "second",
            float(rng.uniform(20.0, 60.0)),
            distance_m=float(rng.uniform(5.0, 7.0)),
            rate_hz=clips.cameras[1].rate_hz or 120.0,
            time_offset_s=clips.cameras[1].time_offset_s,
        ),
        LAB,
    )
    return _second(clips, _found(replace(clips, true_cameras=(clips.true_cameras[0], moved)), 1, rng))


def another_person(clips: Clips, rng: np.random.Generator) -> Clips:
    """The second camera follows someone who stands 2 m away and swings too."""
    other = random_hitter(rng, level="adult")
    elsewhere = Lab(turn_deg=LAB.turn_deg, shift=(LAB.shift[0] + 1.6, LAB.shift[1] + 1.2, 0.0))
    camera = clips.true_cameras[1]
    seen = film_points(
        replace(other, bats="right"), camera, elsewhere, noise_px=clips.noise_px, seed=int(rng.integers(1 << 31))
    )
    return _second(clips, Keypoints(seen.names, seen.pixels, seen.confidence, source="second.csv"))


def another_swing(clips: Clips, rng: np.random.Generator) -> Clips:
    """The second camera's clip is of another hitter, in the same place."""
    other = replace(random_hitter(rng, level="adult"), bats="right")
    return _second(clips, _found(replace(clips, hitter=other), 1, rng))


def another_size(clips: Clips, _rng: np.random.Generator) -> Clips:
    """The second camera's points were found in pictures of twice the size."""
    table = clips.keypoints[1]
    return _second(clips, replace(table, pixels=2.0 * table.pixels))


def upside_down(clips: Clips, _rng: np.random.Generator) -> Clips:
    """The second camera's file has z downward."""
    camera = clips.cameras[1]
    flip = np.diag([1.0, -1.0, -1.0])
    return replace(clips, cameras=(clips.cameras[0], replace(camera, rotation=camera.rotation @ flip)))


FAULTS: dict[str, Fault] = {
    fault.__name__: fault
    for fault in (
        unsynchronised,
        exchanged,
        mirrored_picture,
        exchanged_sides,
        knocked,
        moved_before,
        another_person,
        another_swing,
        another_size,
        upside_down,
    )
}


def verdict(clips: Clips) -> tuple[str, str]:
    """`refused`, `warned` or `taken`, and the line that says why."""
    try:
        check_placed(clips.cameras)
        check_inside(clips.cameras, clips.keypoints)
        notes = check_together(clips.cameras, clips.keypoints, noise_px=clips.noise_px)
    except InputError as error:
        return "refused", str(error)
    return ("warned", notes[0]) if notes else ("taken", "")


def study(count: int, seed: int = 1) -> tuple[Counter[tuple[str, str]], list[str]]:
    """How many clips of each kind were refused, warned of or taken, and what was said of each."""
    counts, lines = Counter[tuple[str, str]](), []
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        try:
            clips = good(rng, number)
            cases = {"good": clips, **{name: fault(clips, rng) for name, fault in FAULTS.items()}}
        except MocapError as error:
            lines.append(f"{number}: not filmed: {error}")
            continue
        for name, case in cases.items():
            found, line = verdict(case)
            counts[name, found] += 1
            lines.append(f"{number} {name}: {found} {line}")
    return counts, lines


def main() -> None:
    """Print how many were refused."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--lines", action="store_true", help="print what was said of each")
    given = parser.parse_args()
    counts, lines = study(given.clips, given.seed)
    for line in lines if given.lines else ():
        print(line)
    for name in ("good", *FAULTS):
        print(
            f"{name:20}" + "".join(f"{found:>10} {counts[name, found]:3}" for found in ("refused", "warned", "taken"))
        )


if __name__ == "__main__":
    main()
