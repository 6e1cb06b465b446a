from __future__ import annotations

import numpy as np
import pytest

from mocap.importer.plates import ground_reaction, plate_axes

# A plate of 0.4 x 0.6 m, middle at (1.0, 2.0, 0), its y along the lab's y and its x along the lab's -x: z points down.
CORNERS = np.array([[0.8, 2.3, 0.0], [1.2, 2.3, 0.0], [1.2, 1.7, 0.0], [0.8, 1.7, 0.0]])


def test_axes_from_corners() -> None:
    axes = plate_axes(CORNERS)
    assert axes[:, 0] == pytest.approx([-1, 0, 0])
    assert axes[:, 1] == pytest.approx([0, 1, 0])
    assert axes[:, 2] == pytest.approx([0, 0, -1])


@pytest.mark.parametrize("sign", [1.0, -1.0], ids=["stored as force on the plate", "stored as force on the person"])
def test_type_2_by_hand(sign: float) -> None:
    # A person presses with 800 N straight down and 100 N along the lab's +x, at 0.10 m along the plate's +x and
    # -0.05 m along its y; the sensor lies 0.04 m under the surface. In plate axes (z down) the force on the plate is
    # (-100, 0, 800); about the sensor M = r x F with r = (0.10, -0.05, -0.04):
    #   Mx = -0.05 * 800 - (-0.04) * 0 = -40;  My = -0.04 * (-100) - 0.10 * 800 = -76;
    #   Mz = 0.10 * 0 - (-0.05) * (-100) = -5.
    stored = sign * np.array([[-100.0, 0.0, 800.0, -40.0, -76.0, -5.0]])
    plate = ground_reaction(2, stored, CORNERS, np.array([0.0, 0.0, 0.04]), 1000.0)
    assert plate.force[0] == pytest.approx([-100.0, 0.0, 800.0])  # the reaction on the person, lab axes
    # Plate x is the lab's -x: the force acts at 1.0 - 0.10, 2.0 - 0.05.
    assert plate.centre_of_pressure[0] == pytest.approx([0.90, 1.95, 0.0])
    # The moment left about the middle of the surface is r x F with r = (0.10, -0.05, 0): (-40, -80, -5) on the plate,
    # in plate axes; the reaction is its opposite, (40, 80, 5), and in the lab's axes (-40, 80, -5).
    assert plate.moment[0] == pytest.approx([-40.0, 80.0, -5.0])


def test_type_3_agrees_with_type_2() -> None:
    # Four sensors at (+-a, +-b); the same load expressed both ways (C3D user guide, TYPE 3).
    a, b = 0.12, 0.20
    fz = np.array([200.0, 150.0, 100.0, 50.0])
    fx12, fx34, fy14, fy23 = 30.0, 10.0, -20.0, 5.0
    eight = np.array([[fx12, fx34, fy14, fy23, *fz]])
    corners = np.array([[a, b], [-a, b], [-a, -b], [a, -b]])
    moment = np.array([np.sum(fz * corners[:, 1]), -np.sum(fz * corners[:, 0]), b * (fx34 - fx12) + a * (fy14 - fy23)])
    six = np.array([[fx12 + fx34, fy14 + fy23, fz.sum(), *moment]])
    third = ground_reaction(3, eight, CORNERS, np.array([a, b, 0.0]), 1000.0)
    second = ground_reaction(2, six, CORNERS, np.zeros(3), 1000.0)
    assert third.force == pytest.approx(second.force)
    assert third.moment == pytest.approx(second.moment)
    assert third.centre_of_pressure == pytest.approx(second.centre_of_pressure)


def test_an_unloaded_plate_has_no_centre_of_pressure() -> None:
    plate = ground_reaction(2, np.full((3, 6), 0.5), CORNERS, np.zeros(3), 1000.0)
    assert np.isnan(plate.centre_of_pressure).all()
    assert plate.force.shape == (3, 3)
