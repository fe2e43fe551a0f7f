"""Graph and dc questions about a crossover: against brute force, closed forms and ohmmeter readings."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from system.circuit import Circuit, carries_dc, coupling_is_passive, live, reaches

SOURCE = ("in", "common")
POINTS = ["in", "common", "a", "b", "c"]
EDGES = st.lists(st.tuples(st.sampled_from(POINTS), st.sampled_from(POINTS)), max_size=7).map(
    lambda pairs: {f"E{i}": pair for i, pair in enumerate(pairs)}
)


def on_a_path(edges: dict[str, tuple[str, str]], name: str) -> bool:
    """By brute force: does a path from in to common that visits no point twice use the edge?"""

    def walk(here: str, visited: frozenset[str], used: bool) -> bool:
        if here == "common":
            return used
        return any(
            walk(there, visited | {there}, used or other == name)
            for other, (a, b) in edges.items()
            for start, there in ((a, b), (b, a))
            if start == here and there not in visited
        )

    return walk("in", frozenset({"in"}), False)


@settings(max_examples=300)
@given(EDGES)
def test_current_flows_in_what_lies_on_a_path_between_the_input_points(edges: dict[str, tuple[str, str]]) -> None:
    assert live(edges, SOURCE) == {name for name in edges if on_a_path(edges, name)}


def test_a_crossover_and_what_hangs_on_it() -> None:
    edges = {"C1": ("in", "w1"), "L1": ("w1", "w2"), "W": ("w2", "common"), "R9": ("w2", "loose"), "island": ("x", "y")}
    assert live(edges, SOURCE) == {"C1", "L1", "W"}
    assert carries_dc(edges, SOURCE, "W")
    assert not carries_dc(edges, SOURCE, "R9")
    without = {name: ends for name, ends in edges.items() if name != "C1"}
    assert live(without, SOURCE) == frozenset()
    assert live({"short": ("in", "in")}, ("in", "in")) == frozenset()


@given(EDGES, st.sampled_from(POINTS), st.sampled_from(POINTS), st.sets(st.sampled_from(POINTS), max_size=2))
def test_reaches_agrees_with_the_transitive_closure(
    edges: dict[str, tuple[str, str]], start: str, goal: str, banned: set[str]
) -> None:
    near = {(p, p) for p in POINTS} | {(a, b) for pair in edges.values() for a, b in (pair, pair[::-1])}
    near = {(a, b) for a, b in near if not {a, b} & banned}
    for middle, first, last in itertools.product(POINTS, repeat=3):  # Warshall
        if (first, middle) in near and (middle, last) in near:
            near.add((first, last))
    assert reaches(edges.values(), start, goal, banned) == ((start, goal) in near)


def circuit(**parts: tuple[str, str, float]) -> Circuit:
    return Circuit(SOURCE, {n: (a, b) for n, (a, b, _) in parts.items()}, {n: ohm for n, (_, _, ohm) in parts.items()})


# An ohmmeter on a parallel crossover: coils of 0.32 and 0.30 ohm, 2.2 ohm in series and 12 ohm across before a tweeter
# of 4.7 ohm, two woofers of 5.8 ohm. Values by the rules of series and parallel resistors, to three decimals.
WOOFERS = {"L1": ("in", "w", 0.32), "Wa": ("w", "common", 5.8), "Wb": ("w", "common", 5.8)}
TWEETER = {
    "C2": ("in", "t1", math.inf),
    "L2": ("t1", "common", 0.30),
    "R1": ("t1", "t2", 2.2),
    "R2": ("t2", "common", 12.0),
    "T": ("t2", "common", 4.7),
}


def test_ohmmeter_readings() -> None:
    whole = circuit(**WOOFERS, **TWEETER)
    assert round(whole.input_resistance(), 3) == 3.220
    at_the_tweeter = Circuit(("t2", "common"), whole.edges, whole.ohms)
    assert round(at_the_tweeter.input_resistance(), 3) == 1.437
    blocked = circuit(**{**WOOFERS, "L1": ("x", "w", 0.32), "C1": ("in", "x", math.inf)}, **TWEETER)
    assert blocked.input_resistance() == math.inf
    assert blocked.live_at_dc() == frozenset()


def test_bridge_and_zero_ohm() -> None:
    # Wheatstone bridge of equal resistors: the middle carries nothing, so the input sees R
    bridge = circuit(
        A=("in", "a", 5.0), B=("in", "b", 5.0), C=("a", "common", 5.0), D=("b", "common", 5.0), M=("a", "b", 7.0)
    )
    assert bridge.input_resistance() == pytest.approx(5.0, rel=1e-12)
    # unbalanced, by the star-triangle transformation: 1, 2, 3 ohm star of the triangle 2, 3, 6 (1, 1.5, 0.5454...)
    ladder = circuit(A=("in", "a", 1.0), B=("a", "common", 2.0), C=("a", "b", 3.0), D=("b", "common", 6.0))
    assert ladder.input_resistance() == pytest.approx(1 + 1 / (1 / 2 + 1 / 9), rel=1e-12)
    assert circuit(L=("in", "a", 0.0), W=("a", "common", 5.6)).input_resistance() == pytest.approx(5.6)
    assert circuit(L=("in", "common", 0.0), W=("in", "common", 5.6)).input_resistance() == 0.0
    assert circuit(C=("in", "common", math.inf)).input_resistance() == math.inf
    assert Circuit(("in", "in"), {}, {}).input_resistance() == 0.0


def test_coupled_coils_must_be_passive() -> None:
    assert coupling_is_passive(["L1", "L2"], {("L1", "L2"): 0.99})
    assert not coupling_is_passive(["L1", "L2"], {("L1", "L2"): 1.0})
    # three equal coefficients k: the eigenvalues are 1 + 2k and 1 - k (twice), so k lies between -1/2 and 1
    pairs = list(itertools.combinations(["L1", "L2", "L3"], 2))
    for k in (-0.6, -0.51, -0.49, 0.0, 0.3, 0.99):
        assert coupling_is_passive(["L1", "L2", "L3"], dict.fromkeys(pairs, k)) == (-0.5 < k < 1)
    # the sign of one coil's dots may be turned round without harm, the sign of one pair may not
    assert not coupling_is_passive(["L1", "L2", "L3"], dict(zip(pairs, (0.9, -0.9, 0.9), strict=True)))
    assert coupling_is_passive(["L1", "L2", "L3"], dict(zip(pairs, (-0.9, -0.9, 0.9), strict=True)))
