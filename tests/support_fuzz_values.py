"""Values that have broken programs before: numbers, texts, units and markup."""

from __future__ import annotations

import random
import re

MARK = "zqmark"  # an element or attribute that only markup taken from a kit can make

MARKUP = (
    f"<{MARK}>alert(1)</{MARK}>",
    f"</svg><{MARK} onload=x>",
    f'" {MARK}="1',
    f"' {MARK}='1",
    f"</title></style></script><{MARK}>",
    f"]]><{MARK}/>",
    f"--><{MARK}/>",
    f"&lt;{MARK}&gt; & &amp; <{MARK}",
    f"$\\frac{{<{MARK}>}}$",
    f"{{{{ {MARK} }}}}{{% {MARK} %}}",
    f"[{MARK}](javascript:alert(1)) **{MARK}** `{MARK}` | a | b",
)

NUMBERS = (
    "0", "-1", "1e-300", "1e300", "-1e300", "1e308", "1e309", "nan", "inf", "-inf", ".nan", ".inf", "NaN", "Infinity",
    "9" * 30, "9" * 400, "9" * 5000, "0x10", "0b1", "010", "1_000", "1e5", "1.5.2", "1,5", "1,500.5", "--1", "+-3",
    "1/0", "0/1", "1 1/2", "1e-9", "1e9", "0.0000001", "1e", "e1", ".", "-", "+", "٣", "²", "½", "1 000", "1e400",
    "5e-324", "-0", "0.1", "3", "100", "1e3", "2e6",
)  # fmt: skip

UNITS = (
    "mm", "m", "cm", "in", "km", "ohm", "kohm", "Mohm", "mohm", "Ω", "uF", "µF", "μF", "nF", "pF", "F", "mH", "uH", "H",
    "Hz", "kHz", "MHz", "L", "mL", "ft3", "m3", "cm2", "m2", "g", "kg", "W", "kW", "V", "A", "%", "dB", "deg", "degC",
    "K", "K/W", "s", "min", "T.m", "N/A", "mm/N", "um/N", "kg/s", "Pa.s/m2", "kg/m3", "furlong", "", "dB/octave",
)  # fmt: skip

TEXTS = (
    "", " ", "~", "null", "true", "false", "yes", "no", "on", "off", "2020-01-01", "12:30", "12:30:45", "!!int", "*a",
    "&a", "[", "]", "{", "}", "a: b", "a #b", "#", "---", "...", "|", ">", "%", "@", "`", "\u00e4\u00f6\u00fc\u00df",
    "\u6f22\u5b57", "\U0001f50a", "\u202eabc", "a\u0301" * 20, "\ufeff", "\u2028", "\u0085", "\u00a0", "a\tb", "a\nb",
    "a\r\nb", "\x00", "\x1b[31mred", "\x07", "\x7f", "\x1b]0;title\x07", "\ud800", "../..", "/", "\\", "a" * 300,
    "word " * 2000, "x" * 70_000, "'", '"', "''", '""', "${HOME}", "$(id)", "%s%n%d", "{0}", "{self}", "__class__",
    "con", "nul", "-", "--help", "=1+1", "omit", "fit", "link", "common", "in", "0", "woofer", "free_standing",
)  # fmt: skip

FREE_TEXTS = ("reason", "kit", "name")  # keys that hold a builder's own words

_LEADING = re.compile(r"([+-]*[\d.,/ ]*\d)\s*(.*)", re.DOTALL)


def parts(text: str) -> tuple[str, str] | None:
    """The number and the unit of a quantity as it is typed."""
    found = _LEADING.fullmatch(text)
    return (found[1], found[2]) if found else None


def scaled(text: str, chance: random.Random, most: float = 3.0) -> str:
    """The same quantity, larger or smaller by a factor of up to `most`."""
    found = parts(text)
    if found is None:
        return text
    try:
        value = float(found[0].strip("+-"))
    except ValueError:
        return text
    return f"{value * most ** chance.uniform(-1, 1):.4g} {found[1]}".strip()
