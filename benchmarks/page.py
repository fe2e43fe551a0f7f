"""The page docs/performance.md: the machine, the limits, and every table with how it was taken.

What is slow, why, and what was done is said by people: the words that the page has are kept.
"""

from __future__ import annotations

import inspect
from collections.abc import Mapping, Sequence
from datetime import date

from benchmarks.register import benchmark
from benchmarks.rows import Row, markdown_table, ratio_text
from benchmarks.timing import HOME

PAGE = HOME / "docs" / "performance.md"
MARKS = "<!-- words -->\n", "<!-- end of words -->\n"

HEAD = """\
<!-- written by: python -m benchmarks -o docs/performance.md; only what stands between the marks `words` is kept -->
# Performance

Taken on {day}, by `python -m benchmarks -o docs/performance.md`, on this machine:

{machine}

Times are processor time, of user and system, on one core; of several runs the quickest counts, and what is compared is
run in turn. They depend on the machine and on what else it does: compare only what stands in one table. A ratio is the
time of its row over that of what is named beside it, for as much work. Modules are compiled before, as pip leaves them.
No test looks at any of this.
"""


def table_of(machine: Mapping[str, str]) -> str:
    """Two columns without a head."""
    return "\n".join(["| | |", "|---|---|", *(f"| {name} | {value} |" for name, value in machine.items())])


def limits_text(every: Sequence[Row]) -> str:
    """One line for each limit."""
    limited = [row for row in every if row.limit is not None]
    if not limited:
        return ""
    lines = [
        f"- `{row.what}` is {ratio_text(row.ratio)} times `{row.beside}`; at most {ratio_text(row.limit)} is asked:"
        f" {'held' if row.held else '**not held**'}."
        for row in limited
    ]
    return "\n## Limits\n\n" + "\n".join(lines) + "\n"


def words_of(text: str) -> str:
    """What a page says by itself, with its marks. Raises ValueError where it has none."""
    start, end = (text.index(mark) for mark in MARKS)
    return text[start:end] + MARKS[1]


def page(found: Mapping[str, Sequence[Row]], machine: Mapping[str, str], day: date, words: str) -> str:
    """Of the benchmarks in `found`, by name; `words` as `words_of` has them."""
    parts = [HEAD.format(day=day.isoformat(), machine=table_of(machine))]
    parts.append(limits_text([row for rows in found.values() for row in rows]))
    parts.append("\n" + words)
    for name, rows in found.items():
        module = benchmark(name)
        parts.append(f"\n## {module.TITLE}\n\n{inspect.getdoc(module)}\n\n{markdown_table(rows)}\n")
    return "".join(parts)
