"""What helps a substitute: the resistor that a better coil lacks, a pair from stock that is nearer, what stays open."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from filters import network as circuit
from filters import parts
from filters import stock as series
from system import wording
from system.build import Build
from system.kit import Kit, Part, Place
from system.predict import solve
from system.protect import UNCERTAINTY
from system.ratings import preferred
from system.refit import with_part
from system.swap import Change, Curves, Shot, Swap, compare

SAME = 1e-9  # a ratio
ADDING = {"capacitor": ("parallel", "series"), "resistor": ("series", "parallel")}  # the plainer way first
LOSSES = {"resistance": "series_resistance", "dissipation_factor": "dissipation_factor"}


@dataclass(frozen=True, slots=True)
class Added:
    """A resistor put in series: `ohm` as it is worked out, `stock` the nearest in stock, None where there is none.

    `change` is what the variant then differs by, with the resistor from stock, else with the exact one; `watts` the
    heat in that one on the signal that the kit is judged on, `order` the smallest size sold that bears it.
    """

    ohm: float
    stock: float | None
    change: Change
    watts: float
    order: float | None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two parts from stock that make `value`, off the kit's by `error` (a ratio); what the variant then differs by."""

    value: float
    members: tuple[float, float]  # ohm, F or H
    connection: str
    error: float
    change: Change


@dataclass(frozen=True, slots=True)
class Advice:
    """For one variant: `texts` in words; the two that are figures."""

    texts: tuple[str, ...]
    restoring: Added | None = None
    pair: Pair | None = None


def advise(swapped: Swap, reference: str) -> Advice:
    """On a part that has been replaced in a variant."""
    if swapped.untouched:
        return Advice(())
    old, new = (shot.variant.places[reference] for shot in (swapped.before, swapped.after))
    both = old.state == new.state == "fit"
    added = restoring(swapped, reference) if both else None
    pair = nearer_pair(swapped, reference) if both else None
    texts = [*_coupled(swapped.after, new)]
    if both:
        texts += [*_restoring_text(added, new), *_pair_text(pair, old), *_core(old.part, new.part, reference)]
        texts += [*_dielectric(old.part, new.part, reference), *_unrated(swapped.after, reference)]
    return Advice(tuple(texts), added, pair)


def restoring(swapped: Swap, reference: str) -> Added | None:
    """The resistor in series with a coil of less dc resistance than the one it replaces; None where none is lacking.

    A coil of another core is no better coil, so nothing is restored there.
    """
    old, new = (shot.variant.places[reference].part for shot in (swapped.before, swapped.after))
    lacking = old.resistance - new.resistance
    if new.kind != "coil" or new.core != old.core or lacking <= SAME * max(old.resistance, 1e-3):
        return None
    return added_resistor(swapped.before, swapped.after, reference, lacking)


def added_resistor(before: Shot, after: Shot, reference: str, ohm: float) -> Added:
    """What `ohm` in series with a part does, rounded to what is in stock."""
    stock = nearest_resistor(after.kit, ohm)
    model, inserted = in_series(after.model, reference, ohm if stock is None else stock)
    watts = heat(model, after, inserted)
    change = compare(before.kit, before.curves, Curves.of(model, after.acoustics))
    return Added(ohm, stock, change, watts, size_for(watts))


def size_for(watts: float) -> float | None:
    """The smallest resistor sold that bears this heat, and what the model may be off."""
    return preferred("power", watts * 10 ** (2 * UNCERTAINTY / 20))


def nearest_resistor(kit: Kit, ohm: float) -> float | None:
    """The resistance in stock that is nearest by ratio; None for an empty stock."""
    values = [item.value for item in kit.stock.between("resistor", ohm / 1e3, ohm * 1e3)]
    return series.nearest(ohm, values).value if values else None


def in_series(model: Build, reference: str, ohm: float) -> tuple[Build, str]:
    """The build with a resistor behind a part, and the reference of that resistor."""
    net = model.network
    here, point = net.element(reference), _free("between", net.points)
    elements = tuple(replace(each, minus_point=point) if each is here else each for each in net.elements)
    return _with_resistor(replace(model, network=replace(net, elements=elements)), ohm, point, here.minus_point)


def before_driver(model: Build, driver: str, ohm: float) -> tuple[Build, str]:
    """The build with a resistor between the board and the plus mark of a driver, and its reference."""
    net, index = model.network, model.names.index(driver)
    load, point = net.loads[index], _free("mark", net.points)
    loads = (*net.loads[:index], replace(load, plus_point=point), *net.loads[index + 1 :])
    return _with_resistor(replace(model, network=replace(net, loads=loads)), ohm, load.plus_point, point)


def _with_resistor(model: Build, ohm: float, plus: str, minus: str) -> tuple[Build, str]:
    net = model.network
    name = _free("added", [each.reference for each in net.elements])
    element = circuit.Element(name, parts.Resistor(ohm), plus, minus)
    return replace(model, network=replace(net, elements=(*net.elements, element))), name


def _free(word: str, taken: Sequence[str]) -> str:
    while word in taken:
        word += "_"
    return word


def heat(model: Build, shot: Shot, reference: str) -> float:
    """W in a part of a build that has the acoustics of `shot`, on the signal that the kit is judged on."""
    found, signal = solve(model, shot.swept.acoustics, 1.0), shot.signal
    index = [each.reference for each in model.network.elements].index(reference)
    root = np.sqrt(found.element_watts[:, index])
    rms = signal.rms(root)
    return float((signal.rated * signal.largest(root)[0]) ** 2 if rms is None else (signal.full * rms) ** 2)


def nearer_pair(swapped: Swap, reference: str) -> Pair | None:
    """Two resistors or capacitors from stock that come nearer to the kit's value than the substitute; None for none."""
    before, after = swapped.before, swapped.after
    old, new = (shot.variant.places[reference].part for shot in (before, after))
    if new.kind not in ADDING or old.value == 0 or new.value == 0 or abs(new.value / old.value - 1) < SAME:
        return None
    found = [pair for how in ADDING[new.kind] if (pair := _pair(before.kit, old, how))]
    best = min(found, key=lambda pair: round(abs(math.log(pair[0] / old.value)), 12), default=None)
    if best is None or abs(math.log(best[0] / old.value)) >= abs(math.log(new.value / old.value)):
        return None
    value, members, how = best
    model = with_part(after.model, reference, replace(new, value=value))
    change = compare(before.kit, before.curves, Curves.of(model, after.acoustics))
    return Pair(value, members, how, value / old.value - 1, change)


def _pair(kit: Kit, part: Part, how: str) -> tuple[float, tuple[float, float], str] | None:
    """The pair in stock whose value, joined so, is nearest to that of `part`."""
    offers = kit.stock.of(part.kind)
    connection: series.Connection = "parallel" if how == "parallel" else "series"
    if isinstance(offers, str):
        choice = series.best_pair(part.value, offers, part.kind, connection)
        a, b = choice.members
        return choice.value, (a, b), how
    there = {item.value: 0 for item in offers}
    for item in offers:
        there[item.value] += 2 if item.in_stock is None else item.in_stock
    values = [value for value, pieces in there.items() if pieces]
    sums = series.pairs(values, series.HOW_THEY_ADD[part.kind, connection], part.value / 2, part.value * 2)
    known = [(value, pair) for value, pair in sums if pair[0] != pair[1] or there[pair[0]] >= 2]
    nearest = min(known, key=lambda each: abs(math.log(each[0] / part.value)), default=None)
    return (*nearest, how) if nearest else None


def _restoring_text(added: Added | None, place: Place) -> Iterator[str]:
    if added is None:
        return
    exact = f"{added.ohm:.3g} ohm in series with {place.reference} restores its dc resistance"
    if added.stock is None:
        yield f"{exact}; there is no resistor in stock"
        return
    size = f"{added.order:g} W" if added.order else f"more than {added.watts:.2g} W"
    yield (
        f"{exact}; the nearest in stock, {wording.part_value('resistor', added.stock)} of {size} or more,"
        f" leaves {left(added.change)}"
    )


def left(change: Change) -> str:
    """What still differs, in words."""
    level, impedance = _left(change.level, "dB", change.level_hz), _left(change.impedance, "ohm", change.impedance_hz)
    return f"{level} and {impedance}"


def _left(size: float, unit: str, hertz: float) -> str:
    """What rounds to nothing has no sign and no place: both would be of rounding errors."""
    if abs(size) < 0.005:
        return f"0.00 {unit}"
    return f"{size:+.2f} {unit} at {wording.hertz(hertz)}"


def _pair_text(pair: Pair | None, old: Place) -> Iterator[str]:
    if pair is not None:
        a, b = (wording.part_value(old.part.kind, member) for member in pair.members)
        off = "exactly" if abs(pair.error) < SAME else f"{100 * pair.error:+.1f} % off"
        yield (
            f"{a} and {b} in {pair.connection} make {wording.part_value(old.part.kind, pair.value)},"
            f" {off} the kit's: that leaves {left(pair.change)}"
        )


def _core(old: Part, new: Part, reference: str) -> Iterator[str]:
    if new.kind == "coil" and new.core is not None and new.core != old.core:
        yield (
            f"{reference} with another core: the figures hold for small signals only; an iron core adds distortion, and"
            " saturates, at currents that its maker has to tell"
        )


def _dielectric(old: Part, new: Part, reference: str) -> Iterator[str]:
    if new.kind != "capacitor" or new.type is None or new.type == old.type:
        return
    was = f"for {old.type}" if old.type else "and the kit does not say which it had"
    lost = [name for key, name in LOSSES.items() if getattr(old, key) != getattr(new, key)]
    told = (
        f"its {' and '.join(lost)} is in the figures"
        if lost
        else "its loss is not given, so the figures have that of the kit's"
    )
    yield f"{reference} is {new.type} {was}: {told}; what else the dielectric does is not known"


def _unrated(shot: Shot, reference: str) -> Iterator[str]:
    for rated in shot.stress.parts[reference].ratings:
        if rated.verdict == "cannot_tell":
            unit = {"voltage": "V", "power": "W", "saturation": "A"}[rated.kind]
            enough = f"{rated.order or rated.needed:.3g} {unit}"
            yield f"the {rated.kind} rating of {reference} is not given: {enough} or more will do"


def _coupled(shot: Shot, place: Place) -> Iterator[str]:
    for coupling in shot.variant.couplings:
        if place.reference in coupling.coils:
            other = next(name for name in coupling.coils if name != place.reference)
            yield f"{place.reference} is coupled to {other}: the coefficient {coupling.coefficient:g} is kept"
