"""Standing height from the length of segments, where nobody states it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray

#: Length of thigh plus shank as share of stature: mean of de Leva (1996) men .2425 + .2529 and Drillis & Contini
#: (1966) .245 + .246; their spread and that between people give the standard deviation of a height found from it.
LEG_SHARE = 0.493
LEG_SHARE_SD = 0.017


def height_from_segments(centres: Mapping[str, FloatArray]) -> tuple[float, float]:
    """Standing height from the legs' length, with its standard deviation.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres in the lab frame. [m]

    Returns
    -------
    (height, sd)
        [m]

    References
    ----------
    Shares of stature: de Leva (1996) and Drillis & Contini (1966), see `LEG_SHARE`.
    """
    legs = [
        np.nanmedian(np.linalg.norm(centres[f"{s}_hip"] - centres[f"{s}_knee"], axis=1))
        + np.nanmedian(np.linalg.norm(centres[f"{s}_knee"] - centres[f"{s}_ankle"], axis=1))
        for s in "lr"
    ]
    height = float(np.mean(legs)) / LEG_SHARE
    return height, height * LEG_SHARE_SD / LEG_SHARE
