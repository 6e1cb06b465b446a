"""Two or four views of one moment in one picture, to one scale; its finding is said once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mocap.display import MOMENT_WORDS
from mocap.renderer import captions
from mocap.renderer.ground import paper
from mocap.renderer.margin import set_rows
from mocap.renderer.page import Block, Page, draw_footer, set_footer, set_header
from mocap.renderer.panel_page import draw_panels, panel_place, reach_of, set_titled_panels
from mocap.renderer.scene import Scene
from mocap.renderer.still import guides_for, numbers_at
from mocap.renderer.view import View

if TYPE_CHECKING:
    from PIL.Image import Image


class SeveralViews:
    """One moment from several sides, arranged before it is drawn.

    Parameters
    ----------
    scene : Scene
    moment : str
    frame : int
    views : sequence of View
    size : tuple of 2 ints
        [px]
    asked : str or sequence of str
        The guides, see `mocap.renderer.still.draw_still`.
    """

    def __init__(
        self,
        scene: Scene,
        moment: str,
        frame: int,
        views: Sequence[View],
        size: tuple[int, int],
        asked: str | Sequence[str] = "usual",
    ) -> None:
        self.scene, self.frame = scene, frame
        self.page = page = Page(size, stacked=True)
        said = captions.headline(scene.findings, moment, scene.units)
        self.header = set_header(page, MOMENT_WORDS[moment], captions.who(scene.findings, scene.units), said)
        self.guides = [guides_for(scene, moment, view, asked, in_panel=True) for view in views]
        self.panels, self.titles = set_titled_panels(
            page,
            [(scene, view) for view in views],
            [frame] * len(views),
            [(view.title, "") for view in views],
            panel_place(page, self.header),
            [reach_of(chosen, frame) for chosen in self.guides],
        )
        notes = [] if scene.swing.plate_known else ["plate's place assumed"]
        notes.insert(0, "all to one scale")
        self.footer = set_footer(page, self.panels[0].framing, scene.units, notes, scene.legend)
        self.notes = self._numbers(numbers_at(scene, moment, frame, said.measure))

    def _numbers(self, found: Sequence[captions.Callout]) -> list[Block]:
        """As many numbers under the headline as its column has room for."""
        page = self.page
        if page.upright:
            return []
        top, right = self.header.box[3] + round(40 * page.unit), page.margin + page.header_width
        bottom = page.foot_top - round(24 * page.unit)
        return [note.block for note in set_rows(page, found, (page.margin, top, right, bottom), 1)]

    @property
    def blocks(self) -> list[Block]:
        """Everything set in type."""
        return [self.header, self.footer, *self.titles, *self.notes]

    def draw(self) -> Image:
        """The picture, mode RGB."""
        picture = paper(self.page.size)
        posed = next(self.scene.poses([self.frame]))
        draw_panels(picture, self.page, self.panels, [posed] * len(self.panels), self.guides)
        for block in (self.header, *self.titles, *self.notes):
            block.draw(picture)
        draw_footer(picture, self.page, self.footer, self.panels[0].framing, self.scene.units)
        return picture
