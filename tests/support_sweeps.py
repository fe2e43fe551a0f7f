"""Impedance sweeps of invented drivers as builders measure them, with what went wrong; the true figures beside them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from enclosures.creep import Creep
from enclosures.driver import Inductance, SemiInductance, ShuntedCoil, VoiceCoil
from system.bench.sweeps import Sweep

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Unit:
    """A driver by what its peak shows; `qms` is that of the peak, creep included. `mode` is fs, q and height in ohm."""

    re: float = 5.6
    fs: float = 49.2336
    qms: float = 3.45738
    qes: float = 0.414641
    coil: VoiceCoil = Inductance(0.5e-3)  # noqa: RUF009 - frozen
    creep: float = 0.0
    mode: tuple[float, float, float] | None = None
    stray: float = math.inf  # ohm across the coil's impedance: no model of ours has it

    @property
    def qts(self) -> float:
        return self.qms * self.qes / (self.qms + self.qes)

    def impedance(self, frequency: Floats) -> Complexes:
        """Electrical impedance in free air, from masses and springs: bl is 1 here, so rm = 1/rms."""
        omega = 2 * np.pi * frequency
        total_rms = self.qes / (self.qms * self.re)
        creep = Creep(self.creep)
        reactance = self.qms * total_rms  # sqrt(M/C)
        rms = total_rms * (1 - self.qms * creep.loss)
        mass, compliance = reactance / (2 * np.pi * self.fs), 1 / (reactance * 2 * np.pi * self.fs)
        moving = rms + 1j * omega * mass + 1 / (1j * omega * compliance * creep.compliance_ratio(frequency, self.fs))
        coil = self.coil.impedance(omega)
        total = self.re + coil / (1 + coil / self.stray) + 1 / moving
        if self.mode is not None:
            at, q, height = self.mode
            total = total + height / (1 + 1j * q * (frequency / at - at / frequency))
        return np.asarray(total)


@dataclass(frozen=True)
class Case:
    """A sweep of a unit, what may be asked of it, and the dc reading that goes with it."""

    name: str
    unit: Unit
    sweep: Sweep
    dc: float | None = None
    may_refuse: bool = False
    must_refuse: bool = False
    wants: dict[str, float] = field(default_factory=lambda: {"fs": 0.02, "qts": 0.10, "re": 0.04})


def measured(
    name: str,
    curve: Complexes,
    frequency: Floats,
    noise: float | Floats,
    seed: int,
    phase: bool = True,
    phase_noise: float | Floats | None = None,
) -> Sweep:
    """A sweep of `curve` with white relative noise on magnitude and phase."""
    draw = np.random.default_rng(seed)
    level = np.log(np.abs(curve)) + noise * draw.standard_normal(len(frequency))
    turn = np.angle(curve) + (noise if phase_noise is None else phase_noise) * draw.standard_normal(len(frequency))
    return Sweep(name, frequency, np.exp(level), turn if phase else None)


SEMI = SemiInductance(0.12e-3, 1.6e-3, 0.055)
WOOFER = Unit(coil=SEMI, creep=0.1, qms=3.2)
REAL = replace(WOOFER, stray=60.0, mode=(700.0, 6.0, 0.5))
TWEETER = Unit(re=5.2, fs=820.0, qms=2.4, qes=1.6, coil=SemiInductance(0.012e-3, 0.06e-3, 0.009))
WIDE = Unit(re=6.9, fs=72.0, qms=5.2, qes=0.62, coil=ShuntedCoil(0.06e-3, 0.25e-3, 6.0), creep=0.08)
SUB = Unit(re=3.3, fs=21.5, qms=9.5, qes=0.48, coil=SemiInductance(0.6e-3, 6e-3, 0.16), creep=0.05, stray=90.0)


def grid(low: float, high: float, count: int) -> Floats:
    return np.geomspace(low, high, count)


def _spiked(sweep: Sweep, at: tuple[float, ...], by: float) -> Sweep:
    magnitude = sweep.magnitude.copy()
    phase = sweep.phase.copy() if sweep.phase is not None else None
    for k, each in enumerate(at):
        place = int(np.argmin(np.abs(sweep.frequency - each)))
        magnitude[place] *= by if k % 2 == 0 else 1 / by
        if phase is not None:
            phase[place] += 0.5
    return replace(sweep, magnitude=magnitude, phase=phase)


def vented_box(unit: Unit, tuning: float, compliance_ratio: float, q_leak: float, frequency: Floats) -> Complexes:
    """The driver in a vented box (Small, J. Audio Eng. Soc. 21, 1973, fig. 2 of part I: the electrical equivalent).

    `compliance_ratio` is vas over the volume; the vent's branch of mass Lceb and compliance is across Res, Lces, Cmes.
    """
    rm = unit.re * unit.qms / unit.qes
    reactance = rm / unit.qms  # of Lces at fs
    s = 2j * np.pi * frequency
    cmes = 1 / (reactance * 2 * np.pi * unit.fs)
    lces = reactance / (2 * np.pi * unit.fs)
    lceb = lces / compliance_ratio
    cmep = 1 / ((2 * np.pi * tuning) ** 2 * lceb)
    rel = q_leak * math.sqrt(lceb / cmep)
    # the box: its spring Lceb in series with (leak in parallel with port mass Cmep), dual of the acoustical circuit
    box = s * lceb + 1 / (s * cmep + 1 / rel)
    motional = 1 / (1 / rm + s * cmes + 1 / (s * lces) + 1 / box)
    return np.asarray(unit.re + unit.coil.impedance(2 * np.pi * frequency) + motional)


def _cases() -> list[Case]:
    made: list[Case] = []

    def add(name: str, unit: Unit, frequency: Floats, noise: float | Floats, **more: object) -> Case:
        phase = bool(more.pop("phase", True))
        phase_noise = more.pop("phase_noise", None)
        sweep = measured(name, unit.impedance(frequency), frequency, noise, len(made) + 1, phase, phase_noise)  # type: ignore[arg-type]
        turned: Callable[[Sweep], Sweep] | None = more.pop("turned", None)  # type: ignore[assignment]
        case = Case(name, unit, sweep if turned is None else turned(sweep), **more)  # type: ignore[arg-type]
        made.append(case)
        return case

    wide = grid(10, 20000, 400)
    add("plain woofer", Unit(), wide, 0.01)
    add("creep and semi-inductance", WOOFER, wide, 0.003)
    add("all of it: creep, stray, second mode at 700 Hz", REAL, wide, 0.003)
    add("second mode at 900 Hz, without phase", replace(REAL, mode=(900.0, 8.0, 0.8)), wide, 0.005, phase=False)
    add("10 points a decade, without phase", WOOFER, grid(10, 20000, 34), 0.01, phase=False)
    add("10 points a decade from 20 Hz", REAL, grid(20, 20000, 31), 0.01)
    add("without phase from 20 Hz", WOOFER, grid(20, 20000, 200), 0.01, phase=False)
    add("20 to 500 Hz", REAL, grid(20, 500, 150), 0.005)
    add("20 to 500 Hz, without phase", WOOFER, grid(20, 500, 100), 0.01, phase=False)
    add("wide-range driver to 40 kHz", WIDE, grid(10, 40000, 500), 0.004)
    add("tweeter", TWEETER, grid(100, 40000, 300), 0.005)
    add("ferrofluid", replace(TWEETER, qms=0.6, qes=1.8), grid(100, 20000, 250), 0.005)
    add("ferrofluid, without phase", replace(TWEETER, qms=0.7, qes=1.5), grid(100, 20000, 250), 0.005, phase=False)
    add(
        "ferrofluid, peak barely there",
        replace(TWEETER, qms=0.35, qes=2.2),
        grid(100, 20000, 250),
        0.005,
        may_refuse=True,
    )
    add("starts above the resonance", TWEETER, grid(1100, 20000, 200), 0.005, must_refuse=True)
    add("starts just below the resonance", WOOFER, grid(38, 20000, 250), 0.003)
    add(
        "reads 6 % too much, with a dc reading",
        REAL,
        wide,
        0.003,
        dc=5.6,
        turned=lambda sweep: replace(sweep, magnitude=sweep.magnitude * 1.06),
    )
    add("mains hum", WOOFER, wide, 0.004, turned=lambda sweep: _spiked(sweep, (50.0, 100.0, 150.0, 250.0), 1.5))
    low = 0.003 + 0.08 * (10 / wide) ** 1.5
    add("noisy low end", WOOFER, wide, low)
    add(
        "phase turned round",
        REAL,
        wide,
        0.003,
        turned=lambda sweep: replace(sweep, phase=-sweep.phase),  # type: ignore[operator]
    )
    add(
        "phase counted on from turn to turn",
        WOOFER,
        wide,
        0.003,
        turned=lambda sweep: replace(sweep, phase=sweep.phase + 2 * np.pi * np.round(sweep.frequency / 5000)),  # type: ignore[operator]
    )
    add("subwoofer with much coil", SUB, grid(5, 20000, 300), 0.004)
    add("subwoofer from 10 Hz, without phase", SUB, grid(10, 5000, 150), 0.006, phase=False)
    line = np.arange(2, 20000, 1.5)
    add("13 thousand points, evenly spaced", REAL, line, 0.01 + 0.05 * (10 / line))
    add("with a dc reading", REAL, wide, 0.004, dc=5.6)
    vented = vented_box(replace(Unit(), coil=SEMI), 42.0, 1.4, 10.0, wide)
    made.append(Case("vented box", Unit(), measured("vented box", vented, wide, 0.004, 91), must_refuse=True))
    return made


CASES = _cases()
