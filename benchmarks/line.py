"""How long a line takes, beside openwind on the same duct in the same run: python -m benchmarks.line"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
from openwind import ImpedanceComputation, Physics

from enclosures.acoustics import electrical_load
from enclosures.air import Air
from enclosures.arrays import ComplexArray
from enclosures.driver import Driver
from enclosures.line import Line, Mouth, Section
from enclosures.vented import Port

REPEATS = 15
FREQUENCY = np.geomspace(20, 1000, 400)
OMEGA = 2 * np.pi * FREQUENCY
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


def our_line(positions: tuple[float, ...]) -> Line:
    """The sections and the port, lossy walls, the masses of the steps; drivers at `positions` (m)."""
    sections = tuple(
        Section(length / 100, start / 1e4, end / 1e4, "conical" if taper == "straight" else taper)
        for length, start, end, taper in SECTIONS
    )
    port = Port(PORT[1] / 1e4, PORT[0] / 100, "flanged", "ideal")
    return Line(sections, positions, (Mouth(port=port),), lossy_walls=True, step_correction=True)


def our_network(air: Air) -> ComplexArray:
    """What a prediction asks for: two drivers on the line as an electrical two-port with all that moves."""
    return electrical_load([WOOFER, WOOFER], our_line((0.12, 0.45)), OMEGA, air).impedance


def our_impedance(air: Air) -> ComplexArray:
    """The input impedance of the duct alone: what a driver at the closed end sees."""
    return our_line((0.0,)).load(OMEGA, air, [WOOFER]).impedance[:, 0, 0]


def their_impedance(method: str) -> ComplexArray:
    """The same from openwind, on the mesh it chooses itself."""
    bore: list[list[str | float]] = []
    start = 0.0
    for length, area, end_area, taper in (*SECTIONS, PORT):
        stop = start + length / 100
        radii = [math.sqrt(each / 1e4 / math.pi) for each in (area, end_area)]
        bore.append([start, stop, *radii, *SHAPES[taper]])
        start = stop
    return ImpedanceComputation(
        FREQUENCY,
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
    names = ("rho", "c", "mu", "Cp", "kappa", "gamma")
    coefficients = Physics(CELSIUS, **WEATHER).get_coefs(0.0, *names)
    rho, c, mu, cp, kappa, gamma = (float(value) for value in coefficients)
    return Air(rho, c, mu, mu * cp / kappa, gamma)


def milliseconds(work: Callable[[], ComplexArray]) -> tuple[float, ComplexArray]:
    """The shortest of `REPEATS` runs, after one that is not counted, and what the work gives."""
    result = work()
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times), result


def main() -> None:
    """Print the table."""
    air = openwind_air()
    network, _ = milliseconds(lambda: our_network(air))
    duct, ours = milliseconds(lambda: our_impedance(air))
    elements, theirs = milliseconds(lambda: their_impedance("FEM"))
    mixed, _ = milliseconds(lambda: their_impedance("hybrid"))
    ratio = ours / theirs
    print(f"{len(SECTIONS)} sections and a port, lossy walls, {len(FREQUENCY)} frequencies, one core")
    print()
    print(f"{'':52}{'ms':>8}{'openwind FEM / this':>21}")
    for name, time_ms in (
        ("line: two drivers, electrical_load", network),
        ("line: input impedance", duct),
        ("openwind: input impedance, finite elements (FEM)", elements),
        ("openwind: input impedance, matrices where exact", mixed),
    ):
        print(f"{name:52}{time_ms:8.1f}{elements / time_ms:21.1f}")
    print()
    print(
        "input impedances apart by at most "
        f"{np.abs(20 * np.log10(np.abs(ratio))).max():.3f} dB, {np.abs(np.degrees(np.angle(ratio))).max():.2f} degrees"
    )


if __name__ == "__main__":
    main()
