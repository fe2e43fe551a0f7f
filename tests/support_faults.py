"""Speakers built wrongly and swept, by a chain of their own: what a diagnosis is tried on.

Each is a kit with its mistake in it, put through `system.build` and `filters.network.solve` like any other; none of
the signatures, spreads and shortcuts of `system.bench` is used but the list of mistakes and what each one builds.
Their drivers are not of the kind that the diagnosis fits: the voice coil is a coil with a shunted one in series,
fitted to the kit's and then spread; the suspension creeps, Cms(f) = Cms (1 - beta log10(j f/fs)) (Knudsen & Jensen,
J. Audio Eng. Soc. 41, 1993, the logarithmic model); parts lie evenly within their tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from enclosures.driver import Driver, ShuntedCoil
from filters.network import solve
from system.bench.cabinets import chamber_words
from system.bench.faults import KINDS, RIGHT, Fault, faults, leak_place, wrong
from system.bench.meter import Reading, terminals
from system.bench.sweeps import Sweep
from system.build import VOICE_COILS, Build, build
from system.kit import DriverData, Kit, LineChamber, MouthSpec, Place, PortSpec, Variant
from system.transfer import motion

Floats = NDArray[np.float64]

FREQUENCY = np.geomspace(10, 20e3, 200)
MAGNITUDE_NOISE, PHASE_NOISE, GAIN = 0.01, math.radians(0.6), 0.005
METER, LEADS, OPEN = 0.01, 0.1, 100e3  # an ohmmeter's share of its reading, ohm of its leads, ohm that it shows as open
NO_FREQUENCY = 1e-7  # Hz
CREEP = (0.03, 0.12)  # beta, per decade


@dataclass(frozen=True)
class Creeping(Driver):
    """A driver whose compliance falls with frequency, by `beta` a decade."""

    beta: float = 0.0

    def mechanical_impedance(self, omega: Floats) -> Any:
        softer = 1 - self.beta * np.log10(1j * omega / (2 * np.pi * self.fs))
        return self.rms + 1j * omega * self.mms + 1 / (1j * omega * self.cms * softer)


@dataclass(frozen=True)
class Case:
    variant: str
    fault: Fault
    sweep: Sweep
    readings: tuple[Reading, ...]  # between all terminals, the drivers connected


@cache
def shunted(model: str, *parameters: tuple[str, float]) -> tuple[float, float, float]:
    """The shunted coil nearest to a voice coil from 50 Hz to 20 kHz."""
    omega = 2 * np.pi * np.geomspace(50, 20e3, 60)
    wanted = VOICE_COILS[model](**dict(parameters)).impedance(omega)

    def off(logs: Floats) -> Floats:
        error = ShuntedCoil(*np.exp(logs)).impedance(omega) / wanted - 1
        return np.concatenate([error.real, error.imag])

    low = float(np.abs(wanted[-1]) / omega[-1])
    return tuple(np.exp(least_squares(off, np.log([low / 2, low, float(np.abs(wanted[30]))])).x))


def even(random: np.random.Generator, far: float) -> float:
    return float(1 + random.uniform(-far, far))


def copy_of(kit: Kit, variant: Variant, random: np.random.Generator) -> Build:
    """A copy of a variant, mistaken or not, with its own parts and drivers."""
    places = {name: replace(place, part=_part(place, random)) for name, place in variant.places.items()}
    together = {
        name: {key: even(random, far) for key, far in (("fs", 0.10), ("qts", 0.10), ("re", 0.03))}
        for name in kit.drivers
    }
    coils = {name: [even(random, 0.15) for _ in range(3)] for name in kit.drivers}
    creep = {name: random.uniform(*CREEP) for name in kit.drivers}
    warp = {name: (even(random, 0.08), even(random, 0.03)) for name in kit.drivers}
    made = build(kit, replace(variant, places=places))
    drivers: list[Driver | None] = []
    hookups = dict(variant.hookups)
    for (name, hookup), driver in zip(variant.hookups.items(), made.drivers, strict=True):
        data = hookup.driver
        if driver is not None:
            drivers.append(_driver(driver, data, together[data.name], coils[data.name], creep[data.name], random))
        else:
            drivers.append(None)
            hookups[name] = replace(hookup, driver=_table(data, *warp[data.name]))
    changed = build(kit, replace(variant, places=places, hookups=hookups))
    return replace(changed, drivers=tuple(drivers))


def _part(place: Place, random: np.random.Generator) -> Any:
    part, far = place.part, 0.05
    if part.tolerance is not None and part.tolerance > far:
        far = part.tolerance
    return replace(part, value=part.value * even(random, far), resistance=part.resistance * even(random, 0.1))


def _driver(
    driver: Driver, data: DriverData, together: dict[str, float], coil: Sequence[float], beta: float, random: Any
) -> Driver:
    fs, q, re = (
        together["fs"] * even(random, 0.02),
        together["qts"] * even(random, 0.03),
        together["re"] * even(random, 0.01),
    )
    values = (0.0, 1e-9, 1e-3)
    if data.coil is not None:
        values = shunted(data.coil.model, *data.coil.parameters.items())
    series, shunt, ohm = (value * factor for value, factor in zip(values, coil, strict=True))
    return Creeping(
        re=driver.re * re,
        bl=driver.bl * math.sqrt(re * fs / q),
        mms=driver.mms,
        cms=driver.cms / fs**2,
        rms=driver.rms * fs / q,
        sd=driver.sd,
        coil=ShuntedCoil(series, shunt, ohm),
        beta=beta,
    )


def _table(data: DriverData, frequency: float, level: float) -> DriverData:
    table = data.impedance
    assert table is not None
    other = replace(
        table,
        frequency=tuple(each * frequency for each in table.frequency),
        magnitude=tuple(each * level for each in table.magnitude),
    )
    return replace(data, impedance=other)


def mistaken(kit: Kit, variant: Variant, fault: Fault, random: np.random.Generator) -> Variant:
    """With the fault in it; a leak is of some size."""
    made = wrong(kit, variant, fault)
    if fault.kind != "air_leak":
        return made
    before = chamber_words(variant)[fault.place]
    at = leak_place(variant, fault)
    if isinstance(before, LineChamber):
        hole = PortSpec(math.pi / 4 * random.uniform(10e-3, 26e-3) ** 2, 18e-3, 1, "flanged", "flanged")
        after: Any = replace(before, mouths=(*before.mouths, MouthSpec("flanged", hole, at=at)))
    else:
        after = replace(before, leak=math.exp(random.uniform(math.log(1.2), math.log(6))))
    chambers = tuple(after if each is before else each for each in variant.cabinet.chambers)
    return replace(variant, cabinet=replace(variant.cabinet, chambers=chambers))


def case(kit: Kit, variant: Variant, fault: Fault, random: np.random.Generator, phase: bool) -> Case:
    """A copy with its mistake, swept and read."""
    model = copy_of(kit, mistaken(kit, variant, fault, random), random)
    omega = 2 * np.pi * FREQUENCY
    impedance = solve(model.network, omega, motion(model, FREQUENCY).impedance).input_impedance
    gain = 1 + random.normal(0, GAIN)
    size = np.abs(impedance) * gain * np.exp(random.normal(0, MAGNITUDE_NOISE, omega.size))
    angle = np.angle(impedance) + random.normal(0, PHASE_NOISE, omega.size)
    sweep = Sweep(f"{variant.name} {fault.kind} {fault.place}", FREQUENCY, size, angle if phase else None)
    return Case(variant.name, fault, sweep, tuple(_read(kit, variant, model, random)))


def _read(kit: Kit, variant: Variant, model: Build, random: np.random.Generator) -> Iterator[Reading]:
    """By the network itself, at a frequency so low that capacitors are open; the meter is off by 1 %, leads left in."""
    still = motion(model, np.array([NO_FREQUENCY]))
    for a, b in combinations([terminal.point for terminal in terminals(kit, variant)], 2):
        turned = replace(model.network, input=(a, b))
        found = solve(turned, 2 * np.pi * np.array([NO_FREQUENCY]), still.impedance, 1.0, 1.0)
        ohm = float(np.abs(found.input_impedance[0]))
        read = ohm * even(random, METER) + LEADS * random.random()
        yield Reading((a, b), "connected", read if ohm < OPEN else math.inf)


def wrong_cases(kit: Kit, count: int, seed: int) -> Iterator[Case]:
    """Drawn evenly over variants, then over the kinds that a variant can have, then over the places."""
    random = np.random.default_rng(seed)
    every = {name: [f for f in faults(kit, variant) if f != RIGHT] for name, variant in kit.variants.items()}
    all_kinds = [kind for kind in KINDS if any(f.kind == kind for fs in every.values() for f in fs)]
    for i in range(count):
        kind = all_kinds[i % len(all_kinds)]
        able = [name for name, fs in every.items() if any(f.kind == kind for f in fs)]
        name = able[int(random.integers(len(able)))]
        places = [f for f in every[name] if f.kind == kind]
        fault = places[int(random.integers(len(places)))]
        yield case(kit, kit.variants[name], fault, random, phase=bool(i // len(all_kinds) % 2))


def right_cases(kit: Kit, count: int, seed: int) -> Iterator[Case]:
    random = np.random.default_rng(seed)
    names = list(kit.variants)
    for i in range(count):
        name = names[i % len(names)]
        yield case(kit, kit.variants[name], RIGHT, random, phase=bool(i // len(names) % 2))
