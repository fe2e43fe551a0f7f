"""Which points of a circuit hang together: plain graph questions, no numpy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

Edge = tuple[str, str]


class Groups:
    """Points gathered into groups by joining pairs (disjoint sets); the first point named stands for its group."""

    def __init__(self, points: Iterable[str] = ()) -> None:
        self._parent: dict[str, str] = {point: point for point in points}

    def find(self, point: str) -> str:
        """The point that stands for the group of `point`; a point not seen before is a group of its own."""
        parent = self._parent.setdefault(point, point)
        while parent != self._parent[parent]:
            self._parent[point] = self._parent[parent]  # halve the path
            point, parent = parent, self._parent[parent]
        return parent

    def join(self, a: str, b: str) -> bool:
        """Join the groups of `a` and `b`; False where they were one already."""
        first, second = self.find(a), self.find(b)
        self._parent[second] = first
        return first != second


def listed(names: Sequence[str]) -> str:
    """Names in a sentence; "nothing" where there are none."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1] if names else "nothing"


def islands(points: Iterable[str], edges: Iterable[Edge], ground: str) -> tuple[str, ...]:
    """The points, in their order, that no chain of `edges` joins to `ground`."""
    groups = Groups([ground])
    for a, b in edges:
        groups.join(a, b)
    return tuple(point for point in points if groups.find(point) != groups.find(ground))


def first_loop(edges: Mapping[str, Edge]) -> tuple[str, ...]:
    """The names of the edges that close the first loop met in file order; empty where there is none."""
    groups = Groups()
    tree: dict[str, Edge] = {}
    for name, (a, b) in edges.items():
        if not groups.join(a, b):
            return (*_path(tree, a, b), name)
        tree[name] = (a, b)
    return ()


def _path(tree: Mapping[str, Edge], start: str, end: str) -> tuple[str, ...]:
    """Names of the edges that lead from `start` to `end` in a graph without loops."""
    reached: dict[str, tuple[str, ...]] = {start: ()}
    while end not in reached:
        for name, (a, b) in tree.items():
            for here, there in ((a, b), (b, a)):
                if here in reached and there not in reached:
                    reached[there] = (*reached[here], name)
    return reached[end]
