"""Axes of thorax and head from their markers."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mocap.capture import FloatArray
from mocap.kinematics.geometry import across, unit

#: Head centre below and vertex above the plane of the head band, shares of stature (head height .130 and eye height
#: .936 of stature: Drillis & Contini 1966; the split is this project's default).
HEAD_BELOW_BAND, VERTEX_ABOVE_BAND = 0.02, 0.05


def thorax_axes(marker: Mapping[str, FloatArray]) -> FloatArray | None:
    """Thorax axes after the ISB from the markers C7, T10 (for T8), clavicle (incisura jugularis) and sternum (xiphoid).

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        By canonical name. [m]

    Returns
    -------
    ndarray, shape (F, 3, 3), or None
        World from thorax: y from the middle of the lower two to that of the upper two, z normal to the plane of the
        upper two and the middle of the lower ones, to the right, x forward. None where a marker is missing.

    References
    ----------
    Wu G et al. (2005) J Biomech 38:981-992.
    """
    if not {"c7", "clavicle", "t10", "sternum"} <= set(marker):
        return None
    return _upright(marker, (marker["t10"] + marker["sternum"]) / 2)


def thorax_axes_from_pelvis(marker: Mapping[str, FloatArray], pelvis: FloatArray) -> FloatArray:
    """Thorax axes whose up is along the trunk, from the pelvis's middle, where thorax markers do not show their own.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        `c7` and `clavicle`. [m]
    pelvis : ndarray, shape (F, 3)
        Middle of its markers. [m]

    Returns
    -------
    ndarray, shape (F, 3, 3)
        World from thorax, columns x (forward), y (up), z (right).
    """
    return _upright(marker, pelvis)


def head_axes(marker: Mapping[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Axes of the head from four markers on a band, and the middle of the band.

    Parameters
    ----------
    marker : mapping of str to ndarray, shape (F, 3)
        By canonical name. [m]

    Returns
    -------
    (axes, band)
        World from head, shape (F, 3, 3), columns x (where the face points), y (up), z (right); [m], shape (F, 3).
    """
    front = (marker["l_head_front"] + marker["r_head_front"]) / 2
    back = (marker["l_head_back"] + marker["r_head_back"]) / 2
    right = marker["r_head_front"] - marker["l_head_front"] + marker["r_head_back"] - marker["l_head_back"]
    x = unit(front - back)
    z = unit(across(right, x))
    return np.stack([x, np.cross(z, x), z], axis=-1), (front + back) / 2


def _upright(marker: Mapping[str, FloatArray], low: FloatArray) -> FloatArray:
    front, back = marker["clavicle"], marker["c7"]
    y = unit((front + back) / 2 - low)
    x = unit(across(front - back, y))
    return np.stack([x, y, np.cross(x, y)], axis=-1)
