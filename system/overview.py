"""The first screen's content: one `Row` per variant, from its verdicts, its summary and how loud it goes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from system import programme, summary
from system.checks import examine
from system.findings import Finding
from system.kit import Kit, Variant
from system.predict import Prediction, predict
from system.protect import Verdict, protect
from system.states import programme_volts
from system.wording import place


@dataclass(frozen=True, slots=True)
class Loudest:
    """The most a variant gives before its amplifier clips or a woofer leaves its limit: `volts` rms, `level` in dB.

    On a programme the woofer's limit is the linear one and the level that of the whole programme behind the receiver's
    high-pass, unweighted; on a sine the verdict's limit, and the reference level. Heat, air speed and part ratings are
    not judged here.
    """

    volts: float
    level: float
    limited_by: str
    signal: str


@dataclass(frozen=True, slots=True)
class Row:
    """One variant on the first screen."""

    variant: Variant
    prediction: Prediction
    verdicts: tuple[Verdict, ...]
    loudest: Loudest
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
    """Everything the first screen and `compare` say of one variant; its prediction is on the summary's grid."""
    prediction = predict(kit, variant, summary.GRID)
    verdicts = protect(kit, variant)
    return Row(variant, prediction, verdicts, loudest(kit, prediction, verdicts), differing(kit, variant))


def loudest(kit: Kit, prediction: Prediction, verdicts: Iterable[Verdict]) -> Loudest:
    """How loud a variant goes, its protective place as it is in that variant."""
    rms = programme_volts(kit, kit.programme)
    full = kit.amplifier.rated_volts if rms is None else rms
    volts, limited_by = full, "the amplifier"
    for verdict in verdicts:
        figures = verdict.fitted if verdict.state == "fit" and verdict.fitted else verdict.link
        if figures is None or verdict.state == "omit":
            continue  # nothing is known of its woofer, or it is silent
        margins = figures.margins
        margin = margins.decisive if rms is None else margins.programme
        if margin is not None and full * 10 ** (margin / 20) < volts:
            volts = full * 10 ** (margin / 20)
            limited_by = f"excursion of {verdict.driver}"
    return Loudest(volts, _level(kit, prediction, volts), limited_by, "sine" if rms is None else "programme")


def _level(kit: Kit, prediction: Prediction, volts: float) -> float:
    """Level (dB) of the signal at `volts` rms: of the whole programme, or for a sine the reference level."""
    if kit.programme.spectrum == "sine":
        return prediction.summary.sensitivity_db + 20 * math.log10(volts / 2.83 / prediction.distance)
    shares = programme.power_shares(kit.programme, prediction.frequency)
    gain = programme.high_pass_gain(prediction.variant.receiver_high_pass, prediction.frequency)
    squared = np.abs(prediction.pressure / prediction.volts / summary.REFERENCE_PRESSURE) ** 2
    together = max(float(np.sum(shares * squared * gain**2)), summary.SILENCE**2)
    return 10 * math.log10(together) + 20 * math.log10(volts)


def differing(kit: Kit, variant: Variant) -> tuple[str, ...]:
    """What `variant` has in each place that is not the same in every variant, in words."""
    texts = []
    for reference, here in variant.places.items():
        others = [other.places[reference] for other in kit.variants.values() if reference in other.places]
        if any((o.state, o.part.value) != (here.state, here.part.value) for o in others):
            texts.append(place(here))
    return tuple(texts)
