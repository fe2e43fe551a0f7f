"""Textbook starting values: filter sections, level, step and notch networks, impedance levelling, motional counterpart.

An amplifier is a source of about zero ohm, so a crossover section is *singly* terminated: zero ohm at the source, the
driver's resistance at the load. The values in most radio handbooks (g_k = 2 sin((2k - 1) pi/2n) for Butterworth) are
for a source and a load of equal resistance and are wrong here. A low-pass that follows a polynomial D(s), D(0) = 1, has
the voltage ratio 1/D; with D's even and odd parts, the ladder is the continued fraction of their quotient, read from
the load (Darlington, J. Math. Phys. 18, 1939; Guillemin, Synthesis of Passive Networks, 1957, chapter on transfer
impedance synthesis). All values are in SI units; shape values are for 1 ohm and 1 rad/s, source side first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Polynomial = tuple[float, ...]  # coefficients of s^0, s^1, ...


class ShapeError(ValueError):
    """The filter shape is unknown, or does not exist in this order."""


@dataclass(frozen=True, slots=True)
class SectionPart:
    """One part of a section: its kind, whether it lies in line or across, and its value (H or F)."""

    kind: Literal["coil", "capacitor"]
    position: Literal["series", "shunt"]
    value: float


def butterworth(order: int) -> Polynomial:
    """Butterworth (Exp. Wireless 7, 1930): poles evenly spaced on the left half of the unit circle, -3 dB at 1."""
    polynomial: Polynomial = (1.0, 1.0) if order % 2 else (1.0,)
    for k in range(order // 2):
        polynomial = _times(polynomial, (1.0, 2 * math.sin((2 * k + 1) * math.pi / (2 * order)), 1.0))
    return polynomial


def bessel(order: int) -> Polynomial:
    """Bessel low-pass (Thomson, Proc. IEE 96 III, 1949), scaled so that it is -3 dB at 1 rad/s."""
    # reverse Bessel polynomial: a_k = (2n - k)!/(2^(n - k) k! (n - k)!)
    raw = [
        math.factorial(2 * order - k) / (2 ** (order - k) * math.factorial(k) * math.factorial(order - k))
        for k in range(order + 1)
    ]
    polynomial = tuple(a / raw[0] for a in raw)
    low, high = 0.5, 2.0 * order  # |D|^2 rises without a break; its -3 dB point lies between
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if abs(_value(polynomial, 1j * middle)) ** 2 < 2 else (low, middle)
    return tuple(a * low**k for k, a in enumerate(polynomial))


def linkwitz_riley(order: int) -> Polynomial:
    """A Butterworth of half the order twice over, -6 dB at 1 (Linkwitz, J. Audio Eng. Soc. 24(1), 1976).

    Raises ShapeError for an odd order.
    """
    if order % 2:
        raise ShapeError(f"a Linkwitz-Riley filter has an even order, not {order}")
    half = butterworth(order // 2)
    return _times(half, half)


SHAPES: Mapping[str, Callable[[int], Polynomial]] = {
    "butterworth": butterworth,
    "bessel": bessel,
    "linkwitz_riley": linkwitz_riley,
}


def polynomial(shape: str, order: int) -> Polynomial:
    """D(s) of a low-pass 1/D at 1 rad/s. Raises ShapeError for an unknown shape or an order outside 1 to 10."""
    if shape not in SHAPES:
        raise ShapeError(f"there is no filter shape {shape}; there are {', '.join(SHAPES)}")
    if not 1 <= order <= 10:
        raise ShapeError(f"a filter section has an order from 1 to 10, not {order}")
    return SHAPES[shape](order)


def shape_values(shape: str, order: int) -> tuple[float, ...]:
    """Singly terminated low-pass values for 1 ohm and 1 rad/s: coil, capacitor, coil, ... from the source.

    Raises ShapeError as `polynomial` does.
    """
    coefficients = polynomial(shape, order)
    high = [a if (order - k) % 2 == 0 else 0.0 for k, a in enumerate(coefficients)]  # the part of D of degree n
    low = [a if (order - k) % 2 == 1 else 0.0 for k, a in enumerate(coefficients)]
    found: list[float] = []
    for degree in range(order, 0, -1):
        quotient = high[degree] / low[degree - 1]
        found.append(quotient)
        rest = [a - quotient * (low[k - 1] if k else 0.0) for k, a in enumerate(high)]
        high, low = low, [*rest[: degree - 1], *[0.0] * (len(rest) - degree + 1)]
    return tuple(reversed(found))  # the fraction starts at the load


def low_pass(shape: str, order: int, corner: float, load: float) -> tuple[SectionPart, ...]:
    """A low-pass for a `load` in ohm at `corner` in Hz: coils in line, capacitors across, from the source."""
    omega = 2 * math.pi * corner
    return tuple(
        SectionPart("capacitor", "shunt", g / (omega * load))
        if k % 2
        else SectionPart("coil", "series", g * load / omega)
        for k, g in enumerate(shape_values(shape, order))
    )


def high_pass(shape: str, order: int, corner: float, load: float) -> tuple[SectionPart, ...]:
    """The mirror image s -> 1/s of the low-pass: capacitors in line, coils across, from the source."""
    omega = 2 * math.pi * corner
    return tuple(
        SectionPart("coil", "shunt", load / (omega * g))
        if k % 2
        else SectionPart("capacitor", "series", 1 / (omega * load * g))
        for k, g in enumerate(shape_values(shape, order))
    )


@dataclass(frozen=True, slots=True)
class LevelNetwork:
    """A resistor in line and one across the load, ohm."""

    series: float
    shunt: float


def level_network(reduction_db: float, load: float) -> LevelNetwork:
    """Lowers the level by `reduction_db` and shows the source the same `load` (ohm).

    With K = 10^(-dB/20), series = Z (1 - K) and shunt = Z K/(1 - K), from series + shunt || Z = Z and the divider's
    K = (shunt || Z)/Z. Raises ValueError for a reduction that is not above 0 dB.
    """
    if reduction_db <= 0:
        raise ValueError(f"a level network lowers the level by more than 0 dB, not by {reduction_db} dB")
    ratio = 10 ** (-reduction_db / 20)
    return LevelNetwork(series=load * (1 - ratio), shunt=load * ratio / (1 - ratio))


@dataclass(frozen=True, slots=True)
class StepNetwork:
    """A resistor (ohm) and a coil (H) in parallel, in line with the driver."""

    resistance: float
    inductance: float


def step_network(step_db: float, centre: float, load: float) -> StepNetwork:
    """Lowers the level above `centre` (Hz) by `step_db`, half of it (in dB) at `centre`, before a resistive `load`.

    R = Z (10^(S/20) - 1). |1 + (R/Z) jx/(1 + jx)|^2 with x = omega L/R equals the step's square root where
    x^2 = Z/(Z + R), so L = R/(2 pi f0) sqrt(Z/(Z + R)). Raises ValueError for a step that is not above 0 dB.
    """
    if step_db <= 0:
        raise ValueError(f"a step network lowers the level by more than 0 dB, not by {step_db} dB")
    resistance = load * (10 ** (step_db / 20) - 1)
    return StepNetwork(resistance, resistance / (2 * math.pi * centre) * math.sqrt(load / (load + resistance)))


@dataclass(frozen=True, slots=True)
class NotchNetwork:
    """A resistor (ohm), a coil (H) and a capacitor (F); the coil's own resistance is part of the resistor's."""

    resistance: float
    inductance: float
    capacitance: float


def parallel_notch(depth_db: float, centre: float, q: float, load: float) -> NotchNetwork:
    """All three in parallel, in line with the driver: lowers a band about `centre` (Hz) before a resistive `load`.

    `depth_db` is what is taken at the centre, `q` the centre over the width of the band, which lies between the two
    frequencies where half of it (in dB) is taken. With K = 10^(D/20) and u = omega0 C R (f/f0 - f0/f) the level falls
    by |(K + ju)/(1 + ju)|, so R = Z (K - 1), and half of it at u^2 = K, hence omega0 C R = q sqrt(K). It is the peaking
    equalizer of Bristow-Johnson (AES 97th Convention, 1994), whose Q this is. Raises ValueError for a depth, q, centre
    or load that is not above zero.
    """
    ratio = _notch_ratio(depth_db, centre, q, load)
    omega, resistance = 2 * math.pi * centre, load * (ratio - 1)
    capacitance = q * math.sqrt(ratio) / (omega * resistance)
    return NotchNetwork(resistance, 1 / (omega**2 * capacitance), capacitance)


def series_notch(depth_db: float, centre: float, q: float, load: float, source: float) -> NotchNetwork:
    """All three in series, across a resistive `load` that is fed through a resistance `source` (both ohm).

    The same curve as `parallel_notch`, below the level without it: with Z0 = source || load it is
    |(K + ju)/(1 + ju)| where K = 1 + Z0/R and u = omega0 L/R (f/f0 - f0/f), so R = Z0/(K - 1), omega0 L/R = q sqrt(K).
    Straight across an amplifier, without resistance in line, it takes current and lowers nothing. Raises ValueError
    for a depth, q, centre, load or source that is not above zero.
    """
    ratio = _notch_ratio(depth_db, centre, q, load, source)
    omega, resistance = 2 * math.pi * centre, source * load / (source + load) / (ratio - 1)
    inductance = q * math.sqrt(ratio) * resistance / omega
    return NotchNetwork(resistance, inductance, 1 / (omega**2 * inductance))


def _notch_ratio(depth_db: float, *sizes: float) -> float:
    if min(depth_db, *sizes) <= 0:
        raise ValueError("a notch needs a depth, a centre, a q and resistances above zero")
    return float(10 ** (depth_db / 20))


@dataclass(frozen=True, slots=True)
class Levelling:
    """A resistor (ohm) and a capacitor (F) in series, across the driver."""

    resistance: float
    capacitance: float


def impedance_levelling(re: float, le: float) -> Levelling:
    """Makes re (ohm) with an ideal coil le (H) in series look like re: R = re, C = le/re^2 (Zobel's dual two-pole).

    Zobel, Bell Syst. Tech. J. 2, 1923. A real voice coil is not an ideal inductance: a starting value only.
    """
    return Levelling(resistance=re, capacitance=le / re**2)


@dataclass(frozen=True, slots=True)
class MotionalCounterpart:
    """A resistor (ohm), a coil (H) and a capacitor (F), all in series, across the driver."""

    resistance: float
    inductance: float
    capacitance: float


def motional_counterpart(re: float, qes: float, qms: float, fs: float) -> MotionalCounterpart:
    """The dual about re of a driver without coil inductance: together they are re at every frequency.

    The driver is re in series with Res = re qms/qes, Les = re/(omega_s qes), Ces = qes/(omega_s re) in parallel (Small,
    J. Audio Eng. Soc. 20(5), 1972); its dual has R = re + re^2/Res = re (1 + qes/qms), L = re^2 Ces = re qes/omega_s,
    C = Les/re^2 = 1/(re qes omega_s).
    """
    omega = 2 * math.pi * fs
    return MotionalCounterpart(re * (1 + qes / qms), re * qes / omega, 1 / (re * qes * omega))


def _times(a: Sequence[float], b: Sequence[float]) -> Polynomial:
    product = [0.0] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        for k, y in enumerate(b):
            product[i + k] += x * y
    return tuple(product)


def _value(coefficients: Sequence[float], s: complex) -> complex:
    return sum((a * s**k for k, a in enumerate(coefficients)), 0j)
