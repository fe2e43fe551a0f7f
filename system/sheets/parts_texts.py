"""The text of `parts`: what goes where and why, what to buy, the bags' labels, and which part in hand goes where."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from system import wording
from system.articles import NOT_IN_STOCK, Offer, Wanted
from system.kit import Offers, Part, PartKind
from system.pairing import Apart, Judged, Paired
from system.ratings import TESTS
from system.reasons import Action
from system.sheets.limit_texts import CAUTIONS, VALUES
from system.sheets.parts_data import NO_TOTAL
from system.sheets.tables import WIDTH, table, wrap
from system.sheets.texts import cabinet_text, heading, placement_text
from system.shopping import RATED_BY, Label, Left, Line, Need, Shopping, Spot, links
from system.workshop.cautionmodel import DISCHARGE

TITLE = "What goes where, why, and what to buy: computed for these drivers in these cabinets"
ACTIONS: Mapping[Action, str] = {"fit": "fit", "change": "fit, differs", "link": "LINK", "leave_out": "LEAVE OUT"}
JOINED = {"parallel": "in parallel", "series": "in series"}
PEAK = {"voltage": " peak"}  # the others are rms, or heat
HARD_SPACE = "\u00a0"
ABOUT = (
    "Here: what the part bears in this variant, as `stress` has it (peak V across a capacitor, W of heat in a resistor,"
    " A rms through a coil). Order: the next size sold that leaves the model's 1.5 dB, for the variant that asks most"
    " of this part, so that one part serves all; coils to a tenth of an ampere. A coil's dc resistance is part of its"
    " value. Changes of level are this variant's, solved with one thing and with the other, acoustics the same, a"
    " receiver's high-pass not counted; a driver's is that of its volts over its own band, unevenness the deviation"
    " from the mean level. `fit, differs`: another variant has another value there."
)
CHARGED = f"A capacitor may hold a charge. Before it is touched or measured, {DISCHARGE}."


def parts(result: Shopping, pairs: Sequence[Paired]) -> str:
    """The places of each variant, the list, a label for each bag, and the parts in hand."""
    lines = [*wrap(heading(result.kit), "  ", ""), TITLE]
    for name, here in result.spots.items():
        variant = result.kit.variants[name]
        where = f"cabinet {cabinet_text(variant)}, {placement_text(variant.placement)}"
        lines += ["", *wrap(f"{name}: {where}", "  ", ""), *_places(list(here.values()))]
    lines += ["", *_buy(result)]
    for label in result.labels:
        lines += ["", *_label(label)]
    for each in pairs:
        lines += ["", *_paired(each)]
    for text in (ABOUT, f"{CHARGED} {CAUTIONS[1]}"):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def _places(spots: Sequence[Spot]) -> list[str]:
    if not spots:
        return ["  no places on the board"]
    rows = []
    for spot in spots:
        place = spot.reason.place
        given = TESTS[RATED_BY[place.part.kind]].rating(place.part)
        rows.append(
            [
                f"{place.reference} {wording.part_value(place.part.kind, place.part.marked)}",
                ACTIONS[spot.reason.action],
                size_text(place.part.kind, spot.bears, 2),
                order_text(place.part.kind, spot.need),
                given_text(place.part.kind, given, spot.need),
                spot.need.variant if spot.need else wording.NOTHING,
            ]
        )
    header = ["place", "do", "here", "order", "kit has", "asked most in"]
    lines = _narrow(table(header, rows, indent="  "))
    for spot in spots:
        for text in _why(spot):
            lines += wrap(f"{spot.reason.place.reference}: {text}", "    ", "  ")
    same: dict[str, list[str]] = {}
    for spot in spots:
        if spot.reason.same:
            same.setdefault(spot.reason.why[-1], []).append(spot.reason.place.reference)
    for text, names in same.items():
        lines += wrap(f"{', '.join(names)}: {text}", "    ", "  ")
    return lines


def _why(spot: Spot) -> Iterator[str]:
    """Each reason but that a place is the same everywhere, which is told of all such places together."""
    why = spot.reason.why
    yield from why[:-1] if spot.reason.same else why
    if spot.members:
        yield members_text(spot)


def members_text(spot: Spot) -> str:
    """`100 uF + 120 uF in parallel: 45 % + 55 % of the current; order 63 V + 63 V`."""
    part = spot.reason.place.part
    kind = part.kind
    values = " + ".join(wording.part_value(kind, member.part.value) for member in spot.members)
    parallel = part.made_of_how == "parallel"
    shares = [member.current if parallel else member.volts for member in spot.members]
    share = " + ".join(f"{each * 100:.0f} %" for each in shares)
    orders = [order_text(kind, member.need) for member in spot.members]
    order = f"each {orders[0]}" if len(set(orders)) == 1 else " + ".join(orders)
    return f"{values} {JOINED[part.made_of_how]}: {share} of the {'current' if parallel else 'volts'}; order {order}"


def size_text(kind: PartKind, value: float | None, digits: int = 4) -> str:
    """`63 V`, `0.31 W`: a size as a rating reads, or a load to two figures."""
    if value is None:
        return wording.NOTHING
    unit = TESTS[RATED_BY[kind]].unit
    return VALUES[unit](value) if digits > 2 else f"{_two_figures(value)} {unit}"


def _two_figures(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 or value < 0.005 else f"{value:.2f}"


def order_text(kind: PartKind, need: Need | None) -> str:
    if need is None:
        return wording.NOTHING
    saturates = f", {need.saturation:.3g} A peak" if need.saturation is not None else ""
    return f"{size_text(kind, need.rating)}{saturates}"


def given_text(kind: PartKind, given: float | None, need: Need | None) -> str:
    """The kit's own rating, of a part that is fitted."""
    if need is None or given is None:
        return wording.NOTHING
    return f"{size_text(kind, given)}{', too small' if given < need.asked else ''}"


def _narrow(lines: Sequence[str]) -> list[str]:
    """Rows of a table; one that long names make wider than the page goes on in the next line."""
    return [piece for line in lines for piece in ([line] if len(line) <= WIDTH else wrap(line, "      ", ""))]


def part_words(part: Wanted) -> str:
    """`capacitor 6.8 uF film 5 %`, `coil 0.68 mH 0.24 ohm dc`."""
    words = [part.kind, wording.part_value(part.kind, part.value)]
    if part.resistance:
        words.append(f"{part.resistance:.3g} ohm dc")
    if part.type:
        words.append(part.type.replace("_", " "))
    if part.tolerance is not None:
        words.append(f"{part.tolerance * 100:.3g} %")
    return " ".join(words)


def _buy(result: Shopping) -> list[str]:
    names = list(result.spots)
    cabinets = f"{result.count} cabinet{'' if result.count == 1 else 's'}"
    whose = f"of {names[0]}" if len(names) == 1 else f"of any one of {', '.join(names)}"
    lines = wrap(f"To buy, for {cabinets} {whose}", "  ", "")
    if not result.lines:
        return [*lines, "  nothing: no part is fitted"]
    rows = [
        [
            str(line.count),
            part_words(line.wanted),
            size_text(line.wanted.kind, line.wanted.rating),
            size_text(line.wanted.kind, line.given),
            " ".join(line.places),
            stock_text(line, result.kit.stock.of(line.wanted.kind)),
        ]
        for line in result.lines
    ]
    lines += _narrow(table(["pieces", "part", "at least", "kit has", "for", "from stock"], rows, indent="  "))
    for line in result.lines:
        told = [*pair_text(line.wanted, line.offer), *(text for text in line.offer.remarks if text != NOT_IN_STOCK)]
        if told:
            lines += wrap(f"{part_words(line.wanted)}: {'; '.join(told)}", "    ", "  ")
    lines.append(f"  together {result.total}" if result.total is not None else f"  no total price: {NO_TOTAL}")
    return lines


def stock_text(line: Line, offers: Offers) -> str:
    """`FC-68, 1.20 each, 2.40`."""
    found = line.offer
    words = {
        "article": "in stock, unnamed",
        "series": f"{offers} value",
        "pair": "a pair, below",
        "wire": "a wire",
        "nothing": NOT_IN_STOCK,
    }
    article = found.items[0].article if found.found == "article" else None
    prices = []
    if found.price is not None and line.price is not None:
        prices = [f"{found.price} each", str(line.price)] if line.count > 1 else [str(found.price)]
    return ", ".join([article or words[found.found], *prices])


def pair_text(part: Wanted, found: Offer) -> Iterator[str]:
    """`NP-100 + NP-120 in parallel, +0.0 %`."""
    if found.found == "pair":
        values = [wording.part_value(part.kind, value) for value in found.members]
        named = [
            f"{item.article} ({value})" if item.article else value
            for item, value in zip(found.items, values, strict=False)
        ]
        yield f"{' + '.join(named or values)} {JOINED[found.connection or 'parallel']}, {found.error * 100:+.1f} %"


def _label(label: Label) -> list[str]:
    """Fit, link, leave out, and what is left in the bag."""
    lines = wrap(f"Label of the bag: {label.variant.name}, cabinet {cabinet_text(label.variant)}", "  ", "")
    by_state: dict[str, list[str]] = {"fit": [], "omit": []}
    for spot in label.spots:
        place = spot.reason.place
        by_state.setdefault(place.state, []).append(f"{place.reference} {_with_members(place.part)}")
    wires = [f"{place.reference}, from {place.between[0]} to {place.between[1]}" for place in links(label.spots)]
    rows = {
        "fit": by_state["fit"],
        "link with a wire": wires,
        "leave out": by_state["omit"],
        "left in the bag of one cabinet": [_left(left) for left in label.left],
    }
    for words, items in rows.items():
        whole = [item.replace(" ", HARD_SPACE) for item in items]  # so that no value is torn from its unit
        text = wrap(f"{words}: {', '.join(whole) or 'nothing'}", "    ", "  ")
        lines += [line.replace(HARD_SPACE, " ") for line in text]
    return lines


def _with_members(part: Part) -> str:
    text = wording.part_value(part.kind, part.marked)
    if not part.made_of:
        return text
    values = " + ".join(wording.part_value(part.kind, value) for value in part.made_of)
    return f"{text} ({values} {JOINED[part.made_of_how]})"


def _left(left: Left) -> str:
    return f"{left.count}x {part_words(left.wanted)}"


def _paired(result: Paired) -> list[str]:
    """Which part in hand goes to which cabinet, and how far apart the cabinets are."""
    lines = wrap(f"Measured parts for {result.variant.name}: {wording.listed(result.cabinets)}", "  ", "")
    for reference, row in result.chosen.items():
        kind = result.variant.places[reference].part.kind
        marked = wording.part_value(kind, row[0].marked)
        given = [f"{name} {_judged(kind, j)}" for name, j in zip(result.cabinets, row, strict=True)]
        spare = [_judged(kind, judged) for judged in result.spare if judged.part.reference == reference]
        rest = f"; spare: {', '.join(spare)}" if spare else ""
        lines += wrap(f"{reference} {marked}: {', '.join(given)}{rest}", "    ", "  ")
    if result.others:
        names = dict.fromkeys(f"{part.reference} (line {part.line})" for part in result.others)
        lines += wrap(f"in hand, and for nothing that is fitted here: {', '.join(names)}", "    ", "  ")
    if not result.chosen:
        return [*lines, "  none of the parts in hand is for a place that is fitted here"]
    if result.unmeasured:
        lines += wrap(f"not in hand, taken as marked: {', '.join(result.unmeasured)}", "    ", "  ")
    how = "every arrangement was tried" if result.complete else "of too many arrangements the best that was found"
    lines += wrap(
        f"the cabinets differ by at most {_apart(result.listed)} as listed, and {_apart(result.matched)} as given here"
        f" ({how}), by these parts alone; drivers differ too",
        "    ", "  ",
    )  # fmt: skip
    return lines


def _judged(kind: PartKind, judged: Judged) -> str:
    """`217.3 uF (line 2, -1.2 %)`."""
    outside = ", OUT OF TOLERANCE" if judged.outside else ""
    value = wording.part_value(kind, judged.part.value)
    return f"{value} (line {judged.part.line}, {judged.deviation * 100:+.1f} %{outside})"


def _apart(apart: Apart) -> str:
    digits = 2 if apart.worst < 1 else 1
    return f"{apart.worst:.{digits}f} dB at {wording.hertz(apart.frequency)}"
