"""The chain of one variant of the example at 400 frequencies, in one process, stage by stage, and together.

"First" is with nothing kept of any cabinet, as a new process has it; "again" with the same cabinet, as a search over
parts has it. Every stage has what the stages before it give, but each that needs the cabinet pays for it by itself, so
that they add up to more than the whole. A stage's ratio is its time over that of the whole; that of the network alone
is to `numpy.linalg.solve` of as many random equations of the same size. Detail is what `predict` adds for each variant
(the filling's band, the pressure along a line, handovers, the step, the room, group delay), the chain under it
included. The limits are all of them on a sine and on the programme, hot coils included.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.kits import EXAMPLE, FREQUENCY, VOLTS, example
from benchmarks.rows import Row, time_text
from benchmarks.timing import forget, quickest
from filters.network import Equations
from system import summary
from system.build import build
from system.detail import predict_in_detail
from system.kitfile import load_kit
from system.limits import Case, limits
from system.predict import predict, prediction, solve, summarise
from system.transfer import listening_paths, motion, transfer

TITLE = "The chain, stage by stage"


@dataclass(frozen=True, slots=True)
class Sizes:
    variants: tuple[str, ...] = ("wall", "tall")
    frequencies: int = 400
    detail: bool = True
    repeats: int = 3


FULL, SMALL = Sizes(), Sizes(("wall",), 10, False, 1)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """Reading the kit, then every variant."""
    frequency = np.geomspace(FREQUENCY[0], FREQUENCY[-1], sizes.frequencies)
    read = {"": lambda: load_kit(EXAMPLE)}
    made = [
        Row("read the kit file, first", quickest(read, sizes.repeats, forget)[""]),
        Row("read the kit file, again", quickest(read, sizes.repeats)[""]),
    ]
    for name in sizes.variants:
        made += _variant(name, frequency, sizes)
    return made


def _variant(name: str, frequency: np.ndarray, sizes: Sizes) -> list[Row]:
    kit, variant = example(), example().variants[name]
    model = build(kit, variant)
    moved, paths = motion(model, frequency), listening_paths(model, frequency)
    acoustics, everything = transfer(model, frequency, paths, moved), transfer(model, summary.GRID)
    figures = summarise(model, everything)
    stages: dict[str, Callable[[], object]] = {
        "build": lambda: build(kit, variant),
        "drivers and enclosures": lambda: motion(model, frequency),
        "diffraction and placement, first": lambda: listening_paths(model, frequency),
        "per ampere at the listener": lambda: transfer(model, frequency, paths, moved),
        "network and prediction": lambda: prediction(model, acoustics, VOLTS, figures),
        "single figures, on their own grid, first": lambda: summarise(model),
    }
    whole = f"{name}: all, first"
    first: dict[str, Callable[[], object]] = {
        **{f"{name}: {stage}": work for stage, work in stages.items()},
        whole: lambda: predict(kit, variant, frequency, VOLTS),
    }
    extra: dict[str, Callable[[], object]] = {}
    if sizes.detail:
        extra[f"{name}: with detail, first"] = lambda: predict_in_detail(kit, variant, frequency, VOLTS)
    times = quickest({**first, **extra}, sizes.repeats, forget)
    again = f"{name}: all, again"
    times[again] = quickest({again: first[whole]}, sizes.repeats)[again]
    made = [
        Row(what, taken, beside="" if what == whole else "all, first", ratio=_over(what, taken, whole, times))
        for what, taken in times.items()
    ]

    equations = Equations.of(
        model.network, 2 * np.pi * frequency, acoustics.impedance, model.source_resistance
    )  # for its size only
    alone, beside = f"{name}: network alone", "numpy.linalg.solve"
    case = Case(model, acoustics, prediction(model, acoustics, VOLTS, figures))
    swept = Case.swept(model, everything, figures)
    given = f"{name}: limits, given the prediction"
    works: dict[str, Callable[[], object]] = {
        alone: lambda: solve(model, acoustics, VOLTS),
        beside: dense(equations.size, frequency.size),
        given: lambda: limits(case, swept),
    }
    more = quickest(works, sizes.repeats)
    note = f"{equations.size} unknowns at {frequency.size} frequencies: {time_text(more[beside])} by numpy"
    count = len(limits(case, swept).limits)
    return [
        *made,
        Row(alone, more[alone], beside=beside, ratio=more[alone] / more[beside], note=note),
        Row(given, more[given], beside="all, first", ratio=more[given] / times[whole], note=f"{count} limits"),
    ]


def _over(what: str, taken: float, whole: str, times: dict[str, float]) -> float | None:
    return None if what == whole else taken / times[whole]


def dense(unknowns: int, equations: int) -> Callable[[], object]:
    """The solution of so many random complex equations by LAPACK, one right-hand side each, as numpy has it."""
    random = np.random.default_rng(3)
    shape = (equations, unknowns, unknowns)
    matrices = random.normal(size=shape) + 1j * random.normal(size=shape)
    return lambda: np.linalg.solve(matrices, np.ones((equations, unknowns, 1)))
