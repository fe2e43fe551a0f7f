"""Measured parts for left and right: against every arrangement predicted by itself, and the laws of matching."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import permutations, product
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from system import pairing
from system.examples import scenarios
from system.findings import KitError
from system.handfile import InHand, read_hand
from system.kit import Kit, Variant
from system.kitfile import load_kit
from system.pairing import pair
from system.predict import predict
from tests.support_kits import read_kit

EXAMPLE = load_kit(scenarios() / "marshlight" / "kit.yaml")
CENTRE = EXAMPLE.variants["centre"]


def parts(values: Mapping[str, Sequence[float]]) -> list[InHand]:
    """Rows of a file in this order, from line 2."""
    rows = [(reference, value) for reference, each in values.items() for value in each]
    return [InHand(reference, value, line) for line, (reference, value) in enumerate(rows, 2)]


def off(variant: Variant, deviations: Mapping[str, Sequence[float]]) -> list[InHand]:
    """Parts so many per cent off what the variant has."""
    return parts(
        {r: [variant.places[r].part.value * (1 + each / 100) for each in row] for r, row in deviations.items()}
    )


def levels_of(kit: Kit, variant: Variant, frequency: np.ndarray, values: Mapping[str, float]) -> np.ndarray:
    """The level (F,) in dB with these values in their places, from a prediction of its own."""
    places = {r: replace(p, part=replace(p.part, value=values.get(r, p.part.value))) for r, p in variant.places.items()}
    there = predict(kit, replace(variant, places=places), frequency, 1.0, FIGURES)
    return np.asarray(20 * np.log10(np.abs(there.pressure)))


FIGURES = predict(EXAMPLE, CENTRE, np.array([1000.0]), 1.0).summary
UNEQUAL = {"C3": [4.0, -3.0, 1.0], "R1": [-4.0, 2.5, 3.0], "L2": [3.0, -2.0, -4.5]}


def heard(kit: Kit, variant: Variant, frequency: np.ndarray) -> np.ndarray:
    """Where the level is no more than 20 dB below the mean squared pressure from 300 Hz to 3 kHz."""
    nominal = levels_of(kit, variant, frequency, {})
    fine = np.geomspace(300, 3000, 2000)
    squared = 10 ** (np.interp(np.log(fine), np.log(frequency), nominal) / 10)
    return np.asarray(nominal >= 10 * np.log10(squared.mean()) - 20)


def test_against_every_arrangement_predicted_from_the_beginning() -> None:
    """Three parts for each of three places: 27 cabinets and 108 pairs of them, each cabinet a prediction of its own."""
    hand = off(CENTRE, UNEQUAL)
    found = pair(EXAMPLE, CENTRE, hand, 2, "hand.csv")
    by_place = {r: [p.value for p in hand if p.reference == r] for r in UNEQUAL}
    counts = heard(EXAMPLE, CENTRE, found.frequency)
    level = {
        picks: levels_of(
            EXAMPLE, CENTRE, found.frequency, {r: row[i] for (r, row), i in zip(by_place.items(), picks, strict=True)}
        )
        for picks in product(range(3), repeat=3)
    }

    def worst(left: tuple[int, ...], right: tuple[int, ...]) -> float:
        return float(np.abs(level[left] - level[right])[counts].max())

    ways = list(permutations(range(3), 2))
    every = {
        worst(tuple(w[0] for w in each), tuple(w[1] for w in each)): each for each in product(ways, repeat=len(UNEQUAL))
    }
    assert found.complete
    assert found.matched.worst == pytest.approx(min(every), abs=1e-9)
    assert found.listed.worst == pytest.approx(worst((0, 0, 0), (1, 1, 1)), abs=1e-9)
    left, right = ({r: row[k].part.value for r, row in found.chosen.items()} for k in range(2))
    best = every[min(every)]
    values = [{r: by_place[r][w[k]] for r, w in zip(by_place, best, strict=True)} for k in range(2)]
    assert [left, right] in (values, values[::-1])


def one_resistor(folder: Path, tolerance: str = "5 %") -> Kit:
    """A tweeter of 8 ohm and 90 dB at every frequency behind R1, in a wall; b has another R1."""
    rows = [f"{f:.1f} {{}} 0" for f in np.geomspace(10, 40e3, 30)]
    (folder / "ohms.txt").write_text("\n".join(row.format(8.0) for row in rows), encoding="utf-8")
    (folder / "level.txt").write_text("\n".join(row.format(90.0) for row in rows), encoding="utf-8")
    response = "{file: level.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}"
    return read_kit(
        folder,
        drivers=f"{{dome: {{role: tweeter, re: 6 ohm, impedance: ohms.txt, response: {response}}}}}",
        parts=f"{{C1: {{capacitor: 10000 uF, between: [in, a]}}, R1: {{resistor: 2 ohm, tolerance: {tolerance},"
        " between: [a, t]}, R2: {resistor: 12 ohm, between: [in, common], normally: omit, reason: spare}}",
        hookup="{tweeter: {driver: dome, plus: t, minus: common}}",
        variants="{a: {cabinet: box, placement: in_wall}, b: {like: a, parts: {R1: 3.3 ohm}}}",
    )


with TemporaryDirectory() as folder:
    SINGLE = one_resistor(Path(folder))


@given(st.lists(st.floats(1.9, 2.1), min_size=2, max_size=6), st.integers(2, 3))
def test_one_place_takes_neighbours(values: list[float], count: int) -> None:
    """A level that rises with one value alone is most alike among neighbours in order: the least of all windows, and
    20 lg((8 + R)/(8 + R')) apart (a divider, whatever the frequency)."""
    if len(values) < count:
        return
    found = pair(SINGLE, SINGLE.variants["a"], parts({"R1": values}), count, "hand.csv")
    rising = sorted(values)
    windows = [20 * math.log10((8 + high) / (8 + low)) for low, high in zip(rising, rising[count - 1 :], strict=False)]
    # the capacitor's reactance is 0.8 ohm at 20 Hz, at right angles to the resistance
    assert found.matched.worst == pytest.approx(min(windows), rel=0.02, abs=1e-9)
    listed = values[:count]
    expected = 20 * math.log10((8 + max(listed)) / (8 + min(listed)))
    assert found.listed.worst == pytest.approx(expected, rel=0.02, abs=1e-9)
    assert found.cabinets == ("left", "right", "centre")[:count]


deviation = st.floats(-5, 5).map(lambda x: round(x, 2))


@settings(max_examples=15)
@given(st.fixed_dictionaries({r: st.lists(deviation, min_size=2, max_size=4) for r in ("C1", "L1", "C3", "R1")}))
def test_laws_of_matching(rows: dict[str, list[float]]) -> None:
    """Nothing is matched worse than it is listed, each part is used once, the order of the rows does not matter to how
    good the best is, and the search finds what trying all finds, but for a tenth."""
    hand = off(CENTRE, rows)
    found = pair(EXAMPLE, CENTRE, hand, 2, "hand.csv")
    assert found.complete
    assert found.matched.worst <= found.listed.worst + 1e-12
    lines = [each.part.line for row in found.chosen.values() for each in row] + [each.part.line for each in found.spare]
    assert sorted(lines) == [part.line for part in hand]
    turned = pair(EXAMPLE, CENTRE, hand[::-1], 2, "hand.csv")
    assert turned.matched.worst == pytest.approx(found.matched.worst, rel=0.02, abs=1e-6)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairing, "MOST_TRIED", 0)
        searched = pair(EXAMPLE, CENTRE, hand, 2, "hand.csv")
    assert not searched.complete
    assert searched.matched.worst <= searched.listed.worst + 1e-12
    assert searched.matched.worst <= 1.1 * found.matched.worst + 1e-6


def test_more_parts_than_can_be_tried() -> None:
    """Twelve parts for each of seven places: each has one value twice, so that a perfect pair is there."""
    random = np.random.Generator(np.random.PCG64(4))
    rows: dict[str, list[float]] = {}
    for reference in CENTRE.places:
        values = [*random.uniform(-5, 5, 11)]
        rows[reference] = [*values, values[3]]
    found = pair(EXAMPLE, CENTRE, off(CENTRE, rows), 2, "hand.csv")
    assert not found.complete
    assert found.matched.worst < 0.02
    assert found.listed.worst > 0.1
    again = pair(EXAMPLE, CENTRE, off(CENTRE, rows), 2, "hand.csv")
    assert [[j.part for j in row] for row in again.chosen.values()] == [
        [j.part for j in row] for row in found.chosen.values()
    ]


def test_equal_parts_make_equal_cabinets() -> None:
    found = pair(EXAMPLE, CENTRE, off(CENTRE, {"C3": [2.0, 2.0, 2.0], "R1": [1.0, 1.0, 1.0]}), 3, "hand.csv")
    assert found.matched.worst == pytest.approx(0, abs=1e-12)
    assert found.unmeasured == ("C1", "L1", "C2", "L2", "R2")


def test_parts_out_of_tolerance_are_flagged_and_left_if_they_can_be() -> None:
    """5 % of 2 ohm: 2.1 ohm is within, 2.11 and 2.12 ohm are not, however alike they are."""
    kit, variant = SINGLE, SINGLE.variants["a"]
    found = pair(kit, variant, parts({"R1": [2.11, 2.12, 1.95, 2.1]}), 2, "hand.csv")
    assert [each.part.value for each in found.chosen["R1"]] == [1.95, 2.1]
    assert [each.outside for each in found.spare] == [True, True]
    assert [each.deviation for each in found.chosen["R1"]] == pytest.approx([-0.025, 0.05])
    short = pair(kit, variant, parts({"R1": [2.3, 1.95, 2.11]}), 2, "hand.csv")
    assert sorted(each.part.value for each in short.chosen["R1"]) == [1.95, 2.11]
    assert [each.outside for each in sorted(short.chosen["R1"], key=lambda each: each.part.value)] == [False, True]


def test_a_place_that_variants_fill_differently_has_parts_for_each() -> None:
    hand = parts({"R1": [2.02, 3.31, 1.99, 3.28], "R2": [12.0, 12.1]})
    for name, values in (("a", [2.02, 1.99]), ("b", [3.31, 3.28])):
        found = pair(SINGLE, SINGLE.variants[name], hand, 2, "hand.csv")
        assert sorted(each.part.value for each in found.chosen["R1"]) == sorted(values)
        assert {part.reference for part in found.others} == {"R1", "R2"}  # R2 is left out
        assert found.unmeasured == ("C1",)


def test_too_few_parts_name_their_place() -> None:
    with pytest.raises(KitError) as caught:
        pair(SINGLE, SINGLE.variants["a"], parts({"R1": [2.0, 2.01]}), 3, "hand.csv")
    (finding,) = caught.value.findings
    assert finding.text() == (
        "hand.csv:2:1: error[hand_few]: there are 2 parts in hand for R1, 2 ohm in a;"
        " 3 cabinets take 3; add rows, lower --count, or name another --variant"
    )


def read(folder: Path, text: str) -> tuple[InHand, ...]:
    path = folder / "hand.csv"
    path.write_text(text, encoding="utf-8")
    return read_hand(path, EXAMPLE)


def test_a_list_of_parts_in_hand(tmp_path: Path) -> None:
    """What separates the columns may differ; a line may be a remark."""
    for text in ("ref,value\nC1,217 uF\nR1,1.21 ohm\n", "Ref; Value\n# measured in May\n\nC1; 217 uF\nR1; 1.21 ohm"):
        found = read(tmp_path, text)
        assert [part.reference for part in found] == ["C1", "R1"]
        assert [part.value for part in found] == pytest.approx([217e-6, 1.21])
    assert [part.line for part in found] == [4, 5]


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", ["1:1: error[hand_columns]: the list of parts in hand is empty; its heading is ref,value"]),
        ("ref,value\n", ["1:1: error[hand_columns]: the list of parts in hand has a heading only"]),
        ("C1,217 uF\n", ['1:1: error[hand_columns]: the heading is "C1,217 uF"; it must be ref,value']),
        ("ref,value\nC1\n", ["2:1: error[hand_columns]: this row has 1 column; every row has a ref and a value"]),
        (
            "ref,value\nC9,217 uF\nC1,217 ohm\nR1,0 ohm\n",
            [
                '2:1: error[hand_row]: ref is "C9", which is no place of the kit; ',
                "3:4: error[hand_row]: the value of C1 ",
                "4:4: error[hand_row]: the value of R1 ",
            ],
        ),
    ],
)
def test_a_wrong_list_says_where(tmp_path: Path, text: str, faults: list[str]) -> None:
    with pytest.raises(KitError) as caught:
        read(tmp_path, text)
    found = [finding.text() for finding in caught.value.findings]
    assert len(found) == len(faults)
    for line, fault in zip(found, faults, strict=True):
        assert line.startswith(f"{tmp_path / 'hand.csv'}:{fault}")


def test_a_list_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(KitError, match="file_missing"):
        read_hand(tmp_path / "none.csv", EXAMPLE)
