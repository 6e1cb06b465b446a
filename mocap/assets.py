"""Where the package's data files lie: beside the code once installed, at the top level in a source checkout."""

from __future__ import annotations

from pathlib import Path

from mocap.errors import InputError


def asset(*parts: str) -> Path:
    """Path of a data file of the package.

    Parameters
    ----------
    *parts : str
        Path below `assets`, e.g. ``"fonts", "Inter-Regular.ttf"``.

    Returns
    -------
    Path
        Of a file or folder that exists.

    Raises
    ------
    InputError
        The installation lacks it.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "assets", package.parent / "assets"):
        path = folder.joinpath(*parts)
        if path.exists():
            return path
    raise InputError(f"assets/{'/'.join(parts)} is missing from this installation; install the package again")
