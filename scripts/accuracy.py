"""How often the stated uncertainties hold, on invented hitters whose truth is known: `python scripts/accuracy.py`.

Each hitter is recorded once, as a lab would: joint centres misplaced in their segments, white noise, two force plates,
a direction to the pitcher and a height that are a little off, a body whose masses are not the table's - each error
drawn from the standard deviation that the product states for it. Then every measure and moment is compared with its
truth.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.capture import Capture, FloatArray, ForcePlate  # noqa: E402
from mocap.errors import OptionError  # noqa: E402
from mocap.findings import Measure  # noqa: E402
from mocap.kinematics.build import build_swing  # noqa: E402
from mocap.kinematics.checks import check_all, load_limits  # noqa: E402
from mocap.kinematics.measuring import measure  # noqa: E402
from mocap.swing import BAT_POINTS, MOMENTS, POINTS, Hitter, Setup  # noqa: E402
from mocap.virtual.draws import sound_swing  # noqa: E402
from mocap.virtual.flaws import FLAWS  # noqa: E402
from mocap.virtual.ground_truth import force_splines  # noqa: E402
from mocap.virtual.hitter import VirtualHitter, random_hitter  # noqa: E402
from mocap.virtual.measures_truth import Value, measures_of  # noqa: E402
from mocap.virtual.motion import Motion, second_rate_of  # noqa: E402
from mocap.virtual.skin import CENTRE_SEGMENTS  # noqa: E402
from mocap.virtual.truth import Truth  # noqa: E402

LEVELS = ("adult", "college", "youth")
#: A hitter whose body falls faster than this share of free fall is drawn anew: his feet would have to hold on.
LIGHTEST = 0.85
#: The errors, one standard deviation each, as the product states them: joint centres and ends of the bat per axis [m],
#: direction to the pitcher [rad], height [m], centre of mass per axis [m].
CENTRE_M, BAT_M, HEADING, HEIGHT_M, MASS_CENTRE_M = 0.010, 0.005, np.radians(1.0), 0.005, 0.010
PITCH_DEG = -8.0
#: Force plates. [Hz], [N]
PLATES_HZ, PLATE_NOISE_N = 1200.0, 1.5
#: Gain of each plate, its cross-talk from the vertical into the others, the body's mass, all as shares, and its centre
#: of pressure. [-], [m]
GAIN, CROSS_TALK, MASS, PRESSURE_M = 0.010, 0.010, 0.010, 0.005
#: Faults to plant: how much of each (1 is where `random_hitter` ends), and the measures of which one must be off.
PLANTED: dict[str, tuple[float, tuple[str, ...]]] = {
    "lands_forward": (1.5, ("back_share",)),
    "opens_early": (2.0, ("pelvis_open", "trunk_open", "foot_open")),
    "back_foot_stays": (1.0, ("back_foot_turn",)),
    "front_leg_gives": (1.0, ("front_knee_extension",)),
    "flat_bat": (1.5, ("bat_position", "knob_aim")),
    "trunk_first": (1.0, ("sequence",)),
    "drifts": (1.0, ("forward_after_plant", "axis_drift")),
    "overstrides": (1.0, ("stride_length",)),
    "long_path": (1.0, ("hands_reach", "bat_lag")),
    "late_extension": (1.8, ("extension_reach",)),
}


@dataclass
class Tally:
    """Errors and stated standard deviations by name, and verdicts against those of the truth."""

    errors: dict[str, list[float]] = field(default_factory=dict)
    sds: dict[str, list[float]] = field(default_factory=dict)
    verdicts: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    failed: list[str] = field(default_factory=list)

    def add(self, name: str, error: float, sd: float) -> None:
        """One sample."""
        self.errors.setdefault(name, []).append(error)
        self.sds.setdefault(name, []).append(sd)

    def join(self, other: Tally) -> None:
        """Take in another's samples."""
        for name, errors in other.errors.items():
            self.errors.setdefault(name, []).extend(errors)
            self.sds.setdefault(name, []).extend(other.sds[name])
        self.verdicts += other.verdicts
        self.failed += other.failed

    def rows(self) -> Iterator[tuple[str, int, float, float, float, float, float]]:
        """Name, count, mean and 95th percentile of the error, the interval's median reach, how often it holds, ratio.

        The ratio is that of the reach to the 95th percentile, which is the best that one interval for all could do.
        """
        for name, errors in self.errors.items():
            off, reach = np.array(errors), 1.96 * np.array(self.sds[name])
            held = float(np.mean(np.abs(off) <= reach + 1e-12))
            best = float(np.percentile(np.abs(off), 95.0))
            median = float(np.median(reach))
            yield name, len(off), float(off.mean()), best, median, held, median / best if best else 1.0


def draw_motion(rng: np.random.Generator, number: int, flaw: str | None = None) -> Motion:
    """A hitter whom the floor can carry, who meets a ball; `flaw` is a fault to plant in a sound swing, or `none`."""
    while True:
        hitter = random_hitter(rng, level=LEVELS[number % 3])  # type: ignore[arg-type]
        swing = hitter.parameters
        if flaw is not None:
            swing = sound_swing(rng, hitter.level, hitter.height_m, hitter.sex)
            swing = FLAWS[flaw](swing, PLANTED[flaw][0]) if flaw != "none" else swing
        struck = replace(swing, barrel=replace(swing.barrel, impact_loss=(0.25, 0.40)[number % 2]))
        try:
            motion = Motion.of(replace(hitter, parameters=struck))
            motion.forces(motion.times(PLATES_HZ))
            force_splines(motion)  # at the times of which the truth is read
        except OptionError:  # a floor cannot carry him
            continue
        if second_rate_of(motion.centre_of_mass, motion.times(300.0))[:, 2].min() > -LIGHTEST * 9.80665:
            return motion


def misplaced(truth: Truth, rng: np.random.Generator) -> FloatArray:
    """The true points with a constant error in each one's segment, shape (F, P, 3). [m]"""
    points = truth.points.copy()
    place = {name: i for i, name in enumerate(POINTS)}
    for name in POINTS:
        if name in BAT_POINTS:
            axis = truth["bat_barrel"] - truth["bat_knob"]
            z = axis / np.linalg.norm(axis, axis=1, keepdims=True)
            x = np.cross([0.0, 0.0, 1.0], z)
            x /= np.linalg.norm(x, axis=1, keepdims=True)
            rotation, sd = np.stack([x, np.cross(z, x), z], axis=-1), BAT_M
        else:
            side = next((s for s in ("front_", "back_") if name.startswith(s)), "")
            segment = CENTRE_SEGMENTS[name.removeprefix(side)]
            segment = "thorax" if segment == "head" else segment  # the points do not show the head's turn
            segment = segment if segment in truth.frames else side + segment
            rotation, sd = truth.frames[segment], CENTRE_M
        points[:, place[name]] += rotation @ rng.normal(0.0, sd, 3)
    return points


def plates_of(motion: Motion, truth: Truth, rng: np.random.Generator) -> tuple[ForcePlate, ...]:
    """A plate under each foot, the seam half way between the ankles in the stance."""
    per_frame = round(PLATES_HZ / truth.rate_hz)
    time = truth.from_plant_s[0] + np.arange(per_frame * len(truth.time_s)) / (per_frame * truth.rate_hz)
    forces = motion.forces(time)
    first = motion.points(time[0])
    seam = float(first["front_ankle"][0, 0] + first["back_ankle"][0, 0]) / 2
    plates = []
    for true, place, low, high in (
        (forces.back, forces.back_at, seam - 1.5, seam),
        (forces.front, forces.front_at, seam, seam + 1.5),
    ):
        corners = np.array([[high, 1, 0], [low, 1, 0], [low, -1, 0], [high, -1, 0]], dtype=float)
        force = true * (1.0 + rng.normal(0.0, GAIN)) + rng.normal(0.0, PLATE_NOISE_N, true.shape)
        force[:, :2] += force[:, 2:] * rng.normal(0.0, CROSS_TALK, 2)
        pressure = np.where(force[:, 2:] > 20.0, place + np.append(rng.normal(0.0, PRESSURE_M, 2), 0.0), np.nan)
        moment = np.cross(place - corners.mean(axis=0), force)
        plates.append(ForcePlate(2, corners, force, moment, pressure, per_frame * truth.rate_hz))
    return tuple(plates)


def one(
    number: int,
    *,
    seed: int,
    rate_hz: float,
    noise_m: float,
    with_plates: bool,
    flaw: str | None = None,
    recordings: int = 1,
) -> Tally:
    """One hitter: drawn, recorded so many times with errors drawn anew, measured, compared."""
    rng = np.random.default_rng([seed, number])
    motion = draw_motion(rng, number, flaw)
    truth, exact = Truth(motion, rate_hz), measures_of(motion)
    tally = Tally()
    for _ in range(recordings):
        tally.join(recorded(truth, exact, rng, noise_m=noise_m, with_plates=with_plates, flaw=flaw))
    return tally


def recorded(
    truth: Truth,
    exact: Mapping[str, Value],
    rng: np.random.Generator,
    *,
    noise_m: float,
    with_plates: bool,
    flaw: str | None,
) -> Tally:
    """One recording of a hitter: measured and compared."""
    tally, motion, rate_hz = Tally(), truth.motion, truth.rate_hz
    # The posed swing is a right-handed hitter's; sides are mirrored elsewhere (tests/truth).
    hitter: VirtualHitter = replace(motion.hitter, bats="right")
    labels = tuple(name.upper().replace("FRONT_", "L_").replace("BACK_", "R_") for name in POINTS)
    points = misplaced(truth, rng) + rng.normal(0.0, noise_m, truth.points.shape)
    plates = plates_of(motion, truth, rng) if with_plates else ()
    residuals = np.full(points.shape[:2], noise_m)
    capture = Capture(hitter.id, labels, points, rate_hz, residuals, plates=plates)
    p, off = hitter.parameters, rng.normal(0.0, HEADING)
    setup = Setup(
        pitcher=(float(np.cos(off)), float(np.sin(off)), 0.0),
        plate=(-p.plate_behind_m, -p.barrel.plate_line_m, 0.0),
        catcher_behind_m=p.catcher_behind_m,
        pitch_angle_deg=PITCH_DEG,
        pitch_location="middle",  # as the truth takes it
    )
    height = hitter.height_m + rng.normal(0.0, HEIGHT_M)
    mass = hitter.mass_kg * (1.0 + rng.normal(0.0, MASS))
    who = Hitter(height_m=height, mass_kg=mass, bats="right", sex=hitter.sex, level=hitter.level)
    try:
        swing = build_swing(capture, who, setup)
        findings = measure(swing)
    except Exception as error:  # noqa: BLE001 - a study tells of every failure and goes on
        tally.failed.append(f"{hitter.id}: {error!r}")
        return tally
    for name in MOMENTS:
        moment = swing.moments[name]
        if moment.time_s is not None and moment.sd_s is not None:
            tally.add(f"moment {name}", moment.time_s - truth.moments[name], moment.sd_s)
    true = true_values(motion, exact, rng)
    for name, found in findings.measures.items():
        if isinstance(found.value, float) and found.sd is not None and isinstance(true.get(name), float):
            tally.add(name, found.value - float(true[name]), found.sd)
    for check, sure in zip(findings.checks, sure_checks(true, findings.measures, who), strict=True):
        tally.verdicts[check.measure, sure, check.verdict] += 1
    if flaw is not None and flaw != "none":
        tally.verdicts["planted " + flaw, *_planted(flaw, tally.verdicts)] += 1
    return tally


def _planted(flaw: str, verdicts: Counter[tuple[str, str, str]]) -> tuple[str, str]:
    """True and found verdict on a planted fault: the worst of the measures that must show it."""
    order = ("off", "too close to call", "near", "good", "not measurable")
    of_flaw = [(truth, found) for name, truth, found in verdicts if name in PLANTED[flaw][1]]
    return min((t for t, _ in of_flaw), key=order.index), min((f for _, f in of_flaw), key=order.index)


def true_values(motion: Motion, exact: Mapping[str, Value], rng: np.random.Generator) -> dict[str, Value]:
    """The truth of a body whose centre of mass is not quite where the table puts it."""
    true = dict(exact)
    astray = rng.normal(0.0, MASS_CENTRE_M, 3)[0]
    for name, moment in (("back_share", "plant"), ("share_difference", "foot_flat"), ("finish_balance", "finish")):
        points = motion.points(np.array([motion.moments[moment]]))
        feet = [0.5 * (points[f"{side}_heel"][0, 0] + points[f"{side}_ball"][0, 0]) for side in ("front", "back")]
        true[name] = float(true[name]) - astray / (feet[0] - feet[1])
    return true


def sure_checks(true: Mapping[str, Value], measures: Mapping[str, Measure], who: Hitter) -> Iterator[str]:
    """The verdict of each check if the truth were known."""
    known = {
        name: replace(found, value=true[name], sd=0.0, low=None, high=None, shares={})
        if found.value is not None and name in true
        else replace(found, value=None, why=found.why or "no truth")
        for name, found in measures.items()
    }
    return (check.verdict for check in check_all(known, load_limits(), hitter=who))


def study(count: int, **how: object) -> Tally:
    """Many hitters on all processors."""
    tally = Tally()
    with ProcessPoolExecutor() as pool:
        for part in pool.map(partial(one, **how), range(count), chunksize=4):  # type: ignore[arg-type]
            tally.join(part)
    return tally


def print_tally(tally: Tally) -> None:
    """Tables for people."""
    print(f"{'':28s}{'n':>5s}{'mean':>10s}{'95 %':>10s}{'reach':>10s}{'holds':>8s}{'ratio':>8s}")
    for name, count, mean, best, reach, held, ratio in tally.rows():
        print(f"{name:28s}{count:5d}{mean:10.4f}{best:10.4f}{reach:10.4f}{100 * held:7.1f}%{ratio:8.2f}")
    sure, total = Counter[str](), Counter[str]()
    for (name, truth, verdict), number in tally.verdicts.items():
        if name.startswith("planted"):
            continue
        total[truth] += number
        outcome = "the same" if truth == verdict else verdict if verdict.startswith(("too", "not")) else "another"
        sure[f"{truth}: {outcome}"] += number
    for what, number in sorted(sure.items()):
        print(f"truly {what}: {number} of {total[what.split(':')[0]]}")
    for (name, truth, verdict), number in sorted(tally.verdicts.items()):
        if name.startswith("planted"):
            print(f"  {name}: is {truth}, called {verdict}: {number}")
        elif truth != verdict:
            print(f"  {name} is {truth}, called {verdict}: {number}")
    for line in tally.failed:
        print(f"failed: {line}")


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hitters", type=int, default=200)
    parser.add_argument("--rate", type=float, default=240.0, help="[Hz]")
    parser.add_argument("--noise", type=float, default=0.001, help="[m]")
    parser.add_argument("--without-plates", action="store_true")
    parser.add_argument("--flaw", choices=[*PLANTED, "none"], help="plant a fault, or none, in sound swings")
    parser.add_argument("--recordings", type=int, default=1, help="of each hitter, with errors drawn anew")
    parser.add_argument("--seed", type=int, default=6)
    given = parser.parse_args()
    print_tally(
        study(
            given.hitters,
            seed=given.seed,
            rate_hz=given.rate,
            noise_m=given.noise,
            with_plates=not given.without_plates,
            flaw=given.flaw,
            recordings=given.recordings,
        )
    )


if __name__ == "__main__":
    main()
