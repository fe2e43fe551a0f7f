"""What to fit, why, and what to buy: small kits worked by hand, shares against the network, the example's figures."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import combinations_with_replacement, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters import network
from filters import parts as physical
from system.articles import Offer, Wanted, offer
from system.ceilings import swept_case
from system.examples import scenarios
from system.kit import Kit, Part, StockItem
from system.kitfile import load_kit
from system.members import part_of, shares, singles
from system.predict import predict
from system.reasons import effect_text
from system.shopping import Shopping, identity, need, shopping
from system.stress import stress
from tests.support_kits import read_kit

MARSHLIGHT = scenarios() / "marshlight" / "kit.yaml"
# Judged on a sine of 6.3246 V, 5 W into 8 ohm, behind no resistance: Ohm's law gives what everything bears.
SINE = {"amplifier": "{power: 5 W, load: 8 ohm}", "more": "programme: {spectrum: sine}"}


@cache
def example() -> Shopping:
    kit = load_kit(MARSHLIGHT)
    return shopping(kit, list(kit.variants.values()), 2)


def of(kit: Kit, count: int = 1, *names: str) -> Shopping:
    return shopping(kit, [v for v in kit.variants.values() if not names or v.name in names], count)


def two_resistors(folder: Path, stock: str = "") -> Kit:
    """R1 across the amplifier, in variant b behind R2 of the same 8 ohm; the woofer has the input to itself."""
    return read_kit(
        folder,
        amplifier=SINE["amplifier"],
        parts="{R1: {resistor: 8 ohm, tolerance: 5 %, between: [in, m]},"
        " R2: {resistor: 8 ohm, tolerance: 5 %, between: [m, common], normally: link, reason: a wire is louder}}",
        variants="{a: {cabinet: box}, b: {cabinet: box, parts: {R2: fit}}}",
        more=f"{SINE['more']}\n{stock}",
    )


def test_a_shared_part_is_rated_for_the_worst_variant(tmp_path: Path) -> None:
    """5 W in R1 alone, 1.25 W where R2 takes half of the volts: 1.5 dB more is 7.06 and 1.77 W, sold as 10 and 2 W."""
    result = of(two_resistors(tmp_path))
    r1 = {name: here["R1"] for name, here in result.spots.items()}
    assert (r1["a"].bears, r1["b"].bears) == pytest.approx((5.0, 1.25))
    for spot in r1.values():
        assert spot.need is not None
        assert (spot.need.variant, spot.need.rating) == ("a", 10)
        assert spot.need.needed == pytest.approx(5 * 10**0.15)
    r2 = result.spots["b"]["R2"].need
    assert r2 is not None
    assert (r2.variant, r2.asked, r2.rating) == ("b", pytest.approx(1.25), 2)
    assert result.spots["a"]["R2"].need is None


def test_the_bag_builds_any_one_variant(tmp_path: Path) -> None:
    """Parts that differ in what they must bear are two lines; b takes one of each, a the stronger only."""
    kit = two_resistors(tmp_path)
    lines = of(kit, 3).lines
    assert [(line.wanted.rating, line.count, line.places) for line in lines] == [(2, 3, ("R2",)), (10, 3, ("R1",))]
    assert [dict(line.each) for line in lines] == [{"a": 0, "b": 1}, {"a": 1, "b": 1}]
    labels = {label.variant.name: label for label in of(kit).labels}
    assert [(left.wanted.rating, left.count) for left in labels["a"].left] == [(2, 1)]
    assert labels["b"].left == ()
    # asked for a only: one part a cabinet, rated as before, and R2 is still what the full bag leaves over
    only = of(kit, 2, "a")
    assert [(line.wanted.rating, line.count) for line in only.lines] == [(10, 2)]
    assert [left.wanted.rating for left in only.labels[0].left] == [2]


def test_prices_add_up_exactly(tmp_path: Path) -> None:
    """3 x 0.10 is 0.30, which binary floats make 0.30000000000000004; a price in words has no sum."""
    stock = tmp_path / "drawer.csv"
    rows = "kind,value,tolerance,rating,article,price,in_stock\n"
    for strong, weak, total in (("0.10", "0.07", "0.51"), ("0.10", "", "0.60"), ("0.1 each", "0.07", None)):
        text = f"{rows}resistor,8 ohm,5 %,10 W,R-10,{strong},5\nresistor,8 ohm,5 %,3 W,R-3,{weak},\n"
        stock.write_text(text, encoding="utf-8")
        result = of(two_resistors(tmp_path, "stock: {resistors: drawer.csv}"), 3)
        assert result.total == (None if total is None else Decimal(total))
        assert result.lines[1].price == (Decimal("0.30") if strong == "0.10" else None)
        assert result.lines[1].offer.items[0].article == "R-10"
        # for the part that needs less two will do: the one that has a price, and of those the cheaper
        cheap = result.lines[0].offer
        assert cheap.items[0].article == ("R-3" if weak else "R-10")
        # five of the stronger are enough for one of the two places only
        short = ("only 5 in stock, and 6 are to be bought in all",)
        assert cheap.remarks == (short if cheap.items[0].article == "R-10" else ())


# what a group's members have of its current and volts


def group(kind: str, how: str, values: tuple[float, ...], resistance: float = 0.0) -> Part:
    total = sum(values) if (how == "parallel") == (kind == "capacitor") else 1 / sum(1 / v for v in values)
    return Part(kind, total, resistance=resistance, made_of=values, made_of_how=how)  # type: ignore[arg-type]


ELEMENTS: dict[str, Callable[[Part], physical.Part]] = {
    "capacitor": lambda part: physical.Capacitor(part.value, part.resistance),
    "coil": lambda part: physical.Coil(part.value, part.resistance),
    "resistor": lambda part: physical.Resistor(part.value),
}
sizes = st.lists(st.floats(0.1, 10), min_size=2, max_size=4).map(tuple)


@given(st.sampled_from(["capacitor", "coil", "resistor"]), st.sampled_from(["parallel", "series"]), sizes)
def test_shares_are_those_of_the_solved_network(kind: str, how: str, values: tuple[float, ...]) -> None:
    """Members as elements of their own behind a resistor: each has its share of current, volts and heat, and together
    they are the group (Kirchhoff); 1e-9."""
    part = group(kind, how, tuple(v * {"capacitor": 1e-5, "coil": 1e-3, "resistor": 1.0}[kind] for v in values), 0.3)
    whole = solved([("in", "common", replace(part, made_of=()))])
    points = [("in", "common")] * len(values)
    if how == "series":
        names = ["in", *(f"m{i}" for i in range(1, len(values))), "common"]
        points = list(pairwise(names))
    apart = solved([(*ends, each) for ends, each in zip(points, singles(part), strict=True)])
    assert len(shares(part)) == len(values)
    for k, (current, volts) in enumerate(shares(part)):
        np.testing.assert_allclose(apart.element_current[:, k], current * whole.element_current[:, 0], rtol=1e-9)
        np.testing.assert_allclose(apart.element_volts[:, k], volts * whole.element_volts[:, 0], rtol=1e-9)
        watts = current * volts * whole.element_watts[:, 0]
        np.testing.assert_allclose(apart.element_watts[:, k], watts, rtol=1e-9, atol=1e-15)


def solved(pieces: list[tuple[str, str, Part]]) -> network.Solution:
    elements = [network.Element(f"X{i}", ELEMENTS[p.kind](p), a, b) for i, (a, b, p) in enumerate(pieces)]
    board = network.Network(("in", "common"), tuple(elements))
    return network.solve(board, 2 * np.pi * np.geomspace(20, 20e3, 20), source_resistance=2.0)


@pytest.mark.parametrize(
    ("kind", "how", "values", "expected"),
    [
        ("capacitor", "parallel", (100e-6, 120e-6), [(100 / 220, 1), (120 / 220, 1)]),
        ("capacitor", "series", (10e-6, 30e-6), [(1, 0.75), (1, 0.25)]),
        ("coil", "parallel", (1e-3, 3e-3), [(0.75, 1), (0.25, 1)]),
        ("coil", "series", (1e-3, 3e-3), [(1, 0.25), (1, 0.75)]),
        ("resistor", "parallel", (10.0, 15.0), [(0.6, 1), (0.4, 1)]),
        ("resistor", "series", (1.0, 1.2), [(1, 1 / 2.2), (1, 1.2 / 2.2)]),
    ],
)
def test_shares_worked_by_hand(kind: str, how: str, values: tuple[float, ...], expected: list[object]) -> None:
    for found, each in zip(shares(group(kind, how, values)), expected, strict=True):
        assert found == pytest.approx(each)


def test_a_group_is_rated_as_its_members_on_the_board_are(tmp_path: Path) -> None:
    """C1 once as a group, once as two places: what is asked of each, and the lines to buy, are the same."""
    text = "capacitor: {} uF, type: film, tolerance: 5 %, between: [in, m]"
    rest = "R1: {resistor: 4 ohm, between: [m, common]}"
    one = f"{{C1: {{{text.format(47)}, made_of: [33 uF, 14 uF], series_resistance: 0.1 ohm}}, {rest}}}"
    two = (
        f"{{C1: {{{text.format(33)}, series_resistance: {0.1 * 47 / 33} ohm}},"
        f" C2: {{{text.format(14)}, series_resistance: {0.1 * 47 / 14} ohm}}, {rest}}}"
    )
    together, single = (of(read_kit(tmp_path, parts=parts)) for parts in (one, two))
    here, there = together.spots["v"], single.spots["v"]
    for member, reference in zip(here["C1"].members, ("C1", "C2"), strict=True):
        other = there[reference].need
        assert other is not None
        assert member.need.asked == pytest.approx(other.asked, rel=1e-9)
        assert member.need.rating == other.rating

    def bought(result: Shopping) -> list[tuple[float, float, int]]:
        return [(line.wanted.value, line.wanted.rating, line.count) for line in result.lines]

    assert bought(together) == bought(single)
    assert len(together.lines) == 3


def test_members_have_their_share_of_a_rating(tmp_path: Path) -> None:
    """Of 10 W for 1 and 3 ohm in series a quarter and three quarters are the members'; each bears that of 5 W."""
    fields = "resistor: 4 ohm, made_of: {series: [1 ohm, 3 ohm]}, power_rating: 10 W, between: [in, common]"
    amplifier = "{power: 5 W, load: 4 ohm}"
    result = of(read_kit(tmp_path, parts=f"{{R1: {{{fields}}}}}", amplifier=amplifier, more=SINE["more"]))
    assert [member.part.power_rating for member in result.spots["v"]["R1"].members] == [2.5, 7.5]
    assert [member.need.asked for member in result.spots["v"]["R1"].members] == pytest.approx([1.25, 3.75])
    assert [(line.wanted.value, line.wanted.rating, line.given) for line in result.lines] == [(1, 2, 2.5), (3, 7, 7.5)]


def test_equal_members_are_one_line(tmp_path: Path) -> None:
    parts = "{C1: {capacitor: 20 uF, made_of: [10 uF, 10 uF], between: [in, common]}}"
    (line,) = of(read_kit(tmp_path, parts=parts), 2).lines
    assert (line.count, line.wanted.value, line.places) == (4, pytest.approx(10e-6), ("C1",))


def test_a_measured_part_is_bought_by_what_is_printed_on_it(tmp_path: Path) -> None:
    parts = "{C1: {capacitor: 10 uF, measured: 10.4 uF, between: [in, common]}}"
    (line,) = of(read_kit(tmp_path, parts=parts)).lines
    assert line.wanted.value == pytest.approx(10e-6)


def test_an_iron_core_needs_its_peak_too(tmp_path: Path) -> None:
    """A coil of no inductance to speak of before 8 ohm: 0.79057 A rms on the sine, peaks of 1.1180 A; 1.5 dB more."""
    parts = "{L1: {coil: 1 uH, core: iron, between: [in, m]}, R1: {resistor: 8 ohm, between: [m, common]}}"
    found = of(read_kit(tmp_path, parts=parts, **SINE)).spots["v"]["L1"].need
    assert found is not None
    assert found.asked == pytest.approx(math.sqrt(5 / 8), rel=1e-3)
    assert found.rating == pytest.approx(1.0)  # 0.9395 A rounded up
    assert found.saturation == pytest.approx(1.4)  # 1.3287 A rounded up


# the example kit


def test_ratings_are_the_largest_that_stress_orders() -> None:
    """Over the variants in which the part is fitted with the same value."""
    result = example()
    each = {name: stress(swept_case(result.kit, v)).parts for name, v in result.kit.variants.items()}
    checked = 0
    for name, here in result.spots.items():
        for reference, spot in here.items():
            if spot.need is None or spot.need.kind == "current":
                continue
            same = [p[reference] for p in each.values() if reference in p]
            same = [p for p in same if identity(p.part) == identity(each[name][reference].part)]
            orders = [rated.order for p in same for rated in p.ratings if rated.kind == spot.need.kind]
            assert spot.need.rating == max(order for order in orders if order is not None)
            checked += 1
    assert checked == 5 * 2 + 4


def test_currents_are_those_that_stress_holds_against_a_rating() -> None:
    """The example's coils have ratings, so `stress` tells what is needed."""
    result = example()
    each = {name: stress(swept_case(result.kit, v)).parts for name, v in result.kit.variants.items()}
    for reference, names in (("L2", ("centre", "wall", "tall")), ("L1", ("wall", "tall"))):
        needed = max(r.needed for name in names for r in each[name][reference].ratings if r.kind == "current")
        found = result.spots[names[0]][reference].need
        assert found is not None
        assert found.needed == pytest.approx(needed, rel=1e-12)
        assert 0 <= found.rating - needed < 0.1


def test_every_part_of_the_full_bag_is_fitted_or_left() -> None:
    """Counted from the kit's own places, by kind and value."""
    result = example()
    fitted = {
        name: Counter(
            (place.part.kind, value)
            for place in variant.places.values()
            if place.state == "fit"
            for value in (place.part.made_of or (place.part.value,))
        )
        for name, variant in result.kit.variants.items()
    }
    full: Counter[tuple[str, float]] = Counter()
    # 0.68 mH of two dc resistances: both are in the bag
    for line in result.lines:
        full[line.wanted.kind, line.wanted.value] += line.count // 2
    for label in result.labels:
        left = Counter({(e.wanted.kind, e.wanted.value): e.count for e in label.left})
        assert fitted[label.variant.name] + left == full


def test_what_the_example_is_to_have_and_why() -> None:
    result = example()
    actions = {name: {r: spot.reason.action for r, spot in here.items()} for name, here in result.spots.items()}
    assert actions["centre"] == {
        "C1": "fit", "L1": "change", "C2": "fit", "C3": "fit", "L2": "fit", "R1": "change", "R2": "fit",
    }  # fmt: skip
    assert actions["tall"]["C1"] == "link"
    wall, tall = result.spots["wall"]["C1"].reason, result.spots["tall"]["C1"].reason
    assert wall.why[0].startswith("as a high-pass for woofer_a and woofer_b: needed (linked: programme ")
    assert any(text.startswith("220 uF (as in centre and wall) instead of a link: woofer") for text in tall.why)
    assert result.spots["wall"]["C2"].reason.why == ("the same in all variants",)
    assert "fitted all the same" in result.spots["centre"]["C1"].reason.why[0]


@pytest.mark.parametrize(
    ("name", "reference", "setting"),
    [
        ("centre", "R1", "variants.centre.parts.R1=2.2 ohm"),
        ("centre", "L1", "variants.centre.parts.L1=1.5 mH"),
        ("centre", "C1", "variants.centre.parts.C1=link"),
        ("tall", "C1", "variants.tall.parts.C1=fit"),
    ],
)
def test_an_effect_is_the_difference_of_two_predictions(name: str, reference: str, setting: str) -> None:
    """The kit read again with the other thing in the place, and predicted from the beginning; 1e-6 dB."""
    result = example()
    (effect,) = result.spots[name][reference].reason.effects
    other = load_kit(MARSHLIGHT, (setting,))
    frequency = np.geomspace(20, 20e3, 40)
    levels = []
    for kit in (result.kit, other):
        there = predict(kit, kit.variants[name], frequency, 1.0)
        levels.append(20 * np.log10(np.abs(there.pressure)))
        figures = there.summary
    change = levels[0] - levels[1] if effect.here.state == "fit" else levels[1] - levels[0]
    grid = np.geomspace(10, 20e3, 1777)
    assert effect.curve is not None
    at = np.interp(np.log(frequency), np.log(grid), effect.curve)
    np.testing.assert_allclose(at, change, atol=5e-3)  # the grid's steps of 1/162 octave
    single = effect.before if effect.here.state == "fit" else effect.after
    assert single is not None
    assert single.minus_3 == pytest.approx(figures.minus_3_db_hz, rel=1e-9)
    assert single.lowest_impedance == pytest.approx(figures.lowest_impedance_ohm, rel=1e-9)


def flat_tweeter(folder: Path) -> Kit:
    """A tweeter of 8 ohm and 90 dB at every frequency behind R1, in a wall; R2 lies across an amplifier of no
    resistance."""
    rows = [f"{f:.1f} {{}} 0" for f in np.geomspace(10, 40e3, 30)]
    (folder / "ohms.txt").write_text("\n".join(row.format(8.0) for row in rows), encoding="utf-8")
    (folder / "level.txt").write_text("\n".join(row.format(90.0) for row in rows), encoding="utf-8")
    response = "{file: level.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}"
    return read_kit(
        folder,
        drivers=f"{{dome: {{role: tweeter, re: 6 ohm, impedance: ohms.txt, response: {response}}}}}",
        parts="{C1: {capacitor: 1000 uF, between: [in, a]}, R1: {resistor: 1.2 ohm, between: [a, t]},"
        " R2: {resistor: 12 ohm, between: [in, common]}}",
        hookup="{tweeter: {driver: dome, plus: t, minus: common}}",
        cabinets="{box: {}}",
        variants="{a: {cabinet: box, placement: in_wall}, b: {like: a, parts: {R1: 2.2 ohm, R2: 33 ohm}}}",
    )


def test_a_divider_changes_the_level_as_ohms_law_says(tmp_path: Path) -> None:
    """8 ohm behind 1.2 instead of 2.2 ohm gain 20 lg(10.2/9.2) = 0.896 dB; what lies across the amplifier, nothing:
    there the 9.2 ohm beside 33 ohm come to 7.19, beside 12 ohm to 5.21 ohm."""
    here = of(flat_tweeter(tmp_path), 1, "a").spots["a"]
    (divider,), (across,) = here["R1"].reason.effects, here["R2"].reason.effects
    assert divider.drivers == ("tweeter",)
    assert divider.branch is not None
    assert divider.total is not None
    # 1000 uF have 8 ohm at 20 Hz and 0.008 ohm at 20 kHz
    assert divider.branch.mean == pytest.approx(20 * math.log10(10.2 / 9.2), abs=0.05)
    assert divider.curve is not None
    assert divider.curve[-1] == pytest.approx(20 * math.log10(10.2 / 9.2), abs=1e-4)
    assert effect_text(divider).startswith("1.2 ohm instead of 2.2 ohm (as in b): tweeter +0.9 dB; the sum changes by")
    assert across.total is not None
    assert across.total.largest == pytest.approx(0, abs=1e-9)
    assert effect_text(across) == "12 ohm instead of 33 ohm (as in b): lowest impedance 7.2 ohm -> 5.2 ohm"


def test_what_cannot_be_computed_is_said(tmp_path: Path) -> None:
    """A wire across the input, in a variant where another place keeps the two points apart."""
    kit = read_kit(
        tmp_path,
        parts="{R1: {resistor: 4 ohm, between: [in, m]}, R2: {resistor: 4 ohm, between: [m, common]}}",
        hookup="{woofer: {driver: woofer, plus: in, minus: common}}",
        variants="{a: {cabinet: box, parts: {R1: link}}, b: {cabinet: box, parts: {R2: link}}}",
    )
    (effect,) = of(kit).spots["a"]["R2"].reason.effects
    assert "zero ohm" in effect.impossible
    assert effect.total is None
    assert "cannot be computed (" in effect_text(effect)


def test_the_kits_own_reason_comes_first(tmp_path: Path) -> None:
    spot = of(two_resistors(tmp_path)).spots["a"]["R2"]
    assert spot.reason.why[0] == "the kit says: a wire is louder"


# the stock

FILM = Wanted("capacitor", 10e-6, "film", 0.05, 100.0)


def item(value: float, **fields: object) -> StockItem:
    known: dict[str, object] = {"tolerance": 0.05, "rating": 100.0, "type": "film"}
    return StockItem(value, **(known | fields))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "unfit",
    [
        item(10e-6, rating=63.0),
        item(10e-6, tolerance=0.10),
        item(10e-6, type="non_polar"),
        item(10.06e-6),
        item(10e-6, in_stock=0),
    ],
)
def test_what_is_not_as_good_does_not_serve(unfit: StockItem) -> None:
    assert offer(FILM, (unfit, item(4.7e-6)), 2).found != "article"
    good = item(10e-6, rating=250.0, tolerance=0.01, type="polypropylene")
    assert offer(FILM, (unfit, good), 2) == Offer("article", (good,), (10e-6,))


def test_what_the_stock_does_not_tell_is_said() -> None:
    silent = StockItem(10e-6, in_stock=1, price="2.00")
    found = offer(FILM, (silent,), 2)
    assert found.remarks == (
        "its rating is not in the stock list", "its tolerance is not in the stock list", "only 1 in stock",
    )  # fmt: skip
    assert found.price == Decimal("2.00")
    assert offer(FILM, (silent, item(10e-6)), 2).items == (item(10e-6),)


def test_enough_of_them_come_before_the_cheapest() -> None:
    few, enough = item(10e-6, in_stock=1, price="1.00"), item(10e-6, in_stock=9, price="3.00")
    assert offer(FILM, (few, enough), 2).items == (enough,)
    assert offer(FILM, (few, enough), 1).items == (few,)


def test_a_coil_is_chosen_by_its_dc_resistance() -> None:
    wanted = Wanted("coil", 1e-3, None, None, 2.0, 0.3)
    thin, right = StockItem(1e-3, rating=3.0, dc_resistance=0.5), StockItem(1e-3, rating=3.0, dc_resistance=0.31)
    assert offer(wanted, (thin, right), 1).items == (right,)
    assert offer(wanted, (thin,), 1).remarks == ("dc resistance 0.5 ohm, not 0.3 ohm",)


def test_a_pair_makes_what_is_not_there() -> None:
    """100 uF + 120 uF = 220 uF exactly; both prices and both tolerances count, and the pieces of two alike."""
    wanted = Wanted("capacitor", 220e-6, "non_polar", 0.1, 63.0)
    drawer = [item(v * 1e-6, type="non_polar", tolerance=0.1, price="1.10", in_stock=3) for v in (47, 100, 120, 150)]
    found = offer(wanted, tuple(drawer), 3)
    assert (found.found, found.connection) == ("pair", "parallel")
    assert found.members == pytest.approx((100e-6, 120e-6))
    assert found.error == pytest.approx(0, abs=1e-12)
    assert found.price == Decimal("2.20")
    assert found.remarks == ()
    twice = offer(Wanted("capacitor", 200e-6, "non_polar", 0.1, 63.0), tuple(drawer), 2)
    assert twice.members == pytest.approx((100e-6, 100e-6))
    assert twice.remarks == ("100 uF: only 3 in stock",)


def test_members_of_a_pair_bear_their_share() -> None:
    """Two of 1.5 ohm take half of 9 W each; 4.7 ohm beside 8.2 ohm would have to bear 8.2/12.9 of it, 5.7 W."""
    wanted = Wanted("resistor", 3.0, None, None, 9.0)
    for watts, found in ((4.5, "pair"), (4.4, "nothing")):
        assert offer(wanted, (StockItem(1.5, rating=watts),), 1).found == found
    beside = (StockItem(4.7, rating=5.0), StockItem(8.2, rating=5.0))
    assert offer(wanted, beside, 1).remarks == ("not in stock, and no pair bears enough",)
    assert offer(wanted, (StockItem(4.7, rating=6.0), beside[1]), 1).connection == "parallel"


def test_two_coils_have_the_sum_of_their_resistances() -> None:
    wanted = Wanted("coil", 1.5e-3, None, None, 2.0, 0.4)
    drawer = (StockItem(1e-3, rating=3.0, dc_resistance=0.3), StockItem(0.5e-3, rating=3.0, dc_resistance=0.2))
    found = offer(wanted, drawer, 1)
    assert found.connection == "series"
    assert found.remarks == ("dc resistance 0.5 ohm for 0.4 ohm",)


drawers = st.lists(st.sampled_from([1.0, 1.5, 2.2, 3.3, 4.7, 6.8, 10.0]), min_size=1, max_size=6)


@given(drawers, st.floats(1, 20), st.sampled_from(["capacitor", "coil", "resistor"]))
def test_the_best_pair_is_the_best_of_all_pairs(values: list[float], target: float, kind: str) -> None:
    """Every pair, in parallel and in series, tried one after the other."""
    wanted = Wanted(kind, target, None, None, 1.0)  # type: ignore[arg-type]
    found = offer(wanted, tuple(StockItem(v) for v in values), 1)
    pairs = [
        total
        for a, b in combinations_with_replacement(sorted(set(values)), 2)
        for total in (a + b, 1 / (1 / a + 1 / b))
    ]
    nearest = min(pairs, key=lambda total: abs(math.log(total / target)))
    if any(abs(value / target - 1) <= 0.005 for value in values):
        assert found.found == "article"
    elif min(abs(total / target - 1) for total in pairs) > 0.051:  # on the border itself rounding decides
        assert found.found == "nothing"
        assert "not in stock" in found.remarks[0]
    elif abs(nearest / target - 1) < 0.049:
        assert found.found == "pair"
        assert abs(found.error) == pytest.approx(min(abs(total / target - 1) for total in pairs), rel=0.1, abs=1e-9)


def test_a_series_has_values_and_no_articles() -> None:
    """2.2 ohm is a value of E12, 2.4 ohm one of E24 only (IEC 60063); 1.2 + 1.2 makes it."""
    wanted = Wanted("resistor", 2.2, None, None, 5.0)
    assert offer(wanted, "E12", 1).found == "series"
    pair = offer(replace(wanted, value=2.4), "E12", 1)
    assert (pair.found, pair.connection, pair.members) == ("pair", "series", (1.2, 1.2))
    assert offer(replace(wanted, value=0.0), "E12", 1).found == "wire"


def test_a_group_of_no_member_is_its_part() -> None:
    part = Part("resistor", 4.0, power_rating=10.0)
    assert singles(part) == (part,)
    assert shares(part) == ((1.0, 1.0),)


def test_peaks_count_on_both_signals_and_heat_on_the_programme() -> None:
    """As the sheets of `stress` say."""
    kit = load_kit(MARSHLIGHT)
    found = stress(swept_case(kit, kit.variants["wall"])).parts["C1"]
    assert found.programme is not None
    loads = (found.sine, found.programme)
    assert need(found.part, {"wall": loads}).asked == max(load.volts_peak for load in loads)
    resistor = Part("resistor", 1.0)
    assert need(resistor, {"wall": loads}).asked == found.programme.watts
    half = part_of(found.sine, 0.5, 1.0)
    assert (half.volts, half.current, half.watts) == (found.sine.volts, found.sine.current / 2, found.sine.watts / 2)


def test_unevenness_is_that_of_a_prediction() -> None:
    """Unevenness from a prediction on the same grid: the root of the mean squared deviation of its level."""
    result = example()
    (effect,) = result.spots["centre"]["R1"].reason.effects
    variant = result.kit.variants["centre"]
    grid = np.geomspace(10, 20e3, 1777)
    assert effect.after is not None
    there = predict(result.kit, variant, grid, 2.83)
    inside = (grid >= 200) & (grid <= 10e3)
    level = 20 * np.log10(np.abs(there.pressure[inside]))
    assert effect.after.uneven == pytest.approx(math.sqrt(np.mean((level - level.mean()) ** 2)), rel=1e-9)
