"""One woofer beyond small signals as differential equations in time, written out on their own.

Integrated from rest by scipy's `solve_ivp` until a period repeats the one five before. The air enters as a spring with
a leak, or by a rational fit of an enclosure's acoustic impedance (`filters.rational`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import solve_ivp

from enclosures.acoustics import Enclosure
from enclosures.driver import Driver, Inductance
from enclosures.large_signal import LargeSignal, Polynomial
from enclosures.sealed import SealedBox
from filters.rational import vector_fit
from tests.support_enclosures import AIR, WOOFER

LE = 0.5e-3
COIL_WOOFER = replace(WOOFER, coil=Inductance(LE))
LIMIT = 4e-3  # m, its linear limit
# what such a woofer may have: 13 and 29 % less bl at the limit on either side, half as much stiffness again
BL = (6.3, -130.0, -8.0e4, 0.0, -2.0e8)
STIFFNESS = (1 / 1.1e-3, -2.0e4, 2.2e7, 0.0, 4e11)
INDUCTANCE = (LE, -0.030, -1.2)
CURVES = LargeSignal(Polynomial(BL), Polynomial(STIFFNESS), Polynomial(INDUCTANCE))

Rate = Callable[[float, np.ndarray], np.ndarray]


def horner(coefficients: Sequence[float]) -> Callable[[float], float]:
    def value(x: float) -> float:
        total = 0.0
        for c in reversed(coefficients):
            total = total * x + c
        return total

    return value


def derived(coefficients: Sequence[float]) -> tuple[float, ...]:
    return tuple(n * c for n, c in enumerate(coefficients))[1:] or (0.0,)


def volts_at(omega: float, volts: float, t: float) -> float:
    """A tone of `volts` rms that comes up over five periods."""
    return math.sqrt(2) * volts * math.cos(omega * t) * min(1.0, omega * t / (10 * math.pi))


@dataclass(frozen=True)
class AirInTime:
    """State z (n,) from z' = matrix z + drive q, and p = out z + through q - mass q'."""

    matrix: np.ndarray
    drive: np.ndarray
    out: np.ndarray
    through: float = 0.0
    mass: float = 0.0


def sealed_air(box: SealedBox, driver: Driver) -> AirInTime:
    """C p' = -q - p/R: spring and leak, R = QL/(2 pi fc C) (Small, J. Audio Eng. Soc. 21(5), 1973)."""
    compliance = box.volume / AIR.bulk_modulus
    resonance = driver.fs * math.sqrt(1 + driver.vas(AIR) / box.volume)
    leak = box.leak / (2 * math.pi * resonance * compliance)
    return AirInTime(np.array([[-1 / (leak * compliance)]]), np.array([-1 / compliance]), np.array([1.0]))


def fitted_air(box: Enclosure, order: int, highest: float, ends: bool) -> AirInTime:
    """Poles and residues of Za, p = -Za q, as real states; the fit is held to 1e-4 of Za from 2 Hz to `highest`."""
    omega = 2 * np.pi * np.geomspace(2, highest, 600)
    impedance = box.load(omega, AIR, [WOOFER]).impedance[:, 0, 0]
    fit = vector_fit(omega, impedance, order, ends=ends)
    np.testing.assert_allclose(fit(omega), impedance, rtol=1e-4)
    matrix, drive, out = np.zeros((0, 0)), [], []
    for p, r in zip(fit.poles, fit.residues, strict=True):
        block = np.array([[p.real]]) if p.imag == 0 else np.array([[p.real, p.imag], [-p.imag, p.real]])
        n, k = len(matrix), len(block)
        matrix = np.block([[matrix, np.zeros((n, k))], [np.zeros((k, n)), block]])
        drive += [1.0] if k == 1 else [2.0, 0.0]  # a pair r/(s - p) is r.real z1 + r.imag z2
        out += [-r.real] if k == 1 else [-r.real, -r.imag]
    return AirInTime(matrix, np.array(drive), np.array(out), -float(fit.constant), float(fit.slope))


@dataclass(frozen=True)
class InTime:
    """One woofer with a plain coil, its polynomials and its air, on a source without resistance."""

    air: AirInTime
    driver: Driver = COIL_WOOFER
    bl: Sequence[float] = BL
    stiffness: Sequence[float] = STIFFNESS
    inductance: Sequence[float] = INDUCTANCE

    @property
    def states(self) -> int:
        """x, u, i and those of the air."""
        return 3 + len(self.air.drive)

    def rate(self, frequency: float, volts: float) -> Rate:
        omega = 2 * math.pi * frequency
        bl, spring, coil = horner(self.bl), horner(self.stiffness), horner(self.inductance)
        coil_slope = horner(derived(self.inductance))
        driver, air = self.driver, self.air
        mass = driver.mms + driver.sd**2 * air.mass

        def rate(t: float, y: np.ndarray) -> np.ndarray:
            x, u, i = y[:3].tolist()
            z, q = y[3:], driver.sd * u
            force = bl(x) * i + 0.5 * i * i * coil_slope(x) - spring(x) * x - driver.rms * u
            force += driver.sd * (float(air.out @ z) + air.through * q)
            # V = R i + d/dt (L(x) i) + Bl(x) u
            flux_rate = volts_at(omega, volts, t) - driver.re * i - bl(x) * u
            out = np.empty_like(y)
            out[0], out[1], out[2] = u, force / mass, (flux_rate - coil_slope(x) * u * i) / coil(x)
            out[3:] = air.matrix @ z + air.drive * q
            return out

        return rate

    def steady(self, frequency: float, volts: float) -> tuple[np.ndarray, np.ndarray]:
        """Peak amplitudes of displacement and current, harmonics 0 to 10, for `volts` rms."""
        x, _, i = settle(self.rate(frequency, volts), self.states, frequency)
        return amplitudes(x), amplitudes(i)

    def means(self, frequency: float, volts: float, periods: int, start: float = 0.0) -> np.ndarray:
        """The mean displacement of each period (periods,) in m, from a cone let go at `start` (m)."""
        y = np.zeros(self.states)
        y[0] = start
        at = np.arange(periods * 32) / (32 * frequency)
        run = solve_ivp(
            self.rate(frequency, volts),
            (0, periods / frequency),
            y,
            "LSODA",
            at,
            rtol=1e-7,
            atol=1e-10,
            max_step=0.04 / frequency,
        )
        return np.asarray(run.y[0].reshape(periods, 32).mean(axis=1))


def settle(rate: Rate, states: int, frequency: float, watched: int = 3) -> np.ndarray:
    """The first `watched` states (., 64) over a period, from rest until one repeats the one five before within 1e-4."""
    y, before = np.zeros(states), np.full((watched, 64), np.inf)
    for start in range(0, 300, 5):
        at = (start + 4 + np.arange(65) / 64) / frequency
        run = solve_ivp(
            rate, (start / frequency, at[-1]), y, "LSODA", at, rtol=1e-6, atol=1e-8, max_step=0.04 / frequency
        )
        y, period = run.y[:, -1], run.y[:watched, :-1]
        if np.all(np.abs(period - before).max(axis=1) < 1e-4 * np.abs(period).max(axis=1)):
            return np.asarray(period)
        before = period
    raise AssertionError("no steady state in time")


def amplitudes(period: np.ndarray) -> np.ndarray:
    """Complex peak amplitudes 0 to 10 of samples over one period."""
    found = np.fft.rfft(period)[:11] / len(period) * 2
    found[0] /= 2
    return found
