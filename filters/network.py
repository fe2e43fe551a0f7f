"""Any network of resistors, capacitors, coils (coupled or not) and N-port loads, solved by its points.

Modified nodal analysis (Ho, Ruehli & Brennan, IEEE Trans. Circuits Syst. 22, 1975): the unknowns are the volts of every
point against the input's second point, the current of the source, of every resistor and coil, and of every port of
the load. Kirchhoff's current law gives a row for each point; a branch gives the row V+ - V- - Z I = 0, so that zero
ohm is legal and coupled coils are two more entries, -j omega M with M = k sqrt(L1 L2); the loads give the rows
V+ - V- - sum Z I = 0, with no inverse of Z anywhere. Capacitors, which may be open at 0 Hz, enter by admittance.

Currents run from an element's first point through it to its second; load currents run into the plus mark; the input
current leaves the source at the input's first point. All are rms phasors, e^{+j omega t}, at any omega from 0 up.
Axes: frequency (F,), and for a batch of builds (B, F). A number in a part may be an array (B,) over builds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filters.parts import Coil, Complexes, Floats, Part, Resistor, conducts
from filters.topology import Groups, first_loop, islands, listed

MATRICES_AT_ONCE = 4096  # keeps a batch in tens of megabytes
# A set of couplings whose coefficient matrix has an eigenvalue below this is perfectly coupled.
PERFECT_COUPLING = 1e-9
# Equations are taken as having no unique solution where the smallest singular value is this far below the largest.
UNSOLVABLE = 1e-14
SOURCE = "the source"


class NetworkError(ValueError):
    """The circuit has no unique solution or is not described consistently; `names` are the points or parts at fault."""

    def __init__(self, message: str, names: tuple[str, ...] = ()) -> None:
        self.names = names
        super().__init__(message)


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """A part between two points."""

    reference: str
    part: Part
    plus_point: str
    minus_point: str


@dataclass(frozen=True, slots=True)
class Link:
    """A wire that makes one point of two."""

    a: str
    b: str


@dataclass(frozen=True, slots=True)
class Coupling:
    """Two coils' coupling coefficient, -1 to 1, positive with the dotted ends at the first point of each."""

    coil_a: str
    coil_b: str
    coefficient: float


@dataclass(frozen=True, slots=True)
class Load:
    """One port of the N-port load, in the order of the load's axes: its marks go to these points."""

    name: str
    plus_point: str
    minus_point: str


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A crossover: the input's two points (the second is the reference of all volts), parts, wires and loads.

    A part that is left out is simply not among the elements. Raises NetworkError for a reference used twice, a coupling
    that names no coil of the network, or couplings that no passive set of coils can have.
    """

    input: tuple[str, str]
    elements: tuple[Element, ...] = ()
    links: tuple[Link, ...] = ()
    couplings: tuple[Coupling, ...] = ()
    loads: tuple[Load, ...] = ()

    def __post_init__(self) -> None:
        references = [element.reference for element in self.elements]
        twice = sorted({reference for reference in references if references.count(reference) > 1})
        if twice:
            raise NetworkError(f"network: {listed(twice)} stands for more than one part", tuple(twice))
        coils = {element.reference for element in self.elements if isinstance(element.part, Coil)}
        pairs: set[frozenset[str]] = set()
        for coupling in self.couplings:
            pair = frozenset((coupling.coil_a, coupling.coil_b))
            if len(pair) < 2 or not pair <= coils or pair in pairs:
                raise NetworkError(
                    f"network: a coupling needs two different coils of the network, each pair once,"
                    f" not {coupling.coil_a} and {coupling.coil_b}",
                    (coupling.coil_a, coupling.coil_b),
                )
            pairs.add(pair)
        if _least_eigenvalue(self.couplings) < -1e-12:
            names = tuple(dict.fromkeys(name for c in self.couplings for name in (c.coil_a, c.coil_b)))
            raise NetworkError(f"network: no passive coils can be coupled as {listed(names)} are here", names)

    @property
    def points(self) -> tuple[str, ...]:
        """Every point named, the input's first, then in file order."""
        ends = [self.input, *((e.plus_point, e.minus_point) for e in self.elements)]
        ends += [(link.a, link.b) for link in self.links] + [(load.plus_point, load.minus_point) for load in self.loads]
        return tuple(dict.fromkeys(point for pair in ends for point in pair))

    def element(self, reference: str) -> Element:
        """The element of this reference. Raises NetworkError where there is none."""
        for element in self.elements:
            if element.reference == reference:
                return element
        raise NetworkError(f"network: there is no part {reference}", (reference,))


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Volts and amperes, rms phasors, everywhere in a network; `...` is nothing, or (B,) for a batch of builds.

    K elements and N loads are in the network's order. The input is what lies beyond the source's resistance:
    `input_impedance` (ohm) does not contain it, and is infinite where no current flows.
    """

    input_volts: Complexes  # (..., F)
    input_current: Complexes  # (..., F)
    input_impedance: Complexes  # (..., F)
    element_volts: Complexes  # (..., F, K)
    element_current: Complexes  # (..., F, K)
    element_watts: Floats  # (..., F, K) heat in the part's own resistance
    load_volts: Complexes  # (..., F, N)
    load_current: Complexes  # (..., F, N)
    point_volts: Mapping[str, Complexes]  # (..., F) against the input's second point

    @property
    def input_watts(self) -> Floats:
        """Real power into the network, (..., F)."""
        return (self.input_volts * self.input_current.conj()).real

    @property
    def load_watts(self) -> Floats:
        """Real power into each port, (..., F, N); ports that share a chamber may hand power to each other."""
        return (self.load_volts * self.load_current.conj()).real


def solve(
    network: Network,
    omega: Floats,
    load_impedance: Complexes | None = None,
    source_volts: ArrayLike = 1.0,
    source_resistance: ArrayLike = 0.0,
) -> Solution:
    """Solve `network` at `omega` (F,) rad/s with a voltage source behind `source_resistance` across its input.

    `load_impedance` is (F, N, N) or (B, F, N, N) in ohm, None for a network without loads; `source_volts` a number,
    (F,) or (B, F), rms; `source_resistance` a number or (B,), ohm, zero is legal.

    Raises NetworkError where points hang from nothing that leads to the input's second point, where branches of zero
    ohm close a loop, or where a part's impedance overflows or the equations have no unique solution at some frequency.
    """
    equations = Equations.of(network, omega, load_impedance, source_resistance)
    unit = np.zeros((equations.size, 1))
    unit[equations.source_row] = 1.0
    return equations.solution(equations.solve(unit)[..., 0], source_volts)


def sweep_branch(
    network: Network,
    reference: str,
    impedances: Complexes,
    omega: Floats,
    load_impedance: Complexes | None = None,
    source_volts: ArrayLike = 1.0,
    source_resistance: ArrayLike = 0.0,
) -> Solution:
    """Solve `network` for every candidate `impedances` (C, F) in ohm in the place of the element `reference`.

    The result is exact and has the candidates as its first axis, (C, F, ...). The other arguments are those of `solve`
    for a single build. Zero is the linked place, infinity the place left out. The circuit is solved once, with the
    place linked, for two drives: the source, and one volt inserted in the place. With x0 and y the two solutions and
    i0, -1/Zth their currents through the place, Zth being what the place looks into (Thevenin's theorem), the equations
    A - Z e e' of a place of impedance Z have the solution (Sherman & Morrison, Ann. Math. Stat. 21, 1950)
    x = x0 + y i0 Z Zth/(Z + Zth): every quantity is bilinear in Z.

    Raises NetworkError as `solve` does for the linked place, where links bridge the place, or if its coil is coupled.
    """
    if any(reference in (coupling.coil_a, coupling.coil_b) for coupling in network.couplings):
        raise NetworkError(f"network: {reference} is a coupled coil, no impedance can replace it", (reference,))
    place = network.element(reference)
    linked = replace(place, part=Resistor(0.0))
    equations = Equations.of(
        replace(network, elements=tuple(linked if e is place else e for e in network.elements)),
        omega,
        load_impedance,
        source_resistance,
    )
    index = network.elements.index(place)
    row = equations.branch_rows.get(index)
    if row is None:
        raise NetworkError(f"network: both ends of {reference} are one point", (reference,))
    drives = np.zeros((equations.size, 2))
    drives[equations.source_row, 0] = drives[row, 1] = 1.0
    both = equations.solve(drives)
    x0, y = both[..., 0], both[..., 1]
    weight = _parallel(np.asarray(impedances), -y[:, row]) * x0[:, row]  # (C, F): i0 Z Zth/(Z + Zth)
    solution = equations.solution(x0 + y * weight[..., None], source_volts)
    watts = solution.element_watts.copy()
    current = np.abs(solution.element_current[..., index])
    watts[..., index] = np.where(current > 0, current**2, 0) * np.where(np.isinf(impedances), 0, np.real(impedances))
    return replace(solution, element_watts=watts)


def _parallel(impedance: Complexes, admittance: Complexes) -> Complexes:
    """Impedance of `impedance` (zero to infinity) in parallel with `admittance`, Z/(1 + Z Y) = 1/(1/Z + Y)."""
    large = np.abs(impedance) > 1
    shunt = np.divide(1, impedance, out=np.zeros_like(impedance), where=np.isfinite(impedance) & large)
    below = np.where(large, shunt + admittance, 1 + np.where(large, 0, impedance) * admittance)
    # where the place looks into nothing and is left out, no current flows anyway
    return np.divide(np.where(large, 1, impedance), below, out=np.zeros_like(below), where=below != 0)


def checked(
    network: Network, omega: Floats, load_impedance: Complexes | None, source_resistance: ArrayLike
) -> tuple[Floats, Complexes, Floats]:
    """Omega (F,), the loads' impedance (F, N, N) or (B, F, N, N) and the source's resistance (1,) or (B, 1).

    Raises NetworkError where one of them has another shape or values that nothing can have.
    """
    omega = np.asarray(omega, dtype=np.float64)
    if omega.ndim != 1 or not np.all(np.isfinite(omega) & (omega >= 0)):
        raise NetworkError("network: frequencies are one axis of finite numbers from zero up")
    expected = (omega.size, len(network.loads), len(network.loads))
    loads: Complexes = np.zeros((omega.size, 0, 0), np.complex128)
    if load_impedance is not None:
        loads = np.asarray(load_impedance, dtype=np.complex128)
    if loads.shape[-3:] != expected or not np.all(np.isfinite(loads)):
        raise NetworkError(f"network: the loads need a finite impedance of shape {expected}, not {loads.shape}")
    resistance = np.asarray(source_resistance, dtype=np.float64)[..., None]
    if np.any(resistance < 0):
        raise NetworkError("network: the source's resistance must not be negative")
    return omega, loads, resistance


@dataclass(frozen=True, slots=True, eq=False)
class Equations:
    """The rows and columns of one network's equations, and everything that fills them."""

    network: Network
    omega: Floats
    batch: tuple[int, ...]  # () or (B,)
    points: Mapping[str, int]  # column of every point's volts; the ground's is the last, `size`
    source_row: int
    branch_rows: Mapping[int, int]  # element index -> row and column, for elements written by impedance
    load_row: int  # the first
    size: int
    immittances: tuple[Complexes, ...]  # of each element, (F,) or (B, F): impedance, or admittance where by_admittance
    load_impedance: Complexes  # (F, N, N) or (B, F, N, N)
    source_resistance: Floats  # (1,) or (B, 1)

    @classmethod
    def of(
        cls, network: Network, omega: Floats, load_impedance: Complexes | None, source_resistance: ArrayLike
    ) -> Equations:
        count = len(network.loads)
        omega, loads, resistance = checked(network, omega, load_impedance, source_resistance)
        immittances = tuple(
            e.part.admittance(omega) if e.part.by_admittance else e.part.impedance(omega) for e in network.elements
        )
        finite = [np.isfinite(immittance).all() for immittance in immittances]
        if not all(finite):
            beyond = tuple(e.reference for e, known in zip(network.elements, finite, strict=True) if not known)
            raise NetworkError(f"network: the values of {listed(beyond)} are beyond what can be computed", beyond)
        shapes = [array.shape for array in immittances] + [loads.shape[:-2], resistance.shape]

        merged = Groups([network.input[1], network.input[0]])
        for link in network.links:
            merged.join(link.a, link.b)
        ground = merged.find(network.input[1])
        nodes = [p for p in dict.fromkeys(merged.find(p) for p in network.points) if p != ground]
        coupled = {name for c in network.couplings for name in (c.coil_a, c.coil_b)}
        branches = [
            i
            for i, e in enumerate(network.elements)
            if not e.part.by_admittance
            and (merged.find(e.plus_point) != merged.find(e.minus_point) or e.reference in coupled)
        ]
        size = len(nodes) + 1 + len(branches) + count
        column = {node: i for i, node in enumerate(nodes)} | {ground: size}
        equations = cls(
            network=network,
            omega=omega,
            batch=np.broadcast_shapes(*shapes)[:-1],
            points={point: column[merged.find(point)] for point in network.points},
            source_row=len(nodes),
            branch_rows={index: len(nodes) + 1 + i for i, index in enumerate(branches)},
            load_row=len(nodes) + 1 + len(branches),
            size=size,
            immittances=immittances,
            load_impedance=loads,
            source_resistance=resistance,
        )
        equations._require_solvable(merged, nodes, ground)
        return equations

    def _require_solvable(self, merged: Groups, nodes: list[str], ground: str) -> None:
        """Raise NetworkError for points that hang in the air or for a loop of zero ohm, at any frequency."""
        elements = self.network.elements
        ends = [(merged.find(e.plus_point), merged.find(e.minus_point)) for e in elements]
        loads = [(merged.find(load.plus_point), merged.find(load.minus_point)) for load in self.network.loads]
        source = (merged.find(self.network.input[0]), ground)
        for pattern, where in self._patterns():
            closed = [ends[i] for i, e in enumerate(elements) if not (e.part.by_admittance and pattern[i])]
            adrift = islands(nodes, [source, *closed, *loads], ground)
            if adrift:
                names = tuple(point for point in self.network.points if merged.find(point) in adrift)
                raise NetworkError(f"network: nothing joins {listed(names)} to {self.network.input[1]}{where}", names)
            wires = {elements[i].reference: ends[i] for i in self.branch_rows if pattern[i]}
            if np.any(self.source_resistance == 0):
                wires = {SOURCE: source} | wires
            loop = first_loop(wires)
            if loop:
                raise NetworkError(f"network: zero ohm all the way round through {listed(loop)}{where}", loop)

    def _patterns(self) -> Iterator[tuple[NDArray[np.bool_], str]]:
        """Which elements (K,) are a wire (or a gap, by admittance), in every way that occurs, and at what frequency."""
        shape = (*self.batch, self.omega.size)
        if all(np.all(x) for x in self.immittances):
            yield np.zeros(len(self.immittances), dtype=np.bool_), ""
            return
        nothing = np.array([np.broadcast_to(x, shape) == 0 for x in self.immittances]).reshape(-1, *shape)
        for pattern in np.unique(nothing.reshape(len(nothing), -1), axis=1).T:
            here = np.all(pattern == nothing.T, axis=-1).reshape(self.omega.size, -1).any(axis=1)  # (F,)
            yield pattern, "" if here.all() else f" at {self.omega[here][0] / (2 * np.pi):g} Hz"

    def solve(self, drives: Floats) -> Complexes:
        """Unknowns (..., F, size, R) for right-hand sides `drives` (size, R)."""
        parts = [self._solve_part(builds, drives) for builds in self._chunks()]
        return np.concatenate(parts) if len(parts) > 1 else parts[0]

    def solve_transposed(self, drives: Complexes) -> Complexes:
        """Unknowns (F, size, R) of the transposed equations of a single build, for right-hand sides (F, size, R).

        They are those of the adjoint network (Director & Rohrer, IEEE Trans. Circuit Theory 16, 1969).
        """
        matrix = self._matrix(slice(None))
        try:
            return np.linalg.solve(np.swapaxes(matrix, -1, -2), drives)
        except np.linalg.LinAlgError:
            raise self._undetermined(matrix) from None

    def mutuals(self) -> Iterator[tuple[int, int, Complexes]]:
        """The two elements of each coupled pair and its j omega M, M = k sqrt(L1 L2), (F,) or (B, F)."""
        place = {e.reference: i for i, e in enumerate(self.network.elements)}
        for coupling in self.network.couplings:
            a, b = place[coupling.coil_a], place[coupling.coil_b]
            product = self.immittances[a].imag * self.immittances[b].imag  # omega^2 L1 L2
            yield a, b, 1j * coupling.coefficient * np.sqrt(product)

    def _chunks(self) -> Iterator[slice]:
        step = max(1, MATRICES_AT_ONCE // max(1, self.omega.size))
        edges = [*range(0, self.batch[0], step), self.batch[0]] if self.batch else [0, 1]
        return (slice(a, b) for a, b in pairwise(edges))

    def _solve_part(self, builds: slice, drives: Floats) -> Complexes:
        matrix = self._matrix(builds)
        try:
            found = np.linalg.solve(matrix, drives)
        except np.linalg.LinAlgError:
            raise self._undetermined(matrix) from None
        perfect = _least_eigenvalue(self.network.couplings) < PERFECT_COUPLING
        if not np.all(np.isfinite(found)) or (perfect and _conditions(matrix).min() < UNSOLVABLE):
            raise self._undetermined(matrix)
        return found

    def _matrix(self, builds: slice) -> Complexes:
        """The equations (..., F, size, size) of some of the builds."""

        def pick(array: NDArray[np.generic], axes: int) -> NDArray[np.generic]:
            return array[builds] if array.ndim > axes and array.shape[0] > 1 else array

        count = (len(range(*builds.indices(self.batch[0]))),) if self.batch else ()
        n = self.size
        matrix = np.zeros((*count, self.omega.size, n + 1, n + 1), dtype=np.complex128)  # the ground's row is dropped

        def ends(row: int, plus: str, minus: str) -> None:
            """A current unknown leaves `plus` and enters `minus`; its row holds V+ - V-."""
            for point, sign in ((self.points[plus], 1), (self.points[minus], -1)):
                matrix[..., point, row] += sign
                matrix[..., row, point] += sign

        hot, common = self.network.input
        ends(self.source_row, common, hot)  # the source's current leaves the circuit at common and enters at hot
        matrix[..., self.source_row, :] *= -1  # V_hot - V_common + Rs I = E
        matrix[..., self.source_row, self.source_row] += pick(self.source_resistance, 1)
        for index, element in enumerate(self.network.elements):
            immittance = pick(self.immittances[index], 1)
            if index in self.branch_rows:
                row = self.branch_rows[index]
                ends(row, element.plus_point, element.minus_point)
                matrix[..., row, row] -= immittance  # V+ - V- - Z I = 0
            elif element.part.by_admittance:
                p, m = self.points[element.plus_point], self.points[element.minus_point]
                matrix[..., p, p] += immittance
                matrix[..., m, m] += immittance
                matrix[..., p, m] -= immittance
                matrix[..., m, p] -= immittance
        for a, b, mutual in self.mutuals():
            row_a, row_b = self.branch_rows[a], self.branch_rows[b]
            matrix[..., row_a, row_b] -= pick(mutual, 1)  # - j omega M I
            matrix[..., row_b, row_a] -= pick(mutual, 1)
        for i, load in enumerate(self.network.loads):
            ends(self.load_row + i, load.plus_point, load.minus_point)
        matrix[..., self.load_row : n, self.load_row : n] -= pick(self.load_impedance, 3)
        return matrix[..., :n, :n]

    def solution(self, unknowns: Complexes, source_volts: ArrayLike) -> Solution:
        """Everything a Solution holds from the unknowns (..., F, size) for a source of one volt."""
        volts = np.asarray(source_volts)
        x = unknowns * volts[..., None] if volts.ndim else unknowns * volts
        point = np.concatenate([x, np.zeros_like(x[..., :1])], axis=-1)  # the ground's volts last

        def across(plus: str, minus: str) -> Complexes:
            return np.asarray(point[..., self.points[plus]] - point[..., self.points[minus]])

        elements = self.network.elements
        element_volts = _stack([across(e.plus_point, e.minus_point) for e in elements], x)
        element_current = np.zeros_like(element_volts)
        element_watts = np.zeros(element_volts.shape)
        for i, element in enumerate(elements):
            if i in self.branch_rows:
                element_current[..., i] = x[..., self.branch_rows[i]]
            elif element.part.by_admittance:
                element_current[..., i] = self.immittances[i] * element_volts[..., i]
            square = np.abs(element_current[..., i]) ** 2
            # no heat without current, where a resistance may be infinite
            np.multiply(square, element.part.loss_resistance(self.omega), out=element_watts[..., i], where=square > 0)
        input_volts, input_current = across(*self.network.input), x[..., self.source_row]
        impedance = np.full(input_current.shape, np.inf, dtype=np.complex128)
        np.divide(input_volts, input_current, out=impedance, where=conducts(input_current, input_volts))
        return Solution(
            input_volts=input_volts,
            input_current=input_current,
            input_impedance=impedance,
            element_volts=element_volts,
            element_current=element_current,
            element_watts=element_watts,
            load_volts=_stack([across(load.plus_point, load.minus_point) for load in self.network.loads], x),
            load_current=x[..., self.load_row : self.size],
            point_volts={name: point[..., column] for name, column in self.points.items()},
        )

    def _undetermined(self, matrix: Complexes) -> NetworkError:
        """Names what the worst of these equations leave free: the unknowns that their null vector moves."""
        worst = np.unravel_index(np.argmin(_conditions(matrix)), matrix.shape[:-2])
        null = np.abs(np.linalg.svd(_levelled(matrix[worst]))[2][-1])
        free = null > 1e-3 * null.max()
        names = [point for point, column in self.points.items() if column < self.source_row and free[column]]
        if free[self.source_row]:
            names.append(SOURCE)
        names += [self.network.elements[i].reference for i, row in self.branch_rows.items() if free[row]]
        names += [load.name for i, load in enumerate(self.network.loads) if free[self.load_row + i]]
        frequency = self.omega[worst[-1]] / (2 * np.pi)
        return NetworkError(f"network: no unique solution at {frequency:g} Hz for {listed(names)}", tuple(names))


def _conditions(matrix: Complexes) -> Floats:
    """Smallest over largest singular value of each matrix, its rows levelled."""
    values = np.linalg.svd(_levelled(matrix), compute_uv=False)
    return np.asarray(values[..., -1] / values[..., 0])


def _levelled(matrix: Complexes) -> Complexes:
    """Rows divided by their largest entry."""
    largest = np.abs(matrix).max(axis=-1, keepdims=True)
    return np.asarray(matrix / np.where(largest > 0, largest, 1))


def _stack(columns: list[Complexes], like: Complexes) -> Complexes:
    return np.stack(columns, axis=-1) if columns else np.zeros((*like.shape[:-1], 0), dtype=np.complex128)


def _least_eigenvalue(couplings: tuple[Coupling, ...]) -> float:
    """The least eigenvalue of the matrix of coupling coefficients; a passive set has none below zero."""
    coils = list(dict.fromkeys(name for c in couplings for name in (c.coil_a, c.coil_b)))
    matrix = np.eye(max(1, len(coils)))
    for c in couplings:
        a, b = coils.index(c.coil_a), coils.index(c.coil_b)
        matrix[a, b] = matrix[b, a] = c.coefficient
    return float(np.linalg.eigvalsh(matrix)[0])
