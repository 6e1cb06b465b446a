"""The scene: hitter, reference, ground and guides. One description; still, sheet and film draw from it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import Units
from mocap.findings import Findings
from mocap.kinematics.barrel import ZonePath, zone_path
from mocap.kinematics.readings import NotMeasurableError
from mocap.renderer import ground, guides, style
from mocap.renderer.ground import field_corners
from mocap.renderer.layers import Body, Stage, outline
from mocap.renderer.pen import Pen
from mocap.renderer.view import Box, Framing, View, fit
from mocap.swing import BAT_POINTS, POINTS

if TYPE_CHECKING:
    from PIL.Image import Image

    from mocap.renderer.figure import Figure

MeshArray = npt.NDArray[np.float32]

_BATCH = 32  # frames posed at once: quick in numpy, and memory stays flat however long the recording is
_FLESH_M = 0.13  # how far skin, cap and shoes reach beyond the joint centres at most


@dataclass(frozen=True)
class Posed:
    """Both bodies in one frame; vertices and normals, each shape (V, 3), NaN where a limb was not seen."""

    frame: int
    hitter: tuple[MeshArray, MeshArray]
    reference: tuple[MeshArray, MeshArray]


class Scene:
    """A hitter and his reference, ready to be posed.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    units : {"metric", "imperial"}
        What lengths and speeds are written in.
    """

    def __init__(self, comparison: Comparison, findings: Findings, units: Units = "metric") -> None:
        from mocap.renderer.figure import build_figure

        self.comparison = comparison
        self.findings = findings
        self.units: Units = units
        self.swing = comparison.swing
        self.has_bat = self.swing.has(*BAT_POINTS)
        height = self.swing.height_m
        self.hitter: Figure = build_figure(self.swing.points, height, bat=self.has_bat)
        self.reference: Figure = build_figure(comparison.reference_points, height, bat=self._reference_has_bat)

    @cached_property
    def _reference_has_bat(self) -> bool:
        """Like is laid over like: the reference shows its bat where the hitter has one."""
        columns = [POINTS.index(name) for name in BAT_POINTS]
        return self.has_bat and bool(np.isfinite(self.comparison.reference_points[:, columns]).all(axis=(1, 2)).any())

    @cached_property
    def zone(self) -> ZonePath | None:
        """The barrel's path through the hitting zone; None where it cannot be measured."""
        try:
            return zone_path(self.swing) if self.has_bat else None
        except NotMeasurableError:
            return None

    @cached_property
    def plate_offset(self) -> FloatArray:
        """The plate's rear tip; where it was not recorded, where it lies for a hitter in the middle of the box. [m]"""
        return np.zeros(3) if self.swing.plate_known else -ground.box_middle()

    def poses(self, frames: Sequence[int]) -> Iterator[Posed]:
        """Both bodies at each of the frames, posed in batches."""
        facing = self.swing.head_forward
        for start in range(0, len(frames), _BATCH):
            batch = list(frames[start : start + _BATCH])
            own = self.hitter.pose(self.swing.points[batch], facing[batch])
            other = self.reference.pose(self.comparison.reference_points[batch], None)
            for row, frame in enumerate(batch):
                yield Posed(frame, (own[0][row], own[1][row]), (other[0][row], other[1][row]))

    @property
    def legend(self) -> tuple[str, str]:
        """Names of the solid and of the translucent body."""
        return "Hitter", f"Reference ({self.comparison.reference_name}), same height"

    def reach(self, frames: Sequence[int], *, ground: bool = False) -> FloatArray:
        """Points that bound both bodies over frames, skin included, if wished box and plate too; shape (N, 3). [m]"""
        every = np.stack([self.swing.points[list(frames)], self.comparison.reference_points[list(frames)]])
        if not self._reference_has_bat:
            every = every[:, :, : -len(BAT_POINTS)]
        seen = every.reshape(-1, 3)
        seen = seen[np.isfinite(seen).all(axis=1)]
        reach = seen[:, None] + _FLESH_M * np.concatenate([np.eye(3), -np.eye(3)])
        reach = reach.reshape(-1, 3)
        reach[:, 2] = np.maximum(reach[:, 2], 0.0)
        return np.concatenate([reach, field_corners() + self.plate_offset]) if ground else reach

    def frame_in(self, view: View, content: FloatArray, size: tuple[int, int], box: Box) -> Framing:
        """A framing in which points, shape (N, 3) [m], fill a place in a picture."""
        return fit(view, content, size, box, mirrored=self.swing.mirrored)


class Painter:
    """Paints a scene into pictures, through one stage.

    Parameters
    ----------
    scene : Scene
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.stage = Stage()
        self.hitter = self._add(scene.hitter, style.HITTER_TONES, style.PAPER)
        self.reference = self._add(scene.reference, style.REFERENCE_TONES, style.BLUE)
        self._framing: Framing | None = None

    def _add(self, figure: Figure, tones: dict[str, style.Colour], surround: style.Colour) -> Body:
        from mocap.renderer.figure import TONES

        palette = np.array([tones[name] for name in TONES], dtype=np.uint8)
        return self.stage.add(figure.faces, palette[figure.tones], surround)

    def aim(self, framing: Framing, frames: Sequence[int]) -> None:
        """Look at where both bodies are in those frames."""
        self._framing = framing
        self.stage.aim(framing, framing.box_around(self.scene.reach(frames), 6.0))

    def paint(self, picture: Image, posed: Posed, drawn: Sequence[guides.Guide], unit: float) -> None:
        """Paint both bodies and the guides of one frame over a picture.

        Parameters
        ----------
        picture : Image
            Mode RGB, ground drawn; painted on in place.
        posed : Posed
        drawn : sequence of Guide
        unit : float
            Pixels per design pixel.
        """
        assert self._framing is not None  # aim comes first
        canvas = guides.Canvas(Pen(picture), self._framing, unit)
        swing = self.scene.swing
        ground.draw_shadows(picture, self._framing, swing.points[posed.frame], swing.com[posed.frame])
        ghost = self.stage.draw(self.reference, *posed.reference)
        solid = self.stage.draw(self.hitter, *posed.hitter)
        edge = outline(ghost, 2.0 * unit)
        picture.paste(ghost.colour, ghost.corner, _fainter(ghost.solid, style.GHOST_OPACITY))
        picture.paste(style.BLUE, ghost.corner, edge)
        picture.paste(style.PAPER, solid.corner, outline(solid, 2.0 * unit))
        picture.paste(solid.colour, solid.corner, solid.solid)
        picture.paste(style.BLUE, ghost.corner, _fainter(edge, style.OUTLINE_OVER_HITTER))
        for guide in drawn:
            guide.draw(canvas, posed.frame)

    def close(self) -> None:
        """Give the stage back."""
        self.stage.close()

    def __enter__(self) -> Painter:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


def _fainter(coverage: Image, opacity: float) -> Image:
    return coverage.point([round(level * opacity) for level in range(256)])
