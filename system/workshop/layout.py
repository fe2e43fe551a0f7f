"""The board as it is laid out, for one variant: what its coils do to each other, what gets too hot, what falls off.

A coupling between coils is worked out from where they lie and solved with and without. Its sign depends on which end of
a coil goes where, so the other sign counts as well. Limits that are common practice are named here once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filters import network
from filters.coils import coupling_coefficient
from system import summary
from system.ceilings import swept_case
from system.heat import CHART_SPREAD
from system.kit import Coupling, Kit, Variant
from system.limits import Case
from system.outline import LEAST_GAP, Body, LayoutSpec, apart, bodies, coil_body, gap, off_board
from system.predict import flows, pressure
from system.stray import air_coils, placed, stray_couplings
from system.stress import stress

Floats = NDArray[np.float64]
AdviceKind = Literal["coupling", "iron", "own_glue", "near_glue", "near_capacitor", "on_board", "raise", "hold"]

HEARD = 0.1  # dB that a coupling may make
ROUNDING = 1e-9  # dB or ohm, below which a change is the arithmetic's
# Common practice, no source: what a part is to be away from a hot one, how high a resistor stands over the board, and
# what glue alone holds.
NEAR, CLEAR, HEAVY = 10e-3, 5e-3, 60e-3  # m, m, kg
CAPACITOR_BEARS = 358.15  # K, 85 degC, the usual upper category of film and non-polar capacitors; common practice
WOOD_BEARS = 363.15  # K, 90 degC, what wood is to see for years; common practice, no source
GLUED = ("hot_melt", "glue")
TRIAL = 0.01  # coefficient at which it is tried how much a pair of coils does
SETTLED = 4  # rounds in which a coefficient is found
FARTHEST = 8.0  # times as far apart as now, the most that is looked at
MANY = 6  # coils, up to which all ways of connecting them are tried


@dataclass(frozen=True, slots=True)
class Change:
    """The largest changes that coupling makes: of level (dB, in the window's band) and of impedance (ohm), and where.

    Both with their sign; each None where there is nothing to compare. What changes nothing does so nowhere.
    """

    level: float | None
    level_at: float | None
    impedance: float | None
    impedance_at: float | None

    @property
    def size(self) -> float:
        """Of the change of level, dB without sign."""
        return abs(self.level or 0.0)


@dataclass(frozen=True, slots=True)
class Remedy:
    """`turn`: `reference` with its axis at `angle` (rad, None: up); `move`: centres `distance` (m) apart in plan.

    `coefficient` and `level` (dB, the worse sign) are those of the pair then; `gap` (m) is what is left between them.
    """

    way: Literal["turn", "move"]
    reference: str
    coefficient: float
    level: float
    angle: float | None = None
    distance: float | None = None
    gap: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two coils: `coefficient` is used, the kit's own where `given`; `computed` follows from the layout.

    `change` is what this pair alone does, `other_way` with the leads of one coil exchanged. Centres are `distance` (m)
    apart and windings `gap` (m).
    """

    coils: tuple[str, str]
    coefficient: float
    computed: float
    given: bool
    distance: float
    gap: float
    change: Change
    other_way: Change

    @property
    def worst(self) -> float:
        """dB, for the worse of the two signs."""
        return max(self.change.size, self.other_way.size)


@dataclass(frozen=True, slots=True)
class Advice:
    """Something to do: `figure` is what was found (dB, K, m or kg), `limit` what it is held against, by `kind`.

    `references` begins with the part that is the cause.
    """

    kind: AdviceKind
    references: tuple[str, ...]
    figure: float | None = None
    limit: float | None = None
    remedies: tuple[Remedy, ...] = ()


@dataclass(frozen=True, slots=True)
class LayoutResult:
    """One variant's board. `change` is what all couplings that the layout makes do together, `worst` with leads
    exchanged in whatever way does most (None: more coils than are tried). `temperatures` (K) are those of resistors'
    surfaces that can be told."""

    variant: Variant
    layout: LayoutSpec
    bodies: tuple[Body, ...]
    pairs: tuple[Pair, ...]
    change: Change
    worst: Change | None
    temperatures: Mapping[str, float]
    unrated: tuple[str, ...]  # resistors whose heat cannot be told
    absent: tuple[str, ...]  # fitted parts without a place
    advice: tuple[Advice, ...]

    @property
    def couplings(self) -> tuple[Coupling, ...]:
        """What the layout adds to the network."""
        return tuple(Coupling(pair.coils, pair.coefficient) for pair in self.pairs if not pair.given)


def layout(kit: Kit, variant: Variant) -> LayoutResult | None:
    """What there is to say of the variant's board; None where the kit has no layout.

    Raises KitError where the circuit has no solution.
    """
    if kit.layout is None:
        return None
    case = swept_case(kit, variant)
    here = bodies(kit.layout, variant)
    coils = air_coils(kit.layout, variant)
    trial = _Trial.of(case, variant)
    pairs = tuple(_pair(trial, a, b, variant) for a, b in combinations(coils, 2) if apart(a, b))
    stray = stray_couplings(kit, variant)
    parts = stress(case).parts
    surfaces = {name: part.surface for name, part in parts.items() if part.surface is not None}
    temperatures = {name: surface.temperature for name, surface in surfaces.items()}
    placed_here = [body.reference for body in here]
    resistors = [body for body in here if variant.places[body.reference].part.kind == "resistor"]
    return LayoutResult(
        variant=variant,
        layout=kit.layout,
        bodies=here,
        pairs=pairs,
        change=trial.change(stray),
        worst=_worst(trial, stray),
        temperatures={name: temperatures[name] for name in placed_here if name in temperatures},
        unrated=tuple(body.reference for body in resistors if body.reference not in temperatures),
        absent=tuple(n for n, place in variant.places.items() if place.state == "fit" and n not in placed_here),
        advice=(
            *_coupled_too_much(trial, pairs, coils, here, kit.layout),
            *_iron(here, variant),
            *_too_hot(kit, variant, here, temperatures),
            *_too_low(resistors, temperatures),
            *_too_heavy(here, variant),
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A build with its acoustics, to be solved with one set of couplings and another."""

    case: Case
    own: tuple[Coupling, ...]  # that the kit gives itself
    level: Floats  # (F,) dB without any other
    impedance: Floats  # (F,) ohm
    band: NDArray[np.bool_]  # where a change of level counts

    @classmethod
    def of(cls, case: Case, variant: Variant) -> _Trial:
        kit, frequency = case.model.kit, case.acoustics.frequency
        band = (frequency >= kit.window.lowest) & (frequency <= kit.window.highest)
        level, impedance = _solved(case, variant.couplings)
        return cls(case, variant.couplings, level, impedance, band)

    def change(self, added: Sequence[Coupling]) -> Change:
        """What couplings do that are put in beside the kit's own."""
        frequency = self.case.acoustics.frequency
        level, impedance = _solved(self.case, (*self.own, *added))
        heard = frequency >= self.case.model.kit.programme.lowest
        louder = _largest(level - self.level, frequency, self.band)
        more = _largest(impedance - self.impedance, frequency, heard & np.isfinite(self.impedance))
        return Change(*louder, *more)

    def instead(self, coils: tuple[str, str], coefficient: float) -> Change:
        """The same of one pair; of one that the kit gives itself, against no coupling."""
        others = tuple(each for each in self.own if set(each.coils) != set(coils))
        bare = self
        if others != self.own:
            level, impedance = _solved(self.case, others)
            bare = replace(self, own=others, level=level, impedance=impedance)
        return bare.change([Coupling(coils, coefficient)])


def _solved(case: Case, couplings: Sequence[Coupling]) -> tuple[Floats, Floats]:
    """Level (F,) in dB and impedance (F,) in ohm with these couplings and no others."""
    made = tuple(network.Coupling(*each.coils, each.coefficient) for each in couplings)
    model = replace(case.model, network=replace(case.model.network, couplings=made))
    solution = flows(model, case.acoustics, 1.0)
    impedance = np.abs(solution.input_impedance + model.kit.amplifier.cable)
    return summary.level(pressure(case.acoustics, solution.load_current)), impedance


def _largest(change: Floats, frequency: Floats, where: NDArray[np.bool_]) -> tuple[float | None, float | None]:
    if not where.any():
        return None, None
    size = np.where(where, np.abs(change), -1.0)
    most = int(np.argmax(size))
    if size[most] < ROUNDING:
        return 0.0, None
    return float(change[most]), float(frequency[most])


def _worst(trial: _Trial, stray: Sequence[Coupling]) -> Change | None:
    """Of all ways in which the leads of coils could be exchanged; the first coil's stay as they are."""
    names = list(dict.fromkeys(name for each in stray for name in each.coils))
    if len(names) > MANY:
        return None
    found = []
    for signs in product((1, -1), repeat=max(0, len(names) - 1)):
        sign = dict(zip(names, (1, *signs), strict=False))
        turned = [replace(c, coefficient=c.coefficient * sign[c.coils[0]] * sign[c.coils[1]]) for c in stray]
        found.append(trial.change(turned))
    return max(found, key=lambda change: change.size)


def _pair(trial: _Trial, a: Body, b: Body, variant: Variant) -> Pair:
    coils = (a.reference, b.reference)
    computed = coupling_coefficient(placed(a), placed(b))
    own = {frozenset(c.coils): c.coefficient for c in variant.couplings}
    coefficient = own.get(frozenset(coils), computed)
    return Pair(
        coils=coils,
        coefficient=coefficient,
        computed=computed,
        given=frozenset(coils) in own,
        distance=math.dist(a.centre, b.centre),
        gap=gap(a, b),
        change=trial.instead(coils, coefficient),
        other_way=trial.instead(coils, -coefficient),
    )


def _coupled_too_much(
    trial: _Trial, pairs: Sequence[Pair], coils: Sequence[Body], here: Sequence[Body], layout: LayoutSpec
) -> Iterator[Advice]:
    """For each pair that does more than is to be heard: which coil to turn, how far to move them apart."""
    steep = {frozenset(pair.coils): _per_coefficient(trial, pair.coils) for pair in pairs}
    by_name = {coil.reference: coil for coil in coils}
    for pair in pairs:
        if pair.given or pair.worst <= HEARD:
            continue
        first, second = (by_name[name] for name in pair.coils)
        others = [coil for coil in coils if coil.reference not in pair.coils]
        turns = [
            _turned(trial, still, moved, others, here, layout, steep)
            for still, moved in ((first, second), (second, first))
        ]
        found = [turn for turn in turns if turn is not None]
        remedies = [*sorted(found, key=lambda turn: turn.level)[:1], *_moved(trial, first, second)]
        yield Advice("coupling", pair.coils, pair.worst, HEARD, tuple(remedies))


def _per_coefficient(trial: _Trial, coils: tuple[str, str]) -> float:
    """dB that a coupling of these coils makes for a coefficient of 1, from a small one of the worse sign."""
    return _of_both_signs(trial, coils, TRIAL) / TRIAL


def _allowed(trial: _Trial, coils: tuple[str, str]) -> float:
    """The coefficient with which a pair makes just less than is to be heard; at most 1."""
    allowed = min(1.0, HEARD / max(_per_coefficient(trial, coils), HEARD))
    for _ in range(SETTLED):  # nearly a straight line
        allowed = min(1.0, allowed * HEARD / max(_of_both_signs(trial, coils, allowed), HEARD * allowed))
    return 0.999 * allowed


def _of_both_signs(trial: _Trial, coils: tuple[str, str], coefficient: float) -> float:
    return max(trial.instead(coils, sign * coefficient).size for sign in (1, -1))


def _turned(
    trial: _Trial,
    still: Body,
    moved: Body,
    others: Sequence[Body],
    here: Sequence[Body],
    layout: LayoutSpec,
    steep: Mapping[frozenset[str], float],
) -> Remedy | None:
    """The way to turn a coil where it stands that leaves the least coupling with all others, if it is little enough."""
    along = math.atan2(moved.spot.at[1] - still.spot.at[1], moved.spot.at[0] - still.spot.at[0])
    across = (along + math.pi / 2 + math.pi / 2) % math.pi - math.pi / 2  # square to the line of centres
    best: tuple[float, float, Body] | None = None
    for angle in (None, 0.0, math.pi / 2, across):
        turned = _with_angle(moved, angle)
        if not _fits(turned, here, layout):
            continue
        done = [
            (other, coupling_coefficient(placed(other), placed(turned)))
            for other in (still, *others)
            if apart(other, turned)
        ]
        most = max(abs(k) * steep.get(frozenset((o.reference, moved.reference)), 0.0) for o, k in done)
        if best is None or most < best[0] - 1e-6:
            best = (most, done[0][1], turned)
    if best is None or best[0] > HEARD:
        return None
    level = _of_both_signs(trial, (still.reference, moved.reference), best[1])
    return Remedy("turn", moved.reference, best[1], level, angle=best[2].spot.angle, gap=gap(still, best[2]))


def _with_angle(coil: Body, angle: float | None) -> Body:
    """A coil turned where it stands, in the size that it has."""
    assert coil.winding is not None
    spot = replace(
        coil.spot,
        angle=angle,
        inner=coil.winding.inner_diameter,
        outer=coil.winding.outer_diameter,
        height=coil.winding.length,
        mass=coil.mass,
    )
    return coil_body(coil.reference, spot, 1e-3, 0.0)


def _fits(turned: Body, here: Sequence[Body], layout: LayoutSpec) -> bool:
    others = (body for body in here if body.reference != turned.reference)
    return off_board(turned, layout.board) <= LEAST_GAP and all(apart(turned, body) for body in others)


def _moved(trial: _Trial, first: Body, second: Body) -> Iterator[Remedy]:
    """The least distance of centres, along the line they are on, from which on the pair does little enough."""
    coils = (first.reference, second.reference)
    factors = np.geomspace(1.0, FARTHEST, 49)
    allowed = _allowed(trial, coils)
    sizes = [abs(_coefficient_at(first, second, float(factor))) for factor in factors]
    over = [i for i, size in enumerate(sizes) if size > allowed]
    if not over or over[-1] == len(factors) - 1:
        return
    low, high = float(factors[over[-1]]), float(factors[over[-1] + 1])
    while high - low > 1e-4:
        middle = (low + high) / 2
        low, high = (middle, high) if abs(_coefficient_at(first, second, middle)) > allowed else (low, middle)
    away = _farther(first, second, high)
    coefficient = _coefficient_at(first, second, high)
    yield Remedy(
        "move",
        second.reference,
        coefficient,
        _of_both_signs(trial, coils, coefficient),
        distance=math.dist(first.centre, away.centre),
        gap=gap(first, away),
    )


def _coefficient_at(first: Body, second: Body, factor: float) -> float:
    return coupling_coefficient(placed(first), placed(_farther(first, second, factor)))


def _farther(first: Body, second: Body, factor: float) -> Body:
    """The second coil `factor` times as far from the first; in plan, or in height where one is over the other."""
    (x, y), (u, v) = first.spot.at, second.spot.at
    if math.dist((x, y), (u, v)) > LEAST_GAP:
        at = (x + factor * (u - x), y + factor * (v - y))
        moved = replace(second.spot, at=at)
    else:
        higher = (factor - 1) * (second.centre[2] - first.centre[2])
        moved = replace(second.spot, raised=second.spot.raised + higher)
    return _with_angle(replace(second, spot=moved), second.spot.angle)


def _iron(here: Sequence[Body], variant: Variant) -> Iterator[Advice]:
    """Coils whose core leads their field: how they couple cannot be told."""
    names = tuple(body.reference for body in here if variant.places[body.reference].part.core == "iron")
    if names and sum(body.winding is not None for body in here) > 1:
        yield Advice("iron", names)


def _too_hot(kit: Kit, variant: Variant, here: Sequence[Body], temperatures: Mapping[str, float]) -> Iterator[Advice]:
    """What a hot resistor would do to glue and capacitors beside it; makers' charts scatter, and that counts."""
    for body in here:
        if body.reference not in temperatures:
            continue
        name, temperature = body.reference, temperatures[body.reference]
        hottest, bears = temperature + CHART_SPREAD, kit.assembly.hot_melt_bears
        near = [other for other in here if other.reference != name and gap(body, other) < NEAR]
        if hottest > bears and body.spot.held == "hot_melt":
            yield Advice("own_glue", (name,), temperature, bears)
        glued = tuple(other.reference for other in near if other.spot.held == "hot_melt")
        if hottest > bears and glued:
            yield Advice("near_glue", (name, *glued), temperature, bears)
        capacitors = tuple(o.reference for o in near if variant.places[o.reference].part.kind == "capacitor")
        if hottest > CAPACITOR_BEARS and capacitors:
            yield Advice("near_capacitor", (name, *capacitors), temperature, CAPACITOR_BEARS)


def _too_low(resistors: Sequence[Body], temperatures: Mapping[str, float]) -> Iterator[Advice]:
    """Resistors that lie on the board: those that would scorch it, and the others."""
    low = [body.reference for body in resistors if body.low < CLEAR - LEAST_GAP]
    hot = [name for name in low if temperatures.get(name, 0.0) + CHART_SPREAD > WOOD_BEARS]
    for name in hot:
        yield Advice("on_board", (name,), temperatures[name], WOOD_BEARS)
    others = tuple(name for name in low if name not in hot)
    if others:
        yield Advice("raise", others, None, CLEAR)


def _too_heavy(here: Sequence[Body], variant: Variant) -> Iterator[Advice]:
    for body in here:
        iron = variant.places[body.reference].part.core == "iron"
        if body.spot.held in GLUED and (iron or (body.mass or 0.0) > HEAVY):
            yield Advice("hold", (body.reference,), body.mass, HEAVY)
