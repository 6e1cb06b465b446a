"""The difference map: the hitter's body tinted by how far each joint is from the reference's."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import INCH_M, Units, format_length, format_measure
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import captions
from mocap.renderer.figure import PARTS, Figure
from mocap.renderer.ground import draw_floor, draw_shadows, paper
from mocap.renderer.layers import outline
from mocap.renderer.page import Block, draw_footer
from mocap.renderer.pen import Pen
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.still import Still, frame_at
from mocap.renderer.style import BLUE, INK, MUTED, PAPER, sequential, type_sizes
from mocap.renderer.text import Label, set_line
from mocap.renderer.view import View, find_view
from mocap.swing import BAT_POINTS, POINTS

if TYPE_CHECKING:
    from PIL.Image import Image

#: Joints that are named with their number.
MOST_JOINTS = 4
_NUDGE_M = 1e-3  # how far a joint is moved to see which skin follows it
_BAT: npt.NDArray[np.uint8] = np.array([0xC9, 0xC7, 0xC2], dtype=np.uint8)  # a neutral: the bat is no joint
_TIERS = (0.10, 0.20, 0.30, 0.40, 0.60, 0.80)  # ends of the scale [m]
_TIERS_IN = tuple(inches * INCH_M for inches in (4.0, 8.0, 12.0, 16.0, 24.0, 32.0))


def draw_difference_map(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    moment: str = "plant",
    view: str = "open side",
    size: tuple[int, int] = (1920, 1080),
    units: Units = "metric",
) -> Path:
    """Draw one moment, the hitter's body tinted by the distance of its joints to the reference's, whose outline stands.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        PNG to write; an older one is replaced.
    moment : str
        One of `mocap.swing.MOMENTS`.
    view : str
        As `mocap.renderer.view.find_view`.
    size : tuple of 2 ints
        Width and height. [px]
    units : {"metric", "imperial"}

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        The view or the moment is not known, or the moment was not found in this swing.
    RenderError
        This machine cannot draw.
    OutputError
        The file cannot be written.
    """
    chosen = find_view(view)
    frame = frame_at(comparison.swing, moment)
    picture = DifferenceMap(Scene(comparison, findings, units), moment, frame, chosen, size)
    with replacing(target := Path(path)) as temporary:
        picture.draw().save(temporary)
    return target


@dataclass(frozen=True)
class ScaleBar:
    """The colours' scale: a bar from no distance to the greatest that it shows, with its numbers. [px]"""

    left: float
    right: float
    top: float
    bottom: float
    labels: tuple[Label, ...]

    def draw(self, picture: Image) -> None:
        """The bar; its labels are set with the other type."""
        from PIL import Image as images

        left, right, top, bottom = (round(edge) for edge in (self.left, self.right, self.top, self.bottom))
        ramp = sequential((np.arange(right - left) + 0.5) / (right - left))
        picture.paste(images.fromarray(np.repeat(ramp[None], bottom - top, axis=0)), (left, top))
        edge = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
        Pen(picture).line(edge, max((bottom - top) / 12.0, 1.0), MUTED)


class DifferenceMap(Still):
    """The map, arranged before it is drawn; parameters as of `Still`."""

    def __init__(self, scene: Scene, moment: str, frame: int, view: View, size: tuple[int, int]) -> None:
        distances = scene.comparison.distances[frame]
        body = [place for place, name in enumerate(POINTS) if name not in BAT_POINTS]
        self.distances = np.where(np.isin(np.arange(len(POINTS)), body), distances, np.nan)
        self.greatest_m = scale_end(float(np.nanmax(self.distances, initial=0.0)), scene.units)
        self.worst = captions.worst_joints(scene.comparison, frame, MOST_JOINTS)
        super().__init__(scene, moment, frame, view, size, "none")
        self.scale = self._scale()

    def headline(self) -> captions.Headline:
        """The joint that is furthest, and how far all are."""
        if not self.worst:
            return captions.Headline("No joint can be compared here", "", None, "")
        first, units = self.worst[0], self.scene.units
        name, far = captions.joint_words(POINTS[first]), format_length(float(self.distances[first]), units=units)
        measure = self.scene.findings.measures.get("pose_distance")
        detail, verdict = "", None
        if self.moment == "plant" and measure is not None and measure.value is not None:
            check = next((check for check in self.scene.findings.checks if check.measure == "pose_distance"), None)
            detail = f"all joints: {format_measure(measure, self.scene.swing.height_m, units)}"
            if check is not None:
                detail, verdict = (
                    f"{detail}, {captions.verdict_words(self.scene.findings, check, units)}",
                    check.verdict,
                )
        words = f"{name} {far} from the reference"
        if float(self.distances[first]) < captions.LEAST_TOLD_M:
            words = f"Every joint within {format_length(captions.LEAST_TOLD_M, units=units)} of the reference"
        return captions.Headline(words, detail, verdict, "pose_distance")

    def numbers(self) -> list[captions.Callout]:
        """The joints that are furthest, each with its distance; of those that all but coincide the furthest alone."""
        found: list[captions.Callout] = []
        height, units = self.scene.swing.height_m, self.scene.units
        for place in self.worst:
            far, name = float(self.distances[place]), POINTS[place]
            if found and far < captions.LEAST_TOLD_M:
                break
            share = f"{100.0 * far / height:.1f} % of height"
            label = captions.joint_words(name)
            found.append(captions.Callout(label, format_length(far, units=units), share, None, (name,)))
        return found

    def room_below(self) -> int:
        """The colours' scale."""
        return round(130 * self.page.unit + 1.5 * type_sizes(self.page.size).small)

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        return [*super().blocks, Block(self.scale.labels)]

    def colours(self) -> npt.NDArray[np.uint8]:
        """Colour of each vertex of the hitter's figure, shape (V, 3)."""
        figure = self.scene.hitter
        spread = spread_over_skin(figure, self.scene.swing.points[self.frame], self.distances)
        tint = sequential(spread / self.greatest_m)
        tint[figure.parts == PARTS.index("bat")] = _BAT
        return tint

    def draw(self) -> Image:
        """The picture, mode RGB."""
        picture = paper(self.page.size)
        draw_floor(picture, self.framing, self.scene.plate_offset, (0, 0, *self.page.size))
        self._draw_bodies(picture)
        if not self.page.wide:
            self._draw_dots(picture)
        for note in self.notes:
            note.draw(picture, self.page.unit)
        self.header.draw(picture)
        self.scale.draw(picture)
        Block(self.scale.labels).draw(picture)
        red, green, blue = (int(part) for part in sequential(np.array([0.3]))[0])
        draw_footer(picture, self.page, self.footer, self.framing, self.scene.units, (red, green, blue))
        return picture

    def _draw_bodies(self, picture: Image) -> None:
        """The tinted hitter, the reference as an outline alone."""
        swing, unit = self.scene.swing, self.page.unit
        posed = self.posed
        with Painter(self.scene) as painter:
            painter.aim(self.framing, [self.frame])
            figure = self.scene.hitter
            tinted = painter.stage.add(figure.faces, self.colours(), PAPER)  # his clothes have stripes, this has none
            ghost = painter.stage.draw(painter.reference, *posed.reference)
            body = painter.stage.draw(tinted, *posed.hitter)
        draw_shadows(picture, self.framing, swing.points[self.frame], swing.com[self.frame])
        picture.paste(MUTED, body.corner, outline(body, 1.5 * unit))
        picture.paste(body.colour, body.corner, body.solid)
        picture.paste(BLUE, ghost.corner, outline(ghost, 2.5 * unit))

    def _draw_dots(self, picture: Image) -> None:
        """Where the worst joints are, where no hairline ends on them; the first the largest."""
        pen, unit = Pen(picture), self.page.unit
        for rank, place in enumerate(self.worst[: len(self.notes)]):
            spot = self.framing.project(self.scene.swing.points[self.frame, place])
            pen.disc(spot, (12 - 2 * rank) * unit, PAPER)
            pen.disc(spot, (9.5 - 2 * rank) * unit, INK)

    def _scale(self) -> ScaleBar:
        """The scale under the bodies, on the floor."""
        page, small = self.page, type_sizes(self.page.size).small
        low, high = self.framing.extent(self.content)
        middle, half = float(low[0] + high[0]) / 2.0, 190 * page.unit
        right_most = page.size[0] - page.margin
        middle = min(max(middle, page.margin + half), right_most - half)
        top = float(self.framing.extent(self.content)[1][1]) + 56 * page.unit
        bar = (middle - half, middle + half, top, top + 18 * page.unit)
        y = bar[3] + 6 * page.unit
        unit, suffix = (INCH_M, "in") if self.scene.units == "imperial" else (0.01, "cm")
        numbers = [f"{share * self.greatest_m / unit:.0f}" for share in (0.0, 0.5, 1.0)]
        words = (*numbers[:2], f"{numbers[2]} {suffix}")
        labels = [
            set_line(word, (bar[0] + share * 2.0 * half, y), small, colour=MUTED, anchor="middle")
            for word, share in zip(words, (0.0, 0.5, 1.0), strict=True)
        ]
        name = set_line(
            "joint's distance", (bar[0] - 14 * page.unit, top - 0.3 * small), small, colour=MUTED, anchor="right"
        )
        if name.box[0] > page.margin + (0 if page.wide or page.upright else page.header_width):
            labels.append(name)
        return ScaleBar(*bar, tuple(labels))


def scale_end(greatest_m: float, units: Units) -> float:
    """The round length at which the colours' scale ends: the first that holds the greatest distance. [m]"""
    tiers = _TIERS_IN if units == "imperial" else _TIERS
    return next((tier for tier in tiers if greatest_m <= tier + 1e-9), tiers[-1])


def spread_over_skin(figure: Figure, points: FloatArray, distances: FloatArray) -> FloatArray:
    """The distances of joints, carried over the skin as the skin follows them.

    Each joint is moved a millimetre along each axis; how far a vertex goes along tells how much of its skin is that
    joint's. So a forearm goes from its elbow's number to its wrist's, and skin that only lies near takes nothing.

    Parameters
    ----------
    figure : Figure
    points : ndarray, shape (P, 3)
        One frame, in the order of `mocap.swing.POINTS`. [m]
    distances : ndarray, shape (P,)
        NaN: no number. [m]

    Returns
    -------
    ndarray, shape (V,)
        NaN where no joint with a number moves the skin, or it is not there. [m]
    """
    known = np.flatnonzero(np.isfinite(distances) & np.isfinite(points).all(axis=1))
    if not len(known):
        return np.full(len(figure.tones), np.nan)
    moved = np.repeat(points[None], 1 + 3 * len(known), axis=0)
    for row, place in enumerate(known):
        for axis in range(3):
            moved[1 + 3 * row + axis, place, axis] += _NUDGE_M
    vertices = figure.pose(moved)[0].astype(np.float64)
    steps = np.linalg.norm(vertices[1:] - vertices[0], axis=2).reshape(len(known), 3, -1)
    weights = np.nan_to_num(np.sqrt(np.mean(steps**2, axis=1)) / _NUDGE_M) ** 2  # squared: the nearest joint leads
    total = weights.sum(axis=0)
    shared = np.asarray(distances[known] @ weights / np.where(total > 1e-3, total, np.nan), dtype=np.float64)
    return np.where(np.isfinite(vertices[0]).all(axis=1), shared, np.nan)
