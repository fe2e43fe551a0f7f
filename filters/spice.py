"""Circuits as text in the syntax that SPICE programs share: statements, names, numbers.

Names of points and parts in a kit may differ by case only, SPICE's may not, and 0 is its ground: a `Sheet` hands out
names that are its own. Everything is linear and meant for .ac; resistances, coils and capacitors may be negative.
"""

from __future__ import annotations

import math
import re
import textwrap
from itertools import pairwise

GROUND = "0"
WIDTH = 100


class Sheet:
    """A netlist in the making. Element names keep the wanted name where it is free and begins with the right letter."""

    def __init__(self, title: str) -> None:
        self._lines = [f"* {_plain(title)}"]  # the first line is the title whatever it holds
        self._nodes = {GROUND, "gnd"}
        self._elements: set[str] = set()

    def text(self) -> str:
        """The netlist, with its .end."""
        return "\n".join([*self._lines, ".end", ""])

    def comment(self, text: str = "") -> None:
        self._lines += textwrap.wrap(_plain(text), WIDTH, initial_indent="* ", subsequent_indent="*   ") or ["*"]

    def command(self, text: str) -> None:
        self._lines.append(text)

    def node(self, wanted: str) -> str:
        """A name for a new node, like `wanted`."""
        return _unused(_word(wanted), self._nodes)

    def chain(self, name: str, a: str, b: str, links: int) -> list[tuple[str, str]]:
        """The pairs of nodes of `links` elements in series from `a` to `b`."""
        nodes = [a, *(self.node(f"{name}_{i}") for i in range(1, links)), b]
        return list(pairwise(nodes))

    def resistor(self, name: str, a: str, b: str, ohm: float) -> str:
        """Zero ohm becomes a source of 0 V, which programs take without changing it to some milliohms."""
        return self.sense(name, a, b) if ohm == 0 else self._element("R", name, a, b, _number(ohm))

    def capacitor(self, name: str, a: str, b: str, farad: float) -> str:
        return self._element("C", name, a, b, _number(farad))

    def coil(self, name: str, a: str, b: str, henry: float) -> str:
        return self._element("L", name, a, b, _number(henry))

    def coupling(self, name: str, coil_a: str, coil_b: str, coefficient: float) -> str:
        return self._element("K", name, coil_a, coil_b, _number(coefficient))

    def sense(self, name: str, a: str, b: str) -> str:
        """A source of 0 V whose current, from `a` through it to `b`, controls other sources."""
        return self._element("V", name, a, b, "DC 0")

    def source(self, name: str, a: str, b: str, volts: float) -> str:
        return self._element("V", name, a, b, f"DC 0 AC {_number(volts)}")

    def current_by_volts(self, name: str, into: str, control: str, siemens: float) -> str:
        """Drives siemens v(control) into a node."""
        return self._element("G", name, GROUND, into, control, GROUND, _number(siemens))

    def current_by_current(self, name: str, into: str, sense: str, gain: float) -> str:
        """Drives gain i(sense) into a node."""
        return self._element("F", name, GROUND, into, sense, _number(gain))

    def volts_by_volts(self, name: str, a: str, b: str, control: str, gain: float) -> str:
        """v(a) - v(b) = gain v(control)."""
        return self._element("E", name, a, b, control, GROUND, _number(gain))

    def line(self, name: str, a: str, b: str, impedance: float, delay: float) -> str:
        """A lossless line between nodes `a` and `b` and ground."""
        return self._element("T", name, a, GROUND, b, GROUND, f"Z0={_number(impedance)}", f"TD={_number(delay)}")

    def _element(self, letter: str, wanted: str, *fields: str) -> str:
        word = _word(wanted)
        name = _unused(word if word.startswith(letter.lower()) else f"{letter.lower()}_{word}", self._elements)
        name = letter + name[1:]
        self._lines.append(" ".join([name, *fields]))
        return name


def _number(value: float) -> str:
    """The shortest text that reads back as the same float; a numpy scalar's own repr is misread by SPICE programs."""
    if not math.isfinite(value):
        raise ValueError(f"netlist: {value!r} is not a value for a part")
    return repr(float(value))


def _word(text: str) -> str:
    """Lower case, since SPICE knows no other; letters, digits and underscores of plain text only."""
    return re.sub(r"[^a-z0-9_]", "_", text.lower())


def _unused(wanted: str, taken: set[str]) -> str:
    name, count = wanted, 1
    while name in taken:
        count += 1
        name = f"{wanted}_{count}"
    taken.add(name)
    return name


def _plain(text: str) -> str:
    """One line of printable text."""
    return " ".join(text.split()).encode("ascii", "replace").decode()
