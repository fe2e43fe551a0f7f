"""Plain graph and direct-current questions about a crossover, without numpy: what carries current, and how many ohm.

An edge is a part or a driver between two points. Current from the source can flow in an edge exactly if the edge and
the source lie on one loop, that is, in one biconnected component of the graph (Tarjan, SIAM J. Comput. 1, 1972).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Literal

from enclosures.frozen import frozen

Ends = tuple[str, str]
WayRound = Literal["by_its_marks", "against_its_marks", "either"]
_SOURCE = ""  # name of the edge that stands for the amplifier; no part or driver has an empty name


def live(edges: Mapping[str, Ends], source: Ends) -> frozenset[str]:
    """The names of the edges in which current from `source` (hot, common) can flow."""
    around: dict[str, list[tuple[str, str]]] = {}
    for name, (a, b) in {**edges, _SOURCE: source}.items():
        if a != b:
            around.setdefault(a, []).append((b, name))
            around.setdefault(b, []).append((a, name))
    root = source[0]
    if root not in around:
        return frozenset()
    order, low = {root: 0}, {root: 0}
    walked: list[str] = []  # edges of the blocks not yet closed
    taken: set[str] = set()
    path = [(root, iter(around[root]))]
    while path:
        here, rest = path[-1]
        for there, name in rest:
            if name in taken:
                continue
            taken.add(name)
            walked.append(name)
            if there in order:
                low[here] = min(low[here], order[there])
            else:
                order[there] = low[there] = len(order)
                path.append((there, iter(around[there])))
                break
        else:
            path.pop()
            if path:
                before = path[-1][0]
                low[before] = min(low[before], low[here])
                if low[here] >= order[before]:  # what was walked since then is a block
                    entry = _entry(walked, edges, source, before, here)
                    block, walked = walked[entry:], walked[:entry]
                    if _SOURCE in block:
                        return frozenset(block) - {_SOURCE}
    return frozenset()


def _entry(walked: list[str], edges: Mapping[str, Ends], source: Ends, before: str, here: str) -> int:
    """Index in `walked` of the edge by which the walk first went from `before` to `here`."""
    ends = {before, here}
    return next(i for i, name in enumerate(walked) if set(source if name == _SOURCE else edges[name]) == ends)


def carries_dc(edges: Mapping[str, Ends], source: Ends, name: str) -> bool:
    """Whether current from `source` can flow in the edge `name`; for direct current leave capacitors out of `edges`."""
    return name in live(edges, source)


def reaches(edges: Iterable[Ends], start: str, goal: str, banned: Iterable[str]) -> bool:
    """Whether a chain of `edges` leads from `start` to `goal` without touching a banned point."""
    closed = set(banned)
    if start in closed or goal in closed:
        return False
    found, grown = {start}, True
    pairs = list(edges)
    while grown and goal not in found:
        more = {b for a, b in pairs if a in found} | {a for a, b in pairs if b in found}
        grown = not (more - closed) <= found
        found |= more - closed
    return goal in found


@frozen
class Circuit:
    """Points are joined by links already; `ohms` are at direct current, math.inf for a capacitor."""

    source: Ends
    edges: Mapping[str, Ends]
    ohms: Mapping[str, float]

    @property
    def shorted(self) -> bool:
        return self.source[0] == self.source[1]

    def live(self) -> frozenset[str]:
        return live(self.edges, self.source)

    def live_at_dc(self) -> frozenset[str]:
        return live({name: ends for name, ends in self.edges.items() if math.isfinite(self.ohms[name])}, self.source)

    def way_round(self, name: str) -> WayRound:
        """How the edge `name` is turned on its own side of the source: what of it leads to the hot point."""
        hot, common = self.source
        first, second = self.edges[name]
        others = [ends for other, ends in self.edges.items() if other != name]
        by_first = reaches(others, first, hot, {second, common})
        by_second = reaches(others, second, hot, {first, common})
        return "either" if by_first == by_second else "by_its_marks" if by_first else "against_its_marks"

    def input_resistance(self) -> float:
        """What an ohmmeter reads at the input (ohm); math.inf where no direct current flows."""
        if self.shorted:
            return 0.0
        live_edges = [(self.edges[name], self.ohms[name]) for name in sorted(self.live_at_dc())]
        joined = Joined(ends for ends, ohm in live_edges if ohm == 0)
        hot, common = (joined.at(point) for point in self.source)
        if hot == common:
            return 0.0
        resistors = [(joined.at(a), joined.at(b), ohm) for (a, b), ohm in live_edges if ohm > 0]
        resistors = [(a, b, ohm) for a, b, ohm in resistors if a != b]
        points = sorted({point for a, b, _ in resistors for point in (a, b)} - {common})
        if hot not in points:
            return math.inf
        return _driving_point(resistors, points, hot)


class Joined:
    """Points that links make one: each is known by the first of its group that was met."""

    def __init__(self, pairs: Iterable[Ends]) -> None:
        self._same: dict[str, str] = {}
        for a, b in pairs:
            first, second = self.at(a), self.at(b)
            if first != second:
                self._same[second] = first

    def at(self, point: str) -> str:
        while point in self._same:
            point = self._same[point]
        return point


def _driving_point(resistors: Iterable[tuple[str, str, float]], points: list[str], hot: str) -> float:
    """Volts at `hot` for one ampere into it, by Gaussian elimination of the (definite) node equations G v = i."""
    index = {point: i for i, point in enumerate(points)}
    size = len(points)
    rows = [[0.0] * (size + 1) for _ in points]
    rows[index[hot]][size] = 1.0
    for a, b, ohm in resistors:
        for here, there in ((a, b), (b, a)):
            if here in index:
                rows[index[here]][index[here]] += 1 / ohm
                if there in index:
                    rows[index[here]][index[there]] -= 1 / ohm
    # hot last: then its voltage needs no back substitution
    last = index[hot]
    for i in [*(i for i in range(size) if i != last)]:
        for j in range(size):
            if j != i and rows[j][i]:
                factor = rows[j][i] / rows[i][i]
                rows[j] = [x - factor * y for x, y in zip(rows[j], rows[i], strict=True)]
    return rows[last][size] / rows[last][last]


def coupling_is_passive(coils: Iterable[str], coefficients: Mapping[Ends, float]) -> bool:
    """Whether coils coupled like this can store no negative energy: their coefficient matrix has a Cholesky factor."""
    names = list(coils)
    matrix = [
        [1.0 if a == b else coefficients.get((a, b), coefficients.get((b, a), 0.0)) for b in names] for a in names
    ]
    size = len(names)
    lower = [[0.0] * size for _ in names]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            if i == j:
                if rest <= 1e-12:
                    return False
                lower[i][i] = math.sqrt(rest)
            else:
                lower[i][j] = rest / lower[j][j]
    return True
