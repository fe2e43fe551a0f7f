"""One variant as a netlist in SPICE syntax: crossover, drivers and chambers as an electric circuit, for .ac.

A driver is its dc resistance, its voice coil and a source of Bl times the cone's velocity; its mechanical side is a
node whose volts are that velocity (m/s), with mms as a capacitor, cms as a coil and 1/rms as a resistor to ground,
driven by currents that are forces (the mobility analogy, Firestone, J. Acoust. Soc. Am. 4, 1933). A chamber is a node
whose volts are its pressure (Pa), currents being flows (m3/s). Boxes and ports are exact; what has no lumped
equivalent is a rational fit over 10 Hz to 20 kHz, with its largest error in a comment beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from enclosures.acoustics import Enclosure, electrical_load
from enclosures.air import Air
from enclosures.chamber import AirSpring
from enclosures.driver import Driver, Inductance, PowerLaw, SemiInductance, ShuntedCoil, VoiceCoil
from enclosures.ends import facing_wall_mass, pipe_end
from enclosures.sealed import SealedBox
from enclosures.tuning import port_mass
from enclosures.vented import Port, Radiator, RadiatorBox, VentedBox
from filters.parts import Capacitor, Coil, Part, Resistor
from filters.rational import Rational, fit_within, vector_fit
from filters.realise import driven_poles, eddy_sections, loss_angle, one_port
from filters.spice import GROUND, Sheet
from filters.topology import Groups
from system import tabulated
from system.build import Build, Cell, build
from system.kit import Kit, Variant

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

BAND = (10.0, 20e3)  # Hz
CHECK = 2 * np.pi * np.geomspace(*BAND, 4001)  # where the errors of fits are measured
POLE_TOLERANCE = 3e-4  # of fits by common poles, of the electrical impedance
SLOW = 500.0  # Hz, up to where cones move far
POLES = (8, 12, 16, 24, 32, 48, 64)


def netlist(kit: Kit, variant: Variant, volts: float = 2.83) -> str:
    """The netlist of `variant`, driven by `volts` rms at the amplifier's open-circuit output.

    Raises NetworkError where the circuit has no solution.
    """
    model = build(kit, variant)
    sheet = Sheet(f"{kit.name}, variant {variant.name}")
    sheet.comment("Linear, for .ac only: some parts may be negative. SI units. Volts and currents are rms.")
    points = _crossover(sheet, model, volts)
    senses: list[str] = []
    for number, cell in enumerate(model.cells, start=1):
        senses += _cell(sheet, model, cell, f"chamber{number}", points)
    sheet.comment()
    sheet.command(".options noopac")  # linear: no operating point is needed, and none may exist
    sheet.command(f".ac dec 100 {BAND[0]!r} {BAND[1]!r}")
    currents = [f"i({name})" for name in ("Vamplifier", *senses)]
    sheet.command(" ".join([".print ac", f"v({points[kit.input[0]]})", *currents]))
    return sheet.text()


# -- the crossover


def _crossover(sheet: Sheet, model: Build, volts: float) -> dict[str, str]:
    """Source, parts and couplings; returns the node of every point of the network."""
    network, places = model.network, model.variant.places
    merged = Groups([network.input[1], network.input[0]])
    for link in network.links:
        merged.join(link.a, link.b)
    nodes = {merged.find(network.input[1]): GROUND}
    for point in network.points:
        if merged.find(point) not in nodes:
            nodes[merged.find(point)] = sheet.node(merged.find(point))
    points = {point: nodes[merged.find(point)] for point in network.points}
    for point, node in points.items():
        if node != point:
            sheet.comment(f"Point {point} is node {node}.")
    for place in places.values():
        if place.state != "fit":
            sheet.comment(f"Place {place.reference} between {' and '.join(place.between)}: {place.state}.")

    sheet.comment()
    hot = points[network.input[0]]
    if model.source_resistance:
        inner = sheet.node("amplifier")
        sheet.source("Vamplifier", inner, GROUND, volts)
        sheet.resistor("Ramplifier", inner, hot, model.source_resistance)
    else:
        sheet.source("Vamplifier", hot, GROUND, volts)

    sheet.comment()
    coupled = {name for coupling in network.couplings for name in (coupling.coil_a, coupling.coil_b)}
    coils: dict[str, str] = {}
    for element in network.elements:
        a, b = points[element.plus_point], points[element.minus_point]
        if a == b and element.reference not in coupled:
            sheet.comment(f"{element.reference} is bridged.")
            continue
        first = PARTS[type(element.part)](sheet, element.reference, element.part, a, b)
        coils[element.reference] = first
    for coupling in network.couplings:
        names = coils[coupling.coil_a], coils[coupling.coil_b]
        sheet.coupling(f"K_{coupling.coil_a}_{coupling.coil_b}", *names, coupling.coefficient)
    return points


def _resistor(sheet: Sheet, name: str, part: Resistor, a: str, b: str) -> str:
    return sheet.resistor(name, a, b, _number(part.resistance))


def _coil(sheet: Sheet, name: str, part: Coil, a: str, b: str) -> str:
    if not part.resistance:
        return sheet.coil(name, a, b, _number(part.inductance))
    middle = sheet.node(f"{name}_inner")
    first = sheet.coil(name, a, middle, _number(part.inductance))
    sheet.resistor(f"R_{name}", middle, b, _number(part.resistance))
    return first


def _capacitor(sheet: Sheet, name: str, part: Capacitor, a: str, b: str) -> str:
    capacitance = _number(part.capacitance)
    links = 1 + bool(part.series_resistance) + bool(part.dissipation_factor)
    ends, *rest = sheet.chain(f"{name}_inner", a, b, links)
    first = sheet.capacitor(name, *ends, capacitance)
    if part.leakage_resistance is not None:
        sheet.resistor(f"R_{name}_leak", *ends, _number(part.leakage_resistance))
    if part.series_resistance:
        sheet.resistor(f"R_{name}", *rest.pop(0), _number(part.series_resistance))
    if part.dissipation_factor:
        error = loss_angle(sheet, name, _number(part.dissipation_factor) / capacitance, CHECK, *rest.pop(0))
        sheet.comment(f"Loss angle of {name}: fitted, largest error {_rounded(error)} of its resistance.")
    return first


# One line for each kind of part: what it is made of in the netlist. Each returns the name of its first statement.
PARTS: Mapping[type[Part], Callable[[Sheet, str, Any, str, str], str]] = {
    Resistor: _resistor,
    Capacitor: _capacitor,
    Coil: _coil,
}


# -- drivers and chambers


def _cell(sheet: Sheet, model: Build, cell: Cell, name: str, points: Mapping[str, str]) -> list[str]:
    """The drivers of one cell and what is behind them; returns the names of the sources that sense their currents."""
    names = [model.names[i] for i in cell.members]
    loads = [model.network.loads[i] for i in cell.members]
    terminals = [(points[load.plus_point], points[load.minus_point]) for load in loads]
    sheet.comment()
    table = model.data[cell.members[0]].impedance
    if cell.enclosure is None and table is not None:
        added = model.added_resistances[cell.members[0]]
        fitted, error = _fit_impedance(lambda omega: tabulated.impedance(table, omega / (2 * np.pi)) + added)
        sheet.comment(
            f"Driver {names[0]}: its impedance table, joined by straight lines on logarithmic axes, is fitted;"
            f" largest error {_rounded(error)}, where those lines have their corners."
        )
        return [one_port(sheet, names[0], fitted, *terminals[0])]
    drivers = [model.moving(i) for i in cell.members]
    velocities = [sheet.node(f"{n}_velocity") for n in names]
    senses = []
    for n, driver, ends, velocity in zip(names, drivers, terminals, velocities, strict=True):
        sheet.comment(f"Driver {n}: current i(V_{n}), cone velocity v({velocity}) in m/s, outward.")
        senses.append(_electrical(sheet, n, driver, *ends, velocity))
    enclosure = cell.enclosure
    only_by_fit = any(getattr(enclosure, what, None) is not None for what in ("fill", "along"))
    exact = None if only_by_fit else CHAMBERS.get(type(enclosure))
    if enclosure is not None and exact is None:
        _fitted(sheet, model.air, enclosure, drivers, names, senses, velocities)
        return senses
    for n, driver, sense, velocity in zip(names, drivers, senses, velocities, strict=True):
        sheet.current_by_current(f"F_{n}", velocity, sense, driver.bl)
        sheet.capacitor(f"C_{n}_mms", velocity, GROUND, driver.mms)
        sheet.coil(f"L_{n}_cms", velocity, GROUND, driver.cms)
        sheet.resistor(f"R_{n}_rms", velocity, GROUND, 1 / driver.rms)
    if exact is not None:
        pressure = sheet.node(f"{name}_pressure")
        sheet.comment(f"{type(enclosure).__name__}: v({pressure}) is its pressure in Pa, currents are flows in m3/s.")
        for n, driver, velocity in zip(names, drivers, velocities, strict=True):
            sheet.current_by_volts(f"G_{n}_flow", pressure, velocity, -driver.sd)  # an outward cone draws air
            sheet.current_by_volts(f"G_{n}_force", velocity, pressure, driver.sd)
        exact(sheet, model.air, enclosure, drivers, cell.opening_names, pressure)
    return senses


def _electrical(sheet: Sheet, name: str, driver: Driver, plus: str, minus: str, velocity: str) -> str:
    """Sense, re, voice coil and the motional volts Bl u, from plus to minus; returns the sense's name."""
    sensed, resistance, coil, motional = sheet.chain(f"{name}_inner", plus, minus, 4)
    sense = sheet.sense(f"V_{name}", *sensed)
    sheet.resistor(f"R_{name}", *resistance, driver.re)
    VOICE_COILS[type(driver.coil)](sheet, name, driver.coil, *coil)
    sheet.volts_by_volts(f"E_{name}", *motional, velocity, driver.bl)
    return sense


def _plain_coil(sheet: Sheet, name: str, coil: Inductance, a: str, b: str) -> None:
    if coil.le:
        sheet.coil(f"L_{name}", a, b, coil.le)
    else:
        sheet.resistor(f"R_{name}_le", a, b, 0.0)


def _shunted_coil(sheet: Sheet, name: str, coil: ShuntedCoil, a: str, b: str) -> None:
    middle = a
    if coil.series:
        middle = sheet.node(f"{name}_shunted")
        sheet.coil(f"L_{name}", a, middle, coil.series)
    sheet.coil(f"L_{name}_shunted", middle, b, coil.shunted)
    sheet.resistor(f"R_{name}_shunt", middle, b, coil.shunt_resistance)


def _fitted_coil(sheet: Sheet, name: str, coil: VoiceCoil, a: str, b: str) -> None:
    error = eddy_sections(sheet, name, coil.impedance, CHECK, a, b)
    sheet.comment(f"Voice coil of {name}: fitted, largest error {_rounded(error)} of its impedance.")


# One line for each voice-coil model.
VOICE_COILS: Mapping[type[VoiceCoil], Callable[[Sheet, str, Any, str, str], None]] = {
    Inductance: _plain_coil,
    ShuntedCoil: _shunted_coil,
    PowerLaw: _fitted_coil,
    SemiInductance: _fitted_coil,
}


# -- chambers with an exact equivalent


def _spring(sheet: Sheet, air: Air, spring: AirSpring, resonance: float, pressure: str) -> None:
    """The box's compliance with its absorption in series, and its leak (Small, J. Audio Eng. Soc. 21(5), 1973)."""
    compliance = spring.compliance(air)
    inner = pressure
    if math.isfinite(spring.absorption):
        inner = sheet.node(f"{pressure}_spring")
        sheet.resistor(f"R_{pressure}", pressure, inner, 1 / (2 * math.pi * resonance * compliance * spring.absorption))
    sheet.capacitor(f"C_{pressure}", inner, GROUND, compliance)
    if math.isfinite(spring.leak):
        sheet.comment(f"The leak: i(V_{pressure}_leak) flows out through it.")
        outlet = sheet.node(f"{pressure}_leak")
        sheet.resistor(f"R_{pressure}_leak", pressure, outlet, spring.leak_resistance(air, resonance))
        sheet.sense(f"V_{pressure}_leak", outlet, GROUND)


def _sealed(
    sheet: Sheet, air: Air, box: SealedBox, drivers: Sequence[Driver], _names: Sequence[str], pressure: str
) -> None:
    _spring(sheet, air, AirSpring(box.volume, box.leak, box.absorption), box.resonance(air, drivers), pressure)


def _vented(
    sheet: Sheet, air: Air, box: VentedBox, _drivers: Sequence[Driver], names: Sequence[str], pressure: str
) -> None:
    tuning = box.resonance(air)
    _spring(sheet, air, AirSpring(box.volume, box.leak, box.absorption), tuning, pressure)
    for name, port in zip(names, box.ports, strict=True):
        resistance = 2 * math.pi * tuning * port_mass(port, port.length, air) / box.port_loss / port.count
        _port(sheet, air, port, name, resistance, pressure)


def _port(sheet: Sheet, air: Air, port: Port, name: str, resistance: float, pressure: str) -> None:
    """All of `port.count` like ports: the reactance of the inner end, a lossless line, its resistance, the outer end.

    The reactance alone of an end Z(s) is (Z(s) - Z(-s))/2 on the j omega axis, and -Z(-s) is the same circuit with its
    resistances negative: exact for .ac, and never to be run in the time domain.
    """
    sheet.comment(f"{name}: i(V_{name}) flows out of it. Exact; the inner end has negative resistances.")
    characteristic = air.impedance / port.total_area
    first, second, *facing, duct, loss, outer, flow = sheet.chain(name, pressure, GROUND, 7 if port.clearance else 6)
    _pipe_end(sheet, air, port, port.inner_end, f"{name}_inner_a", first, 0.5, 1)
    _pipe_end(sheet, air, port, port.inner_end, f"{name}_inner_b", second, 0.5, -1)
    if port.clearance:
        mass = facing_wall_mass(port.area, port.inner_end, port.clearance, air) / port.count
        sheet.coil(f"L_{name}_facing", *facing[0], mass)
    sheet.line(f"T_{name}", *duct, characteristic, port.length / air.speed_of_sound)
    sheet.resistor(f"R_{name}", *loss, resistance)
    _pipe_end(sheet, air, port, port.end, f"{name}_outer", outer, 1.0, 1)
    sheet.sense(f"V_{name}", *flow)


def _pipe_end(
    sheet: Sheet, air: Air, port: Port, word: str, name: str, ends: tuple[str, str], share: float, sign: int
) -> None:
    """The open end of a pipe after Silva et al. (J. Sound Vib. 322, 2009), `share` of its impedance, exactly.

    With d = d1 - n1 and s = jka: Z = Zc (d s + d2 s^2)/(2 + (d1 + n1) s + d2 s^2), so by partial fractions
    Zc/Z = 2/(d s) + 1 - g + g s T/(1 + s T), T = d2/d, g = (2 d2/d - 2 n1)/d: a coil, a resistor, and a resistor with a
    capacitor in series, all in parallel. `sign` -1 makes the resistances negative.
    """
    shape = pipe_end(word)
    reach = shape.d1 - shape.n1
    if reach == 0:  # an ideal end
        sheet.sense(f"V_{name}", *ends)
        return
    impedance = share * air.impedance / port.total_area  # Zc
    time = shape.radius(port.area) / air.speed_of_sound  # a/c
    fraction = (2 * shape.d2 / reach - 2 * shape.n1) / reach  # g
    sheet.coil(f"L_{name}", *ends, impedance * time * reach / 2)
    sheet.resistor(f"R_{name}", *ends, sign * impedance / (1 - fraction))
    middle = sheet.node(f"{name}_high")
    sheet.resistor(f"R_{name}_high", ends[0], middle, sign * impedance / fraction)
    sheet.capacitor(f"C_{name}_high", middle, ends[1], shape.d2 / reach * time * fraction / impedance)


def _with_radiators(
    sheet: Sheet, air: Air, box: RadiatorBox, _drivers: Sequence[Driver], names: Sequence[str], pressure: str
) -> None:
    _spring(sheet, air, AirSpring(box.volume, box.leak, box.absorption), box.resonance(air), pressure)
    for name, radiator in zip(names, box.radiators, strict=True):
        _radiator(sheet, radiator, name, pressure)


def _radiator(sheet: Sheet, radiator: Radiator, name: str, pressure: str) -> None:
    """All of `count` like radiators: acoustic mass, compliance and resistance in series."""
    sheet.comment(f"{name}: i(V_{name}) flows out of it.")
    per_flow = 1 / (radiator.sd**2 * radiator.count)
    loss, mass, spring, flow = sheet.chain(name, pressure, GROUND, 4)
    sheet.resistor(f"R_{name}", *loss, radiator.rms * per_flow)
    sheet.coil(f"L_{name}", *mass, radiator.mms * per_flow)
    sheet.capacitor(f"C_{name}", *spring, radiator.cms / per_flow)
    sheet.sense(f"V_{name}", *flow)


# One line for each kind of enclosure that has an exact equivalent; all others, and all that are filled or have depth,
# are fitted.
CHAMBERS: Mapping[type[Enclosure] | type[None], Callable[[Sheet, Air, Any, Sequence[Driver], Sequence[str], str], None]]
CHAMBERS = {SealedBox: _sealed, VentedBox: _vented, RadiatorBox: _with_radiators}


# -- fits by common poles


def _fitted(
    sheet: Sheet,
    air: Air,
    enclosure: Enclosure,
    drivers: Sequence[Driver],
    names: Sequence[str],
    senses: Sequence[str],
    velocities: Sequence[str],
) -> None:
    """Cones, suspensions and chamber together as one mobility, m/s per N, (N, N), and symmetric.

    Fitting what the forces move, not the chamber's impedance, needs no pole that the masses hide, and none without
    damping where the chamber has no loss.
    """
    bl = np.array([driver.bl for driver in drivers])
    upper = np.triu_indices(len(drivers))

    def mobility(omega: Floats) -> Complexes:
        velocity = electrical_load(drivers, enclosure, omega, air).velocity / bl  # per A to per N
        return np.asarray(velocity[:, upper[0], upper[1]])

    def own(values: Complexes) -> Floats:
        """The geometric mean of the two drivers' own values beside each entry (F, N(N+1)/2)."""
        diagonal = np.abs(values[:, upper[0] == upper[1]])
        return np.asarray(np.sqrt(diagonal[:, upper[0]] * diagonal[:, upper[1]]))

    blocked = np.stack([driver.blocked_impedance(CHECK) for driver in drivers], axis=1)[:, upper[0]]
    truth = mobility(CHECK)
    force = bl[upper[0]] * bl[upper[1]]
    electrical = own(np.where(upper[0] == upper[1], blocked, 0) + force * truth)

    def error(fitted: Rational) -> float:
        return float(np.max(np.abs(fitted(CHECK) - truth) * force / electrical))

    # a line's resonances are evenly spaced and equally wide, the rest is logarithmic
    frequency = np.unique(np.concatenate([np.geomspace(*BAND, 500), np.linspace(100, 4000, 700)]))
    omega = 2 * np.pi * frequency
    values = mobility(omega)
    # relative error, but above 1 kHz the blocked coil outweighs the cone more and more
    weights = 1 / (own(values) * (1 + (frequency / 1000) ** 2)[:, None])
    fitted, worst = fit_within(
        POLE_TOLERANCE, POLES, lambda order: vector_fit(omega, values, order, weights, ends=False), error
    )
    slow = float(np.max((np.abs(fitted(CHECK) - truth) / own(truth))[CHECK / (2 * np.pi) <= SLOW]))
    sheet.comment(
        f"{type(enclosure).__name__} with {', '.join(names)}: mobility fitted with {len(fitted.poles)} poles or pairs,"
        f" largest error {_rounded(worst)} of the drivers' impedance,"
        f" {_rounded(slow)} of cone velocity up to {SLOW:g} Hz."
    )
    matrix = np.zeros((len(fitted.poles), len(drivers), len(drivers)), complex)
    matrix[:, upper[0], upper[1]] = matrix[:, upper[1], upper[0]] = fitted.residues
    for velocity, name in zip(velocities, names, strict=True):
        sheet.resistor(f"R_{name}_velocity", velocity, GROUND, 1.0)  # a current into it is a velocity
    drives = [(sense, driver.bl) for sense, driver in zip(senses, drivers, strict=True)]
    driven_poles(sheet, names, fitted.poles, matrix, drives, velocities)


def _fit_impedance(impedance: Callable[[Floats], Complexes]) -> tuple[Rational, float]:
    """A fit of an impedance (F,) with its largest relative error."""
    truth = impedance(CHECK)
    omega = 2 * np.pi * np.geomspace(*BAND, 500)
    values = impedance(omega)
    return fit_within(
        POLE_TOLERANCE,
        POLES,
        lambda order: vector_fit(omega, values, order),
        lambda fitted: float(np.max(np.abs(fitted(CHECK) / truth - 1))),
    )


def _number(value: float | Floats) -> float:
    """The value of a part of a single build."""
    return float(np.asarray(value))


def _rounded(error: float) -> str:
    """Two figures, rounded up."""
    exponent = math.floor(math.log10(error)) - 1 if error > 0 else 0
    return f"{math.ceil(error / 10**exponent) * 10**exponent:.1e}" if error > 0 else "0"
