"""Web pages from templates: words as they are set in type, the colours of the pictures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from mocap.assets import asset
from mocap.output import replacing
from mocap.renderer import style
from mocap.renderer.text import typographic


class Verbatim(str):
    """Text that is not words, such as an address or part of a drawing: it stands as it is."""


def write_filled(path: str | Path, template: str, words: dict[str, Any]) -> Path:
    """Fill a template in `assets/templates` and write it.

    Parameters
    ----------
    path : str or Path
        An older file there is replaced.
    template : str
        Name of the file.
    words : dict
        By the template's names; those of the colours are added.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The page cannot be written.
    """
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, finalize=_set)
    text = environment.from_string(asset("templates", template).read_text(encoding="utf-8")).render(
        ink=hexadecimal(style.INK),
        quiet=hexadecimal(style.MUTED),
        paper=hexadecimal(style.PAPER),
        line=hexadecimal(style.HAIRLINE),
        blue=hexadecimal(style.BLUE),
        **words,
    )
    with replacing(target := Path(path)) as temporary:
        temporary.write_text(text, encoding="utf-8")
    return target


def hexadecimal(colour: style.Colour) -> str:
    """A colour as pages write it."""
    return "#" + "".join(f"{part:02x}" for part in colour)


def _set(value: object) -> object:
    return typographic(value) if isinstance(value, str) and not isinstance(value, Verbatim) else value
