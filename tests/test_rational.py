import numpy as np
import pytest

from filters.rational import Rational, fit_within, positive_sum, vector_fit
from filters.spice import Sheet

OMEGA = 2 * np.pi * np.geomspace(10, 20e3, 300)

KNOWN = Rational(
    poles=np.array([-300.0, -5e4, -40 + 400j, -800 + 9000j]),
    residues=np.array([[200.0, -50], [3e4, 1e4], [30 - 20j, 5j], [700 + 300j, -400 + 0j]]),
    constant=np.array([5.0, 2.0]),
    slope=np.array([1e-4, 0.0]),
)


def test_a_rational_function_is_found_again():
    """As Gustavsen & Semlyen (1999) test it: values of a known function give its poles and residues back."""
    found = vector_fit(OMEGA, KNOWN(OMEGA), 6)
    np.testing.assert_allclose(found(OMEGA), KNOWN(OMEGA), rtol=1e-9)
    order = np.argsort(np.abs(found.poles))
    known = np.argsort(np.abs(KNOWN.poles))
    np.testing.assert_allclose(found.poles[order], KNOWN.poles[known], rtol=1e-6)
    np.testing.assert_allclose(found.residues[order], KNOWN.residues[known], rtol=1e-5, atol=1e-3)
    np.testing.assert_allclose(found.constant, KNOWN.constant, rtol=1e-6)
    np.testing.assert_allclose(found.slope, KNOWN.slope, atol=1e-9)


def test_values_of_a_rational_function():
    s = 1j * OMEGA
    pair = (30 - 20j) / (s + 40 - 400j) + (30 + 20j) / (s + 40 + 400j)
    other = (700 + 300j) / (s + 800 - 9000j) + (700 - 300j) / (s + 800 + 9000j)
    np.testing.assert_allclose(KNOWN(OMEGA)[:, 0], 5 + 1e-4 * s + 200 / (s + 300) + 3e4 / (s + 5e4) + pair + other)


def test_without_ends_the_fit_vanishes_at_high_frequency():
    resonance = 1j * OMEGA / (2e5 + 30j * OMEGA - OMEGA**2)
    found = vector_fit(OMEGA, resonance[:, None], 2, ends=False)
    assert not found.constant.any()
    assert not found.slope.any()
    np.testing.assert_allclose(found(OMEGA)[:, 0], resonance, rtol=1e-9)
    assert np.all(found.poles.real < 0)


def test_poles_stay_on_the_left_for_a_delay():
    # e^{-s T} is no rational function: the fit must be stable and get better with the order
    delay = np.exp(-1j * OMEGA * 1e-4)
    errors = []
    for order in (6, 12, 20):
        found = vector_fit(OMEGA, delay, order)
        assert np.all(found.poles.real < 0)
        errors.append(np.max(np.abs(found(OMEGA) - delay)))
    assert errors[0] > 10 * errors[1]
    assert errors[2] < 1e-4


def test_orders_are_tried_until_one_is_good_enough():
    tried = []

    def fit(order):
        tried.append(order)
        return vector_fit(OMEGA, KNOWN(OMEGA), order)

    def error(found):
        return float(np.max(np.abs(found(OMEGA) / KNOWN(OMEGA) - 1)))

    found, worst = fit_within(1e-6, (2, 4, 6, 8), fit, error)
    assert tried == [2, 4, 6]
    assert worst == error(found) < 1e-6
    assert fit_within(0.0, (2, 6), fit, error)[1] <= worst * (1 + 1e-9)
    with pytest.raises(ValueError, match="no order to try"):
        fit_within(0.0, (), fit, error)


def test_positive_weights_are_found_again():
    corners = np.array([100.0, 1e3, 1e4])
    functions = 1j * OMEGA[:, None] / (1j * OMEGA[:, None] + corners)
    np.testing.assert_allclose(positive_sum(functions, functions @ [2.0, 0.0, 5.0]), [2, 0, 5], atol=1e-9)
    assert np.all(positive_sum(functions, functions @ [2.0, -1.0, 5.0]) >= 0)


def test_what_is_no_number_is_not_written():
    sheet = Sheet("title")
    with pytest.raises(ValueError, match="inf is not a value"):
        sheet.resistor("R1", "a", "0", np.inf)
