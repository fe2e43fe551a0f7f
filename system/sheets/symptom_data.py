"""Symptoms as plain data for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from system.bench.complaints import COMPLAINTS
from system.bench.faults import Fault
from system.bench.suspects import Suspect
from system.bench.symptoms import Check, Symptom
from system.sheets.expect_data import window
from system.sheets.fault_texts import fault_text
from system.sheets.limit_data import number


def every() -> list[dict[str, Any]]:
    """All complaints, with the other words for each."""
    return [{"word": word, "means": each.title, "also": list(each.also)} for word, each in COMPLAINTS.items()]


def symptom(found: Symptom) -> dict[str, Any]:
    """One variant of `symptom WORD KIT --json`, or what there is to say without a kit."""
    return {
        "word": found.word,
        "means": found.complaint.title,
        "checks": [_check(check) for check in found.checks],
        "suspects": [_suspect(each) for each in found.suspects],
    }


def symptoms(found: Sequence[Symptom]) -> dict[str, Any]:
    """Several variants: those of the first one at the top too."""
    variants = {each.variant.name: symptom(each) for each in found if each.variant is not None}
    return {**symptom(found[0]), "variants": variants}


def _check(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "kind": check.effort,
        "do": check.do,
        "right": check.right,
        "wrong": check.wrong,
        "proof": check.proof,
        "only": check.only or None,
        "figures": list(check.figures),
        "readings": [window(each) for each in check.windows],
        "rows": [{"hz": hz, "ohm": number(ohm)} for hz, ohm in check.rows],
        "suspects": [words(each) for each in check.suspects],
    }


def words(suspect: Suspect) -> str:
    """`woofer_a or woofer_b not connected`: like places are named together."""
    first = suspect.faults[0]
    if len(suspect.faults) == 1:
        return fault_text(first)
    places = " or ".join(fault.place.replace(", ", " and ") for fault in suspect.faults)
    return fault_text(Fault(first.kind, places, first.form))


def _suspect(found: Suspect) -> dict[str, Any]:
    sweep, meter = found.sweep, found.meter
    return {
        "words": words(found),
        "faults": [{"fault": each.kind, "place": each.place, "form": each.form} for each in found.faults],
        "reading": None if meter is None else {"right": window(meter.right), "wrong": window(meter.wrong)},
        "sweep": None if sweep is None else {"hz": sweep.frequency, "right_ohm": sweep.right, "wrong_ohm": sweep.wrong},
        "heard_db": number(found.heard),
        "heard_hz": number(found.heard_at),
    }
