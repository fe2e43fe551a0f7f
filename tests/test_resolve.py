"""From file to kit: values, defaults, what they rest on, and the circuit that results in each variant."""

import math
from pathlib import Path
from typing import Any

import pytest

from enclosures.air import moist_air
from system.findings import KitError
from system.kit import (
    Cutout,
    HighPass,
    Kit,
    LineChamber,
    Placement,
    RadiatorChamber,
    SealedChamber,
    Seats,
    StockItem,
    VentedChamber,
)
from system.kitfile import load_kit

HERE = Path(__file__).parent
FULL = HERE / "kits" / "full.yaml"
SMALL = HERE / "wrong" / "format.yaml"  # a small good kit but for its format

TO_SI = pytest.approx


@pytest.fixture(scope="module")
def full() -> Kit:
    return load_kit(FULL)


def small(*settings: str) -> Kit:
    return load_kit(SMALL, ["format=1", *settings])


def notes(kit: Kit, code: str) -> list[str]:
    return [f"{finding.found}; {finding.allowed}" for finding in kit.findings if finding.code == code]


def errors(*settings: str) -> list[str]:
    with pytest.raises(KitError) as caught:
        small(*settings)
    return [f.text().partition("]: ")[2] for f in caught.value.findings if f.severity == "error"]


def test_a_kit_that_says_everything_has_no_notes() -> None:
    assert small().findings == ()


def test_air(full: Kit) -> None:
    wanted = moist_air(294.15, 100500.0, 0.45)
    assert (full.air.density, full.air.speed_of_sound) == (wanted.density, wanted.speed_of_sound)
    given = small().air
    assert (given.density, given.speed_of_sound, given.viscosity, given.prandtl) == (1.2041, 343.21, 1.82e-5, 0.72)
    assert given.heat_ratio == 1.401


def test_amplifier_programme_listening_stock(full: Kit) -> None:
    amplifier = full.amplifier
    assert (amplifier.power, amplifier.load, amplifier.lowest_load) == (80.0, 8.0, 3.2)
    assert (amplifier.output_resistance, amplifier.cable, amplifier.current_limit) == (0.05, 0.08, 12.0)
    assert amplifier.rated_volts == pytest.approx(math.sqrt(640))
    assert full.programme.spectrum == "table"
    assert full.programme.table is not None
    assert len(full.programme.table.frequency) == 31
    assert full.programme.crest_factor == pytest.approx(10 ** (12 / 20))
    assert full.programme.lowest == 25.0
    listening = full.variants["centre"].listening
    assert (listening.distance, listening.axis) == (2.5, "tweeter")
    assert (listening.angle_horizontal, listening.angle_vertical) == (math.radians(15), math.radians(5))
    assert full.stock.resistors == "E24"
    assert full.stock.coils == (StockItem(0.33e-3), StockItem(0.47e-3), StockItem(1e-3))
    assert [article.value for article in full.stock.capacitors] == [47e-6, 100e-6, 220e-6]  # type: ignore[union-attr]
    assert full.stock.capacitors[1] == StockItem(  # type: ignore[index]
        100e-6, 0.1, 100.0, "non_polar", "NP-100, long leads", "1.90", 4
    )


def test_a_sine_has_its_own_crest_factor() -> None:
    kit = small("programme={spectrum: sine, from: 20 Hz}")
    assert kit.programme.crest_factor == math.sqrt(2)
    assert notes(kit, "assumed") == []


def test_driver_from_any_sufficient_set(full: Kit) -> None:
    # Small (J. Audio Eng. Soc. 20(5), 1972): a driver of re 5.6, bl 6.3, mms 9.5 g, cms 1.10 mm/N, rms 0.85, sd 88 cm2
    # has fs 49.2336 Hz, qms 3.45738, qes 0.414641, qts 0.370239, vas 12.082 L in air of 1.2041 kg/m3 and 343.21 m/s
    figures = "fs: 49.2336 Hz, qms: 3.45738, qes: 0.414641, vas: 12.082 L, sd: 88 cm2, re: 5.6 ohm"
    kit = small(f"drivers.woofer={{{figures}, voice_coil: {{le: 0.4 mH}}, origin: published}}")
    s = kit.drivers["woofer"].small_signal
    assert s is not None
    assert (s.re, s.sd) == (5.6, 88e-4)
    assert (s.bl, s.mms, s.cms, s.rms) == pytest.approx((6.3, 9.5e-3, 1.1e-3, 0.85), rel=1e-4)
    with_total = figures.replace("qms: 3.45738", "qts: 0.370239").replace(
        "sd: 88 cm2", "effective_diameter: 105.851 mm"
    )
    kit = small(f"drivers.woofer={{{with_total}, voice_coil: {{le: 0.4 mH}}, origin: published}}")
    s = kit.drivers["woofer"].small_signal
    assert s is not None
    assert (s.bl, s.mms, s.cms, s.rms, s.sd) == pytest.approx((6.3, 9.5e-3, 1.1e-3, 0.85, 88e-4), rel=1e-4)


def test_driver_limits_coils_and_tables(full: Kit) -> None:
    woofer, bass, middle, tweeter = (full.drivers[name] for name in ("woofer", "bass", "middle", "tweeter"))
    assert woofer.linear_excursion == TO_SI(0.004)
    assert woofer.damage_excursion == TO_SI(0.008)  # 16 mm peak to peak
    assert (woofer.linear_excursion_by, woofer.origin) == ("overhang", "measured")
    assert woofer.power is not None
    assert (woofer.power.rated, woofer.power.of, woofer.power.high_pass) == (50.0, "coil", None)
    assert woofer.coil is not None
    assert woofer.coil.model == "semi_inductance"
    assert woofer.coil.parameters == {"series": 0.1e-3, "shunted": 0.9e-3, "semi": 0.05}
    assert bass.coil is not None
    assert (bass.coil.model, bass.coil.parameters) == ("le", {"le": 0.45e-3})
    assert bass.sd == TO_SI(math.pi / 4 * (4.25 * 0.0254) ** 2)
    assert bass.role == "woofer"
    assert middle.coil is not None
    assert middle.coil.parameters == {"series": 0.05e-3, "shunted": 0.4e-3, "shunt_resistance": 10.0}
    assert (middle.role, middle.re) == ("midrange", 6.0)
    assert tweeter.small_signal is None
    assert tweeter.sd == 7e-4
    assert tweeter.impedance is not None
    assert tweeter.impedance.phase is not None
    assert tweeter.response is not None
    assert (tweeter.response.volts, tweeter.response.distance, tweeter.response.mounted) == (2.83, 1.0, "wall")
    assert tweeter.power is not None
    assert tweeter.power.high_pass == HighPass(2500.0, 2)
    ribbon = full.drivers["ribbon"].coil
    assert ribbon is not None
    assert ribbon.parameters == {"factor": 0.02, "exponent": 0.6}


@pytest.mark.parametrize(
    ("fs", "severity"), [("49.6 Hz", "note"), ("50.9 Hz", "warning"), ("53 Hz", "error"), ("45 Hz", "error")]
)
def test_over_determined_figures_are_graded_by_their_disagreement(fs: str, severity: str) -> None:
    try:
        findings = small(f"drivers.woofer.fs={fs}").findings
    except KitError as error:
        findings = error.findings
    (finding,) = findings
    assert (finding.code, finding.severity) == ("driver_disagrees", severity)
    off = (float(fs.split()[0]) / 49.2336) ** 2 - 1  # compliance follows from fs and mms
    assert f"{100 * off:+.1f} % off" in finding.text()


def test_prefer_settles_a_contradiction() -> None:
    kit = small("drivers.woofer.fs=53 Hz", "drivers.woofer.prefer=[mms, cms]")
    s = kit.drivers["woofer"].small_signal
    assert s is not None
    assert (s.mms, s.cms) == pytest.approx((9.5e-3, 1.1e-3))
    (finding,) = kit.findings
    assert (finding.severity, finding.path) == ("warning", "drivers.woofer.fs")
    # what is preferred cannot contradict itself
    assert len(errors("drivers.woofer.fs=56 Hz", "drivers.woofer.prefer=[mms, cms, fs]")) == 1


def test_tables_alone_and_what_does_not_make_a_set() -> None:
    kit = small("drivers.dome.fs=900 Hz")
    assert kit.drivers["dome"].small_signal is None
    assert notes(kit, "driver_unused") == [
        "dome has fs, which do not make a full set; the driver is known by its tables only"
    ]
    kit = small("drivers.dome.response.phase=minimum")
    response = kit.drivers["dome"].response
    assert response is not None
    assert response.table.phase is None


def test_power_of_a_system() -> None:
    kit = small("drivers.dome.power={rated: 80 W, of: system}")
    assert len(notes(kit, "power_of_system")) == 1
    kit = small("drivers.dome.power={rated: 80 W}")
    assert kit.drivers["dome"].power is not None
    assert kit.drivers["dome"].power.of == "system"
    assert len(notes(kit, "assumed")) == 1


def test_parts(full: Kit) -> None:
    places = full.variants["centre"].places
    assert list(places) == ["C1", "L1", "C2", "C3", "L2", "R1", "R2", "C4"]
    c1 = places["C1"].part
    assert (c1.kind, c1.value, c1.marked_value, c1.made_of) == ("capacitor", 226e-6, 220e-6, (110e-6, 110e-6))
    assert (c1.type, c1.tolerance, c1.resistance, c1.leakage_resistance) == ("non_polar", 0.1, 0.05, 2e6)
    assert (c1.voltage_rating, c1.current_rating) == (100.0, 5.0)
    assert places["C1"].between == ("in", "w1")
    l1 = places["L1"].part
    assert (l1.kind, l1.value, l1.resistance, l1.core, l1.saturation_current) == ("coil", 1.2e-3, 0.3, "iron", 8.0)
    c2 = places["C2"].part
    assert (c2.dissipation_factor, c2.dissipation_at, c2.resistance) == (0.008, 1000.0, 0.0)
    assert places["C3"].part.made_of_how == "parallel"
    whole = full.variants["wide"].places["R1"].part
    assert (whole.value, whole.made_of, whole.made_of_how) == (2.2, (1.0, 1.2), "series")


def test_what_a_variant_makes_of_a_place(full: Kit) -> None:
    centre, without, tall = (full.variants[name].places for name in ("centre", "full_range_centre", "tall"))
    r1 = centre["R1"].part  # a new value drops made_of and keeps loss and ratings
    assert (r1.value, r1.made_of, r1.power_rating, r1.tolerance) == (1.5, (), 10.0, 0.05)
    assert (centre["R2"].state, full.variants["shelf"].places["R2"].state) == ("fit", "omit")  # normally: omit
    assert (without["C1"].state, without["C1"].reason) == ("link", "the receiver has no high-pass")
    assert without["C1"].part.value == 226e-6  # what it would take
    c3 = without["C3"].part
    assert (c3.value, c3.type, c3.tolerance, c3.made_of) == (4.7e-6, "film", 0.03, ())
    assert without["R1"].part.value == 1.5  # from `like`
    assert (without["R2"].state, tall["C1"].state) == ("omit", "link")


def test_a_new_value_fits_a_place_and_replaces_its_measured_value() -> None:
    kit = small(
        "crossover.parts.C1.measured=230 uF", "crossover.parts.C1.normally=link", "variants.floor.parts.C1=150 uF"
    )
    shelf, floor = (kit.variants[name].places["C1"] for name in ("shelf", "floor"))
    assert (shelf.state, shelf.part.value, shelf.part.marked_value) == ("link", 230e-6, 220e-6)
    assert (floor.state, floor.part.value, floor.part.marked_value) == ("fit", 150e-6, None)
    assert notes(kit, "new_value") == ["C1 has a new value here; measured dropped and series_resistance kept"]


def test_a_mapping_replaces_fields() -> None:
    kit = small("variants.floor.parts.C1={dissipation_factor: 0.05, at: 1 kHz, voltage_rating: 63 V}")
    part = kit.variants["floor"].places["C1"].part
    assert (part.value, part.resistance, part.dissipation_factor, part.voltage_rating) == (220e-6, 0.0, 0.05, 63.0)
    assert kit.variants["floor"].places["C1"].state == "fit"
    assert kit.variants["shelf"].places["C1"].part.resistance == 0.1


@pytest.mark.parametrize(
    ("made_of", "severity"),
    [
        ("[110 uF, 110 uF]", ""),
        ("[100 uF, 115 uF]", "note"),
        ("[100 uF, 100 uF]", "warning"),
        ("{series: [440 uF, 440 uF]}", ""),
    ],
)
def test_made_of_is_compared_with_the_value(made_of: str, severity: str) -> None:
    kit = small(f"crossover.parts.C1.made_of={made_of}")
    assert [f.severity for f in kit.findings] == ([severity] if severity else [])


def test_couplings(full: Kit) -> None:
    (coupling,) = full.variants["centre"].couplings
    assert (coupling.coils, coupling.coefficient) == (("L1", "L2"), -0.02)
    kit = load_kit(FULL, ["variants.tall.parts.L2=omit"])
    assert kit.variants["tall"].couplings == ()


def test_sealed_chambers(full: Kit) -> None:
    first, second = full.variants["centre"].cabinet.chambers
    assert isinstance(first, SealedChamber)
    assert isinstance(second, SealedChamber)
    assert (first.drivers, first.volume, first.leak, first.absorption) == (
        ("woofer_a", "woofer_b"),
        8e-3,
        20.0,
        math.inf,
    )
    assert first.fill is not None
    assert first.fill.model == "rigid_fibre"
    assert (second.leak, second.absorption) == (math.inf, math.inf)
    assert second.fill is not None
    assert second.fill.flow_resistivity == 3000.0
    # Garai & Pompoli (Applied Acoustics 66, 2005): polyester of 12 kg/m3 has 943 Pa s/m2; 96 g in 8 L are 12 kg/m3
    kit = small("cabinets.box.chambers.0={kind: sealed, drivers: [woofer_a], volume: 8 L, losses: {leak: 20}, "
                "fill: {material: polyester, mass: 96 g}}")  # fmt: skip
    filled = kit.variants["shelf"].cabinet.chambers[0]
    assert isinstance(filled, SealedChamber)
    assert filled.fill is not None
    assert filled.fill.flow_resistivity == pytest.approx(943, abs=0.5)
    assert notes(kit, "assumed") == []


@pytest.mark.parametrize(
    ("chamber", "losses", "note"),
    [
        ("kind: sealed", {"leak": 20, "absorption": 100}, "leak 20, absorption 100 assumed"),
        (
            "kind: sealed, fill: {flow_resistivity: 900 Pa.s/m2}",
            {"leak": 20, "absorption": math.inf},
            "leak 20 assumed",
        ),
        # Small (J. Audio Eng. Soc. 21(5), 1973): QL = 7 stands for all losses of a vented box
        (
            "kind: vented, ports: [{diameter: 5 cm, length: 8 cm}]",
            {"leak": 7, "absorption": math.inf, "port": math.inf},
            "leak 7, absorption lossless, port lossless assumed",
        ),
        (
            "kind: passive_radiator, radiators: [{sd: 137 cm2, mms: 48 g, cms: 1.4 mm/N, rms: 0.9 kg/s}]",
            {"leak": 7, "absorption": math.inf},
            "leak 7, absorption lossless assumed",
        ),
        ("kind: sealed, losses: {leak: lossless, absorption: 50}", {"leak": math.inf, "absorption": 50}, ""),
    ],
)
def test_default_losses_are_said(chamber: str, losses: dict[str, float], note: str) -> None:
    kit = small(f"cabinets.box.chambers.0={{{chamber}, drivers: [woofer_a], volume: 18 L}}")
    made: Any = kit.variants["shelf"].cabinet.chambers[0]
    assert {key: getattr(made, key) for key in losses} == losses
    assert [text.partition("; ")[2] for text in notes(kit, "assumed")] == ([note] if note else [])


def test_vented_and_radiator_chambers(full: Kit) -> None:
    tuned, with_length = full.variants["shelf"].cabinet.chambers
    assert isinstance(tuned, VentedChamber)
    assert isinstance(with_length, VentedChamber)
    assert (tuned.tuning, tuned.leak, tuned.absorption, tuned.port) == (45.0, 7.0, math.inf, 50.0)
    (port,) = tuned.ports
    assert (port.length, port.count, port.end, port.inner_end) == (None, 2, "flanged", "unflanged")
    assert port.area == pytest.approx(math.pi * 0.025**2)
    assert port.cutout == Cutout("rear", (0.09, 0.1))
    assert (with_length.absorption, with_length.port) == (100.0, math.inf)
    assert (with_length.ports[0].area, with_length.ports[0].length) == (10e-4, 0.06)
    (radiator,) = full.variants["wide"].cabinet.chambers
    assert isinstance(radiator, RadiatorChamber)
    (passive,) = radiator.radiators
    assert (passive.sd, passive.mms, passive.cms, passive.rms, passive.count) == (137e-4, 0.048, 1.4e-3, 0.9, 2)
    assert passive.cutout == Cutout("left", (0.12, 0.2))


def test_line(full: Kit) -> None:
    (line,) = full.variants["tall"].cabinet.chambers
    assert isinstance(line, LineChamber)
    assert (line.drivers, line.positions) == (("woofer_a", "woofer_b"), (0.18, 0.44))
    one, two, three, four = line.profile
    assert (one.length, one.area, one.end_area, one.taper) == (0.6, 240e-4, 200e-4, "area_linear")
    assert (two.taper, three.taper) == ("conical", "exponential")
    assert three.area == pytest.approx(math.pi * 0.08**2)
    assert four.area == four.end_area == pytest.approx(0.144 * 0.139)
    assert two.fill is not None
    # Bies & Hansen (Applied Acoustics 13, 1980): 3.18e-9 d^-2 rho^1.53 with 7 um fibres; a frustum of a cone of 200 and
    # 220 cm2 ends and 200 mm holds 0.2/3 (A1 + A2 + sqrt(A1 A2))
    volume = 0.2 / 3 * (200e-4 + 220e-4 + math.sqrt(200e-4 * 220e-4))
    assert two.fill.flow_resistivity == pytest.approx(3.18e-9 * 7e-6**-2 * (0.02 / volume) ** 1.53)
    (mouth,) = line.mouths
    assert mouth.port is not None
    assert (mouth.end, mouth.port.end, mouth.port.inner_end, mouth.port.length) == ("flanged", "flanged", "ideal", 0.11)
    assert mouth.cutout == mouth.port.cutout == Cutout("front", (0.09, 0.09))
    assert line.lossy_walls


def test_line_defaults() -> None:
    chamber = "{kind: line, profile: [{length: 1.7 m, area: 120 cm2, end_area: 60 cm2}], drivers: {woofer_a: 0 m}}"
    kit = small(f"cabinets.box.chambers.0={chamber}")
    made: Any = kit.variants["shelf"].cabinet.chambers[0]
    (mouth,) = made.mouths
    assert (mouth.end, mouth.port, mouth.at, made.lossy_walls, made.step_correction) == (
        "flanged", None, None, True, False,
    )  # fmt: skip
    assert [text.partition("; ")[2] for text in notes(kit, "assumed")] == [
        "taper: area_linear assumed",
        "an open end in a flange is assumed",
        "walls: lossy assumed",
    ]


def test_variants(full: Kit) -> None:
    centre, tall = full.variants["centre"], full.variants["tall"]
    assert centre.attitude == "on_left_side"
    assert centre.placement == Placement("near_planes", 0.1, 1.2, 2.0, 0.0, 1.9)
    assert centre.seats == Seats(2.8, math.radians(20))
    assert centre.receiver_high_pass == HighPass(80.0, 2)
    without = full.variants["full_range_centre"]
    assert without.receiver_high_pass is None
    assert (without.attitude, without.placement, without.seats) == (centre.attitude, centre.placement, centre.seats)
    assert tall.placement == Placement("near_planes", below=0.0)
    assert list(tall.hookups) == ["woofer_a", "woofer_b", "tweeter"]
    assert list(tall.cabinet.cutouts) == ["woofer_a", "tweeter", "woofer_b"]
    assert tall.hookups["tweeter"].reversed_on_purpose
    assert full.variants["boxless"].cabinet.chambers == ()
    assert full.variants["boxless"].cabinet.baffle is None
    assert full.variants["wide"].attitude == "on_right_side"


def test_cutouts(full: Kit) -> None:
    cutouts = full.variants["centre"].cabinet.cutouts
    assert cutouts["woofer_a"] == Cutout("front", (0.09, 0.4), 0.0)
    assert cutouts["tweeter"] == Cutout("front", (0.09, 0.3), 0.015)
    assert full.variants["shelf"].cabinet.cutouts == cutouts  # from `like`


def test_placement_defaults() -> None:
    kit = small("variants.shelf={cabinet: box}", "variants.floor={cabinet: box}")
    assert kit.variants["shelf"].placement == Placement("free_standing")
    assert "shelf has no placement; placement: free_standing assumed" in notes(kit, "assumed")
    kit = small("cabinets.box={chambers: []}", "variants.shelf={cabinet: box}", "variants.floor={cabinet: box}")
    assert kit.variants["shelf"].placement == Placement("in_wall")


def test_a_variant_may_leave_out_a_chamber_and_the_listening_axis() -> None:
    kit = small(
        "listening={axis: tweeter}", "variants.floor.hookup={tweeter: omit}", "variants.floor.reason=woofer alone"
    )
    assert kit.variants["floor"].listening.axis == "woofer_a"
    assert kit.variants["shelf"].listening.axis == "tweeter"
    assert len(notes(kit, "axis_left_out")) == 1
    kit = small("variants.floor.hookup={woofer_a: omit}", "variants.floor.reason=tweeter alone")
    assert kit.variants["floor"].cabinet.chambers == ()
    assert len(notes(kit, "chamber_empty")) == 1


def test_defaults_of_a_smallest_kit(tmp_path: Path) -> None:
    """What a person gets who gives only what is required: everything else is a default, and said to be assumed."""
    kit = tmp_path / "kit.yaml"
    kit.write_text(
        """
        format: 1
        kit: Smallest
        amplifier: {power: 50 W, load: 8 ohm}
        drivers:
          woofer: {re: 5.6 ohm, fs: 49 Hz, qms: 3.5, qes: 0.41, vas: 12 L, sd: 88 cm2}
        crossover: {input: [in, common], hookup: {woofer: {driver: woofer, plus: in, minus: common}}}
        cabinets:
          box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}
        variants:
          box: {cabinet: box}
        """,
        encoding="utf-8",
    )
    made = load_kit(kit)
    variant = made.variants["box"]
    assert (variant.attitude, variant.placement, variant.places) == ("upright", Placement("in_wall"), {})
    assert (variant.listening.distance, variant.listening.axis) == (1.0, "woofer")
    assert made.stock.capacitors == made.stock.resistors == made.stock.coils == "E12"
    assert made.programme.spectrum == "iec"
    assert made.air.speed_of_sound == pytest.approx(
        343.9, abs=0.15
    )  # moist air, 20 degC, 50 %; formulas differ by 0.03 %
    assert [f"{f.found}; {f.allowed}" for f in made.findings] == [
        "air is not given; 20 degC, 101.325 kPa and 50 % humidity assumed",
        "programme is not given; iec with a crest factor of 12 dB from 20 Hz assumed",
        "amplifier says nothing of output_resistance and cable; 0 ohm assumed",
        "woofer has no voice_coil; its coil is taken as a resistance without inductance",
        "woofer has no origin; its figures are taken as published, those of a data sheet",
        "box.chambers.0 leaves its losses open; leak 20, absorption 100 assumed",
        "box has no placement; placement: in_wall assumed",
    ]


def test_reversed_drivers() -> None:
    assert small().findings == ()
    kit = small("crossover.hookup.tweeter={driver: dome, plus: common, minus: t2}")
    assert notes(kit, "driver_reversed") == [
        "tweeter is wired against its marks: minus on t2, plus on common; if it is meant, write reversed: on_purpose"
    ]
    kit = small("crossover.hookup.tweeter={driver: dome, plus: common, minus: t2, reversed: on_purpose}")
    assert kit.findings == ()
    # two in series: neither is reversed, although one's plus and the other's minus are on no input point
    second = ["cabinets.box.cutouts.woofer_b=[100 mm, 230 mm]", "cabinets.box.chambers.0.drivers=[woofer_a, woofer_b]"]
    first = "crossover.hookup.woofer_a={driver: woofer, plus: w2, minus: mid}"
    kit = small(*second, first, "crossover.hookup.woofer_b={driver: woofer, plus: mid, minus: common}")
    assert kit.findings == ()
    kit = small(*second, first, "crossover.hookup.woofer_b={driver: woofer, plus: common, minus: mid}")
    assert len(notes(kit, "driver_reversed")) == 1


def test_iron_core_without_saturation_current() -> None:
    kit = small("crossover.parts.L1.core=iron")
    assert len(notes(kit, "saturation_unknown")) == 1


def test_a_link_that_bridges_another_part_is_noted() -> None:
    kit = small("crossover.parts.R9={resistor: 47 ohm, between: [in, w1]}")
    assert notes(kit, "part_bridged") == ["floor: C1 bridges R9 too; no current flows there"]


def test_unused_drivers_and_cabinets_are_noted() -> None:
    kit = small("cabinets.spare={chambers: []}")
    assert notes(kit, "unused") == ["no variant uses cabinet spare; "]


def test_load_check_needs_a_lowest_load_and_a_link() -> None:
    coil = "crossover.parts.L9={coil: 5 mH, between: [w1, common], dc_resistance: 0.7 ohm}"
    # C1 is linked in floor: 0.7 ohm and the woofer's branch of 5.9 ohm, in parallel
    (message,) = errors(coil)
    assert f"the input has {1 / (1 / 0.7 + 1 / 5.9):.2f} ohm at dc; half of amplifier.lowest_load, 2 ohm" in message
    assert small(coil, "amplifier={power: 50 W, load: 8 ohm, output_resistance: 0 ohm, cable: 0 ohm}").findings == ()
    # low without any link is not the link's doing
    kit = small("crossover.parts.R9={resistor: 0.5 ohm, between: [in, common]}")
    assert kit.findings == ()


def test_a_reason_turns_hanging_into_a_warning_and_nothing_else() -> None:
    kit = small("variants.floor.parts.C1={state: omit, reason: to hear the tweeter alone}")
    (finding,) = kit.findings
    assert (finding.severity, finding.code) == ("warning", "driver_unconnected")
    assert "because: to hear the tweeter alone" in finding.text()
    assert len(errors("variants.floor.parts.C3={state: link, reason: I want it}")) == 1


def test_several_states_together_are_to_blame_together() -> None:
    """Two links in parallel short the input: neither alone is to blame, and fitting one would not cure it."""
    two = ["crossover.parts.R8={resistor: 8 ohm, between: [in, common]}",
           "crossover.parts.R9={resistor: 8 ohm, between: [in, common]}"]  # fmt: skip
    assert errors(*two, "variants.floor.parts={R8: link, R9: link}") == [
        "floor: R8 and R9 join the input's two points; the amplifier would drive a short circuit"
    ]
    assert errors("variants.floor.parts={C1: omit, L1: omit}") == [
        "floor: with C1 left out and L1 left out, woofer_a has no path to both input points; "
        "fit them, or give the variant a reason"
    ]
    kit = small("variants.floor.parts={C1: omit, L1: {state: omit, reason: no bass}}")
    assert [finding.severity for finding in kit.findings] == ["warning"]


def test_a_reason_for_something_else_does_not_silence_a_fault() -> None:
    reason = "crossover.parts.C1.reason=two in parallel stand more current"
    assert errors(reason, "variants.floor.parts={L1: omit}") == [
        "floor: with L1 left out, woofer_a has no path to both input points, nor has C1; "
        "fit it, or give the variant a reason"
    ]
