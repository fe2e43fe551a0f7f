"""How often the diagnosis names the mistake that was built in; `python -m tests.support_scores` writes it down.

The sweeps are those of `tests.support_faults`. A case counts as first if the true mistake is in the first group: what
no sweep tells apart is one group, and how large groups are is told beside.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from system.bench.diagnosis import diagnose
from system.bench.faults import KINDS, RIGHT, Fault
from system.bench.hypotheses import Hypotheses
from system.examples import scenarios
from system.kitfile import load_kit
from tests.support_faults import FREQUENCY, Case, right_cases, wrong_cases

KIT = load_kit(scenarios() / "marshlight" / "kit.yaml")
SEED = 20261127  # of what is reported; never one that was looked at while the diagnosis was made
WRONG, RIGHTS = 600, 300
PAGE = Path(__file__).parent.parent / "docs" / "diagnosis.md"
BEGIN, END = "<!-- measured: begin -->\n", "<!-- measured: end -->\n"
_MADE: dict[str, Hypotheses] = {}


@dataclass(frozen=True)
class Outcome:
    """What became of one case: the group (from 0) in which the true mistake is, and the mistakes of the first."""

    variant: str
    fault: Fault
    rank: int
    first: tuple[Fault, ...]
    probability: float  # of the first group
    right: float  # probability of the right build and what no sweep tells from it
    rank_with_readings: int  # the same of sweep and readings together

    @property
    def named(self) -> str:
        """The kind that is named: the true one where it is in the first group."""
        return self.fault.kind if self.rank == 0 else self.first[0].kind


def outcome(case: Case) -> Outcome:
    variant = KIT.variants[case.variant]
    if case.variant not in _MADE:
        _MADE[case.variant] = Hypotheses.of(KIT, variant, FREQUENCY)
    found = diagnose(KIT, variant, case.sweep, hypotheses=_MADE[case.variant])
    groups = [tuple(each.fault for each in group.candidates) for group in found.groups]
    rank = next(i for i, faults in enumerate(groups) if case.fault in faults)
    right = next(group.probability for group, faults in zip(found.groups, groups, strict=True) if RIGHT in faults)
    both = diagnose(KIT, variant, case.sweep, case.readings, _MADE[case.variant])
    with_readings = next(
        i for i, group in enumerate(both.groups) if case.fault in [each.fault for each in group.candidates]
    )
    return Outcome(case.variant, case.fault, rank, groups[0], found.groups[0].probability, right, with_readings)


def share(outcomes: Sequence[Outcome], most: int) -> float:
    """Of those whose true mistake is among the first `most` groups."""
    return sum(each.rank < most for each in outcomes) / len(outcomes)


def called_wrong(outcomes: Iterable[Outcome]) -> float:
    """Share of right builds of which a mistake is likelier than the right build."""
    told = [RIGHT not in each.first for each in outcomes]
    return sum(told) / len(told)


def run(wrong: int, rights: int, seed: int) -> tuple[list[Outcome], list[Outcome]]:
    """Outcomes of wrong and of right builds, on all processors."""
    cases = [*wrong_cases(KIT, wrong, seed), *right_cases(KIT, rights, seed + 1)]
    cases.sort(key=lambda case: case.variant)  # stable; the set-up of a variant is made once a process
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(outcome, cases, chunksize=max(1, len(cases) // 12)))
    return [each for each in found if each.fault != RIGHT], [each for each in found if each.fault == RIGHT]


def report(wrong: Sequence[Outcome], rights: Sequence[Outcome], seed: int) -> str:
    """The measured part of the page."""
    sizes = Counter(len(each.first) for each in wrong)
    hidden = [each for each in wrong if RIGHT in each.first]
    lines = [
        f"{len(wrong)} wrong builds and {len(rights)} right ones, seed {seed}.",
        "",
        "| what | share |",
        "|---|---|",
        f"| the true mistake is first | {share(wrong, 1):.1%} |",
        f"| it is among the first three | {share(wrong, 3):.1%} |",
        f"| it is first with the ohmmeter's readings of all terminals beside the sweep | {_with_readings(wrong):.1%} |",
        f"| right builds of which a mistake is likelier | {called_wrong(rights):.1%} |",
        "",
        "Mistakes in the first group: "
        + ", ".join(f"{size} in {count / len(wrong):.0%}" for size, count in sorted(sizes.items()))
        + f" of the cases. In {len(hidden)} of {len(wrong)} the right build is in that group:"
        + " the sweep does not show it.",
        "",
        "Rows: what was built. Columns: what was named first. All others are empty.",
        "",
    ]
    table = Counter((each.fault.kind, each.named) for each in [*wrong, *rights])
    kinds = [kind for kind in KINDS if any(kind in pair for pair in table)]
    lines += [f"| | {' | '.join(kinds)} |", f"|---|{'---|' * len(kinds)}"]
    lines += [f"| {true} | {' | '.join(str(table[true, named] or '') for named in kinds)} |" for true in kinds]
    missed = Counter((each.fault, each.first[0], each.variant) for each in wrong if each.rank)
    lines += ["", "What was missed, by the mistake built, the one named, and how often:", ""]
    lines += [
        f"- {variant}: {_words(true)}, named {_words(named)}: {count}"
        for (true, named, variant), count in sorted(missed.items(), key=lambda item: (-item[1], str(item[0])))
    ]
    return "\n".join(lines) + "\n"


def _with_readings(wrong: Sequence[Outcome]) -> float:
    return sum(each.rank_with_readings == 0 for each in wrong) / len(wrong)


def _words(fault: Fault) -> str:
    return " ".join(filter(None, (fault.kind, fault.place, fault.form)))


def main() -> None:
    wrong, rights = run(WRONG, RIGHTS, SEED)
    text = PAGE.read_text(encoding="utf-8")
    head, rest = text.split(BEGIN)
    PAGE.write_text(head + BEGIN + report(wrong, rights, SEED) + END + rest.split(END)[1], encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
