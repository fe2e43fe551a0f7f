"""Cautions as plain data for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from system.workshop.cautions import Caution


def cautions(found: Sequence[Caution]) -> list[dict[str, Any]]:
    return [
        {
            "name": each.name,
            "where": each.where,
            "top": each.top,
            "short": each.short,
            "long": each.long,
            "because": each.because or None,
        }
        for each in found
    ]
