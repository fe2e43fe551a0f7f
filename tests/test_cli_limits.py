"""`limits` and `stress` as a user meets them: JSON, exit status, pictures, tables, and what is never printed."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest

from tests.support_cli import Run, document
from tests.support_kits import WOOFER, write_kit
from tests.test_cli import MARSHLIGHT, finite, program

SEALED = "{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}}"


def test_status_and_streams_of_the_real_program() -> None:
    """In a process of its own: a sheet on standard output, what else there is to say on standard error, status 1."""
    done = program("limits", MARSHLIGHT, "--variant", "tall", "--points", 3)
    assert done.returncode == 1
    assert done.stdout.splitlines()[1].startswith("What gives first")
    assert all("notes" in line or "warning" in line for line in done.stderr.splitlines())


def test_limits_json_keeps_its_contract(run: Run) -> None:
    words = ["--variant", "centre", "--variant", "tall", "--json", "--points", 40, "--to", 5000]
    data = document(run("limits", MARSHLIGHT, *words), 1)
    assert list(data) == ["schema_version", "kit", "frequency_hz", "variants", "findings"]
    assert len(data["frequency_hz"]) == 40
    assert finite(data)
    for name, variant in data["variants"].items():
        found = variant["limits"]
        kinds = {"linear_excursion", "damage_excursion", "heat", "part_rating", "amplifier_voltage"}
        assert set(found) == (kinds | {"opening_speed"} if name == "tall" else kinds)
        assert set(found["linear_excursion"]) == {"woofer_a", "woofer_b"}
        assert set(found["heat"]) == {"woofer_a", "woofer_b", "tweeter"}
        curves = [found["amplifier_voltage"]]
        curves += [each for kind, names in found.items() if kind != "amplifier_voltage" for each in names.values()]
        assert all(len(curve["volts"]) == 40 and None not in curve["volts"] for curve in curves)
        envelope = variant["envelope"]
        lowest = np.min([curve["volts"] for curve in curves], axis=0)
        np.testing.assert_allclose(envelope["volts"], lowest, rtol=1e-12)
        assert len(envelope["level_db"]) == len(envelope["limited_by"]) == 40
        programme = variant["programme"]
        assert set(programme) >= {"volts", "watts", "level_db", "limited_by"}
        assert programme["watts"] == pytest.approx(programme["volts"] ** 2 / programme["into_ohm"])
        assert programme["volts"] == min(each["volts"] for each in programme["reached"])
        assert set(variant["heat_course"]["drivers"]) == {"woofer_a", "woofer_b", "tweeter"}
        large = variant["large_signal"]["woofer_a"]
        assert len(large["frequency_hz"]) == len(large["volts_at_10_percent"]) <= 24
        assert (large["frequency_hz"][0], large["frequency_hz"][-1]) == pytest.approx((20, 500))
        assert [why is None for why in large["why_none"]] == [v is not None for v in large["volts_at_10_percent"]]
        assert {item["what"] for item in variant["not_judged"]} == {"excursion of tweeter", "the amplifier's current"}
    tall = data["variants"]["tall"]
    mouth = tall["limits"]["opening_speed"]["mouth"]
    np.testing.assert_allclose(mouth["upper_volts"], 2 * np.array(mouth["volts"]), rtol=1e-12)
    assert tall["programme"]["exceeded_at_clipping"] == ["linear excursion of woofer_b", "linear excursion of woofer_a"]
    assert len(tall["port_compression"]["level_lost_db"]["mouth"]) == 40


@pytest.mark.slow
def test_the_first_screen_says_the_same(run: Run) -> None:
    """How loud and why, and what `compare` says of it, are those of `limits`."""
    words = ["--variant", "tall"]
    most = document(run("limits", MARSHLIGHT, *words, "--json", "--points", 5), 1)["variants"]["tall"]["programme"]
    compared = document(run("compare", MARSHLIGHT, *words, "--json", "--points", 5))["variants"]["tall"]["compared"]
    assert compared["loudest"]["volts"] == pytest.approx(most["volts"], rel=1e-9)
    assert compared["loudest"]["level"] == pytest.approx(most["level_db"], abs=1e-9)
    screen = run(MARSHLIGHT, *words).stdout.splitlines()
    row = next(line for line in screen if line.startswith("tall "))
    assert f"{most['level_db']:.0f} dB  {most['limited_by']}" in row


def test_full_volume_that_is_not_too_much(run: Run) -> None:
    """Nothing gives in the centre variant; 8.9868 V rms of programme, 10.095 W into 8 ohm, at 80 W and 12 dB of crest
    (sqrt(2) sqrt(640)/10^0.6) are rounded down."""
    done = run("limits", MARSHLIGHT, "--variant", "centre", "--points", 3)
    assert done.status == 0
    assert "at most 8.9 V rms (10 W into 8 ohm)" in done.stdout
    assert "nothing that is judged gives" in " ".join(done.stdout.split())


def test_status_is_1_where_a_part_fails(run: Run, tmp_path: Path) -> None:
    parts = "{R1: {resistor: 8 ohm, power_rating: 5 W, between: [in, common]}}"
    for power, status in ((50, 1), (20, 0)):
        done = run("stress", write_kit(tmp_path, parts=parts, amplifier=f"{{power: {power} W, load: 8 ohm}}"))
        assert done.status == status
        assert ("FAIL" in done.stdout) == (status == 1)
        assert ("order 10 W or more" in done.stdout) == (status == 1)


@pytest.mark.parametrize("command", ["limits", "stress"])
def test_texts_are_sheets_of_100_columns_that_warn(command: str, run: Run) -> None:
    """Drive in watts always says into how many ohm; what is computed is never offered as a test."""
    text = run(command, MARSHLIGHT, "--variant", "tall").stdout
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    flat = " ".join(text.split())
    assert "not a test to run" in lines[1]
    assert "never feed a sine at such volts" in flat
    assert "Loud sound damages hearing" in flat
    assert "amplifier off and unplugged" in flat
    assert not re.search(r"V rms \(\d+(\.\d)? W(?! into 8 ohm)", flat)
    if command == "limits":
        assert lines[1].startswith("What gives first")
        assert "The amplifier stays" in flat
        assert "smaller amplifier" not in flat


def test_stress_json_keeps_its_contract(run: Run) -> None:
    data = document(run("stress", MARSHLIGHT, "--variant", "centre", "--variant", "tall", "--json"))
    assert finite(data)
    for variant in data["variants"].values():
        for part in variant["parts"].values():
            assert part["verdict"] in {"pass", "marginal", "fail", "cannot_tell", "not_tested"}
            for signal in ("sine", "programme"):
                assert set(part[signal]) >= {"volts", "volts_peak", "current_a", "watts"}
            assert all(set(each) >= {"rating", "asked", "order", "verdict"} for each in part["ratings"].values())
    tall = data["variants"]["tall"]["parts"]
    assert "C1" not in tall  # linked
    assert tall["R1"]["surface_c"] > 30
    assert tall["C2"]["surface_c"] is None


def small_kit(folder: Path) -> Path:
    """A woofer with every kind of figure behind a board of two parts."""
    return write_kit(
        folder,
        cabinets=SEALED,
        drivers=f"{{woofer: {WOOFER[:-1]}, power: {{rated: 20 W, of: coil}},"
        " large_signal: {bl: {polynomial: [6.3, -0.02, -0.05]}}}}",
        parts="{C1: {capacitor: 220 uF, voltage_rating: 50 V, between: [in, w]},"
        " R1: {resistor: 1 ohm, between: [w, x]}}",
        hookup="{woofer: {driver: woofer, plus: x, minus: common}}",
    )


@pytest.mark.slow
@pytest.mark.parametrize("command", ["limits", "stress"])
def test_pictures(command: str, run: Run, tmp_path: Path) -> None:
    """The same bytes each time, in the format of the ending."""
    kit = small_kit(tmp_path)
    for name, magic in (("one.svg", b"<?xml"), ("two.svg", b"<?xml"), ("one.png", b"\x89PNG")):
        done = run(command, kit, "-o", tmp_path / name)
        assert done.status in (0, 1), done.stderr
        assert (tmp_path / name).read_bytes().startswith(magic)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_a_picture_of_no_parts_is_refused(run: Run, tmp_path: Path) -> None:
    done = run("stress", write_kit(tmp_path), "-o", tmp_path / "p.svg")
    assert done.status == 2
    assert "a picture of no parts" in done.stderr


def test_csv_has_the_curves_and_the_parts(run: Run, tmp_path: Path) -> None:
    kit = small_kit(tmp_path)
    data = json.loads(run("limits", kit, "--csv", tmp_path, "--points", 7, "--json").stdout)
    envelope = data["variants"]["v"]["envelope"]
    rows = list(csv.DictReader((tmp_path / "v.csv").read_text().splitlines()))
    assert {"frequency_hz", "linear_excursion.woofer.volts", "part_rating.C1.volts"} <= set(rows[0])
    assert [float(row["envelope.volts"]) for row in rows] == envelope["volts"]
    assert [row["envelope.limited_by"] for row in rows] == envelope["limited_by"]
    run("stress", kit, "--csv", tmp_path)
    parts = list(csv.DictReader((tmp_path / "stress.csv").read_text().splitlines()))
    assert [(row["part"], row["rating_of"]) for row in parts] == [("C1", "voltage"), ("R1", "power")]
    assert all(float(row["sine.volts"]) > 0 for row in parts)


def test_a_kit_judged_on_a_sine(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path, cabinets=SEALED, more="programme: {spectrum: sine}")
    variant = document(run("limits", kit, "--json"), 1)["variants"]["v"]
    assert variant["programme"]["signal"] == "sine"
    assert (variant["heat_course"], variant["large_signal"]) == (None, None)
    text = run("limits", kit).stdout
    assert "sine: at most" in text
    assert "small-signal model only" in text
    assert document(run("stress", kit, "--json"))["variants"]["v"]["programme_volts"] is None


def test_a_coil_that_burns(run: Run, tmp_path: Path) -> None:
    """5 W of rating on 200 W of clipped noise: nulls where there is no temperature any more, and a word for it."""
    driver = f"{{woofer: {WOOFER[:-1]}, power: {{rated: 5 W, of: coil}}}}}}"
    more = "programme: {spectrum: pink, crest_factor: 6 dB, from: 30 Hz}"
    kit = write_kit(tmp_path, cabinets=SEALED, drivers=driver, amplifier="{power: 200 W, load: 4 ohm}", more=more)
    coil = document(run("limits", kit, "--json", "--points", 5), 1)["variants"]["v"]["heat_course"]["drivers"]["woofer"]
    assert (coil["burns"], coil["settled_c"], coil["level_lost_db"]) == (True, None, None)
    assert coil["coil_c"][0] is not None
    assert coil["coil_c"][-1] is None
    assert "woofer burnt" in run("limits", kit).stdout
    assert run("limits", kit, "-o", tmp_path / "p.svg").status == 1


def test_a_silent_variant_stays_in_bounds(run: Run, tmp_path: Path) -> None:
    """No current, no limit but the amplifier's: nulls stand for what is never reached."""
    pieces = {
        "parts": "{C1: {capacitor: 220 uF, voltage_rating: 50 V, between: [in, w]}}",
        "hookup": "{woofer: {driver: woofer, plus: w, minus: common}}",
        "variants": "{v: {cabinet: box, reason: on the bench, parts: {C1: omit}}}",
        "drivers": f"{{woofer: {WOOFER[:-1]}, power: {{rated: 20 W, of: coil}}}}}}",
    }
    kit = write_kit(tmp_path, **pieces)
    variant = document(run("limits", kit, "--points", 5, "--json"))["variants"]["v"]
    assert variant["limits"]["heat"]["woofer"]["volts"] == [None] * 5
    assert variant["limits"]["linear_excursion"]["woofer"]["volts"] == [None] * 5
    assert variant["envelope"]["limited_by"] == ["the amplifier's volts"] * 5
    assert "silent" in run("limits", kit).stdout
    assert run("stress", kit).status == 0


@pytest.mark.parametrize("command", ["limits", "stress"])
def test_a_link_that_endangers_the_amplifier_is_refused_here_too(command: str, run: Run, tmp_path: Path) -> None:
    kit = write_kit(
        tmp_path,
        parts="{L1: {coil: 1 mH, between: [in, w]}, C2: {capacitor: 68 uF, between: [w, common]}}",
        hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
        amplifier="{power: 50 W, load: 8 ohm, lowest_load: 3.2 ohm}",
        variants="{v: {cabinet: box, parts: {L1: link}}}",
    )
    done = run(command, kit)
    assert done.status == 2
    assert "error[impedance_link]" in done.stderr
