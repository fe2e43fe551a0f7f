"""Whole processes, from their start to their end, each run in turn with all others.

The references only import libraries: numpy as the common measure, and beside each command those which it cannot do
without. The bench kit has drivers and a network but no baffle, as `start --smallest` writes it. Of the example kit,
0.4 s are allowed on top for each cabinet and listening point that differ. pydantic loads what it is asked for, so that
importing it is less than using it.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from benchmarks.kits import EXAMPLE, places_heard
from benchmarks.rows import Row
from benchmarks.timing import kitwright, process, processes
from system.kitfile import load_kit

TITLE = "Start-up, as whole processes"
A_PLACE = 0.4  # s for each cabinet and listening point
IMPORTS = ("numpy", "typer", "typer, yaml, pydantic", "numpy, scipy.linalg")


@dataclass(frozen=True, slots=True)
class Sizes:
    repeats: int = 11
    kit: Path | None = EXAMPLE  # the bench kit in its place where it is None


FULL, SMALL = Sizes(), Sizes(1, None)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """Of the references first."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Path(folder) / "bench.yaml"
        process(kitwright("start", "--smallest", "-o", str(bench)))
        kit = sizes.kit or bench
        places = places_heard(load_kit(kit))
        asked = {
            "--help": ("typer", 2.0, 0.0, ["--help"]),
            "proofread, the example": ("typer, yaml, pydantic", 2.5, 0.0, ["proofread", str(kit)]),
            "predict --json, the bench kit": ("numpy, scipy.linalg", 2.5, 0.0, ["predict", str(bench), "--json"]),
            "predict --json, the example": (
                "numpy, scipy.linalg", 2.5, A_PLACE * places, ["predict", str(kit), "--json"]
            ),
        }  # fmt: skip
        commands = {name: [sys.executable, "-c", f"import {name}"] for name in IMPORTS}
        commands |= {what: kitwright(*words) for what, (*_, words) in asked.items()}
        found = processes(commands, sizes.repeats)
    numpy = found["numpy"].seconds
    made = [Row(f"import {name}", found[name].seconds, found[name].mebibytes) for name in IMPORTS]
    for what, (reference, times, more, _) in asked.items():
        taken, beside = found[what], found[reference].seconds
        note = f"{taken.seconds / numpy:.1f} times import numpy"
        if more:
            note += f"; allowed: {times:g} times the imports and {A_PLACE:g} s for each cabinet and point, {places}"
        ratio, limit = taken.seconds / beside, times + more / beside
        made.append(Row(what, taken.seconds, taken.mebibytes, f"import {reference}", ratio, limit, note=note))
    return made
