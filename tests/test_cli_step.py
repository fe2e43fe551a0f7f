"""The step in `predict` and variant against variant in `compare`, as a user meets them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT

FEW = ("--points", 5)
STEP = {"needed_db", "step_db", "correction_db", "target_db", "scatter_db", "points", "low_hz", "high_hz"}
STEP |= {"low_gain_db", "high_gain_db", "frequency_hz", "placement_db", "board_db", "set_by"}
TRIED = {"value", "needed_db", "correction_db", "level_change_db", "lowest_impedance_ohm"}
MATCH = {"level_db", "tilt_db_per_octave", "low_db", "middle_db", "high_db", "rms_db", "largest_db", "largest_hz"}


def test_predict_tells_the_step_of_each_variant(run: Run) -> None:
    variants = document(run("predict", MARSHLIGHT, "--json", *FEW))["variants"]
    for variant in variants.values():
        step = variant["step"]
        assert set(step) == STEP
        assert step["needed_db"] == pytest.approx(step["step_db"] - step["correction_db"] + step["target_db"])
        assert step["step_db"] == pytest.approx(step["high_gain_db"] - step["low_gain_db"])
        assert len(step["frequency_hz"]) == len(step["placement_db"]) == len(step["board_db"])
        by = step["set_by"]
        assert (by["ref"], by["kind"]) == ("L1", "coil")
        assert all(set(each) == TRIED for each in (by["best"], *by["tried"]))
        assert by["best"] in by["tried"]
        own = next(each for each in by["tried"] if each["value"] == by["value"])
        assert own["level_change_db"] == 0
        assert own["needed_db"] == pytest.approx(step["needed_db"], abs=1e-9)
        assert own["lowest_impedance_ohm"] == pytest.approx(variant["summary"]["lowest_impedance_ohm"])
    assert variants["centre"]["step"]["step_db"] == 0


def test_predict_says_it_in_a_sentence(run: Run) -> None:
    words = " ".join(run("predict", MARSHLIGHT, "--variant", "centre").stdout.split())
    assert "step of the baffle: as placed, 107 to 300 Hz loses nothing against 1 to 4 kHz" in words
    assert "L1 0.47 mH instead of 0.68 mH leaves" in words
    done = run("predict", MARSHLIGHT, "--variant", "wall", "--set", "revalue.target={tilt: -1 dB}")
    assert "the target asks for +3.5 dB: still needs +" in " ".join(done.stdout.split())
    lines = done.stdout.splitlines()
    first = next(i for i, line in enumerate(lines) if "step of the baffle" in line)
    assert max(map(len, lines[first : first + 3])) <= 100


def test_predict_draws_it(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "p.svg"
    assert run("predict", MARSHLIGHT, "--variant", "wall", "-o", target, "--points", 30).status == 0
    assert target.stat().st_size > 10_000


def test_predict_without_a_tweeter_judges_no_step(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    step = document(run("predict", kit, "--json", *FEW))["variants"]["v"]["step"]
    assert step == {"needed_db": None, "not_judged": "only woofers are hooked up, so nothing is above the step"}
    assert "step of the baffle: not judged, only woofers" in run("predict", kit).stdout
    assert run("predict", kit, "-o", tmp_path / "p.png", *FEW).status == 0


def test_compare_matches_all_with_the_first(run: Run) -> None:
    match = document(run("compare", MARSHLIGHT, "--json", *FEW))["match"]
    assert match["against"] == "centre"
    assert list(match["variants"]) == ["wall", "tall"]
    for each in match["variants"].values():
        places = [each["listening_point"], *each["seats"].values()]
        assert list(each["seats"]) == ["left", "right"]  # the centre's; tall has none of its own
        for place in places:
            assert set(place) == MATCH | {"third_octave_db"}
            assert len(place["third_octave_db"]) == len(match["third_octave_hz"]) == 17
            assert place["middle_db"] == place["level_db"]
        assert each["worst_rms_db"] == max(place["rms_db"] for place in places)


def test_compare_against_another_in_words(run: Run) -> None:
    done = run("compare", MARSHLIGHT, "--against", "wall", "--variant", "wall", "--variant", "centre")
    match = document(
        run("compare", MARSHLIGHT, "--against", "wall", "--variant", "wall", "--variant", "centre", "--json", *FEW)
    )["match"]["variants"]["centre"]
    rms = match["listening_point"]["rms_db"]
    assert f"centre matches wall within {rms:.1f} dB rms at the listening point" in " ".join(done.stdout.split())
    assert f"{match['listening_point']['level_db']:+.1f}" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 100
    wrong = run("compare", MARSHLIGHT, "--against", "centr")
    assert wrong.status == 2
    assert "--against centr; one of centre, wall, tall" in wrong.stderr


def test_compare_of_one_variant_and_of_two_kits(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    assert "matches" not in run("compare", kit).stdout
    assert document(run("compare", kit, "--json", *FEW))["match"]["variants"] == {}
    other = tmp_path / "other.yaml"
    other.write_text(kit.read_text(encoding="utf-8"), encoding="utf-8")
    match = document(run("compare", kit, other, "--json", "--against", "other.v", *FEW))["match"]
    assert match["against"] == "other.v"
    assert match["variants"]["kit.v"]["worst_rms_db"] == 0
    assert match["variants"]["kit.v"]["seats"] == {}
