"""Values for all variants at once: how good each can be, against how many values differ between them.

Of every way in which variants may share values, a continuous optimum is sought first (least squares of the deviation,
exact derivatives, limits as penalties), going from all shared by splitting what gains most and from all free by merging
what costs least. About the best of these the articles in stock are tried, by beam search over one and two places at a
time with exact evaluation. What comes out is looked at again on the fine grid of a programme.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from system import sharing
from system.aims import Aim, Aims, Fitting, Scale
from system.findings import KitError
from system.front import Cell, Closer, Row, cell, differing
from system.kit import Kit, RevalueSpec, State, Variant
from system.sharing import Label, Pattern, values_of

Floats = NDArray[np.float64]

STARTS = 3  # random ones beside the kit's own values, for the first and the last pattern
SCATTER = math.log(1.6)  # of the random starts, either way
ENOUGH = 1e-4  # relative gain of a step below which an optimum is reached
PENALTY = 10.0  # residual of a dB beyond a limit, against a dB of deviation
TRIED = 3  # patterns that are optimised at each step, of those that promise most
SEARCHED = 2  # patterns of each count for which stock is searched
NEAR = (2, 5)  # values in stock on either side of the continuous optimum; more where those keep no limits
BEAM = 6
REFUSED = 1e6  # dB^2, the rank from which a choice passes a limit
TOGETHER = 256  # choices that are solved together
FINALISTS = 40  # of a search, as many are looked at closely for the first that keeps every limit
KEPT = 1e-9  # dB by which a limit may be passed: rounding
LESS = 5e-3  # dB by which a row must be better than those with fewer values that differ: what is printed

Choice = tuple[int, ...]  # for each value of a pattern an article, by its number among the offers of its place


@dataclass(frozen=True, slots=True)
class Front:
    """The rows of which each is better than all with fewer values that differ; `given` is the kit as it is."""

    spec: RevalueSpec
    moving: tuple[str, ...]
    frequency: tuple[float, ...]  # (F,) Hz
    target: tuple[float, ...]  # (F,) dB, its level being free
    fixed: int  # values that differ in places that do not move
    given: Row
    rows: tuple[Row, ...]

    @property
    def recommended(self) -> Row:
        """The least of error and price: one more value that differs is taken where it is worth `spec.price` dB."""
        return min(self.rows, key=lambda row: (row.rms + self.spec.price * row.differing, row.differing))


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A pattern at its continuous optimum: the logarithm of each of its values, and the error's square."""

    pattern: Pattern
    logs: Mapping[tuple[int, Label], float]
    cost: float


@dataclass(slots=True, eq=False)
class Task:
    """What is asked: variants, moving places, what stock has for each of them; and what has been worked out of it.

    `known` are the square error and the excess over limits of articles in one variant, by their numbers.
    """

    kit: Kit
    variants: Sequence[Variant]
    spec: RevalueSpec
    aims: Aims
    offers: Mapping[str, Sequence[Fitting]]
    fixed: int
    known: dict[tuple[int, tuple[State, ...]], dict[Choice, tuple[float, float]]] = field(default_factory=dict)

    @classmethod
    def of(cls, kit: Kit, variants: Sequence[Variant], spec: RevalueSpec) -> Task:
        """Raises KitError for parts that cannot move, an empty stock, and a target or band that is none."""
        moving = sharing.movable(kit, variants, spec.move)
        others = [name for name in variants[0].places if name not in moving]
        offers = {name: sharing.offers(kit, variants, name) for name in moving}
        fixed = differing([{name: cell(each, name) for name in others} for each in variants])
        return cls(kit, variants, spec, Aims.of(kit, variants, moving, spec), offers, fixed)

    @property
    def moving(self) -> tuple[str, ...]:
        return self.aims.moving

    @property
    def scale(self) -> Scale:
        return self.aims.own[0].scene.scale

    def aim(self, pattern: Pattern, variant: int) -> Aim:
        """The variant in the states of a pattern."""
        return self.aims.at(variant, sharing.states(pattern, self.moving, variant))

    def span(self, place: int) -> tuple[float, float]:
        """Logarithms of the least and the largest value that stock has for a place."""
        offered = self.offers[self.moving[place]]
        return math.log(offered[0].value), math.log(offered[-1].value)

    def starts(self, pattern: Pattern, rng: np.random.Generator | None = None) -> dict[tuple[int, Label], float]:
        """The kit's own values, their geometric mean where they are shared; with `rng`, scattered about."""
        found = {}
        for i, label in values_of(pattern):
            name = self.moving[i]
            own = [
                math.log(each.places[name].part.value)
                for each, there in zip(self.variants, pattern[i], strict=True)
                if there == label
            ]
            found[i, label] = sum(own) / len(own) + (rng.uniform(-SCATTER, SCATTER) if rng else 0.0)
        return found


# The continuous optimum of a pattern.


def residuals(
    task: Task, pattern: Pattern, logs: Mapping[tuple[int, Label], float]
) -> tuple[Floats, Floats, list[tuple[int, int]]]:
    """Residuals (R,), their derivatives (R, C) by the logarithm of each value of each variant, and which those are.

    The squares add up to the mean of the variants' square errors (dB), and the penalties.
    """
    blocks, columns = [], []
    count = task.scale.frequency.size
    for v in range(len(task.variants)):
        aim = task.aim(pattern, v)
        fitted = [task.moving.index(name) for name in aim.moving]
        values = {task.moving[i]: math.exp(logs[i, pattern[i][v]]) for i in fitted}
        found, slope = aim.slope(values)
        weight = np.full(found.size, PENALTY)
        weight[:count] = 1 / math.sqrt(count)
        weight /= math.sqrt(len(task.variants))
        blocks.append((found * weight, slope * weight[:, None]))
        columns += [(v, i) for i in fitted]
    whole = np.zeros((sum(found.size for found, _ in blocks), len(columns)))
    row = column = 0
    for found, slope in blocks:
        whole[row : row + found.size, column : column + slope.shape[1]] = slope
        row, column = row + found.size, column + slope.shape[1]
    return np.concatenate([found for found, _ in blocks]), whole, columns


def _gathered(pattern: Pattern, columns: Sequence[tuple[int, int]]) -> Floats:
    """The matrix (C, n) that sums derivatives by each variant's value into those by the n values of the pattern."""
    place = {key: k for k, key in enumerate(values_of(pattern))}
    matrix = np.zeros((len(columns), len(place)))
    for c, (v, i) in enumerate(columns):
        matrix[c, place[i, pattern[i][v]]] = 1.0
    return matrix


def optimum(task: Task, pattern: Pattern, start: Mapping[tuple[int, Label], float]) -> Found:
    """The best values of a pattern from a start, within what stock spans."""
    keys = values_of(pattern)
    if not keys:
        return Found(pattern, {}, float(np.sum(residuals(task, pattern, {})[0] ** 2)))
    bounds = np.array([task.span(i) for i, _ in keys])
    bounds[:, 1] = np.maximum(bounds[:, 1], bounds[:, 0] + 1e-6)  # of a single article
    last: dict[bytes, tuple[Floats, Floats]] = {}

    def at(x: Floats) -> tuple[Floats, Floats]:
        if x.tobytes() not in last:
            last.clear()
            found, slope, columns = residuals(task, pattern, dict(zip(keys, x.tolist(), strict=True)))
            last[x.tobytes()] = found, slope @ _gathered(pattern, columns)
        return last[x.tobytes()]

    x0 = np.clip([start[key] for key in keys], bounds[:, 0] + 1e-7, bounds[:, 1] - 1e-7)
    done = least_squares(
        lambda x: at(x)[0], x0, lambda x: at(x)[1], bounds=bounds.T, ftol=ENOUGH, xtol=1e-9, gtol=1e-12, max_nfev=100
    )
    return Found(pattern, dict(zip(keys, done.x.tolist(), strict=True)), 2 * float(done.cost))


def best_of_starts(task: Task, pattern: Pattern, seed: int) -> Found:
    """The best of several starts: the kit's own values and random ones."""
    rng = np.random.Generator(np.random.PCG64(seed))
    starts = [task.starts(pattern), *(task.starts(pattern, rng) for _ in range(STARTS))]
    return min((optimum(task, pattern, start) for start in starts), key=lambda found: found.cost)


def _carried(found: Found, pattern: Pattern) -> dict[tuple[int, Label], float]:
    """A start for another pattern: each value the mean of those that its variants had."""
    start = {}
    for i, label in values_of(pattern):
        pairs = zip(pattern[i], found.pattern[i], strict=True)
        had = [found.logs[i, old] for new, old in pairs if new == label and old[0] == "fit"]
        others = [value for (place, _), value in found.logs.items() if place == i]
        start[i, label] = sum(had) / len(had) if had else others[0] if others else math.nan
    return start


def _promising(task: Task, found: Found, candidates: Iterable[Pattern]) -> list[Pattern]:
    """The few that promise most, by the straight line through `found` (one step of Gauss and Newton)."""
    base, slope, columns = residuals(task, found.pattern, found.logs)
    here = np.array([found.logs[i, found.pattern[i][v]] for v, i in columns])
    promised: list[tuple[float, int, Pattern]] = []
    for pattern in candidates:
        together = _gathered(pattern, columns)
        jacobian = np.concatenate([slope @ together, 0.02 * together])  # a little held back: far steps bend
        wanted = np.concatenate([slope @ here - base, 0.02 * here])
        y = np.linalg.lstsq(jacobian, wanted, rcond=None)[0]
        promised.append((float(np.sum((base + slope @ (together @ y - here)) ** 2)), len(promised), pattern))
    return [pattern for _, _, pattern in sorted(promised)[:TRIED]]


def patterns(task: Task, seed: int = 0) -> dict[int, list[Found]]:
    """Patterns at their continuous optimum, by how many values differ, the best first."""
    everything: dict[Pattern, Found] = {}

    def known(found: Found) -> Found:
        if found.pattern not in everything or found.cost < everything[found.pattern].cost:
            everything[found.pattern] = found
        return found

    def away(found: Found, pattern: Pattern) -> Found:
        start = _carried(found, pattern)
        own = task.starts(pattern)
        return known(optimum(task, pattern, {k: own[k] if math.isnan(x) else x for k, x in start.items()}))

    def step(found: Found, candidates: Iterable[Pattern]) -> Found | None:
        tried = [away(found, pattern) for pattern in _promising(task, found, candidates)]
        return min(tried, key=lambda each: each.cost, default=None)

    most = math.inf if task.spec.most_differing is None else task.spec.most_differing - task.fixed

    def split(found: Found | None) -> None:
        while found is not None and sharing.differing(found.pattern) < most:
            found = step(found, sharing.splits(found.pattern))

    shared = known(best_of_starts(task, sharing.shared(task.variants, task.moving), seed))
    split(shared)
    for pattern in sharing.restated(task.kit, task.variants, task.moving, shared.pattern):
        count = sharing.differing(pattern)
        rivals = [each.cost for each in everything.values() if sharing.differing(each.pattern) <= count]
        found = away(shared, pattern)
        if not rivals or found.cost < min(rivals):  # else another state is no better than another value
            split(found)
    here: Found | None = known(best_of_starts(task, sharing.free(task.variants, task.moving), seed))
    while here is not None:
        here = step(here, sharing.merges(here.pattern))
    counted: dict[int, list[Found]] = {}
    for found in sorted(everything.values(), key=lambda each: each.cost):
        count = sharing.differing(found.pattern)
        if count <= most:
            counted.setdefault(count, []).append(found)
    return dict(sorted(counted.items()))


# The search over stock.


def near_offers(task: Task, found: Found, count: int = NEAR[0]) -> list[tuple[int, ...]]:
    """For each value of a pattern the articles about its optimum."""
    return [
        sharing.near(task.offers[task.moving[i]], math.exp(found.logs[i, label]), count)
        for i, label in values_of(found.pattern)
    ]


def ranks(task: Task, pattern: Pattern, choices: Sequence[Choice]) -> list[float]:
    """The square error (dB^2) of each choice of articles, exactly; above `REFUSED` where a limit is passed."""
    place = {key: k for k, key in enumerate(values_of(pattern))}
    total, excess = np.zeros(len(choices)), np.zeros(len(choices))
    for v in range(len(task.variants)):
        aim = task.aim(pattern, v)
        fitted = [task.moving.index(name) for name in aim.moving]
        mine = [place[i, pattern[i][v]] for i in fitted]
        known = task.known.setdefault((v, tuple(labels[v][0] for labels in pattern)), {})
        sets = [tuple(choice[k] for k in mine) for choice in choices]
        new = list(dict.fromkeys(each for each in sets if each not in known))
        for some in (new[start : start + TOGETHER] for start in range(0, len(new), TOGETHER)):
            fittings = [[task.offers[task.moving[i]][n] for i, n in zip(fitted, each, strict=True)] for each in some]
            measured = aim.measure_all(fittings)
            passed = aim.excess(measured, _ratings(aim, fittings))
            known.update(zip(some, zip((measured.rms**2).tolist(), passed.tolist(), strict=True), strict=True))
        both = np.array([known[each] for each in sets])
        total += both[:, 0] / len(task.variants)
        excess += both[:, 1]
    return np.where(excess > KEPT, REFUSED * (1 + excess), total).tolist()  # type: ignore[no-any-return]


def _ratings(aim: Aim, sets: Sequence[Sequence[Fitting]]) -> dict[str, Floats]:
    """Of articles that have one; where only some have, the others have that of the kit's own part."""
    found = {}
    for name, column in zip(aim.moving, zip(*sets, strict=True), strict=True):
        limit = aim.bounds.watts.get(name)
        if limit is not None and any(each.rating is not None for each in column):
            found[name] = np.array([limit if each.rating is None else each.rating for each in column])
    return found


def search(task: Task, found: Found, count: int = NEAR[0]) -> list[tuple[float, Choice]]:
    """Choices of `count` values in stock to either side of the optimum of a pattern, the best first, with their ranks.

    A beam: of those seen, the best few are changed in every one value and in every two that some variant has, until
    nothing better comes. Two that no variant has both of are two single changes, since errors add up over variants.
    """
    keys, offered = values_of(found.pattern), near_offers(task, found, count)
    users = [{v for v, each in enumerate(found.pattern[i]) if each == label} for i, label in keys]
    numbers = range(len(keys))
    groups = [(k,) for k in numbers]
    pairs = [(j, k) for j, k in itertools.combinations(numbers, 2) if users[j] & users[k]]

    def neighbours(choice: Choice) -> Iterable[Choice]:
        for places in (*groups, *pairs):
            for articles in itertools.product(*(offered[k] for k in places)):
                changed = list(choice)
                for k, article in zip(places, articles, strict=True):
                    changed[k] = article
                yield tuple(changed)

    def distance(k: int, article: int) -> float:
        return abs(math.log(task.offers[task.moving[keys[k][0]]][article].value) - found.logs[keys[k]])

    first = tuple(min(offered[k], key=lambda article, k=k: distance(k, article)) for k in numbers)  # type: ignore[misc]
    seen = {first: ranks(task, found.pattern, [first])[0]}
    expanded: set[Choice] = set()
    while True:
        fresh = [each for each in heapq.nsmallest(BEAM, seen, lambda each: (seen[each], each)) if each not in expanded]
        if not fresh:
            return sorted((rank, each) for each, rank in seen.items())
        expanded.update(fresh)
        new = list(dict.fromkeys(n for each in fresh for n in neighbours(each) if n not in seen))
        if new:
            seen.update(zip(new, ranks(task, found.pattern, new), strict=True))


def _cells(task: Task, pattern: Pattern, choice: Choice) -> dict[str, dict[str, Cell]]:
    """What every variant has in each of its places with these articles."""
    numbers = zip(values_of(pattern), choice, strict=True)
    articles = {(i, label): task.offers[task.moving[i]][n] for (i, label), n in numbers}
    cells: dict[str, dict[str, Cell]] = {}
    for v, variant in enumerate(task.variants):
        cells[variant.name] = {name: cell(variant, name) for name in variant.places}
        for i, name in enumerate(task.moving):
            label = pattern[i][v]
            cells[variant.name][name] = articles[i, label] if label[0] == "fit" else label[0]
    return cells


def revalue(kit: Kit, variants: Sequence[Variant], spec: RevalueSpec, seed: int = 0) -> Front:
    """The front of a kit's variants under `spec`; random starts are drawn with `seed`.

    Raises KitError for parts that cannot move, an empty stock, a target or band that is none, fewer values that may
    differ than differ where nothing moves, and where no values in stock keep every limit.
    """
    task = Task.of(kit, variants, spec)
    if spec.most_differing is not None and spec.most_differing < task.fixed:
        raise _refused(
            kit, f"{task.fixed} values differ in places that do not move, and most_differing is {spec.most_differing}",
            "let those places move, or more values differ",
        )  # fmt: skip
    closer = Closer.of(kit, variants, task.moving, spec)
    best: dict[int, Row] = {}
    for promising in patterns(task, seed).values():
        rows = (_finalist(task, closer, found) for found in promising[: 2 * SEARCHED])
        for row in itertools.islice((row for row in rows if row is not None), SEARCHED):
            if row.differing not in best or row.rms < best[row.differing].rms:
                best[row.differing] = row
    front: list[Row] = []
    for _, row in sorted(best.items()):
        if not front or row.rms < front[-1].rms - LESS:
            front.append(row)
    if not front:
        raise _refused(
            kit, "no values were found in stock that keep every limit", "a larger stock, or more parts that move"
        )
    return Front(
        spec,
        task.moving,
        tuple(task.scale.frequency.tolist()),
        tuple(task.scale.target.tolist()),
        task.fixed,
        closer.given(),
        tuple(front),
    )


def _finalist(task: Task, closer: Closer, found: Found) -> Row | None:
    """The best choice of a search that keeps every limit on the fine grid too."""
    for count in NEAR:
        for rank, choice in search(task, found, count)[:FINALISTS]:
            if rank >= REFUSED:
                break
            row = closer.row(_cells(task, found.pattern, choice))
            if not any(each.passed for each in row.figures.values()):
                return row
    return None


def _refused(kit: Kit, found: str, allowed: str) -> KitError:
    return KitError([kit.finding("error", "revalue_impossible", "revalue", found, allowed)], kit.name)
