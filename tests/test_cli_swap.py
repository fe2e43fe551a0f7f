"""`swap` as a user meets it: exit status, JSON, tables, pictures, files, and what it says of bad input."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT, program

KEYS = {"result", "worst_db", "worst_hz", "lowest_impedance_ohm", "excursion_mm", "advice"}


def test_status_and_streams_of_the_real_program() -> None:
    done = program("swap", MARSHLIGHT, "R1", "--with", "1.2 ohm", "--variant", "centre")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[1].endswith("in place of what the kit has there: pass")
    assert all("notes" in line for line in done.stderr.splitlines())


@pytest.mark.parametrize(
    ("text", "result", "status"),
    [
        ("1.2 ohm", "pass", 0),  # what it has
        ("1 ohm", "marginal", 0),
        ("3.3 ohm", "fail", 1),
        ("link", "fail", 1),
    ],
)
def test_the_exit_status_tells_the_result(text: str, result: str, status: int, run: Run) -> None:
    data = document(run("swap", MARSHLIGHT, "R1", "--with", text, "--variant", "centre", "--json"), status)
    assert data["result"] == data["variants"]["centre"]["result"] == result


def test_another_core_is_status_1(run: Run) -> None:
    data = document(run("swap", MARSHLIGHT, "L1", "--with", "{core: iron}", "--variant", "tall", "--json"), 1)
    assert data["result"] == "cannot_tell"
    assert data["worst_db"] == 0  # the figures are shown all the same
    assert any("distortion" in text for text in data["variants"]["tall"]["because"])


def test_json_of_a_part_keeps_its_contract(run: Run) -> None:
    data = document(run("swap", MARSHLIGHT, "L1", "--with", "{coil: 1.2 mH, dc_resistance: 0.1 ohm}", "--json"), 1)
    assert set(data) >= {"schema_version", "kit", "variants", "findings", *KEYS}
    changed = {name: each for name, each in data["variants"].items() if each["untouched"] is None}
    assert set(changed) == {"wall", "tall"}
    assert "own value" in data["variants"]["centre"]["untouched"]
    assert data["worst_db"] == max(each["worst_db"] for each in changed.values())
    worst = data["variants"][data["worst_variant"]]
    assert data["worst_hz"] == worst["worst_hz"]
    assert worst["worst_db"] == abs(worst["change_db"])
    assert data["lowest_impedance_ohm"] == min(each["lowest_impedance_ohm"] for each in changed.values())
    assert data["excursion_mm"] == max(each["excursion_mm"] for each in changed.values())
    assert all(isinstance(text, str) for text in data["advice"])
    for each in changed.values():
        assert each["part"]["value"] == 1.2e-3
        assert each["part"]["value_before"] == 1.5e-3
        assert each["part"]["ratings"]["current"]["rating"] == 8
        assert each["series_resistor"]["ohm"] == pytest.approx(0.14)
        assert set(each["excursions"]) == {"woofer_a", "woofer_b"}
    assert any(finding["code"] == "new_value" and finding["file"] == "--with" for finding in data["findings"])


def test_json_of_a_driver_keeps_its_contract(run: Run) -> None:
    data = document(run("swap", MARSHLIGHT, "tweeter", "--with", "dome", "--variant", "wall", "--json"))
    assert set(data) >= {"schema_version", "kit", "variants", "findings", *KEYS}
    assert data["result"] == "pass"
    assert data["worst_db"] == 0
    each = data["variants"]["wall"]
    assert each["level_part"]["part"] == "R1"
    assert each["polarity"]["tweeter"]["turn_round"] is False
    assert each["cannot_tell"] == ["excursion of tweeter: dome is known by its tables only"]


def test_no_excursion_is_null_and_said(run: Run, tmp_path: Path) -> None:
    rows = "".join(f"{hertz} {{}} 0\n" for hertz in (20, 200, 2000, 10000, 20000))
    (tmp_path / "ohm.txt").write_text(rows.format(*[6] * 5), encoding="utf-8")
    (tmp_path / "db.txt").write_text(rows.format(*[86] * 5), encoding="utf-8")
    driver = (
        "{re: 5.5 ohm, impedance: ohm.txt, response: {file: db.txt, volts: 2.83 V, distance: 1 m, mounted: wall,"
        " phase: measured}}"
    )
    parts = "{R1: {resistor: 1 ohm, between: [in, w]}}"
    hookup = "{woofer: {driver: woofer, plus: w, minus: common}}"
    kit = write_kit(tmp_path, drivers=f"{{woofer: {driver}}}", parts=parts, hookup=hookup)
    data = document(run("swap", kit, "R1", "--with", "1.1 ohm", "--json"))
    assert data["excursion_mm"] is None
    assert any(f["code"] == "no_figure" and "excursion_mm" in f["found"] for f in data["findings"])


def test_json_of_a_table(run: Run) -> None:
    """The values are those of E12 about 1.2 ohm (IEC 60063)."""
    data = document(run("swap", MARSHLIGHT, "R1", "--table", "--variant", "centre", "--json"))
    rows = data["table"]
    assert [row["value"] for row in rows] == [0.56, 0.68, 0.82, 1.0, 1.2, 1.5, 1.8, 2.2, 2.7]
    assert [row["as_drawn"] for row in rows] == [False] * 4 + [True] + [False] * 4
    means = [row["mean_change_db"] for row in rows]
    assert means == sorted(means, reverse=True)  # more ohm before the tweeter, less of it
    assert all(row["plays"] == "tweeter" for row in rows)
    heat = [row["watts"] for row in rows]
    assert heat == sorted(heat)
    swapped = document(run("swap", MARSHLIGHT, "R1", "--with", "1.8 ohm", "--variant", "centre", "--json"), 1)
    row = next(row for row in rows if row["value"] == 1.8)
    for key in ("worst_db", "worst_hz", "lowest_impedance_ohm", "result"):
        assert row[key] == swapped[key]
    assert row["watts"] == swapped["variants"]["centre"]["part"]["watts"]


def test_a_table_leaves_out_where_the_part_is_not(run: Run) -> None:
    data = document(run("swap", MARSHLIGHT, "C1", "--table", "--json"))
    assert {row["variant"] for row in data["table"]} == {"centre", "wall"}
    assert run("swap", MARSHLIGHT, "C1", "--table", "--variant", "tall").status == 2


def test_the_same_words_give_the_same_bytes(run: Run) -> None:
    words = ["swap", MARSHLIGHT, "C3", "--with", "8.2 uF", "--json", "--variant", "wall"]
    assert run(*words).stdout == run(*words).stdout


@pytest.mark.parametrize(
    "words",
    [
        ["L1", "--with", "{coil: 1.2 mH, dc_resistance: 0.1 ohm}"],
        ["C1", "--with", "link"],
        ["C2", "--with", "{capacitor: 9.1 uF, type: non_polar}"],
        ["R1", "--table"],
        ["tweeter", "--with", "woofer"],
    ],
)
def test_texts_are_sheets_of_100_columns(words: list[str], run: Run) -> None:
    text = run("swap", MARSHLIGHT, *words).stdout
    assert max(map(len, text.splitlines())) <= 100
    assert "{" not in text
    assert "None" not in text
    flat = " ".join(text.split())
    assert "the window: changes up to 0.5 dB and 0.2 ohm, from 200 Hz to 10 kHz" in flat
    if "--table" not in words:
        assert "not a test to run" in flat
        assert "amplifier off and unplugged" in flat


def test_text_names_who_is_not_touched(run: Run) -> None:
    flat = " ".join(run("swap", MARSHLIGHT, "L1", "--with", "1.2 mH").stdout.split())
    assert "centre has its own value there (L1 0.68 mH), and is not touched" in flat
    assert "dc_resistance, current_rating kept" in flat


def test_settings_come_first(run: Run) -> None:
    """The same part, after the kit has been changed by --set: no change is left."""
    words = ["swap", MARSHLIGHT, "C3", "--set", "crossover.parts.C3.capacitor=8.2 uF", "--with", "8.2 uF", "--json"]
    assert document(run(*words))["worst_db"] == 0


def test_pictures_and_csv(run: Run, tmp_path: Path) -> None:
    svg, folder = tmp_path / "swap.svg", tmp_path / "curves"
    words = ["swap", MARSHLIGHT, "L1", "--with", "1.2 mH", "--variant", "wall", "--variant", "centre"]
    assert run(*words, "-o", svg, "--csv", folder).status == 1
    assert svg.read_text(encoding="utf-8").startswith("<?xml")
    assert sorted(path.name for path in folder.iterdir()) == ["centre.csv", "graphs", "swap.csv", "wall.csv"]
    rows = list(csv.DictReader(io.StringIO((folder / "wall.csv").read_text(encoding="utf-8"))))
    assert list(rows[0]) == [
        "frequency_hz",
        "before.level_db",
        "before.impedance_ohm",
        "after.level_db",
        "after.impedance_ohm",
    ]
    assert run(*words, "-o", svg).status == 2  # it is there already
    assert run("swap", MARSHLIGHT, "R1", "--table", "--variant", "wall", "-o", svg, "--force").status == 0
    assert run("swap", MARSHLIGHT, "tweeter", "--with", "woofer", "--variant", "wall", "-o", svg, "--force").status == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["L1"], "neither --with nor --table"),
        (["L1", "--table", "--with", "1 mH"], "--with together with --table"),
        (["L9", "--with", "1 mH"], "it is one of C1, L1"),
        (["twetter", "--table"], "did you mean tweeter?"),
        (["tweeter", "--table"], "a table is of the values of a part"),
        (["L1", "--with", "1.2 uF"], "it takes an inductance"),
        (["L1", "--with", "dome.yaml"], "a file holds a driver"),
        (["dome", "--with", "none.yaml"], "there is no such file"),
        (["dome", "--with", "wofer"], "did you mean woofer?"),
        (["C1", "--with", "omit"], "with C1 left out"),
        (["L1", "--with", "1 mH", "--variant", "hall"], "the kit's variants"),
    ],
)
def test_bad_input_is_status_2(words: list[str], told: str, run: Run) -> None:
    done = run("swap", MARSHLIGHT, *words)
    assert done.status == 2
    assert done.stdout == ""
    assert told in done.stderr
