"""Lossy one-dimensional waveguides: tapered ducts as two-ports, wall losses after Zwikker & Kosten.

A duct is cut into slices. In a slice Webster's equation (S p')' + k^2 S p = 0 becomes, with y = p sqrt(S),
y'' + (k^2 - q) y = 0, q = (sqrt S)''/sqrt S. For straight (q = 0), conical (q = 0) and exponential (q = m^2/4) ducts
q is constant and the slice is exact at any length. Where the area is linear, q varies slowly; slices are kept short
(`LARGEST_AREA_RATIO`) and q is a constant that keeps the first three moments of the slice (its acoustic mass, its
volume and the mass times the volume behind it). Against the exact solution in Bessel functions that leaves less than
1e-5 of the largest element (0.0001 dB), measured for area ratios up to 10 and kL up to 300.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise, zip_longest
from types import MappingProxyType
from typing import NamedTuple, Protocol

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.fibre import Fluid

LARGEST_AREA_RATIO = 1.05  # of the two ends of a slice with linear area
LARGEST_LOSSY_AREA_RATIO = 1.1  # of the two ends of a slice whose walls' losses are taken at one radius
_NEARLY_NOTHING = 1e-300  # keeps sin(b)/b finite at b = 0 and is lost beside anything else
SAME_PLACE = 1e-9  # m: places closer than this are one
_SAME = 1e-9  # relative: areas closer than this are one


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


class Medium(Protocol):
    """What fills a duct: hashable, and a fluid at every frequency."""

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """Its complex density and bulk modulus, each (F,), at `omega` (F,) in rad/s."""
        ...


@dataclass(frozen=True, slots=True)
class Slice:
    """A stretch of duct as one solution with constant q: its `length` (m) and `area` (m2) at the first end.

    `bend` is -q length^2 and `widen` the ratio p1/p2 at high frequency, the square root of the area ratio; walls are
    those of a round duct of `wall_radius` (m). The mass of the air is `mass_ratio` times that of a straight duct, and
    `step` (kg/m4) stands in series behind it.
    """

    length: float
    area: float
    bend: float
    widen: float
    wall_radius: float
    fill: Medium | None
    mass_ratio: float
    step: float = 0.0

    def cut(self, fraction: float) -> tuple[Slice, Slice]:
        """The two parts on either side of a fraction of the length; exact, since q stays what it was."""
        angle = cmath.sqrt(self.bend)
        sine, cosine = _sine(angle), cmath.cos(angle)
        slope = (self.widen - cosine) / sine  # L (sqrt S)'/sqrt S at the first end
        here = (cmath.cos(angle * fraction) + slope * fraction * _sine(angle * fraction)).real  # sqrt S, 1 at first
        first = replace(self, length=self.length * fraction, bend=self.bend * fraction**2, widen=here, step=0.0)
        second = replace(
            self,
            length=self.length * (1 - fraction),
            area=self.area * here**2,
            bend=self.bend * (1 - fraction) ** 2,
            widen=self.widen / here,
        )
        return first, second


def _sine(angle: complex) -> complex:
    """sin(x)/x."""
    return cmath.sin(angle) / angle if angle else 1.0


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of duct without a step: `length` (m), `area` and `end_area` (m2), a word of `TAPERS`, its filling.

    `hydraulic_ratio` is the hydraulic radius 2 area/perimeter over that of a circle of the same area: less than 1 for
    whatever is not round, or for several ducts side by side that share the areas given. `mass_ratio` is the mass of its
    air over that of a straight duct (see `enclosures.bends`).
    """

    length: float
    area: float
    end_area: float
    taper: str = "area_linear"
    fill: Medium | None = None
    hydraulic_ratio: float = 1.0
    mass_ratio: float = 1.0

    def area_at(self, fraction: float) -> float:
        """Area in m2 at a fraction of the length."""
        return TAPERS[self.taper].area(self.area, self.end_area, fraction)

    def joined(self, following: Piece) -> Piece | None:
        """This piece and the one behind it as one, where that goes on as this began; None where it does not."""
        whole = replace(self, length=self.length + following.length, end_area=following.end_area)
        alike = replace(following, length=self.length, area=self.area, end_area=self.end_area) == self
        goes_on = math.isclose(self.end_area, following.area, rel_tol=_SAME) and math.isclose(
            whole.area_at(self.length / whole.length), self.end_area, rel_tol=_SAME
        )
        return whole if alike and goes_on else None

    def slices(self, lossy_walls: bool) -> list[Slice]:
        """Cut so that each slice is exact, or so short that what it neglects does not matter."""
        taper = TAPERS[self.taper]
        largest = LARGEST_LOSSY_AREA_RATIO if lossy_walls and self.fill is None else math.inf
        if not taper.exact:
            largest = LARGEST_AREA_RATIO
        ratio = math.log(self.end_area / self.area)
        number = max(1, math.ceil(abs(ratio) / math.log(largest)))
        inner = [self.area * math.exp(ratio * i / number) for i in range(1, number)]  # equal ratios, not equal lengths
        cuts = [0.0, *(taper.fraction(self.area, self.end_area, area) for area in inner), 1.0]
        return [self._slice(start, stop) for start, stop in pairwise(cuts)]

    def _slice(self, start: float, stop: float) -> Slice:
        """The stretch between two fractions of the length; the taper of a part is the taper of the whole."""
        first, middle, last = (self.area_at(t) for t in (start, (start + stop) / 2, stop))
        form = TAPERS[self.taper].normal_form(math.log(last / first))
        inverse = [math.sqrt(math.pi / area) for area in (first, middle, last)]
        return Slice(
            length=self.length * (stop - start),
            area=form.mean * math.sqrt(first * last) / form.widen,
            bend=form.bend,
            widen=form.widen,
            # wall losses go as 1/radius: the radius whose inverse is the mean inverse radius (Simpson)
            wall_radius=self.hydraulic_ratio * 6 / (inverse[0] + 4 * inverse[1] + inverse[2]),
            fill=self.fill,
            mass_ratio=self.mass_ratio,
        )


def bessel_ratio(z: ComplexArray) -> ComplexArray:
    """J1(z)/J0(z) for z on the ray arg z = -pi/4 (as wall losses need it), without overflow, to rounding.

    Scaled Bessel functions up to |z| = 40; beyond, where the growing Hankel function alone remains (the other is
    below e^-56), the ratio of its asymptotic series (NIST DLMF 10.17.5) as one series, which is quicker.
    """
    from scipy.special import jve  # takes an eighth of a second to load

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


@dataclass(frozen=True, slots=True)
class Duct:
    """Slices in a row. One that is not filled has the wall losses of a round duct if `lossy_walls`."""

    slices: tuple[Slice, ...]
    lossy_walls: bool

    @property
    def ends(self) -> RealArray:
        """Where the slices begin and the last one ends, (n + 1,) in m from the first end."""
        return np.concatenate([[0.0], np.cumsum([piece.length for piece in self.slices])])

    def cut_at(self, places: Sequence[float]) -> Duct:
        """The same duct with a boundary between slices at each of `places` (m), to within `SAME_PLACE`."""
        slices = list(self.slices)
        for place in places:
            start, i = 0.0, 0
            while i < len(slices) - 1 and start + slices[i].length < place - SAME_PLACE:
                start += slices[i].length
                i += 1
            if start + SAME_PLACE < place < start + slices[i].length - SAME_PLACE:
                slices[i : i + 1] = slices[i].cut((place - start) / slices[i].length)
        return Duct(tuple(slices), self.lossy_walls)

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """What each slice is filled with, (F, n)."""
        shape = (len(omega), len(self.slices))
        density = np.full(shape, air.density, dtype=complex)
        modulus = np.full(shape, air.bulk_modulus, dtype=complex)
        bare = [i for i, piece in enumerate(self.slices) if piece.fill is None]
        if self.lossy_walls and bare:
            radii, which = np.unique([self.slices[i].wall_radius for i in bare], return_inverse=True)
            walls = wall_losses(omega, radii, air)
            density[:, bare], modulus[:, bare] = walls.density[:, which], walls.bulk_modulus[:, which]
        filled: dict[Medium, Fluid] = {}
        for i, piece in enumerate(self.slices):
            if piece.fill is not None:
                if piece.fill not in filled:
                    filled[piece.fill] = piece.fill.fluid(omega, air)
                density[:, i] = filled[piece.fill].density
                modulus[:, i] = filled[piece.fill].bulk_modulus
        density *= [piece.mass_ratio for piece in self.slices]
        return Fluid(density, modulus)

    def two_ports(self, omega: RealArray, air: Air) -> TwoPorts:
        """The slices as two-ports at `omega` (F,) in rad/s."""
        return two_ports(omega, self.slices, self.fluid(omega, air))


def duct(pieces: Sequence[Piece], lossy_walls: bool, step_mass: Callable[[float, float], float] | None = None) -> Duct:
    """`pieces` in a row, cut into slices as their taper and the walls ask for.

    Pieces that go on as one are one, so that it does not matter where a builder divides a taper. `step_mass` gives the
    acoustic mass (kg/m4) of a step from one area (m2) to another; without it steps have no correction.
    """
    joined: list[Piece] = []
    for piece in pieces:
        one = joined[-1].joined(piece) if joined else None
        joined[-1:] = [one] if one else [*joined[-1:], piece]
    slices: list[Slice] = []
    for piece, following in zip_longest(joined, joined[1:]):
        own = piece.slices(lossy_walls)
        if step_mass and following is not None:
            own[-1] = replace(own[-1], step=step_mass(piece.end_area, following.area))
        slices += own
    return Duct(tuple(slices), lossy_walls)


def two_ports(omega: RealArray, slices: Sequence[Slice], fluid: Fluid) -> TwoPorts:
    """Two-ports of `slices` holding `fluid` (F, n): Webster's equation in the normal form of the module's text."""
    length, area, bend, widen, step = np.array([(s.length, s.area, s.bend, s.widen, s.step) for s in slices]).T
    # at 0 Hz: sin(b)/b and cos(b) for b^2 of either sign, and the slopes L (sqrt S)'/sqrt S that let a constant
    # pressure move no air and make the two-port's determinant one
    angle = np.sqrt(bend.astype(complex))
    sin0 = np.where(bend == 0, 1.0, (np.sin(angle) / np.where(bend == 0, 1.0, angle)).real)
    cos0 = np.cos(angle).real
    slope1 = (widen - cos0) / sin0
    slope2 = (cos0 - 1 / widen) / sin0

    b2 = fluid.density / fluid.bulk_modulus * (omega[:, None] * length) ** 2 + bend + _NEARLY_NOTHING  # (b L)^2
    b = np.sqrt(b2)  # of either sign: cos(b) and sin(b)/b are even
    attenuation = np.abs(b.imag)
    # both without their e^attenuation, from real functions, which keeps every digit of a short slice
    cosine, sine = np.cos(b.real), np.sin(b.real)
    sinh = np.expm1(-2 * attenuation) / -2
    cosh = 1 - sinh
    sinh = np.copysign(sinh, b.imag)
    cos = _complex(cosine * cosh, -sine * sinh)
    sin = _complex(sine * cosh, cosine * sinh) / b
    mass = 1j * omega[:, None] * fluid.density
    mean = area * widen  # of both ends, geometric
    pp = (cos + slope1 * sin) / widen  # p2/p1 at U1 = 0
    pu = mass * sin * (-length / mean)  # p2/U1 at p1 = 0
    up = ((b2 + slope1 * slope2) * sin - (slope1 - slope2) * cos) * (mean / length) / mass
    uu = (cos - slope2 * sin) * widen
    if step.any():  # a mass in series behind: p2 falls by jw m U2
        behind = 1j * omega[:, None] * step
        pp -= behind * up
        pu -= behind * uu
    return TwoPorts(pp, pu, up, uu, attenuation)


def _complex(real: RealArray, imaginary: RealArray) -> ComplexArray:
    whole = np.empty(real.shape, dtype=complex)
    whole.real, whole.imag = real, imaginary
    return whole
