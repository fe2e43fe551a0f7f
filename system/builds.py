"""Copies of a kit: values drawn within their tolerances, and the acoustics of many copies at once.

What is drawn: the value of every part (each member of a group apart), and of every driver, copy by copy, fs, qts, re,
the level of its response table and its linear excursion. What is held: the losses of parts (the dc resistance of a
coil, the series resistance of a capacitor; a dissipation factor makes its resistance follow the value), the inductance
of voice coils, mms and sd, the cabinets with their leaks. A part that was measured is drawn about what is printed on
it: the copies have others.

Every place and driver has a random stream of its own, found by its name: a draw does not hang on what else there is,
and what several variants have in common lies alike in all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from filters.network import Element, Network
from filters.parts import Capacitor, Coil, Resistor
from system.build import Build, Cell
from system.kit import DriverData, Kit, Part, Variant
from system.predict import PEAK
from system.resolve_parts import group_value
from system.transfer import Motion, Paths, Transfer, joined_tables, motion, table_over_piston, table_share, transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# Of a part whose kit gives none; common practice, no source.
ASSUMED_TOLERANCES: Mapping[str, float] = {"capacitor": 0.10, "resistor": 0.05, "coil": 0.05}
NORMAL_REACH = 2.0  # standard deviations to which a normal law goes: the tolerance
COPIES_AT_ONCE = 30_000  # values of one array over copies and frequencies: some tens of megabytes in all


def _normal(uniform: Floats) -> Floats:
    """Quantiles of the normal law cut off at `NORMAL_REACH`, over that."""
    from scipy.special import ndtr, ndtri  # takes an eighth of a second to load

    tail = ndtr(-NORMAL_REACH)
    return np.asarray(ndtri(tail + uniform * (1 - 2 * tail)) / NORMAL_REACH)


# How a value lies within its tolerance: from an even draw of 0 to 1 to -1 to 1.
LAWS: Mapping[str, Callable[[Floats], Floats]] = {"uniform": lambda uniform: 2 * uniform - 1, "normal": _normal}
_DENSITY = math.exp(-(NORMAL_REACH**2) / 2) / math.sqrt(2 * math.pi)
# Variance of each over the square of the tolerance. A law cut off at +-a standard deviations has 1 - 2 a phi(a)/(2
# Phi(a) - 1) of its whole variance (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, 1994, 10.1).
VARIANCES: Mapping[str, float] = {
    "uniform": 1 / 3,
    "normal": (1 - 2 * NORMAL_REACH * _DENSITY / math.erf(NORMAL_REACH / math.sqrt(2))) / NORMAL_REACH**2,
}


def deviations(name: str, count: int, seed: int, law: str) -> Floats:
    """`count` deviations from -1 to 1 in shares of a tolerance, (B,), from the stream of this name."""
    stream = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, crc32(name.encode())])))
    return LAWS[law](stream.random(count))


def tolerance(part: Part) -> float:
    """Of a part as the kit gives it, else the usual one of its kind."""
    return ASSUMED_TOLERANCES[part.kind] if part.tolerance is None else part.tolerance


def members(part: Part) -> tuple[float, ...]:
    """The values (SI) of all that a place is made of, as they are marked; one for a single part."""
    return part.made_of or (part.marked,)


def part_values(reference: str, part: Part, count: int, seed: int, law: str) -> Floats:
    """Values (B,) of a part in the place `reference`, each member of a group drawn apart."""
    nominal = members(part)
    whole = group_value(part.kind, nominal, part.made_of_how)
    if whole == 0:
        return np.zeros(count)
    far = tolerance(part)
    drawn = tuple(
        value * (1 + far * deviations(f"part {reference} {i}", count, seed, law)) for i, value in enumerate(nominal)
    )
    adds = (part.made_of_how == "parallel") == (part.kind == "capacitor")
    together = sum(drawn) if adds else 1 / sum(1 / values for values in drawn)
    return np.asarray(part.marked * together / whole)  # a group may be a little off what its place says


def figures(data: DriverData) -> tuple[str, ...]:
    """The figures in which copies of a driver differ, as far as it has them."""
    has = {
        "fs": data.small_signal is not None,
        "qts": data.small_signal is not None,
        "re": True,
        "level": data.response is not None,
        "linear_excursion": data.linear_excursion is not None,
    }
    return tuple(name for name, there in has.items() if there)


@dataclass(frozen=True, slots=True, eq=False)
class DriverFactors:
    """Of one driver: each figure over its nominal one, (B,), one for what it lacks; `level` as a ratio of pressures."""

    fs: Floats
    qts: Floats
    re: Floats
    level: Floats
    linear_excursion: Floats

    @classmethod
    def of(cls, deviation: Callable[[str], Floats], data: DriverData) -> DriverFactors:
        """From the deviations (B,) in shares of the driver's spread, by the name of each figure."""
        factors = {each.name: deviation(each.name) for each in fields(cls)}
        for name, drawn in factors.items():
            far = getattr(data.spread, name) if name in figures(data) else 0.0
            factors[name] = 10 ** (far * drawn / 20) if name == "level" else 1 + far * drawn
        return cls(**factors)

    def some(self, builds: slice) -> DriverFactors:
        return DriverFactors(*(getattr(self, each.name)[builds] for each in fields(self)))


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """`builds` copies of one variant: part `values` (B,) by reference in SI, `drivers` by the name of their hookup.

    Without any `drivers` they are the nominal ones. `assumed` are the references of fitted parts whose kit gives no
    tolerance.
    """

    builds: int
    values: Mapping[str, Floats]
    drivers: Mapping[str, DriverFactors]
    assumed: tuple[str, ...] = ()

    @property
    def of_parts(self) -> Draws:
        """The same parts on the nominal drivers."""
        return replace(self, drivers={})

    def some(self, builds: slice) -> Draws:
        """Those copies only."""
        return Draws(
            len(range(*builds.indices(self.builds))),
            {reference: values[builds] for reference, values in self.values.items()},
            {name: factors.some(builds) for name, factors in self.drivers.items()},
            self.assumed,
        )


def draw(kit: Kit, variant: Variant, count: int, seed: int, law: str | None = None) -> Draws:
    """`count` copies of a variant, all places of its board (fitted or not) and all its drivers.

    `law` is one of `LAWS`, that of the kit where it is None. The same seed gives the same copies.
    """
    law = law or kit.spread.law

    def factors(hookup: str, data: DriverData) -> DriverFactors:
        return DriverFactors.of(lambda figure: deviations(f"driver {hookup} {figure}", count, seed, law), data)

    return Draws(
        builds=count,
        values={
            reference: part_values(reference, place.part, count, seed, law)
            for reference, place in variant.places.items()
        },
        drivers={name: factors(name, hookup.driver) for name, hookup in variant.hookups.items()},
        assumed=tuple(
            reference
            for reference, place in variant.places.items()
            if place.state == "fit" and place.part.tolerance is None
        ),
    )


VALUES: Mapping[type, str] = {Resistor: "resistance", Capacitor: "capacitance", Coil: "inductance"}


def with_values(network: Network, values: Mapping[str, Floats]) -> Network:
    """The network with other values in the places that `values` names, numbers or (B,) in SI."""

    def other(element: Element) -> Element:
        value = values.get(element.reference)
        return element if value is None else replace(element, part=_of_value(element, value))

    return replace(network, elements=tuple(other(element) for element in network.elements))


def _of_value(element: Element, value: Floats) -> Resistor | Capacitor | Coil:
    part = element.part
    assert isinstance(part, Resistor | Capacitor | Coil)
    return replace(part, **{VALUES[type(part)]: value})  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, eq=False)
class Copies:
    """B copies of a build as the crossover, the cones and the ear meet them, per ampere in each of N drivers; rms.

    Where all have the nominal drivers, B of the arrays is 1; the network still has a value for each copy.
    `impedance` (B, F, N, N) ohm; `velocity` (B, F, N, N) m/s/A, zero for drivers known by tables only;
    `total_pressure` (B, F, N) Pa/A at the listening point, the delay of its distance removed.
    """

    frequency: Floats
    network: Network  # its values (B,)
    impedance: Complexes
    velocity: Complexes
    total_pressure: Complexes

    @classmethod
    def of(cls, model: Build, draws: Draws, frequency: Floats, acoustics: Transfer | None = None) -> Copies:
        """All copies at once at `frequency` (F,) Hz; `chunks` of `Common` keep many in bounds."""
        return Common.of(model, frequency, acoustics).copies(draws)

    def pressure(self, current: Complexes) -> Complexes:
        """All together at the listening point, (B, F) Pa rms, for rms currents (B, F, N)."""
        return np.asarray(np.einsum("bfj,bfj->bf", self.total_pressure, current))

    def excursion(self, current: Complexes) -> Floats:
        """One-way peak excursion (B, F, N) in m for rms currents (B, F, N); zero for drivers known by tables only."""
        speed = np.einsum("bfij,bfj->bfi", self.velocity, current)
        return np.asarray(PEAK * np.abs(speed) / (2 * np.pi * self.frequency)[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Common:
    """What all copies of a build have in common: the enclosures, and the way from all that radiates to the listener.

    A copy's cone differs from the nominal one by a mechanical impedance D in series with it, which takes D u from the
    force on it (the compensation theorem). With the velocities u = G f that forces f on the nominal cones make, a
    copy's are

        u = G W i,    W = (1 + D G)^-1 B,    B = diag(bl)

    and whatever else is linear in the forces, an opening's flow or a pressure, follows from the same W. G comes from
    the nominal build, in which the amplitudes of an enclosure are unknowns, so that its poles are ordinary cases here.
    """

    model: Build
    moved: Motion
    nominal: Transfer

    @classmethod
    def of(cls, model: Build, frequency: Floats, acoustics: Transfer | None = None) -> Common:
        """At `frequency` (F,) in Hz; `acoustics` are those of the nominal build there, where they are at hand."""
        paths: Paths | None = acoustics.paths if acoustics is not None else None
        return cls(model, motion(model, frequency), acoustics or transfer(model, frequency, paths))

    def chunks(self, draws: Draws, step: int | None = None) -> Iterator[tuple[slice, Copies]]:
        """The copies in bounds: which they are, and they; `step` at a time."""
        step = step or max(1, COPIES_AT_ONCE // self.moved.frequency.size)
        for start in range(0, draws.builds, step):
            builds = slice(start, min(start + step, draws.builds))
            yield builds, self.copies(draws.some(builds))

    def copies(self, draws: Draws) -> Copies:
        """Each of `draws`, all at once."""
        network = with_values(self.model.network, draws.values)
        frequency = self.moved.frequency
        if not draws.drivers:
            nominal = (self.moved.impedance, self.moved.velocity, self.nominal.total_pressure)
            return Copies(frequency, network, *(array[None] for array in nominal))
        shape = (draws.builds, *self.moved.impedance.shape)
        impedance = np.zeros(shape, complex)
        velocity = np.zeros(shape, complex)
        total = np.zeros(shape[:-1], complex)
        for c, cell in enumerate(self.model.cells):
            index = np.array(cell.members)
            block = (slice(None), slice(None), index[:, None], index)
            impedance[block], velocity[block], total[:, :, index] = self._cell(c, cell, draws)
        return Copies(frequency, network, impedance, velocity, total)

    def _cell(self, c: int, cell: Cell, draws: Draws) -> tuple[Complexes, Complexes, Complexes]:
        """Impedance and velocity (B, F, n, n) of the drivers of a cell, and the pressure (B, F, n) that they make."""
        first = cell.members[0]
        data = self.model.data[first]
        if cell.enclosure is None and data.impedance is not None:
            impedance, velocity = self._tabulated(first, draws)
            weights = None
        else:
            impedance, velocity, weights = self._moving(cell, draws)
        total = np.zeros(impedance.shape[:-1], complex)
        if weights is not None:
            total += np.einsum("fi,bfij->bfj", self._per_force(c, cell), weights)
        for row, i in enumerate(cell.members):
            if self.model.data[i].response is not None:
                total += self._by_table(row, i, impedance, velocity, draws.drivers[self.model.names[i]])
            elif weights is None:
                total += self._piston(i)[:, None] * velocity[:, :, row]
        return impedance, velocity, total

    def _tabulated(self, i: int, draws: Draws) -> tuple[Complexes, Complexes]:
        """A closed back with a measured impedance, which goes with re as a whole; its cone as `motion` has it."""
        factors = draws.drivers[self.model.names[i]]
        impedance = self.moved.impedance[:, i, i] * factors.re[:, None]
        velocity: Complexes = np.zeros_like(impedance)
        if self.model.drivers[i] is not None:
            bl, mechanical, _ = self._driver(i, factors)
            velocity = bl[:, None] / mechanical
        return impedance[:, :, None, None], velocity[:, :, None, None]

    def _moving(self, cell: Cell, draws: Draws) -> tuple[Complexes, Complexes, Complexes]:
        """Impedance, velocity and forces W (B, F, n, n) per ampere, of drivers known by their parameters."""
        index, omega = np.array(cell.members), 2 * np.pi * self.moved.frequency
        mobility = self._over_bl(self.moved.velocity[:, index[:, None], index], cell)  # G
        bl = np.empty((draws.builds, index.size))
        extra = np.empty((draws.builds, omega.size, index.size), complex)  # D
        blocked = np.empty_like(extra)
        for row, i in enumerate(cell.members):
            driver = self.model.moving(i)
            bl[:, row], mechanical, added = self._driver(i, draws.drivers[self.model.names[i]])
            extra[:, :, row] = mechanical - driver.mechanical_impedance(omega)
            blocked[:, :, row] = driver.blocked_impedance(omega) + added[:, None]
        weights: Complexes = np.asarray(
            inverse(np.eye(index.size) + extra[..., None] * mobility) * bl[:, None, None, :]
        )
        velocity: Complexes = np.asarray(mobility @ weights)
        impedance: Complexes = np.asarray(bl[:, None, :, None] * velocity)
        each = np.arange(index.size)
        impedance[:, :, each, each] += blocked
        return impedance, velocity, weights

    def _driver(self, i: int, factors: DriverFactors) -> tuple[Floats, Complexes, Floats]:
        """bl (B,), mechanical impedance (B, F), and what is added to re (B,), of the copies of a driver.

        With mms and the ratio of qms to qes held: cms as 1/fs^2, rms as fs/qts, bl^2 as re fs/qts.
        """
        driver, omega = self.model.moving(i), 2 * np.pi * self.moved.frequency
        of_q = factors.fs / factors.qts
        compliance, resistance = driver.cms / factors.fs**2, driver.rms * of_q
        reactance = omega * driver.mms - 1 / (omega * compliance[:, None])
        return (
            driver.bl * np.sqrt(factors.re * of_q),
            resistance[:, None] + 1j * reactance,
            driver.re * (factors.re - 1),
        )

    def _over_bl(self, per_ampere: Complexes, cell: Cell) -> Complexes:
        """Per newton on each nominal cone (..., n) rather than per ampere."""
        return np.asarray(per_ampere / [self.model.moving(i).bl for i in cell.members])

    def _piston(self, i: int) -> Complexes:
        """Pressure (F,) that a cone makes per m/s: p = j w rho sd G/(2 pi)."""
        driver = self.model.drivers[i]
        charge = 1j * self.moved.frequency * self.model.air.density
        return np.asarray(charge * (driver.sd if driver else 0.0) * self.nominal.paths.drivers[:, i])

    def _per_force(self, c: int, cell: Cell) -> Complexes:
        """Pressure (F, n) per newton on each nominal cone: by openings, the leak and all cones without a table."""
        index = np.array(cell.members)
        done = sum(len(before.opening_names) for before in self.model.cells[:c])
        here = np.arange(done, done + len(cell.opening_names))
        charge = 1j * self.moved.frequency * self.model.air.density
        pressure = (charge * self.nominal.paths.leaks[:, c])[:, None] * self.moved.leak[:, c, index]
        pressure = pressure + self.nominal.opening_pressure[:, here[:, None], index].sum(axis=1)
        for i in cell.members:
            if self.model.data[i].response is None:
                pressure = pressure + self.nominal.driver_pressure[:, i, index]
        return self._over_bl(pressure, cell)

    def _by_table(
        self, row: int, i: int, impedance: Complexes, velocity: Complexes, factors: DriverFactors
    ) -> Complexes:
        """Pressure (B, F, n) of a driver by its response table, as `transfer` makes it of the nominal one."""
        cold = self.moved.impedance[:, i, i] - self.model.added_resistances[i]
        drawn = impedance[:, :, row].copy()
        drawn[:, :, row] -= self.model.added_resistances[i] * factors.re[:, None]
        level = factors.level[:, None]
        if i not in joined_tables(self.model):  # alone behind its closed back
            heard = (self.nominal.driver_pressure[:, i, i] / cold) * level
            return np.asarray(heard[:, :, None] * drawn)
        nominal = table_over_piston(self.model, i, self.moved) / self.nominal.paths.own[:, i]
        volts = drawn[:, :, row] / cold  # of each copy over the nominal one's, per ampere
        ratio = nominal * level * volts * (self.moved.velocity[:, i, i] / velocity[:, :, row, row])
        share = table_share(self.model, i, self.moved.frequency)
        joined = self._piston(i) * np.exp(share * np.log(ratio))
        return np.asarray(joined[:, :, None] * velocity[:, :, row])


def inverse(matrix: Complexes) -> Complexes:
    """Of (..., n, n); one and two rows by hand, which most chambers have."""
    n = matrix.shape[-1]
    if n == 1:
        return np.asarray(1 / matrix)
    if n == 2:
        a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
        turned = np.stack([d, -b, -c, a], axis=-1).reshape(matrix.shape)
        return np.asarray(turned / (a * d - b * c)[..., None, None])
    return np.asarray(np.linalg.inv(matrix))
