"""A driver told by tables is the driver that the tables were made of, in any kit."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from tests.strategies_kits import kits
from tests.support_laws import Amount, Draft, at_one_point, close, law, loudness

TABLE = np.geomspace(20.0, 20e3, 121)  # Hz; the phase must not turn by half a circle between two rows
FREQUENCY = TABLE[::12]  # rows of it: between them a table is joined by lines


def alone(draft: Draft, distance: Amount) -> Draft:
    """The tweeter on a stiff amplifier, in a wall, straight ahead."""
    nothing = Amount(Decimal(0), "ohm")
    draft = at_one_point(draft).put("listening", {"distance": distance})
    draft = draft.put("amplifier", {**draft.tree["amplifier"], "output_resistance": nothing, "cable": nothing})
    hooked = {"tweeter": {"driver": "tweeter", "plus": "in", "minus": "common"}}
    draft = draft.put("crossover", {"input": ["in", "common"], "parts": {}, "hookup": hooked})
    return draft.put("cabinets.box", {})


def rows(*columns) -> str:
    return "\n".join(" ".join(repr(float(value)) for value in row) for row in zip(*columns, strict=True))


def told_by_tables(draft: Draft, volts: float, distance: Amount) -> Draft:
    """With the tweeter's impedance and response as they would be measured."""
    measured = alone(draft, distance).predict(TABLE, volts)
    files = {
        "z.txt": rows(TABLE, np.abs(measured.impedance), np.degrees(np.angle(measured.impedance))),
        "p.txt": rows(TABLE, 20 * np.log10(np.abs(measured.pressure) / 20e-6), np.degrees(np.angle(measured.pressure))),
    }
    response = {
        "file": "p.txt",
        "volts": Amount(Decimal(repr(volts)), "V"),
        "distance": distance,
        "mounted": "wall",
        "phase": "measured",
    }
    tweeter = draft.tree["drivers"]["tweeter"]
    told = {"role": "tweeter", "re": tweeter["re"], "sd": tweeter["sd"], "impedance": "z.txt", "response": response}
    return Draft(draft.put("drivers.tweeter", told).tree, files)


@law(few=6, many=60, draft=kits(tweeter=True))
def test_a_tweeter_measured_is_the_tweeter(draft):
    """Thevenin (1883) and linearity: what is heard of it and what it draws follow from its volts, measured at any."""
    told = told_by_tables(draft, 2.0, Amount(Decimal("0.5"), "m"))
    a, b = draft.predict(FREQUENCY), told.predict(FREQUENCY)
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure, a.pressure, loudness(a))
    close(b.drivers["tweeter"].current, a.drivers["tweeter"].current)
    for name in a.drivers.keys() - {"tweeter"}:
        close(b.drivers[name].excursion, a.drivers[name].excursion)


@law(few=6, many=60, draft=kits(tweeter=True))
def test_power_in_a_kit_of_tables(draft):
    """Conservation of energy; what a table draws is part of it (Tellegen, Philips Res. Rep. 7, 1952)."""
    told = told_by_tables(draft, 2.83, Amount(Decimal(1), "m"))
    result = told.predict(np.geomspace(15.0, 22e3, 13))
    amplifier = told.tree["amplifier"]
    ohms = float(amplifier["output_resistance"].number)
    current = result.volts / (result.impedance + ohms)
    spent = float(amplifier["cable"].number) * np.abs(current) ** 2
    spent = spent + sum(part.watts for part in result.parts.values())
    powers = [driver.volts * driver.current.conj() for driver in result.drivers.values()]
    given = (result.impedance * np.abs(current) ** 2).real
    close(spent + sum(p.real for p in powers), given, spent + sum(np.abs(p) for p in powers))
    assert np.all(powers[-1].real >= 0)  # a passive driver's tables are passive, between their rows too
