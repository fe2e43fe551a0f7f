"""`spread` as a user meets it: JSON, exit status, seeds, tables, pictures, and what is refused."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT, finite, program

FEW = ("--builds", 400)
SERIES = "{R: {resistor: 2 ohm, tolerance: TOL, between: [in, a]}}"
WOOFER = (
    "{woofer: {re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 88 cm2,"
    " linear_excursion: 30 mm, spread: {fs: 0 %, qts: 0 %, re: 0 %, linear_excursion: 0 %}}}"
)
BEHIND = "{woofer: {driver: woofer, plus: a, minus: common}}"


def small(folder: Path, tolerance: str) -> Path:
    """A kit in which one resistor is all that is drawn."""
    return write_kit(folder, drivers=WOOFER, parts=SERIES.replace("TOL", tolerance), hookup=BEHIND)


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_json(run: Run) -> None:
    done = run("spread", MARSHLIGHT, *FEW, "--seed", 5, "--json")
    data = document(done, 1)
    assert done.status == 1  # no copy of `tall` keeps its woofers' limit, as the kit itself does not
    assert finite(data)
    assert (data["seed"], data["builds"], data["law"], data["at_least"]) == (5, 400, "uniform", 0.9)
    assert data["inside"] == min(each["inside"]["share"] for each in data["variants"].values()) == 0.0
    assert list(data["bands"]) == list(data["variants"]) == ["centre", "wall", "tall"]
    for bands in data["bands"].values():
        rows = len(bands["frequency_hz"])
        assert rows > 100
        for curve in ("level_db", "difference_db", "impedance_ohm"):
            assert {len(values) for values in bands[curve].values()} == {rows}
            lower = bands[curve]["lowest"]
            for name in ("p5", "p25", "p50", "p75", "p95", "highest"):
                assert all(a <= b for a, b in zip(lower, bands[curve][name], strict=True))
                lower = bands[curve][name]
    for each in data["sensitivity"]:
        assert {"variant", "of", "tolerance", "level_db", "at_hz", "share_of_variance"} <= each.keys()
    for name in data["variants"]:
        shares = [each["share_of_variance"] for each in data["sensitivity"] if each["variant"] == name]
        assert sum(shares) == pytest.approx(1)
        assert all(a >= b - 1e-6 for a, b in pairwise(shares))  # those alike to six digits in the board's order
    tall = data["variants"]["tall"]
    assert {each["what"]: each["nominal_keeps"] for each in tall["limits"]} == {
        "linear excursion of woofer_a": False,
        "linear excursion of woofer_b": False,
        "lowest impedance": True,
    }
    assert {"L1", "L2", "woofer_a.fs", "tweeter.level"} <= set(tall["tolerances_assumed"])


def test_the_same_seed_gives_the_same_bytes(run: Run) -> None:
    words = ("spread", MARSHLIGHT, "--variant", "centre", *FEW, "--json")
    first, again, other = run(*words), run(*words), run(*words, "--seed", 1)
    assert first.stdout == again.stdout
    assert first.stdout != other.stdout
    # a variant has the same copies whatever else is asked for
    both = document(run("spread", MARSHLIGHT, "--variant", "centre", "--variant", "wall", *FEW, "--json"))
    assert both["bands"]["centre"] == document(first)["bands"]["centre"]


def test_status_goes_by_the_floor(run: Run, tmp_path: Path) -> None:
    """A resistor of 2 ohm and 11 % in series: the share of copies whose impedance is within 2.5 %, from the curve
    that `predict` tells."""
    kit = small(tmp_path, "11 %")
    seen = document(run("predict", kit, "--from", 200, "--to", 10_000, "--json"))["variants"]["v"]
    ohms = np.array(seen["impedance_ohm"]) * np.exp(1j * np.radians(seen["impedance_phase_deg"]))
    drawn = np.linspace(-0.22, 0.22, 8001)
    off = np.max(np.abs(np.abs(ohms[:, None] + drawn) / np.abs(ohms)[:, None] - 1), axis=0)
    share = float(np.mean(off <= 0.025))
    assert 0.8 < share < 0.95
    words = ("spread", kit, "--builds", 10_000, "--set", "spread.impedance=2.5 %")
    asked = [round(100 * share) + step for step in (-3, 3)]
    passes, fails = (run(*words, "--at-least", percent) for percent in asked)
    assert (passes.status, fails.status) == (0, 1)
    assert f"enough, at least {asked[0]}.0 % is asked for" in " ".join(passes.stdout.split())
    assert f"NOT ENOUGH, at least {asked[1]}.0 % is asked for" in " ".join(fails.stdout.split())
    data = document(run(*words, "--at-least", asked[0], "--json"))
    assert data["inside"] == pytest.approx(share, abs=0.013)  # four standard errors


def test_text(run: Run) -> None:
    done = run("spread", MARSHLIGHT, *FEW, "--law", "normal")
    assert done.status == 1
    assert all(len(line) <= 100 for line in done.stdout.splitlines())
    head = " ".join(done.stdout.split())
    assert "400 copies, seed 0, values normal within their tolerances" in head
    assert "does not keep: linear excursion of woofer_a, linear excursion of woofer_b" in head
    for words in ("5 % assumed", "dc resistance of coils", "ratings of parts (stress judges them"):
        assert words in head


def test_nothing_to_draw_is_said(run: Run, tmp_path: Path) -> None:
    kit = small(tmp_path, "0 %")
    done = run("spread", kit, "--builds", 100, "--json")
    data = document(done)
    assert (done.status, data["inside"], data["sensitivity"]) == (0, 1.0, [])
    assert "nothing_to_draw" in {finding["code"] for finding in data["findings"]}
    assert "nothing is drawn" in run("spread", kit, "--builds", 100).stdout


def test_a_variant_without_current(run: Run, tmp_path: Path) -> None:
    """Nothing flows, nothing is heard, in any copy: nulls, and a finding that says why."""
    parts = "{R: {resistor: 2 ohm, between: [in, a], normally: omit, reason: a test}}"
    kit = write_kit(tmp_path, drivers=WOOFER, parts=parts, hookup=BEHIND)
    data = document(run("spread", kit, "--builds", 100, "--json"))
    assert set(data["bands"]["v"]["impedance_ohm"]["p95"]) == {None}
    assert set(data["bands"]["v"]["difference_db"]["p95"]) == {0.0}
    assert "no_current" in {finding["code"] for finding in data["findings"]}
    picture = tmp_path / "none.svg"
    assert run("spread", kit, "--builds", 100, "-o", picture).status == 0
    assert picture.exists()


def test_pictures_and_tables(run: Run, tmp_path: Path) -> None:
    picture, folder = tmp_path / "spread.svg", tmp_path / "tables"
    done = run("spread", MARSHLIGHT, "--variant", "wall", *FEW, "-o", picture, "--csv", folder)
    assert done.status == 0
    assert done.stdout == ""
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    rows = table(folder / "wall.csv")
    assert len(rows) > 100
    assert float(rows[0]["difference_db.p5"]) < 0 < float(rows[0]["difference_db.p95"])
    sources = table(folder / "sensitivity.csv")
    assert {row["of"] for row in sources} >= {"C1", "L1", "woofer_a.fs", "tweeter.level"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--builds", 99), "100 to 1000000"),
        (("--builds", 1_000_001), "100 to 1000000"),
        (("--law", "triangular"), "uniform, normal"),
        (("--seed", -1), "0 or more"),
        (("--at-least", 101), "0 to 100 %"),
        (("--at-least", "nan"), "0 to 100 %"),
        (("--variant", "none"), "centre, wall, tall"),
    ],
)
def test_what_is_refused(run: Run, words: tuple[object, ...], said: str) -> None:
    done = run("spread", MARSHLIGHT, *words)
    assert done.status == 2
    assert said in done.stderr


def test_the_real_program() -> None:
    """In a process of its own, with every warning an error."""
    done = program("spread", MARSHLIGHT, "--variant", "centre", "--builds", 100)
    assert done.returncode == 0
    assert done.stdout.splitlines()[1].startswith("How far apart copies come out")
