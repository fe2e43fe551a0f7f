"""What a filling does, and how far it may be off: each box's apparent volume, and a band about the level.

Nobody knows the flow resistivity of what is stuffed into a cabinet to better than its spread, and the models do not
agree on what it makes of the air. So the whole chain runs with every filling of the variant as given, and thinner and
denser by up to its spread, read by the kit's own model and by `low_frequency`. Nothing else of the variant changes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from enclosures.sealed import SealedBox
from enclosures.vented import RadiatorBox, VentedBox
from system import summary
from system.build import Build, build, fill
from system.kit import Chamber, FillModel, FillSpec, LineChamber, Variant
from system.predict import chambers, flows, pressure, reference_band
from system.transfer import Transfer, transfer

Floats = NDArray[np.float64]
Change = Callable[[FillSpec], FillSpec]

OTHER_MODEL: FillModel = "low_frequency"  # the one with the right limits, beside the kit's own
POWERS = (-1.0, -0.5, 0.0, 0.5, 1.0)  # of the spread: between the extremes too, since dips move with the filling


@dataclass(frozen=True, slots=True)
class Gain:
    """How much larger the box of the `drivers` acts for its filling, at `frequency` (Hz).

    That is the box's resonance with this apparent volume. `chamber` is its number (see `system.predict.chambers`).
    """

    chamber: int
    drivers: tuple[str, ...]
    volume_gain: float  # a ratio
    frequency: float


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Between which levels (F,) in dB a variant lies with what its fillings may be, the given ones included.

    It is drawn through five densities: where a deep dip moves with the filling, others may leave it by a tenth of a dB
    or so. `minus_3` are the lowest and highest -3 dB point in Hz, None where one of the runs has none;
    `widest` is the largest width in dB from the programme's lowest frequency up, at `widest_at` (Hz). Both are on the
    summary's grid.
    """

    lowest: Floats
    highest: Floats
    minus_3: tuple[float, float] | None
    widest: float
    widest_at: float


@dataclass(frozen=True, slots=True, eq=False)
class Filling:
    """The apparent volume of every filled box of a variant, and the band that its fillings leave open."""

    gains: tuple[Gain, ...]
    band: Band


def filling(model: Build, asked: Transfer, swept: Transfer, volts: float) -> Filling | None:
    """Of a build for `volts` rms; None where nothing is filled.

    `asked` are its acoustics where the band is wanted, `swept` those on the summary's grid.
    """
    specs = [spec for _, chamber, _ in chambers(model) for spec in chamber.fills if spec]
    if not specs:
        return None
    others = [build(model.kit, refilled(model.variant, change)) for change in _changes(specs)]
    levels = (_levels(model, others, acoustics, volts) for acoustics in (asked, swept))
    return Filling(tuple(_gains(model)), _band(model, *levels))


def _gains(model: Build) -> Iterator[Gain]:
    for number, chamber, cell in chambers(model):
        box = cell.enclosure
        if isinstance(chamber, LineChamber) or not chamber.fill or not isinstance(box, _BOXES):
            continue
        made = fill(chamber.fill)
        assert made is not None
        drivers = [model.moving(i) for i in cell.members]
        gain, frequency = 1.0, box.resonance(model.air, drivers)
        for _ in range(10):  # both change slowly with each other: a digit or more a step
            gain = float(made.volume_gain(np.array([2 * np.pi * frequency]), model.air)[0])
            frequency = replace(box, volume=box.volume * gain).resonance(model.air, drivers)
        yield Gain(number, tuple(model.names[i] for i in cell.members), gain, frequency)


_BOXES = (SealedBox, VentedBox, RadiatorBox)


def _changes(specs: Iterable[FillSpec]) -> list[Change]:
    """What the fillings may be instead: thinner and denser; by the other model also as given."""
    own: list[Change] = [partial(_changed, power=power, model=None) for power in POWERS if power]
    if all(spec.model == OTHER_MODEL for spec in specs):
        return own
    return [*own, *(partial(_changed, power=power, model=OTHER_MODEL) for power in POWERS)]


def _changed(spec: FillSpec, power: float, model: FillModel | None) -> FillSpec:
    """With `power` spreads more flow resistance, and read by `model` instead of its own."""
    resistivity = spec.flow_resistivity * spec.spread**power
    return replace(spec, flow_resistivity=resistivity, model=model or spec.model)


def _levels(model: Build, others: Sequence[Build], acoustics: Transfer, volts: float) -> Floats:
    """Level (R, F) in dB of a build with its `acoustics`, and of `others` that stand and sit as it does."""
    runs = [acoustics, *(transfer(other, acoustics.frequency, acoustics.paths) for other in others)]
    currents = flows(model, acoustics, volts, np.array([each.impedance for each in runs])).load_current
    return np.array([summary.level(pressure(a, current)) for a, current in zip(runs, currents, strict=True)])


def _band(model: Build, asked: Floats, swept: Floats) -> Band:
    """From the levels (R, F) of all runs at the frequencies asked for and on the summary's grid."""
    corners = [summary.low_end(summary.GRID, level, reference_band(model.variant)).minus_3 for level in swept]
    known = [corner for corner in corners if corner is not None]
    heard = model.kit.programme.lowest <= summary.GRID
    width = np.ptp(swept[:, heard], axis=0)
    widest = int(np.argmax(width))
    return Band(
        lowest=asked.min(axis=0),
        highest=asked.max(axis=0),
        minus_3=(min(known), max(known)) if len(known) == len(corners) else None,
        widest=float(width[widest]),
        widest_at=float(summary.GRID[heard][widest]),
    )


def refilled(variant: Variant, change: Change) -> Variant:
    """`variant` with every filling changed."""
    changed = tuple(_refilled(chamber, change) for chamber in variant.cabinet.chambers)
    return replace(variant, cabinet=replace(variant.cabinet, chambers=changed))


def _refilled(chamber: Chamber, change: Change) -> Chamber:
    if isinstance(chamber, LineChamber):
        sections = tuple(replace(s, fill=change(s.fill)) if s.fill else s for s in chamber.profile)
        return replace(chamber, profile=sections)
    return replace(chamber, fill=change(chamber.fill)) if chamber.fill else chamber
