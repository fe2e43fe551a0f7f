"""The cabinet's field where earlier tests saw no fault: in the planes of its faces, and panels with a corner twice."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.baffle import Box, Source, free_paths
from enclosures.boundary import solid_angles

AIR = Air(1.2041, 343.21)
SLIM = Box(0.18, 0.48, 0.25)
OMEGA = 2.0 * math.pi * np.array([300.0, 1500.0, 6000.0])


@pytest.mark.parametrize("ahead", [0.3, 1.4])
def test_the_field_goes_on_through_the_planes_of_the_sides(ahead: float) -> None:
    """No wave has a jump in air: in the plane of a side, or of top and side at once, it is the mean of both sides'."""
    source = Source(*SLIM.point("front", (0.07, 0.35)), 0.03)
    near = np.array([[0.0, 0.3, ahead], [0.18, 0.3, ahead], [0.1, 0.48, ahead], [0.18, 0.48, ahead]])
    aside = np.array([[1e-7, 0.0, 0.0], [1e-7, 0.0, 0.0], [0.0, 1e-7, 0.0], [1e-7, 1e-7, 0.0]])
    listeners = np.concatenate([near, near + aside, near - aside])
    here, one, other = np.split(free_paths(SLIM, [source], listeners, OMEGA, AIR)[:, :, 0], 3, axis=1)
    assert np.all(np.abs(here / (0.5 * (one + other)) - 1.0) < 1e-3)
    assert np.all(np.abs(one / other - 1.0) < 1e-3)


def test_an_octant_is_an_eighth_of_the_whole_however_its_corners_are_counted() -> None:
    """From the centre, the face between (1, 0, 0), (0, 1, 0) and (0, 0, 1) fills 4 pi/8; any corner may count twice."""
    corners = np.eye(3)
    for twice in ([0, 0, 1, 2], [0, 1, 1, 2], [0, 1, 2, 2]):
        found = solid_angles(np.zeros((1, 3)), corners[twice][None])
        np.testing.assert_allclose(found, [[math.pi / 2.0]], rtol=1e-12)
