"""What another driver makes of a variant: level, balance, which way round, how far it moves, what its box becomes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.build import Build
from system.handover import CLEAR, Polarity, polarities
from system.kit import DriverData, Kit, LineChamber, Part, RadiatorChamber, Role, SealedChamber, Variant, VentedChamber
from system.limits import limits
from system.predict import chambers, flows
from system.refit import with_part
from system.swap import (
    ROLES,
    Change,
    Curves,
    Excursion,
    Shot,
    Swap,
    compare,
    judged,
    mean_change,
    swap,
    too_far,
    worst_of,
)
from system.swap_advice import before_driver, heat, left, nearest_resistor, size_for

HIGHEST = 1e3  # ohm: what needs more than this to be levelled does not go together
BALANCED = 0.005  # dB: what is nearer than this needs no other level part
RESONANCES: Mapping[type, str] = {
    SealedChamber: "resonance of driver and box",
    VentedChamber: "tuning of the box",
    RadiatorChamber: "tuning of the box",
    LineChamber: "first resonance of the line",
}


@dataclass(frozen=True, slots=True)
class Box:
    """A chamber with the driver in it: what its `resonance` (Hz) is called, and the total Q of a sealed one there.

    `q` is that of the driver alone with re, the box without losses, as Small (J. Audio Eng. Soc. 20(10), 1972) has it:
    qts fc/fs; None for another chamber, or for several drivers that are not alike.
    """

    words: str
    resonance: float
    q: float | None


@dataclass(frozen=True, slots=True)
class Moves:
    """A cone and its own limits (m), None where its data have none."""

    excursion: Excursion
    linear: float | None  # m
    damage: float | None  # m


@dataclass(frozen=True, slots=True)
class Pad:
    """A divider before the tweeter: what its `parts` (in series, across) have to be, `chosen` from stock where it can.

    `change` is what the variant differs by with the chosen two.
    """

    parts: tuple[str, str]
    exact: tuple[float, float]  # ohm
    chosen: tuple[float, float]
    change: Change


@dataclass(frozen=True, slots=True)
class LevelPart:
    """The resistor that sets the tweeter's level: `part` names it, empty where one has to be added at `driver`.

    `now` is what it is (ohm), `wanted` what brings the balance of tweeter to the rest back to the kit's; None with
    `why` where nothing does. `stock` is the nearest value, with which the balance is off by `balance` dB, the variant
    differs from the kit by `change`, and `watts` are in the resistor, for which `order` is large enough.
    `off` is how much too loud (dB) the tweeter is without it.
    """

    part: str
    driver: str
    off: float
    now: float
    wanted: float | None = None
    stock: float | None = None
    balance: float | None = None
    change: Change | None = None
    watts: float | None = None
    order: float | None = None
    pad: Pad | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """One variant with the other driver in it, beside what `swap` says of it.

    `names` are its hookup names there, `role` whose range `mean` (dB) is a change of; `reference_change` (dB) that of
    the reference level. `minus_3` (Hz) is before and after. `boxes` are before and after too.
    """

    swap: Swap
    names: tuple[str, ...]
    role: Role
    mean: float
    reference_change: float
    minus_3: tuple[float | None, float | None]
    polarities: tuple[Polarity, ...]
    level_part: LevelPart | None
    moves: Mapping[str, Moves]
    boxes: tuple[tuple[Box, Box], ...]
    cannot_tell: tuple[str, ...]
    advice: tuple[str, ...]


def swap_driver(
    kit: Kit, swapped: Kit, hookups: Sequence[str], variants: Sequence[Variant], untouched: Mapping[str, str]
) -> list[tuple[Swap, Fitted | None]]:
    """Each of `variants` of `kit` with the drivers of `swapped`; without a `Fitted` where none of `hookups` is there.

    Raises KitError where a circuit has no solution.
    """
    found: list[tuple[Swap, Fitted | None]] = []
    for variant in variants:
        before = Shot.of(kit, variant)
        made = swap(before, swapped, untouched.get(variant.name, ""))
        names = tuple(name for name in hookups if name in variant.hookups)
        found.append((made, None if made.untouched else _fitted(made, names)))
    return found


def _fitted(made: Swap, names: tuple[str, ...]) -> Fitted:
    before, after = made.before, made.after
    role = before.variant.hookups[names[0]].driver.role
    figures = [shot.result.summary for shot in (before, after)]
    turned = polarities(after.model, after.acoustics, after.acoustics, 1.0)
    part = _level_part(before, after)
    cannot = tuple(_cannot_tell(after, names))
    fitted = Fitted(
        swap=made,
        names=names,
        role=role,
        mean=mean_change(before, after.curves, role if before.ranges()[role].any() else None),
        reference_change=figures[1].sensitivity_db - figures[0].sensitivity_db,
        minus_3=(figures[0].minus_3_db_hz, figures[1].minus_3_db_hz),
        polarities=turned,
        level_part=part,
        moves=_moves(after, names),
        boxes=tuple(zip(_boxes(before.model, names), _boxes(after.model, names), strict=True)),
        cannot_tell=cannot,
        advice=(),
    )
    return replace(fitted, advice=tuple(_advice(fitted)))


def _moves(after: Shot, names: Sequence[str]) -> dict[str, Moves]:
    drivers = after.variant.hookups
    return {
        name: Moves(moved, drivers[name].driver.linear_excursion, drivers[name].driver.damage_excursion)
        for name, moved in after.excursions.items()
        if name in names
    }


def _boxes(model: Build, names: Sequence[str]) -> list[Box]:
    found = []
    for _, chamber, cell in chambers(model):
        inside = [model.drivers[i] for i in cell.members]
        drivers = [driver for driver in inside if driver is not None]
        if cell.enclosure is not None and set(names) & {model.names[i] for i in cell.members}:
            resonance = cell.enclosure.resonance(model.air, drivers)
            alike = len({(d.fs, d.qts, d.sd) for d in drivers}) == 1
            sealed = isinstance(chamber, SealedChamber) and alike
            q = (
                drivers[0].qts * resonance / drivers[0].fs if sealed else None
            )  # Small (1972), closed box: Qtc/Qts = fc/fs
            found.append(Box(RESONANCES[type(chamber)], resonance, q))
    return found


def _cannot_tell(after: Shot, names: Sequence[str]) -> Iterator[str]:
    """What the driver's data do not say."""
    whose: dict[tuple[str, str], list[str]] = {}
    for each in limits(after.swept, after.swept).not_judged:
        what, _, name = each.what.rpartition(" of ")
        if name in names:
            whose.setdefault((what, each.why), []).append(name)
    for (what, why), who in whose.items():
        yield f"{what} of {' and '.join(who)}: {why}"
    seen: dict[str, DriverData] = {
        after.variant.hookups[name].driver.name: after.variant.hookups[name].driver for name in names
    }
    for name, data in seen.items():
        if data.small_signal is not None and data.coil is None and data.impedance is None:
            yield f"inductance of {name}: it has no voice_coil, so its highs are too loud and its impedance too low"
        if data.response is not None and data.response.table.phase is None:
            yield f"phase of {name}: its response has none, so minimum phase is taken, without its delay"
        if data.small_signal is not None and data.response is None:
            yield f"breakup of {name}: it has no response table, so it is taken as a rigid piston"
        if data.small_signal is not None and data.large_signal is None:
            yield f"distortion of {name}: it has no large_signal"


@dataclass(frozen=True, slots=True, eq=False)
class _Balance:
    """How loud the tweeters are over their range against the others over theirs, in dB; both as the kit is drawn."""

    tweeters: tuple[str, ...]  # hookup names, whatever is now on them
    ranges: tuple[NDArray[np.bool_], NDArray[np.bool_]]

    def of(self, shot: Shot, model: Build | None = None) -> float:
        """Of a shot, or of its acoustics behind another network."""
        model = model or shot.model
        found = flows(model, shot.acoustics, 1.0)
        heard = np.einsum("fij,fj->fi", shot.acoustics.driver_pressure, found.load_current)
        whole = np.einsum("fj,fj->f", shot.acoustics.total_pressure, found.load_current)
        tweeters = np.sum([heard[:, model.names.index(name)] for name in self.tweeters], axis=0)
        high, low = self.ranges
        loud = 20 * np.log10(np.maximum(np.abs(tweeters[high]), 1e-30))
        rest = 20 * np.log10(np.maximum(np.abs((whole - tweeters)[low]), 1e-30))
        return float(np.mean(loud) - np.mean(rest))


def _level_part(before: Shot, after: Shot) -> LevelPart | None:
    """None where there is no tweeter beside others."""
    ranges = before.ranges()
    lower = [role for role in ROLES if role != "tweeter" and role in ranges]
    if "tweeter" not in ranges or not lower:
        return None
    rest = np.any([ranges[role] for role in lower], axis=0)
    if not ranges["tweeter"].any() or not rest.any():
        return None
    tweeters = tuple(name for name, hookup in before.variant.hookups.items() if hookup.driver.role == "tweeter")
    balance = _Balance(tweeters, (ranges["tweeter"], rest))
    aim = balance.of(before)
    off = balance.of(after) - aim
    found = _series_resistor(after, balance)
    at = LevelPart(found or "", tweeters[0], off, _ohm(after, found) if found else 0.0)
    return _solved(before, after, balance, aim, at)


def _ohm(shot: Shot, reference: str) -> float:
    return shot.variant.places[reference].part.value


def _series_resistor(shot: Shot, balance: _Balance) -> str | None:
    """The fitted resistor that makes the tweeter softer the more it is, the one that does most for its value."""
    now, sizes = balance.of(shot), {}
    for name, place in shot.variant.places.items():
        if place.state == "fit" and place.part.kind == "resistor" and place.part.value > 0:
            more = with_part(shot.model, name, replace(place.part, value=1.01 * place.part.value))
            sizes[name] = now - balance.of(shot, more)
    best = max(sizes, key=lambda name: sizes[name], default=None)
    return best if best is not None and sizes[best] > 1e-4 else None


def _with_ohm(shot: Shot, at: LevelPart, ohm: float) -> tuple[Build, str]:
    """The build with the level part so large, and its reference."""
    if at.part:
        part: Part = shot.variant.places[at.part].part
        return with_part(shot.model, at.part, replace(part, value=ohm)), at.part
    return before_driver(shot.model, at.driver, ohm)


def _solved(before: Shot, after: Shot, balance: _Balance, aim: float, at: LevelPart) -> LevelPart:
    """The level part that makes the balance the kit's again: between none and much (Brent); more ohm, less tweeter."""

    def over(ohm: float) -> float:
        return balance.of(after, _with_ohm(after, at, ohm)[0]) - aim

    if abs(at.off) < BALANCED:
        return replace(at, wanted=at.now)
    short = over(0.0)
    if short < 0:
        return replace(at, why=f"without any resistor the tweeter is still {-short:.1f} dB too soft")
    if over(HIGHEST) > 0:
        return replace(at, why=f"even {HIGHEST:g} ohm leave the tweeter too loud")
    from scipy.optimize import brentq  # takes a fifth of a second to load

    wanted = float(brentq(over, 0.0, HIGHEST, xtol=1e-9))
    stock = nearest_resistor(after.kit, wanted)
    chosen = wanted if stock is None else stock
    model, reference = _with_ohm(after, at, chosen)
    watts = heat(model, after, reference)
    change = compare(before.kit, before.curves, Curves.of(model, after.acoustics))
    return replace(
        at,
        wanted=wanted,
        stock=stock,
        balance=over(chosen),
        change=change,
        watts=watts,
        order=size_for(watts),
        pad=_pad(before, after, at),
    )


def _pad(before: Shot, after: Shot, at: LevelPart) -> Pad | None:
    """Both resistors of a divider, so that the filter before it goes on seeing what it saw.

    With Z the driver's mean impedance over its range, P = R2 Z/(R2 + Z) and T = R1 + P kept, the level k times P/T:
    P' = k P, R1' = T - P', R2' = P' Z/(Z - P') (Kirchhoff's laws). None without a resistor across the driver, or where
    one of the two would be below zero.
    """
    load = after.variant.hookups[at.driver]
    across = [
        name
        for name, place in after.variant.places.items()
        if place.state == "fit" and place.part.kind == "resistor" and {*place.between} == {load.plus, load.minus}
    ]
    index = after.model.names.index(at.driver)
    if not at.part or len(across) != 1 or across[0] == at.part:
        return None
    z = float(np.mean(np.abs(after.acoustics.impedance[before.ranges()["tweeter"], index, index])))
    one, other = _ohm(after, at.part), _ohm(after, across[0])
    p = other * z / (other + z)
    lower = 10 ** (-at.off / 20) * p
    if lower >= min(one + p, z):
        return None
    exact = one + p - lower, lower * z / (z - lower)
    stock = [nearest_resistor(after.kit, ohm) for ohm in exact]
    chosen = [ohm if near is None else near for ohm, near in zip(exact, stock, strict=True)]
    model = after.model
    for name, ohm in zip((at.part, across[0]), chosen, strict=True):
        model = with_part(model, name, replace(after.variant.places[name].part, value=ohm))
    change = compare(before.kit, before.curves, Curves.of(model, after.acoustics))
    return Pad((at.part, across[0]), exact, (chosen[0], chosen[1]), change)


def _advice(found: Fitted) -> Iterator[str]:
    for polarity in found.polarities:
        if polarity.gain < -CLEAR:
            yield (
                f"turn {polarity.driver} round: about {wording.hertz(polarity.crossover)}, where it takes over, the"
                f" octave then sums {-polarity.gain:.1f} dB louder"
            )
    part = found.level_part
    if part is not None:
        yield from _level_text(part, found.swap)
    yield from _moves_text(found)


def _moves_text(found: Fitted) -> Iterator[str]:
    """Cones beyond their own limits, those that move alike together."""
    over_before = too_far(found.swap.before)
    whose: dict[str, list[str]] = {}
    for name, moves in found.moves.items():
        for key, size, limit in (
            ("linear", moves.excursion.of_signal, moves.linear),
            ("damage", moves.excursion.sine, moves.damage),
        ):
            if limit is not None and size > limit:
                drive = "a swept sine" if key == "damage" or moves.excursion.programme is None else "the programme"
                before = " (as drawn it did too)" if (name, key) in over_before else ""
                moved = f"{wording.millimetres(size)} on {drive}, over the {key} excursion"
                text = f"{moved} of {wording.millimetres(limit)}{before}: kitwright protect tells what helps"
                whose.setdefault(text, []).append(name)
    for text, names in whose.items():
        yield f"{' and '.join(names)} {'moves' if len(names) == 1 else 'move'} {text}"


def _level_text(part: LevelPart, made: Swap) -> Iterator[str]:
    if abs(part.off) < BALANCED:
        return
    what = (
        f"{part.part} of {wording.part_value('resistor', part.now)}"
        if part.part
        else f"no resistor in series with {part.driver}"
    )
    loud = f"{part.driver} is {abs(part.off):.1f} dB too {'loud' if part.off > 0 else 'soft'} for the rest"
    if part.wanted is None or part.change is None:
        yield f"{loud} with {what}, and {part.why}"
        return
    if part.part and part.stock is not None and abs(part.stock / part.now - 1) < 1e-9:
        yield f"{loud} with {what}: it may stay, nothing in stock comes nearer to {part.wanted:.3g} ohm"
        return
    exact = f"{part.wanted:.3g} ohm"
    where = part.part or f"a resistor in series with {part.driver}"
    if part.stock is None:
        yield f"{loud} with {what}: {exact} as {where} brings it back; there is no resistor in stock"
        return
    size = f"{part.order:g} W" if part.order else f"more than {part.watts:.2g} W"
    yield (
        f"{loud} with {what}: {exact} as {where} brings it back; the nearest in stock,"
        f" {wording.part_value('resistor', part.stock)} of {size} or more, leaves {_judged_text(made, part.change)}"
    )
    if part.pad is not None and abs(part.pad.change.level) < abs(part.change.level):
        two = " and ".join(
            f"{name} {wording.part_value('resistor', ohm)}"
            for name, ohm in zip(part.pad.parts, part.pad.chosen, strict=True)
        )
        yield f"better, {two} together, which keep what the filter sees: {_judged_text(made, part.pad.change)} left"


def _judged_text(made: Swap, change: Change) -> str:
    window, meter = made.before.kit.window, made.before.kit.meter
    level = judged(change.level, window.level, meter.level)
    word = worst_of([level, judged(change.impedance, window.impedance, meter.impedance)])
    return f"{left(change)} ({word})"
