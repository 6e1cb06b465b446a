"""Speeds as ratios against a named alternative in the same run: `python scripts/bench.py`, in the project's `.venv`.

Absolute times depend on the machine and are printed only beside the ratio.
"""

from __future__ import annotations

import importlib.util
import sys
import tempfile
import time
import tracemalloc
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from ik_alternative import installed, inverse_kinematics, least_squares_poses  # noqa: E402

import mocap  # noqa: E402
from mocap.kinematics.inertia import centre_of_mass  # noqa: E402
from mocap.kinematics.joint_centres import body_from  # noqa: E402
from mocap.kinematics.pose_solver import Hold, solve_pose  # noqa: E402
from mocap.kinematics.readings import NotMeasurableError  # noqa: E402
from mocap.kinematics.registry import REGISTRY  # noqa: E402
from mocap.kinematics.segment_frames import segment_frames  # noqa: E402
from mocap.kinematics.skeleton import fit_skeleton  # noqa: E402
from mocap.kinematics.skeleton_model import measured_model  # noqa: E402
from mocap.kinematics.uncertainty import DRAWS, drawn  # noqa: E402
from mocap.swing import POINTS  # noqa: E402

RECORDING = ROOT / "demo_sessions" / "first_session" / "swing_01.c3d"
GAIT = ROOT.parent / "shared" / "data" / "c3d" / "full_body_gait.c3d"
FILM_FRAMES = 120
SIZE = (1920, 1080)


def best(action: Callable[[], object], repeats: int = 5) -> float:
    """Shortest time of several runs. [s]"""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def report(what: str, ours: float, alternative: str, theirs: float) -> None:
    """Print one comparison."""
    print(f"{what}: {1000 * ours:.1f} ms; {alternative}: {1000 * theirs:.1f} ms; ratio {ours / theirs:.2f}")


def reading() -> None:
    """Reading a recording, forces included, against the packages that decode points and analog data alone."""
    import c3d

    file = GAIT if GAIT.is_file() else RECORDING

    def loop() -> list[tuple[Any, Any]]:
        with warnings.catch_warnings(), file.open("rb") as opened:
            warnings.simplefilter("ignore")
            return [(points, analog) for _, points, analog in c3d.Reader(opened).read_frames()]

    def stacked() -> tuple[Any, Any]:
        # What ours and ezc3d give: every frame in one array.
        frames = loop()
        return np.stack([points for points, _ in frames]), np.concatenate([analog for _, analog in frames], axis=1)

    theirs = {"the c3d package, its frames stacked": best(stacked, 40), "its frame loop alone": best(loop, 40)}
    if importlib.util.find_spec("ezc3d") is not None:
        ezc3d = importlib.import_module("ezc3d")
        theirs["ezc3d"] = best(lambda: ezc3d.c3d(str(file)), 20)
    ours = best(lambda: mocap.read(file), 400)
    for name, seconds in theirs.items():
        report(f"read {file.name}", ours, name, seconds)
    tracemalloc.start()
    capture = mocap.read(file)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    arrays = sum(a.nbytes for a in (capture.points, capture.residuals, capture.cameras, capture.analog))
    print(f"read {file.name}: peak memory {peak / 1e6:.1f} MB, {peak / arrays:.2f} times the decoded arrays")


def measuring(swing: mocap.Swing, capture: mocap.Capture) -> None:
    """Building a swing against reading it; measuring it with drawn swings all at once against one after the other."""
    read = best(lambda: mocap.read(RECORDING))
    hitter, setup = swing.hitter, swing.setup
    built = best(lambda: mocap.build_swing(capture, hitter, setup))
    skeleton = best(lambda: fit_skeleton(capture, setup.model))
    report("capture to swing", built, "reading it", read)
    size = f"{swing.n_frames} frames, {len(capture.labels)} points"
    measured = best(lambda: mocap.measure(swing, count=0))
    # What building a swing takes beyond the skeleton: the hitting frame, the smoothing and the moments.
    report(f"moments, measures and verdicts ({size})", built - skeleton + measured, "the skeleton", skeleton)
    few = 16

    def one_by_one() -> None:
        for seed in range(few):
            for drawn_swing in drawn(swing, count=1, seed=seed):
                for entry in REGISTRY.values():
                    if not entry.missing(swing):
                        with suppress(NotMeasurableError):
                            entry.function(drawn_swing)

    at_once = best(lambda: mocap.measure(swing), 3)
    report(f"measures with {DRAWS} draws", at_once, "one draw after the other", best(one_by_one, 2) * DRAWS / few)


def body_model() -> None:
    """From recorded points to skeleton and centre of mass; and the pose search alone against two others."""
    file = GAIT if GAIT.is_file() else RECORDING
    capture = mocap.read(file)
    capture = replace(
        capture, points=capture.points[:300], residuals=capture.residuals[:300], cameras=capture.cameras[:300]
    )
    body = body_from(capture)
    model, start, _ = measured_model(body, segment_frames(body.centres, body.lateral, body.axes, body.head_forward))
    # Ball joints only, one weight for all points, and hardly any hold: the same problem for everybody.
    hold = Hold(start.rotation, np.ones(start.rotation.shape[:2]))
    count = len(model.linkage.points)
    linkage = replace(model.linkage, slack_m=(0.0,) * len(start.rotation), sd_m=np.full(count, 0.01))
    seen = np.stack([body.markers[name] for name in linkage.points], axis=1)
    size = f"{len(seen)} frames, {count} points"
    ours = best(lambda: solve_pose(linkage, seen, start, hold), 10) / len(seen)
    rms = float(np.sqrt(np.nanmean(solve_pose(linkage, seen, start, hold).residual_m ** 2)))
    print(f"pose of {len(linkage.segments)} segments ({size}): {1e6 * ours:.0f} us a frame, {1000 * rms:.3f} mm off")
    theirs, their_rms = least_squares_poses(linkage, seen, start, frames=10)
    name = "scipy's least_squares, frame after frame"
    print(f"{name}: {1e6 * theirs:.0f} us a frame, {1000 * their_rms:.3f} mm off; ratio {ours / theirs:.4f}")
    if installed():
        theirs, their_rms = inverse_kinematics(linkage, seen, capture.rate_hz)
        name = "the inverse-kinematics tool of opensim"
        print(f"{name}: {1e6 * theirs:.0f} us a frame, {1000 * their_rms:.3f} mm off; ratio {ours / theirs:.4f}")
    whole = best(lambda: centre_of_mass(fit_skeleton(capture).centres), 10)
    report(
        f"cleaning, joint centres, skeleton, centre of mass ({size})",
        whole,
        "reading the file",
        best(lambda: mocap.read(file)),
    )


def mass_centre(swing: mocap.Swing) -> None:
    """Centre of mass of all frames at once against one frame after another."""
    paths = {name: swing.points[:, i] for i, name in enumerate(POINTS)}

    def at_once() -> object:
        return centre_of_mass(paths, sides=("front", "back"))

    def frame_by_frame() -> object:
        return [
            centre_of_mass({n: p[f] for n, p in paths.items()}, sides=("front", "back")) for f in range(swing.n_frames)
        ]

    report("centre of mass, all frames", best(at_once), "frame after frame", best(frame_by_frame, 2))


def film(swing: mocap.Swing) -> None:
    """The overlay film against the bare loop: as many triangles, drawn, read back and encoded at the same size."""
    comparison = mocap.compare(swing, mocap.load_reference())
    findings = mocap.measure(swing)
    first_frame: list[float] = []

    def progress(done: int, total: int) -> None:
        if not first_frame:
            first_frame.append(time.perf_counter())
        counted[0], counted[1] = done, total

    counted = [0, 0]
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        mocap.draw_film(comparison, findings, Path(folder) / "film.mp4", size=SIZE, progress=progress)
        end = time.perf_counter()
        frames = counted[1]
        ours = (end - first_frame[0]) / max(frames - 1, 1)
        bare = bare_loop(Path(folder) / "bare.mp4", triangles=40_000)
    report(f"film, per frame of {frames}", ours, "bare loop of 40,000 triangles", bare)
    print(f"film: {1 / ours:.1f} frames a second, {end - start:.1f} s from arrays to the file, set-up included")


def bare_loop(path: Path, *, triangles: int) -> float:
    """Seconds per frame of drawing moving points, reading back and encoding, with nothing around it."""
    import imageio.v2 as imageio
    import pyvista
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

    side = int(np.sqrt(triangles / 2))
    sphere = pyvista.Sphere(theta_resolution=side, phi_resolution=side)
    plotter = pyvista.Plotter(off_screen=True, window_size=SIZE, lighting="light kit")
    plotter.add_mesh(sphere, smooth_shading=True)
    plotter.render_window.SetMultiSamples(0)
    plotter.show(auto_close=False)
    rest = sphere.points.copy()
    settings: dict[str, Any] = {"fps": 30, "codec": "libx264", "macro_block_size": 1}
    writer: Any = imageio.get_writer(path, ffmpeg_params=["-preset", "veryfast"], **settings)
    with writer as out:
        start = time.perf_counter()
        for number in range(FILM_FRAMES):
            sphere.points = rest * (1 + 0.001 * number)
            plotter.render_window.Render()
            pixels = vtkUnsignedCharArray()
            plotter.render_window.GetRGBACharPixelData(0, 0, SIZE[0] - 1, SIZE[1] - 1, 0, pixels)
            out.append_data(vtk_to_numpy(pixels).reshape(SIZE[1], SIZE[0], 4)[::-1, :, :3])
        elapsed = time.perf_counter() - start
    plotter.close()
    return elapsed / FILM_FRAMES


def main() -> None:
    """Run every comparison."""
    from mocap.importer.session import read_session

    row = read_session(RECORDING.parent).recordings[0]
    capture = mocap.read(RECORDING)
    swing = mocap.build_swing(capture, row.hitter, row.setup)
    reading()
    measuring(swing, capture)
    body_model()
    mass_centre(swing)
    film(swing)


if __name__ == "__main__":
    main()
