"""The evidence for a model whatever its unknowns are, and the error that goes into it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from system.bench.likelihood import ALIKE, Error, Whitening, fit, likely_error


def covariance_of(error: Error, frequency: np.ndarray) -> np.ndarray:
    """Matern's of order 3/2 over octaves (Rasmussen & Williams, Gaussian Processes, 2006, equation 4.17), and noise."""
    near = np.abs(np.log2(frequency[:, None] / frequency)) * math.sqrt(3) / ALIKE
    return error.floor**2 * (1 + near) * np.exp(-near) + error.noise**2 * np.eye(frequency.size)


def test_evidence_of_a_linear_model_is_exact() -> None:
    """For m(u) = m0 + J'u the data are normal with covariance K + J'J (any textbook): ln of that density by scipy."""
    random = np.random.default_rng(1)
    frequency = np.geomspace(20, 20e3, 60)
    error = Error.usual(angle=False)
    slope, start = random.normal(0, 0.05, (4, 60)), random.normal(0, 1, 60)
    data = start + random.normal(0, 0.05, 60)
    white = Whitening.of(frequency, error)
    found = fit(lambda u: start + u @ slope + 0j, data, white, np.zeros(4), np.ones(4, bool))
    covariance = covariance_of(error, frequency)
    exact = multivariate_normal(start, covariance + slope.T @ slope).logpdf(data)
    of_all = -(white.logdet + 60 * math.log(2 * math.pi)) / 2
    assert math.isclose(found.evidence + of_all, exact, rel_tol=1e-9)
    # the fit is the mean of u given the data, S J K^-1 r with S = (1 + J K^-1 J')^-1, and S their covariance
    inverse = np.linalg.inv(covariance)
    spread = np.linalg.inv(np.eye(4) + slope @ inverse @ slope.T)
    np.testing.assert_allclose(found.u, spread @ slope @ inverse @ (data - start), atol=1e-9)
    np.testing.assert_allclose(found.covariance, spread, rtol=1e-9)


def test_an_unknown_that_does_not_matter_stays_as_it_was() -> None:
    frequency = np.geomspace(20, 20e3, 40)
    data = np.full(40, 0.1)
    active = np.array([True, False])
    white = Whitening.of(frequency, Error.usual(angle=False))
    found = fit(lambda u: 0.1 * u[:, :1] + np.zeros(40) + 0j, data, white, np.zeros(2), active)
    assert 0.9 < found.u[0] < 1
    assert found.u[1] == 0
    assert not found.covariance[1].any()


def test_residuals_of_the_stated_error_become_white() -> None:
    """Drawn from the covariance by another factor of it, its eigenvectors: mean square one within 4 sd."""
    frequency = np.geomspace(20, 20e3, 120)
    error = Error.usual(angle=True)
    values, vectors = np.linalg.eigh(covariance_of(error, frequency))
    drawn = np.random.default_rng(2).normal(0, 1, (2, 400, 120)) * np.sqrt(values) @ vectors.T
    white = Whitening.of(frequency, error)(drawn[0] + 1j * drawn[1])
    assert white.shape == (400, 240)
    assert abs(np.mean(white**2) - 1) < 4 * math.sqrt(2 / white.size)


def test_an_angle_comes_back_round() -> None:
    white = Whitening.of(np.geomspace(20, 20e3, 30), Error.usual(angle=True))
    small = np.full(30, 0.01j)
    np.testing.assert_allclose(white(small + 2j * np.pi), white(small), atol=1e-9)


@pytest.mark.parametrize(("floor", "noise"), [(0.022, 0.004), (0.022, 0.01), (0.07, 0.004), (0.07, 0.025)])
def test_the_size_of_the_error_is_found(floor: float, noise: float) -> None:
    """Data drawn with one error or another over ten octaves, with phase: the one that made them is the likeliest.

    A floor of 2.2 % below noise of 2.5 % is not told from the usual 3 %.
    """
    frequency = np.geomspace(20, 20e3, 120)
    error = Error(floor, noise, angle=True)
    factor = np.linalg.cholesky(covariance_of(error, frequency))
    drawn = factor @ np.random.default_rng(3).normal(0, 1, (120, 2)) @ np.array([1, 1j])
    white = Whitening.of(frequency, Error.usual(angle=True))
    found = fit(lambda u: u[:, :1] * 0.01 + np.zeros(120) + 0j, drawn, white, np.zeros(1), np.ones(1, bool))
    assert likely_error(frequency, drawn, found) == error
