"""The board to scale: where parts are, what couples, what it does to the response, and the advice that follows."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.path import Path as Outline
from scipy.spatial import KDTree

from filters.coils import PlacedCoil, coupling_coefficient, inductance
from filters.windings import wire_resistance
from system.build import build
from system.ceilings import swept_case
from system.findings import KitError
from system.heat import CHART_SPREAD
from system.kit import Kit
from system.kitfile import load_kit
from system.outline import Body, Spot, bodies, box_body, coil_body, gap, off_board, overlap
from system.predict import predict
from system.sheets import layout_graphs, layout_texts
from system.stress import stress
from system.summary import level
from system.workshop.layout import HEARD, Advice, Change, LayoutResult, layout
from tests.support_kits import WOOFER, write_kit

PARTS = (
    "{L1: {coil: 1.2 mH, dc_resistance: 0.3 ohm, core: air, between: [in, a]},"
    " C1: {capacitor: 22 uF, between: [a, common]},"
    " C2: {capacitor: 10 uF, between: [in, b], type: film},"
    " L2: {coil: 0.33 mH, dc_resistance: 0.25 ohm, core: air, between: [b, common]},"
    " R1: {resistor: 4.7 ohm, power_rating: 10 W, temperature_rise: 250 K, between: [b, c]},"
    " L3: {coil: 0.5 mH, dc_resistance: 0.3 ohm, between: [in, a], normally: omit}}"
)
TWO_COILS = (
    "{L1: {at: [45 mm, 60 mm], outer: 61 mm, height: 15 mm, held: tie},"
    " L2: {at: [105 mm, 60 mm], outer: 39 mm, height: 10 mm, held: tie}}"
)


def written(folder: Path, places: str = TWO_COILS, parts: str = PARTS, more: str = "", variants: str = "") -> Path:
    """A two-way kit of one kind of driver in a wall, its parts on a board of 200 mm x 120 mm."""
    board = f"layout: {{board: [200 mm, 120 mm], places: {places}}}" if places else ""
    return write_kit(
        folder,
        drivers=f"{{woofer: {WOOFER}, tweeter: {WOOFER}}}",
        parts=parts,
        hookup="{low: {driver: woofer, plus: a, minus: common}, high: {driver: tweeter, plus: c, minus: common}}",
        variants=variants or "{v: {cabinet: box}}",
        more=f"{board}\n{more}",
    )


def result_of(kit: Kit, name: str = "v") -> LayoutResult:
    result = layout(kit, kit.variants[name])
    assert result is not None
    return result


def of_kind(result: LayoutResult, kind: str) -> list[Advice]:
    return [each for each in result.advice if each.kind == kind]


# --- bodies

PLACE = st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1))
MEASURES = st.tuples(st.floats(0.004, 0.1), st.floats(0.004, 0.1))


@st.composite
def some_body(draw: Any) -> Body:
    at, (long, wide), angle = draw(PLACE), draw(MEASURES), draw(st.floats(-3, 3))
    if draw(st.booleans()):
        return coil_body("L", Spot(at, None, outer=long, height=wide), 1e-3, 0.3)
    return box_body("R", Spot(at, angle, size=(long, wide, 0.01)))


def around(body: Body) -> np.ndarray:
    """Points along the outline (n, 2), 0.2 mm apart or less."""
    if body.round:
        angle = np.linspace(0, 2 * math.pi, 1600)
        return np.array(body.spot.at) + body.round * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    corners = np.array(body.corners)
    sides = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    return np.concatenate([a + np.linspace(0, 1, 520)[:, None] * (b - a) for a, b in sides])


@pytest.mark.slow
@settings(max_examples=150)
@given(some_body(), some_body())
def test_the_gap_is_the_least_distance_of_outlines(first: Body, second: Body) -> None:
    """Against points along both outlines; below zero exactly where a point of one lies in the other (matplotlib)."""
    one, other = around(first), around(second)
    found = gap(first, second)
    inside = Outline(one).contains_points(other).any() or Outline(other).contains_points(one).any()
    nearest = float(KDTree(one).query(other)[0].min())
    if found > 1e-4:
        assert not inside
        assert found == pytest.approx(nearest, abs=3e-4)
    elif found < -2e-4:
        assert inside
    assert gap(second, first) == pytest.approx(found, abs=1e-12)


@settings(max_examples=300)
@given(some_body(), some_body())
def test_bodies_overlap_where_the_gap_is_below_zero(first: Body, second: Body) -> None:
    found, deep = gap(first, second), overlap(first, second)
    assert max(deep, 0.0) == pytest.approx(max(-found, 0.0), abs=1e-12)
    assert overlap(second, first) == pytest.approx(deep, abs=1e-12)


def test_two_coils_corner_to_corner_do_not_overlap() -> None:
    """What they cover is drawn as two squares that do, by half a millimetre."""
    coils = [coil_body("L", Spot((at, at), None, outer=0.04, height=0.02), 1e-3, 0.3) for at in (0.0, 0.0395)]
    assert overlap(*coils) == pytest.approx(0.04 - 0.0395 * math.sqrt(2))


def test_height_keeps_parts_apart() -> None:
    low = coil_body("L1", Spot((0, 0), None, outer=0.06, height=0.02), 1e-3, 0.3)
    over = coil_body("L2", Spot((0.01, 0), None, outer=0.04, height=0.01, raised=0.03), 1e-3, 0.3)
    assert gap(low, over) == pytest.approx(0.01)
    beside = box_body("C1", Spot((0.06, 0), 0.0, size=(0.03, 0.02, 0.02), raised=0.05))
    assert gap(low, beside) == pytest.approx(math.hypot(0.015, 0.03))
    assert gap(low, replace(beside, low=0.01, high=0.03)) == pytest.approx(0.015)


def test_lying_and_standing() -> None:
    """A coil 60 mm across and 20 mm high: a circle of 30 mm radius, or 20 mm by 60 mm and 60 mm high; a box on end."""
    spot = Spot((0.1, 0.1), math.pi / 2, outer=0.06, height=0.02, raised=0.004)
    lying = coil_body("L1", spot, 1e-3, 0.3)
    assert lying.reach == pytest.approx((0.07, 0.13, 0.09, 0.11))
    assert (lying.low, lying.high) == pytest.approx((0.004, 0.064))
    assert lying.centre == pytest.approx((0.1, 0.1, 0.034))
    assert lying.axis == pytest.approx((0, 1, 0))
    assert coil_body("L1", replace(spot, angle=None), 1e-3, 0.3).reach == pytest.approx((0.07, 0.13, 0.07, 0.13))
    on_end = box_body("C1", Spot((0.1, 0.1), None, size=(0.05, 0.02, 0.03)))
    assert on_end.reach == pytest.approx((0.085, 0.115, 0.09, 0.11))
    assert on_end.high == pytest.approx(0.05)
    assert off_board(lying, (0.2, 0.105)) == pytest.approx(0.005)
    assert off_board(lying, (0.2, 0.2)) == pytest.approx(-0.07)


@pytest.mark.parametrize(("value", "ohms"), [(0.33e-3, 0.25), (1.2e-3, 0.3), (4.7e-3, 0.9)])
def test_a_coil_without_a_size_has_that_of_its_winding(value: float, ohms: float) -> None:
    """Its winding, with the turns that fit, has the inductance (exact) and the resistance of the part."""
    made = coil_body("L1", Spot((0, 0), None), value, ohms)
    assert made.assumed
    assert made.winding is not None
    assert inductance(made.winding) == pytest.approx(value, rel=1e-4)
    assert made.mass is not None
    # copper of that mass and length has that resistance: R = rho l/(m/(d l))
    length = made.winding.wire_length
    diameter = math.sqrt(4 / math.pi * made.mass / 8890 / length)
    assert wire_resistance(length, diameter) == pytest.approx(ohms, rel=1e-3)


# --- coupling


def test_the_layout_couples_coils_as_the_kit_would(tmp_path: Path) -> None:
    """The same prediction as with `coupled` and the coefficient of windings half as wide inside as outside."""
    kit = load_kit(written(tmp_path))
    expected = coupling_coefficient(*PLACED)
    assert [c.coefficient for c in result_of(kit).couplings] == [pytest.approx(expected, rel=1e-6)]
    f = np.geomspace(100, 15e3, 60)
    with_layout = predict(kit, kit.variants["v"], f)
    text = (tmp_path / "kit.yaml").read_text()
    coupled = f"coupled: [{{coils: [L1, L2], coefficient: {expected:.9f}}}], hookup:"
    (tmp_path / "kit.yaml").write_text(text.replace("hookup:", coupled).partition("layout:")[0])
    said = load_kit(tmp_path / "kit.yaml")
    told = predict(said, said.variants["v"], f)
    np.testing.assert_allclose(with_layout.pressure, told.pressure, rtol=1e-7)
    np.testing.assert_allclose(with_layout.impedance, told.impedance, rtol=1e-7)


FLAT, SMALLER = "outer: 61 mm, height: 15 mm", "outer: 39 mm, height: 10 mm"
WINDINGS = [
    coil_body(name, Spot(at, None, outer=outer, height=height), 1e-3, 0.3).winding
    for name, at, outer, height in (("L1", (0, 0), 0.061, 0.015), ("L2", (0, 0), 0.039, 0.010))
]
PLACED = [
    PlacedCoil(winding, at, (0, 0, 1))
    for winding, at in zip(WINDINGS, [(0.045, 0.06, 0.0075), (0.105, 0.06, 0.005)], strict=True)
    if winding
]


def test_the_change_is_that_of_two_predictions(tmp_path: Path) -> None:
    kit = load_kit(written(tmp_path))
    bare = load_kit(written(tmp_path, places=""))
    result = result_of(kit)
    f = swept_case(kit, kit.variants["v"]).acoustics.frequency
    one, other = (predict(k, k.variants["v"], f) for k in (kit, bare))
    band = (f >= 200) & (f <= 10e3)
    difference = np.where(band, level(one.pressure) - level(other.pressure), 0.0)
    at = int(np.argmax(np.abs(difference)))
    assert result.change.level == pytest.approx(difference[at], abs=1e-9)
    assert result.change.level_at == pytest.approx(f[at])
    ohms = np.where(f >= 20, np.abs(one.impedance) - np.abs(other.impedance), 0.0)
    most = int(np.argmax(np.abs(ohms)))
    assert result.change.impedance == pytest.approx(ohms[most], abs=1e-9)
    assert result.change.impedance_at == pytest.approx(f[most])
    # with one pair all together is that pair, and leads exchanged the worse of the two signs
    assert result.pairs[0].change == result.change
    assert result.worst is not None
    assert result.worst.size == pytest.approx(result.pairs[0].worst)


def test_the_kits_own_coupling_comes_first(tmp_path: Path) -> None:
    path = written(tmp_path)
    path.write_text(path.read_text().replace("hookup:", "coupled: [{coils: [L2, L1], coefficient: 0.1}], hookup:"))
    kit = load_kit(path)
    result = result_of(kit)
    assert result.couplings == ()
    assert (result.pairs[0].given, result.pairs[0].coefficient) == (True, 0.1)
    assert result.pairs[0].computed == pytest.approx(coupling_coefficient(*PLACED))
    assert [c.coefficient for c in build(kit, kit.variants["v"]).network.couplings] == [0.1]
    assert result.change == Change(0.0, None, 0.0, None)  # which happens nowhere
    assert result.pairs[0].change.size > 0.1  # against none
    assert of_kind(result, "coupling") == []


def test_a_coupling_that_the_layout_contradicts(tmp_path: Path) -> None:
    """L1 and L2 stacked, L3 beside: with L1 and L3 as one coil, L3 would have to couple to L2 as L1 does."""
    places = (
        "{L1: {at: [45 mm, 60 mm], outer: 61 mm, height: 15 mm, held: tie},"
        " L2: {at: [45 mm, 60 mm], outer: 60 mm, height: 10 mm, raised: 16 mm, held: tie},"
        " L3: {at: [150 mm, 60 mm], outer: 40 mm, height: 10 mm, held: tie}}"
    )
    path = written(tmp_path, places, variants="{v: {cabinet: box, parts: {L3: fit}}}")
    path.write_text(path.read_text().replace("hookup:", "coupled: [{coils: [L1, L3], coefficient: 0.98}], hookup:"))
    kit = load_kit(path)
    with pytest.raises(KitError, match="coupling_not_passive"):
        layout(kit, kit.variants["v"])


def test_only_fitted_air_coils_couple(tmp_path: Path) -> None:
    places = TWO_COILS[:-1] + ", L3: {at: [170 mm, 60 mm], outer: 40 mm, height: 10 mm, held: tie}}"
    variants = (
        "{v: {cabinet: box}, three: {like: v, parts: {L3: fit}}, one: {like: v, parts: {L2: link}, reason: bare}}"
    )
    kit = load_kit(written(tmp_path, places, variants=variants))
    pairs = {name: [pair.coils for pair in result_of(kit, name).pairs] for name in kit.variants}
    assert pairs == {"v": [("L1", "L2")], "three": [("L1", "L2"), ("L1", "L3"), ("L2", "L3")], "one": []}
    three = result_of(kit, "three")
    assert three.worst is not None
    assert three.worst.size >= three.change.size
    iron = PARTS.replace("core: air, between: [b", "core: iron, saturation_current: 9 A, between: [b")
    kit = load_kit(written(tmp_path, parts=iron))
    result = result_of(kit)
    assert result.pairs == ()
    assert build(kit, kit.variants["v"]).network.couplings == ()
    assert [each.references for each in of_kind(result, "iron")] == [("L2",)]
    assert "cannot be told" in layout_texts.advice(of_kind(result, "iron")[0])


def test_parts_for_one_place_are_not_coupled(tmp_path: Path) -> None:
    """Two coils that no variant fits together may lie in one place; tried together they are not coupled."""
    places = TWO_COILS.replace("L2:", "L3:")[:-1].replace("105 mm, 60 mm", "50 mm, 60 mm") + "}"
    kit = load_kit(written(tmp_path, places))
    variant = kit.variants["v"]
    both = replace(variant, places={n: replace(p, state="fit") for n, p in variant.places.items()})
    assert build(kit, both).network.couplings == ()


def test_no_layout(tmp_path: Path) -> None:
    kit = load_kit(written(tmp_path, places=""))
    assert kit.layout is None
    assert layout(kit, kit.variants["v"]) is None
    assert build(kit, kit.variants["v"]).network.couplings == ()


def test_coils_across_each_other_leave_the_kit_as_it_is(tmp_path: Path) -> None:
    """An axis across the line of centres: not a bit of the prediction changes."""
    kit = load_kit(written(tmp_path, TWO_COILS.replace("39 mm, height: 10 mm", "39 mm, height: 10 mm, axis: across")))
    result = result_of(kit)
    assert build(kit, kit.variants["v"]).network.couplings == ()
    assert (result.pairs[0].coefficient, result.change.size) == (pytest.approx(0, abs=1e-9), 0)
    assert of_kind(result, "coupling") == []


def test_a_size_that_is_only_worked_out_makes_a_warning(tmp_path: Path) -> None:
    places = "{L1: {at: [45 mm, 20 mm], held: tie}, C1: {at: [80 mm, 20 mm], size: [40 mm, 20 mm], held: tie}}"
    kit = load_kit(written(tmp_path, places))
    found = {finding.code: finding for finding in kit.findings if finding.severity == "warning"}
    assert set(found) == {"layout_edge", "layout_overlap"}
    assert all("L1 in the size worked out for it" in finding.found for finding in found.values())


# --- advice


def test_what_is_advised_helps(tmp_path: Path) -> None:
    """Turned or moved as told, the kit read again makes no more than 0.1 dB; moved 2 % less it makes more."""
    close = TWO_COILS.replace("105 mm", "97 mm")  # 2 mm between
    kit = load_kit(written(tmp_path, close))
    (advice,) = of_kind(result_of(kit), "coupling")
    assert advice.figure == pytest.approx(result_of(kit).pairs[0].worst)
    turn, move = advice.remedies
    assert (turn.way, move.way) == ("turn", "move")
    assert turn.angle is not None
    text = written(tmp_path, close).read_text()
    size = FLAT if turn.reference == "L1" else SMALLER
    path = tmp_path / "kit.yaml"
    path.write_text(text.replace(size, f"{size}, axis: {{turned: {math.degrees(turn.angle):.6f} deg}}"))
    (pair,) = result_of(load_kit(path)).pairs
    assert pair.coefficient == pytest.approx(turn.coefficient, abs=1e-7)
    assert pair.worst <= HEARD
    assert move.distance is not None
    for share, enough in ((1.0, True), (0.98, False)):
        away = 45 + share * move.distance * 1e3
        moved = text.replace("[97 mm, 60 mm]", f"[{away:.6f} mm, 60 mm]").replace("[200 mm,", "[600 mm,")
        path.write_text(moved)
        result = result_of(load_kit(path))
        assert (result.pairs[0].worst <= HEARD) == enough
        assert bool(of_kind(result, "coupling")) != enough
    assert layout_texts.advice(advice).startswith("L1 and L2 couple by up to ")


def test_coils_over_each_other(tmp_path: Path) -> None:
    """Stacked they couple ten times as much, and moving means higher."""
    places = TWO_COILS.replace("[105 mm, 60 mm]", "[45 mm, 60 mm]").replace(
        "39 mm, height: 10 mm", "39 mm, height: 10 mm, raised: 25 mm"
    )
    result = result_of(load_kit(written(tmp_path, places)))
    assert result.pairs[0].coefficient == pytest.approx(0.200, rel=0.1)  # computed elsewhere
    (advice,) = of_kind(result, "coupling")
    move = next(each for each in advice.remedies if each.way == "move")
    assert move.distance is not None
    assert move.distance > 0.05
    assert move.level <= HEARD


HOT = (
    "{R1: {at: [100 mm, 60 mm], size: [50 mm, 10 mm], RAISED},"
    " C2: {at: [100 mm, AWAY mm], size: [40 mm, 20 mm], held: HELD}}"
)


@pytest.mark.parametrize(
    ("away", "held", "raised", "kinds"),
    [
        (84, "hot_melt", "held: tie", {"near_glue", "near_capacitor", "on_board"}),  # 9 mm between
        (84, "tie", "held: hot_melt, raised: 5 mm", {"own_glue", "near_capacitor"}),
        (86, "hot_melt", "held: tie, raised: 6 mm", set()),
        (86, "tie", "held: screw, raised: 4 mm", {"on_board"}),
    ],
)
def test_what_a_hot_resistor_does(tmp_path: Path, away: int, held: str, raised: str, kinds: set[str]) -> None:
    places = HOT.replace("AWAY", str(away)).replace("HELD", held).replace("RAISED", raised)
    parts = PARTS.replace("power_rating: 10 W", "power_rating: 0.5 W")
    kit = load_kit(written(tmp_path, places, parts))
    result = result_of(kit)
    surface = stress(swept_case(kit, kit.variants["v"])).parts["R1"].surface
    assert surface is not None
    assert result.temperatures == {"R1": surface.temperature}
    assert surface.temperature + CHART_SPREAD > 363.15
    assert {each.kind for each in result.advice} == kinds
    assert all(each.references[0] == "R1" for each in result.advice)
    assert all("R1 may get" in layout_texts.advice(each) for each in result.advice)


def test_a_cool_resistor_is_only_raised(tmp_path: Path) -> None:
    places = HOT.replace("AWAY", "77").replace("HELD", "hot_melt").replace("RAISED", "held: hot_melt")
    parts = PARTS.replace("power_rating: 10 W", "power_rating: 200 W")
    result = result_of(load_kit(written(tmp_path, places, parts)))
    assert [(each.kind, each.references) for each in result.advice] == [("raise", ("R1",))]
    unrated = PARTS.replace("power_rating: 10 W, temperature_rise: 250 K, ", "")
    result = result_of(load_kit(written(tmp_path, places, unrated)))
    assert (result.unrated, dict(result.temperatures)) == (("R1",), {})
    assert result.absent == ("L1", "C1", "L2")
    assert any("no power_rating" in line for line in layout_texts.layout(result))


@pytest.mark.parametrize(
    ("spot", "part", "told"),
    [
        ("outer: 61 mm, height: 15 mm, held: glue", "core: air", True),  # 0.2 kg of copper
        ("outer: 61 mm, height: 15 mm, held: tie", "core: air", False),
        ("outer: 24 mm, height: 15 mm, held: glue", "core: air", False),  # 31 g
        ("outer: 24 mm, height: 15 mm, mass: 61 g", "core: air", True),
        ("outer: 24 mm, height: 15 mm, held: glue", "core: iron, saturation_current: 5 A", True),
        ("outer: 24 mm, height: 15 mm, held: screw", "core: iron, saturation_current: 5 A", False),
    ],
)
def test_what_glue_does_not_hold(tmp_path: Path, spot: str, part: str, told: bool) -> None:
    parts = PARTS.replace("core: air, between: [in", f"{part}, between: [in")
    result = result_of(load_kit(written(tmp_path, f"{{L1: {{at: [45 mm, 60 mm], {spot}}}}}", parts)))
    assert [each.references for each in of_kind(result, "hold")] == ([("L1",)] if told else [])


def test_the_mass_of_a_winding(tmp_path: Path) -> None:
    """By hand: a ring 30.5 to 61 mm, 15 mm high is 32.88 cm3; with 1.05 of pitch some 60 % of it is copper."""
    kit = load_kit(written(tmp_path))
    assert kit.layout is not None
    body = bodies(kit.layout, kit.variants["v"])[0]
    volume = math.pi / 4 * (6.1**2 - 3.05**2) * 1.5
    assert volume == pytest.approx(32.88, abs=0.01)
    assert body.mass is not None
    assert 0.55 < body.mass / (volume * 8.89e-3) < 0.66


# --- the plan


def test_the_plan_is_to_scale_and_says_what_is_where(tmp_path: Path) -> None:
    places = (
        TWO_COILS[:-1]
        + ", C1: {at: [45 mm, 12 mm], size: [40 mm, 15 mm]}, C2: {at: [150 mm, 15 mm], size: [40 mm, 20 mm]},"
        " R1: {at: [150 mm, 100 mm], size: [48 mm, 10 mm], raised: 5 mm}, L3: {at: [160 mm, 60 mm]}}"
    )
    variants = "{v: {cabinet: box, parts: {C2: link}}}"
    result = result_of(load_kit(written(tmp_path, places, variants=variants)))
    figure = layout_graphs.plans([result])
    (axes,) = figure.axes
    words = {text.get_text() for text in axes.texts}
    assert {"L1 1.2 mH", "C1\n22 uF", "C2\nwire link", "R1 4.7 ohm", "in", "a", "b", "c", "common"} <= words
    assert any("leave out" in word for word in words)
    circles = [patch for patch in axes.patches if isinstance(patch, Circle)]
    assert {30.5, 15.25, 19.5, 9.75} <= {round(circle.radius, 3) for circle in circles}
    # one inch of paper for 25.4 mm of board
    inches = figure.get_size_inches()
    box = axes.get_position()
    assert box.width * inches[0] * 25.4 == pytest.approx(200)
    assert box.height * inches[1] * 25.4 == pytest.approx(120)
    dashed = {patch.get_linestyle() for patch in axes.patches}
    assert len(dashed) == 3  # fitted, linked and left out are told apart without colour
    assert {patch.get_hatch() for patch in axes.patches} == {None, "////"}


def test_a_plan_goes_into_given_axes(tmp_path: Path) -> None:
    figure = Figure(figsize=(4, 3))
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    layout_graphs.plan(axes, result_of(load_kit(written(tmp_path))))
    assert (axes.get_xlim(), axes.get_ylim()) == ((0, 200), (0, 120))
    assert axes.get_aspect() == 1
