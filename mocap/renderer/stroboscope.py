"""The stroboscope: the bat and the hands at equal steps of time in one picture, the hitter as he stood at contact."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units, speed_scale
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.kinematics.geometry import on_bat
from mocap.kinematics.swing_points import mid_hands
from mocap.output import replacing
from mocap.renderer import captions
from mocap.renderer.ground import draw_floor, draw_shadows, paper
from mocap.renderer.layers import outline
from mocap.renderer.lens import Box
from mocap.renderer.page import Block, Page, draw_scale, overlap, scale_bar, set_header
from mocap.renderer.pen import Pen
from mocap.renderer.retiming import between
from mocap.renderer.scene import Painter, Scene
from mocap.renderer.still import frame_at, seen_from
from mocap.renderer.style import HITTER_TONES, INK, MUTED, PAPER, RED, WHITE, YELLOW, type_sizes
from mocap.renderer.text import LEADING, Label, draw_labels, set_line, set_lines, text_width
from mocap.renderer.view import Framing, View, find_view
from mocap.swing import Swing

if TYPE_CHECKING:
    from PIL.Image import Image

#: Steps of time to choose from, the first of which there are few enough. [s]
_STEPS_S = (0.005, 0.010, 0.015, 0.020, 0.025, 0.030, 0.040, 0.050, 0.100, 0.200)
#: How many steps there are at most, from each start, in a wide picture and in others: each has its row of type.
_MOST_STEPS = {"plant": (8, 9), "lift": (24, 16)}
_FINE_S = 0.0025  # between two places on a drawn path, at most

#: Half a bat's thickness along it, from knob (0) to barrel's end (1): a shape to draw, this project's default. [m]
_BAT_ALONG = np.array([0.0, 0.025, 0.05, 0.35, 0.55, 0.75, 0.97, 1.0])
_BAT_HALF_M = np.array([0.022, 0.022, 0.0125, 0.0125, 0.018, 0.030, 0.032, 0.024])

_FAINTEST, _STRONGEST = 0.22, 0.80  # opacity of the first and of the last bat


def draw_stroboscope(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    start: str = "plant",
    view: str = "open side",
    size: tuple[int, int] = (1920, 1080),
    units: Units = "metric",
) -> Path:
    """Draw the bat and the hands at equal steps of time up to extension, and the hitter at contact.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        PNG to write; an older one is replaced.
    start : {"plant", "lift"}
        Moment from which on.
    view : str
        As `mocap.renderer.view.find_view`; best from the open side or from above.
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
        The view or the moment is not known, or start or contact was not found in this swing.
    RenderError
        This machine cannot draw.
    OutputError
        The file cannot be written.
    """
    chosen = find_view(view)
    if start not in ("plant", "lift"):
        raise OptionError(f"the stroboscope cannot start at {start!r}; give plant or lift")
    for moment in (start, "contact"):
        frame_at(comparison.swing, moment)
    picture = Stroboscope(Scene(comparison, findings, units), chosen, size, start)
    with replacing(target := Path(path)) as temporary:
        picture.draw().save(temporary)
    return target


@dataclass(frozen=True)
class Instants:
    """Places at equal steps of time, contact among them.

    Attributes
    ----------
    step_s : float
        [s]
    times : ndarray, shape (K,)
        From contact. [s]
    bats : ndarray, shape (K, 2, 3)
        Knob and barrel's end; NaN without a bat. [m]
    spots, hands : ndarray, shape (K, 3)
        Sweet spot and middle of the hands. [m]
    spot_path, hands_path : ndarray, shape (N (K - 1) + 1, 3)
        With N - 1 places between each two of them. [m]
    """

    step_s: float
    times: FloatArray
    bats: FloatArray
    spots: FloatArray
    hands: FloatArray
    spot_path: FloatArray
    hands_path: FloatArray

    @property
    def speeds(self) -> FloatArray:
        """Way of the sweet spot over each step by the step, as drawn, shape (K - 1,). [m/s]"""
        ways = np.linalg.norm(np.diff(self.spot_path, axis=0), axis=1).reshape(len(self.times) - 1, -1).sum(axis=1)
        speeds: FloatArray = ways / self.step_s
        return speeds


def instants_of(swing: Swing, start: str, most: int) -> Instants:
    """The instants from a moment to extension, or to contact where there is no extension, in so many steps at most.

    Places lie on a cubic through the frames, see `mocap.renderer.retiming.between`.
    """
    first, contact = frame_at(swing, start), frame_at(swing, "contact")
    last = max(swing.index("extension") or contact, contact)
    span = (last - first) / swing.rate_hz
    step = next((step for step in _STEPS_S if span / step <= most), _STEPS_S[-1])
    before, after = (int(frames / swing.rate_hz / step + 1e-6) for frames in (contact - first, last - contact))
    counts = np.arange(-before, after + 1)
    parts = int(np.ceil(step / _FINE_S))
    fine = contact + np.linspace(-before, after, parts * (len(counts) - 1) + 1) * step * swing.rate_hz
    knob, barrel = between(swing["bat_knob"], fine), between(swing["bat_barrel"], fine)
    spot, hands = on_bat(knob, barrel, swing.setup.sweet_spot_m), between(mid_hands(swing), fine)
    bats = np.stack([knob, barrel], axis=1)[::parts]
    return Instants(step, np.asarray(counts * step, dtype=np.float64), bats, spot[::parts], hands[::parts], spot, hands)


class Stroboscope:
    """The picture, arranged before it is drawn, so that its places can be checked.

    Parameters
    ----------
    scene : Scene
    view : View
    size : tuple of 2 ints
        [px]
    start : {"plant", "lift"}
    """

    def __init__(self, scene: Scene, view: View, size: tuple[int, int], start: str = "plant") -> None:
        self.scene, self.page = scene, Page(size)
        self.frame = frame_at(scene.swing, "contact")
        self.instants = instants_of(scene.swing, start, _MOST_STEPS[start][not self.page.wide])
        self.posed = next(scene.poses([self.frame]))
        each = "bat" if scene.has_bat else "dot"
        note = f"{captions.who(scene.findings, scene.units)}\none {each} every {1000 * self.instants.step_s:.0f} ms"
        self.header = set_header(self.page, f"{MOMENT_WORDS[start]} to extension", note, self._headline())
        self.rows, self.bars = self._rows()
        content: list[FloatArray] = [
            self.posed.hitter[0].astype(np.float64),
            self.instants.bats.reshape(-1, 3),
            self.instants.hands_path,
        ]
        if not view.shows_horizon:
            content.append(scene.reach([self.frame], ground=True))
        self.framing: Framing = scene.frame_in(view, np.concatenate(content), size, self._place())
        self.footer = self._footer(seen_from(view, scene))
        self.marks = self._marks()

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        labels = [*self.rows, *self.footer, *self.marks]
        return [self.header, *(Block((label,)) for label in labels)]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        picture = paper(self.page.size)
        draw_floor(picture, self.framing, self.scene.plate_offset, (0, 0, *self.page.size))
        swing = self.scene.swing
        draw_shadows(picture, self.framing, swing.points[self.frame], swing.com[self.frame])
        behind = self._behind()
        self._draw_bats(picture, behind)
        with Painter(self.scene) as painter:
            painter.aim(self.framing, [self.frame])
            body = painter.stage.draw(painter.hitter, *self.posed.hitter)
        picture.paste(PAPER, body.corner, outline(body, 2.0 * self.page.unit))
        picture.paste(body.colour, body.corner, body.solid)
        self._draw_bats(picture, ~behind)
        self._draw_paths(picture)
        self._draw_bars(picture)
        self.header.draw(picture)
        draw_labels(picture, [*self.rows, *self.footer, *self.marks])
        draw_scale(picture, self.page, self.footer[0], self.framing, self.scene.units)
        return picture

    def _headline(self) -> captions.Headline:
        """The greatest speed of the bat, or of the hands."""
        findings, units = self.scene.findings, self.scene.units
        for name in ("bat_speed", "hand_speed"):
            measure = findings.measures.get(name)
            if measure is not None and measure.value is not None:
                words = captions.finding_words(findings, name, units)[1]
                check = next((check for check in findings.checks if check.measure == name), None)
                detail = captions.verdict_words(findings, check, units)
                return captions.Headline(words, detail, check.verdict if check else None, name)
        return captions.Headline("", "", None, "")

    @property
    def _has_speeds(self) -> bool:
        measure = self.scene.findings.measures.get("bat_speed")
        return measure is not None and measure.value is not None and bool(np.isfinite(self.instants.speeds).all())

    def _place(self) -> Box:
        """Place for hitter and bats, with room around for the times."""
        page, small = self.page, type_sizes(self.page.size).small
        width, edge = page.size[0], round(2.2 * type_sizes(self.page.size).small)
        bottom = page.foot_top - round(90 * page.unit)
        if page.upright:
            rows = self.rows[0].box[1] if self.rows else page.foot_top
            return edge, self.header.box[3] + edge, width - edge, min(bottom, rows - round(56 * page.unit))
        left = page.margin + page.header_width + edge
        return left, round(40 * page.unit) + 2 * small, width - edge - page.margin // 2, bottom

    def _rows(self) -> tuple[list[Label], list[tuple[float, float, float]]]:
        """Each step with its speed, and the bars between: left and right end and middle's height. [px]"""
        if not self._has_speeds:
            return [], []
        page, size = self.page, type_sizes(self.page.size).small
        scale, speeds = speed_scale(self.scene.units), self.instants.speeds
        line, left, width = 1.34 * size, page.margin, page.header_width
        title = f"Sweet spot, mean of the {1000 * self.instants.step_s:.0f} ms up to"
        heading = [part.words for part in set_lines(title, (left, 0.0), width, size)]
        under = self.header.box[3] + 34 * page.unit
        room_below = round(0.3 * page.size[1]) if page.upright else page.foot_top - 0.4 * size - under
        count = min(len(speeds), max(int(room_below / line) - len(heading), 0))  # the last are the ones that tell
        y = page.foot_top - 20 * page.unit - (len(heading) + count) * line if page.upright else under
        labels = [set_line(words, (left, y + row * line), size, colour=MUTED) for row, words in enumerate(heading)]
        y += len(heading) * line
        names = [f"{1000 * time:+.0f} ms" if time else "contact" for time in self.instants.times[1:]]
        values = [scale.quantity(float(speed)) for speed in speeds]
        start = left + max(text_width(name, size) for name in names) + 0.6 * size
        room = left + width - start - max(text_width(value, size) for value in values) - 0.9 * size
        bars = []
        for name, value, speed in list(zip(names, values, speeds, strict=True))[len(speeds) - count :]:
            end = start + room * float(speed / speeds.max())
            labels += [set_line(name, (left, y), size, colour=MUTED), set_line(value, (end + 0.4 * size, y), size)]
            bars.append((start, end, y + 0.63 * size))
            y += line
        return labels, bars

    def _footer(self, notes: list[str]) -> list[Label]:
        """Scale and view to the right, what the lines are to the left."""
        page, size = self.page, type_sizes(self.page.size).small
        y, x = float(page.foot_top), page.margin + 78 * page.unit
        words, length = scale_bar(self.framing, self.scene.units)
        scale = set_line(words, (page.size[0] - page.margin, y), size, colour=MUTED, anchor="right")
        labels = [scale, set_line("Hands", (x, y), size)]
        if self.scene.has_bat:
            labels.append(set_line("Sweet spot", (labels[-1].box[2] + 108 * page.unit, y), size))
        right = scale.left - length - 52 * page.unit
        for count in range(len(notes), 0, -1):
            note = set_line(", ".join(notes[:count]), (right, y), size, colour=MUTED, anchor="right")
            if note.left > labels[-1].box[2] + 32 * page.unit:
                return [*labels, note]
        return labels

    def _marks(self) -> list[Label]:
        """The times at the barrel's ends, from contact; contact first, and no other where it would lie on something."""
        page, size = self.page, type_sizes(self.page.size).small
        if not self.scene.has_bat:
            return []
        ends = self.framing.project(self.instants.bats)
        taken = [self.header.box, *(label.box for label in (*self.rows, *self.footer))]
        drawn = [self.framing.project(self.posed.hitter[0])]
        drawn += [knob + (barrel - knob) * np.linspace(0.0, 1.0, 30)[:, None] for knob, barrel in ends]
        solid = np.concatenate(drawn)
        labels: list[Label] = []
        for place in np.argsort(np.abs(self.instants.times), kind="stable"):
            knob, barrel = ends[place]
            along = (barrel - knob) / max(float(np.hypot(*(barrel - knob))), 1e-9)
            words = f"{1000 * self.instants.times[place]:+.0f} ms" if self.instants.times[place] else "contact"
            label = _beyond(words, barrel, along, size, page)
            left, top, right, bottom = label.box
            air = 0.35 * size
            inside = left >= air and top >= air and right <= page.size[0] - air and bottom <= page.foot_top
            edge = 3 * page.unit
            x, y = solid.T
            hit = (x > left - edge) & (x < right + edge) & (y > top - edge) & (y < bottom + edge)
            # A time that stood nearer to another bat's end would be read as that one's.
            away = np.hypot(*(ends[:, 1] - np.clip(ends[:, 1], (left, top), (right, bottom))).T)
            own = int(np.argmin(away)) == place
            if inside and own and not hit.any() and not any(overlap(label.box, box) for box in taken):
                labels.append(label)
                taken.append(label.box)
        return labels

    def _behind(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Which bats lie farther than the trunk, shape (K,)."""
        trunk = (self.scene.swing["pelvis"][self.frame] + self.scene.swing["neck"][self.frame]) / 2.0
        return np.asarray(self.framing.depth(self.instants.bats.mean(axis=1)) > self.framing.depth(trunk))

    def _draw_bats(self, picture: Image, shown: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> None:
        """Bats as flat shapes, the later the stronger; the one of contact is in the hitter's hands."""
        pen = Pen(picture)
        strength = np.linspace(_FAINTEST, _STRONGEST, len(shown))
        for place in np.flatnonzero(shown & (np.abs(self.instants.times) > 1e-9)):
            shape = bat_shape(self.framing.project(self.instants.bats[place]), self.framing.scale)
            pen.polygon(shape, HITTER_TONES["bat"], opacity=float(strength[place]))
            edge = np.concatenate([shape, shape[:1]])
            pen.line(edge, 1.2 * self.page.unit, INK, opacity=0.7 * float(strength[place]))

    def _draw_paths(self, picture: Image) -> None:
        """The ways of sweet spot and hands; a full dot an instant on one, a ring on the other."""
        pen, unit = Pen(picture), self.page.unit
        pen.line(self.framing.project(self.instants.hands_path), 3 * unit, RED, casing=WHITE, casing_width=unit)
        for spot in self.framing.project(self.instants.hands):
            _ring(pen, spot, unit)
        if self.scene.has_bat:
            pen.line(self.framing.project(self.instants.spot_path), 3 * unit, YELLOW, casing=INK, casing_width=unit)
            for spot in self.framing.project(self.instants.spots):
                _dot(pen, spot, unit)

    def _draw_bars(self, picture: Image) -> None:
        """The speeds' bars, and the lines' samples in the foot line."""
        pen, unit = Pen(picture), self.page.unit
        for left, right, y in self.bars:
            pen.polygon([(left, y - 5 * unit), (right, y - 5 * unit), (right, y + 5 * unit), (left, y + 5 * unit)], INK)
        for label, colour, casing, mark in zip(
            self.footer[1:], (RED, YELLOW), (WHITE, INK), (_ring, _dot), strict=False
        ):
            if label.words in ("Hands", "Sweet spot"):
                x, y = label.left - 78 * unit, label.top + 0.63 * label.size
                pen.line([(x, y), (x + 60 * unit, y)], 3 * unit, colour, casing=casing, casing_width=unit)
                mark(pen, np.array([x + 30 * unit, y]), unit)


def bat_shape(ends: FloatArray, scale: float) -> FloatArray:
    """Outline of a bat, shape (N, 2), from knob and barrel's end, shape (2, 2), at so many pixels a metre. [px]"""
    knob, along = ends[0], ends[1] - ends[0]
    length = max(float(np.hypot(*along)), 1e-9)
    across = np.array([-along[1], along[0]]) / length
    axis = knob + _BAT_ALONG[:, None] * along
    half = scale * _BAT_HALF_M[:, None] * across
    return np.concatenate([axis + half, (axis - half)[::-1]])


def _ring(pen: Pen, spot: FloatArray, unit: float) -> None:
    pen.disc(spot, 6.5 * unit, WHITE)
    pen.ring(spot, 5 * unit, 2.5 * unit, RED)


def _dot(pen: Pen, spot: FloatArray, unit: float) -> None:
    pen.disc(spot, 7 * unit, INK)
    pen.disc(spot, 5 * unit, YELLOW)


def _beyond(words: str, end: FloatArray, along: FloatArray, size: int, page: Page) -> Label:
    """A label just beyond a bat's end, in the bat's direction. [px]"""
    half = np.array([text_width(words, size) / 2.0, LEADING * size / 2.0])
    away = min(float(half[i] / abs(along[i])) if abs(along[i]) > 1e-6 else np.inf for i in (0, 1))
    middle = end + along * (away + 14 * page.unit)
    return set_line(words, (float(middle[0]), float(middle[1] - half[1])), size, anchor="middle")
