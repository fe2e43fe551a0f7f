"""A choice of values for all variants, looked at closely: how many differ, how good each variant is, what is passed.

The levels and limits are those of the fine grid on which a programme is judged elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from system import summary
from system.aims import Aim, Aims, Fitting, Measured
from system.kit import Kit, RevalueSpec, State, Variant

CLOSER = summary.GRID[::3]  # as `system.limits` looks at a programme
Cell = Fitting | State  # what a variant has in a place


@dataclass(frozen=True, slots=True)
class Figures:
    """One variant with certain values: deviation in dB, `lowest` impedance in ohm, `level` (dB, 2.83 V at 1 m).

    `excursion` (m, one-way peak) by driver and `watts` by part are those of the signal at full volume. `passed` says
    which limits are not kept: none by what is on a front.
    """

    rms: float  # dB
    worst: float  # dB
    worst_hz: float
    lowest: float
    lowest_hz: float
    level: float
    excursion: Mapping[str, float]
    watts: Mapping[str, float]
    passed: tuple[str, ...]
    response: tuple[float, ...]  # (F,) dB above the target, whose level is free


@dataclass(frozen=True, slots=True)
class Row:
    """One choice: what every variant has in every place, how many of these differ, and how good each variant is.

    `rms` is over all variants and frequencies alike.
    """

    differing: int
    rms: float
    cells: Mapping[str, Mapping[str, Cell]]  # by variant and place
    figures: Mapping[str, Figures]

    @property
    def worst(self) -> float:
        return max(each.worst for each in self.figures.values())


def cell(variant: Variant, name: str) -> Cell:
    place = variant.places[name]
    return Fitting(place.part.value) if place.state == "fit" else place.state


def differing(cells: Sequence[Mapping[str, Cell]]) -> int:
    """Over all places, how many different entries there are, less one."""
    return sum(len({each[name] for each in cells}) - 1 for name in (cells[0] if cells else ()))


@dataclass(frozen=True, slots=True, eq=False)
class Closer:
    """All variants on the fine grid of a programme."""

    variants: Sequence[Variant]
    aims: Aims

    @classmethod
    def of(cls, kit: Kit, variants: Sequence[Variant], moving: tuple[str, ...], spec: RevalueSpec) -> Closer:
        """Raises KitError as `Aims.of` does."""
        return cls(variants, Aims.of(kit, variants, moving, spec, CLOSER))

    def row(self, cells: Mapping[str, Mapping[str, Cell]]) -> Row:
        """What every variant does with what it has in each of its places."""
        figures = {}
        for v, variant in enumerate(self.variants):
            here = {name: cells[variant.name][name] for name in self.aims.moving}
            fitted = {name: cell for name, cell in here.items() if isinstance(cell, Fitting)}
            states = {name: "fit" if isinstance(cell, Fitting) else cell for name, cell in here.items()}
            aim = self.aims.at(v, states)
            ratings = {n: e.rating for n, e in fitted.items() if e.rating is not None and n in aim.bounds.watts}
            found = aim.measure(fitted)
            figures[variant.name] = _figures(aim, found, tuple(aim.passed(found, ratings)))
        rms = math.sqrt(sum(each.rms**2 for each in figures.values()) / len(figures))
        return Row(differing(list(cells.values())), rms, cells, figures)

    def given(self) -> Row:
        """The kit as it is."""
        return self.row({each.name: {name: cell(each, name) for name in each.places} for each in self.variants})


def _figures(aim: Aim, found: Measured, passed: tuple[str, ...]) -> Figures:
    frequency = aim.scene.scale.frequency
    worst, lowest = int(np.argmax(np.abs(found.deviation))), int(np.argmin(found.impedance))
    distance = aim.scene.model.variant.listening.distance
    return Figures(
        rms=float(found.rms),
        worst=float(found.worst),
        worst_hz=float(frequency[worst]),
        lowest=float(found.impedance[lowest]),
        lowest_hz=float(CLOSER[lowest]),
        level=float(found.level) + 20 * math.log10(2.83 * distance / summary.REFERENCE_PRESSURE),
        excursion={name: float(found.excursion[i].max()) for i, name in enumerate(aim.bounds.excursion)},
        watts={name: float(found.watts[i].max()) for i, name in enumerate(aim.bounds.watts)},
        passed=passed,
        response=tuple(found.deviation.tolist()),
    )
