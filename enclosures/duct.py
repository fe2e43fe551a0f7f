"""Lossy one-dimensional waveguides: tapered ducts as two-ports, wall losses after Zwikker & Kosten.

A duct is cut into slices. In a slice Webster's equation (S p')' + k^2 S p = 0 becomes, with y = p sqrt(S),
y'' + (k^2 - q) y = 0, q = (sqrt S)''/sqrt S. For straight (q = 0), conical (q = 0) and exponential (q = m^2/4) ducts
q is constant and the slice is exact at any length. Where the area is linear, q varies slowly; slices are kept short
(`LARGEST_AREA_RATIO`) and q is a constant that keeps the first three moments of the slice (its acoustic mass, its
volume and the mass times the volume behind it). Against the exact solution in Bessel functions that leaves less than
1e-5 of the largest element (0.0001 dB), measured for area ratios up to 10 and kL up to 300.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from scipy.special import jve

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.fibre import Fill, Fluid

LARGEST_AREA_RATIO = 1.05  # of the two ends of a slice with linear area
LARGEST_LOSSY_AREA_RATIO = 1.3  # of the two ends of a slice whose walls' losses are taken at one radius


class NormalForm(NamedTuple):
    """A slice of length L and area ratio S2/S1 as a solution with constant q."""

    bend: float  # -q L^2
    widen: float  # p1/p2 at high frequency: sqrt(S2/S1), or close to it
    mean: float  # the area that carries sin(bL)/b, over sqrt(S1 S2): 1, or close to it


@dataclass(frozen=True, slots=True)
class Taper:
    """How a duct's area runs from one end to the other.

    `area` gives the area at a fraction of the length and `fraction` the reverse, both from the areas of the two ends.
    `normal_form` takes the logarithm of the area ratio. `exact` says whether a long slice is exact in a fluid that is
    the same all along it.
    """

    area: Callable[[float, float, float], float]
    fraction: Callable[[float, float, float], float]
    normal_form: Callable[[float], NormalForm]
    exact: bool


@lru_cache(maxsize=1024)
def _area_linear(log_ratio: float) -> NormalForm:
    """The constant q that keeps the moments of a slice whose area is linear, for log ratios up to about 0.5.

    Up to (kL)^2 a two-port is 1 - k^2 m1 and 1 - k^2 m2 on its diagonal, with m1 the integral of dx/S times the volume
    before x, m2 of S dx times the mass before x (L = 1), and m1 + m2 = volume times mass. Normal forms with s =
    sin(b)/b, c = cos(b), s' = ds/d(b^2) have (s^2/2 + c s') = (m1 s + s') w = (m2 s + s')/w.
    """
    if log_ratio == 0:
        return NormalForm(0.0, 1.0, 1.0)
    slope = math.expm1(log_ratio)
    first = second = 0.0
    for x, weight in _GAUSS:  # closed forms of the two integrals cancel for small ratios
        area = 1 + slope * x
        first += weight * (x + slope * x * x / 2) / area
        second += weight * area * math.log1p(slope * x) / slope

    def terms(bend: float) -> tuple[float, float, float, float]:
        powers = [(-bend) ** n / math.factorial(2 * n) for n in range(10)]
        sine = sum(power / (2 * n + 1) for n, power in enumerate(powers))
        cosine = sum(powers)
        derivative = -sum((n + 1) * (-bend) ** n / math.factorial(2 * n + 3) for n in range(10))
        half = sine * sine / 2 + cosine * derivative
        return sine, half, first * sine + derivative, second * sine + derivative

    def excess(bend: float) -> float:
        _, half, before, behind = terms(bend)
        return half * half - before * behind

    bend, previous = log_ratio**2 / 4, log_ratio**2 / 4.2  # the first is its limit for small ratios
    value, value_before = excess(bend), excess(previous)
    for _ in range(20):  # secant
        if value in (0.0, value_before):
            break
        bend, previous, value_before = bend - value * (bend - previous) / (value - value_before), bend, value
        value = excess(bend)
        if abs(bend - previous) < 1e-15 * abs(bend):
            break
    sine, half, before, _ = terms(bend)
    return NormalForm(bend, half / before, sine * 2 * math.sinh(log_ratio / 2) / log_ratio)  # mean: the mass


_GAUSS = [(float(x + 1) / 2, float(w) / 2) for x, w in zip(*np.polynomial.legendre.leggauss(12), strict=True)]

TAPERS: Mapping[str, Taper] = MappingProxyType(
    {
        "area_linear": Taper(
            area=lambda s1, s2, t: s1 + (s2 - s1) * t,
            fraction=lambda s1, s2, s: (s - s1) / (s2 - s1),
            normal_form=_area_linear,
            exact=False,
        ),
        "conical": Taper(
            area=lambda s1, s2, t: (math.sqrt(s1) + (math.sqrt(s2) - math.sqrt(s1)) * t) ** 2,
            fraction=lambda s1, s2, s: (math.sqrt(s) - math.sqrt(s1)) / (math.sqrt(s2) - math.sqrt(s1)),
            normal_form=lambda u: NormalForm(0.0, math.exp(u / 2), 1.0),
            exact=True,
        ),
        "exponential": Taper(
            area=lambda s1, s2, t: s1 * math.pow(s2 / s1, t),
            fraction=lambda s1, s2, s: math.log(s / s1) / math.log(s2 / s1),
            normal_form=lambda u: NormalForm(-((u / 2) ** 2), math.exp(u / 2), 1.0),
            exact=True,
        ),
    }
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of duct without a step: `length` (m), `area` and `end_area` (m2), a word of `TAPERS`, its filling.

    `count` ducts side by side share the areas given: the walls see the radius of one of them.
    """

    length: float
    area: float
    end_area: float
    taper: str = "area_linear"
    fill: Fill | None = None
    count: int = 1

    def area_at(self, fraction: float) -> float:
        """Area in m2 at a fraction of the length."""
        return TAPERS[self.taper].area(self.area, self.end_area, fraction)

    def part(self, start: float, stop: float) -> Piece:
        """The stretch between two fractions of the length; the taper of a part is the taper of the whole."""
        return Piece(
            self.length * (stop - start), self.area_at(start), self.area_at(stop), self.taper, self.fill, self.count
        )

    def slices(self, lossy_walls: bool) -> list[Piece]:
        """Cut so that each slice is exact, or so short that what it neglects does not matter."""
        largest = LARGEST_LOSSY_AREA_RATIO if lossy_walls and self.fill is None else math.inf
        if not TAPERS[self.taper].exact:
            largest = LARGEST_AREA_RATIO
        ratio = math.log(self.end_area / self.area)
        number = math.ceil(abs(ratio) / math.log(largest))
        if number <= 1:
            return [self]
        inner = [self.area * math.exp(ratio * i / number) for i in range(1, number)]  # equal ratios, not equal lengths
        cuts = [0.0, *(TAPERS[self.taper].fraction(self.area, self.end_area, area) for area in inner), 1.0]
        return [self.part(start, stop) for start, stop in pairwise(cuts)]

    @property
    def wall_radius(self) -> float:
        """The radius (m) whose inverse is the mean inverse radius (Simpson): wall losses go as 1/radius."""
        inverse = [math.sqrt(math.pi * self.count / self.area_at(t)) for t in (0.0, 0.5, 1.0)]
        return 6 / (inverse[0] + 4 * inverse[1] + inverse[2])


def bessel_ratio(z: ComplexArray) -> ComplexArray:
    """J1(z)/J0(z) for z on the ray arg z = -pi/4 (as wall losses need it), without overflow, to rounding.

    Scaled Bessel functions up to |z| = 40; beyond, where the growing Hankel function alone remains (the other is
    below e^-56), the ratio of its asymptotic series (NIST DLMF 10.17.5) as one series, which is quicker.
    """
    ratio = np.empty(z.shape, dtype=complex)
    near = np.abs(z) < 40
    ratio[near] = jve(1, z[near]) / jve(0, z[near])
    inverse = 1j / z[~near]
    total = np.full(inverse.shape, _HANKEL_RATIO[-1], dtype=complex)
    for coefficient in _HANKEL_RATIO[-2::-1]:
        total *= inverse
        total += coefficient
    ratio[~near] = -1j * total
    return ratio


def _hankel_ratio(terms: int) -> list[float]:
    """Coefficients of the quotient of the series of H1 and H0 in i/z, from a_k(order) of DLMF 10.17.1."""
    one, zero = [1.0], [1.0]
    for k in range(1, terms):
        one.append(one[-1] * (4 - (2 * k - 1) ** 2) / (8 * k))
        zero.append(zero[-1] * -((2 * k - 1) ** 2) / (8 * k))
    quotient: list[float] = []
    for k in range(terms):
        quotient.append(one[k] - sum(quotient[i] * zero[k - i] for i in range(k)))
    return quotient


_HANKEL_RATIO = _hankel_ratio(14)  # at |z| = 40 the first term left out is below 1e-16


def wall_losses(omega: RealArray, radius: RealArray, air: Air) -> Fluid:
    """The air in round ducts of `radius` (n,) in m as an equivalent fluid (F, n), at `omega` (F,) in rad/s.

    Zwikker & Kosten (1949), see Stinson, J. Acoust. Soc. Am. 89, 1991: with
    F(s) = 2 J1(s)/(s J0(s)), s = a sqrt(-jw rho/mu), rho_e = rho/(1 - F(s)), K = rho c^2/(1 + (g - 1) F(s sqrt Pr)).
    """
    s = np.sqrt(omega * (air.density / air.viscosity))[:, None] * radius * complex(math.sqrt(0.5), -math.sqrt(0.5))
    st = s * math.sqrt(air.prandtl)
    viscous = 2 * bessel_ratio(s) / s
    thermal = 2 * bessel_ratio(st) / st
    return Fluid(
        density=air.density / (1 - viscous), bulk_modulus=air.bulk_modulus / (1 + (air.heat_ratio - 1) * thermal)
    )


@dataclass(frozen=True, slots=True, eq=False)
class TwoPorts:
    """n slices in a row: [p2, U2] = e^a [[pp, pu], [up, uu]] [p1, U1], each (F, n); determinant of the whole one.

    p in Pa, U in m3/s towards the second end; `attenuation` a (F, n) in nepers is split off so that nothing overflows.
    """

    pp: ComplexArray
    pu: ComplexArray
    up: ComplexArray
    uu: ComplexArray
    attenuation: RealArray

    def forward(self, i: int, p: ComplexArray, u: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """The state behind slice `i` from that before it, both (F,), without its e^a."""
        return self.pp[:, i] * p + self.pu[:, i] * u, self.up[:, i] * p + self.uu[:, i] * u

    def backward(self, i: int, p: ComplexArray, u: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """The state before slice `i` from that behind it, both (F,), without its e^a."""
        return self.uu[:, i] * p - self.pu[:, i] * u, self.pp[:, i] * u - self.up[:, i] * p


@dataclass(frozen=True)
class Duct:
    """`pieces` in a row, cut into slices as their taper and the walls ask for. Area steps have no correction.

    An unfilled piece has the wall losses of a round duct of the same area if `lossy_walls`.
    """

    pieces: tuple[Piece, ...]
    lossy_walls: bool

    @cached_property
    def slices(self) -> tuple[Piece, ...]:
        """The slices in order."""
        return tuple(piece for whole in self.pieces for piece in whole.slices(self.lossy_walls))

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """What each slice is filled with, (F, n)."""
        shape = (len(omega), len(self.slices))
        density = np.full(shape, air.density, dtype=complex)
        modulus = np.full(shape, air.bulk_modulus, dtype=complex)
        unfilled = [i for i, piece in enumerate(self.slices) if piece.fill is None]
        if self.lossy_walls and unfilled:
            walls = wall_losses(omega, np.array([self.slices[i].wall_radius for i in unfilled]), air)
            density[:, unfilled], modulus[:, unfilled] = walls.density, walls.bulk_modulus
        filled: dict[Fill, Fluid] = {}
        for i, piece in enumerate(self.slices):
            if piece.fill is not None:
                if piece.fill not in filled:
                    filled[piece.fill] = piece.fill.fluid(omega, air)
                density[:, i] = filled[piece.fill].density
                modulus[:, i] = filled[piece.fill].bulk_modulus
        return Fluid(density, modulus)

    def two_ports(self, omega: RealArray, air: Air) -> TwoPorts:
        """The slices as two-ports at `omega` (F,) in rad/s."""
        return two_ports(omega, self.slices, self.fluid(omega, air))


def two_ports(omega: RealArray, slices: Sequence[Piece], fluid: Fluid) -> TwoPorts:
    """Two-ports of `slices` holding `fluid` (F, n): Webster's equation in the normal form of the module's text."""
    length = np.array([piece.length for piece in slices])
    log_ratio = [math.log(piece.end_area / piece.area) for piece in slices]
    forms = [TAPERS[piece.taper].normal_form(u) for piece, u in zip(slices, log_ratio, strict=True)]
    bend = np.array([form.bend for form in forms])
    widen = np.array([form.widen for form in forms])
    area = np.array(
        [form.mean * math.sqrt(piece.area * piece.end_area) for piece, form in zip(slices, forms, strict=True)]
    )
    # at 0 Hz: sin(b)/b and cos(b) for b^2 of either sign, and the slopes L (sqrt S)'/sqrt S that let a constant
    # pressure move no air and make the two-port's determinant one
    angle = np.sqrt(bend.astype(complex))
    sin0 = np.where(bend == 0, 1.0, (np.sin(angle) / np.where(bend == 0, 1.0, angle)).real)
    cos0 = np.cos(angle).real
    slope1 = (widen - cos0) / sin0
    slope2 = (cos0 - 1 / widen) / sin0

    b2 = fluid.density / fluid.bulk_modulus * (omega[:, None] * length) ** 2 + bend  # (b L)^2
    b = np.sqrt(b2)
    b = np.where(b.imag > 0, -b, b)  # attenuation is never negative
    attenuation = -b.imag
    turn = np.exp(1j * b.real)  # e^{jb} without its growth
    rest = np.expm1(-2j * b)  # e^{-2jb} - 1
    cos = turn * (1 + rest / 2)
    b_safe = np.where(b == 0, 1.0, b)
    sin = np.where(b == 0, 1.0, turn * rest / (-2j * b_safe))  # sin(b)/b
    mass = 1j * omega[:, None] * fluid.density
    return TwoPorts(
        pp=(cos + slope1 * sin) / widen,  # p2/p1 at U1 = 0
        pu=-mass * sin * (length / area),  # p2/U1 at p1 = 0
        up=((b2 + slope1 * slope2) * sin - (slope1 - slope2) * cos) * (area / length) / mass,
        uu=(cos - slope2 * sin) * widen,
        attenuation=attenuation,
    )
