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
from collections.abc import Callable, Iterator
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


def pictures(swing: mocap.Swing) -> None:
    """A still and the overlay film with every guide, the film against the bare loop.

    The bare loop draws as many moving triangles, reads them back and encodes them at the same size, with nothing else.
    """
    comparison = mocap.compare(swing, mocap.load_reference())
    findings = mocap.measure(swing)
    print(f"drawn by {drawn_by()}")
    mocap.draw_still  # noqa: B018 - imported before the clock starts
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        mocap.draw_still(comparison, findings, Path(folder) / "first.png", size=SIZE)
        first = time.perf_counter() - start
        again = best(lambda: mocap.draw_still(comparison, findings, Path(folder) / "again.png", size=SIZE), 3)
        print(f"still: {first:.2f} s, bodies shaped and renderer started included; {again:.2f} s when both are there")
        written = [0]

        def progress(_done: int, total: int) -> None:
            written[0] = total

        start = time.perf_counter()
        # At one speed throughout no picture is repeated but where the film stands still, so nearly all are drawn.
        mocap.draw_film(
            comparison,
            findings,
            Path(folder) / "film.mp4",
            size=SIZE,
            guides="all",
            speed=0.125,
            hold_s=0.1,
            progress=progress,
        )
        ours = (time.perf_counter() - start) / written[0]
        bare = bare_loop(Path(folder) / "bare.mp4", triangles=40_000)
    report(f"film, all guides, per frame of {written[0]}, from arrays to the file", ours, "bare loop", bare)
    print(f"film: {1 / ours:.1f} frames a second; {bare / ours:.2f} of the bare loop's rate")


def drawn_by() -> str:
    """What this machine draws with."""
    from mocap.renderer.layers import Stage

    with Stage() as stage:
        return stage.device


def reel_memory(swing: mocap.Swing) -> None:
    """Memory over a reel of ten minutes of small pictures: it must not grow from the second swing on."""
    import resource

    comparison = mocap.compare(swing, mocap.load_reference())
    findings = mocap.measure(swing)
    peaks: list[float] = []

    def each() -> Iterator[tuple[mocap.Comparison, mocap.Findings]]:
        while frames[0] < 10 * 60 * 30:
            peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
            yield comparison, findings

    frames = [0]

    def progress(done: int, _total: int) -> None:
        frames[0] = done

    with tempfile.TemporaryDirectory() as folder:
        mocap.draw_reel(each(), Path(folder) / "reel.mp4", size=(480, 270), progress=progress)
    print(
        f"reel of {frames[0] / 30 / 60:.1f} min, {len(peaks)} swings: peak memory {peaks[1]:.0f} MB after the first,"
        f" {peaks[-1]:.0f} MB before the last"
    )


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


def triangulating(count: int = 200_000) -> None:
    """Points from two cameras, linearly and refined with covariance, against OpenCV's linear ones."""
    import cv2

    from mocap.importer.camera import Camera
    from mocap.importer.triangulation import intersect, triangulate

    lens = (-0.12, 0.03, 0.0006, -0.0004, 0.0)
    rig = [
        Camera.looking_at(place, (0.0, 0.0, 1.0), size=(1280, 720), field_of_view_deg=46.0, distortion=lens)
        for place in ((0.0, -6.0, 1.4), (4.2, -4.2, 1.4))
    ]
    draw = np.random.default_rng(1)
    points = draw.uniform((-1.0, -1.0, 0.0), (1.0, 1.0, 2.0), (count, 3))
    seen = np.stack([camera.project(points) for camera in rig])
    seen += draw.normal(size=seen.shape)
    rays = np.stack([camera.normalise(own) for camera, own in zip(rig, seen, strict=True)])
    poses = [np.column_stack([camera.rotation, camera.translation]) for camera in rig]
    flat = [np.ascontiguousarray(own.T) for own in rays]
    weights = np.ones((2, count))

    def theirs() -> Any:
        found = cv2.triangulatePoints(*poses, *flat)
        return (found[:3] / found[3]).T

    ways: dict[str, Callable[[], Any]] = {
        "linear": lambda: intersect(rig, rays, weights),
        "refined, with covariance": lambda: triangulate(rig, seen, weights).points,
        "OpenCV's triangulatePoints": theirs,
    }
    for name, way in ways.items():
        off = 1000.0 * np.sqrt(((way() - points) ** 2).sum(axis=1).mean())
        print(f"triangulation, {name}: {count / best(way, 3) / 1e6:.2f} million points a second, {off:.3f} mm off")


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
    triangulating()
    pictures(swing)
    reel_memory(swing)


if __name__ == "__main__":
    main()
