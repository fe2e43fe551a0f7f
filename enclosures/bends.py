"""A bend of a rectangular duct in its own plane, as a straight duct with less mass. Plain floats, no numpy."""

from __future__ import annotations

import math

from enclosures.frozen import frozen

# 48/pi^5 times the sum of 1/n^5 over odd n: see `Bend.mass_ratio`
_JUNCTION = 48 * sum(n**-5 for n in range(1, 200, 2)) / math.pi**5  # 0.1576


@frozen
class Bend:
    """A bend through `angle` (rad) of a duct that is `across` (m) wide in the plane of the bend.

    `inner_radius` (m) is that of the inner wall, for a fold round the end of a board half the board's thickness; the
    outer wall has the same centre. Both ends go on as straight duct for about `across` or more.
    """

    angle: float
    inner_radius: float
    across: float

    def __post_init__(self) -> None:
        """Raise ValueError for anything that is not above zero and finite, or more than a full turn."""
        for name, value in (("angle", self.angle), ("inner radius", self.inner_radius), ("width", self.across)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"bend: {name} must be above zero, not {value!r}")
        if self.angle > 2 * math.pi:
            raise ValueError(f"bend: more than a full turn: {math.degrees(self.angle):g} degrees")

    @property
    def centre_length(self) -> float:
        """Of the bend's centre line in m. The bend holds as much air as a straight duct of this length."""
        return self.angle * (self.inner_radius + self.across / 2)

    @property
    def mass_ratio(self) -> float:
        """Acoustic mass of the bend over that of a straight duct of `centre_length`, low-frequency limit; below 1.

        Inside the bend air moves as 1/r: S M/(rho angle) = across/L, L = ln(r2/r1), which is
        m = across/((r1 + across/2) L) of the straight duct's (Rostafinski, NASA RP-1248, 1991; from memory). Where the
        flow turns from even to 1/r it takes more: 2 across J (1/m - 1)(1 - e^(-pi angle/L)) of straight duct for both
        ends, J = 48/pi^5 (1 + 3^-5 + 5^-5 + ...) = 0.1576. That is our own: the modes of a straight duct and of a bend
        matched to first order in the curvature (energy 4/pi^5 n^-5 per odd mode n, against 1/12 for the whole of the
        uneven part), and bend modes that die as e^(-n pi angle/L) to the other end. Without it a half turn comes out
        9 % too light at an inner radius of 0.1 `across` and a third at 0.01. Against finite elements from both sides
        (`tests/test_bends.py`) the sum is within 0.3 % at 0.1 `across` or more, 0.7 % at 0.05, 2.5 % at 0.01 and 7 % at
        0.001, mostly heavy.
        """
        turn = math.log1p(self.across / self.inner_radius)  # L
        inside = self.across / ((self.inner_radius + self.across / 2) * turn)  # m
        ends = 2 * self.across * _JUNCTION * (1 / inside - 1) * -math.expm1(-math.pi * self.angle / turn)
        return min(1.0, inside + ends / self.centre_length)  # rounding, where the bend is as good as straight

    @property
    def path_length(self) -> float:
        """The length in m of straight duct with the same delay: its air as in the bend, its mass `mass_ratio`."""
        return self.centre_length * math.sqrt(self.mass_ratio)
