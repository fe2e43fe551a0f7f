"""Variants side by side, of one kit or of two."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from system import grid
from system.checks import examine
from system.findings import Finding, usage_error
from system.kit import Kit, Variant
from system.matching import Heard, Matches, heard
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
class Namesakes:
    """A variant that both kits have: `first` and `second` are its names in the comparison; how the second sounds."""

    name: str
    first: str
    second: str
    match: Matches


@dataclass(frozen=True, slots=True)
class Comparison:
    """`columns` and `predictions` by the variant's name, with a word for the kit before it (`file.variant`) for two.

    `matches` are all but `against` as they sound at the seat beside it, for 2.83 V each. `namesakes` are the variants
    of the second kit beside those of the same name in the first.
    """

    columns: Mapping[str, Column]
    predictions: Mapping[str, Prediction]
    findings: tuple[Finding, ...]
    against: str
    matches: Mapping[str, Matches]
    namesakes: tuple[Namesakes, ...]


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
    columns = {name: column(kit, row(kit, variant)) for name, (kit, variant) in named.items()}
    predictions = {
        name: predict(kit, variant, frequency, volts, columns[name].row.prediction.summary)
        for name, (kit, variant) in named.items()
    }
    findings: list[Finding] = []
    for kit in kits:
        findings += kit.findings
        findings += examine(kit, [predictions[name] for name, (its, _) in named.items() if its is kit])
    sounds = _sounds(named, columns)
    beside = {name: matched(sounds[first], sound) for name, sound in sounds.items() if name != first}
    return Comparison(columns, predictions, tuple(findings), first, beside, tuple(_namesakes(variants, named, sounds)))


def _named(kits: Sequence[Kit], variants: Sequence[Sequence[Variant]]) -> dict[str, tuple[Kit, Variant]]:
    """Every variant with its kit, by the name that it has in the comparison."""
    labels = [f"{label}." for label in _labels(kits)] if len(kits) > 1 else [""]
    return {
        label + variant.name: (kit, variant)
        for label, kit, chosen in zip(labels, kits, variants, strict=True)
        for variant in chosen
    }


def _sounds(named: Mapping[str, tuple[Kit, Variant]], columns: Mapping[str, Column]) -> dict[str, Heard]:
    """Each at its seats; nothing where there is only one."""
    if len(named) == 1:
        return {}
    return {name: heard(kit, variant, columns[name].row.prediction.pressure) for name, (kit, variant) in named.items()}


def _namesakes(
    variants: Sequence[Sequence[Variant]], named: Mapping[str, tuple[Kit, Variant]], sounds: Mapping[str, Heard]
) -> Iterator[Namesakes]:
    if len(variants) != 2:
        return
    names = list(named)
    others = {named[name][1].name: name for name in names[len(variants[0]) :]}
    for here in names[: len(variants[0])]:
        variant = named[here][1].name
        if variant in others:
            yield Namesakes(variant, here, others[variant], matched(sounds[here], sounds[others[variant]]))


def _labels(kits: Sequence[Kit]) -> list[str]:
    """A word for each kit: its file's name, or its folder's where the files are called alike, numbered if all are."""
    for candidates in ([kit.path.stem for kit in kits], [kit.path.resolve().parent.name for kit in kits]):
        if len(set(candidates)) == len(kits):
            return candidates
    return [f"{kit.path.stem}{number}" for number, kit in enumerate(kits, 1)]


def column(kit: Kit, first: Row) -> Column:
    """The column of the variant of which `first` is the first screen's row."""
    sweep = grid.logarithmic(kit.programme.lowest)
    rated = predict(kit, first.variant, sweep, kit.amplifier.rated_volts, first.prediction.summary)
    moving = {name: d.excursion for name, d in rated.drivers.items() if d.excursion is not None}
    speeds = {name: opening.speed for name, opening in rated.openings.items()}
    return Column(first, _worst(sweep, moving), _worst(sweep, speeds))


def _worst(frequency: grid.Floats, curves: Mapping[str, grid.Floats]) -> Worst | None:
    peaks = [Worst(float(c.max()), float(frequency[int(np.argmax(c))]), name) for name, c in curves.items()]
    return max(peaks, key=lambda worst: worst.value, default=None)
