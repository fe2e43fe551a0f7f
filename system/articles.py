"""What the stock offers for a part on a list: the article itself, else the best pair of articles, else nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from filters import stock as series
from filters.stock import HOW_THEY_ADD, Choice, Connection
from system import wording
from system.kit import Offers, PartKind, StockItem
from system.members import divided, share_of_rating

SAME = 0.005  # relative: values this close are one value
PAIR = 0.05  # relative error that a pair may have where the part has no tolerance
DC_RESISTANCE = 0.1  # relative: what a coil's may differ by without a word
CONNECTIONS: tuple[Connection, ...] = ("parallel", "series")
NOT_IN_STOCK = "not in stock"
FILMS = ("film", "polypropylene", "polyester")  # a film capacitor may be any of these
_PLAIN = re.compile(r"[0-9]+(\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A part to buy: value in SI units, tolerance as a ratio, the `rating` (V, W or A) it needs.

    `resistance` is a coil's dc resistance, ohm; zero where none is stated.
    """

    kind: PartKind
    value: float
    type: str | None
    tolerance: float | None
    rating: float
    resistance: float = 0.0


@dataclass(frozen=True, slots=True)
class Offer:
    """What there is for a wanted part. `items` are one article or the two of a pair; none from a series of values.

    `members` are the values to take, `error` how far they come out from the value wanted; `price` is that of one part,
    None where it is no plain decimal number. `remarks` say what the stock does not tell or does not have enough of.
    """

    found: Literal["article", "series", "pair", "wire", "nothing"]
    items: tuple[StockItem, ...] = ()
    members: tuple[float, ...] = ()
    connection: Connection | None = None
    error: float = 0.0
    price: Decimal | None = None
    remarks: tuple[str, ...] = ()


def offer(wanted: Wanted, offers: Offers, count: int) -> Offer:
    """The best that `offers` have for `count` pieces of a part.

    An article counts as the part within 0.5 % of its value, with a rating and tolerance at least as good and of its
    type; where the stock does not tell, a remark does. A pair is within the part's tolerance (5 % where it has none),
    and each of its members bears its share of what the part does.
    """
    if wanted.value == 0:
        return Offer("wire", remarks=("a piece of wire",))
    if isinstance(offers, str):
        return _from_series(wanted, offers)
    fitting = [item for item in offers if item.value > 0 and _may_serve(wanted, item)]
    same = [item for item in fitting if abs(item.value / wanted.value - 1) <= SAME and _bears(item, wanted.rating)]
    if same:
        best = min(same, key=lambda item: _rank(wanted, item, count))
        remarks = _remarks(wanted, item=best, count=count, resistance=True)
        return Offer("article", (best,), (best.value,), None, best.value / wanted.value - 1, price(best), remarks)
    return _pair(wanted, fitting, count)


def price(item: StockItem) -> Decimal | None:
    """The price of an article as an exact number; None where there is none, or it is written with more than digits."""
    return Decimal(item.price) if item.price and _PLAIN.fullmatch(item.price) else None


def _bears(item: StockItem, rating: float) -> bool:
    return item.rating is None or item.rating >= rating


def _may_serve(wanted: Wanted, item: StockItem) -> bool:
    """Whether nothing that the stock says of an article but its value and rating is against it."""
    types = FILMS if wanted.type == "film" else (wanted.type,)
    return (
        (wanted.type is None or item.type is None or item.type in types)
        and (wanted.tolerance is None or item.tolerance is None or item.tolerance <= wanted.tolerance)
        and item.in_stock != 0
    )


def _remarks(wanted: Wanted, item: StockItem, count: int, resistance: bool) -> tuple[str, ...]:
    remarks = []
    if item.rating is None:
        remarks.append("its rating is not in the stock list")
    if wanted.tolerance is not None and item.tolerance is None:
        remarks.append("its tolerance is not in the stock list")
    if resistance and wanted.kind == "coil" and wanted.resistance:
        if item.dc_resistance is None:
            remarks.append("its dc resistance is not in the stock list")
        elif abs(item.dc_resistance / wanted.resistance - 1) > DC_RESISTANCE:
            remarks.append(f"dc resistance {item.dc_resistance:.3g} ohm, not {wanted.resistance:.3g} ohm")
    if item.in_stock is not None and item.in_stock < count:
        remarks.append(f"only {item.in_stock} in stock")
    return tuple(remarks)


def _rank(wanted: Wanted, item: StockItem, count: int) -> tuple[float, ...]:
    """Enough of them, then the fewest remarks, the nearest dc resistance and value, the lowest price."""
    off = abs((item.dc_resistance or 0.0) - wanted.resistance) if wanted.kind == "coil" else 0.0
    cost = price(item)
    return (
        item.in_stock is not None and item.in_stock < count,
        len(_remarks(wanted, item, count, resistance=True)),
        off,
        abs(item.value / wanted.value - 1),
        float("inf") if cost is None else float(cost),
    )


def _from_series(wanted: Wanted, name: str) -> Offer:
    single = series.nearest(wanted.value, name)
    assert single.error is not None
    if abs(single.error) <= SAME:
        return Offer("series", (), single.members, None, single.error)
    best = _best(wanted, name)
    return Offer("pair", (), best.members, best.connection, best.error or 0.0)


def _pair(wanted: Wanted, fitting: Sequence[StockItem], count: int) -> Offer:
    """The nearest pair whose members bear their shares."""
    if not fitting:
        return Offer("nothing", remarks=(NOT_IN_STOCK,))
    pairs = sorted(_pairs(wanted, fitting), key=lambda pair: abs(pair.error or 0.0))
    for pair in pairs:
        items = _members(wanted, pair, fitting, count)
        if items:
            return _offered(wanted, pair, items, count)
    if pairs:
        return Offer("nothing", remarks=("not in stock, and no pair bears enough",))
    off = (_best(wanted, tuple(item.value for item in fitting)).error or 0.0) * 100
    return Offer("nothing", remarks=(f"not in stock, and the best pair is {off:+.1f} % off",))


def _pairs(wanted: Wanted, fitting: Sequence[StockItem]) -> Iterator[Choice]:
    """Every pair of values that is near enough."""
    widest, values = wanted.tolerance or PAIR, [item.value for item in fitting]
    for connection in CONNECTIONS:
        how = HOW_THEY_ADD[wanted.kind, connection]
        low, high = wanted.value * (1 - widest), wanted.value * (1 + widest)
        for value, members in series.pairs(values, how, low, high):
            yield Choice(value, members, connection, value / wanted.value - 1)


def _members(wanted: Wanted, pair: Choice, fitting: Sequence[StockItem], count: int) -> tuple[StockItem, ...]:
    """An article for each member of a pair that bears its share; none where there is no such article."""
    items = []
    for value, share in zip(pair.members, divided(wanted.kind, pair.members, str(pair.connection)), strict=True):
        rating = wanted.rating * share_of_rating(wanted.kind, *share)
        able = [item for item in fitting if item.value == value and _bears(item, rating)]
        if not able:
            return ()
        items.append(min(able, key=lambda item: _rank(wanted, item, _taken(pair, count))))
    return tuple(items)


def _taken(pair: Choice, count: int) -> int:
    """How many of an article a pair takes: its members may be alike."""
    one, other = pair.members
    return 2 * count if one == other else count


def _offered(wanted: Wanted, pair: Choice, items: tuple[StockItem, ...], count: int) -> Offer:
    prices = [each for each in map(price, items) if each is not None]
    remarks = []
    for item in dict.fromkeys(items):
        name = wording.part_value(wanted.kind, item.value)
        remarks += [f"{name}: {text}" for text in _remarks(wanted, item, _taken(pair, count), resistance=False)]
    if wanted.kind == "coil" and wanted.resistance:
        remarks.append(_resistance_of(wanted, [item.dc_resistance for item in items], pair.connection or "series"))
    total = sum(prices, Decimal(0)) if len(prices) == len(items) else None
    return Offer("pair", items, pair.members, pair.connection, pair.error or 0.0, total, tuple(remarks))


def _resistance_of(wanted: Wanted, ohms: Sequence[float | None], connection: Connection) -> str:
    """What the dc resistance of a pair of coils comes to."""
    known = [ohm for ohm in ohms if ohm is not None]
    if len(known) < len(ohms):
        return "its dc resistance is not in the stock list"
    adds = HOW_THEY_ADD["resistor", connection] == "values"
    total = sum(known) if adds else 1 / sum(1 / ohm for ohm in known)
    return f"dc resistance {total:.3g} ohm for {wanted.resistance:.3g} ohm"


def _best(wanted: Wanted, values: series.Stock) -> Choice:
    """The nearest pair, in parallel or in series."""
    pairs = [series.best_pair(wanted.value, values, wanted.kind, connection) for connection in CONNECTIONS]
    return min(pairs, key=lambda pair: abs(pair.error or 0.0))
