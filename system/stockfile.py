"""The stock list: a CSV file with one article a row.

Columns: kind (capacitor, resistor, coil) and value are required; tolerance, rating (V, W or A), type, article, price,
in_stock (pieces) and dc_resistance (of a coil) are not. The separator is a comma, or a semicolon where the
heading has one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from pathlib import Path
from typing import TypeVar

from enclosures.frozen import frozen
from system import quantity
from system.document import DocumentError, Mark, advice, read_text
from system.kit import StockItem
from system.tables import TableFaults

COLUMNS = ("kind", "value", "tolerance", "rating", "type", "article", "price", "in_stock", "dc_resistance")
VALUES = {"capacitor": "capacitance", "resistor": "resistance", "coil": "inductance"}
RATINGS = {"capacitor": "voltage", "resistor": "power", "coil": "current"}


@frozen
class StockList:
    capacitors: list[StockItem] = field(default_factory=list)
    resistors: list[StockItem] = field(default_factory=list)
    coils: list[StockItem] = field(default_factory=list)


def read_stock(path: Path, shown: str) -> StockList:
    """The stock in `path`, called `shown` in messages. Raises DocumentError or TableFaults."""
    return parse_stock(read_text(path, shown), shown)


def parse_stock(text: str, shown: str) -> StockList:
    """As `read_stock`, from the text itself."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    if not lines:
        raise DocumentError(
            "stock_columns", Mark(shown, 1, 1), "the stock list is empty", f"its heading is {','.join(COLUMNS)}"
        )
    number, heading = lines[0]
    separator = ";" if ";" in heading else ","
    names = [(column, word.casefold()) for column, word in _split(heading, separator)]
    faults: list[DocumentError] = []
    for column, name in names:
        if name not in COLUMNS:
            mark = Mark(shown, number, column)
            faults.append(DocumentError("stock_columns", mark, f'there is a column "{name}"', advice(name, COLUMNS)))
    for wanted in ("kind", "value"):
        if not faults and wanted not in [name for _, name in names]:
            mark = Mark(shown, number, 1)
            faults.append(
                DocumentError(
                    "stock_columns", mark, f"there is no column {wanted}", f"its heading is {','.join(COLUMNS)}"
                )
            )
    if faults:
        raise TableFaults(faults)
    stock = StockList()
    for number, line in lines[1:]:
        row = _split(line, separator)
        cells = {name: cell for (_, name), cell in zip(names, row, strict=False) if cell[1]}
        if len(row) > len(names):
            mark = Mark(shown, number, row[len(names)][0])
            found = f"this row has {len(row)} columns"
            faults.append(DocumentError("stock_columns", mark, found, f"the heading has {len(names)}"))
            continue
        try:
            _add(cells, stock)
        except _RowFault as fault:
            faults.append(DocumentError("stock_row", Mark(shown, number, fault.column), fault.found, fault.allowed))
    if faults:
        raise TableFaults(faults)
    return stock


class _RowFault(ValueError):  # noqa: N818 - becomes a DocumentError once the row is known
    def __init__(self, column: int, found: str, allowed: str) -> None:
        self.column, self.found, self.allowed = column, found, allowed
        super().__init__(found)


def _add(cells: Mapping[str, tuple[int, str]], stock: StockList) -> None:
    for wanted in ("kind", "value"):
        if wanted not in cells:
            raise _RowFault(1, f"this row has no {wanted}", "every row has a kind and a value")
    column, kind = cells["kind"]
    if kind not in VALUES:
        raise _RowFault(column, f'kind is "{kind}"', advice(kind, list(VALUES)))
    value = _cell(cells, "value", lambda text: quantity.read(text, VALUES[kind]))
    assert value is not None
    rating = _cell(cells, "rating", lambda text: quantity.read(text, RATINGS[kind]))
    tolerance = _cell(cells, "tolerance", quantity.read_deviation)
    if kind != "coil" and "dc_resistance" in cells:
        raise _RowFault(cells["dc_resistance"][0], f"a {kind} has a dc_resistance", "only a coil has one")
    ohm = _cell(cells, "dc_resistance", lambda text: quantity.read(text, "resistance"))
    pieces = _cell(cells, "in_stock", lambda text: quantity.read_whole(text, 0, 10**6))
    words = {name: cells[name][1] if name in cells else None for name in ("type", "article", "price")}
    item = StockItem(value, tolerance, rating, in_stock=pieces, dc_resistance=ohm, **words)
    {"capacitor": stock.capacitors, "resistor": stock.resistors, "coil": stock.coils}[kind].append(item)


_Read = TypeVar("_Read")
_Cells = Mapping[str, tuple[int, str]]


def _cell(cells: _Cells, name: str, read: Callable[[str], _Read]) -> _Read | None:
    if name not in cells:
        return None
    column, text = cells[name]
    try:
        return read(text)
    except quantity.QuantityError as error:
        raise _RowFault(column, f"{name} {error.found}", error.allowed) from None


def _split(line: str, separator: str) -> list[tuple[int, str]]:
    """The cells of a CSV line (RFC 4180, one line a row) with their columns from 1."""
    found: list[tuple[int, str]] = []
    start, quoted, text = 0, False, ""
    for i, character in enumerate(line + separator):
        if character == '"':
            if not quoted and i and line[i - 1 : i] == '"' and text:
                text += '"'
            quoted = not quoted
        elif character == separator and not quoted:
            raw = line[start:i]
            found.append((start + 1 + len(raw) - len(raw.lstrip()), text.strip()))
            start, text = i + 1, ""
        else:
            text += character
    if quoted:
        found.append((start + 1, text.rstrip(separator).strip()))
    return found
