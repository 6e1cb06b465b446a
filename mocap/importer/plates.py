"""From force-plate channels and parameters to ground reactions in the lab frame."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray, ForcePlate

#: Below this vertical force a plate counts as unloaded: the centre of pressure is not defined. [N]
UNLOADED_N = 20.0


def plate_axes(corners: FloatArray) -> FloatArray:
    """Rotation lab <- plate from the corners.

    Parameters
    ----------
    corners : ndarray, shape (4, 3)
        In the lab frame, in the C3D order: plate quadrants (+x +y), (-x +y), (-x -y), (+x -y).

    Returns
    -------
    ndarray, shape (3, 3)
        Columns are the plate's x, y, z in the lab; z points into the floor for plates laid the usual way.

    References
    ----------
    C3D user guide, FORCE_PLATFORM:CORNERS (c3d.org).
    """
    x = corners[[0, 3]].mean(axis=0) - corners[[1, 2]].mean(axis=0)
    y = corners[[0, 1]].mean(axis=0) - corners[[2, 3]].mean(axis=0)
    x = x / np.linalg.norm(x)
    z = np.cross(x, y)
    z = z / np.linalg.norm(z)
    return np.stack([x, np.cross(z, x), z], axis=1)


def _six_components(plate_type: int, channels: FloatArray, origin: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Force and moment about the centre of the surface, plate axes, from the raw channels.

    Type 1 stores force, centre of pressure and free moment; types 2 and 4 force and moment about the sensor;
    type 3 the eight outputs of four corner sensors. C3D user guide, FORCE_PLATFORM:TYPE.
    """
    if plate_type == 1:
        force, px, py = channels[:, :3], channels[:, 3], channels[:, 4]
        fx, fy, fz = force.T
        return force, np.stack([py * fz, -px * fz, channels[:, 5] + px * fy - py * fx], axis=1)
    if plate_type == 3:
        fx12, fx34, fy14, fy23, f1, f2, f3, f4 = channels.T
        a, b = abs(origin[0]), abs(origin[1])
        force = np.stack([fx12 + fx34, fy14 + fy23, f1 + f2 + f3 + f4], axis=1)
        moment = np.stack(
            [b * (f1 + f2 - f3 - f4), a * (-f1 + f2 + f3 - f4), b * (-fx12 + fx34) + a * (fy14 - fy23)], axis=1
        )
        to_surface = np.array([0.0, 0.0, -abs(origin[2])])
    else:
        force, moment = channels[:, :3], channels[:, 3:6]
        # The sensor lies under the surface and z points down, so the vector to the surface has a negative z;
        # many files store its size only.
        to_surface = np.array([origin[0], origin[1], -abs(origin[2])])
    return force, moment + np.cross(force, to_surface)


def ground_reaction(
    plate_type: int, channels: FloatArray, corners: FloatArray, origin: FloatArray, rate_hz: float
) -> ForcePlate:
    """Ground reaction of one plate in the lab frame.

    Parameters
    ----------
    plate_type : int
        1, 2, 3 or 4; the channels of type 4 come already multiplied by the calibration matrix.
    channels : ndarray, shape (A, 6) or (A, 8)
        Forces in N, moments in N m (type 1: centre of pressure in m).
    corners : ndarray, shape (4, 3)
        Lab frame. [m]
    origin : ndarray, shape (3,)
        FORCE_PLATFORM:ORIGIN, plate axes. [m]
    rate_hz : float
        Sampling rate of the channels. [Hz]

    Returns
    -------
    ForcePlate

    Notes
    -----
    Files store either the force on the plate or the force on the person; as a foot can only push a plate down, the
    sign is taken so that the vertical reaction on the person is upward.
    Centre of pressure in plate axes: (-My / Fz, Mx / Fz) at the surface.
    """
    force, moment = _six_components(plate_type, channels, origin)
    rotation = plate_axes(corners)
    # The lab's vertical is the axis that the plate's normal lies along, whichever letter the lab gives it.
    vertical = force @ rotation[np.argmax(np.abs(rotation[:, 2]))]
    loaded = np.abs(vertical) > UNLOADED_N
    if loaded.any() and vertical[loaded].sum() < 0:
        force, moment = -force, -moment
    fz = np.where(np.abs(force[:, 2]) > UNLOADED_N, force[:, 2], np.nan)
    local = np.stack([-moment[:, 1] / fz, moment[:, 0] / fz, np.where(np.isfinite(fz), 0.0, np.nan)], axis=1)
    return ForcePlate(
        plate_type=plate_type,
        corners=corners,
        force=force @ rotation.T,
        moment=moment @ rotation.T,
        centre_of_pressure=corners.mean(axis=0) + local @ rotation.T,
        rate_hz=rate_hz,
    )
