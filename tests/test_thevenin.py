"""What some loads see of a network: against the direct solution with linear loads, closed forms, and reciprocity."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters.network import Element, Load, Network, NetworkError, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.thevenin import Seen, thevenin
from tests.support_networks import diagonal, networks, omegas, woofer_impedance

OMEGA = omegas(count=12)
IN = ("in", "common")


def with_loads(seen: Seen, impedance: np.ndarray) -> np.ndarray:
    """Currents (F, D) into linear loads (F, D, D): v = Z i in i = current + admittance (R i - v)."""
    each = np.eye(impedance.shape[1])
    matrix = each + seen.admittance @ (impedance - seen.resistance * each)
    return np.linalg.solve(matrix, seen.current[..., None])[..., 0]


@given(networks(OMEGA), st.data())
def test_linear_loads_on_it_are_the_direct_solution_and_it_is_reciprocal(case, data) -> None:
    """Any passive crossover, any choice of its loads that share no chamber with the rest, in any order."""
    network, loads, resistance = case
    names = [load.name for load in network.loads]
    chosen = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    at = [names.index(name) for name in chosen]
    rest = [i for i in range(len(names)) if i not in at]
    for i in rest:
        loads[:, i, at] = loads[:, at, i] = 0.0
    direct = solve(network, OMEGA, loads, 2.0, resistance)
    seen = thevenin(network, OMEGA, chosen, loads, resistance, 2.0)
    own = loads[:, at][:, :, at]
    current = with_loads(seen, own)
    size = np.abs(direct.load_current).max(axis=1, keepdims=True)
    np.testing.assert_allclose(current / size, direct.load_current[:, at] / size, atol=1e-8)
    largest = np.abs(seen.admittance).max(axis=(1, 2), keepdims=True)
    np.testing.assert_allclose(seen.admittance / largest, np.swapaxes(seen.admittance, 1, 2) / largest, atol=1e-9)
    # a passive network gives out no power: the hermitian part of its admittance has no eigenvalue below zero
    hermitian = (seen.admittance + np.conj(np.swapaxes(seen.admittance, 1, 2))) / 2
    assert (np.linalg.eigvalsh(hermitian).min(axis=1) > -1e-9 * largest[:, 0, 0]).all()


def test_a_divider() -> None:
    """E = V R2/(R0 + R1 + R2), Z = R2 || (R0 + R1) (Thevenin 1883; any text on circuits)."""
    parts = (Element("R1", Resistor(3.0), "in", "a"), Element("R2", Resistor(4.0), "a", "common"))
    seen = thevenin(Network(IN, parts, loads=(Load("w", "a", "common"),)), OMEGA, ["w"], None, 1.0, 10.0)
    np.testing.assert_allclose(seen.volts, np.full((12, 1), 5.0))
    np.testing.assert_allclose(seen.impedance, np.full((12, 1, 1), 2.0))


def test_a_second_order_low_pass_turned_round() -> None:
    """E = V/(1 + jw R C - w^2 L C), Z = (R + jw L) || 1/(jw C); a load wired the other way round has -E."""
    inductance, resistance, capacitance = 1.5e-3, 0.4, 22e-6
    parts = (
        Element("L", Coil(inductance, resistance), "in", "a"),
        Element("C", Capacitor(capacitance), "a", "common"),
    )
    seen = thevenin(Network(IN, parts, loads=(Load("w", "common", "a"),)), OMEGA, ["w"])
    s = 1j * OMEGA
    series = resistance + s * inductance
    np.testing.assert_allclose(seen.volts[:, 0], -1 / (1 + s * capacitance * series), rtol=1e-10)
    np.testing.assert_allclose(seen.impedance[:, 0, 0], series / (1 + s * capacitance * series), rtol=1e-9)


def test_two_in_series_see_an_open_circuit_and_are_still_told_everything() -> None:
    """Through R at each the loop is 2 R: every entry of the admittance is 1/(2 R)."""
    network = Network(IN, loads=(Load("a", "in", "x"), Load("b", "x", "common")))
    seen = thevenin(network, OMEGA, ["a", "b"])
    np.testing.assert_allclose(seen.admittance, np.full((12, 2, 2), 1 / (2 * seen.resistance)))
    own = woofer_impedance(OMEGA, 6.1, 0.45e-3, 30.0, 0.03, 0.4e-3)
    np.testing.assert_allclose(with_loads(seen, diagonal(own, 2 * own)), np.stack([1 / (3 * own)] * 2, axis=1))
    with pytest.raises(np.linalg.LinAlgError):
        _ = seen.impedance


def test_a_series_capacitor_lets_no_direct_current_through() -> None:
    network = Network(IN, (Element("C", Capacitor(100e-6), "in", "a"),), loads=(Load("w", "a", "common"),))
    seen = thevenin(network, np.array([0.0, 1000.0]), ["w"])
    assert seen.admittance[0, 0, 0] == 0
    assert seen.current[0, 0] == 0
    np.testing.assert_allclose(seen.admittance[1, 0, 0], 1 / (8 - 10j))


def test_the_loads_that_stay_are_part_of_the_network() -> None:
    """A tweeter across a series resistor: Z = R || Zt for the woofer beside it, and its volts the divider's."""
    parts = (Element("R", Resistor(2.0), "in", "a"),)
    network = Network(IN, parts, loads=(Load("tweeter", "a", "common"), Load("woofer", "a", "common")))
    tweeter = 5.0 + 0.1e-3j * OMEGA
    seen = thevenin(network, OMEGA, ["woofer"], diagonal(tweeter, np.full(12, np.pi)))
    np.testing.assert_allclose(seen.impedance[:, 0, 0], 2 * tweeter / (2 + tweeter), rtol=1e-12)
    np.testing.assert_allclose(seen.volts[:, 0], tweeter / (2 + tweeter), rtol=1e-12)


def test_what_cannot_be_asked() -> None:
    loads = (Load("a", "in", "common"), Load("b", "in", "common"), Load("c", "in", "common"))
    network = Network(IN, loads=loads)
    coupled = diagonal(*(np.full(12, 8.0 + 0j) for _ in loads))
    coupled[:, 1, 0] = coupled[:, 0, 1] = 1.0
    with pytest.raises(NetworkError, match="z is not a load"):
        thevenin(network, OMEGA, ["z"], coupled)
    with pytest.raises(NetworkError, match="named twice"):
        thevenin(network, OMEGA, ["c", "c"], coupled)
    with pytest.raises(NetworkError, match="stay linear need an impedance"):
        thevenin(network, OMEGA, ["c"])
    with pytest.raises(NetworkError, match="impedance of shape"):
        thevenin(network, OMEGA, ["c"], coupled[:, :2, :2])
    with pytest.raises(NetworkError, match="b has volts from the current of a") as caught:
        thevenin(network, OMEGA, ["a"], coupled)
    assert caught.value.names == ("b", "a")
    assert thevenin(network, OMEGA, ["b", "a"], coupled, 0.5).current.shape == (12, 2)
