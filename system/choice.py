"""What there is to choose from, and what a choice is held against: stock, spread, windows and wishes; SI units.

Plain values without numpy; `system.kit` tells them on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from enclosures.frozen import frozen
from filters import stock as series

if TYPE_CHECKING:
    from system.kit import Table

PartKind = Literal["resistor", "capacitor", "coil"]


@frozen
class StockItem:
    """One article in stock: ohm, F or H, tolerance as a ratio; article and price as the stock file has them."""

    value: float  # ohm, F or H
    tolerance: float | None = None
    rating: float | None = None  # V of a capacitor, W of a resistor, A of a coil
    type: str | None = None
    article: str | None = None
    price: str | None = None
    in_stock: int | None = None  # None: enough
    dc_resistance: float | None = None  # ohm, of a coil


Offers = str | tuple[StockItem, ...]  # a series name (E6 ... E192), or the articles


@frozen
class Stock:
    """What the drawer holds of each kind of part."""

    capacitors: Offers = "E12"
    resistors: Offers = "E12"
    coils: Offers = "E12"

    def between(self, kind: PartKind, low: float, high: float) -> list[StockItem]:
        """What there is from `low` to `high` (SI, both included), rising; an article that has run out is not there."""
        offers = self.of(kind)
        if isinstance(offers, str):
            return [StockItem(value) for value in series.values(offers, low, high)]
        here = [item for item in offers if low <= item.value <= high and item.in_stock != 0]
        return sorted(here, key=lambda item: item.value)

    def of(self, kind: PartKind) -> Offers:
        return {"capacitor": self.capacitors, "resistor": self.resistors, "coil": self.coils}[kind]


@frozen
class DriverSpread:
    """How far copies of a driver lie apart, to either side: ratios (0.1 for 10 %), `level` in dB.

    `level` is that of a response table, `re` scales an impedance table too. What is not given is as usual (common
    practice, no source), and `assumed` names it, as far as this driver has it: one known by its tables has no fs, and
    none has the spread of a linear excursion or a level that it does not have.
    """

    fs: float = 0.10
    qts: float = 0.10  # a ratio
    re: float = 0.04
    level: float = 0.5
    linear_excursion: float = 0.10  # a ratio
    assumed: tuple[str, ...] = ("fs", "qts", "re", "level", "linear_excursion")


@frozen
class SpreadSpec:
    """How many copies of the kit are drawn, and how values lie within their tolerance.

    `uniform`: anywhere within it alike; `normal`: the tolerance is two standard deviations, and nothing lies outside.
    A copy is alike to the kit as it is drawn within `level` (dB) and `impedance` (a ratio), in the window's band.
    """

    builds: int = 10_000
    law: Literal["uniform", "normal"] = "uniform"
    level: float = 1.0
    impedance: float = 0.1


@frozen
class Window:
    """How far a substitute may be from the kit as it is drawn: `level` (dB) in a band, `impedance` (ohm).

    Never finer than the meter: the kit reader refuses that, and widens to the meter what the kit leaves open.
    """

    level: float = 0.5
    lowest: float = 200.0  # Hz
    highest: float = 10e3  # Hz
    impedance: float = 0.2


@frozen
class Meter:
    """The smallest differences that the instruments at hand can show, and how far an ohmmeter is off.

    Its reading is off by `resistance_error` (a ratio) and by what is left of its `leads` (ohm) once they have been
    shorted and subtracted, to either side. Usual ones where not given (common practice, no source); `assumed` names
    them.
    """

    impedance: float = 0.1  # ohm
    level: float = 0.1  # dB
    resistance_error: float = 0.01
    leads: float = 0.1  # ohm
    assumed: tuple[str, ...] = ("resistance_error", "leads")


@frozen
class Target:
    """The response asked for, its level being free: flat, `tilt` dB an octave, or a `table` of dB over frequency.

    The table covers the band of its `RevalueSpec`.
    """

    tilt: float = 0.0
    table: Table | None = None


@frozen
class RevalueSpec:
    """What `revalue` may do: the parts that may `move` (none named: all that can), for what, and at what price.

    Those named are places on the board that some variant fits, and no coupled coils.
    """

    move: tuple[str, ...] = ()
    target: Target = Target()
    over: Literal["axis", "listening_window"] = "axis"
    lowest: float = 200.0  # Hz, of the band that counts
    highest: float = 10e3  # Hz
    price: float = 0.1  # dB that one more differing value must be worth
    most_differing: int | None = None  # values that differ between variants
    quieter: float = 1.0  # dB that a variant may lose of its reference level
