"""How the currents of a network move with its parts: exact derivatives of everything from one more solution.

With A x = b the equations of `filters.network` and y = w.x an output, dy = -l.(dA x), where l solves the transposed
equations A' l = w, those of the adjoint network (Director & Rohrer, IEEE Trans. Circuit Theory 16, 1969). One solution
of the network and one of its adjoint for each output give the derivatives by every value at once: in terms of the
currents i in the branches and l in their images,

    a branch's impedance Z           dy/dZ = l i                                                                   (1)
    two coils' j omega M             dy/d(j omega M) = l_a i_b + l_b i_a                                           (2)
    an entry Z_mn of the load        dy/dZ_mn = l_m i_n                                                            (3)

What a value does to its part's impedance follows from the part. Currents are analytic in all of these, so a derivative
is a complex number; that of a magnitude or a level is taken from it by whoever wants one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from filters.network import Equations, Network, NetworkError
from filters.parts import Capacitor, Coil, Complexes, Floats, Resistor, conducts


@dataclass(frozen=True, slots=True, eq=False)
class Gradients:
    """Outputs and their derivatives, per ohm, farad and henry, for one build; K elements, N loads, Q outputs.

    `by_value` is by a resistor's ohm, a capacitor's farad, a coil's henry, with the losses in ohm, the dissipation
    factor and the coupling coefficients held. `by_resistance` is by a capacitor's series resistance or a coil's dc
    resistance, and zero for a resistor. `by_load` is by each entry of the load's impedance, taken as independent.
    The derivatives of an infinite input impedance are not a number.
    """

    output: Complexes  # (F, Q)
    by_value: Complexes  # (F, Q, K)
    by_resistance: Complexes  # (F, Q, K)
    by_load: Complexes  # (F, Q, N, N)
    input_impedance: Complexes  # (F,) ohm, beyond the source's resistance
    input_by_value: Complexes  # (F, K)
    input_by_resistance: Complexes  # (F, K)
    input_by_load: Complexes  # (F, N, N)
    element_current: Complexes  # (F, K) A
    # the next three are empty, their second axis 0 long, unless they were asked for
    current_by_value: Complexes  # (F, K, K): of each element's current, by each element's value
    current_by_resistance: Complexes  # (F, K, K)
    current_by_load: Complexes  # (F, K, N, N)


def gradients(
    network: Network,
    omega: Floats,
    load_impedance: Complexes | None,
    weights: Complexes,
    source_volts: ArrayLike = 1.0,
    source_resistance: float = 0.0,
    *,
    of_currents: bool = False,
) -> Gradients:
    """Derivatives of the outputs sum_n weights[f, q, n] I_n, I_n being the current in load n, at `omega` (F,) rad/s.

    `weights` is (F, Q, N); `load_impedance` (F, N, N) in ohm, `source_volts` a number or (F,), rms, the rest as for
    `network.solve` for a single build. With `of_currents` the derivatives of every element's current come too.

    Raises NetworkError as `network.solve` does, for a batch of builds, and for weights of another shape.
    """
    equations = Equations.of(network, omega, load_impedance, source_resistance)
    weights = np.asarray(weights, dtype=np.complex128)
    frequencies, loads = equations.omega.size, len(network.loads)
    if equations.batch:
        raise NetworkError("network: derivatives are those of a single build")
    if weights.ndim != 3 or weights.shape[::2] != (frequencies, loads):
        raise NetworkError(f"network: weights are ({frequencies}, any number, {loads}), not {weights.shape}")
    unit = np.zeros((equations.size, 1))
    unit[equations.source_row] = 1.0
    unknowns = equations.solve(unit)
    solution = equations.solution(unknowns[..., 0], source_volts)

    # which unknowns make each output: the input's current, the weighted loads' currents, the elements' currents
    count, elements = weights.shape[1], len(network.elements)
    columns = 1 + count + (elements if of_currents else 0)
    wanted = np.zeros((frequencies, equations.size + 1, columns), dtype=np.complex128)  # the ground's row last
    wanted[:, equations.source_row, 0] = 1.0
    wanted[:, equations.load_row : equations.size, 1 : 1 + count] = np.swapaxes(weights, 1, 2)
    for column, k in zip(range(1 + count, columns), range(elements), strict=False):
        _mark_current(equations, k, wanted[..., column])
    images = equations.solve_transposed(wanted[:, :-1])

    current = _currents(equations, unknowns)[..., 0]  # (F, K), per volt
    image = np.swapaxes(_currents(equations, images), 1, 2)  # (F, outputs, K)
    by_value, by_resistance = np.zeros((2, *image.shape), dtype=np.complex128)
    for k, element in enumerate(network.elements):
        by_impedance = image[..., k] * current[:, k, None]  # (1)
        if k not in equations.branch_rows and columns > 1 + count:
            # a capacitor's current is Y (V+ - V-) and moves with its own Y too: dI = -Y I dZ
            by_impedance[:, 1 + count + k] -= equations.immittances[k] * current[:, k]
        by_own_value, by_own_resistance = SLOPES[type(element.part)](element.part, equations.omega)
        by_value[..., k] = by_impedance * by_own_value[:, None]
        by_resistance[..., k] = by_impedance * by_own_resistance[:, None]
    for a, b, mutual in equations.mutuals():
        by_mutual = image[..., a] * current[:, b, None] + image[..., b] * current[:, a, None]  # (2)
        for k in (a, b):  # M = k sqrt(L1 L2): dM/dL1 = M/(2 L1)
            coil: Any = network.elements[k].part
            by_value[..., k] += by_mutual * (mutual / (2 * coil.inductance))[:, None]
    ports = slice(equations.load_row, equations.size)
    by_load = np.swapaxes(images[:, ports], 1, 2)[..., None] * unknowns[:, None, None, ports, 0]  # (3)

    into = unknowns[:, equations.source_row, 0]
    by_input = np.full(into.shape, np.nan, dtype=np.complex128)
    np.divide(-1, into**2, out=by_input, where=conducts(into))  # Z = E/I - Rs
    volts = np.broadcast_to(np.asarray(source_volts, dtype=np.complex128), into.shape)
    each = [(by_value, 2), (by_resistance, 2), (by_load, 3)]
    input_value, input_resistance, input_load = (array[:, 0] * _expand(by_input, axes - 1) for array, axes in each)
    value, resistance, load = (array[:, 1 : 1 + count] * _expand(volts, axes) for array, axes in each)
    of_value, of_resistance, of_load = (array[:, 1 + count :] * _expand(volts, axes) for array, axes in each)
    return Gradients(
        output=np.einsum("fqn,fn->fq", weights, solution.load_current),
        by_value=value,
        by_resistance=resistance,
        by_load=load,
        input_impedance=solution.input_impedance,
        input_by_value=input_value,
        input_by_resistance=input_resistance,
        input_by_load=input_load,
        element_current=solution.element_current,
        current_by_value=of_value,
        current_by_resistance=of_resistance,
        current_by_load=of_load,
    )


def _expand(array: Complexes, axes: int) -> Complexes:
    """(F,) with that many axes of length 1 behind."""
    return array.reshape(-1, *(1,) * axes)


def _currents(equations: Equations, unknowns: Complexes) -> Complexes:
    """Currents (F, K, R) in the elements, or in their images, of solutions (F, size, R)."""
    point = np.concatenate([unknowns, np.zeros_like(unknowns[:, :1])], axis=1)  # the ground's volts last
    elements = equations.network.elements
    found = np.zeros((len(unknowns), len(elements), unknowns.shape[2]), dtype=np.complex128)
    for k, element in enumerate(elements):
        if k in equations.branch_rows:
            found[:, k] = unknowns[:, equations.branch_rows[k]]
        elif element.part.by_admittance:
            across = point[:, equations.points[element.plus_point]] - point[:, equations.points[element.minus_point]]
            found[:, k] = equations.immittances[k][:, None] * across
    return found


def _mark_current(equations: Equations, k: int, column: Complexes) -> None:
    """Write into `column` (F, size + 1) which unknowns make the current of element `k`."""
    element = equations.network.elements[k]
    if k in equations.branch_rows:
        column[:, equations.branch_rows[k]] = 1.0
    elif element.part.by_admittance:
        column[:, equations.points[element.plus_point]] += equations.immittances[k]
        column[:, equations.points[element.minus_point]] -= equations.immittances[k]


# -- dZ/d(value) and dZ/d(resistance) of each kind of part, (F,)


def _resistor(part: Resistor, omega: Floats) -> tuple[Complexes, Complexes]:
    return np.ones(omega.shape, np.complex128), np.zeros(omega.shape, np.complex128)


def _coil(part: Coil, omega: Floats) -> tuple[Complexes, Complexes]:
    return 1j * omega, np.ones(omega.shape, np.complex128)


def _capacitor(part: Capacitor, omega: Floats) -> tuple[Complexes, Complexes]:
    """Z = Rs + tan d/(omega C) + 1/(G + j omega C); at 0 Hz, C moves nothing."""
    farad, tangent, leakage = (
        float(np.squeeze(value))
        for value in (part.capacitance, part.dissipation_factor or 0.0, 1 / (part.leakage_resistance or np.inf))
    )
    rising = 1j * omega
    slope = np.zeros(omega.shape, np.complex128)
    np.divide(-rising, (leakage + rising * farad) ** 2, out=slope, where=omega > 0)
    slope -= np.divide(tangent, omega * farad**2, out=np.zeros(omega.shape), where=omega > 0)
    return slope, np.ones(omega.shape, np.complex128)


SLOPES: Mapping[type, Callable[[Any, Floats], tuple[Complexes, Complexes]]] = {
    Resistor: _resistor,
    Coil: _coil,
    Capacitor: _capacitor,
}
