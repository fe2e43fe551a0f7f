"""What goes out comes in again: a predicted response and impedance as tables, read back as those of a driver.

A driver in no chamber is its table throughout, so a kit that names the tables must predict them: both ends of the way
are ours, the table between is plain text that numpy reads as it stands.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from system.commandline import GROUPS
from tests.support_cli import kitwright
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT

GRID = ("--from", 20, "--to", 20000, "--points", 120)


def variant(kit: Path, name: str, *words: object) -> dict[str, list[float]]:
    done = kitwright("predict", kit, "--variant", name, "--json", *GRID, *words)
    assert done.returncode == 0, done.stderr
    found: dict[str, list[float]] = json.loads(done.stdout)["variants"][name]
    return found


def test_a_prediction_is_read_back_as_a_driver(tmp_path: Path) -> None:
    there = variant(MARSHLIGHT, "tall", "--csv", tmp_path, "--volts", 2)
    response, impedance = tmp_path / "tall_response.txt", tmp_path / "tall_impedance.txt"
    # plain text as any program reads it
    frequency, level, phase = np.loadtxt(response, unpack=True)
    assert level == pytest.approx(there["level_db"], abs=1e-12)
    assert phase == pytest.approx(there["phase_deg"], abs=1e-12)
    assert np.loadtxt(impedance)[:, 1] == pytest.approx(there["impedance_ohm"], rel=1e-12)
    assert frequency[[0, -1]] == pytest.approx([20, 20000])

    driver = (
        "{finished: {re: 3 ohm, impedance: tall_impedance.txt, response: {file: tall_response.txt, volts: 2 V,"
        " distance: 3 m, mounted: this_cabinet, phase: measured}}}"
    )
    kit = write_kit(
        tmp_path,
        drivers=driver,
        hookup="{finished: {driver: finished, plus: in, minus: common}}",
        more="listening: {distance: 3 m}",
    )
    back = variant(kit, "v", "--volts", 2)
    assert back["level_db"] == pytest.approx(there["level_db"], abs=1e-6)
    assert back["impedance_ohm"] == pytest.approx(there["impedance_ohm"], rel=1e-6)
    for key in ("phase_deg", "impedance_phase_deg"):
        turned = np.radians(np.subtract(back[key], there[key]))
        assert np.abs(np.angle(np.exp(1j * turned))).max() < 1e-6


def test_what_no_kit_could_read_is_not_written_and_told(tmp_path: Path) -> None:
    done = kitwright("predict", write_kit(tmp_path), "--csv", tmp_path / "few", "--points", 3)
    assert done.returncode == 0
    assert (tmp_path / "few" / "v.csv").exists()
    assert not [*(tmp_path / "few").glob("*.txt")]
    assert "v_response.txt is not written, since no kit could read it: the table ends after 3 rows" in done.stderr
    silent = write_kit(
        tmp_path,
        parts="{C1: {capacitor: 220 uF, between: [in, w]}}",
        hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
        variants="{v: {cabinet: box, reason: on the bench, parts: {C1: omit}}}",
    )
    done = kitwright("predict", silent, "--csv", tmp_path / "silent", "--points", 9)
    assert done.returncode == 0
    assert "v_impedance.txt is not written" in done.stderr


# commands that have no --csv, and why
WITHOUT_CSV = {
    "start": "writes a kit file",
    "proofread": "says what is wrong; --json has it as data",
    "schema": "is JSON",
    "explain": "is prose",
    "buildsheet": "is a page to print; its lists are those of parts",
    "report": "is a page to print; its curves are those of predict and limits",
    "symptom": "is a list of checks; --json has it as data",
}


def test_every_command_with_figures_writes_csv() -> None:
    for names in GROUPS.values():
        for name in names:
            said = kitwright(name, "--help").stdout
            assert ("--csv" in said) is (name not in WITHOUT_CSV), name
