"""Reference models: a swing at unit height with its moments, from a file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.swing import MOMENTS, POINTS

STANDARD = "standard"


@dataclass(frozen=True)
class Reference:
    """A swing to compare with.

    Attributes
    ----------
    name : str
    about : str
        How it was made.
    rate_hz : float
        [Hz]
    points : ndarray, shape (F, P, 3)
        Order of `mocap.swing.POINTS`, hitting frame of a right-handed hitter, origin midway between the ankles at
        plant; NaN for a point it lacks. [share of body height]
    moments : mapping of str to float
        Name to time from the first frame. [s]
    """

    name: str
    about: str
    rate_hz: float
    points: FloatArray
    moments: Mapping[str, float]

    def at(self, times: FloatArray) -> FloatArray:
        """Points at given times, held at the ends, shape (T, P, 3). [share of body height]"""
        place = np.clip(np.asarray(times) * self.rate_hz, 0, len(self.points) - 1)
        before = np.minimum(place.astype(int), len(self.points) - 2)
        share = (place - before)[:, None, None]
        between: FloatArray = self.points[before] * (1 - share) + self.points[before + 1] * share
        return between


def load_reference(name_or_path: str | Path = STANDARD) -> Reference:
    """Load a reference model by its name or from a file.

    Parameters
    ----------
    name_or_path : str or Path
        The name of a model in ``assets/reference``, or the path of a JSON file like it.

    Returns
    -------
    Reference

    Raises
    ------
    InputError
        No such model, or a key is missing or has the wrong shape.
    """
    path = Path(name_or_path)
    if not path.suffix:
        try:
            path = asset("reference", f"{name_or_path}.json")
        except InputError:
            known = ", ".join(sorted(file.stem for file in asset("reference").glob("*.json")))
            raise InputError(
                f"reference {str(name_or_path)!r} is not known; known are {known}, or give a file"
            ) from None
    if not path.is_file():
        raise InputError(f"{path}: no such reference file")
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        names = list(table["names"])
        given = np.asarray(table["points"], dtype=np.float64)
        moments = {str(name): float(time) for name, time in table["moments"].items() if name in MOMENTS}
        rate, name, about = float(table["rate_hz"]), str(table["name"]), str(table["about"])
    except (json.JSONDecodeError, UnicodeDecodeError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: not a reference model ({type(error).__name__}: {error})") from error
    if given.ndim != 3 or given.shape[1:] != (len(names), 3) or len(given) < 2:
        raise InputError(f"{path}: points have shape {given.shape}, expected (frames, {len(names)}, 3)")
    if "plant" not in moments:
        raise InputError(f"{path}: moments have no 'plant'")
    points = np.full((len(given), len(POINTS), 3), np.nan)
    for column, point in enumerate(names):
        if point in POINTS:
            points[:, POINTS.index(point)] = given[:, column]
    return Reference(name, about, rate, points, moments)
