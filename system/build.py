"""From a variant of the kit to physics: enclosures with their drivers, the network, and where everything radiates."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from enclosures.acoustics import Enclosure
from enclosures.air import Air
from enclosures.bends import Bend
from enclosures.driver import (
    Driver,
    Inductance,
    PowerLaw,
    SemiInductance,
    ShuntedCoil,
    VoiceCoil,
    heated_resistance,
)
from enclosures.fibre import Fill
from enclosures.large_signal import Curve, LargeSignal, Polynomial, Tabulated
from enclosures.line import Line, Mouth, Section
from enclosures.parameters import AIR_LOADS, radiation_mass
from enclosures.sealed import SealedBox
from enclosures.vented import Port, Radiator, RadiatorBox, VentedBox, tuned_port_length
from filters import network, parts
from system.kit import (
    Chamber,
    Coil,
    CurveSpec,
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
    SectionSpec,
    Variant,
    VentedChamber,
)
from system.stray import stray_couplings

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

    @property
    def coil_resistances(self) -> tuple[float, ...]:
        """Of each voice coil at its own temperature, ohm, in the hookup order."""
        return tuple(_resistance(data) for data in self.data)

    @property
    def added_resistances(self) -> tuple[float, ...]:
        """What its temperature adds to each voice coil, ohm: the tables of a driver were measured without it."""
        return tuple(hot - data.re for hot, data in zip(self.coil_resistances, self.data, strict=True))

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
        drivers=tuple(_driver(hookup.driver, air) for hookup in variant.hookups.values()),
        cells=tuple(_cells(variant, air)),
        network=crossover(kit, variant),
        source_resistance=kit.amplifier.output_resistance + kit.amplifier.cable,
    )


def _driver(data: DriverData, air: Air) -> Driver | None:
    """The driver as it is here: its coil warm, and both sides of its cone in the air of a baffle."""
    if data.small_signal is None:
        return None
    s = data.small_signal
    mms = s.mms + AIR_LOADS[data.air_load] * radiation_mass(s.sd, air.density)
    return Driver(re=_resistance(data), bl=s.bl, mms=mms, cms=s.cms, rms=s.rms, sd=s.sd, coil=_voice_coil(data.coil))


def _resistance(data: DriverData) -> float:
    return heated_resistance(data.re, data.voice_coil_temperature, data.winding)


def _voice_coil(coil: Coil | None) -> VoiceCoil:
    return VOICE_COILS[coil.model](**coil.parameters) if coil else Inductance(0.0)


def large_signal(data: DriverData) -> LargeSignal | None:
    """How the driver changes over its excursion; None where its kit says nothing of it."""
    spec = data.large_signal
    return LargeSignal(_curve(spec.bl), _curve(spec.stiffness), _curve(spec.inductance)) if spec else None


def _curve(spec: CurveSpec | None) -> Curve | None:
    if spec is None:
        return None
    return Polynomial(spec.coefficients) if spec.coefficients else Tabulated(spec.places, spec.values)


def _cells(variant: Variant, air: Air) -> list[Cell]:
    order = list(variant.hookups)
    cells: list[Cell] = []
    counts: dict[str, int] = {}
    for chamber in variant.cabinet.chambers:
        present = [name for name in chamber.drivers if name in variant.hookups]
        enclosure = ENCLOSURES[type(chamber)](chamber, present, air)
        names = tuple(_numbered(opening.word, counts) for opening in chamber.openings)
        members = tuple(order.index(name) for name in present)
        if members:  # a chamber without drivers in this variant is silent
            cells.append(Cell(members, enclosure, names, tuple(opening.cutout for opening in chamber.openings)))
    housed = {i for cell in cells for i in cell.members}
    cells.extend(Cell((i,), None) for i in range(len(order)) if i not in housed)
    return cells


def _numbered(word: str, counts: dict[str, int]) -> str:
    """`port`, then `port2`, `port3`, ... in file order."""
    counts[word] = counts.get(word, 0) + 1
    return word if counts[word] == 1 else f"{word}{counts[word]}"


def fill(spec: FillSpec | None) -> Fill | None:
    """The filling, None for none."""
    return Fill(spec.flow_resistivity, spec.model, spec.fibre_density, spec.share) if spec else None


def _port(spec: PortSpec, tuned: float | None = None) -> Port:
    """The port as a duct; `tuned` is the length (m) of one whose box states a tuning instead."""
    length = spec.length if spec.length is not None else tuned
    if length is None:
        raise ValueError("a port needs a length, or its box a tuning")
    return Port(
        spec.area,
        length,
        spec.end,
        spec.inner_end,
        spec.count,
        clearance=spec.clearance,
        hydraulic_ratio=spec.hydraulic_ratio,
    )


def _sealed(chamber: SealedChamber, names: Sequence[str], _air: Air) -> Enclosure:
    box = SealedBox(chamber.volume, chamber.leak, chamber.absorption, fill(chamber.fill))
    if chamber.along is None:
        return box
    return replace(box, along=chamber.along, positions=_positions(chamber, names))


def _positions(chamber: SealedChamber | LineChamber, names: Sequence[str]) -> tuple[float, ...]:
    """Where the drivers `names` of a chamber sit along it, m."""
    place = dict(zip(chamber.drivers, chamber.positions, strict=True))
    return tuple(place[name] for name in names)


def _vented(chamber: VentedChamber, _names: Sequence[str], air: Air) -> Enclosure:
    tuned = tuned_port_length(chamber.volume, chamber.tuning, chamber.ports, air) if chamber.tuning else None
    ports = tuple(_port(spec, tuned) for spec in chamber.ports)
    return VentedBox(chamber.volume, ports, chamber.leak, chamber.absorption, chamber.port, fill(chamber.fill))


def _radiator(chamber: RadiatorChamber, _names: Sequence[str], _air: Air) -> Enclosure:
    radiators = tuple(Radiator(r.sd, r.mms, r.cms, r.rms, r.count) for r in chamber.radiators)
    return RadiatorBox(chamber.volume, radiators, chamber.leak, chamber.absorption, fill(chamber.fill))


def _line(chamber: LineChamber, names: Sequence[str], _air: Air) -> Enclosure:
    return Line(
        tuple(_section(spec) for spec in chamber.profile),
        _positions(chamber, names),
        tuple(Mouth(m.end, _port(m.port) if m.port else None, m.at) for m in chamber.mouths),
        chamber.lossy_walls,
        chamber.step_correction,
    )


def _section(spec: SectionSpec) -> Section:
    bend = Bend(spec.bend.angle, spec.bend.inner_radius, spec.bend.across) if spec.bend else None
    return Section(
        spec.length,
        spec.area,
        spec.end_area,
        spec.taper,
        fill(spec.fill),
        spec.hydraulic_ratio,
        bend.mass_ratio if bend else 1.0,
    )


# One line for each kind of chamber: how its description becomes an enclosure.
ENCLOSURES: Mapping[type[Chamber], Callable[..., Enclosure]] = {
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
            for coupling in (*variant.couplings, *stray_couplings(kit, variant))
            if present.issuperset(coupling.coils)
        ),
        loads=tuple(network.Load(h.name, h.plus, h.minus) for h in variant.hookups.values()),
    )


def element(place: Place) -> network.Element:
    return network.Element(place.reference, PARTS[place.part.kind](place.part), *place.between)
