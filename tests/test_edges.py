"""The wedge integrals against the static field of an infinite edge, and their numerics."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.edges import Block, Echoes, Face, Paths, Radiator, first_order, second_order
from tests.support_diffraction import static_wedge

FRONT = Face(2, True)


@pytest.mark.parametrize(
    ("near", "far", "angle", "along"),
    [(0.1, 1.0, 0.5, 0.2), (0.1, 1.0, 2.5, 0.1), (0.1, 1.0, 3.1, 0.0), (0.2, 0.8, 3.3, 0.1), (0.2, 0.8, 4.5, 0.1)],
)
def test_static_field_of_one_edge(near: float, far: float, angle: float, along: float) -> None:
    """An edge of a block so large that its other edges count for nothing (they fall as 1/size and are extrapolated)."""
    listener = np.array([[far * math.cos(angle), along, far * math.sin(angle)]])
    source = np.array([near, 0.0, 0.0])
    direct = (angle < math.pi) / float(np.linalg.norm(listener[0] - source))

    def field(size: float) -> float:
        block = Block(np.array([0.0, -size, -2.0 * size]), np.array([2.0 * size, size, 0.0]))
        waves = first_order(block, Radiator(FRONT, source), listener, 0.02)
        return direct + sum(float(wave.paths.weights.sum()) for wave in waves)

    assert 2.0 * field(60.0) - field(30.0) == pytest.approx(static_wedge(near, far, angle, along), abs=1e-4)


def test_grazing_is_the_mean_of_both_sides() -> None:
    """In the plane of the face direct wave and edge waves are half of those in front and half of those behind it."""
    block = Block(np.array([0.0, -2.0, -2.0]), np.array([4.0, 2.0, 0.0]))
    radiator = Radiator(FRONT, np.array([0.3, 0.0, 0.0]))
    sums = []
    for z, direct in ((1e-8, 1.0), (0.0, 0.5), (-1e-8, 0.0)):
        waves = first_order(block, radiator, np.array([[-1.5, 0.0, z]]), 0.02)
        sums.append(direct / 1.8 + sum(float(wave.paths.weights.sum()) for wave in waves))
    assert 0.5 * (sums[0] + sums[2]) == pytest.approx(sums[1], abs=1e-7)


def test_nodes_converge() -> None:
    block = Block(np.array([0.0, 0.0, -0.25]), np.array([0.18, 0.48, 0.0]))
    radiator = Radiator(FRONT, np.array([0.06, 0.38, 0.0]))
    listeners = np.array([[0.5, 0.6, 1.5], [0.1, 0.2, -1.5], [-1.0, 0.3, 0.01]])
    k = np.array([1.0, 20.0, 100.0])

    def waves(fineness: float) -> np.ndarray:
        total = np.zeros((3, k.size), dtype=complex)
        waves = [*first_order(block, radiator, listeners, 0.006 / fineness)]
        for wave in [*waves, *second_order(block, FRONT, [radiator], listeners, 0.009 / fineness)]:
            total[wave.listener] += np.exp(-1j * np.outer(k, wave.paths.lengths)) @ wave.paths.weights
        return total

    np.testing.assert_allclose(waves(1.0), waves(3.0), atol=2e-4)


def test_histogram_keeps_the_spectrum() -> None:
    """Bins a tenth of a wavelength apart: below 0.4 % at that wavelength, and less the longer the wave."""
    rng = np.random.default_rng(5)
    paths = Paths(rng.uniform(2.0, 3.0, 200), rng.normal(size=200))
    k = 2.0 * math.pi / np.array([0.017, 0.034, 0.17])
    echoes = Echoes(0.0017, 700, (1, 1))
    echoes.add(echoes.new_group(), 0, 0, paths, 2.0)
    exact = np.exp(-1j * np.outer(k, paths.lengths - 2.0)) @ paths.weights
    error = np.abs(echoes.spectra(k)[:, 0, 0, 0] - exact) / np.sqrt(np.sum(paths.weights**2))
    assert np.all(error < [4e-3, 4e-4, 1e-6])
