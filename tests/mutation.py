"""Faults put into `enclosures` and `filters` one at a time: how many of them the tests see.

    python -m tests.mutation --seed 1 --mutants 400 [--jobs 1] [--page tests/mutation.md] [-o FILE]

What is made is said in `tests.support_mutation`, how it is run in `tests.support_mutation_runs`. What each test
touches is kept between runs in `--kept` (a folder, by default beside other temporary files).
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from tests.support_mutation import Mutant, draw, modules
from tests.support_mutation_runs import (
    Outcome,
    by_module,
    copy_of,
    load_libraries,
    near_tests,
    never_kill,
    record,
    run_all,
)

_ROOT = Path(__file__).parent.parent
_TRIES = 5  # mutants of the lines it runs that a test is tried on, before it is said to kill none
_UNKNOWN_LINE = "  (not looked at)"


def summary(mutants: Sequence[Mutant], outcomes: Sequence[Outcome]) -> str:
    """The counts: all, by package, by module, by operator; the survivors."""
    killed = sum(outcome.killed for outcome in outcomes)
    lines = [f"{killed} of {len(mutants)} killed, {100 * killed / len(mutants):.1f} %"]
    lines.append(", ".join(f"{how} {count}" for how, count in Counter(o.how for o in outcomes).most_common()))
    modules_of = by_module(mutants, outcomes)
    for package in sorted({path.split("/")[0] for path in modules_of}):
        each = [counts for path, counts in modules_of.items() if path.startswith(package)]
        lines.append(f"{package}: {sum(k for k, _ in each)} of {sum(n for _, n in each)}")
    lines += [f"  {path}: {k} of {n}" for path, (k, n) in modules_of.items()]
    lines += ["by operator:"]
    for operator, count in Counter(mutant.operator for mutant in mutants).most_common():
        hits = sum(o.killed for m, o in zip(mutants, outcomes, strict=True) if m.operator == operator)
        lines.append(f"  {operator}: {hits} of {count}")
    lines += ["survivors:"]
    lines += [
        f"  {m.path}:{m.line} {m.key} ({o.how}, {len(o.given)} tests)"
        for m, o in zip(mutants, outcomes, strict=True)
        if not o.killed
    ]
    return "\n".join(lines)


def _reasons(page: str) -> dict[str, str]:
    """What was written by hand below each survivor."""
    found = re.findall(r"^- (\S.*)\n((?:  .*\n)+)", page, re.MULTILINE)
    return {key: why.rstrip("\n") for key, why in found if why.strip() != _UNKNOWN_LINE.strip()}


def written(
    page: str, seed: int, mutants: Sequence[Mutant], outcomes: Sequence[Outcome], idle: dict[str, int] | None
) -> str:
    """The page with this seed's section made anew; what is said of a survivor stays with it."""
    reasons = _reasons(page)
    killed = sum(outcome.killed for outcome in outcomes)
    counts = by_module(mutants, outcomes)
    lines = [f"## Seed {seed}: {killed} of {len(mutants)} killed, {100 * killed / len(mutants):.1f} %", ""]
    lines += ["| module | killed | made |", "|---|---|---|"]
    for package in sorted({path.split("/")[0] for path in counts}):
        each = {path: count for path, count in counts.items() if path.startswith(package)}
        lines += [f"| {path} | {k} | {n} |" for path, (k, n) in each.items()]
        lines += [f"| **{package}** | {sum(k for k, _ in each.values())} | {sum(n for _, n in each.values())} |"]
    lines += ["", "### Survivors", ""]
    for mutant, outcome in zip(mutants, outcomes, strict=True):
        if not outcome.killed:
            lines += [f"- {mutant.key}\n{reasons.get(mutant.key, _UNKNOWN_LINE)}"]
    if idle is not None:
        lines += ["", "### Tests that failed on no fault", ""]
        lines += [f"Tried on faults in lines that they run, {_TRIES} at most; in brackets on how many:", ""]
        lines += [f"- {name} ({tries})" for name, tries in sorted(idle.items()) if tries]
        lines += [
            "",
            "Not tried, for they run no line that has a fault of this sample, or take too long beside others:",
            "",
        ]
        lines += [f"- {name}" for name in sorted(idle) if not idle[name]]
    section = "\n".join(lines) + "\n"
    head, *sections = re.split(r"^(?=## )", page, flags=re.MULTILINE)
    others = [one for one in sections if not one.startswith(f"## Seed {seed}:")]
    return "\n".join(part.rstrip("\n") + "\n" for part in [head, *others, section])


def _say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mutants", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "mutation-kept")
    parser.add_argument("--only", default="", help="modules whose path holds this")
    parser.add_argument("--idle", action="store_true", help="then look for tests that kill none")
    parser.add_argument("--page", type=Path, help="a page whose section of this seed is written anew")
    parser.add_argument("-o", dest="output", type=Path, help="every mutant and what became of it, as JSON")
    asked = parser.parse_args()
    os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1", PYTHONDONTWRITEBYTECODE="")
    load_libraries()
    with copy_of(_ROOT) as copy:
        touches = record(copy, near_tests(copy), asked.kept, _say)
        found = [module for module in modules(copy) if asked.only in module.path]
        mutants = draw(found, asked.mutants, asked.seed)
        outcomes = run_all(copy, mutants, touches, asked.jobs, _say)
        idle = never_kill(copy, mutants, outcomes, touches, _TRIES, _say) if asked.idle else None
    if asked.output:
        rows = []
        for mutant, outcome in zip(mutants, outcomes, strict=True):
            row = asdict(mutant)
            del row["source"]
            rows.append(row | asdict(outcome))
        content = {
            "seed": asked.seed,
            "mutants": rows,
            "idle": idle,
            "tests": {name: t.seconds for name, t in touches.items()},
        }
        asked.output.write_text(json.dumps(content, indent=1), encoding="utf-8")
    if asked.page:
        page = written(asked.page.read_text("utf-8"), asked.seed, mutants, outcomes, idle)
        asked.page.write_text(page, "utf-8")
    print(summary(mutants, outcomes))


if __name__ == "__main__":
    main()
