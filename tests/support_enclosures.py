"""What the enclosure tests share: the air and the driver of the textbook examples, and a driven loudspeaker."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from enclosures.acoustics import Enclosure, electrical_load
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver

AIR = Air(1.2041, 343.21)
WOOFER = Driver(re=5.6, bl=6.3, mms=9.5e-3, cms=1.10e-3, rms=0.85, sd=88e-4)


def driver_with(fs: float, qts: float, vas: float, qms: float = 1e9, re: float = 6.0, sd: float = 100e-4) -> Driver:
    """A driver from its resonance data in `AIR`, by the textbook definitions (Small 1972)."""
    cms = vas / (AIR.bulk_modulus * sd**2)
    mms = 1 / ((2 * math.pi * fs) ** 2 * cms)
    size = math.sqrt(mms / cms)
    qes = 1 / (1 / qts - 1 / qms)
    return Driver(re, math.sqrt(re * size / qes), mms, cms, size / qms, sd)


@dataclass(frozen=True)
class Driven:
    """Drivers in parallel on one volt rms (times their polarity): what flows and moves, (F, N), (F, M) or (F,)."""

    current: ComplexArray
    velocity: ComplexArray
    openings: ComplexArray
    leak: ComplexArray
    total: ComplexArray  # m3/s outward: cones, openings and leak
    impedance: ComplexArray  # ohm, of all in parallel
    displacement: ComplexArray  # m rms per V


def driven(
    drivers: Sequence[Driver],
    enclosure: Enclosure | None,
    frequency: RealArray | Sequence[float],
    polarity: Sequence[float] | None = None,
    air: Air = AIR,
) -> Driven:
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)
    load = electrical_load(drivers, enclosure, omega, air)
    volts = np.ones(len(drivers)) if polarity is None else np.asarray(polarity)
    current = np.linalg.solve(load.impedance, np.broadcast_to(volts[:, None], (len(omega), len(drivers), 1)))[:, :, 0]
    velocity = (load.velocity @ current[:, :, None])[:, :, 0]
    openings = (load.openings @ current[:, :, None])[:, :, 0]
    leak = (load.leak * current).sum(axis=1)
    sd = np.array([driver.sd for driver in drivers])
    return Driven(
        current=current,
        velocity=velocity,
        openings=openings,
        leak=leak,
        total=(velocity * sd).sum(axis=1) + openings.sum(axis=1) + leak,
        impedance=1 / (current * volts).sum(axis=1),
        displacement=velocity / (1j * omega[:, None]),
    )


def response(driver: Driver, enclosure: Enclosure | None, frequency: RealArray | Sequence[float]) -> RealArray:
    """|G|: the pressure over that far above resonance, jw U_total / (bl sd/(re mms)); no coil inductance."""
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)
    reference = driver.bl * driver.sd / (driver.re * driver.mms)
    return np.abs(omega * driven([driver], enclosure, frequency).total) / reference


def db(ratio: RealArray | float) -> RealArray:
    return 20 * np.log10(ratio)


def root(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-12, rtol=1e-13))


def peak(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Where the function is largest between two bounds, and how large."""
    best = minimize_scalar(lambda x: -function(x), bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    return float(best.x), float(-best.fun)
