"""Spoiling what lies beside a kit: tables, stock and hand files, meter readings, sweeps, and the files themselves."""

from __future__ import annotations

import random
from collections.abc import Callable

from tests.support_fuzz_values import MARKUP, NUMBERS, TEXTS

Rows = list[str]
RowMutation = Callable[[Rows, random.Random], None]


def _spot(rows: Rows, chance: random.Random) -> int:
    return chance.randrange(len(rows))


def _cell(rows: Rows, chance: random.Random) -> None:
    at = _spot(rows, chance)
    mark = next((mark for mark in (",", ";", "\t") if mark in rows[at]), " ")
    cells = rows[at].split(mark)
    cells[chance.randrange(len(cells))] = chance.choice(chance.choice([NUMBERS, TEXTS, MARKUP]))
    rows[at] = mark.join(cells)


def _broken(rows: Rows, chance: random.Random) -> None:
    at = _spot(rows, chance)
    rows[at] = rows[at][: chance.randrange(len(rows[at]) + 1)]


def _twice(rows: Rows, chance: random.Random) -> None:
    rows.insert(_spot(rows, chance), rows[_spot(rows, chance)])


def _longer(rows: Rows, chance: random.Random) -> None:
    at = _spot(rows, chance)
    rows[at] += chance.choice([" 1", ", 2, 3", ",", "\t", ";;;", ",1" * 5000])


def _separators(rows: Rows, chance: random.Random) -> None:
    old, new = chance.choice(",; \t."), chance.choice([",", ";", "\t", " ", ", ", "|"])
    rows[:] = [row.replace(old, new) for row in rows]


def _scaled(rows: Rows, chance: random.Random) -> None:
    """One column times a factor, as a table in kHz or with its level too high has it."""
    column, factor = chance.randrange(3), chance.choice([0.0, -1.0, 1e-3, 1e3, 1e30, 0.5, 2.0, 1.0001])
    for at, row in enumerate(rows):
        words = row.replace(",", " ").split()
        try:
            words[column] = f"{float(words[column]) * factor:.6g}"
        except (ValueError, IndexError):
            continue
        rows[at] = " ".join(words)


def _only(rows: Rows, chance: random.Random) -> None:
    at = _spot(rows, chance)
    rows[:] = rows[at : at + chance.choice([0, 1, 1, 2, 4, 5, 6])]


def _many(rows: Rows, chance: random.Random) -> None:
    rows *= chance.choice([2, 50, 400])
    if chance.random() < 0.5:
        rows.sort()


ROWS: dict[str, RowMutation] = {
    "cell": _cell,
    "broken row": _broken,
    "row twice": _twice,
    "longer row": _longer,
    "separators": _separators,
    "scaled column": _scaled,
    "few rows": _only,
    "many rows": _many,
    "shuffled": lambda rows, chance: chance.shuffle(rows),
    "reversed": lambda rows, chance: rows.reverse(),
}


def spoilt_table(text: str, chance: random.Random) -> tuple[bytes, str]:
    """A table with one or two mutations of its rows, or another file altogether; and what the first is called."""
    if chance.random() < 0.15:
        whole = [b"", b"\n\n", chance.randbytes(300), text.encode("utf-16"), text.encode("utf-8-sig"), b"# nothing\n"]
        whole += [text.replace("\n", "\r\n").encode(), text.replace("\n", "\r").encode(), text.encode() * 3000]
        whole += [text.encode()[: chance.randrange(len(text) + 1)], b"\0" + text.encode(), b"1 1\n" * 100_000]
        return chance.choice(whole), "table as bytes"
    rows = text.splitlines()
    names = []
    for _ in range(chance.choice([1, 1, 2])):
        if rows:
            names.append(chance.choice(list(ROWS)))
            ROWS[names[-1]](rows, chance)
    return ("\n".join(rows) + chance.choice(["\n", "\n", ""])).encode("utf-8", "surrogatepass"), f"table {names[0]}"
