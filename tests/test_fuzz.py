"""A seeded sample of the fuzzer, its oracles seen to fail, and what it once found."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from system.findings import KitError
from system.kitfile import load_kit
from system.output import write_file
from tests import support_fuzz_running
from tests.fuzz import in_own_process
from tests.fuzz import run as run_case
from tests.support_cli import Run
from tests.support_fuzz_cases import SMALLEST, SWEEP, Case, Seed, restored, seeds, stored
from tests.support_fuzz_commands import WEIGHTS
from tests.support_fuzz_commands import case as drawn
from tests.support_fuzz_kits import BYTES, TREE, spoilt
from tests.support_fuzz_oracles import codes, complete, violations
from tests.support_fuzz_running import Ran, in_process
from tests.support_fuzz_tree import copied, read, written

SMALL = {"kit/kit.yaml": SMALLEST.encode()}
QUICK = tuple(name for name in WEIGHTS if name not in ("report", "spread", "revalue", "characterise", "buildsheet"))


def held(case: Case, how: Callable[[Case, Path], Ran] = in_process) -> Ran:
    ran, wrong = run_case(case, how)
    assert not wrong, (case.words, wrong)
    return ran


@pytest.mark.parametrize("first", range(0, 40, 10))
def test_a_few_cases(first: int) -> None:
    for number in range(first, first + 10):
        held(drawn(number, QUICK))


@pytest.mark.slow
@pytest.mark.parametrize("first", range(1000, 2000, 100))
def test_a_thousand_cases(first: int) -> None:
    for number in range(first, first + 100):
        held(drawn(number))


@pytest.mark.slow
@pytest.mark.parametrize("command", WEIGHTS)
def test_some_cases_of_every_command_are_answered(command: str) -> None:
    assert any(held(drawn(number, (command,))).status in (0, 1) for number in range(3000, 3200))


@pytest.mark.slow
def test_thirty_processes_some_of_which_are_killed() -> None:
    ended = []
    for number in range(2000, 2030):
        case, how = in_own_process(number)
        ended.append(held(case, how).killed)
    assert {"", "SIGKILL", "SIGINT"} == set(ended)


def test_a_case_is_the_same_every_time_and_comes_back_from_its_folder() -> None:
    for number in range(50):
        case = drawn(number)
        assert case == drawn(number)
        assert restored(stored(case)) == case


def test_every_command_and_every_mutation_is_drawn() -> None:
    cases = [drawn(number) for number in range(1500)]
    assert {case.command for case in cases} == set(WEIGHTS)
    assert set(TREE) | set(BYTES) <= {name for case in cases for name in case.mutations}


STARTS = [each for each in seeds() if each.light or each.name in ("example", "full")]


@pytest.mark.parametrize("seed", STARTS, ids=lambda seed: seed.name)
def test_the_kits_to_start_from_are_right_and_so_is_what_is_made_of_their_trees(seed: Seed) -> None:
    for number in range(3):
        text = written(copied(read(seed.kit)), random.Random(number))
        files = {"kit/kit.yaml": text.encode(), **{f"kit/{name}": data for name, data in seed.beside.items()}}
        assert held(Case("proofread", ("proofread", "kit/kit.yaml"), files, ())).status == 0


def test_most_mutations_change_the_kit() -> None:
    made = [spoilt(SMALLEST, random.Random(number))[0] for number in range(200)]
    assert len(set(made)) > 150


# --- each oracle sees what it is for ---

GOOD = "kit/kit.yaml:1:1: error[unknown_key]: the kit has an unknown key\n"
BAD = {  # what a run would have shown, by the kind of violation that it is
    "exception": {"raised": "Traceback ... KeyError", "status": None},
    "hang": {"raised": "timed out: SIGPROF", "status": None},
    "traceback": {"stderr": "Traceback (most recent call last):\n"},
    "exit status": {"status": 70},
    "slow": {"seconds": 60.0},
    "memory": {"memory": 3 << 30},
    "not refused": {"status": 0, "stderr": ""},
    "control character": {"stderr": "kit/kit.yaml:1:1: error[name]: \x1b[31m is no name\n"},
    "standard error": {"stderr": "UserWarning: something\n"},
    "code": {"stderr": "kit/kit.yaml:1:1: error[no_such_code]: so\n"},
    "silent refusal": {"stderr": "kit/kit.yaml:1:1: note[assumed]: air is not given\n"},
    "error answered": {"status": 0},
    "place": {"stderr": "kit/kit.yaml:400:1: error[unknown_key]: far below the end\n"},
    "encoding": {"stdout": b"\xff"},
    "no number": {"stdout": b"level nan dB\n"},
    "stray file": {"after": {"home/litter": (0o100644, 3, 1)}},
    "written though refused": {"after": {"out/result.txt": (0o100644, 3, 1)}},
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_run_is_seen(kind: str, tmp_path: Path) -> None:
    (tmp_path / "kit").mkdir()
    (tmp_path / "kit" / "kit.yaml").write_text(SMALLEST)
    case = Case("proofread", ("proofread", "kit/kit.yaml"), SMALL, (), outputs=("out/result.txt",), refused=True)
    good = Ran(2, b"", GOOD, 0.1, 1 << 20, {}, {})
    assert not violations(case, good, tmp_path)
    seen = {each.partition(":")[0] for each in violations(case, replace(good, **BAD[kind]), tmp_path)}
    assert kind in seen


@pytest.mark.parametrize(
    "text",
    ['{"a": NaN}', '{"a": 1, "a": 2}', '{"a": 1', '{"findings": []}', ""],
    ids=["NaN", "twice", "half", "findings", "none"],
)
def test_bad_json_is_seen(text: str, tmp_path: Path) -> None:
    case = Case("proofread", ("proofread", "kit/kit.yaml", "--json"), SMALL, ())
    seen = violations(case, Ran(2, text.encode(), GOOD, 0.1, 0, {}, {}), tmp_path)
    assert [each.partition(":")[0] for each in seen] == ["json"]


BROKEN = {
    "half.png": "half written", "half.pdf": "half written", "half.svg": "half written", "half.html": "half written",
    "half.txt": "half written", "marked.html": "markup", "marked.svg": "markup", "attribute.html": "markup",
    "nan.csv": "no number", "uneven.csv": "csv", "nan.txt": "no number", "latin.txt": "encoding",
}  # fmt: skip
CONTENT = {
    "half.png": b"\x89PNG\r\n", "half.pdf": b"%PDF-1.4\n", "half.svg": b"<svg><g></g>\n",
    "half.html": b"<html><body></body>",
    "half.txt": b"one line\nand hal", "marked.html": b"<html><p><zqmark></p></html>",
    "marked.svg": b'<svg xmlns="http://www.w3.org/2000/svg"><zqmark/></svg>\n',
    "attribute.html": b'<html><p title="" zqmark="1"></p></html>', "nan.csv": b"a,b\n1,nan\n",
    "uneven.csv": b"a,b\n1\n", "nan.txt": b"lowest nan ohm\n", "latin.txt": b"\xe4\n",
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_a_bad_file_is_seen(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(CONTENT[name])
    seen = list(complete(Case("predict", ("predict",), {}, ()), tmp_path / name))
    assert {each.partition(":")[0] for each in seen} == {BROKEN[name]}


def test_a_program_that_hangs_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    def endless(*_: object, **__: object) -> None:
        while True:
            pass

    monkeypatch.setattr(support_fuzz_running, "LONGEST", 0.2)
    monkeypatch.setattr(support_fuzz_running, "kitwright", endless)
    _, wrong = run_case(Case("proofread", ("proofread", "kit/kit.yaml"), SMALL, ()), in_process)
    assert [each.partition(":")[0] for each in wrong] == ["hang"]


# --- what it once found ---


def test_a_word_longer_than_a_file_name_is_no_kit(run: Run) -> None:
    for words in (["a" * 5000], ["explain", "a" * 5000], ["symptom", "a" * 5000], ["symptom", "thin", "a" * 5000]):
        done = run(*words)
        assert (done.status, "error[" in done.stderr) == (2, True)


LONG_PATHS = [".".join(["a"] * 3000) + "=1", "cabinets.box.chambers." + "9" * 5000 + "=1", "kit=\udcff"]


@pytest.mark.parametrize("setting", LONG_PATHS, ids=["deep", "digits", "half a character"])
def test_a_setting_that_no_kit_could_hold_is_refused(setting: str) -> None:
    assert held(Case("proofread", ("proofread", "kit/kit.yaml", "--set", setting, "--json"), SMALL, ())).status == 2


@pytest.mark.parametrize("typed", ["\udcff", "\x1b[31m"])
def test_a_substitute_that_no_kit_could_hold_is_refused(typed: str) -> None:
    ran = held(Case("swap", ("swap", "kit/kit.yaml", "R1", "--with", typed), _two_way(), ()))
    assert (ran.status, codes(ran)) == (2, ["yaml_syntax"])


@pytest.mark.parametrize("escape", ["\\ud800", "\\x1b[31m", "\\a", "\\x7f", "\\x9b", "\\0"])
def test_an_escape_is_no_way_round_what_a_text_file_may_hold(escape: str, tmp_path: Path) -> None:
    kit = tmp_path / "kit.yaml"
    for line in (f'kit: "a{escape}b"', f'"kit{escape}": a'):
        kit.write_text(SMALLEST.replace("kit: My first kit", line))
        with pytest.raises(KitError) as caught:
            load_kit(kit)
        assert [(each.code, each.line) for each in caught.value.findings] == [("yaml_syntax", 2)]


def test_what_is_said_cannot_steer_a_terminal_and_stays_on_its_line(run: Run) -> None:
    done = run("explain", "a\x1b[31m\nb:1:1: error[usage]: so")
    assert done.status == 2
    assert len(done.stderr.splitlines()) == 1
    assert "\\x1b[31m\\n" in done.stderr


@pytest.mark.slow
def test_a_picture_with_a_character_that_no_font_has_says_nothing_of_ours(run: Run, tmp_path: Path) -> None:
    (tmp_path / "kit.yaml").write_text(SMALLEST)
    done = run("buildsheet", tmp_path / "kit.yaml", "--job", "\U0001f50a", "-o", tmp_path / "sheet.pdf")
    assert (done.status, "Glyph" in done.stderr) == (0, False)


def test_a_picture_of_no_curve_is_refused() -> None:
    # this microphone's table holds nothing that can be compared
    files = {**SMALL, "mic.txt": (SWEEP.parent / "dome-response.txt").read_bytes()}
    words = ("verify", "kit/kit.yaml", "--microphone", "mic.txt", "-o", "out/x.pdf")
    ran = held(Case("verify", words, files, (), outputs=("out/x.pdf",)))
    assert (ran.status, "a picture of no curve" in ran.stderr) == (2, True)


def _two_way(**other: str) -> dict[str, bytes]:
    """The sealed kit of two ways, with some values of keys exchanged for others."""
    seed = next(each for each in STARTS if each.name == "sealed")
    beside = {f"kit/{name}": data for name, data in seed.beside.items()}
    kit = seed.kit
    for key, value in other.items():
        kit, times = re.subn(rf"\b{key}: (\[.*?\]|\w+)", f"{key}: {value}", kit, count=1)
        assert times == 1
    return {"kit/kit.yaml": kit.encode(), **beside}


def test_a_place_on_no_way_to_a_woofer_serves_none() -> None:
    # both drivers hang on the other branch, so that no direct current flows through the place
    words = ("overview", "kit/kit.yaml", "--set", "crossover.hookup.tweeter.plus=100")
    files = _two_way(role="woofer")
    assert held(Case("overview", words, files, ())).status == 0


def test_no_values_are_looked_for_where_the_input_is_open() -> None:
    files = _two_way(input="[in, nowhere]", plus="elsewhere")
    done = held(Case("revalue", ("revalue", "kit/kit.yaml", "--json"), files, ()))
    assert (done.status, "error[revalue_impossible]" in done.stderr) == (2, True)


OPEN = SMALLEST.replace("input: [in,", "input: [nowhere,").replace("box}", "box, reason: to see}")


@pytest.mark.parametrize("command", ["predict", "protect", "compare", "overview", "expect"])
def test_an_infinite_impedance_is_never_printed_as_a_number(command: str) -> None:
    said = held(Case(command, (command, "kit/kit.yaml"), {"kit/kit.yaml": OPEN.encode()}, ()))
    assert said.status == 0
    assert b" inf" not in said.stdout


def test_a_variant_that_draws_no_current_is_held_against_no_sweep() -> None:
    files = {"kit/kit.yaml": OPEN.encode(), "sweep.txt": SWEEP.read_bytes()}
    ran = held(Case("verify", ("verify", "kit/kit.yaml", "--sweep", "sweep.txt", "--json"), files, ()))
    assert (ran.status, codes(ran)) == (2, ["no_current"])


def test_a_kit_of_a_hundred_thousand_duplicate_keys_is_refused_at_once() -> None:
    files = {"kit/kit.yaml": (SMALLEST + "x: y\n" * 100_000).encode()}
    ran = held(Case("proofread", ("proofread", "kit/kit.yaml", "--json"), files, ()))
    assert codes(ran) == ["yaml_alias"]


def test_only_a_plain_file_is_replaced(tmp_path: Path) -> None:
    pipe, folder, dead = tmp_path / "pipe", tmp_path / "folder", tmp_path / "dead"
    os.mkfifo(pipe)
    folder.mkdir()
    dead.symlink_to(tmp_path / "nothing")
    for path, force in ((pipe, True), (folder, True), (dead, False)):
        before = os.lstat(path).st_mode
        with pytest.raises(KitError):
            write_file(path, "text", force)
        assert os.lstat(path).st_mode == before


@pytest.mark.parametrize("step", ["open", "fsync", "replace"])
def test_an_interrupt_leaves_the_old_file_and_nothing_beside_it(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    def opened_and_interrupted(path: Path, mode: str) -> None:
        open(path, mode).close()
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        if step == "open":
            patched.setattr(Path, "open", opened_and_interrupted)
        else:
            patched.setattr(os, step, interrupted)
        with pytest.raises(KeyboardInterrupt):
            write_file(old, "new", True)
    assert [file.read_text() for file in tmp_path.iterdir()] == ["old"]


def test_outputs_that_cannot_all_be_written_are_refused_before_the_first(run: Run, tmp_path: Path) -> None:
    kit, folder = tmp_path / "kit.yaml", tmp_path / "csv"
    kit.write_text(SMALLEST)
    folder.mkdir()
    (folder / "first_impedance.txt").write_text("old")
    (tmp_path / "old.txt").write_text("old")
    assert run("predict", kit, "--csv", folder, "--points", "9").status == 2
    assert run("predict", kit, "--csv", tmp_path / "new", "-o", tmp_path / "old.txt", "--points", "9").status == 2
    for output in (tmp_path / "nowhere" / "x.txt", tmp_path / ("a" * 300 + ".txt")):
        assert run("predict", kit, "--csv", tmp_path / "new", "-o", output, "--points", "9").status == 2
    assert [file.name for file in folder.iterdir()] == ["first_impedance.txt"]
    assert not (tmp_path / "new").exists()
