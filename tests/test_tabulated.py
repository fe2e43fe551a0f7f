"""Measured tables as functions of frequency, against functions known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from system import tabulated
from system.kit import Table

F = np.geomspace(20, 20e3, 200)


def high_pass(frequency: tabulated.Floats, corner: float, q: float) -> tabulated.Complexes:
    s = 1j * frequency / corner
    return np.asarray(s**2 / (1 + s / q + s**2))


def as_table(function: tabulated.Complexes, frequency: tabulated.Floats, phase: bool) -> Table:
    level = 20 * np.log10(np.abs(function) / 20e-6)
    angle = tuple(np.angle(function)) if phase else None
    return Table("response.txt", tuple(frequency), tuple(level), angle)


def test_minimum_phase_of_a_second_order_high_pass() -> None:
    """A second-order high-pass is minimum phase, so its phase follows from its level (Bode 1945): within half a degree
    from a table of twelfth octaves."""
    rows = np.geomspace(10, 100e3, 160)
    found = tabulated.pressure(as_table(high_pass(rows, 800, 0.9), rows, phase=False), F)
    expected = high_pass(F, 800, 0.9)
    turned = np.degrees(np.angle(found / expected))
    assert np.abs(turned).max() < 0.5
    np.testing.assert_allclose(20 * np.log10(np.abs(found / expected)), 0, atol=0.05)


@pytest.mark.parametrize("slope", [-3.0, -1.0, 0.5, 2.0])
def test_minimum_phase_of_a_power_of_frequency(slope: float) -> None:
    """f^n has the phase n 90 degrees, exactly: here a straight line between far ends, seen from the middle."""
    known = np.log(np.array([1e-12, 1e12]))
    phase = tabulated.minimum_phase(known, slope * known, np.log(np.array([1.0, 10.0])))
    np.testing.assert_allclose(phase, slope * np.pi / 2, atol=abs(slope) * 1e-9)


def test_the_tables_own_phase_is_used_where_it_has_one() -> None:
    rows = np.geomspace(20, 20e3, 400)
    delayed = high_pass(rows, 800, 0.9) * np.exp(-2j * np.pi * rows * 0.1e-3)
    found = tabulated.pressure(as_table(delayed, rows, phase=True), F)
    expected = high_pass(F, 800, 0.9) * np.exp(-2j * np.pi * F * 0.1e-3)
    assert np.abs(found / expected - 1).max() < 0.01


@pytest.mark.parametrize("phase", [True, False])
def test_below_its_first_row_a_response_falls_like_a_closed_back(phase: bool) -> None:
    """12 dB an octave and, without a kink in phase, on towards 180 degrees: close to the true second-order curve."""
    rows = np.geomspace(400, 40e3, 300)
    found = tabulated.pressure(as_table(high_pass(rows, 800, 0.7), rows, phase), np.array([50.0, 100.0, 399.0, 401.0]))
    expected = high_pass(np.array([50.0, 100.0, 399.0, 401.0]), 800, 0.7)
    assert 20 * np.log10(np.abs(found[1] / found[0])) == pytest.approx(12.04, abs=0.01)
    assert np.degrees(np.abs(np.angle(found / expected))).max() < 8
    assert abs(np.degrees(np.angle(found[3] / found[2]))) < 1


def test_an_impedance_is_held_beyond_its_table() -> None:
    table = Table("z.txt", (100.0, 1000.0), (4.0, 16.0), (0.0, 0.5))
    found = tabulated.impedance(table, np.array([20.0, 316.227766, 5000.0]))
    np.testing.assert_allclose(np.abs(found), [4, 8, 16])
    np.testing.assert_allclose(np.angle(found), [0, 0.25, 0.5], atol=1e-9)


def test_minimum_phase_of_a_coil_and_resistor() -> None:
    """R + j w L is a minimum-phase impedance; the table ends so high that what it leaves out does not count: a table
    that ends at f_end while still rising loses 2/pi f/f_end rad."""
    rows = np.geomspace(1, 1e8, 500)
    exact = 6 + 2j * np.pi * F * 0.5e-3
    table = Table("z.txt", tuple(rows), tuple(np.abs(6 + 2j * np.pi * rows * 0.5e-3)))
    assert np.degrees(np.abs(np.angle(tabulated.impedance(table, F) / exact))).max() < 0.5
