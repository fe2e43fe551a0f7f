"""`parts` as plain data for JSON and CSV; values in ohm, F and H."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from system.articles import Offer, Wanted
from system.pairing import Apart, Judged, Paired
from system.ratings import TESTS
from system.reasons import Change, Effect, Sum, content
from system.sheets.data import numbers, table_csv
from system.shopping import RATED_BY, Label, Line, Member, Shopping, Spot, links

NO_TOTAL = "some have no price"


def parts(result: Shopping) -> dict[str, Any]:
    """What `parts --json` says beside the parts in hand."""
    return {
        "count": result.count,
        "places": [place(spot) for here in result.spots.values() for spot in here.values()],
        "buy": [line(each) for each in result.lines],
        "total": {
            "price": None if result.total is None else str(result.total),
            "remark": NO_TOTAL if result.total is None else "",
        },
        "labels": {each.variant.name: label(each) for each in result.labels},
    }


def place(spot: Spot) -> dict[str, Any]:
    """One place of one variant; `value` is null where no part is fitted, `part_value` is that of its part."""
    reason, need = spot.reason, spot.need
    here = reason.place
    kind = RATED_BY[here.part.kind]
    return {
        "ref": here.reference,
        "variant": reason.variant,
        "state": here.state,
        "action": reason.action,
        "kind": here.part.kind,
        "value": here.part.value if here.state == "fit" else None,
        "part_value": here.part.value,
        "why": "; ".join(reason.why),
        "reasons": list(reason.why),
        "same_in_all": reason.same,
        "effects": [effect(each) for each in reason.effects],
        "rating": need.rating if need else None,
        "rating_of": kind,
        "rating_unit": TESTS[kind].unit,
        "asked": spot.bears,
        "asked_at_worst": need.asked if need else None,
        "worst_variant": need.variant if need else None,
        "given_rating": TESTS[kind].rating(here.part),
        "saturation_a": need.saturation if need else None,
        "made_of_how": here.part.made_of_how if here.part.made_of else None,
        "made_of": [_member(each) for each in spot.members],
    }


def _member(each: Member) -> dict[str, Any]:
    return {
        "value": each.part.value,
        "share_of_current": each.current,
        "share_of_volts": each.volts,
        "asked_at_worst": each.need.asked,
        "rating": each.need.rating,
    }


def effect(each: Effect) -> dict[str, Any]:
    """What a place's part does over what else could be there."""
    return {
        "with": content(each.new),
        "instead_of": content(each.old),
        "as_in": list(each.like),
        "drivers": list(each.drivers),
        "drivers_change_db": _change(each.branch),
        "sum_changes_db": _change(each.total),
        "before": _sum(each.before),
        "after": _sum(each.after),
        "impossible": each.impossible or None,
    }


def _change(change: Change | None) -> dict[str, float] | None:
    if change is None:
        return None
    return {"mean": change.mean, "largest": change.largest, "largest_hz": change.frequency}


def _sum(figures: Sum | None) -> dict[str, float | None] | None:
    if figures is None:
        return None
    return {
        "minus_3_db_hz": figures.minus_3,
        "lowest_impedance_ohm": figures.lowest_impedance,
        "uneven_db": figures.uneven,
    }


def wanted(part: Wanted) -> dict[str, Any]:
    return {
        "kind": part.kind,
        "value": part.value,
        "type": part.type,
        "tolerance": part.tolerance,
        "rating": part.rating,
        "rating_of": RATED_BY[part.kind],
        "rating_unit": TESTS[RATED_BY[part.kind]].unit,
        "dc_resistance_ohm": part.resistance if part.kind == "coil" else None,
    }


def line(each: Line) -> dict[str, Any]:
    """A line of the buying list; `price` is that of one part, for a pair of both its members together."""
    return {
        **wanted(each.wanted),
        "count": each.count,
        "per_cabinet": dict(each.each),
        "places": list(each.places),
        "given_rating": each.given,
        **_offer(each.offer),
        "price": None if each.offer.price is None else str(each.offer.price),
        "line_price": None if each.price is None else str(each.price),
    }


def _offer(found: Offer) -> dict[str, Any]:
    articles = [item.article for item in found.items if item.article]
    stocks = [item.in_stock for item in found.items if item.in_stock is not None]
    return {
        "found": found.found,
        "article": " + ".join(articles) or None,
        "in_stock": min(stocks, default=None),
        "made_of": list(found.members),
        "made_of_how": found.connection,
        "error_percent": found.error * 100,
        "remarks": list(found.remarks),
    }


def label(each: Label) -> dict[str, Any]:
    return {
        "cabinet": each.variant.cabinet.name,
        "attitude": each.variant.attitude,
        "places": {spot.reason.place.reference: content(spot.reason.place) for spot in each.spots},
        "links": {place.reference: list(place.between) for place in links(each.spots)},
        "left_in_the_bag": [{**wanted(left.wanted), "count": left.count} for left in each.left],
    }


def paired(result: Paired) -> dict[str, Any]:
    """One variant of what `--hand` gives."""
    return {
        "cabinets": {
            name: {reference: row[k].part.value for reference, row in result.chosen.items()}
            for k, name in enumerate(result.cabinets)
        },
        "parts": [
            {"ref": reference, "cabinet": name, **_judged(judged)}
            for reference, row in result.chosen.items()
            for name, judged in zip(result.cabinets, row, strict=True)
        ],
        "spare": [{"ref": judged.part.reference, **_judged(judged)} for judged in result.spare],
        "not_for_this_variant": [{"ref": p.reference, "value": p.value, "line": p.line} for p in result.others],
        "at_marked_value": list(result.unmeasured),
        "as_listed": _apart(result.listed),
        "matched": _apart(result.matched),
        "every_arrangement_tried": result.complete,
        "frequency_hz": numbers(result.frequency),
    }


def _judged(judged: Judged) -> dict[str, Any]:
    return {
        "value": judged.part.value,
        "line": judged.part.line,
        "marked_value": judged.marked,
        "deviation_percent": judged.deviation * 100,
        "out_of_tolerance": judged.outside,
    }


def _apart(apart: Apart) -> dict[str, Any]:
    return {
        "worst_db": apart.worst,
        "worst_hz": apart.frequency,
        "mean_db": apart.mean,
        "difference_db": numbers(apart.curve),
    }


PLACE_COLUMNS = (
    "variant", "ref", "state", "action", "kind", "value", "rating", "rating_of", "rating_unit", "asked",
    "worst_variant", "given_rating", "why",
)  # fmt: skip
BUY_COLUMNS = (
    "count", "kind", "value", "type", "tolerance", "rating", "rating_of", "rating_unit", "dc_resistance_ohm",
    "given_rating", "found", "article", "in_stock", "price", "line_price", "made_of_how", "error_percent",
)  # fmt: skip
HAND_COLUMNS = ("cabinet", "ref", "value", "line", "marked_value", "deviation_percent", "out_of_tolerance")


def csv_files(result: Shopping, pairs: Sequence[Paired]) -> dict[str, str]:
    """The files of --csv by name: places, the buying list, and the parts in hand where there are any."""
    places = [place(spot) for here in result.spots.values() for spot in here.values()]
    bought = [line(each) for each in result.lines]
    lists = ("places", "made_of", "remarks")
    rows = [
        [*(each[name] for name in BUY_COLUMNS), *(" ".join(map(str, each[name])) for name in lists)] for each in bought
    ]
    files = {
        "places.csv": table_csv(PLACE_COLUMNS, [[each[name] for name in PLACE_COLUMNS] for each in places]),
        "buy.csv": table_csv([*BUY_COLUMNS, *lists], rows),
    }
    if pairs:
        given = [(each.variant.name, row) for each in pairs for row in paired(each)["parts"]]
        header = ["variant", *HAND_COLUMNS]
        files["hand.csv"] = table_csv(header, [[name, *(row[key] for key in HAND_COLUMNS)] for name, row in given])
    return files
