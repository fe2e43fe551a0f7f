"""`symptom` as a user meets it: the list, words with spaces, a kit, JSON, faults, and light start-up."""

from __future__ import annotations

from pathlib import Path

import pytest

from system.bench.complaints import COMPLAINTS
from tests.support_cli import Run, document
from tests.test_cli import MARSHLIGHT, finite


def test_the_list(run: Run) -> None:
    done = run("symptom")
    assert done.status == 0
    assert done.stderr == ""
    assert all(f"  {word} " in done.stdout for word in COMPLAINTS)
    listed = document(run("symptom", "--json"))["symptoms"]
    assert [each["word"] for each in listed] == list(COMPLAINTS)


@pytest.mark.parametrize("words", [["no tweeter"], ["no-tweeter"], ["no", "tweeter"], ["No_Tweeter"], ["no_treble"]])
def test_a_word_in_any_form(words: list[str], run: Run) -> None:
    done = run("symptom", *words)
    assert done.status == 0
    assert done.stdout.startswith("no_tweeter: no sound from the tweeter")
    assert "need the kit" in done.stdout


def test_an_unknown_word(run: Run) -> None:
    done = run("symptom", "holow")
    assert done.status == 2
    assert done.stdout == ""
    assert (
        'error[unknown_symptom]: no symptom is called "holow"; did you mean hollow? there are: no_sound,' in done.stderr
    )
    data = document(run("symptom", "holow", "--json"), 2)
    assert [each["code"] for each in data["findings"]] == ["unknown_symptom"]


def test_with_a_kit_every_variant_has_its_figures(run: Run) -> None:
    done = run("symptom", "no", "tweeter", MARSHLIGHT)
    assert done.status == 0
    assert all(f"\n{name}:\n" in done.stdout for name in ("centre", "wall", "tall"))
    assert "- C3 missing or not connected: sweep at" in done.stdout
    assert "meter cannot show it" in done.stdout
    assert "in to common, drivers connected: climbs to open" in done.stdout  # C1 stands in the way
    assert max(map(len, done.stdout.splitlines())) <= 100


def test_json_of_a_kit(run: Run) -> None:
    data = document(run("symptom", "thin", MARSHLIGHT, "--variant", "tall", "--variant", "wall", "--json"))
    assert data["word"] == "thin"
    assert list(data["variants"]) == ["wall", "tall"]
    assert data["checks"] == data["variants"]["wall"]["checks"]
    assert finite(data)
    for variant in data["variants"].values():
        names = [each["name"] for each in variant["checks"]]
        assert names.index("settings") < names.index("meter") < names.index("sweep") < names.index("one_end")
        meter = next(each for each in variant["checks"] if each["name"] == "meter")
        assert meter["readings"][0]["between"] == ["in", "common"]
        assert variant["suspects"]
        for each in variant["suspects"]:
            assert each["faults"][0].keys() == {"fault", "place", "form"}
            assert each["sweep"] is None or each["sweep"]["right_ohm"] != each["sweep"]["wrong_ohm"]


def test_to_a_file_and_no_pictures(run: Run, tmp_path: Path) -> None:
    assert run("symptom", "hum", "-o", tmp_path / "hum.txt").status == 0
    assert (tmp_path / "hum.txt").read_text().startswith("hum: a steady hum")
    done = run("symptom", "hum", "-o", tmp_path / "hum.png")
    assert done.status == 2
    assert "symptom draws nothing" in done.stderr
    assert run("symptom", "hum", "--variant", "wall").status == 2
    assert run("symptom", "hum", MARSHLIGHT, "--variant", "nowhere").status == 2
    assert run("symptom", "hum", tmp_path / "none.yaml").status == 2


def test_a_kit_with_faults_is_refused(run: Run) -> None:
    done = run("symptom", "thin", MARSHLIGHT, "--set", "drivers.woofer.re=5.9")
    assert done.status == 2
    assert "quantity_no_unit" in done.stderr


def test_what_if(run: Run) -> None:
    """Both woofers of twice the resistance: the reading after the link is 5.9 + 0.24 ohm and not half of it."""
    twice = ["--set", "drivers.woofer.re=11.8 ohm", "--set", "drivers.woofer.qes=0.92"]
    data = document(run("symptom", "no_sound", MARSHLIGHT, "--variant", "tall", "--json", *twice))
    meter = next(each for each in data["checks"] if each["name"] == "meter")
    reading = meter["readings"][0]
    assert reading["low_ohm"] < 6.14 < reading["high_ohm"]
