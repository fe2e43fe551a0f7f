"""Currents of a network's loads per volt in each of their leads: against the network solved anew, and Thevenin."""

from __future__ import annotations

import numpy as np
import pytest

from filters.network import Element, Link, Load, Network, NetworkError, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.ports import port_currents
from filters.thevenin import thevenin

OMEGA = 2 * np.pi * np.geomspace(20, 20e3, 30)
BOARD = Network(
    ("in", "common"),
    (
        Element("C1", Capacitor(100e-6, 0.1), "in", "w"),
        Element("L1", Coil(1e-3, 0.2), "w", "x"),
        Element("C2", Capacitor(6.8e-6), "in", "t"),
        Element("R1", Resistor(2.0), "t", "u"),
    ),
    loads=(Load("a", "x", "m"), Load("b", "m", "common"), Load("c", "common", "u")),  # two of them in series
)


def loads() -> np.ndarray:
    """A passive reciprocal load of three ports, two of which share air."""
    own = 6 + 0.4e-3j * OMEGA
    impedance = np.zeros((OMEGA.size, 3, 3), complex)
    for i in range(3):
        impedance[:, i, i] = own * (1 + 0.1 * i)
    impedance[:, 0, 1] = impedance[:, 1, 0] = 1 / (0.05 + 1e-4j * OMEGA)
    return impedance


def test_added_resistances_change_the_currents_as_said() -> None:
    """I = (1 + Y D)^-1 I0 is the network solved again with D on the diagonal of its load, 1e-10."""
    impedance, added = loads(), np.array([3.0, 0.5, 7.0])
    current, admittance = port_currents(BOARD, OMEGA, impedance, 0.13)
    expected = solve(BOARD, OMEGA, impedance + np.diag(added), 1.0, 0.13).load_current
    found = np.linalg.solve(np.eye(3) + admittance * added, current[..., None])[..., 0]
    np.testing.assert_allclose(found, expected, rtol=1e-10)
    np.testing.assert_allclose(current, solve(BOARD, OMEGA, impedance, 1.0, 0.13).load_current, rtol=1e-12)


def test_reciprocal_and_passive() -> None:
    """The network is reciprocal (Y = Y') and makes no power (the real part of Y has no eigenvalue below zero)."""
    _, admittance = port_currents(BOARD, OMEGA, loads(), 0.13)
    np.testing.assert_allclose(admittance, np.swapaxes(admittance, 1, 2), rtol=1e-9, atol=1e-15)
    real = (admittance + np.conj(np.swapaxes(admittance, 1, 2))) / 2
    assert np.linalg.eigvalsh(real).min() > -1e-12


def test_the_same_as_thevenins_source() -> None:
    """From i = current + A (R i - v - e) and v = Z i with one volt e in a lead: Y = (1 + A (Z - R))^-1 A, 1e-10."""
    impedance = loads()
    seen = thevenin(BOARD, OMEGA, ["a", "b", "c"], None, 0.13)
    system = np.eye(3) + seen.admittance @ (impedance - seen.resistance * np.eye(3))
    current, admittance = port_currents(BOARD, OMEGA, impedance, 0.13)
    np.testing.assert_allclose(admittance, np.linalg.solve(system, seen.admittance), rtol=1e-10, atol=1e-14)
    np.testing.assert_allclose(current, np.linalg.solve(system, seen.current[..., None])[..., 0], rtol=1e-10)


def test_a_network_without_a_solution_is_refused() -> None:
    shorted = Network(("in", "common"), links=(Link("in", "common"),), loads=(Load("a", "in", "common"),))
    with pytest.raises(NetworkError):
        port_currents(shorted, OMEGA, np.full((OMEGA.size, 1, 1), 8.0))
