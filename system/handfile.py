"""The parts in hand: a CSV file with the measured value of one part a row, under the heading `ref,value`.

`ref` is a place of the kit, `value` a quantity with its unit; a place may have many rows. What separates the columns
is as in a table: a comma, semicolon, tab or spaces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from system import quantity
from system.document import DocumentError, Mark, advice, read_text
from system.findings import KitError
from system.kit import Kit, PartKind
from system.stockfile import VALUES
from system.tables import Cell, cells

COLUMNS = ("ref", "value")


@dataclass(frozen=True, slots=True)
class InHand:
    """One measured part: which place it is for, its value in SI units, and its line in the file."""

    reference: str
    value: float
    line: int


def read_hand(path: Path, kit: Kit) -> tuple[InHand, ...]:
    """The parts in `path`, in file order. Raises KitError with every row that is at fault."""
    shown = str(path)
    kinds: dict[str, PartKind] = {
        reference: place.part.kind for variant in kit.variants.values() for reference, place in variant.places.items()
    }
    try:
        found, faults = _parse(read_text(path, shown), shown, kinds)
    except DocumentError as error:
        found, faults = (), [error]
    if faults:
        raise KitError([fault.finding() for fault in faults], kit.name)
    return found


def _parse(text: str, shown: str, kinds: Mapping[str, PartKind]) -> tuple[tuple[InHand, ...], list[DocumentError]]:
    lines = [(number, row) for number, line in enumerate(text.splitlines(), 1) if (row := cells(line))]
    heading = ",".join(COLUMNS)
    if not lines:
        found = "the list of parts in hand is empty"
        raise DocumentError("hand_columns", Mark(shown, 1, 1), found, f"its heading is {heading}")
    number, row = lines[0]
    if tuple(word.casefold() for _, word in row) != COLUMNS:
        found = f'the heading is "{",".join(word for _, word in row)}"'
        raise DocumentError("hand_columns", Mark(shown, number, row[0][0]), found, f"it must be {heading}")
    if len(lines) == 1:
        found = "the list of parts in hand has a heading only"
        raise DocumentError("hand_columns", Mark(shown, number, 1), found, "write a row for each measured part")
    parts: list[InHand] = []
    faults: list[DocumentError] = []
    for number, row in lines[1:]:
        try:
            parts.append(_part(number, row, shown, kinds))
        except DocumentError as fault:
            faults.append(fault)
    return tuple(parts), faults


def _part(number: int, row: list[Cell], shown: str, kinds: Mapping[str, PartKind]) -> InHand:
    column, reference = row[0]
    if len(row) != len(COLUMNS):
        found = f"this row has {len(row)} column{'' if len(row) == 1 else 's'}"
        raise DocumentError("hand_columns", Mark(shown, number, column), found, "every row has a ref and a value")
    if reference not in kinds:
        found = f'ref is "{reference}", which is no place of the kit'
        raise DocumentError("hand_row", Mark(shown, number, column), found, advice(reference, [*kinds]))
    column, text = row[1]
    try:
        value = quantity.read(text, VALUES[kinds[reference]])
    except quantity.QuantityError as error:
        found = f"the value of {reference} {error.found}"
        raise DocumentError("hand_row", Mark(shown, number, column), found, error.allowed) from None
    return InHand(reference, value, number)
