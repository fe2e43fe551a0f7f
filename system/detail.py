"""A prediction with all that one variant alone is worth: the filling's band, lines from inside, handovers, timing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.along import LinePressure, lines
from system.build import build
from system.filling import Filling, filling
from system.handover import Join, Polarity, joins, polarities
from system.kit import Kit, Variant
from system.predict import Prediction, prediction, summarise
from system.room import Room, room
from system.step import Step, Unjudged, step
from system.timing import Timing, timing
from system.transfer import transfer


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """`filling` is None where nothing is filled, `room` where nothing is near."""

    filling: Filling | None
    lines: tuple[LinePressure, ...]
    joins: tuple[Join, ...]
    polarities: tuple[Polarity, ...]
    step: Step | Unjudged
    room: Room | None
    timing: Timing


def predict_in_detail(kit: Kit, variant: Variant, frequency: NDArray[np.float64], volts: float = 2.83) -> Prediction:
    """`system.predict.predict` with its `detail`, which takes several runs of the chain."""
    model = build(kit, variant)
    asked, swept = transfer(model, frequency), transfer(model, summary.GRID)
    result = prediction(model, asked, volts, summarise(model, swept))
    detail = Detail(
        filling(model, asked, swept, volts),
        lines(model, volts),
        joins(model),
        polarities(model, asked, swept, volts),
        step(model, swept),
        room(model, asked),
        timing(model, frequency, swept, volts),
    )
    return replace(result, detail=detail)
