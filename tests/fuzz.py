"""Wrong kits, tables and command lines by the thousand: `python -m tests.fuzz --seed N --cases 19000 --processes 1000`.

Every case goes through the program's entry point, most in this process and the given number each in one of their own,
some of which are killed while they write. What must hold of each is in `tests.support_fuzz_oracles`. A violation puts
its case into a folder, from which `--replay FOLDER` runs it again.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.support_fuzz_cases import Case, restored, stored
from tests.support_fuzz_commands import case as drawn
from tests.support_fuzz_oracles import codes, violations
from tests.support_fuzz_running import Ran, as_process, folder_of, in_process

SPACING = 10_000_000  # between the numbers of the cases of two seeds
KILLED = 0.4  # of the processes
WRITERS = (  # command lines that write, for the processes that are killed
    ("predict", "kit/kit.yaml", "--points", "40", "--csv", "out/csv"),
    ("predict", "kit/kit.yaml", "--points", "40", "--json", "-o", "out/result.json"),
    ("predict", "kit/kit.yaml", "--points", "40", "-o", "out/result.svg"),
    ("parts", "kit/kit.yaml", "-o", "out/result.txt", "--csv", "out/csv"),
    ("expect", "kit/kit.yaml", "--points", "40", "-o", "out/result.png", "--csv", "out/csv"),
    ("start", "-o", "out/result.yaml"),
)


@dataclass(slots=True)
class Tally:
    """Outcomes counted: per command, per mutation, per code; and the violations."""

    commands: dict[str, Counter[str]] = field(default_factory=dict)
    mutations: dict[str, Counter[str]] = field(default_factory=dict)
    codes: Counter[str] = field(default_factory=Counter)
    violations: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    memory: int = 0
    slowest: dict[str, float] = field(default_factory=dict)

    def count(self, case: Case, ran: Ran, wrong: list[str]) -> None:
        outcome = "violation" if wrong else f"killed {ran.killed}" if ran.killed else str(ran.status)
        self.commands.setdefault(case.command, Counter())[outcome] += 1
        for name in set(case.mutations) or {"none"}:
            self.mutations.setdefault(name, Counter())[outcome] += 1
        if ran.status == 2:
            self.codes.update(set(codes(ran)))
        self.violations.update({each.partition(":")[0] for each in wrong})
        self.seconds += ran.seconds
        self.memory = max(self.memory, ran.memory)
        self.slowest[case.command] = max(self.slowest.get(case.command, 0.0), ran.seconds)

    def table(self) -> str:
        outcomes = ["0", "1", "2", "killed SIGKILL", "killed SIGINT", "violation"]
        shown = {"0": "answered", "1": "failed", "2": "refused"}
        head = "".join(f"{shown.get(each, each):>16}" for each in outcomes)
        lines = []
        for title, rows in (("command", self.commands), ("mutation", self.mutations)):
            lines += [f"{title:<18}{head}"]
            lines += [
                f"{name:<18}" + "".join(f"{row[each]:>16}" for each in outcomes) for name, row in sorted(rows.items())
            ]
            if rows is self.commands:
                whole = sum(rows.values(), Counter())
                lines += [f"{'all':<18}" + "".join(f"{whole[each]:>16}" for each in outcomes)]
            lines += [""]
        lines += ["refused by code, in how many cases:"]
        lines += [f"  {code:<40}{number:>8}" for code, number in self.codes.most_common()]
        lines += ["", f"slowest, s: {', '.join(f'{name} {most:.1f}' for name, most in sorted(self.slowest.items()))}"]
        lines += [f"{self.seconds:.0f} s in the program, {self.memory >> 20} MiB at most"]
        lines += [f"VIOLATIONS: {dict(self.violations) or 'none'}"]
        return "\n".join(lines)


def run(case: Case, how: Callable[[Case, Path], Ran]) -> tuple[Ran, list[str]]:
    """One case in a folder of its own, and its violations."""
    with folder_of(case) as folder:
        ran = how(case, folder)
        return ran, violations(case, ran, folder)


def keep(case: Case, wrong: list[str], ran: Ran, folder: Path) -> None:
    """The case, to be run again."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "case.json").write_text(stored(case))
    said = [*wrong, "", f"words: {case.words!r}", f"mutations: {case.mutations}", f"status: {ran.status}", ran.stderr]
    text = "\n".join([*said, ran.stdout[:5000].decode("utf-8", "replace")])
    (folder / "what.txt").write_text(text, encoding="utf-8", errors="backslashreplace")


def in_own_process(number: int) -> tuple[Case, Callable[[Case, Path], Ran]]:
    """The case of a process, and how it is run: to its end, or killed while it writes."""
    chance = random.Random(f"process {number}")
    case = drawn(number)
    while not all(map(_possible, case.words)):
        number += 1
        case = drawn(number)
    if chance.random() > KILLED:
        return case, as_process
    case = _writer(case, chance)
    by = chance.choice([signal.SIGKILL, signal.SIGINT])
    when = chance.choice([-1.0, -1.0, chance.uniform(0.0, 1.5), chance.uniform(0.0, 4.0)])
    return case, lambda case, folder: as_process(case, folder, by, when)


def _possible(word: str) -> bool:
    """Whether a command line can hold the word."""
    try:
        return b"\0" not in os.fsencode(word)
    except UnicodeEncodeError:
        return False


def _writer(case: Case, chance: random.Random) -> Case:
    """A case that writes its outputs, perhaps over old ones, from a kit that is right."""
    from tests.support_fuzz_cases import seeds

    seed = chance.choice([each for each in seeds() if each.light])
    words = chance.choice(WRITERS)
    files = {"kit/kit.yaml": seed.kit.encode(), **{f"kit/{name}": data for name, data in seed.beside.items()}}
    outputs = tuple(word for word in words if word.startswith("out/"))
    if chance.random() < 0.5:
        words = (*words, "--force")
        files |= {name: b"old\n" for name in outputs if name != "out/csv"}
        files |= {f"out/csv/{name}": b"old\n" for name in ("one.csv", "first.csv")} if "out/csv" in outputs else {}
    return Case(words[0], words, files, ("killed",), outputs=outputs)


def _all(options: argparse.Namespace) -> Iterator[tuple[Case, Callable[[Case, Path], Ran], str]]:
    first = options.seed * SPACING
    only = tuple(options.command or ())
    for number in range(first + options.start, first + options.cases):
        yield drawn(number, only), in_process, f"{number}"
    for number in range(first + options.cases, first + options.cases + options.processes):
        case, how = in_own_process(number)
        yield case, how, f"{number}-process"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--cases", type=int, default=19_000)
    parser.add_argument("--processes", type=int, default=1000)
    parser.add_argument("--start", type=int, default=0, help="leave this many cases out")
    parser.add_argument("--command", action="append", help="only this command, in this process; may be given again")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "kitwright-violations")
    parser.add_argument("--replay", type=Path, metavar="FOLDER")
    options = parser.parse_args()
    if options.replay:
        return _replay(options.replay)
    options.keep = options.keep.absolute()
    tally, begun = Tally(), time.monotonic()
    for done, (case, how, name) in enumerate(_all(options), 1):
        ran, wrong = run(case, how)
        tally.count(case, ran, wrong)
        if wrong:
            keep(case, wrong, ran, options.keep / name)
            print(f"{name}: {case.command}: {wrong[0][:240]!r}", file=sys.stderr, flush=True)
        if done % 250 == 0:
            options.keep.mkdir(parents=True, exist_ok=True)
            (options.keep / "table.txt").write_text(tally.table())
            seen = sum(tally.violations.values())
            print(f"{done} cases, {time.monotonic() - begun:.0f} s, {seen} violations", file=sys.stderr, flush=True)
    print(tally.table())
    return 1 if tally.violations else 0


def _replay(folder: Path) -> int:
    case = restored((folder / "case.json").read_text())
    ran, wrong = run(case, as_process if folder.name.endswith("process") else in_process)
    print(f"words: {case.words!r}\nstatus: {ran.status}\n{ran.stderr}\n{ran.stdout[:3000]!r}\n{ran.raised}")
    print("\n".join(wrong) or "no violation")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
