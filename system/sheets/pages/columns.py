"""How wide the columns of a table are: as wide as they need, and where that is too much, the widest give first."""

from __future__ import annotations

from collections.abc import Callable, Sequence


def widths(
    rows: Sequence[Sequence[str]], room: float, gap: float, measure: Callable[[str], float]
) -> tuple[float, ...]:
    """Of each column, in the unit of `measure`, so that all with their gaps fit into `room` where that can be.

    No column becomes narrower than its longest word, even if the table is too wide then.
    """
    columns = list(zip(*rows, strict=True))
    wanted = [max(measure(cell) for cell in column) for column in columns]
    least = [max((measure(word) for cell in column for word in cell.split(" ")), default=0.0) for column in columns]
    room -= gap * (len(columns) - 1)
    if sum(wanted) <= room:
        return tuple(wanted)
    # the highest common limit under which all fit: columns below it keep what they want
    low, high = 0.0, max(wanted)
    for _ in range(50):
        limit = (low + high) / 2
        total = sum(max(few, min(much, limit)) for few, much in zip(least, wanted, strict=True))
        low, high = (limit, high) if total <= room else (low, limit)
    return tuple(max(few, min(much, low)) for few, much in zip(least, wanted, strict=True))
