"""Ports, mouths, bends, linings, standing waves and hot coils: from the kit file to values, and on to enclosures."""

import math
from pathlib import Path
from typing import Any

import pytest

from enclosures.line import Line
from enclosures.sealed import SealedBox
from enclosures.vented import VentedBox
from system import grid
from system.build import Build, build
from system.checks import examine
from system.kit import BendSpec, Kit, LineChamber, RadiatorChamber, SealedChamber
from system.kitfile import load_kit
from system.predict import predict

HERE = Path(__file__).parent
SMALL = HERE / "wrong" / "format.yaml"  # a small good kit but for its format: one woofer, one dome, 200 x 400 x 250 mm
AIR_DENSITY = 1.2041  # kg/m3, of that kit
SECOND = "crossover.hookup.woofer_b={driver: woofer, plus: w2, minus: common}"


def small(*settings: str) -> Kit:
    return load_kit(SMALL, ["format=1", *settings])


def with_chamber(chamber: str, *settings: str) -> Kit:
    return small(f"cabinets.box.chambers.0={{{chamber}}}", *settings)


def chamber(kit: Kit) -> Any:
    return kit.variants["shelf"].cabinet.chambers[0]


def model(kit: Kit) -> Build:
    return build(kit, kit.variants["shelf"])


def enclosure(kit: Kit) -> Any:
    return model(kit).cells[0].enclosure


def codes(kit: Kit) -> list[str]:
    return [finding.code for finding in kit.findings]


def line(profile: str, more: str = "mouth: {end: flanged}", drivers: str = "{woofer_a: 20 mm}") -> str:
    return f"kind: line, walls: lossy, profile: {profile}, drivers: {drivers}, {more}"


@pytest.fixture(scope="module")
def folded() -> tuple[LineChamber, SealedChamber]:
    first, second = load_kit(HERE / "kits" / "full.yaml").variants["folded"].cabinet.chambers
    assert isinstance(first, LineChamber)
    assert isinstance(second, SealedChamber)
    return first, second


def test_a_bend_is_as_long_as_its_centre_line(folded: tuple[LineChamber, SealedChamber]) -> None:
    bend = folded[0].profile[1]
    assert bend.length == pytest.approx(math.pi * 0.070)  # half a circle through the middle of 10 mm and 130 mm
    assert bend.area == bend.end_area == pytest.approx(0.12 * 0.16)
    assert bend.bend == BendSpec(pytest.approx(math.pi), 0.010, 0.120)


def test_a_bend_fills_by_the_volume_that_pappus_gives_it() -> None:
    """Half a ring of 10 to 130 mm radius, 160 mm wide, has pi/2 (130^2 - 10^2) 160 mm3 = 4.222 L."""
    kit = with_chamber(line("[{bend: 180 deg, inner_radius: 10 mm, depth: 120 mm, width: 160 mm, "
                            "fill: {material: polyester, mass: 50 g}}]"))  # fmt: skip
    spec = chamber(kit).profile[0].fill
    assert spec.fibre_density == pytest.approx(0.050 / (math.pi / 2 * (0.13**2 - 0.01**2) * 0.16))


def test_a_gentle_bend_is_a_straight_duct_and_a_tight_one_is_lighter() -> None:
    """Potential flow: air that turns about a distant centre goes straight; close to one it takes the short way."""
    bend = "[{{bend: 60 deg, inner_radius: {}, depth: 100 mm, width: 100 mm}}]"
    ratio = {
        radius: enclosure(with_chamber(line(bend.format(radius)))).sections[0].mass_ratio
        for radius in ("10 m", "100 mm", "10 mm")
    }
    assert ratio["10 m"] == pytest.approx(1, abs=1e-4)
    assert ratio["10 mm"] < ratio["100 mm"] < ratio["10 m"] < 1


def test_a_section_of_two_sides_has_the_walls_of_a_rectangle(folded: tuple[LineChamber, SealedChamber]) -> None:
    """Hydraulic diameter 4 S/P over that of the circle of the same area (White, Fluid Mechanics, from memory)."""

    def wanted(one: float, two: float) -> float:
        return 4 * one * two / (2 * (one + two)) / math.sqrt(4 * one * two / math.pi)

    first, bend, _ = folded[0].profile
    assert (first.hydraulic_ratio, bend.hydraulic_ratio) == pytest.approx((wanted(160, 120),) * 2)
    slot, round_ = (mouth.port for mouth in folded[0].mouths)
    assert slot is not None
    assert round_ is not None
    assert slot.hydraulic_ratio == pytest.approx(wanted(150, 40))
    assert slot.area == pytest.approx(60e-4)
    assert round_.hydraulic_ratio == 1.0


def test_a_lining_is_its_own_volume(folded: tuple[LineChamber, SealedChamber]) -> None:
    """20 mm on all walls of 160 x 120 mm leave 120 x 80 mm open: half; 80 g in half of 10.56 L are 15.15 kg/m3."""
    spec = folded[0].profile[0].fill
    assert spec is not None
    assert (spec.share, spec.fibre_density) == (pytest.approx(0.5), pytest.approx(80 / 5.28))
    # Garai & Pompoli (Applied Acoustics 66, 2005): 25.909e-9 d^-2 rho^1.404, fibres of 30 um
    assert spec.flow_resistivity == pytest.approx(25.909e-9 / 30e-6**2 * (80 / 5.28) ** 1.404)
    assert (spec.model, spec.spread) == ("low_frequency", 1.5)
    # round, by its area alone: 20 mm in 200 mm leave 160 mm open
    kit = with_chamber(
        line("[{length: 1 m, area: 314.15927 cm2, fill: {flow_resistivity: 5000 Pa.s/m2, lining: 20 mm}}]")
    )
    assert chamber(kit).profile[0].fill.share == pytest.approx(1 - 0.8**2)
    assert [f.allowed for f in kit.findings] == ["a round section assumed"]
    kit = with_chamber(line("[{length: 1 m, diameter: 200 mm, fill: {flow_resistivity: 5000 Pa.s/m2, lining: 20 mm}}]"))
    assert chamber(kit).profile[0].fill.share == pytest.approx(1 - 0.8**2)
    assert codes(kit) == []


@pytest.mark.parametrize("taper", ["area_linear", "conical", "exponential"])
def test_a_lining_of_a_tapered_section_has_the_share_of_its_volume(taper: str) -> None:
    """The share at the mean area against the fibre's volume over the section's, by the midpoint rule; 3 to 1."""
    first, last, thickness, steps = 300e-4, 100e-4, 0.015, 20_000
    area = {
        "area_linear": lambda t: first + (last - first) * t,
        "conical": lambda t: (math.sqrt(first) + (math.sqrt(last) - math.sqrt(first)) * t) ** 2,
        "exponential": lambda t: first * (last / first) ** t,
    }[taper]
    areas = [area((i + 0.5) / steps) for i in range(steps)]
    open_areas = [math.pi * (math.sqrt(a / math.pi) - thickness) ** 2 for a in areas]
    kit = with_chamber(line("[{length: 1 m, area: 300 cm2, end_area: 100 cm2, taper: " + taper
                            + ", fill: {flow_resistivity: 5000 Pa.s/m2, lining: 15 mm}}]"))  # fmt: skip
    assert chamber(kit).profile[0].fill.share == pytest.approx(1 - sum(open_areas) / sum(areas), rel=0.02)


def test_how_far_a_flow_resistivity_may_be_off() -> None:
    """A stated ratio is kept; of the rest a stated flow resistivity is the surest and a fibre of any make the least."""
    sealed = "kind: sealed, drivers: [woofer_a], volume: 8 L, losses: {leak: 20}, fill: "

    def spread(fill: str) -> float:
        return float(chamber(with_chamber(sealed + fill)).fill.spread)

    assert spread("{flow_resistivity: 3000 Pa.s/m2, spread: 1.1}") == 1.1
    assert spread("{material: polyester, density: 8 kg/m3, spread: 1}") == 1.0
    stated, polyester = spread("{flow_resistivity: 3000 Pa.s/m2}"), spread("{material: polyester, density: 8 kg/m3}")
    assert 1 < stated < polyester


@pytest.mark.parametrize(
    ("fills", "ranges"),
    [
        # Delany & Bazley (Applied Acoustics 3, 1970): fitted from f/sigma = 0.01 to 1 m3/kg; so was Miki's (1990)
        (["flow_resistivity: 2000 Pa.s/m2, model: power_law_1970"], ["from 20 to 2000 Hz"]),
        (["flow_resistivity: 5000 Pa.s/m2, model: power_law"], ["from 50 to 5000 Hz"]),
        (["flow_resistivity: 2000 Pa.s/m2, model: low_frequency"], []),
        (
            ["flow_resistivity: 400 Pa.s/m2", "flow_resistivity: 90000 Pa.s/m2"],
            ["from 4 to 400 Hz", "from 900 to 90000"],
        ),
    ],
)
def test_a_power_law_out_of_its_range_is_noted(fills: list[str], ranges: list[str]) -> None:
    profile = ", ".join(f"{{length: 500 mm, area: 100 cm2, fill: {{{fill}}}}}" for fill in fills)
    kit = with_chamber(line(f"[{profile}]"))
    result = predict(kit, kit.variants["shelf"], grid.logarithmic(points=12))
    said = [finding.found for finding in examine(kit, [result]) if finding.code == "fill_range"]
    assert len(said) == len(ranges)
    assert all(wanted in found for wanted, found in zip(ranges, said, strict=True))


def test_filling_on_its_way_to_the_enclosure() -> None:
    kit = with_chamber(line("[{length: 1 m, width: 100 mm, depth: 100 mm, fill: {material: wool, density: 20 kg/m3, "
                            "lining: 25 mm, model: low_frequency}}]"))  # fmt: skip
    fill = enclosure(kit).sections[0].fill
    assert (fill.model, fill.fibre_density, fill.share) == ("low_frequency", 20.0, pytest.approx(0.75))


def test_mouths(folded: tuple[LineChamber, SealedChamber]) -> None:
    slot, second = folded[0].mouths
    assert (slot.at, slot.end, slot.speed_limit) == (None, "along_wall", 15.0)
    assert slot.port is not None
    assert (slot.port.end, slot.port.inner_end, slot.port.clearance) == ("along_wall", "in_corner", 0.12)
    assert (second.at, second.end) == (0.9, "flanged")
    assert second.port is not None
    assert second.port.inner_end == "ideal"
    assert folded[0].step_correction
    kit = load_kit(HERE / "kits" / "full.yaml")
    cell = build(kit, kit.variants["folded"]).cells[0]
    assert cell.opening_names == ("mouth", "mouth2")
    assert [cutout.face for cutout in cell.opening_cutouts if cutout] == ["front", "rear"]
    assert isinstance(cell.enclosure, Line)
    assert cell.enclosure.step_correction
    assert cell.enclosure.opening_areas == pytest.approx((60e-4, math.pi * 0.02**2))


def test_a_line_may_be_closed_at_both_ends() -> None:
    kit = with_chamber(line("[{length: 500 mm, area: 40 cm2}]", "mouths: []"))
    assert chamber(kit).mouths == ()
    assert model(kit).cells[0].opening_names == ()
    assert codes(kit) == []


def test_the_usual_speed_limit_is_a_twentieth_of_the_speed_of_sound() -> None:
    """Common practice, no source; 343.21 m/s in this kit's air."""
    vented = "kind: vented, drivers: [woofer_a], volume: 18 L, losses: {leak: 7, absorption: lossless, port: lossless}"
    for port, limit in (("", 17.1605), (", speed_limit: 12 m/s", 12.0)):
        kit = with_chamber(f"{vented}, ports: [{{diameter: 50 mm, length: 80 mm{port}}}]")
        assert chamber(kit).ports[0].speed_limit == pytest.approx(limit)
    assert chamber(with_chamber(line("[{length: 1 m, area: 60 cm2}]"))).mouths[0].speed_limit == pytest.approx(17.1605)


@pytest.mark.parametrize(
    "port", ["diameter: 50 mm", "width: 120 mm, height: 20 mm", "diameter: 50 mm, clearance: 20 mm"]
)
def test_a_tuning_is_reached_whatever_the_port_is_and_faces(port: str) -> None:
    vented = "kind: vented, drivers: [woofer_a], volume: 18 L, losses: {leak: 7, absorption: lossless, port: lossless}"
    kit = with_chamber(f"{vented}, tuning: 40 Hz, ports: [{{{port}, end: along_wall, inner_end: in_corner}}]")
    box = enclosure(kit)
    assert isinstance(box, VentedBox)
    assert box.resonance(model(kit).air) == pytest.approx(40.0)
    if "clearance" in port:
        free = enclosure(
            with_chamber(
                f"{vented}, tuning: 40 Hz, ports: [{{diameter: 50 mm, end: along_wall, inner_end: in_corner}}]"
            )
        )
        assert box.ports[0].length < free.ports[0].length  # the wall adds mass


def test_ports_and_the_cabinets_depth() -> None:
    """The cabinet is 250 mm deep: a 50 mm port of 199 mm keeps its distance, one of 201 mm does not."""
    vented = "kind: vented, drivers: [woofer_a], volume: 18 L, losses: {leak: 7, absorption: lossless, port: lossless}"

    def found(port: str) -> list[str]:
        return codes(with_chamber(f"{vented}, ports: [{{diameter: 50 mm, {port}}}]"))

    front, side = "cutout: [100 mm, 200 mm]", "cutout: {face: left, at: [125 mm, 200 mm]}"
    assert found(f"length: 199 mm, {front}") == []
    assert found(f"length: 201 mm, {front}") == ["port_near_wall"]
    assert found("length: 201 mm") == []  # on which face is not known
    assert found(f"length: 199 mm, {side}") == ["port_near_wall"]  # 200 mm from side to side
    assert found(f"length: 201 mm, {side}") == ["port_too_long"]
    assert found(f"length: 201 mm, clearance: 51 mm, {front}") == []
    assert found(f"length: 201 mm, clearance: 49 mm, {front}") == ["port_near_wall"]


PAIR = [
    "cabinets.box.cutouts={woofer_a: [60 mm, 80 mm], woofer_b: [140 mm, 320 mm], tweeter: [100 mm, 200 mm]}",
    SECOND,
]


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ("20 mm", "260 mm", False),  # 240 mm upward
        ("20 mm", "273 mm", False),  # 253 mm straight from one to the other
        ("20 mm", "100 mm", False),  # 80 mm across
        ("20 mm", "310 mm", True),
        ("20 mm", "200 mm", True),
        ("260 mm", "20 mm", False),
        ("20 mm", "20 mm", True),
    ],
)
def test_places_along_the_line_against_cutouts(first: str, second: str, said: bool) -> None:
    drivers = f"{{woofer_a: {first}, woofer_b: {second}}}"
    kit = with_chamber(line("[{length: 1 m, area: 100 cm2}]", drivers=drivers), *PAIR)
    assert codes(kit) == (["position_disagrees"] if said else [])


def test_what_lies_beyond_a_bend_or_on_another_face_is_not_compared() -> None:
    straight, after = "{length: 100 mm, width: 100 mm, depth: 100 mm}", "{length: 700 mm, area: 100 cm2}"
    bend = f"[{straight}, {{bend: 90 deg, inner_radius: 10 mm, depth: 100 mm, width: 100 mm}}, {after}]"
    beyond = line(bend, drivers="{woofer_a: 20 mm, woofer_b: 500 mm}")
    assert codes(with_chamber(beyond, *PAIR)) == []
    before = line(bend, drivers="{woofer_a: 300 mm, woofer_b: 700 mm}")
    assert codes(with_chamber(before, *PAIR)) == ["position_disagrees"]
    rear = "cabinets.box.cutouts.woofer_b={face: rear, at: [140 mm, 320 mm]}"
    assert codes(with_chamber(before, *PAIR, rear)) == []


def test_standing_wave() -> None:
    box = "kind: sealed, drivers: [woofer_a, woofer_b], volume: 8 L, losses: {leak: 20, absorption: 100}, "
    kit = with_chamber(box + "standing_wave: {along: 350 mm, drivers: {woofer_b: 90 mm, woofer_a: 350 mm}}", *PAIR)
    assert (chamber(kit).along, chamber(kit).positions) == (0.35, (0.35, 0.09))
    made = enclosure(kit)
    assert isinstance(made, SealedBox)
    assert (made.along, made.positions) == (0.35, (0.35, 0.09))
    kit = with_chamber(box + "standing_wave: {along: 350 mm}", *PAIR)
    assert chamber(kit).positions == (0.0, 0.0)
    assert [f"{f.code}: {f.found}; {f.allowed}" for f in kit.findings] == [
        "assumed: chambers.0.standing_wave does not say where woofer_a, woofer_b is; 0 mm assumed, at one end"
    ]
    kit = with_chamber(
        box + "standing_wave: {along: 350 mm, drivers: {woofer_b: 90 mm, woofer_a: 350 mm}}",
        *PAIR, "variants.shelf.hookup={woofer_a: omit}", "variants.shelf.reason=one alone",
    )  # fmt: skip
    assert (chamber(kit).drivers, chamber(kit).positions) == (("woofer_b",), (0.09,))
    assert enclosure(kit).positions == (0.09,)


def test_a_box_without_a_standing_wave_has_one_pressure() -> None:
    made = enclosure(small())
    assert (made.along, made.positions) == (None, ())


def test_radiator_excursions() -> None:
    (chamber,) = load_kit(HERE / "kits" / "full.yaml").variants["wide"].cabinet.chambers
    assert isinstance(chamber, RadiatorChamber)
    (radiator,) = chamber.radiators
    assert (radiator.linear_excursion, radiator.damage_excursion) == (pytest.approx(0.009), pytest.approx(0.014))


# Beranek & Mellow (Acoustics, 2012, from memory): a disc in free air carries 8/3 rho a^3 of air, a piston in a baffle
# that much on each side; 88 cm2 is a circle of 52.9258 mm.
FREE_AIR = 8 / 3 * AIR_DENSITY * 0.0529258**3


@pytest.mark.parametrize(("load", "missing"), [("included", 0), ("free_air", 1), ("none", 2)])
def test_the_air_that_a_stated_mass_lacks(load: str, missing: int) -> None:
    kit = small(f"drivers.woofer.air_load={load}")
    driver = model(kit).drivers[0]
    assert driver is not None
    assert driver.mms == pytest.approx(9.5e-3 + missing * FREE_AIR, rel=1e-5)
    assert driver.cms == 1.1e-3


def test_a_bare_mass_resonates_in_free_air_where_it_was_measured() -> None:
    """fs is measured in free air: bare mass and that air make it, whatever the data sheet's mms leaves out."""
    figures = "fs: 49.2 Hz, qms: 3.46, qes: 0.415, mms: 9.5 g, sd: 88 cm2, re: 5.6 ohm, air_load: none"
    kit = small(f"drivers.woofer={{{figures}, voice_coil: {{le: 0.4 mH}}, origin: published}}")
    driver = model(kit).drivers[0]
    assert driver is not None
    free = 9.5e-3 + FREE_AIR
    assert 1 / (2 * math.pi * math.sqrt(free * driver.cms)) == pytest.approx(49.2, rel=1e-6)
    assert driver.mms == pytest.approx(free + FREE_AIR, rel=1e-6)
    assert codes(kit) == []
    kit = small(f"drivers.woofer={{{figures}, cms: 1.1 mm/N, voice_coil: {{le: 0.4 mH}}, origin: published}}")
    (finding,) = kit.findings
    assert finding.code == "driver_disagrees"


@pytest.mark.parametrize(("winding", "coefficient"), [("copper", 0.00393), ("aluminium", 0.00403)])
def test_a_hot_coil(winding: str, coefficient: float) -> None:
    """IEC 60028 (copper) and IEC 60889 (aluminium): 0.393 and 0.403 % per kelvin from 20 degC (from memory)."""
    keys = (f"winding={winding}", "voice_coil_temperature=120 degC")
    hot = [f"drivers.{name}.{key}" for name in ("woofer", "dome") for key in keys]
    made = model(small(*hot))
    assert made.coil_resistances == pytest.approx((5.6 * (1 + 100 * coefficient), 5.2 * (1 + 100 * coefficient)))
    assert made.added_resistances == pytest.approx((560 * coefficient, 520 * coefficient))
    driver, dome = made.drivers
    assert driver is not None
    assert driver.re == made.coil_resistances[0]
    assert dome is None
    assert model(small()).added_resistances == (0.0, 0.0)
