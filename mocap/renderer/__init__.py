"""Pictures of a swing over its reference: stills, sheet of key moments, films, solid models, page.

Nothing heavy is imported before something is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mocap.renderer.difference_map import draw_difference_map
    from mocap.renderer.film import draw_film
    from mocap.renderer.glb import draw_glb
    from mocap.renderer.layers import check_can_draw
    from mocap.renderer.over_footage import draw_over_footage, draw_still_over_footage
    from mocap.renderer.reel import draw_reel
    from mocap.renderer.sheet import draw_sheet
    from mocap.renderer.still import draw_still
    from mocap.renderer.stroboscope import draw_stroboscope
    from mocap.renderer.web_page import write_page

__all__ = [
    "check_can_draw",
    "draw_difference_map",
    "draw_film",
    "draw_glb",
    "draw_over_footage",
    "draw_reel",
    "draw_sheet",
    "draw_still",
    "draw_still_over_footage",
    "draw_stroboscope",
    "write_page",
]

_HOMES = {
    "check_can_draw": "layers",
    "draw_difference_map": "difference_map",
    "draw_film": "film",
    "draw_glb": "glb",
    "draw_over_footage": "over_footage",
    "draw_reel": "reel",
    "draw_sheet": "sheet",
    "draw_still": "still",
    "draw_still_over_footage": "over_footage",
    "draw_stroboscope": "stroboscope",
    "write_page": "web_page",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
