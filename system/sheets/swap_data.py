"""A substitute and what it changes as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from system.sheets.data import numbers, table_csv
from system.sheets.limit_data import number
from system.stress import PartStress
from system.summary import GRID
from system.swap import Change, Swap, Word, worst_of
from system.swap_advice import Added, Advice, Pair
from system.swap_driver import Fitted, LevelPart
from system.swap_table import Row, Rows


def part(reference: str, swaps: Sequence[Swap], advice: Mapping[str, Advice]) -> dict[str, Any]:
    """`swap --json` of a part; `advice` by the variant's name."""
    variants = {}
    for each in swaps:
        told = advice[each.name]
        variants[each.name] = {
            **_variant(each),
            "part": _part(each, reference),
            "series_resistor": _added(told.restoring) if told.restoring else None,
            "pair": _pair(told.pair) if told.pair else None,
            "advice": list(told.texts),
        }
    return {**_whole(swaps, {name: told.texts for name, told in advice.items()}), "variants": variants}


def driver(swaps: Sequence[tuple[Swap, Fitted | None]]) -> dict[str, Any]:
    """`swap --json` of a driver."""
    variants = {}
    for each, fitted in swaps:
        variants[each.name] = {**_variant(each), **(_fitted(fitted) if fitted else {"advice": []})}
    advice = {each.name: fitted.advice for each, fitted in swaps if fitted}
    return {**_whole([each for each, _ in swaps], advice), "variants": variants}


def _whole(swaps: Sequence[Swap], advice: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """The worst over the variants; those that are not changed count as they are."""
    changed = [each for each in swaps if not each.untouched] or list(swaps)
    worst = max(changed, key=lambda each: abs(each.change.level))
    lowest = [each.change.lowest_impedance for each in changed]
    moved = [size for each in changed if (size := largest_excursion(each)) is not None]
    return {
        "result": result(swaps),
        "worst_db": abs(worst.change.level),
        "worst_hz": worst.change.level_hz,
        "worst_variant": worst.name,
        "lowest_impedance_ohm": min((ohm for ohm in lowest if ohm is not None), default=None),
        "excursion_mm": max(moved) * 1e3 if moved else None,
        "advice": together(advice),
    }


def result(swaps: Iterable[Swap]) -> Word:
    """The worst of the variants."""
    return worst_of([each.judgement.result for each in swaps])


def together(advice: Mapping[str, Sequence[str]]) -> list[str]:
    """Every text once, with the variants that it is for where it is not for all of them."""
    whose: dict[str, list[str]] = {}
    for name, texts in advice.items():
        for text in texts:
            whose.setdefault(text, []).append(name)
    everyone = [name for name, texts in advice.items() if texts]
    return [text if names == everyone else f"{', '.join(names)}: {text}" for text, names in whose.items()]


def largest_excursion(each: Swap) -> float | None:
    """Of all cones (m), on the signal that the kit is judged on; None where none is known."""
    return max((moved.of_signal for moved in each.after.excursions.values()), default=None)


def _variant(each: Swap) -> dict[str, Any]:
    size = largest_excursion(each)
    before = each.before.excursions
    return {
        "result": each.judgement.result,
        "because": list(each.judgement.because),
        "untouched": each.untouched or None,
        **_change(each.change),
        "lowest_impedance_hz": each.change.lowest_impedance_hz,
        "lowest_impedance_change_ohm": each.change.lowest_change,
        "excursion_mm": None if size is None else size * 1e3,
        "excursions": {
            name: {
                "programme_mm": _millimetres(moved.programme),
                "sine_mm": moved.sine * 1e3,
                "sine_hz": moved.sine_hz,
                "programme_mm_before": _millimetres(before[name].programme) if name in before else None,
                "sine_mm_before": before[name].sine * 1e3 if name in before else None,
            }
            for name, moved in each.after.excursions.items()
        },
    }


def _millimetres(metres: float | None) -> float | None:
    return None if metres is None else metres * 1e3


def _change(change: Change) -> dict[str, Any]:
    return {
        "worst_db": abs(change.level),
        "worst_hz": change.level_hz,
        "change_db": change.level,
        "outside_change_db": change.outside,
        "outside_hz": change.outside_hz,
        "impedance_change_ohm": number(change.impedance),
        "impedance_change_hz": change.impedance_hz,
        "lowest_impedance_ohm": change.lowest_impedance,
    }


def _part(each: Swap, reference: str) -> dict[str, Any]:
    old, new = (shot.variant.places[reference] for shot in (each.before, each.after))
    here = each.after.stress.parts.get(reference)
    return {
        "kind": new.part.kind,
        "state": new.state,
        "value": new.part.value if new.state == "fit" else None,
        "value_before": old.part.value if old.state == "fit" else None,
        "made_of": list(new.part.made_of),
        "core": new.part.core,
        "type": new.part.type,
        **_borne(here),
    }


def _borne(here: PartStress | None) -> dict[str, Any]:
    """What a fitted part bears; nothing for a place without one."""
    if here is None:
        return {"watts": None, "sine_watts": None, "ratings": {}}
    return {
        "watts": (here.programme or here.sine).watts,
        "sine_watts": here.sine.watts,
        "ratings": {
            rated.kind: {
                "rating": rated.rating,
                "asked": rated.asked,
                "needed": rated.needed,
                "order": rated.order,
                "verdict": rated.verdict,
            }
            for rated in here.ratings
        },
    }


def _added(added: Added) -> dict[str, Any]:
    left = {"worst_db_left": abs(added.change.level), "worst_hz_left": added.change.level_hz}
    return {"ohm": added.ohm, "stock_ohm": added.stock, "watts": added.watts, "order_w": added.order, **left}


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "value": pair.value,
        "made_of": list(pair.members),
        "connection": pair.connection,
        "error": pair.error,
        "worst_db_left": abs(pair.change.level),
        "worst_hz_left": pair.change.level_hz,
    }


def _fitted(found: Fitted) -> dict[str, Any]:
    return {
        "drivers": {name: found.swap.after.variant.hookups[name].driver.name for name in found.names},
        "plays": found.role,
        "mean_change_db": found.mean,
        "reference_change_db": found.reference_change,
        "minus_3_db_hz_before": found.minus_3[0],
        "minus_3_db_hz": found.minus_3[1],
        "polarity": {
            each.driver: {"crossover_hz": each.crossover, "gain_db": each.gain, "turn_round": each.gain < 0}
            for each in found.polarities
        },
        "level_part": _level_part(found.level_part) if found.level_part else None,
        "limits": {
            name: {
                "linear_excursion_mm": _millimetres(moves.linear),
                "damage_excursion_mm": _millimetres(moves.damage),
            }
            for name, moves in found.moves.items()
        },
        "boxes": [
            {"is": new.words, "hz_before": old.resonance, "hz": new.resonance, "qtc_before": old.q, "qtc": new.q}
            for old, new in found.boxes
        ],
        "cannot_tell": list(found.cannot_tell),
        "advice": list(found.advice),
    }


def _level_part(found: LevelPart) -> dict[str, Any]:
    pad = found.pad
    return {
        "part": found.part or None,
        "tweeter": found.driver,
        "too_loud_db": found.off,
        "now_ohm": found.now,
        "wanted_ohm": found.wanted,
        "stock_ohm": found.stock,
        "balance_left_db": found.balance,
        "worst_db_left": abs(found.change.level) if found.change else None,
        "watts": found.watts,
        "order_w": found.order,
        "why_none": found.why or None,
        "both": {
            "parts": list(pad.parts),
            "wanted_ohm": list(pad.exact),
            "stock_ohm": list(pad.chosen),
            "worst_db_left": abs(pad.change.level),
        }
        if pad
        else None,
    }


def table(reference: str, found: Sequence[Rows]) -> dict[str, Any]:
    """`swap --table --json`: a row for each value of each variant."""
    return {"ref": reference, "table": [_row(each, row) for each in found for row in each.rows]}


def _row(rows: Rows, row: Row) -> dict[str, Any]:
    return {
        "variant": rows.variant.name,
        "value": row.value,
        "as_drawn": row.drawn,
        **_change(row.swap.change),
        "plays": rows.role,
        "mean_change_db": row.mean,
        "watts": row.watts,
        "result": row.swap.judgement.result,
        "because": list(row.swap.judgement.because),
    }


def table_rows_csv(found: Sequence[Rows]) -> str:
    """The table, without the reasons."""
    rows = [{k: v for k, v in _row(each, row).items() if k != "because"} for each in found for row in each.rows]
    return table_csv(list(rows[0]), [list(row.values()) for row in rows])


def swap_csv(swaps: Sequence[Swap]) -> str:
    """A row for each variant."""
    rows = [
        {
            "variant": each.name,
            "result": each.judgement.result,
            "untouched": each.untouched or None,
            **_change(each.change),
            "lowest_impedance_change_ohm": each.change.lowest_change,
            "excursion_mm": _millimetres(largest_excursion(each)),
        }
        for each in swaps
    ]
    return table_csv(list(rows[0]), [list(row.values()) for row in rows])


def curves_csv(each: Swap) -> str:
    """Level for 1 V and impedance over frequency, as drawn and with the substitute."""
    shots = (each.before.curves, each.after.curves)
    columns = {"frequency_hz": numbers(np.asarray(GRID))}
    for name, curves in zip(("before", "after"), shots, strict=True):
        columns |= {f"{name}.level_db": numbers(curves.level), f"{name}.impedance_ohm": numbers(curves.impedance)}
    return table_csv(list(columns), zip(*columns.values(), strict=True))
