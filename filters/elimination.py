"""Many builds of one network, solved point by point instead of matrix by matrix.

A point with branches y_i to its neighbours, and no current from outside, stands at V = sum y_i V_i/sum y; taking it
out leaves a branch y_i y_j/sum y between each two of its neighbours (star-mesh: Rosen, J. Inst. Electr. Eng. 62, 1924;
it is one step of Gauss's elimination). The order is chosen once, fewest neighbours first, and each step is done for
all builds and frequencies of a chunk together. What is left between the input and common is the input's admittance;
from there the steps backwards give the volts of every point.

Coupled coils and N-port loads enter by the inverse of their impedance matrix: a mutual admittance y between two pairs
of terminals is a branch -y between like marks and +y between unlike ones. Links, and resistors of zero ohm in every
build, make one point of two.

Where admittances cancel, this loses digits that `filters.network.solve` keeps. So Kirchhoff's current law is checked
at every point of every build at every frequency. What does not hold it, or has no admittances to write (zero ohm in
some builds, 0 Hz, an impedance matrix that is near singular or not symmetric), is solved again by that function.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filters.network import Element, Equations, Network, checked, solve
from filters.parts import Capacitor, Coil, Complexes, Floats, Part, Resistor, conducts
from filters.topology import Groups

# Builds times frequencies: a chunk's few dozen arrays stay near a core's own cache, and each is small enough (under
# 128 KiB) for malloc to hand out again without asking the system for new pages.
VALUES_AT_ONCE = 6000
RESIDUAL = 1e-9  # what may be missing at a point, of its largest current
WEAK = 1e-4  # of the input's current; what flows at a point counts as no less, since it may be rounding alone
CANCELLED = 1e-4  # a determinant this far below its larger term has lost too many digits
SYMMETRIC = 1e-12  # by how much Z_ij and Z_ji of a reciprocal load may differ

Mask = NDArray[np.bool_]
Pair = tuple[str, str]
Matrix = Sequence[Sequence[Complexes]]  # one array (1 or b, 1 or F) for each entry


@dataclass(frozen=True, slots=True, eq=False)
class Builds:
    """What flows in every build, rms phasors; `...` is nothing, or (B,) for a batch. N loads in the network's order.

    `input_impedance` lies beyond the source's resistance and is infinite where no current flows; `element_current` is
    of the W elements asked for, in that order; `recomputed` counts the values, builds times frequencies, that were
    solved by `filters.network.solve`.
    """

    input_impedance: Complexes  # (..., F) ohm
    load_current: Complexes  # (..., F, N) A
    load_volts: Complexes  # (..., F, N) V
    recomputed: int
    element_current: Complexes  # (..., F, W) A


def solve_builds(
    network: Network,
    omega: Floats,
    load_impedance: Complexes | None = None,
    source_volts: ArrayLike = 1.0,
    source_resistance: ArrayLike = 0.0,
    watched: Sequence[str] = (),
) -> Builds:
    """Solve every build of `network` at `omega` (F,) rad/s; `watched` are the elements whose current is asked for.

    The arguments are those of `network.solve`: a number in a part may be an array (B,), `load_impedance` is (F, N, N)
    or (B, F, N, N) in ohm, `source_volts` a number, (F,) or (B, F), `source_resistance` a number or (B,).

    Raises NetworkError as `network.solve` does.
    """
    case = _Case.of(network, omega, load_impedance, source_volts, source_resistance, watched)
    plan = _Plan.of(case)
    impedance = np.empty(case.shape, dtype=np.complex128)
    current, volts = np.empty((2, len(network.loads), *case.shape), dtype=np.complex128)
    flow = np.empty((len(watched), *case.shape), dtype=np.complex128)
    recomputed = 0
    for chunk in case.chunks():
        here = impedance[chunk], current[:, chunk], volts[:, chunk], flow[:, chunk]
        doubtful = np.ones(here[0].shape, dtype=np.bool_)
        if plan is not None:
            with np.errstate(all="ignore"):  # what divides by zero or overflows does not pass the check
                doubtful = plan.run(case, chunk, *here)
        if doubtful.any():
            case.solve_again(chunk, doubtful, *here)
            recomputed += int(np.count_nonzero(doubtful))
    if not case.batched:
        impedance, current, volts, flow = impedance[0], current[:, 0], volts[:, 0], flow[:, 0]
    return Builds(
        impedance, np.moveaxis(current, 0, -1), np.moveaxis(volts, 0, -1), recomputed, np.moveaxis(flow, 0, -1)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """The arguments, checked, each with an axis over builds in front."""

    network: Network
    omega: Floats
    loads: Complexes  # (1 or B, F, N, N)
    volts: Complexes  # (1 or B, 1 or F)
    resistance: Floats  # (1 or B, 1)
    shape: tuple[int, int]  # B, F
    batched: bool
    watched: tuple[int, ...]  # of the elements

    @classmethod
    def of(
        cls,
        network: Network,
        omega: Floats,
        load_impedance: Complexes | None,
        source_volts: ArrayLike,
        source_resistance: ArrayLike,
        watched: Sequence[str],
    ) -> _Case:
        omega, loads, resistance = checked(network, omega, load_impedance, source_resistance)
        volts = np.asarray(source_volts, dtype=np.complex128)
        values = (np.shape(value) for element in network.elements for value in _numbers(element.part).values())
        batch = np.broadcast_shapes(*values, loads.shape[:-3], resistance.shape[:-1], volts.shape[:-1])
        return cls(
            network=network,
            omega=omega,
            loads=loads if loads.ndim == 4 else loads[None],
            volts=np.atleast_2d(volts),
            resistance=np.atleast_2d(resistance),
            shape=(batch[0] if batch else 1, omega.size),
            batched=bool(batch),
            watched=tuple(network.elements.index(network.element(reference)) for reference in watched),
        )

    def chunks(self) -> Iterator[slice]:
        """Which builds are taken at once."""
        step = max(1, VALUES_AT_ONCE // max(1, self.omega.size))
        return (slice(a, b) for a, b in pairwise([*range(0, self.shape[0], step), self.shape[0]]))

    def network_of(self, builds: slice | Mask) -> Network:
        """The network of some of the builds."""

        def element(of: Element) -> Element:
            part: Any = of.part
            return replace(of, part=replace(part, **{k: _of(v, builds) for k, v in _numbers(part).items()}))

        return replace(self.network, elements=tuple(element(each) for each in self.network.elements))

    def solve_again(
        self, chunk: slice, doubtful: Mask, impedance: Complexes, current: Complexes, volts: Complexes, flow: Complexes
    ) -> None:
        """Write what `network.solve` finds over the `doubtful` (b, F) values of a chunk."""
        rows, columns = doubtful.any(axis=1), doubtful.any(axis=0)
        builds = np.zeros(self.shape[0], dtype=np.bool_)
        builds[chunk] = rows
        source = _of(self.volts, builds)
        found = solve(
            self.network_of(builds),
            self.omega[columns],
            _of(self.loads, builds)[:, columns],
            source[:, columns] if source.shape[1] > 1 else source,
            _of(self.resistance, builds)[:, 0],
        )
        here = np.ix_(rows, columns)
        pairs = [(impedance, found.input_impedance)]
        pairs += [(flow[w], found.element_current[..., k]) for w, k in enumerate(self.watched)]
        for i in range(len(self.network.loads)):
            pairs += [(current[i], found.load_current[..., i]), (volts[i], found.load_volts[..., i])]
        for target, values in pairs:
            target[here] = np.where(doubtful[here], values, target[here])


@dataclass(frozen=True, slots=True, eq=False)
class _Set:
    """One element, or coupled coils, or one or more ports of the load: an impedance matrix between pairs of points."""

    ends: tuple[Pair, ...]
    impedance: Callable[[slice], Matrix]  # of some of the builds
    varies: bool
    ports: tuple[int, ...] = ()  # which loads they are
    elements: tuple[int, ...] = ()  # or which elements

    def admittance(self, builds: slice) -> tuple[Matrix, Mask]:
        """The inverse, and where it can be relied on."""
        return _inverse(self.impedance(builds))

    def branches(self) -> Iterator[tuple[Pair, int, int, int]]:
        """Every branch as its points, the entry of the admittance matrix that it is, and the sign of that."""
        for i, (plus, minus) in enumerate(self.ends):
            yield _pair(plus, minus), i, i, 1
            for j, (other_plus, other_minus) in enumerate(self.ends[:i]):
                yield _pair(plus, other_plus), i, j, -1
                yield _pair(plus, other_minus), i, j, 1
                yield _pair(minus, other_plus), i, j, 1
                yield _pair(minus, other_minus), i, j, -1


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """How a network is taken apart: what is stamped between which points, and the order in which points go."""

    hot: str
    common: str
    sets: tuple[_Set, ...]
    fixed: Mapping[int, tuple[Matrix, Mask]]  # admittance of the sets that are the same in every build
    stamps: tuple[tuple[tuple[Pair, int, int, int], ...], ...]  # of each set
    order: tuple[tuple[str, tuple[str, ...]], ...]  # each point with its neighbours when its turn comes
    doubtful: Mask  # (1 or B, F): 0 Hz and zero ohm

    @classmethod
    def of(cls, case: _Case) -> _Plan | None:
        """None where the input is short-circuited. Raises NetworkError for what no build of the network can do."""
        network = case.network
        first = slice(0, 1)
        Equations.of(case.network_of(first), case.omega, _of(case.loads, first), _of(case.resistance, first)[:, 0])
        doubtful = (case.omega == 0)[None]
        merged = Groups([network.input[1], network.input[0]])
        for link in network.links:
            merged.join(link.a, link.b)
        for element in network.elements:
            if isinstance(element.part, Resistor):
                zero = np.equal(element.part.resistance, 0)
                if zero.all():
                    merged.join(element.plus_point, element.minus_point)
                elif zero.any():
                    doubtful = doubtful | zero[:, None]
        hot, common = (merged.find(point) for point in network.input)
        if hot == common:
            return None
        sets = (*_element_sets(case, merged), *_load_sets(case, merged))
        stamps = tuple(tuple(stamp for stamp in each.branches() if stamp[0][0] != stamp[0][1]) for each in sets)
        with np.errstate(all="ignore"):
            fixed = {i: each.admittance(first) for i, each in enumerate(sets) if not each.varies}
        order = _order({pair for each in stamps for pair, *_ in each}, (hot, common))
        return cls(hot, common, sets, fixed, stamps, order, doubtful)

    def run(
        self, case: _Case, chunk: slice, impedance: Complexes, current: Complexes, volts: Complexes, flow: Complexes
    ) -> Mask:
        """Fill in a chunk's input impedance (b, F), load current and volts (N, b, F) and what flows in what is watched
        (W, b, F); True where they may be wrong."""
        sound = ~_of(self.doubtful, chunk)
        branches: dict[Pair, Complexes] = {}
        admittances: list[Matrix] = []
        for i, each in enumerate(self.sets):
            matrix, good = self.fixed[i] if i in self.fixed else each.admittance(chunk)
            admittances.append(matrix)
            sound = sound & good
            for pair, row, column, sign in self.stamps[i]:
                _add(branches, pair, matrix[row][column], sign)

        left, steps = dict(branches), []
        for point, around in self.order:
            arms = [left.pop(_pair(point, other)) for other in around]
            inverse = np.reciprocal(sum(arms[1:], arms[0]))
            shares = [arm * inverse for arm in arms]
            for i, j in combinations(range(len(around)), 2):
                _add(left, _pair(around[i], around[j]), shares[i] * arms[j])
            steps.append((point, around, shares))
        nothing: Complexes = np.zeros((1, 1), dtype=np.complex128)
        inside = left.get(_pair(self.hot, self.common), nothing)  # the input's admittance
        impedance[:] = np.reciprocal(inside)
        impedance[np.broadcast_to(~conducts(inside), impedance.shape)] = np.inf

        at: dict[str, Complexes] = {self.common: nothing}
        at[self.hot] = _of(case.volts, chunk) / (1 + _of(case.resistance, chunk) * inside)
        for point, around, shares in reversed(steps):
            at[point] = _sum(
                (share * at[other] for other, share in zip(around, shares, strict=True) if other != self.common),
                nothing,
            )
        sound = sound & self._balanced(branches, at, inside * at[self.hot])

        wires = set(case.watched)  # what flows in those that are no set cannot be told here
        for each, rows in zip(self.sets, admittances, strict=True):
            here = [k for k in each.elements if k in case.watched]
            across = [at[plus] - at[minus] for plus, minus in each.ends] if each.ports or here else []
            flows = [_sum((y * v for y, v in zip(row, across, strict=True)), nothing) for row in rows[: len(across)]]
            for i, port in enumerate(each.ports):
                volts[port], current[port] = across[i], flows[i]
            for k in here:
                flow[case.watched.index(k)] = flows[each.elements.index(k)]
            wires -= set(here)
        sound = sound & (not wires)
        return np.asarray(~np.broadcast_to(sound, impedance.shape))

    def _balanced(self, branches: Mapping[Pair, Complexes], at: Mapping[str, Complexes], into: Complexes) -> Mask:
        """Where the currents sum to zero at every point, with that of the source at the input."""
        sums = {self.hot: -into}
        weak = WEAK * np.abs(into)
        largest = {self.hot: weak}
        for (a, b), admittance in branches.items():
            flow = admittance * (at[a] - at[b])
            size = np.abs(flow)
            for point, sign in ((a, 1), (b, -1)):
                if point != self.common:
                    _add(sums, point, flow, sign)
                    largest[point] = np.maximum(largest.get(point, weak), size)
        sound: Mask = np.ones((1, 1), dtype=np.bool_)
        for point, total in sums.items():
            sound = sound & (np.abs(total) <= RESIDUAL * largest[point])
        return sound


def _order(pairs: set[Pair], kept: Pair) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The points but those kept, fewest neighbours first, each with its neighbours when its turn comes."""
    around: dict[str, set[str]] = {}
    for a, b in pairs:
        around.setdefault(a, set()).add(b)
        around.setdefault(b, set()).add(a)
    order = []
    while inner := sorted(set(around) - set(kept)):
        point = min(inner, key=lambda each: len(around[each]))
        neighbours = around.pop(point)
        for other in neighbours:
            around[other] = (around[other] | neighbours) - {point, other}
        order.append((point, tuple(sorted(neighbours))))
    return tuple(order)


# -- the sets of a network and their impedances


def _element_sets(case: _Case, merged: Groups) -> Iterator[_Set]:
    """The elements that are not wires, coupled coils together."""
    elements = case.network.elements
    omega = np.where(case.omega == 0, 1.0, case.omega)  # 0 Hz is solved again anyway
    place = {element.reference: i for i, element in enumerate(elements)}
    together = Groups(place)
    coefficient: dict[tuple[str, str], float] = {}
    for each in case.network.couplings:
        together.join(each.coil_a, each.coil_b)
        coefficient[each.coil_a, each.coil_b] = coefficient[each.coil_b, each.coil_a] = each.coefficient
    for names in _groups(together, place):
        members = [elements[place[name]] for name in names]
        parts = [element.part for element in members]
        ends = tuple((merged.find(e.plus_point), merged.find(e.minus_point)) for e in members)
        if len(ends) == 1 and ends[0][0] == ends[0][1]:
            continue
        forms = [
            [
                _mutual(p, q, coefficient.get((a, b), 0.0)) if a != b else FORMS[type(p)](p)
                for b, q in zip(names, parts, strict=True)
            ]
            for a, p in zip(names, parts, strict=True)
        ]
        varies = any(np.ndim(value) for part in parts for value in _numbers(part).values())
        yield _Set(ends, _form_impedance(forms, omega), varies, elements=tuple(place[name] for name in names))


def _load_sets(case: _Case, merged: Groups) -> Iterator[_Set]:
    """The ports of the load, those that share volts together."""
    loads = case.network.loads
    names = [str(i) for i in range(len(loads))]
    together = Groups(names)
    for i, j in combinations(range(len(loads)), 2):
        if case.loads[..., i, j].any() or case.loads[..., j, i].any():
            together.join(names[i], names[j])
    for members in _groups(together, names):
        ports = tuple(int(name) for name in members)
        ends = tuple((merged.find(loads[i].plus_point), merged.find(loads[i].minus_point)) for i in ports)
        yield _Set(ends, _load_impedance(case.loads, ports), len(case.loads) > 1, ports)


def _groups(together: Groups, names: Iterable[str]) -> list[list[str]]:
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(together.find(name), []).append(name)
    return list(groups.values())


def _load_impedance(loads: Complexes, ports: tuple[int, ...]) -> Callable[[slice], Matrix]:
    return lambda builds: [[_of(loads, builds)[..., i, j] for j in ports] for i in ports]


def _form_impedance(forms: Sequence[Sequence[_Form]], omega: Floats) -> Callable[[slice], Matrix]:
    def impedance(builds: slice) -> Matrix:
        size = range(len(forms))
        upper = {(i, j): forms[i][j].at(omega, builds) for i in size for j in size if i <= j}
        return [[upper[min(i, j), max(i, j)] for j in size] for i in size]

    return impedance


@dataclass(frozen=True, slots=True, eq=False)
class _Form:
    """An impedance constant + rising omega + falling/omega + 1/(leak + j omega farad), each (1 or B, 1) or None."""

    constant: Complexes
    rising: Complexes | None = None
    falling: Complexes | None = None
    leaky: tuple[Complexes, Complexes] | None = None

    def at(self, omega: Floats, builds: slice) -> Complexes:
        """(1 or b, 1 or F); it has an axis over frequency only if it depends on it."""
        z = _of(self.constant, builds)
        if self.rising is not None:
            z = z + _of(self.rising, builds) * omega
        if self.falling is not None:
            z = z + _of(self.falling, builds) * (1 / omega)
        if self.leaky is not None:
            leak, farad = self.leaky
            z = z + 1 / (_of(leak, builds) + _of(farad, builds) * (1j * omega))
        return np.asarray(z)


def _resistor(part: Resistor) -> _Form:
    return _Form(_column(np.where(np.equal(part.resistance, 0), 1.0, part.resistance)))  # zero is solved again anyway


def _coil(part: Coil) -> _Form:
    return _Form(_column(part.resistance), rising=1j * _column(part.inductance))


def _capacitor(part: Capacitor) -> _Form:
    series, farad = _column(part.series_resistance), _column(part.capacitance)
    tangent = _column(0.0 if part.dissipation_factor is None else part.dissipation_factor)
    if part.leakage_resistance is None:
        return _Form(series, falling=(tangent - 1j) / farad)
    return _Form(series, falling=tangent / farad, leaky=(1 / _column(part.leakage_resistance), farad))


FORMS: Mapping[type, Callable[[Any], _Form]] = {Resistor: _resistor, Coil: _coil, Capacitor: _capacitor}


def _mutual(a: Part, b: Part, coefficient: float) -> _Form:
    """j omega M with M = k sqrt(L1 L2)."""
    coils: tuple[Any, Any] = a, b
    root = np.sqrt(np.multiply(*(_column(coil.inductance) for coil in coils)))
    return _Form(_column(0.0), rising=1j * coefficient * root)


def _inverse(z: Matrix) -> tuple[Matrix, Mask]:
    """The inverse, and where it has kept its digits and the matrix is symmetric."""
    sound: Mask = np.ones((1, 1), dtype=np.bool_)
    if len(z) == 1:
        return [[np.reciprocal(z[0][0])]], sound
    for i, j in combinations(range(len(z)), 2):
        if z[i][j] is not z[j][i]:
            sound = sound & (np.abs(z[i][j] - z[j][i]) <= SYMMETRIC * np.abs(z[i][j]))
    if len(z) == 2:
        (a, mutual), (_, b) = z
        product = a * b
        determinant = product - mutual * mutual
        inverse = np.reciprocal(determinant)
        across = -mutual * inverse
        kept = np.abs(determinant) > CANCELLED * np.abs(product)
        return [[b * inverse, across], [across, a * inverse]], sound & kept
    entries = np.broadcast_arrays(*(entry for row in z for entry in row))
    matrix = np.stack(entries, axis=-1).reshape(*entries[0].shape, len(z), len(z))
    try:
        inverted = np.linalg.inv(matrix)
    except np.linalg.LinAlgError:  # one that is singular stops them all
        return z, np.zeros((1, 1), dtype=np.bool_)
    missing = np.abs(matrix @ inverted - np.eye(len(z))).max(axis=(-2, -1))
    return [[inverted[..., i, j] for j in range(len(z))] for i in range(len(z))], sound & (missing < SYMMETRIC)


# -- small helpers


def _numbers(part: Part) -> dict[str, Any]:
    """The part's fields: numbers, arrays over builds, or None."""
    of: Any = part
    return {field.name: getattr(of, field.name) for field in fields(of)}


def _of(value: Any, builds: slice | Mask) -> Any:
    """Some of the builds of an array over builds; anything else as it is."""
    return value[builds] if np.ndim(value) and len(value) > 1 else value


def _column(value: Any) -> Complexes:
    return np.asarray(value, dtype=np.complex128).reshape(-1, 1)


def _pair(a: str, b: str) -> Pair:
    return (a, b) if a < b else (b, a)


def _add(into: dict[Any, Complexes], key: Any, value: Complexes, sign: int = 1) -> None:
    if key not in into:
        into[key] = value if sign > 0 else -value
    else:
        into[key] = into[key] + value if sign > 0 else into[key] - value


def _sum(values: Iterable[Complexes], nothing: Complexes) -> Complexes:
    total = nothing
    for i, value in enumerate(values):
        total = total + value if i else value
    return total
