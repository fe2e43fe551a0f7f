"""Variants side by side, of one kit or of two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from system import grid
from system.checks import examine
from system.findings import Finding, usage_error
from system.kit import Kit, Variant
from system.matching import Matches, heard
from system.matching import matches as matched
from system.overview import Row, row
from system.predict import Prediction, predict


@dataclass(frozen=True, slots=True)
class Worst:
    """The largest of a curve over the swept band: `value`, where (Hz), and whose it is."""

    value: float
    frequency: float  # Hz
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
    """`columns` and `predictions` by the variant's name, with a word for the kit before it (`file.variant`) for two.

    `matches` are all but `against` as they sound at the seat beside it, for 2.83 V each.
    """

    columns: Mapping[str, Column]
    predictions: Mapping[str, Prediction]
    findings: tuple[Finding, ...]
    against: str
    matches: Mapping[str, Matches]


def compare(
    kits: Sequence[Kit],
    variants: Sequence[Sequence[Variant]],
    frequency: grid.Floats,
    volts: float = 2.83,
    against: str | None = None,
) -> Comparison:
    """Compare the chosen `variants` of each of `kits`; predictions are for `volts` rms at `frequency` (F,) in Hz.

    `against` names the one that the others are matched with, the first where it is None. Raises KitError where there
    is no such one.
    """
    named = _named(kits, variants)
    first = next(iter(named)) if against is None else against
    if first not in named:
        raise usage_error(f"--against {first}", f"one of {', '.join(named)}")
    columns = {name: _column(kit, variant) for name, (kit, variant) in named.items()}
    predictions = {
        name: predict(kit, variant, frequency, volts, columns[name].row.prediction.summary)
        for name, (kit, variant) in named.items()
    }
    findings: list[Finding] = []
    for kit in kits:
        findings += kit.findings
        findings += examine(kit, [predictions[name] for name, (its, _) in named.items() if its is kit])
    return Comparison(columns, predictions, tuple(findings), first, _matches(named, columns, first))


def _named(kits: Sequence[Kit], variants: Sequence[Sequence[Variant]]) -> dict[str, tuple[Kit, Variant]]:
    """Every variant with its kit, by the name that it has in the comparison."""
    labels = [f"{label}." for label in _labels(kits)] if len(kits) > 1 else [""]
    return {
        label + variant.name: (kit, variant)
        for label, kit, chosen in zip(labels, kits, variants, strict=True)
        for variant in chosen
    }


def _matches(
    named: Mapping[str, tuple[Kit, Variant]], columns: Mapping[str, Column], against: str
) -> dict[str, Matches]:
    """All but `against` beside it; nothing where it is alone."""
    if len(named) == 1:
        return {}
    sounds = {
        name: heard(kit, variant, columns[name].row.prediction.pressure) for name, (kit, variant) in named.items()
    }
    return {name: matched(sounds[against], sound) for name, sound in sounds.items() if name != against}


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
