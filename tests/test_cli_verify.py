"""`verify` as a user meets it: files in, the result, JSON, exit status, tables, pictures, and what is refused."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.support_bench import MISTAKES, microphone_file, sweep_file
from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT, finite, program

WORDS = ("verify", MARSHLIGHT, "--variant", "wall")
RIGHT_READINGS = (
    "# wall, in the evening\nin common connected open\ncommon t2 connected 1.2\nwoofer_a+ woofer_a- apart 5.9\n"
)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    sweep_file(folder / "right.txt", fs=1.06)
    sweep_file(folder / "left.txt", MISTAKES["120 uF open"], fs=1.06, seed=2)
    microphone_file(folder / "heard.txt")
    microphone_file(folder / "turned.txt", MISTAKES["tweeter turned"])
    (folder / "readings.txt").write_text(RIGHT_READINGS, encoding="utf-8")
    return folder


def test_a_speaker_that_is_right(run: Run, files: Path) -> None:
    words = (*WORDS, "--readings", files / "readings.txt", "--sweep", files / "right.txt")
    words = (*words, "--microphone", files / "heard.txt")
    data = document(run(*words, "--json"))
    assert finite(data)
    assert (data["variant"], data["result"]) == ("wall", "pass")
    results = {name: test["result"] for name, test in data["tests"].items()}
    assert results == {"readings": "pass", "sweep": "pass", "microphone": "pass", "against": "not_tested"}
    assert set(data["worst"]) >= {"hz", "measured_ohm", "expected_ohm", "percent"}
    assert data["worst"]["percent"] == pytest.approx(
        100 * (data["worst"]["measured_ohm"] / data["worst"]["expected_ohm"] - 1)
    )
    assert data["likely"][0]["fault"] == "none"
    assert data["proving"] == []
    assert [each["result"] for each in data["readings"]] == ["pass", "pass", "pass"]
    assert data["readings"][0]["ohm"] is None  # open


def test_a_speaker_that_is_wrong(run: Run, files: Path) -> None:
    done = run(*WORDS, "--sweep", files / "left.txt", "--json")
    data = document(done, 1)
    assert finite(data)
    assert data["result"] == "fail"
    assert data["right_probability"] < 0.05
    probabilities = [each["probability"] for each in data["likely"]]
    assert probabilities == sorted(probabilities, reverse=True)
    first = data["likely"][0]
    assert {"fault", "place", "probability", "form", "group"} <= first.keys()
    assert (first["place"], first["group"]) == ("C1", 1)
    assert data["suspect"]["place"] == "C1"
    assert (data["proving"][0]["kind"], data["proving"][0]["solder"]) == ("look", False)
    assert (data["proving"][-1]["kind"], data["proving"][-1]["solder"]) == ("lift_leg", True)
    assert data["proving"][0]["expected"][0]["right"] is True
    assert {"C1: 100 uF and 120 uF side by side"} == {
        each["says"] for each in data["proving"][0]["expected"] if each["right"]
    }
    hidden = {(each["faults"][0]["fault"], each["faults"][0]["place"]) for each in data["cannot_show"]}
    assert ("driver_reversed", "tweeter") in hidden


@pytest.mark.slow
def test_the_text_says_what_to_do_before_how_likely(run: Run, files: Path) -> None:
    done = run(
        *WORDS, "--sweep", files / "left.txt", "--against", files / "right.txt", "--microphone", files / "heard.txt"
    )
    assert done.status == 1
    lines = done.stdout.splitlines()
    assert all(len(line) <= 100 for line in lines)
    text = " ".join(done.stdout.split())
    order = [
        "FAIL: Marshlight two-way, wall",
        "worst deviation: ",
        "what to do first",
        "read what is printed on C1",
        "how likely",
        "drivers as they fit",
        "way round, by the microphone",
        "if that one is right, this one has",
        "what no sweep of this variant shows",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "%" not in text[text.index("what to do first") : text.index("how likely")]
    assert "capacitors empty" in text
    # the microphone has told the way round of the tweeter: nothing left to say of it
    assert "tweeter the wrong way round:" not in text[text.index("what no sweep") :]


def test_the_microphone_finds_a_tweeter_turned(run: Run, files: Path) -> None:
    words = (*WORDS, "--sweep", files / "right.txt", "--microphone", files / "turned.txt")
    data = document(run(*words, "--json"), 1)
    assert (data["tests"]["sweep"]["result"], data["tests"]["microphone"]["result"]) == ("pass", "fail")
    (group,) = data["microphone"]["groups"]
    assert (group["drivers"], group["verdict"]) == (["tweeter"], "other_way_round")
    assert group["misfit_other_way_round_db"] < group["misfit_as_built_db"]
    top = {(each["fault"], each["place"]) for each in data["likely"][:2]}
    assert ("driver_reversed", "tweeter") in top
    assert any("never a cell on a tweeter" in each for proof in data["proving"] for each in proof["cautions"])


def test_readings_that_fail(run: Run, tmp_path: Path) -> None:
    readings = tmp_path / "r.txt"
    readings.write_text("in common connected 3.2\ncommon t2 connected 1.2 ohm\n", encoding="utf-8")
    done = run(*WORDS, "--readings", readings, "--json", "--csv", tmp_path / "tables")
    data = document(done, 1)
    assert [each["result"] for each in data["readings"]] == ["fail", "pass"]
    assert data["worst"] is None
    assert data["likely"][0]["place"] in ("C1", "tall")
    text = (tmp_path / "tables" / "readings.csv").read_text(encoding="utf-8").splitlines()
    assert text[1].startswith("in,common,connected,,,rises_to_open,3.2,fail")


@pytest.mark.slow
def test_tables_and_pictures(run: Run, files: Path, tmp_path: Path) -> None:
    folder = tmp_path / "tables"
    words = (*WORDS, "--sweep", files / "left.txt", "--against", files / "right.txt")
    words = (*words, "--microphone", files / "heard.txt", "--readings", files / "readings.txt")
    done = run(*words, "-o", tmp_path / "v.svg", "--csv", folder)
    assert done.status == 1
    assert done.stdout == ""
    assert (tmp_path / "v.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert {path.name for path in folder.iterdir()} == {
        "readings.csv", "likely.csv", "sweep.csv", "microphone.csv", "against.csv", "graphs"
    }  # fmt: skip
    rows = list(csv.DictReader((folder / "sweep.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 250
    assert float(rows[0]["copies_from_ohm"]) < float(rows[0]["nominal_ohm"]) < float(rows[0]["copies_to_ohm"])


@pytest.mark.slow
def test_what_little_was_measured_is_shown(run: Run, files: Path, tmp_path: Path) -> None:
    """Texts and pictures without a sweep; a file that is there already is not replaced."""
    for few, status in (("readings", 0), ("heard", 0), ("turned", 1)):
        option = "--readings" if few == "readings" else "--microphone"
        picture, words = tmp_path / f"{few}.svg", (*WORDS, option, files / f"{few}.txt")
        assert run(*words, "-o", picture).status == status
        assert picture.exists()
        assert run(*words, "-o", picture).status == 2
        done = run(*words)
        assert done.status == status
        assert all(len(line) <= 100 for line in done.stdout.splitlines())
        assert done.stdout.startswith("FAIL: " if status else "pass: ")


def test_the_only_variant_may_be_left_out(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path, parts="{R: {resistor: 2 ohm, between: [in, a]}}",
                    hookup="{woofer: {driver: woofer, plus: a, minus: common}}")  # fmt: skip
    readings = tmp_path / "r.txt"
    readings.write_text("in common connected 7.6\n", encoding="utf-8")  # 2 + 5.6 ohm
    data = document(run("verify", kit, "--readings", readings, "--json"))
    assert (data["variant"], data["result"]) == ("v", "pass")
    # what if: another resistor was meant
    data = document(
        run("verify", kit, "--readings", readings, "--set", "crossover.parts.R.resistor=4 ohm", "--json"), 1
    )
    assert data["result"] == "fail"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((*WORDS,), "nothing that was measured"),
        ((*WORDS, "--against", "x.txt", "--readings", "r.txt"), "--against without --sweep"),
        (("verify", MARSHLIGHT, "--sweep", "x.txt"), "a finished speaker is one variant"),
        (("verify", MARSHLIGHT, "--variant", "wall", "--variant", "tall", "--sweep", "x"), "a finished speaker is one"),
        (("verify", MARSHLIGHT, "--variant", "none", "--sweep", "x.txt"), "centre, wall, tall"),
    ],
)
def test_what_is_refused(run: Run, words: tuple[object, ...], said: str) -> None:
    done = run(*words)
    assert done.status == 2
    assert said in done.stderr


def test_all_files_that_are_wrong_are_told_in_one_run(run: Run, tmp_path: Path) -> None:
    (tmp_path / "r.txt").write_text("in nowhere connected 3\n", encoding="utf-8")
    (tmp_path / "s.txt").write_text("20 6,5 0\n30 7 0\n", encoding="utf-8")
    done = run(
        *WORDS, "--readings", tmp_path / "r.txt", "--sweep", tmp_path / "s.txt", "--microphone", tmp_path / "m.txt"
    )
    assert done.status == 2
    for file in ("r.txt:1", "s.txt:1", "m.txt"):
        assert file in done.stderr
    assert done.stdout == ""


def test_a_sweep_that_is_too_short(run: Run, tmp_path: Path) -> None:
    short = tmp_path / "s.txt"
    short.write_text("".join(f"{100 + f} {8 + f / 100} 3\n" for f in range(40)), encoding="utf-8")
    done = run(*WORDS, "--sweep", short)
    assert done.status == 2
    assert "sweep_refused" in done.stderr
    assert "octaves" in done.stderr


@pytest.mark.slow
def test_the_real_program(files: Path) -> None:
    """In a process of its own, with every warning an error."""
    done = program(*WORDS, "--sweep", files / "left.txt")
    assert done.returncode == 1, done.stderr
    assert done.stdout.startswith("FAIL: Marshlight two-way, wall")
