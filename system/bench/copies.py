"""Copies of one board in one cabinet as an impedance meter sees them, many at once.

How a copy differs is written in standard normal numbers, one for each thing that may differ (`Layout`): the meter's
gain; of each kind of driver fs, qts, qms, re, and size and slope of the voice coil's inductance, or of one known by
an impedance table where it lies in frequency, its level and the height of its peak; by how much each of several like
drivers differs from that; each part's value and loss; the chambers. fs is taken as a little high, and may be higher
by more than lower: suspensions are stiff when they are new.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from enclosures.driver import Driver
from filters.elimination import solve_builds
from filters.network import Element, Network
from filters.parts import Resistor
from filters.topology import Groups, islands
from system import tabulated
from system.bench.cabinets import Difference, chamber_words, differences, inhabited
from system.bench.faults import Fault, leak_place
from system.build import ENCLOSURES, Build, Cell, build
from system.builds import VALUES, inverse, members, tolerance
from system.kit import ROOM_TEMPERATURE, Chamber, DriverData, Kit, Part, Variant

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# Standard deviations; common practice, no source.
GAIN = 0.007  # of the meter
OF_SPREAD = 0.6  # of a driver's stated spread, which few copies pass
FS_CENTRE, FS_DOWN, FS_UP = 0.2, 0.65, 0.9  # of the spread of fs: new drivers
OWN_SHARE = 0.4  # of the spread, between drivers of one delivery
QMS = 0.12
COIL, COIL_SLOPE = 0.15, 0.08  # of a voice coil's inductance: its logarithm, and a power of frequency
WARP, HEIGHT = 0.07, 0.12  # of an impedance table: in frequency, and of ln(Z/re)
LOSS = {"coil": 0.1, "capacitor": 0.4, "resistor": 0.0}
TABLE_PER_OCTAVE = 24
COIL_CENTRE = 1000.0  # Hz, where the slope changes nothing
TIE = 1e9  # ohm
LEAST_OHM, MOST_OHM = 1e-2, 1e5  # what a meter shows at all
# Where the air of a chamber is worked out, standard deviations; splines between them are within 1 % of Z.
NODES = np.linspace(-2.5, 2.5, 5)
WIDE_NODES = np.linspace(-2.5, 2.5, 17)


@dataclass(frozen=True, slots=True)
class Layout:
    """The names of all that may differ in a copy of a variant, whatever mistake is in it; one column each."""

    names: tuple[str, ...]

    @classmethod
    def of(cls, variant: Variant, extra: Sequence[str]) -> Layout:
        """`extra` are the chambers' own, by word and difference."""
        names = ["gain"]
        hookups: dict[str, list[str]] = {}
        for name, hookup in variant.hookups.items():
            hookups.setdefault(hookup.driver.name, []).append(name)
        for driver, alike in hookups.items():
            data = variant.hookups[alike[0]].driver
            common = ("warp", "re", "height") if _by_table(data) else ("fs", "qts", "qms", "re", "coil", "slope")
            names += [f"{driver} {what}" for what in common]
            own = ("warp", "re") if _by_table(data) else ("fs", "qts", "re")
            names += [f"{each} own {what}" for each in alike for what in own if len(alike) > 1]
        for reference, place in variant.places.items():
            names.append(f"{reference} value")
            if place.part.resistance and LOSS[place.part.kind]:
                names.append(f"{reference} loss")
        return cls((*names, *extra))

    def __len__(self) -> int:
        return len(self.names)

    def column(self, u: Floats, name: str) -> Floats:
        """(B,) of (B, P); zero for what does not differ."""
        return u[:, self.names.index(name)] if name in self.names else np.zeros(len(u))


def _by_table(data: DriverData) -> bool:
    return data.impedance is not None and data.small_signal is None


def fs_ratio(deviation: Floats, spread: float) -> Floats:
    """fs over its nominal value where it lies `deviation` standard deviations off: farther upwards than downwards."""
    return np.asarray(np.exp(spread * (FS_CENTRE + np.where(deviation < 0, FS_DOWN, FS_UP) * deviation)))


def figures(layout: Layout, u: Floats, hookup: str, data: DriverData) -> tuple[Floats, Floats, Floats]:
    """fs, qts and re of a driver over their nominal values, each (B,)."""
    spread, own = data.spread, {name: layout.column(u, f"{hookup} own {name}") for name in ("fs", "qts", "re")}
    apart = np.exp(OWN_SHARE * OF_SPREAD * spread.fs * own["fs"])
    fs = fs_ratio(layout.column(u, f"{data.name} fs"), spread.fs) * apart

    def other(name: str, far: float) -> Floats:
        together = layout.column(u, f"{data.name} {name}") + OWN_SHARE * own[name]
        return np.asarray(np.exp(OF_SPREAD * far * together))

    return fs, other("qts", spread.qts), other("re", spread.re)


@dataclass(frozen=True, slots=True, eq=False)
class _Air:
    """The air behind the cones of a cell, S Za S (F, n, n) in kg/s, and by how much it differs, by name: over u."""

    word: str
    mechanical: Complexes
    differing: Mapping[str, CubicSpline]

    def at(self, layout: Layout, u: Floats) -> Complexes:
        """(B, F, n, n), each difference for itself."""
        total = np.broadcast_to(self.mechanical, (len(u), *self.mechanical.shape)).copy()
        for name, spline in self.differing.items():
            x = np.clip(layout.column(u, f"{self.word} {name}"), spline.x[0], spline.x[-1])
            moved = np.flatnonzero(x)
            if moved.size:
                total[moved] += spline(x[moved])
        return total


@dataclass(frozen=True, slots=True, eq=False)
class Acoustics:
    """The drivers of a variant in its cabinet, or in one with a mistake in it, at `frequency` (F,) Hz."""

    model: Build
    frequency: Floats
    airs: tuple[_Air | None, ...]  # of each cell
    tables: Mapping[str, tuple[Floats, Complexes]]  # of drivers known by a table: ln frequency, ln impedance over re

    @classmethod
    def of(cls, kit: Kit, variant: Variant, frequency: Floats, made: Variant, fault: Fault) -> Acoustics:
        """`made` is `variant` with the fault in it; coils at room temperature, since a sweep warms nothing."""
        model = build(kit, cold(made))
        at_fault = chamber_words(variant).get(fault.place)
        airs: list[_Air | None] = []
        before = inhabited(variant)
        words = list(chamber_words(variant))
        now = inhabited(made)
        for i, cell in enumerate(model.cells):
            if cell.enclosure is None:
                airs.append(None)
                continue
            leak = leak_place(variant, fault) if before[i] is at_fault else None
            chamber = now[i] if leak is None else before[i]
            airs.append(_air(model, cell, words[i], now[i], differences(chamber, kit.air, leak), frequency))
        octaves = math.log2(frequency[-1] / frequency[0]) + 2
        even = np.geomspace(frequency[0] / 2, frequency[-1] * 2, TABLE_PER_OCTAVE * math.ceil(octaves))
        tables = {}
        for hookup in made.hookups.values():
            table = hookup.driver.impedance
            if _by_table(hookup.driver) and table is not None:
                known = np.union1d(even, table.frequency)
                values = tabulated.impedance(table, known) / hookup.driver.re
                tables[hookup.driver.name] = np.log(known), np.log(values)
        return cls(model, frequency, tuple(airs), tables)

    @property
    def extra(self) -> tuple[str, ...]:
        """Names of the differences of all chambers."""
        return tuple(f"{air.word} {name}" for air in self.airs if air for name in air.differing)

    @property
    def wide(self) -> tuple[str, ...]:
        """Those of `extra` of which nothing is known but a size: leaks that are faults."""
        return tuple(
            f"{air.word} {name}"
            for air in self.airs
            if air
            for name, spline in air.differing.items()
            if spline.x.size == WIDE_NODES.size
        )

    def loads(self, layout: Layout, u: Floats) -> Complexes:
        """Impedance matrix (B, F, N, N) of the drivers of copies that differ by `u` (B, P)."""
        n = len(self.model.names)
        impedance = np.zeros((len(u), self.frequency.size, n, n), complex)
        for air, cell in zip(self.airs, self.model.cells, strict=True):
            index = np.array(cell.members)
            data = self.model.data[cell.members[0]]
            block = (slice(None), slice(None), index[:, None], index)
            if _by_table(data):
                impedance[block] = self._tabulated(layout, u, cell.members[0])[:, :, None, None]
            else:
                impedance[block] = self._moving(layout, u, cell, air)
        return impedance

    def _tabulated(self, layout: Layout, u: Floats, i: int) -> Complexes:
        data, hookup = self.model.data[i], self.model.names[i]
        known, values = self.tables[data.name]
        far = OF_SPREAD * data.spread.re

        def column(name: str) -> Floats:
            return layout.column(u, f"{data.name} {name}") + OWN_SHARE * layout.column(u, f"{hookup} own {name}")

        x = np.log(self.frequency) - WARP * column("warp")[:, None]
        table = np.interp(x, known, values.real) + 1j * np.interp(x, known, values.imag)
        height = np.exp(HEIGHT * layout.column(u, f"{data.name} height"))[:, None]
        return np.asarray(data.re * np.exp(far * column("re")[:, None] + table * height))

    def _moving(self, layout: Layout, u: Floats, cell: Cell, air: _Air | None) -> Complexes:
        """Ze + B (Zm + S Za S)^-1 B; mms and sd held, cms as 1/fs^2, rms as fs/qms, bl^2 as re fs/qes."""
        omega = 2 * np.pi * self.frequency
        n = len(cell.members)
        matrix = np.zeros((len(u), omega.size, n, n), complex) if air is None else air.at(layout, u)
        bl = np.empty((len(u), n))
        blocked = np.empty((len(u), omega.size, n), complex)
        for row, i in enumerate(cell.members):
            driver, data, name = self.model.moving(i), self.model.data[i], self.model.names[i]
            fs, q, re = figures(layout, u, name, data)
            qms = q * np.exp(QMS * layout.column(u, f"{data.name} qms"))
            bl[:, row] = driver.bl * np.sqrt(re * fs / q)
            reactance = omega * driver.mms - fs[:, None] ** 2 / (omega * driver.cms)
            matrix[:, :, row, row] += (driver.rms * fs / qms)[:, None] + 1j * reactance
            blocked[:, :, row] = (driver.re * re)[:, None] + self._coil(driver, layout, u, data)
        impedance = np.asarray(bl[:, None, :, None] * inverse(matrix) * bl[:, None, None, :])
        each = np.arange(n)
        impedance[:, :, each, each] += blocked
        return impedance

    def _coil(self, driver: Driver, layout: Layout, u: Floats, data: DriverData) -> Complexes:
        size = COIL * layout.column(u, f"{data.name} coil")
        slope = COIL_SLOPE * layout.column(u, f"{data.name} slope")
        turn = np.log(1j * self.frequency / COIL_CENTRE)
        nominal = driver.coil.impedance(2 * np.pi * self.frequency)
        return np.asarray(nominal * np.exp(size[:, None] + slope[:, None] * turn))


def cold(variant: Variant) -> Variant:
    """With all voice coils at the temperature at which `re` is stated: a sweep hardly warms them."""
    hookups = {
        name: replace(hookup, driver=replace(hookup.driver, voice_coil_temperature=ROOM_TEMPERATURE))
        for name, hookup in variant.hookups.items()
    }
    return replace(variant, hookups=hookups)


def _air(model: Build, cell: Cell, word: str, chamber: Chamber, ways: Sequence[Difference], frequency: Floats) -> _Air:
    drivers = [model.moving(i) for i in cell.members]
    present = [model.names[i] for i in cell.members]
    sd = np.array([driver.sd for driver in drivers])

    def mechanical(of: Chamber) -> Complexes:
        enclosure = ENCLOSURES[type(of)](of, present, model.air)
        return np.asarray(sd[:, None] * enclosure.load(2 * np.pi * frequency, model.air, drivers).impedance * sd)

    nominal = mechanical(chamber)
    differing = {}
    for way in ways:
        nodes = WIDE_NODES if way.wide else NODES
        values = np.stack([mechanical(way.changed(float(u))) - nominal if u else 0 * nominal for u in nodes])
        differing[way.name] = CubicSpline(nodes, values)
    return _Air(word, nominal, differing)


@dataclass(frozen=True, slots=True, eq=False)
class Copies:
    """Copies of a variant with a mistake in it: its board on the acoustics of its cabinet."""

    acoustics: Acoustics
    layout: Layout
    network: Network | None  # None: the input is short-circuited
    parts: Mapping[str, Part]  # of the fitted places

    @classmethod
    def of(cls, acoustics: Acoustics, layout: Layout, made: Variant, network: Network) -> Copies:
        parts = {reference: place.part for reference, place in made.places.items() if place.state == "fit"}
        return cls(acoustics, layout, grounded(network), parts)

    @property
    def active(self) -> NDArray[np.bool_]:
        """Which columns (P,) of the layout make a difference: parts that are not fitted do not."""
        empty = set(self.acoustics.model.variant.places) - set(self.parts)
        return np.array([name.removesuffix(" value").removesuffix(" loss") not in empty for name in self.layout.names])

    def log_impedance(self, u: Floats, loads: Complexes | None = None) -> Complexes:
        """ln Z (B, F) at the input terminals, as the meter shows it, of copies that differ by `u` (B, P).

        `loads` are those that `acoustics` gives, where they are at hand.
        """
        gain = GAIN * self.layout.column(u, "gain")[:, None]
        if self.network is None:
            return np.asarray(np.full((len(u), self.acoustics.frequency.size), math.log(LEAST_OHM) + 0j) + gain)
        if loads is None:
            loads = self.acoustics.loads(self.layout, u)
        network = replace(self.network, elements=tuple(self._element(each, u) for each in self.network.elements))
        found = solve_builds(network, 2 * np.pi * self.acoustics.frequency, loads).input_impedance
        size = np.abs(found)
        shown = np.clip(size, LEAST_OHM, MOST_OHM)
        with np.errstate(invalid="ignore"):
            angle = np.where(np.isfinite(size), np.angle(found), 0.0)
        return np.asarray(np.log(shown) + gain + 1j * angle)

    def _element(self, element: Element, u: Floats) -> Element:
        part = self.parts.get(element.reference)
        if part is None:
            return element
        drawn: dict[str, Floats] = {}
        if part.value:
            off = np.exp(value_spread(part) * self.layout.column(u, f"{element.reference} value"))
            drawn[VALUES[type(element.part)]] = part.value * off
        if part.resistance and LOSS[part.kind]:
            loss = np.exp(LOSS[part.kind] * self.layout.column(u, f"{element.reference} loss"))
            drawn[LOSSES[part.kind]] = part.resistance * loss
        return replace(element, part=replace(element.part, **drawn))  # type: ignore[type-var]


LOSSES: Mapping[str, str] = {"coil": "resistance", "capacitor": "series_resistance"}


def value_spread(part: Part) -> float:
    """Standard deviation of the logarithm of a part's value: that of an even law, each member drawn for itself."""
    shares = np.array(members(part) if (part.kind == "capacitor") == (part.made_of_how == "parallel") else ())
    if not shares.size:
        shares = 1 / np.array(members(part)) if 0 not in members(part) else np.ones(1)
    return float(tolerance(part) / math.sqrt(3) * np.sqrt(np.sum((shares / shares.sum()) ** 2)))


def grounded(network: Network) -> Network | None:
    """The network in which nothing hangs in the air: what does is tied to the input by 1 Gohm. None for a short."""
    merged = Groups([network.input[1], network.input[0]])
    for link in network.links:
        merged.join(link.a, link.b)
    if merged.find(network.input[0]) == merged.find(network.input[1]):
        return None
    edges = [(element.plus_point, element.minus_point) for element in network.elements]
    edges += [(load.plus_point, load.minus_point) for load in network.loads]
    edges += [(link.a, link.b) for link in network.links] + [network.input]
    while adrift := islands(network.points, edges, network.input[1]):
        tie = Element(f"tie {adrift[0]}", Resistor(TIE), adrift[0], network.input[1])
        network = replace(network, elements=(*network.elements, tie))
        edges.append((tie.plus_point, tie.minus_point))
    return network
