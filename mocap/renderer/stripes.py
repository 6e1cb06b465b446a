"""The pinstripe on the hitter's back side, which tells it from the front side without colour."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

WIDTH = 0.17  # of a line, over the distance of two
SHADE = 0.66  # share of the ground's colour left on it
_EDGE = 0.06  # over which a line fades, over the distance of two


def one_stripe(texels: int) -> npt.NDArray[np.uint8]:
    """Share of the ground's colour over one period, plain at its ends, shape (texels,). [0 to 255]"""
    across = np.abs((np.arange(texels) + 0.5) / texels - 0.5)
    line = 1.0 - np.clip((across - 0.5 * WIDTH) / _EDGE + 0.5, 0.0, 1.0)
    return np.asarray(np.rint(255.0 * (1.0 - (1.0 - SHADE) * line)), dtype=np.uint8)
