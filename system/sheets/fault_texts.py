"""A building mistake in words, as a builder says it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from system.bench.faults import Fault
from system.wording import listed

_WORDS: Mapping[str, Callable[[str, str], str]] = {
    "none": lambda place, form: "built as drawn",
    "missing": lambda place, form: f"{place} missing or not connected",
    "linked": lambda place, form: f"a wire in place of {place}",
    "doubled": lambda place, form: f"{place} of twice its value",
    "halved": lambda place, form: f"{place} of half its value",
    "one_of_pair_open": lambda place, form: f"the {form} of {place} not connected",
    "pair_in_series": lambda place, form: f"the parts of {place} joined {form}",
    "exchanged": lambda place, form: f"{place} exchanged",
    "fitted_needlessly": lambda place, form: f"a part at {place}, where none belongs",
    "wrong_variant": lambda place, form: f"the board of variant {place}",
    "driver_open": lambda place, form: f"{place} not connected",
    "driver_reversed": lambda place, form: f"{place} the wrong way round",
    "air_leak": lambda place, form: f"the {place} leaks air{f' ({form})' if form else ''}",
    "wrong_fill": lambda place, form: {"none": f"no filling in the {place}"}.get(
        form, f"{form} filling in the {place}"
    ),
    "blocked_mouth": lambda place, form: f"the {place} is closed",
}


def fault_text(fault: Fault) -> str:
    """`C1 of half its value`, `C1 and C3 exchanged`, `woofer_a the wrong way round`."""
    return _WORDS[fault.kind](listed(fault.place.split(", ")), fault.form)
