"""Piston directivity against Bessel functions of another library and tabulated points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j1

from enclosures.radiation import piston_directivity


def test_is_two_bessel_over_argument() -> None:
    x = np.linspace(0.01, 90.0, 4000)
    np.testing.assert_allclose(piston_directivity(x, 1.0, np.ones(1)), 2.0 * j1(x) / x, atol=2e-15 * 90.0)


def test_on_the_axis_and_for_a_point_it_is_one() -> None:
    k = np.array([1.0, 10.0, 300.0])
    np.testing.assert_allclose(piston_directivity(k, 0.05, np.zeros(1)), 1.0, rtol=1e-14)
    np.testing.assert_allclose(piston_directivity(k, 0.0, np.ones(1)), 1.0, rtol=1e-14)


@pytest.mark.parametrize(
    ("x", "level"),
    [
        (3.8317, None),  # the first zero, j_1,1 = 3.83171 (NIST DLMF table 10.21)
        (1.6163, -3.01),  # half power at ka sin = 1.61634, an identity of J1 recomputed
        (2.2151, -6.02),
    ],
)
def test_zero_and_half_power(x: float, level: float | None) -> None:
    value = float(piston_directivity(np.array([x]), 1.0, np.ones(1))[0])
    if level is None:
        assert abs(value) < 2e-5
    else:
        assert 20.0 * np.log10(value) == pytest.approx(level, abs=0.005)


def test_broadcasts() -> None:
    assert piston_directivity(np.ones((5, 1)), 0.1, np.linspace(0.0, 1.0, 3)).shape == (5, 3)


def test_negative_radius() -> None:
    with pytest.raises(ValueError, match="radius"):
        piston_directivity(np.ones(1), -0.1, np.ones(1))
