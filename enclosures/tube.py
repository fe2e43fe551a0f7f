"""A duct closed at both ends, seen from points along it.

Two solutions of the duct are enough: phi, which moves no air at the first end, and psi, which moves none at the last.
A point at x_n that pushes q into the duct makes the pressure phi(x<) psi(x>) q/W with W the Wronskian
p_phi U_psi - p_psi U_phi (Morse & Ingard, Theoretical Acoustics, 1968, on Green's functions in ducts). Each is followed
in the direction in which it grows, so that neither losses nor length spoil it, and nothing has a pole. Mouths, leaks
and dead ends are points like any other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from enclosures.acoustics import Inside
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.duct import Duct, TwoPorts

_TRACEABLE = 2.0  # nepers between first and last point up to which an impulse can be followed against its decay


def inside(duct: Duct, places: Sequence[float], omega: RealArray, air: Air) -> Inside:
    """The air of `duct` seen from its `places` (m from the first end, P of them), at `omega` (F,) in rad/s."""
    cut = duct.cut_at(places)
    ports = cut.two_ports(omega, air)
    spots = [int(np.abs(cut.ends - place).argmin()) for place in places]
    count, last = len(cut.slices), max(spots)
    zero, one = np.zeros(len(omega), dtype=complex), np.ones(len(omega), dtype=complex)
    phi = {0: (one, zero)}
    state = phi[0]
    for i in range(last):
        phi[i + 1] = state = ports.forward(i, *state)
    psi = {count: (one, zero)}
    state = psi[count]
    for i in reversed(range(min(spots), count)):
        psi[i] = state = ports.backward(i, *state)

    # phi and psi come without e^a of their way; decay[i] is the way from the first end to boundary i
    decay = np.concatenate([np.zeros((len(omega), 1)), np.cumsum(ports.attenuation, axis=1)], axis=1)
    way = np.stack([decay[:, last] - decay[:, spot] for spot in spots], axis=1)  # (F, P) to the last point
    wronskian = phi[last][0] * psi[last][1] - psi[last][0] * phi[last][1]
    phi_p = np.stack([phi[spot][0] for spot in spots], axis=1)
    psi_p = np.stack([psi[spot][0] for spot in spots], axis=1)
    traceable = way.max(axis=1) <= _TRACEABLE
    return Inside(
        direct=_direct(ports, spots, traceable, phi_p, psi_p, way, wronskian),
        spread=np.where(traceable[:, None], psi_p * np.exp(np.where(traceable[:, None], way, 0.0)), 0.0),
        gather=phi_p * np.exp(-way),
        admittance=wronskian,
    )


def pressure_along(
    duct: Duct, places: Sequence[float], flow: ComplexArray, omega: RealArray, air: Air, step: float
) -> tuple[RealArray, ComplexArray]:
    """Pressure along `duct`, from which `flow` (F, P) in m3/s leaves at `places` (m).

    Returns places (n,) in m, no more than `step` (m) apart and the ends among them, and the pressure (F, n) in Pa.
    `omega` (F,) in rad/s. The state is followed from the first end: digits go as e^2a of the attenuation a.
    """
    ends = duct.ends
    grid = np.linspace(0.0, ends[-1], int(np.ceil(ends[-1] / step)) + 1)
    cut = duct.cut_at([*grid[1:-1], *places])
    ports = cut.two_ports(omega, air)
    spots = np.array([int(np.abs(cut.ends - place).argmin()) for place in places])
    seen = inside(cut, [0.0, *places], omega, air)
    amplitude = -(seen.gather[:, 1:] * flow).sum(axis=1) / seen.admittance
    p = seen.spread[:, 0] * amplitude - (seen.direct[:, 0, 1:] * flow).sum(axis=1)
    u = np.zeros(len(omega), dtype=complex)
    pressures = []
    for i in range(len(cut.slices) + 1):
        pressures.append(p)
        if i < len(cut.slices):
            u = u - flow[:, spots == i].sum(axis=1)
            p, u = (part * np.exp(ports.attenuation[:, i]) for part in ports.forward(i, p, u))
    return cut.ends, np.stack(pressures, axis=1)


def _direct(
    ports: TwoPorts,
    spots: Sequence[int],
    traceable: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    phi_p: ComplexArray,
    psi_p: ComplexArray,
    way: RealArray,
    wronskian: ComplexArray,
) -> ComplexArray:
    """The part of the impedance that does not pass through the one amplitude of psi, (F, P, P).

    psi alone says what a point does at places nearer to the last end than itself. At a place nearer to the first end
    the difference (phi_m psi_n - psi_m phi_n)/W is the way of an impulse of flow between the two, which has no poles.
    Followed against its decay it would drown in rounding, so between points with much loss between them the whole
    impedance phi(x<) psi(x>)/W stands here instead; with such loss it has no poles either.
    """
    n = len(spots)
    direct = np.zeros((len(wronskian), n, n), dtype=complex)
    for near in range(n):  # the point nearer to the first end
        p, u = np.zeros(len(wronskian), dtype=complex), np.ones(len(wronskian), dtype=complex)
        grown = np.zeros(len(wronskian))
        for i in range(spots[near], max(spots)):
            p, u = ports.forward(i, p, u)
            grown = grown + ports.attenuation[:, i]
            for far in range(n):
                if spots[far] == i + 1:
                    direct[:, near, far] = np.where(traceable, p * np.exp(np.where(traceable, grown, 0.0)), 0.0)
    lossy = ~traceable
    if lossy.any():
        for m in range(n):
            for k in range(n):
                near, far = (m, k) if spots[m] <= spots[k] else (k, m)
                fade = np.exp(way[lossy, far] - way[lossy, near])
                direct[lossy, m, k] = phi_p[lossy, near] * psi_p[lossy, far] * fade / wronskian[lossy]
    return direct
