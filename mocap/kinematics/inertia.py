"""Segment masses and the whole-body centre of mass."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.errors import InputError

#: Segments on the body's midline; every other segment of the table counts twice.
MIDLINE = ("head", "trunk")


@dataclass(frozen=True)
class Segment:
    """One body segment of an inertia table.

    Attributes
    ----------
    name : str
    first, second : str
        Endpoints as joint names, without a side for the limbs.
    mass : float
        Share of body mass. [-]
    centre : float
        Place of the centre of mass from `first` toward `second`. [share of the length]
    """

    name: str
    first: str
    second: str
    mass: float
    centre: float

    @property
    def paired(self) -> bool:
        """Whether the segment exists on both sides."""
        return self.name not in MIDLINE


@lru_cache(maxsize=4)
def segment_table(sex: Literal["male", "female"] = "male") -> tuple[Segment, ...]:
    """Segment table of de Leva (1996), Table 4, from ``assets/tables/segment_inertia.toml``.

    Parameters
    ----------
    sex : {"male", "female"}

    Returns
    -------
    tuple of Segment
    """
    table = tomllib.loads(asset("tables", "segment_inertia.toml").read_text(encoding="utf-8"))
    return tuple(
        Segment(name, row["from"], row["to"], row[sex]["mass"], row[sex]["centre"])
        for name, row in table["segments"].items()
    )


def segment_centres(
    centres: Mapping[str, FloatArray], *, sides: tuple[str, str] = ("l", "r"), sex: Literal["male", "female"] = "male"
) -> dict[str, tuple[float, FloatArray]]:
    """Centre of mass of each segment.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        Joint centres by name; paired ones carry a side prefix, e.g. ``l_knee``. [m]
    sides : tuple of 2 str
        The two prefixes, ``("l", "r")`` in the lab frame, ``("front", "back")`` in the hitting frame.
    sex : {"male", "female"}

    Returns
    -------
    dict of str to (mass, centre)
        Mass as share of body mass [-], centre of shape (..., 3) [m].

    Raises
    ------
    InputError
        A segment's endpoint is not among `centres`.

    References
    ----------
    de Leva P (1996) J Biomech 29(9):1223-1230, Table 4.
    """
    found: dict[str, tuple[float, FloatArray]] = {}
    for segment in segment_table(sex):
        for prefix in [f"{side}_" for side in sides] if segment.paired else [""]:
            first, second = f"{prefix}{segment.first}", f"{prefix}{segment.second}"
            missing = [name for name in (first, second) if name not in centres]
            if missing:
                raise InputError(f"centre of mass: no {missing[0]} for the segment {prefix}{segment.name}")
            start = np.asarray(centres[first], dtype=np.float64)
            found[f"{prefix}{segment.name}"] = (segment.mass, start + segment.centre * (centres[second] - start))
    return found


def centre_of_mass(
    centres: Mapping[str, FloatArray], *, sides: tuple[str, str] = ("l", "r"), sex: Literal["male", "female"] = "male"
) -> FloatArray:
    """Whole-body centre of mass, the mass-weighted mean of the segments' centres.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (..., 3)
        Joint centres by name. [m]
    sides : tuple of 2 str
        Prefixes of the paired names.
    sex : {"male", "female"}

    Returns
    -------
    ndarray, shape (..., 3)
        NaN in frames where a segment's endpoint is missing. [m]

    Raises
    ------
    InputError
        A segment's endpoint is not among `centres`.

    References
    ----------
    de Leva P (1996) J Biomech 29(9):1223-1230, Table 4.
    """
    parts = segment_centres(centres, sides=sides, sex=sex).values()
    # The printed masses of the women's column add up to 99.99 %, so divide by the sum.
    total = sum(mass for mass, _ in parts)
    weighted: FloatArray = sum((mass * centre for mass, centre in parts), start=np.zeros(3)) / total
    return weighted
