"""Laws of the kit file: what is written another way is the same kit, and gives the same numbers."""

from __future__ import annotations

import random
from decimal import Decimal, localcontext
from typing import Any

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from system.predict import Prediction
from tests.strategies_kits import CHAMBERS, kits
from tests.support_laws import Amount, Draft, close, law, loudness, part_names

EVERYWHERE = (*["in_wall"] * 6, "near")
FREQUENCY = np.geomspace(18.0, 19e3, 9)
SAME = 1e-12  # of the largest: a decimal in another unit may be another double in its last digit, some digits on

# Other units of the same quantities, and how many of each make one of the first; exact by definition: NIST Special
# Publication 811 (2008), appendix B.8 (inch 25.4 mm, foot 304.8 mm, pound 0.45359237 kg), and the prefixes of the SI.
INCH, POUND = Decimal("25.4"), Decimal("453.59237")
OTHERS: dict[str, list[tuple[str, Decimal]]] = {
    "mm": [("cm", Decimal("0.1")), ("m", Decimal("0.001")), ("in", 1 / INCH), ("um", Decimal(1000))],
    "m": [("mm", Decimal(1000)), ("cm", Decimal(100)), ("ft", 1000 / (12 * INCH))],
    "cm2": [("mm2", Decimal(100)), ("m2", Decimal("1e-4")), ("in2", 100 / INCH**2)],
    "L": [("cm3", Decimal(1000)), ("m3", Decimal("0.001")), ("ft3", Decimal(10**6) / (12 * INCH) ** 3)],
    "g": [("kg", Decimal("0.001")), ("mg", Decimal(1000)), ("lb", 1 / POUND)],
    "mm/N": [("um/N", Decimal(1000)), ("m/N", Decimal("0.001"))],
    "kg/s": [("N.s/m", Decimal(1))],
    "N/A": [("T.m", Decimal(1))],
    "ohm": [("mohm", Decimal(1000)), ("kohm", Decimal("0.001"))],
    "Mohm": [("kohm", Decimal(1000)), ("ohm", Decimal(10**6))],
    "mH": [("uH", Decimal(1000)), ("H", Decimal("0.001"))],
    "uF": [("nF", Decimal(1000)), ("mF", Decimal("0.001")), ("F", Decimal("1e-6"))],
    "W": [("kW", Decimal("0.001"))],
    "kHz": [("Hz", Decimal(1000))],
    "m/s": [("km/h", Decimal("3.6"))],
    "%": [("percent", Decimal(1)), ("", Decimal("0.01"))],
    "Pa.s/m2": [("kPa.s/m2", Decimal("0.001"))],
}  # fmt: skip


def alike(a: Prediction, b: Prediction, tolerance: float = SAME) -> None:
    """All numbers of two predictions whose names are the same."""
    close(b.impedance, a.impedance, np.abs(a.impedance), tolerance)
    close(b.pressure, a.pressure, loudness(a), tolerance)
    assert a.drivers.keys() == b.drivers.keys()
    assert a.parts.keys() == b.parts.keys()
    assert a.openings.keys() == b.openings.keys()
    for name, driver in a.drivers.items():
        close(b.drivers[name].current, driver.current, tolerance=tolerance)
        close(b.drivers[name].excursion, driver.excursion, tolerance=tolerance)
    for name, part in a.parts.items():
        close(b.parts[name].volts, part.volts, a.volts, tolerance)


@law(few=6, many=50, draft=kits(placements=EVERYWHERE, coupled=True), seed=st.integers(0, 10**6))
def test_other_units_give_the_same_numbers(draft, seed):
    """By definition of the units."""
    pick = random.Random(seed)

    def other(amount: Amount) -> Amount:
        choices = OTHERS.get(amount.unit, [])
        if not choices:
            return amount
        unit, factor = pick.choice(choices)
        with localcontext() as context:
            context.prec = 25
            return Amount(amount.number * factor, unit)

    alike(draft.predict(FREQUENCY), draft.mapped(other).predict(FREQUENCY))


def shuffled(value: Any, pick: random.Random) -> Any:
    """With the keys of every mapping in another order, but for those whose order is that of the drivers or places."""
    if isinstance(value, dict):
        keys = list(value)
        pick.shuffle(keys)
        return {key: shuffled(value[key], pick) for key in keys}
    return [shuffled(inner, pick) for inner in value] if isinstance(value, list) else value


@law(few=6, many=50, draft=kits(placements=EVERYWHERE, coupled=True), seed=st.integers(0, 10**6))
def test_the_order_of_a_files_keys_does_not_matter(draft, seed):
    """A mapping has no order (YAML 1.2.2, section 3.2.1.1); rounding follows the order of the equations.

    What begins where nothing says so, the listening axis, is the first tweeter or else the first driver: it is named.
    """
    draft = draft.put("listening.axis", "woofer_a")
    alike(draft.predict(FREQUENCY), Draft(shuffled(draft.tree, random.Random(seed))).predict(FREQUENCY), 1e-9)


def renamed(value: Any, names: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {names.get(key, key): renamed(inner, names) for key, inner in value.items()}
    if isinstance(value, list):
        return [renamed(inner, names) for inner in value]
    return names.get(value, value) if isinstance(value, str) else value


@law(few=6, many=50, draft=kits(placements=EVERYWHERE, coupled=True))
def test_other_names_change_only_names(draft):
    """Drivers, hookups, points, places: nothing may hang on what they are called."""
    points = {point for part in draft.parts.values() for point in part["between"]} | {"in", "common", "middle"}
    names = {name: f"X{i}" for i, name in enumerate(draft.parts)}
    names |= {point: f"p{i}" for i, point in enumerate(sorted(points))}
    names |= {name: f"d{i}" for i, name in enumerate(draft.hookup)}
    hooked = {name: {**one, "driver": f"kind_{one['driver']}"} for name, one in draft.hookup.items()}
    tree = {
        **draft.tree,
        "crossover": renamed({**draft.tree["crossover"], "hookup": hooked}, names),
        "cabinets": {"other": renamed(draft.tree["cabinets"]["box"], names)},
        "drivers": {f"kind_{name}": driver for name, driver in draft.tree["drivers"].items()},
        "variants": {"v": {**draft.tree["variants"]["v"], "cabinet": "other"}},
    }
    a, b = draft.predict(FREQUENCY), Draft(tree).predict(FREQUENCY)
    close(b.impedance, a.impedance, np.abs(a.impedance), SAME)
    close(b.pressure, a.pressure, loudness(a), SAME)
    for name, driver in a.drivers.items():
        close(b.drivers[names[name]].excursion, driver.excursion, tolerance=SAME)
        close(b.drivers[names[name]].pressure, driver.pressure, loudness(a), SAME)
    for name, part in a.parts.items():
        close(b.parts[names[name]].volts, part.volts, a.volts, SAME)


@law(few=6, many=50, draft=kits(), choice=st.integers(0, 50))
def test_what_a_variant_says_is_what_the_board_says(draft, choice):
    """Three ways to say it: in the part, in the variant, as a what-if. And other variants change nothing."""
    coils = part_names(draft, "coil")
    assume(coils)
    name = coils[choice % len(coils)]
    part = {"coil": Amount(Decimal("3.3"), "mH"), "dc_resistance": Amount(Decimal("0.2"), "ohm")}
    written = draft.put(f"crossover.parts.{name}", {**part, "between": draft.parts[name]["between"]})
    of_variant = draft.put("variants.v.parts", {name: part})

    def like(tree):
        tree["variants"] = {"first": tree["variants"]["v"], "v": {"like": "first", "parts": {name: "3.3 mH"}}}

    a = written.predict(FREQUENCY)
    for other in (of_variant, written.changed(like)):
        alike(a, other.predict(FREQUENCY))
    alike(a, draft.predict(FREQUENCY, what_if=[f"variants.v.parts.{name}={{coil: 3.3 mH, dc_resistance: 0.2 ohm}}"]))


@law(few=6, many=50, draft=kits(kinds=tuple(CHAMBERS)))
def test_a_chamber_without_drivers_is_silent(draft):
    """One more chamber in the cabinet, whose driver the variant leaves out, changes nothing."""

    def more(tree):
        tree["drivers"]["spare"] = {**tree["drivers"]["woofer"]}
        tree["crossover"]["hookup"]["spare"] = {"driver": "spare", "plus": "in", "minus": "common"}
        box = tree["cabinets"]["box"]
        if "cutouts" in box:
            box["cutouts"]["spare"] = {"face": "rear", "at": [Amount(Decimal(130), "mm"), Amount(Decimal(400), "mm")]}
        chamber = {"kind": "sealed", "drivers": ["spare"], "volume": Amount(Decimal(9), "L")}
        box["chambers"] = [*box["chambers"], chamber]
        tree["variants"]["v"]["hookup"] = {"spare": "omit"}

    alike(draft.predict(FREQUENCY), draft.changed(more).predict(FREQUENCY))
