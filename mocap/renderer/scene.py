"""The scene: hitter, reference, ground and guides. One description; still, sheet and film draw from it."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
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
from mocap.renderer.layers import Layer, Stage, outline
from mocap.renderer.lens import Box, Lens
from mocap.renderer.pen import Pen
from mocap.renderer.retiming import retimed
from mocap.renderer.view import Framing, View, fit
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
        self.hitter: Figure = build_figure(
            self.swing.points, height, bat=self.has_bat, mass_kg=self.swing.hitter.mass_kg
        )
        self.reference: Figure = build_figure(
            comparison.reference_points, height, bat=self._reference_has_bat, mass_kg=self.swing.hitter.mass_kg
        )
        self.zone = self._zone()

    @cached_property
    def _reference_has_bat(self) -> bool:
        """Like is laid over like: the reference shows its bat where the hitter has one."""
        columns = [POINTS.index(name) for name in BAT_POINTS]
        return self.has_bat and bool(np.isfinite(self.comparison.reference_points[:, columns]).all(axis=(1, 2)).any())

    def retimed(self, frames: FloatArray, rate_hz: float) -> Scene:
        """The same scene at other frames, see `mocap.renderer.retiming.retimed`; bodies, zone and findings stay."""
        other = copy.copy(self)
        other.comparison = retimed(self.comparison, frames, rate_hz)
        other.swing = other.comparison.swing
        if self.zone is not None:
            first = int(np.searchsorted(frames, self.zone.first_frame))
            other.zone = replace(self.zone, first_frame=first)
        return other

    def _zone(self) -> ZonePath | None:
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

    def frame_in(
        self, view: View, content: FloatArray, size: tuple[int, int], box: Box, largest: float = float("inf")
    ) -> Framing:
        """A framing in which points, shape (N, 3) [m], fill a place in a picture, at a scale no larger than [px/m]."""
        return fit(view, content, size, box, mirrored=self.swing.mirrored, largest=largest)


class Painter:
    """Paints a scene into pictures, through one stage.

    Parameters
    ----------
    scene : Scene
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.stage = Stage()
        self._clothes = _palette(style.HITTER_TONES)[scene.hitter.tones]
        self.hitter = self.stage.add(scene.hitter.faces, self._clothes, style.PAPER, scene.hitter.stripes)
        ghost = _palette(style.REFERENCE_TONES)[scene.reference.tones]
        self.reference = self.stage.add(scene.reference.faces, ghost, style.BLUE)
        self._lens: Lens | None = None
        #: The hitter's body as it was painted last; None where none was.
        self.body: Layer | None = None

    def aim(self, lens: Lens, frames: Sequence[int]) -> None:
        """Look through a lens at where both bodies are in those frames."""
        self._lens = lens
        self.stage.aim(lens, lens.box_around(self.scene.reach(frames), 6.0))

    def tint(self, colours: npt.NDArray[np.uint8] | None) -> None:
        """Give the hitter's vertices colours of their own, shape (V, 3); None: his clothes again."""
        self.hitter.colours = np.asarray(self._clothes if colours is None else colours, dtype=np.float64)

    def paint(
        self, picture: Image, posed: Posed, drawn: Sequence[guides.Guide], unit: float, *, solid: bool = True
    ) -> None:
        """Paint both bodies and the guides of one frame over a picture.

        Parameters
        ----------
        picture : Image
            Mode RGB, ground drawn; painted on in place.
        posed : Posed
        drawn : sequence of Guide
        unit : float
            Pixels per design pixel.
        solid : bool
            Whether the hitter's body and shadow are drawn; not where the picture shows himself.
        """
        assert self._lens is not None  # aim comes first
        canvas = guides.Canvas(Pen(picture), self._lens, unit)
        swing = self.scene.swing
        ghost = self.stage.draw(self.reference, *posed.reference)
        edge = outline(ghost, 2.0 * unit)
        if solid:
            ground.draw_shadows(picture, self._lens, swing.points[posed.frame], swing.com[posed.frame])
        opacity = style.GHOST_OPACITY if solid else style.GHOST_OVER_FOOTAGE
        picture.paste(ghost.colour, ghost.corner, _fainter(ghost.solid, opacity))
        picture.paste(style.BLUE, ghost.corner, edge)
        self.body = None
        if solid:
            self.body = body = self.stage.draw(self.hitter, *posed.hitter)
            picture.paste(style.PAPER, body.corner, outline(body, 2.0 * unit))
            picture.paste(body.colour, body.corner, body.solid)
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


def _palette(tones: dict[str, style.Colour]) -> npt.NDArray[np.uint8]:
    from mocap.renderer.figure import TONES

    return np.array([tones[name] for name in TONES], dtype=np.uint8)


def _fainter(coverage: Image, opacity: float) -> Image:
    return coverage.point([round(level * opacity) for level in range(256)])
