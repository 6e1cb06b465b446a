"""The same pose search by others, on the same linkage and points, for `bench.py`.

`opensim` (PyPI, 4.6) is no dependency: its inverse-kinematics tool takes part where it is installed.
"""

from __future__ import annotations

import importlib
import importlib.util
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.kinematics.linkage import Linkage, Pose, place, points_at


def installed() -> bool:
    """Whether opensim can be imported."""
    return importlib.util.find_spec("opensim") is not None


def inverse_kinematics(linkage: Linkage, points: FloatArray, rate_hz: float) -> tuple[float, float]:
    """Run the tool at its default accuracy.

    Parameters
    ----------
    linkage : Linkage
        With ball joints only.
    points : ndarray, shape (F, M, 3)
        [m]
    rate_hz : float
        [Hz]

    Returns
    -------
    (seconds, rms)
        Time of the tool's run per frame [s], its own files included; root mean square distance of the points. [m]
    """
    osim: Any = importlib.import_module("opensim")
    osim.Logger.removeFileSink()  # else it leaves a log where it was called from
    osim.Logger.setLevelString("Off")
    with tempfile.TemporaryDirectory() as folder:
        model_file, points_file = Path(folder) / "model.osim", Path(folder) / "points.trc"
        model = _model(osim, linkage)
        model.printToXML(str(model_file))
        points_file.write_text(_trc(linkage, points, rate_hz), encoding="utf-8")
        tool = osim.InverseKinematicsTool()
        tool.set_model_file(str(model_file))
        tool.setMarkerDataFileName(str(points_file))
        tool.setStartTime(0.0)
        tool.setEndTime((len(points) - 1) / rate_hz)
        tool.setResultsDir(folder)
        tool.setOutputMotionFileName(str(Path(folder) / "ik.mot"))
        tool.set_report_errors(True)
        for name, sd in zip(linkage.points, linkage.sd_m, strict=True):
            task = osim.IKMarkerTask()
            task.setName(name)
            task.setApply(True)
            task.setWeight(float((0.01 / sd) ** 2))
            tool.upd_IKTaskSet().cloneAndAppend(task)
        start = time.perf_counter()
        if not tool.run():
            raise RuntimeError("the inverse-kinematics tool failed")
        elapsed = time.perf_counter() - start
        errors = osim.TimeSeriesTable(str(next(Path(folder).glob("*_ik_marker_errors.sto"))))
        rms = np.array(errors.getDependentColumn("marker_error_RMS").to_numpy())
    return elapsed / len(points), float(np.sqrt(np.mean(rms**2)))


def _model(osim: Any, linkage: Linkage) -> Any:
    """The linkage as a model of bodies, ball joints and markers."""
    model = osim.Model()
    model.setGravity(osim.Vec3(0.0))
    bodies: list[Any] = []
    kept: list[Any] = []  # the model does not own them before its connections are final
    zero = osim.Vec3(0.0)
    for name, above, joint in zip(linkage.segments, linkage.parent, linkage.joint_m, strict=True):
        body = osim.Body(name, 1.0, zero, osim.Inertia(0.1, 0.1, 0.1, 0.0, 0.0, 0.0))
        model.addBody(body)
        if above < 0:
            made = osim.FreeJoint(f"{name}_joint", model.getGround(), body)
        else:
            at = osim.Vec3(*(float(value) for value in joint))
            made = osim.BallJoint(f"{name}_joint", bodies[above], at, zero, body, zero, zero)
        model.addJoint(made)
        bodies.append(body)
        kept.append(made)
    for name, owner, local in zip(linkage.points, linkage.segment_of, linkage.local_m, strict=True):
        model.addMarker(osim.Marker(name, bodies[owner], osim.Vec3(*(float(value) for value in local))))
    coordinates = model.updCoordinateSet()
    for index in range(coordinates.getSize()):
        coordinates.get(index).setDefaultClamped(False)
    model.finalizeConnections()
    return model


def _trc(linkage: Linkage, points: FloatArray, rate_hz: float) -> str:
    """Points as the text of a TRC file, missing ones left empty."""
    frames, count = points.shape[:2]
    rate = f"{rate_hz:.6f}"
    lines = [
        "PathFileType\t4\t(X/Y/Z)\tpoints.trc",
        "DataRate\tCameraRate\tNumFrames\tNumMarkers\tUnits\tOrigDataRate\tOrigDataStartFrame\tOrigNumFrames",
        f"{rate}\t{rate}\t{frames}\t{count}\tm\t{rate}\t1\t{frames}",
        "Frame#\tTime\t" + "\t\t\t".join(linkage.points) + "\t\t",
        "\t\t" + "\t".join(f"X{i}\tY{i}\tZ{i}" for i in range(1, count + 1)),
        "",
    ]
    for number, frame in enumerate(points):
        cells = (
            "\t".join(f"{value:.8f}" for value in place) if np.isfinite(place).all() else "\t\t" for place in frame
        )
        lines.append(f"{number + 1}\t{number / rate_hz:.8f}\t" + "\t".join(cells))
    return "\n".join(lines) + "\n"


def least_squares_poses(linkage: Linkage, points: FloatArray, start: Pose, *, frames: int) -> tuple[float, float]:
    """Fit the first frames one after the other with scipy's trust-region search; seconds per frame, RMS [m]."""
    from scipy.optimize import least_squares
    from scipy.spatial.transform import Rotation

    count = len(linkage.segments)
    still = np.zeros((count, 1, 3))
    started = time.perf_counter()
    squared = []
    for frame in range(frames):
        seen = np.isfinite(points[frame]).all(axis=1)

        def off(x: FloatArray, frame: int = frame, seen: npt.NDArray[np.bool_] = seen) -> FloatArray:
            turns = Rotation.from_rotvec(x[3:].reshape(count, 3)).as_matrix()
            pose = place(linkage, (turns @ start.rotation[:, frame])[:, None], x[None, :3], still)
            misses: FloatArray = (points_at(linkage, pose)[0] - points[frame])[seen].ravel()
            return misses

        first = np.concatenate([start.origin[0, frame], np.zeros(3 * count)])
        found = least_squares(off, first)
        squared.append(np.mean(found.fun.reshape(-1, 3) ** 2) * 3)
    return (time.perf_counter() - started) / frames, float(np.sqrt(np.mean(squared)))
