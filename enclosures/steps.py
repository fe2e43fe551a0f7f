"""The air at a step of area: the mass that the flow's narrowing adds between two ducts. Plain floats, no numpy."""

from __future__ import annotations

import math

from enclosures.air import Air


def step_mass(area_one: float, area_two: float, air: Air) -> float:
    """Acoustic mass in kg/m4 at the step between coaxial round ducts of `area_one` and `area_two` (m2).

    Low-frequency limit; symmetric, and zero for equal areas. Kergomard & Garcia, J. Sound Vib. 114, 1987, in the one
    polynomial that Taillard (thesis, Le Mans, 2018, appendix A.3.7) made of their two formulae (both from memory):
    M = rho/r (0.26164 - 0.353 x + 0.0809 x^3 + 0.03816 x^4 - 0.12386 x^5 + 0.09616 x^6), r the smaller radius over x
    times the larger; at x = 0 it is the mass of a flanged end. Against mode matching it is good to 0.5 % up to x = 0.7,
    and to 0.001 rho/r, where little is left of it, beyond (`tests/test_steps.py`). Other shapes count as the circle of
    the same area; a narrow duct that is not at the wide one's centre has more mass.

    Raises ValueError for an area that is not above zero and finite.
    """
    for area in (area_one, area_two):
        if not (math.isfinite(area) and area > 0):
            raise ValueError(f"step of area: an area must be above zero, not {area!r}")
    small, large = sorted((area_one, area_two))
    x = math.sqrt(small / large)
    # the polynomial with its double root at x = 1 taken out: nothing cancels near equal areas
    rest = 0.26164 + x * (0.17028 + x * (0.07892 + x * (0.06846 + x * 0.09616)))
    return air.density * math.sqrt(math.pi / small) * (1 - x) ** 2 * rest
