"""The verdict on a finished speaker as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

from typing import Any

import numpy as np

from system.bench.diagnosis import Diagnosis
from system.bench.faults import RIGHT, Fault
from system.bench.microphone import Heard
from system.bench.proving import KINDS, Proof
from system.bench.sides import Sides
from system.bench.verify import Driver, Judged, Unseen, Verified
from system.sheets.data import degrees, numbers, table_csv
from system.sheets.expect_data import window
from system.sheets.fault_texts import fault_text
from system.sheets.limit_data import number


def verified(result: Verified) -> dict[str, Any]:
    """`verify --json`. Ohm that is `null` in a window or reading is an open circuit."""
    return {
        "variant": result.variant.name,
        "result": result.result,
        "tests": {test.name: {"result": test.result, "says": test.says} for test in result.tests},
        "worst": _worst(result),
        "right_probability": result.right_probability,
        "suspect": _fault(result.suspect) if result.suspect else None,
        "proving": [_proof(proof) for proof in result.proofs],
        "likely": likely(result),
        "groups": [
            {
                "faults": [_fault(fault) for fault, _ in group.candidates],
                "probability": group.probability,
                "told_apart_by": [_proof(proof) for proof in group.splits],
            }
            for group in result.likely
        ],
        "misfit": result.diagnosis.misfit if result.diagnosis else None,
        "unexplained": result.diagnosis.unexplained if result.diagnosis else None,
        "readings": [_reading(each) for each in result.readings],
        "drivers": {each.fitted.name: _driver(each) for each in result.drivers},
        "cannot_show": [_unseen(each) for each in result.cannot_show],
        "microphone": _heard(result.heard) if result.heard else None,
        "against": _sides(result.sides) if result.sides else None,
    }


def likely(result: Verified) -> list[dict[str, Any]]:
    """Every fault worth telling, most likely first; `group` numbers what cannot be told apart from 1."""
    every = [
        {**_fault(fault), "probability": probability, "group": i}
        for i, group in enumerate(result.likely, 1)
        for fault, probability in group.candidates
    ]
    return sorted(every, key=lambda each: -each["probability"])


def _fault(fault: Fault) -> dict[str, Any]:
    return {"fault": fault.kind, "place": fault.place, "form": fault.form, "words": fault_text(fault)}


def _worst(result: Verified) -> dict[str, Any] | None:
    worst = result.worst
    if worst is None:
        return None
    return {
        "hz": worst.frequency,
        "measured_ohm": worst.measured,
        "expected_ohm": worst.expected,
        "percent": worst.percent,
        "copies_from_ohm": worst.low,
        "copies_to_ohm": worst.high,
        "share_outside_copies": worst.outside,
    }


def _proof(proof: Proof) -> dict[str, Any]:
    return {
        "kind": proof.kind,
        "do": proof.do,
        "solder": proof.solder,
        "cautions": list(proof.cautions),
        "expected": [
            {
                "if": [_fault(fault) for fault in outcome.faults],
                "right": RIGHT in outcome.faults,
                "says": outcome.seen.says,
                **(window(outcome.seen.window) if outcome.seen.window else {}),
            }
            for outcome in proof.outcomes
        ],
        "tells_from": [_fault(fault) for fault in proof.splits],
        "words": KINDS[proof.kind].words,
    }


def _reading(each: Judged) -> dict[str, Any]:
    return {**window(each.window), "ohm": number(each.reading.ohm), "result": each.result, "line": each.reading.line}


def _driver(each: Driver) -> dict[str, Any]:
    figures = {name: getattr(each.fitted, name) for name in ("fs", "qts", "re")}
    ratios = {
        name: {"ratio": value[0], "standard_deviation": value[1]} if value else None for name, value in figures.items()
    }
    return {**ratios, "verdict": each.verdict}


def _unseen(each: Unseen) -> dict[str, Any]:
    return {
        "faults": [_fault(fault) for fault in each.faults],
        "looks_like_right": each.with_right,
        "told_by": [_proof(proof) for proof in each.proofs],
    }


def _heard(heard: Heard) -> dict[str, Any]:
    return {
        "verdict": heard.verdict,
        "groups": [
            {
                "drivers": list(way.drivers),
                "others": list(way.others),
                "verdict": way.verdict,
                "why": way.why,
                "from_hz": way.low,
                "to_hz": way.high,
                "difference_db": way.difference,
                "misfit_as_built_db": way.as_built,
                "misfit_other_way_round_db": way.turned,
                "dips": {"turned": "other_way_round"}.get(way.dips, way.dips) if way.dips else None,
                "null_hz": way.null_at,
                "null_db": way.null,
                "measured_null_db": way.measured_null,
            }
            for way in heard.ways
        ],
    }


def _sides(sides: Sides) -> dict[str, Any]:
    return {
        "result": sides.result,
        "worst": {"hz": sides.worst_hz, "percent": 100 * sides.worst},
        "times_the_limit": sides.reach,
        "pairs_95_times_the_limit": sides.usual,
        "suggests": _suggested(sides.suggests) if sides.suggests else [],
    }


def _suggested(found: Diagnosis, least: float = 0.01) -> list[dict[str, Any]]:
    every = [(each.fault, each.probability) for group in found.groups for each in group.candidates]
    every.sort(key=lambda pair: -pair[1])
    return [{**_fault(fault), "probability": p} for fault, p in every if p >= least]


def tables(result: Verified) -> dict[str, str]:
    """CSV texts by file name, of what there is."""
    found = {}
    if result.readings:
        header = ["a", "b", "drivers", "low_ohm", "high_ohm", "reads", "ohm", "result"]
        rows = [[*w["between"], *(w[key] for key in header[2:])] for w in (_reading(each) for each in result.readings)]
        found["readings.csv"] = table_csv(header, rows)
    if result.likely:
        header = ["group", "fault", "place", "form", "probability"]
        found["likely.csv"] = table_csv(header, [[row[key] for key in header] for row in likely(result)])
    if result.sweep is not None and result.expected is not None and result.band is not None:
        sweep, band, expected = result.sweep, result.band, result.expected
        columns = {
            "frequency_hz": numbers(sweep.frequency),
            "measured_ohm": numbers(sweep.magnitude),
            "measured_deg": numbers(np.degrees(sweep.phase)) if sweep.phase is not None else [None] * expected.size,
            "expected_ohm": numbers(np.abs(expected)),
            "expected_deg": numbers(degrees(expected)),
            "nominal_ohm": numbers(band.nominal),
            "copies_from_ohm": numbers(band.low),
            "copies_to_ohm": numbers(band.high),
        }
        found["sweep.csv"] = table_csv(list(columns), zip(*columns.values(), strict=True))
    if result.heard is not None and result.heard.frequency.size:
        heard = result.heard
        columns = {
            "frequency_hz": numbers(heard.frequency),
            "measured_db": numbers(heard.measured),
            "as_built_db": numbers(heard.as_built),
            "other_way_round_db": numbers(heard.turned),
        }
        found["microphone.csv"] = table_csv(list(columns), zip(*columns.values(), strict=True))
    if result.sides is not None:
        sides = result.sides
        columns = {
            "frequency_hz": numbers(sides.frequency),
            "difference_percent": numbers(100 * sides.difference),
            "pairs_95_percent": numbers(100 * sides.limit),
        }
        found["against.csv"] = table_csv(list(columns), zip(*columns.values(), strict=True))
    return found
