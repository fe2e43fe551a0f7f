"""Laws that every network of passive parts obeys, on random crossovers with coupled coils and coupled loads."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from filters.network import Element, Link, Load, Network, solve, sweep_branch
from filters.parts import Capacitor, Resistor
from tests.support_networks import diagonal, log_floats, networks, omegas

OMEGA = omegas(count=12)
SETTINGS = settings(max_examples=60, deadline=None, derandomize=True)


def close(found, expected, scale=None):
    """Equal to 1e-9 of the largest that occurs at that frequency."""
    scale = np.max(np.abs(expected)) if scale is None else scale
    assert np.max(np.abs(found - expected) / scale) < 1e-9


@SETTINGS
@given(networks())
def test_power_in_equals_power_out(case):
    network, loads, resistance = case
    solution = solve(network, OMEGA, loads, 2.83, resistance)
    total = solution.element_watts.sum(axis=-1) + solution.load_watts.sum(axis=-1)
    # relative to the apparent power, which the whole sum of Tellegen's theorem moves
    apparent = np.abs(solution.input_volts * solution.input_current)
    moved = np.abs(solution.load_volts * solution.load_current.conj()).sum(axis=-1) + solution.element_watts.sum(
        axis=-1
    )
    close(total, solution.input_watts, np.maximum(apparent, moved))


@SETTINGS
@given(networks())
def test_kirchhoff_at_every_point(case):
    network, loads, resistance = case
    solution = solve(network, OMEGA, loads, 1.0, resistance)
    sums = {point: np.zeros(OMEGA.size, complex) for point in network.points}
    flows = [(e.plus_point, e.minus_point, solution.element_current[:, i]) for i, e in enumerate(network.elements)]
    flows += [(d.plus_point, d.minus_point, solution.load_current[:, i]) for i, d in enumerate(network.loads)]
    flows.append(("common", "in", solution.input_current))
    largest = np.max([np.abs(current) for *_, current in flows], axis=0)
    for plus, minus, current in flows:
        sums[plus] += current
        sums[minus] -= current
    for total in sums.values():
        close(total, 0, largest)


@SETTINGS
@given(networks())
def test_a_passive_network_takes_power(case):
    network, loads, resistance = case
    solution = solve(network, OMEGA, loads, 1.0, resistance)
    assert np.all(solution.input_watts >= -1e-12 * np.abs(solution.input_volts * solution.input_current))
    assert np.all(solution.element_watts >= 0)
    # no more than the source can give, E^2/(4 Rs)
    assert np.all(solution.input_watts <= (1 + 1e-9) / (4 * resistance))


@SETTINGS
@given(networks(), st.floats(0.1, 30))
def test_reciprocity(case, far_resistance):
    """The current at one port for a volt at another is the same the other way round (Rayleigh, 1873)."""
    network, loads, resistance = case
    port = network.loads[0]
    rest = network.loads[1:]
    there = loads.copy()
    there[:, 0, :] = there[:, :, 0] = 0
    there[:, 0, 0] = far_resistance
    forth = solve(network, OMEGA, there, 1.0, resistance).load_current[:, 0]
    # source and load change places; each resistance stays where it is
    turned = replace(network, input=(port.plus_point, port.minus_point), loads=(Load("near", "in", "common"), *rest))
    back_loads = there.copy()
    back_loads[:, 0, 0] = resistance
    solution = solve(turned, OMEGA, back_loads, 1.0, far_resistance)
    # a load's current runs into its plus mark, a source's out of it: one of each both times, so the signs agree
    close(solution.load_current[:, 0], forth, 1 / np.sqrt(resistance * far_resistance))


@SETTINGS
@given(networks(), st.lists(log_floats(0.1, 100), min_size=3, max_size=3, unique=True))
def test_superposition_as_thevenin_states_it(case, ohms):
    """Two resistors at a port give the open volts and the inner impedance, these the current into a third."""
    network, loads, resistance = case
    loads = loads.copy()
    loads[:, 0, :] = loads[:, :, 0] = 0
    currents = []
    for ohm in ohms:
        loads[:, 0, 0] = ohm
        currents.append(solve(network, OMEGA, loads, 1.0, resistance).load_current[:, 0])
    (a, b, c), (i, j, k) = ohms, currents
    # E = I (Z + Zi): I_a (a + Zi) = I_b (b + Zi) = I_c (c + Zi) leaves, without a division,
    close(
        i * j * (a - b) + j * k * (b - c) + k * i * (c - a),
        0,
        np.abs(i * j * a) + np.abs(j * k * b) + np.abs(k * i * c) + 1e-30,
    )


@SETTINGS
@given(networks(), st.sampled_from([0.5, 3.0]))
def test_scaling_impedance_and_volts(case, factor):
    network, loads, resistance = case

    def scaled(part):
        if isinstance(part, Resistor):
            return Resistor(part.resistance * factor)
        if isinstance(part, Capacitor):
            leak = None if part.leakage_resistance is None else part.leakage_resistance * factor
            return replace(
                part,
                capacitance=part.capacitance / factor,
                series_resistance=part.series_resistance * factor,
                leakage_resistance=leak,
            )
        return replace(part, inductance=part.inductance * factor, resistance=part.resistance * factor)

    larger = replace(network, elements=tuple(replace(e, part=scaled(e.part)) for e in network.elements))
    a = solve(network, OMEGA, loads, 1.0, resistance)
    b = solve(larger, OMEGA, loads * factor, factor, resistance * factor)
    close(b.element_current, a.element_current)
    close(b.load_volts, a.load_volts * factor)


@SETTINGS
@given(networks())
def test_a_wire_is_a_link_and_a_link_a_wire(case):
    network, loads, resistance = case
    wire = next(e for e in network.elements if e.reference == "W")
    linked = replace(
        network,
        elements=tuple(e for e in network.elements if e is not wire),
        links=(Link(wire.minus_point, wire.plus_point),),
    )
    a, b = (solve(n, OMEGA, loads, 1.0, resistance) for n in (network, linked))
    close(a.load_current, b.load_current)
    close(a.point_volts["end"], b.point_volts["end"], 1.0)


@SETTINGS
@given(networks(), st.integers(0, 10), st.lists(log_floats(1e-7, 1e-2), min_size=2, max_size=5))
def test_sweeping_any_place_equals_solving_each(case, choice, farads):
    network, loads, resistance = case
    coupled = {name for c in network.couplings for name in (c.coil_a, c.coil_b)}
    free = [e for e in network.elements if e.reference not in coupled]
    place = free[choice % len(free)]
    part = Capacitor(np.array(farads), 0.02)
    swept = sweep_branch(network, place.reference, part.impedance(OMEGA), OMEGA, loads, 1.0, resistance)
    exchanged = tuple(
        Element(e.reference, part, e.plus_point, e.minus_point) if e is place else e for e in network.elements
    )
    direct = solve(replace(network, elements=exchanged), OMEGA, loads, 1.0, resistance)
    close(swept.load_current, direct.load_current)
    close(swept.element_volts, direct.element_volts)
    close(swept.element_current, direct.element_current)
    close(swept.input_current, direct.input_current)


def test_a_passive_two_port_of_drivers_between_any_points():
    """Two drivers in series across the input split the volts by their impedances, whichever way round."""
    a, b = 6 + 1j * OMEGA * 1e-3, 4 + 0 * OMEGA
    network = Network(("in", "common"), loads=(Load("a", "in", "m"), Load("b", "common", "m")))
    solution = solve(network, OMEGA, diagonal(a, b))
    close(solution.load_volts[:, 0], a / (a + b))
    close(solution.load_volts[:, 1], -b / (a + b))
