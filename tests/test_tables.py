"""Text tables and stock lists: the forms that are read, and where a fault is said to be."""

import math

import pytest

from system.document import DocumentError
from system.kit import StockItem
from system.stockfile import parse_stock
from system.tables import BAND_LEVELS, IMPEDANCE, RESPONSE, TableFaults, TableKind, parse_table

ROWS = [(20.0, 5.3, 10.0), (50.0, 6.5, 20.0), (100.0, 12.0, -30.0), (200.0, 6.0, -5.0), (500.0, 5.5, 3.0)]


def text(separator: str, columns: int = 3) -> str:
    return "\n".join(separator.join(f"{value:g}" for value in row[:columns]) for row in ROWS)


@pytest.mark.parametrize("separator", [",", ", ", "\t", " ", "   ", ";", " ; ", ",\t"])
def test_separators(separator: str) -> None:
    table = parse_table(text(separator), "z.txt", IMPEDANCE)
    assert table.frequency == tuple(row[0] for row in ROWS)
    assert table.magnitude == tuple(row[1] for row in ROWS)
    assert table.phase == tuple(math.radians(row[2]) for row in ROWS)
    assert parse_table(text(separator, 2), "z.txt", IMPEDANCE).phase is None


def test_comments_headings_and_blank_lines() -> None:
    around = "# a\n; b\n* c\n// d\n\nFreq [Hz]  Z [ohm]  Phase [deg]\n" + text(" ") + "  # last\n\n"
    assert parse_table(around, "z.txt", IMPEDANCE) == parse_table(text(","), "z.txt", IMPEDANCE)
    exponents = text(" ").replace("200 6 -5", "2.0e2 6.0E+0 -5")
    assert parse_table(exponents, "z.txt", IMPEDANCE) == parse_table(text(","), "z.txt", IMPEDANCE)


WRONG = [
    (IMPEDANCE, "20 5.3\n50 6,5\n", "z.txt:2:4 table_decimal_comma"),
    (IMPEDANCE, "20;5,3\n50;6,5\n", "z.txt:1:4 table_decimal_comma"),
    (IMPEDANCE, "20,0 5,3 1,0\n", "z.txt:1:1 table_decimal_comma"),
    (IMPEDANCE, text(" ").replace("100 12 -30", "100 twelve -30"), "z.txt:3:5 table_number"),
    (IMPEDANCE, text(" ").replace("100 12 -30", "100 nan -30"), "z.txt:3:5 table_number"),
    (IMPEDANCE, text(" ").replace("100 12 -30", "100 12"), "z.txt:3:1 table_columns"),
    (IMPEDANCE, text(" ").replace("100 12 -30", "100 12 -30 4"), "z.txt:3:1 table_columns"),
    (IMPEDANCE, text(" ").replace("100 12", "50 12"), "z.txt:3:1 table_order"),
    (IMPEDANCE, text(" ").replace("100 12", "  30 12"), "z.txt:3:3 table_order"),
    (IMPEDANCE, text(" ").replace("20 5.3", "0 5.3"), "z.txt:1:1 table_frequency"),
    (IMPEDANCE, text(" ").replace("100 12", "100 0"), "z.txt:3:5 table_magnitude"),
    (IMPEDANCE, text(" ").replace("100 12 -30", "100 12 1e9"), "z.txt:3:8 table_number"),
    (IMPEDANCE, "20 5\n50 6\n", "z.txt:2:1 table_rows"),
    (IMPEDANCE, "# nothing\n", "z.txt:1:1 table_rows"),
    (RESPONSE, text(" "), "z.txt:1:1 table_magnitude"),
    (RESPONSE, text(" ").replace("100 12", "100 880"), "z.txt:3:5 table_magnitude"),
    (BAND_LEVELS, text(" "), "z.txt:1:1 table_columns"),
]


@pytest.mark.parametrize(("kind", "table", "expected"), WRONG)
def test_faults_point_into_the_table(kind: TableKind, table: str, expected: str) -> None:
    with pytest.raises(TableFaults) as caught:
        parse_table(table, "z.txt", kind)
    (fault,) = caught.value.faults
    assert f"{fault.mark.file}:{fault.mark.line}:{fault.mark.column} {fault.code}" == expected


def test_stock_list() -> None:
    stock = parse_stock(
        "Kind;value;price;rating;tolerance;type;article;in_stock\n"
        'capacitor;47 uF;1.20;100 V;10 %;non_polar;"NP; ""47""";12\n'
        "\n"
        "resistor;2.2 ohm;;10 W\n"
        "coil;1.2 mH;;6 A\n"
        "capacitor;100 uF\n",
        "stock.csv",
    )
    first, second = stock.capacitors
    assert (first.value, first.tolerance, first.rating, first.type) == (47e-6, 0.1, 100.0, "non_polar")
    assert (first.article, first.price, first.in_stock) == ('NP; "47"', "1.20", 12)
    assert (second.value, second.tolerance, second.in_stock) == (100e-6, None, None)
    assert (stock.resistors, stock.coils) == ([StockItem(2.2, rating=10)], [StockItem(1.2e-3, rating=6)])


def test_stock_of_coils_with_their_resistance() -> None:
    stock = parse_stock(
        "kind,value,dc_resistance\n"
        "coil,1.2 mH,0.3 ohm\ncoil,1.5 mH,\ncoil,2.2 mH\ncoil,3.3 mH,450 mohm\nresistor,1 ohm,\n",
        "stock.csv",
    )
    assert [coil.dc_resistance for coil in stock.coils] == [0.3, None, None, 0.45]
    assert stock.resistors == [StockItem(1.0)]


@pytest.mark.parametrize(
    ("csv", "expected"),
    [
        ("", "1:1 the stock list is empty"),
        ("kind,value,prize\n", '1:12 there is a column "prize"'),
        ("kind,rating\n", "1:1 there is no column value"),
        ("kind,value\ncapacitor,47 uF,100 V\n", "2:17 this row has 3 columns"),
        ("kind,value\ncapacitor\n", "2:1 this row has no value"),
        ("kind,value\n,47 uF\n", "2:1 this row has no kind"),
        ("kind,value\ncapacitor,47 mH\n", '2:11 value is "47 mH", an inductance'),
        ("kind,value,in_stock\ncoil,1 mH,some\n", '2:11 in_stock is "some"'),
        ("kind,value,tolerance\ncoil,1 mH,5\n", '2:11 tolerance is "5", without a unit'),
        ("kind,value,tolerance\ncoil,1 mH,150 %\n", '2:11 tolerance is "150 %" to either side'),
        ("kind,value,dc_resistance\ncoil,1 mH,0.3\n", '2:11 dc_resistance is "0.3", without a unit'),
        ("kind,value,dc_resistance\ncoil,1 mH,0.3 mH\n", '2:11 dc_resistance is "0.3 mH", an inductance'),
        ("kind,value,dc_resistance\ncapacitor,10 uF,0.1 ohm\n", "2:17 a capacitor has a dc_resistance"),
        ("kind,value,dc_resistance\nresistor,10 ohm,0.1 ohm\n", "2:17 a resistor has a dc_resistance"),
    ],
)
def test_stock_faults(csv: str, expected: str) -> None:
    with pytest.raises((TableFaults, DocumentError)) as caught:
        parse_stock(csv, "stock.csv")
    fault = caught.value.faults[0] if isinstance(caught.value, TableFaults) else caught.value
    assert isinstance(fault, DocumentError)
    assert f"{fault.mark.line}:{fault.mark.column} {fault.found}" == expected
