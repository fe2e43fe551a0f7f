"""The acoustic impedance of a line against openwind (Inria, 0.12), a general library for the acoustics of wind bores.

With a driver at the closed end, Za is the input impedance of the duct; both sides give it in Pa s/m3. Temperature,
moisture and radii are passed to openwind by name, its spherical wavefronts are off, and its losses are those of
Zwikker & Kosten with Bessel functions. Its method "hybrid" takes transfer matrices where they are exact (cylinders
with or without losses, cones without) and finite elements elsewhere, which see the losses of every radius: its
matrices for a cone with losses would take one radius for the whole of it.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.ends import pipe_end_impedance
from enclosures.line import Line, Mouth, Section
from enclosures.vented import Port
from tests.support_enclosures import WOOFER, db

with warnings.catch_warnings():
    # openwind 0.12 fetches csr_matrix from a module that scipy is going to drop; its results have no part in it
    warnings.filterwarnings("ignore", r"Please import `csr_matrix` from the `scipy\.sparse`", DeprecationWarning)
    from openwind import ImpedanceComputation, Physics
    from openwind.continuous import radiation_model

WEATHER = {"humidity": 0.5, "carbon": 4e-4}
CELSIUS = 20.0
# Its "unflanged" and "infinite_flanged" are forms of first order; these two are the (1,2) forms of Silva et al. 2009
ENDS = {"closed": "closed", "unflanged": "unflanged_2nd_order", "flanged": "flanged_2nd_order"}
MESH = {"l_ele": 0.15, "order": 10}  # a third of the length moves nothing by 1e-9 dB (below)


def air_of_openwind() -> Air:
    """Its formulae of moist air (Ernoult, Inria report 9500, 2023) are not ours: the ducts are compared in its air."""
    names = ("rho", "c", "mu", "Cp", "kappa", "gamma")
    coefficients = Physics(CELSIUS, **WEATHER).get_coefs(0.0, *names)
    rho, c, mu, cp, kappa, gamma = (float(value) for value in coefficients)
    return Air(rho, c, mu, mu * cp / kappa, gamma)


AIR = air_of_openwind()


def circle(radius: float) -> float:
    return math.pi * radius**2


@dataclass(frozen=True)
class Case:
    """The same duct twice: for openwind by from, to, radius, radius, shape; for us as sections and a port's size."""

    bore: list[list[float | str]]
    sections: tuple[Section, ...]
    port: tuple[float, float] | None = None  # area, length

    def line(self, end: str, lossy: bool, step_correction: bool) -> Line:
        if end == "closed":
            mouths: tuple[Mouth, ...] = ()
        elif self.port is None:
            mouths = (Mouth(end),)
        else:
            mouths = (Mouth(port=Port(*self.port, end, "ideal")),)
        return Line(self.sections, (0.0,), mouths, lossy, step_correction)


WIDE, NARROW = circle(0.06), circle(0.02)
BOTTLE = [[0.0, 1.2, 0.06, 0.06, "linear"], [1.2, 1.35, 0.02, 0.02, "linear"]]
CASES = {
    "straight": Case([[0.0, 1.7, 0.06, 0.06, "linear"]], (Section(1.7, WIDE),)),
    "straight and thin": Case([[0.0, 0.9, 0.008, 0.008, "linear"]], (Section(0.9, circle(0.008)),)),
    "widening cone": Case(
        [[0.0, 1.5, 0.03, 0.09, "linear"]], (Section(1.5, circle(0.03), circle(0.09), "conical"),)
    ),
    "narrowing cone": Case(
        [[0.0, 1.5, 0.09, 0.03, "linear"]], (Section(1.5, circle(0.09), circle(0.03), "conical"),)
    ),
    # its Bessel horn r ~ (x - xp)^-a has with a = -1/2 an area that is linear
    "narrowing, area linear": Case(
        [[0.0, 1.5, 0.09, 0.03, "bessel", -0.5]], (Section(1.5, circle(0.09), circle(0.03), "area_linear"),)
    ),
    "widening, exponential": Case(
        [[0.0, 1.5, 0.03, 0.09, "exponential"]], (Section(1.5, circle(0.03), circle(0.09), "exponential"),)
    ),
    "narrow last section": Case(BOTTLE, (Section(1.2, WIDE), Section(0.15, NARROW))),
    "narrow port": Case(BOTTLE, (Section(1.2, WIDE),), (NARROW, 0.15)),
}  # fmt: skip
EXACT = {"straight", "straight and thin", "narrow last section", "narrow port"}  # with losses too: no slices

COMBINATIONS = [
    pytest.param(name, end, lossy, id=f"{name}, {end}, {'lossy' if lossy else 'lossless'}")
    for name, case in CASES.items()
    for end in ENDS
    if not (end == "closed" and case.port)  # a port is never closed
    for lossy in (False, True)
]
WITH_STEP = ("narrow last section", "narrow port")
STEPS = [combination for combination in COMBINATIONS if combination.values[0] in WITH_STEP]


def ours(line: Line, frequency: RealArray) -> ComplexArray:
    return line.load(2 * np.pi * frequency, AIR, [WOOFER]).impedance[:, 0, 0]


def theirs(
    case: Case, end: str, lossy: bool, step_correction: bool, frequency: RealArray, **mesh: float
) -> ComplexArray:
    return ImpedanceComputation(
        frequency,
        case.bore,
        temperature=CELSIUS,
        **WEATHER,
        losses="bessel" if lossy else False,
        radiation_category=ENDS[end],
        discontinuity_mass=step_correction,
        spherical_waves=False,
        compute_method="hybrid",
        **(mesh or MESH),
    ).impedance


def bins(line: Line) -> RealArray:
    """20 Hz to 1 kHz: 501 evenly on a logarithmic axis, and eleven about every peak and dip, 0.08 % apart."""
    fine = np.geomspace(20, 1000, 20_001)
    level = np.log(np.abs(ours(line, fine)))
    turns = np.flatnonzero(np.diff(np.sign(np.diff(level)))) + 1
    about = (turns[:, None] + np.arange(-20, 21, 4)).ravel()
    return fine[np.unique(np.clip(np.concatenate([np.arange(0, 20_001, 40), about]), 0, 20_000))]


def apart(one: ComplexArray, other: ComplexArray) -> tuple[float, float]:
    """The largest difference in level (dB) and in phase (degrees) of all bins: none is left out."""
    ratio = one / other
    return float(np.abs(db(np.abs(ratio))).max()), float(np.abs(np.degrees(np.angle(ratio))).max())


def compared(name: str, end: str, lossy: bool, step_correction: bool = False) -> tuple[float, float]:
    line = CASES[name].line(end, lossy, step_correction)
    frequency = bins(line)
    assert len(frequency) > 500
    return apart(ours(line, frequency), theirs(CASES[name], end, lossy, step_correction, frequency))


@pytest.mark.parametrize("end", ["unflanged", "flanged"])
def test_the_ends_are_one_published_formula(end: str) -> None:
    """Silva et al., J. Sound Vib. 322, 2009, as openwind has it."""
    omega = 2 * np.pi * np.geomspace(5, 20_000, 200)
    model = radiation_model(ENDS[end])
    for radius in (0.01, 0.06):
        expected = model.get_impedance(omega, radius, AIR.density, AIR.speed_of_sound, 1)
        np.testing.assert_allclose(pipe_end_impedance(omega, circle(radius), end, AIR), expected, rtol=1e-12)


@pytest.mark.parametrize(("name", "end", "lossy"), COMBINATIONS)
def test_input_impedance(name: str, end: str, lossy: bool) -> None:
    """Steps without a mass on both sides. Where both sides are exact, to rounding; else 0.1 dB and 1 degree."""
    level, phase = compared(name, end, lossy)
    exact = name in EXACT or (not lossy and name != "narrowing, area linear")
    assert level < (1e-6 if exact else 0.1)
    assert phase < (1e-5 if exact else 1.0)


@pytest.mark.parametrize(("name", "end", "lossy"), STEPS)
def test_input_impedance_with_the_mass_of_the_step(name: str, end: str, lossy: bool) -> None:
    """On both sides the formula of Taillard (2018) after Kergomard & Garcia (1987)."""
    level, phase = compared(name, end, lossy, step_correction=True)
    assert level < 1e-6
    assert phase < 1e-5


@pytest.mark.parametrize(("name", "end", "lossy"), STEPS)
def test_the_mass_of_the_step_is_seen(name: str, end: str, lossy: bool) -> None:
    """What the two tests of steps tell apart: with the mass on one side only they would fail by far."""
    line = CASES[name].line(end, lossy, step_correction=True)
    frequency = bins(line)
    level, _ = apart(ours(line, frequency), theirs(CASES[name], end, lossy, False, frequency))
    assert level > 1


@pytest.mark.parametrize("name", ["widening cone", "narrowing cone", "widening, exponential"])
@pytest.mark.parametrize("end", ENDS)
def test_the_rest_in_a_taper_with_losses_is_our_slices(name: str, end: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A slice has the losses of one radius. Slices short beside the wave err by the square of their length."""
    line = CASES[name].line(end, lossy=True, step_correction=False)
    frequency = bins(line)
    expected = theirs(CASES[name], end, True, False, frequency)
    monkeypatch.setattr("enclosures.duct.LARGEST_LOSSY_AREA_RATIO", 9 ** (1 / 35.999))  # 36 slices for 1 to 9
    level, phase = apart(ours(line, frequency), expected)
    assert level < 0.002
    assert phase < 0.01
    monkeypatch.setattr("enclosures.duct.LARGEST_LOSSY_AREA_RATIO", 9 ** (1 / 71.999))
    assert apart(ours(line, frequency), expected) == pytest.approx((level / 4, phase / 4), rel=0.02)


@pytest.mark.parametrize("end", ENDS)
def test_a_cone_of_one_slice(end: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The most taper whose walls we take as one radius, 1.1 in area, is where our slices err most, a long thin one.

    With a slice for each 1 % less than a tenth of the error is left: it is that of the slices.
    """
    area, end_area = circle(0.01), 1.0999 * circle(0.01)
    cone = Case([[0.0, 3.0, 0.01, 0.01 * math.sqrt(1.0999), "linear"]], (Section(3.0, area, end_area, "conical"),))
    line = cone.line(end, lossy=True, step_correction=False)
    frequency = bins(line)
    expected = theirs(cone, end, True, False, frequency)
    level, phase = apart(ours(line, frequency), expected)
    assert level < 0.1
    assert phase < 1
    monkeypatch.setattr("enclosures.duct.LARGEST_LOSSY_AREA_RATIO", 1.01)
    level_left, phase_left = apart(ours(line, frequency), expected)
    assert level_left < level / 10
    assert phase_left < phase / 10


@pytest.mark.slow
@pytest.mark.parametrize("name", ["narrowing cone", "narrowing, area linear", "widening, exponential"])
def test_the_elements_have_converged(name: str) -> None:
    frequency = bins(CASES[name].line("closed", True, False))
    coarse = theirs(CASES[name], "closed", True, False, frequency)
    fine = theirs(CASES[name], "closed", True, False, frequency, l_ele=0.05, order=10)
    assert max(apart(coarse, fine)) < 1e-9
