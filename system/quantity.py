"""The strict reader of quantities: text with a unit, as builders and data sheets write it, to an SI float.

It reads what is unambiguous and refuses the rest with advice, because a misread unit costs a driver.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import lru_cache

from system.units import DIMENSIONS, Dimension, Unit


class QuantityError(ValueError):
    """A text that is no quantity of the dimension asked for. `found` and `allowed` complete "KEY ..." in a message."""

    def __init__(self, code: str, found: str, allowed: str) -> None:
        self.code = code
        self.found = found
        self.allowed = allowed
        super().__init__(f"{found}; {allowed}")


# what a keyboard, a data sheet or a word processor makes of the same sign
_SIGNS = {
    "\u00b5": "u",  # micro sign
    "\u03bc": "u",  # greek mu
    "\u03a9": "ohm",  # greek omega
    "\u2126": "ohm",  # ohm sign
    "²": "2",
    "³": "3",
    "⁴": "4",
    "℃": "degC",
    "℉": "degF",
    "°": "deg",
    "·": ".",
    "⋅": ".",
    "∙": ".",
    "−": "-",
    "–": "-",
    "±": "+-",
    "\u00a0": " ",
    "\u2009": " ",
    "\u202f": " ",
    "\t": " ",
    "″": '"',
    "”": '"',
    "“": '"',
    "′": "'",
    "’": "'",
}
_TRANSLATE = str.maketrans(_SIGNS)
_LONGEST = 60

_NUMBER = r"(?P<number>[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_MIXED = r"(?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))?(?P<over>[0-9]+)\s*/\s*(?P<under>[0-9]+)"
_READ = re.compile(rf"(?P<sign>[+-]?)\s*(?:{_MIXED}|{_NUMBER})\s*(?P<unit>.*)")
_COMMA = re.compile(r"[+-]*\s*(?P<before>[0-9]+),(?P<after>[0-9]+)(?![0-9,.])(?P<unit>[^0-9]*.*)")
_EXPONENT = re.compile(r"[+-]?\s*[0-9.]+\s?[eE][+-]?[0-9]+")
_LETTER_POINT = re.compile(r"[+-]?(?P<before>[0-9]*)(?P<letter>[RrKkMmUuNnPpFVLE])(?P<after>[0-9]+)\s*(?P<unit>.*)")
_NOT_FINITE = re.compile(r"[+-]?\s*(?:inf|infinity|infinite|nan|∞)\b.*|.*∞.*", re.IGNORECASE)
_PEAK_TO_PEAK = re.compile(r"(?P<value>.*?)\s*(?:p\s*-?\s*p|peak[ -]to[ -]peak)\.?", re.IGNORECASE)
_ONE_WAY = re.compile(r"(?P<value>.*?)\s*(?:peak|one[ -]way)", re.IGNORECASE)
_EITHER_SIDE = re.compile(r"\+\s*/?\s*-\s*(?P<value>.*)")


def read(text: str, dimension: str, low: str = "", high: str = "", zero: bool = False) -> float:
    """The SI value of `text`, a quantity of the named dimension (temperatures in K, angles in rad, levels in dB).

    `low` and `high` (quantities, inclusive) replace the dimension's own bounds; `zero` allows 0 below them.
    Raises QuantityError.
    """
    kind = DIMENSIONS[dimension]
    return _inside(_value(text, kind), text.strip(), kind, low or kind.low, high or kind.high, zero)


def read_deviation(text: str) -> float:
    """How far a value may be off to either side, a ratio below 1 from a percentage. Raises QuantityError."""
    value = read(text, "percent", high="1000000 %")
    if value >= 1:
        allowed = "it must be below 100 %, or nothing might be left of the value"
        raise QuantityError("spread_too_wide", f"is {_quoted(text)} to either side", allowed)
    return value


def read_number(text: str, low: float, high: float, percent: bool = False) -> float:
    """A plain number without a unit (with `percent`, "0.05 %" is read too). Raises QuantityError."""
    plain = text.strip().translate(_TRANSLATE)
    _refuse(plain, text.strip(), None)
    match = _READ.fullmatch(plain)
    if match is None or match["over"]:
        raise QuantityError("quantity_number", f"is {_quoted(text)}, which is no number", "write it like 0.7")
    divide = 1
    if percent and match["unit"] in DIMENSIONS["percent"].units:
        divide = 100
    elif match["unit"]:
        raise QuantityError(
            "quantity_dimension",
            f"is {_quoted(text)}, with a unit",
            f"it is a plain number: write {match['sign']}{match['number']}"
            if not match["unit"][0].isdigit()
            else "write one number",
        )
    value = float(match["sign"] + match["number"]) / divide
    if not low <= value <= high:
        raise QuantityError("quantity_range", f"is {_quoted(text)}", f"it must lie from {low:g} to {high:g}")
    return value


def read_whole(text: str, low: int, high: int) -> int:
    """A whole number written in digits. Raises QuantityError."""
    plain = text.strip()
    if not re.fullmatch(r"[0-9]{1,9}", plain):
        raise QuantityError("quantity_number", f"is {_quoted(text)}", f"it is a whole number from {low} to {high}")
    value = int(plain)
    if not low <= value <= high:
        raise QuantityError("quantity_range", f"is {_quoted(text)}", f"it must lie from {low} to {high}")
    return value


def _quoted(text: str) -> str:
    text = " ".join(text.split())
    return f'"{text}"' if len(text) <= _LONGEST else f'"{text[:_LONGEST]}..."'


def _refuse(plain: str, text: str, kind: Dimension | None) -> None:
    """Refuse the spellings that a lenient reader would misread."""
    if not plain:
        raise QuantityError("quantity_number", "is empty", f"write it like {kind.example if kind else '0.7'}")
    if len(plain) > _LONGEST:
        raise QuantityError(
            "quantity_number",
            f"is {_quoted(text)}, which is too long for a quantity",
            f"write it like {kind.example if kind else '0.7'}",
        )
    if _NOT_FINITE.fullmatch(plain):
        raise QuantityError("quantity_number", f"is {_quoted(text)}", "it must be a finite number")
    if comma := _COMMA.fullmatch(plain):
        point, together = f"{comma['before']}.{comma['after']}", f"{comma['before']}{comma['after']}"
        unit = f" {comma['unit'].strip()}" if comma["unit"].strip() else ""
        thousands = f" or {together}{unit}, whichever is meant" if len(comma["after"]) == 3 else ""
        raise QuantityError(
            "quantity_decimal_comma", f"is {_quoted(text)}, with a comma", f"write {point}{unit}{thousands}"
        )
    if "," in plain:
        raise QuantityError(
            "quantity_decimal_comma",
            f"is {_quoted(text)}, with a comma",
            "write the number with a point and without thousands separators",
        )
    if _EXPONENT.match(plain):
        raise QuantityError(
            "quantity_exponent",
            f"is {_quoted(text)}, where e may be a power of ten or stand for a point",
            f"write the number out, like {kind.example if kind else '0.003'}",
        )
    if letter := _LETTER_POINT.fullmatch(plain):
        number = f"{letter['before'] or '0'}.{letter['after']}"
        raise QuantityError(
            "quantity_letter_point",
            f"is {_quoted(text)}, with a letter in the place of the point",
            f"write {number}{_meant(letter['letter'], letter['unit'], kind)}",
        )


def _meant(letter: str, unit: str, kind: Dimension | None) -> str:
    """The unit that a letter in the place of the point stands for, with a space before it."""
    if unit:
        letter = "" if letter in "RrE" else letter
        wanted = f"{letter}{unit}"
    elif kind is not None and kind.name == "resistance":
        wanted = {"K": "kohm", "k": "kohm", "M": "Mohm", "m": "mohm"}.get(letter, "ohm")
    elif kind is not None and kind.name in ("capacitance", "inductance"):
        wanted = letter.lower().strip("rfle") + ("F" if kind.name == "capacitance" else "H")
    else:
        return f" {_unit_of(kind.example)}" if kind else ""
    if kind is not None and _known(wanted, kind) is None:
        return f" {_unit_of(kind.example)}"
    return f" {wanted}"


def _unit_of(example: str) -> str:
    return example.partition(" ")[2]


def _value(text: str, kind: Dimension) -> float:
    shown = text.strip()
    plain = shown.translate(_TRANSLATE)
    divide = 1
    sides = _EITHER_SIDE.fullmatch(plain) if kind.one_way or kind.either_side else None
    if sides:
        plain = sides["value"]
    if kind.one_way:
        if both := _PEAK_TO_PEAK.fullmatch(plain):
            if sides:
                raise QuantityError(
                    "quantity_number",
                    f"is {_quoted(shown)}, one-way and peak to peak at once",
                    "write +-4 mm or 8 mm p-p",
                )
            plain, divide = both["value"], 2
        elif one := _ONE_WAY.fullmatch(plain):
            plain = one["value"]
    _refuse(plain, shown, kind)
    match = _READ.fullmatch(plain)
    if match is None:
        raise QuantityError(
            "quantity_number",
            f"is {_quoted(shown)}, which does not begin with a number",
            f"write it like {kind.example}",
        )
    unit = _unit(match["unit"], match, shown, kind)
    number = _number(match, shown, unit, kind)
    return float((number + unit.offset) * unit.factor) / divide


def _number(match: re.Match[str], shown: str, unit: Unit, kind: Dimension) -> Fraction:
    sign = -1 if match["sign"] == "-" else 1
    if match["over"] is None:
        return sign * Fraction(match["number"].rstrip("."))
    over, under, whole = int(match["over"]), int(match["under"]), int(match["whole"] or 0)
    if under == 0 or (match["whole"] and over >= under):
        raise QuantityError("quantity_number", f"is {_quoted(shown)}, which is no fraction", "write it like 1 1/2 in")
    if not unit.fractions:
        raise QuantityError(
            "quantity_number",
            f"is {_quoted(shown)}, a fraction",
            f"fractions are for inches and feet; write {whole + over / under:g} {match['unit']}",
        )
    return sign * (whole + Fraction(over, under))


def _unit(unit: str, match: re.Match[str], shown: str, kind: Dimension) -> Unit:
    number = match["sign"] + (match["number"] or f"{match['whole'] or ''} {match['over']}/{match['under']}".strip())
    if not unit:
        raise QuantityError(
            "quantity_no_unit",
            f"is {_quoted(shown)}, without a unit",
            f"write for example {number} {_unit_of(kind.example)}",
        )
    known = _known(unit, kind)
    if known is not None:
        return known
    if unit[0].isdigit() or unit[0] in "./'_":
        raise QuantityError(
            "quantity_number", f"is {_quoted(shown)}", f"write one number and its unit, like {kind.example}"
        )
    if unit in kind.advice:
        meant = kind.advice[unit]
        megafarad = ", and MF is megafarad" if unit == "MF" else ""
        raise QuantityError("quantity_unit", f"is {_quoted(shown)}{megafarad}", f"write {number} {meant}")
    for other in DIMENSIONS.values():
        if _known(unit, other) is not None:
            raise QuantityError(
                "quantity_dimension",
                f"is {_quoted(shown)}, {other.words}",
                f"it takes {kind.words}, like {kind.example}",
            )
    folded = _canonical(unit).casefold()
    for spelling in kind.units:
        if _canonical(spelling).casefold() == folded:
            raise QuantityError(
                "quantity_unit",
                f"is {_quoted(shown)}, with capital and small letters mixed up",
                f"write {number} {spelling}",
            )
    raise QuantityError(
        "quantity_unit",
        f"is {_quoted(shown)}, and {_quoted(unit)} is no unit for it",
        f"it takes {_listed(kind.main_units)}",
    )


def _listed(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


@lru_cache(maxsize=4096)
def _by_canonical(name: str) -> Mapping[str, Unit]:
    return {_canonical(text): unit for text, unit in DIMENSIONS[name].units.items()}


def _known(unit: str, kind: Dimension) -> Unit | None:
    return _by_canonical(kind.name).get(_canonical(unit))


def _canonical(unit: str) -> str:
    """The unit without spaces and powers' carets; `sq.cm` and `cu. ft` lose their point, `T.m` and `T*m` keep one."""
    return unit.replace(" ", "").replace("^", "").replace("*", ".").translate(_TRANSLATE)


@lru_cache(maxsize=4096)
def _bound(text: str, name: str) -> float:
    return _value(text, DIMENSIONS[name])


def _inside(value: float, shown: str, kind: Dimension, low: str, high: str, zero: bool) -> float:
    if value == 0 and zero and not kind.signed:
        return 0.0
    if _bound(low, kind.name) <= value <= _bound(high, kind.name):
        return value
    if value <= 0 and not kind.signed and (value < 0 or _bound(low, kind.name) > 0):
        least = "zero or above" if zero or _bound(low, kind.name) == 0 else "above zero"
        raise QuantityError("quantity_range", f"is {_quoted(shown)}", f"it must be {least}")
    least = "0" if zero and not kind.signed else low
    raise QuantityError(
        "quantity_range", f"is {_quoted(shown)}, which cannot be meant", f"it must lie from {least} to {high}"
    )


def pattern(dimension: str) -> str:
    """A regular expression for a YAML editor that every text read by `read` matches, and hardly anything else."""
    kind = DIMENSIONS[dimension]
    units = sorted({_unit_pattern(text) for text in kind.units}, key=lambda p: (-len(p), p))
    number = r"(?:[0-9]+(?:\s+|\s*[-–−]\s*))?[0-9]+\s*/\s*[0-9]+|[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
    before = r"(?:(?:\+\s*/?\s*[-–−]|±)\s*)?" if kind.one_way or kind.either_side else ""
    after = r"\s*(?:[pP]\s*-?\s*[pP]\.?|[pP]eak(?:[ -]to[ -]peak)?|[oO]ne[ -]way)?" if kind.one_way else ""
    return rf"^\s*{before}[-+–−]?\s*(?:{number})\s*(?:{'|'.join(units)}){after}\s*$"


def _unit_pattern(text: str) -> str:
    pieces = {
        "ohm": "(?:ohm|\u03a9|\u2126)",
        "u": "[u\u00b5\u03bc]",
        "2": r"(?:\^?2|²)",
        "3": r"(?:\^?3|³)",
        "4": r"(?:\^?4|⁴)",
        "degC": "(?:deg ?C|° ?C|℃)",
        "degF": "(?:deg ?F|° ?F|℉)",
        "deg": "(?:deg|°)",
        ".": r"\s*[.*·⋅∙]\s*",
        " ": r"\s*",
        '"': '["″”“]',
        "'": "['′’]",
    }
    found = re.findall(r"ohm|degC|degF|deg|.", text)
    joined = r"".join(pieces.get(piece, re.escape(piece)) for piece in found)
    return joined.replace("c[u\u00b5\u03bc]", "cu")


def units_text() -> str:
    """What `explain units` prints: every kind of quantity with its units and an example."""
    rows = [(d.name.replace("_", " "), d.example, ", ".join(d.units)) for d in DIMENSIONS.values()]
    wide = max(len(name) for name, _, _ in rows)
    long = max(len(example) for _, example, _ in rows)
    lines = [
        "A quantity is a number and its unit: 220 uF, 1.2 mH, 0.3 ohm, 8 L. A space between them is optional.",
        "",
        *(f"{name:<{wide}}  {example:<{long}}  {units}" for name, example, units in rows),
        "",
        "Numbers have a decimal point and no separators. Imperial units may be fractions: 3/16 in, 1 1/2 in.",
        "The micro, omega and degree signs are read, and so are cm^2 and a raised 2.",
        "An excursion is a one-way peak: 4 mm, +-4 mm and 8 mm p-p are the same. A displacement has its sign:",
        "inward is below zero. A temperature difference is in K only.",
        "Plain numbers without a unit are qms, qes, qts, loss Qs, counts, orders, coefficients and exponents.",
        "Refused, because they are misread too easily: 1,5 mH (comma), 4R7 (letter as point), 4.7e-6 F (power of ten),",
        "220 MF (megafarad), 220 uf (small letter), 1 000 uF (separator), 8 (no unit).",
    ]
    return "\n".join(lines) + "\n"
