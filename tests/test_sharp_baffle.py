"""The cabinet's field where earlier tests saw no fault: in the planes of its faces, and panels with a corner twice."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.baffle import Box, Source, free_paths
from enclosures.boundary import solid_angles
from enclosures.edges import Echoes, Paths

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


@pytest.mark.parametrize("angle", [20.0, 50.0, 80.0])
def test_a_cabinet_that_is_the_same_to_both_sides_is_heard_the_same_at_both(angle: float) -> None:
    """Rounded edges too: each wave has the angles of its own bends, whichever of two was reckoned last."""
    box = Box(0.2, 0.45, 0.28, edge_radius=0.025)
    source = Source(*box.point("front", (0.1, 0.225)), 0.025)
    aside, z = 2.0 * math.sin(math.radians(angle)), 2.0 * math.cos(math.radians(angle))
    listeners = np.array(
        [[0.1 + aside, 0.2, z], [0.1 - aside, 0.2, z], [0.08, 0.225 + aside, z], [0.08, 0.225 - aside, z]]
    )
    found = free_paths(box, [source], listeners, 2.0 * math.pi * np.geomspace(200.0, 16e3, 30), AIR)[:, :, 0]
    np.testing.assert_allclose(found[:, ::2], found[:, 1::2], rtol=1e-9)


@pytest.mark.parametrize("length", [0.0, 0.37, 0.999, 1.0])
def test_a_path_as_long_as_any_may_be_has_its_bins(length: float) -> None:
    """One path is one spike: its spectrum is w e^{-jkl}, by cubic interpolation within 1e-3 up to k width = 0.5."""
    width, bins = 0.01, 100
    echoes = Echoes(width, bins, (1, 1))
    echoes.add(echoes.new_group(), 0, 0, Paths(np.array([2.0 + length]), np.array([0.7])), 2.0)
    k = np.linspace(0.0, 50.0, 11)
    np.testing.assert_allclose(echoes.spectra(k)[:, 0, 0, 0], 0.7 * np.exp(-1j * k * length), atol=1e-3)
