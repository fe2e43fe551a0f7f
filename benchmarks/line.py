"""A quarter-wave line of ten sections, straight, conical and with linear area, beside openwind on the same duct.

Three steps of area, lossy walls and a port at its mouth, 400 frequencies from 20 Hz to 1 kHz, in one process, putting
the line together included. openwind solves it by finite elements on the mesh it chooses itself, and by its method
"hybrid", which takes transfer matrices where they are exact; it is given the same duct, pipe end, masses at the steps,
losses and air. The note says how far the two input impedances are apart: the times are those of the same answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np

from benchmarks.rows import Row
from benchmarks.timing import quickest
from enclosures.acoustics import electrical_load
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver
from enclosures.line import Line, Mouth, Section
from enclosures.vented import Port

TITLE = "A line, beside openwind"
WEATHER = {"humidity": 0.5, "carbon": 4e-4}
CELSIUS = 20.0
WOOFER = Driver(re=5.6, bl=6.3, mms=9.5e-3, cms=1.10e-3, rms=0.85, sd=88e-4)

# length and areas at the two ends, cm and cm2: steps at the fifth and from the ninth on; the port is the last row
SECTIONS = (
    (20.0, 180.0, 180.0, "straight"),
    (15.0, 180.0, 150.0, "area_linear"),
    (25.0, 150.0, 120.0, "conical"),
    (10.0, 120.0, 120.0, "straight"),
    (20.0, 140.0, 110.0, "area_linear"),
    (20.0, 110.0, 80.0, "conical"),
    (15.0, 80.0, 80.0, "straight"),
    (20.0, 80.0, 65.0, "area_linear"),
    (15.0, 90.0, 70.0, "conical"),
    (12.0, 60.0, 60.0, "straight"),
)
PORT = (9.0, 25.0, 25.0, "straight")
# openwind's words for them: its Bessel horn r ~ (x - xp)^-a has with a = -1/2 an area that is linear
SHAPES: dict[str, list[str | float]] = {"straight": ["linear"], "conical": ["linear"], "area_linear": ["bessel", -0.5]}


@dataclass(frozen=True, slots=True)
class Sizes:
    frequencies: int = 400
    repeats: int = 7


FULL, SMALL = Sizes(), Sizes(8, 1)


def our_line(positions: tuple[float, ...]) -> Line:
    """The sections and the port, lossy walls, the masses of the steps; drivers at `positions` (m)."""
    sections = tuple(
        Section(length / 100, start / 1e4, end / 1e4, "conical" if taper == "straight" else taper)
        for length, start, end, taper in SECTIONS
    )
    port = Port(PORT[1] / 1e4, PORT[0] / 100, "flanged", "ideal")
    return Line(sections, positions, (Mouth(port=port),), lossy_walls=True, step_correction=True)


def our_network(frequency: RealArray, air: Air) -> ComplexArray:
    """What a prediction asks for: two drivers on the line as an electrical two-port with all that moves."""
    return electrical_load([WOOFER, WOOFER], our_line((0.12, 0.45)), 2 * np.pi * frequency, air).impedance


def our_impedance(frequency: RealArray, air: Air) -> ComplexArray:
    """The input impedance of the duct alone: what a driver at the closed end sees."""
    return our_line((0.0,)).load(2 * np.pi * frequency, air, [WOOFER]).impedance[:, 0, 0]


def their_impedance(frequency: RealArray, method: str) -> ComplexArray:
    """The same from openwind, on the mesh it chooses itself."""
    from openwind import ImpedanceComputation

    bore: list[list[str | float]] = []
    start = 0.0
    for length, area, end_area, taper in (*SECTIONS, PORT):
        stop = start + length / 100
        radii = [math.sqrt(each / 1e4 / math.pi) for each in (area, end_area)]
        bore.append([start, stop, *radii, *SHAPES[taper]])
        start = stop
    return ImpedanceComputation(
        frequency,
        bore,
        temperature=CELSIUS,
        **WEATHER,
        losses="bessel",
        radiation_category="flanged_2nd_order",
        discontinuity_mass=True,
        spherical_waves=False,
        compute_method=method,
    ).impedance


def openwind_air() -> Air:
    """The air openwind computes with, so that both work on the same one."""
    from openwind import Physics

    names = ("rho", "c", "mu", "Cp", "kappa", "gamma")
    coefficients = Physics(CELSIUS, **WEATHER).get_coefs(0.0, *names)
    rho, c, mu, cp, kappa, gamma = (float(value) for value in coefficients)
    return Air(rho, c, mu, mu * cp / kappa, gamma)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """Without openwind a single row says how to get it."""
    if find_spec("openwind") is None:
        return [Row("not measured", note="openwind is not installed: it comes with the extra `references`")]
    air = openwind_air()
    frequency = np.geomspace(20, 1000, sizes.frequencies)
    elements = "openwind: input impedance, finite elements"
    works = {
        "two drivers on the line, as a prediction asks": lambda: our_network(frequency, air),
        "input impedance": lambda: our_impedance(frequency, air),
        elements: lambda: their_impedance(frequency, "FEM"),
        "openwind: input impedance, matrices where exact": lambda: their_impedance(frequency, "hybrid"),
    }
    times = quickest(works, sizes.repeats)
    ratio = our_impedance(frequency, air) / their_impedance(frequency, "FEM")
    level, angle = np.abs(20 * np.log10(np.abs(ratio))).max(), np.abs(np.degrees(np.angle(ratio))).max()
    apart = f"apart from openwind by at most {level:.3f} dB and {angle:.2f} degrees"
    return [
        Row(
            what,
            taken,
            beside="" if what == elements else "openwind, finite elements",
            ratio=None if what == elements else taken / times[elements],
            note=apart if what == "input impedance" else "",
        )
        for what, taken in times.items()
    ]
