"""Placements of cameras and the quality of their points as tables in the terminal."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.table import Table

from mocap.importer.camera_placement import Placement
from mocap.importer.camera_quality import CameraQuality


def print_placement(placement: Placement) -> None:
    """Print where cameras stand, what errors to expect, and what to do."""
    console = Console()
    cameras = _table("Camera", "Distance", "Sees of the volume", "Fills of the height")
    for name, distance, seen, filled in zip(
        placement.names, placement.distance_m, placement.seen, placement.filled, strict=True
    ):
        cameras.add_row(name, f"{distance:.1f} m", share(seen), share(filled))
    console.print(cameras)
    console.print(f"Lines of sight cross at {placement.angle_deg:.0f}°.", highlight=False)
    levels = _table("Expected sd at", *(word.capitalize() for word in placement.volume.directions), "Seen by two")
    for level in placement.levels:
        levels.add_row(
            f"{level.name}, {level.height_m:.2f} m", *(millimetres(sd) for sd in level.usual), share(level.share_seen)
        )
    console.print(levels)
    for sentence in placement.advice:
        console.print(sentence[0].upper() + sentence[1:] + ".", highlight=False)


def print_quality(quality: CameraQuality) -> None:
    """Print reprojection errors by camera and point, coverage, and the worst samples."""
    console = Console()
    cameras = quality.cameras
    table = _table("Point", *(f"{name}, rms (median)" for name in cameras), "Seen by two")
    for column, name in enumerate(quality.names):
        errors = (
            pixels(rms, median)
            for rms, median in zip(quality.rms_px[:, column], quality.median_px[:, column], strict=True)
        )
        table.add_row(name, *errors, share(float(quality.covered[column])))
    whole = (pixels(rms, median) for rms, median in zip(quality.camera_rms_px, quality.camera_median_px, strict=True))
    table.add_row("all", *whole, share(float(quality.covered.mean())))
    console.print(table)
    if quality.worst:
        told = ", ".join(
            f"{one.point} in frame {one.frame} ({one.camera}, {one.error_px:.1f} px)" for one in quality.worst[:3]
        )
        console.print(f"worst: {told}", style="dim", highlight=False)
    for note in quality.notes:
        console.print(f"note: {note}", style="dim", highlight=False)


def share(value: float) -> str:
    """A share in percent."""
    return f"{100 * value:.0f} %"


def millimetres(value_m: float) -> str:
    """A length in millimetres, a dash where there is none."""
    return f"{1e3 * value_m:.1f} mm" if np.isfinite(value_m) else "-"


def pixels(rms: float, median: float) -> str:
    """Two errors in pixels, a dash where there are none."""
    return f"{rms:.1f} ({median:.1f}) px" if np.isfinite(rms) else "-"


def _table(first: str, *others: str) -> Table:
    table = Table(box=None, header_style="bold", pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(first)
    for name in others:
        table.add_column(name, justify="right")
    return table
