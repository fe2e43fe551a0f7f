"""Variants side by side, of one kit or of two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from system import grid
from system.checks import examine
from system.findings import Finding
from system.kit import Kit, Variant
from system.overview import Row, row
from system.predict import Prediction, predict


@dataclass(frozen=True, slots=True)
class Worst:
    """The largest of a curve over the swept band: `value`, where (Hz), and whose it is."""

    value: float
    frequency: float
    name: str


@dataclass(frozen=True, slots=True)
class Column:
    """One variant in the comparison: its first-screen row, and its worst cases on a sine at rated volts.

    The sweep runs from the programme's lowest frequency to 20 kHz; `excursion` is in m, `opening_speed` in m/s.
    """

    row: Row
    excursion: Worst | None
    opening_speed: Worst | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """`columns` and `predictions` by the variant's name, with a word for the kit before it (`file.variant`) for two."""

    columns: Mapping[str, Column]
    predictions: Mapping[str, Prediction]
    findings: tuple[Finding, ...]


def compare(
    kits: Sequence[Kit], variants: Sequence[Sequence[Variant]], frequency: grid.Floats, volts: float = 2.83
) -> Comparison:
    """Compare the chosen `variants` of each of `kits`; predictions are for `volts` rms at `frequency` (F,) in Hz."""
    columns: dict[str, Column] = {}
    predictions: dict[str, Prediction] = {}
    findings: list[Finding] = []
    labels = _labels(kits)
    for number, (kit, chosen) in enumerate(zip(kits, variants, strict=True)):
        results = []
        for variant in chosen:
            name = variant.name if len(kits) == 1 else f"{labels[number]}.{variant.name}"
            columns[name] = _column(kit, variant)
            figures = columns[name].row.prediction.summary
            predictions[name] = predict(kit, variant, frequency, volts, figures)
            results.append(predictions[name])
        findings += [*kit.findings, *examine(kit, results)]
    return Comparison(columns, predictions, tuple(findings))


def _labels(kits: Sequence[Kit]) -> list[str]:
    """A word for each kit: its file's name, or its folder's where the files are called alike, numbered if all are."""
    for candidates in ([kit.path.stem for kit in kits], [kit.path.resolve().parent.name for kit in kits]):
        if len(set(candidates)) == len(kits):
            return candidates
    return [f"{kit.path.stem}{number}" for number, kit in enumerate(kits, 1)]


def _column(kit: Kit, variant: Variant) -> Column:
    first = row(kit, variant)
    sweep = grid.logarithmic(kit.programme.lowest)
    rated = predict(kit, variant, sweep, kit.amplifier.rated_volts, first.prediction.summary)
    moving = {name: d.excursion for name, d in rated.drivers.items() if d.excursion is not None}
    speeds = {name: opening.speed for name, opening in rated.openings.items()}
    return Column(first, _worst(sweep, moving), _worst(sweep, speeds))


def _worst(frequency: grid.Floats, curves: Mapping[str, grid.Floats]) -> Worst | None:
    peaks = [Worst(float(c.max()), float(frequency[int(np.argmax(c))]), name) for name, c in curves.items()]
    return max(peaks, key=lambda worst: worst.value, default=None)
