"""Circuits for rational functions: sections in series, poles as pairs of nodes. Written on a `Sheet`, for .ac."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from filters.parts import Complexes, Floats
from filters.rational import Rational, positive_sum
from filters.spice import GROUND, Sheet

SUM_TOLERANCE = 1e-5  # of a sum of simple sections, relative
REACH = 60.0  # how far beyond the band their corners reach, a ratio


def eddy_sections(
    sheet: Sheet, name: str, impedance: Callable[[Floats], Complexes], omega: Floats, a: str, b: str
) -> float:
    """An impedance that rises like a voice coil's, over the band of `omega` (F,) rad/s; returns the largest error.

    Sections of a coil and a resistor in parallel, all in series, w s/(1 + s/corner) each, w above zero: passive.
    """

    def sections(omega: Floats, corners: Floats) -> Complexes:
        s = 1j * omega[:, None]
        return np.asarray(s / (1 + s / corners))

    weights, corners, error = _section_sum(sections, impedance, omega)
    nodes = sheet.chain(f"{name}_eddy", a, b, len(weights))
    for i, (ends, weight, corner) in enumerate(zip(nodes, weights, corners, strict=True)):
        sheet.coil(f"L_{name}_eddy{i}", *ends, weight)
        if np.isfinite(corner):
            sheet.resistor(f"R_{name}_eddy{i}", *ends, weight * corner)
    return error


def loss_angle(sheet: Sheet, name: str, factor: float, omega: Floats, a: str, b: str) -> float:
    """A resistance factor/omega, that of a constant loss angle beside a constant capacitance.

    Returns the largest error. No causal circuit has it. On the j omega axis a resistor and a capacitor in parallel, in
    series with the same pair with its capacitance negative, are r/(1 + (omega/corner)^2), without reactance; a sum of
    them follows 1/omega.
    """

    def sections(omega: Floats, corners: Floats) -> Complexes:
        return np.asarray(1 / (1 + (omega[:, None] / corners) ** 2) + 0j)

    weights, corners, error = _section_sum(sections, lambda omega: np.asarray(factor / omega + 0j), omega)
    nodes = iter(sheet.chain(f"{name}_loss", a, b, 2 * len(weights)))
    for i, (weight, corner) in enumerate(zip(weights, corners, strict=True)):
        for half, sign in (("a", 1), ("b", -1)):
            ends = next(nodes)
            sheet.resistor(f"R_{name}_loss{i}{half}", *ends, weight / 2)
            if np.isfinite(corner):
                sheet.capacitor(f"C_{name}_loss{i}{half}", *ends, sign * 2 / (corner * weight))
    return error


def _section_sum(
    sections: Callable[[Floats, Floats], Complexes], target: Callable[[Floats], Complexes], omega: Floats
) -> tuple[Floats, Floats, float]:
    """Weights above zero and corners (rad/s) of a sum of `sections` (F, K) of the corners that follows `target`.

    The last corner may be infinite. Corners are added until the largest relative error, the third result, meets
    SUM_TOLERANCE.
    """
    coarse = omega[:: max(1, omega.size // 200)]
    best: tuple[Floats, Floats, float] | None = None
    for count in range(8, 41, 4):
        corners = np.append(np.geomspace(omega[0] / REACH, omega[-1] * REACH, count), np.inf)
        weights = positive_sum(sections(coarse, corners), target(coarse))
        error = float(np.max(np.abs(sections(omega, corners) @ weights / target(omega) - 1)))
        if best is None or error < best[2]:
            best = (weights[weights > 0], corners[weights > 0], error)
        if error <= SUM_TOLERANCE:
            break
    assert best is not None
    return best


def one_port(sheet: Sheet, name: str, fitted: Rational, plus: str, minus: str) -> str:
    """An impedance: its constant, its coil, and the volts that its poles make of its current.

    Returns the name of the source that senses the current.
    """
    sensed, constant, slope, rest = sheet.chain(f"{name}_inner", plus, minus, 4)
    sense = sheet.sense(f"V_{name}", *sensed)
    sheet.resistor(f"R_{name}", *constant, float(fitted.constant))
    sheet.coil(f"L_{name}", *slope, float(fitted.slope))
    volts = sheet.node(f"{name}_rest")
    sheet.resistor(f"R_{name}_rest", volts, GROUND, 1.0)
    sheet.volts_by_volts(f"E_{name}", *rest, volts, 1.0)
    matrix = fitted.residues.reshape(-1, 1, 1)
    driven_poles(sheet, [name], fitted.poles, matrix, [(sense, 1.0)], [volts])
    return sense


def driven_poles(
    sheet: Sheet,
    names: Sequence[str],
    poles: Complexes,
    residues: Complexes,
    drives: Sequence[tuple[str, float]],
    outputs: Sequence[str],
) -> None:
    """Drives sum residues/(s - poles) (P, N, M) times M `drives`, a sensed current and a gain each, into N nodes.

    What enters `outputs` is a current; `names` are those of the drives.
    """
    for m, (name, drive) in enumerate(zip(names, drives, strict=True)):
        for k, pole in enumerate(poles):
            states = _pole(sheet, f"{name}_pole{k}", pole, *drive)
            for n, into in enumerate(outputs):
                value = residues[k, n, m] / abs(pole)
                for state, part, gain in zip(states, ("re", "im"), (value.real, value.imag), strict=False):
                    sheet.current_by_volts(f"G_{name}_pole{k}_{part}{n}", into, state, gain)


def _pole(sheet: Sheet, name: str, pole: complex, sense: str, gain: float) -> tuple[str, ...]:
    """A node that answers a sensed current with |p|/(s - p), or two for a pair of poles.

    The pair p = -a + jb has x1' = -a x1 + b x2 + 2 |p| f, x2' = -b x1 - a x2, divided by |p| so that conductances are
    near one; with a residue r, Re(r) x1 + Im(r) x2 is |p| times r/(s - p) and its conjugate.
    """
    size = abs(pole)
    pair = pole.imag != 0
    states = (sheet.node(f"{name}_re"), sheet.node(f"{name}_im")) if pair else (sheet.node(name),)
    for state in states:
        sheet.capacitor(f"C_{state}", state, GROUND, 1 / size)
        sheet.resistor(f"R_{state}", state, GROUND, -size / pole.real)
    if pair:
        sheet.current_by_volts(f"G_{states[0]}", states[0], states[-1], pole.imag / size)
        sheet.current_by_volts(f"G_{states[-1]}", states[-1], states[0], -pole.imag / size)
    sheet.current_by_current(f"F_{name}", states[0], sense, 2 * gain if pair else gain)
    return states
