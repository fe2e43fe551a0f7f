"""From a variant of the kit to physics: enclosures with their drivers, the network, and where everything radiates."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from enclosures.acoustics import Enclosure
from enclosures.air import Air
from enclosures.driver import Driver, Inductance, PowerLaw, SemiInductance, ShuntedCoil, VoiceCoil
from enclosures.fibre import Fill
from enclosures.line import Line, Section
from enclosures.sealed import SealedBox
from enclosures.vented import Port, Radiator, RadiatorBox, VentedBox, tuned_port_length
from filters import network, parts
from system.kit import (
    Chamber,
    Coil,
    Cutout,
    DriverData,
    FillSpec,
    Kit,
    LineChamber,
    Part,
    Place,
    PortSpec,
    RadiatorChamber,
    SealedChamber,
    Variant,
    VentedChamber,
)

VOICE_COILS: Mapping[str, Callable[..., VoiceCoil]] = {
    "le": Inductance,
    "shunted_coil": ShuntedCoil,
    "power_law": PowerLaw,
    "semi_inductance": SemiInductance,
}


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """Drivers that share air: their places in the hookup order, and the enclosure they share (None: closed backs)."""

    members: tuple[int, ...]
    enclosure: Enclosure | None
    opening_names: tuple[str, ...] = ()
    opening_cutouts: tuple[Cutout | None, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Build:
    """One variant as physics. `drivers` follow the hookup order; None stands for one known by its tables only."""

    kit: Kit
    variant: Variant
    air: Air
    drivers: tuple[Driver | None, ...]
    cells: tuple[Cell, ...]
    network: network.Network
    source_resistance: float  # ohm: the amplifier's output and the cable

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.variant.hookups)

    @property
    def data(self) -> tuple[DriverData, ...]:
        return tuple(hookup.driver for hookup in self.variant.hookups.values())

    def moving(self, index: int) -> Driver:
        """The driver at `index` with its small-signal parameters. Raises ValueError where only tables tell of it."""
        driver = self.drivers[index]
        if driver is None:
            raise ValueError(f"driver {self.names[index]} is known by its tables only and cannot be put into a chamber")
        return driver


def build(kit: Kit, variant: Variant) -> Build:
    """Set up the physics of `variant`; whatever could be impossible about it was refused when the kit was read."""
    spec = kit.air
    air = Air(spec.density, spec.speed_of_sound, spec.viscosity, spec.prandtl, spec.heat_ratio)
    return Build(
        kit=kit,
        variant=variant,
        air=air,
        drivers=tuple(_driver(hookup.driver) for hookup in variant.hookups.values()),
        cells=tuple(_cells(variant, air)),
        network=crossover(kit, variant),
        source_resistance=kit.amplifier.output_resistance + kit.amplifier.cable,
    )


def _driver(data: DriverData) -> Driver | None:
    if data.small_signal is None:
        return None
    s = data.small_signal
    return Driver(re=s.re, bl=s.bl, mms=s.mms, cms=s.cms, rms=s.rms, sd=s.sd, coil=_voice_coil(data.coil))


def _voice_coil(coil: Coil | None) -> VoiceCoil:
    return VOICE_COILS[coil.model](**coil.parameters) if coil else Inductance(0.0)


def _cells(variant: Variant, air: Air) -> list[Cell]:
    order = list(variant.hookups)
    cells: list[Cell] = []
    counts: dict[str, int] = {}
    for chamber in variant.cabinet.chambers:
        present = [name for name in chamber.drivers if name in variant.hookups]
        enclosure, openings = ENCLOSURES[type(chamber)](chamber, present, air)
        names = tuple(_numbered(word, counts) for word, _ in openings)
        members = tuple(order.index(name) for name in present)
        if members:  # a chamber without drivers in this variant is silent
            cells.append(Cell(members, enclosure, names, tuple(cutout for _, cutout in openings)))
    housed = {i for cell in cells for i in cell.members}
    cells.extend(Cell((i,), None) for i in range(len(order)) if i not in housed)
    return cells


def _numbered(word: str, counts: dict[str, int]) -> str:
    """`port`, then `port2`, `port3`, ... in file order."""
    counts[word] = counts.get(word, 0) + 1
    return word if counts[word] == 1 else f"{word}{counts[word]}"


def _fill(spec: FillSpec | None) -> Fill | None:
    return Fill(spec.flow_resistivity, spec.model) if spec else None


Housing = tuple[Enclosure, list[tuple[str, Cutout | None]]]  # an enclosure; what its openings are called, and where


def _port(spec: PortSpec, tuned: float | None = None) -> Port:
    """The port as a duct; `tuned` is the length (m) of one whose box states a tuning instead."""
    length = spec.length if spec.length is not None else tuned
    if length is None:
        raise ValueError("a port needs a length, or its box a tuning")
    return Port(spec.area, length, spec.end, spec.inner_end, spec.count)


def _sealed(chamber: SealedChamber, _names: Sequence[str], _air: Air) -> Housing:
    return SealedBox(chamber.volume, chamber.leak, chamber.absorption, _fill(chamber.fill)), []


def _vented(chamber: VentedChamber, _names: Sequence[str], air: Air) -> Housing:
    tuned = tuned_port_length(chamber.volume, chamber.tuning, chamber.ports, air) if chamber.tuning else None
    ports = tuple(_port(spec, tuned) for spec in chamber.ports)
    box = VentedBox(chamber.volume, ports, chamber.leak, chamber.absorption, chamber.port, _fill(chamber.fill))
    return box, [("port", spec.cutout) for spec in chamber.ports]


def _radiator(chamber: RadiatorChamber, _names: Sequence[str], _air: Air) -> Housing:
    radiators = tuple(Radiator(r.sd, r.mms, r.cms, r.rms, r.count) for r in chamber.radiators)
    box = RadiatorBox(chamber.volume, radiators, chamber.leak, chamber.absorption, _fill(chamber.fill))
    return box, [("radiator", spec.cutout) for spec in chamber.radiators]


def _line(chamber: LineChamber, names: Sequence[str], _air: Air) -> Housing:
    sections = tuple(Section(s.length, s.area, s.end_area, s.taper, _fill(s.fill)) for s in chamber.profile)
    place = dict(zip(chamber.drivers, chamber.positions, strict=True))
    mouth = chamber.mouth
    port = _port(mouth.port) if mouth.port else None
    line = Line(sections, tuple(place[name] for name in names), mouth.end, port, chamber.lossy_walls)
    return line, [("mouth", mouth.cutout)]


# One line for each kind of chamber: how its description becomes an enclosure and its named openings.
ENCLOSURES: Mapping[type[Chamber], Callable[..., Housing]] = {
    SealedChamber: _sealed,
    VentedChamber: _vented,
    RadiatorChamber: _radiator,
    LineChamber: _line,
}


def capacitor(part: Part, value: parts.Quantity) -> parts.Capacitor:
    """A capacitor of `value` (F, a number or an array over builds) with the losses of `part`."""
    return parts.Capacitor(
        value, part.resistance, part.dissipation_factor, part.dissipation_at, part.leakage_resistance
    )


PARTS: Mapping[str, Callable[[Part], parts.Part]] = {
    "resistor": lambda part: parts.Resistor(part.value),
    "capacitor": lambda part: capacitor(part, part.value),
    "coil": lambda part: parts.Coil(part.value, part.resistance),
}


def crossover(kit: Kit, variant: Variant) -> network.Network:
    """The variant's network: fitted parts as elements, linked places as links, a driver's pair of marks as a load."""
    places = variant.places.values()
    fitted = [place for place in places if place.state == "fit"]
    present = {place.reference for place in fitted}
    return network.Network(
        input=kit.input,
        elements=tuple(element(place) for place in fitted),
        links=tuple(network.Link(*place.between) for place in places if place.state == "link"),
        couplings=tuple(
            network.Coupling(*coupling.coils, coupling.coefficient)
            for coupling in variant.couplings
            if present.issuperset(coupling.coils)
        ),
        loads=tuple(network.Load(h.name, h.plus, h.minus) for h in variant.hookups.values()),
    )


def element(place: Place) -> network.Element:
    return network.Element(place.reference, PARTS[place.part.kind](place.part), *place.between)
