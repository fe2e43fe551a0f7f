"""`parts --wind` and `parts --layout` as a user meets them: JSON, text, CSV, the plan, and what is refused."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from filters.coils import inductance
from filters.windings import Winding
from system.kitfile import load_kit
from system.workshop.wind import wind
from tests.support_cli import Run, document
from tests.test_cli import MARSHLIGHT, finite
from tests.test_layout import PARTS, TWO_COILS, written

OHM_MM2_PER_M = 0.017241  # annealed copper at 20 degC, IEC 60028
CHOICE_KEYS = {
    "wire", "bare_mm", "overall_mm", "inner_diameter_mm", "length_mm", "depth_mm", "outer_diameter_mm", "turns",
    "turns_per_layer", "layers", "turns_in_last_layer", "least_turns", "most_turns", "wind_first", "inductance_h",
    "wheeler_h", "per_turn_h", "wire_length_m", "mass_g", "dc_resistance_ohm", "resistance_kept",
}  # fmt: skip


def test_json_keeps_its_contract(run: Run) -> None:
    data = document(run("parts", MARSHLIGHT, "--wind", "L1", "--json"))
    assert finite(data)
    assert list(data) == ["schema_version", "kit", "wind", "variants", "findings"]
    assert data["wind"] == "L1"
    assert list(data["variants"]) == ["centre", "wall", "tall"]
    assert data["variants"]["wall"] == data["variants"]["tall"]
    for name, value in (("centre", 0.68e-3), ("wall", 1.5e-3)):
        asked = data["variants"][name]
        assert (asked["inductance_h"], asked["dc_resistance_ohm"]) == (pytest.approx(value), 0.24)
        assert (asked["tolerance"], asked["tolerance_assumed"], asked["instead_of_h"]) == (0.05, True, [])
        assert len(asked["choices"]) >= 8
        assert len(asked["other_formers"]) == 4
        for each in (*asked["choices"], *asked["other_formers"]):
            assert set(each) == CHOICE_KEYS
        kept = [each["wire"] for each in asked["choices"] if each["resistance_kept"]]
        assert set(asked["thinnest"]) == {
            next(wire for wire in kept if wire.startswith("AWG")),
            next(wire for wire in kept if wire.endswith("mm")),
        }
        assert asked["best"] in asked["thinnest"]


def test_every_coil_is_what_it_says(run: Run) -> None:
    """Turns, wire and copper by hand; the value exact within half a turn; one turn more or less as told."""
    data = document(run("parts", MARSHLIGHT, "--wind", "L2", "--variant", "wall", "--json"))
    asked = data["variants"]["wall"]
    for each in (*asked["choices"], *asked["other_formers"]):
        inner, depth, length = (each[key] / 1e3 for key in ("inner_diameter_mm", "depth_mm", "length_mm"))
        turns = each["turns"]
        assert (each["layers"] - 1) * each["turns_per_layer"] + each["turns_in_last_layer"] == turns
        assert 1 <= each["turns_in_last_layer"] <= each["turns_per_layer"]
        step = 1.05 * each["overall_mm"] / 1e3
        assert length == pytest.approx(step * each["turns_per_layer"])
        assert depth == pytest.approx(step * turns / each["turns_per_layer"])
        metres = math.pi * (inner + depth) * turns
        area = math.pi / 4 * each["bare_mm"] ** 2  # mm2
        assert each["wire_length_m"] == pytest.approx(metres)
        assert each["dc_resistance_ohm"] == pytest.approx(OHM_MM2_PER_M * metres / area)
        assert each["mass_g"] == pytest.approx(8.89 * metres * area)
        assert each["outer_diameter_mm"] == pytest.approx(1e3 * (inner + 2 * depth))
        assert inner == pytest.approx(round(inner, 3))  # a whole millimetre
        assert abs(each["inductance_h"] - 0.68e-3) <= 0.505 * each["per_turn_h"]
        assert each["inductance_h"] == pytest.approx(inductance(Winding(inner, depth, length, turns)))
        assert each["wheeler_h"] == pytest.approx(each["inductance_h"], rel=0.02)
        one_less = Winding(inner, step * (turns - 1) / each["turns_per_layer"], length, turns - 1)
        assert each["per_turn_h"] == pytest.approx(each["inductance_h"] - inductance(one_less))
        for count, inside in (("least_turns", 0.95), ("most_turns", 1.05)):
            there = each["inductance_h"] + (each[count] - turns) * each["per_turn_h"]
            assert abs(there / 0.68e-3 - inside) <= each["per_turn_h"] / 0.68e-3
            assert 0.95 <= there / 0.68e-3 <= 1.05
        more = (each["wind_first"] - turns) * each["per_turn_h"] / each["inductance_h"]
        assert 0.03 <= more < 0.03 + each["per_turn_h"] / each["inductance_h"]
        assert each["resistance_kept"] == (each["dc_resistance_ohm"] <= 0.45)
    own = next(each for each in asked["choices"] if each["wire"] == asked["best"])["dc_resistance_ohm"]
    assert all(each["dc_resistance_ohm"] >= 0.99 * own for each in asked["other_formers"])  # Brooks is hard to beat


def test_thicker_wire_is_less_resistance_and_more_copper(run: Run) -> None:
    choices = document(run("parts", MARSHLIGHT, "--wind", "L1", "--json"))["variants"]["centre"]["choices"]
    for key, sign in (("bare_mm", 1), ("dc_resistance_ohm", -1), ("mass_g", 1), ("outer_diameter_mm", 1)):
        values = [sign * each[key] for each in choices]
        assert values == sorted(values), key


def test_the_text_is_a_sheet_of_100_columns(run: Run) -> None:
    done = run("parts", MARSHLIGHT, "--wind", "L1")
    assert done.status == 0
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0] == "Marshlight two-way: a coil to wind for L1"
    assert "centre: 0.68 mH, 0.24 ohm or less, within 5 % (usual; the kit gives none)" in lines
    assert "wall, tall: 1.5 mH, 0.24 ohm or less, within 5 % (usual; the kit gives none)" in lines
    flat = " ".join(done.stdout.split())
    for words in ("enough, thinnest", "too much", "by Wheeler's formula", "on other formers", "unwind: each turn is"):
        assert words in flat
    assert "\u00a0" not in done.stdout
    assert "-0.0" not in flat


def test_a_coil_of_no_told_resistance(run: Run, tmp_path: Path) -> None:
    path = written(tmp_path, places="", parts=PARTS.replace("dc_resistance: 0.3 ohm, core", "tolerance: 2 %, core"))
    asked = document(run("parts", path, "--wind", "L1", "--json"))["variants"]["v"]
    assert (asked["dc_resistance_ohm"], asked["thinnest"], asked["best"], asked["other_formers"]) == (
        None,
        [],
        None,
        [],
    )
    assert (asked["tolerance"], asked["tolerance_assumed"]) == (0.02, False)
    assert all(each["resistance_kept"] is None for each in asked["choices"])
    assert "The kit gives no dc resistance" in run("parts", path, "--wind", "L1").stdout


def test_a_group_is_one_coil_to_wind_and_what_is_not_fitted_is_null(run: Run, tmp_path: Path) -> None:
    parts = PARTS.replace("{coil: 1.2 mH,", "{coil: 1.2 mH, made_of: {series: [1 mH, 0.2 mH]}, measured: 1.25 mH,")
    variants = "{v: {cabinet: box}, linked: {like: v, parts: {L1: link}}}"
    path = written(tmp_path, places="", parts=parts, variants=variants)
    found = document(run("parts", path, "--wind", "L1", "--json"))["variants"]
    assert found["linked"] is None
    assert found["v"]["inductance_h"] == pytest.approx(1.2e-3)  # as marked, not as this one was measured
    assert found["v"]["instead_of_h"] == pytest.approx([1e-3, 0.2e-3])
    assert "instead of 1 mH + 0.2 mH" in run("parts", path, "--wind", "L1").stdout


def test_csv(run: Run, tmp_path: Path) -> None:
    assert run("parts", MARSHLIGHT, "--wind", "L1", "--csv", tmp_path / "out").status == 0
    with open(tmp_path / "out" / "wind.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert set(rows[0]) == {"variants", "ref"} | CHOICE_KEYS
    assert {row["variants"] for row in rows} == {"centre", "wall tall"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--wind", "R1"], "--wind R1, which is a resistor; the kit's coils: L1, L2"),
        (["--wind", "L9"], "--wind L9, which is no part of the kit; the kit's coils: L1, L2"),
        (["--wind", "L1", "--layout"], "two of --wind, --layout and --hand; one of them"),
        (["--wind", "L1", "-o", "coil.png"], "a picture of a coil to wind; --json, --csv or text"),
        (["--wind", "L1", "--set", "crossover.parts.L1.dc_resistance=1 mohm"], "a coil of wire from 0.4 mm to"),
    ],
)
def test_what_is_refused(run: Run, words: list[str], said: str) -> None:
    done = run("parts", MARSHLIGHT, *words)
    assert (done.status, done.stdout) == (2, "")
    assert "error[usage]" in done.stderr
    assert said in done.stderr


def test_no_iron_and_no_empty_place(run: Run, tmp_path: Path) -> None:
    parts = PARTS.replace("core: air, between: [in", "core: iron, saturation_current: 5 A, between: [in")
    path = written(tmp_path, places="", parts=parts)
    assert "which has an iron core" in run("parts", path, "--wind", "L1").stderr
    assert "which no variant asked for fits" in run("parts", path, "--wind", "L3").stderr


def test_an_unusual_coil_is_wound_too(tmp_path: Path) -> None:
    """From a few turns of thick wire to thousands of thin."""
    for value, ohms in (("10 uH", "0.02 ohm"), ("22 mH", "9 ohm"), ("0.1 mH", "0.05 ohm")):
        parts = PARTS.replace("coil: 1.2 mH, dc_resistance: 0.3 ohm", f"coil: {value}, dc_resistance: {ohms}")
        kit = load_kit(written(tmp_path, places="", parts=parts))
        (found,) = wind(kit, "L1", list(kit.variants.values()))
        assert found.best is not None
        for each in found.choices:
            assert abs(each.inductance - found.inductance) <= 0.55 * each.per_turn
            assert each.least_turns <= each.winding.turns <= each.most_turns or each.per_turn > 0.05 * found.inductance


# --- --layout


def test_a_kit_without_a_layout(run: Run, tmp_path: Path) -> None:
    done = run("parts", written(tmp_path, places=""), "--layout")
    assert (done.status, done.stdout) == (2, "")
    assert "--layout of a kit that has none; write layout: {board: [..], places: {..}}" in done.stderr


def test_the_examples_coils_do_not_couple(run: Run) -> None:
    data = document(run("parts", MARSHLIGHT, "--layout", "--json"))
    for board in data["variants"].values():
        assert (board["not_placed"], board["advice"]) == ([], [])
        assert [pair["coefficient"] for pair in board["couplings"]] == [pytest.approx(0, abs=1e-9)]
        assert board["change"]["level"] == 0
    flat = " ".join(run("parts", MARSHLIGHT, "--layout").stdout.split())
    assert "nothing to do" in flat


def test_layout_json(run: Run, tmp_path: Path) -> None:
    path = written(tmp_path, TWO_COILS.replace("105 mm", "97 mm"))
    data = document(run("parts", path, "--layout", "--json"))
    assert finite(data)
    assert list(data) == ["schema_version", "kit", "board_mm", "variants", "findings"]
    assert data["board_mm"] == [200, 120]
    board = data["variants"]["v"]
    assert set(board) == {
        "parts", "not_placed", "couplings", "change", "change_at_worst", "surface_degc", "surface_unknown", "advice",
    }  # fmt: skip
    assert board["not_placed"] == ["C1", "C2", "R1"]
    (pair,) = board["couplings"]
    assert (pair["coils"], pair["from"]) == (["L1", "L2"], "layout")
    assert pair["centres_mm"] == pytest.approx(math.hypot(52, 2.5))
    assert pair["gap_mm"] == pytest.approx(2)
    coil = board["parts"][0]
    assert (coil["ref"], coil["axis"], coil["at_mm"]) == ("L1", "up", pytest.approx([45, 60]))
    assert (coil["inner_diameter_mm"], coil["outer_diameter_mm"]) == pytest.approx((30.5, 61))
    coupling = board["advice"][0]
    assert (coupling["kind"], coupling["unit"], coupling["limit"]) == ("coupling", "dB", 0.1)
    assert [remedy["way"] for remedy in coupling["remedies"]] == ["turn", "move"]


def test_layout_text_and_csv(run: Run, tmp_path: Path) -> None:
    path = written(tmp_path, TWO_COILS.replace("105 mm", "97 mm"))
    done = run("parts", path, "--layout", "--csv", tmp_path / "out")
    assert done.status == 0
    assert max(map(len, done.stdout.splitlines())) <= 100
    flat = " ".join(done.stdout.split())
    assert "The board, 200 mm x 120 mm, as it is laid out" in flat
    assert "L1 and L2 couple by up to" in flat
    assert "not on the plan: C1, C2 and R1" in flat
    with open(tmp_path / "out" / "couplings.csv", newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["coil"], row["other"], row["from"]) == ("L1", "L2", "layout")


@pytest.mark.parametrize(("ending", "magic"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_the_plan_is_a_file(run: Run, tmp_path: Path, ending: str, magic: bytes) -> None:
    path, target = written(tmp_path), tmp_path / f"plan.{ending}"
    assert run("parts", path, "--layout", "-o", target).status == 0
    first = target.read_bytes()
    assert first.startswith(magic)
    assert run("parts", path, "--layout", "-o", target).status == 2  # there already
    assert run("parts", path, "--layout", "-o", target, "--force").status == 0
    assert target.read_bytes() == first  # the same every time
