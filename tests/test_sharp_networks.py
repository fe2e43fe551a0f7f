"""Networks where earlier tests saw no fault: each figure against a closed form or a second method."""

from __future__ import annotations

import numpy as np
import pytest

from filters.elimination import solve_builds
from filters.network import Coupling, Element, Load, Network, NetworkError, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.prototypes import ShapeError, polynomial
from filters.sensitivity import gradients
from filters.thevenin import thevenin
from tests.support_networks import omegas

IN = ("in", "common")
OMEGA = omegas(count=5)


@pytest.mark.parametrize("forward", [True, False])
@pytest.mark.parametrize("where", [[2], [0, 1, 2, 3, 4]])
def test_ports_that_act_one_way_only(where: list[int], forward: bool) -> None:
    """Ports straight across the source carry i = Z^-1 v, whatever Z is; here the first acts on the others alone.

    Such loads are not passive; but a table of measured ones may be one-way by its noise, at some frequencies only.
    """
    for count in (2, 3):
        loads = np.zeros((OMEGA.size, count, count), dtype=complex)
        loads[:, range(count), range(count)] = [5.0, 7.0 + 1j, 9.0][:count]
        if forward:
            loads[where, 1:, 0] = 3.0
        else:
            loads[where, 0, 1:] = 3.0
        network = Network(IN, loads=tuple(Load(f"D{i}", *IN) for i in range(count)))
        expected = np.linalg.inv(loads).sum(axis=2) * 2.0
        for found in (solve_builds(network, OMEGA, loads, 2.0), solve(network, OMEGA, loads, 2.0)):
            np.testing.assert_allclose(found.load_current, expected, rtol=1e-12)
            np.testing.assert_allclose(found.input_impedance, 2.0 / expected.sum(axis=1), rtol=1e-12)


def test_batches_of_loads_in_chunks_are_each_solved_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A divider: V = Z/(R + Z) of the source's; each build's own, however many are taken at once."""
    monkeypatch.setattr("filters.network.MATRICES_AT_ONCE", 2 * OMEGA.size)
    loads = np.linspace(2.0, 8.0, 5)[:, None, None, None] * np.ones((1, OMEGA.size, 1, 1)) + 0j
    network = Network(IN, (Element("R", Resistor(3.0), "in", "a"),), loads=(Load("D", "a", "common"),))
    behind = np.linspace(0.1, 0.5, 5)
    found = solve(network, OMEGA, loads, 1.0, behind)
    expected = (loads / (3.0 + behind[:, None, None, None] + loads))[..., 0, 0]
    np.testing.assert_allclose(found.load_volts[..., 0], expected, rtol=1e-13)


def test_the_frequency_that_has_no_solution_is_the_one_named() -> None:
    """1 mH and 1 mF in series across a source without resistance short it at 1000 rad/s, 159.155 Hz, and only there."""
    elements = (Element("L", Coil(1e-3), "in", "a"), Element("C", Capacitor(1e-3), "a", "common"))
    with pytest.raises(NetworkError, match=r"159\.155 Hz"):
        solve(Network(IN, elements), np.array([500.0, 1000.0, 2000.0, 4000.0]))


@pytest.mark.parametrize("part", [Resistor(3.0), Coil(1e-3), Capacitor(1e-5)])
def test_what_has_both_ends_at_one_point_carries_nothing(part: Resistor | Coil | Capacitor) -> None:
    """No volts stand across it (Kirchhoff), so the divider beside it is as it was."""
    elements = (Element("R", Resistor(3.0), "in", "a"), Element("X", part, "a", "a"))
    found = solve(Network(IN, elements, loads=(Load("D", "a", "common"),)), OMEGA, np.full((5, 1, 1), 6.0 + 0j))
    np.testing.assert_allclose(found.load_volts[:, 0], 2.0 / 3.0, rtol=1e-14)
    np.testing.assert_allclose(found.element_current[:, 1], 0.0, atol=1e-15)


def test_one_wrong_number_among_many_is_refused() -> None:
    for wrong in (np.array([1.0, -1e-9, 2.0]), np.array([1.0, np.nan]), -1.0):
        with pytest.raises(ValueError, match="must not be negative"):
            Resistor(wrong)
    assert len(polynomial("butterworth", 10)) == 11
    with pytest.raises(ShapeError):
        polynomial("butterworth", 11)


def test_two_loads_behind_one_resistance_see_it_as_mutual() -> None:
    """A T of resistances has the impedance matrix [[a + c, c], [c, b + c]], and all of the volts (two-ports)."""
    elements = (
        Element("C", Resistor(0.7), "in", "m"),
        Element("A", Resistor(2.0), "m", "a"),
        Element("B", Resistor(5.0), "m", "b"),
    )
    network = Network(IN, elements, loads=(Load("D1", "a", "common"), Load("D2", "b", "common")))
    seen = thevenin(network, OMEGA, ["D1", "D2"], volts=3.0)
    np.testing.assert_allclose(seen.impedance, np.broadcast_to([[2.7, 0.7], [0.7, 5.7]], (5, 2, 2)), atol=1e-12)
    np.testing.assert_allclose(seen.volts, np.full((5, 2), 3.0), atol=1e-12)


@pytest.mark.parametrize("short", [1e-3, 1e-6, 1e-9, 1e-11])
def test_three_coils_coupled_almost_without_a_leak(short: float) -> None:
    """In series, equal and equally coupled: 3 L + 6 k L (mutual inductances of coils that carry one current)."""
    ends = ["in", "a", "b", "c"]
    coils = [Element(f"L{i}", Coil(np.array([1e-3, 2e-3])), ends[i], ends[i + 1]) for i in range(3)]
    pairs = tuple(Coupling(f"L{i}", f"L{j}", 1.0 - short) for i, j in ((0, 1), (0, 2), (1, 2)))
    network = Network(IN, (*coils, Element("R", Resistor(4.0), "c", "common")), couplings=pairs)
    found = solve_builds(network, OMEGA)
    total = np.array([1e-3, 2e-3]) * (3.0 + 6.0 * (1.0 - short))
    np.testing.assert_allclose(found.input_impedance, 4.0 + 1j * OMEGA * total[:, None], rtol=1e-9)


def test_coils_in_a_chain_of_couplings() -> None:
    """The first and the last share no flux: currents are (R + j omega M)^-1 of the volts across all of them."""
    henry = np.array([1e-3, 2e-3, 0.5e-3])
    coils = tuple(Element(f"L{i}", Coil(value, 0.3), *IN) for i, value in enumerate(henry))
    network = Network(IN, coils, couplings=(Coupling("L0", "L1", 0.5), Coupling("L1", "L2", -0.4)))
    factors = np.array([[1.0, 0.5, 0.0], [0.5, 1.0, -0.4], [0.0, -0.4, 1.0]])
    matrix = 0.3 * np.eye(3) + 1j * OMEGA[:, None, None] * factors * np.sqrt(np.outer(henry, henry))
    expected = np.linalg.solve(matrix, np.ones((OMEGA.size, 3, 1)))[..., 0]
    found = solve_builds(network, OMEGA, watched=("L0", "L1", "L2"))
    np.testing.assert_allclose(found.element_current, expected, rtol=1e-11)


def test_two_frequencies_with_volts_of_their_own_one_of_them_direct_current(monkeypatch: pytest.MonkeyPatch) -> None:
    """A capacitor before R carries nothing at 0 Hz; both are solved again there, of every build in every chunk."""
    monkeypatch.setattr("filters.elimination.VALUES_AT_ONCE", 4)
    farad = np.array([1e-6, 2e-6, 3e-6, 4e-6, 5e-6])
    network = Network(IN, (Element("C", Capacitor(farad), "in", "a"), Element("R", Resistor(8.0), "a", "common")))
    omega, volts = np.array([0.0, 2e4]), np.array([3.0, 5.0])
    found = solve_builds(network, omega, None, volts, watched=("R",))
    impedance = 8.0 - 1j / (2e4 * farad)
    np.testing.assert_array_equal(found.element_current[:, 0, 0], 0.0)
    np.testing.assert_allclose(found.element_current[:, 1, 0], 5.0 / impedance, rtol=1e-12)
    assert found.recomputed == farad.size


@pytest.mark.parametrize("place", [(0, 1), (1, 0)])
def test_a_load_that_shares_volts_at_one_frequency_only_is_to_be_named(place: tuple[int, int]) -> None:
    loads = np.zeros((OMEGA.size, 2, 2), dtype=complex)
    loads[:, 0, 0] = loads[:, 1, 1] = 6.0
    loads[3, *place] = 0.5
    network = Network(IN, loads=(Load("D1", *IN), Load("D2", *IN)))
    with pytest.raises(NetworkError, match="name both"):
        thevenin(network, OMEGA, ["D1"], rest_impedance=loads)


def test_to_direct_current_a_capacitor_is_its_leakage_alone() -> None:
    """Neither its farads nor a loss angle that is stated as none do anything."""
    omega = np.array([0.0])
    part = Capacitor(1e-6, dissipation_factor=0.0, dissipation_at=1e3, leakage_resistance=50e3)
    network = Network(IN, (Element("C", part, "in", "a"), Element("R", Resistor(1e3), "a", "common")))
    found = gradients(network, omega, None, np.zeros((1, 0, 0)))
    np.testing.assert_allclose(found.input_by_value[0], [0.0, 1.0], atol=1e-12)
    assert part.impedance(omega)[0] == pytest.approx(50e3, rel=1e-12)


@pytest.mark.parametrize("wrong", [-1.0, np.nan, np.inf])
@pytest.mark.parametrize("place", [0, 2])
def test_one_frequency_that_is_none_among_others_is_refused(place: int, wrong: float) -> None:
    omega = np.array([100.0, 200.0, 300.0])
    omega[place] = wrong
    network = Network(IN, (Element("R", Resistor(8.0), *IN),))
    for by in (solve, solve_builds):
        with pytest.raises(NetworkError, match="finite numbers from zero up"):
            by(network, omega)
