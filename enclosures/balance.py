"""The equations that `enclosures.harmonic_balance` solves: drivers beyond small signals among what is linear.

For D drivers of displacement x, velocity u and current i, at each multiple k of the tone's frequency:

    x_k = C_k f_k                      C: displacement per force of the cones on their springs and the enclosure
    i_k = J_k + Y_k (R i_k - v_k)      J, Y, R: what their terminals see of the crossover
    f = Bl(x) i + n'(x) i psi - (K(x) - K(0)) x             v = Re i + d/dt (n(x) psi) + Bl(x) u

with n and psi of `enclosures.large_signal.LargeSignal`. No direct current flows, since neither the source nor the
derivative of a flux nor Bl(x) u has a mean. Products are formed at instants of a period and taken back to harmonics
(Nakhla & Vlach, IEEE Trans. Circuits Syst. 23, 1976); the derivatives are the exact ones of that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver
from enclosures.harmonics import Fourier
from enclosures.large_signal import LargeSignal


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """What is linear at K multiples of B fundamentals."""

    fourier: Fourier
    jkw: ComplexArray  # (B, K) rad/s
    receptance: ComplexArray  # (B, K, D, D) m/N
    admittance: ComplexArray  # (B, K, D, D) S
    flux: ComplexArray  # (B, D, K) Vs/A of the voice coils at rest

    def take(self, rows: NDArray[np.intp]) -> Linear:
        """The same at some of the fundamentals."""
        arrays = (self.jkw, self.receptance, self.admittance, self.flux)
        return Linear(self.fourier, *(array[rows] for array in arrays))


@dataclass(frozen=True, slots=True, eq=False)
class Equations:
    """The equations at B fundamentals, for amplitudes in units of the small-signal ones at the level asked for."""

    drivers: Sequence[Driver]
    large: Sequence[LargeSignal]
    whole: Linear  # k = 0 to H
    halves: Linear  # k = 1/2 to H - 1/2
    current: ComplexArray  # (B, D) J of the fundamental, A peak per volt rms
    resistance: float  # R in ohm
    motion: RealArray  # (B,) m per volt rms, the unit of x
    flow: RealArray  # (B,) A per volt rms, the unit of i

    def take(self, rows: NDArray[np.intp]) -> Equations:
        """The same at some of the fundamentals."""
        return replace(
            self,
            whole=self.whole.take(rows),
            halves=self.halves.take(rows),
            current=self.current[rows],
            motion=self.motion[rows],
            flow=self.flow[rows],
        )

    @property
    def at_rest(self) -> RealArray:
        """The unknowns (B, U) of no motion: real numbers of every x, then of every i, which has no mean."""
        fundamentals, harmonics = self.whole.jkw.shape
        return np.zeros((fundamentals, len(self.drivers) * (4 * harmonics - 3)))

    @property
    def small_signal(self) -> RealArray:
        """The unknowns (B, U) where every curve is what it is at rest."""
        point = self.point(self.at_rest, np.ones(len(self.motion)))
        return np.asarray(-np.linalg.solve(point.jacobian, point.residual[..., None])[..., 0])

    def point(self, state: RealArray, volts: RealArray) -> Point:
        """Everything at the unknowns `state` (B, U) and the levels `volts` (B,), rms of the source."""
        count = len(self.drivers)
        size = 2 * self.whole.jkw.shape[1] - 1
        x, i = np.split(state, [count * size], axis=1)
        x = x.reshape(-1, count, size) * (volts * self.motion)[:, None, None]
        i = i.reshape(-1, count, size - 1) * (volts * self.flow)[:, None, None]
        return Point(self, volts, x, np.concatenate([np.zeros_like(i[..., :1]), i], axis=2))


class Point:
    """The equations at x and i (B, D, P): what is left over, and how that changes."""

    def __init__(self, equations: Equations, volts: RealArray, x: RealArray, i: RealArray) -> None:
        self.equations, self._volts = equations, volts
        fourier = equations.whole.fourier
        self.x, self.i = fourier.complex(x), fourier.complex(i)  # (B, D, H + 1) amplitudes in m and A
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):  # a step too far is taken back
            self._motors = [
                _Motor(driver, large, equations.whole, equations.whole.flux[:, n], x[:, n], i[:, n])
                for n, (driver, large) in enumerate(zip(equations.drivers, equations.large, strict=True))
            ]

    @property
    def positive(self) -> NDArray[np.bool_]:
        """Whether all curves are above zero wherever the cones move, (B,)."""
        return np.asarray(np.all([motor.shapes.positive.all(axis=1) for motor in self._motors], axis=0))

    @property
    def residual(self) -> RealArray:
        """(B, U) in the units of the unknowns; not finite where a curve is not above zero."""
        e, linear = self.equations, self.equations.whole
        drive = np.zeros_like(self.i)
        drive[..., 1] = e.current * self._volts[:, None]
        with np.errstate(invalid="ignore", over="ignore"):
            force, volts = (np.stack(parts, axis=1) for parts in zip(*(m.balance for m in self._motors), strict=True))
            cones = self.x - _applied(linear.receptance, force)
            terminals = self.i - drive - _applied(linear.admittance, e.resistance * self.i - volts)
        size = self._volts[:, None, None]
        above, below = cones / (size * e.motion[:, None, None]), terminals / (size * e.flow[:, None, None])
        return _joined(linear.fourier, above[..., None], below[..., None])[..., 0]

    @property
    def jacobian(self) -> RealArray:
        """Derivatives (B, U, U) of the residual by the unknowns."""
        return self._derivatives(self.equations.whole)

    @property
    def signs(self) -> RealArray:
        """Of the determinants (2, B) for a disturbance that comes back after a period, and for one that is reversed.

        Each changes where such a disturbance begins to grow: where the real multiplier over a period passes 1 or -1.
        """
        each = (self._derivatives(linear) for linear in (self.equations.whole, self.equations.halves))
        return np.stack([np.linalg.slogdet(matrix)[0] for matrix in each])

    def _derivatives(self, linear: Linear) -> RealArray:
        """Of what is left over, for disturbances at the multiples of `linear`."""
        e, one = self.equations, linear.fourier.identity
        unit = (e.flow / e.motion)[:, None, None, None]
        by_place, by_current = [], []
        for n, motor in enumerate(self._motors):
            force_x, force_i, volts_x, volts_i = motor.derivatives(linear, linear.flux[:, n])
            own = (np.arange(len(self._motors)) == n)[:, None, None] * one  # (D, K, P)
            spread = np.swapaxes(linear.receptance[..., n], 1, 2)[..., None]  # (B, D, K, 1)
            drawn = np.swapaxes(linear.admittance[..., n], 1, 2)[..., None]
            inserted = volts_i[:, None] - e.resistance * one
            by_place.append(_joined(linear.fourier, own - spread * force_x[:, None], drawn * volts_x[:, None] / unit))
            of_current = _joined(linear.fourier, -spread * force_i[:, None] * unit, own + drawn * inserted)
            by_current.append(of_current[..., linear.fourier.lasting :])
        return np.concatenate([*by_place, *by_current], axis=2)


class _Motor:
    """One driver's curves at the instants of a period, for x and i (B, P) at whole multiples."""

    def __init__(
        self, driver: Driver, large: LargeSignal, linear: Linear, flux: ComplexArray, x: RealArray, i: RealArray
    ) -> None:
        fourier = linear.fourier
        self._driver, self._linear = driver, linear
        self._place, self._current = fourier.samples(x), fourier.samples(i)
        self._speed = fourier.samples(fourier.real(linear.jkw * fourier.complex(x)))
        self.shapes = large.shapes(self._place)
        self._turns = self.shapes.inductance.root
        self._psi = fourier.samples(fourier.real(flux * fourier.amplitudes(self._turns.value * self._current)))

    @property
    def balance(self) -> tuple[ComplexArray, ComplexArray]:
        """f and v, each (B, K): the force in N beside the small-signal spring and the air, and the terminals' volts."""
        shapes, turns, to = self.shapes, self._turns, self._linear.fourier.amplitudes
        bl, spring = self._driver.bl * shapes.bl.value, (shapes.stiffness.value - 1) / self._driver.cms
        force = to((bl + turns.slope * self._psi) * self._current - spring * self._place)
        volts = to(self._driver.re * self._current + bl * self._speed) + self._linear.jkw * to(turns.value * self._psi)
        return force, volts

    def derivatives(
        self, linear: Linear, flux: ComplexArray
    ) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
        """Of f by x and i, then of v by x and i, at the multiples of `linear`, each (B, K, P)."""
        shapes, turns, fourier, product = self.shapes, self._turns, linear.fourier, linear.fourier.product
        bl, k, jkw = self._driver.bl, 1 / self._driver.cms, linear.jkw[..., None]
        current, psi = self._current, self._psi
        by_x, by_i = product(turns.slope * current), product(turns.value)  # of n i
        psi_x, psi_i = fourier.rows(flux[..., None] * by_x), fourier.rows(flux[..., None] * by_i)
        spring = shapes.stiffness.slope * self._place + shapes.stiffness.value - 1
        force_x = product(bl * shapes.bl.slope * current + turns.curvature * current * psi - k * spring) + by_x @ psi_x
        force_i = product(bl * shapes.bl.value + turns.slope * psi) + by_x @ psi_i
        speed = fourier.rows(jkw * fourier.identity)
        volts_x = product(bl * shapes.bl.slope * self._speed) + product(bl * shapes.bl.value) @ speed
        volts_x = volts_x + jkw * (product(turns.slope * psi) + by_i @ psi_x)
        volts_i = self._driver.re * fourier.identity + jkw * (by_i @ psi_i)
        return force_x, force_i, volts_x, volts_i


def _applied(matrices: ComplexArray, amplitudes: ComplexArray) -> ComplexArray:
    """Matrices (B, K, D, D) on (B, D, K)."""
    return np.asarray(np.einsum("bkde,bek->bdk", matrices, amplitudes))


def _joined(fourier: Fourier, cones: ComplexArray, terminals: ComplexArray) -> RealArray:
    """Rows (B, U, .) from amplitudes (B, D, K, .); the equation of a direct current is left out."""
    above, below = fourier.rows(cones), fourier.rows(terminals)[:, :, fourier.lasting :]
    flat = [rows.reshape(rows.shape[0], rows.shape[1] * rows.shape[2], rows.shape[3]) for rows in (above, below)]
    return np.concatenate(flat, axis=1)
