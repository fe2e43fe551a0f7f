"""`revalue` as a user meets it: JSON, text to type, pictures, CSV, and what is refused."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
import yaml

from system import summary
from system.kitfile import load_kit
from system.predict import predict
from tests.support_cli import Run, document
from tests.test_cli import MARSHLIGHT, finite

FEW = ["--variant", "centre", "--variant", "tall", "--move", "L1", "--move", "R1"]


def test_json_keeps_its_contract(run: Run) -> None:
    first = run("revalue", MARSHLIGHT, *FEW, "--json", "--seed", 2)
    assert run("revalue", MARSHLIGHT, *FEW, "--json", "--seed", 2).stdout == first.stdout
    data = document(first)
    assert data["seed"] == 2
    assert finite(data)
    assert data["moving"] == ["L1", "R1"]
    kit = load_kit(MARSHLIGHT)
    for row in [data["as_it_is"], *data["front"]]:
        assert {"differing", "worst_db", "values", "variants"} <= set(row)
        assert row["worst_db"] == max(each["worst_db"] for each in row["variants"].values())
        places = {name: [values[name] for values in row["values"].values()] for name in row["values"]["centre"]}
        assert row["differing"] == sum(len(set(values)) - 1 for values in places.values())
        assert row["values"]["tall"]["C1"] == "link"
        for name, each in row["variants"].items():
            worst = data["target"]["frequency_hz"].index(pytest.approx(each["at_hz"]))
            assert abs(each["deviation_db"][worst]) == pytest.approx(each["worst_db"])
            assert each["lowest_impedance_ohm"] > 3.2
            assert set(each["excursion_mm"]) == set(kit.variants[name].hookups) - {"tweeter"}
    assert data["as_it_is"]["values"]["centre"]["L1"] == 0.68e-3
    assert data["recommended"] in [row["differing"] for row in data["front"]]


@pytest.mark.slow
def test_what_is_typed_into_the_kit_does_what_was_said(run: Run, tmp_path: Path) -> None:
    """The lines of the text as settings of a what-if, and a prediction of that."""
    stock = tmp_path / "stock.csv"
    stock.write_text(
        "kind,value,rating,dc_resistance\ncoil,1 mH,,0.31 ohm\ncoil,0.56 mH,,0.18 ohm\ncoil,1.8 mH,,0.4 ohm\n"
        "resistor,1.8 ohm,12 W,\nresistor,3.3 ohm,,\nresistor,1 ohm,7 W,\ncapacitor,10 uF,,\n",
        encoding="utf-8",
    )
    kit = tmp_path / "kit.yaml"
    text = Path(MARSHLIGHT).read_text(encoding="utf-8")
    kit.write_text(
        re.sub(r"stock: \{.*\}", "stock: {capacitors: stock.csv, resistors: stock.csv, coils: stock.csv}", text),
        encoding="utf-8",
    )
    for table in Path(MARSHLIGHT).parent.glob("*.txt"):
        (tmp_path / table.name).write_bytes(table.read_bytes())
    data = document(run("revalue", kit, *FEW, "--json"))
    done = run("revalue", kit, *FEW)
    assert done.status == 0
    found = re.findall(r"variants\.(\w+)\.parts: (\{.*?\}+)\n", re.sub(r"\n    ", " ", done.stdout))
    assert [name for name, _ in found] == ["centre", "tall"]
    settings = []
    for name, parts in found:
        for reference, value in yaml.safe_load(parts).items():
            written = yaml.safe_dump(value, default_flow_style=True).removesuffix("...\n").strip()
            settings.append(f"variants.{name}.parts.{reference}={written}")
    changed = load_kit(kit, settings)
    row = next(row for row in data["front"] if row["differing"] == data["recommended"])
    for name, each in row["variants"].items():
        result = predict(changed, changed.variants[name], np.array(data["target"]["frequency_hz"]))
        off = summary.level(result.pressure)
        assert np.std(off) == pytest.approx(each["rms_db"], abs=1e-9)
        for reference, ohm in row["coil_resistance_ohm"][name].items():
            assert changed.variants[name].places[reference].part.resistance == ohm


def test_text_fits_the_page_and_says_what_it_must(run: Run) -> None:
    done = run("revalue", MARSHLIGHT, *FEW)
    assert done.status == 0
    assert max(map(len, done.stdout.splitlines())) <= 100
    words = " ".join(done.stdout.split())
    for part in (
        "as it is",
        "recommended",
        "losses are taken over from the part it replaces",
        "level is free",
        "Computed, not a test to run",
    ):
        assert part in words


def test_pictures_and_csv(run: Run, tmp_path: Path) -> None:
    picture = tmp_path / "front.svg"
    done = run("revalue", MARSHLIGHT, *FEW, "-o", picture, "--csv", tmp_path / "csv", "--json")
    data = document(done)
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    with (tmp_path / "csv" / "front.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 2 * (1 + len(data["front"]))
    with (tmp_path / "csv" / "values.csv").open(encoding="utf-8") as file:
        values = list(csv.DictReader(file))
    assert {row["value"] for row in values if row["place"] == "C1" and row["variant"] == "tall"} == {"link"}
    assert len(values) == len(rows) * 7


def test_a_target_of_its_own(run: Run, tmp_path: Path) -> None:
    """A table that falls by 3 dB over the band asks for another response than flat."""
    table = tmp_path / "falling.txt"
    table.write_text("200 0\n10000 -3\n", encoding="utf-8")
    one = ["--variant", "centre", "--move", "R1", "--json"]
    flat = document(run("revalue", MARSHLIGHT, *one, "--target", "flat"))
    falling = document(run("revalue", MARSHLIGHT, *one, "--target", table))
    assert falling["target"]["level_db"][0] - falling["target"]["level_db"][-1] == pytest.approx(3.0)
    values = [each["front"][0]["values"]["centre"]["R1"] for each in (flat, falling)]
    assert values[1] > values[0]  # a tweeter that is to be quieter


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--move", "C9"], "there is no such part"),
        (["--variant", "tall", "--set", "variants.tall.parts.R2=omit", "--move", "R2"], "no variant asked for fits it"),
        (["--target", "nowhere.txt"], "there is no such file"),
        (["--variant", "attic"], "the kit's variants"),
        (["--set", "revalue.most_differing=0", "--move", "R1"], "most_differing is 0"),
    ],
)
def test_faults_are_findings(run: Run, words: list[str], told: str) -> None:
    for more in ([], ["--json"]):
        done = run("revalue", MARSHLIGHT, *words, *more)
        assert done.status == 2
        assert told in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("300 0\n9000 0\n", "reaches from 300 Hz to 9000 Hz"),
        ("300 0\n200 0\n", "comes after"),
        ("200 zero\n", "no number"),
        ("", "it needs at least"),
    ],
)
def test_faults_of_a_target(run: Run, tmp_path: Path, text: str, told: str) -> None:
    table = tmp_path / "target.txt"
    table.write_text(text, encoding="utf-8")
    done = run("revalue", MARSHLIGHT, "--target", table)
    assert done.status == 2
    assert told in done.stderr
