"""Variant against variant at the seat, as plain data."""

from __future__ import annotations

from typing import Any

from system.compare import Comparison
from system.matching import BANDS, COMPARED, LEVEL, OCTAVE_BANDS, Match, Matches
from system.sheets.match_texts import sentence


def matches(result: Comparison) -> dict[str, Any]:
    """`match` of `compare --json`: every variant against `against`, dB of it less dB of the other."""
    return {
        "against": result.against,
        "level_hz": list(LEVEL),
        "bands_hz": {name: list(band) for name, band in BANDS.items()},
        "compared_hz": list(COMPARED),
        "third_octave_hz": OCTAVE_BANDS.tolist(),
        "variants": {
            name: _matches(each, sentence(name, result.against, each)) for name, each in result.matches.items()
        },
    }


def namesakes(result: Comparison) -> dict[str, Any]:
    """`same_name` of `compare --json`: every variant of the second kit against that of the same name in the first."""
    return {
        each.name: {
            "first": each.first,
            "second": each.second,
            **_matches(each.match, sentence(each.second, each.first, each.match)),
        }
        for each in result.namesakes
    }


def _matches(each: Matches, told: str) -> dict[str, Any]:
    return {
        "listening_point": _match(each.centre),
        "seats": {side: _match(found) for side, found in each.seats.items()},
        "worst_rms_db": each.worst,
        "told": told,
    }


def _match(match: Match) -> dict[str, Any]:
    return {
        "level_db": match.level,
        "tilt_db_per_octave": match.tilt,
        **{f"{name}_db": value for name, value in match.bands.items()},
        "rms_db": match.rms,
        "largest_db": match.largest,
        "largest_hz": match.largest_hz,
        "third_octave_db": match.third_octaves.tolist(),
    }
