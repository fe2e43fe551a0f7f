"""Commands on the example kit, all three variants, as whole processes with their most memory, run in turn.

Beside a process that only imports numpy and scipy.linalg. `revalue` is run once. The spread is that of as many copies a
variant as the command draws by itself; `verify` is given an impedance sweep that its variant passes.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from benchmarks.kits import EXAMPLE, example
from benchmarks.rows import Row
from benchmarks.timing import HOME, kitwright, processes

TITLE = "Commands, as whole processes"
REFERENCE = "import numpy, scipy.linalg"
SWEEP = HOME / "docs" / "examples" / "wall-right.txt"
COPIES = 10_000
ONCE = ("revalue",)
ENDS = (0, 1)  # 1 is an answer: done, and a check failed

COMMANDS = {
    "predict": ("--json",),
    "limits": ("--json",),
    "protect": ("--json",),
    "expect": ("--json",),
    "verify": ("--json", "--variant", "wall", "--sweep", str(SWEEP)),
    "spread": ("--json", "--builds", str(COPIES), "--at-least", "0"),
    "revalue": ("--json",),
    "report": (),
}


@dataclass(frozen=True, slots=True)
class Sizes:
    commands: tuple[str, ...] = tuple(COMMANDS)
    repeats: int = 3


FULL, SMALL = Sizes(), Sizes(("expect",), 1)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """The reference first."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        written = {"report": ("-o", str(page), "--force")}
        asked = {
            name: kitwright(name, str(EXAMPLE), *COMMANDS[name], *written.get(name, ())) for name in sizes.commands
        }
        often = {REFERENCE: [sys.executable, "-c", REFERENCE]}
        often |= {name: command for name, command in asked.items() if name not in ONCE}
        found = processes(often, sizes.repeats, ENDS)
        found |= processes({name: command for name, command in asked.items() if name in ONCE}, 1, ENDS)
        kilobytes = page.stat().st_size / 1e3 if page.exists() else 0.0
    notes = {"report": f"a page of {kilobytes:.0f} kB"}
    if "spread" in found:
        copies = COPIES * len(example().variants)
        notes["spread"] = f"{copies} copies: {copies / found['spread'].seconds:.0f} a second"
    beside = found.pop(REFERENCE)
    made = [Row(REFERENCE, beside.seconds, beside.mebibytes)]
    for name in sizes.commands:
        run = found[name]
        words = " ".join("FILE" if word == str(SWEEP) else word for word in (name, *COMMANDS[name]))
        ratio = run.seconds / beside.seconds
        made.append(Row(words, run.seconds, run.mebibytes, REFERENCE, ratio, note=notes.get(name, "")))
    return made
