"""The first screen's content: one `Row` per variant, from its verdicts, its summary and how loud it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from system import summary
from system.build import build
from system.checks import examine
from system.findings import Finding
from system.kit import Kit, Variant
from system.limits import Case, NotJudged, limits
from system.predict import Prediction, prediction, summarise
from system.protect import Verdict, protect
from system.transfer import transfer
from system.wording import place


@dataclass(frozen=True, slots=True)
class Loudest:
    """The most a variant gives before a limit is reached (`system.limits.Ceiling`): `volts` rms, `level` in dB."""

    volts: float
    level: float
    limited_by: str
    signal: Literal["programme", "sine"]


@dataclass(frozen=True, slots=True)
class Row:
    """One variant on the first screen."""

    variant: Variant
    prediction: Prediction
    verdicts: tuple[Verdict, ...]
    loudest: Loudest
    not_judged: tuple[NotJudged, ...]
    differing: tuple[str, ...]  # "C1 linked", "R1 1.5 ohm"


@dataclass(frozen=True, slots=True)
class Overview:
    kit: Kit
    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]


def overview(kit: Kit, variants: Sequence[Variant]) -> Overview:
    """The first screen for `variants` of `kit`."""
    rows = tuple(row(kit, variant) for variant in variants)
    return Overview(kit, rows, (*kit.findings, *examine(kit, [r.prediction for r in rows])))


def row(kit: Kit, variant: Variant) -> Row:
    """Everything the first screen and `compare` say of one variant; its prediction is on the summary's grid.

    Raises KitError where the circuit has no solution.
    """
    model = build(kit, variant)
    acoustics = transfer(model, summary.GRID)
    result = prediction(model, acoustics, 2.83, summarise(model, acoustics))
    swept = Case.swept(model, acoustics, result.summary)
    found = limits(swept, swept)
    most = found.ceiling
    loudest = Loudest(most.volts, most.level, most.limited_by, most.signal)
    return Row(variant, result, protect(kit, variant), loudest, found.not_judged, differing(kit, variant))


def differing(kit: Kit, variant: Variant) -> tuple[str, ...]:
    """What `variant` has in each place that is not the same in every variant, in words."""
    texts = []
    for reference, here in variant.places.items():
        others = [other.places[reference] for other in kit.variants.values() if reference in other.places]
        if any((o.state, o.part.value) != (here.state, here.part.value) for o in others):
            texts.append(place(here))
    return tuple(texts)
