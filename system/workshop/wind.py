"""A coil to wind for the value and the dc resistance that a place asks for, of every likely size of wire.

For a length of wire Brooks's shape (square section, inner radius as wide as the section) has nearly the most
inductance, so for a wanted inductance it has nearly the least resistance. Other shapes near it lose little, so a former
of a whole millimetre loses nothing. A last layer that is not full counts as so much less depth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from filters.coils import inductance
from filters.windings import (
    AWG,
    METRIC,
    Winding,
    awg,
    brooks_turns,
    overall_diameter,
    pitch,
    wheeler,
    wire_for,
    wire_mass,
    wire_resistance,
)
from system.builds import ASSUMED_TOLERANCES
from system.findings import usage_error
from system.kit import Kit, Part, Variant

REACH = (0.7, 1.35)  # wires shown, times the one that just has the resistance
USUAL_REACH = (0.7e-3, 2.0e-3)  # m, of a coil whose resistance the kit does not tell
SERIES = ("metric", "awg")
NARROWEST = 6e-3  # m, the thinnest former
FORMERS = (0.5, 0.7, 1.4, 2.0)  # times Brooks's inner diameter, other formers for the same wire
MORE = 0.03  # of the inductance, by which a hand-wound coil may come out short; common practice, no source
_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Wire:
    """A size of round copper wire: what it is called, its bare `diameter` (m), and which list it is from."""

    name: str
    diameter: float
    series: str


WIRES = tuple(
    sorted(
        [
            *(Wire(f"{size:g} mm", size * 1e-3, "metric") for size in METRIC),
            *(Wire(f"AWG {n}", awg(n), "awg") for n in AWG),
        ],
        key=lambda wire: wire.diameter,
    )
)


@dataclass(frozen=True, slots=True)
class Wound:
    """A coil to wind: `winding` with a whole number of turns, `per_layer` of them in a layer, the last not full.

    `inductance` (H) is exact for an even current, `wheeler` by his formula; `per_turn` (H) is what the last turn adds.
    `resistance` (ohm) is at 20 degC, of the winding without leads; `least_turns` to `most_turns` keep the tolerance.
    """

    wire: Wire
    winding: Winding
    per_layer: int
    layers: int
    last_layer: int
    inductance: float
    wheeler: float
    per_turn: float
    wire_length: float
    mass: float
    resistance: float
    least_turns: int
    most_turns: int
    wind_first: int

    @property
    def overall(self) -> float:
        """Of the wire with its enamel, m."""
        return overall_diameter(self.wire.diameter)


@dataclass(frozen=True, slots=True)
class Wind:
    """What to wind for one place as some variants have it: an `inductance` (H) with at most `resistance` (ohm).

    `thinnest` are the thinnest wires of each series that keep the resistance, `best` the metric one of them (None: none
    does, or nothing is asked for), and `formers` the same wire on other formers.
    """

    reference: str
    variants: tuple[str, ...]
    inductance: float
    resistance: float | None
    tolerance: float
    assumed_tolerance: bool
    choices: tuple[Wound, ...]
    thinnest: tuple[Wound, ...]
    best: Wound | None
    formers: tuple[Wound, ...]
    group: tuple[float, ...]  # H, the coils that the kit has in its stead


def wind(kit: Kit, reference: str, variants: Sequence[Variant]) -> list[Wind]:
    """What to wind for a place, once for each value that the variants give it, in the order of the file.

    Raises KitError for a place that is no air coil, or that none of the variants fits.
    """
    known = next(iter(kit.variants.values())).places
    coils = [name for name, place in known.items() if place.part.kind == "coil"]
    if reference not in coils:
        allowed = f"the kit's coils: {', '.join(coils)}" if coils else "the kit has no coils"
        what = f"is a {known[reference].part.kind}" if reference in known else "is no part of the kit"
        raise usage_error(f"--wind {reference}, which {what}", allowed)
    fitted = {v.name: v.places[reference].part for v in variants if v.places[reference].state == "fit"}
    if not fitted:
        raise usage_error(f"--wind {reference}, which no variant asked for fits", "a coil that is fitted")
    if any(part.core == "iron" for part in fitted.values()):
        raise usage_error(f"--wind {reference}, which has an iron core", "a coil of air: core: air, or no core")
    wanted: dict[tuple[float, float], list[str]] = {}
    for name, part in fitted.items():
        wanted.setdefault((part.marked, part.resistance), []).append(name)
    return [_wind(reference, fitted[names[0]], tuple(names)) for names in wanted.values()]


def _wind(reference: str, part: Part, variants: tuple[str, ...]) -> Wind:
    value, resistance = part.marked, part.resistance or None
    tolerance = ASSUMED_TOLERANCES["coil"] if part.tolerance is None else part.tolerance
    choices = tuple(wound(value, wire, tolerance) for wire in _likely(reference, value, resistance))
    enough = [each for each in choices if resistance is not None and each.resistance <= resistance]
    thinnest = {each.wire.series: each for each in reversed(enough)}
    best = next((thinnest[series] for series in SERIES if series in thinnest), None)
    formers: list[Wound] = []
    if best is not None:
        inner = best.winding.inner_diameter
        formers = [wound(value, best.wire, tolerance, round(inner * share, 3)) for share in FORMERS]
    return Wind(
        reference,
        variants,
        value,
        resistance,
        tolerance,
        part.tolerance is None,
        choices,
        tuple(thinnest[series] for series in SERIES if series in thinnest),
        best,
        tuple(each for each in formers if each.winding.inner_diameter >= NARROWEST),
        part.made_of,
    )


def _likely(reference: str, value: float, resistance: float | None) -> list[Wire]:
    """The sizes of wire about that with the resistance asked for. Raises KitError where no wire is that thick."""
    low, high = USUAL_REACH
    if resistance is not None:
        try:
            needed = wire_for(value, resistance)
        except ValueError:
            needed = math.inf
        low, high = (needed * factor for factor in REACH)
    found = [wire for wire in WIRES if low <= wire.diameter <= high]
    if not found:
        asked = f"{value * 1e3:g} mH with {resistance:g} ohm"
        raise usage_error(f"--wind {reference}: {asked}", f"a coil of wire from {WIRES[0].name} to {WIRES[-1].name}")
    return found


def wound(value: float, wire: Wire, tolerance: float, former: float | None = None) -> Wound:
    """A coil of `value` (H) in a square section, on a `former` (m) or on the nearest whole millimetre to Brooks's.

    `tolerance` is a ratio.
    """
    step = pitch(wire.diameter)
    turns = brooks_turns(value, wire.diameter)
    if former is None:
        former = max(NARROWEST, round(2 * step * math.sqrt(turns), 3))
    per_layer = max(1, round(math.sqrt(turns)))
    for _ in range(_ROUNDS):  # as many a layer as fill the last one best, in a section that stays square
        turns = _turns(value, former, step, per_layer, turns)
        before, layers = per_layer, max(1, round(math.sqrt(turns)))
        per_layer = max(1, math.ceil(turns / layers))
        if per_layer == before:
            break
    turns = _turns(value, former, step, per_layer, turns)
    count = _nearest(value, former, step, per_layer, turns)
    made = _winding(former, step, per_layer, count)
    found = inductance(made)
    per_turn = found - inductance(_winding(former, step, per_layer, count - 1)) if count > 1 else found
    layers = math.ceil(count / per_layer)
    return Wound(
        wire=wire,
        winding=made,
        per_layer=per_layer,
        layers=layers,
        last_layer=count - (layers - 1) * per_layer,
        inductance=found,
        wheeler=wheeler(made),
        per_turn=per_turn,
        wire_length=made.wire_length,
        mass=wire_mass(made.wire_length, wire.diameter),
        resistance=wire_resistance(made.wire_length, wire.diameter),
        least_turns=math.ceil(count + (value * (1 - tolerance) - found) / per_turn),
        most_turns=math.floor(count + (value * (1 + tolerance) - found) / per_turn),
        wind_first=count + math.ceil(MORE * found / per_turn),
    )


def _winding(former: float, step: float, per_layer: int, turns: float) -> Winding:
    return Winding(former, step * turns / per_layer, step * min(per_layer, max(turns, 1.0)), turns)


def _turns(value: float, former: float, step: float, per_layer: int, turns: float) -> float:
    """Turns, not whole, that have `value` with so many a layer; the inductance goes as a power of them near 2.2."""
    for _ in range(_ROUNDS):
        turns *= (value / inductance(_winding(former, step, per_layer, turns))) ** (1 / 2.2)
    return turns


def _nearest(value: float, former: float, step: float, per_layer: int, turns: float) -> int:
    whole = {max(1, math.floor(turns)), max(1, math.ceil(turns))}
    return min(whole, key=lambda n: abs(inductance(_winding(former, step, per_layer, n)) - value))
