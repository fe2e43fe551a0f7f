"""A prediction as plain-text tables, which the kit reader reads again as a driver's `response:` and `impedance:`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from system.kit import Kit
from system.predict import Prediction
from system.sheets.data import degrees
from system.summary import level
from system.tables import IMPEDANCE, RESPONSE, TableFaults, TableKind, parse_table

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]


class NotExported(ValueError):  # noqa: N818 - says why, like KitError
    """The figures are none that the kit reader would take."""


def tables(kit: Kit, result: Prediction) -> Iterator[tuple[str, str | NotExported]]:
    """File name and text of the level and of the impedance, or why there is none."""
    name = result.variant.name
    heard = f"{result.volts:g} V rms, {result.distance:g} m; the delay of the distance is taken out"
    yield f"{name}_response.txt", _table(kit, name, RESPONSE, heard, result, level(result.pressure), result.pressure)
    seen = "as the amplifier sees it"
    yield (
        f"{name}_impedance.txt",
        _table(kit, name, IMPEDANCE, seen, result, np.abs(result.impedance), result.impedance),
    )


def _table(
    kit: Kit, name: str, kind: TableKind, how: str, result: Prediction, values: Floats, of: Complexes
) -> str | NotExported:
    """Rows of `values` (F,) with the phase of `of` (F,), at the frequencies of `result`."""
    title = " ".join(f"# {kit.name}, {name}: {kind.words}, {how}".split())
    lines = [title, f"# Hz {kind.unit} degrees"]
    rows = zip(result.frequency, values, degrees(of), strict=True)
    lines += [" ".join(repr(float(value)) for value in row) for row in rows]
    text = "\n".join([*lines, ""])
    try:
        parse_table(text, "", kind)
    except TableFaults as faults:
        return NotExported(faults.faults[0].found)
    return text
