"""What a kit says of its limits: curves over the excursion, the way of the heat, ratings, the board's own warmth."""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from system.build import large_signal
from system.examples import scenarios
from system.findings import Finding, KitError
from system.kit import AssemblySpec, CurveSpec, DriverData, Kit, LargeSignalSpec, ThermalSpec
from system.kitfile import load_kit
from system.resolve_curves import lowest_place, polynomial
from tests.test_kitfile import mutate, outcome

HERE = Path(__file__).parent
SMALL = HERE / "wrong" / "format.yaml"  # a small good kit but for its format: bl 6.3 T.m, cms 1.1 mm/N, le 0.4 mH
FULL = HERE / "kits" / "full.yaml"
COIL = "drivers.woofer.power={rated: 50 W, of: coil}"
ASSEMBLY = "assembly={ambient: 30 degC, hot_melt_bears: 65 degC}"


def small(*settings: str) -> Kit:
    return load_kit(SMALL, ["format=1", *settings])


def findings(*settings: str) -> tuple[Finding, ...]:
    """Of a good kit or a bad one."""
    try:
        return small(*settings).findings
    except KitError as error:
        return error.findings


def said(kit: Kit, code: str) -> list[str]:
    return [f"{finding.found}; {finding.allowed}" for finding in kit.findings if finding.code == code]


def woofer_with(curves: str, *more: str) -> DriverData:
    return small(f"drivers.woofer.large_signal={{{curves}}}", *more).drivers["woofer"]


def spec_of(driver: DriverData) -> LargeSignalSpec:
    assert driver.large_signal is not None
    return driver.large_signal


# ---- curves


def test_curves_come_in_si() -> None:
    """N/mm, N/mm2 and N/mm3 are 1e3, 1e6 and 1e9 of N/m, N/m2 and N/m3; T.m/mm2 is 1e6 T.m/m2 (powers of ten)."""
    spec = spec_of(
        woofer_with(
            "bl: {polynomial: [6.3, -0.04, -0.06]}, stiffness: {polynomial: [0.91, -0.012, 0.0215]}, "
            "inductance: {at: [-6 mm, 0 mm, 1/4 in], is: [0.5 mH, 400 uH, 0.31 mH]}"
        )
    )
    assert spec.bl is not None
    assert spec.bl.coefficients == pytest.approx((6.3, -40.0, -60e3), rel=1e-15)
    assert spec.stiffness is not None
    assert spec.stiffness.coefficients == pytest.approx((910.0, -12e3, 21.5e6), rel=1e-15)
    assert spec.inductance == CurveSpec(places=(-0.006, 0.0, 0.00635), values=(0.5e-3, 400e-6, 0.31e-3))


def test_what_is_not_given_stays_open() -> None:
    assert small().drivers["woofer"].large_signal is None
    assert large_signal(small().drivers["woofer"]) is None
    spec = spec_of(woofer_with("bl: {polynomial: [6.3]}"))
    assert (spec.stiffness, spec.inductance) == (None, None)


def test_curves_arrive_at_the_physics_in_millimetres_as_on_the_data_sheet() -> None:
    """By hand: 6.3 - 0.04 4 - 0.06 16 = 5.18 T.m at 4 mm, and a table goes through its own rows."""
    driver = woofer_with(
        "bl: {polynomial: [6.3, -0.04, -0.06]}, stiffness: {at: [-5 mm, 0 mm, 4 mm], is: [1.5 N/mm, 910 N/m, 1.3 N/mm]}"
    )
    made = large_signal(driver)
    assert made is not None
    assert made.bl is not None
    assert made.stiffness is not None
    assert made.inductance is None
    assert made.bl.value(np.array([0.004, 0.0])) == pytest.approx([5.18, 6.3])
    assert made.bl.slope(np.array([0.004])) == pytest.approx([(-0.04 - 0.12 * 4) * 1e3])
    assert made.stiffness.value(np.array([-0.005, 0.0, 0.004])) == pytest.approx([1500.0, 910.0, 1300.0])


@pytest.mark.parametrize(
    ("at_rest", "severity"),
    [(6.3, ""), (6.305, ""), (6.4, "note"), (6.2, "note"), (6.6, "warning"), (5.7, "warning"), (7.0, "error")],
)
def test_a_curve_is_graded_by_how_it_disagrees_at_rest(at_rest: float, severity: str) -> None:
    """Up to 3 % is rounding and up to 10 % a doubt, as for the small-signal figures themselves; bl is 6.3 T.m."""
    for curve in (
        f"bl: {{polynomial: [{at_rest}, 0, -0.05]}}",
        # 0 mm lies between two places, where these are one straight line
        f"bl: {{at: [-6 mm, -1 mm, 1 mm, 6 mm], is: [4 T.m, {at_rest - 0.2} T.m, {at_rest + 0.2} T.m, 4 T.m]}}",
    ):
        found = findings(f"drivers.woofer.large_signal={{{curve}}}")
        assert [(f.code, f.severity) for f in found] == ([("large_signal_disagrees", severity)] if severity else [])
        assert not severity or f"{100 * (at_rest / 6.3 - 1):+.1f} % off the 6.3 T.m" in found[0].text()


@pytest.mark.parametrize(
    ("coil", "inductance", "codes"),
    [
        ("{le: 0.4 mH}", "0.4", []),
        ("{le: 0.4 mH}", "0.5", ["large_signal_disagrees"]),
        # the other models have no single inductance; the curve scales them whatever it is at rest
        ("{model: semi_inductance, series: 0.1 mH, shunted: 0.9 mH, semi: 0.05}", "0.5", []),
        ("{model: power_law, factor: 0.02, exponent: 0.6}", "0.5", []),
    ],
)
def test_an_inductance_is_compared_with_the_voice_coils(coil: str, inductance: str, codes: list[str]) -> None:
    curve = f"drivers.woofer.large_signal={{inductance: {{polynomial: [{inductance}, -0.02]}}}}"
    assert [f.code for f in findings(f"drivers.woofer.voice_coil={coil}", curve)] == codes


@pytest.mark.parametrize(
    ("limits", "codes"),
    [
        # 6.3 - 0.09 x^2 is zero at sqrt(70) = 8.37 mm
        (["damage_excursion=8.3 mm"], []),
        (["damage_excursion=8.4 mm"], ["large_signal_negative"]),
        (["linear_excursion=8.4 mm"], ["large_signal_negative"]),
        ([], []),  # linear_excursion 4 mm
    ],
)
def test_a_curve_must_stay_above_zero_as_far_as_the_cone_may_move(limits: list[str], codes: list[str]) -> None:
    curve = "drivers.woofer.large_signal={bl: {polynomial: [6.3, 0, -0.09]}}"
    assert [f.code for f in findings(curve, *(f"drivers.woofer.{limit}" for limit in limits))] == codes


def test_without_any_limit_of_excursion_a_curve_is_judged_at_rest_only() -> None:
    """Nothing stands in for the limit: the driver has none, and its excursion stays unjudged."""
    woofer = (
        "{re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.1 mm/N, rms: 0.85 kg/s, sd: 88 cm2, voice_coil: {le: 0.4 mH}, "
    )
    kit = small(f"drivers.woofer={woofer}origin: published, large_signal: {{bl: {{polynomial: [6.3, 0, -0.09]}}}}}}")
    assert kit.findings == ()
    driver = kit.drivers["woofer"]
    assert (driver.linear_excursion, driver.damage_excursion, driver.thermal) == (None, None, None)


# A polynomial of a few rising powers over millimetres, as those of data sheets.
COEFFICIENTS = st.lists(st.floats(-3, 3, allow_subnormal=False), min_size=1, max_size=8)


@given(COEFFICIENTS, st.floats(0.5, 3))
def test_the_lowest_place_is_where_a_general_library_finds_it(coefficients: list[float], reach: float) -> None:
    """Against numpy's roots of the derivative (eigenvalues of the companion matrix), and a grid."""
    coefficients = [c if abs(c) > 1e-3 else 0.0 for c in coefficients]
    curve = Polynomial(coefficients)
    slope = curve.deriv().trim()
    roots = [root.real for root in slope.roots() if abs(root.imag) < 1e-3 and abs(root.real) < reach]
    places = np.array([*np.linspace(-reach, reach, 501), *roots])
    lowest = float(curve(places).min())
    place = lowest_place(coefficients, reach)
    assert -reach <= place <= reach
    assert polynomial(coefficients, place) == pytest.approx(float(curve(place)), rel=1e-9, abs=1e-9)
    assert polynomial(coefficients, place) == pytest.approx(lowest, rel=1e-6, abs=1e-6)


CURVES = """\
    damage_excursion: 9 mm
    large_signal:
      bl: {at: [-9 mm, -4 mm, -1 mm, 3 mm, 8 mm], is: [2.6 T.m, 5.2 T.m, 6.2 T.m, 5.7 T.m, 3 T.m]}
      stiffness: {polynomial: [0.91, -0.012, 0.0215]}
      inductance: {polynomial: [0.4, -0.02, -0.0004, 0.00006]}
    thermal: {coil_resistance: 2.4 K/W, coil_time: 11 s, magnet_resistance: 1.6 K/W, magnet_time: 28 min}
"""


def test_what_the_reader_lets_through_the_physics_takes(tmp_path: Path) -> None:
    """Curves as a tired person leaves them: refused with a reason, or good to the driver's damage excursion."""
    text = SMALL.read_text(encoding="utf-8").replace("format: 2", "format: 1")
    before, after = text.split("    linear_excursion: 4 mm\n")
    for table in SMALL.parent.glob("dome-*.txt"):
        (tmp_path / table.name).write_bytes(table.read_bytes())
    kit = tmp_path / "kit.yaml"
    outcomes = {"taken": 0, "refused": 0}
    for seed in range(150):
        kit.write_text(before + mutate(CURVES, random.Random(seed)) + after, encoding="utf-8")
        loaded, said_of_it = outcome(kit)
        outcomes["taken" if loaded else "refused"] += 1
        assert any(finding.severity == "error" for finding in said_of_it) == (loaded is None), seed
        if loaded is None:
            continue
        driver = loaded.drivers["woofer"]
        curves = large_signal(driver)
        reach = driver.damage_excursion or 0.0
        assert curves is None or np.all(curves.shapes(np.linspace(-reach, reach, 201)).positive), seed
        assert driver.thermal is None or driver.thermal.coil_time < driver.thermal.magnet_time, seed
    assert min(outcomes.values()) > 20, outcomes


def test_a_driver_known_by_tables_has_no_curves() -> None:
    kit = small("drivers.dome.large_signal={bl: {polynomial: [3]}}")
    assert kit.drivers["dome"].large_signal is None
    assert said(kit, "driver_unused") == [
        "dome has large_signal and no full set of small-signal parameters; the driver is known by its tables only"
    ]


# ---- heat


def test_heat_as_the_data_sheet_gives_it() -> None:
    thermal = (
        "{coil_resistance: 2.8 K/W, coil_time: 9 s, magnet_resistance: 1.9 K/W, magnet_time: 25 min, highest: 180 degC}"
    )
    kit = small(f"drivers.woofer.thermal={thermal}", ASSEMBLY)
    assert kit.drivers["woofer"].thermal == ThermalSpec(2.8, 9.0, 1.9, 1500.0, 453.15)
    assert kit.findings == ()
    assert load_kit(FULL).drivers["woofer"].thermal == ThermalSpec(2.8, 9.0, 1.9, 1500.0, 453.15)


def test_heat_from_the_rated_power_of_a_coil() -> None:
    """By hand: (150 - 20) K over 50 W are 2.6 K/W, six tenths of it 1.56; a shorter list of what is assumed with more
    given: (180 - 20) K over 50 W are 3.2 K/W."""
    kit = small(COIL, ASSEMBLY)
    thermal = kit.drivers["woofer"].thermal
    assert thermal is not None
    assert (thermal.coil_resistance, thermal.magnet_resistance) == pytest.approx((1.56, 1.04))
    assert (thermal.coil_time, thermal.magnet_time, thermal.highest) == (10.0, 1800.0, 423.15)
    assert set(thermal.assumed) == {"coil_resistance", "coil_time", "magnet_resistance", "magnet_time", "highest"}
    assert said(kit, "assumed") == [
        "woofer has no thermal; coil_resistance 1.56 K/W, coil_time 10 s, magnet_resistance 1.04 K/W, "
        "magnet_time 1800 s, highest 150 degC assumed"
    ]
    kit = small(COIL, ASSEMBLY, "drivers.woofer.thermal={highest: 180 degC, coil_time: 7 s}")
    thermal = kit.drivers["woofer"].thermal
    assert thermal is not None
    assert thermal.coil_resistance + thermal.magnet_resistance == pytest.approx(3.2)
    assert thermal.assumed == ("coil_resistance", "magnet_resistance", "magnet_time")
    assert len(said(kit, "assumed")) == 1


@pytest.mark.parametrize(
    ("given_", "resistances"),
    [
        ("coil_resistance: 3 K/W", (3.0, 2.0)),  # six tenths of 5
        ("magnet_resistance: 2 K/W", (3.0, 2.0)),
        ("coil_resistance: 3 K/W, magnet_resistance: 1 K/W", (3.0, 1.0)),
    ],
)
def test_one_thermal_resistance_brings_the_usual_other(given_: str, resistances: tuple[float, float]) -> None:
    for rating in ([COIL], [], ["drivers.woofer.power={rated: 80 W, of: system}"]):
        kit = small(f"drivers.woofer.thermal={{{given_}}}", *rating, ASSEMBLY)
        thermal = kit.drivers["woofer"].thermal
        assert thermal is not None
        assert (thermal.coil_resistance, thermal.magnet_resistance) == pytest.approx(resistances)
        assert len(said(kit, "assumed")) == 1


@pytest.mark.parametrize(
    ("power", "code"),
    [
        ("{rated: 80 W, of: system}", "power_of_system"),
        ("{rated: 80 W, of: system, high_pass: {corner: 2.5 kHz, order: 2}}", ""),
        ("{rated: 80 W}", "assumed"),
    ],
)
def test_the_rating_of_a_system_is_no_rating_of_its_coil(power: str, code: str) -> None:
    """It says how hot the coil gets behind a high-pass only, and nothing is put in its stead."""
    for name in ("woofer", "dome"):
        kit = small(f"drivers.{name}.power={power}", ASSEMBLY)
        assert kit.drivers[name].thermal is None
        assert [finding.code for finding in kit.findings] == ([code] if code else [])
        kit = small(f"drivers.{name}.power={power}", f"drivers.{name}.thermal={{highest: 120 degC}}", ASSEMBLY)
        assert kit.drivers[name].thermal is None
        assert len(said(kit, "thermal_unused")) == 1


def test_a_small_driver_warms_sooner() -> None:
    times = {}
    for role in ("woofer", "midrange", "tweeter"):
        thermal = (
            small(COIL, f"drivers.woofer.role={role}", "variants.floor={like: shelf}", ASSEMBLY)
            .drivers["woofer"]
            .thermal
        )
        assert thermal is not None
        times[role] = (thermal.coil_time, thermal.magnet_time)
    assert times["woofer"] > times["midrange"] > times["tweeter"]


# ---- the board


def test_a_rated_resistor_warms_by_the_usual_unless_its_maker_says() -> None:
    kit = small("crossover.parts.R1.power_rating=10 W", ASSEMBLY)
    assert kit.variants["shelf"].places["R1"].part.temperature_rise == 200.0
    assert said(kit, "assumed") == ["R1 has no temperature_rise; 200 K at its power_rating assumed"]
    kit = small("crossover.parts.R1.power_rating=10 W", "crossover.parts.R1.temperature_rise=250 K", ASSEMBLY)
    assert kit.variants["shelf"].places["R1"].part.temperature_rise == 250.0
    assert kit.findings == ()
    assert small().variants["shelf"].places["R1"].part.temperature_rise is None  # no rating, no rise
    rated = small("crossover.parts.L1.power_rating=10 W").variants["shelf"].places["L1"].part
    assert (rated.power_rating, rated.temperature_rise) == (10.0, None)  # of a coil nothing is usual


def test_a_variant_may_fit_a_rated_resistor() -> None:
    kit = small("variants.floor.parts.R1={power_rating: 5 W}", ASSEMBLY)
    assert kit.variants["shelf"].places["R1"].part.temperature_rise is None
    assert kit.variants["floor"].places["R1"].part.temperature_rise == 200.0
    assert len(said(kit, "assumed")) == 1
    kit = small("crossover.parts.R1.power_rating=10 W", "variants.floor.parts.R1=3.3 ohm", ASSEMBLY)
    assert kit.variants["floor"].places["R1"].part.temperature_rise == 200.0
    assert len(said(kit, "assumed")) == 1


def test_the_assembly_is_assumed_where_something_gets_warm() -> None:
    rated = "crossover.parts.R1={resistor: 2.2 ohm, between: [t1, t2], power_rating: 10 W, temperature_rise: 200 K}"
    assert AssemblySpec() == AssemblySpec(298.15, 343.15)
    assert small().assembly == AssemblySpec()
    assert small().findings == ()
    kit = small(rated)
    assert kit.assembly == AssemblySpec()
    assert said(kit, "assumed") == [
        "assembly is not given; 25 degC about the parts and hot melt that bears 70 degC assumed"
    ]
    kit = small(rated, "assembly={ambient: 30 degC}")
    assert kit.assembly.ambient == pytest.approx(303.15)
    assert said(kit, "assumed") == ["assembly is given in part; hot melt that bears 70 degC assumed"]
    assert "assembly is not given" in " ".join(said(small(COIL), "assumed"))
    variant = small("variants.floor.parts.R1={power_rating: 5 W, temperature_rise: 200 K}")
    assert "assembly is not given" in " ".join(said(variant, "assumed"))
    assert small(rated, ASSEMBLY).assembly == AssemblySpec(303.15, 338.15)


# ---- the example


@pytest.fixture(scope="module")
def example() -> Kit:
    return load_kit(scenarios() / "marshlight" / "kit.yaml")


def test_the_examples_curves_are_those_of_a_driver_of_its_class(example: Kit) -> None:
    """The linear excursion is where the force factor is down to 82 % (IEC 62458, from memory); the suspension stiffens
    and the inductance falls outward, in a 13 cm woofer of this kind (common practice, no source)."""
    woofer = example.drivers["woofer"]
    curves = large_signal(woofer)
    assert curves is not None
    assert woofer.linear_excursion == 0.004
    assert woofer.damage_excursion is not None
    shapes = curves.shapes(np.array([-0.008, -0.004, 0.004, 0.008]))
    inward8, inward, outward, outward8 = shapes.bl.value
    assert (inward + outward) / 2 == pytest.approx(0.82, abs=0.01)
    assert (inward8 + outward8) / 2 == pytest.approx(0.5, abs=0.01)
    assert 0.005 < inward - outward < 0.05
    _, inward, outward, _ = shapes.stiffness.value
    assert (inward + outward) / 2 == pytest.approx(1.35, abs=0.01)
    assert 0.05 < inward - outward < 0.2
    everywhere = curves.shapes(np.linspace(-woofer.damage_excursion, woofer.damage_excursion, 181))
    assert np.all(everywhere.positive)
    assert np.all(np.diff(everywhere.inductance.value) < 0)


def test_the_examples_heat_is_of_usual_size(example: Kit) -> None:
    """Coils of 2 to 4 K/W and 8 to 15 s, magnets of 1 to 3 K/W and 20 to 40 min (common practice, no source)."""
    thermal = example.drivers["woofer"].thermal
    assert thermal is not None
    assert 2 <= thermal.coil_resistance <= 4
    assert 8 <= thermal.coil_time <= 15
    assert 1 <= thermal.magnet_resistance <= 3
    assert 20 * 60 <= thermal.magnet_time <= 40 * 60
    dome = example.drivers["dome"].thermal
    assert dome is not None
    assert dome.coil_resistance > thermal.coil_resistance  # a smaller coil in a smaller gap
    assert dome.coil_time < thermal.coil_time
    assert thermal.assumed == dome.assumed == ()
    assert math.isclose(example.assembly.ambient, 303.15)
    assert said(example, "assumed") == []
