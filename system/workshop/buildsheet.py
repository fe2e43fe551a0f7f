"""All that goes onto the sheet a variant's board is built by: what goes where, what is joined, what a meter reads."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from system.bench.meter import Window, windows
from system.kit import Kit, Variant
from system.shopping import Spot, shopping
from system.workshop.cautionmodel import Known
from system.workshop.cautions import Caution, Where, cautions
from system.workshop.jobrecord import JobRecord
from system.workshop.layout import LayoutResult, layout
from system.workshop.runup import RunUp
from system.workshop.wiring import Joint, Polarity, joints, polarities

PLACES: tuple[Where, ...] = ("bench", "meter", "power_up")  # whose cautions belong on the sheet


@dataclass(frozen=True, slots=True, eq=False)
class BuildSheet:
    """One variant's sheet. `cautions` of the bench, the meter and the first power-up, each once, gravest first."""

    kit: Kit
    variant: Variant
    spots: Mapping[str, Spot]  # by reference
    joints: tuple[Joint, ...]
    polarities: tuple[Polarity, ...]
    layout: LayoutResult | None
    cautions: tuple[Caution, ...]
    readings: tuple[Window, ...]
    run_up: RunUp
    job: JobRecord
    checksum: str  # of the kit file


def build_sheets(kit: Kit, variants: Sequence[Variant], job: JobRecord) -> list[BuildSheet]:
    """A sheet for each variant. Raises KitError where a circuit has no solution."""
    bag, told = shopping(kit, variants, 1), checksum(kit)
    return [sheet_of(Known.of(kit, variant), bag.spots[variant.name], job, told) for variant in variants]


def checksum(kit: Kit) -> str:
    """SHA-256 (FIPS 180-4) of the kit file, as `sha256sum` prints it."""
    return hashlib.sha256(kit.path.read_bytes()).hexdigest()


def sheet_of(known: Known, spots: Mapping[str, Spot], job: JobRecord, checksum: str) -> BuildSheet:
    """The sheet of the variant of which figures are `known`, with its part of the bag and the kit file's checksum."""
    kit, variant = known.kit, known.variant
    told = [each for place in PLACES for each in cautions(kit, variant, place, known)]
    told.sort(key=lambda each: -each.urgency)  # stable: in the order of the places
    return BuildSheet(
        kit=kit,
        variant=variant,
        spots=spots,
        joints=joints(kit, variant),
        polarities=polarities(kit, variant),
        layout=layout(kit, variant),
        cautions=tuple({each.name: each for each in reversed(told)}.values())[::-1],
        readings=windows(kit, variant),
        run_up=known.run_up,
        job=job,
        checksum=checksum,
    )
