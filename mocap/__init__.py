"""A hitting coach's tool: from a recorded swing to moments, measures, a comparison and pictures.

    capture = mocap.read("swing.c3d")
    swing = mocap.build_swing(capture, mocap.Hitter(height_m=1.80))
    findings = mocap.measure(swing)
    comparison = mocap.compare(swing, mocap.load_reference())
    mocap.draw_still(comparison, findings, "foot_plant.png")

Importing the package imports none of its parts; each name is loaded when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from mocap.capture import Capture, Event, ForcePlate
    from mocap.comparison import Comparison, Difference
    from mocap.errors import MocapError
    from mocap.findings import Check, Findings, Measure
    from mocap.importer import read
    from mocap.importer.c3d_writer import write_c3d
    from mocap.kinematics.build import build_swing
    from mocap.kinematics.inertia import centre_of_mass
    from mocap.kinematics.joint_angles import joint_angles
    from mocap.kinematics.joint_centres import joint_centres
    from mocap.kinematics.measuring import measure
    from mocap.kinematics.segment_motion import angular_velocities, com_velocity
    from mocap.kinematics.skeleton import Skeleton, fit_skeleton
    from mocap.reference.compare import compare
    from mocap.reference.model import Reference, load_reference
    from mocap.renderer import (
        draw_difference_map,
        draw_film,
        draw_glb,
        draw_over_footage,
        draw_reel,
        draw_sheet,
        draw_still,
        draw_still_over_footage,
        draw_stroboscope,
        write_page,
    )
    from mocap.swing import BodyModel, Hitter, Moment, Setup, Swing

_HOMES = {
    "BodyModel": "mocap.swing",
    "Capture": "mocap.capture",
    "Check": "mocap.findings",
    "Comparison": "mocap.comparison",
    "Difference": "mocap.comparison",
    "Event": "mocap.capture",
    "Findings": "mocap.findings",
    "ForcePlate": "mocap.capture",
    "Hitter": "mocap.swing",
    "Measure": "mocap.findings",
    "MocapError": "mocap.errors",
    "Moment": "mocap.swing",
    "Reference": "mocap.reference.model",
    "Setup": "mocap.swing",
    "Skeleton": "mocap.kinematics.skeleton",
    "Swing": "mocap.swing",
    "angular_velocities": "mocap.kinematics.segment_motion",
    "build_swing": "mocap.kinematics.build",
    "centre_of_mass": "mocap.kinematics.inertia",
    "com_velocity": "mocap.kinematics.segment_motion",
    "compare": "mocap.reference.compare",
    "draw_difference_map": "mocap.renderer",
    "draw_film": "mocap.renderer",
    "draw_glb": "mocap.renderer",
    "draw_over_footage": "mocap.renderer",
    "draw_reel": "mocap.renderer",
    "draw_sheet": "mocap.renderer",
    "draw_still": "mocap.renderer",
    "draw_still_over_footage": "mocap.renderer",
    "draw_stroboscope": "mocap.renderer",
    "fit_skeleton": "mocap.kinematics.skeleton",
    "joint_angles": "mocap.kinematics.joint_angles",
    "joint_centres": "mocap.kinematics.joint_centres",
    "load_reference": "mocap.reference.model",
    "measure": "mocap.kinematics.measuring",
    "read": "mocap.importer",
    "write_c3d": "mocap.importer.c3d_writer",
    "write_page": "mocap.renderer",
}

__all__ = [
    "BodyModel",
    "Capture",
    "Check",
    "Comparison",
    "Difference",
    "Event",
    "Findings",
    "ForcePlate",
    "Hitter",
    "Measure",
    "MocapError",
    "Moment",
    "Reference",
    "Setup",
    "Skeleton",
    "Swing",
    "angular_velocities",
    "build_swing",
    "centre_of_mass",
    "com_velocity",
    "compare",
    "draw_difference_map",
    "draw_film",
    "draw_glb",
    "draw_over_footage",
    "draw_reel",
    "draw_sheet",
    "draw_still",
    "draw_still_over_footage",
    "draw_stroboscope",
    "fit_skeleton",
    "joint_angles",
    "joint_centres",
    "load_reference",
    "measure",
    "read",
    "write_c3d",
    "write_page",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'mocap' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
