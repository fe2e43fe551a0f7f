"""Laws of what moves and what is heard, on whole random kits: energy, reciprocity, superposition, symmetry, scale."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from system.build import build
from system.predict import PEAK
from system.transfer import transfer
from tests.strategies_enclosures import OPENING_RESISTANCE
from tests.strategies_kits import Air, kits
from tests.support_laws import FREQUENCY, Amount, Draft, at_one_point, close, heat, law, loudness

HOUSED = ("sealed", "vented", "passive_radiator", "line")


@law(few=8, many=50, draft=kits(kinds=HOUSED, least_woofers=2))
def test_drivers_act_on_each_other_alike(draft):
    """The impedance of reciprocal transducers on common air is symmetric (Foldy & Primakoff, J. Acoust. Soc. Am. 17,
    1945)."""
    kit = draft.kit()
    impedance = transfer(build(kit, kit.variants["v"]), FREQUENCY).impedance
    close(impedance, impedance.transpose(0, 2, 1), np.abs(impedance).max(axis=(1, 2))[:, None, None])


@law(few=8, many=50, draft=kits(kinds=("none", *HOUSED), air=Air(lossless=True)))
def test_what_no_loss_takes_is_radiated(draft):
    """Conservation of energy: what drivers take is heat in their coils, losses of cones and radiation of openings.

    Cones are taken to radiate nothing that the driver feels; openings do (Silva et al., J. Sound Vib. 322, 2009).
    """
    result, kit = draft.predict(), draft.kit()
    model, omega = build(kit, kit.variants["v"]), 2 * np.pi * FREQUENCY
    powers = [driver.volts * driver.current.conj() for driver in result.drivers.values()]
    spent = np.zeros(FREQUENCY.size)
    for driver, found in zip(model.drivers, result.drivers.values(), strict=True):
        velocity = found.excursion * omega / PEAK
        spent += (driver.re + driver.coil.impedance(omega).real) * np.abs(found.current) ** 2
        spent += driver.rms * velocity**2
    done = 0
    speeds = [opening.speed / PEAK for opening in result.openings.values()]
    for cell in model.cells:
        if cell.enclosure is None:
            continue
        kind = kind_of(cell.enclosure)
        for area, resistance in zip(
            cell.enclosure.opening_areas, OPENING_RESISTANCE[kind](cell.enclosure, omega, model.air), strict=True
        ):
            spent += resistance * (speeds[done] * area) ** 2
            done += 1
    assert done == len(speeds)
    close(spent, sum(p.real for p in powers), sum(np.abs(p) for p in powers), 1e-8)


def kind_of(enclosure) -> str:
    names = {"SealedBox": "sealed", "VentedBox": "vented", "RadiatorBox": "passive_radiator", "Line": "line"}
    return names[type(enclosure).__name__]


@law(few=8, many=50, draft=kits(kinds=HOUSED))
def test_air_takes_power_and_gives_none(draft):
    """What electricity puts into cones is more than their own losses take (conservation of energy)."""
    result, kit = draft.predict(), draft.kit()
    model, omega = build(kit, kit.variants["v"]), 2 * np.pi * FREQUENCY
    found = list(result.drivers.values())
    for cell in model.cells:
        left, moved = np.zeros(FREQUENCY.size), np.zeros(FREQUENCY.size)
        for i in cell.members:
            driver, power = model.drivers[i], found[i].volts * found[i].current.conj()
            left += power.real - driver.rms * (found[i].excursion * omega / PEAK) ** 2
            left -= (driver.re + driver.coil.impedance(omega).real) * np.abs(found[i].current) ** 2
            moved += np.abs(power)
        assert np.all(left >= -1e-8 * moved)


@law(few=8, many=50, draft=kits(tweeter=True))
def test_a_tweeter_turned_round_changes_only_its_sign(draft):
    """Superposition, the tweeter's air being its own: the sums with it and without it are those of its two ways."""

    def turn(tree):
        tweeter = tree["crossover"]["hookup"]["tweeter"]
        tweeter["plus"], tweeter["minus"] = tweeter["minus"], tweeter["plus"]
        tweeter["reversed"] = "on_purpose"

    frequency = FREQUENCY[::2]
    a, b = draft.predict(frequency), draft.changed(turn).predict(frequency)
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.drivers["tweeter"].pressure, -a.drivers["tweeter"].pressure)
    parts = a.drivers["tweeter"].pressure
    close(a.pressure - b.pressure, 2 * parts, loudness(a))


@law(few=8, many=50, draft=kits(air=Air(lossless=True)))
def test_what_is_heard_is_the_sum_of_all_that_sounds(draft):
    """Superposition; without leaks there are drivers and openings."""
    result = draft.predict(FREQUENCY[::2])
    each = [*result.drivers.values(), *result.openings.values()]
    close(sum(one.pressure for one in each), result.pressure, sum(np.abs(one.pressure) for one in each))


@law(few=8, many=50, draft=kits(tweeter=True))
def test_ways_on_a_stiff_amplifier_do_not_know_of_each_other(draft):
    """Superposition: what is heard of both ways is what is heard of the one, plus what is heard of the other."""
    without = {"output_resistance": Amount(Decimal(0), "ohm"), "cable": Amount(Decimal(0), "ohm")}
    draft = draft.put("amplifier", {**draft.tree["amplifier"], **without})
    draft = at_one_point(draft)
    woofers = [name for name in draft.hookup if name != "tweeter"]
    both = draft.predict()
    low = draft.put("variants.v.hookup", {"tweeter": "omit"}).predict()
    high = draft.put("variants.v.hookup", dict.fromkeys(woofers, "omit")).predict()
    close(low.pressure + high.pressure, both.pressure, loudness(both))
    close(high.drivers["tweeter"].current, both.drivers["tweeter"].current)
    for name in woofers:
        close(low.drivers[name].excursion, both.drivers[name].excursion)


@law(few=8, many=50, draft=kits())
def test_the_input_turned_round_changes_every_sign_and_nothing_else(draft):
    """Linearity."""
    frequency = FREQUENCY[::2]
    a = draft.predict(frequency)
    b = draft.put("crossover.input", ["common", "in"]).predict(frequency)
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure, -a.pressure, loudness(a))
    for name, driver in a.drivers.items():
        close(b.drivers[name].current, -driver.current)
        close(b.drivers[name].excursion, driver.excursion)
    for name, opening in a.openings.items():
        close(b.openings[name].pressure, -opening.pressure, loudness(a))


@law(few=8, many=50, draft=kits(least_woofers=2))
def test_drivers_in_series_stand_in_any_order(draft):
    """The same current goes through both (Kirchhoff, 1845)."""
    points = [point for one in draft.hookup.values() for point in (one["plus"], one["minus"])]
    assume("middle" in points)

    def exchange(tree):
        hookup = tree["crossover"]["hookup"]
        a, b = hookup["woofer_a"], hookup["woofer_b"]
        top = next(point for point in (a["plus"], a["minus"]) if point != "middle")
        for one, new in ((a, {"middle": "common", top: "middle"}), (b, {"middle": top, "common": "middle"})):
            one["plus"], one["minus"] = new[one["plus"]], new[one["minus"]]

    a, b = draft.predict(), draft.changed(exchange).predict()
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure, a.pressure, loudness(a))
    for name, driver in a.drivers.items():
        close(b.drivers[name].volts, driver.volts)
        close(b.drivers[name].excursion, driver.excursion)


@law(few=8, many=50, draft=kits(least_woofers=2))
def test_two_like_woofers_change_places(draft):
    """Who is called what is no physics: drivers, cutouts and places along a line exchanged together."""
    names = {"woofer_a": "woofer_b", "woofer_b": "woofer_a"}

    def swapped(mapping):
        return {names.get(key, key): value for key, value in mapping.items()}

    def exchange(tree):
        tree["crossover"]["hookup"] = swapped(tree["crossover"]["hookup"])
        box = tree["cabinets"]["box"]
        if "cutouts" in box:
            box["cutouts"] = swapped(box["cutouts"])
        for chamber in box.get("chambers", []):
            drivers = chamber["drivers"]
            chamber["drivers"] = swapped(drivers) if isinstance(drivers, dict) else [names[n] for n in drivers]
        tree["listening"]["axis"] = names.get(tree["listening"]["axis"], tree["listening"]["axis"])

    draft = draft.put("listening.axis", "woofer_a")
    a, b = draft.predict(), draft.changed(exchange).predict()
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure, a.pressure, loudness(a))
    for name, driver in a.drivers.items():
        close(b.drivers[names.get(name, name)].excursion, driver.excursion)
        close(b.drivers[names.get(name, name)].pressure, driver.pressure, loudness(a))


@law(few=8, many=50, draft=kits(least_woofers=2, kinds=HOUSED[:3], alike=True))
def test_like_woofers_in_one_box_share_alike(draft):
    """Symmetry: two that nothing tells apart move alike, in parallel or in series."""
    result = draft.predict()
    a, b = result.drivers["woofer_a"], result.drivers["woofer_b"]
    close(b.current, a.current)
    close(b.excursion, a.excursion)


def mirrored(draft: Draft) -> Draft:
    """Left for right: cutouts, walls, angles."""

    def mirror(tree):
        box, variant, listening = tree["cabinets"]["box"], tree["variants"]["v"], tree["listening"]
        if "baffle" in box:
            width = box["baffle"]["width"]
            places = [box["cutouts"]]
            chambers = box.get("chambers", [])
            openings = [each for c in chambers for each in (*c.get("ports", []), *c.get("radiators", []))]
            openings += [c["mouth"] for c in chambers if "mouth" in c]
            for holder in (*places, *openings):
                for key, place in holder.items():
                    if isinstance(place, list):
                        holder[key] = [Amount(width.number - place[0].number, "mm"), place[1]]
        if "angle_horizontal" in listening:
            listening["angle_horizontal"] = listening["angle_horizontal"].times(-1)
        placement = variant["placement"]
        if isinstance(placement, dict):
            placement["wall_left"], placement["wall_right"] = placement["wall_right"], placement["wall_left"]

    return draft.changed(mirror)


STANDING = ("in_wall", "free_standing", "near")


@law(few=3, many=15, draft=kits(placements=STANDING))
def test_a_mirror_image_sounds_the_same_on_the_other_side(draft):
    """Symmetry of space; edges are summed in pieces that need not be mirror images, to a thousandth of the largest."""
    frequency = FREQUENCY[::3]
    a, b = draft.predict(frequency), mirrored(draft).predict(frequency)
    close(b.pressure, a.pressure, loudness(a), 1e-3)
    for name, opening in a.openings.items():
        close(b.openings[name].pressure, opening.pressure, loudness(a), 1e-3)


# What becomes of each unit where every length is doubled and every frequency halved, by its powers of 2.
LENGTH = {"mm": 1, "m": 1, "cm2": 2, "L": 3, "g": 3, "mm/N": -1, "kg/s": 2, "N/A": 1, "mH": 1, "uF": 1, "Pa.s/m2": -1}


@law(few=4, many=20, draft=kits(placements=("in_wall", "in_wall", "free_standing"), coupled=True))
def test_everything_twice_as_large_sounds_the_same_an_octave_lower(draft):
    """The wave equation has no scale (Rayleigh, 1877; of loudspeakers Small, J. Audio Eng. Soc. 20, 1972, from memory).

    With lengths times 2 at half the frequency impedances of air over areas squared, m w S^-2 and so on, stay alike:
    masses times 8, compliances over 2, losses times 4, force factors, coils and capacitors times 2, flow resistivities
    over 2. Then p r is the same. Walls of a real viscosity, and fibres of a real thickness, have a scale.
    """
    assume(all(chamber.get("walls") != "lossy" for chamber in draft.chambers))
    assume("rigid_fibre" not in draft.text)

    def scaled(amount):
        return amount.times(Decimal(2) ** LENGTH.get(amount.unit, 0))

    def numbers(tree):
        for driver in tree["drivers"].values():
            coil = driver["voice_coil"]
            if "factor" in coil:
                coil["factor"] = coil["factor"].times(2 ** float(coil["exponent"].number))
            if "semi" in coil:
                coil["semi"] = coil["semi"].times(2**0.5)
        for part in tree["crossover"]["parts"].values():
            if "at" in part:
                part["at"] = Amount(Decimal(500), "Hz")

    frequency = np.array([25.0, 90.0, 300.0, 1e3, 4e3, 42e3])  # the edges are resolved for the highest above 20.1 kHz
    a = draft.predict(frequency)
    b = draft.mapped(scaled).changed(numbers).predict(frequency / 2)
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure * 2, a.pressure, loudness(a), 1e-7)
    for name, driver in a.drivers.items():
        close(b.drivers[name].excursion, driver.excursion)  # half the velocity for twice as long
        close(b.drivers[name].pressure * 2, driver.pressure, loudness(a), 1e-7)
    for name, opening in a.openings.items():
        close(b.openings[name].pressure * 2, opening.pressure, loudness(a), 1e-7)


@law(few=8, many=50, draft=kits(), factor=st.sampled_from([2, 5]))
def test_twice_as_far_from_one_point_is_half_as_loud(draft, factor):
    """Spherical spreading (Rayleigh, 1877), the delay of the distance being taken out."""
    draft = at_one_point(draft)
    farther = draft.put("listening.distance", draft.tree["listening"]["distance"].times(factor))
    near = draft.predict()
    close(farther.predict().pressure * factor, near.pressure, loudness(near))


@law(few=8, many=50, draft=kits(), factor=st.sampled_from([0.1, 7.0]))
def test_twice_the_volts_is_twice_of_everything(draft, factor):
    """Linearity, and Joule (1841) for the heat: more volts never lower an excursion."""
    a, b = draft.predict(), draft.predict(volts=2.83 * factor)
    close(b.impedance, a.impedance, np.abs(a.impedance))
    close(b.pressure / factor, a.pressure, loudness(a))
    for name, driver in a.drivers.items():
        close(b.drivers[name].excursion / factor, driver.excursion)
        close(a.excursion_at(name, 2.83 * factor), b.drivers[name].excursion)
    for name, opening in a.openings.items():
        close(b.openings[name].pressure / factor, opening.pressure, loudness(a))
    for name, part in a.parts.items():
        close(b.parts[name].watts / factor**2, part.watts, heat(a))
