"""Parameters from impedance sweeps: identities, closed forms, a library's own least squares, and true values."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from enclosures.creep import Creep
from enclosures.driver import Driver, Inductance, PowerLaw, SemiInductance, ShuntedCoil, VoiceCoil
from system.bench.fitting import Estimate, Fit, Full, Refused, added_mass, fit, known_box
from system.bench.fitting_errors import correlation_time
from system.bench.fitting_models import ANY_COIL, COILS, Floats, Model, model
from system.bench.fitting_solve import Points, solve
from system.bench.sweeps import Sweep
from tests.support_enclosures import AIR, WOOFER
from tests.support_sweeps import CASES, Case, Unit, grid, measured, vented_box
from tests.support_sweeps import WOOFER as CREEPING

TRUE_COILS: dict[str, tuple[VoiceCoil, tuple[float, ...]]] = {
    "le": (Inductance(0.5e-3), (0.5e-3,)),
    "shunted_coil": (ShuntedCoil(0.2e-3, 0.6e-3, 8.0), (0.2e-3, 0.6e-3, 8.0)),
    "power_law": (PowerLaw(0.01, 0.68), (0.01, 0.68)),
    "semi_inductance": (SemiInductance(0.12e-3, 1.6e-3, 0.055), (0.12e-3, 1.6e-3, 0.055)),
}
FIGURES = ("re", "fs", "qms", "qes", "qts")
WIDE = grid(10, 20000, 300)


def clean(curve: np.ndarray, frequency: Floats = WIDE, phase: bool = True) -> Sweep:
    return Sweep("clean", frequency, np.abs(curve), np.angle(curve) if phase else None)


def holds(estimate: Estimate, value: float) -> bool:
    return estimate.low <= value <= estimate.high


def interpolated(fitted: Fit, ohm: float, low: float, high: float) -> float:
    """Where the modelled curve has `ohm` between two frequencies."""
    inside = np.abs(np.log(WIDE / math.sqrt(low * high))) <= math.log(high / low) / 2
    magnitude = np.abs(fitted.impedance[inside])
    order = np.argsort(magnitude)
    return float(np.exp(np.interp(ohm, magnitude[order], np.log(WIDE[inside])[order])))


# The printed driver: re 5.6, bl 6.3, mms 9.5 g, cms 1.10 mm/N, rms 0.85, without coil.


@pytest.mark.parametrize("phase", [True, False])
def test_thiele_and_small_of_a_driver_without_coil(phase: bool) -> None:
    """Figures as in tests/test_driver.py, worked out of masses and springs by hand."""
    fitted = fit(clean(WOOFER.free_air_impedance(2 * np.pi * WIDE), phase=phase), coil_model="le")
    for name, value, digit in (
        ("fs", 49.2336, 5e-5),
        ("qms", 3.45738, 5e-6),
        ("qes", 0.414641, 5e-7),
        ("qts", 0.370239, 5e-7),
        ("re", 5.6, 5e-6),
    ):
        assert fitted.figures[name].value == pytest.approx(value, abs=2 * digit), name
    assert fitted.residual_rms < 1e-5


def test_half_way_identity() -> None:
    """|Z| = re sqrt(r0) at f1 and f2 with fs^2 = f1 f2, qms = fs sqrt(r0)/(f2 - f1) (Small, JAES 20(5), 1972)."""
    fitted = fit(clean(WOOFER.free_air_impedance(2 * np.pi * WIDE)), coil_model="le")
    zmax = 52.2941
    assert fitted.figures["re"].value * (
        1 + fitted.figures["qms"].value / fitted.figures["qes"].value
    ) == pytest.approx(zmax, abs=5e-4)
    level = 5.6 * math.sqrt(zmax / 5.6)
    f1, f2 = interpolated(fitted, level, 15, 48), interpolated(fitted, level, 51, 150)
    assert f1 == pytest.approx(32.0692, rel=1e-3)  # a straight line between 300 points
    assert f2 == pytest.approx(75.5851, rel=1e-3)
    assert fitted.figures["fs"].value == pytest.approx(math.sqrt(32.0692 * 75.5851), abs=1e-3)
    assert fitted.figures["qms"].value == pytest.approx(49.2336 * math.sqrt(zmax / 5.6) / (75.5851 - 32.0692), abs=1e-4)


# The model and its derivatives.


@pytest.mark.parametrize("name", COILS)
@pytest.mark.parametrize("factor", [0.0, 0.12])
def test_the_model_is_the_driver(name: str, factor: float) -> None:
    """Against the moving mass and spring themselves: Ze + bl^2/Zm."""
    coil, parameters = TRUE_COILS[name]
    driver = replace(WOOFER, coil=coil)
    creep = Creep(factor)
    omega = 2 * np.pi * WIDE
    rms = driver.rms * (1 - driver.qms * creep.loss)  # what creep takes at fs is in the driver's own
    spring = 1 / (1j * omega * driver.cms * creep.compliance_ratio(WIDE, driver.fs))
    expected = driver.blocked_impedance(omega) + driver.bl**2 / (rms + 1j * omega * driver.mms + spring)
    logs = np.log([driver.re, driver.fs, driver.qms, driver.bl**2 / driver.rms, *parameters])
    unknowns = np.append(logs, factor) if factor else logs
    np.testing.assert_allclose(model(name, bool(factor)).impedance(WIDE, unknowns)[0], expected, rtol=1e-12)


@pytest.mark.parametrize("each", [*(Model(coil, True) for coil in COILS.values()), Model(ANY_COIL, True)])
def test_derivatives_are_those_of_differences(each: Model) -> None:
    coil = {1: [5e-4], 2: [0.01, 0.68], 3: [2e-4, 1e-3, 0.05], 4: [2e-4, 1e-3, 0.05, 0.6]}[len(each.coil.keys)]
    at = np.append(np.log([5.6, 49.0, 3.5, 46.0, *coil]), 0.1)
    slopes = each.impedance(WIDE, at)[1]
    for i in range(len(at)):
        step = np.zeros(len(at))
        step[i] = 1e-6
        difference = (each.impedance(WIDE, at + step)[0] - each.impedance(WIDE, at - step)[0]) / 2e-6
        # 52 ohm have a rounding error of 1e-14, over two steps of 1e-6
        np.testing.assert_allclose(slopes[:, i], difference, atol=2e-8)


def test_the_search_ends_where_a_library_ends() -> None:
    """scipy.optimize.least_squares on the same points, from the same start, with derivatives of its own."""
    sweep = measured("noisy", Unit(coil=TRUE_COILS["semi_inductance"][0]).impedance(WIDE), WIDE, 0.01, 4)
    assert sweep.phase is not None
    points = Points(WIDE, np.log(sweep.magnitude), sweep.phase)
    each = model("semi_inductance", False)
    start = np.log([6.3, 52.0, 3.0, 40.0, 0.3e-3, 1e-3, 0.04])
    weights = np.full((len(WIDE), 2), 100.0)
    found = solve(each, points, weights, start, tolerance=1e-12)
    library = least_squares(
        lambda unknowns: (weights * points.residual(each.impedance(WIDE, unknowns)[0])).ravel(), start, xtol=1e-14
    )
    assert found.cost == pytest.approx(2 * library.cost, rel=1e-9)
    np.testing.assert_allclose(found.unknowns, library.x, atol=1e-5)


def test_correlation_time_of_a_chain() -> None:
    """x_k = a x_(k-1) + noise has tau = (1 + a)/(1 - a) (Priestley 1981, section 5.3, from memory)."""
    noise = np.random.default_rng(1).standard_normal(60000)
    chain = np.zeros_like(noise)
    for k in range(1, len(noise)):
        chain[k] = 0.8 * chain[k - 1] + noise[k]
    assert correlation_time(chain[:, None]) == pytest.approx(9.0, rel=0.1)
    assert correlation_time(noise[:, None]) == pytest.approx(1.0, abs=0.1)


# Which coil, and what is said of it.


@pytest.mark.parametrize("name", COILS)
def test_the_true_coil_is_found(name: str) -> None:
    coil, parameters = TRUE_COILS[name]
    fitted = fit(measured(name, Unit(coil=coil).impedance(WIDE), WIDE, 0.01, 8))
    assert fitted.coil_model == name
    assert fitted.models[0].supported
    rms = {score.name: score.residual_rms for score in fitted.models}
    assert rms[name] == pytest.approx(math.sqrt(2) * 0.01, rel=0.1)  # of level and phase together
    for key, value in zip(COILS[name].keys, parameters, strict=True):
        each = fitted.figures[key]
        assert each.low < value < each.high or each.value == pytest.approx(value, rel=0.1)
    if name != "le":
        assert not next(score for score in fitted.models if score.name == "le").supported


def test_a_short_sweep_tells_no_coils_apart() -> None:
    frequency = grid(10, 300, 120)
    fitted = fit(measured("short", Unit(coil=Inductance(0.4e-3)).impedance(frequency), frequency, 0.01, 2))
    assert all("ends at 300 Hz" in score.why for score in fitted.models)


def test_a_coil_that_cannot_follow_does_not_pull_the_rest() -> None:
    """A plain coil on a real one misses by 15 %, and by itself would put re 30 % too high."""
    unit = Unit(coil=TRUE_COILS["semi_inductance"][0])
    sweep = measured("semi", unit.impedance(WIDE), WIDE, 0.005, 3)
    asked = fit(sweep, coil_model="le")
    assert asked.coil_model == "le"
    assert asked.residual_rms > 0.1
    for name in FIGURES:
        assert holds(asked.figures[name], getattr(unit, name)), name
    assert any("le" in note for note in asked.notes)


def test_creep_is_found() -> None:
    fitted = fit(measured("creep", CREEPING.impedance(WIDE), WIDE, 0.005, 6), creep=True)
    assert fitted.figures["creep"].value == pytest.approx(CREEPING.creep, abs=0.01)
    half = (fitted.figures["creep"].high - fitted.figures["creep"].low) / 2
    assert abs(fitted.figures["creep"].value - CREEPING.creep) < 1.5 * half  # three standard deviations
    assert holds(fitted.figures["qms"], CREEPING.qms)
    assert fitted.names[-1] == "creep"


def test_creep_that_is_not_asked_does_not_end_in_re() -> None:
    """A model without creep puts it into re: 1 to 4 % too much on real drivers (common practice, no source)."""
    unit = replace(CREEPING, coil=Inductance(0.3e-3), creep=0.15)
    fitted = fit(measured("creep", unit.impedance(WIDE), WIDE, 0.003, 5))
    assert fitted.figures["re"].value == pytest.approx(unit.re, rel=0.005)
    assert "creep" not in fitted.figures
    assert any("creeps" in note for note in fitted.notes)


# What is wrong with real sweeps.


@pytest.mark.parametrize("case", [case for case in CASES if not case.must_refuse], ids=lambda case: case.name)
def test_figures_of_troubled_sweeps(case: Case) -> None:
    try:
        fitted = fit(case.sweep, case.dc)
    except Refused:
        assert case.may_refuse
        return
    for name, within in case.wants.items():
        assert fitted.figures[name].value == pytest.approx(getattr(case.unit, name), rel=within), name
    for each in fitted.figures.values():
        assert 0 <= each.low <= each.value <= each.high
    assert np.isfinite(fitted.residual).all()


def test_few_of_them_are_refused() -> None:
    refused = 0
    for case in CASES:
        try:
            fit(case.sweep, case.dc)
        except Refused:
            refused += not case.must_refuse
    assert refused <= len(CASES) / 5


@pytest.mark.parametrize("case", [case for case in CASES if case.must_refuse], ids=lambda case: case.name)
def test_what_carries_no_figures(case: Case) -> None:
    with pytest.raises(Refused) as refused:
        fit(case.sweep, case.dc)
    assert "resonance" in refused.value.why


OMEGA = 2j * np.pi * WIDE
NO_DRIVERS = {
    "a resistor": 8.2 + 0 * OMEGA,
    "a coil": 3 + OMEGA * 1e-3,
    "behind a capacitor": Unit().impedance(WIDE) + 1 / (OMEGA * 10e-6),
    "in a leaky vented box": vented_box(Unit(), 42.0, 0.6, 5.0, WIDE),
    "in kilohm": Unit().impedance(WIDE) / 1000,
}


@pytest.mark.parametrize("name", NO_DRIVERS)
@pytest.mark.parametrize("phase", [True, False])
def test_what_is_no_driver_in_free_air(name: str, phase: bool) -> None:
    with pytest.raises(Refused):
        fit(measured(name, NO_DRIVERS[name], WIDE, 0.005, 3, phase))


def test_too_few_points_and_a_sweep_that_ends_too_low() -> None:
    for frequency, word in ((grid(10, 2000, 8), "points"), (grid(10, 40, 60), "resonance")):
        with pytest.raises(Refused, match=word):
            fit(measured("x", Unit().impedance(frequency), frequency, 0.01, 1))


def test_spikes_are_left_out_and_told() -> None:
    case = next(case for case in CASES if case.name == "mains hum")
    fitted = fit(case.sweep)
    assert (~fitted.kept).sum() == 4
    np.testing.assert_allclose(case.sweep.frequency[~fitted.kept], [50, 100, 150, 250], rtol=0.02)
    assert any("stand out" in note for note in fitted.notes)


def test_which_way_the_phase_turns() -> None:
    right, turned = (
        next(case for case in CASES if case.name == name) for name in ("plain woofer", "phase turned round")
    )
    assert not any("turned" in note for note in fit(right.sweep).notes)
    fitted = fit(turned.sweep)
    assert any("turned" in note for note in fitted.notes)
    assert fitted.residual_rms < 0.05  # of the phase as it should be


def test_a_phase_of_something_else_is_left_out() -> None:
    sweep = measured("x", Unit().impedance(WIDE), WIDE, 0.01, 1)
    fitted = fit(replace(sweep, phase=np.linspace(0, 40, len(WIDE))))
    assert any("phase" in note for note in fitted.notes)
    assert not np.iscomplexobj(fitted.residual)
    assert fitted.figures["fs"].value == pytest.approx(49.2336, rel=0.002)


@pytest.mark.parametrize("phase", [True, False])
def test_residual_is_modelled_over_measured_less_one(phase: bool) -> None:
    sweep = measured("x", Unit().impedance(WIDE), WIDE, 0.01, 1, phase)
    fitted = fit(sweep)
    expected = fitted.impedance / sweep.impedance - 1 if phase else np.abs(fitted.impedance) / sweep.magnitude - 1
    np.testing.assert_allclose(fitted.residual, expected, rtol=1e-12)
    assert fitted.residual_rms == pytest.approx(np.sqrt(np.mean(np.abs(expected) ** 2)))


# The dc reading.


def test_re_is_held_at_the_reading() -> None:
    sweep = measured("x", CREEPING.impedance(WIDE), WIDE, 0.003, 2)
    fitted = fit(sweep, dc=5.65, dc_error=0.01)
    assert fitted.figures["re"].value == pytest.approx(5.65, rel=1e-9)
    width = math.log(fitted.figures["re"].high / fitted.figures["re"].low) / 2
    assert width == pytest.approx(0.01, rel=0.02)  # Student's t of some hundred degrees of freedom


def test_a_scale_that_disagrees_is_told_and_one_that_cannot_be_is_refused() -> None:
    sweep = measured("x", Unit().impedance(WIDE), WIDE, 0.003, 2)
    scaled = fit(replace(sweep, magnitude=1.1 * sweep.magnitude), dc=5.6)
    for name in FIGURES:
        assert scaled.figures[name].value == pytest.approx(getattr(Unit(), name), rel=0.01), name
    assert any("scale" in note for note in scaled.notes)
    assert np.abs(scaled.residual).mean() < 0.01  # the curve is told on the sweep's own scale
    with pytest.raises(Refused, match="reading"):
        fit(sweep, dc=8.0)


def test_wrong_calls() -> None:
    sweep = measured("x", Unit().impedance(WIDE), WIDE, 0.01, 1)
    with pytest.raises(ValueError, match="known are le"):
        fit(sweep, coil_model="coil")
    with pytest.raises(ValueError, match="dc"):
        fit(sweep, dc=0.0)


# Intervals.


def held_by(unit: Unit, name: str, phase: bool, seed: int) -> dict[str, bool]:
    """Which intervals hold their true value, of a sweep with 1 % noise."""
    fitted = fit(measured(name, unit.impedance(WIDE), WIDE, 0.01, seed, phase), coil_model=name, creep=unit.creep > 0)
    true = {
        **{key: getattr(unit, key) for key in FIGURES},
        **dict(zip(COILS[name].keys, TRUE_COILS[name][1], strict=True)),
    }
    true |= {"creep": unit.creep} if unit.creep else {}
    return {key: holds(fitted.figures[key], value) for key, value in true.items()}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "phase"), [*((name, True) for name in COILS), ("le", False), ("semi_inductance", False)]
)
def test_intervals_hold_the_true_value_95_times_in_100(name: str, phase: bool) -> None:
    """Of 2000 sweeps with 1 % white noise; two standard deviations of such a count are 1 %."""
    check_held(Unit(coil=TRUE_COILS[name][0]), name, phase)


@pytest.mark.slow
def test_so_do_those_of_a_fit_with_creep() -> None:
    check_held(replace(CREEPING, coil=TRUE_COILS["semi_inductance"][0]), "semi_inductance", True)


def check_held(unit: Unit, name: str, phase: bool) -> None:
    held = [held_by(unit, name, phase, seed) for seed in range(2000)]
    for key in held[0]:
        share = float(np.mean([each[key] for each in held]))
        assert 0.94 <= share <= 0.96, (key, share)


def test_intervals_are_as_wide_as_estimates_scatter() -> None:
    """The quick form of the above: the spread over 60 sweeps, whose own sd is 1/sqrt(120) = 9 %."""
    unit = Unit(coil=TRUE_COILS["power_law"][0])
    curve = unit.impedance(WIDE)
    fits = [fit(measured("x", curve, WIDE, 0.01, seed), coil_model="power_law") for seed in range(60)]
    for name in (*FIGURES, "factor", "exponent"):
        scatter = np.std([math.log(each.figures[name].value) for each in fits])
        width = np.mean([math.log(each.figures[name].high / each.figures[name].low) for each in fits])
        assert width / 2 / 1.96 == pytest.approx(scatter, rel=0.27), name  # three standard deviations


def test_residuals_that_are_alike_widen_the_intervals() -> None:
    """A wave of 1 % that no model has, without noise, must not be counted as hundreds of independent values."""
    unit = Unit(coil=TRUE_COILS["power_law"][0])
    wave = 1 + 0.01 * np.sin(2 * np.pi * 2 * np.log2(WIDE / 10))
    alike = fit(clean(unit.impedance(WIDE) * wave))
    white = fit(measured("x", unit.impedance(WIDE), WIDE, 0.01 / math.sqrt(2), 1))
    assert alike.inflation > 2
    assert white.inflation < 1.2
    assert holds(alike.figures["qts"], unit.qts)


# Two sweeps.

DRIVER = Driver(5.6, 6.3, 9.5e-3, 1.10e-3, 0.85, 88e-4, SemiInductance(0.12e-3, 1.6e-3, 0.055))
MASS, VOLUME = 8e-3, 9e-3
HEAVIER = replace(DRIVER, mms=DRIVER.mms + MASS)
# a closed box adds its air's stiffness rho c^2 sd^2/V to the suspension's (Small, JAES 20(10), 1972)
BOXED = replace(DRIVER, cms=1 / (1 / DRIVER.cms + AIR.bulk_modulus * DRIVER.sd**2 / VOLUME))
FULL = ("bl", "mms", "cms", "rms", "vas")


def true_figure(name: str) -> float:
    return DRIVER.vas(AIR) if name == "vas" else float(getattr(DRIVER, name))


def sweep_of(driver: Driver, seed: int | None = None) -> Sweep:
    curve = driver.free_air_impedance(2 * np.pi * WIDE)
    return clean(curve) if seed is None else measured("x", curve, WIDE, 0.01, seed)


def with_mass(
    seed: int | None = None, mass: float = MASS, sd: float | None = DRIVER.sd, mass_error: float = 0.01
) -> Full:
    first, second = (None, None) if seed is None else (2 * seed, 2 * seed + 1)
    return added_mass(sweep_of(DRIVER, first), sweep_of(HEAVIER, second), mass, sd, AIR, mass_error=mass_error)


def in_box(seed: int | None = None, volume: float = VOLUME, sd: float | None = DRIVER.sd) -> Full:
    first, second = (None, None) if seed is None else (2 * seed, 2 * seed + 1)
    return known_box(sweep_of(DRIVER, first), sweep_of(BOXED, second), volume, AIR, sd)


@pytest.mark.parametrize("full", [with_mass, in_box])
def test_two_clean_sweeps_give_the_driver(full: type) -> None:
    figures = full().figures
    for name in FULL:
        assert figures[name].value == pytest.approx(true_figure(name), rel=1e-4), name
    assert figures["vas"].value == pytest.approx(12.082e-3, rel=1e-4)  # rho 1.2041, c 343.21


def test_closed_forms_of_two_sweeps() -> None:
    """mms = m/((fs/fs2)^2 - 1); with one mass vas = V ((fc/fs)^2 - 1), (Small 1972), by frequencies alone."""
    one, heavy, box = (fit(sweep_of(each)).figures["fs"].value for each in (DRIVER, HEAVIER, BOXED))
    assert with_mass().figures["mms"].value == pytest.approx(MASS / ((one / heavy) ** 2 - 1), rel=1e-6)
    assert in_box().figures["vas"].value == pytest.approx(VOLUME * ((box / one) ** 2 - 1), rel=1e-3)


def test_an_air_load_that_the_box_changes_stays_out_of_vas() -> None:
    """fc qec/(fs qes) has the spring alone: a twentieth more mass in the box moves fc, not vas."""
    second = sweep_of(replace(BOXED, mms=1.05 * DRIVER.mms))
    figures = known_box(sweep_of(DRIVER), second, VOLUME, AIR, None).figures
    assert figures["vas"].value == pytest.approx(12.082e-3, rel=1e-3)


def test_without_an_area() -> None:
    weighed, boxed = with_mass(sd=None).figures, in_box(sd=None).figures
    assert {"mms", "cms", "bl", "rms"} <= weighed.keys()
    assert "vas" not in weighed
    assert "vas" in boxed
    assert not {"mms", "cms", "bl", "rms"} & boxed.keys()


def test_the_error_of_the_mass_goes_into_mms_and_half_into_bl() -> None:
    """mms goes with the mass, bl with its root; the sweeps are clean."""
    figures = with_mass(mass_error=0.04).figures
    for name, share in (("mms", 1.0), ("cms", 1.0), ("bl", 0.5), ("vas", 1.0)):
        width = math.log(figures[name].high / figures[name].low) / 2
        assert width == pytest.approx(0.04 * share, rel=0.02), name


@pytest.mark.slow
def test_intervals_of_two_sweeps_hold_the_true_value() -> None:
    """Of 500 pairs with 1 % noise, a mass within 1 % and a volume within 2 %; 2.5 sd of the count are 2.5 %."""
    held: dict[tuple[str, str], list[bool]] = {}
    for seed in range(500):
        draw = np.random.default_rng(seed + 100000)
        mass, volume = (x * math.exp(e / 1.96 * draw.standard_normal()) for x, e in ((MASS, 0.01), (VOLUME, 0.02)))
        for full in (with_mass(seed, mass), in_box(seed, volume)):
            for name in FULL:
                held.setdefault((full.method, name), []).append(holds(full.figures[name], true_figure(name)))
    for key, each in held.items():
        assert 0.925 <= np.mean(each) <= 0.975, key


def test_exchanged_sweeps_are_refused() -> None:
    with pytest.raises(Refused, match="exchanged"):
        added_mass(sweep_of(HEAVIER), sweep_of(DRIVER), MASS, None, AIR)
    with pytest.raises(Refused, match="exchanged"):
        known_box(sweep_of(BOXED), sweep_of(DRIVER), VOLUME, AIR, None)
    with pytest.raises(ValueError, match="mass"):
        added_mass(sweep_of(DRIVER), sweep_of(HEAVIER), 0.0, None, AIR)


def test_a_warm_coil_or_a_rattling_mass_is_told() -> None:
    warm = added_mass(sweep_of(DRIVER), sweep_of(replace(HEAVIER, re=6.1)), MASS, None, AIR)
    assert any("re is +9 %" in note for note in warm.notes)
    rattling = added_mass(sweep_of(DRIVER), sweep_of(replace(HEAVIER, rms=1.3)), MASS, None, AIR)
    assert any("rattle" in note for note in rattling.notes)
