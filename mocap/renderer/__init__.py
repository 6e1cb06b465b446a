"""Pictures of a swing over its reference: still, sheet of key moments, film, page.

Nothing heavy is imported before something is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mocap.renderer.film import draw_film
    from mocap.renderer.layers import check_can_draw
    from mocap.renderer.sheet import draw_sheet
    from mocap.renderer.still import draw_still
    from mocap.renderer.web_page import write_page

__all__ = ["check_can_draw", "draw_film", "draw_sheet", "draw_still", "write_page"]

_HOMES = {
    "check_can_draw": "layers",
    "draw_film": "film",
    "draw_sheet": "sheet",
    "draw_still": "still",
    "write_page": "web_page",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
