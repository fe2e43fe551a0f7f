"""Laws of linear passive circuits, on whole random kits: what the amplifier, the parts and the drivers do together.

Tolerances are of rounding unless said otherwise: double precision has 16 digits, a circuit of some ten points loses up
to a few of them where a filter takes 100 dB off what it passes on.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from system.predict import Prediction
from tests.strategies_kits import kits
from tests.support_laws import (
    FREQUENCY,
    ROUNDING,
    Amount,
    Draft,
    close,
    heat,
    law,
    loudness,
    part_names,
    same,
    si,
    source_resistance,
)


def drawn_current(draft: Draft, result: Prediction):
    """Amperes out of the amplifier, (F,): its volts over all that it sees and its own resistance."""
    return result.volts / (result.impedance + si(draft.tree["amplifier"]["output_resistance"]))


@law(few=12, many=60, draft=kits(coupled=True))
def test_the_amplifiers_power_is_what_all_parts_take(draft):
    """Conservation of energy; for networks Tellegen, Philips Res. Rep. 7 (1952)."""
    result = draft.predict()
    current = drawn_current(draft, result)
    given = (result.impedance * np.abs(current) ** 2).real
    cable = si(draft.tree["amplifier"]["cable"]) * np.abs(current) ** 2
    parts = sum((part.watts for part in result.parts.values()), np.zeros(FREQUENCY.size))
    each = [driver.volts * driver.current.conj() for driver in result.drivers.values()]
    moved = cable + parts + sum(np.abs(power) for power in each)  # what the sum of the law is made of
    close(cable + parts + sum(power.real for power in each), given, np.maximum(moved, np.abs(given)))


@law(few=12, many=60, draft=kits())
def test_nothing_gives_more_than_it_gets(draft):
    """A passive one-port has Re Z >= 0 (Brune, J. Math. Phys. 10, 1931), its parts take power, never more than V I."""
    result = draft.predict()
    assert np.all(result.impedance.real >= -ROUNDING * np.abs(result.impedance))
    for part in result.parts.values():
        apparent = np.abs(part.volts * part.current)
        assert np.all(part.watts >= 0)
        assert np.all(part.watts <= apparent * (1 + ROUNDING))
        close((part.volts * part.current.conj()).real, part.watts, apparent + 1e-300)
    powers = [driver.volts * driver.current.conj() for driver in result.drivers.values()]
    # one of two on the same air may be driven by the other, both together take power
    assert np.all(sum(p.real for p in powers) >= -ROUNDING * sum(np.abs(p) for p in powers))


@law(few=12, many=60, draft=kits(coupled=True))
def test_currents_at_every_point_add_up_to_nothing(draft):
    """Kirchhoff (1845)."""
    result = draft.predict()
    flows = [(*draft.parts[name]["between"], part.current) for name, part in result.parts.items()]
    flows += [(draft.hookup[n]["plus"], draft.hookup[n]["minus"], d.current) for n, d in result.drivers.items()]
    flows.append(("common", "in", drawn_current(draft, result)))
    sums = {point: np.zeros(FREQUENCY.size, complex) for plus, minus, _ in flows for point in (plus, minus)}
    for plus, minus, current in flows:
        sums[plus] += current
        sums[minus] -= current
    largest = np.max([np.abs(current) for *_, current in flows], axis=0)
    for total in sums.values():
        close(total, 0, largest)


@law(few=12, many=60, draft=kits(coupled=True), choice=st.integers(0, 50))
def test_volts_round_every_mesh_add_up_to_nothing(draft, choice):
    """Kirchhoff (1845): the volts of parts and drivers are differences of one potential for each point."""
    result = draft.predict()
    across = [(*draft.parts[name]["between"], part.volts) for name, part in result.parts.items()]
    across += [(draft.hookup[n]["plus"], draft.hookup[n]["minus"], d.volts) for n, d in result.drivers.items()]
    across.append(("in", "common", result.volts - drawn_current(draft, result) * source_resistance(draft)))
    reached = {"common": np.zeros(FREQUENCY.size, complex)}
    across = across[choice % len(across) :] + across[: choice % len(across)]  # another tree of the circuit each time
    while len(reached) < len({point for plus, minus, _ in across for point in (plus, minus)}):
        for plus, minus, volts in across:
            if plus in reached and minus not in reached:
                reached[minus] = reached[plus] - volts
            elif minus in reached and plus not in reached:
                reached[plus] = reached[minus] + volts
    largest = np.max([np.abs(volts) for *_, volts in across], axis=0)
    for plus, minus, volts in across:
        close(reached[plus] - reached[minus], volts, largest)


@law(few=12, many=60, draft=kits(coupled=True), choice=st.integers(0, 50))
def test_the_amplifier_and_a_resistor_change_places(draft, choice):
    """Reciprocity: the current is the same (Rayleigh, The Theory of Sound, 1877, section 107); resistances stay."""
    resistors = part_names(draft, "resistor")
    assume(resistors and source_resistance(draft) > 0)
    name = resistors[choice % len(resistors)]
    place, amplifier = draft.parts[name], draft.tree["amplifier"]
    source = Amount(amplifier["output_resistance"].number + amplifier["cable"].number, "ohm")

    def turn(tree):
        tree["amplifier"] |= {"output_resistance": place["resistor"], "cable": Amount(Decimal(0), "ohm")}
        tree["crossover"]["parts"][name] |= {"resistor": source, "between": ["in", "common"]}
        tree["crossover"]["input"] = list(place["between"])

    forth, back = draft.predict(), draft.changed(turn).predict()
    # no more than the available power, E^2/4 Rs, goes over: that is the scale of what rounding may leave
    largest = 2.83 / (2 * np.sqrt(si(source) * si(place["resistor"])))
    close(back.parts[name].current, forth.parts[name].current, largest)


IMPEDANCES = ("ohm", "mH", "Mohm")
OF_VOICE_COILS = ("factor", "semi")  # numbers without a unit, ohm s^n


@law(few=12, many=60, draft=kits(coupled=True), factor=st.sampled_from([Decimal("0.25"), Decimal(4)]))
def test_all_impedances_times_a_factor(draft, factor):
    """The same power drives the same sound (impedance scaling of filters; common practice, no source).

    Z -> k Z: R, L times k, C over k, force factors times sqrt k; volts times sqrt k.
    """

    def scaled(amount):
        if amount.unit in IMPEDANCES:
            return amount.times(factor)
        if amount.unit == "uF":
            return amount.times(1 / factor)
        return amount.times(factor.sqrt()) if amount.unit == "N/A" else amount

    def numbers(tree):
        for driver in tree["drivers"].values():
            for key in OF_VOICE_COILS:
                if key in driver["voice_coil"]:
                    driver["voice_coil"][key] = driver["voice_coil"][key].times(factor)

    a = draft.predict()
    b = draft.mapped(scaled).changed(numbers).predict(volts=2.83 * float(factor.sqrt()))
    close(b.impedance / float(factor), a.impedance, np.abs(a.impedance))
    close(b.pressure, a.pressure, loudness(a))
    for name, driver in a.drivers.items():
        close(b.drivers[name].excursion, driver.excursion)
        close(b.drivers[name].volts / float(factor.sqrt()), driver.volts)
    for name, part in a.parts.items():
        close(b.parts[name].watts, part.watts, heat(a))


POINTS = st.sampled_from(["in", "common", "low1", "high1", "low_level", "nowhere"])


@law(
    few=12,
    many=60,
    draft=kits(coupled=True),
    choice=st.integers(0, 50),
    first=POINTS,
    second=POINTS,
    zero=st.booleans(),
)
def test_a_link_in_series_and_an_empty_place_change_nothing(draft, choice, first, second, zero):
    """No volts along a wire, no current through nothing (Kirchhoff, 1845); a wire may be one of zero ohm."""
    names = [*draft.parts, *draft.hookup]
    name = names[choice % len(names)]
    used = {point for part in draft.parts.values() for point in part["between"]}
    assume(first != second and {first, second} <= {*used, "in", "common", "nowhere"})

    def change(tree):
        parts = tree["crossover"]["parts"]
        part = {"resistor": Amount(Decimal(0 if zero else 10), "ohm"), "normally": "fit" if zero else "link"}
        if name in parts:
            plus, minus = parts[name]["between"]
            parts[name]["between"] = ["split", minus]
        else:
            plus = tree["crossover"]["hookup"][name]["plus"]
            tree["crossover"]["hookup"][name]["plus"] = "split"
        parts["EXTRA"] = {**part, "between": [plus, "split"]}
        if "nowhere" not in (first, second):
            empty = {"coil": Amount(Decimal(1), "mH"), "normally": "omit"}
            parts["EMPTY"] = {**empty, "between": [first, second]}

    a, b = draft.predict(), draft.changed(change).predict()
    same(a, b)


@law(few=12, many=60, draft=kits(), choice=st.integers(0, 50), in_series=st.booleans())
def test_two_halves_are_the_whole(draft, choice, in_series):
    """A part as two like ones, in series or in parallel, with its losses shared out (Kirchhoff, 1845)."""
    assume(draft.parts)
    name = list(draft.parts)[choice % len(draft.parts)]
    two = Decimal(2)
    more, less = (1 / two, two) if in_series else (two, 1 / two)  # of an impedance, of a capacitance

    def half(tree):
        parts = tree["crossover"]["parts"]
        one = {
            key: value.times(more if value.unit in IMPEDANCES else less)
            if isinstance(value, Amount) and value.unit in (*IMPEDANCES, "uF")
            else value
            for key, value in parts[name].items()
        }
        plus, minus = one.pop("between")
        parts[name] = {**one, "between": [plus, "half" if in_series else minus]}
        parts["OTHER"] = {**one, "between": ["half" if in_series else plus, minus]}

    a, b = draft.predict(), draft.changed(half).predict()
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure, a.pressure, loudness(a))
    for other in a.parts.keys() - {name}:
        close(b.parts[other].current, a.parts[other].current, np.max(np.abs(drawn_current(draft, a))))
    close(b.parts[name].watts + b.parts["OTHER"].watts, a.parts[name].watts, heat(a))


@law(few=12, many=60, draft=kits(), choice=st.integers(0, 50))
def test_every_place_acts_as_a_bilinear_function_of_its_impedance(draft, choice):
    """X(Z) = X(0) + (X(inf) - X(0)) Z/(Z + Zth) (Thevenin, 1883), so (X - X(0))/(X(inf) - X) = Z/Zth.

    That ratio is in proportion to the impedance: it tends to nothing, and X to that of a link, as a capacitor grows or
    a resistance goes to zero.
    """
    assume(draft.parts)
    name = list(draft.parts)[choice % len(draft.parts)]

    def put(part):
        parts = {**draft.parts, name: {**part, "between": draft.parts[name]["between"]}}
        return draft.put("crossover.parts", parts).predict()

    resistor = {"resistor": Amount(Decimal(2), "ohm")}
    linked, open_ = put({**resistor, "normally": "link"}), put({**resistor, "normally": "omit"})
    found = {}
    for farads in (Decimal(10), Decimal(1000), Decimal(90000)):
        found[f"{farads}"] = put({"capacitor": Amount(farads, "uF")})
    ohms = put(resistor)

    def current(result):
        return drawn_current(draft, result)

    def ratio_holds(one, other, of_impedances):
        # (x1 - x0)(xinf - x2) = (Z1/Z2) (x2 - x0)(xinf - x1), without a division
        x0, xinf, x1, x2 = (current(r) for r in (linked, open_, one, other))
        left, right = (x1 - x0) * (xinf - x2), (x2 - x0) * (xinf - x1)
        scale = np.max([np.abs(x) for x in (x0, xinf, x1, x2)], axis=0) ** 2
        close(left / np.maximum(1, np.abs(of_impedances)), right * of_impedances / np.maximum(1, np.abs(of_impedances)),
              scale)  # fmt: skip

    ratio_holds(found["10"], found["1000"], np.full(FREQUENCY.size, 100.0))
    ratio_holds(found["1000"], found["90000"], np.full(FREQUENCY.size, 90.0))
    ratio_holds(found["90000"], ohms, 1 / (2j * np.pi * FREQUENCY * 0.09 * 2.0))
