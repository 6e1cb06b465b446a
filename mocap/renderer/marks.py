"""Marks for the verdicts: each has a shape of its own, so that colour only repeats what the shape and the word say."""

from __future__ import annotations

import numpy as np

from mocap.findings import Verdict
from mocap.renderer.pen import Pen
from mocap.renderer.style import BLUE, INK, MUTED, RED, YELLOW


def draw_mark(pen: Pen, verdict: Verdict, centre: tuple[float, float], radius: float) -> None:
    """Draw a verdict's mark.

    A full disc is *good*, a half disc in a ring *near*, an upright lozenge *off*, two bars side by side
    *too close to call*, one lying bar *not measurable*.

    Parameters
    ----------
    pen : Pen
    verdict : Verdict
    centre : tuple of 2 floats
        [px]
    radius : float
        [px]
    """
    x, y = centre
    match verdict:
        case "good":
            pen.disc(centre, radius, BLUE)
        case "near":
            pen.disc(centre, radius, INK)
            pen.disc(centre, 0.78 * radius, (255, 255, 255))
            pen.polygon(_half_disc(x, y, 0.78 * radius), YELLOW)
        case "off":
            far = 1.25 * radius
            pen.polygon([(x, y - far), (x + 0.8 * far, y), (x, y + far), (x - 0.8 * far, y)], RED)
        case "too close to call":
            for side in (-1.0, 1.0):
                at = x + side * 0.45 * radius
                pen.line([(at, y - 0.75 * radius), (at, y + 0.75 * radius)], 0.42 * radius, INK)
        case "not measurable":
            pen.line([(x - 0.75 * radius, y), (x + 0.75 * radius, y)], 0.42 * radius, MUTED)


def _half_disc(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    """The lower half of a disc as a polygon."""
    angles = np.linspace(0.0, np.pi, 25)
    return [(x + radius * float(np.cos(a)), y + radius * float(np.sin(a))) for a in angles]
