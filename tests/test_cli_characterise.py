"""`characterise` as a user meets it: text, JSON, exit status, lines for the kit file, files, and what is refused."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from enclosures.air import moist_air
from enclosures.driver import Driver, SemiInductance
from system.kitfile import load_kit
from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import finite

WOOFER = Driver(5.6, 6.3, 9.5e-3, 1.1e-3, 0.85, 88e-4, SemiInductance(0.1e-3, 0.9e-3, 0.05))
AIR = moist_air(293.15, 101325.0, 0.5)
ADDED = 5e-3  # kg
ROUND = "105.852 mm"  # across a circle of 88 cm2
NAMED = {"re": ("re_ohm", 1), "fs": ("fs_hz", 1), "qms": ("qms", 1), "qes": ("qes", 1), "qts": ("qts", 1)}
NAMED |= {"vas": ("vas_l", 1e3), "bl": ("bl_t_m", 1), "mms": ("mms_g", 1e3), "cms": ("cms_mm_n", 1e3)}
NAMED |= {"rms": ("rms_kg_s", 1), "sd": ("sd_cm2", 1e4)}


def sweep(folder: Path, name: str, driver: Driver = WOOFER, phase: bool = True, low: float = 10) -> Path:
    """A file as a sweep of this driver in free air leaves it, with a scatter of 0.1 %, always the same."""
    frequency = np.geomspace(low, 20e3, 300)
    random = np.random.default_rng(sum(name.encode()))
    z = driver.free_air_impedance(2 * np.pi * frequency) * (1 + 1e-3 * random.normal(size=frequency.size))
    angle = np.degrees(np.angle(z) + 1e-3 * random.normal(size=frequency.size))
    rows = [
        f"{f:.4f}  {abs(each):.5f}" + (f"  {degrees:.4f}" if phase else "")
        for f, each, degrees in zip(frequency, z, angle, strict=True)
    ]
    path = folder / name
    path.write_text("\n".join(["# Hz  ohm  deg", *rows, ""]), encoding="utf-8")
    return path


def two(folder: Path) -> tuple[Path, Path]:
    heavier = replace(WOOFER, mms=WOOFER.mms + ADDED)
    return sweep(folder, "free.txt"), sweep(folder, "heavier.txt", heavier)


def truth(driver: Driver = WOOFER) -> dict[str, float]:
    """The figures by their definitions (Small, J. Audio Eng. Soc. 20(5), 1972), as `enclosures.driver` has them."""
    return {**{name: getattr(driver, name) for name in NAMED if name != "vas"}, "vas": driver.vas(AIR)}


def test_json_of_one_sweep(run: Run, tmp_path: Path) -> None:
    path = sweep(tmp_path, "woofer.txt")
    data = document(run("characterise", path, "--json"))
    assert finite(data)
    assert set(data) >= {"schema_version", "findings", "driver", "interval_95", "residual_rms", "refused"}
    assert data["refused"] is None
    assert data["residual_rms"] == pytest.approx(1e-3, rel=0.6)  # what was scattered, in one column or two
    right = truth()
    for name in ("re", "fs", "qms", "qes", "qts"):
        key, factor = NAMED[name]
        assert data["driver"][name] == pytest.approx(right[name], rel=0.01)
        assert data["driver"][key] == pytest.approx(data["driver"][name] * factor)
        low, high = data["interval_95"][name]
        assert low < data["driver"][name] < high
        assert high - low < 0.05 * right[name]
    for name in ("vas", "bl", "mms", "cms", "rms", "sd"):
        assert data["driver"][name] is data["driver"][NAMED[name][0]] is None
        assert name not in data["interval_95"]
    assert data["driver"]["voice_coil"]["model"] == "semi_inductance"
    models = {each["model"]: each for each in data["voice_coil_models"]}
    assert set(models) == {"le", "shunted_coil", "power_law", "semi_inductance"}
    assert [name for name, each in models.items() if each["chosen"]] == ["semi_inductance"]
    assert models["le"]["residual_rms"] > 10 * models["semi_inductance"]["residual_rms"]
    assert not models["le"]["supported"]
    assert all(each["why"] for each in models.values())


def test_json_of_two_sweeps(run: Run, tmp_path: Path) -> None:
    free, heavier = two(tmp_path)
    data = document(run("characterise", free, "--added-mass", "5 g", heavier, "--diameter", ROUND, "--json"))
    assert data["second_sweep"] == {"method": "added_mass", "mass_g": 5, "file": str(heavier)}
    for name, value in truth().items():
        key, factor = NAMED[name]
        assert data["driver"][name] == pytest.approx(value, rel=0.02), name
        assert data["driver"][key] == pytest.approx(data["driver"][name] * factor)
    assert set(data["interval_95"]) >= {"vas", "bl", "mms", "cms", "rms"}
    without = document(run("characterise", free, "--added-mass", "5 g", heavier, "--json"))
    assert without["driver"]["mms"] == pytest.approx(WOOFER.mms, rel=0.02)
    assert without["driver"]["vas"] is None  # it takes the area


def test_a_known_box(run: Run, tmp_path: Path) -> None:
    """The box makes the suspension stiffer by rho c^2 sd^2/vb (Small, J. Audio Eng. Soc. 20(10), 1972)."""
    boxed = replace(WOOFER, cms=1 / (1 / WOOFER.cms + AIR.bulk_modulus * WOOFER.sd**2 / 8e-3))
    paths = sweep(tmp_path, "free.txt"), sweep(tmp_path, "boxed.txt", boxed)
    data = document(run("characterise", paths[0], "--known-box", "8 L", paths[1], "--diameter", ROUND, "--json"))
    assert data["refused"] is None
    assert data["second_sweep"] == {"method": "known_box", "volume_l": 8, "file": str(paths[1])}
    assert data["driver"]["vas_l"] == pytest.approx(1e3 * WOOFER.vas(AIR), rel=0.02)
    assert data["driver"]["fs"] == pytest.approx(WOOFER.fs, rel=0.01)


@pytest.mark.parametrize("text", ["5.6", "5.6 ohm"])
def test_the_dc_resistance_may_be_bare(text: str, run: Run, tmp_path: Path) -> None:
    """From 30 Hz up without a phase the sweep itself tells re less surely than the meter."""
    path = sweep(tmp_path, "woofer.txt", phase=False, low=30)
    data = document(run("characterise", path, "--dc", text, "--json"))
    assert data["driver"]["re"] == pytest.approx(5.6, rel=0.01)


def test_the_text_says_what_is_known_and_what_to_do_next(run: Run, tmp_path: Path) -> None:
    free, heavier = two(tmp_path)
    done = run("characterise", free)
    assert done.status == 0
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert "not known from this: vas, bl, mms, cms, rms and sd" in done.stdout
    # fs of a driver heavier by half: 49.2 Hz / sqrt(1.5)
    assert "to 40.2 Hz; --added-mass" in " ".join(done.stdout.split())
    by_size = run("characterise", free, "--diameter", ROUND).stdout
    assert "about 4.8 g by its size" in " ".join(by_size.split())
    full = run("characterise", free, "--added-mass", "5 g", heavier, "--diameter", ROUND).stdout
    assert "Next" not in full
    for unit in ("ohm", "Hz", "L", "T.m", "mm/N", "kg/s", "cm2"):
        assert f" {unit} " in full


def pasted(block: str, folder: Path) -> Any:
    """The driver as the kit reader has it, with all that it says, out of lines that stand under `drivers:`."""
    inside = yaml.safe_load(block)
    drivers = {name: {**keys, "linear_excursion": "4 mm"} for name, keys in inside["drivers"].items()}
    (name,) = drivers
    hookup = f"{{woofer: {{driver: {name}, plus: in, minus: common}}}}"
    kit = load_kit(
        write_kit(folder, drivers=yaml.safe_dump(drivers, default_flow_style=True, width=1e9), hookup=hookup)
    )
    assert not [
        finding for finding in kit.findings if finding.path.startswith("drivers") and finding.severity != "note"
    ]
    return kit.drivers[name]


@pytest.mark.parametrize("model", ["le", "shunted_coil", "power_law", "semi_inductance"])
def test_the_printed_lines_are_a_driver_of_a_kit(model: str, run: Run, tmp_path: Path) -> None:
    free, heavier = two(tmp_path)
    words = (
        "characterise",
        free,
        "--added-mass",
        "5 g",
        heavier,
        "--diameter",
        ROUND,
        "--model",
        model,
        "--name",
        "bass",
    )
    data = document(run(*words, "--json"))
    text = run(*words).stdout
    driver = pasted(text[text.index("drivers:\n  bass:") :], tmp_path)
    assert driver.origin == "measured"
    for name in ("re", "bl", "mms", "cms", "rms", "sd"):
        assert getattr(driver.small_signal, name) == pytest.approx(data["driver"][name], rel=2e-3), name
    coil = dict(data["driver"]["voice_coil"])
    assert driver.coil.model == coil.pop("model") == model
    assert driver.coil.parameters == pytest.approx(coil, rel=1e-3)


def test_the_block_alone_is_what_swap_takes(run: Run, tmp_path: Path) -> None:
    free, heavier = two(tmp_path)
    block = tmp_path / "driver.yaml"
    words = ("characterise", free, "--added-mass", "5 g", heavier, "--diameter", ROUND, "-o", block)
    done = run(*words)
    assert (done.status, done.stdout) == (0, "")
    tables = tmp_path / "tables"
    assert run(*words, "--csv", tables).status == 2  # it is there already
    assert not tables.exists()
    assert run(*words, "--force").status == 0
    assert set(yaml.safe_load(block.read_text(encoding="utf-8"))) == {
        "re", "fs", "qms", "qes", "mms", "sd", "voice_coil", "origin",
    }  # fmt: skip
    right = (
        "{woofer: {re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.1 mm/N, rms: 0.85 kg/s, sd: 88 cm2,"
        " voice_coil: {model: semi_inductance, series: 0.1 mH, shunted: 0.9 mH, semi: 0.05}}}"
    )
    box = "{box: {chambers: [{kind: sealed, volume: 8 L, drivers: [woofer]}]}}"
    kit = write_kit(tmp_path, drivers=right, cabinets=box)
    taken = document(run("swap", kit, "woofer", "--with", block, "--json"))
    assert taken["worst_db"] < 0.1  # the kit's woofer is the one that was swept


def test_a_block_of_one_sweep_says_what_is_to_fill_in(run: Run, tmp_path: Path) -> None:
    block = tmp_path / "driver.yaml"
    run("characterise", sweep(tmp_path, "woofer.txt"), "-o", block)
    text = block.read_text(encoding="utf-8")
    assert "# sd: ..." in text
    assert "# mms: ..." in text
    assert set(yaml.safe_load(text)) == {"re", "fs", "qms", "qes", "voice_coil", "origin"}


def test_a_sweep_that_cannot_carry_it_is_refused_and_not_an_error(run: Run, tmp_path: Path) -> None:
    """From 400 Hz up there is no resonance to see."""
    path = sweep(tmp_path, "high.txt", low=400)
    data = document(run("characterise", path, "--json"))
    assert data["refused"]
    assert data["driver"]["fs"] is None
    assert data["interval_95"] == {}
    assert [finding["code"] for finding in data["findings"] if finding["severity"] == "warning"] == ["sweep_refused"]
    done = run("characterise", path)
    assert done.status == 0
    assert "REFUSED: " in done.stdout
    assert "drivers:" not in done.stdout
    block = tmp_path / "driver.yaml"
    done = run("characterise", path, "-o", block)
    assert done.status == 0
    assert "REFUSED: " in done.stdout
    assert not block.exists()


def test_a_second_sweep_without_any_difference_is_refused(run: Run, tmp_path: Path) -> None:
    """The figures of the first are told all the same."""
    free, again = sweep(tmp_path, "free.txt"), sweep(tmp_path, "again.txt")
    data = document(run("characterise", free, "--added-mass", "5 g", again, "--json"))
    assert "exchanged" in data["refused"]  # two sweeps alike may be one and the same
    assert data["driver"]["mms"] is None
    assert data["driver"]["fs"] == pytest.approx(WOOFER.fs, rel=0.01)


def test_every_fault_in_one_run(run: Run, tmp_path: Path) -> None:
    good = sweep(tmp_path, "good.txt")
    bad = tmp_path / "bad.txt"
    bad.write_text("20 abc\n30 6\n", encoding="utf-8")
    done = run("characterise", bad, tmp_path / "none.txt", good, "--diameter", "108", "--dc", "5R6", "--json")
    assert done.status == 2
    told = document(done, 2)["findings"]
    assert {finding["file"] for finding in told} == {"kitwright", str(bad), str(tmp_path / "none.txt")}
    assert any("write for example 108 mm" in finding["allowed"] for finding in told)
    assert any("write 5.6 ohm" in finding["allowed"] for finding in told)
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--added-mass", "10", "SWEEP"], "write for example 10 g"),
        (["--added-mass", "10 mm", "SWEEP"], "it takes a mass"),
        (["--known-box", "8", "SWEEP"], "write for example 8 L"),
        (["--added-mass", "10 g", "SWEEP", "--known-box", "8 L", "SWEEP"], "one second sweep at a time"),
        (["--added-mass", "10 g", "none.txt"], "there is no such file"),
        (["--model", "leach"], "le, shunted_coil, power_law, semi_inductance"),
        (["--dc", "-5"], "0.1 to 1000"),
        (["--diameter", "5 m"], "from 5 mm to 1 m"),
        (["--name", "my woofer"], "letters, digits and underscores"),
        (["SWEEP"], "comes twice"),
        (["-o", "driver.doc"], ".svg, .png, .pdf"),
        (["--added-mass", "10 g"], "requires 2 arguments"),
    ],
)
def test_what_is_wrong_is_said_with_advice(words: list[str], told: str, run: Run, tmp_path: Path) -> None:
    path = sweep(tmp_path, "woofer.txt")
    done = run("characterise", path, *(str(path) if word == "SWEEP" else word for word in words))
    assert done.status == 2
    assert told in done.stderr
    assert done.stdout == ""


def batch(folder: Path) -> list[Path]:
    """Six drivers: 1 and 4 are one and the same twice, so are 2 and 6; 3 has a weak magnet, 5 cannot be seen."""
    heavy = replace(WOOFER, mms=1.05 * WOOFER.mms)
    weak = replace(WOOFER, bl=0.8 * WOOFER.bl)
    drivers = [WOOFER, heavy, weak, WOOFER, WOOFER, heavy]
    return [sweep(folder, f"{i}.txt", each, low=400 if i == 5 else 10) for i, each in enumerate(drivers, 1)]


def test_a_batch_is_put_into_pairs(run: Run, tmp_path: Path) -> None:
    paths = batch(tmp_path)
    data = document(run("characterise", *paths, "--json"))
    assert finite(data)
    assert [each["file"] for each in data["sweeps"]] == list(map(str, paths))
    for each in data["sweeps"]:
        assert set(each) >= {"file", "driver", "interval_95", "residual_rms", "refused"}
    assert [each["refused"] is not None for each in data["sweeps"]] == [False, False, False, False, True, False]
    assert data["driver"] == data["sweeps"][0]["driver"]
    pairs = {frozenset(Path(each[side]).stem for side in ("left", "right")): each for each in data["pairs"]}
    assert set(pairs) == {frozenset("14"), frozenset("26")}
    for each in pairs.values():
        assert each["grade"] == "A"
        # two scatters of 0.1 % each
        assert each["impedance_percent"] == pytest.approx(0.14, abs=0.1)
    assert data["left_over"] == str(paths[2])
    # qes goes with 1/bl^2
    assert data["sweeps"][2]["outlier"]["qes"] > 40
    assert data["typical"] != str(paths[2])


def test_the_text_of_a_batch(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = [path.name for path in batch(tmp_path)]
    monkeypatch.chdir(tmp_path)  # the folder's name may be longer than a line
    done = run("characterise", *names)
    assert done.status == 0
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert "odd: 3" in done.stdout
    assert "left over: " in done.stdout
    assert "REFUSED: " in done.stdout
    assert "spread: {fs: " in done.stdout
    assert run("characterise", *names).stdout == done.stdout


def test_a_batch_has_no_second_sweep_and_no_dc(run: Run, tmp_path: Path) -> None:
    paths = batch(tmp_path)[:2]
    done = run("characterise", *paths, "--added-mass", "5 g", paths[0], "--dc", "5.6")
    assert done.status == 2
    assert len(done.stderr.splitlines()) == 2


def test_tables_and_pictures(run: Run, tmp_path: Path) -> None:
    free, heavier = two(tmp_path)
    words = ("characterise", free, "--added-mass", "5 g", heavier, "--csv", tmp_path / "csv")
    picture = tmp_path / "driver.svg"
    done = run(*words, "-o", picture)
    assert (done.status, done.stdout) == (0, "")
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    figures = {row["figure"]: row for row in rows(tmp_path / "csv" / "figures.csv")}
    assert figures["mms"]["unit"] == "g"
    assert float(figures["mms"]["low_95"]) < float(figures["mms"]["value"]) < float(figures["mms"]["high_95"])
    curve = rows(tmp_path / "csv" / "sweep-1.csv")
    assert len(curve) == 300
    right = WOOFER.free_air_impedance(2 * np.pi * np.array([float(row["frequency_hz"]) for row in curve]))
    for column, values in (("modelled_ohm", np.abs(right)), ("modelled_phase_deg", np.degrees(np.angle(right)))):
        assert [float(row[column]) for row in curve] == pytest.approx(values, rel=0.01, abs=0.3)
    assert run(*words).status == 2  # the tables are there already
    several = tmp_path / "batch.png"
    assert run("characterise", *batch(tmp_path), "-o", several, "--csv", tmp_path / "many").status == 0
    assert several.read_bytes().startswith(b"\x89PNG")
    assert [row["grade"] for row in rows(tmp_path / "many" / "pairs.csv")] == ["A", "A"]


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
