"""The build sheet as plain data for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from system.sheets import cabinet_data, layout_data, parts_data, runup_data
from system.sheets.expect_data import window
from system.workshop.buildsheet import BuildSheet
from system.workshop.carpentry import CabinetSheet
from system.workshop.cautions import Caution


def boards(sheets: Sequence[BuildSheet]) -> dict[str, Any]:
    """`buildsheet --json`: by variant all that its page shows."""
    return {"checksum": sheets[0].checksum, "variants": {each.variant.name: _board(each) for each in sheets}}


def cabinets(sheets: Sequence[CabinetSheet]) -> dict[str, Any]:
    """`buildsheet --cabinet --json`."""
    return {"variants": {each.variant.name: cabinet_data.cabinet(each) for each in sheets}}


def _board(sheet: BuildSheet) -> dict[str, Any]:
    return {
        "places": [parts_data.place(spot) for spot in sheet.spots.values()],
        "wiring": [{"point": joint.point, "ends": [asdict(end) for end in joint.ends]} for joint in sheet.joints],
        "polarity": [asdict(each) for each in sheet.polarities],
        "layout": layout_data.layout(sheet.layout) if sheet.layout else None,
        "cautions": [_caution(each) for each in sheet.cautions],
        "readings": [window(each) for each in sheet.readings],
        "run_up": runup_data.run_up(sheet.run_up),
    }


def _caution(each: Caution) -> dict[str, Any]:
    return {"name": each.name, "short": each.short, "long": each.long, "because": each.because or None}
