"""A part for another: what it changes against closed forms, how it is judged, what helps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations_with_replacement
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from system.findings import KitError
from system.kit import Kit
from system.kitfile import load_kit
from system.substitute import Substituted, substitute_part
from system.summary import GRID
from system.swap import Swap, judged, swap_part
from system.swap_advice import advise
from system.swap_table import table
from tests.support_kits import read_kit

# Two 8 ohm boxes of nothing but a driver in a wall behind one part: level goes with |Z/(Z + Zpart)|.
PART = "{{X: {{{fields}, between: [in, w]}}}}"
HOOKUP = "{woofer: {driver: woofer, plus: w, minus: common}}"
WIDE = "window: {level: 20 dB, from: 20 Hz, to: 20 kHz, impedance: 100 ohm}"


def kit_of(folder: Path, fields: str, more: str = WIDE, **pieces: str) -> Kit:
    return read_kit(folder, parts=PART.format(fields=fields), hookup=HOOKUP, more=more, **pieces)


def put(kit: Kit, text: str, reference: str = "X", *, names: Sequence[str] = ()) -> tuple[Substituted, list[Swap]]:
    variants = [variant for name, variant in kit.variants.items() if not names or name in names]
    made = substitute_part(kit, (), reference, text, variants, bool(names))
    return made, swap_part(kit, made.kit, reference, variants, made.untouched)


def driver_impedance() -> np.ndarray:  # type: ignore[type-arg]
    """Z = Re + Bl^2/(Rms + j w Mms + 1/(j w Cms)) of the woofer of `tests.support_kits` (Small 1972)."""
    s = 2j * np.pi * GRID
    return np.asarray(5.6 + 6.3**2 / (0.85 + s * 9.5e-3 + 1 / (s * 1.10e-3)))


@pytest.mark.parametrize(
    ("fields", "text", "before", "after"),
    [
        ("resistor: 2.2 ohm", "3.3 ohm", 2.2, 3.3),
        ("resistor: 2.2 ohm", "link", 2.2, 0.0),
        (
            "coil: 1.5 mH, dc_resistance: 0.3 ohm",
            "1.2 mH",
            0.3 + 2j * np.pi * GRID * 1.5e-3,
            0.3 + 2j * np.pi * GRID * 1.2e-3,
        ),
        (
            "coil: 1.5 mH, dc_resistance: 0.3 ohm",
            "{coil: 1.2 mH, dc_resistance: 0.5 ohm}",
            0.3 + 2j * np.pi * GRID * 1.5e-3,
            0.5 + 2j * np.pi * GRID * 1.2e-3,
        ),
        (
            "capacitor: 100 uF, series_resistance: 0.1 ohm",
            "{capacitor: 68 uF, series_resistance: 0.4 ohm}",
            0.1 + 1 / (2j * np.pi * GRID * 100e-6),
            0.4 + 1 / (2j * np.pi * GRID * 68e-6),
        ),
    ],
)
def test_change_is_that_of_the_voltage_divider(
    tmp_path: Path, fields: str, text: str, before: complex, after: complex
) -> None:
    """Kirchhoff: what the driver gets is Z/(Z + Zpart), what the amplifier sees Z + Zpart; nothing else changes."""
    _, (found,) = put(kit_of(tmp_path, fields), text)
    z = driver_impedance()
    band = (GRID >= 20) & (GRID <= 20e3)
    level = 20 * np.log10(np.abs((z + before) / (z + after)))
    ohm = np.abs(z + after) - np.abs(z + before)
    i, k = (int(np.argmax(np.where(band, np.abs(values), -1))) for values in (level, ohm))
    assert found.change.level == pytest.approx(level[i], abs=1e-9)
    assert found.change.level_hz == GRID[i]
    assert found.change.impedance == pytest.approx(ohm[k], abs=1e-9)
    assert found.change.impedance_hz == GRID[k]
    assert found.change.lowest_impedance == pytest.approx(np.min(np.abs(z + after)), abs=1e-9)
    assert found.change.lowest_change == pytest.approx(np.min(np.abs(z + after)) - np.min(np.abs(z + before)), abs=1e-9)


def test_the_band_of_the_window_and_the_rest(tmp_path: Path) -> None:
    """A series coil takes away the more the higher: in the band at its upper end, outside of it at 20 kHz."""
    _, (found,) = put(
        kit_of(tmp_path, "coil: 1 mH", "window: {level: 1 dB, from: 100 Hz, to: 1 kHz, impedance: 1 ohm}"), "1.2 mH"
    )
    inside = GRID[(GRID >= 100) & (GRID <= 1000)]
    assert found.change.level_hz == inside[-1]
    assert found.change.outside_hz == GRID[GRID <= 20e3][-1]
    assert found.change.outside is not None
    assert found.change.outside < found.change.level < 0


@pytest.mark.parametrize(
    ("change", "edge", "meter", "word"),
    [  # by the definition: marginal is what the meter cannot tell from the edge, and no window is finer than the meter
        (0.0, 0.5, 0.1, "pass"),
        (0.4, 0.5, 0.1, "pass"),
        (-0.4, 0.5, 0.1, "pass"),
        (0.41, 0.5, 0.1, "marginal"),
        (0.5, 0.5, 0.1, "marginal"),
        (-0.6, 0.5, 0.1, "marginal"),
        (0.61, 0.5, 0.1, "fail"),
        (-0.61, 0.5, 0.1, "fail"),
        (0.0, 0.05, 0.1, "pass"),  # the window is widened to 0.1
        (0.15, 0.05, 0.1, "marginal"),
        (0.21, 0.05, 0.1, "fail"),
        (math.inf, 0.5, 0.1, "fail"),
    ],
)
def test_judged_at_the_edge(change: float, edge: float, meter: float, word: str) -> None:
    assert judged(change, edge, meter) == word


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0.01, 3), st.floats(0.001, 1))
def test_more_change_is_never_better(a: float, b: float, edge: float, meter: float) -> None:
    order = ["pass", "marginal", "fail"]
    low, high = sorted((a, b))
    assert order.index(judged(low, edge, meter)) <= order.index(judged(-high, edge, meter))


@pytest.mark.parametrize(("ohm", "word"), [(2.37, "pass"), (2.45, "marginal"), (2.55, "fail")])
def test_the_impedance_decides_too(tmp_path: Path, ohm: float, word: str) -> None:
    """So many more ohm in series are nearly as many more where the impedance is flat: edge 0.25, meter 0.05."""
    more = "window: {level: 3 dB, from: 200 Hz, to: 2 kHz, impedance: 0.25 ohm}\nmeter: {impedance: 0.05 ohm}"
    _, (found,) = put(kit_of(tmp_path, "resistor: 2.2 ohm", more), f"{ohm} ohm")
    assert 0.97 * (ohm - 2.2) < found.change.impedance < ohm - 2.2
    assert found.judgement.result == word


def test_a_part_for_itself_changes_nothing(tmp_path: Path) -> None:
    for fields, text in (("resistor: 2.2 ohm", "2.2 ohm"), ("coil: 1 mH, core: iron", "{coil: 1000 uH, core: iron}")):
        _, (found,) = put(kit_of(tmp_path, fields), text)
        assert found.change.level == found.change.impedance == 0
        assert found.judgement.result == "pass"
        assert found.judgement.because == ()


def test_the_restoring_resistor_brings_the_curve_back(tmp_path: Path) -> None:
    """0.80 - 0.47 = 0.33 ohm, a value of E12: with it nothing is left. Its heat is I^2 R of the same current."""
    more = f"stock: {{resistors: E12}}\nprogramme: {{spectrum: sine}}\n{WIDE}"
    _, (found,) = put(
        kit_of(tmp_path, "coil: 1 mH, dc_resistance: 0.8 ohm, core: air", more), "{dc_resistance: 0.47 ohm}"
    )
    assert abs(found.change.level) > 0.2
    added = advise(found, "X").restoring
    assert added is not None
    assert added.ohm == pytest.approx(0.33, rel=1e-12)
    assert added.stock == 0.33
    assert abs(added.change.level) < 1e-9
    assert abs(added.change.impedance) < 1e-9
    z = driver_impedance() + 0.8 + 2j * np.pi * GRID * 1e-3
    coarse = np.abs(z)[::3][GRID[::3] >= 20]  # the grid of a programme, from its lowest frequency up
    assert added.watts == pytest.approx(0.33 * 400 / np.min(coarse) ** 2, rel=1e-6)  # 50 W into 8 ohm is 20 V


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("dc_resistance: 0.47 ohm, core: air", "{dc_resistance: 0.8 ohm}"),  # more resistance: nothing to add
        ("dc_resistance: 0.8 ohm, core: air", "{dc_resistance: 0.1 ohm, core: iron}"),
        ("dc_resistance: 0.8 ohm, core: air", "{coil: 1.2 mH}"),
    ],
)
def test_nothing_is_restored_where_nothing_is_lacking(tmp_path: Path, before: str, after: str) -> None:
    _, (found,) = put(kit_of(tmp_path, f"coil: 1 mH, {before}"), after)
    assert advise(found, "X").restoring is None


@pytest.mark.parametrize(
    ("before", "after", "result"),
    [
        ("core: air", "{core: iron, saturation_current: 20 A}", "cannot_tell"),
        ("core: iron", "{core: air}", "cannot_tell"),
        ("tolerance: 5 %", "{core: iron}", "cannot_tell"),
        ("core: air", "{core: air}", "pass"),
        ("core: air", "{coil: 3 mH, core: iron}", "cannot_tell"),  # figures are shown, and decide nothing
        ("core: air", "{coil: 10 mH}", "fail"),
    ],
)
def test_another_core_cannot_be_told(tmp_path: Path, before: str, after: str, result: str) -> None:
    """Distortion of an iron core is in no figure here (common practice, no source)."""
    more = "window: {level: 0.5 dB, from: 200 Hz, to: 10 kHz, impedance: 100 ohm}"
    _, (found,) = put(kit_of(tmp_path, f"coil: 1 mH, {before}", more), after)
    assert found.judgement.result == result
    assert any("distortion" in text for text in found.judgement.because) == (result == "cannot_tell")
    assert (abs(found.change.level) > 0.5) == ("3 mH" in after or "10 mH" in after)


@pytest.mark.parametrize(
    ("kind", "drawn", "typed", "unit"),
    [("capacitor", 9.1, 10.0, "uF"), ("resistor", 4.3, 4.7, "ohm"), ("resistor", 31.0, 33.0, "ohm")],
)
def test_the_pair_is_the_best_of_all(tmp_path: Path, kind: str, drawn: float, typed: float, unit: str) -> None:
    """Against every pair of E6 (IEC 60063) over the decades that could be members, in both ways of joining."""
    series = [m * 10.0**e for e in range(-2, 5) for m in (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)]
    sums = [total for a, b in combinations_with_replacement(series, 2) for total in (a + b, a * b / (a + b))]
    best = min(abs(math.log(total / drawn)) for total in sums)
    more = f"stock: {{capacitors: E6, resistors: E6}}\n{WIDE}"
    _, (found,) = put(kit_of(tmp_path, f"{kind}: {drawn} {unit}", more), f"{typed} {unit}")
    pair = advise(found, "X").pair
    assert pair is not None
    assert abs(math.log1p(pair.error)) == pytest.approx(best, abs=1e-9)
    assert abs(pair.change.level) < abs(found.change.level)


def test_a_stock_list_lends_no_more_than_it_has(tmp_path: Path) -> None:
    """4.7 + 4.7 would be exact, and there is one; 10 parallel with 100 is not as near as 4.7 + 3.9 (by hand)."""
    rows = "kind,value,in_stock\nresistor,4.7 ohm,1\nresistor,3.9 ohm,2\nresistor,100 ohm,0\n"
    (tmp_path / "stock.csv").write_text(rows, encoding="utf-8")
    more = f"stock: {{resistors: stock.csv}}\n{WIDE}"
    _, (found,) = put(kit_of(tmp_path, "resistor: 9.4 ohm", more), "12 ohm")
    pair = advise(found, "X").pair
    assert pair is not None
    assert pair.members == (3.9, 4.7)
    assert pair.connection == "series"


def test_a_rating_that_is_too_low_fails(tmp_path: Path) -> None:
    """20 V of sine on 8 ohm across the input is 50 W, by Joule's law; 1.5 dB more is 70.6 W, which the sizes lack."""
    parts = "{R1: {resistor: 8 ohm, power_rating: 100 W, between: [in, common]}}"
    kit = read_kit(tmp_path, parts=parts, more="programme: {spectrum: sine}")
    for rating, result in (("80 W", "pass"), ("60 W", "marginal"), ("40 W", "fail")):
        _, (found,) = put(kit, f"{{power_rating: {rating}}}", "R1")
        assert found.judgement.result == result
        assert found.after.stress.parts["R1"].sine.watts == pytest.approx(50, rel=1e-9)
    assert any("R1 is over its power rating" in text for text in found.judgement.because)


def test_the_amplifier_must_stand_it(tmp_path: Path) -> None:
    """8 ohm across the woofer in place of 100 ohm: within this window, and below what the amplifier stands."""
    parts = "{R1: {resistor: 100 ohm, between: [in, common]}}"
    kit = read_kit(tmp_path, parts=parts, amplifier="{power: 50 W, load: 8 ohm, lowest_load: 4 ohm}", more=WIDE)
    _, (found,) = put(kit, "8 ohm", "R1")
    assert found.judgement.result == "fail"
    assert any("the amplifier stands 4 ohm" in text for text in found.judgement.because)


VARIANTS = "{a: {cabinet: box}, b: {like: a, parts: {X: 1 mH}}, c: {like: b}, d: {like: a, parts: {X: link}}}"


def test_a_variant_with_its_own_part_keeps_it(tmp_path: Path) -> None:
    kit = kit_of(tmp_path, "coil: 2 mH, dc_resistance: 0.5 ohm", variants=VARIANTS)
    made, swaps = put(kit, "1.5 mH")
    assert {name: variant.places["X"].part.value for name, variant in made.kit.variants.items()} == {
        "a": 1.5e-3,
        "b": 1e-3,
        "c": 1e-3,
        "d": 2e-3,  # linked, whatever would be there
    }
    assert set(made.untouched) == {"b", "c", "d"}
    assert "own value" in made.untouched["c"]
    assert "linked" in made.untouched["d"]
    assert [each.change.level == 0 for each in swaps] == [False, True, True, True]
    assert made.kit.variants["a"].places["X"].part.resistance == 0.5  # a bare value keeps the losses


def test_a_variant_that_is_named_gets_it(tmp_path: Path) -> None:
    kit = kit_of(tmp_path, "coil: 2 mH, dc_resistance: 0.5 ohm", variants=VARIANTS)
    made, _ = put(kit, "{dc_resistance: 0.1 ohm}", names=("b",))
    part = made.kit.variants["b"].places["X"].part
    assert (part.value, part.resistance) == (1e-3, 0.1)  # its own value stays
    assert made.kit.variants["c"].places["X"] == kit.variants["c"].places["X"]  # and others are left alone
    made, _ = put(kit, "1.5 mH", names=("d",))
    assert made.kit.variants["d"].places["X"].state == "fit"
    made, _ = put(kit, "link")
    assert set(made.untouched) == {"d"}
    assert all(variant.places["X"].state == "link" for variant in made.kit.variants.values())
    with pytest.raises(KitError, match="changed nowhere"):
        substitute_part(kit, (), "X", "3 mH", [kit.variants["b"]], named=False)


def test_a_coupled_coil_keeps_its_coefficient(tmp_path: Path) -> None:
    parts = "{L1: {coil: 1 mH, between: [in, w]}, L2: {coil: 1 mH, between: [w, common]}}"
    text = f"""\
format: 1
kit: Coupled
amplifier: {{power: 50 W, load: 8 ohm}}
drivers: {{w: {{re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.1 mm/N, rms: 0.85 kg/s, sd: 88 cm2}}}}
crossover:
  input: [in, common]
  parts: {parts}
  coupled: [{{coils: [L1, L2], coefficient: 0.2}}]
  hookup: {{w: {{driver: w, plus: w, minus: common}}}}
cabinets: {{box: {{}}}}
variants: {{v: {{cabinet: box}}}}
"""
    path = tmp_path / "kit.yaml"
    path.write_text(text, encoding="utf-8")
    made, (found,) = put(load_kit(path), "2 mH", "L1")
    assert made.kit.variants["v"].couplings[0].coefficient == 0.2
    assert any("coupled to L2: the coefficient 0.2 is kept" in each for each in advise(found, "L1").texts)


@pytest.mark.parametrize(
    ("after", "words"),
    [
        ("{type: film}", "its loss is not given"),
        ("{type: film, series_resistance: 0.05 ohm}", "its series_resistance is in the figures"),
        ("{type: non_polar}", ""),
    ],
)
def test_another_dielectric_is_told(tmp_path: Path, after: str, words: str) -> None:
    kit = kit_of(tmp_path, "capacitor: 100 uF, series_resistance: 0.3 ohm, type: non_polar, voltage_rating: 100 V")
    _, (found,) = put(kit, after)
    texts = advise(found, "X").texts
    assert any(words in text for text in texts) if words else not any("dielectric" in text for text in texts)


@pytest.mark.parametrize(
    ("reference", "text", "code", "words"),
    [
        ("X", "1.2 uF", "quantity_dimension", "it takes an inductance"),
        ("X", "{capacitor: 1 uF}", "part_kind", "X is a coil on the board"),
        ("X", "{coil: 1 mH, power_rating: 5 W, temperature_rise: 200 K}", "part_field", "is a coil and has"),
        ("X", "{coil: 1 mH, dc_resistence: 1 ohm}", "unknown_key", "did you mean dc_resistance"),
        ("X", "{coil: 1 mH, coil: 2 mH}", "duplicate_key", "given twice"),
        ("X", "{coil: 1 mH", "yaml_syntax", "cannot be read"),
        ("X", "{}", "usage", "names nothing"),
        ("X", "linked", "unknown_word", "did you mean link"),
        ("X", "omit", "driver_unconnected", "X left out"),
        ("X", "other.yaml", "usage", "a file holds a driver"),
        ("XX", "1 mH", "usage", "did you mean X?"),
    ],
)
def test_faults_of_a_substitute(tmp_path: Path, reference: str, text: str, code: str, words: str) -> None:
    kit = kit_of(tmp_path, "coil: 2 mH, dc_resistance: 0.5 ohm")
    with pytest.raises(KitError) as caught:
        put(kit, text, reference)
    finding = next(each for each in caught.value.findings if each.severity == "error")
    assert finding.code == code
    assert words in finding.text()
    assert finding.file in ("--with", "kitwright")


def test_the_place_of_a_fault_is_that_in_the_option(tmp_path: Path) -> None:
    with pytest.raises(KitError) as caught:
        put(kit_of(tmp_path, "coil: 2 mH, dc_resistance: 0.5 ohm"), "{coil: 1 mH, dc_resistance: 0.5 Hz}")
    (finding,) = (each for each in caught.value.findings if each.severity == "error")
    assert (finding.file, finding.line, finding.column) == ("--with", 1, 29)  # counted by hand


def test_the_table_is_a_divider_at_every_value(tmp_path: Path) -> None:
    """E12 about 2.2 ohm: four values either side; each as the closed form has it, and its heat by I^2 R."""
    kit = kit_of(tmp_path, "resistor: 2.2 ohm, power_rating: 20 W", f"programme: {{spectrum: sine}}\n{WIDE}")
    found = table(kit, kit.variants["v"], "X")
    assert [row.value for row in found.rows] == [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7]  # IEC 60063
    assert [row.drawn for row in found.rows] == [False] * 4 + [True] + [False] * 4
    assert found.role == "woofer"
    z = driver_impedance()
    band = (GRID >= 20) & (GRID <= 20e3)
    coarse = z[::3][GRID[::3] >= 20]  # the grid of a programme
    for row in found.rows:
        level = 20 * np.log10(np.abs((z + 2.2) / (z + row.value)))
        assert abs(row.swap.change.level) == pytest.approx(np.max(np.abs(level[band])), abs=1e-9)
        assert row.mean == pytest.approx(np.mean(level[band]), abs=1e-9)
        assert row.watts == pytest.approx(row.value * 400 / np.min(np.abs(coarse + row.value)) ** 2, rel=1e-6)


def test_a_table_takes_articles_as_they_are(tmp_path: Path) -> None:
    rows = (
        "kind,value,rating,in_stock,dc_resistance\ncoil,1 mH,5 A,3,0.4 ohm\ncoil,1.2 mH,5 A,0,0.4 ohm\n"
        "coil,1.8 mH,,2,\ncoil,1.5 mH,9 A,1,0.2 ohm\n"
    )
    (tmp_path / "stock.csv").write_text(rows, encoding="utf-8")
    kit = kit_of(
        tmp_path, "coil: 1.5 mH, dc_resistance: 0.6 ohm, current_rating: 7 A", f"stock: {{coils: stock.csv}}\n{WIDE}"
    )
    found = table(kit, kit.variants["v"], "X").rows
    parts = [row.swap.after.variant.places["X"].part for row in found]
    assert [(part.value, part.resistance, part.current_rating) for part in parts] == [
        (1e-3, 0.4, 5),
        (1.5e-3, 0.6, 7),  # the kit's own
        (1.8e-3, 0.6, 7),  # what the list does not tell is as it was
    ]


@pytest.mark.parametrize("band", ["from: 25 kHz, to: 30 kHz", "from: 1000 Hz, to: 1001 Hz"])
def test_a_window_without_any_frequency_is_refused(tmp_path: Path, band: str) -> None:
    kit = kit_of(tmp_path, "resistor: 2.2 ohm", f"window: {{{band}}}")
    with pytest.raises(KitError, match="where nothing is computed"):
        put(kit, "3.3 ohm")


def test_nothing_plays_where_nothing_flows(tmp_path: Path) -> None:
    """The only path to the driver is taken away on purpose: silence, no impedance, and it fails."""
    kit = kit_of(tmp_path, "resistor: 2.2 ohm", variants="{v: {cabinet: box, reason: as a test}}")
    _, (found,) = put(kit, "omit")
    assert found.judgement.result == "fail"
    assert found.change.level < -300
    assert found.change.lowest_impedance is None
    assert found.change.lowest_change is None
