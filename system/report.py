"""One page that answers: everything that is told of some variants of a kit, each thing worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system import grid
from system.assumptions import STEP, RestsOn, rests_on
from system.bench.sweeps import Sweep
from system.checks import examine
from system.compare import Column, column
from system.document import read_text
from system.findings import Finding
from system.kit import Kit, Variant
from system.limits import Case, Limits, limits
from system.overview import Loudest, Row, differing
from system.predict import Prediction, prediction
from system.protect import Verdict, protect
from system.seating import Seating, seating
from system.shopping import Shopping, shopping
from system.transfer import transfer
from system.workshop.buildsheet import BuildSheet, checksum, sheet_of
from system.workshop.cautionmodel import Known
from system.workshop.jobrecord import JobRecord

Floats = NDArray[np.float64]

VOLTS = 2.83
# A curve is drawn through 36 points an octave, and through the third octaves, at which it is read in tables.
FREQUENCY = np.unique(np.concatenate([grid.THIRD_OCTAVES, np.geomspace(grid.THIRD_OCTAVES[0], 20e3, 360)]))
READ = np.searchsorted(FREQUENCY, grid.THIRD_OCTAVES)  # where these are


@dataclass(frozen=True, slots=True, eq=False)
class Account:
    """One variant: its first-screen `row` and worst cases, prediction and limits at `FREQUENCY`, seats, and bench."""

    variant: Variant
    known: Known
    column: Column
    prediction: Prediction  # for 2.83 V
    limits: Limits
    seating: Seating | None
    sheet: BuildSheet
    rests_on: RestsOn

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        return self.column.row.verdicts


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """`text` is the kit file's, `settings` what was put into it for this report; `measured` is of the unit itself."""

    kit: Kit
    accounts: tuple[Account, ...]
    bag: Shopping  # of one cabinet of any of the variants
    job: JobRecord
    findings: tuple[Finding, ...]
    text: str
    settings: tuple[str, ...]
    checksum: str  # of the kit file
    measured: Sweep | None = None


def report(
    kit: Kit,
    variants: Sequence[Variant],
    job: JobRecord,
    settings: Sequence[str] = (),
    measured: Sweep | None = None,
) -> Report:
    """Everything on the page. Raises KitError where a circuit has no solution, or a link shorts the amplifier.

    `measured` is the impedance of one unit of the only variant. Raises ValueError for one among several.
    """
    if measured is not None and len(variants) != 1:
        raise ValueError(f"a sweep is of one variant, not of {len(variants)}")
    verdicts = {variant.name: protect(kit, variant) for variant in variants}
    bag, told = shopping(kit, variants, 1, verdicts), checksum(kit)
    accounts = tuple(_account(kit, variant, verdicts[variant.name], bag, job, told) for variant in variants)
    return Report(
        kit=kit,
        accounts=accounts,
        bag=bag,
        job=job,
        findings=(
            *kit.findings,
            *examine(kit, [each.prediction for each in accounts]),
            *(measured.notes if measured else ()),
        ),
        text=read_text(kit.path, str(kit.path)),
        settings=tuple(settings),
        checksum=told,
        measured=measured,
    )


def _account(
    kit: Kit, variant: Variant, verdicts: tuple[Verdict, ...], bag: Shopping, job: JobRecord, checksum: str
) -> Account:
    known = Known.of(kit, variant)
    model, swept = known.swept.model, known.swept
    acoustics = transfer(model, FREQUENCY)
    result = prediction(model, acoustics, VOLTS, swept.result.summary)
    return Account(
        variant=variant,
        known=known,
        column=column(kit, _row(kit, known, verdicts)),
        prediction=result,
        limits=limits(Case(model, acoustics, result), swept),
        seating=seating(model, result),
        sheet=sheet_of(known, bag.spots[variant.name], job, checksum),
        rests_on=rests_on(kit, variant, verdicts, swept.acoustics.some(slice(None, None, STEP))),
    )


def _row(kit: Kit, known: Known, verdicts: tuple[Verdict, ...]) -> Row:
    most = known.limits.ceiling
    loudest = Loudest(most.volts, most.level, most.limited_by, most.signal)
    return Row(
        known.variant, known.swept.result, verdicts, loudest, known.limits.not_judged, differing(kit, known.variant)
    )
