"""`expect` as a user meets it: JSON, text, tables, pictures, and what is refused."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.support_meter import HANDBOOK
from tests.test_cli import MARSHLIGHT, finite

READING = {"between", "drivers", "low_ohm", "high_ohm", "reads"}


def test_json(run: Run) -> None:
    data = document(run("expect", MARSHLIGHT, "--points", 20, "--json"))
    assert finite(data)
    assert list(data["variants"]) == ["centre", "wall", "tall"]
    assert data["variant"] == "centre"
    for key in ("readings", "sweep"):
        assert data[key] == data["variants"]["centre"][key]
    for variant in data["variants"].values():
        points = {each["point"] for each in variant["terminals"]}
        assert points == {"in", "common", "w2", "t2"}
        assert len(variant["readings"]) == 6 + 6 + 3  # pairs of four terminals, twice, and three drivers
        for reading in variant["readings"]:
            assert reading.keys() >= READING
            assert reading["drivers"] in ("connected", "apart")
            opens = reading["reads"] == "rises_to_open"
            assert opens == (reading["low_ohm"] is None) == (reading["high_ohm"] is None)
            assert opens or reading["low_ohm"] <= reading["nominal_ohm"] <= reading["high_ohm"]
            assert not opens or reading["charges"]
        sweep = variant["sweep"]
        assert len(sweep["frequency_hz"]) == 20
        for curve in ("impedance_ohm", "phase_deg"):
            assert {len(values) for values in sweep[curve].values()} == {20}
            for low, nominal, high in zip(*(sweep[curve][name] for name in ("low", "nominal", "high")), strict=True):
                assert low < nominal < high
    own = [each for each in data["readings"] if each["between"] == ["woofer_a+", "woofer_a-"]]
    assert [each["drivers"] for each in own] == ["apart"]
    assert data["meter"]["assumed"] == ["resistance_error", "leads"]


def test_the_first_variant_asked_for_is_at_the_top(run: Run) -> None:
    data = document(run("expect", MARSHLIGHT, "--variant", "tall", "--variant", "centre", "--points", 5, "--json"))
    assert list(data["variants"]) == ["tall", "centre"]
    assert data["readings"][0]["low_ohm"] == pytest.approx(0.99 * (0.24 * 0.9 + 5.9 * 0.96 / 2) - 0.1, rel=1e-9)


def test_the_meter_of_the_kit_and_what_ifs_count(run: Run) -> None:
    words = ("expect", MARSHLIGHT, "--variant", "tall", "--points", 5, "--json")
    exact = document(run(*words, "--set", "meter={resistance_error: 0 %, leads: 0 ohm}"))["readings"][0]
    assert exact["low_ohm"] == pytest.approx(0.24 * 0.9 + 5.9 * 0.96 / 2, rel=1e-9)
    stands = ("--set", "amplifier.lowest_load=0.5 ohm")
    linked = document(run(*words, *stands, "--set", "variants.tall.parts.L1=link"))["readings"]
    link = next(each for each in linked if each["between"] == ["in", "w2"])
    assert (link["low_ohm"], link["high_ohm"]) == (0.0, 0.1)  # the leads


def test_text(run: Run) -> None:
    done = run("expect", MARSHLIGHT)
    assert done.status == 0
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    top = " ".join(" ".join(lines[:10]).split())
    for caution in ("no power", "unplugged", "discharged", "Hold the probes together first and subtract"):
        assert caution in top
    text = " ".join(done.stdout.split())
    assert "common - w2 connected 2.7 to 3.2 3.0 woofer_a and woofer_b connected" in text
    assert "the voice coil of tweeter is whole" in text
    assert "no reading proves C1, L1, C2, C3, L2 and R2" in text
    thirds = re.findall(r"(?:^|\s)(\d[\d.]*)\s+[\d.]+\s+[\d.]+\s+[\d.]+\s+[+-]\d+", done.stdout)
    assert len(thirds) == 3 * 31  # third octaves from 20 Hz to 20 kHz
    assert {"20", "1000", "19953"} <= set(thirds)


def test_tables(run: Run, tmp_path: Path) -> None:
    assert run("expect", MARSHLIGHT, "--points", 7, "--csv", tmp_path / "out").status == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["centre.csv", "readings.csv", "tall.csv", "wall.csv"]
    rows = list(csv.DictReader((tmp_path / "out" / "readings.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 3 * 15
    climbs = [row for row in rows if row["reads"] == "rises_to_open"]
    assert climbs
    assert all(row["low_ohm"] == row["high_ohm"] == "" for row in climbs)
    rows = list(csv.DictReader((tmp_path / "out" / "tall.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 7
    assert {"frequency_hz", "impedance_ohm.low", "phase_deg.high"} <= rows[0].keys()
    again = ("expect", MARSHLIGHT, "--variant", "centre", "--points", 7, "--csv", tmp_path / "out")
    assert run(*again).status == 2
    assert run(*again, "--force").status == 0


def test_picture(run: Run, tmp_path: Path) -> None:
    for name, start in (("e.png", b"\x89PNG"), ("e.svg", b"<?xml")):
        words = ("expect", MARSHLIGHT, "--variant", "centre", "--points", 30)
        assert run(*words, "-o", tmp_path / name).status == 0
        assert (tmp_path / name).read_bytes().startswith(start)


def test_frequencies_from_a_file_and_the_seed(run: Run, tmp_path: Path) -> None:
    listed = tmp_path / "f.txt"
    listed.write_text("55\n1000\n", encoding="utf-8")
    words = ("expect", MARSHLIGHT, "--variant", "centre", "--frequencies", listed, "--json")
    first, again, other = (document(run(*words, "--seed", seed))["sweep"] for seed in (1, 1, 2))
    assert first["frequency_hz"] == [55, 1000]
    assert first == again
    assert first["impedance_ohm"]["p5"] != other["impedance_ohm"]["p5"]
    assert first["impedance_ohm"]["nominal"] == other["impedance_ohm"]["nominal"]


def test_where_no_current_flows_there_are_nulls_and_a_finding(run: Run, tmp_path: Path) -> None:
    kit = write_kit(
        tmp_path,
        parts="{R: {resistor: 3 ohm, between: [in, a], reason: spare}}",
        hookup="{woofer: {driver: woofer, plus: b, minus: common}}",
        variants="{v: {cabinet: box, reason: to be wired later}}",
    )
    data = document(run("expect", kit, "--points", 5, "--json"))
    assert finite(data)
    assert data["sweep"]["impedance_ohm"]["nominal"] == data["sweep"]["phase_deg"]["p95"] == [None] * 5
    assert "no_current" in {finding["code"] for finding in data["findings"]}
    assert data["readings"][0]["reads"] == "rises_to_open"
    assert data["readings"][0]["charges"] == []
    done = run("expect", kit, "-o", tmp_path / "e.txt")
    assert done.status == 0
    assert "nan" not in (tmp_path / "e.txt").read_text(encoding="utf-8")
    done = run("expect", kit, "-o", tmp_path / "e.png")
    assert (done.status, done.stdout) == (2, "")
    assert "nothing to draw" in done.stderr


def test_a_coil_without_a_resistance_is_named(run: Run, tmp_path: Path) -> None:
    parts = HANDBOOK["parts"].replace("dc_resistance: 0.30 ohm, ", "")
    done = run("expect", write_kit(tmp_path, **{**HANDBOOK, "parts": parts}))
    assert "L2 counted with 0 ohm, for want of a dc resistance: real readings are higher" in " ".join(
        done.stdout.split()
    )


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--variant", "attic"), "the kit's variants: centre, wall, tall"),
        (("--seed", -1), "--seed -1"),
        (("--from", 200, "--to", 20), "--from 200 --to 20"),
        (("-o", "e.docx"), "a picture ends in"),
        (("--set", "meter.leads=0,1 ohm"), "quantity_decimal_comma"),
        (("--set", "meter.resistance_error=120 %"), "spread_too_wide"),
    ],
)
def test_what_is_refused(words: tuple[object, ...], expected: str, run: Run) -> None:
    done = run("expect", MARSHLIGHT, *words)
    assert (done.status, done.stdout) == (2, "")
    assert expected in done.stderr
